// Coverage and advice on boards small enough to count by hand.
#include <catch2/catch.hpp>

#include "../access/small_board.h"
#include "teasel/coverage/advice.h"
#include "teasel/coverage/audit.h"

using namespace teasel;
using namespace teasel::testing;

namespace {
InterfaceTable shipped_interfaces() {
  Diagnostics diagnostics;
  return read_interfaces(*shipped("interfaces", "standard"), "interfaces", diagnostics);
}

/// Pads of two-pin parts on nets of their own; everything on the bottom.
struct Trial {
  Board board = empty_board();
  Job job;
  Rules rules = shipped_rules();
  Catalogue cat = shipped_catalogue();
  InterfaceTable table = shipped_interfaces();
  InterfaceSet set;
  BoundaryScan scan;
  Needs needs;
  Diagnostics diagnostics;
  Access access;
  PlanResult plan;
  Coverage coverage;
  Style style;
  Prices prices;
  StandingFixture standing;

  NetId net(const std::string& name) {
    for (const NetId id : board.nets.ids())
      if (board.nets[id].name == name) return id;
    Net fresh;
    fresh.name = NetName(name);
    return board.nets.add(std::move(fresh));
  }
  ComponentId component(const std::string& name) {
    for (const ComponentId id : board.components.ids())
      if (board.components[id].name == name) return id;
    Component fresh;
    fresh.name = PartName(name);
    fresh.side = Side::bottom;
    return board.components.add(std::move(fresh));
  }
  /// A pad of a part on a net; small ones cannot be probed.
  void pin(const std::string& part, const std::string& pin, const std::string& on, Point at, double size = 1.2) {
    const ComponentId owner = component(part);
    const FeatureId id = add_round(board, part + "-" + pin, at, size, Side::bottom, FeatureKind::smd_pad);
    board.nets.rows().pop_back();
    Feature& feature = board.features[id];
    feature.component = owner;
    feature.pin = pin;
    feature.net = net(on);
    feature.land[Side::bottom] = round_land(size);
    board.components[owner].features.push_back(id);
    board.nets[feature.net].features.push_back(id);
    ++board.nets[feature.net].pins;
  }
  static Land round_land(double size) {
    return {.present = true, .width = Mm{size}, .height = Mm{size}, .rotation = {}, .round = true};
  }
  void run() {
    job.fixture.sides = "bottom";
    set = recognise_interfaces(board, job, table, diagnostics);
    needs = needs_of(board, job, table, set, diagnostics);
    access = judge(board, job, cat, rules);
    plan = teasel::plan(inputs(), PlanLimits{}, diagnostics);
    coverage = coverage_of(planned());
    if (scan.nets.empty()) scan.nets.resize(board.nets.size());
  }
  PlanInputs inputs() const {
    return {.job = job,
            .board = board,
            .interface_table = table,
            .interfaces = set,
            .scan = scan,
            .needs = needs,
            .access = access,
            .catalogue = cat,
            .rules = rules,
            .style = style,
            .kit = nullptr,
            .prices = prices,
            .standing = standing};
  }
  Planned planned() const { return {inputs(), plan, plan.options[plan.chosen]}; }
  Audit reach() { return audit(planned(), coverage); }
  std::vector<Advice> advice() { return advise(planned(), coverage); }
  const ComponentReach& part(const Audit& a, const std::string& name) {
    for (const ComponentReach& x : a.parts)
      if (board.components[x.component].name == name) return x;
    throw std::runtime_error(name);
  }
};
}  // namespace

