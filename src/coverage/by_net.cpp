#include "by_net.h"

namespace teasel {

Table<NetId, std::vector<TargetId>> targets_by_net(const Board& board, const Access& access) {
  Table<NetId, std::vector<TargetId>> out(board.nets.size());
  for (const TargetId target : access.targets.ids())
    out[board.features[access.targets[target].feature].net].push_back(target);
  return out;
}

Table<NetId, std::vector<const Covered*>> covered_by_net(const Board& board) {
  Table<NetId, std::vector<const Covered*>> out(board.nets.size());
  for (const Covered& covered : board.covered)
    if (const NetId net = board.features[covered.feature].net) out[net].push_back(&covered);
  return out;
}

}  // namespace teasel
