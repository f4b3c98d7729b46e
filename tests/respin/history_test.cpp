// Which boards still run on a fixture: each case is set up so that a reader sees the answer.
#include "made_board.h"

using namespace teasel;
using namespace teasel::testing;

namespace {
formats::FixtureFile two_revisions() {
  formats::FixtureFile fixture_file = fixture_for(made_board(6, 3, 2));
  formats::Revision next = fixture_file.revisions[0];
  next.plan_id = "now";
  next.board.revision = "B";
  fixture_file.revisions.push_back(next);
  return fixture_file;
}
BuiltPart drawn(const char* name, Side side, double height, Polygons body) {
  BuiltPart part;
  part.name = name;
  part.side = side;
  part.height = Mm{height};
  part.height_confirmed = true;
  part.body = std::move(body);
  return part;
}
const RevisionRun& run_of(const std::vector<RevisionRun>& list, const std::string& plan,
                          const std::string& variant = {}) {
  for (const RevisionRun& r : list)
    if (r.plan_id == plan && r.variant == variant) return r;
  throw std::runtime_error("no such run");
}
}  // namespace

TEST_CASE("two equal boards both run (law: identity)") {
  const auto list = revisions_that_run(two_revisions(), Mm{1.5}, Mm{1});
  REQUIRE(list.size() == 2);
  for (const auto& r : list) {
    CHECK(r.runs());
    CHECK((r.probes == 6 && r.there == 6));
  }
}

TEST_CASE(
    "a plugged hole, a wire on another pin, a part under a new probe, a shifted board: the old one runs no "
    "more (by hand)") {
  {
    auto f = two_revisions();
    f.fixture.holes[StandingHoleId{2}].state = HoleState::plugged;
    f.revisions[1].probes.erase(f.revisions[1].probes.begin() + 2);
    const auto list = revisions_that_run(f, Mm{1.5}, Mm{1});
    CHECK(run_of(list, "now").runs());
    CHECK(run_of(list, "before").lacking.size() == 1);
    CHECK(run_of(list, "before").there == 5);
  }
  {
    auto f = two_revisions();
    f.fixture.wires[0].pin = "Z9";
    f.revisions[1].probes[0].pin = "Z9";
    const auto list = revisions_that_run(f, Mm{1.5}, Mm{1});
    CHECK(run_of(list, "now").runs());
    CHECK(run_of(list, "before").lacking.size() == 1);
  }
  {
    // A probe that only the new board has, in the middle of a part that only the old one fits in one of two variants.
    auto fixture_file = two_revisions();
    BuiltBoard& old = fixture_file.revisions[0].board;
    old.variants = {"full", "light"};
    for (BuiltPart& p : old.parts) p.fitted_in = {1, 1};
    BuiltPart shield = drawn("SH1", Side::bottom, 2.5, {{rectangle({14, 1}, 3, 1.5), {}}});
    shield.fitted_in = {1, 0};
    old.parts.push_back(shield);
    fixture_file.fixture.holes.push_back(hole_in_use("B200", {14, 1}, "NET1"));
    fixture_file.fixture.wires.push_back({99, "B200", "NET1", "A99"});
    fixture_file.revisions[1].probes.push_back(built_probe("B200", {14, 1}, "NET1", "x", "A99"));
    const auto list = revisions_that_run(fixture_file, Mm{1.5}, Mm{1});
    CHECK(run_of(list, "now").runs());
    CHECK_FALSE(run_of(list, "before", "full").runs());
    CHECK(run_of(list, "before", "full").meets.size() == 1);
    CHECK(run_of(list, "before", "light").runs());
  }
  {
    // A stray probe on bare metal of another net.
    auto fixture_file = two_revisions();
    BuiltPad pad;
    pad.name = "pad@x";
    pad.kind = "test pad";
    pad.net = BuiltNetId{2};
    pad.at = {14, 1};
    pad.bare[Side::bottom] = about(pad.at, 1, 1);
    fixture_file.revisions[0].board.pads.push_back(pad);
    fixture_file.fixture.holes.push_back(hole_in_use("B200", {14.2, 1}, "NET1"));
    CHECK_FALSE(run_of(revisions_that_run(fixture_file, Mm{1.5}, Mm{1}), "before").runs());
  }
  {
    auto f = two_revisions();
    // The board was shifted for the new one, holes and all.
    f.fixture.to_kit = f.revisions[1].to_kit = Map<BoardFrame, KitFrame>{Affine{1, 0, 0, 1, 0.5, 0}};
    const auto list = revisions_that_run(f, Mm{1.5}, Mm{1});
    CHECK(run_of(list, "now").runs());
    CHECK(run_of(list, "before").there == 0);
  }
  {
    auto fixture_file = two_revisions();
    fixture_file.revisions[0].board.parts.push_back(drawn("C9", Side::top, 3, {{rectangle({1, 14}, 1, 1), {}}}));
    fixture_file.fixture.supports.push_back({"F7", {1.8, 14}, Side::top, true});
    CHECK(run_of(revisions_that_run(fixture_file, Mm{1.5}, Mm{1}), "before").meets.size() == 1);
    fixture_file.fixture.supports[0].at.x = 3;
    CHECK(run_of(revisions_that_run(fixture_file, Mm{1.5}, Mm{1}), "before").runs());
  }
}