TEST_CASE("pins, components and guard points are those of a board of seven parts (counted by hand)") {
  Trial trial;
  // R1 A-B; R2 and R3 make a path from A to B over M; R4 A-C with C too small to probe; R5 beside R6 on D-E.
  trial.pin("R1", "1", "A", {10, 10});
  trial.pin("R1", "2", "B", {15, 10});
  trial.pin("R2", "1", "A", {10, 15});
  trial.pin("R2", "2", "M", {15, 15}, 0.3);
  trial.pin("R3", "1", "M", {20, 15}, 0.3);
  trial.pin("R3", "2", "B", {25, 15});
  trial.pin("R4", "1", "A", {10, 20});
  trial.pin("R4", "2", "C", {15, 20}, 0.3);
  trial.pin("U1", "1", "C", {20, 20}, 0.3);
  trial.pin("R5", "1", "D", {30, 10});
  trial.pin("R5", "2", "E", {35, 10});
  trial.pin("R6", "1", "D", {30, 15});
  trial.pin("R6", "2", "E", {35, 15});
  trial.pin("U1", "2", "E", {40, 20});
  trial.pin("U1", "3", "A", {45, 20});
  trial.run();
  const Audit reached = trial.reach();
  CHECK((reached.pins.all == 15 && reached.pins.reached == 11));            // R2-2, R3-1, R4-2 and U1-1 lie on M and C
  CHECK((reached.components.all == 7 && reached.components.reached == 3));  // R1, R5, R6
  CHECK((reached.two_poles.all == 6 && reached.two_poles.reached == 3));
  CHECK(trial.part(reached, "R1").measurable);
  CHECK_FALSE(trial.part(reached, "R1").guarded);  // R2 and R3 in parallel, and M has no probe
  CHECK(trial.part(reached, "R1").parallel.find("M, which has no probe") != std::string::npos);
  CHECK_FALSE(trial.part(reached, "R4").measurable);
  CHECK(trial.part(reached, "R5").measurable);
  CHECK_FALSE(trial.part(reached, "R5").guarded);
  CHECK(trial.part(reached, "R5").parallel.find("R6 lies in parallel") != std::string::npos);
  CHECK((reached.nets.all == 6 && reached.nets.reached == 4));
  // Functional nets weigh alike: four of six.
  CHECK(reached.score == Approx(100.0 * 4 / 6));
}

TEST_CASE("the score weighs by role and by what is mandatory, and counts parts of a need (hand sum)") {
  Trial trial;
  trial.pin("U1", "1", "TCK", {10, 10}, 0.3);
  trial.pin("J1", "1", "TCK", {15, 10}, 0.3);
  trial.pin("U1", "2", "N1", {20, 10});
  trial.pin("J1", "2", "N1", {25, 10});
  trial.pin("U1", "3", "3V3", {30, 10});
  trial.pin("C1", "1", "3V3", {35, 10}, 0.3);
  trial.pin("U3", "1", "3V3", {40, 10}, 0.3);
  trial.run();
  const Audit a = trial.reach();
  // TCK: programming 10, none of 1. N1: functional 1, all. 3V3: power 5, one of two.
  CHECK(a.score == Approx(100 * (0 * 10 + 1 * 1 + 0.5 * 5) / (10 + 1 + 5.0)));
  NeedRule r;
  r.nets = "TCK";
  r.mandatory = true;
  trial.job.wants.needs = {r};
  trial.run();
  CHECK(trial.reach().score == Approx(100 * (1 + 2.5) / (20 + 1 + 5.0)));
}

TEST_CASE(
    "an interface is usable where all its lines, ground, supply and reset have probes, else it names what "
    "lacks (by hand)") {
  Trial trial;
  double x = 8;
  for (const char* n : {"SWCLK", "SWDIO", "NRST", "GND", "3V3"}) {
    trial.pin("U1", n, n, {x, 10});
    trial.pin("J1", n, n, {x, 20});
    x += 8;
  }
  trial.run();
  Audit reached = trial.reach();
  const auto of = [&](const Audit& q, const std::string& kind) -> const InterfaceReach& {
    for (const InterfaceReach& i : q.interfaces)
      if (trial.table.kinds[trial.set.found[i.found].kind].name == kind) return i;
    throw std::runtime_error(kind);
  };
  CHECK(of(reached, "two-wire debug").usable);
  CHECK(of(reached, "two-wire debug").lines.all == 2);
  Trial other_trial;
  x = 8;
  for (const char* n : {"SWCLK", "SWDIO", "NRST", "GND", "3V3"}) {
    const double size = std::string(n) == "SWDIO" || std::string(n) == "NRST" ? 0.3 : 1.2;
    other_trial.pin("U1", n, n, {x, 10}, size);
    other_trial.pin("J1", n, n, {x, 20}, size);
    x += 8;
  }
  other_trial.job.wants.gate.used = true;
  other_trial.job.wants.gate.interfaces = {"two-wire*", "USB"};
  other_trial.run();
  trial.set = other_trial.set;
  reached = other_trial.reach();
  CHECK_FALSE(of(reached, "two-wire debug").usable);
  CHECK(of(reached, "two-wire debug").lacking == std::vector<std::string>{"DATA (SWDIO): no probe", "reset: no probe"});
  REQUIRE(reached.gate_failures.size() == 2);
  CHECK(reached.gate_failures[0].find("DATA (SWDIO)") != std::string::npos);
  CHECK(reached.gate_failures[1].find("no such interface was found") != std::string::npos);
}

