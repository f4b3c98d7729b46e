// Facts: Gerber Layer Format Specification, revision 2023.08, by the section named.
#include <catch2/catch.hpp>

#include "teasel/formats/gerber.h"

using namespace teasel;
using namespace teasel::formats;

namespace {
constexpr double kPi = 3.14159265358979323846;
GerberFile read(const std::string& body, Diagnostics& d) { return read_gerber("%FSLAX46Y46*%\n%MOMM*%\n" + body + "M02*\n", "t.gbr", d); }
double painted(const GerberFile& f) {
  Polygons image;
  for (const auto& o : f.objects) image = o.dark ? unite(image, area_of(f, o)) : subtract(image, area_of(f, o));
  return area(image);
}
double painted(const std::string& body) {
  Diagnostics d;
  const GerberFile f = read(body, d);
  for (const auto& x : d.all()) INFO(to_string(x));
  REQUIRE_FALSE(d.failed());
  return painted(f);
}
}  // namespace

TEST_CASE("standard apertures have their areas, holes taken out (4.4)") {
  CHECK(painted("%ADD10C,1*%D10*X0Y0D03*\n") == Approx(kPi / 4).epsilon(2e-3));
  CHECK(painted("%ADD10R,2X1*%D10*X0Y0D03*\n") == Approx(2));
  CHECK(painted("%ADD10O,2X1*%D10*X0Y0D03*\n") == Approx(1 + kPi / 4).epsilon(2e-3));
  CHECK(painted("%ADD10P,1X6*%D10*X0Y0D03*\n") == Approx(6 * 0.5 * 0.25 * std::sin(kPi / 3)).epsilon(1e-6));
  CHECK(painted("%ADD10R,2X1X0.5*%D10*X0Y0D03*\n") == Approx(2 - kPi / 16).epsilon(2e-3));
}

TEST_CASE("a macro's rotation turns about the macro origin, not about the primitive (4.5)") {
  Diagnostics d;
  // A 2 x 0.5 centre line at (3, 0), turned by 90 degrees: it must stand at (0, 3).
  const GerberFile f = read("%AMX*21,1,2,0.5,3,0,90*%%ADD10X*%D10*X0Y0D03*\n", d);
  const Box b = bounds(area_of(f, f.objects.at(0)));
  CHECK(b.x0 == Approx(-0.25).margin(1e-5));
  CHECK(b.y0 == Approx(2).margin(1e-5));
  CHECK(b.y1 == Approx(4).margin(1e-5));
}

TEST_CASE("macro expressions and exposure off (4.5)") {
  CHECK(painted("%AMB*$3=$1x2+1-(1/2)*1,1,$3,0,0*1,0,$2,0,0*%%ADD10B,1X1*%D10*X0Y0D03*\n") == Approx(kPi / 4 * (2.5 * 2.5 - 1)).epsilon(2e-3));
}

TEST_CASE("a stroke is the sweep of its aperture (4.7, 4.8)") {
  CHECK(painted("%ADD10C,1*%D10*X0Y0D02*X3000000D01*\n") == Approx(3 + kPi / 4).epsilon(2e-3));
  CHECK(painted("%ADD10R,1X1*%D10*X0Y0D02*X3000000D01*\n") == Approx(4));
}

TEST_CASE("a full circle in multi quadrant mode: start equals end (4.7)") {
  CHECK(painted("%ADD10C,0.1*%D10*G75*X1000000Y0D02*G03*X1000000Y0I-1000000J0D01*\n") == Approx(2 * kPi * 0.1).epsilon(2e-3));
}

TEST_CASE("a quarter arc in the deprecated single quadrant mode picks the fitting centre (7)") {
  Diagnostics d;
  // From (1, 0) counter-clockwise to (0, 1): of the centres (1 +- 1, 0) only (0, 0) fits.
  const GerberFile f = read("%ADD10C,0.1*%D10*G74*X1000000Y0D02*G03*X0Y1000000I1000000J0D01*\n", d);
  CHECK(f.centres.at(0).x == Approx(0).margin(1e-9));
  CHECK(f.centres.at(0).y == Approx(0).margin(1e-9));
}

