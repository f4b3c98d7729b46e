#include "box_tree.h"

#include <algorithm>
#include <boost/geometry.hpp>
#include <boost/geometry/index/rtree.hpp>

namespace teasel {

namespace {
namespace bg = boost::geometry;
namespace bgi = boost::geometry::index;
using BPoint = bg::model::point<double, 2, bg::cs::cartesian>;
using BBox = bg::model::box<BPoint>;
BBox to_box(const Box& b) {
  return {{b.x0, b.y0}, {b.x1, b.y1}};
}
}  // namespace

struct BoxTree::Tree {
  bgi::rtree<std::pair<BBox, int>, bgi::linear<16>> r;
};

BoxTree::BoxTree() = default;
BoxTree::~BoxTree() = default;
BoxTree::BoxTree(BoxTree&&) noexcept = default;
BoxTree& BoxTree::operator=(BoxTree&&) noexcept = default;

BoxTree::BoxTree(const std::vector<Box>& boxes) : tree_(std::make_unique<Tree>()) {
  std::vector<std::pair<BBox, int>> list;
  for (std::size_t i = 0; i < boxes.size(); ++i)
    if (boxes[i].valid()) list.emplace_back(to_box(boxes[i]), static_cast<int>(i));
  tree_->r = decltype(tree_->r)(list.begin(), list.end());
}

void BoxTree::find(const Box& window, std::vector<int>& ids) const {
  ids.clear();
  if (!tree_) return;
  for (auto it = tree_->r.qbegin(bgi::intersects(to_box(window))); it != tree_->r.qend(); ++it)
    ids.push_back(it->second);
  std::sort(ids.begin(), ids.end());
}

}  // namespace teasel
