// A piece by linear programming (Clp) and branching on columns. Bounds are worked out again from the multipliers in
// whole numbers, so that no tolerance of the linear program enters them.
#include <algorithm>
#include <cmath>
#include <coin/ClpEventHandler.hpp>
#include <coin/ClpSimplex.hpp>
#include <coin/CoinPackedMatrix.hpp>

#include "piece.h"

namespace teasel::selection {

namespace {
constexpr std::int64_t kSlack = kScale / 1024;  // A bound this near to a choice counts as reached.

enum class Fixed : std::uint8_t { free, out, in };

/// Stops a program at the deadline.
class Deadline : public ClpEventHandler {
 public:
  explicit Deadline(const Clock* clock) : clock_(clock) {}
  int event(Event which) override {
    return which == endOfIteration && clock_ && ++calls_ % 64 == 0 && clock_->over() ? 5 : -1;
  }
  ClpEventHandler* clone() const override { return new Deadline(*this); }

 private:
  const Clock* clock_;
  unsigned calls_ = 0;
};

class Search {
 public:
  Search(const Work& work, const Rows& rows, const Piece& piece, const PieceLimits& limits)
      : work_(work), rows_(rows), piece_(piece), limits_(limits), fixed_(piece.columns.size(), Fixed::free) {
    link_rows();
    build();
    const Deadline deadline(limits.clock);
    clp_.passInEventHandler(&deadline);
  }
  PieceResult run();

 private:
  struct Entry {
    int row;
    std::int64_t amount;
  };
  struct Open {
    int node;
    std::int64_t bound;
    std::vector<std::pair<int, Fixed>> fixings;
  };

  void link_rows();
  void build();
  void begin_at_start();
  void set(const std::vector<std::pair<int, Fixed>>& fixings);
  bool possible() const;
  std::int64_t bound_of_duals(std::vector<std::int64_t>& dual) const;
  void offer(std::vector<int> chosen);
  void round();
  int branch_column() const;
  Dual named(const std::vector<std::int64_t>& dual) const;
  void bring_up_least();
  bool is_passed_over(const Open& current) const;
  void branch(const Open& current, int column, std::int64_t bound);
  enum class Came : std::uint8_t { to_a_branch, to_an_end, too_late };
  Came look_at(const Open& current);

