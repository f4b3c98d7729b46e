// The program's face: commands, exit status, what is written and what is not.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <map>
#include <nlohmann/json.hpp>
#include <set>

#include "run_command.h"

using namespace test;

namespace {
std::string demo_job() {
  return "'" + source() + "/fixtures/jobs/buoy-node.toml'";
}
std::set<std::string> listing(const fs::path& p) {
  std::set<std::string> names;
  for (const auto& e : fs::recursive_directory_iterator(p))
    if (e.is_regular_file()) names.insert(fs::relative(e.path(), p).generic_string());
  return names;
}
void copy_demo(const fs::path& to) {
  fs::copy(source() + "/data/demo", to, fs::copy_options::recursive);
}
void replace_in(const fs::path& file, const std::string& from, const std::string& to) {
  std::string s = slurp(file);
  const std::size_t at = s.find(from);
  REQUIRE(at != std::string::npos);
  s.replace(at, from.size(), to);
  std::ofstream(file, std::ios::binary) << s;
}
}  // namespace

TEST_CASE("version and help end with status 0, wrong calls with 1 (manual, first-board: exit status)") {
  Folder f;
  CHECK(run(teasel() + "--version", f.path).status == 0);
  CHECK(run(teasel() + "--help", f.path).status == 0);
  CHECK(run(teasel() + "plan --help", f.path).status == 0);
  CHECK(run(teasel(), f.path).status == 1);
  CHECK(run(teasel() + "paln x", f.path).status == 1);
  CHECK(run(teasel() + "plan", f.path).status == 1);
  CHECK(run(teasel() + "plan no-such.toml", f.path).status == 1);
  CHECK(run(teasel() + "plan --time-limit -3 x.toml", f.path).status == 1);
}

TEST_CASE(
    "the demo is planned: status 0, every output written, JSON summary on standard output (manual, outputs: what is "
    "written)") {
  Folder f;
  const Result r = run(teasel() + "plan " + demo_job() + " -o out --json", f.path);
  INFO(r.err);
  REQUIRE(r.status == 0);
  const auto j = nlohmann::json::parse(r.out);
  CHECK(j["mandatory_unmet"] == 0);
  CHECK(j["proven"] == true);
  const auto names = listing(f.path / "out");
  for (const char* n : {"plan.json", "probes.csv", "coverage.csv", "blocked.csv", "wiring.csv", "board-top.svg",
                        "board-bottom.svg", "report.html"})
    CHECK(names.count(n) == 1);
  CHECK(std::count_if(names.begin(), names.end(), [](const std::string& n) { return n.rfind("plates/", 0) == 0; }) >=
        2);
  CHECK(fs::exists(f.path / "out/choices.csv"));
  CHECK(slurp(f.path / "out/probes.csv")
            .rfind(
                "probe,net,role,side,target,component,pin,x_mm,y_mm,class,tip,force_N,odds,receptacle_drill_mm,notes\n",
                0) == 0);
  CHECK(slurp(f.path / "out/coverage.csv")
            .rfind("net,role,mandatory,wanted,got,targets,open_top,open_bottom,status,reason\n", 0) == 0);
  CHECK(slurp(f.path / "out/blocked.csv")
            .rfind("target,net,component,pin,side,x_mm,y_mm,class,reason,measured,required,unit,obstacle\n", 0) == 0);
  const auto plan = nlohmann::json::parse(slurp(f.path / "out/plan.json"));
  const std::string id = plan["plan_id"];
  for (const auto& n : names)
    if (n.find(".drl") != std::string::npos || n.find(".svg") != std::string::npos || n == "report.html" ||
        n == "wiring.csv")
      CHECK(slurp(f.path / "out" / n).find(id) != std::string::npos);
  CHECK(plan["outputs"].size() == names.size() - 1);
  // Twice the same bytes, on one thread as on two.
  REQUIRE(run("TEASEL_THREADS=1 " + teasel() + "plan " + demo_job() + " -o again", f.path).status == 0);
  for (const auto& n : names) CHECK(slurp(f.path / "out" / n) == slurp(f.path / "again" / n));
}

