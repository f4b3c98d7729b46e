// Which nets form interfaces, and what the test asks of each net: the job file first, recognised interfaces second.
#pragma once
#include <optional>
#include <string>
#include <vector>

#include "teasel/board.h"
#include "teasel/job.h"

namespace teasel {

/// How sure a recognised interface is. Names never prove a function.
enum class Confidence : std::uint8_t { weak, fair, strong, confirmed };
const char* to_string(Confidence confidence);

/// A net in its part of an interface.
struct InterfaceNet {
  LineId line;
  NetId net;
  Confidence confidence{};
  std::vector<std::string> evidence;
  ComponentId series;      ///< the part behind which the line goes on under another name
  NetId other_side;        ///< the net there
  bool probe_here = true;  ///< false: the other side is the one to probe
  std::string which_side;  ///< why
  bool behind = false;     ///< the net has no name of its own: it was found behind the part
};
/// Lines of one kind that belong together; of kinds whose nets stand by themselves, all nets of the kind.
struct FoundInterface {
  std::string name;  ///< "1149.1 CPU"
  KindId kind;
  Confidence confidence{};
  std::vector<InterfaceNet> nets;    ///< by line, then net
  std::vector<std::string> missing;  ///< required lines, and kinds it cannot work without, that the board lacks
  std::vector<std::string> evidence;
  bool programs = false;  ///< something is programmed through it
  int rule = -1;          ///< the job's [[interface]] that speaks of it
  bool fragment = false;  ///< less than half of its required lines: perhaps something else
  [[nodiscard]] bool complete() const { return missing.empty(); }
};
using FoundId = Id<FoundInterface>;
struct InterfaceSet {
  Table<FoundId, FoundInterface> found;  ///< by kind in the table's order, then name
  Table<NetId, FoundId> of_net;          ///< none: the net belongs to no interface
  [[nodiscard]] const InterfaceNet* part_of(NetId net) const;
  [[nodiscard]] KindId kind_of(NetId net) const;  ///< none: of no kind
};

/// Recognises interfaces from net names, pin functions, what hangs on the nets, and the job's [[interface]] entries,
/// which override. Same input, same result; the board must be a single one, not a panel.
InterfaceSet recognise_interfaces(const Board& board, const Job& job, const InterfaceTable& table,
                                  Diagnostics& diagnostics);
/// Voltage that a net's name states: "3V3", "P3V3", "+12V", "V1P8", "1.8VD"; negative for a leading minus.
std::optional<Volts> volts_in(std::string_view name);
/// Ohms of a value such as "33R", "4k7", "0", "10 kohm"; nothing if it is none.
std::optional<Ohms> ohms_in(std::string_view value);
/// Microfarads of a value such as "10uF", "4u7", "100nF/16V"; nothing if it is none.
std::optional<double> microfarads_in(std::string_view value);

struct Need;
using NeedId = Id<Need>;
using Needs = Table<NeedId, Need>;
struct Need {
  NetId net;
  Role role{};
  int wanted = 0;  ///< probes; 0 = none wanted
  bool mandatory = false;
  Amperes amperes;           ///< stated by the job; 0: not
  double importance = 1;     ///< times the price of not meeting it
  Mm apart;                  ///< least distance between its probes
  bool long_travel = false;  ///< must touch when the plate is half raised
  Volts volts;               ///< against ground, by the job or by the net's name; 0: not stated
  Mm ground_within;          ///< a clock, which wants a ground probe this near to its own; 0: none
  std::vector<std::string>
      kelvin;  ///< components of the single board measured with four wires: one of its probes belongs to their pads
  std::string because;  ///< who said so: the job file, an interface, the number of pins
  enum class Doubt : std::uint8_t {
    none,
    above_logic,  ///< by its name it may carry more volts than the logic; nothing says how much
    perhaps_feed  ///< wanted as a signal, but parts on it say that it feeds the board
  } doubt = Doubt::none;
  std::string doubt_because;  ///< what says so
};

/// Up to three nets that may have been meant: at most two letters differ, or the name contains the given text. Empty if
/// there is none.
std::string similar_nets(const Board& board, std::string_view pattern);
/// The job names it, or it is a resistor of few ohms.
bool measured_with_four_wires(const Component& component, const Job& job);
/// One need for each net, in net order. Ground gets as many probes as all rails together, within the table's limits.
Needs needs_of(const Board& board, const Job& job, const InterfaceTable& table, const InterfaceSet& interfaces,
               Diagnostics& diagnostics);

/// The needs of a single board, repeated for each board of the panel that was made of it; the same list where there is
/// none.
Needs needs_in_panel(const Needs& needs, const Board& panel);

/// How a net hangs on the rails, by readings of an unpowered board.
enum class Pull : std::uint8_t { unknown, up, down, both, none };
const char* to_string(Pull pull);
struct RailReading {
  NetId net;
  Pull pull{};
  Ohms to_supply{-1}, to_ground{-1};  ///< the least that was read; infinity: open; -1: not read
};
/// Pads that lie together and could form an interface. Always a guess.
struct PadGroup {
  std::string interface;                                  ///< "two-wire debug", "1149.1", "two-wire bus", "serial port"
  std::string confidence;                                 ///< "fair" or "weak": resistances never prove a function
  std::vector<std::pair<std::string, std::string>> pads;  ///< pad, what it could be
  std::vector<std::string> evidence;
};
struct BenchGuess {
  NetId ground;
  std::string ground_because;
  std::vector<NetId> supplies;
  std::vector<std::string> supplies_because;
  std::vector<RailReading> lines;  ///< by net, rails left out
  std::vector<PadGroup> groups;
  std::vector<NextReading> missing;  ///< readings to the rails that would sharpen the guess
};
/// Rails by name first, then by readings; lines pulled to them; pads within a few pitches of one another are one group.
/// Sources: IEEE 1149.1-2013 (undriven TDI, TMS and TRST* read as 1: pulled up); pull-ups of a two-wire bus by its open
/// specification; a debug clock pulled down and its data pulled up by common practice, no source.
BenchGuess guess_interfaces(const Board& board, const InterfaceTable& table);

}  // namespace teasel
