// Largest empty circles: closed forms of plane geometry, and a dense search that shares nothing with the one under
// test.
#include <catch2/catch.hpp>
#include <random>

#include "../../src/coverage/free_space.h"

using namespace teasel;

namespace {
Solid segment(Point a, Point b, double clear = 0) {
  return {.a = a, .b = b, .clear = clear};
}
Solid disc(Point centre, double radius, double clear = 0, NetId owner = {}) {
  return {.a = centre, .b = centre, .radius = radius, .clear = clear, .owner = owner};
}
const std::vector<Solid> kMiddle = {disc({0, 0}, 0.1)};
}  // namespace

TEST_CASE("in a triangle it is the inscribed circle: radius twice the area over the perimeter (Euclid IV.4)") {
  const Point a{-6, -4}, b{7, -3}, c{1, 8};
  const FreeSpace space({segment(a, b), segment(b, c), segment(c, a)}, 20, [&](Point p, const Guest&) {
    return winding_number({a, b, c}, p) == 0;
  });
  const double area = std::abs(cross(b - a, c - a)) / 2, la = distance(b, c), lb = distance(c, a), lc = distance(a, b);
  const auto best = space.largest(kMiddle, Guest{}, 0.5, 10);
  REQUIRE(best);
  CHECK(best->radius == Approx(2 * area / (la + lb + lc)).epsilon(1e-9));
  CHECK(distance(best->at, (1 / (la + lb + lc)) * ((la * a) + (lb * b) + (lc * c))) < 1e-6);
}

TEST_CASE("between three discs that touch it is the inner circle, of radius 2 / sqrt(3) - 1 (Descartes' theorem)") {
  // Three unit discs touching one another: the inner radius is 2 / sqrt(3) - 1.
  const double height = std::sqrt(3.0);
  const FreeSpace space({disc({-1, 0}, 1), disc({1, 0}, 1), disc({0, height}, 1)}, 2, nullptr);
  const std::vector<Solid> near = {disc({0, 0.6}, 0.01)};
  const auto best = space.largest(near, Guest{}, 0.01, 0.4);
  REQUIRE(best);
  CHECK(best->radius == Approx(2 / height - 1).epsilon(1e-9));
  CHECK(distance(best->at, {0, height / 3}) < 1e-6);
}

TEST_CASE(
    "clearances shrink it, the owner's own solids do not, and what keeps the middle away leaves its size "
    "(hand sum)") {
  const std::vector<Solid> walls = {segment({-10, 2}, {10, 2}, 0.25), segment({-10, -2}, {10, -2}, 0.25)};
  const auto corridor = FreeSpace(walls, 5, nullptr).largest(kMiddle, Guest{}, 0.5, 1);
  REQUIRE(corridor);
  CHECK(corridor->radius == Approx(1.75).epsilon(1e-9));  // half of 4 less 0.25
  std::vector<Solid> own = walls;
  own.push_back(disc({0, 0}, 0.5, 0.25, NetId{7}));
  CHECK(FreeSpace(own, 5, nullptr).largest(kMiddle, Guest{NetId{7}}, 0.5, 1)->radius == Approx(1.75).epsilon(1e-9));
  CHECK(FreeSpace(own, 5, nullptr).room({0, 0}, Guest{}) < 0);
  std::vector<Solid> pin = walls;
  pin.push_back({.a = {0, 0}, .b = {0, 0}, .clear = 0.8, .centre_only = true});
  const auto beside = FreeSpace(pin, 5, nullptr).largest(kMiddle, Guest{}, 0.5, 1);
  REQUIRE(beside);
  CHECK(beside->radius == Approx(1.75).epsilon(1e-6));
  CHECK(distance(beside->at, {0, 0}) >= 0.8 - 1e-6);
}

TEST_CASE("the nearest place is that of a circle of its radius against a wall with its clearance (hand sum)") {
  const FreeSpace space({segment({-10, 1}, {10, 1}, 0.2)}, 3, nullptr);
  const std::vector<Solid> trace = {{.a = {-3, 0.9}, .b = {3, 0.9}, .radius = 0.05, .owner = NetId{4}}};
  const auto near = space.nearest(trace, Guest{}, 0.5, 5);
  REQUIRE(near);
  // Middle at most at y = 1 - 0.2 - 0.5 = 0.3; the trace's edge lies at 0.85.
  CHECK(near->distance == Approx(0.55).margin(0.025));
  CHECK(near->radius >= 0.5);
  CHECK_FALSE(space.nearest(trace, Guest{}, 0.5, 0.5));
}

