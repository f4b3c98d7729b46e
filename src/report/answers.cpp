#include "teasel/report/answers.h"

#include <algorithm>
#include <cmath>
#include <map>

#include "teasel/fixture/hazards.h"
#include "teasel/fixture/orientation.h"
#include "teasel/words.h"
#include "text.h"

namespace teasel {

namespace {
/// "12.5 to 41 of a thousand", with the digits that they deserve.
std::string two_digits(double value) {
  if (!(value > 0)) return "0";
  const double magnitude = std::floor(std::log10(value));
  const int decimals = std::max(0, 1 - static_cast<int>(magnitude));
  const double step = std::pow(10, magnitude - 1);
  return short_number(std::round(value / step) * step, std::min(decimals, 4));
}
std::string thousands(double value) {
  std::string digits = short_number(std::round(value), 0);
  for (std::ptrdiff_t at = static_cast<std::ptrdiff_t>(digits.size()) - 3;
       at > 0 && digits[static_cast<std::size_t>(at) - 1] != '-'; at -= 3)
    digits.insert(static_cast<std::size_t>(at), ",");
  return digits;
}
class Answers {
 public:
  Answers(const Outcome& outcome, bool whole, const std::string& folder)
      : outcome_(outcome), whole_(whole), folder_(folder), plan_(chosen(outcome)) {}
  std::vector<Answer> run() {
    Answer programs = interfaces();  // decides the verdict as well
    verdict();
    if (whole_) fixture();
    probes();
    nets();
    out_.push_back(std::move(programs));
    supplies();
    missing();
    helps();
    if (whole_) before_drilling();
    if (whole_ || outcome_.results.mechanics.tips || outcome_.results.mechanics.not_held) bending();
    if (whole_) {
      money();
      rejects();
      safety();
    }
    files();
    return std::move(out_);
  }

 private:
  Answer& add(const char* title, std::string text, Tone tone = Tone::plain) {
    out_.push_back({title, {}, tone});
    if (!text.empty()) out_.back().lines.push_back(std::move(text));
    return out_.back();
  }

  void verdict() {
    const ReleaseStatus& release = outcome_.results.release;
    const Coverage& coverage = outcome_.results.coverage;
    std::string text;
    Tone tone = Tone::good;
    const std::size_t parts = outcome_.board.components.size();
    const auto bare = static_cast<std::size_t>(std::count_if(
        outcome_.board.components.begin(), outcome_.board.components.end(),
        [](const Component& part) { return part.fitted && !part.cover && !part.holes_only && part.features.empty(); }));
    if (2 * bare > parts) {
      text = "CHECK THE FILES. " + std::to_string(bare) + " of " + plural(parts, "part", "parts") +
             " have no pads, so they were not understood. ";
      tone = Tone::bad;
    } else if (coverage.wanted_nets == 0) {
      text = "NOTHING TO TEST. No net of the board is wanted. ";
      tone = Tone::bad;
    } else if (whole_ && release.state() == Release::do_not_drill) {
      text = "DO NOT DRILL. ";
      tone = Tone::bad;
    } else if (coverage.mandatory_unmet || !outcome_.results.audit.gate_failures.empty()) {
      text = coverage.mandatory_unmet ? "NOT TESTABLE AS ASKED. " : "GATE FAILED. ";
      tone = Tone::bad;
    } else if (not_programmable_) {
      text = "NOT PROGRAMMABLE through this bed. " + no_port_ + ". ";
      tone = Tone::bad;
    } else if (!whole_) {
      const bool all = coverage.met_nets == coverage.wanted_nets;
      text = all ? "Every net that the test wants is reached. " : "";
      tone = all ? Tone::good : Tone::careful;
    } else if (release.state() != Release::ready) {
      text = "DRAFT, nothing is open for drilling yet. ";
      tone = Tone::careful;
    } else {
      text = "Ready to drill, as far as the program can tell. ";
    }
    if (coverage.mandatory_unmet) {
      Few names(4);
      for (const CoverageRow& row : coverage.rows)
        if (outcome_.needs[row.need].mandatory && row.got < row.wanted) names.add(net_name(outcome_, row.need));
      text += plural(static_cast<std::size_t>(coverage.mandatory_unmet), "mandatory net is", "mandatory nets are") +
              " not reached as wanted: " + names.text() + ". ";
    } else if (!outcome_.results.audit.gate_failures.empty()) {
      text += capital(outcome_.results.audit.gate_failures.front()) + ". ";
    }
    if (whole_ && !release.reasons.empty())
      text += (not_programmable_ && release.state() == Release::draft ? "Draft: " : "") +
              capital(release.reasons.front().text) + ".";
    if (text.empty())
      text = std::to_string(coverage.met_nets) + " of " + std::to_string(coverage.wanted_nets) +
             " wanted nets are reached in full.";
    add("Verdict", text, tone);
  }

