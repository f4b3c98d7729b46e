// Where the board lies in a kit, and what stands on either side of it.
#include "teasel/mechanics.h"

namespace teasel {

Map<BoardFrame, KitFrame> board_to_kit(const Planned& in) {
  if (in.standing.used) return in.standing.to_kit;
  return board_in_kit(in.board, in.kit, in.option.option.main);
}

Side faces(const Planned& in, bool lower) {
  return lower ? in.option.option.main : other(in.option.option.main);
}

bool is_built(const Planned& in, const StylePlate& plate) {
  const Side side = faces(in, plate.lower);
  const bool probed = in.option.option.probed(side);
  if (plate.kind == PlateKind::base) return !in.kit && !in.standing.used && in.style.mechanism.used;
  if (plate.kind == PlateKind::probe && !probed) return false;
  return !(plate.when_probed && !probed) && !(plate.when_bare && probed);
}

const StylePlate* carrier(const Planned& in, Side side) {
  const StylePlate* nearest = nullptr;
  for (const StylePlate& plate : in.style.plates)
    if (faces(in, plate.lower) == side && plate.kind != PlateKind::base && is_built(in, plate) &&
        (!nearest || plate.at_work < nearest->at_work))
      nearest = &plate;
  return nearest;
}

}  // namespace teasel
