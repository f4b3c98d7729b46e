// Reads what a shop owns: its catalogue and its rules.
#include <algorithm>
#include <cmath>

#include "embedded.h"
#include "teasel/enums.h"
#include "teasel/job.h"
#include "teasel/job/shipped.h"
#include "toml_table.h"

namespace teasel {

namespace {
std::string mark_of(TomlTable& table) {
  return table.choice("mark", {"published", "common", "memory"}, "memory");
}

Rule rule_of(TomlTable& table, const std::string& key) {
  Rule rule;
  rule.key = key;
  rule.preferred = table.required_length("preferred");
  if (table.text("least") != "geometry") rule.least = table.required_length("least");
  rule.mark = mark_of(table);
  rule.source = table.text("source");
  if (rule.least && (key == "wide_hole" ? *rule.least < rule.preferred : *rule.least > rule.preferred))
    table.error("least", "the least value is stricter than the preferred value", short_number(rule.least->v, 3) + " mm",
                "a least value that is looser than the preferred one");
  return rule;
}
Rule read_rule(TomlTable& rules, const char* key) {
  Rule rule;
  if (!rules.has(key)) rules.error(key, "a rule is missing", "nothing", std::string("[rule.") + key + "]");
  rules.table(key, [&](TomlTable& table) { rule = rule_of(table, key); });
  return rule;
}
/// { value = "0.1 mm", distribution = "normal", mark = "memory" }; the artwork scale: ppm = 300.0 instead of a value.
ErrorSize read_error(TomlTable& errors, const std::string& key) {
  ErrorSize error;
  if (!errors.has(key))
    errors.error(key, "a position error is missing", "nothing", key + " = { value, distribution, mark }");
  errors.table(key, [&](TomlTable& table) {
    error.value = key == "artwork_scale" ? table.number("ppm", 300, 0, 1e5) : table.required_length("value").v;
    error.uniform = table.choice("distribution", {"normal", "uniform"}, "normal") == "uniform";
    error.mark = mark_of(table);
    if (key == "artwork_scale" && error.uniform)
      table.error("distribution", "the error of the artwork scale is always taken as normal", "uniform", "normal");
  });
  return error;
}

void read_sizes_and_springs(TomlTable& table, ProbeClass& probe) {
  probe.name = table.text("name");
  probe.spacing = table.required_length("spacing");
  probe.force = table.force("force").value_or(Newton{});
  probe.receptacle_drill = table.required_length("receptacle_drill");
  probe.receptacle_diameter = table.required_length("receptacle_diameter");
  probe.plunger_diameter = table.required_length("plunger_diameter");
  probe.tip_diameter = table.required_length("tip_diameter");
  probe.largest_head = table.length("largest_head").value_or(probe.tip_diameter);
  probe.contact_margin = table.required_length("contact_margin");
  probe.pointing = table.required_length("pointing");
  probe.full_travel = table.required_length("full_travel");
  probe.working_travel = table.required_length("working_travel");
  probe.least_travel = table.required_length("least_travel");
  probe.most_travel = table.required_length("most_travel");
  probe.tip_length = table.required_length("tip_length");
  probe.projection = table.required_length("projection");
  probe.light_force = table.force("light_force").value_or(probe.force);
  probe.strong_force = table.force("strong_force").value_or(probe.force);
  probe.spear_angle = Degrees{table.number("spear_angle_deg", 60, 10, 170)};
  if (!(probe.least_travel < probe.working_travel && probe.working_travel < probe.most_travel &&
        !(probe.full_travel < probe.most_travel)))
    table.error("least_travel", "the working travel must lie within the window of travel",
                short_number(probe.least_travel.v, 3) + " / " + short_number(probe.working_travel.v, 3) + " / " +
                    short_number(probe.most_travel.v, 3) + " / " + short_number(probe.full_travel.v, 3) + " mm",
                "least_travel < working_travel < most_travel <= full_travel");
  if (!(probe.tip_length < probe.projection))
    table.error("tip_length", "the tip must be shorter than the probe's projection out of the receptacle",
                short_number(probe.tip_length.v, 3) + " mm", "less than projection");
  if (!(probe.light_force <= probe.force && probe.force <= probe.strong_force))
    table.error("light_force", "the forces must rise from the light spring to the strong spring",
                short_number(probe.light_force.v, 2) + " / " + short_number(probe.force.v, 2) + " / " +
                    short_number(probe.strong_force.v, 2) + " N",
                "light_force <= force <= strong_force");
}

void read_prices_and_ring(TomlTable& table, ProbeClass& probe) {
  probe.amperes = table.amount<Amperes>("amperes", 1, 0.001, 1000);
  probe.price = table.amount<Money>("price", 0, 0, 1e6);
  probe.probe_price = table.amount<Money>("probe_price", 0, 0, 1e6);
  probe.life = table.amount<Touches>("life", 0, 0, 1e9);
  if (table.has("long_travel_price")) probe.long_travel_price = table.amount<Money>("long_travel_price", 0, 0, 1e6);
  probe.contacts = table.whole("contacts", 1, 1, 16);
  probe.ring_inner = table.length("ring_inner").value_or(Mm{});
  probe.ring_outer = table.length("ring_outer").value_or(Mm{});
  if (probe.ring_outer.v > 0 && (!(probe.ring_inner < probe.ring_outer) || !(probe.tip_diameter < probe.ring_inner)))
    table.error("ring_inner", "the ring must lie around the tip",
                short_number(probe.ring_inner.v, 3) + " / " + short_number(probe.ring_outer.v, 3) + " mm",
                "tip_diameter < ring_inner < ring_outer");
  if (probe.ring_outer.v > probe.spacing.v)
    table.error("ring_outer", "the ring is wider than the spacing of its class",
                short_number(probe.ring_outer.v, 3) + " mm", "at most spacing");
  if (probe.probe_price > probe.price)
    table.error("probe_price", "the price includes the probe, so it must not be less than the price of the probe",
                short_number(probe.probe_price.v, 2), "at most price");
  probe.robust = table.whole("robust", 1, 0, 100);
  for (auto [key, value] : {std::pair{"receptacle_drill", probe.receptacle_drill},
                            {"receptacle_diameter", probe.receptacle_diameter},
                            {"plunger_diameter", probe.plunger_diameter},
                            {"tip_diameter", probe.tip_diameter}})
    if (!(value > Mm{0}))
      table.error(key, "a diameter must be greater than zero", short_number(value.v, 3) + " mm", "above 0 mm");
  if (probe.name.empty() || !(probe.spacing > Mm{0.1}) || !(probe.force > Newton{0}))
    table.error("name", "a class needs a name, a spacing and a force", probe.name, "all three above zero");
}
}  // namespace

Catalogue read_catalogue(std::string_view text, const std::string& file, Diagnostics& diagnostics) {
  Catalogue catalogue;
  with_toml(text, file, diagnostics, [&](TomlTable& root) {
    catalogue.name = root.text("name", file);
    root.text("note");
    root.tables("class", [&](TomlTable& table) {
      ProbeClass probe;
      read_sizes_and_springs(table, probe);
      read_prices_and_ring(table, probe);
      catalogue.classes.push_back(std::move(probe));
    });
  });
  std::stable_sort(catalogue.classes.begin(), catalogue.classes.end(),
                   [](const auto& a, const auto& b) { return a.spacing > b.spacing; });
  if (catalogue.classes.empty() && !diagnostics.failed())
    diagnostics.error(
        {.code = "catalogue-empty", .at = {file, 0, 0, {}}, .message = "the catalogue holds no probe class"});
  if (catalogue.classes.size() > 16)
    diagnostics.error({.code = "catalogue-too-large",
                       .at = {file, 0, 0, {}},
                       .message = "the catalogue holds more than 16 probe classes"});
  return catalogue;
}

Mm Rules::air(Volts volts) const {
  Mm clearance;
  for (const VoltageRule& rule : voltages)
    if (volts > rule.above) clearance = rule.clearance;
  return clearance;
}

namespace {
void read_clearances(TomlTable& root, Rules& rules) {
  root.table("rule", [&](TomlTable& table) {
    for (const auto& [key, rule] : kRuleKeys) rules.*rule = read_rule(table, key);
  });
  root.tables("body", [&](TomlTable& table) {
    BodyRule body;
    body.above = table.required_length("above");
    body.rule = rule_of(table, "body above " + short_number(body.above.v, 2) + " mm");
    if (!rules.bodies.empty() && !(body.above > rules.bodies.back().above))
      table.error("above", "rows must be listed from low to high", short_number(body.above.v, 3) + " mm",
                  "more than the row before");
    if (rules.bodies.empty() && body.above.v != 0)
      table.error("above", "the first row must begin at 0 mm", short_number(body.above.v, 3) + " mm", "0 mm");
    rules.bodies.push_back(std::move(body));
  });
  if (rules.bodies.empty())
    root.error("body", "clearances to bodies are missing", "nothing", "[[body]] above = \"0 mm\", preferred, least");
  root.table("shared_space", [&](TomlTable& table) {
    table.each([&](const std::string& key) { rules.shared_space[key] = read_rule(table, key.c_str()); });
  });
  root.tables("voltage", [&](TomlTable& table) {
    rules.voltages.push_back({table.amount<Volts>("above", 0, 0, 1e6), table.required_length("clearance")});
    mark_of(table);
    if (const auto n = rules.voltages.size();
        n > 1 && !(rules.voltages[n - 1].above > rules.voltages[n - 2].above &&
                   rules.voltages[n - 2].clearance < rules.voltages[n - 1].clearance))
      table.error("above", "rows must be listed from low to high, and their clearances must rise with them",
                  short_number(rules.voltages.back().above.v, 1), "more than the row before");
  });
}

void read_mechanics_rules(TomlTable& root, Rules& rules) {
  if (!root.has("mechanics"))
    root.error("mechanics", "the values for the bending of the board are missing", "nothing",
               "[mechanics] modulus_gpa, poisson, bow_twist, ...");
  root.table("mechanics", [&](TomlTable& table) {
    MechanicsRules& mechanics = rules.mechanics;
    mechanics.modulus = MPa{1000 * table.number("modulus_gpa", 20, 0.1, 1000)};
    mechanics.modulus_across = MPa{1000 * table.number("modulus_across_gpa", 0, 0, 1000)};
    mechanics.poisson = table.number("poisson", 0.14, 0, 0.49);
    mechanics.bow_twist = table.number("bow_twist", 0.0075, 0, 0.1);
    mechanics.strain_limit = table.amount<Microstrain>("strain_limit_ue", 500, 1, 1e5);
    table.tables("ceramic", [&](TomlTable& row) {
      mechanics.ceramics.push_back(
          {row.length("up_to").value_or(Mm{INFINITY}), row.amount<Microstrain>("strain_limit_ue", 500, 1, 1e5)});
      mark_of(row);
      if (const auto n = mechanics.ceramics.size();
          n > 1 && !(mechanics.ceramics[n - 2].up_to < mechanics.ceramics[n - 1].up_to))
        row.error("up_to", "rows must be listed from short to long, the last without an end",
                  short_number(mechanics.ceramics.back().up_to.v, 2) + " mm", "more than the row before");
    });
    mechanics.others = table.amount<Microstrain>("other_strain_limit_ue", 1500, 1, 1e5);
    mechanics.foot_pressure = MPa{table.number("foot_pressure_mpa", 25, 0.1, 1000)};
    mechanics.part_force = table.amount<Newton>("part_force_n", 20, 0.1, 1000);
    mechanics.finger_modulus = MPa{1000 * table.number("finger_modulus_gpa", 2.8, 0.01, 1000)};
    mechanics.gauge = table.required_length("gauge");
    mechanics.mesh = table.required_length("mesh");
    mechanics.support_gap = table.required_length("support_gap");
    mechanics.off_axis = table.required_length("off_axis");
    mechanics.preload_share = table.number("preload_share", 0.4, 0, 0.99);
    mechanics.vacuum_share = table.number("vacuum_share", 0.8, 0, 1);
    if (!(mechanics.gauge.v > 0 && mechanics.mesh.v >= 0.5))
      table.error("mesh", "the gauge needs a size, and the triangles must not be smaller than half a millimetre",
                  short_number(mechanics.mesh.v, 3) + " mm", "gauge above 0 mm, mesh at least 0.5 mm");
    mechanics.mark = mark_of(table);
  });
}

void read_surfaces_and_travel(TomlTable& root, Rules& rules) {
  root.table("surface", [&](TomlTable& table) {
    for (int i = 0; i < kSurfaces; ++i) {
      const auto surface = static_cast<Surface>(i);
      if (!table.has(to_string(surface)))
        table.error(to_string(surface), "the values of a surface are missing", "nothing",
                    std::string("[surface.") + to_string(surface) + "]");
      table.table(to_string(surface), [&](TomlTable& row) {
        rules.surfaces[surface] = {row.amount<Chance>("fault", 0, 0, 1), row.amount<Money>("price", 0, 0, 1e6),
                                   row.choice("spring", {"light", "standard", "strong"}, "standard"), mark_of(row)};
      });
    }
  });
  root.table("travel", [&](TomlTable& table) {
    auto& travel = rules.travel;
    for (auto [key, value] : {std::pair{"solder_height", &travel.solder_height},
                              {"lead_protrusion", &travel.lead_protrusion},
                              {"lead_tolerance", &travel.lead_tolerance},
                              {"set_height_tolerance", &travel.set_height_tolerance},
                              {"probe_length_tolerance", &travel.probe_length_tolerance},
                              {"support_tolerance", &travel.support_tolerance}})
      *value = table.required_length(key);
    travel.thickness_tolerance = table.number("thickness_tolerance", 0.1, 0, 1);
    travel.worst_case = table.choice("stack", {"root sum square", "worst case"}, "root sum square") == "worst case";
    travel.mark = mark_of(table);
  });
}

void read_limits(TomlTable& root, Rules& rules) {
  root.table("limits", [&](TomlTable& table) {
    for (auto [key, value] : {std::pair{"web", &rules.web},
                              {"head_over_hole", &rules.head_over_hole},
                              {"plate_distance", &rules.plate_distance},
                              {"pocket_clearance", &rules.pocket_clearance},
                              {"finger_diameter", &rules.finger_diameter},
                              {"finger_clearance", &rules.finger_clearance},
                              {"finger_reach", &rules.finger_reach},
                              {"web_smallest_class", &rules.web_smallest_class},
                              {"body_margin", &rules.body_margin},
                              {"tooling_hole_least", &rules.tooling_hole_least},
                              {"thick_lead", &rules.thick_lead}})
      *value = table.required_length(key);
    rules.area_side = table.length("area_side").value_or(Mm{});
    rules.area_force = table.force("area_force").value_or(Newton{});
    rules.area_probes = table.whole("area_probes", 0, 0, 1'000'000);
    rules.usual_land_main = table.length("usual_land_main").value_or(Mm{});
    rules.usual_land_other = table.length("usual_land_other").value_or(Mm{});
    rules.ring_share = table.number("ring_share", 0.25, 0.01, 1);
    rules.mate_clearance = table.length("mate_clearance").value_or(Mm{1});
    if ((rules.area_probes > 0 || rules.area_force.v > 0) && rules.area_side.v < 1)
      table.error("area_side", "the areas in which probes are counted need a size",
                  short_number(rules.area_side.v, 3) + " mm", "1 mm or more");
    rules.largest_miss = table.amount<Chance>("largest_miss", 0.01, 1e-12, 0.5);
    rules.largest_wrong = table.amount<Chance>("largest_wrong", 1e-4, 1e-12, 1);
  });
  root.table("errors", [&](TomlTable& table) {
    auto& errors = rules.errors;
    for (auto [key, value] : {std::pair{"plate_drilling", &errors.plate_drilling},
                              {"receptacle", &errors.receptacle},
                              {"second_plate", &errors.second_plate},
                              {"artwork", &errors.artwork},
                              {"mask_shift", &errors.mask_shift},
                              {"artwork_scale", &errors.artwork_scale}})
      *value = read_error(table, key);
    for (auto [key, value] : {std::pair{"pin_clearance", &errors.pin_clearance},
                              {"plated_pin_clearance", &errors.plated_pin_clearance},
                              {"no_tooling_clearance", &errors.no_tooling_clearance},
                              {"mask_swell", &errors.mask_swell}})
      *value = table.required_length(key);
  });
}

void read_stock_pins(TomlTable& root, Rules& rules) {
  root.tables("tooling_pin", [&](TomlTable& table) {
    Rules::StockPins pins{table.required_length("from"), table.required_length("to"), table.required_length("step")};
    if (!(pins.from > Mm{}) || pins.to < pins.from || !(pins.step > Mm{}) || (pins.to - pins.from) / pins.step > 1e4)
      table.error("from", "these are no diameters that rise in steps",
                  short_number(pins.from.v, 3) + " to " + short_number(pins.to.v, 3) + " mm by " +
                      short_number(pins.step.v, 3) + " mm",
                  "above 0 mm, the last not below the first, no more than 10000 steps");
    table.text("source");
    mark_of(table);
    rules.stock_pins.push_back(pins);
  });
}

void read_cost(TomlTable& root, Rules& rules) {
  root.table("cost", [&](TomlTable& table) {
    auto& cost = rules.cost;
    for (auto [key, value] : {std::pair{"false_reject", &cost.false_reject},
                              {"unmet_mandatory", &cost.unmet_mandatory},
                              {"unmet", &cost.unmet},
                              {"missing_extra", &cost.missing_extra},
                              {"shortfall", &cost.shortfall},
                              {"small_land", &cost.small_land},
                              {"test_point", &cost.test_point},
                              {"wrong_landing", &cost.wrong_landing},
                              {"spread", &cost.spread},
                              {"clock_return", &cost.clock_return},
                              {"kelvin_end", &cost.kelvin_end}})
      *value = table.amount<Money>(key, 0, 0, 1e6);
    cost.boards = table.number("boards", 0, 0, 1e6);
    table.table("kind", [&](TomlTable& kinds) {
      for (auto [key, value] : {std::pair{"test_pad", &cost.test_pad},
                                {"lead", &cost.lead},
                                {"via", &cost.via},
                                {"smd_pad", &cost.smd_pad}})
        *value = kinds.amount<Money>(key, 0, 0, 1e6);
    });
  });
}

void read_advice_rules(TomlTable& root, Rules& rules) {
  root.table("advice", [&](TomlTable& table) {
    auto& advice = rules.advice;
    advice.pad_diameter = table.required_length("pad_diameter");
    advice.pad_to_copper = table.required_length("pad_to_copper");
    advice.via_diameter = table.required_length("via_diameter");
    advice.farthest = table.required_length("farthest");
    advice.farthest_move = table.required_length("farthest_move");
    table.table("price", [&](TomlTable& prices) {
      for (auto [key, value] : {std::pair{"relax_rule", &advice.relax_rule},
                                {"use_side", &advice.use_side},
                                {"open_mask", &advice.open_mask},
                                {"add_pad", &advice.add_pad},
                                {"move_part", &advice.move_part},
                                {"leave_out", &advice.leave_out}})
        *value = prices.amount<Money>(key, 0, 0, 1e6);
    });
    if (advice.pad_diameter.v < 0.1 || advice.pad_diameter.v > 4)
      table.error("pad_diameter", "the size of a test pad is out of range",
                  short_number(advice.pad_diameter.v, 3) + " mm", "0.1 to 4 mm");
    if (advice.farthest.v < 0 || advice.farthest.v > 50)
      table.error("farthest", "this is too far for a trace to a test pad", short_number(advice.farthest.v, 2) + " mm",
                  "0 to 50 mm");
  });
  if (rules.advice.pad_diameter.v == 0)
    root.error("advice", "the values for advice are missing", "nothing",
               "[advice] pad_diameter, pad_to_copper, farthest, farthest_move");
}

void read_heights_of_parts(TomlTable& root, Rules& rules) {
  root.table("heights", [&](TomlTable& table) {
    table.each([&](const std::string& key) {
      if (auto height = table.length(key)) rules.heights[key] = *height;
    });
  });
}
}  // namespace

Rules read_rules(std::string_view text, const std::string& file, Diagnostics& diagnostics, std::string_view job_text,
                 const std::string& job_file) {
  Rules rules;
  with_changed_toml(text, file, job_text, job_file, "rule_changes", diagnostics, [&](TomlTable& root) {
    rules.name = root.text("name", file);
    read_clearances(root, rules);
    read_mechanics_rules(root, rules);
    read_surfaces_and_travel(root, rules);
    read_limits(root, rules);
    read_stock_pins(root, rules);
    read_cost(root, rules);
    read_advice_rules(root, rules);
    read_heights_of_parts(root, rules);
  });
  return rules;
}

namespace {
constexpr Words<Surface> kSurfaceWords{"unknown", "gold", "soldered", "tin", "silver", "organic"};
}  // namespace

const char* to_string(Surface surface) {
  return kSurfaceWords[surface];
}
std::optional<Surface> surface_of(std::string_view finish) {
  if (finish == "solder") return Surface::soldered;
  return kSurfaceWords.find(finish);
}
const BodyRule& Rules::body(Mm height) const {
  std::size_t i = 0;
  while (i + 1 < bodies.size() && height > bodies[i + 1].above) ++i;
  return bodies[i];
}

namespace {
void check_projections(const Job& job, const Catalogue& catalogue, const Rules& rules, Diagnostics& diagnostics) {
  for (const ProbeClass& probe : catalogue.classes)
    if (!(probe.projection < rules.plate_distance))
      diagnostics.error({.code = "probe-through-plate",
                         .at = {job.fixture.catalogue, 0, 0, "class"},
                         .message = "a receptacle of this class would begin beyond the plate that holds it",
                         .found = probe.name + ": projection " + short_number(probe.projection.v, 3) +
                                  " mm, plate_distance " + short_number(rules.plate_distance.v, 3) + " mm",
                         .expected = "projection below plate_distance",
                         .remedy = "correct one of the two"});
}

/// Locks, limits and holes of the job name classes of the catalogue.
void check_class_names(const Job& job, const Catalogue& catalogue, Diagnostics& diagnostics) {
  std::string classes;
  for (const ProbeClass& probe : catalogue.classes) classes += (classes.empty() ? "" : ", ") + probe.name;
  for (const Lock& lock : job.decisions.locks)
    if (!lock.probe_class.empty() &&
        std::none_of(catalogue.classes.begin(), catalogue.classes.end(),
                     [&](const ProbeClass& probe) { return probe.name == lock.probe_class; }))
      diagnostics.error({.code = "lock-class",
                         .at = lock.place,
                         .message = "a lock names a probe class that is not in use",
                         .found = lock.probe_class,
                         .expected = classes,
                         .remedy = "use one of them"});
  auto known = [&](const std::string& name) {
    return std::any_of(catalogue.classes.begin(), catalogue.classes.end(),
                       [&](const ProbeClass& probe) { return probe.name == name; });
  };
  for (const auto& [name, most] : job.fixture.most_of_class)
    if (!known(name))
      diagnostics.error({.code = "most-class",
                         .at = {job.file, 0, 0, "fixture.most"},
                         .message = "a limit names a probe class that is not in use",
                         .found = name,
                         .expected = classes,
                         .remedy = "use one of them"});
  for (const OldHole& hole : job.decisions.old_holes)
    if (!known(hole.probe_class))
      diagnostics.error({.code = "hole-class",
                         .at = hole.place,
                         .message = "a hole names a probe class that is not in use",
                         .found = hole.probe_class,
                         .expected = classes,
                         .remedy = "use one of them"});
}

void check_long_travel(const Job& job, const Catalogue& catalogue, Diagnostics& diagnostics) {
  for (const NeedRule& need : job.wants.needs)
    if (need.long_travel.value_or(false) &&
        std::none_of(catalogue.classes.begin(), catalogue.classes.end(),
                     [](const ProbeClass& probe) { return probe.long_travel_price.has_value(); }))
      diagnostics.error({.code = "need-stage",
                         .at = need.place,
                         .message = "no probe class has a long-travel version",
                         .found = need.nets,
                         .expected = "long_travel_price in the catalogue",
                         .remedy = "state it for the classes that have a long-travel version"});
}

void check_keep_outs(const Job& job, const Rules& rules, Diagnostics& diagnostics) {
  std::string all;
  for (const auto& [kind, rule] : rules.shared_space) all += (all.empty() ? "" : ", ") + kind;
  for (const KeepOut& keep_out : job.decisions.keep_outs)
    if (!rules.shared_space.count(keep_out.kind))
      diagnostics.error(
          {.code = "keep-out-kind",
           .at = keep_out.place,
           .message = "the rule file does not define this kind of keep-out",
           .found = keep_out.kind,
           .expected = all,
           .remedy = "use one of them, or add  [shared_space." + keep_out.kind + "]  to a rule file of your own"});
}
}  // namespace

void check_together(const Job& job, const Catalogue& catalogue, const Rules& rules, Diagnostics& diagnostics) {
  check_projections(job, catalogue, rules, diagnostics);
  check_class_names(job, catalogue, diagnostics);
  check_long_travel(job, catalogue, diagnostics);
  check_keep_outs(job, rules, diagnostics);
}

std::optional<std::string_view> shipped(std::string_view kind, std::string_view name) {
  const std::string path = std::string(kind) + "/" + std::string(name) + (name.ends_with(".csv") ? "" : ".toml");
  for (const auto& embedded : embedded_files())
    if (embedded.path == path) return embedded.text;
  return std::nullopt;
}

std::vector<std::string> shipped_names(std::string_view kind) {
  std::vector<std::string> out;
  constexpr std::string_view kEnd = ".toml";
  for (const auto& embedded : embedded_files())
    if (embedded.path.size() > kind.size() && embedded.path.starts_with(kind) && embedded.path[kind.size()] == '/' &&
        embedded.path.ends_with(kEnd))
      out.emplace_back(embedded.path.substr(kind.size() + 1, embedded.path.size() - kind.size() - 1 - kEnd.size()));
  std::sort(out.begin(), out.end());
  return out;
}

}  // namespace teasel
