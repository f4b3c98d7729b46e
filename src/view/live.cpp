#include "live.h"

#include <algorithm>
#include <map>
#include <nlohmann/json.hpp>

#include "teasel/pipeline/files.h"
#include "teasel/units.h"

namespace teasel::view {

namespace {
constexpr double kQuickSeconds = 5;  // of planning after a quick edit

std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}
const OptionResult& chosen(const Planned& p) {
  return p.run.plan.options[p.run.plan.chosen];
}

void plan_quickly(Planned& p, Diagnostics& d) {
  PlanLimits limits;
  limits.seconds = std::min(kQuickSeconds, p.run.job.time_limit);
  limits.explain = false;
  limits.quick = true;
  PlanResult plan = p.planner->plan({}, limits, d);
  if (!d.failed()) p.run.plan = std::move(plan);
}

/// Verdicts on everything that can ever be open, then on what the job keeps out; so the planner knows of both.
void judge_and_plan(Planned& p, const pipeline::Stage& stage, Diagnostics& d) {
  pipeline::Run& run = p.run;
  std::vector<KeepOut> keep_outs;
  std::vector<Ban> bans;
  if (!p.judging) {
    stage("judging targets", 0.4);
    keep_outs.swap(run.job.keep_outs);
    bans.swap(run.job.bans);
    p.judging = std::make_unique<Judging>(run.board, run.job, run.catalogue, run.rules);
    stage("planning", 0.8);
    p.planner = std::make_unique<Planner>(run.board, p.judging->access(), run.needs, run.job, run.catalogue, run.rules);
    keep_outs.swap(run.job.keep_outs);
    bans.swap(run.job.bans);
    p.planner->follow(p.judging->follow());
  } else {
    stage("planning", 0.6);
    p.planner = std::make_unique<Planner>(run.board, p.judging->access(), run.needs, run.job, run.catalogue, run.rules);
  }
  check_waivers(p.judging->access(), run.job, d);
  if (!d.failed()) plan_quickly(p, d);
}

/// What each key of the job file reaches; all others reach everything.
const std::map<std::string, Reach> kReach = {{"lock", Reach::quick},     {"ban", Reach::quick},
                                             {"keep_out", Reach::quick}, {"waiver", Reach::quick},
                                             {"need", Reach::needs},     {"gate", Reach::needs}};

void take_lists(Job& into, const Job& from) {
  into.locks = from.locks;
  into.bans = from.bans;
  into.keep_outs = from.keep_outs;
  into.waivers = from.waivers;
}
}  // namespace

std::unique_ptr<Planned> plan_text(const std::string& text, const std::string& job_file, bool mechanics,
                                   const pipeline::Stage& stage, Diagnostics& d) {
  auto p = std::make_unique<Planned>();
  pipeline::Run& run = p->run;
  pipeline::load_text(run, text, job_file, stage);
  p->loaded = run.diagnostics;
  run.job.mechanics = run.job.mechanics && mechanics;
  if (!run.diagnostics.failed()) pipeline::understand(run);
  p->understood = run.diagnostics;
  if (!run.diagnostics.failed()) judge_and_plan(*p, stage, run.diagnostics);
  d = run.diagnostics;
  return d.failed() ? nullptr : std::move(p);
}

bool follow_needs(Planned& p, const std::string& before, const std::string& after, const pipeline::Stage& stage,
                  Diagnostics& d) {
  pipeline::Run& run = p.run;
  auto take = [&](const std::string& text) {
    run.diagnostics = p.loaded;
    const Job job = read_job(text, run.job.file, run.diagnostics);
    if (!run.diagnostics.failed()) {
      take_lists(run.job, job);
      run.job.needs = job.needs;
      run.job.gate = job.gate;
      check_together(run.job, run.catalogue, run.rules, run.diagnostics);
    }
    if (!run.diagnostics.failed()) pipeline::understand(run);
    p.understood = run.diagnostics;
    run.inputs[0].sha256 = pipeline::sha256(text);
    p.touched = p.judging->follow();
    if (!run.diagnostics.failed()) judge_and_plan(p, stage, run.diagnostics);
    return !run.diagnostics.failed();
  };
  if (take(after)) {
    d = run.diagnostics;
    return true;
  }
  d = run.diagnostics;
  take(before);
  return false;
}

