// Kits and styles from TOML.
#include "teasel/job.h"
#include "toml_table.h"

namespace teasel {

const char* to_string(PlateKind k) {
  static const char* names[] = {"probe", "moving", "pressure", "check"};
  return names[static_cast<int>(k)];
}

const char* to_string(HoleState s) {
  static const char* names[] = {"in use", "open", "plugged"};
  return names[static_cast<int>(s)];
}

const StandingPlate* StandingFixture::plate(const std::string& stem) const {
  for (const StandingPlate& p : plates)
    if (p.stem == stem) return &p;
  return nullptr;
}

namespace {
PlateKind kind_of(TomlTable& t, std::string_view key, const std::string& text) {
  for (const PlateKind k : {PlateKind::probe, PlateKind::moving, PlateKind::pressure})
    if (text == to_string(k)) return k;
  t.error(key, "no kind of plate", text, "probe, moving or pressure");
  return PlateKind::probe;
}
}  // namespace

Kit read_kit(std::string_view text, const std::string& file, Diagnostics& d) {
  Kit k;
  with_toml(text, file, d, [&](TomlTable& root) {
    k.name = root.text("name", file);
    root.text("note");
    k.kind = root.choice("kind", {"hand press", "clamshell", "vacuum box"}, "hand press");
    if (const auto blank = root.point("blank")) {
      k.width = Mm{blank->x};
      k.depth = Mm{blank->y};
    }
    const auto from = root.point("usable_from"), to = root.point("usable_to");
    if (from && to) {
      k.usable.add(*from);
      k.usable.add(*to);
    }
    if (!(k.width.v > 0 && k.depth.v > 0))
      root.error("blank", "a kit has blanks of a size", "nothing", "[\"340 mm\", \"260 mm\"]");
    if (!k.usable.valid() || k.usable.x0 < 0 || k.usable.y0 < 0 || k.usable.x1 > k.width.v || k.usable.y1 > k.depth.v)
      root.error("usable_from", "the usable area lies on the blank", "nothing, or beyond its edge",
                 "usable_from and usable_to, from corner to corner");
    k.board_at = root.point("board_at").value_or(k.usable.valid() ? k.usable.centre() : Point{});
    k.board_turn = root.number("board_turn_deg", 0, -360, 360);
    k.upper_bed = root.yes_no("upper_bed").value_or(false);
    k.force = root.force("force").value_or(Newton{});
    k.vacuum_bar = root.number("vacuum_bar", 0, 0, 1);
    k.stroke = root.length("stroke").value_or(Mm{});
    k.lid_height = root.length("lid_height").value_or(Mm{});
    k.press_at = root.point("press_at").value_or(k.board_at);
    k.hinge_y = root.length("hinge_y");
    k.hinge_height = root.length("hinge_height");
    if (k.hinge_y.has_value() != k.hinge_height.has_value())
      root.error("hinge_y", "a hinge has a place and a height", "one of them", "hinge_y and hinge_height");
    k.datum = root.text("datum", "front left corner of the blank");
    k.block_file = root.text("interface_block");
    root.tables("hole", [&](TomlTable& t) {
      KitHole h;
      h.at = t.point("at").value_or(Point{});
      h.diameter = t.required_length("diameter");
      h.use = t.text("use");
      for (const std::string& p : t.texts("plates")) h.plates.push_back(kind_of(t, "plates", p));
      if (h.diameter.v <= 0 || h.at.x < 0 || h.at.y < 0 || h.at.x > k.width.v || h.at.y > k.depth.v)
        t.error("at", "the hole does not lie on the blank", short_number(h.at.x, 3) + " " + short_number(h.at.y, 3),
                "a place on it and a diameter");
      k.holes.push_back(std::move(h));
    });
  });
  return k;
}

std::vector<BlockPin> read_interface_block(std::string_view text, const std::string& file, Diagnostics& d) {
  std::vector<BlockPin> pins;
  std::uint32_t line = 0;
  std::vector<std::string> header;
  std::map<std::string, std::uint32_t> seen;
  while (!text.empty()) {
    const std::size_t end = text.find('\n');
    std::string row(text.substr(0, end));
    text.remove_prefix(end == text.npos ? text.size() : end + 1);
    ++line;
    if (!row.empty() && row.back() == '\r') row.pop_back();
    if (row.empty() || row[0] == '#') continue;
    std::vector<std::string> cells;
    for (std::size_t at = 0; at <= row.size();) {
      const std::size_t comma = std::min(row.find(',', at), row.size());
      cells.push_back(row.substr(at, comma - at));
      at = comma + 1;
    }
    if (header.empty()) {
      header = cells;
      for (const char* needed : {"pin", "kind", "x_mm", "y_mm"})
        if (std::find(header.begin(), header.end(), needed) == header.end()) {
          d.error("block-header", {file, line, 0, {}}, "a column is missing", needed,
                  "pin,kind,x_mm,y_mm,channel,amperes,stage");
          return {};
        }
      continue;
    }
    auto cell = [&](const char* name) {
      const auto it = std::find(header.begin(), header.end(), name);
      const auto k = static_cast<std::size_t>(it - header.begin());
      return it == header.end() || k >= cells.size() ? std::string() : cells[k];
    };
    auto number = [&](const char* name, double standard) {
      const std::string s = cell(name);
      if (s.empty()) return standard;
      char* rest = nullptr;
      const double v = std::strtod(s.c_str(), &rest);
      if (*rest != 0 || !(std::abs(v) < 1e5))
        d.error("block-number", {file, line, 0, name}, "not a number", s, "millimetres or amperes");
      return v;
    };
    BlockPin p;
    p.name = cell("pin");
    p.kind = cell("kind");
    p.channel = cell("channel");
    p.at = {number("x_mm", 0), number("y_mm", 0)};
    p.amperes = number("amperes", 1);
    p.stage = cell("stage");
    if (!p.stage.empty() && p.stage != "full" && p.stage != "half")
      d.error("block-stage", {file, line, 0, "stage"}, "no stage of the press", p.stage, "full, half, or nothing");
    if (p.name.empty() || (p.kind != "signal" && p.kind != "power" && p.kind != "ground"))
      d.error("block-pin", {file, line, 0, {}}, "a pin has a name and a kind", row, "kind signal, power or ground");
    if (const auto [it, first] = seen.emplace(p.name, line); !first)
      d.error("block-twice", {file, line, 0, {}}, "two pins have one name", p.name, {},
              "line " + std::to_string(it->second) + " has it already");
    pins.push_back(std::move(p));
    if (pins.size() > 20'000) {
      d.error("block-too-large", {file, line, 0, {}}, "more than 20000 pins");
      return {};
    }
  }
  if (header.empty())
    d.error("block-header", {file, 0, 0, {}}, "the file holds no header", {},
            "pin,kind,x_mm,y_mm,channel,amperes,stage");
  return pins;
}

Style read_style(std::string_view text, const std::string& file, Diagnostics& d) {
  Style s;
  with_toml(text, file, d, [&](TomlTable& root) {
    s.name = root.text("name", file);
    root.text("note");
    root.tables("plate", [&](TomlTable& t) {
      StylePlate p;
      p.name = t.text("name");
      p.lower = t.choice("stands", {"under the board", "over the board"}, "under the board") == "under the board";
      p.kind = kind_of(t, "kind", t.text("kind"));
      const std::string when = t.choice("when", {"always", "probes on its side", "no probes on its side"}, "always");
      p.when_probed = when == "probes on its side";
      p.when_bare = when == "no probes on its side";
      p.material = t.text("material");
      p.thickness = t.required_length("thickness");
      p.at_rest = t.required_length("at_rest");
      p.at_touch = t.required_length("at_touch");
      p.at_work = t.required_length("at_work");
      if (p.name.empty() || !(p.thickness.v > 0)) t.error("name", "a plate has a name and a thickness", p.name, "both");
      if (p.at_work.v < 0 || p.at_touch < p.at_work || p.at_rest < p.at_touch)
        t.error("at_work", "a plate comes nearer from rest over first touch to work",
                short_number(p.at_rest.v, 3) + " / " + short_number(p.at_touch.v, 3) + " / " +
                    short_number(p.at_work.v, 3) + " mm",
                "at_rest >= at_touch >= at_work >= 0 mm");
      s.plates.push_back(std::move(p));
    });
    s.spring_force = root.force("spring_force").value_or(Newton{});
    root.table("sizes", [&](TomlTable& t) {
      for (auto [key, value] : {std::pair{"margin", &s.margin},
                                {"plunger_clearance", &s.plunger_clearance},
                                {"pin_clearance", &s.pin_clearance},
                                {"stop_diameter", &s.stop_diameter},
                                {"stop_hole", &s.stop_hole},
                                {"finger_hole", &s.finger_hole},
                                {"guide_pin", &s.guide_pin},
                                {"guide_pin_odd", &s.guide_pin_odd},
                                {"screw", &s.screw},
                                {"pocket_over", &s.pocket_over},
                                {"pocket_step", &s.pocket_step},
                                {"pocket_floor", &s.pocket_floor},
                                {"cutter", &s.cutter},
                                {"web", &s.web},
                                {"edge", &s.edge},
                                {"below_board", &s.below_board},
                                {"text_height", &s.text_height}}) {
        *value = t.required_length(key);
        if (!(value->v > 0))
          t.error(key, "a size is more than nothing", short_number(value->v, 3) + " mm", "above 0 mm");
      }
      if (s.guide_pin == s.guide_pin_odd)
        t.error("guide_pin_odd", "the odd guide pin must differ, or plates go together in two ways",
                short_number(s.guide_pin.v, 3) + " mm", "another diameter");
    });
    root.table("wire", [&](TomlTable& t) {
      s.wire_slack = t.number("slack", 0.15, 0, 5);
      t.table("colour",
              [&](TomlTable& c) { c.each([&](const std::string& role) { s.wire_colours[role] = c.text(role); }); });
      t.tables("gauge", [&](TomlTable& g) {
        s.gauges.push_back({g.number("amperes", 1, 0.001, 1000), g.text("name")});
        if (s.gauges.size() > 1 && !(s.gauges.back().amperes > s.gauges[s.gauges.size() - 2].amperes))
          g.error("amperes", "gauges go from thin to thick", short_number(s.gauges.back().amperes, 3),
                  "more than the one before");
      });
    });
    root.table("proving", [&](TomlTable& t) {
      s.joined_below = t.number("joined_below_ohm", 2, 0.001, 1e6);
      s.open_above = t.number("open_above_megohm", 10, 0.001, 1e6);
    });
    auto some = [&](bool lower) {
      return std::any_of(s.plates.begin(), s.plates.end(),
                         [&](const StylePlate& p) { return p.lower == lower && p.kind == PlateKind::probe; });
    };
    if (!some(true))
      root.error("plate", "a style holds a probe plate under the board", "none", "[[plate]] kind = \"probe\"");
    // Plates of one side must not run into each other in any state.
    for (const bool lower : {true, false})
      for (const StylePlate& a : s.plates)
        for (const StylePlate& b : s.plates) {
          if (&a == &b || a.lower != lower || b.lower != lower || (a.when_probed && b.when_bare) ||
              (a.when_bare && b.when_probed))
            continue;
          for (const auto& [near, far] :
               {std::pair{a.at_rest, b.at_rest}, {a.at_touch, b.at_touch}, {a.at_work, b.at_work}})
            if (near <= far && far.v < near.v + a.thickness.v - 1e-9) {
              root.error("plate", "two plates stand in the same place",
                         a.name + " from " + short_number(near.v, 3) + " to " +
                             short_number(near.v + a.thickness.v, 3) + " mm, " + b.name + " from " +
                             short_number(far.v, 3) + " mm",
                         "distances that differ by the thickness");
              break;
            }
        }
  });
  return s;
}

}  // namespace teasel
