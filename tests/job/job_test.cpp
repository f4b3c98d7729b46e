#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <fstream>
#include <map>
#include <set>

#include "teasel/job.h"
#include "teasel/job/shipped.h"

using namespace teasel;

TEST_CASE(
    "lengths and forces need their unit (25.4 mm to the inch by definition; ounce-force 0.2780139 N, NIST SP 811)") {
  CHECK(parse_length("4 mil")->v == Approx(0.1016));
  CHECK(parse_length("0.1 mm")->v == Approx(0.1));
  CHECK(parse_length("1 in")->v == Approx(25.4));
  CHECK_FALSE(parse_length("0.1"));
  CHECK_FALSE(parse_length("mm"));
  CHECK(parse_force("6 oz")->v == Approx(6 * 0.2780139).epsilon(1e-6));
  CHECK(parse_force("80 gf")->v == Approx(0.784532));
}

TEST_CASE("what release files say gets into a first job file as values alone (TOML 1.0.0, hostile names by hand)") {
  const std::string hostile = "a\"b\\c\n[[ban]]\nnet = \"*\"\r\n#\x1b[2J\x01 \xE2\x80\xAE \xC2\x9B'''";
  Job job;
  job.name = hostile;
  job.revision = hostile + "r";
  JobInputs& inputs = job.inputs;
  inputs.netlist_file = hostile + ".ipc";
  inputs.gerbers.resize(1);
  inputs.gerbers[0].file = hostile + ".gbr";
  inputs.gerbers[0].role = LayerRole::copper_top;
  inputs.drills.resize(1);
  inputs.drills[0].file = hostile + ".drl";
  inputs.placement_files = {hostile + "1.csv", hostile + "2.csv"};
  inputs.cad_file = hostile + ".xml";
  inputs.cad_step = inputs.cad_variant = hostile;
  inputs.idf_board = hostile + ".emn";
  inputs.idf_library = hostile + ".emp";
  inputs.bom_file = hostile + ".bom";
  inputs.bom_variant = hostile;
  inputs.bsdl.resize(1);
  inputs.bsdl[0].file = hostile + ".bsd";
  inputs.bsdl[0].component = hostile;
  inputs.lone_files["inputs.heights.file"] = hostile + ".heights";
  inputs.outline_file = hostile + ".gbr";
  std::map<std::string, std::vector<std::string>> evidence;
  for (const std::string& key :
       {std::string("board"), std::string("ignored"), std::string("need"), std::string("inputs.netlist.file"),
        std::string("components"), hostile + ".gbr", hostile + ".gbr#image", hostile + ".drl"})
    evidence[key] = {hostile};
  Diagnostics diagnostics;
  const Job back = read_job(write_first_job(job, evidence), "j.toml", diagnostics);
  for (const Finding& finding : diagnostics.all()) UNSCOPED_INFO(to_string(finding));
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(back.name == job.name);
  CHECK(back.revision == job.revision);
  CHECK(back.inputs.netlist_file == inputs.netlist_file);
  REQUIRE(back.inputs.gerbers.size() == 1);
  CHECK(back.inputs.gerbers[0].file == inputs.gerbers[0].file);
  REQUIRE(back.inputs.drills.size() == 1);
  CHECK(back.inputs.drills[0].file == inputs.drills[0].file);
  CHECK(back.inputs.placement_files == inputs.placement_files);
  CHECK(back.inputs.cad_file == inputs.cad_file);
  CHECK(back.inputs.cad_step == inputs.cad_step);
  CHECK(back.inputs.cad_variant == inputs.cad_variant);
  CHECK(back.inputs.idf_board == inputs.idf_board);
  CHECK(back.inputs.idf_library == inputs.idf_library);
  CHECK(back.inputs.bom_file == inputs.bom_file);
  CHECK(back.inputs.bom_variant == inputs.bom_variant);
  REQUIRE(back.inputs.bsdl.size() == 1);
  CHECK(back.inputs.bsdl[0].component == hostile);
  CHECK(back.inputs.lone_files == inputs.lone_files);
  CHECK(back.inputs.outline_file == inputs.outline_file);
  CHECK(back.decisions.bans.empty());
  CHECK(back.decisions.locks.empty());
}

