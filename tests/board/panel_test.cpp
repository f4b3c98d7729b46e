// Panels and wrong ways of loading, by plane geometry.
#include <catch2/catch.hpp>

#include "../../src/board/build.h"

using namespace teasel;

namespace {
Rules shipped_rules() {
  Diagnostics d;
  return read_rules(*shipped("rules", "standard"), "rules", d);
}
int hole(Board& b, Point at, double diameter) {
  BoardHole h;
  h.at = h.end = at;
  h.diameter = diameter;
  h.plating = formats::Plating::unplated;
  b.holes.push_back(h);
  return static_cast<int>(b.holes.size()) - 1;
}
Board board_with(std::vector<std::pair<Point, double>> holes, Ring outline = {{0, 0}, {60, 0}, {60, 40}, {0, 40}}) {
  Board b;
  b.outline = {std::move(outline), {}};
  b.pieces = {b.outline};
  for (const auto& [at, d] : holes) hole(b, at, d);
  b.tooling = {0, 1};
  return b;
}
std::vector<std::string> ways(Board& b) {
  Diagnostics d;
  find_wrong_ways(b, shipped_rules(), d, {});
  std::vector<std::string> out;
  for (const WrongWay& w : b.wrong_ways) out.push_back(w.how);
  CHECK(d.all().size() == out.size());
  return out;
}
}  // namespace

TEST_CASE(

    "two equal holes on a diagonal let the board on in all three wrong ways; holes of two sizes stop the two "
    "that swap them (symmetry of the rectangle)") {
  Board equal = board_with({{{4, 4}, 3.2}, {{56, 36}, 3.2}});
  CHECK(ways(equal).size() == 3);
  CHECK(equal.wrong_ways[0].sticks_out ==
        Approx(0).margin(1e-9));  // half turn about the middle: the rectangle covers itself
  // The pins are 0.05 mm thinner than their holes: 0.3 mm between the sizes is enough.
  Board unequal = board_with({{{4, 4}, 3.2}, {{56, 36}, 3.5}});
  CHECK(ways(unequal) == std::vector<std::string>{"turned over about the line through both pins"});
}

TEST_CASE("a wrong way maps the pins onto themselves, and turning over keeps lengths (plane geometry)") {
  Board b = board_with({{{4, 4}, 3.2}, {{56, 30}, 3.2}});
  ways(b);
  for (const WrongWay& w : b.wrong_ways) {
    const Point p = w.map(b.holes[0].at), q = w.map(b.holes[1].at);
    const bool swapped = distance(p, b.holes[1].at) < 1e-9 && distance(q, b.holes[0].at) < 1e-9,
               kept = distance(p, b.holes[0].at) < 1e-9 && distance(q, b.holes[1].at) < 1e-9;
    CHECK((swapped || kept));
    CHECK(w.map.determinant() == Approx(w.turned_over ? -1 : 1));
  }
}

TEST_CASE(
    "four equal corner holes: turned over about its own middle the board lies where it should, on other holes "
    "(symmetry of the rectangle)") {
  Board b = board_with({{{2.5, 2.5}, 3.2}, {{37.5, 27.5}, 3.2}, {{37.5, 2.5}, 3.2}, {{2.5, 27.5}, 3.2}},
                       {{0, 0}, {40, 0}, {40, 30}, {0, 30}});
  Diagnostics d;
  find_wrong_ways(b, shipped_rules(), d, {});
  // The rectangle's own symmetries: half turn, and over about either middle line.
  REQUIRE(b.wrong_ways.size() >= 3);
  int over = 0;
  for (int i = 0; i < 3; ++i) {
    CHECK(b.wrong_ways[static_cast<std::size_t>(i)].sticks_out == Approx(0).margin(1e-9));
    over += b.wrong_ways[static_cast<std::size_t>(i)].turned_over;
  }
  CHECK(over == 2);
  CHECK(b.wrong_ways[3].sticks_out > 1);
}

TEST_CASE("named tooling holes must take a pin, and keep apart (constructed)") {
  Board b = board_with({{{4, 4}, 3.2}, {{56, 36}, 3.2}, {{30, 20}, 0.3}, {{6, 4}, 3.2}});
  for (const Point second : {Point{30, 20}, Point{6, 4}}) {
    Board c = b;
    c.tooling.clear();
    Job job;
    job.tooling = {{4, 4}, second};
    Diagnostics d;
    choose_tooling(c, job, shipped_rules(), d);
    CHECK(d.failed());
  }
}

