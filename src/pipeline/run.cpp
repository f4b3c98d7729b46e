#include "teasel/pipeline/run.h"

#include <algorithm>
#include <filesystem>

#include "teasel/access/plates.h"
#include "teasel/fixture/gaps.h"
#include "teasel/formats/archive.h"
#include "teasel/formats/input_formats.h"
#include "teasel/job/shipped.h"
#include "teasel/parallel.h"
#include "teasel/pipeline/files.h"
#include "teasel/version.h"
#include "teasel/words.h"
#include "teasel/written.h"

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
  text = as_text(std::move(*text), name, run.diagnostics);
  return text ? read(*text, name, run.diagnostics) : T{};
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
    text = as_text(std::move(*text), beside.generic_string(), run.diagnostics);
    if (text) run.kit->block = read_interface_block(*text, beside.generic_string(), run.diagnostics);
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
    if (one.find(Toml::text(file).text()) != std::string_view::npos ||
        one.find("'" + file + "'") != std::string_view::npos)
      return line;
  }
  return 0;
}

constexpr std::size_t kMostObjects = 4'000'000;  // of all layer files

/// Reads every file that a job names, side by side.
class SourceReader {
 public:
  SourceReader(Run& run, const fs::path& base, std::string_view job_text)
      : run_(run), inputs_(run.job.inputs), sources_(run.sources), base_(base), job_text_(job_text) {}
  void run() {
    // In this order the inputs stand in every plan.
    layers();
    drills();
    placements();
    nets();
    parts();
    bench();
    read();
    if (!inputs_.idf_board.empty() && !run_.diagnostics.failed())
      sources_.idf =
          formats::read_idf(idf_board_, inputs_.idf_board, idf_library_, inputs_.idf_library, run_.diagnostics);
  }

 private:
  using Reads = std::function<void(const std::string& bytes, Diagnostics& diagnostics)>;
  /// Adds a task where the job names a file.
  void add(const std::string& file, Reads read) {
    if (!file.empty()) tasks_.push_back({file, std::move(read), {}, {}});
  }
  void layers();
  void drills();
  void placements();
  void nets();
  void parts();
  void bench();
  bool fits();
  void count_objects();
  void read();

  Run& run_;
  const JobInputs& inputs_;
  Sources& sources_;
  const fs::path& base_;
  std::string_view job_text_;
  std::string idf_board_, idf_library_;
  std::vector<Task> tasks_;
};

void SourceReader::layers() {
  sources_.gerbers.resize(inputs_.gerbers.size());
  for (std::size_t i = 0; i < inputs_.gerbers.size(); ++i) {
    const GerberInput& layer = inputs_.gerbers[i];
    const bool outline = layer.file == inputs_.outline_file;
    if (layer.role == LayerRole::ignore || layer.role == LayerRole::silk_top || layer.role == LayerRole::silk_bottom ||
        (layer.role == LayerRole::drawing && !outline))
      continue;
    add(layer.file, [this, &layer, i](const std::string& bytes, Diagnostics& diagnostics) {
      std::optional<formats::GerberUnit> unit;
      if (!layer.unit.empty()) unit = layer.unit == "mm" ? formats::GerberUnit::mm : formats::GerberUnit::inch;
      sources_.gerbers[i] = formats::read_gerber(bytes, layer.file, diagnostics, unit);
    });
  }
}

void SourceReader::drills() {
  sources_.drills.resize(inputs_.drills.size());
  for (std::size_t i = 0; i < inputs_.drills.size(); ++i)
    add(inputs_.drills[i].file, [this, i](const std::string& bytes, Diagnostics& diagnostics) {
      const DrillInput& drill = inputs_.drills[i];
      Diagnostics own;
      sources_.drills[i] = formats::read_drill(bytes, drill.file, own);
      for (const Finding& finding : own.all())
        // A diameter that the job supplies is not missing.
        if (!(finding.code == "drill-no-diameter" && !drill.tools.empty())) diagnostics.add(finding);
    });
}

void SourceReader::placements() {
  sources_.placements.resize(inputs_.placement_files.size());
  for (std::size_t i = 0; i < inputs_.placement_files.size(); ++i)
    add(inputs_.placement_files[i], [this, i](const std::string& bytes, Diagnostics& diagnostics) {
      sources_.placements[i] = formats::read_placement(bytes, inputs_.placement_files[i], diagnostics);
    });
}

