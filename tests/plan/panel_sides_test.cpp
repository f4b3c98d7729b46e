// Sides named in a job on a panel with a flipped board: plain names speak of the board, full names of the panel
// (a board flipped about Y shows its bottom upward: plane geometry).
#include <catch2/catch.hpp>

#include "../access/small_board.h"
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
  Diagnostics d;

  explicit Array(Job asked, bool alike = false, bool flipped = true) : job(std::move(asked)) {
    board = empty_board();
    add_round(board, "A1", {20, 20}, 1.5, Side::bottom);
    add_round(board, "A2", {40, 20}, 1.5, Side::top);
    board.features[FeatureId{1}].net = NetId{0};
    board.nets.front().features = {FeatureId{0}, FeatureId{1}};
    board.nets.rows().pop_back();
    if (!job.decisions.mates.empty()) {
      Component c;
      c.name = PartName("J1");
      c.side = Side::bottom;
      c.features = {FeatureId{0}};
      c.height = Mm{1};
      board.components.push_back(c);
      board.features.front().component = ComponentId{0};
    }
    job.panel.used = true;
    job.panel.alike = alike;
    job.panel.places = {{"P1", {0, 0}, Degrees{0}, false}, {"P2", {150, 0}, Degrees{0}, flipped}};
    Sources none;
    panelize(board, job, rules, none, d);
    REQUIRE_FALSE(d.failed());
    for (const NetId net : board.nets.ids()) {
      Need need;
      need.net = net;
      need.role = Role::functional;
      need.wanted = 1;
      needs.push_back(need);
    }
  }
  Access access() { return judge(board, job, catalogue, rules); }
  bool open(const Access& a, const std::string& target) { return a.open(target_named(board, a, target), true); }
  PlanResult plan(const Access& a) { return teasel::plan(board, a, needs, job, catalogue, rules, PlanLimits{}, d); }
};
}  // namespace

TEST_CASE(
    "a ban with a side follows the board where it is flipped, and the panel where its name says which board "
    "(plane geometry)") {
  Job job;
  job.decisions.bans = {ban("", "A1", Side::bottom, "plain")};
  Array plain(job);
  const Access a = plain.access();
  CHECK(plain.board.exposures.size() == 4);
  CHECK_FALSE(plain.open(a, "P1:A1"));
  CHECK_FALSE(plain.open(a, "P2:A1"));  // on the panel's top, on the board's bottom
  CHECK(plain.open(a, "P1:A2"));
  job.decisions.bans = {ban("", "P2:A1", Side::top, "full")};
  Array full(job);
  const Access b = full.access();
  CHECK(full.open(b, "P1:A1"));
  CHECK_FALSE(full.open(b, "P2:A1"));
  job.decisions.bans = {ban("", "P2:A1", Side::bottom, "full")};
  Array other_side(job);
  CHECK(other_side.open(other_side.access(), "P2:A1"));
}

TEST_CASE("a waiver with a side follows the board where it is flipped (plane geometry)") {
  Job job;
  KeepOut k;
  k.kind = k.name = "keep-out";
  k.sides = Sides::both();
  k.area = {{rectangle({20, 20}, 4, 4), {}}};
  job.decisions.keep_outs.push_back(k);
  Array closed(job);
  CHECK_FALSE(closed.open(closed.access(), "P1:A1"));
  job.decisions.waivers = {waiver("N_A1", "A1", "keep-out", "tried", Side::bottom)};
  Array plain(job);
  const Access a = plain.access();
  CHECK(plain.open(a, "P1:A1"));
  CHECK(plain.open(a, "P2:A1"));
  job.decisions.waivers = {waiver("N_A1", "A1", "keep-out", "tried", Side::top)};
  Array wrong(job);
  const Access b = wrong.access();
  CHECK_FALSE(wrong.open(b, "P1:A1"));
  CHECK_FALSE(wrong.open(b, "P2:A1"));
}

TEST_CASE(

    "a lock with a side follows the board where it is flipped; one that no board keeps is an error with the "
    "reason (plane geometry)") {
  Job job;
  job.decisions.locks = {lock("N_A1", "A1", Side::bottom)};
  Array kept(job);
  const Access a = kept.access();
  const PlanResult r = kept.plan(a);
  CHECK_FALSE(kept.d.failed());
  const OptionResult& o = r.options[r.chosen];
  REQUIRE(o.probes.size() == 2);
  for (const PlacedProbe& p : o.probes) {
    const Feature& f = kept.board.features[a.targets[p.target].feature];
    CHECK(f.name.plain() == "A1");
    CHECK(kept.board.own_side(f, a.targets[p.target].side) == Side::bottom);
  }
  job.decisions.locks = {lock("N_A1", "A1", Side::top)};
  Array none(job);
  none.plan(none.access());
  CHECK(none.d.failed());
}

TEST_CASE(
    "a lock counts with its class, and an option that keeps it comes before a cheaper one that does not (the "
    "job file's own statement)") {
  Job job;
  job.decisions.locks = {lock("N_A1", "P1:A2", Side::top, "75 mil")};
  Array x(job);
  const Access a = x.access();
  const PlanResult r = x.plan(a);
  REQUIRE_FALSE(x.d.failed());
  bool kept = false;
  for (const PlacedProbe& p : r.options[r.chosen].probes)
    kept |= x.board.features[a.targets[p.target].feature].name == "P1:A2" &&
            x.catalogue.classes[p.probe_class].name == "75 mil";
  CHECK(kept);
  // A lock on one board's pad in a class that the pad cannot take.
  x.job.decisions.locks = {lock("N_A1", "P1:A2", Side::bottom)};
  x.plan(a);
  CHECK(x.d.failed());
}

TEST_CASE(

    "a mating connector on a panel: one for each board, on the side where it lies; all or none where boards "
    "are alike (counted by hand)") {
  for (const bool alike : {false, true}) {
    Job job;
    job.decisions.mates.push_back({"J1", std::nullopt, Money{0.5}, Newton{10}, {}});
    job.fixture.sides = "both";
    Array a(job, alike, false);
    const Access access = a.access();
    const PlanResult r = a.plan(access);
    const OptionResult& o = r.options[r.chosen];
    std::size_t pins = 0;
    for (const PlacedMate& m : o.mates) pins += m.features.size();
    CHECK(pins == 2);
    CHECK(o.mates.size() == (alike ? 1U : 2U));
    CHECK(o.cost.mates == Cents{100});  // two connectors either way
    CHECK(o.got == Table<NeedId, int>{1, 1});
    CHECK(o.probes.empty());
  }
}
