// Where tips of a lid that turns about a hinge first touch: off the place at which they stand when it is closed.
#pragma once
#include "teasel/board.h"
#include "teasel/job/shop.h"
#include "teasel/job/standing.h"

namespace teasel {

class LidArc {
 public:
  LidArc() = default;
  /// `kit`: null, or without a hinge: no arc.
  LidArc(const Board& board, const Kit* kit, const StandingFixture& standing = {});
  /// From the aim to the place of first touch, board frame. A tip at the distance r from the hinge and h under it comes
  /// down by `travel` while the lid turns by a, where r sin a = travel about; it moves sideways by r (1 - cos a) - h
  /// sin a towards the hinge. Nothing for probes of the side that lies down.
  [[nodiscard]] Point first_touch(BoardPoint aim, Side side, bool main_side, Mm travel) const;
  [[nodiscard]] bool used() const { return used_; }

 private:
  bool used_ = false;
  double hinge_y_ = 0, hinge_height_ = 0;
  PerSide<Map<BoardFrame, KitFrame>> to_kit_;  ///< by the side that lies down
};

/// Where the middle of a tip may stand closed so that it has not left the landing on its way: the landing and the same
/// moved back by the way (exact for convex landings).
Polygons landing_along(const Polygons& landing, Point first_touch);

}  // namespace teasel
