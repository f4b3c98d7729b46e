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
std::vector<char> taken_from(const Problem& p) {
  std::vector<char> out(p.wants.size());
  for (const Part& x : p.covers.items)
    if (x.amount < 0) out[at(x.row)] = 1;
  return out;
}
}  // namespace

std::vector<int> groups_of(const Problem& p) {
  const std::vector<char> taken = taken_from(p);
  std::vector<int> group(p.columns(), -1);
  for (std::size_t j = 0; j < p.columns(); ++j)
    if (const auto c = p.covers[j]; c.size() == 1 && c[0].amount > 0 && !taken[at(c[0].row)] &&
                                    p.wants[at(c[0].row)].wanted <= c[0].amount && p.price[j] > 0)
      group[j] = c[0].row;
  return group;
}

Lists<int> columns_by_want(const Problem& p) {
  Lists<int> out;
  std::vector<std::size_t> count(p.wants.size() + 1);
  for (const Part& c : p.covers.items) ++count[at(c.row)];
  out.start.assign(p.wants.size() + 1, 0);
  for (std::size_t r = 0; r < p.wants.size(); ++r) out.start[r + 1] = out.start[r] + count[r];
  out.items.resize(out.start.back());
  std::vector<std::size_t> fill(out.start.begin(), out.start.end() - 1);
  for (std::size_t j = 0; j < p.columns(); ++j)
    for (const Part& c : p.covers[j]) out.items[fill[at(c.row)]++] = static_cast<int>(j);
  for (std::size_t r = 0; r < p.wants.size(); ++r)
    std::sort(out.items.begin() + static_cast<std::ptrdiff_t>(out.start[r]),
              out.items.begin() + static_cast<std::ptrdiff_t>(out.start[r + 1]),
              [&](int x, int y) { return p.price[at(x)] != p.price[at(y)] ? p.price[at(x)] < p.price[at(y)] : x < y; });
  return out;
}

Work::Work(const Problem& problem) : p(problem), group(groups_of(problem)), of_want(columns_by_want(problem)) {}

namespace {
class Reducer {
 public:
  Reducer(const Problem& p, const Rules& rules)
      : p_(p),
        rules_(rules),
        alive_(p.columns(), 1),
        group_(groups_of(p)),
        of_want_(columns_by_want(p)),
        outside_(p.columns()),
        degree_(p.columns()),
        queued_(p.wants.size(), 1),
        worst_(p.wants.size()),
        taken_(taken_from(p)) {
    for (std::size_t j = 0; j < p.columns(); ++j) degree_[j] = static_cast<int>(p.conflicts[j].size());
    for (std::size_t j = 0; j < p.columns(); ++j)
      for (const int o : p.conflicts[j]) outside_[j] += !harmless(static_cast<int>(j), o);
  }
  std::vector<Removal> run();

 private:
  /// o never stands beside c anyway.
  bool harmless(int c, int o) const { return group_[at(c)] >= 0 && group_[at(c)] == group_[at(o)]; }
  void take_out(Removal r);
  bool useless(int c) const;
  bool covers_as_much(int a, int b) const;
  bool weighs_no_more(int a, int b) const;
  bool never_both(int a, int b) const;
  bool within(int a, int b) const;
  Cost fallback(int e) const;
  bool swap_pays(int a, int b);
  void look_at(int want);
  void spares(const std::vector<int>& live);

