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
Cost enumerate(const Problem& p, const std::vector<char>& alive) {
  Cost best = cost_of(p, {});
  std::vector<int> chosen;
  std::vector<std::int64_t> room = p.limits;
  std::function<void(std::size_t)> go = [&](std::size_t c) {
    if (c == p.columns()) {
      best = std::min(best, cost_of(p, chosen));
      return;
    }
    go(c + 1);
    if (!alive[c]) return;
    for (const int o : chosen)
      if (std::binary_search(p.conflicts[c].begin(), p.conflicts[c].end(), o)) return;
    for (const Part& x : p.weighs[c])
      if (room[static_cast<std::size_t>(x.row)] < x.amount) return;
    for (const Part& x : p.weighs[c]) room[static_cast<std::size_t>(x.row)] -= x.amount;
    chosen.push_back(static_cast<int>(c));
    go(c + 1);
    chosen.pop_back();
    for (const Part& x : p.weighs[c]) room[static_cast<std::size_t>(x.row)] += x.amount;
  };
  go(0);
  return best;
}
Cost enumerate(const Problem& p) {
  return enumerate(p, std::vector<char>(p.columns(), 1));
}
}  // namespace

TEST_CASE(
    "the solver equals enumeration on 3,200 random problems, each kind of constraint on and off (brute force, seed "
    "11)") {
  std::mt19937 rng(11);
  for (int kinds = 0; kinds < 64; ++kinds)
    for (int i = 0; i < 50; ++i) {
      Kinds k;
      k.several = kinds & 1;
      k.limits = kinds & 2;
      k.joint = kinds & 4;
      k.asking = kinds & 8;
      k.hard = kinds & 16;
      k.ties = kinds & 32;
      const Problem p = random_problem(rng, 3 + i % 4, 10 + i % 4, 0.05 + 0.1 * (i % 4), k);
      Limits l;
      l.seconds = 20;
      l.keep_proof = true;
      if (i % 2) l.sizes = {1, 2, 1, 4};  // so that blocks, hubs and regions are met in small problems
      const Result r = solve(p, l);
      INFO("kinds " << kinds << " problem " << i);
      REQUIRE(feasible(p, r.best.columns));
      REQUIRE(r.best.cost == cost_of(p, r.best.columns));
      REQUIRE(r.best.cost == enumerate(p));
      REQUIRE(r.proven);
      REQUIRE(r.bound == r.best.cost);
    }
}

TEST_CASE("each removal rule by itself keeps an optimum (brute force on 3,200 problems, seed 12)") {
  std::mt19937 rng(12);
  std::array<int, 4> removed{};
  for (int rule = 0; rule < 4; ++rule)
    for (int i = 0; i < 800; ++i) {
      Kinds k;
      k.several = i & 1;
      k.limits = i & 2;
      k.joint = i & 4;
      k.asking = i & 8;
      k.hard = (i & 48) == 16;
      k.ties = i & 32;
      const Problem p = random_problem(rng, 3 + i % 4, 11 + i % 3, 0.04 + 0.08 * (i % 4), k);
      const auto list = reduce(p, {rule == 0, rule == 1, rule == 2, rule == 3});
      std::vector<char> alive(p.columns(), 1);
      for (const Removal& x : list) {
        alive[static_cast<std::size_t>(x.column)] = 0;
        ++removed[static_cast<std::size_t>(x.why)];
      }
      INFO("rule " << rule << " problem " << i);
      REQUIRE(enumerate(p, alive) == enumerate(p));
    }
  for (const int n : removed) CHECK(n > 50);  // the test says nothing of a rule that never fires
}

TEST_CASE("greedy keeps conflicts and limits and never beats the optimum (brute force, seed 13)") {
  std::mt19937 rng(13);
  for (int i = 0; i < 200; ++i) {
    Kinds k;
    k.several = i & 1;
    k.limits = i & 2;
    k.joint = i & 4;
    k.asking = i & 8;
    const Problem p = random_problem(rng, 4, 13, 0.15, k);
    const std::vector<int> g = greedy(p);
    CHECK(feasible(p, g));
    CHECK(cost_of(p, g) >= enumerate(p));
  }
}

TEST_CASE(
    "a start that is the optimum, and one that is nonsense, lead to the same cost (law: the optimum does not "
    "depend on the start, seed 14)") {
  std::mt19937 rng(14);
  for (int i = 0; i < 100; ++i) {
    const Problem p = random_problem(rng, 6, 14, 0.15, {});
    const Result fresh = solve(p, {});
    Limits l;
    l.start = fresh.best.columns;
    CHECK(solve(p, l).best.cost == fresh.best.cost);
    l.start.clear();
    for (int c = 0; c < static_cast<int>(p.columns()); ++c) l.start.push_back(c);  // all of them, conflicts and all
    const Result r = solve(p, l);
    CHECK(r.best.cost == fresh.best.cost);
    CHECK(feasible(p, r.best.columns));
  }
}

TEST_CASE(
    "points conflict below the least distance of their kinds, and not at it (plane geometry, in whole nanometres)") {
  std::mt19937_64 rng(15);
  Spaced s;
  s.least = {{2'540'000, 1'905'000}, {1'905'000, 1'270'000}};
  auto add = [&](std::int64_t x, std::int64_t y, int layer, int kind) {
    s.x.push_back(x);
    s.y.push_back(y);
    s.layer.push_back(layer);
    s.kind.push_back(kind);
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
  const Lists<int> found = spacing_conflicts(s);
  std::size_t pairs = 0;
  for (std::size_t a = 0; a < s.x.size(); ++a)
    for (std::size_t b = 0; b < s.x.size(); ++b) {
      const std::int64_t dx = s.x[a] - s.x[b], dy = s.y[a] - s.y[b],
                         l = s.least[static_cast<std::size_t>(s.kind[a])][static_cast<std::size_t>(s.kind[b])];
      const bool conflict = a != b && s.layer[a] == s.layer[b] && dx * dx + dy * dy < l * l;
      pairs += conflict;
      CHECK(std::binary_search(found[a].begin(), found[a].end(), static_cast<int>(b)) == conflict);
    }
  CHECK(found.items.size() == pairs);
  CHECK_FALSE(std::binary_search(found[0].begin(), found[0].end(), 1));
  CHECK(std::binary_search(found[0].begin(), found[0].end(), 2));
  CHECK_FALSE(std::binary_search(found[0].begin(), found[0].end(), 5));
}
