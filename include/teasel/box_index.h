// Which boxes touch a box: a grid of cells over many small boxes and a list of the large ones.
#pragma once
#include <cstdint>
#include <vector>

#include "teasel/geometry.h"

namespace teasel {

class BoxIndex {
 public:
  /// `boxes` that are not valid() are never found. The cell size follows from their number and extents.
  explicit BoxIndex(std::vector<Box> boxes);
  /// Ids of boxes touching `window`, ascending, each once.
  void find(const Box& window, std::vector<std::uint32_t>& ids) const;

 private:
  struct Cells {
    std::size_t x0, y0, x1, y1;  ///< both ends included
    [[nodiscard]] std::size_t count() const { return (x1 - x0 + 1) * (y1 - y0 + 1); }
  };
  [[nodiscard]] Cells cells(const Box& box) const;

  std::vector<Box> boxes_;
  Point origin_;
  double cell_ = 1;
  std::size_t nx_ = 0, ny_ = 0;
  std::vector<std::uint32_t> starts_, entries_;  ///< ids of cell (x, y), ascending: entries_ from starts_[y * nx_ + x]
  std::vector<std::uint32_t> large_;
};

}  // namespace teasel
