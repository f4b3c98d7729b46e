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
  Affine r{t.d * k, -t.b * k, -t.c * k, t.a * k, 0, 0};
  r.e = -(r.a * t.e + r.b * t.f);
  r.f = -(r.c * t.e + r.d * t.f);
  return r;
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
  for (const auto& p : polygons) sum += area(p);
  return sum;
}

Box bounds(const Ring& ring) {
  Box b;
  for (Point p : ring) b.add(p);
  return b;
}

Box bounds(const Polygons& polygons) {
  Box b;
  for (const auto& p : polygons) b.add(bounds(p.outer));
  return b;
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
                      [&](const Ring& h) { return winding_number(h, p) != 0; });
}

bool contains(const Polygons& polygons, Point p) {
  return std::any_of(polygons.begin(), polygons.end(), [&](const Polygon& q) { return contains(q, p); });
}

bool crossings_exceed(const Ring& ring, std::size_t most) {
  const std::size_t n = ring.size();
  if (n * n / 2 <= most) return false;
  struct Edge {
    double x0, x1, y0, y1;
    Point a, b;
  };
  std::vector<Edge> edges(n);
  for (std::size_t i = 0; i < n; ++i) {
    const Point a = ring[i], b = ring[i + 1 == n ? 0 : i + 1];
    edges[i] = {std::min(a.x, b.x), std::max(a.x, b.x), std::min(a.y, b.y), std::max(a.y, b.y), a, b};
  }
  std::sort(edges.begin(), edges.end(), [](const Edge& e, const Edge& f) { return e.x0 < f.x0; });
  std::vector<std::size_t> open;
  std::size_t crossings = 0, looked = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const Edge& e = edges[i];
    std::size_t kept = 0;
    for (std::size_t k : open) {
      const Edge& f = edges[k];
      if (f.x1 < e.x0) continue;
      open[kept++] = k;
      if (f.y1 < e.y0 || e.y1 < f.y0) continue;
      const double s = cross(e.b - e.a, f.a - e.a), t = cross(e.b - e.a, f.b - e.a);
      const double u = cross(f.b - f.a, e.a - f.a), v = cross(f.b - f.a, e.b - f.a);
      if (((s > 0 && t < 0) || (s < 0 && t > 0)) && ((u > 0 && v < 0) || (u < 0 && v > 0)) && ++crossings > most)
        return true;
    }
    looked += open.size();
    open.resize(kept);
    if (looked > 2'000'000'000) return true;
    open.push_back(i);
  }
  return false;
}

Ring transformed(const Ring& ring, const Affine& t) {
  Ring r;
  r.reserve(ring.size());
  for (Point p : ring) r.push_back(t(p));
  return r;
}

Polygons transformed(const Polygons& polygons, const Affine& t) {
  const bool flips = t.determinant() < 0;
  Polygons r;
  r.reserve(polygons.size());
  for (const auto& p : polygons) {
    Polygon q{transformed(p.outer, t), {}};
    if (flips) std::reverse(q.outer.begin(), q.outer.end());
    for (const auto& h : p.holes) {
      q.holes.push_back(transformed(h, t));
      if (flips) std::reverse(q.holes.back().begin(), q.holes.back().end());
    }
    r.push_back(std::move(q));
  }
  return r;
}

Point nearest_on_segment(Point p, Point a, Point b) {
  Point d = b - a;
  double len2 = dot(d, d);
  if (len2 == 0) return a;
  double t = std::clamp(dot(p - a, d) / len2, 0.0, 1.0);
  return a + t * d;
}

double distance_to_segment(Point p, Point a, Point b) {
  return distance(p, nearest_on_segment(p, a, b));
}

