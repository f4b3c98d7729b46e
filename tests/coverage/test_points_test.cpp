// Test points that the designer marked: preferred by the plan, and listed with what became of them.
#include <catch2/catch.hpp>

#include "../access/small_board.h"
#include "../plan/plan_inputs.h"
#include "teasel/coverage/test_points.h"

using namespace teasel;
using namespace teasel::testing;

namespace {
/// A board planned from below; each net wants what is asked.
struct Trial {
  Board board = empty_board();
  Job job;
  Rules rules = shipped_rules();
  Catalogue catalogue = shipped_catalogue();
  Needs needs;
  Access access;
  PlanResult plan;
  Coverage coverage;

  FeatureId land(const std::string& name, Point at, double diameter, FeatureKind kind, TestMark mark = TestMark::none) {
    const FeatureId id = add_round(board, name, at, diameter, Side::bottom, kind);
    Feature& feature = board.features[id];
    feature.mark = mark;
    feature.land[Side::bottom].present = true;
    return id;
  }
  void join(FeatureId id, NetId net) {
    board.features[id].net = net;
    board.nets[net].features.push_back(id);
  }
  std::vector<TestPoint> run(const std::vector<int>& wanted) {
    for (const NetId net : board.nets.ids()) {
      Need need;
      need.net = net;
      need.role = Role::functional;
      need.wanted = net.index() < wanted.size() ? wanted[net.index()] : 0;
      needs.push_back(need);
    }
    job.fixture.sides = "bottom";
    access = judge(board, job, catalogue, rules);
    Diagnostics diagnostics;
    const PlanInputs inputs = plan_inputs(board, access, needs, job, catalogue, rules);
    plan = teasel::plan(inputs, PlanLimits{}, diagnostics);
    const Planned planned{inputs, plan, plan.options[plan.chosen]};
    coverage = coverage_of(planned);
    return test_points(planned, coverage, {});
  }
  [[nodiscard]] std::string first_target() const {
    return board.features[access.targets[plan.options[plan.chosen].probes.front().target].feature].name.text();
  }
};
}  // namespace

TEST_CASE("of two lands of one quality the one that the designer marked is probed, whatever the other is (by hand)") {
  for (const FeatureKind other : {FeatureKind::test_pad, FeatureKind::via, FeatureKind::smd_pad})
    for (const bool marked_first : {true, false}) {
      Trial trial;
      const FeatureId first = trial.land("A", {20, 20}, 1.2, marked_first ? FeatureKind::smd_pad : other,
                                         marked_first ? TestMark::cad_file : TestMark::none);
      const FeatureId second = trial.land("B", {40, 20}, 1.2, marked_first ? other : FeatureKind::smd_pad,
                                          marked_first ? TestMark::none : TestMark::cad_file);
      trial.join(second, trial.board.features[first].net);
      trial.board.nets.rows().pop_back();
      const std::vector<TestPoint> points = trial.run({1});
      CHECK(trial.first_target() == (marked_first ? "A" : "B"));
      REQUIRE(points.size() == 1);
      CHECK(points[0].fate == TestPointFate::probed);
      CHECK(points[0].probe);
    }
}

TEST_CASE("a marked point that no class can touch is refused by the rule that lacks least (by hand)") {
  Trial trial;
  trial.land("TP1", {20, 20}, 1.2, FeatureKind::test_pad, TestMark::designator);
  trial.land("TP2", {40, 20}, 1.2, FeatureKind::test_pad, TestMark::attribute);
  trial.land("TP3", {40, 32}, 1.2, FeatureKind::test_pad, TestMark::attribute);
  // The body's edge is 0.05 mm from the middle of TP1: nearer than any head allows.
  add_body(trial.board, "U3", {22.05, 20}, 4, 4, 1, Side::bottom);
  const std::vector<TestPoint> points = trial.run({1, 1, 0});
  REQUIRE(points.size() == 3);
  CHECK(points[0].fate == TestPointFate::refused);
  REQUIRE(points[0].refusal);
  CHECK(points[0].refusal->shortfall.reason == Reason::body);
  CHECK(points[0].refusal->shortfall.measured < points[0].refusal->shortfall.required);
  CHECK(points[0].refusal->to_open.find("U3 ") == 0);
  CHECK(points[1].fate == TestPointFate::probed);
  CHECK(points[2].fate == TestPointFate::not_needed);
  CHECK_FALSE(points[2].refusal);
}
