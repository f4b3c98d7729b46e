#include "commands.h"

#include <atomic>
#include <csignal>
#include <filesystem>
#include <iostream>
#include <nlohmann/json.hpp>

#include "log.h"
#include "teasel/pipeline/files.h"
#include "teasel/pipeline/first.h"
#include "teasel/pipeline/run.h"
#include "teasel/view.h"

namespace teasel::cli {

using namespace pipeline;

namespace fs = std::filesystem;

namespace {
std::atomic<bool> stop_requested{false};

extern "C" void on_interrupt(int signal) {
  stop_requested.store(true);
  std::signal(signal, SIG_DFL);
}

nlohmann::ordered_json findings_json(const Diagnostics& d) {
  auto list = nlohmann::ordered_json::array();
  for (const Finding& f : d.all())
    list.push_back({{"severity", f.severity == Severity::error     ? "error"
                                 : f.severity == Severity::warning ? "warning"
                                                                   : "note"},
                    {"code", f.code},
                    {"place", to_string(f.place)},
                    {"message", f.message},
                    {"found", f.found},
                    {"expected", f.expected},
                    {"remedy", f.remedy}});
  return list;
}
void print_json(const nlohmann::ordered_json& j) {
  std::cout << j.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) << "\n";
}

int failed(const Diagnostics& d, const Common& c) {
  log_findings(d);
  if (c.json) print_json({{"status", "failed"}, {"findings", findings_json(d)}});
  return kFailed;
}

/// Job and board alone.
Run loaded(const std::string& job_file, const Common& c) {
  Run run;
  Progress progress(c.quiet);
  load(run, job_file, std::ref(progress));
  progress.clear();
  return run;
}

/// What else the first job names.
std::string extras(const Job& job) {
  std::string s;
  for (const auto& [what, file] : {std::pair<const char*, const std::string*>{"reference points", &job.references_file},
                                   {"readings", &job.continuity_file},
                                   {"IDF", &job.idf_board},
                                   {"bill of materials", &job.bom_file},
                                   {"heights", &job.heights_file}})
    if (!file->empty()) s += std::string(", ") + what + " " + *file;
  if (!job.cad_file.empty() && !job.netlist_file.empty()) s += ", IPC-2581 " + job.cad_file;
  for (const auto& p : job.placement_files) s += ", placement " + p;
  return s;
}
}  // namespace

int start(const std::string& folder, const std::string& out, bool force, const Common& c) {
  Diagnostics d;
  Progress progress(c.quiet);
  std::error_code ec;
  if (fs::exists(out, ec) && !force) {
    d.error("start-exists", {out, 0, 0, {}}, "a file of this name exists; it may hold your edits", {}, {},
            "give another name with -o, or --force to replace it");
    return failed(d, c);
  }
  const FirstDraft draft = first_draft(folder, out, std::ref(progress), d);
  if (d.failed()) return failed(d, c);
  const Job& job = draft.job;
  progress("writing", 0.9);
  write_file(out, draft.text, d);
  progress.clear();
  if (d.failed()) return failed(d, c);
  log_findings(d);
  if (c.json) {
    print_json({{"status", "done"},
                {"job", out},
                {"layers", job.gerbers.size()},
                {"drills", job.drills.size()},
                {"findings", findings_json(d)}});
  } else {
    std::cout << out << ": " << job.gerbers.size() << " layer files, " << job.drills.size() << " drill files, "
              << (!job.netlist_file.empty() ? "netlist " + job.netlist_file
                  : !job.cad_file.empty()   ? "nets of " + job.cad_file
                  : !job.pads_file.empty()  ? "pad list " + job.pads_file
                                            : std::string("no netlist: nets come from copper"))
              << extras(job) << "\nnext: read the lines marked CHECK, "
              << (job.pads_file.empty() ? "" : "teasel bench " + out + ", ") << "teasel check " << out
              << ", then teasel plan " << out << "\n";
  }
  return kDone;
}

