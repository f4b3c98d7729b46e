// The solver against enumeration of every choice, with every kind of constraint on and off; each removal rule alone;
// proofs.
#include <algorithm>
#include <catch2/catch.hpp>
#include <functional>
#include <random>

#include "random_problem.h"
#include "teasel/plan/selection.h"

using namespace teasel::selection;
using namespace teasel::testing;

namespace {
/// Every choice without conflict and within the limits.
Cost enumerate(const Problem& problem, const std::vector<char>& alive) {
  Cost best = cost_of(problem, {});
  std::vector<int> chosen;
  std::vector<std::int64_t> room = problem.limits;
  std::function<void(std::size_t)> go = [&](std::size_t column) {
    if (column == problem.columns()) {
      best = std::min(best, cost_of(problem, chosen));
      return;
    }
    go(column + 1);
    if (!alive[column]) return;
    for (const int o : chosen)
      if (std::binary_search(problem.conflicts[column].begin(), problem.conflicts[column].end(), o)) return;
    for (const Part& part : problem.weighs[column])
      if (room[static_cast<std::size_t>(part.row)] < part.amount) return;
    for (const Part& part : problem.weighs[column]) room[static_cast<std::size_t>(part.row)] -= part.amount;
    chosen.push_back(static_cast<int>(column));
    go(column + 1);
    chosen.pop_back();
    for (const Part& part : problem.weighs[column]) room[static_cast<std::size_t>(part.row)] += part.amount;
  };
  go(0);
  return best;
}
Cost enumerate(const Problem& problem) {
  return enumerate(problem, std::vector<char>(problem.columns(), 1));
}
}  // namespace

TEST_CASE(
    "the solver equals enumeration on 3,200 random problems, each kind of constraint on and off (brute force, seed "
    "11)") {
  std::mt19937 rng(11);
  for (int kinds = 0; kinds < 64; ++kinds)
    for (int i = 0; i < 50; ++i) {
      Kinds asked;
      asked.several = kinds & 1;
      asked.limits = kinds & 2;
      asked.joint = kinds & 4;
      asked.asking = kinds & 8;
      asked.hard = kinds & 16;
      asked.ties = kinds & 32;
      const Problem problem = random_problem(rng, 3 + i % 4, 10 + i % 4, 0.05 + 0.1 * (i % 4), asked);
      Limits limits;
      limits.seconds = 20;
      limits.keep_proof = true;
      if (i % 2) limits.sizes = {1, 2, 1, 4};  // so that blocks, hubs and regions are met in small problems
      const Result result = solve(problem, limits);
      INFO("kinds " << kinds << " problem " << i);
      REQUIRE(feasible(problem, result.best.columns));
      REQUIRE(result.best.cost == cost_of(problem, result.best.columns));
      REQUIRE(result.best.cost == enumerate(problem));
      REQUIRE(result.proven);
      REQUIRE(result.bound == result.best.cost);
    }
}

TEST_CASE("each removal rule by itself keeps an optimum (brute force on 3,200 problems, seed 12)") {
  std::mt19937 rng(12);
  std::array<int, 4> removed{};
  for (int rule = 0; rule < 4; ++rule)
    for (int i = 0; i < 800; ++i) {
      Kinds asked;
      asked.several = i & 1;
      asked.limits = i & 2;
      asked.joint = i & 4;
      asked.asking = i & 8;
      asked.hard = (i & 48) == 16;
      asked.ties = i & 32;
      const Problem problem = random_problem(rng, 3 + i % 4, 11 + i % 3, 0.04 + 0.08 * (i % 4), asked);
      const auto list = reduce(problem, {rule == 0, rule == 1, rule == 2, rule == 3});
      std::vector<char> alive(problem.columns(), 1);
      for (const Removal& removal : list) {
        alive[static_cast<std::size_t>(removal.column)] = 0;
        ++removed[static_cast<std::size_t>(removal.why)];
      }
      INFO("rule " << rule << " problem " << i);
      REQUIRE(enumerate(problem, alive) == enumerate(problem));
    }
  for (const int n : removed) CHECK(n > 50);  // the test says nothing of a rule that never fires
}

TEST_CASE("greedy keeps conflicts and limits and never beats the optimum (brute force, seed 13)") {
  std::mt19937 rng(13);
  for (int i = 0; i < 200; ++i) {
    Kinds asked;
    asked.several = i & 1;
    asked.limits = i & 2;
    asked.joint = i & 4;
    asked.asking = i & 8;
    const Problem problem = random_problem(rng, 4, 13, 0.15, asked);
    const std::vector<int> g = greedy(problem);
    CHECK(feasible(problem, g));
    CHECK(cost_of(problem, g) >= enumerate(problem));
  }
}

TEST_CASE(
    "a start that is the optimum, and one that is nonsense, lead to the same cost (law: the optimum does not "
    "depend on the start, seed 14)") {
  std::mt19937 rng(14);
  for (int i = 0; i < 100; ++i) {
    const Problem problem = random_problem(rng, 6, 14, 0.15, {});
    const Result fresh = solve(problem, {});
    Limits limits;
    limits.start = fresh.best.columns;
    CHECK(solve(problem, limits).best.cost == fresh.best.cost);
    limits.start.clear();
    for (int c = 0; c < static_cast<int>(problem.columns()); ++c)
      limits.start.push_back(c);  // all of them, conflicts and all
    const Result result = solve(problem, limits);
    CHECK(result.best.cost == fresh.best.cost);
    CHECK(feasible(problem, result.best.columns));
  }
}

TEST_CASE(
    "points conflict below the least distance of their kinds, and not at it (plane geometry, in whole nanometres)") {
  std::mt19937_64 rng(15);
  Spaced points;
  points.least = {{2'540'000, 1'905'000}, {1'905'000, 1'270'000}};
  auto add = [&](std::int64_t x, std::int64_t y, int layer, int kind) {
    points.x.push_back(x);
    points.y.push_back(y);
    points.layer.push_back(layer);
    points.kind.push_back(kind);
  };
  add(0, 0, 0, 0);
  add(2'540'000, 0, 0, 0);
  add(0, 2'539'999, 0, 0);
  add(0, 0, 1, 0);
  add(-1'270'000, 0, 0, 1);
  add(0, -1'905'000, 0, 1);  // the last one at the least distance of its kind, not the largest
  for (int i = 0; i < 400; ++i)
    add(static_cast<std::int64_t>(rng() % 40'000'000) - 20'000'000,
        static_cast<std::int64_t>(rng() % 40'000'000) - 20'000'000, static_cast<int>(rng() % 2),
        static_cast<int>(rng() % 2));
  const Lists<int> found = spacing_conflicts(points);
  std::size_t pairs = 0;
  for (std::size_t a = 0; a < points.x.size(); ++a)
    for (std::size_t b = 0; b < points.x.size(); ++b) {
      const std::int64_t dx = points.x[a] - points.x[b], dy = points.y[a] - points.y[b],
                         l = points.least[static_cast<std::size_t>(points.kind[a])]
                                         [static_cast<std::size_t>(points.kind[b])];
      const bool conflict = a != b && points.layer[a] == points.layer[b] && dx * dx + dy * dy < l * l;
      pairs += conflict;
      CHECK(std::binary_search(found[a].begin(), found[a].end(), static_cast<int>(b)) == conflict);
    }
  CHECK(found.items.size() == pairs);
  CHECK_FALSE(std::binary_search(found[0].begin(), found[0].end(), 1));
  CHECK(std::binary_search(found[0].begin(), found[0].end(), 2));
  CHECK_FALSE(std::binary_search(found[0].begin(), found[0].end(), 5));
}