  /// What becomes of the fixture that stands.
  void fixture() {
    const Respin& respin = outcome_.results.respin;
    if (!respin.used) return;
    std::string counts;
    for (const Fate fate : {Fate::kept, Fate::worse, Fate::moved, Fate::lost, Fate::freed})
      if (respin.count(fate))
        counts += (counts.empty() ? "" : ", ") + std::to_string(respin.count(fate)) + " " + to_string(fate);
    Answer& answer = add("Fixture", respin.steps.empty()
                                        ? std::string("nothing has to be done to the fixture")
                                        : plural(respin.steps.size(), "step", "steps") + " of rework (rework.html), " +
                                              money_text(respin.rework) + "; a new one: " + money_text(respin.anew));
    answer.lines.push_back("its probes: " + counts + ", and " + plural(respin.fresh.size(), "new hole", "new holes") +
                           (respin.laying.pins_stay ? "; both pins stay" : "; THE TOOLING PINS MOVE") +
                           (respin.changes.empty()
                                ? "; the board: no change"
                                : "; the board: " + plural(respin.changes.size(), "change", "changes")));
    answer.tone = respin.laying.pins_stay ? Tone::plain : Tone::bad;
  }

  void probes() {
    int side[2] = {0, 0};
    for (const PlacedProbe& probe : plan_.probes)
      ++side[outcome_.access.targets[probe.target].side == Side::top ? 1 : 0];
    const bool both = side[0] > 0 && side[1] > 0;
    add("Probes", std::to_string(plan_.probes.size()) + " probes" +
                      (both ? ": " + std::to_string(side[0]) + " on the bottom side, " + std::to_string(side[1]) +
                                  " on the top side; "
                            : std::string("; ")) +
                      plan_.option.name() + ", " +
                      short_number(sum_of_forces(outcome_.access, outcome_.catalogue, outcome_.rules, plan_).v, 0) +
                      " N in all");
  }

  void nets() {
    const Coverage& coverage = outcome_.results.coverage;
    add("Nets",
        std::to_string(coverage.met_nets) + " of " + std::to_string(coverage.wanted_nets) + " wanted" +
            of_the_panel(outcome_) + " in full" +
            (coverage.wanted_nets
                 ? " (" + fixed(std::floor(1000.0 * coverage.met_nets / coverage.wanted_nets + 1e-9) / 10, 1) + " %)"
                 : std::string()) +
            ", " + std::to_string(coverage.partial_nets) + " in part, " + std::to_string(coverage.unmet_nets) +
            " not reached",
        coverage.unmet_nets + coverage.partial_nets || !coverage.wanted_nets ? Tone::careful : Tone::good);
    // By name, the mandatory ones first.
    Few names(8);
    for (const bool mandatory : {true, false})
      for (const CoverageRow& row : coverage.rows)
        if (row.status == "unmet" && outcome_.needs[row.need].mandatory == mandatory)
          names.add(net_name(outcome_, row.need).text());
    if (names.count()) out_.back().lines.push_back("missing: " + names.text() + "; coverage.csv");
  }

