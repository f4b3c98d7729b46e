// IPC-2581: rules of the published schema of revision C; the order of the transform as measured on the consortium's
// public test cases (all pins of bottom parts fall on their pads in this order alone).
#include <catch2/catch.hpp>

#include "teasel/formats/ipc2581.h"

using namespace teasel;
using namespace teasel::formats;

namespace {
constexpr double kPi = 3.14159265358979323846;

/// A board of two copper layers in millimetres; `dictionary` and `step` go into their places.
std::string board(const std::string& dictionary, const std::string& step, const std::string& more = "",
                  const std::string& units = "MILLIMETER") {
  return "<?xml version=\"1.0\"?>\n<IPC-2581 revision=\"C\" xmlns=\"http://webstds.ipc.org/2581\"><Content "
         "roleRef=\"o\"><FunctionMode mode=\"USERDEF\"/><StepRef name=\"b\"/>" +
         dictionary + "</Content>" + more + "<Ecad name=\"d\"><CadHeader units=\"" + units +
         "\"/><CadData>"
         "<Layer name=\"T\" layerFunction=\"SIGNAL\" side=\"TOP\" polarity=\"POSITIVE\"/><Layer name=\"B\" "
         "layerFunction=\"SIGNAL\" side=\"BOTTOM\" polarity=\"POSITIVE\"/>"
         "<Layer name=\"D\" layerFunction=\"DRILL\" side=\"ALL\" polarity=\"POSITIVE\"><Span fromLayer=\"T\" "
         "toLayer=\"B\"/></Layer>"
         "<Step name=\"b\"><Datum x=\"0\" y=\"0\"/>" +
         step + "</Step></CadData></Ecad></IPC-2581>";
}
std::string pad(const std::string& at, const std::string& shape, const std::string& set = "net=\"N\"",
                const std::string& more = "") {
  return "<Set " + set + "><Pad>" + more + "<Location " + at + "/>" + shape + "</Pad></Set>";
}
const std::string kDot = "<Circle diameter=\"1\"/>";

CadBoard read(const std::string& text, Diagnostics& diagnostics, Ipc2581Choice choice = {}) {
  return read_ipc2581(text, "f.xml", choice, diagnostics);
}
/// Area painted by one pad of this shape.
double painted(const std::string& shape, const std::string& dictionary = "") {
  Diagnostics diagnostics;
  const CadBoard cad =
      read(board(dictionary, "<LayerFeature layerRef=\"T\">" + pad("x=\"5\" y=\"5\"", shape) + "</LayerFeature>"),
           diagnostics);
  INFO(shape);
  for (const auto& f : diagnostics.all()) INFO(to_string(f));
  REQUIRE_FALSE(diagnostics.failed());
  double sum = 0;
  for (const auto& o : cad.layers.at(0).image.objects) sum += area(area_of(cad.layers[0].image, o));
  return sum;
}
}  // namespace

