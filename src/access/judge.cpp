// Verdicts: every rule against every spot, for every class, from either kind of side.
#include <algorithm>
#include <cmath>
#include <optional>

#include "parts_of_probe.h"
#include "spot_odds.h"
#include "surroundings.h"
#include "teasel/parallel.h"

namespace teasel {

namespace {
constexpr double kSigmas = 3;      // of position error in every "geometry" clearance
constexpr double kSlack = 0.001;   // mm; the grid of aim points and the chords of circles are as coarse
constexpr double kHopeless = 0.5;  // a greater chance of a miss is no matter of risk: nobody can waive it

std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}

/// What no user can take upon himself: there is no metal, or he said so himself.
bool can_be_waived(Reason r) {
  return r != Reason::mask_closed && r != Reason::no_copper && r != Reason::banned;
}

class Judge {
 public:
  Judge(const Board& b, const Job& job, const Catalogue& cat, const Rules& rules, const Access& a)
      : b_(b), job_(job), cat_(cat), rules_(rules), a_(a) {}
  Verdict verdict(const Spot& spot, const Surroundings& s, const Covering& covering, std::size_t probe_class,
                  bool main) const;

 private:
  class Sheet;
  /// One spot, one class, one kind of side.
  struct Case;
  void place(Sheet& sheet, const Case& c) const;
  void bodies(Sheet& sheet, const Case& c) const;
  void metal(Sheet& sheet, const Case& c) const;
  void edges_and_holes(Sheet& sheet, const Case& c) const;
  void strokes(Sheet& sheet, const Case& c) const;
  void odds(Sheet& sheet, Verdict& v, const Case& c) const;
  const Board& b_;
  const Job& job_;
  const Catalogue& cat_;
  const Rules& rules_;
  const Access& a_;
};

/// Collects the shortfalls of one verdict.
class Judge::Sheet {
 public:
  Sheet(Verdict& v, const Job& job, const Surroundings& s) : v_(v), job_(job), s_(s) {}
  void block(Reason r, double measured, double required, Obstacle o) {
    add({r, true, -1, measured, required, o}, true);
  }
  /// What stands in the very place of the metal: no reason makes it go away.
  void block_for_good(Reason r, double measured, double required, Obstacle o) {
    add({r, true, -1, measured, required, o}, false);
  }
  void note(Reason r, double measured, double required, Obstacle o) {
    add({r, false, -1, measured, required, o}, false);
  }
  /// A rule of two values: blocks below `least` (from the aim), is noted below `preferred` (from the pad's edge).
  void rule(Reason r, double from_edge, double preferred, double from_aim, double least, Obstacle o) {
    if (from_aim < least - kSlack)
      block(r, from_aim, least, o);
    else if (from_edge < preferred - kSlack)
      note(r, from_edge, preferred, {o.kind, o.id, {}});  // of the pad, not of a part of the probe
  }
  bool blocked() const {
    return std::any_of(v_.shortfalls.begin(), v_.shortfalls.end(), [](const Shortfall& x) { return x.blocking; });
  }

