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
  for (const Pair& pair : pairs) {
    dx.push_back(pair.centre.x - mirror * k * pair.at.x);
    dy.push_back(pair.centre.y - k * pair.at.y);
  }
  for (Point shift : {Point{}, Point{middle(dx), middle(dy)}}) {
    Try attempt{{std::round(shift.x * 1000) / 1000, std::round(shift.y * 1000) / 1000}, 0};
    for (const Pair& pair : pairs)
      attempt.near += distance(Point{mirror * k * pair.at.x, k * pair.at.y} + attempt.shift, pair.centre) < kNear;
    if (attempt.near > best.near + pairs.size() / 50) best = attempt;
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
      double angle = std::fmod(direction - sign * rotation, 360);
      if (angle < 0) angle += 360;
      ++votes[std::lround(angle / 5) % 72];
    }
    std::size_t most = 0;
    for (const auto& [bin, count] : votes) most = std::max(most, count);
    agree += most;
    compared += list.size();
  }
  return compared ? static_cast<double>(agree) / static_cast<double>(compared) : 0;
}

std::string rotation_text(const formats::Placement& table, const std::map<std::string, PartPads>& pads) {
  std::string text;
  for (const Side side : kBothSides) {
    std::map<std::string, std::vector<std::pair<double, double>>> groups;
    for (const auto& row : table.rows) {
      const auto it = pads.find(row.component);
      if (it == pads.end() || !it->second.pin_1 || row.package.empty()) continue;
      const bool bottom = row.side ? row.side == Side::bottom : it->second.bottom > it->second.top;
      const Point arm = *it->second.pin_1 - it->second.box.centre();
      if (bottom != (side == Side::bottom) || length(arm) < 0.2) continue;
      groups[row.package].push_back({std::atan2(arm.y, arm.x) * 180 / kPi, row.rotation.v});
    }
    std::size_t compared = 0;
    const double plus = agreement(groups, 1, compared), minus = agreement(groups, -1, compared);
    if (compared < 6) continue;
    const char* name = to_string(side);
    text += text.empty() ? "" : "; ";
    if (std::max(plus, minus) < 0.8)
      text += std::string("rotations of ") + name + " parts follow no single rule (first pins agree for " +
              percent(std::max(plus, minus)) + ")";
    else if (std::abs(plus - minus) < 0.05)
      text += std::string("rotations of ") + name +
              " parts fit either direction, since multiples of 180 degrees do not tell them apart";
    else
      text += std::string("rotations of ") + name + " parts run " + (plus > minus ? "counter-clockwise" : "clockwise") +
              " as seen from the top (first pins of " + percent(std::max(plus, minus)) + " of " +
              std::to_string(compared) + " parts agree)";
  }
  return text;
}
}  // namespace

PlacementFit fit_placement(const formats::Placement& table, const std::map<std::string, PartPads>& pads) {
  PlacementFit best;
  std::vector<Pair> top, bottom, all;
  for (const auto& row : table.rows) {
    const auto it = pads.find(row.component);
    if (it == pads.end()) continue;
    const PartPads& pads_of_part = it->second;
    const Pair pair{{row.x, row.y}, pads_of_part.box.centre(), row.side == Side::bottom};
    (pair.bottom ? bottom : top).push_back(pair);
    all.push_back(pair);
    if (row.side && pads_of_part.top != pads_of_part.bottom) {
      ++best.sides_compared;
      best.sides_wrong += (row.side == Side::bottom) != (pads_of_part.bottom > pads_of_part.top);
    }
  }
  best.parts = all.size();
  best.bottom_parts = bottom.size();
  if (all.size() < 3) return best;
  for (auto [unit, k] : kUnits) {
    if (table.has_unit && k != 1.0) continue;
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
  if (table.has_unit) best.unit.clear();
  best.rotation = rotation_text(table, pads);
  return best;
}

PlacementFit fit_placement(const formats::Placement& table, const PerSide<Lands>& lands) {
  PlacementFit best;
  PerSide<std::vector<Point>> middles;
  for (const Side side : kBothSides) {
    const Lands& list = lands[side];
    PointGrid grid(4);
    for (std::size_t i = 0; i < list.at.size(); ++i) grid.add(list.at[i], static_cast<int>(i));
    // Middles of a land and each equal one nearby: chips stand in some of them.
    for (std::size_t i = 0; i < list.at.size(); ++i)
      for (std::size_t k : grid.around(list.at[i]))
        if (k > i && distance(list.size[k], list.size[i]) < 0.02 && distance(list.at[k], list.at[i]) < 4 &&
            middles[side].size() < kMostMiddles)
          middles[side].push_back(0.5 * (list.at[i] + list.at[k]));
  }
  std::vector<Point> targets = middles[Side::top];
  targets.insert(targets.end(), middles[Side::bottom].begin(), middles[Side::bottom].end());
  best.parts = table.rows.size();
  if (targets.size() < 10 || table.rows.size() < 10) return best;
  // Parts shrunk onto one spot always lie near something: they must spread over a good part of what carries lands.
  constexpr double kSpread = 0.2;
  Box lands_box, rows_box;
  for (const Point p : targets) lands_box.add(p);
  for (const auto& row : table.rows) rows_box.add(Point{row.x, row.y});
  const double least = kSpread * std::hypot(lands_box.width(), lands_box.height()),
               spread = std::hypot(rows_box.width(), rows_box.height());
  for (auto [unit, k] : kUnits) {
    if (table.has_unit && k != 1.0) continue;
    if (k * spread < least) continue;
    std::vector<Point> at;
    for (const auto& row : table.rows) at.push_back({k * row.x, k * row.y});
    const double none = share_met(at, targets, {}, 0.1);
    const OffsetFit fit = fit_offset(at, targets, 0.1);
    const bool moved = fit.share > none + 0.1;
    const double share = moved ? fit.share : none;
    if (share > best.share + 0.02)
      best.unit = unit, best.scale = k, best.share = share,
      best.shift = best.bottom_shift =
          moved ? Point{std::round(fit.offset.x * 1000) / 1000, std::round(fit.offset.y * 1000) / 1000} : Point{};
  }
  if (table.has_unit) best.unit.clear();
  return best;
}

}  // namespace teasel
