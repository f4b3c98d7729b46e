// Sheets to print and fill in: the first article, and safety at the station.
#include <map>

#include "paper.h"
#include "teasel/fixture/mechanism.h"
#include "teasel/fixture/orientation.h"
#include "teasel/fixture/tolerances.h"
#include "text.h"

namespace teasel {

namespace {
std::string limit_text(const ProvingStep& step) {
  return step.limit + (step.unit.empty() ? "" : " " + step.unit);
}
}  // namespace

namespace {
/// By a vacuum box, or by a vacuum of the fixture's own.
bool is_drawn_down(const Outcome& outcome) {
  return outcome.kit ? outcome.kit->kind == "vacuum box" : outcome.results.mechanism.air > Newton{};
}

void add_plates(Form& form, const Outcome& outcome) {
  form.head("1. Plates, before anything is pressed in");
  for (std::string line : small_land_lines(outcome)) {
    line.erase(0, line.find_first_not_of(' '));
    form.text(capital(std::move(line)) + ".");
  }
  for (const PlateSample& sample : outcome.results.proving.samples) {
    const Plate& plate = outcome.results.plates[static_cast<std::size_t>(sample.plate)];
    form.text(plate.name + ", " + plate.material + " " + fixed(plate.thickness, 2) +
              " mm: " + std::to_string(plate.holes.size()) + " holes, " + std::to_string(plate.pockets.size()) +
              " pocket depths; " + plate.seen_from + ". The engraving reads correctly on that face.");
    form.table({"hole", "kind", "x mm", "y mm", "measured x", "measured y", "dia mm", "tolerance", "measured dia"});
    for (const int i : sample.holes) {
      const PlateHole& hole = plate.holes[static_cast<std::size_t>(i)];
      const HoleTolerance tolerance = tolerance_of(hole.kind, hole.diameter);
      form.row({hole.label, to_string(hole.kind), fixed(hole.plate.x, 3), fixed(hole.plate.y, 3), "", "",
                fixed(hole.diameter, 3), text_of(tolerance), ""});
    }
    form.end_table();
  }
}

void add_set_heights(Form& form, const Outcome& outcome) {
  form.head("2. Set heights and what holds the board");
  form.table({"bed", "class", "receptacle over the plate's board face, mm", "tolerance mm", "measured, lowest",
              "measured, highest"});
  for (const SetHeight& set_height : outcome.results.set_heights)
    form.row({set_height.lower ? "lower" : "upper", outcome.catalogue.classes[set_height.probe_class].name,
              fixed(set_height.height, 2) + (set_height.height < Mm{} ? " (sunk)" : ""),
              "+/- " + fixed(outcome.rules.travel.set_height_tolerance.v, 2), "", ""});
  form.end_table();
  const auto height_of = [&](const Plate& plate, const PlateHole& hole) {
    for (const PlacedSupport& support : outcome.results.mechanics.supports)
      if (support.label == hole.label && support.side == plate.probes) return reach_of(outcome, support);
    return plate.at_work;
  };
  std::map<std::string, int> held;
  for (const Plate& plate : outcome.results.plates)
    for (const PlateHole& hole : plate.holes)
      if (hole.kind == PlateHole::Kind::stop || hole.kind == PlateHole::Kind::finger)
        ++held[std::string(to_string(hole.kind)) + "s on the " + (plate.lower ? "lower " : "upper ") +
               to_string(plate.kind) + " plate, height " + fixed(height_of(plate, hole), 2) + " mm"];
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
  for (const ProvingStep& step : outcome.results.proving.steps) {
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
      "These are the probes with the worst odds. Close the fixture three times on a bare board and look at the marks "
      "with a loupe. Each mark must lie on its land, no farther from its planned place than stated.");
  form.table({"probe", "net", "land", "side", "x mm", "y mm", "chance of a miss", "largest offset allowed, mm",
              "offset found, mm"});
  for (const WitnessMark& mark : outcome.results.proving.marks) {
    const PlacedProbe& probe = chosen(outcome).probes[mark.probe];
    const Point aim = outcome.access.spots[probe.spot].at;
    form.row({probe.name, net_name(outcome, probe.need), feature_of(outcome, probe.target).name,
              to_string(outcome.access.targets[probe.target].side), fixed(aim.x, 3), fixed(aim.y, 3), chance(mark.miss),
              fixed(mark.room, 3), ""});
  }
  form.end_table();
}

/// Stops that the plan has free are not asked to hold.
void add_flatness(Form& form, const Outcome& outcome) {
  const Mechanics& mechanics = outcome.results.mechanics;
  const PressedState* full = mechanics.at_full_stroke();
  std::vector<std::string> hold, free;
  for (std::size_t i = 0; i < mechanics.supports.size(); ++i)
    if (const PlacedSupport& support = mechanics.supports[i]; !support.finger)
      (full && full->support_idle[i] ? free : hold).push_back(support.label);
  form.row({"closed, a strip of paper of 0.1 mm is held at the board stops",
            (hold.empty() ? "at none" : ranges_of(hold)) +
                (free.empty() ? std::string() : "; by plan the board stands free of " + ranges_of(free)),
            ""});
  if (full)
    form.row({"closed, the board leaves its plane by no more than planned",
              fixed(full->up, 2) + " mm at (" + fixed(full->up_at.x, 1) + ", " + fixed(full->up_at.y, 1) +
                  ") towards the top side, " + fixed(full->down, 2) + " mm at (" + fixed(full->down_at.x, 1) + ", " +
                  fixed(full->down_at.y, 1) + ") towards the bottom side",
              ""});
  form.row({"only fingers, stops, pins and tips touch the board", "by eye", ""});
}

void add_loading(Form& form, const Outcome& outcome) {
  form.head("5. Loading and closing");
  form.table({"check", "planned", "found"});
  const bool stopped = ways_left_open(outcome.board, outcome.rules, outcome.results.plates).empty();
  form.row({stopped
                ? "the board goes onto the pins this way only"
                : "the board goes onto the pins; nothing stops the wrong ways below, so a picture of the right way is "
                  "fixed to the fixture",
            "try a half turn, turned over, and both", ""});
  for (const Plate& plate : outcome.results.plates)
    for (const PlateHole& hole : plate.holes)
      if (hole.kind == PlateHole::Kind::orientation_pin)
        form.row({"orientation pin " + hole.label + " stands, and the board goes past it", "no force", ""});
  for (const std::size_t way : ways_left_open(outcome.board, outcome.rules, outcome.results.plates))
    form.row({"KNOWN: the board also goes on " + outcome.board.wrong_ways[way].how,
              "no hole or edge of the board has room for a pin that would stop it: fix a picture of the right way "
              "beside the nest, "
              "and let the tester measure two probes that tell it before it switches a supply on",
              ""});
  form.row({"sum of probe forces at work",
            fixed(sum_of_forces(outcome.access, outcome.catalogue, outcome.rules, chosen(outcome)).v, 1) + " N", ""});
  add_flatness(form, outcome);
  form.row({"tall parts clear every plate when closed", "modelling clay on the tallest parts is not flattened", ""});
  if (is_drawn_down(outcome)) {
    const Bar drawn = outcome.kit ? outcome.kit->vacuum : outcome.style.vacuum;
    form.row({"vacuum at the bed with a board in, pump running",
              "at least " + short_number(drawn.v * outcome.rules.mechanics.vacuum_share, 2) + " bar below the room",
              ""});
    form.row({"the same with the valve shut", "half of it is left after 5 s", ""});
    form.row({"the bed comes down whole, and opens when the valve vents it", "ten times", ""});
  }
  for (const MechanismPart& part : outcome.results.mechanism.parts)
    if (part.part == "closing spacer") {
      form.row({"a strip of paper of 0.1 mm is held at each closing spacer when the fixture is closed",
                "all four, length " + fixed(part.length, 2) + " mm", ""});
      break;
    }
  form.row({"the fixture opens without tilting and the board stays on the pins", "ten times", ""});
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
      "Fill this in, in this order, while the first fixture of this plan is built. If a line fails, stop until its "
      "cause is known.");
  for (const ReleaseReason& reason : outcome.results.release.reasons)
    form.warning((reason.forbids == Release::do_not_drill ? "Do not drill: " : "Draft: ") +
                 (reason.plate.empty() ? "" : reason.plate + ": ") + reason.text + ".");
  add_plates(form, outcome);
  add_set_heights(form, outcome);
  add_checks(form, outcome);
  add_marks(form, outcome);
  add_loading(form, outcome);
  add_first_boards(form);
  form.to_sign({"built by", "proved by", "released by", "date"});
  return form.file();
}

namespace {
void add_pinch_points(Form& form, const Outcome& outcome) {
  PerSide<double> push;
  for (const PlacedProbe& probe : chosen(outcome).probes) {
    const Target& target = outcome.access.targets[probe.target];
    push[target.side] += force_on(outcome.rules, target, outcome.catalogue.classes[probe.probe_class]).v;
  }
  const double least = std::min(push[Side::top], push[Side::bottom]),
               most = std::max(push[Side::top], push[Side::bottom]);
  form.head("Pinch points and guards");
  std::vector<std::string> pinch = {
      (least > 0 ? "When closed, the two beds push against each other through the board, with " + fixed(most, 0) +
                       " N and " + fixed(least, 0) + " N. What closes the fixture holds the larger of the two"
                 : "When closed, the bed pushes back with " + fixed(most, 0) + " N") +
          (outcome.kit && outcome.kit->force.v > 0
               ? "; the press can close with " + fixed(outcome.kit->force.v, 0) + " N"
               : "") +
          (outcome.results.mechanism.clamped > Newton{}
               ? "; with its springs it takes " + fixed(outcome.results.mechanism.pushed, 0) +
                     " N to close, and the toggle clamp can press with " + fixed(outcome.results.mechanism.clamped, 0) +
                     " N over " + fixed(outcome.results.mechanism.travel, 0) +
                     " mm, down between the plates and up between push plate and bridge"
               : "") +
          ". Such forces crush fingers.",
      "Keep hands out while it closes. Use a guard, two-hand control, or a lid that cannot be closed over a hand, as "
      "local machine-safety codes require.",
      "A powered press must stop when its guard opens, and must not restart by itself when the guard shuts.",
      "When it opens, the bed springs up. Let the board come free before you reach in."};
  if (outcome.kit && outcome.kit->kind == "clamshell")
    pinch.push_back("Clamshell: the hinge side closes first. Hold or latch the lid open while you load.");
  if (outcome.results.mechanism.has_lid())
    for (const std::string& line :
         {"The lid is " + fixed(outcome.results.mechanism.lid_kg, 1) +
              " kg of plates, with clamp and legs more. Half open it falls shut, farther it falls back onto its "
              "buffers: "
              "guide it by hand all the way. Screw the fixture to the bench, which the open lid would tip, and keep "
              "the room behind it free.",
          std::string("Close in this order: lid, both latches, clamp. Open in the other: with the clamp down the bed "
                      "pushes the lid up as soon as a latch is opened. Use latches with a safety catch.")})
      pinch.push_back(line);
  if (is_drawn_down(outcome))
    for (const char* line :
         {"Vacuum: the plate comes down by itself when the pump starts. Keep hands off board, plate and gasket while "
          "the "
          "vacuum is on, and release it before you lift the board.",
          "Fit a valve that vents the bed when power or pump fails, and a gauge at the bed. A hose that comes off lets "
          "the "
          "bed spring up under power: secure it, and let the tester switch supplies off when the pressure is lost.",
          "Do not look into the port or hold it shut. A filter keeps flux and chips out of the pump."})
      pinch.push_back(line);
  form.list(pinch);
}

void add_batteries(Form& form) {
  form.head("Lithium cells and packs");
  form.text(
      "Disconnect or remove the pack before clamping. Write down what its label says. The energy in Wh is the nominal "
      "voltage times the ampere-hours; cells in parallel add capacity, not voltage. A tip that bridges the terminals "
      "can start a fire "
      "within seconds. Keep sand, or the extinguishing agent that local rules name, at hand, and know a place outdoors "
      "for a hot pack. Never test a swollen or dented pack.");
  form.table({"pack connector or holder", "nominal V", "Ah", "Wh", "removed before clamping"});
  form.row({"", "", "", "", ""});
  form.end_table();
}

void add_supplies(Form& form, const Outcome& outcome) {
  form.head("Supplies: limits set before contact");
  form.text(
      "Set voltage and current limits with no board in place. Switch power on only after the probes touch and the test "
      "for shorts has passed. Switch power off and discharge the rails before the bed opens.");
  form.table({"rail", "V by its name", "A stated", "A its probes and wires carry", "voltage limit set",
              "current limit set", "discharged through"});
  std::size_t shown = 0;
  for (const SupplyReach& supply : outcome.results.audit.supplies)
    if (supply.probes > 0 && shown++ < 60)
      form.row({outcome.board.nets[supply.net].name, supply.states_volts ? short_number(supply.volts, 3) : "not stated",
                supply.wanted > Amperes{} ? short_number(supply.wanted, 3) : "not stated",
                short_number(carried(outcome, supply), 2), "", "", ""});
  form.end_table();
  if (shown > 60)
    form.text("These are the first 60 of " + std::to_string(shown) + " rails. All of them are in supplies.csv.");
}
}  // namespace

std::string safety_html(const Outcome& outcome) {
  Form form(outcome, "Safety sheet for the test station");
  form.text(
      "These are the usual cautions for a fixture of this kind. Local codes, the instructions of the machine and the "
      "safety officers of the site take precedence. Work above extra-low voltage is for licensed or authorised people "
      "only.");
  add_pinch_points(form, outcome);
  form.head("Cautions for this board");
  form.list(cautions(outcome));
  add_batteries(form);
  add_supplies(form, outcome);
  form.head("Stored energy");
  form.list(
      {"Capacitors keep their charge after power is off. Discharge them through a resistor, never by a short circuit, "
       "and measure before you touch them.",
       "Work on converters above 60 V DC or 30 V AC, on mains parts and with hipot testers is only for people licensed "
       "for it, under the rules for such work."});
  form.head("Tips, static, chemicals");
  form.list(
      {"Tips are sharp and spring-loaded. Wear eye protection when you change probes, and cover the bed when no board "
       "lies in it.",
       "Use an earthed bench, a wrist strap, and earthed plates or dissipative plate material. Follow the ESD "
       "programme of the site.",
       "Clean with a brush or with the agent that the probe maker allows. Switch power off, keep away from sources of "
       "ignition, and follow the data sheet of the agent."});
  form.head("Stop and call for help");
  form.list(
      {"At smoke, heat, a smell, a supply in current limit, or a board that bends or lies askew: switch off, open, and "
       "do not close again.",
       "If a probe does not spring back, or a mark lies off its land, take the bed out of use until it has been proved "
       "again."});
  form.table({"read and understood", "date", "signature"});
  for (int i = 0; i < 4; ++i) form.row({"", "", ""});
  form.end_table();
  return form.file();
}

}  // namespace teasel
