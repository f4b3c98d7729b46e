// Job file to Job.
#include <algorithm>
#include <cctype>
#include <set>

#include "teasel/job.h"
#include "toml_table.h"

namespace teasel {

namespace {
const std::vector<std::string> kSides = {"top", "bottom"};

void read_inputs(TomlTable& t, Job& job) {
  t.table("netlist", [&](TomlTable& n) {
    job.netlist_file = n.text("file");
    job.netlist_unit = n.choice("unit", {"0.0001 in", "0.001 mm"}, "");
    job.netlist_mask = n.choice("mask_field", {"open", "covered", "ignore"}, "");
    job.netlist_offset = n.point("offset");
  });
  t.tables("gerber", [&](TomlTable& g) {
    GerberInput in;
    in.file = g.text("file");
    const std::string role = g.text("role", "ignore");
    if (auto r = layer_role(role)) in.role = *r;
    else g.error("role", "unknown layer role", role, "copper top, copper bottom, copper inner, mask top, mask bottom, paste top, paste bottom, silk top, silk bottom, outline, drawing or ignore");
    const std::string image = g.choice("image", {"openings", "mask", "copper", "clearances"}, "");
    const bool copper = in.role == LayerRole::copper_top || in.role == LayerRole::copper_bottom || in.role == LayerRole::copper_inner;
    if (!image.empty() && copper != (image == "copper" || image == "clearances"))
      g.error("image", "this image does not go with the layer's role", image, copper ? "copper or clearances" : "openings or mask");
    in.mask_image_inverted = image == "mask", in.clearances = image == "clearances";
    in.layer = g.whole("layer", 0, 0, 99);
    in.unit = g.choice("unit", {"inch", "mm"}, "");
    in.place = g.place("file");
    job.gerbers.push_back(std::move(in));
  });
  t.tables("drill", [&](TomlTable& g) {
    DrillInput in;
    in.file = g.text("file");
    in.unit = g.choice("unit", {"inch", "mm"}, "");
    in.zeros = g.choice("zeros", {"leading kept", "trailing kept"}, "");
    in.digits = g.text("digits");
    if (!in.digits.empty() && !(in.digits.size() == 3 && in.digits[1] == '.' && in.digits[0] >= '0' && in.digits[0] <= '8' &&
                                in.digits[2] >= '0' && in.digits[2] <= '8'))
      g.error("digits", "digits before and behind the point are expected", in.digits, "such as \"2.5\"");
    in.plating = g.choice("plating", {"plated", "unplated"}, "");
    in.offset = g.point("offset");
    in.first_layer = g.whole("first_layer", 0, 0, 99), in.last_layer = g.whole("last_layer", 0, 0, 99);
    g.table("tools", [&](TomlTable& tools) {
      tools.each([&](const std::string& key) {
        int n{};
        auto v = tools.length(key);
        if (key.size() < 2 || key[0] != 'T' || std::from_chars(key.data() + 1, key.data() + key.size(), n).ec != std::errc{})
          return tools.error(key, "a tool name is expected", key, "such as T1");
        if (v) in.tools[n] = *v;
      });
    });
    in.place = g.place("file");
    job.drills.push_back(std::move(in));
  });
  t.table("placement", [&](TomlTable& p) {
    job.placement_files = p.texts("files");
    job.placement_unit = p.choice("unit", {"mm", "inch", "mil", "um"}, "");
    job.placement_offset = p.point("offset");
    job.placement_bottom = p.choice("bottom", {"from the top", "from the bottom"}, "");
    job.placement_bottom_offset = p.point("bottom_offset");
  });
  t.table("ipc2581", [&](TomlTable& c) {
    job.cad_file = c.text("file");
    job.cad_step = c.text("step");
    job.cad_variant = c.text("variant");
    job.cad_mask = c.choice("mask_image", {"openings", "mask"}, "");
  });
  t.table("idf", [&](TomlTable& i) {
    job.idf_board = i.text("board");
    job.idf_library = i.text("library");
    job.idf_offset = i.point("offset");
  });
  t.table("bom", [&](TomlTable& m) {
    job.bom_file = m.text("file");
    job.bom_variant = m.text("variant");
  });
  t.tables("bsdl", [&](TomlTable& g) {
    BsdlInput in{g.text("file"), g.text("component"), g.text("package"), g.place("file")};
    if (in.file.empty() || in.component.empty()) g.error("component", "a boundary-scan description is bound to a component", in.file + " / " + in.component, "file and component");
    job.bsdl.push_back(std::move(in));
  });
  t.table("heights", [&](TomlTable& h) { job.heights_file = h.text("file"); });
  t.table("pads", [&](TomlTable& p) { job.pads_file = p.text("file"); });
  t.table("references", [&](TomlTable& r) {
    job.references_file = r.text("file");
    job.photo_model = r.choice("model", {"similarity", "affine", "projective"}, "");
    job.reference_error = r.length("least_error").value_or(job.reference_error);
    if (job.reference_error.v < 0.001 || job.reference_error.v > 5) r.error("least_error", "the error of a reading is out of range", short_number(job.reference_error.v, 4) + " mm", "0.001 to 5 mm");
  });
  t.table("continuity", [&](TomlTable& c) {
    job.continuity_file = c.text("file");
    job.joined_below = c.number("joined_below_ohm", 5, 0.001, 1e6);
    job.open_above = c.number("open_above_ohm", 100, 0.001, 1e9);
    if (job.open_above < job.joined_below) c.error("open_above_ohm", "pads cannot be apart at less than what joins them", short_number(job.open_above, 3), "joined_below_ohm or more");
  });
  t.table("outline", [&](TomlTable& o) {
    job.outline_file = o.text("file");
    job.outline_polygon = o.points("polygon");
    if (!job.outline_polygon.empty() && job.outline_polygon.size() < 3) o.error("polygon", "an outline needs three corners", std::to_string(job.outline_polygon.size()), "three or more");
    job.outline_choice = o.whole("choice", 1, 1, 100);
    job.outline_area = o.number("area_mm2", 0, 0, 1e9);
  });
}

void read_components(TomlTable& t, Job& job) {
  job.not_fitted = t.texts("not_fitted");
  t.table("height", [&](TomlTable& h) {
    h.each([&](const std::string& key) {
      if (auto v = h.length(key)) job.heights[key] = *v;
    });
  });
  t.table("protrusion", [&](TomlTable& h) {
    h.each([&](const std::string& key) {
      if (auto v = h.length(key)) job.protrusions[key] = *v;
    });
  });
  t.table("side", [&](TomlTable& s) {
    s.each([&](const std::string& key) {
      const std::string v = s.choice(key, kSides, "");
      if (!v.empty()) job.component_sides[key] = v == "top" ? Side::top : Side::bottom;
    });
  });
}

void read_needs(TomlTable& t, Job& job) {
  t.tables("need", [&](TomlTable& n) {
    NeedRule r;
    r.nets = n.text("nets");
    if (r.nets.empty()) n.error("nets", "a net name or pattern is missing", "nothing", "such as \"SWD*\"");
    r.role = role_of(n.choice("role", {"programming", "power", "ground", "functional", "observe", "do_not_touch"}, ""));
    if (n.has("wanted")) r.wanted = n.whole("wanted", 1, 0, 1000);
    r.mandatory = n.yes_no("mandatory");
    if (n.has("amperes")) r.amperes = n.number("amperes", 1, 0.001, 10000);
    if (n.has("importance")) r.importance = n.number("importance", 1, 0.001, 1000);
    if (n.has("apart")) r.apart = n.required_length("apart");
    if (n.has("stage")) r.long_travel = n.choice("stage", {"all", "long travel"}, "all") == "long travel";
    if (n.has("volts")) r.volts = n.number("volts", 0, -100000, 100000);
    r.reason = n.text("reason");
    r.place = n.place("nets");
    job.needs.push_back(std::move(r));
  });
  t.tables("hole", [&](TomlTable& n) {
    OldHole h;
    if (auto p = n.point("at")) h.at = *p;
    else n.error("at", "where the hole is", "nothing", "at = [\"10 mm\", \"20 mm\"]");
    h.side = n.choice("side", {"top", "bottom"}, "bottom") == "top" ? Side::top : Side::bottom;
    h.probe_class = n.text("class"), h.state = n.choice("state", {"open", "plugged", "in use"}, "open");
    if (h.probe_class.empty()) n.error("class", "the class that it was drilled for is missing", "nothing", "a class of the catalogue");
    h.place = n.place();
    job.old_holes.push_back(std::move(h));
  });
  t.tables("mate", [&](TomlTable& n) {
    Mate m;
    m.component = n.text("component");
    if (m.component.empty()) n.error("component", "the board's connector is missing", "nothing", "such as \"J3\"");
    const std::string side = n.choice("side", {"top", "bottom"}, "");
    if (!side.empty()) m.side = side == "top" ? Side::top : Side::bottom;
    m.price = n.number("price", 0, 0, 1e6), m.force = n.force("force").value_or(Newton{});
    m.place = n.place("component");
    job.mates.push_back(std::move(m));
  });
  t.tables("interface", [&](TomlTable& n) {
    InterfaceRule r;
    r.name = n.text("name"), r.kind = n.text("kind"), r.nets = n.texts("nets");
    n.table("lines", [&](TomlTable& l) {
      l.each([&](const std::string& key) { r.lines[key] = l.text(key); });
    });
    r.mandatory = n.yes_no("mandatory");
    if (n.has("wanted")) r.wanted = n.whole("wanted", 1, 0, 1000);
    r.role = role_of(n.choice("role", {"programming", "power", "ground", "functional", "observe", "do_not_touch"}, ""));
    if (r.mandatory.value_or(false) && (r.wanted == 0 || r.role == Role::do_not_touch)) n.error("mandatory", "what must be reached wants a probe", r.wanted == 0 ? "wanted = 0" : "do_not_touch", "one of the two");
    r.reason = n.text("reason");
    r.place = n.place();
    if (r.kind.empty() && r.name.empty()) n.error("kind", "an entry names a kind of interface, or one that was found", "neither", "kind = \"UART\"  or  name = \"UART 2\"");
    if (!r.lines.empty() && r.kind.empty()) n.error("kind", "an interface given by its lines has a kind", "none", "kind = \"UART\"");
    if ((r.kind == "none") != !r.nets.empty()) n.error("nets", "nets go with kind none, and with nothing else", std::to_string(r.nets.size()) + " nets", "kind = \"none\", nets = [\"...\"]");
    if (r.kind == "none" && !r.lines.empty()) n.error("lines", "an entry of kind none has no lines", std::to_string(r.lines.size()), "nets = [\"...\"]");
    job.interface_rules.push_back(std::move(r));
  });
  t.tables("lock", [&](TomlTable& n) {
    Lock l{n.text("net"), n.text("target"), n.choice("side", kSides, ""), n.text("class"), n.place()};
    if (l.net.empty() || l.target.empty()) n.error("net", "a lock names a net and a target", l.net + " / " + l.target, "net and target");
    job.locks.push_back(std::move(l));
  });
  t.tables("ban", [&](TomlTable& n) {
    Ban b{n.text("net"), n.text("target"), n.choice("side", kSides, ""), n.text("reason"), n.place()};
    if (b.net.empty() && b.target.empty() && b.side.empty()) n.error("target", "a ban names a net, a target or a side", "nothing", "one of them");
    job.bans.push_back(std::move(b));
  });
  t.tables("support", [&](TomlTable& n) {
    Support s;
    if (const auto at = n.point("at")) s.at = *at;
    else n.error("at", "a support has a place", "nothing", "at = [\"10 mm\", \"20 mm\"]");
    s.side = n.choice("side", {"top", "bottom"}, "top") == "top" ? Side::top : Side::bottom;
    s.finger = n.choice("kind", {"push finger", "board stop"}, "push finger") == "push finger";
    s.place = n.place();
    job.supports.push_back(std::move(s));
  });
  t.tables("waiver", [&](TomlTable& n) {
    Waiver w{n.text("net"), n.text("target"), n.choice("side", kSides, ""), n.text("rule"), n.text("reason"), n.place()};
    if (w.net.empty() || w.target.empty() || w.rule.empty()) n.error("rule", "a waiver names a net, a target and a rule", w.net + " / " + w.target + " / " + w.rule, "all three, as in blocked.csv");
    if (w.reason.empty()) n.error("reason", "a waiver needs a reason", "none", "why the finding is accepted");
    job.waivers.push_back(std::move(w));
  });
}

/// polygon = [[x, y], ...], or the opposite corners of a rectangle.
Polygons area_of(TomlTable& n, const char* what) {
  const std::vector<Point> points = n.points("polygon");
  const auto from = n.point("from"), to = n.point("to");
  if (points.size() >= 3 || (from && to)) {
    Polygons filled = points.size() >= 3 ? fill_contours({points}) : fill_contours({{*from, {to->x, from->y}, *to, {from->x, to->y}}});
    if (filled.empty()) n.error("polygon", std::string(what) + " holds no area", points.size() >= 3 ? std::to_string(points.size()) + " corners on one line" : "from and to on one line", "corners that span an area");
    return filled;
  }
  n.error("polygon", std::string(what) + " needs a polygon of three points, or from and to", "neither", "polygon = [[x, y], ...]  or  from, to");
  return {};
}

void read_space(TomlTable& t, Job& job) {
  auto keep_out = [&](TomlTable& n, bool panel) {
    KeepOut k;
    k.kind = n.text("kind", "keep-out");
    k.name = n.text("name", k.kind);
    k.side = n.choice("side", {"top", "bottom", "both"}, "both");
    k.from_height = n.length("from_height").value_or(Mm{0}).v;
    k.to_height = n.length("to_height").value_or(Mm{1e9}).v;
    if (k.to_height <= k.from_height) n.error("to_height", "a keep-out ends above where it begins", short_number(k.to_height, 3) + " mm", "more than from_height");
    k.area = area_of(n, "a keep-out");
    k.panel = panel;
    k.place = n.place();
    job.keep_outs.push_back(std::move(k));
  };
  t.tables("keep_out", [&](TomlTable& n) { keep_out(n, false); });
  if (job.keep_outs.size() > 2000) t.error("keep_out", "more keep-outs than a board has room for", std::to_string(job.keep_outs.size()), "up to 2000: join them");
  t.tables("cover", [&](TomlTable& n) {
    Cover c;
    c.name = n.text("name");
    if (c.name.empty()) n.error("name", "a cover needs a name", "none", "such as \"battery pack\"");
    c.side = n.choice("side", kSides, "top") == "top" ? Side::top : Side::bottom;
    c.area = area_of(n, "a cover");
    c.height = n.required_length("height").v, c.standoff = n.length("standoff").value_or(Mm{0}).v;
    if (c.standoff >= c.height) n.error("standoff", "a cover stands lower than its top", short_number(c.standoff, 3) + " mm", "less than the height");
    c.place = n.place();
    job.covers.push_back(std::move(c));
  });
  t.table("panel", [&](TomlTable& p) {
    job.panel.used = true, job.panel.place = p.place();
    job.panel.step = p.text("step");
    job.panel.alike = p.choice("plans", {"alike", "free"}, "alike") == "alike";
    job.panel.outline = p.points("outline");
    p.tables("board", [&](TomlTable& n) {
      PanelPlace q;
      q.name = n.text("name", "P" + std::to_string(job.panel.places.size() + 1));
      if (q.name.empty() || q.name.size() > 30 || !std::all_of(q.name.begin(), q.name.end(), [](unsigned char c) { return std::isalnum(c) || c == '_' || c == '-'; })) n.error("name", "a board's name stands before the names of its probes", q.name, "letters, digits, _ and -");
      if (!n.has("at")) n.error("at", "a board of a panel needs a place", "none", "at = [x, y]");
      q.at = n.point("at").value_or(Point{}), q.turn = n.number("turn", 0, -360, 360);
      q.flipped = n.yes_no("flipped").value_or(false);
      job.panel.places.push_back(std::move(q));
    });
    p.table("array", [&](TomlTable& n) {
      const int columns = n.whole("columns", 1, 1, 100), rows = n.whole("rows", 1, 1, 100);
      const Point first = n.point("first").value_or(Point{}), pitch = n.point("pitch").value_or(Point{});
      const double turn = n.number("turn", 0, -360, 360);
      if ((columns > 1 && pitch.x == 0) || (rows > 1 && pitch.y == 0)) n.error("pitch", "an array needs a pitch", "0", "pitch = [\"60 mm\", \"40 mm\"]");
      for (int j = 0; j < rows; ++j)
        for (int i = 0; i < columns; ++i) job.panel.places.push_back({"P" + std::to_string(job.panel.places.size() + 1), first + Point{i * pitch.x, j * pitch.y}, turn, false});
    });
    p.tables("hole", [&](TomlTable& n) {
      if (!n.has("at")) n.error("at", "a hole needs a place", "none", "at = [x, y]");
      job.panel.holes.push_back({n.point("at").value_or(Point{}), n.required_length("diameter"), n.yes_no("plated").value_or(false)});
      if (job.panel.holes.back().diameter.v < 0.1) n.error("diameter", "a hole has a size", short_number(job.panel.holes.back().diameter.v, 3) + " mm", "0.1 mm or more");
    });
    p.tables("keep_out", [&](TomlTable& n) { keep_out(n, true); });
    if (job.panel.places.empty() && job.panel.step.empty()) p.error("board", "a panel holds boards", "none", "[[panel.board]] at = [x, y],  [panel.array],  or step = the panel step of the IPC-2581 file");
    std::set<std::string> names;
    for (const PanelPlace& q : job.panel.places)
      if (!names.insert(q.name).second) p.error("board", "two boards of the panel have one name", q.name, "a name for each");
    if (!job.panel.outline.empty() && job.panel.outline.size() < 3) p.error("outline", "an outline needs three corners", std::to_string(job.panel.outline.size()), "three or more");
  });
  t.tables("variant", [&](TomlTable& n) {
    BuildVariant v{n.text("name"), n.text("bom"), n.text("ipc2581"), n.texts("not_fitted"), n.texts("fitted"), n.place()};
    if (std::any_of(job.variants.begin(), job.variants.end(), [&](const BuildVariant& w) { return w.name == v.name; })) n.error("name", "two build variants have one name", v.name, "a name for each");
    if (v.name.empty()) n.error("name", "a build variant needs a name", "none", "such as \"with display\"");
    job.variants.push_back(std::move(v));
  });
  if (job.variants.size() > 30) t.error("variant", "more build variants than one plan can hold for", std::to_string(job.variants.size()), "up to 30");
}
}  // namespace

Job read_job(std::string_view text, const std::string& file, Diagnostics& d) {
  Job job;
  job.file = file;
  with_toml(text, file, d, [&](TomlTable& root) {
    const int schema = root.whole("schema", 1, 1, 1000);
    if (schema != 1) root.error("schema", "this job file is of a later schema", std::to_string(schema), "1");
    root.table("board", [&](TomlTable& b) {
      job.name = b.text("name");
      job.revision = b.text("revision");
      job.thickness = b.length("thickness");
      if (const std::string finish = b.choice("finish", {"gold", "solder", "tin", "silver", "organic", "unknown"}, ""); !finish.empty()) job.finish = surface_of(finish);
    });
    root.table("inputs", [&](TomlTable& t) { read_inputs(t, job); });
    root.table("components", [&](TomlTable& t) { read_components(t, job); });
    root.table("checks", [&](TomlTable& t) { job.accept = t.texts("accept"); });
    read_needs(root, job);
    root.table("gate", [&](TomlTable& g) {
      job.gate.used = true;
      for (auto [key, value] : {std::pair{"score", &job.gate.score}, {"nets", &job.gate.nets}, {"pins", &job.gate.pins}, {"components", &job.gate.components}})
        if (g.has(key)) *value = g.number(key, 100, 0, 100);
      job.gate.supplies = g.yes_no("supplies").value_or(false);
      job.gate.interfaces = g.texts("interfaces");
    });
    root.table("kelvin", [&](TomlTable& k) {
      job.kelvin = k.texts("components");
      job.kelvin_below = k.number("below_ohm", 1, 0, 1e6);
    });
    read_space(root, job);
    root.table("fixture", [&](TomlTable& f) {
      f.table("most", [&](TomlTable& m) {
        m.each([&](const std::string& key) { job.most_of_class[key] = m.whole(key, 0, 0, 1'000'000); });
      });
      job.channels = f.whole("channels", 0, 0, 1'000'000);
      job.largest_force = f.force("largest_force").value_or(Newton{});
      job.catalogue = f.text("catalogue", job.catalogue);
      job.rules = f.text("rules", job.rules);
      job.interfaces = f.text("interfaces", job.interfaces);
      job.kit = f.text("kit");
      job.style = f.text("style", job.style);
      job.prices = f.text("prices", job.prices);
      job.lay_out_supports = f.choice("supports", {"laid out", "by hand"}, "laid out") == "laid out";
      job.classes = f.texts("classes");
      job.board_lies = f.choice("board_lies", {"auto", "bottom side down", "top side down"}, "auto");
      job.sides = f.choice("sides", {"auto", "bottom", "top", "both"}, "auto");
      job.drill_face = f.choice("drill_face", {"board", "outer"}, "board");
      job.tooling = f.points("tooling");
      if (!job.tooling.empty() && job.tooling.size() != 2) f.error("tooling", "two holes locate a board", std::to_string(job.tooling.size()) + " points", "two points");
    });
    root.table("rule_changes", [&](TomlTable& c) { job.rule_changes = c.leaves(); });
    root.table("mechanics", [&](TomlTable& m) {
      job.mechanics = m.yes_no("solve").value_or(true);
      job.closing_seconds = m.has("closing_seconds") ? m.number("closing_seconds", 1, 0.001, 1000) : 0;
      if (m.has("modulus_gpa")) job.modulus = 1000 * m.number("modulus_gpa", 20, 0.1, 1000);
      if (m.has("modulus_across_gpa")) job.modulus_across = 1000 * m.number("modulus_across_gpa", 20, 0.1, 1000);
      if (m.has("strain_limit_ue")) job.strain_limit = 1e-6 * m.number("strain_limit_ue", 500, 1, 1e5);
      m.table("part_limit_ue", [&](TomlTable& t) { t.each([&](const std::string& part) { job.component_strain[part] = 1e-6 * t.number(part, 500, 1, 1e5); }); });
    });
    root.table("plan", [&](TomlTable& p) { 
      job.time_limit = p.number("time_limit_s", 60, 0.1, 86400);
      job.scan_saves_probes = p.choice("boundary_scan", {"report", "save probes"}, "report") == "save probes";
      job.advice = p.yes_no("advice").value_or(true);
      job.proof = p.yes_no("proof").value_or(false);
      job.seed = p.whole("seed", 1, 0, 1'000'000'000);
      job.simulated_fixtures = p.whole("simulated_fixtures", 400, 0, 100'000);
      job.simulated_boards = p.whole("simulated_boards", 200, 1, 100'000);
      if (static_cast<double>(job.simulated_fixtures) * job.simulated_boards > 1e7) p.error("simulated_boards", "more touches than are worth waiting for", std::to_string(job.simulated_fixtures) + " fixtures of " + std::to_string(job.simulated_boards) + " boards", "ten million together at most");
    });
  });
  const bool copper = std::any_of(job.gerbers.begin(), job.gerbers.end(), [](const GerberInput& g) { return g.role == LayerRole::copper_top || g.role == LayerRole::copper_bottom; });
  if (!d.failed() && job.netlist_file.empty() && job.pads_file.empty() && job.cad_file.empty() && !copper)
    d.error("job-no-nets", {file, 0, 0, {}}, "the job names neither a netlist nor a pad list nor outer copper", {}, "[inputs.netlist] file,  [inputs.ipc2581] file,  [inputs.pads] file,  or [[inputs.gerber]] with role copper top or copper bottom", "add one of them");
  return job;
}

const std::vector<Option>& job_options() {
  static const std::vector<Option> options = {
      {"schema", "whole", "1", "version of the job file"},
      {"board.name", "text", "", "printed on every output"},
      {"board.revision", "text", "", "printed on every output"},
      {"board.thickness", "length", "", "finished board thickness: probes of the upper plate, and probes that meet in a hole"},
      {"board.finish", "text", "unknown", "of bare lands: gold, solder, tin, silver, organic or unknown"},
      {"inputs.netlist.file", "text", "", "IPC-D-356 or 356A netlist"},
      {"inputs.netlist.unit", "text", "", "\"0.0001 in\" or \"0.001 mm\"; overrules the file's UNITS line"},
      {"inputs.netlist.mask_field", "text", "", "what a set S bit says: \"open\", \"covered\" or \"ignore\"; used only where no mask layer is given"},
      {"inputs.netlist.offset", "point", "[\"0 mm\", \"0 mm\"]", "added to netlist coordinates to reach the Gerber frame"},
      {"inputs.gerber[].file", "text", "", "a layer file"},
      {"inputs.gerber[].role", "text", "ignore", "copper top, copper bottom, copper inner, mask top, mask bottom, paste top, paste bottom, silk top, silk bottom, outline, drawing or ignore"},
      {"inputs.gerber[].image", "text", "", "mask layers: the image shows \"openings\" (default) or \"mask\"; copper: \"copper\" (default) or \"clearances\" (a negative plane)"},
      {"inputs.gerber[].layer", "whole", "0", "copper: number of the layer, 1 = top; needed on inner layers where holes are blind or buried"},
      {"inputs.gerber[].unit", "text", "", "\"inch\" or \"mm\"; for a file that states none, or a wrong one"},
      {"inputs.drill[].file", "text", "", "an Excellon or XNC file"},
      {"inputs.drill[].unit", "text", "", "\"inch\" or \"mm\"; overrules the file"},
      {"inputs.drill[].zeros", "text", "", "\"leading kept\" or \"trailing kept\"; overrules the file"},
      {"inputs.drill[].digits", "text", "", "digits before and behind the point, such as \"2.5\"; overrules the file"},
      {"inputs.drill[].plating", "text", "", "\"plated\" or \"unplated\" for holes whose kind the file does not state"},
      {"inputs.drill[].tools", "table", "", "diameters that the file lacks: { T1 = \"0.3 mm\" }"},
      {"inputs.drill[].offset", "point", "[\"0 mm\", \"0 mm\"]", "added to reach the Gerber frame"},
      {"inputs.drill[].first_layer", "whole", "0", "blind or buried holes: first copper layer; 0 = as the file states, else through"},
      {"inputs.drill[].last_layer", "whole", "0", "blind or buried holes: last copper layer"},
      {"inputs.placement.files", "list", "", "placement tables"},
      {"inputs.placement.unit", "text", "", "\"mm\", \"inch\", \"mil\" or \"um\"; for tables that state none"},
      {"inputs.placement.offset", "point", "[\"0 mm\", \"0 mm\"]", "added to reach the Gerber frame"},
      {"inputs.placement.bottom", "text", "from the top", "how bottom parts are written: \"from the top\" as the others, or \"from the bottom\" with x the other way round"},
      {"inputs.placement.bottom_offset", "point", "the offset", "added to bottom parts, after their x is turned round"},
      {"inputs.ipc2581.file", "text", "", "an IPC-2581 file of revision B or C, alone or beside other files; .zst is read as well"},
      {"inputs.ipc2581.step", "text", "", "the step that is the board, where the file holds several"},
      {"inputs.ipc2581.variant", "text", "", "the bill of materials that says what is fitted, where the file holds several"},
      {"inputs.ipc2581.mask_image", "text", "openings", "its mask layers show \"openings\" or \"mask\""},
      {"inputs.idf.board", "text", "", "an IDF 3.0 board file: bodies, edge, holes, keep-outs"},
      {"inputs.idf.library", "text", "", "its library: outlines and heights of the parts"},
      {"inputs.idf.offset", "point", "[\"0 mm\", \"0 mm\"]", "added to IDF coordinates to reach the Gerber frame"},
      {"inputs.bom.file", "text", "", "bill of materials: which parts are fitted, in which variant"},
      {"inputs.bom.variant", "text", "", "the variant, where the table has a column for each"},
      {"inputs.bsdl[].file", "text", "", "a boundary-scan description (BSDL)"},
      {"inputs.bsdl[].component", "text", "", "the component that it describes (glob)"},
      {"inputs.bsdl[].package", "text", "by the pins", "its package in that file"},
      {"inputs.heights.file", "text", "", "table component,height_mm"},
      {"inputs.pads.file", "text", "", "teasel's own pad list, for boards without a netlist"},
      {"inputs.references.file", "text", "", "reference points of the pictures in which pads were measured: photo,point,x_px,y_px,x_mm,y_mm"},
      {"inputs.references.model", "text", "by the points", "\"similarity\", \"affine\" or \"projective\""},
      {"inputs.references.least_error", "length", "0.05 mm", "what one reading in a picture is off at least, one sigma"},
      {"inputs.continuity.file", "text", "", "resistances between pads: pad_a,pad_b,ohms; they make the nets of a pad list"},
      {"inputs.continuity.joined_below_ohm", "number", "5", "up to this, two pads are one net"},
      {"inputs.continuity.open_above_ohm", "number", "100", "from this on, two pads are two nets; between, a part or a bad touch lies between them"},
      {"inputs.outline.file", "text", "", "the layer file that holds the outline"},
      {"inputs.outline.polygon", "list", "", "the board's corners, [[\"0 mm\", \"0 mm\"], ...], where no file draws its edge"},
      {"inputs.outline.choice", "whole", "1", "which closed face of that file, smallest first"},
      {"inputs.outline.area_mm2", "number", "0", "area of the chosen face, as a check; 0 = no check"},
      {"components.not_fitted", "list", "[]", "components that are not fitted (globs)"},
      {"components.height", "table", "", "heights by component: { U7 = \"2.1 mm\" }"},
      {"components.protrusion", "table", "", "how far leads stand out of the solder side: { J1 = \"1.4 mm\" }"},
      {"components.side", "table", "", "sides by component: { J1 = \"bottom\" }"},
      {"checks.accept", "list", "[]", "codes of cross-checks whose failure you accept"},
      {"need[].nets", "text", "", "a net name or a glob; the first entry that fits a net decides"},
      {"need[].role", "text", "by name", "programming, power, ground, functional, observe or do_not_touch"},
      {"need[].wanted", "whole", "by role", "probes wanted on each such net"},
      {"need[].mandatory", "yes/no", "false", "unmet: exit status 2"},
      {"need[].amperes", "number", "", "current that the net carries during the test: its probes must carry it"},
      {"need[].importance", "number", "1", "times the price of leaving it unmet"},
      {"need[].apart", "length", "", "least distance between the probes of one such net"},
      {"need[].stage", "text", "all", "\"long travel\": its probes also touch when the press is half open, so that the others do not load the net"},
      {"need[].volts", "number", "by name", "the most that the net carries against ground during the test: the rule set asks for air between receptacles by voltage"},
      {"need[].reason", "text", "", "printed beside the net"},
      {"interface[].kind", "text", "", "a kind of the interface file (1149.1, UART, ...); \"none\": the nets below belong to no interface"},
      {"interface[].name", "text", "", "of one that was recognised (glob), or what to call the one given by its lines"},
      {"interface[].lines", "table", "", "the whole interface as you say it: { TX = \"NET_A\", RX = \"NET_B\" }; absent: what was recognised is confirmed"},
      {"interface[].nets", "list", "", "with kind none: these nets (globs)"},
      {"interface[].mandatory", "yes/no", "false", "every required line must be reached; unmet: exit status 2"},
      {"interface[].wanted", "whole", "by role", "probes on each of its lines"},
      {"interface[].role", "text", "by kind", "programming, power, ground, functional, observe or do_not_touch"},
      {"interface[].reason", "text", "", "printed beside its nets"},
      {"gate.score", "number", "", "least score of the audit, 0 to 100; any failure of the gate: exit status 2"},
      {"gate.nets", "number", "", "least share of wanted nets served or tested by boundary scan, percent"},
      {"gate.pins", "number", "", "least share of pins reached or tested by boundary scan, percent"},
      {"gate.components", "number", "", "least share of components whose nets are all reached, percent"},
      {"gate.interfaces", "list", "", "kinds or names of interfaces that must be usable (globs)"},
      {"gate.supplies", "yes/no", "no", "every wanted supply has probes for its current"},
      {"kelvin.components", "list", "", "components measured with four wires (globs)"},
      {"kelvin.below_ohm", "number", "1", "resistors up to this value as well"},
      {"lock[].net", "text", "", "this net is probed on this target"},
      {"lock[].target", "text", "", "name of the target as in probes.csv"},
      {"lock[].side", "text", "", "top or bottom, as for a ban; empty = either"},
      {"lock[].class", "text", "", "probe class; empty = any"},
      {"hole[].at", "point", "", "a hole that the fixture has already, board frame"},
      {"hole[].side", "text", "bottom", "of which side's probe plate"},
      {"hole[].class", "text", "", "probe class that it was drilled for"},
      {"hole[].state", "text", "open", "\"open\": a probe of its class may use it for nothing; \"plugged\"; \"in use\" by something else. New holes keep their web to all three"},
      {"mate[].component", "text", "", "a connector of the board into which the fixture plugs: all its nets are served by one part"},
      {"mate[].side", "text", "by the component", "top or bottom"},
      {"mate[].price", "number", "0", "money units"},
      {"mate[].force", "text", "0 N", "to plug it in"},
      {"support[].at", "point", "", "where a push finger or a board stop touches the board, board frame"},
      {"support[].side", "text", "top", "the side that it touches"},
      {"support[].kind", "text", "push finger", "\"push finger\" or \"board stop\""},
      {"ban[].net", "text", "", "no probe on this net (glob)"},
      {"ban[].target", "text", "", "no probe on this target (glob)"},
      {"ban[].side", "text", "", "limits the ban to a side: the board's own, or the panel's where the names say which board"},
      {"ban[].reason", "text", "", "printed beside the target"},
      {"waiver[].net", "text", "", "a blocking finding that you accept: the net,"},
      {"waiver[].target", "text", "", "the target,"},
      {"waiver[].rule", "text", "", "and the reason in blocked.csv"},
      {"waiver[].side", "text", "", "limits the waiver to a side, as for a ban"},
      {"waiver[].reason", "text", "", "why; shown in every output"},
      {"variant[].name", "text", "", "a build variant; the plan holds for all that are listed"},
      {"variant[].bom", "text", "", "its column in the bill of materials"},
      {"variant[].ipc2581", "text", "", "its bill of materials in the IPC-2581 file"},
      {"variant[].not_fitted", "list", "[]", "components it leaves out (globs)"},
      {"variant[].fitted", "list", "[]", "components it fits although another source leaves them out (globs)"},
      {"cover[].name", "text", "", "a body that no file knows: a shield lid, a pack"},
      {"cover[].side", "text", "top", "top or bottom"},
      {"cover[].polygon", "list", "", "corners, board frame"},
      {"cover[].from", "point", "", "one corner of a rectangle"},
      {"cover[].to", "point", "", "the opposite corner"},
      {"cover[].height", "length", "", "its top over the board face"},
      {"cover[].standoff", "length", "0 mm", "clear height under it"},
      {"panel.step", "text", "", "take the places from this step of the IPC-2581 file"},
      {"panel.plans", "text", "alike", "\"alike\": every board is probed at the same places; \"free\""},
      {"panel.outline", "list", "", "corners of the panel, panel frame; absent: the box about its boards and holes"},
      {"panel.board[].name", "text", "P1, P2, ...", "stands before the names of its probes"},
      {"panel.board[].at", "point", "", "where the board's zero lies in the panel"},
      {"panel.board[].turn", "number", "0", "degrees counter-clockwise, seen from the top of the panel"},
      {"panel.board[].flipped", "yes/no", "no", "shows its bottom: mirrored in X, then turned"},
      {"panel.array.columns", "whole", "1", "a regular array instead: boards along X"},
      {"panel.array.rows", "whole", "1", "and along Y"},
      {"panel.array.first", "point", "[\"0 mm\", \"0 mm\"]", "where the first board's zero lies"},
      {"panel.array.pitch", "point", "", "from board to board"},
      {"panel.array.turn", "number", "0", "degrees, of every board"},
      {"panel.hole[].at", "point", "", "a hole of the panel itself, for its tooling pins"},
      {"panel.hole[].diameter", "length", "", "finished"},
      {"panel.hole[].plated", "yes/no", "no", "plated"},
      {"panel.keep_out[]", "table", "", "as keep_out, in the panel's frame: rails, clamps"},
      {"keep_out[].kind", "text", "keep-out", "a kind of the rule file: keep-out, rail, tab, camera, light sensor, button pusher, label, pass stamp, board-present switch"},
      {"keep_out[].name", "text", "the kind", "printed where it blocks"},
      {"keep_out[].from_height", "length", "0 mm", "lowest height over the board face that it takes up"},
      {"keep_out[].to_height", "length", "all", "highest"},
      {"keep_out[].side", "text", "both", "top, bottom or both"},
      {"keep_out[].polygon", "list", "", "corners, [[\"1 mm\", \"2 mm\"], ...], board frame"},
      {"keep_out[].from", "point", "", "one corner of a rectangle"},
      {"keep_out[].to", "point", "", "the opposite corner"},
      {"fixture.catalogue", "text", "standard", "probe catalogue: a shipped name or a TOML file"},
      {"fixture.rules", "text", "standard", "rule set: a shipped name or a TOML file"},
      {"fixture.interfaces", "text", "standard", "interfaces, how their nets are named, and what is wanted of them: a shipped name or a TOML file"},
      {"fixture.kit", "text", "", "kit: a shipped name (hand-press, clamshell, vacuum-box) or a TOML file; empty = blanks are cut to the board"},
      {"fixture.style", "text", "moving-plate", "plates and what goes through them: a shipped name (moving-plate, fixed-plate, vacuum) or a TOML file"},
      {"fixture.prices", "text", "standard", "prices of material, work and machines: a shipped name (invented values) or a TOML file of your own"},
      {"fixture.supports", "text", "laid out", "push fingers and board stops: \"laid out\" beside those of the job, or only those (\"by hand\")"},
      {"fixture.classes", "list", "all", "probe classes in use"},
      {"fixture.board_lies", "text", "auto", "\"bottom side down\" or \"top side down\"; auto = the cheaper"},
      {"fixture.sides", "text", "auto", "probes from \"bottom\", \"top\" or \"both\"; auto = the cheapest of all"},
      {"fixture.drill_face", "text", "board", "face from which each plate is drilled: \"board\" or \"outer\""},
      {"fixture.most", "table", "", "most probes of a class: { \"50 mil\" = 20 }"},
      {"fixture.channels", "whole", "0", "of the tester: most nets' contacts in all; 0 = any number"},
      {"fixture.largest_force", "text", "0 N", "most that all probes may push with together; 0 = any"},
      {"fixture.tooling", "list", "chosen", "two points near the tooling holes to use, the round pin first"},
      {"rule_changes.*", "any", "", "values in place of the rule set's, by its own keys: rule.board_edge.least = \"2 mm\", limits.web = \"0.3 mm\"; a list replaces the whole list"},
      {"mechanics.solve", "yes/no", "true", "work out how the board bends, and lay out stops and fingers by it; the command line's --no-mechanics says no"},
      {"mechanics.closing_seconds", "number", "", "from first touch to full stroke: the strain limit then also follows its rate"},
      {"mechanics.modulus_gpa", "number", "of the rule set", "bending modulus of the board along X"},
      {"mechanics.modulus_across_gpa", "number", "as along X", "the same along Y"},
      {"mechanics.strain_limit_ue", "number", "of the rule set", "largest surface strain, microstrain"},
      {"mechanics.part_limit_ue", "table", "", "limits at the corners of single parts: { U7 = 300.0 }"},
      {"plan.time_limit_s", "number", "60", "seconds; then the best plan so far, marked unproven"},
      {"plan.boundary_scan", "text", "report", "\"report\", or \"save probes\": nets whose opens and shorts boundary scan finds get none, and the chain's own lines become mandatory"},
      {"plan.advice", "yes/no", "yes", "work out what the layout could change; no: faster on boards with many nets without access"},
      {"plan.proof", "yes/no", "no", "write plan.proof, which another program can check"},
      {"plan.seed", "whole", "1", "of the simulated beds: the same seed gives the same figures"},
      {"plan.simulated_fixtures", "whole", "400", "built fixtures that are simulated; 0: none"},
      {"plan.simulated_boards", "whole", "200", "boards on each"},
  };
  return options;
}

}  // namespace teasel
