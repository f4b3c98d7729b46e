// An array of boards as one board.
#include <algorithm>
#include <cmath>
#include <set>

#include "build.h"

namespace teasel {

namespace {
constexpr std::size_t kMostFeatures = 2'000'000, kMostKeepOuts = 5'000;
constexpr double kOverlap = 0.01;  // mm2; boards that abut may overlap by rounding
// mm. Between boards and rails there may be a slot or a groove as wide as this; a narrower strip of rail carries
// nothing. Chosen, no source.
constexpr double kParting = 2.5, kNarrowRail = 3.0;

Affine map_of(const PanelPlace& place) {
  const double angle = place.turn.v * 3.14159265358979323846 / 180;
  double cosine = std::cos(angle), sine = std::sin(angle);
  // Quarter turns are exact: their sines are not.
  if (std::abs(std::remainder(place.turn.v, 90)) < 1e-9) {
    cosine = std::round(cosine);
    sine = std::round(sine);
  }
  const double mirror = place.flipped ? -1 : 1;
  return {mirror * cosine, -sine, mirror * sine, cosine, place.at.x, place.at.y};
}

std::vector<PanelPlace> places_of(const Job& job, const Sources& sources, const Board& board,
                                  std::optional<Polygon>& outline, Diagnostics& diagnostics) {
  std::vector<PanelPlace> places = job.panel.places;
  if (job.panel.step.empty()) return places;
  const formats::CadStep* step = nullptr;
  std::string names;
  if (sources.cad)
    for (const auto& panel_step : sources.cad->steps) {
      if (!panel_step.places.empty()) names += (names.empty() ? "" : ", ") + panel_step.name;
      if (panel_step.name == job.panel.step) step = &panel_step;
    }
  if (!step) {
    diagnostics.error({.code = "panel-step",
                       .at = job.panel.place,
                       .message = sources.cad
                                      ? "the IPC-2581 file holds no such step"
                                      : "the panel names a step of an IPC-2581 file, but the job names no such file",
                       .found = job.panel.step,
                       .expected = names,
                       .remedy = "name a step that repeats the board, or list the places in  [[panel.board]]"});
    return {};
  }
  outline = step->outline;
  std::size_t others = 0;
  for (const auto& place : step->places) {
    if (place.step != sources.cad->step) {
      ++others;
      continue;
    }
    places.push_back({"P" + std::to_string(places.size() + 1), place.at, place.turn, place.mirrored});
  }
  if (others)
    diagnostics.warn({.code = "panel-step",
                      .at = job.panel.place,
                      .message = "the panel also holds other steps, which are left out",
                      .found = std::to_string(others) + " places",
                      .remedy = "draw keep-outs where they carry parts"});
  if (places.empty())
    diagnostics.error({.code = "panel-step",
                       .at = job.panel.place,
                       .message = "no place of this step holds the board",
                       .found = job.panel.step + " without " + sources.cad->step + " (" + board.name + ")",
                       .remedy = "name the step that is a panel of this board"});
  return places;
}

/// Puts a copy of the single board into its place of the panel.
class Copier {
 public:
  Copier(const Board& one, Board& panel, const PanelPlace& place)
      : one_(one),
        panel_(panel),
        place_(place),
        map_(map_of(place)),
        id_(panel.places.next()),
        first_feature_(panel.features.size()),
        first_net_(panel.nets.size()),
        first_part_(panel.components.size()) {}
  void run() {
    copy_features();
    copy_nets();
    copy_parts();
    copy_holes();
    copy_copper();
    for (const Polygon& polygon : transformed(one_.pieces, map_)) panel_.pieces.push_back(polygon);
    for (const FlexPart& part : one_.flex)
      panel_.flex.push_back({place_.name + ":" + part.name, transformed(part.area, map_), part.backed});
    panel_.places.push_back({.name = place_.name, .map = map_, .flipped = place_.flipped});
  }

