// Made boards as selection problems, the same on every platform: via fields and crowded boards.
#pragma once
#include <algorithm>
#include <array>
#include <cstdint>
#include <random>
#include <utility>
#include <vector>

#include "teasel/plan/selection.h"

namespace teasel::testing {

/// A problem and the points that its columns are. The conflicts are left to link(), so that they can be timed.
struct Instance {
  selection::Problem problem;
  selection::Spaced points;

  void link() { problem.conflicts = selection::spacing_conflicts(points); }

  /// A want without columns as yet.
  int want(std::int64_t wanted, selection::Cost miss, selection::Cost last = 0) {
    problem.wants.push_back({wanted, miss, false, last});
    return static_cast<int>(problem.wants.size()) - 1;
  }
  /// A column that covers one unit of a want.
  void column(int of, int layer, int kind, std::int64_t x, std::int64_t y, selection::Cost price) {
    problem.price.push_back(price);
    problem.covers.add({of, 1});
    problem.covers.close();
    problem.weighs.close();
    points.x.push_back(x);
    points.y.push_back(y);
    points.layer.push_back(layer);
    points.kind.push_back(kind);
  }
};

/// Least distances of kinds: the mean of their spacings, rounded up to whole `unit`.
inline std::vector<std::vector<std::int64_t>> mean_spacings(const std::vector<std::int64_t>& spacing,
                                                            std::int64_t unit = 1) {
  std::vector<std::vector<std::int64_t>> least;
  for (const std::int64_t a : spacing) {
    least.emplace_back();
    for (const std::int64_t b : spacing) least.back().push_back((a + b + 2 * unit - 1) / (2 * unit) * unit);
  }
  return least;
}

/// The engine's values are fixed by the standard, those of its distributions are not. The bias of % does not matter
/// here.
class Dice {
 public:
  explicit Dice(std::uint64_t seed) : engine_(seed) {}
  std::int64_t below(std::int64_t n) { return static_cast<std::int64_t>(engine_() % static_cast<std::uint64_t>(n)); }
  std::int64_t within(std::int64_t low, std::int64_t high) { return low + below(high - low + 1); }
  bool one_in(std::int64_t n) { return below(n) == 0; }

