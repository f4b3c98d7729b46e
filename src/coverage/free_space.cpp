#include "free_space.h"

#include <algorithm>
#include <queue>
#include <span>

namespace teasel {

namespace {
constexpr double kTile = 2.0;   // mm; where the search begins
constexpr double kNear = 0.02;  // mm; of the nearest place
constexpr double kFlat =
    0.004;  // mm; half side of squares that are pushed from, not split: along a ridge all of them are alike
constexpr double kGain = 0.005;  // mm; nobody looks for a circle that is larger by less
constexpr int kNoTile = -1'000'000;
constexpr double kBent = 0.004;  // mm; less than the gain that nobody looks for
constexpr std::size_t kMostInChain = 40;
constexpr std::size_t kMostCells = 60'000;  // of one search; beyond, what was found so far counts

Box box_of(const Solid& solid) {
  Box box;
  box.add(solid.a);
  box.add(solid.b);
  return box.grown(solid.radius);
}
int tile_of(double coordinate) {
  return static_cast<int>(std::floor(coordinate / kTile));
}
Point middle(int i, int j) {
  return {(i + 0.5) * kTile, (j + 0.5) * kTile};
}
/// Distance from a point to the surface of a solid. It is written out here because most of the time is spent in it.
inline double to(const Solid& solid, Point point) {
  const double dx = solid.b.x - solid.a.x, dy = solid.b.y - solid.a.y, px = point.x - solid.a.x,
               py = point.y - solid.a.y;
  const double along = px * dx + py * dy, whole = dx * dx + dy * dy;
  double t = 0;
  if (along > 0) t = along >= whole ? 1 : along / whole;
  const double x = px - t * dx, y = py - t * dy;
  return std::sqrt(x * x + y * y) - solid.radius;
}
/// The nearest part of what must be reached.
struct Foot {
  double distance = 1e18;  ///< negative inside
  Point at;
};
Foot foot_of(const std::vector<Solid>& reach, Point point) {
  Foot foot;
  for (const Solid& solid : reach)
    if (const double away = to(solid, point); away < foot.distance)
      foot = {away, nearest_on_segment(point, solid.a, solid.b)};
  return foot;
}
/// The point, moved towards what must be reached until it lies `farthest` less `slack` away from it.
Point back_in(const std::vector<Solid>& reach, Point point, double farthest, double slack) {
  const Foot foot = foot_of(reach, point);
  const double away = distance(foot.at, point);
  return away > 0 ? point + ((foot.distance - farthest + slack) / away) * (foot.at - point) : point;
}
}  // namespace

void add_ring(std::vector<Solid>& solids, const Ring& ring, const Solid& like) {
  for (std::size_t i = 0; i < ring.size();) {
    std::size_t last = i + 1;
    double stray = 0;
    for (; last < ring.size() && last - i < kMostInChain; ++last) {
      const Point to = ring[(last + 1) % ring.size()];
      double most = 0;
      for (std::size_t k = i + 1; k <= last && most <= kBent; ++k)
        most = std::max(most, distance(ring[k], nearest_on_segment(ring[k], ring[i], to)));
      if (most > kBent) break;
      stray = most;
    }
    Solid solid = like;
    solid.a = ring[i];
    solid.b = ring[last % ring.size()];
    solid.radius += stray;
    solids.push_back(solid);
    i = last;
  }
}

double distance_to(const std::vector<Solid>& solids, Point point) {
  return std::max(0.0, foot_of(solids, point).distance);
}

FreeSpace::FreeSpace(std::vector<Solid> solids, double largest_radius, std::function<bool(Point, const Guest&)> inside)
    : solids_(std::move(solids)), largest_(largest_radius), inside_(std::move(inside)) {
  std::vector<Box> boxes;
  boxes.reserve(solids_.size());
  for (const Solid& solid : solids_) boxes.push_back(box_of(solid).grown(solid.clear));
  index_ = std::make_unique<BoxIndex>(std::move(boxes));
}

void FreeSpace::add(const Solid& solid) {
  const auto id = static_cast<std::uint32_t>(solids_.size());
  solids_.push_back(solid);
  const Box window = box_of(solid).grown(solid.clear + largest_);
  for (int i = tile_of(window.x0); i <= tile_of(window.x1); ++i)
    for (int j = tile_of(window.y0); j <= tile_of(window.y1); ++j) {
      later_[{i, j}].push_back(id);
      if (const auto it = tiles_.find({i, j}); it != tiles_.end()) {
        const Seen seen(value_to(id, middle(i, j)), id);
        it->second.insert(std::upper_bound(it->second.begin(), it->second.end(), seen), seen);
      }
    }
}

double FreeSpace::value_to(std::uint32_t id, Point point) const {
  return to(solids_[id], point) - solids_[id].clear;
}

/// How large a circle about the point a solid allows. A solid that only keeps the middle away allows any size, or none.
double FreeSpace::value(std::uint32_t id, Point point) const {
  const double room = value_to(id, point);
  return solids_[id].centre_only && room >= 0 ? 1e18 : room;
}

/// Visits whatever may leave less than `most` room about the point, roughly nearest first. `use` returns how much room
/// still counts.
template <class F>
void FreeSpace::around(Point point, double most, const F& use) const {
  const int i = tile_of(point.x), j = tile_of(point.y);
  const double off = distance(point, middle(i, j));
  for (const Seen& seen : tile(i, j)) {
    if (seen.room > most + off) break;
    most = use(seen.id);
  }
}

double FreeSpace::room(Point point, const Guest& guest) const {
  double radius = largest_;
  around(point, radius, [&](std::uint32_t id) {
    if (guest.minds(solids_[id])) radius = std::min(radius, value(id, point));
    return radius;
  });
  return inside_ && inside_(point, guest) ? -std::abs(radius) : radius;
}

/// What lies about a square of the common grid, in the order of the room it leaves about the middle.
const FreeSpace::Tile& FreeSpace::tile(int i, int j) const {
  auto [it, fresh] = tiles_.try_emplace({i, j}, &memory_);
  if (fresh) {
    Ids ids;
    index_->find(Box{i * kTile, j * kTile, (i + 1) * kTile, (j + 1) * kTile}.grown(largest_), ids);
    if (const auto later = later_.find({i, j}); later != later_.end())
      ids.insert(ids.end(), later->second.begin(), later->second.end());
    it->second.reserve(ids.size());
    for (const std::uint32_t id : ids) it->second.emplace_back(value_to(id, middle(i, j)), id);
    std::sort(it->second.begin(), it->second.end());
  }
  return it->second;
}

struct FreeSpace::Cell {
  Point centre;
  double half{};               ///< half its side
  int i = kNoTile, j{};        ///< of a square of the common grid
  const Tile* tile = nullptr;  ///< instead of `seen`
  double room{}, own{}, key{};
  double most{};           ///< no circle about any of its points is larger
  std::vector<Seen> seen;  ///< solids that can be the nearest somewhere inside, by the room they leave about the middle
  Ids near;                ///< parts of `reach` that can
  bool operator<(const Cell& other) const { return key > other.key; }
};

struct FreeSpace::Search {
  const FreeSpace& space;
  const std::vector<Solid>& reach;
  Guest guest;
  double farthest;
  double wanted;                    ///< radius that is asked for; it grows with what is found
  std::vector<double> distances{};  ///< of one square, kept for its memory

