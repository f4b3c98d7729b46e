#include "teasel/box_index.h"

#include <algorithm>
#include <cmath>

namespace teasel {

namespace {
constexpr long long kMostCells = 256;  // a box over more cells is kept in the list of large ones
}

BoxIndex::BoxIndex(const std::vector<Box>& boxes) : boxes_(boxes) {
  Box all;
  std::size_t n = 0;
  double sides = 0;
  for (const Box& b : boxes_)
    if (b.valid()) all.add(b), ++n, sides += std::max(b.width(), b.height());
  if (n == 0) return;
  // About one box a cell where they are spread evenly, but no finer than the boxes themselves.
  const double spread = std::sqrt(std::max(all.width() * all.height(), 1e-6) / static_cast<double>(n));
  cell_ = std::max({spread, sides / static_cast<double>(n), 1e-3});
  for (std::uint32_t i = 0; i < boxes_.size(); ++i) {
    if (!boxes_[i].valid()) continue;
    const Cells c = cells(boxes_[i]);
    if ((c.x1 - c.x0 + 1) * (c.y1 - c.y0 + 1) > kMostCells) {
      large_.push_back(i);
      continue;
    }
    for (long long x = c.x0; x <= c.x1; ++x)
      for (long long y = c.y0; y <= c.y1; ++y) grid_[key(x, y)].push_back(i);
  }
}

BoxIndex::Cells BoxIndex::cells(const Box& b) const {
  auto at = [&](double v) { return static_cast<long long>(std::floor(std::clamp(v / cell_, -1e9, 1e9))); };
  return {at(b.x0), at(b.y0), at(b.x1), at(b.y1)};
}

void BoxIndex::find(const Box& window, std::vector<std::uint32_t>& ids) const {
  ids.clear();
  auto take = [&](std::uint32_t i) {
    if (boxes_[i].touches(window)) ids.push_back(i);
  };
  for (std::uint32_t i : large_) take(i);
  const Cells c = cells(window);
  if ((c.x1 - c.x0 + 1) * (c.y1 - c.y0 + 1) > static_cast<long long>(4 * boxes_.size()) + kMostCells) {
    for (const auto& [k, list] : grid_)
      for (std::uint32_t i : list) take(i);
  } else {
    for (long long x = c.x0; x <= c.x1; ++x)
      for (long long y = c.y0; y <= c.y1; ++y)
        if (auto it = grid_.find(key(x, y)); it != grid_.end())
          for (std::uint32_t i : it->second) take(i);
  }
  std::sort(ids.begin(), ids.end());
  ids.erase(std::unique(ids.begin(), ids.end()), ids.end());
}

}  // namespace teasel
