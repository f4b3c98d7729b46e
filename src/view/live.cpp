#include "live.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <nlohmann/json.hpp>

#include "teasel/pipeline/files.h"
#include "teasel/units.h"

namespace teasel::view {

namespace {
constexpr Seconds kQuick{5};  // of planning after a quick edit

const OptionResult& chosen_option(const LivePlan& plan) {
  return plan.run.plan.options[plan.run.plan.chosen];
}

void plan_quickly(LivePlan& plan, Diagnostics& diagnostics) {
  PlanLimits limits;
  limits.time = std::min(kQuick, plan.run.job.effort.time_limit);
  limits.explain = false;
  limits.quick = true;
  PlanResult result = plan.planner->plan({}, limits, diagnostics);
  if (!diagnostics.failed()) plan.run.plan = std::move(result);
}

std::unique_ptr<Planner> new_planner(const LivePlan& plan) {
  return std::make_unique<Planner>(plan.run.plan_inputs(plan.judging->access()));
}

/// The first verdicts are made without keep-outs and bans, so that the planner knows of every target that can ever be
/// open. Then both follow what the job keeps out.
void judge_without_decisions(LivePlan& plan, const pipeline::Stage& stage) {
  pipeline::Run& run = plan.run;
  Job undecided = run.job;
  undecided.decisions.bans = {};
  Table<KeepOutId, KeepOut> keep_outs;
  stage("judging targets", 0.4);
  std::swap(keep_outs, run.board.keep_outs);
  plan.judging =
      std::make_unique<Judging>(run.board, undecided, run.catalogue, run.rules, StandingFixture{}, run.shop());
  stage("planning", 0.8);
  plan.planner = new_planner(plan);
  std::swap(keep_outs, run.board.keep_outs);
  plan.planner->follow(plan.judging->follow(run.job));
}

void judge_and_plan(LivePlan& plan, const pipeline::Stage& stage, Diagnostics& diagnostics) {
  if (!plan.judging) {
    judge_without_decisions(plan, stage);
  } else {
    stage("planning", 0.6);
    plan.planner = new_planner(plan);
  }
  check_waivers(plan.judging->access(), plan.run.job, diagnostics);
  if (!diagnostics.failed()) plan_quickly(plan, diagnostics);
}

/// How far a change of a top-level key of the job file reaches. A change of a key that the page does not know reaches
/// everything.
Reach reach_of_key(const std::string& key) {
  switch (page_reach(key)) {
    case PageReach::quick: return Reach::quick;
    case PageReach::needs: return Reach::needs;
    case PageReach::none:
    case PageReach::everything: break;
  }
  return Reach::everything;
}

/// On a panel the keep-outs are in the panel's frame, and no quick edit changes them.
void take_keep_outs(pipeline::Run& run) {
  if (run.board.places.empty()) run.board.keep_outs = run.job.decisions.keep_outs;
}
}  // namespace

std::unique_ptr<LivePlan> plan_text(const std::string& text, const std::string& job_file, bool mechanics,
                                    const pipeline::Stage& stage, Diagnostics& diagnostics) {
  auto plan = std::make_unique<LivePlan>();
  pipeline::Run& run = plan->run;
  pipeline::load_text(run, text, job_file, stage);
  plan->loaded = run.diagnostics;
  run.bending = mechanics;
  if (!run.diagnostics.failed()) pipeline::understand(run);
  plan->understood = run.diagnostics;
  if (!run.diagnostics.failed()) judge_and_plan(*plan, stage, run.diagnostics);
  diagnostics = run.diagnostics;
  return diagnostics.failed() ? nullptr : std::move(plan);
}

bool follow_needs(LivePlan& plan, const std::string& before, const std::string& after, const pipeline::Stage& stage,
                  Diagnostics& diagnostics) {
  pipeline::Run& run = plan.run;
  auto take = [&](const std::string& text) {
    run.diagnostics = plan.loaded;
    Job job = read_job(text, run.job.file, run.diagnostics);
    if (!run.diagnostics.failed()) {
      run.job = std::move(job);
      take_keep_outs(run);
      check_together(run.job, run.catalogue, run.rules, run.diagnostics);
    }
    if (!run.diagnostics.failed()) pipeline::understand(run);
    plan.understood = run.diagnostics;
    run.inputs[0].sha256 = pipeline::sha256(text);
    plan.touched = plan.judging->follow(run.job);
    if (!run.diagnostics.failed()) judge_and_plan(plan, stage, run.diagnostics);
    return !run.diagnostics.failed();
  };
  if (take(after)) {
    diagnostics = run.diagnostics;
    return true;
  }
  diagnostics = run.diagnostics;
  take(before);
  return false;
}

Reach reach_of(const std::string& before, const std::string& after, const LivePlan& plan) {
  const Json old_job = Json::parse(toml_as_json(before), nullptr, false);
  const Json new_job = Json::parse(toml_as_json(after), nullptr, false);
  if (!old_job.is_object() || !new_job.is_object()) return Reach::everything;
  Reach reach = Reach::nothing;
  auto look = [&](const Json& one, const Json& other) {
    for (const auto& [key, value] : one.items()) {
      if (other.contains(key) && other[key] == value) continue;
      reach = std::max(reach, reach_of_key(key));
      // A panel is put together with a copy of the keep-outs and of the needs for each of its boards.
      if (!plan.run.board.places.empty() && (key == "keep_out" || reach == Reach::needs)) reach = Reach::everything;
    }
  };
  look(old_job, new_job);
  look(new_job, old_job);
  return reach;
}

bool follow(LivePlan& plan, const std::string& after, Diagnostics& diagnostics) {
  pipeline::Run& run = plan.run;
  Job other = read_job(after, run.job.file, diagnostics);
  if (!diagnostics.failed()) check_together(other, run.catalogue, run.rules, diagnostics);
  if (diagnostics.failed()) return false;
  auto change_over = [&] {
    std::swap(run.job, other);
    take_keep_outs(run);
    plan.touched = plan.judging->follow(run.job);
    plan.planner->follow(plan.touched);
  };
  change_over();
  Diagnostics found = plan.understood;
  check_waivers(plan.judging->access(), run.job, found);
  if (!found.failed()) plan_quickly(plan, found);
  if (found.failed()) {
    change_over();
    diagnostics = found;
    return false;
  }
  run.diagnostics = std::move(found);
  run.inputs[0].sha256 = pipeline::sha256(after);
  return true;
}

std::vector<Figure> figures(const LivePlan& plan) {
  const OptionResult& option = chosen_option(plan);
  const Needs& needs = plan.run.needs;
  int unmet = 0, nets = 0, missing = 0;
  for (const NeedId id : needs.ids()) {
    const Need& need = needs[id];
    if (need.wanted <= 0) continue;
    ++nets;
    unmet += option.got[id] == 0;
    missing += need.mandatory && option.got[id] < need.wanted;
  }
  const double force = sum_of_forces(plan.judging->access(), plan.run.catalogue, plan.run.rules, option).v;
  const int met = nets_met(needs, option);
  const double to_build = option.cost.to_build().units();
  std::vector<Figure> list;
  auto count = [&](const char* what, std::size_t value, int better) {
    list.push_back({what, std::to_string(value), static_cast<double>(value), better});
  };
  list.push_back(
      {"nets served in full", std::to_string(met) + " of " + std::to_string(nets), static_cast<double>(met), 1});
  count("nets without any probe", static_cast<std::size_t>(unmet), -1);
  count("mandatory nets with too few probes", static_cast<std::size_t>(missing), -1);
  count("probes", option.probes.size(), 0);
  list.push_back({"sum of working forces, N", short_number(force, 1), force, -1});
  list.push_back(
      {plan.run.board.places.size() < 2 ? "good boards rejected, of a thousand" : "good panels rejected, of a thousand",
       short_number(option.false_rejects, 3), option.false_rejects, -1});
  list.push_back({"cost of plates, probes, holes and wires, " + plan.run.prices.currency, short_number(to_build, 2),
                  to_build, -1});
  list.push_back({"bed", option.option.name(), 0, 0});
  return list;
}

std::vector<Figure> settled_figures(const pipeline::Run& run) {
  std::vector<Figure> list;
  for (const BedCost& bed : run.results.cost.beds) {
    if (bed.option != run.plan.chosen) continue;
    const double build = bed.build.units();
    list.push_back({"cost to build, " + run.prices.currency, short_number(build, 2), build, -1});
  }
  if (const PressedState* pressed = run.results.mechanics.at_full_stroke()) {
    Microstrain strain;
    Mm deflection;
    for (const Microstrain each : pressed->surface_strain) strain = std::max(strain, each);
    for (const Mm each : pressed->deflection) deflection = std::max(deflection, Mm{std::abs(each.v)});
    list.push_back({"largest surface strain, microstrain", short_number(strain.v, 0), strain.v, -1});
    list.push_back({"largest deflection, mm", short_number(deflection.v, 3), deflection.v, -1});
  }
  return list;
}

std::vector<ProbePlace> places_of(const LivePlan& plan) {
  const pipeline::Run& run = plan.run;
  const Access& access = plan.judging->access();
  std::vector<ProbePlace> list;
  for (const PlacedProbe& probe : chosen_option(plan).probes) {
    const Target& target = access.targets[probe.target];
    const Spot& spot = access.spots[probe.spot];
    std::string place = run.board.features[target.feature].name + " (" + to_string(target.side) + ", " +
                        run.catalogue.classes[probe.probe_class].name;
    if (spot.kind != AimKind::centre) place += std::string(", ") + to_string(spot.kind);
    list.push_back({run.board.nets[run.needs[probe.need].net].name, place + ")", probe.target});
  }
  return list;
}

namespace {
const char* what_happened(const ProbePlace* from, const ProbePlace* to) {
  if (from && to) return "moves";
  return from ? "loses a probe" : "gains a probe";
}
}  // namespace

Json moves(const std::vector<ProbePlace>& before, const std::vector<ProbePlace>& now) {
  struct Change {
    std::vector<const ProbePlace*> gone, come;
  };
  std::map<NetName, Change> by_net;
  std::multimap<std::pair<NetName, std::string>, const ProbePlace*> old;
  for (const ProbePlace& probe : before) old.emplace(std::pair(probe.net, probe.place), &probe);
  for (const ProbePlace& probe : now) {
    if (const auto same = old.find({probe.net, probe.place}); same != old.end())
      old.erase(same);
    else
      by_net[probe.net].come.push_back(&probe);
  }
  for (const auto& [key, probe] : old) by_net[probe->net].gone.push_back(probe);
  Json rows = Json::array(), targets = Json::array();
  for (const auto& [net, change] : by_net)
    for (std::size_t i = 0; i < std::max(change.gone.size(), change.come.size()); ++i) {
      const ProbePlace* const from = i < change.gone.size() ? change.gone[i] : nullptr;
      const ProbePlace* const to = i < change.come.size() ? change.come[i] : nullptr;
      rows.push_back({{"net", net.text()},
                      {"what", what_happened(from, to)},
                      {"from", from ? from->place : ""},
                      {"to", to ? to->place : ""}});
      if (from && from->target) targets.push_back(from->target.number());
      if (to) targets.push_back(to->target.number());
    }
  return {{"rows", std::move(rows)}, {"targets", std::move(targets)}};
}

std::string written(const Json& value) {
  return value.dump(-1, ' ', false, Json::error_handler_t::replace);
}

std::vector<std::string> errors_of(const Diagnostics& diagnostics) {
  std::vector<std::string> list;
  for (const Finding& finding : diagnostics.all())
    if (finding.severity == Severity::error) list.push_back(to_string(finding));
  return list;
}

namespace {
std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  for (std::size_t from = 0; from < text.size();) {
    const std::size_t end = std::min(text.find('\n', from), text.size());
    lines.push_back(text.substr(from, end - from));
    from = end + 1;
  }
  return lines;
}
}  // namespace

