// A probe in three dimensions: discs of its parts at their heights over the board.
#pragma once
#include <algorithm>
#include <array>

#include "teasel/access.h"

namespace teasel {

struct ProbePart {
  Obstacle::Part part{};
  double from{}, to{};  ///< heights over the board face
  double radius{};      ///< of free space that it needs, without tolerance
};
/// Head with its grounded ring, plunger, receptacle, and the plate around the receptacle's hole, which must outlive a
/// pocket.
inline std::array<ProbePart, 4> parts_of(const ProbeClass& p, double head, const Rules& r) {
  return {
      {{Obstacle::Part::head, 0, p.tip_length.v, std::max(head, p.ring_outer.v) / 2},
       {Obstacle::Part::plunger, p.tip_length.v, p.projection.v, p.plunger_diameter.v / 2},
       {Obstacle::Part::receptacle, p.projection.v, r.plate_distance.v, p.receptacle_diameter.v / 2},
       {Obstacle::Part::plate, r.plate_distance.v, 1e9, p.receptacle_drill.v / 2 + r.web.v + r.pocket_clearance.v}}};
}
/// The widest part between two heights.
inline ProbePart widest(const std::array<ProbePart, 4>& parts, double from, double to) {
  ProbePart best;
  for (const ProbePart& p : parts)
    if (std::max(from, p.from) < std::min(to, p.to) && p.radius > best.radius) best = p;
  return best;
}

}  // namespace teasel
