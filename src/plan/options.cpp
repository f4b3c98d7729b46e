// Which ways of building the fixture are compared, and what comes out of the comparison.
#include <algorithm>
#include <cmath>

#include "planner_state.h"
#include "teasel/words.h"

namespace teasel::planning {

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

namespace {
std::string money(Cents amount) {
  return short_number(amount.units(), 2);
}
std::string nets(int count) {
  return plural(static_cast<std::size_t>(count), "net", "nets");
}
std::string rejects(double per_thousand) {
  return per_thousand < 0.01 ? "less than 0.01" : short_number(per_thousand, 2);
}
}  // namespace

void compare_options(const PlannerState& state, PlanResult& result) {
  const auto& list = result.options;
  result.beaten.assign(list.size(), 0);
  auto met = [&](const OptionResult& option) { return nets_met(state.needs, option); };
  for (std::size_t i = 0; i < list.size(); ++i)
    for (std::size_t k = 0; k < list.size(); ++k) {
      const OptionResult &one = list[i], &other = list[k];
      if (i == k || other.locks_missed > one.locks_missed) continue;
      const bool as_good = other.cost.to_build() <= one.cost.to_build() && met(other) >= met(one) &&
                           other.false_rejects <= one.false_rejects;
      const bool better = other.cost.to_build() < one.cost.to_build() || met(other) > met(one) ||
                          other.false_rejects < one.false_rejects;
      if (as_good && (better || k < i)) result.beaten[i] = 1;
    }
  const OptionResult& chosen = list[result.chosen];
  std::string& text = result.recommendation;
  text = "Build " + chosen.option.name() + ": " + plural(chosen.probes.size(), "probe", "probes") + " for " +
         nets(met(chosen)) + " in full, and " + rejects(chosen.false_rejects) +
         " false rejects expected in a thousand good boards.";
  // The nearest alternative that serves more, and the nearest that costs less.
  const OptionResult *more = nullptr, *less = nullptr;
  for (std::size_t i = 0; i < list.size(); ++i) {
    const OptionResult& other = list[i];
    if (i == result.chosen || met(other) == 0 || other.locks_missed > chosen.locks_missed || result.beaten[i]) continue;
    if (met(other) > met(chosen) && (!more || other.cost.to_build() < more->cost.to_build())) more = &other;
    if (other.cost.to_build() < chosen.cost.to_build() && (!less || met(other) > met(*less))) less = &other;
  }
  if (more)
    text += " With " + more->option.name() + " the plan would serve " + nets(met(*more) - met(chosen)) +
            " more, and cost " + money(more->cost.to_build() - chosen.cost.to_build()) +
            " more by the weights of the rule set.";
  if (less) {
    const int fewer = met(chosen) - met(*less);
    text += " With " + less->option.name() + " it would serve " +
            (fewer > 0 ? nets(fewer) + " fewer" : "as many nets") + ", and save " +
            money(chosen.cost.to_build() - less->cost.to_build()) + " by the weights of the rule set.";
  }
  if (!more && !less && list.size() > 1) text += " No other option that was compared serves more nets or costs less.";
  if (more || less)
    text += " These weights only choose among plans; what each bed costs to build is listed under cost.";
}

}  // namespace teasel::planning
