// Boards made by dice, as a plan keeps them.
#pragma once
#include <catch2/catch.hpp>
#include <random>

#include "teasel/respin.h"

namespace teasel::testing {

using formats::BuiltBoard;
using formats::BuiltNetId;
using formats::BuiltPad;
using formats::BuiltPadId;
using formats::BuiltPart;
using formats::BuiltPartId;

inline Box about(Point p, double w, double h) {
  return {p.x - w / 2, p.y - h / 2, p.x + w / 2, p.y + h / 2};
}

/// Pads of no part are named by their place.
inline std::string bare_name(Point p) {
  return "pad@" + short_number(p.x, 3) + "/" + short_number(p.y, 3);
}

/// Parts on a grid of 8 mm, pads in two rows, nets dealt to pins, vias and bare pads beside them. Every net has two
/// pads or more.
inline BuiltBoard made_board(unsigned seed, int columns = 6, int rows = 5) {
  std::mt19937 dice(seed);
  auto roll = [&](int n) { return static_cast<int>(dice() % static_cast<unsigned>(n)); };
  BuiltBoard board;
  board.name = "dice";
  board.revision = "A";
  board.thickness = Mm{1.6};
  board.outline.outer = {{0, 0}, {columns * 8.0 + 4, 0}, {columns * 8.0 + 4, rows * 8.0 + 4}, {0, rows * 8.0 + 4}};
  board.tooling = {{{2, 2}, Mm{3.0}}, {{columns * 8.0 + 2, rows * 8.0 + 2}, Mm{3.0}}};
  const auto nets = static_cast<std::size_t>(columns * rows);
  for (std::size_t i = 0; i < nets; ++i) board.nets.push_back("NET" + std::to_string(i));
  std::size_t next = 0;
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < columns; ++column) {
      const Point place{6 + 8.0 * column + 0.001 * roll(500), 6 + 8.0 * row + 0.001 * roll(500)};
      BuiltPart part;
      part.name = "U" + std::to_string(board.parts.size() + 1);
      part.value = "v" + std::to_string(roll(9));
      part.side = roll(2) ? Side::top : Side::bottom;
      part.height = Mm{0.5 + 0.1 * roll(20)};
      part.height_confirmed = roll(2) != 0;
      part.body = {{rectangle(place, 4, 3), {}}};
      const int pins = 2 + roll(6);
      for (int k = 0; k < pins; ++k) {
        BuiltPad pad;
        pad.pin = std::to_string(k + 1);
        pad.name = part.name + "-" + pad.pin;
        pad.kind = "component pad";
        pad.net = BuiltNetId{next++ % nets};
        pad.component = board.parts.next();
        pad.at = place + Point{-1.5 + k * 0.5, k % 2 ? 1.0 : -1.0};
        pad.bare[part.side] = about(pad.at, 0.3 + 0.01 * roll(10), 0.8);
        board.pads.push_back(pad);
      }
      board.parts.push_back(part);
    }
  for (int i = 0; i < columns * rows; ++i) {
    BuiltPad pad;
    pad.at = {3.001 + 8.0 * (i % columns), 10.003 + 8.0 * (i / columns)};
    pad.name = bare_name(pad.at);
    pad.kind = "test pad";
    pad.net = BuiltNetId::of_number(i);
    pad.bare[Side::bottom] = about(pad.at, 1.0, 1.0);
    board.pads.push_back(pad);
  }
  return board;
}

inline void move_board(BuiltBoard& board, const Affine& map) {
  auto move = [&](Box& box) {
    if (box.valid())
      box = bounds(transformed(Ring{{box.x0, box.y0}, {box.x1, box.y0}, {box.x1, box.y1}, {box.x0, box.y1}}, map));
  };
  board.outline.outer = transformed({{board.outline.outer, {}}}, map)[0].outer;
  for (auto& pin : board.tooling) pin.at = map(pin.at);
  for (BuiltPart& part : board.parts) part.body = transformed(part.body, map);
  for (BuiltPad& pad : board.pads) {
    pad.at = map(pad.at);
    for (Box& bare : pad.bare) move(bare);
    if (!pad.component) pad.name = bare_name(pad.at);
  }
}
inline void move_part(BuiltBoard& board, BuiltPartId part, Point by) {
  board.parts[part].body = transformed(board.parts[part].body, {1, 0, 0, 1, by.x, by.y});
  for (BuiltPad& pad : board.pads)
    if (pad.component == part) {
      pad.at = pad.at + by;
      for (Box& bare : pad.bare)
        if (bare.valid()) bare = {bare.x0 + by.x, bare.y0 + by.y, bare.x1 + by.x, bare.y1 + by.y};
    }
}
inline void remove_part(BuiltBoard& board, BuiltPartId part) {
  auto& pads = board.pads.rows();
  pads.erase(std::remove_if(pads.begin(), pads.end(), [&](const BuiltPad& pad) { return pad.component == part; }),
             pads.end());
  board.parts.rows().erase(board.parts.begin() + part.number());
  for (BuiltPad& pad : pads)
    if (pad.component > part) pad.component = BuiltPartId{pad.component.index() - 1};
}
/// A board with the holes that layings() looks at.
inline Board board_of(const BuiltBoard& built) {
  Board out;
  out.name = built.name;
  for (const auto& pin : built.tooling) {
    BoardHole hole;
    hole.at = pin.at;
    hole.diameter = pin.diameter;
    hole.plating = formats::Plating::unplated;
    out.holes.push_back(hole);
  }
  return out;
}
inline StandingHole hole_in_use(const std::string& name, BoardPoint at, const std::string& net) {
  return {.name = name,
          .probe_class = "100 mil",
          .drill = Mm{1.7},
          .at = at,
          .side = Side::bottom,
          .state = HoleState::in_use,
          .net = net,
          .long_travel = false};
}
inline formats::BuiltProbe built_probe(const std::string& name, BoardPoint at, const std::string& net,
                                       const std::string& target, const std::string& pin) {
  return {.name = name,
          .net = net,
          .target = target,
          .probe_class = "100 mil",
          .tip = "spear",
          .side = Side::bottom,
          .at = at,
          .miss = Chance{1e-9},
          .wrong = Chance{1e-9},
          .pin = pin};
}
/// A fixture with a probe on each bare pad.
inline formats::FixtureFile fixture_for(const BuiltBoard& board) {
  formats::FixtureFile file;
  file.plan_id = "before";
  file.style = "moving-plate";
  file.catalogue = "standard";
  file.drill_face = "board";
  file.fixture.used = true;
  file.fixture.plan_id = "before";
  file.fixture.main = Side::bottom;
  formats::Revision revision;
  revision.plan_id = "before";
  revision.board = board;
  int number = 0;
  for (const BuiltPad& pad : board.pads)
    if (pad.bare[Side::bottom].valid() && !pad.component) {
      const std::string name = "B" + std::to_string(100 + ++number), pin = "A" + std::to_string(number);
      const std::string& net = board.nets[pad.net];
      file.fixture.holes.push_back(hole_in_use(name, pad.at, net));
      file.fixture.wires.push_back({number, name, net, pin});
      revision.probes.push_back(built_probe(name, pad.at, net, pad.name, pin));
    }
  file.revisions.push_back(revision);
  return file;
}

}  // namespace teasel::testing
