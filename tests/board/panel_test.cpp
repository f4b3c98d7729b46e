// Panels and wrong ways of loading, by plane geometry.
#include <catch2/catch.hpp>

#include "../../src/board/build.h"

using namespace teasel;

namespace {
Rules shipped_rules() {
  Diagnostics diagnostics;
  return read_rules(*shipped("rules", "standard"), "rules", diagnostics);
}
HoleId hole(Board& board, Point at, double diameter) {
  BoardHole drilled;
  drilled.at = drilled.end = at;
  drilled.diameter = Mm{diameter};
  drilled.plating = formats::Plating::unplated;
  return board.holes.add(drilled);
}
Board board_with(std::vector<std::pair<Point, double>> holes, Ring outline = {{0, 0}, {60, 0}, {60, 40}, {0, 40}}) {
  Board board;
  board.outline = {std::move(outline), {}};
  board.pieces = {board.outline};
  for (const auto& [at, diameter] : holes) hole(board, at, diameter);
  board.tooling = {HoleId{0}, HoleId{1}};
  return board;
}
std::vector<std::string> ways(Board& board) {
  Diagnostics diagnostics;
  find_wrong_ways(board, shipped_rules(), diagnostics, {});
  std::vector<std::string> out;
  for (const WrongWay& way : board.wrong_ways) out.push_back(way.how);
  CHECK(diagnostics.all().size() == out.size());
  return out;
}
}  // namespace

TEST_CASE(
    "two equal holes on a diagonal let the board on in all three wrong ways; holes of two sizes stop the two "
    "that swap them (symmetry of the rectangle)") {
  Board equal = board_with({{{4, 4}, 3.2}, {{56, 36}, 3.2}});
  CHECK(ways(equal).size() == 3);
  CHECK(equal.wrong_ways[0].sticks_out.v ==
        Approx(0).margin(1e-9));  // half turn about the middle: the rectangle covers itself
  // The pins are 0.05 mm thinner than their holes: 0.3 mm between the sizes is enough.
  Board unequal = board_with({{{4, 4}, 3.2}, {{56, 36}, 3.5}});
  CHECK(ways(unequal) == std::vector<std::string>{"turned over about the line through both pins"});
}

TEST_CASE("a wrong way maps the pins onto themselves, and turning over keeps lengths (plane geometry)") {
  Board board = board_with({{{4, 4}, 3.2}, {{56, 30}, 3.2}});
  ways(board);
  const Point round = board.holes.front().at, relieved = board.holes.back().at;
  for (const WrongWay& way : board.wrong_ways) {
    const Point p = way.map(round), q = way.map(relieved);
    const bool swapped = distance(p, relieved) < 1e-9 && distance(q, round) < 1e-9,
               kept = distance(p, round) < 1e-9 && distance(q, relieved) < 1e-9;
    CHECK((swapped || kept));
    CHECK(way.map.determinant() == Approx(way.turned_over ? -1 : 1));
  }
}

TEST_CASE(
    "four equal corner holes: turned over about its own middle the board lies where it should, on other holes "
    "(symmetry of the rectangle)") {
  Board board = board_with({{{2.5, 2.5}, 3.2}, {{37.5, 27.5}, 3.2}, {{37.5, 2.5}, 3.2}, {{2.5, 27.5}, 3.2}},
                           {{0, 0}, {40, 0}, {40, 30}, {0, 30}});
  Diagnostics diagnostics;
  find_wrong_ways(board, shipped_rules(), diagnostics, {});
  // The rectangle's own symmetries: half turn, and over about either middle line.
  REQUIRE(board.wrong_ways.size() >= 3);
  int over = 0;
  for (int i = 0; i < 3; ++i) {
    CHECK(board.wrong_ways[static_cast<std::size_t>(i)].sticks_out.v == Approx(0).margin(1e-9));
    over += board.wrong_ways[static_cast<std::size_t>(i)].turned_over;
  }
  CHECK(over == 2);
  CHECK(board.wrong_ways[3].sticks_out > Mm{1});
}

TEST_CASE("named tooling holes must take a pin, and keep apart (constructed)") {
  Board board = board_with({{{4, 4}, 3.2}, {{56, 36}, 3.2}, {{30, 20}, 0.3}, {{6, 4}, 3.2}});
  for (const Point second : {Point{30, 20}, Point{6, 4}}) {
    Board single = board;
    single.tooling.clear();
    Diagnostics diagnostics;
    choose_tooling(single, {}, shipped_rules(), {{4, 4}, second}, diagnostics);
    CHECK(diagnostics.failed());
  }
}

TEST_CASE(
    "a third hole off the pattern stops what it stops, one on the pattern's own image does not (plane "
    "geometry)") {
  // The half turn takes (50, 8) to (10, 32), where the board is solid; a hole there as well would let it on again.
  Board board = board_with({{{4, 4}, 3.2}, {{56, 36}, 3.2}, {{50, 8}, 2.5}});
  ways(board);
  REQUIRE(board.wrong_ways[0].how == "half turn");
  CHECK(board.wrong_ways[0].third_pin == std::vector<HoleId>{HoleId{2}});
  hole(board, {10, 32}, 2.5);
  ways(board);
  CHECK(board.wrong_ways[0].third_pin.empty());
}

