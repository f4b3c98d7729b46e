// Planning onto a fixture that stands: against enumeration of every plan of small boards, and case by case.
#include <random>

#include "../fixture/workshop.h"
#include "teasel/respin.h"

using namespace teasel;
using namespace teasel::testing;

namespace {
/// Only what holes cost counts: the brute force below can do that sum by itself.
void plain_prices(Workshop& w) {
  auto& c = w.rules.cost;
  c.boards = 0;
  c.shortfall = c.wrong_landing = c.false_reject = Money{};
  c.test_pad = c.lead = c.via = c.smd_pad = Money{};
  c.hole = Money{1};
  c.rework = Money{12};
  c.rewire = Money{2};
  c.unmet = Money{100};
  for (auto& [surface, rule] : w.rules.surfaces) rule.price = Money{};
  w.catalogue.classes.resize(1);  // the widest
  w.job.fixture.board_lies = "bottom side down";
}
/// Another pad of the last net.
void more(Workshop& w, Point at) {
  const FeatureId pad = add_round(w.board, "Q" + std::to_string(w.board.features.size()), at, 2.0, Side::bottom);
  w.board.nets.rows().pop_back();
  w.board.features[pad].net = w.needs.back().net;
  w.board.nets[w.needs.back().net].features.push_back(pad);
}
formats::FixtureFile built(Workshop& w) {
  const auto plates = w.plates();
  const BuildInputs in = w.inputs();
  Mechanics m;
  m.supports = w.supports;
  const auto wires = make_wiring(in, w.d);
  return fixture_file(in, plates, wires, m, make_proving(in, plates, wires), {}, "first");
}
void onto(Workshop& w, const formats::FixtureFile& f, const Laying& l = {}) {
  const auto now = built_board(w.board, w.job);
  const auto nets = match_nets(f.revisions.back().board, now, match_pads(f.revisions.back().board, now, l.map));
  w.job.fixture.style = f.style;
  w.job.fixture.catalogue = f.catalogue;
  w.standing = stand_on(w.job, f, {l, nets, now}, w.rules, w.style, w.d);
  REQUIRE_FALSE(w.d.failed());
  w.plan();
  REQUIRE_FALSE(w.d.failed());
}
const OptionResult& chosen(const Workshop& w) {
  return w.planned.options[w.planned.chosen];
}

/// The least that any choice of at most one probe a net costs, beds left out; hundredths.
long enumerate(const Workshop& w) {
  struct Way {
    Point at;
    long price;
    StandingHoleId hole;
  };
  const ProbeClass& c = w.catalogue.classes.front();
  const auto& stand = w.standing;
  std::vector<std::vector<Way>> ways;
  for (const Need& need : w.needs) {
    ways.emplace_back();
    for (const SpotId s : w.access.spots.ids()) {
      const Target& t = w.access.targets[w.access.spots[s].target];
      if (w.board.features[t.feature].net != need.net || t.side != Side::bottom ||
          !w.access.verdict(s, ClassId{0}, true).open)
        continue;
      const Point p = w.access.spots[s].at;
      Way way{p, std::lround(100 * (c.price.v + 1 + 12)), {}};
      bool room = true;
      for (const StandingHoleId h : stand.holes.ids()) {
        const double d = distance(p, stand.holes[h].at);
        if (d < 0.0015 && stand.holes[h].state == HoleState::in_use)
          way.hole = h;
        else if (d < c.receptacle_drill.v + w.rules.web.v - 0.0015)
          room = false;
      }
      // Everything else that the probe plate has: pins, guide holes, screws.
      for (const StandingPlate& plate : stand.plates) {
        if (plate.kind != PlateKind::probe && plate.kind != PlateKind::moving) continue;
        if (!plate.lower) continue;
        for (const StandingPlateHole& h : plate.holes) {
          if (h.kind == "receptacle" || h.kind == "plunger clearance") continue;
          const bool probe = plate.kind == PlateKind::probe;
          const double mine = probe ? c.receptacle_drill.v
                                    : std::max(c.tip_diameter.v, c.plunger_diameter.v) + w.style.plunger_clearance.v;
          if (!way.hole &&
              distance(p, inverse(plate.from_board)(h.plate)) <
                  (mine + h.diameter.v) / 2 + (probe ? std::min(w.style.web.v, w.rules.web.v) : w.style.web.v) - 0.0015)
            room = false;
        }
      }
      if (!room) continue;
      // What is free counts one hundredth.
      if (way.hole) way.price = stand.holes[way.hole].net == w.board.nets[need.net].name.text() ? 1L : 200L;
      ways.back().push_back(way);
    }
  }
  long best = LONG_MAX;
  std::vector<const Way*> taken;
  auto go = [&](auto&& self, std::size_t n, long sum) -> void {
    if (sum >= best) return;
    if (n == ways.size()) {
      best = sum;
      return;
    }
    for (const Way& way : ways[n]) {
      if (std::any_of(taken.begin(), taken.end(), [&](const Way* o) {
            return distance(o->at, way.at) < std::max(c.spacing.v, c.receptacle_drill.v + w.rules.web.v) - 0.0015;
          }))
        continue;
      taken.push_back(&way);
      self(self, n + 1, sum + way.price);
      taken.pop_back();
    }
    self(self, n + 1, sum + 10'000);
  };
  go(go, 0, 0);
  return best;
}
}  // namespace

TEST_CASE("of all plans onto a standing fixture the cheapest is found (brute force, seeds 1 to 150)") {
  int kept = 0, fresh = 0, unmet = 0, rewired = 0;
  for (unsigned seed = 1; seed <= 150; ++seed) {
    std::mt19937 dice(seed);
    auto roll = [&](int n) { return static_cast<int>(dice() % static_cast<unsigned>(n)); };
    std::vector<std::pair<int, Point>> pads;  // net, place
    const int nets = 4 + roll(3);
    for (int n = 0; n < nets; ++n)
      for (int k = 0; k <= roll(3); ++k) pads.emplace_back(n, Point{9 + 2.6 * roll(15), 8 + 2.6 * roll(10)});
    auto board = [&](bool second) {
      Workshop w;
      plain_prices(w);
      std::mt19937 again(seed + 1000);
      const double steps[] = {0, 0, 0, 0.04, 0.2, 0.9, 2.6};
      int last = -1;
      std::vector<Point> there;
      for (auto [n, at] : pads) {
        const double by = steps[again() % 7];
        const bool gone = again() % 8 == 0, swap = again() % 8 == 0;
        if (second && by > 0) at.x += by;
        // Pads of different nets do not touch.
        if (std::any_of(there.begin(), there.end(), [&](Point q) { return distance(q, at) < 2.5; }) || (second && gone))
          continue;
        there.push_back(at);
        if (n == last && !(second && swap))
          more(w, at);
        else {
          w.pad(at);
          last = n;
        }
      }
      return w;
    };
    Workshop first = board(false), second = board(true);
    if (first.needs.size() < 3 || second.needs.size() < 3) continue;
    const auto f = built(first);
    if (first.d.failed()) continue;
    onto(second, f);
    const OptionResult& r = chosen(second);
    REQUIRE(r.proven);
    INFO("seed " << seed);
    CHECK((r.total() - r.cost.beds).v == enumerate(second));
    for (const PlacedProbe& p : r.probes) {
      p.standing_hole ? ++kept : ++fresh;
      rewired += p.standing_hole && p.cost.hole > Cents{};
    }
    unmet += static_cast<int>(second.needs.size()) - nets_met(second.needs, r);
  }
  // The boards are no easy ones: all that can happen does.
  CHECK(kept > 200);
  CHECK(fresh > 50);
  CHECK(unmet > 10);
  CHECK(rewired > 5);
}

TEST_CASE("a pad that moved less than its land is touched off its middle, through the hole that stands (hand sum)") {
  Workshop first, second;
  first.pad({20, 20});
  first.pad({40, 20});
  second.pad({20.1, 20});
  second.pad({40, 20});
  first.job.fixture.board_lies = "bottom side down";
  const auto f = built(first);
  onto(second, f);
  REQUIRE(chosen(second).probes.size() == 2);
  const PlacedProbe& probe = chosen(second).probes.front();
  CHECK(probe.standing_hole == StandingHoleId{0});
  CHECK(probe.name == chosen(first).probes.front().name);
  const Spot& s = second.access.spots[probe.spot];
  CHECK(s.kind == AimKind::standing_hole);
  CHECK(s.diameter.v == Approx(2.0 - 2 * 0.1).margin(0.01));
  const auto fates =
      judge_fates(second.inputs(), f, built_board(second.board, second.job),
                  match_nets(f.revisions[0].board, built_board(second.board, second.job),
                             match_pads(f.revisions[0].board, built_board(second.board, second.job), {})));
  REQUIRE(fates.size() == 2);
  CHECK((fates[0].fate == Fate::kept || fates[0].fate == Fate::worse));
  CHECK(fates[0].why.find("0.1 mm off") != std::string::npos);
  CHECK(fates[1].fate == Fate::kept);
}

TEST_CASE("moved, lost, freed: each net's probe and what became of it; names are not given twice (counted by hand)") {
  Workshop first, second;
  for (const Point p : {Point{15, 12}, {25, 12}, {35, 12}, {45, 12}}) first.pad(p);
  first.job.fixture.board_lies = "bottom side down";
  const auto f = built(first);
  // The first stays, the second moves far, the third is under a part, the fourth is not wanted any more.
  second.pad({15, 12});
  second.pad({25, 22});
  second.pad({35, 12});
  second.pad({45, 12});
  add_body(second.board, "U1", {35, 12}, 4, 4, 3, Side::bottom);
  second.needs[NeedId{3}].wanted = 0;
  onto(second, f);
  const auto now = built_board(second.board, second.job);
  const auto nets = match_nets(f.revisions[0].board, now, match_pads(f.revisions[0].board, now, {}));
  const auto fates = judge_fates(second.inputs(), f, now, nets);
  REQUIRE(fates.size() == 4);
  CHECK(fates[0].fate == Fate::kept);
  CHECK(fates[1].fate == Fate::moved);
  CHECK(fates[1].by == "B005");  // after the four that there were
  CHECK(fates[2].fate == Fate::lost);
  CHECK(fates[2].why.find("U1") != std::string::npos);
  CHECK(fates[3].fate == Fate::freed);
  // What the shop does: three plugs, one hole a plate; the moving plate's idle guide holes may stay open.
  const auto plates = [&] {
    Diagnostics none;
    second.supports = supports_there(second.bed(), none);
    return make_plates(second.inputs(), second.d);
  }();
  const auto wires = make_wiring(second.inputs(), second.d);
  const auto proving = make_proving(second.inputs(), plates, wires);
  Respin r;
  r.fates = fates;
  plan_rework(second.inputs(), f, {plates, wires, proving, second.prices, {}}, r, second.d);
  CHECK_FALSE(second.d.failed());
  std::map<std::string, int> stages;
  for (const ReworkStep& s : r.steps) ++stages[s.stage];
  CHECK(stages["take out"] == 3);
  CHECK(stages["plug"] == 3);
  CHECK(stages["drill"] == 2);  // receptacle and guide hole
  CHECK(stages["take off wires"] == 3);
  CHECK(stages["wire"] == 1);
  int number = 0;
  for (const ReworkStep& s : r.steps) CHECK(s.number == ++number);
  // Plates as built keep the old holes: the next plan clears them.
  const StandingFixture after = as_built(second.inputs(), plates, wires, {}, "second");
  int plugged = 0;
  for (const StandingHole& h : after.holes) plugged += h.state == HoleState::plugged;
  CHECK(plugged == 3);
  CHECK(after.holes.size() == 5);
}

TEST_CASE(
    "a new hole keeps its web to a plugged one: the planner leaves such a place out, and the check of the "
    "rework finds it (hand sum)") {
  Workshop first, second;
  first.pad({20, 20});
  first.pad({40, 20});
  first.job.fixture.board_lies = "bottom side down";
  const auto f = built(first);
  // The first pad moves by more than its land and less than hole and web of the smallest class.
  const ProbeClass &c = first.catalogue.classes.front(), &small = first.catalogue.classes.back();
  const double far = 1.3;
  REQUIRE(far < (c.receptacle_drill.v + small.receptacle_drill.v) / 2 + first.rules.web_smallest_class.v);
  second.pad({20 + far, 20});
  second.pad({40, 20});
  onto(second, f);
  CHECK(chosen(second).probes.size() == 1);
  CHECK(second.coverage.rows.front().reason.find("the hole B001") != std::string::npos);
  // Planned as if nothing stood there, the check speaks: where the holes meet, and where too little plate is left
  // between them.
  for (const double by : {far, c.receptacle_drill.v + first.rules.web.v / 2}) {
    Workshop blind;
    blind.pad({20 + by, 20});
    blind.pad({40, 20});
    blind.job.fixture.board_lies = "bottom side down";
    const auto plates = blind.plates();
    REQUIRE(blind.planned.options[blind.planned.chosen].probes.size() == 2);
    blind.standing = second.standing;
    const auto wires = make_wiring(blind.inputs(), blind.d);
    const auto proving = make_proving(blind.inputs(), plates, wires);
    Respin r;
    plan_rework(blind.inputs(), f, {plates, wires, proving, {}}, r, blind.d);
    INFO(by);
    // In the plates of the receptacles, not only where the wider holes of plungers meet.
    const auto& all = blind.d.all();
    CHECK(std::any_of(all.begin(), all.end(), [](const Finding& x) {
      return x.code == "respin-web" && x.place.path.find("probe-plate") != std::string::npos;
    }));
  }
}

TEST_CASE("a job for another fixture is refused, key by key (constructed faults)") {
  Workshop first;
  first.pad({20, 20});
  first.job.fixture.board_lies = "bottom side down";
  const auto f = built(first);
  for (int k = 0; k < 5; ++k) {
    Job job = first.job;
    if (k == 0) job.fixture.kit = "clamshell";
    if (k == 1) job.fixture.style = "fixed-plate";
    if (k == 2) job.fixture.drill_face = "outer";
    if (k == 3) job.fixture.board_lies = "top side down";
    if (k == 4) job.fixture.sides = "top";
    Diagnostics d;
    stand_on(job, f, {{}, {}, f.revisions[0].board}, first.rules, first.style, d);
    CHECK(d.failed());
  }
}

TEST_CASE("plates of a shifted board stay where they are: holes in use fall on themselves (law: translation)") {
  Workshop first, second;
  const Point shift{12.7, -3.3};
  for (const Point p : {Point{15, 12}, {25, 22}, {45, 30}}) {
    first.pad(p);
    second.pad(p);
  }
  second.board = moved(second.board, {1, 0, 0, 1, shift.x, shift.y});
  first.job.fixture.board_lies = "bottom side down";
  const auto f = built(first);
  Laying l;
  l.map = {1, 0, 0, 1, -shift.x, -shift.y};
  onto(second, f, l);
  second.supports = supports_there(second.bed(), second.d);
  const auto plates = make_plates(second.inputs(), second.d);
  CHECK_FALSE(second.d.failed());
  int holes = 0;
  for (const Plate& p : plates) {
    const StandingPlate* s = f.fixture.plate(p.stem);
    REQUIRE(s);
    CHECK(p.outline == s->outline);
    for (const HolePair& pair : pair_holes(p, *s)) {
      CHECK((pair.planned >= 0 && pair.standing >= 0));
      ++holes;
    }
  }
  CHECK(holes > 20);
}