TEST_CASE(
    "the demo's plan holds before the proof checker, and costs what plan.json says (another program: the "
    "proof checker)") {
  Folder f;
  REQUIRE(run(teasel() + "plan " + demo_job() + " -o out --proof", f.path).status == 0);
  const Result r = run("'" CHECK_PROOF_BINARY "' out/plan.proof --proven", f.path);
  INFO(r.out);
  CHECK(r.status == 0);
  const auto plan = nlohmann::json::parse(slurp(f.path / "out/plan.json"));
  for (const auto& o : plan["options"]) {
    const auto& c = o["cost_cents"];
    long long sum = c["beds"].get<long long>() + c["mates"].get<long long>() + c["wishes"].get<long long>() +
                    c["unmet"].get<long long>();
    for (const auto& part : c["probes"]) sum += part.get<long long>();
    CHECK(sum == o["objective_cents"].get<long long>());
    CHECK(o["bound_cents"] == o["objective_cents"]);
  }
}

TEST_CASE("start, check, audit and plan go through untouched from a folder (manual, first-board: the six steps)") {
  Folder f;
  copy_demo(f.path / "release");
  REQUIRE(run(teasel() + "start release", f.path).status == 0);
  CHECK(fs::exists(f.path / "job.toml"));
  CHECK(run(teasel() + "start release", f.path).status == 1);  // an existing job file is not replaced
  const auto before = listing(f.path);
  const Result check = run(teasel() + "check job.toml", f.path);
  CHECK(check.status == 0);
  CHECK(check.out.find("netlist points") != std::string::npos);
  CHECK(listing(f.path) == before);
  CHECK(run(teasel() + "audit job.toml -o audit", f.path).status == 0);
  CHECK(listing(f.path / "audit") == std::set<std::string>{"advice-bottom.svg", "advice-top.svg", "advice.csv",
                                                           "blocked.csv", "components.csv", "coverage.csv",
                                                           "interfaces.csv", "nearly-open.csv", "scan-nets.csv",
                                                           "scan-pins.csv", "supplies.csv"});
  CHECK(run(teasel() + "plan job.toml", f.path).status == 0);
  CHECK(fs::exists(f.path / "job-plan/plan.json"));
}

TEST_CASE("an unmet mandatory need ends with status 2, everything written (manual, first-board: exit status)") {
  Folder f;
  copy_demo(f.path / "r");
  REQUIRE(run(teasel() + "start r", f.path).status == 0);
  std::ofstream(f.path / "job.toml", std::ios::app) << "\n[[need]]\nnets = \"BUS0\"\nmandatory = true\n";
  const Result r = run(teasel() + "plan job.toml --no-mechanics -o out", f.path);
  CHECK(r.status == 2);
  CHECK(fs::exists(f.path / "out/plan.json"));
  CHECK(r.out.find("NOT TESTABLE") != std::string::npos);
  CHECK(run(teasel() + "audit job.toml --no-mechanics", f.path).status == 2);
}

