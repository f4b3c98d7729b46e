#include "pad_places.h"

#include <algorithm>

namespace teasel {

namespace {
std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}
constexpr double kLargest = 1.25;  // mm; radius beyond which more room is worth nothing
constexpr double kFarther = 0.5;   // mm; so much farther a roomier place is still "near"
constexpr double kRoomier = 1.2;   // times the free diameter that makes a second place worth naming
constexpr double kPlane =
    25.0;  // mm2; filled copper of this size is a plane that can give way (common practice, no source)

void edges(std::vector<Solid>& solids, const Polygon& p, double clear, int owner, bool centre_only = false,
           bool plane = false) {
  auto ring = [&](const Ring& r) { add_ring(solids, r, {{}, {}, 0, clear, owner, centre_only, plane}); };
  ring(p.outer);
  for (const Ring& h : p.holes) ring(h);
}
/// How many solids the edges of a shape become, nearly.
std::size_t count_of(const CopperShape& s) {
  if (!s.area) return 1;
  std::size_t n = s.area->outer.size();
  for (const Ring& h : s.area->holes) n += h.size();
  return n;
}
bool goes_through(const Feature& f) {
  return f.hole > 0 && f.plated && f.first_layer == 0 && f.last_layer == 0;
}
}  // namespace

PadPlaces::PadPlaces(const Board& b, const Access& access, const OptionResult& option, const Job& job,
                     const Catalogue& cat, const Rules& rules, Side side)
    : b_(b),
      a_(access),
      r_(option),
      rules_(rules),
      job_(job),
      cat_(cat),
      side_(side),
      cu_(b.connectivity.copper.get()),
      spacing_(cat.classes.back().spacing.v) {
  if (cu_) owners();
  auto area_of = [&](const Polygons& list) {
    for (const Polygon& p : list) areas_.push_back(&p);
  };
  for (const Component& c : b.components)
    if (c.side == side) area_of(c.body);
  for (const KeepOut& k : job.keep_outs)
    if (k.side == "both" || k.side == to_string(side)) area_of(k.area);
  std::vector<Box> boxes;
  for (const Polygon* p : areas_) boxes.push_back(bounds(p->outer));
  area_index_ = std::make_unique<BoxIndex>(std::move(boxes));
  for (const PlacedProbe& p : r_.probes)
    if (a_.targets[at(p.target)].side == side) spacing_ = std::max(spacing_, apart(p));
  space_ = std::make_unique<FreeSpace>(all_of_this_side(), kLargest,
                                       [this](Point p, const Guest& guest) { return blocked(p, guest); });
}

/// Between a placed probe and a new one of the largest class.
double PadPlaces::apart(const PlacedProbe& p) const {
  return static_cast<double>(least_distance_nm(cat_, rules_, cat_.classes.size() - 1, at(p.probe_class))) / 1e6;
}

std::vector<Solid> PadPlaces::all_of_this_side() const {
  std::vector<Solid> out;
  others(out);
  for (const PlacedProbe& p : r_.probes) {
    if (a_.targets[at(p.target)].side != side_) continue;
    const Point q = a_.spots[at(p.spot)].at;
    out.push_back({q, q, 0, apart(p), -1, true});
  }
  copper(out);
  return out;
}

void PadPlaces::turn_to_vias() {
  vias_ = true;
  space_.reset();  // before the next one, which holds the copper of all layers
  std::vector<Solid> solids = all_of_this_side();
  if (cu_) {
    std::size_t more = b_.holes.size();
    for (std::size_t l = 0; l < cu_->layers().size(); ++l)
      if (static_cast<int>(l) != layer_)
        for (const CopperShape& s : cu_->shapes(l)) more += count_of(s);
    solids.reserve(solids.size() + more + more / 8);
    through(solids);
  }
  std::vector<Box> small;
  for (const auto& p : small_) small.push_back(bounds(p.first->outer));
  small_index_ = std::make_unique<BoxIndex>(std::move(small));
  space_ = std::make_unique<FreeSpace>(std::move(solids), kLargest, [this](Point p, const Guest& guest) {
    return blocked(p, guest) || pierces(p, guest.net);
  });
  for (const Solid& s : taken_) space_->add(s);
}

