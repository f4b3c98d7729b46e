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
  for (std::size_t r = 0; r < nodes(); ++r) {
    if (seen[r] || (r < p_.wants.size() && rows_.hub[r])) continue;
    std::vector<int> piece{static_cast<int>(r)};
    seen[r] = 1;
    for (std::size_t k = 0; k < piece.size(); ++k)
      for (const int o : rows_.near[at(piece[k])])
        if (!seen[at(o)]) {
          seen[at(o)] = 1;
          piece.push_back(o);
        }
    r_.largest_piece = std::max(r_.largest_piece, piece.size());
    pieces_.push_back(std::move(piece));
  }
  r_.pieces = pieces_.size();
}

/// Nodes by nearness, block after block.
std::vector<std::vector<int>> Solver::blocks(const std::vector<int>& seeds) const {
  std::vector<char> taken(nodes());
  std::vector<std::vector<int>> out;
  for (const int s : seeds) {
    if (taken[at(s)]) continue;
    std::vector<int> block{s};
    taken[at(s)] = 1;
    for (std::size_t k = 0; k < block.size() && block.size() < limits_.sizes.block; ++k)
      for (const int o : rows_.near[at(block[k])])
        if (block.size() < limits_.sizes.block && !taken[at(o)]) {
          taken[at(o)] = 1;
          block.push_back(o);
        }
    out.push_back(std::move(block));
  }
  return out;
}

std::vector<int> Solver::border_of(const std::vector<std::vector<int>>& parts) const {
  std::vector<int> part_of(nodes(), -1), border;
  for (std::size_t i = 0; i < parts.size(); ++i)
    for (const int n : parts[i]) part_of[at(n)] = static_cast<int>(i);
  for (std::size_t n = 0; n < nodes(); ++n)
    if (part_of[n] >= 0 &&
        std::any_of(rows_.near[n].begin(), rows_.near[n].end(), [&](int o) { return part_of[at(o)] != part_of[n]; }))
      border.push_back(static_cast<int>(n));
  return border;
}

std::vector<int> Solver::all_hubs() const {
  std::vector<int> out;
  for (std::size_t r = 0; r < rows_.hub.size(); ++r)
    if (rows_.hub[r]) out.push_back(static_cast<int>(r));
  return out;
}

/// The multipliers of a piece's rows take the program's values.
void Solver::adopt(const Piece& piece, const PieceResult& r) {
  for (const int k : piece.wants) m_.want[at(k)] = 0;
  for (const int k : piece.cliques) m_.clique[at(k)] = 0;
  for (const int k : piece.limits) m_.limit[at(k)] = 0;
  for (const auto& [k, v] : r.want) m_.want[at(k)] = v;
  for (const auto& [k, v] : r.clique) m_.clique[at(k)] = v;
  for (const auto& [k, v] : r.limit) m_.limit[at(k)] = v;
}

void Solver::programs(const std::vector<std::vector<int>>& parts, bool whole) {
  std::vector<PieceResult> results(parts.size());
  std::vector<Piece> pieces(parts.size());
  parallel_for(
      parts.size(),
      [&](std::size_t i) {
        if (clock_.over()) return;
        pieces[i] = priced_piece(w_, rows_, m_, parts[i], whole ? all_hubs() : std::vector<int>{}, whole);
        PieceLimits l;
        l.clock = &clock_;
        for (const int c : pieces[i].columns)
          if (chosen_[at(c)]) l.start.push_back(c);
        results[i] = solve_piece(w_, rows_, pieces[i], l);
      },
      1);
  for (std::size_t i = 0; i < parts.size(); ++i) {
    if (!results[i].solved) continue;
    adopt(pieces[i], results[i]);
    for (const int c : pieces[i].columns) chosen_[at(c)] = 0;
  }
  // What the blocks chose need not fit together at their borders: better_choice() sees to that.
  for (const PieceResult& r : results)
    for (const int c : r.chosen) chosen_[at(c)] = 1;
}

