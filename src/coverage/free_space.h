// Largest empty circles among segments with a radius and a clearance each, near something that must be reached.
#pragma once
#include <cmath>
#include <functional>
#include <map>
#include <memory>
#include <memory_resource>
#include <optional>
#include <vector>

#include "teasel/board/ids.h"
#include "teasel/box_index.h"
#include "teasel/geometry.h"

namespace teasel {

/// All points within `radius` of a segment; a circle must keep `clear` away from it.
struct Solid {
  Point a{}, b{};
  double radius = 0, clear = 0;
  NetId owner{};             ///< the net that it does not disturb; none: it disturbs every net
  bool centre_only = false;  ///< what keeps away is the circle's middle, however large it is
  bool plane = false;        ///< would open for a guest that may stand in planes
};

/// For whom a place is looked for.
struct Guest {
  NetId net;  ///< owner of the solids that do not disturb it
  bool in_planes = false;
  [[nodiscard]] bool minds(const Solid& solid) const {
    return (solid.owner != net || !net) && !(solid.plane && in_planes);
  }
};

struct FreePlace {
  Point at;
  double radius{};    ///< of the largest circle there, clearances kept; at most the limit of the search
  double distance{};  ///< from its middle to what must be reached
};

/// Distances have slope one, so a square's middle bounds what all of it can hold: branch and bound, then the circle is
/// pushed against the solids that hold it until it touches three (or two, facing) of them, to within 1e-9 mm. A place
/// elsewhere whose circle is larger by less than 0.005 mm is not looked for.
class FreeSpace {
 public:
  /// `inside`: the point lies within something solid that the guest minds.
  FreeSpace(std::vector<Solid> solids, double largest_radius, std::function<bool(Point, const Guest&)> inside);
  void add(const Solid& solid);  ///< a later one: an advised pad
  /// Largest circle about p that keeps all clearances; negative: by how much p is too near.
  [[nodiscard]] double room(Point p, const Guest& guest) const;
  /// The place nearest to `reach` where a circle of this radius fits, within 0.02 mm; nothing beyond `farthest`.
  [[nodiscard]] std::optional<FreePlace> nearest(const std::vector<Solid>& reach, const Guest& guest, double radius,
                                                 double farthest) const;
  /// The largest circle whose middle lies within `farthest` of `reach`; nothing if no circle of `least` radius fits.
  [[nodiscard]] std::optional<FreePlace> largest(const std::vector<Solid>& reach, const Guest& guest, double least,
                                                 double farthest) const;

 private:
  struct Cell;
  struct Search;
  using Ids = std::vector<std::uint32_t>;
  [[nodiscard]] double value(std::uint32_t id, Point p) const;
  /// A solid and the room it leaves about a square's middle: a float not above it, for there are millions of them.
  struct Seen {
    Seen(double most, std::uint32_t solid) : room(static_cast<float>(most)), id(solid) {
      if (room > most) room = std::nextafter(room, -INFINITY);
    }
    float room;
    std::uint32_t id;
    bool operator<(const Seen& o) const { return room != o.room ? room < o.room : id < o.id; }
  };
  [[nodiscard]] double value_to(std::uint32_t id, Point p) const;
  template <class F>
  void around(Point p, double most, const F& use) const;
  using Tile = std::pmr::vector<Seen>;
  [[nodiscard]] const Tile& tile(int i, int j) const;
  FreePlace pushed(FreePlace p, const std::vector<Solid>& reach, const Guest& guest, double farthest) const;

  std::vector<Solid> solids_;
  double largest_;
  mutable std::pmr::monotonic_buffer_resource memory_;  ///< of the tiles: all of it goes at once
  mutable std::map<std::pair<int, int>, Tile> tiles_;   ///< what lies about the squares of the common grid
  std::map<std::pair<int, int>, Ids> later_;            ///< solids that came after the index was made
  std::unique_ptr<BoxIndex> index_;
  std::function<bool(Point, const Guest&)> inside_;
};

/// The edges of a ring, each like `like`. Arcs come as chains of short edges: a chain that stays within 0.004 mm of its
/// chord is one solid, thicker by what it strays.
void add_ring(std::vector<Solid>& solids, const Ring& ring, const Solid& like);

/// Distance from p to the nearest of them; they may be touched.
double distance_to(const std::vector<Solid>& solids, Point p);

}  // namespace teasel
