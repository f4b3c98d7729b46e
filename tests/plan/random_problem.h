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

inline selection::Problem random_problem(std::mt19937& rng, int wants, int columns, double density,
                                         const Kinds& kinds) {
  using namespace selection;
  std::uniform_real_distribution<double> coin(0, 1);
  auto below = [&](unsigned most) { return static_cast<std::int64_t>(rng() % most); };
  Problem problem;
  for (int row = 0; row < wants; ++row) {
    Want want{1, 50 + below(400), false, 0};
    if (kinds.several && below(3) == 0) {
      want.wanted = 2 + below(2);
      want.last = below(300);
    }
    if (kinds.hard && row == 0) {
      want.hard = true;
      want.last = 0;
      want.wanted = 1;
    }
    problem.wants.push_back(want);
  }
  const int asks = kinds.asking ? 2 : 0;
  for (int i = 0; i < asks; ++i) problem.wants.push_back({0, 20 + below(100), false, 0});
  const int limits = kinds.limits ? 2 : 0;
  for (int limit = 0; limit < limits; ++limit) problem.limits.push_back(5 + below(20));
  for (int column = 0; column < columns; ++column) {
    const int row = static_cast<int>(below(static_cast<unsigned>(wants)));
    problem.price.push_back(kinds.ties ? 10 * (1 + below(12)) : 1 + below(150));
    problem.covers.add({row, kinds.joint && below(5) == 0 ? 2 : 1});
    if (kinds.joint && below(4) == 0) {
      const int other = static_cast<int>(below(static_cast<unsigned>(wants)));
      if (other != row) problem.covers.add({other, 1});
    }
    if (kinds.asking && below(3) == 0) problem.covers.add({wants + static_cast<int>(below(2)), below(2) ? 1 : -1});
    problem.covers.close();
    for (int limit = 0; limit < limits; ++limit)
      if (below(3)) problem.weighs.add({limit, 1 + below(8)});
    problem.weighs.close();
  }
  std::vector<std::vector<int>> near(static_cast<std::size_t>(columns));
  for (int a = 0; a < columns; ++a)
    for (int b = a + 1; b < columns; ++b)
      if (coin(rng) < density) {
        near[static_cast<std::size_t>(a)].push_back(b);
        near[static_cast<std::size_t>(b)].push_back(a);
      }
  for (auto& list : near) {
    std::sort(list.begin(), list.end());
    for (const int other : list) problem.conflicts.add(other);
    problem.conflicts.close();
  }
  return problem;
}

}  // namespace teasel::testing
