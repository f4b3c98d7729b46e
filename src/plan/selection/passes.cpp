// First multipliers and a first choice: by ascent, then by the linear programs of blocks, cut twice with other borders.
#include <numeric>

#include "solver.h"
#include "teasel/parallel.h"

namespace teasel::selection {

namespace {
constexpr int kSweeps = 8, kPasses = 2;
}  // namespace

void Solver::split() {
  std::vector<char> seen(nodes());
  for (std::size_t node = 0; node < nodes(); ++node) {
    if (seen[node] || (node < problem_.wants.size() && rows_.hub[node])) continue;
    std::vector<int> piece{static_cast<int>(node)};
    seen[node] = 1;
    for (std::size_t k = 0; k < piece.size(); ++k)
      for (const int other : rows_.near[index(piece[k])])
        if (!seen[index(other)]) {
          seen[index(other)] = 1;
          piece.push_back(other);
        }
    result_.largest_piece = std::max(result_.largest_piece, piece.size());
    pieces_.push_back(std::move(piece));
  }
  result_.pieces = pieces_.size();
}

/// Nodes by nearness, block after block.
std::vector<std::vector<int>> Solver::blocks(const std::vector<int>& seeds) const {
  std::vector<char> taken(nodes());
  std::vector<std::vector<int>> out;
  for (const int seed : seeds) {
    if (taken[index(seed)]) continue;
    std::vector<int> block{seed};
    taken[index(seed)] = 1;
    for (std::size_t k = 0; k < block.size() && block.size() < limits_.sizes.block; ++k)
      for (const int other : rows_.near[index(block[k])])
        if (block.size() < limits_.sizes.block && !taken[index(other)]) {
          taken[index(other)] = 1;
          block.push_back(other);
        }
    out.push_back(std::move(block));
  }
  return out;
}

std::vector<int> Solver::border_of(const std::vector<std::vector<int>>& parts) const {
  std::vector<int> part_of(nodes(), -1), border;
  for (std::size_t i = 0; i < parts.size(); ++i)
    for (const int node : parts[i]) part_of[index(node)] = static_cast<int>(i);
  for (std::size_t node = 0; node < nodes(); ++node)
    if (part_of[node] >= 0 && std::any_of(rows_.near[node].begin(), rows_.near[node].end(),
                                          [&](int other) { return part_of[index(other)] != part_of[node]; }))
      border.push_back(static_cast<int>(node));
  return border;
}

std::vector<int> Solver::all_hubs() const {
  std::vector<int> out;
  for (std::size_t row = 0; row < rows_.hub.size(); ++row)
    if (rows_.hub[row]) out.push_back(static_cast<int>(row));
  return out;
}

/// The multipliers of a piece's rows take the program's values.
void Solver::adopt(const Piece& piece, const PieceResult& result) {
  for (const int k : piece.wants) multipliers_.want[index(k)] = 0;
  for (const int k : piece.cliques) multipliers_.clique[index(k)] = 0;
  for (const int k : piece.limits) multipliers_.limit[index(k)] = 0;
  for (const auto& [k, value] : result.want) multipliers_.want[index(k)] = value;
  for (const auto& [k, value] : result.clique) multipliers_.clique[index(k)] = value;
  for (const auto& [k, value] : result.limit) multipliers_.limit[index(k)] = value;
}

void Solver::programs(const std::vector<std::vector<int>>& parts, bool whole) {
  std::vector<PieceResult> results(parts.size());
  std::vector<Piece> pieces(parts.size());
  parallel_for(
      parts.size(),
      [&](std::size_t i) {
        if (clock_.over()) return;
        pieces[i] = priced_piece(work_, rows_, multipliers_, parts[i], whole ? all_hubs() : std::vector<int>{}, whole);
        PieceLimits limits;
        limits.clock = &clock_;
        for (const int column : pieces[i].columns)
          if (chosen_[index(column)]) limits.start.push_back(column);
        results[i] = solve_piece(work_, rows_, pieces[i], limits);
      },
      1);
  for (std::size_t i = 0; i < parts.size(); ++i) {
    if (!results[i].solved) continue;
    adopt(pieces[i], results[i]);
    for (const int column : pieces[i].columns) chosen_[index(column)] = 0;
  }
  // What the blocks chose need not fit together at their borders: better_choice() sees to that.
  for (const PieceResult& result : results)
    for (const int column : result.chosen) chosen_[index(column)] = 1;
}

/// The best multiplier of each hub (or of all wants), all others held fixed.
void Solver::price_wants(bool all) {
  std::vector<std::pair<std::int64_t, std::int64_t>> list;  // multiplier at which the column comes in, its amount
  for (std::size_t row = 0; row < problem_.wants.size(); ++row) {
    if (!rows_.hub[row] && !all) continue;
    const Want& want = problem_.wants[row];
    list.clear();
    bool turned = false;
    for (const int column : work_.of_want[row]) {
      std::int64_t value = problem_.price[index(column)] * kScale, amount = 0;
      for (const Part& part : problem_.covers[index(column)]) {
        if (part.row == static_cast<int>(row))
          amount += part.amount;
        else
          value -= part.amount * multipliers_.want[index(part.row)];
      }
      for (const int clique : rows_.cliques_of[index(column)]) value += multipliers_.clique[index(clique)];
      for (const Part& part : problem_.weighs[index(column)])
        value += part.amount * multipliers_.limit[index(part.row)];
      if (amount > 0) list.emplace_back(value / amount, amount);
      turned = turned || amount < 0;
    }
    multipliers_.want[row] = 0;
    if (turned || want.wanted <= 0) continue;
    std::sort(list.begin(), list.end());
    const std::int64_t unit = want.unit() * kScale;
    std::int64_t u = unit + want.last * kScale, have = 0;
    for (const auto& [at_price, amount] : list) {
      if (at_price >= unit && have >= 1) {
        u = std::min(u, unit);
        break;
      }
      have += amount;
      if (have >= want.wanted) {
        u = std::min(u, at_price);
        break;
      }
    }
    if (have >= 1 && have < want.wanted) u = std::min(u, unit);
    multipliers_.want[row] = std::max<std::int64_t>(0, u);
  }
}

/// Makes the choice keep all rules: columns with the fewest conflicts first, then whatever still helps.
void Solver::repair() {
  std::vector<std::int64_t> left(problem_.wants.size()), room = problem_.limits;
  for (std::size_t row = 0; row < left.size(); ++row) left[row] = problem_.wants[row].wanted;
  std::vector<int> order;
  std::vector<char> blocked(problem_.columns());
  for (std::size_t column = 0; column < problem_.columns(); ++column)
    if (chosen_[column]) order.push_back(static_cast<int>(column));
  std::fill(chosen_.begin(), chosen_.end(), 0);
  auto gain = [&](int column) {
    Cost sum = -problem_.price[index(column)];
    for (const Part& part : problem_.covers[index(column)])
      sum += problem_.wants[index(part.row)].lack(left[index(part.row)]) -
             problem_.wants[index(part.row)].lack(left[index(part.row)] - part.amount);
    return sum;
  };
  auto take = [&](int column) {
    if (chosen_[index(column)] || blocked[index(column)] || gain(column) <= 0) return;
    for (const Part& part : problem_.weighs[index(column)])
      if (room[index(part.row)] < part.amount) return;
    for (const Part& part : problem_.weighs[index(column)]) room[index(part.row)] -= part.amount;
    for (const Part& part : problem_.covers[index(column)]) left[index(part.row)] -= part.amount;
    for (const int other : problem_.conflicts[index(column)]) blocked[index(other)] = 1;
    chosen_[index(column)] = 1;
  };
  std::stable_sort(order.begin(), order.end(), [&](int a, int b) {
    return problem_.conflicts[index(a)].size() < problem_.conflicts[index(b)].size();
  });
  for (const int column : order) take(column);
  for (std::size_t row = 0; row < problem_.wants.size(); ++row)
    for (const int column : work_.of_want[row]) {
      if (left[row] <= 0) break;
      take(column);
    }
}

void Solver::keep_best() {
  Choice now;
  for (std::size_t column = 0; column < chosen_.size(); ++column)
    if (chosen_[column]) now.columns.push_back(static_cast<int>(column));
  now.cost = cost_of(problem_, now.columns);
  if (!any_ || now.cost < best_.cost) {
    best_ = std::move(now);
    any_ = true;
  }
}

void Solver::back_to_best() {
  std::fill(chosen_.begin(), chosen_.end(), 0);
  for (const int column : best_.columns) chosen_[index(column)] = 1;
}

void Solver::better_choice() {
  repair();
  improve(work_, chosen_, clock_);
  keep_best();
}

void Solver::passes() {
  ascend(work_, rows_, multipliers_, kSweeps, clock_);
  price_wants(true);
  for (const int column : limits_.start) chosen_[index(column)] = 1;
  better_choice();
  if (!problem_.limits.empty() || problem_.columns() <= limits_.sizes.whole) {
    // Few nodes, or limits, which join everything: one program. The choice it suggests may be worse than the one at
    // hand.
    std::vector<int> all(nodes());
    std::iota(all.begin(), all.end(), 0);
    gaps();
    if (proven_units() < best_.cost) {
      programs({all}, true);
      better_choice();
    }
    back_to_best();
    return;
  }
  const std::vector<std::int64_t> gap = gaps();
  std::vector<std::vector<int>> parts;
  for (const auto& piece : pieces_) {
    // Most small pieces are settled by now.
    if (std::none_of(piece.begin(), piece.end(), [&](int node) { return gap[index(node)] > kNoGap; })) continue;
    for (auto& block : blocks(piece)) parts.push_back(std::move(block));
  }
  for (int pass = 0; !parts.empty() && !clock_.over(); ++pass) {
    programs(parts, false);
    price_wants(false);
    better_choice();
    if (pass == kPasses) break;
    parts = blocks(border_of(parts));
  }
  back_to_best();
}

}  // namespace teasel::selection
