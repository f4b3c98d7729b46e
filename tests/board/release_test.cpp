// Releases as people have them: names of many layout tools and languages, copies, several sets of layers and netlists,
// frames about the board, holes that are nobody's. Names of layers by common practice, no source.
#include <algorithm>
#include <catch2/catch.hpp>
#include <random>
#include <tuple>

#include "../../src/board/build.h"
#include "../../src/board/recogniser.h"

using namespace teasel;

namespace {
std::optional<LayerRole> named(const std::string& name) {
  FolderFile file{name, {}};
  Recognised entry;
  entry.file = &file;
  entry.kind = FileKind::gerber;
  return role_by_name(entry) ? entry.role : std::nullopt;
}

std::string count(double mm) {
  return std::to_string(std::llround(mm * 1e6));
}
std::string at(Point place) {
  return "X" + count(place.x) + "Y" + count(place.y);
}
/// A layer file of pads of 1 mm and strokes of 0.2 mm.
std::string layer(const std::vector<Point>& pads, const std::vector<Ring>& loops = {}, const std::string& head = {}) {
  std::string text = "%FSLAX46Y46*%\n%MOMM*%\n" + head + "%ADD10C,1*%\n%ADD11C,0.2*%\nG01*\nD10*\n";
  for (const Point pad : pads) text += at(pad) + "D03*\n";
  text += "D11*\n";
  for (const Ring& loop : loops) {
    text += at(loop[0]) + "D02*\n";
    for (std::size_t i = 1; i <= loop.size(); ++i) text += at(loop[i % loop.size()]) + "D01*\n";
  }
  return text + "M02*\n";
}
const std::vector<Point> kPads = {{5, 5}, {12, 5}, {25, 5}, {5, 15}, {17, 15}, {25, 12}};
const Ring kEdge = {{0, 0}, {30, 0}, {30, 20}, {0, 20}};

/// A record 327 of IPC-D-356 in 0.001 mm: a surface pad on side 1.
std::string record(const std::string& net, int pin, Point place) {
  auto field = [](std::string text, std::size_t width) { return text + std::string(width - text.size(), ' '); };
  auto number = [](double mm) {
    std::string digits = std::to_string(std::llround(mm * 1000));
    return "+" + std::string(6 - digits.size(), '0') + digits;
  };
  std::string line = "327" + field(net, 14) + "   " + field("U1", 6) + "-" + field(std::to_string(pin), 4) + " ";
  line = field(line, 38) + "A01X" + number(place.x) + "Y" + number(place.y) + "X1000Y1000R000 S0";
  return line + "\n";
}
std::string netlist(const std::vector<Point>& pads) {
  std::string text = "P  JOB test\nP  UNITS CUST 1\n";
  for (std::size_t i = 0; i < pads.size(); ++i)
    text += record("N" + std::to_string(i), static_cast<int>(i) + 1, pads[i]);
  return text + "999\n";
}
std::vector<FolderFile> release(const std::string& folder, const std::vector<Point>& pads) {
  return {{folder + "b-F_Cu.gbr", layer(pads)},
          {folder + "b-B_Cu.gbr", layer({{9, 9}})},
          {folder + "b-F_Mask.gbr", layer(pads)},
          {folder + "b-Edge_Cuts.gbr", layer({}, {kEdge})}};
}
bool told(const Diagnostics& diagnostics, const std::string& code) {
  return std::any_of(diagnostics.all().begin(), diagnostics.all().end(),
                     [&](const Finding& finding) { return finding.code == code; });
}
bool asks(const FirstJob& first, const std::string& what) {
  for (const auto& [key, lines] : first.evidence)
    for (const std::string& line : lines)
      if (line.find("CHECK") != std::string::npos && line.find(what) != std::string::npos) return true;
  return false;
}
std::string file_of(const FirstJob& first, LayerRole role) {
  for (const GerberInput& input : first.job.inputs.gerbers)
    if (input.role == role) return input.file;
  return {};
}
}  // namespace

