#include <algorithm>

#include "build.h"
#include "teasel/words.h"

namespace teasel {

void complain(const Job& job, Diagnostics& diagnostics, Saying saying) {
  const auto& accepted = job.inputs.accept;
  if (std::find(accepted.begin(), accepted.end(), saying.code) != accepted.end()) {
    saying.message += " (accepted by the job file)";
    saying.expected.clear();
    saying.remedy.clear();
    return diagnostics.warn(std::move(saying));
  }
  saying.remedy = (saying.remedy.empty() ? "accept it" : saying.remedy + ". Or accept it") +
                  ":  [checks] accept = [\"" + saying.code + "\"]";
  diagnostics.error(std::move(saying));
}

namespace {
/// Thickness, with who says so.
void settle_thickness(Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  board.thickness_known = Known::confirmed;
  if (sources.thickness)
    board.thickness = *sources.thickness;
  else if (sources.cad && sources.cad->mechanics.thickness)
    board.thickness = *sources.cad->mechanics.thickness;
  else if (sources.idf && sources.idf->thickness)
    board.thickness = *sources.idf->thickness;
  else {
    board.thickness_known = Known::assumed;
    diagnostics.note({.code = "board-thickness",
                      .at = {job.file, 0, 0, "board.thickness"},
                      .message = "no board thickness is stated. 1.6 mm is assumed",
                      .remedy = "state it in  [board] thickness"});
  }
  // Stroke, stiffness and pin heights follow it: a slip of the decimal point must not go by.
  constexpr Mm kThinnest{0.1}, kThickest{8.0};  // flex to backplanes, common practice, no source
  if (board.thickness < kThinnest || board.thickness > kThickest)
    diagnostics.warn(
        {.code = "board-thickness-odd",
         .at = {job.file, 0, 0, "board.thickness"},
         .message = "boards are " + short_number(kThinnest.v, 1) + " to " + short_number(kThickest.v, 1) +
                    " mm thick as a rule. Probe strokes, bending and set heights are worked out from this value",
         .found = short_number(board.thickness.v, 3) + " mm",
         .remedy = "measure a board and state its thickness in  [board] thickness"});
}

/// Pads and nets as the netlist or the bench has them; without either, copper has to tell them.
void add_pads(Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  if (sources.netlist)
    add_netlist(board, *sources.netlist, diagnostics);
  else if (!job.inputs.pads_file.empty())
    add_bench(board, job, sources, diagnostics);
  else
    board.traced = true;
  if (diagnostics.failed()) return;
  if (board.features.empty() && !board.traced) {
    diagnostics.error(
        {.code = "board-empty", .at = {sources.netlist_file, 0, 0, {}}, .message = "the netlist holds no pads"});
    return;
  }
  if (board.features.size() > 2'000'000)
    diagnostics.error({.code = "board-too-large",
                       .at = {sources.netlist_file, 0, 0, {}},
                       .message = "the netlist holds more than two million pads"});
}

/// Which kinds of layer there are.
void note_layers(Board& board, const Layers& layers, const Job& job, Diagnostics& diagnostics) {
  board.has_mask_layers = !layers.mask[Side::top].empty() || !layers.mask[Side::bottom].empty();
  board.has_copper_layers = !layers.copper[Side::top].empty() || !layers.copper[Side::bottom].empty();
  for (const Side side : kBothSides) board.has_paste[side] = !layers.paste[side].empty();
  if (board.has_copper_layers && !board.has_paste[Side::top] && !board.has_paste[Side::bottom])
    diagnostics.note({.code = "board-no-paste",
                      .at = {job.file, 0, 0, "inputs.gerber"},
                      .message = "no paste layer is given. Surface pads of fitted parts are taken as soldered, and all "
                                 "other bare metal as having the board's finish",
                      .remedy = "name the paste layers in  [[inputs.gerber]]"});
}

/// What copper layers say of pins (.P with a third field).
void add_pin_functions(Board& board, const Sources& sources) {
  std::map<std::pair<std::string, std::string>, std::string> by_pin;
  for (std::size_t i = 0; i < sources.gerbers.size(); ++i) {
    const LayerRole role = sources.layers[i].role;
    if (role != LayerRole::copper_top && role != LayerRole::copper_bottom) continue;
    for (const formats::GerberAttributes& attributes : sources.gerbers[i].attributes)
      if (!attributes.component.empty() && !attributes.pin_function.empty())
        by_pin.emplace(std::pair(attributes.component, attributes.pin), attributes.pin_function);
  }
  if (by_pin.empty()) return;
  for (Feature& feature : board.features) {
    if (!feature.component) continue;
    if (const auto it = by_pin.find({board.components[feature.component].name, feature.pin}); it != by_pin.end())
      feature.function = it->second;
  }
}

/// All that the files say of one another.
void check_files(const Board& board, const Layers& layers, const Job& job, const Sources& sources,
                 Diagnostics& diagnostics) {
  check_files_agree(board, layers, job, sources, diagnostics);
  check_statements(board, layers, job, sources, diagnostics);
  check_layers_lie_together(board, layers, job, diagnostics);
  check_gaps_in_files(board, layers, diagnostics);
  check_inner_layers(board, job, sources, diagnostics);
}

/// Nets by the copper, compared with the netlist or in its place; then what each pad is.
void settle_pads_and_nets(Board& board, const Layers& layers, const Job& job, const Sources& sources,
                          Diagnostics& diagnostics) {
  if (!board.traced) {
    check_files(board, layers, job, sources, diagnostics);
    if (diagnostics.failed()) return;
    name_nets(board, layers, job, sources, diagnostics);
  }
  trace_copper(board, layers, job, sources, diagnostics);
  if (diagnostics.failed()) return;
  if (board.traced)
    add_traced_features(board, layers, job, diagnostics);
  else
    compare_with_netlist(board, sources, diagnostics);
  if (diagnostics.failed()) return;
  if (board.traced) {
    check_files(board, layers, job, sources, diagnostics);
    match_parts(board, job, sources, diagnostics);
  }
  add_pin_functions(board, sources);
  name_kinds(board, layers);
}
}  // namespace

void settle_copper_layers(Board& board, const Sources& sources) {
  constexpr int kLabel = 16;
  bool inner = sources.netlist && sources.netlist->stated_layers > 2;
  for (std::size_t i = 0; i < sources.layers.size(); ++i) {
    inner |= sources.layers[i].role == LayerRole::copper_inner;
    if (sources.layers[i].role != LayerRole::copper_bottom) continue;
    if (const int own = layers_by_attribute(sources.gerbers[i])) {
      board.copper_layers = own;
      return;
    }
  }
  if (board.copper_layers == kLabel && !inner) board.copper_layers = 2;
}

Board assemble(const Job& job, const Rules& rules, const Sources& sources, Diagnostics& diagnostics, const Shop& shop) {
  Board board;
  board.name = job.name;
  board.revision = job.revision;
  board.finish = job.inputs.finish.value_or(Surface::unknown);
  board.keep_outs = job.decisions.keep_outs;
  settle_thickness(board, job, sources, diagnostics);
  board.from_netlist = netlist_shift(job.inputs.netlist_offset.value_or(Point{}));
  add_pads(board, job, sources, diagnostics);
  if (diagnostics.failed()) return board;
  const Layers layers = images(sources);
  lands_from_copper(board, layers, diagnostics);
  note_layers(board, layers, job, diagnostics);
  settle_copper_layers(board, sources);
  add_holes(board, job, sources, diagnostics);
  settle_pads_and_nets(board, layers, job, sources, diagnostics);
  if (diagnostics.failed()) return board;
  add_outline(board, job, sources, diagnostics);
  if (diagnostics.failed()) return board;
  const std::optional<EdgeFit> edge = check_edge_fit(board, layers, job, diagnostics);
  board.pieces = {board.outline};
  add_flex(board, job, sources, diagnostics);
  if (sources.cad) compare_outline(board, sources.cad->mechanics, {}, diagnostics);
  if (sources.idf) {
    compare_outline(board, *sources.idf, job.inputs.idf_offset.value_or(Point{}), diagnostics);
    check_idf(board, job, sources, diagnostics);
  }
  check_holes_inside(board, job, diagnostics);
  add_components(board, job, rules, sources, diagnostics);
  if (diagnostics.failed()) return board;
  check_placement(board, job, sources, diagnostics);
  add_exposures(board, layers, job, sources, diagnostics);
  board.facts = facts_of(board, layers, edge, job, sources);
  if (!job.panel.used && !diagnostics.failed())
    choose_tooling(board, job, rules, sources.pins, diagnostics, shop);  // a panel is located by its own holes
  return board;
}

}  // namespace teasel