  const Problem& p_;
  const Rules& rules_;
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

void Reducer::take_out(Removal r) {
  alive_[at(r.column)] = 0;
  out_.push_back(r);
  auto again = [&](int c) {
    for (const Part& x : p_.covers[at(c)])
      if (!queued_[at(x.row)]) {
        queued_[at(x.row)] = 1;
        next_.push_back(x.row);
      }
  };
  again(r.column);
  for (const int o : p_.conflicts[at(r.column)])
    if (alive_[at(o)]) {
      outside_[at(o)] -= !harmless(o, r.column);
      --degree_[at(o)];
      again(o);
    }
}

bool Reducer::useless(int c) const {
  Cost saves = 0;
  for (const Part& x : p_.covers[at(c)]) {
    const Want& w = p_.wants[at(x.row)];
    if (x.amount <= 0) continue;
    if (w.hard) return false;
    saves += w.miss * x.amount + w.last;
  }
  return p_.price[at(c)] >= saves;
}

bool Reducer::covers_as_much(int a, int b) const {
  const auto ca = p_.covers[at(a)], cb = p_.covers[at(b)];
  if (ca.size() == 1 && cb.size() == 1) return ca[0].row == cb[0].row && ca[0].amount >= cb[0].amount;
  // Both by row: what only a covers must not take, what only b covers must not give.
  const Part *x = ca.begin(), *y = cb.begin();
  while (x != ca.end() || y != cb.end()) {
    if (y == cb.end() || (x != ca.end() && x->row < y->row)) {
      if (x++->amount < 0) return false;
    } else if (x == ca.end() || y->row < x->row) {
      if (y++->amount > 0) return false;
    } else if (x++->amount < y++->amount)
      return false;
  }
  return true;
}

bool Reducer::weighs_no_more(int a, int b) const {
  const auto wa = p_.weighs[at(a)], wb = p_.weighs[at(b)];
  for (const Part& x : wa) {
    std::int64_t there = 0;
    for (const Part& y : wb)
      if (y.row == x.row) there = y.amount;
    if (x.amount > there) return false;
  }
  return true;
}

/// No plan gains by holding b beside a.
bool Reducer::never_both(int a, int b) const {
  if (std::binary_search(p_.conflicts[at(a)].begin(), p_.conflicts[at(a)].end(), b)) return true;
  return harmless(a, b);
}

bool Reducer::within(int a, int b) const {
  const auto la = p_.conflicts[at(a)], lb = p_.conflicts[at(b)];
  const int* y = lb.begin();
  for (const int o : la) {
    if (o == b || !alive_[at(o)] || harmless(a, o)) continue;
    while (y != lb.end() && *y < o) ++y;
    if (y == lb.end() || *y != o) return false;
  }
  return true;
}

/// What the want of e pays at most once e is gone: its cheapest column that nothing conflicts with, or going without.
Cost Reducer::fallback(int e) const {
  Cost best = 0;
  if (group_[at(e)] < 0) {
    for (const Part& x : p_.covers[at(e)]) {
      if (x.amount <= 0) continue;
      if (p_.wants[at(x.row)].hard) return kHard;
      best += p_.wants[at(x.row)].miss * x.amount + p_.wants[at(x.row)].last;
    }
    return best;
  }
  const int r = group_[at(e)];
  best = p_.wants[at(r)].lack(p_.wants[at(r)].wanted);
  for (const int f : of_want_[at(r)]) {
    if (p_.price[at(f)] >= best) break;
    if (f == e || !alive_[at(f)] || group_[at(f)] != r || outside_[at(f)] > 0 || !weighs_no_more(f, e)) continue;
    return p_.price[at(f)];
  }
  return best;
}

/// Of the columns evicted, a plan holds at most one of each want that one column meets.
bool Reducer::swap_pays(int a, int b) {
  const Cost saves = p_.price[at(b)] - p_.price[at(a)];
  Cost loss = 0;
  const auto lb = p_.conflicts[at(b)];
  touched_.clear();
  bool pays = true;
  for (const int o : p_.conflicts[at(a)]) {
    if (o == b || !alive_[at(o)] || harmless(a, o) || std::binary_search(lb.begin(), lb.end(), o)) continue;
    for (const Part& x : p_.covers[at(o)]) pays = pays && x.amount >= 0;
    const Cost l = std::max<Cost>(0, fallback(o) - p_.price[at(o)]);
    if (const int g = group_[at(o)]; g >= 0) {
      if (worst_[at(g)] == 0 && l > 0) touched_.push_back(g);
      loss += std::max<Cost>(0, l - worst_[at(g)]);
      worst_[at(g)] = std::max(worst_[at(g)], l);
    } else
      loss += l;
    if (loss > saves || !pays) {
      pays = false;
      break;
    }
  }
  for (const int g : touched_) worst_[at(g)] = 0;
  return pays;
}

/// Columns come cheapest first.
void Reducer::spares(const std::vector<int>& live) {
  std::vector<int> free;
  for (const int b : live) {
    if (!alive_[at(b)]) continue;
    std::int64_t most = 1;
    bool steady = true;
    for (const Part& x : p_.covers[at(b)])
      if (x.amount > 0) {
        most = std::max(most, p_.wants[at(x.row)].wanted);
        steady = steady && !taken_[at(x.row)];
      }
    if (!steady) continue;
    std::int64_t have = 0;
    int last = -1;
    for (const int f : free) {
      if (have >= most) break;
      if (covers_as_much(f, b) && weighs_no_more(f, b)) {
        ++have;
        last = f;
      }
    }
    if (have >= most && p_.price[at(b)] > 0)
      take_out({Removal::Why::spare, b, last});
    else if (degree_[at(b)] == 0)
      free.push_back(b);
  }
}

void Reducer::look_at(int want) {
  constexpr std::size_t kAllPairs = 48;  // longer lists (ground) compare neighbours only
  std::vector<int> live;
  for (const int c : of_want_[at(want)])
    if (alive_[at(c)]) live.push_back(c);
  if (rules_.worth)
    for (const int c : live)
      if (useless(c)) take_out({Removal::Why::worth, c, -1});
  if (rules_.spare && live.size() > 1 && group_[at(live[0])] < 0) spares(live);
  auto beats = [&](int a, int b) {
    if (!alive_[at(a)] || !alive_[at(b)] || a == b) return;
    if (p_.price[at(a)] > p_.price[at(b)] ||
        (p_.price[at(a)] == p_.price[at(b)] && a > b && outside_[at(a)] >= outside_[at(b)]))
      return;
    if (!covers_as_much(a, b) || !never_both(a, b) || !weighs_no_more(a, b)) return;
    if (rules_.dominated && within(a, b))
      take_out({Removal::Why::dominated, b, a});
    else if (rules_.evicts && swap_pays(a, b))
      take_out({Removal::Why::evicts, b, a});
  };
  if (live.size() <= kAllPairs)
    for (std::size_t i = 0; i < live.size(); ++i)
      for (const int b : live) {
        if (!alive_[at(live[i])]) break;
        beats(live[i], b);
      }
  else
    for (const int b : live)
      for (const int a : p_.conflicts[at(b)]) {
        if (!alive_[at(b)]) break;
        if (alive_[at(a)] && group_[at(a)] == group_[at(b)]) beats(a, b);
      }
  if (live.size() > kAllPairs)
    for (std::size_t i = 0; i < live.size(); ++i)
      if (alive_[at(live[i])] && outside_[at(live[i])] <= 12)
        for (std::size_t k = live.size(); k-- > i + 1;) {
          if (!alive_[at(live[k])]) continue;
          const int b = live[k];
          beats(live[i], b);
          if (alive_[at(b)]) break;  // the dearest did not fall: the others save less
        }
}

std::vector<Removal> Reducer::run() {
  for (std::size_t r = 0; r < p_.wants.size(); ++r) queue_.push_back(static_cast<int>(r));
  while (!queue_.empty()) {
    for (const int r : queue_) {
      queued_[at(r)] = 0;
      look_at(r);
    }
    queue_.swap(next_);
    next_.clear();
    std::sort(queue_.begin(), queue_.end());
  }
  return std::move(out_);
}
}  // namespace

std::vector<Removal> reduce(const Problem& p, const Rules& rules) {
  return Reducer(p, rules).run();
}

}  // namespace teasel::selection
