// The commands as a user meets them: exit status, what is written, and what is not.
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
std::set<std::string> listing(const fs::path& root) {
  std::set<std::string> names;
  for (const auto& entry : fs::recursive_directory_iterator(root))
    if (entry.is_regular_file()) names.insert(fs::relative(entry.path(), root).generic_string());
  return names;
}
void copy_demo(const fs::path& to) {
  fs::copy(source() + "/data/demo", to, fs::copy_options::recursive);
}
void replace_in(const fs::path& file, const std::string& from, const std::string& to) {
  std::string text = slurp(file);
  const std::size_t at = text.find(from);
  REQUIRE(at != std::string::npos);
  text.replace(at, from.size(), to);
  std::ofstream(file, std::ios::binary) << text;
}
}  // namespace

TEST_CASE("version and help end with status 0, wrong calls with 1 (manual, first-board: exit status)") {
  Folder folder;
  CHECK(run(teasel() + "--version", folder.path).status == 0);
  CHECK(run(teasel() + "--help", folder.path).status == 0);
  CHECK(run(teasel() + "plan --help", folder.path).status == 0);
  CHECK(run(teasel(), folder.path).status == 1);
  CHECK(run(teasel() + "paln x", folder.path).status == 1);
  CHECK(run(teasel() + "plan", folder.path).status == 1);
  CHECK(run(teasel() + "plan no-such.toml", folder.path).status == 1);
  CHECK(run(teasel() + "plan --time-limit -3 x.toml", folder.path).status == 1);
}

TEST_CASE(
    "the demo is planned: status 0, every output written, JSON summary on standard output (manual, outputs: what is "
    "written)") {
  Folder folder;
  const Result result = run(teasel() + "plan " + demo_job() + " -o out --json", folder.path);
  INFO(result.err);
  REQUIRE(result.status == 0);
  const auto summary = nlohmann::json::parse(result.out);
  CHECK(summary["mandatory_unmet"] == 0);
  CHECK(summary["proven"] == true);
  const auto names = listing(folder.path / "out");
  for (const char* name : {"plan.json", "probes.csv", "coverage.csv", "blocked.csv", "wiring.csv", "board-top.svg",
                           "board-bottom.svg", "report.html"})
    CHECK(names.count(name) == 1);
  CHECK(std::count_if(names.begin(), names.end(),
                      [](const std::string& name) { return name.rfind("plates/", 0) == 0; }) >= 2);
  CHECK(fs::exists(folder.path / "out/choices.csv"));
  CHECK(slurp(folder.path / "out/probes.csv")
            .rfind("probe,net,role,side,target,component,pin,x_mm,y_mm,class,tip,head_mm,force_N,odds,receptacle_drill_"
                   "mm,notes\n",
                   0) == 0);
  CHECK(slurp(folder.path / "out/coverage.csv")
            .rfind("net,role,mandatory,wanted,got,targets,open_top,open_bottom,status,reason\n", 0) == 0);
  CHECK(slurp(folder.path / "out/blocked.csv")
            .rfind("target,net,component,pin,side,x_mm,y_mm,class,reason,measured,required,unit,obstacle\n", 0) == 0);
  const auto plan = nlohmann::json::parse(slurp(folder.path / "out/plan.json"));
  const std::string id = plan["plan_id"];
  for (const auto& name : names)
    if (name.find(".drl") != std::string::npos || name.find(".svg") != std::string::npos || name == "report.html" ||
        name == "wiring.csv")
      CHECK(slurp(folder.path / "out" / name).find(id) != std::string::npos);
  CHECK(plan["outputs"].size() == names.size() - 2);  // not itself, nor the list of hashes
  // A second run gives the same bytes, also on a single thread.
  REQUIRE(run("TEASEL_THREADS=1 " + teasel() + "plan " + demo_job() + " -o again", folder.path).status == 0);
  for (const auto& name : names) CHECK(slurp(folder.path / "out" / name) == slurp(folder.path / "again" / name));
}

