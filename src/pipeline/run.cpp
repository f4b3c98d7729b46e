#include "teasel/pipeline/run.h"

#include <algorithm>
#include <filesystem>

#include "teasel/job/shipped.h"
#include "teasel/parallel.h"
#include "teasel/pipeline/files.h"
#include "teasel/version.h"

namespace teasel::pipeline {

namespace fs = std::filesystem;

namespace {
/// A shipped file by name, or a file beside the job.
template <class T>
T shop_file(const char* kind, const std::string& name, const fs::path& base, Run& run,
            const std::function<T(std::string_view, const std::string&, Diagnostics&)>& read) {
  if (auto text = shipped(kind, name)) {
    run.inputs.push_back({std::string(kind) + "/" + name + " (shipped)", sha256(*text)});
    return read(*text, std::string(kind) + "/" + name + ".toml", run.diagnostics);
  }
  if (std::error_code none; !fs::exists(base / name, none)) {
    std::string names;
    for (const std::string& n : shipped_names(kind)) names += (names.empty() ? "" : ", ") + n;
    run.diagnostics.error(
        {.code = "shop-file-not-found",
         .at = {run.job.file, 0, 0, "fixture"},
         .message = std::string("neither a shipped name nor a file beside the job: one of the ") + kind,
         .found = name,
         .expected = names + ", or a TOML file",
         .remedy = "correct the name; paths are relative to the job file"});
    return {};
  }
  auto text = read_file(base / name, name, run.diagnostics);
  if (!text) return {};
  run.inputs.push_back({name, sha256(*text)});
  return read(*text, name, run.diagnostics);
}

void read_kit_files(Run& run, const fs::path& base) {
  run.kit = shop_file<Kit>("kits", run.job.fixture.kit, base, run, read_kit);
  if (run.diagnostics.failed() || run.kit->block_file.empty()) return;
  const std::string& name = run.kit->block_file;
  if (auto text = shipped("kits", name); text && shipped("kits", run.job.fixture.kit)) {
    run.inputs.push_back({"kits/" + name + " (shipped)", sha256(*text)});
    run.kit->block = read_interface_block(*text, "kits/" + name, run.diagnostics);
    return;
  }
  const fs::path beside = fs::path(run.job.fixture.kit).parent_path() / name;
  if (auto text = read_file(base / beside, beside.generic_string(), run.diagnostics)) {
    run.inputs.push_back({beside.generic_string(), sha256(*text)});
    run.kit->block = read_interface_block(*text, beside.generic_string(), run.diagnostics);
  }
}

struct Task {
  std::string file;
  std::function<void(const std::string& bytes, Diagnostics& d)> read;
  std::string bytes;
  Diagnostics diagnostics;
};

/// The line of the job that names a file; 0: none does, as it is written.
std::uint32_t line_naming(std::string_view text, const std::string& file) {
  std::uint32_t line = 0;
  for (std::size_t from = 0; from < text.size();) {
    const std::size_t end = std::min(text.find('\n', from), text.size());
    const std::string_view one = text.substr(from, end - from);
    ++line;
    from = end + 1;
    const std::size_t first = one.find_first_not_of(" \t");
    if (first == std::string_view::npos || one[first] == '#') continue;
    if (one.find('"' + file + '"') != std::string_view::npos || one.find("'" + file + "'") != std::string_view::npos)
      return line;
  }
  return 0;
}

void read_sources(Run& run, const fs::path& base, std::string_view text) {
  Job& job = run.job;
  Sources& s = run.sources;
  std::vector<Task> tasks;
  auto add = [&](const std::string& file, std::function<void(const std::string&, Diagnostics&)> read) {
    tasks.push_back({file, std::move(read), {}, {}});
  };
  s.gerbers.resize(job.inputs.gerbers.size());
  s.drills.resize(job.inputs.drills.size());
  s.placements.resize(job.inputs.placement_files.size());
  for (std::size_t i = 0; i < job.inputs.gerbers.size(); ++i) {
    const LayerRole role = job.inputs.gerbers[i].role;
    const bool outline = job.inputs.gerbers[i].file == job.inputs.outline_file;
    if (role == LayerRole::ignore || role == LayerRole::silk_top || role == LayerRole::silk_bottom ||
        (role == LayerRole::drawing && !outline))
      continue;
    add(job.inputs.gerbers[i].file, [&s, &job, i](const std::string& b, Diagnostics& d) {
      std::optional<formats::GerberUnit> unit;
      if (!job.inputs.gerbers[i].unit.empty())
        unit = job.inputs.gerbers[i].unit == "mm" ? formats::GerberUnit::mm : formats::GerberUnit::inch;
      s.gerbers[i] = formats::read_gerber(b, job.inputs.gerbers[i].file, d, unit);
    });
  }
  for (std::size_t i = 0; i < job.inputs.drills.size(); ++i)
    add(job.inputs.drills[i].file, [&s, &job, i](const std::string& b, Diagnostics& d) {
      Diagnostics own;
      s.drills[i] = formats::read_drill(b, job.inputs.drills[i].file, own);
      for (const Finding& f : own.all())
        // A diameter that the job supplies is not missing.
        if (!(f.code == "drill-no-diameter" && !job.inputs.drills[i].tools.empty())) d.add(f);
    });
  for (std::size_t i = 0; i < job.inputs.placement_files.size(); ++i)
    add(job.inputs.placement_files[i], [&s, &job, i](const std::string& b, Diagnostics& d) {
      s.placements[i] = formats::read_placement(b, job.inputs.placement_files[i], d);
    });
  if (!job.inputs.netlist_file.empty())
    add(job.inputs.netlist_file, [&s, &job](const std::string& b, Diagnostics& d) {
      std::optional<formats::NetlistUnit> unit;
      if (!job.inputs.netlist_unit.empty())
        unit = job.inputs.netlist_unit == "0.001 mm" ? formats::NetlistUnit::mm_001 : formats::NetlistUnit::inch_0001;
      s.netlist = formats::read_netlist(b, job.inputs.netlist_file, unit, d);
    });
  if (!job.inputs.cad_file.empty())
    add(job.inputs.cad_file, [&s, &job](const std::string& b, Diagnostics& d) {
      if (formats::looks_like_ipc2581(b))
        s.cad = formats::read_ipc2581(b, job.inputs.cad_file, {job.inputs.cad_step, job.inputs.cad_variant}, d);
      else
        d.error({.code = "ipc2581-root",
                 .at = {job.inputs.cad_file, 1, 0, {}},
                 .message = "the file is not IPC-2581",
                 .expected = "an XML file whose root is IPC-2581",
                 .remedy = "name the right file"});
    });
  if (!job.inputs.bom_file.empty())
    add(job.inputs.bom_file,
        [&s, &job](const std::string& b, Diagnostics& d) { s.bom = formats::read_bom(b, job.inputs.bom_file, d); });
  s.bsdl.resize(job.inputs.bsdl.size());
  for (std::size_t i = 0; i < job.inputs.bsdl.size(); ++i)
    add(job.inputs.bsdl[i].file, [&s, &job, i](const std::string& b, Diagnostics& d) {
      s.bsdl[i] = formats::read_bsdl(b, job.inputs.bsdl[i].file, d);
    });
  std::string idf_board, idf_library;
  if (!job.inputs.idf_board.empty())
    add(job.inputs.idf_board, [&idf_board](const std::string& b, Diagnostics&) { idf_board = b; });
  if (!job.inputs.idf_library.empty())
    add(job.inputs.idf_library, [&idf_library](const std::string& b, Diagnostics&) { idf_library = b; });
  if (!job.inputs.heights_file.empty())
    add(job.inputs.heights_file, [&s, &job](const std::string& b, Diagnostics& d) {
      s.heights = formats::read_heights(b, job.inputs.heights_file, d);
    });
  if (!job.inputs.pads_file.empty() && job.inputs.netlist_file.empty())
    add(job.inputs.pads_file, [&s, &job](const std::string& b, Diagnostics& d) {
      s.pads = formats::read_pad_list(b, job.inputs.pads_file, d);
    });
  if (!job.inputs.references_file.empty())
    add(job.inputs.references_file, [&s, &job](const std::string& b, Diagnostics& d) {
      s.references = formats::read_references(b, job.inputs.references_file, d);
    });
  if (!job.inputs.continuity_file.empty())
    add(job.inputs.continuity_file, [&s, &job](const std::string& b, Diagnostics& d) {
      s.continuity = formats::read_continuity(b, job.inputs.continuity_file, d);
    });
  std::vector<std::string> hashes(tasks.size());
  parallel_for(
      tasks.size(),
      [&](std::size_t i) {
        Task& t = tasks[i];
        if (auto bytes =
                read_file(base / t.file, t.file, t.diagnostics, {job.file, line_naming(text, t.file), 0, {}})) {
          hashes[i] = sha256(*bytes);
          t.read(*bytes, t.diagnostics);
        }
      },
      1);
  for (std::size_t i = 0; i < tasks.size(); ++i) {
    run.diagnostics.merge(tasks[i].diagnostics);
    run.inputs.push_back({tasks[i].file, hashes[i]});
  }
  if (!job.inputs.idf_board.empty() && !run.diagnostics.failed())
    s.idf = formats::read_idf(idf_board, job.inputs.idf_board, idf_library, job.inputs.idf_library, run.diagnostics);
}

void keep_classes(Run& run) {
  if (run.job.fixture.classes.empty()) return;
  std::vector<ProbeClass>& list = run.catalogue.classes.rows();
  for (const auto& name : run.job.fixture.classes)
    if (std::none_of(list.begin(), list.end(), [&](const ProbeClass& c) { return c.name == name; }))
      run.diagnostics.error({.code = "job-unknown-class",
                             .at = {run.job.file, 0, 0, "fixture.classes"},
                             .message = "the catalogue has no class of this name",
                             .found = name,
                             .remedy = "use names of the catalogue"});
  list.erase(std::remove_if(list.begin(), list.end(),
                            [&](const ProbeClass& c) {
                              return std::find(run.job.fixture.classes.begin(), run.job.fixture.classes.end(),
                                               c.name) == run.job.fixture.classes.end();
                            }),
             list.end());
}

std::string identity(const Run& run) {
  std::string text = kVersion;
  for (const auto& i : run.inputs) text += "\n" + i.file + " " + i.sha256;
  const OptionResult& r = run.plan.options[run.plan.chosen];
  for (const auto& p : r.probes)
    text += "\n" + p.name + " " + std::to_string(p.spot.number()) + " " + std::to_string(p.probe_class.number());
  return sha256(text).substr(0, 10);
}
}  // namespace

Outcome Run::outcome(const Access& verdicts) const {
  return {job,    board,       catalogue,   rules,        interface_table, interfaces, scan,    probes_saved,
          needs,  verdicts,    plan,        coverage,     audit,           advice,     style,   kit ? &*kit : nullptr,
          plates, set_heights, wiring,      wiring_faces, prices,          cost,       proving, mechanics,
          respin, bed,         sensitivity, diagnostics,  inputs,          plan_id};
}

void load(Run& run, const std::string& job_file, const Stage& stage) {
  stage("reading", 0.0);
  if (std::error_code none; fs::is_directory(job_file, none)) {
    run.diagnostics.error({.code = "job-is-folder",
                           .at = {job_file, 0, 0, {}},
                           .message = "a job file is expected, this is a folder",
                           .remedy = "teasel start FOLDER writes a first job file"});
    return;
  }
  if (const auto text = read_file(job_file, job_file, run.diagnostics)) load_text(run, *text, job_file, stage);
}

void load_text(Run& run, const std::string& text, const std::string& job_file, const Stage& stage) {
  const fs::path path(job_file), base = path.parent_path();
  run.job = read_job(text, job_file, run.diagnostics);
  if (run.diagnostics.failed()) return;
  if (run.job.name.empty()) run.job.name = path.stem().string();
  run.inputs.push_back({path.filename().string(), sha256(text)});
  run.catalogue = shop_file<Catalogue>("catalogues", run.job.fixture.catalogue, base, run, read_catalogue);
  run.rules = shop_file<Rules>("rules", run.job.fixture.rules, base, run,
                               [&](std::string_view rules, const std::string& file, Diagnostics& d) {
                                 return read_rules(rules, file, d, text, job_file);
                               });
  for (const std::string& change : run.job.fixture.rule_changes)
    run.diagnostics.note({.code = "rule-changed",
                          .at = {job_file, 0, 0, "rule_changes"},
                          .message = "the job sets a rule itself",
                          .found = change});
  run.interface_table = shop_file<InterfaceTable>("interfaces", run.job.fixture.interfaces, base, run, read_interfaces);
  run.style = shop_file<Style>("styles", run.job.fixture.style, base, run, read_style);
  run.prices = shop_file<Prices>("prices", run.job.fixture.prices, base, run, read_prices);
  if (!run.job.fixture.kit.empty()) read_kit_files(run, base);
  run.job.one_bed = run.kit && !run.kit->upper_bed;
  // The style's plates say how far the probe plate stands at work: every check of access follows it.
  for (const StylePlate& p : run.style.plates)
    if (p.kind == PlateKind::probe && p.lower) run.rules.plate_distance = p.at_work;
  run.rules.pocket_clearance = std::max(run.rules.pocket_clearance, Mm{run.style.cutter.v / 2});
  keep_classes(run);
  if (!run.diagnostics.failed()) check_together(run.job, run.catalogue, run.rules, run.diagnostics);
  if (run.diagnostics.failed()) return;
  read_sources(run, base, text);
  if (run.diagnostics.failed()) return;
  unfold(run.job, run.sources, run.diagnostics);
  if (!run.diagnostics.failed()) assemble_board(run, stage);
}

std::optional<std::string> shop_text(const char* kind, const std::string& name, const std::string& job_file) {
  if (const auto text = shipped(kind, name)) return std::string(*text);
  Diagnostics ignored;
  return read_file(fs::path(job_file).parent_path() / name, name, ignored);
}

void assemble_board(Run& run, const Stage& stage) {
  stage("assembling the board", 0.25);
  run.board = assemble(run.job, run.rules, run.sources, run.diagnostics);
}

void understand(Run& run) {
  run.interfaces = recognise_interfaces(run.board, run.job, run.interface_table, run.diagnostics);
  run.scan = bind_boundary_scan(run.board, run.job, run.sources, run.interface_table, run.interfaces, run.diagnostics);
  run.needs = needs_of(run.board, run.job, run.interface_table, run.interfaces, run.diagnostics);
  if (run.job.wants.scan_saves_probes) run.probes_saved = save_probes(run.needs, run.board, run.scan, run.diagnostics);
  panelize(run.board, run.job, run.rules, run.sources, run.diagnostics);
  if (run.diagnostics.failed()) return;
  run.needs = needs_in_panel(run.needs, run.board);
}

void judge_targets(Run& run, const Stage& stage) {
  stage("judging targets", 0.5);
  run.access = judge(run.board, run.job, run.catalogue, run.rules);
  check_waivers(run.access, run.job, run.diagnostics);
  check_bans(run.board, run.job, run.diagnostics);
}

void prepare(Run& run, const Stage& stage) {
  understand(run);
  if (!run.diagnostics.failed()) judge_targets(run, stage);
}

void plan_probes(Run& run, const PlanLimits& limits, const Stage& stage) {
  stage("planning", 0.65);
  run.plan = plan(run.board, run.access, run.needs, run.job, run.catalogue, run.rules, limits, run.diagnostics);
}

void work(Run& run, const PlanLimits& limits, const Stage& stage) {
  prepare(run, stage);
  if (!run.diagnostics.failed()) plan_probes(run, limits, stage);
  if (!run.diagnostics.failed()) finish(run, limits, stage);
}

void finish(Run& run, const PlanLimits& limits, const Stage& stage) {
  stage("coverage", 0.89);
  run.coverage = audit(run.board, run.access, run.needs, run.plan, run.job, run.catalogue, run.rules);
  stage("bending", 0.9);
  const OptionResult& option = run.plan.options[run.plan.chosen];
  const BedInputs planned{run.board, run.access,    run.needs, option,
                          run.job,   run.catalogue, run.rules, run.kit ? &*run.kit : nullptr,
                          run.style};
  run.mechanics = work_out_mechanics(planned, run.diagnostics);
  drop_probes(run.coverage, run.needs, option, reasons_of_lost(run.mechanics, planned));
  run.audit = audit_reach(run.board, run.access, run.needs, run.plan, run.coverage, run.interfaces, run.interface_table,
                          run.scan, run.job, run.catalogue);
  stage("advice", 0.92);
  if (run.job.effort.advice)
    run.advice =
        advise(run.board, run.access, run.needs, run.plan, run.coverage, run.scan, run.job, run.catalogue, run.rules);
  std::vector<BedProbe> probes;
  for (const PlacedProbe& p : option.probes) probes.push_back({p.spot, p.probe_class});
  run.bed = simulate_bed(run.board, run.access, run.catalogue, run.rules, option.option.main, probes,
                         run.job.effort.simulated_fixtures, run.job.effort.simulated_boards, run.job.effort.seed,
                         limits.stop);
  run.sensitivity = sensitivity(run.board, run.access, run.catalogue, run.rules, option.option.main, probes);
  stage("plates and costs", 0.94);
  const BuildInputs build{planned, run.coverage, run.mechanics.supports};
  check_kit(build, run.diagnostics);
  run.plates = make_plates(build, run.diagnostics);
  if (run.mechanics.not_held)
    for (Plate& p : run.plates) p.drafts.push_back("the board is not held: " + run.mechanics.why_not);
  add_pockets(run.coverage.measure_first, build, run.plates);
  run.set_heights = set_heights(build, run.diagnostics);
  run.wiring = make_wiring(build, run.diagnostics);
  run.wiring_faces = wiring_faces(build);
  run.proving = make_proving(build, run.plates, run.wiring);
  run.cost = compare_costs(build, run.plan, run.plates, run.wiring, run.prices);
  run.plan_id = identity(run);
  run.built = fixture_file(build, run.plates, run.wiring, run.mechanics, run.proving, run.earlier, run.plan_id);
}

BenchOdds bench_odds(const Run& run) {
  BenchOdds odds;
  Board exact = run.board;
  for (Exposure& exposure : exact.exposures) exposure.place_sigma = {};
  const Access with = judge(run.board, run.job, run.catalogue, run.rules),
               without = judge(exact, run.job, run.catalogue, run.rules);
  auto best = [&](const Access& access, TargetId target) {
    std::optional<Chance> miss;
    for (const ClassId probe_class : run.catalogue.classes.ids())
      if (const Verdict& verdict = access.best_verdict(target, probe_class, true); verdict.open)
        if (!miss || verdict.miss < *miss) miss = verdict.miss;
    return miss;
  };
  for (const TargetId target : with.targets.ids()) {
    const std::optional<Chance> measured = best(with, target), if_exact = best(without, target);
    odds.lost += !measured && if_exact;
    if (!measured) continue;
    ++odds.pads;
    if (odds.worst_pad.empty() || *measured > odds.worst_with) {
      const Feature& feature = run.board.features[with.targets[target].feature];
      odds.worst_pad = feature.name;
      odds.worst_sigma = feature.place_sigma;
      odds.worst_with = *measured;
      odds.worst_without = if_exact.value_or(Chance{2});
    }
  }
  return odds;
}

void cover(Run& run, const Access& verdicts) {
  run.coverage = audit(run.board, verdicts, run.needs, run.plan, run.job, run.catalogue, run.rules);
  run.audit = audit_reach(run.board, verdicts, run.needs, run.plan, run.coverage, run.interfaces, run.interface_table,
                          run.scan, run.job, run.catalogue);
  run.plan_id = identity(run);
}

}  // namespace teasel::pipeline
