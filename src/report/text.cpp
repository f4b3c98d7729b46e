#include "text.h"

#include <algorithm>
#include <cctype>
#include <charconv>
#include <cmath>
#include <map>

#include "teasel/board/by_board.h"
#include "teasel/fixture/hazards.h"
#include "teasel/words.h"

namespace teasel {

Csv::Text csv_row(std::span<const std::string> cells) {
  Csv::Text line;
  for (std::size_t i = 0; i < cells.size(); ++i) line += (i ? "," : "") + Csv::cell(cells[i]);
  return line + "\n";
}

const Need& need_of(const Outcome& outcome, NetId net) {
  return outcome.needs[NeedId{net.index()}];
}
std::string capital(std::string text) {
  if (!text.empty()) text[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(text[0])));
  return text;
}
Amperes carried(const Outcome& outcome, const SupplyReach& supply) {
  if (outcome.results.wiring.empty()) return supply.amperes;
  Amperes wired;
  for (const Wire& wire : outcome.results.wiring)
    if (wire.net == outcome.board.nets[supply.net].name.text()) wired += wire.amperes;
  return std::min(wired, supply.amperes);
}

const OptionResult& chosen(const Outcome& outcome) {
  return outcome.plan.options[outcome.plan.chosen];
}
const NetName& net_name(const Outcome& outcome, NeedId need) {
  return outcome.board.nets[outcome.needs[need].net].name;
}
const Feature& feature_of(const Outcome& outcome, TargetId target) {
  return outcome.board.features[outcome.access.targets[target].feature];
}
const Exposure& exposure_of(const Outcome& outcome, TargetId target) {
  return outcome.board.exposures[outcome.access.targets[target].exposure];
}
const Verdict& verdict_of(const Outcome& outcome, const PlacedProbe& probe) {
  return outcome.access.verdict(probe.spot, probe.probe_class,
                                outcome.access.targets[probe.target].side == chosen(outcome).option.main);
}
std::string component_name(const Board& board, const Feature& feature) {
  return feature.component ? board.components[feature.component].name.text() : std::string();
}
std::string net_of(const Board& board, const Feature& feature) {
  return feature.net ? board.nets[feature.net].name.text() : std::string();
}

std::vector<std::string> faults_of_plates(const Outcome& outcome) {
  std::vector<std::string> lines;
  for (const Plate& plate : outcome.results.plates)
    for (const std::string& fault : plate.faults) lines.push_back(plate.stem + ": " + fault);
  return lines;
}

Table<ProbeId, SharedLand> shared_lands(const Outcome& outcome) {
  auto key = [](Point place) { return std::pair{std::llround(place.x * 1000), std::llround(place.y * 1000)}; };
  std::map<std::pair<long long, long long>, std::vector<const Feature*>> at_point;
  for (const Feature& feature : outcome.board.features) at_point[key(feature.at)].push_back(&feature);
  auto add = [](std::string& list, const std::string& item) {
    if (!item.empty() && (";" + list + ";").find(";" + item + ";") == list.npos)
      list += (list.empty() ? "" : ";") + item;
  };
  Table<ProbeId, SharedLand> lands;
  for (const PlacedProbe& probe : chosen(outcome).probes) {
    const Side side = outcome.access.targets[probe.target].side;
    const Feature& feature = feature_of(outcome, probe.target);
    SharedLand land;
    add(land.components, component_name(outcome.board, feature));
    add(land.pins, feature.pin);
    for (const Feature* other : at_point[key(feature.at)])
      if (other->net == feature.net && other->component && other->land[side].present) {
        add(land.components, component_name(outcome.board, *other));
        add(land.pins, other->pin);
      }
    lands.add(std::move(land));
  }
  return lands;
}

std::string odds_text(Chance miss) {
  // Rounded down, so that odds are never overstated and never printed as a flat 1.
  const double hit = std::floor((1 - miss.v) * 1e9) / 1e9;
  return fixed(std::min(hit, 0.999999999), 9);
}

std::string money(Cents cents) {
  const bool negative = cents < Cents{};
  const std::int64_t size = negative ? -cents.v : cents.v;
  const std::string part = std::to_string(size % 100);
  return (negative ? "-" : "") + std::to_string(size / 100) + "." + (part.size() < 2 ? "0" : "") + part;
}

