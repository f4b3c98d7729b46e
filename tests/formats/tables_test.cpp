#include <catch2/catch.hpp>

#include "teasel/formats/tables.h"

using namespace teasel;
using namespace teasel::formats;

TEST_CASE("placement tables of several writers are read by their headers (forms seen in the field)") {
  struct Form { const char* text; double x; int side; bool unit; };
  for (const Form& f : {Form{"Ref,Val,Package,PosX,PosY,Rot,Side\n\"C1\",\"100n\",\"0603\",10.5,-2.25,90.0,bottom\n", 10.5, 1, false},
                        Form{"\xEF\xBB\xBF" "Designator,Mid X,Mid Y,Rotation,Layer\r\nC1,10.5,-2.25,90,top\r\n", 10.5, 0, false},
                        Form{"\"Designator\",\"Footprint\",\"Mid X\",\"Mid Y\",\"Ref X\",\"Ref Y\",\"Layer\",\"Rotation\"\n\"C1\",\"0603\",\"100mil\",\"-2.25mm\",\"0mm\",\"0mm\",\"B\",\"90\"\n", 2.54, 1, true},
                        Form{"### Module positions ###\n## Unit = inches, Angle = deg.\n## Side : top\n# Ref Val Package PosX PosY Rot Side\nC1 100n 0603 1.0 -2.0 90.0 top\n## End\n", 25.4, 0, true},
                        Form{"Ref;Val;PosX;PosY;Rot;Side\nC1;1,5k;10,5;-2,25;90,0;top\n", 10.5, 0, false}}) {
    INFO(f.text);
    Diagnostics d;
    REQUIRE(looks_like_placement(f.text));
    const Placement p = read_placement(f.text, "p", d);
    REQUIRE_FALSE(d.failed());
    REQUIRE(p.rows.size() == 1);
    CHECK(p.rows[0].component == "C1");
    CHECK(p.rows[0].x == Approx(f.x));
    CHECK(p.rows[0].side == f.side);
    CHECK(p.has_unit == f.unit);
  }
}

TEST_CASE("a pad list names each fault with its line") {
  Diagnostics d;
  const auto rows = read_pad_list("pad,net,side,x_mm,y_mm,width_mm\nP1,GND,top,1,2,1.0\nP2,VCC,top,abc,2,1.0\nP3,VCC,left,1,2,1.0\n", "pads.csv", d);
  CHECK(rows.size() == 1);
  REQUIRE(d.errors() == 2);
  CHECK(d.all()[0].place.line == 3);
  CHECK(d.all()[1].place.line == 4);
}

TEST_CASE("quoted fields hold separators and line ends (RFC 4180)") {
  Diagnostics d;
  const auto t = read_table("component,height_mm\n\"U,1\",\"2.5\"\n\"U\n2\",3\n", "h", {"component", "heightmm"}, 2);
  REQUIRE(t);
  CHECK(t->rows[0][0] == "U,1");
  CHECK(t->rows[1][0] == "U\n2");
}
