// What is proven, and where it falls short of the choice.
#include "solver.h"

namespace teasel::selection {

namespace {
/// What a want adds to the bound at its multiplier u (see selection.h).
std::int64_t proven_by(const Want& want, std::int64_t u) {
  const std::int64_t all = want.wanted * u;
  return want.last > 0 ? all - (want.wanted - 1) * std::max<std::int64_t>(0, u - want.unit() * kScale) : all;
}
}  // namespace

/// What separates choice and bound, told apart by node: every term is 0 where they agree (complementary slackness).
std::vector<std::int64_t> Solver::gaps() {
  reduced_.assign(problem_.columns(), 0);
  bound_now_ = 0;
  std::vector<std::int64_t> gap(nodes()), covered(problem_.wants.size()), least(problem_.wants.size(), INT64_MAX);
  std::vector<int> next(problem_.wants.size(), -1);  // of a hub: the column that would come in first
  auto of_column = [&](std::size_t column, std::int64_t value) {
    if (value) gap[index(rows_.node_of[column])] += value;
  };
  for (std::size_t column = 0; column < problem_.columns(); ++column) {
    std::int64_t value = problem_.price[column] * kScale;
    for (const Part& part : problem_.covers[column]) {
      value -= part.amount * multipliers_.want[index(part.row)];
      if (chosen_[column]) covered[index(part.row)] += part.amount;
    }
    for (const int clique : rows_.cliques_of[column]) value += multipliers_.clique[index(clique)];
    for (const Part& part : problem_.weighs[column]) value += part.amount * multipliers_.limit[index(part.row)];
    reduced_[column] = value;
    bound_now_ += std::min<std::int64_t>(0, value);
    for (const Part& part : problem_.covers[column])
      if (rows_.hub[index(part.row)] && !chosen_[column] && part.amount > 0 && value < least[index(part.row)]) {
        least[index(part.row)] = value;
        next[index(part.row)] = static_cast<int>(column);
      }
    of_column(column, chosen_[column] ? std::max<std::int64_t>(0, value) : std::max<std::int64_t>(0, -value));
  }
  for (std::size_t row = 0; row < problem_.wants.size(); ++row) {
    const Want& want = problem_.wants[row];
    const std::int64_t u = multipliers_.want[row], left = want.wanted - covered[row];
    const std::int64_t share = proven_by(want, u);
    bound_now_ += share;
    std::size_t node = row;
    if (rows_.hub[row]) {
      node = index(rows_.node_of[index(next[row] < 0 ? work_.of_want[row][0] : next[row])]);
      if (left < 0)
        for (const int column : work_.of_want[row])
          if (chosen_[index(column)]) node = index(rows_.node_of[index(column)]);
    }
    // lack + u * covered - share: what the want pays beyond what its multiplier proves.
    gap[node] += want.lack(left) * kScale + u * covered[row] - share;
  }
  for (std::size_t clique = 0; clique < rows_.cliques.size(); ++clique) {
    if (!multipliers_.clique[clique]) continue;
    bound_now_ -= multipliers_.clique[clique];
    const auto list = rows_.cliques[clique];
    if (std::none_of(list.begin(), list.end(), [&](int column) { return chosen_[index(column)]; }))
      of_column(index(list[0]), multipliers_.clique[clique]);
  }
  for (std::size_t limit = 0; limit < problem_.limits.size(); ++limit)
    bound_now_ -= problem_.limits[limit] * multipliers_.limit[limit];
  return gap;
}

/// The last gaps() and what closed regions add.
std::int64_t Solver::proven() const {
  std::int64_t sum = bound_now_;
  for (const Closed& closed : closed_) sum += closed.gain;
  return sum;
}

/// What the rows and columns inside a piece add to the bound at the present multipliers.
std::int64_t Solver::part_of_bound(const Piece& piece) const {
  std::int64_t sum = 0;
  for (const int row : piece.wants) {
    sum += proven_by(problem_.wants[index(row)], multipliers_.want[index(row)]);
  }
  for (const int clique : piece.cliques) sum -= multipliers_.clique[index(clique)];
  for (std::size_t k = 0; k < piece.limits.size(); ++k)
    sum -= piece.capacity[k] * multipliers_.limit[index(piece.limits[k])];
  for (const int column : piece.columns) sum += std::min<std::int64_t>(0, reduced_[index(column)]);
  return sum;
}

Proof Solver::proof() const {
  Proof out;
  for (std::size_t clique = 0; clique < rows_.cliques.size(); ++clique)
    out.cliques.emplace_back(rows_.cliques[clique].begin(), rows_.cliques[clique].end());
  auto named = [](const std::vector<std::int64_t>& values) {
    std::vector<std::pair<int, std::int64_t>> list;
    for (std::size_t k = 0; k < values.size(); ++k)
      if (values[k]) list.emplace_back(static_cast<int>(k), values[k]);
    return list;
  };
  out.shared = {named(multipliers_.want), named(multipliers_.limit), named(multipliers_.clique)};
  for (const Closed& c : closed_) {
    ProofPiece piece;
    piece.columns = c.piece.columns;
    piece.wants = c.piece.wants;
    piece.nodes = c.tree;
    for (std::size_t k = 0; k < piece.wants.size(); ++k) piece.offer.push_back(c.piece.miss[k] + c.piece.last[k]);
    piece.limits = !c.piece.limits.empty();
    piece.bound =
        c.gain + part_of_bound(priced_piece(work_, rows_, multipliers_, c.region.nodes, c.region.hubs, piece.limits));
    out.pieces.push_back(std::move(piece));
  }
  return out;
}

Cost cost_of(const Problem& problem, const std::vector<int>& columns) {
  Cost sum = 0;
  std::vector<std::int64_t> left(problem.wants.size());
  for (std::size_t row = 0; row < left.size(); ++row) left[row] = problem.wants[row].wanted;
  for (const int column : columns) {
    sum += problem.price[index(column)];
    for (const Part& part : problem.covers[index(column)]) left[index(part.row)] -= part.amount;
  }
  for (std::size_t row = 0; row < left.size(); ++row) sum += problem.wants[row].lack(left[row]);
  return sum;
}

bool feasible(const Problem& problem, const std::vector<int>& columns) {
  std::vector<char> in(problem.columns());
  std::vector<std::int64_t> room = problem.limits;
  for (const int column : columns) {
    in[index(column)] = 1;
    for (const Part& part : problem.weighs[index(column)]) room[index(part.row)] -= part.amount;
  }
  for (const int column : columns)
    for (const int other : problem.conflicts[index(column)])
      if (in[index(other)]) return false;
  return std::all_of(room.begin(), room.end(), [](std::int64_t value) { return value >= 0; });
}

}  // namespace teasel::selection
