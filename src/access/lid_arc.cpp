#include "teasel/access/lid_arc.h"

#include <cmath>

namespace teasel {

LidArc::LidArc(const Board& board, const Kit* kit, const StandingFixture& standing) {
  if (!kit || !kit->hinge_y) return;
  used_ = true;
  hinge_y_ = kit->hinge_y->v;
  hinge_height_ = kit->hinge_height ? kit->hinge_height->v : 0;
  for (const Side down : kBothSides) to_kit_[down] = board_in_kit(board, kit, down);
  if (standing.used) to_kit_[standing.main] = standing.to_kit;
}

Point LidArc::first_touch(BoardPoint aim, Side side, bool main_side, Mm travel) const {
  if (!used_ || main_side) return {};
  const Map<BoardFrame, KitFrame>& to_kit = to_kit_[other(side)];
  const KitPoint at = to_kit(aim);
  const double arm = hinge_y_ - at.y;
  if (arm <= travel.v) return {};
  const double angle = std::asin(travel.v / arm),
               towards = arm * (1 - std::cos(angle)) - hinge_height_ * std::sin(angle);
  return inverse(to_kit)(KitPoint{at.x, at.y + towards}) - aim;
}

Polygons landing_along(const Polygons& landing, Point first_touch) {
  if (first_touch == Point{}) return landing;
  return intersect(landing, transformed(landing, Affine{1, 0, 0, 1, -first_touch.x, -first_touch.y}));
}

}  // namespace teasel
