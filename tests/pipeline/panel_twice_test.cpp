// Everything that a run works out, on a panel: of one board it is that board, of two boards it is that board twice.
#include <catch2/catch.hpp>
#include <fstream>
#include <nlohmann/json.hpp>
#include <set>
#include <sstream>

#include "../../src/report/page_data.h"
#include "teasel/board/by_board.h"
#include "teasel/pipeline/files.h"
#include "teasel/pipeline/run.h"

using namespace teasel;
using pipeline::Run;

namespace {
using Lines = std::vector<std::string>;

std::string demo_text() {
  std::ifstream in(TEASEL_SOURCE "/fixtures/jobs/buoy-node.toml", std::ios::binary);
  std::ostringstream s;
  s << in.rdbuf();
  return s.str();
}

void replace_once(std::string& text, const std::string& what, const std::string& by) {
  const std::size_t at = text.find(what);
  REQUIRE(at != std::string::npos);
  text.replace(at, what.size(), by);
}

/// A line of the demo job, what stands for it, and tables to put behind.
struct Change {
  std::string instead_of, line;
};
struct Case {
  std::string name;
  std::vector<Change> changes;
  std::string more;
};

/// Parts by glob, limits, four wires, variants, covers, mates, locks, waivers and gates: whatever a job says by name.
const std::vector<Case>& cases() {
  static const std::vector<Case> list = {
      {"as it is shipped", {}, ""},
      {"limits of parts, four wires, protrusions and a gate",
       {{"not_fitted = [\"J3\"]", "not_fitted = [\"J3\", \"LED8\", \"C4?\"]\nprotrusion = { J1 = \"1.4 mm\" }"}},
       "[mechanics.part_limit_ue]\nU1 = 7.0\nU11 = 8.0\n"
       "[kelvin]\ncomponents = [\"R9?\", \"P*\"]\n"
       "[gate]\nscore = 99.9\ncomponents = 99.9\nsupplies = true\ninterfaces = [\"1149.1\", \"quad flash\", "
       "\"CAN\"]\n"},
      {"variants, covers, mates, bans, locks, waivers and holes of before",
       {{"[[ban]]", "[[ban]]\nnet = \"LED?_A\"\nreason = \"kept free\"\n[[ban]]"}},
       "[[variant]]\nname = \"full\"\nfitted = [\"J3\"]\n"
       "[[variant]]\nname = \"small\"\nnot_fitted = [\"LED*\", \"U6\"]\n"
       "[[cover]]\nname = \"lid\"\nside = \"top\"\nfrom = [\"60 mm\", \"50 mm\"]\nto = [\"70 mm\", \"60 mm\"]\nheight "
       "= "
       "\"4 mm\"\n"
       "[[mate]]\ncomponent = \"J4\"\nprice = 5.0\nforce = \"10 N\"\n"
       "[[hole]]\nat = [\"84 mm\", \"30 mm\"]\nclass = \"100 mil\"\nstate = \"plugged\"\n"},
      {"boundary scan saves probes", {}, "[plan]\nboundary_scan = \"save probes\"\n"},
  };
  return list;
}

/// Two boards lie at other distances from the pins than one, which counts where a land is so small that its odds are
/// near their limit. A wall keeps such lands out, and no limit is left that the odds could be near.
const char* const kWall =
    "[rule_changes]\nrule.pad_diameter_main.least = \"0.65 mm\"\nrule.pad_diameter_other.least = \"0.90 mm\"\n"
    "limits.largest_miss = 0.4\n";

/// The demo job with its corners in the job: the panel of one then has the board's own outline, corner by corner.
const char* const kCorners =
    "[[\"0 mm\", \"0 mm\"], [\"100 mm\", \"0 mm\"], [\"100 mm\", \"68 mm\"], [\"98 mm\", \"70 mm\"], [\"0 mm\", \"70 "
    "mm\"]]\n";

std::string job_text(const Case& tried, const std::string& panel, bool kit, bool bending) {
  std::string text = demo_text();
  const std::size_t from = text.find("[inputs.outline]"), to = text.find("[components]");
  REQUIRE(from < to);
  text.replace(from, to - from, std::string("[inputs.outline]\npolygon = ") + kCorners);
  if (!kit) replace_once(text, "kit = \"clamshell\"", "# no kit");
  for (const Change& x : tried.changes) replace_once(text, x.instead_of, x.line);
  std::string more = tried.more;
  if (!bending) {
    const std::size_t table = more.find("[mechanics.part_limit_ue]");
    more.insert(table == std::string::npos ? more.size() : table, "[mechanics]\nsolve = false\n");
  }
  return text + more + panel;
}

std::unique_ptr<Run> worked_out(const std::string& text, bool advice = true) {
  auto run = std::make_unique<Run>();
  const pipeline::Stage quiet = [](const char*, double) {};
  pipeline::load_text(*run, text, TEASEL_SOURCE "/fixtures/jobs/buoy-node.toml", quiet);
  run->job.effort.advice = advice;
  run->job.effort.simulated_fixtures = std::min(run->job.effort.simulated_fixtures, 20);
  if (!run->diagnostics.failed()) pipeline::work(*run, {}, quiet);
  for (const Finding& f : run->diagnostics.all()) {
    INFO(f.code << ": " << f.message << ": " << f.found);
    CHECK(f.severity != Severity::error);
  }
  REQUIRE_FALSE(run->diagnostics.failed());
  return run;
}

/// Without the board of the panel before names, and without what tells one plan from another.
std::string plain(std::string s, const std::string& place, const std::string& plan_id) {
  for (const auto& [what, by] :
       {std::pair<std::string, std::string>{place + ":", ""}, {place + "-", ""}, {plan_id, "(plan)"}})
    for (std::size_t i = 0; (i = s.find(what, i)) != std::string::npos; i += by.size()) s.replace(i, what.size(), by);
  return s;
}

/// Lines, but for what a panel's drawing has besides, and names beside bodies and wires, which longer names do not
/// fit.
Lines lines_of(const std::string& text) {
  Lines out;
  std::istringstream in(text);
  for (std::string l; std::getline(in, l);)
    if (l.rfind("<path id=\"boards\"", 0) != 0 && l.rfind("<text", 0) != 0 &&
        l.rfind("<path class=\"to-label\"", 0) != 0)
      out.push_back(l);
  return out;
}

Lines sorted(Lines list) {
  std::sort(list.begin(), list.end());
  return list;
}

std::string joined(const Lines& lines) {
  std::string s;
  for (const std::string& l : lines) s += l + "\n";
  return s;
}

/// A line of a drawing with its closed paths in one order, each from its least corner on: a copy of a shape may begin
/// elsewhere.
std::string paths_in_order(const std::string& line) {
  const std::size_t from = line.find(" d=\"M");
  if (from == std::string::npos) return line;
  const std::size_t begin = from + 4, end = line.find('"', begin);
  Lines paths;
  std::istringstream all(line.substr(begin, end - begin));
  for (std::string path; std::getline(all, path, 'Z');) {
    Lines corners(1);
    for (const char k : path)
      if (k == 'M' || k == 'L')
        corners.emplace_back();
      else
        corners.back() += k;
    std::rotate(corners.begin(), std::min_element(corners.begin(), corners.end()), corners.end());
    std::string joined;
    for (const std::string& k : corners) joined += k + ";";
    paths.push_back(joined);
  }
  std::sort(paths.begin(), paths.end());
  std::string out = line.substr(0, begin);
  for (const std::string& p : paths) out += p + "Z";
  return out + line.substr(end);
}

/// The page's data without the corners of shapes.
nlohmann::json without_corners(nlohmann::json j) {
  for (const char* key : {"outline", "shapes", "copper"}) j[key] = j[key].size();
  for (auto& part : j["parts"]) part.back() = part.back().size();
  for (auto& area : j["keep_outs"]) area.back() = area.back().size();
  for (auto& plate : j["plates"]) plate["pockets"] = plate["pockets"].size();
  return j;
}

/// All files, with those that hold hashes and packed data taken apart.
std::map<std::string, std::string> everything(const Run& run, const std::string& place) {
  const Outcome outcome = run.outcome();
  std::map<std::string, std::string> files = pipeline::outputs(run);
  nlohmann::ordered_json plan = nlohmann::ordered_json::parse(files["plan.json"]);
  for (const char* key : {"plan_id", "inputs", "outputs"}) plan.erase(key);
  // Pins are chosen when the panel is put together, so their findings come later.
  Lines findings;
  for (const auto& f : plan["findings"])
    if (f["code"] != "panel") findings.push_back(f.dump());
  plan["findings"] = sorted(findings);
  for (auto& x : plan["audit"]["interfaces"]) x.erase("board");
  files["plan.json"] = plan.dump(1);
  const std::string& page = files["report.html"];
  files["report.html"] = page.substr(0, page.find("<h2>What was understood</h2>"));  // findings again
  files["page data"] = without_corners(nlohmann::json::parse(page_data(outcome, files))).dump(1);
  files["summary"] = joined(summary_lines(outcome));
  files["audit"] = joined(audit_lines(outcome));
  files["advice"] = joined(advice_lines(outcome, 1000));
  files["explained"] = joined(explain_lines(outcome, "3V3"));
  std::map<std::string, std::string> out;
  for (const auto& [name, bytes] : files) {
    std::string text = plain(bytes, place, run.plan_id);
    for (std::size_t i; (i = text.find(run.inputs[0].sha256)) != text.npos;) text.replace(i, 64, "(job)");
    out[plain(name, place, run.plan_id)] = text;
  }
  return out;
}

/// Columns of a list by name, a row a line, each row without its other columns.
std::vector<std::string> columns(const std::string& csv, const std::set<std::string>& wanted) {
  Lines out;
  std::vector<bool> taken;
  for (const std::string& line : lines_of(csv)) {
    std::vector<std::string> fields(1);
    bool quoted = false;
    for (const char k : line) {
      if (k == '"')
        quoted = !quoted;
      else if (k == ',' && !quoted)
        fields.emplace_back();
      else
        fields.back() += k;
    }
    if (taken.empty())
      for (const std::string& f : fields) taken.push_back(wanted.count(f) > 0);
    std::string row;
    for (std::size_t i = 0; i < fields.size() && i < taken.size(); ++i)
      if (taken[i]) row += fields[i] + ",";
    out.push_back(row);
  }
  out.erase(out.begin());
  return out;
}

/// Rows of one board of a panel, without its name.
Lines rows_of(const Lines& rows, const std::string& place) {
  Lines out;
  for (const std::string& r : rows)
    if (r.find(place + ":") != std::string::npos) out.push_back(plain(r, place, "(none)"));
  return sorted(out);
}
}  // namespace

