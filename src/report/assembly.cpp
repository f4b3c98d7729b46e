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
bool has_plate(const Outcome& outcome, PlateKind kind) {
  return std::any_of(outcome.results.plates.begin(), outcome.results.plates.end(),
                     [&](const Plate& plate) { return plate.kind == kind; });
}

/// Parts of the mechanism that one step fits, and what the bill of materials lists beside them.
struct Step {
  std::string title, before;
  std::vector<std::string> parts;  ///< in the order in which they are fitted
  std::set<std::string> items;     ///< of the bill of materials
  bool always = false;
};

/// "24 mm behind the lower probe plate": room for tails with their wires, to the plate behind.
std::string room_of_tails(const Outcome& outcome) {
  std::string text;
  for (const Plate& probe : outcome.results.plates)
    for (const Plate& behind : outcome.results.plates)
      if (probe.kind == PlateKind::probe && probe.lower == behind.lower &&
          behind.kind == (probe.lower ? PlateKind::base : PlateKind::push))
        text += (text.empty() ? "" : ", ") + short_number(behind.at_work - probe.at_work - probe.thickness, 1) +
                " mm behind the " + (probe.lower ? "lower" : "upper") + " probe plate";
  if (text.empty()) return "";
  return " Tails with their wires have " + text +
         (has_plate(outcome, PlateKind::push) && outcome.results.mechanism.clamped > Newton{}
              ? ", 10 mm less under the clamp's rod where that ends there"
              : "") +
         ".";
}

/// Common practice, no source. What moves is hung last, for it covers screws and nuts under it.
std::vector<Step> steps_for(const Outcome& outcome) {
  const bool sheets = outcome.style.mechanism.sheets, own = outcome.results.mechanism.used(),
             lid = outcome.results.mechanism.has_lid();
  std::vector<Step> out;
  out.push_back(
      {"Press in what plates carry",
       "Deburr and measure the plates first (first-article.html, part 1). Bushes before pillars and pins; ream bushes "
       "after pressing. Press square to the plate, on a support with a hole under the pin.",
       {"finger opening", "bush", "alignment pin", "edge guide"},
       {"tooling pin", "orientation pin", "guide pin"}});
  if (!sheets) out.back().parts.insert(out.back().parts.begin() + 2, "guide pillar");
  out.push_back(
      {"Press in receptacles",
       "To the height of set-heights.csv, with a stepped tool; a receptacle that sits too deep is pulled, not "
       "knocked back. No probes yet." +
           room_of_tails(outcome),
       {},
       {"receptacle"}});
  out.push_back({"Fit what stands on the plates",
                 sheets ? "Stops and fingers with their nuts; no thread locker on acrylic or print, which it cracks."
                        : "Stops and fingers by their studs, a drop of thread locker on each.",
                 {"standoff", "board-present contact", "cable clamp", "cycle counter", "vacuum port"},
                 {"board stop", "push finger"}});
  out.push_back(
      {"Wire",
       own ? "With the connectors in the base plate and the base plate turned down beside the fixture; "
             "wiring.html, bundle by bundle. Then the stages \"wiring\" and \"no board\" of verify.csv, before "
             "anything closes over the wires."
           : "To the kit's block, wiring.html, bundle by bundle, with enough slack to turn the plates over. Then "
             "the stages \"wiring\" and \"no board\" of verify.csv.",
       {"connector"},
       {},
       true});
  Step probes{
      "Put in the probes",
      "Before anything hangs over them. Tips are sharp: wear eye protection and a wrist strap, and cover the bed "
      "afterwards. Push each in straight with an insertion tool, until it seats; probes.csv has tip and head of "
      "each.",
      {},
      {"probe"},
      true};
  if (has_plate(outcome, PlateKind::push)) {
    probes.before = (sheets ? "The upper bed first gets its push plate"
                            : "The upper bed first gets its closing spacers and its push plate") +
                    (", so that it can be laid down on them. " + probes.before);
    if (!sheets) probes.parts.emplace_back("closing spacer");
  }
  out.push_back(std::move(probes));
  out.push_back(
      {"Hang the moving plate",
       own ? "Stops first, then springs" + std::string(sheets ? " on their sleeves" : " in their seats") +
                 ", the plate, its screws" +
                 (sheets ? ", whose nuts are reached from below while the base plate is off"
                         : ", each cut to length beforehand") +
                 ". Press it down by hand: it goes down freely to all stops, comes back by itself, and no tip "
                 "rubs. Springs fly: wear eye protection."
           : "With the guides, springs, stops and screws of the kit, at the distances of section.svg. Press it "
             "down by hand: it comes back by itself, and no tip rubs.",
       {"stroke stop", "compression spring", "shoulder screw", "sleeve", "gasket"},
       {},
       has_plate(outcome, PlateKind::moving)});
  if (sheets) out.back().parts.insert(out.back().parts.begin(), "guide pillar");
  out.push_back(
      {"Close the lower stack",
       "Once more look for wires on the wrong side. Then " +
           std::string(outcome.results.mechanism.seal > Mm{} ? "the sealant, and when it has set " : "") +
           "the base plate onto its standoffs; no wire between a standoff and a plate." +
           (sheets ? " The collar over the base plate goes onto each pillar before it, the one under it after." : ""),
       {"sealant", "clamp collar of the base", "foot", "bench screw", "earth point"},
       {}});
  out.push_back(
      {"Fit what closes the bed",
       own ? lid || outcome.results.mechanism.clamped > Newton{}
                 ? "The upper plates onto their standoffs, then bridge and clamp. Closing spacers are all within "
                   "0.02 mm before the clamp is set."
                 : ""
           : "As the kit's instructions say.",
       {"closing spacer", "leg of the lid", "rest", "butt hinge", "rubber buffer", "draw latch", "pillar of the lid",
        "clamp collar of the bridge", "push clamp", "rod extension"},
       {},
       !own});
  if (lid)
    out.back().before +=
        " Legs to the bridge, rests and hinge leaves to the legs, hinges to the base plate, screws not yet tight. Hang "
        "the upper bed in the bridge by its pillars, collars loose. Close the lid by hand: the alignment pins find "
        "their "
        "bushes, all closing spacers meet what is under them, the front legs stand on their rests. Now tighten the "
        "hinges, then the collars, so that each pillar slides freely; then the latches. Open and close ten times. If "
        "an "
        "alignment pin rubs, loosen the hinges and close again.";
  return out;
}