 private:
  void add(Shortfall x, bool waivable) {
    if (waivable && can_be_waived(x.reason))
      for (const int w : s_.waivers)
        if (job_.waivers[at(w)].rule == to_string(x.reason)) {
          x.waiver = w;
          x.blocking = false;
        }
    v_.shortfalls.push_back(x);
  }
  Verdict& v_;
  const Job& job_;
  const Surroundings& s_;
};

struct Judge::Case {
  const Spot& spot;
  const Surroundings& s;
  const Covering& covering;
  std::size_t k;  ///< the class
  bool main;      ///< touched from the main side
  const Target& t;
  const Exposure& e;
  const Feature& f;
  const ProbeClass& p;
  Spread error;
  double head;  ///< its diameter: into an empty hole goes a head wider than the hole, or the probe drops through it
  std::array<ProbePart, 4> parts;
  /// What the errors may add towards an obstacle.
  [[nodiscard]] double tolerance(const Near& n) const {
    return kSigmas * (n.way == Point{} ? error.total.largest_sigma() : error.total.sigma_along(n.way));
  }
};

/// What the place itself is.
void Judge::place(Sheet& sheet, const Case& c) const {
  using Kind = Obstacle::Kind;
  for (const int ban : c.s.bans) sheet.block(Reason::banned, 0, 0, {Kind::ban, ban, {}});
  // A body of another part over all of the metal is met among the bodies, at no distance.
  if (c.covering.body >= 0 && c.covering.body == c.f.component)
    sheet.block_for_good(Reason::under_body, 0, 0, {Kind::component, c.covering.body, {}});
  if (b_.traced && c.e.pasted && c.f.component < 0) sheet.block(Reason::under_body, 0, 0, {Kind::paste, -1, {}});

  const Rule& size = c.main ? rules_.pad_diameter_main : rules_.pad_diameter_other;
  sheet.rule(Reason::land_too_small, c.spot.diameter, size.preferred.v, c.spot.diameter,
             size.least ? size.least->v : 2 * (c.p.contact_margin.v + kSigmas * c.error.total.largest_sigma()), {});
  if (c.head > c.p.largest_head.v)
    sheet.block_for_good(Reason::hole_too_wide, c.f.hole, c.p.largest_head.v - (c.head - c.f.hole),
                         {Kind::empty_hole, -1, {}});
  else if (rules_.wide_hole.least && c.f.hole > rules_.wide_hole.least->v)
    sheet.block(Reason::hole_too_wide, c.f.hole, rules_.wide_hole.least->v, {});
  else if (c.f.hole > rules_.wide_hole.preferred.v)
    sheet.note(Reason::hole_too_wide, c.f.hole, rules_.wide_hole.preferred.v, {});
}

/// Bodies and keep-outs beside the parts of the probe.
void Judge::bodies(Sheet& sheet, const Case& c) const {
  using Kind = Obstacle::Kind;
  for (const Near& n : c.s.bodies) {
    const Component& body = b_.components[at(n.id)];
    const Rule& r = rules_.body(body.height).rule;
    auto counted = c.parts;
    if (n.core) counted[0].radius = 0;  // the head comes down on the land, whatever the outline says
    const ProbePart part = widest(counted, body.standoff, body.height);
    if (n.core) {
      if (part.radius > 0 && n.aim < part.radius + c.tolerance(n) - kSlack)
        sheet.block(Reason::body, n.aim, part.radius + c.tolerance(n), {Kind::component, n.id, part.part});
    } else if (n.id == c.covering.body)
      sheet.block_for_good(Reason::body, 0, part.radius + c.tolerance(n), {Kind::component, n.id, part.part});
    else
      sheet.rule(Reason::body, n.edge, n.own ? 0 : r.preferred.v, n.aim,
                 r.least && !n.own ? r.least->v
                 : part.radius > 0 ? part.radius + c.tolerance(n)
                                   : 0,
                 {Kind::component, n.id, part.part});
  }
  for (const Near& n : c.s.keep_outs) {
    const KeepOut& o = job_.keep_outs[at(n.id)];
    const Rule& r = rules_.shared_space.at(o.kind);
    auto own_parts = c.parts;
    own_parts[3].radius = c.p.receptacle_drill.v / 2;  // no pocket is milled for it
    const ProbePart part = widest(own_parts, o.from_height, o.to_height);
    if (part.radius == 0) continue;
    sheet.rule(Reason::keep_out, n.edge, r.preferred.v, n.aim, r.least ? r.least->v : part.radius + c.tolerance(n),
               {Kind::keep_out, n.id, part.part});
  }
}

/// The nearest other metal, by what it misses most.
void Judge::metal(Sheet& sheet, const Case& c) const {
  using Kind = Obstacle::Kind;
  auto conductor = [&](int id, Obstacle::Part part) {
    const bool pad = at(id) < b_.exposures.size();
    return Obstacle{pad ? Kind::conductor : Kind::bare_metal,
                    pad ? b_.exposures[at(id)].feature : id - static_cast<int>(b_.exposures.size()), part};
  };
  const Near* metal = nullptr;
  const Near* metal_edge = nullptr;
  double worst = 0;
  const double reach = c.head / 2;
  for (const Near& n : c.s.conductors) {
    const double least = rules_.other_conductor.least ? rules_.other_conductor.least->v : reach + c.tolerance(n);
    if (n.aim < least - kSlack && (!metal || least - n.aim > worst)) {
      metal = &n;
      worst = least - n.aim;
    }
    if (n.edge < rules_.other_conductor.preferred.v - kSlack && (!metal_edge || n.edge < metal_edge->edge))
      metal_edge = &n;
  }
  if (metal)
    sheet.block(Reason::other_conductor, metal->aim, metal->aim + worst, conductor(metal->id, Obstacle::Part::head));
  else if (metal_edge)
    sheet.note(Reason::other_conductor, metal_edge->edge, rules_.other_conductor.preferred.v,
               conductor(metal_edge->id, {}));
}

void Judge::edges_and_holes(Sheet& sheet, const Case& c) const {
  using Kind = Obstacle::Kind;
  if (c.s.outline.id >= 0)
    sheet.rule(Reason::board_edge, c.s.outline.edge, rules_.board_edge.preferred.v, c.s.outline.aim,
               rules_.board_edge.least ? rules_.board_edge.least->v : c.parts[0].radius + c.tolerance(c.s.outline),
               {Kind::outline, -1, {}});
  for (const Near& n : c.s.holes)
    sheet.rule(Reason::slot, n.edge, rules_.slot.preferred.v, n.aim,
               rules_.slot.least ? rules_.slot.least->v : c.parts[0].radius + c.tolerance(n), {Kind::hole, n.id, {}});
  // In the pin's own hole stands the pin.
  if (c.s.tooling.id >= 0 && c.s.tooling.aim <= 0)
    sheet.block_for_good(Reason::tooling_hole, 0, c.p.receptacle_drill.v / 2 + rules_.web.v,
                         {Kind::hole, c.s.tooling.id, {}});
  else if (c.s.tooling.id >= 0)
    sheet.rule(Reason::tooling_hole, c.s.tooling.aim, rules_.tooling_hole.preferred.v, c.s.tooling.aim,
               rules_.tooling_hole.least ? rules_.tooling_hole.least->v : c.p.receptacle_drill.v / 2 + rules_.web.v,
               {Kind::hole, c.s.tooling.id, {}});
  if (c.s.fiducial.id >= 0)
    sheet.rule(Reason::fiducial, c.s.fiducial.edge, rules_.fiducial.preferred.v, c.s.fiducial.aim,
               rules_.fiducial.least ? rules_.fiducial.least->v : c.parts[0].radius + c.tolerance(c.s.fiducial),
               {Kind::conductor, c.s.fiducial.id, {}});
}

void Judge::strokes(Sheet& sheet, const Case& c) const {
  using Kind = Obstacle::Kind;
  for (const Contact contact : c.t.contacts) {
    if (contact == Contact::open_hole && c.head > c.p.largest_head.v) continue;  // no head, no stroke
    const double protrusion = c.f.component >= 0 ? b_.components[at(c.f.component)].protrusion : 0;
    const Stroke stroke = stroke_on(rules_, c.p, contact, c.f.hole, protrusion, b_.thickness, c.main);
    const Obstacle o{Kind::contact, static_cast<int>(contact), {}};
    // A probe that does not reach, or is pressed past its end, is no matter of risk.
    if (stroke.shortest() <= 0)
      sheet.block_for_good(Reason::under_stroke, stroke.shortest(), c.p.least_travel.v, o);
    else if (stroke.shortest() < c.p.least_travel.v - 1e-9)
      sheet.block(Reason::under_stroke, stroke.shortest(), c.p.least_travel.v, o);
    if (stroke.longest() > c.p.full_travel.v)
      sheet.block_for_good(Reason::over_stroke, stroke.longest(), c.p.most_travel.v, o);
    else if (stroke.longest() > c.p.most_travel.v + 1e-9)
      sheet.block(Reason::over_stroke, stroke.longest(), c.p.most_travel.v, o);
  }
  if (c.s.finger > rules_.finger_reach.v) sheet.note(Reason::push_finger, c.s.finger, rules_.finger_reach.v, {});
}

void Judge::odds(Sheet& sheet, Verdict& v, const Case& c) const {
  const Odds odds = odds_of(a_, b_, c.spot, c.k, c.p, c.head, c.error, c.s.conductors);
  v.miss = odds.miss;
  v.wrong = odds.wrong;
  if (v.miss > kHopeless)
    sheet.block_for_good(Reason::odds_too_low, v.miss, rules_.largest_miss, {});
  else if (v.miss > rules_.largest_miss)
    sheet.block(Reason::odds_too_low, v.miss, rules_.largest_miss, {});
  if (v.wrong > kHopeless)
    sheet.block_for_good(Reason::wrong_landing, v.wrong, rules_.largest_wrong, {});
  else if (v.wrong > rules_.largest_wrong)
    sheet.block(Reason::wrong_landing, v.wrong, rules_.largest_wrong, {});
}

Verdict Judge::verdict(const Spot& spot, const Surroundings& s, const Covering& covering, std::size_t k,
                       bool main) const {
  Verdict v;
  Sheet sheet(v, job_, s);
  const Target& t = a_.targets[at(spot.target)];
  const Exposure& e = b_.exposures[at(t.exposure)];
  const ProbeClass& p = cat_.classes[k];
  const double head = head_diameter(b_, rules_, t, p);
  const Case c{spot,     s,
               covering, k,
               main,     t,
               e,        b_.features[at(t.feature)],
               p,        error_budget(b_, rules_, p, e, spot.at, main).spread(),
               head,     parts_of(p, head, rules_)};
  place(sheet, c);
  bodies(sheet, c);
  metal(sheet, c);
  edges_and_holes(sheet, c);
  strokes(sheet, c);
  if (!sheet.blocked()) odds(sheet, v, c);
  v.open = !sheet.blocked();
  std::stable_sort(v.shortfalls.begin(), v.shortfalls.end(),
                   [](const Shortfall& x, const Shortfall& y) { return x.blocking > y.blocking; });
  return v;
}

/// Open first, then fewer reasons, then what is lacking, then the odds.
bool better(const Verdict& a, const Verdict& b) {
  if (a.open != b.open) return a.open;
  auto blocks = [](const Verdict& v) {
    return std::count_if(v.shortfalls.begin(), v.shortfalls.end(), [](const Shortfall& s) { return s.blocking; });
  };
  if (blocks(a) != blocks(b)) return blocks(a) < blocks(b);
  auto lack = [](const Verdict& v) {
    double sum = 0;
    for (const Shortfall& s : v.shortfalls) sum += s.lack();
    return sum;
  };
  const double la = lack(a), lb = lack(b);
  if (std::abs(la - lb) > 1e-9) return la < lb;
  return a.miss < b.miss;
}
}  // namespace

