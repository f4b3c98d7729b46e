#include <CGAL/Boolean_set_operations_2.h>
#include <CGAL/Exact_predicates_exact_constructions_kernel.h>
#include <CGAL/Polygon_set_2.h>

#include <catch2/catch.hpp>
#include <random>

#include "teasel/geometry.h"

using namespace teasel;

namespace {
using Kernel = CGAL::Exact_predicates_exact_constructions_kernel;
using CPolygon = CGAL::Polygon_2<Kernel>;
using CSet = CGAL::Polygon_set_2<Kernel>;

CPolygon to_cgal(const Ring& r) {
  CPolygon p;
  for (Point q : r) p.push_back({q.x, q.y});
  if (p.is_clockwise_oriented()) p.reverse_orientation();
  return p;
}
double exact_area(const CSet& set) {
  std::vector<CGAL::Polygon_with_holes_2<Kernel>> parts;
  set.polygons_with_holes(std::back_inserter(parts));
  Kernel::FT a = 0;
  for (const auto& p : parts) {
    a += p.outer_boundary().area();
    for (auto h = p.holes_begin(); h != p.holes_end(); ++h) a += h->area();
  }
  return CGAL::to_double(a);
}
/// A star-shaped polygon on the nanometre grid.
Ring star(std::mt19937& rng, Point c) {
  std::uniform_real_distribution<double> radius(0.2, 1.5);
  Ring ring;
  const int n = 5 + static_cast<int>(rng() % 12);
  for (int i = 0; i < n; ++i) {
    const double a = 2 * 3.14159265358979 * i / n, d = radius(rng);
    ring.push_back({std::round((c.x + d * std::cos(a)) * 1e6) / 1e6, std::round((c.y + d * std::sin(a)) * 1e6) / 1e6});
  }
  return ring;
}
}  // namespace

TEST_CASE("area of a rectangle, an obround and a circle (elementary geometry)") {
  CHECK(area(Polygon{rectangle({1, 2}, 3, 4), {}}) == Approx(12).epsilon(1e-12));
  // Obround 3 x 1: a 2 x 1 rectangle and a circle of radius 0.5. Chords are inscribed: never above, at most sagitta
  // below.
  const double obround_area = 2 + 3.14159265358979323846 * 0.25, got = area(Polygon{obround({}, 3, 1), {}});
  CHECK(got <= obround_area);
  CHECK(got >= obround_area - 3.14159265358979323846 * kChord);
  const double r = 0.7, full = 3.14159265358979323846 * r * r, chords = area(Polygon{circle({}, r), {}});
  CHECK(chords <= full);
  CHECK(chords >= full - 2 * 3.14159265358979323846 * r * kChord);
}

TEST_CASE("union, intersection and difference equal exact arithmetic on 60 random pairs (CGAL, seed 7)") {
  std::mt19937 rng(7);
  std::uniform_real_distribution<double> shift(-1, 1);
  for (int i = 0; i < 60; ++i) {
    const Ring a = star(rng, {0, 0}), b = star(rng, {shift(rng), shift(rng)});
    CSet union_set(to_cgal(a)), n(to_cgal(a)), d(to_cgal(a));
    union_set.join(to_cgal(b));
    n.intersection(to_cgal(b));
    d.difference(to_cgal(b));
    const Polygons pa{{a, {}}}, pb{{b, {}}};
    // Crossing points are rounded to 1 nm: the area moves by less than perimeter x 1 nm.
    CHECK(area(unite(pa, pb)) == Approx(exact_area(union_set)).margin(5e-5));
    CHECK(area(intersect(pa, pb)) == Approx(exact_area(n)).margin(5e-5));
    CHECK(area(subtract(pa, pb)) == Approx(exact_area(d)).margin(5e-5));
  }
}

