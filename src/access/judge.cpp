#include <algorithm>
#include <boost/geometry.hpp>
#include <boost/geometry/index/rtree.hpp>
#include <optional>

#include "teasel/access.h"
#include "teasel/parallel.h"

namespace teasel {

namespace {
namespace bg = boost::geometry;
namespace bgi = boost::geometry::index;
using BPoint = bg::model::point<double, 2, bg::cs::cartesian>;
using BBox = bg::model::box<BPoint>;
using Tree = bgi::rtree<std::pair<BBox, int>, bgi::linear<16>>;
BBox to_box(const Box& b) { return {{b.x0, b.y0}, {b.x1, b.y1}}; }

constexpr double kEnclosed = 0.15;    // mm; a land this far inside the ring of a part's lands lies under it (common practice, no source)
constexpr double kCourtyard = 0.6;    // mm; outlines drawn about lands exceed them by half a millimetre at most (from memory: IPC-7351 courtyards)
constexpr double kOverHole = 0.4;     // mm; a head for an open hole is this much wider (from memory)
constexpr double kWidestProbe = 3.0;  // mm; no shaft or receptacle with its tolerance reaches farther from the aim

/// Indices around one side of the board.
struct SideIndex {
  Tree bodies, copper;
};

std::vector<int> around(const Tree& tree, const Box& w) {
  std::vector<int> ids;
  for (auto it = tree.qbegin(bgi::intersects(to_box(w))); it != tree.qend(); ++it) ids.push_back(it->second);
  std::sort(ids.begin(), ids.end());
  return ids;
}

/// "body of U7 (side assumed, height 2.5 mm assumed)"
std::string body_text(const Component& c) {
  std::string s = "body of " + c.name;
  const bool side = c.side_known != Known::confirmed, height = c.height_known != Known::confirmed;
  if (side || height) s += std::string(" (") + (side ? "side assumed" : "") + (side && height ? ", " : "") + (height ? "height " + short_number(c.height, 2) + " mm assumed" : "") + ")";
  return s;
}

class Judge {
 public:
  Judge(const Board& b, const Job& job, const Catalogue& cat, const Rules& rules) : b_(b), job_(job), cat_(cat), rules_(rules) {
    for (int s = 0; s < 2; ++s) {
      std::vector<std::pair<BBox, int>> bodies, copper;
      for (std::size_t i = 0; i < b.components.size(); ++i)
        if (!b.components[i].body.empty() && static_cast<int>(b.components[i].side) == s) bodies.emplace_back(to_box(bounds(b.components[i].body)), static_cast<int>(i));
      for (std::size_t i = 0; i < b.exposures.size(); ++i)
        if (static_cast<int>(b.exposures[i].side) == s) copper.emplace_back(to_box(bounds(b.exposures[i].copper)), static_cast<int>(i));
      index_[s].bodies = Tree(bodies.begin(), bodies.end());
      index_[s].copper = Tree(copper.begin(), copper.end());
    }
    outline_ = {b.outline};
  }

  void target(const Target& t, Verdict* out) const {
    const Surroundings around_it = surroundings(t);
    for (std::size_t c = 0; c < cat_.classes.size(); ++c)
      for (bool main : {true, false}) out[c * 2 + (main ? 0 : 1)] = verdict(t, around_it, cat_.classes[c], main);
  }

 private:
  struct Near {
    double edge = 1e9, aim = 1e9;  ///< from the pad edge, from the aim point
    int id = -1;
  };
  struct Surroundings {
    std::vector<Near> bodies;   ///< all within reach, by component
    Near copper;                ///< nearest other exposed conductor
    double edge_pad{}, edge_aim{};
    double tooling = 1e9;
    std::string tooling_name;
    std::optional<int> own_body;
    std::vector<std::string> kept_out, banned;
  };

  Surroundings surroundings(const Target& t) const;
  bool under_own_body(const Target& t) const;
  bool is_open_hole(const Feature& f) const;
  Verdict verdict(const Target& t, const Surroundings& s, const ProbeClass& p, bool main) const;