TEST_CASE(
    "the demo's plan holds before the proof checker, and costs what plan.json says (another program: the "
    "proof checker)") {
  Folder folder;
  REQUIRE(run(teasel() + "plan " + demo_job() + " -o out --proof", folder.path).status == 0);
  const Result result = run("'" CHECK_PROOF_BINARY "' out/plan.proof --proven", folder.path);
  INFO(result.out);
  CHECK(result.status == 0);
  const auto plan = nlohmann::json::parse(slurp(folder.path / "out/plan.json"));
  for (const auto& option : plan["options"]) {
    const auto& cost = option["cost_cents"];
    long long sum = cost["beds"].get<long long>() + cost["mates"].get<long long>() + cost["wishes"].get<long long>() +
                    cost["unmet"].get<long long>();
    for (const auto& part : cost["probes"]) sum += part.get<long long>();
    CHECK(sum == option["objective_cents"].get<long long>());
    CHECK(option["bound_cents"] == option["objective_cents"]);
  }
}

TEST_CASE("start, check, audit and plan go through untouched from a folder (the six steps of the manual)") {
  Folder folder;
  copy_demo(folder.path / "release");
  REQUIRE(run(teasel() + "start release", folder.path).status == 0);
  CHECK(fs::exists(folder.path / "job.toml"));
  CHECK(run(teasel() + "start release", folder.path).status == 1);  // an existing job file is not replaced
  const auto before = listing(folder.path);
  const Result check = run(teasel() + "check job.toml", folder.path);
  CHECK(check.status == 0);
  CHECK(check.out.find("netlist points") != std::string::npos);
  CHECK(listing(folder.path) == before);
  CHECK(run(teasel() + "audit job.toml -o audit", folder.path).status == 0);
  CHECK(listing(folder.path / "audit") ==
        std::set<std::string>{"advice-bottom.svg", "advice-top.svg", "advice.csv", "blocked.csv", "components.csv",
                              "coverage.csv", "details.txt", "interfaces.csv", "nearly-open.csv", "scan-nets.csv",
                              "scan-pins.csv", "supplies.csv", "teasel.sha256", "test-points.csv"});
  CHECK(run(teasel() + "plan job.toml", folder.path).status == 0);
  CHECK(fs::exists(folder.path / "job-plan/plan.json"));
}

TEST_CASE("an unmet mandatory need ends with status 2, everything written (manual, first-board: exit status)") {
  Folder folder;
  copy_demo(folder.path / "r");
  REQUIRE(run(teasel() + "start r", folder.path).status == 0);
  std::ofstream(folder.path / "job.toml", std::ios::app) << "\n[[need]]\nnets = \"BUS0\"\nmandatory = true\n";
  const Result result = run(teasel() + "plan job.toml --no-mechanics -o out", folder.path);
  CHECK(result.status == 2);
  CHECK(fs::exists(folder.path / "out/plan.json"));
  CHECK(result.out.find("NOT TESTABLE") != std::string::npos);
  CHECK(run(teasel() + "audit job.toml --no-mechanics", folder.path).status == 2);
}

