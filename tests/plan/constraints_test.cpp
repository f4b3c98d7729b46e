// Each constraint and wish of the planner on boards small enough to see the answer (plane geometry and counting).
#include <catch2/catch.hpp>

#include "../access/small_board.h"
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
  Diagnostics d;

  explicit Bed(const std::string& letters, double pitch = 5) {
    board.nets.clear();
    std::map<char, NetId> net_of;
    for (std::size_t i = 0; i < letters.size(); ++i) {
      const FeatureId f =
          add_round(board, "P" + std::to_string(i + 1), {8 + pitch * static_cast<double>(i), 20}, 2.0, Side::bottom);
      board.nets.rows().pop_back();
      const auto [it, first] = net_of.emplace(letters[i], board.nets.next());
      if (first) {
        Net n;
        n.name = NetName(std::string(1, letters[i]));
        n.pins = 2;
        board.nets.push_back(n);
        Need need;
        need.net = it->second;
        need.role = Role::functional;
        need.wanted = 1;
        needs.push_back(need);
      }
      board.features[f].net = it->second;
      board.nets[it->second].features.push_back(f);
    }
    job.fixture.sides = "bottom";
  }
  PlanResult plan() {
    const Access a = judge(board, job, catalogue, rules);
    access = a;
    return teasel::plan(board, access, needs, job, catalogue, rules, {}, d);
  }
  const OptionResult& chosen(const PlanResult& r) { return r.options[r.chosen]; }
  std::string target(const PlacedProbe& p) { return board.features[access.targets[p.target].feature].name.text(); }
  Need& need(std::size_t row) { return needs[NeedId{row}]; }
  Point place(const PlacedProbe& p) const { return access.spots[p.spot].at; }
  Access access;
};
}  // namespace

TEST_CASE("without limits every net gets its probe, of the largest class, and the objective adds up (hand sum)") {
  Bed b("ABCDE");
  const PlanResult r = b.plan();
  const OptionResult& o = b.chosen(r);
  REQUIRE(o.probes.size() == 5);
  CHECK(o.proven);
  Cents sum = o.cost.beds;
  for (const PlacedProbe& p : o.probes) {
    CHECK(p.probe_class == ClassId{0});
    sum += p.cost.total();
  }
  CHECK(sum == o.total());
  CHECK(o.bound == o.total());
}

TEST_CASE("limits: probes of a class, channels, force in all, probes and force in an area (counted by hand)") {
  SECTION("class") {
    Bed b("ABCDE");
    b.job.fixture.most_of_class["100 mil"] = 2;
    const PlanResult r = b.plan();
    int large = 0;
    for (const PlacedProbe& p : b.chosen(r).probes) large += p.probe_class == ClassId{0};
    CHECK(large == 2);
    CHECK(b.chosen(r).probes.size() == 5);
    CHECK_FALSE(b.chosen(r).tight.empty());
  }
  SECTION("channels") {
    Bed b("ABCDE");
    b.job.fixture.channels = 3;
    CHECK(b.chosen(b.plan()).probes.size() == 3);
  }
  SECTION("force") {
    Bed b("ABCDE");
    b.job.fixture.largest_force = Newton{5};
    const PlanResult r = b.plan();
    CHECK(sum_of_forces(b.access, b.catalogue, b.rules, b.chosen(r)).v <= 5 + 1e-9);
    CHECK(b.chosen(r).probes.size() == 5);  // five of a smaller class, at 0.8 to 1.1 N each, fit in
  }
  SECTION("an area of 12 mm holds the pads at 8, 13 and 18 mm or fewer") {
    Bed b("ABCDE");
    b.rules.area_side = Mm{12};
    b.rules.area_probes = 1;
    const PlanResult r = b.plan();
    const auto& probes = b.chosen(r).probes;
    CHECK(probes.size() < 5);
    for (const ProbeId i : probes.ids())
      for (const ProbeId j : probes.ids()) {
        if (j >= i) continue;
        const Point p = b.place(probes[i]), q = b.place(probes[j]);
        CHECK(std::abs(p.x - q.x) > 6 - 1e-9);  // squares overlap by half: what is nearer than 6 mm shares one
      }
  }
}