TEST_CASE("standard primitives cover what plane geometry says (closed forms)") {
  CHECK(painted("<Circle diameter=\"2\"/>") == Approx(kPi).epsilon(2e-3));
  CHECK(painted("<RectCenter width=\"2\" height=\"3\"/>") == Approx(6));
  CHECK(painted("<RectRound width=\"2\" height=\"3\" radius=\"0.5\" upperRight=\"true\" upperLeft=\"true\" "
                "lowerLeft=\"true\" lowerRight=\"true\"/>") == Approx(6 - (4 - kPi) * 0.25).epsilon(1e-3));
  CHECK(painted("<RectRound width=\"2\" height=\"3\" radius=\"0.5\" upperRight=\"true\" upperLeft=\"false\" "
                "lowerLeft=\"false\" lowerRight=\"false\"/>") == Approx(6 - (4 - kPi) * 0.0625).epsilon(1e-3));
  CHECK(painted("<RectCham width=\"2\" height=\"3\" chamfer=\"0.5\"/>") == Approx(6 - 4 * 0.125));
  CHECK(painted("<RectCorner lowerLeftX=\"-1\" lowerLeftY=\"-1\" upperRightX=\"2\" upperRightY=\"1\"/>") == Approx(6));
  CHECK(painted("<Oval width=\"4\" height=\"2\"/>") == Approx(4 + kPi).epsilon(2e-3));
  CHECK(painted("<Ellipse width=\"4\" height=\"2\"/>") == Approx(2 * kPi).epsilon(2e-3));
  CHECK(painted("<Diamond width=\"4\" height=\"2\"/>") == Approx(4));
  CHECK(painted("<Octagon length=\"2\"/>") == Approx(8 * std::tan(kPi / 8)).epsilon(1e-6));
  CHECK(painted("<Hexagon length=\"2\"/>") == Approx(6 * std::tan(kPi / 6)).epsilon(1e-6));
  CHECK(painted("<Triangle base=\"2\" height=\"3\"/>") == Approx(3));
  CHECK(painted("<Donut shape=\"ROUND\" outerDiameter=\"4\" innerDiameter=\"2\"/>") == Approx(3 * kPi).epsilon(2e-3));
  CHECK(painted("<Donut shape=\"SQUARE\" outerDiameter=\"4\" innerDiameter=\"2\"/>") == Approx(12));
  CHECK(painted("<Butterfly shape=\"SQUARE\" side=\"2\"/>") == Approx(2));
  CHECK(
      painted(
          "<Contour><Polygon><PolyBegin x=\"0\" y=\"0\"/><PolyStepSegment x=\"4\" y=\"0\"/><PolyStepSegment x=\"4\" "
          "y=\"4\"/><PolyStepSegment x=\"0\" y=\"4\"/></Polygon><Cutout><PolyBegin x=\"1\" y=\"1\"/><PolyStepSegment "
          "x=\"2\" y=\"1\"/><PolyStepSegment x=\"2\" y=\"2\"/><PolyStepSegment x=\"1\" y=\"2\"/></Cutout></Contour>") ==
      Approx(15));
}

TEST_CASE("each dictionary is read in its own unit (schema: units on CadHeader and on every dictionary)") {
  const std::string dictionary =
      "<DictionaryStandard units=\"INCH\"><EntryStandard id=\"P\"><Circle "
      "diameter=\"0.1\"/></EntryStandard></DictionaryStandard>";
  CHECK(painted("<StandardPrimitiveRef id=\"P\"/>", dictionary) == Approx(kPi * 1.27 * 1.27).epsilon(2e-3));
}

