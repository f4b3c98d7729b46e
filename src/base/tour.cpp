#include "teasel/tour.h"

#include <array>
#include <cstdint>
#include <numeric>

namespace teasel {

namespace {
constexpr int kNeighbours = 8;

/// The nearest few of every point, nearest first; by cells of about two points.
class Neighbours {
 public:
  explicit Neighbours(const std::vector<Point>& points) : points_(points) {
    for (const Point p : points) box_.add(p);
    const double area = std::max(box_.width() * box_.height(), 1e-9);
    cell_ = std::max(std::sqrt(2 * area / static_cast<double>(std::max<std::size_t>(points.size(), 1))),
                     1e-6 + std::max(box_.width(), box_.height()) / 4000);
    nx_ = static_cast<int>(box_.width() / cell_) + 1;
    ny_ = static_cast<int>(box_.height() / cell_) + 1;
    cells_.resize(static_cast<std::size_t>(nx_) * static_cast<std::size_t>(ny_));
    for (std::size_t i = 0; i < points.size(); ++i)
      cells_[index(column(points[i].x), row(points[i].y))].push_back(static_cast<int>(i));
  }

  std::vector<int> of(std::size_t i, std::size_t most) const {
    std::vector<std::pair<double, int>> found;
    const int cx = column(points_[i].x), cy = row(points_[i].y);
    for (int ring = 0; ring <= std::max(nx_, ny_); ++ring) {
      // What lies beyond this ring is at least so far away.
      if (found.size() >= most) {
        std::sort(found.begin(), found.end());
        if (found[most - 1].first <= (ring - 1) * cell_) break;
      }
      for (int y = cy - ring; y <= cy + ring; ++y)
        for (int x = cx - ring; x <= cx + ring; x += std::abs(y - cy) == ring ? 1 : std::max(1, 2 * ring)) {
          if (x < 0 || y < 0 || x >= nx_ || y >= ny_) continue;
          for (const int o : cells_[index(x, y)])
            if (static_cast<std::size_t>(o) != i)
              found.emplace_back(distance(points_[i], points_[static_cast<std::size_t>(o)]), o);
        }
    }
    std::sort(found.begin(), found.end());
    std::vector<int> out;
    for (std::size_t k = 0; k < std::min(most, found.size()); ++k) out.push_back(found[k].second);
    return out;
  }

  /// Rows of cells, to and fro: a first way.
  std::vector<int> to_and_fro() const {
    std::vector<int> out;
    for (int y = 0; y < ny_; ++y)
      for (int k = 0; k < nx_; ++k)
        for (const int o : cells_[index(y % 2 ? nx_ - 1 - k : k, y)]) out.push_back(o);
    return out;
  }

 private:
  int column(double x) const { return std::min(nx_ - 1, static_cast<int>((x - box_.x0) / cell_)); }
  int row(double y) const { return std::min(ny_ - 1, static_cast<int>((y - box_.y0) / cell_)); }
  std::size_t index(int x, int y) const {
    return static_cast<std::size_t>(y) * static_cast<std::size_t>(nx_) + static_cast<std::size_t>(x);
  }

  const std::vector<Point>& points_;
  Box box_;
  double cell_{};
  int nx_ = 1, ny_ = 1;
  std::vector<std::vector<int>> cells_;
};

/// A tour as an array with the place of each point; every change is a reversal, so that it can be taken back.
class Tour {
 public:
  explicit Tour(const std::vector<Point>& points) : points_(points), n_(static_cast<int>(points.size())) {
    const Neighbours near(points);
    order_ = near.to_and_fro();
    place_.resize(order_.size());
    for (int k = 0; k < n_; ++k) place_[at(order_[at(k)])] = k;
    for (std::size_t i = 0; i < points.size(); ++i) {
      auto list = near.of(i, kNeighbours);
      list.resize(static_cast<std::size_t>(std::min(kNeighbours, n_ - 1)), list.empty() ? 0 : list.back());
      near_.push_back(std::move(list));
    }
    queued_.assign(order_.size(), 1);
    for (const int c : order_) queue_.push_back(c);
    settle();
  }

