#include "copper_piece.h"

#include <algorithm>

namespace teasel {

namespace {
constexpr std::size_t kManyEdges = 64;
}

double distance_between_segments(Point a, Point b, Point c, Point d) {
  const double c_side = cross(b - a, c - a), d_side = cross(b - a, d - a), a_side = cross(d - c, a - c),
               b_side = cross(d - c, b - c);
  if (((c_side > 0 && d_side < 0) || (c_side < 0 && d_side > 0)) &&
      ((a_side > 0 && b_side < 0) || (a_side < 0 && b_side > 0)))
    return 0;
  return std::min({distance_to_segment(a, c, d), distance_to_segment(b, c, d), distance_to_segment(c, a, b),
                   distance_to_segment(d, a, b)});
}

CopperPiece::CopperPiece(Point a, Point b, Mm radius) : a_(a), b_(b), radius_(radius.v) {
  box_.add(a);
  box_.add(b);
  box_ = box_.grown(radius_);
}

CopperPiece::CopperPiece(Polygon area) : area_(std::move(area)), box_(bounds(area_.outer)) {
  index_edges();
}

void CopperPiece::index_edges() {
  auto add = [&](std::uint32_t ring, std::size_t corners) {
    for (std::uint32_t i = 0; i < corners; ++i) starts_.emplace_back(ring, i);
  };
  add(0, area_.outer.size());
  for (std::size_t k = 0; k < area_.holes.size(); ++k) add(static_cast<std::uint32_t>(k + 1), area_.holes[k].size());
  if (edge_count() < kManyEdges) return;
  std::vector<Box> boxes(edge_count());
  for (std::size_t i = 0; i < boxes.size(); ++i) {
    Point a, b;
    edge(i, a, b);
    boxes[i].add(a);
    boxes[i].add(b);
  }
  index_ = std::make_shared<const BoxIndex>(std::move(boxes));
}

void CopperPiece::edge(std::size_t i, Point& a, Point& b) const {
  const auto [ring, vertex] = starts_[i];
  const Ring& corners = ring == 0 ? area_.outer : area_.holes[ring - 1];
  a = corners[vertex];
  b = corners[vertex + 1 == corners.size() ? 0 : vertex + 1];
}

Polygons CopperPiece::area() const {
  if (!is_segment()) return {area_};
  if (a_ == b_) return {{circle(a_, radius_), {}}};
  std::vector<Point> pts = circle(a_, radius_);
  const Ring other = circle(b_, radius_);
  pts.insert(pts.end(), other.begin(), other.end());
  return {{convex_hull(std::move(pts)), {}}};
}

bool CopperPiece::contains(Point p) const {
  if (!box_.contains(p)) return false;
  if (is_segment()) return distance_to_segment(p, a_, b_) <= radius_;
  if (!index_) return teasel::contains(area_, p);
  // A ray to the left crosses only edges that touch its box.
  std::vector<std::uint32_t> ids;
  index_->find({box_.x0, p.y, p.x, p.y}, ids);
  bool inside = false;
  for (std::uint32_t i : ids) {
    Point a, b;
    edge(i, a, b);
    if ((a.y > p.y) == (b.y > p.y)) continue;
    if (a.x + (b.x - a.x) * ((p.y - a.y) / (b.y - a.y)) < p.x) inside = !inside;
  }
  return inside;
}

bool CopperPiece::boundary_near(Point a, Point b, double reach) const {
  auto close = [&](std::size_t i) {
    Point c, d;
    edge(i, c, d);
    return distance_between_segments(a, b, c, d) <= reach;
  };
  if (!index_) {
    for (std::size_t i = 0; i < edge_count(); ++i)
      if (close(i)) return true;
    return false;
  }
  Box window;
  window.add(a);
  window.add(b);
  std::vector<std::uint32_t> ids;
  index_->find(window.grown(reach), ids);
  return std::any_of(ids.begin(), ids.end(), close);
}

bool CopperPiece::near_segment(Point a, Point b, double reach) const {
  return boundary_near(a, b, reach) || contains(a);
}

bool CopperPiece::touches(const CopperPiece& piece, Mm tolerance) const {
  const double reach = tolerance.v;
  if (!box_.grown(reach).touches(piece.box_)) return false;
  if (is_segment() && piece.is_segment())
    return distance_between_segments(a_, b_, piece.a_, piece.b_) <= radius_ + piece.radius_ + reach;
  if (is_segment()) return piece.near_segment(a_, b_, radius_ + reach);
  if (piece.is_segment()) return near_segment(piece.a_, piece.b_, piece.radius_ + reach);
  const CopperPiece &few = edge_count() <= piece.edge_count() ? *this : piece,
                    &many = edge_count() <= piece.edge_count() ? piece : *this;
  const Box window = many.box_.grown(reach);
  for (std::size_t i = 0; i < few.edge_count(); ++i) {
    Point a, b;
    few.edge(i, a, b);
    Box box;
    box.add(a);
    box.add(b);
    if (box.touches(window) && many.boundary_near(a, b, reach)) return true;
  }
  return many.contains(few.area_.outer[0]) || few.contains(many.area_.outer[0]);
}

}  // namespace teasel
