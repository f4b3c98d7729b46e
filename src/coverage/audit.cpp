#include "teasel/coverage.h"

#include <algorithm>
#include <map>
#include <set>

#include "by_net.h"
#include "nearly_open.h"

namespace teasel {

namespace {
/// The reasons that block a net's targets, most frequent first, as a sentence.
class Reasons {
 public:
  void add(const std::string& r) { ++count_[r]; }
  std::string sentence() const {
    std::vector<std::pair<int, std::string>> list;
    for (const auto& [r, n] : count_) list.emplace_back(-n, r);
    std::sort(list.begin(), list.end());
    std::string s;
    for (std::size_t i = 0; i < list.size() && i < 4; ++i)
      s += (i ? "; " : "") + list[i].second + " (" + std::to_string(-list[i].first) + ")";
    return s;
  }

 private:
  std::map<std::string, int> count_;
};

/// The class that fails least decides what is said of a target.
const Verdict& kindest(const Access& a, std::size_t t, bool main) {
  std::size_t best = 0, fewest = SIZE_MAX;
  for (std::size_t k = 0; k < a.classes; ++k) {
    const Verdict& v = a.best_verdict(t, k, main);
    const std::size_t blocking = static_cast<std::size_t>(
        std::count_if(v.shortfalls.begin(), v.shortfalls.end(), [](const Shortfall& s) { return s.blocking; }));
    if (blocking < fewest) {
      fewest = blocking;
      best = k;
    }
  }
  return a.best_verdict(t, best, main);
}

std::string rivals(const Board& b, const Access& access, const std::vector<Need>& needs, const OptionResult& r,
                   const Catalogue& cat, const Rules& rules, const std::vector<std::size_t>& open, int own) {
  std::vector<std::string> names;
  for (std::size_t t : open) {
    const Target& target = access.targets[t];
    const Point at = access.spots[static_cast<std::size_t>(target.first_spot)].at;
    for (const PlacedProbe& p : r.probes) {
      const Target& other = access.targets[static_cast<std::size_t>(p.target)];
      if (other.side != target.side || p.need == own) continue;
      const double d = distance(at, access.spots[static_cast<std::size_t>(p.spot)].at);
      if (d * 1e6 < static_cast<double>(least_distance_nm(cat, rules, cat.classes.size() - 1,
                                                          static_cast<std::size_t>(p.probe_class)))) {
        const std::string& n = b.nets[static_cast<std::size_t>(needs[static_cast<std::size_t>(p.need)].net)].name;
        if (std::find(names.begin(), names.end(), n) == names.end()) names.push_back(n);
      }
    }
  }
  std::string s;
  for (std::size_t i = 0; i < names.size() && i < 3; ++i) s += (i ? ", " : "") + names[i];
  return s;
}
}  // namespace

namespace {
/// "a probe stands on a waiver: ..." where one of the need's probes does.
std::string waived_text(const Access& a, const Job& job, const OptionResult& r, int need) {
  for (const PlacedProbe& p : r.probes) {
    if (p.need != need) continue;
    const Target& t = a.targets[static_cast<std::size_t>(p.target)];
    for (const Shortfall& s :
         a.verdict(static_cast<std::size_t>(p.spot), static_cast<std::size_t>(p.probe_class), t.side == r.option.main)
             .shortfalls)
      if (s.waiver >= 0)
        return "stands on a waiver of '" + std::string(to_string(s.reason)) +
               "': " + job.waivers[static_cast<std::size_t>(s.waiver)].reason;
  }
  return {};
}
/// What of a standing fixture keeps new holes away from all of these targets; empty: not all are kept away.
std::string standing_in_the_way(const Access& access, const Job& job, const Catalogue& cat, const Rules& rules,
                                const Board& b, const std::vector<std::size_t>& targets, Side main_side) {
  if (!job.standing.used) return {};
  std::set<std::string> what;
  for (const std::size_t t : targets) {
    const Target& target = access.targets[t];
    for (int s = target.first_spot; s < target.first_spot + target.spots; ++s)
      for (std::size_t k = 0; k < access.classes; ++k) {
        if (!access.verdict(static_cast<std::size_t>(s), k, target.side == main_side).open) continue;
        const PlaceInFixture p =
            place_in_fixture(job.standing, rules, cat.classes[k], access.spots[static_cast<std::size_t>(s)].at,
                             target.side, head_diameter(b, rules, target, cat.classes[k]));
        if (p.in_the_way.empty()) return {};
        what.insert(p.in_the_way);
      }
  }
  std::string list;
  std::size_t n = 0;
  for (const std::string& w : what)
    if (n++ < 4) list += (list.empty() ? "" : ", ") + w;
  return list + (what.size() > 4 ? ", ..." : "");
}
}  // namespace

Coverage audit(const Board& b, const Access& access, const std::vector<Need>& needs, const PlanResult& plan,
               const Job& job, const Catalogue& cat, const Rules& rules) {
  Coverage c;
  const OptionResult& r = plan.options[plan.chosen];
  const auto targets_of = targets_by_net(b, access);
  const auto covered_of = covered_by_net(b);
  for (std::size_t i = 0; i < needs.size(); ++i) {
    const Need& need = needs[i];
    CoverageRow row;
    row.need = static_cast<int>(i);
    row.wanted = need.wanted;
    row.got = r.got[i];
    const std::size_t net = static_cast<std::size_t>(need.net);
    row.targets = static_cast<int>(targets_of[net].size() + covered_of[net].size());
    Reasons reasons;
    std::vector<std::size_t> open_here;
    for (std::size_t t : targets_of[net]) {
      const Target& target = access.targets[t];
      const bool main = target.side == r.option.main;
      if (access.open(t, main)) {
        ++(target.side == Side::top ? row.open_top : row.open_bottom);
        if (r.option.probed(target.side)) open_here.push_back(t);
      } else {
        for (const Shortfall& s : kindest(access, t, main).shortfalls)
          if (s.blocking) {
            reasons.add(to_string(s.reason));
            break;
          }
      }
    }
    for (const Covered* x : covered_of[net])
      reasons.add(x->mask ? to_string(Reason::mask_closed) : to_string(Reason::no_copper));
    if (need.role == Role::do_not_touch) {
      row.status = "do not touch";
      row.reason = need.because;
    } else if (need.wanted == 0) {
      row.status = "not wanted";
      row.reason = need.because;
    } else if (row.got >= need.wanted) {
      row.status = "met";
      row.reason = waived_text(access, job, r, static_cast<int>(i));
    } else {
      row.status = row.got > 0 ? "partial" : "unmet";
      const bool other_side = open_here.empty() && row.open_top + row.open_bottom > 0;
      if (row.targets == 0)
        row.reason = "no land on an outer side";
      else if (other_side)
        row.reason = std::string("open only on the ") + (row.open_top ? "top" : "bottom") +
                     ", which this plan leaves without probes";
      else if (open_here.empty())
        row.reason = "all targets blocked: " + reasons.sentence();
      else if (static_cast<int>(open_here.size()) <= row.got)
        row.reason = "no further open target; blocked: " + reasons.sentence();
      else {
        const std::string who = rivals(b, access, needs, r, cat, rules, open_here, static_cast<int>(i));
        const std::string stands =
            who.empty() ? standing_in_the_way(access, job, cat, rules, b, open_here, r.option.main) : std::string();
        row.reason = !who.empty() ? "no room beside the probes of " + who
                     : !stands.empty()
                         ? "the fixture that stands has no room for a new hole there; in the way: " + stands
                         : "a probe here costs more than it is worth, by the prices of the rule file";
      }
    }
    if (need.wanted > 0) {
      ++c.wanted_nets;
      ++(row.status == "met" ? c.met_nets : row.status == "partial" ? c.partial_nets : c.unmet_nets);
      c.mandatory_unmet += need.mandatory && row.got < need.wanted;
    }
    c.rows.push_back(std::move(row));
  }
  find_nearly_open(c, b, access, needs, r, cat, rules);
  for (std::size_t i = 0; i < r.probes.size(); ++i) {
    const PlacedProbe& p = r.probes[i];
    for (const Shortfall& s : access
                                  .verdict(static_cast<std::size_t>(p.spot), static_cast<std::size_t>(p.probe_class),
                                           access.targets[static_cast<std::size_t>(p.target)].side == r.option.main)
                                  .shortfalls)
      if (s.waiver >= 0) c.waived.push_back({static_cast<int>(i), s});
  }
  std::map<std::pair<int, Assumption::Fact>, std::vector<std::string>> by_assumption;
  for (const PlacedProbe& p : r.probes) {
    const Target& t = access.targets[static_cast<std::size_t>(p.target)];
    const ProbeClass& k = cat.classes[static_cast<std::size_t>(p.probe_class)];
    const Exposure& e = b.exposures[static_cast<std::size_t>(t.exposure)];
    const Point at = access.spots[static_cast<std::size_t>(p.spot)].at;
    c.probe_assumptions.push_back(
        depends_on(b, rules, k, t, at, error_budget(b, rules, k, e, at, t.side == r.option.main).total()));
    for (const Assumption& a : c.probe_assumptions.back()) by_assumption[{a.component, a.fact}].push_back(p.name);
  }
  for (auto& [key, probes] : by_assumption)
    c.measure_first.push_back({assumption(b, key.first, key.second), std::move(probes)});
  std::stable_sort(c.measure_first.begin(), c.measure_first.end(),
                   [](const auto& x, const auto& y) { return x.probes.size() > y.probes.size(); });
  return c;
}

void drop_probes(Coverage& c, const std::vector<Need>& needs, const OptionResult& option,
                 const std::vector<std::pair<int, std::string>>& lost) {
  for (const auto& [probe, why] : lost) {
    const int need = option.probes[static_cast<std::size_t>(probe)].need;
    for (CoverageRow& row : c.rows) {
      if (row.need != need || row.got == 0) continue;
      const Need& n = needs[static_cast<std::size_t>(need)];
      const bool was_whole = row.got >= n.wanted,
                 counted = row.status == "met" || row.status == "partial" || row.status == "unmet";
      if (counted) --(row.status == "met" ? c.met_nets : row.status == "partial" ? c.partial_nets : c.unmet_nets);
      --row.got;
      if (counted) {
        row.status = row.got >= n.wanted ? "met" : row.got > 0 ? "partial" : "unmet";
        ++(row.status == "met" ? c.met_nets : row.status == "partial" ? c.partial_nets : c.unmet_nets);
      }
      if (n.mandatory && was_whole && row.got < n.wanted) ++c.mandatory_unmet;
      row.reason = option.probes[static_cast<std::size_t>(probe)].name + " " + why +
                   (row.reason.empty() ? "" : "; " + row.reason);
    }
  }
}

}  // namespace teasel
