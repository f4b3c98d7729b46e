// IDF 3.0: loops, units and the placement order by its published specification (revision 1, 1996); the order for bottom
// parts as measured on a real pair of IDF and netlist.
#include <catch2/catch.hpp>
#include <map>

#include "../real_boards.h"
#include "teasel/formats/bodies.h"
#include "teasel/formats/netlist.h"

using namespace teasel;
using namespace teasel::formats;

namespace {
constexpr double kPi = 3.14159265358979323846;
std::string board(const std::string& sections, const std::string& unit = "MM") {
  return ".HEADER\nBOARD_FILE 3.0 \"a writer\" 2020/01/01.00:00:00 1\nboard " + unit + "\n.END_HEADER\n" + sections;
}
std::string outline(const std::string& loops) {
  return ".BOARD_OUTLINE ECAD\n1.6\n" + loops + ".END_BOARD_OUTLINE\n";
}
const std::string kLibrary =
    ".HEADER\nLIBRARY_FILE 3.0 \"a writer\" 2020/01/01.00:00:00 1\n.END_HEADER\n.ELECTRICAL\nBOX \"PART A\" THOU "
    "100\n1 0 0 0\n1 0 100 0\n1 200 100 0\n1 200 0 0\n1 0 0 0\n.END_ELECTRICAL\n";
Mechanics read(const std::string& text, Diagnostics& diagnostics, const std::string& library = "") {
  return read_idf(text, "b.emn", library, "b.emp", diagnostics);
}
}  // namespace

TEST_CASE("loops of lines, arcs and circles enclose what geometry says (IDF 3.0, closed forms)") {
  struct Form {
    std::string loops;
    double area;
  };
  for (const Form& form :
       {Form{"0 0 0 0\n0 10 0 0\n0 10 10 0\n0 0 10 0\n0 0 0 0\n", 100},
        // A half circle bulging outward on the right, then one cut inward.
        Form{"0 0 0 0\n0 10 0 0\n0 10 10 180\n0 0 10 0\n0 0 0 0\n", 100 + kPi * 12.5},
        Form{"0 0 0 0\n0 10 0 0\n0 10 10 -180\n0 0 10 0\n0 0 0 0\n", 100 - kPi * 12.5},
        // Three quarters of a circle of radius r on a chord of r times root 2, away from the centre.
        Form{"0 0 0 0\n0 10 0 0\n0 10 10 270\n0 0 10 0\n0 0 0 0\n", 100 + 0.75 * kPi * 50 + 25},
        // 360: the point before is the centre.
        Form{"0 0 0 0\n0 3 0 360\n", kPi * 9},
        Form{"0 0 0 0\n0 10 0 0\n0 10 10 0\n0 0 10 0\n0 0 0 0\n1 5 5 0\n1 7 5 360\n", 100 - kPi * 4}}) {
    Diagnostics diagnostics;
    const Mechanics mechanics = read(board(outline(form.loops)), diagnostics);
    INFO(form.loops);
    REQUIRE_FALSE(diagnostics.failed());
    REQUIRE(mechanics.outline);
    CHECK(area(*mechanics.outline) == Approx(form.area).epsilon(2e-3));
    CHECK(mechanics.thickness->v == Approx(1.6));
  }
}

TEST_CASE(

    "a bottom part is turned as seen from its side, then mirrored, then moved; library entries keep their own "
    "unit (measured on a real IDF pair, hand sum)") {
  const std::string placement =
      ".PLACEMENT\nbox \"part a\" U1\n30 40 0.2 90 BOTTOM PLACED\nBOX \"PART A\" U2\n0 0 0 90 TOP MCAD\nBOX \"PART A\" "
      "U3\n0 0 0 0 TOP UNPLACED\nOTHER \"PART B\" U4\n1 1 0 0 TOP PLACED\nBOX \"PART A\" NOREFDES\n5 5 0 0 TOP "
      "PLACED\nBOX \"PART A\" U?\n6 6 0 0 TOP PLACED\nBOX \"PART A\" U?\n7 6 0 0 TOP PLACED\n.END_PLACEMENT\n";
  Diagnostics diagnostics;
  const Mechanics mechanics =
      read(board(outline("0 0 0 0\n0 99 0 0\n0 99 99 0\n0 0 99 0\n0 0 0 0\n") + placement), diagnostics, kLibrary);
  REQUIRE_FALSE(diagnostics.failed());
  REQUIRE(mechanics.bodies.size() == 6);  // U3 has no place
  // 5.08 x 2.54 mm: turned by 90 it spans x -2.54..0, y 0..5.08; mirrored x 0..2.54.
  const Box b = bounds(mechanics.bodies[0].outline);
  CHECK(b.x0 == Approx(30).margin(1e-5));
  CHECK(b.x1 == Approx(32.54));
  CHECK(b.y1 == Approx(45.08));
  CHECK(mechanics.bodies[0].side == Side::bottom);
  CHECK(mechanics.bodies[0].height->v == Approx(0.2 + 2.54));
  CHECK(bounds(mechanics.bodies[1].outline).x0 == Approx(-2.54));
  CHECK(mechanics.bodies[2].component == "U4");
  CHECK(mechanics.bodies[2].outline.empty());
  CHECK_FALSE(mechanics.bodies[2].height);
  CHECK(std::any_of(diagnostics.all().begin(), diagnostics.all().end(),
                    [](const Finding& f) { return f.code == "idf-no-library-entry"; }));
}

