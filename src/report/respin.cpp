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
template <class Frame>
std::string x_of(const std::optional<At<Frame>>& place) {
  return place ? fixed(place->x, 3) : "";
}
template <class Frame>
std::string y_of(const std::optional<At<Frame>>& place) {
  return place ? fixed(place->y, 3) : "";
}

/// How the new board's frame lies in the old one's; nothing where they are one.
std::string map_text(const Affine& map) {
  if (map.a == 1 && map.d == 1 && map.e == 0 && map.f == 0) return "";
  std::string turn = "turned by 90 degrees clockwise";
  if (map.a == 1)
    turn = "not turned";
  else if (map.a == -1)
    turn = "turned by 180 degrees";
  else if (map.c > 0)
    turn = "turned by 90 degrees counter-clockwise";
  return "; from the new frame to the old one: " + turn + ", shifted by " + short_number(map.e, 3) + ", " +
         short_number(map.f, 3) + " mm";
}

std::string change_text(const ProbeFate& probe) {
  if (probe.fate == Fate::moved) return ", now " + probe.by;
  if (probe.fate == Fate::worse)
    return ", chance of a miss " + chance(probe.miss_before) + " before, " + chance(probe.miss) + " now";
  return "";
}

/// Probes that are lost, worse or moved, by name.
void fate_lines(std::vector<std::string>& lines, const Respin& respin) {
  for (const Fate fate : {Fate::lost, Fate::worse, Fate::moved}) {
    std::size_t shown = 0;
    for (const ProbeFate& probe : respin.fates) {
      if (probe.fate != fate) continue;
      if (++shown > 8) {
        lines.push_back("    ... all in respin.csv");
        break;
      }
      lines.push_back("  " + std::string(to_string(fate)) + ": " + probe.name + " (" +
                      (probe.net.empty() ? probe.old_net : probe.net) + ")" + change_text(probe) +
                      (probe.why.empty() ? "" : ": " + probe.why));
    }
  }
}

void renamed_lines(std::vector<std::string>& lines, const Respin& respin) {
  std::vector<std::string> renamed, hints;
  for (const NetMatch& match : respin.nets)
    if (match.renamed && match.net)
      (match.taken ? renamed : hints).push_back(respin.old.nets[match.old_net] + " is " + respin.now.nets[match.net]);
  if (!renamed.empty())
    lines.push_back("  " + plural(renamed.size(), "net goes", "nets go") +
                    " on under another name, judged by pins and places: " + some(renamed, 5) + "; renames.csv");
  if (!hints.empty())
    lines.push_back("  " + plural(hints.size(), "net", "nets") +
                    " may have been renamed, but are treated as different: " + some(hints, 5) + "; renames.csv");
}

std::string run_text(const RevisionRun& run) {
  if (run.runs()) return "runs";
  std::string text = "DOES NOT RUN: ";
  if (!run.lacking.empty())
    text += std::to_string(run.lacking.size()) + " of " + std::to_string(run.probes) + " of its probes are missing (" +
            some(run.lacking, 3) + ")";
  return text + (run.lacking.empty() || run.meets.empty() ? "" : "; ") + some(run.meets, 3);
}
}  // namespace

std::vector<std::string> respin_lines(const Outcome& outcome) {
  const Respin& respin = outcome.results.respin;
  if (!respin.used) return {};
  std::vector<std::string> lines;
  std::string counts;
  for (const Fate fate : {Fate::kept, Fate::worse, Fate::moved, Fate::lost, Fate::freed})
    counts += (counts.empty() ? "" : ", ") + std::to_string(respin.count(fate)) + " " + to_string(fate);
  lines.push_back("fixture that stands (plan " + respin.from_plan + ", " + respin.from_name + "): of " +
                  plural(respin.fates.size(), "probe", "probes") + " " + counts + "; " +
                  plural(respin.fresh.size(), "new hole", "new holes") + " for probes");
  lines.push_back("  laid by " + respin.laying.how + ": " + std::to_string(respin.laying.agree) + " of " +
                  std::to_string(respin.laying.of) + " known pads are where they were" + map_text(respin.laying.map) +
                  (respin.laying.pins_stay ? "; both tooling pins stay" : "; THE TOOLING PINS MOVE"));
  for (std::size_t i = 0; i < respin.others.size(); ++i)
    lines.push_back("  also planned: " + respin.others[i].how + ", objective " + fixed(respin.objectives[i + 1], 2) +
                    " against " + fixed(respin.objectives[0], 2));
  std::size_t steps = respin.steps.size();
  lines.push_back(steps == 0
                      ? "  nothing has to be done to the fixture"
                      : "  rework: " + plural(steps, "step", "steps") + " in rework.html, " + money(respin.rework) +
                            "; a new fixture: " + money(respin.anew) + " (" + outcome.prices.currency + ")");
  fate_lines(lines, respin);
  renamed_lines(lines, respin);
  std::map<std::string, int> changed;
  for (const BoardChange& change : respin.changes) ++changed[change.of];
  std::string what;
  for (const auto& [of, count] : changed) what += (what.empty() ? "" : ", ") + std::to_string(count) + " of " + of;
  lines.push_back("  the board: " + (respin.changes.empty()
                                         ? std::string("no change")
                                         : plural(respin.changes.size(), "change", "changes") + " (" + what +
                                               "), in board-changes.csv and old-over-new-*.svg"));
  if (!respin.self_test.empty())
    lines.push_back("  self-test: " + plural(respin.self_test.size(), "line differs", "lines differ") +
                    ", in self-test-changes.csv");
  for (const RevisionRun& run : respin.runs)
    lines.push_back("  " + run.revision + (run.variant.empty() ? "" : ", variant " + run.variant) + " (plan " +
                    run.plan_id + "): " + run_text(run));
  return lines;
}

