// Can the board be loaded the wrong way round? Two pins alone never tell: what they allow is named, with what to add.
#include <algorithm>
#include <cmath>
#include <map>
#include <optional>
#include <tuple>

#include "build.h"
#include "teasel/board/wrong_way.h"
#include "teasel/parallel.h"

namespace teasel {

namespace {
constexpr Mm kGuide{1.0};  // an edge guide is set with this much room at least (common practice, no source)
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
  const double cosine = (mirrored ? from.x * to.x - from.y * to.y : dot(from, to)) * scale,
               sine = (mirrored ? from.x * to.y + from.y * to.x : cross(from, to)) * scale;
  Affine map = mirrored ? Affine{cosine, sine, sine, -cosine, 0, 0} : Affine{cosine, -sine, sine, cosine, 0, 0};
  const Point at = map(p);
  map.e = pins.a.x - at.x;
  map.f = pins.a.y - at.y;
  return map;
}

std::string name_of(const Affine& map, bool mirrored, bool kept, bool swapped, Point p, Point q) {
  const double turn = std::atan2(map.c, map.a) * 180 / 3.14159265358979323846;
  const std::string holes = ", holes (" + short_number(p.x, 2) + ", " + short_number(p.y, 2) + ") and (" +
                            short_number(q.x, 2) + ", " + short_number(q.y, 2) + ") on the pins";
  if (!mirrored && swapped) return "half turn";
  if (!mirrored)
    return (std::abs(turn) < 0.5 ? "shifted by (" + short_number(map.e, 2) + ", " + short_number(map.f, 2) + ") mm"
                                 : "turned by " + short_number(turn, 1) + " degrees") +
           holes;
  if (kept) return "turned over about the line through both pins";
  return swapped ? "turned over end to end" : "turned over" + holes;
}

struct Draft {
  bool mirrored{}, kept{}, swapped{};
  Affine map;
  double at_least{};  ///< sticks out by this much or more
  std::pair<Point, Point> seats;
};

/// Where two holes take pins that stand `span` apart: their centres, or the places along slots that fit best.
std::optional<std::pair<Point, Point>> seats_of(const BoardHole& hole, const BoardHole& other, double span) {
  const double reach = (hole.slot ? distance(hole.at, hole.end) : 0) + (other.slot ? distance(other.at, other.end) : 0);
  if (std::abs(distance(hole.at, other.at) - span) > reach + 10) return std::nullopt;
  if (!hole.slot && !other.slot) return std::pair(hole.at, other.at);
  const auto place = [](const BoardHole& in, int step) -> Point {
    return in.slot ? in.at + (static_cast<double>(step) / kSlotSteps) * (in.end - in.at) : in.at.point();
  };
  std::pair<Point, Point> best;
  double off = 1e300;
  for (int i = 0; i <= (hole.slot ? kSlotSteps : 0); ++i)
    for (int j = 0; j <= (other.slot ? kSlotSteps : 0); ++j) {
      const Point a = place(hole, i), b = place(other, j);
      if (const double misfit = std::abs(distance(a, b) - span); misfit < off - 1e-9) {
        off = misfit;
        best = {a, b};
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
      if (const double away = distance_to_area(home, x); away > most) {
        most = away;
        at = x;
      }
    }
  }
  return most;
}

constexpr double kOver = 0.8;  // mm of board over a pin keep it from going down (from memory)

/// A pin in hole h stops a board that lies as `map` says.
bool stops(const Board& board, const Affine& map, HoleId id, double clearance) {
  const BoardHole& third = board.holes[id];
  return pin_stops(board, map, third.at, third.diameter - Mm{clearance}, Mm{clearance});
}

class WrongWays {
 public:
  WrongWays(const Board& board, const Rules& rules, Diagnostics& diagnostics, const Place& at)
      : board_(board),
        diagnostics_(diagnostics),
        at_(at),
        clearance_(rules.errors.pin_clearance.v),
        box_(bounds(board.outline.outer)),
        most_(std::max(box_.width(), box_.height()) / 2),
        corners_(convex_hull(board.outline.outer)) {
    const BoardHole &round = hole(board.tooling[0]), &relieved = hole(board.tooling[1]);
    pins_ = {.a = round.at,
             .b = relieved.at,
             .pin_a = pin_for(round, rules).v,
             .pin_b = pin_for(relieved, rules).v,
             .play = std::max(play_of(round, rules), play_of(relieved, rules)).v};
  }
  std::vector<WrongWay> run() {
    draft();
    std::vector<WrongWay> ways = worked_out();
    const std::size_t all = ways.size() + farther_;
    ways = shown(std::move(ways));
    add_third_pins(ways);
    for (const WrongWay& way : ways) warn(way);
    if (all > ways.size())
      diagnostics_.note(
          {.code = "tooling-wrong-ways",
           .at = at_,
           .message = "the board also goes on both pins in further wrong ways, with more of it sticking out",
           .found = std::to_string(all - ways.size())});
    return ways;
  }