TEST_CASE("a keep-out that crosses itself hundreds of times is refused at once (by hand)") {
  const auto star = [](int corners) {
    std::string text = "[[keep_out]]\nside = \"top\"\npolygon = [";
    for (int i = 0; i < corners; ++i) {
      const double angle = 2 * 3.14159265358979 * (i * (corners / 2) % corners) / corners;
      text += "[\"" + std::to_string(50 + 40 * std::cos(angle)) + " mm\", \"" +
              std::to_string(50 + 40 * std::sin(angle)) + " mm\"], ";
    }
    return text + "]\n";
  };
  const std::string inputs = "[inputs.netlist]\nfile = \"a.ipc\"\n";
  Diagnostics good, crossing, many;
  read_job(inputs + star(5), "j.toml", good);
  for (const Finding& finding : good.all()) UNSCOPED_INFO(to_string(finding));
  CHECK_FALSE(good.failed());
  read_job(inputs + star(1999), "j.toml", crossing);
  REQUIRE(crossing.failed());
  CHECK(crossing.all()[0].message.find("crosses itself") != std::string::npos);
  read_job(inputs + star(5001), "j.toml", many);
  REQUIRE(many.failed());
  CHECK(many.all()[0].message.find("corners") != std::string::npos);
}

TEST_CASE("an unknown key is an error that suggests the nearest one (constructed fault)") {
  Diagnostics diagnostics;
  read_job("[inputs.netlist]\nfile = \"a.ipc\"\nmask_feild = \"open\"\n", "j.toml", diagnostics);
  REQUIRE(diagnostics.failed());
  CHECK(diagnostics.all()[0].code == "job-unknown-key");
  CHECK(diagnostics.all()[0].place.line == 3);
  CHECK(diagnostics.all()[0].expected.find("mask_field") != std::string::npos);
}

TEST_CASE("a code that [checks] accept cannot take is an error that suggests the nearest one (constructed faults)") {
  const std::string netlist = "[inputs.netlist]\nfile = \"a.ipc\"\n[checks]\naccept = ";
  Diagnostics good;
  CHECK(read_job(netlist + "[\"check-idf-off\", \"photo-side\"]\n", "j.toml", good).inputs.accept.size() == 2);
  CHECK(good.all().empty());

  Diagnostics misspelt;  // one letter off
  read_job(netlist + "[\"check-idf-of\", \"photo-side\"]\n", "j.toml", misspelt);
  REQUIRE(misspelt.errors() == 1);
  CHECK(misspelt.all()[0].code == "job-bad-value");
  CHECK(misspelt.all()[0].place.line == 4);
  CHECK(misspelt.all()[0].found == "check-idf-of");
  CHECK(misspelt.all()[0].expected == "perhaps check-idf-off");

  Diagnostics strict;  // a code that exists, but is no cross-check
  read_job(netlist + "[\"check-placement\"]\n", "j.toml", strict);
  REQUIRE(strict.errors() == 1);
  CHECK(strict.all()[0].message == "this finding cannot be accepted");
  CHECK(strict.all()[0].expected == "perhaps check-placement-off");
}

TEST_CASE(
    "a value out of range, a bare number for a length and a syntax error are refused with their place "
    "(constructed faults)") {
  for (const char* text : {"[plan]\ntime_limit_s = -1\n[inputs.netlist]\nfile='a'\n",
                           "[board]\nthickness = 1.6\n[inputs.netlist]\nfile='a'\n", "[board\n",
                           "[inputs.netlist]\nfile='a'\n[fixture]\nsides='left'\n"}) {
    Diagnostics diagnostics;
    read_job(text, "j.toml", diagnostics);
    INFO(text);
    REQUIRE(diagnostics.failed());
    CHECK(diagnostics.all()[0].place.line > 0);
  }
}

