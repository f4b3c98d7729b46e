// Pairs of points nearer than their kinds allow, by a grid whose cells are as wide as the largest distance.
#include <algorithm>
#include <cstdlib>
#include <tuple>

#include "teasel/plan/selection.h"

namespace teasel::selection {

namespace {
/// Columns at one point of one layer: they meet the same neighbours.
struct Spot {
  std::int64_t x, y;
  int layer;
  std::size_t first, last;  ///< in the sorted order
};
}  // namespace

Lists<int> spacing_conflicts(const Spaced& p) {
  const std::size_t n = p.x.size();
  Lists<int> out;
  std::vector<int> order(n);
  for (std::size_t i = 0; i < n; ++i) order[i] = static_cast<int>(i);
  auto at = [](int i) { return static_cast<std::size_t>(i); };
  std::int64_t reach = 1;
  for (const auto& row : p.least)
    for (const std::int64_t l : row) reach = std::max(reach, l);
  auto cell = [&](std::int64_t v) { return v >= 0 ? v / reach : -((-v + reach - 1) / reach); };
  // Row by row of cells, so that the three rows that matter are three runs.
  auto key = [&](int i) { return std::tuple(p.layer[at(i)], cell(p.y[at(i)]), p.x[at(i)], p.y[at(i)], i); };
  std::sort(order.begin(), order.end(), [&](int a, int b) { return key(a) < key(b); });
  std::vector<Spot> spots;
  for (std::size_t i = 0; i < n; ++i) {
    const std::size_t c = at(order[i]);
    if (spots.empty() || spots.back().layer != p.layer[c] || spots.back().x != p.x[c] || spots.back().y != p.y[c])
      spots.push_back({p.x[c], p.y[c], p.layer[c], i, i});
    spots.back().last = i + 1;
  }
  struct Run {
    int layer;
    std::int64_t row;
    std::size_t first, last;
  };
  std::vector<Run> runs;
  for (std::size_t s = 0; s < spots.size(); ++s) {
    const std::int64_t row = cell(spots[s].y);
    if (runs.empty() || runs.back().layer != spots[s].layer || runs.back().row != row)
      runs.push_back({spots[s].layer, row, s, s});
    runs.back().last = s + 1;
  }
  std::vector<std::pair<int, int>> pairs;
  std::vector<std::size_t> degree(n + 1);
  auto meet = [&](const Spot& a, const Spot& b) {
    const std::int64_t dx = a.x - b.x, dy = a.y - b.y, d2 = dx * dx + dy * dy;
    for (std::size_t i = a.first; i < a.last; ++i)
      for (std::size_t j = &a == &b ? i + 1 : b.first; j < b.last; ++j) {
        const int u = order[i], v = order[j];
        const std::int64_t l = p.least[at(p.kind[at(u)])][at(p.kind[at(v)])];
        if (d2 >= l * l) continue;
        pairs.emplace_back(u, v);
        ++degree[at(u)];
        ++degree[at(v)];
      }
  };
  for (std::size_t r = 0; r < runs.size(); ++r) {
    const Run& run = runs[r];
    const bool below = r + 1 < runs.size() && runs[r + 1].layer == run.layer && runs[r + 1].row == run.row + 1;
    std::size_t from = below ? runs[r + 1].first : 0;
    for (std::size_t s = run.first; s < run.last; ++s) {
      meet(spots[s], spots[s]);
      for (std::size_t t = s + 1; t < run.last && spots[t].x - spots[s].x < reach; ++t)
        if (std::abs(spots[t].y - spots[s].y) < reach) meet(spots[s], spots[t]);
      if (!below) continue;
      while (from < runs[r + 1].last && spots[from].x <= spots[s].x - reach) ++from;
      for (std::size_t t = from; t < runs[r + 1].last && spots[t].x - spots[s].x < reach; ++t)
        if (spots[t].y - spots[s].y < reach) meet(spots[s], spots[t]);
    }
  }
  out.start.assign(n + 1, 0);
  for (std::size_t i = 0; i < n; ++i) out.start[i + 1] = out.start[i] + degree[i];
  out.items.resize(out.start[n]);
  std::vector<std::size_t> fill(out.start.begin(), out.start.end() - 1);
  for (const auto& [u, v] : pairs) {
    out.items[fill[at(u)]++] = v;
    out.items[fill[at(v)]++] = u;
  }
  for (std::size_t i = 0; i < n; ++i)
    std::sort(out.items.begin() + static_cast<std::ptrdiff_t>(out.start[i]),
              out.items.begin() + static_cast<std::ptrdiff_t>(out.start[i + 1]));
  return out;
}

}  // namespace teasel::selection