/// Alike in all but place.
struct Row {
  std::string part, size, how;
  std::vector<std::string> labels;
  std::size_t rank = 0;  ///< in its step
};

/// Where in the step a part is fitted; its end: elsewhere. Collars of base and bridge are fitted apart.
std::size_t rank_in(const Step& step, const MechanismPart& part) {
  std::string name = part.part;
  if (name == "clamp collar")
    name += part.how.find("base plate") != std::string::npos ? " of the base" : " of the bridge";
  return static_cast<std::size_t>(std::find(step.parts.begin(), step.parts.end(), name) - step.parts.begin());
}
bool fits(const Step& step, const MechanismPart& part) {
  return rank_in(step, part) < step.parts.size();
}

std::vector<Row> rows_of(const Outcome& outcome, const std::vector<Step>& steps, const Step& step) {
  const bool last = &step == &steps.back();
  std::vector<Row> out;
  std::map<std::array<std::string, 3>, std::size_t> known;
  for (const MechanismPart& part : outcome.results.mechanism.parts) {
    // What a style mounts of its own comes with the last step.
    const bool left =
        last && std::none_of(steps.begin(), steps.end(), [&](const Step& other) { return fits(other, part); });
    if (!left && !fits(step, part)) continue;
    const std::array key{part.part, part.size, part.how};
    const auto [at, added] = known.emplace(key, out.size());
    if (added)
      out.push_back({part.part,
                     part.size + (part.standard.empty() ? "" : ", " + part.standard),
                     part.how,
                     {},
                     rank_in(step, part)});
    out[at->second].labels.push_back(part.label);
  }
  std::stable_sort(out.begin(), out.end(), [](const Row& a, const Row& b) { return a.rank < b.rank; });
  return out;
}

