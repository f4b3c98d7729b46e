// Outputs held against programs that share nothing with this one.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <map>
#include <set>

#include "run_command.h"

using namespace test;

namespace {
std::string check_plan() { return "'" CHECK_PLAN_BINARY "' "; }

using Spot = std::pair<long, long>;  // um
std::map<long, std::multiset<Spot>> holes_of_csv(const fs::path& p) {
  std::map<long, std::multiset<Spot>> holes;
  std::istringstream in(slurp(p));
  std::string line;
  std::getline(in, line);
  while (std::getline(in, line)) {
    double no, x, y, d;
    REQUIRE(std::sscanf(line.c_str(), "%lf,%lf,%lf,%lf", &no, &x, &y, &d) == 4);
    holes[std::lround(d * 1000)].insert({std::lround(x * 1000), std::lround(y * 1000)});
  }
  return holes;
}

/// Flashes by circular aperture in the RS-274X that gerbv writes of a drill file.
std::map<long, std::multiset<Spot>> holes_of_gerbv(const std::string& text) {
  std::map<long, std::multiset<Spot>> holes;
  std::map<int, double> apertures;
  const bool inch = text.find("MOIN") != std::string::npos;
  int decimals = 0;
  const std::size_t fs_at = text.find("%FSLAX");
  REQUIRE(fs_at != std::string::npos);
  decimals = text[fs_at + 7] - '0';
  const double k = (inch ? 25.4 : 1) / std::pow(10, decimals);
  int current = 0;
  double x = 0, y = 0;
  std::istringstream in(text);
  std::string line;
  while (std::getline(in, line)) {
    int code;
    double v, fx, fy;
    if (std::sscanf(line.c_str(), "%%ADD%dC,%lf", &code, &v) == 2) apertures[code] = v * (inch ? 25.4 : 1);
    else if ((std::sscanf(line.c_str(), "G54D%d", &code) == 1 || std::sscanf(line.c_str(), "D%d*", &code) == 1) && code >= 10) current = code;
    else if (line.find("D03") != std::string::npos) {
      if (std::sscanf(line.c_str(), "X%lfY%lfD03", &fx, &fy) == 2 || std::sscanf(line.c_str(), "G01X%lfY%lfD03", &fx, &fy) == 2) x = fx, y = fy;
      holes[std::lround(apertures[current] * 1000)].insert({std::lround(x * k * 1000), std::lround(y * k * 1000)});
    }
  }
  return holes;
}
}  // namespace

TEST_CASE("gerbv reads every plate file of the demo as the same holes (independent drill reader)") {
  Folder f;
  if (run("command -v gerbv", f.path).status != 0) {
    WARN("skipped: gerbv is not installed");
    return;
  }
  for (const char* face : {"board", "outer"}) {
    std::string job = slurp(source() + "/fixtures/jobs/buoy-node.toml");
    job.replace(job.find("drill_face = \"board\""), 20, std::string("drill_face = \"") + face + "\"");
    for (std::size_t at = 0; (at = job.find("../../data/demo", at)) != std::string::npos;) job.replace(at, 15, source() + "/data/demo");
    std::ofstream(f.path / "j.toml") << job;
    REQUIRE(run(teasel() + "plan j.toml -o out", f.path).status == 0);
    int plates = 0;
    for (const auto& e : fs::directory_iterator(f.path / "out/plates")) {
      if (e.path().extension() != ".drl") continue;
      ++plates;
      const Result r = run("gerbv -x rs274x -o plate.gbr '" + e.path().string() + "'", f.path);
      INFO(r.err);
      fs::path csv = e.path();
      csv.replace_extension(".csv");
      const auto ours = holes_of_csv(csv), theirs = holes_of_gerbv(slurp(f.path / "plate.gbr"));
      REQUIRE(ours.size() == theirs.size());
      // gerbv writes inches with limited digits: every hole within 3 um, each matched once.
      for (const auto& [dia, spots] : ours) {
        auto it = std::find_if(theirs.begin(), theirs.end(), [d = dia](const auto& t) { return std::labs(t.first - d) <= 3; });
        REQUIRE(it != theirs.end());
        std::multiset<Spot> rest = it->second;
        CHECK(rest.size() == spots.size());
        for (const Spot& s : spots) {
          auto hit = std::find_if(rest.begin(), rest.end(), [&](const Spot& t) { return std::labs(t.first - s.first) <= 3 && std::labs(t.second - s.second) <= 3; });
          CHECK(hit != rest.end());
          if (hit != rest.end()) rest.erase(hit);
        }
      }
    }
    CHECK(plates == 2);
  }
}

