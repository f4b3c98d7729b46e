// report.html: one self-contained page. The verdict first, then the numbers, then the board, then the lists.
#include <algorithm>
#include <functional>
#include <map>
#include <utility>

#include "pack.h"
#include "page_data.h"
#include "teasel/report/answers.h"
#include "teasel/words.h"
#include "text.h"

namespace teasel {

extern const char* const kPageStyle;  // made from the files in page/
extern const char* const kPageScript;
extern const char* const kLiveStyle;
extern const char* const kLiveScript;
extern const char* const kFirstScript;

namespace {
constexpr const char* kWorkspace =
    R"(<div class=work><div class=stage>)"
    R"(<div id=controls role=toolbar aria-label="View of the board"></div>)"
    R"(<div id=sides><span id=side role=status></span><canvas id=board tabindex=0 role=img )"
    R"(aria-label="Drawing of the board: arrows move, plus and minus zoom, 0 shows all, f flips, r turns">)"
    R"(</canvas></div><div id=reading><span id=under role=status></span><span id=where></span></div>)"
    R"(<div id=legend tabindex=0 role=group aria-label="Symbols"></div></div>
<aside aria-label="What is known"><div class=find>)"
    R"(<label>Find a net, part, pad or probe <input type=search id=search role=combobox )"
    R"(aria-expanded=false aria-controls=suggest aria-autocomplete=list autocomplete=off spellcheck=false>)"
    R"(</label><ul id=suggest role=listbox aria-label="Names that fit" hidden></ul></div>)"
    R"(<div id=about aria-live=polite><p>Reading the page's data ...</p><noscript>)"
    R"(<p>The board and the lists need a browser that runs scripts; )"
    R"(everything is in the CSV and SVG files beside this page as well.</p>)"
    R"(</noscript></div></aside>
<section id=lists aria-label="Lists"></section></div>
<h2 class=charts>Charts</h2>
<div id=charts></div>
)";
/// What a live page has besides.
constexpr const char* kLiveWorkspace =
    R"(<div id=bar role=toolbar aria-label="The job"><b id=file></b>)"
    R"(<button id=do-undo disabled>Undo</button><button id=do-redo disabled>Redo</button>)"
    R"(<button id=do-save disabled>Save</button><button id=do-again>Read again</button>)"
    R"(<details id=lines hidden><summary>Lines that are not saved</summary><pre tabindex=0></pre></details>)"
    R"(<span id=saying role=status></span><progress id=progress max=1 hidden aria-label="Working">)"
    R"(</progress></div>
<div id=findings role=alert hidden></div>
<section id=effect aria-label="What the last change did" hidden></section>
)";

Markup tone_name(Tone tone) {
  switch (tone) {
    case Tone::good: return "good";
    case Tone::careful: return "careful";
    case Tone::bad: return "bad";
    case Tone::plain: break;
  }
  return "plain";
}

class ReportPage {
 public:
  ReportPage(const Outcome& outcome, const std::map<std::string, std::string>& rendered)
      : outcome_(outcome), rendered_(rendered) {}
  std::string run();
  PageParts parts();

 private:
  void head();
  void rest();
  void part(const char* readers, const std::function<void()>& write);
  void cautions_list();
  void inputs();
  void understood();
  void number(const std::string& value, const std::string& what) {
    html_ += "<div class=num><b>" + escaped(value) + "</b><span>" + escaped(what) + "</span></div>\n";
  }
  void rail(const std::vector<Answer>& list);
  [[nodiscard]] long assumed_probes() const;  ///< probes that rest on an assumed height or side of a part
  void numbers();
  void options();
  void warnings();
  void facts();
  void respin();
  void drafts();
  void bending();
  void measure();
  void bullets(const char* id, const std::string& title, const std::vector<std::string>& lines);
  void odds();
  void waivers();
  void audit();
  void cost();
  void nearly_open();
  const Outcome& outcome_;
  const std::map<std::string, std::string>& rendered_;
  bool beside_files_ = false;  ///< the files of the plan lie beside the page
  Markup html_;
};

/// Names of files become links to what lies beside the page.
Markup with_links(const std::string& text) {
  Markup out;
  for (std::size_t from = 0; from < text.size();) {
    const std::size_t to = std::min(text.find_first_of(" ,;", from), text.size());
    const std::string word = text.substr(from, to - from);
    const bool file = word.find('.') != std::string::npos || (word.size() > 1 && word.back() == '/');
    out += file ? "<a href=\"" + escaped(word) + "\">" + escaped(word) + "</a>" : escaped(word);
    const std::size_t next = std::min(text.find_first_not_of(" ,;", to), text.size());
    out += escaped(text.substr(to, next - to));
    from = next;
  }
  return out;
}

