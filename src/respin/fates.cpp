// What becomes of each probe of the fixture, and why.
#include <algorithm>
#include <map>
#include <set>

#include "teasel/enums.h"
#include "teasel/respin.h"

namespace teasel {

const char* to_string(Fate fate) {
  static constexpr Words<Fate> kFates{"kept", "kept but worse", "moved", "lost", "freed"};
  return kFates[fate];
}

int Respin::count(Fate fate) const {
  return static_cast<int>(
      std::count_if(fates.begin(), fates.end(), [&](const ProbeFate& row) { return row.fate == fate; }));
}

namespace {
using formats::BuiltNetId;
using formats::FixtureFile;

constexpr double kWorse = 1.1;    // times the chance of a miss before
constexpr Chance kVouched{1e-9};  // chances below this are not told apart

class FateFinder {
 public:
  FateFinder(const BuildInputs& in, const FixtureFile& file, const formats::BuiltBoard& now,
             const std::vector<NetMatch>& nets)
      : in_(in) {
    const formats::Revision& old = file.revisions.back();
    std::map<std::string, NetId> on_board;
    for (const NetId net : in.board.nets.ids())
      if (!in.board.nets[net].unconnected) on_board.emplace(in.board.nets[net].name.text(), net);
    for (const BuiltNetId net : old.board.nets.ids()) old_net_.emplace(old.board.nets[net], net);
    new_of_old_.resize(old.board.nets.size());
    for (const NetMatch& match : nets)
      if (match.taken && match.net) new_of_old_[match.old_net] = on_board.at(now.nets[match.net]);
    for (const formats::BuiltProbe& probe : old.probes) before_[probe.name] = &probe;
    for (const NeedId need : in.needs.ids()) need_of_net_[in.needs[need].net] = need;
    for (const ProbeId id : in.option.probes.ids()) {
      const PlacedProbe& probe = in.option.probes[id];
      const NetId net = in.needs[probe.need].net;
      if (probe.standing_hole) in_hole_[probe.standing_hole] = id;
      // Probes that a net has besides those that stayed: they stand in for those that went.
      if (!probe.standing_hole || !same_net(probe.standing_hole, net)) stand_ins_[net].push_back(id);
    }
  }
  std::vector<ProbeFate> run() {
    std::vector<ProbeFate> out;
    const auto& holes = in_.standing.holes;
    for (const StandingHoleId hole : holes.ids())
      if (holes[hole].state == HoleState::in_use) out.push_back(fate(hole));
    std::stable_sort(out.begin(), out.end(), [](const ProbeFate& a, const ProbeFate& b) { return a.name < b.name; });
    return out;
  }

 private:
  /// The net on the new board to which the probe in this hole was wired; none: gone.
  NetId net_of(StandingHoleId hole) const {
    const auto before = before_.find(in_.standing.holes[hole].name);
    if (before == before_.end()) return {};
    const auto net = old_net_.find(before->second->net);
    return net == old_net_.end() ? NetId{} : new_of_old_[net->second];
  }
  bool same_net(StandingHoleId hole, NetId net) const {
    return in_.standing.holes[hole].state == HoleState::in_use && net_of(hole) == net;
  }
  Chance miss(const PlacedProbe& probe) const {
    return in_.access
        .verdict(probe.spot, probe.probe_class, in_.access.targets[probe.target].side == in_.option.option.main)
        .miss;
  }
  std::string target(const PlacedProbe& probe) const {
    return in_.board.features[in_.access.targets[probe.target].feature].name;
  }

  ProbeFate fate(StandingHoleId hole);
  void kept(ProbeFate& fate, const PlacedProbe& probe) const;
  void moved(ProbeFate& fate, NetId net, std::vector<ProbeId>& others) const;
  std::string why_not_here(const ProbeFate& fate, NetId net) const;
  std::string why_nowhere_else(NeedId need) const;