void SourceReader::nets() {
  add(inputs_.netlist_file, [this](const std::string& bytes, Diagnostics& diagnostics) {
    std::optional<formats::NetlistUnit> unit;
    if (!inputs_.netlist_unit.empty())
      unit = inputs_.netlist_unit == "0.001 mm" ? formats::NetlistUnit::mm_001 : formats::NetlistUnit::inch_0001;
    sources_.netlist = formats::read_netlist(bytes, inputs_.netlist_file, unit, diagnostics);
  });
  add(inputs_.cad_file, [this](const std::string& bytes, Diagnostics& diagnostics) {
    if (formats::looks_like_ipc2581(bytes))
      sources_.cad =
          formats::read_ipc2581(bytes, inputs_.cad_file, {inputs_.cad_step, inputs_.cad_variant}, diagnostics);
    else
      diagnostics.error({.code = "ipc2581-root",
                         .at = {inputs_.cad_file, 1, 0, {}},
                         .message = "the file is not IPC-2581",
                         .expected = "an XML file whose root is IPC-2581",
                         .remedy = "name the right file"});
  });
}

void SourceReader::parts() {
  add(inputs_.bom_file, [this](const std::string& bytes, Diagnostics& diagnostics) {
    sources_.bom = formats::read_bom(bytes, inputs_.bom_file, diagnostics);
  });
  sources_.bsdl.resize(inputs_.bsdl.size());
  for (std::size_t i = 0; i < inputs_.bsdl.size(); ++i)
    add(inputs_.bsdl[i].file, [this, i](const std::string& bytes, Diagnostics& diagnostics) {
      sources_.bsdl[i] = formats::read_bsdl(bytes, inputs_.bsdl[i].file, diagnostics);
    });
  // The library and the board are read together, once both are there.
  add(inputs_.idf_board, [this](const std::string& bytes, Diagnostics&) { idf_board_ = bytes; });
  add(inputs_.idf_library, [this](const std::string& bytes, Diagnostics&) { idf_library_ = bytes; });
  for (const formats::InputFormat& format : formats::input_formats())
    if (format.read)
      add(inputs_.lone_file(format.job_key), [this, &format](const std::string& bytes, Diagnostics& diagnostics) {
        format.read(bytes, inputs_.lone_file(format.job_key), sources_.lone_tables, diagnostics);
      });
}

void SourceReader::bench() {
  if (inputs_.netlist_file.empty())
    add(inputs_.pads_file, [this](const std::string& bytes, Diagnostics& diagnostics) {
      sources_.pads = formats::read_pad_list(bytes, inputs_.pads_file, diagnostics);
    });
  add(inputs_.references_file, [this](const std::string& bytes, Diagnostics& diagnostics) {
    sources_.references = formats::read_references(bytes, inputs_.references_file, diagnostics);
  });
  add(inputs_.continuity_file, [this](const std::string& bytes, Diagnostics& diagnostics) {
    sources_.continuity = formats::read_continuity(bytes, inputs_.continuity_file, diagnostics);
  });
}

/// False, with an error, where the inputs are too large together.
bool SourceReader::fits() {
  std::uintmax_t all = 0;
  for (const Task& task : tasks_) {
    std::error_code none;
    if (const auto size = fs::file_size(base_ / task.file, none); !none) all += size;
  }
  if (all <= kMostInputs) return true;
  run_.diagnostics.error(
      {.code = "inputs-too-large",
       .at = {run_.job.file, 0, 0, "inputs"},
       .message = "the inputs are larger than 250 MB together",
       .found = std::to_string(all / 1'000'000) + " MB in " + std::to_string(tasks_.size()) + " files",
       .remedy = "name the files of one board only"});
  return false;
}

/// An error where the readers made more of the inputs than a board has.
void SourceReader::count_objects() {
  std::size_t objects = 0;
  for (const formats::GerberFile& layer : sources_.gerbers) objects += layer.objects.size();
  if (objects <= kMostObjects) return;
  run_.diagnostics.error({.code = "inputs-too-large",
                          .at = {run_.job.file, 0, 0, "inputs.gerber"},
                          .message = "the layer files hold more than 4 million objects together",
                          .found = std::to_string(objects) + " objects",
                          .remedy = "name the files of one board only"});
}

