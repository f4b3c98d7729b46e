// Which ways of building the fixture are compared.
#include <algorithm>
#include <cmath>

#include "planner_state.h"

namespace teasel {

bool prices_alike(Cents one, Cents other) {
  constexpr double kAlike = 0.001;  // the values behind them are not known to a part in a thousand
  return std::abs(one.units() - other.units()) <= kAlike * std::min(one.units(), other.units());
}

std::size_t parts_on(const Board& board, Side side) {
  return static_cast<std::size_t>(
      std::count_if(board.components.begin(), board.components.end(),
                    [&](const auto& part) { return part.side == side && part.fitted && !part.body.empty(); }));
}

namespace planning {

namespace {
/// The job's `sides` leaves this option out.
bool left_out(const PlanInputs& in, Sides sides) {
  const std::string& asked = in.job.fixture.sides;
  const bool one_bed = in.kit && !in.kit->upper_bed;
  if (asked == "auto") return one_bed && sides.is_both();
  const std::optional<Sides> allowed = sides_of(asked);
  return allowed && sides != *allowed;
}
}  // namespace

/// The side that the board lies on, where the fixture that stands or the job settles it.
std::optional<Side> settled_main(const PlanInputs& in) {
  if (in.standing.used) return in.standing.main;
  if (in.job.fixture.board_lies == "bottom side down") return Side::bottom;
  if (in.job.fixture.board_lies == "top side down") return Side::top;
  return std::nullopt;
}

std::vector<BedOption> options_of(const PlanInputs& in) {
  auto stands = [&](Side side) {
    return std::any_of(in.standing.holes.begin(), in.standing.holes.end(),
                       [&](const StandingHole& hole) { return hole.side == side && hole.state == HoleState::in_use; });
  };
  std::vector<BedOption> out;
  for (BedOption option : {BedOption{Side::bottom, Side::bottom},
                           {Side::top, Side::top},
                           {Sides::both(), Side::bottom},
                           {Sides::both(), Side::top}}) {
    if (left_out(in, option.sides)) continue;
    // The board lies on its main side; a single bed may also press from above when the job says how the board lies.
    option.main = settled_main(in).value_or(option.main);
    // A bed that stands is not left out.
    if (std::any_of(kBothSides.begin(), kBothSides.end(),
                    [&](Side side) { return !option.probed(side) && stands(side); }))
      continue;
    const bool same = std::any_of(out.begin(), out.end(), [&](const BedOption& listed) {
      return listed.sides == option.sides && listed.main == option.main;
    });
    if (!same) out.push_back(option);
  }
  return out;
}

void turn_over_if_as_good(const PlannerState& state, PlanResult& result) {
  const OptionResult cheapest = result.options[result.chosen];
  for (std::size_t i = 0; i < result.options.size(); ++i) {
    const OptionResult &option = result.options[i], &chosen = result.options[result.chosen];
    if (option.locks_missed == cheapest.locks_missed && prices_alike(option.total(), cheapest.total()) &&
        nets_met(state.needs, option) >= nets_met(state.needs, cheapest) &&
        parts_on(state.board, option.option.main) < parts_on(state.board, chosen.option.main))
      result.chosen = i;
  }
}

}  // namespace planning

}  // namespace teasel
