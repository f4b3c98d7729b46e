#include "by_net.h"

namespace teasel {

namespace {
std::size_t net_of(const Board& b, int feature) {
  return static_cast<std::size_t>(b.features[static_cast<std::size_t>(feature)].net);
}
}  // namespace

std::vector<std::vector<std::size_t>> targets_by_net(const Board& b, const Access& access) {
  std::vector<std::vector<std::size_t>> out(b.nets.size());
  for (std::size_t t = 0; t < access.targets.size(); ++t) out[net_of(b, access.targets[t].feature)].push_back(t);
  return out;
}

std::vector<std::vector<const Covered*>> covered_by_net(const Board& b) {
  std::vector<std::vector<const Covered*>> out(b.nets.size());
  for (const Covered& x : b.covered)
    if (b.features[static_cast<std::size_t>(x.feature)].net >= 0) out[net_of(b, x.feature)].push_back(&x);
  return out;
}

}  // namespace teasel
