#include <algorithm>

#include "work.h"

namespace teasel::selection {

/// Greedy: each conflict not yet in a clique starts one, which grows by the columns next to all of it, the one with
/// most conflicts first.
Lists<int> clique_cover(const Work& work) {
  const std::size_t columns = work.problem.columns();
  Lists<int> out;
  std::vector<char> done(work.problem.conflicts.items.size());
  std::vector<int> clique, pool;
  // Position of every conflict seen from its other end.
  auto slot = [&](int a, int b) {
    const auto near = work.problem.conflicts[index(a)];
    return work.problem.conflicts.start[index(a)] +
           static_cast<std::size_t>(std::lower_bound(near.begin(), near.end(), b) - near.begin());
  };
  for (std::size_t i = 0; i < columns; ++i) {
    const auto list = work.problem.conflicts[i];
    for (std::size_t k = 0; k < list.size(); ++k) {
      const int j = list[k];
      if (j < static_cast<int>(i) || done[work.problem.conflicts.start[i] + k]) continue;
      if (work.group[i] >= 0 && work.group[i] == work.group[index(j)]) continue;  // the want itself keeps them apart
      clique.assign({static_cast<int>(i), j});
      pool.clear();
      auto offer = [&](int candidate) {
        if (candidate != static_cast<int>(i) && candidate != j && work.apart(candidate, j) &&
            work.apart(candidate, static_cast<int>(i)))
          pool.push_back(candidate);
      };
      for (const int candidate : list) offer(candidate);
      for (const int column : {static_cast<int>(i), j})
        if (work.group[index(column)] >= 0 && work.of_want[index(work.group[index(column)])].size() <= 24)
          for (const int candidate : work.of_want[index(work.group[index(column)])]) offer(candidate);
      std::sort(pool.begin(), pool.end(), [&](int a, int b) {
        return work.problem.conflicts[index(a)].size() != work.problem.conflicts[index(b)].size()
                   ? work.problem.conflicts[index(a)].size() > work.problem.conflicts[index(b)].size()
                   : a < b;
      });
      pool.erase(std::unique(pool.begin(), pool.end()), pool.end());
      for (const int candidate : pool)
        if (std::all_of(clique.begin() + 2, clique.end(),
                        [&](int member) { return member != candidate && work.apart(member, candidate); }))
          clique.push_back(candidate);
      std::sort(clique.begin(), clique.end());
      for (const int a : clique)
        for (const int b : clique)
          if (a != b && work.conflict(a, b)) done[slot(a, b)] = 1;
      for (const int candidate : clique) out.add(candidate);
      out.close();
    }
  }
  return out;
}

}  // namespace teasel::selection
