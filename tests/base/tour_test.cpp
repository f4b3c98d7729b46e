// Tours beside exact ones and a proven bound (Held and Karp: dynamic programming, J. SIAM 10, 1962; one-trees,
// Operations Research 18, 1970).
#include <algorithm>
#include <catch2/catch.hpp>
#include <random>
#include <set>

#include "teasel/tour.h"

using namespace teasel;

namespace {
/// Shortest closed tour by dynamic programming over subsets.
double exact(const std::vector<Point>& points) {
  const std::size_t count = points.size(), sets = std::size_t{1} << (count - 1);
  std::vector<double> best(sets * (count - 1), 1e18);
  for (std::size_t j = 0; j + 1 < count; ++j)
    best[(std::size_t{1} << j) * (count - 1) + j] = distance(points[count - 1], points[j]);
  for (std::size_t set = 1; set < sets; ++set)
    for (std::size_t j = 0; j + 1 < count; ++j) {
      const double here = best[set * (count - 1) + j];
      if (here > 1e17) continue;
      for (std::size_t k = 0; k + 1 < count; ++k)
        if (!(set >> k & 1)) {
          double& to = best[(set | std::size_t{1} << k) * (count - 1) + k];
          to = std::min(to, here + distance(points[j], points[k]));
        }
    }
  double least = 1e18;
  for (std::size_t j = 0; j + 1 < count; ++j)
    least = std::min(least, best[(sets - 1) * (count - 1) + j] + distance(points[j], points[count - 1]));
  return least;
}
std::vector<Point> scattered(std::size_t n, unsigned seed, int grid = 0) {
  std::mt19937 random(seed);
  std::vector<Point> out;
  for (std::size_t i = 0; i < n; ++i) {
    Point p{static_cast<double>(random() % 100'000) / 1000, static_cast<double>(random() % 60'000) / 1000};
    if (grid)
      p = {static_cast<double>(random() % static_cast<unsigned>(grid)),
           static_cast<double>(random() % static_cast<unsigned>(grid))};
    out.push_back(p);
  }
  return out;
}
bool each_once(const std::vector<std::size_t>& order, std::size_t n) {
  return order.size() == n && std::set<std::size_t>(order.begin(), order.end()).size() == n;
}
}  // namespace

TEST_CASE("small tours are the shortest there are (dynamic programming over subsets, seeds 1 to 60)") {
  for (unsigned seed = 1; seed <= 60; ++seed) {
    const std::vector<Point> points =
        scattered(2 + seed % 11, seed, seed % 3 == 0 ? 5 : 0);  // some on a coarse grid, with doubles
    const auto tour = closed_tour(points);
    REQUIRE(each_once(tour, points.size()));
    CHECK(tour_length(points, tour, true) <= exact(points) + 1e-9);
    CHECK(tour_bound(points, 100) <= exact(points) + 1e-9);
  }
}

TEST_CASE(
    "larger tours are within a few per cent of a proven bound, and the same each time (one-tree bound, M. "
    "Held, R. M. Karp, 1970)") {
  for (const int grid : {0, 30}) {
    const std::vector<Point> points = scattered(700, 7, grid);
    const auto tour = closed_tour(points);
    REQUIRE(each_once(tour, points.size()));
    const double length = tour_length(points, tour, true), bound = tour_bound(points, 150);
    INFO(length << " against " << bound);
    CHECK(length <= 1.05 * bound);
    CHECK(length >= bound);
    CHECK(closed_tour(points) == tour);
  }
}

TEST_CASE(
    "an open way takes each point once and is the tour cut where that is shortest from the tool "
    "(brute force over all cuts, seed 3)") {
  const std::vector<Point> points = scattered(200, 3);
  const auto way = open_way(points, {0, 0});
  REQUIRE(each_once(way, points.size()));
  CHECK(tour_length(points, way, false) < tour_length(points, closed_tour(points), true));
  // Every edge of the closed tour left out once, begun at either of its ends.
  const auto tour = closed_tour(points);
  const double closed = tour_length(points, tour, true);
  double shortest = 1e18;
  for (std::size_t i = 0; i < tour.size(); ++i) {
    const Point one = points[tour[i]], other = points[tour[(i + 1) % tour.size()]];
    shortest = std::min(shortest, closed - distance(one, other) + std::min(distance(one, {}), distance(other, {})));
  }
  CHECK(distance(points[way[0]], {}) + tour_length(points, way, false) == Approx(shortest).epsilon(1e-12));
  CHECK(open_way({}, {}).empty());
  CHECK(open_way({{1, 1}}, {}).size() == 1);
  std::vector<Point> same(40, Point{2, 2});
  CHECK(each_once(open_way(same, {}), 40));
}
