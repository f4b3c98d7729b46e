// Which holes locate the board.
#include <algorithm>
#include <cmath>
#include <map>

#include "build.h"

namespace teasel {

namespace {
constexpr Mm kPlatedLeast{2.95};    // mounting holes of 3 mm and more
constexpr Mm kLargest{8};           // no tooling pin is thicker
constexpr double kLeastSpan = 5.0;  // mm
constexpr double kNear = 2.0;       // mm; from a named point to its hole
constexpr std::size_t kMostCandidates = 600;
// What a hole costs, as a factor on the locating error: chosen, no source. A hole in a part is taken only where no
// other pair locates the board at all well.
constexpr double kInPart = 20, kNearPart = 3;

HoleId hole_near(const Board& board, BoardPoint p) {
  HoleId best;
  double nearest = kNear;
  for (const HoleId id : board.holes.ids())
    if (const double away = distance(board.holes[id].at, p); !board.holes[id].slot && away < nearest) {
      nearest = away;
      best = id;
    }
  return best;
}
/// The pair that locates best lies far out: of too many holes, those farthest out in sixteen directions stay.
void keep_outermost(const Board& board, std::vector<HoleId>& list) {
  if (list.size() <= kMostCandidates) return;
  std::vector<HoleId> kept;
  for (int k = 0; k < 16; ++k) {
    const double angle = 2 * 3.14159265358979323846 * k / 16;
    const Point u{std::cos(angle), std::sin(angle)};
    std::vector<HoleId> by = list;
    std::stable_sort(by.begin(), by.end(),
                     [&](HoleId x, HoleId y) { return dot(board.holes[x].at, u) > dot(board.holes[y].at, u); });
    kept.insert(kept.end(), by.begin(), by.begin() + static_cast<std::ptrdiff_t>(kMostCandidates / 16));
  }
  std::sort(kept.begin(), kept.end());
  kept.erase(std::unique(kept.begin(), kept.end()), kept.end());
  list = std::move(kept);
}
bool is_plated(const BoardHole& hole) {
  return hole.plating != formats::Plating::unplated;
}
std::vector<HoleId> candidates(const Board& board, Mm unplated_least, bool plated) {
  std::vector<HoleId> out;
  const Polygons area{{board.outline.outer, {}}};
  const auto fits = [&](const BoardHole& hole) {
    return !hole.slot && hole.diameter >= (is_plated(hole) ? kPlatedLeast : unplated_least) &&
           hole.diameter <= kLargest;
  };
  // A panel that has holes of its own, plated or not, is located by them: they outlive its boards.
  const bool own = std::count_if(board.holes.begin(), board.holes.end(),
                                 [&](const BoardHole& hole) { return hole.of_panel && fits(hole); }) >= 2;
  for (const HoleId id : board.holes.ids()) {
    const BoardHole& hole = board.holes[id];
    if (own && !hole.of_panel) continue;
    if (hole.blind || !fits(hole) || is_plated(hole) != plated) continue;
    if (contains(area, hole.at)) out.push_back(id);
  }
  return out;
}

/// What speaks against a pin in this hole: the part that fills it, or one so near that its pocket in a plate would
/// reach the pin's wall.
double crowding(const Board& board, const Rules& rules, const BoardHole& hole) {
  const double wall = hole.diameter.v / 2 + rules.web.v + rules.pocket_clearance.v;
  double factor = 1;
  for (const Component& part : board.components) {
    if (part.body.empty() || !bounds(part.body).grown(wall).contains(hole.at)) continue;
    if (contains(part.body, hole.at)) return kInPart;
    if (distance_to_area(part.body, hole.at) < wall) factor = kNearPart;
  }
  return factor;
}

std::string place_text(const BoardHole& hole) {
  return short_number(hole.diameter.v, 3) + " mm at (" + short_number(hole.at.x, 3) + ", " +
         short_number(hole.at.y, 3) + ")";
}

/// The two holes that the job names; fewer where it names what takes no pin.
void take_named(Board& board, const std::vector<BoardPoint>& pins, const Rules& rules, const Place& at,
                Diagnostics& diagnostics) {
  for (const BoardPoint p : pins) {
    const HoleId id = hole_near(board, p);
    if (!id)
      return diagnostics.error({.code = "tooling-not-found",
                                .at = at,
                                .message = "no round hole lies within 2 mm of a named tooling hole",
                                .found = short_number(p.x, 3) + ", " + short_number(p.y, 3) + " mm",
                                .remedy = "correct the point"});
    const BoardHole& hole = board.holes[id];
    if (hole.diameter < rules.tooling_hole_least || hole.diameter > kLargest || hole.blind)
      return diagnostics.error({.code = "tooling-unfit",
                                .at = at,
                                .message = "a named tooling hole cannot take a pin",
                                .found = place_text(hole) + (hole.blind ? ", blind" : ""),
                                .expected = short_number(rules.tooling_hole_least.v, 2) + " to 8 mm, through the board",
                                .remedy = "name another, or lower tooling_hole_least in a rule file of your own"});
    board.tooling.push_back(id);
  }
  if (board.tooling[0] == board.tooling[1])
    return diagnostics.error(
        {.code = "tooling-same", .at = at, .message = "both tooling points name one hole", .remedy = "name two holes"});
  if (const double span = distance(board.holes[board.tooling[0]].at, board.holes[board.tooling[1]].at);
      span < kLeastSpan)
    diagnostics.error({.code = "tooling-near",
                       .at = at,
                       .message = "the named tooling holes are too close together to keep the board from turning",
                       .found = short_number(span, 2) + " mm",
                       .expected = short_number(kLeastSpan, 1) + " mm or more",
                       .remedy = "name others"});
}

/// Every pair is judged by the worst locating error it leaves at the board's corners; plated holes pay with more play.
/// Says how many were judged.
std::string take_best(Board& board, const Rules& rules) {
  std::vector<HoleId> list = candidates(board, rules.tooling_hole_least, false);
  for (const HoleId id : candidates(board, rules.tooling_hole_least, true)) list.push_back(id);
  const std::size_t holes = list.size();
  keep_outermost(board, list);
  const Box box = bounds(board.outline.outer);
  std::map<HoleId, double> crowded;
  for (const HoleId id : list) crowded[id] = crowding(board, rules, board.holes[id]);
  double best = 1e300;
  std::size_t pairs = 0;
  for (const HoleId i : list)
    for (const HoleId j : list) {
      if (i == j) continue;
      const BoardHole &round = board.holes[i], &relieved = board.holes[j];
      if (distance(round.at, relieved.at) < kLeastSpan) continue;
      double worst = 0;
      pairs += i < j;
      for (Point corner : {Point{box.x0, box.y0}, {box.x1, box.y0}, {box.x0, box.y1}, {box.x1, box.y1}}) {
        const LocatingError error =
            locating_error(round.at, play_of(round, rules), relieved.at, play_of(relieved, rules), corner);
        worst = std::max(worst, error.xx.v + error.yy.v);
      }
      // The error is a variance: a factor on the error counts twice.
      const double factor = std::max(crowded[i], crowded[j]);
      worst *= factor * factor;
      if (worst < best * (1 - 1e-9)) {
        best = worst;
        board.tooling = {i, j};
      }
    }
  std::string judged;
  if (holes > list.size())
    judged = ", the outermost " + std::to_string(list.size()) + " of " + std::to_string(holes) + " holes looked at";
  return judged + ", of " + std::to_string(pairs) + (pairs == 1 ? " pair" : " pairs") + " judged";
}
}  // namespace

void choose_tooling(Board& board, const Job& job, const Rules& rules, const std::vector<BoardPoint>& pins,
                    Diagnostics& diagnostics) {
  const Place at{job.file, 0, 0, "fixture.tooling"};
  std::string judged;
  if (pins.size() == 2) {
    const std::size_t errors = diagnostics.errors();
    take_named(board, pins, rules, at, diagnostics);
    if (diagnostics.errors() > errors) return;
  } else {
    judged = take_best(board, rules);
  }
  for (const HoleId id : board.tooling) board.tooling_plated |= is_plated(board.holes[id]);
  if (board.tooling.size() < 2) {
    board.tooling.clear();
    diagnostics.warn({.code = "tooling-none",
                      .at = at,
                      .message = "the board has no two holes that are suitable for tooling pins. It is located by its "
                                 "edges, which lowers the hit odds",
                      .found = "unplated holes of " + short_number(rules.tooling_hole_least.v, 2) +
                               " mm or more: fewer than two; plated ones of 3 mm or more: fewer than two",
                      .remedy = board.bench.used ? "list the holes among the pads: side both, drill_mm, plated no"
                                                 : "name two holes in  [fixture] tooling"});
    return;
  }
  const std::string pair =
      place_text(board.holes[board.tooling[0]]) + " and " + place_text(board.holes[board.tooling[1]]);
  find_wrong_ways(board, rules, diagnostics, at);
  if (board.tooling_plated)
    diagnostics.warn(
        {.code = "tooling-plated",
         .at = at,
         .message = pins.empty()
                        ? "plated holes are used as tooling holes, since no unplated pair locates the board better"
                        : "the named tooling holes are plated. Their size varies more, and more play is allowed for",
         .found = pair,
         .remedy = "name others in  [fixture] tooling"});
  else
    diagnostics.note(
        {.code = "tooling-chosen",
         .at = at,
         .message = pins.empty()
                        ? "tooling holes chosen: the pair that leaves the least error at the corners (round pin first)"
                        : "tooling holes as named",
         .found = pair + judged,
         .remedy = "override them with  [fixture] tooling"});
}

}  // namespace teasel
