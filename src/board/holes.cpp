// Drilled holes.
#include <algorithm>

#include "build.h"

namespace teasel {

namespace {
/// Finished holes of the netlist against drilled ones at the same place: a wrong unit of either shows at once.
void check_hole_sizes(const Board& board, const Sources& sources, Diagnostics& diagnostics) {
  if (sources.netlist_file.empty()) return;
  PointGrid grid(0.2);
  for (const HoleId id : board.holes.ids())
    if (!board.holes[id].slot) grid.add(board.holes[id].at, id.number());
  constexpr double kNarrower = 0.93;  // holes are drilled as wide as they end, or wider
  std::size_t met = 0, alike = 0, narrower = 0;
  std::string first;
  for (const Feature& feature : board.features) {
    const int hole = feature.netlist_hole > Mm{} && feature.slot == Point{} ? grid.nearest(feature.at, 0.05) : -1;
    if (hole < 0) continue;
    const double drilled = board.holes[HoleId::of_number(hole)].diameter.v;
    ++met;
    narrower += drilled < kNarrower * feature.netlist_hole.v;
    const bool same = std::abs(drilled - feature.netlist_hole.v) < 0.1 + 0.15 * drilled;
    alike += same;
    if ((!same || drilled < kNarrower * feature.netlist_hole.v) && first.empty())
      first = feature.name + ": " + short_number(feature.netlist_hole.v, 3) + " mm in the netlist (line " +
              std::to_string(feature.place.line) + "), " + short_number(drilled, 3) + " mm drilled";
  }
  // One factor on all of them is a tool table that was changed, however small each difference is.
  const bool all_narrower = met >= 10 && narrower * 10 >= met * 9;
  if (met < 3 || (alike * 10 >= met * 9 && !all_narrower)) return;
  diagnostics.warn({.code = "check-hole-sizes",
                    .at = {sources.netlist_file, 0, 0, {}},
                    .message = "of " + std::to_string(met) + " holes only " + std::to_string(alike) +
                               " have the same diameter in the netlist and in the drill files" +
                               (all_narrower ? ", and " + std::to_string(narrower) + " are drilled narrower" : "") +
                               ". The drill files are used",
                    .found = first,
                    .remedy = "one of the two is of another revision or states a wrong unit"});
}

void take_holes(Board& board, const PointGrid& grid, const std::vector<formats::Hole>& holes, const std::string& file) {
  for (const formats::Hole& hole : holes) {
    BoardHole drilled;
    drilled.at = hole.at;
    drilled.end = hole.end;
    drilled.diameter = hole.diameter;
    drilled.slot = hole.slot;
    drilled.plating = hole.plating;
    drilled.first_layer = hole.first_layer;
    drilled.last_layer = hole.last_layer;
    drilled.blind = drilled.first_layer > 1 ||
                    (drilled.last_layer > 0 && board.copper_layers > 0 && drilled.last_layer < board.copper_layers);
    drilled.place = {file, hole.line, 0, {}};
    // A slot belongs to the pad at its middle.
    if (int id = drilled.blind ? -1 : grid.nearest(0.5 * (drilled.at + drilled.end), 0.05); id >= 0) {
      Feature& feature = board.features[FeatureId::of_number(id)];
      if (drilled.plating == formats::Plating::unknown)
        drilled.plating = feature.plated ? formats::Plating::plated : formats::Plating::unplated;
      // What is drilled counts; the netlist's own figure is kept for the comparison.
      if (!drilled.slot || drilled.plating == formats::Plating::plated || feature.hole == Mm{})
        feature.hole = drilled.diameter;
      if (drilled.slot) feature.slot = 0.5 * (drilled.end - drilled.at);
    }
    board.holes.push_back(std::move(drilled));
  }
}
}  // namespace

void add_holes(Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  PointGrid grid(0.2);
  for (const FeatureId id : board.features.ids())
    if (board.features[id].kind != FeatureKind::smd_pad) grid.add(board.features[id].at, id.number());
  for (std::size_t k = 0; k < sources.drills.size(); ++k) {
    formats::DrillFile file = sources.drills[k];
    const DrillInput& in = job.inputs.drills[k];
    const formats::DrillFormat format = drill_format(file, in);
    for (auto& tool : file.tools)
      if (tool.size_unit_open && tool.diameter && format.millimetres) tool.diameter = *tool.diameter / kMmPerInch;
    for (auto& tool : file.tools)
      if (auto it = in.tools.find(tool.number); it != in.tools.end()) tool.diameter = it->second;
    const Point shift = in.offset.value_or(Point{});
    std::vector<formats::Hole> holes = formats::holes_of(file, format);
    for (auto& hole : holes) {
      hole.at = hole.at + shift;
      hole.end = hole.end + shift;
      if (hole.plating == formats::Plating::unknown && !in.plating.empty())
        hole.plating = in.plating == "plated" ? formats::Plating::plated : formats::Plating::unplated;
      if (in.first_layer) hole.first_layer = in.first_layer;
      if (in.last_layer) hole.last_layer = in.last_layer;
    }
    take_holes(board, grid, holes, file.name);
  }
  if (sources.drills.empty() && !sources.other_holes.empty())
    take_holes(board, grid, sources.other_holes, sources.other_holes_file);
  check_hole_sizes(board, sources, diagnostics);
  if (sources.drills.empty() && sources.other_holes.empty())
    for (const Feature& feature : board.features)
      if (feature.hole > Mm{})
        board.holes.push_back(
            {.at = feature.at,
             .end = feature.at,
             .diameter = feature.hole,
             .plating = feature.plated ? formats::Plating::plated : formats::Plating::unplated,
             .slot = false,
             .blind = feature.first_layer > 1 || (feature.last_layer > 0 && feature.last_layer < board.copper_layers),
             .first_layer = feature.first_layer,
             .last_layer = feature.last_layer,
             .place = feature.place});
  // Exact duplicates (the same hole in two files, or drilled twice) are one hole.
  std::stable_sort(board.holes.begin(), board.holes.end(), [](const BoardHole& p, const BoardHole& q) {
    return std::tie(p.at.x, p.at.y, p.diameter) < std::tie(q.at.x, q.at.y, q.diameter);
  });
  const std::size_t before = board.holes.size();
  // Layers count as well: stacked blind vias stand on one point.
  const auto same = [](const BoardHole& p, const BoardHole& q) {
    return distance(p.at, q.at) < 1e-4 && distance(p.end, q.end) < 1e-4 &&
           std::abs(p.diameter.v - q.diameter.v) < 1e-4 && p.plating == q.plating && p.first_layer == q.first_layer &&
           p.last_layer == q.last_layer;
  };
  std::vector<BoardHole>& rows = board.holes.rows();
  rows.erase(std::unique(rows.begin(), rows.end(), same), rows.end());
  if (board.holes.size() != before)
    diagnostics.note({.code = "drill-duplicates",
                      .at = {job.file, 0, 0, {}},
                      .message = "holes that are drilled twice at one place are counted once",
                      .found = std::to_string(before - board.holes.size()) + " duplicates"});
}

}  // namespace teasel
