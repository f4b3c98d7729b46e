// Miss probabilities against Monte Carlo: random polygons with holes, random covariances, with and without a disc.
// Prints the deviation in standard errors; fails beyond four.
// usage: odds-by-dice [SAMPLES] [CASES]
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <numbers>
#include <random>

#include "teasel/access/odds.h"

using namespace teasel;

int main(int argc, char** argv) {
  const long samples = argc > 1 ? std::atol(argv[1]) : 10'000'000;
  const int cases = argc > 2 ? std::atoi(argv[2]) : 12;
  std::mt19937_64 rng(7);
  std::normal_distribution<double> normal;
  std::uniform_real_distribution<double> unit(0, 1);
  double worst = 0;
  for (int k = 0; k < cases; ++k) {
    const bool with_disc = k % 2 != 0;  // the law is round then: there it is exact
    Ring ring;
    const int corners = 3 + static_cast<int>(rng() % 10);
    for (int i = 0; i < corners; ++i) {
      const double radius = 0.15 + 0.3 * unit(rng), angle = 2 * std::numbers::pi * (i + 0.4 * unit(rng)) / corners;
      ring.push_back({radius * std::cos(angle), radius * std::sin(angle)});
    }
    Polygons area{{ring, {}}};
    if (k % 3 == 2) area = subtract(area, {{circle({0.08, 0.02}, 0.05), {}}});
    const double sx = 0.03 + 0.12 * unit(rng), sy = with_disc ? sx : 0.03 + 0.12 * unit(rng);
    const double rho = with_disc ? 0 : 1.6 * (unit(rng) - 0.5);
    const double u = with_disc ? 0.5 + 0.35 * unit(rng) : 0;
    const Point aim{0.1 * (unit(rng) - 0.5), 0.1 * (unit(rng) - 0.5)};
    const Covariance error{sx * sx, rho * sx * sy, sy * sy};
    const double exact = miss_probability(area, aim, Spread(error, u)).v;
    long missed = 0;
    for (long i = 0; i < samples; ++i) {
      const double a = normal(rng), b = normal(rng);
      Point off{sx * a, sy * (rho * a + std::sqrt(1 - rho * rho) * b)};
      if (u > 0) {
        const double radius = 2 * std::sqrt(u) * sx * std::sqrt(unit(rng)), angle = 2 * std::numbers::pi * unit(rng);
        off = {std::sqrt(1 - u) * sx * a + radius * std::cos(angle),
               std::sqrt(1 - u) * sx * b + radius * std::sin(angle)};
      }
      missed += !contains(area, aim + off);
    }
    const double got = static_cast<double>(missed) / static_cast<double>(samples);
    const double standard_error = std::sqrt(std::max(exact * (1 - exact), 1e-12) / static_cast<double>(samples));
    const double deviation = (got - exact) / standard_error;
    worst = std::max(worst, std::abs(deviation));
    std::printf("%2d corners, disc share %.2f: integral %.6e, dice %.6e, %.2f standard errors\n", corners, u, exact,
                got, deviation);
  }
  std::printf("worst: %.2f standard errors of %ld samples\n", worst, samples);
  return worst < 4 ? 0 : 1;
}
