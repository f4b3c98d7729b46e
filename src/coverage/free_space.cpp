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

Box box_of(const Solid& s) {
  Box b;
  b.add(s.a);
  b.add(s.b);
  return b.grown(s.radius);
}
int tile_of(double x) {
  return static_cast<int>(std::floor(x / kTile));
}
Point middle(int i, int j) {
  return {(i + 0.5) * kTile, (j + 0.5) * kTile};
}
/// As distance_to_segment less the radius, in line: most of the time goes here.
inline double to(const Solid& s, Point p) {
  const double dx = s.b.x - s.a.x, dy = s.b.y - s.a.y, px = p.x - s.a.x, py = p.y - s.a.y;
  const double along = px * dx + py * dy, whole = dx * dx + dy * dy;
  const double t = along <= 0 ? 0 : along >= whole ? 1 : along / whole;
  const double x = px - t * dx, y = py - t * dy;
  return std::sqrt(x * x + y * y) - s.radius;
}
/// The nearest part of what must be reached.
struct Foot {
  double distance = 1e18;  ///< negative inside
  Point at;
};
Foot foot_of(const std::vector<Solid>& reach, Point p) {
  Foot f;
  for (const Solid& s : reach)
    if (const double d = to(s, p); d < f.distance) f = {d, nearest_on_segment(p, s.a, s.b)};
  return f;
}
/// p, moved towards what must be reached until it lies `farthest` less `slack` away from it.
Point back_in(const std::vector<Solid>& reach, Point p, double farthest, double slack) {
  const Foot f = foot_of(reach, p);
  const double away = distance(f.at, p);
  return away > 0 ? p + ((f.distance - farthest + slack) / away) * (f.at - p) : p;
}
}  // namespace

void add_ring(std::vector<Solid>& solids, const Ring& r, const Solid& like) {
  for (std::size_t i = 0; i < r.size();) {
    std::size_t last = i + 1;
    double stray = 0;
    for (; last < r.size() && last - i < kMostInChain; ++last) {
      const Point to = r[(last + 1) % r.size()];
      double most = 0;
      for (std::size_t k = i + 1; k <= last && most <= kBent; ++k)
        most = std::max(most, distance(r[k], nearest_on_segment(r[k], r[i], to)));
      if (most > kBent) break;
      stray = most;
    }
    Solid s = like;
    s.a = r[i];
    s.b = r[last % r.size()];
    s.radius += stray;
    solids.push_back(s);
    i = last;
  }
}

double distance_to(const std::vector<Solid>& solids, Point p) {
  return std::max(0.0, foot_of(solids, p).distance);
}

FreeSpace::FreeSpace(std::vector<Solid> solids, double largest_radius, std::function<bool(Point, const Guest&)> inside)
    : solids_(std::move(solids)), largest_(largest_radius), inside_(std::move(inside)) {
  std::vector<Box> boxes;
  boxes.reserve(solids_.size());
  for (const Solid& s : solids_) boxes.push_back(box_of(s).grown(s.clear));
  index_ = std::make_unique<BoxIndex>(std::move(boxes));
}

void FreeSpace::add(const Solid& s) {
  const auto id = static_cast<std::uint32_t>(solids_.size());
  solids_.push_back(s);
  const Box w = box_of(s).grown(s.clear + largest_);
  for (int i = tile_of(w.x0); i <= tile_of(w.x1); ++i)
    for (int j = tile_of(w.y0); j <= tile_of(w.y1); ++j) {
      later_[{i, j}].push_back(id);
      if (const auto it = tiles_.find({i, j}); it != tiles_.end()) {
        const Seen seen(value_to(id, middle(i, j)), id);
        it->second.insert(std::upper_bound(it->second.begin(), it->second.end(), seen), seen);
      }
    }
}

double FreeSpace::value_to(std::uint32_t id, Point p) const {
  return to(solids_[id], p) - solids_[id].clear;
}

/// How large a circle about p solid `id` allows. A solid that keeps the middle away alone allows any, or none.
double FreeSpace::value(std::uint32_t id, Point p) const {
  const double v = value_to(id, p);
  return solids_[id].centre_only && v >= 0 ? 1e18 : v;
}

/// Whatever may leave less than `most` room about p, nearest first or nearly so; `use` says how much room still counts.
template <class F>
void FreeSpace::around(Point p, double most, const F& use) const {
  const int i = tile_of(p.x), j = tile_of(p.y);
  const double off = distance(p, middle(i, j));
  for (const Seen& s : tile(i, j)) {
    if (s.room > most + off) break;
    most = use(s.id);
  }
}

