// Boundary-scan descriptions: which pins of a package are the test port, which can drive, which can observe.
// Language: the VHDL subset of IEEE Std 1149.1 (1990 to 2013). Cell functions and what they can do: the same standard.
#pragma once
#include <map>
#include <string>
#include <string_view>
#include <unordered_map>
#include <vector>

#include "teasel/diagnostics.h"
#include "teasel/units.h"

namespace teasel::formats {

enum class BsdlMode : std::uint8_t { in, out, inout, buffer, linkage, power };

/// One signal: a port, or one element of a port that is a vector: "D(3)".
struct BsdlSignal {
  std::string name;  ///< upper case
  BsdlMode mode{};
  Place place;
};

struct BsdlCell {
  enum class Function : std::uint8_t { input, clock, observe_only, output2, output3, bidir, control, internal };
  int number = -1;
  std::string type;  ///< "BC_1"
  std::string port;  ///< signal; empty: no pin
  Function function{};
  char safe = 'X';
  int control = -1;         ///< cell that enables it; its own number: open drain or source
  int disable = -1;         ///< value there that disables it
  std::string disabled_as;  ///< Z, WEAK0, WEAK1, PULL0, PULL1, KEEPER
  Place place;
  [[nodiscard]] bool drives() const {
    return function == Function::output2 || function == Function::output3 || function == Function::bidir;
  }
  [[nodiscard]] bool observes() const {
    return function == Function::input || function == Function::clock || function == Function::observe_only ||
           function == Function::bidir || (drives() && (type == "BC_9" || type == "BC_10"));
  }
  [[nodiscard]] bool one_level() const {
    return function == Function::output2 && control == number;
  }  ///< open drain or source
};

/// Pins that must be held for the test port to work.
struct BsdlCompliance {
  std::vector<std::string> signals;
  std::vector<std::string> patterns;  ///< one character a signal: 0, 1, X
};

struct BsdlDevice {
  std::string file, entity;
  std::string default_package;
  std::vector<BsdlSignal> signals;
  std::map<std::string, std::map<std::string, std::vector<std::string>>> packages;  ///< package, signal, pins
  std::string tdi, tdo, tms, tck, trst;                                             ///< signals; trst may be empty
  Hertz tck_most;                                                                   ///< largest; 0: not stated
  int instruction_length{}, boundary_length{};
  std::map<std::string, std::vector<std::string>> opcodes;
  std::vector<BsdlCompliance> compliance;
  std::vector<std::string> idcodes;                        ///< 32 characters, most significant first, X = any
  std::vector<BsdlCell> cells;                             ///< by number, as often as listed
  std::vector<std::pair<std::string, std::string>> pairs;  ///< differential: representative, associated
  std::string design_warning;
  std::unordered_map<std::string, std::size_t> by_name;  ///< signals
  [[nodiscard]] const BsdlSignal* signal(const std::string& name) const;
  [[nodiscard]] bool is_tap(std::string_view signal) const {
    return signal == tdi || signal == tdo || signal == tms || signal == tck || (!trst.empty() && signal == trst);
  }
};

bool looks_like_bsdl(std::string_view bytes);
/// Errors: no entity, no test port, no pin map, no boundary register. Faults of single statements are warnings with
/// their place, and reading goes on behind them. Also checks what the standard asks: cells 0 to n - 1 all there,
/// control cells that are controls, opcodes as long as the register, BYPASS of ones, EXTEST there, the capture pattern
/// ending in 01, IDCODE in 1.
BsdlDevice read_bsdl(std::string_view bytes, const std::string& name, Diagnostics& diagnostics);

}  // namespace teasel::formats
