// report.html: one self-contained page. The verdict first, then the numbers, then the board, then the lists.
#include <algorithm>

#include "pack.h"
#include "page_data.h"
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
    R"(<div id=controls role=toolbar aria-label="View of the board"><span id=side role=status></span>)"
    R"(</div>)"
    R"(<canvas id=board tabindex=0 role=img )"
    R"(aria-label="Drawing of the board: arrows move, plus and minus zoom, 0 shows all, f flips, r turns">)"
    R"(</canvas><div id=legend></div></div>
<aside aria-label="What is known"><div class=find>)"
    R"(<label>Find a net, part, pad or probe <input type=search id=search role=combobox )"
    R"(aria-expanded=false aria-controls=suggest aria-autocomplete=list autocomplete=off spellcheck=false>)"
    R"(</label><ul id=suggest role=listbox aria-label="Names that fit" hidden></ul></div>)"
    R"(<div id=about aria-live=polite><p>Reading the page's data ...</p><noscript>)"
    R"(<p>The board and the lists need a browser that runs scripts; )"
    R"(everything is in the CSV and SVG files beside this page as well.</p>)"
    R"(</noscript></div></aside></div>
<h2 class=lists>Lists</h2>
<div id=lists></div>
<h2>Charts</h2>
<div id=charts></div>
)";
/// What a live page has besides.
constexpr const char* kLiveWorkspace =
    R"(<div id=bar role=toolbar aria-label="The job"><b id=file></b>)"
    R"(<button id=do-undo disabled>Undo</button><button id=do-redo disabled>Redo</button>)"
    R"(<button id=do-save disabled>Save</button><button id=do-again>Read again</button>)"
    R"(<span id=saying role=status></span><progress id=progress max=1 hidden aria-label="Working">)"
    R"(</progress></div>
<div id=findings role=alert hidden></div>
<details id=lines hidden><summary>Lines that are not saved</summary><pre tabindex=0></pre></details>
<section id=effect aria-label="What the last change did" hidden></section>
)";

class Page {
 public:
  Page(const Outcome& o, const std::map<std::string, std::string>& rendered) : o_(o), rendered_(rendered) {}
  std::string run();
  PageParts parts();

 private:
  void head();
  void rest();
  void number(const std::string& value, const std::string& what) {
    s_ += "<div class=num><b>" + escaped(value) + "</b><span>" + escaped(what) + "</span></div>\n";
  }
  void verdict();
  void numbers();
  void options();
  void warnings();
  void respin();
  void drafts();
  void bending();
  void measure();
  void bullets(const std::string& title, const std::vector<std::string>& lines);
  void odds();
  void waivers();
  void audit();
  void cost();
  void nearly_open();
  const Outcome& o_;
  const std::map<std::string, std::string>& rendered_;
  std::string s_;
};

