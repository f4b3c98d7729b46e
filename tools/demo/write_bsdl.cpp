// Boundary-scan descriptions of the two invented devices, from the nets of their pins.
#include <cctype>
#include <vector>

#include "write.h"

namespace demo {

namespace {
struct Port {
  std::string name;  ///< "BUS" or "TCK"
  std::string pin;
  int index = -1;  ///< of a vector
};
enum class Kind { bidir, in, out, open_drain, none, power };

struct Device {
  std::string component, entity, package;
  int ir_bits;
  std::string idcode;
};

std::string letters(const std::string& net, int& index) {
  std::string s = net;
  if (s.size() > 2 && (s.substr(s.size() - 2) == "_A" || s.substr(s.size() - 2) == "_B")) s.resize(s.size() - 2);
  std::size_t n = s.size();
  while (n > 0 && std::isdigit(static_cast<unsigned char>(s[n - 1]))) --n;
  if (n == s.size() || n == 0 || s.find('_') != s.npos || std::isdigit(static_cast<unsigned char>(s[0]))) return s;
  index = std::stoi(s.substr(n));
  return s.substr(0, n);
}

Kind kind_of(const std::string& port) {
  if (port == "GND" || port == "3V3" || port == "1V8") return Kind::power;
  for (const char* p : {"BUS", "LNK", "EXP", "SWDIO"})
    if (port == p) return Kind::bidir;
  for (const char* p : {"SYNC", "CFG", "NRST", "SWCLK", "RADIO_MISO", "RADIO_IRQ"})
    if (port == p) return Kind::in;
  if (port == "LED") return Kind::open_drain;
  if (port == "MON" || port.rfind("RADIO_", 0) == 0) return Kind::out;
  if (port.rfind("FLASH_", 0) == 0) return port.find("IO") != port.npos ? Kind::bidir : Kind::out;
  return Kind::none;  // analogue, oscillator, USB
}

std::string description(const Design& d, const Device& dev) {
  std::vector<Port> ports;
  std::map<std::string, std::vector<Port>> by_name;
  for (const Pad& p : d.pads) {
    if (p.component != dev.component || p.net.empty() || p.net == "N/C") continue;
    Port q;
    q.pin = p.pin;
    q.name = p.net == "JTAG_LINK" ? (dev.component == "U1" ? "TDO" : "TDI") : letters(p.net, q.index);
    if (q.name == "3V3") {
      q.name = "VDD33";
      q.index = -1;
    }
    if (q.name == "1V8") {
      q.name = "VDD18";
      q.index = -1;
    }
    by_name[q.name].push_back(q);
    ports.push_back(q);
  }
  auto power = [](const std::string& n) { return n == "GND" || n == "VDD33" || n == "VDD18"; };
  auto tap = [](const std::string& n) { return n == "TDI" || n == "TDO" || n == "TMS" || n == "TCK" || n == "TRST_N"; };
  auto kind = [&](const std::string& n) { return power(n) ? Kind::power : kind_of(n); };
  std::string s = "-- Boundary-scan description of " + dev.component +
                  " of the demo board: an invented device.\nentity " + dev.entity +
                  " is\n  generic (PHYSICAL_PIN_MAP : string := \"" + dev.package + "\");\n  port (\n";
  std::string list;
  for (auto& [name, pins] : by_name) {
    const bool vector = pins[0].index >= 0 && pins.size() > 1;
    const Kind k = kind(name);
    const char* mode = tap(name)               ? (name == "TDO" ? "out" : "in")
                       : k == Kind::bidir      ? "inout"
                       : k == Kind::in         ? "in"
                       : k == Kind::out        ? "out"
                       : k == Kind::open_drain ? "out"
                                               : "linkage";
    int low = pins[0].index, high = low;
    for (const Port& p : pins) {
      low = std::min(low, p.index);
      high = std::max(high, p.index);
    }
    list += (list.empty() ? "" : ";\n") + std::string("    ") + name + " : " + mode +
            (vector ? " bit_vector(" + std::to_string(low) + " to " + std::to_string(high) + ")"
             : power(name) && pins.size() > 1 ? " bit_vector(1 to " + std::to_string(pins.size()) + ")"
                                              : " bit");
  }
  s += list + ");\n  use STD_1149_1_2001.all;\n  attribute COMPONENT_CONFORMANCE of " + dev.entity +
       " : entity is \"STD_1149_1_2001\";\n  attribute PIN_MAP of " + dev.entity +
       " : entity is PHYSICAL_PIN_MAP;\n  constant " + dev.package + " : PIN_MAP_STRING :=\n";
  list.clear();
  for (auto& [name, pins] : by_name) {
    std::vector<Port> sorted = pins;
    for (std::size_t i = 0; i < sorted.size(); ++i)
      for (std::size_t j = i + 1; j < sorted.size(); ++j)
        if (sorted[j].index < sorted[i].index) std::swap(sorted[i], sorted[j]);
    std::string entry = name + " : ";
    if (sorted.size() == 1)
      entry += sorted[0].pin;
    else {
      entry += "(";
      for (std::size_t i = 0; i < sorted.size(); ++i) entry += (i ? "," : "") + sorted[i].pin;
      entry += ")";
    }
    list += (list.empty() ? "" : ", \" &\n") + std::string("    \"") + entry;
  }
  s += list + "\";\n";
  auto attribute = [&](const std::string& name, const std::string& of, const char* what, const std::string& value) {
    s += "  attribute " + name + " of " + of + " : " + what + " is " + value + ";\n";
  };
  attribute("TAP_SCAN_IN", "TDI", "signal", "true");
  attribute("TAP_SCAN_OUT", "TDO", "signal", "true");
  attribute("TAP_SCAN_MODE", "TMS", "signal", "true");
  attribute("TAP_SCAN_RESET", "TRST_N", "signal", "true");
  attribute("TAP_SCAN_CLOCK", "TCK", "signal", "(10.0e6, BOTH)");
  if (dev.component == "U2") attribute("COMPLIANCE_PATTERNS", dev.entity, "entity", "\"(CFG(11)) (1)\"");
  const std::string ones(static_cast<std::size_t>(dev.ir_bits), '1'), zeros(static_cast<std::size_t>(dev.ir_bits), '0');
  attribute("INSTRUCTION_LENGTH", dev.entity, "entity", std::to_string(dev.ir_bits));
  attribute("INSTRUCTION_OPCODE", dev.entity, "entity",
            "\"BYPASS (" + ones + "), EXTEST (" + zeros + "), \" &\n    \"SAMPLE (" + zeros.substr(1) +
                "1), PRELOAD (" + zeros.substr(1) + "1), IDCODE (" + zeros.substr(2) + "10)\"");
  attribute("INSTRUCTION_CAPTURE", dev.entity, "entity", "\"" + zeros.substr(1) + "1\"");
  attribute("IDCODE_REGISTER", dev.entity, "entity", "\"" + dev.idcode + "\"");
  std::vector<std::string> cells;
  auto cell = [&](const std::string& rest) { cells.push_back(std::to_string(cells.size()) + " (" + rest + ")"); };
  for (const Port& p : ports) {
    const Kind k = kind(p.name);
    if (tap(p.name) || k == Kind::power || k == Kind::none) continue;
    const std::string port =
        p.name + (p.index >= 0 && by_name[p.name].size() > 1 ? "(" + std::to_string(p.index) + ")" : "");
    if (k == Kind::bidir) {
      cell("BC_4, " + port + ", input, X");
      const std::string control = std::to_string(cells.size() + 1);
      cell("BC_1, " + port + ", output3, X, " + control + ", 1, Z");
      cell("BC_1, *, control, 1");
    } else if (k == Kind::in) {
      cell("BC_4, " + port + ", input, X");
    } else if (k == Kind::open_drain) {
      cell("BC_1, " + port + ", output2, 1, " + std::to_string(cells.size()) + ", 1, WEAK1");
    } else {
      cell("BC_1, " + port + ", output2, X");
    }
  }
  attribute("BOUNDARY_LENGTH", dev.entity, "entity", std::to_string(cells.size()));
  std::string reg;
  for (std::size_t i = cells.size(); i-- > 0;) reg += "    \"" + cells[i] + (i ? ",\" &\n" : "\"");
  attribute("BOUNDARY_REGISTER", dev.entity, "entity", "\n" + reg);
  return s + "end " + dev.entity + ";\n";
}
}  // namespace

std::map<std::string, std::string> bsdl(const Design& d) {
  return {{"controller.bsd", description(d, {"U1", "CONTROLLER", "QFP100", 5, "00010110010000010000011111110001"})},
          {"logic.bsd", description(d, {"U2", "LOGIC", "QFP144", 8, "00100110010000100000011111110001"})}};
}

}  // namespace demo
