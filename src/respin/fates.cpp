// What becomes of each probe of the fixture, and why.
#include <algorithm>
#include <map>
#include <set>

#include "teasel/respin.h"

namespace teasel {

const char* to_string(Fate f) {
  static const char* names[] = {"kept", "kept but worse", "moved", "lost", "freed"};
  return names[static_cast<int>(f)];
}

int Respin::count(Fate f) const {
  return static_cast<int>(std::count_if(fates.begin(), fates.end(), [&](const ProbeFate& x) { return x.fate == f; }));
}

namespace {
using formats::FixtureFile;

std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}
constexpr double kWorse = 1.1;     // times the chance of a miss before
constexpr double kVouched = 1e-9;  // chances below this are not told apart

class Judge {
 public:
  Judge(const BuildInputs& in, const FixtureFile& file, const formats::BuiltBoard& now,
        const std::vector<NetMatch>& nets)
      : in_(in) {
    const formats::Revision& old = file.revisions.back();
    std::map<std::string, int> on_board;
    for (std::size_t i = 0; i < in.board.nets.size(); ++i)
      if (!in.board.nets[i].unconnected) on_board.emplace(in.board.nets[i].name, static_cast<int>(i));
    for (std::size_t i = 0; i < old.board.nets.size(); ++i) old_net_.emplace(old.board.nets[i], static_cast<int>(i));
    new_of_old_.assign(old.board.nets.size(), -1);
    for (const NetMatch& m : nets)
      if (m.taken && m.net >= 0) new_of_old_[at(m.old_net)] = on_board.at(now.nets[at(m.net)]);
    for (const formats::BuiltProbe& p : old.probes) before_[p.name] = &p;
    for (std::size_t i = 0; i < in.needs.size(); ++i) need_of_net_[in.needs[i].net] = static_cast<int>(i);
    const auto& probes = in.option.probes;
    for (std::size_t i = 0; i < probes.size(); ++i) {
      if (probes[i].standing_hole >= 0) in_hole_[probes[i].standing_hole] = static_cast<int>(i);
      // Probes that a net has besides those that stayed: they stand in for those that went.
      if (probes[i].standing_hole < 0 || !same_net(probes[i].standing_hole, in.needs[at(probes[i].need)].net))
        stand_ins_[in.needs[at(probes[i].need)].net].push_back(static_cast<int>(i));
    }
  }
  std::vector<ProbeFate> run() {
    std::vector<ProbeFate> out;
    const auto& holes = in_.job.standing.holes;
    for (std::size_t h = 0; h < holes.size(); ++h)
      if (holes[h].state == HoleState::in_use) out.push_back(fate(static_cast<int>(h)));
    std::stable_sort(out.begin(), out.end(), [](const ProbeFate& a, const ProbeFate& b) { return a.name < b.name; });
    return out;
  }

 private:
  /// The net on the new board to which the probe in this hole was wired; -1: gone.
  int net_of(int hole) const {
    const auto b = before_.find(in_.job.standing.holes[at(hole)].name);
    if (b == before_.end()) return -1;
    const auto n = old_net_.find(b->second->net);
    return n == old_net_.end() ? -1 : new_of_old_[at(n->second)];
  }
  bool same_net(int hole, int net) const {
    return in_.job.standing.holes[at(hole)].state == HoleState::in_use && net_of(hole) == net;
  }
  double miss(const PlacedProbe& p) const {
    return in_.access
        .verdict(at(p.spot), at(p.probe_class), in_.access.targets[at(p.target)].side == in_.option.option.main)
        .miss;
  }
  std::string target(const PlacedProbe& p) const {
    return in_.board.features[at(in_.access.targets[at(p.target)].feature)].name;
  }

  ProbeFate fate(int hole);
  void kept(ProbeFate& f, const PlacedProbe& p) const;
  std::string why_not_here(const StandingHole& h, int net) const;
  std::string why_nowhere_else(int need) const;

