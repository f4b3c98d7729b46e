// IDF 3.0: the board with its holes, places and keep-outs, and the library of bodies.
#include <cmath>
#include <utility>
#include <vector>

#include "bodies.h"
#include "text.h"
#include "write.h"

namespace demo {

namespace {
using Loop = std::vector<std::pair<double, double>>;
constexpr const char* kSource = "3.0 \"demo board generator\" 2024/05/06.08:00:00 1";

/// A string field; blanks need quotes.
std::string field(const std::string& s) {
  return s.find(' ') == std::string::npos ? s : "\"" + s + "\"";
}
std::string section(const std::string& name, const std::string& owner, const std::string& records) {
  return "." + name + (owner.empty() ? "" : " " + owner) + "\n" + records + ".END_" + name + "\n";
}
std::string point(double x, double y, double angle, double unit) {
  return "0 " + num(x / unit, 4) + " " + num(y / unit, 4) + " " + num(angle, 1) + "\n";
}
std::string loop(const Loop& corners, double unit = 1) {
  std::string s;
  for (auto [x, y] : corners) s += point(x, y, 0, unit);
  return s + point(corners[0].first, corners[0].second, 0, unit);
}
Loop corners(const Box& b) {
  return {{b.x0, b.y0}, {b.x1, b.y0}, {b.x1, b.y1}, {b.x0, b.y1}};
}
std::string geometry(const Part& p) {
  return p.package + "_" + p.name;
}

std::string board(const Design& d) {
  std::string holes, places;
  auto hole = [&](const Pad& p, const std::string& plating, const std::string& part, const std::string& kind) {
    holes +=
        num(p.drill, 3) + " " + num(p.x, 4) + " " + num(p.y, 4) + " " + plating + " " + part + " " + kind + " ECAD\n";
  };
  for (const Pad& p : d.pads)
    if (p.drill > 0) hole(p, "PTH", p.component, "PIN");
  for (const Pad& h : d.holes) hole(h, "NPTH", "BOARD", "MTG");
  for (const Part& p : d.parts)
    if (p.package != "FID")
      places += field(geometry(p)) + " " + field(p.value) + " " + p.name + "\n" + num(p.x, 4) + " " + num(p.y, 4) +
                " 0.0 " + num(p.rotation, 1) + (p.top ? " TOP" : " BOTTOM") + " PLACED\n";
  // A circle: its centre, then a point on it. No via comes so near to the corner's tooling hole.
  const Pad& tooling = d.holes[1];
  const std::string ring = point(tooling.x, tooling.y, 0, 1) + point(tooling.x + 2, tooling.y, 360, 1);
  // A low lid in the corner beside the expansion header.
  const std::string lid = "TOP 3.0\n" + loop(corners({kWidth - 3, 0.5, kWidth - 0.5, 9.5}));
  return section("HEADER", "", std::string("BOARD_FILE ") + kSource + "\nbuoy-node MM\n") +
         section("BOARD_OUTLINE", "ECAD", "1.6\n" + loop(outline())) + section("PLACE_KEEPOUT", "ECAD", lid) +
         section("VIA_KEEPOUT", "ECAD", ring) + section("DRILLED_HOLES", "", holes) + section("PLACEMENT", "", places);
}

std::string library(const Design& d) {
  std::string s = section("HEADER", "", std::string("LIBRARY_FILE ") + kSource + "\n");
  bool thou = false;  // every second body
  for (const Part& p : d.parts) {
    if (p.package == "FID") continue;
    const double unit = thou ? 0.0254 : 1;
    s += section("ELECTRICAL", "",
                 field(geometry(p)) + " " + field(p.value) + (thou ? " THOU " : " MM ") + num(p.height / unit, 4) +
                     "\n" + loop(corners(body(d, p)), unit));
    thou = !thou;
  }
  return s;
}
}  // namespace

std::map<std::string, std::string> idf(const Design& d) {
  return {{"buoy-node.emn", board(d)}, {"buoy-node.emp", library(d)}};
}

}  // namespace demo
