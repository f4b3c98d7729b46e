#include "fingers.h"

#include <algorithm>
#include <cmath>

#include "teasel/access.h"

namespace teasel {

namespace {
constexpr double kMostCells = 400'000;
constexpr float kFar = 1e12F;

std::size_t index(long i) {
  return static_cast<std::size_t>(i);
}

/// Squared distance transform of one line, in cells, with the symbols of Felzenszwalb and Huttenlocher, "Distance
/// transforms of sampled functions", 2012: the lower envelope of parabolas.
void transform(const std::vector<float>& f, std::vector<float>& d, long n, std::vector<long>& v,
               std::vector<double>& z) {
  long k = 0;
  v[0] = 0;
  z[0] = -1e30;
  z[1] = 1e30;
  for (long q = 1; q < n; ++q) {
    auto meet = [&](long p) {
      return ((static_cast<double>(f[index(q)]) + static_cast<double>(q * q)) -
              (static_cast<double>(f[index(p)]) + static_cast<double>(p * p))) /
             static_cast<double>(2 * q - 2 * p);
    };
    double s = meet(v[index(k)]);
    while (k > 0 && s <= z[index(k)]) s = meet(v[index(--k)]);
    ++k;
    v[index(k)] = q;
    z[index(k)] = s;
    z[index(k + 1)] = 1e30;
  }
  k = 0;
  for (long q = 0; q < n; ++q) {
    while (z[index(k + 1)] < static_cast<double>(q)) ++k;
    const long p = v[index(k)];
    d[index(q)] = static_cast<float>((q - p) * (q - p)) + f[index(p)];
  }
}
}  // namespace

template <class Visit>
void FingerRoom::each_cell(const Box& window, Visit visit) const {
  const long first_row = std::max(0L, static_cast<long>((window.y0 - box_.y0) / cell_)),
             first_column = std::max(0L, static_cast<long>((window.x0 - box_.x0) / cell_));
  for (long j = first_row; j < rows_ && centre_of(0, j).y <= window.y1; ++j)
    for (long i = first_column; i < columns_ && centre_of(i, j).x <= window.x1; ++i) visit(i, j);
}

FingerRoom::FingerRoom(const Board& board, const Rules& rules, Side side)
    : side_(side), box_(bounds(board.outline.outer)) {
  if (!box_.valid()) return;
  cell_ = std::max(0.5, std::sqrt(box_.width() * box_.height() / kMostCells));
  columns_ = static_cast<long>(box_.width() / cell_) + 1;
  rows_ = static_cast<long>(box_.height() / cell_) + 1;
  need_ = rules.finger_diameter.v / 2 + rules.finger_clearance.v;
  below_ = rules.plate_distance.v;
  room_.assign(index(columns_ * rows_), kFar);
  for (const Polygon& piece : board.holdable()) {
    const Polygons room = offset({piece}, -need_);
    const Box window = bounds(room);
    if (!window.valid()) continue;
    each_cell(window, [&](long i, long j) {
      if (contains(room, centre_of(i, j))) room_[cell_at(i, j)] = 0;
    });
  }
  for (const Component& component : board.components)
    if (!component.body.empty() && component.side == side) take(room_, component.body);
  keep_out(board.keep_outs);
}

Point FingerRoom::centre_of(long i, long j) const {
  return {box_.x0 + (static_cast<double>(i) + 0.5) * cell_, box_.y0 + (static_cast<double>(j) + 0.5) * cell_};
}

void FingerRoom::take(std::vector<float>& room, const Polygons& area) const {
  each_cell(bounds(area).grown(need_), [&](long i, long j) {
    if (float& cell = room[cell_at(i, j)]; cell == 0 && distance_to_area(area, centre_of(i, j)) < need_) cell = kFar;
  });
}

void FingerRoom::keep_out(const Table<KeepOutId, KeepOut>& keep_outs) {
  if (room_.empty()) return;
  std::vector<float> cells = room_;
  for (const KeepOut& keep_out : keep_outs)
    if (keep_out.sides.has(side_) && keep_out.from_height.v < below_) take(cells, keep_out.area);
  const std::size_t longest = index(std::max(columns_, rows_));
  std::vector<float> in(longest), out(longest);
  std::vector<long> v(longest);
  std::vector<double> z(longest + 1);
  for (long i = 0; i < columns_; ++i) {
    for (long j = 0; j < rows_; ++j) in[index(j)] = cells[cell_at(i, j)];
    transform(in, out, rows_, v, z);
    for (long j = 0; j < rows_; ++j) cells[cell_at(i, j)] = out[index(j)];
  }
  for (long j = 0; j < rows_; ++j) {
    for (long i = 0; i < columns_; ++i) in[index(i)] = cells[cell_at(i, j)];
    transform(in, out, columns_, v, z);
    for (long i = 0; i < columns_; ++i) cells[cell_at(i, j)] = out[index(i)];
  }
  distance_ = std::move(cells);
}

Mm FingerRoom::distance_to_room(BoardPoint place) const {
  if (distance_.empty()) return Mm{};
  const long i = std::clamp(static_cast<long>((place.x - box_.x0) / cell_), 0L, columns_ - 1),
             j = std::clamp(static_cast<long>((place.y - box_.y0) / cell_), 0L, rows_ - 1);
  return std::min(kNoRoom, Mm{std::sqrt(static_cast<double>(distance_[cell_at(i, j)])) * cell_});
}

}  // namespace teasel
