#include "free_space.h"

#include <algorithm>
#include <queue>

namespace teasel {

namespace {
constexpr double kTile = 2.0;         // mm; where the search begins
constexpr double kNear = 0.02;        // mm; of the nearest place
constexpr double kFlat = 0.004;       // mm; half side of squares that are pushed from, not split: along a ridge all of them are alike
constexpr std::size_t kMostCells = 60'000;  // of one search; beyond, what was found so far counts

Box box_of(const Solid& s) {
  Box b;
  b.add(s.a), b.add(s.b);
  return b.grown(s.radius);
}
int tile_of(double x) { return static_cast<int>(std::floor(x / kTile)); }
Point middle(int i, int j) { return {(i + 0.5) * kTile, (j + 0.5) * kTile}; }
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

double distance_to(const std::vector<Solid>& solids, Point p) { return std::max(0.0, foot_of(solids, p).distance); }

FreeSpace::FreeSpace(std::vector<Solid> solids, double largest_radius, std::function<bool(Point, int)> inside) : solids_(std::move(solids)), largest_(largest_radius), inside_(std::move(inside)) {
  std::vector<Box> boxes;
  boxes.reserve(solids_.size());
  for (const Solid& s : solids_) boxes.push_back(box_of(s).grown(s.clear));
  index_ = std::make_unique<BoxIndex>(boxes);
}

void FreeSpace::add(const Solid& s) {
  const auto id = static_cast<std::uint32_t>(solids_.size());
  solids_.push_back(s);
  const Box w = box_of(s).grown(s.clear + largest_);
  for (int i = tile_of(w.x0); i <= tile_of(w.x1); ++i)
    for (int j = tile_of(w.y0); j <= tile_of(w.y1); ++j) {
      later_[{i, j}].push_back(id);
      if (const auto it = tiles_.find({i, j}); it != tiles_.end()) {
        const Seen seen{value_to(id, middle(i, j)), id};
        it->second.insert(std::upper_bound(it->second.begin(), it->second.end(), seen), seen);
      }
    }
}

double FreeSpace::value_to(std::uint32_t id, Point p) const { return to(solids_[id], p) - solids_[id].clear; }

/// How large a circle about p solid `id` allows. A solid that keeps the middle away alone allows any, or none.
double FreeSpace::value(std::uint32_t id, Point p) const {
  const double v = value_to(id, p);
  return solids_[id].centre_only && v >= 0 ? 1e18 : v;
}

FreeSpace::Ids FreeSpace::around(Point p) const {
  Ids ids;
  index_->find(Box{p.x, p.y, p.x, p.y}.grown(largest_), ids);
  if (const auto it = later_.find({tile_of(p.x), tile_of(p.y)}); it != later_.end()) ids.insert(ids.end(), it->second.begin(), it->second.end());
  return ids;
}

double FreeSpace::room(Point p, int owner) const {
  double r = largest_;
  for (const std::uint32_t id : around(p))
    if (solids_[id].owner != owner || owner < 0) r = std::min(r, value(id, p));
  return inside_ && inside_(p, owner) ? -std::abs(r) : r;
}

/// What lies about a square of the common grid, by the room it leaves about the middle.
const std::vector<FreeSpace::Seen>& FreeSpace::tile(int i, int j) const {
  auto [it, fresh] = tiles_.try_emplace({i, j});
  if (fresh) {
    Ids ids;
    index_->find(Box{i * kTile, j * kTile, (i + 1) * kTile, (j + 1) * kTile}.grown(largest_), ids);
    if (const auto l = later_.find({i, j}); l != later_.end()) ids.insert(ids.end(), l->second.begin(), l->second.end());
    for (const std::uint32_t id : ids) it->second.push_back({value_to(id, middle(i, j)), id});
    std::sort(it->second.begin(), it->second.end());
  }
  return it->second;
}

struct FreeSpace::Cell {
  Point c;
  double h{};        ///< half its side
  double room{}, own{}, key{};
  double most{};     ///< no circle about any of its points is larger
  Ids ids, near;     ///< solids and parts of `reach` that can be the nearest somewhere inside
  bool operator<(const Cell& o) const { return key > o.key; }
};

struct FreeSpace::Search {
  const FreeSpace& f;
  const std::vector<Solid>& reach;
  int owner;
  double farthest, least;

