#include "surroundings.h"

#include <algorithm>

#include "parts_of_probe.h"
#include "spot_odds.h"
#include "teasel/parallel.h"

namespace teasel {

namespace {
constexpr double kSurelyBody = 1.0;  // mm; an outline about lands exceeds the body by its margin and by what the lands
                                     // stand out: half a millimetre each (from memory: IPC-7351)
constexpr double kTolerance = 1.0;   // mm; more than three standard deviations of any budget that could still hit

std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}

Near near_area(const Polygons& area, Point aim, int id) {
  Near n;
  n.id = id;
  Point p;
  n.aim = distance_to_area(area, aim, &p);
  if (n.aim > 0) n.way = (1 / n.aim) * (p - aim);
  return n;
}

/// Exposures first, then metal that belongs to no pad.
const Polygons& metal_of(const Board& b, int id) {
  return at(id) < b.exposures.size() ? b.exposures[at(id)].copper : b.bare_metal[at(id) - b.exposures.size()].copper;
}

Polygons area_of(const BoardHole& h) {
  if (!h.slot) return {{circle(h.at, h.diameter / 2), {}}};
  Ring pts = circle(h.at, h.diameter / 2);
  const Ring end = circle(h.end, h.diameter / 2);
  pts.insert(pts.end(), end.begin(), end.end());
  return {{convex_hull(std::move(pts)), {}}};
}
}  // namespace

Neighbourhood::Neighbourhood(const Board& b, const Job& job, const Catalogue& cat, const Rules& rules,
                             const std::array<BoxTree, 2>& bodies)
    : b_(b), job_(job), rules_(rules), bodies_(bodies), bans_(b.features.size()), waivers_(b.features.size()) {
  for (int s = 0; s < 2; ++s) {
    std::vector<Box> metal(b.exposures.size() + b.bare_metal.size()), fiducials(b.exposures.size());
    for (std::size_t i = 0; i < b.bare_metal.size(); ++i)
      if (static_cast<int>(b.bare_metal[i].side) == s) metal[b.exposures.size() + i] = bounds(b.bare_metal[i].copper);
    for (std::size_t i = 0; i < b.exposures.size(); ++i) {
      if (static_cast<int>(b.exposures[i].side) != s || b.exposures[i].proposed) continue;
      const bool fiducial = b.features[at(b.exposures[i].feature)].kind == FeatureKind::fiducial;
      (fiducial ? fiducials : metal)[i] = bounds(b.exposures[i].copper);
    }
    metal_[at(s)] = BoxTree(metal);
    fiducials_[at(s)] = BoxTree(fiducials);
  }
  convex_.assign(b.exposures.size() + b.bare_metal.size(), 0);
  parallel_for(
      convex_.size(), [&](std::size_t i) { convex_[i] = is_convex(metal_of(b, static_cast<int>(i))); }, 256);
  std::vector<Box> holes(b.holes.size());
  hole_areas_.resize(b.holes.size());
  for (std::size_t i = 0; i < b.holes.size(); ++i) {
    const bool tool = std::find(b.tooling.begin(), b.tooling.end(), static_cast<int>(i)) != b.tooling.end();
    if (b.holes[i].plating != formats::Plating::unplated || b.holes[i].blind || tool) continue;
    hole_areas_[i] = area_of(b.holes[i]);
    holes[i] = bounds(hole_areas_[i]);
  }
  holes_ = BoxTree(holes);
  for (const auto& [kind, rule] : rules.shared_space) widest_shared_ = std::max(widest_shared_, rule.preferred.v);
  lay_keep_outs();
  for (const Polygon& p : b.pieces) piece_boxes_.push_back(bounds(p.outer));
  std::vector<Box> edges;
  auto ring = [&](const Ring& r) {
    for (std::size_t i = 0; i < r.size(); ++i) {
      edge_list_.emplace_back(r[i], r[(i + 1) % r.size()]);
      edges.emplace_back().add(edge_list_.back().first);
      edges.back().add(edge_list_.back().second);
    }
  };
  for (const Polygon& p : b.pieces) {
    ring(p.outer);
    for (const Ring& h : p.holes) ring(h);
  }
  edges_ = BoxTree(edges);
  for (Side s : {Side::top, Side::bottom})
    fingers_[at(static_cast<int>(s))] = std::make_unique<FingerRoom>(b, job, rules, s);
  for (const ProbeClass& c : cat.classes)
    for (const ProbePart& p : parts_of(c, c.largest_head.v, rules)) widest_ = std::max(widest_, p.radius);
  widest_ += kTolerance;
  double lowest_plunger = 1e9;
  for (const ProbeClass& c : cat.classes) lowest_plunger = std::min(lowest_plunger, c.tip_length.v);
  cores_.resize(b.components.size());
  parallel_for(
      b.components.size(),
      [&](std::size_t i) {
        const Component& c = b.components[i];
        if (!c.outline_by.empty() && !c.cover && c.height > lowest_plunger) cores_[i] = offset(c.body, -kSurelyBody);
      },
      16);
  name_entries();
}

