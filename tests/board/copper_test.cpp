// Connectivity worked out by hand on small layers; rules from the Gerber Layer Format Specification 2023.08 (painting
// order, 2.1; gaps under 1 um, 4.14) and common practice of plated holes.
#include <catch2/catch.hpp>
#include <stdexcept>

#include "teasel/board/copper.h"

using namespace teasel;
using formats::GerberFile;

namespace {
const std::string kHead = "%FSLAX46Y46*%\n%MOMM*%\n%ADD10C,1*%\n%ADD11C,0.2*%\n%ADD12R,20X20*%\n%ADD13C,2*%\n";
GerberFile layer(const std::string& body) {
  Diagnostics diagnostics;
  GerberFile file = formats::read_gerber(kHead + body + "M02*\n", "l.gbr", diagnostics);
  for (const auto& finding : diagnostics.all()) INFO(to_string(finding));
  REQUIRE_FALSE(diagnostics.failed());
  return file;
}
std::string flash(int aperture, double x, double y) {
  return "D" + std::to_string(aperture) + "*X" + std::to_string(std::lround(x * 1e6)) + "Y" +
         std::to_string(std::lround(y * 1e6)) + "D03*\n";
}
std::string stroke(double x0, double y0, double x1, double y1) {
  auto at = [](double x, double y) {
    return "X" + std::to_string(std::lround(x * 1e6)) + "Y" + std::to_string(std::lround(y * 1e6));
  };
  return "D11*" + at(x0, y0) + "D02*" + at(x1, y1) + "D01*\n";
}
CopperHole drilled(Point at, double diameter) {
  CopperHole hole;
  hole.at = hole.end = at;
  hole.diameter = Mm{diameter};
  return hole;
}
CopperHole unplated(Point at, double diameter) {
  CopperHole hole = drilled(at, diameter);
  hole.plated = false;
  return hole;
}
const Box kFrame{-10, -10, 10, 10};
}  // namespace

TEST_CASE("pads joined by a stroke are one net, a pad beside it is another (plane geometry)") {
  const GerberFile file = layer(flash(10, 0, 0) + flash(10, 5, 0) + flash(10, 0, 5) + stroke(0, 0, 5, 0));
  const CopperNets copper({{1, &file, false, {}}}, {}, kFrame);
  REQUIRE(copper.nets().size() == 2);
  CHECK(copper.net_at(0, {0, 0}) == copper.net_at(0, {5, 0}));
  CHECK(copper.net_at(0, {0, 0}) != copper.net_at(0, {0, 5}));
  CHECK_FALSE(copper.net_at(0, {9, 9}));
  CHECK(copper.nets().front().name == "N0001");
}

TEST_CASE(
    "a gap of less than a micrometre is none, a gap of two is one (Gerber Layer Format Specification 2023.08, "
    "4.14)") {
  // Two discs of 1 mm: centres 1.0005 mm apart, and 1.002 mm apart.
  const GerberFile near = layer(flash(10, 0, 0) + flash(10, 1.0005, 0)),
                   far = layer(flash(10, 0, 0) + flash(10, 1.002, 0));
  CHECK(CopperNets({{1, &near, false, {}}}, {}, kFrame).nets().size() == 1);
  CHECK(CopperNets({{1, &far, false, {}}}, {}, kFrame).nets().size() == 2);
}

TEST_CASE(
    "clear polarity cuts a plane; what is painted into the clearance later stands alone (Gerber Layer Format "
    "Specification 2023.08, 2.1)") {
  // A plane, a clearance, a pad in it; and a pad that the plane reaches.
  const std::string plane = flash(12, 0, 0), clearance = "%LPC*%" + flash(13, 3, 3) + "%LPD*%", pad = flash(10, 3, 3);
  const GerberFile good = layer(plane + clearance + pad);
  const CopperNets copper({{1, &good, false, {}}}, {}, kFrame);
  CHECK(copper.net_at(0, {3, 3}) != copper.net_at(0, {-5, -5}));
  CHECK_FALSE(copper.net_at(0, {3, 3.7}));
  // The same objects in another order: the pad is cleared away with the plane.
  const GerberFile other = layer(plane + pad + clearance);
  CHECK_FALSE(CopperNets({{1, &other, false, {}}}, {}, kFrame).net_at(0, {3, 3}));
  // And with the plane last everything is one.
  const GerberFile last = layer(pad + clearance + plane);
  const CopperNets whole({{1, &last, false, {}}}, {}, kFrame);
  CHECK(whole.net_at(0, {3, 3}) == whole.net_at(0, {-5, -5}));
}

TEST_CASE("a cleared line splits one flash into two nets, and the object itself says so (plane geometry)") {
  const GerberFile file = layer(flash(12, 0, 0) + "%LPC*%" + stroke(0, -11, 0, 11));
  const CopperNets copper({{1, &file, false, {}}}, {}, kFrame);
  CHECK(copper.net_at(0, {-5, 0}) != copper.net_at(0, {5, 0}));
  CHECK(copper.net_of_object(0, 0).several);
}

