#include <catch2/catch.hpp>
#include <cmath>
#include <map>

#include "teasel/formats/bench.h"
#include "teasel/formats/tables.h"

using namespace teasel;
using namespace teasel::formats;

TEST_CASE("placement tables of several writers are read by their headers (forms seen in the field)") {
  struct Form {
    const char* text;
    double x;
    std::optional<Side> side;
    bool unit;
  };
  for (const Form& form :
       {Form{"Ref,Val,Package,PosX,PosY,Rot,Side\n\"C1\",\"100n\",\"0603\",10.5,-2.25,90.0,bottom\n", 10.5,
             Side::bottom, false},
        Form{"\xEF\xBB\xBF"
             "Designator,Mid X,Mid Y,Rotation,Layer\r\nC1,10.5,-2.25,90,top\r\n",
             10.5, Side::top, false},
        Form{"\"Designator\",\"Footprint\",\"Mid X\",\"Mid Y\",\"Ref X\",\"Ref "
             "Y\",\"Layer\",\"Rotation\"\n\"C1\",\"0603\",\"100mil\",\"-2.25mm\",\"0mm\",\"0mm\",\"B\",\"90\"\n",
             2.54, Side::bottom, true},
        Form{"### Module positions ###\n## Unit = inches, Angle = deg.\n## Side : top\n# Ref Val Package PosX PosY Rot "
             "Side\nC1 100n 0603 1.0 -2.0 90.0 top\n## End\n",
             25.4, Side::top, true},
        Form{"Ref;Val;PosX;PosY;Rot;Side\nC1;1,5k;10,5;-2,25;90,0;top\n", 10.5, Side::top, false}}) {
    INFO(form.text);
    Diagnostics diagnostics;
    REQUIRE(looks_like_placement(form.text));
    const Placement placement = read_placement(form.text, "p", diagnostics);
    REQUIRE_FALSE(diagnostics.failed());
    REQUIRE(placement.rows.size() == 1);
    CHECK(placement.rows[0].component == "C1");
    CHECK(placement.rows[0].x == Approx(form.x));
    CHECK(placement.rows[0].side == form.side);
    CHECK(placement.has_unit == form.unit);
  }
}