/// Can it be tested on a bed, with what, at what risk.
void Page::verdict() {
  const Coverage& c = o_.coverage;
  const OptionResult& r = chosen(o_);
  std::string can, with, risk;
  if (c.mandatory_unmet) {
    Few names(4);
    for (const CoverageRow& row : c.rows)
      if (o_.needs[static_cast<std::size_t>(row.need)].mandatory && row.got < row.wanted)
        names.add(net_name(o_, row.need));
    can = "Not as asked: " +
          plural(static_cast<std::size_t>(c.mandatory_unmet), "mandatory net is", "mandatory nets are") +
          " not reached as wanted (" + names.text() + ").";
  } else if (c.met_nets == c.wanted_nets) {
    can = "Yes: a bed touches every net that the test wants, " + std::to_string(c.wanted_nets) + " in all.";
  } else {
    const bool mandatory =
        std::any_of(o_.needs.begin(), o_.needs.end(), [](const Need& n) { return n.mandatory && n.wanted > 0; });
    can =
        std::string(2 * c.met_nets >= c.wanted_nets ? "In part: a bed serves " : "Only in small part: a bed serves ") +
        std::to_string(c.met_nets) + " of " + std::to_string(c.wanted_nets) + " wanted nets in full and " +
        std::to_string(c.partial_nets) + " in part; " +
        (mandatory ? "every mandatory net is reached." : "no net is marked mandatory.");
  }
  with = "With " + std::to_string(r.probes.size()) + " probes, " + r.option.name();
  for (const BedCost& b : o_.cost.beds)
    if (b.option == o_.plan.chosen) with += ", " + money(b.build) + " " + o_.prices.currency + " to build";
  with += ".";
  const auto assumed =
      std::count_if(c.probe_assumptions.begin(), c.probe_assumptions.end(), [](const auto& a) { return !a.empty(); });
  const bool drafts = std::any_of(o_.plates.begin(), o_.plates.end(), [](const Plate& p) { return !p.drafts.empty(); });
  risk = "Of a thousand good boards about " + short_number(r.false_rejects, 2) +
         " are rejected because a probe misses or finds no contact.";
  const Mechanics& m = o_.mechanics;
  if (m.not_held)
    risk += " NOTHING HOLDS THE BOARD AGAINST ITS PROBES: " + m.why_not + ".";
  else if (!m.used)
    risk += " How the board bends is not worked out" + (m.why_not.empty() ? "" : ": " + m.why_not) + ".";
  else if (!m.flat_holds)
    risk += " BENDING GOES BEYOND ITS LIMITS.";
  else if (!m.limits_hold) {
    // The state of each part's row is the worst one: of a bowed board, as a flat one holds.
    const auto over =
        std::count_if(m.parts.begin(), m.parts.end(), [](const PartStrain& x) { return x.strain > x.limit; });
    risk += " Bending stays within its limits for a board that is flat before it is pressed. One bowed by " +
            short_number(100 * o_.rules.mechanics.bow_twist, 2) + " % of its diagonal, as is allowed, goes beyond them";
    if (over > 0) {
      const PartStrain& worst = *std::max_element(
          m.parts.begin(), m.parts.end(),
          [](const PartStrain& a, const PartStrain& b) { return a.strain / a.limit < b.strain / b.limit; });
      risk += " at " + std::to_string(over) + (over == 1 ? " part: " : " parts, most at ") +
              o_.board.components[static_cast<std::size_t>(worst.component)].name + ", " +
              fixed(worst.strain * 1e6, 0) + " of " + fixed(worst.limit * 1e6, 0) + " microstrain";
    }
    risk += ".";
  }
  if (assumed > 0)
    risk += " " + std::to_string(assumed) + (assumed == 1 ? " probe rests" : " probes rest") +
            " on part heights or sides that are assumed: measure those first.";
  if (drafts) risk += " The plates are drafts, for the reasons below: do not drill yet.";
  s_ += "<p class=\"verdict" + std::string(c.mandatory_unmet || m.not_held || (m.used && !m.flat_holds) ? " bad" : "") +
        "\"><b>" + escaped(can) + "</b> " + escaped(with) + " " + escaped(risk) + "</p>\n";
}

void Page::numbers() {
  const auto& r = chosen(o_);
  const auto& c = o_.coverage;
  const auto assumed =
      std::count_if(c.probe_assumptions.begin(), c.probe_assumptions.end(), [](const auto& a) { return !a.empty(); });
  s_ += "<div class=grid>\n";
  number(std::to_string(c.met_nets) + " / " + std::to_string(c.wanted_nets), "wanted nets served in full");
  number(std::to_string(c.partial_nets), "served in part");
  number(std::to_string(c.unmet_nets), "not reached");
  number(std::to_string(r.probes.size()), "probes");
  number(fixed(sum_of_forces(o_.access, o_.catalogue, o_.rules, r).v, 1) + " N", "sum of working forces");
  const BedOdds& bed = o_.bed;
  if (bed.fixtures > 0) {
    number(bed.rework.value > 0 ? spoken(bed.rework.value) : spoken_bound(bed.rework.high),
           "chance that the built fixture needs rework");
  } else {
    number(spoken(bed.sum_of_misses), "chance that a touch misses anywhere, at most");
  }
  number(short_number(r.false_rejects, 2), "of a thousand good boards rejected: misses and contact faults");
  number(std::to_string(assumed), "probes that rest on an assumed part height or side");
  number(r.proven ? "proven" : "unproven", "optimality of the plan");
  s_ += "</div>\n";
}

void Page::options() {
  const auto& r = chosen(o_);
  s_ +=
      "<h2>Ways to build it</h2>\n<table><thead><tr><th scope=col>bed</th><th scope=col>probes</th><th scope=col>nets "
      "in full</th><th scope=col>objective</th><th scope=col>for beds</th><th scope=col>for probes and odds</th><th "
      "scope=col>for nets that miss probes</th><th scope=col>proof</th></tr></thead><tbody>\n";
  for (const auto& x : o_.plan.options) {
    s_ += "<tr><td>" + escaped(x.option.name()) + (&x == &r ? " <b>(chosen)</b>" : "") + "</td><td>" +
          std::to_string(x.probes.size()) + "</td><td>" + std::to_string(nets_met(o_.needs, x)) + "</td><td>" +
          money(x.total()) + "</td><td>" + money(x.cost.beds) + "</td><td>" +
          money(x.cost.probes.total() + x.cost.mates + x.cost.wishes) + "</td><td>" + money(x.cost.unmet) +
          "</td><td>" + (x.proven ? "optimal" : "bound " + money(x.bound)) + "</td></tr>\n";
  }
  s_ +=
      "</tbody></table>\n<p class=soft>Objective: what the plan minimises, in money units of the rule file; a net "
      "without its probes counts as dear. It compares plans and is not an offer.</p>\n";
}

