// What a planner keeps between one plan and the next.
#pragma once
#include <chrono>
#include <optional>

#include "model.h"

namespace teasel::planning {

class Clock {
 public:
  explicit Clock(const PlanLimits& limits) : limits_(limits), start_(std::chrono::steady_clock::now()) {}
  /// Seconds.
  [[nodiscard]] double left() const {
    return limits_.time.v - std::chrono::duration<double>(std::chrono::steady_clock::now() - start_).count();
  }
  [[nodiscard]] bool over() const { return left() <= 0 || (limits_.stop && limits_.stop->load()); }
  [[nodiscard]] const PlanLimits& limits() const { return limits_; }

 private:
  PlanLimits limits_;
  std::chrono::steady_clock::time_point start_;
};

/// What a lock asks of one board of a panel, or of the single board, and the candidates that keep it.
struct LockDemand {
  std::size_t lock{};  ///< row of Edited::locks
  PlaceId place;       ///< none: the single board
  std::vector<CandidateId> candidates;
};

/// A problem with an edit and locks worked in. Columns and the first wants are those of the model.
struct Edited {
  selection::Problem problem;
  Table<CandidateId, char> banned;
  std::vector<Lock> locks;  ///< of the job, then of the edit
  std::vector<LockDemand> lock_demands;
  std::vector<char> kept;       ///< by lock demand: worked in as a hard want
  Table<DemandId, int> wanted;  ///< probes
};

struct BedPlan {
  BedOption bed;
  Model model;
  selection::Memory memory;
  std::optional<OptionResult> unedited;  ///< the plan without edits
  bool stale = false;                    ///< since then something became dearer, and nothing cheaper: its bound holds
};

struct PlannerState : PlanInputs {
  std::vector<std::unique_ptr<BedPlan>> beds;
  std::size_t last_chosen = 0;
  std::vector<Lock> locks;  ///< of the job, at the last plan
  [[nodiscard]] Inputs inputs(const BedOption& option) const { return {*this, option}; }
};

/// What a choice of columns leaves of each want (below zero: more than wanted), and of the room under each limit.
struct Remains {
  std::vector<std::int64_t> wants, limits;
};
Remains remains(const selection::Problem& problem, const std::vector<int>& columns);

/// locks.cpp. Works in bans, counts and as many locks as can stand together; `kept` says which.
Edited edited(const PlannerState& state, const BedPlan& bed, const PlanEdit& edit, const Clock& clock);
/// Errors for the locks that the option does not keep: the reason of each, and the smallest set that cannot stand
/// together.
void report_locks(const PlannerState& state, const BedPlan& bed, const Edited& edited, Diagnostics& diagnostics);

/// Of plans whose prices hardly differ, the one whose board lies on fewer parts.
void turn_over_if_as_good(const PlannerState& state, PlanResult& result);

/// One option planned.
struct PlannedBed {
  OptionResult result;
  Edited edited;
  std::vector<int> chosen;           ///< columns
  std::vector<ProbeId> first_probe;  ///< of each of them; none: a mating connector
};

/// explain.cpp
std::vector<Rival> rivals_of(const PlannerState& state, const BedPlan& bed, const PlannedBed& planned);
std::vector<Remedy> remedies_of(const PlannerState& state, BedPlan& bed, const PlannedBed& planned,
                                const PlanResult& result, const Clock& clock);

/// options.cpp: which options another one beats, and what to build, in a sentence or two.
std::vector<BedOption> options_of(const PlanInputs& in);

}  // namespace teasel::planning
