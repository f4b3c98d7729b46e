// What stands on a board, as mechanical data tell it: prisms over an outline, keep-outs, board edge, holes.
// Frame: the file's own, seen from the top, X right, Y up, millimetres; heights over the board face the part stands on.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "teasel/diagnostics.h"
#include "teasel/formats/drill.h"
#include "teasel/geometry.h"
#include "teasel/side.h"
#include "teasel/units.h"

namespace teasel::formats {

struct BodyRow {
  std::string component, package;
  std::optional<Side> side;
  Point at;                    ///< origin of the package
  Degrees rotation;            ///< counter-clockwise as written
  Polygons outline;            ///< empty: the file draws none
  Mm standoff;                 ///< clear height under the body
  std::optional<Mm> height;    ///< top of the body; absent: the file does not know
  std::optional<bool> fitted;  ///< absent: the file does not say
  std::uint32_t line{};
};

/// No part taller than `height` inside; 0: no part at all. Kinds without a height say nothing to probes.
struct AreaRule {
  enum class Kind : std::uint8_t { no_parts, no_routes, no_vias, other };
  Kind kind{};
  std::string name;
  Sides sides = Sides::both();
  Polygons area;
  Mm height;
  std::uint32_t line{};
};

struct Mechanics {
  std::string name;
  std::optional<Polygon> outline;  ///< holes = cutouts
  std::optional<Mm> thickness;
  std::vector<BodyRow> bodies;
  std::vector<Hole> holes;  ///< finished diameters
  std::vector<AreaRule> areas;
  bool vias_left_out = false;  ///< the writer lists no vias among the holes
};

/// The text of an IDF 3.0 board file, and its library (may be empty: bodies without outline and height).
/// Source of the format: Intermediate Data Format 3.0, revision 1 (1996).
/// Errors: other versions, panels, loops that do not close, numbers that cannot be read, a part placed twice.
bool looks_like_idf_board(std::string_view bytes);
bool looks_like_idf_library(std::string_view bytes);
Mechanics read_idf(std::string_view board, const std::string& board_name, std::string_view library,
                   const std::string& library_name, Diagnostics& diagnostics);

}  // namespace teasel::formats
