#include "box_tree.h"

#include <algorithm>
#include <boost/geometry.hpp>
#include <boost/geometry/index/rtree.hpp>

namespace teasel {

namespace {
namespace bg = boost::geometry;
namespace bgi = boost::geometry::index;
using TreePoint = bg::model::point<double, 2, bg::cs::cartesian>;
using TreeBox = bg::model::box<TreePoint>;
TreeBox to_tree(const Box& box) {
  return {{box.x0, box.y0}, {box.x1, box.y1}};
}
}  // namespace

struct BoxTree::Tree {
  bgi::rtree<std::pair<TreeBox, std::size_t>, bgi::linear<16>> boxes;
};

BoxTree::BoxTree() = default;
BoxTree::~BoxTree() = default;
BoxTree::BoxTree(BoxTree&&) noexcept = default;
BoxTree& BoxTree::operator=(BoxTree&&) noexcept = default;

BoxTree::BoxTree(const std::vector<Box>& boxes) : tree_(std::make_unique<Tree>()) {
  std::vector<std::pair<TreeBox, std::size_t>> list;
  for (std::size_t i = 0; i < boxes.size(); ++i)
    if (boxes[i].valid()) list.emplace_back(to_tree(boxes[i]), i);
  tree_->boxes = decltype(tree_->boxes)(list.begin(), list.end());
}

void BoxTree::find(const Box& window, std::vector<std::size_t>& rows) const {
  rows.clear();
  if (!tree_) return;
  for (auto it = tree_->boxes.qbegin(bgi::intersects(to_tree(window))); it != tree_->boxes.qend(); ++it)
    rows.push_back(it->second);
  std::sort(rows.begin(), rows.end());
}

}  // namespace teasel
