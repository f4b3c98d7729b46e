#include <catch2/catch.hpp>
#include <random>

#include "../../src/board/build.h"

using namespace teasel;

namespace {
std::vector<Point> scattered(int count, unsigned seed) {
  std::mt19937 rng(seed);
  std::uniform_real_distribution<double> at(0, 100);
  std::vector<Point> points;
  for (int i = 0; i < count; ++i) points.push_back({at(rng), at(rng)});
  return points;
}
}  // namespace

TEST_CASE("a hidden offset is found to 0.1 um among strangers (constructed, seed 3)") {
  const auto points = scattered(200, 3);
  auto flashes = scattered(300, 4);
  for (Point p : points) flashes.push_back(p + Point{155.575, -153.035});
  const OffsetFit fit = fit_offset(points, flashes);
  CHECK(fit.share == 1);
  CHECK(fit.offset.x == Approx(155.575).margin(1e-4));
  CHECK(fit.offset.y == Approx(-153.035).margin(1e-4));
}

TEST_CASE("wrong unit, mirror and strange boards are told apart (constructed)") {
  const auto flashes = scattered(300, 5);
  auto scaled = flashes, mirrored = flashes;
  for (Point& p : scaled) p = (1 / 25.4) * p;
  for (Point& p : mirrored) p.x = 100 - p.x;
  CHECK(name_the_fault(scaled, flashes).find("25.4 times larger") != std::string::npos);
  CHECK(name_the_fault(mirrored, flashes).find("X were mirrored") != std::string::npos);
  CHECK(name_the_fault(scattered(300, 6), flashes).empty());
}

TEST_CASE("a drill file without format is read by its holes (constructed: inch 2.5, trailing zeros kept)") {
  std::mt19937 rng(9);
  std::string text = "M48\nINCH,TZ\nT1C.012\n%\nT1\n";
  std::vector<Point> pads;
  for (int i = 0; i < 60; ++i) {
    const int x = 1000 + static_cast<int>(rng() % 400000), y = 1000 + static_cast<int>(rng() % 400000);
    text += "X" + std::to_string(x) + "Y" + std::to_string(y) + "\n";
    pads.push_back({x * 25.4e-5, y * 25.4e-5});
  }
  Diagnostics diagnostics;
  const auto file = formats::read_drill(text + "M30\n", "d", diagnostics);
  const DrillFit fit = fit_drill(file, pads);
  CHECK(fit.format.decimals == 5);
  CHECK(fit.share == 1);
  CHECK(fit.runner_up < 0.2);
}

TEST_CASE("the mask field is calibrated on top surface pads: both conventions exist (writers measured)") {
  for (auto [code, meaning] : {std::pair{1, "open"}, {2, "covered"}}) {
    formats::Netlist netlist;
    for (int i = 0; i < 10; ++i) {
      formats::NetlistRecord record;
      record.kind = formats::NetlistRecord::Kind::surface;
      record.access = 1;
      record.component = "R1";
      record.mask_code = code;
      netlist.records.push_back(record);
    }
    CHECK(mask_field_meaning(netlist) == meaning);
  }
}

TEST_CASE("the bottom side is the largest access code, not always 02 (real files)") {
  formats::Netlist netlist;
  formats::NetlistRecord record;
  for (int access : {1, 0, 14, 1}) {
    record.access = access;
    netlist.records.push_back(record);
  }
  CHECK(bottom_code(netlist) == 14);
}

TEST_CASE("four tabs of one shield pin are one pin of their net; two pins under a net are two (counted by hand)") {
  formats::Netlist netlist;
  auto pad = [&](const char* net, const char* part, const char* pin, NetlistPoint at) {
    formats::NetlistRecord record;
    record.kind = formats::NetlistRecord::Kind::surface;
    record.access = 1;
    record.net = net;
    record.component = part;
    record.pin = pin;
    record.at = at;
    record.width = record.height = Mm{1};
    netlist.records.push_back(record);
  };
  for (int i = 0; i < 4; ++i) pad("-SHIELD-PADS1)", "J1", "S1", {10.0 * i, 5});
  pad("GND", "J1", "S2", {10, 20});
  pad("GND", "J1", "S2", {20, 20});
  pad("GND", "R1", "1", {30, 20});
  pad("GND", "", "", {40, 20});
  Board board;
  Diagnostics diagnostics;
  add_netlist(board, netlist, diagnostics);
  REQUIRE(board.nets.size() == 2);
  CHECK(board.nets[NetId{0}].pins == 1);
  CHECK(board.nets[NetId{1}].pins == 3);
}