TEST_CASE(
    "a third hole off the pattern stops what it stops, one on the pattern's own image does not (plane "
    "geometry)") {
  // The half turn takes (50, 8) to (10, 32), where the board is solid; a hole there as well would let it on again.
  Board b = board_with({{{4, 4}, 3.2}, {{56, 36}, 3.2}, {{50, 8}, 2.5}});
  ways(b);
  REQUIRE(b.wrong_ways[0].how == "half turn");
  CHECK(b.wrong_ways[0].third_pin == std::vector<int>{2});
  hole(b, {10, 32}, 2.5);
  ways(b);
  CHECK(b.wrong_ways[0].third_pin.empty());
}

TEST_CASE("an outline with a cut corner sticks out when it lies the wrong way (hand sum)") {
  Board b = board_with({{{4, 4}, 3.2}, {{56, 36}, 3.2}}, {{0, 0}, {60, 0}, {60, 40}, {10, 40}, {0, 30}});
  ways(b);
  // Turned by half, the whole corner (60, 0) comes to (0, 40): 10 / sqrt(2) off the cut.
  CHECK(b.wrong_ways[0].sticks_out == Approx(10 / std::sqrt(2.0)).margin(0.05));
}

TEST_CASE("a panel from an IPC-2581 step: places, turns and flips, names, sides (hand sum)") {
  Board b = board_with({{{4, 4}, 3.2}, {{56, 36}, 3.2}});
  b.tooling.clear();
  Feature f;
  f.name = "TP1";
  f.at = {10, 5};
  f.net = 0;
  f.land[0].present = true;
  b.features = {f};
  Net n;
  n.name = "GND";
  n.features = {0};
  b.nets = {n};
  Exposure e;
  e.feature = 0;
  e.side = Side::top;
  e.aim = f.at;
  e.copper = e.contact = {{rectangle(f.at, 1, 2), {}}};
  e.diameter = 1;
  b.exposures = {e};
  Component c;
  c.name = "U1";
  c.side = Side::top;
  c.body = {{rectangle({20, 20}, 4, 6), {}}};
  b.components = {c};
  Sources s;
  s.cad.emplace();
  s.cad->step = "one";
  formats::CadStep panel;
  panel.name = "array";
  panel.places = {{"one", {5, 5}, 0, false},
                  {"one", {200, 5}, 90, false},
                  {"one", {80, 100}, 0, true},
                  {"coupon", {0, 90}, 0, false}};
  panel.outline = Polygon{{{-5, -5}, {210, -5}, {210, 150}, {-5, 150}}, {}};
  s.cad->steps = {panel};
  Job job;
  job.panel.used = true;
  job.panel.step = "array";
  KeepOut k;
  k.name = "label";
  k.kind = "label";
  k.side = "top";
  k.area = {{rectangle({50, 30}, 4, 4), {}}};
  job.keep_outs = {k};
  Diagnostics d;
  panelize(b, job, shipped_rules(), s, d);
  REQUIRE_FALSE(d.failed());
  REQUIRE(b.places.size() == 3);
  CHECK(area(b.outline) == Approx(215 * 155));
  CHECK(b.features[1].name == "P2:TP1");
  CHECK(b.features[1].plain() == "TP1");
  CHECK(b.nets[2].name == "P3:GND");
  // Quarter turn: (x, y) to (200 - y, 5 + x). Flip: (x, y) to (80 - x, 100 + y), and top becomes bottom.
  CHECK(b.exposures[1].aim == Point{195, 15});
  CHECK(b.exposures[2].aim == Point{70, 105});
  CHECK(b.exposures[2].side == Side::bottom);
  CHECK(b.features[2].land[1].present);
  CHECK_FALSE(b.features[2].land[0].present);
  CHECK(b.components[2].side == Side::bottom);
  const Box turned = bounds(b.components[1].body);
  CHECK(turned.width() == Approx(6));
  CHECK(turned.height() == Approx(4));
  REQUIRE(job.keep_outs.size() == 3);
  CHECK(job.keep_outs[2].side == "bottom");
  CHECK(area(b.exposures[2].copper) == Approx(2));
  bool told = false;
  for (const Finding& x : d.all()) told |= x.code == "panel-step" && x.found == "1 places";
  CHECK(told);
}
