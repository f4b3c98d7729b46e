// Targets, their metal, and the declared points to aim at.
#pragma once
#include <vector>

#include "box_tree.h"
#include "teasel/access.h"

namespace teasel {

/// mm. Outlines drawn about lands exceed them by half a millimetre at most (from memory: IPC-7351 courtyards).
inline constexpr double kCourtyard = 0.6;

/// What covers a target on its own side.
struct Covering {
  ComponentId body;         ///< the component that covers all of it
  bool own_exempt = false;  ///< the own body's edge is not known: it is drawn about the lands, or it is their hull
};

/// Bodies by the side on which they stand; rows are components.
PerSide<BoxTree> body_trees(const Board& board);

/// Fills targets, spots and shapes. Returns what covers each target.
Table<TargetId, Covering> find_targets(Access& access, const Board& board, const Catalogue& catalogue,
                                       const Rules& rules, const StandingFixture& standing,
                                       const PerSide<BoxTree>& bodies);

/// True if nothing stands in this hole in at least one build variant.
bool has_empty_hole(const Board& board, const Rules& rules, const Feature& feature);

}  // namespace teasel
