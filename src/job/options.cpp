// Every key of a job file: what kind of value, its default, what it does. The table in the manual is made from it.
#include <algorithm>
#include <map>

#include "read_parts.h"

namespace teasel {

namespace {
// The value of a key as the type of its member asks.
void take(TomlTable& table, std::string_view key, std::string& text) {
  text = table.words(key);
}
void take(TomlTable& table, std::string_view key, std::vector<std::string>& list) {
  list = table.texts(key);
}
void take(TomlTable& table, std::string_view key, std::vector<BoardPoint>& points) {
  points = table.points(key);
}
void take(TomlTable& table, std::string_view key, bool& value) {
  value = table.switched(key);
}
void take(TomlTable& table, std::string_view key, int& value) {
  value = table.whole(key);
}
void take(TomlTable& table, std::string_view key, double& value) {
  value = table.number(key);
}
void take(TomlTable& table, std::string_view key, Mm& length) {
  length = table.required_length(key);
}
void take(TomlTable& table, std::string_view key, Newton& force) {
  force = table.force(key).value_or(Newton{});
}
template <class Amount>
requires requires(TomlTable& table, std::string_view key) {
  Amount{table.amount<Amount>(key)};
}
void take(TomlTable& table, std::string_view key, Amount& amount) {
  amount = table.amount<Amount>(key);
}
template <class Value>
void take(TomlTable& table, std::string_view key, std::optional<Value>& value) {
  if (table.has(key)) take(table, key, value.emplace());
}

/// The value goes into this member of this part of the job.
template <auto Part, auto Member>
void into(TomlTable& table, std::string_view key, Job& job) {
  take(table, key, (job.*Part).*Member);
}
template <auto Member>
void into(TomlTable& table, std::string_view key, Job& job) {
  take(table, key, job.*Member);
}
template <auto Member>
void into_gate(TomlTable& table, std::string_view key, Job& job) {
  take(table, key, job.wants.gate.*Member);
}
/// A modulus is stated in GPa.
template <auto Member>
void into_modulus(TomlTable& table, std::string_view key, Job& job) {
  if (table.has(key)) job.mechanics.*Member = MPa{1000 * table.number(key)};
}

void into_bow(TomlTable& table, std::string_view key, Job& job) {
  if (table.has(key)) job.mechanics.bow = table.number(key) / 100;
}

const Option kOptions[] = {
    Option{"schema", "whole", "1", "version of the job file"}.within(1, 1000),
    Option{"board.name", "text", "", "printed on every output"}.read_by(into<&Job::name>),
    Option{"board.revision", "text", "", "printed on every output"}.read_by(into<&Job::revision>),
    Option{"board.thickness", "length", "",
           "finished thickness of the board, for probes of the upper plate and for probes that meet in a hole"}
        .read_by(into<&Job::inputs, &JobInputs::thickness>),
    Option{"board.finish", "text", "unknown", "finish of bare lands: gold, solder, tin, silver, organic or unknown"}
        .one_of("gold|solder|tin|silver|organic|unknown"),
    Option{"inputs.netlist.file", "text", "", "IPC-D-356 or 356A netlist"},
    Option{"inputs.netlist.unit", "text", "",
           "unit of the coordinates, \"0.0001 in\" or \"0.001 mm\"; it overrides the file's UNITS line"}
        .one_of("0.0001 in|0.001 mm"),
    Option{"inputs.netlist.mask_field", "text", "",
           "meaning of a set bit in the mask field (S): \"open\", \"covered\" or \"ignore\"; it is used only where no "
           "mask layer is given"}
        .one_of("open|covered|ignore"),
    Option{"inputs.netlist.offset", "point", "[\"0 mm\", \"0 mm\"]",
           "added to the netlist's coordinates to reach the frame of the Gerber files"},
    Option{"inputs.gerber[].file", "text", "", "a layer file"},
    Option{
        "inputs.gerber[].role", "text", "ignore",
        "what the layer is: copper top, copper bottom, copper inner, mask top, mask bottom, paste top, paste "
        "bottom, silk top, silk bottom, outline, flex (draws the parts that bend), rigid (draws the parts that do "
        "not, where all others bend), stiffener (draws what holds a part that bends stiff again), drawing or ignore"},
    Option{"inputs.gerber[].image", "text", "",
           "what the image shows; of a mask layer \"openings\" (default) or \"mask\", of a copper layer \"copper\" "
           "(default) or \"clearances\" (a negative plane)"}
        .one_of("openings|mask|copper|clearances"),
    Option{"inputs.gerber[].layer", "whole", "0",
           "number of a copper layer, 1 = top; inner layers need it where holes are blind or buried"}
        .within(0, 99),
    Option{"inputs.gerber[].unit", "text", "",
           "unit of the file, \"inch\" or \"mm\"; needed for a file that states no unit or a wrong one"}
        .one_of("inch|mm"),
    Option{"inputs.drill[].file", "text", "", "an Excellon or XNC file"},
    Option{"inputs.drill[].unit", "text", "", "unit of the file, \"inch\" or \"mm\"; it overrides the file"}.one_of(
        "inch|mm"),
    Option{"inputs.drill[].zeros", "text", "",
           "which zeros of a number are written, \"leading kept\" or \"trailing kept\"; it overrides the file"}
        .one_of("leading kept|trailing kept"),
    Option{"inputs.drill[].digits", "text", "",
           "number of digits before and after the point, such as \"2.5\"; it overrides the file"},
    Option{"inputs.drill[].plating", "text", "",
           "\"plated\" or \"unplated\", for holes whose plating the file does not state"}
        .one_of("plated|unplated"),
    Option{"inputs.drill[].tools", "table", "", "diameters that the file lacks: { T1 = \"0.3 mm\" }"},
    Option{"inputs.drill[].offset", "point", "[\"0 mm\", \"0 mm\"]",
           "added to the file's coordinates to reach the frame of the Gerber files"},
    Option{"inputs.drill[].first_layer", "whole", "0",
           "first copper layer of blind or buried holes; 0 = as the file states, otherwise through the whole board"}
        .within(0, 99),
    Option{"inputs.drill[].last_layer", "whole", "0",
           "last copper layer of blind or buried holes; 0 = as the file states"}
        .within(0, 99),
    Option{"inputs.placement.files", "list", "", "placement tables"},
    Option{"inputs.placement.unit", "text", "", "unit of tables that state none: \"mm\", \"inch\", \"mil\" or \"um\""}
        .one_of("mm|inch|mil|um"),
    Option{"inputs.placement.offset", "point", "[\"0 mm\", \"0 mm\"]",
           "added to the file's coordinates to reach the frame of the Gerber files"},
    Option{"inputs.placement.bottom", "text", "from the top",
           "how the places of bottom parts are seen: \"from the top\", as those of the other parts, or \"from the "
           "bottom\", with x reversed"}
        .one_of("from the top|from the bottom"),
    Option{"inputs.placement.bottom_offset", "point", "the offset",
           "added to the places of bottom parts, after their x was reversed"},
    Option{"inputs.ipc2581.file", "text", "",
           "an IPC-2581 file of revision B or C, alone or beside other files; .zst is read as well"},
    Option{"inputs.ipc2581.step", "text", "", "the step that is the board, where the file holds several"},
    Option{"inputs.ipc2581.variant", "text", "",
           "the bill of materials that says what is fitted, where the file holds several"},
    Option{"inputs.ipc2581.mask_image", "text", "openings", "what its mask layers show, \"openings\" or \"mask\""}
        .one_of("openings|mask"),
    Option{"inputs.idf.board", "text", "", "an IDF 3.0 board file: bodies, edge, holes, keep-outs"},
    Option{"inputs.idf.library", "text", "", "its library: outlines and heights of the parts"},
    Option{"inputs.idf.offset", "point", "[\"0 mm\", \"0 mm\"]",
           "added to the file's coordinates to reach the frame of the Gerber files"},
    Option{"inputs.bom.file", "text", "", "bill of materials: which parts are fitted, in which variant"},
    Option{"inputs.bom.variant", "text", "", "the variant, where the table has a column for each"},
    Option{"inputs.bsdl[].file", "text", "", "a boundary-scan description (BSDL)"},
    Option{"inputs.bsdl[].component", "text", "", "the component that it describes (glob)"},
    Option{"inputs.bsdl[].package", "text", "by the pins", "the component's package in that file"},
    Option{"inputs.heights.file", "text", "", "a table of heights with the columns component,height_mm"}.alone(),
    Option{"inputs.pads.file", "text", "", "teasel's own pad list, for boards without a netlist"},
    Option{
        "inputs.references.file", "text", "",
        "a table of the reference points in the pictures in which pads were measured: photo,point,x_px,y_px,x_mm,y_mm"},
    Option{"inputs.references.model", "text", "by the points",
           "how pictures are fitted to the reference points: \"similarity\", \"affine\" or \"projective\""}
        .one_of("similarity|affine|projective"),
    Option{"inputs.references.least_error", "length", "0.05 mm",
           "least error of a reading in a picture, one standard deviation", "memory"},
    Option{"inputs.continuity.file", "text", "",
           "a table of resistances between pads, pad_a,pad_b,ohms, from which the nets of a pad list are made"},
    Option{"inputs.continuity.joined_below_ohm", "number", "5",
           "two pads with this resistance or less between them are one net", "memory"}
        .within(0.001, 1000000),
    Option{"inputs.continuity.open_above_ohm", "number", "100",
           "two pads with this resistance or more between them are two nets; between the two limits, a part or a bad "
           "contact lies between the pads",
           "memory"}
        .within(0.001, 1000000000),
    Option{"inputs.outline.file", "text", "", "the layer file that holds the outline"},
    Option{"inputs.outline.polygon", "list", "",
           "the board's corners, [[\"0 mm\", \"0 mm\"], ...], where no file draws its edge"},
    Option{"inputs.outline.choice", "whole", "1",
           "which closed face of that file is the board, counted from the smallest"}
        .within(1, 100),
    Option{"inputs.outline.area_mm2", "number", "0", "area of the chosen face in mm2, as a check; 0 = no check"}.within(
        0, 1e9),
    Option{"components.not_fitted", "list", "[]", "components that are not fitted (globs)"}
        .on_page(PageReach::everything)
        .read_by(into<&Job::parts, &JobParts::not_fitted>),
    Option{"components.height", "table", "",
           "heights by component, a name or a glob: { U7 = \"2.1 mm\", \"LED*\" = \"1 mm\" }"}
        .on_page(PageReach::everything),
    Option{"components.protrusion", "table", "",
           "how far the leads of a component stand out of the solder side: { J1 = \"1.4 mm\" }"}
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
    Option{"need[].mandatory", "yes/no", "false", "the need must be met; if it is not, the exit status is 2"}.on_page(
        PageReach::needs),
    Option{"need[].amperes", "number", "", "current that the net carries during the test: its probes must carry it"}
        .within(0.001, 10000)
        .on_page(PageReach::needs),
    Option{"need[].importance", "number", "1", "factor on the price of leaving the need unmet"}
        .within(0.001, 1000)
        .on_page(PageReach::needs),
    Option{"need[].apart", "length", "", "least distance between the probes of one such net"}.on_page(PageReach::needs),
    Option{"need[].stage", "text", "all",
           "\"all\", or \"long travel\": the net's probes also touch while the press is half open, when the other "
           "probes do not load the net"}
        .one_of("all|long travel")
        .on_page(PageReach::needs),
    Option{"need[].volts", "number", "by name",
           "highest voltage of the net against ground during the test; the rule set asks for air between receptacles "
           "by it"}
        .within(-100000, 100000)
        .on_page(PageReach::needs),
    Option{"need[].reason", "text", "", "printed beside the net"}.on_page(PageReach::needs),
    Option{"interface[].kind", "text", "",
           "a kind of the interface file (1149.1, UART, ...); or \"none\" for nets that belong to no interface"}
        .on_page(PageReach::everything),
    Option{"interface[].name", "text", "",
           "name of an interface that was recognised (glob), or a name for one that is given by its lines"}
        .on_page(PageReach::everything),
    Option{"interface[].lines", "table", "",
           "all lines of the interface with their nets: { TX = \"NET_A\", RX = \"NET_B\" }; if absent, the interface "
           "that was recognised is confirmed"}
        .on_page(PageReach::everything),
    Option{"interface[].nets", "list", "", "with kind none: the nets that belong to no interface (globs)"}.on_page(
        PageReach::everything),
    Option{"interface[].mandatory", "yes/no", "false",
           "every required line must be reached; if one is not, the exit status is 2"}
        .on_page(PageReach::everything),
    Option{"interface[].wanted", "whole", "by role", "probes on each of its lines"}.within(0, 1000).on_page(
        PageReach::everything),
    Option{"interface[].role", "text", "by kind", "programming, power, ground, functional, observe or do_not_touch"}
        .one_of("programming|power|ground|functional|observe|do_not_touch")
        .on_page(PageReach::everything),
    Option{"interface[].reason", "text", "", "printed beside its nets"}.on_page(PageReach::everything),
    Option{"gate.score", "number", "",
           "least score of the audit, 0 to 100; if anything of the gate fails, the exit status is 2"}
        .within(0, 100)
        .on_page(PageReach::needs)
        .read_by(into_gate<&Gate::score>),
    Option{"gate.nets", "number", "", "least share of wanted nets served or tested by boundary scan, percent"}
        .within(0, 100)
        .on_page(PageReach::needs)
        .read_by(into_gate<&Gate::nets>),
    Option{"gate.pins", "number", "", "least share of pins reached or tested by boundary scan, percent"}
        .within(0, 100)
        .on_page(PageReach::needs)
        .read_by(into_gate<&Gate::pins>),
    Option{"gate.components", "number", "", "least share of components whose nets are all reached, percent"}
        .within(0, 100)
        .on_page(PageReach::needs)
        .read_by(into_gate<&Gate::components>),
    Option{"gate.interfaces", "list", "", "interfaces that must be usable, by kind or by name (globs)"}
        .on_page(PageReach::needs)
        .read_by(into_gate<&Gate::interfaces>),
    Option{"gate.supplies", "yes/no", "no", "every wanted supply must have probes for its current"}
        .on_page(PageReach::needs)
        .read_by(into_gate<&Gate::supplies>),
    Option{"kelvin.components", "list", "", "components measured with four wires (globs)"}.read_by(
        into<&Job::wants, &JobWants::kelvin>),
    Option{"kelvin.below_ohm", "number", "1", "resistors up to this value are measured with four wires as well",
           "memory"}
        .within(0, 1000000)
        .read_by(into<&Job::wants, &JobWants::kelvin_below>),
    Option{"lock[].net", "text", "", "the net that must be probed on the target"}.on_page(PageReach::quick),
    Option{"lock[].target", "text", "", "name of the target as in probes.csv"}.on_page(PageReach::quick),
    Option{"lock[].side", "text", "", "top or bottom, understood as for a ban; empty = either side"}
        .one_of("top|bottom")
        .on_page(PageReach::quick),
    Option{"lock[].class", "text", "", "the probe class to use; empty = any"}.on_page(PageReach::quick),
    Option{"hole[].at", "point", "", "a hole that the fixture has already, board frame"},
    Option{"hole[].side", "text", "bottom", "the side of the board that its probe plate faces"}.one_of("top|bottom"),
    Option{"hole[].class", "text", "", "probe class that it was drilled for"},
    Option{"hole[].state", "text", "open",
           "\"open\": a probe of its class may use it at no cost; \"plugged\"; \"in use\" by something else. New holes "
           "keep clear of holes in any of these states"}
        .one_of("open|plugged|in use"),
    Option{"mate[].component", "text", "",
           "a connector of the board into which the fixture plugs, so that one mating part serves all its nets"},
    Option{"mate[].side", "text", "by the component", "top or bottom"}.one_of("top|bottom"),
    Option{"mate[].price", "number", "0", "price of the mating part, money units"}.within(0, 1000000),
    Option{"mate[].force", "text", "0 N", "force that it takes to plug the connector in"},
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
           "limits the ban to a side: of the board itself, or of the panel where the names state the board"}
        .one_of("top|bottom")
        .on_page(PageReach::quick),
    Option{"ban[].reason", "text", "", "printed beside the target"}.on_page(PageReach::quick),
    Option{"waiver[].net", "text", "", "net of a blocking finding that you accept"}.on_page(PageReach::quick),
    Option{"waiver[].target", "text", "", "target of that finding"}.on_page(PageReach::quick),
    Option{"waiver[].rule", "text", "", "rule that the target fails, as blocked.csv names it"}.on_page(
        PageReach::quick),
    Option{"waiver[].side", "text", "", "limits the waiver to a side, understood as for a ban"}
        .one_of("top|bottom")
        .on_page(PageReach::quick),
    Option{"waiver[].reason", "text", "", "why you accept it; shown in every output"}.on_page(PageReach::quick),
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
    Option{"cover[].height", "length", "", "height of its top over the board face"},
    Option{"cover[].standoff", "length", "0 mm", "clear height between the board and the cover"},
    Option{"flex[].name", "text", "flexible part", "a part of the board that bends: the tail of a rigid-flex board"},
    Option{"flex[].polygon", "list", "", "corners, board frame"},
    Option{"flex[].from", "point", "", "one corner of a rectangle"},
    Option{"flex[].to", "point", "", "the opposite corner"},
    Option{
        "flex[].backed", "yes/no", "no",
        "a stiffener or a shelf of the fixture holds it from behind, so that probes, stops, push fingers and tooling "
        "pins may stand there"},
    Option{"panel.step", "text", "", "take the places from this step of the IPC-2581 file"},
    Option{
        "panel.plans", "text", "alike",
        "\"alike\": every board is probed at the same places; \"free\": each board may be probed at places of its own"}
        .one_of("alike|free"),
    Option{"panel.outline", "list", "",
           "corners of the panel, panel frame; if absent, the box about its boards and holes"},
    Option{"panel.board[].name", "text", "P1, P2, ...",
           "name of the board in the panel; it begins the names of its probes"},
    Option{"panel.board[].at", "point", "", "where the board's zero lies in the panel"},
    Option{"panel.board[].turn", "number", "0", "degrees counter-clockwise, seen from the top of the panel"}.within(
        -360, 360),
    Option{"panel.board[].flipped", "yes/no", "no",
           "the board shows its bottom side: it is mirrored in X, then turned"},
    Option{"panel.array.columns", "whole", "1", "for a regular array of boards: number of boards along X"}.within(1,
                                                                                                                  100),
    Option{"panel.array.rows", "whole", "1", "number of boards along Y"}.within(1, 100),
    Option{"panel.array.first", "point", "[\"0 mm\", \"0 mm\"]", "where the first board's zero lies"},
    Option{"panel.array.pitch", "point", "", "distance from board to board along X and along Y"},
    Option{"panel.array.turn", "number", "0", "turn of every board, degrees counter-clockwise"}.within(-360, 360),
    Option{"panel.hole[].at", "point", "", "a hole of the panel itself, for its tooling pins"},
    Option{"panel.hole[].diameter", "length", "", "finished diameter of the hole"},
    Option{"panel.hole[].plated", "yes/no", "no", "whether the hole is plated"},
    Option{"panel.keep_out[]", "table", "",
           "a keep-out with the keys of keep_out, in the panel's frame, for rails and clamps"},
    Option{"keep_out[].kind", "text", "keep-out",
           "a kind of the rule file: keep-out, rail, tab, camera, light sensor, button pusher, label, pass stamp, "
           "board-present switch"}
        .on_page(PageReach::quick),
    Option{"keep_out[].name", "text", "the kind", "name that is printed where the area blocks something"}.on_page(
        PageReach::quick),
    Option{"keep_out[].from_height", "length", "0 mm", "lowest height over the board face that it takes up"}.on_page(
        PageReach::quick),
    Option{"keep_out[].to_height", "length", "all", "greatest height over the board face that it takes up"}.on_page(
        PageReach::quick),
    Option{"keep_out[].side", "text", "both", "top, bottom or both"}
        .one_of("top|bottom|both")
        .on_page(PageReach::quick),
    Option{"keep_out[].polygon", "list", "", "corners, [[\"1 mm\", \"2 mm\"], ...], board frame"}.on_page(
        PageReach::quick),
    Option{"keep_out[].from", "point", "", "one corner of a rectangle"}.on_page(PageReach::quick),
    Option{"keep_out[].to", "point", "", "the opposite corner"}.on_page(PageReach::quick),
    Option{"fixture.catalogue", "text", "standard", "probe catalogue: a shipped name or a TOML file", "there"}
        .on_page(PageReach::everything)
        .read_by(into<&Job::fixture, &JobFixture::catalogue>),
    Option{"fixture.rules", "text", "standard", "rule set: a shipped name or a TOML file", "there"}
        .on_page(PageReach::everything)
        .read_by(into<&Job::fixture, &JobFixture::rules>),
    Option{"fixture.interfaces", "text", "standard",
           "interfaces, how their nets are named, and what is wanted of them: a shipped name or a TOML file", "there"}
        .on_page(PageReach::everything)
        .read_by(into<&Job::fixture, &JobFixture::interfaces>),
    Option{
        "fixture.kit", "text", "",
        "kit: a shipped name (hand-press, clamshell, vacuum-box) or a TOML file; empty = blanks are cut to the board"}
        .on_page(PageReach::everything)
        .read_by(into<&Job::fixture, &JobFixture::kit>),
    Option{"fixture.style", "text", "moving-plate",
           "plates and what goes through them: a shipped name (moving-plate, parallel-clamshell, fixed-plate, "
           "vacuum, laser-sheets, printed-parts) "
           "or a TOML file",
           "there"}
        .on_page(PageReach::everything)
        .read_by(into<&Job::fixture, &JobFixture::style>),
    Option{"fixture.prices", "text", "standard",
           "prices of material, work and machines: a shipped name (invented values) or a TOML file of your own",
           "invented"}
        .on_page(PageReach::everything)
        .read_by(into<&Job::fixture, &JobFixture::prices>),
    Option{"fixture.supports", "text", "laid out",
           "push fingers and board stops: \"laid out\" in addition to those of the job, or \"by hand\", only those of "
           "the job"}
        .one_of("laid out|by hand")
        .on_page(PageReach::everything),
    Option{"fixture.classes", "list", "all", "probe classes in use"}
        .on_page(PageReach::everything)
        .read_by(into<&Job::fixture, &JobFixture::classes>),
    Option{"fixture.board_lies", "text", "auto",
           "how the board lies, \"bottom side down\" or \"top side down\"; auto = the cheaper of the two"}
        .one_of("auto|bottom side down|top side down")
        .on_page(PageReach::everything)
        .read_by(into<&Job::fixture, &JobFixture::board_lies>),
    Option{"fixture.sides", "text", "auto",
           "sides from which probes touch the board: \"bottom\", \"top\" or \"both\"; auto = the cheapest of them"}
        .one_of("auto|bottom|top|both")
        .on_page(PageReach::everything)
        .read_by(into<&Job::fixture, &JobFixture::sides>),
    Option{"fixture.drill_face", "text", "board", "face from which each plate is drilled: \"board\" or \"outer\""}
        .one_of("board|outer")
        .on_page(PageReach::everything)
        .read_by(into<&Job::fixture, &JobFixture::drill_face>),
    Option{"fixture.most", "table", "", "largest number of probes of a class: { \"50 mil\" = 20 }"}.on_page(
        PageReach::everything),
    Option{"fixture.channels", "whole", "0", "largest number of nets that the tester can connect; 0 = any number"}
        .within(0, 1000000)
        .on_page(PageReach::everything)
        .read_by(into<&Job::fixture, &JobFixture::channels>),
    Option{"fixture.largest_force", "text", "0 N", "largest force of all probes together; 0 = any"}
        .on_page(PageReach::everything)
        .read_by(into<&Job::fixture, &JobFixture::largest_force>),
    Option{"fixture.tooling", "list", "chosen",
           "two points near the tooling holes to use; the hole of the round pin comes first"}
        .on_page(PageReach::everything)
        .read_by(into<&Job::fixture, &JobFixture::tooling>),
    Option{"rule_changes.*", "any", "",
           "values that replace those of the rule set, by the rule set's keys: rule.board_edge.least = \"2 mm\", "
           "limits.web = \"0.3 mm\"; a list replaces the whole list"}
        .on_page(PageReach::everything),
    Option{"mechanics.solve", "yes/no", "yes",
           "work out how the board bends, and place board stops and push fingers by it; --no-mechanics on the command "
           "line says no"}
        .on_page(PageReach::everything)
        .read_by(into<&Job::mechanics, &JobMechanics::used>),
    Option{"history.touches", "number", "0",
           "touches of single probes that your shop has counted on fixtures like this one (boards times probes)"}
        .within(0, 1e15)
        .read_by(into<&Job::history, &JobHistory::touches>),
    Option{"history.contact_faults", "number", "0", "contact faults among them: a good board failed, and passed again"}
        .within(0, 1e12)
        .read_by(into<&Job::history, &JobHistory::faults>),
    Option{"mechanics.closing_seconds", "number", "",
           "seconds from first touch to full stroke; if stated, the strain limit at ball grids follows from the strain "
           "rate "
           "and the board's thickness"}
        .within(0.001, 1000)
        .on_page(PageReach::everything)
        .read_by(into<&Job::mechanics, &JobMechanics::closing>),
    Option{"mechanics.modulus_gpa", "number", "of the rule set", "bending modulus of the board along X", "there"}
        .within(0.1, 1000)
        .on_page(PageReach::everything)
        .read_by(into_modulus<&JobMechanics::modulus>),
    Option{"mechanics.modulus_across_gpa", "number", "as along X", "bending modulus of the board along Y", "there"}
        .within(0.1, 1000)
        .on_page(PageReach::everything)
        .read_by(into_modulus<&JobMechanics::modulus_across>),
    Option{"mechanics.bow_percent", "number", "of the rule set",
           "largest bow and twist that were measured on a few boards, in percent: bow of the side along which it is "
           "measured, twist of the diagonal",
           "there"}
        .within(0, 10)
        .on_page(PageReach::everything)
        .read_by(into_bow),
    Option{"mechanics.strain_limit_ue", "number", "of the rule set",
           "largest surface strain at every part, microstrain; the rule set's differ by kind of part", "there"}
        .within(1, 100000)
        .on_page(PageReach::everything)
        .read_by(into<&Job::mechanics, &JobMechanics::strain_limit>),
    Option{"mechanics.press_on", "list", "[]",
           "parts that may bear a push finger (globs), where the board has no room for one: shells of connectors, "
           "plastic packages, shield cans. Ask their makers what they bear; their heights decide the length of the "
           "finger"}
        .on_page(PageReach::everything)
        .read_by(into<&Job::mechanics, &JobMechanics::press_on>),
    Option{"mechanics.part_limit_ue", "table", "",
           "limits at the corners of single parts: { U7 = 300.0 }. On a panel this holds for every board; { \"P2:U7\" "
           "= 300.0 } holds for one"}
        .on_page(PageReach::everything),
    Option{"plan.time_limit_s", "number", "60",
           "longest time for the search, in seconds; after it the best plan so far is used and marked as unproven",
           "chosen"}
        .within(0.1, 86400)
        .read_by(into<&Job::effort, &JobEffort::time_limit>),
    Option{"plan.boundary_scan", "text", "report",
           "\"report\", or \"save probes\": nets whose opens and shorts boundary scan finds get no probes, and the "
           "lines of the chain itself become mandatory"}
        .one_of("report|save probes")
        .on_page(PageReach::everything),
    Option{"plan.advice", "yes/no", "yes",
           "work out what the layout could change; without it, boards with many nets without access are planned faster"}
        .on_page(PageReach::everything)
        .read_by(into<&Job::effort, &JobEffort::advice>),
    Option{"plan.proof", "yes/no", "no", "write plan.proof, which another program can check"}.read_by(
        into<&Job::effort, &JobEffort::proof>),
    Option{"plan.seed", "whole", "1", "seed of the simulated beds; the same seed gives the same figures"}
        .within(0, 1000000000)
        .read_by(into<&Job::effort, &JobEffort::seed>),
    Option{"plan.simulated_fixtures", "whole", "400", "number of built fixtures that are simulated; 0 = none", "chosen"}
        .within(0, 100000)
        .read_by(into<&Job::effort, &JobEffort::simulated_fixtures>),
    Option{"plan.simulated_boards", "whole", "200", "number of boards that are simulated on each of them", "chosen"}
        .within(1, 100000)
        .read_by(into<&Job::effort, &JobEffort::simulated_boards>),
};

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
  // Entries of a list are numbered in a job file, and share one row.
  const std::string key = without_numbers(path);
  const auto row = rows.find(key);
  return row == rows.end() ? nullptr : row->second;
}

void read_plain_keys(TomlTable& table, std::string_view name, Job& job) {
  for (const Option& row : kOptions)
    if (row.read && lies_in(row.path, name)) row.read(table, std::string_view(row.path).substr(name.size() + 1), job);
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
