// Sheets to print and fill in: the first article, and safety at the station.
#include <map>

#include "paper.h"
#include "text.h"

namespace teasel {

namespace {
std::string limit_text(const ProvingStep& p) {
  return p.limit + (p.unit.empty() ? "" : " " + p.unit);
}
}  // namespace

std::string first_article_html(const Outcome& o) {
  Page page(o, "First-article sheet");
  page.text(
      "To be filled in while the first fixture of this plan is built, in this order. A line that fails stops the work "
      "until its cause is known.");
  bool draft = false;
  for (const Plate& p : o.plates) draft |= !p.drafts.empty();
  if (draft)
    page.warning(
        "The plates of this plan are drafts: their drill files name the part facts that are assumed. Measure those "
        "before drilling.");
  page.head("1. Plates, before anything is pressed in");
  for (const PlateSample& s : o.proving.samples) {
    const Plate& p = o.plates[static_cast<std::size_t>(s.plate)];
    page.text(p.name + ", " + p.material + " " + fixed(p.thickness, 2) + " mm: " + std::to_string(p.holes.size()) +
              " holes, " + std::to_string(p.pockets.size()) + " depths of pockets; " + p.seen_from +
              ". The engraving reads the right way round on that face.");
    page.table({"hole", "kind", "x mm", "y mm", "measured x", "measured y", "dia mm", "tolerance", "measured dia"});
    for (const int i : s.holes) {
      const PlateHole& h = p.holes[static_cast<std::size_t>(i)];
      const HoleTolerance t = tolerance_of(h.kind, h.diameter);
      page.row({h.label, to_string(h.kind), fixed(h.plate.x, 3), fixed(h.plate.y, 3), "", "", fixed(h.diameter, 3),
                "+" + fixed(t.plus, 3) + " / -" + fixed(t.minus, 3), ""});
    }
    page.end_table();
  }
  page.head("2. Set heights and what holds the board");
  page.table({"bed", "class", "receptacle over the plate's board face, mm", "tolerance mm", "measured, lowest",
              "measured, highest"});
  for (const SetHeight& h : o.set_heights)
    page.row({h.lower ? "lower" : "upper", o.catalogue.classes[static_cast<std::size_t>(h.probe_class)].name,
              fixed(h.height, 2) + (h.height < 0 ? " (sunk)" : ""),
              "+/- " + fixed(o.rules.travel.set_height_tolerance.v, 2), "", ""});
  page.end_table();
  std::map<std::string, int> held;
  for (const Plate& p : o.plates)
    for (const PlateHole& h : p.holes)
      if (h.kind == PlateHole::Kind::stop || h.kind == PlateHole::Kind::finger)
        ++held[std::string(to_string(h.kind)) + "s on the " + (p.lower ? "lower " : "upper ") + to_string(p.kind) +
               " plate, height " + fixed(p.at_work, 2) + " mm"];
  page.table({"supports", "planned", "fitted"});
  for (const auto& [what, n] : held) page.row({what, std::to_string(n), ""});
  page.end_table();
  page.head("3. Electrical checks and aids (verify.csv, line by line)");
  page.table({"stage", "lines", "limit", "passed", "failed lines", "who, when"});
  std::vector<std::pair<std::string, std::pair<int, std::string>>> stages;
  for (const ProvingStep& s : o.proving.steps) {
    if (stages.empty() || stages.back().first != s.stage) stages.push_back({s.stage, {0, limit_text(s)}});
    ++stages.back().second.first;
  }
  for (const auto& [stage, n] : stages)
    page.row({stage, std::to_string(n.first), stage == "witness marks" ? "below" : n.second, "", "", ""});
  page.end_table();
  page.head("4. Witness marks on a bare board");
  page.text(
      "The probes with the worst odds. Close three times on a bare board, look with a loupe: each mark lies on its "
      "land, no farther off its planned place than stated.");
  page.table({"probe", "net", "land", "side", "x mm", "y mm", "chance to miss", "may be off by, mm", "found, mm"});
  for (const WitnessMark& m : o.proving.marks) {
    const PlacedProbe& p = chosen(o).probes[static_cast<std::size_t>(m.probe)];
    const Point aim = o.access.spots[static_cast<std::size_t>(p.spot)].at;
    page.row({p.name, net_name(o, p.need), feature_of(o, p.target).name,
              to_string(o.access.targets[static_cast<std::size_t>(p.target)].side), fixed(aim.x, 3), fixed(aim.y, 3),
              chance(m.miss), fixed(m.room, 3), ""});
  }
  page.end_table();
  page.head("5. Loading and closing");
  page.table({"check", "planned", "found"});
  page.row({"the board goes onto the pins this way only", "tried: half turn, turned over, both", ""});
  for (const WrongWay& w : o.board.wrong_ways)
    page.row({"KNOWN: the board also goes on " + w.how, "stop it by an edge guide or a third pin before use", ""});
  page.row(
      {"sum of probe forces at work", fixed(sum_of_forces(o.access, o.catalogue, o.rules, chosen(o)).v, 1) + " N", ""});
  page.row({"board flat when closed, nothing but fingers, stops and tips touches it",
            "paper strips under each corner hold", ""});
  page.row({"tall parts clear of every plate when closed", "modelling clay left on the tallest parts", ""});
  page.row({"opens without tilting, board stays on the pins", "ten times", ""});
  page.end_table();
  page.head("6. First boards");
  page.table({"board", "result of the test", "known condition", "agree?"});
  for (const char* b : {"known good 1", "known good 2", "known bad (one part removed)", "no board"})
    page.row({b, "", "", ""});
  page.end_table();
  page.table({"built by", "proved by", "released by", "date"});
  page.row({"", "", "", ""});
  page.end_table();
  return page.file();
}

std::string safety_html(const Outcome& o) {
  Page page(o, "Safety sheet for the test station");
  page.text(
      "Usual cautions for a fixture of this kind. Local codes, the machine's own instructions and the site's safety "
      "people decide; where they say more, they apply. Work above extra-low voltage is for licensed or authorised "
      "people.");
  const double force = sum_of_forces(o.access, o.catalogue, o.rules, chosen(o)).v;
  page.head("Pinch points and guards");
  std::vector<std::string> pinch = {
      "The bed pushes back with " + fixed(force, 0) + " N when closed" +
          (o.kit && o.kit->force.v > 0 ? "; the press can close with " + fixed(o.kit->force.v, 0) + " N" : "") +
          ". Both are enough to crush fingers.",
      "Keep hands out while it closes: a guard, two-hand control, or a lid that cannot be closed over a hand, as local "
      "machine-safety codes ask.",
      "A powered press stops when its guard opens, and does not start by itself when it shuts.",
      "Opened, the bed springs up: let the board come free before reaching in."};
  if (o.kit && o.kit->kind == "clamshell")
    pinch.push_back("Clamshell: the hinge side closes first; keep the lid held or latched while loading.");
  if (o.kit && o.kit->kind == "vacuum box")
    pinch.push_back(
        "Vacuum box: release the vacuum before lifting the board; do not lay a hand on the gasket while it draws.");
  page.list(pinch);
  page.head("Cautions for this board");
  page.list(cautions(o));
  page.head("Lithium cells and packs");
  page.text(
      "Disconnect or remove the pack before clamping. Write down what is on its label: energy in Wh = nominal volts x "
      "ampere-hours; cells in parallel add capacity, not voltage. A tip that bridges the terminals can start a fire "
      "within seconds. Have sand or the extinguishant that local rules name at hand, and a place outside for a hot "
      "pack. A swollen or dented pack is not tested.");
  page.table({"pack connector or holder", "nominal V", "Ah", "Wh", "removed before clamping"});
  page.row({"", "", "", "", ""});
  page.end_table();
  page.head("Supplies: limits set before contact");
  page.text(
      "Set voltage and current limits with no board in place. Probes touch first; the test for shorts passes; only "
      "then power goes on. Power goes off, and the rails are discharged, before the bed opens.");
  page.table({"rail", "V by its name", "A stated", "A its probes carry", "voltage limit set", "current limit set",
              "discharged through"});
  std::size_t shown = 0;
  for (const SupplyReach& x : o.audit.supplies)
    if (x.probes > 0 && shown++ < 60)
      page.row({o.board.nets[static_cast<std::size_t>(x.net)].name,
                x.states_volts ? short_number(x.volts, 3) : "not stated",
                x.wanted > 0 ? short_number(x.wanted, 3) : "not stated", short_number(x.amperes, 2), "", "", ""});
  page.end_table();
  if (shown > 60) page.text("The first 60 of " + std::to_string(shown) + " rails; all of them are in supplies.csv.");
  page.head("Stored energy");
  page.list(
      {"Capacitors keep their charge after power is off: discharge through a resistor, never by a short, and measure "
       "before touching.",
       "Converters above 60 V DC or 30 V AC, mains parts and hipot tests: only under the rules for such work, by "
       "people licensed for it."});
  page.head("Tips, static, chemicals");
  page.list(
      {"Tips are sharp and springy: eye protection when probes are changed; cover the bed when no board lies in it.",
       "Earthed bench, wrist strap, earthed plates or dissipative plate material: follow the site's ESD programme.",
       "Cleaning: brush or the agent that the probe maker allows, power off, away from ignition sources; mind its data "
       "sheet."});
  page.head("Stop and call for help");
  page.list(
      {"Smoke, heat, smell, a supply in current limit, a board that bends or lies askew: open, switch off, do not "
       "repeat the closing.",
       "A probe that does not come back up, or a mark off its land: the bed is taken out of use until it has been "
       "proved again."});
  page.table({"read and understood", "date", "signature"});
  for (int i = 0; i < 4; ++i) page.row({"", "", ""});
  page.end_table();
  return page.file();
}

}  // namespace teasel
