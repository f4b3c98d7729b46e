// The integral of round and elliptical laws over polygons.
#include <algorithm>
#include <array>
#include <cmath>
#include <memory>
#include <mutex>

#include "teasel/access/odds.h"

namespace teasel {

namespace {
constexpr double kPi = 3.14159265358979323846;

// Gauss-Legendre nodes and weights on [-1, 1], positive half (Abramowitz and Stegun, table 25.4).
constexpr double kNode2 = 0.577350269189626;  // both weights are 1
constexpr std::array<double, 2> kNode4 = {0.339981043584856, 0.861136311594053};
constexpr std::array<double, 2> kWeight4 = {0.652145154862546, 0.347854845137454};
constexpr std::array<double, 5> kNode10 = {0.148874338981631, 0.433395394129247, 0.679409568299024, 0.865063366688985,
                                           0.973906528517172};
constexpr std::array<double, 5> kWeight10 = {0.295524224714753, 0.269266719309996, 0.219086362515982, 0.149451349150581,
                                             0.066671344308688};

/// Area common to two discs whose centres lie r apart.
double lens(double r, double a, double b) {
  if (r >= a + b) return 0;
  const double small = std::min(a, b);
  if (r <= std::abs(a - b)) return kPi * small * small;
  const double x = (r * r + a * a - b * b) / (2 * r), y = r - x;
  const double ca = std::clamp(x / a, -1.0, 1.0), cb = std::clamp(y / b, -1.0, 1.0);
  return a * a * (std::acos(ca) - ca * std::sqrt(1 - ca * ca)) + b * b * (std::acos(cb) - cb * std::sqrt(1 - cb * cb));
}

double tail_by_integral(double rho, double u) {
  const double a = 2 * std::sqrt(u), s2 = 1 - u;
  const double lo = std::abs(rho - a), hi = rho + a;
  // Below lo the disc lies wholly outside no circle (rho > a) or all of the circle inside the disc (rho < a).
  double sum = std::exp(-hi * hi / (2 * s2));
  if (rho < a) sum += (1 - rho * rho / (a * a)) * -std::expm1(-lo * lo / (2 * s2));
  const double mid = (lo + hi) / 2, half = (hi - lo) / 2;
  constexpr int kPanels = 8;
  for (int p = 0; p < kPanels; ++p) {
    // r = mid + half sin(t): nodes crowd at both ends, where the integrand has roots.
    const double t0 = -kPi / 2 + kPi * p / kPanels, width = kPi / kPanels / 2, centre = t0 + width;
    for (std::size_t k = 0; k < kNode10.size(); ++k)
      for (const double t : {centre - width * kNode10[k], centre + width * kNode10[k]}) {
        const double r = mid + half * std::sin(t);
        const double outside = 1 - lens(r, a, rho) / (kPi * a * a);
        sum += kWeight10[k] * width * half * std::cos(t) * (r / s2) * std::exp(-r * r / (2 * s2)) * outside;
      }
  }
  return sum;
}

/// log of the tail between steps of rho, for one share of the disc: a cubic through four steps for each interval.
class TailTable {
 public:
  explicit TailTable(double u) {
    std::array<double, kSteps> f{};
    for (int i = 0; i < kSteps; ++i)
      f[static_cast<std::size_t>(i)] = std::log(std::max(tail_by_integral(i * kStep, u), 1e-300));
    for (std::size_t i = 0; i + 1 < f.size(); ++i) {
      const std::size_t k = std::clamp<std::size_t>(i, 1, kSteps - 3);
      const double p = f[k - 1], q = f[k], r = f[k + 1], s = f[k + 2],
                   shift = static_cast<double>(i) - static_cast<double>(k);
      // Lagrange's cubic in t, counted from step k, then moved to count from step i.
      const double d = (s - 3 * r + 3 * q - p) / 6, c = (p - 2 * q + r) / 2, e = r - q - c - d;
      cubic_[i] = {q + shift * (e + shift * (c + shift * d)), e + shift * (2 * c + 3 * shift * d), c + 3 * shift * d,
                   d};
    }
  }
  double log_at(double x) const {  // x: rho in steps
    const auto i = static_cast<std::size_t>(x);
    const auto& k = cubic_[i];
    const double t = x - static_cast<double>(i);
    return k[0] + t * (k[1] + t * (k[2] + t * k[3]));
  }
  static constexpr double kStep = 0.05;
  static constexpr int kSteps = 200;  // to rho = 10, where even a plain normal leaves 2e-22

