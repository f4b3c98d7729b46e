#include "teasel/tour.h"

#include <array>
#include <cstdint>
#include <numeric>

namespace teasel {

namespace {
using Index = std::uint32_t;  // of a point, or of a place in the tour

constexpr std::size_t kNeighbours = 8;

/// Finds the nearest few of every point, nearest first. Points are kept in cells of about two points each.
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
      cells_[index(column(points[i].x), row(points[i].y))].push_back(static_cast<Index>(i));
  }

  std::vector<Index> of(std::size_t i, std::size_t most) const {
    std::vector<std::pair<double, Index>> found;
    const int cx = column(points_[i].x), cy = row(points_[i].y);
    for (int ring = 0; ring <= std::max(nx_, ny_); ++ring) {
      // Points beyond this ring are at least this far away.
      if (found.size() >= most) {
        std::sort(found.begin(), found.end());
        if (found[most - 1].first <= (ring - 1) * cell_) break;
      }
      for (int y = cy - ring; y <= cy + ring; ++y)
        for (int x = cx - ring; x <= cx + ring; x += std::abs(y - cy) == ring ? 1 : std::max(1, 2 * ring)) {
          if (x < 0 || y < 0 || x >= nx_ || y >= ny_) continue;
          for (const Index other : cells_[index(x, y)])
            if (other != i) found.emplace_back(distance(points_[i], points_[other]), other);
        }
    }
    std::sort(found.begin(), found.end());
    std::vector<Index> out;
    for (std::size_t k = 0; k < std::min(most, found.size()); ++k) out.push_back(found[k].second);
    return out;
  }

  /// A first tour: the rows of cells, to and fro.
  std::vector<Index> to_and_fro() const {
    std::vector<Index> out;
    for (int y = 0; y < ny_; ++y)
      for (int k = 0; k < nx_; ++k)
        for (const Index point : cells_[index(y % 2 ? nx_ - 1 - k : k, y)]) out.push_back(point);
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
  std::vector<std::vector<Index>> cells_;
};

/// A tour as an array, with the place of each point beside it. Every change is a reversal, so that it can be undone.
class Tour {
 public:
  explicit Tour(const std::vector<Point>& points) : points_(points), count_(static_cast<Index>(points.size())) {
    const Neighbours near(points);
    order_ = near.to_and_fro();
    place_.resize(order_.size());
    for (Index k = 0; k < count_; ++k) place_[order_[k]] = k;
    for (std::size_t i = 0; i < points.size(); ++i) {
      auto list = near.of(i, kNeighbours);
      list.resize(std::min<std::size_t>(kNeighbours, count_ - 1), list.empty() ? 0 : list.back());
      near_.push_back(std::move(list));
    }
    queued_.assign(order_.size(), 1);
    for (const Index point : order_) queue_.push_back(point);
    settle();
  }

  /// Tries a double bridge over a short stretch, settles the tour, and undoes all of it unless the tour became shorter.
  void kick(std::uint64_t random) {
    if (count_ < 8) return;
    const Index span = std::min<Index>(50, count_ - 1), first = static_cast<Index>(random % count_);
    std::array<Index, 3> cut{};
    for (Index& offset : cut) {
      random = random * 6364136223846793005ULL + 1442695040888963407ULL;
      offset = 1 + static_cast<Index>((random >> 33) % span);
    }
    std::sort(cut.begin(), cut.end());
    if (cut[0] == cut[1] || cut[1] == cut[2]) return;
    done_.clear();
    gain_ = 0;
    recording_ = true;
    // a|B|C|d becomes a|C|B|d: the stretch B C is reversed, then each part is reversed back.
    auto at_offset = [&](Index offset) { return order_[(first + offset) % count_]; };
    auto place = [&](Index offset) { return (first + offset) % count_; };
    const double before = edge(at_offset(cut[0] - 1), at_offset(cut[0])) +
                          edge(at_offset(cut[1] - 1), at_offset(cut[1])) +
                          edge(at_offset(cut[2] - 1), at_offset(cut[2]));
    reverse(place(cut[0]), place(cut[2] - 1));
    const Index second = cut[0] + (cut[2] - cut[1]);
    reverse(place(cut[0]), place(second - 1));
    reverse(place(second), place(cut[2] - 1));
    const double after = edge(at_offset(cut[0] - 1), at_offset(cut[0])) +
                         edge(at_offset(second - 1), at_offset(second)) +
                         edge(at_offset(cut[2] - 1), at_offset(cut[2]));
    gain_ = before - after;
    for (const Index offset : {cut[0], second, cut[2]}) {
      wake(at_offset(offset));
      wake(at_offset(offset - 1));
    }
    settle();
    recording_ = false;
    if (gain_ > 1e-12) return;
    for (std::size_t k = done_.size(); k-- > 0;) reverse(done_[k].i, done_[k].j, done_[k].in_place);
  }

