// Nets whose role or voltage may be another than names tell.
#pragma once
#include "teasel/interfaces.h"

namespace teasel {

/// By need: the entry of [[need]] that speaks of its net; null: none does.
using NeedRules = Table<NeedId, const NeedRule*>;

/// Fills `Need::doubt` and warns of them: nets that look like feeds but are wanted as signals, and programming lines
/// that may carry more than logic does with no voltage stated. An entry of [[need]] settles each: its role, its volts.
void note_doubts(Needs& needs, const NeedRules& rules, const Board& board, const Job& job, const InterfaceTable& table,
                 const InterfaceSet& set, Diagnostics& diagnostics);

}  // namespace teasel