  /// A double bridge over a short stretch, settled, and taken back unless it pays.
  void kick(std::uint64_t random) {
    if (n_ < 8) return;
    const int span = std::min(50, n_ - 1), first = static_cast<int>(random % static_cast<std::uint64_t>(n_));
    std::array<int, 3> cut{};
    for (int& c : cut) {
      random = random * 6364136223846793005ULL + 1442695040888963407ULL;
      c = 1 + static_cast<int>((random >> 33) % static_cast<std::uint64_t>(span));
    }
    std::sort(cut.begin(), cut.end());
    if (cut[0] == cut[1] || cut[1] == cut[2]) return;
    done_.clear();
    gain_ = 0;
    recording_ = true;
    // a|B|C|d becomes a|C|B|d: the whole turned, then each part turned back.
    auto where = [&](int offset) { return (first + offset) % n_; };
    const double before = edge(order_[at(where(cut[0] - 1))], order_[at(where(cut[0]))]) +
                          edge(order_[at(where(cut[1] - 1))], order_[at(where(cut[1]))]) +
                          edge(order_[at(where(cut[2] - 1))], order_[at(where(cut[2]))]);
    reverse(where(cut[0]), where(cut[2] - 1));
    const int second = cut[0] + (cut[2] - cut[1]);
    reverse(where(cut[0]), where(second - 1));
    reverse(where(second), where(cut[2] - 1));
    const double after = edge(order_[at(where(cut[0] - 1))], order_[at(where(cut[0]))]) +
                         edge(order_[at(where(second - 1))], order_[at(where(second))]) +
                         edge(order_[at(where(cut[2] - 1))], order_[at(where(cut[2]))]);
    gain_ = before - after;
    for (const int c : {cut[0], second, cut[2]}) {
      wake(order_[at(where(c))]);
      wake(order_[at(where(c - 1))]);
    }
    settle();
    recording_ = false;
    if (gain_ > 1e-12) return;
    for (std::size_t k = done_.size(); k-- > 0;) reverse(done_[k].i, done_[k].j, done_[k].in_place);
  }

  const std::vector<int>& order() const { return order_; }

 private:
  static std::size_t at(int i) { return static_cast<std::size_t>(i); }
  double edge(int a, int b) const { return distance(points_[at(a)], points_[at(b)]); }
  int next(int c) const { return order_[at(place_[at(c)] + 1 == n_ ? 0 : place_[at(c)] + 1)]; }
  int before(int c) const { return order_[at(place_[at(c)] == 0 ? n_ - 1 : place_[at(c)] - 1)]; }
  void wake(int c) {
    if (!queued_[at(c)]) {
      queued_[at(c)] = 1;
      queue_.push_back(c);
    }
  }

  /// Places i to j, round the end if need be; or all others, which is the same tour the other way round, where that is
  /// less work and nobody counts on the places.
  void reverse(int i, int j, bool in_place = true) {
    if (recording_) done_.push_back({i, j, in_place});
    int count = (j - i + n_) % n_ + 1;
    if (!in_place && 2 * count > n_) {
      std::swap(i, j);
      i = (i + 1) % n_;
      j = (j - 1 + n_) % n_;
      count = n_ - count;
    }
    for (int k = 0; k < count / 2; ++k) {
      std::swap(order_[at(i)], order_[at(j)]);
      place_[at(order_[at(i)])] = i;
      place_[at(order_[at(j)])] = j;
      i = i + 1 == n_ ? 0 : i + 1;
      j = j == 0 ? n_ - 1 : j - 1;
    }
  }

  /// Reversals that join c to a near one.
  bool turn(int c) {
    for (const bool forward : {true, false}) {
      const int c1 = forward ? next(c) : before(c);
      const double old = edge(c, c1);
      for (const int d : near_[at(c)]) {
        const double joined = edge(c, d);
        if (joined >= old) break;
        const int d1 = forward ? next(d) : before(d);
        if (d == c1 || d1 == c) continue;
        const double gain = old + edge(d, d1) - joined - edge(c1, d1);
        if (gain <= 1e-10) continue;
        if (forward)
          reverse(place_[at(c1)], place_[at(d)], false);
        else
          reverse(place_[at(d)], place_[at(c1)], false);
        gain_ += gain;
        for (const int w : {c, c1, d, d1}) wake(w);
        return true;
      }
    }
    return false;
  }

