// Removals that keep an optimum, each checked by itself. With N(c) the alive columns in conflict with c:
//  worth      the column costs at least as much as all that it could ever cover.
//  dominated  `instead` costs no more, covers as much, weighs no more, N(instead) lies within N(column), and no plan
//  needs
//             both: swap them in any plan.
//  evicts     `instead` may have conflicts that the column has not: swap them and let each want that is evicted go to
//  its
//             spare column (free of conflict) or go without; the sum of these losses is no more than what the swap
//             saves.
//  spare      a want of n units has n columns that nothing conflicts with, none dearer than this one (`instead` is the
//             dearest of them): a plan with this column lacks one of them, or does not need this one. Not where some
//             column takes from the want.
#include <algorithm>

#include "work.h"

namespace teasel::selection {

namespace {
/// Wants that some column takes from: two of their columns may be needed where one would do elsewhere.
std::vector<char> taken_from(const Problem& problem) {
  std::vector<char> out(problem.wants.size());
  for (const Part& part : problem.covers.items)
    if (part.amount < 0) out[index(part.row)] = 1;
  return out;
}
}  // namespace

std::vector<int> groups_of(const Problem& problem) {
  const std::vector<char> taken = taken_from(problem);
  std::vector<int> group(problem.columns(), -1);
  for (std::size_t j = 0; j < problem.columns(); ++j)
    if (const auto covers = problem.covers[j];
        covers.size() == 1 && covers[0].amount > 0 && !taken[index(covers[0].row)] &&
        problem.wants[index(covers[0].row)].wanted <= covers[0].amount && problem.price[j] > 0)
      group[j] = covers[0].row;
  return group;
}

Lists<int> columns_by_want(const Problem& problem) {
  Lists<int> out;
  std::vector<std::size_t> count(problem.wants.size() + 1);
  for (const Part& part : problem.covers.items) ++count[index(part.row)];
  out.start.assign(problem.wants.size() + 1, 0);
  for (std::size_t row = 0; row < problem.wants.size(); ++row) out.start[row + 1] = out.start[row] + count[row];
  out.items.resize(out.start.back());
  std::vector<std::size_t> fill(out.start.begin(), out.start.end() - 1);
  for (std::size_t j = 0; j < problem.columns(); ++j)
    for (const Part& part : problem.covers[j]) out.items[fill[index(part.row)]++] = static_cast<int>(j);
  for (std::size_t row = 0; row < problem.wants.size(); ++row)
    std::sort(out.items.begin() + static_cast<std::ptrdiff_t>(out.start[row]),
              out.items.begin() + static_cast<std::ptrdiff_t>(out.start[row + 1]), [&](int a, int b) {
                return problem.price[index(a)] != problem.price[index(b)]
                           ? problem.price[index(a)] < problem.price[index(b)]
                           : a < b;
              });
  return out;
}

Work::Work(const Problem& whole) : problem(whole), group(groups_of(whole)), of_want(columns_by_want(whole)) {}

namespace {
class Reducer {
 public:
  Reducer(const Problem& problem, const Reductions& allowed)
      : problem_(problem),
        allowed_(allowed),
        alive_(problem.columns(), 1),
        group_(groups_of(problem)),
        of_want_(columns_by_want(problem)),
        outside_(problem.columns()),
        degree_(problem.columns()),
        queued_(problem.wants.size(), 1),
        worst_(problem.wants.size()),
        taken_(taken_from(problem)) {
    for (std::size_t j = 0; j < problem.columns(); ++j) degree_[j] = static_cast<int>(problem.conflicts[j].size());
    for (std::size_t j = 0; j < problem.columns(); ++j)
      for (const int other : problem.conflicts[j]) outside_[j] += !harmless(static_cast<int>(j), other);
  }
  std::vector<Removal> run();

 private:
  /// o never stands beside c anyway.
  bool harmless(int column, int other) const {
    return group_[index(column)] >= 0 && group_[index(column)] == group_[index(other)];
  }
  void take_out(Removal removal);
  bool useless(int column) const;
  bool covers_as_much(int a, int b) const;
  bool weighs_no_more(int a, int b) const;
  bool never_both(int a, int b) const;
  bool within(int a, int b) const;
  Cost fallback(int evicted) const;
  bool swap_pays(int a, int b);
  void look_at(int want);
  void spares(const std::vector<int>& live);