 private:
  std::mt19937_64 engine_;
};

enum class Vias { one, near, rand };

/// side x side vias on one layer, each with a probe of 1.27 mm and a dearer one of 1.00 mm. Wants have one via each
/// (one), some have up to three that lie near one another (near), or one to three from anywhere (rand).
inline Instance via_field(int side, std::int64_t pitch_nm, Vias mode, std::uint64_t seed) {
  Dice dice(seed);
  Instance made;
  made.points.least = mean_spacings({1'270'000, 1'000'000});
  const int count = side * side;
  std::vector<int> want_of(static_cast<std::size_t>(count), -1);
  auto owner = [&](int via) -> int& { return want_of[static_cast<std::size_t>(via)]; };
  constexpr std::array<selection::Cost, 3> miss{1000, 1500, 2500};
  auto fresh = [&] { return made.want(1, miss[static_cast<std::size_t>(dice.below(3))]); };

  if (mode == Vias::rand) {
    std::vector<int> order(static_cast<std::size_t>(count));
    for (int i = 0; i < count; ++i) order[static_cast<std::size_t>(i)] = i;
    for (std::size_t i = order.size(); i > 1; --i)
      std::swap(order[i - 1], order[static_cast<std::size_t>(dice.below(static_cast<std::int64_t>(i)))]);
    for (std::size_t i = 0; i < order.size();) {
      const int of = fresh();
      for (std::int64_t left = dice.within(1, 3); left > 0 && i < order.size(); --left) owner(order[i++]) = of;
    }
  } else {
    for (int via = 0; via < count; ++via) {
      if (owner(via) >= 0) continue;
      const int of = fresh();
      owner(via) = of;
      if (mode != Vias::near || dice.below(2)) continue;
      for (std::int64_t more = dice.within(1, 2); more > 0; --more) {
        const auto column = via % side + dice.within(-2, 2);
        const auto row = via / side + dice.within(0, 2);
        if (column < 0 || column >= side || row >= side) continue;
        int& other = owner(static_cast<int>(row * side + column));
        if (other < 0) other = of;
      }
    }
  }
  for (int via = 0; via < count; ++via) {
    const std::int64_t x = via % side * pitch_nm, y = via / side * pitch_nm;
    made.column(owner(via), 0, 0, x, y, 28);
    made.column(owner(via), 0, 1, x, y, 45);
  }
  return made;
}

/// Parts with rows of pads set close together on both sides of a board. Nets reach over neighbouring parts, supplies
/// over more; cheap probes need large pads and much room.
inline Instance dense_board(int nets, std::uint64_t seed) {
  constexpr std::int64_t um = 1000;
  constexpr std::array<std::int64_t, 4> least_pad{1000 * um, 800 * um, 600 * um, 350 * um};
  constexpr std::array<selection::Cost, 4> price{10, 16, 28, 45};
  constexpr std::array<std::int64_t, 6> pitches{800 * um, 1000 * um, 1270 * um, 1270 * um, 1905 * um, 2540 * um};
  Dice dice(seed);
  Instance made;
  made.points.least = mean_spacings({2540 * um, 1905 * um, 1270 * um, 1000 * um});

  // Pads of the nets in the order in which parts take them: sorted by a key that keeps a net's pads within reach.
  std::vector<std::pair<std::int64_t, int>> pads;
  for (int net = 0; net < nets; ++net) {
    const bool supply = dice.one_in(50);
    if (supply) {
      made.want(dice.within(2, 4), 400 + 100 * dice.below(4), 1000);
      for (std::int64_t left = dice.within(12, 40); left > 0; --left) pads.emplace_back(net + dice.below(300), net);
    } else {
      made.want(1, 800 + 400 * dice.below(4));
      for (std::int64_t left = std::min(dice.within(1, 6), dice.within(1, 6)); left > 0; --left)
        pads.emplace_back(net + dice.below(60), net);
    }
  }
  std::sort(pads.begin(), pads.end());

  std::int64_t width = 40'000 * um;  // about as wide as it gets long
  while (width / (1000 * um) * (width / (1000 * um)) < 3 * static_cast<std::int64_t>(pads.size())) width += 10'000 * um;
  std::int64_t left = 0, top = 0, height = 0;  // of the shelf that is being filled
  for (std::size_t next = 0; next < pads.size();) {
    // One place on the shelf: a part whose pins go through, or a part on one side and perhaps another behind it.
    const bool through = dice.one_in(5);
    const auto side = static_cast<int>(dice.below(2));
    const bool behind = !through && dice.one_in(2);
    std::int64_t wide = 0, high = 0;
    for (int part = 0; part < (behind ? 2 : 1); ++part) {
      const int layer = part == 0 ? side : 1 - side;
      const std::int64_t pitch = pitches[static_cast<std::size_t>(dice.below(6))];
      const std::int64_t size = std::min(pitch * 7 / 10, 1600 * um) - dice.below(200 * um);
      const std::int64_t columns = dice.within(2, 12), rows = dice.within(1, 6);
      const std::int64_t x0 = left + dice.below(500 * um), y0 = top + dice.below(500 * um);
      wide = std::max(wide, x0 - left + columns * pitch);
      high = std::max(high, y0 - top + rows * pitch);
      for (std::int64_t pin = 0; pin < columns * rows && next < pads.size(); ++pin, ++next) {
        const std::int64_t x = x0 + pin % columns * pitch, y = y0 + pin / columns * pitch;
        const bool covered = dice.one_in(8);
        const selection::Cost extra = dice.one_in(2) ? dice.below(61) : 0;
        if (covered) continue;  // nothing may touch it
        for (std::size_t kind = 0; kind < 4; ++kind) {
          if (size < least_pad[kind]) continue;
          for (int on = 0; on < 2; ++on)
            if (through || on == layer)
              made.column(pads[next].second, on, static_cast<int>(kind), x, y, price[kind] + extra);
        }
      }
    }
    height = std::max(height, high);
    left += wide + dice.below(800 * um);
    if (left >= width) {
      left = 0;
      top += height + dice.below(800 * um);
      height = 0;
    }
  }
  return made;
}

}  // namespace teasel::testing
