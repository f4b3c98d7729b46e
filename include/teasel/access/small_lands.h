// Probes on lands below the usual size, and what the shop must hold for them.
#pragma once
#include "teasel/access/bed.h"

namespace teasel {

/// A tolerance of the shop, mm, stated as in the rule set: three standard deviations, or the radius of a disc.
struct ShopTolerance {
  Mm counted;  ///< that the odds were worked out with
  Mm most;     ///< with more, everything else as counted, the first of these probes misses too often (`largest_miss`);
               ///< kWideTolerance: none does
};
inline constexpr Mm kWideTolerance{0.5};

struct SmallLands {
  int probes = 0, on_main_side = 0;
  int smallest = -1;  ///< index of the probe on the smallest of these lands; -1: there are none
  Mm diameter;        ///< of that land
  int worst = -1;     ///< index of the one of these that misses most often
  Chance worst_miss;
  double sum_of_misses = 0;  ///< of these probes: no more good boards than this share are rejected because of them
  ShopTolerance drilling, receptacle;
  ShopTolerance pointing;  ///< of the class that may grow by the least share
  Mm largest_pointing;     ///< of the classes in use there
};
/// Of the bed's probes on lands below the usual size of their side (Rules::usual_land).
SmallLands small_lands(const TrialBed& bed);

}  // namespace teasel