TEST_CASE("a first job file reads back to what was written, odd names included (round trip)") {
  Job job;
  job.name = "board \"A\"\\1";
  job.inputs.netlist_file = "a b/n.ipc";
  job.inputs.netlist_unit = "0.0001 in";
  job.inputs.netlist_offset = Point{1.5, -2.25};
  job.inputs.netlist_mask = "covered";
  job.inputs.gerbers.resize(2);
  job.inputs.gerbers[0].file = "top copper.art";
  job.inputs.gerbers[0].role = LayerRole::copper_top;
  job.inputs.gerbers[1].file = "smt.art";
  job.inputs.gerbers[1].role = LayerRole::mask_top;
  job.inputs.gerbers[1].mask_image_inverted = true;
  DrillInput drill;
  drill.file = "d.drl";
  drill.unit = "inch";
  drill.digits = "2.5";
  drill.zeros = "leading kept";
  job.inputs.drills.push_back(drill);
  job.inputs.outline_file = "top copper.art";
  job.inputs.outline_area = Mm2{123.45};
  Diagnostics diagnostics;
  const Job back = read_job(write_first_job(job, {{"inputs.netlist.file", {"evidence"}}}), "j.toml", diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(back.name == job.name);
  CHECK(back.inputs.netlist_offset == job.inputs.netlist_offset);
  CHECK(back.inputs.gerbers[1].mask_image_inverted);
  CHECK(back.inputs.drills[0].zeros == "leading kept");
  CHECK(back.inputs.outline_area.v == Approx(123.45));
}

TEST_CASE(
    "the shipped files read without fault and hold the trade's values (IPC TechNet list, October 1999; common "
    "practice)") {
  Diagnostics diagnostics;
  const Rules rules = read_rules(*shipped("rules", "standard"), "rules", diagnostics);
  const Catalogue catalogue = read_catalogue(*shipped("catalogues", "standard"), "catalogue", diagnostics);
  const InterfaceTable table = read_interfaces(*shipped("interfaces", "standard"), "interfaces", diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  // IPC TechNet list, October 1999, in mils: 25 / 35 on the main side, 40 to bodies, 200 to bodies above 250, 18 to
  // conductors.
  CHECK(rules.usual_land_main.v == Approx(0.65).margin(0.02));
  CHECK(rules.usual_land_other.v == Approx(0.9).margin(0.02));
  CHECK(rules.body(Mm{1.0}).rule.preferred.v == Approx(1.0).margin(0.02));
  CHECK(rules.body(Mm{7.0}).rule.preferred.v == Approx(5.1).margin(0.03));
  CHECK(rules.tall().v == Approx(250 * 0.0254));
  CHECK(rules.other_conductor.preferred.v == Approx(18 * 0.0254).margin(0.01));
  // Classes are named by their centre spacing in mils (common practice).
  REQUIRE(catalogue.classes.size() == 4);
  const Table<ClassId, double> mils = {100, 75, 50, 39};
  for (const ClassId id : catalogue.classes.ids())
    CHECK(catalogue.classes[id].spacing.v == Approx(mils[id] * 0.0254).margin(0.001));
  CHECK(table.kind_of("1149.1"));
}

TEST_CASE("globs: case-blind, digits by #, no runaway on many stars (by hand)") {
  CHECK(glob_match("swd*", "SWDIO"));
  CHECK(glob_match("GND#", "GND1"));
  CHECK_FALSE(glob_match("GND#", "GNDA"));
  CHECK(glob_match("*CLK*_N", "SPI_CLK0_N"));
  CHECK_FALSE(glob_match("*a*a*a*a*a*a*a*a*b", std::string(2000, 'a')));
}

TEST_CASE(
    "panels, covers, variants, waivers and keep-outs that cannot be are refused, each at its line "
    "(constructed faults)") {
  const std::string head = "[inputs.pads]\nfile = \"p.csv\"\n";
  const struct {
    std::string text, message;
  } rows[] = {
      {"[[panel.board]]\nat = [\"1e300 mm\", \"0 mm\"]\n", "out of range"},
      {"[panel]\nplans = \"alike\"\n", "a panel needs boards"},
      {"[[panel.board]]\nat = [\"0 mm\", \"0 mm\"]\n[[panel.board]]\nname = \"P1\"\nat = [\"90 mm\", \"0 mm\"]\n",
       "the same name"},
      {"[panel.array]\ncolumns = 2\n", "needs a pitch"},
      {"[[panel.board]]\nat = [\"0 mm\", \"0 mm\"]\n[[panel.hole]]\nat = [\"1 mm\", \"1 mm\"]\ndiameter = \"-3 mm\"\n",
       "out of range"},
      {"[[cover]]\nname = \"x\"\nfrom = [\"0 mm\", \"0 mm\"]\nto = [\"0 mm\", \"9 mm\"]\nheight = \"5 mm\"\n",
       "holds no area"},
      {"[[cover]]\nname = \"x\"\nfrom = [\"0 mm\", \"0 mm\"]\nto = [\"9 mm\", \"9 mm\"]\nheight = \"2 mm\"\nstandoff = "
       "\"3 mm\"\n",
       "less than the cover's height"},
      {"[[keep_out]]\nfrom = [\"0 mm\", \"0 mm\"]\nto = [\"9 mm\", \"9 mm\"]\nfrom_height = \"4 mm\"\nto_height = \"3 "
       "mm\"\n",
       "end higher than it begins"},
      {"[[variant]]\nname = \"a\"\n[[variant]]\nname = \"a\"\n", "the same name"},
      {"[[waiver]]\nnet = \"A\"\ntarget = \"B\"\nrule = \"c\"\n", "needs a reason"},
      {"[board]\nfinish = \"shiny\"\n", "allowed values"},
  };
  for (const auto& r : rows) {
    Diagnostics diagnostics;
    read_job(head + r.text, "j.toml", diagnostics);
    INFO(r.text);
    REQUIRE(diagnostics.failed());
    CHECK(diagnostics.all()[0].message.find(r.message) != std::string::npos);
    CHECK(diagnostics.all()[0].place.line > 2);
  }
  // The rule file knows the kinds of keep-outs, and where plates stand.
  Diagnostics diagnostics;
  Job job;
  KeepOut k;
  k.kind = "camra";
  job.decisions.keep_outs = {k};
  Rules rules = read_rules(*shipped("rules", "standard"), "rules", diagnostics);
  const Catalogue catalogue = read_catalogue(*shipped("catalogues", "standard"), "catalogue", diagnostics);
  rules.plate_distance = Mm{5};
  check_together(job, catalogue, rules, diagnostics);
  CHECK(std::count_if(diagnostics.all().begin(), diagnostics.all().end(),
                      [](const Finding& f) { return f.code == "keep-out-kind"; }) == 1);
  CHECK(std::count_if(diagnostics.all().begin(), diagnostics.all().end(),
                      [](const Finding& f) { return f.code == "probe-through-plate"; }) == 4);
}

TEST_CASE("option paths are unique (law)") {
  std::set<std::string> seen;
  for (const Option& o : job_options()) CHECK(seen.insert(o.path).second);
  CHECK(seen.size() > 40);
}

TEST_CASE(
    "a job changes single rules, and what it says wrongly is found in the job file (the job file's own "
    "statement)") {
  const std::string standard(*shipped("rules", "standard"));
  const auto changed = [&](const std::string& job, Diagnostics& diagnostics) {
    return read_rules(standard, "rules/standard.toml", diagnostics, job, "job.toml");
  };
  Diagnostics diagnostics;
  const Rules before = read_rules(standard, "rules", diagnostics);
  const Rules rules = changed(
      "[rule_changes]\nrule.board_edge.preferred = \"7 mm\"\nlimits.web = \"0.31 mm\"\nvoltage = [ { above = 10.0, "
      "clearance = \"4 mm\" } ]\n",
      diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(rules.board_edge.preferred.v == 7);
  CHECK(rules.web.v == Approx(0.31));
  CHECK(rules.voltages.size() == 1);
  CHECK(rules.board_edge.least.has_value() == before.board_edge.least.has_value());
  CHECK(rules.other_conductor.preferred.v == before.other_conductor.preferred.v);
  Diagnostics wrong;
  changed("\n[rule_changes]\nlimits.web = 3\n", wrong);
  REQUIRE(wrong.failed());
  CHECK(wrong.all()[0].place.file == "job.toml");
  CHECK(wrong.all()[0].place.line == 3);
  Diagnostics unknown;
  changed("[rule_changes]\nrule.board_egde.least = \"1 mm\"\n", unknown);
  REQUIRE(unknown.failed());
  CHECK(unknown.all()[0].place.file == "job.toml");
  CHECK(unknown.all()[0].expected == "perhaps board_edge");
  Diagnostics listed;
  const Job job =
      read_job("[rule_changes]\nlimits.web = \"0.3 mm\"\n[inputs.pads]\nfile = \"p.csv\"\n", "job.toml", listed);
  REQUIRE_FALSE(listed.failed());
  CHECK(job.fixture.rule_changes == std::vector<std::string>{"limits.web = 0.3 mm"});
}

TEST_CASE(
    "facts and decisions of a job file arrive as they are written; what cannot be is refused at its line (the "
    "job file's own statement)") {
  Diagnostics diagnostics;
  const Job j = read_job(R"([inputs.netlist]
file = "a.ipc"
[components.height]
U7 = "3.2 mm"
"J*" = "0.5 in"
[components.protrusion]
J1 = "40 mil"
[components.side]
BT1 = "bottom"
[[hole]]
at = ["10 mm", "20 mm"]
side = "top"
class = "75 mil"
state = "plugged"
[[lock]]
net = "SWDIO"
target = "TP1"
side = "bottom"
class = "100 mil"
[[support]]
at = ["5 mm", "6 mm"]
side = "bottom"
kind = "board stop"
[[mate]]
component = "J3"
side = "top"
price = 12.5
force = "8 N"
[[ban]]
target = "TP9"
reason = "under a label"
[[waiver]]
net = "N1"
target = "TP2"
side = "top"
rule = "board edge near"
reason = "routed later"
[mechanics]
closing_seconds = 0.5
modulus_gpa = 18
modulus_across_gpa = 16
strain_limit_ue = 400
[mechanics.part_limit_ue]
C1 = 250
)",
                         "j.toml", diagnostics);
  REQUIRE_FALSE(diagnostics.failed());
  CHECK(j.parts.heights.at("U7").v == Approx(3.2));
  CHECK(j.parts.heights.at("J*").v == Approx(12.7));  // 25.4 mm to the inch by definition
  CHECK(j.parts.protrusions.at("J1").v == Approx(1.016));
  CHECK(j.parts.sides.at("BT1") == Side::bottom);
  REQUIRE(j.decisions.old_holes.size() == 1);
  const OldHole& hole = j.decisions.old_holes.front();
  CHECK((hole.at == Point{10, 20} && hole.side == Side::top));
  CHECK((hole.probe_class == "75 mil" && hole.state == "plugged"));
  REQUIRE(j.decisions.locks.size() == 1);
  const Lock& lock = j.decisions.locks.front();
  CHECK((lock.net == "SWDIO" && lock.target == "TP1" && lock.side == Side::bottom));
  CHECK((lock.probe_class == "100 mil" && lock.place.line == 15));
  REQUIRE(j.mechanics.supports.size() == 1);
  const Support& support = j.mechanics.supports.front();
  CHECK((support.at.y == 6 && support.side == Side::bottom && !support.finger));
  REQUIRE(j.decisions.mates.size() == 1);
  const Mate& mate = j.decisions.mates.front();
  CHECK((mate.component == "J3" && mate.side == Side::top && mate.price == Money{12.5} && mate.force == Newton{8}));
  REQUIRE(j.decisions.bans.size() == 1);
  CHECK((j.decisions.bans.front().target == "TP9" && j.decisions.bans.front().reason == "under a label"));
  REQUIRE(j.decisions.waivers.size() == 1);
  CHECK((j.decisions.waivers.front().rule == "board edge near" && j.decisions.waivers.front().side == Side::top));
  CHECK(j.mechanics.closing == Seconds{0.5});
  CHECK((j.mechanics.modulus->v == Approx(18000) && j.mechanics.modulus_across->v == Approx(16000)));
  CHECK((j.mechanics.strain_limit->v == Approx(400) && j.mechanics.part_limits.at("C1").v == Approx(250)));

  for (const char* text : {"[[hole]]\nside = \"top\"\nclass = \"75 mil\"\n", "[[hole]]\nat = [\"1 mm\", \"2 mm\"]\n",
                           "[[lock]]\nnet = \"A\"\n", "[[ban]]\nreason = \"none\"\n", "[[support]]\nside = \"top\"\n",
                           "[[mate]]\nside = \"top\"\n", "[[need]]\nwanted = 2\n", "[components.side]\nU1 = \"left\"\n",
                           "[components.height]\nU1 = 3\n"}) {
    Diagnostics wrong;
    read_job(std::string("[inputs.netlist]\nfile = \"a.ipc\"\n") + text, "j.toml", wrong);
    INFO(text);
    REQUIRE(wrong.failed());
    CHECK(wrong.all()[0].place.line >= 3);
  }
}

TEST_CASE("every number of the option table has a range and a default within it (two columns of one table)") {
  int numbers = 0;
  for (const Option& row : job_options()) {
    const std::string type = row.type;
    if (type != "number" && type != "whole") continue;
    ++numbers;
    INFO(row.path);
    CHECK(row.least < row.most);
    char* end = nullptr;
    const double standard = std::strtod(row.standard, &end);
    if (end != row.standard) {
      CHECK(standard >= row.least);
      CHECK(standard <= row.most);
    }
  }
  CHECK(numbers > 20);
}

namespace {
/// A job that states this one key, whatever its value is worth.
std::string stating(const std::string& path, const std::string& type) {
  const std::size_t dot = path.rfind('.');
  const std::string key = path.substr(dot == path.npos ? 0 : dot + 1);
  std::string table = dot == path.npos ? "" : path.substr(0, dot);
  const bool list = table.ends_with("[]");
  if (list) table.resize(table.size() - 2);
  const std::map<std::string, std::string> values = {{"whole", "1"},      {"number", "1.0"}, {"yes/no", "true"},
                                                     {"list", "[]"},      {"table", "{}"},   {"length", "\"1 mm\""},
                                                     {"point", "[1, 2]"}, {"text", "\"x\""}};
  const std::string head = table.empty() ? "" : (list ? "[[" : "[") + table + (list ? "]]\n" : "]\n");
  return head + key + " = " + values.at(type) + "\n";
}
}  // namespace

TEST_CASE("every key of the option table has its reader (law: a key that nobody takes is unknown)") {
  for (const Option& row : job_options()) {
    const std::string path = row.path;
    if (path.ends_with("[]") || path.ends_with("*")) continue;  // whole tables, whose keys are read elsewhere
    Diagnostics diagnostics;
    read_job(stating(path, row.type), "j.toml", diagnostics);
    INFO(path);
    for (const Finding& finding : diagnostics.all()) {
      CHECK(finding.code != "job-unknown-key");
      CHECK(finding.code != "job-syntax");
    }
  }
}

TEST_CASE("the job file's help and the manual name every shipped kit and style (the files of fixtures/)") {
  std::ifstream file(TEASEL_SOURCE "/data/manual/first-board.md");
  const std::string page{std::istreambuf_iterator<char>(file), {}};
  for (const auto& [key, kind] : {std::pair{"fixture.kit", "kits"}, {"fixture.style", "styles"}}) {
    const std::string help = job_option(key)->help;
    REQUIRE_FALSE(shipped_names(kind).empty());
    for (const std::string& name : shipped_names(kind)) {
      INFO(name);
      CHECK(help.find(name) != help.npos);
      CHECK(page.find("`" + name + "`") != page.npos);
    }
  }
}
