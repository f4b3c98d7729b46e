// What a shop knows of interfaces: which lines they have, how nets of them are named, what a test wants of them.
#pragma once
#include <array>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "teasel/diagnostics.h"
#include "teasel/ids.h"
#include "teasel/units.h"

namespace teasel {

enum class Role : std::uint8_t { programming, power, ground, functional, observe, do_not_touch };
const char* to_string(Role role);
std::optional<Role> role_of(std::string_view text);

/// A word that a name may hold: parts of letters, of digits, or of one sign, each a glob. "IO0" is the parts IO, 0.
using NameWord = std::vector<std::string>;

struct InterfaceLine {
  std::string name;             ///< "TCK"
  std::vector<NameWord> words;  ///< any of them in a name is enough
  std::vector<NameWord> weak;   ///< enough beside a word of the kind's context, or among lines of the same stem
  std::vector<std::string> globs, not_globs;  ///< of the whole name; # one digit, * any text
  std::optional<Role> role;                   ///< where it differs from the kind's
  bool required = true;
  bool fast = false;         ///< a clock: wants a ground probe beside it
  bool above_logic = false;  ///< it may carry more volts than the logic does
  bool many = false;         ///< several nets of one interface may be this line: chip selects
  enum class Drive : std::uint8_t {
    tester,
    board,
    both
  } drive = Drive::both;  ///< who drives it while the fixture works
};

using LineId = Id<InterfaceLine>;  ///< of one kind

/// A connector by which debuggers and programmers are published to reach lines of an interface.
struct AdapterConnector {
  std::string name, source;
  int rows = 2;                   ///< pin 1 and 2 face one another where there are two
  std::vector<std::string> pins;  ///< by number: name of a line, "GND", "VREF", "RESET", or empty
};

struct InterfaceKind {
  std::string name;  ///< "1149.1"
  Role role{};
  std::string reason, mark, source;
  bool single = false;      ///< every net stands by itself: resets, rails
  bool pairs = false;       ///< lines are the two halves of pairs
  bool weak_alone = false;  ///< all required lines of one stem, though each is weak, make one
  std::vector<NameWord> context, not_words;
  std::vector<NameWord> program_words;  ///< with one of them in its names the interface programs something
  std::vector<std::string> together;    ///< kinds it cannot work without: "ground", "supply", "reset"
  std::vector<NameWord> not_weak;       ///< words that exclude a name where only a weak word fits
  std::vector<std::string> not_beside;  ///< lines with these words beside them make another interface
  std::vector<std::string>
      of_parts;            ///< single: nets of parts with these reference letters, unless a supply hangs on the part
  bool any_volts = false;  ///< single: a voltage in the name is enough
  std::optional<Volts> above_volts;  ///< single: nets whose name states more than this
  Table<LineId, InterfaceLine> lines;
  std::vector<AdapterConnector> connectors;
};
using KindId = Id<InterfaceKind>;

struct InterfaceTable {
  std::string name;
  Table<KindId, InterfaceKind> kinds;  ///< where two fit, the first counts
  Ohms series_most;                    ///< a resistor up to this joins two nets of one line
  int series_pins{};                   ///< pins on a nameless net behind one, at most
  int rail_capacitors{};               ///< this many to ground, and a net is taken for a rail
  Mm ground_from_clock;                ///< a fast line's probe and the nearest ground probe, at most
  Amperes amperes_through_one;         ///< supply nets, through one probe at most
  std::array<double, 6> weights{};     ///< by Role, of a wanted net in the score
  double mandatory_factor{};
  int functional{}, programming{}, observe{}, power{}, ground_other{}, ground_most{}, ground_least{};  ///< probes a net
  [[nodiscard]] KindId kind_of(std::string_view name) const;  ///< none: none of that name
};

/// [[interface]] of a job file: confirms, overrides or adds an interface, or states needs for those that are found.
struct InterfaceRule {
  std::string name;                          ///< a found one's name (glob), or what to call a new one
  std::string kind;                          ///< "" = any; "none": these nets belong to no interface
  std::map<std::string, std::string> lines;  ///< line to net: the whole interface, as the user says
  std::vector<std::string> nets;             ///< with kind none (globs)
  std::optional<bool> mandatory;
  std::optional<int> wanted;  ///< probes on each line
  std::optional<Role> role;
  std::string reason;
  Place place;
};

/// A net name without the sheets that it stands on.
std::string_view local_name(std::string_view name);
/// Splits a name into parts of letters, of digits and of single signs, in upper case. Hierarchy before a slash is
/// dropped.
std::vector<std::string> name_parts(std::string_view name);

}  // namespace teasel
