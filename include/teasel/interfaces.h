// What the test asks of each net: roles from the job file first, from net names second; needs follow.
#pragma once
#include <string>
#include <vector>

#include "teasel/board.h"
#include "teasel/job.h"

namespace teasel {

struct Need {
  int net = -1;
  Role role{};
  int wanted = 0;           ///< probes; 0 = none wanted
  bool mandatory = false;
  std::string because;      ///< who said so: the job file, a name pattern, the number of pins
};

/// One need for each net, in net order. Ground gets as many probes as all rails together, within the table's limits.
std::vector<Need> needs_of(const Board& board, const Job& job, const RoleTable& roles, Diagnostics& diagnostics);

/// The needs of a single board, repeated for each board of the panel that was made of it; the same list where there is none.
std::vector<Need> needs_in_panel(const std::vector<Need>& needs, const Board& panel);

/// How a net hangs on the rails, by readings of an unpowered board.
enum class Pull : std::uint8_t { unknown, up, down, both, none };
const char* to_string(Pull pull);
struct RailReading {
  int net = -1;
  Pull pull{};
  double to_supply = -1, to_ground = -1;  ///< ohm, the least that was read; infinity: open; -1: not read
};
/// Pads that lie together and could form an interface. Always a guess.
struct PadGroup {
  std::string interface;     ///< "two-wire debug", "1149.1", "two-wire bus", "serial port"
  std::string confidence;    ///< "fair" or "weak": resistances never prove a function
  std::vector<std::pair<std::string, std::string>> pads;  ///< pad, what it could be
  std::vector<std::string> evidence;
};
struct BenchGuess {
  int ground = -1;
  std::string ground_because;
  std::vector<int> supplies;
  std::vector<std::string> supplies_because;
  std::vector<RailReading> lines;     ///< by net, rails left out
  std::vector<PadGroup> groups;
  std::vector<NextReading> missing;   ///< readings to the rails that would sharpen the guess
};
/// Rails by name first, then by readings; lines pulled to them; pads within a few pitches of one another are one group.
/// Sources: IEEE 1149.1-2013 (undriven TDI, TMS and TRST* read as 1: pulled up); pull-ups of a two-wire bus by its open
/// specification; a debug clock pulled down and its data pulled up by common practice, no source.
BenchGuess guess_interfaces(const Board& board, const RoleTable& roles);

}  // namespace teasel
