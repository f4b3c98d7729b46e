// Multipliers of cliques, one at a time, each to the middle of the range in which the bound is largest while all others
// stay. Cheap, and it stops short of the best bound; but middles leave room on either side, where corners of a linear
// program would hold their neighbours fast.
#include <algorithm>

#include "piece.h"

namespace teasel::selection {

namespace {
class Ascent {
 public:
  Ascent(const Work& w, const Rows& rows, Multipliers& m)
      : w_(w), rows_(rows), m_(m), reduced_(w.p.columns()), hub_price_(w.p.wants.size()) {
    for (std::size_t c = 0; c < reduced_.size(); ++c) {
      reduced_[c] = w.p.price[c] * kScale;
      for (const int q : rows.cliques_of[c]) reduced_[c] += m.clique[at(q)];
      for (const Part& x : w.p.weighs[c]) reduced_[c] += x.amount * m.limit[at(x.row)];
    }
    for (const Want& want : w.p.wants) worth_.push_back((want.unit() + want.last) * kScale);
    row_.assign(w.p.columns(), -1);
    for (std::size_t c = 0; c < w.p.columns(); ++c)
      for (const Part& x : w.p.covers[c])
        if (x.amount > 0 && (row_[c] < 0 || w.p.wants[at(x.row)].wanted > w.p.wants[at(row_[c])].wanted))
          row_[c] = x.row;
    // What a column may save at most: all its wants.
    cap_.resize(w.p.columns());
    for (std::size_t c = 0; c < w.p.columns(); ++c)
      for (const Part& x : w.p.covers[c])
        if (x.amount > 0) cap_[c] = std::min<std::int64_t>(cap_[c] + x.amount * worth_[at(x.row)], kHard * kScale);
  }

  void sweep(bool forward) {
    // Of wants with very many columns one clique takes so few that the price of their last probe is taken as it was.
    for (std::size_t r = 0; r < rows_.hub.size(); ++r)
      if (rows_.hub[r]) {
        others_.clear();
        for (const int o : w_.of_want[r]) others_.push_back(reduced_[at(o)]);
        const auto last = std::clamp<std::int64_t>(w_.p.wants[r].wanted, 1, static_cast<std::int64_t>(others_.size()));
        std::nth_element(others_.begin(), others_.begin() + static_cast<std::ptrdiff_t>(last - 1), others_.end());
        hub_price_[r] = others_[static_cast<std::size_t>(last - 1)];
      }
    const std::size_t n = rows_.cliques.size();
    for (std::size_t k = 0; k < n; ++k) visit(forward ? k : n - 1 - k);
  }

 private:
  bool inside(int c, Lists<int>::Range clique) const { return std::binary_search(clique.begin(), clique.end(), c); }

  /// What the want of c pays for its last probe if none of the clique's columns may be had.
  std::int64_t otherwise(int c, Lists<int>::Range clique) {
    const int r = row_[at(c)];
    std::int64_t best = cap_[at(c)];
    if (rows_.hub[at(r)]) return std::min(best, hub_price_[at(r)]);
    const std::int64_t wanted = w_.p.wants[at(r)].wanted;
    if (wanted == 1) {
      for (const int o : w_.of_want[at(r)])
        if (reduced_[at(o)] < best && !inside(o, clique)) best = reduced_[at(o)];
      return best;
    }
    others_.clear();
    for (const int o : w_.of_want[at(r)])
      if (reduced_[at(o)] < best && !inside(o, clique)) others_.push_back(reduced_[at(o)]);
    if (static_cast<std::int64_t>(others_.size()) < wanted) return best;
    std::nth_element(others_.begin(), others_.begin() + static_cast<std::ptrdiff_t>(wanted - 1), others_.end());
    return others_[static_cast<std::size_t>(wanted - 1)];
  }

  void visit(std::size_t q) {
    const auto clique = rows_.cliques[q];
    const std::int64_t now = m_.clique[q];
    std::int64_t first = INT64_MIN, second = INT64_MIN;
    int first_row = -1;
    for (const int c : clique) {
      if (row_[at(c)] < 0) continue;
      const std::int64_t t = otherwise(c, clique) - (reduced_[at(c)] - now);
      if (row_[at(c)] == first_row) {
        first = std::max(first, t);  // of one want only the better column counts
        continue;
      }
      if (t > first) {
        second = first;
        first = t;
        first_row = row_[at(c)];
      } else
        second = std::max(second, t);
    }
    const std::int64_t low = std::max<std::int64_t>(0, second), high = std::max<std::int64_t>(0, first);
    const std::int64_t next = second <= 0 ? 0 : low + (high - low) / 2;
    if (next == now) return;
    m_.clique[q] = next;
    for (const int c : clique) reduced_[at(c)] += next - now;
  }

  const Work& w_;
  const Rows& rows_;
  Multipliers& m_;
  std::vector<std::int64_t> reduced_;  ///< without the wants
  std::vector<std::int64_t> worth_, cap_, others_, hub_price_;
  std::vector<int> row_;
};
}  // namespace

void ascend(const Work& w, const Rows& rows, Multipliers& m, int sweeps, const Clock& clock) {
  Ascent a(w, rows, m);
  for (int i = 0; i < sweeps && !clock.over(); ++i) a.sweep(i % 2 == 0);
}

}  // namespace teasel::selection