  const std::vector<Index>& order() const { return order_; }

 private:
  double edge(Index a, Index b) const { return distance(points_[a], points_[b]); }
  Index next(Index point) const { return order_[place_[point] + 1 == count_ ? 0 : place_[point] + 1]; }
  Index before(Index point) const { return order_[place_[point] == 0 ? count_ - 1 : place_[point] - 1]; }
  /// How many places lie between two places, counted in the tour's direction.
  Index ahead(Index from, Index to) const { return (to + count_ - from) % count_; }
  void wake(Index point) {
    if (!queued_[point]) {
      queued_[point] = 1;
      queue_.push_back(point);
    }
  }

  /// Reverses the places i to j, round the end if need be. Reversing all other places makes the same tour in the other
  /// direction: that is done instead where it is less work and the caller does not count on the places.
  void reverse(Index i, Index j, bool in_place = true) {
    if (recording_) done_.push_back({i, j, in_place});
    Index count = ahead(i, j) + 1;
    if (!in_place && 2 * count > count_) {
      std::swap(i, j);
      i = (i + 1) % count_;
      j = (j + count_ - 1) % count_;
      count = count_ - count;
    }
    for (Index k = 0; k < count / 2; ++k) {
      std::swap(order_[i], order_[j]);
      place_[order_[i]] = i;
      place_[order_[j]] = j;
      i = i + 1 == count_ ? 0 : i + 1;
      j = j == 0 ? count_ - 1 : j - 1;
    }
  }

  /// Joins `here` to a near point by one reversal, if that shortens the tour.
  bool turn(Index here) {
    for (const bool forward : {true, false}) {
      const Index here_next = forward ? next(here) : before(here);
      const double old = edge(here, here_next);
      for (const Index near : near_[here]) {
        const double joined = edge(here, near);
        if (joined >= old) break;
        const Index near_next = forward ? next(near) : before(near);
        if (near == here_next || near_next == here) continue;
        const double gain = old + edge(near, near_next) - joined - edge(here_next, near_next);
        if (gain <= 1e-10) continue;
        if (forward)
          reverse(place_[here_next], place_[near], false);
        else
          reverse(place_[near], place_[here_next], false);
        gain_ += gain;
        for (const Index point : {here, here_next, near, near_next}) wake(point);
        return true;
      }
    }
    return false;
  }

  /// Moves one to three points, `here` at one end of them, between a near point and its neighbour, if that shortens the
  /// tour. It takes three reversals.
  bool move(Index here) {
    for (Index count = 1; count <= 3 && count + 3 <= count_; ++count)
      for (const bool forward : {true, false}) {
        Index first = here, last = here;
        for (Index k = 1; k < count; ++k) (forward ? last : first) = forward ? next(last) : before(first);
        const Index ahead_of_it = before(first), behind_it = next(last), far = forward ? last : first;
        const double out = edge(ahead_of_it, first) + edge(last, behind_it) - edge(ahead_of_it, behind_it);
        if (out <= 1e-10) continue;
        for (const Index near : near_[here]) {
          const double joined = edge(here, near);
          if (joined >= out) break;
          if (ahead(place_[first], place_[near]) < count) continue;  // it is one of those that would move
          for (const Index beside : {next(near), before(near)}) {
            if (ahead(place_[first], place_[beside]) < count) continue;
            const double gain = out + edge(near, beside) - joined - edge(far, beside);
            if (gain <= 1e-10) continue;
            insert({first, last}, near, beside, here);
            gain_ += gain;
            for (const Index point : {ahead_of_it, behind_it, first, last, near, beside}) wake(point);
            return true;
          }
        }
      }
    return false;
  }

  struct Stretch {
    Index first, last;
  };
  /// Puts a stretch between `near` and `beside`, with its end `here` next to `near`.
  void insert(Stretch stretch, Index near, Index beside, Index here) {
    const Index left = next(near) == beside ? near : beside;  // the gap's first point in the tour's direction
    const Index i = place_[stretch.first], j = place_[stretch.last];
    // Swap the stretch with what lies between it and the gap, on the shorter way round.
    if (ahead(i, place_[left]) < ahead(place_[left], i)) {
      const Index end = place_[left];  // first..last x..left  ->  x..left first..last
      reverse(i, end);
      const Index rest = ahead(j, end);
      reverse(i, (i + rest - 1) % count_);
      if (place_[stretch.first] != (i + rest) % count_) reverse((i + rest) % count_, end);
    } else {
      const Index begin = place_[next(left)];  // right..x first..last  ->  first..last right..x
      reverse(begin, j);
      const Index count = ahead(i, j) + 1;
      reverse((begin + count) % count_, j);
      if (place_[stretch.first] != begin) reverse(begin, (begin + count - 1) % count_);
    }
    // The stretch now stands in the gap, in the tour's direction or against it.
    if (next(near) != here && before(near) != here) {
      const Index a = place_[stretch.first], b = place_[stretch.last];
      if (ahead(a, b) <= 2)
        reverse(a, b);
      else
        reverse(b, a);
    }
  }