void Neighbourhood::lay_keep_outs() {
  laid_ = job_.keep_outs;
  for (Side side : {Side::top, Side::bottom}) {
    std::vector<Box> boxes(job_.keep_outs.size());
    for (std::size_t k = 0; k < boxes.size(); ++k)
      if (job_.keep_outs[k].side == "both" || job_.keep_outs[k].side == to_string(side))
        boxes[k] = bounds(job_.keep_outs[k].area);
    keep_outs_[at(static_cast<int>(side))] = BoxTree(boxes);
  }
}

void Neighbourhood::name_entries() {
  parallel_for(
      b_.features.size(),
      [&](std::size_t i) {
        bans_[i].clear();
        waivers_[i].clear();
        const Feature& f = b_.features[i];
        const std::string net = f.net < 0 ? f.name : b_.nets[at(f.net)].name,
                          plain_net = f.net < 0 ? f.name : b_.nets[at(f.net)].plain(), plain = f.plain();
        // Plain names speak of the board, whose sides a flipped place turns over; names with the place before them, of
        // the panel.
        auto fits = [](const std::string& pattern, const std::string& name) {
          return pattern.empty() || glob_match(pattern, name);
        };
        for (std::size_t k = 0; k < job_.bans.size(); ++k) {
          const Ban& x = job_.bans[k];
          const bool by_plain = fits(x.net, plain_net) && fits(x.target, plain);
          if (by_plain ||
              ((fits(x.net, net) || fits(x.net, plain_net)) && (fits(x.target, f.name) || fits(x.target, plain))))
            bans_[i].push_back({static_cast<int>(k), by_plain, x.side, {}});
        }
        for (std::size_t k = 0; k < job_.waivers.size(); ++k) {
          const Waiver& x = job_.waivers[k];
          if ((x.net == net || x.net == plain_net) && (x.target == f.name || x.target == plain))
            waivers_[i].push_back({static_cast<int>(k), x.target == plain, x.side, x.rule});
        }
      },
      256);
}

/// mm about an aim within which a keep-out counts.
double Neighbourhood::reach_of_keep_outs(const LandingShape& shape, const Spot& spot) const {
  return std::max(widest_shared_ + shape.span + length(spot.in_shape), widest_);
}

std::vector<int> Neighbourhood::follow(const Access& access) {
  const auto bans = bans_, waivers = waivers_;
  name_entries();
  std::vector<Box> changed;
  auto same = [](const KeepOut& a, const KeepOut& b) {
    return a.kind == b.kind && a.side == b.side && a.from_height == b.from_height && a.to_height == b.to_height &&
           std::equal(a.area.begin(), a.area.end(), b.area.begin(), b.area.end(),
                      [](const Polygon& p, const Polygon& q) { return p.outer == q.outer && p.holes == q.holes; });
  };
  for (std::size_t k = 0; k < std::max(laid_.size(), job_.keep_outs.size()); ++k) {
    const bool before = k < laid_.size(), now = k < job_.keep_outs.size();
    if (before && now && same(laid_[k], job_.keep_outs[k])) continue;
    if (before) changed.push_back(bounds(laid_[k].area));
    if (now) changed.push_back(bounds(job_.keep_outs[k].area));
  }
  std::array<std::unique_ptr<FingerRoom>, 2> fingers;
  if (!changed.empty()) {
    for (std::size_t s = 0; s < 2; ++s) fingers[s] = std::make_unique<FingerRoom>(*fingers_[s]);
    parallel_for(
        2, [&](std::size_t s) { fingers[s]->keep_out(job_); }, 1);
    lay_keep_outs();
  }
  std::vector<char> touched(access.targets.size());
  parallel_for(
      touched.size(),
      [&](std::size_t t) {
        const Target& target = access.targets[t];
        touched[t] = bans[at(target.feature)] != bans_[at(target.feature)] ||
                     waivers[at(target.feature)] != waivers_[at(target.feature)];
        for (int n = target.first_spot; n < target.first_spot + target.spots && !touched[t] && !changed.empty(); ++n) {
          const Spot& spot = access.spots[at(n)];
          const double reach = reach_of_keep_outs(access.shapes[at(spot.shape)], spot);
          touched[t] = std::any_of(changed.begin(), changed.end(),
                                   [&](const Box& b) { return b.grown(reach).contains(spot.at); });
          const std::size_t far = 1 - at(static_cast<int>(target.side));
          const double before = fingers_[far]->distance_to_room(spot.at), now = fingers[far]->distance_to_room(spot.at);
          if (before != now && std::max(before, now) > rules_.finger_reach.v) touched[t] = 1;
        }
      },
      512);
  if (!changed.empty()) fingers_ = std::move(fingers);
  std::vector<int> out;
  for (std::size_t t = 0; t < touched.size(); ++t)
    if (touched[t]) out.push_back(static_cast<int>(t));
  return out;
}