double FreeSpace::room(Point p, const Guest& guest) const {
  double r = largest_;
  around(p, r, [&](std::uint32_t id) {
    if (guest.minds(solids_[id])) r = std::min(r, value(id, p));
    return r;
  });
  return inside_ && inside_(p, guest) ? -std::abs(r) : r;
}

/// What lies about a square of the common grid, by the room it leaves about the middle.
const FreeSpace::Tile& FreeSpace::tile(int i, int j) const {
  auto [it, fresh] = tiles_.try_emplace({i, j}, &memory_);
  if (fresh) {
    Ids ids;
    index_->find(Box{i * kTile, j * kTile, (i + 1) * kTile, (j + 1) * kTile}.grown(largest_), ids);
    if (const auto l = later_.find({i, j}); l != later_.end())
      ids.insert(ids.end(), l->second.begin(), l->second.end());
    it->second.reserve(ids.size());
    for (const std::uint32_t id : ids) it->second.emplace_back(value_to(id, middle(i, j)), id);
    std::sort(it->second.begin(), it->second.end());
  }
  return it->second;
}

struct FreeSpace::Cell {
  Point c;
  double h{};                  ///< half its side
  int i = kNoTile, j{};        ///< of a square of the common grid
  const Tile* tile = nullptr;  ///< instead of `seen`
  double room{}, own{}, key{};
  double most{};           ///< no circle about any of its points is larger
  std::vector<Seen> seen;  ///< solids that can be the nearest somewhere inside, by the room they leave about the middle
  Ids near;                ///< parts of `reach` that can
  bool operator<(const Cell& o) const { return key > o.key; }
};

struct FreeSpace::Search {
  const FreeSpace& f;
  const std::vector<Solid>& reach;
  Guest guest;
  double farthest;
  double wanted;                    ///< radius that is asked for; it grows with what is found
  std::vector<double> distances{};  ///< of one square, kept for its memory

  /// Fills room and own and the shortened lists from those of the square around it; false where no circle of radius
  /// `wanted` has its middle in the square, or none that is as near as `farthest`.
  bool measure(Cell& cell, const Cell& around) {
    const double diagonal = cell.h * std::sqrt(2.0);
    cell.own = 1e18;
    distances.clear();
    for (const std::uint32_t id : around.near) {
      distances.push_back(std::max(0.0, to(reach[id], cell.c)));
      cell.own = std::min(cell.own, distances.back());
    }
    if (cell.own - diagonal > farthest) return false;
    // What keeps the middle away alone has no slope: it forbids all of the square, or says nothing about its size.
    double r = f.largest_, away = 1e18;
    const std::span<const Seen> all =
        around.tile ? std::span<const Seen>(*around.tile) : std::span<const Seen>(around.seen);
    for (const Seen& s : all) {
      // By order, nothing behind it can be nearer; the middles are half a diagonal of the larger square apart.
      if (s.room - diagonal > std::max(r, 0.0) + 2 * diagonal) break;
      const Solid& solid = f.solids_[s.id];
      if (!guest.minds(solid)) continue;
      const double v = to(solid, cell.c) - solid.clear;
      (solid.centre_only ? away : r) = std::min(solid.centre_only ? away : r, v);
      if (r + diagonal < wanted || away + diagonal < 0) return false;
      if (v <= (solid.centre_only ? 2 * diagonal : std::max(r, 0.0) + 2 * diagonal)) cell.seen.emplace_back(v, s.id);
    }
    std::sort(cell.seen.begin(), cell.seen.end());
    for (std::size_t i = 0; i < around.near.size(); ++i)
      if (distances[i] <= cell.own + 2 * diagonal) cell.near.push_back(around.near[i]);
    return bound(cell, r, away);
  }
  bool bound(Cell& cell, double r, double away) const {
    const double diagonal = cell.h * std::sqrt(2.0);
    // Where there is too little room anyway, nobody asks whether it is inside of something.
    if (f.inside_ && f.inside_(cell.c, guest)) r = -std::abs(r);
    cell.most = std::min(f.largest_, r + diagonal);
    cell.room = away < 0 ? std::min(away, r) : r;
    return cell.most >= wanted;
  }

