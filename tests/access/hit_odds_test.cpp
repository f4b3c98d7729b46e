#include <boost/math/distributions/non_central_chi_squared.hpp>
#include <boost/math/special_functions/owens_t.hpp>
#include <catch2/catch.hpp>
#include <cmath>
#include <random>

#include "small_board.h"
#include "teasel/access.h"

using namespace teasel;

namespace {
/// Finer than the program's own chords, so that the closed form of the circle can be met.
Ring fine_circle(double r, int n) {
  Ring ring;
  for (int i = 0; i < n; ++i)
    ring.push_back(
        {r * std::cos(2 * 3.14159265358979323846 * i / n), r * std::sin(2 * 3.14159265358979323846 * i / n)});
  return ring;
}
// The functions under test, in plain numbers for sums.
double miss(const Polygons& area, Point aim, const auto& error) {
  return miss_probability(area, aim, error).v;
}
double landing(const Polygons& area, Point aim, const Spread& error) {
  return landing_probability(area, aim, error).v;
}
double upper(double z) {
  return 0.5 * std::erfc(z / std::sqrt(2.0));
}
}  // namespace

TEST_CASE("a centred circle is missed with probability exp(-r^2 / 2 s^2) (Rayleigh distribution)") {
  for (double s : {0.03, 0.05, 0.08, 0.2}) {
    const double r = 0.25;
    const Polygons pad{{fine_circle(r, 4000), {}}};
    const double expected = std::exp(-r * r / (2 * s * s)), got = miss(pad, {0, 0}, Covariance{s * s, 0, s * s});
    INFO("sigma " << s);
    CHECK(got == Approx(expected).epsilon(1e-3));
  }
}

TEST_CASE("a rectangle is hit with the product of two error functions (independent axes)") {
  const double sx = 0.06, sy = 0.04;
  const Polygons pad{{rectangle({}, 0.6, 0.3), {}}};
  const Point aim{0.05, -0.02};
  const double x = upper((0.3 - aim.x) / sx) + upper((0.3 + aim.x) / sx),
               y = upper((0.15 - aim.y) / sy) + upper((0.15 + aim.y) / sy);
  CHECK(miss(pad, aim, Covariance{sx * sx, 0, sy * sy}) == Approx(x + y - x * y).epsilon(1e-6));
  // Far into the tail the miss keeps its relative accuracy.
  const double t = 0.02, xt = 2 * upper(0.3 / t), yt = 2 * upper(0.15 / t);
  CHECK(miss(pad, {0, 0}, Covariance{t * t, 0, t * t}) == Approx(xt + yt - xt * yt).epsilon(1e-6));
}

TEST_CASE("an off-centre circle is missed as the non-central chi-squared law says (2 degrees of freedom)") {
  const double s = 0.07, r = 0.25;
  const Polygons pad{{fine_circle(r, 4000), {}}};
  for (double off : {0.02, 0.1, 0.2, 0.3}) {
    const boost::math::non_central_chi_squared law(2, off * off / (s * s));
    const double expected = cdf(complement(law, r * r / (s * s)));
    INFO("offset " << off);
    CHECK(miss(pad, {off, 0}, Covariance{s * s, 0, s * s}) == Approx(expected).epsilon(1e-3));
  }
}

TEST_CASE("a correlated error over a triangle equals the whitened triangle's Owen's T sum (Owen 1956, Boost.Math)") {
  // Right triangle with the aim at the foot of a height h on the hypotenuse: P = 2 T over the edge's two halves.
  const double h = 0.8, a1 = 1.5, a2 = 0.4;
  const Polygons wedge{{{{0, 0}, {h, -h * a1}, {h, h * a2}}, {}}};
  // The triangle's area under a standard normal from its apex: opening angle / 2 pi - T(h, a1) - T(h, a2).
  const double angle = std::atan(a1) + std::atan(a2);
  const double inside =
      angle / (2 * 3.14159265358979323846) - boost::math::owens_t(h, a1) - boost::math::owens_t(h, a2);
  // The aim is a corner: moved by far less than the tolerance so that winding is defined.
  CHECK(1 - miss(wedge, {1e-9, 0}, Covariance{1, 0, 1}) == Approx(inside).epsilon(1e-6));
}

