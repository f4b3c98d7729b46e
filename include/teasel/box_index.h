// Which boxes touch a box: a grid of cells over many small boxes and a list of the large ones.
#pragma once
#include <cstdint>
#include <unordered_map>
#include <vector>

#include "teasel/geometry.h"

namespace teasel {

class BoxIndex {
 public:
  /// `boxes` that are not valid() are never found. The cell size follows from their number and extents.
  explicit BoxIndex(const std::vector<Box>& boxes);
  /// Ids of boxes touching `window`, ascending, each once.
  void find(const Box& window, std::vector<std::uint32_t>& ids) const;

 private:
  struct Cells {
    long long x0, y0, x1, y1;
  };
  [[nodiscard]] Cells cells(const Box& b) const;
  static std::uint64_t key(long long x, long long y) { return static_cast<std::uint64_t>(x) * 0x9E3779B97F4A7C15ull ^ static_cast<std::uint64_t>(y) * 0xC2B2AE3D27D4EB4Full; }

  std::vector<Box> boxes_;
  double cell_ = 1;
  std::unordered_map<std::uint64_t, std::vector<std::uint32_t>> grid_;
  std::vector<std::uint32_t> large_;
};

}  // namespace teasel