  /// The squares of the common grid that can be near enough; nothing but their distance is known of them yet.
  std::vector<Cell> tiles() const {
    Box all;
    for (const Solid& s : reach) all.add(box_of(s));
    all = all.grown(farthest);
    const int i0 = tile_of(all.x0), i1 = tile_of(all.x1), j0 = tile_of(all.y0), j1 = tile_of(all.y1);
    std::vector<Box> boxes;
    for (const Solid& s : reach) boxes.push_back(box_of(s));
    const BoxIndex index(boxes);
    std::vector<Cell> out;
    Ids near;
    for (int i = i0; i <= i1; ++i)
      for (int j = j0; j <= j1; ++j) {
        Cell c;
        c.i = i;
        c.j = j;
        c.c = middle(i, j);
        c.h = kTile / 2;
        c.own = 1e18;
        index.find(Box{c.c.x, c.c.y, c.c.x, c.c.y}.grown(farthest + c.h * std::sqrt(2.0)), near);
        for (const std::uint32_t id : near) c.own = std::min(c.own, std::max(0.0, to(reach[id], c.c)));
        if (c.own - c.h * std::sqrt(2.0) > farthest) continue;
        c.near = near;
        out.push_back(std::move(c));
      }
    return out;
  }
  /// Fills what measure does, for a square of tiles(): what lies about it was looked up for an earlier search, by
  /// order.
  bool look(Cell& c) {
    const double diagonal = c.h * std::sqrt(2.0);
    c.tile = &f.tile(c.i, c.j);
    double r = f.largest_, away = 1e18;
    for (const Seen& s : *c.tile) {
      if (s.room >= std::max(r, 0.0)) break;
      const Solid& solid = f.solids_[s.id];
      if (!guest.minds(solid)) continue;
      (solid.centre_only ? away : r) = std::min(solid.centre_only ? away : r, to(solid, c.c) - solid.clear);
      if (r + diagonal < wanted || away + diagonal < 0) return false;
    }
    return bound(c, r, away);
  }
  template <class F>
  void split(const Cell& c, const F& use) {
    for (const Point way : {Point{-1, -1}, {1, -1}, {-1, 1}, {1, 1}}) {
      Cell q;
      q.h = c.h / 2;
      q.c = c.c + q.h * way;
      if (measure(q, c)) use(std::move(q));
    }
  }
};

std::optional<FreePlace> FreeSpace::nearest(const std::vector<Solid>& reach, const Guest& guest, double radius,
                                            double farthest) const {
  if (reach.empty()) return std::nullopt;
  Search search{*this, reach, guest, farthest, radius};
  std::priority_queue<Cell> queue;
  std::optional<FreePlace> best;
  auto offer = [&](Cell&& c) {
    const double diagonal = c.h * std::sqrt(2.0);
    c.key = std::max(0.0, c.own - diagonal);
    if (c.most < radius || c.key > farthest) return;
    if (c.room >= radius && c.own <= farthest && (!best || c.own < best->distance - 1e-9))
      best = FreePlace{c.c, c.room, c.own};
    if (!best || c.key < best->distance - kNear) queue.push(std::move(c));
  };
  for (Cell& c : search.tiles()) {
    c.key = std::max(0.0, c.own - c.h * std::sqrt(2.0));
    queue.push(std::move(c));
  }
  for (std::size_t n = 0; !queue.empty() && n < kMostCells; ++n) {
    Cell c = queue.top();
    queue.pop();
    if (best && c.key >= best->distance - kNear) break;
    if (c.i != kNoTile && !c.tile) {
      if (search.look(c)) offer(std::move(c));
      continue;
    }
    if (c.h < 0.008) continue;
    search.split(c, offer);
  }
  return best;
}

std::optional<FreePlace> FreeSpace::largest(const std::vector<Solid>& reach, const Guest& guest, double least,
                                            double farthest) const {
  if (reach.empty()) return std::nullopt;
  Search search{*this, reach, guest, farthest, least};
  std::priority_queue<Cell> queue;
  std::optional<FreePlace> best;
  auto take = [&](const Cell& c) {
    if (c.room < least || c.own > farthest || (best && c.room <= best->radius + 1e-9)) return;
    best = pushed({c.c, c.room, c.own}, reach, guest, farthest);
    search.wanted = best->radius;
  };
  auto offer = [&](Cell&& c) {
    const double diagonal = c.h * std::sqrt(2.0), bound = c.most;
    c.key = -bound;
    if (bound < least || c.own - diagonal > farthest) return;
    take(c);
    if (best && bound <= best->radius + kGain) return;
    if (c.h > kFlat) return queue.push(std::move(c));
    // A small square of a ridge: the circle runs along it to its end.
    const Point from = c.own > farthest ? back_in(reach, c.c, farthest, 1e-9) : c.c;
    if (const double r = room(from, guest); r > 0) {
      const FreePlace p = pushed({from, r, distance_to(reach, from)}, reach, guest, farthest);
      if (p.radius >= least && p.distance <= farthest && (!best || p.radius > best->radius + 1e-9)) {
        best = p;
        search.wanted = p.radius;
      }
    }
  };
  for (Cell& c : search.tiles())
    if (search.look(c)) offer(std::move(c));
  for (std::size_t n = 0; !queue.empty() && n < kMostCells; ++n) {
    const Cell c = queue.top();
    queue.pop();
    if (best && -c.key <= best->radius + kGain) break;
    search.split(c, offer);
  }
  return best;
}

