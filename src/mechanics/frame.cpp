// Where the board lies in a kit, and what stands on either side of it.
#include "teasel/mechanics.h"
#include "teasel/plan/build_prices.h"

namespace teasel {

Map<BoardFrame, KitFrame> board_to_kit(const Planned& in) {
  if (in.standing.used) return in.standing.to_kit;
  return board_in_kit(in.board, in.kit, in.option.option.main);
}

Side faces(const Planned& in, bool lower) {
  return lower ? in.option.option.main : other(in.option.option.main);
}

bool is_built(const Planned& in, const StylePlate& plate) {
  return is_built(in, in.option.option, plate);
}

const StylePlate* carrier(const Planned& in, Side side) {
  const StylePlate* nearest = nullptr;
  for (const StylePlate& plate : in.style.plates)
    if (faces(in, plate.lower) == side && meets_board(plate.kind) && is_built(in, plate) &&
        (!nearest || plate.at_work < nearest->at_work))
      nearest = &plate;
  return nearest;
}

}  // namespace teasel