  /// Each interface with yes or no; those by which the board is programmed first.
  Answer interfaces() {
    struct Row {
      bool programs, usable;
      std::string text;
    };
    std::vector<Row> rows;
    bool can = false, any = false;
    Few pieces(3);
    for (const InterfaceReach& reach : outcome_.results.audit.interfaces) {
      const FoundInterface& found = outcome_.interfaces.found[reach.found];
      const InterfaceKind& kind = outcome_.interface_table.kinds[found.kind];
      if (found.fragment && found.programs) pieces.add(found.name);
      if (found.fragment || kind.single || kind.role == Role::do_not_touch) continue;
      const std::string place = reach.place ? outcome_.board.places[reach.place].name + ":" : std::string();
      std::string text = place + found.name + (reach.usable ? ": yes" : ": NO");
      if (!reach.usable && !reach.lacking.empty()) {
        constexpr std::size_t kNamed = 2;
        text += ", lacking ";
        for (std::size_t i = 0; i < std::min(kNamed, reach.lacking.size()); ++i)
          text += (i ? "; " : "") + reach.lacking[i];
        if (reach.lacking.size() > kNamed) text += " and " + std::to_string(reach.lacking.size() - kNamed) + " more";
      }
      if (found.programs) {
        // A port of which the board lacks a line is perhaps none.
        if (found.missing.empty()) {
          any = true;
          if (!reach.usable && no_port_.empty()) no_port_ = text;
        }
        can = can || reach.usable;
        text += reach.usable ? ", can program" : ", would program";
      }
      rows.push_back({found.programs, reach.usable, std::move(text)});
    }
    not_programmable_ = any && !can;
    std::stable_sort(rows.begin(), rows.end(), [](const Row& a, const Row& b) {
      if (a.programs != b.programs) return a.programs;
      return !a.usable && b.usable;
    });
    Answer answer{"Interfaces", {}, Tone::good};
    if (std::none_of(rows.begin(), rows.end(), [](const Row& row) { return row.programs; })) {
      answer.tone = Tone::careful;
      answer.lines.push_back("programming: no complete port was recognised by names or pins" +
                             (pieces.count() ? ", only lines of " + pieces.text() : std::string()) +
                             "; [[interface]] names one");
    }
    constexpr std::size_t kShown = 3;
    std::size_t yes = 0, no = 0;
    for (std::size_t i = 0; i < rows.size(); ++i) {
      if (!rows[i].usable) answer.tone = rows[i].programs ? Tone::bad : std::max(answer.tone, Tone::careful);
      if (i < kShown || rows.size() == kShown + 1)
        answer.lines.push_back(rows[i].text);
      else
        ++(rows[i].usable ? yes : no);
    }
    if (yes + no)
      answer.lines.push_back("and " + std::to_string(yes + no) + " more: " + std::to_string(yes) + " yes, " +
                             std::to_string(no) + " no; interfaces.csv");
    if (can) answer.tone = std::min(answer.tone, Tone::careful);
    return answer;
  }

  void supplies() {
    std::size_t all = 0, fed = 0;
    Few lacking(4);
    for (const SupplyReach& supply : outcome_.results.audit.supplies) {
      if (need_of(outcome_, supply.net).wanted <= 0) continue;
      ++all;
      if (supply.enough())
        ++fed;
      else
        lacking.add(outcome_.board.nets[supply.net].name.text() +
                    (supply.wanted > Amperes{} ? " (" + short_number(carried(outcome_, supply), 2) + " of " +
                                                     short_number(supply.wanted, 2) + " A)"
                                               : ""));
    }
    if (!all)
      add("Supplies", "none recognised");
    else if (fed == all)
      add("Supplies", "yes: all " + std::to_string(all) + " reached", Tone::good);
    else
      add("Supplies",
          "NO: " + std::to_string(all - fed) + " of " + std::to_string(all) +
              " not reached, or not with the current asked: " + lacking.text(),
          Tone::bad);
  }

  /// Why nets are not reached, the most frequent first.
  void missing() {
    std::map<std::string, std::size_t> count;
    std::size_t scanned = 0, nets = 0;
    for (const CoverageRow& row : outcome_.results.coverage.rows) {
      if (row.got >= row.wanted || (row.status != "unmet" && row.status != "partial")) continue;
      ++nets;
      if (outcome_.scan.needs_no_probe(outcome_.board.base_net(outcome_.needs[row.need].net))) ++scanned;
      // The blocked targets' reasons, each once for a net.
      const std::size_t list = row.reason.find("blocked: ");
      if (list == std::string::npos) {
        ++count[row.reason.substr(0, row.reason.find_first_of(":;("))];
        continue;
      }
      std::size_t from = list + 9;
      while (from < row.reason.size()) {
        const std::size_t end = std::min(row.reason.find(" (", from), row.reason.size());
        ++count[row.reason.substr(from, end - from)];
        const std::size_t next = row.reason.find("; ", end);
        if (next == std::string::npos) break;
        from = next + 2;
      }
    }
    if (count.empty()) return;
    std::vector<std::pair<std::size_t, std::string>> order;
    for (const auto& [reason, number] : count) order.emplace_back(number, reason);
    std::stable_sort(order.begin(), order.end(), [](const auto& a, const auto& b) { return a.first > b.first; });
    Few text(4);
    for (const auto& [number, reason] : order) text.add(reason + " " + std::to_string(number));
    add("Why not",
        "nets by what closes their targets: " + text.text() +
            (scanned ? "; boundary scan tests " + std::to_string(scanned) + " of these " + std::to_string(nets)
                     : std::string()));
  }

