// Lands without names to parts with places: a land belongs to the nearest part about whose centre it has a twin.
#include <algorithm>
#include <map>
#include <set>

#include "build.h"
#include "teasel/words.h"

namespace teasel {

namespace {
constexpr double kReach = 30.0;   // mm; from a part's centre to its farthest land
constexpr double kTwin = 0.06;    // mm; a twin lies this near to the mirrored place, and differs in size by no more
constexpr int kPinByPin = 3;      // rows of one name before the underscore that make a part of pins
constexpr double kCentral = 0.3;  // mm; a land under the centre itself

/// A part of which only the place is known.
struct Seat {
  std::string name;
  BoardPoint at;
  std::optional<Side> side;
  std::vector<FeatureId> lands;
};

std::vector<Seat> seats_of(const Board& board, const Job& job, const Sources& sources) {
  std::set<std::string> known;
  for (const Component& part : board.components) known.insert(part.name);
  std::vector<Seat> seats;
  const auto add = [&](const std::string& name, BoardPoint at, std::optional<Side> side) {
    if (!name.empty() && known.insert(name).second) seats.push_back({name, at, side, {}});
  };
  for (const auto& table : sources.placements)
    for (const auto& row : table.rows) add(row.component, placed(job, table, row), row.side);
  if (sources.idf)
    for (const auto& body : sources.idf->bodies)
      add(body.component, body.at + job.inputs.idf_offset.value_or(Point{}), body.side);
  return seats;
}

/// Lands that no part owns yet, side by side.
struct FreeLands {
  PerSide<std::vector<FeatureId>> list;
  PerSide<PointGrid> grid{{PointGrid(0.2), PointGrid(0.2)}};
};

FreeLands free_lands(const Board& board) {
  FreeLands free;
  for (const FeatureId id : board.features.ids()) {
    const Feature& feature = board.features[id];
    if (feature.component || feature.kind == FeatureKind::via || feature.kind == FeatureKind::unplated_hole ||
        feature.kind == FeatureKind::fiducial)
      continue;
    for (const Side side : kBothSides)
      if (feature.land[side].present) {
        free.list[side].push_back(id);
        free.grid[side].add(feature.at, id.number());
      }
  }
  return free;
}

/// A land mirrored about the seat meets one of the same size.
bool has_twin(const Board& board, const FreeLands& free, FeatureId id, Side side, BoardPoint seat) {
  const Feature& feature = board.features[id];
  const Land& land = feature.land[side];
  const FeatureId twin = FeatureId::of_number(free.grid[side].nearest(2.0 * seat - feature.at, kTwin));
  if (!twin || twin == id) return false;
  const Land& other = board.features[twin].land[side];
  return std::abs(other.width.v - land.width.v) < kTwin && std::abs(other.height.v - land.height.v) < kTwin &&
         (board.features[twin].hole > Mm{}) == (feature.hole > Mm{});
}

void give_lands(const Board& board, const FreeLands& free, std::vector<Seat>& seats) {
  PointGrid centres(kReach);
  for (std::size_t k = 0; k < seats.size(); ++k) centres.add(seats[k].at, static_cast<int>(k));
  std::set<FeatureId> owned;
  for (const Side side : kBothSides)
    for (const FeatureId id : free.list[side]) {
      const Feature& feature = board.features[id];
      const bool drilled = feature.hole > Mm{};
      double nearest = kReach;
      Seat* best = nullptr;
      for (std::size_t k : centres.around(feature.at)) {
        Seat& seat = seats[k];
        const double away = distance(seat.at, feature.at);
        if (away >= nearest || (!drilled && seat.side && seat.side != side)) continue;
        if (away < kCentral || has_twin(board, free, id, side, seat.at)) {
          nearest = away;
          best = &seat;
        }
      }
      if (best && owned.insert(id).second) best->lands.push_back(id);
    }
}

/// What became of the seats.
struct Matched {
  std::size_t parts = 0, lands = 0;
  Few bare;  ///< seats without lands
};

Matched make_parts(Board& board, const std::vector<Seat>& seats) {
  // "J2_8", "J2_7", ...: some writers place connectors pin by pin.
  std::map<std::string, int> shared;
  std::map<std::string, ComponentId> component;
  const auto part_of = [](const std::string& name) { return name.substr(0, name.rfind('_')); };
  for (const Seat& seat : seats)
    if (seat.name.find('_') != seat.name.npos && !seat.lands.empty()) ++shared[part_of(seat.name)];
  Matched matched;
  for (const Seat& seat : seats) {
    if (seat.lands.empty()) {
      matched.bare.add(seat.name);
      continue;
    }
    const auto group = seat.name.find('_') == seat.name.npos ? shared.end() : shared.find(part_of(seat.name));
    const bool pin = group != shared.end() && group->second >= kPinByPin;
    const auto [it, fresh] = component.emplace(pin ? group->first : seat.name, board.components.next());
    if (fresh) board.components.emplace_back().name = PartName(it->first);
    for (const FeatureId id : seat.lands) {
      Feature& feature = board.features[id];
      feature.component = it->second;
      if (pin) feature.pin = seat.name.substr(seat.name.rfind('_') + 1);
      board.components[it->second].features.push_back(id);
    }
    ++matched.parts;
    matched.lands += seat.lands.size();
  }
  return matched;
}
}  // namespace

void match_parts(Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  std::vector<Seat> seats = seats_of(board, job, sources);
  if (seats.empty()) {
    if (board.components.empty())
      diagnostics.warn(
          {.code = "board-no-components",
           .at = {job.file, 0, 0, "inputs"},
           .message = "no component is known. Probes are not checked against anything that stands on the board",
           .found = "neither a netlist nor a placement table nor attributes name parts",
           .remedy = "give a netlist, a placement table or an IDF file, or draw keep-outs over tall parts"});
    return;
  }
  const FreeLands free = free_lands(board);
  give_lands(board, free, seats);
  const Matched matched = make_parts(board, seats);
  std::size_t all = 0;
  for (const auto& list : free.list) all += list.size();
  diagnostics.note({.code = "parts-matched",
                    .at = {job.file, 0, 0, "inputs.placement"},
                    .message = "lands without names were assigned to the placed parts by symmetry. A land goes to the "
                               "nearest part about whose centre it has a counterpart",
                    .found = std::to_string(matched.parts) + " of " + std::to_string(seats.size()) + " parts, " +
                             std::to_string(matched.lands) + " of " + std::to_string(all) + " lands" +
                             (matched.bare.count() ? "; without lands: " + matched.bare.text() : ""),
                    .remedy = "lands with paste that belong to no part are not probed"});
  if (matched.bare.count() * 5 > seats.size())
    diagnostics.warn({.code = "parts-without-lands",
                      .at = {job.file, 0, 0, "inputs.placement"},
                      .message = "many placed parts have no lands near their place",
                      .found = std::to_string(matched.bare.count()) + " of " + std::to_string(seats.size()),
                      .remedy = "check unit and offset in  [inputs.placement]"});
}

}  // namespace teasel
