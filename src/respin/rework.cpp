// What the shop does to a fixture that stands, in the order of the work, and what that costs.
#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "teasel/respin.h"

namespace teasel {

namespace {
using formats::FixtureFile;

constexpr double kMill = 0.5;  // mm2; smaller remains of a pocket are rounding of its outline

bool is_pin(PlateHole::Kind kind) {
  return kind == PlateHole::Kind::tooling_pin || kind == PlateHole::Kind::orientation_pin;
}
bool is_support(const std::string& kind) {
  return kind == to_string(PlateHole::Kind::stop) || kind == to_string(PlateHole::Kind::finger);
}
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

class Workshop {
 public:
  Workshop(const BuildInputs& in, const FixtureFile& file, const ReworkSource& planned, Respin& out,
           Diagnostics& diagnostics)
      : in_(in), fixture_(in.standing), file_(file), plan_(planned), out_(out), diagnostics_(diagnostics) {}
  void run() {
    for (const Plate& made : plan_.plates) plate(made);
    wires();
    tips();
    steps();
    cost();
    self_test();
  }

 private:
  void plate(const Plate& planned);
  bool serves(const PlateHole& planned, const StandingPlateHole& old, const std::string& stem);
  [[nodiscard]] Mm least_web(const std::string& a, const std::string& b) const;
  void check_webs(const Plate& made, const std::vector<PlateHole>& fresh, const StandingPlate& standing);
  void wires();
  void tips();
  void steps();
  /// What is made and fitted, counted.
  struct Work {
    double receptacles = 0, probes = 0, new_plates = 0;  ///< money
    double milled = 0, metres = 0;                       ///< cm3 of pockets; metres of wire
    std::size_t pressed = 0, nets = 0, plates = 0, drilled = 0, plugged = 0, supports = 0;
  };
  [[nodiscard]] Work work() const;
  void line(const char* group, std::string item, double quantity, std::string unit, Money price);
  void cost();
  void self_test();
  void add(ReworkStep step) {
    step.number = static_cast<int>(out_.steps.size()) + 1;
    out_.steps.push_back(std::move(step));
  }
  void take_off();
  void plug();
  void make_and_drill();
  void mill();
  void fit();
  void wire();

  const BuildInputs& in_;
  const StandingFixture& fixture_;
  const FixtureFile& file_;
  const ReworkSource& plan_;
  Respin& out_;
  Diagnostics& diagnostics_;
  std::vector<const StandingWire*> off_;
  std::vector<const Wire*> on_;
  struct Swap {
    std::string probe, before, after;
  };
  std::vector<Swap> swaps_;
  std::map<std::string, std::string> net_of_;  ///< by probe, as it was wired
};

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
  take_off();
  plug();
  make_and_drill();
  mill();
  fit();
  wire();
  add({.stage = "prove",
       .what = "check the whole fixture as verify.csv says; self-test-changes.csv lists what differs from the last "
               "time"});
}

void Workshop::take_off() {
  for (const StandingWire* wire : off_)
    add({.stage = "take off wires",
         .what = "take the wire off receptacle and interface pin " + wire->pin,
         .label = wire->probe,
         .net = net_of_[wire->probe]});
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

void Workshop::wire() {
  for (const Wire* wire : on_)
    add({.stage = "wire",
         .what = "wire " + std::to_string(wire->number) + " from the receptacle to interface pin " + wire->pin +
                 (wire->gauge.empty() ? "" : ", " + wire->gauge) + (wire->colour.empty() ? "" : ", " + wire->colour),
         .label = wire->probe,
         .net = wire->net});
}

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
      const auto price = prices.plate_dm2.find(rework.plate.material);
      constexpr double kMm2PerDm2 = 10'000;
      work.new_plates += std::abs(signed_area(rework.plate.outline)) / kMm2PerDm2 *
                         (price == prices.plate_dm2.end() ? prices.plate_dm2.at("other") : price->second).v;
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
  hours("milling " + short_number(work.milled, 1) + " cm3 of pockets", prices.pocket_per_cm3.v * work.milled, shop);
  hours("pressing in " + count(work.pressed, "receptacles"), times(prices.work.receptacle, work.pressed), shop);
  hours("fitting " + count(work.supports, "pins, stops and fingers"), times(prices.work.support, work.supports), shop);
  hours("taking off " + count(off_.size(), "wires") + " and putting in " + std::to_string(on_.size()),
        times(prices.work.wire, off_.size() + on_.size()), shop);
  // A fixture that was opened is proved whole.
  if (!out_.steps.empty()) line("work", "proving", prices.work.proving.v, "h", shop);
  out_.anew = plan_.anew;
}

/// What a check measures, and its limit.
template <class Step>
std::string text_of(const Step& step) {
  std::string text = step.net.empty() ? "" : step.net + ", ";
  if (!step.pin.empty()) text += "pin " + step.pin + ", ";
  if (!step.against.empty()) text += "against " + step.against + ", ";
  return text + step.limit + (step.unit.empty() ? "" : " " + step.unit);
}

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
}  // namespace

void plan_rework(const BuildInputs& in, const FixtureFile& file, const ReworkSource& planned, Respin& out,
                 Diagnostics& diagnostics) {
  Workshop(in, file, planned, out, diagnostics).run();
}

}  // namespace teasel
