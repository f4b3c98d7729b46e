// Pairs of points nearer than their kinds allow, by a grid whose cells are as wide as the largest distance.
#include <algorithm>
#include <cstdlib>
#include <tuple>

#include "work.h"

namespace teasel::selection {

namespace {
/// Columns at one point of one layer: they meet the same neighbours.
struct SharedPoint {
  std::int64_t x, y;
  int layer;
  std::size_t first, last;  ///< in the sorted order
};
/// Shared points in one row of cells of one layer.
struct Run {
  int layer;
  std::int64_t row;
  std::size_t first, last;
};

class Spacing {
 public:
  explicit Spacing(const Spaced& points) : points_(points), order_(points.x.size()), degree_(points.x.size()) {
    for (const auto& row : points.least)
      for (const std::int64_t distance : row) reach_ = std::max(reach_, distance);
    sort();
  }
  Lists<int> conflicts();

 private:
  [[nodiscard]] std::int64_t cell(std::int64_t value) const {
    return value >= 0 ? value / reach_ : -((-value + reach_ - 1) / reach_);
  }
  void sort();
  void meet(const SharedPoint& a, const SharedPoint& b);
  void meet_neighbours(const Run& run, const Run* below);

  const Spaced& points_;
  std::int64_t reach_ = 1;  ///< the largest distance, and the width of a cell
  std::vector<int> order_;  ///< of the columns
  std::vector<SharedPoint> spots_;
  std::vector<Run> runs_;
  std::vector<std::pair<int, int>> pairs_;
  std::vector<std::size_t> degree_;  ///< conflicts, by column
};

/// Row by row of cells, so that the three rows that matter are three runs.
void Spacing::sort() {
  for (std::size_t i = 0; i < order_.size(); ++i) order_[i] = static_cast<int>(i);
  auto key = [&](int i) {
    const std::size_t column = index(i);
    return std::tuple(points_.layer[column], cell(points_.y[column]), points_.x[column], points_.y[column], i);
  };
  std::sort(order_.begin(), order_.end(), [&](int a, int b) { return key(a) < key(b); });
  for (std::size_t i = 0; i < order_.size(); ++i) {
    const std::size_t column = index(order_[i]);
    const std::int64_t x = points_.x[column], y = points_.y[column];
    const int layer = points_.layer[column];
    if (spots_.empty() || spots_.back().layer != layer || spots_.back().x != x || spots_.back().y != y)
      spots_.push_back({x, y, layer, i, i});
    spots_.back().last = i + 1;
  }
  for (std::size_t i = 0; i < spots_.size(); ++i) {
    const std::int64_t row = cell(spots_[i].y);
    if (runs_.empty() || runs_.back().layer != spots_[i].layer || runs_.back().row != row)
      runs_.push_back({spots_[i].layer, row, i, i});
    runs_.back().last = i + 1;
  }
}

/// Holds each column of one point against each of another, or the columns of one point against one another.
void Spacing::meet(const SharedPoint& a, const SharedPoint& b) {
  const std::int64_t dx = a.x - b.x, dy = a.y - b.y, distance2 = dx * dx + dy * dy;
  for (std::size_t i = a.first; i < a.last; ++i)
    for (std::size_t j = &a == &b ? i + 1 : b.first; j < b.last; ++j) {
      const int one = order_[i], two = order_[j];
      const std::int64_t least = points_.least[index(points_.kind[index(one)])][index(points_.kind[index(two)])];
      if (distance2 >= least * least) continue;
      pairs_.emplace_back(one, two);
      ++degree_[index(one)];
      ++degree_[index(two)];
    }
}

void Spacing::meet_neighbours(const Run& run, const Run* below) {
  std::size_t from = below ? below->first : 0;
  for (std::size_t i = run.first; i < run.last; ++i) {
    const SharedPoint& spot = spots_[i];
    meet(spot, spot);
    for (std::size_t k = i + 1; k < run.last && spots_[k].x - spot.x < reach_; ++k)
      if (std::abs(spots_[k].y - spot.y) < reach_) meet(spot, spots_[k]);
    if (!below) continue;
    while (from < below->last && spots_[from].x <= spot.x - reach_) ++from;
    for (std::size_t k = from; k < below->last && spots_[k].x - spot.x < reach_; ++k)
      if (spots_[k].y - spot.y < reach_) meet(spot, spots_[k]);
  }
}

Lists<int> Spacing::conflicts() {
  for (std::size_t i = 0; i < runs_.size(); ++i) {
    const Run& run = runs_[i];
    const bool next_row = i + 1 < runs_.size() && runs_[i + 1].layer == run.layer && runs_[i + 1].row == run.row + 1;
    meet_neighbours(run, next_row ? &runs_[i + 1] : nullptr);
  }
  Lists<int> out;
  for (const std::size_t degree : degree_) out.start.push_back(out.start.back() + degree);
  out.items.resize(out.start.back());
  std::vector<std::size_t> fill(out.start.begin(), out.start.end() - 1);
  for (const auto& [one, two] : pairs_) {
    out.items[fill[index(one)]++] = two;
    out.items[fill[index(two)]++] = one;
  }
  for (std::size_t i = 0; i < out.size(); ++i)
    std::sort(out.items.begin() + static_cast<std::ptrdiff_t>(out.start[i]),
              out.items.begin() + static_cast<std::ptrdiff_t>(out.start[i + 1]));
  return out;
}
}  // namespace

Lists<int> spacing_conflicts(const Spaced& points) {
  return Spacing(points).conflicts();
}

}  // namespace teasel::selection
