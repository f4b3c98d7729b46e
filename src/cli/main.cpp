// Commands and exit status. No rule of the trade in here.
#include <CLI/CLI.hpp>
#include <iostream>
#include <new>

#include "commands.h"
#include "log.h"
#include "manual.h"
#include "teasel/version.h"

int main(int argc, char** argv) {
  using namespace teasel;
  using namespace teasel::cli;
  CLI::App app{"teasel plans bed-of-nails test fixtures for printed circuit boards.\nExit status: 0 done; 1 inputs or call are wrong, nothing written; 2 a mandatory need is unmet, everything written."};
  app.name("teasel");
  app.set_version_flag("--version", std::string("teasel ") + kVersion);
  app.require_subcommand(1);
  Common common;
  std::string target, out;
  double time_limit = 0;
  bool force = false, proof = false;
  auto add_common = [&](CLI::App* sub) {
    sub->add_flag("--json", common.json, "print the summary as JSON on standard output");
    auto* v = sub->add_flag("-v,--verbose", common.verbose, "also print notes and timings");
    sub->add_flag("-q,--quiet", common.quiet, "print errors only")->excludes(v);
  };
  auto* start_command = app.add_subcommand("start", "recognise the release files in a folder and write a first job file");
  start_command->add_option("FOLDER", target, "folder that holds the release files")->required();
  start_command->add_option("-o,--output", out, "job file to write")->default_str("job.toml");
  start_command->add_flag("--force", force, "replace an existing job file");
  auto* check_command = app.add_subcommand("check", "read everything and say what was understood; writes nothing");
  auto* audit_command = app.add_subcommand("audit", "coverage only: which nets can be reached, and why not");
  auto* nets_command = app.add_subcommand("nets", "trace the nets through copper and holes, and compare them with the netlist");
  auto* plan_command = app.add_subcommand("plan", "plan the fixture: probes, plates, drill files, wiring, report");
  auto* respin_command = app.add_subcommand("respin", "plan the next revision onto the fixture that stands: what stays, what is drilled and plugged, what it costs");
  std::string old_plan;
  respin_command->add_option("PLAN.json", old_plan, "plan.json of the plan that the fixture was built by; its fixture.json lies beside it")->required();
  auto* bench_command = app.add_subcommand("bench", "a board known only from the bench: pictures, resistances, what to measure next, which pads could be an interface");
  for (auto* sub : {check_command, nets_command, bench_command, audit_command, plan_command, respin_command}) sub->add_option("JOB.toml", target, "job file")->required();
  audit_command->add_option("-o,--output", out, "folder for coverage.csv, blocked.csv and nearly-open.csv");
  nets_command->add_option("-o,--output", out, "folder for nets.csv and net-differences.csv");
  bench_command->add_option("-o,--output", out, "folder for bench-pads.csv and next-readings.csv");
  plan_command->add_option("-o,--output", out, "output folder; default: the job file's name and -plan, in the current folder");
  respin_command->add_option("-o,--output", out, "output folder; default: the job file's name and -plan, in the current folder");
  for (auto* sub : {audit_command, plan_command, respin_command}) sub->add_option("--time-limit", time_limit, "seconds for planning; default: the job file's")->check(CLI::Range(0.1, 86400.0));
  std::string explain;
  plan_command->add_flag("--proof", proof, "write plan.proof as well, which another program can check");
  plan_command->add_option("--explain", explain, "explain this net (a name or a pattern) target by target: verdicts, odds, errors; writes no files unless -o is given");
  bool no_mechanics = false;
  for (auto* sub : {audit_command, plan_command, respin_command}) sub->add_flag("--no-mechanics", no_mechanics, "do not work out how the board bends; supports are laid out by reach alone");
  int port = 0;
  auto* view_command = app.add_subcommand("view", "look at a job in the browser, change it there and see at once what that does; or confirm what a folder holds");
  view_command->add_option("JOB.toml|FOLDER", target, "job file, or folder of release files")->required();
  view_command->add_option("-o,--output", out, "of a folder: job file to write")->default_str("job.toml");
  view_command->add_option("--port", port, "port on 127.0.0.1; default: any that is free")->check(CLI::Range(1024, 65535));
  view_command->add_flag("--no-mechanics", no_mechanics, "do not work out how the board bends");
  LayersWanted wanted;
  bool no_svg = false;
  std::string unit;
  auto* layers_command = app.add_subcommand("layers", "look at layer files by themselves: a table, and the exact geometry of each as SVG");
  layers_command->add_option("FILE", wanted.files, "Gerber layer files")->required();
  layers_command->add_option("-o,--output", wanted.folder, "folder for the drawings, FILE.svg each")->default_str(".");
  layers_command->add_flag("--area", wanted.area, "also the dark area of the composited image");
  layers_command->add_option("--unit", unit, "unit of files that state none, or a wrong one")->check(CLI::IsMember({"mm", "inch"}));
  layers_command->add_flag("--no-svg", no_svg, "read only, draw nothing");
  bool completion = false;
  auto* manual_command = app.add_subcommand("manual", "print the manual page, for man -l -");
  manual_command->add_flag("--completion", completion, "print a completion script for bash instead");
  for (auto* sub : {start_command, check_command, audit_command, plan_command, respin_command, nets_command, bench_command, layers_command, view_command}) add_common(sub);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& e) {
    const int code = app.exit(e);
    return code == 0 ? kDone : kFailed;
  }
  if (manual_command->parsed()) return std::cout << (completion ? bash_completion(app) : manual_page(app)), kDone;
  set_up_log(common);
  try {
    if (start_command->parsed()) return start(target, out.empty() ? "job.toml" : out, force, common);
    if (check_command->parsed()) return check(target, common);
    if (nets_command->parsed()) return nets(target, out, common);
    if (bench_command->parsed()) return bench(target, out, common);
    if (layers_command->parsed()) {
      wanted.drawings = !no_svg;
      if (!unit.empty()) wanted.unit = unit == "mm" ? formats::GerberUnit::mm : formats::GerberUnit::inch;
      return layers(wanted, common);
    }
    if (view_command->parsed()) return view(target, out, port, !no_mechanics, common);
    return run_job({target, old_plan, out, explain, time_limit, !audit_command->parsed(), proof, !no_mechanics}, common);
  } catch (const std::bad_alloc&) {
    log_error("error out-of-memory: the inputs need more memory than there is; nothing was written");
  } catch (const std::exception& e) {
    log_error(std::string("error internal: ") + e.what() + "; nothing was written. Please report it with the inputs.");
  }
  return kFailed;
}
