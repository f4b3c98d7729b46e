// A small board in memory for tests of verdicts.
#pragma once
#include <cmath>
#include <stdexcept>

#include "teasel/access.h"

namespace teasel::testing {

inline Rules shipped_rules() {
  Diagnostics diagnostics;
  return read_rules(*shipped("rules", "standard"), "rules", diagnostics);
}
inline Catalogue shipped_catalogue() {
  Diagnostics diagnostics;
  return read_catalogue(*shipped("catalogues", "standard"), "catalogue", diagnostics);
}

/// 60 x 40 mm, tooling holes at two corners.
inline Board empty_board() {
  Board board;
  board.outline = {{{0, 0}, {60, 0}, {60, 40}, {0, 40}}, {}};
  board.pieces = {board.outline};
  for (const Point place : {Point{4, 4}, Point{56, 36}}) {
    BoardHole hole;
    hole.at = hole.end = place;
    hole.diameter = Mm{3.2};
    hole.plating = formats::Plating::unplated;
    board.tooling.push_back(board.holes.add(hole));
  }
  return board;
}

/// A feature with its land on `side`; its own net.
inline FeatureId add_land(Board& board, const std::string& name, Point at, const Polygons& metal, Side side,
                          FeatureKind kind = FeatureKind::test_pad, double hole = 0) {
  const FeatureId id = board.features.next();
  Feature feature;
  feature.name = PadName(name);
  feature.kind = kind;
  feature.at = at;
  feature.hole = Mm{hole};
  feature.net = board.nets.next();
  board.features.push_back(feature);
  Net net;
  net.name = NetName("N_" + name);
  net.features = {id};
  net.pins = 2;
  board.nets.push_back(net);
  Exposure exposure;
  exposure.feature = id;
  exposure.side = side;
  exposure.contact = exposure.copper = metal;
  exposure.aim = at;
  exposure.diameter = Mm{2 * distance_to_boundary(metal, at)};
  if (hole > 0) exposure.copper = subtract(metal, {{circle(at, hole / 2), {}}});
  board.exposures.push_back(std::move(exposure));
  return id;
}
inline FeatureId add_round(Board& board, const std::string& name, Point at, double diameter, Side side,
                           FeatureKind kind = FeatureKind::test_pad, double hole = 0) {
  return add_land(board, name, at, {{circle(at, diameter / 2), {}}}, side, kind, hole);
}
/// A drawn body without pads.
inline ComponentId add_body(Board& board, const std::string& name, Point at, double width, double depth, double height,
                            Side side, double standoff = 0) {
  Component component;
  component.name = PartName(name);
  component.body = {{rectangle(at, width, depth), {}}};
  component.height = Mm{height};
  component.side = side;
  component.standoff = Mm{standoff};
  component.outline_by = "drawn";
  component.side_known = component.height_known = component.body_known = Known::confirmed;
  return board.components.add(std::move(component));
}
/// The whole board through a map of the plane; mirrored maps swap the sides.
inline Board moved(const Board& board, const Affine& map) {
  Board out = board;
  const bool flip = map.determinant() < 0;
  auto side_after = [&](Side side) { return flip ? other(side) : side; };
  out.outline = transformed({out.outline}, map)[0];
  out.pieces = {out.outline};
  for (Feature& feature : out.features) feature.at = map(feature.at);
  for (BoardHole& hole : out.holes) {
    hole.at = map(hole.at);
    hole.end = map(hole.end);
  }
  for (Component& component : out.components) {
    component.body = transformed(component.body, map);
    component.side = side_after(component.side);
  }
  for (Exposure& exposure : out.exposures) {
    exposure.copper = transformed(exposure.copper, map);
    exposure.contact = transformed(exposure.contact, map);
    exposure.aim = map(exposure.aim);
    exposure.side = side_after(exposure.side);
  }
  return out;
}
inline const Shortfall* found(const Verdict& verdict, Reason reason) {
  for (const Shortfall& shortfall : verdict.shortfalls)
    if (shortfall.reason == reason) return &shortfall;
  return nullptr;
}
inline TargetId target_named(const Board& board, const Access& access, const std::string& name) {
  for (const TargetId id : access.targets.ids())
    if (board.features[access.targets[id].feature].name == name) return id;
  throw std::runtime_error("no target " + name);
}
/// A ban or a lock, field by field as the job file has them.
inline Ban ban(const std::string& net, const std::string& target, std::optional<Side> side = {},
               const std::string& reason = {}) {
  return {net, target, side, reason, {}};
}
inline Lock lock(const std::string& net, const std::string& target, std::optional<Side> side = {},
                 const std::string& probe_class = {}) {
  return {net, target, side, probe_class, {}};
}
inline Waiver waiver(const std::string& net, const std::string& target, const std::string& rule,
                     const std::string& reason, std::optional<Side> side = {}) {
  Waiver out;
  out.net = net;
  out.target = target;
  out.side = side;
  out.rule = rule;
  out.reason = reason;
  return out;
}

}  // namespace teasel::testing
