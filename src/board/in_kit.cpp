// Where a board lies in a kit.
#include <cmath>
#include <numbers>

#include "teasel/board.h"

namespace teasel {

Map<BoardFrame, KitFrame> board_in_kit(const Board& board, const Kit* kit, Side down) {
  Affine flip;
  if (down == Side::top) flip.a = -1;
  if (!kit) return Map<BoardFrame, KitFrame>{flip};
  const double turn = kit->board_turn.v * std::numbers::pi / 180;
  // Right angles are exact, so that a turned job gives the same figures.
  const bool right_angle = std::abs(std::remainder(kit->board_turn.v, 90)) < 1e-9;
  const double cosine = right_angle ? std::round(std::cos(turn)) : std::cos(turn);
  const double sine = right_angle ? std::round(std::sin(turn)) : std::sin(turn);
  Affine map = combine({cosine, -sine, sine, cosine, 0, 0}, flip);
  const Point middle = bounds(transformed(board.outline.outer, map)).centre();
  map.e = kit->board_at.x - middle.x;
  map.f = kit->board_at.y - middle.y;
  return Map<BoardFrame, KitFrame>{map};
}

}  // namespace teasel
