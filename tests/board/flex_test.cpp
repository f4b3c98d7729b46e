// Boards of which parts bend: as layers and the job draw them, and as a narrow edge lets suspect.
#include <algorithm>
#include <catch2/catch.hpp>

#include "../../src/board/build.h"
#include "../../src/board/recogniser.h"

using namespace teasel;

namespace {
std::string at(Point place) {
  return "X" + std::to_string(std::llround(place.x * 1e6)) + "Y" + std::to_string(std::llround(place.y * 1e6));
}
/// A layer of closed strokes of 0.1 mm and pads of 1 mm.
std::string layer(const std::vector<Ring>& loops, const std::vector<Point>& pads = {}, const std::string& head = {}) {
  std::string text = "%FSLAX46Y46*%\n%MOMM*%\n" + head + "%ADD10C,1*%\n%ADD11C,0.1*%\nG01*\nD10*\n";
  for (const Point pad : pads) text += at(pad) + "D03*\n";
  text += "D11*\n";
  for (const Ring& loop : loops) {
    text += at(loop[0]) + "D02*\n";
    for (std::size_t i = 1; i <= loop.size(); ++i) text += at(loop[i % loop.size()]) + "D01*\n";
  }
  return text + "M02*\n";
}
Ring box(double x0, double y0, double x1, double y1) {
  return {{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}};
}
// Two stiff parts of 20 x 20 mm, joined by a tail of 30 x 4 mm.
const Ring kTwoIslands = {{0, 0},   {20, 0},  {20, 8},  {50, 8},  {50, 0},  {70, 0},
                          {70, 20}, {50, 20}, {50, 12}, {20, 12}, {20, 20}, {0, 20}};
const std::vector<Point> kPads = {{4, 4}, {15, 4}, {4, 15}, {15, 14}, {54, 4}, {66, 4}, {54, 15}, {65, 14}, {35, 10}};

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
std::vector<FolderFile> release(const Ring& edge, const std::vector<Point>& pads = kPads) {
  return {{"netlist.ipc", netlist(pads)},
          {"rigid-flex-F_Cu.gbr", layer({}, pads)},
          {"rigid-flex-B_Cu.gbr", layer({}, {pads[0]})},
          {"rigid-flex-F_Mask.gbr", layer({}, pads)},
          {"rigid-flex-B_Mask.gbr", layer({}, {pads[0]})},
          {"rigid-flex-Edge_Cuts.gbr", layer({edge})}};
}
LayerRole role_of(const FirstJob& first, const std::string& file) {
  for (const GerberInput& input : first.job.inputs.gerbers)
    if (input.file == file) return input.role;
  return LayerRole::ignore;
}
/// Lines of evidence for the edge that hold this.
std::size_t lines_with(const FirstJob& first, const std::string& what) {
  const auto found = first.evidence.find("inputs.outline");
  if (found == first.evidence.end()) return 0;
  return static_cast<std::size_t>(
      std::count_if(found->second.begin(), found->second.end(),
                    [&](const std::string& line) { return line.find(what) != std::string::npos; }));
}

/// The board on which the layers draw what bends.
Board with(const std::vector<std::pair<LayerRole, std::vector<Ring>>>& layers, const Job& job, Diagnostics& found) {
  Board board;
  board.outline = {kTwoIslands, {}};
  board.pieces = {board.outline};
  Sources sources;
  for (const auto& [role, loops] : layers) {
    GerberInput input;
    input.file = "layer";
    input.role = role;
    sources.layers.push_back(input);
    sources.gerbers.push_back(formats::read_gerber(layer(loops), "layer", found));
  }
  add_flex(board, job, sources, found);
  return board;
}
bool told(const Diagnostics& diagnostics, const std::string& code) {
  return std::any_of(diagnostics.all().begin(), diagnostics.all().end(),
                     [&](const Finding& finding) { return finding.code == code; });
}
double bends(const Board& board) {
  double sum = 0;
  for (const FlexPart& part : board.flex) sum += area(part.area);
  return sum;
}
// mm2; half the width of the strokes about each area, and as much again for joining and thinning
constexpr double kStrokes = 12;
}  // namespace

