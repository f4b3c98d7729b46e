// Where the board lies in a kit, and what stands on either side of it.
#include <numbers>

#include "teasel/mechanics.h"

namespace teasel {

Map<BoardFrame, KitFrame> board_to_kit(const Planned& in) {
  if (in.standing.used) return in.standing.to_kit;
  Affine flip;
  if (in.option.option.main == Side::top) flip.a = -1;
  if (!in.kit) return Map<BoardFrame, KitFrame>{flip};
  const double turn = in.kit->board_turn.v * std::numbers::pi / 180;
  // Right angles are exact, so that a turned job gives the same figures.
  const bool right_angle = std::abs(std::remainder(in.kit->board_turn.v, 90)) < 1e-9;
  const double cosine = right_angle ? std::round(std::cos(turn)) : std::cos(turn);
  const double sine = right_angle ? std::round(std::sin(turn)) : std::sin(turn);
  Affine map = combine({cosine, -sine, sine, cosine, 0, 0}, flip);
  const Point middle = bounds(transformed(in.board.outline.outer, map)).centre();
  map.e = in.kit->board_at.x - middle.x;
  map.f = in.kit->board_at.y - middle.y;
  return Map<BoardFrame, KitFrame>{map};
}

Side faces(const Planned& in, bool lower) {
  return lower ? in.option.option.main : other(in.option.option.main);
}

bool is_built(const Planned& in, const StylePlate& plate) {
  const Side side = faces(in, plate.lower);
  const bool probed = in.option.option.probed(side);
  if (plate.kind == PlateKind::probe && !probed) return false;
  return !(plate.when_probed && !probed) && !(plate.when_bare && probed);
}

const StylePlate* carrier(const Planned& in, Side side) {
  const StylePlate* nearest = nullptr;
  for (const StylePlate& plate : in.style.plates)
    if (faces(in, plate.lower) == side && is_built(in, plate) && (!nearest || plate.at_work < nearest->at_work))
      nearest = &plate;
  return nearest;
}

Mm pocket_depth(const Style& style, Mm at_work, Mm height) {
  return Mm{std::max(0.0, height.v + style.pocket_over.v - at_work.v - 1e-9)};
}

Mm pocket_growth(const Rules& rules, const Style& style) {
  return std::max(rules.pocket_clearance, style.cutter / 2);
}

}  // namespace teasel