/// What is asked first, beside the board; each answer leads to where all of it stands.
void ReportPage::rail(const std::vector<Answer>& list) {
  const char* reasons = "options";
  if (const auto& of_release = outcome_.results.release.reasons; !of_release.empty())
    reasons = of_release.front().forbids == Release::do_not_drill ? "reasons" : "drafts";
  const std::map<std::string, const char*> where_is = {{"Verdict", reasons},
                                                       {"Probes", "options"},
                                                       {"Nets", "list=coverage.csv"},
                                                       {"Interfaces", "list=interfaces.csv"},
                                                       {"Supplies", "list=supplies.csv"},
                                                       {"Why not", "list=coverage.csv&rows=unmet&by=reason"},
                                                       {"Helps most", "list=advice.csv&by=action"},
                                                       {"To do first", "first"},
                                                       {"Bending", "bending"},
                                                       {"Money", "cost"},
                                                       {"Rejects", "odds"},
                                                       {"Safety", "cautions"},
                                                       {"Fixture", "fixture"}};
  html_ += "<section class=rail aria-label=\"Answers\"><dl class=verdict>\n";
  for (const Answer& answer : list) {
    if (answer.title == "More" || answer.title == "Look at") continue;
    const auto where = where_is.find(answer.title);
    html_ +=
        "<dt>" +
        (where == where_is.end() ? escaped(answer.title)
                                 : "<a href=\"#" + Markup(where->second) + "\">" + escaped(answer.title) + "</a>") +
        "</dt><dd class=" + tone_name(answer.tone) + ">";
    for (std::size_t i = 0; i < answer.lines.size(); ++i)
      html_ += (i ? Markup("<br>") : Markup()) +
               (answer.title == "Files" ? with_links(answer.lines[i]) : escaped(answer.lines[i]));
    html_ += "</dd>\n";
  }
  html_ += "</dl></section>\n";
}

long ReportPage::assumed_probes() const {
  const auto& assumptions = outcome_.results.coverage.probe_assumptions;
  return std::count_if(assumptions.begin(), assumptions.end(), [](const auto& of_probe) { return !of_probe.empty(); });
}

void ReportPage::numbers() {
  const auto& plan = chosen(outcome_);
  const auto& coverage = outcome_.results.coverage;
  html_ += "<div class=grid>\n";
  number(std::to_string(coverage.met_nets) + " / " + std::to_string(coverage.wanted_nets),
         "wanted nets" + of_the_panel(outcome_) + " served in full");
  number(std::to_string(coverage.partial_nets), "served in part");
  number(std::to_string(coverage.unmet_nets), "not reached");
  number(std::to_string(plan.probes.size()), "probes");
  number(fixed(sum_of_forces(outcome_.access, outcome_.catalogue, outcome_.rules, plan).v, 1) + " N",
         "sum of working forces");
  const BedOdds& bed = outcome_.results.bed;
  if (bed.fixtures > 0) {
    number(bed.rework.value > 0 ? spoken(bed.rework.value) : spoken_bound(bed.rework.high),
           "chance that the built fixture needs rework");
  } else {
    number(spoken(bed.sum_of_misses), "chance that a touch misses anywhere, at most");
  }
  const FaultOdds faults = faults_of(outcome_);
  const double misses = bed.fixtures > 0 ? bed.false_reject.value : bed.sum_of_misses;
  number(short_number(1000 * (misses + faults.low), 2) + " to " + short_number(1000 * (misses + faults.high), 2),
         "of a thousand good " + std::string(touched_at_once(outcome_)) + " rejected, misses and contact faults (95 %" +
             (faults.counted ? ", your own count in it" : ", figures from memory") + "); touched twice " +
             short_number(1000 * (misses + faults.likely * faults.likely), 2));
  number(std::to_string(assumed_probes()), "probes that rest on an assumed part height or side");
  number(plan.proven ? "proven" : "unproven", "optimality of the plan");
  html_ += "</div>\n";
}