int check(const std::string& job_file, const Common& c) {
  Run run;
  Progress progress(c.quiet);
  load(run, job_file, std::ref(progress));
  if (!run.diagnostics.failed()) prepare(run, std::ref(progress));
  progress.clear();
  const Board& b = run.board;
  if (run.diagnostics.failed()) return failed(run.diagnostics, c);
  std::size_t nets = 0;
  for (const Net& n : b.nets) nets += !n.unconnected;
  // From either side as the main one: the plan decides which it is.
  std::size_t open_targets = 0;
  for (std::size_t t = 0; t < run.access.targets.size(); ++t)
    open_targets += run.access.open(t, true) || run.access.open(t, false);
  if (c.json) {
    print_json({{"status", "done"},
                {"board", b.name},
                {"nets", nets},
                {"pads", b.features.size()},
                {"components", b.components.size()},
                {"holes", b.holes.size()},
                {"exposed_lands", b.exposures.size()},
                {"targets", run.access.targets.size()},
                {"open_targets", open_targets},
                {"findings", findings_json(run.diagnostics)}});
    return kDone;
  }
  std::cout << b.name << (b.revision.empty() ? "" : ", revision " + b.revision) << ": " << nets << " nets, "
            << b.features.size() << " pads, vias and holes, " << b.components.size() << " components, "
            << b.holes.size() << " drilled holes, " << b.exposures.size() << " exposed lands, " << open_targets
            << " of " << run.access.targets.size() << " targets open to a probe\n";
  for (const Finding& f : run.diagnostics.all()) std::cout << to_string(f) << "\n";
  return kDone;
}

int nets(const std::string& job_file, const std::string& folder, const Common& c) {
  Run run = loaded(job_file, c);
  if (!run.diagnostics.failed() && !folder.empty())
    write_folder(folder, {{"nets.csv", nets_csv(run.board)}, {"net-differences.csv", differences_csv(run.board)}},
                 run.diagnostics);
  if (run.diagnostics.failed()) return failed(run.diagnostics, c);
  log_findings(run.diagnostics);
  const Connectivity& k = run.board.connectivity;
  if (c.json) {
    print_json({{"status", "done"},
                {"nets", k.copper ? std::count_if(k.copper->nets().begin(), k.copper->nets().end(),
                                                  [](const CopperNet& n) { return !n.drawn_only(); })
                                  : 0},
                {"compared", k.compared},
                {"agreeing", k.agreeing},
                {"differences", k.differences.size()},
                {"missing_layers", k.missing_layers},
                {"findings", findings_json(run.diagnostics)}});
  } else {
    for (const auto& l : nets_lines(run.board)) std::cout << l << "\n";
  }
  return kDone;
}

int bench(const std::string& job_file, const std::string& folder, const Common& c) {
  Run run = loaded(job_file, c);
  if (run.diagnostics.failed()) return failed(run.diagnostics, c);
  const BenchGuess guess = guess_interfaces(run.board, run.interface_table);
  if (!folder.empty())
    write_folder(folder,
                 {{"bench-pads.csv", bench_pads_csv(run.board, guess)},
                  {"next-readings.csv", next_readings_csv(run.board, guess)}},
                 run.diagnostics);
  if (run.diagnostics.failed()) return failed(run.diagnostics, c);
  log_findings(run.diagnostics);
  const auto lines = bench_lines(run.board, guess, bench_odds(run));
  if (c.json)
    print_json({{"status", "done"},
                {"pads", run.board.features.size()},
                {"nets", run.board.nets.size()},
                {"questions", run.board.bench.questions},
                {"groups", guess.groups.size()},
                {"lines", lines},
                {"findings", findings_json(run.diagnostics)}});
  else
    for (const auto& l : lines) std::cout << l << "\n";
  return kDone;
}

int layers(const LayersWanted& wanted, const Common& c) {
  Diagnostics d;
  const auto facts = layers(wanted, d);
  if (d.failed()) return failed(d, c);
  log_findings(d);
  if (c.json)
    std::cout << layers_json(facts);
  else
    for (const auto& f : facts) std::cout << layer_lines(f);
  return kDone;
}

int view(const std::string& path, const std::string& out, int port, bool mechanics, const Common& c) {
  Diagnostics d;
  view::ViewWanted wanted;
  wanted.path = path;
  wanted.port = static_cast<std::uint16_t>(port);
  wanted.mechanics = mechanics;
  if (!out.empty()) wanted.job_file = out;
  view::serve(
      wanted,
      [&](const std::string& address) {
        if (c.json)
          std::cout << nlohmann::ordered_json{{"address", address}}.dump() << std::endl;
        else
          std::cout << address
                    << "\nopen it in a browser on this machine; who has the address can change the job. End with Ctrl-C"
                    << std::endl;
      },
      d);
  return d.failed() ? failed(d, c) : kDone;
}

