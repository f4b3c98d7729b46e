// What a planner keeps between one plan and the next.
#pragma once
#include <chrono>
#include <optional>

#include "model.h"

namespace teasel::planning {

class Clock {
 public:
  explicit Clock(const PlanLimits& l) : limits_(l), start_(std::chrono::steady_clock::now()) {}
  [[nodiscard]] double left() const {
    return limits_.seconds - std::chrono::duration<double>(std::chrono::steady_clock::now() - start_).count();
  }
  [[nodiscard]] bool over() const { return left() <= 0 || (limits_.stop && limits_.stop->load()); }
  [[nodiscard]] const PlanLimits& limits() const { return limits_; }

 private:
  PlanLimits limits_;
  std::chrono::steady_clock::time_point start_;
};

/// One board's (or the one board's: -1) share of a lock, and the candidates that keep it.
struct LockDemand {
  int lock = -1, place = -1;
  std::vector<int> candidates;
};

/// A problem with an edit and locks worked in. Columns and the first wants are those of the model.
struct Edited {
  selection::Problem problem;
  std::vector<char> banned;  ///< by candidate
  std::vector<Lock> locks;   ///< of the job, then of the edit
  std::vector<LockDemand> lock_demands;
  std::vector<char> kept;   ///< by lock demand: worked in as a hard want
  std::vector<int> wanted;  ///< by demand
};

struct BedPlan {
  BedOption bed;
  Model model;
  selection::Memory memory;
  std::optional<OptionResult> unedited;  ///< the plan without edits
  bool stale = false;                    ///< since then something became dearer, and nothing cheaper: its bound holds
};

struct Session : Setting {
  std::vector<std::unique_ptr<BedPlan>> beds;
  std::size_t last_chosen = 0;
  std::vector<Lock> locks;  ///< of the job, at the last plan
  [[nodiscard]] Inputs inputs(const BedOption& option) const { return {*this, option}; }
};

/// locks.cpp. Works in bans, counts and as many locks as can stand together; `kept` says which.
Edited edited(const Session& s, const BedPlan& bed, const PlanEdit& edit, const Clock& clock);
/// Errors for the locks that the option does not keep: the reason of each, and the smallest set that cannot stand
/// together.
void report_locks(const Session& s, const BedPlan& bed, const Edited& e, Diagnostics& d);

/// explain.cpp
std::vector<Rival> rivals_of(const Session& s, const BedPlan& bed, const Edited& e, const std::vector<int>& chosen,
                             const OptionResult& r, const std::vector<int>& first_probe);
std::vector<Remedy> remedies_of(const Session& s, BedPlan& bed, const Edited& e, const std::vector<int>& chosen,
                                const PlanResult& result, const Clock& clock);

/// options.cpp: which options another one beats, and what to build, in a sentence or two.
void compare_options(const Session& s, PlanResult& result);
std::vector<BedOption> options_of(const Job& job);

}  // namespace teasel::planning
