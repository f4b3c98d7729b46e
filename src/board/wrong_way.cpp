// Can the board be loaded the wrong way round? Two pins alone never tell: what they allow is named, with what to add.
#include <algorithm>
#include <cmath>

#include "build.h"

namespace teasel {

namespace {
constexpr double kGuide = 1.0;       // mm; an edge guide is set with this much room at least (common practice, no source)
constexpr std::size_t kMostHoles = 2'000, kMostWays = 6;
constexpr double kPinLeast = 1.5;    // mm; a thinner third pin bends (from memory)

struct Pins {
  Point a, b;
  double pin_a{}, pin_b{}, play{};
};

/// The motion of the plane, mirrored or not, that takes p to a and the direction of q to that of b.
Affine motion(Point p, Point q, const Pins& pins, bool mirrored) {
  const Point from = q - p, to = pins.b - pins.a;
  const double scale = 1 / (length(from) * length(to));
  // As complex numbers: w = to / from, or to / conj(from) for a mirrored motion.
  const double c = (mirrored ? from.x * to.x - from.y * to.y : dot(from, to)) * scale, s = (mirrored ? from.x * to.y + from.y * to.x : cross(from, to)) * scale;
  Affine m = mirrored ? Affine{c, s, s, -c, 0, 0} : Affine{c, -s, s, c, 0, 0};
  const Point at = m(p);
  m.e = pins.a.x - at.x, m.f = pins.a.y - at.y;
  return m;
}

std::string name_of(const Affine& m, bool mirrored, bool kept, bool swapped, Point p, Point q) {
  const double turn = std::atan2(m.c, m.a) * 180 / 3.14159265358979323846;
  const std::string holes = ", holes (" + short_number(p.x, 2) + ", " + short_number(p.y, 2) + ") and (" + short_number(q.x, 2) + ", " + short_number(q.y, 2) + ") on the pins";
  if (!mirrored && swapped) return "half turn";
  if (!mirrored) return (std::abs(turn) < 0.5 ? "shifted by (" + short_number(m.e, 2) + ", " + short_number(m.f, 2) + ") mm" : "turned by " + short_number(turn, 1) + " degrees") + holes;
  return kept ? "turned over about the line through both pins" : swapped ? "turned over end to end" : "turned over" + holes;
}

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
  const Polygons moved = transformed({b.outline}, map);  // a cutout over the pin stops nothing
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
  const Pins pins{round.at, relieved.at, round.diameter - clearance, relieved.diameter - clearance, clearance};
  const double span = distance(pins.a, pins.b);
  std::vector<WrongWay> ways;
  // Every pair of holes that takes the pins at their distance, either way up.
  std::vector<int> takes;
  for (std::size_t h = 0; h < b.holes.size(); ++h)
    if (!b.holes[h].slot && !b.holes[h].blind && b.holes[h].diameter >= std::min(pins.pin_a, pins.pin_b)) takes.push_back(static_cast<int>(h));
  if (takes.size() > kMostHoles) takes.resize(kMostHoles);
  for (const int i : takes)
    for (const int j : takes) {
      const BoardHole &p = b.holes[static_cast<std::size_t>(i)], &q = b.holes[static_cast<std::size_t>(j)];
      if (i == j || p.diameter < pins.pin_a || q.diameter < pins.pin_b) continue;
      if (std::abs(distance(p.at, q.at) - span) > pins.play + (p.diameter - pins.pin_a) / 2 + (q.diameter - pins.pin_b) / 2) continue;
      const bool kept = i == b.tooling[0] && j == b.tooling[1], swapped = i == b.tooling[1] && j == b.tooling[0];
      for (const bool mirrored : {false, true}) {
        if (kept && !mirrored) continue;  // as it is meant
        const Affine m = motion(p.at, q.at, pins, mirrored);
        ways.push_back({name_of(m, mirrored, kept, swapped, p.at, q.at), m, mirrored, 0, {}, {}});
      }
    }
  const Polygons home{{b.outline.outer, {}}};
  std::vector<int> thirds;
  for (std::size_t h = 0; h < b.holes.size(); ++h) {
    const BoardHole& x = b.holes[h];
    const bool tool = static_cast<int>(h) == b.tooling[0] || static_cast<int>(h) == b.tooling[1];
    if (!tool && !x.slot && !x.blind && x.plating == formats::Plating::unplated && x.diameter >= kPinLeast + clearance && x.diameter <= 8) thirds.push_back(static_cast<int>(h));
  }
  if (thirds.size() > 300) thirds.resize(300);
  for (WrongWay& w : ways) w.sticks_out = sticks_out(home, transformed(b.outline.outer, w.map), w.at);
  // A board that hangs over by more than half of itself is not loaded by mistake.
  const Box box = bounds(b.outline.outer);
  const double most = std::max(box.width(), box.height()) / 2;
  std::stable_sort(ways.begin(), ways.end(), [](const WrongWay& x, const WrongWay& y) { return x.sticks_out < y.sticks_out; });
  const std::size_t all = ways.size();
  ways.erase(std::remove_if(ways.begin(), ways.end(), [&](const WrongWay& w) { return w.sticks_out > most; }), ways.end());
  if (ways.size() > kMostWays) ways.resize(kMostWays);
  for (WrongWay& w : ways) {
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
  if (all > ways.size()) d.note("tooling-wrong-ways", at, "further wrong ways go on both pins with more of the board sticking out", std::to_string(all - ways.size()), {});
  b.wrong_ways = std::move(ways);
}

}  // namespace teasel
