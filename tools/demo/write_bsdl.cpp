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

/// The pins of a device: in the order of the design, and by port.
struct Ports {
  std::vector<Port> all;
  std::map<std::string, std::vector<Port>> by_name;
};
Ports ports_of(const Design& design, const Device& device) {
  Ports ports;
  for (const Pad& pad : design.pads) {
    if (pad.component != device.component || pad.net.empty() || pad.net == "N/C") continue;
    Port port;
    port.pin = pad.pin;
    if (pad.net == "JTAG_LINK")
      port.name = device.component == "U1" ? "TDO" : "TDI";
    else
      port.name = letters(pad.net, port.index);
    if (port.name == "3V3") {
      port.name = "VDD33";
      port.index = -1;
    }
    if (port.name == "1V8") {
      port.name = "VDD18";
      port.index = -1;
    }
    ports.by_name[port.name].push_back(port);
    ports.all.push_back(port);
  }
  return ports;
}

bool is_power(const std::string& port) {
  return port == "GND" || port == "VDD33" || port == "VDD18";
}
bool is_tap(const std::string& port) {
  return port == "TDI" || port == "TDO" || port == "TMS" || port == "TCK" || port == "TRST_N";
}
Kind kind_in_file(const std::string& port) {
  return is_power(port) ? Kind::power : kind_of(port);
}

const char* mode_of(const std::string& port) {
  if (is_tap(port)) return port == "TDO" ? "out" : "in";
  switch (kind_in_file(port)) {
    case Kind::bidir: return "inout";
    case Kind::in: return "in";
    case Kind::out:
    case Kind::open_drain: return "out";
    case Kind::none:
    case Kind::power: break;
  }
  return "linkage";
}

std::string width_of(const std::string& name, const std::vector<Port>& pins) {
  if (pins.size() < 2) return " bit";
  if (pins[0].index >= 0) {
    int low = pins[0].index, high = low;
    for (const Port& port : pins) {
      low = std::min(low, port.index);
      high = std::max(high, port.index);
    }
    return " bit_vector(" + std::to_string(low) + " to " + std::to_string(high) + ")";
  }
  return is_power(name) ? " bit_vector(1 to " + std::to_string(pins.size()) + ")" : " bit";
}

std::string port_list(const Ports& ports) {
  std::string list;
  for (const auto& [name, pins] : ports.by_name)
    list += (list.empty() ? "" : ";\n") + std::string("    ") + name + " : " + mode_of(name) + width_of(name, pins);
  return list;
}

std::string pin_map(const Ports& ports) {
  std::string list;
  for (const auto& [name, pins] : ports.by_name) {
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
  return list;
}

std::string attribute(const std::string& name, const std::string& of, const char* what, const std::string& value) {
  return "  attribute " + name + " of " + of + " : " + what + " is " + value + ";\n";
}

/// Test access port and instructions.
std::string tap_attributes(const Device& device) {
  std::string text =
      attribute("TAP_SCAN_IN", "TDI", "signal", "true") + attribute("TAP_SCAN_OUT", "TDO", "signal", "true") +
      attribute("TAP_SCAN_MODE", "TMS", "signal", "true") + attribute("TAP_SCAN_RESET", "TRST_N", "signal", "true") +
      attribute("TAP_SCAN_CLOCK", "TCK", "signal", "(10.0e6, BOTH)");
  if (device.component == "U2") text += attribute("COMPLIANCE_PATTERNS", device.entity, "entity", "\"(CFG(11)) (1)\"");
  const auto bits = static_cast<std::size_t>(device.ir_bits);
  const std::string ones(bits, '1'), zeros(bits, '0');
  text += attribute("INSTRUCTION_LENGTH", device.entity, "entity", std::to_string(device.ir_bits));
  text += attribute("INSTRUCTION_OPCODE", device.entity, "entity",
                    "\"BYPASS (" + ones + "), EXTEST (" + zeros + "), \" &\n    \"SAMPLE (" + zeros.substr(1) +
                        "1), PRELOAD (" + zeros.substr(1) + "1), IDCODE (" + zeros.substr(2) + "10)\"");
  text += attribute("INSTRUCTION_CAPTURE", device.entity, "entity", "\"" + zeros.substr(1) + "1\"");
  return text + attribute("IDCODE_REGISTER", device.entity, "entity", "\"" + device.idcode + "\"");
}

/// The boundary register, from cell 0 on.
std::vector<std::string> boundary_cells(const Ports& ports) {
  std::vector<std::string> cells;
  auto cell = [&](const std::string& rest) { cells.push_back(std::to_string(cells.size()) + " (" + rest + ")"); };
  for (const Port& pin : ports.all) {
    const Kind kind = kind_in_file(pin.name);
    if (is_tap(pin.name) || kind == Kind::power || kind == Kind::none) continue;
    const bool vector = pin.index >= 0 && ports.by_name.at(pin.name).size() > 1;
    const std::string port = pin.name + (vector ? "(" + std::to_string(pin.index) + ")" : "");
    if (kind == Kind::bidir) {
      cell("BC_4, " + port + ", input, X");
      const std::string control = std::to_string(cells.size() + 1);
      cell("BC_1, " + port + ", output3, X, " + control + ", 1, Z");
      cell("BC_1, *, control, 1");
    } else if (kind == Kind::in) {
      cell("BC_4, " + port + ", input, X");
    } else if (kind == Kind::open_drain) {
      cell("BC_1, " + port + ", output2, 1, " + std::to_string(cells.size()) + ", 1, WEAK1");
    } else {
      cell("BC_1, " + port + ", output2, X");
    }
  }
  return cells;
}

std::string description(const Design& design, const Device& device) {
  const Ports ports = ports_of(design, device);
  std::string text = "-- Boundary-scan description of " + device.component +
                     " of the demo board: an invented device.\nentity " + device.entity +
                     " is\n  generic (PHYSICAL_PIN_MAP : string := \"" + device.package + "\");\n  port (\n" +
                     port_list(ports) + ");\n  use STD_1149_1_2001.all;\n  attribute COMPONENT_CONFORMANCE of " +
                     device.entity + " : entity is \"STD_1149_1_2001\";\n  attribute PIN_MAP of " + device.entity +
                     " : entity is PHYSICAL_PIN_MAP;\n  constant " + device.package + " : PIN_MAP_STRING :=\n" +
                     pin_map(ports) + "\";\n" + tap_attributes(device);
  const std::vector<std::string> cells = boundary_cells(ports);
  text += attribute("BOUNDARY_LENGTH", device.entity, "entity", std::to_string(cells.size()));
  std::string listed;
  for (std::size_t i = cells.size(); i-- > 0;) listed += "    \"" + cells[i] + (i ? ",\" &\n" : "\"");
  text += attribute("BOUNDARY_REGISTER", device.entity, "entity", "\n" + listed);
  return text + "end " + device.entity + ";\n";
}
}  // namespace

std::map<std::string, std::string> bsdl(const Design& d) {
  return {{"controller.bsd", description(d, {"U1", "CONTROLLER", "QFP100", 5, "00010110010000010000011111110001"})},
          {"logic.bsd", description(d, {"U2", "LOGIC", "QFP144", 8, "00100110010000100000011111110001"})}};
}

}  // namespace demo