TEST_CASE("the independent checker accepts the demo's plan, and refuses a moved probe (own reader, no shared code)") {
  Folder f;
  REQUIRE(run(teasel() + "plan '" + source() + "/fixtures/jobs/buoy-node.toml' -o out", f.path).status == 0);
  const std::string netlist = " '" + source() + "/data/demo/buoy-node.ipc'";
  const Result good = run(check_plan() + "out" + netlist, f.path);
  INFO(good.out << good.err);
  CHECK(good.status == 0);
  // One probe a quarter inch off in the list: the checker must see it.
  std::string csv = slurp(f.path / "out/probes.csv");
  const std::size_t row = csv.find("\nB001,") + 1;
  std::size_t at = row;
  for (int i = 0; i < 7; ++i) at = csv.find(',', at) + 1;
  csv.replace(at, csv.find(',', at) - at, "1.234");
  std::ofstream(f.path / "out/probes.csv") << csv;
  CHECK(run(check_plan() + "out" + netlist, f.path).status == 1);
}

TEST_CASE("the committed demo release is what its generator makes") {
  Folder f;
  REQUIRE(run("'" DEMO_BOARD_BINARY "' made", f.path).status == 0);
  int files = 0;
  for (const auto& e : fs::directory_iterator(f.path / "made")) {
    ++files;
    INFO(e.path().filename());
    CHECK(slurp(e.path()) == slurp(fs::path(source()) / "data/demo" / e.path().filename()));
  }
  CHECK(files == 18);
}