std::string respin_csv(const Outcome& outcome) {
  Csv::Text csv =
      "probe,fate,net_before,net,side,class,x_mm,y_mm,target_before,target,served_by,odds_before,odds,hole_serves,why,"
      "plan_id\n";
  for (const ProbeFate& probe_fate : outcome.results.respin.fates)
    csv += csv_row({probe_fate.name, to_string(probe_fate.fate), probe_fate.old_net, probe_fate.net,
                    to_string(probe_fate.side), probe_fate.probe_class, fixed(probe_fate.at.x, 3),
                    fixed(probe_fate.at.y, 3), probe_fate.target_before, probe_fate.target, probe_fate.by,
                    odds_text(probe_fate.miss_before), probe_fate.by.empty() ? "" : odds_text(probe_fate.miss),
                    probe_fate.hole_serves, probe_fate.why, outcome.plan_id});
  return csv.text();
}

std::string renames_csv(const Outcome& outcome) {
  const Respin& respin = outcome.results.respin;
  Csv::Text csv = "net_before,net,taken,pins_same,pins_of_both,pads_same,pads_of_both,plan_id\n";
  for (const NetMatch& match : respin.nets)
    if (match.renamed && match.net)
      csv += csv_row({respin.old.nets[match.old_net], respin.now.nets[match.net], yes_no(match.taken),
                      std::to_string(match.pins_same), std::to_string(match.pins), std::to_string(match.pads_same),
                      std::to_string(match.pads), outcome.plan_id});
  return csv.text();
}

std::string board_changes_csv(const Outcome& outcome) {
  Csv::Text csv = "of,name,what,before,after,x_mm,y_mm,plan_id\n";
  for (const BoardChange& change : outcome.results.respin.changes)
    csv += csv_row({change.of, change.name, change.what, change.before, change.after, x_of(change.at), y_of(change.at),
                    outcome.plan_id});
  return csv.text();
}

std::string rework_csv(const Outcome& outcome) {
  Csv::Text csv = "step,stage,plate,what,label,net,plate_x_mm,plate_y_mm,diameter_mm,file,done,plan_id\n";
  for (const ReworkStep& step : outcome.results.respin.steps)
    csv +=
        csv_row({std::to_string(step.number), step.stage, step.plate, step.what, step.label, step.net, x_of(step.at),
                 y_of(step.at), step.diameter > Mm{} ? fixed(step.diameter, 3) : "", step.file, "", outcome.plan_id});
  return csv.text();
}

std::string rework_cost_csv(const Outcome& outcome) {
  const Respin& respin = outcome.results.respin;
  Csv::Text csv = "group,item,quantity,unit,price,sum,plan_id\n";
  for (const CostLine& line : respin.cost)
    csv += csv_row({line.group, line.item, short_number(line.quantity, 2), line.unit, fixed(line.price, 2),
                    money(line.sum), outcome.plan_id});
  csv += csv_row({"total", "rework of the fixture that stands", "", "", "", money(respin.rework), outcome.plan_id});
  csv += csv_row({"compare", "a new fixture of this plan", "", "", "", money(respin.anew), outcome.plan_id});
  return csv.text();
}

