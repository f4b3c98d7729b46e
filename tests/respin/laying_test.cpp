// How a board lies where the last one lay: turns and shifts that the test made are found again.
#include "made_board.h"

using namespace teasel;
using namespace teasel::testing;

namespace {
bool same(const Affine& a, const Affine& b) {
  return std::abs(a.a - b.a) < 1e-9 && std::abs(a.b - b.b) < 1e-9 && std::abs(a.c - b.c) < 1e-9 &&
         std::abs(a.d - b.d) < 1e-9 && std::abs(a.e - b.e) < 1e-6 && std::abs(a.f - b.f) < 1e-6;
}
}  // namespace

TEST_CASE(
    "turn and shift of a frame are found, with parts moved about and without the names of parts (moved by the "
    "test, seeds 1 to 12)") {
  for (unsigned seed = 1; seed <= 12; ++seed) {
    const BuiltBoard old = made_board(seed);
    for (const bool names : {true, false})
      for (const Affine& motion : {Affine{}, Affine{1, 0, 0, 1, 25.4, -3.175}, Affine{0, -1, 1, 0, 100, 0.5},
                                   Affine{0, 1, -1, 0, -7, 31}, Affine{-1, 0, 0, -1, 60, 44.45}}) {
        formats::FixtureFile fixture_file = fixture_for(old);
        BuiltBoard now = old;
        for (std::size_t k = 0; k < 8; ++k) move_part(now, BuiltPartId{3 * k}, {0.7, 0.3 * static_cast<double>(k)});
        move_board(now, motion);
        if (!names)
          for (BuiltBoard* b : {&now, &fixture_file.revisions.back().board})
            for (BuiltPad& p : b->pads) {
              p.component = {};
              p.pin.clear();
            }
        Diagnostics diagnostics;
        const auto list = layings(fixture_file, board_of(now), now, diagnostics);
        REQUIRE_FALSE(diagnostics.failed());
        REQUIRE(list.size() >= 1);
        CHECK(same(list[0].map, inverse(motion)));
        CHECK(list[0].pins_stay);
        CHECK(list[0].over_holes == list[0].holes);
      }
  }
}

TEST_CASE("a board of another design is refused (constructed)") {
  const BuiltBoard old = made_board(1);
  BuiltBoard other = made_board(2);
  for (BuiltPart& p : other.parts) p.name = "X" + p.name;
  for (BuiltPad& p : other.pads) p.at = {p.at.x * 1.07, p.at.y * 0.93};
  Diagnostics diagnostics;
  layings(fixture_for(old), board_of(other), other, diagnostics);
  CHECK(diagnostics.failed());
}

TEST_CASE(
    "where the tooling holes moved against the rest, the pins come first, and the pads are worth a plan too "
    "(moved by the test)") {
  const BuiltBoard old = made_board(4);
  const formats::FixtureFile f = fixture_for(old);
  BuiltBoard now = old;
  for (auto& p : now.tooling) p.at = p.at + Point{0.8, -0.6};
  Diagnostics diagnostics;
  const auto list = layings(f, board_of(now), now, diagnostics);
  REQUIRE(list.size() == 2);
  CHECK(same(list[0].map, {1, 0, 0, 1, -0.8, 0.6}));
  CHECK(list[0].pins_stay);
  CHECK(list[0].over_holes < list[0].holes);  // pads of 1 mm, shifted by as much
  CHECK(same(list[1].map, {}));
  CHECK_FALSE(list[1].pins_stay);
  CHECK(list[1].over_holes == list[1].holes);
}

TEST_CASE("a shift of the board that keeps more holes is offered (moved by the test)") {
  // All bare pads moved alike, parts and pins did not.
  const BuiltBoard old = made_board(5);
  BuiltBoard now = old;
  for (BuiltPad& p : now.pads)
    if (!p.component) {
      p.at = p.at + Point{1.5, 0.25};
      p.name = bare_name(p.at);
      p.bare[Side::bottom] = about(p.at, 1.0, 1.0);
    }
  Diagnostics diagnostics;
  const auto list = layings(fixture_for(old), board_of(now), now, diagnostics);
  REQUIRE(list.size() == 2);
  CHECK(same(list[0].map, {}));
  CHECK(list[0].over_holes == 0);
  CHECK(same(list[1].map, {1, 0, 0, 1, -1.5, -0.25}));
  CHECK(list[1].over_holes == list[1].holes);
}