void Page::odds() {
  s_ += "<h2>Odds of the bed</h2>\n<ul>\n";
  for (const auto& l : bed_lines(o_)) s_ += "<li>" + escaped(l) + "</li>\n";
  s_ += "</ul>\n";
  // Where no probe misses more often than is claimed at all, halving says nothing.
  if (!o_.sensitivity.empty() &&
      o_.sensitivity[0].now > 1.5 * kLeastChance * static_cast<double>(chosen(o_).probes.size())) {
    s_ +=
        "<table><thead><tr><th scope=col>position error</th><th scope=col>drawn anew</th><th scope=col>sum of single "
        "misses</th><th scope=col>if it were halved</th></tr></thead><tbody>\n";
    for (const Sensitivity& x : o_.sensitivity)
      s_ += "<tr><td>" + std::string(to_string(x.source)) + (is_shared(x.source) ? " (shared)" : "") + "</td><td>" +
            to_string(time_of(x.source)) + "</td><td>" + chance(x.now) + "</td><td>" + chance(x.halved) +
            "</td></tr>\n";
    s_ += "</tbody></table>\n";
  }
}

void Page::waivers() {
  if (o_.coverage.waived.empty()) return;
  s_ += "<h2>Probes that stand on waivers</h2>\n<ul>\n";
  for (const WaivedProbe& w : o_.coverage.waived) {
    const PlacedProbe& p = chosen(o_).probes[static_cast<std::size_t>(w.probe)];
    s_ += "<li><b>" + escaped(p.name) + "</b> " +
          escaped(net_name(o_, p.need) + ": " + sentence(w.shortfall, o_.board, o_.job)) + "</li>\n";
  }
  s_ += "</ul>\n";
}

void Page::audit() {
  s_ += "<h2>Audit</h2>\n<ul>\n";
  for (const auto& l : audit_lines(o_))
    s_ += "<li" +
          std::string(l.rfind("GATE FAILED", 0) == 0 || l.find("NOT usable") != std::string::npos ? " class=bad" : "") +
          ">" + escaped(l) + "</li>\n";
  s_ += "</ul>\n";
}

void Page::nearly_open() {
  if (o_.coverage.relaxations.empty()) return;
  s_ +=
      "<h2>What one rule keeps closed</h2>\n<p>Nets not served in full that would get a target if this rule, and "
      "nothing else, were relaxed. Spacing to other probes is not looked at.</p>\n<table><thead><tr><th "
      "scope=col>rule</th><th scope=col>nets</th><th scope=col>of them mandatory</th><th scope=col>without any probe "
      "now</th><th scope=col>half of them by</th><th scope=col>all by</th></tr></thead><tbody>\n";
  for (const Relaxation& r : o_.coverage.relaxations)
    s_ += "<tr><td>" + std::string(to_string(r.reason)) + "</td><td>" + std::to_string(r.nets) + "</td><td>" +
          std::to_string(r.mandatory) + "</td><td>" + std::to_string(r.nets_without) + "</td><td>" +
          given_up(r, r.half) + "</td><td>" + given_up(r, r.all) + "</td></tr>\n";
  s_ += "</tbody></table>\n";
}

void Page::cost() {
  if (o_.cost.beds.empty()) return;
  const auto lines = cost_lines(o_);
  s_ += "<h2>Cost</h2>\n<div class=chart role=img aria-label=\"Cost of the ways to test over the number of boards\">" +
        rendered_.at("cost.svg") + "</div>\n<p class=soft>" + escaped(lines[0]) + "</p>\n<ul>\n";
  for (std::size_t i = 1; i < lines.size(); ++i) s_ += "<li>" + escaped(lines[i]) + "</li>\n";
  s_ += "</ul>\n";
}

void Page::bullets(const std::string& title, const std::vector<std::string>& lines) {
  if (lines.empty()) return;
  s_ += "<h2>" + escaped(title) + "</h2>\n<ul>\n";
  for (const auto& l : lines) s_ += "<li>" + escaped(l) + "</li>\n";
  s_ += "</ul>\n";
}

void Page::respin() {
  bullets("The fixture that stands", respin_lines(o_));
}
void Page::bending() {
  bullets("Bending", mechanics_lines(o_));
}
void Page::drafts() {
  std::vector<std::string> lines;
  for (const Plate& p : o_.plates)
    for (const auto& d : p.drafts) lines.push_back(p.stem + ": " + d);
  bullets("Plates are drafts because", lines);
}

