// Commands and exit status. No rule of the trade in here.
#include <CLI/CLI.hpp>
#ifdef __GLIBC__
#include <malloc.h>
#endif
#include <cerrno>
#include <cstring>
#include <iostream>
#include <new>

#include "commands.h"
#include "log.h"
#include "manual.h"
#include "teasel/job.h"
#include "teasel/pipeline/plan_folder.h"
#include "teasel/version.h"
#include "teasel/written.h"
#include "topics.h"

namespace {
using namespace teasel;
using namespace teasel::cli;

/// Everything that the command line says.
struct Call {
  Common common;
  std::string target, out, old_plan, explain, unit, topic, date;
  double time_limit = 0;  ///< seconds
  bool force = false, undo = false, proof = false, release = false, no_mechanics = false, no_svg = false,
       completion = false, roff = false, markdown = false;
  int port = 0;
  LayersWanted layers;
};

struct Commands {
  CLI::App *start, *check, *audit, *nets, *plan, *respin, *built, *verify, *bench, *view, *layers, *manual;
};

Commands add_commands(CLI::App& app) {
  return {
      .start = app.add_subcommand("start",
                                  "recognise the release files in a folder or zip archive and write a first job file"),
      .check = app.add_subcommand("check", "read all inputs and report what was understood, without writing anything"),
      .audit = app.add_subcommand("audit", "report coverage only: which nets can be reached, and why others cannot"),
      .nets = app.add_subcommand("nets", "trace the nets through copper and holes, and compare them with the netlist"),
      .plan = app.add_subcommand("plan", "plan the fixture: probes, plates, drill files, wiring, report"),
      .respin = app.add_subcommand(
          "respin",
          "plan the next revision of a board for the fixture that stands: what stays, what is drilled and plugged, and "
          "what it costs"),
      .built = app.add_subcommand("built",
                                  "mark the plan in a folder as the one that a fixture was built by, so that no run "
                                  "overwrites it"),
      .verify = app.add_subcommand(
          "verify",
          "compare an output folder with what was written into it, and the inputs with those that it was made from"),
      .bench = app.add_subcommand("bench",
                                  "report on a board that is known only from the bench: its pictures and resistances, "
                                  "what to measure next, and "
                                  "which pads could form an interface"),
      .view = app.add_subcommand(
          "view",
          "show a job in the browser, where a change shows its effect at once; or confirm what a folder of release "
          "files holds"),
      .layers = app.add_subcommand(
          "layers", "look at layer files by themselves: a table of facts, and the exact geometry of each file as SVG"),
      .manual = app.add_subcommand("manual", "read the manual: the list of its topics, or one topic")};
}

void add_job_options(const Commands& commands, Call& call) {
  commands.start->add_option("FOLDER|FILE.zip", call.target, "folder or zip archive that holds the release files")
      ->required();
  commands.start->add_option("-o,--output", call.out, "job file to write")->default_str("job.toml");
  commands.start->add_flag("--force", call.force, "replace an existing job file");
  commands.respin
      ->add_option("PLAN.json", call.old_plan,
                   "plan.json of the plan by which the fixture was built; its fixture.json must lie beside it")
      ->required();
  for (auto* sub : {commands.check, commands.nets, commands.bench, commands.audit, commands.plan, commands.respin})
    sub->add_option("JOB.toml", call.target, "job file")->required();
  commands.audit->add_option(
      "-o,--output", call.out,
      "folder for the lists of the audit: coverage.csv, blocked.csv, nearly-open.csv, interfaces.csv and others");
  commands.nets->add_option("-o,--output", call.out, "folder for nets.csv and net-differences.csv");
  commands.bench->add_option("-o,--output", call.out, "folder for bench-pads.csv and next-readings.csv");
  commands.plan->add_option("-o,--output", call.out,
                            "output folder; default: the job file's name with -plan behind it, in the current folder");
  commands.respin->add_option(
      "-o,--output", call.out,
      "output folder; default: the job file's name with -plan behind it, in the current folder");
  for (auto* sub : {commands.audit, commands.plan, commands.respin})
    sub->add_option("--time-limit", call.time_limit, "seconds for planning; default: as the job file says")
        ->check(CLI::Range(0.1, 86400.0));
  commands.plan->add_flag("--proof", call.proof, "also write plan.proof, which another program can check");
  for (auto* sub : {commands.plan, commands.respin})
    sub->add_flag("--release", call.release,
                  "end with status 2 where the plan is a draft: nothing is open for drilling");
  commands.plan->add_option(
      "--explain", call.explain,
      "explain this net (a name or a pattern) target by target: verdicts, odds and errors; no files are "
      "written unless -o is given");
  for (auto* sub : {commands.audit, commands.plan, commands.respin})
    sub->add_flag("--no-mechanics", call.no_mechanics,
                  "do not work out how the board bends; supports are then laid out by reach alone");
}

void add_other_options(const Commands& commands, Call& call) {
  commands.view
      ->add_option("JOB.toml|FOLDER|FILE.zip", call.target, "job file, or folder or zip archive of release files")
      ->required();
  commands.view->add_option("-o,--output", call.out, "job file to write, where release files are given")
      ->default_str("job.toml");
  commands.view->add_option("--port", call.port, "port on 127.0.0.1; default: any free one")
      ->check(CLI::Range(1024, 65535));
  commands.view->add_flag("--no-mechanics", call.no_mechanics, "do not work out how the board bends");
  commands.layers->add_option("FILE", call.layers.files, "Gerber layer files")->required();
  commands.layers->add_option("-o,--output", call.layers.folder, "folder for the drawings; each is named FILE.svg")
      ->default_str(".");
  commands.layers->add_flag("--area", call.layers.area, "also report the dark area of the composited image");
  commands.layers->add_option("--unit", call.unit, "unit of files that state none or a wrong one")
      ->check(CLI::IsMember({"mm", "inch"}));
  commands.layers->add_flag("--no-svg", call.no_svg, "only read the files, draw nothing");
  commands.manual->add_option("TOPIC", call.topic, "topic to read; without it, the topics are listed");
  commands.manual->add_flag("--markdown", call.markdown, "print the topic as Markdown, as it stands in data/manual");
  commands.manual->add_flag("--roff", call.roff, "print the manual page instead, for man -l -");
  commands.manual->add_flag("--completion", call.completion, "print a completion script for bash instead");
  for (auto* sub : {commands.start, commands.check, commands.audit, commands.plan, commands.respin, commands.nets,
                    commands.built, commands.verify, commands.bench, commands.layers, commands.view}) {
    sub->add_flag("--json", call.common.json, "print the summary as JSON on standard output");
    auto* verbose = sub->add_flag("-v,--verbose", call.common.verbose, "also print notes and timings");
    sub->add_flag("-q,--quiet", call.common.quiet, "print no progress, and no findings except errors")
        ->excludes(verbose);
  }
}

std::string not_a_date(const std::string& text) {
  return pipeline::is_date(text) ? std::string() : "not a day: " + text;
}

void add_folder_options(const Commands& commands, Call& call) {
  commands.built->add_option("DIR", call.target, "folder of the plan")->required();
  auto* undo = commands.built->add_flag("--undo", call.undo, "take the mark away");
  commands.built
      ->add_option("--date", call.date, "day on which the fixture was built, such as 2026-11-30; default: today")
      ->check(CLI::Validator(not_a_date, "DATE"))
      ->excludes(undo);
  commands.verify->add_option("DIR", call.target, "output folder of a run")->required();
  commands.verify->add_option("JOB.toml", call.out,
                              "job file of the plan; default: one of its name above the folder or in the current one");
}

/// What was perhaps meant by a word that is no command; empty where it is one, or an option.
std::string not_a_command(const CLI::App& app, const std::string& word) {
  if (word.empty() || word[0] == '-') return {};
  std::string nearest;
  std::size_t best = 3;
  for (const CLI::App* sub : app.get_subcommands([](const CLI::App*) { return true; })) {
    if (sub->get_name() == word) return {};
    if (const std::size_t off = edit_distance(word, sub->get_name()); off < best) {
      best = off;
      nearest = sub->get_name();
    }
  }
  return "there is no command '" + word + "'" +
         (nearest.empty() ? "; teasel --help lists them" : "; perhaps " + nearest);
}

int manual(const CLI::App& app, const Call& call) {
  if (call.completion || call.roff) {
    std::cout << (call.completion ? bash_completion(app) : manual_page(app));
    return kDone;
  }
  if (call.topic.empty()) {
    std::cout << topic_list();
    return kDone;
  }
  const std::string text = call.markdown ? topic_source(call.topic) : topic_text(call.topic);
  if (text.empty()) {
    std::cerr << visible(not_a_topic(call.topic)) << "\n";
    return kFailed;
  }
  std::cout << text;
  return kDone;
}

int run(const Commands& commands, Call& call) {
  if (commands.start->parsed())
    return start(call.target, call.out.empty() ? "job.toml" : call.out, call.force, call.common);
  if (commands.check->parsed()) return check(call.target, call.common);
  if (commands.nets->parsed()) return nets(call.target, call.out, call.common);
  if (commands.bench->parsed()) return bench(call.target, call.out, call.common);
  if (commands.layers->parsed()) {
    call.layers.drawings = !call.no_svg;
    if (!call.unit.empty()) call.layers.unit = call.unit == "mm" ? formats::GerberUnit::mm : formats::GerberUnit::inch;
    return layers(call.layers, call.common);
  }
  if (commands.view->parsed()) return view(call.target, call.out, call.port, !call.no_mechanics, call.common);
  if (commands.built->parsed()) return built(call.target, call.date, call.undo, call.common);
  if (commands.verify->parsed()) return verify(call.target, call.out, call.common);
  return run_job({.job_file = call.target,
                  .old_plan = call.old_plan,
                  .folder = call.out,
                  .explain = call.explain,
                  .time_limit = Seconds{call.time_limit},
                  .whole = !commands.audit->parsed(),
                  .proof = call.proof,
                  .mechanics = !call.no_mechanics,
                  .release = call.release},
                 call.common);
}

/// Everything, up to the exit status.
int whole_run(int argc, char** argv) {
  CLI::App app{
      "teasel plans bed-of-nails test fixtures for printed circuit boards.\nExit status: 0: done. 1: the inputs or the "
      "call are wrong, and nothing was written. 2: a mandatory need is unmet, a gate failed or the plan must not "
      "be drilled, and everything was written."};
  app.name("teasel");
  app.set_version_flag("--version", std::string("teasel ") + kVersion);
  app.require_subcommand(1);
  const Commands commands = add_commands(app);
  Call call;
  add_job_options(commands, call);
  add_folder_options(commands, call);
  add_other_options(commands, call);
  if (const std::string said = argc > 1 ? not_a_command(app, argv[1]) : std::string(); !said.empty()) {
    std::cerr << visible(said) << "\n";
    return kFailed;
  }
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    const int code = app.exit(error);
    return code == 0 ? kDone : kFailed;
  }
  if (commands.manual->parsed()) return manual(app, call);
  set_up_log(call.common);
  try {
    return run(commands, call);
  } catch (const std::bad_alloc&) {
    log_error("error out-of-memory: the inputs need more memory than there is. Nothing was written.");
  } catch (const std::exception& error) {
    log_error(std::string("error internal: ") + error.what() +
              ". Nothing was written. Please report this together with the inputs.");
  }
  return kFailed;
}
}  // namespace

int main(int argc, char** argv) {
#ifdef __GLIBC__
  // The largest blocks go back to the system when they are freed. Others come and go in every round, and fresh pages
  // cost more than the work on them.
  mallopt(M_MMAP_THRESHOLD, 1 << 24);
  mallopt(M_TRIM_THRESHOLD, 1 << 26);
#endif
  const int status = whole_run(argc, argv);
  // What a full disk or a closed pipe took away was not said.
  errno = 0;
  if (std::cout.flush()) return status;
  std::cerr << "error output-lost: what was to be printed could not be written to standard output"
            << (errno ? std::string(": ") + std::strerror(errno) : std::string()) << "\n";
  return kFailed;
}
