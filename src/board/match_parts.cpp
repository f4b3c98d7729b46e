// Lands without names to parts with places: a land belongs to the nearest part about whose centre it has a twin.
#include <algorithm>
#include <map>

#include "build.h"
#include "teasel/words.h"

namespace teasel {

namespace {
constexpr double kReach = 30.0;   // mm; from a part's centre to its farthest land
constexpr double kTwin = 0.06;    // mm; a twin lies this near to the mirrored place, and differs in size by no more
constexpr int kPinByPin = 3;      // rows of one name before the underscore that make a part of pins
constexpr double kCentral = 0.3;  // mm; a land under the centre itself

struct Seat {
  std::string name;
  Point at;
  int side = -1;
  std::vector<int> lands;
};

std::vector<Seat> seats_of(const Board& b, const Job& job, const Sources& s) {
  std::map<std::string, bool> known;
  for (const Component& c : b.components) known[c.name] = true;
  std::vector<Seat> seats;
  const auto add = [&](const std::string& name, Point at, int side) {
    if (!name.empty() && !known[name]) {
      known[name] = true;
      seats.push_back({name, at, side, {}});
    }
  };
  for (const auto& p : s.placements)
    for (const auto& r : p.rows) add(r.component, placed(job, p, r), r.side);
  if (s.idf)
    for (const auto& r : s.idf->bodies) add(r.component, r.at + job.idf_offset.value_or(Point{}), r.side);
  return seats;
}
}  // namespace

void match_parts(Board& b, const Job& job, const Sources& sources, Diagnostics& d) {
  std::vector<Seat> seats = seats_of(b, job, sources);
  if (seats.empty()) {
    if (b.components.empty())
      d.warn("board-no-components", {job.file, 0, 0, "inputs"},
             "no component is known: nothing that stands on the board is checked against probes",
             "neither netlist nor placement nor attributes name parts",
             "give a netlist, a placement table or an IDF file, or draw keep-outs over what is tall");
    return;
  }
  std::array<std::vector<int>, 2> free;
  std::array<PointGrid, 2> grid{PointGrid(0.2), PointGrid(0.2)};
  for (std::size_t i = 0; i < b.features.size(); ++i) {
    const Feature& f = b.features[i];
    if (f.component >= 0 || f.kind == FeatureKind::via || f.kind == FeatureKind::unplated_hole ||
        f.kind == FeatureKind::fiducial)
      continue;
    for (std::size_t side = 0; side < 2; ++side)
      if (f.land[side].present) {
        free[side].push_back(static_cast<int>(i));
        grid[side].add(f.at, static_cast<int>(i));
      }
  }
  PointGrid centres(kReach);
  for (std::size_t k = 0; k < seats.size(); ++k) centres.add(seats[k].at, static_cast<int>(k));
  std::map<int, int> owner;
  for (std::size_t side = 0; side < 2; ++side)
    for (int i : free[side]) {
      const Feature& f = b.features[static_cast<std::size_t>(i)];
      const Land& l = f.land[side];
      const bool drilled = f.hole > 0;
      double nearest = kReach;
      int best = -1;
      for (std::size_t k : centres.around(f.at)) {
        const Seat& s = seats[k];
        const double away = distance(s.at, f.at);
        if (away >= nearest || (!drilled && s.side >= 0 && s.side != static_cast<int>(side))) continue;
        bool belongs = away < kCentral;
        if (!belongs) {
          const int twin = grid[side].nearest(2.0 * s.at - f.at, kTwin);
          if (twin >= 0 && twin != i) {
            const Land& t = b.features[static_cast<std::size_t>(twin)].land[side];
            belongs = std::abs(t.width - l.width) < kTwin && std::abs(t.height - l.height) < kTwin &&
                      (b.features[static_cast<std::size_t>(twin)].hole > 0) == drilled;
          }
        }
        if (belongs) {
          nearest = away;
          best = static_cast<int>(k);
        }
      }
      if (best >= 0 && owner.emplace(i, best).second) seats[static_cast<std::size_t>(best)].lands.push_back(i);
    }
  // "J2_8", "J2_7", ...: some writers place connectors pin by pin.
  std::map<std::string, int> shared, component;
  const auto part_of = [](const std::string& name) { return name.substr(0, name.rfind('_')); };
  for (const Seat& s : seats)
    if (s.name.find('_') != s.name.npos && !s.lands.empty()) ++shared[part_of(s.name)];
  std::size_t placed_parts = 0, lands = 0;
  Few bare;
  for (Seat& s : seats) {
    if (s.lands.empty()) {
      bare.add(s.name);
      continue;
    }
    const auto group = s.name.find('_') == s.name.npos ? shared.end() : shared.find(part_of(s.name));
    const bool pin = group != shared.end() && group->second >= kPinByPin;
    const auto [it, fresh] = component.emplace(pin ? group->first : s.name, static_cast<int>(b.components.size()));
    if (fresh) b.components.emplace_back().name = it->first;
    for (int i : s.lands) {
      Feature& f = b.features[static_cast<std::size_t>(i)];
      f.component = it->second;
      if (pin) f.pin = s.name.substr(s.name.rfind('_') + 1);
      b.components[static_cast<std::size_t>(it->second)].features.push_back(i);
    }
    ++placed_parts;
    lands += s.lands.size();
  }
  std::size_t all = 0;
  for (const auto& list : free) all += list.size();
  d.note("parts-matched", {job.file, 0, 0, "inputs.placement"},
         "lands without names were given to parts of the placement by symmetry: to the nearest part about whose centre "
         "a land has a twin",
         std::to_string(placed_parts) + " of " + std::to_string(seats.size()) + " parts, " + std::to_string(lands) +
             " of " + std::to_string(all) + " lands" + (bare.count() ? "; without lands: " + bare.text() : ""),
         "pasted lands that belong to no part stay closed to probes");
  if (bare.count() * 5 > seats.size())
    d.warn("parts-without-lands", {job.file, 0, 0, "inputs.placement"},
           "many parts of the placement find no lands about their place",
           std::to_string(bare.count()) + " of " + std::to_string(seats.size()),
           "check unit and offset in  [inputs.placement]");
}

}  // namespace teasel
