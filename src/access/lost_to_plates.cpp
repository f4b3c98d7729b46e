#include <algorithm>
#include <optional>

#include "teasel/access/plates.h"
#include "teasel/words.h"

namespace teasel {

namespace {
bool is_of_plates(const Shortfall& shortfall) {
  return shortfall.reason == Reason::tooling_hole || shortfall.reason == Reason::kit_hole ||
         shortfall.reason == Reason::outside_kit;
}

bool is_of_arc(const Shortfall& shortfall) {
  return shortfall.reason == Reason::lid_arc;
}

/// Wanted nets of which a target is blocked by nothing but such shortfalls, and none is open; with this side down, or
/// whichever lies down.
Few nets_lost_to(bool (*such)(const Shortfall&), const Access& access, const Board& board, const Needs& needs,
                 std::optional<Side> down = std::nullopt) {
  enum : char { nothing, lost, open };
  Table<NetId, char> state(board.nets.size(), nothing);
  for (const TargetId id : access.targets.ids()) {
    const Target& target = access.targets[id];
    const NetId net = board.features[target.feature].net;
    if (!net || state[net] == open) continue;
    for (int n = 0; n < target.spots; ++n)
      for (std::size_t k = 0; k < access.classes; ++k)
        for (const bool main_side : {true, false}) {
          if (down && main_side != (target.side == *down)) continue;
          const Verdict& verdict = access.verdict(target.spot(n), ClassId{k}, main_side);
          if (verdict.open)
            state[net] = open;
          else if (state[net] == nothing && std::all_of(verdict.shortfalls.begin(), verdict.shortfalls.end(),
                                                        [&](const Shortfall& s) { return !s.blocking || such(s); }))
            state[net] = lost;
        }
  }
  Few names(8);
  for (const Need& need : needs)
    if (need.wanted > 0 && state[need.net] == lost) names.add(board.nets[need.net].name);
  return names;
}
}  // namespace

void check_lost_to_plates(const Access& access, const Board& board, const Needs& needs, const Job& job,
                          Diagnostics& diagnostics) {
  // As the board lies better.
  const Few on_bottom = nets_lost_to(is_of_arc, access, board, needs, Side::bottom),
            on_top = nets_lost_to(is_of_arc, access, board, needs, Side::top);
  if (const Few& arc = on_top.count() < on_bottom.count() ? on_top : on_bottom; arc.count())
    diagnostics.warn({.code = "lid-arc-takes-nets",
                      .at = {job.file, 0, 0, "fixture.kit"},
                      .message = "nets are lost because the lid closes on an arc: the last tip that could touch them "
                                 "first comes down beside its land",
                      .found = plural(arc.count(), "net", "nets") + ": " + arc.text(),
                      .remedy = "use a kit or a style whose lid closes in parallel, such as parallel-clamshell; or a "
                                "kit whose hinge lies in the plane of the board"});
  if (const Few names = nets_lost_to(is_of_plates, access, board, needs); names.count())
    diagnostics.warn(
        {.code = "tooling-takes-nets",
         .at = {job.file, 0, 0, "fixture.tooling"},
         .message = "nets are lost because a tooling pin or a hole of the kit takes the room of their last probe",
         .found = plural(names.count(), "net", "nets") + ": " + names.text(),
         .remedy = "name other holes in  [fixture] tooling, or move the board in the kit"});
}

}  // namespace teasel
