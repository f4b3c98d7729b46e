// Which holes locate the board.
#include <algorithm>

#include "build.h"

namespace teasel {

namespace {
constexpr double kPlatedLeast = 2.95;           // mm; mounting holes of 3 mm and more
constexpr double kLeastSpan = 5.0;              // mm
constexpr std::size_t kMostCandidates = 600;

int hole_near(const Board& b, Point p) {
  int best = -1;
  double bd = 2.0;
  for (std::size_t i = 0; i < b.holes.size(); ++i)
    if (const double dist = distance(b.holes[i].at, p); !b.holes[i].slot && dist < bd) bd = dist, best = static_cast<int>(i);
  return best;
}
std::vector<int> candidates(const Board& b, double least, bool plated) {
  std::vector<int> out;
  const Polygons board{{b.outline.outer, {}}};
  // A panel that has holes of its own is located by them: they outlive its boards.
  const bool own = std::count_if(b.holes.begin(), b.holes.end(), [](const BoardHole& h) { return h.of_panel; }) >= 2;
  for (std::size_t i = 0; i < b.holes.size(); ++i) {
    const BoardHole& h = b.holes[i];
    if (own && !h.of_panel) continue;
    if (h.slot || h.blind || h.diameter < least || h.diameter > 8 || (h.plating != formats::Plating::unplated) != plated) continue;
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
      if (h < 0) return d.error("tooling-not-found", at, "no round hole lies within 2 mm of a named tooling hole", short_number(p.x, 3) + ", " + short_number(p.y, 3) + " mm", {}, "correct the point");
      b.tooling.push_back(h);
    }
    if (b.tooling[0] == b.tooling[1]) return d.error("tooling-same", at, "both tooling points name one hole", {}, {}, "name two holes");
  } else {
    // Every pair is judged by the worst locating error it leaves at the board's corners; plated holes pay with more play.
    std::vector<int> list = candidates(b, rules.tooling_hole_least.v, false);
    for (int h : candidates(b, kPlatedLeast, true)) list.push_back(h);
    if (list.size() > kMostCandidates) list.resize(kMostCandidates);
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
        if (worst < best * (1 - 1e-9)) best = worst, b.tooling = {i, j};
      }
    judged = ", of " + std::to_string(pairs) + (pairs == 1 ? " pair" : " pairs") + " judged";
    for (int h : b.tooling) b.tooling_plated |= b.holes[static_cast<std::size_t>(h)].plating != formats::Plating::unplated;
  }
  if (b.tooling.size() < 2) {
    b.tooling.clear();
    d.warn("tooling-none", at, "the board has no two holes fit for tooling pins; it is located by its edges and the odds say so",
           "unplated holes of " + short_number(rules.tooling_hole_least.v, 2) + " mm or more: fewer than two; plated ones of 3 mm or more: fewer than two",
           b.bench.used ? "list the holes among the pads: side both, drill_mm, plated no" : "name two holes in  [fixture] tooling");
    return;
  }
  auto text = [&](int i) {
    const BoardHole& h = b.holes[static_cast<std::size_t>(i)];
    return short_number(h.diameter, 3) + " mm at (" + short_number(h.at.x, 3) + ", " + short_number(h.at.y, 3) + ")";
  };
  const std::string pair = text(b.tooling[0]) + " and " + text(b.tooling[1]);
  find_wrong_ways(b, rules, d, at);
  if (b.tooling_plated)
    d.warn("tooling-plated", at, "plated holes are taken as tooling holes, since no unplated pair locates the board better", pair, "name others in  [fixture] tooling");
  else
    d.note("tooling-chosen", at, job.tooling.empty() ? "tooling holes chosen: the pair that leaves the least error at the corners (round pin first)" : "tooling holes as named", pair + judged, "overrule with  [fixture] tooling");
}

}  // namespace teasel
