// Compares the index with a look at every box.
#include <catch2/catch.hpp>
#include <limits>
#include <random>

#include "teasel/box_index.h"

using namespace teasel;

TEST_CASE("boxes of any shape and spread: what is found is what touches, ascending, each once (brute force, seed 5)") {
  std::mt19937 rng(5);
  auto between = [&](double a, double b) { return std::uniform_real_distribution<double>(a, b)(rng); };
  const double highs[] = {100, 100, 0, 1e4};
  for (int scene = 0; scene < 300; ++scene) {
    const double wide = scene % 4 == 1 ? 1e-6 : 100, high = highs[scene % 4];
    std::vector<Box> boxes;
    for (int i = 0; i < scene; ++i) {
      const double x = between(-wide, wide), y = between(-high, high);
      double size = 0;
      if (i % 17 == 0)
        size = 60;
      else if (i % 3 != 0)
        size = between(0, 2);
      boxes.push_back(i % 23 == 5 ? Box{} : Box{x, y, x + size, y + between(0, 1) * size});
    }
    const BoxIndex index(boxes);
    for (int k = 0; k < 40; ++k) {
      const double x = between(-1.5 * wide, 1.5 * wide), y = between(-1.5 * high, 1.5 * high);
      Box window{x, y, x + (k % 2) * between(0, 30), y + (k % 3) * between(0, 30)};
      if (k == 0) window = {-1e18, -1e18, 1e18, 1e18};
      if (k == 1 && !boxes.empty())
        window = {boxes[0].x1, boxes[0].y1, boxes[0].x1 + 1, boxes[0].y1 + 1};  // touches a corner
      std::vector<std::uint32_t> got{7}, want;
      for (std::uint32_t i = 0; i < boxes.size(); ++i)
        if (boxes[i].valid() && boxes[i].x0 <= window.x1 && window.x0 <= boxes[i].x1 && boxes[i].y0 <= window.y1 &&
            window.y0 <= boxes[i].y1)
          want.push_back(i);
      index.find(window, got);
      REQUIRE(got == want);
    }
  }
}