/// The best multiplier of each hub (or of all wants), all others held fixed.
void Solver::price_wants(bool all) {
  std::vector<std::pair<std::int64_t, std::int64_t>> list;  // multiplier at which the column comes in, its amount
  for (std::size_t r = 0; r < p_.wants.size(); ++r) {
    if (!rows_.hub[r] && !all) continue;
    const Want& want = p_.wants[r];
    list.clear();
    bool turned = false;
    for (const int c : w_.of_want[r]) {
      std::int64_t v = p_.price[at(c)] * kScale, amount = 0;
      for (const Part& x : p_.covers[at(c)]) {
        if (x.row == static_cast<int>(r))
          amount += x.amount;
        else
          v -= x.amount * m_.want[at(x.row)];
      }
      for (const int q : rows_.cliques_of[at(c)]) v += m_.clique[at(q)];
      for (const Part& x : p_.weighs[at(c)]) v += x.amount * m_.limit[at(x.row)];
      if (amount > 0) list.emplace_back(v / amount, amount);
      turned = turned || amount < 0;
    }
    m_.want[r] = 0;
    if (turned || want.wanted <= 0) continue;
    std::sort(list.begin(), list.end());
    const std::int64_t unit = want.unit() * kScale;
    std::int64_t u = unit + want.last * kScale, have = 0;
    for (const auto& [v, amount] : list) {
      if (v >= unit && have >= 1) {
        u = std::min(u, unit);
        break;
      }
      if ((have += amount) >= want.wanted) {
        u = std::min(u, v);
        break;
      }
    }
    if (have >= 1 && have < want.wanted) u = std::min(u, unit);
    m_.want[r] = std::max<std::int64_t>(0, u);
  }
}

/// Makes the choice keep all rules: columns with the fewest conflicts first, then whatever still helps.
void Solver::repair() {
  std::vector<std::int64_t> left(p_.wants.size()), room = p_.limits;
  for (std::size_t r = 0; r < left.size(); ++r) left[r] = p_.wants[r].wanted;
  std::vector<int> order;
  std::vector<char> blocked(p_.columns());
  for (std::size_t c = 0; c < p_.columns(); ++c)
    if (chosen_[c]) order.push_back(static_cast<int>(c));
  std::fill(chosen_.begin(), chosen_.end(), 0);
  auto gain = [&](int c) {
    Cost g = -p_.price[at(c)];
    for (const Part& x : p_.covers[at(c)])
      g += p_.wants[at(x.row)].lack(left[at(x.row)]) - p_.wants[at(x.row)].lack(left[at(x.row)] - x.amount);
    return g;
  };
  auto take = [&](int c) {
    if (chosen_[at(c)] || blocked[at(c)] || gain(c) <= 0) return;
    for (const Part& x : p_.weighs[at(c)])
      if (room[at(x.row)] < x.amount) return;
    for (const Part& x : p_.weighs[at(c)]) room[at(x.row)] -= x.amount;
    for (const Part& x : p_.covers[at(c)]) left[at(x.row)] -= x.amount;
    for (const int o : p_.conflicts[at(c)]) blocked[at(o)] = 1;
    chosen_[at(c)] = 1;
  };
  std::stable_sort(order.begin(), order.end(),
                   [&](int a, int b) { return p_.conflicts[at(a)].size() < p_.conflicts[at(b)].size(); });
  for (const int c : order) take(c);
  for (std::size_t r = 0; r < p_.wants.size(); ++r)
    for (const int c : w_.of_want[r]) {
      if (left[r] <= 0) break;
      take(c);
    }
}

void Solver::keep_best() {
  Choice now;
  for (std::size_t c = 0; c < chosen_.size(); ++c)
    if (chosen_[c]) now.columns.push_back(static_cast<int>(c));
  now.cost = cost_of(p_, now.columns);
  if (!any_ || now.cost < best_.cost) {
    best_ = std::move(now);
    any_ = true;
  }
}

void Solver::back_to_best() {
  std::fill(chosen_.begin(), chosen_.end(), 0);
  for (const int c : best_.columns) chosen_[at(c)] = 1;
}

void Solver::better_choice() {
  repair();
  improve(w_, chosen_, clock_);
  keep_best();
}

void Solver::passes() {
  ascend(w_, rows_, m_, kSweeps, clock_);
  price_wants(true);
  for (const int c : limits_.start) chosen_[at(c)] = 1;
  better_choice();
  if (!p_.limits.empty() || p_.columns() <= limits_.sizes.whole) {
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
    if (std::none_of(piece.begin(), piece.end(), [&](int n) { return gap[at(n)] > kNoGap; })) continue;
    for (auto& b : blocks(piece)) parts.push_back(std::move(b));
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