TEST_CASE("placement tables with other headers, German ones and none are read (forms seen in the field)") {
  struct Form {
    const char* text;
    double x, y, turn;
    std::optional<Side> side;
    bool unit;
  };
  const char* none =
      "C1 10.5 -2.25 90 100n 0603\nC2 1 2 0 100n 0603\nR1 3 4 180 1k 0603\nR2 5 6 0 1k 0603\nU1 7 8 270 IC SO8\n";
  const char* commas =
      "C1,10.5,-2.25,90,100n,0603\nC2,1,2,0,100n,0603\nR1,3,4,180,1k,0603\nR2,5,6,0,1k,0603\nU1,7,8,270,IC,SO8\n";
  const char* semicolons = "C1;10.5;-2.25;90;100n\nC2;1;2;0;100n\nR1;3;4;180;1k\nR2;5;6;0;1k\nU1;7;8;270;IC\n";
  for (const Form& form :
       {Form{"Bauteil;Wert;X-Position (mm);Y-Position (mm);Drehung;Seite\nC1;100n;10,5;-2,25;90,0;Oben\n", 10.5, -2.25,
             90, Side::top, true},
        // The same in an old eight-bit code.
        Form{"Bezeichner;Geh\xE4use;X;Y;Winkel;Best\xFC"
             "ckungsseite\r\nC1;0603;10,5;-2,25;90;L\xF6tseite\r\n",
             10.5, -2.25, 90, Side::bottom, false},
        Form{"component,x_mm,y_mm,rotation,side\nC1,10.5,-2.25,90,bottom\n", 10.5, -2.25, 90, Side::bottom, true},
        Form{"RefDes\tLayer\tLocationX\tLocationY\tRotation\nC1\tTop\t10.5\t-2.25\t90\n", 10.5, -2.25, 90, Side::top,
             false},
        Form{"Units = mil\nDesignator,X Coordinate,Y Coordinate,Orientation,Side\nC1,1000,-500,90,T\n", 25.4, -12.7, 90,
             Side::top, true},
        Form{"## Einheit: mm\n# Ref    Wert  X     Y      Drehung Seite\nC1     100n  10.5  -2.25  90      unten\n",
             10.5, -2.25, 90, Side::bottom, true},
        Form{none, 10.5, -2.25, 90, std::nullopt, false}, Form{commas, 10.5, -2.25, 90, std::nullopt, false},
        Form{semicolons, 10.5, -2.25, 90, std::nullopt, false}}) {
    INFO(form.text);
    Diagnostics diagnostics;
    REQUIRE(looks_like_placement(form.text));
    const Placement placement = read_placement(form.text, "p", diagnostics);
    REQUIRE_FALSE(diagnostics.failed());
    REQUIRE_FALSE(placement.rows.empty());
    CHECK(placement.rows[0].component == "C1");
    CHECK(placement.rows[0].x == Approx(form.x));
    CHECK(placement.rows[0].y == Approx(form.y));
    CHECK(placement.rows[0].rotation.v == Approx(form.turn));
    CHECK(placement.rows[0].side == form.side);
    CHECK(placement.has_unit == form.unit);
  }
  // Files of one side say so by their names.
  Diagnostics diagnostics;
  CHECK(read_placement(none, "board.mnt", diagnostics).rows[0].side == Side::top);
  CHECK(read_placement(none, "board.mnb", diagnostics).rows[0].side == Side::bottom);
  // Places of pins and probes are none of parts.
  CHECK_FALSE(looks_like_placement("probe,net,side,component,pin,x_mm,y_mm\nP1,GND,top,C1,2,10,20\n"));
}

TEST_CASE("bills of materials with German headers are read (by hand)") {
  const char* text =
      "St\xC3\xBC"
      "ckliste Rev. B\nMenge;Bezeichner;Wert;Geh\xC3\xA4use;Best\xC3\xBC"
      "ckt\n2;C1, C2;100n;0603;ja\n"
      "1;R1;1k;0603;nein\n";
  REQUIRE(looks_like_bom(text));
  Diagnostics diagnostics;
  const BomTable bom = read_bom(text, "b", diagnostics);
  REQUIRE(bom.rows.size() == 3);
  CHECK(bom.rows[1].component == "C2");
  CHECK(bom.rows[1].value == "100n");
  CHECK(bom.rows[1].fitted == std::vector<std::optional<bool>>{true});
  CHECK(bom.rows[2].fitted == std::vector<std::optional<bool>>{false});
}

TEST_CASE("a pad list names each fault with its line (constructed faults)") {
  Diagnostics diagnostics;
  const auto rows =
      read_pad_list("pad,net,side,x_mm,y_mm,width_mm\nP1,GND,top,1,2,1.0\nP2,VCC,top,abc,2,1.0\nP3,VCC,left,1,2,1.0\n",
                    "pads.csv", diagnostics);
  CHECK(rows.size() == 1);
  REQUIRE(diagnostics.errors() == 2);
  CHECK(diagnostics.all()[0].place.line == 3);
  CHECK(diagnostics.all()[1].place.line == 4);
}

TEST_CASE("quoted fields hold separators and line ends (RFC 4180)") {
  Diagnostics diagnostics;
  const auto t = read_table("component,height_mm\n\"U,1\",\"2.5\"\n\"U\n2\",3\n", "h", {"component", "heightmm"}, 2);
  REQUIRE(t);
  CHECK(t->rows[0][0] == "U,1");
  CHECK(t->rows[1][0] == "U\n2");
}

