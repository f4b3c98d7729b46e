// Local search on a choice: put one column in, take out what conflicts with it, give each want that lost one its
// cheapest column that is free; keep the change if it pays.
#include <algorithm>

#include "piece.h"

namespace teasel::selection {

namespace {
class Improver {
 public:
  Improver(const Work& work, std::vector<char>& chosen)
      : work_(work),
        chosen_(chosen),
        blocked_(work.problem.columns()),
        left_(work.problem.wants.size()),
        room_(work.problem.limits),
        queued_(work.problem.wants.size(), 1) {
    for (std::size_t row = 0; row < left_.size(); ++row) {
      left_[row] = work.problem.wants[row].wanted;
      queue_.push_back(static_cast<int>(row));
    }
    for (std::size_t column = 0; column < chosen.size(); ++column)
      if (chosen[column]) {
        chosen_[column] = 0;
        put(static_cast<int>(column), 1);
      }
  }

  void run(const Clock& clock) {
    for (std::size_t k = 0; k < queue_.size(); ++k) {
      if (k % 256 == 0 && clock.over()) return;
      const int row = queue_[k];
      queued_[index(row)] = 0;
      for (bool again = true; again;) {
        again = false;
        for (const int column : work_.of_want[index(row)])
          if (!chosen_[index(column)] && try_column(column)) {
            again = true;
            break;
          }
      }
    }
  }

 private:
  void put(int column, int sign) {
    chosen_[index(column)] = sign > 0;
    for (const Part& part : work_.problem.covers[index(column)]) left_[index(part.row)] -= sign * part.amount;
    for (const Part& part : work_.problem.weighs[index(column)]) room_[index(part.row)] -= sign * part.amount;
    for (const int other : work_.problem.conflicts[index(column)]) blocked_[index(other)] += sign;
  }
  bool fits(int column) const {
    for (const Part& part : work_.problem.weighs[index(column)])
      if (room_[index(part.row)] < part.amount) return false;
    return true;
  }
  /// What the wants of c pay more once c is in (negative: it helps) or out.
  Cost effect(int column, int sign) const {
    Cost sum = sign * work_.problem.price[index(column)];
    for (const Part& part : work_.problem.covers[index(column)]) {
      const Want& want = work_.problem.wants[index(part.row)];
      sum += want.lack(left_[index(part.row)] - sign * part.amount) - want.lack(left_[index(part.row)]);
    }
    return sum;
  }

  bool try_column(int column) {
    out_.clear();
    in_.clear();
    Cost delta = 0;
    auto step = [&](int moved, int sign) {
      delta += effect(moved, sign);
      put(moved, sign);
      (sign > 0 ? in_ : out_).push_back(moved);
    };
    // A cheap look comes first: what leaves saves its price at most.
    Cost least = effect(column, 1);
    for (const int other : work_.problem.conflicts[index(column)])
      if (chosen_[index(other)]) least -= work_.problem.price[index(other)];
    for (const Part& part : work_.problem.covers[index(column)])
      if (work_.group[index(column)] == part.row)
        for (const int other : work_.of_want[index(part.row)])
          if (chosen_[index(other)]) least -= work_.problem.price[index(other)];
    if (least >= 0) return false;
    for (const int other : work_.problem.conflicts[index(column)])
      if (chosen_[index(other)]) step(other, -1);
    if (work_.group[index(column)] >= 0)
      for (const int other : work_.of_want[index(work_.group[index(column)])])
        if (chosen_[index(other)]) step(other, -1);
    bool possible = fits(column);
    if (possible) {
      step(column, 1);
      const std::vector<int> gone = out_;
      for (const int other : gone)
        for (const Part& part : work_.problem.covers[index(other)])
          for (const int spare : work_.of_want[index(part.row)]) {
            if (left_[index(part.row)] <= 0) break;
            if (chosen_[index(spare)] || blocked_[index(spare)] || !fits(spare) || effect(spare, 1) >= 0) continue;
            step(spare, 1);
          }
    }
    if (possible && delta < 0) {
      for (const auto* list : {&out_, &in_})
        for (const int other : *list) {
          wake(other);
          for (const int near : work_.problem.conflicts[index(other)]) wake(near);
        }
      return true;
    }
    for (std::size_t k = in_.size(); k-- > 0;) put(in_[k], -1);
    for (std::size_t k = out_.size(); k-- > 0;) put(out_[k], 1);
    return false;
  }
  void wake(int column) {
    for (const Part& part : work_.problem.covers[index(column)])
      if (!queued_[index(part.row)]) {
        queued_[index(part.row)] = 1;
        queue_.push_back(part.row);
      }
  }

  const Work& work_;
  std::vector<char>& chosen_;
  std::vector<int> blocked_;  ///< chosen conflicts, by column
  std::vector<std::int64_t> left_, room_;
  std::vector<char> queued_;
  std::vector<int> queue_, out_, in_;
};
}  // namespace

void improve(const Work& work, std::vector<char>& chosen, const Clock& clock) {
  Improver(work, chosen).run(clock);
}

}  // namespace teasel::selection
