#include <catch2/catch.hpp>

#include "teasel/board.h"

using namespace teasel;

namespace {
formats::GerberFile file(const std::string& body) {
  Diagnostics diagnostics;
  auto layer = formats::read_gerber("%FSLAX43Y43*%\n%MOMM*%\n%ADD10C,0.1*%\n%ADD11C,0.2*%\nD10*\n" + body + "M02*\n",
                                    "o.gbr", diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  return layer;
}
std::string box(int x0, int y0, int x1, int y1) {
  auto xy = [](int x, int y) { return "X" + std::to_string(x * 1000) + "Y" + std::to_string(y * 1000); };
  return xy(x0, y0) + "D02*" + xy(x1, y0) + "D01*" + xy(x1, y1) + "D01*" + xy(x0, y1) + "D01*" + xy(x0, y0) + "D01*\n";
}
const std::vector<Point> kPads{{2, 2}, {8, 2}, {8, 8}, {2, 8}};
/// A board of which nothing but layers is known: an outline drawn beside its frame, top copper, and more.
Board board_of(const std::vector<std::pair<LayerRole, std::string>>& layers, Job job, Diagnostics& diagnostics) {
  Sources sources;
  for (const auto& [role, body] : layers) {
    GerberInput input;
    input.file = std::string(to_string(role)) + std::to_string(job.inputs.gerbers.size());
    input.role = role;
    if (role == LayerRole::copper_inner) input.layer = 9;
    sources.gerbers.push_back(file(body));
    sources.layers.push_back(input);
    job.inputs.gerbers.push_back(input);
    if (role == LayerRole::drawing) job.inputs.outline_file = input.file;
  }
  const Rules rules = read_rules(*shipped("rules", "standard"), "rules", diagnostics);
  unfold(job, sources, diagnostics);
  return assemble(job, rules, sources, diagnostics);
}
std::string flashes(const std::vector<Point>& places) {
  std::string text = "D11*";
  for (const Point at : places)
    text += "X" + std::to_string(std::lround(at.x * 1000)) + "Y" + std::to_string(std::lround(at.y * 1000)) + "D03*\n";
  return text;
}
}  // namespace

TEST_CASE("the area that the job states says which face is the board, wherever it stands in the list (by hand)") {
  // A pad outside the board's own face puts the frame first.
  std::vector<Point> places{{20, 20}};
  for (int i = 0; i < 400; ++i) places.push_back({1 + 0.4 * (i % 20), 1 + 0.4 * (i / 20)});
  const std::string pads = flashes(places);
  for (const int choice : {1, 2}) {
    Job job;
    job.inputs.outline_choice = choice;
    job.inputs.outline_area = Mm2{100};
    job.inputs.accept = {"outline-off-pads"};
    Diagnostics diagnostics;
    const Board board =
        board_of({{LayerRole::copper_top, pads}, {LayerRole::drawing, box(0, 0, 10, 10) + box(-50, -50, 60, 60)}}, job,
                 diagnostics);
    CHECK(area(board.outline) == Approx(100));
  }
  Job job;
  job.inputs.outline_area = Mm2{150};
  Diagnostics diagnostics;
  board_of({{LayerRole::copper_top, pads}, {LayerRole::drawing, box(0, 0, 10, 10) + box(-50, -50, 60, 60)}}, job,
           diagnostics);
  CHECK(diagnostics.failed());
}

TEST_CASE("the bottom lies below a ninth layer, though only three files are at hand (by hand)") {
  Diagnostics diagnostics;
  const std::string pads = flashes(kPads);
  const Board board = board_of({{LayerRole::copper_top, pads},
                                {LayerRole::copper_inner, pads},
                                {LayerRole::copper_bottom, pads},
                                {LayerRole::drawing, box(0, 0, 10, 10)}},
                               {}, diagnostics);
  CHECK_FALSE(diagnostics.failed());
  CHECK(board.copper_layers == 10);
}

TEST_CASE("the smallest closed face that encloses every pad wins over frames around it (by hand)") {
  const auto found = outline_candidates(file(box(0, 0, 10, 10) + box(-50, -50, 60, 60) + box(3, 3, 4, 4)), kPads);
  REQUIRE(found.size() == 2);
  CHECK(found[0].area.v == Approx(100));
  CHECK(found[1].area.v == Approx(12100));
}

TEST_CASE("strokes in any order and direction join at their ends; a cutout of the same pen is found (by hand)") {
  const auto found = outline_candidates(
      file("X0Y0D02*X10000D01*X0Y10000D02*Y0D01*X10000Y10000D02*X0D01*X10000Y0D02*Y10000D01*\n" + box(4, 4, 6, 6)),
      kPads);
  REQUIRE(found.size() == 1);
  CHECK(found[0].area.v == Approx(100));
  REQUIRE(found[0].face.holes.size() == 1);
  CHECK(std::abs(signed_area(found[0].face.holes[0])) == Approx(4));
}

TEST_CASE("an outline of crossing strokes is found by the arrangement (by hand)") {
  // Four lines that overshoot their corners, as in a drawing.
  const auto found = outline_candidates(
      file("X-3000Y0D02*X13000D01*X-3000Y10000D02*X13000D01*X0Y-3000D02*Y13000D01*X10000Y-3000D02*Y13000D01*\n"),
      kPads);
  REQUIRE_FALSE(found.empty());
  CHECK(found[0].area.v == Approx(100));
}

TEST_CASE("an open outline gives nothing (plane geometry: it encloses no area)") {
  CHECK(outline_candidates(file("X0Y0D02*X10000D01*Y10000D01*X0D01*\n"), kPads).empty());
}

TEST_CASE("without an outline file the netlist's BOARD_EDGE serves (IPC-D-356A record 389, modal coordinates)") {
  auto line = [](std::string content) { return content + std::string(80 - content.size(), ' ') + "\n"; };
  const std::string text = line("P  UNITS CUST 1") +
                           line("327N1               R1    -1          A01X+005000Y+005000X1000Y1000R000 S1") +
                           line("327N1               R1    -2          A01X+015000Y+008000X1000Y1000R000 S1") +
                           line("389BOARD_EDGE         X0Y0 X20000 Y10000 X0 Y0") + line("999");
  Diagnostics diagnostics;
  Sources sources;
  sources.netlist = formats::read_netlist(text, "n.ipc", std::nullopt, diagnostics);
  Job job;
  job.inputs.netlist_file = "n.ipc";
  const Rules rules = read_rules(*shipped("rules", "standard"), "rules", diagnostics);
  unfold(job, sources, diagnostics);
  const Board board = assemble(job, rules, sources, diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(area(board.outline) == Approx(200));
  CHECK_FALSE(board.outline_assumed);
}
