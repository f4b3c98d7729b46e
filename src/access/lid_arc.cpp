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

ArcWay LidArc::way(BoardPoint aim, Side side, bool main_side, Mm travel) const {
  if (!used_ || main_side) return {};
  const Map<BoardFrame, KitFrame>& to_kit = to_kit_[other(side)];
  const KitPoint at = to_kit(aim);
  const double arm = hinge_y_ - at.y;
  if (arm <= travel.v) return {};
  const double at_touch = std::asin(travel.v / arm),
               turning = std::clamp(std::atan(hinge_height_ / arm), 0.0, at_touch);
  ArcWay out;
  for (const double angle : {at_touch, turning}) {
    const double towards = arm * (1 - std::cos(angle)) - hinge_height_ * std::sin(angle);
    const Point off = inverse(to_kit)(KitPoint{at.x, at.y + towards}) - aim;
    Point& farthest = towards > 0 ? out.towards : out.away;
    if (length(off) > length(farthest)) farthest = off;
  }
  return out;
}

Polygons landing_along(const Polygons& landing, const ArcWay& way) {
  Polygons out = landing;
  for (const Point off : {way.towards, way.away})
    if (!(off == Point{})) out = intersect(out, transformed(landing, Affine{1, 0, 0, 1, -off.x, -off.y}));
  return out;
}

}  // namespace teasel
