// Reads kits and styles from TOML.
#include "teasel/enums.h"
#include "teasel/job.h"
#include "toml_table.h"

namespace teasel {

namespace {
constexpr Words<PlateKind> kPlateKinds{"probe", "moving", "pressure", "check", "base", "push", "bridge"};
constexpr Words<HoleState> kHoleStates{"in use", "open", "plugged"};
}  // namespace

const char* to_string(PlateKind kind) {
  return kPlateKinds[kind];
}

const char* to_string(HoleState state) {
  return kHoleStates[state];
}

const StandingPlate* StandingFixture::plate(const std::string& stem) const {
  for (const StandingPlate& plate : plates)
    if (plate.stem == stem) return &plate;
  return nullptr;
}

namespace {
PlateKind kind_of(TomlTable& t, std::string_view key, const std::string& text) {
  for (const PlateKind kind :
       {PlateKind::probe, PlateKind::moving, PlateKind::pressure, PlateKind::base, PlateKind::push, PlateKind::bridge})
    if (text == to_string(kind)) return kind;
  t.error(key, "this is no kind of plate", text, "probe, moving, pressure, base, push or bridge");
  return PlateKind::probe;
}
}  // namespace

Kit read_kit(std::string_view text, const std::string& file, Diagnostics& diagnostics) {
  Kit kit;
  with_toml(text, file, diagnostics, [&](TomlTable& root) {
    kit.name = root.text("name", file);
    root.text("note");
    kit.kind = root.choice("kind", {"hand press", "clamshell", "vacuum box"}, "hand press");
    if (const auto blank = root.point("blank")) {
      kit.width = Mm{blank->x};
      kit.depth = Mm{blank->y};
    }
    const auto from = root.point("usable_from"), to = root.point("usable_to");
    if (from && to) {
      kit.usable.add(*from);
      kit.usable.add(*to);
    }
    if (!(kit.width.v > 0 && kit.depth.v > 0))
      root.error("blank", "a kit must state the size of its blanks", "nothing", "[\"340 mm\", \"260 mm\"]");
    if (!kit.usable.valid() || kit.usable.x0 < 0 || kit.usable.y0 < 0 || kit.usable.x1 > kit.width.v ||
        kit.usable.y1 > kit.depth.v)
      root.error("usable_from", "the usable area must lie on the blank", "none, or one that reaches beyond the edge",
                 "usable_from and usable_to, two opposite corners");
    kit.board_at = KitPoint{root.point("board_at").value_or(kit.usable.valid() ? kit.usable.centre() : Point{})};
    kit.board_turn = root.amount<Degrees>("board_turn_deg", 0, -360, 360);
    kit.upper_bed = root.yes_no("upper_bed").value_or(false);
    kit.force = root.force("force").value_or(Newton{});
    kit.vacuum = root.amount<Bar>("vacuum_bar", 0, 0, 1);
    kit.stroke = root.length("stroke").value_or(Mm{});
    kit.lid_height = root.length("lid_height").value_or(Mm{});
    kit.press_at = KitPoint{root.point("press_at").value_or(kit.board_at.point())};
    kit.hinge_y = root.length("hinge_y");
    kit.hinge_height = root.length("hinge_height");
    if (kit.hinge_y.has_value() != kit.hinge_height.has_value())
      root.error("hinge_y", "a hinge needs both a place and a height", "only one of them", "hinge_y and hinge_height");
    kit.datum = root.text("datum", "front left corner of the blank");
    kit.block_file = root.text("interface_block");
    root.tables("hole", [&](TomlTable& table) {
      KitHole hole;
      hole.at = KitPoint{table.point("at").value_or(Point{})};
      hole.diameter = table.required_length("diameter");
      hole.use = table.text("use");
      for (const std::string& plate : table.texts("plates")) hole.plates.push_back(kind_of(table, "plates", plate));
      if (hole.diameter.v <= 0 || hole.at.x < 0 || hole.at.y < 0 || hole.at.x > kit.width.v || hole.at.y > kit.depth.v)
        table.error("at", "the hole does not lie on the blank",
                    short_number(hole.at.x, 3) + " " + short_number(hole.at.y, 3),
                    "a place on the blank and a diameter");
      kit.holes.push_back(std::move(hole));
    });
  });
  return kit;
}

namespace {
constexpr const char* kBlockHeader = "pin,kind,x_mm,y_mm,channel,amperes,stage";

/// The next row of a file, without its line end; `text` then begins behind it.
std::string next_row(std::string_view& text) {
  const std::size_t end = text.find('\n');
  std::string row(text.substr(0, end));
  text.remove_prefix(end == text.npos ? text.size() : end + 1);
  if (!row.empty() && row.back() == '\r') row.pop_back();
  return row;
}
std::vector<std::string> cells_of(const std::string& row) {
  std::vector<std::string> cells;
  for (std::size_t from = 0; from <= row.size();) {
    const std::size_t comma = std::min(row.find(',', from), row.size());
    cells.push_back(row.substr(from, comma - from));
    from = comma + 1;
  }
  return cells;
}

/// One row of an interface block, by the names of its columns.
struct BlockRow {
  const std::vector<std::string>& header;
  const std::vector<std::string>& cells;
  Place place;
  Diagnostics& diagnostics;

