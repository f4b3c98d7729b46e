// Which nets are reached, which are not and why, and which assumptions carry the plan.
#pragma once
#include <string>
#include <vector>

#include "teasel/access.h"
#include "teasel/board.h"
#include "teasel/interfaces.h"
#include "teasel/plan.h"

namespace teasel {

struct CoverageRow {
  NeedId need;
  int wanted = 0, got = 0;
  int targets = 0;     ///< lands of the net on an outer side, covered ones included
  PerSide<int> open;   ///< targets open for at least one class
  std::string status;  ///< met, partial, unmet, not wanted, do not touch
  std::string reason;
};

/// A part whose assumed height or side, if wrong, would cost the probes listed. No probes: it would change pockets.
struct MeasureFirst : Assumption {
  std::vector<std::string> probes;
};

/// A target that only one rule blocks, for the class that comes closest to meeting that rule.
struct NearlyOpen {
  NeedId need;
  TargetId target;
  SpotId spot;
  ClassId probe_class;
  Shortfall shortfall;  ///< the one that is missed most
};
/// What relaxing one rule, and nothing else, would open.
struct Relaxation {
  Reason reason{};
  int nets = 0, mandatory = 0;  ///< needs not served in full that get a target
  int nets_without = 0;         ///< of these, the ones without any probe now
  double half{}, all{};  ///< by how much to relax it for half of the nets, and for all: a share of the requirement, or
                         ///< for chances a factor on the largest one allowed
};
/// A probe that stands on a waiver.
struct WaivedProbe {
  ProbeId probe;  ///< of the chosen option
  Shortfall shortfall;
};

struct Coverage {
  Table<NeedId, CoverageRow> rows;  ///< by need
  int wanted_nets = 0, met_nets = 0, partial_nets = 0, unmet_nets = 0, mandatory_unmet = 0;
  std::vector<MeasureFirst> measure_first;  ///< most probes first, all of them
  std::vector<NearlyOpen> nearly_open;      ///< of needs not served in full; least lacking first
  std::vector<Relaxation> relaxations;      ///< most nets first
  std::vector<WaivedProbe> waived;
  Table<ProbeId, std::vector<Assumption>> probe_assumptions;  ///< by placed probe of the chosen option
};

/// Probes of the chosen option that do not touch when the bed is pressed no longer count for their needs.
void drop_probes(Coverage& coverage, const Needs& needs, const OptionResult& option,
                 const std::vector<std::pair<ProbeId, std::string>>& lost);
/// What the planned bed covers, net by net.
Coverage coverage_of(const Planned& in);

}  // namespace teasel
