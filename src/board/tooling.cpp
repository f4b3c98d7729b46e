// Which holes locate the board.
#include <algorithm>
#include <cmath>

#include "build.h"

namespace teasel {

namespace {
constexpr double kPlatedLeast = 2.95;  // mm; mounting holes of 3 mm and more
constexpr double kLeastSpan = 5.0;     // mm
constexpr std::size_t kMostCandidates = 600;

int hole_near(const Board& b, Point p) {
  int best = -1;
  double bd = 2.0;
  for (std::size_t i = 0; i < b.holes.size(); ++i)
    if (const double dist = distance(b.holes[i].at, p); !b.holes[i].slot && dist < bd) {
      bd = dist;
      best = static_cast<int>(i);
    }
  return best;
}
/// The pair that locates best lies far out: of too many holes, those farthest out in sixteen directions stay.
void keep_outermost(const Board& b, std::vector<int>& list) {
  if (list.size() <= kMostCandidates) return;
  std::vector<int> kept;
  for (int k = 0; k < 16; ++k) {
    const double a = 2 * 3.14159265358979323846 * k / 16;
    const Point u{std::cos(a), std::sin(a)};
    std::vector<int> by = list;
    std::stable_sort(by.begin(), by.end(), [&](int x, int y) {
      return dot(b.holes[static_cast<std::size_t>(x)].at, u) > dot(b.holes[static_cast<std::size_t>(y)].at, u);
    });
    kept.insert(kept.end(), by.begin(), by.begin() + static_cast<std::ptrdiff_t>(kMostCandidates / 16));
  }
  std::sort(kept.begin(), kept.end());
  kept.erase(std::unique(kept.begin(), kept.end()), kept.end());
  list = std::move(kept);
}
std::vector<int> candidates(const Board& b, double unplated_least, bool plated) {
  const double least = plated ? kPlatedLeast : unplated_least;
  std::vector<int> out;
  const Polygons board{{b.outline.outer, {}}};
  // A panel that has holes of its own, plated or not, is located by them: they outlive its boards.
  const bool own = std::count_if(b.holes.begin(), b.holes.end(), [&](const BoardHole& h) {
                     return h.of_panel && !h.slot &&
                            h.diameter >= (h.plating == formats::Plating::unplated ? unplated_least : kPlatedLeast) &&
                            h.diameter <= 8;
                   }) >= 2;
  for (std::size_t i = 0; i < b.holes.size(); ++i) {
    const BoardHole& h = b.holes[i];
    if (own && !h.of_panel) continue;
    if (h.slot || h.blind || h.diameter < least || h.diameter > 8 ||
        (h.plating != formats::Plating::unplated) != plated)
      continue;
    if (!contains(board, h.at)) continue;
    out.push_back(static_cast<int>(i));
  }
  return out;
}
}  // namespace

void choose_tooling(Board& b, const Job& job, const Rules& rules, Diagnostics& d) {
  const Place at{job.file, 0, 0, "fixture.tooling"};
  std::string judged;
  if (job.tooling.size() == 2) {
    for (Point p : job.tooling) {
      const int h = hole_near(b, p);
      if (h < 0)
        return d.error("tooling-not-found", at, "no round hole lies within 2 mm of a named tooling hole",
                       short_number(p.x, 3) + ", " + short_number(p.y, 3) + " mm", {}, "correct the point");
      const BoardHole& hole = b.holes[static_cast<std::size_t>(h)];
      if (hole.diameter < rules.tooling_hole_least.v || hole.diameter > 8 || hole.blind)
        return d.error("tooling-unfit", at, "a named tooling hole takes no pin",
                       short_number(hole.diameter, 3) + " mm at (" + short_number(hole.at.x, 3) + ", " +
                           short_number(hole.at.y, 3) + ")" + (hole.blind ? ", blind" : ""),
                       short_number(rules.tooling_hole_least.v, 2) + " to 8 mm, through the board",
                       "name another, or lower tooling_hole_least in a rule file of your own");
      b.tooling_plated |= hole.plating != formats::Plating::unplated;
      b.tooling.push_back(h);
    }
    if (b.tooling[0] == b.tooling[1])
      return d.error("tooling-same", at, "both tooling points name one hole", {}, {}, "name two holes");
    if (const double span = distance(b.holes[static_cast<std::size_t>(b.tooling[0])].at,
                                     b.holes[static_cast<std::size_t>(b.tooling[1])].at);
        span < kLeastSpan)
      return d.error("tooling-near", at,
                     "the named tooling holes lie too near to one another to keep the board from turning",
                     short_number(span, 2) + " mm", short_number(kLeastSpan, 1) + " mm or more", "name others");
  } else {
    // Every pair is judged by the worst locating error it leaves at the board's corners; plated holes pay with more
    // play.
    std::vector<int> list = candidates(b, rules.tooling_hole_least.v, false);
    for (int h : candidates(b, rules.tooling_hole_least.v, true)) list.push_back(h);
    const std::size_t holes = list.size();
    keep_outermost(b, list);
    const Box box = bounds(b.outline.outer);
    double best = 1e300;
    std::size_t pairs = 0;
    for (int i : list)
      for (int j : list) {
        if (i == j) continue;
        const BoardHole &p = b.holes[static_cast<std::size_t>(i)], &q = b.holes[static_cast<std::size_t>(j)];
        if (distance(p.at, q.at) < kLeastSpan) continue;
        double worst = 0;
        pairs += i < j;
        for (Point corner : {Point{box.x0, box.y0}, {box.x1, box.y0}, {box.x0, box.y1}, {box.x1, box.y1}}) {
          const LocatingError l = locating_error(p.at, play_of(p, rules), q.at, play_of(q, rules), corner);
          worst = std::max(worst, l.xx + l.yy);
        }
        if (worst < best * (1 - 1e-9)) {
          best = worst;
          b.tooling = {i, j};
        }
      }
    judged = (holes > list.size() ? ", the outermost " + std::to_string(list.size()) + " of " + std::to_string(holes) +
                                        " holes looked at"
                                  : std::string()) +
             ", of " + std::to_string(pairs) + (pairs == 1 ? " pair" : " pairs") + " judged";
    for (int h : b.tooling)
      b.tooling_plated |= b.holes[static_cast<std::size_t>(h)].plating != formats::Plating::unplated;
  }
  if (b.tooling.size() < 2) {
    b.tooling.clear();
    d.warn("tooling-none", at,
           "the board has no two holes fit for tooling pins; it is located by its edges and the odds say so",
           "unplated holes of " + short_number(rules.tooling_hole_least.v, 2) +
               " mm or more: fewer than two; plated ones of 3 mm or more: fewer than two",
           b.bench.used ? "list the holes among the pads: side both, drill_mm, plated no"
                        : "name two holes in  [fixture] tooling");
    return;
  }
  auto text = [&](int i) {
    const BoardHole& h = b.holes[static_cast<std::size_t>(i)];
    return short_number(h.diameter, 3) + " mm at (" + short_number(h.at.x, 3) + ", " + short_number(h.at.y, 3) + ")";
  };
  const std::string pair = text(b.tooling[0]) + " and " + text(b.tooling[1]);
  find_wrong_ways(b, rules, d, at);
  if (b.tooling_plated)
    d.warn("tooling-plated", at,
           job.tooling.empty()
               ? "plated holes are taken as tooling holes, since no unplated pair locates the board better"
               : "named tooling holes are plated: their size varies more, and the play counts for it",
           pair, "name others in  [fixture] tooling");
  else
    d.note("tooling-chosen", at,
           job.tooling.empty()
               ? "tooling holes chosen: the pair that leaves the least error at the corners (round pin first)"
               : "tooling holes as named",
           pair + judged, "overrule with  [fixture] tooling");
}

}  // namespace teasel
