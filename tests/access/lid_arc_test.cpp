// Tips on the arc of a lid: plane geometry by hand, the lens of two circles (handbook formula), and what it blocks.
#include "teasel/access/lid_arc.h"

#include <catch2/catch.hpp>

#include "small_board.h"
#include "teasel/job/shipped.h"

using namespace teasel;
using namespace teasel::testing;

namespace {
Kit clamshell(double hinge_height) {
  Diagnostics diagnostics;
  Kit kit = read_kit(*shipped("kits", "clamshell"), "kit", diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  REQUIRE(kit.hinge_y);
  kit.hinge_height = Mm{hinge_height};
  return kit;
}
}  // namespace

TEST_CASE(
    "a tip under a hinge goes away from it as the lid closes, and towards it one over the hinge's height (by hand)") {
  const Board board = empty_board();
  // The middle of the board, (30, 20), lies at the kit's (150, 145); the hinge at Y 330.
  const Kit kit = clamshell(25);
  const LidArc arc(board, &kit);
  REQUIRE(arc.used());
  const double r = 330 - (145 + 32 - 20), a = std::asin(4.24 / r), way = r * (1 - std::cos(a)) - 25 * std::sin(a);
  // With the bottom side down the board is not turned over: its Y is the kit's. At first touch the tip is farther from
  // the hinge than when it is closed.
  const ArcWay off = arc.way({10, 32}, Side::top, false, Mm{4.24});
  CHECK(off.away.x == Approx(0).margin(1e-9));
  CHECK(off.away.y == Approx(way));
  CHECK(off.towards == Point{});
  CHECK(way < -0.5);
  // Of the bed that the board lies on nothing moves.
  CHECK(arc.way({10, 32}, Side::bottom, true, Mm{4.24}).none());
  const Kit level = clamshell(0);
  CHECK(LidArc(board, &level).way({10, 32}, Side::top, false, Mm{4.24}).towards.y ==
        Approx(4.24 * 4.24 / 2 / r).epsilon(0.01));
  CHECK_FALSE(LidArc(board, nullptr).used());
}

TEST_CASE("a tip little under its hinge stands farthest from its place on the way, where the arc is lowest (by hand)") {
  // 3 mm under the hinge and 173 mm from it, the lowest point of the tip's circle lies atan(3 / 173) = 0.994 degrees
  // before the place closed: sqrt(173^2 + 3^2) - 173 = 0.0260 mm away. At first touch, 4.24 mm higher, it is 173 -
  // sqrt(173^2 - 4.24^2) = 0.0520 mm nearer to the hinge for its height, and 3 x 4.24 / 173 = 0.0735 mm farther.
  const Board board = empty_board();
  const Kit kit = clamshell(3);
  const ArcWay off = LidArc(board, &kit).way({10, 32}, Side::top, false, Mm{4.24});
  CHECK(length(off.away) == Approx(0.0260).margin(0.0001));
  CHECK(off.towards == Point{});
  // Deeper than the travel reaches there is no such point: first touch is the farthest.
  const Kit deep = clamshell(25);
  CHECK(length(LidArc(board, &deep).way({10, 32}, Side::top, false, Mm{4.24}).away) ==
        Approx(25 * 4.24 / 173 - 0.0520).margin(0.001));
  // With a long stroke the tip starts on the hinge's side and ends past its farthest place on the other.
  const ArcWay both = LidArc(board, &kit).way({10, 32}, Side::top, false, Mm{9});
  CHECK(length(both.towards) == Approx(81 / (2 * 173.0) - 3 * 9 / 173.0).margin(0.001));
  CHECK(length(both.away) == Approx(0.0260).margin(0.0001));
}

TEST_CASE("a landing along the way is the lens of two circles (2 r^2 acos(d / 2 r) - d / 2 sqrt(4 r^2 - d^2))") {
  const double r = 0.5, d = 0.3;
  const Polygons along = landing_along({{circle({2, 3}, r), {}}}, {{}, {0, -d}});
  CHECK(area(along) == Approx(2 * r * r * std::acos(d / 2 / r) - d / 2 * std::sqrt(4 * r * r - d * d)).epsilon(0.01));
  // A tip that ends at the lower edge began beyond it.
  CHECK_FALSE(contains(along, {2, 3 - 0.35}));
  CHECK(contains(along, {2, 3 + 0.35}));
  CHECK(landing_along({{circle({2, 3}, r), {}}}, {{}, {0, -2 * r - 0.1}}).empty());
}

TEST_CASE("a lid's arc blocks small lands of the upper bed, and no others (plane geometry, by hand)") {
  Board board = empty_board();
  const FeatureId small = add_round(board, "S", {20, 30}, 1.0, Side::top),
                  wide = add_round(board, "W", {40, 30}, 3.0, Side::top);
  const Catalogue catalogue = shipped_catalogue();
  const Rules rules = shipped_rules();
  const auto verdicts = [&](const Kit* kit, FeatureId feature, bool main_side) {
    const Access access = judge(board, Job{}, catalogue, rules, {}, Shop{nullptr, nullptr, kit});
    for (const TargetId id : access.targets.ids())
      if (access.targets[id].feature == feature) return access.best_verdict(id, ClassId{0}, main_side);
    throw std::runtime_error("no target");
  };
  const auto says_arc = [](const Verdict& verdict) {
    return std::any_of(verdict.shortfalls.begin(), verdict.shortfalls.end(),
                       [](const Shortfall& s) { return s.reason == Reason::lid_arc && s.blocking; });
  };
  const Kit high = clamshell(25), level = clamshell(1);
  REQUIRE(verdicts(nullptr, small, false).open);
  const Verdict blocked = verdicts(&high, small, false);
  CHECK_FALSE(blocked.open);
  CHECK(says_arc(blocked));
  CHECK(verdicts(&high, small, true).open);
  CHECK(verdicts(&level, small, false).open);
  CHECK(verdicts(&high, wide, false).open);
  // It costs odds where it does not block.
  CHECK(verdicts(&high, wide, false).miss >= verdicts(nullptr, wide, false).miss);
  // A neighbour that the tip meets on its way, and not where it ends: 0.95 mm beside the aim, on the far side of the
  // hinge.
  const FeatureId near = add_round(board, "N", {40, 30 - 2.5}, 1.0, Side::top);
  REQUIRE(near);
  CHECK(verdicts(nullptr, wide, false).wrong <= verdicts(&high, wide, false).wrong);
}