TEST_CASE("turning pad and error together changes nothing (symmetry)") {
  const Polygons pad{{rectangle({}, 0.7, 0.4), {}}};
  const double c = std::cos(0.6), s = std::sin(0.6), vx = 0.01, vy = 0.0025;
  const Polygons turned = transformed(pad, {c, -s, s, c, 0, 0});
  const Covariance before{vx, 0, vy}, after{c * c * vx + s * s * vy, c * s * (vx - vy), s * s * vx + c * c * vy};
  CHECK(miss(turned, {0, 0}, after) == Approx(miss(pad, {0, 0}, before)).epsilon(1e-9));
}

TEST_CASE("a hole in the pad adds its own probability to the miss (additivity)") {
  const Polygons whole{{rectangle({}, 1, 1), {}}}, hole{{rectangle({0.1, 0}, 0.2, 0.2), {}}};
  const Covariance error{0.04, 0.01, 0.03};
  const double m = miss(whole, {0, 0}, error), inside = 1 - miss(hole, {0, 0}, error);
  CHECK(miss(subtract(whole, hole), {0, 0}, error) == Approx(m + inside).epsilon(1e-6));
}

TEST_CASE("a larger pad is never missed more often (monotony)") {
  const Covariance error{0.004, 0.001, 0.003};
  double last = 1;
  for (double w = 0.2; w < 1.2; w += 0.05) {
    const double m = miss({{rectangle({}, w, 0.5 * w), {}}}, {0, 0}, error);
    CHECK(m < last);
    last = m;
  }
}

TEST_CASE("play at the pins grows with the lever arm and is smallest between them (by hand)") {
  // Round pin at 0, relieved pin at 100 mm, play 0.1 mm each. At the round pin: the disc alone, 0.1^2 / 16 per axis.
  const LocatingError at0 = locating_error({0, 0}, Mm{0.1}, {100, 0}, Mm{0.1}, {0, 0});
  CHECK(at0.xx.v == Approx(0.01 / 16));
  CHECK(at0.yy.v == Approx(0.01 / 16));
  // At the relieved pin across the line: the line alone, 0.1^2 / 12.
  const LocatingError at1 = locating_error({0, 0}, Mm{0.1}, {100, 0}, Mm{0.1}, {100, 0});
  CHECK(at1.yy.v == Approx(0.01 / 12));
  CHECK(at1.xx.v == Approx(0.01 / 16));
  // Twice as far out the turn doubles: y = -t + 2 d, variance 0.01/16 + 4 * 0.01/12.
  const LocatingError at2 = locating_error({0, 0}, Mm{0.1}, {100, 0}, Mm{0.1}, {200, 0});
  CHECK(at2.yy.v == Approx(0.01 / 16 + 4 * 0.01 / 12));
}

TEST_CASE("the thickest pin at hand that leaves its hole the least play (sizes from 1 mm by 0.05 mm, by hand)") {
  Rules rules = testing::shipped_rules();
  REQUIRE(rules.errors.pin_clearance == Mm{0.05});
  REQUIRE(rules.errors.plated_pin_clearance == Mm{0.15});
  BoardHole hole;
  hole.plating = formats::Plating::unplated;
  for (const auto& [wide, pin] : {std::pair{3.2, 3.15}, {3.0, 2.95}, {3.175, 3.1}, {2.54, 2.45}, {12.0, 10.0}}) {
    hole.diameter = Mm{wide};
    CHECK(pin_for(hole, rules).v == Approx(pin));
    CHECK(play_of(hole, rules).v == Approx(wide - pin));
  }
  hole.plating = formats::Plating::plated;
  hole.diameter = Mm{3.2};
  CHECK(pin_for(hole, rules).v == Approx(3.05));
  // Thinner than any at hand, and without a list: ground to the least play.
  hole.diameter = Mm{1.0};
  CHECK(pin_for(hole, rules).v == Approx(0.85));
  rules.stock_pins.clear();
  hole.diameter = Mm{3.175};
  CHECK(pin_for(hole, rules).v == Approx(3.025));
}