bool Access::open(std::size_t target, bool main_side) const {
  for (std::size_t k = 0; k < classes; ++k)
    if (best_verdict(target, k, main_side).open) return true;
  return false;
}

struct Judging::State {
  State(const Board& b, const Job& j, const Catalogue& cat, const Rules& rules)
      : job(j),
        bodies(body_trees(b)),
        coverings(targets(b, cat, rules)),
        around(b, j, cat, rules, bodies),
        verdicts(b, j, cat, rules, access) {}
  std::vector<Covering> targets(const Board& b, const Catalogue& cat, const Rules& rules) {
    access.classes = cat.classes.size();
    auto found = find_targets(access, b, cat, rules, job.standing, bodies);
    access.verdicts.resize(access.spots.size() * access.classes * 2);
    access.best_spot.resize(access.targets.size() * access.classes * 2);
    return found;
  }
  void judge(std::size_t target);
  void count_waivers();
  const Job& job;
  Access access;
  const std::array<BoxTree, 2> bodies;
  const std::vector<Covering> coverings;
  Neighbourhood around;
  const Judge verdicts;
};

void Judging::State::judge(std::size_t i) {
  Access& a = access;
  const Target& t = a.targets[i];
  for (int n = t.first_spot; n < t.first_spot + t.spots; ++n) {
    const Surroundings s = around.about(a, a.spots[at(n)], coverings[i]);
    for (std::size_t k = 0; k < a.classes; ++k)
      for (const bool main : {true, false}) {
        a.verdicts[a.slot(at(n), k, main)] = verdicts.verdict(a.spots[at(n)], s, coverings[i], k, main);
        int& best = a.best_spot[a.slot(i, k, main)];
        if (n == t.first_spot || better(a.verdict(at(n), k, main), a.verdict(at(best), k, main))) best = n;
      }
  }
}

