// Sides named in a job on a panel with a flipped board: plain names speak of the board, full names of the panel
// (a board flipped about Y shows its bottom upward: plane geometry).
#include <catch2/catch.hpp>

#include "../access/small_board.h"
#include "plan_inputs.h"
#include "teasel/plan.h"

using namespace teasel;
using namespace teasel::testing;

namespace {
/// One net with a pad on either side; two boards, the second flipped.
struct Array {
  Board board;
  Job job;
  Rules rules = shipped_rules();
  Catalogue catalogue = shipped_catalogue();
  Needs needs;
  Diagnostics diagnostics;

  explicit Array(Job asked, bool alike = false, bool flipped = true) : job(std::move(asked)) {
    board = empty_board();
    add_round(board, "A1", {20, 20}, 1.5, Side::bottom);
    add_round(board, "A2", {40, 20}, 1.5, Side::top);
    board.features[FeatureId{1}].net = NetId{0};
    board.nets.front().features = {FeatureId{0}, FeatureId{1}};
    board.nets.rows().pop_back();
    if (!job.decisions.mates.empty()) {
      Component component;
      component.name = PartName("J1");
      component.side = Side::bottom;
      component.features = {FeatureId{0}};
      component.height = Mm{1};
      board.components.push_back(component);
      board.features.front().component = ComponentId{0};
    }
    job.panel.used = true;
    job.panel.alike = alike;
    job.panel.places = {{"P1", {0, 0}, Degrees{0}, false}, {"P2", {150, 0}, Degrees{0}, flipped}};
    Sources none;
    board.keep_outs = job.decisions.keep_outs;
    panelize(board, job, rules, none, diagnostics);
    REQUIRE_FALSE(diagnostics.failed());
    for (const NetId net : board.nets.ids()) {
      Need need;
      need.net = net;
      need.role = Role::functional;
      need.wanted = 1;
      needs.push_back(need);
    }
  }
  Access access() { return judge(board, job, catalogue, rules); }
  bool open(const Access& access, const std::string& target) {
    return access.open(target_named(board, access, target), true);
  }
  PlanResult plan(const Access& access) {
    return teasel::plan(plan_inputs(board, access, needs, job, catalogue, rules), PlanLimits{}, diagnostics);
  }
};
}  // namespace

TEST_CASE(
    "a ban with a side follows the board where it is flipped, and the panel where its name says which board "
    "(plane geometry)") {
  Job job;
  job.decisions.bans = {ban("", "A1", Side::bottom, "plain")};
  Array plain(job);
  const Access access = plain.access();
  CHECK(plain.board.exposures.size() == 4);
  CHECK_FALSE(plain.open(access, "P1:A1"));
  CHECK_FALSE(plain.open(access, "P2:A1"));  // on the panel's top, on the board's bottom
  CHECK(plain.open(access, "P1:A2"));
  job.decisions.bans = {ban("", "P2:A1", Side::top, "full")};
  Array full(job);
  const Access full_access = full.access();
  CHECK(full.open(full_access, "P1:A1"));
  CHECK_FALSE(full.open(full_access, "P2:A1"));
  job.decisions.bans = {ban("", "P2:A1", Side::bottom, "full")};
  Array other_side(job);
  CHECK(other_side.open(other_side.access(), "P2:A1"));
}

TEST_CASE("a waiver with a side follows the board where it is flipped (plane geometry)") {
  Job job;
  KeepOut keep_out;
  keep_out.kind = keep_out.name = "keep-out";
  keep_out.sides = Sides::both();
  keep_out.area = {{rectangle({20, 20}, 4, 4), {}}};
  job.decisions.keep_outs.push_back(keep_out);
  Array closed(job);
  CHECK_FALSE(closed.open(closed.access(), "P1:A1"));
  job.decisions.waivers = {waiver("N_A1", "A1", "keep-out", "tried", Side::bottom)};
  Array plain(job);
  const Access access = plain.access();
  CHECK(plain.open(access, "P1:A1"));
  CHECK(plain.open(access, "P2:A1"));
  job.decisions.waivers = {waiver("N_A1", "A1", "keep-out", "tried", Side::top)};
  Array wrong(job);
  const Access full_access = wrong.access();
  CHECK_FALSE(wrong.open(full_access, "P1:A1"));
  CHECK_FALSE(wrong.open(full_access, "P2:A1"));
}

TEST_CASE(

    "a lock with a side follows the board where it is flipped; one that no board keeps is an error with the "
    "reason (plane geometry)") {
  Job job;
  job.decisions.locks = {lock("N_A1", "A1", Side::bottom)};
  Array kept(job);
  const Access access = kept.access();
  const PlanResult result = kept.plan(access);
  CHECK_FALSE(kept.diagnostics.failed());
  const OptionResult& option = result.options[result.chosen];
  REQUIRE(option.probes.size() == 2);
  for (const PlacedProbe& probe : option.probes) {
    const Feature& feature = kept.board.features[access.targets[probe.target].feature];
    CHECK(feature.name.plain() == "A1");
    CHECK(kept.board.own_side(feature, access.targets[probe.target].side) == Side::bottom);
  }
  job.decisions.locks = {lock("N_A1", "A1", Side::top)};
  Array none(job);
  none.plan(none.access());
  CHECK(none.diagnostics.failed());
}

TEST_CASE(
    "a lock counts with its class, and an option that keeps it comes before a cheaper one that does not (the "
    "job file's own statement)") {
  Job job;
  job.decisions.locks = {lock("N_A1", "P1:A2", Side::top, "75 mil")};
  Array array(job);
  const Access access = array.access();
  const PlanResult result = array.plan(access);
  REQUIRE_FALSE(array.diagnostics.failed());
  bool kept = false;
  for (const PlacedProbe& probe : result.options[result.chosen].probes)
    kept |= array.board.features[access.targets[probe.target].feature].name == "P1:A2" &&
            array.catalogue.classes[probe.probe_class].name == "75 mil";
  CHECK(kept);
  // A lock on one board's pad in a class that the pad cannot take.
  array.job.decisions.locks = {lock("N_A1", "P1:A2", Side::bottom)};
  array.plan(access);
  CHECK(array.diagnostics.failed());
}

TEST_CASE(

    "a mating connector on a panel: one for each board, on the side where it lies; all or none where boards "
    "are alike (counted by hand)") {
  for (const bool alike : {false, true}) {
    Job job;
    job.decisions.mates.push_back({"J1", std::nullopt, Money{0.5}, Newton{10}, {}});
    job.fixture.sides = "both";
    Array array(job, alike, false);
    const Access access = array.access();
    const PlanResult result = array.plan(access);
    const OptionResult& option = result.options[result.chosen];
    std::size_t pins = 0;
    for (const PlacedMate& mate : option.mates) pins += mate.features.size();
    CHECK(pins == 2);
    CHECK(option.mates.size() == 2);
    CHECK(option.cost.mates == Cents{100});  // two connectors either way
    CHECK(option.got == Table<NeedId, int>{1, 1});
    CHECK(option.probes.empty());
  }
}
