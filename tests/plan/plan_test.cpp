// Least distances between probes, and which way up the board lies.
#include <catch2/catch.hpp>

#include "../access/small_board.h"
#include "plan_inputs.h"
#include "teasel/plan.h"

using namespace teasel;
using namespace teasel::testing;

TEST_CASE("least distances: mean of the spacings, or hole radii and web where that is more (common practice)") {
  Catalogue catalogue;
  Rules rules;
  rules.web = Mm{0.25};
  rules.web_smallest_class = Mm{0.2};
  auto add = [&](double spacing, double hole) {
    ProbeClass probe;
    probe.spacing = Mm{spacing};
    probe.receptacle_drill = Mm{hole};
    catalogue.classes.push_back(probe);
  };
  add(2.54, 1.7);
  add(1.27, 1.0);
  add(0.99, 0.9);
  CHECK(least_distance_nm(catalogue, rules, ClassId{0}, ClassId{0}) == 2'540'000);
  CHECK(least_distance_nm(catalogue, rules, ClassId{0}, ClassId{1}) == 1'905'000);
  CHECK(least_distance_nm(catalogue, rules, ClassId{2}, ClassId{2}) == 1'100'000);  // 0.9 + 0.2 web beats 0.99
  CHECK(least_distance_nm(catalogue, rules, ClassId{1}, ClassId{2}) == 1'200'000);  // 0.95 + 0.25 web beats 1.13
}

TEST_CASE("of two ways up at the same price the board lies on fewer parts, and the other way is told (symmetry)") {
  for (const Side crowded : kBothSides) {
    Board board = empty_board();
    for (const Side side : kBothSides) add_round(board, side == Side::top ? "T1" : "B1", {20, 20}, 1.5, side);
    board.features[FeatureId{1}].net = NetId{0};
    board.nets.front().features = {FeatureId{0}, FeatureId{1}};
    board.nets.rows().pop_back();
    Component part;
    part.name = PartName("U1");
    part.side = crowded;
    part.body = {{rectangle({50, 10}, 4, 4), {}}};
    part.height = Mm{1};
    board.components.push_back(part);
    const Job job;
    const Rules rules = shipped_rules();
    const Catalogue catalogue = shipped_catalogue();
    const Access access = judge(board, job, catalogue, rules);
    Need need;
    need.net = NetId{0};
    need.role = Role::functional;
    need.wanted = 1;
    Needs needs;
    needs.push_back(need);
    Diagnostics diagnostics;
    const PlanResult result = plan(plan_inputs(board, access, needs, job, catalogue, rules), PlanLimits{}, diagnostics);
    REQUIRE(result.options[result.chosen].probes.size() == 1);
    CHECK(result.options[result.chosen].option.main == other(crowded));
  }
}

TEST_CASE("a plan that is asked to do without small lands has no probe on one, and serves what is left (by hand)") {
  Board board = empty_board();
  add_round(board, "SMALL", {20, 20}, 0.6, Side::bottom);
  add_round(board, "LARGE", {40, 20}, 1.2, Side::bottom);
  const Job job;
  const Rules rules = shipped_rules();
  const Catalogue catalogue = shipped_catalogue();
  const Access access = judge(board, job, catalogue, rules);
  Needs needs;
  for (const NetId net : board.nets.ids()) {
    Need need;
    need.net = net;
    need.role = Role::functional;
    need.wanted = 1;
    needs.push_back(need);
  }
  Diagnostics diagnostics;
  Planner planner(plan_inputs(board, access, needs, job, catalogue, rules));
  PlanEdit edit;
  CHECK(edit.empty());
  const PlanResult all = planner.plan(edit, {}, diagnostics);
  CHECK(all.options[all.chosen].got == Table<NeedId, int>{1, 1});
  CHECK_FALSE(all.usual_lands_only);
  edit.usual_lands_only = true;
  const PlanResult fewer = planner.plan(edit, {}, diagnostics);
  CHECK(fewer.options[fewer.chosen].got == Table<NeedId, int>{0, 1});
  CHECK(fewer.usual_lands_only);
  // Asked without the edit again, it is the first plan.
  CHECK(planner.plan({}, {}, diagnostics).options[all.chosen].total() == all.options[all.chosen].total());
}

TEST_CASE("the smaller a land below the usual size, the dearer a probe on it (by hand)") {
  Cents before;
  for (const double diameter : {0.64, 0.60, 0.56, 0.52}) {
    Board board = empty_board();
    add_round(board, "A", {20, 20}, diameter, Side::bottom);
    const Job job;
    const Rules rules = shipped_rules();
    const Catalogue catalogue = shipped_catalogue();
    const Access access = judge(board, job, catalogue, rules);
    Need need;
    need.net = NetId{0};
    need.role = Role::functional;
    need.wanted = 1;
    Needs needs;
    needs.push_back(need);
    Diagnostics diagnostics;
    const PlanResult result = plan(plan_inputs(board, access, needs, job, catalogue, rules), {}, diagnostics);
    REQUIRE(result.options[result.chosen].probes.size() == 1);
    const ProbeCost cost = result.options[result.chosen].probes.front().cost;
    // The preferred size is missed by 1 - d / 0.9, the usual one by 1 - d / 0.65 (prices of the rule file).
    CHECK(cost.shortfall.v == Approx(100 * (3 * (1 - diameter / 0.9) + 30 * (1 - diameter / 0.65))).margin(15));
    CHECK(cost.shortfall > before);
    before = cost.shortfall;
  }
}
