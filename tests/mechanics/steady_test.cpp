// Whether a board rests on its stops: plane geometry, by hand.
#include <catch2/catch.hpp>

#include "teasel/mechanics/steady.h"

using namespace teasel;

namespace {
Board sheet(const Ring& outer, const std::vector<Ring>& holes = {}) {
  Board board;
  board.outline = {outer, holes};
  return board;
}
}  // namespace

TEST_CASE("a board is steady by as much as its middle lies inside its stops (plane geometry, by hand)") {
  const Board board = sheet({{0, 0}, {60, 0}, {60, 40}, {0, 40}});  // middle at (30, 20)
  CHECK(steadiness(board, {BoardPoint{5, 5}, BoardPoint{55, 5}, BoardPoint{55, 35}, BoardPoint{5, 35}})->v ==
        Approx(15));
  // The edge from (5, 5) to (55, 35) runs through (30, 20).
  CHECK(steadiness(board, {BoardPoint{5, 5}, BoardPoint{55, 5}, BoardPoint{55, 35}})->v == Approx(0).margin(1e-9));
  CHECK(steadiness(board, {BoardPoint{5, 5}, BoardPoint{25, 5}, BoardPoint{5, 35}})->v < -5);
  CHECK_FALSE(steadiness(board, {BoardPoint{5, 5}, BoardPoint{55, 5}}));
  CHECK_FALSE(steadiness(board, {BoardPoint{5, 5}, BoardPoint{30, 5}, BoardPoint{55, 5}}));
}

TEST_CASE("a cutout moves the middle of a board (centroid of a sheet, by hand)") {
  // 60 x 40 less the right half of 30 x 40 but a rim: 2400 - 1000 mm2; x = (2400 * 30 - 1000 * 45) / 1400 = 19.2857.
  const Board board = sheet({{0, 0}, {60, 0}, {60, 40}, {0, 40}}, {{{32.5, 0}, {57.5, 0}, {57.5, 40}, {32.5, 40}}});
  const auto steady = steadiness(board, {BoardPoint{0, 0}, BoardPoint{60, 0}, BoardPoint{60, 40}, BoardPoint{0, 40}});
  REQUIRE(steady);
  CHECK(steady->v == Approx((2400.0 * 30 - 1000 * 45) / 1400));
}

TEST_CASE("forces inside their supports hold, outside they tip by what they lie outside (by hand)") {
  const std::vector<BoardPoint> square{BoardPoint{0, 0}, BoardPoint{40, 0}, BoardPoint{40, 30}, BoardPoint{0, 30}};
  CHECK(steadiness(BoardPoint{20, 15}, square)->v == Approx(15));
  CHECK(steadiness(BoardPoint{44, 15}, square)->v == Approx(-4));
  CHECK_FALSE(steadiness(BoardPoint{20, 15}, {BoardPoint{0, 0}, BoardPoint{40, 0}}));
}
