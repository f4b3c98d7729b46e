// Targets, their metal, and the declared points to aim at.
#pragma once
#include <array>

#include "box_tree.h"
#include "teasel/access.h"

namespace teasel {

inline constexpr double kCourtyard =
    0.6;  // mm; outlines drawn about lands exceed them by half a millimetre at most (from memory: IPC-7351 courtyards)

/// What covers a target on its own side.
struct Covering {
  int body = -1;            ///< the component that covers all of it
  bool own_exempt = false;  ///< the own body's edge is not known: drawn about its lands, or their hull
};

/// By side: bodies that stand there.
std::array<BoxTree, 2> body_trees(const Board& board);

/// Fills targets, spots and shapes. Returns what covers each target.
std::vector<Covering> find_targets(Access& access, const Board& board, const Catalogue& catalogue, const Rules& rules,
                                   const StandingFixture& standing, const std::array<BoxTree, 2>& bodies);

/// True if nothing stands in this hole in at least one build variant.
bool has_empty_hole(const Board& board, const Rules& rules, const Feature& feature);

}  // namespace teasel
