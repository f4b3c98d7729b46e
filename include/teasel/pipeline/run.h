// One run over a job: files to board to plan to outputs.
#pragma once
#include <atomic>
#include <functional>
#include <map>
#include <memory>
#include <string>

#include "teasel/interfaces/boundary_scan.h"
#include "teasel/report.h"

namespace teasel::pipeline {

using Stage = std::function<void(const char* what, double fraction)>;

/// Files that are not on disk, or not yet: their bytes, by the path that a job names them by.
using FilesAtHand = std::map<std::string, std::string>;

/// Everything of one job, in the order it was made.
struct Run {
  Job job;
  FilesAtHand at_hand;  ///< looked at before the disk
  bool bending = true;  ///< false: the command line leaves it out, whatever the job says
  Catalogue catalogue;
  Rules rule_set;  ///< as its file says
  Rules rules;     ///< what follows from rule set and style together: every stage goes by this
  InterfaceTable interface_table;
  InterfaceSet interfaces;
  BoundaryScan scan;
  Style style;
  std::optional<Kit> kit;
  Prices prices;
  Sources sources;
  StandingFixture standing;                ///< that the plan is to keep
  std::vector<formats::Revision> earlier;  ///< boards that the fixture was built for before
  Board board;
  Needs needs;
  Access access;
  PlanResult plan;
  Results results;
  formats::FixtureFile built;  ///< what stands once the plan is built
  std::vector<InputHash> inputs;
  std::string plan_id;
  Diagnostics diagnostics;

  /// What it is built with; the run must stay where it is.
  [[nodiscard]] Shop shop() const { return {&catalogue, &style, kit ? &*kit : nullptr}; }
  /// What it is planned on. `verdicts`: of this run, or kept elsewhere.
  [[nodiscard]] PlanInputs plan_inputs(const Access& verdicts) const;
  /// The option chosen.
  [[nodiscard]] Planned planned(const Access& verdicts) const;
  [[nodiscard]] Outcome outcome(const Access& verdicts) const;
  [[nodiscard]] PlanInputs plan_inputs() const { return plan_inputs(access); }
  [[nodiscard]] Planned planned() const { return planned(access); }
  [[nodiscard]] Outcome outcome() const { return outcome(access); }
};

/// Job, shop files, inputs and board. Stops at the first module that finds errors.
void load(Run& run, const std::string& job_file, const Stage& stage);
/// The same for a job file's text that is not, or not yet, what the file holds.
void load_text(Run& run, const std::string& text, const std::string& job_file, const Stage& stage);
/// Text of a shop's file that a job names, shipped or beside the job.
std::optional<std::string> shop_text(const char* kind, const std::string& name, const std::string& job_file);
/// The board alone, from what load() read; where its pins go may have changed since.
void assemble_board(Run& run, const Stage& stage);
/// Interfaces, needs, panel.
void understand(Run& run);
/// Verdicts.
void judge_targets(Run& run, const Stage& stage);
/// Needs, panel, verdicts.
void prepare(Run& run, const Stage& stage);
/// Who lands where.
void plan_probes(Run& run, const PlanLimits& limits, const Stage& stage);
/// Coverage, bending, odds of the bed, plates, wiring, costs, and what stands afterwards.
void finish(Run& run, const PlanLimits& limits, const Stage& stage);
/// All of that for a new fixture.
void work(Run& run, const PlanLimits& limits, const Stage& stage);
/// All of that for the fixture that this plan.json made. respin.cpp
void rework(Run& run, const std::string& plan_file, const PlanLimits& limits, const Stage& stage);
/// What places measured on the bench cost: every target's best class, as measured and as if exact.
BenchOdds bench_odds(const Run& run);
/// Coverage alone, by verdicts that are kept elsewhere: for a plan whose bending is not worked out yet.
void cover(Run& run, const Access& verdicts);
/// The outputs of `audit`: coverage alone.
std::map<std::string, std::string> audit_outputs(const Run& run, const Outcome& outcome);
/// The lists and drawings that a page shows.
std::map<std::string, std::string> page_lists(const Run& run, const Outcome& outcome);
/// Every output of `plan`, by path below the output folder.
std::map<std::string, std::string> outputs(const Run& run);

}  // namespace teasel::pipeline