std::string scientific(double value) {
  char buffer[64];
  auto [end, err] = std::to_chars(buffer, buffer + sizeof buffer, value, std::chars_format::scientific, 2);
  return err == std::errc{} ? std::string(buffer, end) : "nan";
}

std::string chance(double probability) {
  return probability <= kLeastChance.v ? "below 1e-12" : scientific(probability);
}

namespace {
constexpr double kLeastSpoken = 1e-9;
}
std::string spoken_bound(double probability) {
  return (probability < kLeastSpoken ? "" : "below ") + spoken(probability);
}
std::string spoken(double probability) {
  if (probability < kLeastSpoken) return "below 0.001 in a million";
  struct Unit {
    double scale;
    const char* words;
  };
  Unit unit{1e6, " in a million"};
  if (probability >= 0.01)
    unit = {100, " %"};
  else if (probability >= 1e-5)
    unit = {1e3, " in a thousand"};
  char buffer[64];
  auto [end, err] =
      std::to_chars(buffer, buffer + sizeof buffer, unit.scale * probability, std::chars_format::general, 3);
  return std::string(buffer, err == std::errc{} ? end : buffer) + unit.words;
}
std::string share(const Estimate& estimate, const std::string& simulated) {
  if (estimate.value <= 0) return "0 of " + simulated + " simulated, " + spoken_bound(estimate.high);
  return spoken(estimate.value) + " (95 %: " + (estimate.low > 0 ? spoken(estimate.low) : "0") + " to " +
         spoken(estimate.high) + ")";
}

FaultOdds faults_of(const Outcome& outcome) {
  return fault_odds(outcome.results.bed.fault, chosen(outcome).probes.size(), outcome.job.history);
}

const char* touched_at_once(const Outcome& outcome) {
  return outcome.board.places.size() < 2 ? "boards" : "panels";
}
std::string of_the_panel(const Outcome& outcome) {
  const std::size_t boards = outcome.board.places.size();
  return boards < 2 ? "" : " of the panel's " + std::to_string(boards) + " boards";
}

namespace {
/// What the bed serves, and what stands against it.
std::string verdict_line(const Outcome& outcome) {
  const OptionResult& plan = chosen(outcome);
  const Coverage& coverage = outcome.results.coverage;
  const std::string share = coverage.wanted_nets
                                ? fixed(std::floor(1000.0 * coverage.met_nets / coverage.wanted_nets) / 10, 1) + " %"
                                : "0 %";
  std::string verdict;
  if (const std::string status = outcome.results.release.verdict(); !status.empty()) verdict = status + ". ";
  if (coverage.mandatory_unmet)
    verdict += "NOT TESTABLE AS ASKED: " + std::to_string(coverage.mandatory_unmet) +
               " mandatory nets cannot be reached as wanted. ";
  verdict += "A bed with " + std::to_string(plan.probes.size()) + " probes (" + plan.option.name() + ") serves " +
             std::to_string(coverage.met_nets) + " of " + std::to_string(coverage.wanted_nets) + " wanted nets" +
             of_the_panel(outcome) + " in full (" + share + "), " + std::to_string(coverage.partial_nets) +
             " in part, " + std::to_string(coverage.unmet_nets) + " not at all";
  return verdict + ".";
}
}  // namespace