TEST_CASE("layers for flexible parts, for stiff parts and for stiffeners give the same parts that bend (by hand)") {
  Diagnostics found;
  const Board flex = with({{LayerRole::flex, {box(20, 7, 50, 13)}}}, {}, found);
  CHECK(bends(flex) == Approx(30 * 4).margin(kStrokes));
  CHECK(area(flex.stiff()) == Approx(2 * 20 * 20).margin(kStrokes));
  CHECK(flex.stiff().size() == 2);
  const Board rigid = with({{LayerRole::rigid, {box(0, 0, 20, 20), box(50, 0, 70, 20)}}}, {}, found);
  CHECK(bends(rigid) == Approx(30 * 4).margin(kStrokes));
  const Board stiffened =
      with({{LayerRole::flex, {box(20, 7, 50, 13)}}, {LayerRole::stiffener, {box(30, 5, 40, 15)}}}, {}, found);
  CHECK(bends(stiffened) == Approx(20 * 4).margin(kStrokes));
  CHECK(stiffened.flex.size() == 2);
  CHECK(told(found, "flex-parts"));
  CHECK_FALSE(told(found, "flex-not-told"));
  Diagnostics asked;
  CHECK(with({{LayerRole::stiffener, {box(30, 5, 40, 15)}}}, {}, asked).flex.empty());
  CHECK(told(asked, "flex-not-told"));
  Diagnostics empty;
  CHECK(with({{LayerRole::flex, {}}}, {}, empty).flex.empty());
  CHECK(told(empty, "flex-layer-empty"));
}

TEST_CASE("what the job draws counts before the layers, and a part that is held may be stood on (by hand)") {
  Diagnostics found;
  const Job job = read_job(
      "[inputs.netlist]\nfile = \"a.ipc\"\n[[flex]]\nname = \"shelf\"\nfrom = [\"20 mm\", \"0 mm\"]\n"
      "to = [\"35 mm\", \"20 mm\"]\nbacked = true\n",
      "job.toml", found);
  REQUIRE_FALSE(found.failed());
  const Board board = with({{LayerRole::flex, {box(20, 7, 50, 13)}}}, job, found);
  REQUIRE(board.flex.size() == 2);
  CHECK(board.flex[FlexId{0}].name == "shelf");
  CHECK(board.flex[FlexId{0}].backed);
  CHECK(area(board.flex[FlexId{0}].area) == Approx(15 * 4).margin(0.01));
  CHECK(area(board.flex[FlexId{1}].area) == Approx(15 * 4).margin(kStrokes));
  CHECK(area(board.holdable()) == Approx(2 * 20 * 20 + 15 * 4).margin(kStrokes));
  CHECK(area(board.stiff()) == Approx(2 * 20 * 20).margin(kStrokes));
  Diagnostics whole;
  with({{LayerRole::flex, {box(-1, -1, 71, 21)}}}, {}, whole);
  CHECK(told(whole, "flex-whole-board"));
}

TEST_CASE("a layer's own words say that it draws what bends; a word in every name is the board's (constructed)") {
  std::vector<FolderFile> files = release(kTwoIslands);
  files.push_back({"rigid-flex-bendarea.gbr", layer({box(20, 7, 50, 13)})});
  files.push_back(
      {"rigid-flex-User_1.gbr", layer({box(30, 5, 40, 15)}, {}, "%TF.FileFunction,Other,Stiffener,Bot*%\n")});
  Diagnostics diagnostics;
  const FirstJob first = recognise(files, diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(role_of(first, "rigid-flex-bendarea.gbr") == LayerRole::flex);
  CHECK(role_of(first, "rigid-flex-User_1.gbr") == LayerRole::stiffener);
  CHECK(role_of(first, "rigid-flex-F_Cu.gbr") == LayerRole::copper_top);
  CHECK(lines_with(first, "narrow") == 0);
}

TEST_CASE("wide parts of an edge that narrow ones join are asked about, with a rectangle about each (constructed)") {
  Diagnostics diagnostics;
  const FirstJob islands = recognise(release(kTwoIslands), diagnostics);
  CHECK(lines_with(islands, "CHECK: the board edge has 1 narrow part beside 2 wide ones") == 1);
  CHECK(lines_with(islands, "[[flex]]  # 4 mm wide") == 1);
  // Neither a plain board, nor a plug of a third of its width, nor one with notches is asked about.
  const std::vector<Point> pads = {{4, 4}, {15, 4}, {26, 4}, {4, 15}, {15, 14}, {26, 16}};
  const Ring plain = box(0, 0, 30, 20),
             plug = {{0, 0}, {30, 0}, {30, 20}, {21, 20}, {21, 32}, {9, 32}, {9, 20}, {0, 20}},
             stepped = {{0, 0}, {30, 0}, {30, 20}, {28, 20}, {28, 21.5}, {2, 21.5}, {2, 20}, {0, 20}},
             notched = {{0, 0}, {12, 0}, {12, 3}, {18, 3}, {18, 0}, {30, 0}, {30, 20}, {0, 20}};
  for (const Ring& edge : {plain, plug, stepped, notched})
    CHECK(lines_with(recognise(release(edge, pads), diagnostics), "narrow") == 0);
}