TEST_CASE(
    "amperes through the probes of a supply against what the job states; the nearest ground to a clock (hand "
    "sum)") {
  Trial trial;
  double x = 6;
  for (int i = 0; i < 3; ++i) {
    trial.pin("U" + std::to_string(i), "1", "3V3", {x, 10});
    x += 5;
  }
  trial.pin("C1", "1", "3V3", {x, 10});
  trial.pin("C1", "2", "GND", {20, 30});
  trial.pin("U1", "2", "GND", {50, 30}, 0.3);
  trial.pin("U1", "3", "MCLK", {40, 30});
  trial.pin("U2", "3", "MCLK", {45, 35}, 0.3);
  NeedRule r;
  r.nets = "3V3";
  r.amperes = Amperes{2.5};
  trial.job.wants.needs = {r};
  trial.job.wants.gate.used = trial.job.wants.gate.supplies = true;
  trial.run();
  Audit reached = trial.reach();
  REQUIRE(reached.supplies.size() == 1);
  CHECK(reached.supplies[0].probes == 3);
  CHECK(reached.supplies[0].amperes.v == Approx(3));  // one ampere each, by the catalogue
  CHECK(reached.supplies[0].enough());
  CHECK(reached.gate_failures.empty());
  REQUIRE(reached.clocks.size() == 1);
  CHECK(reached.clocks[0].distance.v == Approx(20).margin(1e-6));        // (40, 30) to (20, 30)
  trial.needs[NeedId{trial.net("3V3").index()}].amperes = Amperes{3.5};  // one need a net, in their order
  reached = trial.reach();
  CHECK_FALSE(reached.supplies[0].enough());
  CHECK(reached.gate_failures.size() == 1);
}

TEST_CASE("a low resistance wants two targets at either end (four-wire measurement, common practice)") {
  Trial trial;
  trial.pin("R1", "1", "A", {10, 10});
  trial.pin("R1", "2", "B", {15, 10});
  trial.pin("J1", "1", "A", {10, 20});
  trial.pin("J1", "2", "B", {15, 20});
  trial.pin("R2", "1", "C", {30, 10});
  trial.pin("R2", "2", "D", {35, 10});
  trial.pin("J2", "1", "C", {30, 20});
  trial.pin("J2", "2", "D", {35, 20}, 0.3);
  trial.board.components[trial.component("R1")].value = "0R05";
  trial.board.components[trial.component("R2")].value = "10m";
  trial.job.wants.kelvin = {"R2"};
  trial.run();
  const Audit a = trial.reach();
  CHECK(trial.part(a, "R1").kelvin_possible);
  CHECK(trial.part(a, "R2").kelvin_wanted);
  CHECK_FALSE(trial.part(a, "R2").kelvin_possible);
}

TEST_CASE("boundary scan counts for its nets and pins, not for probes (counted by hand)") {
  Trial trial;
  trial.pin("U1", "1", "D0", {10, 10}, 0.3);
  trial.pin("U2", "1", "D0", {20, 10}, 0.3);
  trial.pin("U1", "2", "D1", {10, 20});
  trial.pin("U2", "2", "D1", {20, 20});
  trial.run();
  trial.scan.devices.emplace_back();
  trial.scan.nets.assign(trial.board.nets.size(), {});
  trial.scan.nets[trial.net("D0")].cover = ScanCover::full;
  const Audit a = trial.reach();
  CHECK((a.nets.reached == 1 && a.nets.all == 2));
  CHECK((a.nets_with_scan.reached == 2 && a.nets_with_scan.all == 2));
  CHECK((a.pins.reached == 2 && a.pins_with_scan.reached == 4));
  CHECK(a.score == Approx(100));
}

TEST_CASE("build variants count what they fit (counted by hand)") {
  Trial trial;
  trial.pin("R1", "1", "A", {10, 10});
  trial.pin("R1", "2", "B", {15, 10});
  trial.pin("R2", "1", "A", {10, 20});
  trial.pin("R2", "2", "C", {15, 20}, 0.3);
  trial.pin("U1", "1", "B", {30, 20});
  trial.pin("U1", "2", "C", {35, 20}, 0.3);
  trial.pin("U1", "3", "A", {40, 20});
  for (const char* name : {"full", "lean"}) trial.job.parts.variants.emplace_back().name = name;
  for (Component& c : trial.board.components) c.fitted_in = {1, c.name != "R2"};
  trial.run();
  const Audit reached = trial.reach();
  REQUIRE(reached.variants.size() == 2);
  CHECK((reached.variants[0].components.all == 3 && reached.variants[0].components.reached == 1));
  CHECK((reached.variants[1].components.all == 2 && reached.variants[1].components.reached == 1));
  CHECK((reached.variants[0].pins.all == 7 && reached.variants[0].pins.reached == 5));
  CHECK((reached.variants[1].pins.all == 5 && reached.variants[1].pins.reached == 4));
}

