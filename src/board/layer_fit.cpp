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

/// How a file lies whose points another one states: "shifted by (0.2, 0) mm", "stretched by a factor of 1.005".
std::string in_words(const Similarity& lies, const std::vector<Point>& points) {
  Box box;
  for (const Point p : points) box.add(p);
  const double half = 0.5 * std::hypot(box.width(), box.height());
  const double scale = std::hypot(lies.a, lies.b), turn = std::atan2(lies.b, lies.a);
  const Point shift = lies(box.centre()) - box.centre();
  std::string text;
  auto add = [&](const std::string& part) { text += (text.empty() ? "" : ", ") + part; };
  if (length(shift) > kSamePlace)
    add("shifted by (" + short_number(shift.x, 3) + ", " + short_number(shift.y, 3) + ") mm at the middle");
  if (std::abs(scale - 1) * half > kSamePlace) add("stretched by a factor of " + short_number(scale, 5));
  if (std::abs(turn) * half > kSamePlace)
    add("turned by " + short_number(turn * 180 / std::acos(-1.0), 3) + " degrees");
  return text;
}

Similarity inverse(const Similarity& map) {
  const double size = map.a * map.a + map.b * map.b;
  Similarity back;
  back.a = map.a / size;
  back.b = -map.b / size;
  back.shift = Point{} - back(map.shift);
  return back;
}

/// What is said where points do not lie on their places, though another position of the whole file would bring them
/// there; nothing where they do, and where no other position wins clearly.
struct Misfit {
  std::string message, found;
};
std::optional<Misfit> misfit(const std::vector<Point>& points, const std::string& what,
                             const std::vector<Point>& places, bool file_holds_places = false) {
  constexpr double kMost = 0.8, kClearly = 0.3;
  if (points.size() < kEnough || places.size() < kEnough) return std::nullopt;
  const Lay lay = lay_of(points, places);
  if (lay.moved < kMost || lay.moved < lay.here + kClearly) return std::nullopt;
  const std::string how = in_words(file_holds_places ? lay.map : inverse(lay.map), points);
  if (how.empty()) return std::nullopt;
  return Misfit{"only " + percent(lay.here) + " of the " + std::to_string(points.size()) + " " + what +
                    " lie on the middles of lands",
                "the file is " + how + ": put back, " + percent(lay.moved) +
                    " would lie there. The places differ by up to " + short_number(lay.farthest.v, 3) + " mm"};
}

/// Middles of the plated holes, without slots.
std::vector<Point> plated_holes(const Board& board) {
  std::vector<Point> holes;
  for (const BoardHole& hole : board.holes)
    if (!hole.slot && hole.plating == formats::Plating::plated) holes.push_back(hole.at);
  return holes;
}

/// Copper on the netlist, and holes on the copper.
void check_copper(const Board& board, const Layers& layers, Side side, const Job& job, Diagnostics& diagnostics) {
  if (layers.copper[side].empty()) return;
  const std::vector<Point> copper = flash_centres(layers.copper[side]);
  const std::string& file = layers.copper[side].front().file().name;
  std::vector<Point> pads;
  for (const Feature& feature : board.features)
    if (feature.land[side].present) pads.push_back(feature.at);
  if (!board.traced)
    if (const auto off = misfit(pads, "netlist points of the " + std::string(to_string(side)) + " side", copper, true))
      complain(job, diagnostics,
               {.code = "check-copper-shifted",
                .at = {file, 0, 0, {}},
                .message = off->message,
                .found = off->found,
                .remedy = "give the files of one release"});
  if (const auto off = misfit(plated_holes(board), "plated holes", copper, true))
    complain(job, diagnostics,
             {.code = "check-drill-shifted",
              .at = {file, 0, 0, {}},
              .message = off->message,
              .found = off->found,
              .remedy = "give the files of one release"});
}

/// Openings and paste on the copper.
void check_openings(const Layers& layers, Side side, const Job& job, Diagnostics& diagnostics) {
  const std::vector<Point> copper = flash_centres(layers.copper[side]);
  for (const LayerImage& mask : layers.mask[side])
    if (const auto off = misfit(flash_centres(mask.file()), "mask openings", copper))
      complain(job, diagnostics,
               {.code = "check-mask-shifted",
                .at = {mask.file().name, 0, 0, {}},
                .message = off->message,
                .found = off->found,
                .remedy = "give the mask of this release"});
  for (const LayerImage& paste : layers.paste[side])
    if (const auto off = misfit(flash_centres(paste.file()), "paste openings", copper))
      complain(job, diagnostics,
               {.code = "check-paste-shifted",
                .at = {paste.file().name, 0, 0, {}},
                .message = off->message,
                .found = off->found,
                .remedy = "give the paste layer of this release, or leave it out"});
}
}  // namespace

void check_inner_layers(const Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  const std::vector<Point> holes = plated_holes(board);
  for (std::size_t i = 0; i < sources.layers.size(); ++i) {
    if (sources.layers[i].role != LayerRole::copper_inner) continue;
    if (const auto off = misfit(flash_centres(sources.gerbers[i]), "lands of an inner layer", holes))
      complain(job, diagnostics,
               {.code = "check-inner-shifted",
                .at = {sources.gerbers[i].name, 0, 0, {}},
                .message = "the lands of an inner layer do not lie on the holes",
                .found = off->found,
                .remedy = "give the inner layers of this release"});
  }
}

void check_layers_lie_together(const Board& board, const Layers& layers, const Job& job, Diagnostics& diagnostics) {
  for (const Side side : kBothSides) {
    check_copper(board, layers, side, job, diagnostics);
    check_openings(layers, side, job, diagnostics);
  }
}

}  // namespace teasel
