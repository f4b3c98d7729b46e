// The audit in words and lists.
#include <algorithm>
#include <map>

#include "text.h"

namespace teasel {

namespace {
std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}
std::string of(const Share& s) {
  return std::to_string(s.reached) + " of " + std::to_string(s.all) + " (" +
         fixed(std::floor(10 * s.percent()) / 10, 1) + " %)";
}
const InterfaceKind& kind_of(const Outcome& o, const FoundInterface& f) {
  return o.table.kinds[at(f.kind)];
}
const std::string& line_name(const Outcome& o, const FoundInterface& f, const InterfaceNet& n) {
  return kind_of(o, f).lines[at(n.line)].name;
}
std::string list_of(const std::vector<std::string>& items, std::size_t most, const char* between = ", ") {
  std::string s;
  for (std::size_t i = 0; i < items.size() && i < most; ++i) s += (i ? between : "") + items[i];
  if (items.size() > most) s += std::string(between) + "and " + std::to_string(items.size() - most) + " more";
  return s;
}
/// Probes by net of the board.
std::vector<std::vector<std::string>> probes_by_net(const Outcome& o) {
  std::vector<std::vector<std::string>> list(o.board.nets.size());
  for (const PlacedProbe& p : chosen(o).probes) list[at(o.needs[at(p.need)].net)].push_back(p.name);
  return list;
}

void interface_lines(std::vector<std::string>& lines, const Outcome& o) {
  std::vector<std::string> usable, broken, fragments, singles, banned;
  for (const InterfaceReach& x : o.audit.interfaces) {
    const FoundInterface& f = o.interfaces.found[at(x.found)];
    const InterfaceKind& k = kind_of(o, f);
    const std::string name = (x.place >= 0 ? o.board.places[at(x.place)].name + ":" : std::string()) + f.name;
    if (k.role == Role::do_not_touch)
      banned.push_back(name + " " + std::to_string(f.nets.size()));
    else if (f.fragment) {
      std::string lines_of;
      for (const InterfaceNet& n : f.nets) lines_of += (lines_of.empty() ? "" : " ") + o.board.nets[at(n.net)].plain();
      fragments.push_back(name + " (" + lines_of + ")");
    } else if (k.single)
      singles.push_back(name + " " + std::to_string(x.lines.reached) + " of " + std::to_string(x.lines.all));
    else if (x.usable)
      usable.push_back("  " + name + " (" + to_string(f.confidence) + "): usable, " + std::to_string(x.lines.all) +
                       " lines reached");
    else
      broken.push_back("  " + name + " (" + to_string(f.confidence) + "): NOT usable, " +
                       std::to_string(x.lines.reached) + " of " + std::to_string(x.lines.all) +
                       " lines reached; lacking " + list_of(x.lacking, 5, "; "));
  }
  if (!usable.empty() || !broken.empty())
    lines.push_back("interfaces: " + std::to_string(usable.size()) + " usable through the bed, " +
                    std::to_string(broken.size()) + " not");
  lines.insert(lines.end(), broken.begin(), broken.end());
  lines.insert(lines.end(), usable.begin(), usable.end());
  if (!fragments.empty())
    lines.push_back("single lines that look like parts of an interface, without the rest: " + list_of(fragments, 8));
  if (!singles.empty()) lines.push_back("nets that stand alone, with a probe: " + list_of(singles, 20));
  if (!banned.empty())
    lines.push_back("nets not to be touched by default: " + list_of(banned, 20) +
                    "; [[need]] or [[interface]] in the job lifts it");
  std::vector<std::string> split;
  for (const FoundInterface& f : o.interfaces.found)
    for (const InterfaceNet& n : f.nets)
      if (n.series >= 0 && n.probe_here && n.other_side >= 0)
        split.push_back(o.board.nets[at(n.net)].name + " (not " + o.board.nets[at(n.other_side)].name +
                        "): " + n.which_side);
  if (!split.empty()) {
    lines.push_back("lines split by a small series part, and the side to probe: " + std::to_string(split.size()));
    for (std::size_t i = 0; i < split.size() && i < 6; ++i) lines.push_back("  " + split[i]);
  }
}

void scan_lines(std::vector<std::string>& lines, const Outcome& o) {
  if (!o.scan.used()) return;
  for (std::size_t i = 0; i < o.scan.chains.size(); ++i) {
    const ScanChain& c = o.scan.chains[i];
    std::string devices;
    for (const int d : c.devices)
      devices += (devices.empty() ? "" : " -> ") +
                 o.board.components[at(o.scan.devices[at(d)].component)].name.substr(
                     o.board.places.empty() ? 0 : o.board.places[0].name.size() + 1) +
                 " (" + o.scan.devices[at(d)].package + ")";
    lines.push_back(std::string("boundary-scan chain") + (o.board.places.empty() ? "" : " of each board") +
                    ": TDI -> " + devices + " -> TDO, " + std::to_string(c.instruction_bits) + " instruction bits, " +
                    std::to_string(c.cells) + " cells" +
                    (c.tck_hz > 0 ? ", TCK up to " + short_number(c.tck_hz / 1e6, 3) + " MHz" : "") +
                    (c.usable() ? "" : ": BROKEN"));
    for (const std::string& b : c.breaks) lines.push_back("  broken: " + b);
    for (const std::string& b : c.conditions) lines.push_back("  wants: " + b);
  }
  std::map<ScanCover, int> count;
  for (const ScanNet& n : o.scan.nets) ++count[n.cover];
  lines.push_back("  nets between cells: " + std::to_string(count[ScanCover::full]) +
                  " need no probe for opens and shorts; one level only " + std::to_string(count[ScanCover::one_level]) +
                  ", driving pin only " + std::to_string(count[ScanCover::own_pin]) + ", driven only " +
                  std::to_string(count[ScanCover::driven]) + ", observed only " +
                  std::to_string(count[ScanCover::observed]) +
                  "; pins that stay unobservable: " + std::to_string(o.scan.unobservable.size()));
  if (o.probes_saved)
    lines.push_back("  " + std::to_string(o.probes_saved) + " of them got no probe, as the job asks");
  else if (count[ScanCover::full])
    lines.push_back("  to save their probes:  [plan] boundary_scan = \"save probes\"");
}

void supply_lines(std::vector<std::string>& lines, const Outcome& o) {
  std::vector<std::string> short_of;
  for (const SupplyReach& s : o.audit.supplies)
    if (o.needs[at(s.net)].wanted > 0 && !s.enough())
      short_of.push_back(
          o.board.nets[at(s.net)].name +
          (s.wanted > 0 ? " (" + short_number(s.amperes, 2) + " of " + short_number(s.wanted, 2) + " A)" : ""));
  lines.push_back("supplies: probes carry " + short_number(o.audit.supply_amperes, 1) +
                  " A by their classes, grounds " + short_number(o.audit.ground_amperes, 1) + " A; " +
                  (short_of.empty() ? std::string("every supply has what is asked of it")
                                    : "short of probes: " + list_of(short_of, 12)));
  std::size_t silent = 0;
  for (const SupplyReach& s : o.audit.supplies) silent += s.wanted <= 0;
  if (silent)
    lines.push_back("  " + std::to_string(silent) +
                    " supplies state no current: give it as  [[need]] amperes, and the probes are counted against it");
  if (!o.audit.clocks.empty()) {
    const ClockReach& c = o.audit.clocks.front();
    const PlacedProbe& p = chosen(o).probes[at(c.probe)];
    std::size_t far = 0;
    for (const ClockReach& x : o.audit.clocks) far += x.distance_mm > o.table.ground_from_clock_mm;
    lines.push_back("clocks: the farthest from a ground probe is " + p.name + " (" + net_name(o, p.need) + "), " +
                    (c.ground < 0 ? std::string("no ground probe on its side")
                                  : fixed(c.distance_mm, 1) + " mm from " + chosen(o).probes[at(c.ground)].name) +
                    "; " + std::to_string(far) + " of " + std::to_string(o.audit.clocks.size()) + " lie farther than " +
                    short_number(o.table.ground_from_clock_mm, 1) + " mm");
  }
  std::vector<std::string> kelvin, without;
  for (const ComponentReach& x : o.audit.parts)
    if (x.kelvin_wanted) (x.kelvin_possible ? kelvin : without).push_back(o.board.components[at(x.component)].name);
  if (!kelvin.empty() || !without.empty())
    lines.push_back("four-wire measurements: two open targets of the bed's sides on either net of " +
                    (kelvin.empty() ? std::string("none") : list_of(kelvin, 10)) +
                    (without.empty() ? "" : "; not of " + list_of(without, 10)));
}
}  // namespace