TEST_CASE(

    "Owen's T as a wedge cut off by a line, down to 6e-13 (Patefield and Tandy, J. Stat. Software 5, no. 5, "
    "2000, table 3)") {
  // T(h, a): the chance that x > h and 0 < y < a x, for two standard normals.
  const struct {
    double h, a, t;
  } rows[] = {{0.0625, 0.25, 3.89119302347013668966224771378e-2}, {6.5, 0.4375, 2.00057730485083154100907167685e-11},
              {7, 0.96875, 6.39906271938986853083219914429e-13},  {4.78125, 0.0625, 1.06329748046874638058307112826e-7},
              {2, 0.5, 8.62507798552150713113488319155e-3},       {1, 0.9999975, 6.67418089782285927715589822405e-2}};
  for (const auto& r : rows) {
    const double far = 60;
    const Polygons wedge{{{{r.h, 0}, {far, 0}, {far, far * r.a}, {r.h, r.h * r.a}}, {}}};
    INFO("h " << r.h << ", a " << r.a);
    CHECK(landing(wedge, {0, 1e-13}, Spread({1, 0, 1})) == Approx(r.t).epsilon(1e-4));
  }
}

TEST_CASE("an off-centre disc under unequal errors (Chan's cases, Serra et al., LAAS-CNRS report 15072, 2015)") {
  const struct {
    double x, y, sx, sy, r, p;
  } rows[] = {{0, 10, 25, 50, 5, 9.742e-3},        {10, 0, 25, 50, 5, 9.181e-3},
              {0, 10, 25, 75, 5, 6.571e-3},        {10, 0, 25, 75, 5, 6.125e-3},
              {0, 1000, 1000, 3000, 10, 1.577e-5}, {0, 10000, 1000, 3000, 10, 6.443e-8},
              {5000, 0, 1000, 3000, 50, 1.564e-9}, {84.875546, 60.583685, 57.918666, 152.8814468, 10.3, 1.9002e-3}};
  for (const auto& q : rows) {
    Polygons disc{{fine_circle(q.r, 2000), {}}};
    for (Point& p : disc[0].outer) p = p + Point{q.x, q.y};
    INFO(q.x << " " << q.y << " " << q.sx << " " << q.sy << " " << q.r);
    CHECK(landing(disc, {0, 0}, Spread({q.sx * q.sx, 0, q.sy * q.sy})) == Approx(q.p).epsilon(7e-4));
  }
}

TEST_CASE(
    "a half plane is missed with the normal's own tail, a wedge from its apex with its angle (error function, "
    "symmetry)") {
  for (const double d : {0.0, 0.05, 0.2, 0.3}) {
    const double s = 0.05, far = 20;
    const Polygons half{{{{-far, -far}, {d, -far}, {d, far}, {-far, far}}, {}}};
    CHECK(miss(half, {1e-12, 0}, Covariance{s * s, 0, s * s}) == Approx(upper(d / s)).epsilon(1e-6));
  }
  const double opening = 1.1;  // rad
  const Polygons wedge{{{{0, 0}, {30, 0}, {30, 30 * std::tan(opening)}}, {}}};
  CHECK(landing(wedge, {-1e-9, -1e-9}, Spread({1, 0, 1})) ==
        Approx(opening / (2 * 3.14159265358979323846)).epsilon(1e-6));
}

