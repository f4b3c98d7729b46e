#include "piece.h"

#include <algorithm>
#include <numeric>

namespace teasel::selection {

namespace {
template <class T>
Lists<int> turned(const Lists<int>& lists, std::size_t count, T by) {
  Lists<int> out;
  out.start.assign(count + 1, 0);
  for (const int item : lists.items) ++out.start[by(item) + 1];
  std::partial_sum(out.start.begin(), out.start.end(), out.start.begin());
  out.items.resize(lists.items.size());
  std::vector<std::size_t> fill(out.start.begin(), out.start.end() - 1);
  for (std::size_t i = 0; i < lists.size(); ++i)
    for (const int item : lists[i]) out.items[fill[by(item)]++] = static_cast<int>(i);
  return out;
}
}  // namespace

Rows make_rows(const Work& work, Lists<int> cliques, std::size_t hub) {
  const std::size_t wants = work.problem.wants.size();
  Rows rows;
  rows.cliques = std::move(cliques);
  rows.cliques_of = turned(rows.cliques, work.problem.columns(), index);
  rows.hub.resize(wants);
  for (std::size_t k = 0; k < wants; ++k) rows.hub[k] = work.of_want[k].size() > hub;
  rows.node_of.assign(work.problem.columns(), -1);
  for (std::size_t column = 0; column < work.problem.columns(); ++column) {
    for (const Part& part : work.problem.covers[column])
      if (rows.node_of[column] < 0 && !rows.hub[index(part.row)]) rows.node_of[column] = part.row;
    if (rows.node_of[column] < 0) {
      rows.node_of[column] = static_cast<int>(wants + rows.lone.size());
      rows.lone.push_back(static_cast<int>(column));
    }
  }
  for (std::size_t k = 0; k < wants; ++k) {
    if (!rows.hub[k])
      for (const int column : work.of_want[k]) rows.columns_of.add(column);
    rows.columns_of.close();
  }
  for (const int column : rows.lone) {
    rows.columns_of.add(column);
    rows.columns_of.close();
  }
  const std::size_t nodes = wants + rows.lone.size();
  std::vector<int> seen(nodes, -1);
  rows.near.start.reserve(nodes + 1);
  for (std::size_t number = 0; number < nodes; ++number) {
    const std::size_t from = rows.near.items.size();
    auto meet = [&](int node) {
      if (seen[index(node)] != static_cast<int>(number) && node != static_cast<int>(number)) {
        seen[index(node)] = static_cast<int>(number);
        rows.near.add(node);
      }
    };
    for (const int column : rows.columns_of[number]) {
      for (const Part& part : work.problem.covers[index(column)])
        if (!rows.hub[index(part.row)]) meet(part.row);
      for (const int clique : rows.cliques_of[index(column)])
        for (const int other : rows.cliques[index(clique)]) {
          meet(rows.node_of[index(other)]);
          for (const Part& part : work.problem.covers[index(other)])
            if (!rows.hub[index(part.row)]) meet(part.row);
        }
    }
    std::sort(rows.near.items.begin() + static_cast<std::ptrdiff_t>(from), rows.near.items.end());
    rows.near.close();
  }
  return rows;
}

namespace {
/// Columns of the nodes, their wants that are no hubs, and all cliques that they are in.
struct Inside {
  std::vector<int> columns, wants, cliques;
  Inside(const Rows& rows, const std::vector<int>& asked) {
    for (const int node : asked) {
      columns.insert(columns.end(), rows.columns_of[index(node)].begin(), rows.columns_of[index(node)].end());
      if (index(node) < rows.hub.size() && !rows.hub[index(node)]) wants.push_back(node);
    }
    make_set(columns);
    std::sort(wants.begin(), wants.end());
    for (const int column : columns)
      cliques.insert(cliques.end(), rows.cliques_of[index(column)].begin(), rows.cliques_of[index(column)].end());
    make_set(cliques);
  }
};

/// A column's price with what its outer rows cost: wants that are not inside, cliques beyond the piece, and limits
/// unless the piece is the whole.
std::int64_t priced_column(const Work& work, const Rows& rows, const Multipliers& multipliers, int column,
                           const Places<Kind::want>& inside, const Places<Kind::clique>& beyond, bool whole) {
  std::int64_t value = work.problem.price[index(column)] * kScale;
  for (const Part& part : work.problem.covers[index(column)])
    if (inside[part.row] < 0) value -= part.amount * multipliers.want[index(part.row)];
  for (const int clique : rows.cliques_of[index(column)])
    if (beyond[clique] >= 0) value += multipliers.clique[index(clique)];
  if (!whole)
    for (const Part& part : work.problem.weighs[index(column)])
      value += part.amount * multipliers.limit[index(part.row)];
  return value;
}

/// The least price at which a column outside the piece offers one more unit of a hub's want; `offer` if none is less.
std::int64_t outside_offer(const Work& work, const Rows& rows, const Multipliers& multipliers, int row,
                           const Places<Kind::column>& inside, std::int64_t offer) {
  for (const int column : work.of_want[index(row)]) {
    if (inside[column] >= 0) continue;
    std::int64_t value = work.problem.price[index(column)] * kScale, amount = 1;
    for (const Part& part : work.problem.covers[index(column)]) {
      if (part.row == row)
        amount = part.amount;
      else
        value -= part.amount * multipliers.want[index(part.row)];
    }
    for (const int clique : rows.cliques_of[index(column)]) value += multipliers.clique[index(clique)];
    for (const Part& part : work.problem.weighs[index(column)])
      value += part.amount * multipliers.limit[index(part.row)];
    if (amount > 0) offer = std::max<std::int64_t>(0, std::min(offer, value / amount));
    if (work.problem.covers[index(column)].size() > 1) offer = std::min(offer, multipliers.want[index(row)]);
  }
  return offer;
}
}  // namespace

Piece priced_piece(const Work& work, const Rows& rows, const Multipliers& multipliers, const std::vector<int>& nodes,
                   const std::vector<int>& hubs, bool whole, bool partial) {
  const Inside in(rows, nodes);
  const Places<Kind::column> place(in.columns, work.problem.columns());
  Piece piece;
  piece.columns = in.columns;
  piece.wants = in.wants;
  piece.wants.insert(piece.wants.end(), hubs.begin(), hubs.end());
  std::sort(piece.wants.begin(), piece.wants.end());
  for (const int row : piece.wants) {
    piece.wanted.push_back(work.problem.wants[index(row)].wanted);
    piece.miss.push_back(work.problem.wants[index(row)].unit() * kScale);
    piece.last.push_back(work.problem.wants[index(row)].last * kScale);
    if (!rows.hub[index(row)]) continue;
    const std::int64_t offer =
        outside_offer(work, rows, multipliers, row, place, piece.miss.back() + piece.last.back());
    piece.miss.back() = std::min(piece.miss.back(), offer);
    piece.last.back() = std::min(piece.last.back(), offer - piece.miss.back());
  }
  std::vector<int> outer;
  for (const int clique : in.cliques)
    (std::all_of(rows.cliques[index(clique)].begin(), rows.cliques[index(clique)].end(),
                 [&](int column) { return place[column] >= 0; })
         ? piece.cliques
         : outer)
        .push_back(clique);
  if (whole)
    for (std::size_t limit = 0; limit < work.problem.limits.size(); ++limit) {
      piece.limits.push_back(static_cast<int>(limit));
      piece.capacity.push_back(work.problem.limits[limit]);
    }
  piece.price.reserve(piece.columns.size());
  const Places<Kind::want> want(piece.wants, work.problem.wants.size());
  const Places<Kind::clique> beyond(outer, rows.cliques.size());
  for (const int column : piece.columns)
    piece.price.push_back(priced_column(work, rows, multipliers, column, want, beyond, whole));
  if (partial) {
    for (const int clique : outer) {
      int inside = 0;
      for (const int column : rows.cliques[index(clique)]) inside += place[column] >= 0;
      if (inside >= 2) piece.cliques.push_back(clique);
    }
    std::sort(piece.cliques.begin(), piece.cliques.end());
  }
  return piece;
}

Piece given_piece(const Work& work, const Rows& rows, const std::vector<int>& nodes, const std::vector<char>& chosen) {
  const Inside in(rows, nodes);
  const Places<Kind::column> place(in.columns, work.problem.columns());
  Piece piece;
  for (const int column : in.columns) {
    const auto near = work.problem.conflicts[index(column)];
    if (std::none_of(near.begin(), near.end(), [&](int other) { return chosen[index(other)] && place[other] < 0; }))
      piece.columns.push_back(column);
  }
  for (const int column : piece.columns) piece.price.push_back(work.problem.price[index(column)] * kScale);
  // Wants of these columns that lie outside count too: their other columns stay as they are.
  for (const int column : in.columns)
    for (const Part& part : work.problem.covers[index(column)]) piece.wants.push_back(part.row);
  std::sort(piece.wants.begin(), piece.wants.end());
  piece.wants.erase(std::unique(piece.wants.begin(), piece.wants.end()), piece.wants.end());
  for (const int row : piece.wants) {
    std::int64_t left = work.problem.wants[index(row)].wanted;
    for (const int column : work.of_want[index(row)])
      if (chosen[index(column)] && place[column] < 0)
        for (const Part& part : work.problem.covers[index(column)])
          if (part.row == row) left -= part.amount;
    piece.wanted.push_back(left);
    piece.miss.push_back(work.problem.wants[index(row)].unit() * kScale);
    piece.last.push_back(left < work.problem.wants[index(row)].wanted ? 0
                                                                      : work.problem.wants[index(row)].last * kScale);
  }
  for (const int clique : in.cliques) {
    int inside = 0;
    for (const int column : rows.cliques[index(clique)])
      inside += std::binary_search(piece.columns.begin(), piece.columns.end(), column);
    if (inside >= 2) piece.cliques.push_back(clique);
  }
  for (std::size_t limit = 0; limit < work.problem.limits.size(); ++limit) {
    piece.limits.push_back(static_cast<int>(limit));
    piece.capacity.push_back(work.problem.limits[limit]);
  }
  if (!piece.limits.empty())
    for (std::size_t column = 0; column < work.problem.columns(); ++column)
      if (chosen[column] && place[static_cast<int>(column)] < 0)
        for (const Part& part : work.problem.weighs[column]) piece.capacity[index(part.row)] -= part.amount;
  return piece;
}

std::int64_t value_in(const Work& work, const Piece& piece, const std::vector<int>& chosen) {
  std::int64_t sum = 0;
  std::vector<std::int64_t> left = piece.wanted;
  for (const int column : chosen) {
    const auto it = std::lower_bound(piece.columns.begin(), piece.columns.end(), column);
    sum += piece.price[static_cast<std::size_t>(it - piece.columns.begin())];
    for (const Part& part : work.problem.covers[index(column)]) {
      const auto place = std::lower_bound(piece.wants.begin(), piece.wants.end(), part.row);
      if (place != piece.wants.end() && *place == part.row)
        left[static_cast<std::size_t>(place - piece.wants.begin())] -= part.amount;
    }
  }
  for (std::size_t k = 0; k < left.size(); ++k)
    if (left[k] > 0)
      sum +=
          left[k] * piece.miss[k] + (left[k] >= work.problem.wants[index(piece.wants[k])].wanted ? piece.last[k] : 0);
  return sum;
}

}  // namespace teasel::selection
