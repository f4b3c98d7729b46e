// Facts: Gerber Layer Format Specification, revision 2023.08, by the section named.
#include <algorithm>
#include <catch2/catch.hpp>

#include "teasel/formats/gerber.h"
#include "teasel/formats/layer.h"
#include "teasel/formats/tables.h"

using namespace teasel;
using namespace teasel::formats;

namespace {
constexpr double kPi = 3.14159265358979323846;
GerberFile read(const std::string& body, Diagnostics& diagnostics) {
  return read_gerber("%FSLAX46Y46*%\n%MOMM*%\n" + body + "M02*\n", "t.gbr", diagnostics);
}
double painted(const GerberFile& file) {
  Polygons image;
  for (const auto& o : file.objects)
    image = o.dark ? unite(image, area_of(file, o)) : subtract(image, area_of(file, o));
  // The compositor goes another way, by cells and from the last object down: both must agree.
  CHECK(composited_area(file).v == Approx(area(image)).margin(1e-6));
  CHECK(area(composited(file)) == Approx(area(image)).margin(1e-6));
  return area(image);
}
/// What one file paints and the other does not, mm^2.
double difference(const std::string& one, const std::string& two) {
  Diagnostics diagnostics;
  const Polygons a = composited(read(one, diagnostics)), b = composited(read(two, diagnostics));
  for (const auto& x : diagnostics.all()) INFO(to_string(x));
  REQUIRE_FALSE(diagnostics.failed());
  REQUIRE(area(a) > 0);
  return area(subtract(a, b)) + area(subtract(b, a));
}
double painted(const std::string& body) {
  Diagnostics diagnostics;
  const GerberFile f = read(body, diagnostics);
  for (const auto& x : diagnostics.all()) INFO(to_string(x));
  REQUIRE_FALSE(diagnostics.failed());
  return painted(f);
}
}  // namespace

TEST_CASE(
    "a comment may hold percent signs; one without its asterisk ends at the next line (Gerber specification, 4.1)") {
  Diagnostics diagnostics;
  const GerberFile file = read("G04 100 % tested, 50%% off*\n%ADD10C,1*%\nD10*X0Y0D03*\n", diagnostics);
  CHECK_FALSE(diagnostics.failed());
  CHECK(file.objects.size() == 1);
  Diagnostics open;
  CHECK(read("G04 no asterisk here\n%ADD10C,1*%\nD10*X0Y0D03*\n", open).objects.size() == 1);
}

TEST_CASE("standard apertures have their areas, holes taken out (Gerber specification, 4.4)") {
  CHECK(painted("%ADD10C,1*%D10*X0Y0D03*\n") == Approx(kPi / 4).epsilon(2e-3));
  CHECK(painted("%ADD10R,2X1*%D10*X0Y0D03*\n") == Approx(2));
  CHECK(painted("%ADD10O,2X1*%D10*X0Y0D03*\n") == Approx(1 + kPi / 4).epsilon(2e-3));
  CHECK(painted("%ADD10P,1X6*%D10*X0Y0D03*\n") == Approx(6 * 0.5 * 0.25 * std::sin(kPi / 3)).epsilon(1e-6));
  CHECK(painted("%ADD10R,2X1X0.5*%D10*X0Y0D03*\n") == Approx(2 - kPi / 16).epsilon(2e-3));
}

TEST_CASE("a macro's rotation turns about the macro origin, not about the primitive (Gerber specification, 4.5)") {
  Diagnostics diagnostics;
  // A 2 x 0.5 centre line at (3, 0), turned by 90 degrees: it must stand at (0, 3).
  const GerberFile f = read("%AMX*21,1,2,0.5,3,0,90*%%ADD10X*%D10*X0Y0D03*\n", diagnostics);
  const Box b = bounds(area_of(f, f.objects.at(0)));
  CHECK(b.x0 == Approx(-0.25).margin(1e-5));
  CHECK(b.y0 == Approx(2).margin(1e-5));
  CHECK(b.y1 == Approx(4).margin(1e-5));
}

