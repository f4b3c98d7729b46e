// The table of gaps between the solids of a bed.
#pragma once
#include <string>

#include "teasel/report.h"

namespace teasel {

std::string gaps_csv(const Outcome& outcome);

}  // namespace teasel
