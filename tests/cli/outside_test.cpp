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
  CHECK(files == 16);
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
