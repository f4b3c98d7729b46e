// Every file that a run writes, and what writes it.
#include <functional>

#include "teasel/parallel.h"
#include "teasel/pipeline/files.h"
#include "teasel/pipeline/run.h"

namespace teasel::pipeline {

namespace {
using Files = std::map<std::string, std::string>;
/// Files by name, each with what writes it.
using Writers = std::map<std::string, std::function<std::string()>>;

/// All of them, on as many threads as there are.
void write(const Writers& writers, Files& files) {
  struct Slot {
    const std::function<std::string()>* writer;
    std::string* bytes;
  };
  std::vector<Slot> slots;
  for (const auto& [name, writer] : writers) slots.push_back({&writer, &files[name]});
  parallel_for(
      slots.size(), [&](std::size_t i) { *slots[i].bytes = (*slots[i].writer)(); }, 1);
}

struct Named {
  const char* name;
  std::string (*write)(const Outcome&);
};
void add(Writers& w, const Outcome& o, std::initializer_list<Named> list) {
  for (const Named& n : list) w[n.name] = [write = n.write, &o] { return write(o); };
}

Writers audit_writers(const Outcome& o) {
  Writers w;
  add(w, o,
      {{"coverage.csv", coverage_csv},
       {"blocked.csv", blocked_csv},
       {"nearly-open.csv", nearly_open_csv},
       {"interfaces.csv", interfaces_csv},
       {"components.csv", components_csv},
       {"supplies.csv", supplies_csv},
       {"advice.csv", advice_csv}});
  w["advice-top.svg"] = [&o] { return advice_svg(o, Side::top); };
  w["advice-bottom.svg"] = [&o] { return advice_svg(o, Side::bottom); };
  if (o.scan.used()) {
    w["scan-nets.csv"] = [&o] { return scan_nets_csv(o); };
    w["scan-pins.csv"] = [&o] { return scan_pins_csv(o); };
  }
  return w;
}

Writers list_writers(const Outcome& o) {
  Writers w = audit_writers(o);
  add(w, o,
      {{"probes.csv", probes_csv},
       {"wiring.csv", wiring_csv},
       {"supports.csv", supports_csv},
       {"materials.csv", materials_csv},
       {"cost.svg", cost_svg}});
  if (o.mechanics.used) w["strain.csv"] = [&o] { return strain_csv(o); };
  return w;
}

void add_plate(Writers& w, const std::string& stem, const Outcome& o, const Plate& p) {
  w[stem + ".drl"] = [&o, &p] { return plate_drill(o, p); };
  w[stem + ".csv"] = [&o, &p] { return plate_csv(o, p); };
  w[stem + ".dxf"] = [&o, &p] { return plate_dxf(o, p); };
  w[stem + ".svg"] = [&o, &p] { return plate_svg(o, p, false); };
  w[stem + "-true-size.svg"] = [&o, &p] { return plate_svg(o, p, true); };
}

Writers shop_writers(const Outcome& o, const Run& run) {
  Writers w;
  add(w, o,
      {{"choices.csv", choices_csv},
       {"set-heights.csv", set_heights_csv},
       {"remedies.csv", remedies_csv},
       {"cost.csv", cost_csv},
       {"upkeep.csv", upkeep_csv},
       {"flying-probe.csv", flying_probe_csv},
       {"verify.csv", verify_csv},
       {"first-article.html", first_article_html},
       {"safety.html", safety_html}});
  if (run.mechanics.used)
    add(w, o,
        {{"mechanics.csv", mechanics_csv},
         {"travel.csv", travel_csv},
         {"lifting.csv", lifting_csv},
         {"bending.svg", bending_svg}});
  for (const Plate& p : run.plates) {
    add_plate(w, "plates/" + p.stem, o, p);
    for (const Pocket& k : p.pockets)
      w["plates/" + pocket_file(p, k)] = [&] { return pocket_rout(o, p, k, run.style.cutter.v); };
  }
  for (const WiringFace& f : run.wiring_faces) w[wiring_file(f)] = [&] { return wiring_svg(o, f); };
  for (const Plate& p : run.proving.check_plates) {
    add_plate(w, "proving/" + p.stem, o, p);
    w[std::string("proving/aim-overlay-") + to_string(p.probes) + ".svg"] = [&] {
      return aim_overlay_svg(o, p.probes);
    };
  }
  for (const Side side : {Side::top, Side::bottom})
    w[std::string("board-") + to_string(side) + ".svg"] = [&o, side] { return board_svg(o, side); };
  w["fixture.json"] = [&run] { return formats::write_fixture_file(run.built); };
  return w;
}

Files written(const Writers& w) {
  Files files;
  write(w, files);
  return files;
}
}  // namespace

std::map<std::string, std::string> audit_outputs(const Outcome& o) {
  return written(audit_writers(o));
}

std::map<std::string, std::string> page_lists(const Outcome& o) {
  return written(list_writers(o));
}

std::map<std::string, std::string> outputs(const Run& run) {
  const Outcome o = run.outcome();
  Files files = page_lists(o);
  if (!run.plan.proof.empty()) files["plan.proof"] = run.plan.proof;
  if (run.respin.used) add_respin_outputs(run, files);
  // The page takes longest and shows the lists: it is written beside all the rest.
  const Files lists = files;
  Writers rest = shop_writers(o, run);
  rest["report.html"] = [&] { return report_html(o, lists); };
  write(rest, files);
  std::vector<std::pair<const std::string*, std::string>> hashed;
  for (const auto& [name, bytes] : files) hashed.emplace_back(&bytes, name);
  std::vector<std::string> sums(hashed.size());
  parallel_for(
      hashed.size(), [&](std::size_t i) { sums[i] = sha256(*hashed[i].first); }, 1);
  std::map<std::string, std::string> hashes;
  for (std::size_t i = 0; i < hashed.size(); ++i) hashes[hashed[i].second] = sums[i];
  files["plan.json"] = plan_json(o, hashes);
  return files;
}

}  // namespace teasel::pipeline