  /// Fills `room`, `own` and the shortened lists from those of the square around it. False if no circle of radius
  /// `wanted` has its middle in the square, or none within `farthest` of the reach.
  bool measure(Cell& cell, const Cell& around) {
    const double diagonal = cell.half * std::sqrt(2.0);
    cell.own = 1e18;
    distances.clear();
    for (const std::uint32_t id : around.near) {
      distances.push_back(std::max(0.0, to(reach[id], cell.centre)));
      cell.own = std::min(cell.own, distances.back());
    }
    if (cell.own - diagonal > farthest) return false;
    // A solid that only keeps the middle away has no slope. It forbids the whole square, or does not limit the circle.
    double radius = space.largest_, away = 1e18;
    const std::span<const Seen> all =
        around.tile ? std::span<const Seen>(*around.tile) : std::span<const Seen>(around.seen);
    for (const Seen& seen : all) {
      // The list is in order, so nothing further on can be nearer. The two middles are half a diagonal of the larger
      // square apart.
      if (seen.room - diagonal > std::max(radius, 0.0) + 2 * diagonal) break;
      const Solid& solid = space.solids_[seen.id];
      if (!guest.minds(solid)) continue;
      const double room = to(solid, cell.centre) - solid.clear;
      double& limit = solid.centre_only ? away : radius;
      limit = std::min(limit, room);
      if (radius + diagonal < wanted || away + diagonal < 0) return false;
      if (room <= (solid.centre_only ? 2 * diagonal : std::max(radius, 0.0) + 2 * diagonal))
        cell.seen.emplace_back(room, seen.id);
    }
    std::sort(cell.seen.begin(), cell.seen.end());
    for (std::size_t i = 0; i < around.near.size(); ++i)
      if (distances[i] <= cell.own + 2 * diagonal) cell.near.push_back(around.near[i]);
    return bound(cell, radius, away);
  }
  bool bound(Cell& cell, double radius, double away) const {
    const double diagonal = cell.half * std::sqrt(2.0);
    // A middle inside a solid bounds the circle by its distance to the edge, counted as negative room.
    if (space.inside_ && space.inside_(cell.centre, guest)) radius = -std::abs(radius);
    cell.most = std::min(space.largest_, radius + diagonal);
    cell.room = away < 0 ? std::min(away, radius) : radius;
    return cell.most >= wanted;
  }