TEST_CASE("a layer's name says what it is, in the words of layout tools and of several languages (common practice)") {
  using R = LayerRole;
  const std::vector<std::pair<const char*, R>> kNames = {
      {"Gerber_TopLayer.GTL", R::copper_top},
      {"Gerber_BottomSolderMaskLayer.GBS", R::mask_bottom},
      {"Gerber_InnerLayer1.G1", R::copper_inner},
      {"Gerber_BoardOutlineLayer.GKO", R::outline},
      {"x.top.gbr", R::copper_top},
      {"x.topmask.gbr", R::mask_top},
      {"x.bottommask.gbr", R::mask_bottom},
      {"TopPaste.gbr", R::paste_top},
      {"BottomMask.gbr", R::mask_bottom},
      {"Top.gbr", R::copper_top},
      {"V12 - Bottom Copper (Paste).gbr", R::paste_bottom},
      {"V12 - Bottom Solder Mask.gbr", R::mask_bottom},
      {"V12 - GND Plane (Powerplane).gbr", R::copper_inner},
      {"V12 - Kontur.gbr", R::outline},
      {"A - CADCAM Top Solder Resist.GBR", R::mask_top},
      {"A - Layer 2 Copper.gbr", R::copper_inner},
      {"LAY10.art", R::copper_inner},
      {"PAST_TOP.art", R::paste_top},
      {"MASK_BOT.art", R::mask_bottom},
      {"solderpaste_top.gbr", R::paste_top},
      {"copper_bottom.gbr", R::copper_bottom},
      {"profile.gbr", R::outline},
      {"board.cmp", R::copper_top},
      {"board.sts", R::mask_bottom},
      {"board.GP1", R::copper_inner},
      {"board.GM3", R::drawing},
      {"board-Edge.Cuts.gm1", R::outline},
      {"board-F.Cu.gtl", R::copper_top},
      {"board-In1.Cu.g2", R::copper_inner},
      {"Leiterplatte_Kupfer_oben.ger", R::copper_top},
      {"Loetstopp_unten.ger", R::mask_bottom},
      {"cuivre_dessous.gbr", R::copper_bottom},
      {"\xE9\xA1\xB6\xE5\xB1\x82\xE9\x98\xBB\xE7\x84\x8A.gbr", R::mask_top},       // top layer, solder mask
      {"\xE5\xBA\x95\xE5\xB1\x82\xE7\xBA\xBF\xE8\xB7\xAF.gbr", R::copper_bottom},  // bottom layer, traces
      {"b-F_Fab.gbr", R::drawing},
      {"12 smb.gbr", R::mask_bottom},
      {"TopSilkscreen.gbr", R::silk_top}};
  for (const auto& [name, role] : kNames) {
    INFO(name);
    const auto found = named(name);
    REQUIRE(found);
    CHECK(to_string(*found) == std::string(to_string(role)));
  }
  for (const char* name : {"art001.pho", "stop.gbr", "desktop.gbr", "README.gbr"}) {
    INFO(name);
    CHECK_FALSE(named(name));
  }
}

