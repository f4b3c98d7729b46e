// Drilled holes.
#include <algorithm>

#include "build.h"

namespace teasel {

namespace {
/// Finished holes of the netlist against drilled ones at the same place: a wrong unit of either shows at once.
void check_hole_sizes(const Board& b, const Job& job, Diagnostics& d) {
  if (job.netlist_file.empty()) return;
  PointGrid grid(0.2);
  for (std::size_t h = 0; h < b.holes.size(); ++h)
    if (!b.holes[h].slot) grid.add(b.holes[h].at, static_cast<int>(h));
  std::size_t met = 0, alike = 0;
  std::string first;
  for (const Feature& f : b.features) {
    const int h = f.netlist_hole > 0 && f.slot == Point{} ? grid.nearest(f.at, 0.05) : -1;
    if (h < 0) continue;
    const double drilled = b.holes[static_cast<std::size_t>(h)].diameter;
    ++met;
    const bool same = std::abs(drilled - f.netlist_hole) < 0.1 + 0.15 * drilled;
    alike += same;
    if (!same && first.empty())
      first = f.name + ": " + short_number(f.netlist_hole, 3) + " mm in the netlist (line " +
              std::to_string(f.place.line) + "), " + short_number(drilled, 3) + " mm drilled";
  }
  if (met < 3 || alike * 10 >= met * 9) return;
  d.warn("check-hole-sizes", {job.netlist_file, 0, 0, {}},
         "of " + std::to_string(met) + " holes only " + std::to_string(alike) +
             " have the same diameter in the netlist and in the drill files; the drill files are taken",
         first, "one of the two is of another revision, or its unit is wrong");
}

void take_holes(Board& b, const PointGrid& grid, const std::vector<formats::Hole>& holes, const std::string& file) {
  for (const formats::Hole& h : holes) {
    BoardHole o;
    o.at = h.at;
    o.end = h.end;
    o.diameter = h.diameter;
    o.slot = h.slot;
    o.plating = h.plating;
    o.first_layer = h.first_layer;
    o.last_layer = h.last_layer;
    o.blind = o.first_layer > 1 || (o.last_layer > 0 && b.copper_layers > 0 && o.last_layer < b.copper_layers);
    o.place = {file, h.line, 0, {}};
    // A slot belongs to the pad at its middle.
    if (int f = o.blind ? -1 : grid.nearest(0.5 * (o.at + o.end), 0.05); f >= 0) {
      Feature& feature = b.features[static_cast<std::size_t>(f)];
      if (o.plating == formats::Plating::unknown)
        o.plating = feature.plated ? formats::Plating::plated : formats::Plating::unplated;
      // What is drilled counts; the netlist's own figure is kept for the comparison.
      if (!o.slot || o.plating == formats::Plating::plated || feature.hole == 0) feature.hole = o.diameter;
      if (o.slot) feature.slot = 0.5 * (o.end - o.at);
    }
    b.holes.push_back(std::move(o));
  }
}
}  // namespace

void add_holes(Board& b, const Job& job, const Sources& sources, Diagnostics& d) {
  PointGrid grid(0.2);
  for (std::size_t i = 0; i < b.features.size(); ++i)
    if (b.features[i].kind != FeatureKind::smd_pad) grid.add(b.features[i].at, static_cast<int>(i));
  for (std::size_t k = 0; k < sources.drills.size(); ++k) {
    formats::DrillFile file = sources.drills[k];
    const DrillInput& in = job.drills[k];
    const formats::DrillFormat format = drill_format(file, in);
    for (auto& t : file.tools)
      if (t.size_unit_open && t.diameter && format.millimetres) *t.diameter /= kMmPerInch;
    for (auto& t : file.tools)
      if (auto it = in.tools.find(t.number); it != in.tools.end()) t.diameter = it->second.v;
    const Point shift = in.offset.value_or(Point{});
    std::vector<formats::Hole> holes = formats::holes_of(file, format);
    for (auto& h : holes) {
      h.at = h.at + shift;
      h.end = h.end + shift;
      if (h.plating == formats::Plating::unknown && !in.plating.empty())
        h.plating = in.plating == "plated" ? formats::Plating::plated : formats::Plating::unplated;
      if (in.first_layer) h.first_layer = in.first_layer;
      if (in.last_layer) h.last_layer = in.last_layer;
    }
    take_holes(b, grid, holes, file.name);
  }
  if (sources.drills.empty() && !sources.other_holes.empty())
    take_holes(b, grid, sources.other_holes, sources.other_holes_file);
  check_hole_sizes(b, job, d);
  if (sources.drills.empty() && sources.other_holes.empty())
    for (const Feature& f : b.features)
      if (f.hole > 0)
        b.holes.push_back({f.at, f.at, f.hole, f.plated ? formats::Plating::plated : formats::Plating::unplated, false,
                           f.first_layer > 1 || (f.last_layer > 0 && f.last_layer < b.copper_layers), f.first_layer,
                           f.last_layer, f.place});
  // Exact duplicates (the same hole in two files, or drilled twice) are one hole.
  std::stable_sort(b.holes.begin(), b.holes.end(), [](const BoardHole& p, const BoardHole& q) {
    return std::tie(p.at.x, p.at.y, p.diameter) < std::tie(q.at.x, q.at.y, q.diameter);
  });
  const std::size_t before = b.holes.size();
  b.holes.erase(std::unique(b.holes.begin(), b.holes.end(),
                            [](const BoardHole& p, const BoardHole& q) {
                              return distance(p.at, q.at) < 1e-4 && distance(p.end, q.end) < 1e-4 &&
                                     std::abs(p.diameter - q.diameter) < 1e-4 && p.plating == q.plating &&
                                     p.first_layer == q.first_layer &&
                                     p.last_layer == q.last_layer;  // stacked blind vias stand on one point
                            }),
                b.holes.end());
  if (b.holes.size() != before)
    d.note("drill-duplicates", {job.file, 0, 0, {}}, "holes drilled twice at one place count once",
           std::to_string(before - b.holes.size()) + " duplicates");
}

}  // namespace teasel
