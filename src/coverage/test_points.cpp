#include "teasel/coverage/test_points.h"

#include <algorithm>
#include <map>

#include "by_net.h"
#include "teasel/enums.h"
#include "teasel/words.h"

namespace teasel {

namespace {
constexpr Words<TestPointFate> kFates{"probed",
                                      "probed, but does not touch",
                                      "another point of its net is probed",
                                      "not needed",
                                      "open, not used",
                                      "open on the side without probes",
                                      "refused"};

/// "0.012 mm": what is missing, never rounded down to nothing.
std::string missing(const Shortfall& shortfall) {
  return fixed(std::max(0.001, std::abs(shortfall.required - shortfall.measured)), 3) + " mm";
}

/// The change that would open it, as far as one can be named. `smallest`: for the smallest class that there is.
std::string to_open(const Shortfall& shortfall, const Board& board, const Job& job, bool smallest = false) {
  const std::string what = obstacle_text(shortfall, board, job);
  switch (shortfall.reason) {
    case Reason::mask_closed: return "an opening in the solder mask";
    case Reason::no_copper: return "a land in the copper, as the netlist has it";
    case Reason::land_too_small: return "a land wider by " + missing(shortfall);
    case Reason::hole_too_wide: return "a hole narrower by " + missing(shortfall) + ", or a class with a wider head";
    case Reason::under_body: return "the land outside the body over it";
    case Reason::wrong_landing: return "more room to the neighbouring metal, or a class with a narrower tip";
    case Reason::odds_too_low: return "a larger land, or tighter tolerances ([errors] of the rule set)";
    case Reason::banned: return "the ban lifted in the job file";
    case Reason::under_stroke:
    case Reason::over_stroke: return "a class or a style whose stroke suits it, off by " + missing(shortfall);
    case Reason::lid_arc: return "a lid that closes in parallel, or a land longer by " + missing(shortfall);
    case Reason::push_finger: return "room for a push finger on the other side";
    case Reason::body:
      return board.components[shortfall.obstacle.component()].name + (" " + missing(shortfall)) + " further away" +
             (smallest ? ", or a smaller class than the catalogue has" : "") +
             (board.components[shortfall.obstacle.component()].height_known != Known::confirmed
                  ? ", or its height measured"
                  : "");
    case Reason::other_conductor:
    case Reason::board_edge:
    case Reason::slot:
    case Reason::tooling_hole:
    case Reason::fiducial:
    case Reason::keep_out: return missing(shortfall) + " more to the " + what;
    case Reason::kit_hole:
    case Reason::outside_kit: return "another kit, or the board laid elsewhere on it";
    case Reason::flexible: return "the land on a rigid part of the board, or a stiffener under it";
  }
  return {};
}

class TestPoints {
 public:
  TestPoints(const Planned& in, const Coverage& coverage, const std::vector<ProbeId>& lost)
      : in_(in),
        coverage_(coverage),
        lost_(lost),
        blocked_odds_(in.access, in.board, in.catalogue, in.rules, LidArc(in.board, in.kit, in.standing)) {
    for (const TargetId id : in.access.targets.ids()) targets_[in.access.targets[id].feature].push_back(id);
    for (const Covered& covered : in.board.covered) covered_[covered.feature].push_back(&covered);
    for (const ProbeId id : in.option.probes.ids())
      probes_[in.board.features[in.access.targets[in.option.probes[id].target].feature].net].push_back(id);
  }
  [[nodiscard]] TestPoint point(FeatureId feature) const;

 private:
  [[nodiscard]] bool is_main(Side side) const { return side == in_.option.option.main; }
  void find_probes(TestPoint& point) const;
  void find_refusal(TestPoint& point) const;
  [[nodiscard]] std::optional<Refusal> refusal_of(TargetId target) const;
  [[nodiscard]] TestPointFate fate(const TestPoint& point) const;

