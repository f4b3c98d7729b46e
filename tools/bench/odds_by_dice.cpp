// Miss probabilities against Monte Carlo: random polygons with holes, random covariances, with and without a disc.
// Prints the deviation in standard errors; fails beyond four.   odds-by-dice [samples] [cases]
#include <cmath>
#include <cstdio>
#include <cstdlib>
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
  for (int n = 0; n < cases; ++n) {
    Ring ring;
    const int corners = 3 + static_cast<int>(rng() % 10);
    for (int i = 0; i < corners; ++i) {
      const double r = 0.15 + 0.3 * unit(rng), t = 2 * 3.14159265358979323846 * (i + 0.4 * unit(rng)) / corners;
      ring.push_back({r * std::cos(t), r * std::sin(t)});
    }
    Polygons area{{ring, {}}};
    if (n % 3 == 2) area = subtract(area, {{circle({0.08, 0.02}, 0.05), {}}});
    const double sx = 0.03 + 0.12 * unit(rng), sy = n % 2 ? sx : 0.03 + 0.12 * unit(rng),
                 rho = n % 2 ? 0 : 1.6 * (unit(rng) - 0.5);
    const double u = n % 2 ? 0.5 + 0.35 * unit(rng) : 0;  // with a disc the law is round here: there it is exact
    const Point aim{0.1 * (unit(rng) - 0.5), 0.1 * (unit(rng) - 0.5)};
    const Covariance c{sx * sx, rho * sx * sy, sy * sy};
    const double exact = miss_probability(area, aim, Spread(c, u));
    long missed = 0;
    for (long i = 0; i < samples; ++i) {
      const double a = normal(rng), b = normal(rng);
      Point p{sx * a, sy * (rho * a + std::sqrt(1 - rho * rho) * b)};
      if (u > 0) {
        const double r = 2 * std::sqrt(u) * sx * std::sqrt(unit(rng)), t = 2 * 3.14159265358979323846 * unit(rng);
        p = {std::sqrt(1 - u) * sx * a + r * std::cos(t), std::sqrt(1 - u) * sx * b + r * std::sin(t)};
      }
      missed += !contains(area, aim + p);
    }
    const double got = static_cast<double>(missed) / static_cast<double>(samples),
                 error = std::sqrt(std::max(exact * (1 - exact), 1e-12) / static_cast<double>(samples));
    const double z = (got - exact) / error;
    worst = std::max(worst, std::abs(z));
    std::printf("%2d corners, disc share %.2f: integral %.6e, dice %.6e, %.2f standard errors\n", corners, u, exact,
                got, z);
  }
  std::printf("worst: %.2f standard errors of %ld samples\n", worst, samples);
  return worst < 4 ? 0 : 1;
}
