#include <algorithm>

#include "teasel/access/plates.h"
#include "teasel/words.h"

namespace teasel {

namespace {
bool is_of_plates(const Shortfall& shortfall) {
  return shortfall.reason == Reason::tooling_hole || shortfall.reason == Reason::kit_hole ||
         shortfall.reason == Reason::outside_kit;
}

/// True if nothing but pins and the kit blocks it.
bool lost_to_plates(const Verdict& verdict) {
  return !verdict.open && std::all_of(verdict.shortfalls.begin(), verdict.shortfalls.end(),
                                      [](const Shortfall& s) { return !s.blocking || is_of_plates(s); });
}
}  // namespace

void check_lost_to_plates(const Access& access, const Board& board, const Needs& needs, const Job& job,
                          Diagnostics& diagnostics) {
  enum : char { nothing, lost, open };
  Table<NetId, char> state(board.nets.size(), nothing);
  for (const TargetId id : access.targets.ids()) {
    const Target& target = access.targets[id];
    const NetId net = board.features[target.feature].net;
    if (!net || state[net] == open) continue;
    for (int n = 0; n < target.spots; ++n)
      for (std::size_t k = 0; k < access.classes; ++k)
        for (const bool main_side : {true, false}) {
          const Verdict& verdict = access.verdict(target.spot(n), ClassId{k}, main_side);
          if (verdict.open)
            state[net] = open;
          else if (state[net] == nothing && lost_to_plates(verdict))
            state[net] = lost;
        }
  }
  Few names(8);
  for (const Need& need : needs)
    if (need.wanted > 0 && state[need.net] == lost) names.add(board.nets[need.net].name);
  if (names.count())
    diagnostics.warn(
        {.code = "tooling-takes-nets",
         .at = {job.file, 0, 0, "fixture.tooling"},
         .message = "nets are lost because a tooling pin or a hole of the kit takes the room of their last probe",
         .found = plural(names.count(), "net", "nets") + ": " + names.text(),
         .remedy = "name other holes in  [fixture] tooling, or move the board in the kit"});
}

}  // namespace teasel
