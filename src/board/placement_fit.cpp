#include "placement_fit.h"

#include <algorithm>
#include <cmath>

#include "build.h"

namespace teasel {

namespace {
constexpr double kNear = 1.0;  // mm; centres of parts and of their pads differ by the drawing of the library
constexpr std::size_t kMostMiddles = 100'000;
constexpr double kPi = 3.14159265358979323846;
constexpr std::pair<const char*, double> kUnits[] = {{"mm", 1.0},
                                                     {"inch", kMmPerInch},
                                                     {"mil", kMmPerInch / 1000},
                                                     {"um", 0.001}};

struct Pair {
  Point at, centre;
  bool bottom = false;
};

double middle(std::vector<double> v) {
  std::nth_element(v.begin(), v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2), v.end());
  return v[v.size() / 2];
}

struct Try {
  Point shift;
  std::size_t near = 0;
};
/// Zero shift, or the median of the differences, whichever puts more parts on their pads.
Try best_shift(const std::vector<Pair>& pairs, double k, double mirror) {
  Try best;
  if (pairs.empty()) return best;
  std::vector<double> dx, dy;
  for (const Pair& p : pairs) {
    dx.push_back(p.centre.x - mirror * k * p.at.x);
    dy.push_back(p.centre.y - k * p.at.y);
  }
  for (Point s : {Point{}, Point{middle(dx), middle(dy)}}) {
    Try t{{std::round(s.x * 1000) / 1000, std::round(s.y * 1000) / 1000}, 0};
    for (const Pair& p : pairs) t.near += distance(Point{mirror * k * p.at.x, k * p.at.y} + t.shift, p.centre) < kNear;
    if (t.near > best.near + pairs.size() / 50) best = t;
  }
  return best;
}

/// Share of parts whose first pin's direction, less the written rotation under a sign, is that of most of their
/// package.
double agreement(const std::map<std::string, std::vector<std::pair<double, double>>>& groups, double sign,
                 std::size_t& compared) {
  std::size_t agree = 0;
  compared = 0;
  for (const auto& [package, list] : groups) {
    if (list.size() < 2) continue;
    std::map<long, std::size_t> votes;
    for (const auto& [direction, rotation] : list) {
      double a = std::fmod(direction - sign * rotation, 360);
      if (a < 0) a += 360;
      ++votes[std::lround(a / 5) % 72];
    }
    std::size_t most = 0;
    for (const auto& [bin, n] : votes) most = std::max(most, n);
    agree += most;
    compared += list.size();
  }
  return compared ? static_cast<double>(agree) / static_cast<double>(compared) : 0;
}

std::string rotation_text(const formats::Placement& t, const std::map<std::string, PartPads>& pads) {
  std::string text;
  for (int side = 0; side < 2; ++side) {
    std::map<std::string, std::vector<std::pair<double, double>>> groups;
    for (const auto& r : t.rows) {
      const auto it = pads.find(r.component);
      if (it == pads.end() || !it->second.pin_1 || r.package.empty()) continue;
      const bool bottom = r.side == 1 || (r.side < 0 && it->second.bottom > it->second.top);
      const Point d = *it->second.pin_1 - it->second.box.centre();
      if (bottom != (side == 1) || length(d) < 0.2) continue;
      groups[r.package].push_back({std::atan2(d.y, d.x) * 180 / kPi, r.rotation});
    }
    std::size_t n = 0;
    const double plus = agreement(groups, 1, n), minus = agreement(groups, -1, n);
    if (n < 6) continue;
    const char* name = side ? "bottom" : "top";
    text += text.empty() ? "" : "; ";
    if (std::max(plus, minus) < 0.8)
      text += std::string("rotations of ") + name + " parts follow no one rule (first pins agree for " +
              percent(std::max(plus, minus)) + ")";
    else if (std::abs(plus - minus) < 0.05)
      text +=
          std::string("rotations of ") + name + " parts fit either sense (multiples of 180 degrees alone do not tell)";
    else
      text += std::string("rotations of ") + name + " parts run " + (plus > minus ? "counter-clockwise" : "clockwise") +
              " as seen from the top (first pins of " + percent(std::max(plus, minus)) + " of " + std::to_string(n) +
              " parts agree)";
  }
  return text;
}
}  // namespace

