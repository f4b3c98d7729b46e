// What a fixture's pins and a kit's holes take away.
#pragma once
#include "teasel/access.h"
#include "teasel/interfaces.h"

namespace teasel {

/// Warns of wanted nets that a probe could touch if no tooling pin stood beside their pads, or if the kit had no hole
/// there.
void check_lost_to_plates(const Access& access, const Board& board, const Needs& needs, const Job& job,
                          Diagnostics& diagnostics);

}  // namespace teasel