  const Problem& problem_;
  const Reductions& allowed_;
  std::vector<char> alive_;
  std::vector<int> group_;
  Lists<int> of_want_;
  std::vector<int> outside_;  ///< alive conflicts that are not harmless
  std::vector<int> degree_;   ///< alive conflicts
  std::vector<char> queued_;
  std::vector<Cost> worst_;  ///< by want, within swap_pays
  std::vector<int> touched_;
  std::vector<char> taken_;  ///< by want: some column takes from it
  std::vector<int> queue_, next_;
  std::vector<Removal> out_;
};

void Reducer::take_out(Removal removal) {
  alive_[index(removal.column)] = 0;
  out_.push_back(removal);
  auto again = [&](int column) {
    for (const Part& part : problem_.covers[index(column)])
      if (!queued_[index(part.row)]) {
        queued_[index(part.row)] = 1;
        next_.push_back(part.row);
      }
  };
  again(removal.column);
  for (const int other : problem_.conflicts[index(removal.column)])
    if (alive_[index(other)]) {
      outside_[index(other)] -= !harmless(other, removal.column);
      --degree_[index(other)];
      again(other);
    }
}

bool Reducer::useless(int column) const {
  Cost saves = 0;
  for (const Part& part : problem_.covers[index(column)]) {
    const Want& want = problem_.wants[index(part.row)];
    if (part.amount <= 0) continue;
    if (want.hard) return false;
    saves += want.miss * part.amount + want.last;
  }
  return problem_.price[index(column)] >= saves;
}

bool Reducer::covers_as_much(int a, int b) const {
  const auto ca = problem_.covers[index(a)], cb = problem_.covers[index(b)];
  if (ca.size() == 1 && cb.size() == 1) return ca[0].row == cb[0].row && ca[0].amount >= cb[0].amount;
  // Both by row: what only a covers must not take, what only b covers must not give.
  const Part *mine = ca.begin(), *its = cb.begin();
  while (mine != ca.end() || its != cb.end()) {
    if (its == cb.end() || (mine != ca.end() && mine->row < its->row)) {
      if (mine++->amount < 0) return false;
    } else if (mine == ca.end() || its->row < mine->row) {
      if (its++->amount > 0) return false;
    } else if (mine++->amount < its++->amount)
      return false;
  }
  return true;
}

bool Reducer::weighs_no_more(int a, int b) const {
  const auto wa = problem_.weighs[index(a)], wb = problem_.weighs[index(b)];
  for (const Part& part : wa) {
    std::int64_t there = 0;
    for (const Part& other : wb)
      if (other.row == part.row) there = other.amount;
    if (part.amount > there) return false;
  }
  return true;
}

/// No plan gains by holding b beside a.
bool Reducer::never_both(int a, int b) const {
  if (std::binary_search(problem_.conflicts[index(a)].begin(), problem_.conflicts[index(a)].end(), b)) return true;
  return harmless(a, b);
}

bool Reducer::within(int a, int b) const {
  const auto la = problem_.conflicts[index(a)], lb = problem_.conflicts[index(b)];
  const int* there = lb.begin();
  for (const int other : la) {
    if (other == b || !alive_[index(other)] || harmless(a, other)) continue;
    while (there != lb.end() && *there < other) ++there;
    if (there == lb.end() || *there != other) return false;
  }
  return true;
}

/// What the want of e pays at most once e is gone: its cheapest column that nothing conflicts with, or going without.
Cost Reducer::fallback(int evicted) const {
  Cost best = 0;
  if (group_[index(evicted)] < 0) {
    for (const Part& part : problem_.covers[index(evicted)]) {
      if (part.amount <= 0) continue;
      if (problem_.wants[index(part.row)].hard) return kHard;
      best += problem_.wants[index(part.row)].miss * part.amount + problem_.wants[index(part.row)].last;
    }
    return best;
  }
  const int row = group_[index(evicted)];
  best = problem_.wants[index(row)].lack(problem_.wants[index(row)].wanted);
  for (const int spare : of_want_[index(row)]) {
    if (problem_.price[index(spare)] >= best) break;
    if (spare == evicted || !alive_[index(spare)] || group_[index(spare)] != row || outside_[index(spare)] > 0 ||
        !weighs_no_more(spare, evicted))
      continue;
    return problem_.price[index(spare)];
  }
  return best;
}

/// Of the columns evicted, a plan holds at most one of each want that one column meets.
bool Reducer::swap_pays(int a, int b) {
  const Cost saves = problem_.price[index(b)] - problem_.price[index(a)];
  Cost loss = 0;
  const auto lb = problem_.conflicts[index(b)];
  touched_.clear();
  bool pays = true;
  for (const int other : problem_.conflicts[index(a)]) {
    if (other == b || !alive_[index(other)] || harmless(a, other) || std::binary_search(lb.begin(), lb.end(), other))
      continue;
    for (const Part& part : problem_.covers[index(other)]) pays = pays && part.amount >= 0;
    const Cost own_loss = std::max<Cost>(0, fallback(other) - problem_.price[index(other)]);
    if (const int group = group_[index(other)]; group >= 0) {
      if (worst_[index(group)] == 0 && own_loss > 0) touched_.push_back(group);
      loss += std::max<Cost>(0, own_loss - worst_[index(group)]);
      worst_[index(group)] = std::max(worst_[index(group)], own_loss);
    } else
      loss += own_loss;
    if (loss > saves || !pays) {
      pays = false;
      break;
    }
  }
  for (const int group : touched_) worst_[index(group)] = 0;
  return pays;
}

/// Columns come cheapest first.
void Reducer::spares(const std::vector<int>& live) {
  std::vector<int> free;
  for (const int b : live) {
    if (!alive_[index(b)]) continue;
    std::int64_t most = 1;
    bool steady = true;
    for (const Part& part : problem_.covers[index(b)])
      if (part.amount > 0) {
        most = std::max(most, problem_.wants[index(part.row)].wanted);
        steady = steady && !taken_[index(part.row)];
      }
    if (!steady) continue;
    std::int64_t have = 0;
    int last = -1;
    for (const int spare : free) {
      if (have >= most) break;
      if (covers_as_much(spare, b) && weighs_no_more(spare, b)) {
        ++have;
        last = spare;
      }
    }
    if (have >= most && problem_.price[index(b)] > 0)
      take_out({Removal::Why::spare, b, last});
    else if (degree_[index(b)] == 0)
      free.push_back(b);
  }
}

void Reducer::look_at(int want) {
  constexpr std::size_t kAllPairs = 48;  // longer lists (ground) compare neighbours only
  std::vector<int> live;
  for (const int column : of_want_[index(want)])
    if (alive_[index(column)]) live.push_back(column);
  if (allowed_.worth)
    for (const int column : live)
      if (useless(column)) take_out({Removal::Why::worth, column, -1});
  if (allowed_.spare && live.size() > 1 && group_[index(live[0])] < 0) spares(live);
  auto beats = [&](int a, int b) {
    if (!alive_[index(a)] || !alive_[index(b)] || a == b) return;
    if (problem_.price[index(a)] > problem_.price[index(b)] ||
        (problem_.price[index(a)] == problem_.price[index(b)] && a > b && outside_[index(a)] >= outside_[index(b)]))
      return;
    if (!covers_as_much(a, b) || !never_both(a, b) || !weighs_no_more(a, b)) return;
    if (allowed_.dominated && within(a, b))
      take_out({Removal::Why::dominated, b, a});
    else if (allowed_.evicts && swap_pays(a, b))
      take_out({Removal::Why::evicts, b, a});
  };
  if (live.size() <= kAllPairs)
    for (std::size_t i = 0; i < live.size(); ++i)
      for (const int b : live) {
        if (!alive_[index(live[i])]) break;
        beats(live[i], b);
      }
  else
    for (const int b : live)
      for (const int a : problem_.conflicts[index(b)]) {
        if (!alive_[index(b)]) break;
        if (alive_[index(a)] && group_[index(a)] == group_[index(b)]) beats(a, b);
      }
  if (live.size() > kAllPairs)
    for (std::size_t i = 0; i < live.size(); ++i)
      if (alive_[index(live[i])] && outside_[index(live[i])] <= 12)
        for (std::size_t k = live.size(); k-- > i + 1;) {
          if (!alive_[index(live[k])]) continue;
          const int b = live[k];
          beats(live[i], b);
          if (alive_[index(b)]) break;  // the dearest did not fall: the others save less
        }
}

std::vector<Removal> Reducer::run() {
  for (std::size_t row = 0; row < problem_.wants.size(); ++row) queue_.push_back(static_cast<int>(row));
  while (!queue_.empty()) {
    for (const int row : queue_) {
      queued_[index(row)] = 0;
      look_at(row);
    }
    queue_.swap(next_);
    next_.clear();
    std::sort(queue_.begin(), queue_.end());
  }
  return std::move(out_);
}
}  // namespace

std::vector<Removal> reduce(const Problem& problem, const Reductions& allowed) {
  return Reducer(problem, allowed).run();
}

}  // namespace teasel::selection
