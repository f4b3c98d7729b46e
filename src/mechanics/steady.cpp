#include "teasel/mechanics/steady.h"

#include "teasel/geometry.h"

namespace teasel {

namespace {
/// Twice the area of a ring, and its moments: sums over its edges.
struct Moments {
  double area = 0, x = 0, y = 0;
  void add(const Ring& ring, double sign) {
    const double turn = signed_area(ring) < 0 ? -sign : sign;
    for (std::size_t i = 0; i < ring.size(); ++i) {
      const Point a = ring[i], b = ring[(i + 1) % ring.size()];
      const double cross = turn * (a.x * b.y - b.x * a.y);
      area += cross;
      x += cross * (a.x + b.x) / 3;
      y += cross * (a.y + b.y) / 3;
    }
  }
};
}  // namespace

std::optional<Mm> steadiness(BoardPoint middle, const std::vector<BoardPoint>& supports) {
  constexpr double kNothing = 1.0;  // mm2
  std::vector<Point> points;
  for (const BoardPoint support : supports) points.push_back(support.point());
  if (points.size() < 3) return std::nullopt;
  const Ring hull = convex_hull(points);
  if (hull.size() < 3 || std::abs(signed_area(hull)) < kNothing) return std::nullopt;
  const Polygons area{{hull, {}}};
  const double away = distance_to_boundary(area, middle);
  return Mm{contains(area, middle) ? away : -away};
}

std::optional<Mm> steadiness(const Board& board, const std::vector<BoardPoint>& stops) {
  Moments moments;
  moments.add(board.outline.outer, 1);
  for (const Ring& hole : board.outline.holes) moments.add(hole, -1);
  if (moments.area == 0) return std::nullopt;
  return steadiness(BoardPoint{moments.x / moments.area, moments.y / moments.area}, stops);
}

}  // namespace teasel