  const BuildInputs& in_;
  std::map<std::string, BuiltNetId> old_net_;
  Table<BuiltNetId, NetId> new_of_old_;
  std::map<std::string, const formats::BuiltProbe*> before_;
  std::map<NetId, NeedId> need_of_net_;
  std::map<StandingHoleId, ProbeId> in_hole_;
  std::map<NetId, std::vector<ProbeId>> stand_ins_;
};

/// The nearest thing to a reason: the verdict over the hole, or that no bare metal of the net lies there.
std::string FateFinder::why_not_here(const ProbeFate& hole, NetId net) const {
  const auto of_class = std::find_if(in_.catalogue.classes.begin(), in_.catalogue.classes.end(),
                                     [&](const ProbeClass& candidate) { return candidate.name == hole.probe_class; });
  if (of_class == in_.catalogue.classes.end()) return "the catalogue has no class " + hole.probe_class + " any more";
  const ClassId probe_class = id_of(in_.catalogue.classes, *of_class);
  std::string other;
  for (const SpotId id : in_.access.spots.ids()) {
    const Spot& spot = in_.access.spots[id];
    const Target& target = in_.access.targets[spot.target];
    if (target.side != hole.side || distance(spot.at, hole.at) > kSameHolePlace.v) continue;
    if (const NetId here = in_.board.features[target.feature].net; here != net) {
      other = in_.board.nets[here].name;
      continue;
    }
    const Verdict& verdict = in_.access.verdict(id, probe_class, target.side == in_.option.option.main);
    if (verdict.open) return "another pad costs less, or its neighbours leave no room";
    for (const Shortfall& shortfall : verdict.shortfalls)
      if (shortfall.blocking) return sentence(shortfall, in_.board, in_.job);
  }
  if (!other.empty()) return "the metal over the hole now belongs to " + other;
  const Exposure* nearest = nullptr;
  for (const Exposure& exposure : in_.board.exposures)
    if (exposure.side == hole.side && in_.board.features[exposure.feature].net == net &&
        (!nearest || distance(exposure.aim, hole.at) < distance(nearest->aim, hole.at)))
      nearest = &exposure;
  if (!nearest) return std::string("the net has no bare metal on the ") + to_string(hole.side) + " side";
  return "the net has no bare metal over the hole; the nearest, " + in_.board.features[nearest->feature].name +
         ", is " + short_number(distance(nearest->aim, hole.at), 3) + " mm off";
}

std::string FateFinder::why_nowhere_else(NeedId need) const {
  for (const CoverageRow& row : in_.coverage.rows)
    if (row.need == need && !row.reason.empty()) return "; elsewhere: " + row.reason;
  return {};
}

void FateFinder::kept(ProbeFate& fate, const PlacedProbe& probe) const {
  fate.by = probe.name;
  fate.target = target(probe);
  fate.miss = miss(probe);
  fate.fate = Fate::kept;
  const Spot& spot = in_.access.spots[probe.spot];
  if (spot.kind == AimKind::standing_hole)
    fate.why = "the tip lands " +
               short_number(distance(spot.at, in_.access.spots[in_.access.targets[probe.target].first_spot].at), 3) +
               " mm off the middle of the land";
  if (fate.miss > kWorse * fate.miss_before && fate.miss - fate.miss_before > kVouched) {
    fate.fate = Fate::worse;
    if (fate.why.empty()) fate.why = "there is less bare metal, or more position error, than before";
  }
}

/// The nearest of the net's other probes takes its place.
void FateFinder::moved(ProbeFate& fate, NetId net, std::vector<ProbeId>& others) const {
  auto away = [&](ProbeId probe) { return distance(in_.access.spots[in_.option.probes[probe].spot].at, fate.at); };
  const auto nearest =
      std::min_element(others.begin(), others.end(), [&](ProbeId a, ProbeId b) { return away(a) < away(b); });
  const PlacedProbe& probe = in_.option.probes[*nearest];
  fate.fate = Fate::moved;
  fate.by = probe.name;
  fate.target = target(probe);
  fate.miss = miss(probe);
  fate.why = why_not_here(fate, net);
  others.erase(nearest);
}

ProbeFate FateFinder::fate(StandingHoleId hole) {
  const StandingHole& standing = in_.standing.holes[hole];
  ProbeFate fate;
  fate.name = standing.name;
  fate.probe_class = standing.probe_class;
  fate.side = standing.side;
  fate.at = standing.at;
  if (const auto before = before_.find(standing.name); before != before_.end()) {
    fate.old_net = before->second->net;
    fate.target_before = before->second->target;
    fate.miss_before = before->second->miss;
  }
  const NetId net = net_of(hole);
  if (net) fate.net = in_.board.nets[net].name;
  if (const auto it = in_hole_.find(hole); it != in_hole_.end()) {
    const PlacedProbe& probe = in_.option.probes[it->second];
    const NetId serves = in_.needs[probe.need].net;
    if (serves == net) {
      kept(fate, probe);
      return fate;
    }
    fate.hole_serves = in_.board.nets[serves].name;
  }
  if (!net) {
    fate.fate = Fate::freed;
    fate.why = "the net is gone";
    return fate;
  }
  if (auto& others = stand_ins_[net]; !others.empty()) {
    moved(fate, net, others);
    return fate;
  }
  const auto found = need_of_net_.find(net);
  const NeedId need = found == need_of_net_.end() ? NeedId{} : found->second;
  const int wanted = need ? in_.needs[need].wanted : 0, got = need ? in_.option.got[need] : 0;
  if (wanted > 0 && got < wanted) {
    fate.fate = Fate::lost;
    fate.why = why_not_here(fate, net) + why_nowhere_else(need);
  } else {
    fate.fate = Fate::freed;
    fate.why = wanted <= 0 ? "the net needs no probe"
                           : "the net has all the probes that it needs (" + std::to_string(got) + ")";
  }
  return fate;
}
}  // namespace

std::vector<ProbeFate> judge_fates(const BuildInputs& in, const FixtureFile& file, const formats::BuiltBoard& now,
                                   const std::vector<NetMatch>& nets) {
  return FateFinder(in, file, now, nets).run();
}

}  // namespace teasel
