// What a shop owns: catalogue, rules, roles.
#include <algorithm>

#include "embedded.h"
#include "teasel/job.h"
#include "toml_table.h"

namespace teasel {

namespace {
Rule read_rule(TomlTable& rules, const char* key) {
  Rule r;
  r.key = key;
  if (!rules.has(key)) rules.error(key, "a rule is missing", "nothing", std::string("[rule.") + key + "]");
  rules.table(key, [&](TomlTable& t) {
    r.preferred = t.required_length("preferred");
    if (t.text("least") != "geometry") r.least = t.required_length("least");
    r.mark = t.choice("mark", {"published", "common", "memory"}, "memory");
    r.source = t.text("source");
  });
  if (r.least && (std::string_view(key).substr(0, 4) == "wide" ? *r.least < r.preferred : *r.least > r.preferred))
    rules.error(key, "the least value is stricter than the preferred one", short_number(r.least->v, 3) + " mm", "least on the loose side");
  return r;
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
      p.price = t.number("price", 0, 0, 1e6);
      p.robust = t.whole("robust", 1, 0, 100);
      if (p.name.empty() || !(p.spacing > Mm{0.1}) || !(p.force > Newton{0}))
        t.error("name", "a class needs a name, a spacing and a force", p.name, "all three above zero");
      c.classes.push_back(std::move(p));
    });
  });
  std::stable_sort(c.classes.begin(), c.classes.end(), [](const auto& a, const auto& b) { return a.spacing > b.spacing; });
  if (c.classes.empty() && !d.failed()) d.error("catalogue-empty", {file, 0, 0, {}}, "the catalogue holds no probe class");
  if (c.classes.size() > 16) d.error("catalogue-too-large", {file, 0, 0, {}}, "more than 16 probe classes");
  return c;
}

Rules read_rules(std::string_view text, const std::string& file, Diagnostics& d) {
  Rules r;
  with_toml(text, file, d, [&](TomlTable& root) {
    r.name = root.text("name", file);
    root.table("rule", [&](TomlTable& t) {
      for (auto [key, rule] : {std::pair{"pad_diameter_main", &r.pad_diameter_main}, {"pad_diameter_other", &r.pad_diameter_other},
                               {"other_conductor", &r.other_conductor}, {"body", &r.body}, {"tall_body", &r.tall_body},
                               {"board_edge", &r.board_edge}, {"tooling_hole", &r.tooling_hole}, {"wide_hole", &r.wide_hole}})
        *rule = read_rule(t, key);
    });
    root.table("limits", [&](TomlTable& t) {
      for (auto [key, value] : {std::pair{"tall_height", &r.tall_height}, {"web", &r.web}, {"web_smallest_class", &r.web_smallest_class},
                                {"body_margin", &r.body_margin}, {"tooling_hole_least", &r.tooling_hole_least}, {"thick_lead", &r.thick_lead}})
        *value = t.required_length(key);
      r.largest_miss = t.number("largest_miss", 0.01, 1e-12, 1);
      r.preferred_miss = t.number("preferred_miss", 1e-4, 1e-12, 1);
    });
    root.table("errors", [&](TomlTable& t) {
      auto& e = r.errors;
      for (auto [key, value] : {std::pair{"plate_drilling", &e.plate_drilling}, {"second_plate", &e.second_plate}, {"artwork", &e.artwork},
                                {"mask_shift", &e.mask_shift}, {"pin_clearance", &e.pin_clearance}, {"plated_pin_clearance", &e.plated_pin_clearance}, {"no_tooling_clearance", &e.no_tooling_clearance}})
        *value = t.required_length(key);
      e.artwork_scale_ppm = t.number("artwork_scale_ppm", 300, 0, 1e5);
    });
    root.table("cost", [&](TomlTable& t) {
      auto& c = r.cost;
      for (auto [key, value] : {std::pair{"false_reject", &c.false_reject}, {"boards", &c.boards}, {"plate", &c.plate}, {"second_bed", &c.second_bed},
                                {"unmet_mandatory", &c.unmet_mandatory}, {"unmet", &c.unmet}, {"missing_extra", &c.missing_extra}, {"shortfall", &c.shortfall}})
        *value = t.number(key, 0, 0, 1e6);
      t.table("kind", [&](TomlTable& k) {
        for (auto [key, value] : {std::pair{"test_pad", &c.test_pad}, {"lead", &c.lead}, {"via", &c.via}, {"smd_pad", &c.smd_pad}})
          *value = k.number(key, 0, 0, 1e6);
      });
    });
    root.table("heights", [&](TomlTable& t) {
      t.each([&](const std::string& key) {
        if (auto v = t.length(key)) r.heights[key] = *v;
      });
    });
  });
  return r;
}

RoleTable read_roles(std::string_view text, const std::string& file, Diagnostics& d) {
  RoleTable r;
  with_toml(text, file, d, [&](TomlTable& root) {
    r.name = root.text("name", file);
    root.tables("role", [&](TomlTable& t) {
      RolePattern p;
      p.role = *role_of(t.choice("role", {"programming", "power", "ground", "functional", "observe", "do_not_touch"}, "functional"));
      p.names = t.texts("names");
      p.reason = t.text("reason");
      r.patterns.push_back(std::move(p));
    });
    root.table("wanted", [&](TomlTable& t) {
      r.functional = t.whole("functional", 1, 0, 1000), r.programming = t.whole("programming", 1, 0, 1000);
      r.observe = t.whole("observe", 1, 0, 1000), r.power = t.whole("power", 2, 0, 1000);
      r.ground_other = t.whole("ground_other", 2, 0, 1000), r.ground_most = t.whole("ground_most", 24, 0, 1000);
      r.ground_least = t.whole("ground_least", 2, 0, 1000);
    });
  });
  return r;
}

std::optional<std::string_view> shipped(std::string_view kind, std::string_view name) {
  const std::string path = std::string(kind) + "/" + std::string(name) + ".toml";
  for (const auto& f : embedded_files())
    if (f.path == path) return f.text;
  return std::nullopt;
}

}  // namespace teasel