void Judging::State::count_waivers() {
  access.waiver_uses.assign(job.waivers.size(), 0);
  if (job.waivers.empty()) return;
  for (const Verdict& v : access.verdicts)
    for (const Shortfall& s : v.shortfalls)
      if (s.waiver >= 0 && v.open) ++access.waiver_uses[at(s.waiver)];
}

Judging::Judging(const Board& b, const Job& job, const Catalogue& cat, const Rules& rules)
    : state_(std::make_unique<State>(b, job, cat, rules)) {
  parallel_for(
      state_->access.targets.size(), [&](std::size_t i) { state_->judge(i); }, 32);
  state_->count_waivers();
}
Judging::~Judging() = default;
const Access& Judging::access() const {
  return state_->access;
}
Access Judging::take() && {
  return std::move(state_->access);
}

std::vector<int> Judging::follow() {
  std::vector<int> touched = state_->around.follow(state_->access);
  parallel_for(
      touched.size(), [&](std::size_t i) { state_->judge(at(touched[i])); }, 8);
  state_->count_waivers();
  return touched;
}

Access judge(const Board& b, const Job& job, const Catalogue& cat, const Rules& rules) {
  return Judging(b, job, cat, rules).take();
}

void check_bans(const Board& b, const Job& job, Diagnostics& d) {
  auto fits = [](const std::string& pattern, const std::string& name, const std::string& plain) {
    return pattern.empty() || glob_match(pattern, name) || glob_match(pattern, plain);
  };
  for (const Ban& x : job.bans) {
    if (x.net.empty() && x.target.empty()) continue;
    const bool any = std::any_of(b.features.begin(), b.features.end(), [&](const Feature& f) {
      if (!fits(x.target, f.name, f.plain())) return false;
      return x.net.empty() || (f.net >= 0 && fits(x.net, b.nets[at(f.net)].name, b.nets[at(f.net)].plain()));
    });
    if (!any)
      d.warn("ban-fits-nothing", x.place, "a ban that no target fits: nothing is kept free by it",
             x.net + (x.net.empty() || x.target.empty() ? "" : " / ") + x.target,
             "correct the names; they are those of blocked.csv and probes.csv");
  }
}

