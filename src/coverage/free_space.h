// Largest empty circles among segments with a radius and a clearance each, near something that must be reached.
#pragma once
#include <functional>
#include <map>
#include <memory>
#include <optional>
#include <vector>

#include "teasel/box_index.h"
#include "teasel/geometry.h"

namespace teasel {

/// All points within `radius` of a segment; a circle must keep `clear` away from it.
struct Solid {
  Point a, b;
  double radius = 0, clear = 0;
  int owner = -1;             ///< whom it does not disturb
  bool centre_only = false;   ///< what keeps away is the circle's middle, however large it is
  [[nodiscard]] bool is_of(int who) const { return owner == who && who >= 0; }
};

struct FreePlace {
  Point at;
  double radius{};            ///< of the largest circle there, clearances kept; at most the limit of the search
  double distance{};          ///< from its middle to what must be reached
};

/// Distances have slope one, so a square's middle bounds what all of it can hold: branch and bound, then the circle is pushed
/// against the solids that hold it until it touches three (or two, facing) of them, to within 1e-9 mm. A place elsewhere whose
/// circle is larger by less than 0.005 mm is not looked for.
class FreeSpace {
 public:
  /// `inside(p, owner)`: p lies inside something solid that is not the owner's.
  FreeSpace(std::vector<Solid> solids, double largest_radius, std::function<bool(Point, int)> inside);
  void add(const Solid& solid);   ///< a later one: an advised pad
  /// Largest circle about p that keeps all clearances; negative: by how much p is too near.
  [[nodiscard]] double room(Point p, int owner) const;
  /// The place nearest to `reach` where a circle of this radius fits, within 0.02 mm; nothing beyond `farthest`.
  [[nodiscard]] std::optional<FreePlace> nearest(const std::vector<Solid>& reach, int owner, double radius, double farthest) const;
  /// The largest circle whose middle lies within `farthest` of `reach`; nothing if no circle of `least` radius fits.
  [[nodiscard]] std::optional<FreePlace> largest(const std::vector<Solid>& reach, int owner, double least, double farthest) const;

 private:
  struct Cell;
  struct Search;
  using Ids = std::vector<std::uint32_t>;
  [[nodiscard]] double value(std::uint32_t id, Point p) const;
  /// A solid and the room it leaves about a square's middle.
  struct Seen {
    double room{};
    std::uint32_t id{};
    bool operator<(const Seen& o) const { return room != o.room ? room < o.room : id < o.id; }
  };
  [[nodiscard]] double value_to(std::uint32_t id, Point p) const;
  template <class F>
  void around(Point p, double most, const F& use) const;
  [[nodiscard]] const std::vector<Seen>& tile(int i, int j) const;
  FreePlace pushed(FreePlace p, const std::vector<Solid>& reach, int owner, double farthest) const;

  std::vector<Solid> solids_;
  double largest_;
  mutable std::map<std::pair<int, int>, std::vector<Seen>> tiles_;  ///< what lies about the squares of the common grid
  std::map<std::pair<int, int>, Ids> later_;                        ///< solids that came after the index was made
  std::unique_ptr<BoxIndex> index_;
  std::function<bool(Point, int)> inside_;
};

/// Distance from p to the nearest of them; they may be touched.
double distance_to(const std::vector<Solid>& solids, Point p);

}  // namespace teasel
