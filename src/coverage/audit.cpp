#include "teasel/coverage.h"

#include <algorithm>
#include <map>
#include <set>

#include "by_net.h"
#include "nearly_open.h"

namespace teasel {

namespace {
/// Counts the reasons that block a net's targets, and lists the most frequent ones first.
class Reasons {
 public:
  void add(const std::string& reason) { ++count_[reason]; }
  std::string sentence() const {
    std::vector<std::pair<int, std::string>> list;
    for (const auto& [reason, count] : count_) list.emplace_back(-count, reason);
    std::sort(list.begin(), list.end());
    std::string text;
    for (std::size_t i = 0; i < list.size() && i < 4; ++i)
      text += (i ? "; " : "") + list[i].second + " (" + std::to_string(-list[i].first) + ")";
    return text;
  }

 private:
  std::map<std::string, int> count_;
};

/// The class that fails least decides what is said of a target.
const Verdict& kindest(const Access& access, TargetId target, bool main) {
  ClassId best{0};
  std::size_t fewest = SIZE_MAX;
  for (const ClassId k : IdRange<ClassId>(access.classes)) {
    const Verdict& verdict = access.best_verdict(target, k, main);
    const std::size_t blocking =
        static_cast<std::size_t>(std::count_if(verdict.shortfalls.begin(), verdict.shortfalls.end(),
                                               [](const Shortfall& shortfall) { return shortfall.blocking; }));
    if (blocking < fewest) {
      fewest = blocking;
      best = k;
    }
  }
  return access.best_verdict(target, best, main);
}

/// Works out, need by need, what the chosen option reaches and why it does not reach the rest.
class NeedReport {
 public:
  explicit NeedReport(const Planned& in)
      : board_(in.board),
        access_(in.access),
        needs_(in.needs),
        option_(in.option),
        usual_lands_only_(in.plan.usual_lands_only),
        job_(in.job),
        catalogue_(in.catalogue),
        rules_(in.rules),
        standing_(in.standing),
        targets_of_(targets_by_net(in.board, in.access)),
        covered_of_(covered_by_net(in.board)) {}
  [[nodiscard]] CoverageRow row(NeedId need) const;

 private:
  [[nodiscard]] bool is_main(const Target& target) const { return target.side == option_.option.main; }
  [[nodiscard]] std::string why_unmet(const CoverageRow& row, const std::vector<TargetId>& open_here,
                                      const Reasons& reasons) const;
  [[nodiscard]] bool only_small_lands(const std::vector<TargetId>& open) const;
  [[nodiscard]] std::string rivals(const std::vector<TargetId>& open, NeedId own) const;
  [[nodiscard]] std::string waived_text(NeedId need) const;
  [[nodiscard]] std::string standing_in_the_way(const std::vector<TargetId>& targets) const;

