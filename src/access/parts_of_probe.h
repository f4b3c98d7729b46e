// A probe in three dimensions: discs of its parts at their heights over the board.
#pragma once
#include <algorithm>
#include <array>

#include "teasel/access.h"

namespace teasel {

/// Lengths in mm.
struct ProbePart {
  Obstacle::Part part{};
  double from{}, to{};  ///< heights over the board face
  double radius{};      ///< of free space that it needs, without tolerance
};
/// Head with its grounded ring, plunger, receptacle, and the plate around the receptacle's hole. That plate must remain
/// where a pocket is milled beside it.
inline std::array<ProbePart, 4> parts_of(const ProbeClass& probe, Mm head, const Rules& rules) {
  return {{{Obstacle::Part::head, 0, probe.tip_length.v, std::max(head.v, probe.ring_outer.v) / 2},
           {Obstacle::Part::plunger, probe.tip_length.v, probe.projection.v, probe.plunger_diameter.v / 2},
           {Obstacle::Part::receptacle, probe.projection.v, rules.plate_distance.v, probe.receptacle_diameter.v / 2},
           {Obstacle::Part::plate, rules.plate_distance.v, 1e9,
            probe.receptacle_drill.v / 2 + rules.web.v + rules.pocket_clearance.v}}};
}
/// The widest part between two heights.
inline ProbePart widest(const std::array<ProbePart, 4>& parts, double from, double to) {
  ProbePart best;
  for (const ProbePart& part : parts)
    if (std::max(from, part.from) < std::min(to, part.to) && part.radius > best.radius) best = part;
  return best;
}

}  // namespace teasel
