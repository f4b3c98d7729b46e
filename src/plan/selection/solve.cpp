// The whole solve: removals; pieces; first multipliers and choice; regions until choice and bound agree; limits only
// where the choice without them breaks them.
#include <numeric>
#include <unordered_map>

#include "solver.h"
#include "teasel/parallel.h"

namespace teasel::selection {

Result Solver::run() {
  rows_ = make_rows(work_, clique_cover(work_), limits_.sizes.hub);
  multipliers_ = {std::vector<std::int64_t>(problem_.wants.size()), std::vector<std::int64_t>(rows_.cliques.size()),
                  std::vector<std::int64_t>(problem_.limits.size())};
  chosen_.assign(problem_.columns(), 0);
  result_.kept = problem_.columns();
  split();
  passes();
  gaps();
  if (proven_units() < best_.cost - best_.cost / 50 && !clock_.over()) {
    windows();
    gaps();
  }
  // Rounds may run out of ways to go on: then everything is branched on at once.
  constexpr int kPatience = 8, kFirstNodes = 40;
  if (problem_.columns() <= limits_.sizes.whole && proven_units() < best_.cost && !clock_.over()) whole(kFirstNodes);
  std::int64_t last = INT64_MIN;
  for (int idle = 0; idle < kPatience && !clock_.over() && round();) {
    std::size_t held = 0;
    for (const Region& region : active_) held += region.nodes.size() + region.hubs.size();
    const std::int64_t state =
        static_cast<std::int64_t>(held) - best_.cost + static_cast<std::int64_t>(closed_.size()) + bound_now_ / kScale;
    idle = state == last ? idle + 1 : 0;
    last = state;
  }
  gaps();
  if (proven_units() < best_.cost && !clock_.over()) whole(kAllNodes);
  result_.best = best_;
  result_.bound = std::min<Cost>(proven_units(), best_.cost);
  result_.proven = result_.bound == best_.cost;
  result_.out_of_time = !result_.proven && clock_.over();
  if (limits_.keep_proof) result_.proof = proof();
  return std::move(result_);
}

namespace {
/// The problem without the columns that were taken out; `kept` lists the others.
Problem without(const Problem& problem, const std::vector<Removal>& removals, std::vector<int>& kept) {
  std::vector<int> number(problem.columns(), 0);
  for (const Removal& removal : removals) number[index(removal.column)] = -1;
  for (std::size_t column = 0; column < problem.columns(); ++column)
    if (number[column] == 0) {
      number[column] = static_cast<int>(kept.size());
      kept.push_back(static_cast<int>(column));
    }
  Problem smaller;
  smaller.wants = problem.wants;
  smaller.limits = problem.limits;
  for (const int column : kept) {
    smaller.price.push_back(problem.price[index(column)]);
    for (const Part& part : problem.covers[index(column)]) smaller.covers.add(part);
    smaller.covers.close();
    for (const Part& part : problem.weighs[index(column)]) smaller.weighs.add(part);
    smaller.weighs.close();
    for (const int other : problem.conflicts[index(column)])
      if (number[index(other)] >= 0) smaller.conflicts.add(number[index(other)]);
    smaller.conflicts.close();
  }
  return smaller;
}

/// With only the limits listed.
Problem with_limits(const Problem& problem, const std::vector<int>& limits) {
  Problem smaller;
  smaller.price = problem.price;
  smaller.wants = problem.wants;
  smaller.covers = problem.covers;
  smaller.conflicts = problem.conflicts;
  for (const int limit : limits) smaller.limits.push_back(problem.limits[index(limit)]);
  for (std::size_t column = 0; column < problem.columns(); ++column) {
    for (const Part& part : problem.weighs[column])
      if (const auto it = std::lower_bound(limits.begin(), limits.end(), part.row);
          it != limits.end() && *it == part.row)
        smaller.weighs.add({static_cast<int>(it - limits.begin()), part.amount});
    smaller.weighs.close();
  }
  return smaller;
}

/// Columns that share a want, a conflict or a limit belong together; wants without columns stand alone and are left
/// out.
std::vector<std::vector<int>> independent(const Problem& problem) {
  std::vector<int> root(problem.columns() + problem.wants.size() + 1);
  std::iota(root.begin(), root.end(), 0);
  auto find = [&](int number) {
    while (root[index(number)] != number) {
      root[index(number)] = root[index(root[index(number)])];
      number = root[index(number)];
    }
    return number;
  };
  auto join = [&](int a, int b) {
    a = find(a);
    b = find(b);
    if (a != b) root[index(std::max(a, b))] = std::min(a, b);
  };
  const int columns = static_cast<int>(problem.columns());
  for (int column = 0; column < columns; ++column) {
    for (const Part& part : problem.covers[index(column)]) join(column, columns + part.row);
    for (const int other : problem.conflicts[index(column)])
      if (other > column) join(column, other);
    if (!problem.weighs[index(column)].empty()) join(column, columns + static_cast<int>(problem.wants.size()));
  }
  std::vector<int> number(root.size(), -1);
  std::vector<std::vector<int>> out;
  for (int column = 0; column < columns; ++column) {
    int& k = number[index(find(column))];
    if (k < 0) {
      k = static_cast<int>(out.size());
      out.emplace_back();
    }
    out[index(k)].push_back(column);
  }
  return out;
}

struct Separate {
  Problem problem;
  std::vector<int> columns, wants;  ///< their numbers in the whole
};

/// One of the independent parts as a problem of its own.
Separate part_of(const Problem& problem, std::vector<int> columns, std::vector<int>& want_number,
                 std::vector<int>& column_number) {
  Separate out;
  Problem& smaller = out.problem;
  bool weighs = false;
  for (std::size_t k = 0; k < columns.size(); ++k) column_number[index(columns[k])] = static_cast<int>(k);
  for (const int column : columns) {
    for (const Part& part : problem.covers[index(column)]) out.wants.push_back(part.row);
    weighs = weighs || !problem.weighs[index(column)].empty();
  }
  make_set(out.wants);
  for (std::size_t k = 0; k < out.wants.size(); ++k) {
    want_number[index(out.wants[k])] = static_cast<int>(k);
    smaller.wants.push_back(problem.wants[index(out.wants[k])]);
  }
  if (weighs) smaller.limits = problem.limits;
  for (const int column : columns) {
    smaller.price.push_back(problem.price[index(column)]);
    for (const Part& part : problem.covers[index(column)])
      smaller.covers.add({want_number[index(part.row)], part.amount});
    smaller.covers.close();
    for (const Part& part : problem.weighs[index(column)]) smaller.weighs.add(part);
    smaller.weighs.close();
    for (const int other : problem.conflicts[index(column)]) smaller.conflicts.add(column_number[index(other)]);
    smaller.conflicts.close();
  }
  out.columns = std::move(columns);
  return out;
}

/// Puts the proof of a part into the proof of the whole.
void add_proof(Proof& whole, const Proof& part, const Separate& names) {
  const int cliques = static_cast<int>(whole.cliques.size());
  auto renamed = [&](Dual dual) {
    for (auto& [k, value] : dual.wants) k = names.wants[index(k)];
    for (auto& [k, value] : dual.cliques) k += cliques;
    return dual;
  };
  for (std::vector<int> clique : part.cliques) {
    for (int& column : clique) column = names.columns[index(column)];
    whole.cliques.push_back(std::move(clique));
  }
  const Dual shared = renamed(part.shared);
  whole.shared.wants.insert(whole.shared.wants.end(), shared.wants.begin(), shared.wants.end());
  whole.shared.cliques.insert(whole.shared.cliques.end(), shared.cliques.begin(), shared.cliques.end());
  whole.shared.limits.insert(whole.shared.limits.end(), shared.limits.begin(), shared.limits.end());
  for (ProofPiece piece : part.pieces) {
    for (int& column : piece.columns) column = names.columns[index(column)];
    for (int& row : piece.wants) row = names.wants[index(row)];
    for (ProofNode& node : piece.nodes) {
      if (node.column >= 0) node.column = names.columns[index(node.column)];
      node.dual = renamed(std::move(node.dual));
    }
    whole.pieces.push_back(std::move(piece));
  }
}

/// All of a problem as bytes: equal keys, equal problems.
std::string key_of(const Problem& problem) {
  std::string out;
  auto number = [&](std::int64_t value) { out.append(reinterpret_cast<const char*>(&value), sizeof value); };
  auto lists = [&](const auto& all, auto item) {
    for (std::size_t i = 0; i < all.size(); ++i) {
      number(static_cast<std::int64_t>(all[i].size()));
      for (const auto& entry : all[i]) item(entry);
    }
  };
  number(static_cast<std::int64_t>(problem.columns()));
  number(static_cast<std::int64_t>(problem.wants.size()));
  number(static_cast<std::int64_t>(problem.limits.size()));
  for (const Cost price : problem.price) number(price);
  for (const Want& want : problem.wants) {
    number(want.wanted);
    number(want.miss);
    number(want.hard);
    number(want.last);
  }
  for (const std::int64_t capacity : problem.limits) number(capacity);
  auto amount = [&](const Part& part) {
    number(part.row);
    number(part.amount);
  };
  lists(problem.covers, amount);
  lists(problem.weighs, amount);
  lists(problem.conflicts, [&](int column) { number(column); });
  return out;
}

/// The problem's separate parts: each is solved by itself.
class Parts {
 public:
  Parts(const Problem& problem, const std::vector<int>& kept, const Limits& limits, const Clock& clock);
  /// Wants that no column serves.
  [[nodiscard]] bool is_met(std::size_t want) const { return met_[want] != 0; }
  void solve();
  /// Adds what the parts hold to the whole's result.
  void add_to(Result& result);