TEST_CASE(
    "what the job asks for and the board has not: what is mandatory stops the plan, the rest is named "
    "(constructed faults)") {
  Folder folder;
  copy_demo(folder.path / "demo");
  REQUIRE(run(teasel() + "start demo -o job.toml -q", folder.path).status == 0);
  const std::string job = slurp(folder.path / "job.toml");
  auto with = [&](const std::string& more, const std::string& command) {
    std::ofstream(folder.path / "other.toml", std::ios::binary) << job << more;
    return run(teasel() + command, folder.path);
  };
  Result result = with("\n[[need]]\nnets = \"SWDI0\"\nmandatory = true\n", "plan other.toml -o out --no-mechanics -q");
  CHECK(result.status == 1);
  CHECK(result.err.find("need-fits-no-net") != std::string::npos);
  CHECK(result.err.find("perhaps SWDIO") != std::string::npos);
  CHECK_FALSE(fs::exists(folder.path / "out"));
  result = with("\n[[interface]]\nkind = \"SPI\"\nname = \"no such\"\nmandatory = true\n",
                "audit other.toml --no-mechanics -q");
  CHECK(result.status == 1);
  CHECK(result.err.find("interface-not-found") != std::string::npos);
  result = with(
      "\n[[ban]]\nnet = \"NO_SUCH\"\n\n[[ban]]\ntarget = \"ZZ-*\"\n\n[[ban]]\nnet = \"SWD*\"\ntarget = "
      "\"*\"\n\n[kelvin]\ncomponents = [\"R9999\"]\n",
      "audit other.toml --no-mechanics");
  CHECK(result.err.find("NO_SUCH") != std::string::npos);
  CHECK(result.err.find("ZZ-*") != std::string::npos);
  CHECK(result.err.find("R9999") != std::string::npos);
  const std::size_t first = result.err.find("ban-fits-nothing"),
                    second = result.err.find("ban-fits-nothing", first + 1);
  CHECK(second != std::string::npos);
  CHECK(result.err.find("ban-fits-nothing", second + 1) == std::string::npos);  // the third ban fits a net
  result = run(teasel() + "plan job.toml --explain SWDI0 --no-mechanics", folder.path);
  CHECK(result.status == 1);
  CHECK(result.err.find("perhaps SWDIO") != std::string::npos);
}

TEST_CASE(
    "a folder with somebody's files is left alone, and nothing is half written (manual, first-board: exit status)") {
  Folder folder;
  fs::create_directories(folder.path / "out");
  std::ofstream(folder.path / "out/notes.txt") << "mine";
  CHECK(run(teasel() + "plan " + demo_job() + " -o out", folder.path).status == 1);
  CHECK(listing(folder.path / "out") == std::set<std::string>{"notes.txt"});
}

TEST_CASE("damaged releases are refused with the fault named, and no drill file is written (constructed faults)") {
  struct Damage {
    const char* what;
    std::function<void(const fs::path&)> make;
    const char* says;
  };
  auto scale_netlist = [](const fs::path& root) {
    replace_in(root / "r/buoy-node.ipc", "UNITS CUST 1", "UNITS CUST 0");
  };
  auto job_offset = [](const fs::path& root) {
    replace_in(root / "job.toml", "offset = [\"0 mm\", \"0 mm\"]", "offset = [\"3 mm\", \"0 mm\"]");
  };
  auto swap_sides = [](const fs::path& root) {
    fs::rename(root / "r/buoy-node-B_Cu.gbr", root / "t");
    fs::rename(root / "r/buoy-node-F_Cu.gbr", root / "r/buoy-node-B_Cu.gbr");
    fs::rename(root / "t", root / "r/buoy-node-F_Cu.gbr");
  };
  auto mirror_bottom = [](const fs::path& root) {
    std::string text = slurp(root / "r/buoy-node-B_Cu.gbr"), out;
    for (std::size_t i = 0; i < text.size(); ++i) {
      out += text[i];
      // Plot words begin a line with X. With the sign of X turned round, the board is mirrored about x = 0.
      if (text[i] == 'X' && (i == 0 || text[i - 1] == '\n')) out += text[i + 1] == '-' ? "" : "-";
    }
    std::ofstream(root / "r/buoy-node-B_Cu.gbr", std::ios::binary) << out;
  };
  auto cut = [](const fs::path& root) {
    fs::resize_file(root / "r/buoy-node-F_Mask.gbr", fs::file_size(root / "r/buoy-node-F_Mask.gbr") / 2);
  };
  auto drill_inch = [](const fs::path& root) {
    replace_in(root / "job.toml", "-PTH.drl\"\n", "-PTH.drl\"\noffset = [\"5 mm\", \"0 mm\"]\n");
  };
  auto swap_paste = [](const fs::path& root) {
    fs::rename(root / "r/buoy-node-B_Paste.gbr", root / "t");
    fs::rename(root / "r/buoy-node-F_Paste.gbr", root / "r/buoy-node-B_Paste.gbr");
    fs::rename(root / "t", root / "r/buoy-node-F_Paste.gbr");
  };
  auto mask_sense = [](const fs::path& root) {
    replace_in(root / "job.toml", "image = \"openings\"", "image = \"mask\"");
  };
  for (const Damage& damage : {Damage{"netlist unit", scale_netlist, "2.54"},
                               {"netlist offset", job_offset, "offset of (-3, 0)"},
                               {"copper sides swapped", swap_sides, "check-points-off-copper"},
                               {"bottom mirrored", mirror_bottom, "mirrored"},
                               {"mask cut off", cut, "gerber-"},
                               {"drill offset", drill_inch, "check-drill-off-pads"},
                               {"mask sense", mask_sense, "check-mask-closed"},
                               {"paste sides swapped", swap_paste, "check-paste-off-copper"}}) {
    Folder folder;
    copy_demo(folder.path / "r");
    REQUIRE(run(teasel() + "start r", folder.path).status == 0);
    // In this case the job must not override the unit that the netlist itself states.
    damage.make(folder.path);
    if (std::string(damage.what) == "netlist unit") replace_in(folder.path / "job.toml", "unit = \"0.001 mm\"\n", "");
    const Result result = run(teasel() + "plan job.toml --no-mechanics -o out", folder.path);
    INFO(damage.what << "\n" << result.err);
    CHECK(result.status == 1);
    CHECK(result.err.find(damage.says) != std::string::npos);
    CHECK_FALSE(fs::exists(folder.path / "out"));
  }
}