/// False: there is nothing to do in it.
bool add_step(Form& form, const Outcome& outcome, const std::vector<Step>& steps, const Step& step, int number) {
  const std::vector<Row> rows = rows_of(outcome, steps, step);
  std::vector<const Material*> items;
  for (const Material& material : outcome.results.cost.materials)
    if (step.items.count(material.item)) items.push_back(&material);
  if (rows.empty() && items.empty() && !step.always) return false;
  form.head(std::to_string(number) + ". " + step.title);
  form.text(step.before);
  if (rows.empty() && items.empty()) return true;
  form.table({"done", "part", "size", "where", "how"});
  for (const Material* item : items)
    form.row({"", short_number(item->needed, 0) + " " + item->item, item->detail,
              item->names.empty() ? item->used_on : ranges_of(item->names), "the plate's hole chart has the places"});
  for (const Row& row : rows)
    form.row({"", std::to_string(row.labels.size()) + " " + row.part, row.size, ranges_of(row.labels), row.how});
  form.end_table();
  return true;
}

void add_screws(Form& form, const Outcome& outcome) {
  if (outcome.results.mechanism.fasteners.empty()) return;
  form.head("Screws by place");
  form.table({"screw", "number", "where"});
  for (const Mechanism::Fastener& row : outcome.results.mechanism.fasteners)
    form.row({row.what + ", " + row.standard, std::to_string(row.count), ranges_of(row.places)});
  form.end_table();
}

/// The pin of the fixture that stands in a hole of the board; empty: none does.
std::string pin_in(const Outcome& outcome, const BoardHole& board_hole) {
  for (const Plate& plate : outcome.results.plates)
    for (const PlateHole& hole : plate.holes)
      if (hole.kind == PlateHole::Kind::orientation_pin &&
          distance(hole.board, board_hole.at) < board_hole.diameter.v / 2)
        return hole.label;
  return {};
}

void add_plugs(Form& form, const Outcome& outcome) {
  const Mechanics& mechanics = outcome.results.mechanics;
  if (mechanics.plug.empty() && mechanics.leaks.empty()) return;
  form.head("Holes of the board to cover");
  if (!mechanics.leaks.empty())
    form.text(plural(mechanics.leaks.size(), "open hole has a probe", "open holes have probes") +
              " in it and cannot be covered from below: air leaks there, and the pump must make up for it. Prove the "
              "vacuum with a board in (first-article.html, part 5).");
  if (mechanics.plug.empty()) return;
  form.text(
      "Air leaks through these holes. Stick a piece of gasket, as high as a board stop, on the moving plate under "
      "each, "
      "or lay a cover over them from above.");
  form.table({"x mm, board", "y mm, board", "diameter mm", "covered"});
  for (const HoleId id : mechanics.plug) {
    const BoardHole& hole = outcome.board.holes[id];
    const std::string pin = pin_in(outcome, hole);
    form.row({fixed(hole.at.x, 3), fixed(hole.at.y, 3), fixed(hole.diameter, 2),
              pin.empty() ? "" : pin + " stands in it: a ring of gasket round the pin"});
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
      "In this order. Labels are those of drawings, hole charts and mechanism.csv. There places are seen from above, "
      "in "
      "the frame of the lower plates; the hole chart of an upper plate, seen from below, has X reversed. Distances of "
      "all plates: section.svg.");
  if (outcome.kit)
    form.text("The frame, its guides and what closes it come with the kit " + outcome.kit->name +
              "; its instructions come first.");
  int number = 0;
  const std::vector<Step> steps = steps_for(outcome);
  for (const Step& step : steps) number += add_step(form, outcome, steps, step, number + 1);
  add_screws(form, outcome);
  add_plugs(form, outcome);
  form.to_sign({"built by", "date", "seen by", "date"});
  return form.file();
}

}  // namespace teasel
