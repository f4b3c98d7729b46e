// Places of labels on a drawing, so that no two of them lie over one another.
#pragma once
#include <cmath>
#include <map>
#include <optional>
#include <vector>

#include "teasel/geometry.h"

namespace teasel {

/// Room on a sheet, Y down.
class LabelRoom {
 public:
  /// Nothing is written here.
  void keep_clear(const Box& box) { take(box); }
  /// The left end of the base line of a text beside a round thing, and takes its room: next to it first, then farther
  /// out, no farther than `reach`. Nothing: there is no room.
  std::optional<Point> place(Point centre, double radius, std::size_t letters, double size, double reach) {
    constexpr double kAdvance = 0.62, kGap = 0.25;  // of a letter's height; mm
    const double width = kAdvance * size * static_cast<double>(letters), height = 0.8 * size;
    const double step = std::max(0.8, size / 2);
    for (int ring = 0; ring <= static_cast<int>(reach / step + 1e-9); ++ring)
      for (const Point way : {Point{1, -1}, {1, 1}, {-1, -1}, {-1, 1}, {1, 0}, {-1, 0}, {0, -1}, {0, 1}}) {
        const double away = radius + kGap + ring * step, long_way = std::hypot(way.x, way.y),
                     x = centre.x + way.x / long_way * away, y = centre.y + way.y / long_way * away;
        const double left = way.x > 0   ? x
                            : way.x < 0 ? x - width
                                        : x - width / 2,
                     top = way.y > 0   ? y
                           : way.y < 0 ? y - height
                                       : y - height / 2;
        const Box box{left, top, left + width, top + height};
        if (!is_free(box)) continue;
        take(box);
        return Point{left, top + height};
      }
    return std::nullopt;
  }

 private:
  static constexpr double kCell = 8;  // mm
  using Cell = std::pair<long, long>;
  template <class Use>
  static void each_cell(const Box& box, Use use) {
    for (long x = std::lround(std::floor(box.x0 / kCell)); x <= std::lround(std::floor(box.x1 / kCell)); ++x)
      for (long y = std::lround(std::floor(box.y0 / kCell)); y <= std::lround(std::floor(box.y1 / kCell)); ++y)
        use(Cell{x, y});
  }
  void take(const Box& box) {
    each_cell(box, [&](Cell cell) { taken_[cell].push_back(box); });
  }
  [[nodiscard]] bool is_free(const Box& box) const {
    bool free = true;
    each_cell(box, [&](Cell cell) {
      if (const auto found = taken_.find(cell); found != taken_.end())
        for (const Box& other : found->second)
          free = free && (other.x0 >= box.x1 || other.x1 <= box.x0 || other.y0 >= box.y1 || other.y1 <= box.y0);
    });
    return free;
  }
  std::map<Cell, std::vector<Box>> taken_;
};

}  // namespace teasel