TEST_CASE("several probes: least distance apart, current, importance, spread (counted by hand)") {
  SECTION("apart") {
    Bed b("AAAA");
    b.need(0).wanted = 2;
    b.need(0).apart = Mm{9};
    const PlanResult r = b.plan();
    REQUIRE(b.chosen(r).probes.size() == 2);
    const Point p = b.place(b.chosen(r).probes[ProbeId{0}]), q = b.place(b.chosen(r).probes[ProbeId{1}]);
    CHECK(distance(p, q) >= 9 - 0.002);
  }
  SECTION("amperes: one ampere a probe by the catalogue, so 2.5 A want three") {
    Bed b("AAAAA");
    b.need(0).wanted = 1;
    b.need(0).amperes = Amperes{2.5};
    b.need(0).importance = 20;
    CHECK(b.chosen(b.plan()).probes.size() == 3);
  }
  SECTION("importance decides who goes without") {
    Bed b("AB");
    b.job.fixture.channels = 1;
    b.need(1).importance = 2;
    const PlanResult r = b.plan();
    CHECK(b.chosen(r).got == Table<NeedId, int>{0, 1});
    b.need(0).importance = 3;
    CHECK(b.chosen(b.plan()).got == Table<NeedId, int>{1, 0});
  }
  SECTION("spread: three probes of six pads leave no third of the net out") {
    Bed b("AAAAAA");
    b.need(0).role = Role::ground;
    b.need(0).wanted = 3;
    const PlanResult r = b.plan();
    CHECK(b.chosen(r).probes.size() == 3);
    CHECK(b.chosen(r).cost.wishes == Cents{0});
  }
}

TEST_CASE("four wires want a probe on the part's own pads; a clock wants a ground near it (by hand)") {
  Bed b("AAAB");
  Component c;
  c.name = PartName("R1");
  c.side = Side::top;
  c.features = {FeatureId{1}};
  b.board.components.push_back(c);
  b.board.features[FeatureId{1}].component = ComponentId{0};
  b.need(0).kelvin = {"R1"};
  const PlanResult r = b.plan();
  bool there = false;
  for (const PlacedProbe& p : b.chosen(r).probes) there |= b.target(p) == "P2";
  CHECK(there);
  CHECK(b.chosen(r).cost.wishes == Cents{0});
  Bed k("GGGGC");
  k.need(0).role = Role::ground;
  k.need(1).role = Role::programming;
  k.need(1).ground_within = Mm{6};
  const PlanResult s = k.plan();
  bool near = false;
  for (const PlacedProbe& p : k.chosen(s).probes) near |= k.target(p) == "P4";
  CHECK(near);
  k.board.exposures.rows().erase(k.board.exposures.begin() + 3);  // the ground beside the clock is gone
  const PlanResult t = k.plan();
  REQUIRE(k.chosen(t).wishes.size() == 1);
  CHECK(k.chosen(t).wishes[0].kind == "ground near a clock");
}

TEST_CASE("holes of the fixture: an open one is used and costs nothing, a plugged one keeps its web (by hand)") {
  Bed b("AA");
  b.job.decisions.old_holes.push_back({{13, 20}, Side::bottom, "100 mil", "open", {}});
  const PlanResult r = b.plan();
  REQUIRE(b.chosen(r).probes.size() == 1);
  CHECK(b.target(b.chosen(r).probes[ProbeId{0}]) == "P2");
  CHECK(b.chosen(r).probes[ProbeId{0}].old_hole == OldHoleId{0});
  CHECK(b.chosen(r).cost.probes.hole == Cents{0});
  b.job.decisions.old_holes.front().state = "plugged";
  const PlanResult s = b.plan();
  CHECK(b.target(b.chosen(s).probes[ProbeId{0}]) == "P1");
  CHECK(b.chosen(s).left_out_by_holes > 0);
}

TEST_CASE("a mating connector serves its pins and keeps probes away (hand sum)") {
  Bed b("ABCD");
  Component c;
  c.name = PartName("J1");
  c.side = Side::bottom;
  c.features = {FeatureId{0}, FeatureId{1}};
  c.body = {{rectangle({10.5, 20}, 9, 4), {}}};
  c.height = Mm{3};
  b.board.components.push_back(c);
  b.board.features[FeatureId{0}].component = b.board.features[FeatureId{1}].component = ComponentId{0};
  b.job.decisions.mates.push_back({"J1", std::nullopt, Money{5}, Newton{10}, {}});
  const PlanResult r = b.plan();
  const OptionResult& o = b.chosen(r);
  REQUIRE(o.mates.size() == 1);
  CHECK(o.cost.mates == Cents{500});
  CHECK(o.got == Table<NeedId, int>{1, 1, 1, 1});
  for (const PlacedProbe& p : o.probes) CHECK(b.place(p).x > 15);
}

