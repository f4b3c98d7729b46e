// A plan for a fixture that stands: what becomes of it, as text, lists and a sheet for the shop.
#include <algorithm>
#include <map>

#include "paper.h"
#include "teasel/words.h"
#include "text.h"

namespace teasel {

namespace {
std::string some(const std::vector<std::string>& list, std::size_t most) {
  return Few(list, most).text();
}
std::string place(const std::optional<Point>& p, bool x) {
  return p ? fixed(x ? p->x : p->y, 3) : "";
}
}  // namespace

std::vector<std::string> respin_lines(const Outcome& o) {
  const Respin& r = o.respin;
  if (!r.used) return {};
  std::vector<std::string> lines;
  std::string counts;
  for (const Fate f : {Fate::kept, Fate::worse, Fate::moved, Fate::lost, Fate::freed})
    counts += (counts.empty() ? "" : ", ") + std::to_string(r.count(f)) + " " + to_string(f);
  lines.push_back("fixture that stands (plan " + r.from_plan + ", " + r.from_name + "): of " +
                  plural(r.fates.size(), "probe", "probes") + " " + counts + "; " +
                  plural(r.fresh.size(), "new hole", "new holes") + " for probes");
  const Affine& m = r.laying.map;
  const bool identity = m.a == 1 && m.d == 1 && m.e == 0 && m.f == 0;
  lines.push_back("  laid by " + r.laying.how + ": " + std::to_string(r.laying.agree) + " of " +
                  std::to_string(r.laying.of) + " known pads lie where they did" +
                  (identity ? ""
                            : "; new frame to old frame: " +
                                  std::string(m.a == 1    ? "not turned"
                                              : m.a == -1 ? "turned by 180 degrees"
                                              : m.c > 0   ? "turned by 90 degrees counter-clockwise"
                                                          : "turned by 90 degrees clockwise") +
                                  ", shifted by " + short_number(m.e, 3) + ", " + short_number(m.f, 3) + " mm") +
                  (r.laying.pins_stay ? "; both tooling pins stay" : "; THE TOOLING PINS MOVE"));
  for (std::size_t i = 0; i < r.others.size(); ++i)
    lines.push_back("  also planned: " + r.others[i].how + ", objective " + fixed(r.objectives[i + 1], 2) +
                    " against " + fixed(r.objectives[0], 2));
  std::size_t steps = r.steps.size();
  lines.push_back(steps == 0 ? "  nothing has to be done to the fixture"
                             : "  rework: " + plural(steps, "step", "steps") + " in rework.html, " + money(r.rework) +
                                   "; a new fixture: " + money(r.anew) + " (" + o.prices.currency + ")");
  for (const Fate f : {Fate::lost, Fate::worse, Fate::moved}) {
    std::size_t shown = 0;
    for (const ProbeFate& x : r.fates) {
      if (x.fate != f) continue;
      if (++shown > 8) {
        lines.push_back("    ... all in respin.csv");
        break;
      }
      lines.push_back(
          "  " + std::string(to_string(f)) + ": " + x.name + " (" + (x.net.empty() ? x.old_net : x.net) + ")" +
          (f == Fate::moved   ? ", now " + x.by
           : f == Fate::worse ? ", chance to miss " + chance(x.miss_before) + " before, " + chance(x.miss) + " now"
                              : "") +
          (x.why.empty() ? "" : ": " + x.why));
    }
  }
  std::vector<std::string> renamed, hints;
  for (const NetMatch& n : r.nets)
    if (n.renamed && n.net >= 0)
      (n.taken ? renamed : hints)
          .push_back(r.old.nets[static_cast<std::size_t>(n.old_net)] + " is " +
                     r.now.nets[static_cast<std::size_t>(n.net)]);
  if (!renamed.empty())
    lines.push_back("  " + plural(renamed.size(), "net goes", "nets go") +
                    " on under another name, by pins and places: " + some(renamed, 5) + "; renames.csv");
  if (!hints.empty())
    lines.push_back("  " + plural(hints.size(), "net", "nets") + " perhaps renamed, not taken so: " + some(hints, 5) +
                    "; renames.csv");
  std::map<std::string, int> of;
  for (const BoardChange& c : r.changes) ++of[c.of];
  std::string what;
  for (const auto& [k, n] : of) what += (what.empty() ? "" : ", ") + std::to_string(n) + " of " + k;
  lines.push_back("  the board: " + (r.changes.empty() ? std::string("no change")
                                                       : plural(r.changes.size(), "change", "changes") + " (" + what +
                                                             "), in board-changes.csv and old-over-new-*.svg"));
  if (!r.self_test.empty())
    lines.push_back("  self-test: " + plural(r.self_test.size(), "line differs", "lines differ") +
                    ", in self-test-changes.csv");
  for (const RevisionRun& x : r.runs)
    lines.push_back(
        "  " + x.revision + (x.variant.empty() ? "" : ", variant " + x.variant) + " (plan " + x.plan_id + "): " +
        (x.runs() ? "runs"
                  : "DOES NOT RUN: " +
                        (x.lacking.empty() ? std::string()
                                           : std::to_string(x.lacking.size()) + " of " + std::to_string(x.probes) +
                                                 " probes are not there for it (" + some(x.lacking, 3) + ")") +
                        (x.lacking.empty() || x.meets.empty() ? "" : "; ") + some(x.meets, 3)));
  return lines;
}

std::string respin_csv(const Outcome& o) {
  std::string s =
      "probe,fate,net_before,net,side,class,x_mm,y_mm,target_before,target,served_by,odds_before,odds,hole_serves,why,"
      "plan_id\n";
  for (const ProbeFate& f : o.respin.fates)
    s += csv_row({f.name, to_string(f.fate), f.old_net, f.net, to_string(f.side), f.probe_class, fixed(f.at.x, 3),
                  fixed(f.at.y, 3), f.target_before, f.target, f.by, odds_text(f.miss_before),
                  f.by.empty() ? "" : odds_text(f.miss), f.hole_serves, f.why, o.plan_id});
  return s;
}

std::string renames_csv(const Outcome& o) {
  const Respin& r = o.respin;
  std::string s = "net_before,net,taken,pins_same,pins_of_both,pads_same,pads_of_both,plan_id\n";
  for (const NetMatch& n : r.nets)
    if (n.renamed && n.net >= 0)
      s += csv_row({r.old.nets[static_cast<std::size_t>(n.old_net)], r.now.nets[static_cast<std::size_t>(n.net)],
                    n.taken ? "yes" : "no", std::to_string(n.pins_same), std::to_string(n.pins),
                    std::to_string(n.pads_same), std::to_string(n.pads), o.plan_id});
  return s;
}

std::string board_changes_csv(const Outcome& o) {
  std::string s = "of,name,what,before,after,x_mm,y_mm,plan_id\n";
  for (const BoardChange& c : o.respin.changes)
    s += csv_row({c.of, c.name, c.what, c.before, c.after, place(c.at, true), place(c.at, false), o.plan_id});
  return s;
}

std::string rework_csv(const Outcome& o) {
  std::string s = "step,stage,plate,what,label,net,plate_x_mm,plate_y_mm,diameter_mm,file,done,plan_id\n";
  for (const ReworkStep& x : o.respin.steps)
    s += csv_row({std::to_string(x.number), x.stage, x.plate, x.what, x.label, x.net, place(x.at, true),
                  place(x.at, false), x.diameter > 0 ? fixed(x.diameter, 3) : "", x.file, "", o.plan_id});
  return s;
}

std::string rework_cost_csv(const Outcome& o) {
  const Respin& r = o.respin;
  std::string s = "group,item,quantity,unit,price,sum,plan_id\n";
  for (const CostLine& c : r.cost)
    s += csv_row({c.group, c.item, short_number(c.quantity, 2), c.unit, fixed(c.price, 2), money(c.sum), o.plan_id});
  s += csv_row({"total", "rework of the fixture that stands", "", "", "", money(r.rework), o.plan_id});
  s += csv_row({"compare", "a new fixture of this plan", "", "", "", money(r.anew), o.plan_id});
  return s;
}

std::string self_test_changes_csv(const Outcome& o) {
  std::string s = "what,stage,check,probe,before,after,plan_id\n";
  for (const StepChange& c : o.respin.self_test)
    s += csv_row({c.what, c.stage, c.check, c.probe, c.before, c.after, o.plan_id});
  return s;
}

std::string revisions_csv(const Outcome& o) {
  std::string s = "board,variant,plan_of_it,runs,probes,there,lacking,meets,plan_id\n";
  auto joined = [](const std::vector<std::string>& list) {
    std::string t;
    for (const auto& x : list) t += (t.empty() ? "" : "; ") + x;
    return t;
  };
  for (const RevisionRun& x : o.respin.runs)
    s += csv_row({x.revision, x.variant, x.plan_id, x.runs() ? "yes" : "no", std::to_string(x.probes),
                  std::to_string(x.there), joined(x.lacking), joined(x.meets), o.plan_id});
  return s;
}

std::string rework_html(const Outcome& o) {
  const Respin& r = o.respin;
  Page page(o, "Rework of a fixture that stands");
  page.text("The fixture was built or altered last by plan " + r.from_plan + " for " + r.from_name +
            ". Check that this number is engraved on its plates before anything is cut.");
  if (r.steps.empty()) {
    page.text("Nothing has to be done: every probe serves the new board where it is.");
    return page.file();
  }
  bool draft = false;
  for (const PlateRework& p : r.plates) draft |= p.touched() && !p.plate.drafts.empty();
  if (draft)
    page.warning(
        "Plates of this plan are drafts: their files name the part facts that are assumed. Measure those before "
        "cutting.");
  page.warning(
      "Tips are sharp, springs throw them: wear eye protection. Take fixture and supplies off the mains and discharge "
      "them. Wear a wrist strap. Local codes and licensed practice come first.");
  if (!r.laying.pins_stay)
    page.warning("The tooling pins move: everything is located anew. Prove the whole fixture with the check plates.");
  for (const PlateRework& p : r.plates) {
    if (p.whole || !p.touched()) continue;
    page.head(p.plate.name);
    page.text(p.plate.seen_from + ". " + p.plate.datum + ".");
    std::string svg = rework_svg(o, p);
    page.picture(svg.substr(svg.find("<svg")));
  }
  std::string stage;
  bool open = false;
  for (const ReworkStep& x : r.steps) {
    if (x.stage != stage) {
      if (open) page.end_table();
      page.head(x.stage);
      page.table({"step", "what", "probe or label", "net", "plate", "x mm", "y mm", "dia mm", "file", "done"});
      stage = x.stage;
      open = true;
    }
    page.row({std::to_string(x.number), x.what, x.label.empty() ? "-" : x.label, x.net.empty() ? "-" : x.net,
              x.plate.empty() ? "-" : x.plate, x.at ? place(x.at, true) : "-", x.at ? place(x.at, false) : "-",
              x.diameter > 0 ? fixed(x.diameter, 3) : "-", x.file.empty() ? "-" : x.file, ""});
  }
  if (open) page.end_table();
  page.head("cost");
  page.table({"item", "quantity", "price", "sum"});
  for (const CostLine& c : r.cost)
    page.row({c.item, short_number(c.quantity, 2) + " " + c.unit, fixed(c.price, 2), money(c.sum)});
  page.row({"rework in all (" + o.prices.currency + ")", "-", "-", money(r.rework)});
  page.row({"a new fixture of this plan", "-", "-", money(r.anew)});
  page.end_table();
  page.head("boards that run on it afterwards");
  page.table({"board", "runs", "because"});
  for (const RevisionRun& x : r.runs)
    page.row({x.revision + (x.variant.empty() ? "" : ", variant " + x.variant), x.runs() ? "yes" : "no",
              x.runs() ? "all " + std::to_string(x.probes) + " probes are there"
                       : some(x.lacking, 6) + (x.lacking.empty() || x.meets.empty() ? "" : "; ") + some(x.meets, 6)});
  page.end_table();
  page.table({"done by", "proved by", "released by", "date"});
  page.row({"", "", "", ""});
  page.end_table();
  return page.file();
}

}  // namespace teasel
