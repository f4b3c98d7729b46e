// Facts: the XNC specification and the Excellon conventions; behaviour of real writers where they leave things open.
#include <catch2/catch.hpp>

#include "teasel/formats/drill.h"

using namespace teasel;
using namespace teasel::formats;

namespace {
std::vector<Hole> holes(const std::string& text, Diagnostics& diagnostics) {
  const DrillFile f = read_drill(text, "t.drl", diagnostics);
  return holes_of(f, f.format);
}
}  // namespace

TEST_CASE("metric, decimal points, tools and a G85 slot are read (XNC specification)") {
  Diagnostics diagnostics;
  const auto drilled = holes(
      "M48\n; #@! "
      "TF.FileFunction,NonPlated,1,4,NPTH\nMETRIC\nT1C0.800\nT2C3.2\n%\nG90\nG05\nT1\nX1.5Y-2.25\nT2\nX10.0Y0.0G85X12."
      "0Y0.0\nM30\n",
      diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  REQUIRE(drilled.size() == 2);
  CHECK(drilled[0].at.x == Approx(1.5));
  CHECK(drilled[0].at.y == Approx(-2.25));
  CHECK(drilled[0].diameter.v == Approx(0.8));
  CHECK(drilled[0].plating == Plating::unplated);
  CHECK(drilled[1].slot);
  CHECK(drilled[1].end.x == Approx(12));
}

TEST_CASE("LZ and TZ name the zeros that are kept (Excellon)") {
  Diagnostics diagnostics;
  // LZ: leading zeros kept, pad on the right. 2.4 inch: 01 -> 010000 = 1 inch.
  CHECK(holes("M48\nINCH,LZ\nT1C.01\n%\nT1\nX01Y005\nM30\n", diagnostics).at(0).at.x == Approx(25.4));
  // TZ: trailing zeros kept, pad on the left: 10000 = 1 inch.
  CHECK(holes("M48\nINCH,TZ\nT1C.01\n%\nT1\nX10000Y5000\nM30\n", diagnostics).at(0).at.x == Approx(25.4));
  CHECK_FALSE(diagnostics.failed());
}

TEST_CASE("a repeat adds holes stepped from the last one, the first not counted (Excellon R)") {
  Diagnostics diagnostics;
  const auto h = holes("M48\nMETRIC,TZ,000.000\nT1C.3\n%\nT1\nX1000Y1000\nR3X500\nY2000\nM30\n", diagnostics);
  REQUIRE(h.size() == 5);
  CHECK(h[3].at.x == Approx(2.5));
  CHECK(h[3].at.y == Approx(1));
  CHECK(h[4].at.y == Approx(2));
}

TEST_CASE("tool sizes and plating in comments, as one layout tool writes them (real file form)") {
  Diagnostics diagnostics;
  const auto drilled = holes(
      ";T01 Holesize 1. = 7.000000 Tolerance = +3.000000/-3.000000 PLATED MILS Quantity = 1\n;T02 Holesize 2. = "
      "125.000000 Tolerance = +3.0/-3.0 NON_PLATED MILS Quantity = "
      "1\n%\nG90\nT01\nX00100000Y00200000\nT02\nX00300000Y00200000\nM30\n",
      diagnostics);
  REQUIRE(drilled.size() == 2);
  CHECK(drilled[0].diameter.v == Approx(7 * 0.0254));
  CHECK(drilled[0].plating == Plating::plated);
  CHECK(drilled[1].plating == Plating::unplated);
}

TEST_CASE("a missing axis keeps its last value, a lone Y is a hole (Excellon)") {
  Diagnostics diagnostics;
  const auto h = holes("M48\nMETRIC\nT1C1\n%\nT1\nX1.0Y1.0\nY2.0\nX3.0\nM30\n", diagnostics);
  REQUIRE(h.size() == 3);
  CHECK(h[1].at.x == Approx(1));
  CHECK(h[2].at.y == Approx(2));
}

TEST_CASE("cut-off files, two units and a tool without diameter are refused (constructed faults)") {
  for (const char* text : {"M48\nMETRIC\nT1C1\n%\nT1\nX1.0Y1.0\n", "M48\nMETRIC\nINCH\nT1C1\n%\nT1\nX1.0Y1.0\nM30\n",
                           "M48\nMETRIC\n%\nT1\nX1.0Y1.0\nM30\n"}) {
    Diagnostics diagnostics;
    read_drill(text, "t", diagnostics);
    INFO(text);
    CHECK(diagnostics.failed());
  }
}

TEST_CASE("incremental input counts from the last place, G90 returns to absolute (Excellon ICI, G91)") {
  Diagnostics diagnostics;
  const auto drilled =
      holes("M48\nMETRIC\nICI,ON\nT1C1\n%\nT1\nX1.0Y1.0\nX2.0\nY-0.5\nG90\nX9.0Y9.0\nM30\n", diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  REQUIRE(drilled.size() == 4);
  CHECK(drilled[1].at.x == Approx(3));
  CHECK(drilled[1].at.y == Approx(1));
  CHECK(drilled[2].at.y == Approx(0.5));
  CHECK(drilled[3].at.x == Approx(9));
}

TEST_CASE(
    "routed arcs: by radius the minor arc, by offset about the centre; the path's length is the circle's (Excellon "
    "G02, G03)") {
  // A quarter circle of radius 10 from (0, 0) to (10, 10), counter-clockwise about (0, 10): length 5 pi.
  auto length = [](const std::string& arc) {
    Diagnostics diagnostics;
    double sum = 0;
    for (const Hole& h : holes("M48\nMETRIC\nT1C1\n%\nT1\nG00X0.0Y0.0\nM15\n" + arc + "\nM16\nM30\n", diagnostics)) {
      CHECK(h.routed);
      CHECK(distance(h.at, {0, 10}) == Approx(10).margin(1e-6));
      sum += distance(h.at, h.end);
    }
    CHECK_FALSE(diagnostics.failed());
    return sum;
  };
  CHECK(length("G03X10.0Y10.0A10.0") == Approx(5 * 3.14159265358979).epsilon(1e-4));
  CHECK(length("G03X10.0Y10.0I0.0J10.0") == Approx(5 * 3.14159265358979).epsilon(1e-4));
}

TEST_CASE("a pattern is drilled again at each step (Excellon M25, M01, M02, M08)") {
  Diagnostics diagnostics;
  const auto drilled = holes(
      "M48\nMETRIC\nT1C1\n%\nT1\nM25\nX1.0Y1.0\nX2.0Y1.0\nM01\nM02X10.0Y0.0\nM02X10.0Y0.0\nM08\nM30\n", diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  REQUIRE(drilled.size() == 6);
  CHECK(drilled[3].at.x == Approx(12));
  CHECK(drilled[5].at.x == Approx(22));
  CHECK(drilled[5].at.y == Approx(1));
}

TEST_CASE("a shifted zero moves what follows (Excellon G93)") {
  Diagnostics diagnostics;
  const auto h = holes("M48\nMETRIC\nT1C1\n%\nT1\nG93X5.0Y1.0\nX1.0Y1.0\nM30\n", diagnostics);
  REQUIRE(h.size() == 1);
  CHECK(h[0].at.x == Approx(6));
  CHECK(h[0].at.y == Approx(2));
}

TEST_CASE("tools changed by M00 where the program names none (real file form)") {
  Diagnostics diagnostics;
  const auto drilled = holes(
      ";Holesize 1. = 10.0 Tolerance = +0/-0 PLATED MILS Quantity = 1\n;Holesize 2. = 20.0 Tolerance = +0/-0 PLATED "
      "MILS Quantity = 1\n%\nG90\nX1.0Y1.0\nM00\nX2.0Y1.0\nM30\n",
      diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  REQUIRE(drilled.size() == 2);
  CHECK(drilled[0].diameter.v == Approx(0.254));
  CHECK(drilled[1].diameter.v == Approx(0.508));
}

TEST_CASE("side files: a layout tool's drill log and a drill report (real file forms)") {
  Diagnostics diagnostics;
  const std::string log =
      " NC DRILL Log\n FORMAT   3.5\n COORDINATES ABSOLUTE\n OUTPUT-UNITS  ENGLISH\n SUPPRESS-LEAD-ZEROES NO\n "
      "SUPPRESS-TRAIL-ZEROES NO\n         7.0000  P        T01            3.000000     3.000000\n        31.0000  N    "
      "    T11            5.000000     5.000000\n     T01    1.   7.0000    3.0000/  3.0000      PLATED       1441\n";
  REQUIRE(looks_like_drill_notes(log));
  const DrillNotes notes = read_drill_notes(log, "ncdrill.log", diagnostics);
  CHECK(notes.millimetres == false);
  CHECK(notes.integer_digits == 3);
  CHECK(notes.decimals == 5);
  REQUIRE(notes.tools.size() == 2);
  CHECK(notes.tools[0].diameter->v == Approx(0.1778));
  CHECK(notes.tools[0].stated_count == 1441);
  CHECK(notes.tools[1].plating == Plating::unplated);
  const std::string report =
      "Drill report for board\nDrill report for plated through holes :\nT1  0.25mm  0.010\"  (215 holes)\n\nDrill "
      "report for unplated through holes :\nT1  1.02mm  0.040\"  (8 holes)\n";
  REQUIRE(looks_like_drill_notes(report));
  const DrillNotes r = read_drill_notes(report, "drl.rpt", diagnostics);
  REQUIRE(r.tools.size() == 1);
  CHECK(r.tools[0].diameter->v == Approx(0.25));
  CHECK(r.tools[0].stated_count == 215);
}

TEST_CASE("holes given as a Gerber file: flashes are holes, strokes slots (Gerber specification 5.6.3)") {
  Diagnostics diagnostics;
  const DrillFile drill = read_drill(
      "%FSLAX46Y46*%\n%MOMM*%\n%TF.FileFunction,Plated,1,4,PTH*%\n%TA.AperFunction,ViaDrill*%\n%ADD10C,0.3*%\nD10*"
      "\nX1000000Y2000000D03*\nX5000000Y0D02*\nX6000000D01*\nM02*\n",
      "t", diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  const auto drilled = holes_of(drill, drill.format);
  REQUIRE(drilled.size() == 2);
  CHECK(drilled[0].at.y == Approx(2));
  CHECK(drilled[0].diameter.v == Approx(0.3));
  CHECK(drilled[0].plating == Plating::plated);
  CHECK(drilled[0].last_layer == 4);
  CHECK(drilled[1].slot);
}

TEST_CASE(
    "an attribute before a tool's definition is of that tool alone, not of tools selected later (X2 in drill files)") {
  Diagnostics diagnostics;
  const auto drilled = holes(
      "M48\nMETRIC\n; #@! TA.AperFunction,Plated,PTH,ViaDrill\nT1C0.3\n; #@! "
      "TA.AperFunction,NonPlated,NPTH,ComponentDrill\nT2C3.2\n%\nT1\nX1.0Y1.0\nT2\nX9.0Y9.0\nM30\n",
      diagnostics);
  REQUIRE(drilled.size() == 2);
  CHECK(drilled[0].plating == Plating::plated);
  CHECK(drilled[1].plating == Plating::unplated);
  CHECK(drilled[0].function == "ViaDrill");
}

TEST_CASE("a position may share its line with a code or a tool; programs without tools are read (real file forms)") {
  Diagnostics diagnostics;
  CHECK(holes("M48\nMETRIC\nT1C1\n%\nT1X1.0Y2.0\nG05X3.0Y4.0\nM30\n", diagnostics).size() == 2);
  CHECK(holes("M48\nMETRIC\n%\nG90\nG00X0Y0\nM30\n", diagnostics).empty());
  CHECK_FALSE(diagnostics.failed());
}