std::vector<std::string> audit_lines(const Outcome& o) {
  const Audit& a = o.audit;
  std::vector<std::string> lines;
  lines.push_back("weighted access score " + fixed(std::floor(10 * a.score) / 10, 1) + " of 100: " + a.formula);
  lines.push_back("nets " + of(a.nets) + (o.scan.used() ? ", with boundary scan " + of(a.nets_with_scan) : "") +
                  "; pins " + of(a.pins) + (o.scan.used() ? ", with boundary scan " + of(a.pins_with_scan) : "") +
                  "; components with all nets reached " + of(a.components));
  std::size_t guarded = 0;
  for (const ComponentReach& x : a.parts) guarded += x.guarded;
  lines.push_back("two-pin parts measurable at both ends " + of(a.two_poles) + ", " + std::to_string(guarded) +
                  " of them by themselves or with a point to guard at");
  lines.push_back("wanted nets with an open target (spacing left aside): from the bottom " + of(a.bottom) +
                  ", from the top " + of(a.top) + ", from either " + of(a.either) + "; only from the bottom " +
                  std::to_string(a.from_bottom_only) + ", only from the top " + std::to_string(a.from_top_only));
  for (const OptionResult& x : o.plan.options)
    lines.push_back("  planned " + x.option.name() + ": " + std::to_string(nets_met(o.needs, x)) + " nets in full" +
                    (&x == &chosen(o) ? "   <- chosen" : ""));
  interface_lines(lines, o);
  scan_lines(lines, o);
  supply_lines(lines, o);
  for (const VariantReach& v : a.variants)
    lines.push_back("variant " + v.name + ": components " + of(v.components) + ", pins " + of(v.pins) +
                    ", two-pin parts measurable " + of(v.two_poles));
  if (o.job.gate.used || !a.gate_failures.empty())
    lines.push_back(a.gate_failures.empty() ? "gate passed" : "GATE FAILED:");
  for (const std::string& f : a.gate_failures) lines.push_back("  " + f);
  return lines;
}

