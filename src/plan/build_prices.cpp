#include "teasel/plan/build_prices.h"

#include <algorithm>

namespace teasel {

namespace {
Side side_of(const BedOption& option, const StylePlate& plate) {
  return plate.lower ? option.main : other(option.main);
}
Money for_time(Minutes minutes, Money hour) {
  return minutes.v / 60 * hour;
}
}  // namespace

bool is_built(const PlanInputs& in, const BedOption& option, const StylePlate& plate) {
  const bool probed = option.probed(side_of(option, plate));
  const bool own = !in.kit && !in.standing.used && in.style.mechanism.used;
  if (!meets_board(plate.kind) && !own) return false;
  if (plate.kind == PlateKind::probe && !probed) return false;
  return !(plate.when_probed && !probed) && !(plate.when_bare && probed);
}

std::string stem_of(const BedOption& option, const StylePlate& plate) {
  return std::string(plate.lower ? "lower-" : "upper-") + to_string(plate.kind) + "-plate-" +
         to_string(side_of(option, plate));
}

BlankSize blank_size(const PlanInputs& in) {
  if (in.kit) return {in.kit->width, in.kit->depth};
  const Box box = bounds(in.standing.used ? in.standing.blank : in.board.outline.outer);
  if (!box.valid()) return {};
  const Mm width{box.width()}, depth{box.height()};
  if (in.standing.used) return {width, depth};
  // Guides, springs and screws along an edge take this much.
  const Mm least{in.style.mechanism.used ? 92.0 : 0.0};
  return {std::max(width + 2 * in.style.margin, least), std::max(depth + 2 * in.style.margin, least)};
}

BuildPrices build_prices(const PlanInputs& in, const BedOption& option) {
  constexpr double kMm2PerDm2 = 10'000, kMm3PerCm3 = 1000;
  const Prices& prices = in.prices;
  const Money shop = prices.hour.shop;
  const BlankSize blank = blank_size(in);
  BuildPrices out;
  PerSide<int> drilled;
  for (const StylePlate& plate : in.style.plates) {
    if (!is_built(in, option, plate)) continue;
    if (plate.kind == PlateKind::probe || plate.kind == PlateKind::moving) ++drilled[side_of(option, plate)];
    if (in.standing.used && in.standing.plate(stem_of(option, plate))) continue;
    out.beds += for_time(prices.plate_setup, shop) +
                (plate.printed ? blank.width.v * blank.depth.v * plate.thickness.v / kMm3PerCm3 * prices.printed_cm3
                               : blank.width.v * blank.depth.v / kMm2PerDm2 * prices.plate_price(plate.material));
  }
  const bool there = std::any_of(in.standing.holes.begin(), in.standing.holes.end(), [&](const StandingHole& hole) {
    return hole.side == other(option.main) && hole.state == HoleState::in_use;
  });
  if (option.sides.is_both() && !there) out.beds += prices.work.second_bed.v * prices.hour.engineer;
  const Money wire = for_time(prices.work.wire, shop);
  for (const Side side : kBothSides)
    out.hole[side] = drilled[side] * for_time(prices.hole, shop) + for_time(prices.work.receptacle, shop) + wire +
                     prices.work.wire_length.v / 1000 * prices.part.wire_metre;
  out.rework = for_time(prices.work.rework, shop);
  out.rewire = 2 * wire;
  return out;
}

}  // namespace teasel
