// Sheets to print and fill in: the first article, and safety at the station.
#include <map>

#include "paper.h"
#include "teasel/fixture/tolerances.h"
#include "text.h"

namespace teasel {

namespace {
std::string limit_text(const ProvingStep& step) {
  return step.limit + (step.unit.empty() ? "" : " " + step.unit);
}
}  // namespace

namespace {
void add_plates(Form& form, const Outcome& outcome) {
  form.head("1. Plates, before anything is pressed in");
  for (const PlateSample& sample : outcome.proving.samples) {
    const Plate& plate = outcome.plates[static_cast<std::size_t>(sample.plate)];
    form.text(plate.name + ", " + plate.material + " " + fixed(plate.thickness, 2) +
              " mm: " + std::to_string(plate.holes.size()) + " holes, " + std::to_string(plate.pockets.size()) +
              " depths of pockets; " + plate.seen_from + ". The engraving reads the right way round on that face.");
    form.table({"hole", "kind", "x mm", "y mm", "measured x", "measured y", "dia mm", "tolerance", "measured dia"});
    for (const int i : sample.holes) {
      const PlateHole& hole = plate.holes[static_cast<std::size_t>(i)];
      const HoleTolerance tolerance = tolerance_of(hole.kind, hole.diameter);
      form.row({hole.label, to_string(hole.kind), fixed(hole.plate.x, 3), fixed(hole.plate.y, 3), "", "",
                fixed(hole.diameter, 3), "+" + fixed(tolerance.plus, 3) + " / -" + fixed(tolerance.minus, 3), ""});
    }
    form.end_table();
  }
}

void add_set_heights(Form& form, const Outcome& outcome) {
  form.head("2. Set heights and what holds the board");
  form.table({"bed", "class", "receptacle over the plate's board face, mm", "tolerance mm", "measured, lowest",
              "measured, highest"});
  for (const SetHeight& set_height : outcome.set_heights)
    form.row({set_height.lower ? "lower" : "upper", outcome.catalogue.classes[set_height.probe_class].name,
              fixed(set_height.height, 2) + (set_height.height < Mm{} ? " (sunk)" : ""),
              "+/- " + fixed(outcome.rules.travel.set_height_tolerance.v, 2), "", ""});
  form.end_table();
  std::map<std::string, int> held;
  for (const Plate& plate : outcome.plates)
    for (const PlateHole& hole : plate.holes)
      if (hole.kind == PlateHole::Kind::stop || hole.kind == PlateHole::Kind::finger)
        ++held[std::string(to_string(hole.kind)) + "s on the " + (plate.lower ? "lower " : "upper ") +
               to_string(plate.kind) + " plate, height " + fixed(plate.at_work, 2) + " mm"];
  form.table({"supports", "planned", "fitted"});
  for (const auto& [what, count] : held) form.row({what, std::to_string(count), ""});
  form.end_table();
}

void add_checks(Form& form, const Outcome& outcome) {
  form.head("3. Electrical checks and aids (verify.csv, line by line)");
  form.table({"stage", "lines", "limit", "passed", "failed lines", "who, when"});
  struct Stage {
    std::string name, limit;
    int steps = 0;
  };
  std::vector<Stage> stages;
  for (const ProvingStep& step : outcome.proving.steps) {
    if (stages.empty() || stages.back().name != step.stage) stages.push_back({step.stage, limit_text(step)});
    ++stages.back().steps;
  }
  for (const Stage& stage : stages)
    form.row(
        {stage.name, std::to_string(stage.steps), stage.name == "witness marks" ? "below" : stage.limit, "", "", ""});
  form.end_table();
}

void add_marks(Form& form, const Outcome& outcome) {
  form.head("4. Witness marks on a bare board");
  form.text(
      "The probes with the worst odds. Close three times on a bare board, look with a loupe: each mark lies on its "
      "land, no farther off its planned place than stated.");
  form.table({"probe", "net", "land", "side", "x mm", "y mm", "chance to miss", "may be off by, mm", "found, mm"});
  for (const WitnessMark& mark : outcome.proving.marks) {
    const PlacedProbe& probe = chosen(outcome).probes[mark.probe];
    const Point aim = outcome.access.spots[probe.spot].at;
    form.row({probe.name, net_name(outcome, probe.need), feature_of(outcome, probe.target).name,
              to_string(outcome.access.targets[probe.target].side), fixed(aim.x, 3), fixed(aim.y, 3), chance(mark.miss),
              fixed(mark.room, 3), ""});
  }
  form.end_table();
}

void add_loading(Form& form, const Outcome& outcome) {
  form.head("5. Loading and closing");
  form.table({"check", "planned", "found"});
  form.row({"the board goes onto the pins this way only", "tried: half turn, turned over, both", ""});
  for (const WrongWay& way : outcome.board.wrong_ways)
    form.row({"KNOWN: the board also goes on " + way.how, "stop it by an edge guide or a third pin before use", ""});
  form.row({"sum of probe forces at work",
            fixed(sum_of_forces(outcome.access, outcome.catalogue, outcome.rules, chosen(outcome)).v, 1) + " N", ""});
  form.row({"board flat when closed, nothing but fingers, stops and tips touches it",
            "paper strips under each corner hold", ""});
  form.row({"tall parts clear of every plate when closed", "modelling clay left on the tallest parts", ""});
  form.row({"opens without tilting, board stays on the pins", "ten times", ""});
  form.end_table();
}

void add_first_boards(Form& form) {
  form.head("6. First boards");
  form.table({"board", "result of the test", "known condition", "agree?"});
  for (const char* board : {"known good 1", "known good 2", "known bad (one part removed)", "no board"})
    form.row({board, "", "", ""});
  form.end_table();
}
}  // namespace

std::string first_article_html(const Outcome& outcome) {
  Form form(outcome, "First-article sheet");
  form.text(
      "To be filled in while the first fixture of this plan is built, in this order. A line that fails stops the work "
      "until its cause is known.");
  bool draft = false;
  for (const Plate& plate : outcome.plates) draft |= !plate.drafts.empty();
  if (draft)
    form.warning(
        "The plates of this plan are drafts: their drill files name the part facts that are assumed. Measure those "
        "before drilling.");
  add_plates(form, outcome);
  add_set_heights(form, outcome);
  add_checks(form, outcome);
  add_marks(form, outcome);
  add_loading(form, outcome);
  add_first_boards(form);
  form.table({"built by", "proved by", "released by", "date"});
  form.row({"", "", "", ""});
  form.end_table();
  return form.file();
}

namespace {
void add_pinch_points(Form& form, const Outcome& outcome) {
  const double force = sum_of_forces(outcome.access, outcome.catalogue, outcome.rules, chosen(outcome)).v;
  form.head("Pinch points and guards");
  std::vector<std::string> pinch = {
      "The bed pushes back with " + fixed(force, 0) + " N when closed" +
          (outcome.kit && outcome.kit->force.v > 0
               ? "; the press can close with " + fixed(outcome.kit->force.v, 0) + " N"
               : "") +
          ". Both are enough to crush fingers.",
      "Keep hands out while it closes: a guard, two-hand control, or a lid that cannot be closed over a hand, as local "
      "machine-safety codes ask.",
      "A powered press stops when its guard opens, and does not start by itself when it shuts.",
      "Opened, the bed springs up: let the board come free before reaching in."};
  if (outcome.kit && outcome.kit->kind == "clamshell")
    pinch.push_back("Clamshell: the hinge side closes first; keep the lid held or latched while loading.");
  if (outcome.kit && outcome.kit->kind == "vacuum box")
    pinch.push_back(
        "Vacuum box: release the vacuum before lifting the board; do not lay a hand on the gasket while it draws.");
  form.list(pinch);
}

void add_batteries(Form& form) {
  form.head("Lithium cells and packs");
  form.text(
      "Disconnect or remove the pack before clamping. Write down what is on its label: energy in Wh = nominal volts x "
      "ampere-hours; cells in parallel add capacity, not voltage. A tip that bridges the terminals can start a fire "
      "within seconds. Have sand or the extinguishant that local rules name at hand, and a place outside for a hot "
      "pack. A swollen or dented pack is not tested.");
  form.table({"pack connector or holder", "nominal V", "Ah", "Wh", "removed before clamping"});
  form.row({"", "", "", "", ""});
  form.end_table();
}

void add_supplies(Form& form, const Outcome& outcome) {
  form.head("Supplies: limits set before contact");
  form.text(
      "Set voltage and current limits with no board in place. Probes touch first; the test for shorts passes; only "
      "then power goes on. Power goes off, and the rails are discharged, before the bed opens.");
  form.table({"rail", "V by its name", "A stated", "A its probes carry", "voltage limit set", "current limit set",
              "discharged through"});
  std::size_t shown = 0;
  for (const SupplyReach& supply : outcome.audit.supplies)
    if (supply.probes > 0 && shown++ < 60)
      form.row({outcome.board.nets[supply.net].name, supply.states_volts ? short_number(supply.volts, 3) : "not stated",
                supply.wanted > Amperes{} ? short_number(supply.wanted, 3) : "not stated",
                short_number(supply.amperes, 2), "", "", ""});
  form.end_table();
  if (shown > 60) form.text("The first 60 of " + std::to_string(shown) + " rails; all of them are in supplies.csv.");
}
}  // namespace

std::string safety_html(const Outcome& outcome) {
  Form form(outcome, "Safety sheet for the test station");
  form.text(
      "Usual cautions for a fixture of this kind. Local codes, the machine's own instructions and the site's safety "
      "people decide; where they say more, they apply. Work above extra-low voltage is for licensed or authorised "
      "people.");
  add_pinch_points(form, outcome);
  form.head("Cautions for this board");
  form.list(cautions(outcome));
  add_batteries(form);
  add_supplies(form, outcome);
  form.head("Stored energy");
  form.list(
      {"Capacitors keep their charge after power is off: discharge through a resistor, never by a short, and measure "
       "before touching.",
       "Converters above 60 V DC or 30 V AC, mains parts and hipot tests: only under the rules for such work, by "
       "people licensed for it."});
  form.head("Tips, static, chemicals");
  form.list(
      {"Tips are sharp and springy: eye protection when probes are changed; cover the bed when no board lies in it.",
       "Earthed bench, wrist strap, earthed plates or dissipative plate material: follow the site's ESD programme.",
       "Cleaning: brush or the agent that the probe maker allows, power off, away from ignition sources; mind its data "
       "sheet."});
  form.head("Stop and call for help");
  form.list(
      {"Smoke, heat, smell, a supply in current limit, a board that bends or lies askew: open, switch off, do not "
       "repeat the closing.",
       "A probe that does not come back up, or a mark off its land: the bed is taken out of use until it has been "
       "proved again."});
  form.table({"read and understood", "date", "signature"});
  for (int i = 0; i < 4; ++i) form.row({"", "", ""});
  form.end_table();
  return form.file();
}

}  // namespace teasel