TEST_CASE("macro expressions and exposure off (Gerber specification, 4.5)") {
  CHECK(painted("%AMB*$3=$1x2+1-(1/2)*1,1,$3,0,0*1,0,$2,0,0*%%ADD10B,1X1*%D10*X0Y0D03*\n") ==
        Approx(kPi / 4 * (2.5 * 2.5 - 1)).epsilon(2e-3));
}

TEST_CASE("a stroke is the sweep of its aperture (Gerber specification, 4.7, 4.8)") {
  CHECK(painted("%ADD10C,1*%D10*X0Y0D02*X3000000D01*\n") == Approx(3 + kPi / 4).epsilon(2e-3));
  CHECK(painted("%ADD10R,1X1*%D10*X0Y0D02*X3000000D01*\n") == Approx(4));
}

TEST_CASE("a full circle in multi quadrant mode: start equals end (Gerber specification, 4.7)") {
  CHECK(painted("%ADD10C,0.1*%D10*G75*X1000000Y0D02*G03*X1000000Y0I-1000000J0D01*\n") ==
        Approx(2 * kPi * 0.1).epsilon(2e-3));
}

TEST_CASE("a quarter arc in the deprecated single quadrant mode picks the fitting centre (Gerber specification, 7)") {
  Diagnostics diagnostics;
  // From (1, 0) counter-clockwise to (0, 1): of the centres (1 +- 1, 0) only (0, 0) fits.
  const GerberFile f = read("%ADD10C,0.1*%D10*G74*X1000000Y0D02*G03*X0Y1000000I1000000J0D01*\n", diagnostics);
  CHECK(f.centres.at(0).x == Approx(0).margin(1e-9));
  CHECK(f.centres.at(0).y == Approx(0).margin(1e-9));
}

TEST_CASE("later clear polarity removes, and later dark paints over it (Gerber specification, 2.1)") {
  CHECK(painted("%ADD10R,4X4*%%ADD11R,2X2*%%ADD12R,1X1*%D10*X0Y0D03*%LPC*%D11*X0Y0D03*%LPD*%D12*X0Y0D03*\n") ==
        Approx(16 - 4 + 1));
}

TEST_CASE("region contours are filled each and united; arcs included (Gerber specification, 4.10)") {
  CHECK(painted("G36*X0Y0D02*G01*X2000000D01*Y2000000D01*X0D01*Y0D01*X1000000Y1000000D02*X3000000D01*Y3000000D01*"
                "X1000000D01*Y1000000D01*G37*\n") == Approx(7));
  CHECK(painted("G75*G36*X1000000Y0D02*G03*X1000000Y0I-1000000J0D01*G37*\n") == Approx(kPi).epsilon(2e-3));
}

TEST_CASE("step and repeat copies, mirror and rotation act on flashes (Gerber specification, 4.9, 4.11)") {
  CHECK(painted("%ADD10R,1X1*%%SRX3Y2I2J2*%D10*X0Y0D03*%SR*%\n") == Approx(6));
  Diagnostics diagnostics;
  const GerberFile f = read("%ADD10R,2X1*%%LR90*%D10*X0Y0D03*\n", diagnostics);
  CHECK(box_of(f, f.objects.at(0)).width() == Approx(1).margin(1e-9));
  CHECK(painted("%ABD11*%%ADD10R,1X1*%D10*X0Y0D03*X2000000D03*%AB*%D11*X0Y0D03*X0Y5000000D03*\n") == Approx(4));
}

