// The planner against enumeration of every choice, and each reduction on its own.
#include <catch2/catch.hpp>
#include <functional>
#include <random>

#include "../../src/plan/model.h"

using namespace teasel;
using namespace teasel::planning;

namespace {
/// A random conflict model: demands of one to three probes, prices with ties, conflicts at random.
Model random_model(std::mt19937& rng, int demands, int candidates, double density) {
  Model m;
  m.of_demand.resize(static_cast<std::size_t>(demands));
  for (int d = 0; d < demands; ++d) m.demands.push_back({{d}, 1 + static_cast<int>(rng() % 4 == 0) + static_cast<int>(rng() % 8 == 0), static_cast<Cents>(rng() % 400), static_cast<Cents>(50 + rng() % 300)});
  for (int c = 0; c < candidates; ++c) {
    const int d = static_cast<int>(rng() % static_cast<unsigned>(demands));
    Candidate k;
    k.target = static_cast<int>(rng() % 6), k.price = static_cast<Cents>(10 * (rng() % 30));
    m.of_demand[static_cast<std::size_t>(d)].push_back(c);
    m.demand_of.push_back(d);
    m.candidates.push_back(k);
  }
  m.conflicts.resize(m.candidates.size());
  std::uniform_real_distribution<double> coin(0, 1);
  for (int a = 0; a < candidates; ++a)
    for (int b = a + 1; b < candidates; ++b) {
      const bool same_target = m.demand_of[static_cast<std::size_t>(a)] == m.demand_of[static_cast<std::size_t>(b)] && m.candidates[static_cast<std::size_t>(a)].target == m.candidates[static_cast<std::size_t>(b)].target;
      // Far ends of a long land may both carry a probe.
      if ((same_target && coin(rng) < 0.7) || coin(rng) < density) m.conflicts[static_cast<std::size_t>(a)].push_back(b), m.conflicts[static_cast<std::size_t>(b)].push_back(a);
    }
  for (auto& l : m.conflicts) std::sort(l.begin(), l.end());
  return m;
}

std::vector<int> all_demands(const Model& m) {
  std::vector<int> d(m.demands.size());
  for (std::size_t i = 0; i < d.size(); ++i) d[i] = static_cast<int>(i);
  return d;
}

/// Every subset without conflict and within the wanted counts.
Cents enumerate(const Model& m, const std::vector<bool>& alive) {
  const auto demands = all_demands(m);
  Cents best = price_of(m, demands, {});
  std::vector<int> chosen, got(m.demands.size());
  std::function<void(std::size_t)> go = [&](std::size_t c) {
    if (c == m.candidates.size()) {
      best = std::min(best, price_of(m, demands, chosen));
      return;
    }
    go(c + 1);
    const std::size_t d = static_cast<std::size_t>(m.demand_of[c]);
    if (!alive[c] || got[d] >= m.demands[d].wanted) return;
    for (int o : chosen)
      if (std::binary_search(m.conflicts[c].begin(), m.conflicts[c].end(), o)) return;
    chosen.push_back(static_cast<int>(c)), ++got[d];
    go(c + 1);
    chosen.pop_back(), --got[d];
  };
  go(0);
  return best;
}
}  // namespace

TEST_CASE("the exact solver equals enumeration on 150 random models (brute force, seed 11)") {
  std::mt19937 rng(11);
  for (int i = 0; i < 150; ++i) {
    const Model m = random_model(rng, 3 + i % 4, 12 + i % 4, 0.05 + 0.1 * (i % 4));
    const std::vector<bool> alive(m.candidates.size(), true);
    const Solution s = solve_piece(m, all_demands(m), alive, 20);
    INFO("model " << i);
    REQUIRE(s.proven);
    CHECK(s.cost == enumerate(m, alive));
    CHECK(s.cost == price_of(m, all_demands(m), s.chosen));
    for (int a : s.chosen)
      for (int b : s.chosen) CHECK_FALSE(std::binary_search(m.conflicts[static_cast<std::size_t>(a)].begin(), m.conflicts[static_cast<std::size_t>(a)].end(), b));
  }
}

TEST_CASE("the reductions keep an optimum on 400 random models (brute force, seed 12)") {
  std::mt19937 rng(12);
  int removed = 0;
  for (int i = 0; i < 400; ++i) {
    const Model m = random_model(rng, 3 + i % 4, 11 + i % 5, 0.04 + 0.08 * (i % 4));
    std::vector<bool> alive = reduce(m);
    alive.flip();
    removed += static_cast<int>(std::count(alive.begin(), alive.end(), false));
    INFO("model " << i);
    CHECK(enumerate(m, alive) == enumerate(m, std::vector<bool>(m.candidates.size(), true)));
  }
  CHECK(removed > 400);  // the test says nothing if nothing was removed
}

TEST_CASE("greedy never breaks a conflict and never beats the optimum (brute force, seed 13)") {
  std::mt19937 rng(13);
  for (int i = 0; i < 60; ++i) {
    const Model m = random_model(rng, 4, 13, 0.15);
    const std::vector<bool> alive(m.candidates.size(), true);
    const auto g = greedy(m, all_demands(m), alive);
    for (int a : g)
      for (int b : g) CHECK_FALSE(std::binary_search(m.conflicts[static_cast<std::size_t>(a)].begin(), m.conflicts[static_cast<std::size_t>(a)].end(), b));
    CHECK(price_of(m, all_demands(m), g) >= enumerate(m, alive));
  }
}

TEST_CASE("least distances: mean of the spacings, or hole radii and web where that is more (common practice)") {
  Catalogue c;
  Rules r;
  r.web = Mm{0.25}, r.web_smallest_class = Mm{0.2};
  auto add = [&](double spacing, double hole) {
    ProbeClass p;
    p.spacing = Mm{spacing}, p.receptacle_drill = Mm{hole};
    c.classes.push_back(p);
  };
  add(2.54, 1.7), add(1.27, 1.0), add(0.99, 0.9);
  CHECK(least_distance_nm(c, r, 0, 0) == 2'540'000);
  CHECK(least_distance_nm(c, r, 0, 1) == 1'905'000);
  CHECK(least_distance_nm(c, r, 2, 2) == 1'100'000);  // 0.9 + 0.2 web beats 0.99
  CHECK(least_distance_nm(c, r, 1, 2) == 1'200'000);  // 0.95 + 0.25 web beats 1.13
}
