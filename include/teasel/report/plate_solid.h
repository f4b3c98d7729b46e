// Plates that are printed, as solids. Frame of the file: the plate as seen from the face towards the board, moved so
// that its corner is at 0,0; Z is 0 on the other face, which lies on the printer's bed. Source: 3MF core
// specification 1.x (ISO/IEC 25422): an Open Packaging archive with one model part, unit millimetre.
#pragma once
#include <array>
#include <cstdint>
#include <string>
#include <vector>

#include "teasel/report.h"

namespace teasel {

/// Closed, its triangles anticlockwise seen from outside.
struct Solid {
  std::vector<std::array<double, 3>> corners;  ///< mm
  std::vector<std::array<std::uint32_t, 3>> triangles;
};
/// The plate's outline, less its holes (polygons of 48 corners about the circle) and its pockets at their depths.
Solid solid_of(const Plate& seen_from_board_face);
/// A ZIP archive; the same bytes for the same plate.
std::string plate_3mf(const Outcome& outcome, const Plate& plate);

}  // namespace teasel