TEST_CASE(
    "a disc and a normal together have the mean of Marcum's Q over the disc as their tail (Boost.Math, "
    "non-central chi-squared)") {
  // u = 0 is the plain normal.
  for (const double rho : {0.5, 2.0, 5.0}) CHECK(radial_tail(rho, 0) == Approx(std::exp(-rho * rho / 2)));
  // P(|n + d| > rho) = mean over the disc of Q1(|d| / s, rho / s); Q1 by the non-central chi-squared law (Boost.Math).
  for (const double u : {0.1, 0.5, 0.7, 0.85})
    for (const double rho : {0.3, 1.0, 2.0, 3.0, 4.0}) {
      const double a = 2 * std::sqrt(u), s2 = 1 - u;
      double mean = 0;
      const int steps = 20000;
      for (int i = 0; i < steps; ++i) {
        const double r = a * std::sqrt((i + 0.5) / steps);
        mean += cdf(complement(boost::math::non_central_chi_squared(2, r * r / s2), rho * rho / s2)) / steps;
      }
      INFO("u " << u << ", rho " << rho);
      CHECK(radial_tail(rho, u) == Approx(mean).epsilon(3e-3));
    }
}

TEST_CASE(
    "misses of random polygons with holes, covariances and discs agree with dice within four standard errors "
    "(brute force, seed 11)") {
  std::mt19937_64 rng(11);
  std::normal_distribution<double> normal;
  std::uniform_real_distribution<double> unit(0, 1);
  const long samples = 60'000;
  for (int n = 0; n < 10; ++n) {
    Ring ring;
    const int corners = 3 + static_cast<int>(rng() % 8);
    for (int i = 0; i < corners; ++i) {
      const double r = 0.12 + 0.2 * unit(rng), t = 2 * 3.14159265358979323846 * (i + 0.4 * unit(rng)) / corners;
      ring.push_back({r * std::cos(t), r * std::sin(t)});
    }
    Polygons area{{ring, {}}};
    if (n % 3 == 2) area = subtract(area, {{circle({0.05, 0.02}, 0.03), {}}});
    const double sx = 0.05 + 0.1 * unit(rng), sy = n % 2 ? sx : 0.05 + 0.1 * unit(rng),
                 rho = n % 2 ? 0 : 1.6 * (unit(rng) - 0.5), u = n % 2 ? 0.75 : 0;
    const double exact = miss(area, {0.01, 0}, Spread({sx * sx, rho * sx * sy, sy * sy}, u));
    long missed = 0;
    for (long i = 0; i < samples; ++i) {
      const double a = normal(rng), b = normal(rng), r = 2 * std::sqrt(u) * sx * std::sqrt(unit(rng)),
                   t = 2 * 3.14159265358979323846 * unit(rng), k = std::sqrt(1 - u);
      missed += !contains(area, Point{0.01 + k * sx * a + r * std::cos(t),
                                      k * sy * (rho * a + std::sqrt(1 - rho * rho) * b) + r * std::sin(t)});
    }
    INFO("case " << n << ", integral " << exact);
    CHECK(std::abs(static_cast<double>(missed) / samples - exact) < 4 * std::sqrt(exact * (1 - exact) / samples));
  }
}

TEST_CASE("odds never rise when a land shrinks or an error grows (laws)") {
  std::mt19937_64 rng(5);
  std::uniform_real_distribution<double> unit(0, 1);
  for (int n = 0; n < 40; ++n) {
    Ring ring;
    for (int i = 0; i < 7; ++i) {
      const double r = 0.3 + 0.15 * unit(rng), t = 2 * 3.14159265358979323846 * i / 7;
      ring.push_back({r * std::cos(t), r * std::sin(t)});
    }
    const Polygons land{{ring, {}}};
    const double normal_part = 0.0005 + 0.002 * unit(rng), disc = 0.0005 + 0.004 * unit(rng);
    auto miss_with = [&](const Polygons& area, double more_normal, double more_disc) {
      const double a = normal_part * more_normal, b = disc * more_disc;
      return miss(area, {0, 0}, Spread({a + b, 0, a + b}, b / (a + b)));
    };
    const double now = miss_with(land, 1, 1);
    CHECK(miss_with(offset(land, -0.01), 1, 1) >= now);
    CHECK(miss_with(land, 1.05, 1) >= now * (1 - 1e-6));
    CHECK(miss_with(land, 1, 1.05) >= now * (1 - 1e-6));
  }
}