  std::string cell(const char* name) const {
    const auto it = std::find(header.begin(), header.end(), name);
    const auto column = static_cast<std::size_t>(it - header.begin());
    return it == header.end() || column >= cells.size() ? std::string() : cells[column];
  }
  double number(const char* name, double standard) const {
    const std::string text = cell(name);
    if (text.empty()) return standard;
    char* rest = nullptr;
    const double value = std::strtod(text.c_str(), &rest);
    if (*rest != 0 || !(std::abs(value) < 1e5))
      diagnostics.error({.code = "block-number",
                         .at = {place.file, place.line, 0, name},
                         .message = "this is not a number",
                         .found = text,
                         .expected = "millimetres or amperes"});
    return value;
  }
};

BlockPin pin_of(const BlockRow& cells, const std::string& row) {
  BlockPin pin;
  pin.name = cells.cell("pin");
  pin.kind = cells.cell("kind");
  pin.channel = cells.cell("channel");
  pin.at = {cells.number("x_mm", 0), cells.number("y_mm", 0)};
  pin.amperes = Amperes{cells.number("amperes", 1)};
  pin.stage = cells.cell("stage");
  if (!pin.stage.empty() && pin.stage != "full" && pin.stage != "half")
    cells.diagnostics.error({.code = "block-stage",
                             .at = {cells.place.file, cells.place.line, 0, "stage"},
                             .message = "this is no stage of the press",
                             .found = pin.stage,
                             .expected = "full, half or an empty field"});
  if (pin.name.empty() || (pin.kind != "signal" && pin.kind != "power" && pin.kind != "ground"))
    cells.diagnostics.error({.code = "block-pin",
                             .at = cells.place,
                             .message = "a pin needs a name and a kind",
                             .found = row,
                             .expected = "one of the kinds signal, power and ground"});
  return pin;
}
}  // namespace

std::vector<BlockPin> read_interface_block(std::string_view text, const std::string& file, Diagnostics& diagnostics) {
  std::vector<BlockPin> pins;
  std::uint32_t line = 0;
  std::vector<std::string> header;
  std::map<std::string, std::uint32_t> seen;
  while (!text.empty()) {
    const std::string row = next_row(text);
    ++line;
    if (row.empty() || row[0] == '#') continue;
    const std::vector<std::string> cells = cells_of(row);
    const Place place{file, line, 0, {}};
    if (header.empty()) {
      header = cells;
      for (const char* needed : {"pin", "kind", "x_mm", "y_mm"})
        if (std::find(header.begin(), header.end(), needed) == header.end()) {
          diagnostics.error({.code = "block-header",
                             .at = place,
                             .message = "a column is missing",
                             .found = needed,
                             .expected = kBlockHeader});
          return {};
        }
      continue;
    }
    BlockPin pin = pin_of({header, cells, place, diagnostics}, row);
    if (const auto [it, first] = seen.emplace(pin.name, line); !first)
      diagnostics.error({.code = "block-twice",
                         .at = place,
                         .message = "two pins have the same name",
                         .found = pin.name,
                         .remedy = "line " + std::to_string(it->second) + " has it already"});
    pins.push_back(std::move(pin));
    if (pins.size() > 20'000) {
      diagnostics.error(
          {.code = "block-too-large", .at = place, .message = "the interface block has more than 20000 pins"});
      return {};
    }
  }
  if (header.empty())
    diagnostics.error({.code = "block-header",
                       .at = {file, 0, 0, {}},
                       .message = "the file holds no header",
                       .expected = kBlockHeader});
  return pins;
}

namespace {
StylePlate read_plate(TomlTable& table) {
  StylePlate plate;
  plate.name = table.text("name");
  plate.lower = table.choice("stands", {"under the board", "over the board"}, "under the board") == "under the board";
  plate.kind = kind_of(table, "kind", table.text("kind"));
  const std::string when = table.choice("when", {"always", "probes on its side", "no probes on its side"}, "always");
  plate.when_probed = when == "probes on its side";
  plate.when_bare = when == "no probes on its side";
  plate.material = table.text("material");
  plate.printed = table.yes_no("printed").value_or(false);
  plate.thickness = table.required_length("thickness");
  plate.at_rest = table.required_length("at_rest");
  plate.at_touch = table.required_length("at_touch");
  plate.at_work = table.required_length("at_work");
  if (plate.name.empty() || !(plate.thickness.v > 0))
    table.error("name", "a plate needs a name and a thickness", plate.name, "both");
  // The board moves away from what stands still over it.
  const bool stays = plate.kind == PlateKind::bridge;
  if (plate.at_work.v < 0 || (!stays && (plate.at_touch < plate.at_work || plate.at_rest < plate.at_touch)))
    table.error("at_work", "a plate must come nearer from rest to first touch to work",
                short_number(plate.at_rest.v, 3) + " / " + short_number(plate.at_touch.v, 3) + " / " +
                    short_number(plate.at_work.v, 3) + " mm",
                "at_rest >= at_touch >= at_work >= 0 mm");
  return plate;
}

void read_sizes(TomlTable& table, Style& style) {
  for (auto [key, value] : {std::pair{"margin", &style.margin},
                            {"plunger_clearance", &style.plunger_clearance},
                            {"pin_clearance", &style.pin_clearance},
                            {"stop_diameter", &style.stop_diameter},
                            {"stop_hole", &style.stop_hole},
                            {"finger_hole", &style.finger_hole},
                            {"guide_pin", &style.guide_pin},
                            {"guide_pin_odd", &style.guide_pin_odd},
                            {"screw", &style.screw},
                            {"pocket_over", &style.pocket_over},
                            {"pocket_step", &style.pocket_step},
                            {"pocket_floor", &style.pocket_floor},
                            {"cutter", &style.cutter},
                            {"web", &style.web},
                            {"edge", &style.edge},
                            {"below_board", &style.below_board},
                            {"text_height", &style.text_height}}) {
    *value = table.required_length(key);
    if (!(value->v > 0))
      table.error(key, "a size must be greater than zero", short_number(value->v, 3) + " mm", "above 0 mm");
  }
  style.hole_error = table.length("hole_error").value_or(Mm{});
  for (const std::string& text : table.texts("rough_cutters")) {
    const std::optional<Mm> cutter = parse_length(text);
    if (!cutter || *cutter <= (style.rough_cutters.empty() ? style.cutter : style.rough_cutters.back()))
      table.error("rough_cutters",
                  "diameters with their unit, each wider than the one before and than cutter, are expected", text,
                  "such as [\"3 mm\", \"6 mm\"]");
    else
      style.rough_cutters.push_back(*cutter);
  }
  if (style.guide_pin == style.guide_pin_odd)
    table.error("guide_pin_odd", "the odd guide pin must differ, so that the plates fit together in one way only",
                short_number(style.guide_pin.v, 3) + " mm", "another diameter");
}

void read_mechanism(TomlTable& table, MechanismSizes& sizes) {
  sizes.used = true;
  sizes.hardware = table.text("hardware", "standard");
  sizes.shoulder = table.required_length("shoulder");
  sizes.stop_diameter = table.required_length("stop_diameter");
  sizes.stop_thread = table.text("stop_thread", "M4");
  sizes.standoff_thread = table.text("standoff_thread", "M5");
  sizes.lift = table.number("lift", 2, 1, 100);
  sizes.plate_bow = table.length("plate_bow").value_or(Mm{});
  sizes.connector = table.text("connector");
  sizes.edge_guide = table.length("edge_guide").value_or(Mm{});
  sizes.finger_recess = table.length("finger_recess").value_or(Mm{});
  sizes.sealed = table.yes_no("sealed").value_or(false);
  sizes.sheets = table.yes_no("sheets").value_or(false);
  sizes.lid = table.length("lid").value_or(Mm{});
}

Mount read_mount(TomlTable& table) {
  Mount mount;
  mount.label = table.text("label");
  mount.part = table.text("part");
  mount.note = table.text("note");
  mount.size = table.text("size");
  mount.plate = kind_of(table, "plate", table.text("plate"));
  mount.edge = table.choice("edge", {"front", "back", "left", "right", "middle", "corners", "under the board"}, "back");
  mount.width = table.required_length("width");
  mount.depth = table.required_length("depth");
  mount.price = table.amount<Money>("price", 0, 0, 1e6);
  table.tables("hole", [&](TomlTable& t) {
    Mount::Hole hole{t.point("at").value_or(Point{}), t.length("diameter").value_or(Mm{}), t.text("thread")};
    if (hole.thread.empty() && !(hole.diameter > Mm{}))
      t.error("diameter", "a hole needs a diameter or a thread", "neither", "one of them");
    mount.holes.push_back(std::move(hole));
  });
  if (mount.label.empty() || mount.part.empty())
    table.error("label", "what is mounted needs a label and the name of its part", mount.label, "both");
  return mount;
}

void read_wire(TomlTable& table, Style& style) {
  style.wire_slack = table.number("slack", 0.15, 0, 5);
  style.strip = table.length("strip").value_or(Mm{});
  style.at_probe = table.text("at_probe");
  style.at_pin = table.text("at_pin");
  table.table("colour", [&](TomlTable& colours) {
    colours.each([&](const std::string& role) { style.wire_colours[role] = colours.text(role); });
  });
  table.tables("gauge", [&](TomlTable& gauge) {
    auto& gauges = style.gauges;
    gauges.push_back({gauge.amount<Amperes>("amperes", 1, 0.001, 1000), gauge.text("name")});
    if (gauges.size() > 1 && !(gauges.back().amperes > gauges[gauges.size() - 2].amperes))
      gauge.error("amperes", "gauges must be listed from thin to thick", short_number(gauges.back().amperes.v, 3),
                  "more than the gauge before");
  });
}

/// Plates of one side must not run into each other in any state.
void check_plates_apart(TomlTable& root, const Style& style) {
  for (const bool lower : {true, false})
    for (const StylePlate& one : style.plates)
      for (const StylePlate& other : style.plates) {
        if (&one == &other || one.lower != lower || other.lower != lower || (one.when_probed && other.when_bare) ||
            (one.when_bare && other.when_probed))
          continue;
        for (const auto& [near, far] :
             {std::pair{one.at_rest, other.at_rest}, {one.at_touch, other.at_touch}, {one.at_work, other.at_work}})
          if (near <= far && far.v < near.v + one.thickness.v - 1e-9) {
            root.error("plate", "two plates take up the same place",
                       one.name + " from " + short_number(near.v, 3) + " to " +
                           short_number(near.v + one.thickness.v, 3) + " mm, " + other.name + " from " +
                           short_number(far.v, 3) + " mm",
                       "distances that differ by the thickness of the nearer plate");
            break;
          }
      }
}
}  // namespace

Style read_style(std::string_view text, const std::string& file, Diagnostics& diagnostics) {
  Style style;
  with_toml(text, file, diagnostics, [&](TomlTable& root) {
    style.name = root.text("name", file);
    root.text("note");
    root.tables("plate", [&](TomlTable& t) { style.plates.push_back(read_plate(t)); });
    style.spring_force = root.force("spring_force").value_or(Newton{});
    root.table("sizes", [&](TomlTable& t) { read_sizes(t, style); });
    root.table("mechanism", [&](TomlTable& t) { read_mechanism(t, style.mechanism); });
    root.tables("mount", [&](TomlTable& t) { style.mounts.push_back(read_mount(t)); });
    style.vacuum = root.amount<Bar>("vacuum_bar", 0, 0, 1);
    root.table("wire", [&](TomlTable& t) { read_wire(t, style); });
    root.table("proving", [&](TomlTable& t) {
      style.joined_below = t.amount<Ohms>("joined_below_ohm", 2, 0.001, 1e6);
      style.open_above = t.amount<Megohms>("open_above_megohm", 10, 0.001, 1e6);
    });
    if (std::none_of(style.plates.begin(), style.plates.end(),
                     [](const StylePlate& plate) { return plate.lower && plate.kind == PlateKind::probe; }))
      root.error("plate", "a style needs a probe plate under the board", "none", "[[plate]] kind = \"probe\"");
    check_plates_apart(root, style);
  });
  return style;
}

}  // namespace teasel