TEST_CASE(
    "advice for a covered via, a body in the way, a land too small and a net without any land comes cheapest "
    "first (prices of the rule file, by hand)") {
  Trial trial;
  trial.rules.pad_diameter_main.least = Mm{0.65};
  // VIA: under the mask, land 1.2 mm. BODY: a land 0.3 mm from a drawn body. SMALL: 0.6 mm lands, 0.65 asked.
  Feature via;
  via.name = PadName("via@10/30");
  via.kind = FeatureKind::via;
  via.net = trial.net("VIA");
  via.at = {10, 30};
  via.hole = Mm{0.3};
  via.land[Side::bottom] = Trial::round_land(1.2);
  const FeatureId id = trial.board.features.add(via);
  trial.board.nets[via.net].features = {id};
  trial.board.nets[via.net].pins = 2;
  trial.board.covered.push_back({id, Side::bottom, true});
  trial.pin("J1", "1", "BODY", {30, 20}, 0.7);
  trial.board.nets[trial.net("BODY")].pins = 2;
  add_body(trial.board, "CAN", {32.45, 20}, 4.0, 6.0, 9.0, Side::bottom);
  trial.pin("J2", "1", "SMALL", {45, 10}, 0.6);
  trial.board.nets[trial.net("SMALL")].pins = 2;
  trial.run();
  const std::vector<Advice> list = trial.advice();
  std::map<std::string, std::vector<AdviceKind>> kinds;
  for (const Advice& a : list) {
    kinds[trial.board.nets[trial.needs[a.need].net].name].push_back(a.kind);
    CHECK(a.gain.v == Approx(120));  // a net without any probe, by the rule file
    CHECK(a.probe_class);
  }
  REQUIRE(kinds["VIA"].size() >= 2);
  CHECK(kinds["VIA"][0] == AdviceKind::open_mask);
  CHECK(kinds["VIA"].back() == AdviceKind::add_pad);
  REQUIRE(kinds["BODY"].size() >= 2);
  CHECK(kinds["BODY"][0] == AdviceKind::relax_rule);
  CHECK(std::count(kinds["BODY"].begin(), kinds["BODY"].end(), AdviceKind::move_part) == 1);
  CHECK(kinds["SMALL"][0] == AdviceKind::relax_rule);
  for (const Advice& a : list)
    if (a.kind == AdviceKind::move_part) CHECK(a.action.find("move CAN") != std::string::npos);
}

TEST_CASE("what advice says opens the net: the pad added, the part moved (round trip: judged and planned again)") {
  Trial trial;
  trial.pin("J1", "1", "BODY", {30, 20}, 0.7);
  trial.board.nets[trial.net("BODY")].pins = 2;
  const ComponentId can = add_body(trial.board, "CAN", {32.45, 20}, 4.0, 6.0, 9.0, Side::bottom);
  trial.pin("J2", "1", "TINY", {45, 10}, 0.25);
  trial.board.nets[trial.net("TINY")].pins = 2;
  trial.run();
  const NetId body = trial.net("BODY"), tiny = trial.net("TINY");
  CHECK(trial.plan.options[trial.plan.chosen].got[NeedId{body.index()}] == 0);
  for (const Advice& advice : trial.advice()) {
    Trial after = trial;
    const NetId net = trial.needs[advice.need].net;
    if (advice.kind == AdviceKind::add_pad) {
      const FeatureId pad = add_round(after.board, "TP", advice.at, 1.0, advice.side);
      after.board.nets.rows().pop_back();
      after.board.features[pad].net = net;
    } else if (advice.kind == AdviceKind::move_part) {
      double dx = 0, dy = 0;
      REQUIRE(std::sscanf(advice.action.c_str() + advice.action.find('('), "(%lf, %lf)", &dx, &dy) == 2);
      Component& c = after.board.components[can];
      c.body = transformed(c.body, {1, 0, 0, 1, dx, dy});
    } else {
      continue;
    }
    after.run();
    INFO(advice.action);
    CHECK(after.plan.options[after.plan.chosen].got[NeedId{net.index()}] == 1);
  }
  CHECK(tiny != body);
}