Reach reach_of(const std::string& before, const std::string& after, const Planned& planned) {
  const Json a = Json::parse(toml_as_json(before), nullptr, false),
             b = Json::parse(toml_as_json(after), nullptr, false);
  if (!a.is_object() || !b.is_object()) return Reach::everything;
  Reach reach = Reach::nothing;
  auto look = [&](const Json& x, const Json& y) {
    for (const auto& [key, value] : x.items()) {
      if (y.contains(key) && y[key] == value) continue;
      const auto known = kReach.find(key);
      reach = std::max(reach, known == kReach.end() ? Reach::everything : known->second);
      // On a panel keep-outs are copied and needs are spread while the board is put together.
      if (!planned.run.board.places.empty() && (key == "keep_out" || reach == Reach::needs)) reach = Reach::everything;
    }
  };
  look(a, b);
  look(b, a);
  return reach;
}

bool follow(Planned& p, const std::string& after, Diagnostics& d) {
  pipeline::Run& run = p.run;
  const Job job = read_job(after, run.job.file, d);
  if (d.failed()) return false;
  Job was;
  take_lists(was, run.job);
  auto put = [&](const Job& from) {
    auto laid = run.job.keep_outs;
    take_lists(run.job, from);
    if (!run.board.places.empty())
      run.job.keep_outs = std::move(laid);  // they are in the panel's frame, and have not changed
  };
  auto judge_anew = [&] {
    p.touched = p.judging->follow();
    p.planner->follow(p.touched);
  };
  put(job);
  check_together(run.job, run.catalogue, run.rules, d);
  if (d.failed()) {
    put(was);
    return false;
  }
  judge_anew();
  Diagnostics found = p.understood;
  check_waivers(p.judging->access(), run.job, found);
  if (!found.failed()) plan_quickly(p, found);
  if (found.failed()) {
    put(was);
    judge_anew();
    d = found;
    return false;
  }
  run.diagnostics = std::move(found);
  run.inputs[0].sha256 = pipeline::sha256(after);
  return true;
}

std::vector<Figure> figures(const Planned& p) {
  const OptionResult& r = chosen(p);
  int unmet = 0, nets = 0, missing = 0;
  for (std::size_t i = 0; i < p.run.needs.size(); ++i) {
    const Need& n = p.run.needs[i];
    if (n.wanted <= 0) continue;
    ++nets;
    unmet += r.got[i] == 0;
    missing += n.mandatory && r.got[i] < n.wanted;
  }
  const double force = sum_of_forces(p.judging->access(), p.run.catalogue, p.run.rules, r).v;
  std::vector<Figure> out;
  const int met = nets_met(p.run.needs, r);
  out.push_back(
      {"nets served in full", std::to_string(met) + " of " + std::to_string(nets), static_cast<double>(met), 1});
  out.push_back({"nets without any probe", std::to_string(unmet), static_cast<double>(unmet), -1});
  out.push_back({"mandatory nets not reached as wanted", std::to_string(missing), static_cast<double>(missing), -1});
  out.push_back({"probes", std::to_string(r.probes.size()), static_cast<double>(r.probes.size()), 0});
  out.push_back({"sum of working forces, N", short_number(force, 1), force, -1});
  out.push_back({"good boards rejected, of a thousand", short_number(r.false_rejects, 3), r.false_rejects, -1});
  out.push_back({"beds, probes and holes, money units", short_number(static_cast<double>(r.cost.to_build()) / 100, 2),
                 static_cast<double>(r.cost.to_build()), -1});
  out.push_back({"bed", r.option.name(), 0, 0});
  return out;
}

std::vector<Figure> settled_figures(const pipeline::Run& run) {
  std::vector<Figure> out;
  for (const BedCost& b : run.cost.beds)
    if (b.option == run.plan.chosen)
      out.push_back({"to build, " + run.prices.currency, short_number(static_cast<double>(b.build) / 100, 2),
                     static_cast<double>(b.build), -1});
  if (const PressedState* s = run.mechanics.at_full_stroke()) {
    double strain = 0, down = 0;
    for (const double v : s->surface_strain) strain = std::max(strain, v);
    for (const double v : s->deflection) down = std::max(down, std::abs(v));
    out.push_back({"largest surface strain, microstrain", short_number(strain * 1e6, 0), strain, -1});
    out.push_back({"largest deflection, mm", short_number(down, 3), down, -1});
  }
  return out;
}

