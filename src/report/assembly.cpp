// The order in which a fixture is put together: sheet to print and tick off.
#include <algorithm>
#include <array>
#include <map>
#include <set>

#include "paper.h"
#include "teasel/fixture/mechanism.h"
#include "teasel/words.h"

namespace teasel {

namespace {
/// Parts of the mechanism that one step fits, and what the bill of materials lists beside them.
struct Step {
  const char* title;
  const char* before;  ///< what to know before it; empty: nothing
  std::vector<std::string> parts;  ///< in the order in which they are fitted
  std::set<std::string> items;
  bool wires = false;
};

const std::array<Step, 8>& steps() {
  // Common practice, no source.
  static const std::array<Step, 8> order{{
      {"Press in what plates carry",
       "Deburr and measure the plates first (first-article.html, part 1). Bushes before pillars and pins; ream bushes "
       "after "
       "pressing. Press on an arbor press, square to the plate, on a support with a hole under the pin.",
       {"bush", "guide pillar", "alignment pin", "edge guide"},
       {"tooling pin", "orientation pin", "guide pin"}},
      {"Press in receptacles",
       "To the height of set-heights.csv, with a stepped tool; a receptacle that sits too deep is pulled, not knocked "
       "back. No probes yet.",
       {},
       {"receptacle"}},
      {"Fit what the board lies on",
       "Stops and fingers by their studs, a drop of thread locker on each.",
       {},
       {"board stop", "push finger"}},
      {"Hang the moving plate",
       "Set the stops first, then springs in their seats, the plate, its screws. Press it down by hand: it goes down "
       "freely to all stops and comes back by itself. Springs fly: wear eye protection.",
       {"stroke stop", "compression spring", "shoulder screw", "sleeve", "gasket", "sealant", "vacuum port"},
       {}},
      {"Wire",
       "With the connectors in the base plate and the base plate turned down beside the fixture; wiring.html, bundle "
       "by bundle. Then the first two stages of verify.csv, before anything closes over the wires.",
       {"connector"},
       {},
       true},
      {"Close the stack",
       "Standoffs first by their ends at the probe plate. No wire between a standoff and a plate.",
       {"standoff", "closing spacer", "foot", "bench screw"},
       {}},
      {"Fit what closes the bed",
       "All four closing spacers within 0.02 mm before the clamp is set.",
       {"leg of the lid", "rest", "butt hinge", "rubber buffer", "draw latch", "pillar of the lid", "clamp collar",
        "push clamp", "rod extension"},
       {}},
      {"Earth, counter, contact, probes",
       "Probes last: their tips are sharp. Wear eye protection and a wrist strap. Push each in straight with an insertion "
       "tool, until it seats.",
       {"earth point", "cycle counter", "board-present contact", "cable clamp", "finger opening"},
       {"probe"}},
  }};
  return order;
}

/// Alike in all but place.
struct Row {
  std::string part, size, how;
  std::vector<std::string> labels;
};

/// Where in the step a part is fitted; its end: elsewhere.
std::size_t rank_in(const Step& step, const std::string& part) {
  return static_cast<std::size_t>(std::find(step.parts.begin(), step.parts.end(), part) - step.parts.begin());
}
bool fits(const Step& step, const std::string& part) {
  return rank_in(step, part) < step.parts.size();
}

std::vector<Row> rows_of(const Outcome& outcome, const Step& step, bool last) {
  std::vector<Row> out;
  std::map<std::array<std::string, 3>, std::size_t> known;
  for (const MechanismPart& part : outcome.results.mechanism.parts) {
    // What a style mounts of its own comes with the last step.
    const bool left = last && std::none_of(steps().begin(), steps().end(),
                                           [&](const Step& other) { return fits(other, part.part); });
    if (!left && !fits(step, part.part)) continue;
    const std::array key{part.part, part.size, part.how};
    const auto [at, added] = known.emplace(key, out.size());
    if (added)
      out.push_back({part.part, part.size + (part.standard.empty() ? "" : ", " + part.standard), part.how, {}});
    out[at->second].labels.push_back(part.label);
  }
  std::stable_sort(out.begin(), out.end(),
                   [&](const Row& a, const Row& b) { return rank_in(step, a.part) < rank_in(step, b.part); });
  return out;
}

void add_step(Form& form, const Outcome& outcome, const Step& step, int number, bool last) {
  const std::vector<Row> rows = rows_of(outcome, step, last);
  std::vector<const Material*> items;
  for (const Material& material : outcome.results.cost.materials)
    if (step.items.count(material.item)) items.push_back(&material);
  if (rows.empty() && items.empty() && !step.wires) return;
  form.head(std::to_string(number) + ". " + step.title);
  form.text(step.before);
  if (std::string(step.title) == "Fit what closes the bed" && outcome.results.mechanism.has_lid())
    form.list({"Legs to the bridge, rests and hinge leaves to the legs, hinges to the base plate, screws not yet tight.",
               "Hang the upper bed in the bridge by its pillars, collars loose. Close the lid by hand: the alignment "
               "pins find their bushes, all closing spacers meet what is under them, front legs on their rests.",
               "Now tighten hinges, then the collars, so that each pillar slides freely by hand; then the latches.",
               "Open and close ten times. If an alignment pin rubs, loosen the hinges and close again."});
  if (!rows.empty() || !items.empty()) {
    form.table({"done", "part", "size", "where", "how"});
    for (const Material* item : items)
      form.row({"", short_number(item->needed, 0) + " " + item->item, item->detail, item->used_on,
                "the plate's hole chart has the places"});
    for (const Row& row : rows)
      form.row({"", std::to_string(row.labels.size()) + " " + row.part, row.size, ranges_of(row.labels), row.how});
    form.end_table();
  }
}

void add_screws(Form& form, const Outcome& outcome) {
  if (outcome.results.mechanism.fasteners.empty()) return;
  form.head("Screws by place");
  form.table({"screw", "number", "where"});
  for (const Mechanism::Fastener& row : outcome.results.mechanism.fasteners)
    form.row({row.what + ", " + row.standard, std::to_string(row.count), ranges_of(row.places)});
  form.end_table();
}

void add_plugs(Form& form, const Outcome& outcome) {
  if (outcome.results.mechanics.plug.empty()) return;
  form.head("Holes of the board to cover");
  form.text(
      "Air leaks through these holes of the board. Lay a piece of gasket under each, or a cap over it; they are "
      "counted on when the vacuum is worked out.");
  form.table({"x mm", "y mm", "diameter mm", "covered"});
  for (const HoleId id : outcome.results.mechanics.plug) {
    const BoardHole& hole = outcome.board.holes[id];
    form.row({fixed(hole.at.x, 3), fixed(hole.at.y, 3), fixed(hole.diameter, 2), ""});
  }
  form.end_table();
}
}  // namespace

std::string assembly_html(const Outcome& outcome) {
  Form form(outcome, "Assembly");
  form.warning(
      "Presses, springs and a closing lid crush fingers, tips are sharp, and copper plates short supplies. Build with "
      "nothing connected. Local codes and licensed practice come first.");
  form.text(
      "In this order. Labels are those of drawings, hole charts and mechanism.csv, where places are. Distances of all "
      "plates: section.svg.");
  if (outcome.kit)
    form.text("The frame, its guides and what closes it come with the kit " + outcome.kit->name +
              "; its instructions come first.");
  int number = 0;
  for (const Step& step : steps()) add_step(form, outcome, step, ++number, &step == &steps().back());
  add_screws(form, outcome);
  add_plugs(form, outcome);
  form.to_sign({"built by", "date", "seen by", "date"});
  return form.file();
}

}  // namespace teasel