TEST_CASE("a panel of one board is the board: every output, apart from the place before names (same job twice)") {
  for (const Case& c : cases()) {
    INFO(c.name);
    const auto one = worked_out(job_text(c, "", true, true), false),
               panel = worked_out(
                   job_text(c, std::string("[panel]\noutline = ") + kCorners + "[panel.array]\ncolumns = 1\n", true,
                            true),
                   false);
    const auto a = everything(*one, "P1"), b = everything(*panel, "P1");
    for (const auto& [name, bytes] : a) {
      INFO(name);
      REQUIRE(b.count(name) == 1);
      if (name.ends_with(".pdf")) continue;  // packed; the drawings in it are compared as SVG
      const Lines x = lines_of(bytes), y = lines_of(b.at(name));
      CHECK(x.size() == y.size());
      std::string first;
      for (std::size_t i = 0; i < std::min(x.size(), y.size()) && first.empty(); ++i)
        if (x[i] != y[i] && paths_in_order(x[i]) != paths_in_order(y[i]))
          first = "line " + std::to_string(i + 1) + "\n" + x[i].substr(0, 300) + "\n" + y[i].substr(0, 300);
      CHECK(first == "");
    }
    CHECK(a.size() == b.size());
  }
}

TEST_CASE("a panel of two boards is the board twice: what is wanted, known and told of each (same job twice)") {
  for (const Case& c : cases()) {
    INFO(c.name);
    const auto one = worked_out(job_text(c, kWall, false, false)),
               two = worked_out(
                   job_text(c, std::string(kWall) + "[panel.array]\ncolumns = 2\npitch = [\"120 mm\", \"0 mm\"]\n",
                            false, false));
    const Outcome a = one->outcome(), b = two->outcome();
    struct List {
      std::string (*of)(const Outcome&);
      std::set<std::string> columns;  ///< those that know nothing of places
    };
    for (const List& list :
         {List{coverage_csv,
               {"net", "role", "mandatory", "wanted", "got", "targets", "open_top", "open_bottom", "status"}},
          List{interfaces_csv, {"interface", "kind", "confidence", "usable", "line", "net", "probe_here", "note"}},
          List{components_csv,
               {"component", "value", "side", "nets", "nets_reached", "measurable", "by_itself_or_guarded", "four_wire",
                "note"}},
          List{supplies_csv, {"net", "volts", "probes", "amperes_of_probes", "amperes_wanted", "enough"}},
          List{scan_nets_csv, {"net", "cover", "driver", "observer", "over_series_part"}},
          List{scan_pins_csv, {"pin", "signal", "net", "why"}},
          List{probes_csv, {"net", "role", "side", "target", "component", "pin", "class", "tip", "force_N", "notes"}},
          List{wiring_csv, {"net", "role", "side", "gauge", "colour", "amperes"}}}) {
      INFO(*list.columns.begin());
      const Lines rows = columns(list.of(b), list.columns), single = sorted(columns(list.of(a), list.columns));
      REQUIRE_FALSE(single.empty());
      CHECK(rows_of(rows, "P1") == single);
      CHECK(rows_of(rows, "P2") == single);
      CHECK(rows.size() == 2 * single.size());
    }
    // Places for new pads are not worked out on a panel; all other advice is.
    auto advised = [](const Outcome& o) {
      Lines rows = columns(advice_csv(o), {"net", "kind", "class", "gain"});
      rows.erase(
          std::remove_if(rows.begin(), rows.end(), [](const std::string& r) { return r.find("add pad") != r.npos; }),
          rows.end());
      return rows;
    };
    for (const char* place : {"P1", "P2"}) CHECK(rows_of(advised(b), place) == sorted(advised(a)));
    const auto page_of_one = nlohmann::json::parse(page_data(a, {})),
               page_of_two = nlohmann::json::parse(page_data(b, {}));
    for (const char* list : {"nets", "parts", "targets", "probes", "wires"}) {
      INFO(list);
      CHECK(page_of_two[list].size() == 2 * page_of_one[list].size());
    }
    // The headline, the ways to build it and the money are about the same boards.
    CHECK(b.results.coverage.wanted_nets == 2 * a.results.coverage.wanted_nets);
    CHECK(b.results.coverage.met_nets == 2 * a.results.coverage.met_nets);
    CHECK(b.results.coverage.mandatory_unmet == 2 * a.results.coverage.mandatory_unmet);
    CHECK(b.results.coverage.waived.size() == 2 * a.results.coverage.waived.size());
    REQUIRE(b.plan.options.size() == a.plan.options.size());
    for (std::size_t i = 0; i < a.plan.options.size(); ++i) {
      INFO(a.plan.options[i].option.name());
      CHECK(nets_met(b.needs, b.plan.options[i]) == 2 * nets_met(a.needs, a.plan.options[i]));
      CHECK(b.plan.options[i].probes.size() == 2 * a.plan.options[i].probes.size());
      CHECK(b.results.cost.beds[i].needs == 2 * a.results.cost.beds[i].needs);
    }
    CHECK(b.results.cost.boards == 2 * a.results.cost.boards);
    CHECK(b.results.cost.flying.wanted == 2 * a.results.cost.flying.wanted);
    CHECK(b.results.cost.flying.reached == 2 * a.results.cost.flying.reached);
    CHECK(b.results.cost.flying.stops.size() == 2 * a.results.cost.flying.stops.size());
    CHECK(b.results.cost.flying_per_board < a.results.cost.flying_per_board);  // loaded once for two
    auto needed = [](const Outcome& o, const std::string& item) {
      double n = 0;
      for (const Material& m : o.results.cost.materials) n += m.item == item ? m.needed : 0;
      return n;
    };
    CHECK(needed(b, "receptacle") == 2 * needed(a, "receptacle"));
    CHECK(needed(b, "probe") == 2 * needed(a, "probe"));
    CHECK(needed(b, "mating connector") == 2 * needed(a, "mating connector"));
    CHECK(needed(b, "base frame") == needed(a, "base frame"));  // a bed has one

    const Audit &x = a.results.audit, &y = b.results.audit;
    CHECK(y.score == Approx(x.score));
    auto twice = [](const Share& of_one, const Share& of_two) {
      CHECK(of_two.reached == 2 * of_one.reached);
      CHECK(of_two.all == 2 * of_one.all);
    };
    for (const auto part : {&Audit::nets, &Audit::pins, &Audit::components, &Audit::two_poles, &Audit::pins_with_scan,
                            &Audit::nets_with_scan, &Audit::bottom, &Audit::top, &Audit::either})
      twice(x.*part, y.*part);
    REQUIRE(y.variants.size() == x.variants.size());
    for (std::size_t i = 0; i < x.variants.size(); ++i) {
      CHECK(y.variants[i].name == x.variants[i].name);
      twice(x.variants[i].components, y.variants[i].components);
      twice(x.variants[i].pins, y.variants[i].pins);
      twice(x.variants[i].two_poles, y.variants[i].two_poles);
    }
    // One fact is one line, however many boards it holds on.
    REQUIRE(y.gate_failures.size() == x.gate_failures.size());
    for (std::size_t i = 0; i < x.gate_failures.size(); ++i) {
      const bool of_boards =
          x.gate_failures[i].rfind("interface", 0) == 0 || x.gate_failures[i].rfind("supply", 0) == 0;
      const bool none_such = x.gate_failures[i].find("no such interface") != std::string::npos;
      CHECK(y.gate_failures[i] == x.gate_failures[i] + (of_boards && !none_such ? ", on both boards" : ""));
    }
    const Lines before = cautions(a), after = cautions(b);
    REQUIRE(after.size() == before.size());
    bool lithium = false;
    for (std::size_t i = 0; i < before.size(); ++i) {
      std::string told = after[i];
      if (const std::size_t at = told.find(" on each board"); at != std::string::npos) told.erase(at, 14);
      CHECK(told == before[i]);
      lithium |= told.find("Lithium") == 0 && told.find("J2") != std::string::npos;
    }
    CHECK(lithium);
    // Plates of another size bend and have room otherwise.
    auto codes = [](const Run& run) {
      std::map<std::string, int> n;
      for (const Finding& f : run.diagnostics.all())
        if (f.code != "panel" && f.code != "plate-bends" && f.code != "mount-no-room" &&
            f.code.rfind("tooling", 0) != 0)
          ++n[f.code];
      std::string told;
      for (const auto& [code, count] : n) told += code + " " + std::to_string(count) + "\n";
      return told;
    };
    CHECK(codes(*two) == codes(*one));
  }
}