TEST_CASE("tables come as HTML, in UTF-16, in fixed columns, without a header (forms seen in the field)") {
  std::string wide = "\xFF\xFE";
  for (char c : std::string("Designator,Mid X,Mid Y,Rotation,Layer\r\nC1,10.5,-2.25,90,bottom\r\n")) {
    wide += c;
    wide += '\0';
  }
  struct Form {
    std::string text;
    double x, y;
    std::optional<Side> side;
    std::string package;
  };
  for (const Form& form :
       {Form{"<html><body><table><tr><td><b>REFDES</b></td><td>SYM_NAME</td><td>SYM_X</td><td>SYM_Y</"
             "td><td>SYM_ROTATE</td><td>SYM_MIRROR</td></tr>\n<tr><td nowrap=true>C1</td><td>R&amp;C&nbsp;8</td><td "
             "align=right>10.5</td><td>-2.25</td><td>90</td><td>YES</td></tr></table></html>",
             10.5, -2.25, Side::bottom, "R&C 8"},
        Form{wide, 10.5, -2.25, Side::bottom, ""},
        Form{"Units used: mil\n\nDesignator Comment     Layer       Footprint  Center-X(mil) Center-Y(mil) "
             "Rotation\nC1         \"100 nF\"    BottomLayer 0603       1000.0        -200.0        90\n",
             25.4, -5.08, Side::bottom, "0603"},
        Form{"UUNITS = MICRONS\nC1 10500.0 -2250.0 90 CASE A\nC2 1 1 0 X\nC3 1 1 0 X\nC4 1 1 0 X\nC5 1 1 0 X\n", 10.5,
             -2.25, std::nullopt, "CASE A"}}) {
    INFO(form.text);
    Diagnostics diagnostics;
    REQUIRE(looks_like_placement(form.text));
    const Placement placement = read_placement(form.text, "p", diagnostics);
    REQUIRE_FALSE(diagnostics.failed());
    REQUIRE_FALSE(placement.rows.empty());
    CHECK(placement.rows[0].component == "C1");
    CHECK(placement.rows[0].x == Approx(form.x));
    CHECK(placement.rows[0].y == Approx(form.y));
    CHECK(placement.rows[0].side == form.side);
    CHECK(placement.rows[0].package == form.package);
  }
}

TEST_CASE(
    "a bill of materials says what is fitted: by its own column, by variant, by being listed (forms seen in the "
    "field)") {
  const auto fitted = [](const BomTable& bom, const std::string& name, std::size_t column = 0) {
    for (const auto& row : bom.rows)
      if (row.component == name) return row.fitted.at(column);
    return std::optional<bool>();
  };
  Diagnostics diagnostics;
  const BomTable dnp =
      read_bom("Reference,Value,Qty,DNP\n\"R1, R3-R5\",10k,4,\nR2,10k,1,DNP\nJ1,socket,1,x\n", "b", diagnostics);
  CHECK(dnp.fitted_column == "DNP");
  CHECK(dnp.rows.size() == 6);
  CHECK(fitted(dnp, "R4") == true);  // an empty cell of a column that marks only what is missing
  CHECK(fitted(dnp, "R2") == false);
  CHECK(fitted(dnp, "J1") == false);
  const BomTable variants =
      read_bom("Designator;Value;Variant EU;Variant US\nR1 R2;10k;x;\nR3;1k;x;x\nR4;1k;DNP;fitted\n", "b", diagnostics);
  REQUIRE(variants.variants == std::vector<std::string>{"EU", "US"});
  CHECK(fitted(variants, "R1", 0) == true);
  CHECK(fitted(variants, "R4", 0) == false);
  CHECK(fitted(variants, "R4", 1) == true);
  CHECK(fitted(variants, "R2", 1) == false);
  const BomTable listed = read_bom("RefDes,Part Number,Quantity\nR1,A,1\n", "b", diagnostics);
  CHECK(fitted(listed, "R1") == true);
  CHECK_FALSE(diagnostics.failed());
  CHECK(looks_like_bom("Reference,Value,Qty,DNP\nR1,10k,1,\n"));
  CHECK_FALSE(looks_like_bom("Ref,Val,Package,PosX,PosY,Rot,Side\nC1,1,0603,1,2,0,top\n"));
  Diagnostics none;
  (void)read_bom("a,b\n1,2\n", "b", none);
  CHECK(none.failed());
}