TEST_CASE(
    "what the job asks for and the board has not: what is mandatory stops the plan, the rest is named "
    "(constructed faults)") {
  Folder f;
  copy_demo(f.path / "demo");
  REQUIRE(run(teasel() + "start demo -o job.toml -q", f.path).status == 0);
  const std::string job = slurp(f.path / "job.toml");
  auto with = [&](const std::string& more, const std::string& command) {
    std::ofstream(f.path / "other.toml", std::ios::binary) << job << more;
    return run(teasel() + command, f.path);
  };
  Result r = with("\n[[need]]\nnets = \"SWDI0\"\nmandatory = true\n", "plan other.toml -o out --no-mechanics -q");
  CHECK(r.status == 1);
  CHECK(r.err.find("need-fits-no-net") != std::string::npos);
  CHECK(r.err.find("perhaps SWDIO") != std::string::npos);
  CHECK_FALSE(fs::exists(f.path / "out"));
  r = with("\n[[interface]]\nkind = \"SPI\"\nname = \"no such\"\nmandatory = true\n",
           "audit other.toml --no-mechanics -q");
  CHECK(r.status == 1);
  CHECK(r.err.find("interface-not-found") != std::string::npos);
  r = with(
      "\n[[ban]]\nnet = \"NO_SUCH\"\n\n[[ban]]\ntarget = \"ZZ-*\"\n\n[[ban]]\nnet = \"SWD*\"\ntarget = "
      "\"*\"\n\n[kelvin]\ncomponents = [\"R9999\"]\n",
      "audit other.toml --no-mechanics");
  CHECK(r.err.find("NO_SUCH") != std::string::npos);
  CHECK(r.err.find("ZZ-*") != std::string::npos);
  CHECK(r.err.find("R9999") != std::string::npos);
  const std::size_t first = r.err.find("ban-fits-nothing"), second = r.err.find("ban-fits-nothing", first + 1);
  CHECK(second != std::string::npos);
  CHECK(r.err.find("ban-fits-nothing", second + 1) == std::string::npos);  // the third one fits
  r = run(teasel() + "plan job.toml --explain SWDI0 --no-mechanics", f.path);
  CHECK(r.status == 1);
  CHECK(r.err.find("perhaps SWDIO") != std::string::npos);
}

TEST_CASE(
    "a folder with somebody's files is left alone, and nothing is half written (manual, first-board: exit status)") {
  Folder f;
  fs::create_directories(f.path / "out");
  std::ofstream(f.path / "out/notes.txt") << "mine";
  CHECK(run(teasel() + "plan " + demo_job() + " -o out", f.path).status == 1);
  CHECK(listing(f.path / "out") == std::set<std::string>{"notes.txt"});
}

TEST_CASE("damaged releases are refused with the fault named, and no drill file is written (constructed faults)") {
  struct Damage {
    const char* what;
    std::function<void(const fs::path&)> make;
    const char* says;
  };
  auto scale_netlist = [](const fs::path& p) { replace_in(p / "r/buoy-node.ipc", "UNITS CUST 1", "UNITS CUST 0"); };
  auto job_offset = [](const fs::path& p) {
    replace_in(p / "job.toml", "offset = [\"0 mm\", \"0 mm\"]", "offset = [\"3 mm\", \"0 mm\"]");
  };
  auto swap_sides = [](const fs::path& p) {
    fs::rename(p / "r/buoy-node-B_Cu.gbr", p / "t");
    fs::rename(p / "r/buoy-node-F_Cu.gbr", p / "r/buoy-node-B_Cu.gbr");
    fs::rename(p / "t", p / "r/buoy-node-F_Cu.gbr");
  };
  auto mirror_bottom = [](const fs::path& p) {
    std::string s = slurp(p / "r/buoy-node-B_Cu.gbr"), out;
    for (std::size_t i = 0; i < s.size(); ++i) {
      out += s[i];
      // Plot words begin a line with X: the sign is turned, the board flipped about x = 0.
      if (s[i] == 'X' && (i == 0 || s[i - 1] == '\n')) out += s[i + 1] == '-' ? "" : "-";
    }
    std::ofstream(p / "r/buoy-node-B_Cu.gbr", std::ios::binary) << out;
  };
  auto cut = [](const fs::path& p) {
    fs::resize_file(p / "r/buoy-node-F_Mask.gbr", fs::file_size(p / "r/buoy-node-F_Mask.gbr") / 2);
  };
  auto drill_inch = [](const fs::path& p) {
    replace_in(p / "job.toml", "-PTH.drl\"\n", "-PTH.drl\"\noffset = [\"5 mm\", \"0 mm\"]\n");
  };
  auto swap_paste = [](const fs::path& p) {
    fs::rename(p / "r/buoy-node-B_Paste.gbr", p / "t");
    fs::rename(p / "r/buoy-node-F_Paste.gbr", p / "r/buoy-node-B_Paste.gbr");
    fs::rename(p / "t", p / "r/buoy-node-F_Paste.gbr");
  };
  auto mask_sense = [](const fs::path& p) { replace_in(p / "job.toml", "image = \"openings\"", "image = \"mask\""); };
  for (const Damage& d : {Damage{"netlist unit", scale_netlist, "2.54"},
                          {"netlist offset", job_offset, "offset of (-3, 0)"},
                          {"copper sides swapped", swap_sides, "check-points-off-copper"},
                          {"bottom mirrored", mirror_bottom, "mirrored"},
                          {"mask cut off", cut, "gerber-"},
                          {"drill offset", drill_inch, "check-drill-off-pads"},
                          {"mask sense", mask_sense, "check-mask-closed"},
                          {"paste sides swapped", swap_paste, "check-paste-off-copper"}}) {
    Folder f;
    copy_demo(f.path / "r");
    REQUIRE(run(teasel() + "start r", f.path).status == 0);
    // The job says how to read the netlist: what the file itself says must not be overruled in this test.
    d.make(f.path);
    if (std::string(d.what) == "netlist unit") replace_in(f.path / "job.toml", "unit = \"0.001 mm\"\n", "");
    const Result r = run(teasel() + "plan job.toml --no-mechanics -o out", f.path);
    INFO(d.what << "\n" << r.err);
    CHECK(r.status == 1);
    CHECK(r.err.find(d.says) != std::string::npos);
    CHECK_FALSE(fs::exists(f.path / "out"));
  }
}