namespace {
/// Rows of compare-layers: dark pixels, and those differing by more than one and more than two pixels from any edge.
void check_pictures(const std::string& files) {
  if (std::string(COMPARE_LAYERS_BINARY).empty() || run("command -v gerbv && command -v rsvg-convert", fs::temp_directory_path()).status != 0) {
    WARN("skipped: gerbv, rsvg-convert or the PNG library is not installed");
    return;
  }
  Folder f;
  const Result r = run("'" COMPARE_LAYERS_BINARY "' " + teasel() + files, f.path);
  std::istringstream rows(r.out);
  std::string row;
  int compared = 0;
  while (std::getline(rows, row)) {
    INFO(row);
    long dpi = 0, w = 0, h = 0, dark = 0, differ = 0, one = 0, two = 0;
    const std::size_t bar = row.find('|', 2);
    REQUIRE(bar != row.npos);
    REQUIRE(std::sscanf(row.c_str() + bar, "| %ld | %ld x %ld | %ld | %ld | %ld | %ld |", &dpi, &w, &h, &dark, &differ, &one, &two) == 7);
    // Points where two edges meet at a sharp angle: the other program moves each edge by up to half a pixel.
    CHECK(one <= 5 + dark / 20'000);
    CHECK(two <= 5);
    ++compared;
  }
  CHECK(compared > 0);
}
}  // namespace

TEST_CASE("every layer of the demo drawn by teasel and by gerbv is the same picture at 625 dpi (independent renderer)") { check_pictures("'" + source() + "'/data/demo/*.gbr"); }

TEST_CASE("macros, arcs, regions, repeats and holes drawn by teasel and by gerbv are the same picture (independent renderer)") {
  Folder f;
  const std::string head = "%FSLAX46Y46*%\n%MOMM*%\n";
  std::ofstream(f.path / "arcs.gbr") << head << "%ADD10C,0.4*%%ADD11C,1X0.5*%%ADD12P,2X5X20*%D10*G75*X0Y0D02*G03*X4000000Y4000000I0J4000000D01*G02*X8000000Y0I0J-4000000D01*X12000000Y0D02*G03*X12000000Y0I-1000000J0D01*D11*X2000000Y7000000D03*D12*X6000000Y7000000D03*M02*\n";
  std::ofstream(f.path / "regions.gbr") << head << "%ADD10C,1*%G36*X0Y0D02*G01*X8000000D01*Y8000000D01*X0D01*Y4000000D01*X2000000D01*G75*G02*X2000000Y4000000I1500000J0D01*G01*X0D01*Y0D01*X10000000Y0D02*X13000000Y1000000D01*X11000000Y5000000D01*X10000000Y0D01*G37*%LPC*%D10*X6500000Y6500000D03*%LPD*%M02*\n";
  std::ofstream(f.path / "macros.gbr") << head << "%AMBAR*21,1,3,1,1,0,30*20,1,0.4,-2,-2,2,-1,0*%%AMQUAD*4,1,4,0,0,3,0,3,2,1,2.5,0,0,-20*%%AMWHEEL*7,0,0,4,3,0.5,15*%%AMRING*1,1,$1,0,0*1,0,$1x0.5,0,0*%%ADD10BAR*%%ADD11QUAD*%%ADD12WHEEL*%%ADD13RING,3*%D10*X0Y0D03*D11*X6000000Y0D03*D12*X0Y6000000D03*D13*X6000000Y6000000D03*M02*\n";
  std::ofstream(f.path / "repeats.gbr") << head << "%ADD10R,1X0.6*%%ADD11O,0.6X1.4*%%SRX3Y2I3J4*%D10*X0Y0D03*D11*X1500000Y1000000D03*%SR*%M02*\n";
  check_pictures("'" + f.path.string() + "'/*.gbr");
}

TEST_CASE("nets traced through the demo's copper are those of its netlist (written by the generator from its routing)") {
  Folder f;
  const Result r = run(teasel() + "nets '" + source() + "/fixtures/jobs/buoy-node.toml' -o out", f.path);
  REQUIRE(r.status == 0);
  CHECK(r.out.find("240 of 240 netlist nets agree") != std::string::npos);
  CHECK(slurp(f.path / "out/net-differences.csv").find('\n') == slurp(f.path / "out/net-differences.csv").size() - 1);
  // A trace cut out of the top layer must show as an open: the longest stroke list loses its statements one net at a time.
  std::string copper = slurp(source() + "/data/demo/buoy-node-F_Cu.gbr");
  const std::size_t at = copper.find("D01*", copper.size() / 2);
  const std::size_t line = copper.rfind('\n', at) + 1;
  fs::create_directories(f.path / "demo");
  for (const auto& e : fs::directory_iterator(source() + "/data/demo")) fs::copy(e.path(), f.path / "demo");
  std::string job = slurp(source() + "/fixtures/jobs/buoy-node.toml");
  for (std::size_t i = 0; (i = job.find("../../data/demo", i)) != std::string::npos;) job.replace(i, 15, "demo");
  std::ofstream(f.path / "job.toml") << job;
  // A bar across the whole board on the top layer is a short of many nets.
  std::string barred = copper;
  barred.insert(barred.rfind("M02*"), "%ADD99C,0.2*%\nD99*\nX5000000Y30000000D02*\nX95000000Y30000000D01*\n");
  std::ofstream(f.path / "demo/buoy-node-F_Cu.gbr", std::ios::binary) << barred;
  const Result shorted = run(teasel() + "nets job.toml", f.path);
  CHECK(shorted.out.find("\nshort") != std::string::npos);
  std::string cut = copper;
  cut.replace(line, at + 4 - line, "G04 cut*");
  std::ofstream(f.path / "demo/buoy-node-F_Cu.gbr", std::ios::binary | std::ios::trunc) << cut;
  const Result open = run(teasel() + "nets job.toml", f.path);
  INFO(open.out);
  CHECK(open.out.find("\nopen") != std::string::npos);
}

TEST_CASE("nets traced through the copper of real boards agree with their netlists, or differ where the copper does", "[boards]") {
  const fs::path root = boards();
  if (root.empty()) {
    WARN("skipped: no real boards here (set TEASEL_BOARDS)");
    return;
  }
  // Seen on the films: on minnowboard-v1 bars of copper bridge the lands of parts marked as zero ohm, on oc-breakout one
  // oval land of the bottom holds two shield pins; rpga-feather has four lands under one cut name that nothing joins.
  const std::map<std::string, std::string> expected{{"oc-sdr", "1042 of 1042"}, {"porcupine", "205 of 205"}, {"kicad-pic-programmer", "116 of 116"}, {"oc-breakout", "101 of 105"}, {"rpga-feather", "101 of 102"}, {"minnowboard-v1", "836 of 982"}};
  for (const auto& [name, agree] : expected) {
    if (!fs::is_directory(root / name)) continue;
    Folder f;
    INFO(name);
    REQUIRE(run(teasel() + "start '" + (root / name).string() + "'", f.path).status == 0);
    const Result r = run(teasel() + "nets job.toml", f.path);
    INFO(r.out.substr(0, 2000));
    CHECK(r.out.find(agree + " netlist nets agree") != std::string::npos);
    if (name == "minnowboard-v1") CHECK(r.out.find("\nopen") == std::string::npos);
  }
}

TEST_CASE("every real board with a netlist goes from start to a checked plan, untouched", "[boards]") {
  const fs::path root = boards();
  if (root.empty()) {
    WARN("skipped: no real boards here (set TEASEL_BOARDS)");
    return;
  }
  int planned = 0;
  for (const char* name : {"minnowboard-v1", "buddy-board", "porcupine", "oc-power-unit", "oc-gbc", "oc-sdr", "oc-breakout", "rpga-feather", "kicad-pic-programmer"}) {
    if (!fs::is_directory(root / name)) continue;
    Folder f;
    INFO(name);
    const Result start = run(teasel() + "start '" + (root / name).string() + "'", f.path);
    INFO(start.err);
    REQUIRE(start.status == 0);
    const Result plan = run(teasel() + "plan job.toml -o out", f.path);
    INFO(plan.err);
    REQUIRE(plan.status == 0);
    const std::string job = slurp(f.path / "job.toml");
    std::size_t at = job.find("[inputs.netlist]");
    at = job.find("file = \"", at) + 8;
    const Result checked = run(check_plan() + "out '" + (f.path / job.substr(at, job.find('"', at) - at)).string() + "'", f.path);
    INFO(checked.out);
    CHECK(checked.status == 0);
    ++planned;
  }
  CHECK(planned > 0);
}
