// A run over a job for a fixture that stands.
#include <filesystem>
#include <nlohmann/json.hpp>

#include "teasel/pipeline/files.h"
#include "teasel/pipeline/run.h"
#include "teasel/plan/build_prices.h"

namespace teasel::pipeline {

namespace fs = std::filesystem;

namespace {
/// fixture.json beside a plan.json, if that plan wrote it and nobody changed it since.
std::optional<formats::FixtureFile> read_fixture(Run& run, const std::string& plan_file) {
  constexpr const char* kName = "fixture.json";
  Diagnostics& d = run.diagnostics;
  const auto text = read_file(plan_file, plan_file, d);
  if (!text) return std::nullopt;
  const auto plan = nlohmann::json::parse(*text, nullptr, false);
  const char* remedy = "name the plan.json in the folder of the plan that the fixture was built by";
  if (!plan.is_object() || !plan.contains("outputs") || !plan["outputs"].is_array()) {
    d.error({.code = "respin-no-plan",
             .at = {plan_file, 0, 0, {}},
             .message = "this is not a plan",
             .found = text->substr(0, 40),
             .expected = "plan.json",
             .remedy = remedy});
    return std::nullopt;
  }
  std::string hash;
  for (const auto& o : plan["outputs"])
    if (o.is_object() && o.value("file", nlohmann::json()) == kName && o.contains("sha256") && o["sha256"].is_string())
      hash = o["sha256"].get<std::string>();
  if (hash.empty()) {
    d.error({.code = "respin-no-fixture",
             .at = {plan_file, 0, 0, "outputs"},
             .message = "the plan wrote no fixture.json: an earlier version made it",
             .remedy =
                 "plan the old revision again with this version, and compare its plates with the fixture before use"});
    return std::nullopt;
  }
  const std::string name = (fs::path(plan_file).parent_path() / kName).generic_string();
  const auto bytes = read_file(name, name, d);
  if (!bytes) return std::nullopt;
  if (const std::string found = sha256(*bytes); found != hash) {
    d.error({.code = "respin-fixture-changed",
             .at = {name, 0, 0, {}},
             .message = "fixture.json is not the one that this plan wrote",
             .found = "SHA-256 " + found.substr(0, 16) + "...",
             .expected = hash.substr(0, 16) + "...",
             .remedy = "keep plan.json and fixture.json of one plan together"});
    return std::nullopt;
  }
  if (std::error_code none; !fs::exists(fs::path(plan_file).parent_path() / "built.json", none))
    d.warn({.code = "respin-not-built",
            .at = {fs::path(plan_file).filename().string(), 0, 0, {}},
            .message = "this plan is not marked as the one that a fixture was built by",
            .remedy = "if the fixture was built by it, mark its folder:  teasel built DIR"});
  run.inputs.push_back({"fixture that stands: " + fs::path(name).filename().string(), hash});
  return formats::read_fixture_file(*bytes, name, d);
}

/// The fixture's pins on the board at hand, unless the job names its own; true if the board has to be put together anew
/// for them.
bool take_pins(Run& run, const Board& board, const Laying& laying) {
  if (!laying.pins_stay || !board.places.empty() || !run.job.fixture.tooling.empty()) return false;
  const std::vector<HoleId> wanted{laying.tooling[0], laying.tooling[1]};
  if (board.tooling == wanted) return false;
  run.sources.pins.clear();
  for (const HoleId hole : wanted) run.sources.pins.push_back(board.holes[hole].at);
  return true;
}

Money objective(const PlanResult& result) {
  return Money{result.options[result.chosen].total().units()};
}

/// What old and new board have in common where the new one lies so.
void match(Run& run, const formats::FixtureFile& fixture, const Laying& l) {
  Respin& r = run.results.respin;
  r.laying = l;
  r.old = fixture.revisions.back().board;
  r.now = built_board(run.board, run.job);
  r.pads = match_pads(r.old, r.now, l.map);
  r.nets = match_nets(r.old, r.now, r.pads);
}

/// Plan with the board laid so. Pins that move cost as much as new holes.
Money plan_laid(Run& run, const formats::FixtureFile& fixture, const Laying& l, const PlanLimits& limits,
                const Stage& stage) {
  match(run, fixture, l);
  const Respin& respin = run.results.respin;
  run.standing = stand_on(run.job, fixture, {l, respin.nets, respin.now}, run.rules, run.style, run.diagnostics);
  if (run.diagnostics.failed()) return {};
  judge_targets(run, stage);
  plan_probes(run, limits, stage);
  if (run.diagnostics.failed()) return {};
  const Planned planned = run.planned();
  const BuildPrices prices = build_prices(planned, planned.option.option);
  return objective(run.plan) + (l.pins_stay ? Money{} : 2 * (prices.hole[planned.option.option.main] + prices.rework));
}

/// For the laying at hand.
void compare(Respin& r, const std::string& from_plan) {
  r.used = true;
  r.from_plan = from_plan;
  r.from_name = r.old.name + (r.old.revision.empty() ? "" : ", revision " + r.old.revision);
  r.changes = compare_boards(r.old, r.now, r.laying.map, r.pads, r.nets);
}

void say_what_stands(Run& run, const formats::FixtureFile& fixture) {
  Respin& r = run.results.respin;
  const Results& results = run.results;
  const Planned planned = run.planned();
  const BuildInputs build{planned, results.coverage, results.mechanics.supports, &results.mechanism};
  r.fates = judge_fates(build, fixture, r.now, r.nets);
  for (const PlacedProbe& p : planned.option.probes)
    if (!p.standing_hole) r.fresh.push_back(p.name);
  const Cents anew = results.cost.beds[results.cost.chosen].build;
  plan_rework(build, fixture, {results.plates, results.wiring, results.proving, anew}, r, run.diagnostics);
  r.runs = revisions_that_run(run.built, run.style.stop_diameter / 2, run.rules.finger_diameter / 2);
}
}  // namespace

void rework(Run& run, const std::string& plan_file, const PlanLimits& limits, const Stage& stage) {
  const auto fixture = read_fixture(run, plan_file);
  if (!fixture || run.diagnostics.failed()) return;
  run.earlier = fixture->revisions;
  const Board board = run.board;
  const std::vector<BoardPoint> pins = run.sources.pins;
  const Diagnostics loaded = run.diagnostics;
  understand(run);
  if (run.diagnostics.failed()) return;
  std::vector<Laying> list = layings(*fixture, run.board, built_board(run.board, run.job), run.diagnostics);
  if (run.diagnostics.failed()) return;
  // Each worth a look is planned; the last one stands in `run` when its figure is known.
  std::vector<Money> figure;
  std::size_t at_hand = list.size(), best = 0;
  auto lay = [&](std::size_t i) {
    run.board = board;
    run.sources.pins = pins;
    run.standing = {};
    run.diagnostics = loaded;
    if (take_pins(run, board, list[i])) {
      run.diagnostics = {};
      assemble_board(run, stage);
    }
    if (!run.diagnostics.failed()) understand(run);
    list[i].pins_stay =
        list[i].pins_stay && run.board.tooling == std::vector<HoleId>{list[i].tooling[0], list[i].tooling[1]};
    at_hand = i;
    return run.diagnostics.failed() ? Money{} : plan_laid(run, *fixture, list[i], limits, stage);
  };
  for (std::size_t i = 0; i < list.size() && !run.diagnostics.failed(); ++i) {
    figure.push_back(lay(i));
    if (figure[i] < figure[best] - Money{1e-9}) best = i;
  }
  if (run.diagnostics.failed()) return;
  if (at_hand != best) lay(best);
  if (run.diagnostics.failed()) return;
  if (!list[best].pins_stay)
    run.diagnostics.warn({.code = "respin-pins-move",
                          .at = {run.job.file, 0, 0, "fixture.tooling"},
                          .message = "the tooling pins of the fixture do not fit the board: they move with it",
                          .found = list[best].how,
                          .remedy = "ask the layout to keep the tooling holes where they were"});
  compare(run.results.respin, fixture->plan_id);
  run.results.respin.objectives = {figure[best]};
  for (std::size_t i = 0; i < list.size(); ++i)
    if (i != best) {
      run.results.respin.others.push_back(list[i]);
      run.results.respin.objectives.push_back(figure[i]);
    }
  finish(run, limits, stage);
  if (!run.diagnostics.failed()) say_what_stands(run, *fixture);
}

}  // namespace teasel::pipeline
