// How the files lie on one another: what is drawn about one and the same land or hole has one centre in all of them. A
// shift or a stretch that is too small for a pad to be missed still moves every probe.
#include <algorithm>
#include <cmath>

#include "build.h"
#include "teasel/words.h"

namespace teasel {

namespace {
constexpr double kSamePlace = 0.03;  // mm; coordinates of all formats are finer than this
constexpr std::size_t kEnough = 10;  // pairs, below which nothing is concluded

/// x' = a x - b y + shift.x, y' = b x + a y + shift.y.
struct Similarity {
  double a = 1, b = 0;
  Point shift;
  [[nodiscard]] Point operator()(Point p) const { return {a * p.x - b * p.y + shift.x, b * p.x + a * p.y + shift.y}; }
};

/// Least squares over pairs: the linear part from centred coordinates, then the shift.
Similarity similarity_of(const std::vector<Point>& from, const std::vector<Point>& to) {
  const double count = static_cast<double>(from.size());
  Point middle{}, other{};
  for (std::size_t i = 0; i < from.size(); ++i) {
    middle = middle + (1 / count) * from[i];
    other = other + (1 / count) * to[i];
  }
  double along = 0, across = 0, size = 0;
  for (std::size_t i = 0; i < from.size(); ++i) {
    const Point p = from[i] - middle, q = to[i] - other;
    along += p.x * q.x + p.y * q.y;
    across += p.x * q.y - p.y * q.x;
    size += p.x * p.x + p.y * p.y;
  }
  Similarity map;
  if (size > 0) {
    map.a = along / size;
    map.b = across / size;
  }
  map.shift = other - Point{map.a * middle.x - map.b * middle.y, map.b * middle.x + map.a * middle.y};
  return map;
}

/// How points lie on the places where they should be.
struct Lay {
  double here = 0;   ///< share of the points that lie on a place
  double moved = 0;  ///< the same after `map`
  Similarity map;    ///< from the points to the places
  Mm farthest;       ///< that it moves a point
};

double share_on(const std::vector<Point>& points, const PointGrid& places, const Similarity& map) {
  std::size_t met = 0;
  for (const Point p : points) met += places.nearest(map(p), kSamePlace) >= 0;
  return static_cast<double>(met) / static_cast<double>(points.size());
}

Lay lay_of(const std::vector<Point>& points, const std::vector<Point>& places) {
  constexpr double kFarthest = 0.6;  // mm; what lies farther off misses its pads, which other checks tell
  PointGrid grid(kFarthest);
  for (std::size_t i = 0; i < places.size(); ++i) grid.add(places[i], static_cast<int>(i));
  Lay lay;
  lay.here = lay.moved = share_on(points, grid, {});
  if (lay.here > 0.9) return lay;
  // Neighbours may be nearer than the right place: a common shift first, then ever nearer pairs.
  const OffsetFit offset = fit_offset(points, places, kSamePlace);
  for (const Point start : {offset.offset, Point{}}) {
    Similarity map{.shift = start};
    for (const double reach : {kFarthest, kFarthest, 0.3, 0.15, 0.06, 0.06}) {
      std::vector<Point> from, to;
      for (const Point p : points)
        if (const int i = grid.nearest(map(p), reach); i >= 0) {
          from.push_back(p);
          to.push_back(places[static_cast<std::size_t>(i)]);
        }
      if (from.size() < kEnough) break;
      map = similarity_of(from, to);
    }
    if (const double share = share_on(points, grid, map); share > lay.moved) {
      lay.moved = share;
      lay.map = map;
    }
  }
  for (const Point p : points) lay.farthest = std::max(lay.farthest, Mm{distance(lay.map(p), p)});
  return lay;
}

/// "shifted by (0.2, 0) mm", "stretched by 1.005", and both.
std::string in_words(const Lay& lay, const std::vector<Point>& points) {
  Box box;
  for (const Point p : points) box.add(p);
  const double half = 0.5 * std::hypot(box.width(), box.height());
  const double scale = std::hypot(lay.map.a, lay.map.b), turn = std::atan2(lay.map.b, lay.map.a);
  const Point shift = lay.map(box.centre()) - box.centre();
  std::string text;
  auto add = [&](const std::string& part) { text += (text.empty() ? "" : ", ") + part; };
  // From where they are drawn to where they belong, so each is told the other way round.
  if (length(shift) > kSamePlace)
    add("shifted by (" + short_number(-shift.x, 3) + ", " + short_number(-shift.y, 3) + ") mm at the middle");
  if (std::abs(scale - 1) * half > kSamePlace) add("stretched by a factor of " + short_number(1 / scale, 5));
  if (std::abs(turn) * half > kSamePlace)
    add("turned by " + short_number(-turn * 180 / std::acos(-1.0), 3) + " degrees");
  return text;
}

/// What is said where points do not lie on their places, though another position of the whole file would bring them
/// there.
struct Question {
  const char* code;
  std::string file, what, places, remedy;
};
void ask(const Question& question, const std::vector<Point>& points, const std::vector<Point>& places, const Job& job,
         Diagnostics& diagnostics) {
  if (points.size() < kEnough || places.size() < kEnough) return;
  const Lay lay = lay_of(points, places);
  // The other position must win clearly: by most of the points for an error, by many for a warning.
  constexpr double kMost = 0.8, kMany = 0.5, kClearly = 0.3;
  if (lay.moved < kMany || lay.moved < lay.here + kClearly) return;
  const std::string how = in_words(lay, points);
  if (how.empty()) return;
  Saying saying{.code = question.code,
                .at = {question.file, 0, 0, {}},
                .message = "only " + percent(lay.here) + " of the " + std::to_string(points.size()) + " " +
                           question.what + " lie on the middles of " + question.places,
                .found = "the file is " + how + ": put back, " + percent(lay.moved) +
                         " would. Points would move by up to " + short_number(lay.farthest.v, 3) + " mm",
                .remedy = question.remedy};
  if (lay.moved >= kMost)
    complain(job, diagnostics, std::move(saying));
  else
    diagnostics.warn(std::move(saying));
}

/// Copper on the netlist, or, without one, on the holes; openings and paste on the copper.
void check_side(const Board& board, const Layers& layers, Side side, const Job& job, Diagnostics& diagnostics) {
  const std::vector<Point> copper = flash_centres(layers.copper[side]);
  std::vector<Point> pads, holes;
  for (const Feature& feature : board.features)
    if (feature.land[side].present) pads.push_back(feature.at);
  for (const BoardHole& hole : board.holes)
    if (!hole.slot && hole.plating == formats::Plating::plated) holes.push_back(hole.at);
  if (!copper.empty()) {
    const std::string file = layers.copper[side].front().file().name;
    if (!board.traced)
      ask({"check-copper-shifted", file, "netlist points of the " + std::string(to_string(side)) + " side",
           "lands that this file draws", "give the files of one release"},
          pads, copper, job, diagnostics);
    ask({"check-drill-shifted", file, "plated holes", "lands that this file draws", "give the files of one release"},
        holes, copper, job, diagnostics);
  }
  for (const LayerImage& mask : layers.mask[side])
    ask({"check-mask-shifted", mask.file().name, "mask openings",
         "lands of the " + std::string(to_string(side)) + " side", "give the mask of this release"},
        flash_centres(mask.file()), copper, job, diagnostics);
  for (const LayerImage& paste : layers.paste[side])
    ask({"check-paste-shifted", paste.file().name, "paste openings",
         "lands of the " + std::string(to_string(side)) + " side",
         "give the paste layer of this release, or leave it out"},
        flash_centres(paste.file()), copper, job, diagnostics);
}
}  // namespace

void check_layers_lie_together(const Board& board, const Layers& layers, const Job& job, Diagnostics& diagnostics) {
  for (const Side side : kBothSides) check_side(board, layers, side, job, diagnostics);
}

}  // namespace teasel
