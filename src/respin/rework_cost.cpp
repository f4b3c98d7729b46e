// What the rework takes: hours, material, and what differs in the self-test.
#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "workshop.h"

namespace teasel::reworking {

/// A line of the cost sheet.
void Workshop::line(const char* group, std::string item, double quantity, std::string unit, Money price) {
  if (quantity <= 0) return;
  out_.cost.push_back({.group = group,
                       .item = std::move(item),
                       .quantity = quantity,
                       .unit = std::move(unit),
                       .price = price,
                       .sum = Cents{std::llround(quantity * price.v * 100)}});
  out_.rework += out_.cost.back().sum;
}

Workshop::Work Workshop::work() const {
  const Prices& prices = in_.prices;
  Work work;
  std::set<NeedId> changed;
  for (const PlacedProbe& probe : in_.option.probes) {
    const StandingHole* hole = probe.standing_hole ? &fixture_.holes[probe.standing_hole] : nullptr;
    const ProbeClass& probe_class = in_.catalogue.classes[probe.probe_class];
    if (!hole || hole->state != HoleState::in_use) {
      work.receptacles += (probe_class.price - probe_class.probe_price).v;
      work.probes += probe_class.probe_price.v;
      ++work.pressed;
    }
    if (!hole || hole->net != in_.board.nets[in_.needs[probe.need].net].name.text()) changed.insert(probe.need);
  }
  for (const Swap& swap : swaps_)
    for (const PlacedProbe& probe : in_.option.probes)
      if (probe.name == swap.probe) work.probes += in_.catalogue.classes[probe.probe_class].probe_price.v;
  for (const ProbeFate& fate : out_.fates) work.nets += fate.fate == Fate::lost || fate.fate == Fate::freed;
  work.nets += changed.size();
  for (const PlateRework& rework : out_.plates) {
    work.plates += rework.touched();
    work.plugged += rework.plugged.size();
    for (const PlateHole& hole : rework.plate.holes) {
      work.drilled += hole.drilled;
      work.supports += is_pin(hole.kind) || is_support(to_string(hole.kind));
    }
    if (rework.whole) {
      constexpr double kMm2PerDm2 = 10'000;
      work.new_plates +=
          std::abs(signed_area(rework.plate.outline)) / kMm2PerDm2 * prices.plate_price(rework.plate.material).v;
    }
    for (const Pocket& pocket : rework.plate.pockets) {
      Polygons left = pocket.area;
      for (const StandingPocket& old : rework.pockets) left = subtract(left, old.area);
      work.milled += area(left) * pocket.depth.v / 1000;
    }
  }
  for (const Wire* wire : on_) work.metres += (wire->length > Mm{} ? wire->length : prices.work.wire_length).v / 1000;
  return work;
}

void Workshop::cost() {
  const Prices& prices = in_.prices;
  const Work work = this->work();
  auto hours = [&](std::string item, double minutes, Money rate) {
    line("work", std::move(item), std::round(minutes / 60 * 100) / 100, "h", rate);
  };
  auto lot = [&](const char* item, double price) {
    line("material", item, price > 0, "lot", Money{std::round(price * 100) / 100});
  };
  auto count = [](std::size_t number, const char* what) { return std::to_string(number) + " " + what; };
  auto times = [](Minutes each, std::size_t number) { return each.v * static_cast<double>(number); };
  const Money shop = prices.hour.shop;
  lot("new plates", work.new_plates);
  lot("receptacles", work.receptacles);
  lot("probes", work.probes);
  line("material", "pins, stops and fingers", static_cast<double>(work.supports), "each",
       std::max({prices.part.tooling_pin, prices.part.board_stop, prices.part.push_finger}));
  line("material", "wire", std::ceil(work.metres * 10 - 1e-9) / 10, "m", prices.part.wire_metre);
  hours("test program for " + count(work.nets, "nets"), times(prices.work.net, work.nets), prices.hour.engineer);
  hours("setting up " + count(work.plates, "plates"), times(prices.plate_setup, work.plates), shop);
  hours("plugging " + count(work.plugged, "holes"), times(prices.hole + prices.work.receptacle, work.plugged), shop);
  hours("drilling " + count(work.drilled, "holes"), times(prices.hole, work.drilled), shop);
  hours("taking apart and setting up on the holes that stand", times(prices.work.rework, work.pressed), shop);
  hours("milling " + short_number(work.milled, 1) + " cm3 of pockets", prices.pocket_per_cm3.v * work.milled, shop);
  hours("pressing in " + count(work.pressed, "receptacles"), times(prices.work.receptacle, work.pressed), shop);
  hours("fitting " + count(work.supports, "pins, stops and fingers"), times(prices.work.support, work.supports), shop);
  hours("taking off " + count(off_.size(), "wires") + " and putting in " + std::to_string(on_.size()),
        times(prices.work.wire, off_.size() + on_.size()), shop);
  // A fixture that was opened is proved whole.
  if (!out_.steps.empty()) line("work", "proving", prices.work.proving.v, "h", shop);
  out_.anew = plan_.anew;
}

void Workshop::materials() {
  NewParts parts;
  std::map<long, int> plugs;
  for (const PlateRework& rework : out_.plates) {
    if (rework.whole || !rework.plate.holes.empty()) parts.plates.emplace_back(&rework.plate, rework.whole);
    for (const StandingPlateHole& hole : rework.plugged) ++plugs[std::lround(hole.diameter.v * 1000)];
  }
  for (const Wire* wire : on_) parts.wires.push_back(*wire);
  for (const PlacedProbe& probe : in_.option.probes) {
    const StandingHole* hole = probe.standing_hole ? &fixture_.holes[probe.standing_hole] : nullptr;
    if (hole && hole->state == HoleState::in_use) continue;
    parts.receptacles.insert(probe.name);
    parts.probes.insert(probe.name);
  }
  for (const Swap& swap : swaps_) parts.probes.insert(swap.probe);
  out_.materials = materials_of_new(in_, parts, in_.prices);
  for (const auto& [um, number] : plugs)
    out_.materials.push_back(
        {.item = "plug",
         .detail = "turned to " + short_number(static_cast<double>(um) / 1000, 3) + " mm, pressed in and glued",
         .used_on = "plates",
         .unit = "each",
         .needed = static_cast<double>(number),
         .spare = 0,
         .price = {}});
}

namespace {
/// What a check measures, and its limit.
template <class Step>
std::string text_of(const Step& step) {
  std::string text = step.net.empty() ? "" : step.net + ", ";
  if (!step.pin.empty()) text += "pin " + step.pin + ", ";
  if (!step.against.empty()) text += "against " + step.against + ", ";
  return text + step.limit + (step.unit.empty() ? "" : " " + step.unit);
}
}  // namespace

void Workshop::self_test() {
  struct Key {
    std::string stage, check, probe;
    int copy = 0;  ///< of checks that are alike
    auto operator<=>(const Key&) const = default;
  };
  auto by_key = [](const auto& steps) {
    std::map<Key, std::string> out;
    std::map<Key, int> seen;
    for (const auto& step : steps) {
      Key key{step.stage, step.what, step.probe};
      key.copy = seen[key]++;
      out[key] = text_of(step);
    }
    return out;
  };
  const std::map<Key, std::string> before = by_key(file_.steps), after = by_key(plan_.proving.steps);
  auto add = [&](const char* what, const Key& key, std::string was, std::string is) {
    out_.self_test.push_back({.what = what,
                              .stage = key.stage,
                              .check = key.check,
                              .probe = key.probe,
                              .before = std::move(was),
                              .after = std::move(is)});
  };
  for (const auto& [key, was] : before) {
    const auto it = after.find(key);
    if (it == after.end())
      add("dropped", key, was, "");
    else if (it->second != was)
      add("changed", key, was, it->second);
  }
  for (const auto& [key, is] : after)
    if (!before.count(key)) add("new", key, "", is);
}

}  // namespace teasel::reworking