TEST_CASE("a panel of two boards: limits of parts, ceramics and cells are those of each board (same job twice)") {
  const Case& c = cases()[1];
  const auto one = worked_out(job_text(c, "", false, true)),
             two = worked_out(job_text(c, "[panel.array]\ncolumns = 2\npitch = [\"120 mm\", \"0 mm\"]\n", false, true));
  struct Known {
    bool sensitive = false;
    Microstrain limit;
    bool operator==(const Known& k) const { return sensitive == k.sensitive && limit == k.limit; }
  };
  auto known = [](const Run& run, PlaceId place) {
    std::map<std::string, Known> out;
    for (const PartStrain& p : run.results.mechanics.parts)
      if (const Component& part = run.board.components[p.component]; part.panel_place == place)
        out[part.name.plain()] = {p.sensitive, p.limit};
    return out;
  };
  const auto single = known(*one, PlaceId{});
  REQUIRE(single.count("U1") == 1);
  CHECK(single.at("U1").limit.v == Approx(7));
  CHECK(single.at("C1").sensitive);
  CHECK_FALSE(single.at("LED1").sensitive);
  CHECK(known(*two, PlaceId{0}) == single);
  CHECK(known(*two, PlaceId{1}) == single);
  // Sensitive parts come first, on every board.
  const auto first_other = std::find_if(two->results.mechanics.parts.begin(), two->results.mechanics.parts.end(),
                                        [](const PartStrain& p) { return !p.sensitive; });
  CHECK(std::none_of(first_other, two->results.mechanics.parts.end(), [](const PartStrain& p) { return p.sensitive; }));
  for (const Run* run : {one.get(), two.get()})
    CHECK(std::count_if(run->diagnostics.all().begin(), run->diagnostics.all().end(), [](const Finding& f) {
            return f.code == "components-not-found" && f.found == "U11" &&
                   f.remedy.find("perhaps U1") != std::string::npos;
          }) == 1);
}