void ReportPage::options() {
  const auto& plan = chosen(outcome_);
  html_ +=
      "<h2 id=options>Ways to build it</h2>\n<table><thead><tr><th scope=col>bed</th><th scope=col>probes</th><th "
      "scope=col>nets "
      "in full</th><th scope=col>objective</th><th scope=col>for beds</th><th scope=col>for probes and odds</th><th "
      "scope=col>for nets that lack probes</th><th scope=col>proof</th></tr></thead><tbody>\n";
  for (const auto& option : outcome_.plan.options) {
    html_ += "<tr><td>" + escaped(option.option.name()) + (&option == &plan ? " <b>(chosen)</b>" : "") + "</td>";
    for (const std::string& cell :
         {std::to_string(option.probes.size()), std::to_string(nets_met(outcome_.needs, option)), money(option.total()),
          money(option.cost.beds), money(option.cost.probes.total() + option.cost.mates + option.cost.wishes),
          money(option.cost.unmet), option.proven ? "optimal" : "bound " + money(option.bound)})
      html_ += "<td>" + escaped(cell) + "</td>";
    html_ += "</tr>\n";
  }
  html_ +=
      "</tbody></table>\n<p class=soft>The objective is what the plan minimises, in the money units of the rule file. "
      "A net without its probes is counted as expensive. The objective compares plans; it is not a quotation.</p>\n";
}

void ReportPage::odds() {
  html_ += "<h2 id=odds>Odds of the bed</h2>\n<ul>\n";
  for (const auto& line : bed_lines(outcome_)) html_ += "<li>" + escaped(line) + "</li>\n";
  html_ += "</ul>\n";
  // Where no probe misses more often than is claimed at all, halving says nothing.
  if (!outcome_.results.sensitivity.empty() &&
      outcome_.results.sensitivity[0].now >
          1.5 * kLeastChance.v * static_cast<double>(chosen(outcome_).probes.size())) {
    html_ +=
        "<table><thead><tr><th scope=col>position error</th><th scope=col>drawn anew</th><th scope=col>sum of single "
        "misses</th><th scope=col>if it were halved</th></tr></thead><tbody>\n";
    for (const Sensitivity& sensitivity : outcome_.results.sensitivity)
      html_ += "<tr><td>" + Markup(to_string(sensitivity.source)) + (is_shared(sensitivity.source) ? " (shared)" : "") +
               "</td><td>" + to_string(time_of(sensitivity.source)) + "</td><td>" + escaped(chance(sensitivity.now)) +
               "</td><td>" + escaped(chance(sensitivity.halved)) + "</td></tr>\n";
    html_ += "</tbody></table>\n";
  }
}

void ReportPage::waivers() {
  if (outcome_.results.coverage.waived.empty()) return;
  html_ += "<h2>Probes that stand on waivers</h2>\n<ul>\n";
  for (const WaivedProbe& waived : outcome_.results.coverage.waived) {
    const PlacedProbe& probe = chosen(outcome_).probes[waived.probe];
    html_ += "<li><b>" + escaped(probe.name) + "</b> " +
             escaped(net_name(outcome_, probe.need) + ": " + sentence(waived.shortfall, outcome_.board, outcome_.job)) +
             "</li>\n";
  }
  html_ += "</ul>\n";
}

void ReportPage::audit() {
  html_ += "<h2 id=audit>Audit</h2>\n<ul>\n";
  for (const auto& line : audit_lines(outcome_))
    html_ +=
        "<li" +
        Markup(line.rfind("GATE FAILED", 0) == 0 || line.find("NOT usable") != std::string::npos ? " class=bad" : "") +
        ">" + escaped(line) + "</li>\n";
  html_ += "</ul>\n";
}

void ReportPage::nearly_open() {
  if (outcome_.results.coverage.relaxations.empty()) return;
  html_ +=
      "<h2 id=near>What one rule keeps closed</h2>\n<p>Nets that are not fully served and would get a target if only "
      "this rule "
      "were relaxed. Spacing to other probes is not considered.</p>\n<table><thead><tr><th "
      "scope=col>rule</th><th scope=col>nets</th><th scope=col>of them mandatory</th><th scope=col>without any probe "
      "now</th><th scope=col>half of them by</th><th scope=col>all by</th></tr></thead><tbody>\n";
  for (const Relaxation& relaxation : outcome_.results.coverage.relaxations)
    html_ += "<tr><td>" + Markup(to_string(relaxation.reason)) + "</td><td>" + Xml::whole(relaxation.nets) +
             "</td><td>" + Xml::whole(relaxation.mandatory) + "</td><td>" + Xml::whole(relaxation.nets_without) +
             "</td><td>" + escaped(given_up(relaxation, relaxation.half)) + "</td><td>" +
             escaped(given_up(relaxation, relaxation.all)) + "</td></tr>\n";
  html_ += "</tbody></table>\n";
}

