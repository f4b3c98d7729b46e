// Who lands where: the cheapest choice of probes that the rules allow, with its proof.
#pragma once
#include <algorithm>
#include <array>
#include <atomic>
#include <cstdint>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "teasel/access.h"
#include "teasel/board.h"
#include "teasel/interfaces.h"
#include "teasel/interfaces/boundary_scan.h"
#include "teasel/job.h"

namespace teasel {

/// What a board is planned on and for, by reference: the run must outlive it.
struct PlanInputs {
  const Job& job;
  const Board& board;
  const InterfaceTable& interface_table;
  const InterfaceSet& interfaces;
  const BoundaryScan& scan;
  const Needs& needs;
  const Access& access;
  const Catalogue& catalogue;
  const Rules& rules;
  const Style& style;
  const Kit* const kit;  ///< none: blanks are cut to the board
  const Prices& prices;
  const StandingFixture& standing;  ///< used: the plan is to keep it
};

/// A way to build the fixture: which sides carry probes, and which of them is the main one.
struct BedOption {
  Sides sides;
  Side main = Side::bottom;  ///< the side the board lies on
  [[nodiscard]] bool probed(Side side) const { return sides.has(side); }
  [[nodiscard]] std::string name() const;
};

/// What one placed probe costs, in the objective.
struct ProbeCost {
  Cents probe, wear, hole;      ///< probe and receptacle; replacements over the boards that are counted; drilling
  Cents kind, odds, shortfall;  ///< target and surface; misses, faults, wrong landings; preferred rules
  [[nodiscard]] Cents total() const { return probe + wear + hole + kind + odds + shortfall; }
};

struct PlacedProbe;
using ProbeId = Id<PlacedProbe>;  ///< of one option
struct PlacedProbe {
  std::string name;  ///< "B001" bottom, "T001" top; of a panel "P1-B001"
  NeedId need;
  TargetId target;
  SpotId spot;
  ClassId probe_class;
  ProbeCost cost;
  NeedId ring_need;              ///< the ground that its ring serves as well
  OldHoleId old_hole;            ///< of the job: the hole that it uses
  StandingHoleId standing_hole;  ///< of the fixture that stands, likewise
  bool long_travel = false;
};

/// A connector of the fixture plugged into one of the board's.
struct PlacedMate {
  std::string name;                 ///< "M1"
  MateId mate;                      ///< of the job
  std::vector<FeatureId> features;  ///< the pins that it serves
  std::vector<NeedId> needs;        ///< by pin
  Cents price;
};

/// A wish, other than a probe, that the plan does not fulfil, and its price.
struct OpenWish {
  std::string kind;  ///< "amperes", "end of a four-wire measurement", "spread", "ground near a clock"
  NeedId need;
  std::string of;
  Cents price;
};

/// The objective, part by part; total() is what was minimised.
struct Breakdown {
  Cents beds, mates, wishes, unmet;
  ProbeCost probes;  ///< sums over all
  [[nodiscard]] Cents total() const { return beds + mates + wishes + unmet + probes.total(); }
  /// What the fixture costs to build: beds, probes, holes, mates.
  [[nodiscard]] Cents to_build() const { return beds + mates + probes.probe + probes.hole; }
};

struct OptionResult {
  BedOption option;
  Table<ProbeId, PlacedProbe> probes;  ///< by name
  std::vector<PlacedMate> mates;
  std::vector<OpenWish> wishes;
  Table<NeedId, int> got;  ///< probes
  Breakdown cost;
  Cents bound;               ///< no plan of this option that keeps the same locks costs less
  bool proven = false;       ///< total == bound
  bool out_of_time = false;  ///< not proven because time ran out; false: what long branching left open is below 0.01 %
  int locks_missed = 0;
  bool as_before =
      false;  ///< not planned again after the edit: already without it, it costs more than the chosen option
  double false_rejects{};  ///< expected among a thousand good boards: sum over probes, errors taken as independent
  std::vector<std::string> tight;  ///< limits that leave no room for another probe of those that they count
  std::size_t candidates = 0, reduced = 0, pieces = 0, largest_piece = 0, left_out_by_holes = 0;
  [[nodiscard]] Cents total() const { return cost.total(); }
};

/// Why a cheaper candidate of the same need was not taken.
struct Rival {
  ProbeId probe;
  TargetId target;
  ClassId probe_class;
  Cents cheaper;        ///< than the one chosen
  ProbeId against;      ///< the probe that stands in its way; none: none by itself
  Mm distance, needed;  ///< to that probe
  std::string why;
};

/// What would meet a need that the plan leaves unmet, cheapest first.
struct Remedy {
  NeedId need;
  Cents extra;  ///< what the whole plan would cost more, the price of the unmet need not counted
  std::string what;
};

struct PlanResult {
  std::vector<OptionResult> options;  ///< all that were compared
  std::size_t chosen = 0;
  bool stopped = false;           ///< by time limit or by the user
  std::vector<Rival> rivals;      ///< by probe of the chosen option
  std::vector<Remedy> remedies;   ///< by need, then extra
  std::string proof;              ///< of the chosen option, if the job asks for it
  bool usual_lands_only = false;  ///< as the edit asked
};

/// A board planned, by one option of the result: the one chosen, unless said otherwise.
/// Taken for granted in a trial, beside what the job says.
struct Supposed {
  std::vector<ComponentId> press_on;  ///< parts that may bear a push finger
  std::vector<ComponentId> low;       ///< parts whose assumed height asks for no pocket
  std::vector<ComponentId> absent;    ///< parts whose assumed bodies cover many others
  [[nodiscard]] static bool has(const std::vector<ComponentId>& parts, ComponentId id) {
    return std::find(parts.begin(), parts.end(), id) != parts.end();
  }
};
struct Planned : PlanInputs {
  const PlanResult& plan;
  const OptionResult& option;
  Newton springs{};  ///< of the moving plate, at work, all together: chosen with its supports; 0: as the style asks
  Supposed supposed{};
};

struct PlanLimits {
  Seconds time{60};
  bool explain = true;  ///< look for rivals and remedies
  bool quick = false;   ///< an option that cannot have become the best since it was last planned stays as it was
  bool proof = false;   ///< write the proof file, whatever the job says
  bool careful_only =
      false;  ///< no search: hardest nets first, each its cheapest candidate that still fits; to compare with
  const std::atomic<bool>* stop = nullptr;
};

/// Both aims of a spacing stand on a grid of 1 um, off their true places by up to 0.7 um each: nm that a distance may
/// lack.
inline constexpr std::int64_t kAimGrid = 1500;

/// Money units: a need without any probe, and each further probe that it lacks.
struct UnmetPrice {
  Money none, further;
};
UnmetPrice unmet_price(const Need& need, const Rules& rules);

/// Prices that differ by less than the values behind them are known.
bool prices_alike(Cents one, Cents other);
/// Fitted parts on a side of the board, without those that have no body.
std::size_t parts_on(const Board& board, Side side);
/// Nets whose need an option meets in full.
int nets_met(const Needs& needs, const OptionResult& option);
/// Sum of the working forces of an option's probes.
Newton sum_of_forces(const Access& access, const Catalogue& catalogue, const Rules& rules, const OptionResult& option);

/// Least centre distance between two probes of these classes on one side, nanometres: the mean of their spacings, and
/// never less than both hole radii and the web.
std::int64_t least_distance_nm(const Catalogue& catalogue, const Rules& rules, ClassId a, ClassId b);
/// The same for heads of these widths (mm), which must not touch when both lean towards one another.
std::int64_t least_distance_nm(const Catalogue& catalogue, const Rules& rules, ClassId a, Mm head_a, ClassId b,
                               Mm head_b);

/// What a fixture that stands says to a probe of this class at a place: a hole to use again, or what leaves no room for
/// a new one. `head`: mm, its widest part.
struct PlaceInFixture {
  StandingHoleId hole;
  std::string in_the_way;  ///< "the plugged hole B017", "a pocket"; empty: nothing
};
PlaceInFixture place_in_fixture(const StandingFixture& fixture, const Rules& rules, const ProbeClass& probe,
                                BoardPoint at, Side side, Mm head);

/// A change to a plan that the user makes with a click. Globs as in the job file; plain names mean every board.
struct PlanEdit {
  std::vector<Lock> locks;  ///< besides those of the job
  std::vector<Ban> bans;
  std::map<NeedId, int> wanted;   ///< probes; 0: none
  bool usual_lands_only = false;  ///< no probe on a land below the usual size (Rules::usual_land)
  [[nodiscard]] bool empty() const { return locks.empty() && bans.empty() && wanted.empty() && !usual_lands_only; }
};

namespace planning {
struct PlannerState;
}

/// Plans a board, and plans it again after edits without building everything anew.
class Planner {
 public:
  /// What `in` refers to must outlive the planner.
  explicit Planner(const PlanInputs& in);
  ~Planner();
  /// Compares the bed options that the job allows and plans each to proven optimality where time allows. The first
  /// one's bound and choice serve the next call. Locks that cannot be kept are errors that name the smallest set in
  /// conflict. Ties: of plans that cost the same the one that the search meets first; it depends on the edited problem
  /// alone, not on what was planned before, so that planning again and planning afresh give the same plan.
  PlanResult plan(const PlanEdit& edit, const PlanLimits& limits, Diagnostics& diagnostics);
  /// The verdicts of these targets in the access that it was made with are others now. Quick as long as nothing is open
  /// that was not when it was made; else a model is built anew.
  void follow(const std::vector<TargetId>& touched);

 private:
  std::unique_ptr<planning::PlannerState> state_;
};

/// One plan, with rivals and remedies.
PlanResult plan(const PlanInputs& in, const PlanLimits& limits, Diagnostics& diagnostics);

}  // namespace teasel