TEST_CASE("a lock is kept, a lock on a blocked target is refused with the reason (manual, job-file)") {
  Folder f;
  copy_demo(f.path / "r");
  REQUIRE(run(teasel() + "start r", f.path).status == 0);
  const std::string job = slurp(f.path / "job.toml");
  std::ofstream(f.path / "job.toml") << job << "\n[[lock]]\nnet = \"GND\"\ntarget = \"J1-7\"\nside = \"bottom\"\n";
  REQUIRE(run(teasel() + "plan job.toml --no-mechanics -o out", f.path).status == 0);
  CHECK(slurp(f.path / "out/probes.csv").find(",J1-7,") != std::string::npos);
  std::ofstream(f.path / "job.toml") << job << "\n[[lock]]\nnet = \"TCK\"\ntarget = \"U1-96\"\n";
  const Result r = run(teasel() + "plan job.toml --no-mechanics -o no", f.path);
  CHECK(r.status == 1);
  CHECK(r.err.find("lock-not-kept") != std::string::npos);
  CHECK_FALSE(fs::exists(f.path / "no"));
}

TEST_CASE("a pad list alone is enough for a plan (counted by hand)") {
  Folder f;
  std::string s = "pad,net,side,x_mm,y_mm,width_mm,component,pin\n";
  for (int i = 0; i < 6; ++i)
    s += "P" + std::to_string(i) + ",N" + std::to_string(i / 2) + ",bottom," + std::to_string(5 * i) + ",0,1.2,,\n";
  fs::create_directories(f.path / "r");
  std::ofstream(f.path / "r/pads.csv") << s;
  REQUIRE(run(teasel() + "start r", f.path).status == 0);
  const Result r = run(teasel() + "plan job.toml --no-mechanics -o out --json", f.path);
  INFO(r.err);
  REQUIRE(r.status == 0);
  CHECK(nlohmann::json::parse(r.out)["nets_met"] == 3);
}