void Page::measure() {
  const auto& list = o_.coverage.measure_first;
  if (list.empty()) {
    s_ +=
        "<h2>Measure these first</h2>\n<p>Nothing: neither a probe nor a pocket rests on a part height or side that is "
        "assumed.</p>\n";
    return;
  }
  s_ +=
      "<h2>Measure these first</h2>\n<p>Part facts that are assumed; if one is wrong, the probes named beside it are "
      "lost. Where none is named, a pocket is milled by it.</p>\n<table><thead><tr><th scope=col>part</th><th "
      "scope=col>assumed</th><th scope=col>probes</th></tr></thead><tbody>\n";
  for (std::size_t i = 0; i < list.size() && i < 10; ++i) {
    std::string probes;
    for (const auto& p : list[i].probes) probes += (probes.empty() ? "" : " ") + p;
    s_ += "<tr><td>" + escaped(o_.board.components[static_cast<std::size_t>(list[i].component)].name) + "</td><td>" +
          escaped(list[i].what) + "</td><td>" + escaped(probes) + "</td></tr>\n";
  }
  s_ += "</tbody></table>\n";
}

void Page::head() {
  s_ += "<p class=soft>fixture plan " + o_.plan_id + "</p>\n<h1>" +
        escaped(o_.board.name.empty() ? "Board" : o_.board.name) +
        (o_.board.revision.empty() ? "" : ", revision " + escaped(o_.board.revision)) + "</h1>\n";
  verdict();
  numbers();
}

void Page::warnings() {
  std::vector<std::string> lines;
  for (const Finding& f : o_.diagnostics.all())
    if (f.severity == Severity::warning)
      lines.push_back(f.message + (f.found.empty() ? "" : ": " + f.found) + (f.remedy.empty() ? "" : ". " + f.remedy));
  bullets("Warnings", lines);
}

void Page::rest() {
  warnings();
  s_ += "<h2>Cautions</h2>\n<ul>\n";
  for (const auto& c : cautions(o_)) s_ += "<li>" + escaped(c) + "</li>\n";
  s_ += "</ul>\n";
  respin();
  drafts();
  waivers();
  measure();
  options();
  cost();
  bending();
  audit();
  odds();
  nearly_open();
  s_ += "<h2>Inputs</h2>\n<table><thead><tr><th scope=col>file</th><th scope=col>SHA-256</th></tr></thead><tbody>\n";
  for (const auto& i : o_.inputs)
    s_ += "<tr><td>" + escaped(i.file) + "</td><td><code>" + i.sha256 + "</code></td></tr>\n";
  s_ += "</tbody></table>\n<h2>What was understood</h2>\n<ul>\n";
  for (const Finding& f : o_.diagnostics.all())
    s_ += "<li><b>" + std::string(f.severity == Severity::warning ? "warning" : "note") + "</b> " +
          escaped(f.message + (f.found.empty() ? "" : ": " + f.found)) + " <span class=soft>" +
          escaped(to_string(f.place)) + "</span></li>\n";
  s_ += "</ul>\n";
}

std::string page_begin(const std::string& title) {
  return "<!doctype html>\n<html lang=en><head><meta charset=utf-8><meta name=viewport "
         "content=\"width=device-width,initial-scale=1\"><link rel=icon href=\"data:,\"><title>" +
         escaped(title) + "</title><style>" + kPageStyle;
}

std::string Page::run() {
  s_ = page_begin(o_.board.name + ", fixture plan " + o_.plan_id) + "</style></head><body><main>\n";
  head();
  s_ += kWorkspace;
  rest();
  s_ += "</main><script type=\"application/octet-stream\" id=data>" + packed(page_data(o_, rendered_)) +
        "</script>\n<script type=module>" + kPageScript + "</script></body></html>\n";
  return s_;
}

PageParts Page::parts() {
  PageParts p;
  head();
  p.head.swap(s_);
  rest();
  p.rest.swap(s_);
  p.data = packed(page_data(o_, rendered_));
  return p;
}
}  // namespace

PageParts page_parts(const Outcome& o, const std::map<std::string, std::string>& rendered) {
  return Page(o, rendered).parts();
}

std::string live_shell(const std::string& title) {
  return page_begin(title) + kLiveStyle + "</style></head><body><main>\n" + kLiveWorkspace + "<div id=head></div>\n" +
         kWorkspace + "<div id=rest></div>\n</main><script type=module>" + kLiveScript + "</script></body></html>\n";
}

std::string first_shell(const std::string& title) {
  return page_begin(title) + kLiveStyle + "</style></head><body><main>\n<h1>" + escaped(title) +
         "</h1>\n<div id=first></div>\n</main><script type=module>" + kFirstScript + "</script></body></html>\n";
}

std::string report_html(const Outcome& o, const std::map<std::string, std::string>& rendered) {
  return Page(o, rendered).run();
}

}  // namespace teasel
