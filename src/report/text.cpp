#include "text.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <map>
#include <set>

namespace teasel {

std::string csv_field(std::string_view s) {
  if (s.find_first_of(",\"\r\n") == s.npos) return std::string(s);
  std::string q = "\"";
  for (char c : s) {
    if (c == '"') q += '"';
    q += c;
  }
  return q + "\"";
}

std::string csv_row(std::initializer_list<std::string> fields) {
  std::string s;
  for (const auto& f : fields) s += (&f == fields.begin() ? "" : ",") + csv_field(f);
  return s + "\n";
}

const OptionResult& chosen(const Outcome& o) {
  return o.plan.options[o.plan.chosen];
}
const std::string& net_name(const Outcome& o, int need) {
  return o.board.nets[static_cast<std::size_t>(o.needs[static_cast<std::size_t>(need)].net)].name;
}
const Feature& feature_of(const Outcome& o, int target) {
  return o.board.features[static_cast<std::size_t>(o.access.targets[static_cast<std::size_t>(target)].feature)];
}
const Exposure& exposure_of(const Outcome& o, int target) {
  return o.board.exposures[static_cast<std::size_t>(o.access.targets[static_cast<std::size_t>(target)].exposure)];
}
const Verdict& verdict_of(const Outcome& o, const PlacedProbe& p) {
  return o.access.verdict(static_cast<std::size_t>(p.spot), static_cast<std::size_t>(p.probe_class),
                          o.access.targets[static_cast<std::size_t>(p.target)].side == chosen(o).option.main);
}
std::string component_name(const Board& b, const Feature& f) {
  return f.component < 0 ? std::string() : b.components[static_cast<std::size_t>(f.component)].name;
}

std::vector<SharedLand> shared_lands(const Outcome& o) {
  auto key = [](Point p) { return std::pair{std::llround(p.x * 1000), std::llround(p.y * 1000)}; };
  std::map<std::pair<long long, long long>, std::vector<const Feature*>> at_point;
  for (const Feature& f : o.board.features) at_point[key(f.at)].push_back(&f);
  auto add = [](std::string& list, const std::string& item) {
    if (!item.empty() && (";" + list + ";").find(";" + item + ";") == list.npos)
      list += (list.empty() ? "" : ";") + item;
  };
  std::vector<SharedLand> out;
  for (const PlacedProbe& p : chosen(o).probes) {
    const Target& t = o.access.targets[static_cast<std::size_t>(p.target)];
    const Feature& f = feature_of(o, p.target);
    SharedLand land;
    add(land.components, component_name(o.board, f));
    add(land.pins, f.pin);
    for (const Feature* g : at_point[key(f.at)])
      if (g->net == f.net && g->component >= 0 && g->land[static_cast<std::size_t>(t.side)].present) {
        add(land.components, component_name(o.board, *g));
        add(land.pins, g->pin);
      }
    out.push_back(std::move(land));
  }
  return out;
}

std::string odds_text(double miss) {
  // Rounded down, so that odds are never overstated and never printed as a flat 1.
  const double hit = std::floor((1 - miss) * 1e9) / 1e9;
  return fixed(std::min(hit, 0.999999999), 9);
}

std::string money(Cents c) {
  const bool negative = c < 0;
  const Cents v = negative ? -c : c;
  const std::string part = std::to_string(v % 100);
  return (negative ? "-" : "") + std::to_string(v / 100) + "." + (part.size() < 2 ? "0" : "") + part;
}

std::string scientific(double v) {
  char buffer[64];
  auto [end, err] = std::to_chars(buffer, buffer + sizeof buffer, v, std::chars_format::scientific, 2);
  return err == std::errc{} ? std::string(buffer, end) : "nan";
}

std::string chance(double v) {
  return v <= kLeastChance ? "below 1e-12" : scientific(v);
}

namespace {
constexpr double kLeastSpoken = 1e-9;
}
std::string spoken_bound(double v) {
  return (v < kLeastSpoken ? "" : "below ") + spoken(v);
}
std::string spoken(double v) {
  char buffer[64];
  const double scale = v >= 0.01 ? 100 : v >= 1e-5 ? 1e3 : 1e6;
  if (v < kLeastSpoken) return "below 0.001 in a million";
  auto [end, err] = std::to_chars(buffer, buffer + sizeof buffer, scale * v, std::chars_format::general, 3);
  return std::string(buffer, err == std::errc{} ? end : buffer) + (scale == 100   ? " %"
                                                                   : scale == 1e3 ? " in a thousand"
                                                                                  : " in a million");
}
std::string share(const Estimate& e) {
  if (e.value <= 0) return "none seen, " + spoken_bound(e.high);
  return spoken(e.value) + " (95 %: " + (e.low > 0 ? spoken(e.low) : "0") + " to " + spoken(e.high) + ")";
}

std::string escaped(std::string_view s) {
  std::string out;
  for (char c : s) {
    if (c == '&')
      out += "&amp;";
    else if (c == '<')
      out += "&lt;";
    else if (c == '>')
      out += "&gt;";
    else if (c == '"')
      out += "&quot;";
    else if (static_cast<unsigned char>(c) >= 0x20 || c == '\n' || c == '\t')
      out += c;
  }
  return out;
}

std::vector<std::string> summary_lines(const Outcome& o) {
  const OptionResult& r = chosen(o);
  const Coverage& c = o.coverage;
  int bottom = 0, top = 0;
  for (const PlacedProbe& p : r.probes) {
    ++(o.access.targets[static_cast<std::size_t>(p.target)].side == Side::top ? top : bottom);
  }
  std::vector<std::string> lines;
  const std::string share =
      c.wanted_nets ? fixed(std::floor(1000.0 * c.met_nets / c.wanted_nets) / 10, 1) + " %" : "0 %";
  std::string verdict;
  if (c.mandatory_unmet)
    verdict =
        "NOT TESTABLE AS ASKED: " + std::to_string(c.mandatory_unmet) + " mandatory nets cannot be reached as wanted. ";
  verdict += "A bed with " + std::to_string(r.probes.size()) + " probes (" + r.option.name() + ") serves " +
             std::to_string(c.met_nets) + " of " + std::to_string(c.wanted_nets) + " wanted nets in full (" + share +
             "), " + std::to_string(c.partial_nets) + " in part, " + std::to_string(c.unmet_nets) + " not at all";
  lines.push_back(verdict + ".");
  lines.push_back("probes: " + std::to_string(bottom) + " bottom, " + std::to_string(top) +
                  " top; sum of working forces " + fixed(sum_of_forces(o.access, o.catalogue, o.rules, r).v, 1) + " N");
  for (const std::string& l : respin_lines(o)) lines.push_back(l);
  for (const std::string& l : bed_lines(o)) lines.push_back(l);
  for (const std::string& l : plan_lines(o)) lines.push_back(l);
  for (const std::string& l : mechanics_lines(o)) lines.push_back(l);
  for (const std::string& l : cost_lines(o)) lines.push_back(l);
  lines.push_back("weighted access score " + fixed(std::floor(10 * o.audit.score) / 10, 1) +
                  " of 100; the whole audit:  teasel audit");
  for (const InterfaceReach& x : o.audit.interfaces) {
    const FoundInterface& f = o.interfaces.found[static_cast<std::size_t>(x.found)];
    if (!x.usable && f.programs && !f.fragment && !o.table.kinds[static_cast<std::size_t>(f.kind)].single)
      lines.push_back("  " +
                      (x.place < 0 ? std::string() : o.board.places[static_cast<std::size_t>(x.place)].name + ":") +
                      f.name + " cannot be used through the bed: " + x.lacking[0]);
  }
  for (const std::string& g : o.audit.gate_failures) lines.push_back("GATE FAILED: " + g);
  for (const std::string& l : nearly_open_lines(o)) lines.push_back(l);
  for (const WaivedProbe& w : c.waived)
    lines.push_back("WAIVED " + r.probes[static_cast<std::size_t>(w.probe)].name + " (" +
                    net_name(o, r.probes[static_cast<std::size_t>(w.probe)].need) +
                    "): " + sentence(w.shortfall, o.board, o.job));
  for (const Plate& p : o.plates)
    for (const auto& d : p.drafts) lines.push_back("DRAFT " + p.stem + ": " + d);
  std::size_t shown = 0;
  for (const auto& m : c.measure_first) {
    if (shown++ == 0) lines.push_back("measure these first (part, what is assumed, what hangs on it):");
    if (shown > 10) break;
    lines.push_back("  " + o.board.components[static_cast<std::size_t>(m.component)].name + ": " + m.what + ", " +
                    (m.probes.empty()
                         ? std::string("a pocket")
                         : std::to_string(m.probes.size()) + (m.probes.size() == 1 ? " probe" : " probes")));
  }
  return lines;
}

std::vector<std::string> cautions(const Outcome& o) {
  std::vector<std::string> list = {
      "Static: handle boards and probes on an earthed bench with a wrist strap; follow the site's ESD programme.",
      "Sharp tips: probe tips pierce skin. Keep the bed covered when no board lies on it; wear eye protection when "
      "changing probes.",
      "Pinch points: a press or clamshell closes with the sum of all probe forces and more. Guard it, or use two-hand "
      "control, as local machine-safety codes ask.",
  };
  std::set<std::string> rails, cells;
  for (const Need& n : o.needs)
    if (n.role == Role::power && n.wanted > 0) rails.insert(o.board.nets[static_cast<std::size_t>(n.net)].name);
  for (const Component& c : o.board.components) {
    std::string letters;
    for (char k : c.name)
      if (k >= 'A' && k <= 'Z') letters += k;
    if (letters == "BT" || letters == "BAT") cells.insert(c.name);
    for (int f : c.features) {
      const int net = o.board.features[static_cast<std::size_t>(f)].net;
      if (net >= 0 && glob_match("*BAT*", o.board.nets[static_cast<std::size_t>(net)].name) &&
          (letters == "J" || letters == "CN" || letters == "P" || letters == "CON"))
        cells.insert(c.name);
    }
  }
  if (!rails.empty())
    list.push_back(
        "Supply rails: limit current and voltage of every supply before contact; power up only after all probes touch "
        "and the shorts test has passed (" +
        std::to_string(rails.size()) + " rails are probed).");
  if (!cells.empty()) {
    std::string names;
    for (const auto& c : cells) names += (names.empty() ? "" : ", ") + c;
    list.push_back("Lithium cell: disconnect or remove the pack before clamping (likely connector or holder: " + names +
                   "). A probe that bridges its terminals can start a fire; keep the pack away from the press.");
  }
  std::string high;
  for (const FoundInterface& f : o.interfaces.found)
    if (o.table.kinds[static_cast<std::size_t>(f.kind)].above_volts)
      for (const InterfaceNet& n : f.nets)
        high += (high.empty() ? "" : ", ") + o.board.nets[static_cast<std::size_t>(n.net)].plain();
  if (!high.empty())
    list.push_back("Dangerous voltage by name: " + high +
                   ". Keep creepage distances between receptacles, plate holes and wires by voltage, discharge before "
                   "contact, and let licensed people decide whether the fixture may touch them at all.");
  list.push_back(
      "Voltages above 60 V DC or 30 V AC, hipot tests and mains are for licensed practice and local codes; this plan "
      "makes no allowance for them.");
  return list;
}

}  // namespace teasel
