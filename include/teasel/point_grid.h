// Buckets of points for "which is the nearest within r". Millimetres, the frame of their owner.
#pragma once
#include <cmath>
#include <unordered_map>
#include <vector>

#include "teasel/geometry.h"

namespace teasel {

class PointGrid {
 public:
  explicit PointGrid(double cell) : cell_(cell) {}
  void add(Point p, int id) { cells_[key(cell(p.x), cell(p.y))].push_back({p, id}); }
  /// Nearest id within r (r at most the cell size); -1 if none. Ties go to the smaller id.
  int nearest(Point p, double r) const {
    return nearest(p, r, [](int) { return true; });
  }
  /// The same among the ids that are wanted.
  template <class Wanted>
  int nearest(Point p, double r, Wanted wanted) const {
    int best = -1;
    double bd = r;
    each(p, [&](const Entry& e) {
      const double d = distance(e.at, p);
      if ((d < bd || (d <= bd && (best < 0 || e.id < best))) && wanted(e.id)) {
        bd = d;
        best = e.id;
      }
    });
    return best;
  }
  /// All ids of the nine cells around p: everything within a cell's size.
  std::vector<std::size_t> around(Point p) const {
    std::vector<std::size_t> ids;
    each(p, [&](const Entry& e) { ids.push_back(static_cast<std::size_t>(e.id)); });
    return ids;
  }

 private:
  struct Entry {
    Point at;
    int id;
  };
  template <class Do>
  void each(Point p, Do act) const {
    const long long cx = cell(p.x), cy = cell(p.y);
    for (long long dx = -1; dx <= 1; ++dx)
      for (long long dy = -1; dy <= 1; ++dy)
        if (auto it = cells_.find(key(cx + dx, cy + dy)); it != cells_.end())
          for (const Entry& e : it->second) act(e);
  }
  long long cell(double v) const { return static_cast<long long>(std::floor(v / cell_)); }
  static long long key(long long cx, long long cy) { return cx * 4'000'037LL + cy; }
  double cell_;
  std::unordered_map<long long, std::vector<Entry>> cells_;
};

}  // namespace teasel