TEST_CASE("a lock is kept, a lock on a blocked target is refused with the reason (manual, job-file)") {
  Folder folder;
  copy_demo(folder.path / "r");
  REQUIRE(run(teasel() + "start r", folder.path).status == 0);
  const std::string job = slurp(folder.path / "job.toml");
  std::ofstream(folder.path / "job.toml") << job << "\n[[lock]]\nnet = \"GND\"\ntarget = \"J1-7\"\nside = \"bottom\"\n";
  REQUIRE(run(teasel() + "plan job.toml --no-mechanics -o out", folder.path).status == 0);
  CHECK(slurp(folder.path / "out/probes.csv").find(",J1-7,") != std::string::npos);
  std::ofstream(folder.path / "job.toml") << job << "\n[[lock]]\nnet = \"TCK\"\ntarget = \"U1-96\"\n";
  const Result result = run(teasel() + "plan job.toml --no-mechanics -o no", folder.path);
  CHECK(result.status == 1);
  CHECK(result.err.find("lock-not-kept") != std::string::npos);
  CHECK_FALSE(fs::exists(folder.path / "no"));
}

TEST_CASE("a pad list alone is enough for a plan (counted by hand)") {
  Folder folder;
  std::string text = "pad,net,side,x_mm,y_mm,width_mm,component,pin\n";
  for (int i = 0; i < 6; ++i)
    text += "P" + std::to_string(i) + ",N" + std::to_string(i / 2) + ",bottom," + std::to_string(5 * i) + ",0,1.2,,\n";
  fs::create_directories(folder.path / "r");
  std::ofstream(folder.path / "r/pads.csv") << text;
  REQUIRE(run(teasel() + "start r", folder.path).status == 0);
  const Result result = run(teasel() + "plan job.toml --no-mechanics -o out --json", folder.path);
  INFO(result.err);
  REQUIRE(result.status == 0);
  CHECK(nlohmann::json::parse(result.out)["nets_met"] == 3);
}

