// How the new board lies where the old one lay: by what both have, by the pins, by what leaves most metal over the
// holes.
#include <algorithm>
#include <cmath>
#include <map>

#include "teasel/point_grid.h"
#include "teasel/respin.h"

namespace teasel {

namespace {
using formats::BuiltBoard;
using formats::BuiltNetId;
using formats::BuiltPad;
using formats::BuiltPadId;
using formats::FixtureFile;

constexpr double kPinNear = 0.05;        // mm; the play of pins in their holes takes so much
constexpr double kPinSize = 0.3;         // mm; another hole of about this size takes a pin of its own
constexpr std::size_t kPairs = 200'000;  // voted on at most

using Pairs = std::vector<std::pair<Point, Point>>;  // old, new

Pairs by_pins(const BuiltBoard& old, const BuiltBoard& now) {
  std::map<std::string, int> names;
  std::map<std::string, Point> before;
  auto key = [](const BuiltBoard& board, const BuiltPad& pad) {
    return board.parts[pad.component].name + "\n" + pad.pin;
  };
  for (const BuiltPad& pad : old.pads)
    if (pad.component && !pad.pin.empty()) {
      ++names[key(old, pad)];
      before[key(old, pad)] = pad.at;
    }
  Pairs out;
  std::map<std::string, int> seen;
  for (const BuiltPad& pad : now.pads)
    if (pad.component && !pad.pin.empty()) ++seen[key(now, pad)];
  for (const BuiltPad& pad : now.pads) {
    if (!pad.component || pad.pin.empty()) continue;
    const std::string pin = key(now, pad);
    if (seen[pin] == 1 && names.count(pin) && names[pin] == 1) out.emplace_back(before[pin], pad.at);
  }
  return out;
}

/// Boards whose parts are not known: pads of one size, rare ones first, each with each.
Pairs by_size(const BuiltBoard& old, const BuiltBoard& now) {
  using Key = std::tuple<std::string, long, long, long>;
  auto key = [](const BuiltPad& pad) {
    // A turned pad is as wide as it was high.
    Box box;
    for (const Box& bare : pad.bare)
      if (bare.valid()) box = Box{0, 0, std::min(bare.width(), bare.height()), std::max(bare.width(), bare.height())};
    return Key{pad.kind, std::lround(pad.hole.v * 100), box.valid() ? std::lround(box.width() * 50) : -1,
               box.valid() ? std::lround(box.height() * 50) : -1};
  };
  struct Alike {
    std::vector<Point> old, now;
    [[nodiscard]] std::size_t pairs() const { return old.size() * now.size(); }
  };
  std::map<Key, Alike> classes;
  for (const BuiltPad& pad : old.pads) classes[key(pad)].old.push_back(pad.at);
  for (const BuiltPad& pad : now.pads) classes[key(pad)].now.push_back(pad.at);
  std::vector<const Alike*> order;
  for (const auto& [kind, alike] : classes)
    if (alike.pairs() > 0) order.push_back(&alike);
  std::stable_sort(order.begin(), order.end(), [](const Alike* a, const Alike* b) { return a->pairs() < b->pairs(); });
  Pairs out;
  for (const Alike* alike : order) {
    if (out.size() + alike->pairs() > kPairs) break;
    for (const Point before : alike->old)
      for (const Point after : alike->now) out.emplace_back(before, after);
  }
  return out;
}

Affine turned(int quarter) {
  constexpr int kCos[] = {1, 0, -1, 0}, kSin[] = {0, 1, 0, -1};
  return {static_cast<double>(kCos[quarter]),
          static_cast<double>(-kSin[quarter]),
          static_cast<double>(kSin[quarter]),
          static_cast<double>(kCos[quarter]),
          0,
          0};
}

double median(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return std::round(*middle * 1e6) / 1e6;
}

struct Vote {
  Point shift;
  int count = 0;
};
/// The shift that most displacements share: the fullest of overlapping cells, then the median about it.
Vote vote(const std::vector<Point>& shifts, double cell, double same) {
  std::map<std::pair<long, long>, int> cells;
  for (const Point shift : shifts)
    for (const long dx : {0L, 1L})
      for (const long dy : {0L, 1L})
        ++cells[{std::lround(std::floor(shift.x / cell)) + dx, std::lround(std::floor(shift.y / cell)) + dy}];
  const auto most =
      std::max_element(cells.begin(), cells.end(), [](const auto& a, const auto& b) { return a.second < b.second; });
  if (most == cells.end()) return {};
  const Point centre{static_cast<double>(most->first.first) * cell, static_cast<double>(most->first.second) * cell};
  std::vector<double> x, y;
  for (const Point shift : shifts)
    if (std::abs(shift.x - centre.x) <= cell && std::abs(shift.y - centre.y) <= cell) {
      x.push_back(shift.x);
      y.push_back(shift.y);
    }
  Vote winner;
  winner.shift = {median(x), median(y)};
  for (const Point shift : shifts) winner.count += distance(shift, winner.shift) <= same;
  return winner;
}

/// Turn and shift that most pairs share.
Laying by_votes(const Pairs& pairs) {
  Laying best;
  for (int quarter = 0; quarter < 4; ++quarter) {
    Affine map = turned(quarter);
    std::vector<Point> shifts;
    for (const auto& [a, b] : pairs) shifts.push_back(a - map(b));
    const Vote winner = vote(shifts, 0.1, kSamePad.v);
    if (winner.count <= best.agree) continue;
    map.e = winner.shift.x;
    map.f = winner.shift.y;
    best.map = map;
    best.agree = winner.count;
  }
  best.of = static_cast<int>(pairs.size());
  return best;
}

/// Old pads with a new one of their kind at their place.
int pads_there(const BuiltBoard& old, const BuiltBoard& now, const Affine& map) {
  PointGrid grid(kSamePad.v);
  for (const BuiltPadId id : now.pads.ids()) grid.add(map(now.pads[id].at), id.number());
  return static_cast<int>(std::count_if(old.pads.begin(), old.pads.end(), [&](const BuiltPad& pad) {
    auto like = [&](int number) { return now.pads[BuiltPadId::of_number(number)].kind == pad.kind; };
    return grid.nearest(pad.at, kSamePad.v, like) >= 0;
  }));
}

bool takes_pin(const BoardHole& hole, Mm diameter) {
  return !hole.slot && !hole.blind && std::abs(hole.diameter.v - diameter.v) <= kPinSize;
}

void find_pins(Laying& laying, const BuiltBoard& old, const Board& board) {
  laying.tooling = {};
  const Affine back = inverse(laying.map);
  for (std::size_t k = 0; k < laying.tooling.size() && k < old.tooling.size(); ++k) {
    double near = kPinNear;
    for (const HoleId id : board.holes.ids())
      if (const double away = distance(board.holes[id].at, back(old.tooling[k].at));
          away <= near && takes_pin(board.holes[id], old.tooling[k].diameter)) {
        near = away;
        laying.tooling[k] = id;
      }
  }
  laying.pins_stay =
      old.tooling.size() == 2 && laying.tooling[0] && laying.tooling[1] && laying.tooling[0] != laying.tooling[1];
}

/// The same turn, shifted so that both pins find holes.
std::optional<Laying> by_tooling(const Laying& about, const BuiltBoard& old, const Board& board) {
  if (old.tooling.size() != 2) return std::nullopt;
  std::optional<Laying> best;
  double least = std::numeric_limits<double>::infinity();
  for (const BoardHole& hole : board.holes) {
    if (!takes_pin(hole, old.tooling[0].diameter)) continue;
    Laying shifted = about;
    const Point shift = old.tooling[0].at - about.map(hole.at);
    shifted.map.e += shift.x;
    shifted.map.f += shift.y;
    find_pins(shifted, old, board);
    if (shifted.pins_stay && length(shift) < least) {
      least = length(shift);
      best = shifted;
    }
  }
  return best;
}

/// By net of the old board: nets by name, and those whose name changed by what both layouts share.
Table<BuiltNetId, BuiltNetId> new_nets(const BuiltBoard& old, const BuiltBoard& now, const Affine& map) {
  Table<BuiltNetId, BuiltNetId> out(old.nets.size());
  for (const NetMatch& match : match_nets(old, now, match_pads(old, now, map)))
    if (match.taken) out[match.old_net] = match.net;
  return out;
}

/// A probe in use, in the old frame, and its net on the new board.
struct Meeting {
  Side side{};
  BoardPoint at;
  BuiltNetId net;
};

std::vector<Meeting> probes_in_use(const FixtureFile& file, const BuiltBoard& old,
                                   const Table<BuiltNetId, BuiltNetId>& nets) {
  std::map<std::string, BuiltNetId> by_name;
  for (const BuiltNetId net : old.nets.ids()) by_name.emplace(old.nets[net], net);
  std::vector<Meeting> out;
  for (const StandingHole& hole : file.fixture.holes)
    if (hole.state == HoleState::in_use)
      if (const auto it = by_name.find(hole.net); it != by_name.end())
        out.push_back({hole.side, hole.at, nets[it->second]});
  return out;
}

using PadsOfNet = Table<BuiltNetId, std::vector<BuiltPadId>>;

void count_metal(Laying& laying, const std::vector<Meeting>& probes, const PadsOfNet& pads_of_net,
                 const BuiltBoard& now) {
  laying.holes = static_cast<int>(probes.size());
  laying.over_holes = 0;
  const Affine back = inverse(laying.map);
  for (const Meeting& meeting : probes) {
    if (!meeting.net) continue;
    const Point place = back(meeting.at);
    const auto& pads = pads_of_net[meeting.net];
    laying.over_holes += std::any_of(pads.begin(), pads.end(),
                                     [&](BuiltPadId pad) { return now.pads[pad].bare[meeting.side].contains(place); });
  }
}

/// The shift by which most probes would meet metal of their nets.
Vote most_metal(const Laying& same, const std::vector<Meeting>& probes, const PadsOfNet& pads_of_net,
                const BuiltBoard& now) {
  constexpr std::size_t kPlane = 200;  // pads of a net that is everywhere and says nothing
  std::vector<Point> shifts;
  for (const Meeting& meeting : probes) {
    if (!meeting.net || pads_of_net[meeting.net].size() > kPlane) continue;
    for (const BuiltPadId pad : pads_of_net[meeting.net])
      if (now.pads[pad].bare[meeting.side].valid() && shifts.size() < kPairs)
        shifts.push_back(meeting.at - same.map(now.pads[pad].at));
  }
  return vote(shifts, 0.1, 0.1);
}

int worth(const Laying& laying) {
  return laying.over_holes + (laying.pins_stay ? 2 : 0);
}
}  // namespace

std::vector<Laying> layings(const FixtureFile& file, const Board& board, const BuiltBoard& now,
                            Diagnostics& diagnostics) {
  const BuiltBoard& old = file.revisions.back().board;
  constexpr std::size_t kFew = 6;
  Pairs pairs = by_pins(old, now);
  const bool by_part = pairs.size() >= kFew;
  if (!by_part) pairs = by_size(old, now);
  Laying same = by_votes(pairs);
  if (!by_part) {
    same.of = static_cast<int>(std::min(old.pads.size(), now.pads.size()));
    same.agree = pads_there(old, now, same.map);
  }
  if (same.agree < 3 || same.agree * 10 < same.of) {
    diagnostics.error(
        {.code = "respin-other-board",
         .at = {board.name, 0, 0, {}},
         .message = "the board has too little in common with the one that the fixture was built for",
         .found = std::to_string(same.agree) + " of " + std::to_string(same.of) +
                  " pads lie where they did, after any turn and shift",
         .expected = "a tenth of them or more",
         .remedy = "name the plan.json of this board's fixture, or plan a new fixture with  teasel plan"});
    return {};
  }
  same.how = "pads where they were";
  find_pins(same, old, board);
  std::vector<Laying> list{same};
  if (!same.pins_stay)
    if (auto pins = by_tooling(same, old, board)) {
      pins->how = "tooling holes on the existing pins";
      list.insert(list.begin(), *pins);
    }
  // Shifts that put metal over holes.
  const std::vector<Meeting> probes = probes_in_use(file, old, new_nets(old, now, same.map));
  PadsOfNet pads_of_net(now.nets.size());
  for (const BuiltPadId pad : now.pads.ids())
    if (now.pads[pad].net) pads_of_net[now.pads[pad].net].push_back(pad);
  if (const Vote winner = most_metal(same, probes, pads_of_net, now);
      winner.count > 0 && length(winner.shift) > kSamePad.v) {
    Laying laying = same;
    laying.map.e += winner.shift.x;
    laying.map.f += winner.shift.y;
    laying.how = "board shifted so that more of the old holes can be used";
    find_pins(laying, old, board);
    list.push_back(laying);
  }
  for (Laying& laying : list) count_metal(laying, probes, pads_of_net, now);
  for (Laying& laying : list) {
    if (laying.how == same.how) continue;
    laying.agree = by_part ? 0 : pads_there(old, now, laying.map);
    if (!by_part) continue;
    for (const auto& [a, b] : pairs) laying.agree += distance(a, laying.map(b)) <= kSamePad.v;
  }
  // The others only if they are worth more.
  list.erase(std::remove_if(list.begin() + 1, list.end(),
                            [&](const Laying& laying) { return worth(laying) <= worth(list[0]); }),
             list.end());
  return list;
}

}  // namespace teasel
