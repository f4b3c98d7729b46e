// Things to make: plates with holes, pockets and marks, and the wiring list.
#pragma once
#include <optional>
#include <string>
#include <vector>

#include "teasel/access.h"
#include "teasel/board.h"
#include "teasel/coverage.h"
#include "teasel/mechanics.h"
#include "teasel/plan.h"

namespace teasel {

/// True if the drawing of a plate is mirrored (X reversed) against the board frame.
/// `down`: side the board lies on; `lower`: the plate under the board; `outer_face`: seen from the wiring side.
bool is_mirrored(Side down, bool lower, bool outer_face);

struct Mechanism;
/// What a fixture is built from.
struct BuildInputs : Planned {
  const Coverage& coverage;
  const std::vector<PlacedSupport>& supports;
  const Mechanism* mechanism = nullptr;  ///< made with the plates; null: before that, or a kit does its work
};

struct PlateHole {
  enum class Kind : std::uint8_t {
    receptacle,
    tooling_pin,
    pin_clearance,
    plunger,
    stop,
    finger,
    guide_pin,
    screw,
    of_kit,
    tip,               ///< of a check plate: where a tip arrives
    orientation_pin,   ///< keeps the board from being laid in the wrong way
    bush,              ///< of a plate that slides on the guide pins
    shoulder_screw,    ///< holds a sprung plate at rest
    stroke_stop,       ///< a sprung plate comes to rest on it at work
    standoff,          ///< between two plates that stand off each other
    pillar_clearance,  ///< a guide pillar goes through and does not guide
    clamp_rod,         ///< the rod of a clamp goes through
    edge_guide         ///< a pin beside the board that leads it onto the tooling pins
  };
  Kind kind{};
  std::string label;  ///< probe name, PIN1 (round) and PIN2 (relieved), S1 stops, F1 fingers, G1 guides
  std::string net;
  BoardPoint board;
  PlatePoint plate;     ///< as drilled
  Mm diameter;          ///< finished; of a thread, of its core hole
  std::string thread;   ///< "M3"; empty: plain
  bool drilled = true;  ///< false: the blank has it already
};
const char* to_string(PlateHole::Kind kind);

/// Milled from the face towards the board. Deeper steps lie inside the outlines of shallower ones.
struct Pocket {
  Polygons area;           ///< plate frame; no corner is tighter than the cutter
  std::vector<Ring> path;  ///< of the cutter's centre, closed, along the contour inside
  Mm depth;                ///< of a through pocket the plate's thickness
  bool through = false;
  Mm cutter{};                          ///< that finishes it; 0: the style's
  Mm rough;                             ///< widest cutter that clears most of it; 0: the finishing cutter does all
  std::vector<ComponentId> components;  ///< whose bodies it clears
  std::vector<std::string> seats;       ///< labels of what is sunk into it: springs, shoulders, screw heads
};
/// Placeholder for the plan id in a mark. The id is known only later, since it is a hash of the finished plates.
inline constexpr const char* kPlanMark = "PLAN ..........";
/// Engraved, to be read in the view the plate is drawn in.
struct Mark {
  std::string text;
  PlatePoint at;  ///< left end of the base line
  Mm height;
};

struct Plate {
  std::string name;  ///< "lower probe plate, probes touch the bottom side of the board"
  std::string stem;  ///< file name without extension
  PlateKind kind{};
  Side probes{};  ///< side of the board that it faces
  bool lower = true, mirrored = false, outer_face = false;
  std::string seen_from;  ///< in words
  std::string datum;      ///< in words
  std::string material;
  bool printed = false;  ///< layer by layer, from a solid
  Mm thickness;
  Mm at_rest, at_touch, at_work;  ///< distance of its near face to the board's face
  Map<BoardFrame, PlateFrame> from_board;
  Ring outline;                  ///< plate frame
  std::vector<PlateHole> holes;  ///< by kind, then label
  std::vector<std::vector<int>>
      tools;                    ///< holes to drill by diameter, thin ones first, each in the order of a short way
  std::vector<Pocket> pockets;  ///< shallow first
  std::vector<Mark> marks;
  std::vector<std::string> waivers;  ///< findings that the user took upon himself, by probe
  std::vector<std::string> drafts;   ///< facts that its own holes and pockets rest on and that are assumed
  std::vector<std::string> faults;   ///< why it cannot be made so: no file for a machine is written
};

/// Height of a class's receptacle over the probe plate's face towards the board: what lies between that face and the
/// target at work, less what the compressed probe stands out of its receptacle. Negative: sunk into the plate.
/// Source: a probe maker's note on socket set heights.
struct SetHeight {
  ClassId probe_class;
  bool lower = true;
  Mm stack, projection, height;
  Mm tip_at_rest;  ///< of the tip under the board's face at rest; negative: it stands out and carries the board
};

struct Wire {
  int number{};
  std::string probe, net, role;
  Side side{};          ///< of the board that its probe touches
  std::string pin;      ///< of the interface block; without a kit counted through
  std::string kind;     ///< of pin that it needs: signal, power or ground
  std::string channel;  ///< of the instrument behind the pin
  std::string gauge, colour;
  std::string twisted_with;  ///< the probe of the ground wire that runs back beside a clock's
  std::string stage,
      relay;  ///< of its pin: "full" or "half", and the relay that leads the channel there; empty: connected always
  bool long_travel = false;  ///< its probe still touches while the press is half open
  Amperes amperes;
  Mm length;          ///< straight from hole to pin and the style's slack; 0: not known
  KitPoint from, to;  ///< seen from above
  bool from_known = false, to_known = false;
};
/// What lies before the wireman: a bed seen from its wiring face.
struct WiringFace {
  Side probes{};
  bool lower = true, mirrored = false;
  std::string seen_from;               ///< in words
  Map<KitFrame, PlateFrame> from_kit;  ///< to this view
  Ring outline, board;                 ///< of blank and board in this view
};
std::vector<WiringFace> wiring_faces(const BuildInputs& in);
/// Assigns a column of its own to every row at the least total cost. Hungarian method with potentials: H. W. Kuhn,
/// Naval Research Logistics Quarterly 2, 1955. `cost[row][column]`; rows <= columns.
std::vector<int> least_assignment(const std::vector<std::vector<std::int64_t>>& cost);

/// Adds to the list of what to measure those parts whose pockets depend on an assumed height or side. Entries that are
/// already there stay as they are.
void add_pockets(std::vector<MeasureFirst>& list, const BuildInputs& in, const std::vector<Plate>& plates);

/// Checks the kit against the board and the plan: size, usable area, press force, heights.
void check_kit(const BuildInputs& in, Diagnostics& diagnostics);
/// Orders the holes by drill. Each drill starts where the one before ended. Holes that the blank has already are left
/// out.
void order_drills(Plate& plate);
/// With `for_the_shop` false, the plates serve only to count and to check. They have no drill order, marks or draft
/// reasons, and `in.coverage` is not used.
/// `mechanism`: what stands around them where no kit does is put there.
std::vector<Plate> make_plates(const BuildInputs& in, Diagnostics& diagnostics, bool for_the_shop = true,
                               Mechanism* mechanism = nullptr);
std::vector<SetHeight> set_heights(const BuildInputs& in, Diagnostics& diagnostics);
/// A wire for each probe, ring and pin of a mating connector, grouped by net. With a kit, block pins of the right kind
/// are assigned so that the total length of wire is least. It is an error if the block has too few pins.
std::vector<Wire> make_wiring(const BuildInputs& in, Diagnostics& diagnostics);

}  // namespace teasel
