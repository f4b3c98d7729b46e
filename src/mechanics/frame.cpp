// Where the board lies in a kit, and what stands on either side of it.
#include <numbers>

#include "teasel/mechanics.h"

namespace teasel {

Affine board_to_kit(const BedInputs& in) {
  if (in.job.standing.used) return in.job.standing.to_kit;
  Affine flip;
  if (in.option.option.main == Side::top) flip.a = -1;
  if (!in.kit) return flip;
  const double turn = in.kit->board_turn * std::numbers::pi / 180;
  // Right angles are exact, so that a turned job gives the same figures.
  const double c =
      std::abs(std::remainder(in.kit->board_turn, 90)) < 1e-9 ? std::round(std::cos(turn)) : std::cos(turn);
  const double s =
      std::abs(std::remainder(in.kit->board_turn, 90)) < 1e-9 ? std::round(std::sin(turn)) : std::sin(turn);
  Affine t = combine({c, -s, s, c, 0, 0}, flip);
  const Point middle = bounds(transformed(in.board.outline.outer, t)).centre();
  t.e = in.kit->board_at.x - middle.x;
  t.f = in.kit->board_at.y - middle.y;
  return t;
}

Side faces(const BedInputs& in, bool lower) {
  return lower ? in.option.option.main : other(in.option.option.main);
}

bool is_built(const BedInputs& in, const StylePlate& p) {
  const Side side = faces(in, p.lower);
  const bool probed = in.option.option.probed(side);
  if (p.kind == PlateKind::probe && !probed) return false;
  return !(p.when_probed && !probed) && !(p.when_bare && probed);
}

const StylePlate* carrier(const BedInputs& in, Side side) {
  const StylePlate* nearest = nullptr;
  for (const StylePlate& p : in.style.plates)
    if (faces(in, p.lower) == side && is_built(in, p) && (!nearest || p.at_work < nearest->at_work)) nearest = &p;
  return nearest;
}

double pocket_depth(const Style& style, double at_work, double height) {
  return std::max(0.0, height + style.pocket_over.v - at_work - 1e-9);
}

double pocket_growth(const Rules& rules, const Style& style) {
  return std::max(rules.pocket_clearance.v, style.cutter.v / 2);
}

}  // namespace teasel
