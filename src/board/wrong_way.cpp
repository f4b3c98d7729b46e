// Can the board be loaded the wrong way round? Two pins alone never tell: what they allow is named, with what to add.
#include <algorithm>

#include "build.h"

namespace teasel {

namespace {
constexpr double kGuide = 1.0;       // mm; an edge guide is set with this much room at least (common practice, no source)
constexpr double kPinLeast = 1.5;    // mm; a thinner third pin bends (from memory)

struct Pins {
  Point a, b;
  double hole_a{}, hole_b{}, pin_a{}, pin_b{};
};

/// True if the hole of the board that then lies over a pin takes it.
bool goes_on(const Pins& p, bool swapped) { return !swapped || (p.hole_a >= p.pin_b && p.hole_b >= p.pin_a); }

/// Farthest point of `moved` outside `home`.
double sticks_out(const Polygons& home, const Ring& moved, Point& at) {
  double most = 0;
  for (std::size_t i = 0; i < moved.size(); ++i) {
    const Point p = moved[i], q = moved[(i + 1) % moved.size()];
    const int steps = std::clamp(static_cast<int>(distance(p, q) / 1.0), 1, 200);
    for (int k = 0; k < steps; ++k) {
      const Point x = p + (static_cast<double>(k) / steps) * (q - p);
      if (const double d = distance_to_area(home, x); d > most) most = d, at = x;
    }
  }
  return most;
}

/// A pin in hole h stops a board that lies as `map` says: no hole of it that takes the pin then lies there.
bool stops(const Board& b, const Affine& map, int h, double clearance) {
  const BoardHole& third = b.holes[static_cast<std::size_t>(h)];
  const double pin = third.diameter - clearance;
  const Polygons moved{{transformed(b.outline.outer, map), {}}};
  if (!contains(moved, third.at) || distance_to_boundary(moved, third.at) < pin / 2) return false;
  return std::none_of(b.holes.begin(), b.holes.end(), [&](const BoardHole& g) {
    const double nearest = distance_to_segment(third.at, map(g.at), map(g.slot ? g.end : g.at));
    return nearest <= std::max(0.0, (g.diameter - pin) / 2) + clearance;
  });
}
}  // namespace

void find_wrong_ways(Board& b, const Rules& rules, Diagnostics& d, const Place& at) {
  b.wrong_ways.clear();
  if (b.tooling.size() != 2) return;
  const BoardHole &round = b.holes[static_cast<std::size_t>(b.tooling[0])], &relieved = b.holes[static_cast<std::size_t>(b.tooling[1])];
  const double clearance = rules.errors.pin_clearance.v;
  const Pins p{round.at, relieved.at, round.diameter, relieved.diameter, round.diameter - clearance, relieved.diameter - clearance};
  const Point u = (1 / distance(p.a, p.b)) * (p.b - p.a);
  const double c2 = u.x * u.x - u.y * u.y, s2 = 2 * u.x * u.y;
  const Point middle = 0.5 * (p.a + p.b);
  auto about = [](Affine m, Point centre) { return m.e = centre.x - m.a * centre.x - m.b * centre.y, m.f = centre.y - m.c * centre.x - m.d * centre.y, m; };
  std::vector<WrongWay> ways;
  if (goes_on(p, true)) ways.push_back({"half turn", about({-1, 0, 0, -1, 0, 0}, middle), false, 0, {}, {}});
  ways.push_back({"turned over about the line through both pins", about({c2, s2, s2, -c2, 0, 0}, p.a), true, 0, {}, {}});
  if (goes_on(p, true)) ways.push_back({"turned over end to end", about({-c2, -s2, -s2, c2, 0, 0}, middle), true, 0, {}, {}});
  const Polygons home{{b.outline.outer, {}}};
  std::vector<int> thirds;
  for (std::size_t h = 0; h < b.holes.size(); ++h) {
    const BoardHole& x = b.holes[h];
    const bool tool = static_cast<int>(h) == b.tooling[0] || static_cast<int>(h) == b.tooling[1];
    if (!tool && !x.slot && !x.blind && x.plating == formats::Plating::unplated && x.diameter >= kPinLeast + clearance && x.diameter <= 8) thirds.push_back(static_cast<int>(h));
  }
  if (thirds.size() > 300) thirds.resize(300);
  for (WrongWay& w : ways) {
    w.sticks_out = sticks_out(home, transformed(b.outline.outer, w.map), w.at);
    for (const int h : thirds)
      if (stops(b, w.map, h, clearance)) w.third_pin.push_back(h);
  }
  // One pin that stops all of them comes first in each.
  auto stopped = [&](int h) { return std::count_if(ways.begin(), ways.end(), [&](const WrongWay& w) { return std::find(w.third_pin.begin(), w.third_pin.end(), h) != w.third_pin.end(); }); };
  for (WrongWay& w : ways) std::stable_sort(w.third_pin.begin(), w.third_pin.end(), [&](int x, int y) { return stopped(x) > stopped(y); });
  for (const WrongWay& w : ways) {
    std::string remedy;
    if (!w.third_pin.empty()) {
      const BoardHole& h = b.holes[static_cast<std::size_t>(w.third_pin[0])];
      remedy = "add a pin of " + short_number(h.diameter - clearance, 3) + " mm in the hole at (" + short_number(h.at.x, 3) + ", " + short_number(h.at.y, 3) + ")";
    }
    if (w.sticks_out >= kGuide) remedy += (remedy.empty() ? "add" : ", or") + std::string(" an edge guide beside the board at (") + short_number(w.at.x, 2) + ", " + short_number(w.at.y, 2) + "), where the wrong way sticks out";
    if (remedy.empty()) remedy = "nothing on the board tells: ask for a third unplated hole off the pattern, or for holes of two sizes";
    d.warn("tooling-wrong-way", at, "the board also goes on both pins the wrong way: " + w.how, w.sticks_out < kGuide ? "its outline then lies within " + short_number(w.sticks_out, 2) + " mm of its place" : "its outline then sticks out by " + short_number(w.sticks_out, 2) + " mm, but nothing stands there yet", remedy);
  }
  b.wrong_ways = std::move(ways);
}

}  // namespace teasel