TEST_CASE("holes, keep-outs and other outlines are read with units, sides and heights (IDF 3.0, hand sum)") {
  Diagnostics diagnostics;
  const Mechanics mechanics =
      read(board(outline("0 0 0 0\n0 1000 0 0\n0 1000 1000 0\n0 0 1000 0\n0 0 0 0\n") +
                     ".DRILLED_HOLES\n125 100 100 NPTH BOARD MTG ECAD\n20 500 500 PTH U1 PIN ECAD\n.END_DRILLED_HOLES\n"
                     ".PLACE_KEEPOUT MCAD\nBOTTOM 80\n0 0 0 0\n0 100 0 360\n.END_PLACE_KEEPOUT\n# a "
                     "comment\n.VIA_KEEPOUT ECAD\n0 0 0 0\n0 100 0 360\n.END_VIA_KEEPOUT\n.OTHER_OUTLINE MCAD\nSINK "
                     "200 TOP\n0 0 0 0\n0 100 0 0\n0 100 100 0\n0 0 100 0\n0 0 0 0\n.END_OTHER_OUTLINE\n",
                 "THOU"),
           diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  REQUIRE(mechanics.holes.size() == 2);
  CHECK(mechanics.holes[0].diameter.v == Approx(3.175));
  CHECK(mechanics.holes[0].plating == Plating::unplated);
  CHECK(mechanics.holes[1].at.x == Approx(12.7));
  CHECK(mechanics.vias_left_out);
  REQUIRE(mechanics.areas.size() == 2);
  CHECK(mechanics.areas[0].kind == AreaRule::Kind::no_parts);
  CHECK(mechanics.areas[0].sides == Sides{Side::bottom});
  CHECK(mechanics.areas[0].height.v == Approx(2.032));
  REQUIRE(mechanics.bodies.size() == 1);
  CHECK(mechanics.bodies[0].height->v == Approx(5.08));
}

TEST_CASE("faults of an IDF file are named with their line (constructed faults)") {
  struct Fault {
    std::string text, code;
    std::uint32_t line;
  };
  for (const Fault& fault :
       {Fault{".HEADER\nBOARD_FILE 2.0 x y 1\nb MM\n.END_HEADER\n", "idf-version", 2},
        Fault{".HEADER\nPANEL_FILE 3.0 x y 1\nb MM\n.END_HEADER\n", "idf-panel", 1},
        Fault{".HEADER\nBOARD_FILE 3.0 x y 1\nb FEET\n.END_HEADER\n", "idf-units", 3},
        Fault{board(outline("0 0 0 0\n0 1 0 0\n0 1 1 0\n")), "idf-loop", 7},
        Fault{board(outline("0 0 0 0\n0 one 0 0\n0 0 0 0\n")), "idf-bad-number", 8},
        Fault{board(".PLACEMENT\nA B U1\n0 0 0 0 TOP PLACED\nA B U1\n0 0 0 0 TOP PLACED\n.END_PLACEMENT\n"),
              "idf-part-twice", 8},
        Fault{board(".PLACEMENT\nA B U1\n"), "idf-section", 6}}) {
    Diagnostics diagnostics;
    (void)read(fault.text, diagnostics);
    INFO(fault.code);
    REQUIRE(diagnostics.failed());
    CHECK(diagnostics.all()[0].code == fault.code);
    CHECK(diagnostics.all()[0].place.line == fault.line);
  }
}

TEST_CASE("bodies of a real IDF pair stand about the pads of its netlist, on both sides (two files of one release)",
          "[boards]") {
  const auto root = test::boards();
  if (root.empty() || !std::filesystem::is_directory(root / "oc-power-unit")) {
    WARN("skipped: no real boards here (set TEASEL_BOARDS)");
    return;
  }
  Diagnostics diagnostics;
  const Mechanics mechanics =
      read_idf(test::bytes_of(root / "oc-power-unit/Power_Source_Board_20180717.emn"), "emn",
               test::bytes_of(root / "oc-power-unit/Power_Source_Board_20180717.emp"), "emp", diagnostics);
  const Netlist n =
      read_netlist(test::bytes_of(root / "oc-power-unit/IPC NETLIST.IPC"), "ipc", std::nullopt, diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  std::map<std::string, std::vector<Point>> pads;
  for (const auto& r : n.records)
    if (!r.component.empty() && r.component != "VIA") pads[r.component].push_back(r.at.point());
  PerSide<std::size_t> parts, about;
  for (const auto& body : mechanics.bodies) {
    const auto it = pads.find(body.component);
    if (it == pads.end() || it->second.size() < 3 || body.outline.empty()) continue;
    ++parts[*body.side];
    // Real pads reach beyond real bodies by a millimetre at most; a part turned the wrong way leaves some far outside.
    about[*body.side] += std::all_of(it->second.begin(), it->second.end(),
                                     [&](Point p) { return distance_to_area(body.outline, p) < 1.0; });
  }
  for (const Side side : kBothSides) {
    INFO(to_string(side) << ": " << about[side] << " of " << parts[side]);
    CHECK(parts[side] > 30);
    CHECK(about[side] * 100 >= parts[side] * 97);
  }
}