TEST_CASE("resistances are read as they are written (RKM code of IEC 60062, and what meters show)") {
  for (const auto& [text, ohms] : {std::pair<const char*, double>{"0.3", 0.3},
                                   {"4k7", 4700},
                                   {"4.7 k", 4700},
                                   {"1M", 1e6},
                                   {"2M2", 2.2e6},
                                   {"47R", 47},
                                   {"4R7", 4.7},
                                   {"220 ohm", 220},
                                   {"10 k\xCE\xA9", 1e4}}) {
    INFO(text);
    REQUIRE(parse_ohms(text));
    CHECK(parse_ohms(text)->v == Approx(ohms));
  }
  for (const char* open : {"open", "OL", "O.L", "inf", ">20M"}) CHECK(std::isinf(parse_ohms(open).value_or(Ohms{}).v));
  for (const char* bad : {"", "x", "-3", "4.7k2", "k"}) CHECK_FALSE(parse_ohms(bad));
}

TEST_CASE(
    "pads are listed in millimetres or in pixels; readings and reference points name each fault with its line "
    "(constructed faults)") {
  Diagnostics diagnostics;
  const auto pads = read_pad_list(
      "pad,side,photo,x_px,y_px,width_px,x_mm,y_mm,width_mm,drill_mm,plated\nP1,bottom,a.jpg,100,200,30,,,,,\nM1,both,,"
      ",,,1,2,3.2,3.2,no\n",
      "p", diagnostics);
  REQUIRE(pads.size() == 2);
  CHECK(pads[0].pixel->x == Approx(100));
  CHECK(pads[0].size_in_pixels);
  CHECK(pads[1].at.y == Approx(2));
  CHECK_FALSE(pads[1].plated);
  CHECK(read_references("photo,point,x_px,y_px,x_mm,y_mm\na.jpg,hole,1,2,3,4\n", "r", diagnostics).size() == 1);
  CHECK(read_continuity("pad_a,pad_b,ohms\nP1,P2,4k7\nP1,P3,OL\n", "c", diagnostics).size() == 2);
  REQUIRE_FALSE(diagnostics.failed());
  (void)read_pad_list("pad,side,x_mm,y_mm,width_mm\nP1,top,1,1,1\nP1,top,2,2,1\n", "p", diagnostics);
  (void)read_continuity("pad_a,pad_b,ohms\nP1,P2,many\n", "c", diagnostics);
  (void)read_references("point,x_px,y_px,x_mm,y_mm\nh,a,2,3,4\n", "r", diagnostics);
  REQUIRE(diagnostics.errors() == 3);
  CHECK(diagnostics.all()[0].place.line == 3);
  CHECK(diagnostics.all()[1].place.line == 2);
}

TEST_CASE(
    "a unit in a column's own header counts for that column alone, and an unknown one is refused (25.4 mm to "
    "the inch by definition)") {
  Diagnostics diagnostics;
  CHECK(looks_like_heights("component,height_mm\nU1,2.5\nJ4,11\n"));
  // Words of a change log are no table.
  CHECK_FALSE(looks_like_heights("Component, height\n- moved the connector, it was too high\n- new shield, lower\n"));
  CHECK(read_heights("component,height (in)\nU1,0.5\n", "h", diagnostics).at(0).height.v == Approx(12.7));
  CHECK(read_heights("component,Height [mil]\nU1,100\n", "h", diagnostics).at(0).height.v == Approx(2.54));
  CHECK(read_heights("component,height_mm\nU1,2.5\n", "h", diagnostics).at(0).height.v == Approx(2.5));
  const Placement p = read_placement("Designator,Center-X(mil),Center-Y(mil),Rotation,Height(mm)\nU1,1000,2000,0,12\n",
                                     "p", diagnostics);
  CHECK(p.rows.at(0).x == Approx(25.4));
  CHECK(p.rows[0].height->v == Approx(12));
  REQUIRE_FALSE(diagnostics.failed());
  (void)read_heights("component,height (furlong)\nU1,1\n", "h", diagnostics);
  CHECK(diagnostics.failed());
}