  /// The squares of the common grid that can be near enough. Only their distance is known so far.
  std::vector<Cell> tiles() const {
    Box all;
    for (const Solid& solid : reach) all.add(box_of(solid));
    all = all.grown(farthest);
    const int i0 = tile_of(all.x0), i1 = tile_of(all.x1), j0 = tile_of(all.y0), j1 = tile_of(all.y1);
    std::vector<Box> boxes;
    for (const Solid& solid : reach) boxes.push_back(box_of(solid));
    const BoxIndex index(boxes);
    std::vector<Cell> out;
    Ids near;
    for (int i = i0; i <= i1; ++i)
      for (int j = j0; j <= j1; ++j) {
        Cell cell;
        cell.i = i;
        cell.j = j;
        cell.centre = middle(i, j);
        cell.half = kTile / 2;
        cell.own = 1e18;
        index.find(Box{cell.centre.x, cell.centre.y, cell.centre.x, cell.centre.y}.grown(farthest +
                                                                                         cell.half * std::sqrt(2.0)),
                   near);
        for (const std::uint32_t id : near) cell.own = std::min(cell.own, std::max(0.0, to(reach[id], cell.centre)));
        if (cell.own - cell.half * std::sqrt(2.0) > farthest) continue;
        cell.near = near;
        out.push_back(std::move(cell));
      }
    return out;
  }
  /// Does what measure() does, for a square of tiles(). Its neighbourhood is already sorted, from an earlier search.
  bool look(Cell& cell) {
    const double diagonal = cell.half * std::sqrt(2.0);
    cell.tile = &space.tile(cell.i, cell.j);
    double radius = space.largest_, away = 1e18;
    for (const Seen& seen : *cell.tile) {
      if (seen.room >= std::max(radius, 0.0)) break;
      const Solid& solid = space.solids_[seen.id];
      if (!guest.minds(solid)) continue;
      double& limit = solid.centre_only ? away : radius;
      limit = std::min(limit, to(solid, cell.centre) - solid.clear);
      if (radius + diagonal < wanted || away + diagonal < 0) return false;
    }
    return bound(cell, radius, away);
  }
  template <class F>
  void split(const Cell& cell, const F& use) {
    for (const Point way : {Point{-1, -1}, {1, -1}, {-1, 1}, {1, 1}}) {
      Cell part;
      part.half = cell.half / 2;
      part.centre = cell.centre + part.half * way;
      if (measure(part, cell)) use(std::move(part));
    }
  }
};

std::optional<FreePlace> FreeSpace::nearest(const std::vector<Solid>& reach, const Guest& guest, double radius,
                                            double farthest) const {
  if (reach.empty()) return std::nullopt;
  Search search{*this, reach, guest, farthest, radius};
  std::priority_queue<Cell> queue;
  std::optional<FreePlace> best;
  auto offer = [&](Cell&& cell) {
    const double diagonal = cell.half * std::sqrt(2.0);
    cell.key = std::max(0.0, cell.own - diagonal);
    if (cell.most < radius || cell.key > farthest) return;
    if (cell.room >= radius && cell.own <= farthest && (!best || cell.own < best->distance - 1e-9))
      best = FreePlace{cell.centre, cell.room, cell.own};
    if (!best || cell.key < best->distance - kNear) queue.push(std::move(cell));
  };
  for (Cell& cell : search.tiles()) {
    cell.key = std::max(0.0, cell.own - cell.half * std::sqrt(2.0));
    queue.push(std::move(cell));
  }
  for (std::size_t round = 0; !queue.empty() && round < kMostCells; ++round) {
    Cell cell = queue.top();
    queue.pop();
    if (best && cell.key >= best->distance - kNear) break;
    if (cell.i != kNoTile && !cell.tile) {
      if (search.look(cell)) offer(std::move(cell));
      continue;
    }
    if (cell.half < 0.008) continue;
    search.split(cell, offer);
  }
  return best;
}

std::optional<FreePlace> FreeSpace::largest(const std::vector<Solid>& reach, const Guest& guest, double least,
                                            double farthest) const {
  if (reach.empty()) return std::nullopt;
  Search search{*this, reach, guest, farthest, least};
  std::priority_queue<Cell> queue;
  std::optional<FreePlace> best;
  auto take = [&](const Cell& cell) {
    if (cell.room < least || cell.own > farthest || (best && cell.room <= best->radius + 1e-9)) return;
    best = pushed({cell.centre, cell.room, cell.own}, reach, guest, farthest);
    search.wanted = best->radius;
  };
  auto offer = [&](Cell&& cell) {
    const double diagonal = cell.half * std::sqrt(2.0);
    cell.key = -cell.most;
    if (cell.most < least || cell.own - diagonal > farthest) return;
    take(cell);
    if (best && cell.most <= best->radius + kGain) return;
    if (cell.half > kFlat) return queue.push(std::move(cell));
    // All squares along a ridge look alike. Pushing the circle along the ridge finds its end at once.
    const Point from = cell.own > farthest ? back_in(reach, cell.centre, farthest, 1e-9) : cell.centre;
    if (const double radius = room(from, guest); radius > 0) {
      const FreePlace place = pushed({from, radius, distance_to(reach, from)}, reach, guest, farthest);
      if (place.radius >= least && place.distance <= farthest && (!best || place.radius > best->radius + 1e-9)) {
        best = place;
        search.wanted = place.radius;
      }
    }
  };
  for (Cell& cell : search.tiles())
    if (search.look(cell)) offer(std::move(cell));
  for (std::size_t round = 0; !queue.empty() && round < kMostCells; ++round) {
    const Cell cell = queue.top();
    queue.pop();
    if (best && -cell.key <= best->radius + kGain) break;
    search.split(cell, offer);
  }
  return best;
}

namespace {
/// nx dx + ny dy + nr r >= c
struct Line {
  double nx, ny, nr, c;
};

/// The step (dx, dy) that all lines allow and that leads to the largest r, by trying every three of them. No step if
/// none leads to a larger r than `best`.
Point best_move(const std::vector<Line>& lines, double best) {
  Point move{};
  for (std::size_t i = 0; i < lines.size(); ++i)
    for (std::size_t j = i + 1; j < lines.size(); ++j)
      for (std::size_t k = j + 1; k < lines.size(); ++k) {
        const Line &a = lines[i], &b = lines[j], &c = lines[k];
        const double det = a.nx * (b.ny * c.nr - b.nr * c.ny) - a.ny * (b.nx * c.nr - b.nr * c.nx) +
                           a.nr * (b.nx * c.ny - b.ny * c.nx);
        if (std::abs(det) < 1e-12) continue;
        const double x =
            (a.c * (b.ny * c.nr - b.nr * c.ny) - a.ny * (b.c * c.nr - b.nr * c.c) + a.nr * (b.c * c.ny - b.ny * c.c)) /
            det;
        const double y =
            (a.nx * (b.c * c.nr - b.nr * c.c) - a.c * (b.nx * c.nr - b.nr * c.nx) + a.nr * (b.nx * c.c - b.c * c.nx)) /
            det;
        const double radius =
            (a.nx * (b.ny * c.c - b.c * c.ny) - a.ny * (b.nx * c.c - b.c * c.nx) + a.c * (b.nx * c.ny - b.ny * c.nx)) /
            det;
        if (radius <= best + 1e-12) continue;
        if (std::all_of(lines.begin(), lines.end(), [&](const Line& line) {
              return line.nx * x + line.ny * y + line.nr * radius >= line.c - 1e-10;
            })) {
          best = radius;
          move = {x, y};
        }
      }
  return move;
}
}  // namespace

/// Sequential linear programming in (dx, dy, r). Each program has few constraints and is solved by trying every three.
FreePlace FreeSpace::pushed(FreePlace place, const std::vector<Solid>& reach, const Guest& guest,
                            double farthest) const {
  constexpr double kStep = 0.01, kFar = 0.1;
  double step = kStep;
  // The solids that can matter while the middle stays within kFar of the place where they were collected.
  Ids near;
  Point looked{1e18, 1e18};
  for (int round = 0; round < 60 && step > 1e-11; ++round) {
    if (distance(looked, place.at) > kFar) {
      near.clear();
      looked = place.at;
      const double most = place.radius + 3 * kStep + 2 * kFar;
      around(place.at, most, [&](std::uint32_t id) {
        if (guest.minds(solids_[id]) && value_to(id, place.at) <= most) near.push_back(id);
        return most;
      });
    }
    std::vector<Line> lines;
    for (const std::uint32_t id : near) {
      const Solid& solid = solids_[id];
      const double value = value_to(id, place.at), away = value + solid.radius + solid.clear;
      if (value > (solid.centre_only ? 2 * step : place.radius + 3 * step) || away < 1e-12) continue;
      const Point normal = (1 / away) * (place.at - nearest_on_segment(place.at, solid.a, solid.b));
      lines.push_back({normal.x, normal.y, solid.centre_only ? 0.0 : -1.0, -value});
    }
    std::sort(lines.begin(), lines.end(), [](const Line& x, const Line& y) { return x.c > y.c; });
    if (lines.size() > 14) lines.resize(14);
    // The middle must not leave the reach either. The nearest part of the reach holds it as a string would.
    const Foot foot = foot_of(reach, place.at);
    if (const double away = distance(foot.at, place.at); away > 1e-12 && farthest - foot.distance < 2 * step) {
      const Point outward = (1 / away) * (place.at - foot.at);
      lines.push_back({-outward.x, -outward.y, 0, std::max(foot.distance, 0.0) - farthest + 1e-12});
    }
    for (const double way : {1.0, -1.0}) {
      lines.push_back({way, 0, 0, -step});
      lines.push_back({0, way, 0, -step});
    }
    lines.push_back({0, 0, -1, -largest_});
    const Point move = best_move(lines, place.radius);
    Point to_there = place.at + move;
    double own = distance_to(reach, to_there);
    // The string is an arc and the step was straight, so the point is drawn back onto it.
    if (own > farthest && own < farthest + step) {
      to_there = back_in(reach, to_there, farthest, 1e-12);
      own = distance_to(reach, to_there);
    }
    const double there = room(to_there, guest);
    if (there > place.radius + 1e-12 && own <= farthest)
      place = {to_there, there, own};
    else
      step /= 4;
  }
  return place;
}

}  // namespace teasel
