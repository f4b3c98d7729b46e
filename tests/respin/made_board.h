// Boards made by dice, as a plan keeps them.
#pragma once
#include <catch2/catch.hpp>
#include <random>

#include "teasel/respin.h"

namespace teasel::testing {

using formats::BuiltBoard;
using formats::BuiltPad;
using formats::BuiltPart;

inline Box about(Point p, double w, double h) {
  return {p.x - w / 2, p.y - h / 2, p.x + w / 2, p.y + h / 2};
}

/// Parts on a grid of 8 mm, pads in two rows, nets dealt to pins, vias and bare pads beside them. Every net has two
/// pads or more.
inline BuiltBoard made_board(unsigned seed, int columns = 6, int rows = 5) {
  std::mt19937 dice(seed);
  auto roll = [&](int n) { return static_cast<int>(dice() % static_cast<unsigned>(n)); };
  BuiltBoard b;
  b.name = "dice", b.revision = "A", b.thickness = 1.6;
  b.outline.outer = {{0, 0}, {columns * 8.0 + 4, 0}, {columns * 8.0 + 4, rows * 8.0 + 4}, {0, rows * 8.0 + 4}};
  b.tooling = {{{2, 2}, 3.0}, {{columns * 8.0 + 2, rows * 8.0 + 2}, 3.0}};
  const int nets = columns * rows;
  for (int i = 0; i < nets; ++i) b.nets.push_back("NET" + std::to_string(i));
  int next = 0;
  for (int r = 0; r < rows; ++r)
    for (int c = 0; c < columns; ++c) {
      const Point at{6 + 8.0 * c + 0.001 * roll(500), 6 + 8.0 * r + 0.001 * roll(500)};
      BuiltPart p;
      p.name = "U" + std::to_string(b.parts.size() + 1), p.value = "v" + std::to_string(roll(9)),
      p.side = roll(2) ? Side::top : Side::bottom, p.height = 0.5 + 0.1 * roll(20), p.height_confirmed = roll(2) != 0;
      p.body = {{rectangle(at, 4, 3), {}}};
      const int pins = 2 + roll(6);
      for (int k = 0; k < pins; ++k) {
        BuiltPad q;
        q.pin = std::to_string(k + 1), q.name = p.name + "-" + q.pin, q.kind = "component pad", q.net = next++ % nets,
        q.component = static_cast<int>(b.parts.size());
        q.at = at + Point{-1.5 + k * 0.5, k % 2 ? 1.0 : -1.0};
        q.bare[static_cast<std::size_t>(p.side)] = about(q.at, 0.3 + 0.01 * roll(10), 0.8);
        b.pads.push_back(q);
      }
      b.parts.push_back(p);
    }
  for (int i = 0; i < nets; ++i) {
    BuiltPad q;
    q.at = {3.001 + 8.0 * (i % columns), 10.003 + 8.0 * (i / columns)};
    q.name = "pad@" + short_number(q.at.x, 3) + "/" + short_number(q.at.y, 3), q.kind = "test pad", q.net = i;
    q.bare[1] = about(q.at, 1.0, 1.0);
    b.pads.push_back(q);
  }
  return b;
}

inline void move_board(BuiltBoard& b, const Affine& t) {
  auto box = [&](Box& x) {
    if (x.valid()) x = bounds(transformed(Ring{{x.x0, x.y0}, {x.x1, x.y0}, {x.x1, x.y1}, {x.x0, x.y1}}, t));
  };
  b.outline.outer = transformed({{b.outline.outer, {}}}, t)[0].outer;
  for (auto& p : b.tooling) p.at = t(p.at);
  for (BuiltPart& p : b.parts) p.body = transformed(p.body, t);
  for (BuiltPad& p : b.pads) {
    p.at = t(p.at);
    for (Box& x : p.bare) box(x);
    if (p.component < 0) p.name = "pad@" + short_number(p.at.x, 3) + "/" + short_number(p.at.y, 3);
  }
}
inline void move_part(BuiltBoard& b, std::size_t part, Point by) {
  b.parts[part].body = transformed(b.parts[part].body, {1, 0, 0, 1, by.x, by.y});
  for (BuiltPad& p : b.pads)
    if (p.component == static_cast<int>(part)) {
      p.at = p.at + by;
      for (Box& x : p.bare)
        if (x.valid()) x = {x.x0 + by.x, x.y0 + by.y, x.x1 + by.x, x.y1 + by.y};
    }
}
inline void remove_part(BuiltBoard& b, std::size_t part) {
  b.pads.erase(std::remove_if(b.pads.begin(), b.pads.end(),
                              [&](const BuiltPad& p) { return p.component == static_cast<int>(part); }),
               b.pads.end());
  b.parts.erase(b.parts.begin() + static_cast<std::ptrdiff_t>(part));
  for (BuiltPad& p : b.pads)
    if (p.component > static_cast<int>(part)) --p.component;
}
/// A board with the holes that layings() looks at.
inline Board board_of(const BuiltBoard& b) {
  Board out;
  out.name = b.name;
  for (const auto& p : b.tooling) {
    BoardHole h;
    h.at = p.at, h.diameter = p.diameter, h.plating = formats::Plating::unplated;
    out.holes.push_back(h);
  }
  return out;
}
/// A fixture with a probe on each bare pad.
inline formats::FixtureFile fixture_for(const BuiltBoard& b) {
  formats::FixtureFile f;
  f.plan_id = "before", f.style = "moving-plate", f.catalogue = "standard", f.drill_face = "board";
  f.fixture.used = true, f.fixture.plan_id = "before", f.fixture.main = Side::bottom;
  formats::Revision r;
  r.plan_id = "before", r.board = b;
  int n = 0;
  for (const BuiltPad& p : b.pads)
    if (p.bare[1].valid() && p.component < 0) {
      const std::string name = "B" + std::to_string(100 + ++n);
      f.fixture.holes.push_back({name, "100 mil", 1.7, p.at, Side::bottom, HoleState::in_use,
                                 b.nets[static_cast<std::size_t>(p.net)], false});
      f.fixture.wires.push_back({n, name, b.nets[static_cast<std::size_t>(p.net)], "A" + std::to_string(n)});
      r.probes.push_back({name, b.nets[static_cast<std::size_t>(p.net)], p.name, "100 mil", "spear", Side::bottom, p.at,
                          1e-9, 1e-9, "A" + std::to_string(n)});
    }
  f.revisions.push_back(r);
  return f;
}

}  // namespace teasel::testing