TEST_CASE(

    "a probe with a grounded ring serves its signal and the ground about it, if the own pad ends inside the "
    "ring (plane geometry)") {
  // A ring of 2.0 to 3.0 mm about a pad of 0.9 mm; ground metal from 2.0 to 3.4 mm (plane geometry).
  const Point at{30, 20};
  auto with_ring = [&](const Polygons& pad, double turned_away = 0) {
    Bed b("");
    const FeatureId s = add_land(b.board, "S", at, pad, Side::bottom);
    Polygon ground{circle({at.x + turned_away, at.y}, 1.7), {circle({at.x + turned_away, at.y}, 1.0)}};
    const FeatureId g = add_land(b.board, "G", {at.x + turned_away + 1.35, at.y}, {ground}, Side::bottom);
    Need signal, gnd;
    signal.net = b.board.features[s].net;
    signal.role = Role::functional;
    signal.wanted = 1;
    gnd.net = b.board.features[g].net;
    gnd.role = Role::ground;
    gnd.wanted = 1;
    b.needs = {signal, gnd};
    b.rules.other_conductor.least = Mm{0.05};
    ProbeClass ring = b.catalogue.classes[ClassId{2}];
    ring.name = "ring";
    ring.ring_inner = Mm{2.0};
    ring.ring_outer = Mm{3.0};
    ring.price = Money{0.1};
    ring.robust = 9;
    b.catalogue.classes.push_back(ring);
    return b;
  };
  auto ringed = [](Bed& b) {
    const PlanResult r = b.plan();
    int n = 0;
    for (const PlacedProbe& p : b.chosen(r).probes) n += p.ring_need == NeedId{1};
    if (n > 0) CHECK(b.chosen(r).got == Table<NeedId, int>{1, 1});
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
  Bed b("A");
  b.need(0).long_travel = true;
  CHECK(b.chosen(b.plan()).probes.empty());
  b.catalogue.classes[ClassId{1}].long_travel_price = Money{0.7};
  const PlanResult r = b.plan();
  REQUIRE(b.chosen(r).probes.size() == 1);
  CHECK(b.chosen(r).probes[ProbeId{0}].probe_class == ClassId{1});
  CHECK(b.chosen(r).probes[ProbeId{0}].cost.probe ==
        Cents{std::llround(100 * (b.catalogue.classes[ClassId{1}].price.v + 0.7))});
}

TEST_CASE("two tips in one hole serve a net that wants two probes (counted by hand)") {
  Bed b("A");
  b.need(0).wanted = 2;
  CHECK(b.chosen(b.plan()).got.front() == 1);
  b.catalogue.classes[ClassId{0}].contacts = 2;
  CHECK(b.chosen(b.plan()).got.front() == 2);
}

TEST_CASE("locks in conflict: the smallest set is named (by hand)") {
  Bed b("ABCD", 2.0);  // pads 2 mm apart: no two neighbours hold 100 mil probes (2.54 mm)
  auto add_lock = [&](const char* net, const char* target) {
    b.job.decisions.locks.push_back(lock(net, target, {}, "100 mil"));
  };
  add_lock("A", "P1");
  add_lock("D", "P4");
  b.plan();
  CHECK_FALSE(b.d.failed());
  add_lock("B", "P2");
  b.plan();
  REQUIRE(b.d.failed());
  const Finding& f = b.d.all().back();
  CHECK(f.found.find("A on P1") != std::string::npos);
  CHECK(f.found.find("B on P2") != std::string::npos);
  CHECK(f.found.find("D on P4") == std::string::npos);
}

TEST_CASE(
    "planning again after edits gives the plan that is made afresh, and says why not the cheaper target (law: "
    "the same problem)") {
  Bed b("ABCABCABC", 2.0);
  b.access = judge(b.board, b.job, b.catalogue, b.rules);
  Planner planner(b.board, b.access, b.needs, b.job, b.catalogue, b.rules);
  const PlanResult first = planner.plan({}, {}, b.d);
  for (const char* target : {"P1", "P4", "P5", "P9"}) {
    for (const bool banned : {true, false}) {
      PlanEdit e;
      if (banned)
        e.bans.push_back(ban("", target));
      else
        e.locks.push_back(lock(std::string(1, "ABC"[(target[1] - '1') % 3]), target));
      const PlanResult again = planner.plan(e, {}, b.d);
      Planner other(b.board, b.access, b.needs, b.job, b.catalogue, b.rules);
      const PlanResult fresh = other.plan(e, {}, b.d);
      REQUIRE(b.chosen(again).total() == b.chosen(fresh).total());
      CHECK(b.chosen(again).total() >= b.chosen(first).total());
      REQUIRE(b.chosen(again).probes.size() == b.chosen(fresh).probes.size());
      for (const ProbeId i : b.chosen(again).probes.ids())
        CHECK(b.chosen(again).probes[i].spot == b.chosen(fresh).probes[i].spot);
      bool there = false;
      for (const PlacedProbe& p : b.chosen(again).probes) there |= b.target(p) == target;
      CHECK(there != banned);
    }
  }
  for (const Rival& x : first.rivals) {
    CHECK(x.cheaper > Cents{0});
    CHECK_FALSE(x.why.empty());
  }
}
