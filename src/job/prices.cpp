// Price lists from TOML.
#include "teasel/job.h"
#include "toml_table.h"

namespace teasel {

namespace {
using Row = std::pair<const char*, double*>;
/// Every key is there and is a number of at least `least`.
void numbers(TomlTable& root, const char* table, double least, const std::vector<Row>& rows,
             const std::function<void(TomlTable&)>& more = {}) {
  if (!root.has(table))
    root.error(table, "a part of the price list is missing", "nothing", std::string("[") + table + "]");
  root.table(table, [&](TomlTable& t) {
    for (const auto& [key, value] : rows) {
      if (!t.has(key)) t.error(key, "a price is missing", "nothing", "a number");
      *value = t.number(key, 0, least, 1e9);
    }
    if (more) more(t);
  });
}
void by_name(TomlTable& root, const char* table, std::map<std::string, double>& out,
             const std::vector<std::string>& needed, double least) {
  root.table(table,
             [&](TomlTable& t) { t.each([&](const std::string& key) { out[key] = t.number(key, 0, least, 1e9); }); });
  for (const std::string& n : needed)
    if (!out.count(n)) root.error(table, "an entry is missing", n, std::string("[") + table + "] with " + n);
}
}  // namespace

Prices read_prices(std::string_view text, const std::string& file, Diagnostics& d) {
  Prices p;
  with_toml(text, file, d, [&](TomlTable& root) {
    p.name = root.text("name", file);
    root.text("note");
    p.currency = root.text("currency", "money units");
    numbers(root, "hour", 0, {{"shop", &p.hour.shop}, {"engineer", &p.hour.engineer}, {"operator", &p.hour.operator_}});
    by_name(root, "kit", p.kit, {"hand press", "clamshell", "vacuum box", "none"}, 0);
    numbers(root, "plate", 0,
            {{"setup_minutes", &p.plate_setup_minutes},
             {"hole_minutes", &p.hole_minutes},
             {"pocket_minutes_per_cm3", &p.pocket_minutes_per_cm3}},
            [&](TomlTable& t) { by_name(t, "dm2", p.plate_dm2, {"other"}, 0); });
    numbers(root, "part", 0,
            {{"tooling_pin", &p.part.tooling_pin},
             {"guide_pin", &p.part.guide_pin},
             {"board_stop", &p.part.board_stop},
             {"push_finger", &p.part.push_finger},
             {"screw", &p.part.screw},
             {"wire_metre", &p.part.wire_metre},
             {"relay", &p.part.relay}});
    numbers(root, "work", 0,
            {{"receptacle_minutes", &p.work.receptacle_minutes},
             {"wire_minutes", &p.work.wire_minutes},
             {"wire_metre", &p.work.wire_metre},
             {"support_minutes", &p.work.support_minutes},
             {"engineering_hours", &p.work.engineering_hours},
             {"net_minutes", &p.work.net_minutes},
             {"proving_hours", &p.work.proving_hours}});
    numbers(root, "bed", 0,
            {{"load_seconds", &p.bed.load_seconds},
             {"test_seconds", &p.bed.test_seconds},
             {"net_milliseconds", &p.bed.net_milliseconds},
             {"station_hour", &p.bed.station_hour}});
    auto& f = p.flying;
    numbers(root, "flying_probe", 0,
            {{"setup_hours", &f.setup_hours},
             {"net_minutes", &f.net_minutes},
             {"machine_hour", &f.machine_hour},
             {"load_seconds", &f.load_seconds},
             {"turn_seconds", &f.turn_seconds},
             {"touch_milliseconds", &f.touch_milliseconds},
             {"speed_mm_s", &f.speed},
             {"acceleration_mm_s2", &f.acceleration}},
            [&](TomlTable& t) {
              f.heads = t.whole("heads", 2, 1, 64);
              f.both_sides = t.yes_no("both_sides").value_or(false);
              f.smallest_land = t.required_length("smallest_land");
              if (!(f.speed >= 1 && f.acceleration >= 1))
                t.error("speed_mm_s", "heads move",
                        short_number(f.speed, 1) + " mm/s, " + short_number(f.acceleration, 1) + " mm/s2",
                        "at least 1 each");
            });
    double probes = 0, receptacles = 0;
    numbers(root, "spare", 0,
            {{"probe_share", &p.spare.probe_share},
             {"receptacle_share", &p.spare.receptacle_share},
             {"probe_least", &probes},
             {"receptacle_least", &receptacles}});
    p.spare.probe_least = static_cast<int>(std::min(probes, 1e6));
    p.spare.receptacle_least = static_cast<int>(std::min(receptacles, 1e6));
    numbers(root, "upkeep", 1, {{"life", &p.life}, {"clean_minutes", &p.clean_minutes}}, [&](TomlTable& t) {
      std::vector<std::string> all;
      for (int i = 0; i < kSurfaces; ++i) all.emplace_back(to_string(static_cast<Surface>(i)));
      by_name(t, "clean_every", p.clean_every, all, 1);
    });
  });
  return p;
}

}  // namespace teasel