 private:
  [[nodiscard]] const BoardHole& hole(HoleId id) const { return board_.holes[id]; }
  std::vector<HoleId> seats();
  void draft();
  void draft(HoleId i, HoleId j);
  std::vector<WrongWay> worked_out();
  [[nodiscard]] std::vector<WrongWay> shown(std::vector<WrongWay> ways) const;
  std::vector<HoleId> thirds();
  void add_third_pins(std::vector<WrongWay>& ways);
  void warn(const WrongWay& way);

  const Board& board_;
  Diagnostics& diagnostics_;
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
std::vector<HoleId> WrongWays::seats() {
  std::vector<HoleId> takes;
  for (const HoleId id : board_.holes.ids())
    if (!hole(id).blind && hole(id).diameter.v >= std::min(pins_.pin_a, pins_.pin_b)) takes.push_back(id);
  std::size_t slots = 0;
  takes.erase(
      std::remove_if(takes.begin(), takes.end(), [&](HoleId id) { return hole(id).slot && ++slots > kMostSlots; }),
      takes.end());
  if (slots > kMostSlots)
    diagnostics_.note({.code = "tooling-wrong-ways",
                       .at = at_,
                       .message = "not all slots were tried as seats for the pins",
                       .found = std::to_string(kMostSlots) + " of " + std::to_string(slots)});
  if (const std::size_t taking = takes.size(); taking > kMostHoles) {
    // The pins' own holes stay in any case.
    std::stable_partition(takes.begin(), takes.end(),
                          [&](HoleId id) { return id == board_.tooling[0] || id == board_.tooling[1]; });
    takes.resize(kMostHoles);
    diagnostics_.warn({.code = "tooling-wrong-ways",
                       .at = at_,
                       .message = "not all holes that would take a pin were tried for wrong ways of loading",
                       .found = std::to_string(kMostHoles) + " of " + std::to_string(taking),
                       .remedy = "check by hand that the board goes on one way only"});
  }
  return takes;
}

/// Every pair of holes that takes the pins at their distance, either way up.
void WrongWays::draft() {
  const std::vector<HoleId> takes = seats();
  for (const HoleId i : takes)
    for (const HoleId j : takes)
      if (i != j) draft(i, j);
  std::stable_sort(drafts_.begin(), drafts_.end(), [](const Draft& x, const Draft& y) {
    return std::pair(!(x.kept || x.swapped), x.at_least) < std::pair(!(y.kept || y.swapped), y.at_least);
  });
  if (drafts_.size() > kMostTried) {
    diagnostics_.warn(
        {.code = "tooling-wrong-ways",
         .at = at_,
         .message = "not all wrong ways of loading were worked out",
         .found = std::to_string(kMostTried) + " of " + std::to_string(drafts_.size()) + ", those that stick out least",
         .remedy = "check by hand that the board goes on one way only"});
    drafts_.resize(kMostTried);
  }
}

void WrongWays::draft(HoleId i, HoleId j) {
  const BoardHole &round = hole(i), &relieved = hole(j);
  if (round.diameter.v < pins_.pin_a || relieved.diameter.v < pins_.pin_b) return;
  const double span = distance(pins_.a, pins_.b);
  const double play =
      pins_.play + (round.diameter.v - pins_.pin_a) / 2 + (relieved.diameter.v - pins_.pin_b) / 2 +
      (distance(round.at, round.end) * round.slot + distance(relieved.at, relieved.end) * relieved.slot) /
          (2 * kSlotSteps);
  const auto seats = seats_of(round, relieved, span);
  if (!seats || std::abs(distance(seats->first, seats->second) - span) > play) return;
  const bool kept = i == board_.tooling[0] && j == board_.tooling[1],
             swapped = i == board_.tooling[1] && j == board_.tooling[0];
  for (const bool mirrored : {false, true}) {
    if (kept && !mirrored) continue;  // as it is meant
    Draft draft{.mirrored = mirrored,
                .kept = kept,
                .swapped = swapped,
                .map = motion(seats->first, seats->second, pins_, mirrored),
                .seats = *seats};
    for (const Point corner : corners_) {
      const Point x = draft.map(corner);
      draft.at_least = std::max({draft.at_least, box_.x0 - x.x, x.x - box_.x1, box_.y0 - x.y, x.y - box_.y1});
    }
    if (draft.at_least > most_ && !kept && !swapped)
      ++farther_;
    else
      drafts_.push_back(draft);
  }
}

std::vector<WrongWay> WrongWays::worked_out() {
  const Polygons home{{board_.outline.outer, {}}};
  std::vector<WrongWay> ways(drafts_.size());
  parallel_for(
      drafts_.size(),
      [&](std::size_t i) {
        const Draft& draft = drafts_[i];
        ways[i].how =
            name_of(draft.map, draft.mirrored, draft.kept, draft.swapped, draft.seats.first, draft.seats.second);
        ways[i].map = draft.map;
        ways[i].turned_over = draft.mirrored;
        ways[i].sticks_out = Mm{sticks_out(home, transformed(board_.outline.outer, draft.map), ways[i].at)};
      },
      4);
  return ways;
}

/// Those that are named, the least conspicuous first; between the pins' own holes however far the board sticks out.
std::vector<WrongWay> WrongWays::shown(std::vector<WrongWay> ways) const {
  const auto certain = [&](std::size_t i) { return drafts_[i].kept || drafts_[i].swapped; };
  std::vector<std::size_t> order(ways.size());
  for (std::size_t i = 0; i < order.size(); ++i) order[i] = i;
  order.erase(std::remove_if(order.begin(), order.end(),
                             [&](std::size_t i) { return ways[i].sticks_out.v > most_ && !certain(i); }),
              order.end());
  std::stable_sort(order.begin(), order.end(), [&](std::size_t x, std::size_t y) {
    return std::tuple(ways[x].sticks_out.v > most_, ways[x].sticks_out, ways[x].how) <
           std::tuple(ways[y].sticks_out.v > most_, ways[y].sticks_out, ways[y].how);
  });
  if (order.size() > kMostWays) {
    // The rest is counted; a way on the pins' own holes is never among it.
    std::stable_partition(order.begin(), order.end(), certain);
    order.resize(kMostWays);
    std::stable_sort(order.begin(), order.end(),
                     [&](std::size_t x, std::size_t y) { return ways[x].sticks_out < ways[y].sticks_out; });
  }
  std::vector<WrongWay> out;
  for (const std::size_t i : order) out.push_back(std::move(ways[i]));
  return out;
}

/// Holes that would take a third pin.
std::vector<HoleId> WrongWays::thirds() {
  std::vector<HoleId> out;
  for (const HoleId id : board_.holes.ids()) {
    const BoardHole& hole = board_.holes[id];
    const bool tool = id == board_.tooling[0] || id == board_.tooling[1];
    if (!tool && !hole.slot && !hole.blind && hole.plating == formats::Plating::unplated &&
        hole.diameter.v >= kPinLeast + clearance_ && hole.diameter.v <= 8)
      out.push_back(id);
  }
  if (out.size() > kMostThirds) {
    diagnostics_.note({.code = "tooling-third-pins",
                       .at = at_,
                       .message = "not all holes were tried for a third pin",
                       .found = std::to_string(kMostThirds) + " of " + std::to_string(out.size())});
    out.resize(kMostThirds);
  }
  return out;
}

void WrongWays::add_third_pins(std::vector<WrongWay>& ways) {
  const std::vector<HoleId> tried = thirds();
  for (WrongWay& way : ways)
    for (const HoleId hole : tried)
      if (stops(board_, way.map, hole, clearance_)) way.third_pin.push_back(hole);
  // One pin that stops all of them comes first in each.
  std::map<HoleId, int> stopped;
  for (const WrongWay& way : ways)
    for (const HoleId hole : way.third_pin) ++stopped[hole];
  for (WrongWay& way : ways)
    std::stable_sort(way.third_pin.begin(), way.third_pin.end(),
                     [&](HoleId x, HoleId y) { return stopped[x] > stopped[y]; });
}

void WrongWays::warn(const WrongWay& way) {
  std::string remedy;
  if (!way.third_pin.empty()) {
    const BoardHole& drilled = hole(way.third_pin[0]);
    remedy = "add a pin of " + short_number(drilled.diameter.v - clearance_, 3) + " mm in the hole at (" +
             short_number(drilled.at.x, 3) + ", " + short_number(drilled.at.y, 3) + ")";
  }
  if (way.sticks_out >= kGuide)
    remedy += (remedy.empty() ? "add" : ", or") + std::string(" an edge guide beside the board at (") +
              short_number(way.at.x, 2) + ", " + short_number(way.at.y, 2) + "), where the wrong way sticks out";
  if (remedy.empty())
    remedy =
        "no hole of the board prevents this. Ask for a third unplated hole off the pattern, or for tooling holes of "
        "two sizes";
  diagnostics_.note(
      {.code = "tooling-wrong-way",
       .at = at_,
       .message = "the board also goes on both pins the wrong way: " + way.how,
       .found = way.sticks_out < kGuide
                    ? "its outline then lies within " + short_number(way.sticks_out.v, 2) + " mm of where it belongs"
                    : "its outline then sticks out by " + short_number(way.sticks_out.v, 2) + " mm",
       .remedy = remedy});
}
}  // namespace

bool pin_stops(const Board& board, const Affine& map, BoardPoint at, Mm pin, Mm clearance) {
  const Polygons moved = transformed({board.outline}, map);  // a cutout over the pin stops nothing
  const double beside = contains(moved, at) ? -distance_to_boundary(moved, at) : distance_to_area(moved, at);
  if (pin.v / 2 - beside < kOver) return false;
  return std::none_of(board.holes.begin(), board.holes.end(), [&](const BoardHole& hole) {
    const double nearest = distance_to_segment(at, map(hole.at), map(hole.slot ? hole.end : hole.at));
    return nearest <= std::max(0.0, (hole.diameter - pin).v / 2) + clearance.v;
  });
}

void find_wrong_ways(Board& board, const Rules& rules, Diagnostics& diagnostics, const Place& at) {
  board.wrong_ways.clear();
  if (board.tooling.size() == 2) board.wrong_ways = WrongWays(board, rules, diagnostics, at).run();
}

}  // namespace teasel