  const BuildInputs& in_;
  std::map<std::string, int> old_net_;
  std::vector<int> new_of_old_;
  std::map<std::string, const formats::BuiltProbe*> before_;
  std::map<int, int> need_of_net_, in_hole_;
  std::map<int, std::vector<int>> stand_ins_;
};

/// The nearest thing to a reason: the verdict over the hole, or that no bare metal of the net lies there.
std::string Judge::why_not_here(const StandingHole& h, int net) const {
  const auto c = std::find_if(in_.catalogue.classes.begin(), in_.catalogue.classes.end(),
                              [&](const ProbeClass& k) { return k.name == h.probe_class; });
  if (c == in_.catalogue.classes.end()) return "the catalogue has no class " + h.probe_class + " any more";
  const auto k = static_cast<std::size_t>(c - in_.catalogue.classes.begin());
  std::string other;
  for (std::size_t s = 0; s < in_.access.spots.size(); ++s) {
    const Spot& spot = in_.access.spots[s];
    const Target& t = in_.access.targets[at(spot.target)];
    if (t.side != h.side || distance(spot.at, h.at) > kSameHolePlace) continue;
    if (const int here = in_.board.features[at(t.feature)].net; here != net) {
      other = in_.board.nets[at(here)].name;
      continue;
    }
    const Verdict& v = in_.access.verdict(s, k, t.side == in_.option.option.main);
    if (v.open) return "another pad costs less, or its neighbours leave no room";
    for (const Shortfall& x : v.shortfalls)
      if (x.blocking) return sentence(x, in_.board, in_.job);
  }
  if (!other.empty()) return "the metal over the hole belongs to " + other + " now";
  const Exposure* nearest = nullptr;
  for (const Exposure& e : in_.board.exposures)
    if (e.side == h.side && in_.board.features[at(e.feature)].net == net &&
        (!nearest || distance(e.aim, h.at) < distance(nearest->aim, h.at)))
      nearest = &e;
  if (!nearest) return std::string("the net has no bare metal on the ") + to_string(h.side) + " side";
  return "no bare metal of the net over the hole; the nearest, " + in_.board.features[at(nearest->feature)].name +
         ", is " + short_number(distance(nearest->aim, h.at), 3) + " mm off";
}

std::string Judge::why_nowhere_else(int need) const {
  for (const CoverageRow& r : in_.coverage.rows)
    if (r.need == need && !r.reason.empty()) return "; elsewhere: " + r.reason;
  return {};
}

void Judge::kept(ProbeFate& f, const PlacedProbe& p) const {
  f.by = p.name;
  f.target = target(p);
  f.miss = miss(p);
  f.fate = Fate::kept;
  const Spot& s = in_.access.spots[at(p.spot)];
  if (s.kind == AimKind::standing_hole)
    f.why = "the tip lands " +
            short_number(distance(s.at, in_.access.spots[at(in_.access.targets[at(p.target)].first_spot)].at), 3) +
            " mm off the middle of the land";
  if (f.miss > kWorse * f.miss_before && f.miss - f.miss_before > kVouched) {
    f.fate = Fate::worse;
    if (f.why.empty()) f.why = "less bare metal, or more error, than before";
  }
}

ProbeFate Judge::fate(int hole) {
  const StandingHole& h = in_.job.standing.holes[at(hole)];
  ProbeFate f;
  f.name = h.name;
  f.probe_class = h.probe_class;
  f.side = h.side;
  f.at = h.at;
  if (const auto b = before_.find(h.name); b != before_.end()) {
    f.old_net = b->second->net;
    f.target_before = b->second->target;
    f.miss_before = b->second->miss;
  }
  const int net = net_of(hole);
  if (net >= 0) f.net = in_.board.nets[at(net)].name;
  if (const auto it = in_hole_.find(hole); it != in_hole_.end()) {
    const PlacedProbe& p = in_.option.probes[at(it->second)];
    const int serves = in_.needs[at(p.need)].net;
    if (serves == net) {
      kept(f, p);
      return f;
    }
    f.hole_serves = in_.board.nets[at(serves)].name;
  }
  if (net < 0) {
    f.fate = Fate::freed;
    f.why = "the net is gone";
    return f;
  }
  const auto n = need_of_net_.find(net);
  const int wanted = n == need_of_net_.end() ? 0 : in_.needs[at(n->second)].wanted,
            got = n == need_of_net_.end() ? 0 : in_.option.got[at(n->second)];
  auto& others = stand_ins_[net];
  if (!others.empty()) {
    // The nearest one takes its place.
    const auto nearest = std::min_element(others.begin(), others.end(), [&](int a, int b) {
      return distance(in_.access.spots[at(in_.option.probes[at(a)].spot)].at, h.at) <
             distance(in_.access.spots[at(in_.option.probes[at(b)].spot)].at, h.at);
    });
    const PlacedProbe& p = in_.option.probes[at(*nearest)];
    f.fate = Fate::moved;
    f.by = p.name;
    f.target = target(p);
    f.miss = miss(p);
    f.why = why_not_here(h, net);
    others.erase(nearest);
    return f;
  }
  f.fate = wanted > 0 && got < wanted ? Fate::lost : Fate::freed;
  f.why = f.fate == Fate::lost ? why_not_here(h, net) + why_nowhere_else(n->second)
          : wanted <= 0        ? "the net wants no probe"
                               : "the net has as many as it wants (" + std::to_string(got) + ")";
  return f;
}
}  // namespace

std::vector<ProbeFate> judge_fates(const BuildInputs& in, const FixtureFile& file, const formats::BuiltBoard& now,
                                   const std::vector<NetMatch>& nets) {
  return Judge(in, file, now, nets).run();
}

}  // namespace teasel
