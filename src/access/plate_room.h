// What the plates of the bed ask about a probe's holes: walls to the tooling pins and to the holes of a kit's blanks.
#pragma once
#include <optional>
#include <vector>

#include "teasel/access.h"
#include "teasel/job/shop.h"

namespace teasel {

/// Lengths in mm.
struct NearKitHole {
  int hole = -1;      ///< row of the kit's list
  double away{};      ///< from the aim to the hole's edge
  double required{};  ///< for the widest of the probe's holes and its wall
};

class PlateRoom {
 public:
  PlateRoom(const Board& board, const Rules& rules, const Shop& shop);
  /// From the aim to the edge of a tooling hole: what the probe's holes, the pin and its hole in a guide plate need.
  [[nodiscard]] double beside_pin(const ProbeClass& probe, Mm head, bool main_side) const;
  /// From the aim to a body of this height: what the probe's hole and the pocket for the body need in the probe plate.
  /// 0 where no pocket is milled for it.
  [[nodiscard]] double beside_pocket(Mm height, const ProbeClass& probe, bool main_side) const;
  /// The hole of the kit that leaves the probe least room, if it is too little.
  [[nodiscard]] std::optional<NearKitHole> kit_hole(BoardPoint aim, Side side, bool main_side, const ProbeClass& probe,
                                                    Mm head) const;
  /// True where the kit lets no probe stand.
  [[nodiscard]] bool outside(BoardPoint aim, Side side, bool main_side) const;

 private:
  [[nodiscard]] KitPoint in_kit(BoardPoint aim, Side side, bool main_side) const {
    return to_kit_[main_side ? side : other(side)](aim);
  }
  [[nodiscard]] bool guides(bool main_side) const;
  [[nodiscard]] double guide_radius(const ProbeClass& probe, Mm head) const;

  const Rules& rules_;
  const Style* style_;
  const Kit* kit_;
  PerSide<Map<BoardFrame, KitFrame>> to_kit_;  ///< by the side that lies down
};

}  // namespace teasel
