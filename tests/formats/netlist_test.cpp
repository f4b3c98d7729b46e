// Columns: "IPC-D-356A netlist format", a public application note that describes the records.
#include <catch2/catch.hpp>

#include "teasel/formats/netlist.h"

using namespace teasel;
using namespace teasel::formats;

namespace {
std::string padded(std::string s) {
  return s + std::string(80 - s.size(), ' ') + "\n";
}
Netlist read(const std::string& body, Diagnostics& d, const char* units = "CUST 0") {
  return read_netlist(padded(std::string("P  UNITS ") + units) + body + "999\n", "n.ipc", std::nullopt, d);
}
}  // namespace

TEST_CASE("a through-hole record: every field by its column (IPC-D-356A record 317)") {
  //                  1         2         3         4         5         6         7         8
  //         12345678901234567890123456789012345678901234567890123456789012345678901234567890
  const std::string r = "317GND_MAIN_12345   U12345-A12 MD0394PA00X+044500Y-040500X0630Y1102R090 S3      \n";
  REQUIRE(r.size() == 81);
  Diagnostics d;
  const Netlist n = read(r, d);
  REQUIRE_FALSE(d.failed());
  REQUIRE(n.records.size() == 1);
  const NetlistRecord& f = n.records[0];
  CHECK(f.kind == NetlistRecord::Kind::through);
  CHECK(f.net == "GND_MAIN_12345");
  CHECK(f.component == "U12345");
  CHECK(f.pin == "A12");
  CHECK(f.mid_point);
  CHECK(f.hole->v == Approx(0.0394 * 25.4));
  CHECK(f.plated);
  CHECK(f.access == 0);
  CHECK(f.at.x == Approx(4.45 * 25.4));
  CHECK(f.at.y == Approx(-4.05 * 25.4));
  CHECK(f.width->v == Approx(0.063 * 25.4));
  CHECK(f.height->v == Approx(0.1102 * 25.4));
  CHECK(f.rotation == Degrees{90});
  CHECK(f.mask_code == 3);
}

TEST_CASE("CUST 1 counts micrometres; an absent second size is a round land (IPC-D-356A)") {
  Diagnostics d;
  const Netlist n =
      read("327N1               R1    -1          A01X+012345Y+000500X1000Y    R000 S1      \n", d, "CUST 1");
  REQUIRE_FALSE(d.failed());
  CHECK(n.records[0].at.x == Approx(12.345));
  CHECK(n.records[0].width->v == Approx(1.0));
  CHECK_FALSE(n.records[0].height.has_value());
  CHECK(n.records[0].access == 1);
}

TEST_CASE("net names that begin with a digit are split by column, not by blank (real writers)") {
  Diagnostics d;
  const Netlist n = read("3173.3VD_TRXFE      C4348 -1    D0120PA00X+001000Y+001000X0240Y0000R000 S3      \n", d);
  CHECK(n.records.at(0).net == "3.3VD_TRXFE");
}

TEST_CASE("a full component and pin field touch without a blank (real writers)") {
  Diagnostics d;
  const Netlist n = read("327N265305          R21296-1          A01X+001000Y+001000X0240Y0240R000 S1      \n", d);
  CHECK(n.records.at(0).component == "R21296");
  CHECK(n.records.at(0).pin == "1");
}

TEST_CASE("aliases in four dialects resolve to the long name (IPC-D-356A NNAME and writers)") {
  for (auto [line, field] : {std::pair{"P  NNAMEm0000 A_VERY_LONG_NET_NAME", "m0000"},
                             {"P  NNAME1     A_VERY_LONG_NET_NAME", "NNAME1"},
                             {"P  NNAME 001 A_VERY_LONG_NET_NAME", "001"},
                             {"C  NNAMEm0000 A_VERY_LONG_NET_NAME", "m0000"}}) {
    Diagnostics d;
    std::string net = field;
    net.resize(14, ' ');
    const Netlist n =
        read(padded(line) + "327" + net + "   R1    -1          A01X+001000Y+001000X0240Y0240R000 S1      \n", d);
    INFO(line);
    CHECK(n.records.at(0).net == "A_VERY_LONG_NET_NAME");
  }
}

TEST_CASE("N/C and blank nets are points of their own; continuations inherit (IPC-D-356A)") {
  Diagnostics d;
  const Netlist n = read(
      "317N1               VIA         D    PA01X+001000Y+002000X0160Y0000R000 S1      \n"
      "017                                  PA08X+001000Y+002000X0150Y0000R000 S2      \n"
      "017                             D0070PA00X+001000Y+002000                       \n"
      "327N/C              U1    -4          A01X+003000Y+002000X0150Y0150R000 S1      \n"
      "327                 U1    -5          A01X+004000Y+002000X0150Y0150R000 S1      \n",
      d);
  REQUIRE_FALSE(d.failed());
  REQUIRE(n.records.size() == 5);
  CHECK(n.records[1].continuation);
  CHECK(n.records[1].net == "N1");
  CHECK(n.records[1].access == 8);
  CHECK(n.records[2].hole->v == Approx(0.007 * 25.4));
  CHECK(n.records[3].unconnected);
  CHECK(n.records[4].unconnected);
}