 private:
  std::array<std::array<double, 4>, kSteps> cubic_{};
};

constexpr int kShares = 512;
constexpr double kLargestShare = 0.9;

const TailTable& table(int level) {
  static std::array<std::once_flag, kShares> once;
  static std::array<std::unique_ptr<TailTable>, kShares> tables;
  const auto i = static_cast<std::size_t>(level);
  std::call_once(once[i], [&] { tables[i] = std::make_unique<TailTable>(static_cast<double>(level) / kShares); });
  return *tables[i];
}

/// exp(-rho^2 / 2).
struct NormalTail {
  double operator()(double rho2) const { return std::exp(-rho2 / 2); }
};
/// radial_tail between the two nearest tables.
struct MixedTail {
  explicit MixedTail(double u) {
    const double x = std::min(u, kLargestShare) * kShares;
    const int i = std::clamp(static_cast<int>(x), 1, kShares - 2);
    a = &table(i);
    b = &table(i + 1);
    t = x - i;
  }
  double operator()(double rho2) const {
    const double x = std::sqrt(rho2) * (1 / TailTable::kStep);
    if (x >= TailTable::kSteps - 2) return 0;
    return std::exp((1 - t) * a->log_at(x) + t * b->log_at(x));
  }
  const TailTable *a, *b;
  double t;
};

/// Integral of tail(h^2 + s^2) over the angle that the edge from s1 to s2 at distance h spans, over 2 pi.
template <class Tail>
double edge_part(double h, double s1, double s2, const Tail& tail) {
  const double sign = s2 >= s1 ? 1 : -1;
  if (sign < 0) std::swap(s1, s2);
  const double nearest = s1 > 0 ? s1 : s2 < 0 ? s2 : 0, rho2 = h * h + nearest * nearest;
  if (rho2 > 110) return 0;  // adds less than 1e-24
  const double width = s2 - s1, far = std::max(std::abs(s1), std::abs(s2));
  if (width * width < 0.16 * rho2 && width * far < 1) {
    // A short edge: the angle's density is smooth along it.
    const double mid = (s1 + s2) / 2, half = width / 2;
    if (width * width < 0.02 * rho2 && width * far < 0.5) {
      const double a = mid - half * kNode2, b = mid + half * kNode2, ra = h * h + a * a, rb = h * h + b * b;
      return sign * (tail(ra) / ra + tail(rb) / rb) * half * h / (2 * kPi);
    }
    double sum = 0;
    for (std::size_t k = 0; k < kNode4.size(); ++k)
      for (const double s : {mid - half * kNode4[k], mid + half * kNode4[k]})
        sum += kWeight4[k] * tail(h * h + s * s) / (h * h + s * s);
    return sign * sum * half * h / (2 * kPi);
  }
  double sum = 0;
  if (h >= 1) {
    // Far from the line's foot the tail adds less than 1e-7 of what it does there.
    const double end = std::sqrt(nearest * nearest + 32), lo = std::max(s1, -end), hi = std::min(s2, end);
    if (!(hi > lo)) return 0;
    const int panels = static_cast<int>(std::ceil((hi - lo) / 2));
    const double half = (hi - lo) / (2 * panels);
    for (int p = 0; p < panels; ++p) {
      const double mid = lo + (2 * p + 1) * half;
      for (std::size_t k = 0; k < kNode10.size(); ++k)
        for (const double s : {mid - half * kNode10[k], mid + half * kNode10[k]})
          sum += kWeight10[k] * tail(h * h + s * s) / (h * h + s * s);
    }
    return sign * sum * half * h / (2 * kPi);
  }
  // Near the line the angle turns fast: the substitution s = h tan(t) tames wide spans.
  const double cut = std::sqrt(std::max(0.0, 110 - h * h));
  const double t1 = std::atan(std::max(s1, -cut) / h), t2 = std::atan(std::min(s2, cut) / h);
  if (!(t2 > t1)) return 0;
  // Panels narrow enough for ten points: the exponent changes by a few per panel.
  const int panels =
      std::clamp(static_cast<int>(std::ceil((t2 - t1) * (1 + h) + std::min(width * far, 100.0) / 6)), 1, 200);
  for (int p = 0; p < panels; ++p) {
    const double lo = t1 + (t2 - t1) * p / panels, hi = t1 + (t2 - t1) * (p + 1) / panels;
    const double mid = (lo + hi) / 2, half = (hi - lo) / 2;
    double part = 0;
    for (std::size_t k = 0; k < kNode10.size(); ++k)
      for (const double x : {mid - half * kNode10[k], mid + half * kNode10[k]}) {
        const double t = std::tan(x);
        part += kWeight10[k] * tail(h * h * (1 + t * t));
      }
    sum += part * half;
  }
  return sign * sum / (2 * kPi);
}

struct Whitening {
  explicit Whitening(const Covariance& c) {
    // Cholesky factor of the covariance; its inverse whitens.
    const double l11 = std::sqrt(std::max(c.xx, 1e-18)), l21 = c.xy / l11,
                 l22 = std::sqrt(std::max(c.yy - l21 * l21, 1e-18));
    a = 1 / l11;
    b = -l21 / (l11 * l22);
    d = 1 / l22;
  }
  Point operator()(Point p) const { return {a * p.x, b * p.x + d * p.y}; }
  double a, b, d;
};

/// Sum over the edges of a ring; positive around a counter-clockwise ring that holds the aim.
template <class Tail>
double ring_sum(const Ring& ring, const Whitening& white, Point aim, const Tail& tail) {
  if (ring.size() < 3) return 0;
  double sum = 0;
  Point a = white(ring.back() - aim);
  for (const Point corner : ring) {
    const Point b = white(corner - aim);
    const double len = distance(a, b);
    if (len > 0) {
      const Point u = (1 / len) * (b - a);
      const double h = cross(a, b) / len;  // signed distance of the line from the aim
      if (std::abs(h) >= 1e-14) sum += (h > 0 ? 1 : -1) * edge_part(std::abs(h), dot(a, u), dot(b, u), tail);
    }
    a = b;
  }
  return sum;
}

/// Winding of the area about the aim less the chance of falling inside it, kept apart: small values do not cancel.
template <class Tail>
std::pair<int, double> boundary_sum(const Polygons& area, Point aim, const Covariance& c, const Tail& tail) {
  const Whitening white(c);
  int winding = 0;
  double sum = 0;
  for (const Polygon& p : area) {
    winding += winding_number(p.outer, aim);
    sum += ring_sum(p.outer, white, aim, tail);
    for (const Ring& h : p.holes) {
      winding += winding_number(h, aim);
      sum += ring_sum(h, white, aim, tail);
    }
  }
  return {winding, sum};
}
std::pair<int, double> boundary_sum(const Polygons& area, Point aim, const Spread& s) {
  return s.disc_share > 0 ? boundary_sum(area, aim, s.total, MixedTail(s.disc_share))
                          : boundary_sum(area, aim, s.total, NormalTail{});
}
}  // namespace

double radial_tail(double rho, double u) {
  return u > 0 ? MixedTail(u)(rho * rho) : NormalTail{}(rho * rho);
}

double Covariance::largest_sigma() const {
  const double mean = (xx + yy) / 2, spread = std::hypot((xx - yy) / 2, xy);
  return std::sqrt(mean + spread);
}
double Covariance::sigma_along(Point n) const {
  return std::sqrt(std::max(0.0, xx * n.x * n.x + 2 * xy * n.x * n.y + yy * n.y * n.y));
}

double miss_probability(const Polygons& area, Point aim, const Spread& s) {
  const auto [winding, sum] = boundary_sum(area, aim, s);
  return std::clamp((1 - winding) + sum, 0.0, 1.0);
}
double miss_probability(const Polygons& area, Point aim, const Covariance& c) {
  return miss_probability(area, aim, Spread(c));
}

double landing_bound(double distance, double reach, Point way, const Spread& s) {
  const double sigma = way == Point{} ? s.total.largest_sigma() : s.total.sigma_along(way);
  return distance <= reach ? 1 : 0.5 * radial_tail((distance - reach) / sigma, s.disc_share);
}

double landing_probability(const Polygons& area, Point aim, const Spread& s) {
  const auto [winding, sum] = boundary_sum(area, aim, s);
  return std::clamp(winding - sum, 0.0, 1.0);
}

}  // namespace teasel
