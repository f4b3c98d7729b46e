// What lies on each net.
#pragma once
#include <vector>

#include "teasel/access.h"

namespace teasel {

/// The aim points of one target.
inline std::vector<SpotId> spots_of(const Target& target) {
  std::vector<SpotId> out;
  for (std::size_t i = 0; i < static_cast<std::size_t>(target.spots); ++i)
    out.emplace_back(target.first_spot.index() + i);
  return out;
}
/// Targets of each net, ascending.
Table<NetId, std::vector<TargetId>> targets_by_net(const Board& board, const Access& access);
/// Lands of each net that no opening bares.
Table<NetId, std::vector<const Covered*>> covered_by_net(const Board& board);

}  // namespace teasel
