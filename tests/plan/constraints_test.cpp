// Each constraint and wish of the planner on boards small enough to see the answer (plane geometry and counting).
#include <catch2/catch.hpp>

#include "../access/small_board.h"
#include "plan_inputs.h"
#include "teasel/plan.h"

using namespace teasel;
using namespace teasel::testing;

namespace {
/// Round pads of 2 mm on the bottom, 5 mm apart along a line; nets as asked: pads with one letter are one net.
struct Bed {
  Board board = empty_board();
  Job job;
  Rules rules = shipped_rules();
  Catalogue catalogue = shipped_catalogue();
  Needs needs;
  Diagnostics diagnostics;

  explicit Bed(const std::string& letters, double pitch = 5) {
    board.nets.clear();
    std::map<char, NetId> net_of;
    for (std::size_t i = 0; i < letters.size(); ++i) {
      const FeatureId pad =
          add_round(board, "P" + std::to_string(i + 1), {8 + pitch * static_cast<double>(i), 20}, 2.0, Side::bottom);
      board.nets.rows().pop_back();
      const auto [it, first] = net_of.emplace(letters[i], board.nets.next());
      if (first) {
        Net net;
        net.name = NetName(std::string(1, letters[i]));
        net.pins = 2;
        board.nets.push_back(net);
        Need need;
        need.net = it->second;
        need.role = Role::functional;
        need.wanted = 1;
        needs.push_back(need);
      }
      board.features[pad].net = it->second;
      board.nets[it->second].features.push_back(pad);
    }
    job.fixture.sides = "bottom";
  }
  PlanResult plan() {
    access = judge(board, job, catalogue, rules);
    return teasel::plan(plan_inputs(board, access, needs, job, catalogue, rules), {}, diagnostics);
  }
  const OptionResult& chosen(const PlanResult& result) { return result.options[result.chosen]; }
  std::string target(const PlacedProbe& probe) {
    return board.features[access.targets[probe.target].feature].name.text();
  }
  Need& need(std::size_t row) { return needs[NeedId{row}]; }
  Point place(const PlacedProbe& probe) const { return access.spots[probe.spot].at; }
  Access access;
};
}  // namespace

TEST_CASE("without limits every net gets its probe, of the largest class, and the objective adds up (hand sum)") {
  Bed bed("ABCDE");
  const PlanResult result = bed.plan();
  const OptionResult& option = bed.chosen(result);
  REQUIRE(option.probes.size() == 5);
  CHECK(option.proven);
  Cents sum = option.cost.beds;
  for (const PlacedProbe& probe : option.probes) {
    CHECK(probe.probe_class == ClassId{0});
    sum += probe.cost.total();
  }
  CHECK(sum == option.total());
  CHECK(option.bound == option.total());
}

TEST_CASE("limits: probes of a class, channels, force in all, probes and force in an area (counted by hand)") {
  SECTION("class") {
    Bed bed("ABCDE");
    bed.job.fixture.most_of_class["100 mil"] = 2;
    const PlanResult result = bed.plan();
    int large = 0;
    for (const PlacedProbe& probe : bed.chosen(result).probes) large += probe.probe_class == ClassId{0};
    CHECK(large == 2);
    CHECK(bed.chosen(result).probes.size() == 5);
    CHECK_FALSE(bed.chosen(result).tight.empty());
  }
  SECTION("channels") {
    Bed bed("ABCDE");
    bed.job.fixture.channels = 3;
    CHECK(bed.chosen(bed.plan()).probes.size() == 3);
  }
  SECTION("force") {
    Bed bed("ABCDE");
    bed.job.fixture.largest_force = Newton{5};
    const PlanResult result = bed.plan();
    CHECK(sum_of_forces(bed.access, bed.catalogue, bed.rules, bed.chosen(result)).v <= 5 + 1e-9);
    CHECK(bed.chosen(result).probes.size() == 5);  // five of a smaller class, at 0.8 to 1.1 N each, fit in
  }
  SECTION("an area of 12 mm holds the pads at 8, 13 and 18 mm or fewer") {
    Bed bed("ABCDE");
    bed.rules.area_side = Mm{12};
    bed.rules.area_probes = 1;
    const PlanResult result = bed.plan();
    const auto& probes = bed.chosen(result).probes;
    CHECK(probes.size() < 5);
    for (const ProbeId i : probes.ids())
      for (const ProbeId j : probes.ids()) {
        if (j >= i) continue;
        const Point probe = bed.place(probes[i]), q = bed.place(probes[j]);
        CHECK(std::abs(probe.x - q.x) > 6 - 1e-9);  // squares overlap by half: what is nearer than 6 mm shares one
      }
  }
}

