// Planning onto a fixture that stands: against enumeration of every plan of small boards, and case by case.
#include <random>

#include "../fixture/workshop.h"
#include "teasel/respin.h"

using namespace teasel;
using namespace teasel::testing;

namespace {
/// Only what holes cost counts: the brute force below can do that sum by itself.
void plain_prices(Workshop& workshop) {
  auto& cost = workshop.rules.cost;
  cost.boards = 0;
  cost.shortfall = cost.wrong_landing = cost.false_reject = Money{};
  cost.test_pad = cost.lead = cost.via = cost.smd_pad = Money{};
  // One money unit a minute: a new hole one for its wire, twelve more in a fixture that stands; a wire off and on two.
  workshop.prices = {};
  workshop.prices.hour.shop = Money{60};
  workshop.prices.work.wire = Minutes{1};
  workshop.prices.work.rework = Minutes{12};
  cost.unmet = Money{100};
  for (auto& [surface, rule] : workshop.rules.surfaces) rule.price = Money{};
  workshop.catalogue.classes.resize(1);  // the widest
  workshop.job.fixture.board_lies = "bottom side down";
}
/// Another pad of the last net.
void more(Workshop& workshop, Point at) {
  const FeatureId pad =
      add_round(workshop.board, "Q" + std::to_string(workshop.board.features.size()), at, 2.0, Side::bottom);
  workshop.board.nets.rows().pop_back();
  workshop.board.features[pad].net = workshop.needs.back().net;
  workshop.board.nets[workshop.needs.back().net].features.push_back(pad);
}
formats::FixtureFile built(Workshop& workshop) {
  const auto plates = workshop.plates();
  const BuildInputs in = workshop.inputs();
  Mechanics m;
  m.supports = workshop.supports;
  const auto wires = make_wiring(in, workshop.diagnostics);
  return fixture_file(in, plates, wires, m, make_proving(in, plates, wires), {}, "first");
}
void onto(Workshop& workshop, const formats::FixtureFile& fixture_file, const Laying& laying = {}) {
  const auto now = built_board(workshop.board, workshop.job);
  const auto nets = match_nets(fixture_file.revisions.back().board, now,
                               match_pads(fixture_file.revisions.back().board, now, laying.map));
  workshop.job.fixture.style = fixture_file.style;
  workshop.job.fixture.catalogue = fixture_file.catalogue;
  workshop.standing =
      stand_on(workshop.job, fixture_file, {laying, nets, now}, workshop.rules, workshop.style, workshop.diagnostics);
  REQUIRE_FALSE(workshop.diagnostics.failed());
  workshop.plan();
  REQUIRE_FALSE(workshop.diagnostics.failed());
}
const OptionResult& chosen(const Workshop& workshop) {
  return workshop.planned.options[workshop.planned.chosen];
}

/// The least that any choice of at most one probe a net costs, beds left out; hundredths.
long enumerate(const Workshop& workshop) {
  struct Way {
    Point at;
    long price;
    StandingHoleId hole;
  };
  const ProbeClass& probe_class = workshop.catalogue.classes.front();
  const auto& stand = workshop.standing;
  std::vector<std::vector<Way>> ways;
  for (const Need& need : workshop.needs) {
    ways.emplace_back();
    for (const SpotId s : workshop.access.spots.ids()) {
      const Target& t = workshop.access.targets[workshop.access.spots[s].target];
      if (workshop.board.features[t.feature].net != need.net || t.side != Side::bottom ||
          !workshop.access.verdict(s, ClassId{0}, true).open)
        continue;
      const Point spot = workshop.access.spots[s].at;
      Way way{spot, std::lround(100 * (probe_class.price.v + 1 + 12)), {}};
      bool room = true;
      for (const StandingHoleId h : stand.holes.ids()) {
        const double d = distance(spot, stand.holes[h].at);
        if (d < 0.0015 && stand.holes[h].state == HoleState::in_use)
          way.hole = h;
        else if (d < probe_class.receptacle_drill.v + workshop.rules.web.v - 0.0015)
          room = false;
      }
      // Everything else that the probe plate has: pins, guide holes, screws.
      for (const StandingPlate& plate : stand.plates) {
        if (plate.kind != PlateKind::probe && plate.kind != PlateKind::moving) continue;
        if (!plate.lower) continue;
        for (const StandingPlateHole& hole : plate.holes) {
          if (hole.kind == "receptacle" || hole.kind == "plunger clearance") continue;
          const bool probe = plate.kind == PlateKind::probe;
          const double mine = probe ? probe_class.receptacle_drill.v
                                    : std::max(probe_class.tip_diameter.v, probe_class.plunger_diameter.v) +
                                          workshop.style.plunger_clearance.v;
          if (!way.hole &&
              distance(spot, inverse(plate.from_board)(hole.plate)) <
                  (mine + hole.diameter.v) / 2 +
                      (probe ? std::min(workshop.style.web.v, workshop.rules.web.v) : workshop.style.web.v) - 0.0015)
            room = false;
        }
      }
      if (!room) continue;
      // What is free counts one hundredth.
      if (way.hole) way.price = stand.holes[way.hole].net == workshop.board.nets[need.net].name.text() ? 1L : 200L;
      ways.back().push_back(way);
    }
  }
  long best = LONG_MAX;
  std::vector<const Way*> taken;
  auto go = [&](auto&& self, std::size_t need, long sum) -> void {
    if (sum >= best) return;
    if (need == ways.size()) {
      best = sum;
      return;
    }
    for (const Way& way : ways[need]) {
      if (std::any_of(taken.begin(), taken.end(), [&](const Way* o) {
            return distance(o->at, way.at) <
                   std::max(probe_class.spacing.v, probe_class.receptacle_drill.v + workshop.rules.web.v) - 0.0015;
          }))
        continue;
      taken.push_back(&way);
      self(self, need + 1, sum + way.price);
      taken.pop_back();
    }
    self(self, need + 1, sum + 10'000);
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
      Workshop workshop;
      plain_prices(workshop);
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
          more(workshop, at);
        else {
          workshop.pad(at);
          last = n;
        }
      }
      return workshop;
    };
    Workshop first = board(false), second = board(true);
    if (first.needs.size() < 3 || second.needs.size() < 3) continue;
    const auto f = built(first);
    if (first.diagnostics.failed()) continue;
    onto(second, f);
    const OptionResult& option = chosen(second);
    REQUIRE(option.proven);
    INFO("seed " << seed);
    CHECK((option.total() - option.cost.beds).v == enumerate(second));
    for (const PlacedProbe& p : option.probes) {
      p.standing_hole ? ++kept : ++fresh;
      rewired += p.standing_hole && p.cost.hole > Cents{};
    }
    unmet += static_cast<int>(second.needs.size()) - nets_met(second.needs, option);
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
  const auto fixture_file = built(first);
  onto(second, fixture_file);
  REQUIRE(chosen(second).probes.size() == 2);
  const PlacedProbe& probe = chosen(second).probes.front();
  CHECK(probe.standing_hole == StandingHoleId{0});
  CHECK(probe.name == chosen(first).probes.front().name);
  const Spot& s = second.access.spots[probe.spot];
  CHECK(s.kind == AimKind::standing_hole);
  CHECK(s.diameter.v == Approx(2.0 - 2 * 0.1).margin(0.01));
  const auto fates =
      judge_fates(second.inputs(), fixture_file, built_board(second.board, second.job),
                  match_nets(fixture_file.revisions[0].board, built_board(second.board, second.job),
                             match_pads(fixture_file.revisions[0].board, built_board(second.board, second.job), {})));
  REQUIRE(fates.size() == 2);
  CHECK((fates[0].fate == Fate::kept || fates[0].fate == Fate::worse));
  CHECK(fates[0].why.find("0.1 mm off") != std::string::npos);
  CHECK(fates[1].fate == Fate::kept);
}

TEST_CASE("moved, lost, freed: each net's probe and what became of it; names are not given twice (counted by hand)") {
  Workshop first, second;
  for (const Point p : {Point{15, 12}, {25, 12}, {35, 12}, {45, 12}}) first.pad(p);
  first.job.fixture.board_lies = "bottom side down";
  const auto fixture_file = built(first);
  // The first stays, the second moves far, the third is under a part, the fourth is not wanted any more.
  second.pad({15, 12});
  second.pad({25, 22});
  second.pad({35, 12});
  second.pad({45, 12});
  add_body(second.board, "U1", {35, 12}, 4, 4, 3, Side::bottom);
  second.needs[NeedId{3}].wanted = 0;
  onto(second, fixture_file);
  const auto now = built_board(second.board, second.job);
  const auto nets =
      match_nets(fixture_file.revisions[0].board, now, match_pads(fixture_file.revisions[0].board, now, {}));
  const auto fates = judge_fates(second.inputs(), fixture_file, now, nets);
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
    return make_plates(second.inputs(), second.diagnostics);
  }();
  const auto wires = make_wiring(second.inputs(), second.diagnostics);
  const auto proving = make_proving(second.inputs(), plates, wires);
  Respin respin;
  respin.fates = fates;
  plan_rework(second.inputs(), fixture_file, {plates, wires, proving, {}}, respin, second.diagnostics);
  CHECK_FALSE(second.diagnostics.failed());
  std::map<std::string, int> stages;
  for (const ReworkStep& s : respin.steps) ++stages[s.stage];
  CHECK(stages["take out"] == 3);
  CHECK(stages["plug"] == 3);
  CHECK(stages["drill"] == 2);  // receptacle and guide hole
  CHECK(stages["take off wires"] == 3);
  CHECK(stages["wire"] == 1);
  int number = 0;
  for (const ReworkStep& s : respin.steps) CHECK(s.number == ++number);
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
  const auto fixture_file = built(first);
  // The first pad moves by more than its land and less than hole and web of the smallest class.
  const ProbeClass &probe_class = first.catalogue.classes.front(), &small = first.catalogue.classes.back();
  const double far = 1.3;
  REQUIRE(far < (probe_class.receptacle_drill.v + small.receptacle_drill.v) / 2 + first.rules.web_smallest_class.v);
  second.pad({20 + far, 20});
  second.pad({40, 20});
  onto(second, fixture_file);
  CHECK(chosen(second).probes.size() == 1);
  CHECK(second.coverage.rows.front().reason.find("the hole B001") != std::string::npos);
  // Planned as if nothing stood there, the check speaks: where the holes meet, and where too little plate is left
  // between them.
  for (const double by : {far, probe_class.receptacle_drill.v + first.rules.web.v / 2}) {
    Workshop blind;
    blind.pad({20 + by, 20});
    blind.pad({40, 20});
    blind.job.fixture.board_lies = "bottom side down";
    const auto plates = blind.plates();
    REQUIRE(blind.planned.options[blind.planned.chosen].probes.size() == 2);
    blind.standing = second.standing;
    const auto wires = make_wiring(blind.inputs(), blind.diagnostics);
    const auto proving = make_proving(blind.inputs(), plates, wires);
    Respin r;
    plan_rework(blind.inputs(), fixture_file, {plates, wires, proving, {}}, r, blind.diagnostics);
    INFO(by);
    // In the plates of the receptacles, not only where the wider holes of plungers meet.
    const auto& all = blind.diagnostics.all();
    CHECK(std::any_of(all.begin(), all.end(), [](const Finding& x) {
      return x.code == "respin-web" && x.place.path.find("probe-plate") != std::string::npos;
    }));
  }
}