TEST_CASE("an outline with a cut corner sticks out when it lies the wrong way (hand sum)") {
  Board board = board_with({{{4, 4}, 3.2}, {{56, 36}, 3.2}}, {{0, 0}, {60, 0}, {60, 40}, {10, 40}, {0, 30}});
  ways(board);
  // Turned by half, the whole corner (60, 0) comes to (0, 40): 10 / sqrt(2) off the cut.
  CHECK(board.wrong_ways[0].sticks_out.v == Approx(10 / std::sqrt(2.0)).margin(0.05));
}

TEST_CASE("a panel from an IPC-2581 step: places, turns and flips, names, sides (hand sum)") {
  Board board = board_with({{{4, 4}, 3.2}, {{56, 36}, 3.2}});
  board.tooling.clear();
  Feature feature;
  feature.name = PadName{"TP1"};
  feature.at = {10, 5};
  feature.net = NetId{0};
  feature.land[Side::top].present = true;
  board.features = {feature};
  Net net;
  net.name = NetName{"GND"};
  net.features = {FeatureId{0}};
  board.nets = {net};
  Exposure exposure;
  exposure.feature = FeatureId{0};
  exposure.side = Side::top;
  exposure.aim = feature.at;
  exposure.copper = exposure.contact = {{rectangle(feature.at, 1, 2), {}}};
  exposure.diameter = Mm{1};
  board.exposures = {exposure};
  Component part;
  part.name = PartName{"U1"};
  part.side = Side::top;
  part.body = {{rectangle({20, 20}, 4, 6), {}}};
  board.components = {part};
  Sources sources;
  sources.cad.emplace();
  sources.cad->step = "one";
  formats::CadStep panel;
  panel.name = "array";
  panel.places = {{"one", {5, 5}, Degrees{0}, false},
                  {"one", {200, 5}, Degrees{90}, false},
                  {"one", {80, 100}, Degrees{0}, true},
                  {"coupon", {0, 90}, Degrees{0}, false}};
  panel.outline = Polygon{{{-5, -5}, {210, -5}, {210, 150}, {-5, 150}}, {}};
  sources.cad->steps = {panel};
  Job job;
  job.panel.used = true;
  job.panel.step = "array";
  KeepOut label;
  label.name = "label";
  label.kind = "label";
  label.sides = Side::top;
  label.area = {{rectangle({50, 30}, 4, 4), {}}};
  board.keep_outs = {label};
  Diagnostics diagnostics;
  panelize(board, job, shipped_rules(), sources, diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  REQUIRE(board.places.size() == 3);
  CHECK(area(board.outline) == Approx(215 * 155));
  CHECK(board.features[FeatureId{1}].name == "P2:TP1");
  CHECK(board.features[FeatureId{1}].name.plain() == "TP1");
  CHECK(board.nets[NetId{2}].name == "P3:GND");
  // Quarter turn: (x, y) to (200 - y, 5 + x). Flip: (x, y) to (80 - x, 100 + y), and top becomes bottom.
  CHECK(board.exposures[ExposureId{1}].aim == BoardPoint{195, 15});
  const Exposure& flipped = board.exposures[ExposureId{2}];
  CHECK(flipped.aim == BoardPoint{70, 105});
  CHECK(flipped.side == Side::bottom);
  CHECK(board.features[FeatureId{2}].land[Side::bottom].present);
  CHECK_FALSE(board.features[FeatureId{2}].land[Side::top].present);
  CHECK(board.components[ComponentId{2}].side == Side::bottom);
  const Box turned = bounds(board.components[ComponentId{1}].body);
  CHECK(turned.width() == Approx(6));
  CHECK(turned.height() == Approx(4));
  REQUIRE(board.keep_outs.size() == 3);
  CHECK(board.keep_outs.back().sides == Sides{Side::bottom});
  CHECK(area(flipped.copper) == Approx(2));
  bool told = false;
  for (const Finding& finding : diagnostics.all()) told |= finding.code == "panel-step" && finding.found == "1 places";
  CHECK(told);
}

TEST_CASE(
    "rails of a panel whose edge is drawn carry stops, off the slots beside the boards; its own holes come first "
    "(hand sum)") {
  for (const bool drawn : {true, false}) {
    Board board = board_with({{{4, 4}, 3.2}, {{56, 36}, 3.2}});
    board.tooling.clear();
    Job job;
    job.panel.used = true;
    job.panel.places = {{"P1", {0, 0}, Degrees{}, false}, {"P2", {62, 0}, Degrees{}, false}};
    if (drawn) job.panel.outline = {{0, -12}, {122, -12}, {122, 52}, {0, 52}};
    job.panel.holes = {{{5, -6}, Mm{3}, false}, {{117, 46}, Mm{3}, false}};
    Diagnostics diagnostics;
    panelize(board, job, shipped_rules(), Sources{}, diagnostics);
    REQUIRE_FALSE(diagnostics.failed());
    // Two strips of 122 x 12 mm, less 2.5 mm beside the boards; corners lose next to nothing.
    CHECK(area(board.rails) == Approx(drawn ? 2 * 122 * 9.5 : 0).epsilon(0.01));
    CHECK(contains(board.holdable(), {61, -8}) == drawn);
    CHECK_FALSE(contains(board.holdable(), {61, -1}));
    CHECK(area(board.stiff()) == Approx(2 * 60 * 40));
    REQUIRE(board.tooling.size() == 2);
    for (const HoleId pin : board.tooling) CHECK(board.holes[pin].of_panel);
  }
}