void SourceReader::read() {
  if (!fits()) return;
  std::vector<std::string> hashes(tasks_.size());
  parallel_for(
      tasks_.size(),
      [&](std::size_t i) {
        Task& task = tasks_[i];
        const Place named{run_.job.file, line_naming(job_text_, task.file), 0, {}};
        std::optional<std::string> bytes;
        if (const auto at_hand = run_.at_hand.find(task.file); at_hand != run_.at_hand.end())
          bytes = at_hand->second;
        else
          bytes = read_file(base_ / task.file, task.file, task.diagnostics, named);
        if (bytes) {
          hashes[i] = sha256(*bytes);
          if (holds_gap(*bytes))
            return task.diagnostics.error({.code = "file-gap",
                                           .at = {task.file, 0, 0, {}},
                                           .message = "the file holds a long run of NUL bytes: it is damaged",
                                           .remedy = "get it again"});
          // A workbook is no text.
          if (formats::is_zip(*bytes)) return task.read(*bytes, task.diagnostics);
          if (const auto text = as_text(*bytes, task.file, task.diagnostics)) task.read(*text, task.diagnostics);
        }
      },
      1);
  for (std::size_t i = 0; i < tasks_.size(); ++i) {
    run_.diagnostics.merge(tasks_[i].diagnostics);
    run_.inputs.push_back({tasks_[i].file, hashes[i]});
  }
  if (!run_.diagnostics.failed()) count_objects();
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

/// The style's plates say how far the probe plate stands at work, and its cutter how wide a pocket is at least: every
/// check of access follows them.
Rules combined(const Rules& rule_set, const Style& style) {
  Rules rules = rule_set;
  for (const StylePlate& plate : style.plates)
    if (plate.kind == PlateKind::probe && plate.lower) rules.plate_distance = plate.at_work;
  rules.pocket_clearance = std::max(rules.pocket_clearance, style.cutter / 2);
  if (style.hole_error.v > rules.errors.plate_drilling.value) {
    rules.errors.plate_drilling.value = style.hole_error.v;
    rules.errors.plate_drilling.mark = "memory";
  }
  return rules;
}

std::string identity(const Run& run) {
  std::string text = kVersion;
  for (const auto& i : run.inputs) text += "\n" + i.file + " " + i.sha256;
  const OptionResult& r = run.plan.options[run.plan.chosen];
  for (const auto& p : r.probes)
    text += "\n" + p.name + " " + std::to_string(p.spot.number()) + " " + std::to_string(p.probe_class.number());
  for (const Plate& plate : run.results.plates) {
    text += "\n" + plate.stem;
    for (const PlateHole& hole : plate.holes)
      text += "\n" + hole.label + " " + short_number(hole.plate.x, 3) + " " + short_number(hole.plate.y, 3) + " " +
              short_number(hole.diameter.v, 3);
  }
  return sha256(text).substr(0, 10);
}
}  // namespace

namespace {
/// What a run is planned on, for its own job or one that differs a little.
PlanInputs inputs_for(const Run& run, const Job& job, const Access& verdicts) {
  return {.job = job,
          .board = run.board,
          .interface_table = run.interface_table,
          .interfaces = run.interfaces,
          .scan = run.scan,
          .needs = run.needs,
          .access = verdicts,
          .catalogue = run.catalogue,
          .rules = run.rules,
          .style = run.style,
          .kit = run.shop().kit,
          .prices = run.prices,
          .standing = run.standing};
}
}  // namespace

PlanInputs Run::plan_inputs(const Access& verdicts) const {
  return inputs_for(*this, job, verdicts);
}

Planned Run::planned(const Access& verdicts) const {
  return {plan_inputs(verdicts), plan, plan.options[plan.chosen], results.mechanics.springs};
}

Outcome Run::outcome(const Access& verdicts) const {
  return {planned(verdicts), results, diagnostics, inputs, plan_id};
}

void load(Run& run, const std::string& job_file, const Stage& stage) {
  stage("reading", 0.0);
  if (is_release(job_file)) {
    run.diagnostics.error({.code = "job-is-folder",
                           .at = {job_file, 0, 0, {}},
                           .message = "a job file is expected, this is a folder or an archive",
                           .remedy = "teasel start FOLDER writes a first job file"});
    return;
  }
  if (const auto text = read_file(job_file, job_file, run.diagnostics)) load_text(run, *text, job_file, stage);
}

