// What of a fixture that stands is cut, and which wires change.
#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "workshop.h"

namespace teasel {

namespace reworking {

namespace {

constexpr double kMill = 0.5;  // mm2; smaller remains of a pocket are rounding of its outline

/// A hole that only lets something through needs no plug.
bool lets_through(const std::string& kind) {
  return kind == to_string(PlateHole::Kind::plunger) || kind == to_string(PlateHole::Kind::pin_clearance);
}

/// Of a pocket's separate areas those that grow; each is milled whole, where it is milled already through air.
Pocket growing(const Pocket& whole, const Polygons& fresh, const Board& board,
               const Map<BoardFrame, PlateFrame>& from_board) {
  Pocket out = whole;
  out.area.clear();
  out.path.clear();
  out.components.clear();
  for (const Polygon& piece : whole.area)
    if (area(intersect({piece}, fresh)) > kMill / 10) out.area.push_back(piece);
  for (const Ring& ring : whole.path)
    if (!ring.empty() && contains(out.area, ring[0])) out.path.push_back(ring);
  for (const ComponentId component : whole.components)
    if (!intersect(from_board(board.components[component].body), fresh).empty()) out.components.push_back(component);
  return out;
}
}  // namespace

/// True if the hole that stands serves the planned one as it is.
bool Workshop::serves(const PlateHole& planned, const StandingPlateHole& old, const std::string& stem) {
  if (planned.diameter > old.diameter + kSameDrill) return false;
  if (planned.diameter < old.diameter - kSameDrill && !lets_through(to_string(planned.kind)))
    diagnostics_.warn({.code = "respin-hole-too-wide",
                       .at = {{}, 0, 0, stem},
                       .message = "an existing hole is wider than what now goes into it",
                       .found = planned.label + ": " + short_number(old.diameter.v, 3) + " mm",
                       .remedy = "line it with a bush to " + short_number(planned.diameter.v, 3) + " mm"});
  return true;
}

void Workshop::plate(const Plate& planned) {
  PlateRework rework;
  rework.plate = planned;
  const StandingPlate* standing = fixture_.plate(planned.stem);
  if (!standing) {
    rework.whole = true;
    out_.plates.push_back(std::move(rework));
    return;
  }
  rework.plate.holes.clear();
  rework.plate.pockets.clear();
  rework.plate.tools.clear();
  rework.plate.marks.clear();
  rework.pockets = standing->pockets;
  for (const HolePair& pair : pair_holes(planned, *standing)) {
    const StandingPlateHole* old =
        pair.standing < 0 ? nullptr : &standing->holes[static_cast<std::size_t>(pair.standing)];
    if (pair.planned < 0) {
      if (old->used && old->drilled)
        (lets_through(old->kind) ? rework.left : rework.plugged).push_back(*old);
      else if (old->drilled)
        rework.left.push_back(*old);
      continue;
    }
    const PlateHole& hole = planned.holes[static_cast<std::size_t>(pair.planned)];
    if (!hole.drilled) continue;
    if (old && serves(hole, *old, planned.stem))
      rework.stays.push_back(*old);
    else
      rework.plate.holes.push_back(hole);
  }
  for (const Pocket& pocket : planned.pockets) {
    Polygons left = pocket.area;
    for (const StandingPocket& old : standing->pockets)
      if (old.through || old.depth >= pocket.depth - Mm{1e-6}) left = subtract(left, old.area);
    if (area(left) > kMill) rework.plate.pockets.push_back(growing(pocket, left, in_.board, planned.from_board));
  }
  order_drills(rework.plate);
  check_webs(planned, rework.plate.holes, *standing);
  out_.plates.push_back(std::move(rework));
}

/// Least plate between holes of these kinds.
Mm Workshop::least_web(const std::string& a, const std::string& b) const {
  constexpr Mm kRounding{0.002};
  const std::string receptacle = to_string(PlateHole::Kind::receptacle);
  if (a == receptacle && b == receptacle) return std::min(in_.rules.web, in_.rules.web_smallest_class) - kRounding;
  if (a == receptacle || b == receptacle) return std::min(in_.style.web, in_.rules.web) - kRounding;
  return in_.style.web - kRounding;
}

/// The plan keeps them apart; this is the check of it, hole by hole.
void Workshop::check_webs(const Plate& plate, const std::vector<PlateHole>& fresh, const StandingPlate& standing) {
  const std::string plunger = to_string(PlateHole::Kind::plunger);
  for (const PlateHole& hole : fresh) {
    const std::string kind = to_string(hole.kind);
    for (const StandingPlateHole& other : standing.holes) {
      const double away = distance(hole.plate, other.plate);
      if (away <= kSameHolePlace.v || away > (hole.diameter + other.diameter + in_.style.web).v ||
          (kind == plunger && other.kind == plunger))
        continue;
      const Mm least = least_web(kind, other.kind), web{away - (hole.diameter + other.diameter).v / 2};
      if (web < least)
        diagnostics_.error(
            {.code = "respin-web",
             .at = {{}, 0, 0, plate.stem},
             .message = other.used
                            ? "the web between a new hole and an existing one is too thin"
                            : "the web between a new hole and an abandoned one is too thin: a plug is not solid plate",
             .found = hole.label + " and " + other.label + ": " + short_number(web.v, 3) + " mm",
             .expected = short_number(least.v, 3) + " mm",
             .remedy = "ban the target, name another place for the support, or make this plate new"});
    }
  }
}

void Workshop::wires() {
  std::map<std::string, const Wire*> now;
  for (const Wire& wire : plan_.wires) now[wire.probe] = &wire;
  std::set<std::string> stays;
  for (const StandingWire& standing : fixture_.wires) {
    const auto it = now.find(standing.probe);
    if (it != now.end() && it->second->pin == standing.pin && it->second->net == standing.net)
      stays.insert(standing.probe);
    else
      off_.push_back(&standing);
  }
  for (const Wire& wire : plan_.wires)
    if (!stays.count(wire.probe)) on_.push_back(&wire);
}

void Workshop::tips() {
  std::map<std::string, std::string> before;
  for (const auto& probe : file_.revisions.back().probes) before[probe.name] = probe.tip;
  for (const PlacedProbe& probe : in_.option.probes) {
    if (!probe.standing_hole || fixture_.holes[probe.standing_hole].state != HoleState::in_use) continue;
    const std::string tip = tip_for(in_.board, in_.access.targets[probe.target], in_.access.spots[probe.spot]);
    if (const auto it = before.find(probe.name); it != before.end() && it->second != tip)
      swaps_.push_back({probe.name, it->second, tip});
    else if (probe.long_travel && !fixture_.holes[probe.standing_hole].long_travel)
      swaps_.push_back({probe.name, it == before.end() ? "" : it->second, tip + ", long travel"});
  }
}

}  // namespace reworking

void plan_rework(const BuildInputs& in, const formats::FixtureFile& file, const ReworkSource& planned, Respin& out,
                 Diagnostics& diagnostics) {
  reworking::Workshop(in, file, planned, out, diagnostics).run();
}

}  // namespace teasel
