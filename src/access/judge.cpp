// Verdicts: every rule against every spot, for every class, from either kind of side.
#include <algorithm>
#include <cmath>
#include <optional>

#include "parts_of_probe.h"
#include "plate_room.h"
#include "reasons.h"
#include "spot_odds.h"
#include "surroundings.h"
#include "teasel/parallel.h"

namespace teasel {

namespace {
constexpr double kSigmas = 3;     // of position error in every "geometry" clearance
constexpr double kSlack = 0.001;  // mm; the grid of aim points and the chords of circles are as coarse
constexpr Chance kHopeless{0.5};  // a greater chance of a miss is no longer a risk that somebody could accept
using Kind = Obstacle::Kind;

Obstacle obstacle(Kind kind, int id = -1, Obstacle::Part part = {}) {
  return {kind, id, part};
}

class SpotJudge {
 public:
  SpotJudge(const Board& board, const Job& job, const Catalogue& catalogue, const Rules& rules, const Access& access,
            const Shop& shop, const LidArc& arc)
      : board_(board),
        job_(&job),
        catalogue_(catalogue),
        rules_(rules),
        access_(access),
        plates_(board, rules, shop),
        arc_(arc) {}
  void take(const Job& job) { job_ = &job; }
  Verdict verdict(const Spot& spot, const Surroundings& surroundings, const Covering& covering, ClassId probe_class,
                  bool main_side) const;

 private:
  class Sheet;
  struct Touch;
  void place(Sheet& sheet, const Touch& touch) const;
  void arc(Sheet& sheet, const Touch& touch) const;
  void bodies(Sheet& sheet, const Touch& touch) const;
  void keep_outs(Sheet& sheet, const Touch& touch) const;
  void metal(Sheet& sheet, const Touch& touch) const;
  void edges_and_holes(Sheet& sheet, const Touch& touch) const;
  void plates(Sheet& sheet, const Touch& touch) const;
  void strokes(Sheet& sheet, const Touch& touch) const;
  void odds(Sheet& sheet, Verdict& verdict, const Touch& touch) const;
  const Board& board_;
  const Job* job_;
  const Catalogue& catalogue_;
  const Rules& rules_;
  const Access& access_;
  const PlateRoom plates_;
  const LidArc arc_;
};

/// Collects the shortfalls of one verdict.
class SpotJudge::Sheet {
 public:
  Sheet(Verdict& verdict, const Job& job, const Surroundings& surroundings)
      : verdict_(verdict), job_(job), surroundings_(surroundings) {}
  void block(Reason reason, double measured, double required, Obstacle what) {
    Shortfall shortfall = made(reason, measured, required, what);
    shortfall.blocking = true;
    if (row_of(reason).waivable) waive(shortfall);
    verdict_.shortfalls.push_back(shortfall);
  }
  /// For what stands in the very place of the metal: no waiver makes it go away.
  void block_for_good(Reason reason, double measured, double required, Obstacle what) {
    verdict_.shortfalls.push_back(made(reason, measured, required, what));
    verdict_.shortfalls.back().blocking = true;
  }
  void note(Reason reason, double measured, double required, Obstacle what) {
    Shortfall shortfall = made(reason, measured, required, what);
    if (row_of(reason).waivable) waive(shortfall);
    verdict_.shortfalls.push_back(shortfall);
  }
  /// A rule of two values: blocks below `least` (from the aim), is noted below `preferred` (from the pad's edge).
  void rule(Reason reason, double from_edge, double preferred, double from_aim, double least, Obstacle what) {
    if (from_aim < least - kSlack)
      block(reason, from_aim, least, what);
    else if (from_edge < preferred - kSlack)
      note(reason, from_edge, preferred, obstacle(what.kind, what.id));  // of the pad, not of a part of the probe
  }
  [[nodiscard]] bool blocked() const {
    return std::any_of(verdict_.shortfalls.begin(), verdict_.shortfalls.end(),
                       [](const Shortfall& shortfall) { return shortfall.blocking; });
  }

