// Probes that are more than one tip: rings on ground about a signal's tip, and connectors that plug into the board's.
#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <set>

#include "model.h"

namespace teasel::planning {

namespace {
std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}
}  // namespace

Rings::Rings(const Inputs& in) : in_(in), need_of_net_(in.board.nets.size(), -1) {
  if (std::none_of(in.catalogue.classes.begin(), in.catalogue.classes.end(),
                   [](const ProbeClass& p) { return p.ring_outer.v > 0; }))
    return;
  for (std::size_t i = 0; i < in.needs.size(); ++i)
    if (in.needs[i].role == Role::ground) need_of_net_[at(in.needs[i].net)] = static_cast<int>(i);
  for (std::size_t e = 0; e < in.board.exposures.size(); ++e)
    metal_[static_cast<std::size_t>(in.board.exposures[e].side)].emplace_back(bounds(in.board.exposures[e].copper),
                                                                              static_cast<int>(e));
  for (auto& list : metal_)
    std::sort(list.begin(), list.end(), [](const auto& a, const auto& b) {
      return a.first.x0 != b.first.x0 ? a.first.x0 < b.first.x0 : a.second < b.second;
    });
}

int Rings::ground_under(Point aim, Side side, const ProbeClass& probe, int own_net) const {
  constexpr int kSamples = 72;  // on the circle in the middle of the ring: five degrees each
  const double middle = (probe.ring_inner.v + probe.ring_outer.v) / 4,
               outer = probe.ring_outer.v / 2 + probe.pointing.v;
  std::map<int, int> on;
  const Box about{aim.x - outer, aim.y - outer, aim.x + outer, aim.y + outer};
  const auto& list = metal_[static_cast<std::size_t>(side)];
  for (const auto& [box, e] : list) {
    if (box.x0 > about.x1) break;
    if (box.x1 < about.x0 || box.y0 > about.y1 || box.y1 < about.y0) continue;
    const Exposure& x = in_.board.exposures[at(e)];
    const int net = in_.board.features[at(x.feature)].net, need = net < 0 ? -1 : need_of_net_[at(net)];
    if (need < 0 && net != own_net) {
      // Any other net's metal that the ring may reach is a short.
      if (distance_to_area(x.copper, aim) < outer) return -1;
      continue;
    }
    if (need < 0) continue;
    for (int k = 0; k < kSamples; ++k) {
      const double t = 2 * std::numbers::pi * k / kSamples;
      if (contains(x.copper, {aim.x + middle * std::cos(t), aim.y + middle * std::sin(t)})) ++on[need];
    }
  }
  for (const BareMetal& m : in_.board.bare_metal)
    if (m.side == side && distance_to_area(m.copper, aim) < outer) return -1;
  // The own metal must end inside the ring, or the ring shorts the signal to ground.
  if (need_of_net_[at(own_net)] < 0)
    for (const auto& [box, e] : list) {
      const Exposure& x = in_.board.exposures[at(e)];
      if (box.x0 > about.x1) break;
      if (in_.board.features[at(x.feature)].net != own_net || distance_to_area(x.copper, aim) >= outer) continue;
      for (const Polygon& p : x.copper)
        for (const Point v : p.outer)
          if (distance(v, aim) > probe.ring_inner.v / 2 - probe.pointing.v) return -1;
    }
  int best = -1;
  for (const auto& [need, n] : on)
    if (n >= in_.rules.ring_share * kSamples && (best < 0 || n > on[best])) best = need;
  return best;
}

void add_mates(Model& m, const Inputs& in, const std::vector<int>& demand_of_net) {
  const Board& b = in.board;
  const bool alike = b.plans_alike && b.places.size() > 1;
  for (std::size_t k = 0; k < in.job.mates.size(); ++k) {
    const Mate& mate = in.job.mates[k];
    // One column for each board of a panel, or one for all where they are probed alike.
    std::map<int, std::vector<const Component*>> by_column;
    for (std::size_t i = 0; i < b.components.size(); ++i) {
      const Component& c = b.components[i];
      if (c.name != mate.component && plain(c.name) != mate.component) continue;
      const int place = c.features.empty() ? -1 : b.features[at(c.features[0])].panel_place;
      by_column[alike ? 0 : place].push_back(&c);
    }
    for (const auto& [column, list] : by_column) {
      Candidate out;
      out.mate = static_cast<int>(k);
      out.first_atom = m.atoms.size();
      bool possible = true;
      for (const Component* c : list) {
        Side side = mate.side.value_or(c->side);
        if (mate.side && !c->features.empty()) side = b.own_side(b.features[at(c->features[0])], *mate.side);
        possible = possible && c->always_fitted && in.option.probed(side);
        for (const int f : c->features) {
          const Feature& x = b.features[at(f)];
          if (x.net < 0 || demand_of_net[at(x.net)] < 0) continue;
          Atom atom;
          const auto& needs = m.demands[at(demand_of_net[at(x.net)])].needs;
          atom.need = needs[alike ? at(x.panel_place) : 0];
          atom.target = atom.spot = -1;
          atom.feature = f;
          atom.side = side;
          atom.x = std::llround(x.at.x * 1e6);
          atom.y = std::llround(x.at.y * 1e6);
          atom.force = mate.force.v / static_cast<double>(c->features.size());
          m.atoms.push_back(atom);
        }
        out.price += std::llround(mate.price * 100);
      }
      out.atoms = m.atoms.size() - out.first_atom;
      if (possible && out.atoms > 0)
        m.candidates.push_back(out);
      else
        m.atoms.resize(out.first_atom);
    }
  }
}

}  // namespace teasel::planning