TEST_CASE(
    "layers draws file coordinates in millimetres, tells facts, and leaves other people's files alone (hand "
    "sum)") {
  Folder f;
  std::ofstream(f.path / "a.gbr") << "%FSLAX24Y24*%\n%MOIN*%\n%TF.FileFunction,Copper,L1,Top*%\n%ADD10C,0.1*%\nD10*"
                                     "\nX10000Y20000D02*\nX30000D01*\nM02*\n";
  const Result r = run(teasel() + "layers a.gbr --area -o out", f.path);
  REQUIRE(r.status == 0);
  const std::string svg = slurp(f.path / "out/a.gbr.svg");
  // A 2 inch stroke of a 0.1 inch pen from (1, 2) inch: x 24.13 to 77.47, y 49.53 to 52.07 mm; the box is turned upside
  // down.
  CHECK(svg.find("viewBox=\"24.13 -52.07 53.34 2.54\"") != std::string::npos);
  CHECK(svg.find("M25.4 50.8L76.2 50.8") != std::string::npos);
  CHECK(svg.find("stroke-width=\"2.54\"") != std::string::npos);
  // 50.8 x 2.54 and a disc of 2.54.
  const auto j = nlohmann::json::parse(run(teasel() + "layers a.gbr --area --no-svg --json", f.path).out);
  CHECK(j["layers"][0]["area_mm2"].get<double>() == Approx(50.8 * 2.54 + 3.14159265358979 * 1.27 * 1.27).epsilon(1e-3));
  CHECK(j["layers"][0]["attributes"][".FileFunction"] == "Copper,L1,Top");
  CHECK(j["layers"][0]["strokes"] == 1);
  CHECK(run(teasel() + "layers a.gbr -o out", f.path).status == 0);  // its own drawing may be replaced
  std::ofstream(f.path / "out/a.gbr.svg") << "<svg/>";
  CHECK(run(teasel() + "layers a.gbr -o out", f.path).status == 1);
  CHECK(slurp(f.path / "out/a.gbr.svg") == "<svg/>");
  fs::create_directories(f.path / "b");
  fs::copy(f.path / "a.gbr", f.path / "b/a.gbr");
  CHECK(run(teasel() + "layers a.gbr b/a.gbr -o both", f.path).status == 1);
  CHECK_FALSE(fs::exists(f.path / "both"));
  std::ofstream(f.path / "n.gbr") << "%FSLAX24Y24*%\n%ADD10C,1*%\nD10*\nX0Y0D03*\nM02*\n";
  const Result unit = run(teasel() + "layers n.gbr --no-svg", f.path);
  CHECK(unit.status == 1);
  CHECK(unit.err.find("--unit") != std::string::npos);
  CHECK(run(teasel() + "layers n.gbr --no-svg --unit mm", f.path).status == 0);
  std::ofstream(f.path / "list.csv") << "part,height\nU1,2.5\n";
  const Result list = run(teasel() + "layers list.csv --no-svg", f.path);
  CHECK(list.status == 1);
  CHECK(list.err.find("layers-not-a-layer") != std::string::npos);
}

TEST_CASE(
    "a release without a netlist is recognised and planned from its copper, its job file heard (the demo's "
    "generator)") {
  Folder f;
  fs::create_directories(f.path / "release");
  for (const auto& e : fs::directory_iterator(source() + "/data/demo"))
    if (const std::string kind = e.path().extension(); kind == ".gbr" || kind == ".drl")
      fs::copy(e.path(), f.path / "release");
  std::ofstream(f.path / "release/board.gbrjob")
      << "{\"GeneralSpecs\": {\"BoardThickness\": 1.2, \"LayerNumber\": 4, \"Size\": {\"X\": 100, \"Y\": 70}}}";
  const Result start = run(teasel() + "start release", f.path);
  INFO(start.err);
  REQUIRE(start.status == 0);
  CHECK(slurp(f.path / "job.toml").find("thickness = \"1.2 mm\"") != std::string::npos);
  const Result plan = run(teasel() + "plan job.toml --no-mechanics -o out", f.path);
  INFO(plan.err);
  CHECK(plan.status != 1);
  // The attributes name parts as well, and their bodies and heights are assumed: the plates stay drafts.
  for (const auto& e : fs::directory_iterator(f.path / "out/plates"))
    if (e.path().extension() == ".drl") CHECK(slurp(e.path()).find("DRAFT") != std::string::npos);
  // Names come from the attributes of the copper.
  CHECK(slurp(f.path / "out/probes.csv").find("SWDIO") != std::string::npos);
  // A job file that contradicts a layer is refused.
  std::ofstream(f.path / "release/board.gbrjob")
      << "{\"GeneralSpecs\": {\"LayerNumber\": 4}, \"FilesAttributes\": [{\"Path\": \"buoy-node-F_Cu.gbr\", "
         "\"FileFunction\": \"Copper,L4,Bot\"}]}";
  const Result wrong = run(teasel() + "start release -o other.toml", f.path);
  CHECK(wrong.status == 1);
  CHECK(wrong.err.find("start-job-file-disagrees") != std::string::npos);
}