  /// The change to the layout that serves most nets for its price, and what the shop could relax.
  void helps() {
    struct Kind {
      std::size_t nets = 0;
      const Advice* first = nullptr;
    };
    std::map<AdviceKind, Kind> kinds;
    NeedId last;
    for (const Advice& advice : outcome_.results.advice) {
      if (advice.need == last || advice.kind == AdviceKind::relax_rule) continue;
      last = advice.need;
      Kind& kind = kinds[advice.kind];
      if (kind.nets++ == 0 || advice.gain > kind.first->gain) kind.first = &advice;
    }
    std::vector<std::string> lines;
    const auto most = std::max_element(kinds.begin(), kinds.end(),
                                       [](const auto& a, const auto& b) { return a.second.nets < b.second.nets; });
    if (most != kinds.end()) {
      const Advice& one = *most->second.first;
      lines.push_back("layout: " + std::string(to_string(most->first)) + " serves " +
                      plural(most->second.nets, "net", "nets") + ", such as " + net_name(outcome_, one.need).text() +
                      " (" + one.action + "); advice.csv");
    }
    if (!outcome_.plan.remedies.empty()) {
      const Remedy& remedy = outcome_.plan.remedies.front();
      lines.push_back("plan: " + net_name(outcome_, remedy.need).text() + ", " + remedy.what +
                      (remedy.extra > Cents{} ? ", for " + money_text(remedy.extra) : std::string(", at no cost")));
    }
    if (lines.empty() && !outcome_.results.coverage.relaxations.empty()) {
      const Relaxation& relaxation = outcome_.results.coverage.relaxations.front();
      lines.push_back("shop: the rule for " + std::string(to_string(relaxation.reason)) + " alone keeps " +
                      plural(static_cast<std::size_t>(relaxation.nets), "net", "nets") + " closed; nearly-open.csv");
    }
    if (lines.empty()) return;
    add("Helps most", {}).lines = std::move(lines);
  }

  void before_drilling() {
    std::vector<std::string> lines;
    const auto& reasons = outcome_.results.release.reasons;
    const auto& measure = outcome_.results.coverage.measure_first;
    if (!measure.empty()) {
      Few parts(3, "; ");
      for (const MeasureFirst& one : measure)
        parts.add(outcome_.board.components[one.component].name.plain() + " (" + one.what + ")");
      lines.push_back("measure " + plural(measure.size(), "part", "parts") + ": " + parts.text());
    }
    if (reasons.size() > 1)
      lines.push_back(capital(reasons[1].text) +
                      (reasons.size() > 2 ? "; " + plural(reasons.size() - 2, "further reason", "further reasons") +
                                                " in first-article.html"
                                          : std::string()));
    if (!lines.empty()) add("To do first", {}, Tone::careful).lines = std::move(lines);
  }

  void bending() {
    const Mechanics& mechanics = outcome_.results.mechanics;
    if (!mechanics.used && !mechanics.not_held) {
      add("Bending", "not worked out: " + mechanics.why_not, Tone::careful);
      return;
    }
    std::string text;
    Tone tone = Tone::good;
    if (mechanics.not_held || mechanics.tips) {
      text = mechanics.tips ? "the probes turn the board over what holds it" : mechanics.why_not;
      tone = Tone::bad;
    } else if (mechanics.over) {
      text = strain_text(mechanics.over->strain) + " of " + short_number(mechanics.over->limit.v, 0) +
             " microstrain at " + outcome_.board.components[mechanics.over->component].name.text() + ", flat board, " +
             mechanics.over->moment;
      tone = Tone::bad;
    } else if (!mechanics.flat_holds) {
      text = plural(mechanics.lost.size(), "probe leaves", "probes leave") + " the window of travel on a flat board";
      tone = Tone::bad;
    } else {
      const auto percent = [](double share) { return short_number(100 * share, 2) + " %"; };
      text = "a flat board holds in every moment, " + strain_text(mechanics.flat_strain) + " microstrain at most; ";
      if (mechanics.limits_hold)
        text += "so does one bowed or twisted by " + percent(mechanics.bow.allowed);
      else if (mechanics.bow.tolerated > 0)
        text += "so does one bowed or twisted by " + percent(mechanics.bow.tolerated) + ", of the " +
                percent(mechanics.bow.allowed) + " that are allowed";
      else
        text += "one that is bowed or twisted does not";
      tone = mechanics.limits_hold ? Tone::good : Tone::careful;
    }
    for (const TriedChange& change : mechanics.tried)
      if (change.holds()) {
        text += ". It would hold: " + change.what;
        break;
      }
    add("Bending", text, tone);
  }