  /// Fills room, own and the shortened lists.
  void measure(Cell& cell) const {
    const double diagonal = cell.h * std::sqrt(2.0);
    // What keeps the middle away alone has no slope: it forbids all of the square, or says nothing about its size.
    double r = f.largest_, away = 1e18;
    std::vector<double> values(cell.ids.size());
    for (std::size_t i = 0; i < cell.ids.size(); ++i) {
      const Solid& s = f.solids_[cell.ids[i]];
      values[i] = s.owner == owner && owner >= 0 ? 1e18 : to(s, cell.c) - s.clear;
      (s.centre_only ? away : r) = std::min(s.centre_only ? away : r, values[i]);
    }
    Ids kept;
    for (std::size_t i = 0; i < cell.ids.size(); ++i)
      if (values[i] <= (f.solids_[cell.ids[i]].centre_only ? 2 * diagonal : std::max(r, 0.0) + 2 * diagonal)) kept.push_back(cell.ids[i]);
    cell.ids = std::move(kept);
    // Where there is too little room anyway, nobody asks whether it is inside of something.
    if (away + diagonal >= 0 && r + diagonal >= least && f.inside_ && f.inside_(cell.c, owner)) r = -std::abs(r);
    cell.most = away + diagonal < 0 ? -1e9 : std::min(f.largest_, r + diagonal);
    cell.room = away < 0 ? std::min(away, r) : r;
    double own = 1e18;
    std::vector<double> d(cell.near.size());
    for (std::size_t i = 0; i < cell.near.size(); ++i) d[i] = std::max(0.0, to(reach[cell.near[i]], cell.c)), own = std::min(own, d[i]);
    kept.clear();
    for (std::size_t i = 0; i < cell.near.size(); ++i)
      if (d[i] <= own + 2 * diagonal) kept.push_back(cell.near[i]);
    cell.near = std::move(kept);
    cell.own = own;
  }

