// Which ways of building the fixture are compared, and what comes out of the comparison.
#include <algorithm>
#include <cmath>

#include "session.h"

namespace teasel::planning {

std::vector<BedOption> options_of(const Job& job) {
  std::vector<BedOption> out;
  for (BedOption o : {BedOption{true, false, Side::bottom},
                      {false, true, Side::top},
                      {true, true, Side::bottom},
                      {true, true, Side::top}}) {
    if (job.sides == "bottom" && o.top) continue;
    if (job.sides == "top" && o.bottom) continue;
    if (job.sides == "both" && !(o.bottom && o.top)) continue;
    if (job.sides == "auto" && job.one_bed && o.bottom && o.top) continue;
    // The board lies on its main side; a single bed may also press from above when the job says how the board lies.
    if (job.board_lies == "bottom side down") o.main = Side::bottom;
    if (job.board_lies == "top side down") o.main = Side::top;
    // A bed that stands is not left out.
    const auto stands = [&](Side side) {
      return std::any_of(job.standing.holes.begin(), job.standing.holes.end(),
                         [&](const StandingHole& h) { return h.side == side && h.state == HoleState::in_use; });
    };
    if ((!o.top && stands(Side::top)) || (!o.bottom && stands(Side::bottom))) continue;
    const bool same = std::any_of(out.begin(), out.end(), [&](const BedOption& p) {
      return p.bottom == o.bottom && p.top == o.top && p.main == o.main;
    });
    if (!same) out.push_back(o);
  }
  return out;
}

namespace {
std::string money(Cents c) {
  return short_number(static_cast<double>(c) / 100, 2);
}
std::string rejects(double perThousand) {
  return perThousand < 0.01 ? "less than 0.01" : short_number(perThousand, 2);
}
}  // namespace

void compare_options(const Session& s, PlanResult& result) {
  const auto& list = result.options;
  result.beaten.assign(list.size(), 0);
  auto met = [&](const OptionResult& o) { return nets_met(s.needs, o); };
  for (std::size_t i = 0; i < list.size(); ++i)
    for (std::size_t k = 0; k < list.size(); ++k) {
      if (i == k || list[k].locks_missed > list[i].locks_missed) continue;
      const bool as_good = list[k].cost.to_build() <= list[i].cost.to_build() && met(list[k]) >= met(list[i]) &&
                           list[k].false_rejects <= list[i].false_rejects;
      const bool better = list[k].cost.to_build() < list[i].cost.to_build() || met(list[k]) > met(list[i]) ||
                          list[k].false_rejects < list[i].false_rejects;
      if (as_good && (better || k < i)) result.beaten[i] = 1;
    }
  const OptionResult& r = list[result.chosen];
  std::string& t = result.recommendation;
  t = "Build " + r.option.name() + ": " + std::to_string(r.probes.size()) + " probes, serve " + std::to_string(met(r)) +
      " nets in full, with " + rejects(r.false_rejects) + " false rejects expected in a thousand good boards";
  // The nearest alternative that serves more, and the nearest that costs less.
  const OptionResult *more = nullptr, *less = nullptr;
  for (const OptionResult& o : list) {
    if (&o == &r || met(o) == 0 || o.locks_missed > r.locks_missed ||
        result.beaten[static_cast<std::size_t>(&o - list.data())])
      continue;
    if (met(o) > met(r) && (!more || o.cost.to_build() < more->cost.to_build())) more = &o;
    if (o.cost.to_build() < r.cost.to_build() && (!less || met(o) > met(*less))) less = &o;
  }
  if (more)
    t += "; " + more->option.name() + " would serve " + std::to_string(met(*more) - met(r)) + " more, for " +
         money(more->cost.to_build() - r.cost.to_build()) + " more by the rule set's weights";
  if (less)
    t += "; " + less->option.name() + " would lose " + std::to_string(met(r) - met(*less)) + ", and save " +
         money(r.cost.to_build() - less->cost.to_build()) + " by the rule set's weights";
  if (!more && !less && list.size() > 1) t += "; no other option that was compared serves more nets or costs less";
  t += more || less ? " (weights choose among plans; what each bed costs to build stands under cost)." : ".";
}

}  // namespace teasel::planning