  std::string money_text(Cents cents) const { return thousands(cents.units()) + " " + outcome_.prices.currency; }

  void money() {
    const CostComparison& costs = outcome_.results.cost;
    for (const BedCost& bed : costs.beds) {
      if (bed.option != outcome_.plan.chosen) continue;
      // What decides comes first: a narrow terminal leaves out the end.
      std::string text = money_text(bed.build) + " to build";
      if (costs.flying.sides > 0)
        text += bed.break_even ? "; a flying probe is cheaper up to " + thousands(*bed.break_even) + " boards (" +
                                     (bed.even_least ? thousands(*bed.even_least) : "?") + " to " +
                                     (bed.even_most ? thousands(*bed.even_most) : "any number") + ")"
                               : std::string("; a flying probe stays cheaper");
      text += "; " + short_number(bed.per_board.v, 2) + " and " + short_number(bed.time, 0) + " s a board";
      add("Money", text);
    }
  }

  void rejects() {
    const FaultOdds faults = faults_of(outcome_);
    const BedOdds& bed = outcome_.results.bed;
    const double misses = bed.fixtures > 0 ? bed.false_reject.value : bed.sum_of_misses;
    add("Rejects", two_digits(1000 * (misses + faults.low)) + " to " + two_digits(1000 * (misses + faults.high)) +
                       " of a thousand good " + touched_at_once(outcome_) +
                       (faults.counted ? ", by your own count" : ", by figures from memory") +
                       "; bed to be reworked: " +
                       (bed.fixtures > 0 ? std::to_string(std::lround(bed.rework.value * bed.fixtures)) + " of " +
                                               std::to_string(bed.fixtures) + " simulated"
                                         : std::string("not simulated")));
  }

  void safety() {
    std::vector<std::string> parts;
    Tone tone = Tone::good;
    const auto open = ways_left_open(outcome_.board, outcome_.rules, outcome_.results.plates);
    if (!open.empty()) {
      parts.push_back("the board also goes on in " + plural(open.size(), "wrong way", "wrong ways"));
      tone = Tone::bad;
    } else {
      parts.emplace_back(outcome_.board.tooling.size() < 2 ? "no pins locate the board"
                                                           : "the board goes on the pins one way only");
      if (outcome_.board.tooling.size() < 2) tone = Tone::careful;
    }
    std::size_t doubts = 0;
    for (const PlacedProbe& probe : plan_.probes)
      doubts += outcome_.needs[probe.need].doubt == Need::Doubt::perhaps_feed ||
                outcome_.needs[probe.need].doubt == Need::Doubt::above_logic;
    if (doubts) {
      parts.push_back(plural(doubts, "probe may carry", "probes may carry") +
                      " a feed or more volts than its wire bears");
      tone = Tone::bad;
    }
    const Hazards hazards = hazards_of(outcome_.board, outcome_.needs, outcome_.interfaces, outcome_.interface_table);
    if (!hazards.cells.empty()) parts.emplace_back("take the cell out before clamping");
    if (!hazards.high_voltage.empty()) parts.push_back("dangerous voltage: " + hazards.high_voltage.front());
    std::string text;
    for (const std::string& part : parts) text += (text.empty() ? "" : "; ") + part;
    add("Safety", text + "; safety.html", tone);
  }

  void files() {
    if (folder_.empty()) {
      add("More", "with -o DIR lists are written; -v prints all of it");
      return;
    }
    if (!whole_) {
      add("Files",
          folder_ + "/: layout advice.csv, blocked.csv; test coverage.csv, interfaces.csv; all of it details.txt");
      return;
    }
    Answer& answer = add("Files", {});
    answer.lines.push_back("shop plates/, drawings.pdf, materials.csv; builder assembly.html; wirer wiring.html");
    answer.lines.push_back("test adapters.html, verify.csv; layout advice.csv; line safety.html");
    add("Look at", folder_ + "/report.html" + (outcome_.plan_id.empty() ? "" : ", plan id " + outcome_.plan_id) +
                       "; all figures: details.txt, or -v");
  }