std::vector<std::string> summary_lines(const Outcome& outcome) {
  const OptionResult& plan = chosen(outcome);
  const Coverage& coverage = outcome.results.coverage;
  int bottom = 0, top = 0;
  for (const PlacedProbe& probe : plan.probes) {
    ++(outcome.access.targets[probe.target].side == Side::top ? top : bottom);
  }
  std::vector<std::string> lines;
  lines.push_back(verdict_line(outcome));
  lines.push_back("probes: " + std::to_string(bottom) + " bottom, " + std::to_string(top) +
                  " top; sum of working forces " +
                  fixed(sum_of_forces(outcome.access, outcome.catalogue, outcome.rules, plan).v, 1) + " N");
  for (const std::string& line : test_point_lines(outcome)) lines.push_back(line);
  for (const std::string& line : respin_lines(outcome)) lines.push_back(line);
  for (const std::string& line : bed_lines(outcome)) lines.push_back(line);
  for (const std::string& line : plan_lines(outcome)) lines.push_back(line);
  for (const std::string& line : mechanics_lines(outcome)) lines.push_back(line);
  for (const std::string& line : cost_lines(outcome)) lines.push_back(line);
  lines.push_back("weighted access score " + fixed(std::floor(10 * outcome.results.audit.score) / 10, 1) +
                  " of 100; the whole audit:  teasel audit");
  ByBoard of_no_use;
  for (const InterfaceReach& reach : outcome.results.audit.interfaces) {
    const FoundInterface& found = outcome.interfaces.found[reach.found];
    if (!reach.usable && found.programs && !found.fragment && !outcome.interface_table.kinds[found.kind].single)
      of_no_use.add(reach.place, "  " + found.name + " cannot be used through the bed: " + reach.lacking[0]);
  }
  for (const ByBoard::Told& told : of_no_use.told(outcome.board)) lines.push_back(told.text());
  for (const std::string& failure : outcome.results.audit.gate_failures) lines.push_back("GATE FAILED: " + failure);
  for (const std::string& line : nearly_open_lines(outcome)) lines.push_back(line);
  for (const WaivedProbe& waived : coverage.waived)
    lines.push_back("WAIVED " + plan.probes[waived.probe].name + " (" +
                    net_name(outcome, plan.probes[waived.probe].need) +
                    "): " + sentence(waived.shortfall, outcome.board, outcome.job));
  for (const ReleaseReason& reason : outcome.results.release.reasons)
    lines.push_back((reason.forbids == Release::do_not_drill ? "DO NOT DRILL" : "DRAFT") +
                    (reason.plate.empty() ? "" : " " + reason.plate) + ": " + reason.text);
  ByBoard to_measure;
  for (const auto& measure : coverage.measure_first) {
    const Component& part = outcome.board.components[measure.component];
    to_measure.add(part.panel_place,
                   "  " + part.name.plain() + ": " + measure.what + ", " +
                       (measure.probes.empty() ? "a pocket" : plural(measure.probes.size(), "probe", "probes")));
  }
  std::size_t shown = 0;
  for (const ByBoard::Told& told : to_measure.told(outcome.board)) {
    if (shown++ == 0) lines.push_back("measure these first (part, what is assumed, what depends on it):");
    if (shown > 10) break;
    lines.push_back(told.text());
  }
  return lines;
}

namespace {
std::string joined(const std::vector<std::string>& names) {
  std::string text;
  for (const std::string& name : names) text += (text.empty() ? "" : ", ") + name;
  return text;
}
}  // namespace

std::vector<std::string> cautions(const Outcome& outcome) {
  std::vector<std::string> list = {
      "Static: handle boards and probes on an earthed bench and wear a wrist strap. Follow the ESD programme of the "
      "site.",
      "Sharp tips: probe tips pierce skin. Keep the bed covered when no board lies on it. Wear eye protection when you "
      "change probes.",
      "Pinch points: a press or clamshell closes with the sum of all probe forces and more. Guard it, or use two-hand "
      "control, as local machine-safety codes require.",
  };
  const Hazards hazards = hazards_of(outcome.board, outcome.needs, outcome.interfaces, outcome.interface_table);
  const std::string each = outcome.board.places.size() > 1 ? " on each board" : "";
  if (hazards.rails > 0)
    list.push_back(
        "Supply rails: limit the current and voltage of every supply before contact. Power up only after all probes "
        "touch and the test for shorts has passed (" +
        std::to_string(hazards.rails) + (hazards.rails == 1 ? " rail is" : " rails are") + " wanted" + each +
        "; those that are reached stand in supplies.csv).");
  if (!hazards.cells.empty())
    list.push_back("Lithium cell: disconnect or remove the pack before clamping (likely connector or holder: " +
                   joined(hazards.cells) + each +
                   "). A probe that bridges its terminals can start a fire. Keep the pack away from the press.");
  if (!hazards.high_voltage.empty())
    list.push_back(
        "Dangerous voltage by name: " + joined(hazards.high_voltage) +
        ". Keep the creepage distances that this voltage requires between receptacles, plate holes and wires. "
        "Discharge before contact. Let licensed people decide whether the fixture may touch these nets at all.");
  list.push_back(
      "Voltages above 60 V DC or 30 V AC, hipot tests and mains are for licensed practice and local codes; this plan "
      "makes no provision for them.");
  return list;
}

}  // namespace teasel
