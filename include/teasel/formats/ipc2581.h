// IPC-2581 revisions B and C: one XML file that holds the whole board. Source of names and rules: the published schema
// of revision C; behaviour of real writers where they differ. Frame: the file's own, seen from the top, X right, Y up,
// converted to millimetres.
#pragma once
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "teasel/diagnostics.h"
#include "teasel/formats/bodies.h"
#include "teasel/formats/gerber.h"
#include "teasel/formats/netlist.h"

namespace teasel::formats {

struct CadLayer {
  enum class Kind : std::uint8_t { copper, mask, paste };
  Kind kind{};
  std::optional<Side> side;  ///< absent: inner
  int number = 0;            ///< copper: 1 = top, by the stack-up
  bool negative = false;     ///< the layer's own polarity: what is drawn is free of copper
  GerberFile image;          ///< pads are flashes with their net and pin, traces are strokes, planes are regions
};

/// A step placed in a panel: `turn` degrees counter-clockwise about its origin, mirrored steps show their other side.
struct CadPlace {
  std::string step;
  Point at;
  Degrees turn;
  bool mirrored = false;
};
struct CadStep {
  std::string name;
  std::size_t components = 0, layers = 0;
  std::vector<CadPlace> places;    ///< what a panel holds, repeats expanded
  std::optional<Polygon> outline;  ///< of panels that hold the board
  std::uint32_t line{};
};
/// A bill of materials: which parts one build variant fits.
struct CadVariant {
  std::string name;
  std::map<std::string, bool> fitted;
};

struct CadBoard {
  std::string name, revision, mode;  ///< file, "B" or "C", FunctionMode
  std::string step, variant;         ///< as chosen
  std::vector<CadStep> steps;
  std::vector<CadVariant> variants;
  std::vector<CadLayer> layers;
  Netlist netlist;  ///< a record a land, as a bare-board netlist would have them
  Mechanics mechanics;
  int copper_layers = 0;
  std::size_t test_points = 0;  ///< PhyNetPoints
  bool exposure_stated =
      false;            ///< the mask field of the records stands for PhyNetPoint exposure: a set bit is covered
  std::string placing;  ///< how components reach the board: the order that puts pins on pads
  std::size_t pins = 0, pins_met = 0;  ///< package pins with pads of the same name; those within kPinOnPad
  Mm farthest_pin;                     ///< of those met
  std::vector<std::string> pins_off;   ///< the first that are not, with their distance
};
inline constexpr Mm kPinOnPad{0.06};  // writers round package pins to 0.001 in

struct Ipc2581Choice {
  std::string step, variant;  ///< empty: the only one, or the first that is listed, with a note
};

bool looks_like_ipc2581(std::string_view bytes);
/// Reads one step with everything on it. Errors: not well-formed, document types and entities, unknown units,
/// references that lead nowhere, pins that lie on no pads under any order of the transform.
CadBoard read_ipc2581(std::string_view bytes, const std::string& name, const Ipc2581Choice& choice,
                      Diagnostics& diagnostics);

}  // namespace teasel::formats