std::vector<ProbePlace> places_of(const Planned& p) {
  const pipeline::Run& run = p.run;
  std::vector<ProbePlace> out;
  for (const PlacedProbe& q : chosen(p).probes) {
    const Target& t = p.judging->access().targets[at(q.target)];
    const Spot& spot = p.judging->access().spots[at(q.spot)];
    std::string place = run.board.features[at(t.feature)].name + " (" + to_string(t.side) + ", " +
                        run.catalogue.classes[at(q.probe_class)].name;
    if (spot.kind != AimKind::centre) place += std::string(", ") + to_string(spot.kind);
    out.push_back({run.board.nets[at(run.needs[at(q.need)].net)].name, place + ")", q.target});
  }
  return out;
}

Json moves(const std::vector<ProbePlace>& before, const std::vector<ProbePlace>& now) {
  std::map<std::string, std::pair<std::vector<const ProbePlace*>, std::vector<const ProbePlace*>>> by_net;
  std::multimap<std::pair<std::string, std::string>, const ProbePlace*> old;
  for (const ProbePlace& p : before) old.emplace(std::pair(p.net, p.place), &p);
  for (const ProbePlace& p : now) {
    if (const auto same = old.find({p.net, p.place}); same != old.end())
      old.erase(same);
    else
      by_net[p.net].second.push_back(&p);
  }
  for (const auto& [key, p] : old) by_net[p->net].first.push_back(p);
  Json rows = Json::array(), targets = Json::array();
  for (const auto& [net, lists] : by_net) {
    const auto& [gone, come] = lists;
    for (std::size_t i = 0; i < std::max(gone.size(), come.size()); ++i) {
      const bool from = i < gone.size(), to = i < come.size();
      rows.push_back({{"net", net},
                      {"what", from && to ? "moves"
                               : from     ? "is lost"
                                          : "is new"},
                      {"from", from ? gone[i]->place : ""},
                      {"to", to ? come[i]->place : ""}});
      if (from && gone[i]->target >= 0) targets.push_back(gone[i]->target);
      if (to) targets.push_back(come[i]->target);
    }
  }
  return {{"rows", std::move(rows)}, {"targets", std::move(targets)}};
}

std::string written(const Json& j) {
  return j.dump(-1, ' ', false, Json::error_handler_t::replace);
}

std::vector<std::string> errors_of(const Diagnostics& d) {
  std::vector<std::string> out;
  for (const Finding& f : d.all())
    if (f.severity == Severity::error) out.push_back(to_string(f));
  return out;
}

std::vector<std::string> changed_lines(const std::string& before, const std::string& after) {
  auto lines = [](const std::string& t) {
    std::vector<std::string> out;
    for (std::size_t i = 0; i < t.size();) {
      const std::size_t n = std::min(t.find('\n', i), t.size());
      out.push_back(t.substr(i, n - i));
      i = n + 1;
    }
    return out;
  };
  const auto a = lines(before), b = lines(after);
  std::size_t head = 0, tail = 0;
  while (head < std::min(a.size(), b.size()) && a[head] == b[head]) ++head;
  while (tail < std::min(a.size(), b.size()) - head && a[a.size() - 1 - tail] == b[b.size() - 1 - tail]) ++tail;
  // Longest common lines of what lies between; edits of a job file are short.
  const std::size_t n = a.size() - head - tail, m = b.size() - head - tail;
  std::vector<std::string> out;
  constexpr std::size_t kMost = 4000;
  if (n > kMost || m > kMost) return {std::to_string(n) + " lines replaced by " + std::to_string(m)};
  std::vector<std::vector<std::uint16_t>> common(n + 1, std::vector<std::uint16_t>(m + 1));
  for (std::size_t i = n; i-- > 0;)
    for (std::size_t j = m; j-- > 0;)
      common[i][j] = a[head + i] == b[head + j] ? static_cast<std::uint16_t>(common[i + 1][j + 1] + 1)
                                                : std::max(common[i + 1][j], common[i][j + 1]);
  for (std::size_t i = 0, j = 0; i < n || j < m;) {
    if (i < n && j < m && a[head + i] == b[head + j]) {
      ++i;
      ++j;
    } else if (i < n && (j == m || common[i + 1][j] >= common[i][j + 1])) {
      out.push_back("- " + std::to_string(head + i + 1) + ": " + a[head + i]);
      ++i;
    } else {
      out.push_back("+ " + std::to_string(head + j + 1) + ": " + b[head + j]);
      ++j;
    }
  }
  return out;
}

}  // namespace teasel::view
