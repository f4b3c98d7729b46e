#include "plate_room.h"

#include <algorithm>

namespace teasel {

PlateRoom::PlateRoom(const Board& board, const Rules& rules, const Shop& shop)
    : rules_(rules), style_(shop.style), kit_(shop.kit) {
  if (kit_)
    for (const Side down : kBothSides) to_kit_[down] = board_in_kit(board, kit_, down);
}

/// True where a plate between board and probe plate guides the plungers.
bool PlateRoom::guides(bool main_side) const {
  return style_ && std::any_of(style_->plates.begin(), style_->plates.end(), [&](const StylePlate& plate) {
           return plate.kind == PlateKind::moving && plate.lower == main_side && !plate.when_bare;
         });
}

double PlateRoom::guide_radius(const ProbeClass& probe, Mm head) const {
  return (std::max({head, probe.plunger_diameter, probe.ring_outer}) + style_->plunger_clearance).v / 2;
}

double PlateRoom::beside_pin(const ProbeClass& probe, Mm head, bool main_side) const {
  const double receptacle = probe.receptacle_drill.v / 2 + rules_.web.v;
  if (!style_) return receptacle;
  // The pin stands in the lower probe plate. Where a plate lets it through, its hole is wider than the board's.
  const double wider = (style_->pin_clearance - rules_.errors.pin_clearance).v / 2;
  const double guide = guides(main_side) ? guide_radius(probe, head) + wider + style_->web.v : 0;
  return std::max(receptacle + (main_side ? 0 : std::max(0.0, wider)), guide);
}

double PlateRoom::beside_pocket(Mm height, const ProbeClass& probe, bool main_side) const {
  if (!style_) return 0;
  const auto plate = std::find_if(style_->plates.begin(), style_->plates.end(), [&](const StylePlate& candidate) {
    return candidate.kind == PlateKind::probe && candidate.lower == main_side;
  });
  if (plate == style_->plates.end() || pocket_depth(*style_, plate->at_work, height) <= Mm{}) return 0;
  constexpr double kMilled = 0.01;  // mm; by which the outline of a pocket is simplified
  return pocket_growth(rules_, *style_).v + kMilled + probe.receptacle_drill.v / 2 +
         std::min(style_->web, rules_.web).v;
}

std::optional<NearKitHole> PlateRoom::kit_hole(BoardPoint aim, Side side, bool main_side, const ProbeClass& probe,
                                               Mm head) const {
  if (!kit_ || !style_) return std::nullopt;
  const KitPoint at = in_kit(aim, side, main_side);
  const bool guided = guides(main_side);
  std::optional<NearKitHole> worst;
  for (std::size_t i = 0; i < kit_->holes.size(); ++i) {
    const KitHole& hole = kit_->holes[i];
    auto in_plate = [&](PlateKind kind) {
      return hole.plates.empty() || std::find(hole.plates.begin(), hole.plates.end(), kind) != hole.plates.end();
    };
    double required = 0;
    if (in_plate(PlateKind::probe)) required = probe.receptacle_drill.v / 2 + std::min(style_->web, rules_.web).v;
    if (guided && in_plate(PlateKind::moving)) required = std::max(required, guide_radius(probe, head) + style_->web.v);
    const double away = std::max(0.0, distance(at, hole.at) - hole.diameter.v / 2);
    if (required > 0 && away < required && (!worst || required - away > worst->required - worst->away))
      worst = {static_cast<int>(i), away, required};
  }
  return worst;
}

bool PlateRoom::outside(BoardPoint aim, Side side, bool main_side) const {
  return kit_ && !kit_->usable.contains(in_kit(aim, side, main_side).point());
}

}  // namespace teasel