TEST_CASE(
    "random scenes: no place is larger by more than the 5 um that nobody looks for, and none found is larger "
    "than the grid's step allows (brute force, dense grid, seed 11)") {
  std::mt19937 rng(11);
  auto uniform = [&](double a, double b) { return std::uniform_real_distribution<double>(a, b)(rng); };
  for (int scene = 0; scene < 600; ++scene) {
    std::vector<Solid> solids;
    for (int i = 0; i < 14; ++i) {
      const Point a{uniform(-4, 4), uniform(-4, 4)}, b = a + Point{uniform(-2, 2), uniform(-2, 2)};
      solids.push_back({.a = a,
                        .b = i % 3 ? b : a,
                        .radius = uniform(0.05, 0.4),
                        .clear = uniform(0, 0.3),
                        .owner = i % 4 ? NetId{} : NetId{2},
                        .centre_only = i % 7 == 6,
                        .plane = i % 5 == 0});
    }
    const std::vector<Solid> reach = {segment({uniform(-3, 3), uniform(-3, 3)}, {uniform(-3, 3), uniform(-3, 3)})};
    const double farthest = uniform(0.5, 2), limit = 1.5;
    const NetId owner = scene % 2 ? NetId{2} : NetId{};
    const bool in_planes = scene % 4 > 1;
    FreeSpace space(solids, limit, nullptr);
    if (scene % 3 == 0) {
      const Solid late = disc({uniform(-1, 1), uniform(-1, 1)}, 0.2, 0.1);
      space.add(late);
      solids.push_back(late);
    }
    // Written anew: distance to each, nothing shared but the segment formula.
    const auto room = [&](Point p) {
      double radius = limit;
      for (const Solid& solid : solids) {
        if ((solid.owner == owner && owner) || (in_planes && solid.plane)) continue;
        const Point d = solid.b - solid.a;
        const double t = dot(d, d) > 0 ? std::clamp(dot(p - solid.a, d) / dot(d, d), 0.0, 1.0) : 0;
        const double v = distance(p, solid.a + t * d) - solid.radius - solid.clear;
        if (solid.centre_only && v >= 0) continue;
        radius = std::min(radius, v);
      }
      return radius;
    };
    const auto far = [&](Point p) {
      const Point d = reach[0].b - reach[0].a;
      const double t = dot(d, d) > 0 ? std::clamp(dot(p - reach[0].a, d) / dot(d, d), 0.0, 1.0) : 0;
      return distance(p, reach[0].a + t * d);
    };
    constexpr double kStep = 0.02;
    double best = 0.1, nearest = 1e9;
    for (double x = -6; x < 6; x += kStep)
      for (double y = -6; y < 6; y += kStep) {
        const double d = far({x, y});
        if (d > farthest) continue;
        const double r = room({x, y});
        best = std::max(best, r);
        if (r >= 0.3) nearest = std::min(nearest, d);
      }
    const auto got = space.largest(reach, Guest{owner, in_planes}, 0.1, farthest);
    INFO("scene " << scene);
    if (!got) {
      CHECK(best <= 0.1 + kStep);
      continue;
    }
    CHECK(got->radius == Approx(room(got->at)).margin(1e-9));
    CHECK(got->distance <= farthest + 1e-9);
    CHECK(got->radius >= best - 0.005);
    CHECK(got->radius <=
          best + 2 * kStep);  // at the rim of the reach the next point of the grid may lie a diagonal and more away
    const auto near = space.nearest(reach, Guest{owner, in_planes}, 0.3, farthest);
    if (nearest < 1e8) {
      REQUIRE(near);
      CHECK(near->distance <= nearest + 0.025);
      CHECK(near->radius >= 0.3);
      CHECK(near->distance >= nearest - 1.5 * kStep);
    }
  }
}

TEST_CASE(
    "a ring's chains of short edges: all of it is covered, none by more than 4 um, straight edges stay, "
    "circles become few (plane geometry, seed 21)") {
  std::mt19937 rng(21);
  auto uniform = [&](double a, double b) { return std::uniform_real_distribution<double>(a, b)(rng); };
  for (int scene = 0; scene < 200; ++scene) {
    Ring ring;
    const int corners = 3 + static_cast<int>(rng() % 5);
    for (int i = 0; i < corners; ++i) {
      // Corners rounded by arcs of many points, outwards and inwards.
      const double way = 6.283185307179586 * i / corners, from = uniform(0, 6), turn = uniform(-3, 3),
                   r = uniform(0.05, 1);
      const Point c{5 * std::cos(way), 5 * std::sin(way)};
      const int points = 1 + static_cast<int>(rng() % 80);
      for (int k = 0; k < points; ++k)
        ring.push_back(c + r * Point{std::cos(from + turn * k / points), std::sin(from + turn * k / points)});
    }
    std::vector<Solid> solids;
    add_ring(solids, ring, disc({0, 0}, 0.25));
    std::vector<Solid> bare;
    add_ring(bare, ring, disc({0, 0}, 0));
    INFO("scene " << scene);
    CHECK(solids.size() <= ring.size());
    double uncovered = 0;
    for (std::size_t i = 0; i < ring.size(); ++i)
      for (const double t : {0.0, 0.3, 0.7}) {
        const Point p = ring[i] + t * (ring[(i + 1) % ring.size()] - ring[i]);
        uncovered = std::max(uncovered, distance_to(bare, p));
      }
    CHECK(uncovered < 1e-9);
    CHECK(std::all_of(solids.begin(), solids.end(),
                      [](const Solid& x) { return x.radius >= 0.25 && x.radius <= 0.254 + 1e-12; }));
    for (std::size_t i = 0; i < solids.size(); ++i)
      CHECK(distance(solids[i].b, solids[(i + 1) % solids.size()].a) == 0);
  }
  Ring circle, square{{0, 0}, {4, 0}, {4, 4}, {0, 4}};
  for (int k = 0; k < 400; ++k)
    circle.push_back({std::cos(6.283185307179586 * k / 400), std::sin(6.283185307179586 * k / 400)});
  std::vector<Solid> few, four;
  add_ring(few, circle, disc({0, 0}, 0));
  CHECK(few.size() < 50);  // a chord of sagitta 0.004 on a unit circle spans 2 acos(0.996) = 0.179: 35 of them
  add_ring(four, square, disc({0, 0}, 0));
  CHECK(four.size() == 4);
  for (const Solid& s : four) CHECK(s.radius == 0);
}
