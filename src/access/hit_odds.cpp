// Odds of hitting: the error budget and its integral over an area.
#include <algorithm>
#include <array>
#include <cmath>

#include "teasel/access.h"

namespace teasel {

namespace {
constexpr double kPi = 3.14159265358979323846;

// Gauss-Legendre nodes and weights, 10 points on [-1, 1], positive half (Abramowitz and Stegun, table 25.4).
constexpr std::array<double, 5> kNode = {0.148874338981631, 0.433395394129247, 0.679409568299024, 0.865063366688985, 0.973906528517172};
constexpr std::array<double, 5> kWeight = {0.295524224714753, 0.269266719309996, 0.219086362515982, 0.149451349150581, 0.066671344308688};

/// T(h, a2) - T(h, a1) = exp(-h^2/2) / 2 pi * integral of exp(-h^2 x^2 / 2) / (1 + x^2) over [a1, a2].
double owen_difference(double h, double a1, double a2) {
  const double sign = a2 >= a1 ? 1 : -1;
  if (sign < 0) std::swap(a1, a2);
  const double front = std::exp(-h * h / 2);
  if (front == 0) return 0;
  if (h < 1e-12) return sign * (std::atan(a2) - std::atan(a1)) / (2 * kPi);
  // Beyond h x = 9 the integrand adds less than 1e-17 of its peak; the substitution x = tan(t) tames wide spans.
  const double cut = 9 / h;
  a1 = std::clamp(a1, -cut, cut), a2 = std::clamp(a2, -cut, cut);
  const double t1 = std::atan(a1), t2 = std::atan(a2);
  if (!(t2 > t1)) return 0;
  // Panels narrow enough for ten points: the exponent h^2 tan^2(t) / 2 changes by about one per panel near the middle.
  const int panels = std::clamp(static_cast<int>(std::ceil((t2 - t1) * (1 + h) * 1.0)), 1, 200);
  double sum = 0;
  for (int p = 0; p < panels; ++p) {
    const double lo = t1 + (t2 - t1) * p / panels, hi = t1 + (t2 - t1) * (p + 1) / panels;
    const double mid = (lo + hi) / 2, half = (hi - lo) / 2;
    double part = 0;
    for (std::size_t k = 0; k < kNode.size(); ++k)
      for (double x : {mid - half * kNode[k], mid + half * kNode[k]}) {
        const double t = std::tan(x);
        part += kWeight[k] * std::exp(-h * h * t * t / 2);
      }
    sum += part * half;
  }
  return sign * front * sum / (2 * kPi);
}

/// Sum over the edges of a ring; positive around a counter-clockwise ring that holds the origin.
double ring_sum(const Ring& ring, const std::array<double, 4>& w, Point aim) {
  double sum = 0;
  auto white = [&](Point p) { return Point{w[0] * (p.x - aim.x) + w[1] * (p.y - aim.y), w[2] * (p.x - aim.x) + w[3] * (p.y - aim.y)}; };
  for (std::size_t i = 0, n = ring.size(); i < n; ++i) {
    const Point a = white(ring[i]), b = white(ring[i + 1 == n ? 0 : i + 1]);
    const double len = distance(a, b);
    if (len == 0) continue;
    const Point u = (1 / len) * (b - a);
    const double h = cross(a, b) / len;  // signed distance of the line from the origin
    if (std::abs(h) < 1e-14) continue;
    const double s1 = dot(a, u), s2 = dot(b, u);
    sum += (h > 0 ? 1 : -1) * owen_difference(std::abs(h), s1 / std::abs(h), s2 / std::abs(h));
  }
  return sum;
}
}  // namespace

double Covariance::largest_sigma() const {
  const double mean = (xx + yy) / 2, spread = std::hypot((xx - yy) / 2, xy);
  return std::sqrt(mean + spread);
}

double miss_probability(const Polygons& area, Point aim, const Covariance& c) {
  // Cholesky factor of the covariance; its inverse whitens.
  const double l11 = std::sqrt(c.xx), l21 = c.xy / l11, l22 = std::sqrt(std::max(c.yy - l21 * l21, 1e-18));
  const std::array<double, 4> w = {1 / l11, 0, -l21 / (l11 * l22), 1 / l22};
  // P(inside a ring) = winding of the aim - the ring's sum; outer rings count +, holes (clockwise) -. Windings and sums
  // are kept apart: with the aim inside, 1 - winding is exactly 0 and the small miss does not cancel.
  int winding = 0;
  double sum = 0;
  for (const Polygon& p : area) {
    winding += winding_number(p.outer, aim);
    sum += ring_sum(p.outer, w, aim);
    for (const Ring& h : p.holes) winding += winding_number(h, aim), sum += ring_sum(h, w, aim);
  }
  const double miss = (1 - winding) + sum;
  return std::clamp(miss, 0.0, 1.0);
}

Covariance position_error(const Board& board, const Rules& rules, const ProbeClass& probe, const Exposure& exposure, bool main_side) {
  const Point at = exposure.aim;
  const auto& e = rules.errors;
  auto normal = [](Mm three_sigma) { return three_sigma.v * three_sigma.v / 9; };
  double both = normal(e.plate_drilling) + normal(e.artwork) + probe.pointing.v * probe.pointing.v / 4;
  if (!main_side) both += normal(e.second_plate);
  if (exposure.mask_defined) both += normal(e.mask_shift);
  both += exposure.place_sigma * exposure.place_sigma;
  Covariance c{both, 0, both};
  auto add = [&](Point v, double variance) { c.xx += variance * v.x * v.x, c.xy += variance * v.x * v.y, c.yy += variance * v.y * v.y; };
  const bool pins = board.tooling.size() == 2;
  const Point datum = pins ? board.holes[static_cast<std::size_t>(board.tooling[0])].at : bounds(board.outline.outer).centre();
  const Point r = at - datum;
  const double scale = e.artwork_scale_ppm * 1e-6 / 3;
  add(r, scale * scale);
  if (pins) {
    const BoardHole &round = board.holes[static_cast<std::size_t>(board.tooling[0])], &relieved = board.holes[static_cast<std::size_t>(board.tooling[1])];
    const LocatingError l = locating_error(round.at, play_of(round, rules), relieved.at, play_of(relieved, rules), at);
    c.xx += l.xx, c.xy += l.xy, c.yy += l.yy;
  } else {
    const double play = e.no_tooling_clearance.v / 2, line = play * play / 3;
    const Box box = bounds(board.outline.outer);
    add({1, 0}, line), add({0, 1}, line);
    add((1 / std::max({box.width(), box.height(), 1.0})) * Point{-r.y, r.x}, 2 * line);
  }
  return c;
}

}  // namespace teasel