 private:
  static Shortfall made(Reason reason, double measured, double required, Obstacle what) {
    Shortfall shortfall;
    shortfall.reason = reason;
    shortfall.measured = measured;
    shortfall.required = required;
    shortfall.obstacle = what;
    return shortfall;
  }
  void waive(Shortfall& shortfall) const {
    for (const WaiverId waiver : surroundings_.waivers)
      if (job_.decisions.waivers[waiver].rule == to_string(shortfall.reason)) {
        shortfall.waiver = waiver;
        shortfall.blocking = false;
      }
  }
  Verdict& verdict_;
  const Job& job_;
  const Surroundings& surroundings_;
};

/// One spot, touched by one class from one kind of side.
struct SpotJudge::Touch {
  const Spot& spot;
  const Surroundings& surroundings;
  const Covering& covering;
  ClassId probe_class;
  bool main_side;
  const Target& target;
  const Exposure& exposure;
  const Feature& feature;
  const ProbeClass& probe;
  LandSpread error;
  Mm head;  ///< its diameter: into an empty hole goes a head wider than the hole, or the probe drops through it
  std::array<ProbePart, 4> parts;
  ArcWay way;  ///< nothing where the bed closes in parallel
  /// From the way of the tip, of which the aim is the end, to what is near the aim. Convex things come nearer by no
  /// more than the way towards them.
  [[nodiscard]] double along(const Near& near, bool convex = true) const {
    const double nearer = convex && !(near.way == Point{}) ? way.nearer(near.way) : way.longest();
    return std::max(std::min(near.aim, 0.0), near.aim - nearer);
  }
  /// What the errors may add towards an obstacle, mm.
  [[nodiscard]] double tolerance(const Near& near) const {
    return kSigmas *
           (near.way == Point{} ? error.metal.total.largest_sigma() : error.metal.total.sigma_along(near.way)).v;
  }
  /// The least clearance of a rule: its own value, or what the probe's geometry asks for.
  [[nodiscard]] double least(const Rule& rule, double radius, const Near& near) const {
    return rule.least ? rule.least->v : radius + tolerance(near);
  }
};

/// What the place itself is.
void SpotJudge::place(Sheet& sheet, const Touch& touch) const {
  for (const BanId ban : touch.surroundings.bans) sheet.block(Reason::banned, 0, 0, obstacle(Kind::ban, ban.number()));
  // A body of another part that covers all of the metal is met among the bodies, at no distance.
  const ComponentId cover = touch.covering.body;
  if (cover && cover == touch.feature.component)
    sheet.block_for_good(Reason::under_body, 0, 0, obstacle(Kind::component, cover.number()));
  if (board_.traced && touch.exposure.pasted && !touch.feature.component)
    sheet.block(Reason::under_body, 0, 0, obstacle(Kind::paste));

  const Rule& size = touch.main_side ? rules_.pad_diameter_main : rules_.pad_diameter_other;
  const double diameter = touch.spot.diameter.v;
  const double least_size =
      size.least ? size.least->v
                 : 2 * (touch.probe.contact_margin.v + kSigmas * touch.error.opening.total.largest_sigma().v);
  sheet.rule(Reason::land_too_small, diameter, size.preferred.v, diameter, least_size, {});
  const double hole = touch.feature.hole.v;
  if (touch.head > touch.probe.largest_head)
    sheet.block_for_good(Reason::hole_too_wide, hole, touch.probe.largest_head.v - (touch.head.v - hole),
                         obstacle(Kind::empty_hole));
  else if (rules_.wide_hole.least && hole > rules_.wide_hole.least->v)
    sheet.block(Reason::hole_too_wide, hole, rules_.wide_hole.least->v, {});
  else if (hole > rules_.wide_hole.preferred.v)
    sheet.note(Reason::hole_too_wide, hole, rules_.wide_hole.preferred.v, {});
}

/// A tip that comes down beside its land scrapes over what is there, and may stay on it.
void SpotJudge::arc(Sheet& sheet, const Touch& touch) const {
  if (touch.way.none()) return;
  const Polygons& landing = access_.shapes[touch.spot.shape].landing[touch.probe_class];
  const double off = std::max(distance_to_area(landing, touch.spot.in_shape + touch.way.towards),
                              distance_to_area(landing, touch.spot.in_shape + touch.way.away));
  if (off > kSlack) sheet.block(Reason::lid_arc, off, 0, {});
}

/// Bodies beside the parts of the probe.
void SpotJudge::bodies(Sheet& sheet, const Touch& touch) const {
  for (const NearBody& near : touch.surroundings.bodies) {
    const Component& body = board_.components[near.component];
    auto counted = touch.parts;
    if (near.core) counted[0].radius = 0;  // the head comes down on the land, whatever the outline says
    const ProbePart part = widest(counted, body.standoff.v, body.height.v);
    const Obstacle what = obstacle(Kind::component, near.component.number(), part.part);
    const double geometry = part.radius + touch.tolerance(near) + near.aim - touch.along(near);
    if (near.core) {
      if (part.radius > 0 && near.aim < geometry - kSlack) sheet.block(Reason::body, near.aim, geometry, what);
      continue;
    }
    if (near.component == touch.covering.body) {
      sheet.block_for_good(Reason::body, 0, geometry, what);
      continue;
    }
    const Rule& rule = rules_.body(body.height).rule;
    double least = part.radius > 0 ? geometry : 0;
    if (rule.least && !near.own) least = rule.least->v;
    if (!near.own) least = std::max(least, plates_.beside_pocket(body.height, touch.probe, touch.main_side));
    sheet.rule(Reason::body, near.edge, near.own ? 0 : rule.preferred.v, near.aim, least, what);
  }
}

void SpotJudge::keep_outs(Sheet& sheet, const Touch& touch) const {
  for (const NearKeepOut& near : touch.surroundings.keep_outs) {
    const KeepOut& keep_out = board_.keep_outs[near.keep_out];
    const Rule& rule = rules_.shared_space.at(keep_out.kind);
    auto own_parts = touch.parts;
    own_parts[3].radius = touch.probe.receptacle_drill.v / 2;  // no pocket is milled for it
    const ProbePart part = widest(own_parts, keep_out.from_height.v, keep_out.to_height.v);
    if (part.radius == 0) continue;
    sheet.rule(Reason::keep_out, near.edge, rule.preferred.v, near.aim, touch.least(rule, part.radius, near),
               obstacle(Kind::keep_out, near.keep_out.number(), part.part));
  }
}

/// The nearest other metal, by what it misses most.
void SpotJudge::metal(Sheet& sheet, const Touch& touch) const {
  auto conductor = [&](const NearMetal& near, Obstacle::Part part) {
    if (near.piece.exposure)
      return obstacle(Kind::conductor, board_.exposures[near.piece.exposure].feature.number(), part);
    return obstacle(Kind::bare_metal, static_cast<int>(near.piece.bare), part);
  };
  const NearMetal* worst_from_aim = nullptr;
  const NearMetal* nearest_edge = nullptr;
  double worst = 0, worst_away = 0;
  const double preferred = rules_.other_conductor.preferred.v;
  for (const NearMetal& near : touch.surroundings.conductors) {
    const double least = touch.least(rules_.other_conductor, touch.head.v / 2, near),
                 away = touch.along(near, near.convex);
    if (away < least - kSlack && (!worst_from_aim || least - away > worst)) {
      worst_from_aim = &near;
      worst = least - away;
      worst_away = away;
    }
    if (near.edge < preferred - kSlack && (!nearest_edge || near.edge < nearest_edge->edge)) nearest_edge = &near;
  }
  if (worst_from_aim)
    sheet.block(Reason::other_conductor, worst_away, worst_away + worst,
                conductor(*worst_from_aim, Obstacle::Part::head));
  else if (nearest_edge)
    sheet.note(Reason::other_conductor, nearest_edge->edge, preferred, conductor(*nearest_edge, {}));
}

void SpotJudge::edges_and_holes(Sheet& sheet, const Touch& touch) const {
  for (const NearThing& near : touch.surroundings.things) {
    double least = touch.least(*near.rule, touch.parts[0].radius, near);
    if (near.reason == Reason::tooling_hole) {
      const double beside_pin = plates_.beside_pin(touch.probe, touch.head, touch.main_side);
      // In the pin's own hole stands the pin.
      if (near.aim <= 0) {
        sheet.block_for_good(near.reason, 0, beside_pin, near.what);
        continue;
      }
      if (!near.rule->least) least = beside_pin;
    }
    sheet.rule(near.reason, near.edge, near.rule->preferred.v, near.aim, least, near.what);
  }
}

/// What the plates have already, and where something must hold the board from behind.
void SpotJudge::plates(Sheet& sheet, const Touch& touch) const {
  const BoardPoint aim = touch.spot.at;
  const Side side = touch.target.side;
  if (const auto near = plates_.kit_hole(aim, side, touch.main_side, touch.probe, touch.head))
    if (near->away < near->required - kSlack)
      sheet.block_for_good(Reason::kit_hole, near->away, near->required, obstacle(Kind::kit_hole, near->hole));
  if (plates_.outside(aim, side, touch.main_side)) sheet.block_for_good(Reason::outside_kit, 0, 0, {});
  for (const FlexId id : board_.flex.ids())
    if (const FlexPart& part = board_.flex[id]; !part.backed && contains(part.area, aim))
      sheet.block(Reason::flexible, 0, 0, obstacle(Kind::flex, id.number()));
}

void SpotJudge::strokes(Sheet& sheet, const Touch& touch) const {
  const ProbeClass& probe = touch.probe;
  for (const Stroke& stroke : strokes_on(board_, rules_, touch.target, probe, touch.main_side)) {
    if (stroke.contact == Contact::open_hole && touch.head > probe.largest_head) continue;  // no head, no stroke
    const Obstacle what = obstacle(Kind::contact, static_cast<int>(stroke.contact));
    const double shortest = stroke.shortest().v, longest = stroke.longest().v;
    // A probe that does not reach, or that is pressed past its end, is not a risk that somebody could accept.
    if (shortest <= 0)
      sheet.block_for_good(Reason::under_stroke, shortest, probe.least_travel.v, what);
    else if (shortest < probe.least_travel.v - 1e-9)
      sheet.block(Reason::under_stroke, shortest, probe.least_travel.v, what);
    if (longest > probe.full_travel.v)
      sheet.block_for_good(Reason::over_stroke, longest, probe.most_travel.v, what);
    else if (longest > probe.most_travel.v + 1e-9)
      sheet.block(Reason::over_stroke, longest, probe.most_travel.v, what);
  }
  if (const Mm finger = touch.surroundings.finger; finger > rules_.finger_reach)
    sheet.note(Reason::push_finger, finger.v, rules_.finger_reach.v, {});
}

void SpotJudge::odds(Sheet& sheet, Verdict& verdict, const Touch& touch) const {
  const Odds odds = odds_of(access_, board_, touch.spot, touch.probe_class, touch.probe, touch.head, touch.error,
                            touch.surroundings.conductors, touch.way);
  verdict.miss = odds.miss;
  verdict.wrong = odds.wrong;
  auto at_most = [&](Reason reason, Chance chance, Chance largest) {
    if (chance > kHopeless)
      sheet.block_for_good(reason, chance.v, largest.v, {});
    else if (chance > largest)
      sheet.block(reason, chance.v, largest.v, {});
  };
  at_most(Reason::odds_too_low, verdict.miss, rules_.largest_miss);
  at_most(Reason::wrong_landing, verdict.wrong, rules_.largest_wrong);
}

Verdict SpotJudge::verdict(const Spot& spot, const Surroundings& surroundings, const Covering& covering,
                           ClassId probe_class, bool main_side) const {
  Verdict verdict;
  Sheet sheet(verdict, *job_, surroundings);
  const Target& target = access_.targets[spot.target];
  const Exposure& exposure = board_.exposures[target.exposure];
  const ProbeClass& probe = catalogue_.classes[probe_class];
  const Mm head = head_diameter(board_, rules_, target, probe);
  const Touch touch{.spot = spot,
                    .surroundings = surroundings,
                    .covering = covering,
                    .probe_class = probe_class,
                    .main_side = main_side,
                    .target = target,
                    .exposure = exposure,
                    .feature = board_.features[target.feature],
                    .probe = probe,
                    .error = error_budget(board_, rules_, probe, exposure, spot.at, main_side).on_land(),
                    .head = head,
                    .parts = parts_of(probe, head, rules_),
                    .way = way_of(arc_, board_, rules_, target, spot.at, probe, main_side)};
  place(sheet, touch);
  arc(sheet, touch);
  bodies(sheet, touch);
  keep_outs(sheet, touch);
  metal(sheet, touch);
  edges_and_holes(sheet, touch);
  plates(sheet, touch);
  strokes(sheet, touch);
  if (!sheet.blocked()) odds(sheet, verdict, touch);
  verdict.open = !sheet.blocked();
  std::stable_sort(verdict.shortfalls.begin(), verdict.shortfalls.end(),
                   [](const Shortfall& a, const Shortfall& b) { return a.blocking > b.blocking; });
  return verdict;
}

/// Open first, then fewer reasons, then what is lacking, then the odds.
bool better(const Verdict& a, const Verdict& b) {
  if (a.open != b.open) return a.open;
  auto blocks = [](const Verdict& verdict) {
    return std::count_if(verdict.shortfalls.begin(), verdict.shortfalls.end(),
                         [](const Shortfall& shortfall) { return shortfall.blocking; });
  };
  if (blocks(a) != blocks(b)) return blocks(a) < blocks(b);
  auto lack = [](const Verdict& verdict) {
    double sum = 0;
    for (const Shortfall& shortfall : verdict.shortfalls) sum += shortfall.lack();
    return sum;
  };
  const double lack_a = lack(a), lack_b = lack(b);
  if (std::abs(lack_a - lack_b) > 1e-9) return lack_a < lack_b;
  return a.miss < b.miss;
}
}  // namespace

bool Access::open(TargetId target, bool main_side) const {
  for (std::size_t i = 0; i < classes; ++i)
    if (best_verdict(target, ClassId{i}, main_side).open) return true;
  return false;
}

struct Judging::State {
  State(const Board& board, const Job& asked, const Catalogue& catalogue, const Rules& rules,
        const StandingFixture& standing, const Shop& shop)
      : job(&asked),
        bodies(body_trees(board)),
        coverings(targets(board, catalogue, rules, standing)),
        around(board, asked, catalogue, rules, bodies),
        verdicts(board, asked, catalogue, rules, access, standing.used ? Shop{nullptr, shop.style, nullptr} : shop,
                 LidArc(board, shop.kit, standing)) {}
  Table<TargetId, Covering> targets(const Board& board, const Catalogue& catalogue, const Rules& rules,
                                    const StandingFixture& standing) {
    access.classes = catalogue.classes.size();
    auto found = find_targets(access, board, catalogue, rules, standing, bodies);
    access.verdicts.resize(access.spots.size() * access.classes * 2);
    access.best_spot.resize(access.targets.size() * access.classes * 2);
    return found;
  }
  void judge(TargetId id);
  void count_waivers();
  const Job* job;
  Access access;
  const PerSide<BoxTree> bodies;
  const Table<TargetId, Covering> coverings;
  Neighbourhood around;
  SpotJudge verdicts;
};

void Judging::State::judge(TargetId id) {
  const Target& target = access.targets[id];
  for (int n = 0; n < target.spots; ++n) {
    const SpotId spot = target.spot(n);
    const Surroundings surroundings = around.about(access, access.spots[spot], coverings[id]);
    for (std::size_t i = 0; i < access.classes; ++i)
      for (const bool main_side : {true, false}) {
        const ClassId probe_class{i};
        access.verdicts[access.slot(spot.index(), probe_class, main_side)] =
            verdicts.verdict(access.spots[spot], surroundings, coverings[id], probe_class, main_side);
        SpotId& best = access.best_spot[access.slot(id.index(), probe_class, main_side)];
        if (n == 0 ||
            better(access.verdict(spot, probe_class, main_side), access.verdict(best, probe_class, main_side)))
          best = spot;
      }
  }
}

void Judging::State::count_waivers() {
  access.waiver_uses.assign(job->decisions.waivers.size(), 0);
  if (job->decisions.waivers.empty()) return;
  for (const Verdict& verdict : access.verdicts)
    for (const Shortfall& shortfall : verdict.shortfalls)
      if (shortfall.waiver && verdict.open) ++access.waiver_uses[shortfall.waiver];
}

Judging::Judging(const Board& board, const Job& job, const Catalogue& catalogue, const Rules& rules,
                 const StandingFixture& standing, const Shop& shop)
    : state_(std::make_unique<State>(board, job, catalogue, rules, standing, shop)) {
  parallel_for(
      state_->access.targets.size(), [&](std::size_t i) { state_->judge(TargetId{i}); }, 32);
  state_->count_waivers();
}
Judging::~Judging() = default;
const Access& Judging::access() const {
  return state_->access;
}
Access Judging::take() && {
  return std::move(state_->access);
}

std::vector<TargetId> Judging::follow(const Job& job) {
  state_->job = &job;
  state_->verdicts.take(job);
  std::vector<TargetId> touched = state_->around.follow(state_->access, job);
  parallel_for(
      touched.size(), [&](std::size_t i) { state_->judge(touched[i]); }, 8);
  state_->count_waivers();
  return touched;
}

Access judge(const Board& board, const Job& job, const Catalogue& catalogue, const Rules& rules,
             const StandingFixture& standing, const Shop& shop) {
  return Judging(board, job, catalogue, rules, standing, shop).take();
}

void check_bans(const Board& board, const Job& job, Diagnostics& diagnostics) {
  for (const Ban& ban : job.decisions.bans) {
    if (ban.net.empty() && ban.target.empty()) continue;
    const bool any = std::any_of(board.features.begin(), board.features.end(), [&](const Feature& feature) {
      if (!ban.target.empty() && !glob_match(ban.target, feature.name)) return false;
      return ban.net.empty() || (feature.net && glob_match(ban.net, board.nets[feature.net].name));
    });
    if (!any)
      diagnostics.warn({.code = "ban-fits-nothing",
                        .at = ban.place,
                        .message = "no target matches this ban, so it keeps nothing free",
                        .found = ban.net + (ban.net.empty() || ban.target.empty() ? "" : " / ") + ban.target,
                        .remedy = "correct the names; blocked.csv and probes.csv list them"});
  }
}

void check_waivers(const Access& access, const Job& job, Diagnostics& diagnostics) {
  for (const WaiverId id : job.decisions.waivers.ids()) {
    const Waiver& waiver = job.decisions.waivers[id];
    const std::string key = waiver.net + " / " + waiver.target + " / " + waiver.rule;
    const auto reason = reason_of(waiver.rule);
    if (!reason) {
      std::string all;
      for (int i = 0; i <= static_cast<int>(Reason::odds_too_low); ++i)
        all += (all.empty() ? "" : ", ") + std::string(to_string(static_cast<Reason>(i)));
      diagnostics.error({.code = "waiver-rule",
                         .at = waiver.place,
                         .message = "this waiver names a rule that does not exist",
                         .found = waiver.rule,
                         .expected = all,
                         .remedy = "use one of the reasons as blocked.csv prints them"});
    } else if (!row_of(*reason).waivable) {
      diagnostics.error({.code = "waiver-rule",
                         .at = waiver.place,
                         .message = "this finding cannot be waived, because a probe would find no metal there or "
                                    "because the job itself forbids it",
                         .found = key,
                         .remedy = "remove the waiver"});
    } else if (access.waiver_uses[id] == 0) {
      diagnostics.warn({.code = "waiver-unused",
                        .at = waiver.place,
                        .message = "nothing needs this waiver",
                        .found = key,
                        .remedy = "remove the waiver if its finding is gone; otherwise correct its names"});
    }
  }
}

std::vector<Assumption> depends_on(const Board& board, const Rules& rules, const ProbeClass& probe,
                                   const Target& target, BoardPoint at, const Covariance& error) {
  std::vector<Assumption> out;
  const Feature& feature = board.features[target.feature];
  const auto parts = parts_of(probe, head_diameter(board, rules, target, probe), rules);
  double widest_radius = 0;
  for (const ProbePart& part : parts) widest_radius = std::max(widest_radius, part.radius);
  const double tolerance = kSigmas * error.largest_sigma().v, if_tall = widest_radius + tolerance;
  for (const ComponentId id : board.components.ids()) {
    const Component& component = board.components[id];
    if (component.body.empty()) continue;
    const bool same = component.side == target.side, own = id == feature.component;
    if (own && same && !target.own_body) continue;
    if (!bounds(component.body).grown(if_tall).contains(at)) continue;
    const double away = distance_to_area(component.body, at);
    const double radius = widest(parts, component.standoff.v, component.height.v).radius;
    if (same && component.height_known != Known::confirmed && radius < widest_radius && away < if_tall)
      out.push_back(assumption(board, id, Assumption::Fact::height));
    if (!same && component.side_known != Known::confirmed && (own || away < radius + tolerance))
      out.push_back(assumption(board, id, Assumption::Fact::side));
  }
  return out;
}

}  // namespace teasel
