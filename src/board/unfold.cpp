// An IPC-2581 file in the places of layer files, drill files and netlist; and its comparison with those that are given.
#include <algorithm>
#include <map>
#include <set>

#include "build.h"

namespace teasel {

namespace {
using formats::CadBoard;
using formats::CadLayer;

LayerRole role_of_layer(const CadLayer& layer) {
  const bool top = layer.side == Side::top;
  if (layer.kind == CadLayer::Kind::mask) return top ? LayerRole::mask_top : LayerRole::mask_bottom;
  if (layer.kind == CadLayer::Kind::paste) return top ? LayerRole::paste_top : LayerRole::paste_bottom;
  if (!layer.side) return LayerRole::copper_inner;
  return top ? LayerRole::copper_top : LayerRole::copper_bottom;
}
bool is_copper(LayerRole role) {
  return role == LayerRole::copper_top || role == LayerRole::copper_bottom || role == LayerRole::copper_inner;
}

/// Lands of the file against flashes of the layer that counts.
void compare_layer(const CadLayer& layer, const formats::GerberFile& given, Diagnostics& diagnostics) {
  const std::vector<Point> mine = flash_centres(layer.image), theirs = flash_centres(given);
  if (mine.size() < 5 || theirs.size() < 5) return;
  const double share = share_met(mine, theirs, {});
  const std::string text = percent(share) + " of the " + std::to_string(mine.size()) + " pads of " + layer.image.name +
                           " meet flashes of " + given.name;
  if (share >= 0.95)
    return diagnostics.note({.code = "cad-layer-agrees", .at = {given.name, 0, 0, {}}, .message = text});
  const std::string fault = name_the_fault(mine, theirs);
  diagnostics.warn({.code = "cad-layer-differs",
                    .at = {given.name, 0, 0, {}},
                    .message = text + ". The layer file is used, since boards are made from it",
                    .found = fault.empty()
                                 ? "the files may be of two states of the design, or pads may be drawn with strokes"
                                 : fault,
                    .remedy = "give files of one release, or leave one of the two out"});
}

/// Nets of two netlists over the points that both hold.
void compare_netlists(const formats::Netlist& given, Point offset, const formats::Netlist& cad,
                      Diagnostics& diagnostics) {
  // Side by side: pads of two nets may lie over one another on the two faces.
  PerSide<PointGrid> grid{{PointGrid(0.1), PointGrid(0.1)}};
  const Map<NetlistFrame, BoardFrame> from_given = netlist_shift(offset), from_cad = netlist_shift({});
  for (std::size_t i = 0; i < given.records.size(); ++i) {
    const formats::NetlistRecord& record = given.records[i];
    if (record.unconnected) continue;
    const BoardPoint at = from_given(record.at);
    if (record.access <= 1) grid[Side::top].add(at, static_cast<int>(i));
    if (record.access != 1) grid[Side::bottom].add(at, static_cast<int>(i));
  }
  std::map<std::string, std::set<std::string>> theirs_of, mine_of;
  std::size_t met = 0, total = 0;
  for (const auto& record : cad.records) {
    if (record.unconnected) continue;
    ++total;
    const Side side = record.access > 1 ? Side::bottom : Side::top;
    const int i = grid[side].nearest(from_cad(record.at), 0.05);
    if (i < 0) continue;
    ++met;
    theirs_of[record.net].insert(given.records[static_cast<std::size_t>(i)].net);
    mine_of[given.records[static_cast<std::size_t>(i)].net].insert(record.net);
  }
  std::size_t split = 0;
  std::string first;
  auto count = [&](const auto& table, const std::string& where, const std::string& there) {
    for (const auto& [net, others] : table)
      if (others.size() > 1 && split++ == 0)
        first = "net " + net + " of " + where + " is " + *others.begin() + " and " + *std::next(others.begin()) +
                " in " + there;
  };
  count(theirs_of, cad.name, given.name);
  count(mine_of, given.name, cad.name);
  const std::string share = percent(total ? static_cast<double>(met) / static_cast<double>(total) : 0) + " of its " +
                            std::to_string(total) + " points meet points of the netlist";
  if (met * 10 < total * 9 || split)
    diagnostics.warn(
        {.code = "cad-nets-differ",
         .at = {cad.name, 0, 0, {}},
         .message =
             "the netlist and the IPC-2581 file differ. The netlist is used, since bare boards are tested with it",
         .found = share + "; " + std::to_string(split) + " nets are joined or split differently" +
                  (first.empty() ? "" : ", first: " + first),
         .remedy = "give files of one release, or leave one of the two out"});
  else
    diagnostics.note({.code = "cad-nets-agree",
                      .at = {cad.name, 0, 0, {}},
                      .message = "netlist and IPC-2581 file hold the same nets",
                      .found = share});
}

void compare_holes(const Job& job, const Sources& sources, const CadBoard& cad, Diagnostics& diagnostics) {
  std::vector<Point> drilled, mine;
  for (std::size_t k = 0; k < sources.drills.size(); ++k)
    for (const auto& hole : formats::holes_of(sources.drills[k], drill_format(sources.drills[k], job.inputs.drills[k])))
      drilled.push_back(hole.at + job.inputs.drills[k].offset.value_or(Point{}));
  for (const auto& hole : cad.mechanics.holes)
    if (!hole.slot) mine.push_back(hole.at);
  if (mine.size() < 3 || drilled.size() < 3) return;
  const double share = share_met(mine, drilled, {}, 0.05);
  const std::string text = percent(share) + " of the " + std::to_string(mine.size()) +
                           " holes of the IPC-2581 file are drilled by the drill files";
  if (share >= 0.95)
    diagnostics.note({.code = "cad-holes-agree", .at = {cad.name, 0, 0, {}}, .message = text});
  else
    diagnostics.warn({.code = "cad-holes-differ",
                      .at = {cad.name, 0, 0, {}},
                      .message = text + ". The drill files are used",
                      .remedy = "give files of one release, or leave one of the two out"});
}
/// Without drill files the holes of an IDF file join the copper's layers, as far as it lists them.
void holes_of_idf(const Job& job, Sources& sources, Diagnostics& diagnostics) {
  if (!sources.idf || sources.idf->holes.empty() || !sources.drills.empty() || sources.netlist ||
      !job.inputs.pads_file.empty())
    return;
  const Point shift = job.inputs.idf_offset.value_or(Point{});
  for (formats::Hole hole : sources.idf->holes) {
    hole.at = hole.at + shift;
    hole.end = hole.end + shift;
    sources.other_holes.push_back(std::move(hole));
  }
  sources.other_holes_file = sources.idf->name;
  sources.vias_missing = sources.idf->vias_left_out;
  diagnostics.warn({.code = "idf-holes-taken",
                    .at = {sources.idf->name, 0, 0, ".DRILLED_HOLES"},
                    .message = std::string("no drill file is given. The holes of the IDF file are used instead") +
                               (sources.vias_missing ? ". It lists no vias, so nets cannot be traced completely" : ""),
                    .found = std::to_string(sources.other_holes.size()) + " holes",
                    .remedy = "name the drill files in  [[inputs.drill]]"});
}
/// The job names a file for this layer, of which something is drawn.
bool given(const Job& job, const Sources& sources, LayerRole role) {
  for (std::size_t i = 0; i < job.inputs.gerbers.size(); ++i)
    if (job.inputs.gerbers[i].role == role && !sources.gerbers[i].objects.empty()) return true;
  return false;
}

/// Layers that the job gives no file for.
void take_layers(const Job& job, Sources& sources, CadBoard& cad, Diagnostics& diagnostics) {
  const bool copper = given(job, sources, LayerRole::copper_top) || given(job, sources, LayerRole::copper_bottom);
  const std::size_t files = job.inputs.gerbers.size();
  for (CadLayer& layer : cad.layers) {
    const LayerRole role = role_of_layer(layer);
    bool taken = is_copper(role) && copper;
    for (std::size_t i = 0; i < files; ++i)
      if (job.inputs.gerbers[i].role == role && role != LayerRole::copper_inner) {
        taken = true;
        compare_layer(layer, sources.gerbers[i], diagnostics);
      }
    if (taken || layer.image.objects.empty()) continue;
    GerberInput in;
    in.file = layer.image.name;
    in.role = role;
    in.layer = layer.number;
    in.clearances = layer.negative && is_copper(role);
    in.mask_image_inverted = layer.kind == CadLayer::Kind::mask && job.inputs.cad_mask == "mask";
    sources.layers.push_back(std::move(in));
    sources.gerbers.push_back(std::move(layer.image));
  }
}

void take_netlist(Sources& sources, CadBoard& cad, Diagnostics& diagnostics) {
  if (cad.netlist.records.empty())
    return diagnostics.error(
        {.code = "cad-no-lands",
         .at = {cad.name, 0, 0, "Step"},
         .message = "the step holds no land on outer copper and no hole",
         .found = "mode " + cad.mode +
                  (cad.test_points
                       ? "; " + std::to_string(cad.test_points) +
                             " points of the bare-board test, which alone do not say which part a land belongs to"
                       : ""),
         .expected = "layers of copper with pads",
         .remedy = "export it with layers, or give Gerber files and a netlist"});
  sources.netlist = std::move(cad.netlist);
  sources.netlist_file = cad.name;
  if (sources.netlist_mask.empty()) sources.netlist_mask = cad.exposure_stated ? "covered" : "ignore";
}

void take_thickness(const Job& job, Sources& sources, const CadBoard& cad, Diagnostics& diagnostics) {
  const std::optional<Mm>&stated = job.inputs.thickness, &found = cad.mechanics.thickness;
  if (!stated && found)
    sources.thickness = found;
  else if (stated && found && std::abs(found->v - stated->v) > 0.1 * stated->v)
    diagnostics.warn(
        {.code = "cad-thickness-differs",
         .at = {cad.name, 0, 0, "Stackup"},
         .message = "the job file and the IPC-2581 file state different thicknesses. The one of the job file is used",
         .found = short_number(stated->v, 3) + " mm and " + short_number(found->v, 3) + " mm",
         .remedy = "correct board.thickness"});
}
}  // namespace

void unfold(const Job& job, Sources& sources, Diagnostics& diagnostics) {
  sources.layers = job.inputs.gerbers;
  sources.netlist_file = job.inputs.netlist_file;
  sources.netlist_mask = job.inputs.netlist_mask;
  sources.thickness = job.inputs.thickness;
  sources.pins = job.fixture.tooling;
  if (!sources.cad) return holes_of_idf(job, sources, diagnostics);
  CadBoard& cad = *sources.cad;
  take_layers(job, sources, cad, diagnostics);
  if (!sources.drills.empty())
    compare_holes(job, sources, cad, diagnostics);
  else {
    sources.other_holes = cad.mechanics.holes;
    sources.other_holes_file = cad.name;
  }
  if (sources.netlist) {
    compare_netlists(*sources.netlist, job.inputs.netlist_offset.value_or(Point{}), cad.netlist, diagnostics);
  } else if (job.inputs.pads_file.empty()) {
    take_netlist(sources, cad, diagnostics);
    if (!sources.netlist) return;
  }
  take_thickness(job, sources, cad, diagnostics);
}

}  // namespace teasel