TEST_CASE(
    "layers draws file coordinates in millimetres, tells facts, and leaves other people's files alone (hand "
    "sum)") {
  Folder folder;
  std::ofstream(folder.path / "a.gbr")
      << "%FSLAX24Y24*%\n%MOIN*%\n%TF.FileFunction,Copper,L1,Top*%\n%ADD10C,0.1*%\nD10*"
         "\nX10000Y20000D02*\nX30000D01*\nM02*\n";
  const Result result = run(teasel() + "layers a.gbr --area -o out", folder.path);
  REQUIRE(result.status == 0);
  const std::string svg = slurp(folder.path / "out/a.gbr.svg");
  // A 2 inch stroke of a 0.1 inch pen from (1, 2) inch covers x 24.13 to 77.47 and y 49.53 to 52.07 mm. SVG counts y
  // downwards, so the viewBox begins at -52.07.
  CHECK(svg.find("viewBox=\"24.13 -52.07 53.34 2.54\"") != std::string::npos);
  CHECK(svg.find("M25.4 50.8L76.2 50.8") != std::string::npos);
  CHECK(svg.find("stroke-width=\"2.54\"") != std::string::npos);
  // The stroke is a rectangle of 50.8 x 2.54 mm with half a disc of 2.54 mm diameter at each end.
  const auto summary = nlohmann::json::parse(run(teasel() + "layers a.gbr --area --no-svg --json", folder.path).out);
  CHECK(summary["layers"][0]["area_mm2"].get<double>() ==
        Approx(50.8 * 2.54 + 3.14159265358979 * 1.27 * 1.27).epsilon(1e-3));
  CHECK(summary["layers"][0]["attributes"][".FileFunction"] == "Copper,L1,Top");
  CHECK(summary["layers"][0]["strokes"] == 1);
  CHECK(run(teasel() + "layers a.gbr -o out", folder.path).status == 0);  // a drawing of its own may be replaced
  std::ofstream(folder.path / "out/a.gbr.svg") << "<svg/>";
  CHECK(run(teasel() + "layers a.gbr -o out", folder.path).status == 1);
  CHECK(slurp(folder.path / "out/a.gbr.svg") == "<svg/>");
  fs::create_directories(folder.path / "b");
  fs::copy(folder.path / "a.gbr", folder.path / "b/a.gbr");
  CHECK(run(teasel() + "layers a.gbr b/a.gbr -o both", folder.path).status == 1);
  CHECK_FALSE(fs::exists(folder.path / "both"));
  std::ofstream(folder.path / "n.gbr") << "%FSLAX24Y24*%\n%ADD10C,1*%\nD10*\nX0Y0D03*\nM02*\n";
  const Result unit = run(teasel() + "layers n.gbr --no-svg", folder.path);
  CHECK(unit.status == 1);
  CHECK(unit.err.find("--unit") != std::string::npos);
  CHECK(run(teasel() + "layers n.gbr --no-svg --unit mm", folder.path).status == 0);
  std::ofstream(folder.path / "list.csv") << "part,height\nU1,2.5\n";
  const Result list = run(teasel() + "layers list.csv --no-svg", folder.path);
  CHECK(list.status == 1);
  CHECK(list.err.find("layers-not-a-layer") != std::string::npos);
}

