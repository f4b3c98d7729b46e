#include "teasel/geometry.h"

#include <algorithm>
#include <queue>

namespace teasel {

Affine combine(const Affine& s, const Affine& t) {
  return {s.a * t.a + s.b * t.c, s.a * t.b + s.b * t.d,       s.c * t.a + s.d * t.c,
          s.c * t.b + s.d * t.d, s.a * t.e + s.b * t.f + s.e, s.c * t.e + s.d * t.f + s.f};
}

Affine inverse(const Affine& t) {
  double k = 1 / t.determinant();
  Affine back{t.d * k, -t.b * k, -t.c * k, t.a * k, 0, 0};
  back.e = -(back.a * t.e + back.b * t.f);
  back.f = -(back.c * t.e + back.d * t.f);
  return back;
}

double signed_area(const Ring& ring) {
  double sum = 0;
  for (std::size_t i = 0, n = ring.size(); i < n; ++i) {
    const Point& a = ring[i];
    const Point& b = ring[i + 1 == n ? 0 : i + 1];
    sum += (a.x - ring[0].x) * (b.y - ring[0].y) - (b.x - ring[0].x) * (a.y - ring[0].y);
  }
  return sum / 2;
}

double area(const Polygon& polygon) {
  double sum = std::abs(signed_area(polygon.outer));
  for (const auto& hole : polygon.holes) sum -= std::abs(signed_area(hole));
  return sum;
}

double area(const Polygons& polygons) {
  double sum = 0;
  for (const auto& polygon : polygons) sum += area(polygon);
  return sum;
}

Box bounds(const Ring& ring) {
  Box box;
  for (Point p : ring) box.add(p);
  return box;
}

Box bounds(const Polygons& polygons) {
  Box box;
  for (const auto& polygon : polygons) box.add(bounds(polygon.outer));
  return box;
}

std::size_t overlapping_pairs(std::vector<Box> boxes, std::size_t most) {
  std::sort(boxes.begin(), boxes.end(), [](const Box& a, const Box& b) { return a.x0 < b.x0; });
  std::vector<std::size_t> open;
  std::size_t pairs = 0, looked = 0;
  for (std::size_t i = 0; i < boxes.size(); ++i) {
    std::erase_if(open, [&](std::size_t k) { return boxes[k].x1 < boxes[i].x0; });
    looked += open.size();
    if (looked > 2'000'000'000) return most + 1;
    for (std::size_t k : open)
      if (boxes[k].y0 <= boxes[i].y1 && boxes[i].y0 <= boxes[k].y1 && ++pairs > most) return pairs;
    open.push_back(i);
  }
  return pairs;
}

bool heaped(const std::vector<Box>& boxes) {
  const std::size_t most = 40 * boxes.size() + 1000;
  return overlapping_pairs(boxes, most) > most;
}

int winding_number(const Ring& ring, Point p) {
  int winding = 0;
  for (std::size_t i = 0, n = ring.size(); i < n; ++i) {
    const Point& a = ring[i];
    const Point& b = ring[i + 1 == n ? 0 : i + 1];
    if (a.y <= p.y) {
      if (b.y > p.y && cross(b - a, p - a) > 0) ++winding;
    } else if (b.y <= p.y && cross(b - a, p - a) < 0) {
      --winding;
    }
  }
  return winding;
}

bool contains(const Polygon& polygon, Point p) {
  if (winding_number(polygon.outer, p) == 0) return false;
  return std::none_of(polygon.holes.begin(), polygon.holes.end(),
                      [&](const Ring& hole) { return winding_number(hole, p) != 0; });
}

bool contains(const Polygons& polygons, Point p) {
  return std::any_of(polygons.begin(), polygons.end(), [&](const Polygon& polygon) { return contains(polygon, p); });
}

namespace {
/// True if each segment has its ends on both sides of the other one. Touching is not crossing.
bool cross_properly(Point a, Point b, Point p, Point q) {
  const double p_side = cross(b - a, p - a), q_side = cross(b - a, q - a);
  const double a_side = cross(q - p, a - p), b_side = cross(q - p, b - p);
  return ((p_side > 0 && q_side < 0) || (p_side < 0 && q_side > 0)) &&
         ((a_side > 0 && b_side < 0) || (a_side < 0 && b_side > 0));
}
}  // namespace

bool crossings_exceed(const Ring& ring, std::size_t most) {
  const std::size_t count = ring.size();
  if (count * count / 2 <= most) return false;
  struct Edge {
    double x0, x1, y0, y1;
    Point a, b;
  };
  std::vector<Edge> edges(count);
  for (std::size_t i = 0; i < count; ++i) {
    const Point a = ring[i], b = ring[i + 1 == count ? 0 : i + 1];
    edges[i] = {.x0 = std::min(a.x, b.x),
                .x1 = std::max(a.x, b.x),
                .y0 = std::min(a.y, b.y),
                .y1 = std::max(a.y, b.y),
                .a = a,
                .b = b};
  }
  std::sort(edges.begin(), edges.end(), [](const Edge& a, const Edge& b) { return a.x0 < b.x0; });
  std::vector<std::size_t> open;
  std::size_t crossings = 0, looked = 0;
  for (std::size_t i = 0; i < count; ++i) {
    const Edge& edge = edges[i];
    std::size_t kept = 0;
    for (std::size_t k : open) {
      const Edge& other = edges[k];
      if (other.x1 < edge.x0) continue;
      open[kept++] = k;
      if (other.y1 < edge.y0 || edge.y1 < other.y0) continue;
      if (cross_properly(edge.a, edge.b, other.a, other.b) && ++crossings > most) return true;
    }
    looked += open.size();
    open.resize(kept);
    if (looked > 2'000'000'000) return true;
    open.push_back(i);
  }
  return false;
}

Ring transformed(const Ring& ring, const Affine& t) {
  Ring moved;
  moved.reserve(ring.size());
  for (Point p : ring) moved.push_back(t(p));
  return moved;
}

Polygons transformed(const Polygons& polygons, const Affine& t) {
  const bool flips = t.determinant() < 0;
  Polygons out;
  out.reserve(polygons.size());
  for (const auto& polygon : polygons) {
    Polygon moved{transformed(polygon.outer, t), {}};
    if (flips) std::reverse(moved.outer.begin(), moved.outer.end());
    for (const auto& hole : polygon.holes) {
      moved.holes.push_back(transformed(hole, t));
      if (flips) std::reverse(moved.holes.back().begin(), moved.holes.back().end());
    }
    out.push_back(std::move(moved));
  }
  return out;
}

Point nearest_on_segment(Point p, Point a, Point b) {
  const Point along = b - a;
  const double squared = dot(along, along);
  if (squared == 0) return a;
  const double share = std::clamp(dot(p - a, along) / squared, 0.0, 1.0);
  return a + share * along;
}

double distance_to_segment(Point p, Point a, Point b) {
  return distance(p, nearest_on_segment(p, a, b));
}

namespace {
template <class Use>
void each_edge(const Ring& ring, Use use) {
  for (std::size_t i = 0, n = ring.size(); i < n; ++i) use(ring[i], ring[i + 1 == n ? 0 : i + 1]);
}
template <class Use>
void each_edge(const Polygons& polygons, Use use) {
  for (const auto& polygon : polygons) {
    each_edge(polygon.outer, use);
    for (const auto& hole : polygon.holes) each_edge(hole, use);
  }
}
double boundary_distance(const Polygons& polygons, Point p, Point* nearest) {
  double best = std::numeric_limits<double>::infinity();  // squared
  each_edge(polygons, [&](Point a, Point b) {
    const Point q = nearest_on_segment(p, a, b), way = q - p;
    if (const double squared = dot(way, way); squared < best) {
      best = squared;
      if (nearest) *nearest = q;
    }
  });
  return std::sqrt(best);
}
}  // namespace

double distance_to_boundary(const Polygons& polygons, Point p) {
  return boundary_distance(polygons, p, nullptr);
}

double distance_to_area(const Polygons& polygons, Point p, Point* nearest) {
  if (contains(polygons, p)) {
    if (nearest) *nearest = p;
    return 0;
  }
  return boundary_distance(polygons, p, nearest);
}

double distance_between(const Polygons& a, const Polygons& b) {
  // Where two areas do not overlap, the least distance lies between a vertex of one and an edge of the other. An
  // overlap shows as a contained vertex or as crossing edges.
  for (const auto& polygon : a)
    if (!polygon.outer.empty() && contains(b, polygon.outer[0])) return 0;
  for (const auto& polygon : b)
    if (!polygon.outer.empty() && contains(a, polygon.outer[0])) return 0;
  double best = std::numeric_limits<double>::infinity();  // squared
  auto to_edge = [&](Point p, Point r, Point s) {
    const Point way = nearest_on_segment(p, r, s) - p;
    best = std::min(best, dot(way, way));
  };
  each_edge(a, [&](Point p, Point q) {
    each_edge(b, [&](Point r, Point s) {
      const double r_side = cross(q - p, r - p), s_side = cross(q - p, s - p);
      if (r_side * s_side < 0 && cross(s - r, p - r) * cross(s - r, q - r) < 0) best = 0;
      to_edge(r, p, q);
      to_edge(p, r, s);
    });
  });
  return std::sqrt(best);
}

Ring convex_hull(std::vector<Point> points) {
  std::sort(points.begin(), points.end(), [](Point a, Point b) { return a.x < b.x || (a.x == b.x && a.y < b.y); });
  points.erase(std::unique(points.begin(), points.end()), points.end());
  if (points.size() < 3) return points;
  Ring hull(2 * points.size());
  std::size_t k = 0;
  auto push = [&](Point p, std::size_t floor) {
    while (k >= floor + 2 && cross(hull[k - 1] - hull[k - 2], p - hull[k - 2]) <= 0) --k;
    hull[k++] = p;
  };
  for (Point p : points) push(p, 0);
  const std::size_t lower = k - 1;
  for (std::size_t i = points.size() - 1; i-- > 0;) push(points[i], lower);
  hull.resize(k - 1);
  return hull;
}

int chords_of(double radius) {
  if (radius <= kChord) return 8;
  if (!(radius < 2000)) return 2000;  // a radius that is not a number ends here as well
  const int chords = static_cast<int>(std::ceil(3.14159265358979323846 / std::acos(1 - kChord / radius)));
  return std::clamp((chords + 3) / 4 * 4, 8, 2000);
}

Ring circle(Point centre, double radius) {
  const int chords = chords_of(radius);
  Ring ring(static_cast<std::size_t>(chords));
  for (int i = 0; i < chords; ++i) {
    const double angle = 2 * 3.14159265358979323846 * i / chords;
    ring[static_cast<std::size_t>(i)] = {centre.x + radius * std::cos(angle), centre.y + radius * std::sin(angle)};
  }
  return ring;
}

Ring rectangle(Point centre, double width, double height) {
  return {{centre.x - width / 2, centre.y - height / 2},
          {centre.x + width / 2, centre.y - height / 2},
          {centre.x + width / 2, centre.y + height / 2},
          {centre.x - width / 2, centre.y + height / 2}};
}

Ring obround(Point centre, double width, double height) {
  const double radius = std::min(width, height) / 2;
  const Point half = width >= height ? Point{width / 2 - radius, 0} : Point{0, height / 2 - radius};
  std::vector<Point> points;
  for (Point p : circle(centre - half, radius)) points.push_back(p);
  for (Point p : circle(centre + half, radius)) points.push_back(p);
  return convex_hull(std::move(points));
}

namespace {
struct Cell {
  Point centre;
  double half, value, best_possible;
  bool operator<(const Cell& other) const {
    if (best_possible != other.best_possible) return best_possible < other.best_possible;
    return centre.x != other.centre.x ? centre.x > other.centre.x : centre.y > other.centre.y;
  }
};
Cell cell_at(const Polygons& area, Point centre, double half) {
  double inside = distance_to_boundary(area, centre);
  if (!contains(area, centre)) inside = -inside;
  return {centre, half, inside, inside + half * std::sqrt(2.0)};
}
}  // namespace

Circle largest_inscribed_circle(const Polygon& polygon, double precision) {
  const Polygons area{polygon};
  const Box box = bounds(polygon.outer);
  if (!box.valid()) return {};
  const double size = std::max(std::min(box.width(), box.height()), precision);
  std::priority_queue<Cell> queue;
  Cell best = cell_at(area, box.centre(), 0);
  const double half = size / 2;
  const int nx = std::clamp(static_cast<int>(std::ceil(box.width() / size)), 1, 64);
  const int ny = std::clamp(static_cast<int>(std::ceil(box.height() / size)), 1, 64);
  const double step_x = box.width() / nx, step_y = box.height() / ny;
  const double cell_half = std::max({half, step_x / 2, step_y / 2});
  for (int i = 0; i < nx; ++i)
    for (int j = 0; j < ny; ++j)
      queue.push(cell_at(area, {box.x0 + (i + 0.5) * step_x, box.y0 + (j + 0.5) * step_y}, cell_half));
  for (int guard = 0; !queue.empty() && guard < 20000; ++guard) {
    const Cell cell = queue.top();
    queue.pop();
    if (cell.value > best.value) best = cell;
    if (cell.best_possible - best.value <= precision) break;
    const double quarter = cell.half / 2;
    for (int k = 0; k < 4; ++k) {
      const double x = cell.centre.x + (k & 1 ? quarter : -quarter);
      const double y = cell.centre.y + (k & 2 ? quarter : -quarter);
      queue.push(cell_at(area, {x, y}, quarter));
    }
  }
  return {best.centre, std::max(best.value, 0.0)};
}

Ring thinned(const Ring& ring, double tolerance) {
  if (ring.size() < 8) return ring;
  std::vector<char> keep(ring.size() + 1);
  std::size_t far = 0;
  for (std::size_t i = 0; i < ring.size(); ++i)
    if (distance(ring[0], ring[i]) > distance(ring[0], ring[far])) far = i;
  keep[0] = keep[far] = keep[ring.size()] = 1;
  std::vector<std::pair<std::size_t, std::size_t>> open{{0, far}, {far, ring.size()}};
  while (!open.empty()) {
    const auto [a, b] = open.back();
    open.pop_back();
    double most = tolerance;
    std::size_t farthest = a;
    for (std::size_t i = a + 1; i < b; ++i)
      if (const double away = distance_to_segment(ring[i], ring[a], ring[b % ring.size()]); away > most) {
        most = away;
        farthest = i;
      }
    if (farthest == a) continue;
    keep[farthest] = 1;
    open.emplace_back(a, farthest);
    open.emplace_back(farthest, b);
  }
  Ring out;
  for (std::size_t i = 0; i < ring.size(); ++i)
    if (keep[i]) out.push_back(ring[i]);
  return out.size() < 3 ? ring : out;
}
Polygons thinned(Polygons list, double tolerance) {
  for (Polygon& polygon : list) {
    polygon.outer = thinned(polygon.outer, tolerance);
    for (Ring& hole : polygon.holes) hole = thinned(hole, tolerance);
  }
  return list;
}

}  // namespace teasel