 private:
  void copy_features();
  void copy_nets();
  void copy_parts();
  void copy_holes();
  void copy_copper();
  Side side(Side own) const { return place_.flipped ? other(own) : own; }
  Point turned(Point v) const { return {map_.a * v.x + map_.b * v.y, map_.c * v.x + map_.d * v.y}; }
  int layer(int number) const {
    return place_.flipped && number > 0 && one_.copper_layers > 0 ? one_.copper_layers + 1 - number : number;
  }
  FeatureId moved(FeatureId id) const { return id ? FeatureId{id.index() + first_feature_} : id; }
  NetId moved(NetId id) const { return id ? NetId{id.index() + first_net_} : id; }
  ComponentId moved(ComponentId id) const { return id ? ComponentId{id.index() + first_part_} : id; }

  const Board& one_;
  Board& panel_;
  const PanelPlace& place_;
  Affine map_;
  PlaceId id_;
  std::size_t first_feature_, first_net_, first_part_;  ///< rows of the copies before this one
};

void Copier::copy_features() {
  for (const FeatureId base : one_.features.ids()) {
    Feature feature = one_.features[base];
    feature.name = PadName::in_panel(place_.name, feature.name);
    feature.panel_place = id_;
    feature.base = base;
    feature.net = moved(feature.net);
    feature.component = moved(feature.component);
    feature.at = map_(feature.at);
    feature.slot = turned(feature.slot);
    if (place_.flipped) {
      std::swap(feature.land[Side::top], feature.land[Side::bottom]);
      std::swap(feature.first_layer, feature.last_layer);
    }
    feature.first_layer = layer(feature.first_layer);
    feature.last_layer = layer(feature.last_layer);
    for (Land& land : feature.land) land.rotation = (place_.flipped ? -land.rotation : land.rotation) + place_.turn;
    panel_.features.push_back(std::move(feature));
  }
}

void Copier::copy_nets() {
  for (const NetId base : one_.nets.ids()) {
    Net net = one_.nets[base];
    net.name = NetName::in_panel(place_.name, net.name);
    net.panel_place = id_;
    net.base = base;
    for (FeatureId& id : net.features) id = moved(id);
    panel_.nets.push_back(std::move(net));
  }
}

void Copier::copy_parts() {
  for (Component part : one_.components) {
    part.name = PartName::in_panel(place_.name, part.name);
    part.panel_place = id_;
    part.side = side(part.side);
    part.body = transformed(part.body, map_);
    part.ring = transformed(part.ring, map_);
    if (place_.flipped) std::reverse(part.ring.begin(), part.ring.end());
    for (FeatureId& id : part.features) id = moved(id);
    panel_.components.push_back(std::move(part));
  }
}

void Copier::copy_holes() {
  for (BoardHole hole : one_.holes) {
    hole.at = map_(hole.at);
    hole.end = map_(hole.end);
    if (place_.flipped) std::swap(hole.first_layer, hole.last_layer);
    hole.first_layer = layer(hole.first_layer);
    hole.last_layer = layer(hole.last_layer);
    panel_.holes.push_back(std::move(hole));
  }
}

void Copier::copy_copper() {
  for (Exposure exposure : one_.exposures) {
    exposure.feature = moved(exposure.feature);
    exposure.side = side(exposure.side);
    exposure.copper = transformed(exposure.copper, map_);
    exposure.contact = transformed(exposure.contact, map_);
    exposure.aim = map_(exposure.aim);
    exposure.aim = {std::round(exposure.aim.x * 1000) / 1000, std::round(exposure.aim.y * 1000) / 1000};
    panel_.exposures.push_back(std::move(exposure));
  }
  for (BareMetal metal : one_.bare_metal) {
    metal.side = side(metal.side);
    metal.copper = transformed(metal.copper, map_);
    panel_.bare_metal.push_back(std::move(metal));
  }
  for (Covered covered : one_.covered) {
    covered.feature = moved(covered.feature);
    covered.side = side(covered.side);
    panel_.covered.push_back(covered);
  }
}

/// Lists are kept by feature, then side: a flipped board swaps the sides of each feature.
template <class List>
void in_order(List& list) {
  std::stable_sort(list.begin(), list.end(), [](const auto& x, const auto& y) {
    return std::pair(x.feature, x.side) < std::pair(y.feature, y.side);
  });
}

/// Names that are free, and no more copies than can be handled.
void check_size(const Board& board, const std::vector<PanelPlace>& places, const Job& job, Diagnostics& diagnostics) {
  std::set<std::string> names;
  for (const PanelPlace& place : places)
    if (!names.insert(place.name).second)
      diagnostics.error({.code = "panel-names",
                         .at = job.panel.place,
                         .message = "two boards of the panel have one name",
                         .found = place.name,
                         .remedy = "give the places in  [[panel.board]]  different names"});
  if (places.size() * board.keep_outs.size() > kMostKeepOuts)
    diagnostics.error(
        {.code = "panel-keep-outs",
         .at = job.panel.place,
         .message = "too many keep-outs for so many boards",
         .found = std::to_string(places.size()) + " boards of " + std::to_string(board.keep_outs.size()) + " keep-outs",
         .expected = std::to_string(kMostKeepOuts),
         .remedy = "merge keep-outs, or plan only a part of the panel"});
  if (diagnostics.failed()) return;
  if (places.size() * board.features.size() > kMostFeatures)
    return diagnostics.error(
        {.code = "panel-too-large",
         .at = job.panel.place,
         .message = "the panel holds more than two million pads",
         .found = std::to_string(places.size()) + " boards of " + std::to_string(board.features.size()) + " pads",
         .remedy = "plan only a part of the panel"});
}

/// What holds for the single board and for its panel alike.
Board panel_of(const Board& one, bool alike) {
  Board panel;
  panel.name = one.name;
  panel.revision = one.revision;
  panel.thickness = one.thickness;
  panel.thickness_known = one.thickness_known;
  panel.finish = one.finish;
  panel.outline_assumed = one.outline_assumed;
  panel.from_netlist = one.from_netlist;
  panel.copper_layers = one.copper_layers;
  panel.has_mask_layers = one.has_mask_layers;
  panel.has_copper_layers = one.has_copper_layers;
  panel.has_paste = one.has_paste;
  panel.traced = one.traced;
  panel.names_perhaps_cut = one.names_perhaps_cut;
  panel.facts = one.facts;
  panel.connectivity = one.connectivity;
  panel.bench = one.bench;
  panel.plans_alike = alike;
  return panel;
}

void check_overlaps(const Board& panel, const Job& job, Diagnostics& diagnostics) {
  const Polygons& pieces = panel.pieces;
  for (std::size_t i = 0; i < pieces.size(); ++i)
    for (std::size_t j = i + 1; j < pieces.size(); ++j)
      if (bounds(pieces[i].outer).touches(bounds(pieces[j].outer)) &&
          area(intersect({pieces[i]}, {pieces[j]})) > kOverlap)
        return diagnostics.error({.code = "panel-overlap",
                                  .at = job.panel.place,
                                  .message = "two boards of the panel overlap",
                                  .found = panel.places[PlaceId{i}].name + " and " + panel.places[PlaceId{j}].name,
                                  .remedy = "correct their places, pitch or turn"});
}

void add_panel_holes(Board& panel, const Job& job) {
  for (const PanelHole& panel_hole : job.panel.holes) {
    BoardHole hole;
    hole.at = hole.end = panel_hole.at;
    hole.diameter = panel_hole.diameter;
    hole.of_panel = true;
    hole.place = job.panel.place;
    hole.plating = panel_hole.plated ? formats::Plating::plated : formats::Plating::unplated;
    panel.holes.push_back(std::move(hole));
  }
}

/// The edge that the job or a file draws, else the box about all boards and holes of the panel.
void settle_outline(Board& panel, std::optional<Polygon> drawn, const Job& job, Diagnostics& diagnostics) {
  if (!job.panel.outline.empty()) {
    const Polygons filled = fill_contours({Ring(job.panel.outline.begin(), job.panel.outline.end())});
    if (filled.size() != 1)
      return diagnostics.error({.code = "panel-outline",
                                .at = job.panel.place,
                                .message = "the panel's outline crosses itself",
                                .remedy = "list its corners in order"});
    drawn = filled[0];
  }
  if (drawn) {
    panel.outline = {drawn->outer, {}};
    if (area(subtract(panel.pieces, {panel.outline})) > kOverlap)
      diagnostics.error({.code = "panel-outline",
                         .at = job.panel.place,
                         .message = "boards extend beyond the panel's outline",
                         .remedy = "correct the outline or the places"});
    return;
  }
  Box box;
  for (const Polygon& polygon : panel.pieces) box.add(bounds(polygon.outer));
  for (const PanelHole& hole : job.panel.holes)
    box.add(Box{hole.at.x, hole.at.y, hole.at.x, hole.at.y}.grown(hole.diameter.v));
  panel.outline = {{{box.x0, box.y0}, {box.x1, box.y0}, {box.x1, box.y1}, {box.x0, box.y1}}, {}};
}

/// The frame about the boards, where the panel's edge is drawn.
Polygons rails_of(const Panel& asked, const Board& panel, bool drawn) {
  if (!drawn && asked.outline.empty()) return {};
  const Polygons left = subtract({panel.outline}, offset(panel.pieces, kParting));
  return offset(offset(left, -kNarrowRail / 2), kNarrowRail / 2);
}

/// What keeps probes away on one board does so on each; areas in the panel's own frame stay as they are.
Table<KeepOutId, KeepOut> repeated_keep_outs(const Board& panel, const Table<KeepOutId, KeepOut>& keep_outs) {
  Table<KeepOutId, KeepOut> all;
  for (const KeepOut& keep_out : keep_outs) {
    if (keep_out.panel) {
      all.push_back(keep_out);
      continue;
    }
    for (const PlaceInPanel& place : panel.places) {
      KeepOut copy = keep_out;
      copy.name = place.name + ":" + keep_out.name;
      copy.area = transformed(keep_out.area, place.map);
      if (const auto only = keep_out.sides.only(); only && place.flipped) copy.sides = other(*only);
      all.push_back(std::move(copy));
    }
  }
  return all;
}
}  // namespace

std::map<std::pair<PlaceId, NetId>, NetId> nets_by_place(const Board& board) {
  std::map<std::pair<PlaceId, NetId>, NetId> out;
  for (const NetId net : board.nets.ids()) out[{board.nets[net].panel_place, board.base_net(net)}] = net;
  return out;
}

void panelize(Board& board, const Job& job, const Rules& rules, const Sources& sources, Diagnostics& diagnostics,
              const Shop& shop) {
  if (!job.panel.used) return;
  std::optional<Polygon> drawn;
  const std::vector<PanelPlace> places = places_of(job, sources, board, drawn, diagnostics);
  check_size(board, places, job, diagnostics);
  if (diagnostics.failed()) return;
  const Board one = std::move(board);
  board = panel_of(one, job.panel.alike);
  for (const PanelPlace& place : places) Copier(one, board, place).run();
  in_order(board.exposures);
  in_order(board.covered);
  check_overlaps(board, job, diagnostics);
  if (diagnostics.failed()) return;
  add_panel_holes(board, job);
  settle_outline(board, drawn, job, diagnostics);
  if (diagnostics.failed()) return;
  board.rails = rails_of(job.panel, board, drawn.has_value());
  board.keep_outs = repeated_keep_outs(board, one.keep_outs);
  diagnostics.note(
      {.code = "panel",
       .at = job.panel.place,
       .message = std::to_string(places.size()) + " boards in a panel of " +
                  short_number(bounds(board.outline.outer).width(), 2) + " x " +
                  short_number(bounds(board.outline.outer).height(), 2) + " mm. Coordinates are those of the panel. " +
                  (job.panel.alike ? "All boards are probed at the same places" : "Each board is planned by itself")});
  choose_tooling(board, job, rules, sources.pins, diagnostics, shop);
}

}  // namespace teasel
