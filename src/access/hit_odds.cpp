// The integral of round and elliptical laws over polygons.
#include <algorithm>
#include <array>
#include <cmath>
#include <memory>
#include <mutex>

#include "spot_odds.h"

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

/// Area common to two discs of radius a and b whose centres lie `apart`.
double lens(double apart, double a, double b) {
  if (apart >= a + b) return 0;
  const double small = std::min(a, b);
  if (apart <= std::abs(a - b)) return kPi * small * small;
  const double x = (apart * apart + a * a - b * b) / (2 * apart), y = apart - x;
  const double ca = std::clamp(x / a, -1.0, 1.0), cb = std::clamp(y / b, -1.0, 1.0);
  return a * a * (std::acos(ca) - ca * std::sqrt(1 - ca * ca)) + b * b * (std::acos(cb) - cb * std::sqrt(1 - cb * cb));
}

/// radial_tail() with the symbols of its definition; r is the length of n.
double tail_by_integral(double rho, double u) {
  const double a = 2 * std::sqrt(u), s2 = 1 - u;
  const double lo = std::abs(rho - a), hi = rho + a;
  // Below lo the disc lies wholly outside no circle (rho > a) or all of the circle inside the disc (rho < a).
  double sum = std::exp(-hi * hi / (2 * s2));
  if (rho < a) sum += (1 - rho * rho / (a * a)) * -std::expm1(-lo * lo / (2 * s2));
  const double mid = (lo + hi) / 2, half = (hi - lo) / 2;
  constexpr int kPanels = 8;
  for (int panel = 0; panel < kPanels; ++panel) {
    // r = mid + half sin(angle): nodes crowd at both ends, where the integrand has roots.
    const double from = -kPi / 2 + kPi * panel / kPanels, width = kPi / kPanels / 2, centre = from + width;
    for (std::size_t k = 0; k < kNode10.size(); ++k)
      for (const double angle : {centre - width * kNode10[k], centre + width * kNode10[k]}) {
        const double r = mid + half * std::sin(angle);
        const double outside = 1 - lens(r, a, rho) / (kPi * a * a);
        sum += kWeight10[k] * width * half * std::cos(angle) * (r / s2) * std::exp(-r * r / (2 * s2)) * outside;
      }
  }
  return sum;
}

/// log of the tail between steps of rho, for one share of the disc: a cubic through four steps for each interval.
class TailTable {
 public:
  explicit TailTable(double u) {
    std::array<double, kSteps> tail{};
    for (int i = 0; i < kSteps; ++i)
      tail[static_cast<std::size_t>(i)] = std::log(std::max(tail_by_integral(i * kStep, u), 1e-300));
    for (std::size_t i = 0; i + 1 < tail.size(); ++i) {
      const std::size_t k = std::clamp<std::size_t>(i, 1, kSteps - 3);
      const double before = tail[k - 1], here = tail[k], next = tail[k + 1], after = tail[k + 2],
                   shift = static_cast<double>(i) - static_cast<double>(k);
      // Lagrange's cubic, counted from step k, then moved to count from step i.
      const double third = (after - 3 * next + 3 * here - before) / 6, second = (before - 2 * here + next) / 2,
                   first = next - here - second - third;
      cubic_[i] = {here + shift * (first + shift * (second + shift * third)),
                   first + shift * (2 * second + 3 * shift * third), second + 3 * shift * third, third};
    }
  }
  /// `steps`: rho in steps.
  [[nodiscard]] double log_at(double steps) const {
    const auto i = static_cast<std::size_t>(steps);
    const auto& factors = cubic_[i];
    const double beyond = steps - static_cast<double>(i);
    return factors[0] + beyond * (factors[1] + beyond * (factors[2] + beyond * factors[3]));
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
    const double level = std::min(u, kLargestShare) * kShares;
    const int i = std::clamp(static_cast<int>(level), 1, kShares - 2);
    lower = &table(i);
    next = &table(i + 1);
    share_of_next = level - i;
  }
  double operator()(double rho2) const {
    const double steps = std::sqrt(rho2) * (1 / TailTable::kStep);
    if (steps >= TailTable::kSteps - 2) return 0;
    return std::exp((1 - share_of_next) * lower->log_at(steps) + share_of_next * next->log_at(steps));
  }
  const TailTable *lower, *next;
  double share_of_next;
};

