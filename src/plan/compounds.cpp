// Probes that are more than one tip: rings on ground about a signal's tip, and connectors that plug into the board's.
#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include "model.h"

namespace teasel::planning {

Rings::Rings(const Inputs& in) : in_(in), ground_need_(in.board.nets.size()) {
  if (std::none_of(in.catalogue.classes.begin(), in.catalogue.classes.end(),
                   [](const ProbeClass& probe) { return probe.ring_outer.v > 0; }))
    return;
  for (const NeedId id : in.needs.ids())
    if (in.needs[id].role == Role::ground) ground_need_[in.needs[id].net] = id;
  for (const ExposureId id : in.board.exposures.ids())
    metal_[in.board.exposures[id].side].emplace_back(bounds(in.board.exposures[id].copper), id);
  for (auto& list : metal_)
    std::sort(list.begin(), list.end(), [](const auto& a, const auto& b) {
      return a.first.x0 != b.first.x0 ? a.first.x0 < b.first.x0 : a.second < b.second;
    });
}

NeedId Rings::ground_under(BoardPoint aim, Side side, const ProbeClass& probe, NetId own_net) const {
  constexpr int kSamples = 72;  // on the circle in the middle of the ring: five degrees each
  const double middle = (probe.ring_inner.v + probe.ring_outer.v) / 4,
               outer = probe.ring_outer.v / 2 + probe.pointing.v;
  std::map<NeedId, int> on;
  const Box about{aim.x - outer, aim.y - outer, aim.x + outer, aim.y + outer};
  const auto& list = metal_[side];
  for (const auto& [box, id] : list) {
    if (box.x0 > about.x1) break;
    if (box.x1 < about.x0 || box.y0 > about.y1 || box.y1 < about.y0) continue;
    const Exposure& exposure = in_.board.exposures[id];
    const NetId net = in_.board.features[exposure.feature].net;
    const NeedId need = net ? ground_need_[net] : NeedId{};
    if (!need) {
      // Any other net's metal that the ring may reach is a short.
      if (net != own_net && distance_to_area(exposure.copper, aim) < outer) return {};
      continue;
    }
    for (int k = 0; k < kSamples; ++k) {
      const double angle = 2 * std::numbers::pi * k / kSamples;
      if (contains(exposure.copper, {aim.x + middle * std::cos(angle), aim.y + middle * std::sin(angle)})) ++on[need];
    }
  }
  for (const BareMetal& metal : in_.board.bare_metal)
    if (metal.side == side && distance_to_area(metal.copper, aim) < outer) return {};
  // The own metal must end inside the ring, or the ring shorts the signal to ground.
  if (!ground_need_[own_net])
    for (const auto& [box, id] : list) {
      const Exposure& exposure = in_.board.exposures[id];
      if (box.x0 > about.x1) break;
      if (in_.board.features[exposure.feature].net != own_net || distance_to_area(exposure.copper, aim) >= outer)
        continue;
      for (const Polygon& polygon : exposure.copper)
        for (const Point corner : polygon.outer)
          if (distance(corner, aim) > probe.ring_inner.v / 2 - probe.pointing.v) return {};
    }
  NeedId best;
  for (const auto& [need, samples] : on)
    if (samples >= in_.rules.ring_share * kSamples && (!best || samples > on[best])) best = need;
  return best;
}

namespace {
/// True if a tooling pin stands where the connector that plugs into this part would.
bool meets_a_pin(const Inputs& in, const Component& part) {
  const Polygons room = room_of_mate(part);
  return std::any_of(in.board.tooling.begin(), in.board.tooling.end(), [&](HoleId id) {
    const BoardHole& hole = in.board.holes[id];
    return distance_to_area(room, hole.at) < hole.diameter.v / 2 + in.rules.mate_clearance.v;
  });
}

/// Adds a mating connector's pins to the model as atoms of one candidate; takes them back where the option does not
/// allow it.
void add_mate(Model& model, const Inputs& in, const Table<NetId, DemandId>& demand_of_net, MateId id,
              const std::vector<const Component*>& components) {
  const Board& board = in.board;
  const Mate& mate = in.job.decisions.mates[id];
  const bool alike = board.plans_alike && board.places.size() > 1;
  Candidate candidate;
  candidate.mate = id;
  candidate.first_atom = model.atoms.size();
  bool possible = true;
  for (const Component* component : components) {
    Side side = mate.side.value_or(component->side);
    if (mate.side && !component->features.empty())
      side = board.own_side(board.features[component->features[0]], *mate.side);
    possible = possible && component->always_fitted && in.option.probed(side) && !meets_a_pin(in, *component);
    for (const FeatureId pin : component->features) {
      const Feature& feature = board.features[pin];
      if (!feature.net || !demand_of_net[feature.net]) continue;
      Atom atom;
      const auto& needs = model.demands[demand_of_net[feature.net]].needs;
      atom.need = needs[alike ? feature.panel_place.index() : 0];
      atom.feature = pin;
      atom.side = side;
      atom.x = nanometres(feature.at.x);
      atom.y = nanometres(feature.at.y);
      atom.force = mate.force / static_cast<double>(component->features.size());
      model.atoms.push_back(atom);
    }
    candidate.price += cents(mate.price.v);
  }
  candidate.atoms = model.atoms.size() - candidate.first_atom;
  if (possible && candidate.atoms > 0)
    model.candidates.push_back(candidate);
  else
    model.atoms.resize(candidate.first_atom);
}
}  // namespace

void add_mates(Model& model, const Inputs& in, const Table<NetId, DemandId>& demand_of_net) {
  const Board& board = in.board;
  const bool alike = board.plans_alike && board.places.size() > 1;
  for (const MateId id : in.job.decisions.mates.ids()) {
    const std::string& name = in.job.decisions.mates[id].component;
    // One column for each board of a panel, or one for all where they are probed alike.
    std::map<PlaceId, std::vector<const Component*>> by_column;
    for (const Component& component : board.components) {
      if (component.name != name && component.name.plain() != name) continue;
      const PlaceId place = component.features.empty() ? PlaceId{} : board.features[component.features[0]].panel_place;
      by_column[alike ? PlaceId{0} : place].push_back(&component);
    }
    for (const auto& [place, components] : by_column) add_mate(model, in, demand_of_net, id, components);
  }
}

}  // namespace teasel::planning