/// Sequential linear programs in (dx, dy, r), each solved by looking at every three of its few constraints.
FreePlace FreeSpace::pushed(FreePlace p, const std::vector<Solid>& reach, const Guest& guest, double farthest) const {
  struct Line {
    double nx, ny, nr, c;
  };  // nx dx + ny dy + nr r >= c
  constexpr double kStep = 0.01, kFar = 0.1;
  double step = kStep;
  // What can come to count while the middle stays within kFar of where it was looked for.
  Ids near;
  Point looked{1e18, 1e18};
  for (int round = 0; round < 60 && step > 1e-11; ++round) {
    if (distance(looked, p.at) > kFar) {
      near.clear();
      looked = p.at;
      const double most = p.radius + 3 * kStep + 2 * kFar;
      around(p.at, most, [&](std::uint32_t id) {
        if (guest.minds(solids_[id]) && value_to(id, p.at) <= most) near.push_back(id);
        return most;
      });
    }
    std::vector<Line> lines;
    for (const std::uint32_t id : near) {
      const Solid& s = solids_[id];
      const double v = value_to(id, p.at), d = v + s.radius + s.clear;
      if (v > (s.centre_only ? 2 * step : p.radius + 3 * step) || d < 1e-12) continue;
      const Point n = (1 / d) * (p.at - nearest_on_segment(p.at, s.a, s.b));
      lines.push_back({n.x, n.y, s.centre_only ? 0.0 : -1.0, -v});
    }
    std::sort(lines.begin(), lines.end(), [](const Line& x, const Line& y) { return x.c > y.c; });
    if (lines.size() > 14) lines.resize(14);
    // Not out of the reach either: the nearest part of it holds as a string does.
    const Foot foot = foot_of(reach, p.at);
    if (const double away = distance(foot.at, p.at); away > 1e-12 && farthest - foot.distance < 2 * step) {
      const Point g = (1 / away) * (p.at - foot.at);
      lines.push_back({-g.x, -g.y, 0, std::max(foot.distance, 0.0) - farthest + 1e-12});
    }
    for (const double w : {1.0, -1.0}) {
      lines.push_back({w, 0, 0, -step});
      lines.push_back({0, w, 0, -step});
    }
    lines.push_back({0, 0, -1, -largest_});
    double best = p.radius;
    Point move{};
    for (std::size_t i = 0; i < lines.size(); ++i)
      for (std::size_t j = i + 1; j < lines.size(); ++j)
        for (std::size_t k = j + 1; k < lines.size(); ++k) {
          const Line &a = lines[i], &b = lines[j], &c = lines[k];
          const double det = a.nx * (b.ny * c.nr - b.nr * c.ny) - a.ny * (b.nx * c.nr - b.nr * c.nx) +
                             a.nr * (b.nx * c.ny - b.ny * c.nx);
          if (std::abs(det) < 1e-12) continue;
          const double x = (a.c * (b.ny * c.nr - b.nr * c.ny) - a.ny * (b.c * c.nr - b.nr * c.c) +
                            a.nr * (b.c * c.ny - b.ny * c.c)) /
                           det;
          const double y = (a.nx * (b.c * c.nr - b.nr * c.c) - a.c * (b.nx * c.nr - b.nr * c.nx) +
                            a.nr * (b.nx * c.c - b.c * c.nx)) /
                           det;
          const double r = (a.nx * (b.ny * c.c - b.c * c.ny) - a.ny * (b.nx * c.c - b.c * c.nx) +
                            a.c * (b.nx * c.ny - b.ny * c.nx)) /
                           det;
          if (r <= best + 1e-12) continue;
          if (std::all_of(lines.begin(), lines.end(),
                          [&](const Line& l) { return l.nx * x + l.ny * y + l.nr * r >= l.c - 1e-10; })) {
            best = r;
            move = {x, y};
          }
        }
    Point to_there = p.at + move;
    double own = distance_to(reach, to_there);
    // A string bends: back onto it.
    if (own > farthest && own < farthest + step) {
      to_there = back_in(reach, to_there, farthest, 1e-12);
      own = distance_to(reach, to_there);
    }
    const double there = room(to_there, guest);
    if (there > p.radius + 1e-12 && own <= farthest)
      p = {to_there, there, own};
    else
      step /= 4;
  }
  return p;
}

}  // namespace teasel
