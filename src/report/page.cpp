// report.html: one self-contained page. The verdict first, then the numbers, then the board, then the lists.
#include <algorithm>

#include "text.h"

namespace teasel {

namespace {
constexpr const char* kStyle = R"(
:root{--bg:#fbfbf9;--ink:#1d2126;--soft:#59616b;--line:#d5d8d2;--card:#fff;--accent:#00568a;--bad:#a33b00}
@media (prefers-color-scheme:dark){:root{--bg:#15181b;--ink:#e8e9e6;--soft:#a9b0b7;--line:#33393f;--card:#1d2125;--accent:#7cc0ee;--bad:#ffab7a}}
*{box-sizing:border-box}body{margin:0;background:var(--bg);color:var(--ink);font:15px/1.5 system-ui,sans-serif}
main{max-width:1400px;margin:0 auto;padding:1.2rem 1.4rem 4rem}h1{font-size:1.35rem;margin:.2rem 0}h2{font-size:1.05rem;margin:2rem 0 .6rem;border-bottom:1px solid var(--line);padding-bottom:.25rem}
.verdict{font-size:1.15rem;padding:.9rem 1rem;border-left:5px solid var(--accent);background:var(--card);margin:1rem 0}.verdict.bad{border-color:var(--bad)}
.grid{display:grid;grid-template-columns:repeat(auto-fit,minmax(150px,1fr));gap:.7rem}.num{background:var(--card);border:1px solid var(--line);padding:.6rem .8rem}.num b{display:block;font-size:1.35rem;font-variant-numeric:tabular-nums}.num span{color:var(--soft);font-size:.85rem}
table{border-collapse:collapse;width:100%;background:var(--card);font-variant-numeric:tabular-nums;font-size:.86rem}th,td{border:1px solid var(--line);padding:.25rem .5rem;text-align:left;vertical-align:top}th{position:sticky;top:0;background:var(--card);cursor:pointer}
.scroll{max-height:460px;overflow:auto;border:1px solid var(--line)}.board{background:#fff;border:1px solid var(--line);overflow:hidden;touch-action:none}.board svg{display:block;width:100%;height:72vh}
.chart{background:#fff;border:1px solid var(--line);max-width:900px}.chart svg{display:block;width:100%;height:auto}.soft{color:var(--soft)}input,button{font:inherit;color:inherit;background:var(--card);border:1px solid var(--line);padding:.3rem .6rem}button:focus-visible,input:focus-visible,th:focus-visible{outline:2px solid var(--accent)}
ul{margin:.3rem 0 .3rem 1.1rem;padding:0}@media print{.board svg{height:auto}.scroll{max-height:none;overflow:visible}button,input{display:none}}
)";

constexpr const char* kScript = R"(
for(const box of document.querySelectorAll('.board')){const svg=box.querySelector('svg');svg.removeAttribute('width');svg.removeAttribute('height');const home=svg.getAttribute('viewBox').split(' ').map(Number);let v=[...home];
const put=()=>svg.setAttribute('viewBox',v.join(' '));
const zoom=(k,fx=.5,fy=.5)=>{const w=v[2]*k,h=v[3]*k;v=[v[0]+(v[2]-w)*fx,v[1]+(v[3]-h)*fy,w,h];put()};
box.addEventListener('wheel',e=>{e.preventDefault();const r=box.getBoundingClientRect();zoom(e.deltaY>0?1.2:1/1.2,(e.clientX-r.left)/r.width,(e.clientY-r.top)/r.height)},{passive:false});
let drag=null;box.addEventListener('pointerdown',e=>{drag=[e.clientX,e.clientY];box.setPointerCapture(e.pointerId)});box.addEventListener('pointermove',e=>{if(!drag)return;const r=box.getBoundingClientRect();const s=Math.max(v[2]/r.width,v[3]/r.height);v[0]-=(e.clientX-drag[0])*s;v[1]-=(e.clientY-drag[1])*s;drag=[e.clientX,e.clientY];put()});box.addEventListener('pointerup',()=>drag=null);
box.tabIndex=0;box.addEventListener('keydown',e=>{const m={ArrowLeft:[-.1,0],ArrowRight:[.1,0],ArrowUp:[0,-.1],ArrowDown:[0,.1]}[e.key];if(m){v[0]+=m[0]*v[2];v[1]+=m[1]*v[3];put();e.preventDefault()}else if(e.key==='+')zoom(1/1.3);else if(e.key==='-')zoom(1.3);else if(e.key==='0'){v=[...home];put()}})}
for(const t of document.querySelectorAll('table.list')){const find=document.querySelector('input[data-for="'+t.id+'"]');if(find)find.addEventListener('input',()=>{const q=find.value.toLowerCase();for(const r of t.tBodies[0].rows)r.hidden=q&&!r.textContent.toLowerCase().includes(q)});
[...t.tHead.rows[0].cells].forEach((h,i)=>{h.tabIndex=0;let up=true;const sort=()=>{const rows=[...t.tBodies[0].rows];rows.sort((a,b)=>{const x=a.cells[i].textContent,y=b.cells[i].textContent,n=x!==''&&y!==''&&!isNaN(x)&&!isNaN(y)?x-y:x.localeCompare(y,'en',{numeric:true});return up?n:-n});up=!up;t.tBodies[0].append(...rows)};h.addEventListener('click',sort);h.addEventListener('keydown',e=>{if(e.key==='Enter')sort()})})}
)";

class Page {
 public:
  Page(const Outcome& o, const std::map<std::string, std::string>& rendered) : o_(o), rendered_(rendered) {}
  std::string run();

 private:
  void number(const std::string& value, const std::string& what) { s_ += "<div class=num><b>" + escaped(value) + "</b><span>" + escaped(what) + "</span></div>\n"; }
  /// A CSV that the shop receives, as a table with search and sorting.
  void list(const char* id, const std::string& title, const std::string& csv, std::size_t most);
  void numbers();
  void board();
  void measure();
  void odds();
  void waivers();
  void audit();
  void cost();
  void nearly_open();
  const Outcome& o_;
  const std::map<std::string, std::string>& rendered_;
  std::string s_;
};

std::vector<std::string> cells(const std::string& csv, std::size_t& at) {
  std::vector<std::string> f(1);
  bool quoted = false;
  while (at < csv.size()) {
    const char c = csv[at++];
    if (quoted) {
      if (c != '"') f.back() += c;
      else if (at < csv.size() && csv[at] == '"') f.back() += '"', ++at;
      else quoted = false;
    } else if (c == '"') quoted = true;
    else if (c == ',') f.emplace_back();
    else if (c == '\n') break;
    else f.back() += c;
  }
  return f;
}

void Page::list(const char* id, const std::string& title, const std::string& csv, std::size_t most) {
  s_ += "<h2>" + escaped(title) + "</h2>\n<p><label>Find <input data-for=\"" + std::string(id) + "\" type=search></label></p>\n<div class=scroll tabindex=0><table class=list id=\"" + id + "\"><thead><tr>";
  std::size_t at = 0, rows = 0;
  for (const auto& c : cells(csv, at)) s_ += "<th scope=col>" + escaped(c) + "</th>";
  s_ += "</tr></thead><tbody>\n";
  while (at < csv.size()) {
    const auto row = cells(csv, at);
    if (++rows > most) continue;
    s_ += "<tr>";
    for (const auto& c : row) s_ += "<td>" + escaped(c) + "</td>";
    s_ += "</tr>\n";
  }
  s_ += "</tbody></table></div>\n";
  if (rows > most) s_ += "<p class=soft>The first " + std::to_string(most) + " of " + std::to_string(rows) + " rows; all of them are in the CSV file.</p>\n";
}

void Page::numbers() {
  const auto& r = chosen(o_);
  const auto& c = o_.coverage;
  const auto assumed = std::count_if(c.probe_assumptions.begin(), c.probe_assumptions.end(), [](const auto& a) { return !a.empty(); });
  s_ += "<div class=grid>\n";
  number(std::to_string(c.met_nets) + " / " + std::to_string(c.wanted_nets), "wanted nets served in full");
  number(std::to_string(c.partial_nets), "served in part");
  number(std::to_string(c.unmet_nets), "not reached");
  number(std::to_string(r.probes.size()), "probes");
  number(fixed(sum_of_forces(o_.access, o_.catalogue, o_.rules, r).v, 1) + " N", "sum of working forces");
  const BedOdds& bed = o_.bed;
  if (bed.fixtures > 0) {
    auto figure = [](const Estimate& e) { return e.value > 0 ? scientific(e.value) : "below " + scientific(e.high); };
    number(figure(bed.rework), "chance that the built fixture needs rework");
    number(figure(bed.false_reject), "good boards rejected because a probe misses");
  } else {
    number(chance(bed.sum_of_misses), "chance that a touch misses anywhere, at most");
  }
  number(std::to_string(assumed), "probes that hang on an assumed part");
  number(r.proven ? "proven" : "unproven", "optimality of the plan");
  s_ += "</div>\n<h2>Ways to build it</h2>\n<table><thead><tr><th>bed</th><th>probes</th><th>nets in full</th><th>objective</th><th>of that beds</th><th>probes and odds</th><th>nets missing</th><th>proof</th></tr></thead><tbody>\n";
  for (const auto& x : o_.plan.options) {
    s_ += "<tr><td>" + escaped(x.option.name()) + (&x == &r ? " <b>(chosen)</b>" : "") + "</td><td>" + std::to_string(x.probes.size()) + "</td><td>" + std::to_string(nets_met(o_.needs, x)) + "</td><td>" + money(x.total()) + "</td><td>" + money(x.cost.beds) + "</td><td>" + money(x.cost.probes.total() + x.cost.mates + x.cost.wishes) + "</td><td>" + money(x.cost.unmet) + "</td><td>" + (x.proven ? "optimal" : "bound " + money(x.bound)) + "</td></tr>\n";
  }
  s_ += "</tbody></table>\n<p class=soft>Objective in money units of the rule file: it compares plans and is not an offer.</p>\n";
}

void Page::odds() {
  s_ += "<h2>Odds of the bed</h2>\n<ul>\n";
  for (const auto& l : bed_lines(o_)) s_ += "<li>" + escaped(l) + "</li>\n";
  s_ += "</ul>\n";
  // Where no probe misses more often than is claimed at all, halving says nothing.
  if (!o_.sensitivity.empty() && o_.sensitivity[0].now > 1.5 * kLeastChance * static_cast<double>(chosen(o_).probes.size())) {
    s_ += "<table><thead><tr><th>position error</th><th>drawn anew</th><th>sum of single misses</th><th>if it were halved</th></tr></thead><tbody>\n";
    for (const Sensitivity& x : o_.sensitivity) s_ += "<tr><td>" + std::string(to_string(x.source)) + (is_shared(x.source) ? " (shared)" : "") + "</td><td>" + to_string(time_of(x.source)) + "</td><td>" + chance(x.now) + "</td><td>" + chance(x.halved) + "</td></tr>\n";
    s_ += "</tbody></table>\n";
  }
}

void Page::waivers() {
  if (o_.coverage.waived.empty()) return;
  s_ += "<h2>Probes that stand on waivers</h2>\n<ul>\n";
  for (const WaivedProbe& w : o_.coverage.waived) {
    const PlacedProbe& p = chosen(o_).probes[static_cast<std::size_t>(w.probe)];
    s_ += "<li><b>" + escaped(p.name) + "</b> " + escaped(net_name(o_, p.need) + ": " + sentence(w.shortfall, o_.board, o_.job)) + "</li>\n";
  }
  s_ += "</ul>\n";
}

void Page::audit() {
  s_ += "<h2>Audit</h2>\n<ul>\n";
  for (const auto& l : audit_lines(o_)) s_ += "<li" + std::string(l.rfind("GATE FAILED", 0) == 0 || l.find("NOT usable") != std::string::npos ? " class=bad" : "") + ">" + escaped(l) + "</li>\n";
  s_ += "</ul>\n";
}

void Page::nearly_open() {
  if (o_.coverage.relaxations.empty()) return;
  s_ += "<h2>What one rule keeps closed</h2>\n<p>Nets not served in full that would get a target if this rule, and nothing else, were relaxed. Spacing to other probes is not looked at.</p>\n<table><thead><tr><th>rule</th><th>nets</th><th>of them mandatory</th><th>without any probe now</th><th>half of them by</th><th>all by</th></tr></thead><tbody>\n";
  for (const Relaxation& r : o_.coverage.relaxations) s_ += "<tr><td>" + std::string(to_string(r.reason)) + "</td><td>" + std::to_string(r.nets) + "</td><td>" + std::to_string(r.mandatory) + "</td><td>" + std::to_string(r.nets_without) + "</td><td>" + given_up(r, r.half) + "</td><td>" + given_up(r, r.all) + "</td></tr>\n";
  s_ += "</tbody></table>\n";
}

void Page::cost() {
  if (o_.cost.beds.empty()) return;
  const auto lines = cost_lines(o_);
  s_ += "<h2>Cost</h2>\n<div class=chart role=img aria-label=\"Cost of the ways to test over the number of boards\">" + rendered_.at("cost.svg") + "</div>\n<p class=soft>" + escaped(lines[0]) + "</p>\n<ul>\n";
  for (std::size_t i = 1; i < lines.size(); ++i) s_ += "<li>" + escaped(lines[i]) + "</li>\n";
  s_ += "</ul>\n";
}

void Page::board() {
  for (Side side : {Side::bottom, Side::top}) {
    s_ += "<h2>Board, " + std::string(to_string(side)) + " side</h2>\n<p class=soft>Wheel or + and - zoom, drag or arrow keys move, 0 shows all. Hover tells part and probe.</p>\n<div class=board role=img aria-label=\"Drawing of the " + to_string(side) + " side\">\n";
    s_ += rendered_.at(std::string("board-") + to_string(side) + ".svg") + "</div>\n";
  }
}

void Page::measure() {
  const auto& list = o_.coverage.measure_first;
  if (list.empty()) return;
  s_ += "<h2>Measure these first</h2>\n<p>Part facts that are assumed; if one is wrong, the probes named beside it are lost.</p>\n<table><thead><tr><th>part</th><th>assumed</th><th>probes</th></tr></thead><tbody>\n";
  for (std::size_t i = 0; i < list.size() && i < 10; ++i) {
    std::string probes;
    for (const auto& p : list[i].probes) probes += (probes.empty() ? "" : " ") + p;
    s_ += "<tr><td>" + escaped(o_.board.components[static_cast<std::size_t>(list[i].component)].name) + "</td><td>" + escaped(list[i].what) + "</td><td>" + escaped(probes) + "</td></tr>\n";
  }
  s_ += "</tbody></table>\n";
}

std::string Page::run() {
  s_ = "<!doctype html>\n<html lang=en><head><meta charset=utf-8><meta name=viewport content=\"width=device-width,initial-scale=1\"><title>" + escaped(o_.board.name) + ", fixture plan " + o_.plan_id + "</title><style>" + kStyle + "</style></head><body><main>\n";
  s_ += "<p class=soft>fixture plan " + o_.plan_id + "</p>\n<h1>" + escaped(o_.board.name.empty() ? "Board" : o_.board.name) + (o_.board.revision.empty() ? "" : ", revision " + escaped(o_.board.revision)) + "</h1>\n";
  const auto lines = summary_lines(o_);
  s_ += "<p class=\"verdict" + std::string(o_.coverage.mandatory_unmet ? " bad" : "") + "\">" + escaped(lines[0]) + "</p>\n";
  numbers();
  bool draft = false;
  for (const Plate& p : o_.plates)
    for (const auto& d : p.drafts) {
      if (!draft) s_ += "<h2>Plates are drafts because</h2>\n<ul>\n";
      draft = true;
      s_ += "<li>" + escaped(p.stem + ": " + d) + "</li>\n";
    }
  if (draft) s_ += "</ul>\n";
  waivers();
  measure();
  board();
  cost();
  audit();
  odds();
  nearly_open();
  s_ += "<h2>Cautions</h2>\n<ul>\n";
  for (const auto& c : cautions(o_)) s_ += "<li>" + escaped(c) + "</li>\n";
  s_ += "</ul>\n";
  list("probes", "Probes", rendered_.at("probes.csv"), 20000);
  list("coverage", "Nets", rendered_.at("coverage.csv"), 20000);
  list("interfaces", "Interfaces", rendered_.at("interfaces.csv"), 5000);
  list("advice", "Advice to the layout engineer", rendered_.at("advice.csv"), 3000);
  list("nearly", "Nearly open targets", rendered_.at("nearly-open.csv"), 500);
  list("blocked", "Blocked targets", rendered_.at("blocked.csv"), 2000);
  list("wiring", "Wiring", rendered_.at("wiring.csv"), 20000);
  s_ += "<h2>Inputs</h2>\n<table><thead><tr><th>file</th><th>SHA-256</th></tr></thead><tbody>\n";
  for (const auto& i : o_.inputs) s_ += "<tr><td>" + escaped(i.file) + "</td><td><code>" + i.sha256 + "</code></td></tr>\n";
  s_ += "</tbody></table>\n<h2>What was understood</h2>\n<ul>\n";
  for (const Finding& f : o_.diagnostics.all()) s_ += "<li><b>" + std::string(f.severity == Severity::warning ? "warning" : "note") + "</b> " + escaped(f.message + (f.found.empty() ? "" : ": " + f.found)) + " <span class=soft>" + escaped(to_string(f.place)) + "</span></li>\n";
  s_ += "</ul>\n</main><script>" + std::string(kScript) + "</script></body></html>\n";
  return s_;
}
}  // namespace

std::string report_html(const Outcome& o, const std::map<std::string, std::string>& rendered) { return Page(o, rendered).run(); }

}  // namespace teasel
