// What a shop owns: catalogue, rules.
#include <algorithm>

#include "embedded.h"
#include "teasel/job.h"
#include "teasel/job/shipped.h"
#include "toml_table.h"

namespace teasel {

namespace {
std::string mark_of(TomlTable& t) {
  return t.choice("mark", {"published", "common", "memory"}, "memory");
}

Rule rule_of(TomlTable& t, const std::string& key) {
  Rule r;
  r.key = key;
  r.preferred = t.required_length("preferred");
  if (t.text("least") != "geometry") r.least = t.required_length("least");
  r.mark = mark_of(t);
  r.source = t.text("source");
  if (r.least && (key == "wide_hole" ? *r.least < r.preferred : *r.least > r.preferred))
    t.error("least", "the least value is stricter than the preferred one", short_number(r.least->v, 3) + " mm",
            "least on the loose side");
  return r;
}
Rule read_rule(TomlTable& rules, const char* key) {
  Rule r;
  if (!rules.has(key)) rules.error(key, "a rule is missing", "nothing", std::string("[rule.") + key + "]");
  rules.table(key, [&](TomlTable& t) { r = rule_of(t, key); });
  return r;
}
/// { value = "0.1 mm", distribution = "normal", mark = "memory" }; the artwork scale: ppm = 300.0 instead of a value.
ErrorSize read_error(TomlTable& errors, const std::string& key) {
  ErrorSize e;
  if (!errors.has(key)) errors.error(key, "an error is missing", "nothing", key + " = { value, distribution, mark }");
  errors.table(key, [&](TomlTable& t) {
    e.value = key == "artwork_scale" ? t.number("ppm", 300, 0, 1e5) : t.required_length("value").v;
    e.uniform = t.choice("distribution", {"normal", "uniform"}, "normal") == "uniform";
    e.mark = mark_of(t);
    if (key == "artwork_scale" && e.uniform)
      t.error("distribution", "the scale is taken as normal", "uniform", "normal");
  });
  return e;
}
}  // namespace

Catalogue read_catalogue(std::string_view text, const std::string& file, Diagnostics& d) {
  Catalogue c;
  with_toml(text, file, d, [&](TomlTable& root) {
    c.name = root.text("name", file);
    root.text("note");
    root.tables("class", [&](TomlTable& t) {
      ProbeClass p;
      p.name = t.text("name");
      p.spacing = t.required_length("spacing");
      p.force = t.force("force").value_or(Newton{});
      p.receptacle_drill = t.required_length("receptacle_drill");
      p.receptacle_diameter = t.required_length("receptacle_diameter");
      p.plunger_diameter = t.required_length("plunger_diameter");
      p.tip_diameter = t.required_length("tip_diameter");
      p.largest_head = t.length("largest_head").value_or(p.tip_diameter);
      p.contact_margin = t.required_length("contact_margin");
      p.pointing = t.required_length("pointing");
      p.full_travel = t.required_length("full_travel");
      p.working_travel = t.required_length("working_travel");
      p.least_travel = t.required_length("least_travel");
      p.most_travel = t.required_length("most_travel");
      p.tip_length = t.required_length("tip_length");
      p.projection = t.required_length("projection");
      p.light_force = t.force("light_force").value_or(p.force);
      p.strong_force = t.force("strong_force").value_or(p.force);
      p.spear_angle = Degrees{t.number("spear_angle_deg", 60, 10, 170)};
      if (!(p.least_travel < p.working_travel && p.working_travel < p.most_travel && !(p.full_travel < p.most_travel)))
        t.error("least_travel", "a probe works inside its window",
                short_number(p.least_travel.v, 3) + " / " + short_number(p.working_travel.v, 3) + " / " +
                    short_number(p.most_travel.v, 3) + " / " + short_number(p.full_travel.v, 3) + " mm",
                "least_travel < working_travel < most_travel <= full_travel");
      if (!(p.tip_length < p.projection))
        t.error("tip_length", "the head is shorter than what stands out of the receptacle",
                short_number(p.tip_length.v, 3) + " mm", "less than projection");
      if (!(p.light_force <= p.force && p.force <= p.strong_force))
        t.error("light_force", "forces run from the light spring to the strong one",
                short_number(p.light_force.v, 2) + " / " + short_number(p.force.v, 2) + " / " +
                    short_number(p.strong_force.v, 2) + " N",
                "light_force <= force <= strong_force");
      p.amperes = t.number("amperes", 1, 0.001, 1000);
      p.price = t.number("price", 0, 0, 1e6);
      p.probe_price = t.number("probe_price", 0, 0, 1e6);
      p.life = t.number("life", 0, 0, 1e9);
      if (t.has("long_travel_price")) p.long_travel_price = t.number("long_travel_price", 0, 0, 1e6);
      p.contacts = t.whole("contacts", 1, 1, 16);
      p.ring_inner = t.length("ring_inner").value_or(Mm{});
      p.ring_outer = t.length("ring_outer").value_or(Mm{});
      if (p.ring_outer.v > 0 && (!(p.ring_inner < p.ring_outer) || !(p.tip_diameter < p.ring_inner)))
        t.error("ring_inner", "a ring lies about the tip",
                short_number(p.ring_inner.v, 3) + " / " + short_number(p.ring_outer.v, 3) + " mm",
                "tip_diameter < ring_inner < ring_outer");
      if (p.ring_outer.v > p.spacing.v)
        t.error("ring_outer", "the ring is wider than the spacing of its class",
                short_number(p.ring_outer.v, 3) + " mm", "at most spacing");
      if (p.probe_price > p.price)
        t.error("probe_price", "the price is of probe and receptacle together", short_number(p.probe_price, 2),
                "at most price");
      p.robust = t.whole("robust", 1, 0, 100);
      for (auto [key, value] : {std::pair{"receptacle_drill", p.receptacle_drill},
                                {"receptacle_diameter", p.receptacle_diameter},
                                {"plunger_diameter", p.plunger_diameter},
                                {"tip_diameter", p.tip_diameter}})
        if (!(value > Mm{0}))
          t.error(key, "a diameter is more than nothing", short_number(value.v, 3) + " mm", "above 0 mm");
      if (p.name.empty() || !(p.spacing > Mm{0.1}) || !(p.force > Newton{0}))
        t.error("name", "a class needs a name, a spacing and a force", p.name, "all three above zero");
      c.classes.push_back(std::move(p));
    });
  });
  std::stable_sort(c.classes.begin(), c.classes.end(),
                   [](const auto& a, const auto& b) { return a.spacing > b.spacing; });
  if (c.classes.empty() && !d.failed())
    d.error("catalogue-empty", {file, 0, 0, {}}, "the catalogue holds no probe class");
  if (c.classes.size() > 16) d.error("catalogue-too-large", {file, 0, 0, {}}, "more than 16 probe classes");
  return c;
}

double Rules::air(double volts) const {
  double mm = 0;
  for (const VoltageRule& v : voltages)
    if (volts > v.above) mm = v.clearance.v;
  return mm;
}

namespace {
void read_clearances(TomlTable& root, Rules& r) {
  root.table("rule", [&](TomlTable& t) {
    for (auto [key, rule] : {std::pair{"pad_diameter_main", &r.pad_diameter_main},
                             {"pad_diameter_other", &r.pad_diameter_other},
                             {"other_conductor", &r.other_conductor},
                             {"board_edge", &r.board_edge},
                             {"tooling_hole", &r.tooling_hole},
                             {"wide_hole", &r.wide_hole},
                             {"slot", &r.slot},
                             {"fiducial", &r.fiducial}})
      *rule = read_rule(t, key);
  });
  root.tables("body", [&](TomlTable& t) {
    BodyRule b;
    b.above = t.required_length("above");
    b.rule = rule_of(t, "body above " + short_number(b.above.v, 2) + " mm");
    if (!r.bodies.empty() && !(b.above > r.bodies.back().above))
      t.error("above", "rows go from low to high", short_number(b.above.v, 3) + " mm", "more than the row before");
    if (r.bodies.empty() && b.above.v != 0)
      t.error("above", "the first row begins at 0 mm", short_number(b.above.v, 3) + " mm", "0 mm");
    r.bodies.push_back(std::move(b));
  });
  if (r.bodies.empty())
    root.error("body", "clearances to bodies are missing", "nothing", "[[body]] above = \"0 mm\", preferred, least");
  root.table("shared_space", [&](TomlTable& t) {
    t.each([&](const std::string& key) { r.shared_space[key] = read_rule(t, key.c_str()); });
  });
  root.tables("voltage", [&](TomlTable& t) {
    r.voltages.push_back({t.number("above", 0, 0, 1e6), t.required_length("clearance")});
    mark_of(t);
    if (const auto n = r.voltages.size(); n > 1 && !(r.voltages[n - 1].above > r.voltages[n - 2].above &&
                                                     r.voltages[n - 2].clearance < r.voltages[n - 1].clearance))
      t.error("above", "rows go from low to high, and so do their clearances", short_number(r.voltages.back().above, 1),
              "more than the row before");
  });
}

void read_mechanics_rules(TomlTable& root, Rules& r) {
  if (!root.has("mechanics"))
    root.error("mechanics", "how a board bends is missing", "nothing",
               "[mechanics] modulus_gpa, poisson, bow_twist, ...");
  root.table("mechanics", [&](TomlTable& t) {
    MechanicsRules& m = r.mechanics;
    m.modulus = 1000 * t.number("modulus_gpa", 20, 0.1, 1000);
    m.modulus_across = 1000 * t.number("modulus_across_gpa", 0, 0, 1000);
    m.poisson = t.number("poisson", 0.14, 0, 0.49);
    m.bow_twist = t.number("bow_twist", 0.0075, 0, 0.1);
    m.strain_limit = 1e-6 * t.number("strain_limit_ue", 500, 1, 1e5);
    m.gauge = t.required_length("gauge");
    m.mesh = t.required_length("mesh");
    m.support_gap = t.required_length("support_gap");
    m.off_axis = t.required_length("off_axis");
    m.preload_share = t.number("preload_share", 0.4, 0, 0.99);
    m.vacuum_share = t.number("vacuum_share", 0.8, 0, 1);
    if (!(m.gauge.v > 0 && m.mesh.v >= 0.5))
      t.error("mesh", "a gauge has a size, and triangles are not smaller than half a millimetre",
              short_number(m.mesh.v, 3) + " mm", "gauge above 0 mm, mesh at least 0.5 mm");
    m.mark = mark_of(t);
  });
}

void read_surfaces_and_travel(TomlTable& root, Rules& r) {
  root.table("surface", [&](TomlTable& t) {
    for (int i = 0; i < kSurfaces; ++i) {
      const auto s = static_cast<Surface>(i);
      if (!t.has(to_string(s)))
        t.error(to_string(s), "a surface is missing", "nothing", std::string("[surface.") + to_string(s) + "]");
      t.table(to_string(s), [&](TomlTable& q) {
        r.surfaces[s] = {q.number("fault", 0, 0, 1), q.number("price", 0, 0, 1e6),
                         q.choice("spring", {"light", "standard", "strong"}, "standard"), mark_of(q)};
      });
    }
  });
  root.table("travel", [&](TomlTable& t) {
    auto& q = r.travel;
    for (auto [key, value] : {std::pair{"solder_height", &q.solder_height},
                              {"lead_protrusion", &q.lead_protrusion},
                              {"lead_tolerance", &q.lead_tolerance},
                              {"set_height_tolerance", &q.set_height_tolerance},
                              {"probe_length_tolerance", &q.probe_length_tolerance},
                              {"support_tolerance", &q.support_tolerance}})
      *value = t.required_length(key);
    q.thickness_tolerance = t.number("thickness_tolerance", 0.1, 0, 1);
    q.worst_case = t.choice("stack", {"root sum square", "worst case"}, "root sum square") == "worst case";
    q.mark = mark_of(t);
  });
}

void read_limits(TomlTable& root, Rules& r) {
  root.table("limits", [&](TomlTable& t) {
    for (auto [key, value] : {std::pair{"web", &r.web},
                              {"head_over_hole", &r.head_over_hole},
                              {"plate_distance", &r.plate_distance},
                              {"pocket_clearance", &r.pocket_clearance},
                              {"finger_diameter", &r.finger_diameter},
                              {"finger_clearance", &r.finger_clearance},
                              {"finger_reach", &r.finger_reach},
                              {"web_smallest_class", &r.web_smallest_class},
                              {"body_margin", &r.body_margin},
                              {"tooling_hole_least", &r.tooling_hole_least},
                              {"thick_lead", &r.thick_lead}})
      *value = t.required_length(key);
    r.area_side = t.length("area_side").value_or(Mm{});
    r.area_force = t.force("area_force").value_or(Newton{});
    r.area_probes = t.whole("area_probes", 0, 0, 1'000'000);
    r.ring_share = t.number("ring_share", 0.25, 0.01, 1);
    r.mate_clearance = t.length("mate_clearance").value_or(Mm{1});
    if ((r.area_probes > 0 || r.area_force.v > 0) && r.area_side.v < 1)
      t.error("area_side", "the areas in which probes are counted have no size", short_number(r.area_side.v, 3) + " mm",
              "1 mm or more");
    r.largest_miss = t.number("largest_miss", 0.01, 1e-12, 0.5);
    r.largest_wrong = t.number("largest_wrong", 1e-4, 1e-12, 1);
  });
  root.table("errors", [&](TomlTable& t) {
    auto& e = r.errors;
    for (auto [key, value] : {std::pair{"plate_drilling", &e.plate_drilling},
                              {"receptacle", &e.receptacle},
                              {"second_plate", &e.second_plate},
                              {"artwork", &e.artwork},
                              {"mask_shift", &e.mask_shift},
                              {"artwork_scale", &e.artwork_scale}})
      *value = read_error(t, key);
    for (auto [key, value] : {std::pair{"pin_clearance", &e.pin_clearance},
                              {"plated_pin_clearance", &e.plated_pin_clearance},
                              {"no_tooling_clearance", &e.no_tooling_clearance}})
      *value = t.required_length(key);
  });
}

void read_cost(TomlTable& root, Rules& r) {
  root.table("cost", [&](TomlTable& t) {
    auto& c = r.cost;
    for (auto [key, value] : {std::pair{"false_reject", &c.false_reject},
                              {"boards", &c.boards},
                              {"plate", &c.plate},
                              {"second_bed", &c.second_bed},
                              {"unmet_mandatory", &c.unmet_mandatory},
                              {"unmet", &c.unmet},
                              {"missing_extra", &c.missing_extra},
                              {"shortfall", &c.shortfall},
                              {"wrong_landing", &c.wrong_landing},
                              {"hole", &c.hole},
                              {"rework", &c.rework},
                              {"rewire", &c.rewire},
                              {"spread", &c.spread},
                              {"clock_return", &c.clock_return},
                              {"kelvin_end", &c.kelvin_end}})
      *value = t.number(key, 0, 0, 1e6);
    t.table("kind", [&](TomlTable& k) {
      for (auto [key, value] :
           {std::pair{"test_pad", &c.test_pad}, {"lead", &c.lead}, {"via", &c.via}, {"smd_pad", &c.smd_pad}})
        *value = k.number(key, 0, 0, 1e6);
    });
  });
}

void read_advice_rules(TomlTable& root, Rules& r) {
  root.table("advice", [&](TomlTable& t) {
    auto& a = r.advice;
    a.pad_diameter = t.required_length("pad_diameter");
    a.pad_to_copper = t.required_length("pad_to_copper");
    a.via_diameter = t.required_length("via_diameter");
    a.farthest = t.required_length("farthest");
    a.farthest_move = t.required_length("farthest_move");
    t.table("price", [&](TomlTable& k) {
      for (auto [key, value] : {std::pair{"relax_rule", &a.relax_rule},
                                {"use_side", &a.use_side},
                                {"open_mask", &a.open_mask},
                                {"add_pad", &a.add_pad},
                                {"move_part", &a.move_part},
                                {"leave_out", &a.leave_out}})
        *value = k.number(key, 0, 0, 1e6);
    });
    if (a.pad_diameter.v < 0.1 || a.pad_diameter.v > 4)
      t.error("pad_diameter", "a test pad is of another size", short_number(a.pad_diameter.v, 3) + " mm",
              "0.1 to 4 mm");
    if (a.farthest.v < 0 || a.farthest.v > 50)
      t.error("farthest", "too far for a trace to a test pad", short_number(a.farthest.v, 2) + " mm", "0 to 50 mm");
  });
  if (r.advice.pad_diameter.v == 0)
    root.error("advice", "what to advise is missing", "nothing",
               "[advice] pad_diameter, pad_to_copper, farthest, farthest_move");
}

void read_heights_of_parts(TomlTable& root, Rules& r) {
  root.table("heights", [&](TomlTable& t) {
    t.each([&](const std::string& key) {
      if (auto v = t.length(key)) r.heights[key] = *v;
    });
  });
}
}  // namespace

Rules read_rules(std::string_view text, const std::string& file, Diagnostics& d, std::string_view job_text,
                 const std::string& job_file) {
  Rules r;
  with_changed_toml(text, file, job_text, job_file, "rule_changes", d, [&](TomlTable& root) {
    r.name = root.text("name", file);
    read_clearances(root, r);
    read_mechanics_rules(root, r);
    read_surfaces_and_travel(root, r);
    read_limits(root, r);
    read_cost(root, r);
    read_advice_rules(root, r);
    read_heights_of_parts(root, r);
  });
  return r;
}

const char* to_string(Surface s) {
  static const char* names[] = {"unknown", "gold", "soldered", "tin", "silver", "organic"};
  return names[static_cast<int>(s)];
}
std::optional<Surface> surface_of(std::string_view finish) {
  if (finish == "solder") return Surface::soldered;
  for (int i = 0; i < kSurfaces; ++i)
    if (finish == to_string(static_cast<Surface>(i))) return static_cast<Surface>(i);
  return std::nullopt;
}
const BodyRule& Rules::body(double height) const {
  std::size_t i = 0;
  while (i + 1 < bodies.size() && height > bodies[i + 1].above.v) ++i;
  return bodies[i];
}

void check_together(const Job& job, const Catalogue& catalogue, const Rules& rules, Diagnostics& d) {
  for (const ProbeClass& p : catalogue.classes)
    if (!(p.projection < rules.plate_distance))
      d.error("probe-through-plate", {job.catalogue, 0, 0, "class"},
              "a receptacle of this class begins beyond the plate that holds it",
              p.name + ": projection " + short_number(p.projection.v, 3) + " mm, plate_distance " +
                  short_number(rules.plate_distance.v, 3) + " mm",
              "projection below plate_distance", "correct one of the two");
  std::string classes;
  for (const ProbeClass& p : catalogue.classes) classes += (classes.empty() ? "" : ", ") + p.name;
  for (const Lock& l : job.locks)
    if (!l.probe_class.empty() && std::none_of(catalogue.classes.begin(), catalogue.classes.end(),
                                               [&](const ProbeClass& p) { return p.name == l.probe_class; }))
      d.error("lock-class", l.place, "a lock names a probe class that is not in use", l.probe_class, classes,
              "use one of them");
  auto known = [&](const std::string& name) {
    return std::any_of(catalogue.classes.begin(), catalogue.classes.end(),
                       [&](const ProbeClass& p) { return p.name == name; });
  };
  for (const auto& [name, most] : job.most_of_class)
    if (!known(name))
      d.error("most-class", {job.file, 0, 0, "fixture.most"}, "a limit names a probe class that is not in use", name,
              classes, "use one of them");
  for (const OldHole& h : job.old_holes)
    if (!known(h.probe_class))
      d.error("hole-class", h.place, "a hole names a probe class that is not in use", h.probe_class, classes,
              "use one of them");
  for (const NeedRule& n : job.needs)
    if (n.long_travel.value_or(false) &&
        std::none_of(catalogue.classes.begin(), catalogue.classes.end(),
                     [](const ProbeClass& p) { return p.long_travel_price.has_value(); }))
      d.error("need-stage", n.place, "no probe class has a version of long travel", n.nets,
              "long_travel_price in the catalogue", "state it for the classes that have one");
  std::string all;
  for (const auto& [kind, rule] : rules.shared_space) all += (all.empty() ? "" : ", ") + kind;
  for (const KeepOut& k : job.keep_outs)
    if (!rules.shared_space.count(k.kind))
      d.error("keep-out-kind", k.place, "the rule file knows no such kind of keep-out", k.kind, all,
              "use one of them, or add  [shared_space." + k.kind + "]  to a rule file of your own");
}

std::optional<std::string_view> shipped(std::string_view kind, std::string_view name) {
  const std::string path = std::string(kind) + "/" + std::string(name) + (name.ends_with(".csv") ? "" : ".toml");
  for (const auto& f : embedded_files())
    if (f.path == path) return f.text;
  return std::nullopt;
}

std::vector<std::string> shipped_names(std::string_view kind) {
  std::vector<std::string> out;
  constexpr std::string_view kEnd = ".toml";
  for (const auto& f : embedded_files())
    if (f.path.size() > kind.size() && f.path.starts_with(kind) && f.path[kind.size()] == '/' && f.path.ends_with(kEnd))
      out.emplace_back(f.path.substr(kind.size() + 1, f.path.size() - kind.size() - 1 - kEnd.size()));
  std::sort(out.begin(), out.end());
  return out;
}

}  // namespace teasel
