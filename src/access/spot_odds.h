// Odds of one spot: the miss, and touching a neighbour's metal.
#pragma once
#include "surroundings.h"

namespace teasel {

struct Odds {
  Chance miss{1}, wrong;
};
Odds odds_of(const Access& access, const Board& board, const Spot& spot, ClassId probe_class, const ProbeClass& probe,
             Mm head, const LandSpread& error, const std::vector<NearMetal>& conductors, const ArcWay& way);
/// How a tip stands off its place while the bed closes by its stroke on this target.
ArcWay way_of(const LidArc& arc, const Board& board, const Rules& rules, const Target& target, BoardPoint at,
              const ProbeClass& probe, bool main_side);
/// miss_probability() of a land whose opening, the landing grown by the gap, is known already.
Chance miss_beside_mask(const Polygons& landing, const Polygons& opening, Point aim, const LandSpread& error);
/// Metal grown by the head's radius: where the tip's middle may not come down. Never smaller than it is.
Polygons grown(const Polygons& metal, double by, bool convex);
bool is_convex(const Polygons& metal);

}  // namespace teasel
