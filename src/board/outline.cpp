// The outline: closed loops of strokes (drawn in one go, joined end to end, or cut out by crossings) that enclose
// every pad and hole.
#include "outline.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <unordered_map>

#include "teasel/board.h"

namespace teasel {

namespace {
using formats::GerberFile;
using formats::GerberObject;

// Two stroke ends this near are one corner; writers round to 0.25 um to 2.5 um. Where no loop closes so, wider gaps are
// bridged, as hands leave them: chosen, no source.
constexpr double kJoin = 0.005, kNarrowGap = 0.06, kWideGap = 0.35;  // mm
constexpr double kCutoutLeast = 2.0;         // mm^2; smaller loops inside an outline drawing are symbols
constexpr double kLeftOut = 0.03;            // share of the points that may lie outside a smaller face
constexpr double kSmaller = 0.8;             // such a face must be as much smaller than one around all points
constexpr std::size_t kMostCrossing = 6000;  // segments given to the exact arrangement

struct Loop {
  Ring ring;
  std::uint32_t aperture{};
  double area{};
  std::string how;
};

struct Stroke {
  Ring points;
  std::uint32_t aperture{};
};

std::vector<Stroke> strokes_of(const GerberFile& file) {
  std::vector<Stroke> out;
  for (const auto& object : file.objects) {
    if (!object.dark) continue;
    if (object.kind == GerberObject::Kind::line && !(object.start == object.end))
      out.push_back({{object.start, object.end}, object.shape});
    if (object.kind == GerberObject::Kind::arc)
      out.push_back(
          {formats::arc_points(object.start, object.end, file.centres[object.centre], object.clockwise), object.shape});
  }
  return out;
}

void keep(std::vector<Loop>& loops, Ring ring, std::uint32_t aperture, const std::string& how, double join = kJoin) {
  if (ring.size() > 1 && distance(ring.front(), ring.back()) <= join) ring.pop_back();
  if (ring.size() < 3) return;
  const double size = std::abs(signed_area(ring));
  if (size < kCutoutLeast) return;
  if (signed_area(ring) < 0) std::reverse(ring.begin(), ring.end());
  loops.push_back({std::move(ring), aperture, size, how});
}

std::string told(const char* how, double join) {
  return join > kJoin ? std::string(how) + ", gaps of up to " + short_number(join, 2) + " mm bridged" : how;
}

/// Polylines in file order: a stroke that starts where the last one ended goes on.
std::vector<Stroke> chained(const std::vector<Stroke>& strokes, double join, std::vector<Loop>& loops) {
  std::vector<Stroke> open;
  Stroke now;
  auto finish = [&] {
    if (now.points.size() >= 3 && distance(now.points.front(), now.points.back()) <= join)
      keep(loops, now.points, now.aperture, told("drawn in one go", join), join);
    else if (!now.points.empty())
      open.push_back(now);
    now.points.clear();
  };
  for (const auto& stroke : strokes) {
    if (!now.points.empty() && (join > kJoin || stroke.aperture == now.aperture) &&
        distance(now.points.back(), stroke.points.front()) <= join &&
        distance(now.points.front(), now.points.back()) > join) {
      now.points.insert(now.points.end(), stroke.points.begin() + 1, stroke.points.end());
    } else {
      finish();
      now = stroke;
    }
  }
  finish();
  return open;
}

struct Corner {
  std::vector<std::pair<std::size_t, bool>> ends;  // open stroke, true = its far end
};

/// Ends within `join` share a corner; loops are walked through corners where exactly two ends of one aperture meet.
void join_ends(const std::vector<Stroke>& open, double join, std::vector<Loop>& loops) {
  std::map<std::pair<long, long>, std::vector<std::size_t>> grid;
  std::vector<Point> corners;
  auto corner_of = [&](Point p) {
    const long gx = std::lround(p.x / (2 * join)), gy = std::lround(p.y / (2 * join));
    for (long dx = -1; dx <= 1; ++dx)
      for (long dy = -1; dy <= 1; ++dy)
        if (auto it = grid.find({gx + dx, gy + dy}); it != grid.end())
          for (std::size_t corner : it->second)
            if (distance(corners[corner], p) <= join) return corner;
    corners.push_back(p);
    grid[{gx, gy}].push_back(corners.size() - 1);
    return corners.size() - 1;
  };
  // A hand that leaves gaps changes pens as well.
  auto pen_of = [&](std::size_t i) { return join > kJoin ? 0u : open[i].aperture; };
  std::vector<std::array<std::size_t, 2>> ends(open.size());
  std::map<std::pair<std::size_t, std::uint32_t>, Corner> meet;
  for (std::size_t i = 0; i < open.size(); ++i) {
    ends[i] = {corner_of(open[i].points.front()), corner_of(open[i].points.back())};
    meet[{ends[i][0], pen_of(i)}].ends.emplace_back(i, false);
    meet[{ends[i][1], pen_of(i)}].ends.emplace_back(i, true);
  }
  std::vector<bool> used(open.size());
  for (std::size_t first = 0; first < open.size(); ++first) {
    if (used[first]) continue;
    Ring ring = open[first].points;
    std::vector<std::size_t> trail{first};
    std::size_t at = ends[first][1], from = first;
    bool closed = false;
    while (true) {
      if (at == ends[first][0]) {
        closed = trail.size() > 1;
        break;
      }
      const Corner& corner = meet[{at, pen_of(first)}];
      if (corner.ends.size() != 2) break;
      const auto& next = corner.ends[0].first == from ? corner.ends[1] : corner.ends[0];
      if (next.first == from || next.first == first) break;
      Ring part = open[next.first].points;
      if (next.second) std::reverse(part.begin(), part.end());
      ring.insert(ring.end(), part.begin() + 1, part.end());
      from = next.first;
      at = ends[from][next.second ? 0 : 1];
      trail.push_back(from);
      if (trail.size() > open.size()) break;
    }
    if (!closed) continue;
    for (std::size_t i : trail) used[i] = true;
    keep(loops, std::move(ring), open[first].aperture, told("strokes joined end to end", join), join);
  }
}

/// Points outside the ring; one more than `most` where there are more.
std::size_t left_out(const Ring& ring, const std::vector<Point>& points, std::size_t most) {
  const Polygons area{{ring, {}}};
  std::size_t outside = 0;
  for (const Point p : points)
    if (winding_number(ring, p) == 0 && distance_to_boundary(area, p) >= 0.01 && ++outside > most) break;
  return outside;
}

bool encloses(const Ring& ring, const Box& box, const std::vector<Point>& points) {
  const Box window = bounds(ring).grown(0.01);
  if (window.x0 > box.x0 || window.y0 > box.y0 || window.x1 < box.x1 || window.y1 < box.y1) return false;
  return left_out(ring, points, 0) == 0;
}

/// Cutouts: loops inside the face that hold no pad, of the same pen as the outline.
void add_cutouts(OutlineCandidate& candidate, const std::vector<Loop>& loops, const std::vector<Point>& points) {
  std::uint32_t pen = UINT32_MAX;
  for (const Loop& loop : loops)
    if (loop.ring == candidate.face.outer) pen = loop.aperture;
  std::vector<Ring> cuts;
  for (const Loop& loop : loops) {
    if (loop.area > 0.5 * candidate.area.v || loop.aperture != pen ||
        !encloses(candidate.face.outer, bounds(loop.ring), loop.ring))
      continue;
    if (std::any_of(points.begin(), points.end(), [&](Point p) { return winding_number(loop.ring, p) != 0; })) continue;
    cuts.push_back(loop.ring);
  }
  if (cuts.size() > 400) return;  // a drawing full of symbols, not cutouts
  const Polygons whole = subtract({{candidate.face.outer, {}}}, fill_contours(cuts));
  if (whole.size() == 1) candidate.face.holes = whole[0].holes;
}
}  // namespace

namespace {
/// Strokes that overlap where a gap was bridged cross one another: the largest face of the ring is the board's.
Ring without_crossings(const Ring& ring) {
  const Polygons faces = fill_contours({ring});
  const auto largest = std::max_element(faces.begin(), faces.end(), [](const Polygon& a, const Polygon& b) {
    return std::abs(signed_area(a.outer)) < std::abs(signed_area(b.outer));
  });
  return largest == faces.end() ? ring : largest->outer;
}

/// The file's strokes, the points that a face must hold, and the faces found.
class FaceSearch {
 public:
  FaceSearch(const GerberFile& file, const std::vector<Point>& points)
      : file_(file), points_(points), strokes_(strokes_of(file)) {
    for (const Point p : points) box_.add(p);
  }
  /// Loops whose ends are at most so far apart; crossing strokes are looked at as well where `crossing`.
  std::vector<OutlineCandidate> run(double join, bool crossing);

