// What lies on each net.
#pragma once
#include <vector>

#include "teasel/access.h"

namespace teasel {

/// Targets of each net, ascending.
std::vector<std::vector<std::size_t>> targets_by_net(const Board& board, const Access& access);
/// Lands of each net that no opening bares.
std::vector<std::vector<const Covered*>> covered_by_net(const Board& board);

}  // namespace teasel
