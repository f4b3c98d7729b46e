// What an IPC-2581 file says before the step: contents, dictionaries, bill of material, layers and stackup.
#pragma once
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "design.h"
#include "text.h"

namespace demo {

inline const std::string kBoardName = "buoy-node";
inline const std::string kDrillLayer = "DRILL_1-4";

/// Shapes (width and height, 0: round) and pens (nanometres) that the features refer to.
struct Dictionary {
  std::vector<std::pair<double, double>> shapes;
  std::set<long> pens;
  static std::string shape_id(std::size_t index, double h) {
    return (h > 0 ? "RECTCENTER_" : "CIRCLE_") + std::to_string(index + 1);
  }
  static std::string pen_id(long nm) { return "ROUND_" + std::to_string(nm / 1000); }
};

inline std::string side(const std::string& stem, bool top) {
  return stem + (top ? "TOP" : "BOTTOM");
}
inline std::string package_name(const Part& p) {
  return p.package + "_" + p.name;
}
std::string part_number(const Part& part);

/// From the root to the opened CadData.
void ipc2581_head(Xml& x, const Design& design, const Dictionary& dictionary);

}  // namespace demo
