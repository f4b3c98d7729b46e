// The way of a drill over a made-up plate, beside a proven bound. usage: bench-tour [HOLES...]
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <random>

#include "teasel/tour.h"

int main(int argc, char** argv) {
  using namespace teasel;
  std::vector<int> sizes;
  for (int i = 1; i < argc; ++i) sizes.push_back(std::atoi(argv[i]));
  if (sizes.empty()) sizes = {500, 5000};
  std::printf("%8s %8s %12s %12s %8s\n", "holes", "seconds", "length, mm", "bound, mm", "over %");
  for (const int holes : sizes) {
    std::mt19937 random(1);
    std::vector<Point> points;
    for (int i = 0; i < holes; ++i)
      points.push_back(
          {static_cast<double>(random() % 300'000) / 1000, static_cast<double>(random() % 200'000) / 1000});
    const auto start = std::chrono::steady_clock::now();
    const auto tour = closed_tour(points);
    const double seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
    const double length = tour_length(points, tour, true), bound = tour_bound(points, holes > 2000 ? 60 : 200);
    std::printf("%8d %8.3f %12.0f %12.0f %8.2f\n", holes, seconds, length, bound, 100 * (length / bound - 1));
  }
}
