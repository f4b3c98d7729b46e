#include "nearly_open.h"

#include <algorithm>
#include <map>

#include "by_net.h"

namespace teasel {

namespace {
std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}

/// The shortfall missed most, if all blocking ones have one reason; nothing if there are several, or if no rule is
/// behind it.
const Shortfall* only_reason(const Verdict& v) {
  const Shortfall* worst = nullptr;
  for (const Shortfall& s : v.shortfalls) {
    if (!s.blocking) continue;
    if (worst && worst->reason != s.reason) return nullptr;
    if (!worst || s.excess() > worst->excess()) worst = &s;
  }
  return worst && worst->has_numbers() ? worst : nullptr;
}
}  // namespace

void find_nearly_open(Coverage& c, const Board& b, const Access& access, const std::vector<Need>& needs,
                      const OptionResult& r, const Catalogue& cat, const Rules& rules) {
  const auto targets_of = targets_by_net(b, access);
  const BlockedOdds blocked(access, b, cat, rules);
  std::map<Reason, std::vector<std::pair<double, int>>> by_reason;  // lack, need
  for (std::size_t i = 0; i < needs.size(); ++i) {
    if (needs[i].wanted <= 0 || r.got[i] >= needs[i].wanted) continue;
    std::map<Reason, double> least;
    for (const std::size_t t : targets_of[at(needs[i].net)]) {
      const Target& target = access.targets[t];
      if (!r.option.probed(target.side)) continue;
      const bool main = target.side == r.option.main;
      if (access.open(t, main)) continue;
      NearlyOpen best;
      for (int s = target.first_spot; s < target.first_spot + target.spots; ++s)
        for (std::size_t k = 0; k < access.classes; ++k)
          if (const Shortfall* x = only_reason(access.verdict(at(s), k, main));
              x && (best.need < 0 || x->lack() < best.shortfall.lack())) {
            // What is closed for a rule may have bad odds as well: then the rule alone does not keep it closed.
            const bool odds = x->reason == Reason::odds_too_low || x->reason == Reason::wrong_landing;
            const Verdict v = odds ? Verdict{} : blocked.of(at(s), k, main);
            if (!odds && (v.miss > rules.largest_miss || v.wrong > rules.largest_wrong)) continue;
            best = {static_cast<int>(i), static_cast<int>(t), s, static_cast<int>(k), *x};
          }
      if (best.need < 0) continue;
      const double lack = best.shortfall.excess();
      const auto [it, fresh] = least.emplace(best.shortfall.reason, lack);
      if (!fresh) it->second = std::min(it->second, lack);
      c.nearly_open.push_back(best);
    }
    for (const auto& [reason, lack] : least) by_reason[reason].emplace_back(lack, static_cast<int>(i));
  }
  std::stable_sort(c.nearly_open.begin(), c.nearly_open.end(),
                   [](const NearlyOpen& x, const NearlyOpen& y) { return x.shortfall.lack() < y.shortfall.lack(); });
  for (auto& [reason, list] : by_reason) {
    std::sort(list.begin(), list.end());
    Relaxation x;
    x.reason = reason;
    x.nets = static_cast<int>(list.size());
    for (const auto& [lack, need] : list) {
      x.mandatory += needs[at(need)].mandatory;
      x.nets_without += r.got[at(need)] == 0;
    }
    x.half = list[(list.size() - 1) / 2].first;
    x.all = list.back().first;
    c.relaxations.push_back(x);
  }
  std::stable_sort(c.relaxations.begin(), c.relaxations.end(),
                   [](const Relaxation& x, const Relaxation& y) { return x.nets > y.nets; });
}

}  // namespace teasel
