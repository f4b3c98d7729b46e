// Votes and fits: what the files say about one another.
#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>
#include <unordered_map>

#include "build.h"

namespace teasel {

std::string percent(double share) {
  // Never rounded up to a whole that was not reached.
  return fixed(std::floor(share * 1000) / 10, 1) + " %";
}

std::vector<Point> flash_centres(const formats::GerberFile& file) {
  std::vector<Point> out;
  for (const auto& object : file.objects)
    if (object.kind == formats::GerberObject::Kind::flash && object.dark) out.push_back(object.start);
  return out;
}

std::vector<Point> flash_centres(const std::vector<LayerImage>& images) {
  std::vector<Point> all;
  for (const LayerImage& image : images) {
    const std::vector<Point> part = flash_centres(image.file());
    all.insert(all.end(), part.begin(), part.end());
  }
  return all;
}

namespace {
constexpr std::size_t kVoters = 400;

std::vector<Point> sample(const std::vector<Point>& points, std::size_t most) {
  if (points.size() <= most) return points;
  std::vector<Point> out;
  for (std::size_t i = 0; i < most; ++i) out.push_back(points[i * points.size() / most]);
  return out;
}
PointGrid grid_of(const std::vector<Point>& points, double cell) {
  PointGrid grid(cell);
  for (std::size_t i = 0; i < points.size(); ++i) grid.add(points[i], static_cast<int>(i));
  return grid;
}
double share_on(const std::vector<Point>& points, const PointGrid& grid, Point shift, double tolerance) {
  if (points.empty()) return 0;
  std::size_t met = 0;
  for (Point p : points) met += grid.nearest(p + shift, tolerance) >= 0;
  return static_cast<double>(met) / static_cast<double>(points.size());
}
}  // namespace

double share_met(const std::vector<Point>& points, const std::vector<Point>& flashes, Point shift, double tolerance) {
  return share_on(points, grid_of(flashes, std::max(tolerance, 0.05)), shift, tolerance);
}

OffsetFit fit_offset(const std::vector<Point>& points, const std::vector<Point>& flashes, double tolerance) {
  OffsetFit fit;
  fit.points = points.size();
  if (points.empty() || flashes.empty()) return fit;
  const PointGrid grid = grid_of(flashes, std::max(tolerance, 0.05));
  fit.share = share_on(points, grid, {}, tolerance);
  if (fit.share > 0.9) return fit;
  // Every pair votes for its difference; the true shift collects a vote from nearly every point.
  std::unordered_map<long long, int> votes;
  const auto voters = sample(points, 60), screens = sample(flashes, 20'000);
  constexpr double kBin = 0.02;
  auto key = [&](Point difference) {
    return std::llround(difference.x / kBin) * 10'000'019LL + std::llround(difference.y / kBin);
  };
  std::vector<std::pair<int, Point>> best;
  std::unordered_map<long long, Point> first;
  for (Point p : voters)
    for (Point q : screens) {
      const Point diff = q - p;
      const long long k = key(diff);
      if (votes[k]++ == 0) first[k] = diff;
    }
  for (const auto& [k, count] : votes)
    if (count >= 3) best.emplace_back(count, first[k]);
  std::sort(best.begin(), best.end(), [](const auto& a, const auto& b) {
    return std::tuple(b.first, a.second.x, a.second.y) < std::tuple(a.first, b.second.x, b.second.y);
  });
  if (best.size() > 12) best.resize(12);
  const auto judges = sample(points, kVoters);
  for (const auto& [count, shift] : best) {
    // Refine by the median of the residuals, then score over all points.
    Point refined = shift;
    for (int round = 0; round < 2; ++round) {
      std::vector<double> dx, dy;
      for (Point p : judges)
        if (int i = grid.nearest(p + refined, 0.05); i >= 0) {
          dx.push_back(flashes[static_cast<std::size_t>(i)].x - p.x);
          dy.push_back(flashes[static_cast<std::size_t>(i)].y - p.y);
        }
      if (dx.size() < 3) break;
      auto middle = [](std::vector<double>& v) {
        std::nth_element(v.begin(), v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2), v.end());
        return v[v.size() / 2];
      };
      refined = {middle(dx), middle(dy)};
    }
    const double share = share_on(points, grid, refined, tolerance);
    if (share > fit.share) {
      fit.share = share;
      fit.offset = refined;
    }
  }
  fit.offset = {std::round(fit.offset.x * 1e4) / 1e4, std::round(fit.offset.y * 1e4) / 1e4};
  fit.share = share_on(points, grid, fit.offset, tolerance);
  return fit;
}

std::string name_the_fault(const std::vector<Point>& all, const std::vector<Point>& flashes) {
  const auto points = sample(all, 1500);
  auto good = [&](const std::vector<Point>& moved, OffsetFit& fit) {
    fit = fit_offset(moved, flashes);
    return fit.share > 0.85;
  };
  auto shifted = [](const OffsetFit& found) {
    return distance(found.offset, {}) < 0.02 ? std::string()
                                             : " with an offset of (" + short_number(found.offset.x, 4) + ", " +
                                                   short_number(found.offset.y, 4) + ") mm";
  };
  OffsetFit fit;
  if (good(points, fit)) return percent(fit.share) + " of the points meet copper" + shifted(fit);
  for (auto [k, what] : {std::pair{25.4, "25.4 times larger (inch read as millimetre)"},
                         {1 / 25.4, "25.4 times smaller (millimetre read as inch)"},
                         {2.54, "2.54 times larger (0.0001 inch against 0.001 mm)"},
                         {1 / 2.54, "2.54 times smaller (0.001 mm against 0.0001 inch)"},
                         {10.0, "ten times larger"},
                         {0.1, "ten times smaller"},
                         {100.0, "a hundred times larger"},
                         {0.01, "a hundred times smaller"}}) {
    auto moved = points;
    for (Point& p : moved) p = k * p;
    if (good(moved, fit))
      return percent(fit.share) + " of the points would meet copper if they were " + what + shifted(fit);
  }
  for (int flip = 0; flip < 2; ++flip) {
    auto moved = points;
    for (Point& p : moved) (flip ? p.y : p.x) *= -1;
    if (good(moved, fit))
      return percent(fit.share) + " of the points would meet copper if " + (flip ? "Y" : "X") + " were mirrored" +
             shifted(fit);
  }
  return {};
}

namespace {
/// The number formats that agree with what the file states and with the lengths of its numbers.
std::vector<formats::DrillFormat> formats_to_try(const formats::DrillFile& file) {
  using formats::DrillFormat;
  std::vector<DrillFormat> tries;
  if (file.has_integers) {
    for (bool mm : {false, true}) {
      if (file.unit_stated && mm != file.format.millimetres) continue;
      for (const auto& [whole, decimals] :
           {std::pair{2, 3}, {2, 4}, {2, 5}, {2, 6}, {3, 2}, {3, 3}, {3, 4}, {3, 5}, {4, 2}, {4, 3}, {4, 4}})
        for (auto zeros : {formats::ZeroRule::leading_kept, formats::ZeroRule::trailing_kept}) {
          const int i = whole, dec = decimals;  // clang 14 captures no structured bindings
          if (file.zeros_stated && zeros != file.format.zeros) continue;
          if (file.longest > i + dec) continue;
          // Numbers of full length read the same under both rules.
          if (zeros == formats::ZeroRule::leading_kept && !file.zeros_stated && file.shortest == i + dec) continue;
          if (file.digits_stated && (i != file.format.integer_digits || dec != file.format.decimals)) continue;
          DrillFormat format;
          format.millimetres = mm;
          format.zeros = zeros;
          format.integer_digits = i;
          format.decimals = dec;
          // Formats that read the same values are one try.
          if (std::none_of(tries.begin(), tries.end(), [&](const DrillFormat& tried) {
                // Behind kept leading zeros only the whole digits place the point; before kept trailing zeros only the
                // decimals.
                return tried.millimetres == mm && tried.zeros == zeros &&
                       (zeros == formats::ZeroRule::trailing_kept ? tried.decimals == dec : tried.integer_digits == i);
              }))
            tries.push_back(format);
        }
    }
  } else {
    for (bool mm : {false, true}) {
      if (file.unit_stated && mm != file.format.millimetres) continue;
      DrillFormat format = file.format;
      format.millimetres = mm;
      tries.push_back(format);
    }
  }
  if (tries.empty()) tries.push_back(file.format);
  return tries;
}
}  // namespace

DrillFit fit_drill(const formats::DrillFile& file, const std::vector<Point>& targets) {
  DrillFit best;
  best.format = file.format;
  if (targets.empty()) return best;
  best.share = -1;
  for (const formats::DrillFormat& format : formats_to_try(file)) {
    std::vector<Point> hits;
    for (const auto& hole : formats::holes_of(file, format))
      if (!hole.slot && hole.plating != formats::Plating::unplated) hits.push_back(hole.at);
    if (hits.empty())
      for (const auto& hole : formats::holes_of(file, format))
        hits.push_back(0.5 * (hole.at + hole.end));  // slots by their middle
    const OffsetFit fit = fit_offset(sample(hits, 3000), targets);
    if (fit.share > best.share + 1e-9) {
      best.runner_up = std::max(best.share, 0.0);
      best.format = format;
      best.offset = fit.offset;
      best.share = fit.share;
      best.fitted = true;
    } else {
      best.runner_up = std::max(best.runner_up, fit.share);
    }
  }
  return best;
}

std::string mask_field_meaning(const formats::Netlist& netlist, std::string* evidence) {
  int s1 = 0, s2 = 0, s0 = 0, s3 = 0;
  for (const auto& record : netlist.records)
    if (record.kind == formats::NetlistRecord::Kind::surface && record.access == 1 && !record.continuation &&
        !record.component.empty() && record.component != "VIA") {
      s1 += record.mask_code == 1;
      s2 += record.mask_code == 2;
      s0 += record.mask_code == 0;
      s3 += record.mask_code == 3;
    }
  const int total = s0 + s1 + s2 + s3;
  if (evidence)
    *evidence = "of " + std::to_string(total) + " top surface pads S1 stands on " + std::to_string(s1) + ", S2 on " +
                std::to_string(s2) + ", S0 on " + std::to_string(s0) + ", S3 on " + std::to_string(s3);
  if (total < 3) return {};
  if (s1 * 10 >= total * 6) return "open";
  if (s2 * 10 >= total * 6) return "covered";
  return {};
}

formats::DrillFormat drill_format(const formats::DrillFile& file, const DrillInput& in) {
  formats::DrillFormat format = file.format;
  if (!in.unit.empty()) format.millimetres = in.unit == "mm";
  if (!in.zeros.empty())
    format.zeros = in.zeros == "leading kept" ? formats::ZeroRule::leading_kept : formats::ZeroRule::trailing_kept;
  if (in.digits.size() == 3) {
    format.integer_digits = in.digits[0] - '0';
    format.decimals = in.digits[2] - '0';
  }
  return format;
}

}  // namespace teasel
