// Booleans and offsets on the integer nanometre grid. This is the only unit that includes the clipping library.
#include <algorithm>
#include <cstdint>
#include <map>
#include <numeric>
#include <polyclipping/clipper.hpp>
#include <stdexcept>

#include "teasel/geometry.h"

namespace teasel {

namespace {
namespace cl = ClipperLib;

constexpr double kGrid = 1e6;        // grid steps in a millimetre: 1 nm
constexpr double kFarthest = 2.0e9;  // the library's safe range without 128-bit products is +-4.6e18; 2 km is ample

cl::IntPoint to_grid(Point p) {
  if (!(std::abs(p.x) < kFarthest) || !(std::abs(p.y) < kFarthest)) throw std::range_error("coordinate beyond 2 km");
  return {static_cast<cl::cInt>(std::llround(p.x * kGrid)), static_cast<cl::cInt>(std::llround(p.y * kGrid))};
}
cl::Path to_path(const Ring& ring) {
  cl::Path path;
  path.reserve(ring.size());
  for (Point p : ring) path.push_back(to_grid(p));
  return path;
}
Ring to_ring(const cl::Path& path) {
  Ring ring;
  ring.reserve(path.size());
  for (const auto& p : path) ring.push_back({static_cast<double>(p.X) / kGrid, static_cast<double>(p.Y) / kGrid});
  return ring;
}
cl::Paths to_paths(const Polygons& polygons) {
  cl::Paths paths;
  for (const auto& polygon : polygons) {
    paths.push_back(to_path(polygon.outer));
    if (!cl::Orientation(paths.back())) cl::ReversePath(paths.back());
    for (const auto& hole : polygon.holes) {
      paths.push_back(to_path(hole));
      if (cl::Orientation(paths.back())) cl::ReversePath(paths.back());
    }
  }
  return paths;
}
void collect(const cl::PolyNode& node, Polygons& out) {
  for (const cl::PolyNode* child : node.Childs) {
    Polygon polygon{to_ring(child->Contour), {}};
    if (signed_area(polygon.outer) < 0) std::reverse(polygon.outer.begin(), polygon.outer.end());
    for (const cl::PolyNode* hole : child->Childs) {
      polygon.holes.push_back(to_ring(hole->Contour));
      if (signed_area(polygon.holes.back()) > 0) std::reverse(polygon.holes.back().begin(), polygon.holes.back().end());
      collect(*hole, out);
    }
    out.push_back(std::move(polygon));
  }
}
Polygons run(cl::ClipType type, const cl::Paths& subject, const cl::Paths& clip) {
  cl::Clipper clipper;
  clipper.AddPaths(subject, cl::ptSubject, true);
  if (!clip.empty()) clipper.AddPaths(clip, cl::ptClip, true);
  cl::PolyTree tree;
  clipper.Execute(type, tree, cl::pftNonZero, cl::pftNonZero);
  Polygons out;
  collect(tree, out);
  return out;
}

/// A contour reaches its holes by cut-ins, lines that it goes there and back. Without them it is several rings, and the
/// winding of every point stays what it is. The library needs time by the square of their number.
void add_without_cut_ins(cl::Path path, cl::Paths& out) {
  constexpr std::size_t kWorthIt = 100;  // corners
  const std::size_t count = path.size();
  if (count < kWorthIt) {
    out.push_back(std::move(path));
    return;
  }
  using Corner = std::pair<cl::cInt, cl::cInt>;
  auto corner = [&](std::size_t i) { return Corner{path[i % count].X, path[i % count].Y}; };
  // Edges by their two ends, whichever way they go; edge i leads from corner i to the next.
  std::vector<std::size_t> order(count);
  std::iota(order.begin(), order.end(), std::size_t{0});
  auto key = [&](std::size_t i) {
    const Corner a = corner(i), b = corner(i + 1);
    return a < b ? std::pair(a, b) : std::pair(b, a);
  };
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return key(a) < key(b); });
  std::vector<char> gone(count);
  std::size_t cancelled = 0;
  for (std::size_t from = 0; from < count;) {
    std::size_t to = from;
    std::vector<std::size_t> ways[2];
    for (; to < count && key(order[to]) == key(order[from]); ++to)
      ways[corner(order[to]) < corner(order[to] + 1)].push_back(order[to]);
    const bool empty = corner(order[from]) == corner(order[from] + 1);
    const std::size_t pairs = empty ? 0 : std::min(ways[0].size(), ways[1].size());
    for (std::size_t i = 0; i < pairs; ++i) gone[ways[0][i]] = gone[ways[1][i]] = 1;
    if (empty)
      for (const std::size_t i : ways[0]) gone[i] = 1;
    cancelled += pairs;
    from = to;
  }
  if (cancelled == 0) {
    out.push_back(std::move(path));
    return;
  }
  std::map<Corner, std::vector<std::size_t>> leaving;  // last first
  for (std::size_t i = count; i-- > 0;)
    if (!gone[i]) leaving[corner(i)].push_back(i);
  for (std::size_t first = 0; first < count; ++first) {
    if (gone[first]) continue;
    cl::Path ring;
    const Corner begin = corner(first);
    std::size_t edge = first;
    while (true) {
      gone[edge] = 1;
      ring.push_back(path[edge]);
      const Corner here = corner(edge + 1);
      if (here == begin) break;
      // The way on as the contour goes, if that edge is still there: rings that touch in a corner stay apart.
      std::size_t next = (edge + 1) % count;
      if (gone[next]) {
        std::vector<std::size_t>& ways = leaving[here];
        while (gone[ways.back()]) ways.pop_back();
        next = ways.back();
      }
      edge = next;
    }
    if (ring.size() >= 3) out.push_back(std::move(ring));
  }
}