TEST_CASE(
    "a release without a netlist is recognised and planned from its copper, its job file heard (the demo's "
    "generator)") {
  Folder folder;
  fs::create_directories(folder.path / "release");
  for (const auto& entry : fs::directory_iterator(source() + "/data/demo"))
    if (const std::string kind = entry.path().extension(); kind == ".gbr" || kind == ".drl")
      fs::copy(entry.path(), folder.path / "release");
  std::ofstream(folder.path / "release/board.gbrjob")
      << "{\"GeneralSpecs\": {\"BoardThickness\": 1.2, \"LayerNumber\": 4, \"Size\": {\"X\": 100, \"Y\": 70}}}";
  const Result start = run(teasel() + "start release", folder.path);
  INFO(start.err);
  REQUIRE(start.status == 0);
  CHECK(slurp(folder.path / "job.toml").find("thickness = \"1.2 mm\"") != std::string::npos);
  // The picture shows both sides with their names, and is well-formed.
  const std::string preview = slurp(folder.path / "job-preview.svg");
  CHECK(preview.find("bottom side, seen from below") != std::string::npos);
  if (run("command -v rsvg-convert", folder.path).status == 0)
    CHECK(run("rsvg-convert job-preview.svg -o preview.png", folder.path).status == 0);
  const Result plan = run(teasel() + "plan job.toml --no-mechanics -o out", folder.path);
  INFO(plan.err);
  CHECK(plan.status != 1);
  // The attributes name parts as well. Their bodies and heights are assumed, so the plates stay drafts.
  for (const auto& entry : fs::directory_iterator(folder.path / "out/plates"))
    if (entry.path().extension() == ".drl") CHECK(slurp(entry.path()).find("DRAFT") != std::string::npos);
  // Names come from the attributes of the copper.
  CHECK(slurp(folder.path / "out/probes.csv").find("SWDIO") != std::string::npos);
  // Where the job file contradicts a layer, the layer counts, and the question is put.
  std::ofstream(folder.path / "release/board.gbrjob")
      << "{\"GeneralSpecs\": {\"LayerNumber\": 4}, \"FilesAttributes\": [{\"Path\": \"buoy-node-F_Cu.gbr\", "
         "\"FileFunction\": \"Copper,L4,Bot\"}]}";
  const Result wrong = run(teasel() + "start release -o other.toml", folder.path);
  CHECK(wrong.status == 0);
  CHECK(wrong.err.find("start-job-file-disagrees") != std::string::npos);
  CHECK(slurp(folder.path / "other.toml").find("CHECK: its function is Copper,L4,Bot") != std::string::npos);
}

TEST_CASE(
    "a board known only from the bench: pictures, nets, next readings and a guess, then a plan (true places "
    "in data/bench/SOURCE.md)") {
  Folder folder;
  const std::string job = "'" + source() + "/fixtures/jobs/weather-vane.toml'";
  const Result result = run(teasel() + "bench " + job + " -o out", folder.path);
  INFO(result.out << result.err);
  REQUIRE(result.status == 0);
  // The true places of the pads stand in data/bench/SOURCE.md. The readings in pixels were rounded, with a noise of
  // about one pixel.
  CHECK(result.out.find("LEFT OUT") != std::string::npos);
  CHECK(result.out.find("two-wire debug") != std::string::npos);
  CHECK(listing(folder.path / "out") == std::set<std::string>{"bench-pads.csv", "next-readings.csv", "teasel.sha256"});
  const std::map<std::string, std::pair<double, double>> truth{{"P1", {8, 6}},   {"P4", {15.5, 6}}, {"P6", {20.5, 6}},
                                                               {"B+", {31, 20}}, {"B-", {31, 12}},  {"L1", {6, 22}},
                                                               {"T1", {25, 24}}, {"T2", {28, 24}},  {"T3", {34, 6}}};
  std::istringstream in(slurp(folder.path / "out/bench-pads.csv"));
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
  CHECK(run(teasel() + "plan " + job + " --no-mechanics -o plan", folder.path).status == 0);
  // A pad of the bottom that the list puts on the top is refused, since the picture tells its side.
  fs::create_directories(folder.path / "data");
  fs::copy(source() + "/data/bench", folder.path / "data/bench", fs::copy_options::recursive);
  fs::create_directories(folder.path / "fixtures/jobs");
  fs::copy(source() + "/fixtures/jobs/weather-vane.toml", folder.path / "fixtures/jobs");
  replace_in(folder.path / "data/bench/pads.csv", "P3,bottom", "P3,top");
  const Result wrong = run(teasel() + "plan fixtures/jobs/weather-vane.toml -o wrong", folder.path);
  CHECK(wrong.status == 1);
  CHECK(wrong.err.find("mirrored plate") != std::string::npos);
  CHECK_FALSE(fs::exists(folder.path / "wrong"));
}