void ReportPage::cost() {
  if (outcome_.results.cost.beds.empty()) return;
  const auto lines = cost_lines(outcome_);
  html_ +=
      "<h2 id=cost>Cost</h2>\n<div class=chart role=img aria-label=\"Cost of the ways to test over the number of "
      "boards\">" +
      cost_drawing(outcome_) + "</div>\n<p class=soft>" + escaped(lines[0]) + "</p>\n<ul>\n";
  for (std::size_t i = 1; i < lines.size(); ++i) html_ += "<li>" + escaped(lines[i]) + "</li>\n";
  html_ += "</ul>\n";
}

void ReportPage::bullets(const char* id, const std::string& title, const std::vector<std::string>& lines) {
  if (lines.empty()) return;
  html_ += "<h2 id=" + Markup(id) + ">" + escaped(title) + "</h2>\n<ul>\n";
  for (const auto& line : lines) html_ += "<li>" + escaped(line) + "</li>\n";
  html_ += "</ul>\n";
}

void ReportPage::respin() {
  bullets("fixture", "The fixture that stands", respin_lines(outcome_));
}
void ReportPage::bending() {
  bullets("bending", "Bending", mechanics_lines(outcome_));
}
void ReportPage::drafts() {
  for (const auto& [forbids, title] : {std::pair(Release::do_not_drill, "Do not drill, because"),
                                       std::pair(Release::draft, "The plan is a draft, because")}) {
    std::vector<std::string> lines;
    for (const ReleaseReason& reason : outcome_.results.release.reasons)
      if (reason.forbids == forbids) lines.push_back((reason.plate.empty() ? "" : reason.plate + ": ") + reason.text);
    bullets(forbids == Release::do_not_drill ? "reasons" : "drafts", title, lines);
  }
}

void ReportPage::measure() {
  const auto& list = outcome_.results.coverage.measure_first;
  if (list.empty()) {
    html_ +=
        "<h2 id=first>Measure these first</h2>\n<p>Nothing. No probe and no pocket rests on an assumed part height or "
        "side.</p>\n";
    return;
  }
  html_ +=
      "<h2 id=first>Measure these first</h2>\n<p>These facts about parts are assumed. If one is wrong, the probes "
      "named beside "
      "it are lost. Where no probe is named, a pocket is milled by it.</p>\n<table><thead><tr><th "
      "scope=col>part</th><th "
      "scope=col>assumed</th><th scope=col>probes</th></tr></thead><tbody>\n";
  for (std::size_t i = 0; i < list.size() && i < 10; ++i) {
    std::string probes;
    for (const auto& probe : list[i].probes) probes += (probes.empty() ? "" : " ") + probe;
    html_ += "<tr><td>" + escaped(outcome_.board.components[list[i].component].name) + "</td><td>" +
             escaped(list[i].what) + "</td><td>" + escaped(probes) + "</td></tr>\n";
  }
  html_ += "</tbody></table>\n";
}

void ReportPage::head() {
  const std::vector<Answer> list = answers(outcome_, true, beside_files_ ? "." : "");
  const Answer& first = list.front();
  const std::string& text = first.lines.front();
  // The verdict in a few words: its first clause.
  const std::string verdict_text = text.substr(0, std::min(text.find_first_of(".,"), text.size()));
  html_ += "<header class=top><h1>" + escaped(outcome_.board.name.empty() ? "Board" : outcome_.board.name) +
           escaped(outcome_.board.revision.empty() ? "" : ", revision " + outcome_.board.revision) +
           "</h1><b class=\"chip " + tone_name(first.tone) + "\">" + escaped(verdict_text) +
           "</b><span class=soft>fixture plan " + escaped(outcome_.plan_id) + "</span></header>\n";
  rail(list);
}

void ReportPage::warnings() {
  std::vector<std::string> lines;
  for (const Finding& finding : outcome_.diagnostics.all())
    if (finding.severity == Severity::warning)
      lines.push_back(finding.message + (finding.found.empty() ? "" : ": " + finding.found) +
                      (finding.remedy.empty() ? "" : ". " + finding.remedy));
  bullets("warnings", "Warnings", lines);
}

/// What the plan rests on, and what confirms it.
void ReportPage::facts() {
  html_ +=
      "<h2>What confirms the files</h2>\n<table><thead><tr><th scope=col>fact</th><th scope=col>taken from</th>"
      "<th scope=col>confirmed by</th><th scope=col>against it, or left open</th></tr></thead><tbody>\n";
  for (const Fact& fact : outcome_.board.facts) {
    html_ += "<tr><td>" + escaped(fact.what) + "</td><td>" + escaped(fact.from) + "</td><td>";
    if (!fact.proven()) html_ += "<b>nothing in the release</b>";
    for (std::size_t i = 0; i < fact.witnesses.size(); ++i) html_ += Markup(i ? "; " : "") + escaped(fact.witnesses[i]);
    html_ += "</td><td>" + escaped(fact.against) + "</td></tr>\n";
  }
  html_ += "</tbody></table>\n";
}

