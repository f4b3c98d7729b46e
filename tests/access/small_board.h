// A small board in memory for tests of verdicts.
#pragma once
#include <cmath>

#include "teasel/access.h"

namespace teasel::testing {

inline Rules shipped_rules() {
  Diagnostics d;
  return read_rules(*shipped("rules", "standard"), "rules", d);
}
inline Catalogue shipped_catalogue() {
  Diagnostics d;
  return read_catalogue(*shipped("catalogues", "standard"), "catalogue", d);
}

/// 60 x 40 mm, tooling holes at two corners.
inline Board empty_board() {
  Board b;
  b.outline = {{{0, 0}, {60, 0}, {60, 40}, {0, 40}}, {}};
  b.pieces = {b.outline};
  for (Point p : {Point{4, 4}, Point{56, 36}}) {
    BoardHole h;
    h.at = h.end = p, h.diameter = 3.2, h.plating = formats::Plating::unplated;
    b.tooling.push_back(static_cast<int>(b.holes.size()));
    b.holes.push_back(h);
  }
  return b;
}

/// A feature with its land on `side`; its own net. Returns the feature.
inline int add_land(Board& b, const std::string& name, Point at, const Polygons& metal, Side side,
                    FeatureKind kind = FeatureKind::test_pad, double hole = 0) {
  const int n = static_cast<int>(b.features.size());
  Feature f;
  f.name = name, f.kind = kind, f.at = at, f.hole = hole, f.net = static_cast<int>(b.nets.size());
  b.features.push_back(f);
  Net net;
  net.name = "N_" + name, net.features = {n}, net.pins = 2;
  b.nets.push_back(net);
  Exposure e;
  e.feature = n, e.side = side, e.contact = e.copper = metal, e.aim = at;
  e.diameter = 2 * distance_to_boundary(metal, at);
  if (hole > 0) e.copper = subtract(metal, {{circle(at, hole / 2), {}}});
  b.exposures.push_back(std::move(e));
  return n;
}
inline int add_round(Board& b, const std::string& name, Point at, double diameter, Side side,
                     FeatureKind kind = FeatureKind::test_pad, double hole = 0) {
  return add_land(b, name, at, {{circle(at, diameter / 2), {}}}, side, kind, hole);
}
/// A drawn body without pads.
inline int add_body(Board& b, const std::string& name, Point at, double width, double depth, double height, Side side,
                    double standoff = 0) {
  Component c;
  c.name = name, c.body = {{rectangle(at, width, depth), {}}}, c.height = height, c.side = side, c.standoff = standoff,
  c.outline_by = "drawn";
  c.side_known = c.height_known = c.body_known = Known::confirmed;
  b.components.push_back(std::move(c));
  return static_cast<int>(b.components.size()) - 1;
}
/// The whole board through a map of the plane; mirrored maps swap the sides.
inline Board moved(const Board& board, const Affine& m) {
  Board b = board;
  const bool flip = m.determinant() < 0;
  auto side = [&](Side s) { return flip ? other(s) : s; };
  b.outline = transformed({b.outline}, m)[0], b.pieces = {b.outline};
  for (Feature& f : b.features) f.at = m(f.at);
  for (BoardHole& h : b.holes) h.at = m(h.at), h.end = m(h.end);
  for (Component& c : b.components) c.body = transformed(c.body, m), c.side = side(c.side);
  for (Exposure& e : b.exposures)
    e.copper = transformed(e.copper, m), e.contact = transformed(e.contact, m), e.aim = m(e.aim), e.side = side(e.side);
  return b;
}
inline const Shortfall* found(const Verdict& v, Reason r) {
  for (const Shortfall& s : v.shortfalls)
    if (s.reason == r) return &s;
  return nullptr;
}
inline std::size_t target_named(const Board& b, const Access& a, const std::string& name) {
  for (std::size_t t = 0; t < a.targets.size(); ++t)
    if (b.features[static_cast<std::size_t>(a.targets[t].feature)].name == name) return t;
  throw std::runtime_error("no target " + name);
}

}  // namespace teasel::testing
