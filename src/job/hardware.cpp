// Reads lists of fasteners, guides and springs from TOML.
#include "teasel/job/hardware.h"

#include <algorithm>

#include "teasel/job.h"
#include "toml_table.h"

namespace teasel {

NewtonPerMm CoilSpring::rate() const {
  constexpr double kShear = 81'500;  // MPa
  const double d = wire.v, mean = (outer - wire).v;
  return NewtonPerMm{kShear * d * d * d * d / (8 * mean * mean * mean * turns)};
}

const Thread* Hardware::thread(const std::string& wanted) const {
  return find_in(threads, [&](const Thread& one) { return one.name == wanted; });
}
const StockConnector* Hardware::connector(const std::string& wanted) const {
  return find_in(connectors, [&](const StockConnector& one) { return one.name == wanted; });
}

double Hardware::density_of(const std::string& material) const {
  constexpr double kLaminate = 1.9;
  const StockMaterial* found = find_in(materials, [&](const StockMaterial& one) { return one.name == material; });
  return found ? found->density : kLaminate;
}
std::optional<MPa> Hardware::modulus_of(const std::string& material) const {
  const StockMaterial* found = find_in(materials, [&](const StockMaterial& one) { return one.name == material; });
  return found ? std::optional(found->modulus) : std::nullopt;
}

Mm stock_length(const std::vector<Mm>& lengths, Mm least) {
  for (const Mm length : lengths)
    if (length >= least - Mm{1e-9}) return length;
  return {};
}

namespace {
Money price_of(TomlTable& table) {
  return table.amount<Money>("price", 0, 0, 1e6);
}
/// Above zero, or an error.
Mm size_of(TomlTable& table, std::string_view key) {
  const Mm size = table.required_length(key);
  if (!(size > Mm{}))
    table.error(key, "a size must be greater than zero", short_number(size.v, 3) + " mm", "above 0 mm");
  return size;
}
std::vector<Mm> lengths_of(TomlTable& table) {
  std::vector<Mm> out;
  for (const std::string& text : table.texts("lengths")) {
    const std::optional<Mm> length = parse_length(text);
    if (!length || !(*length > Mm{}) || (!out.empty() && *length <= out.back()))
      table.error("lengths", "lengths with their unit, each longer than the one before, are expected", text,
                  "such as [\"10 mm\", \"12 mm\"]");
    else
      out.push_back(*length);
  }
  return out;
}
}  // namespace

Hardware read_hardware(std::string_view text, const std::string& file, Diagnostics& diagnostics) {
  Hardware list;
  with_toml(text, file, diagnostics, [&](TomlTable& root) {
    list.name = root.text("name", file);
    root.text("note");
    const auto known = [&](TomlTable& t, const std::string& thread) {
      if (!list.thread(thread))
        t.error("thread", "a thread that this list does not have", thread, "the name of one of its [[thread]] tables");
    };
    root.tables("thread", [&](TomlTable& t) {
      list.threads.push_back({.name = t.text("name"),
                              .core = size_of(t, "core"),
                              .clearance = size_of(t, "clearance"),
                              .head = size_of(t, "head"),
                              .head_height = size_of(t, "head_height"),
                              .button = t.length("button").value_or(Mm{}),
                              .button_height = t.length("button_height").value_or(Mm{}),
                              .price = price_of(t)});
    });
    root.tables("sleeve", [&](TomlTable& t) {
      list.sleeves.push_back({size_of(t, "outer"), t.text("thread"), price_of(t)});
      known(t, list.sleeves.back().thread);
    });
    root.tables("shoulder_screw", [&](TomlTable& t) {
      list.shoulder_screws.push_back({.shoulder = size_of(t, "shoulder"),
                                      .thread = t.text("thread"),
                                      .head = size_of(t, "head"),
                                      .head_height = size_of(t, "head_height"),
                                      .lengths = lengths_of(t),
                                      .price = price_of(t)});
      known(t, list.shoulder_screws.back().thread);
    });
    root.tables("pillar", [&](TomlTable& t) {
      list.pillars.push_back({size_of(t, "diameter"), lengths_of(t), price_of(t)});
    });
    root.tables("bush", [&](TomlTable& t) {
      list.bushes.push_back({size_of(t, "bore"), size_of(t, "outer"), price_of(t)});
    });
    root.tables("spring", [&](TomlTable& t) {
      list.springs.push_back({.name = t.text("name"),
                              .outer = size_of(t, "outer"),
                              .wire = size_of(t, "wire"),
                              .free = size_of(t, "free"),
                              .turns = t.number("turns", 0, 0.5, 1000),
                              .price = price_of(t)});
      const CoilSpring& spring = list.springs.back();
      if (2 * spring.wire >= spring.outer || spring.solid() >= spring.free)
        t.error("wire", "such a spring cannot be wound", spring.name, "a thinner wire, or fewer turns");
    });
    root.tables("standoff", [&](TomlTable& t) {
      list.standoffs.push_back({t.text("thread"), size_of(t, "diameter"), lengths_of(t), price_of(t)});
    });
    root.tables("collar", [&](TomlTable& t) {
      list.collars.push_back({size_of(t, "bore"), size_of(t, "outer"), size_of(t, "width"), price_of(t)});
    });
    root.tables("material", [&](TomlTable& t) {
      list.materials.push_back({.name = t.text("name"),
                                .modulus = MPa{1000 * t.number("modulus_gpa", 0, 0.01, 1000)},
                                .density = t.number("density", 0, 0.01, 30)});
    });
    root.tables("clamp", [&](TomlTable& t) {
      list.clamps.push_back({.holds = t.force("holds").value_or(Newton{}),
                             .stroke = size_of(t, "stroke"),
                             .rod = size_of(t, "rod"),
                             .holes_x = size_of(t, "holes_x"),
                             .holes_y = size_of(t, "holes_y"),
                             .thread = t.text("thread"),
                             .rod_thread = t.text("rod_thread"),
                             .price = price_of(t)});
      known(t, list.clamps.back().thread);
      known(t, list.clamps.back().rod_thread);
    });
    root.tables("bar", [&](TomlTable& t) {
      list.bars.push_back({size_of(t, "side"), t.text("thread"), price_of(t)});
      known(t, list.bars.back().thread);
    });
    root.tables("hinge", [&](TomlTable& t) {
      list.hinges.push_back({.holds = t.force("holds").value_or(Newton{}),
                             .width = size_of(t, "width"),
                             .leaf = size_of(t, "leaf"),
                             .closed = size_of(t, "closed"),
                             .holes = size_of(t, "holes"),
                             .screws_in = size_of(t, "screws_in"),
                             .thread = t.text("thread"),
                             .price = price_of(t)});
      known(t, list.hinges.back().thread);
    });
    root.tables("latch", [&](TomlTable& t) {
      list.latches.push_back({.holds = t.force("holds").value_or(Newton{}),
                              .holes = size_of(t, "holes"),
                              .depth = size_of(t, "depth"),
                              .body = size_of(t, "body"),
                              .body_holes = size_of(t, "body_holes"),
                              .thread = t.text("thread"),
                              .price = price_of(t)});
      known(t, list.latches.back().thread);
    });
    root.tables("gasket", [&](TomlTable& t) {
      list.gaskets.push_back({.width = size_of(t, "width"),
                              .height = size_of(t, "height"),
                              .least = size_of(t, "least"),
                              .stress = MPa{t.number("stress_kpa", 0, 0, 1e5) / 1000},
                              .metre = price_of(t)});
      if (list.gaskets.back().least >= list.gaskets.back().height)
        t.error("least", "a gasket must give way", short_number(list.gaskets.back().least.v, 2) + " mm",
                "less than its height");
    });
    root.tables("connector", [&](TomlTable& t) {
      list.connectors.push_back({.name = t.text("name"),
                                 .standard = t.text("standard"),
                                 .pins = t.whole("pins", 0, 1, 1000),
                                 .amperes = t.amount<Amperes>("amperes", 1, 0.001, 1000),
                                 .cut_x = size_of(t, "cut_x"),
                                 .cut_y = size_of(t, "cut_y"),
                                 .holes = size_of(t, "holes"),
                                 .thread = t.text("thread"),
                                 .price = price_of(t)});
      known(t, list.connectors.back().thread);
    });
  });
  return list;
}

}  // namespace teasel
