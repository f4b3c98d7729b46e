// Disjoint sets.
#pragma once
#include <cstdint>
#include <numeric>
#include <utility>
#include <vector>

namespace teasel {

class UnionFind {
 public:
  explicit UnionFind(std::size_t count) : parent_(count) { std::iota(parent_.begin(), parent_.end(), 0u); }
  std::uint32_t find(std::uint32_t i) {
    while (parent_[i] != i) i = parent_[i] = parent_[parent_[i]];
    return i;
  }
  /// The smaller id stays the root, so that the outcome does not hang on the order of calls.
  void join(std::uint32_t a, std::uint32_t b) {
    a = find(a);
    b = find(b);
    if (a == b) return;
    if (b < a) std::swap(a, b);
    parent_[b] = a;
  }

 private:
  std::vector<std::uint32_t> parent_;
};

}  // namespace teasel