TEST_CASE("a job for another fixture is refused, key by key (constructed faults)") {
  Workshop first;
  first.pad({20, 20});
  first.job.fixture.board_lies = "bottom side down";
  const auto fixture_file = built(first);
  for (int k = 0; k < 5; ++k) {
    Job job = first.job;
    if (k == 0) job.fixture.kit = "clamshell";
    if (k == 1) job.fixture.style = "fixed-plate";
    if (k == 2) job.fixture.drill_face = "outer";
    if (k == 3) job.fixture.board_lies = "top side down";
    if (k == 4) job.fixture.sides = "top";
    Diagnostics diagnostics;
    stand_on(job, fixture_file, {{}, {}, fixture_file.revisions[0].board}, first.rules, first.style, diagnostics);
    CHECK(diagnostics.failed());
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
  const auto fixture_file = built(first);
  Laying l;
  l.map = {1, 0, 0, 1, -shift.x, -shift.y};
  onto(second, fixture_file, l);
  second.supports = supports_there(second.bed(), second.diagnostics);
  const auto plates = make_plates(second.inputs(), second.diagnostics);
  CHECK_FALSE(second.diagnostics.failed());
  int holes = 0;
  for (const Plate& p : plates) {
    const StandingPlate* s = fixture_file.fixture.plate(p.stem);
    REQUIRE(s);
    CHECK(p.outline == s->outline);
    for (const HolePair& pair : pair_holes(p, *s)) {
      CHECK((pair.planned >= 0 && pair.standing >= 0));
      ++holes;
    }
  }
  CHECK(holes > 20);
}