TEST_CASE("later clear polarity removes, and later dark paints over it (2.1)") {
  CHECK(painted("%ADD10R,4X4*%%ADD11R,2X2*%%ADD12R,1X1*%D10*X0Y0D03*%LPC*%D11*X0Y0D03*%LPD*%D12*X0Y0D03*\n") == Approx(16 - 4 + 1));
}

TEST_CASE("region contours are filled each and united; arcs included (4.10)") {
  CHECK(painted("G36*X0Y0D02*G01*X2000000D01*Y2000000D01*X0D01*Y0D01*X1000000Y1000000D02*X3000000D01*Y3000000D01*X1000000D01*Y1000000D01*G37*\n") == Approx(7));
  CHECK(painted("G75*G36*X1000000Y0D02*G03*X1000000Y0I-1000000J0D01*G37*\n") == Approx(kPi).epsilon(2e-3));
}

TEST_CASE("step and repeat copies, mirror and rotation act on flashes (4.9, 4.11)") {
  CHECK(painted("%ADD10R,1X1*%%SRX3Y2I2J2*%D10*X0Y0D03*%SR*%\n") == Approx(6));
  Diagnostics d;
  const GerberFile f = read("%ADD10R,2X1*%%LR90*%D10*X0Y0D03*\n", d);
  CHECK(box_of(f, f.objects.at(0)).width() == Approx(1).margin(1e-9));
  CHECK(painted("%ABD11*%%ADD10R,1X1*%D10*X0Y0D03*X2000000D03*%AB*%D11*X0Y0D03*X0Y5000000D03*\n") == Approx(4));
}

TEST_CASE("attributes reach objects, also when written as comments (5)") {
  Diagnostics d;
  const GerberFile f = read("G04 #@! TF.FileFunction,Copper,L1,Top*\n%TA.AperFunction,TestPad*%%ADD10C,1*%%TD*%%TO.N,SWCLK*%%TO.P,TP3,1*%D10*X0Y0D03*%TD*%X5Y5D03*\n", d);
  CHECK(f.file_attribute(".FileFunction") == "Copper,L1,Top");
  const auto& a = f.attributes[f.objects.at(0).attributes];
  CHECK(a.aper_function == "TestPad");
  CHECK(a.net == "SWCLK");
  CHECK(a.component == "TP3");
  CHECK_FALSE(f.attributes[f.objects.at(1).attributes].has_net);
}

TEST_CASE("omitted zeros: leading by default, trailing in old files (4.1)") {
  Diagnostics d;
  const GerberFile f = read_gerber("%FSTAX24Y24*%\n%MOIN*%\n%ADD10C,.01*%\nD10*\nX01Y002D03*\nM02*\n", "t", d);
  REQUIRE_FALSE(d.failed());
  CHECK(f.objects.at(0).start.x == Approx(25.4));   // 01 -> 010000 = 1 inch
  CHECK(f.objects.at(0).start.y == Approx(2.54 * 2));  // 002 -> 002000 = 0.2 inch
}

TEST_CASE("a file that is cut off, lacks its unit or uses an undefined aperture is refused") {
  Diagnostics d;
  read_gerber("%FSLAX46Y46*%\n%MOMM*%\n%ADD10C,1*%\nD10*\nX0Y0D03*\n", "t", d);
  CHECK(d.all().back().code == "gerber-no-end");
  Diagnostics e;
  read_gerber("%FSLAX46Y46*%\n%ADD10C,1*%\nD10*\nX0Y0D03*\nM02*\n", "t", e);
  CHECK(e.all().back().code == "gerber-no-unit");
  Diagnostics g;
  read("%ADD10C,1*%D10*D99*X0Y0D03*\n", g);
  CHECK(g.all().back().code == "gerber-undefined-aperture");
}

TEST_CASE("hostile repeats end in an error, not in memory") {
  Diagnostics d;
  read("%ADD10C,1*%%SRX100000Y100000I1J1*%D10*X0Y0D03*%SR*%\n", d);
  CHECK(d.failed());
}