void load_text(Run& run, const std::string& bytes, const std::string& job_file, const Stage& stage) {
  const fs::path path(job_file), base = path.parent_path();
  const auto read = as_text(bytes, job_file, run.diagnostics);
  if (!read) return;
  const std::string& text = *read;
  run.job = read_job(text, job_file, run.diagnostics);
  if (run.diagnostics.failed()) return;
  run.inputs.push_back({path.filename().string(), sha256(bytes)});
  run.catalogue = shop_file<Catalogue>("catalogues", run.job.fixture.catalogue, base, run, read_catalogue);
  run.rule_set = shop_file<Rules>("rules", run.job.fixture.rules, base, run,
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
  if (run.job.fixture.kit.empty() && run.style.mechanism.used)
    run.style.hardware = shop_file<Hardware>("hardware", run.style.mechanism.hardware, base, run, read_hardware);
  run.prices = shop_file<Prices>("prices", run.job.fixture.prices, base, run, read_prices);
  if (!run.job.fixture.kit.empty()) read_kit_files(run, base);
  run.rules = combined(run.rule_set, run.style);
  keep_classes(run);
  if (!run.diagnostics.failed()) check_together(run.job, run.catalogue, run.rules, run.diagnostics);
  if (run.diagnostics.failed()) return;
  SourceReader(run, base, text).run();
  if (run.diagnostics.failed()) return;
  unfold(run.job, run.sources, run.diagnostics);
  if (!run.diagnostics.failed()) assemble_board(run, stage);
}

std::optional<std::string> shop_text(const char* kind, const std::string& name, const std::string& job_file) {
  if (const auto text = shipped(kind, name)) return std::string(*text);
  Diagnostics ignored;
  auto text = read_file(fs::path(job_file).parent_path() / name, name, ignored);
  return text ? as_text(std::move(*text), name, ignored) : std::nullopt;
}

void assemble_board(Run& run, const Stage& stage) {
  stage("assembling the board", 0.25);
  run.board = assemble(run.job, run.rules, run.sources, run.diagnostics, run.shop());
}

void understand(Run& run) {
  run.interfaces = recognise_interfaces(run.board, run.job, run.interface_table, run.diagnostics);
  run.scan = bind_boundary_scan(run.board, run.job, run.sources, run.interface_table, run.interfaces, run.diagnostics);
  run.needs = needs_of(run.board, run.job, run.interface_table, run.interfaces, run.diagnostics);
  if (run.job.wants.scan_saves_probes)
    run.results.probes_saved = save_probes(run.needs, run.board, run.scan, run.diagnostics);
  panelize(run.board, run.job, run.rules, run.sources, run.diagnostics, run.shop());
  if (run.diagnostics.failed()) return;
  check_part_limits(run.board, run.job, run.diagnostics);
  run.needs = needs_in_panel(run.needs, run.board);
}

void judge_targets(Run& run, const Stage& stage) {
  stage("judging targets", 0.5);
  run.access = judge(run.board, run.job, run.catalogue, run.rules, run.standing, run.shop());
  check_waivers(run.access, run.job, run.diagnostics);
  check_bans(run.board, run.job, run.diagnostics);
  check_lost_to_plates(run.access, run.board, run.needs, run.job, run.diagnostics);
}

void prepare(Run& run, const Stage& stage) {
  understand(run);
  if (!run.diagnostics.failed()) judge_targets(run, stage);
}

void plan_probes(Run& run, const PlanLimits& limits, const Stage& stage) {
  stage("planning", 0.65);
  run.plan = plan(run.plan_inputs(), limits, run.diagnostics);
}

void work(Run& run, const PlanLimits& limits, const Stage& stage) {
  prepare(run, stage);
  if (!run.diagnostics.failed()) plan_probes(run, limits, stage);
  if (!run.diagnostics.failed()) finish(run, limits, stage);
}

namespace {
void try_bed(Run& run, const OptionResult& option, const std::atomic<bool>* stop) {
  std::vector<BedProbe> probes;
  for (const PlacedProbe& probe : option.probes) probes.push_back({probe.spot, probe.probe_class});
  const TrialBed bed{.board = run.board,
                     .access = run.access,
                     .catalogue = run.catalogue,
                     .rules = run.rules,
                     .main = option.option.main,
                     .probes = probes,
                     .arc = LidArc(run.board, run.shop().kit, run.standing)};
  const JobEffort& effort = run.job.effort;
  run.results.bed = simulate_bed(bed, {effort.simulated_fixtures, effort.simulated_boards, effort.seed}, stop);
  run.results.sensitivity = sensitivity(bed);
  run.results.small_lands = small_lands(bed);
}

/// A plan under the press: what it serves where the board bends away from some of its probes.
struct Pressed {
  Coverage coverage;
  Mechanics mechanics;
  Diagnostics found;
};

/// A board whose edge cannot be meshed is planned without its bending, and that is told.
Mechanics bent(const Run& run, const Planned& planned, Diagnostics& diagnostics) {
  try {
    return work_out_mechanics(planned, diagnostics, run.bending);
  } catch (const std::exception& failure) {
    Diagnostics found;
    found.error({.code = "bending-failed",
                 .at = {run.job.file, 0, 0, "inputs.outline"},
                 .message = "how the board bends could not be worked out for this board edge",
                 .found = failure.what(),
                 .remedy = "give the corners of the edge by hand:  [inputs.outline] polygon"});
    diagnostics.merge_part(found);
    Mechanics without = work_out_mechanics(planned, diagnostics, false);
    without.why_not = "it could not be worked out for this board edge";
    return without;
  }
}

Pressed pressed(const Run& run, const PlanResult& plan) {
  Pressed out;
  const Planned planned{run.plan_inputs(), plan, plan.options[plan.chosen]};
  out.coverage = coverage_of(planned);
  out.mechanics = bent(run, planned, out.found);
  drop_probes(out.coverage, run.needs, planned.option, reasons_of_lost(out.mechanics, planned));
  return out;
}

/// Fewer mandatory needs unmet, then more nets served.
bool serves_more(const Coverage& a, const Coverage& b) {
  if (a.mandatory_unmet != b.mandatory_unmet) return a.mandatory_unmet < b.mandatory_unmet;
  if (a.met_nets != b.met_nets) return a.met_nets > b.met_nets;
  return a.partial_nets > b.partial_nets;
}

bool on_small_lands(const Run& run) {
  const OptionResult& option = run.plan.options[run.plan.chosen];
  return std::any_of(option.probes.begin(), option.probes.end(), [&](const PlacedProbe& probe) {
    const bool main = run.access.targets[probe.target].side == option.option.main;
    return run.access.spots[probe.spot].diameter < run.rules.usual_land(main);
  });
}

/// The stronger bed belongs under the board, where its stops are: laid the other way round a board may hold that
/// otherwise is bent between two beds before anything rigid meets it. The plan is kept that serves no fewer nets and
/// holds.
void turn_over(Run& run, const PlanLimits& limits, const Stage& stage, Pressed& best) {
  const BedOption& option = run.plan.options[run.plan.chosen].option;
  if (!option.sides.is_both() || run.job.fixture.board_lies != "auto" || run.standing.used) return;
  stage("planning the board turned over", 0.9);
  Job turned = run.job;
  turned.fixture.board_lies = option.main == Side::top ? "bottom side down" : "top side down";
  turned.fixture.sides = "both";
  Diagnostics own;
  PlanResult over = Planner(inputs_for(run, turned, run.access)).plan({}, limits, own);
  if (own.failed() || over.options.empty()) return;
  Pressed other = pressed(run, over);
  if (!other.mechanics.flat_holds || serves_more(best.coverage, other.coverage)) return;
  other.found.note({.code = "plan-turned-over",
                    .at = {run.job.file, 0, 0, "fixture.board_lies"},
                    .message = std::string("the board is laid with its ") + turned.fixture.board_lies +
                               ": the other way round is cheaper, but bends a flat board beyond its limits",
                    .found = strain_text(other.mechanics.flat_strain) + " instead of " +
                             strain_text(best.mechanics.flat_strain) + " microstrain",
                    .remedy = "state  [fixture] board_lies  to have it one way or the other"});
  best = std::move(other);
  run.plan = std::move(over);
}

/// Presses the bed. Where the board bends away from its probes, small lands must not be what costs it nets: the plan
/// without probes on them is pressed as well, and the one that serves more is kept.
void press(Run& run, const PlanLimits& limits, const Stage& stage) {
  stage("bending", 0.89);
  Pressed best = pressed(run, run.plan);
  if (!best.mechanics.lost.empty() && on_small_lands(run)) {
    stage("planning without small lands", 0.9);
    Diagnostics own;
    PlanEdit edit;
    edit.usual_lands_only = true;
    PlanResult fewer = Planner(run.plan_inputs()).plan(edit, limits, own);
    if (!own.failed()) {
      Pressed other = pressed(run, fewer);
      if (serves_more(other.coverage, best.coverage)) {
        other.found.note({.code = "plan-spares-board",
                          .at = {run.job.file, 0, 0, {}},
                          .message = "the board would bend away from its probes if some of them stood on lands below "
                                     "the usual size, so that fewer nets would be served; no such land is used",
                          .found = std::to_string(best.coverage.met_nets) + " nets served with them, " +
                                   std::to_string(other.coverage.met_nets) + " without",
                          .remedy = "to use them, hold the board better: [[support]], a thicker board, or probes on "
                                    "both sides"});
        best = std::move(other);
        run.plan = std::move(fewer);
      }
    }
  }
  if (best.mechanics.clearly_over()) turn_over(run, limits, stage, best);
  run.diagnostics.merge(best.found);
  run.results.coverage = std::move(best.coverage);
  run.results.mechanics = std::move(best.mechanics);
}

/// Errors of one plate stand against that plate, all others against every plate.
void mark_faults(std::vector<Plate>& plates, const Diagnostics& found) {
  for (const Finding& finding : found.all()) {
    if (finding.severity != Severity::error) continue;
    const bool of_one =
        std::any_of(plates.begin(), plates.end(), [&](const Plate& plate) { return plate.stem == finding.place.path; });
    for (Plate& plate : plates)
      if (!of_one || plate.stem == finding.place.path) plate.faults.push_back(finding.message + ": " + finding.found);
  }
}

/// Plates, wiring, proving and costs. What cannot be built is told and marked, and takes nothing else away.
void build(Run& run, const Planned& planned) {
  Results& results = run.results;
  const BuildInputs build{planned, results.coverage, results.mechanics.supports, &results.mechanism};
  Diagnostics found;
  check_kit(build, found);
  results.plates = make_plates(build, found, true, &results.mechanism);
  add_pockets(results.coverage.measure_first, build, results.plates);
  results.set_heights = set_heights(build, found);
  check_gaps(build, gaps(build, results.plates, results.set_heights), found);
  results.wiring = make_wiring(build, found);
  mark_faults(results.plates, found);
  results.release = release_status(build, results.mechanics, results.plates);
  run.diagnostics.merge_part(found);
  results.wiring_faces = wiring_faces(build);
  results.proving = make_proving(build, results.plates, results.wiring);
  results.cost = compare_costs(build, results.plates, results.wiring);
  run.plan_id = identity(run);
  run.built =
      fixture_file(build, results.plates, results.wiring, results.mechanics, results.proving, run.earlier, run.plan_id);
}
}  // namespace

void finish(Run& run, const PlanLimits& limits, const Stage& stage) {
  press(run, limits, stage);
  const Planned planned = run.planned();
  Results& results = run.results;
  results.test_points = test_points(planned, results.coverage, results.mechanics.lost);
  results.audit = audit(planned, results.coverage);
  stage("advice", 0.92);
  if (run.job.effort.advice) results.advice = advise(planned, results.coverage);
  try_bed(run, planned.option, limits.stop);
  stage("plates and costs", 0.94);
  build(run, planned);
}

BenchOdds bench_odds(const Run& run) {
  BenchOdds odds;
  Board exact = run.board;
  for (Exposure& exposure : exact.exposures) exposure.place_sigma = {};
  const Access with = judge(run.board, run.job, run.catalogue, run.rules, {}, run.shop()),
               without = judge(exact, run.job, run.catalogue, run.rules, {}, run.shop());
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
  const Planned planned = run.planned(verdicts);
  run.results.coverage = coverage_of(planned);
  run.results.test_points = test_points(planned, run.results.coverage, {});
  run.results.audit = audit(planned, run.results.coverage);
  run.plan_id = identity(run);
}

}  // namespace teasel::pipeline