  const Planned& in_;
  const Coverage& coverage_;
  const std::vector<ProbeId>& lost_;
  const BlockedOdds blocked_odds_;
  std::map<FeatureId, std::vector<TargetId>> targets_;
  std::map<FeatureId, std::vector<const Covered*>> covered_;
  std::map<NetId, std::vector<ProbeId>> probes_;
};

/// The probe on its metal, whichever of the records at one place it was planned on, and those elsewhere.
void TestPoints::find_probes(TestPoint& point) const {
  const auto of_net = probes_.find(in_.board.features[point.feature].net);
  const auto own = targets_.find(point.feature);
  if (of_net == probes_.end()) return;
  for (const ProbeId id : of_net->second) {
    const PlacedProbe& probe = in_.option.probes[id];
    const Side side = in_.access.targets[probe.target].side;
    const bool here =
        own != targets_.end() && std::any_of(own->second.begin(), own->second.end(), [&](TargetId target) {
          const Target& mine = in_.access.targets[target];
          return target == probe.target || (mine.side == side && contains(in_.board.exposures[mine.exposure].contact,
                                                                          in_.access.spots[probe.spot].at));
        });
    if (!here) {
      point.elsewhere.push_back(id);
      continue;
    }
    point.probe = id;
    point.side = side;
  }
}

/// Of the class that comes closest: fewest rules, then the least lack.
std::optional<Refusal> TestPoints::refusal_of(TargetId target_id) const {
  const Target& target = in_.access.targets[target_id];
  std::optional<Refusal> best;
  SpotId best_spot;
  double least = 0;
  for (const SpotId spot : spots_of(target))
    for (const ClassId k : IdRange<ClassId>(in_.access.classes)) {
      const Shortfall* worst = nullptr;
      std::size_t rules = 0;
      double lack = 0;
      for (const Shortfall& shortfall : in_.access.verdict(spot, k, is_main(target.side)).shortfalls) {
        if (!shortfall.blocking) continue;
        ++rules;
        lack += shortfall.lack();
        if (!worst || shortfall.excess() > worst->excess()) worst = &shortfall;
      }
      if (!worst || (best && (rules - 1 > best->more || (rules - 1 == best->more && lack >= least)))) continue;
      best = Refusal{k, *worst, rules - 1, to_open(*worst, in_.board, in_.job, k.index() + 1 == in_.access.classes)};
      best_spot = spot;
      least = lack;
    }
  // What a rule closes may have bad odds as well.
  if (best && best->shortfall.reason != Reason::odds_too_low && best->shortfall.reason != Reason::wrong_landing) {
    const Verdict verdict = blocked_odds_.of(best_spot, best->probe_class, is_main(target.side));
    best->more += (verdict.miss > in_.rules.largest_miss) + (verdict.wrong > in_.rules.largest_wrong);
  }
  return best;
}

void TestPoints::find_refusal(TestPoint& point) const {
  const auto own = targets_.find(point.feature);
  double least = 0;
  for (const TargetId id : own == targets_.end() ? std::vector<TargetId>{} : own->second) {
    const Target& target = in_.access.targets[id];
    const std::optional<Refusal> refusal = refusal_of(id);
    if (!refusal) continue;
    // A side with probes comes first.
    const double lack = static_cast<double>(refusal->more) + refusal->shortfall.lack() +
                        (in_.option.option.probed(target.side) ? 0 : 1000);
    if (point.refusal && lack >= least) continue;
    point.refusal = refusal;
    point.side = target.side;
    least = lack;
  }
  const auto covered = covered_.find(point.feature);
  if (point.refusal || covered == covered_.end()) return;
  const Covered& first = *covered->second.front();
  point.side = first.side;
  Refusal refusal;
  refusal.shortfall.reason = first.mask ? Reason::mask_closed : Reason::no_copper;
  refusal.shortfall.blocking = true;
  refusal.to_open = to_open(refusal.shortfall, in_.board, in_.job);
  point.refusal = refusal;
}

/// Of a point without a probe.
TestPointFate TestPoints::fate(const TestPoint& point) const {
  const NetId net = in_.board.features[point.feature].net;
  const auto row = std::find_if(coverage_.rows.begin(), coverage_.rows.end(),
                                [&](const CoverageRow& each) { return in_.needs[each.need].net == net; });
  const bool wanted = row != coverage_.rows.end() && row->wanted > 0 && row->status != "do not touch";
  bool open = false, open_other = false;
  if (const auto own = targets_.find(point.feature); own != targets_.end())
    for (const TargetId id : own->second) {
      const Side side = in_.access.targets[id].side;
      if (!in_.access.open(id, is_main(side))) continue;
      (in_.option.option.probed(side) ? open : open_other) = true;
    }
  if (!wanted) return TestPointFate::not_needed;
  if (!open && !open_other) return TestPointFate::refused;
  if (row->got >= row->wanted) return TestPointFate::other_point;
  return open ? TestPointFate::not_used : TestPointFate::other_side;
}

TestPoint TestPoints::point(FeatureId id) const {
  TestPoint out;
  out.feature = id;
  const Feature& feature = in_.board.features[id];
  out.at = feature.at;
  out.side = feature.land[Side::bottom].present && !feature.land[Side::top].present ? Side::bottom : Side::top;
  find_probes(out);
  if (out.probe) {
    out.fate =
        std::find(lost_.begin(), lost_.end(), out.probe) == lost_.end() ? TestPointFate::probed : TestPointFate::lost;
  } else {
    out.fate = fate(out);
    if (out.fate == TestPointFate::refused) find_refusal(out);
  }
  if (const auto own = targets_.find(id); own != targets_.end())
    for (const TargetId target : own->second)
      if (const Target& at = in_.access.targets[target]; at.side == out.side || own->second.size() == 1) {
        out.side = at.side;
        out.diameter = in_.access.spots[at.first_spot].diameter;
      }
  return out;
}
}  // namespace

const char* to_string(TestPointFate fate) {
  return kFates[fate];
}

std::vector<TestPoint> test_points(const Planned& in, const Coverage& coverage, const std::vector<ProbeId>& lost) {
  std::vector<TestPoint> out;
  const TestPoints points(in, coverage, lost);
  for (const FeatureId id : in.board.features.ids())
    if (const Feature& feature = in.board.features[id]; feature.mark != TestMark::none && feature.net)
      out.push_back(points.point(id));
  return out;
}

}  // namespace teasel
