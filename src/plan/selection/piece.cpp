#include "piece.h"

#include <algorithm>
#include <numeric>

namespace teasel::selection {

namespace {
template <class T>
Lists<int> turned(const Lists<int>& lists, std::size_t n, T by) {
  Lists<int> out;
  out.start.assign(n + 1, 0);
  for (const int v : lists.items) ++out.start[by(v) + 1];
  std::partial_sum(out.start.begin(), out.start.end(), out.start.begin());
  out.items.resize(lists.items.size());
  std::vector<std::size_t> fill(out.start.begin(), out.start.end() - 1);
  for (std::size_t i = 0; i < lists.size(); ++i)
    for (const int v : lists[i]) out.items[fill[by(v)]++] = static_cast<int>(i);
  return out;
}
}  // namespace

Rows make_rows(const Work& w, Lists<int> cliques, std::size_t hub) {
  const std::size_t wants = w.p.wants.size();
  Rows r;
  r.cliques = std::move(cliques);
  r.cliques_of = turned(r.cliques, w.p.columns(), at);
  r.hub.resize(wants);
  for (std::size_t k = 0; k < wants; ++k) r.hub[k] = w.of_want[k].size() > hub;
  r.node_of.assign(w.p.columns(), -1);
  for (std::size_t c = 0; c < w.p.columns(); ++c) {
    for (const Part& x : w.p.covers[c])
      if (r.node_of[c] < 0 && !r.hub[at(x.row)]) r.node_of[c] = x.row;
    if (r.node_of[c] < 0) {
      r.node_of[c] = static_cast<int>(wants + r.lone.size());
      r.lone.push_back(static_cast<int>(c));
    }
  }
  for (std::size_t k = 0; k < wants; ++k) {
    if (!r.hub[k])
      for (const int c : w.of_want[k]) r.columns_of.add(c);
    r.columns_of.close();
  }
  for (const int c : r.lone) {
    r.columns_of.add(c);
    r.columns_of.close();
  }
  const std::size_t nodes = wants + r.lone.size();
  std::vector<int> seen(nodes, -1);
  r.near.start.reserve(nodes + 1);
  for (std::size_t a = 0; a < nodes; ++a) {
    const std::size_t from = r.near.items.size();
    auto meet = [&](int node) {
      if (seen[at(node)] != static_cast<int>(a) && node != static_cast<int>(a)) {
        seen[at(node)] = static_cast<int>(a);
        r.near.add(node);
      }
    };
    for (const int c : r.columns_of[a]) {
      for (const Part& x : w.p.covers[at(c)])
        if (!r.hub[at(x.row)]) meet(x.row);
      for (const int q : r.cliques_of[at(c)])
        for (const int o : r.cliques[at(q)]) {
          meet(r.node_of[at(o)]);
          for (const Part& x : w.p.covers[at(o)])
            if (!r.hub[at(x.row)]) meet(x.row);
        }
    }
    std::sort(r.near.items.begin() + static_cast<std::ptrdiff_t>(from), r.near.items.end());
    r.near.close();
  }
  return r;
}

namespace {
/// Columns of the nodes, their wants that are no hubs, and all cliques that they are in.
struct Inside {
  std::vector<int> columns, wants, cliques;
  Inside(const Rows& rows, const std::vector<int>& asked) {
    for (const int n : asked) {
      columns.insert(columns.end(), rows.columns_of[at(n)].begin(), rows.columns_of[at(n)].end());
      if (at(n) < rows.hub.size() && !rows.hub[at(n)]) wants.push_back(n);
    }
    make_set(columns);
    std::sort(wants.begin(), wants.end());
    for (const int c : columns)
      cliques.insert(cliques.end(), rows.cliques_of[at(c)].begin(), rows.cliques_of[at(c)].end());
    make_set(cliques);
  }
};
}  // namespace

Piece priced_piece(const Work& w, const Rows& rows, const Multipliers& m, const std::vector<int>& nodes,
                   const std::vector<int>& hubs, bool whole, bool partial) {
  const Inside in(rows, nodes);
  const Places<Kind::column> place(in.columns, w.p.columns());
  Piece p;
  p.columns = in.columns;
  p.wants = in.wants;
  p.wants.insert(p.wants.end(), hubs.begin(), hubs.end());
  std::sort(p.wants.begin(), p.wants.end());
  for (const int r : p.wants) {
    p.wanted.push_back(w.p.wants[at(r)].wanted);
    p.miss.push_back(w.p.wants[at(r)].unit() * kScale);
    p.last.push_back(w.p.wants[at(r)].last * kScale);
    if (!rows.hub[at(r)]) continue;
    std::int64_t offer = p.miss.back() + p.last.back();
    for (const int c : w.of_want[at(r)]) {
      if (place[c] >= 0) continue;
      std::int64_t v = w.p.price[at(c)] * kScale, amount = 1;
      for (const Part& x : w.p.covers[at(c)]) {
        if (x.row == r)
          amount = x.amount;
        else
          v -= x.amount * m.want[at(x.row)];
      }
      for (const int q : rows.cliques_of[at(c)]) v += m.clique[at(q)];
      for (const Part& x : w.p.weighs[at(c)]) v += x.amount * m.limit[at(x.row)];
      if (amount > 0) offer = std::max<std::int64_t>(0, std::min(offer, v / amount));
      if (w.p.covers[at(c)].size() > 1) offer = std::min(offer, m.want[at(r)]);
    }
    p.miss.back() = std::min(p.miss.back(), offer);
    p.last.back() = std::min(p.last.back(), offer - p.miss.back());
  }
  std::vector<int> outer;
  for (const int q : in.cliques)
    (std::all_of(rows.cliques[at(q)].begin(), rows.cliques[at(q)].end(), [&](int c) { return place[c] >= 0; })
         ? p.cliques
         : outer)
        .push_back(q);
  if (whole)
    for (std::size_t l = 0; l < w.p.limits.size(); ++l) {
      p.limits.push_back(static_cast<int>(l));
      p.capacity.push_back(w.p.limits[l]);
    }
  p.price.reserve(p.columns.size());
  const Places<Kind::want> want(p.wants, w.p.wants.size());
  const Places<Kind::clique> beyond(outer, rows.cliques.size());
  for (const int c : p.columns) {
    std::int64_t v = w.p.price[at(c)] * kScale;
    for (const Part& x : w.p.covers[at(c)])
      if (want[x.row] < 0) v -= x.amount * m.want[at(x.row)];
    for (const int q : rows.cliques_of[at(c)])
      if (beyond[q] >= 0) v += m.clique[at(q)];
    if (!whole)
      for (const Part& x : w.p.weighs[at(c)]) v += x.amount * m.limit[at(x.row)];
    p.price.push_back(v);
  }
  if (partial) {
    for (const int q : outer) {
      int inside = 0;
      for (const int c : rows.cliques[at(q)]) inside += place[c] >= 0;
      if (inside >= 2) p.cliques.push_back(q);
    }
    std::sort(p.cliques.begin(), p.cliques.end());
  }
  return p;
}

Piece given_piece(const Work& w, const Rows& rows, const std::vector<int>& nodes, const std::vector<char>& chosen) {
  const Inside in(rows, nodes);
  const Places<Kind::column> place(in.columns, w.p.columns());
  Piece p;
  for (const int c : in.columns) {
    const auto near = w.p.conflicts[at(c)];
    if (std::none_of(near.begin(), near.end(), [&](int o) { return chosen[at(o)] && place[o] < 0; }))
      p.columns.push_back(c);
  }
  for (const int c : p.columns) p.price.push_back(w.p.price[at(c)] * kScale);
  // Wants of these columns that lie outside count too: their other columns stay as they are.
  for (const int c : in.columns)
    for (const Part& x : w.p.covers[at(c)]) p.wants.push_back(x.row);
  std::sort(p.wants.begin(), p.wants.end());
  p.wants.erase(std::unique(p.wants.begin(), p.wants.end()), p.wants.end());
  for (const int r : p.wants) {
    std::int64_t left = w.p.wants[at(r)].wanted;
    for (const int c : w.of_want[at(r)])
      if (chosen[at(c)] && place[c] < 0)
        for (const Part& x : w.p.covers[at(c)])
          if (x.row == r) left -= x.amount;
    p.wanted.push_back(left);
    p.miss.push_back(w.p.wants[at(r)].unit() * kScale);
    p.last.push_back(left < w.p.wants[at(r)].wanted ? 0 : w.p.wants[at(r)].last * kScale);
  }
  for (const int q : in.cliques) {
    int inside = 0;
    for (const int c : rows.cliques[at(q)]) inside += std::binary_search(p.columns.begin(), p.columns.end(), c);
    if (inside >= 2) p.cliques.push_back(q);
  }
  for (std::size_t l = 0; l < w.p.limits.size(); ++l) {
    p.limits.push_back(static_cast<int>(l));
    p.capacity.push_back(w.p.limits[l]);
  }
  if (!p.limits.empty())
    for (std::size_t c = 0; c < w.p.columns(); ++c)
      if (chosen[c] && place[static_cast<int>(c)] < 0)
        for (const Part& x : w.p.weighs[c]) p.capacity[at(x.row)] -= x.amount;
  return p;
}

std::int64_t value_in(const Work& w, const Piece& p, const std::vector<int>& chosen) {
  std::int64_t sum = 0;
  std::vector<std::int64_t> left = p.wanted;
  for (const int c : chosen) {
    const auto it = std::lower_bound(p.columns.begin(), p.columns.end(), c);
    sum += p.price[static_cast<std::size_t>(it - p.columns.begin())];
    for (const Part& x : w.p.covers[at(c)]) {
      const auto r = std::lower_bound(p.wants.begin(), p.wants.end(), x.row);
      if (r != p.wants.end() && *r == x.row) left[static_cast<std::size_t>(r - p.wants.begin())] -= x.amount;
    }
  }
  for (std::size_t k = 0; k < left.size(); ++k)
    if (left[k] > 0) sum += left[k] * p.miss[k] + (left[k] >= w.p.wants[at(p.wants[k])].wanted ? p.last[k] : 0);
  return sum;
}

}  // namespace teasel::selection