  const Board& board_;
  const Access& access_;
  const Needs& needs_;
  const OptionResult& option_;
  const bool usual_lands_only_;
  const Job& job_;
  const Catalogue& catalogue_;
  const Rules& rules_;
  const StandingFixture& standing_;
  Table<NetId, std::vector<TargetId>> targets_of_;
  Table<NetId, std::vector<const Covered*>> covered_of_;
};

/// No spot of these open targets is as large as usual.
bool NeedReport::only_small_lands(const std::vector<TargetId>& open) const {
  return std::all_of(open.begin(), open.end(), [&](TargetId id) {
    const Target& target = access_.targets[id];
    const std::vector<SpotId> spots = spots_of(target);
    return std::all_of(spots.begin(), spots.end(),
                       [&](SpotId spot) { return access_.spots[spot].diameter < rules_.usual_land(is_main(target)); });
  });
}

/// Up to three nets whose probes leave no room at these open targets.
std::string NeedReport::rivals(const std::vector<TargetId>& open, NeedId own) const {
  std::vector<std::string> names;
  for (const TargetId index : open) {
    const Target& target = access_.targets[index];
    const Point aim = access_.spots[target.first_spot].at;
    for (const PlacedProbe& probe : option_.probes) {
      const Target& other = access_.targets[probe.target];
      if (other.side != target.side || probe.need == own) continue;
      const double apart = distance(aim, access_.spots[probe.spot].at);
      if (apart * 1e6 < static_cast<double>(least_distance_nm(
                            catalogue_, rules_, ClassId{catalogue_.classes.size() - 1}, probe.probe_class))) {
        const std::string& net = board_.nets[needs_[probe.need].net].name;
        if (std::find(names.begin(), names.end(), net) == names.end()) names.push_back(net);
      }
    }
  }
  std::string text;
  for (std::size_t i = 0; i < names.size() && i < 3; ++i) text += (i ? ", " : "") + names[i];
  return text;
}

/// Says so where one of the need's probes stands on a waiver; empty elsewhere.
std::string NeedReport::waived_text(NeedId need) const {
  for (const PlacedProbe& probe : option_.probes) {
    if (probe.need != need) continue;
    const Target& target = access_.targets[probe.target];
    for (const Shortfall& shortfall : access_.verdict(probe.spot, probe.probe_class, is_main(target)).shortfalls)
      if (shortfall.waiver)
        return "one of its probes relies on the waiver of '" + std::string(to_string(shortfall.reason)) +
               "': " + job_.decisions.waivers[shortfall.waiver].reason;
  }
  return {};
}

/// What of a standing fixture keeps new holes away from all of these targets. Empty if at least one of them has room.
std::string NeedReport::standing_in_the_way(const std::vector<TargetId>& targets) const {
  if (!standing_.used) return {};
  std::set<std::string> what;
  for (const TargetId index : targets) {
    const Target& target = access_.targets[index];
    for (const SpotId spot : spots_of(target))
      for (const ClassId k : IdRange<ClassId>(access_.classes)) {
        if (!access_.verdict(spot, k, is_main(target)).open) continue;
        const PlaceInFixture place =
            place_in_fixture(standing_, rules_, catalogue_.classes[k], access_.spots[spot].at, target.side,
                             head_diameter(board_, rules_, target, catalogue_.classes[k]));
        if (place.in_the_way.empty()) return {};
        what.insert(place.in_the_way);
      }
  }
  std::string list;
  std::size_t count = 0;
  for (const std::string& obstacle : what)
    if (count++ < 4) list += (list.empty() ? "" : ", ") + obstacle;
  return list + (what.size() > 4 ? ", ..." : "");
}

std::string NeedReport::why_unmet(const CoverageRow& row, const std::vector<TargetId>& open_here,
                                  const Reasons& reasons) const {
  if (row.targets == 0) return "the net has no land on an outer side";
  if (open_here.empty() && row.open[Side::top] + row.open[Side::bottom] > 0)
    return std::string("its targets are open only on the ") +
           to_string(row.open[Side::top] ? Side::top : Side::bottom) + " side, where this plan has no probes";
  if (open_here.empty()) return "all of its targets are blocked: " + reasons.sentence();
  if (static_cast<int>(open_here.size()) <= row.got)
    return "no other target is open; the rest are blocked: " + reasons.sentence();
  if (usual_lands_only_ && only_small_lands(open_here))
    return "its open lands are below the usual size, and a bed with probes on such lands bends the board too far";
  if (const std::string who = rivals(open_here, row.need); !who.empty())
    return "there is no room beside the probes of " + who;
  if (const std::string stands = standing_in_the_way(open_here); !stands.empty())
    return "the existing fixture has no room for a new hole there; in the way: " + stands;
  return "by the prices of the rule file a probe here costs more than it is worth";
}

CoverageRow NeedReport::row(NeedId need_index) const {
  const Need& need = needs_[need_index];
  CoverageRow row;
  row.need = need_index;
  row.wanted = need.wanted;
  row.got = option_.got[need_index];
  const NetId net = need.net;
  row.targets = static_cast<int>(targets_of_[net].size() + covered_of_[net].size());
  Reasons reasons;
  std::vector<TargetId> open_here;
  for (const TargetId index : targets_of_[net]) {
    const Target& target = access_.targets[index];
    if (access_.open(index, is_main(target))) {
      ++row.open[target.side];
      if (option_.option.probed(target.side)) open_here.push_back(index);
      continue;
    }
    const auto& shortfalls = kindest(access_, index, is_main(target)).shortfalls;
    const auto first =
        std::find_if(shortfalls.begin(), shortfalls.end(), [](const Shortfall& s) { return s.blocking; });
    if (first != shortfalls.end()) reasons.add(to_string(first->reason));
  }
  for (const Covered* covered : covered_of_[net])
    reasons.add(covered->mask ? to_string(Reason::mask_closed) : to_string(Reason::no_copper));
  if (need.role == Role::do_not_touch) {
    row.status = "do not touch";
    row.reason = need.because;
  } else if (need.wanted == 0) {
    row.status = "not wanted";
    row.reason = need.because;
  } else if (row.got >= need.wanted) {
    row.status = "met";
    row.reason = waived_text(need_index);
  } else {
    row.status = row.got > 0 ? "partial" : "unmet";
    row.reason = why_unmet(row, open_here, reasons);
  }
  return row;
}

/// The counter of nets with this status.
int& counter(Coverage& coverage, const std::string& status) {
  if (status == "met") return coverage.met_nets;
  return status == "partial" ? coverage.partial_nets : coverage.unmet_nets;
}

void add_assumptions(Coverage& coverage, const Planned& in) {
  const Board& board = in.board;
  const Rules& rules = in.rules;
  std::map<std::pair<ComponentId, Assumption::Fact>, std::vector<std::string>> by_assumption;
  for (const PlacedProbe& probe : in.option.probes) {
    const Target& target = in.access.targets[probe.target];
    const ProbeClass& probe_class = in.catalogue.classes[probe.probe_class];
    const Exposure& exposure = board.exposures[target.exposure];
    const Point aim = in.access.spots[probe.spot].at;
    const bool main = target.side == in.option.option.main;
    coverage.probe_assumptions.push_back(depends_on(
        board, rules, probe_class, target, aim, error_budget(board, rules, probe_class, exposure, aim, main).total()));
    for (const Assumption& made : coverage.probe_assumptions.back())
      by_assumption[{made.component, made.fact}].push_back(probe.name);
  }
  for (auto& [key, probes] : by_assumption)
    coverage.measure_first.push_back({assumption(board, key.first, key.second), std::move(probes)});
  std::stable_sort(coverage.measure_first.begin(), coverage.measure_first.end(),
                   [](const auto& a, const auto& b) { return a.probes.size() > b.probes.size(); });
}
}  // namespace

Coverage coverage_of(const Planned& in) {
  Coverage coverage;
  const Needs& needs = in.needs;
  const OptionResult& option = in.option;
  const NeedReport report(in);
  for (const NeedId need : needs.ids()) {
    CoverageRow row = report.row(need);
    if (needs[need].wanted > 0) {
      ++coverage.wanted_nets;
      ++counter(coverage, row.status);
      coverage.mandatory_unmet += needs[need].mandatory && row.got < needs[need].wanted;
    }
    coverage.rows.push_back(std::move(row));
  }
  find_nearly_open(coverage, in);
  for (const ProbeId id : option.probes.ids()) {
    const PlacedProbe& probe = option.probes[id];
    const bool main = in.access.targets[probe.target].side == option.option.main;
    for (const Shortfall& shortfall : in.access.verdict(probe.spot, probe.probe_class, main).shortfalls)
      if (shortfall.waiver) coverage.waived.push_back({id, shortfall});
  }
  add_assumptions(coverage, in);
  return coverage;
}

namespace {
std::string status_of(int got, int wanted) {
  if (got >= wanted) return "met";
  return got > 0 ? "partial" : "unmet";
}
}  // namespace

void drop_probes(Coverage& coverage, const Needs& needs, const OptionResult& option,
                 const std::vector<std::pair<ProbeId, std::string>>& lost) {
  for (const auto& [probe, why] : lost) {
    const NeedId need_index = option.probes[probe].need;
    for (CoverageRow& row : coverage.rows) {
      if (row.need != need_index || row.got == 0) continue;
      const Need& need = needs[need_index];
      const bool was_whole = row.got >= need.wanted;
      const bool counted = row.status == "met" || row.status == "partial" || row.status == "unmet";
      if (counted) --counter(coverage, row.status);
      --row.got;
      if (counted) {
        row.status = status_of(row.got, need.wanted);
        ++counter(coverage, row.status);
      }
      if (need.mandatory && was_whole && row.got < need.wanted) ++coverage.mandatory_unmet;
      row.reason = option.probes[probe].name + " " + why + (row.reason.empty() ? "" : "; " + row.reason);
    }
  }
}

}  // namespace teasel
