// Where tips of a lid that turns about a hinge first touch: off the place at which they stand when it is closed.
#pragma once
#include <algorithm>

#include "teasel/board.h"
#include "teasel/job/shop.h"
#include "teasel/job/standing.h"

namespace teasel {

/// The farthest that a tip stands off its place closed on its way down, to one side and to the other, board frame.
struct ArcWay {
  Point towards, away;  ///< of the hinge; nothing where the tip never stands on that side
  [[nodiscard]] bool none() const { return towards == Point{} && away == Point{}; }
  [[nodiscard]] double longest() const { return std::max(length(towards), length(away)); }
  /// How much nearer than closed it comes to what lies in this direction.
  [[nodiscard]] double nearer(Point direction) const {
    return std::max({0.0, dot(towards, direction), dot(away, direction)});
  }
};

class LidArc {
 public:
  LidArc() = default;
  /// `kit`: null, or without a hinge: no arc.
  LidArc(const Board& board, const Kit* kit, const StandingFixture& standing = {});
  /// From first touch until the bed is closed. A tip at the distance r from the hinge and h under it comes down by
  /// `travel` while the lid turns by a, where r sin a = travel about; it then stands r (1 - cos a) - h sin a nearer to
  /// the hinge than closed, and farthest from it where tan a = h / r. Nothing for probes of the side that lies down.
  [[nodiscard]] ArcWay way(BoardPoint aim, Side side, bool main_side, Mm travel) const;
  [[nodiscard]] bool used() const { return used_; }

 private:
  bool used_ = false;
  double hinge_y_ = 0, hinge_height_ = 0;
  PerSide<Map<BoardFrame, KitFrame>> to_kit_;  ///< by the side that lies down
};

/// Where the middle of a tip may stand closed so that it has not left the landing on its way: the landing and the same
/// moved back by both ends of the way (exact for convex landings).
Polygons landing_along(const Polygons& landing, const ArcWay& way);

}  // namespace teasel