TEST_CASE(
    "a board known only from the bench: pictures, nets, next readings and a guess, then a plan (true places "
    "in data/bench/SOURCE.md)") {
  Folder f;
  const std::string job = "'" + source() + "/fixtures/jobs/weather-vane.toml'";
  const Result r = run(teasel() + "bench " + job + " -o out", f.path);
  INFO(r.out << r.err);
  REQUIRE(r.status == 0);
  // The true places of the pads stand in data/bench/SOURCE.md; pixels were rounded and carry noise of about one.
  CHECK(r.out.find("LEFT OUT") != std::string::npos);
  CHECK(r.out.find("two-wire debug") != std::string::npos);
  CHECK(listing(f.path / "out") == std::set<std::string>{"bench-pads.csv", "next-readings.csv"});
  const std::map<std::string, std::pair<double, double>> truth{{"P1", {8, 6}},   {"P4", {15.5, 6}}, {"P6", {20.5, 6}},
                                                               {"B+", {31, 20}}, {"B-", {31, 12}},  {"L1", {6, 22}},
                                                               {"T1", {25, 24}}, {"T2", {28, 24}},  {"T3", {34, 6}}};
  std::istringstream in(slurp(f.path / "out/bench-pads.csv"));
  std::string row;
  int compared = 0;
  while (std::getline(in, row)) {
    const auto it = truth.find(row.substr(0, row.find(',')));
    double x{}, y{};
    std::size_t at = 0;
    for (int i = 0; i < 3; ++i) at = row.find(',', at) + 1;
    if (it == truth.end() || std::sscanf(row.c_str() + at, "%lf,%lf", &x, &y) != 2) continue;
    INFO(row);
    CHECK(std::hypot(x - it->second.first, y - it->second.second) < 0.1);
    ++compared;
  }
  CHECK(compared == static_cast<int>(truth.size()));
  CHECK(run(teasel() + "plan " + job + " --no-mechanics -o plan", f.path).status == 0);
  // The pads of the bottom said to be on the top: refused, since the picture tells its side.
  fs::create_directories(f.path / "data");
  fs::copy(source() + "/data/bench", f.path / "data/bench", fs::copy_options::recursive);
  fs::create_directories(f.path / "fixtures/jobs");
  fs::copy(source() + "/fixtures/jobs/weather-vane.toml", f.path / "fixtures/jobs");
  replace_in(f.path / "data/bench/pads.csv", "P3,bottom", "P3,top");
  const Result wrong = run(teasel() + "plan fixtures/jobs/weather-vane.toml -o wrong", f.path);
  CHECK(wrong.status == 1);
  CHECK(wrong.err.find("mirrored plate") != std::string::npos);
  CHECK_FALSE(fs::exists(f.path / "wrong"));
}

TEST_CASE("packed and broken IPC-2581 files are read, or refused with a reason, nothing written (constructed faults)") {
  Folder f;
  fs::create_directories(f.path / "cad");
  fs::copy(generated("--revision-g --with-ipc2581") / "buoy-node.xml", f.path / "cad");
  std::ofstream(f.path / "job.toml") << "[inputs.ipc2581]\nfile = \"cad/buoy-node.xml\"\n";
  CHECK(run(teasel() + "check job.toml", f.path).status == 0);
  const std::string xml = slurp(f.path / "cad/buoy-node.xml");
  for (const std::string& bad : {xml.substr(0, xml.size() / 3), std::string("\x28\xB5\x2F\xFD garbage"),
                                 std::string("<a/>"), std::string("\xFF\xFE<\0", 4)}) {
    std::ofstream(f.path / "cad/buoy-node.xml", std::ios::binary | std::ios::trunc) << bad;
    const Result r = run(teasel() + "plan job.toml --no-mechanics -o out", f.path);
    INFO(r.err);
    CHECK(r.status == 1);
    CHECK(r.err.find("error ") != std::string::npos);
    CHECK_FALSE(fs::exists(f.path / "out"));
  }
}

