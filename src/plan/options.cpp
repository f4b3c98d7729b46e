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

std::size_t parts_on(const Board& board, Side side) {
  return static_cast<std::size_t>(
      std::count_if(board.components.begin(), board.components.end(),
                    [&](const auto& part) { return part.side == side && part.fitted && !part.body.empty(); }));
}

/// Prices that differ by less than this share are alike: the weights behind them are not known to a part in a thousand.
constexpr double kAlike = 0.001;
bool alike(Cents one, Cents other) {
  return std::abs(one.units() - other.units()) <= kAlike * std::min(one.units(), other.units());
}
}  // namespace

void turn_over_if_as_good(const PlannerState& state, PlanResult& result) {
  const OptionResult cheapest = result.options[result.chosen];
  for (std::size_t i = 0; i < result.options.size(); ++i) {
    const OptionResult &option = result.options[i], &chosen = result.options[result.chosen];
    if (option.locks_missed == cheapest.locks_missed && alike(option.total(), cheapest.total()) &&
        nets_met(state.needs, option) >= nets_met(state.needs, cheapest) &&
        parts_on(state.board, option.option.main) < parts_on(state.board, chosen.option.main))
      result.chosen = i;
  }
}

namespace {
/// What is said where the board may as well lie the other way up.
std::string other_way_up(const PlannerState& state, const PlanResult& result) {
  const OptionResult& chosen = result.options[result.chosen];
  for (const OptionResult& other : result.options) {
    if (other.option.main == chosen.option.main || other.locks_missed != chosen.locks_missed ||
        !alike(other.total(), chosen.total()))
      continue;
    const std::size_t here = parts_on(state.board, chosen.option.main),
                      there = parts_on(state.board, other.option.main);
    return " With " + other.option.name() + " the price by these weights is nearly the same, " + money(other.total()) +
           " against " + money(chosen.total()) + ". The board then lies on " + plural(there, "part", "parts") +
           " instead of " + std::to_string(here) +
           ", so state fixture.board_lies if the operator or the press asks for it.";
  }
  return {};
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
  text += other_way_up(state, result);
  if (more || less)
    text += " These weights only choose among plans; what each bed costs to build is listed under cost.";
}

}  // namespace teasel::planning
