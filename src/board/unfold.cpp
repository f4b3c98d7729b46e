// An IPC-2581 file in the places of layer files, drill files and netlist; and its comparison with those that are given.
#include <algorithm>
#include <map>
#include <set>

#include "build.h"

namespace teasel {

namespace {
using formats::CadBoard;
using formats::CadLayer;

LayerRole role_of_layer(const CadLayer& l) {
  if (l.kind == CadLayer::Kind::mask) return l.side == 0 ? LayerRole::mask_top : LayerRole::mask_bottom;
  if (l.kind == CadLayer::Kind::paste) return l.side == 0 ? LayerRole::paste_top : LayerRole::paste_bottom;
  return l.side == 0 ? LayerRole::copper_top : l.side == 1 ? LayerRole::copper_bottom : LayerRole::copper_inner;
}
bool is_copper(LayerRole r) {
  return r == LayerRole::copper_top || r == LayerRole::copper_bottom || r == LayerRole::copper_inner;
}

/// Lands of the file against flashes of the layer that counts.
void compare_layer(const CadLayer& l, const formats::GerberFile& given, Diagnostics& d) {
  const std::vector<Point> mine = flash_centres(l.image), theirs = flash_centres(given);
  if (mine.size() < 5 || theirs.size() < 5) return;
  const double share = share_met(mine, theirs, {});
  const std::string text = percent(share) + " of the " + std::to_string(mine.size()) + " pads of " + l.image.name +
                           " meet flashes of " + given.name;
  if (share >= 0.95) return d.note("cad-layer-agrees", {given.name, 0, 0, {}}, text);
  const std::string fault = name_the_fault(mine, theirs);
  d.warn("cad-layer-differs", {given.name, 0, 0, {}}, text + "; the layer file counts, since boards are made from it",
         fault.empty() ? "another state of the design, or drawn pads" : fault,
         "give files of one release, or leave one of the two out");
}

/// Nets of two netlists over the points that both hold.
void compare_netlists(const formats::Netlist& given, Point offset, const formats::Netlist& cad, Diagnostics& d) {
  // Side by side: pads of two nets may lie over one another on the two faces.
  std::array<PointGrid, 2> grid{PointGrid(0.1), PointGrid(0.1)};
  for (std::size_t i = 0; i < given.records.size(); ++i)
    for (std::size_t side = 0; side < 2; ++side)
      if (const auto& r = given.records[i];
          !r.unconnected && (r.access != 1 || side == 0) && (r.access <= 1 || side == 1))
        grid[side].add(r.at + offset, static_cast<int>(i));
  std::map<std::string, std::set<std::string>> theirs_of, mine_of;
  std::size_t met = 0, total = 0;
  for (const auto& r : cad.records) {
    if (r.unconnected) continue;
    ++total;
    const int i = grid[r.access > 1 ? 1 : 0].nearest(r.at, 0.05);
    if (i < 0) continue;
    ++met;
    theirs_of[r.net].insert(given.records[static_cast<std::size_t>(i)].net);
    mine_of[given.records[static_cast<std::size_t>(i)].net].insert(r.net);
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
    d.warn("cad-nets-differ", {cad.name, 0, 0, {}},
           "the netlist and the IPC-2581 file differ; the netlist counts, since bare boards are tested with it",
           share + "; " + std::to_string(split) + " nets are joined or divided differently" +
               (first.empty() ? "" : ", first: " + first),
           "give files of one release, or leave one of the two out");
  else
    d.note("cad-nets-agree", {cad.name, 0, 0, {}}, "netlist and IPC-2581 file hold the same nets", share);
}

void compare_holes(const Job& job, const Sources& s, const CadBoard& cad, Diagnostics& d) {
  std::vector<Point> drilled, mine;
  for (std::size_t k = 0; k < s.drills.size(); ++k)
    for (const auto& h : formats::holes_of(s.drills[k], drill_format(s.drills[k], job.drills[k])))
      drilled.push_back(h.at + job.drills[k].offset.value_or(Point{}));
  for (const auto& h : cad.mechanics.holes)
    if (!h.slot) mine.push_back(h.at);
  if (mine.size() < 3 || drilled.size() < 3) return;
  const double share = share_met(mine, drilled, {}, 0.05);
  const std::string text = percent(share) + " of the " + std::to_string(mine.size()) +
                           " holes of the IPC-2581 file are drilled by the drill files";
  if (share >= 0.95)
    d.note("cad-holes-agree", {cad.name, 0, 0, {}}, text);
  else
    d.warn("cad-holes-differ", {cad.name, 0, 0, {}}, text + "; the drill files count", {},
           "give files of one release, or leave one of the two out");
}
}  // namespace

namespace {
/// Without drill files the holes of an IDF file join the copper's layers, as far as it lists them.
void holes_of_idf(const Job& job, Sources& s, Diagnostics& d) {
  if (!s.idf || s.idf->holes.empty() || !s.drills.empty() || s.netlist || !job.pads_file.empty()) return;
  const Point shift = job.idf_offset.value_or(Point{});
  for (formats::Hole h : s.idf->holes) {
    h.at = h.at + shift;
    h.end = h.end + shift;
    s.other_holes.push_back(std::move(h));
  }
  s.other_holes_file = s.idf->name;
  s.vias_missing = s.idf->vias_left_out;
  d.warn("idf-holes-taken", {s.idf->name, 0, 0, ".DRILLED_HOLES"},
         std::string("no drill file is given: the holes of the IDF file stand for it") +
             (s.vias_missing ? "; it lists no vias, so nets cannot be traced whole" : ""),
         std::to_string(s.other_holes.size()) + " holes", "name the drill files in  [[inputs.drill]]");
}
}  // namespace

void unfold(Job& job, Sources& s, Diagnostics& d) {
  if (!s.cad) return holes_of_idf(job, s, d);
  CadBoard& cad = *s.cad;
  const auto given = [&](LayerRole role) {
    for (std::size_t i = 0; i < job.gerbers.size(); ++i)
      if (job.gerbers[i].role == role && !s.gerbers[i].objects.empty()) return static_cast<int>(i);
    return -1;
  };
  const bool copper = given(LayerRole::copper_top) >= 0 || given(LayerRole::copper_bottom) >= 0;
  const std::size_t files = job.gerbers.size();
  for (CadLayer& l : cad.layers) {
    const LayerRole role = role_of_layer(l);
    bool taken = is_copper(role) && copper;
    for (std::size_t i = 0; i < files; ++i)
      if (job.gerbers[i].role == role && role != LayerRole::copper_inner) {
        taken = true;
        compare_layer(l, s.gerbers[i], d);
      }
    if (taken || l.image.objects.empty()) continue;
    GerberInput in;
    in.file = l.image.name;
    in.role = role;
    in.layer = l.number;
    in.clearances = l.negative && is_copper(role);
    in.mask_image_inverted = l.kind == CadLayer::Kind::mask && job.cad_mask == "mask";
    job.gerbers.push_back(std::move(in));
    s.gerbers.push_back(std::move(l.image));
  }
  if (!s.drills.empty())
    compare_holes(job, s, cad, d);
  else {
    s.other_holes = cad.mechanics.holes;
    s.other_holes_file = cad.name;
  }
  if (s.netlist) {
    compare_netlists(*s.netlist, job.netlist_offset.value_or(Point{}), cad.netlist, d);
  } else if (job.pads_file.empty()) {
    if (cad.netlist.records.empty())
      return d.error(
          "cad-no-lands", {cad.name, 0, 0, "Step"}, "the step holds no land on outer copper and no hole",
          "mode " + cad.mode +
              (cad.test_points
                   ? "; " + std::to_string(cad.test_points) +
                         " points of the bare-board test, which alone do not say which part a land belongs to"
                   : ""),
          "layers of copper with pads", "export it with layers, or give Gerber files and a netlist");
    s.netlist = std::move(cad.netlist);
    job.netlist_file = cad.name;
    if (job.netlist_mask.empty()) job.netlist_mask = cad.exposure_stated ? "covered" : "ignore";
  }
  if (!job.thickness && cad.mechanics.thickness)
    job.thickness = Mm{*cad.mechanics.thickness};
  else if (job.thickness && cad.mechanics.thickness &&
           std::abs(job.thickness->v - *cad.mechanics.thickness) > 0.1 * job.thickness->v)
    d.warn("cad-thickness-differs", {cad.name, 0, 0, "Stackup"},
           "the job and the IPC-2581 file state different thicknesses; the job's counts",
           short_number(job.thickness->v, 3) + " mm and " + short_number(*cad.mechanics.thickness, 3) + " mm",
           "correct board.thickness");
}

}  // namespace teasel