  const Work& work_;
  const Rows& rows_;
  const Piece& piece_;
  const PieceLimits& limits_;
  std::vector<Fixed> fixed_;
  Lists<Entry> entries_;                ///< by column: rows of the program (wants, cliques, limits) with amounts
  std::vector<std::vector<int>> near_;  ///< what never stands beside it, within the piece, by column of the piece
  std::vector<std::vector<int>> of_want_;
  std::vector<int> slack_;  ///< a column of the program that stands for lacking, by want
  ClpSimplex clp_;
  PieceResult out_;
  std::vector<double> x_;  ///< shares of the columns in the program's solution
  std::vector<Open> open_;
  std::int64_t proven_ = INT64_MAX;  ///< least bound of closed nodes
  bool ended_ = false;               ///< what is still open stays so
};

void Search::link_rows() {
  const auto& cols = piece_.columns;
  near_.resize(cols.size());
  of_want_.resize(piece_.wants.size());
  const Places<Kind::column> column_place(cols, work_.problem.columns());
  const Places<Kind::want> want_place(piece_.wants, work_.problem.wants.size());
  const Places<Kind::clique> clique_place(piece_.cliques, rows_.cliques.size());
  const int wants = static_cast<int>(piece_.wants.size()), cliques = static_cast<int>(piece_.cliques.size());
  for (std::size_t i = 0; i < cols.size(); ++i) {
    for (const Part& part : work_.problem.covers[index(cols[i])]) {
      const int k = want_place[part.row];
      if (k < 0) continue;
      entries_.add({k, part.amount});
      of_want_[index(k)].push_back(static_cast<int>(i));
    }
    for (const int clique : rows_.cliques_of[index(cols[i])])
      if (const int k = clique_place[clique]; k >= 0) entries_.add({wants + k, 1});
    if (!piece_.limits.empty())
      for (const Part& part : work_.problem.weighs[index(cols[i])])
        entries_.add({wants + cliques + part.row, part.amount});
    entries_.close();
    if (const int group = work_.group[index(cols[i])]; group >= 0)
      for (const int other : work_.of_want[index(group)])
        if (const int k = column_place[other]; other != cols[i] && k >= 0 && work_.group[index(other)] == group)
          near_[i].push_back(k);
    for (const int other : work_.problem.conflicts[index(cols[i])])
      if (const int k = column_place[other]; k >= 0) near_[i].push_back(k);
  }
}

void Search::build() {
  const std::size_t columns = piece_.columns.size(), wants = piece_.wants.size(),
                    rows = wants + piece_.cliques.size() + piece_.limits.size();
  std::vector<CoinBigIndex> start{0};
  std::vector<int> row_of;
  std::vector<double> value, cost, low, high, row_low(rows, -COIN_DBL_MAX), row_high(rows, 1.0);
  // A column that meets its only want by itself never gains by exceeding one: no bound needed, and the program is
  // easier.
  for (std::size_t i = 0; i < columns; ++i) {
    for (const Entry& entry : entries_[i]) {
      row_of.push_back(entry.row);
      value.push_back(static_cast<double>(entry.amount));
    }
    start.push_back(static_cast<CoinBigIndex>(row_of.size()));
    cost.push_back(static_cast<double>(piece_.price[i]) / kScale);
    low.push_back(0);
    high.push_back(1);
  }
  for (std::size_t k = 0; k < wants; ++k) {
    auto lacking = [&](std::int64_t price, double most) {
      row_of.push_back(static_cast<int>(k));
      value.push_back(1);
      start.push_back(static_cast<CoinBigIndex>(row_of.size()));
      cost.push_back(static_cast<double>(price) / kScale);
      low.push_back(0);
      high.push_back(most);
    };
    lacking(piece_.miss[k], piece_.last[k] > 0 ? static_cast<double>(piece_.wanted[k] - 1) : COIN_DBL_MAX);
    if (piece_.last[k] > 0) lacking(piece_.miss[k] + piece_.last[k], 1);
    slack_.push_back(static_cast<int>(start.size()) - 2);
    row_low[k] = static_cast<double>(piece_.wanted[k]);
    row_high[k] = COIN_DBL_MAX;
  }
  for (std::size_t limit = 0; limit < piece_.limits.size(); ++limit)
    row_high[wants + piece_.cliques.size() + limit] = static_cast<double>(piece_.capacity[limit]);
  const CoinPackedMatrix matrix(true, static_cast<int>(rows), static_cast<int>(start.size()) - 1,
                                static_cast<CoinBigIndex>(row_of.size()), value.data(), row_of.data(), start.data(),
                                nullptr);
  clp_.setLogLevel(0);
  clp_.loadProblem(matrix, low.data(), high.data(), cost.data(), row_low.data(), row_high.data());
  begin_at_start();
}

/// A basis that holds the choice to begin with: near the end, it saves half of the steps.
void Search::begin_at_start() {
  if (limits_.start.empty()) return;
  const std::size_t wants = piece_.wants.size();
  clp_.createStatus();
  std::vector<char> held(wants);
  for (const int column : limits_.start) {
    const auto it = std::lower_bound(piece_.columns.begin(), piece_.columns.end(), column);
    if (it == piece_.columns.end() || *it != column) continue;
    const std::size_t i = static_cast<std::size_t>(it - piece_.columns.begin());
    for (const Entry& entry : entries_[i])
      if (index(entry.row) < wants && entry.amount == 1 && piece_.wanted[index(entry.row)] == 1 &&
          !held[index(entry.row)]) {
        held[index(entry.row)] = 1;
        clp_.setColumnStatus(static_cast<int>(i), ClpSimplex::basic);
        clp_.setRowStatus(entry.row, ClpSimplex::atLowerBound);
        break;
      }
  }
  for (std::size_t k = 0; k < wants; ++k)
    if (!held[k] && piece_.wanted[k] == 1) {
      clp_.setColumnStatus(slack_[k], ClpSimplex::basic);
      clp_.setRowStatus(static_cast<int>(k), ClpSimplex::atLowerBound);
    }
}

void Search::set(const std::vector<std::pair<int, Fixed>>& fixings) {
  for (std::size_t i = 0; i < fixed_.size(); ++i)
    if (fixed_[i] != Fixed::free) {
      fixed_[i] = Fixed::free;
      clp_.setColumnBounds(static_cast<int>(i), 0, 1);
    }
  auto fix = [&](int i, Fixed how) {
    if (fixed_[index(i)] == Fixed::in) return;  // an impossible pair is found by possible()
    fixed_[index(i)] = how;
    clp_.setColumnBounds(i, how == Fixed::in ? 1 : 0, how == Fixed::in ? 1 : 0);
  };
  for (const auto& [i, how] : fixings) fix(i, how);
  for (const auto& [i, how] : fixings)
    if (how == Fixed::in)
      for (const int other : near_[index(i)]) fix(other, Fixed::out);
}

bool Search::possible() const {
  std::vector<std::int64_t> left = piece_.capacity;
  for (std::size_t i = 0; i < fixed_.size(); ++i) {
    if (fixed_[i] != Fixed::in) continue;
    for (const int other : near_[i])
      if (fixed_[index(other)] == Fixed::in) return false;
    if (!piece_.limits.empty())
      for (const Part& part : work_.problem.weighs[index(piece_.columns[i])]) left[index(part.row)] -= part.amount;
  }
  return std::all_of(left.begin(), left.end(), [](std::int64_t value) { return value >= 0; });
}

/// The program's multipliers in whole numbers, and what they prove.
std::int64_t Search::bound_of_duals(std::vector<std::int64_t>& dual) const {
  const std::size_t wants = piece_.wants.size(), cliques = piece_.cliques.size();
  dual.resize(wants + cliques + piece_.limits.size());
  const double* row_duals = clp_.dualRowSolution();
  for (std::size_t k = 0; k < dual.size(); ++k) {
    const double value = std::clamp(row_duals[k], -1e12, 1e12) * kScale;
    if (k < wants) {
      dual[k] = std::clamp<std::int64_t>(std::llround(value), 0, piece_.miss[k] + piece_.last[k]);
    } else
      dual[k] = std::max<std::int64_t>(0, std::llround(-value));
  }
  std::vector<std::int64_t> outer(piece_.columns.size());  // reduced price without the wants
  for (std::size_t i = 0; i < outer.size(); ++i) {
    outer[i] = piece_.price[i];
    for (const Entry& entry : entries_[i])
      if (index(entry.row) >= wants) outer[i] += entry.amount * dual[index(entry.row)];
  }
  // Rounding mends itself where a want is the only one of its columns: its best multiplier is their least price.
  for (std::size_t k = 0; k < wants; ++k) {
    if (piece_.wanted[k] != 1 || of_want_[k].empty()) continue;
    std::int64_t least = piece_.miss[k] + piece_.last[k];
    bool plain = true;
    for (const int i : of_want_[k]) {
      std::size_t wants_of = 0;
      for (const Entry& entry : entries_[index(i)]) wants_of += index(entry.row) < wants;
      plain = plain && wants_of == 1 && fixed_[index(i)] != Fixed::in;
      if (fixed_[index(i)] == Fixed::free) least = std::min(least, outer[index(i)]);
      for (const Entry& entry : entries_[index(i)])
        if (index(entry.row) == k) plain = plain && entry.amount == 1;
    }
    if (plain) dual[k] = std::max<std::int64_t>(0, least);
  }
  std::int64_t bound = 0;
  for (std::size_t k = 0; k < dual.size(); ++k) {
    if (k < wants) {
      bound += piece_.wanted[k] * dual[k];
      if (piece_.last[k] > 0) bound -= (piece_.wanted[k] - 1) * std::max<std::int64_t>(0, dual[k] - piece_.miss[k]);
    } else if (k < wants + cliques) {
      bound -= dual[k];
    } else {
      bound -= piece_.capacity[k - wants - cliques] * dual[k];
    }
  }
  for (std::size_t i = 0; i < outer.size(); ++i) {
    std::int64_t value = outer[i];
    for (const Entry& entry : entries_[i])
      if (index(entry.row) < wants) value -= entry.amount * dual[index(entry.row)];
    if (fixed_[i] == Fixed::in)
      bound += value;
    else if (fixed_[i] == Fixed::free)
      bound += std::min<std::int64_t>(0, value);
  }
  return bound;
}

void Search::offer(std::vector<int> chosen) {
  std::sort(chosen.begin(), chosen.end());
  const std::int64_t value = value_in(work_, piece_, chosen);
  if (value < out_.value) {
    out_.value = value;
    out_.chosen = std::move(chosen);
  }
}

/// Columns by their share in the program, then by price, as long as they help.
void Search::round() {
  std::vector<int> order(piece_.columns.size());
  for (std::size_t i = 0; i < order.size(); ++i) order[i] = static_cast<int>(i);
  std::stable_sort(order.begin(), order.end(), [&](int a, int b) {
    const auto xa = std::llround(x_[index(a)] * 1e6), xb = std::llround(x_[index(b)] * 1e6);
    return xa != xb ? xa > xb : piece_.price[index(a)] < piece_.price[index(b)];
  });
  std::vector<char> taken(order.size());
  std::vector<std::int64_t> left = piece_.wanted, room = piece_.capacity;
  std::vector<int> chosen;
  // What the row of a want pays less for, going from `before` to `after` units lacking.
  auto saves = [&](const Entry& entry, std::int64_t before, std::int64_t after) {
    const std::int64_t none = work_.problem.wants[index(piece_.wants[index(entry.row)])].wanted;
    return (std::max<std::int64_t>(0, before) - std::max<std::int64_t>(0, after)) * piece_.miss[index(entry.row)] +
           (static_cast<int>(before >= none) - static_cast<int>(after >= none)) * piece_.last[index(entry.row)];
  };
  auto gain = [&](int i, int sign) {
    std::int64_t sum = -sign * piece_.price[index(i)];
    for (const Entry& entry : entries_[index(i)])
      if (index(entry.row) < left.size())
        sum += saves(entry, left[index(entry.row)], left[index(entry.row)] - sign * entry.amount);
    return sum;
  };
  auto put = [&](int i, int sign) {
    taken[index(i)] = sign > 0;
    if (!piece_.limits.empty())
      for (const Part& part : work_.problem.weighs[index(piece_.columns[index(i)])])
        room[index(part.row)] -= sign * part.amount;
    for (const Entry& entry : entries_[index(i)])
      if (index(entry.row) < left.size()) left[index(entry.row)] -= sign * entry.amount;
  };
  for (const int i : order) {
    if (fixed_[index(i)] == Fixed::out) continue;
    // What the program takes whole is taken: columns may pay off only together.
    if (x_[index(i)] < 1 - 1e-6 && fixed_[index(i)] != Fixed::in && gain(i, 1) <= 0) continue;
    if (std::any_of(near_[index(i)].begin(), near_[index(i)].end(), [&](int other) { return taken[index(other)]; }))
      continue;
    bool fits = true;
    if (!piece_.limits.empty())
      for (const Part& part : work_.problem.weighs[index(piece_.columns[index(i)])])
        fits = fits && room[index(part.row)] >= part.amount;
    if (fits) put(i, 1);
  }
  for (std::size_t k = order.size(); k-- > 0;)
    if (taken[index(order[k])] && gain(order[k], -1) > 0) put(order[k], -1);
  for (const int i : order)
    if (taken[index(i)]) chosen.push_back(piece_.columns[index(i)]);
  offer(std::move(chosen));
}

int Search::branch_column() const {
  int best = -1;
  std::int64_t most = 0;
  for (std::size_t i = 0; i < x_.size(); ++i) {
    if (fixed_[i] != Fixed::free) continue;
    const std::int64_t share = std::llround(x_[i] * 1e6);
    const std::int64_t score = std::min(share, 1'000'000 - share) * static_cast<std::int64_t>(1 + near_[i].size());
    if (std::min(share, 1'000'000 - share) > 0 && score > most) {
      most = score;
      best = static_cast<int>(i);
    }
  }
  return best;
}

Dual Search::named(const std::vector<std::int64_t>& dual) const {
  Dual out;
  const std::size_t wants = piece_.wants.size(), cliques = piece_.cliques.size();
  for (std::size_t k = 0; k < dual.size(); ++k) {
    if (!dual[k]) continue;
    if (k < wants)
      out.wants.emplace_back(piece_.wants[k], dual[k]);
    else if (k < wants + cliques)
      out.cliques.emplace_back(piece_.cliques[k - wants], dual[k]);
    else
      out.limits.emplace_back(piece_.limits[k - wants - cliques], dual[k]);
  }
  return out;
}

/// Puts the open node with the least bound last, where the next one is taken from. Ends the search there if it has been
/// patient and that bound is near enough to the choice.
void Search::bring_up_least() {
  constexpr std::size_t kPatient = 300;
  std::size_t least = open_.size() - 1;
  for (std::size_t k = open_.size(); k-- > 0;)
    if (open_[k].bound < open_[least].bound) least = k;
  std::swap(open_[least], open_.back());
  ended_ =
      ended_ || (out_.nodes_seen >= kPatient && out_.value - std::min(proven_, open_.back().bound) <= limits_.near);
}

/// True where a node needs no program: a choice found later closed it, whose parent's multipliers prove it as well, or
/// the search has ended.
bool Search::is_passed_over(const Open& current) const {
  if (current.node == 0) return false;
  return current.bound >= out_.value - kSlack || ended_ || static_cast<int>(out_.nodes_seen) >= limits_.nodes ||
         (limits_.clock && limits_.clock->over());
}

void Search::branch(const Open& current, int column, std::int64_t bound) {
  ProofNode& node = out_.nodes[index(current.node)];
  node.column = piece_.columns[index(column)];
  const int out = static_cast<int>(out_.nodes.size());
  node.out = out;
  node.in = out + 1;
  const Dual parent = limits_.keep_proof ? std::move(node.dual) : Dual{};
  node.dual = {};
  out_.nodes.resize(out_.nodes.size() + 2);
  out_.nodes[index(out)].dual = out_.nodes[index(out + 1)].dual = parent;
  auto with = current.fixings;
  with.emplace_back(column, Fixed::out);
  open_.push_back({out, bound, with});
  with.back().second = Fixed::in;
  open_.push_back({out + 1, bound, std::move(with)});
}

/// Solves the program of one node.
Search::Came Search::look_at(const Open& current) {
  const bool root = current.node == 0;
  ++out_.nodes_seen;
  set(current.fixings);
  ProofNode& node = out_.nodes[index(current.node)];
  if (!possible()) {
    node.impossible = true;
    return Came::to_an_end;
  }
  clp_.dual();
  if (root && clp_.status() != 0) return Came::too_late;  // nothing is gained by half a program
  std::copy(clp_.primalColumnSolution(), clp_.primalColumnSolution() + x_.size(), x_.begin());
  std::vector<std::int64_t> dual;
  const std::int64_t own = bound_of_duals(dual), bound = std::max(own, current.bound);
  if (root) {
    out_.root_bound = bound;
    const Dual root_dual = named(dual);
    out_.want = root_dual.wants;
    out_.clique = root_dual.cliques;
    out_.limit = root_dual.limits;
    out_.solved = true;
  }
  round();
  // Where its own multipliers prove less, a node keeps those of its parent, which it holds already.
  if (limits_.keep_proof && own >= current.bound) node.dual = named(dual);
  const bool closed = bound >= out_.value - kSlack || limits_.nodes <= 1;
  if (const int column = closed ? -1 : branch_column(); column >= 0) {
    branch(current, column, bound);
    return Came::to_a_branch;
  }
  proven_ = std::min(proven_, bound);
  return Came::to_an_end;
}

PieceResult Search::run() {
  offer({});
  if (!limits_.start.empty()) {
    std::vector<int> inside;
    for (const int column : limits_.start)
      if (std::binary_search(piece_.columns.begin(), piece_.columns.end(), column)) inside.push_back(column);
    offer(std::move(inside));
  }
  open_.push_back({0, INT64_MIN, {}});
  out_.nodes.emplace_back();
  x_.resize(piece_.columns.size());
  // Down from the node just branched on; once that ends, on with the least bound.
  Came came = Came::to_a_branch;
  while (!open_.empty() && came != Came::too_late) {
    if (came != Came::to_a_branch) bring_up_least();
    const Open current = std::move(open_.back());
    open_.pop_back();
    if (is_passed_over(current)) {
      proven_ = std::min(proven_, current.bound);
      came = Came::to_an_end;
    } else {
      came = look_at(current);
    }
  }
  if (!out_.solved) return std::move(out_);
  out_.bound = std::min(proven_, out_.value);
  return std::move(out_);
}
}  // namespace

PieceResult solve_piece(const Work& work, const Rows& rows, const Piece& piece, const PieceLimits& limits) {
  if (piece.columns.empty()) {
    PieceResult result;
    result.value = result.bound = result.root_bound = value_in(work, piece, {});
    for (std::size_t k = 0; k < piece.wants.size(); ++k)
      result.want.emplace_back(piece.wants[k], piece.miss[k] + piece.last[k]);
    result.nodes.emplace_back();
    result.solved = true;
    result.nodes[0].dual.wants = result.want;
    return result;
  }
  return Search(work, rows, piece, limits).run();
}

}  // namespace teasel::selection
