// What keeps a board from going onto its pins the wrong way.
#pragma once
#include "teasel/board.h"

namespace teasel {

/// A pin that stands at `at` stops a board that lies as `map` says: enough of the board is over the pin, and none of
/// its holes takes it. `clearance`: of a hole over a pin, diameters.
bool pin_stops(const Board& board, const Affine& map, BoardPoint at, Mm pin, Mm clearance);

}  // namespace teasel
