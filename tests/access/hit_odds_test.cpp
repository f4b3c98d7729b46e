#include <boost/math/distributions/non_central_chi_squared.hpp>
#include <boost/math/special_functions/owens_t.hpp>
#include <catch2/catch.hpp>
#include <cmath>

#include "teasel/access.h"

using namespace teasel;

namespace {
/// Finer than the program's own chords, so that the closed form of the circle can be met.
Ring fine_circle(double r, int n) {
  Ring ring;
  for (int i = 0; i < n; ++i) ring.push_back({r * std::cos(2 * 3.14159265358979323846 * i / n), r * std::sin(2 * 3.14159265358979323846 * i / n)});
  return ring;
}
double upper(double z) { return 0.5 * std::erfc(z / std::sqrt(2.0)); }
}  // namespace

TEST_CASE("a centred circle is missed with probability exp(-r^2 / 2 s^2) (Rayleigh distribution)") {
  for (double s : {0.03, 0.05, 0.08, 0.2}) {
    const double r = 0.25;
    const Polygons pad{{fine_circle(r, 4000), {}}};
    const double expected = std::exp(-r * r / (2 * s * s)), got = miss_probability(pad, {0, 0}, {s * s, 0, s * s});
    INFO("sigma " << s);
    CHECK(got == Approx(expected).epsilon(1e-3));
  }
}

TEST_CASE("a rectangle is hit with the product of two error functions (independent axes)") {
  const double sx = 0.06, sy = 0.04;
  const Polygons pad{{rectangle({}, 0.6, 0.3), {}}};
  const Point aim{0.05, -0.02};
  const double x = upper((0.3 - aim.x) / sx) + upper((0.3 + aim.x) / sx), y = upper((0.15 - aim.y) / sy) + upper((0.15 + aim.y) / sy);
  const double miss = x + y - x * y;
  CHECK(miss_probability(pad, aim, {sx * sx, 0, sy * sy}) == Approx(miss).epsilon(1e-6));
  // Far into the tail the miss keeps its relative accuracy.
  const double t = 0.02, xt = 2 * upper(0.3 / t), yt = 2 * upper(0.15 / t);
  CHECK(miss_probability(pad, {0, 0}, {t * t, 0, t * t}) == Approx(xt + yt - xt * yt).epsilon(1e-6));
}

TEST_CASE("an off-centre circle is missed as the non-central chi-squared law says (2 degrees of freedom)") {
  const double s = 0.07, r = 0.25;
  const Polygons pad{{fine_circle(r, 4000), {}}};
  for (double off : {0.02, 0.1, 0.2, 0.3}) {
    const boost::math::non_central_chi_squared law(2, off * off / (s * s));
    const double expected = cdf(complement(law, r * r / (s * s)));
    INFO("offset " << off);
    CHECK(miss_probability(pad, {off, 0}, {s * s, 0, s * s}) == Approx(expected).epsilon(1e-3));
  }
}

TEST_CASE("a correlated error over a triangle equals the whitened triangle's Owen's T sum (Owen 1956, Boost.Math)") {
  // Right triangle with the aim at the foot of a height h on the hypotenuse: P = 2 T over the edge's two halves.
  const double h = 0.8, a1 = 1.5, a2 = 0.4;
  const Polygons wedge{{{{0, 0}, {h, -h * a1}, {h, h * a2}}, {}}};
  // The triangle's area under a standard normal from its apex: opening angle / 2 pi - T(h, a1) - T(h, a2).
  const double angle = std::atan(a1) + std::atan(a2);
  const double inside = angle / (2 * 3.14159265358979323846) - boost::math::owens_t(h, a1) - boost::math::owens_t(h, a2);
  // The aim is a corner: moved by far less than the tolerance so that winding is defined.
  CHECK(1 - miss_probability(wedge, {1e-9, 0}, {1, 0, 1}) == Approx(inside).epsilon(1e-6));
}

TEST_CASE("turning pad and error together changes nothing (symmetry)") {
  const Polygons pad{{rectangle({}, 0.7, 0.4), {}}};
  const double c = std::cos(0.6), s = std::sin(0.6), vx = 0.01, vy = 0.0025;
  const Polygons turned = transformed(pad, {c, -s, s, c, 0, 0});
  const Covariance before{vx, 0, vy}, after{c * c * vx + s * s * vy, c * s * (vx - vy), s * s * vx + c * c * vy};
  CHECK(miss_probability(turned, {0, 0}, after) == Approx(miss_probability(pad, {0, 0}, before)).epsilon(1e-9));
}

TEST_CASE("a hole in the pad adds its own probability to the miss (additivity)") {
  const Polygons whole{{rectangle({}, 1, 1), {}}}, hole{{rectangle({0.1, 0}, 0.2, 0.2), {}}};
  const Covariance e{0.04, 0.01, 0.03};
  const double m = miss_probability(whole, {0, 0}, e), inside = 1 - miss_probability(hole, {0, 0}, e);
  CHECK(miss_probability(subtract(whole, hole), {0, 0}, e) == Approx(m + inside).epsilon(1e-6));
}

TEST_CASE("a larger pad is never missed more often (monotony)") {
  const Covariance e{0.004, 0.001, 0.003};
  double last = 1;
  for (double w = 0.2; w < 1.2; w += 0.05) {
    const double m = miss_probability({{rectangle({}, w, 0.5 * w), {}}}, {0, 0}, e);
    CHECK(m < last);
    last = m;
  }
}

TEST_CASE("play at the pins grows with the lever arm and is smallest between them (by hand)") {
  // Round pin at 0, relieved pin at 100 mm, play 0.1 mm each. At the round pin: the disc alone, 0.1^2 / 16 per axis.
  const LocatingError at0 = locating_error({0, 0}, 0.1, {100, 0}, 0.1, {0, 0});
  CHECK(at0.xx == Approx(0.01 / 16));
  CHECK(at0.yy == Approx(0.01 / 16));
  // At the relieved pin across the line: the line alone, 0.1^2 / 12.
  const LocatingError at1 = locating_error({0, 0}, 0.1, {100, 0}, 0.1, {100, 0});
  CHECK(at1.yy == Approx(0.01 / 12));
  CHECK(at1.xx == Approx(0.01 / 16));
  // Twice as far out the turn doubles: y = -t + 2 d, variance 0.01/16 + 4 * 0.01/12.
  const LocatingError at2 = locating_error({0, 0}, 0.1, {100, 0}, 0.1, {200, 0});
  CHECK(at2.yy == Approx(0.01 / 16 + 4 * 0.01 / 12));
}