std::string self_test_changes_csv(const Outcome& outcome) {
  Csv::Text csv = "what,stage,check,probe,before,after,plan_id\n";
  for (const StepChange& change : outcome.results.respin.self_test)
    csv +=
        csv_row({change.what, change.stage, change.check, change.probe, change.before, change.after, outcome.plan_id});
  return csv.text();
}

std::string revisions_csv(const Outcome& outcome) {
  Csv::Text csv = "board,variant,plan_of_it,runs,probes,there,lacking,meets,plan_id\n";
  auto joined = [](const std::vector<std::string>& list) {
    std::string text;
    for (const std::string& item : list) text += (text.empty() ? "" : "; ") + item;
    return text;
  };
  for (const RevisionRun& run : outcome.results.respin.runs)
    csv += csv_row({run.revision, run.variant, run.plan_id, yes_no(run.runs()), std::to_string(run.probes),
                    std::to_string(run.there), joined(run.lacking), joined(run.meets), outcome.plan_id});
  return csv.text();
}

namespace {

/// The steps in working order, a table for each stage.
void add_steps(Form& form, const Respin& respin) {
  std::string stage;
  bool open = false;
  for (const ReworkStep& step : respin.steps) {
    if (step.stage != stage) {
      if (open) form.end_table();
      form.head(step.stage);
      form.table({"step", "what", "probe or label", "net", "plate", "x mm", "y mm", "dia mm", "file", "done"});
      stage = step.stage;
      open = true;
    }
    form.row({std::to_string(step.number), step.what, or_dash(step.label), or_dash(step.net), or_dash(step.plate),
              or_dash(x_of(step.at)), or_dash(y_of(step.at)), step.diameter > Mm{} ? fixed(step.diameter, 3) : "-",
              or_dash(step.file), ""});
  }
  if (open) form.end_table();
}

void add_costs(Form& form, const Outcome& outcome) {
  const Respin& respin = outcome.results.respin;
  form.head("cost");
  form.table({"item", "quantity", "price", "sum"});
  for (const CostLine& line : respin.cost)
    form.row({line.item, short_number(line.quantity, 2) + " " + line.unit, fixed(line.price, 2), money(line.sum)});
  form.row({"rework in all (" + outcome.prices.currency + ")", "-", "-", money(respin.rework)});
  form.row({"a new fixture of this plan", "-", "-", money(respin.anew)});
  form.end_table();
}

std::string because(const RevisionRun& run) {
  if (run.runs()) return "all " + std::to_string(run.probes) + " probes are there";
  return some(run.lacking, 6) + (run.lacking.empty() || run.meets.empty() ? "" : "; ") + some(run.meets, 6);
}

void add_runs(Form& form, const Respin& respin) {
  form.head("boards that run on it afterwards");
  form.table({"board", "runs", "because"});
  for (const RevisionRun& run : respin.runs)
    form.row(
        {run.revision + (run.variant.empty() ? "" : ", variant " + run.variant), yes_no(run.runs()), because(run)});
  form.end_table();
}
}  // namespace

std::string rework_html(const Outcome& outcome) {
  const Respin& respin = outcome.results.respin;
  Form form(outcome, "Rework of a fixture that stands");
  form.text("The fixture was last built or altered to plan " + respin.from_plan + " for " + respin.from_name +
            ". Before anything is cut, check that this number is engraved on its plates.");
  if (respin.steps.empty()) {
    form.text("Nothing has to be done. Every probe serves the new board where it stands.");
    return form.file();
  }
  if (outcome.results.release.state() != Release::ready)
    form.warning(outcome.results.release.verdict() +
                 ". Settle these before anything is cut. Its plates' files name all "
                 "of them.");
  form.warning(
      "Tips are sharp, and their springs can throw them: wear eye protection. Disconnect the fixture and its supplies "
      "from the mains and discharge them. Wear a wrist strap. Local codes and licensed practice come first.");
  if (!respin.laying.pins_stay)
    form.warning(
        "The tooling pins move, so every place is located anew. Prove the whole fixture with the check plates.");
  for (const PlateRework& rework : respin.plates) {
    if (rework.whole || !rework.touched()) continue;
    form.head(rework.plate.name);
    form.text(rework.plate.seen_from + ". " + rework.plate.datum + ".");
    form.picture(rework_drawing(outcome, rework));
  }
  add_steps(form, respin);
  add_costs(form, outcome);
  add_runs(form, respin);
  form.to_sign({"done by", "proved by", "released by", "date"});
  return form.file();
}

}  // namespace teasel
