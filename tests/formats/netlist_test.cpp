// Columns: "IPC-D-356A netlist format", a public application note that describes the records.
#include <catch2/catch.hpp>

#include "teasel/formats/net_table.h"
#include "teasel/formats/netlist.h"

using namespace teasel;
using namespace teasel::formats;

namespace {
std::string padded(std::string s) {
  return s + std::string(80 - s.size(), ' ') + "\n";
}
Netlist read(const std::string& body, Diagnostics& diagnostics, const char* units = "CUST 0") {
  return read_netlist(padded(std::string("P  UNITS ") + units) + body + "999\n", "n.ipc", std::nullopt, diagnostics);
}
}  // namespace

TEST_CASE("a through-hole record: every field by its column (IPC-D-356A record 317)") {
  //                  1         2         3         4         5         6         7         8
  //         12345678901234567890123456789012345678901234567890123456789012345678901234567890
  const std::string r = "317GND_MAIN_12345   U12345-A12 MD0394PA00X+044500Y-040500X0630Y1102R090 S3      \n";
  REQUIRE(r.size() == 81);
  Diagnostics diagnostics;
  const Netlist n = read(r, diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  REQUIRE(n.records.size() == 1);
  const NetlistRecord& record = n.records[0];
  CHECK(record.kind == NetlistRecord::Kind::through);
  CHECK(record.net == "GND_MAIN_12345");
  CHECK(record.component == "U12345");
  CHECK(record.pin == "A12");
  CHECK(record.mid_point);
  CHECK(record.hole->v == Approx(0.0394 * 25.4));
  CHECK(record.plated);
  CHECK(record.access == 0);
  CHECK(record.at.x == Approx(4.45 * 25.4));
  CHECK(record.at.y == Approx(-4.05 * 25.4));
  CHECK(record.width->v == Approx(0.063 * 25.4));
  CHECK(record.height->v == Approx(0.1102 * 25.4));
  CHECK(record.rotation == Degrees{90});
  CHECK(record.mask_code == 3);
}

TEST_CASE("CUST 1 counts micrometres; an absent second size is a round land (IPC-D-356A)") {
  Diagnostics diagnostics;
  const Netlist netlist =
      read("327N1               R1    -1          A01X+012345Y+000500X1000Y    R000 S1      \n", diagnostics, "CUST 1");
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(netlist.records[0].at.x == Approx(12.345));
  CHECK(netlist.records[0].width->v == Approx(1.0));
  CHECK_FALSE(netlist.records[0].height.has_value());
  CHECK(netlist.records[0].access == 1);
}

TEST_CASE("net names that begin with a digit are split by column, not by blank (real writers)") {
  Diagnostics diagnostics;
  const Netlist n =
      read("3173.3VD_TRXFE      C4348 -1    D0120PA00X+001000Y+001000X0240Y0000R000 S3      \n", diagnostics);
  CHECK(n.records.at(0).net == "3.3VD_TRXFE");
}

TEST_CASE("a full component and pin field touch without a blank (real writers)") {
  Diagnostics diagnostics;
  const Netlist n =
      read("327N265305          R21296-1          A01X+001000Y+001000X0240Y0240R000 S1      \n", diagnostics);
  CHECK(n.records.at(0).component == "R21296");
  CHECK(n.records.at(0).pin == "1");
}

TEST_CASE("aliases in five dialects resolve to the long name (IPC-D-356A NNAME and writers)") {
  for (auto [line, field] : {std::pair{"P  NNAMEm0000 A_VERY_LONG_NET_NAME", "m0000"},
                             {"P  NNAME1     A_VERY_LONG_NET_NAME", "NNAME1"},
                             {"P  NNAME 001 A_VERY_LONG_NET_NAME", "001"},
                             {"C  NNAMEm0000 A_VERY_LONG_NET_NAME", "m0000"},
                             {"C  CAD Netname : A_VERY_LONG_NET_NAME --- IPC Netname : NNAME0028", "NNAME0028"}}) {
    Diagnostics diagnostics;
    std::string net = field;
    net.resize(14, ' ');
    const Netlist n = read(
        padded(line) + "327" + net + "   R1    -1          A01X+001000Y+001000X0240Y0240R000 S1      \n", diagnostics);
    INFO(line);
    CHECK(n.records.at(0).net == "A_VERY_LONG_NET_NAME");
  }
}

TEST_CASE("N/C and blank nets are points of their own; continuations inherit (IPC-D-356A)") {
  Diagnostics diagnostics;
  const Netlist netlist = read(
      "317N1               VIA         D    PA01X+001000Y+002000X0160Y0000R000 S1      \n"
      "017                                  PA08X+001000Y+002000X0150Y0000R000 S2      \n"
      "017                             D0070PA00X+001000Y+002000                       \n"
      "327N/C              U1    -4          A01X+003000Y+002000X0150Y0150R000 S1      \n"
      "327                 U1    -5          A01X+004000Y+002000X0150Y0150R000 S1      \n",
      diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  REQUIRE(netlist.records.size() == 5);
  CHECK(netlist.records[1].continuation);
  CHECK(netlist.records[1].net == "N1");
  CHECK(netlist.records[1].access == 8);
  CHECK(netlist.records[2].hole->v == Approx(0.007 * 25.4));
  CHECK(netlist.records[3].unconnected);
  CHECK(netlist.records[4].unconnected);
}

TEST_CASE("a blind via record holds its layer span in columns 75 to 80 (IPC-D-356A record 307)") {
  Diagnostics diagnostics;
  const Netlist n =
      read("307N1               VIA        MD0080PA10X+001000Y+002000               S0L07L10\n", diagnostics);
  REQUIRE(n.records.size() == 1);
  CHECK(n.records[0].kind == NetlistRecord::Kind::blind_via);
  CHECK(n.records[0].first_layer == 7);
  CHECK(n.records[0].last_layer == 10);
}

TEST_CASE("a letter in the wrong column fails by line and column, and nothing is guessed (constructed fault)") {
  Diagnostics diagnostics;
  read("327N1               R1    -1          A01 X+01000Y+001000X0240Y0240R000 S1      \n", diagnostics);
  REQUIRE(diagnostics.failed());
  CHECK(diagnostics.all()[0].place.line == 2);
  CHECK(diagnostics.all()[0].place.column == 42);
}

TEST_CASE("a file without its end record is taken as cut off (IPC-D-356A record 999)") {
  Diagnostics diagnostics;
  read_netlist("P  UNITS CUST 0\n327N1               R1    -1          A01X+001000Y+001000X0240Y0240R000 S1      \n",
               "n", std::nullopt, diagnostics);
  REQUIRE(diagnostics.failed());
  CHECK(diagnostics.all().back().code == "netlist-no-end");
}

TEST_CASE("two UNITS lines that disagree are refused (constructed fault)") {
  Diagnostics diagnostics;
  read(padded("P  UNITS CUST 1"), diagnostics);
  CHECK(diagnostics.failed());
}

TEST_CASE("a record that ends inside a coordinate is refused by line and column (found by fuzzing)") {
  Diagnostics diagnostics;
  read("317GND              VIA         D0394PA00X\n", diagnostics);
  REQUIRE(diagnostics.failed());
  CHECK(diagnostics.all()[0].place.line == 2);
  CHECK(diagnostics.all()[0].place.column == 42);
}

TEST_CASE("conductors: layer, width and polyline, continued and with the pen lifted (IPC-D-356A record 378)") {
  Diagnostics diagnostics;
  const Netlist netlist =
      read("378GND            L03 X150 X1000Y1000 X2000 Y2000* X5000Y5000 X6000\n078                   Y7000\n",
           diagnostics);
  for (const auto& x : diagnostics.all()) INFO(to_string(x));
  REQUIRE_FALSE(diagnostics.failed());
  REQUIRE(netlist.conductors.size() == 1);
  const NetlistConductor& conductor = netlist.conductors[0];
  CHECK(conductor.net == "GND");
  CHECK(conductor.layer == 3);
  CHECK(conductor.width.v == Approx(0.015 * 25.4));
  REQUIRE(conductor.strokes.size() == 2);
  CHECK(conductor.strokes[0].size() == 3);
  CHECK(conductor.strokes[0][2].y == Approx(5.08));
  REQUIRE(conductor.strokes[1].size() == 3);
  CHECK(conductor.strokes[1][2].x == Approx(0.6 * 25.4));
  CHECK(conductor.strokes[1][2].y == Approx(0.7 * 25.4));
}

TEST_CASE(
    "where records write NNAME1, a bare 1 is a net of that name; a bare alias that is also a net is refused (real "
    "writers)") {
  Diagnostics diagnostics;
  const Netlist netlist =
      read(padded("P  NNAME1     A_VERY_LONG_NET_NAME") +
               "327NNAME1           R1    -1          A01X+001000Y+001000X0240Y0240R000 S1      \n327"
               "1                R1    -2          A01X+002000Y+001000X0240Y0240R000 S1      \n",
           diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(netlist.records[0].net == "A_VERY_LONG_NET_NAME");
  CHECK(netlist.records[1].net == "1");
  Diagnostics of_twice;
  read(padded("P  NNAMEm0001 LONG_NAME_OF_A_NET") + padded("P  NNAMEm0002 m0001") +
           "327m0001            R1    -1          A01X+001000Y+001000X0240Y0240R000 S1      \n",
       of_twice);
  CHECK(of_twice.failed());
}

TEST_CASE("hole diameters in mils against the rule are noticed where every pad says so (one real writer)") {
  // A 0.024 inch hole in a 0.0396 inch pad, written D24 and X396.
  std::string records;
  for (int i = 1; i <= 4; ++i) {
    std::string row(80, ' ');
    auto put = [&](std::size_t column, const std::string& text) { row.replace(column - 1, text.size(), text); };
    put(1, "317N" + std::to_string(i));
    put(21, "J1");
    put(27, "-" + std::to_string(i));
    put(33, "D  24PA00");
    put(42, "X   " + std::to_string(i) + "000");
    put(50, "Y   1450");
    put(58, "X 396Y0000");
    records += row + "\n";
  }
  Diagnostics diagnostics;
  const Netlist netlist = read(records, diagnostics);
  for (const auto& x : diagnostics.all()) INFO(to_string(x));
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(netlist.holes_in_mils);
  CHECK(netlist.records[0].hole->v == Approx(0.024 * 25.4));
  CHECK(netlist.records[0].width->v == Approx(0.0396 * 25.4));
}

TEST_CASE("a table of pins with nets, places and sides is a netlist (forms seen in the field)") {
  const char* comma =
      "Net,Component,Pin,X (mm),Y (mm),Side,Drill\n"
      "GND,C1,1,1.5,-2.5,Top,\nGND,J1,2,10,20,Both,1.0\nVCC,C1,2,3,-2.5,Bottom,0\nN/C,U1,7,4,5,top,\n";
  const char* semicolon =
      "Einheit: mil\nNetzname;Pin;X;Y;Lage;Diameter\nGND;U1-3;1000;2000,5;Oben;40\nVCC;U1-4;1100;2000,5;Unten;40\n";
  Diagnostics diagnostics;
  REQUIRE(looks_like_netlist(comma));
  const Netlist list = read_netlist(comma, "n.csv", std::nullopt, diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  REQUIRE(list.records.size() == 4);
  CHECK(list.records[0].net == "GND");
  CHECK(list.records[0].component == "C1");
  CHECK(list.records[0].kind == NetlistRecord::Kind::surface);
  CHECK(list.records[0].access == 1);
  CHECK(list.records[0].at.point() == Point{1.5, -2.5});
  CHECK(list.records[1].kind == NetlistRecord::Kind::through);
  CHECK(list.records[1].hole == Mm{1.0});
  CHECK(list.records[2].access == 2);
  CHECK(list.records[2].line == 4);
  CHECK(list.records[3].unconnected);
  REQUIRE(looks_like_netlist(semicolon));
  const Netlist mil = read_netlist(semicolon, "n.csv", std::nullopt, diagnostics);
  REQUIRE(mil.records.size() == 2);
  CHECK(mil.records[0].component == "U1");
  CHECK(mil.records[0].pin == "3");
  CHECK(mil.records[0].at.point().x == Approx(25.4));
  CHECK(mil.records[0].at.point().y == Approx(50.8127));
  CHECK(mil.records[0].width->v == Approx(1.016));
  CHECK(mil.records[1].access == 2);
}

TEST_CASE("a table of nets without places, or without a unit, says what it lacks (by hand)") {
  const char* places = "Net,Component,Pin\nGND,C1,1\n";
  const char* unit = "Net,Component,Pin,X,Y,Side\nGND,C1,1,1.5,2.5,top\n";
  CHECK_FALSE(looks_like_netlist(places));
  CHECK(incomplete_net_table(places) == "a table of nets without x, y, side");
  CHECK_FALSE(looks_like_netlist(unit));
  CHECK(incomplete_net_table(unit) == "a table of nets without the unit of x and y");
  // The bench's own pad list, and lists that this program writes, are none.
  CHECK_FALSE(looks_like_netlist("pad,net,component,pin,x_mm,y_mm,side,width_mm\nP1,GND,C1,1,1,2,top,0.5\n"));
  CHECK_FALSE(looks_like_netlist("probe,net,role,side,component,pin,x_mm,y_mm\nP1,GND,ground,top,C1,1,1,2\n"));
  Diagnostics diagnostics;
  read_netlist("Net,Component,Pin,X (mm),Y (mm),Side\nGND,C1,1,1.5,zwei,top\nGND,C1,2,1,2,left\n", "n.csv",
               std::nullopt, diagnostics);
  REQUIRE(diagnostics.errors() == 2);
  CHECK(diagnostics.all()[0].place.line == 2);
  CHECK(diagnostics.all()[1].found == "left");
}