/// Cuts a ring with one half plane (Sutherland-Hodgman). Winding is kept, so the result may run along the border.
template <class Inside, class Cut>
Ring cut(const Ring& ring, Inside inside, Cut meet) {
  Ring out;
  for (std::size_t i = 0, n = ring.size(); i < n; ++i) {
    Point a = ring[i], b = ring[i + 1 == n ? 0 : i + 1];
    const bool a_inside = inside(a), b_inside = inside(b);
    if (a_inside) out.push_back(a);
    if (a_inside != b_inside) out.push_back(meet(a, b));
  }
  return out;
}
}  // namespace

Ring cut_to_box(const Ring& ring, const Box& window) {
  auto at_x = [](double x) {
    return [x](Point a, Point b) { return Point{x, a.y + (b.y - a.y) * ((x - a.x) / (b.x - a.x))}; };
  };
  auto at_y = [](double y) {
    return [y](Point a, Point b) { return Point{a.x + (b.x - a.x) * ((y - a.y) / (b.y - a.y)), y}; };
  };
  Ring part = cut(
      ring, [&](Point p) { return p.x >= window.x0; }, at_x(window.x0));
  part = cut(
      part, [&](Point p) { return p.x <= window.x1; }, at_x(window.x1));
  part = cut(
      part, [&](Point p) { return p.y >= window.y0; }, at_y(window.y0));
  return cut(
      part, [&](Point p) { return p.y <= window.y1; }, at_y(window.y1));
}

Polygons unite(const Polygons& a) {
  return run(cl::ctUnion, to_paths(a), {});
}
Polygons unite(const Polygons& a, const Polygons& b) {
  return run(cl::ctUnion, to_paths(a), to_paths(b));
}
Polygons intersect(const Polygons& a, const Polygons& b) {
  return run(cl::ctIntersection, to_paths(a), to_paths(b));
}
Polygons subtract(const Polygons& a, const Polygons& b) {
  return run(cl::ctDifference, to_paths(a), to_paths(b));
}

Polygons fill_contours(const std::vector<Ring>& contours) {
  cl::Paths paths;
  for (const auto& contour : contours) {
    if (contour.size() < 3) continue;
    cl::Path path = to_path(contour);
    if (!cl::Orientation(path)) cl::ReversePath(path);
    add_without_cut_ins(std::move(path), paths);
  }
  return run(cl::ctUnion, paths, {});
}

Polygons clip_to_box(const std::vector<Ring>& contours, const Box& window) {
  std::vector<Ring> parts;
  for (const auto& contour : contours) {
    Ring part = cut_to_box(contour, window);
    if (part.size() >= 3) parts.push_back(std::move(part));
  }
  cl::Paths paths;
  for (const auto& part : parts) paths.push_back(to_path(part));
  return run(cl::ctUnion, paths, {});
}

Polygons offset(const Polygons& a, double by) {
  cl::ClipperOffset offsetter(2.0, kChord * kGrid);
  offsetter.AddPaths(to_paths(unite(a)), cl::jtRound, cl::etClosedPolygon);
  cl::PolyTree tree;
  offsetter.Execute(tree, by * kGrid);
  Polygons out;
  collect(tree, out);
  return out;
}

}  // namespace teasel
