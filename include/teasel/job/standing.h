// A fixture that exists, seen from the board that is to go onto it next: what a new plan keeps, and what it keeps clear
// of. Places are in the frame of the board at hand unless said otherwise; plate frames stay as they are.
#pragma once
#include <string>
#include <vector>

#include "teasel/frames.h"
#include "teasel/geometry.h"
#include "teasel/ids.h"
#include "teasel/job/build_files.h"
#include "teasel/side.h"
#include "teasel/units.h"

namespace teasel {

/// What became of a hole for a probe.
enum class HoleState : std::uint8_t {
  in_use,   ///< receptacle, probe and wire are in it
  open,     ///< drilled, empty
  plugged,  ///< filled: neither a hole to use nor solid plate
};
const char* to_string(HoleState state);

struct StandingHole;
using StandingHoleId = Id<StandingHole>;
/// A hole for a receptacle, and what stands in it.
struct StandingHole {
  std::string name;  ///< of the probe, engraved beside it; never given to another hole
  std::string probe_class;
  Mm drill;
  BoardPoint at;
  Side side{};  ///< of the board that it faces
  HoleState state{};
  std::string net;  ///< to which it was wired last
  bool long_travel = false;
};
struct StandingPlateHole {
  std::string kind, label;  ///< kind as in plan.json
  PlatePoint plate;
  Mm diameter;
  bool drilled = true;   ///< false: the blank had it
  bool used = true;      ///< false: it serves nothing any more
  std::string thread{};  ///< "M3"; empty: plain, or not stated
};
struct StandingPocket {
  Polygons area;  ///< plate frame
  Mm depth;
  bool through = false;
};
struct StandingPlate {
  std::string stem;  ///< the same in every plan of this fixture
  PlateKind kind{};
  bool lower = true;
  Mm thickness;
  Ring outline;  ///< plate frame
  Map<BoardFrame, PlateFrame> from_board;
  std::vector<StandingPlateHole> holes;
  std::vector<StandingPocket> pockets;
};
struct StandingSupport {
  std::string label;
  BoardPoint at;
  Side side{};
  bool finger = false;
  Mm on_height{};  ///< of the part that it presses on; 0: the board
};
struct StandingWire {
  int number{};
  std::string probe, net, pin;
};

/// The centre of a new probe hole must be at least this far from an existing hole.
struct HoleToClear {
  BoardPoint at;
  Side side{};
  Mm radius;           ///< of the hole, with its web
  bool guide = false;  ///< it stands in a plate that guides plungers: the guide hole's radius comes on top, else the
                       ///< receptacle's
  std::string name;
};
/// No receptacle may stand where a probe plate is milled.
struct MilledArea {
  Polygons area;
  Side side{};
  Mm wall;    ///< between it and the hole's edge
  Box about;  ///< of the area
};

struct StandingFixture {
  bool used = false;
  std::string plan_id;                          ///< of the plan that it was built or altered by last
  bool limits_held = false, flat_held = false;  ///< bending of the board before, bow and twist included or not
  Microstrain flat_strain;
  Newton springs;                    ///< of its moving plate, at work, all together; 0: not known
  int lost = 0;                      ///< probes of it that left their window of travel
  Side main{};                       ///< the board lies on it
  Map<BoardFrame, KitFrame> to_kit;  ///< of the board at hand
  Ring blank;                        ///< kit frame
  Mm guide_clearance;                ///< diameter of a guide hole over its plunger
  Table<StandingHoleId, StandingHole> holes;
  std::vector<StandingPlate> plates;
  std::vector<StandingSupport> supports;
  std::vector<StandingWire> wires;
  std::vector<BlockPin> pins;  ///< of its connectors; none where a kit has the block
  std::vector<HoleToClear> to_clear;
  std::vector<MilledArea> milled;
  [[nodiscard]] const StandingPlate* plate(const std::string& stem) const;
};

}  // namespace teasel