TEST_CASE(

    "a square's odds under pointing and play are those of two axes (semicircle law of a disc's shadow, "
    "integrated by brute force)") {
  // One axis: normal of sigma s plus the shadow of a uniform disc of radius a, density 2 sqrt(a^2 - x^2) / (pi a^2).
  const double s = 0.0427, a = 0.08, half = 0.30;
  double one = 0;
  const int steps = 20000;
  for (int i = 0; i < steps; ++i) {
    const double x = -a + 2 * a * (i + 0.5) / steps;
    one += 2 * upper((half - x) / s) * 2 * std::sqrt(a * a - x * x) / (3.14159265358979323846 * a * a) * 2 * a / steps;
  }
  const double total = s * s + a * a / 4;
  // The four sides' misses overlap in the corners only, by far less than a thousandth here.
  CHECK(miss({{rectangle({}, 2 * half, 2 * half), {}}}, {0, 0}, Spread({total, 0, total}, a * a / 4 / total)) ==
        Approx(2 * one).epsilon(2e-3));
}

TEST_CASE("odds never rise when a probe's pointing gets worse, from none to most of its error (law)") {
  const Polygons land{{circle({}, 0.3), {}}};
  double last = 0;
  for (double a = 0; a < 0.2; a += 0.01) {
    const double total = 0.0018 + a * a / 4, now = miss(land, {0, 0}, Spread({total, 0, total}, a * a / 4 / total));
    CHECK(now >= last);
    last = now;
  }
}

TEST_CASE(
    "a neighbour is met at most as often as the half plane that holds it (law: a part is no likelier than the "
    "whole)") {
  for (const double d : {0.2, 0.4}) {
    const Polygons far{{rectangle({d + 0.15, 0}, 0.3, 0.3), {}}};
    const Spread error({0.004, 0, 0.003}, 0.6);
    CHECK(landing(far, {0, 0}, error) <= landing_bound(Mm{d}, Mm{0}, {1, 0}, error).v);
  }
}

TEST_CASE("a land whose opening stands near its edge is missed as often as dice say, or up to half more (simulation)") {
  constexpr double kMask = 0.025, kSigma = 0.09;
  constexpr int kThrows = 400'000;
  const Polygons land{{rectangle({}, 0.5, 0.5), {}}};
  std::mt19937_64 engine(7);
  std::normal_distribution<double> normal;
  for (const double gap : {0.0, 0.02, 0.05}) {
    LandSpread error;
    error.metal = Spread({kSigma * kSigma, 0, kSigma * kSigma});
    const double with_mask = kSigma * kSigma + kMask * kMask;
    error.opening = Spread({with_mask, 0, with_mask});
    error.opening_near = true;
    error.gap = Mm{gap};
    error.mask_sigma = Mm{kMask};
    int missed = 0;
    for (int i = 0; i < kThrows; ++i) {
      const Point place{kSigma * normal(engine), kSigma * normal(engine)},
          in_opening{place.x - kMask * normal(engine), place.y - kMask * normal(engine)};
      const auto off = [](Point p, double half) { return std::abs(p.x) > half || std::abs(p.y) > half; };
      missed += off(place, 0.25) || off(in_opening, 0.25 + gap);
    }
    const double thrown = missed / (1.0 * kThrows), noise = 4 / std::sqrt(missed), got = miss(land, {}, error);
    INFO("gap " << gap << ", thrown " << thrown << ", got " << got);
    CHECK(got > thrown * (1 - noise));
    CHECK(got < 1.5 * thrown);
    CHECK(got > miss(land, {}, error.metal));
  }
}
