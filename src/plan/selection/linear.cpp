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
constexpr std::int64_t kSlack = kScale / 1024;  // a bound this near to a choice counts as reached

enum class Fixed : std::uint8_t { free, out, in };

/// Stops a program at the deadline.
class Deadline : public ClpEventHandler {
 public:
  explicit Deadline(const Clock* clock) : clock_(clock) {}
  int event(Event e) override { return e == endOfIteration && clock_ && ++calls_ % 64 == 0 && clock_->over() ? 5 : -1; }
  ClpEventHandler* clone() const override { return new Deadline(*this); }

 private:
  const Clock* clock_;
  unsigned calls_ = 0;
};

class Search {
 public:
  Search(const Work& w, const Rows& rows, const Piece& p, const PieceLimits& l)
      : w_(w), rows_(rows), p_(p), l_(l), fixed_(p.columns.size(), Fixed::free) {
    index();
    build();
    const Deadline deadline(l.clock);
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

  void index();
  void build();
  void begin_at_start();
  void set(const std::vector<std::pair<int, Fixed>>& fixings);
  bool possible() const;
  std::int64_t bound_of_duals(std::vector<std::int64_t>& dual) const;
  void offer(std::vector<int> chosen);
  void round();
  int branch_column() const;
  Dual named(const std::vector<std::int64_t>& dual) const;

  const Work& w_;
  const Rows& rows_;
  const Piece& p_;
  const PieceLimits& l_;
  std::vector<Fixed> fixed_;
  Lists<Entry> entries_;                ///< by column: rows of the program (wants, cliques, limits) with amounts
  std::vector<std::vector<int>> near_;  ///< what never stands beside it, within the piece, by column of the piece
  std::vector<std::vector<int>> of_want_;
  std::vector<int> slack_;  ///< a column of the program that stands for lacking, by want
  ClpSimplex clp_;
  PieceResult out_;
  std::vector<double> x_;
};

void Search::index() {
  const auto& cols = p_.columns;
  near_.resize(cols.size());
  of_want_.resize(p_.wants.size());
  const Places<Kind::column> column(cols, w_.p.columns());
  const Places<Kind::want> want(p_.wants, w_.p.wants.size());
  const Places<Kind::clique> clique(p_.cliques, rows_.cliques.size());
  const int wants = static_cast<int>(p_.wants.size()), cliques = static_cast<int>(p_.cliques.size());
  for (std::size_t i = 0; i < cols.size(); ++i) {
    for (const Part& x : w_.p.covers[at(cols[i])]) {
      const int k = want[x.row];
      if (k < 0) continue;
      entries_.add({k, x.amount});
      of_want_[at(k)].push_back(static_cast<int>(i));
    }
    for (const int q : rows_.cliques_of[at(cols[i])])
      if (const int k = clique[q]; k >= 0) entries_.add({wants + k, 1});
    if (!p_.limits.empty())
      for (const Part& x : w_.p.weighs[at(cols[i])]) entries_.add({wants + cliques + x.row, x.amount});
    entries_.close();
    if (const int group = w_.group[at(cols[i])]; group >= 0)
      for (const int o : w_.of_want[at(group)])
        if (const int k = column[o]; o != cols[i] && k >= 0 && w_.group[at(o)] == group) near_[i].push_back(k);
    for (const int o : w_.p.conflicts[at(cols[i])])
      if (const int k = column[o]; k >= 0) near_[i].push_back(k);
  }
}

void Search::build() {
  const std::size_t n = p_.columns.size(), r = p_.wants.size(), rows = r + p_.cliques.size() + p_.limits.size();
  std::vector<CoinBigIndex> start{0};
  std::vector<int> index;
  std::vector<double> value, cost, low, high, row_low(rows, -COIN_DBL_MAX), row_high(rows, 1.0);
  // A column that meets its only want by itself never gains by exceeding one: no bound needed, and the program is
  // easier.
  for (std::size_t i = 0; i < n; ++i) {
    for (const Entry& e : entries_[i]) {
      index.push_back(e.row);
      value.push_back(static_cast<double>(e.amount));
    }
    start.push_back(static_cast<CoinBigIndex>(index.size()));
    cost.push_back(static_cast<double>(p_.price[i]) / kScale);
    low.push_back(0);
    high.push_back(1);
  }
  for (std::size_t k = 0; k < r; ++k) {
    auto lacking = [&](std::int64_t price, double most) {
      index.push_back(static_cast<int>(k));
      value.push_back(1);
      start.push_back(static_cast<CoinBigIndex>(index.size()));
      cost.push_back(static_cast<double>(price) / kScale);
      low.push_back(0);
      high.push_back(most);
    };
    lacking(p_.miss[k], p_.last[k] > 0 ? static_cast<double>(p_.wanted[k] - 1) : COIN_DBL_MAX);
    if (p_.last[k] > 0) lacking(p_.miss[k] + p_.last[k], 1);
    slack_.push_back(static_cast<int>(start.size()) - 2);
    row_low[k] = static_cast<double>(p_.wanted[k]);
    row_high[k] = COIN_DBL_MAX;
  }
  for (std::size_t l = 0; l < p_.limits.size(); ++l)
    row_high[r + p_.cliques.size() + l] = static_cast<double>(p_.capacity[l]);
  const CoinPackedMatrix matrix(true, static_cast<int>(rows), static_cast<int>(start.size()) - 1,
                                static_cast<CoinBigIndex>(index.size()), value.data(), index.data(), start.data(),
                                nullptr);
  clp_.setLogLevel(0);
  clp_.loadProblem(matrix, low.data(), high.data(), cost.data(), row_low.data(), row_high.data());
  begin_at_start();
}

/// A basis that holds the choice to begin with: near the end, it saves half of the steps.
void Search::begin_at_start() {
  if (l_.start.empty()) return;
  const std::size_t r = p_.wants.size();
  clp_.createStatus();
  std::vector<char> held(r);
  for (const int c : l_.start) {
    const auto it = std::lower_bound(p_.columns.begin(), p_.columns.end(), c);
    if (it == p_.columns.end() || *it != c) continue;
    const std::size_t i = static_cast<std::size_t>(it - p_.columns.begin());
    for (const Entry& e : entries_[i])
      if (at(e.row) < r && e.amount == 1 && p_.wanted[at(e.row)] == 1 && !held[at(e.row)]) {
        held[at(e.row)] = 1;
        clp_.setColumnStatus(static_cast<int>(i), ClpSimplex::basic);
        clp_.setRowStatus(e.row, ClpSimplex::atLowerBound);
        break;
      }
  }
  for (std::size_t k = 0; k < r; ++k)
    if (!held[k] && p_.wanted[k] == 1) {
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
  auto fix = [&](int i, Fixed f) {
    if (fixed_[at(i)] == Fixed::in) return;  // an impossible pair is found by possible()
    fixed_[at(i)] = f;
    clp_.setColumnBounds(i, f == Fixed::in ? 1 : 0, f == Fixed::in ? 1 : 0);
  };
  for (const auto& [i, f] : fixings) fix(i, f);
  for (const auto& [i, f] : fixings)
    if (f == Fixed::in)
      for (const int o : near_[at(i)]) fix(o, Fixed::out);
}

bool Search::possible() const {
  std::vector<std::int64_t> left = p_.capacity;
  for (std::size_t i = 0; i < fixed_.size(); ++i) {
    if (fixed_[i] != Fixed::in) continue;
    for (const int o : near_[i])
      if (fixed_[at(o)] == Fixed::in) return false;
    if (!p_.limits.empty())
      for (const Part& x : w_.p.weighs[at(p_.columns[i])]) left[at(x.row)] -= x.amount;
  }
  return std::all_of(left.begin(), left.end(), [](std::int64_t v) { return v >= 0; });
}

/// The program's multipliers in whole numbers, and what they prove.
std::int64_t Search::bound_of_duals(std::vector<std::int64_t>& dual) const {
  const std::size_t r = p_.wants.size(), q = p_.cliques.size();
  dual.resize(r + q + p_.limits.size());
  const double* y = clp_.dualRowSolution();
  for (std::size_t k = 0; k < dual.size(); ++k) {
    const double v = std::clamp(y[k], -1e12, 1e12) * kScale;
    if (k < r) {
      dual[k] = std::clamp<std::int64_t>(std::llround(v), 0, p_.miss[k] + p_.last[k]);
    } else
      dual[k] = std::max<std::int64_t>(0, std::llround(-v));
  }
  std::vector<std::int64_t> outer(p_.columns.size());  // reduced price without the wants
  for (std::size_t i = 0; i < outer.size(); ++i) {
    outer[i] = p_.price[i];
    for (const Entry& e : entries_[i])
      if (at(e.row) >= r) outer[i] += e.amount * dual[at(e.row)];
  }
  // Rounding mends itself where a want is the only one of its columns: its best multiplier is their least price.
  for (std::size_t k = 0; k < r; ++k) {
    if (p_.wanted[k] != 1 || of_want_[k].empty()) continue;
    std::int64_t least = p_.miss[k] + p_.last[k];
    bool plain = true;
    for (const int i : of_want_[k]) {
      std::size_t wants_of = 0;
      for (const Entry& e : entries_[at(i)]) wants_of += at(e.row) < r;
      plain = plain && wants_of == 1 && fixed_[at(i)] != Fixed::in;
      if (fixed_[at(i)] == Fixed::free) least = std::min(least, outer[at(i)]);
      for (const Entry& e : entries_[at(i)])
        if (at(e.row) == k) plain = plain && e.amount == 1;
    }
    if (plain) dual[k] = std::max<std::int64_t>(0, least);
  }
  std::int64_t bound = 0;
  for (std::size_t k = 0; k < dual.size(); ++k)
    bound += k < r ? p_.wanted[k] * dual[k] -
                         (p_.last[k] > 0 ? (p_.wanted[k] - 1) * std::max<std::int64_t>(0, dual[k] - p_.miss[k]) : 0)
             : k < r + q ? -dual[k]
                         : -p_.capacity[k - r - q] * dual[k];
  for (std::size_t i = 0; i < outer.size(); ++i) {
    std::int64_t v = outer[i];
    for (const Entry& e : entries_[i])
      if (at(e.row) < r) v -= e.amount * dual[at(e.row)];
    if (fixed_[i] == Fixed::in)
      bound += v;
    else if (fixed_[i] == Fixed::free)
      bound += std::min<std::int64_t>(0, v);
  }
  return bound;
}

void Search::offer(std::vector<int> chosen) {
  std::sort(chosen.begin(), chosen.end());
  const std::int64_t v = value_in(w_, p_, chosen);
  if (v < out_.value) {
    out_.value = v;
    out_.chosen = std::move(chosen);
  }
}

/// Columns by their share in the program, then by price, as long as they help.
void Search::round() {
  std::vector<int> order(p_.columns.size());
  for (std::size_t i = 0; i < order.size(); ++i) order[i] = static_cast<int>(i);
  std::stable_sort(order.begin(), order.end(), [&](int a, int b) {
    const auto xa = std::llround(x_[at(a)] * 1e6), xb = std::llround(x_[at(b)] * 1e6);
    return xa != xb ? xa > xb : p_.price[at(a)] < p_.price[at(b)];
  });
  std::vector<char> taken(order.size());
  std::vector<std::int64_t> left = p_.wanted, room = p_.capacity;
  std::vector<int> chosen;
  // What the row of a want pays less for, going from `before` to `after` units lacking.
  auto saves = [&](const Entry& e, std::int64_t before, std::int64_t after) {
    const std::int64_t none = w_.p.wants[at(p_.wants[at(e.row)])].wanted;
    return (std::max<std::int64_t>(0, before) - std::max<std::int64_t>(0, after)) * p_.miss[at(e.row)] +
           (static_cast<int>(before >= none) - static_cast<int>(after >= none)) * p_.last[at(e.row)];
  };
  auto gain = [&](int i, int sign) {
    std::int64_t g = -sign * p_.price[at(i)];
    for (const Entry& e : entries_[at(i)])
      if (at(e.row) < left.size()) g += saves(e, left[at(e.row)], left[at(e.row)] - sign * e.amount);
    return g;
  };
  auto put = [&](int i, int sign) {
    taken[at(i)] = sign > 0;
    if (!p_.limits.empty())
      for (const Part& x : w_.p.weighs[at(p_.columns[at(i)])]) room[at(x.row)] -= sign * x.amount;
    for (const Entry& e : entries_[at(i)])
      if (at(e.row) < left.size()) left[at(e.row)] -= sign * e.amount;
  };
  for (const int i : order) {
    if (fixed_[at(i)] == Fixed::out) continue;
    // What the program takes whole is taken: columns may pay off only together.
    if (x_[at(i)] < 1 - 1e-6 && fixed_[at(i)] != Fixed::in && gain(i, 1) <= 0) continue;
    if (std::any_of(near_[at(i)].begin(), near_[at(i)].end(), [&](int o) { return taken[at(o)]; })) continue;
    bool fits = true;
    if (!p_.limits.empty())
      for (const Part& x : w_.p.weighs[at(p_.columns[at(i)])]) fits = fits && room[at(x.row)] >= x.amount;
    if (fits) put(i, 1);
  }
  for (std::size_t k = order.size(); k-- > 0;)
    if (taken[at(order[k])] && gain(order[k], -1) > 0) put(order[k], -1);
  for (const int i : order)
    if (taken[at(i)]) chosen.push_back(p_.columns[at(i)]);
  offer(std::move(chosen));
}

int Search::branch_column() const {
  int best = -1;
  std::int64_t most = 0;
  for (std::size_t i = 0; i < x_.size(); ++i) {
    if (fixed_[i] != Fixed::free) continue;
    const std::int64_t x = std::llround(x_[i] * 1e6);
    const std::int64_t score = std::min(x, 1'000'000 - x) * static_cast<std::int64_t>(1 + near_[i].size());
    if (std::min(x, 1'000'000 - x) > 0 && score > most) {
      most = score;
      best = static_cast<int>(i);
    }
  }
  return best;
}

Dual Search::named(const std::vector<std::int64_t>& dual) const {
  Dual d;
  const std::size_t r = p_.wants.size(), q = p_.cliques.size();
  for (std::size_t k = 0; k < dual.size(); ++k) {
    if (!dual[k]) continue;
    if (k < r)
      d.wants.emplace_back(p_.wants[k], dual[k]);
    else if (k < r + q)
      d.cliques.emplace_back(p_.cliques[k - r], dual[k]);
    else
      d.limits.emplace_back(p_.limits[k - r - q], dual[k]);
  }
  return d;
}

PieceResult Search::run() {
  offer({});
  if (!l_.start.empty()) {
    std::vector<int> inside;
    for (const int c : l_.start)
      if (std::binary_search(p_.columns.begin(), p_.columns.end(), c)) inside.push_back(c);
    offer(std::move(inside));
  }
  std::vector<Open> open;
  open.push_back({0, INT64_MIN, {}});
  out_.nodes.emplace_back();
  std::int64_t proven = INT64_MAX;  // least bound of closed nodes
  x_.resize(p_.columns.size());
  constexpr std::size_t kPatient = 300;
  bool dive = true;  // down from the node just branched on; once that ends, on with the least bound
  bool ended = false;
  while (!open.empty()) {
    if (!dive) {
      std::size_t least = open.size() - 1;
      for (std::size_t k = open.size(); k-- > 0;)
        if (open[k].bound < open[least].bound) least = k;
      std::swap(open[least], open.back());
      ended = ended || (out_.nodes_seen >= kPatient && out_.value - std::min(proven, open.back().bound) <= l_.near);
    }
    dive = false;
    Open o = std::move(open.back());
    open.pop_back();
    const bool root = o.node == 0;
    if (!root && o.bound >= out_.value - kSlack) {
      // A later choice may have closed it; its parent's multipliers prove it as well.
      proven = std::min(proven, o.bound);
      continue;
    }
    if (!root && (ended || static_cast<int>(out_.nodes_seen) >= l_.nodes || (l_.clock && l_.clock->over()))) {
      proven = std::min(proven, o.bound);
      continue;
    }
    ++out_.nodes_seen;
    set(o.fixings);
    ProofNode& node = out_.nodes[at(o.node)];
    if (!possible()) {
      node.impossible = true;
      continue;
    }
    clp_.dual();
    if (root && clp_.status() != 0) break;  // stopped: nothing is gained by half a program
    std::copy(clp_.primalColumnSolution(), clp_.primalColumnSolution() + x_.size(), x_.begin());
    std::vector<std::int64_t> dual;
    const std::int64_t own = bound_of_duals(dual), bound = std::max(own, o.bound);
    if (root) {
      out_.root_bound = bound;
      const Dual d = named(dual);
      out_.want = d.wants;
      out_.clique = d.cliques;
      out_.limit = d.limits;
      out_.solved = true;
    }
    round();
    if (l_.keep_proof && own >= o.bound) node.dual = named(dual);  // else the parent's, which it holds already
    const int branch = bound >= out_.value - kSlack || l_.nodes <= 1 ? -1 : branch_column();
    if (branch < 0) {
      proven = std::min(proven, bound);
      continue;
    }
    node.column = p_.columns[at(branch)];
    const int out = static_cast<int>(out_.nodes.size());
    node.out = out;
    node.in = out + 1;
    const Dual parent = l_.keep_proof ? std::move(node.dual) : Dual{};
    node.dual = {};
    out_.nodes.resize(out_.nodes.size() + 2);
    out_.nodes[at(out)].dual = out_.nodes[at(out + 1)].dual = parent;
    auto with = o.fixings;
    with.emplace_back(branch, Fixed::out);
    open.push_back({out, bound, with});
    with.back().second = Fixed::in;
    open.push_back({out + 1, bound, std::move(with)});
    dive = true;
  }
  if (!out_.solved) return std::move(out_);
  out_.bound = std::min(proven, out_.value);
  return std::move(out_);
}
}  // namespace

PieceResult solve_piece(const Work& w, const Rows& rows, const Piece& p, const PieceLimits& l) {
  if (p.columns.empty()) {
    PieceResult r;
    r.value = r.bound = r.root_bound = value_in(w, p, {});
    for (std::size_t k = 0; k < p.wants.size(); ++k) r.want.emplace_back(p.wants[k], p.miss[k] + p.last[k]);
    r.nodes.emplace_back();
    r.solved = true;
    r.nodes[0].dual.wants = r.want;
    return r;
  }
  return Search(w, rows, p, l).run();
}

}  // namespace teasel::selection
