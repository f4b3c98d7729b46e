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
  std::size_t valid = 0;
  double sides = 0;
  for (const Box& box : boxes_)
    if (box.valid()) {
      all.add(box);
      ++valid;
      sides += std::max(box.width(), box.height());
    }
  if (valid == 0) return;
  // Evenly spread boxes get about one cell each. Cells are no smaller than the boxes themselves, and their number is
  // bounded by what can be held in memory.
  const double spread = std::sqrt(std::max(all.width() * all.height(), 1e-6) / static_cast<double>(valid));
  const double longest = (all.width() + all.height()) / (2.0 * static_cast<double>(valid) + 1000.0);
  cell_ = std::max({spread, sides / static_cast<double>(valid), longest, 1e-3});
  origin_ = {all.x0, all.y0};
  auto count = [&](double length) {
    const double cells = length / cell_;
    return cells > 0 && cells < 1e8 ? static_cast<std::size_t>(cells) + 1 : 1;
  };
  nx_ = count(all.width());
  ny_ = count(all.height());
  starts_.assign(nx_ * ny_ + 1, 0);
  auto each = [&](auto&& use) {
    for (std::uint32_t i = 0; i < boxes_.size(); ++i) {
      if (!boxes_[i].valid()) continue;
      const Cells covered = cells(boxes_[i]);
      if (covered.count() > kMostCells) continue;
      for (std::size_t y = covered.y0; y <= covered.y1; ++y)
        for (std::size_t x = covered.x0; x <= covered.x1; ++x) use(y * nx_ + x, i);
    }
  };
  each([&](std::size_t cell, std::uint32_t) { ++starts_[cell + 1]; });
  for (std::size_t k = 1; k < starts_.size(); ++k) starts_[k] += starts_[k - 1];
  entries_.resize(starts_.back());
  std::vector<std::uint32_t> next(starts_.begin(), starts_.end() - 1);
  each([&](std::size_t cell, std::uint32_t i) { entries_[next[cell]++] = i; });
  for (std::uint32_t i = 0; i < boxes_.size(); ++i) {
    if (!boxes_[i].valid()) continue;
    if (cells(boxes_[i]).count() > kMostCells) large_.push_back(i);
  }
}

BoxIndex::Cells BoxIndex::cells(const Box& box) const {
  auto cell = [&](double distance, std::size_t count) {
    return distance > 0 ? static_cast<std::size_t>(std::min(distance / cell_, static_cast<double>(count - 1))) : 0;
  };
  return {cell(box.x0 - origin_.x, nx_), cell(box.y0 - origin_.y, ny_), cell(box.x1 - origin_.x, nx_),
          cell(box.y1 - origin_.y, ny_)};
}

void BoxIndex::find(const Box& window, std::vector<std::uint32_t>& ids) const {
  ids.clear();
  if (nx_ == 0) return;
  auto take = [&](std::uint32_t i) {
    if (boxes_[i].touches(window)) ids.push_back(i);
  };
  for (std::uint32_t i : large_) take(i);
  const Cells searched = cells(window);
  for (std::size_t y = searched.y0; y <= searched.y1; ++y)
    for (std::uint32_t k = starts_[y * nx_ + searched.x0]; k < starts_[y * nx_ + searched.x1 + 1]; ++k)
      take(entries_[k]);
  if (large_.empty() && searched.count() == 1) return;  // the entries of one cell are sorted already
  std::sort(ids.begin(), ids.end());
  ids.erase(std::unique(ids.begin(), ids.end()), ids.end());
}

}  // namespace teasel
