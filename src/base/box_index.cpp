#include "teasel/box_index.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace teasel {

namespace {
constexpr std::size_t kMostCells = 256;  // a box over more cells is kept in the list of large ones
}

BoxIndex::BoxIndex(std::vector<Box> boxes) : boxes_(std::move(boxes)) {
  Box all;
  std::size_t n = 0;
  double sides = 0;
  for (const Box& b : boxes_)
    if (b.valid()) {
      all.add(b);
      ++n;
      sides += std::max(b.width(), b.height());
    }
  if (n == 0) return;
  // About one box a cell where they are spread evenly, but no finer than the boxes themselves, and no more cells than
  // can be held.
  const double spread = std::sqrt(std::max(all.width() * all.height(), 1e-6) / static_cast<double>(n));
  const double longest = (all.width() + all.height()) / (2.0 * static_cast<double>(n) + 1000.0);
  cell_ = std::max({spread, sides / static_cast<double>(n), longest, 1e-3});
  origin_ = {all.x0, all.y0};
  auto count = [&](double length) {
    const double k = length / cell_;
    return k > 0 && k < 1e8 ? static_cast<std::size_t>(k) + 1 : 1;
  };
  nx_ = count(all.width());
  ny_ = count(all.height());
  starts_.assign(nx_ * ny_ + 1, 0);
  auto each = [&](auto&& use) {
    for (std::uint32_t i = 0; i < boxes_.size(); ++i) {
      if (!boxes_[i].valid()) continue;
      const Cells c = cells(boxes_[i]);
      if ((c.x1 - c.x0 + 1) * (c.y1 - c.y0 + 1) > kMostCells) continue;
      for (std::size_t y = c.y0; y <= c.y1; ++y)
        for (std::size_t x = c.x0; x <= c.x1; ++x) use(y * nx_ + x, i);
    }
  };
  each([&](std::size_t cell, std::uint32_t) { ++starts_[cell + 1]; });
  for (std::size_t k = 1; k < starts_.size(); ++k) starts_[k] += starts_[k - 1];
  entries_.resize(starts_.back());
  std::vector<std::uint32_t> next(starts_.begin(), starts_.end() - 1);
  each([&](std::size_t cell, std::uint32_t i) { entries_[next[cell]++] = i; });
  for (std::uint32_t i = 0; i < boxes_.size(); ++i) {
    if (!boxes_[i].valid()) continue;
    const Cells c = cells(boxes_[i]);
    if ((c.x1 - c.x0 + 1) * (c.y1 - c.y0 + 1) > kMostCells) large_.push_back(i);
  }
}

BoxIndex::Cells BoxIndex::cells(const Box& b) const {
  auto at = [&](double v, std::size_t n) {
    return v > 0 ? static_cast<std::size_t>(std::min(v / cell_, static_cast<double>(n - 1))) : 0;
  };
  return {at(b.x0 - origin_.x, nx_), at(b.y0 - origin_.y, ny_), at(b.x1 - origin_.x, nx_), at(b.y1 - origin_.y, ny_)};
}

void BoxIndex::find(const Box& window, std::vector<std::uint32_t>& ids) const {
  ids.clear();
  if (nx_ == 0) return;
  auto take = [&](std::uint32_t i) {
    if (boxes_[i].touches(window)) ids.push_back(i);
  };
  for (std::uint32_t i : large_) take(i);
  const Cells c = cells(window);
  for (std::size_t y = c.y0; y <= c.y1; ++y)
    for (std::uint32_t k = starts_[y * nx_ + c.x0]; k < starts_[y * nx_ + c.x1 + 1]; ++k) take(entries_[k]);
  if (large_.empty() && c.x0 == c.x1 && c.y0 == c.y1) return;  // in order as they are
  std::sort(ids.begin(), ids.end());
  ids.erase(std::unique(ids.begin(), ids.end()), ids.end());
}

}  // namespace teasel