int run_job(JobWanted wanted, const Common& c) {
  const bool whole = wanted.whole;
  const std::string& explain = wanted.explain;
  std::string& folder = wanted.folder;
  Run run;
  Progress progress(c.quiet);
  load(run, wanted.job_file, std::ref(progress));
  if (!explain.empty() && !run.job.panel.used &&
      std::none_of(run.board.nets.begin(), run.board.nets.end(),
                   [&](const Net& n) { return glob_match(explain, n.name); })) {
    const std::string like = similar_nets(run.board, explain);
    run.diagnostics.error("explain-no-net", {wanted.job_file, 0, 0, {}},
                          "no net of the board has the name to explain, or fits the pattern", explain, {},
                          like.empty() ? "teasel audit -o DIR lists all nets in coverage.csv" : "perhaps " + like);
  }
  if (run.diagnostics.failed()) {
    progress.clear();
    return failed(run.diagnostics, c);
  }
  // From here on a stop gives the best plan so far; a second one ends at once.
  std::signal(SIGINT, on_interrupt);
  std::signal(SIGTERM, on_interrupt);
  PlanLimits limits;
  limits.seconds = wanted.time_limit > 0 ? wanted.time_limit : run.job.time_limit;
  limits.stop = &stop_requested;
  run.job.proof = run.job.proof || wanted.proof;
  run.job.mechanics = run.job.mechanics && wanted.mechanics;
  if (wanted.old_plan.empty())
    work(run, limits, std::ref(progress));
  else
    rework(run, wanted.old_plan, limits, std::ref(progress));
  if (run.diagnostics.failed()) {
    progress.clear();
    return failed(run.diagnostics, c);
  }
  if (whole && folder.empty() && explain.empty()) folder = fs::path(wanted.job_file).stem().string() + "-plan";
  if (!folder.empty()) {
    progress("writing", 0.95);
    write_folder(folder, whole ? outputs(run) : audit_outputs(run.outcome()), run.diagnostics);
  }
  progress.clear();
  if (run.diagnostics.failed()) return failed(run.diagnostics, c);
  log_findings(run.diagnostics);
  progress("done", 1);
  progress.clear();
  const Outcome o = run.outcome();
  if (!explain.empty()) {
    const auto lines = explain_lines(o, explain);
    if (c.json)
      print_json({{"plan_id", o.plan_id}, {"explain", explain}, {"lines", lines}});
    else
      for (const auto& l : lines) std::cout << l << "\n";
    if (!folder.empty() && !c.json) std::cout << "written to " << folder << ", plan id " << o.plan_id << "\n";
  } else if (c.json) {
    std::cout << summary_json(o);
  } else if (whole) {
    for (const auto& l : summary_lines(o)) std::cout << l << "\n";
    std::cout << "written to " << folder << ", plan id " << o.plan_id << "\n";
  } else {
    std::cout << summary_lines(o)[0] << "\n";
    for (const auto& l : audit_lines(o)) std::cout << l << "\n";
    std::cout << "needs not served in full:\n";
    constexpr std::size_t kMostNeeds = 60;
    std::size_t lacking = 0;
    for (const auto& r : run.coverage.rows) lacking += r.status == "unmet" || r.status == "partial";
    if (lacking > kMostNeeds)
      std::cout << "  " << lacking << ", the first " << kMostNeeds << " of them here, all in coverage.csv (-o)\n";
    std::size_t shown = 0;
    for (const auto& r : run.coverage.rows)
      if ((r.status == "unmet" || r.status == "partial") && shown++ < kMostNeeds)
        std::cout << "  "
                  << run.board.nets[static_cast<std::size_t>(run.needs[static_cast<std::size_t>(r.need)].net)].name
                  << " (" << to_string(run.needs[static_cast<std::size_t>(r.need)].role)
                  << (run.needs[static_cast<std::size_t>(r.need)].mandatory ? ", mandatory" : "") << "): " << r.got
                  << " of " << r.wanted << ", " << r.reason << "\n";
    for (const auto& l : nearly_open_lines(o)) std::cout << l << "\n";
    for (const auto& l : advice_lines(o, 25)) std::cout << l << "\n";
    if (!folder.empty()) std::cout << "written to " << folder << "\n";
  }
  return run.coverage.mandatory_unmet > 0 || !run.audit.gate_failures.empty() ? kUnmet : kDone;
}

}  // namespace teasel::cli
