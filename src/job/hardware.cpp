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
  const auto found =
      std::find_if(threads.begin(), threads.end(), [&](const Thread& thread) { return thread.name == wanted; });
  return found == threads.end() ? nullptr : &*found;
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
    root.tables("thread", [&](TomlTable& t) {
      list.threads.push_back({.name = t.text("name"),
                              .core = size_of(t, "core"),
                              .clearance = size_of(t, "clearance"),
                              .head = size_of(t, "head"),
                              .head_height = size_of(t, "head_height"),
                              .price = price_of(t)});
    });
    root.tables("shoulder_screw", [&](TomlTable& t) {
      list.shoulder_screws.push_back({.shoulder = size_of(t, "shoulder"),
                                      .thread = t.text("thread"),
                                      .head = size_of(t, "head"),
                                      .head_height = size_of(t, "head_height"),
                                      .lengths = lengths_of(t),
                                      .price = price_of(t)});
      if (!list.thread(list.shoulder_screws.back().thread))
        t.error("thread", "a thread that this list does not have", list.shoulder_screws.back().thread,
                "the name of one of its [[thread]] tables");
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
    root.tables("clamp", [&](TomlTable& t) {
      list.clamps.push_back({t.force("holds").value_or(Newton{}), price_of(t)});
    });
  });
  return list;
}

}  // namespace teasel