/// Integral of tail(h^2 + s^2) over the angle that an edge spans, over 2 pi. h: distance of the edge's line from the
/// aim; s: place along the line from its foot, s1 to s2.
template <class Tail>
double edge_part(double h, double s1, double s2, const Tail& tail) {
  const double sign = s2 >= s1 ? 1 : -1;
  if (sign < 0) std::swap(s1, s2);
  const double nearest = std::clamp(0.0, s1, s2), rho2 = h * h + nearest * nearest;
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
    for (int panel = 0; panel < panels; ++panel) {
      const double mid = lo + (2 * panel + 1) * half;
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
  for (int panel = 0; panel < panels; ++panel) {
    const double lo = t1 + (t2 - t1) * panel / panels, hi = t1 + (t2 - t1) * (panel + 1) / panels;
    const double mid = (lo + hi) / 2, half = (hi - lo) / 2;
    double part = 0;
    for (std::size_t k = 0; k < kNode10.size(); ++k)
      for (const double angle : {mid - half * kNode10[k], mid + half * kNode10[k]}) {
        const double slope = std::tan(angle);
        part += kWeight10[k] * tail(h * h * (1 + slope * slope));
      }
    sum += part * half;
  }
  return sign * sum / (2 * kPi);
}

struct Whitening {
  explicit Whitening(const Covariance& error) {
    // Cholesky factor of the covariance; its inverse whitens.
    const double l11 = std::sqrt(std::max(error.xx, 1e-18)), l21 = error.xy / l11,
                 l22 = std::sqrt(std::max(error.yy - l21 * l21, 1e-18));
    m11 = 1 / l11;
    m21 = -l21 / (l11 * l22);
    m22 = 1 / l22;
  }
  Point operator()(Point way) const { return {m11 * way.x, m21 * way.x + m22 * way.y}; }
  double m11, m21, m22;
};

/// Sum over the edges of a ring; positive around a counter-clockwise ring that holds the aim.
template <class Tail>
double ring_sum(const Ring& ring, const Whitening& white, Point aim, const Tail& tail) {
  if (ring.size() < 3) return 0;
  double sum = 0;
  Point a = white(ring.back() - aim);
  for (const Point corner : ring) {
    const Point b = white(corner - aim);
    const double edge = distance(a, b);
    if (edge > 0) {
      const Point along = (1 / edge) * (b - a);
      const double h = cross(a, b) / edge;  // signed distance of the line from the aim
      if (std::abs(h) >= 1e-14) sum += (h > 0 ? 1 : -1) * edge_part(std::abs(h), dot(a, along), dot(b, along), tail);
    }
    a = b;
  }
  return sum;
}

/// Winding of the area about the aim less the chance of falling inside it, kept apart: small values do not cancel.
template <class Tail>
std::pair<int, double> boundary_sum(const Polygons& area, Point aim, const Covariance& error, const Tail& tail) {
  const Whitening white(error);
  int winding = 0;
  double sum = 0;
  for (const Polygon& polygon : area) {
    winding += winding_number(polygon.outer, aim);
    sum += ring_sum(polygon.outer, white, aim, tail);
    for (const Ring& hole : polygon.holes) {
      winding += winding_number(hole, aim);
      sum += ring_sum(hole, white, aim, tail);
    }
  }
  return {winding, sum};
}
std::pair<int, double> boundary_sum(const Polygons& area, Point aim, const Spread& error) {
  return error.disc_share > 0 ? boundary_sum(area, aim, error.total, MixedTail(error.disc_share))
                              : boundary_sum(area, aim, error.total, NormalTail{});
}
}  // namespace

double radial_tail(double rho, double u) {
  return u > 0 ? MixedTail(u)(rho * rho) : NormalTail{}(rho * rho);
}

Mm Covariance::largest_sigma() const {
  const double mean = (xx + yy) / 2, spread = std::hypot((xx - yy) / 2, xy);
  return Mm{std::sqrt(mean + spread)};
}
Mm Covariance::sigma_along(Point unit) const {
  return Mm{std::sqrt(std::max(0.0, xx * unit.x * unit.x + 2 * xy * unit.x * unit.y + yy * unit.y * unit.y))};
}

Chance miss_probability(const Polygons& area, Point aim, const Spread& error) {
  const auto [winding, sum] = boundary_sum(area, aim, error);
  return Chance{std::clamp((1 - winding) + sum, 0.0, 1.0)};
}
Chance miss_probability(const Polygons& area, Point aim, const Covariance& error) {
  return miss_probability(area, aim, Spread(error));
}

LandSpread LandSpread::with_disc_share(double share) const {
  LandSpread out = *this;
  out.metal.disc_share = out.opening.disc_share = share;
  return out;
}

Chance miss_probability(const Polygons& landing, Point aim, const LandSpread& error) {
  if (!error.opening_near) return miss_probability(landing, aim, error.metal);
  return miss_beside_mask(landing, error.gap > Mm{} ? offset(landing, error.gap.v) : landing, aim, error);
}

Chance miss_beside_mask(const Polygons& landing, const Polygons& opening, Point aim, const LandSpread& error) {
  const Chance off_metal = miss_probability(landing, aim, error.metal);
  const double outward = error.gap / error.mask_sigma, as_well = 0.5 * std::erfc(-outward / std::sqrt(2.0));
  return std::min(Chance{1}, miss_probability(opening, aim, error.opening) + as_well * off_metal);
}

Chance landing_bound(Mm distance, Mm reach, Point way, const Spread& error) {
  const Mm sigma = way == Point{} ? error.total.largest_sigma() : error.total.sigma_along(way);
  return Chance{distance <= reach ? 1 : 0.5 * radial_tail((distance - reach) / sigma, error.disc_share)};
}

Chance landing_probability(const Polygons& area, Point aim, const Spread& error) {
  const auto [winding, sum] = boundary_sum(area, aim, error);
  return Chance{std::clamp(winding - sum, 0.0, 1.0)};
}

}  // namespace teasel