  /// One to three points from c on move between a near one and its neighbour: three reversals.
  bool move(int c) {
    for (int count = 1; count <= 3 && count + 3 <= n_; ++count)
      for (const bool forward : {true, false}) {
        // The stretch s..e with c at one end; c is to stand beside the near one.
        int s = c, e = c;
        for (int k = 1; k < count; ++k) (forward ? e : s) = forward ? next(e) : before(s);
        const int p = before(s), q = next(e), far = forward ? e : s;
        const double out = edge(p, s) + edge(e, q) - edge(p, q);
        if (out <= 1e-10) continue;
        for (const int d : near_[at(c)]) {
          const double joined = edge(c, d);
          if (joined >= out) break;
          const int i = place_[at(s)], k = (place_[at(d)] - i + n_) % n_;
          if (k < count) continue;  // d is in the stretch
          for (const int d1 : {next(d), before(d)}) {
            const int k1 = (place_[at(d1)] - i + n_) % n_;
            if (k1 < count) continue;
            const double gain = out + edge(d, d1) - joined - edge(far, d1);
            if (gain <= 1e-10) continue;
            insert(s, e, d, d1, c);
            gain_ += gain;
            for (const int w : {p, q, s, e, d, d1}) wake(w);
            return true;
          }
        }
      }
    return false;
  }

  /// Between d and d1, with c beside d.
  void insert(int s, int e, int d, int d1, int c) {
    const bool after = next(d) == d1;  // d, then d1
    const int left = after ? d : d1;   // the gap's first by the tour's direction
    const int i = place_[at(s)], j = place_[at(e)];
    const bool ahead = (place_[at(left)] - i + n_) % n_ < (i - place_[at(left)] + n_) % n_;
    // Swap the stretch with what lies between it and the gap, on the shorter way round.
    if (ahead) {
      const int m = place_[at(left)];  // s..e x..left  ->  x..left s..e
      reverse(i, m);
      const int rest = (m - j + n_) % n_;
      reverse(i, (i + rest - 1) % n_);
      if (place_[at(s)] != (i + rest) % n_) reverse((i + rest) % n_, m);
    } else {
      const int m = place_[at(next(left))];  // right..x s..e  ->  s..e right..x
      reverse(m, j);
      const int count = (j - i + n_) % n_ + 1;
      reverse((m + count) % n_, j);
      if (place_[at(s)] != m) reverse(m, (m + count - 1) % n_);
    }
    // Now s..e stand in the gap by the tour's direction or against it; c must stand beside d.
    if (next(d) != c && before(d) != c) {
      const int a = place_[at(s)], b = place_[at(e)];
      if ((b - a + n_) % n_ <= 2)
        reverse(a, b);
      else
        reverse(b, a);
    }
  }

  void settle() {
    for (std::size_t k = 0; k < queue_.size(); ++k) {
      const int c = queue_[k];
      queued_[at(c)] = 0;
      while (turn(c) || move(c)) {}
    }
    queue_.clear();
  }

