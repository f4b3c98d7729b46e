// Plain planar geometry. Every coordinate is in millimetres in the frame its owner states; angles in radians here,
// since this is the kernel below the unit types.
#pragma once
#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

namespace teasel {

struct Point {
  double x{}, y{};
  friend Point operator+(Point a, Point b) { return {a.x + b.x, a.y + b.y}; }
  friend Point operator-(Point a, Point b) { return {a.x - b.x, a.y - b.y}; }
  friend Point operator*(double k, Point a) { return {k * a.x, k * a.y}; }
  bool operator==(const Point&) const = default;
};
inline double dot(Point a, Point b) {
  return a.x * b.x + a.y * b.y;
}
inline double cross(Point a, Point b) {
  return a.x * b.y - a.y * b.x;
}
inline double length(Point a) {
  return std::sqrt(a.x * a.x + a.y * a.y);
}  // board sizes neither over- nor underflow
inline double distance(Point a, Point b) {
  return length(b - a);
}

/// Outputs are rounded to 1 um, as they are printed: plates and lists agree to the last digit.
inline double rounded(double v) {
  const double r = std::round(v * 1000) / 1000;
  return r == 0 ? 0 : r;
}
inline Point rounded(Point p) {
  return {rounded(p.x), rounded(p.y)};
}

struct Box {
  double x0 = std::numeric_limits<double>::infinity(), y0 = x0, x1 = -x0, y1 = -x0;
  void add(Point p) {
    x0 = std::min(x0, p.x);
    y0 = std::min(y0, p.y);
    x1 = std::max(x1, p.x);
    y1 = std::max(y1, p.y);
  }
  void add(const Box& b) {
    x0 = std::min(x0, b.x0);
    y0 = std::min(y0, b.y0);
    x1 = std::max(x1, b.x1);
    y1 = std::max(y1, b.y1);
  }
  [[nodiscard]] bool valid() const { return x1 >= x0 && y1 >= y0; }
  [[nodiscard]] double width() const { return x1 - x0; }
  [[nodiscard]] double height() const { return y1 - y0; }
  [[nodiscard]] Point centre() const { return {(x0 + x1) / 2, (y0 + y1) / 2}; }
  [[nodiscard]] Box grown(double by) const { return {x0 - by, y0 - by, x1 + by, y1 + by}; }
  [[nodiscard]] bool contains(Point p) const { return p.x >= x0 && p.x <= x1 && p.y >= y0 && p.y <= y1; }
  [[nodiscard]] bool touches(const Box& b) const { return x0 <= b.x1 && b.x0 <= x1 && y0 <= b.y1 && b.y0 <= y1; }
};

/// A closed ring; the last point joins the first and is not repeated.
using Ring = std::vector<Point>;
/// Outer ring counter-clockwise, holes clockwise, none crossing.
struct Polygon {
  Ring outer;
  std::vector<Ring> holes;
};
using Polygons = std::vector<Polygon>;

/// x' = a x + b y + e, y' = c x + d y + f
struct Affine {
  double a = 1, b = 0, c = 0, d = 1, e = 0, f = 0;
  Point operator()(Point p) const { return {a * p.x + b * p.y + e, c * p.x + d * p.y + f}; }
  [[nodiscard]] double determinant() const { return a * d - b * c; }
};
/// `second` after `first`.
Affine combine(const Affine& second, const Affine& first);
Affine inverse(const Affine& t);

double signed_area(const Ring& ring);  ///< positive = counter-clockwise
double area(const Polygon& polygon);
double area(const Polygons& polygons);
Box bounds(const Ring& ring);
Box bounds(const Polygons& polygons);
int winding_number(const Ring& ring, Point p);
/// True if the edges of the closed ring cross more than `most` times. Such a ring would make a boolean too slow.
bool crossings_exceed(const Ring& ring, std::size_t most);
/// Pairs of boxes that overlap, counted up to `most` + 1. Many shapes on one spot would make a boolean too slow.
std::size_t overlapping_pairs(std::vector<Box> boxes, std::size_t most);
/// True if boxes overlap far more than the outlines of one plane or board do: over 40 times their number.
bool heaped(const std::vector<Box>& boxes);
bool contains(const Polygon& polygon, Point p);  ///< boundary points may fall either way
bool contains(const Polygons& polygons, Point p);
Ring transformed(const Ring& ring, const Affine& t);
Polygons transformed(const Polygons& polygons, const Affine& t);  ///< keeps outer rings counter-clockwise
double distance_to_segment(Point p, Point a, Point b);
Point nearest_on_segment(Point p, Point a, Point b);
double distance_to_boundary(const Polygons& polygons, Point p);
/// Distance from p to the filled area; 0 inside. `nearest`, if given, receives the nearest point.
double distance_to_area(const Polygons& polygons, Point p, Point* nearest = nullptr);
double distance_between(const Polygons& a, const Polygons& b);
/// Convex hull, counter-clockwise (monotone chain).
Ring convex_hull(std::vector<Point> points);

/// Chords of a circle: inscribed, so that area is never overstated; sagitta at most `kChord`.
inline constexpr double kChord = 0.0005;
int chords_of(double radius);
Ring circle(Point centre, double radius);
Ring rectangle(Point centre, double width, double height);
Ring obround(Point centre, double width, double height);

// Booleans and offsets run on an integer nanometre grid (Vatti's algorithm in a polygon clipping library).
Polygons unite(const Polygons& a);
Polygons unite(const Polygons& a, const Polygons& b);
Polygons intersect(const Polygons& a, const Polygons& b);
Polygons subtract(const Polygons& a, const Polygons& b);
/// Non-zero filling of one raw contour of either direction (cut-ins allowed), then the union of all contours.
Polygons fill_contours(const std::vector<Ring>& contours);
/// Moves the boundary outward (by > 0, round corners) or inward (by < 0).
Polygons offset(const Polygons& a, double by);
/// The part of one ring inside the window, its winding kept; it may run along the border.
Ring cut_to_box(const Ring& ring, const Box& window);
/// The part of `contours` (raw rings of positive area, each filled non-zero) inside `window`, cut before it is united.
Polygons clip_to_box(const std::vector<Ring>& contours, const Box& window);

/// Points that the outline without them misses by less than `tolerance` are left out (D. H. Douglas, T. K. Peucker,
/// Cartographica 10, 1973); the ring itself if fewer than three would stay.
Ring thinned(const Ring& ring, double tolerance);
Polygons thinned(Polygons polygons, double tolerance);
/// Largest circle inside the area: centre and radius, within `precision` (grid refinement with an upper bound).
struct Circle {
  Point centre;
  double radius{};
};
Circle largest_inscribed_circle(const Polygon& polygon, double precision = 0.001);

}  // namespace teasel
