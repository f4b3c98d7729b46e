// Job file to Job.
#include <algorithm>
#include <cctype>
#include <set>

#include "read_parts.h"
#include "teasel/job.h"

namespace teasel {

namespace {
const std::vector<std::string> kSides = {"top", "bottom"};

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
  t.tables("mate", [&](TomlTable& n) {
    Mate m;
    m.component = n.text("component");
    if (m.component.empty()) n.error("component", "the board's connector is missing", "nothing", "such as \"J3\"");
    const std::string side = n.choice("side", {"top", "bottom"}, "");
    if (!side.empty()) m.side = side == "top" ? Side::top : Side::bottom;
    m.price = n.number("price", 0, 0, 1e6);
    m.force = n.force("force").value_or(Newton{});
    m.place = n.place("component");
    job.mates.push_back(std::move(m));
  });
}

void read_interface_rules(TomlTable& t, Job& job) {
  t.tables("interface", [&](TomlTable& n) {
    InterfaceRule r;
    r.name = n.text("name");
    r.kind = n.text("kind");
    r.nets = n.texts("nets");
    n.table("lines", [&](TomlTable& l) { l.each([&](const std::string& key) { r.lines[key] = l.text(key); }); });
    r.mandatory = n.yes_no("mandatory");
    if (n.has("wanted")) r.wanted = n.whole("wanted", 1, 0, 1000);
    r.role = role_of(n.choice("role", {"programming", "power", "ground", "functional", "observe", "do_not_touch"}, ""));
    if (r.mandatory.value_or(false) && (r.wanted == 0 || r.role == Role::do_not_touch))
      n.error("mandatory", "what must be reached wants a probe", r.wanted == 0 ? "wanted = 0" : "do_not_touch",
              "one of the two");
    r.reason = n.text("reason");
    r.place = n.place();
    if (r.kind.empty() && r.name.empty())
      n.error("kind", "an entry names a kind of interface, or one that was found", "neither",
              "kind = \"UART\"  or  name = \"UART 2\"");
    if (!r.lines.empty() && r.kind.empty())
      n.error("kind", "an interface given by its lines has a kind", "none", "kind = \"UART\"");
    if ((r.kind == "none") != !r.nets.empty())
      n.error("nets", "nets go with kind none, and with nothing else", std::to_string(r.nets.size()) + " nets",
              "kind = \"none\", nets = [\"...\"]");
    if (r.kind == "none" && !r.lines.empty())
      n.error("lines", "an entry of kind none has no lines", std::to_string(r.lines.size()), "nets = [\"...\"]");
    job.interface_rules.push_back(std::move(r));
  });
}

/// What somebody decided about single targets and places.
void read_decisions(TomlTable& t, Job& job) {
  t.tables("hole", [&](TomlTable& n) {
    OldHole h;
    if (auto p = n.point("at"))
      h.at = *p;
    else
      n.error("at", "where the hole is", "nothing", "at = [\"10 mm\", \"20 mm\"]");
    h.side = n.choice("side", {"top", "bottom"}, "bottom") == "top" ? Side::top : Side::bottom;
    h.probe_class = n.text("class");
    h.state = n.choice("state", {"open", "plugged", "in use"}, "open");
    if (h.probe_class.empty())
      n.error("class", "the class that it was drilled for is missing", "nothing", "a class of the catalogue");
    h.place = n.place();
    job.old_holes.push_back(std::move(h));
  });
  t.tables("lock", [&](TomlTable& n) {
    Lock l{n.text("net"), n.text("target"), n.choice("side", kSides, ""), n.text("class"), n.place()};
    if (l.net.empty() || l.target.empty())
      n.error("net", "a lock names a net and a target", l.net + " / " + l.target, "net and target");
    job.locks.push_back(std::move(l));
  });
  t.tables("ban", [&](TomlTable& n) {
    Ban b{n.text("net"), n.text("target"), n.choice("side", kSides, ""), n.text("reason"), n.place()};
    if (b.net.empty() && b.target.empty() && b.side.empty())
      n.error("target", "a ban names a net, a target or a side", "nothing", "one of them");
    job.bans.push_back(std::move(b));
  });
  t.tables("support", [&](TomlTable& n) {
    Support s;
    if (const auto at = n.point("at"))
      s.at = *at;
    else
      n.error("at", "a support has a place", "nothing", "at = [\"10 mm\", \"20 mm\"]");
    s.side = n.choice("side", {"top", "bottom"}, "top") == "top" ? Side::top : Side::bottom;
    s.finger = n.choice("kind", {"push finger", "board stop"}, "push finger") == "push finger";
    s.place = n.place();
    job.supports.push_back(std::move(s));
  });
  t.tables("waiver", [&](TomlTable& n) {
    Waiver w{n.text("net"),  n.text("target"), n.choice("side", kSides, ""),
             n.text("rule"), n.text("reason"), n.place()};
    if (w.net.empty() || w.target.empty() || w.rule.empty())
      n.error("rule", "a waiver names a net, a target and a rule", w.net + " / " + w.target + " / " + w.rule,
              "all three, as in blocked.csv");
    if (w.reason.empty()) n.error("reason", "a waiver needs a reason", "none", "why the finding is accepted");
    job.waivers.push_back(std::move(w));
  });
}

/// polygon = [[x, y], ...], or the opposite corners of a rectangle.
Polygons area_of(TomlTable& n, const char* what) {
  const std::vector<Point> points = n.points("polygon");
  const auto from = n.point("from"), to = n.point("to");
  if (points.size() >= 3 || (from && to)) {
    Polygons filled = points.size() >= 3 ? fill_contours({points})
                                         : fill_contours({{*from, {to->x, from->y}, *to, {from->x, to->y}}});
    if (filled.empty())
      n.error("polygon", std::string(what) + " holds no area",
              points.size() >= 3 ? std::to_string(points.size()) + " corners on one line" : "from and to on one line",
              "corners that span an area");
    return filled;
  }
  n.error("polygon", std::string(what) + " needs a polygon of three points, or from and to", "neither",
          "polygon = [[x, y], ...]  or  from, to");
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
    if (k.to_height <= k.from_height)
      n.error("to_height", "a keep-out ends above where it begins", short_number(k.to_height, 3) + " mm",
              "more than from_height");
    k.area = area_of(n, "a keep-out");
    k.panel = panel;
    k.place = n.place();
    job.keep_outs.push_back(std::move(k));
  };
  t.tables("keep_out", [&](TomlTable& n) { keep_out(n, false); });
  if (job.keep_outs.size() > 2000)
    t.error("keep_out", "more keep-outs than a board has room for", std::to_string(job.keep_outs.size()),
            "up to 2000: join them");
  t.tables("cover", [&](TomlTable& n) {
    Cover c;
    c.name = n.text("name");
    if (c.name.empty()) n.error("name", "a cover needs a name", "none", "such as \"battery pack\"");
    c.side = n.choice("side", kSides, "top") == "top" ? Side::top : Side::bottom;
    c.area = area_of(n, "a cover");
    c.height = n.required_length("height").v;
    c.standoff = n.length("standoff").value_or(Mm{0}).v;
    if (c.standoff >= c.height)
      n.error("standoff", "a cover stands lower than its top", short_number(c.standoff, 3) + " mm",
              "less than the height");
    c.place = n.place();
    job.covers.push_back(std::move(c));
  });
  t.table("panel", [&](TomlTable& p) {
    job.panel.used = true;
    job.panel.place = p.place();
    job.panel.step = p.text("step");
    job.panel.alike = p.choice("plans", {"alike", "free"}, "alike") == "alike";
    job.panel.outline = p.points("outline");
    p.tables("board", [&](TomlTable& n) {
      PanelPlace q;
      q.name = n.text("name", "P" + std::to_string(job.panel.places.size() + 1));
      if (q.name.empty() || q.name.size() > 30 || !std::all_of(q.name.begin(), q.name.end(), [](unsigned char c) {
            return std::isalnum(c) || c == '_' || c == '-';
          }))
        n.error("name", "a board's name stands before the names of its probes", q.name, "letters, digits, _ and -");
      if (!n.has("at")) n.error("at", "a board of a panel needs a place", "none", "at = [x, y]");
      q.at = n.point("at").value_or(Point{});
      q.turn = n.number("turn", 0, -360, 360);
      q.flipped = n.yes_no("flipped").value_or(false);
      job.panel.places.push_back(std::move(q));
    });
    p.table("array", [&](TomlTable& n) {
      const int columns = n.whole("columns", 1, 1, 100), rows = n.whole("rows", 1, 1, 100);
      const Point first = n.point("first").value_or(Point{}), pitch = n.point("pitch").value_or(Point{});
      const double turn = n.number("turn", 0, -360, 360);
      if ((columns > 1 && pitch.x == 0) || (rows > 1 && pitch.y == 0))
        n.error("pitch", "an array needs a pitch", "0", "pitch = [\"60 mm\", \"40 mm\"]");
      for (int j = 0; j < rows; ++j)
        for (int i = 0; i < columns; ++i)
          job.panel.places.push_back({"P" + std::to_string(job.panel.places.size() + 1),
                                      first + Point{i * pitch.x, j * pitch.y}, turn, false});
    });
    p.tables("hole", [&](TomlTable& n) {
      if (!n.has("at")) n.error("at", "a hole needs a place", "none", "at = [x, y]");
      job.panel.holes.push_back(
          {n.point("at").value_or(Point{}), n.required_length("diameter"), n.yes_no("plated").value_or(false)});
      if (job.panel.holes.back().diameter.v < 0.1)
        n.error("diameter", "a hole has a size", short_number(job.panel.holes.back().diameter.v, 3) + " mm",
                "0.1 mm or more");
    });
    p.tables("keep_out", [&](TomlTable& n) { keep_out(n, true); });
    if (job.panel.places.empty() && job.panel.step.empty())
      p.error("board", "a panel holds boards", "none",
              "[[panel.board]] at = [x, y],  [panel.array],  or step = the panel step of the IPC-2581 file");
    std::set<std::string> names;
    for (const PanelPlace& q : job.panel.places)
      if (!names.insert(q.name).second)
        p.error("board", "two boards of the panel have one name", q.name, "a name for each");
    if (!job.panel.outline.empty() && job.panel.outline.size() < 3)
      p.error("outline", "an outline needs three corners", std::to_string(job.panel.outline.size()), "three or more");
  });
  t.tables("variant", [&](TomlTable& n) {
    BuildVariant v{n.text("name"),        n.text("bom"),     n.text("ipc2581"),
                   n.texts("not_fitted"), n.texts("fitted"), n.place()};
    if (std::any_of(job.variants.begin(), job.variants.end(), [&](const BuildVariant& w) { return w.name == v.name; }))
      n.error("name", "two build variants have one name", v.name, "a name for each");
    if (v.name.empty()) n.error("name", "a build variant needs a name", "none", "such as \"with display\"");
    job.variants.push_back(std::move(v));
  });
  if (job.variants.size() > 30)
    t.error("variant", "more build variants than one plan can hold for", std::to_string(job.variants.size()),
            "up to 30");
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
      if (const std::string finish = b.choice("finish", {"gold", "solder", "tin", "silver", "organic", "unknown"}, "");
          !finish.empty())
        job.finish = surface_of(finish);
    });
    root.table("inputs", [&](TomlTable& t) { read_inputs(t, job); });
    root.table("components", [&](TomlTable& t) { read_components(t, job); });
    root.table("checks", [&](TomlTable& t) { job.accept = t.texts("accept"); });
    read_needs(root, job);
    read_interface_rules(root, job);
    read_decisions(root, job);
    root.table("gate", [&](TomlTable& g) {
      job.gate.used = true;
      for (auto [key, value] : {std::pair{"score", &job.gate.score},
                                {"nets", &job.gate.nets},
                                {"pins", &job.gate.pins},
                                {"components", &job.gate.components}})
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
      if (!job.tooling.empty() && job.tooling.size() != 2)
        f.error("tooling", "two holes locate a board", std::to_string(job.tooling.size()) + " points", "two points");
    });
    root.table("rule_changes", [&](TomlTable& c) { job.rule_changes = c.leaves(); });
    root.table("mechanics", [&](TomlTable& m) {
      job.mechanics = m.yes_no("solve").value_or(true);
      job.closing_seconds = m.has("closing_seconds") ? m.number("closing_seconds", 1, 0.001, 1000) : 0;
      if (m.has("modulus_gpa")) job.modulus = 1000 * m.number("modulus_gpa", 20, 0.1, 1000);
      if (m.has("modulus_across_gpa")) job.modulus_across = 1000 * m.number("modulus_across_gpa", 20, 0.1, 1000);
      if (m.has("strain_limit_ue")) job.strain_limit = 1e-6 * m.number("strain_limit_ue", 500, 1, 1e5);
      m.table("part_limit_ue", [&](TomlTable& t) {
        t.each([&](const std::string& part) { job.component_strain[part] = 1e-6 * t.number(part, 500, 1, 1e5); });
      });
    });
    root.table("plan", [&](TomlTable& p) {
      job.time_limit = p.number("time_limit_s", 60, 0.1, 86400);
      job.scan_saves_probes = p.choice("boundary_scan", {"report", "save probes"}, "report") == "save probes";
      job.advice = p.yes_no("advice").value_or(true);
      job.proof = p.yes_no("proof").value_or(false);
      job.seed = p.whole("seed", 1, 0, 1'000'000'000);
      job.simulated_fixtures = p.whole("simulated_fixtures", 400, 0, 100'000);
      job.simulated_boards = p.whole("simulated_boards", 200, 1, 100'000);
      if (static_cast<double>(job.simulated_fixtures) * job.simulated_boards > 1e7)
        p.error(
            "simulated_boards", "more touches than are worth waiting for",
            std::to_string(job.simulated_fixtures) + " fixtures of " + std::to_string(job.simulated_boards) + " boards",
            "ten million together at most");
    });
  });
  const bool copper = std::any_of(job.gerbers.begin(), job.gerbers.end(), [](const GerberInput& g) {
    return g.role == LayerRole::copper_top || g.role == LayerRole::copper_bottom;
  });
  if (!d.failed() && job.netlist_file.empty() && job.pads_file.empty() && job.cad_file.empty() && !copper)
    d.error("job-no-nets", {file, 0, 0, {}}, "the job names neither a netlist nor a pad list nor outer copper", {},
            "[inputs.netlist] file,  [inputs.ipc2581] file,  [inputs.pads] file,  or [[inputs.gerber]] with role "
            "copper top or copper bottom",
            "add one of them");
  return job;
}

}  // namespace teasel