TEST_CASE("a negative plane: what is drawn is free of copper (common practice, no source)") {
  const GerberFile file = layer(flash(13, 3, 3) + flash(13, -3, 3));
  const GerberFile top = layer(flash(10, 3, 3) + flash(10, 0, 0) + flash(10, -5, -5));
  // Plated holes at a clearance and at two places of bare plane.
  const std::vector<CopperHole> holes{drilled({3, 3}, 0.5), drilled({0, 0}, 0.5), drilled({-5, -5}, 0.5)};
  const CopperNets copper({{1, &top, false, {}}, {2, &file, true, {}}}, holes, kFrame);
  CHECK(copper.net_of_hole(1) == copper.net_of_hole(2));
  CHECK(copper.net_of_hole(0) != copper.net_of_hole(1));
  CHECK(copper.net_of_hole(0));
}

TEST_CASE(
    "a hole joins only the layers it spans; a slot reaches along its length; an unplated hole cuts (common "
    "practice of plated holes, no source)") {
  const GerberFile file = layer(flash(10, 0, 0));
  const std::vector<CopperLayer> three{{1, &file, false, {}}, {2, &file, false, {}}, {3, &file, false, {}}};
  CopperHole hole = drilled({0, 0}, 0.3);
  hole.first_layer = 1;
  hole.last_layer = 2;
  const CopperNets blind(three, {hole}, kFrame);
  CHECK(blind.net_at(0, {0, 0}) == blind.net_at(1, {0, 0}));
  CHECK(blind.net_at(0, {0, 0}) != blind.net_at(2, {0, 0}));
  const CopperNets through(three, {drilled({0, 0}, 0.3)}, kFrame);
  CHECK(through.nets().size() == 1);
  CHECK(CopperNets(three, {unplated({0, 0}, 0.3)}, kFrame).nets().size() == 3);
  const GerberFile two = layer(flash(10, 0, 0) + flash(10, 3, 0));
  CopperHole slot = drilled({0, 0}, 0.3);
  slot.end = {3, 0};
  CHECK(CopperNets({{1, &two, false, {}}}, {slot}, kFrame).nets().size() == 1);
  const GerberFile trace = layer(flash(10, -4, 0) + flash(10, 4, 0) + stroke(-4, 0, 4, 0));
  CHECK(CopperNets({{1, &trace, false, {}}}, {}, kFrame).nets().size() == 1);
  CHECK(CopperNets({{1, &trace, false, {}}}, {unplated({0, 0}, 1)}, kFrame).nets().size() == 2);
}

TEST_CASE(
    "names come from attributes; one piece with two names says so; numbers follow the place, not the file "
    "order (Gerber attribute .N)") {
  const std::string one = "%TO.N,VCC*%" + flash(10, 5, 0) + "%TD*%", two = "%TO.N,GND*%" + flash(10, 0, 0) + "%TD*%",
                    bare = flash(10, -5, 0);
  const GerberFile file = layer(one + two + bare), reordered = layer(bare + two + one);
  const CopperNets copper({{1, &file, false, {}}}, {}, kFrame), again({{1, &reordered, false, {}}}, {}, kFrame);
  REQUIRE(copper.nets().size() == 3);
  CHECK(copper.nets().front().name == "N0001");
  CHECK(copper.nets()[CopperNetId{1}].name == "GND");
  CHECK(copper.nets()[CopperNetId{2}].name == "VCC");
  for (const CopperNetId net : copper.nets().ids()) CHECK(copper.nets()[net].name == again.nets()[net].name);
  const GerberFile bridged = layer(one + two + stroke(0, 0, 5, 0));
  const CopperNets joined({{1, &bridged, false, {}}}, {}, kFrame);
  REQUIRE(joined.nets().size() == 1);
  CHECK(joined.nets().front().other_names.size() == 1);
}

TEST_CASE(
    "strokes that are left out count as painted all the same; painted pads and both halves of a cut region "
    "have nets (plane geometry)") {
  // A plane, two clear strokes that are left out, a clearance and the pad in it: the pad must stand.
  const std::string body = flash(12, 0, 0) + "%LPC*%" + stroke(-9, -9, 9, -9) + stroke(-9, 9, 9, 9) + flash(13, 3, 3) +
                           "%LPD*%" + flash(10, 3, 3);
  const GerberFile file = layer(body);
  const CopperNets copper({{1, &file, false, {1, 2}}}, {}, kFrame);
  CHECK(copper.net_at(0, {3, 3}));
  CHECK(copper.net_at(0, {3, 3}) != copper.net_at(0, {-5, -5}));
  const GerberFile painted = layer(stroke(0, 0, 5, 0));
  const CopperNets stroke_alone({{1, &painted, false, {}}}, {}, kFrame);
  REQUIRE(stroke_alone.nets().size() == 1);
  CHECK(stroke_alone.nets().front().drawn_only());
  const GerberFile region =
      layer("G36*X0Y0D02*G01*X8000000D01*Y8000000D01*X0D01*Y0D01*G37*%LPC*%" + stroke(4, -1, 4, 9));
  const CopperNets halves({{1, &region, false, {}}}, {}, kFrame);
  CHECK(halves.net_at(0, {1, 1}));
  CHECK(halves.net_at(0, {7, 1}));
  CHECK(halves.net_at(0, {1, 1}) != halves.net_at(0, {7, 1}));
}

TEST_CASE("a spot painted and cleared ten thousand times is refused, not worked through (constructed)") {
  std::string body;
  for (int i = 0; i < 10'000; ++i)
    body += "%LPD*%" + flash(13, 0.0001 * i, 0) + "%LPC*%" + flash(10, 0.0001 * (i * 7919 % 10'000), 0);
  const GerberFile file = layer(body);
  CHECK_THROWS_AS(CopperNets({{1, &file, false, {}}}, {}, kFrame), std::length_error);
}
