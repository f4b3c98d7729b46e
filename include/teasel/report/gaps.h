// How a fixture stands: the gaps between the solids of a bed, and the parts of its mechanism.
#pragma once
#include <string>

#include "teasel/report.h"

namespace teasel {

std::string gaps_csv(const Outcome& outcome);
/// Guide pillars, bushes, screws, springs, stops and standoffs, each with its place.
std::string mechanism_csv(const Outcome& outcome);

}  // namespace teasel
