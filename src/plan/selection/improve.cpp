// Local search on a choice: put one column in, take out what conflicts with it, give each want that lost one its
// cheapest column that is free; keep the change if it pays.
#include <algorithm>

#include "piece.h"

namespace teasel::selection {

namespace {
class Improver {
 public:
  Improver(const Work& w, std::vector<char>& chosen)
      : w_(w),
        chosen_(chosen),
        blocked_(w.p.columns()),
        left_(w.p.wants.size()),
        room_(w.p.limits),
        queued_(w.p.wants.size(), 1) {
    for (std::size_t r = 0; r < left_.size(); ++r) {
      left_[r] = w.p.wants[r].wanted;
      queue_.push_back(static_cast<int>(r));
    }
    for (std::size_t c = 0; c < chosen.size(); ++c)
      if (chosen[c]) {
        chosen_[c] = 0;
        put(static_cast<int>(c), 1);
      }
  }

  void run(const Clock& clock) {
    for (std::size_t k = 0; k < queue_.size(); ++k) {
      if (k % 256 == 0 && clock.over()) return;
      const int r = queue_[k];
      queued_[at(r)] = 0;
      for (bool again = true; again;) {
        again = false;
        for (const int c : w_.of_want[at(r)])
          if (!chosen_[at(c)] && try_column(c)) {
            again = true;
            break;
          }
      }
    }
  }

 private:
  void put(int c, int sign) {
    chosen_[at(c)] = sign > 0;
    for (const Part& x : w_.p.covers[at(c)]) left_[at(x.row)] -= sign * x.amount;
    for (const Part& x : w_.p.weighs[at(c)]) room_[at(x.row)] -= sign * x.amount;
    for (const int o : w_.p.conflicts[at(c)]) blocked_[at(o)] += sign;
  }
  bool fits(int c) const {
    for (const Part& x : w_.p.weighs[at(c)])
      if (room_[at(x.row)] < x.amount) return false;
    return true;
  }
  /// What the wants of c pay more once c is in (negative: it helps) or out.
  Cost effect(int c, int sign) const {
    Cost sum = sign * w_.p.price[at(c)];
    for (const Part& x : w_.p.covers[at(c)]) {
      const Want& want = w_.p.wants[at(x.row)];
      sum += want.lack(left_[at(x.row)] - sign * x.amount) - want.lack(left_[at(x.row)]);
    }
    return sum;
  }

  bool try_column(int c) {
    out_.clear();
    in_.clear();
    Cost delta = 0;
    auto step = [&](int column, int sign) {
      delta += effect(column, sign);
      put(column, sign);
      (sign > 0 ? in_ : out_).push_back(column);
    };
    // Cheap look first: what leaves saves its price at most.
    Cost least = effect(c, 1);
    for (const int o : w_.p.conflicts[at(c)])
      if (chosen_[at(o)]) least -= w_.p.price[at(o)];
    for (const Part& x : w_.p.covers[at(c)])
      if (w_.group[at(c)] == x.row)
        for (const int o : w_.of_want[at(x.row)])
          if (chosen_[at(o)]) least -= w_.p.price[at(o)];
    if (least >= 0) return false;
    for (const int o : w_.p.conflicts[at(c)])
      if (chosen_[at(o)]) step(o, -1);
    if (w_.group[at(c)] >= 0)
      for (const int o : w_.of_want[at(w_.group[at(c)])])
        if (chosen_[at(o)]) step(o, -1);
    bool possible = fits(c);
    if (possible) {
      step(c, 1);
      const std::vector<int> gone = out_;
      for (const int o : gone)
        for (const Part& x : w_.p.covers[at(o)])
          for (const int f : w_.of_want[at(x.row)]) {
            if (left_[at(x.row)] <= 0) break;
            if (chosen_[at(f)] || blocked_[at(f)] || !fits(f) || effect(f, 1) >= 0) continue;
            step(f, 1);
          }
    }
    if (possible && delta < 0) {
      for (const auto* list : {&out_, &in_})
        for (const int o : *list) {
          wake(o);
          for (const int n : w_.p.conflicts[at(o)]) wake(n);
        }
      return true;
    }
    for (std::size_t k = in_.size(); k-- > 0;) put(in_[k], -1);
    for (std::size_t k = out_.size(); k-- > 0;) put(out_[k], 1);
    return false;
  }
  void wake(int c) {
    for (const Part& x : w_.p.covers[at(c)])
      if (!queued_[at(x.row)]) {
        queued_[at(x.row)] = 1;
        queue_.push_back(x.row);
      }
  }

  const Work& w_;
  std::vector<char>& chosen_;
  std::vector<int> blocked_;  ///< chosen conflicts, by column
  std::vector<std::int64_t> left_, room_;
  std::vector<char> queued_;
  std::vector<int> queue_, out_, in_;
};
}  // namespace

void improve(const Work& w, std::vector<char>& chosen, const Clock& clock) {
  Improver(w, chosen).run(clock);
}

}  // namespace teasel::selection
