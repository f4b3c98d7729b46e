// Which boxes touch a window: an R-tree, its library kept inside one translation unit.
#pragma once
#include <memory>
#include <vector>

#include "teasel/geometry.h"

namespace teasel {

class BoxTree {
 public:
  BoxTree();
  /// Boxes that are not valid() are never found.
  explicit BoxTree(const std::vector<Box>& boxes);
  ~BoxTree();
  BoxTree(BoxTree&&) noexcept;
  BoxTree& operator=(BoxTree&&) noexcept;
  /// Rows of the boxes that touch the window, ascending.
  void find(const Box& window, std::vector<std::size_t>& rows) const;

 private:
  struct Tree;
  std::unique_ptr<Tree> tree_;
};

}  // namespace teasel
