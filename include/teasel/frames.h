// Places that know the frame they are measured in. A place goes from one frame to another through a map and no other
// way.
//
// The board frame is the one that geometry works in: a place on the board is a Point and the other way round. Places of
// all other frames give up their coordinates by name only, through `point()`.
#pragma once
#include <optional>

#include "teasel/geometry.h"

namespace teasel {

struct BoardFrame;  ///< released data seen from the top, X right, Y up; of a panel: the panel's own
struct KitFrame;  ///< seen from above: X to the operator's right, Y away from him, zero at a blank's front left corner
struct PlateFrame;    ///< a plate as its drawing and drill file show it
struct NetlistFrame;  ///< as the netlist writes its places

/// A place in one frame, millimetres.
template <class Frame>
struct At {
  double x{}, y{};
  constexpr At() = default;
  constexpr At(double x_mm, double y_mm) : x(x_mm), y(y_mm) {}
  constexpr explicit At(Point p) : x(p.x), y(p.y) {}
  /// The bare coordinates, for geometry within this frame.
  [[nodiscard]] constexpr Point point() const { return {x, y}; }
  friend constexpr Point operator-(At a, At b) { return {a.x - b.x, a.y - b.y}; }
  friend constexpr At operator+(At a, Point way) { return {a.x + way.x, a.y + way.y}; }
  bool operator==(const At&) const = default;
};
template <>
struct At<BoardFrame> : Point {
  constexpr At() = default;
  constexpr At(double x_mm, double y_mm) : Point{x_mm, y_mm} {}
  constexpr At(Point p) : Point(p) {}
  template <class Other>
  At(At<Other>) = delete;
  [[nodiscard]] constexpr Point point() const { return *this; }
};
using BoardPoint = At<BoardFrame>;
using KitPoint = At<KitFrame>;
using PlatePoint = At<PlateFrame>;
using NetlistPoint = At<NetlistFrame>;

template <class Frame>
double distance(At<Frame> a, At<Frame> b) {
  return distance(a.point(), b.point());
}
template <class Frame>
At<Frame> rounded(At<Frame> p) {
  return At<Frame>{rounded(p.point())};
}

/// Leads from one frame to another.
template <class From, class To>
class Map {
 public:
  constexpr Map() = default;
  constexpr explicit Map(const Affine& affine) : affine_(affine) {}
  [[nodiscard]] At<To> operator()(At<From> place) const { return At<To>{affine_(place.point())}; }
  /// Outlines and areas carry their frame in words: the caller states that they are in this map's.
  [[nodiscard]] Ring operator()(const Ring& ring) const { return transformed(ring, affine_); }
  [[nodiscard]] Polygons operator()(const Polygons& area) const { return transformed(area, affine_); }
  [[nodiscard]] constexpr const Affine& affine() const { return affine_; }

 private:
  Affine affine_;
};
template <class From, class To>
Map<To, From> inverse(const Map<From, To>& map) {
  return Map<To, From>{inverse(map.affine())};
}
/// `second` after `first`.
template <class From, class Between, class To>
Map<From, To> combine(const Map<Between, To>& second, const Map<From, Between>& first) {
  return Map<From, To>{combine(second.affine(), first.affine())};
}

}  // namespace teasel
