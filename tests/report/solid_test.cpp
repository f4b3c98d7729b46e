// Solids of printed plates.
#include <catch2/catch.hpp>
#include <cmath>
#include <map>
#include <numbers>

#include "teasel/report/plate_solid.h"

using namespace teasel;
using Catch::Detail::Approx;

namespace {
Plate slab() {
  Plate plate;
  plate.thickness = Mm{10};
  plate.outline = rectangle({50, 40}, 100, 80);
  return plate;
}
void hole(Plate& plate, Point at, double diameter) {
  PlateHole made;
  made.plate = PlatePoint{at};
  made.diameter = Mm{diameter};
  plate.holes.push_back(made);
}
void pocket(Plate& plate, Point at, double width, double height, double depth, bool through = false) {
  Pocket made;
  made.area = {{rectangle(at, width, height), {}}};
  made.depth = Mm{depth};
  made.through = through;
  plate.pockets.push_back(made);
}
/// By Gauss's theorem, mm3.
double volume_of(const Solid& solid) {
  double sum = 0;
  for (const auto& t : solid.triangles) {
    const auto &a = solid.corners[t[0]], &b = solid.corners[t[1]], &c = solid.corners[t[2]];
    sum += a[0] * (b[1] * c[2] - b[2] * c[1]) - a[1] * (b[0] * c[2] - b[2] * c[0]) + a[2] * (b[0] * c[1] - b[1] * c[0]);
  }
  return sum / 6;
}
/// Each edge is walked once in each direction (3MF core specification, 4.1: manifold and consistently oriented).
bool is_closed(const Solid& solid) {
  std::map<std::pair<std::uint32_t, std::uint32_t>, int> edges;
  for (const auto& t : solid.triangles)
    for (int i = 0; i < 3; ++i) ++edges[{t[static_cast<std::size_t>(i)], t[static_cast<std::size_t>((i + 1) % 3)]}];
  for (const auto& [edge, count] : edges) {
    const auto back = edges.find({edge.second, edge.first});
    if (count != 1 || back == edges.end() || back->second != 1) return false;
  }
  return !solid.triangles.empty();
}
/// Of a regular polygon of 48 corners in a circle.
double round_area(double diameter) {
  return 48.0 / 8 * diameter * diameter * std::sin(2 * std::numbers::pi / 48);
}
}  // namespace

TEST_CASE("a slab with holes and pockets has the volume that is left of it (solid geometry by hand)") {
  Plate plate = slab();
  CHECK(volume_of(solid_of(plate)) == Approx(100 * 80 * 10));
  CHECK(is_closed(solid_of(plate)));
  hole(plate, {20, 20}, 8);
  pocket(plate, {60, 40}, 30, 20, 4);
  CHECK(volume_of(solid_of(plate)) == Approx(80000 - 10 * round_area(8) - 30 * 20 * 4));
  // A deeper step within the pocket, a hole on the pocket's edge, and an opening.
  plate.pockets.clear();
  pocket(plate, {60, 40}, 30, 20, 4);
  pocket(plate, {60, 40}, 10, 10, 7);
  pocket(plate, {20, 60}, 10, 10, 10, true);
  hole(plate, {45, 40}, 6);
  const Solid solid = solid_of(plate);
  const double cut =
      10 * (round_area(8) + round_area(6)) + 30 * 20 * 4 + 10 * 10 * 3 + 10 * 10 * 10 - 4 * round_area(6) / 2;
  CHECK(volume_of(solid) == Approx(80000 - cut));
  CHECK(is_closed(solid));
}

TEST_CASE("holes that meet, and one beyond the edge, leave a closed solid (by construction)") {
  Plate plate = slab();
  hole(plate, {30, 30}, 10);
  hole(plate, {36, 33}, 10);
  hole(plate, {100, 40}, 12);
  pocket(plate, {33, 30}, 40, 7, 5);
  pocket(plate, {33, 33}, 3, 40, 5);
  const Solid solid = solid_of(plate);
  CHECK(is_closed(solid));
  CHECK(volume_of(solid) < 80000);
}