  void settle() {
    for (std::size_t k = 0; k < queue_.size(); ++k) {
      const Index point = queue_[k];
      queued_[point] = 0;
      while (turn(point) || move(point)) {}
    }
    queue_.clear();
  }

  const std::vector<Point>& points_;
  Index count_;
  std::vector<Index> order_, place_;
  std::vector<std::vector<Index>> near_;
  std::vector<char> queued_;
  std::vector<Index> queue_;
  struct Reversal {
    Index i, j;
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
  for (std::size_t k = 0; k < out.size(); ++k) out[k] = tour.order()[k];
  return out;
}

std::vector<std::size_t> open_way(const std::vector<Point>& points, Point from) {
  std::vector<std::size_t> tour = closed_tour(points);
  const std::size_t count = tour.size();
  if (count < 2) return tour;
  // The tour is cut before some place, and run onwards or backwards from there. The cut edge is saved, and the way from
  // the start to the first point is added.
  double best = std::numeric_limits<double>::infinity();
  std::size_t start = 0;
  bool backwards = false;
  for (std::size_t k = 0; k < count; ++k) {
    const Point here = points[tour[k]], last = points[tour[(k + count - 1) % count]];
    const double cut = distance(last, here);
    if (const double added = distance(from, here) - cut; added < best - 1e-12) {
      best = added;
      start = k;
      backwards = false;
    }
    if (const double added = distance(from, last) - cut; added < best - 1e-12) {
      best = added;
      start = (k + count - 1) % count;
      backwards = true;
    }
  }
  std::vector<std::size_t> out;
  for (std::size_t k = 0; k < count; ++k) out.push_back(tour[(backwards ? start + count - k : start + k) % count]);
  return out;
}

double tour_length(const std::vector<Point>& points, const std::vector<std::size_t>& order, bool closed) {
  double sum = 0;
  for (std::size_t k = 0; k + 1 < order.size(); ++k) sum += distance(points[order[k]], points[order[k + 1]]);
  if (closed && order.size() > 1) sum += distance(points[order.back()], points[order.front()]);
  return sum;
}

namespace {
/// The cheapest one-tree: a least spanning tree of all points but the first (Prim), and the two cheapest edges of the
/// first point. Each edge costs its length and the weights of its ends.
struct OneTree {
  double cost = 0;
  std::vector<int> degree;
};
OneTree cheapest_one_tree(const std::vector<Point>& points, const std::vector<double>& weight) {
  const std::size_t count = points.size();
  auto cost = [&](std::size_t a, std::size_t b) { return distance(points[a], points[b]) + weight[a] + weight[b]; };
  OneTree tree{0, std::vector<int>(count)};
  std::vector<double> best_to(count);
  std::vector<std::size_t> parent(count);
  std::vector<char> in(count);
  in[1] = 1;
  for (std::size_t i = 2; i < count; ++i) {
    best_to[i] = cost(1, i);
    parent[i] = 1;
  }
  for (std::size_t k = 2; k < count; ++k) {
    std::size_t least = 0;
    for (std::size_t i = 2; i < count; ++i)
      if (!in[i] && (least == 0 || best_to[i] < best_to[least])) least = i;
    in[least] = 1;
    tree.cost += best_to[least];
    ++tree.degree[least];
    ++tree.degree[parent[least]];
    for (std::size_t i = 2; i < count; ++i)
      if (!in[i])
        if (const double edge = cost(least, i); edge < best_to[i]) {
          best_to[i] = edge;
          parent[i] = least;
        }
  }
  std::size_t first = 1, second = 2;
  if (cost(0, second) < cost(0, first)) std::swap(first, second);
  for (std::size_t i = 3; i < count; ++i) {
    if (cost(0, i) < cost(0, first)) {
      second = first;
      first = i;
    } else if (cost(0, i) < cost(0, second))
      second = i;
  }
  tree.cost += cost(0, first) + cost(0, second);
  tree.degree[0] = 2;
  ++tree.degree[first];
  ++tree.degree[second];
  return tree;
}
}  // namespace

double tour_bound(const std::vector<Point>& points, int steps) {
  const std::size_t count = points.size();
  if (count < 3) return count == 2 ? 2 * distance(points[0], points[1]) : 0;
  const double upper = tour_length(points, closed_tour(points), true);
  std::vector<double> weight(count, 0.0);
  double best = 0, scale = 2;
  int idle = 0;
  for (int step = 0; step < steps; ++step) {
    const auto [cost, degree] = cheapest_one_tree(points, weight);
    double bound = cost, norm = 0;
    for (std::size_t i = 0; i < count; ++i) {
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
    for (std::size_t i = 0; i < count; ++i) weight[i] += length * (degree[i] - 2);
  }
  return best;
}

}  // namespace teasel
