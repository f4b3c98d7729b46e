#include "commands.h"

#include <algorithm>
#include <atomic>
#include <csignal>
#include <ctime>
#include <filesystem>
#include <iostream>
#include <nlohmann/json.hpp>
#include <sstream>

#include "log.h"
#include "teasel/enums.h"
#include "teasel/pipeline/files.h"
#include "teasel/pipeline/first.h"
#include "teasel/pipeline/plan_folder.h"
#include "teasel/pipeline/run.h"
#include "teasel/view.h"

namespace teasel::cli {

using namespace pipeline;

namespace fs = std::filesystem;

namespace {
std::atomic<bool> stop_requested{false};
std::atomic<bool> searching{false};

/// While it searches, the program keeps the best plan so far; in any other stage it ends at once. Files are put in
/// place only when all of them are there.
extern "C" void on_interrupt(int signal) {
  std::signal(signal, SIG_DFL);
  stop_requested.store(true);
  if (!searching.load()) std::raise(signal);
}

using Json = nlohmann::ordered_json;

constexpr Words<Severity> kSeverities{"note", "warning", "error"};

Json findings_json(const Diagnostics& diagnostics) {
  auto list = Json::array();
  for (const Finding& finding : diagnostics.all())
    list.push_back({{"severity", kSeverities[finding.severity]},
                    {"code", finding.code},
                    {"place", to_string(finding.place)},
                    {"message", finding.message},
                    {"found", finding.found},
                    {"expected", finding.expected},
                    {"remedy", finding.remedy}});
  return list;
}
void print_json(const Json& value) {
  say_json(value.dump(2, ' ', false, Json::error_handler_t::replace) + "\n");
}
void print_lines(const std::vector<std::string>& lines) {
  for (const std::string& line : lines) say(line);
}

int failed(const Diagnostics& diagnostics, const Common& common) {
  log_findings(diagnostics);
  if (common.json) print_json({{"status", "failed"}, {"findings", findings_json(diagnostics)}});
  return kFailed;
}

/// Job and board alone.
Run loaded(const std::string& job_file, const Common& common) {
  Run run;
  Progress progress(common.quiet);
  load(run, job_file, std::ref(progress));
  progress.clear();
  return run;
}

/// Where the nets of the first job come from.
std::string net_source(const JobInputs& inputs) {
  if (!inputs.netlist_file.empty()) return "netlist " + inputs.netlist_file;
  if (!inputs.cad_file.empty()) return "nets of " + inputs.cad_file;
  if (!inputs.pads_file.empty()) return "pad list " + inputs.pads_file;
  return "no netlist (nets are traced through the copper)";
}
/// What else the first job names.
std::string extras(const JobInputs& inputs) {
  std::string list;
  for (const auto& [what, file] :
       {std::pair<const char*, const std::string*>{"reference points", &inputs.references_file},
        {"readings", &inputs.continuity_file},
        {"IDF", &inputs.idf_board},
        {"bill of materials", &inputs.bom_file}})
    if (!file->empty()) list += std::string(", ") + what + " " + *file;
  for (const auto& [key, file] : inputs.lone_files) {
    const std::size_t from = key.find('.') + 1;  // "inputs.heights.file"
    list += ", " + key.substr(from, key.rfind('.') - from) + " " + file;
  }
  if (!inputs.cad_file.empty() && !inputs.netlist_file.empty()) list += ", IPC-2581 " + inputs.cad_file;
  for (const std::string& file : inputs.placement_files) list += ", placement " + file;
  return list;
}
}  // namespace

namespace {
/// The picture goes beside the job file, unless a file of that name is somebody else's. Returns its name; empty: none.
std::string write_preview(const std::string& picture, const std::string& job_file, Diagnostics& diagnostics) {
  std::string name = fs::path(job_file).replace_extension().string() + "-preview.svg";
  std::error_code none;
  if (fs::exists(name, none)) {
    Diagnostics ignored;
    const auto there = read_file(name, name, ignored);
    if (!there || there->rfind(kPreviewHead, 0) != 0) {
      diagnostics.warn(
          {.code = "preview-exists",
           .at = {name, 0, 0, {}},
           .message = "no preview is written, because a file of this name exists that teasel did not write",
           .remedy = "rename that file"});
      return {};
    }
  }
  write_file(name, picture, diagnostics);
  return name;
}
}  // namespace

namespace {
std::string unpacked_text(const FirstDraft& draft) {
  if (draft.packed.empty()) return {};
  return "unpacked into " + draft.unpack_folder + ", beside the job file: " + std::to_string(draft.packed.size()) +
         (draft.packed.size() == 1 ? " file" : " files") + " of zip archives";
}
}  // namespace

int start(const std::string& folder, const std::string& out, bool force, const Common& common) {
  Diagnostics diagnostics;
  Progress progress(common.quiet);
  std::error_code ignored;
  const bool streamed = is_stream(out);
  if (!streamed && fs::exists(out, ignored) && !force) {
    diagnostics.error({.code = "start-exists",
                       .at = {out, 0, 0, {}},
                       .message = "a file of this name exists, and it may hold your edits",
                       .remedy = "give another name with -o, or --force to replace it"});
    return failed(diagnostics, common);
  }
  FirstDraft draft = first_draft(folder, out, std::ref(progress), diagnostics);
  if (diagnostics.failed()) return failed(diagnostics, common);
  const JobInputs& inputs = draft.job.inputs;
  const auto picture = try_draft(draft, streamed ? "job.toml" : out, std::ref(progress), diagnostics);
  progress("writing", 0.9);
  write_packed(draft, out, diagnostics);
  if (!diagnostics.failed()) write_file(out, draft.text, diagnostics);
  if (diagnostics.failed()) {
    progress.clear();
    return failed(diagnostics, common);
  }
  const std::string preview = picture && !streamed ? write_preview(*picture, out, diagnostics) : std::string();
  progress.clear();
  log_findings(diagnostics);
  if (common.json) {
    print_json({{"status", "done"},
                {"job", out},
                {"preview", preview},
                {"unpacked", draft.packed.size()},
                {"unpack_folder", draft.unpack_folder},
                {"layers", inputs.gerbers.size()},
                {"drills", inputs.drills.size()},
                {"findings", findings_json(diagnostics)}});
  } else if (!streamed) {
    say(out + ": " + std::to_string(inputs.gerbers.size()) + " layer files, " + std::to_string(inputs.drills.size()) +
        " drill files, " + net_source(inputs) + extras(inputs));
    if (const std::string unpacked = unpacked_text(draft); !unpacked.empty()) say(unpacked);
    if (!picture) say("the job does not go through as it stands: see the errors above");
    if (!preview.empty()) say("look at " + preview + ": it shows what the release was understood to be");
    say("next: read the lines marked CHECK in it, then run" +
        (inputs.pads_file.empty() ? "" : "  teasel bench " + out + " ,") + "  teasel check " + out +
        "  and  teasel plan " + out);
  }
  return kDone;
}

int check(const std::string& job_file, const Common& common) {
  Run run;
  Progress progress(common.quiet);
  load(run, job_file, std::ref(progress));
  if (!run.diagnostics.failed()) prepare(run, std::ref(progress));
  progress.clear();
  const Board& board = run.board;
  const Access& access = run.access;
  if (run.diagnostics.failed()) return failed(run.diagnostics, common);
  std::size_t nets = 0;
  for (const Net& net : board.nets) nets += !net.unconnected;
  // The plan decides which side is the main one, so a target counts if it is open from either.
  std::size_t open_targets = 0;
  for (const TargetId target : access.targets.ids())
    open_targets += access.open(target, true) || access.open(target, false);
  if (common.json) {
    print_json({{"status", "done"},
                {"board", board.name},
                {"nets", nets},
                {"pads", board.features.size()},
                {"components", board.components.size()},
                {"holes", board.holes.size()},
                {"exposed_lands", board.exposures.size()},
                {"targets", access.targets.size()},
                {"open_targets", open_targets},
                {"findings", findings_json(run.diagnostics)}});
    return kDone;
  }
  std::ostringstream line;
  line << board.name << (board.revision.empty() ? "" : ", revision " + board.revision) << ": " << nets << " nets, "
       << board.features.size() << " pads, vias and holes, " << board.components.size() << " components, "
       << board.holes.size() << " drilled holes, " << board.exposures.size() << " exposed lands, " << open_targets
       << " of " << access.targets.size() << " targets open to a probe";
  say(line.str());
  // Each is several lines, of which the parts were made visible one by one.
  for (const Finding& finding : run.diagnostics.all()) std::cout << to_string(finding) << "\n";
  return kDone;
}

int nets(const std::string& job_file, const std::string& folder, const Common& common) {
  Run run = loaded(job_file, common);
  if (!run.diagnostics.failed() && !folder.empty())
    write_folder(folder, {{"nets.csv", nets_csv(run.board)}, {"net-differences.csv", differences_csv(run.board)}},
                 run.diagnostics);
  if (run.diagnostics.failed()) return failed(run.diagnostics, common);
  log_findings(run.diagnostics);
  if (!common.json) {
    print_lines(nets_lines(run.board));
    return kDone;
  }
  const Connectivity& connectivity = run.board.connectivity;
  std::size_t traced = 0;
  if (connectivity.copper)
    for (const CopperNet& net : connectivity.copper->nets()) traced += !net.drawn_only();
  print_json({{"status", "done"},
              {"nets", traced},
              {"compared", connectivity.compared},
              {"agreeing", connectivity.agreeing},
              {"differences", connectivity.differences.size()},
              {"missing_layers", connectivity.missing_layers},
              {"findings", findings_json(run.diagnostics)}});
  return kDone;
}

int bench(const std::string& job_file, const std::string& folder, const Common& common) {
  Run run = loaded(job_file, common);
  if (run.diagnostics.failed()) return failed(run.diagnostics, common);
  const BenchGuess guess = guess_interfaces(run.board, run.interface_table);
  if (!folder.empty())
    write_folder(folder,
                 {{"bench-pads.csv", bench_pads_csv(run.board, guess)},
                  {"next-readings.csv", next_readings_csv(run.board, guess)}},
                 run.diagnostics);
  if (run.diagnostics.failed()) return failed(run.diagnostics, common);
  log_findings(run.diagnostics);
  const auto lines = bench_lines(run.board, guess, bench_odds(run));
  if (!common.json) {
    print_lines(lines);
    return kDone;
  }
  print_json({{"status", "done"},
              {"pads", run.board.features.size()},
              {"nets", run.board.nets.size()},
              {"questions", run.board.bench.questions},
              {"groups", guess.groups.size()},
              {"lines", lines},
              {"findings", findings_json(run.diagnostics)}});
  return kDone;
}

int layers(const LayersWanted& wanted, const Common& common) {
  Diagnostics diagnostics;
  const auto facts = layers(wanted, diagnostics);
  if (diagnostics.failed()) return failed(diagnostics, common);
  log_findings(diagnostics);
  if (common.json)
    say_json(layers_json(facts));
  else
    for (const auto& layer : facts) std::cout << layer_lines(layer);  // visible, each part of it
  return kDone;
}

int view(const std::string& path, const std::string& out, int port, bool mechanics, const Common& common) {
  Diagnostics diagnostics;
  view::ViewWanted wanted;
  wanted.path = path;
  wanted.port = static_cast<std::uint16_t>(port);
  wanted.mechanics = mechanics;
  if (!out.empty()) wanted.job_file = out;
  const auto say = [&](const std::string& address) {
    if (common.json)
      std::cout << Json{{"address", address}}.dump() << std::endl;
    else
      std::cout
          << address
          << "\nOpen this address in a browser on this machine. Anyone who has it can change the job. End with Ctrl-C."
          << std::endl;
  };
  view::serve(wanted, say, diagnostics);
  return diagnostics.failed() ? failed(diagnostics, common) : kDone;
}

namespace {
/// An error where no net of the board is one to explain. On a panel the nets are named later than this.
void check_explained(Run& run, const JobWanted& wanted) {
  if (wanted.explain.empty() || run.job.panel.used) return;
  const auto fits = [&](const Net& net) { return glob_match(wanted.explain, net.name); };
  if (std::any_of(run.board.nets.begin(), run.board.nets.end(), fits)) return;
  const std::string like = similar_nets(run.board, wanted.explain);
  run.diagnostics.error({.code = "explain-no-net",
                         .at = {wanted.job_file, 0, 0, {}},
                         .message = "no net of the board has this name or fits this pattern",
                         .found = wanted.explain,
                         .remedy = like.empty() ? "take a name from coverage.csv, which  teasel audit -o DIR  writes"
                                                : "perhaps " + like});
}

void print_explained(const Outcome& outcome, const JobWanted& wanted, const Common& common) {
  const auto lines = explain_lines(outcome, wanted.explain);
  if (common.json) {
    print_json({{"plan_id", outcome.plan_id}, {"explain", wanted.explain}, {"lines", lines}});
    return;
  }
  print_lines(lines);
  if (!wanted.folder.empty()) say("written to " + wanted.folder + ", plan id " + outcome.plan_id);
}

void print_result(const Run& run, const JobWanted& wanted, const Common& common) {
  const Outcome outcome = run.outcome();
  if (!wanted.explain.empty()) {
    print_explained(outcome, wanted, common);
  } else if (common.json) {
    say_json(summary_json(outcome));
  } else {
    print_answers(answer_rows(answers(outcome, wanted.whole, wanted.folder)));
    if (!common.verbose) return;
    say("");
    print_lines(details_lines(outcome));
  }
}

void plan_job(Run& run, const JobWanted& wanted, Progress& progress) {
  // A first stop signal while it searches gives the best plan so far, and a second one ends the program at once.
  std::signal(SIGINT, on_interrupt);
  std::signal(SIGTERM, on_interrupt);
  const auto stage = [&progress](const char* what, double fraction) {
    searching.store(std::string_view(what) == "planning");
    progress(what, fraction);
  };
  PlanLimits limits;
  limits.time = wanted.time_limit > Seconds{} ? wanted.time_limit : run.job.effort.time_limit;
  limits.stop = &stop_requested;
  limits.proof = wanted.proof;
  run.bending = wanted.mechanics;
  if (wanted.old_plan.empty())
    work(run, limits, stage);
  else
    rework(run, wanted.old_plan, limits, stage);
}
}  // namespace

int run_job(JobWanted wanted, const Common& common) {
  Run run;
  Progress progress(common.quiet);
  if (wanted.whole && wanted.folder.empty() && wanted.explain.empty())
    wanted.folder = fs::path(wanted.job_file).stem().string() + "-plan";
  // Before the work: a folder that may not be written is told at once.
  if (!wanted.folder.empty() && !may_write_folder(wanted.folder, run.diagnostics))
    return failed(run.diagnostics, common);
  load(run, wanted.job_file, std::ref(progress));
  check_explained(run, wanted);
  if (!run.diagnostics.failed()) plan_job(run, wanted, progress);
  if (run.diagnostics.failed()) {
    progress.clear();
    return failed(run.diagnostics, common);
  }
  if (!wanted.folder.empty()) {
    progress("writing", 0.95);
    write_folder(wanted.folder, wanted.whole ? outputs(run) : audit_outputs(run, run.outcome()), run.diagnostics);
  }
  progress.clear();
  if (run.diagnostics.failed()) return failed(run.diagnostics, common);
  log_findings(run.diagnostics);
  progress("done", 1);
  progress.clear();
  print_result(run, wanted, common);
  const bool unmet = run.results.coverage.mandatory_unmet > 0 || !run.results.audit.gate_failures.empty();
  const Release release = run.results.release.state();
  const bool not_released =
      wanted.whole && (release == Release::do_not_drill || (wanted.release && release != Release::ready));
  return unmet || not_released || (wanted.whole && run.diagnostics.spoiled()) ? kUnmet : kDone;
}

int built(const std::string& folder, const std::string& date, bool undo, const Common& common) {
  Diagnostics diagnostics;
  std::string day = date;
  if (undo) {
    unmark_built(folder, diagnostics);
  } else {
    if (day.empty()) {
      const std::time_t now = std::time(nullptr);
      char today[16];
      std::strftime(today, sizeof today, "%Y-%m-%d", std::localtime(&now));
      day = today;
    }
    mark_built(folder, day, diagnostics);
  }
  if (diagnostics.failed()) return failed(diagnostics, common);
  if (common.json)
    print_json({{"status", "done"}, {"folder", folder}, {"built", undo ? Json(nullptr) : Json(day)}});
  else if (undo)
    std::cout << folder << ": the mark is taken away; the plan may be overwritten again\n";
  else
    std::cout << folder << ": marked as built on " << day << "; no run overwrites it\n";
  return kDone;
}

namespace {
void print_names(const char* what, const std::vector<std::string>& names) {
  if (names.empty()) return;
  std::cout << what << ":\n";
  for (const std::string& name : names) std::cout << "  " << name << "\n";
}

void print_check(const std::string& folder, const FolderCheck& check) {
  std::cout << folder << (check.plan_id.empty() ? std::string() : ", plan id " + check.plan_id)
            << (check.built.empty() ? "" : ", built on " + check.built) << ": " << check.written << " files written\n";
  print_names("changed since", check.touched);
  print_names("missing", check.missing);
  print_names("put there by somebody", check.foreign);
  print_names("changed before a later run, and kept", check.kept);
  if (!check.job.empty())
    std::cout << check.inputs << " inputs compared by " << check.job << "\n";
  else if (!check.plan_id.empty())
    std::cout << "inputs not compared: the job file is not in sight. Name it:  teasel verify " << folder
              << " JOB.toml\n";
  print_names("inputs changed since", check.inputs_changed);
  print_names("inputs missing", check.inputs_missing);
  if (!check.job.empty()) print_names("inputs that lie elsewhere, not compared", check.inputs_unknown);
  std::cout << (check.as_written() ? "all as written\n" : "NOT as written\n");
}
}  // namespace

int verify(const std::string& folder, const std::string& job_file, const Common& common) {
  Diagnostics diagnostics;
  const FolderCheck check = check_folder(folder, job_file, diagnostics);
  if (diagnostics.failed()) return failed(diagnostics, common);
  if (common.json)
    print_json({{"status", check.as_written() ? "as written" : "differs"},
                {"plan_id", check.plan_id},
                {"built", check.built},
                {"files", check.written},
                {"changed", check.touched},
                {"missing", check.missing},
                {"foreign", check.foreign},
                {"kept", check.kept},
                {"job", check.job},
                {"inputs", check.inputs},
                {"inputs_changed", check.inputs_changed},
                {"inputs_missing", check.inputs_missing},
                {"inputs_not_compared", check.inputs_unknown}});
  else
    print_check(folder, check);
  return check.as_written() ? kDone : kUnmet;
}

}  // namespace teasel::cli