TEST_CASE("packed and broken IPC-2581 files are read, or refused with a reason, nothing written (constructed faults)") {
  Folder folder;
  fs::create_directories(folder.path / "cad");
  fs::copy(generated("--revision-g --with-ipc2581") / "buoy-node.xml", folder.path / "cad");
  std::ofstream(folder.path / "job.toml") << "[inputs.ipc2581]\nfile = \"cad/buoy-node.xml\"\n";
  CHECK(run(teasel() + "check job.toml", folder.path).status == 0);
  const std::string xml = slurp(folder.path / "cad/buoy-node.xml");
  for (const std::string& bad : {xml.substr(0, xml.size() / 3), std::string("\x28\xB5\x2F\xFD garbage"),
                                 std::string("<a/>"), std::string("\xFF\xFE<\0", 4)}) {
    std::ofstream(folder.path / "cad/buoy-node.xml", std::ios::binary | std::ios::trunc) << bad;
    const Result result = run(teasel() + "plan job.toml --no-mechanics -o out", folder.path);
    INFO(result.err);
    CHECK(result.status == 1);
    CHECK(result.err.find("error ") != std::string::npos);
    CHECK_FALSE(fs::exists(folder.path / "out"));
  }
}

TEST_CASE("a tooling hole that the drill file and the IDF file put in two places is told (constructed fault)") {
  Folder folder;
  fs::create_directories(folder.path / "fixtures/jobs");
  fs::create_directories(folder.path / "data");
  copy_demo(folder.path / "data/demo");
  fs::copy(source() + "/fixtures/jobs/buoy-node.toml", folder.path / "fixtures/jobs");
  const std::string check = teasel() + "check fixtures/jobs/buoy-node.toml";
  CHECK(run(check, folder.path).out.find("check-idf-hole-missing") == std::string::npos);
  replace_in(folder.path / "data/demo/buoy-node-NPTH.drl", "X96.000Y66.000", "X96.000Y65.000");
  const std::string said = run(check, folder.path).out;
  CHECK(said.find("warning check-idf-hole-missing") != std::string::npos);
  CHECK(said.find("3.2 mm at (96, 66)") != std::string::npos);
}

TEST_CASE(
    "an IDF file of another frame or mirrored is refused, a part of it that is off loses its body "
    "(constructed faults)") {
  Folder folder;
  fs::create_directories(folder.path / "fixtures/jobs");
  fs::create_directories(folder.path / "data");
  copy_demo(folder.path / "data/demo");
  fs::copy(source() + "/fixtures/jobs/buoy-node.toml", folder.path / "fixtures/jobs");
  const fs::path job = folder.path / "fixtures/jobs/buoy-node.toml";
  const std::string good = slurp(job);
  replace_in(job, "buoy-node.emp\"\n", "buoy-node.emp\"\noffset = [\"12 mm\", \"0 mm\"]\n");
  const Result shifted = run(teasel() + "plan fixtures/jobs/buoy-node.toml -o out", folder.path);
  CHECK(shifted.status == 1);
  CHECK(shifted.err.find("check-bodies-off") != std::string::npos);
  CHECK(shifted.err.find("check-idf-off") != std::string::npos);
  CHECK_FALSE(fs::exists(folder.path / "out"));
  std::ofstream(job, std::ios::binary | std::ios::trunc) << good;
  // One part is moved by 30 mm. The line with its place follows the one with its name.
  std::string emn = slurp(folder.path / "data/demo/buoy-node.emn");
  const std::size_t first = emn.find('\n', emn.find(".PLACEMENT")) + 1, second = emn.find('\n', first) + 1,
                    x_end = emn.find_first_of(" \t", second);
  emn.replace(second, x_end - second, "-30.0");
  std::ofstream(folder.path / "data/demo/buoy-node.emn", std::ios::binary | std::ios::trunc) << emn;
  const Result one = run(teasel() + "check fixtures/jobs/buoy-node.toml", folder.path);
  INFO(one.out);
  CHECK(one.status == 0);
  CHECK(one.out.find("warning check-bodies-off") != std::string::npos);
}

