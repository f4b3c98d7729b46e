// Multipliers of cliques, one at a time, each to the middle of the range in which the bound is largest while all others
// stay. Cheap, and it stops short of the best bound; but middles leave room on either side, where corners of a linear
// program would hold their neighbours fast.
#include <algorithm>

#include "piece.h"

namespace teasel::selection {

namespace {
class Ascent {
 public:
  Ascent(const Work& work, const Rows& rows, Multipliers& multipliers)
      : work_(work),
        rows_(rows),
        multipliers_(multipliers),
        reduced_(work.problem.columns()),
        hub_price_(work.problem.wants.size()) {
    for (std::size_t column = 0; column < reduced_.size(); ++column) {
      reduced_[column] = work.problem.price[column] * kScale;
      for (const int clique : rows.cliques_of[column]) reduced_[column] += multipliers.clique[index(clique)];
      for (const Part& part : work.problem.weighs[column])
        reduced_[column] += part.amount * multipliers.limit[index(part.row)];
    }
    for (const Want& want : work.problem.wants) worth_.push_back((want.unit() + want.last) * kScale);
    row_.assign(work.problem.columns(), -1);
    for (std::size_t column = 0; column < work.problem.columns(); ++column)
      for (const Part& part : work.problem.covers[column])
        if (part.amount > 0 && (row_[column] < 0 || work.problem.wants[index(part.row)].wanted >
                                                        work.problem.wants[index(row_[column])].wanted))
          row_[column] = part.row;
    // What a column may save at most: all its wants.
    cap_.resize(work.problem.columns());
    for (std::size_t column = 0; column < work.problem.columns(); ++column)
      for (const Part& part : work.problem.covers[column])
        if (part.amount > 0)
          cap_[column] = std::min<std::int64_t>(cap_[column] + part.amount * worth_[index(part.row)], kHard * kScale);
  }

  void sweep(bool forward) {
    // Of wants with very many columns one clique takes so few that the price of their last probe is taken as it was.
    for (std::size_t row = 0; row < rows_.hub.size(); ++row)
      if (rows_.hub[row]) {
        others_.clear();
        for (const int other : work_.of_want[row]) others_.push_back(reduced_[index(other)]);
        const auto last =
            std::clamp<std::int64_t>(work_.problem.wants[row].wanted, 1, static_cast<std::int64_t>(others_.size()));
        std::nth_element(others_.begin(), others_.begin() + static_cast<std::ptrdiff_t>(last - 1), others_.end());
        hub_price_[row] = others_[static_cast<std::size_t>(last - 1)];
      }
    const std::size_t count = rows_.cliques.size();
    for (std::size_t k = 0; k < count; ++k) visit(forward ? k : count - 1 - k);
  }

 private:
  bool inside(int column, Lists<int>::Range clique) const {
    return std::binary_search(clique.begin(), clique.end(), column);
  }

  /// What the want of c pays for its last probe if none of the clique's columns may be had.
  std::int64_t otherwise(int column, Lists<int>::Range clique) {
    const int row = row_[index(column)];
    std::int64_t best = cap_[index(column)];
    if (rows_.hub[index(row)]) return std::min(best, hub_price_[index(row)]);
    const std::int64_t wanted = work_.problem.wants[index(row)].wanted;
    if (wanted == 1) {
      for (const int other : work_.of_want[index(row)])
        if (reduced_[index(other)] < best && !inside(other, clique)) best = reduced_[index(other)];
      return best;
    }
    others_.clear();
    for (const int other : work_.of_want[index(row)])
      if (reduced_[index(other)] < best && !inside(other, clique)) others_.push_back(reduced_[index(other)]);
    if (static_cast<std::int64_t>(others_.size()) < wanted) return best;
    std::nth_element(others_.begin(), others_.begin() + static_cast<std::ptrdiff_t>(wanted - 1), others_.end());
    return others_[static_cast<std::size_t>(wanted - 1)];
  }

  void visit(std::size_t number) {
    const auto clique = rows_.cliques[number];
    const std::int64_t now = multipliers_.clique[number];
    std::int64_t first = INT64_MIN, second = INT64_MIN;
    int first_row = -1;
    for (const int column : clique) {
      if (row_[index(column)] < 0) continue;
      const std::int64_t top = otherwise(column, clique) - (reduced_[index(column)] - now);
      if (row_[index(column)] == first_row) {
        first = std::max(first, top);  // of one want only the better column counts
        continue;
      }
      if (top > first) {
        second = first;
        first = top;
        first_row = row_[index(column)];
      } else
        second = std::max(second, top);
    }
    const std::int64_t low = std::max<std::int64_t>(0, second), high = std::max<std::int64_t>(0, first);
    const std::int64_t next = second <= 0 ? 0 : low + (high - low) / 2;
    if (next == now) return;
    multipliers_.clique[number] = next;
    for (const int column : clique) reduced_[index(column)] += next - now;
  }

  const Work& work_;
  const Rows& rows_;
  Multipliers& multipliers_;
  std::vector<std::int64_t> reduced_;  ///< without the wants
  std::vector<std::int64_t> worth_, cap_, others_, hub_price_;
  std::vector<int> row_;
};
}  // namespace

void ascend(const Work& work, const Rows& rows, Multipliers& multipliers, int sweeps, const Clock& clock) {
  Ascent ascent(work, rows, multipliers);
  for (int i = 0; i < sweeps && !clock.over(); ++i) ascent.sweep(i % 2 == 0);
}

}  // namespace teasel::selection