namespace {
template <class F>
void each_edge(const Ring& ring, F f) {
  for (std::size_t i = 0, n = ring.size(); i < n; ++i) f(ring[i], ring[i + 1 == n ? 0 : i + 1]);
}
template <class F>
void each_edge(const Polygons& polygons, F f) {
  for (const auto& p : polygons) {
    each_edge(p.outer, f);
    for (const auto& h : p.holes) each_edge(h, f);
  }
}
double boundary_distance(const Polygons& polygons, Point p, Point* nearest) {
  double best = std::numeric_limits<double>::infinity();  // squared
  each_edge(polygons, [&](Point a, Point b) {
    const Point q = nearest_on_segment(p, a, b), d = q - p;
    if (const double dd = dot(d, d); dd < best) {
      best = dd;
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
  // Vertices against edges both ways is exact for areas that do not overlap; an overlap shows as a contained vertex
  // or as crossing edges.
  for (const auto& p : a)
    if (!p.outer.empty() && contains(b, p.outer[0])) return 0;
  for (const auto& p : b)
    if (!p.outer.empty() && contains(a, p.outer[0])) return 0;
  double best = std::numeric_limits<double>::infinity();  // squared
  auto to_edge = [&](Point p, Point r, Point s) {
    const Point d = nearest_on_segment(p, r, s) - p;
    best = std::min(best, dot(d, d));
  };
  each_edge(a, [&](Point p, Point q) {
    each_edge(b, [&](Point r, Point s) {
      const double d1 = cross(q - p, r - p), d2 = cross(q - p, s - p);
      if (d1 * d2 < 0 && cross(s - r, p - r) * cross(s - r, q - r) < 0) best = 0;
      to_edge(r, p, q);
      to_edge(p, r, s);
    });
  });
  return std::sqrt(best);
}

Ring convex_hull(std::vector<Point> pts) {
  std::sort(pts.begin(), pts.end(), [](Point a, Point b) { return a.x < b.x || (a.x == b.x && a.y < b.y); });
  pts.erase(std::unique(pts.begin(), pts.end()), pts.end());
  if (pts.size() < 3) return pts;
  Ring hull(2 * pts.size());
  std::size_t k = 0;
  auto push = [&](Point p, std::size_t floor) {
    while (k >= floor + 2 && cross(hull[k - 1] - hull[k - 2], p - hull[k - 2]) <= 0) --k;
    hull[k++] = p;
  };
  for (Point p : pts) push(p, 0);
  const std::size_t lower = k - 1;
  for (std::size_t i = pts.size() - 1; i-- > 0;) push(pts[i], lower);
  hull.resize(k - 1);
  return hull;
}

int chords_of(double radius) {
  if (radius <= kChord) return 8;
  if (!(radius < 2000)) return 2000;  // also what is no number
  int n = static_cast<int>(std::ceil(3.14159265358979323846 / std::acos(1 - kChord / radius)));
  return std::clamp((n + 3) / 4 * 4, 8, 2000);
}

Ring circle(Point c, double r) {
  const int n = chords_of(r);
  Ring ring(static_cast<std::size_t>(n));
  for (int i = 0; i < n; ++i) {
    double a = 2 * 3.14159265358979323846 * i / n;
    ring[static_cast<std::size_t>(i)] = {c.x + r * std::cos(a), c.y + r * std::sin(a)};
  }
  return ring;
}

Ring rectangle(Point c, double w, double h) {
  return {
      {c.x - w / 2, c.y - h / 2}, {c.x + w / 2, c.y - h / 2}, {c.x + w / 2, c.y + h / 2}, {c.x - w / 2, c.y + h / 2}};
}

Ring obround(Point c, double w, double h) {
  const double r = std::min(w, h) / 2;
  const Point half = w >= h ? Point{w / 2 - r, 0} : Point{0, h / 2 - r};
  std::vector<Point> pts;
  for (Point p : circle(c - half, r)) pts.push_back(p);
  for (Point p : circle(c + half, r)) pts.push_back(p);
  return convex_hull(std::move(pts));
}

namespace {
struct Cell {
  Point centre;
  double half, value, best_possible;
  bool operator<(const Cell& o) const {
    if (best_possible != o.best_possible) return best_possible < o.best_possible;
    return centre.x != o.centre.x ? centre.x > o.centre.x : centre.y > o.centre.y;
  }
};
Cell cell_at(const Polygons& area, Point c, double half) {
  double d = distance_to_boundary(area, c);
  if (!contains(area, c)) d = -d;
  return {c, half, d, d + half * std::sqrt(2.0)};
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
    Cell c = queue.top();
    queue.pop();
    if (c.value > best.value) best = c;
    if (c.best_possible - best.value <= precision) break;
    const double h = c.half / 2;
    for (int k = 0; k < 4; ++k)
      queue.push(cell_at(area, {c.centre.x + (k & 1 ? h : -h), c.centre.y + (k & 2 ? h : -h)}, h));
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
    std::size_t at_most = a;
    for (std::size_t i = a + 1; i < b; ++i)
      if (const double d = distance_to_segment(ring[i], ring[a], ring[b % ring.size()]); d > most) {
        most = d;
        at_most = i;
      }
    if (at_most == a) continue;
    keep[at_most] = 1;
    open.emplace_back(a, at_most);
    open.emplace_back(at_most, b);
  }
  Ring out;
  for (std::size_t i = 0; i < ring.size(); ++i)
    if (keep[i]) out.push_back(ring[i]);
  return out.size() < 3 ? ring : out;
}
Polygons thinned(Polygons list, double tolerance) {
  for (Polygon& p : list) {
    p.outer = thinned(p.outer, tolerance);
    for (Ring& h : p.holes) h = thinned(h, tolerance);
  }
  return list;
}

}  // namespace teasel
