#include "pad_places.h"

#include <algorithm>

namespace teasel {

namespace {
std::size_t at(int i) { return static_cast<std::size_t>(i); }
constexpr double kLargest = 1.25;     // mm; radius beyond which more room is worth nothing
constexpr double kFarther = 0.5;      // mm; so much farther a roomier place is still "near"
constexpr double kRoomier = 1.2;      // times the free diameter that makes a second place worth naming
constexpr double kPlane = 25.0;       // mm2; filled copper of this size is a plane that can give way (common practice, no source)

void edges(std::vector<Solid>& solids, const Polygon& p, double clear, int owner) {
  auto ring = [&](const Ring& r) {
    for (std::size_t i = 0; i < r.size(); ++i) solids.push_back({r[i], r[(i + 1) % r.size()], 0, clear, owner, false});
  };
  ring(p.outer);
  for (const Ring& h : p.holes) ring(h);
}
}  // namespace

PadPlaces::PadPlaces(const Board& b, const Access& access, const OptionResult& option, const Job& job, const Catalogue& cat, const Rules& rules, Side side) : b_(b), rules_(rules), job_(job), side_(side) {
  const CopperNets* cu = b.connectivity.copper.get();
  if (cu) {
    int bottom = 0;
    for (const CopperLayer& l : cu->layers()) bottom = std::max(bottom, l.number);
    bottom = std::max(bottom, b.copper_layers);
    for (std::size_t i = 0; i < cu->layers().size(); ++i) {
      if (cu->layers()[i].number == 1) layers_[0] = static_cast<int>(i);
      else if (cu->layers()[i].number == bottom) layers_[1] = static_cast<int>(i);
    }
    layer_ = layers_[at(static_cast<int>(side))];
    // Copper belongs to the net of the lands upon it; copper that two nets claim belongs to none.
    constexpr int kClaimedTwice = -2;
    net_of_copper_.assign(cu->nets().size(), -1);
    for (const Feature& f : b.features)
      for (std::size_t s = 0; s < 2; ++s) {
        const bool through = f.hole > 0 && f.plated && f.first_layer == 0 && f.last_layer == 0;
        if (layers_[s] < 0 || f.net < 0 || b.nets[at(f.net)].unconnected || !(f.land[s].present || through)) continue;
        const int n = cu->net_at(at(layers_[s]), f.at);
        if (n < 0) continue;
        int& owner = net_of_copper_[at(n)];
        owner = owner == -1 || owner == f.net ? f.net : kClaimedTwice;
      }
    for (int& owner : net_of_copper_) owner = std::max(owner, -1);
    for (std::size_t s = 0; s < 2; ++s) {
      shapes_of_net_[s].resize(b.nets.size());
      if (layers_[s] < 0) continue;
      shapes_[s] = cu->shapes(at(layers_[s]));
      for (std::size_t i = 0; i < shapes_[s].size(); ++i)
        if (const int n = shapes_[s][i].net; n >= 0 && net_of_copper_[at(n)] >= 0) shapes_of_net_[s][at(net_of_copper_[at(n)])].push_back(i);
    }
  }
  const ProbeClass& smallest = cat.classes.back();
  for (const PlacedProbe& p : option.probes) {
    const Target& t = access.targets[at(p.target)];
    if (t.side == side) spacing_ = std::max(spacing_, static_cast<double>(least_distance_nm(cat, rules, cat.classes.size() - 1, at(p.probe_class))) / 1e6);
  }
  spacing_ = std::max(spacing_, smallest.spacing.v);
  auto area_of = [&](const Polygons& list) {
    for (const Polygon& p : list) areas_.push_back(&p);
  };
  for (const Component& c : b.components)
    if (c.side == side) area_of(c.body);
  for (const KeepOut& k : job.keep_outs)
    if (k.side == "both" || k.side == to_string(side)) area_of(k.area);
  std::vector<Box> boxes;
  for (const Polygon* p : areas_) boxes.push_back(bounds(p->outer));
  area_index_ = std::make_unique<BoxIndex>(boxes);
  std::vector<Solid> solids;
  others(solids);
  for (const PlacedProbe& p : option.probes) {
    const Target& t = access.targets[at(p.target)];
    if (t.side != side) continue;
    const Point q = access.spots[at(p.spot)].at;
    solids.push_back({q, q, 0, static_cast<double>(least_distance_nm(cat, rules, cat.classes.size() - 1, at(p.probe_class))) / 1e6, -1, true});
  }
  std::vector<Solid> all = solids;
  copper(all, true), copper(solids, false);
  auto blocked = [this](bool planes) {
    return [this, planes](Point p, int owner) {
      if (std::none_of(b_.pieces.begin(), b_.pieces.end(), [&](const Polygon& piece) { return contains(piece, p); })) return true;
      std::vector<std::uint32_t> ids;
      area_index_->find({p.x, p.y, p.x, p.y}, ids);
      if (std::any_of(ids.begin(), ids.end(), [&](std::uint32_t i) { return contains(*areas_[i], p); })) return true;
      if (layer_ < 0 || !planes) return false;
      const int n = b_.connectivity.copper->net_at(at(layer_), p);
      return n >= 0 && (net_of_copper_[at(n)] < 0 || net_of_copper_[at(n)] != owner);
    };
  };
  // A via goes through all layers: its land keeps clear on the other side and inside; planes open for it.
  std::vector<Solid> via = all;
  if (cu) {
    const double clear = rules.advice.via_diameter.v / 2 + rules.advice.pad_to_copper.v;
    for (std::size_t l = 0; l < cu->layers().size(); ++l) {
      if (static_cast<int>(l) == layer_ || cu->layers()[l].clearances) continue;
      for (const CopperShape& s : cu->shapes(l)) {
        const int owner = s.net < 0 ? -1 : net_of_copper_[at(s.net)];
        if (!s.area) via.push_back({s.a, s.b, s.radius, clear, owner, true});
        else if (area(*s.area) < kPlane) {
          const std::size_t first = via.size();
          edges(via, *s.area, clear, owner);
          for (std::size_t i = first; i < via.size(); ++i) via[i].centre_only = true;
        }
      }
    }
    for (const Component& c : b.components)
      if (c.side != side && !c.body.empty() && c.area_array)
        for (const Polygon& p : c.body) edges(via, p, clear, -1);
    for (const BoardHole& h : b.holes) via.push_back({h.at, h.end, h.diameter / 2, clear, -1, true});
    for (const Exposure& e : b.exposures)
      if (e.side != side)
        for (const Polygon& p : e.copper) {
          const std::size_t first = via.size();
          edges(via, p, clear, b.features[at(e.feature)].net);
          for (std::size_t i = first; i < via.size(); ++i) via[i].centre_only = true;
        }
  }
  std::vector<Box> small;
  if (cu)
    for (std::size_t l = 0; l < cu->layers().size(); ++l)
      if (static_cast<int>(l) != layer_ && !cu->layers()[l].clearances)
        for (const CopperShape& s : cu->shapes(l))
          if (s.area && area(*s.area) < kPlane) small_.push_back({s.area, s.net < 0 ? -1 : net_of_copper_[at(s.net)]}), small.push_back(bounds(s.area->outer));
  small_index_ = std::make_unique<BoxIndex>(small);
  auto through = [this, ahead = blocked(true)](Point p, int owner) {
    if (ahead(p, owner)) return true;
    std::vector<std::uint32_t> ids;
    small_index_->find({p.x, p.y, p.x, p.y}, ids);
    return std::any_of(ids.begin(), ids.end(), [&](std::uint32_t i) { return small_[i].second != owner && contains(*small_[i].first, p); });
  };
  with_via_ = std::make_unique<FreeSpace>(std::move(via), kLargest, through);
  strict_ = std::make_unique<FreeSpace>(std::move(all), kLargest, blocked(true));
  over_planes_ = std::make_unique<FreeSpace>(std::move(solids), kLargest, blocked(false));
}

void PadPlaces::copper(std::vector<Solid>& solids, bool with_planes) const {
  if (layer_ < 0) return;
  for (const CopperShape& s : shapes_[at(static_cast<int>(side_))]) {
    const int owner = s.net < 0 ? -1 : net_of_copper_[at(s.net)];
    if (!s.area) solids.push_back({s.a, s.b, s.radius, rules_.advice.pad_to_copper.v, owner, false});
    else if (with_planes || area(*s.area) < kPlane) edges(solids, *s.area, rules_.advice.pad_to_copper.v, owner);
  }
}

void PadPlaces::others(std::vector<Solid>& solids) const {
  for (const Exposure& e : b_.exposures) {
    if (e.side != side_) continue;
    const Feature& f = b_.features[at(e.feature)];
    const bool fiducial = f.kind == FeatureKind::fiducial;
    // Its own exposed metal is no stranger, but a second pad is of use beside it only, not upon it.
    for (const Polygon& p : e.copper) edges(solids, p, fiducial ? rules_.fiducial.preferred.v : rules_.other_conductor.preferred.v, fiducial ? -1 : f.net);
  }
  for (const BareMetal& m : b_.bare_metal)
    if (m.side == side_)
      for (const Polygon& p : m.copper) edges(solids, p, rules_.other_conductor.preferred.v, -1);
  for (const Component& c : b_.components)
    if (c.side == side_ && !c.body.empty()) {
      for (const Polygon& p : c.body) {
        edges(solids, p, rules_.body(c.height).rule.preferred.v, -1);
      }
    }
  for (const Polygon& p : b_.pieces) edges(solids, p, rules_.board_edge.preferred.v, -1);
  for (std::size_t i = 0; i < b_.holes.size(); ++i) {
    const BoardHole& h = b_.holes[i];
    const bool tool = std::find(b_.tooling.begin(), b_.tooling.end(), static_cast<int>(i)) != b_.tooling.end();
    if (tool) solids.push_back({h.at, h.at, h.diameter / 2, rules_.tooling_hole.preferred.v, -1, true});
    else if (h.plating == formats::Plating::unplated) solids.push_back({h.at, h.end, h.diameter / 2, rules_.slot.preferred.v, -1, false});
    else if (!h.blind) solids.push_back({h.at, h.end, h.diameter / 2, rules_.advice.pad_to_copper.v, -1, false});
  }
  for (const KeepOut& k : job_.keep_outs)
    if (k.side == "both" || k.side == to_string(side_))
      for (const Polygon& p : k.area) {
        const double clear = rules_.shared_space.at(k.kind).preferred.v;
        edges(solids, p, clear, -1);
      }
}

std::vector<Solid> PadPlaces::own(int net, Side side) const {
  std::vector<Solid> out;
  const std::size_t s = at(static_cast<int>(side));
  if (layers_[s] >= 0)
    for (const std::size_t i : shapes_of_net_[s][at(net)]) {
      const CopperShape& c = shapes_[s][i];
      if (!c.area) out.push_back({c.a, c.b, c.radius, 0, net, false});
      else edges(out, *c.area, 0, net);
    }
  for (const int f : b_.nets[at(net)].features) {
    const Feature& x = b_.features[at(f)];
    if (x.hole > 0 && x.plated && x.first_layer == 0 && x.last_layer == 0) out.push_back({x.at, x.at, x.hole / 2, 0, net, false});
    else if (layers_[s] < 0 && x.land[s].present) out.push_back({x.at, x.at, std::min(x.land[s].width, x.land[s].height) / 2, 0, net, false});
  }
  return out;
}

std::vector<PadPlace> PadPlaces::find(int net, bool with_via) {
  std::vector<PadPlace> out;
  std::vector<Solid> reach = own(net, side_);
  const bool via = reach.empty();
  if (via != with_via) return out;
  if (via) reach = own(net, other(side_));
  if (reach.empty()) return out;
  const double radius = rules_.advice.pad_diameter.v / 2, farthest = rules_.advice.farthest.v;
  for (const bool planes : {false, true}) {
    if (via && planes) break;
    FreeSpace& space = via ? *with_via_ : planes ? *over_planes_ : *strict_;
    const auto near = space.nearest(reach, net, radius, farthest);
    if (!near) continue;
    const auto roomy = space.largest(reach, net, radius, std::min(farthest, near->distance + kFarther));
    const FreePlace first = roomy ? *roomy : *near;
    out.push_back({first.at, 2 * first.radius, first.distance, via, planes});
    const auto far = space.largest(reach, net, radius, farthest);
    if (far && far->radius > kRoomier * first.radius && distance(far->at, first.at) > 0.5) out.push_back({far->at, 2 * far->radius, far->distance, via, planes});
    break;
  }
  // What is advised stands there for all that follow: its metal, and the probe upon it.
  for (const PadPlace& p : out)
    for (FreeSpace* s : {strict_.get(), over_planes_.get(), with_via_.get()}) {
      s->add({p.at, p.at, radius, rules_.other_conductor.preferred.v, net, false});
      s->add({p.at, p.at, 0, spacing_, net, true});
    }
  return out;
}

}  // namespace teasel