TEST_CASE("several probes: least distance apart, current, importance, spread (counted by hand)") {
  SECTION("apart") {
    Bed bed("AAAA");
    bed.need(0).wanted = 2;
    bed.need(0).apart = Mm{9};
    const PlanResult result = bed.plan();
    REQUIRE(bed.chosen(result).probes.size() == 2);
    const Point p = bed.place(bed.chosen(result).probes[ProbeId{0}]),
                q = bed.place(bed.chosen(result).probes[ProbeId{1}]);
    CHECK(distance(p, q) >= 9 - 0.002);
  }
  SECTION("amperes: one ampere a probe by the catalogue, so 2.5 A want three") {
    Bed bed("AAAAA");
    bed.need(0).wanted = 1;
    bed.need(0).amperes = Amperes{2.5};
    bed.need(0).importance = 20;
    CHECK(bed.chosen(bed.plan()).probes.size() == 3);
  }
  SECTION("importance decides who goes without") {
    Bed bed("AB");
    bed.job.fixture.channels = 1;
    bed.need(1).importance = 2;
    const PlanResult result = bed.plan();
    CHECK(bed.chosen(result).got == Table<NeedId, int>{0, 1});
    bed.need(0).importance = 3;
    CHECK(bed.chosen(bed.plan()).got == Table<NeedId, int>{1, 0});
  }
  SECTION("spread: three probes of six pads leave no third of the net out") {
    Bed bed("AAAAAA");
    bed.need(0).role = Role::ground;
    bed.need(0).wanted = 3;
    const PlanResult result = bed.plan();
    CHECK(bed.chosen(result).probes.size() == 3);
    CHECK(bed.chosen(result).cost.wishes == Cents{0});
  }
}

TEST_CASE("four wires want a probe on the part's own pads; a clock wants a ground near it (by hand)") {
  Bed bed("AAAB");
  Component component;
  component.name = PartName("R1");
  component.side = Side::top;
  component.features = {FeatureId{1}};
  bed.board.components.push_back(component);
  bed.board.features[FeatureId{1}].component = ComponentId{0};
  bed.need(0).kelvin = {"R1"};
  const PlanResult result = bed.plan();
  bool there = false;
  for (const PlacedProbe& probe : bed.chosen(result).probes) there |= bed.target(probe) == "P2";
  CHECK(there);
  CHECK(bed.chosen(result).cost.wishes == Cents{0});
  Bed clocked("GGGGC");
  clocked.need(0).role = Role::ground;
  clocked.need(1).role = Role::programming;
  clocked.need(1).ground_within = Mm{6};
  const PlanResult next_result = clocked.plan();
  bool near = false;
  for (const PlacedProbe& probe : clocked.chosen(next_result).probes) near |= clocked.target(probe) == "P4";
  CHECK(near);
  clocked.board.exposures.rows().erase(clocked.board.exposures.begin() + 3);  // the ground beside the clock is gone
  const PlanResult last_result = clocked.plan();
  REQUIRE(clocked.chosen(last_result).wishes.size() == 1);
  CHECK(clocked.chosen(last_result).wishes[0].kind == "ground near a clock");
}

