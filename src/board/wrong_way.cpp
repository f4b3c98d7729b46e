// Can the board be loaded the wrong way round? Two pins alone never tell: what they allow is named, with what to add.
#include <algorithm>
#include <cmath>
#include <map>
#include <optional>
#include <tuple>

#include "build.h"
#include "teasel/parallel.h"

namespace teasel {

namespace {
constexpr double kGuide = 1.0;  // mm; an edge guide is set with this much room at least (common practice, no source)
constexpr std::size_t kMostHoles = 2'000, kMostTried = 500, kMostThirds = 300, kMostWays = 6, kMostSlots = 100;
constexpr int kSlotSteps = 16;     // places along a slot at which a pin is tried
constexpr double kPinLeast = 1.5;  // mm; a thinner third pin bends (from memory)

struct Pins {
  Point a, b;
  double pin_a{}, pin_b{}, play{};
};

/// The motion of the plane, mirrored or not, that takes p to a and the direction of q to that of b.
Affine motion(Point p, Point q, const Pins& pins, bool mirrored) {
  const Point from = q - p, to = pins.b - pins.a;
  const double scale = 1 / (length(from) * length(to));
  // As complex numbers: w = to / from, or to / conj(from) for a mirrored motion.
  const double c = (mirrored ? from.x * to.x - from.y * to.y : dot(from, to)) * scale,
               s = (mirrored ? from.x * to.y + from.y * to.x : cross(from, to)) * scale;
  Affine m = mirrored ? Affine{c, s, s, -c, 0, 0} : Affine{c, -s, s, c, 0, 0};
  const Point at = m(p);
  m.e = pins.a.x - at.x;
  m.f = pins.a.y - at.y;
  return m;
}

std::string name_of(const Affine& m, bool mirrored, bool kept, bool swapped, Point p, Point q) {
  const double turn = std::atan2(m.c, m.a) * 180 / 3.14159265358979323846;
  const std::string holes = ", holes (" + short_number(p.x, 2) + ", " + short_number(p.y, 2) + ") and (" +
                            short_number(q.x, 2) + ", " + short_number(q.y, 2) + ") on the pins";
  if (!mirrored && swapped) return "half turn";
  if (!mirrored)
    return (std::abs(turn) < 0.5 ? "shifted by (" + short_number(m.e, 2) + ", " + short_number(m.f, 2) + ") mm"
                                 : "turned by " + short_number(turn, 1) + " degrees") +
           holes;
  return kept      ? "turned over about the line through both pins"
         : swapped ? "turned over end to end"
                   : "turned over" + holes;
}

struct Draft {
  int p{}, q{};
  bool mirrored{}, kept{}, swapped{};
  Affine map;
  double at_least{};  ///< sticks out by this much or more
  std::pair<Point, Point> seats;
};

/// Where two holes take pins that stand `span` apart: their centres, or the places along slots that fit best.
std::optional<std::pair<Point, Point>> seats_of(const BoardHole& p, const BoardHole& q, double span) {
  const double reach = (p.slot ? distance(p.at, p.end) : 0) + (q.slot ? distance(q.at, q.end) : 0);
  if (std::abs(distance(p.at, q.at) - span) > reach + 10) return std::nullopt;
  if (!p.slot && !q.slot) return std::pair(p.at, q.at);
  std::pair<Point, Point> best;
  double off = 1e300;
  for (int i = 0; i <= (p.slot ? kSlotSteps : 0); ++i)
    for (int j = 0; j <= (q.slot ? kSlotSteps : 0); ++j) {
      const Point a = p.slot ? p.at + (static_cast<double>(i) / kSlotSteps) * (p.end - p.at) : p.at,
                  c = q.slot ? q.at + (static_cast<double>(j) / kSlotSteps) * (q.end - q.at) : q.at;
      if (const double e = std::abs(distance(a, c) - span); e < off - 1e-9) {
        off = e;
        best = {a, c};
      }
    }
  return best;
}

/// Farthest point of `moved` outside `home`.
double sticks_out(const Polygons& home, const Ring& moved, Point& at) {
  double most = 0;
  for (std::size_t i = 0; i < moved.size(); ++i) {
    const Point p = moved[i], q = moved[(i + 1) % moved.size()];
    const int steps = std::clamp(static_cast<int>(distance(p, q) / 1.0), 1, 200);
    for (int k = 0; k < steps; ++k) {
      const Point x = p + (static_cast<double>(k) / steps) * (q - p);
      if (const double d = distance_to_area(home, x); d > most) {
        most = d;
        at = x;
      }
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

class WrongWays {
 public:
  WrongWays(const Board& b, const Rules& rules, Diagnostics& d, const Place& at)
      : b_(b),
        d_(d),
        at_(at),
        clearance_(rules.errors.pin_clearance.v),
        box_(bounds(b.outline.outer)),
        most_(std::max(box_.width(), box_.height()) / 2),
        corners_(convex_hull(b.outline.outer)) {
    const BoardHole &round = hole(b.tooling[0]), &relieved = hole(b.tooling[1]);
    pins_ = {round.at, relieved.at, round.diameter - clearance_, relieved.diameter - clearance_, clearance_};
  }
  std::vector<WrongWay> run() {
    draft();
    std::vector<WrongWay> ways = worked_out();
    const std::size_t all = ways.size() + farther_;
    ways = shown(std::move(ways));
    add_third_pins(ways);
    for (const WrongWay& w : ways) warn(w);
    if (all > ways.size())
      d_.note("tooling-wrong-ways", at_, "further wrong ways go on both pins with more of the board sticking out",
              std::to_string(all - ways.size()), {});
    return ways;
  }

 private:
  [[nodiscard]] const BoardHole& hole(int h) const { return b_.holes[static_cast<std::size_t>(h)]; }
  std::vector<int> seats();
  void draft();
  void draft(int i, int j);
  std::vector<WrongWay> worked_out();
  [[nodiscard]] std::vector<WrongWay> shown(std::vector<WrongWay> ways) const;
  std::vector<int> thirds();
  void add_third_pins(std::vector<WrongWay>& ways);
  void warn(const WrongWay& w);

  const Board& b_;
  Diagnostics& d_;
  const Place& at_;
  double clearance_;
  Box box_;
  double most_;  ///< a board that hangs over by more than half of itself is not loaded by mistake
  Ring corners_;
  Pins pins_;
  std::vector<Draft> drafts_;
  std::size_t farther_ = 0;
};

/// Holes that may take a pin.
std::vector<int> WrongWays::seats() {
  std::vector<int> takes;
  for (std::size_t h = 0; h < b_.holes.size(); ++h)
    if (!b_.holes[h].blind && b_.holes[h].diameter >= std::min(pins_.pin_a, pins_.pin_b))
      takes.push_back(static_cast<int>(h));
  std::size_t slots = 0;
  takes.erase(std::remove_if(takes.begin(), takes.end(), [&](int h) { return hole(h).slot && ++slots > kMostSlots; }),
              takes.end());
  if (slots > kMostSlots)
    d_.note("tooling-wrong-ways", at_, "not all slots were tried as seats of the pins",
            std::to_string(kMostSlots) + " of " + std::to_string(slots), {});
  if (const std::size_t taking = takes.size(); taking > kMostHoles) {
    // The pins' own holes stay in any case.
    std::stable_partition(takes.begin(), takes.end(), [&](int h) { return h == b_.tooling[0] || h == b_.tooling[1]; });
    takes.resize(kMostHoles);
    d_.warn("tooling-wrong-ways", at_, "not all holes that would take a pin were tried for wrong ways of loading",
            std::to_string(kMostHoles) + " of " + std::to_string(taking),
            "check by hand that the board goes on one way only");
  }
  return takes;
}

/// Every pair of holes that takes the pins at their distance, either way up.
void WrongWays::draft() {
  const std::vector<int> takes = seats();
  for (const int i : takes)
    for (const int j : takes)
      if (i != j) draft(i, j);
  std::stable_sort(drafts_.begin(), drafts_.end(), [](const Draft& x, const Draft& y) {
    return std::pair(!(x.kept || x.swapped), x.at_least) < std::pair(!(y.kept || y.swapped), y.at_least);
  });
  if (drafts_.size() > kMostTried) {
    d_.warn(
        "tooling-wrong-ways", at_, "not all wrong ways of loading were worked out",
        std::to_string(kMostTried) + " of " + std::to_string(drafts_.size()) + ", those that surely stick out least",
        "check by hand that the board goes on one way only");
    drafts_.resize(kMostTried);
  }
}

void WrongWays::draft(int i, int j) {
  const BoardHole &p = hole(i), &q = hole(j);
  if (p.diameter < pins_.pin_a || q.diameter < pins_.pin_b) return;
  const double span = distance(pins_.a, pins_.b);
  const double play = pins_.play + (p.diameter - pins_.pin_a) / 2 + (q.diameter - pins_.pin_b) / 2 +
                      (distance(p.at, p.end) * p.slot + distance(q.at, q.end) * q.slot) / (2 * kSlotSteps);
  const auto seats = seats_of(p, q, span);
  if (!seats || std::abs(distance(seats->first, seats->second) - span) > play) return;
  const bool kept = i == b_.tooling[0] && j == b_.tooling[1], swapped = i == b_.tooling[1] && j == b_.tooling[0];
  for (const bool mirrored : {false, true}) {
    if (kept && !mirrored) continue;  // as it is meant
    Draft w{i,        j,
            mirrored, kept,
            swapped,  motion(seats->first, seats->second, pins_, mirrored),
            0,        {seats->first, seats->second}};
    for (const Point c : corners_) {
      const Point x = w.map(c);
      w.at_least = std::max({w.at_least, box_.x0 - x.x, x.x - box_.x1, box_.y0 - x.y, x.y - box_.y1});
    }
    if (w.at_least > most_ && !kept && !swapped)
      ++farther_;
    else
      drafts_.push_back(w);
  }
}

std::vector<WrongWay> WrongWays::worked_out() {
  const Polygons home{{b_.outline.outer, {}}};
  std::vector<WrongWay> ways(drafts_.size());
  parallel_for(
      drafts_.size(),
      [&](std::size_t n) {
        const Draft& w = drafts_[n];
        ways[n] = {
            name_of(w.map, w.mirrored, w.kept, w.swapped, w.seats.first, w.seats.second), w.map, w.mirrored, 0, {}, {}};
        ways[n].sticks_out = sticks_out(home, transformed(b_.outline.outer, w.map), ways[n].at);
      },
      4);
  return ways;
}

/// Those that are named, the least conspicuous first; between the pins' own holes however far the board sticks out.
std::vector<WrongWay> WrongWays::shown(std::vector<WrongWay> ways) const {
  const auto certain = [&](std::size_t n) { return drafts_[n].kept || drafts_[n].swapped; };
  std::vector<std::size_t> order(ways.size());
  for (std::size_t n = 0; n < order.size(); ++n) order[n] = n;
  order.erase(std::remove_if(order.begin(), order.end(),
                             [&](std::size_t n) { return ways[n].sticks_out > most_ && !certain(n); }),
              order.end());
  std::stable_sort(order.begin(), order.end(), [&](std::size_t x, std::size_t y) {
    return std::tuple(ways[x].sticks_out > most_, ways[x].sticks_out, ways[x].how) <
           std::tuple(ways[y].sticks_out > most_, ways[y].sticks_out, ways[y].how);
  });
  if (order.size() > kMostWays) {
    // The rest is counted; a way on the pins' own holes is never among it.
    std::stable_partition(order.begin(), order.end(), certain);
    order.resize(kMostWays);
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t x, std::size_t y) { return ways[x].sticks_out < ways[y].sticks_out; });
  }
  std::vector<WrongWay> out;
  for (const std::size_t n : order) out.push_back(std::move(ways[n]));
  return out;
}

/// Holes that would take a third pin.
std::vector<int> WrongWays::thirds() {
  std::vector<int> out;
  for (std::size_t h = 0; h < b_.holes.size(); ++h) {
    const BoardHole& x = b_.holes[h];
    const bool tool = static_cast<int>(h) == b_.tooling[0] || static_cast<int>(h) == b_.tooling[1];
    if (!tool && !x.slot && !x.blind && x.plating == formats::Plating::unplated &&
        x.diameter >= kPinLeast + clearance_ && x.diameter <= 8)
      out.push_back(static_cast<int>(h));
  }
  if (out.size() > kMostThirds) {
    d_.note("tooling-third-pins", at_, "not all holes were tried for a third pin",
            std::to_string(kMostThirds) + " of " + std::to_string(out.size()), {});
    out.resize(kMostThirds);
  }
  return out;
}

void WrongWays::add_third_pins(std::vector<WrongWay>& ways) {
  const std::vector<int> tried = thirds();
  for (WrongWay& w : ways)
    for (const int h : tried)
      if (stops(b_, w.map, h, clearance_)) w.third_pin.push_back(h);
  // One pin that stops all of them comes first in each.
  std::map<int, int> stopped;
  for (const WrongWay& w : ways)
    for (const int h : w.third_pin) ++stopped[h];
  for (WrongWay& w : ways)
    std::stable_sort(w.third_pin.begin(), w.third_pin.end(), [&](int x, int y) { return stopped[x] > stopped[y]; });
}

void WrongWays::warn(const WrongWay& w) {
  std::string remedy;
  if (!w.third_pin.empty()) {
    const BoardHole& h = hole(w.third_pin[0]);
    remedy = "add a pin of " + short_number(h.diameter - clearance_, 3) + " mm in the hole at (" +
             short_number(h.at.x, 3) + ", " + short_number(h.at.y, 3) + ")";
  }
  if (w.sticks_out >= kGuide)
    remedy += (remedy.empty() ? "add" : ", or") + std::string(" an edge guide beside the board at (") +
              short_number(w.at.x, 2) + ", " + short_number(w.at.y, 2) + "), where the wrong way sticks out";
  if (remedy.empty())
    remedy = "nothing on the board tells: ask for a third unplated hole off the pattern, or for holes of two sizes";
  d_.warn("tooling-wrong-way", at_, "the board also goes on both pins the wrong way: " + w.how,
          w.sticks_out < kGuide
              ? "its outline then lies within " + short_number(w.sticks_out, 2) + " mm of its place"
              : "its outline then sticks out by " + short_number(w.sticks_out, 2) + " mm, but nothing stands there yet",
          remedy);
}
}  // namespace

void find_wrong_ways(Board& b, const Rules& rules, Diagnostics& d, const Place& at) {
  b.wrong_ways.clear();
  if (b.tooling.size() == 2) b.wrong_ways = WrongWays(b, rules, d, at).run();
}

}  // namespace teasel