  const Board& b_;
  const Job& job_;
  const Catalogue& cat_;
  const Rules& rules_;
  SideIndex index_[2];
  Polygons outline_;
};

bool Judge::under_own_body(const Target& t) const {
  const Feature& f = b_.features[static_cast<std::size_t>(t.feature)];
  if (f.component < 0) return false;
  const Component& c = b_.components[static_cast<std::size_t>(f.component)];
  if (c.body.empty() || c.side != t.side) return false;
  if (c.area_array || f.hole > 0) return true;
  const Exposure& e = b_.exposures[static_cast<std::size_t>(t.exposure)];
  // Deeper inside a drawn body than the margin that outlines have about their lands: a module stands over it.
  if (!c.outline_by.empty() && contains(c.body, e.aim)) {
    double deep = 1e9;
    for (const Polygon& p : e.contact)
      for (Point q : p.outer) deep = std::min(deep, contains(c.body, q) ? distance_to_boundary(c.body, q) : 0.0);
    if (deep > kCourtyard) return true;
  }
  // Enclosed by the part's other lands, unless the drawn body leaves it free.
  if (c.ring.size() < 3 || winding_number(c.ring, f.at) == 0 || distance_to_boundary({{c.ring, {}}}, f.at) <= kEnclosed) return false;
  if (c.outline_by.empty()) return true;
  return area(subtract(e.contact, c.body)) < 0.2 * area(e.contact);
}

bool Judge::is_open_hole(const Feature& f) const {
  if (f.hole <= 0) return false;
  if (f.kind != FeatureKind::lead || f.component < 0 || f.hole > rules_.thick_lead.v) return true;
  const Component& c = b_.components[static_cast<std::size_t>(f.component)];
  return !c.fitted || c.body.empty() || c.features.size() == 1;  // nothing stands in mounting holes and single lands
}

Judge::Surroundings Judge::surroundings(const Target& t) const {
  Surroundings s;
  const Exposure& e = b_.exposures[static_cast<std::size_t>(t.exposure)];
  const Feature& f = b_.features[static_cast<std::size_t>(t.feature)];
  const SideIndex& index = index_[static_cast<int>(t.side)];
  if (under_own_body(t)) s.own_body = f.component;
  // The pad edge is at most `span` nearer than the aim point: far bodies need no edge-to-edge distance.
  double span = 0;
  for (const Polygon& p : e.contact)
    for (Point q : p.outer) span = std::max(span, distance(q, e.aim));
  const double reach = std::max(rules_.body.preferred.v, rules_.tall_body.preferred.v) + span;
  const Box at{e.aim.x, e.aim.y, e.aim.x, e.aim.y};
  for (int id : around(index.bodies, at.grown(reach))) {
    if (id == f.component) continue;
    const Component& c = b_.components[static_cast<std::size_t>(id)];
    const double wanted = (c.height > rules_.tall_height.v ? rules_.tall_body : rules_.body).preferred.v;
    if (!bounds(c.body).touches(at.grown(wanted + span))) continue;
    const double aim = distance_to_area(c.body, e.aim);
    if (aim - span >= wanted && aim >= kWidestProbe) continue;
    s.bodies.push_back({distance_between(e.contact, c.body), aim, id});
  }
  const double near = rules_.other_conductor.preferred.v + span;
  for (int id : around(index.copper, at.grown(std::max(near, kWidestProbe)))) {
    const Exposure& o = b_.exposures[static_cast<std::size_t>(id)];
    const Feature& g = b_.features[static_cast<std::size_t>(o.feature)];
    if (g.net == f.net || o.feature == t.feature) continue;
    const double aim = distance_to_area(o.copper, e.aim);
    if (aim < s.copper.aim) s.copper.aim = aim, s.copper.id = id;
    if (aim - span < std::min(rules_.other_conductor.preferred.v, s.copper.edge)) s.copper.edge = std::min(s.copper.edge, distance_between(e.copper, o.copper));
  }
  s.edge_aim = contains(outline_, e.aim) ? distance_to_boundary(outline_, e.aim) : 0;
  s.edge_pad = std::max(0.0, s.edge_aim - e.diameter / 2);
  for (int h : b_.tooling) {
    const BoardHole& hole = b_.holes[static_cast<std::size_t>(h)];
    if (const double d = distance(hole.at, e.aim) - hole.diameter / 2; d < s.tooling) s.tooling = d, s.tooling_name = "tooling hole at (" + short_number(hole.at.x, 3) + ", " + short_number(hole.at.y, 3) + ")";
  }
  for (const KeepOut& k : job_.keep_outs)
    if ((k.side == "both" || k.side == to_string(t.side)) && distance_to_area(k.area, e.aim) < e.diameter / 2) s.kept_out.push_back(k.name);
  for (const Ban& ban : job_.bans) {
    const std::string& net = f.net < 0 ? f.name : b_.nets[static_cast<std::size_t>(f.net)].name;
    if ((ban.net.empty() || glob_match(ban.net, net)) && (ban.target.empty() || glob_match(ban.target, f.name)) && (ban.side.empty() || ban.side == to_string(t.side)))
      s.banned.push_back(ban.reason.empty() ? "job file" : ban.reason);
  }
  return s;
}

Verdict Judge::verdict(const Target& t, const Surroundings& s, const ProbeClass& p, bool main) const {
  Verdict v;
  const Exposure& e = b_.exposures[static_cast<std::size_t>(t.exposure)];
  const Feature& f = b_.features[static_cast<std::size_t>(t.feature)];
  const Covariance error = position_error(b_, rules_, p, e, main);
  const double tolerance = 3 * error.largest_sigma();
  auto rule = [&](Reason r, double preferred_measured, double preferred, double least_measured, double least, const std::string& obstacle, int component = -1) {
    if (least_measured < least - 1e-9) v.shortfalls.push_back({r, true, least_measured, least, "mm", obstacle, component});
    else if (preferred_measured < preferred - 1e-9) v.shortfalls.push_back({r, false, preferred_measured, preferred, "mm", obstacle, component});
  };
  for (const auto& name : s.kept_out) v.shortfalls.push_back({Reason::keep_out, true, 0, 0, "mm", name, -1});
  for (const auto& why : s.banned) v.shortfalls.push_back({Reason::banned, true, 0, 0, "", why, -1});
  if (s.own_body) v.shortfalls.push_back({Reason::under_body, true, 0, 0, "mm", body_text(b_.components[static_cast<std::size_t>(*s.own_body)]), *s.own_body});
  const Rule& size = main ? rules_.pad_diameter_main : rules_.pad_diameter_other;
  if (b_.traced && e.pasted && f.component < 0)
    v.shortfalls.push_back({Reason::under_body, true, 0, 0, "mm", "paste is printed here: a part of unknown outline is soldered on", -1});
  rule(Reason::land_too_small, e.diameter, size.preferred.v, e.diameter, size.least.value_or(Mm{2 * (p.contact_margin.v) + tolerance}).v, "");
  // Into an empty hole goes a head wider than the hole, or the probe drops through it.
  const bool empty = is_open_hole(f);
  const double tip = empty ? std::max(p.tip_diameter.v, f.hole + kOverHole) : p.tip_diameter.v;
  if (empty && tip > p.largest_head.v) {
    v.shortfalls.push_back({Reason::hole_too_wide, true, f.hole, p.largest_head.v - kOverHole, "mm", "empty hole, no head is wide enough", -1});
  } else if (f.hole > rules_.wide_hole.preferred.v) {
    const bool blocking = f.hole > rules_.wide_hole.least.value_or(Mm{1e9}).v;
    v.shortfalls.push_back({Reason::hole_too_wide, blocking, f.hole, blocking ? rules_.wide_hole.least->v : rules_.wide_hole.preferred.v, "mm", "", -1});
  }
  const double shaft = std::max(tip, p.plunger_diameter.v) / 2;
  for (const Near& n : s.bodies) {
    const Component& c = b_.components[static_cast<std::size_t>(n.id)];
    const bool tall = c.height > rules_.tall_height.v;
    const Rule& r = tall ? rules_.tall_body : rules_.body;
    const double least = r.least ? r.least->v : (tall ? p.receptacle_diameter.v / 2 + rules_.web.v : shaft) + tolerance;
    rule(tall ? Reason::tall_body : Reason::body, n.edge, r.preferred.v, n.aim, least, body_text(c), n.id);
  }
  if (s.copper.id >= 0) {
    const Feature& g = b_.features[static_cast<std::size_t>(b_.exposures[static_cast<std::size_t>(s.copper.id)].feature)];
    const Rule& r = rules_.other_conductor;
    rule(Reason::other_conductor, s.copper.edge, r.preferred.v, s.copper.aim, r.least ? r.least->v : tip / 2 + tolerance,
         (g.net < 0 ? std::string("bare metal") : "net " + b_.nets[static_cast<std::size_t>(g.net)].name) + " at " + g.name);
  }
  rule(Reason::board_edge, s.edge_pad, rules_.board_edge.preferred.v, s.edge_aim, rules_.board_edge.least ? rules_.board_edge.least->v : tip / 2 + tolerance, b_.outline_assumed ? "assumed outline" : "board edge");
  if (s.tooling < 1e8) rule(Reason::tooling_hole, s.tooling, rules_.tooling_hole.preferred.v, s.tooling, rules_.tooling_hole.least ? rules_.tooling_hole.least->v : p.receptacle_drill.v / 2 + rules_.web.v, s.tooling_name);
  v.open = std::none_of(v.shortfalls.begin(), v.shortfalls.end(), [](const Shortfall& x) { return x.blocking; });
  if (v.open) {
    const Polygons landing = offset(e.contact, -p.contact_margin.v);
    v.miss = miss_probability(landing, e.aim, error);
    if (v.miss > rules_.largest_miss) {
      v.shortfalls.push_back({Reason::odds_too_low, true, v.miss, rules_.largest_miss, "1", "chance of a miss", -1});
      v.open = false;
    }
  }
  std::stable_sort(v.shortfalls.begin(), v.shortfalls.end(), [](const Shortfall& a, const Shortfall& b) { return a.blocking > b.blocking; });
  return v;
}

TargetKind kind_of(const Board& b, const Feature& f) {
  const bool absent = f.component >= 0 && !b.components[static_cast<std::size_t>(f.component)].fitted;
  if (f.test_point) return TargetKind::test_pad;
  switch (f.kind) {
    case FeatureKind::test_pad: return TargetKind::test_pad;
    case FeatureKind::lead: return TargetKind::lead;
    case FeatureKind::via: return TargetKind::via;
    default: return absent ? TargetKind::test_pad : TargetKind::smd_pad;
  }
}
}  // namespace

const char* to_string(Reason r) {
  static const char* names[] = {"mask closed", "no copper", "land too small", "hole too wide", "component body", "tall component body", "under its own component",
                                "other conductor near", "board edge near", "tooling hole near", "keep-out", "banned", "odds too low"};
  return names[static_cast<int>(r)];
}

Access judge(const Board& b, const Job& job, const Catalogue& cat, const Rules& rules) {
  Access a;
  a.classes = cat.classes.size();
  for (std::size_t i = 0; i < b.exposures.size(); ++i) {
    const Feature& f = b.features[static_cast<std::size_t>(b.exposures[i].feature)];
    if (f.net < 0 || f.kind == FeatureKind::fiducial) continue;
    a.targets.push_back({static_cast<int>(i), b.exposures[i].feature, b.exposures[i].side, kind_of(b, f)});
  }
  a.verdicts.resize(a.targets.size() * a.classes * 2);
  const Judge judge(b, job, cat, rules);
  parallel_for(a.targets.size(), [&](std::size_t i) { judge.target(a.targets[i], &a.verdicts[i * a.classes * 2]); }, 32);
  return a;
}

std::vector<Assumption> depends_on(const Board& b, const Rules& rules, const ProbeClass& p, const Target& t, const Covariance& error) {
  std::vector<Assumption> out;
  const Exposure& e = b.exposures[static_cast<std::size_t>(t.exposure)];
  const Feature& f = b.features[static_cast<std::size_t>(t.feature)];
  const double tolerance = 3 * error.largest_sigma();
  const double if_tall = p.receptacle_diameter.v / 2 + rules.web.v + tolerance, shaft = std::max(p.tip_diameter.v, p.plunger_diameter.v) / 2 + tolerance;
  for (std::size_t i = 0; i < b.components.size(); ++i) {
    const Component& c = b.components[i];
    if (c.body.empty()) continue;
    const bool same = c.side == t.side;
    const bool own = static_cast<int>(i) == f.component;
    if (!bounds(c.body).grown(if_tall + shaft).contains(e.aim)) continue;
    const double d = distance_to_area(c.body, e.aim);
    if (same && !own && c.height_known != Known::confirmed && c.height <= rules.tall_height.v && d < if_tall)
      out.push_back({static_cast<int>(i), "height " + short_number(c.height, 2) + " mm assumed"});
    if (!same && c.side_known != Known::confirmed && (own || d < (c.height > rules.tall_height.v ? if_tall : shaft)))
      out.push_back({static_cast<int>(i), std::string("side ") + to_string(c.side) + " assumed"});
  }
  return out;
}

}  // namespace teasel