/// Copper belongs to the net of the lands upon it; copper that two nets claim belongs to none.
void PadPlaces::owners() {
  int bottom = b_.copper_layers;
  for (const CopperLayer& l : cu_->layers()) bottom = std::max(bottom, l.number);
  for (std::size_t i = 0; i < cu_->layers().size(); ++i) {
    if (cu_->layers()[i].number == 1)
      layers_[0] = static_cast<int>(i);
    else if (cu_->layers()[i].number == bottom)
      layers_[1] = static_cast<int>(i);
  }
  layer_ = layers_[at(static_cast<int>(side_))];
  constexpr int kClaimedTwice = -2;
  net_of_copper_.assign(cu_->nets().size(), -1);
  for (const Feature& f : b_.features)
    for (std::size_t s = 0; s < 2; ++s) {
      if (layers_[s] < 0 || f.net < 0 || b_.nets[at(f.net)].unconnected || !(f.land[s].present || goes_through(f)))
        continue;
      const int n = cu_->net_at(at(layers_[s]), f.at);
      if (n < 0) continue;
      int& owner = net_of_copper_[at(n)];
      owner = owner == -1 || owner == f.net ? f.net : kClaimedTwice;
    }
  for (int& owner : net_of_copper_) owner = std::max(owner, -1);
  for (std::size_t s = 0; s < 2; ++s) {
    shapes_of_net_[s].resize(b_.nets.size());
    if (layers_[s] < 0) continue;
    shapes_[s] = cu_->shapes(at(layers_[s]));
    for (std::size_t i = 0; i < shapes_[s].size(); ++i)
      if (const int owner = owner_of(shapes_[s][i]); owner >= 0) shapes_of_net_[s][at(owner)].push_back(i);
  }
}

/// Off the board, in a body or a keep-out, on copper of another net.
bool PadPlaces::blocked(Point p, const Guest& guest) const {
  if (std::none_of(b_.pieces.begin(), b_.pieces.end(), [&](const Polygon& piece) { return contains(piece, p); }))
    return true;
  std::vector<std::uint32_t> ids;
  area_index_->find({p.x, p.y, p.x, p.y}, ids);
  if (std::any_of(ids.begin(), ids.end(), [&](std::uint32_t i) { return contains(*areas_[i], p); })) return true;
  if (layer_ < 0 || guest.in_planes) return false;
  const int n = cu_->net_at(at(layer_), p);
  return n >= 0 && (net_of_copper_[at(n)] < 0 || net_of_copper_[at(n)] != guest.net);
}

/// A via here would stand in filled copper of another net on another layer.
bool PadPlaces::pierces(Point p, int owner) const {
  std::vector<std::uint32_t> ids;
  small_index_->find({p.x, p.y, p.x, p.y}, ids);
  return std::any_of(ids.begin(), ids.end(),
                     [&](std::uint32_t i) { return small_[i].second != owner && contains(*small_[i].first, p); });
}

/// A via goes through all layers: its land keeps clear on the other side and inside; planes open for it.
void PadPlaces::through(std::vector<Solid>& via) {
  const double clear = rules_.advice.via_diameter.v / 2 + rules_.advice.pad_to_copper.v;
  for (std::size_t l = 0; l < cu_->layers().size(); ++l) {
    if (static_cast<int>(l) == layer_ || cu_->layers()[l].clearances) continue;
    for (const CopperShape& s : cu_->shapes(l)) {
      const int owner = owner_of(s);
      if (!s.area)
        via.push_back({s.a, s.b, s.radius, clear, owner, true});
      else if (area(*s.area) < kPlane) {
        edges(via, *s.area, clear, owner, true);
        small_.emplace_back(s.area, owner);
      }
    }
  }
  for (const Component& c : b_.components)
    if (c.side != side_ && c.area_array)
      for (const Polygon& p : c.body) edges(via, p, clear, -1);
  for (const BoardHole& h : b_.holes) via.push_back({h.at, h.end, h.diameter / 2, clear, -1, true});
  for (const Exposure& e : b_.exposures)
    if (e.side != side_)
      for (const Polygon& p : e.copper) edges(via, p, clear, b_.features[at(e.feature)].net, true);
}