PlacementFit fit_placement(const formats::Placement& t, const std::map<std::string, PartPads>& pads) {
  PlacementFit best;
  std::vector<Pair> top, bottom, all;
  for (const auto& r : t.rows) {
    const auto it = pads.find(r.component);
    if (it == pads.end()) continue;
    const PartPads& p = it->second;
    const Pair pair{{r.x, r.y}, p.box.centre(), r.side == 1};
    (pair.bottom ? bottom : top).push_back(pair);
    all.push_back(pair);
    if (r.side >= 0 && p.top != p.bottom) {
      ++best.sides_compared;
      best.sides_wrong += (r.side == 1) != (p.bottom > p.top);
    }
  }
  best.parts = all.size();
  best.bottom_parts = bottom.size();
  if (all.size() < 3) return best;
  for (auto [unit, k] : kUnits) {
    if (t.has_unit && k != 1.0) continue;
    // One frame for both sides first; bottom parts seen from below only where that puts clearly more of them right.
    const Try one = best_shift(all, k, 1);
    const double share = static_cast<double>(one.near) / static_cast<double>(all.size());
    if (share > best.share + 0.02) {
      best.unit = unit;
      best.scale = k;
      best.shift = best.bottom_shift = one.shift;
      best.share = share;
      best.turned = false;
    }
    if (bottom.size() < 3) continue;
    const Try up = best_shift(top.size() >= 3 ? top : bottom, k, top.size() >= 3 ? 1 : -1),
              down = best_shift(bottom, k, -1);
    const double apart =
        static_cast<double>((top.size() >= 3 ? up.near : 0) + down.near) / static_cast<double>(all.size());
    if (apart > best.share + 0.1) {
      best.unit = unit;
      best.scale = k;
      best.shift = top.size() >= 3 ? up.shift : Point{};
      best.bottom_shift = down.shift;
      best.share = apart;
      best.turned = true;
    }
  }
  if (t.has_unit) best.unit.clear();
  best.rotation = rotation_text(t, pads);
  return best;
}

PlacementFit fit_placement(const formats::Placement& t, const std::array<Lands, 2>& lands) {
  PlacementFit best;
  std::array<std::vector<Point>, 2> middles;
  for (std::size_t s = 0; s < 2; ++s) {
    const Lands& l = lands[s];
    PointGrid grid(4);
    for (std::size_t i = 0; i < l.at.size(); ++i) grid.add(l.at[i], static_cast<int>(i));
    // Middles of a land and each equal one nearby: chips stand in some of them.
    for (std::size_t i = 0; i < l.at.size(); ++i)
      for (std::size_t k : grid.around(l.at[i]))
        if (k > i && distance(l.size[k], l.size[i]) < 0.02 && distance(l.at[k], l.at[i]) < 4 &&
            middles[s].size() < kMostMiddles)
          middles[s].push_back(0.5 * (l.at[i] + l.at[k]));
  }
  std::vector<Point> targets = middles[0];
  targets.insert(targets.end(), middles[1].begin(), middles[1].end());
  best.parts = t.rows.size();
  if (targets.size() < 10 || t.rows.size() < 10) return best;
  // Parts shrunk onto one spot always lie near something: they must spread over a good part of what carries lands.
  constexpr double kSpread = 0.2;
  Box lands_box, rows_box;
  for (const Point p : targets) lands_box.add(p);
  for (const auto& r : t.rows) rows_box.add(Point{r.x, r.y});
  const double least = kSpread * std::hypot(lands_box.width(), lands_box.height()),
               spread = std::hypot(rows_box.width(), rows_box.height());
  for (auto [unit, k] : kUnits) {
    if (t.has_unit && k != 1.0) continue;
    if (k * spread < least) continue;
    std::vector<Point> at;
    for (const auto& r : t.rows) at.push_back({k * r.x, k * r.y});
    const double none = share_met(at, targets, {}, 0.1);
    const OffsetFit fit = fit_offset(at, targets, 0.1);
    const bool moved = fit.share > none + 0.1;
    const double share = moved ? fit.share : none;
    if (share > best.share + 0.02)
      best.unit = unit, best.scale = k, best.share = share,
      best.shift = best.bottom_shift =
          moved ? Point{std::round(fit.offset.x * 1000) / 1000, std::round(fit.offset.y * 1000) / 1000} : Point{};
  }
  if (t.has_unit) best.unit.clear();
  return best;
}

}  // namespace teasel
