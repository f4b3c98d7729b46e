// One connected piece of copper on one layer, and whether two of them touch.
#pragma once
#include <memory>
#include <vector>

#include "teasel/box_index.h"
#include "teasel/geometry.h"
#include "teasel/units.h"

namespace teasel {

/// Either all points within `radius` of a segment, or a polygon.
class CopperPiece {
 public:
  CopperPiece(Point a, Point b, Mm radius);
  explicit CopperPiece(Polygon area);

  [[nodiscard]] const Box& box() const { return box_; }
  [[nodiscard]] bool contains(Point p) const;
  /// True if the two come within `tolerance` of each other.
  [[nodiscard]] bool touches(const CopperPiece& other, Mm tolerance) const;
  [[nodiscard]] Polygons area() const;
  [[nodiscard]] const Polygon& polygon() const { return area_; }  ///< without corners: a stroke
  [[nodiscard]] Point start() const { return a_; }
  [[nodiscard]] Point end() const { return b_; }
  [[nodiscard]] Mm radius() const { return Mm{radius_}; }
  [[nodiscard]] std::size_t edge_count() const { return starts_.size(); }

 private:
  [[nodiscard]] bool is_segment() const { return area_.outer.empty(); }

  void edge(std::size_t i, Point& a, Point& b) const;
  /// The polygon comes within `reach` of the segment (its boundary does, or the segment lies inside).
  [[nodiscard]] bool near_segment(Point a, Point b, double reach) const;
  [[nodiscard]] bool boundary_near(Point a, Point b, double reach) const;
  void index_edges();

  Point a_, b_;
  double radius_ = 0;
  Polygon area_;
  Box box_;
  std::vector<std::pair<std::uint32_t, std::uint32_t>> starts_;  ///< ring (0 = outer) and vertex of every edge
  std::shared_ptr<const BoxIndex> index_;                        ///< over edges; only where there are many
};

double distance_between_segments(Point a, Point b, Point c, Point d);

}  // namespace teasel