TEST_CASE("a bill of materials takes parts off the board, by variant, and the first job file asks which (by hand)") {
  Folder folder;
  copy_demo(folder.path / "demo");
  std::ofstream(folder.path / "demo/parts.csv")
      << "Reference,Value,Variant base,Variant full\nJ1,header,x,x\nJ3,expansion,,x\n";
  REQUIRE(run(teasel() + "start demo", folder.path).status == 0);
  const std::string job = slurp(folder.path / "job.toml");
  CHECK(job.find("CHECK: variants base, full. The first is used") != std::string::npos);
  const auto fitted = [&](const std::string& variant) {
    std::string text = job;
    const std::size_t at = text.find("variant = \"base\"");
    REQUIRE(at != std::string::npos);
    text.replace(at, 16, "variant = \"" + variant + "\"");
    std::ofstream(folder.path / "v.toml") << text;
    const Result result = run(teasel() + "plan v.toml --no-mechanics -o out", folder.path);
    INFO(result.err);
    REQUIRE(result.status != 1);
    const auto plan = nlohmann::json::parse(slurp(folder.path / "out/plan.json"));
    for (const auto& component : plan["components"])
      if (component["name"] == "J3") return component["fitted"].get<bool>();
    FAIL("no J3");
    return false;
  };
  CHECK_FALSE(fitted("base"));
  CHECK(fitted("full"));
}

TEST_CASE("pads deep inside a drawn body are under it, pads within a courtyard's margin are not (common practice)") {
  Folder folder;
  // A module of 20 x 20 mm with pads 2 mm inside its edge, and a chip whose outline exceeds its pads by 0.3 mm.
  const auto package = [](const char* name, double half, double at, double height) {
    std::ostringstream text;
    text << "<Package name=\"" << name << "\" type=\"OTHER\" height=\"" << height
         << "\"><Outline><Polygon><PolyBegin x=\"" << -half << "\" y=\"" << -half << "\"/><PolyStepSegment x=\"" << half
         << "\" y=\"" << -half << "\"/><PolyStepSegment x=\"" << half << "\" y=\"" << half
         << "\"/><PolyStepSegment x=\"" << -half << "\" y=\"" << half << "\"/></Polygon></Outline>";
    for (int pin = 1; pin <= 2; ++pin)
      text << "<Pin number=\"" << pin << "\" type=\"SURFACE\"><Location x=\"" << (pin == 1 ? -at : at)
           << "\" y=\"0\"/></Pin>";
    return text.str() + "</Package>";
  };
  const auto pads = [](const char* part, double x, double at) {
    std::ostringstream text;
    for (int pin = 1; pin <= 2; ++pin)
      text << "<Set net=\"N" << pin << "\"><Pad><Location x=\"" << x + (pin == 1 ? -at : at)
           << "\" y=\"20\"/><RectCenter width=\"1.4\" height=\"1.4\"/><PinRef componentRef=\"" << part << "\" pin=\""
           << pin << "\"/></Pad></Set>";
    return text.str();
  };
  std::ofstream(folder.path / "b.xml")
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
  std::ofstream(folder.path / "job.toml") << "[inputs.ipc2581]\nfile = \"b.xml\"\n[fixture]\nsides = \"top\"\n";
  const Result result = run(teasel() + "plan job.toml --no-mechanics -o out", folder.path);
  INFO(result.out << result.err);
  REQUIRE(result.status == 0);
  const std::string blocked = slurp(folder.path / "out/blocked.csv"), probes = slurp(folder.path / "out/probes.csv");
  CHECK(blocked.find("U1-1,N1,U1,1,top") != std::string::npos);
  CHECK(blocked.find("under its own component") != std::string::npos);
  CHECK(probes.find("R1-1") != std::string::npos);
  CHECK(probes.find("U1-") == std::string::npos);
}
