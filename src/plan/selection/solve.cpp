// The whole solve: removals; pieces; first multipliers and choice; regions until choice and bound agree; limits only
// where the choice without them breaks them.
#include <numeric>
#include <unordered_map>

#include "solver.h"
#include "teasel/parallel.h"

namespace teasel::selection {

Result Solver::run() {
  rows_ = make_rows(w_, clique_cover(w_), limits_.sizes.hub);
  m_ = {std::vector<std::int64_t>(p_.wants.size()), std::vector<std::int64_t>(rows_.cliques.size()),
        std::vector<std::int64_t>(p_.limits.size())};
  chosen_.assign(p_.columns(), 0);
  r_.kept = p_.columns();
  split();
  passes();
  gaps();
  if (proven_units() < best_.cost - best_.cost / 50 && !clock_.over()) {
    windows();
    gaps();
  }
  // Rounds may run out of ways to go on: then everything is branched on at once.
  constexpr int kPatience = 8, kFirstNodes = 40;
  if (p_.columns() <= limits_.sizes.whole && proven_units() < best_.cost && !clock_.over()) whole(kFirstNodes);
  std::int64_t last = INT64_MIN;
  for (int idle = 0; idle < kPatience && !clock_.over() && round();) {
    std::size_t held = 0;
    for (const Region& r : active_) held += r.nodes.size() + r.hubs.size();
    const std::int64_t state =
        static_cast<std::int64_t>(held) - best_.cost + static_cast<std::int64_t>(closed_.size()) + bound_now_ / kScale;
    idle = state == last ? idle + 1 : 0;
    last = state;
  }
  gaps();
  if (proven_units() < best_.cost && !clock_.over()) whole(kAllNodes);
  r_.best = best_;
  r_.bound = std::min<Cost>(proven_units(), best_.cost);
  r_.proven = r_.bound == best_.cost;
  r_.out_of_time = !r_.proven && clock_.over();
  if (limits_.keep_proof) r_.proof = proof();
  return std::move(r_);
}

namespace {
/// The problem without the columns that were taken out; `kept` lists the others.
Problem without(const Problem& p, const std::vector<Removal>& removals, std::vector<int>& kept) {
  std::vector<int> number(p.columns(), 0);
  for (const Removal& r : removals) number[at(r.column)] = -1;
  for (std::size_t c = 0; c < p.columns(); ++c)
    if (number[c] == 0) {
      number[c] = static_cast<int>(kept.size());
      kept.push_back(static_cast<int>(c));
    }
  Problem q;
  q.wants = p.wants;
  q.limits = p.limits;
  for (const int c : kept) {
    q.price.push_back(p.price[at(c)]);
    for (const Part& x : p.covers[at(c)]) q.covers.add(x);
    q.covers.close();
    for (const Part& x : p.weighs[at(c)]) q.weighs.add(x);
    q.weighs.close();
    for (const int o : p.conflicts[at(c)])
      if (number[at(o)] >= 0) q.conflicts.add(number[at(o)]);
    q.conflicts.close();
  }
  return q;
}

/// With only the limits listed.
Problem with_limits(const Problem& p, const std::vector<int>& limits) {
  Problem q;
  q.price = p.price;
  q.wants = p.wants;
  q.covers = p.covers;
  q.conflicts = p.conflicts;
  for (const int l : limits) q.limits.push_back(p.limits[at(l)]);
  for (std::size_t c = 0; c < p.columns(); ++c) {
    for (const Part& x : p.weighs[c])
      if (const auto it = std::lower_bound(limits.begin(), limits.end(), x.row); it != limits.end() && *it == x.row)
        q.weighs.add({static_cast<int>(it - limits.begin()), x.amount});
    q.weighs.close();
  }
  return q;
}

/// Columns that share a want, a conflict or a limit belong together; wants without columns stand alone and are left
/// out.
std::vector<std::vector<int>> independent(const Problem& p) {
  std::vector<int> root(p.columns() + p.wants.size() + 1);
  std::iota(root.begin(), root.end(), 0);
  auto find = [&](int v) {
    while (root[at(v)] != v) v = root[at(v)] = root[at(root[at(v)])];
    return v;
  };
  auto join = [&](int a, int b) {
    a = find(a);
    b = find(b);
    if (a != b) root[at(std::max(a, b))] = std::min(a, b);
  };
  const int n = static_cast<int>(p.columns());
  for (int c = 0; c < n; ++c) {
    for (const Part& x : p.covers[at(c)]) join(c, n + x.row);
    for (const int o : p.conflicts[at(c)])
      if (o > c) join(c, o);
    if (!p.weighs[at(c)].empty()) join(c, n + static_cast<int>(p.wants.size()));
  }
  std::vector<int> number(root.size(), -1);
  std::vector<std::vector<int>> out;
  for (int c = 0; c < n; ++c) {
    int& k = number[at(find(c))];
    if (k < 0) {
      k = static_cast<int>(out.size());
      out.emplace_back();
    }
    out[at(k)].push_back(c);
  }
  return out;
}

struct Separate {
  Problem problem;
  std::vector<int> columns, wants;  ///< their numbers in the whole
};

/// One of the independent parts as a problem of its own.
Separate part_of(const Problem& p, std::vector<int> columns, std::vector<int>& want_number,
                 std::vector<int>& column_number) {
  Separate out;
  Problem& q = out.problem;
  bool weighs = false;
  for (std::size_t k = 0; k < columns.size(); ++k) column_number[at(columns[k])] = static_cast<int>(k);
  for (const int c : columns) {
    for (const Part& x : p.covers[at(c)]) out.wants.push_back(x.row);
    weighs = weighs || !p.weighs[at(c)].empty();
  }
  make_set(out.wants);
  for (std::size_t k = 0; k < out.wants.size(); ++k) {
    want_number[at(out.wants[k])] = static_cast<int>(k);
    q.wants.push_back(p.wants[at(out.wants[k])]);
  }
  if (weighs) q.limits = p.limits;
  for (const int c : columns) {
    q.price.push_back(p.price[at(c)]);
    for (const Part& x : p.covers[at(c)]) q.covers.add({want_number[at(x.row)], x.amount});
    q.covers.close();
    for (const Part& x : p.weighs[at(c)]) q.weighs.add(x);
    q.weighs.close();
    for (const int o : p.conflicts[at(c)]) q.conflicts.add(column_number[at(o)]);
    q.conflicts.close();
  }
  out.columns = std::move(columns);
  return out;
}

/// Puts the proof of a part into the proof of the whole.
void add_proof(Proof& whole, const Proof& part, const Separate& names) {
  const int cliques = static_cast<int>(whole.cliques.size());
  auto renamed = [&](Dual d) {
    for (auto& [k, v] : d.wants) k = names.wants[at(k)];
    for (auto& [k, v] : d.cliques) k += cliques;
    return d;
  };
  for (std::vector<int> q : part.cliques) {
    for (int& c : q) c = names.columns[at(c)];
    whole.cliques.push_back(std::move(q));
  }
  const Dual shared = renamed(part.shared);
  whole.shared.wants.insert(whole.shared.wants.end(), shared.wants.begin(), shared.wants.end());
  whole.shared.cliques.insert(whole.shared.cliques.end(), shared.cliques.begin(), shared.cliques.end());
  whole.shared.limits.insert(whole.shared.limits.end(), shared.limits.begin(), shared.limits.end());
  for (ProofPiece p : part.pieces) {
    for (int& c : p.columns) c = names.columns[at(c)];
    for (int& r : p.wants) r = names.wants[at(r)];
    for (ProofNode& n : p.nodes) {
      if (n.column >= 0) n.column = names.columns[at(n.column)];
      n.dual = renamed(std::move(n.dual));
    }
    whole.pieces.push_back(std::move(p));
  }
}

/// All of a problem as bytes: equal keys, equal problems.
std::string key_of(const Problem& p) {
  std::string out;
  auto number = [&](std::int64_t v) { out.append(reinterpret_cast<const char*>(&v), sizeof v); };
  auto lists = [&](const auto& l, auto item) {
    for (std::size_t i = 0; i < l.size(); ++i) {
      number(static_cast<std::int64_t>(l[i].size()));
      for (const auto& x : l[i]) item(x);
    }
  };
  number(static_cast<std::int64_t>(p.columns()));
  number(static_cast<std::int64_t>(p.wants.size()));
  number(static_cast<std::int64_t>(p.limits.size()));
  for (const Cost c : p.price) number(c);
  for (const Want& w : p.wants) {
    number(w.wanted);
    number(w.miss);
    number(w.hard);
    number(w.last);
  }
  for (const std::int64_t l : p.limits) number(l);
  auto part = [&](const Part& x) {
    number(x.row);
    number(x.amount);
  };
  lists(p.covers, part);
  lists(p.weighs, part);
  lists(p.conflicts, [&](int o) { number(o); });
  return out;
}

/// The problem's separate parts: each is solved by itself.
class Parts {
 public:
  Parts(const Problem& q, const std::vector<int>& kept, const Limits& limits, const Clock& clock);
  /// Wants that no column serves.
  [[nodiscard]] bool is_met(std::size_t want) const { return met_[want] != 0; }
  void solve();
  /// Adds what the parts hold to the whole's result.
  void add_to(Result& r);

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

Parts::Parts(const Problem& q, const std::vector<int>& kept, const Limits& limits, const Clock& clock)
    : kept_(kept), limits_(limits), clock_(clock), met_(q.wants.size()) {
  std::vector<int> want_number(q.wants.size(), -1), column_number(q.columns(), -1);
  for (const int c : limits.start)
    if (const auto it = std::lower_bound(kept.begin(), kept.end(), c); it != kept.end() && *it == c)
      start_.push_back(static_cast<int>(it - kept.begin()));
  make_set(start_);
  for (auto& columns : independent(q)) {
    parts_.push_back(part_of(q, std::move(columns), want_number, column_number));
    for (const int w : parts_.back().wants) met_[at(w)] = 1;
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
  Limits l = limits_;
  l.start = results_[i].best.columns;
  for (std::size_t k = 0; k < parts_[i].columns.size() && !results_[i].pieces; ++k)
    if (has(start_, parts_[i].columns[k])) l.start.push_back(static_cast<int>(k));
  l.seconds = std::max(0.0, std::min(clock_.left(), seconds));
  Result found = Solver(parts_[i].problem, l).run();
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

void Parts::add_to(Result& r) {
  for (std::size_t i = 0; i < parts_.size(); ++i) {
    const Result& x = results_[i];
    if (limits_.memory && !known_[i] && x.proven) limits_.memory->keep(std::move(keys_[i]), x);
    for (const int c : x.best.columns) r.best.columns.push_back(kept_[at(parts_[i].columns[at(c)])]);
    r.best.cost += x.best.cost;
    r.bound += x.bound;
    r.out_of_time = r.out_of_time || x.out_of_time;
    r.pieces += x.pieces;
    r.largest_piece = std::max(r.largest_piece, x.largest_piece);
    if (limits_.keep_proof) {
      for (int& c : parts_[i].columns) c = kept_[at(c)];
      add_proof(r.proof, x.proof, parts_[i]);
    }
  }
}

Result solve_all(const Problem& p, const Limits& limits, const Clock& clock) {
  Result r;
  r.proof.removals = reduce(p);
  std::vector<int> kept;
  const Problem q = without(p, r.proof.removals, kept);
  r.kept = kept.size();
  Parts parts(q, kept, limits, clock);
  for (std::size_t w = 0; w < q.wants.size(); ++w) {
    if (parts.is_met(w)) continue;
    r.best.cost += q.wants[w].lack(q.wants[w].wanted);
    r.bound += q.wants[w].lack(q.wants[w].wanted);
    if (limits.keep_proof && q.wants[w].wanted > 0)
      r.proof.shared.wants.emplace_back(static_cast<int>(w), (q.wants[w].unit() + q.wants[w].last) * kScale);
  }
  parts.solve();
  parts.add_to(r);
  make_set(r.best.columns);
  r.proven = r.bound == r.best.cost;
  return r;
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
    Result r = solve_all(with_limits(problem, asked), limits, clock);
    auto renumber = [&](Dual& d) {
      for (auto& [l, v] : d.limits) l = asked[at(l)];
    };
    renumber(r.proof.shared);
    for (ProofPiece& piece : r.proof.pieces)
      for (ProofNode& n : piece.nodes) renumber(n.dual);
    for (std::size_t l = 0; l < problem.limits.size(); ++l)
      if (!has(asked, static_cast<int>(l))) r.proof.without.push_back(static_cast<int>(l));
    std::vector<std::int64_t> room = problem.limits;
    for (const int c : r.best.columns)
      for (const Part& x : problem.weighs[at(c)]) room[at(x.row)] -= x.amount;
    std::vector<int> broken;
    for (std::size_t l = 0; l < room.size(); ++l)
      if (room[l] < 0) broken.push_back(static_cast<int>(l));
    bound = std::max(bound, r.bound);
    if (broken.empty()) {
      r.bound = std::min(bound, r.best.cost);
      r.proven = r.bound == r.best.cost;
      return r;
    }
    if (clock.over()) {
      // No time to weigh the limits: what is careful and keeps them all.
      if (!any) best = std::move(r);
      best.out_of_time = true;
      best.best.columns = greedy(problem);
      best.best.cost = cost_of(problem, best.best.columns);
      best.bound = std::min(bound, best.best.cost);
      best.proven = best.bound == best.best.cost;
      return best;
    }
    best = std::move(r);
    any = true;
    asked.insert(asked.end(), broken.begin(), broken.end());
    make_set(asked);
  }
}

/// Cheapest first, wants with the fewest columns first.
std::vector<int> greedy(const Problem& p) {
  const Lists<int> of_want = columns_by_want(p);
  std::vector<std::pair<std::size_t, int>> order;
  for (std::size_t r = 0; r < p.wants.size(); ++r)
    order.emplace_back(of_want[r].size() + (p.wants[r].hard ? 0 : p.columns()), static_cast<int>(r));
  std::sort(order.begin(), order.end());
  std::vector<std::int64_t> left(p.wants.size()), room = p.limits;
  for (std::size_t r = 0; r < left.size(); ++r) left[r] = p.wants[r].wanted;
  std::vector<char> blocked(p.columns());
  std::vector<int> chosen;
  for (const bool first : {true, false})  // every want its first before any gets a second
    for (const auto& [n, r] : order)
      for (const int c : of_want[at(r)]) {
        if (left[at(r)] <= 0 || (first && left[at(r)] < p.wants[at(r)].wanted)) break;
        if (blocked[at(c)]) continue;
        Cost gain = -p.price[at(c)];
        bool fits = true;
        for (const Part& x : p.covers[at(c)])
          gain += p.wants[at(x.row)].lack(left[at(x.row)]) - p.wants[at(x.row)].lack(left[at(x.row)] - x.amount);
        for (const Part& x : p.weighs[at(c)]) fits = fits && room[at(x.row)] >= x.amount;
        if (gain <= 0 || !fits) continue;
        for (const Part& x : p.covers[at(c)]) left[at(x.row)] -= x.amount;
        for (const Part& x : p.weighs[at(c)]) room[at(x.row)] -= x.amount;
        blocked[at(c)] = 1;
        for (const int o : p.conflicts[at(c)]) blocked[at(o)] = 1;
        chosen.push_back(c);
      }
  make_set(chosen);
  return chosen;
}

}  // namespace teasel::selection
