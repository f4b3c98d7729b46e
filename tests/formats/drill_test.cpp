// Facts: the XNC specification and the Excellon conventions; behaviour of real writers where they leave things open.
#include <catch2/catch.hpp>

#include "teasel/formats/drill.h"

using namespace teasel;
using namespace teasel::formats;

namespace {
std::vector<Hole> holes(const std::string& text, Diagnostics& d) {
  const DrillFile f = read_drill(text, "t.drl", d);
  return holes_of(f, f.format);
}
}  // namespace

TEST_CASE("XNC: metric, decimal points, tools, a G85 slot") {
  Diagnostics d;
  const auto h = holes("M48\n; #@! TF.FileFunction,NonPlated,1,4,NPTH\nMETRIC\nT1C0.800\nT2C3.2\n%\nG90\nG05\nT1\nX1.5Y-2.25\nT2\nX10.0Y0.0G85X12.0Y0.0\nM30\n", d);
  REQUIRE_FALSE(d.failed());
  REQUIRE(h.size() == 2);
  CHECK(h[0].at.x == Approx(1.5));
  CHECK(h[0].at.y == Approx(-2.25));
  CHECK(h[0].diameter == Approx(0.8));
  CHECK(h[0].plating == Plating::unplated);
  CHECK(h[1].slot);
  CHECK(h[1].end.x == Approx(12));
}

TEST_CASE("LZ and TZ name the zeros that are kept (Excellon)") {
  Diagnostics d;
  // LZ: leading zeros kept, pad on the right. 2.4 inch: 01 -> 010000 = 1 inch.
  CHECK(holes("M48\nINCH,LZ\nT1C.01\n%\nT1\nX01Y005\nM30\n", d).at(0).at.x == Approx(25.4));
  // TZ: trailing zeros kept, pad on the left: 10000 = 1 inch.
  CHECK(holes("M48\nINCH,TZ\nT1C.01\n%\nT1\nX10000Y5000\nM30\n", d).at(0).at.x == Approx(25.4));
  CHECK_FALSE(d.failed());
}

TEST_CASE("a repeat adds holes stepped from the last one, the first not counted (Excellon R)") {
  Diagnostics d;
  const auto h = holes("M48\nMETRIC,TZ,000.000\nT1C.3\n%\nT1\nX1000Y1000\nR3X500\nY2000\nM30\n", d);
  REQUIRE(h.size() == 5);
  CHECK(h[3].at.x == Approx(2.5));
  CHECK(h[3].at.y == Approx(1));
  CHECK(h[4].at.y == Approx(2));
}

TEST_CASE("tool sizes and plating in comments, as one layout tool writes them (real file form)") {
  Diagnostics d;
  const auto h = holes(";T01 Holesize 1. = 7.000000 Tolerance = +3.000000/-3.000000 PLATED MILS Quantity = 1\n;T02 Holesize 2. = 125.000000 Tolerance = +3.0/-3.0 NON_PLATED MILS Quantity = 1\n%\nG90\nT01\nX00100000Y00200000\nT02\nX00300000Y00200000\nM30\n", d);
  REQUIRE(h.size() == 2);
  CHECK(h[0].diameter == Approx(7 * 0.0254));
  CHECK(h[0].plating == Plating::plated);
  CHECK(h[1].plating == Plating::unplated);
}

TEST_CASE("a missing axis keeps its last value, a lone Y is a hole (Excellon)") {
  Diagnostics d;
  const auto h = holes("M48\nMETRIC\nT1C1\n%\nT1\nX1.0Y1.0\nY2.0\nX3.0\nM30\n", d);
  REQUIRE(h.size() == 3);
  CHECK(h[1].at.x == Approx(1));
  CHECK(h[2].at.y == Approx(2));
}

TEST_CASE("cut-off files, two units, a tool without diameter and incremental input are refused") {
  for (const char* text : {"M48\nMETRIC\nT1C1\n%\nT1\nX1.0Y1.0\n", "M48\nMETRIC\nINCH\nT1C1\n%\nT1\nX1.0Y1.0\nM30\n", "M48\nMETRIC\n%\nT1\nX1.0Y1.0\nM30\n", "M48\nMETRIC\nICI,ON\nT1C1\n%\nT1\nX1.0Y1.0\nM30\n"}) {
    Diagnostics d;
    read_drill(text, "t", d);
    INFO(text);
    CHECK(d.failed());
  }
}
