// Reductions that keep an optimum. With N(c) the candidates that may not stand beside c:
//  1. dominance at a target: of two candidates of one demand at one target that no plan holds both of, the dearer one goes
//     if the cheaper one's N is a subset of its N (swap them in any plan).
//  2. fallback: for a demand of one probe, a candidate f without conflicts outside its demand makes every candidate
//     that costs as much or more useless (swap it for f in any plan).
//  3. worth: for a demand of one probe, a candidate dearer than going without is never chosen.
#include <algorithm>

#include "model.h"

namespace teasel::planning {

namespace {
bool free_outside(const Model& m, int c, const std::vector<bool>& dead) {
  const int d = m.demand_of[static_cast<std::size_t>(c)];
  return std::all_of(m.conflicts[static_cast<std::size_t>(c)].begin(), m.conflicts[static_cast<std::size_t>(c)].end(),
                     [&](int o) { return dead[static_cast<std::size_t>(o)] || m.demand_of[static_cast<std::size_t>(o)] == d; });
}

bool subset(const Model& m, int a, int b, const std::vector<bool>& dead) {
  // N(a) without b within N(b)
  const auto& nb = m.conflicts[static_cast<std::size_t>(b)];
  for (int o : m.conflicts[static_cast<std::size_t>(a)])
    if (o != b && !dead[static_cast<std::size_t>(o)] && !std::binary_search(nb.begin(), nb.end(), o)) return false;
  return true;
}
}  // namespace

std::vector<bool> reduce(const Model& m) {
  std::vector<bool> dead(m.candidates.size());
  auto price = [&](int c) { return m.candidates[static_cast<std::size_t>(c)].price; };
  bool changed = true;
  for (int round = 0; changed && round < 50; ++round) {
    changed = false;
    auto kill = [&](int c) {
      if (!dead[static_cast<std::size_t>(c)]) dead[static_cast<std::size_t>(c)] = true, changed = true;
    };
    for (std::size_t d = 0; d < m.demands.size(); ++d) {
      const Demand& q = m.demands[d];
      std::vector<int> live;
      for (int c : m.of_demand[d])
        if (!dead[static_cast<std::size_t>(c)]) live.push_back(c);
      for (int a : live)
        for (int b : live) {
          const auto &p = m.candidates[static_cast<std::size_t>(a)], &o = m.candidates[static_cast<std::size_t>(b)];
          if (a == b || p.target != o.target || (q.wanted != 1 && !std::binary_search(m.conflicts[static_cast<std::size_t>(a)].begin(), m.conflicts[static_cast<std::size_t>(a)].end(), b)) || dead[static_cast<std::size_t>(a)] || dead[static_cast<std::size_t>(b)]) continue;
          if ((price(a) < price(b) || (price(a) == price(b) && a < b)) && subset(m, a, b, dead)) kill(b);
        }
      if (q.wanted != 1) continue;
      int best = -1;
      for (int c : live) {
        if (dead[static_cast<std::size_t>(c)]) continue;
        if (price(c) > q.first + q.further) { kill(c); continue; }
        if ((best < 0 || price(c) < price(best)) && free_outside(m, c, dead)) best = c;
      }
      if (best < 0) continue;
      for (int c : live)
        if (c != best && price(c) >= price(best)) kill(c);
    }
  }
  return dead;
}

std::vector<int> greedy(const Model& m, const std::vector<int>& demands, const std::vector<bool>& alive) {
  std::vector<int> order = demands, chosen;
  auto count = [&](int d) { return std::count_if(m.of_demand[static_cast<std::size_t>(d)].begin(), m.of_demand[static_cast<std::size_t>(d)].end(), [&](int c) { return alive[static_cast<std::size_t>(c)]; }); };
  std::vector<std::pair<std::ptrdiff_t, int>> keyed;
  for (int d : order) keyed.emplace_back(count(d), d);
  std::sort(keyed.begin(), keyed.end());
  std::vector<bool> blocked(m.candidates.size());
  auto take = [&](int c) {
    chosen.push_back(c);
    blocked[static_cast<std::size_t>(c)] = true;
    for (int o : m.conflicts[static_cast<std::size_t>(c)]) blocked[static_cast<std::size_t>(o)] = true;
  };
  auto by_price = [&](int a, int b) {
    const auto &p = m.candidates[static_cast<std::size_t>(a)], &q = m.candidates[static_cast<std::size_t>(b)];
    return p.price != q.price ? p.price < q.price : a < b;
  };
  std::vector<int> got(m.demands.size());
  for (int pass = 0; pass < 2; ++pass)  // every need its first probe before any gets a second
    for (const auto& [n, d] : keyed) {
      const Demand& q = m.demands[static_cast<std::size_t>(d)];
      std::vector<int> list;
      for (int c : m.of_demand[static_cast<std::size_t>(d)])
        if (alive[static_cast<std::size_t>(c)]) list.push_back(c);
      std::sort(list.begin(), list.end(), by_price);
      for (int c : list) {
        int& have = got[static_cast<std::size_t>(d)];
        if (have >= (pass == 0 ? 1 : q.wanted)) break;
        if (blocked[static_cast<std::size_t>(c)]) continue;
        if (m.candidates[static_cast<std::size_t>(c)].price > q.further + (have == 0 ? q.first : 0)) break;
        take(c), ++have;
      }
    }
  std::sort(chosen.begin(), chosen.end());
  return chosen;
}

}  // namespace teasel::planning
