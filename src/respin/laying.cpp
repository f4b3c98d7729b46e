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
using formats::BuiltPad;
using formats::FixtureFile;

std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}
constexpr double kPinNear = 0.05;        // mm; the play of pins in their holes takes so much
constexpr double kPinSize = 0.3;         // mm; another hole of about this size takes a pin of its own
constexpr std::size_t kPairs = 200'000;  // voted on at most

using Pairs = std::vector<std::pair<Point, Point>>;  // old, new

Pairs by_pins(const BuiltBoard& old, const BuiltBoard& now) {
  std::map<std::string, int> names;
  std::map<std::string, Point> before;
  auto key = [](const BuiltBoard& b, const BuiltPad& p) { return b.parts[at(p.component)].name + "\n" + p.pin; };
  for (const BuiltPad& p : old.pads)
    if (p.component >= 0 && !p.pin.empty()) {
      ++names[key(old, p)];
      before[key(old, p)] = p.at;
    }
  Pairs out;
  std::map<std::string, int> seen;
  for (const BuiltPad& p : now.pads)
    if (p.component >= 0 && !p.pin.empty()) ++seen[key(now, p)];
  for (const BuiltPad& p : now.pads) {
    if (p.component < 0 || p.pin.empty()) continue;
    const std::string k = key(now, p);
    if (seen[k] == 1 && names.count(k) && names[k] == 1) out.emplace_back(before[k], p.at);
  }
  return out;
}

