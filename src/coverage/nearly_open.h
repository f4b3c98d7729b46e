// Targets that one rule keeps closed, and what relaxing it would bring.
#pragma once
#include "teasel/coverage.h"

namespace teasel {

void find_nearly_open(Coverage& coverage, const Planned& in);

}  // namespace teasel
