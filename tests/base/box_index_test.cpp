// The index against looking at every box.
#include <catch2/catch.hpp>
#include <limits>
#include <random>

#include "teasel/box_index.h"

using namespace teasel;

TEST_CASE("boxes of any shape and spread: what is found is what touches, ascending, each once (brute force, seed 5)") {
  std::mt19937 rng(5);
  auto u = [&](double a, double b) { return std::uniform_real_distribution<double>(a, b)(rng); };
  for (int scene = 0; scene < 300; ++scene) {
    const double wide = scene % 4 == 1 ? 1e-6 : 100, high = scene % 4 == 2 ? 0 : scene % 4 == 3 ? 1e4 : 100;
    std::vector<Box> boxes;
    for (int i = 0; i < scene; ++i) {
      const double x = u(-wide, wide), y = u(-high, high), s = i % 17 == 0 ? 60 : i % 3 == 0 ? 0 : u(0, 2);
      boxes.push_back(i % 23 == 5 ? Box{} : Box{x, y, x + s, y + u(0, 1) * s});
    }
    const BoxIndex index(boxes);
    for (int k = 0; k < 40; ++k) {
      const double x = u(-1.5 * wide, 1.5 * wide), y = u(-1.5 * high, 1.5 * high);
      Box w{x, y, x + (k % 2) * u(0, 30), y + (k % 3) * u(0, 30)};
      if (k == 0) w = {-1e18, -1e18, 1e18, 1e18};
      if (k == 1 && !boxes.empty())
        w = {boxes[0].x1, boxes[0].y1, boxes[0].x1 + 1, boxes[0].y1 + 1};  // touches a corner
      std::vector<std::uint32_t> got{7}, want;
      for (std::uint32_t i = 0; i < boxes.size(); ++i)
        if (boxes[i].valid() && boxes[i].x0 <= w.x1 && w.x0 <= boxes[i].x1 && boxes[i].y0 <= w.y1 &&
            w.y0 <= boxes[i].y1)
          want.push_back(i);
      index.find(w, got);
      REQUIRE(got == want);
    }
  }
}