std::vector<std::string> advice_lines(const Outcome& o, std::size_t most) {
  std::vector<std::string> lines;
  std::map<int, std::size_t> changes;
  for (const Advice& a : o.advice) ++changes[a.need];
  std::size_t lacking = 0;
  std::size_t by_scan = 0;
  for (std::size_t i = 0; i < o.needs.size(); ++i) {
    if (o.needs[i].wanted <= chosen(o).got[i]) continue;
    const bool tested = !o.needs[i].mandatory && !changes.count(static_cast<int>(i)) &&
                        o.scan.needs_no_probe(o.board.base_net(o.needs[i].net));
    ++(tested ? by_scan : lacking);
  }
  if (lacking == 0 || !o.job.advice) return lines;
  lines.push_back("advice for the layout: " + std::to_string(changes.size()) + " of " + std::to_string(lacking) +
                  " needs not served in full could be by a change; the cheapest of each" +
                  (by_scan ? " (" + std::to_string(by_scan) + " more are tested by boundary scan)" : "") + ":");
  if (!o.board.places.empty())
    lines.push_back("  places for new pads are not worked out on a panel: audit the single board for them");
  int last = -1;
  for (const Advice& a : o.advice) {
    if (a.need == last) continue;
    if (lines.size() > most) {
      lines.push_back("  ... and more in advice.csv");
      break;
    }
    last = a.need;
    lines.push_back("  " + net_name(o, a.need) + (o.needs[at(a.need)].mandatory ? " (mandatory)" : "") + ": " +
                    a.action + " [" + to_string(a.side) + ", (" + fixed(a.at.x, 2) + ", " + fixed(a.at.y, 2) + ")]" +
                    (changes[a.need] > 1 ? "; " + std::to_string(changes[a.need] - 1) +
                                               (changes[a.need] == 2 ? " other way" : " other ways")
                                         : ""));
  }
  return lines;
}

