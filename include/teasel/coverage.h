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
  int need = -1;
  int wanted = 0, got = 0;
  int targets = 0;                    ///< lands of the net on an outer side, covered ones included
  int open_top = 0, open_bottom = 0;  ///< targets open for at least one class
  std::string status;                 ///< met, partial, unmet, not wanted, do not touch
  std::string reason;
};

/// A part whose assumed height or side, if wrong, would cost probes; without any, pockets of plates.
struct MeasureFirst : Assumption {
  std::vector<std::string> probes;
};

/// A target that one rule alone keeps closed, for the class that misses it least.
struct NearlyOpen {
  int need = -1, target = -1, spot = -1, probe_class = -1;
  Shortfall shortfall;  ///< the one that is missed most
};
/// What relaxing one rule, and nothing else, would open.
struct Relaxation {
  Reason reason{};
  int nets = 0, mandatory = 0;  ///< needs not served in full that get a target
  int nets_without = 0;         ///< of these, the ones without any probe now
  double half{}, all{};  ///< share of the requirement to give up for half of the nets, and for all; chances: times the
                         ///< largest one allowed
};
/// A probe that stands on a waiver.
struct WaivedProbe {
  int probe = -1;  ///< of the chosen option
  Shortfall shortfall;
};

struct Coverage {
  std::vector<CoverageRow> rows;  ///< by need
  int wanted_nets = 0, met_nets = 0, partial_nets = 0, unmet_nets = 0, mandatory_unmet = 0;
  std::vector<MeasureFirst> measure_first;  ///< most probes first, all of them
  std::vector<NearlyOpen> nearly_open;      ///< of needs not served in full; least lacking first
  std::vector<Relaxation> relaxations;      ///< most nets first
  std::vector<WaivedProbe> waived;
  std::vector<std::vector<Assumption>> probe_assumptions;  ///< by placed probe of the chosen option
};

/// Takes probes of the chosen option out of what their needs got: they do not touch when the bed is pressed.
void drop_probes(Coverage& coverage, const std::vector<Need>& needs, const OptionResult& option,
                 const std::vector<std::pair<int, std::string>>& lost);
Coverage audit(const Board& board, const Access& access, const std::vector<Need>& needs, const PlanResult& plan,
               const Job& job, const Catalogue& catalogue, const Rules& rules);

}  // namespace teasel
