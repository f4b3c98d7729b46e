// Things to make: plates with their holes, and the wiring list.
#pragma once
#include <string>
#include <vector>

#include "teasel/access.h"
#include "teasel/board.h"
#include "teasel/coverage.h"
#include "teasel/plan.h"

namespace teasel {

/// True if the drawing of a plate is mirrored (X reversed) against the board frame.
/// `down`: side the board lies on; `lower`: the plate under the board; `outer_face`: seen from the wiring side.
bool is_mirrored(Side down, bool lower, bool outer_face);

struct PlateHole {
  enum class Kind : std::uint8_t { receptacle, tooling_pin, pin_clearance };
  Kind kind{};
  std::string label;      ///< probe name, or PIN1 (round) and PIN2 (relieved)
  std::string net;
  Point board;            ///< board frame
  Point plate;            ///< as drilled: board frame, X reversed if the plate is mirrored
  double diameter{};
};
const char* to_string(PlateHole::Kind kind);

struct Plate {
  std::string name;       ///< "lower probe plate, bottom side"
  std::string stem;       ///< file name without extension
  Side probes{};
  bool lower = true, mirrored = false, outer_face = false;
  std::string seen_from;  ///< in words
  std::string datum;      ///< in words
  std::vector<PlateHole> holes;      ///< by kind, then label
  std::vector<std::string> waivers;  ///< findings that the user took upon himself, by probe
  std::vector<std::string> drafts;   ///< why the plate is a draft; empty: released as far as this program knows
};

struct Wire {
  int number{};
  std::string probe, net, role, side, pin;
};

std::vector<Plate> make_plates(const Board& board, const Access& access, const std::vector<Need>& needs, const OptionResult& option, const Coverage& coverage, const Job& job, const Catalogue& catalogue, const Rules& rules, Diagnostics& diagnostics);
/// A wire for each probe, interface pins counted through, nets together.
std::vector<Wire> make_wiring(const Board& board, const Access& access, const std::vector<Need>& needs, const OptionResult& option);

}  // namespace teasel
