#include "pad_places.h"

#include <algorithm>

namespace teasel {

namespace {
constexpr double kLargest = 1.25;  // mm; radius beyond which more room is worth nothing
constexpr double kFarther = 0.5;   // mm; so much farther a roomier place is still "near"
constexpr double kRoomier = 1.2;   // times the free diameter that makes a second place worth naming
constexpr double kPlane =
    25.0;  // mm2; filled copper of this size is a plane that can give way (common practice, no source)

void edges(std::vector<Solid>& solids, const Polygon& polygon, double clear, NetId owner, bool centre_only = false,
           bool plane = false) {
  auto add = [&](const Ring& ring) {
    add_ring(solids, ring, {.clear = clear, .owner = owner, .centre_only = centre_only, .plane = plane});
  };
  add(polygon.outer);
  for (const Ring& hole : polygon.holes) add(hole);
}
/// About how many solids the edges of a shape become.
std::size_t count_of(const CopperShape& shape) {
  if (!shape.area) return 1;
  std::size_t count = shape.area->outer.size();
  for (const Ring& hole : shape.area->holes) count += hole.size();
  return count;
}
bool goes_through(const Feature& feature) {
  return feature.hole > Mm{} && feature.plated && feature.first_layer == 0 && feature.last_layer == 0;
}
}  // namespace

PadPlaces::PadPlaces(const Board& board, const Access& access, const OptionResult& option, const Job& job,
                     const Catalogue& catalogue, const Rules& rules, Side side)
    : board_(board),
      access_(access),
      option_(option),
      rules_(rules),
      job_(job),
      catalogue_(catalogue),
      side_(side),
      copper_(board.connectivity.copper.get()),
      spacing_(catalogue.classes.back().spacing.v) {
  if (copper_) owners();
  auto area_of = [&](const Polygons& list) {
    for (const Polygon& polygon : list) areas_.push_back(&polygon);
  };
  for (const Component& component : board.components)
    if (component.side == side) area_of(component.body);
  for (const KeepOut& keep_out : board.keep_outs)
    if (keep_out.sides.has(side)) area_of(keep_out.area);
  std::vector<Box> boxes;
  for (const Polygon* polygon : areas_) boxes.push_back(bounds(polygon->outer));
  area_index_ = std::make_unique<BoxIndex>(std::move(boxes));
  for (const PlacedProbe& probe : option_.probes)
    if (access_.targets[probe.target].side == side) spacing_ = std::max(spacing_, apart(probe));
  space_ = std::make_unique<FreeSpace>(all_of_this_side(), kLargest,
                                       [this](Point p, const Guest& guest) { return blocked(p, guest); });
}

/// Between a placed probe and a new one of the largest class.
double PadPlaces::apart(const PlacedProbe& probe) const {
  return static_cast<double>(
             least_distance_nm(catalogue_, rules_, ClassId{catalogue_.classes.size() - 1}, probe.probe_class)) /
         1e6;
}

std::vector<Solid> PadPlaces::all_of_this_side() const {
  std::vector<Solid> out;
  others(out);
  for (const PlacedProbe& probe : option_.probes) {
    if (access_.targets[probe.target].side != side_) continue;
    const Point aim = access_.spots[probe.spot].at;
    out.push_back({.a = aim, .b = aim, .clear = apart(probe), .centre_only = true});
  }
  copper(out);
  return out;
}

void PadPlaces::turn_to_vias() {
  vias_ = true;
  space_.reset();  // first, because the next one holds the copper of all layers and is large
  std::vector<Solid> solids = all_of_this_side();
  if (copper_) {
    std::size_t more = board_.holes.size();
    for (std::size_t layer = 0; layer < copper_->layers().size(); ++layer)
      if (layer != layer_)
        for (const CopperShape& shape : copper_->shapes(layer)) more += count_of(shape);
    solids.reserve(solids.size() + more + more / 8);
    through(solids);
  }
  std::vector<Box> small;
  for (const auto& [polygon, owner] : small_) small.push_back(bounds(polygon->outer));
  small_index_ = std::make_unique<BoxIndex>(std::move(small));
  space_ = std::make_unique<FreeSpace>(std::move(solids), kLargest, [this](Point p, const Guest& guest) {
    return blocked(p, guest) || pierces(p, guest.net);
  });
  for (const Solid& shape : taken_) space_->add(shape);
}

/// Copper belongs to the net of the lands on it. Copper that two nets claim belongs to neither.
void PadPlaces::owners() {
  int bottom = board_.copper_layers;
  for (const CopperLayer& layer : copper_->layers()) bottom = std::max(bottom, layer.number);
  for (std::size_t i = 0; i < copper_->layers().size(); ++i) {
    if (copper_->layers()[i].number == 1)
      layers_[Side::top] = i;
    else if (copper_->layers()[i].number == bottom)
      layers_[Side::bottom] = i;
  }
  layer_ = layers_[side_];
  net_of_copper_.assign(copper_->nets().size(), NetId{});
  Table<CopperNetId, char> claimed_twice(copper_->nets().size());
  for (const Feature& feature : board_.features)
    for (const Side side : kBothSides) {
      if (!layers_[side] || !feature.net || board_.nets[feature.net].unconnected ||
          !(feature.land[side].present || goes_through(feature)))
        continue;
      const CopperNetId traced = copper_->net_at(*layers_[side], feature.at);
      if (!traced) continue;
      NetId& owner = net_of_copper_[traced];
      if (owner && owner != feature.net) claimed_twice[traced] = 1;
      owner = feature.net;
    }
  for (const CopperNetId traced : claimed_twice.ids())
    if (claimed_twice[traced]) net_of_copper_[traced] = NetId{};
  for (const Side side : kBothSides) {
    shapes_of_net_[side].resize(board_.nets.size());
    if (!layers_[side]) continue;
    shapes_[side] = copper_->shapes(*layers_[side]);
    for (std::size_t i = 0; i < shapes_[side].size(); ++i)
      if (const NetId owner = owner_of(shapes_[side][i])) shapes_of_net_[side][owner].push_back(i);
  }
}

/// The point lies off the board, in a body or a keep-out, or on copper of another net.
bool PadPlaces::blocked(Point point, const Guest& guest) const {
  if (std::none_of(board_.pieces.begin(), board_.pieces.end(),
                   [&](const Polygon& piece) { return contains(piece, point); }))
    return true;
  std::vector<std::uint32_t> ids;
  area_index_->find({point.x, point.y, point.x, point.y}, ids);
  if (std::any_of(ids.begin(), ids.end(), [&](std::uint32_t i) { return contains(*areas_[i], point); })) return true;
  if (!layer_ || guest.in_planes) return false;
  const CopperNetId traced = copper_->net_at(*layer_, point);
  return traced && (!net_of_copper_[traced] || net_of_copper_[traced] != guest.net);
}

/// A via here would stand in filled copper of another net on another layer.
bool PadPlaces::pierces(Point point, NetId owner) const {
  std::vector<std::uint32_t> ids;
  small_index_->find({point.x, point.y, point.x, point.y}, ids);
  return std::any_of(ids.begin(), ids.end(),
                     [&](std::uint32_t i) { return small_[i].second != owner && contains(*small_[i].first, point); });
}

/// A via goes through all layers. Its land keeps clear on the inner layers and on the other side, but planes open for
/// it.
void PadPlaces::through(std::vector<Solid>& via) {
  const double clear = rules_.advice.via_diameter.v / 2 + rules_.advice.pad_to_copper.v;
  for (std::size_t layer = 0; layer < copper_->layers().size(); ++layer) {
    if (layer == layer_ || copper_->layers()[layer].clearances) continue;
    for (const CopperShape& shape : copper_->shapes(layer)) {
      const NetId owner = owner_of(shape);
      if (!shape.area)
        via.push_back({.a = shape.a,
                       .b = shape.b,
                       .radius = shape.radius.v,
                       .clear = clear,
                       .owner = owner,
                       .centre_only = true});
      else if (area(*shape.area) < kPlane) {
        edges(via, *shape.area, clear, owner, true);
        small_.emplace_back(shape.area, owner);
      }
    }
  }
  for (const Component& component : board_.components)
    if (component.side != side_ && component.area_array)
      for (const Polygon& polygon : component.body) edges(via, polygon, clear, NetId{});
  for (const BoardHole& hole : board_.holes)
    via.push_back({.a = hole.at, .b = hole.end, .radius = hole.diameter.v / 2, .clear = clear, .centre_only = true});
  for (const Exposure& exposure : board_.exposures)
    if (exposure.side != side_)
      for (const Polygon& polygon : exposure.copper)
        edges(via, polygon, clear, board_.features[exposure.feature].net, true);
}

void PadPlaces::copper(std::vector<Solid>& solids) const {
  if (!layer_) return;
  for (const CopperShape& shape : shapes_[side_]) {
    const NetId owner = owner_of(shape);
    if (!shape.area)
      solids.push_back({.a = shape.a,
                        .b = shape.b,
                        .radius = shape.radius.v,
                        .clear = rules_.advice.pad_to_copper.v,
                        .owner = owner});
    else
      edges(solids, *shape.area, rules_.advice.pad_to_copper.v, owner, false, area(*shape.area) >= kPlane);
  }
}

void PadPlaces::others(std::vector<Solid>& solids) const {
  for (const Exposure& exposure : board_.exposures) {
    if (exposure.side != side_) continue;
    const Feature& feature = board_.features[exposure.feature];
    const bool fiducial = feature.kind == FeatureKind::fiducial;
    // The net's own exposed metal does not count as a foreign conductor. Still, a second pad is of use only beside that
    // metal, not on it.
    for (const Polygon& polygon : exposure.copper)
      edges(solids, polygon, fiducial ? rules_.fiducial.preferred.v : rules_.other_conductor.preferred.v,
            fiducial ? NetId{} : feature.net);
  }
  for (const BareMetal& metal : board_.bare_metal)
    if (metal.side == side_)
      for (const Polygon& polygon : metal.copper) edges(solids, polygon, rules_.other_conductor.preferred.v, NetId{});
  for (const Component& component : board_.components)
    if (component.side == side_)
      for (const Polygon& polygon : component.body)
        edges(solids, polygon, rules_.body(component.height).rule.preferred.v, NetId{});
  for (const Polygon& polygon : board_.pieces) edges(solids, polygon, rules_.board_edge.preferred.v, NetId{});
  for (const HoleId id : board_.holes.ids()) {
    const BoardHole& hole = board_.holes[id];
    const bool tool = std::find(board_.tooling.begin(), board_.tooling.end(), id) != board_.tooling.end();
    if (tool)
      solids.push_back({.a = hole.at,
                        .b = hole.at,
                        .radius = hole.diameter.v / 2,
                        .clear = rules_.tooling_hole.preferred.v,
                        .centre_only = true});
    else if (hole.plating == formats::Plating::unplated)
      solids.push_back({.a = hole.at, .b = hole.end, .radius = hole.diameter.v / 2, .clear = rules_.slot.preferred.v});
    else if (!hole.blind)
      solids.push_back(
          {.a = hole.at, .b = hole.end, .radius = hole.diameter.v / 2, .clear = rules_.advice.pad_to_copper.v});
  }
  for (const KeepOut& keep_out : board_.keep_outs)
    if (keep_out.sides.has(side_))
      for (const Polygon& polygon : keep_out.area)
        edges(solids, polygon, rules_.shared_space.at(keep_out.kind).preferred.v, NetId{});
}

std::vector<Solid> PadPlaces::own(NetId net, Side side) const {
  std::vector<Solid> out;
  if (layers_[side])
    for (const std::size_t i : shapes_of_net_[side][net]) {
      const CopperShape& shape = shapes_[side][i];
      if (!shape.area)
        out.push_back({.a = shape.a, .b = shape.b, .radius = shape.radius.v, .clear = 0, .owner = net});
      else
        edges(out, *shape.area, 0, net);
    }
  for (const FeatureId feature_index : board_.nets[net].features) {
    const Feature& feature = board_.features[feature_index];
    if (goes_through(feature))
      out.push_back({.a = feature.at, .b = feature.at, .radius = feature.hole.v / 2, .clear = 0, .owner = net});
    else if (!layers_[side] && feature.land[side].present)
      out.push_back({.a = feature.at,
                     .b = feature.at,
                     .radius = std::min(feature.land[side].width, feature.land[side].height).v / 2,
                     .clear = 0,
                     .owner = net});
  }
  return out;
}

std::vector<PadPlace> PadPlaces::find(NetId net) {
  std::vector<PadPlace> out;
  std::vector<Solid> reach = own(net, side_);
  if (reach.empty() != vias_) return out;
  if (vias_) reach = own(net, other(side_));
  if (reach.empty()) return out;
  const double radius = rules_.advice.pad_diameter.v / 2, farthest = rules_.advice.farthest.v;
  for (const bool planes : {false, true}) {
    if (vias_ && planes) break;
    const Guest guest{net, planes};
    const auto near = space_->nearest(reach, guest, radius, farthest);
    if (!near) continue;
    const auto roomy = space_->largest(reach, guest, radius, std::min(farthest, near->distance + kFarther));
    const FreePlace first = roomy ? *roomy : *near;
    out.push_back({.at = first.at,
                   .free_diameter = 2 * first.radius,
                   .distance = first.distance,
                   .with_via = vias_,
                   .in_pour = planes});
    const auto far = space_->largest(reach, guest, kRoomier * first.radius, farthest);
    if (far && far->radius > kRoomier * first.radius && distance(far->at, first.at) > 0.5)
      out.push_back({.at = far->at,
                     .free_diameter = 2 * far->radius,
                     .distance = far->distance,
                     .with_via = vias_,
                     .in_pour = planes});
    break;
  }
  // An advised pad stands in the way of all later ones, with its metal and with the probe that lands on it.
  for (const PadPlace& place : out)
    for (const Solid& solid :
         {Solid{.a = place.at,
         .b = place.at,
         .radius = radius,
         .clear = rules_.other_conductor.preferred.v,
         .owner = net},
          Solid{.a = place.at, .b = place.at, .clear = spacing_, .owner = net, .centre_only = true}}) {
      taken_.push_back(solid);
      space_->add(solid);
    }
  return out;
}

}  // namespace teasel