TEST_CASE("a contour with a cut-in to a hole fills without the hole (Gerber format, cut-ins)") {
  // 4 x 4 square with a 2 x 2 hole reached by a cut-in at x = 0.
  const Ring c{{-2, -2}, {2, -2}, {2, 2},  {-2, 2},  {-2, 0}, {-1, 0},
               {-1, 1},  {1, 1},  {1, -1}, {-1, -1}, {-1, 0}, {-2, 0}};
  CHECK(area(fill_contours({c})) == Approx(12).margin(1e-6));
  const Polygons part = clip_to_box({c}, {-3, -3, 3, 0.5});
  CHECK(area(part) == Approx(4 * 2.5 - 2 * 1.5).margin(1e-6));
}

TEST_CASE("an outward offset of a square by r has area s^2 + 4 s r + pi r^2 (Steiner formula)") {
  const double s = 2, r = 0.3;
  const double expected = s * s + 4 * s * r + 3.14159265358979323846 * r * r;
  CHECK(area(offset({{rectangle({}, s, s), {}}}, r)) ==
        Approx(expected).margin(2 * 3.14159265358979323846 * r * kChord));
  CHECK(area(offset({{rectangle({}, s, s), {}}}, -r)) == Approx((s - 2 * r) * (s - 2 * r)).margin(1e-5));
}

TEST_CASE("largest inscribed circles of random stars with holes agree with a fine raster (brute force, seed 17)") {
  std::mt19937 rng(17);
  std::uniform_real_distribution<double> unit(0, 1);
  for (int n = 0; n < 12; ++n) {
    Polygon star;
    const int corners = 5 + n;
    for (int i = 0; i < corners; ++i) {
      const double r = 0.3 + 0.5 * unit(rng), t = 2 * 3.14159265358979323846 * (i + 0.3 * unit(rng)) / corners;
      star.outer.push_back({r * std::cos(t), r * std::sin(t)});
    }
    if (n % 2) {
      Ring hole = circle({0.02, 0.03}, 0.1);
      std::reverse(hole.begin(), hole.end());
      star.holes.push_back(hole);
    }
    const Circle circle = largest_inscribed_circle(star, 1e-4);
    CHECK(distance_to_boundary({star}, circle.centre) == Approx(circle.radius).margin(1e-9));
    const double step = 0.004;
    double best = 0;
    for (double x = -0.8; x < 0.8; x += step)
      for (double y = -0.8; y < 0.8; y += step)
        if (contains(star, Point{x, y})) best = std::max(best, distance_to_boundary({star}, {x, y}));
    // No raster point is farther from its nearest neighbour than half a diagonal.
    CHECK(circle.radius >= best - 1e-4);
    CHECK(circle.radius <= best + step * 0.7072);
  }
}

TEST_CASE("largest inscribed circle of a 3-4-5 triangle has radius 1 about (1, 1) (Euclid IV.4)") {
  const Circle c = largest_inscribed_circle({{{0, 0}, {4, 0}, {0, 3}}, {}}, 1e-4);
  CHECK(c.radius == Approx(1).margin(2e-4));
  CHECK(c.centre.x == Approx(1).margin(0.02));
  CHECK(c.centre.y == Approx(1).margin(0.02));
}

TEST_CASE("distance between areas: apart, touching, nested (by hand)") {
  const Polygons square{{rectangle({0, 0}, 2, 2), {}}};
  CHECK(distance_between(square, {{rectangle({5, 0}, 2, 2), {}}}) == Approx(3));
  CHECK(distance_between(square, {{rectangle({4, 5}, 2, 2), {}}}) == Approx(std::hypot(2, 3)));
  CHECK(distance_between(square, {{rectangle({0, 0}, 0.5, 0.5), {}}}) == 0);
  CHECK(distance_between(square, {{rectangle({1.5, 0}, 2, 0.5), {}}}) == 0);
  CHECK(distance_to_area(square, {1, 1}) == Approx(0).margin(1e-12));
  CHECK(distance_to_area(square, {4, 5}) == Approx(5));
}
