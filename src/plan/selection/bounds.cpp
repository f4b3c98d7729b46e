// What is proven, and where it falls short of the choice.
#include "solver.h"

namespace teasel::selection {

/// What separates choice and bound, told apart by node: every term is 0 where they agree (complementary slackness).
std::vector<std::int64_t> Solver::gaps() {
  reduced_.assign(p_.columns(), 0);
  bound_now_ = 0;
  std::vector<std::int64_t> gap(nodes()), covered(p_.wants.size()), least(p_.wants.size(), INT64_MAX);
  std::vector<int> next(p_.wants.size(), -1);  // of a hub: the column that would come in first
  auto of_column = [&](std::size_t c, std::int64_t v) {
    if (v) gap[at(rows_.node_of[c])] += v;
  };
  for (std::size_t c = 0; c < p_.columns(); ++c) {
    std::int64_t v = p_.price[c] * kScale;
    for (const Part& x : p_.covers[c]) {
      v -= x.amount * m_.want[at(x.row)];
      if (chosen_[c]) covered[at(x.row)] += x.amount;
    }
    for (const int q : rows_.cliques_of[c]) v += m_.clique[at(q)];
    for (const Part& x : p_.weighs[c]) v += x.amount * m_.limit[at(x.row)];
    reduced_[c] = v;
    bound_now_ += std::min<std::int64_t>(0, v);
    for (const Part& x : p_.covers[c])
      if (rows_.hub[at(x.row)] && !chosen_[c] && x.amount > 0 && v < least[at(x.row)]) {
        least[at(x.row)] = v;
        next[at(x.row)] = static_cast<int>(c);
      }
    of_column(c, chosen_[c] ? std::max<std::int64_t>(0, v) : std::max<std::int64_t>(0, -v));
  }
  for (std::size_t r = 0; r < p_.wants.size(); ++r) {
    const Want& w = p_.wants[r];
    const std::int64_t u = m_.want[r], left = w.wanted - covered[r];
    const std::int64_t share =
        w.wanted * u - (w.last > 0 ? (w.wanted - 1) * std::max<std::int64_t>(0, u - w.unit() * kScale) : 0);
    bound_now_ += share;
    std::size_t node = r;
    if (rows_.hub[r]) {
      node = at(rows_.node_of[at(next[r] < 0 ? w_.of_want[r][0] : next[r])]);
      if (left < 0)
        for (const int c : w_.of_want[r])
          if (chosen_[at(c)]) node = at(rows_.node_of[at(c)]);
    }
    // lack + u * covered - share: what the want pays beyond what its multiplier proves.
    gap[node] += w.lack(left) * kScale + u * covered[r] - share;
  }
  for (std::size_t q = 0; q < rows_.cliques.size(); ++q) {
    if (!m_.clique[q]) continue;
    bound_now_ -= m_.clique[q];
    const auto list = rows_.cliques[q];
    if (std::none_of(list.begin(), list.end(), [&](int c) { return chosen_[at(c)]; }))
      of_column(at(list[0]), m_.clique[q]);
  }
  for (std::size_t l = 0; l < p_.limits.size(); ++l) bound_now_ -= p_.limits[l] * m_.limit[l];
  return gap;
}

/// The last gaps() and what closed regions add.
std::int64_t Solver::proven() const {
  std::int64_t sum = bound_now_;
  for (const Closed& c : closed_) sum += c.gain;
  return sum;
}

/// What the rows and columns inside a piece add to the bound at the present multipliers.
std::int64_t Solver::part_of_bound(const Piece& p) const {
  std::int64_t sum = 0;
  for (const int r : p.wants) {
    const Want& w = p_.wants[at(r)];
    const std::int64_t u = m_.want[at(r)];
    sum += w.wanted * u - (w.last > 0 ? (w.wanted - 1) * std::max<std::int64_t>(0, u - w.unit() * kScale) : 0);
  }
  for (const int q : p.cliques) sum -= m_.clique[at(q)];
  for (std::size_t k = 0; k < p.limits.size(); ++k) sum -= p.capacity[k] * m_.limit[at(p.limits[k])];
  for (const int c : p.columns) sum += std::min<std::int64_t>(0, reduced_[at(c)]);
  return sum;
}

Proof Solver::proof() const {
  Proof out;
  for (std::size_t q = 0; q < rows_.cliques.size(); ++q)
    out.cliques.emplace_back(rows_.cliques[q].begin(), rows_.cliques[q].end());
  auto named = [](const std::vector<std::int64_t>& v) {
    std::vector<std::pair<int, std::int64_t>> list;
    for (std::size_t k = 0; k < v.size(); ++k)
      if (v[k]) list.emplace_back(static_cast<int>(k), v[k]);
    return list;
  };
  out.shared = {named(m_.want), named(m_.limit), named(m_.clique)};
  for (const Closed& c : closed_) {
    ProofPiece piece;
    piece.columns = c.piece.columns;
    piece.wants = c.piece.wants;
    piece.nodes = c.tree;
    for (std::size_t k = 0; k < piece.wants.size(); ++k) piece.offer.push_back(c.piece.miss[k] + c.piece.last[k]);
    piece.limits = !c.piece.limits.empty();
    piece.bound = c.gain + part_of_bound(priced_piece(w_, rows_, m_, c.region.nodes, c.region.hubs, piece.limits));
    out.pieces.push_back(std::move(piece));
  }
  return out;
}

Cost cost_of(const Problem& p, const std::vector<int>& columns) {
  Cost sum = 0;
  std::vector<std::int64_t> left(p.wants.size());
  for (std::size_t r = 0; r < left.size(); ++r) left[r] = p.wants[r].wanted;
  for (const int c : columns) {
    sum += p.price[at(c)];
    for (const Part& x : p.covers[at(c)]) left[at(x.row)] -= x.amount;
  }
  for (std::size_t r = 0; r < left.size(); ++r) sum += p.wants[r].lack(left[r]);
  return sum;
}

bool feasible(const Problem& p, const std::vector<int>& columns) {
  std::vector<char> in(p.columns());
  std::vector<std::int64_t> room = p.limits;
  for (const int c : columns) {
    in[at(c)] = 1;
    for (const Part& x : p.weighs[at(c)]) room[at(x.row)] -= x.amount;
  }
  for (const int c : columns)
    for (const int o : p.conflicts[at(c)])
      if (in[at(o)]) return false;
  return std::all_of(room.begin(), room.end(), [](std::int64_t v) { return v >= 0; });
}

}  // namespace teasel::selection