TEST_CASE("of two sets of layers the one that the netlist fits is taken, and the question is put (constructed)") {
  std::vector<FolderFile> files = release("old/", {{4, 4}, {11, 6}, {22, 7}, {6, 13}, {15, 16}, {24, 11}});
  for (FolderFile& file : release("new/", kPads)) files.push_back(std::move(file));
  files.push_back({"netlist.ipc", netlist(kPads)});
  Diagnostics diagnostics;
  const FirstJob first = recognise(files, diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(told(diagnostics, "start-several-sets"));
  CHECK(asks(first, "several sets of layers"));
  CHECK(file_of(first, LayerRole::copper_top) == "new/b-F_Cu.gbr");
  CHECK(file_of(first, LayerRole::mask_top) == "new/b-F_Mask.gbr");
}

TEST_CASE(
    "layers whose names begin with numbers of their own are one set, a drawing named top among them (constructed)") {
  std::vector<FolderFile> files = release("", kPads);
  int number = 9;
  for (FolderFile& file : files) file.name = std::to_string(number--) + " " + file.name.substr(2);
  files.push_back({"5 comp_+_top.gbr", layer({}, {kEdge, {{4, 4}, {26, 4}, {26, 16}, {4, 16}}})});
  files.push_back({"netlist.ipc", netlist(kPads)});
  Diagnostics diagnostics;
  const FirstJob first = recognise(files, diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK_FALSE(told(diagnostics, "start-several-sets"));
  CHECK(file_of(first, LayerRole::copper_top) == "9 F_Cu.gbr");
  CHECK(file_of(first, LayerRole::mask_top) == "7 F_Mask.gbr");
  // Without a netlist the drawing covers no pads either, but it has many strokes.
  files.pop_back();
  files.pop_back();
  files.push_back({"5 comp_+_top.gbr", layer({}, std::vector<Ring>(9, kEdge))});
  Diagnostics alone;
  CHECK(file_of(recognise(files, alone), LayerRole::copper_top) == "9 F_Cu.gbr");
}

TEST_CASE("files of the same bytes count once, netlists that differ are asked about (constructed)") {
  std::vector<FolderFile> files = release("", kPads);
  for (const FolderFile& file : release("copy/", kPads)) files.push_back(file);
  files.push_back({"netlist.ipc", netlist(kPads)});
  files.push_back({"copy/netlist.ipc", netlist(kPads)});
  Diagnostics quiet;
  const FirstJob once = recognise(files, quiet);
  REQUIRE_FALSE(quiet.failed());
  CHECK_FALSE(told(quiet, "start-several-sets"));
  CHECK_FALSE(told(quiet, "start-two-netlists"));
  CHECK(file_of(once, LayerRole::copper_top) == "b-F_Cu.gbr");
  files.push_back({"stale.ipc", netlist({{1, 1}, {2, 9}, {13, 3}, {21, 8}, {19, 2}, {3, 17}})});
  Diagnostics asked;
  const FirstJob first = recognise(files, asked);
  REQUIRE_FALSE(asked.failed());
  CHECK(told(asked, "start-two-netlists"));
  CHECK(asks(first, "several netlists"));
  CHECK(first.job.inputs.netlist_file == "netlist.ipc");
}

TEST_CASE("of several IPC-2581 files the fullest is taken, and the question is put (constructed)") {
  const auto board = [](int pads) {
    std::string set;
    for (int i = 0; i < pads; ++i)
      set += "<Set net=\"N" + std::to_string(i) + "\"><Pad><Location x=\"" + std::to_string(2 * i + 1) +
             "\" y=\"5\"/><Circle diameter=\"1\"/></Pad></Set>";
    return "<?xml version=\"1.0\"?>\n<IPC-2581 revision=\"C\" xmlns=\"http://webstds.ipc.org/2581\"><Content "
           "roleRef=\"o\"><FunctionMode mode=\"USERDEF\"/><StepRef name=\"b\"/></Content><Ecad name=\"d\"><CadHeader "
           "units=\"MILLIMETER\"/><CadData><Layer name=\"T\" layerFunction=\"SIGNAL\" side=\"TOP\" "
           "polarity=\"POSITIVE\"/><Layer name=\"B\" layerFunction=\"SIGNAL\" side=\"BOTTOM\" "
           "polarity=\"POSITIVE\"/><Step name=\"b\"><Datum x=\"0\" y=\"0\"/><LayerFeature layerRef=\"T\">" +
           set + "</LayerFeature></Step></CadData></Ecad></IPC-2581>";
  };
  Diagnostics diagnostics;
  const FirstJob first = recognise({{"a.xml", board(4)}, {"b.xml", board(9)}, {"c.xml", board(2)}}, diagnostics);
  CHECK_FALSE(diagnostics.failed());
  CHECK(first.job.inputs.cad_file == "b.xml");
  CHECK(told(diagnostics, "start-two-cad"));
  CHECK(asks(first, "several IPC-2581 files"));
}

TEST_CASE("layers of which none is known as copper still make a job file, in which roles can be stated (constructed)") {
  Diagnostics diagnostics;
  const FirstJob first = recognise({{"one", layer({})}, {"two", layer({}, {kEdge})}}, diagnostics);
  CHECK_FALSE(diagnostics.failed());
  CHECK(diagnostics.spoiled());
  CHECK(told(diagnostics, "start-no-copper"));
  CHECK(first.job.inputs.gerbers.size() + !first.job.inputs.outline_file.empty() >= 2);
}

TEST_CASE("a face that leaves out a few stray points comes after the face around all of them (constructed)") {
  std::vector<Point> points;
  for (int i = 0; i < 99; ++i) points.push_back({1.0 + i % 10 * 2.8, 1.0 + i / 10 * 1.9});
  points.push_back({15, 40});  // a hole in a rail
  const std::string text = layer({}, {kEdge, {{-50, -50}, {150, -50}, {150, 100}, {-50, 100}}});
  Diagnostics diagnostics;
  const auto file = formats::read_gerber(text, "edge.gbr", diagnostics);
  const auto found = outline_candidates(file, points);
  REQUIRE(found.size() == 2);
  CHECK(found[0].area.v == Approx(200 * 150));
  CHECK(found[0].outside == 0);
  CHECK(found[1].area.v == Approx(30 * 20));
  CHECK(found[1].outside == 1);
}

TEST_CASE("a mask that opens few pads is no mask drawn as mask: that would cover most of the board (constructed)") {
  std::vector<FolderFile> files = release("", kPads);
  for (FolderFile& file : files)
    if (file.name == "b-F_Mask.gbr") file.bytes = layer({kPads[0]});
  Diagnostics diagnostics;
  const FirstJob few = recognise(files, diagnostics);
  auto inverted = [](const FirstJob& first) {
    for (const GerberInput& input : first.job.inputs.gerbers)
      if (input.role == LayerRole::mask_top) return input.mask_image_inverted;
    return false;
  };
  CHECK(file_of(few, LayerRole::mask_top) == "b-F_Mask.gbr");
  CHECK_FALSE(inverted(few));
  // Drawn as mask: one area over the whole board, with clear pads painted over it.
  for (FolderFile& file : files)
    if (file.name == "b-F_Mask.gbr") {
      std::string text = "%FSLAX46Y46*%\n%MOMM*%\n%ADD10C,1.2*%\nG01*\nG36*\n" + at(kEdge[0]) + "D02*\n";
      for (std::size_t i = 1; i <= kEdge.size(); ++i) text += at(kEdge[i % kEdge.size()]) + "D01*\n";
      text += "G37*\n%LPC*%\nD10*\n";
      for (const Point pad : kPads) text += at(pad) + "D03*\n";
      file.bytes = text + "M02*\n";
    }
  Diagnostics again;
  CHECK(inverted(recognise(files, again)));
}

TEST_CASE("an outline drawn with gaps and two pens closes, and says how wide the gaps are (constructed)") {
  const std::string text = "%FSLAX46Y46*%\n%MOMM*%\n%ADD10C,0.2*%\n%ADD11C,0.1*%\nG01*\nD10*\n" + at({0, 0}) +
                           "D02*\n" + at({30, 0}) + "D01*\n" + at({30, 20}) + "D01*\nD11*\n" + at({29.95, 20}) +
                           "D02*\n" + at({0, 20}) + "D01*\n" + at({0, 0.04}) + "D01*\nM02*\n";
  Diagnostics diagnostics;
  const auto found = outline_candidates(formats::read_gerber(text, "edge.gbr", diagnostics), kPads);
  REQUIRE(found.size() == 1);
  CHECK(found[0].area.v == Approx(600).margin(1));
  CHECK(found[0].how.find("0.06 mm bridged") != std::string::npos);
}

TEST_CASE("pins go into bare holes far apart, not into the peg holes of a connector (constructed)") {
  Board board;
  board.outline = {{{0, 0}, {60, 0}, {60, 40}, {0, 40}}, {}};
  board.pieces = {board.outline};
  auto drill = [&](Point place, formats::Plating plating) {
    BoardHole hole;
    hole.at = hole.end = place;
    hole.diameter = Mm{3.2};
    hole.plating = plating;
    board.holes.push_back(hole);
  };
  // Pegs without plating would hold the pins closer than plated mounting holes.
  drill({20, 20}, formats::Plating::unplated);
  drill({31.43, 20}, formats::Plating::unplated);
  drill({4, 4}, formats::Plating::plated);
  drill({56, 36}, formats::Plating::plated);
  Component connector;
  connector.name = PartName("J1");
  connector.body = {{rectangle({25.7, 20}, 20, 8), {}}};
  connector.height = Mm{10};
  board.components.push_back(connector);
  Diagnostics diagnostics;
  const Rules rules = read_rules(*shipped("rules", "standard"), "rules", diagnostics);
  choose_tooling(board, {}, rules, {}, diagnostics);
  std::vector<HoleId> pins = board.tooling;
  std::sort(pins.begin(), pins.end());
  CHECK(pins == std::vector<HoleId>{HoleId{2}, HoleId{3}});
}

TEST_CASE("a mounting hole that the bill of materials lists as one is no body, a standoff there is one (constructed)") {
  struct Hole {
    const char *name, *value;  // value: as a bill of materials has it; none: no bill
    bool stands;
  };
  for (const auto& [name, value, stands] : {Hole{"H1", "MountingHole_Pad", false}, Hole{"H1", "Standoff M3x10", true},
                                            Hole{"MEC2", "", false}, Hole{"J5", "", true}}) {
    Board board;
    board.outline = {{{0, 0}, {60, 0}, {60, 40}, {0, 40}}, {}};
    Component screw;
    screw.name = PartName(name);
    Feature ring;
    ring.name = PadName(std::string(name) + "-1");
    ring.kind = FeatureKind::lead;
    ring.at = {4, 4};
    ring.hole = ring.netlist_hole = Mm{3.2};
    ring.component = ComponentId{0};
    for (const Side side : kBothSides) {
      ring.land[side].present = ring.land[side].round = true;
      ring.land[side].width = Mm{6};
    }
    screw.features.push_back(board.features.add(ring));
    board.components.push_back(screw);
    Sources sources;
    if (*value)
      sources.bom =
          formats::BomTable{.name = "bom.csv", .variants = {}, .fitted_column = {}, .rows = {{name, value, {true}, 2}}};
    Diagnostics diagnostics;
    const Rules rules = read_rules(*shipped("rules", "standard"), "rules", diagnostics);
    add_components(board, {}, rules, sources, diagnostics);
    INFO(name << " " << value);
    CHECK((board.components[ComponentId{0}].height > Mm{}) == stands);
  }
}

TEST_CASE(
    "of several bills of materials the one that lists the board's parts is taken, whatever its name (constructed)") {
  const std::string head = "Reference,Value,Quantity\n", own = head + "U1,MCU,1\n",
                    foreign = head + "U7,DRV,1\nU8,DRV,1\nR1,10k,1\n";
  const bool own_first = GENERATE(true, false);
  std::vector<FolderFile> files = release("", kPads);
  files.push_back({"netlist.ipc", netlist(kPads)});
  files.push_back({own_first ? "a.csv" : "b.csv", own});
  files.push_back({own_first ? "b.csv" : "a.csv", foreign});
  std::sort(files.begin(), files.end(), [](const auto& a, const auto& b) { return a.name < b.name; });
  Diagnostics diagnostics;
  const FirstJob first = recognise(files, diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(first.job.inputs.bom_file == (own_first ? "a.csv" : "b.csv"));
  CHECK(told(diagnostics, "start-two-boms"));
  CHECK(asks(first, "another bill of materials"));
}

TEST_CASE("holes drawn as a Gerber layer that says nothing of itself are drilled, and asked about (constructed)") {
  std::vector<FolderFile> files = release("", kPads);
  files[1].bytes = layer(kPads);  // lands on both sides
  files.push_back({"Drill TOP-BOT.GBR", layer(kPads)});
  files.push_back({"drill drawing.gbr", layer(kPads, {kEdge})});
  files.push_back({"netlist.ipc", netlist(kPads)});
  Diagnostics diagnostics;
  const FirstJob first = recognise(files, diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  REQUIRE(first.job.inputs.drills.size() == 1);
  CHECK(first.job.inputs.drills[0].file == "Drill TOP-BOT.GBR");
  CHECK(asks(first, "taken as a drill file"));
}

TEST_CASE("an empty layer whose name speaks of copper is no copper layer (constructed)") {
  for (const bool with_netlist : {true, false}) {
    std::vector<FolderFile> files = release("", kPads);
    files.push_back({"b-GROUND.gbr", layer({})});
    if (with_netlist) files.push_back({"netlist.ipc", netlist(kPads)});
    Diagnostics diagnostics;
    CHECK(file_of(recognise(files, diagnostics), LayerRole::copper_inner).empty());
  }
}

TEST_CASE("endings speak though all names are one (common practice, no source)") {
  std::vector<FolderFile> files = release("", kPads);
  const char* endings[] = {"b.gtl", "b.gbl", "b.gts", "b.gko"};
  for (std::size_t i = 0; i < files.size(); ++i) files[i].name = endings[i];
  Diagnostics diagnostics;
  const FirstJob first = recognise(files, diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(file_of(first, LayerRole::copper_top) == "b.gtl");
  CHECK(file_of(first, LayerRole::mask_top) == "b.gts");
}

TEST_CASE("what all names of a folder begin with is the project's, and says nothing of a layer (constructed)") {
  for (const bool with_netlist : {true, false}) {
    std::vector<FolderFile> files = release("", kPads);
    for (FolderFile& file : files) file.name = "power-top-" + file.name.substr(2);
    files.push_back({"power-top-User_1.gbr", layer({}, {{{2, 2}, {9, 2}, {9, 7}}})});
    if (with_netlist) files.push_back({"netlist.ipc", netlist(kPads)});
    Diagnostics diagnostics;
    const FirstJob first = recognise(files, diagnostics);
    REQUIRE_FALSE(diagnostics.failed());
    CHECK(file_of(first, LayerRole::copper_top) == "power-top-F_Cu.gbr");
    CHECK(file_of(first, LayerRole::copper_inner).empty());
    for (const GerberInput& input : first.job.inputs.gerbers)
      if (input.file == "power-top-User_1.gbr")
        CHECK((input.role == LayerRole::drawing || input.role == LayerRole::ignore));
  }
}

TEST_CASE("copper whose lands are larger than the netlist's is told from the mask by its traces (constructed)") {
  std::vector<Point> pads = kPads;
  for (int i = 0; i < 8; ++i) pads.push_back({3.0 + 3 * i, 10.2});
  // The netlist states 1 mm; both layers flash more.
  auto wide = [](std::string text, const char* size) {
    const std::size_t at_size = text.find("C,1*");
    return text.replace(at_size, 4, std::string("C,") + size + "*");
  };
  std::vector<Ring> traces;
  for (int i = 0; i < 30; ++i) traces.push_back({{2.0, 2 + 0.5 * i}, {9, 2 + 0.5 * i}, {9, 2.3 + 0.5 * i}});
  const std::vector<FolderFile> files = {{"a1", wide(layer(pads), "1.3")},
                                         {"a2", wide(layer(pads, traces), "1.2")},
                                         {"a3", netlist(pads)},
                                         {"a4", layer({}, {kEdge})}};
  Diagnostics diagnostics;
  const FirstJob first = recognise(files, diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(file_of(first, LayerRole::copper_top) == "a2");
  CHECK(file_of(first, LayerRole::mask_top) == "a1");
}

TEST_CASE("a plane that covers all pads of a side and draws none is neither its paste nor its mask (constructed)") {
  std::vector<Point> pads = kPads;
  for (int i = 0; i < 8; ++i) pads.push_back({3.0 + 3 * i, 10.2});
  std::string plane = layer({});
  plane.insert(plane.find("M02"), "G36*\n" + at({1, 1}) + "D02*\n" + at({29, 1}) + "D01*\n" + at({29, 19}) + "D01*\n" +
                                      at({1, 19}) + "D01*\n" + at({1, 1}) + "D01*\nG37*\n");
  const std::vector<FolderFile> files = {{"a1", layer(pads, {}, "%TF.FileFunction,Copper,L1,Top*%\n")},
                                         {"a2", plane},
                                         {"a3", layer(pads)},
                                         {"a4", netlist(pads)},
                                         {"a5", layer({}, {kEdge})}};
  Diagnostics diagnostics;
  const FirstJob first = recognise(files, diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(file_of(first, LayerRole::copper_top) == "a1");
  CHECK(file_of(first, LayerRole::copper_inner) == "a2");
  CHECK(file_of(first, LayerRole::paste_top) == "a3");
  CHECK(asks(first, "copper of another layer"));
}

TEST_CASE(
    "of two drawings that enclose all pads the smaller is the edge, in whatever order the files come (constructed)") {
  // Titles beside the board lie on the copper too, so that neither face holds it.
  const Ring title = {{50, -20}, {52, -20}, {52, -18}}, dimensions = {{-1, -1}, {31, -1}, {31, 21}, {-1, 21}};
  const bool edge_first = GENERATE(true, false);
  std::vector<FolderFile> files = {{"b-F_Cu.gbr", layer(kPads, {title})}, {"b-B_Cu.gbr", layer(kPads, {title})}};
  files.push_back({edge_first ? "a.gm1" : "z.gm1", layer({}, {kEdge, title})});
  files.push_back({"m.gm2", layer({}, {dimensions, title})});
  // The frame of a drawing holds the titles as well.
  files.push_back({edge_first ? "n.gm16" : "a.gm16", layer({}, {{{-60, -60}, {90, -60}, {90, 90}, {-60, 90}}})});
  std::sort(files.begin(), files.end(), [](const auto& a, const auto& b) { return a.name < b.name; });
  Diagnostics diagnostics;
  const FirstJob first = recognise(files, diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(first.job.inputs.outline_file == (edge_first ? "a.gm1" : "z.gm1"));
}

TEST_CASE("a keep-out ending is no doubt where the header calls the layer an outline (constructed)") {
  // The drawing shows a larger frame, and copper is drawn beyond the edge, as a test frame may be.
  const std::string edge = "G04 Layer: BoardOutlineLayer*\n", drawing = "G04 Layer: DocumentLayer*\n";
  const Ring open_edge = {{4.5, 4.5}, {25.5, 4.5}, {25.5, 15.5}, {4.5, 15.5}};
  const bool drawing_first = GENERATE(true, false);
  std::vector<FolderFile> files = {{"b-F_Cu.gbr", layer(kPads, {{{3, 3}, {27, 3}, {27, 17}, {3, 17}}})},
                                   {"b-B_Cu.gbr", layer(kPads)}};
  files.push_back({"x.gko", edge + layer({}, {open_edge})});
  files.push_back({drawing_first ? "a.gdl" : "y.gdl", drawing + layer({}, {kEdge})});
  std::sort(files.begin(), files.end(), [](const auto& a, const auto& b) { return a.name < b.name; });
  Diagnostics diagnostics;
  const FirstJob first = recognise(files, diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(first.job.inputs.outline_file == "x.gko");
}

namespace {
/// Four copper layers: lands through all of them, and others on the first two alone, with a drill file for each.
std::vector<FolderFile> four_layers(const std::string& blind_name, bool lands_show_it) {
  const std::vector<Point> through = {{5, 5}, {12, 5}, {25, 5}, {5, 15}}, blind = {{17, 15}, {25, 12}, {9, 9}, {20, 8}};
  std::vector<Point> outer = through, inner = through;
  outer.insert(outer.end(), blind.begin(), blind.end());
  if (lands_show_it) inner = outer;
  auto drill = [](const std::vector<Point>& holes) {
    std::string text = "M48\nMETRIC\nT1C0.3\n%\nT1\n";
    for (const Point hole : holes) text += "X" + std::to_string(hole.x) + "Y" + std::to_string(hole.y) + "\n";
    return text + "M30\n";
  };
  return {{"b-F_Cu.gbr", layer(outer)},           {"b-In1_Cu.gbr", layer(inner)}, {"b-In2_Cu.gbr", layer(through)},
          {"b-B_Cu.gbr", layer(through)},         {"b-PTH.drl", drill(through)},  {blind_name, drill(blind)},
          {"b-Edge_Cuts.gbr", layer({}, {kEdge})}};
}
const DrillInput* drill_of(const FirstJob& first, const std::string& name) {
  for (const DrillInput& input : first.job.inputs.drills)
    if (input.file == name) return &input;
  return nullptr;
}
}  // namespace

TEST_CASE("blind holes join the layers that have lands around them (constructed)") {
  Diagnostics diagnostics;
  const FirstJob first = recognise(four_layers("b-2.drl", true), diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  const DrillInput *through = drill_of(first, "b-PTH.drl"), *blind = drill_of(first, "b-2.drl");
  REQUIRE(through);
  REQUIRE(blind);
  CHECK(through->first_layer == 0);
  CHECK(blind->first_layer == 1);
  CHECK(blind->last_layer == 2);
  CHECK(blind->plating == "plated");  // no one drills between layers but to join them
  CHECK(through->plating.empty());
}

TEST_CASE("where lands do not tell, the name of a drill file says which layers it joins (common practice)") {
  for (const auto& [name, from, to] : {std::tuple{"b-front-in1.drl", 1, 2},
                                       {"b-in1-in2.drl", 2, 3},
                                       {"b-in2-back.drl", 3, 4},
                                       {"b-1-3.drl", 1, 3},
                                       {"b_rev-3-1-3.drl", 1, 3},
                                       {"2023-05-12.drl", 0, 0}}) {
    INFO(name);
    Diagnostics diagnostics;
    const FirstJob first = recognise(four_layers(name, false), diagnostics);
    REQUIRE_FALSE(diagnostics.failed());
    const DrillInput* blind = drill_of(first, name);
    REQUIRE(blind);
    CHECK(blind->first_layer == from);
    CHECK(blind->last_layer == to);
  }
}

TEST_CASE("a layer that draws surface pads one by one is an outer one, whatever number it has (constructed)") {
  std::vector<Point> top, bottom, vias;
  std::vector<Ring> traces;
  for (int i = 0; i < 12; ++i) {
    top.push_back({2.0 + 2 * i, 4});
    bottom.push_back({2.0 + 2 * i, 10});
    vias.push_back({2.0 + 2 * i, 16});
    traces.push_back({bottom.back(), vias.back()});
  }
  Witness witness;
  witness.top_smd = top;
  witness.bottom_smd = bottom;
  witness.vias = vias;
  witness.top_size = witness.bottom_size = std::vector<double>(12, 1.0);
  for (const bool draws : {true, false}) {
    std::vector<Point> flashed = vias;
    if (draws) flashed.insert(flashed.end(), bottom.begin(), bottom.end());
    FolderFile file{"L8.gbr", layer(flashed, traces)};
    Diagnostics diagnostics;
    Recognised entry;
    entry.file = &file;
    entry.kind = FileKind::gerber;
    entry.gerber = formats::read_gerber(file.bytes, file.name, diagnostics);
    role_by_content(entry, witness);
    CHECK(entry.role == (draws ? LayerRole::copper_bottom : LayerRole::copper_inner));
  }
}

TEST_CASE("a netlist's offset is found though most lands have no flash, and is asked about (constructed)") {
  std::mt19937 rng(5);
  std::uniform_real_distribution<double> x(2, 58), y(2, 38);
  std::vector<Point> pads, shifted;
  for (int i = 0; i < 90; ++i) {
    pads.push_back({x(rng), y(rng)});
    shifted.push_back(pads.back() + Point{100, 50});
  }
  for (const std::size_t flashed : {40u, 10u}) {
    std::vector<FolderFile> files = release("", {pads.begin(), pads.begin() + static_cast<std::ptrdiff_t>(flashed)});
    files.push_back({"netlist.ipc", netlist(shifted)});
    Diagnostics diagnostics;
    const FirstJob first = recognise(files, diagnostics);
    REQUIRE(first.job.inputs.netlist_offset);
    // Ten of ninety could meet by chance.
    const Point expected = flashed == 40 ? Point{-100, -50} : Point{};
    CHECK(distance(*first.job.inputs.netlist_offset, expected) < 0.01);
    CHECK(asks(first, "pads meet flashes of") == (flashed == 40));
  }
}

TEST_CASE("comments marked CHECK are counted until somebody deletes them (by hand)") {
  Diagnostics diagnostics;
  const Job job = read_job(
      "# CHECK the outline\n[inputs.netlist]\nfile = \"a.ipc\" # CHECK is no comment line\n# fine\n  # CHECK: side\n",
      "j.toml", diagnostics);
  CHECK(job.open_checks == std::vector<std::uint32_t>{1, 5});
}
