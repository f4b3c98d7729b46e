// Reads price lists from TOML.
#include "teasel/job.h"
#include "toml_table.h"

namespace teasel {

namespace {
/// A key, where its number goes, and how the key's unit becomes the value's: metres times 1000 are millimetres,
/// milliseconds by 1000 are seconds. Both factors are whole numbers, so that a short decimal stays the nearest double.
struct Row {
  const char* key;
  double* value;
  double times = 1, by = 1;
};
/// Every key is there and is a number of at least `least`.
void numbers(TomlTable& root, const char* name, double least, const std::vector<Row>& rows,
             const std::function<void(TomlTable&)>& more = {}) {
  if (!root.has(name))
    root.error(name, "a part of the price list is missing", "nothing", std::string("[") + name + "]");
  root.table(name, [&](TomlTable& table) {
    for (const Row& row : rows) {
      if (!table.has(row.key)) table.error(row.key, "a price is missing", "nothing", "a number");
      *row.value = table.number(row.key, 0, least, 1e9) * row.times / row.by;
    }
    if (more) more(table);
  });
}
template <class Amount>
void by_name(TomlTable& root, const char* name, std::map<std::string, Amount>& out,
             const std::vector<std::string>& needed, double least) {
  root.table(name, [&](TomlTable& table) {
    table.each([&](const std::string& key) { out[key] = table.amount<Amount>(key, 0, least, 1e9); });
  });
  for (const std::string& entry : needed)
    if (!out.count(entry))
      root.error(name, "an entry is missing from this table", entry, std::string("[") + name + "] with " + entry);
}

/// What it takes to build a bed: kit, plates, parts and the work on them.
void read_build(TomlTable& root, Prices& prices) {
  by_name(root, "kit", prices.kit, {"hand press", "clamshell", "vacuum box", "none"}, 0);
  numbers(root, "plate", 0,
          {{"setup_minutes", &prices.plate_setup.v},
           {"hole_minutes", &prices.hole.v},
           {"pocket_minutes_per_cm3", &prices.pocket_per_cm3.v},
           {"printed_cm3", &prices.printed_cm3.v}},
          [&](TomlTable& table) { by_name(table, "dm2", prices.plate_dm2, {"other"}, 0); });
  numbers(root, "part", 0,
          {{"tooling_pin", &prices.part.tooling_pin.v},
           {"guide_pin", &prices.part.guide_pin.v},
           {"board_stop", &prices.part.board_stop.v},
           {"push_finger", &prices.part.push_finger.v},
           {"screw", &prices.part.screw.v},
           {"wire_metre", &prices.part.wire_metre.v},
           {"relay", &prices.part.relay.v}});
  numbers(root, "work", 0,
          {{"receptacle_minutes", &prices.work.receptacle.v},
           {"wire_minutes", &prices.work.wire.v},
           {"wire_metre", &prices.work.wire_length.v, 1000},
           {"support_minutes", &prices.work.support.v},
           {"engineering_hours", &prices.work.engineering.v},
           {"net_minutes", &prices.work.net.v},
           {"proving_hours", &prices.work.proving.v},
           {"program_hours", &prices.work.program.v},
           {"second_bed_hours", &prices.work.second_bed.v},
           {"rework_minutes", &prices.work.rework.v}});
}

void read_running(TomlTable& root, Prices& prices) {
  numbers(root, "bed", 0,
          {{"load_seconds", &prices.bed.load.v},
           {"test_seconds", &prices.bed.test.v},
           {"net_milliseconds", &prices.bed.net.v, 1, 1000},
           {"part_milliseconds", &prices.bed.part.v, 1, 1000},
           {"program_seconds", &prices.bed.program.v},
           {"station_hour", &prices.bed.station_hour.v}});
}

void read_flying_probe(TomlTable& root, Prices::Flying& flying) {
  numbers(root, "flying_probe", 0,
          {{"setup_hours", &flying.setup.v},
           {"net_minutes", &flying.net.v},
           {"part_minutes", &flying.part_program.v},
           {"part_milliseconds", &flying.part.v, 1, 1000},
           {"machine_hour", &flying.machine_hour.v},
           {"load_seconds", &flying.load.v},
           {"turn_seconds", &flying.turn.v},
           {"touch_milliseconds", &flying.touch.v, 1, 1000},
           {"speed_mm_s", &flying.speed.v},
           {"acceleration_mm_s2", &flying.acceleration.v}},
          [&](TomlTable& table) {
            flying.heads = table.whole("heads", 2, 1, 64);
            flying.both_sides = table.yes_no("both_sides").value_or(false);
            flying.smallest_land = table.required_length("smallest_land");
            if (!(flying.speed >= MmPerSecond{1} && flying.acceleration >= MmPerSecond2{1}))
              table.error(
                  "speed_mm_s", "the heads must move",
                  short_number(flying.speed.v, 1) + " mm/s, " + short_number(flying.acceleration.v, 1) + " mm/s2",
                  "at least 1 each");
          });
}

/// Spares, and what keeps the probes of a bed at work.
void read_upkeep(TomlTable& root, Prices& prices) {
  double probes = 0, receptacles = 0;
  numbers(root, "spare", 0,
          {{"probe_share", &prices.spare.probe_share},
           {"receptacle_share", &prices.spare.receptacle_share},
           {"probe_least", &probes},
           {"receptacle_least", &receptacles}});
  prices.spare.probe_least = static_cast<int>(std::min(probes, 1e6));
  prices.spare.receptacle_least = static_cast<int>(std::min(receptacles, 1e6));
  numbers(root, "upkeep", 1, {{"life", &prices.life.v}, {"clean_minutes", &prices.clean.v}}, [&](TomlTable& table) {
    std::vector<std::string> all;
    for (int i = 0; i < kSurfaces; ++i) all.emplace_back(to_string(static_cast<Surface>(i)));
    by_name(table, "clean_every", prices.clean_every, all, 1);
  });
}
}  // namespace

Prices read_prices(std::string_view text, const std::string& file, Diagnostics& diagnostics) {
  Prices prices;
  with_toml(text, file, diagnostics, [&](TomlTable& root) {
    prices.name = root.text("name", file);
    root.text("note");
    prices.currency = root.text("currency", "money units");
    numbers(
        root, "hour", 0,
        {{"shop", &prices.hour.shop.v}, {"engineer", &prices.hour.engineer.v}, {"operator", &prices.hour.operator_.v}});
    read_build(root, prices);
    read_running(root, prices);
    read_flying_probe(root, prices.flying);
    read_upkeep(root, prices);
    numbers(root, "uncertain", 0,
            {{"work", &prices.uncertain.work},
             {"material", &prices.uncertain.material},
             {"bed_time", &prices.uncertain.bed_time},
             {"flying_time", &prices.uncertain.flying_time}},
            [&](TomlTable& table) {
              for (const double share : {prices.uncertain.work, prices.uncertain.material, prices.uncertain.bed_time,
                                         prices.uncertain.flying_time})
                if (share >= 1)
                  table.error("work", "a share may be off by less than the whole of it", short_number(share, 3),
                              "below 1: 0.3 is 30 % either way");
            });
  });
  return prices;
}

}  // namespace teasel