void ReportPage::part(const char* readers, const std::function<void()>& write) {
  html_ += "<section data-for=\"" + Markup(readers) + "\">\n";
  write();
  html_ += "</section>\n";
}

void ReportPage::cautions_list() {
  html_ += "<h2 id=cautions>Cautions</h2>\n<ul>\n";
  for (const auto& caution : cautions(outcome_)) html_ += "<li>" + escaped(caution) + "</li>\n";
  html_ += "</ul>\n";
}

void ReportPage::inputs() {
  html_ += "<h2>Inputs</h2>\n<table><thead><tr><th scope=col>file</th><th scope=col>SHA-256</th></tr></thead><tbody>\n";
  for (const auto& i : outcome_.inputs)
    html_ += "<tr><td>" + escaped(i.file) + "</td><td><code>" + escaped(i.sha256) + "</code></td></tr>\n";
  html_ += "</tbody></table>\n";
}

void ReportPage::understood() {
  html_ += "<h2>What was understood</h2>\n<ul>\n";
  for (const Finding& finding : outcome_.diagnostics.all())
    html_ += "<li><b>" + Markup(finding.severity == Severity::warning ? "warning" : "note") + "</b> " +
             escaped(finding.message + (finding.found.empty() ? "" : ": " + finding.found)) + " <span class=soft>" +
             escaped(to_string(finding.place)) + "</span></li>\n";
  html_ += "</ul>\n";
}

/// Each part with its readers, as paper.js knows them.
void ReportPage::rest() {
  part("layout shop test", [&] { numbers(); });
  part("shop test", [&] { warnings(); });
  part("shop test", [&] { cautions_list(); });
  part("shop test", [&] { respin(); });
  part("shop test", [&] { drafts(); });
  part("shop test", [&] { waivers(); });
  part("shop layout", [&] { measure(); });
  part("test", [&] { options(); });
  part("manager", [&] { cost(); });
  part("shop test", [&] { bending(); });
  part("layout test", [&] { audit(); });
  part("test", [&] { odds(); });
  part("layout", [&] { nearly_open(); });
  part("shop test", [&] { inputs(); });
  part("test", [&] { facts(); });
  part("test", [&] { understood(); });
}

Markup page_begin(const std::string& title) {
  return "<!doctype html>\n<html lang=en><head><meta charset=utf-8><meta name=viewport "
         "content=\"width=device-width,initial-scale=1\"><link rel=icon href=\"data:,\"><title>" +
         escaped(title) + "</title><style>" + kPageStyle;
}

std::string ReportPage::run() {
  beside_files_ = true;
  html_ = page_begin(outcome_.board.name + ", fixture plan " + outcome_.plan_id) + "</style></head><body><main>\n";
  head();
  html_ += kWorkspace;
  html_ += "<div id=rest>\n";
  rest();
  html_ += "</div></main><script type=\"application/octet-stream\" id=data>" +
           escaped(packed(page_data(outcome_, rendered_))) + "</script>\n<script type=module>" + kPageScript +
           "</script></body></html>\n";
  return html_.text();
}

PageParts ReportPage::parts() {
  PageParts parts;
  head();
  parts.head = std::exchange(html_, {}).text();
  rest();
  parts.rest = std::exchange(html_, {}).text();
  parts.data = packed(page_data(outcome_, rendered_));
  return parts;
}
}  // namespace

PageParts page_parts(const Outcome& outcome, const std::map<std::string, std::string>& rendered) {
  return ReportPage(outcome, rendered).parts();
}

std::string live_shell(const std::string& title) {
  return (page_begin(title) + kLiveStyle + "</style></head><body><main>\n" + kLiveWorkspace + "<div id=head></div>\n" +
          kWorkspace + "<div id=rest></div>\n</main><script type=module src=live.js></script></body></html>\n")
      .text();
}

std::string first_shell(const std::string& title) {
  return (page_begin(title) + kLiveStyle + "</style></head><body><main>\n<h1>" + escaped(title) +
          "</h1>\n<div id=first></div>\n</main><script type=module src=first.js></script></body></html>\n")
      .text();
}

const char* live_script() {
  return kLiveScript;
}
const char* first_script() {
  return kFirstScript;
}

std::string report_html(const Outcome& outcome, const std::map<std::string, std::string>& rendered) {
  return ReportPage(outcome, rendered).run();
}

}  // namespace teasel