 private:
  void solve(std::size_t part, double seconds);
  const std::vector<int>& kept_;
  const Limits& limits_;
  const Clock& clock_;
  std::vector<int> start_;
  std::vector<Separate> parts_;
  std::vector<char> met_;
  std::vector<std::size_t> order_;  ///< the largest first
  std::vector<Result> results_;
  std::vector<std::string> keys_;  ///< of parts in the memory of earlier plans
  std::vector<char> known_;
};

Parts::Parts(const Problem& problem, const std::vector<int>& kept, const Limits& limits, const Clock& clock)
    : kept_(kept), limits_(limits), clock_(clock), met_(problem.wants.size()) {
  std::vector<int> want_number(problem.wants.size(), -1), column_number(problem.columns(), -1);
  for (const int column : limits.start)
    if (const auto it = std::lower_bound(kept.begin(), kept.end(), column); it != kept.end() && *it == column)
      start_.push_back(static_cast<int>(it - kept.begin()));
  make_set(start_);
  for (auto& columns : independent(problem)) {
    parts_.push_back(part_of(problem, std::move(columns), want_number, column_number));
    for (const int want : parts_.back().wants) met_[index(want)] = 1;
  }
  order_.resize(parts_.size());
  std::iota(order_.begin(), order_.end(), std::size_t{0});
  std::stable_sort(order_.begin(), order_.end(),
                   [&](std::size_t x, std::size_t y) { return parts_[x].columns.size() > parts_[y].columns.size(); });
  results_.resize(parts_.size());
  keys_.resize(parts_.size());
  known_.resize(parts_.size());
  if (!limits.memory) return;
  for (std::size_t i = 0; i < parts_.size(); ++i) {
    keys_[i] = key_of(parts_[i].problem);
    if (const Result* r0 = limits.memory->find(keys_[i])) {
      results_[i] = *r0;
      known_[i] = 1;
    }
  }
}

void Parts::solve(std::size_t i, double seconds) {
  Limits limits = limits_;
  limits.start = results_[i].best.columns;
  for (std::size_t k = 0; k < parts_[i].columns.size() && !results_[i].pieces; ++k)
    if (has(start_, parts_[i].columns[k])) limits.start.push_back(static_cast<int>(k));
  limits.seconds = std::max(0.0, std::min(clock_.left(), seconds));
  Result found = Solver(parts_[i].problem, limits).run();
  if (results_[i].pieces && results_[i].bound > found.bound) {
    // The choice is never worse than the one it began with; the proof may be.
    found.bound = std::min(results_[i].bound, found.best.cost);
    found.proof = std::move(results_[i].proof);
    found.proven = found.bound == found.best.cost;
  }
  results_[i] = std::move(found);
}

/// Each part may take its share of the time, so that a hard one leaves the others theirs; what is over goes to those
/// that could not be proven.
void Parts::solve() {
  std::size_t columns_left = 0;
  for (const std::size_t i : order_) columns_left += known_[i] ? 0 : parts_[i].columns.size();
  std::size_t large = 0;
  while (large < order_.size() && parts_[order_[large]].columns.size() > 4 * limits_.sizes.block) ++large;
  auto share = [&](std::size_t i) {
    return clock_.left() * static_cast<double>(parts_[i].columns.size()) /
           static_cast<double>(std::max<std::size_t>(columns_left, 1));
  };
  constexpr double kLeastShare = 0.05;  // of the time: for small ones
  const double least = kLeastShare * clock_.left();
  parallel_for(
      order_.size() - large,
      [&](std::size_t k) {
        const std::size_t i = order_[large + k];
        if (!known_[i]) solve(i, std::max(share(i), least));
      },
      4);
  for (std::size_t k = large; k < order_.size(); ++k)
    columns_left -= known_[order_[k]] ? 0 : parts_[order_[k]].columns.size();
  for (std::size_t k = 0; k < large; ++k) {
    if (known_[order_[k]]) continue;
    solve(order_[k], share(order_[k]));
    columns_left -= parts_[order_[k]].columns.size();
  }
  std::vector<std::size_t> again;
  for (std::size_t k = order_.size(); k-- > 0;)
    if (!known_[order_[k]] && results_[order_[k]].out_of_time) again.push_back(order_[k]);
  for (std::size_t k = 0; k < again.size() && !clock_.over(); ++k)
    solve(again[k], clock_.left() / static_cast<double>(again.size() - k));
}

void Parts::add_to(Result& result) {
  for (std::size_t i = 0; i < parts_.size(); ++i) {
    const Result& found = results_[i];
    if (limits_.memory && !known_[i] && found.proven) limits_.memory->keep(std::move(keys_[i]), found);
    for (const int column : found.best.columns)
      result.best.columns.push_back(kept_[index(parts_[i].columns[index(column)])]);
    result.best.cost += found.best.cost;
    result.bound += found.bound;
    result.out_of_time = result.out_of_time || found.out_of_time;
    result.pieces += found.pieces;
    result.largest_piece = std::max(result.largest_piece, found.largest_piece);
    if (limits_.keep_proof) {
      for (int& column : parts_[i].columns) column = kept_[index(column)];
      add_proof(result.proof, found.proof, parts_[i]);
    }
  }
}

Result solve_all(const Problem& problem, const Limits& limits, const Clock& clock) {
  Result result;
  result.proof.removals = reduce(problem);
  std::vector<int> kept;
  const Problem smaller = without(problem, result.proof.removals, kept);
  result.kept = kept.size();
  Parts parts(smaller, kept, limits, clock);
  for (std::size_t row = 0; row < smaller.wants.size(); ++row) {
    if (parts.is_met(row)) continue;
    result.best.cost += smaller.wants[row].lack(smaller.wants[row].wanted);
    result.bound += smaller.wants[row].lack(smaller.wants[row].wanted);
    if (limits.keep_proof && smaller.wants[row].wanted > 0)
      result.proof.shared.wants.emplace_back(static_cast<int>(row),
                                             (smaller.wants[row].unit() + smaller.wants[row].last) * kScale);
  }
  parts.solve();
  parts.add_to(result);
  make_set(result.best.columns);
  result.proven = result.bound == result.best.cost;
  return result;
}
}  // namespace

struct Memory::Kept {
  std::unordered_map<std::string, Result> results;
};
Memory::Memory() : kept_(std::make_unique<Kept>()) {}
Memory::~Memory() = default;
const Result* Memory::find(const std::string& part) const {
  const auto it = kept_->results.find(part);
  return it == kept_->results.end() ? nullptr : &it->second;
}
void Memory::keep(std::string part, const Result& result) {
  kept_->results.emplace(std::move(part), result);
}

Result solve(const Problem& problem, const Limits& limits) {
  const Clock clock(limits);
  if (problem.limits.empty()) return solve_all(problem, limits, clock);
  // A choice that keeps limits it was not asked to keep is the best with them as well.
  std::vector<int> asked;
  Result best;
  bool any = false;
  Cost bound = INT64_MIN;
  while (true) {
    Result result = solve_all(with_limits(problem, asked), limits, clock);
    auto renumber = [&](Dual& dual) {
      for (auto& [limit, value] : dual.limits) limit = asked[index(limit)];
    };
    renumber(result.proof.shared);
    for (ProofPiece& piece : result.proof.pieces)
      for (ProofNode& node : piece.nodes) renumber(node.dual);
    for (std::size_t limit = 0; limit < problem.limits.size(); ++limit)
      if (!has(asked, static_cast<int>(limit))) result.proof.without.push_back(static_cast<int>(limit));
    std::vector<std::int64_t> room = problem.limits;
    for (const int column : result.best.columns)
      for (const Part& part : problem.weighs[index(column)]) room[index(part.row)] -= part.amount;
    std::vector<int> broken;
    for (std::size_t limit = 0; limit < room.size(); ++limit)
      if (room[limit] < 0) broken.push_back(static_cast<int>(limit));
    bound = std::max(bound, result.bound);
    if (broken.empty()) {
      result.bound = std::min(bound, result.best.cost);
      result.proven = result.bound == result.best.cost;
      return result;
    }
    if (clock.over()) {
      // No time to weigh the limits: what is careful and keeps them all.
      if (!any) best = std::move(result);
      best.out_of_time = true;
      best.best.columns = greedy(problem);
      best.best.cost = cost_of(problem, best.best.columns);
      best.bound = std::min(bound, best.best.cost);
      best.proven = best.bound == best.best.cost;
      return best;
    }
    best = std::move(result);
    any = true;
    asked.insert(asked.end(), broken.begin(), broken.end());
    make_set(asked);
  }
}

/// Cheapest first, wants with the fewest columns first.
std::vector<int> greedy(const Problem& problem) {
  const Lists<int> of_want = columns_by_want(problem);
  std::vector<std::pair<std::size_t, int>> order;
  for (std::size_t row = 0; row < problem.wants.size(); ++row)
    order.emplace_back(of_want[row].size() + (problem.wants[row].hard ? 0 : problem.columns()), static_cast<int>(row));
  std::sort(order.begin(), order.end());
  std::vector<std::int64_t> left(problem.wants.size()), room = problem.limits;
  for (std::size_t row = 0; row < left.size(); ++row) left[row] = problem.wants[row].wanted;
  std::vector<char> blocked(problem.columns());
  std::vector<int> chosen;
  for (const bool first : {true, false})  // every want its first before any gets a second
    for (const auto& [columns, row] : order)
      for (const int column : of_want[index(row)]) {
        if (left[index(row)] <= 0 || (first && left[index(row)] < problem.wants[index(row)].wanted)) break;
        if (blocked[index(column)]) continue;
        Cost gain = -problem.price[index(column)];
        bool fits = true;
        for (const Part& part : problem.covers[index(column)])
          gain += problem.wants[index(part.row)].lack(left[index(part.row)]) -
                  problem.wants[index(part.row)].lack(left[index(part.row)] - part.amount);
        for (const Part& part : problem.weighs[index(column)]) fits = fits && room[index(part.row)] >= part.amount;
        if (gain <= 0 || !fits) continue;
        for (const Part& part : problem.covers[index(column)]) left[index(part.row)] -= part.amount;
        for (const Part& part : problem.weighs[index(column)]) room[index(part.row)] -= part.amount;
        blocked[index(column)] = 1;
        for (const int other : problem.conflicts[index(column)]) blocked[index(other)] = 1;
        chosen.push_back(column);
      }
  make_set(chosen);
  return chosen;
}

}  // namespace teasel::selection
