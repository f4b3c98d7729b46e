// Planning one job, step by step: models, a first plan, the same plan again, one edit after another, each beside a plan
// made afresh of the edited problem. usage: bench-plan-board JOB.toml...
// With -greedy before the jobs: each job's plan beside that of a careful greedy choice, as rows of a table.
#include <chrono>
#include <cstdio>
#include <functional>

#include "teasel/pipeline/run.h"

namespace {
using namespace teasel;

double seconds(const std::function<void()>& work) {
  const auto start = std::chrono::steady_clock::now();
  work();
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

std::unique_ptr<Planner> new_planner(const pipeline::Run& run) {
  return std::make_unique<Planner>(run.plan_inputs());
}
const OptionResult& chosen_option(const PlanResult& plan) {
  return plan.options[plan.chosen];
}

bool same(const PlanResult& a, const PlanResult& b) {
  const OptionResult &one = chosen_option(a), &other = chosen_option(b);
  if (a.chosen != b.chosen || one.total() != other.total() || one.probes.size() != other.probes.size()) return false;
  for (const ProbeId probe : one.probes.ids()) {
    const PlacedProbe &here = one.probes[probe], &there = other.probes[probe];
    if (here.spot != there.spot || here.probe_class != there.probe_class) return false;
  }
  return true;
}

/// One row: nets in full, probes by class (largest spacing first), false rejects, what it costs with what is unmet.
void greedy_row(const pipeline::Run& run, const std::string& name) {
  const std::unique_ptr<Planner> planner = new_planner(run);
  Diagnostics diagnostics;
  PlanLimits limits;
  limits.explain = false;
  const PlanResult exact = planner->plan({}, limits, diagnostics);
  limits.careful_only = true;
  const PlanResult careful = planner->plan({}, limits, diagnostics);
  std::size_t wanted = 0;
  for (const Need& need : run.needs) wanted += need.wanted > 0;
  std::printf("| %s | %zu |", name.c_str(), wanted);
  for (const OptionResult* option : {&chosen_option(careful), &chosen_option(exact)}) {
    std::size_t full = 0;
    for (const NeedId need : run.needs.ids())
      full += run.needs[need].wanted > 0 && option->got[need] >= run.needs[need].wanted;
    Table<ClassId, int> by_class(run.catalogue.classes.size());
    for (const PlacedProbe& probe : option->probes) ++by_class[probe.probe_class];
    std::string classes;
    for (const int count : by_class) classes += (classes.empty() ? "" : " / ") + std::to_string(count);
    std::printf(" %zu | %s | %.2f | %.0f |", full, classes.c_str(), option->false_rejects, option->total().units());
  }
  std::printf("\n");
}

/// What a user would click at a probe: ban its target, lock it, or want one more.
struct Click {
  const char* what;
  PlanEdit edit;
};
Click click_at(const pipeline::Run& run, const PlacedProbe& probe, int number) {
  const Feature& feature = run.board.features[run.access.targets[probe.target].feature];
  Click click;
  switch (number % 3) {
    case 0:
      click.what = "ban";
      click.edit.bans.push_back({.net = {}, .target = feature.name, .side = {}, .reason = {}, .place = {}});
      break;
    case 1:
      click.what = "lock";
      click.edit.locks.push_back({.net = run.board.nets[feature.net].name,
                                  .target = feature.name,
                                  .side = {},
                                  .probe_class = {},
                                  .place = {}});
      break;
    default:
      click.what = "one more probe on the net of";
      click.edit.wanted[probe.need] = run.needs[probe.need].wanted + 1;
  }
  return click;
}

/// Edits at a dozen probes, each planned by the planner at hand and afresh. False where the two plans differ.
bool try_edits(const pipeline::Run& run, Planner& planner, const OptionResult& option, const PlanLimits& limits) {
  Diagnostics diagnostics;
  bool all_same = true;
  double worst = 0, worst_fresh = 0;
  const std::size_t step = std::max<std::size_t>(1, option.probes.size() / 12);
  int edits = 0;
  for (std::size_t k = 0; k < option.probes.size(); k += step, ++edits) {
    const PlacedProbe& probe = option.probes[ProbeId{k}];
    const std::string& target = run.board.features[run.access.targets[probe.target].feature].name;
    const Click click = click_at(run, probe, edits);
    PlanResult edited, fresh;
    const std::unique_ptr<Planner> other = new_planner(run);
    const double took = seconds([&] { edited = planner.plan(click.edit, limits, diagnostics); });
    worst = std::max(worst, took);
    std::size_t anew = 0;
    for (const OptionResult& each : edited.options) anew += !each.as_before;
    std::printf("    %s %s: %.3f s, %zu options planned again\n", click.what, target.c_str(), took, anew);
    worst_fresh = std::max(worst_fresh, seconds([&] { fresh = other->plan(click.edit, limits, diagnostics); }));
    if (same(edited, fresh)) continue;
    all_same = false;
    std::printf("  edit %d at %s: not the plan that is made afresh\n", edits, target.c_str());
  }
  std::printf("  %d edits: the slowest %.3f s, afresh (model at hand) %.3f s\n", edits, worst, worst_fresh);
  return all_same;
}

bool step_by_step(const pipeline::Run& run, const char* file) {
  std::unique_ptr<Planner> planner;
  PlanResult first, again, explained;
  Diagnostics diagnostics;
  PlanLimits bare;
  bare.explain = false;
  const double models = seconds([&] { planner = new_planner(run); });
  const double plan = seconds([&] { first = planner->plan({}, bare, diagnostics); });
  const double repeat = seconds([&] { again = planner->plan({}, bare, diagnostics); });
  const double explain = seconds([&] { explained = planner->plan({}, {}, diagnostics); });
  const OptionResult& option = chosen_option(first);
  std::size_t candidates = 0;
  for (const OptionResult& each : first.options) candidates += each.candidates;
  std::printf(
      "%s: %zu needs, %zu candidates in %zu options, %zu limits open; models %.3f s, plan %.3f s (%s), again %.3f s, "
      "with rivals and remedies %.3f s\n",
      file, run.needs.size(), candidates, first.options.size(), option.tight.size(), models, plan,
      option.proven ? "proven" : "not proven", repeat, explain);
  return try_edits(run, *planner, option, bare);
}
}  // namespace

int main(int argc, char** argv) {
  bool all_same = true;
  const bool greedy = argc > 1 && std::string(argv[1]) == "-greedy";
  for (int i = greedy ? 2 : 1; i < argc; ++i) {
    pipeline::Run run;
    const pipeline::Stage silent = [](const char*, double) {};
    pipeline::load(run, argv[i], silent);
    if (!run.diagnostics.failed()) pipeline::prepare(run, silent);
    if (run.diagnostics.failed()) {
      for (const Finding& finding : run.diagnostics.all()) std::fprintf(stderr, "%s\n", to_string(finding).c_str());
      return 1;
    }
    if (greedy)
      greedy_row(run, run.job.name);
    else
      all_same = step_by_step(run, argv[i]) && all_same;
  }
  return all_same ? 0 : 2;
}