TEST_CASE("holes of the fixture: an open one is used and costs nothing, a plugged one keeps its web (by hand)") {
  Bed bed("AA");
  bed.job.decisions.old_holes.push_back({{13, 20}, Side::bottom, "100 mil", "open", {}});
  const PlanResult result = bed.plan();
  REQUIRE(bed.chosen(result).probes.size() == 1);
  CHECK(bed.target(bed.chosen(result).probes[ProbeId{0}]) == "P2");
  CHECK(bed.chosen(result).probes[ProbeId{0}].old_hole == OldHoleId{0});
  CHECK(bed.chosen(result).cost.probes.hole == Cents{0});
  bed.job.decisions.old_holes.front().state = "plugged";
  const PlanResult next_result = bed.plan();
  CHECK(bed.target(bed.chosen(next_result).probes[ProbeId{0}]) == "P1");
  CHECK(bed.chosen(next_result).left_out_by_holes > 0);
}

TEST_CASE("a mating connector serves its pins and keeps probes away (hand sum)") {
  Bed bed("ABCD");
  Component component;
  component.name = PartName("J1");
  component.side = Side::bottom;
  component.features = {FeatureId{0}, FeatureId{1}};
  component.body = {{rectangle({10.5, 20}, 9, 4), {}}};
  component.height = Mm{3};
  bed.board.components.push_back(component);
  bed.board.features[FeatureId{0}].component = bed.board.features[FeatureId{1}].component = ComponentId{0};
  bed.job.decisions.mates.push_back({"J1", std::nullopt, Money{5}, Newton{10}, {}});
  const PlanResult result = bed.plan();
  const OptionResult& option = bed.chosen(result);
  REQUIRE(option.mates.size() == 1);
  CHECK(option.cost.mates == Cents{500});
  CHECK(option.got == Table<NeedId, int>{1, 1, 1, 1});
  for (const PlacedProbe& probe : option.probes) CHECK(bed.place(probe).x > 15);
}

TEST_CASE(

    "a probe with a grounded ring serves its signal and the ground about it, if the own pad ends inside the "
    "ring (plane geometry)") {
  // A ring of 2.0 to 3.0 mm about a pad of 0.9 mm; ground metal from 2.0 to 3.4 mm (plane geometry).
  const Point at{30, 20};
  auto with_ring = [&](const Polygons& pad, double turned_away = 0) {
    Bed bed("");
    const FeatureId signal_pad = add_land(bed.board, "S", at, pad, Side::bottom);
    Polygon ground{circle({at.x + turned_away, at.y}, 1.7), {circle({at.x + turned_away, at.y}, 1.0)}};
    const FeatureId ground_pad = add_land(bed.board, "G", {at.x + turned_away + 1.35, at.y}, {ground}, Side::bottom);
    Need signal, gnd;
    signal.net = bed.board.features[signal_pad].net;
    signal.role = Role::functional;
    signal.wanted = 1;
    gnd.net = bed.board.features[ground_pad].net;
    gnd.role = Role::ground;
    gnd.wanted = 1;
    bed.needs = {signal, gnd};
    bed.rules.other_conductor.least = Mm{0.05};
    ProbeClass ring = bed.catalogue.classes[ClassId{2}];
    ring.name = "ring";
    ring.ring_inner = Mm{2.0};
    ring.ring_outer = Mm{3.0};
    ring.price = Money{0.1};
    ring.robust = 9;
    bed.catalogue.classes.push_back(ring);
    return bed;
  };
  auto ringed = [](Bed& bed) {
    const PlanResult result = bed.plan();
    int n = 0;
    for (const PlacedProbe& probe : bed.chosen(result).probes) n += probe.ring_need == NeedId{1};
    if (n > 0) CHECK(bed.chosen(result).got == Table<NeedId, int>{1, 1});
    return n;
  };
  Bed fits = with_ring({{circle(at, 0.45), {}}});
  CHECK(ringed(fits) == 1);
  CHECK(fits.chosen(fits.plan()).probes.size() == 1);  // one probe serves both
  Bed crosses = with_ring({{rectangle(at, 8.0, 0.9), {}}});
  CHECK(ringed(crosses) == 0);  // no corner of this pad lies under the ring, but its metal does
  Bed elsewhere = with_ring({{circle(at, 0.45), {}}}, 6);
  CHECK(ringed(elsewhere) == 0);
  Bed beside = with_ring({{circle(at, 0.45), {}}});
  add_round(beside.board, "X", {at.x, at.y + 1.25}, 0.4, Side::bottom);  // a third net under the ring
  CHECK(ringed(beside) == 0);
}

