// Every key of a job file: what kind of value, its default, what it does. The table in the manual is made from it.
#include <algorithm>
#include <map>

#include "teasel/job.h"

namespace teasel {

namespace {
const Option kOptions[] = {
    Option{"schema", "whole", "1", "version of the job file"}.within(1, 1000),
    Option{"board.name", "text", "", "printed on every output"},
    Option{"board.revision", "text", "", "printed on every output"},
    Option{"board.thickness", "length", "",
           "finished board thickness: probes of the upper plate, and probes that meet in a hole"},
    Option{"board.finish", "text", "unknown", "of bare lands: gold, solder, tin, silver, organic or unknown"}.one_of(
        "gold|solder|tin|silver|organic|unknown"),
    Option{"inputs.netlist.file", "text", "", "IPC-D-356 or 356A netlist"},
    Option{"inputs.netlist.unit", "text", "", "\"0.0001 in\" or \"0.001 mm\"; overrules the file's UNITS line"}.one_of(
        "0.0001 in|0.001 mm"),
    Option{"inputs.netlist.mask_field", "text", "",
           "what a set S bit says: \"open\", \"covered\" or \"ignore\"; used only where no mask layer is given"}
        .one_of("open|covered|ignore"),
    Option{"inputs.netlist.offset", "point", "[\"0 mm\", \"0 mm\"]",
           "added to netlist coordinates to reach the Gerber frame"},
    Option{"inputs.gerber[].file", "text", "", "a layer file"},
    Option{"inputs.gerber[].role", "text", "ignore",
           "copper top, copper bottom, copper inner, mask top, mask bottom, paste top, paste bottom, silk top, silk "
           "bottom, "
           "outline, drawing or ignore"},
    Option{"inputs.gerber[].image", "text", "",
           "mask layers: the image shows \"openings\" (default) or \"mask\"; copper: \"copper\" (default) or "
           "\"clearances\" "
           "(a negative plane)"}
        .one_of("openings|mask|copper|clearances"),
    Option{"inputs.gerber[].layer", "whole", "0",
           "copper: number of the layer, 1 = top; needed on inner layers where holes are blind or buried"}
        .within(0, 99),
    Option{"inputs.gerber[].unit", "text", "", "\"inch\" or \"mm\"; for a file that states none, or a wrong one"}
        .one_of("inch|mm"),
    Option{"inputs.drill[].file", "text", "", "an Excellon or XNC file"},
    Option{"inputs.drill[].unit", "text", "", "\"inch\" or \"mm\"; overrules the file"}.one_of("inch|mm"),
    Option{"inputs.drill[].zeros", "text", "", "\"leading kept\" or \"trailing kept\"; overrules the file"}.one_of(
        "leading kept|trailing kept"),
    Option{"inputs.drill[].digits", "text", "",
           "digits before and behind the point, such as \"2.5\"; overrules the file"},
    Option{"inputs.drill[].plating", "text", "",
           "\"plated\" or \"unplated\" for holes whose kind the file does not state"}
        .one_of("plated|unplated"),
    Option{"inputs.drill[].tools", "table", "", "diameters that the file lacks: { T1 = \"0.3 mm\" }"},
    Option{"inputs.drill[].offset", "point", "[\"0 mm\", \"0 mm\"]", "added to reach the Gerber frame"},
    Option{"inputs.drill[].first_layer", "whole", "0",
           "blind or buried holes: first copper layer; 0 = as the file states, else through"}
        .within(0, 99),
    Option{"inputs.drill[].last_layer", "whole", "0", "blind or buried holes: last copper layer"}.within(0, 99),
    Option{"inputs.placement.files", "list", "", "placement tables"},
    Option{"inputs.placement.unit", "text", "", "\"mm\", \"inch\", \"mil\" or \"um\"; for tables that state none"}
        .one_of("mm|inch|mil|um"),
    Option{"inputs.placement.offset", "point", "[\"0 mm\", \"0 mm\"]", "added to reach the Gerber frame"},
    Option{"inputs.placement.bottom", "text", "from the top",
           "how bottom parts are written: \"from the top\" as the others, or \"from the bottom\" with x the other way "
           "round"}
        .one_of("from the top|from the bottom"),
    Option{"inputs.placement.bottom_offset", "point", "the offset",
           "added to bottom parts, after their x is turned round"},
    Option{"inputs.ipc2581.file", "text", "",
           "an IPC-2581 file of revision B or C, alone or beside other files; .zst is read as well"},
    Option{"inputs.ipc2581.step", "text", "", "the step that is the board, where the file holds several"},
    Option{"inputs.ipc2581.variant", "text", "",
           "the bill of materials that says what is fitted, where the file holds several"},
    Option{"inputs.ipc2581.mask_image", "text", "openings", "its mask layers show \"openings\" or \"mask\""}.one_of(
        "openings|mask"),
    Option{"inputs.idf.board", "text", "", "an IDF 3.0 board file: bodies, edge, holes, keep-outs"},
    Option{"inputs.idf.library", "text", "", "its library: outlines and heights of the parts"},
    Option{"inputs.idf.offset", "point", "[\"0 mm\", \"0 mm\"]", "added to IDF coordinates to reach the Gerber frame"},
    Option{"inputs.bom.file", "text", "", "bill of materials: which parts are fitted, in which variant"},
    Option{"inputs.bom.variant", "text", "", "the variant, where the table has a column for each"},
    Option{"inputs.bsdl[].file", "text", "", "a boundary-scan description (BSDL)"},
    Option{"inputs.bsdl[].component", "text", "", "the component that it describes (glob)"},
    Option{"inputs.bsdl[].package", "text", "by the pins", "its package in that file"},
    Option{"inputs.heights.file", "text", "", "table component,height_mm"},
    Option{"inputs.pads.file", "text", "", "teasel's own pad list, for boards without a netlist"},
    Option{"inputs.references.file", "text", "",
           "reference points of the pictures in which pads were measured: photo,point,x_px,y_px,x_mm,y_mm"},
    Option{"inputs.references.model", "text", "by the points", "\"similarity\", \"affine\" or \"projective\""}.one_of(
        "similarity|affine|projective"),
    Option{"inputs.references.least_error", "length", "0.05 mm",
           "what one reading in a picture is off at least, one sigma", "memory"},
    Option{"inputs.continuity.file", "text", "",
           "resistances between pads: pad_a,pad_b,ohms; they make the nets of a pad list"},
    Option{"inputs.continuity.joined_below_ohm", "number", "5", "up to this, two pads are one net", "memory"}.within(
        0.001, 1000000),
    Option{"inputs.continuity.open_above_ohm", "number", "100",
           "from this on, two pads are two nets; between, a part or a bad touch lies between them", "memory"}
        .within(0.001, 1000000000),
    Option{"inputs.outline.file", "text", "", "the layer file that holds the outline"},
    Option{"inputs.outline.polygon", "list", "",
           "the board's corners, [[\"0 mm\", \"0 mm\"], ...], where no file draws its edge"},
    Option{"inputs.outline.choice", "whole", "1", "which closed face of that file, smallest first"}.within(1, 100),
    Option{"inputs.outline.area_mm2", "number", "0", "area of the chosen face, as a check; 0 = no check"}.within(0, 1e9),
    Option{"components.not_fitted", "list", "[]", "components that are not fitted (globs)"}.on_page(
        PageReach::everything),
    Option{"components.height", "table", "", "heights by component: { U7 = \"2.1 mm\" }"}.on_page(
        PageReach::everything),
    Option{"components.protrusion", "table", "", "how far leads stand out of the solder side: { J1 = \"1.4 mm\" }"}
        .on_page(PageReach::everything),
    Option{"components.side", "table", "", "sides by component: { J1 = \"bottom\" }"}.on_page(PageReach::everything),
    Option{"checks.accept", "list", "[]", "codes of cross-checks whose failure you accept"},
    Option{"need[].nets", "text", "", "a net name or a glob; the first entry that fits a net decides"}.on_page(
        PageReach::needs),
    Option{"need[].role", "text", "by name", "programming, power, ground, functional, observe or do_not_touch"}
        .one_of("programming|power|ground|functional|observe|do_not_touch")
        .on_page(PageReach::needs),
    Option{"need[].wanted", "whole", "by role", "probes wanted on each such net"}.within(0, 1000).on_page(
        PageReach::needs),
    Option{"need[].mandatory", "yes/no", "false", "unmet: exit status 2"}.on_page(PageReach::needs),
    Option{"need[].amperes", "number", "", "current that the net carries during the test: its probes must carry it"}
        .within(0.001, 10000)
        .on_page(PageReach::needs),
    Option{"need[].importance", "number", "1", "times the price of leaving it unmet"}
        .within(0.001, 1000)
        .on_page(PageReach::needs),
    Option{"need[].apart", "length", "", "least distance between the probes of one such net"}.on_page(PageReach::needs),
    Option{"need[].stage", "text", "all",
           "\"long travel\": its probes also touch when the press is half open, so that the others do not load the net"}
        .one_of("all|long travel")
        .on_page(PageReach::needs),
    Option{"need[].volts", "number", "by name",
           "the most that the net carries against ground during the test: the rule set asks for air between "
           "receptacles by "
           "voltage"}
        .within(-100000, 100000)
        .on_page(PageReach::needs),
    Option{"need[].reason", "text", "", "printed beside the net"}.on_page(PageReach::needs),
    Option{"interface[].kind", "text", "",
           "a kind of the interface file (1149.1, UART, ...); \"none\": the nets below belong to no interface"},
    Option{"interface[].name", "text", "",
           "of one that was recognised (glob), or what to call the one given by its lines"},
    Option{"interface[].lines", "table", "",
           "the whole interface as you say it: { TX = \"NET_A\", RX = \"NET_B\" }; absent: what was recognised is "
           "confirmed"},
    Option{"interface[].nets", "list", "", "with kind none: these nets (globs)"},
    Option{"interface[].mandatory", "yes/no", "false", "every required line must be reached; unmet: exit status 2"},
    Option{"interface[].wanted", "whole", "by role", "probes on each of its lines"}.within(0, 1000),
    Option{"interface[].role", "text", "by kind", "programming, power, ground, functional, observe or do_not_touch"}
        .one_of("programming|power|ground|functional|observe|do_not_touch"),
    Option{"interface[].reason", "text", "", "printed beside its nets"},
    Option{"gate.score", "number", "", "least score of the audit, 0 to 100; any failure of the gate: exit status 2"}
        .within(0, 100)
        .on_page(PageReach::needs),
    Option{"gate.nets", "number", "", "least share of wanted nets served or tested by boundary scan, percent"}
        .within(0, 100)
        .on_page(PageReach::needs),
    Option{"gate.pins", "number", "", "least share of pins reached or tested by boundary scan, percent"}
        .within(0, 100)
        .on_page(PageReach::needs),
    Option{"gate.components", "number", "", "least share of components whose nets are all reached, percent"}
        .within(0, 100)
        .on_page(PageReach::needs),
    Option{"gate.interfaces", "list", "", "kinds or names of interfaces that must be usable (globs)"}.on_page(
        PageReach::needs),
    Option{"gate.supplies", "yes/no", "no", "every wanted supply has probes for its current"}.on_page(PageReach::needs),
    Option{"kelvin.components", "list", "", "components measured with four wires (globs)"},
    Option{"kelvin.below_ohm", "number", "1", "resistors up to this value as well", "memory"}.within(0, 1000000),
    Option{"lock[].net", "text", "", "this net is probed on this target"}.on_page(PageReach::quick),
    Option{"lock[].target", "text", "", "name of the target as in probes.csv"}.on_page(PageReach::quick),
    Option{"lock[].side", "text", "", "top or bottom, as for a ban; empty = either"}
        .one_of("top|bottom")
        .on_page(PageReach::quick),
    Option{"lock[].class", "text", "", "probe class; empty = any"}.on_page(PageReach::quick),
    Option{"hole[].at", "point", "", "a hole that the fixture has already, board frame"},
    Option{"hole[].side", "text", "bottom", "of which side's probe plate"}.one_of("top|bottom"),
    Option{"hole[].class", "text", "", "probe class that it was drilled for"},
    Option{"hole[].state", "text", "open",
           "\"open\": a probe of its class may use it for nothing; \"plugged\"; \"in use\" by something else. New "
           "holes keep "
           "their web to all three"}
        .one_of("open|plugged|in use"),
    Option{"mate[].component", "text", "",
           "a connector of the board into which the fixture plugs: all its nets are served by one part"},
    Option{"mate[].side", "text", "by the component", "top or bottom"}.one_of("top|bottom"),
    Option{"mate[].price", "number", "0", "money units"}.within(0, 1000000),
    Option{"mate[].force", "text", "0 N", "to plug it in"},
    Option{"support[].at", "point", "", "where a push finger or a board stop touches the board, board frame"}.on_page(
        PageReach::everything),
    Option{"support[].side", "text", "top", "the side that it touches"}
        .one_of("top|bottom")
        .on_page(PageReach::everything),
    Option{"support[].kind", "text", "push finger", "\"push finger\" or \"board stop\""}
        .one_of("push finger|board stop")
        .on_page(PageReach::everything),
    Option{"ban[].net", "text", "", "no probe on this net (glob)"}.on_page(PageReach::quick),
    Option{"ban[].target", "text", "", "no probe on this target (glob)"}.on_page(PageReach::quick),
    Option{"ban[].side", "text", "",
           "limits the ban to a side: the board's own, or the panel's where the names say which board"}
        .one_of("top|bottom")
        .on_page(PageReach::quick),
    Option{"ban[].reason", "text", "", "printed beside the target"}.on_page(PageReach::quick),
    Option{"waiver[].net", "text", "", "a blocking finding that you accept: the net,"}.on_page(PageReach::quick),
    Option{"waiver[].target", "text", "", "the target,"}.on_page(PageReach::quick),
    Option{"waiver[].rule", "text", "", "and the reason in blocked.csv"}.on_page(PageReach::quick),
    Option{"waiver[].side", "text", "", "limits the waiver to a side, as for a ban"}
        .one_of("top|bottom")
        .on_page(PageReach::quick),
    Option{"waiver[].reason", "text", "", "why; shown in every output"}.on_page(PageReach::quick),
    Option{"variant[].name", "text", "", "a build variant; the plan holds for all that are listed"},
    Option{"variant[].bom", "text", "", "its column in the bill of materials"},
    Option{"variant[].ipc2581", "text", "", "its bill of materials in the IPC-2581 file"},
    Option{"variant[].not_fitted", "list", "[]", "components it leaves out (globs)"},
    Option{"variant[].fitted", "list", "[]", "components it fits although another source leaves them out (globs)"},
    Option{"cover[].name", "text", "", "a body that no file knows: a shield lid, a pack"},
    Option{"cover[].side", "text", "top", "top or bottom"}.one_of("top|bottom"),
    Option{"cover[].polygon", "list", "", "corners, board frame"},
    Option{"cover[].from", "point", "", "one corner of a rectangle"},
    Option{"cover[].to", "point", "", "the opposite corner"},
    Option{"cover[].height", "length", "", "its top over the board face"},
    Option{"cover[].standoff", "length", "0 mm", "clear height under it"},
    Option{"panel.step", "text", "", "take the places from this step of the IPC-2581 file"},
    Option{"panel.plans", "text", "alike", "\"alike\": every board is probed at the same places; \"free\""}.one_of(
        "alike|free"),
    Option{"panel.outline", "list", "",
           "corners of the panel, panel frame; absent: the box about its boards and holes"},
    Option{"panel.board[].name", "text", "P1, P2, ...", "stands before the names of its probes"},
    Option{"panel.board[].at", "point", "", "where the board's zero lies in the panel"},
    Option{"panel.board[].turn", "number", "0", "degrees counter-clockwise, seen from the top of the panel"}.within(
        -360, 360),
    Option{"panel.board[].flipped", "yes/no", "no", "shows its bottom: mirrored in X, then turned"},
    Option{"panel.array.columns", "whole", "1", "a regular array instead: boards along X"}.within(1, 100),
    Option{"panel.array.rows", "whole", "1", "and along Y"}.within(1, 100),
    Option{"panel.array.first", "point", "[\"0 mm\", \"0 mm\"]", "where the first board's zero lies"},
    Option{"panel.array.pitch", "point", "", "from board to board"},
    Option{"panel.array.turn", "number", "0", "degrees, of every board"}.within(-360, 360),
    Option{"panel.hole[].at", "point", "", "a hole of the panel itself, for its tooling pins"},
    Option{"panel.hole[].diameter", "length", "", "finished"},
    Option{"panel.hole[].plated", "yes/no", "no", "plated"},
    Option{"panel.keep_out[]", "table", "", "as keep_out, in the panel's frame: rails, clamps"},
    Option{"keep_out[].kind", "text", "keep-out",
           "a kind of the rule file: keep-out, rail, tab, camera, light sensor, button pusher, label, pass stamp, "
           "board-present switch"}
        .on_page(PageReach::quick),
    Option{"keep_out[].name", "text", "the kind", "printed where it blocks"}.on_page(PageReach::quick),
    Option{"keep_out[].from_height", "length", "0 mm", "lowest height over the board face that it takes up"}.on_page(
        PageReach::quick),
    Option{"keep_out[].to_height", "length", "all", "highest"}.on_page(PageReach::quick),
    Option{"keep_out[].side", "text", "both", "top, bottom or both"}
        .one_of("top|bottom|both")
        .on_page(PageReach::quick),
    Option{"keep_out[].polygon", "list", "", "corners, [[\"1 mm\", \"2 mm\"], ...], board frame"}.on_page(
        PageReach::quick),
    Option{"keep_out[].from", "point", "", "one corner of a rectangle"}.on_page(PageReach::quick),
    Option{"keep_out[].to", "point", "", "the opposite corner"}.on_page(PageReach::quick),
    Option{"fixture.catalogue", "text", "standard", "probe catalogue: a shipped name or a TOML file", "there"}.on_page(
        PageReach::everything),
    Option{"fixture.rules", "text", "standard", "rule set: a shipped name or a TOML file", "there"}.on_page(
        PageReach::everything),
    Option{"fixture.interfaces", "text", "standard",
           "interfaces, how their nets are named, and what is wanted of them: a shipped name or a TOML file", "there"}
        .on_page(PageReach::everything),
    Option{
        "fixture.kit", "text", "",
        "kit: a shipped name (hand-press, clamshell, vacuum-box) or a TOML file; empty = blanks are cut to the board"}
        .on_page(PageReach::everything),
    Option{"fixture.style", "text", "moving-plate",
           "plates and what goes through them: a shipped name (moving-plate, fixed-plate, vacuum) or a TOML file",
           "there"}
        .on_page(PageReach::everything),
    Option{"fixture.prices", "text", "standard",
           "prices of material, work and machines: a shipped name (invented values) or a TOML file of your own",
           "invented"}
        .on_page(PageReach::everything),
    Option{"fixture.supports", "text", "laid out",
           "push fingers and board stops: \"laid out\" beside those of the job, or only those (\"by hand\")"}
        .one_of("laid out|by hand")
        .on_page(PageReach::everything),
    Option{"fixture.classes", "list", "all", "probe classes in use"}.on_page(PageReach::everything),
    Option{"fixture.board_lies", "text", "auto", "\"bottom side down\" or \"top side down\"; auto = the cheaper"}
        .one_of("auto|bottom side down|top side down")
        .on_page(PageReach::everything),
    Option{"fixture.sides", "text", "auto", "probes from \"bottom\", \"top\" or \"both\"; auto = the cheapest of all"}
        .one_of("auto|bottom|top|both")
        .on_page(PageReach::everything),
    Option{"fixture.drill_face", "text", "board", "face from which each plate is drilled: \"board\" or \"outer\""}
        .one_of("board|outer")
        .on_page(PageReach::everything),
    Option{"fixture.most", "table", "", "most probes of a class: { \"50 mil\" = 20 }"}.on_page(PageReach::everything),
    Option{"fixture.channels", "whole", "0", "of the tester: most nets' contacts in all; 0 = any number"}
        .within(0, 1000000)
        .on_page(PageReach::everything),
    Option{"fixture.largest_force", "text", "0 N", "most that all probes may push with together; 0 = any"}.on_page(
        PageReach::everything),
    Option{"fixture.tooling", "list", "chosen", "two points near the tooling holes to use, the round pin first"}
        .on_page(PageReach::everything),
    Option{"rule_changes.*", "any", "",
           "values in place of the rule set's, by its own keys: rule.board_edge.least = \"2 mm\", limits.web = \"0.3 "
           "mm\"; a "
           "list replaces the whole list"}
        .on_page(PageReach::everything),
    Option{
        "mechanics.solve", "yes/no", "true",
        "work out how the board bends, and lay out stops and fingers by it; the command line's --no-mechanics says no"}
        .on_page(PageReach::everything),
    Option{"mechanics.closing_seconds", "number", "",
           "from first touch to full stroke: the strain limit then also follows its rate"}
        .within(0.001, 1000)
        .on_page(PageReach::everything),
    Option{"mechanics.modulus_gpa", "number", "of the rule set", "bending modulus of the board along X", "there"}
        .within(0.1, 1000)
        .on_page(PageReach::everything),
    Option{"mechanics.modulus_across_gpa", "number", "as along X", "the same along Y", "there"}
        .within(0.1, 1000)
        .on_page(PageReach::everything),
    Option{"mechanics.strain_limit_ue", "number", "of the rule set", "largest surface strain, microstrain", "there"}
        .within(1, 100000)
        .on_page(PageReach::everything),
    Option{"mechanics.part_limit_ue", "table", "", "limits at the corners of single parts: { U7 = 300.0 }"}.on_page(
        PageReach::everything),
    Option{"plan.time_limit_s", "number", "60", "seconds; then the best plan so far, marked unproven", "chosen"}.within(
        0.1, 86400),
    Option{
        "plan.boundary_scan", "text", "report",
        "\"report\", or \"save probes\": nets whose opens and shorts boundary scan finds get none, and the chain's own "
        "lines become mandatory"}
        .one_of("report|save probes")
        .on_page(PageReach::everything),
    Option{"plan.advice", "yes/no", "yes",
           "work out what the layout could change; no: faster on boards with many nets without access"}
        .on_page(PageReach::everything),
    Option{"plan.proof", "yes/no", "no", "write plan.proof, which another program can check"},
    Option{"plan.seed", "whole", "1", "of the simulated beds: the same seed gives the same figures"}.within(0,
                                                                                                            1000000000),
    Option{"plan.simulated_fixtures", "whole", "400", "built fixtures that are simulated; 0: none", "chosen"}.within(
        0, 100000),
    Option{"plan.simulated_boards", "whole", "200", "boards on each", "chosen"}.within(1, 100000),
};
}  // namespace

namespace {
/// "need[3].wanted" -> "need[].wanted".
std::string without_numbers(std::string_view path) {
  std::string key;
  for (const char c : path)
    if (!(c >= '0' && c <= '9' && !key.empty() && key.back() == '[')) key += c;
  return key;
}
bool lies_in(std::string_view path, std::string_view table) {
  return path.size() > table.size() && path.substr(0, table.size()) == table &&
         (path[table.size()] == '.' || path[table.size()] == '[');
}
}  // namespace

const std::vector<Option>& job_options() {
  static const std::vector<Option> options(std::begin(kOptions), std::end(kOptions));
  return options;
}

const Option* job_option(std::string_view path) {
  static const std::map<std::string_view, const Option*> rows = [] {
    std::map<std::string_view, const Option*> by_path;
    for (const Option& row : job_options()) by_path[row.path] = &row;
    return by_path;
  }();
  const auto row = rows.find(path);
  return row == rows.end() ? nullptr : row->second;
}

PageReach page_reach(std::string_view path) {
  const std::string key = without_numbers(path);
  PageReach reach = PageReach::none;
  for (const Option& row : kOptions) {
    std::string_view known = row.path;
    if (known.size() > 2 && known.substr(known.size() - 2) == ".*") known.remove_suffix(2);
    if (known != key && !lies_in(key, known) && !lies_in(known, key)) continue;
    if (row.page == PageReach::none) return PageReach::none;
    reach = std::max(reach, row.page);
  }
  return reach;
}

}  // namespace teasel
