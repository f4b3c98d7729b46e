#include "nearly_open.h"

#include <algorithm>
#include <map>

#include "by_net.h"

namespace teasel {

namespace {
/// The worst of the blocking shortfalls if all of them have one reason. Null if there are several reasons, or if no
/// rule with a number is behind the only one.
const Shortfall* only_reason(const Verdict& verdict) {
  const Shortfall* worst = nullptr;
  for (const Shortfall& shortfall : verdict.shortfalls) {
    if (!shortfall.blocking) continue;
    if (worst && worst->reason != shortfall.reason) return nullptr;
    if (!worst || shortfall.excess() > worst->excess()) worst = &shortfall;
  }
  return worst && worst->has_numbers() ? worst : nullptr;
}
}  // namespace

void find_nearly_open(Coverage& coverage, const Planned& in) {
  const Access& access = in.access;
  const Needs& needs = in.needs;
  const OptionResult& option = in.option;
  const auto targets_of = targets_by_net(in.board, access);
  const BlockedOdds blocked(access, in.board, in.catalogue, in.rules, LidArc(in.board, in.kit, in.standing));
  std::map<Reason, std::vector<std::pair<double, NeedId>>> by_reason;  // lack, need
  for (const NeedId need : needs.ids()) {
    if (needs[need].wanted <= 0 || option.got[need] >= needs[need].wanted) continue;
    std::map<Reason, double> least;
    for (const TargetId index : targets_of[needs[need].net]) {
      const Target& target = access.targets[index];
      if (!option.option.probed(target.side)) continue;
      const bool main = target.side == option.option.main;
      if (access.open(index, main)) continue;
      NearlyOpen best;
      for (const SpotId spot : spots_of(target))
        for (const ClassId probe_class : IdRange<ClassId>(access.classes))
          if (const Shortfall* shortfall = only_reason(access.verdict(spot, probe_class, main));
              shortfall && (!best.need || shortfall->lack() < best.shortfall.lack())) {
            // A target that a rule closes may have bad odds as well. Then it is not the rule alone that keeps it
            // closed.
            const bool odds = shortfall->reason == Reason::odds_too_low || shortfall->reason == Reason::wrong_landing;
            const Verdict verdict = odds ? Verdict{} : blocked.of(spot, probe_class, main);
            if (!odds && (verdict.miss > in.rules.largest_miss || verdict.wrong > in.rules.largest_wrong)) continue;
            best = {.need = need, .target = index, .spot = spot, .probe_class = probe_class, .shortfall = *shortfall};
          }
      if (!best.need) continue;
      const double lack = best.shortfall.excess();
      const auto [it, fresh] = least.emplace(best.shortfall.reason, lack);
      if (!fresh) it->second = std::min(it->second, lack);
      coverage.nearly_open.push_back(best);
    }
    for (const auto& [reason, lack] : least) by_reason[reason].emplace_back(lack, need);
  }
  std::stable_sort(coverage.nearly_open.begin(), coverage.nearly_open.end(),
                   [](const NearlyOpen& a, const NearlyOpen& b) { return a.shortfall.lack() < b.shortfall.lack(); });
  for (auto& [reason, list] : by_reason) {
    std::sort(list.begin(), list.end());
    Relaxation relaxation;
    relaxation.reason = reason;
    relaxation.nets = static_cast<int>(list.size());
    for (const auto& [lack, need] : list) {
      relaxation.mandatory += needs[need].mandatory;
      relaxation.nets_without += option.got[need] == 0;
    }
    relaxation.half = list[(list.size() - 1) / 2].first;
    relaxation.all = list.back().first;
    coverage.relaxations.push_back(relaxation);
  }
  std::stable_sort(coverage.relaxations.begin(), coverage.relaxations.end(),
                   [](const Relaxation& a, const Relaxation& b) { return a.nets > b.nets; });
}

}  // namespace teasel
