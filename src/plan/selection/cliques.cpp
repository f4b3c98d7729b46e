#include <algorithm>

#include "work.h"

namespace teasel::selection {

/// Greedy: each conflict not yet in a clique starts one, which grows by the columns next to all of it, the one with
/// most conflicts first.
Lists<int> clique_cover(const Work& w) {
  const std::size_t n = w.p.columns();
  Lists<int> out;
  std::vector<char> done(w.p.conflicts.items.size());
  std::vector<int> clique, pool;
  // Position of every conflict seen from its other end.
  auto slot = [&](int a, int b) {
    const auto l = w.p.conflicts[at(a)];
    return w.p.conflicts.start[at(a)] + static_cast<std::size_t>(std::lower_bound(l.begin(), l.end(), b) - l.begin());
  };
  for (std::size_t i = 0; i < n; ++i) {
    const auto list = w.p.conflicts[i];
    for (std::size_t k = 0; k < list.size(); ++k) {
      const int j = list[k];
      if (j < static_cast<int>(i) || done[w.p.conflicts.start[i] + k]) continue;
      if (w.group[i] >= 0 && w.group[i] == w.group[at(j)]) continue;  // the want itself keeps them apart
      clique.assign({static_cast<int>(i), j});
      pool.clear();
      auto offer = [&](int v) {
        if (v != static_cast<int>(i) && v != j && w.apart(v, j) && w.apart(v, static_cast<int>(i))) pool.push_back(v);
      };
      for (const int v : list) offer(v);
      for (const int c : {static_cast<int>(i), j})
        if (w.group[at(c)] >= 0 && w.of_want[at(w.group[at(c)])].size() <= 24)
          for (const int v : w.of_want[at(w.group[at(c)])]) offer(v);
      std::sort(pool.begin(), pool.end(), [&](int a, int b) {
        return w.p.conflicts[at(a)].size() != w.p.conflicts[at(b)].size()
                   ? w.p.conflicts[at(a)].size() > w.p.conflicts[at(b)].size()
                   : a < b;
      });
      pool.erase(std::unique(pool.begin(), pool.end()), pool.end());
      for (const int v : pool)
        if (std::all_of(clique.begin() + 2, clique.end(), [&](int u) { return u != v && w.apart(u, v); }))
          clique.push_back(v);
      std::sort(clique.begin(), clique.end());
      for (const int a : clique)
        for (const int b : clique)
          if (a != b && w.conflict(a, b)) done[slot(a, b)] = 1;
      for (const int v : clique) out.add(v);
      out.close();
    }
  }
  return out;
}

}  // namespace teasel::selection