TEST_CASE("long travel: only classes that have such a version serve it, at its price (hand sum)") {
  Bed bed("A");
  bed.need(0).long_travel = true;
  CHECK(bed.chosen(bed.plan()).probes.empty());
  bed.catalogue.classes[ClassId{1}].long_travel_price = Money{0.7};
  const PlanResult result = bed.plan();
  REQUIRE(bed.chosen(result).probes.size() == 1);
  CHECK(bed.chosen(result).probes[ProbeId{0}].probe_class == ClassId{1});
  CHECK(bed.chosen(result).probes[ProbeId{0}].cost.probe ==
        Cents{std::llround(100 * (bed.catalogue.classes[ClassId{1}].price.v + 0.7))});
}

TEST_CASE("two tips in one hole serve a net that wants two probes (counted by hand)") {
  Bed bed("A");
  bed.need(0).wanted = 2;
  CHECK(bed.chosen(bed.plan()).got.front() == 1);
  bed.catalogue.classes[ClassId{0}].contacts = 2;
  CHECK(bed.chosen(bed.plan()).got.front() == 2);
}

TEST_CASE("locks in conflict: the smallest set is named (by hand)") {
  Bed bed("ABCD", 2.0);  // pads 2 mm apart: no two neighbours hold 100 mil probes (2.54 mm)
  auto add_lock = [&](const char* net, const char* target) {
    bed.job.decisions.locks.push_back(lock(net, target, {}, "100 mil"));
  };
  add_lock("A", "P1");
  add_lock("D", "P4");
  bed.plan();
  CHECK_FALSE(bed.diagnostics.failed());
  add_lock("B", "P2");
  bed.plan();
  REQUIRE(bed.diagnostics.failed());
  const Finding& finding = bed.diagnostics.all().back();
  CHECK(finding.found.find("A on P1") != std::string::npos);
  CHECK(finding.found.find("B on P2") != std::string::npos);
  CHECK(finding.found.find("D on P4") == std::string::npos);
}

TEST_CASE(
    "planning again after edits gives the plan that is made afresh, and says why not the cheaper target (law: "
    "the same problem)") {
  Bed bed("ABCABCABC", 2.0);
  bed.access = judge(bed.board, bed.job, bed.catalogue, bed.rules);
  Planner planner(plan_inputs(bed.board, bed.access, bed.needs, bed.job, bed.catalogue, bed.rules));
  const PlanResult first = planner.plan({}, {}, bed.diagnostics);
  for (const char* target : {"P1", "P4", "P5", "P9"}) {
    for (const bool banned : {true, false}) {
      PlanEdit edit;
      if (banned)
        edit.bans.push_back(ban("", target));
      else
        edit.locks.push_back(lock(std::string(1, "ABC"[(target[1] - '1') % 3]), target));
      const PlanResult again = planner.plan(edit, {}, bed.diagnostics);
      Planner other(plan_inputs(bed.board, bed.access, bed.needs, bed.job, bed.catalogue, bed.rules));
      const PlanResult fresh = other.plan(edit, {}, bed.diagnostics);
      REQUIRE(bed.chosen(again).total() == bed.chosen(fresh).total());
      CHECK(bed.chosen(again).total() >= bed.chosen(first).total());
      REQUIRE(bed.chosen(again).probes.size() == bed.chosen(fresh).probes.size());
      for (const ProbeId i : bed.chosen(again).probes.ids())
        CHECK(bed.chosen(again).probes[i].spot == bed.chosen(fresh).probes[i].spot);
      bool there = false;
      for (const PlacedProbe& probe : bed.chosen(again).probes) there |= bed.target(probe) == target;
      CHECK(there != banned);
    }
  }
  for (const Rival& rival : first.rivals) {
    CHECK(rival.cheaper > Cents{0});
    CHECK_FALSE(rival.why.empty());
  }
}
