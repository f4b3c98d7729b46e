// Random selection problems with each kind of constraint on or off.
#pragma once
#include <algorithm>
#include <random>

#include "teasel/plan/selection.h"

namespace teasel::testing {

struct Kinds {
  bool several = false;  ///< wants of two or three units, with a price for none at all
  bool limits = false;   ///< weights against capacities
  bool joint = false;    ///< columns that cover two wants, or two units
  bool asking = false;   ///< columns that ask for one of others
  bool hard = false;     ///< wants that may lack nothing
  bool ties = true;      ///< few different prices
};

inline selection::Problem random_problem(std::mt19937& rng, int wants, int columns, double density, const Kinds& k) {
  using namespace selection;
  std::uniform_real_distribution<double> coin(0, 1);
  auto below = [&](unsigned n) { return static_cast<std::int64_t>(rng() % n); };
  Problem p;
  for (int r = 0; r < wants; ++r) {
    Want w{1, 50 + below(400), false, 0};
    if (k.several && below(3) == 0) w.wanted = 2 + below(2), w.last = below(300);
    if (k.hard && r == 0) w.hard = true, w.last = 0, w.wanted = 1;
    p.wants.push_back(w);
  }
  const int asks = k.asking ? 2 : 0;
  for (int r = 0; r < asks; ++r) p.wants.push_back({0, 20 + below(100), false, 0});
  const int limits = k.limits ? 2 : 0;
  for (int l = 0; l < limits; ++l) p.limits.push_back(5 + below(20));
  for (int c = 0; c < columns; ++c) {
    const int r = static_cast<int>(below(static_cast<unsigned>(wants)));
    p.price.push_back(k.ties ? 10 * (1 + below(12)) : 1 + below(150));
    p.covers.add({r, k.joint && below(5) == 0 ? 2 : 1});
    if (k.joint && below(4) == 0) {
      const int other = static_cast<int>(below(static_cast<unsigned>(wants)));
      if (other != r) p.covers.add({other, 1});
    }
    if (k.asking && below(3) == 0) p.covers.add({wants + static_cast<int>(below(2)), below(2) ? 1 : -1});
    p.covers.close();
    for (int l = 0; l < limits; ++l)
      if (below(3)) p.weighs.add({l, 1 + below(8)});
    p.weighs.close();
  }
  std::vector<std::vector<int>> near(static_cast<std::size_t>(columns));
  for (int a = 0; a < columns; ++a)
    for (int b = a + 1; b < columns; ++b)
      if (coin(rng) < density)
        near[static_cast<std::size_t>(a)].push_back(b), near[static_cast<std::size_t>(b)].push_back(a);
  for (auto& l : near) {
    std::sort(l.begin(), l.end());
    for (const int o : l) p.conflicts.add(o);
    p.conflicts.close();
  }
  return p;
}

}  // namespace teasel::testing