TEST_CASE("a limit may name the part on one board of a panel, and that counts there before the plain name (by hand)") {
  const Case c{"one board's part", {}, "[mechanics.part_limit_ue]\nU1 = 7.0\n\"P2:U1\" = 9.0\n\"P3:U1\" = 9.0\n"};
  const auto two = worked_out(job_text(c, "[panel.array]\ncolumns = 2\npitch = [\"120 mm\", \"0 mm\"]\n", false, true));
  std::map<std::string, double> limit;
  for (const PartStrain& p : two->results.mechanics.parts) limit[two->board.components[p.component].name] = p.limit.v;
  CHECK(limit.at("P1:U1") == Approx(7));
  CHECK(limit.at("P2:U1") == Approx(9));
  CHECK(std::count_if(two->diagnostics.all().begin(), two->diagnostics.all().end(),
                      [](const Finding& f) { return f.code == "components-not-found" && f.found == "P3:U1"; }) == 1);
}

TEST_CASE("facts of boards are told once each, with the boards on which they hold (by hand)") {
  Board panel;
  for (const char* name : {"P1", "P2", "P3", "P4", "P5"}) panel.places.push_back({name, {}, false});
  ByBoard facts;
  for (std::size_t i = 0; i < 5; ++i) facts.add(PlaceId{i}, "all");
  for (std::size_t i = 0; i < 4; ++i) facts.add(PlaceId{i}, "most");
  for (const std::size_t i : {1, 3}) facts.add(PlaceId{i}, "some");
  for (const std::size_t i : {2, 2}) facts.add(PlaceId{i}, "said twice");
  Lines told;
  for (const ByBoard::Told& t : facts.told(panel)) told.push_back(t.text());
  CHECK(told == Lines{"all, on all 5 boards", "most, on 4 of 5 boards", "some, on 2 of 5 boards (P2, P4)",
                      "said twice, on 1 of 5 boards (P3)", "said twice, on 1 of 5 boards (P3)"});
  CHECK(facts.told(Board{})[0].text() == "all");
}
