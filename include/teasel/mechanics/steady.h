// Whether a board that is laid in rests on its stops without tipping.
#pragma once
#include <optional>
#include <vector>

#include "teasel/board.h"

namespace teasel {

/// How far the board's centre of weight lies inside the outermost stops, mm; negative: outside, and the board tips over
/// the nearest edge between two stops. The board counts as a sheet of even weight (parts are small against it). Nothing
/// without three stops that span an area.
std::optional<Mm> steadiness(const Board& board, const std::vector<BoardPoint>& stops);

/// The same of the middle of the forces that push the board onto these supports.
std::optional<Mm> steadiness(BoardPoint middle, const std::vector<BoardPoint>& supports);

/// Chosen, no source: heavy parts move the centre of weight by a few millimetres.
inline constexpr Mm kSteady{2};

}  // namespace teasel