std::vector<std::string> changed_lines(const std::string& before, const std::string& after) {
  const auto old_lines = lines_of(before), new_lines = lines_of(after);
  const std::size_t shorter = std::min(old_lines.size(), new_lines.size());
  std::size_t head = 0, tail = 0;
  while (head < shorter && old_lines[head] == new_lines[head]) ++head;
  while (tail < shorter - head && old_lines[old_lines.size() - 1 - tail] == new_lines[new_lines.size() - 1 - tail])
    ++tail;
  // What lies between is compared by its longest common subsequence. The table of lengths is quadratic, which edits of
  // a job file can afford.
  const std::size_t old_count = old_lines.size() - head - tail, new_count = new_lines.size() - head - tail;
  constexpr std::size_t kMost = 4000;
  if (old_count > kMost || new_count > kMost)
    return {std::to_string(old_count) + " lines are replaced by " + std::to_string(new_count)};
  std::vector<std::vector<std::uint16_t>> common(old_count + 1, std::vector<std::uint16_t>(new_count + 1));
  for (std::size_t i = old_count; i-- > 0;)
    for (std::size_t j = new_count; j-- > 0;)
      common[i][j] = old_lines[head + i] == new_lines[head + j] ? static_cast<std::uint16_t>(common[i + 1][j + 1] + 1)
                                                                : std::max(common[i + 1][j], common[i][j + 1]);
  std::vector<std::string> changes;
  for (std::size_t i = 0, j = 0; i < old_count || j < new_count;) {
    if (i < old_count && j < new_count && old_lines[head + i] == new_lines[head + j]) {
      ++i;
      ++j;
    } else if (i < old_count && (j == new_count || common[i + 1][j] >= common[i][j + 1])) {
      changes.push_back("- " + std::to_string(head + i + 1) + ": " + old_lines[head + i]);
      ++i;
    } else {
      changes.push_back("+ " + std::to_string(head + j + 1) + ": " + new_lines[head + j]);
      ++j;
    }
  }
  return changes;
}

}  // namespace teasel::view