TEST_CASE(
    "in bills of materials a blank in a column of what is missing means fitted; ranges come with any dash "
    "(common practice, no source)") {
  Diagnostics diagnostics;
  const BomTable b = read_bom(
      "Reference,Value,DNP\nR1,1k,No\nR2,1k,\n\"R5 - R3\",1k,Yes\nR6..R7,1k,Yes\n\"R8\xE2\x80\x93R9\",1k,Yes\n", "b",
      diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  std::map<std::string, bool> fitted;
  for (const auto& r : b.rows) fitted[r.component] = r.fitted.at(0).value_or(true);
  CHECK(fitted == std::map<std::string, bool>{{"R1", true},
                                              {"R2", true},
                                              {"R3", false},
                                              {"R4", false},
                                              {"R5", false},
                                              {"R6", false},
                                              {"R7", false},
                                              {"R8", false},
                                              {"R9", false}});
  const BomTable two = read_bom("Reference,Fitted,DNP\nR1,yes,\nR2,,yes\nR3,,\n", "b", diagnostics);
  CHECK(*two.rows.at(0).fitted[0]);
  CHECK_FALSE(*two.rows.at(1).fitted[0]);
  CHECK(two.rows.at(2).fitted[0].value_or(true));
  const BomTable zero = read_bom("Reference,Value,Qty\nR1,1k,1\nR2,1k,0\nR3,DNP,1\n", "b", diagnostics);
  CHECK(*zero.rows.at(0).fitted[0]);
  CHECK_FALSE(*zero.rows.at(1).fitted[0]);
  CHECK_FALSE(*zero.rows.at(2).fitted[0]);
}

TEST_CASE("a quote that never ends is an error, since it would swallow what follows (RFC 4180)") {
  Diagnostics diagnostics;
  (void)read_bom("Reference,Value,Fitted\nR1,1k,yes\nR2,\"1k,yes\nR3,1k,no\n", "b", diagnostics);
  REQUIRE(diagnostics.failed());
  CHECK(diagnostics.all()[0].code == "table-quote");
  CHECK(diagnostics.all()[0].place.line == 3);
}

TEST_CASE(

    "rows with more fields than the header, pads without a side and readings of one pad are refused; blanks "
    "wait (constructed faults)") {
  struct Fault {
    const char* text;
    const char* code;
  };
  for (const Fault& fault : {Fault{"pad_a,pad_b,ohms\nA,B,1,500\n", "table-row-too-long"},
                             Fault{"pad_a,pad_b,ohms\nA,A,1\n", "continuity-one-pad"},
                             Fault{"pad_a,pad_b,ohms\nA,B,\"1,500\"\n", "continuity-ambiguous"}}) {
    Diagnostics diagnostics;
    (void)read_continuity(fault.text, "c", diagnostics);
    INFO(fault.text);
    REQUIRE(diagnostics.failed());
    CHECK(diagnostics.all()[0].code == fault.code);
  }
  Diagnostics diagnostics;
  CHECK(read_continuity("pad_a,pad_b,ohms,why\nA,B,,to be read\nA,C,4k7,\n", "c", diagnostics).size() == 1);
  CHECK_FALSE(diagnostics.failed());
  (void)read_pad_list("pad,x_mm,y_mm,width_mm\nA,1,1,1\n", "p", diagnostics);
  REQUIRE(diagnostics.failed());
  CHECK(diagnostics.all()[0].message.find("side") != std::string::npos);
  CHECK(incomplete_table("pad_a,pad_b\nA,B\n").find("ohms") != std::string::npos);
  CHECK(is_bench_output("pad,net,side,x_mm,y_mm,width_mm,height_mm,place_sigma_mm,ohm_to_supply,ohm_to_ground,pull\n"));
}