/// Boards whose parts are not known: pads of one size, rare ones first, each with each.
Pairs by_size(const BuiltBoard& old, const BuiltBoard& now) {
  using Key = std::tuple<std::string, long, long, long>;
  auto key = [](const BuiltPad& p) {
    // A turned pad is as wide as it was high.
    Box b;
    for (const Box& x : p.bare)
      if (x.valid()) b = Box{0, 0, std::min(x.width(), x.height()), std::max(x.width(), x.height())};
    return Key{p.kind, std::lround(p.hole * 100), b.valid() ? std::lround(b.width() * 50) : -1,
               b.valid() ? std::lround(b.height() * 50) : -1};
  };
  std::map<Key, std::pair<std::vector<Point>, std::vector<Point>>> classes;
  for (const BuiltPad& p : old.pads) classes[key(p)].first.push_back(p.at);
  for (const BuiltPad& p : now.pads) classes[key(p)].second.push_back(p.at);
  std::vector<const std::pair<std::vector<Point>, std::vector<Point>>*> order;
  for (const auto& [k, c] : classes)
    if (!c.first.empty() && !c.second.empty()) order.push_back(&c);
  std::stable_sort(order.begin(), order.end(), [](const auto* a, const auto* b) {
    return a->first.size() * a->second.size() < b->first.size() * b->second.size();
  });
  Pairs out;
  for (const auto* c : order) {
    if (out.size() + c->first.size() * c->second.size() > kPairs) break;
    for (const Point a : c->first)
      for (const Point b : c->second) out.emplace_back(a, b);
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

double median(std::vector<double> v) {
  const auto middle = v.begin() + static_cast<std::ptrdiff_t>(v.size() / 2);
  std::nth_element(v.begin(), middle, v.end());
  return std::round(*middle * 1e6) / 1e6;
}

struct Vote {
  Point shift;
  int count = 0;
};
/// The shift that most displacements share: the fullest of overlapping cells, then the median about it.
Vote vote(const std::vector<Point>& shifts, double cell, double same) {
  std::map<std::pair<long, long>, int> cells;
  for (const Point s : shifts)
    for (const long dx : {0L, 1L})
      for (const long dy : {0L, 1L})
        ++cells[{std::lround(std::floor(s.x / cell)) + dx, std::lround(std::floor(s.y / cell)) + dy}];
  const auto most =
      std::max_element(cells.begin(), cells.end(), [](const auto& a, const auto& b) { return a.second < b.second; });
  if (most == cells.end()) return {};
  const Point centre{static_cast<double>(most->first.first) * cell, static_cast<double>(most->first.second) * cell};
  std::vector<double> x, y;
  for (const Point s : shifts)
    if (std::abs(s.x - centre.x) <= cell && std::abs(s.y - centre.y) <= cell) {
      x.push_back(s.x);
      y.push_back(s.y);
    }
  Vote v;
  v.shift = {median(x), median(y)};
  for (const Point s : shifts) v.count += distance(s, v.shift) <= same;
  return v;
}

/// Turn and shift that most pairs share.
Laying by_votes(const Pairs& pairs) {
  Laying best;
  for (int quarter = 0; quarter < 4; ++quarter) {
    Affine t = turned(quarter);
    std::vector<Point> shifts;
    for (const auto& [a, b] : pairs) shifts.push_back(a - t(b));
    const Vote v = vote(shifts, 0.1, kSamePad);
    if (v.count <= best.agree) continue;
    t.e = v.shift.x;
    t.f = v.shift.y;
    best.map = t;
    best.agree = v.count;
  }
  best.of = static_cast<int>(pairs.size());
  return best;
}

/// Old pads with a new one of their kind at their place.
int pads_there(const BuiltBoard& old, const BuiltBoard& now, const Affine& map) {
  PointGrid grid(kSamePad);
  for (std::size_t i = 0; i < now.pads.size(); ++i) grid.add(map(now.pads[i].at), static_cast<int>(i));
  return static_cast<int>(std::count_if(old.pads.begin(), old.pads.end(), [&](const BuiltPad& p) {
    return grid.nearest(p.at, kSamePad, [&](int k) { return now.pads[at(k)].kind == p.kind; }) >= 0;
  }));
}

bool takes_pin(const BoardHole& h, double diameter) {
  return !h.slot && !h.blind && std::abs(h.diameter - diameter) <= kPinSize;
}

void find_pins(Laying& l, const BuiltBoard& old, const Board& board) {
  l.tooling = {-1, -1};
  const Affine back = inverse(l.map);
  for (std::size_t k = 0; k < 2 && k < old.tooling.size(); ++k) {
    double near = kPinNear;
    for (std::size_t i = 0; i < board.holes.size(); ++i)
      if (const double d = distance(board.holes[i].at, back(old.tooling[k].at));
          d <= near && takes_pin(board.holes[i], old.tooling[k].diameter)) {
        near = d;
        l.tooling[k] = static_cast<int>(i);
      }
  }
  l.pins_stay = old.tooling.size() == 2 && l.tooling[0] >= 0 && l.tooling[1] >= 0 && l.tooling[0] != l.tooling[1];
}

/// The same turn, shifted so that both pins find holes.
std::optional<Laying> by_tooling(const Laying& about, const BuiltBoard& old, const Board& board) {
  if (old.tooling.size() != 2) return std::nullopt;
  std::optional<Laying> best;
  double least = std::numeric_limits<double>::infinity();
  for (const BoardHole& h : board.holes) {
    if (!takes_pin(h, old.tooling[0].diameter)) continue;
    Laying l = about;
    const Point shift = old.tooling[0].at - about.map(h.at);
    l.map.e += shift.x;
    l.map.f += shift.y;
    find_pins(l, old, board);
    if (l.pins_stay && length(shift) < least) {
      least = length(shift);
      best = l;
    }
  }
  return best;
}

/// Nets by name, and those whose name changed by what both layouts share.
std::vector<int> new_nets(const BuiltBoard& old, const BuiltBoard& now, const Affine& map) {
  std::vector<int> out(old.nets.size(), -1);
  for (const NetMatch& m : match_nets(old, now, match_pads(old, now, map)))
    if (m.taken) out[at(m.old_net)] = m.net;
  return out;
}

struct Meeting {
  Side side{};
  Point at;
  int net = -1;
};  // a probe in use, old frame; its net on the new board

std::vector<Meeting> probes_in_use(const FixtureFile& f, const BuiltBoard& old, const std::vector<int>& nets) {
  std::map<std::string, int> by_name;
  for (std::size_t i = 0; i < old.nets.size(); ++i) by_name.emplace(old.nets[i], static_cast<int>(i));
  std::vector<Meeting> out;
  for (const StandingHole& h : f.fixture.holes)
    if (h.state == HoleState::in_use)
      if (const auto it = by_name.find(h.net); it != by_name.end()) out.push_back({h.side, h.at, nets[at(it->second)]});
  return out;
}

void count_metal(Laying& l, const std::vector<Meeting>& probes, const std::vector<std::vector<int>>& pads_of_net,
                 const BuiltBoard& now) {
  l.holes = static_cast<int>(probes.size());
  l.over_holes = 0;
  const Affine back = inverse(l.map);
  for (const Meeting& m : probes) {
    if (m.net < 0) continue;
    const Point p = back(m.at);
    l.over_holes += std::any_of(pads_of_net[at(m.net)].begin(), pads_of_net[at(m.net)].end(), [&](int i) {
      return now.pads[at(i)].bare[static_cast<std::size_t>(m.side)].contains(p);
    });
  }
}

int worth(const Laying& l) {
  return l.over_holes + (l.pins_stay ? 2 : 0);
}
}  // namespace

std::vector<Laying> layings(const FixtureFile& f, const Board& board, const BuiltBoard& now, Diagnostics& d) {
  const BuiltBoard& old = f.revisions.back().board;
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
    d.error("respin-other-board", {board.name, 0, 0, {}},
            "the board has too little in common with the one that the fixture was built for",
            std::to_string(same.agree) + " of " + std::to_string(same.of) +
                " pads lie where they did, after any turn and shift",
            "a tenth of them or more",
            "name the plan.json of this board's fixture, or plan a new fixture with  teasel plan");
    return {};
  }
  same.how = "pads where they were";
  find_pins(same, old, board);
  std::vector<Laying> list{same};
  if (!same.pins_stay)
    if (auto pins = by_tooling(same, old, board)) {
      pins->how = "tooling holes on the pins that stand";
      list.insert(list.begin(), *pins);
    }
  // Shifts that put metal over holes.
  const std::vector<Meeting> probes = probes_in_use(f, old, new_nets(old, now, same.map));
  std::vector<std::vector<int>> pads_of_net(now.nets.size());
  for (std::size_t i = 0; i < now.pads.size(); ++i)
    if (now.pads[i].net >= 0) pads_of_net[at(now.pads[i].net)].push_back(static_cast<int>(i));
  std::vector<Point> shifts;
  for (const Meeting& m : probes) {
    if (m.net < 0 || pads_of_net[at(m.net)].size() > 200) continue;  // a plane's net says nothing
    for (const int i : pads_of_net[at(m.net)])
      if (now.pads[at(i)].bare[static_cast<std::size_t>(m.side)].valid() && shifts.size() < kPairs)
        shifts.push_back(m.at - same.map(now.pads[at(i)].at));
  }
  if (const Vote v = vote(shifts, 0.1, 0.1); v.count > 0 && length(v.shift) > kSamePad) {
    Laying l = same;
    l.map.e += v.shift.x;
    l.map.f += v.shift.y;
    l.how = "board shifted so that more of the old holes serve";
    find_pins(l, old, board);
    list.push_back(l);
  }
  for (Laying& l : list) count_metal(l, probes, pads_of_net, now);
  for (Laying& l : list) {
    if (l.how == same.how) continue;
    l.agree = by_part ? 0 : pads_there(old, now, l.map);
    if (!by_part) continue;
    for (const auto& [a, b] : pairs) l.agree += distance(a, l.map(b)) <= kSamePad;
  }
  // The others only if they are worth more.
  list.erase(std::remove_if(list.begin() + 1, list.end(), [&](const Laying& l) { return worth(l) <= worth(list[0]); }),
             list.end());
  return list;
}

}  // namespace teasel