void check_waivers(const Access& a, const Job& job, Diagnostics& d) {
  for (std::size_t i = 0; i < job.waivers.size(); ++i) {
    const Waiver& w = job.waivers[i];
    const std::string key = w.net + " / " + w.target + " / " + w.rule;
    const auto reason = reason_of(w.rule);
    if (!reason) {
      std::string all;
      for (int r = 0; r <= static_cast<int>(Reason::odds_too_low); ++r)
        all += (all.empty() ? "" : ", ") + std::string(to_string(static_cast<Reason>(r)));
      d.error("waiver-rule", w.place, "a waiver names no rule", w.rule, all,
              "use the reason as it stands in blocked.csv");
    } else if (!can_be_waived(*reason)) {
      d.error("waiver-rule", w.place,
              "this finding cannot be waived: a probe finds no metal there, or the job itself forbids it", key, {},
              "remove the waiver");
    } else if (a.waiver_uses[i] == 0) {
      d.warn("waiver-unused", w.place, "a waiver that nothing needs", key,
             "the finding is gone, or the names are wrong; remove or correct it");
    }
  }
}

std::vector<Assumption> depends_on(const Board& b, const Rules& rules, const ProbeClass& p, const Target& t, Point aim,
                                   const Covariance& error) {
  std::vector<Assumption> out;
  const Feature& f = b.features[at(t.feature)];
  const double head = head_diameter(b, rules, t, p);
  const auto parts = parts_of(p, head, rules);
  double widest_radius = 0;
  for (const ProbePart& q : parts) widest_radius = std::max(widest_radius, q.radius);
  const double tolerance = kSigmas * error.largest_sigma(), if_tall = widest_radius + tolerance;
  for (std::size_t i = 0; i < b.components.size(); ++i) {
    const Component& c = b.components[i];
    if (c.body.empty()) continue;
    const bool same = c.side == t.side, own = static_cast<int>(i) == f.component;
    if (own && same && !t.own_body) continue;
    if (!bounds(c.body).grown(if_tall).contains(aim)) continue;
    const double d = distance_to_area(c.body, aim);
    if (same && c.height_known != Known::confirmed && widest(parts, c.standoff, c.height).radius < widest_radius &&
        d < if_tall)
      out.push_back(assumption(b, static_cast<int>(i), Assumption::Fact::height));
    if (!same && c.side_known != Known::confirmed &&
        (own || d < widest(parts, c.standoff, c.height).radius + tolerance))
      out.push_back(assumption(b, static_cast<int>(i), Assumption::Fact::side));
  }
  return out;
}

}  // namespace teasel