  const Outcome& outcome_;
  bool whole_;
  const std::string& folder_;
  const OptionResult& plan_;
  bool not_programmable_ = false;
  std::string no_port_;  ///< the first port that cannot be used, and what it lacks
  std::vector<Answer> out_;
};

/// Rows that an answer may take at most, where there is little room.
std::size_t most_rows(const Answer& answer) {
  if (answer.title == "Interfaces") return 4;
  if (answer.title == "Verdict" || answer.title == "Bending") return 3;
  if (answer.title == "To do first" || answer.title == "Supplies" || answer.title == "Why not" ||
      answer.title == "Helps most" || answer.title == "Files" || answer.title == "Fixture" || answer.title == "Nets")
    return 2;
  return 1;
}

void shorten(std::string& row, std::size_t width) {
  constexpr std::string_view kMore = " ...";
  while (row.size() + kMore.size() > width && row.find(' ') != std::string::npos) row.resize(row.rfind(' '));
  row = std::string(first_bytes(row, width - kMore.size())) + std::string(kMore);
}
}  // namespace

std::vector<Answer> answers(const Outcome& outcome, bool whole, const std::string& folder) {
  return Answers(outcome, whole, folder).run();
}

namespace {
/// An answer broken into rows.
struct Broken {
  std::vector<std::string> rows;
  std::vector<std::size_t> begins;  ///< of each line
  std::size_t most = 1;             ///< rows that it gets
};

Broken broken(const Answer& answer, std::size_t width) {
  Broken out;
  for (const std::string& line : answer.lines) {
    out.begins.push_back(out.rows.size());
    for (std::string& row : wrapped(line, width)) out.rows.push_back(std::move(row));
  }
  out.most = std::min(most_rows(answer), out.rows.size());
  return out;
}

/// The rows that it gets: of several lines each keeps its first row before one has a second.
std::vector<std::string> fitted(const Broken& whole, std::size_t width) {
  std::vector<std::string> out = whole.rows;
  const std::size_t lines = whole.begins.size();
  if (out.size() <= whole.most) return out;
  if (lines < 2 || lines > whole.most) {
    out.resize(whole.most);
    shorten(out.back(), width);
    return out;
  }
  out.clear();
  std::size_t spare = whole.most - lines;
  for (std::size_t k = 0; k < lines; ++k) {
    const std::size_t from = whole.begins[k], end = k + 1 < lines ? whole.begins[k + 1] : whole.rows.size();
    const std::size_t shown = std::min(end - from, 1 + spare);
    spare -= shown - 1;
    for (std::size_t row = from; row < from + shown; ++row) out.push_back(whole.rows[row]);
    if (shown < end - from) shorten(out.back(), width);
  }
  return out;
}
}  // namespace

std::vector<AnswerRow> answer_rows(const std::vector<Answer>& answers) {
  constexpr std::size_t kWidth = kAnswerColumns - kAnswerTitle;
  std::vector<Broken> all;
  std::size_t used = 0;
  for (const Answer& answer : answers) {
    all.push_back(broken(answer, kWidth));
    used += all.back().most;
  }
  // Each answer keeps one row; the longest gives way first.
  while (used > kAnswerRows) {
    const auto longest =
        std::max_element(all.begin(), all.end(), [](const Broken& a, const Broken& b) { return a.most < b.most; });
    if (longest->most <= 1) break;
    --longest->most;
    --used;
  }
  // What is left goes to those that were cut, one row after the other; figures before words.
  for (const char* title : {"Money", "Rejects", "Safety", "Bending", "Verdict", "Helps most", "To do first", "Probes",
                            "Interfaces", "Files", "Supplies"})
    for (std::size_t i = 0; i < answers.size(); ++i)
      if (answers[i].title == title && all[i].most < all[i].rows.size() && used < kAnswerRows) {
        ++all[i].most;
        ++used;
      }
  std::vector<AnswerRow> out;
  for (std::size_t i = 0; i < answers.size(); ++i) {
    std::vector<std::string> rows = fitted(all[i], kWidth);
    for (std::size_t k = 0; k < rows.size() && out.size() < kAnswerRows; ++k) {
      if (rows[k].size() > kWidth) shorten(rows[k], kWidth);
      out.push_back({k ? std::string() : answers[i].title, std::move(rows[k]), answers[i].tone});
    }
  }
  return out;
}

}  // namespace teasel