  const std::vector<Point>& points_;
  int n_;
  std::vector<int> order_, place_;
  std::vector<std::vector<int>> near_;
  std::vector<char> queued_;
  std::vector<int> queue_;
  struct Reversal {
    int i, j;
    bool in_place;
  };
  std::vector<Reversal> done_;
  bool recording_ = false;
  double gain_{};
};
}  // namespace

std::vector<std::size_t> closed_tour(const std::vector<Point>& points) {
  std::vector<std::size_t> out(points.size());
  std::iota(out.begin(), out.end(), std::size_t{0});
  if (points.size() < 4) return out;
  Tour tour(points);
  std::uint64_t state = 0x9E3779B97F4A7C15ULL;
  const std::size_t kicks = 20 * points.size();
  for (std::size_t k = 0; k < kicks; ++k) {
    state = state * 6364136223846793005ULL + 1442695040888963407ULL;
    tour.kick(state >> 16);
  }
  for (std::size_t k = 0; k < out.size(); ++k) out[k] = static_cast<std::size_t>(tour.order()[k]);
  return out;
}

std::vector<std::size_t> open_way(const std::vector<Point>& points, Point from) {
  std::vector<std::size_t> tour = closed_tour(points);
  const std::size_t n = tour.size();
  if (n < 2) return tour;
  // Cut before place k, running on or back: the longest edge goes, the way to the first point comes.
  double best = std::numeric_limits<double>::infinity();
  std::size_t start = 0;
  bool backwards = false;
  for (std::size_t k = 0; k < n; ++k) {
    const Point here = points[tour[k]], last = points[tour[(k + n - 1) % n]];
    const double cut = distance(last, here);
    if (const double v = distance(from, here) - cut; v < best - 1e-12) {
      best = v;
      start = k;
      backwards = false;
    }
    if (const double v = distance(from, last) - cut; v < best - 1e-12) {
      best = v;
      start = (k + n - 1) % n;
      backwards = true;
    }
  }
  std::vector<std::size_t> out;
  for (std::size_t k = 0; k < n; ++k) out.push_back(tour[(backwards ? start + n - k : start + k) % n]);
  return out;
}

double tour_length(const std::vector<Point>& points, const std::vector<std::size_t>& order, bool closed) {
  double sum = 0;
  for (std::size_t k = 0; k + 1 < order.size(); ++k) sum += distance(points[order[k]], points[order[k + 1]]);
  if (closed && order.size() > 1) sum += distance(points[order.back()], points[order.front()]);
  return sum;
}

double tour_bound(const std::vector<Point>& points, int steps) {
  const std::size_t n = points.size();
  if (n < 3) return n == 2 ? 2 * distance(points[0], points[1]) : 0;
  const double upper = tour_length(points, closed_tour(points), true);
  std::vector<double> weight(n, 0.0), best_to(n);
  std::vector<int> degree(n), parent(n);
  double best = 0, scale = 2;
  int idle = 0;
  for (int step = 0; step < steps; ++step) {
    auto cost = [&](std::size_t a, std::size_t b) { return distance(points[a], points[b]) + weight[a] + weight[b]; };
    // A least spanning tree of all but point 0 (Prim), and the two cheapest edges of point 0.
    std::fill(degree.begin(), degree.end(), 0);
    std::vector<char> in(n);
    in[1] = 1;
    for (std::size_t i = 2; i < n; ++i) {
      best_to[i] = cost(1, i);
      parent[i] = 1;
    }
    double sum = 0;
    for (std::size_t k = 2; k < n; ++k) {
      std::size_t least = 0;
      for (std::size_t i = 2; i < n; ++i)
        if (!in[i] && (least == 0 || best_to[i] < best_to[least])) least = i;
      in[least] = 1;
      sum += best_to[least];
      ++degree[least];
      ++degree[static_cast<std::size_t>(parent[least])];
      for (std::size_t i = 2; i < n; ++i)
        if (!in[i])
          if (const double c = cost(least, i); c < best_to[i]) {
            best_to[i] = c;
            parent[i] = static_cast<int>(least);
          }
    }
    std::size_t first = 1, second = 2;
    if (cost(0, second) < cost(0, first)) std::swap(first, second);
    for (std::size_t i = 3; i < n; ++i) {
      if (cost(0, i) < cost(0, first)) {
        second = first;
        first = i;
      } else if (cost(0, i) < cost(0, second))
        second = i;
    }
    sum += cost(0, first) + cost(0, second);
    degree[0] = 2;
    ++degree[first];
    ++degree[second];
    double bound = sum, norm = 0;
    for (std::size_t i = 0; i < n; ++i) {
      bound -= 2 * weight[i];
      norm += (degree[i] - 2) * (degree[i] - 2);
    }
    if (bound > best) {
      best = bound;
      idle = 0;
    } else if (++idle == 5) {
      scale /= 2;
      idle = 0;
    }
    if (norm == 0) break;
    const double length = scale * (upper - bound) / norm;
    for (std::size_t i = 0; i < n; ++i) weight[i] += length * (degree[i] - 2);
  }
  return best;
}

}  // namespace teasel
