// What a fixture is built from: the kit (press, blanks, what is drilled in them, interface block) and the style
// (plates, their distances from the board in each state, what goes through each). Kit frame: seen from above, X to the
// right of the operator, Y away from him, zero at the front left corner of a blank. Heights: distance from the board's
// face on the plate's side to the plate's near face, always positive away from it.
#pragma once
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "teasel/frames.h"
#include "teasel/geometry.h"
#include "teasel/job/hardware.h"
#include "teasel/units.h"

namespace teasel {

/// Where in the stack a plate stands.
enum class PlateKind : std::uint8_t {
  probe,     ///< holds the receptacles
  moving,    ///< guides plungers, carries the board until it is pressed down
  pressure,  ///< pushes the board onto the bed
  check,     ///< lies in the board's place: its holes show where the tips arrive. Of no kit and no style
  // Only where no kit does their work:
  base,    ///< carries the probe plate on standoffs, with the wires between them
  push,    ///< stands over the wires of an upper probe plate on standoffs, so that it can be pushed
  bridge,  ///< on top of the guide pillars; carries the clamp
};
const char* to_string(PlateKind kind);
/// Has holes and pockets for the board, its parts and the tooling pins.
constexpr bool meets_board(PlateKind kind) {
  return kind == PlateKind::probe || kind == PlateKind::moving || kind == PlateKind::pressure ||
         kind == PlateKind::check;
}

/// A hole that the blanks of a kit have already.
struct KitHole {
  KitPoint at;
  Mm diameter;
  std::string use;                ///< "guide pin", "screw", "dowel", "latch", ...
  std::vector<PlateKind> plates;  ///< in blanks of these; empty: of all
};
/// A contact of the interface block, where a wire ends.
struct BlockPin {
  std::string name, kind;  ///< kind: signal, power or ground
  KitPoint at;             ///< seen from above
  std::string channel;     ///< of the instrument behind it; two pins of one channel: a stage relay leads to one of them
  Amperes amperes;
  std::string stage;  ///< "full": connected while all probes touch; "half": while only long ones do; empty: in both
};
struct Kit {
  std::string name, kind;  ///< kind: "hand press", "clamshell", "vacuum box"
  Mm width, depth;         ///< of a blank; 0: blanks are cut to the board
  Box usable;              ///< where probes may stand
  KitPoint board_at;       ///< the middle of the board's outline lies here
  Degrees board_turn;      ///< counter-clockwise seen from above
  bool upper_bed = false;  ///< a second bed can be carried
  Newton force;            ///< of the press at the end of its stroke; 0: not stated
  Bar vacuum;              ///< pressure difference of a vacuum box; 0: none
  Mm stroke;               ///< of the press
  Mm lid_height;           ///< free over the board's upper face; 0: not stated
  KitPoint press_at;       ///< the press's axis; the board's place where the file does not say
  std::optional<Mm> hinge_y,
      hinge_height;   ///< clamshell: Y of the lid's axis, and its height over the board's upper face
  std::string datum;  ///< in words, which hole or corner
  std::vector<KitHole> holes;
  std::vector<BlockPin> block;
  std::string block_file;  ///< CSV beside the kit: pin,kind,x_mm,y_mm,channel,amperes,stage
};

struct StylePlate {
  std::string name;  ///< "lower probe plate"
  bool lower = true;
  PlateKind kind{};
  bool when_probed = false, when_bare = false;  ///< only if its side carries probes, or only if not
  std::string material;
  bool printed = false;  ///< layer by layer, from a solid
  Mm thickness;
  Mm at_rest, at_touch, at_work;  ///< distance to the board's face
};
/// What stands between and around the plates, where no kit does that.
struct MechanismSizes {
  bool used = false;
  std::string hardware = "standard";         ///< the list from which parts are taken
  Mm shoulder;                               ///< diameter of the shoulder screws that hold the moving plate at rest
  Mm stop_diameter;                          ///< of the spacers on which it comes to rest at work
  std::string stop_thread, standoff_thread;  ///< "M4"
  double lift{};                             ///< springs at rest push so many times the weight that they carry
  Mm plate_bow;                              ///< that the probe plate may bend under all probes; 0: not limited
  std::string connector;                     ///< of the list of hardware, on which wires end; empty: none
  Mm edge_guide;        ///< diameter of the pins beside the board that lead it onto the tooling pins; 0: none
  Mm finger_recess;     ///< diameter of the openings in which fingers grip the board; 0: none
  bool sheets = false;  ///< plates are cut from sheets by a laser: no recess, no thread, no press fit
  Mm lid;               ///< base plate and bridge reach so much farther at front and back, for the legs, hinges and
                        ///< latches of a lid that the bridge is; 0: the bridge stands on the guide pillars
  bool sealed = false;  ///< a gasket between probe plate and moving plate, another under the board
};
/// Something that is fixed to a plate beside the mechanism: earth point, counter, clamp of a cable.
struct Mount {
  std::string label, part, note;  ///< "EP", "earth point", what it is for
  std::string size;               ///< to order it by; empty: the room that it takes
  PlateKind plate{};
  std::string edge;  ///< "front", "back", "left", "right": along which it is put where there is room; "middle";
                     ///< "corners": one in each; "under the board"
  Mm width, depth;   ///< of the room it takes on the plate, along the edge and across
  struct Hole {
    Point at;  ///< from the middle of the room, along the edge and away from it
    Mm diameter;
    std::string thread;  ///< of the list; empty: plain
  };
  std::vector<Hole> holes;
  Money price;
};
struct Style {
  std::string name;
  MechanismSizes mechanism;
  Hardware hardware;
  std::vector<StylePlate> plates;
  std::vector<Mount> mounts;
  Bar vacuum;            ///< pressure difference that holds the board where no kit does; 0: it is pressed
  Newton spring_force;   ///< of the springs under a moving plate, all together, at work
  Mm margin;             ///< around the board, where blanks are cut to it
  Mm plunger_clearance;  ///< diameter of a guide hole over head and plunger
  Mm pin_clearance;      ///< diameter of a hole over the tooling pin that goes through it
  Mm hole_error;         ///< places of holes are off by it (three standard deviations), if by more than drilled ones
  Mm stop_diameter, stop_hole;    ///< board stop; its fixing hole
  Mm finger_hole;                 ///< fixing hole of a push finger
  Mm guide_pin, guide_pin_odd;    ///< guide holes; one differs, so that plates go together one way only
  Mm screw;                       ///< clearance hole
  Mm pocket_over;                 ///< depth over a body's height
  Mm pocket_step;                 ///< depths are multiples of it
  Mm pocket_floor;                ///< least material left under a pocket; with less, the pocket goes through
  Mm cutter;                      ///< diameter of the smallest, which finishes a pocket
  std::vector<Mm> rough_cutters;  ///< rising
  Mm web;                         ///< least material between any two holes or pockets of other kinds than receptacles
  Mm edge;                        ///< least material to the edge of a plate
  Mm below_board;  ///< least depth of the tips under the board's face at rest, where there is a moving plate
  Mm text_height;
  std::map<std::string, std::string> wire_colours;  ///< by role
  double wire_slack{};                              ///< share added to a wire's length
  Mm strip;                                         ///< insulation taken off each end
  std::string at_probe, at_pin;                     ///< how a wire ends there, in words
  struct Gauge {
    Amperes amperes;
    std::string name;
  };
  Ohms joined_below{2};       ///< of a good path from tip to interface pin
  Megohms open_above{10};     ///< between wires that nothing joins
  std::vector<Gauge> gauges;  ///< thinnest first: the first that carries the current
};

}  // namespace teasel