/// One spot, from which the neighbourhood is looked at.
struct Neighbourhood::Query {
  const Spot& spot;
  const Target& t;
  const LandingShape& shape;
  const Exposure& e;
  const Feature& f;
  const Covering& covering;
  std::vector<int>& ids;  ///< of what a search finds, kept for its memory
  Point aim = spot.at;
  std::size_t side = at(static_cast<int>(t.side));
  bool disc = shape.round && spot.in_shape == Point{};
  double span = shape.span + length(spot.in_shape);  ///< the pad's edge is at most so much nearer than the aim point
  [[nodiscard]] Box here() const { return {aim.x, aim.y, aim.x, aim.y}; }
  /// From the pad's edge to an area, whose distance from the aim is known.
  [[nodiscard]] double edge_to(const Polygons& area, double aim_distance) const {
    return disc ? std::max(0.0, aim_distance - shape.span) : distance_between(e.contact, area);
  }
};

void Neighbourhood::add_bodies(Surroundings& s, const Query& q) const {
  double widest_rule = 0;
  for (const BodyRule& r : rules_.bodies) widest_rule = std::max(widest_rule, r.rule.preferred.v);
  bodies_[q.side].find(q.here().grown(std::max(widest_rule + q.span, widest_)), q.ids);
  for (const int id : q.ids) {
    const Component& c = b_.components[at(id)];
    const bool own = id == q.f.component;
    if (own && q.covering.body == id) continue;
    if (own && q.covering.own_exempt) {
      // Its edge is not known, but what lies deep inside a drawn outline is body: it stops what is wider than the head.
      if (cores_[at(id)].empty()) continue;
      Near n = near_area(cores_[at(id)], q.aim, id);
      n.own = n.core = true;
      if (n.aim < widest_) s.bodies.push_back(n);
      continue;
    }
    const double wanted = own ? 0 : rules_.body(c.height).rule.preferred.v;
    if (!bounds(c.body).touches(q.here().grown(std::max(wanted + q.span, widest_)))) continue;
    Near n = near_area(c.body, q.aim, id);
    if (n.aim - q.span >= wanted && n.aim >= widest_) continue;
    n.own = own;
    n.edge = own ? kNowhere : n.aim - q.span >= wanted ? n.aim - q.span : q.edge_to(c.body, n.aim);
    s.bodies.push_back(n);
  }
}

void Neighbourhood::add_metal(Surroundings& s, const Query& q) const {
  const double wanted_metal = rules_.other_conductor.preferred.v;
  metal_[q.side].find(q.here().grown(std::max(wanted_metal + q.span, widest_)), q.ids);
  for (const int id : q.ids) {
    const Polygons& copper = metal_of(b_, id);
    if (at(id) < b_.exposures.size()) {
      const Exposure& o = b_.exposures[at(id)];
      if (b_.features[at(o.feature)].net == q.f.net || o.feature == q.t.feature) continue;
    }
    Near n = near_area(copper, q.aim, id);
    if (n.aim - q.span >= wanted_metal && n.aim >= widest_) continue;
    n.metal = &copper;
    n.convex = convex_[at(id)];
    if (n.aim - q.span < wanted_metal)
      n.edge = q.disc ? std::max(0.0, n.aim - q.shape.span) : distance_between(q.e.copper, copper);
    s.conductors.push_back(n);
  }
}

