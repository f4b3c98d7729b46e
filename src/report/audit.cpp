// The audit in words and lists.
#include <algorithm>
#include <map>

#include "teasel/board/by_board.h"
#include "teasel/words.h"
#include "text.h"

namespace teasel {

namespace {
std::string of(const Share& share) {
  return std::to_string(share.reached) + " of " + std::to_string(share.all) + " (" +
         fixed(std::floor(10 * share.percent()) / 10, 1) + " %)";
}
const InterfaceKind& kind_of(const Outcome& outcome, const FoundInterface& found) {
  return outcome.interface_table.kinds[found.kind];
}
const std::string& line_name(const Outcome& outcome, const FoundInterface& found, const InterfaceNet& line) {
  return kind_of(outcome, found).lines[line.line].name;
}
std::string list_of(const std::vector<std::string>& items, std::size_t most, const char* between = ", ") {
  std::string text;
  for (std::size_t i = 0; i < items.size() && i < most; ++i) text += (i ? between : "") + items[i];
  if (items.size() > most) text += std::string(between) + "and " + std::to_string(items.size() - most) + " more";
  return text;
}
/// Probes by net of the board.
Table<NetId, std::vector<std::string>> probes_by_net(const Outcome& outcome) {
  Table<NetId, std::vector<std::string>> list(outcome.board.nets.size());
  for (const PlacedProbe& probe : chosen(outcome).probes) list[outcome.needs[probe.need].net].push_back(probe.name);
  return list;
}

void interface_lines(std::vector<std::string>& lines, const Outcome& outcome) {
  ByBoard usable_on, broken_on, fragments_on, singles_on, banned_on;
  std::size_t usable = 0, broken = 0;
  for (const InterfaceReach& reach : outcome.results.audit.interfaces) {
    const FoundInterface& found = outcome.interfaces.found[reach.found];
    const InterfaceKind& kind = kind_of(outcome, found);
    const std::string& name = found.name;
    if (kind.role == Role::do_not_touch) {
      banned_on.add(reach.place, name + " " + std::to_string(found.nets.size()));
    } else if (found.fragment) {
      std::string lines_of;
      for (const InterfaceNet& line : found.nets)
        lines_of += (lines_of.empty() ? "" : " ") + outcome.board.nets[line.net].name.plain();
      fragments_on.add(reach.place, name + " (" + lines_of + ")");
    } else if (kind.single) {
      singles_on.add(reach.place,
                     name + " " + std::to_string(reach.lines.reached) + " of " + std::to_string(reach.lines.all));
    } else if (reach.usable) {
      ++usable;
      usable_on.add(reach.place, "  " + name + " (" + to_string(found.confidence) + "): usable, " +
                                     std::to_string(reach.lines.all) + " lines reached");
    } else {
      ++broken;
      broken_on.add(reach.place, "  " + name + " (" + to_string(found.confidence) + "): NOT usable, " +
                                     std::to_string(reach.lines.reached) + " of " + std::to_string(reach.lines.all) +
                                     " lines reached; lacking " + list_of(reach.lacking, 5, "; "));
    }
  }
  if (usable + broken > 0)
    lines.push_back("interfaces: " + std::to_string(usable) + " usable through the bed, " + std::to_string(broken) +
                    " not" + (outcome.board.places.size() > 1 ? ", those of all boards counted" : ""));
  for (const ByBoard* list : {&broken_on, &usable_on})
    for (const ByBoard::Told& told : list->told(outcome.board)) lines.push_back(told.text());
  auto items = [&](const ByBoard& list) {
    std::vector<std::string> texts;
    for (const ByBoard::Told& told : list.told(outcome.board)) texts.push_back(told.text(" "));
    return texts;
  };
  const std::vector<std::string> fragments = items(fragments_on), singles = items(singles_on),
                                 banned = items(banned_on);
  if (!fragments.empty())
    lines.push_back("single lines that could belong to an interface whose other lines are missing: " +
                    list_of(fragments, 8));
  if (!singles.empty())
    lines.push_back("nets that stand by themselves, with the number that have a probe: " + list_of(singles, 20));
  if (!banned.empty())
    lines.push_back("nets that are left untouched by default: " + list_of(banned, 20) +
                    "; a [[need]] or an [[interface]] in the job file overrides this");
}

/// Lines behind a small series part: which of the two nets to probe.
void split_lines(std::vector<std::string>& lines, const Outcome& outcome) {
  std::vector<std::string> split;
  for (const FoundInterface& found : outcome.interfaces.found)
    for (const InterfaceNet& line : found.nets)
      if (line.series && line.probe_here && line.other_side)
        split.push_back(outcome.board.nets[line.net].name.plain() + " (not " +
                        outcome.board.nets[line.other_side].name.plain() + "): " + line.which_side);
  if (!split.empty()) {
    lines.push_back("lines that run through a small series part, and the side of it to probe: " +
                    std::to_string(split.size()));
    for (std::size_t i = 0; i < split.size() && i < 6; ++i) lines.push_back("  " + split[i]);
  }
}

void scan_lines(std::vector<std::string>& lines, const Outcome& outcome) {
  if (!outcome.scan.used()) return;
  for (const ScanChain& chain : outcome.scan.chains) {
    std::string devices;
    for (const DeviceId device : chain.devices)
      devices += (devices.empty() ? "" : " -> ") +
                 outcome.board.components[outcome.scan.devices[device].component].name.plain() + " (" +
                 outcome.scan.devices[device].package + ")";
    lines.push_back(std::string("boundary-scan chain") + (outcome.board.places.size() < 2 ? "" : " of each board") +
                    ": TDI -> " + devices + " -> TDO, " + std::to_string(chain.instruction_bits) +
                    " instruction bits, " + std::to_string(chain.cells) + " cells" +
                    (chain.tck > Hertz{} ? ", TCK up to " + short_number(chain.tck / 1e6, 3) + " MHz" : "") +
                    (chain.usable() ? "" : ": BROKEN"));
    for (const std::string& text : chain.breaks) lines.push_back("  broken: " + text);
    for (const std::string& text : chain.conditions) lines.push_back("  requires: " + text);
  }
  std::map<ScanCover, int> count;
  for (const ScanNet& scan : outcome.scan.nets) ++count[scan.cover];
  lines.push_back("  nets between boundary-scan cells" +
                  std::string(outcome.board.places.size() < 2 ? "" : " of each board") + ": " +
                  std::to_string(count[ScanCover::full]) +
                  " need no probe to find opens and shorts. Of the others, those driven to one level only: " +
                  std::to_string(count[ScanCover::one_level]) +
                  ", observed at the driving pin only: " + std::to_string(count[ScanCover::own_pin]) +
                  ", driven but not observed: " + std::to_string(count[ScanCover::driven]) +
                  ", observed but not driven: " + std::to_string(count[ScanCover::observed]) +
                  ". Pins that remain unobservable: " + std::to_string(outcome.scan.unobservable.size()));
  if (outcome.results.probes_saved)
    lines.push_back("  " + std::to_string(outcome.results.probes_saved) +
                    " of them get no probe, as the job file asks");
  else if (count[ScanCover::full])
    lines.push_back("  to leave out their probes, set  [plan] boundary_scan = \"save probes\"");
}

void supply_lines(std::vector<std::string>& lines, const Outcome& outcome) {
  std::vector<std::string> short_of;
  for (const SupplyReach& supply : outcome.results.audit.supplies)
    if (need_of(outcome, supply.net).wanted > 0 && !supply.enough())
      short_of.push_back(outcome.board.nets[supply.net].name +
                         (supply.wanted > Amperes{}
                              ? " (" + short_number(supply.amperes, 2) + " of " + short_number(supply.wanted, 2) + " A)"
                              : ""));
  lines.push_back("supplies: by their classes, the probes on supplies carry " +
                  short_number(outcome.results.audit.supply_amperes, 1) + " A in all and those on ground " +
                  short_number(outcome.results.audit.ground_amperes, 1) + " A; " +
                  (short_of.empty() ? std::string("every supply has enough probes")
                                    : "too few probes on " + list_of(short_of, 12)));
  std::size_t silent = 0;
  for (const SupplyReach& supply : outcome.results.audit.supplies) silent += supply.wanted <= Amperes{};
  if (silent)
    lines.push_back(
        "  " + std::to_string(silent) +
        " supplies state no current. State it with  [[need]] amperes  to have the number of their probes checked");
  if (!outcome.results.audit.clocks.empty()) {
    const ClockReach& farthest = outcome.results.audit.clocks.front();
    const PlacedProbe& probe = chosen(outcome).probes[farthest.probe];
    std::size_t far = 0;
    for (const ClockReach& each : outcome.results.audit.clocks)
      far += each.distance > outcome.interface_table.ground_from_clock;
    lines.push_back(
        "clocks: farthest from a ground probe lies " + probe.name + " (" + net_name(outcome, probe.need) + "), " +
        (farthest.ground ? fixed(farthest.distance, 1) + " mm from " + chosen(outcome).probes[farthest.ground].name
                         : std::string("no ground probe on its side")) +
        "; " + std::to_string(far) + " of " + std::to_string(outcome.results.audit.clocks.size()) +
        " clocks lie farther away than " + short_number(outcome.interface_table.ground_from_clock, 1) + " mm");
  }
  std::vector<std::string> kelvin, without;
  for (const ComponentReach& part : outcome.results.audit.parts)
    if (part.kelvin_wanted)
      (part.kelvin_possible ? kelvin : without).push_back(outcome.board.components[part.component].name);
  if (!kelvin.empty() || !without.empty())
    lines.push_back("four-wire measurements: possible, with two open targets on each of the two nets, for " +
                    (kelvin.empty() ? std::string("none") : list_of(kelvin, 10)) +
                    (without.empty() ? "" : "; not possible for " + list_of(without, 10)));
}
}  // namespace

std::vector<std::string> audit_lines(const Outcome& outcome) {
  const Audit& audit = outcome.results.audit;
  std::vector<std::string> lines;
  lines.push_back("weighted access score " + fixed(std::floor(10 * audit.score) / 10, 1) + " of 100: " + audit.formula);
  lines.push_back("nets " + of(audit.nets) +
                  (outcome.scan.used() ? ", with boundary scan " + of(audit.nets_with_scan) : "") + "; pins " +
                  of(audit.pins) + (outcome.scan.used() ? ", with boundary scan " + of(audit.pins_with_scan) : "") +
                  "; components with all nets reached " + of(audit.components));
  std::size_t guarded = 0;
  for (const ComponentReach& part : audit.parts) guarded += part.guarded;
  lines.push_back("two-pin parts with a probe at both ends " + of(audit.two_poles) + ", " + std::to_string(guarded) +
                  " of them without a parallel path, or with a point at which it can be guarded");
  lines.push_back("wanted nets with an open target (spacing to other probes not considered): from the bottom " +
                  of(audit.bottom) + ", from the top " + of(audit.top) + ", from either " + of(audit.either) +
                  "; only from the bottom " + std::to_string(audit.from_bottom_only) + ", only from the top " +
                  std::to_string(audit.from_top_only));
  for (const OptionResult& option : outcome.plan.options)
    lines.push_back("  planned " + option.option.name() + ": " + std::to_string(nets_met(outcome.needs, option)) +
                    " nets served in full" + (&option == &chosen(outcome) ? "   <- chosen" : ""));
  interface_lines(lines, outcome);
  split_lines(lines, outcome);
  scan_lines(lines, outcome);
  supply_lines(lines, outcome);
  for (const VariantReach& variant : audit.variants)
    lines.push_back("variant " + variant.name + ": components " + of(variant.components) + ", pins " +
                    of(variant.pins) + ", two-pin parts measurable " + of(variant.two_poles));
  if (outcome.job.wants.gate.used || !audit.gate_failures.empty())
    lines.push_back(audit.gate_failures.empty() ? "gate passed" : "GATE FAILED:");
  for (const std::string& failure : audit.gate_failures) lines.push_back("  " + failure);
  return lines;
}

namespace {
std::string other_ways(std::size_t count) {
  return count > 0 ? "; " + plural(count, "other way", "other ways") : "";
}
}  // namespace

std::vector<std::string> advice_lines(const Outcome& outcome, std::size_t most) {
  std::vector<std::string> lines;
  std::map<NeedId, std::size_t> changes;
  for (const Advice& advice : outcome.results.advice) ++changes[advice.need];
  std::size_t lacking = 0;
  std::size_t by_scan = 0;
  for (const NeedId i : outcome.needs.ids()) {
    if (outcome.needs[i].wanted <= chosen(outcome).got[i]) continue;
    const bool tested = !outcome.needs[i].mandatory && !changes.count(i) &&
                        outcome.scan.needs_no_probe(outcome.board.base_net(outcome.needs[i].net));
    ++(tested ? by_scan : lacking);
  }
  if (lacking == 0 || !outcome.job.effort.advice) return lines;
  lines.push_back("advice for the layout: " + std::to_string(changes.size()) + " of " + std::to_string(lacking) +
                  " needs that are not fully served could be served after a change; the cheapest change for each" +
                  (by_scan ? " (" + std::to_string(by_scan) + " more are tested by boundary scan)" : "") + ":");
  if (!outcome.board.places.empty())
    lines.push_back("  places for new pads are not worked out on a panel: audit the single board for them");
  NeedId last;
  for (const Advice& advice : outcome.results.advice) {
    if (advice.need == last) continue;
    if (lines.size() > most) {
      lines.push_back("  ... more in advice.csv");
      break;
    }
    last = advice.need;
    lines.push_back("  " + net_name(outcome, advice.need) +
                    (outcome.needs[advice.need].mandatory ? " (mandatory)" : "") + ": " + advice.action + " [" +
                    to_string(advice.side) + ", (" + fixed(advice.at.x, 2) + ", " + fixed(advice.at.y, 2) + ")]" +
                    other_ways(changes[advice.need] - 1));
  }
  return lines;
}

namespace {
/// The needs that are not served in full.
std::vector<std::string> lacking_lines(const Outcome& outcome) {
  std::vector<std::string> lines;
  for (const CoverageRow& row : outcome.results.coverage.rows) {
    if (row.status != "unmet" && row.status != "partial") continue;
    if (lines.empty()) lines.emplace_back("needs not served in full:");
    const Need& need = outcome.needs[row.need];
    lines.push_back("  " + net_name(outcome, row.need).text() + " (" + to_string(need.role) +
                    (need.mandatory ? ", mandatory" : "") + "): " + std::to_string(row.got) + " of " +
                    std::to_string(row.wanted) + ", " + row.reason);
  }
  return lines;
}
}  // namespace

std::vector<std::string> details_lines(const Outcome& outcome) {
  std::vector<std::string> out;
  constexpr std::size_t kAll = 100'000;
  for (const std::vector<std::string>& lines :
       {summary_lines(outcome), audit_lines(outcome), lacking_lines(outcome), advice_lines(outcome, kAll)}) {
    out.insert(out.end(), lines.begin(), lines.end());
    out.emplace_back();
  }
  return out;
}

std::string details_text(const Outcome& outcome) {
  std::string text;
  for (const std::string& line : details_lines(outcome)) text += visible(line) + "\n";
  return text;
}

std::string interfaces_csv(const Outcome& outcome) {
  Csv::Text csv = "interface,kind,confidence,usable,line,net,probes,probe_here,evidence,note\n";
  const auto probes = probes_by_net(outcome);
  const auto net_of = nets_by_place(outcome.board);
  for (const InterfaceReach& reach : outcome.results.audit.interfaces) {
    const FoundInterface& found = outcome.interfaces.found[reach.found];
    const InterfaceKind& kind = kind_of(outcome, found);
    const std::string name = (reach.place ? outcome.board.places[reach.place].name + ":" : std::string()) + found.name;
    const bool banned = kind.role == Role::do_not_touch;
    const std::string usable = banned ? "not to be touched" : yes_no(reach.usable);
    for (const InterfaceNet& line : found.nets) {
      const NetId net = net_of.at({reach.place, line.net});
      std::string note = line.series ? line.which_side : "";
      if (banned) note = kind.reason;
      csv += csv_row({name, kind.name, to_string(line.confidence), usable, line_name(outcome, found, line),
                      outcome.board.nets[net].name, list_of(probes[net], 100, ";"), yes_no(!banned && line.probe_here),
                      list_of(line.evidence, 10, "; "), note});
    }
    if (kind.single) continue;
    for (const std::string& missing : found.missing)
      csv += csv_row(
          {name, kind.name, to_string(found.confidence), usable, missing, "", "", "", "", "not found on the board"});
  }
  return csv.text();
}

std::string components_csv(const Outcome& outcome) {
  Csv::Text csv = "component,value,side,nets,nets_reached,measurable,by_itself_or_guarded,four_wire,note\n";
  for (const ComponentReach& part : outcome.results.audit.parts) {
    const Component& component = outcome.board.components[part.component];
    const char* possible = part.kelvin_possible ? "possible" : "not possible";
    csv += csv_row({component.name, component.value, to_string(component.side), std::to_string(part.nets),
                    std::to_string(part.reached), part.two_pole ? yes_no(part.measurable) : "",
                    part.two_pole ? yes_no(part.guarded) : "", part.kelvin_wanted ? possible : "", part.parallel});
  }
  return csv.text();
}

namespace {
std::string enough_text(const SupplyReach& supply) {
  if (supply.probes == 0) return "no";
  return supply.wanted <= Amperes{} ? "no current stated" : yes_no(supply.enough());
}
}  // namespace

std::string supplies_csv(const Outcome& outcome) {
  Csv::Text csv = "net,volts,probes,amperes_of_probes,amperes_with_wires,amperes_wanted,enough\n";
  for (const SupplyReach& supply : outcome.results.audit.supplies)
    csv += csv_row({outcome.board.nets[supply.net].name, supply.states_volts ? short_number(supply.volts, 3) : "",
                    std::to_string(supply.probes), short_number(supply.amperes, 3),
                    short_number(carried(outcome, supply), 3),
                    supply.wanted > Amperes{} ? short_number(supply.wanted, 3) : "", enough_text(supply)});
  return csv.text();
}

std::string scan_nets_csv(const Outcome& outcome) {
  Csv::Text csv = "net,cover,driver,observer,over_series_part,probes\n";
  const auto probes = probes_by_net(outcome);
  for (const NetId i : outcome.board.nets.ids()) {
    const ScanNet& scan = outcome.scan.nets[outcome.board.base_net(i)];
    if (scan.cover == ScanCover::none) continue;
    csv += csv_row({outcome.board.nets[i].name, to_string(scan.cover), scan.driver, scan.observer,
                    yes_no(scan.through_series), list_of(probes[i], 100, ";")});
  }
  return csv.text();
}

std::string scan_pins_csv(const Outcome& outcome) {
  Csv::Text csv = "pin,signal,net,why\n";
  // Pins are those of the single board: the boards of a panel follow one another.
  const std::size_t boards = std::max<std::size_t>(outcome.board.places.size(), 1);
  const std::size_t pads = outcome.board.features.size() / boards;
  for (std::size_t i = 0; i < boards; ++i)
    for (const ScanPin& pin : outcome.scan.unobservable) {
      const Feature& feature = outcome.board.features[FeatureId{i * pads + pin.feature.index()}];
      csv += csv_row({feature.name, pin.signal, net_of(outcome.board, feature), pin.why});
    }
  return csv.text();
}

std::string advice_csv(const Outcome& outcome) {
  Csv::Text csv = "net,kind,action,side,x_mm,y_mm,free_diameter_mm,distance_mm,class,gain\n";
  for (const Advice& advice : outcome.results.advice)
    csv += csv_row({net_name(outcome, advice.need), to_string(advice.kind), advice.action, to_string(advice.side),
                    fixed(advice.at.x, 3), fixed(advice.at.y, 3),
                    advice.free_diameter > Mm{} ? fixed(advice.free_diameter, 3) : "",
                    advice.kind == AdviceKind::add_pad ? fixed(advice.distance, 3) : "",
                    advice.probe_class ? outcome.catalogue.classes[advice.probe_class].name : "",
                    short_number(advice.gain, 2)});
  return csv.text();
}

}  // namespace teasel