TEST_CASE("a tooling hole that the drill file and the IDF file put in two places is told (constructed fault)") {
  Folder f;
  fs::create_directories(f.path / "fixtures/jobs");
  fs::create_directories(f.path / "data");
  copy_demo(f.path / "data/demo");
  fs::copy(source() + "/fixtures/jobs/buoy-node.toml", f.path / "fixtures/jobs");
  const std::string check = teasel() + "check fixtures/jobs/buoy-node.toml";
  CHECK(run(check, f.path).out.find("check-idf-hole-missing") == std::string::npos);
  replace_in(f.path / "data/demo/buoy-node-NPTH.drl", "X96.000Y66.000", "X96.000Y65.000");
  const std::string said = run(check, f.path).out;
  CHECK(said.find("warning check-idf-hole-missing") != std::string::npos);
  CHECK(said.find("3.2 mm at (96, 66)") != std::string::npos);
}

TEST_CASE(
    "an IDF file of another frame or mirrored is refused, a part of it that is off loses its body "
    "(constructed faults)") {
  Folder f;
  fs::create_directories(f.path / "fixtures/jobs");
  fs::create_directories(f.path / "data");
  copy_demo(f.path / "data/demo");
  fs::copy(source() + "/fixtures/jobs/buoy-node.toml", f.path / "fixtures/jobs");
  const fs::path job = f.path / "fixtures/jobs/buoy-node.toml";
  const std::string good = slurp(job);
  replace_in(job, "buoy-node.emp\"\n", "buoy-node.emp\"\noffset = [\"12 mm\", \"0 mm\"]\n");
  const Result shifted = run(teasel() + "plan fixtures/jobs/buoy-node.toml -o out", f.path);
  CHECK(shifted.status == 1);
  CHECK(shifted.err.find("check-bodies-off") != std::string::npos);
  CHECK(shifted.err.find("check-idf-off") != std::string::npos);
  CHECK_FALSE(fs::exists(f.path / "out"));
  std::ofstream(job, std::ios::binary | std::ios::trunc) << good;
  // One part moved by 30 mm: its second placement line follows the first.
  std::string emn = slurp(f.path / "data/demo/buoy-node.emn");
  const std::size_t first = emn.find('\n', emn.find(".PLACEMENT")) + 1, second = emn.find('\n', first) + 1,
                    x_end = emn.find_first_of(" \t", second);
  emn.replace(second, x_end - second, "-30.0");
  std::ofstream(f.path / "data/demo/buoy-node.emn", std::ios::binary | std::ios::trunc) << emn;
  const Result one = run(teasel() + "check fixtures/jobs/buoy-node.toml", f.path);
  INFO(one.out);
  CHECK(one.status == 0);
  CHECK(one.out.find("warning check-bodies-off") != std::string::npos);
}

TEST_CASE("a bill of materials takes parts off the board, by variant, and the first job file asks which (by hand)") {
  Folder f;
  copy_demo(f.path / "demo");
  std::ofstream(f.path / "demo/parts.csv")
      << "Reference,Value,Variant base,Variant full\nJ1,header,x,x\nJ3,expansion,,x\n";
  REQUIRE(run(teasel() + "start demo", f.path).status == 0);
  const std::string job = slurp(f.path / "job.toml");
  CHECK(job.find("CHECK: variants base, full; the first is taken") != std::string::npos);
  const auto fitted = [&](const std::string& variant) {
    std::string text = job;
    const std::size_t at = text.find("variant = \"base\"");
    REQUIRE(at != std::string::npos);
    text.replace(at, 16, "variant = \"" + variant + "\"");
    std::ofstream(f.path / "v.toml") << text;
    const Result r = run(teasel() + "plan v.toml --no-mechanics -o out", f.path);
    INFO(r.err);
    REQUIRE(r.status != 1);
    const auto plan = nlohmann::json::parse(slurp(f.path / "out/plan.json"));
    for (const auto& c : plan["components"])
      if (c["name"] == "J3") return c["fitted"].get<bool>();
    FAIL("no J3");
    return false;
  };
  CHECK_FALSE(fitted("base"));
  CHECK(fitted("full"));
}