void Neighbourhood::add_fiducials(Surroundings& s, const Query& q) const {
  fiducials_[q.side].find(q.here().grown(rules_.fiducial.preferred.v + q.span), q.ids);
  for (const int id : q.ids) {
    Near n = near_area(b_.exposures[at(id)].copper, q.aim, b_.exposures[at(id)].feature);
    n.edge = q.edge_to(b_.exposures[at(id)].copper, n.aim);
    if (n.edge < s.fiducial.edge) s.fiducial = n;
  }
}

void Neighbourhood::add_outline(Surroundings& s, const Query& q) const {
  const double edge_reach = std::max(rules_.board_edge.preferred.v + q.spot.diameter / 2, widest_);
  edges_.find(q.here().grown(edge_reach), q.ids);
  for (const int id : q.ids) {
    const auto& [from, to] = edge_list_[at(id)];
    const Point nearest = nearest_on_segment(q.aim, from, to);
    if (const double d = distance(q.aim, nearest); d < s.outline.aim) {
      s.outline.aim = d;
      s.outline.id = id;
      s.outline.way = d > 0 ? (1 / d) * (nearest - q.aim) : Point{};
    }
  }
  bool on_board = false;
  for (std::size_t p = 0; p < b_.pieces.size() && !on_board; ++p)
    on_board = piece_boxes_[p].contains(q.aim) && contains(b_.pieces[p], q.aim);
  if (!on_board) {
    s.outline.aim = 0;
    s.outline.id = 0;
    s.outline.way = {};
  }
  s.outline.edge = std::max(0.0, s.outline.aim - q.spot.diameter / 2);
}

void Neighbourhood::add_holes(Surroundings& s, const Query& q) const {
  holes_.find(q.here().grown(std::max(rules_.slot.preferred.v + q.span, widest_)), q.ids);
  for (const int id : q.ids) {
    const BoardHole& h = b_.holes[at(id)];
    if (q.f.hole > 0 && distance(0.5 * (h.at + h.end), q.f.at) < 0.05) continue;
    Near n = near_area(hole_areas_[at(id)], q.aim, id);
    n.edge = q.edge_to(hole_areas_[at(id)], n.aim);
    s.holes.push_back(n);
  }
  for (const int h : b_.tooling) {
    const BoardHole& hole = b_.holes[at(h)];
    const double to = distance(hole.at, q.aim), d = to - hole.diameter / 2;
    if (d < s.tooling.aim)
      s.tooling = {std::max(0.0, d), std::max(0.0, d), to > 0 ? (1 / to) * (hole.at - q.aim) : Point{}, h, false};
  }
}

void Neighbourhood::add_keep_outs(Surroundings& s, const Query& q) const {
  keep_outs_[q.side].find(q.here().grown(reach_of_keep_outs(q.shape, q.spot)), q.ids);
  for (const int k : q.ids) {
    const KeepOut& o = job_.keep_outs[at(k)];
    if (!bounds(o.area).touches(q.here().grown(std::max(rules_.shared_space.at(o.kind).preferred.v + q.span, widest_))))
      continue;
    Near n = near_area(o.area, q.aim, k);
    n.edge = q.edge_to(o.area, n.aim);
    s.keep_outs.push_back(n);
  }
}

void Neighbourhood::add_decisions(Surroundings& s, const Query& q) const {
  const char* panel_side = to_string(q.t.side);
  const char* own_side = to_string(b_.own_side(q.f, q.t.side));
  for (const Named& n : bans_[at(q.t.feature)])
    if (const std::string& wanted = job_.bans[at(n.entry)].side;
        wanted.empty() || wanted == (n.of_board ? own_side : panel_side))
      s.bans.push_back(n.entry);
  for (const Named& n : waivers_[at(q.t.feature)])
    if (const std::string& wanted = job_.waivers[at(n.entry)].side;
        wanted.empty() || wanted == (n.of_board ? own_side : panel_side))
      s.waivers.push_back(n.entry);
}

Surroundings Neighbourhood::about(const Access& access, const Spot& spot, const Covering& covering) const {
  Surroundings s;
  const Target& t = access.targets[at(spot.target)];
  std::vector<int> ids;
  const Query q{spot,     t,  access.shapes[at(spot.shape)], b_.exposures[at(t.exposure)], b_.features[at(t.feature)],
                covering, ids};
  add_bodies(s, q);
  add_metal(s, q);
  add_fiducials(s, q);
  add_outline(s, q);
  add_holes(s, q);
  add_keep_outs(s, q);
  s.finger = fingers_[1 - q.side]->distance_to_room(q.aim);
  add_decisions(s, q);
  return s;
}

}  // namespace teasel
