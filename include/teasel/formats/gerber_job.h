// Gerber job files (.gbrjob): which file is which layer, board size, thickness, number of copper layers. Both the JSON
// form and the early form that is Gerber text with %TJ attributes. All lengths in millimetres.
// Source: the published job format by the keys that real writers use.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "teasel/diagnostics.h"
#include "teasel/geometry.h"
#include "teasel/units.h"

namespace teasel::formats {

struct GerberJobEntry {
  std::string file;      ///< relative to the job file, never outside its folder
  std::string function;  ///< as a layer file would say it: "Copper,L1,Top", "Soldermask,Top"
  bool negative = false;
};
struct GerberJob {
  std::string name;
  std::vector<GerberJobEntry> files;
  std::optional<Mm> thickness;
  std::optional<Point> size;  ///< width and height of the outline; some writers add the line width
  int copper_layers = 0;      ///< 0 = not stated
  std::string revision, finish, via_protection;
  Mm stackup;  ///< sum of the stack-up without legend and paste; 0 = none
};
bool looks_like_gerber_job(std::string_view bytes);
GerberJob read_gerber_job(std::string_view bytes, const std::string& name, Diagnostics& diagnostics);

}  // namespace teasel::formats