  std::vector<Cell> tiles() const {
    Box all;
    for (const Solid& s : reach) all.add(box_of(s));
    all = all.grown(farthest);
    // One grid for all searches: what lies about its squares is looked up once.
    const int i0 = tile_of(all.x0), i1 = tile_of(all.x1), j0 = tile_of(all.y0), j1 = tile_of(all.y1);
    std::vector<Box> boxes;
    for (const Solid& s : reach) boxes.push_back(box_of(s));
    const BoxIndex index(boxes);
    std::vector<Cell> out;
    for (int i = i0; i <= i1; ++i)
      for (int j = j0; j <= j1; ++j) {
        Cell c;
        c.c = middle(i, j), c.h = kTile / 2;
        const double reached = farthest + c.h * std::sqrt(2.0);
        index.find(Box{c.c.x, c.c.y, c.c.x, c.c.y}.grown(reached), c.near);
        if (c.near.empty()) continue;
        // Sorted by the room they leave: the first that is not the owner's bounds it, and few behind it matter.
        const double diagonal = c.h * std::sqrt(2.0);
        double room = f.largest_;
        for (const Seen& s : f.tile(i, j)) {
          if (s.room > std::max(room, 0.0) + 2 * diagonal) break;
          const Solid& solid = f.solids_[s.id];
          if (solid.owner == owner && owner >= 0) continue;
          if (!solid.centre_only) room = std::min(room, s.room);
          else if (s.room + diagonal < 0) room = -1e9;
          if (room + diagonal < least) break;
          c.ids.push_back(s.id);
        }
        if (room + diagonal < least) continue;
        measure(c);
        if (c.own > reached) continue;
        out.push_back(std::move(c));
      }
    return out;
  }
  template <class F>
  void split(const Cell& c, const F& use) const {
    for (const Point way : {Point{-1, -1}, {1, -1}, {-1, 1}, {1, 1}}) {
      Cell q;
      q.h = c.h / 2, q.c = c.c + q.h * way, q.ids = c.ids, q.near = c.near;
      measure(q);
      use(std::move(q));
    }
  }
};

std::optional<FreePlace> FreeSpace::nearest(const std::vector<Solid>& reach, int owner, double radius, double farthest) const {
  if (reach.empty()) return std::nullopt;
  const Search search{*this, reach, owner, farthest, radius};
  std::priority_queue<Cell> queue;
  std::optional<FreePlace> best;
  auto offer = [&](Cell&& c) {
    const double diagonal = c.h * std::sqrt(2.0);
    c.key = std::max(0.0, c.own - diagonal);
    if (c.most < radius || c.key > farthest) return;
    if (c.room >= radius && c.own <= farthest && (!best || c.own < best->distance - 1e-9)) best = FreePlace{c.c, c.room, c.own};
    if (!best || c.key < best->distance - kNear) queue.push(std::move(c));
  };
  for (Cell& c : search.tiles()) offer(std::move(c));
  for (std::size_t n = 0; !queue.empty() && n < kMostCells; ++n) {
    const Cell c = queue.top();
    queue.pop();
    if (best && c.key >= best->distance - kNear) break;
    if (c.h < 0.008) continue;
    search.split(c, offer);
  }
  return best;
}

std::optional<FreePlace> FreeSpace::largest(const std::vector<Solid>& reach, int owner, double least, double farthest) const {
  if (reach.empty()) return std::nullopt;
  const Search search{*this, reach, owner, farthest, least};
  std::priority_queue<Cell> queue;
  std::optional<FreePlace> best;
  auto take = [&](const Cell& c) {
    if (c.room < least || c.own > farthest || (best && c.room <= best->radius + 1e-9)) return;
    best = pushed({c.c, c.room, c.own}, reach, owner, farthest);
  };
  auto offer = [&](Cell&& c) {
    const double diagonal = c.h * std::sqrt(2.0), bound = c.most;
    c.key = -bound;
    if (bound < least || c.own - diagonal > farthest) return;
    take(c);
    if (best && bound <= best->radius + 1e-9) return;
    if (c.h > kFlat) return queue.push(std::move(c));
    // A small square of a ridge: the circle runs along it to its end.
    const Point from = c.own > farthest ? back_in(reach, c.c, farthest, 1e-9) : c.c;
    if (const double r = room(from, owner); r > 0) {
      const FreePlace p = pushed({from, r, distance_to(reach, from)}, reach, owner, farthest);
      if (p.radius >= least && p.distance <= farthest && (!best || p.radius > best->radius + 1e-9)) best = p;
    }
  };
  for (Cell& c : search.tiles()) offer(std::move(c));
  for (std::size_t n = 0; !queue.empty() && n < kMostCells; ++n) {
    const Cell c = queue.top();
    queue.pop();
    if (best && -c.key <= best->radius + 1e-9) break;
    search.split(c, offer);
  }
  return best;
}

/// Sequential linear programs in (dx, dy, r), each solved by looking at every three of its few constraints.
FreePlace FreeSpace::pushed(FreePlace p, const std::vector<Solid>& reach, int owner, double farthest) const {
  struct Line { double nx, ny, nr, c; };  // nx dx + ny dy + nr r >= c
  double step = 0.01;
  for (int round = 0; round < 60 && step > 1e-11; ++round) {
    const Ids ids = around(p.at);
    std::vector<Line> lines;
    for (const std::uint32_t id : ids) {
      const Solid& s = solids_[id];
      if (s.owner == owner && owner >= 0) continue;
      const double d = distance_to_segment(p.at, s.a, s.b);
      const double v = d - s.radius - s.clear;
      if (s.centre_only ? v > 2 * step : v > p.radius + 3 * step) continue;
      const Point q = nearest_on_segment(p.at, s.a, s.b);
      if (d < 1e-12) continue;
      const Point n = (1 / d) * (p.at - q);
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
    for (const double w : {1.0, -1.0}) lines.push_back({w, 0, 0, -step}), lines.push_back({0, w, 0, -step});
    lines.push_back({0, 0, -1, -largest_});
    double best = p.radius;
    Point move{};
    for (std::size_t i = 0; i < lines.size(); ++i)
      for (std::size_t j = i + 1; j < lines.size(); ++j)
        for (std::size_t k = j + 1; k < lines.size(); ++k) {
          const Line &a = lines[i], &b = lines[j], &c = lines[k];
          const double det = a.nx * (b.ny * c.nr - b.nr * c.ny) - a.ny * (b.nx * c.nr - b.nr * c.nx) + a.nr * (b.nx * c.ny - b.ny * c.nx);
          if (std::abs(det) < 1e-12) continue;
          const double x = (a.c * (b.ny * c.nr - b.nr * c.ny) - a.ny * (b.c * c.nr - b.nr * c.c) + a.nr * (b.c * c.ny - b.ny * c.c)) / det;
          const double y = (a.nx * (b.c * c.nr - b.nr * c.c) - a.c * (b.nx * c.nr - b.nr * c.nx) + a.nr * (b.nx * c.c - b.c * c.nx)) / det;
          const double r = (a.nx * (b.ny * c.c - b.c * c.ny) - a.ny * (b.nx * c.c - b.c * c.nx) + a.c * (b.nx * c.ny - b.ny * c.nx)) / det;
          if (r <= best + 1e-12) continue;
          if (std::all_of(lines.begin(), lines.end(), [&](const Line& l) { return l.nx * x + l.ny * y + l.nr * r >= l.c - 1e-10; })) best = r, move = {x, y};
        }
    Point to_there = p.at + move;
    double own = distance_to(reach, to_there);
    // A string bends: back onto it.
    if (own > farthest && own < farthest + step) to_there = back_in(reach, to_there, farthest, 1e-12), own = distance_to(reach, to_there);
    const double there = room(to_there, owner);
    if (there > p.radius + 1e-12 && own <= farthest) p = {to_there, there, own};
    else step /= 4;
  }
  return p;
}

}  // namespace teasel
