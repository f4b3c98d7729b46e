// A small maze router for the demo board: two signal layers, orthogonal tracks on a grid, vias between them.
#pragma once
#include <string>
#include <vector>

#include "design.h"

namespace demo {

struct Track {
  std::string net;
  bool top = true;
  double x1{}, y1{}, x2{}, y2{};
};
struct Via {
  std::string net;
  double x{}, y{};
};
struct Routes {
  std::vector<Track> tracks;
  std::vector<Via> vias;
  std::vector<std::string> failed;  ///< nets left open
};

/// Connects every net; those of `planes` only need a via beside each surface pad.
Routes route(const Design& design, const std::vector<std::string>& planes);

inline constexpr double kTrack = 0.12;
inline constexpr double kClearance = 0.10;
inline constexpr double kViaLand = 0.5;
inline constexpr double kViaHole = 0.25;

}  // namespace demo