TEST_CASE("pads deep inside a drawn body are under it, pads within a courtyard's margin are not (common practice)") {
  Folder f;
  // A module of 20 x 20 mm with pads 2 mm inside its edge, and a chip whose outline exceeds its pads by 0.3 mm.
  const auto package = [](const char* name, double half, double at, double height) {
    std::ostringstream s;
    s << "<Package name=\"" << name << "\" type=\"OTHER\" height=\"" << height << "\"><Outline><Polygon><PolyBegin x=\""
      << -half << "\" y=\"" << -half << "\"/><PolyStepSegment x=\"" << half << "\" y=\"" << -half
      << "\"/><PolyStepSegment x=\"" << half << "\" y=\"" << half << "\"/><PolyStepSegment x=\"" << -half << "\" y=\""
      << half << "\"/></Polygon></Outline>";
    for (int pin = 1; pin <= 2; ++pin)
      s << "<Pin number=\"" << pin << "\" type=\"SURFACE\"><Location x=\"" << (pin == 1 ? -at : at)
        << "\" y=\"0\"/></Pin>";
    return s.str() + "</Package>";
  };
  const auto pads = [](const char* part, double x, double at) {
    std::ostringstream s;
    for (int pin = 1; pin <= 2; ++pin)
      s << "<Set net=\"N" << pin << "\"><Pad><Location x=\"" << x + (pin == 1 ? -at : at)
        << "\" y=\"20\"/><RectCenter width=\"1.4\" height=\"1.4\"/><PinRef componentRef=\"" << part << "\" pin=\""
        << pin << "\"/></Pad></Set>";
    return s.str();
  };
  std::ofstream(f.path / "b.xml")
      << "<IPC-2581 revision=\"C\"><Content><FunctionMode mode=\"USERDEF\"/></Content><Ecad><CadHeader "
         "units=\"MILLIMETER\"/><CadData><Layer name=\"T\" layerFunction=\"SIGNAL\" side=\"TOP\"/><Layer name=\"B\" "
         "layerFunction=\"SIGNAL\" side=\"BOTTOM\"/>"
         "<Step name=\"b\"><Profile><Polygon><PolyBegin x=\"0\" y=\"0\"/><PolyStepSegment x=\"80\" "
         "y=\"0\"/><PolyStepSegment x=\"80\" y=\"40\"/><PolyStepSegment x=\"0\" y=\"40\"/></Polygon></Profile>"
      << package("MODULE", 10, 7.3, 3) << package("CHIP", 2.5, 1.5, 2)
      << "<Component refDes=\"U1\" packageRef=\"MODULE\" layerRef=\"T\" mountType=\"SMT\"><Location x=\"20\" "
         "y=\"20\"/></Component><Component refDes=\"R1\" packageRef=\"CHIP\" layerRef=\"T\" "
         "mountType=\"SMT\"><Location x=\"60\" y=\"20\"/></Component><LayerFeature layerRef=\"T\">"
      << pads("U1", 20, 7.3) << pads("R1", 60, 1.5) << "</LayerFeature></Step></CadData></Ecad></IPC-2581>";
  std::ofstream(f.path / "job.toml") << "[inputs.ipc2581]\nfile = \"b.xml\"\n[fixture]\nsides = \"top\"\n";
  const Result r = run(teasel() + "plan job.toml --no-mechanics -o out", f.path);
  INFO(r.out << r.err);
  REQUIRE(r.status == 0);
  const std::string blocked = slurp(f.path / "out/blocked.csv"), probes = slurp(f.path / "out/probes.csv");
  CHECK(blocked.find("U1-1,N1,U1,1,top") != std::string::npos);
  CHECK(blocked.find("under its own component") != std::string::npos);
  CHECK(probes.find("R1-1") != std::string::npos);
  CHECK(probes.find("U1-") == std::string::npos);
}