TEST_CASE("attributes reach objects, also when written as comments (Gerber specification, 5)") {
  Diagnostics diagnostics;
  const GerberFile file = read(
      "G04 #@! "
      "TF.FileFunction,Copper,L1,Top*\n%TA.AperFunction,TestPad*%%ADD10C,1*%%TD*%%TO.N,SWCLK*%%TO.P,TP3,1*%D10*X0Y0D03*"
      "%TD*%X5Y5D03*\n",
      diagnostics);
  CHECK(file.file_attribute(".FileFunction") == "Copper,L1,Top");
  const auto& a = file.attributes[file.objects.at(0).attributes];
  CHECK(a.aper_function == "TestPad");
  CHECK(a.net == "SWCLK");
  CHECK(a.component == "TP3");
  CHECK_FALSE(file.attributes[file.objects.at(1).attributes].has_net);
}

TEST_CASE("omitted zeros: leading by default, trailing in old files (Gerber specification, 4.1)") {
  Diagnostics diagnostics;
  const GerberFile f =
      read_gerber("%FSTAX24Y24*%\n%MOIN*%\n%ADD10C,.01*%\nD10*\nX01Y002D03*\nM02*\n", "t", diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(f.objects.at(0).start.x == Approx(25.4));      // 01 -> 010000 = 1 inch
  CHECK(f.objects.at(0).start.y == Approx(2.54 * 2));  // 002 -> 002000 = 0.2 inch
}

TEST_CASE("a file that is cut off, lacks its unit or uses an undefined aperture is refused (constructed faults)") {
  Diagnostics diagnostics;
  read_gerber("%FSLAX46Y46*%\n%MOMM*%\n%ADD10C,1*%\nD10*\nX0Y0D03*\n", "t", diagnostics);
  CHECK(diagnostics.all().back().code == "gerber-no-end");
  Diagnostics without_unit;
  read_gerber("%FSLAX46Y46*%\n%ADD10C,1*%\nD10*\nX0Y0D03*\nM02*\n", "t", without_unit);
  CHECK(without_unit.all().back().code == "gerber-no-unit");
  Diagnostics undefined;
  read("%ADD10C,1*%D10*D99*X0Y0D03*\n", undefined);
  CHECK(undefined.all().back().code == "gerber-undefined-aperture");
}

TEST_CASE("hostile repeats end in an error, not in memory (constructed faults)") {
  Diagnostics diagnostics;
  read("%ADD10C,1*%%SRX100000Y100000I1J1*%D10*X0Y0D03*%SR*%\n", diagnostics);
  CHECK(diagnostics.failed());
}

TEST_CASE("rotation, mirror and scale of flashes and strokes equal a twin drawn by hand (Gerber specification, 4.9)") {
  // A 2 x 1 rectangle off its origin as a macro, so that mirror and rotation show; every twin is the outline worked out
  // by hand.
  const std::string line_macro = "%AML*21,1,2,1,1,0.5,0*%%ADD10L*%D10*";  // from (0, 0) to (2, 1)
  auto outline = [](const std::string& points) { return "%AMP*4,1,4," + points + ",0*%%ADD10P*%D10*X0Y0D03*\n"; };
  CHECK(difference(line_macro + "%LR90*%X0Y0D03*\n", outline("0,0,-1,0,-1,2,0,2,0,0")) < 1e-6);
  CHECK(difference(line_macro + "%LMX*%X0Y0D03*\n", outline("0,0,-2,0,-2,1,0,1,0,0")) < 1e-6);
  CHECK(difference(line_macro + "%LMY*%X0Y0D03*\n", outline("0,0,2,0,2,-1,0,-1,0,0")) < 1e-6);
  CHECK(difference(line_macro + "%LMXY*%X0Y0D03*\n", outline("0,0,-2,0,-2,-1,0,-1,0,0")) < 1e-6);
  CHECK(difference(line_macro + "%LS0.5*%X0Y0D03*\n", outline("0,0,1,0,1,0.5,0,0.5,0,0")) < 1e-6);
  // Mirror first, then rotation: (x, y) -> (-x, y) -> (-y, -x).
  CHECK(difference(line_macro + "%LMX*%%LR90*%X0Y0D03*\n", outline("0,0,-1,0,-1,-2,0,-2,0,0")) < 1e-6);
  // They last until reset and do not act on regions.
  CHECK(difference(line_macro + "%LR90*%G36*X0Y0D02*G01*X2000000D01*Y1000000D01*X0D01*Y0D01*G37*\n",
                   outline("0,0,2,0,2,1,0,1,0,0")) < 1e-6);
  // A stroke of a scaled round pen.
  CHECK(difference("%ADD10C,1*%D10*%LS2*%X0Y0D02*X3000000D01*\n", "%ADD10C,2*%D10*X0Y0D02*X3000000D01*\n") < 1e-6);
}

TEST_CASE(
    "block apertures equal their contents drawn by hand: nested, turned, mirrored, cleared (Gerber "
    "specification, 4.11)") {
  const std::string block =
      "%ADD10R,2X1*%%ADD11C,0.5*%%ABD20*%D10*X1000000Y500000D03*%LPC*%D11*X500000Y500000D03*%LPD*%%AB*%";
  const std::string plain = "%ADD10R,2X1*%%ADD11C,0.5*%%ADD12R,1X2*%";
  CHECK(difference(block + "D20*X5000000Y1000000D03*\n",
                   plain + "D10*X6000000Y1500000D03*%LPC*%D11*X5500000Y1500000D03*\n") < 1e-6);
  CHECK(difference(block + "%LR90*%D20*X5000000Y1000000D03*\n",
                   plain + "D12*X4500000Y2000000D03*%LPC*%D11*X4500000Y1500000D03*\n") < 1e-6);
  CHECK(difference(block + "%LMX*%D20*X5000000Y1000000D03*\n",
                   plain + "D10*X4000000Y1500000D03*%LPC*%D11*X4500000Y1500000D03*\n") < 1e-6);
  // A clear flash of a block turns all polarities in it.
  CHECK(difference("%ADD30R,9X9*%D30*X5000000Y1000000D03*" + block + "%LPC*%D20*X5000000Y1000000D03*\n",
                   "%ADD30R,9X9*%D30*X5000000Y1000000D03*" + plain +
                       "%LPC*%D10*X6000000Y1500000D03*%LPD*%D11*X5500000Y1500000D03*\n") < 1e-6);
  // A block in a block.
  CHECK(difference(
            block + "%ABD21*%D20*X0Y0D03*X0Y3000000D03*%AB*%D21*X1000000Y0D03*\n",
            plain + "D10*X2000000Y500000D03*X2000000Y3500000D03*%LPC*%D11*X1500000Y500000D03*X1500000Y3500000D03*\n") <
        1e-6);
}

TEST_CASE(

    "step and repeat paints block after block, Y first, so that clear in a later copy cuts an earlier one "
    "(Gerber specification, 4.12)") {
  // A 2 x 2 square and a clear disc at its right edge, repeated 1.5 to the right: the first copy's square covers
  // nothing of the second.
  CHECK(
      difference(
          "%ADD10R,2X2*%%ADD11C,1*%%SRX2Y1I1.5J0*%D10*X0Y0D03*%LPC*%D11*X0Y0D03*%LPD*%%SR*%\n",
          "%ADD10R,2X2*%%ADD11C,1*%D10*X0Y0D03*%LPC*%D11*X0Y0D03*%LPD*%D10*X1500000Y0D03*%LPC*%D11*X1500000Y0D03*\n") <
      1e-6);
}

TEST_CASE("every macro primitive has its area, turned about the macro's origin (Gerber specification, 4.5.1)") {
  auto macro = [](const std::string& body, const std::string& parameters = "") {
    return painted("%AMM*" + body + "*%%ADD10M" + parameters + "*%D10*X0Y0D03*\n");
  };
  CHECK(macro("1,1,2,3,0,45") == Approx(kPi).epsilon(2e-3));
  CHECK(macro("20,1,0.5,0,0,3,4,0") == Approx(2.5));
  CHECK(macro("2,1,0.5,0,0,3,4,0") == Approx(2.5));  // the old code of the same
  CHECK(macro("21,1,3,2,1,1,30") == Approx(6));
  CHECK(macro("22,1,3,2,1,1,30") == Approx(6));
  CHECK(macro("4,1,3,0,0,4,0,0,3,0,0,15") == Approx(6));
  CHECK(macro("5,1,6,1,1,2,10") == Approx(1.5 * std::sqrt(3.0)).epsilon(1e-6));
  // Thermal: ring less four gaps; for a gap far smaller than the ring its cut is nearly gap x ring thickness.
  CHECK(macro("7,0,0,4,2,0.02,0") == Approx(kPi * 3 - 4 * 0.02 * 1).epsilon(3e-3));
  // Moire: two rings and a cross: outer 4 thick 0.2, gap 0.3: rings 4..3.6 and 3..2.6 in diameter; cross 0.1 x 5.
  const double rings = kPi / 4 * (16 - 12.96 + 9 - 6.76), cross = 2 * 0.5 - 0.01, shared = 4 * 0.1 * 0.4;
  CHECK(macro("6,0,0,4,0.2,0.3,2,0.1,5,0") == Approx(rings + cross - shared).epsilon(3e-3));
  CHECK(macro("1,1,$1,0,0*1,0,$2,0,0*$3=$1x2*1,1,$2/2,0,0", ",2X1") == Approx(kPi * (1 - 0.25 + 0.0625)).epsilon(3e-3));
}

TEST_CASE(
    "the deprecated image commands move, mirror, scale and turn the whole image (Gerber specification, 7, "
    "deprecated commands)") {
  const std::string square = "%ADD10R,2X1*%D10*X3000000Y1000000D03*\n";
  CHECK(difference("%OFA5B-2*%" + square, "%ADD10R,2X1*%D10*X8000000Y-1000000D03*\n") < 1e-6);
  CHECK(difference("%MIA1B0*%" + square, "%ADD10R,2X1*%D10*X-3000000Y1000000D03*\n") < 1e-6);
  CHECK(difference("%SFA2B2*%" + square, "%ADD10R,2X1*%D10*X6000000Y2000000D03*\n") < 1e-6);
  CHECK(difference("%IR90*%" + square, "%ADD10R,1X2*%D10*X-1000000Y3000000D03*\n") < 1e-6);
  CHECK(difference("%ASAYBX*%" + square, "%ADD10R,2X1*%D10*X1000000Y3000000D03*\n") < 1e-6);
  Diagnostics diagnostics;
  read("%IFother.gbr*%" + square, diagnostics);
  CHECK(diagnostics.failed());
}

TEST_CASE("a negative image is dark where nothing was drawn (Gerber specification, 7, IPNEG)") {
  Diagnostics diagnostics;
  const GerberFile f = read("%IPNEG*%%ADD10R,4X4*%%ADD11R,1X1*%D10*X0Y0D03*%LPC*%D11*X0Y0D03*\n", diagnostics);
  CHECK(composited_area(f).v == Approx(1));
}

TEST_CASE("quarter arcs of files that state no arc mode are quarter arcs (old plotters)") {
  Diagnostics diagnostics;
  const GerberFile f =
      read("%ADD10C,0.1*%D10*X1000000Y0D02*G03*X0Y1000000I1000000D01*X-1000000Y0J1000000D01*\n", diagnostics);
  CHECK(distance(f.centres.at(0), {0, 0}) < 1e-9);
  CHECK(distance(f.centres.at(1), {0, 0}) < 1e-9);
}

TEST_CASE(
    "attributes: escapes, several nets, user's own, deletion, regions from the dictionary (Gerber "
    "specification, 5)") {
  Diagnostics diagnostics;
  const GerberFile file = read(
      "%TA.AperFunction,Other,a\\u002cb*%%TAMine,7*%%ADD10C,1*%%TD*%%TO.N,A\\u0025B,C*%%TO.CVal,10k*%D10*X0Y0D03*%TD.N*"
      "%X0Y0D03*%TA.AperFunction,Conductor*%G36*X0Y0D02*G01*X2000000D01*Y1000000D01*X0Y0D01*G37*%TD*%X0Y0D03*\n",
      diagnostics);
  const auto& attributes = file.attributes[file.objects.at(0).attributes];
  CHECK(attributes.aper_function == "Other,a,b");
  CHECK(attributes.net == "A%B");
  REQUIRE(attributes.other_nets.size() == 1);
  CHECK(attributes.other_nets[0] == "C");
  CHECK(attributes.other(".CVal") == "10k");
  CHECK(attributes.other("Mine") == "7");
  CHECK_FALSE(file.attributes[file.objects.at(1).attributes].has_net);
  CHECK(file.attributes[file.objects.at(1).attributes].other(".CVal") == "10k");
  CHECK(file.attributes[file.objects.at(2).attributes].aper_function == "Conductor");
  CHECK(file.attributes[file.objects.at(3).attributes].other(".CVal").empty());
  CHECK(file.attributes[file.objects.at(3).attributes].other("Mine") == "7");  // attached when the aperture was defined
}

TEST_CASE("a component layer is a placement with heights (Gerber specification, 6, component information)") {
  Diagnostics diagnostics;
  const Placement placement = read_placement(
      "%FSLAX46Y46*%\n%MOMM*%\n%TF.FileFunction,Component,L4,Bot*%\n%TA.AperFunction,ComponentMain*%%ADD10C,0.3*%%TD*%"
      "\n%TO.C,U1*%%TO.CRot,-90*%%TO.CVal,MCU*%%TO.CHgt,1.25*%D10*X10000000Y-5000000D03*%TD*%\n%TA.AperFunction,"
      "ComponentOutline,Body*%%ADD11C,0.1*%%TD*%%TO.C,U1*%D11*X0Y0D02*X1000000D01*\nM02*\n",
      "c.gbr", diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  REQUIRE(placement.rows.size() == 1);
  CHECK(placement.rows[0].component == "U1");
  CHECK(placement.rows[0].x == Approx(10));
  CHECK(placement.rows[0].y == Approx(-5));
  CHECK(placement.rows[0].side == Side::bottom);
  CHECK(placement.rows[0].rotation.v == Approx(-90));
  CHECK(placement.rows[0].height->v == Approx(1.25));
}

TEST_CASE(
    "hostile files end in an error: tangled contours, far coordinates, nested blocks, endless brackets "
    "(constructed faults, one found by fuzzing)") {
  auto refused = [](const std::string& body, const char* code) {
    Diagnostics diagnostics;
    read(body, diagnostics);
    INFO(code);
    REQUIRE(diagnostics.failed());
    CHECK(std::any_of(diagnostics.all().begin(), diagnostics.all().end(),
                      [&](const Finding& f) { return f.code == code; }));
  };
  std::string star = "G36*X0Y0D02*G01*";
  for (int i = 1; i < 3001; ++i)
    star += "X" + std::to_string(i * 7919 % 3001 * 1000) + "Y" + std::to_string(i * 104729 % 3001 * 1000) + "D01*";
  refused(star + "X0Y0D01*G37*", "gerber-tangled-region");
  refused("%ADD10C,1*%D10*X99999999999999Y0D03*", "gerber-far-coordinate");
  refused("%ADD10C,1*%D10*X77777777777777777777777777Y0D03*", "gerber-bad-number");  // found by fuzzing
  std::string nest = "%ADD10C,1*%%ABD11*%D10*X0Y0D03*X1Y1D03*%AB*%";
  for (int i = 12; i < 40; ++i)
    nest += "%ABD" + std::to_string(i) + "*%D" + std::to_string(i - 1) + "*X0Y0D03*X1Y1D03*%AB*%";
  refused(nest, "gerber-too-large");
  std::string deep = "%ADD10C,1*%";
  for (int i = 11; i < 30; ++i) deep += "%ABD" + std::to_string(i) + "*%";
  refused(deep, "gerber-too-deep");
  std::string brackets = "%AMM*1,1," + std::string(10'000, '(') + "1" + std::string(10'000, ')') + ",0,0*%%ADD10M*%";
  refused(brackets, "gerber-bad-aperture");
}

TEST_CASE("incremental coordinates by G91 count from the last point (Gerber specification, 7, deprecated)") {
  Diagnostics diagnostics;
  const GerberFile f = read("%ADD10C,1*%D10*X1000000Y0D02*G91*X1000000Y0D01*X1000000Y0D01*\n", diagnostics);
  REQUIRE(f.objects.size() == 2);
  CHECK(f.objects[1].end.x == Approx(3));
}

TEST_CASE(
    "a quarter arc that rounding takes past 90 degrees keeps its centre (Gerber specification, 7, single "
    "quadrant)") {
  Diagnostics diagnostics;
  // From (0, 0) counter-clockwise about (-0.062, 0) inch to (-0.063, 0.063): one count beyond the quarter.
  const GerberFile f = read_gerber(
      "%FSLAX23Y23*%\n%MOIN*%\n%ADD10C,.01*%\nD10*\nG74*\nX0Y0D02*\nG03X-63Y63I62J0D01*\nM02*\n", "t", diagnostics);
  CHECK(f.centres.at(0).x == Approx(-0.062 * 25.4));
}

TEST_CASE(

    "a round pen along an arc covers its sector and a disc at either end, also where the pen covers the "
    "centre (Gerber specification, 4.7)") {
  // Quarter circle of radius 2, pen 1: quarter of the ring between 1.5 and 2.5, and two half discs.
  CHECK(painted("%ADD10C,1*%D10*G75*X2000000Y0D02*G03*X0Y2000000I-2000000J0D01*\n") ==
        Approx(kPi / 4 * (6.25 - 2.25) + kPi / 4).epsilon(2e-3));
  CHECK(painted("%ADD10C,1*%D10*G75*X0Y2000000D02*G02*X2000000Y0I0J-2000000D01*\n") ==
        Approx(kPi / 4 * (6.25 - 2.25) + kPi / 4).epsilon(2e-3));
  // Full circle of radius 0.3 by a pen of 1: a disc of radius 0.8.
  CHECK(painted("%ADD10C,1*%D10*G75*X300000Y0D02*G03*X300000Y0I-300000J0D01*\n") == Approx(kPi * 0.64).epsilon(2e-3));
  // Half circle of radius 0.3 by a pen of 1, against many discs along it.
  std::string discs = "%ADD10C,1*%D10*";
  for (int i = 0; i <= 400; ++i)
    discs += "X" + std::to_string(std::lround(300'000 * std::cos(kPi * i / 400))) + "Y" +
             std::to_string(std::lround(300'000 * std::sin(kPi * i / 400))) + "D03*";
  CHECK(difference("%ADD10C,1*%D10*G75*X300000Y0D02*G03*X-300000Y0I-300000J0D01*\n", discs + "\n") < 2e-3);
}

TEST_CASE("an aperture number that is given twice is told; the same once more is not (Gerber specification, 4.3)") {
  Diagnostics twice;
  read("%ADD10C,1*%\nD10*X0Y0D03*\n%ADD10C,3*%\nX5000000Y0D03*\n", twice);
  REQUIRE(twice.all().size() == 1);
  CHECK(twice.all()[0].code == "gerber-aperture-again");
  CHECK(twice.all()[0].found == "D10: 1 x 1 mm, then 3 x 3 mm");
  Diagnostics same;
  read("%ADD10C,1*%\nD10*X0Y0D03*\n%ADD10C,1*%\nX5000000Y0D03*\n", same);
  CHECK(same.all().empty());
}
