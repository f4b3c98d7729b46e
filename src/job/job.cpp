// Reads a job file.
#include <algorithm>
#include <cctype>
#include <filesystem>
#include <set>

#include "read_parts.h"
#include "teasel/finding_codes.h"
#include "teasel/job.h"
#include "teasel/words.h"

namespace teasel {

namespace {

void read_components(TomlTable& table, Job& job) {
  read_plain_keys(table, "components", job);
  table.table("height", [&](TomlTable& heights) {
    heights.each([&](const std::string& key) {
      if (auto value = heights.length(key)) job.parts.heights[key] = *value;
    });
  });
  table.table("protrusion", [&](TomlTable& heights) {
    heights.each([&](const std::string& key) {
      if (auto value = heights.length(key)) job.parts.protrusions[key] = *value;
    });
  });
  table.table("side", [&](TomlTable& sides) {
    sides.each([&](const std::string& key) {
      if (const auto side = sides.side(key)) job.parts.sides[key] = *side;
    });
  });
}

void read_needs(TomlTable& root, Job& job) {
  root.tables("need", [&](TomlTable& entry) {
    NeedRule rule;
    rule.nets = entry.text("nets");
    if (rule.nets.empty()) entry.error("nets", "a net name or pattern is missing", "nothing", "such as \"SWD*\"");
    rule.role = role_of(entry.choice_or_nothing("role"));
    if (entry.has("wanted")) rule.wanted = entry.whole("wanted");
    rule.mandatory = entry.yes_no("mandatory");
    if (entry.has("amperes")) rule.amperes = entry.amount<Amperes>("amperes");
    if (entry.has("importance")) rule.importance = entry.number("importance");
    if (entry.has("apart")) rule.apart = entry.required_length("apart");
    if (entry.has("stage")) rule.long_travel = entry.choice("stage") == "long travel";
    if (entry.has("volts")) rule.volts = entry.amount<Volts>("volts");
    rule.reason = entry.text("reason");
    rule.place = entry.place("nets");
    job.wants.needs.push_back(std::move(rule));
  });
  root.tables("mate", [&](TomlTable& entry) {
    Mate mate;
    mate.component = entry.text("component");
    if (mate.component.empty())
      entry.error("component", "the board's connector is missing", "nothing", "such as \"J3\"");
    mate.side = entry.side("side");
    mate.price = entry.amount<Money>("price");
    mate.force = entry.force("force").value_or(Newton{});
    mate.place = entry.place("component");
    job.decisions.mates.push_back(std::move(mate));
  });
}

void read_interface_rules(TomlTable& root, Job& job) {
  root.tables("interface", [&](TomlTable& entry) {
    InterfaceRule rule;
    rule.name = entry.text("name");
    rule.kind = entry.text("kind");
    rule.nets = entry.texts("nets");
    entry.table("lines", [&](TomlTable& lines) {
      lines.each([&](const std::string& key) { rule.lines[key] = lines.text(key); });
    });
    rule.mandatory = entry.yes_no("mandatory");
    if (entry.has("wanted")) rule.wanted = entry.whole("wanted");
    rule.role = role_of(entry.choice_or_nothing("role"));
    if (rule.mandatory.value_or(false) && (rule.wanted == 0 || rule.role == Role::do_not_touch))
      entry.error("mandatory", "an interface that must be reached wants at least one probe",
                  rule.wanted == 0 ? "wanted = 0" : "do_not_touch", "either mandatory or no probe");
    rule.reason = entry.text("reason");
    rule.place = entry.place();
    if (rule.kind.empty() && rule.name.empty())
      entry.error("kind", "an entry must name a kind of interface or an interface that was found", "neither",
                  "kind = \"UART\"  or  name = \"UART 2\"");
    if (!rule.lines.empty() && rule.kind.empty())
      entry.error("kind", "an interface that is given by its lines needs a kind", "none", "kind = \"UART\"");
    if ((rule.kind == "none") != !rule.nets.empty())
      entry.error("nets", "a list of nets belongs to kind none and to no other kind",
                  std::to_string(rule.nets.size()) + " nets", "kind = \"none\", nets = [\"...\"]");
    if (rule.kind == "none" && !rule.lines.empty())
      entry.error("lines", "an entry of kind none must not have lines", std::to_string(rule.lines.size()),
                  "nets = [\"...\"]");
    job.wants.interface_rules.push_back(std::move(rule));
  });
}

OldHole read_old_hole(TomlTable& entry) {
  OldHole hole;
  if (auto point = entry.point("at"))
    hole.at = *point;
  else
    entry.error("at", "the place of the hole is missing", "nothing", "at = [\"10 mm\", \"20 mm\"]");
  hole.side = entry.side("side", Side::bottom);
  hole.probe_class = entry.text("class");
  hole.state = entry.choice("state");
  if (hole.probe_class.empty())
    entry.error("class", "the probe class that the hole was drilled for is missing", "nothing",
                "a class of the catalogue");
  hole.place = entry.place();
  return hole;
}

Support read_support(TomlTable& entry) {
  Support support;
  if (const auto at = entry.point("at"))
    support.at = *at;
  else
    entry.error("at", "a support needs a place", "nothing", "at = [\"10 mm\", \"20 mm\"]");
  support.side = entry.side("side", Side::top);
  support.finger = entry.choice("kind") == "push finger";
  support.place = entry.place();
  return support;
}

Waiver read_waiver(TomlTable& entry) {
  Waiver waiver{.net = entry.text("net"),
                .target = entry.text("target"),
                .side = entry.side("side"),
                .rule = entry.text("rule"),
                .reason = entry.text("reason"),
                .place = entry.place()};
  if (waiver.net.empty() || waiver.target.empty() || waiver.rule.empty())
    entry.error("rule", "a waiver must name a net, a target and a rule",
                waiver.net + " / " + waiver.target + " / " + waiver.rule, "all three, as in blocked.csv");
  if (waiver.reason.empty()) entry.error("reason", "a waiver needs a reason", "none", "why the finding is accepted");
  return waiver;
}

/// What somebody decided about single targets and places.
void read_decisions(TomlTable& root, Job& job) {
  root.tables("hole", [&](TomlTable& entry) { job.decisions.old_holes.push_back(read_old_hole(entry)); });
  root.tables("lock", [&](TomlTable& entry) {
    Lock lock{.net = entry.text("net"),
              .target = entry.text("target"),
              .side = entry.side("side"),
              .probe_class = entry.text("class"),
              .place = entry.place()};
    if (lock.net.empty() || lock.target.empty())
      entry.error("net", "a lock must name a net and a target", lock.net + " / " + lock.target, "a net and a target");
    job.decisions.locks.push_back(std::move(lock));
  });
  root.tables("ban", [&](TomlTable& entry) {
    Ban ban{.net = entry.text("net"),
            .target = entry.text("target"),
            .side = entry.side("side"),
            .reason = entry.text("reason"),
            .place = entry.place()};
    if (ban.net.empty() && ban.target.empty() && !ban.side)
      entry.error("target", "a ban must name a net, a target or a side", "nothing", "one of them");
    job.decisions.bans.push_back(std::move(ban));
  });
  root.tables("support", [&](TomlTable& entry) { job.mechanics.supports.push_back(read_support(entry)); });
  root.tables("waiver", [&](TomlTable& entry) { job.decisions.waivers.push_back(read_waiver(entry)); });
}

constexpr std::size_t kMostCorners = 2000, kMostCrossings = 200;  // of an area drawn by hand

/// How often the outline crosses itself; counting ends above the number allowed.
std::size_t crossings(const std::vector<BoardPoint>& points) {
  const std::size_t count = points.size();
  const auto turn = [&](std::size_t a, std::size_t b, std::size_t c) {
    const Point origin = points[a];
    return cross(Point(points[b]) - origin, Point(points[c]) - origin);
  };
  std::size_t found = 0;
  for (std::size_t i = 0; i < count; ++i)
    for (std::size_t k = i + 2; k < count && found <= kMostCrossings; ++k) {
      const std::size_t i_end = i + 1, k_end = (k + 1) % count;
      if (k_end == i) continue;
      found += (turn(i, i_end, k) > 0) != (turn(i, i_end, k_end) > 0) &&
               (turn(k, k_end, i) > 0) != (turn(k, k_end, i_end) > 0);
    }
  return found;
}

/// polygon = [[x, y], ...], or the opposite corners of a rectangle.
Polygons area_of(TomlTable& entry, const char* what) {
  const std::vector<BoardPoint> points = entry.points("polygon");
  if (points.size() > kMostCorners || crossings(points) > kMostCrossings) {
    const bool many = points.size() > kMostCorners;
    entry.error(
        "polygon", std::string(what) + (many ? " has too many corners" : " crosses itself too often"),
        many ? std::to_string(points.size()) + " corners" : "more than " + std::to_string(kMostCrossings) + " times",
        std::to_string(kMostCorners) + " corners or fewer, and an outline that does not cross itself");
    return {};
  }
  const auto from = entry.point("from"), to = entry.point("to");
  if (points.size() >= 3 || (from && to)) {
    Polygons filled = points.size() >= 3 ? fill_contours({Ring(points.begin(), points.end())})
                                         : fill_contours({{*from, {to->x, from->y}, *to, {from->x, to->y}}});
    if (filled.empty())
      entry.error(
          "polygon", std::string(what) + " holds no area",
          points.size() >= 3 ? std::to_string(points.size()) + " corners on one line" : "from and to on one line",
          "corners that span an area");
    return filled;
  }
  entry.error("polygon", std::string(what) + " needs a polygon of three points, or from and to", "neither",
              "polygon = [[x, y], ...]  or  from, to");
  return {};
}

void read_keep_out(TomlTable& entry, Job& job, bool panel) {
  KeepOut keep_out;
  keep_out.kind = entry.text("kind", "keep-out");
  keep_out.name = entry.text("name", keep_out.kind);
  keep_out.sides = sides_of(entry.choice("side")).value_or(Sides::both());
  keep_out.from_height = entry.length("from_height").value_or(Mm{0});
  keep_out.to_height = entry.length("to_height").value_or(Mm{1e9});
  if (keep_out.to_height <= keep_out.from_height)
    entry.error("to_height", "a keep-out must end higher than it begins", short_number(keep_out.to_height.v, 3) + " mm",
                "more than from_height");
  keep_out.area = area_of(entry, "a keep-out");
  keep_out.panel = panel;
  keep_out.place = entry.place();
  job.decisions.keep_outs.push_back(std::move(keep_out));
}

void read_flex(TomlTable& entry, Job& job) {
  Flex flex;
  flex.name = entry.text("name", "flexible part");
  flex.area = area_of(entry, "a flexible part");
  flex.backed = entry.switched("backed");
  flex.place = entry.place();
  job.decisions.flex.push_back(std::move(flex));
}

void read_cover(TomlTable& entry, Job& job) {
  Cover cover;
  cover.name = entry.text("name");
  if (cover.name.empty()) entry.error("name", "a cover needs a name", "none", "such as \"battery pack\"");
  cover.side = entry.side("side", Side::top);
  cover.area = area_of(entry, "a cover");
  cover.height = entry.required_length("height");
  cover.standoff = entry.length("standoff").value_or(Mm{0});
  if (cover.standoff >= cover.height)
    entry.error("standoff", "the clear height under a cover must be less than the cover's height",
                short_number(cover.standoff.v, 3) + " mm", "less than height");
  cover.place = entry.place();
  job.parts.covers.push_back(std::move(cover));
}

void read_panel_board(TomlTable& entry, Panel& panel) {
  PanelPlace board;
  board.name = entry.text("name", "P" + std::to_string(panel.places.size() + 1));
  const bool plain = std::all_of(board.name.begin(), board.name.end(), [](unsigned char letter) {
    return std::isalnum(letter) || letter == '_' || letter == '-';
  });
  if (board.name.empty() || board.name.size() > 30 || !plain)
    entry.error("name", "a board's name begins the names of its probes, so it must be short and plain", board.name,
                "letters, digits, _ and -");
  if (!entry.has("at")) entry.error("at", "a board of a panel needs a place", "none", "at = [x, y]");
  board.at = entry.point("at").value_or(Point{});
  board.turn = entry.amount<Degrees>("turn");
  board.flipped = entry.switched("flipped");
  panel.places.push_back(std::move(board));
}

void read_panel_array(TomlTable& entry, Panel& panel) {
  const int columns = entry.whole("columns"), rows = entry.whole("rows");
  const Point first = entry.point("first").value_or(Point{}), pitch = entry.point("pitch").value_or(Point{});
  const Degrees turn = entry.amount<Degrees>("turn");
  if ((columns > 1 && pitch.x == 0) || (rows > 1 && pitch.y == 0))
    entry.error("pitch", "an array needs a pitch", "0", "pitch = [\"60 mm\", \"40 mm\"]");
  for (int j = 0; j < rows; ++j)
    for (int i = 0; i < columns; ++i)
      panel.places.push_back(
          {"P" + std::to_string(panel.places.size() + 1), first + Point{i * pitch.x, j * pitch.y}, turn, false});
}

void read_panel(TomlTable& table, Job& job) {
  Panel& panel = job.panel;
  panel.used = true;
  panel.place = table.place();
  panel.step = table.text("step");
  panel.alike = table.choice("plans") == "alike";
  panel.outline = table.points("outline");
  table.tables("board", [&](TomlTable& entry) { read_panel_board(entry, panel); });
  table.table("array", [&](TomlTable& entry) { read_panel_array(entry, panel); });
  table.tables("hole", [&](TomlTable& entry) {
    if (!entry.has("at")) entry.error("at", "a hole needs a place", "none", "at = [x, y]");
    const PanelHole hole{entry.point("at").value_or(Point{}), entry.required_length("diameter"),
                         entry.switched("plated")};
    if (hole.diameter.v < 0.1)
      entry.error("diameter", "the hole is too small", short_number(hole.diameter.v, 3) + " mm", "0.1 mm or more");
    panel.holes.push_back(hole);
  });
  table.tables("keep_out", [&](TomlTable& entry) { read_keep_out(entry, job, true); });
  if (panel.places.empty() && panel.step.empty())
    table.error("board", "a panel needs boards", "none",
                "[[panel.board]] at = [x, y],  [panel.array],  or step = the panel step of the IPC-2581 file");
  std::set<std::string> names;
  for (const PanelPlace& board : panel.places)
    if (!names.insert(board.name).second)
      table.error("board", "two boards of the panel have the same name", board.name, "a name for each");
  if (!panel.outline.empty() && panel.outline.size() < 3)
    table.error("outline", "an outline needs three corners or more", std::to_string(panel.outline.size()),
                "three or more");
}

void read_variant(TomlTable& entry, Job& job) {
  BuildVariant variant{.name = entry.text("name"),
                       .bom = entry.text("bom"),
                       .cad = entry.text("ipc2581"),
                       .not_fitted = entry.texts("not_fitted"),
                       .fitted = entry.texts("fitted"),
                       .place = entry.place()};
  if (std::any_of(job.parts.variants.begin(), job.parts.variants.end(),
                  [&](const BuildVariant& other) { return other.name == variant.name; }))
    entry.error("name", "two build variants have the same name", variant.name, "a name for each");
  if (variant.name.empty()) entry.error("name", "a build variant needs a name", "none", "such as \"with display\"");
  job.parts.variants.push_back(std::move(variant));
}

void read_space(TomlTable& root, Job& job) {
  root.tables("keep_out", [&](TomlTable& entry) { read_keep_out(entry, job, false); });
  if (job.decisions.keep_outs.size() > 2000)
    root.error("keep_out", "the job lists too many keep-outs", std::to_string(job.decisions.keep_outs.size()),
               "up to 2000; join keep-outs that touch");
  root.tables("cover", [&](TomlTable& entry) { read_cover(entry, job); });
  root.tables("flex", [&](TomlTable& entry) { read_flex(entry, job); });
  if (job.decisions.flex.size() > 200)
    root.error("flex", "the job lists too many flexible parts", std::to_string(job.decisions.flex.size()),
               "up to 200; join parts that touch");
  root.table("panel", [&](TomlTable& table) { read_panel(table, job); });
  root.tables("variant", [&](TomlTable& entry) { read_variant(entry, job); });
  if (job.parts.variants.size() > 30)
    root.error("variant", "the job lists too many build variants", std::to_string(job.parts.variants.size()),
               "up to 30");
}

void read_board(TomlTable& board, Job& job) {
  read_plain_keys(board, "board", job);
  const std::string finish = board.choice_or_nothing("finish");
  if (!finish.empty()) job.inputs.finish = surface_of(finish);
}

void read_fixture(TomlTable& fixture, Job& job) {
  fixture.table("most", [&](TomlTable& most) {
    most.each([&](const std::string& key) { job.fixture.most_of_class[key] = most.whole(key, 0, 0, 1'000'000); });
  });
  read_plain_keys(fixture, "fixture", job);
  job.mechanics.lay_out_supports = fixture.choice("supports") == "laid out";
  if (!job.fixture.tooling.empty() && job.fixture.tooling.size() != 2)
    fixture.error("tooling", "a board is located by two holes", std::to_string(job.fixture.tooling.size()) + " points",
                  "exactly two points");
}

void read_mechanics(TomlTable& table, Job& job) {
  read_plain_keys(table, "mechanics", job);
  table.table("part_limit_ue", [&](TomlTable& limits) {
    limits.each([&](const std::string& part) {
      job.mechanics.part_limits[part] = limits.amount<Microstrain>(part, 500, 1, 1e5);
    });
  });
}

/// An entry that accepts nothing is told: its author would take the check for accepted.
void read_checks(TomlTable& checks, Job& job) {
  job.inputs.accept = checks.texts("accept");
  for (const std::string& code : job.inputs.accept) {
    const FindingCode* known = finding_code(code);
    if (known && known->acceptable) continue;
    std::string_view nearest;
    std::size_t least = std::string::npos;
    for (const FindingCode& row : finding_codes())
      if (const std::size_t off = edit_distance(code, row.code); row.acceptable && off < least) {
        least = off;
        nearest = row.code;
      }
    checks.error("accept", known ? "this finding cannot be accepted" : "no finding has this code", code,
                 "perhaps " + std::string(nearest));
  }
}

void read_plan(TomlTable& plan, Job& job) {
  read_plain_keys(plan, "plan", job);
  job.wants.scan_saves_probes = plan.choice("boundary_scan") == "save probes";
  if (static_cast<double>(job.effort.simulated_fixtures) * job.effort.simulated_boards > 1e7)
    plan.error("simulated_boards", "the simulation would take more touches than are worth waiting for",
               std::to_string(job.effort.simulated_fixtures) + " fixtures of " +
                   std::to_string(job.effort.simulated_boards) + " boards",
               "at most ten million touches in all");
}
}  // namespace

namespace {
/// Lines of comments that begin with CHECK, as `teasel start` writes them.
std::vector<std::uint32_t> open_checks_of(std::string_view text) {
  std::vector<std::uint32_t> lines;
  std::uint32_t number = 0;
  for (std::size_t from = 0; from < text.size();) {
    const std::size_t end = std::min(text.find('\n', from), text.size());
    std::string_view line = text.substr(from, end - from);
    ++number;
    from = end + 1;
    const std::size_t comment = line.find_first_not_of(" \t");
    if (comment == line.npos || line[comment] != '#') continue;
    if (line.find("CHECK", comment) != line.npos) lines.push_back(number);
  }
  return lines;
}
}  // namespace

std::string Job::unsettled() const {
  if (open_checks.empty()) return {};
  return plural(open_checks.size(), "line", "lines") + " of the job file marked CHECK " +
         (open_checks.size() == 1 ? "is" : "are") + " not settled, first line " + std::to_string(open_checks[0]);
}

Job read_job(std::string_view text, const std::string& file, Diagnostics& diagnostics) {
  Job job;
  job.file = file;
  job.open_checks = open_checks_of(text);
  with_toml(text, file, diagnostics, [&](TomlTable& root) {
    const int schema = root.whole("schema");
    if (schema != 1)
      root.error("schema", "this job file has a later schema than this version reads", std::to_string(schema), "1");
    root.table("board", [&](TomlTable& board) { read_board(board, job); });
    root.table("inputs", [&](TomlTable& inputs) { read_inputs(inputs, job); });
    root.table("components", [&](TomlTable& components) { read_components(components, job); });
    root.table("checks", [&](TomlTable& checks) { read_checks(checks, job); });
    read_needs(root, job);
    read_interface_rules(root, job);
    read_decisions(root, job);
    root.table("gate", [&](TomlTable& gate) {
      job.wants.gate.used = true;
      read_plain_keys(gate, "gate", job);
    });
    root.table("kelvin", [&](TomlTable& kelvin) { read_plain_keys(kelvin, "kelvin", job); });
    read_space(root, job);
    root.table("fixture", [&](TomlTable& fixture) { read_fixture(fixture, job); });
    root.table("rule_changes", [&](TomlTable& changes) { job.fixture.rule_changes = changes.leaves(); });
    root.table("history", [&](TomlTable& history) { read_plain_keys(history, "history", job); });
    root.table("mechanics", [&](TomlTable& mechanics) { read_mechanics(mechanics, job); });
    root.table("plan", [&](TomlTable& plan) { read_plan(plan, job); });
  });
  if (job.name.empty()) job.name = std::filesystem::path(file).stem().string();
  const bool copper = std::any_of(job.inputs.gerbers.begin(), job.inputs.gerbers.end(), [](const GerberInput& layer) {
    return layer.role == LayerRole::copper_top || layer.role == LayerRole::copper_bottom;
  });
  if (!diagnostics.failed() && job.inputs.netlist_file.empty() && job.inputs.pads_file.empty() &&
      job.inputs.cad_file.empty() && !copper)
    diagnostics.error({.code = "job-no-nets",
                       .at = {file, 0, 0, {}},
                       .message = "the job names no netlist, no pad list and no outer copper layer",
                       .expected = "[inputs.netlist] file,  [inputs.ipc2581] file,  [inputs.pads] file,  or "
                                   "[[inputs.gerber]] with role copper top or copper bottom",
                       .remedy = "add one of them"});
  return job;
}

}  // namespace teasel
