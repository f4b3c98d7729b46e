// Unit, origin, side and rotation conventions of a placement table, calibrated against pads.
#pragma once
#include <map>
#include <optional>
#include <string>

#include "teasel/board.h"

namespace teasel {

/// Pads of one part, board frame.
struct PartPads {
  Box box;
  std::vector<Point> points;
  std::optional<Point> pin_1;
  int top = 0, bottom = 0;  ///< surface pads by side
};
struct PlacementFit {
  std::string unit;   ///< "mm", "inch", "mil", "um"; empty where the table states its own
  double scale = 1;   ///< of one unit, mm
  Point shift;        ///< added, in mm
  double share = -1;  ///< of `parts` that lie within 1 mm of the middle of their pads
  std::size_t parts = 0;
  bool turned = false;  ///< x of bottom parts runs the other way
  Point bottom_shift;
  std::size_t bottom_parts = 0;
  std::size_t sides_wrong = 0, sides_compared = 0;
  std::string rotation;  ///< what the rotations of both sides mean, as text; empty where too few tell
};
/// Fewer than three common parts: share stays -1.
PlacementFit fit_placement(const formats::Placement& table, const std::map<std::string, PartPads>& pads);

/// Without names: the unit and shift under which most parts lie in the middle of two equal lands. `lands` by side.
struct Lands {
  std::vector<Point> at;
  std::vector<Point> size;
};
PlacementFit fit_placement(const formats::Placement& table, const PerSide<Lands>& lands);

}  // namespace teasel
