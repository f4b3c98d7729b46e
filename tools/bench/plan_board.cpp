// Planning one job, step by step: models, a first plan, the same plan again, one edit after another, each beside a plan
// made afresh of the edited problem. usage: bench-plan-board JOB.toml...
// With -greedy before the jobs: each job's plan beside that of a careful greedy choice, as rows of a table.
#include <chrono>
#include <cstdio>
#include <functional>

#include "teasel/pipeline/run.h"

namespace {
using namespace teasel;

double seconds(const std::function<void()>& f) {
  const auto start = std::chrono::steady_clock::now();
  f();
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

bool same(const PlanResult& a, const PlanResult& b) {
  const OptionResult &x = a.options[a.chosen], &y = b.options[b.chosen];
  if (a.chosen != b.chosen || x.total() != y.total() || x.probes.size() != y.probes.size()) return false;
  for (std::size_t i = 0; i < x.probes.size(); ++i)
    if (x.probes[i].spot != y.probes[i].spot || x.probes[i].probe_class != y.probes[i].probe_class) return false;
  return true;
}
/// One row: nets in full, probes by class (largest spacing first), false rejects, what it costs with what is unmet.
void greedy_row(const pipeline::Run& run, const std::string& name) {
  Planner planner(run.board, run.access, run.needs, run.job, run.catalogue, run.rules);
  Diagnostics d;
  PlanLimits limits;
  limits.explain = false;
  const PlanResult exact = planner.plan({}, limits, d);
  limits.careful_only = true;
  const PlanResult careful = planner.plan({}, limits, d);
  std::size_t wanted = 0;
  for (const Need& n : run.needs) wanted += n.wanted > 0;
  std::printf("| %s | %zu |", name.c_str(), wanted);
  for (const OptionResult* r : {&careful.options[careful.chosen], &exact.options[exact.chosen]}) {
    std::size_t full = 0;
    for (std::size_t k = 0; k < run.needs.size(); ++k)
      full += run.needs[k].wanted > 0 && r->got[k] >= run.needs[k].wanted;
    std::vector<int> by_class(run.catalogue.classes.size());
    for (const PlacedProbe& p : r->probes) ++by_class[static_cast<std::size_t>(p.probe_class)];
    std::string classes;
    for (const int n : by_class) classes += (classes.empty() ? "" : " / ") + std::to_string(n);
    std::printf(" %zu | %s | %.2f | %.0f |", full, classes.c_str(), r->false_rejects,
                static_cast<double>(r->total()) / 100);
  }
  std::printf("\n");
}
}  // namespace

int main(int argc, char** argv) {
  bool all_same = true;
  const bool greedy = argc > 1 && std::string(argv[1]) == "-greedy";
  for (int i = greedy ? 2 : 1; i < argc; ++i) {
    pipeline::Run run;
    pipeline::load(run, argv[i], [](const char*, double) {});
    if (!run.diagnostics.failed()) pipeline::prepare(run, [](const char*, double) {});
    if (run.diagnostics.failed()) {
      for (const Finding& f : run.diagnostics.all()) std::fprintf(stderr, "%s\n", to_string(f).c_str());
      return 1;
    }
    if (greedy) {
      greedy_row(run, run.job.name);
      continue;
    }
    std::unique_ptr<Planner> planner;
    PlanResult first, again, explained;
    Diagnostics d;
    PlanLimits bare;
    bare.explain = false;
    const double models = seconds([&] {
      planner = std::make_unique<Planner>(run.board, run.access, run.needs, run.job, run.catalogue, run.rules);
    });
    const double plan = seconds([&] { first = planner->plan({}, bare, d); });
    const double repeat = seconds([&] { again = planner->plan({}, bare, d); });
    const double explain = seconds([&] { explained = planner->plan({}, {}, d); });
    const OptionResult& r = first.options[first.chosen];
    std::size_t candidates = 0;
    for (const OptionResult& o : first.options) candidates += o.candidates;
    std::printf(
        "%s: %zu needs, %zu candidates in %zu options, %zu limits open; models %.3f s, plan %.3f s (%s), again %.3f s, "
        "with rivals and remedies %.3f s\n",
        argv[i], run.needs.size(), candidates, first.options.size(), r.tight.size(), models, plan,
        r.proven ? "proven" : "not proven", repeat, explain);
    // Edits a user would click: ban the target of a probe, lock it, want one more.
    double worst = 0, worst_fresh = 0;
    const std::size_t step = std::max<std::size_t>(1, r.probes.size() / 12);
    int edits = 0;
    for (std::size_t k = 0; k < r.probes.size(); k += step, ++edits) {
      const PlacedProbe& p = r.probes[k];
      const Feature& f =
          run.board.features[static_cast<std::size_t>(run.access.targets[static_cast<std::size_t>(p.target)].feature)];
      PlanEdit e;
      if (edits % 3 == 0) e.bans.push_back({"", f.name, "", "", {}});
      if (edits % 3 == 1) e.locks.push_back({run.board.nets[static_cast<std::size_t>(f.net)].name, f.name, "", "", {}});
      if (edits % 3 == 2) e.wanted[p.need] = run.needs[static_cast<std::size_t>(p.need)].wanted + 1;
      PlanResult edited, fresh;
      Planner other(run.board, run.access, run.needs, run.job, run.catalogue, run.rules);
      const double took = seconds([&] { edited = planner->plan(e, bare, d); });
      worst = std::max(worst, took);
      std::size_t anew = 0;
      for (const OptionResult& o : edited.options) anew += !o.as_before;
      std::printf("    %s %s: %.3f s, %zu options planned again\n",
                  e.bans.empty() ? e.locks.empty() ? "one more probe on the net of" : "lock" : "ban", f.name.c_str(),
                  took, anew);
      worst_fresh = std::max(worst_fresh, seconds([&] { fresh = other.plan(e, bare, d); }));
      if (!same(edited, fresh)) {
        all_same = false;
        std::printf("  edit %d at %s: not the plan that is made afresh\n", edits, f.name.c_str());
      }
    }
    std::printf("  %d edits: the slowest %.3f s, afresh (model at hand) %.3f s\n", edits, worst, worst_fresh);
  }
  return all_same ? 0 : 2;
}