std::string interfaces_csv(const Outcome& o) {
  std::string s = "interface,kind,confidence,usable,line,net,probes,probe_here,evidence,note\n";
  const auto probes = probes_by_net(o);
  const auto net_of = nets_by_place(o.board);
  for (const InterfaceReach& x : o.audit.interfaces) {
    const FoundInterface& f = o.interfaces.found[at(x.found)];
    const InterfaceKind& k = kind_of(o, f);
    const std::string name = (x.place >= 0 ? o.board.places[at(x.place)].name + ":" : std::string()) + f.name;
    const std::string usable = k.role == Role::do_not_touch ? "not to be touched" : x.usable ? "yes" : "no";
    for (const InterfaceNet& n : f.nets) {
      const int net = net_of.at({std::max(x.place, 0), n.net});
      const std::string note = k.role == Role::do_not_touch ? k.reason : n.series >= 0 ? n.which_side : "";
      s += csv_row({name, k.name, to_string(n.confidence), usable, line_name(o, f, n), o.board.nets[at(net)].name,
                    list_of(probes[at(net)], 100, ";"),
                    k.role == Role::do_not_touch ? "no"
                    : n.probe_here               ? "yes"
                                                 : "no",
                    list_of(n.evidence, 10, "; "), note});
    }
    if (k.single) continue;
    for (const std::string& m : f.missing)
      s += csv_row({name, k.name, to_string(f.confidence), usable, m, "", "", "", "", "the board lacks it"});
  }
  return s;
}

std::string components_csv(const Outcome& o) {
  std::string s = "component,value,side,nets,nets_reached,measurable,by_itself_or_guarded,four_wire,note\n";
  for (const ComponentReach& x : o.audit.parts) {
    const Component& c = o.board.components[at(x.component)];
    s += csv_row({c.name, c.value, to_string(c.side), std::to_string(x.nets), std::to_string(x.reached),
                  x.two_pole ? x.measurable ? "yes" : "no" : "", x.two_pole ? x.guarded ? "yes" : "no" : "",
                  x.kelvin_wanted ? x.kelvin_possible ? "possible" : "not possible" : "", x.parallel});
  }
  return s;
}

std::string supplies_csv(const Outcome& o) {
  std::string s = "net,volts,probes,amperes_of_probes,amperes_wanted,enough\n";
  for (const SupplyReach& x : o.audit.supplies)
    s += csv_row({o.board.nets[at(x.net)].name, x.states_volts ? short_number(x.volts, 3) : "",
                  std::to_string(x.probes), short_number(x.amperes, 3), x.wanted > 0 ? short_number(x.wanted, 3) : "",
                  x.probes == 0   ? "no"
                  : x.wanted <= 0 ? "no current stated"
                  : x.enough()    ? "yes"
                                  : "no"});
  return s;
}

std::string scan_nets_csv(const Outcome& o) {
  std::string s = "net,cover,driver,observer,over_series_part,probes\n";
  const auto probes = probes_by_net(o);
  for (std::size_t i = 0; i < o.board.nets.size(); ++i) {
    const ScanNet& n = o.scan.nets[at(o.board.base_net(static_cast<int>(i)))];
    if (n.cover == ScanCover::none) continue;
    s += csv_row({o.board.nets[i].name, to_string(n.cover), n.driver, n.observer, n.through_series ? "yes" : "no",
                  list_of(probes[i], 100, ";")});
  }
  return s;
}

std::string scan_pins_csv(const Outcome& o) {
  std::string s = "pin,signal,net,why\n";
  for (const ScanPin& p : o.scan.unobservable) {
    const Feature& f = o.board.features[at(p.feature)];
    s += csv_row({f.name, p.signal, f.net < 0 ? "" : o.board.nets[at(f.net)].name, p.why});
  }
  return s;
}

std::string advice_csv(const Outcome& o) {
  std::string s = "net,kind,action,side,x_mm,y_mm,free_diameter_mm,distance_mm,class,gain\n";
  for (const Advice& a : o.advice)
    s += csv_row({net_name(o, a.need), to_string(a.kind), a.action, to_string(a.side), fixed(a.at.x, 3),
                  fixed(a.at.y, 3), a.free_diameter > 0 ? fixed(a.free_diameter, 3) : "",
                  a.kind == AdviceKind::add_pad ? fixed(a.distance, 3) : "",
                  a.probe_class < 0 ? "" : o.catalogue.classes[at(a.probe_class)].name, short_number(a.gain, 2)});
  return s;
}

}  // namespace teasel
