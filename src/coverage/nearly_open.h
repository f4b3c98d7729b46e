// Targets that one rule keeps closed, and what relaxing it would bring.
#pragma once
#include "teasel/coverage.h"

namespace teasel {

void find_nearly_open(Coverage& coverage, const Board& board, const Access& access, const Needs& needs,
                      const OptionResult& option, const Catalogue& catalogue, const Rules& rules);

}  // namespace teasel
