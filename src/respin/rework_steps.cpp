// What the shop does, in the order of the work.
#include <algorithm>
#include <map>

#include "workshop.h"

namespace teasel::reworking {

void Workshop::steps() {
  for (const auto& probe : file_.revisions.back().probes) net_of_[probe.name] = probe.net;
  const bool anything =
      !off_.empty() || !on_.empty() || !swaps_.empty() ||
      std::any_of(out_.plates.begin(), out_.plates.end(), [](const PlateRework& rework) { return rework.touched(); });
  if (!anything) return;
  add({.stage = "before the work",
       .what = "disconnect the fixture and its supplies, discharge whatever can hold charge, and ground yourself; the "
               "tips are "
               "sharp; keep your hands out from between the plates; follow local codes"});
  take_apart();
  take_off();
  plug();
  make_and_drill();
  mill();
  engrave();
  fit();
  wire();
  put_together();
  add({.stage = "prove",
       .what = "check the whole fixture as verify.csv says; self-test-changes.csv lists what differs from the last "
               "time"});
}

/// Something is done to the plate, or to what stands in it.
bool Workshop::opens(const PlateRework& rework) const {
  if (rework.touched()) return true;
  const auto on_side = [&](Side side) { return side == rework.plate.probes; };
  return rework.plate.kind == PlateKind::probe &&
         (std::any_of(on_.begin(), on_.end(), [&](const Wire* wire) { return on_side(wire->side); }) ||
          std::any_of(off_.begin(), off_.end(), [&](const StandingWire* wire) {
            const auto hole = std::find_if(fixture_.holes.begin(), fixture_.holes.end(),
                                           [&](const StandingHole& one) { return one.name == wire->probe; });
            return hole != fixture_.holes.end() && on_side(hole->side);
          }));
}

/// From the operator inwards: what stands over the board first, then what moves, then what holds the probes.
void Workshop::take_apart() {
  std::vector<const PlateRework*> order;
  for (const PlateRework& rework : out_.plates)
    if (!rework.whole && opens(rework)) order.push_back(&rework);
  const auto rank = [](const PlateRework* rework) {
    return std::pair(rework->plate.lower, rework->plate.kind == PlateKind::probe);
  };
  std::stable_sort(order.begin(), order.end(),
                   [&](const PlateRework* a, const PlateRework* b) { return rank(a) < rank(b); });
  for (const PlateRework* rework : order) {
    const bool probe = rework->plate.kind == PlateKind::probe;
    add({.stage = "take apart",
         .plate = rework->plate.stem,
         .what = std::string("take the plate out") +
                 (probe ? ": support it, mark its loom, lay it with the tips up; no tip may carry it"
                        : ": loosen its screws and lift it straight off its guides, past the tips") +
                 "; check that plan " + out_.from_plan + " is engraved on it"});
  }
}

void Workshop::engrave() {
  for (const PlateRework& rework : out_.plates)
    if (!rework.whole && rework.touched())
      add({.stage = "engrave",
           .plate = rework.plate.stem,
           .what = "strike through the number of plan " + out_.from_plan +
                   " and engrave this plan's beside it; engrave "
                   "the names of new probes beside their holes"});
}

void Workshop::put_together() {
  bool any = false;
  for (const PlateRework& rework : out_.plates) any = any || opens(rework) || rework.whole;
  if (!any) return;
  add({.stage = "put together",
       .what = "fit the plates in the order opposite to that of taking apart; screws as tight as they were, thread "
               "locker where it was"});
  add({.stage = "put together",
       .what =
           "without a board, close the fixture slowly by hand: it moves freely over its whole stroke, no tip bends, "
           "nothing pinches a wire"});
}

void Workshop::take_off() {
  for (const StandingWire* wire : off_) {
    ReworkStep step{.stage = "take off wires",
                    .what = "take the wire off receptacle and interface pin " + wire->pin,
                    .label = wire->probe,
                    .net = net_of_[wire->probe]};
    for (const StandingPlate& plate : fixture_.plates)
      for (const StandingPlateHole& hole : plate.holes)
        if (plate.kind == PlateKind::probe && hole.label == wire->probe &&
            hole.kind == to_string(PlateHole::Kind::receptacle)) {
          step.plate = plate.stem;
          step.at = hole.plate;
        }
    add(std::move(step));
  }
  for (const PlateRework& rework : out_.plates)
    for (const StandingPlateHole& hole : rework.plugged) {
      ReworkStep step{.stage = "take out",
                      .plate = rework.plate.stem,
                      .what = "pull the " + hole.kind,
                      .label = hole.label,
                      .at = hole.plate,
                      .diameter = hole.diameter};
      if (is_support(hole.kind)) step.what = "take off the " + hole.kind;
      if (hole.kind == to_string(PlateHole::Kind::receptacle)) {
        step.what = "pull probe and receptacle";
        step.net = net_of_[hole.label];
      }
      add(std::move(step));
    }
}

void Workshop::plug() {
  for (const PlateRework& rework : out_.plates)
    for (const StandingPlateHole& hole : rework.plugged)
      add({.stage = "plug",
           .plate = rework.plate.stem,
           .what = "plug the hole flush on both faces; a plug is not solid plate, so drill nothing beside it",
           .label = hole.label,
           .at = hole.plate,
           .diameter = hole.diameter});
}

void Workshop::make_and_drill() {
  for (const PlateRework& rework : out_.plates) {
    const std::string& stem = rework.plate.stem;
    if (rework.whole) {
      add({.stage = "make",
           .plate = stem,
           .what = "make this plate new: the fixture has none",
           .file = "plates/" + stem + ".drl"});
      continue;
    }
    const StandingPlate& standing = *fixture_.plate(stem);
    for (const auto& tool : rework.plate.tools)
      for (const int i : tool) {
        const PlateHole& hole = rework.plate.holes[static_cast<std::size_t>(i)];
        const bool wider = std::any_of(
            standing.holes.begin(), standing.holes.end(),
            [&](const StandingPlateHole& other) { return distance(other.plate, hole.plate) <= kSameHolePlace.v; });
        add({.stage = "drill",
             .plate = stem,
             .what = std::string(wider ? "open up the hole for the " : "drill for the ") + to_string(hole.kind),
             .label = hole.label,
             .net = hole.net,
             .at = hole.plate,
             .diameter = hole.diameter,
             .file = "rework/" + stem + "-new-holes.drl"});
      }
  }
}

void Workshop::mill() {
  for (const PlateRework& rework : out_.plates) {
    if (rework.whole) continue;
    for (const Pocket& pocket : rework.plate.pockets) {
      std::string parts;
      for (const ComponentId component : pocket.components)
        parts += (parts.empty() ? "" : " ") + in_.board.components[component].name;
      add({.stage = "mill",
           .plate = rework.plate.stem,
           .what = "enlarge the pocket " + short_number(pocket.depth.v, 2) + " mm deep" +
                   (pocket.through ? " (through)" : ""),
           .label = parts,
           .file = "rework/" + rework.plate.stem + "-new-holes-pocket-*.drl"});
    }
  }
}

void Workshop::fit() {
  std::map<std::string, const PlacedProbe*> by_name;
  for (const PlacedProbe& probe : in_.option.probes) by_name[probe.name] = &probe;
  for (const PlateRework& rework : out_.plates)
    for (const PlateHole& hole : rework.plate.holes) {
      ReworkStep step{.stage = "fit",
                      .plate = rework.plate.stem,
                      .what = std::string("fit the ") + to_string(hole.kind),
                      .label = hole.label,
                      .at = hole.plate,
                      .diameter = hole.diameter};
      if (hole.kind == PlateHole::Kind::receptacle) {
        step.what = "press in the receptacle (" + in_.catalogue.classes[by_name.at(hole.label)->probe_class].name +
                    "), set height as in set-heights.csv";
        step.net = hole.net;
      } else if (!is_pin(hole.kind) && !is_support(to_string(hole.kind))) {
        continue;
      }
      add(std::move(step));
    }
  for (const PlacedProbe& probe : in_.option.probes)
    if (probe.standing_hole && fixture_.holes[probe.standing_hole].state == HoleState::open)
      add({.stage = "fit",
           .what = "press a receptacle into the open hole",
           .label = probe.name,
           .net = in_.board.nets[in_.needs[probe.need].net].name});
  for (const Swap& swap : swaps_)
    add({.stage = "fit",
         .what = "change the probe: " + (swap.before.empty() ? std::string("another") : swap.before) + " before, " +
                 swap.after + " now",
         .label = swap.probe});
}

const Plate* Workshop::holds_probes(Side side) const {
  for (const Plate& plate : plan_.plates)
    if (plate.kind == PlateKind::probe && plate.probes == side) return &plate;
  return nullptr;
}
std::string Workshop::probe_plate(Side side) const {
  const Plate* plate = holds_probes(side);
  return plate ? plate->stem : std::string();
}
std::optional<PlatePoint> Workshop::place_of(const std::string& probe, Side side) const {
  if (const Plate* plate = holds_probes(side))
    for (const PlateHole& hole : plate->holes)
      if (hole.label == probe) return hole.plate;
  return std::nullopt;
}

void Workshop::wire() {
  for (const Wire* wire : on_)
    add({.stage = "wire",
         .plate = probe_plate(wire->side),
         .what = "wire " + std::to_string(wire->number) + " from the receptacle to interface pin " + wire->pin +
                 (wire->gauge.empty() ? "" : ", " + wire->gauge) + (wire->colour.empty() ? "" : ", " + wire->colour) +
                 (wire->length > Mm{} ? ", cut to " + short_number(wire->length.v, 0) + " mm" : ""),
         .label = wire->probe,
         .net = wire->net,
         .at = place_of(wire->probe, wire->side)});
}

}  // namespace teasel::reworking