TEST_CASE("planes lose their cutouts, also where these overlap, and later negative sets clear them (plane geometry)") {
  const std::string square =
      "<PolyBegin x=\"0\" y=\"0\"/><PolyStepSegment x=\"10\" y=\"0\"/><PolyStepSegment x=\"10\" "
      "y=\"10\"/><PolyStepSegment x=\"0\" y=\"10\"/>";
  const auto hole = [](double x, double y) {
    return "<Cutout><PolyBegin x=\"" + std::to_string(x) + "\" y=\"" + std::to_string(y) + "\"/><PolyStepSegment x=\"" +
           std::to_string(x + 2) + "\" y=\"" + std::to_string(y) + "\"/><PolyStepSegment x=\"" + std::to_string(x + 2) +
           "\" y=\"" + std::to_string(y + 2) + "\"/><PolyStepSegment x=\"" + std::to_string(x) + "\" y=\"" +
           std::to_string(y + 2) + "\"/></Cutout>";
  };
  Diagnostics diagnostics;
  const CadBoard cad = read(
      board("", "<LayerFeature layerRef=\"T\"><Set net=\"G\"><Features><Location x=\"0\" y=\"0\"/><Contour><Polygon>" +
                    square + "</Polygon>" + hole(1, 1) + hole(2, 2) + hole(6, 6) +
                    "</Contour></Features></Set>"
                    "<Set net=\"G\" polarity=\"NEGATIVE\"><Pad><Location x=\"8\" y=\"2\"/><RectCenter width=\"1\" "
                    "height=\"1\"/></Pad></Set></LayerFeature>"),
      diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  const GerberFile& file = cad.layers[0].image;
  double sum = 0;
  std::size_t clears = 0;
  for (const auto& o : file.objects) {
    if (o.dark)
      sum += area(area_of(file, o));
    else
      ++clears;
  }
  CHECK(sum == Approx(100 - 7 - 4));
  CHECK(clears == 1);
  CHECK_FALSE(file.objects.back().dark);
  for (const auto& [p, copper] : {std::pair{Point{0.5, 0.5}, true},
                                  {Point{2.5, 2.5}, false},
                                  {Point{1.5, 1.5}, false},
                                  {Point{7, 7}, false},
                                  {Point{5, 5}, true}}) {
    INFO(p.x);
    CHECK(std::any_of(file.objects.begin(), file.objects.end(),
                      [&, at = p](const auto& o) { return o.dark && covers(file, o, at); }) == copper);
  }
  CHECK(cad.netlist.records.empty());  // a clearance is no land
}

namespace {
/// One bottom part of two pins, turned by 90 degrees and mirrored, about (10, 20); its pads where `at` says.
std::string bottom_part(const std::string& at_1, const std::string& at_2) {
  return "<Package name=\"P\" type=\"OTHER\" height=\"2.5\"><Outline><Polygon><PolyBegin x=\"-2\" "
         "y=\"-1\"/><PolyStepSegment x=\"2\" y=\"-1\"/><PolyStepSegment x=\"2\" y=\"1\"/><PolyStepSegment x=\"-2\" "
         "y=\"1\"/></Polygon></Outline>"
         "<Pin number=\"1\" type=\"SURFACE\"><Location x=\"1\" y=\"0.5\"/></Pin><Pin number=\"2\" "
         "type=\"SURFACE\"><Location x=\"-1\" y=\"-0.25\"/></Pin></Package>"
         "<Component refDes=\"U1\" packageRef=\"P\" layerRef=\"B\" mountType=\"SMT\"><Xform rotation=\"90\" "
         "mirror=\"true\"/><Location x=\"10\" y=\"20\"/></Component>"
         "<LayerFeature layerRef=\"B\">" +
         pad(at_1, kDot + "<PinRef componentRef=\"U1\" pin=\"1\"/>") +
         pad(at_2, kDot + "<PinRef componentRef=\"U1\" pin=\"2\"/>", "net=\"M\"") + "</LayerFeature>";
}
}  // namespace

TEST_CASE(
    "components are turned counter-clockwise, then mirrored, then moved (measured on the consortium's public "
    "test cases, hand sum)") {
  // (1, 0.5) turned by 90 is (-0.5, 1), mirrored (0.5, 1); (-1, -0.25) becomes (0.25, -1), then (-0.25, -1).
  Diagnostics diagnostics;
  const CadBoard cad = read(board("", bottom_part("x=\"10.5\" y=\"21\"", "x=\"9.75\" y=\"19\"")), diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(cad.pins == 2);
  CHECK(cad.pins_met == 2);
  REQUIRE(cad.mechanics.bodies.size() == 1);
  const BodyRow& row = cad.mechanics.bodies[0];
  CHECK(row.side == Side::bottom);
  CHECK(row.height->v == Approx(2.5));
  const Box box = bounds(row.outline);
  CHECK(box.width() == Approx(2));
  CHECK(box.height() == Approx(4));
  CHECK(box.centre().x == Approx(10));
}

TEST_CASE(
    "a file that mirrors before it turns is recognised by its pins, and one that fits neither is refused "
    "(hand sum)") {
  // Mirrored (-1, 0.5), turned (-0.5, -1); mirrored (1, -0.25), turned (0.25, 1).
  Diagnostics diagnostics;
  const CadBoard b = read(board("", bottom_part("x=\"9.5\" y=\"19\"", "x=\"10.25\" y=\"21\"")), diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(b.placing.find("mirrored, then turned") == 0);
  Diagnostics off;
  (void)read(board("", bottom_part("x=\"12\" y=\"19\"", "x=\"10.25\" y=\"24\"")), off);
  REQUIRE(off.failed());
  CHECK(off.all()[0].code == "ipc2581-pins-off");
}

TEST_CASE(
    "lands, holes and nets become records: lead, via, via in a pad, bare pad, unplated hole (IPC-2581 C "
    "schema)") {
  const auto ref = [](const std::string& pin) { return "<PinRef componentRef=\"J1\" pin=\"" + pin + "\"/>"; };
  const std::string package =
      "<Package name=\"P\" type=\"OTHER\"><Pin number=\"1\" type=\"THRU\"><Location x=\"0\" y=\"0\"/></Pin><Pin "
      "number=\"2\" type=\"SURFACE\"><Location x=\"5\" y=\"0\"/></Pin></Package>"
      "<Component refDes=\"J1\" packageRef=\"P\" layerRef=\"T\" mountType=\"SMT\"><Location x=\"0\" "
      "y=\"0\"/></Component>";
  Diagnostics diagnostics;
  const CadBoard cad =
      read(board("", package +
                         "<LogicalNet name=\"A\"><PinRef componentRef=\"J1\" pin=\"1\"/></LogicalNet>"
                         "<LayerFeature layerRef=\"T\">" +
                         pad("x=\"0\" y=\"0\"", "<Circle diameter=\"1.6\"/>" + ref("1"), "net=\"A\"") +
                         pad("x=\"5\" y=\"0\"", "<RectCenter width=\"2\" height=\"1\"/>" + ref("2"), "net=\"C\"") +
                         pad("x=\"9\" y=\"0\"", "<Circle diameter=\"0.6\"/>", "net=\"C\" padUsage=\"VIA\"") +
                         pad("x=\"12\" y=\"0\"", kDot, "net=\"D\" testPoint=\"true\"") +
                         "</LayerFeature>"
                         "<LayerFeature layerRef=\"B\">" +
                         pad("x=\"0\" y=\"0\"", "<Circle diameter=\"1.8\"/>" + ref("1"), "net=\"A\"") +
                         pad("x=\"5\" y=\"0\"", "<Circle diameter=\"0.6\"/>", "net=\"C\" padUsage=\"VIA\"") +
                         pad("x=\"9\" y=\"0\"", "<Circle diameter=\"0.6\"/>", "net=\"C\" padUsage=\"VIA\"") +
                         "</LayerFeature>"
                         "<LayerFeature layerRef=\"D\"><Set net=\"A\"><Hole name=\"h\" diameter=\"0.9\" "
                         "platingStatus=\"PLATED\" x=\"0\" y=\"0\"/></Set><Set net=\"C\"><Hole name=\"h\" "
                         "diameter=\"0.3\" platingStatus=\"VIA\" x=\"5\" y=\"0\"/></Set>"
                         "<Set net=\"C\"><Hole name=\"h\" diameter=\"0.3\" platingStatus=\"VIA\" x=\"9\" "
                         "y=\"0\"/></Set><Set><Hole name=\"h\" diameter=\"3.2\" platingStatus=\"NONPLATED\" x=\"20\" "
                         "y=\"20\"/></Set></LayerFeature>"),
           diagnostics);
  for (const auto& f : diagnostics.all()) INFO(to_string(f));
  REQUIRE_FALSE(diagnostics.failed());
  using Kind = NetlistRecord::Kind;
  const auto find = [&](double x, const std::string& component) {
    for (const auto& r : cad.netlist.records)
      if (std::abs(r.at.x - x) < 1e-6 && r.component == component && !r.continuation) return r;
    FAIL("no record at " << x << " of " << component);
    return NetlistRecord{};
  };
  const auto lead = find(0, "J1");
  CHECK(lead.kind == Kind::through);
  CHECK(lead.hole->v == Approx(0.9));
  CHECK(lead.net == "A");
  const auto low = std::find_if(cad.netlist.records.begin(), cad.netlist.records.end(),
                                [](const auto& r) { return r.continuation && r.at.x < 1; });
  REQUIRE(low != cad.netlist.records.end());
  CHECK(low->width->v == Approx(1.8));
  CHECK(low->access == 2);
  const auto surface = find(5, "J1");
  CHECK(surface.kind == Kind::surface);
  CHECK(surface.access == 1);
  const auto in_pad = find(5, "VIA");
  CHECK(in_pad.access == 2);  // its land on the top is the pad
  CHECK(find(9, "VIA").kind == Kind::through);
  const auto bare = find(12, "");
  CHECK(bare.kind == Kind::surface);
  CHECK(bare.test_point);
  const auto tooling = find(20, "");
  CHECK(tooling.kind == Kind::tooling);
  CHECK_FALSE(tooling.plated);
}

TEST_CASE("PhyNetPoint exposure and test marks reach the records (schema: COVERED_PRIMARY names the covered side)") {
  Diagnostics diagnostics;
  const CadBoard cad =
      read(board("",
                 "<PhyNetGroup name=\"g\"><PhyNet name=\"N\"><PhyNetPoint x=\"1\" y=\"1\" layerRef=\"T\" "
                 "netNode=\"END\" exposure=\"COVERED_SECONDARY\"/><PhyNetPoint x=\"2\" y=\"1\" layerRef=\"B\" "
                 "netNode=\"END\" exposure=\"COVERED_PRIMARY\" test=\"true\"/></PhyNet></PhyNetGroup>"
                 "<LayerFeature layerRef=\"T\">" +
                     pad("x=\"1\" y=\"1\"", kDot) + "</LayerFeature><LayerFeature layerRef=\"B\">" +
                     pad("x=\"2\" y=\"1\"", kDot) + "</LayerFeature>"),
           diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  REQUIRE(cad.exposure_stated);
  for (const auto& r : cad.netlist.records) {
    INFO(r.at.x);
    CHECK(r.mask_code == (r.at.x < 1.5 ? 2 : 1));
    CHECK(r.test_point == (r.at.x > 1.5));
  }
}

TEST_CASE("bills of materials say what is fitted, one variant at a time (IPC-2581 C schema: populate)") {
  const std::string boms =
      "<Bom name=\"full\"><BomItem OEMDesignNumberRef=\"x\" quantity=\"1\"><RefDes name=\"J1\" "
      "populate=\"true\"/></BomItem></Bom><Bom name=\"lean\"><BomItem OEMDesignNumberRef=\"x\" quantity=\"0\"><RefDes "
      "name=\"J1\" populate=\"false\"/></BomItem></Bom>";
  const std::string step =
      "<Package name=\"P\" type=\"OTHER\"/><Component refDes=\"J1\" packageRef=\"P\" layerRef=\"T\" "
      "mountType=\"SMT\"><Location x=\"0\" y=\"0\"/></Component><LayerFeature layerRef=\"T\">" +
      pad("x=\"1\" y=\"1\"", kDot) + "</LayerFeature>";
  for (const auto& [variant, fitted] : {std::pair<std::string, bool>{"full", true}, {"lean", false}, {"", true}}) {
    Diagnostics diagnostics;
    const CadBoard b = read(board("", step, boms), diagnostics, {"", variant});
    INFO(variant);
    REQUIRE_FALSE(diagnostics.failed());
    REQUIRE(b.mechanics.bodies.at(0).fitted);
    CHECK(*b.mechanics.bodies[0].fitted == fitted);
    CHECK((variant.empty() && !diagnostics.all().empty()) == variant.empty());  // the choice is said
  }
  Diagnostics diagnostics;
  (void)read(board("", step, boms), diagnostics, {"", "none"});
  CHECK(diagnostics.failed());
}

TEST_CASE("a panel's repeats are listed and the board inside is chosen (IPC-2581 C schema: StepRepeat, hand sum)") {
  std::string text = board("", "<LayerFeature layerRef=\"T\">" + pad("x=\"1\" y=\"1\"", kDot) + "</LayerFeature>");
  const std::size_t at = text.find("</CadData>");
  text.insert(at,
              "<Step name=\"panel\"><Datum x=\"0\" y=\"0\"/><Profile><Polygon><PolyBegin x=\"0\" "
              "y=\"0\"/><PolyStepSegment x=\"120\" y=\"0\"/><PolyStepSegment x=\"120\" y=\"150\"/><PolyStepSegment "
              "x=\"0\" y=\"150\"/></Polygon></Profile><StepRepeat stepRef=\"b\" x=\"5\" y=\"5\" nx=\"2\" ny=\"3\" "
              "dx=\"50\" dy=\"40\" angle=\"90\" mirror=\"false\"/></Step>");
  Diagnostics diagnostics;
  const CadBoard cad = read(text, diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(cad.step == "b");
  REQUIRE(cad.steps.size() == 2);
  REQUIRE(cad.steps[1].places.size() == 6);
  CHECK(cad.steps[1].places[5].at.x == Approx(55));
  CHECK(cad.steps[1].places[5].at.y == Approx(85));
  CHECK(cad.steps[1].places[5].turn.v == Approx(90));
  REQUIRE(cad.steps[1].outline);
  CHECK(area(*cad.steps[1].outline) == Approx(120 * 150).epsilon(1e-6));
}

TEST_CASE("faults of an IPC-2581 file are named, and nothing of it runs away (constructed faults)") {
  struct Fault {
    std::string text, code;
  };
  const std::string good =
      board("", "<LayerFeature layerRef=\"T\">" + pad("x=\"1\" y=\"1\"", kDot) + "</LayerFeature>");
  auto changed = [&](const std::string& from, const std::string& to) {
    std::string s = good;
    s.replace(s.find(from), from.size(), to);
    return s;
  };
  std::string deep;
  for (int i = 0; i < 2000; ++i) deep += "<a>";
  std::string bomb = "<DictionaryUser units=\"MILLIMETER\">";
  for (int i = 0; i < 7; ++i) {
    bomb += "<EntryUser id=\"u" + std::to_string(i) + "\"><UserSpecial>";
    for (int k = 0; k < 40; ++k) bomb += "<UserPrimitiveRef id=\"u" + std::to_string(i + 1) + "\"/>";
    bomb += "</UserSpecial></EntryUser>";
  }
  bomb += "<EntryUser id=\"u7\"><Circle diameter=\"1\"/></EntryUser></DictionaryUser>";
  for (const Fault& fault :
       {Fault{changed("<?xml version=\"1.0\"?>", "<?xml version=\"1.0\"?><!DOCTYPE x [<!ENTITY a \"aaaa\">]>"),
              "xml-document-type"},
        Fault{good.substr(0, good.size() / 2), "xml-malformed"},
        Fault{changed("revision=\"C\"", "revision=\"A\""), "ipc2581-revision"},
        Fault{changed("units=\"MILLIMETER\"", "units=\"FURLONG\""), "ipc2581-units"},
        Fault{changed(kDot, "<StandardPrimitiveRef id=\"gone\"/>"), "ipc2581-reference"},
        Fault{changed("x=\"1\"", "x=\"one\""), "ipc2581-bad-number"},
        Fault{"<IPC-2581 revision=\"C\">" + deep, "xml-too-deep"},
        Fault{board(bomb,
                    "<LayerFeature layerRef=\"T\"><Set><Features><Location x=\"0\" y=\"0\"/><UserPrimitiveRef "
                    "id=\"u0\"/></Features></Set></LayerFeature>"),
              "ipc2581-too-deep"}}) {
    Diagnostics diagnostics;
    (void)read(fault.text, diagnostics);
    INFO(fault.code);
    REQUIRE(diagnostics.failed());
    CHECK(std::any_of(diagnostics.all().begin(), diagnostics.all().end(),
                      [&](const Finding& x) { return x.code == fault.code; }));
  }
}

TEST_CASE(
    "a component's side is that of its layer, whatever that layer is for and however many there are (IPC-2581 "
    "C schema: layerRef)") {
  // One copper layer, at the bottom: its number is 1, and it is not the top.
  std::string text =
      board("",
            "<Package name=\"P\" type=\"OTHER\"/><Component refDes=\"U1\" packageRef=\"P\" layerRef=\"B\" "
            "mountType=\"SMT\"><Location x=\"0\" y=\"0\"/></Component><Component refDes=\"U2\" packageRef=\"P\" "
            "layerRef=\"CB\" mountType=\"SMT\"><Location x=\"0\" y=\"0\"/></Component>");
  text.erase(text.find("<Layer name=\"T\""), text.find("<Layer name=\"B\"") - text.find("<Layer name=\"T\""));
  text.insert(text.find("<Layer name=\"B\""),
              "<Layer name=\"CB\" layerFunction=\"COMPONENT_BOTTOM\" side=\"BOTTOM\" polarity=\"POSITIVE\"/>");
  text.replace(text.find("fromLayer=\"T\""), 13, "fromLayer=\"B\"");
  Diagnostics diagnostics;
  const CadBoard cad = read(text, diagnostics);
  for (const auto& f : diagnostics.all()) INFO(to_string(f));
  REQUIRE_FALSE(diagnostics.failed());
  REQUIRE(cad.mechanics.bodies.size() == 2);
  CHECK(cad.mechanics.bodies[0].side == Side::bottom);
  CHECK(cad.mechanics.bodies[1].side == Side::bottom);
  CHECK(std::any_of(diagnostics.all().begin(), diagnostics.all().end(),
                    [](const Finding& f) { return f.code == "ipc2581-no-pins"; }));
}

TEST_CASE(
    "a transform scales strokes and lands, turns lands, and is refused where it is no number (IPC-2581 C "
    "schema: Xform, hand sum)") {
  Diagnostics diagnostics;
  const CadBoard cad = read(board("",
                                  "<LayerFeature layerRef=\"T\"><Set net=\"N\"><Features><Xform scale=\"4\"/><Location "
                                  "x=\"0\" y=\"0\"/><Line startX=\"0\" startY=\"0\" endX=\"1\" endY=\"0\"><LineDesc "
                                  "lineEnd=\"ROUND\" lineWidth=\"0.5\"/></Line></Features></Set>" +
                                      pad("x=\"9\" y=\"9\"", "<RectCenter width=\"3\" height=\"1\"/>", "net=\"N\"",
                                          "<Xform rotation=\"30\" scale=\"2\" mirror=\"true\"/>") +
                                      "</LayerFeature>"),
                            diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  const Box stroke = box_of(cad.layers[0].image, cad.layers[0].image.objects[0]);
  CHECK(stroke.width() == Approx(4 + 2));
  CHECK(stroke.height() == Approx(2));
  const auto& land = cad.netlist.records.at(0);
  CHECK(land.width->v == Approx(6));
  CHECK(land.height->v == Approx(2));
  CHECK(std::fmod(land.rotation.v + 360, 180) == Approx(150));  // 30 degrees, mirrored
  for (const char* bad :
       {"rotation=\"90,0\"", "scale=\"0\"", "scale=\"1e300\"", "xOffset=\"1e300\"", "mirror=\"perhaps\""}) {
    Diagnostics wrong;
    (void)read(board("", "<LayerFeature layerRef=\"T\">" +
                             pad("x=\"1\" y=\"1\"", kDot, "net=\"N\"", std::string("<Xform ") + bad + "/>") +
                             "</LayerFeature>"),
               wrong);
    INFO(bad);
    CHECK(wrong.failed());
  }
}

TEST_CASE(
    "pads take shape and part from where they may stand: a user primitive, their stack, their set (IPC-2581 C "
    "schema)") {
  const std::string user =
      "<DictionaryUser units=\"MILLIMETER\"><EntryUser id=\"U\"><UserSpecial><RectCenter width=\"3\" "
      "height=\"2\"/></UserSpecial></EntryUser></DictionaryUser>";
  Diagnostics diagnostics;
  const CadBoard cad =
      read(board(user,
                 "<PadStackDef name=\"S\"><PadstackPadDef layerRef=\"T\" padUse=\"REGULAR\"><Location x=\"0\" "
                 "y=\"0\"/><Circle diameter=\"1.5\"/></PadstackPadDef></PadStackDef><Package name=\"P\" "
                 "type=\"OTHER\"/><Component refDes=\"U1\" packageRef=\"P\" layerRef=\"T\" mountType=\"SMT\"><Location "
                 "x=\"0\" y=\"0\"/></Component><LayerFeature layerRef=\"T\">" +
                     pad("x=\"1\" y=\"1\"", "<UserPrimitiveRef id=\"U\"/>") +
                     "<Set net=\"M\" componentRef=\"U1\"><Pad padstackDefRef=\"S\"><Location x=\"9\" y=\"1\"/><PinRef "
                     "pin=\"7\"/></Pad></Set></LayerFeature>"),
           diagnostics);
  for (const auto& f : diagnostics.all()) INFO(to_string(f));
  REQUIRE_FALSE(diagnostics.failed());
  REQUIRE(cad.netlist.records.size() == 2);
  CHECK(cad.netlist.records[0].width->v == Approx(3));
  CHECK(cad.netlist.records[1].width->v == Approx(1.5));
  CHECK(cad.netlist.records[1].component == "U1");
  CHECK(cad.netlist.records[1].pin == "7");
  Diagnostics none;
  (void)read(board("", "<LayerFeature layerRef=\"T\">" + pad("x=\"1\" y=\"1\"", "") + "</LayerFeature>"), none);
  CHECK(none.failed());
}

TEST_CASE(
    "cutouts thinner than the grid and cutouts by the ten thousand are cut without end to memory or stack "
    "(hand sum)") {
  std::string cuts;
  auto square = [](double x, double y, double w) {
    return "<Cutout><PolyBegin x=\"" + std::to_string(x) + "\" y=\"" + std::to_string(y) + "\"/><PolyStepSegment x=\"" +
           std::to_string(x + w) + "\" y=\"" + std::to_string(y) + "\"/><PolyStepSegment x=\"" + std::to_string(x + w) +
           "\" y=\"" + std::to_string(y + w) + "\"/><PolyStepSegment x=\"" + std::to_string(x) + "\" y=\"" +
           std::to_string(y + w) + "\"/></Cutout>";
  };
  for (int i = 0; i < 60; ++i)
    for (int k = 0; k < 60; ++k) cuts += square(1 + i, 1 + k, 0.5);
  cuts +=
      "<Cutout><PolyBegin x=\"70.1234567\" y=\"70.1234567\"/><PolyStepSegment x=\"70.1234577\" "
      "y=\"70.1234567\"/><PolyStepSegment x=\"70.1234577\" y=\"70.1234577\"/><PolyStepSegment x=\"70.1234567\" "
      "y=\"70.1234577\"/></Cutout>";
  Diagnostics diagnostics;
  const CadBoard cad =
      read(board("",
                 "<LayerFeature layerRef=\"T\"><Set net=\"G\"><Features><Location x=\"0\" "
                 "y=\"0\"/><Contour><Polygon><PolyBegin x=\"0\" y=\"0\"/><PolyStepSegment x=\"80\" "
                 "y=\"0\"/><PolyStepSegment x=\"80\" y=\"80\"/><PolyStepSegment x=\"0\" y=\"80\"/></Polygon>" +
                     cuts + "</Contour></Features></Set></LayerFeature>"),
           diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  double sum = 0;
  for (const auto& o : cad.layers[0].image.objects) sum += area(area_of(cad.layers[0].image, o));
  CHECK(sum == Approx(6400 - 3600 * 0.25).epsilon(1e-6));
}

TEST_CASE("a huge attribute is a long name; entities other than XML's own are refused (XML 1.0, 4.6)") {
  const std::string name(5'000'000, 'A');
  Diagnostics diagnostics;
  const CadBoard cad =
      read(board("", "<LayerFeature layerRef=\"T\">" + pad("x=\"1\" y=\"1\"", kDot, "net=\"" + name + "\"") +
                         pad("x=\"3\" y=\"1\"", kDot, "net=\"&#66;&amp;&quot;\"") + "</LayerFeature>"),
           diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(cad.netlist.records.at(0).net.size() == name.size());
  CHECK(cad.netlist.records.at(1).net == "B&\"");
  Diagnostics wrong;
  (void)read(board("", "<LayerFeature layerRef=\"T\">" + pad("x=\"1\" y=\"1\"", kDot, "net=\"&nothing;\"") +
                           "</LayerFeature>"),
             wrong);
  REQUIRE(wrong.failed());
  CHECK(wrong.all()[0].code == "xml-entity");
}

TEST_CASE("pad stacks that stand in the step itself are pads and holes (IPC-2581 B schema)") {
  const auto land = [](const char* layer, const char* more) {
    return std::string("<LayerPad layerRef=\"") + layer + "\"><Location x=\"5\" y=\"7\"/>" + kDot + more +
           "</LayerPad>";
  };
  const std::string span = "<Span fromLayer=\"T\" toLayer=\"B\"/>";
  Diagnostics diagnostics;
  const CadBoard cad = read(
      board("", "<PadStack net=\"A\"><LayerHole name=\"h\" diameter=\"0.4\" platingStatus=\"VIA\" x=\"5\" y=\"7\">" +
                    span + "</LayerHole>" + land("T", "") + land("B", "") + "</PadStack>" + "<PadStack net=\"C\">" +
                    land("T", "<PinRef componentRef=\"U1\" pin=\"3\"/>") + "</PadStack>" +
                    "<PadStack net=\"No Net\"><LayerHole name=\"m\" diameter=\"3\" platingStatus=\"NONPLATED\" x=\"1\" "
                    "y=\"2\">" +
                    span + "</LayerHole></PadStack><LayerFeature layerRef=\"T\"><Set/></LayerFeature>"),
      diagnostics);
  std::string told;
  for (const auto& finding : diagnostics.all()) told += to_string(finding) + "\n";
  INFO(told);
  REQUIRE_FALSE(diagnostics.failed());
  // Two lands and one of a part's pin are flashed; both holes go through.
  CHECK(cad.layers.at(0).image.objects.size() == 2);
  CHECK(cad.layers.at(1).image.objects.size() == 1);
  std::size_t pins = 0, vias = 0;
  for (const auto& record : cad.netlist.records) {
    if (record.component == "U1" && record.pin == "3" && record.net == "C") ++pins;
    if (record.net == "A") ++vias;
  }
  CHECK(pins == 1);
  CHECK(vias >= 1);
  REQUIRE(cad.mechanics.holes.size() == 2);
  for (const auto& hole : cad.mechanics.holes) {
    CHECK((hole.diameter == Mm{0.4} || hole.diameter == Mm{3}));
    CHECK(hole.first_layer == 0);
  }
}