 private:
  void enclosing(std::vector<OutlineCandidate>& found) const {
    for (const Loop& loop : loops_)
      if (encloses(loop.ring, box_, points_)) found.push_back({{loop.ring, {}}, Mm2{loop.area}, loop.how});
  }
  void crossing_loops();
  void leaving_few_out(std::vector<OutlineCandidate>& found) const;

  const GerberFile& file_;
  const std::vector<Point>& points_;
  std::vector<Stroke> strokes_;
  Box box_;
  std::vector<Loop> loops_;
};

/// Strokes that cross or meet in a T: the exact arrangement, over strokes long enough to bound a board.
void FaceSearch::crossing_loops() {
  std::vector<std::pair<Point, Point>> segments;
  const double least = std::min(box_.width(), box_.height()) / 50;
  for (const Stroke& stroke : strokes_)
    if (stroke.points.size() > 2 || distance(stroke.points[0], stroke.points[1]) >= least)
      for (std::size_t i = 0; i + 1 < stroke.points.size(); ++i)
        segments.emplace_back(stroke.points[i], stroke.points[i + 1]);
  if (segments.size() > kMostCrossing) return;
  for (Ring& ring : arrangement_loops(segments))
    keep(loops_, std::move(ring), UINT32_MAX, "formed by crossing strokes");
}

void FaceSearch::leaving_few_out(std::vector<OutlineCandidate>& found) const {
  const std::size_t most = static_cast<std::size_t>(kLeftOut * static_cast<double>(points_.size()));
  if (most == 0) return;
  Mm2 smallest{1e300};
  for (const OutlineCandidate& candidate : found) smallest = std::min(smallest, candidate.area);
  for (const Loop& loop : loops_)
    if (loop.area < kSmaller * smallest.v && loop.area > 0.2 * box_.width() * box_.height())
      if (const std::size_t outside = left_out(loop.ring, points_, most); outside > 0 && outside <= most)
        found.push_back({{loop.ring, {}}, Mm2{loop.area}, loop.how, outside});
}

std::vector<OutlineCandidate> FaceSearch::run(double join, bool crossing) {
  loops_.clear();
  const std::vector<Stroke> open = chained(strokes_, join, loops_);
  join_ends(open, join, loops_);
  for (const auto& object : file_.objects)
    if (object.kind == GerberObject::Kind::region && object.dark)
      for (const Ring& ring : file_.regions[object.shape]) keep(loops_, ring, UINT32_MAX, "edge of a filled region");
  std::vector<OutlineCandidate> found;
  enclosing(found);
  if (found.empty() && crossing) {
    crossing_loops();
    enclosing(found);
  }
  leaving_few_out(found);
  std::stable_sort(found.begin(), found.end(), [](const auto& a, const auto& b) {
    return std::pair(a.outside > 0, a.area) < std::pair(b.outside > 0, b.area);
  });
  found.erase(std::unique(found.begin(), found.end(),
                          [](const auto& a, const auto& b) { return std::abs(a.area.v - b.area.v) < 1e-6 * b.area.v; }),
              found.end());
  if (found.size() > 20) found.resize(20);
  for (auto& candidate : found) {
    add_cutouts(candidate, loops_, points_);
    if (join > kJoin) candidate.face.outer = without_crossings(candidate.face.outer);
  }
  return found;
}
}  // namespace

std::vector<OutlineCandidate> outline_candidates(const GerberFile& file, const std::vector<Point>& points) {
  FaceSearch search(file, points);
  std::vector<OutlineCandidate> found = search.run(kJoin, true);
  for (const double gap : {kNarrowGap, kWideGap})
    if (found.empty()) found = search.run(gap, false);
  return found;
}

}  // namespace teasel