TEST_CASE("a blind via record holds its layer span in columns 75 to 80 (IPC-D-356A record 307)") {
  Diagnostics d;
  const Netlist n = read("307N1               VIA        MD0080PA10X+001000Y+002000               S0L07L10\n", d);
  REQUIRE(n.records.size() == 1);
  CHECK(n.records[0].kind == NetlistRecord::Kind::blind_via);
  CHECK(n.records[0].first_layer == 7);
  CHECK(n.records[0].last_layer == 10);
}

TEST_CASE("a letter in the wrong column fails by line and column, and nothing is guessed (constructed fault)") {
  Diagnostics d;
  read("327N1               R1    -1          A01 X+01000Y+001000X0240Y0240R000 S1      \n", d);
  REQUIRE(d.failed());
  CHECK(d.all()[0].place.line == 2);
  CHECK(d.all()[0].place.column == 42);
}

TEST_CASE("a file without its end record is taken as cut off (IPC-D-356A record 999)") {
  Diagnostics d;
  read_netlist("P  UNITS CUST 0\n327N1               R1    -1          A01X+001000Y+001000X0240Y0240R000 S1      \n",
               "n", std::nullopt, d);
  REQUIRE(d.failed());
  CHECK(d.all().back().code == "netlist-no-end");
}

TEST_CASE("two UNITS lines that disagree are refused (constructed fault)") {
  Diagnostics d;
  read(padded("P  UNITS CUST 1"), d);
  CHECK(d.failed());
}

TEST_CASE("a record that ends inside a coordinate is refused by line and column (found by fuzzing)") {
  Diagnostics d;
  read("317GND              VIA         D0394PA00X\n", d);
  REQUIRE(d.failed());
  CHECK(d.all()[0].place.line == 2);
  CHECK(d.all()[0].place.column == 42);
}

TEST_CASE("conductors: layer, width and polyline, continued and with the pen lifted (IPC-D-356A record 378)") {
  Diagnostics d;
  const Netlist n =
      read("378GND            L03 X150 X1000Y1000 X2000 Y2000* X5000Y5000 X6000\n078                   Y7000\n", d);
  for (const auto& x : d.all()) INFO(to_string(x));
  REQUIRE_FALSE(d.failed());
  REQUIRE(n.conductors.size() == 1);
  const NetlistConductor& c = n.conductors[0];
  CHECK(c.net == "GND");
  CHECK(c.layer == 3);
  CHECK(c.width.v == Approx(0.015 * 25.4));
  REQUIRE(c.strokes.size() == 2);
  CHECK(c.strokes[0].size() == 3);
  CHECK(c.strokes[0][2].y == Approx(5.08));
  REQUIRE(c.strokes[1].size() == 3);
  CHECK(c.strokes[1][2].x == Approx(0.6 * 25.4));
  CHECK(c.strokes[1][2].y == Approx(0.7 * 25.4));
}

TEST_CASE(
    "where records write NNAME1, a bare 1 is a net of that name; a bare alias that is also a net is refused (real "
    "writers)") {
  Diagnostics d;
  const Netlist n = read(padded("P  NNAME1     A_VERY_LONG_NET_NAME") +
                             "327NNAME1           R1    -1          A01X+001000Y+001000X0240Y0240R000 S1      \n327"
                             "1                R1    -2          A01X+002000Y+001000X0240Y0240R000 S1      \n",
                         d);
  REQUIRE_FALSE(d.failed());
  CHECK(n.records[0].net == "A_VERY_LONG_NET_NAME");
  CHECK(n.records[1].net == "1");
  Diagnostics e;
  read(padded("P  NNAMEm0001 LONG_NAME_OF_A_NET") + padded("P  NNAMEm0002 m0001") +
           "327m0001            R1    -1          A01X+001000Y+001000X0240Y0240R000 S1      \n",
       e);
  CHECK(e.failed());
}

TEST_CASE("hole diameters in mils against the rule are noticed where every pad says so (one real writer)") {
  // A 0.024 inch hole in a 0.0396 inch pad, written D24 and X396.
  std::string records;
  for (int i = 1; i <= 4; ++i) {
    std::string r(80, ' ');
    auto put = [&](std::size_t column, const std::string& text) { r.replace(column - 1, text.size(), text); };
    put(1, "317N" + std::to_string(i));
    put(21, "J1");
    put(27, "-" + std::to_string(i));
    put(33, "D  24PA00");
    put(42, "X   " + std::to_string(i) + "000");
    put(50, "Y   1450");
    put(58, "X 396Y0000");
    records += r + "\n";
  }
  Diagnostics d;
  const Netlist n = read(records, d);
  for (const auto& x : d.all()) INFO(to_string(x));
  REQUIRE_FALSE(d.failed());
  CHECK(n.holes_in_mils);
  CHECK(n.records[0].hole->v == Approx(0.024 * 25.4));
  CHECK(n.records[0].width->v == Approx(0.0396 * 25.4));
}
