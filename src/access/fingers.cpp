#include "fingers.h"

#include "teasel/access.h"

#include <algorithm>
#include <cmath>

namespace teasel {

namespace {
constexpr double kMostCells = 400'000;
constexpr float kFar = 1e12F;

/// Squared distance transform of one line, in cells (Felzenszwalb and Huttenlocher, "Distance transforms of sampled
/// functions", 2012): the lower envelope of parabolas.
void transform(const std::vector<float>& f, std::vector<float>& d, long n, std::vector<long>& v,
               std::vector<double>& z) {
  long k = 0;
  v[0] = 0;
  z[0] = -1e30;
  z[1] = 1e30;
  for (long q = 1; q < n; ++q) {
    auto meet = [&](long p) {
      return ((static_cast<double>(f[static_cast<std::size_t>(q)]) + static_cast<double>(q * q)) -
              (static_cast<double>(f[static_cast<std::size_t>(p)]) + static_cast<double>(p * p))) /
             static_cast<double>(2 * q - 2 * p);
    };
    double s = meet(v[static_cast<std::size_t>(k)]);
    while (k > 0 && s <= z[static_cast<std::size_t>(k)]) s = meet(v[static_cast<std::size_t>(--k)]);
    ++k;
    v[static_cast<std::size_t>(k)] = q;
    z[static_cast<std::size_t>(k)] = s;
    z[static_cast<std::size_t>(k + 1)] = 1e30;
  }
  k = 0;
  for (long q = 0; q < n; ++q) {
    while (z[static_cast<std::size_t>(k + 1)] < static_cast<double>(q)) ++k;
    const auto p = v[static_cast<std::size_t>(k)];
    d[static_cast<std::size_t>(q)] = static_cast<float>((q - p) * (q - p)) + f[static_cast<std::size_t>(p)];
  }
}
}  // namespace

FingerRoom::FingerRoom(const Board& b, const Job& job, const Rules& rules, Side side)
    : side_(side), box_(bounds(b.outline.outer)) {
  if (!box_.valid()) return;
  cell_ = std::max(0.5, std::sqrt(box_.width() * box_.height() / kMostCells));
  nx_ = static_cast<long>(box_.width() / cell_) + 1;
  ny_ = static_cast<long>(box_.height() / cell_) + 1;
  need_ = rules.finger_diameter.v / 2 + rules.finger_clearance.v;
  below_ = rules.plate_distance.v;
  room_.assign(static_cast<std::size_t>(nx_ * ny_), kFar);
  for (const Polygon& piece : b.pieces) {
    const Polygons room = offset({piece}, -need_);
    const Box w = bounds(room);
    if (!w.valid()) continue;
    for (long j = std::max(0L, static_cast<long>((w.y0 - box_.y0) / cell_)); j < ny_ && place(0, j).y <= w.y1; ++j)
      for (long i = std::max(0L, static_cast<long>((w.x0 - box_.x0) / cell_)); i < nx_ && place(i, j).x <= w.x1; ++i)
        if (contains(room, place(i, j))) room_[static_cast<std::size_t>(j * nx_ + i)] = 0;
  }
  for (const Component& c : b.components)
    if (!c.body.empty() && c.side == side) take(room_, c.body);
  keep_out(job);
}

Point FingerRoom::place(long i, long j) const {
  return {box_.x0 + (static_cast<double>(i) + 0.5) * cell_, box_.y0 + (static_cast<double>(j) + 0.5) * cell_};
}

void FingerRoom::take(std::vector<float>& room, const Polygons& area) const {
  const Box w = bounds(area).grown(need_);
  for (long j = std::max(0L, static_cast<long>((w.y0 - box_.y0) / cell_)); j < ny_ && place(0, j).y <= w.y1; ++j)
    for (long i = std::max(0L, static_cast<long>((w.x0 - box_.x0) / cell_)); i < nx_ && place(i, j).x <= w.x1; ++i)
      if (float& f = room[static_cast<std::size_t>(j * nx_ + i)]; f == 0 && distance_to_area(area, place(i, j)) < need_)
        f = kFar;
}

void FingerRoom::keep_out(const Job& job) {
  if (room_.empty()) return;
  std::vector<float> f = room_;
  auto at = [&](long i, long j) -> float& { return f[static_cast<std::size_t>(j * nx_ + i)]; };
  for (const KeepOut& k : job.keep_outs)
    if ((k.side == "both" || k.side == to_string(side_)) && k.from_height < below_) take(f, k.area);
  const auto longest = static_cast<std::size_t>(std::max(nx_, ny_));
  std::vector<float> in(longest), out(longest);
  std::vector<long> v(longest);
  std::vector<double> z(longest + 1);
  for (long i = 0; i < nx_; ++i) {
    for (long j = 0; j < ny_; ++j) in[static_cast<std::size_t>(j)] = at(i, j);
    transform(in, out, ny_, v, z);
    for (long j = 0; j < ny_; ++j) at(i, j) = out[static_cast<std::size_t>(j)];
  }
  for (long j = 0; j < ny_; ++j) {
    for (long i = 0; i < nx_; ++i) in[static_cast<std::size_t>(i)] = at(i, j);
    transform(in, out, nx_, v, z);
    for (long i = 0; i < nx_; ++i) at(i, j) = out[static_cast<std::size_t>(i)];
  }
  distance_ = std::move(f);
}

double FingerRoom::distance_to_room(Point p) const {
  if (distance_.empty()) return 0;
  const long i = std::clamp(static_cast<long>((p.x - box_.x0) / cell_), 0L, nx_ - 1),
             j = std::clamp(static_cast<long>((p.y - box_.y0) / cell_), 0L, ny_ - 1);
  return std::min(kNoRoom, std::sqrt(static_cast<double>(distance_[static_cast<std::size_t>(j * nx_ + i)])) * cell_);
}

}  // namespace teasel