void PadPlaces::copper(std::vector<Solid>& solids) const {
  if (layer_ < 0) return;
  for (const CopperShape& s : shapes_[at(static_cast<int>(side_))]) {
    const int owner = owner_of(s);
    if (!s.area)
      solids.push_back({s.a, s.b, s.radius, rules_.advice.pad_to_copper.v, owner, false});
    else
      edges(solids, *s.area, rules_.advice.pad_to_copper.v, owner, false, area(*s.area) >= kPlane);
  }
}

void PadPlaces::others(std::vector<Solid>& solids) const {
  for (const Exposure& e : b_.exposures) {
    if (e.side != side_) continue;
    const Feature& f = b_.features[at(e.feature)];
    const bool fiducial = f.kind == FeatureKind::fiducial;
    // Its own exposed metal is no stranger, but a second pad is of use beside it only, not upon it.
    for (const Polygon& p : e.copper)
      edges(solids, p, fiducial ? rules_.fiducial.preferred.v : rules_.other_conductor.preferred.v,
            fiducial ? -1 : f.net);
  }
  for (const BareMetal& m : b_.bare_metal)
    if (m.side == side_)
      for (const Polygon& p : m.copper) edges(solids, p, rules_.other_conductor.preferred.v, -1);
  for (const Component& c : b_.components)
    if (c.side == side_)
      for (const Polygon& p : c.body) edges(solids, p, rules_.body(c.height).rule.preferred.v, -1);
  for (const Polygon& p : b_.pieces) edges(solids, p, rules_.board_edge.preferred.v, -1);
  for (std::size_t i = 0; i < b_.holes.size(); ++i) {
    const BoardHole& h = b_.holes[i];
    const bool tool = std::find(b_.tooling.begin(), b_.tooling.end(), static_cast<int>(i)) != b_.tooling.end();
    if (tool)
      solids.push_back({h.at, h.at, h.diameter / 2, rules_.tooling_hole.preferred.v, -1, true});
    else if (h.plating == formats::Plating::unplated)
      solids.push_back({h.at, h.end, h.diameter / 2, rules_.slot.preferred.v, -1, false});
    else if (!h.blind)
      solids.push_back({h.at, h.end, h.diameter / 2, rules_.advice.pad_to_copper.v, -1, false});
  }
  for (const KeepOut& k : job_.keep_outs)
    if (k.side == "both" || k.side == to_string(side_))
      for (const Polygon& p : k.area) edges(solids, p, rules_.shared_space.at(k.kind).preferred.v, -1);
}

std::vector<Solid> PadPlaces::own(int net, Side side) const {
  std::vector<Solid> out;
  const std::size_t s = at(static_cast<int>(side));
  if (layers_[s] >= 0)
    for (const std::size_t i : shapes_of_net_[s][at(net)]) {
      const CopperShape& c = shapes_[s][i];
      if (!c.area)
        out.push_back({c.a, c.b, c.radius, 0, net, false});
      else
        edges(out, *c.area, 0, net);
    }
  for (const int f : b_.nets[at(net)].features) {
    const Feature& x = b_.features[at(f)];
    if (goes_through(x))
      out.push_back({x.at, x.at, x.hole / 2, 0, net, false});
    else if (layers_[s] < 0 && x.land[s].present)
      out.push_back({x.at, x.at, std::min(x.land[s].width, x.land[s].height) / 2, 0, net, false});
  }
  return out;
}

std::vector<PadPlace> PadPlaces::find(int net) {
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
    out.push_back({first.at, 2 * first.radius, first.distance, vias_, planes});
    const auto far = space_->largest(reach, guest, kRoomier * first.radius, farthest);
    if (far && far->radius > kRoomier * first.radius && distance(far->at, first.at) > 0.5)
      out.push_back({far->at, 2 * far->radius, far->distance, vias_, planes});
    break;
  }
  // What is advised stands there for all that follow: its metal, and the probe upon it.
  for (const PadPlace& p : out)
    for (const Solid& s : {Solid{p.at, p.at, radius, rules_.other_conductor.preferred.v, net},
                           Solid{p.at, p.at, 0, spacing_, net, true}}) {
      taken_.push_back(s);
      space_->add(s);
    }
  return out;
}

}  // namespace teasel
