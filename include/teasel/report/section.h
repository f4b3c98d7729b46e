// The stack of plates from the side, at rest, at first touch and at work.
#pragma once
#include <string>

#include "teasel/report.h"

namespace teasel {

/// Heights to scale, widths not: what stands where between base and uppermost plate, with distances.
std::string section_svg(const Outcome& outcome);

}  // namespace teasel
