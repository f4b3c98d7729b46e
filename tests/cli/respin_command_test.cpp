// The demo's revisions F and G on one fixture, as a user runs them. What changed between them is what the generator of
// the demo does to the design (tools/demo/revise.cpp).
#include <catch2/catch.hpp>
#include <map>
#include <nlohmann/json.hpp>
#include <set>

#include "run_command.h"

using namespace test;

namespace {
using Row = std::map<std::string, std::string>;
/// RFC 4180, as far as these lists use it.
std::vector<Row> rows(const fs::path& file) {
  std::istringstream in(slurp(file));
  std::vector<std::string> head;
  std::vector<Row> out;
  for (std::string line; std::getline(in, line);) {
    std::vector<std::string> cells{""};
    bool quoted = false;
    for (std::size_t i = 0; i < line.size(); ++i) {
      const char c = line[i];
      if (c == '"' && quoted && i + 1 < line.size() && line[i + 1] == '"')
        cells.back() += line[++i];
      else if (c == '"')
        quoted = !quoted;
      else if (c == ',' && !quoted)
        cells.emplace_back();
      else
        cells.back() += c;
    }
    if (head.empty()) {
      head = cells;
      continue;
    }
    Row r;
    for (std::size_t i = 0; i < std::min(head.size(), cells.size()); ++i) r[head[i]] = cells[i];
    out.push_back(r);
  }
  return out;
}
std::string job(const char* name) {
  return source() + "/fixtures/jobs/" + name;
}
/// X and Y of every hole of an Excellon file.
std::size_t hits(const fs::path& file) {
  std::istringstream in(slurp(file));
  std::size_t n = 0;
  for (std::string line; std::getline(in, line);) n += !line.empty() && line[0] == 'X';
  return n;
}
}  // namespace

TEST_CASE("a board on its own fixture changes nothing, byte for byte (law: identity)") {
  Folder f;
  REQUIRE(run(teasel() + "plan '" + job("buoy-node.toml") + "' -o a -q", f.path).status == 0);
  const Result r = run(teasel() + "respin a/plan.json '" + job("buoy-node.toml") + "' -o b", f.path);
  REQUIRE(r.status == 0);
  CHECK(slurp(f.path / "a/probes.csv") == slurp(f.path / "b/probes.csv"));
  CHECK(r.out.find("nothing has to be done to the fixture") != std::string::npos);
  CHECK(r.out.find("the board: no change") != std::string::npos);
  CHECK(rows(f.path / "b/board-changes.csv").empty());
  CHECK(rows(f.path / "b/rework.csv").empty());
  CHECK(rows(f.path / "b/self-test-changes.csv").empty());
  for (const Row& x : rows(f.path / "b/respin.csv")) CHECK(x.at("fate") == "kept");
  for (const Row& x : rows(f.path / "b/revisions.csv")) CHECK(x.at("runs") == "yes");
  // Wires and plates, but for the plan id and the line that names the fixture as an input.
  const std::string id = nlohmann::json::parse(slurp(f.path / "a/plan.json"))["plan_id"],
                    next = nlohmann::json::parse(slurp(f.path / "b/plan.json"))["plan_id"];
  for (const char* name : {"wiring.csv", "verify.csv", "plates/lower-probe-plate-top.drl",
                           "plates/upper-probe-plate-bottom.drl", "plates/lower-moving-plate-top.drl"}) {
    std::string a = slurp(f.path / "a" / name), b = slurp(f.path / "b" / name);
    for (std::size_t at; (at = a.find(id)) != a.npos;) a.replace(at, id.size(), next);
    if (const std::size_t line = b.find("; input fixture that stands"); line != b.npos)
      b.erase(line, b.find('\n', line) + 1 - line);
    INFO(name);
    CHECK(a == b);
  }
}

TEST_CASE(
    "the demo's next revision on the fixture of this one: all of its changes and no other (edits of "
    "tools/demo/revise.cpp)") {
  Folder f;
  for (const auto& e : fs::directory_iterator(generated("--revision-g --with-ipc2581")))
    if (e.path().extension() != ".xml")
      CHECK(slurp(e.path()) == slurp(fs::path(source()) / "data/demo-g" / e.path().filename()));
  REQUIRE(run(teasel() + "plan '" + job("buoy-node.toml") + "' -o f -q", f.path).status == 0);
  const Result r = run(teasel() + "respin f/plan.json '" + job("buoy-node-g.toml") + "' -o g-plan", f.path);
  INFO(r.out << r.err);
  REQUIRE(r.status == 0);
  // What the generator did, vias and what tracks bare at pads left out: the router answers to every change.
  std::set<std::tuple<std::string, std::string, std::string>> changes;
  for (const Row& c : rows(f.path / "g-plan/board-changes.csv"))
    if (c.at("of") != "via" && c.at("what").find("bare metal") == std::string::npos)
      changes.insert({c.at("of"), c.at("name"), c.at("what")});
  CHECK(changes == std::set<std::tuple<std::string, std::string, std::string>>{{"board", "", "revision"},
                                                                               {"part", "C24", "moved"},
                                                                               {"part", "C25", "gone"},
                                                                               {"part", "L2", "height"},
                                                                               {"part", "R92", "value"},
                                                                               {"net", "CHARGER_STATE", "renamed"},
                                                                               {"pad", "pad@64.540/14.000", "moved"},
                                                                               {"pad", "pad@74.500/14.000", "gone"},
                                                                               {"pad", "pad@74.500/16.500", "new"},
                                                                               {"pad", "pad@39.000/8.000", "gone"},
                                                                               {"pad", "pad@54.000/9.500", "new"}});
  const auto renames = rows(f.path / "g-plan/renames.csv");
  REQUIRE(renames.size() == 1);
  CHECK((renames[0].at("net_before") == "CHG_STAT" && renames[0].at("net") == "CHARGER_STATE" &&
         renames[0].at("taken") == "yes"));
  std::map<std::string, Row> fates;
  for (const Row& x : rows(f.path / "g-plan/respin.csv")) fates[x.at("net_before")] = x;
  CHECK(fates["MON3_T"].at("why").find("0.04 mm off the middle") != std::string::npos);
  CHECK(fates["MON7_T"].at("fate") == "moved");
  CHECK(fates["USB_DM"].at("fate") == "moved");
  CHECK(fates["CHG_STAT"].at("fate") == "kept");
  CHECK(fates["CHG_STAT"].at("net") == "CHARGER_STATE");
  // The files of the new holes hold those and no other: as many as steps say, plate by plate, and all in the whole
  // plate too.
  std::map<std::string, std::size_t> drilled;
  for (const Row& s : rows(f.path / "g-plan/rework.csv"))
    if (s.at("stage") == "drill") ++drilled[s.at("plate")];
  REQUIRE(drilled.size() >= 2);
  for (const auto& [plate, n] : drilled) {
    CHECK(hits(f.path / "g-plan/rework" / (plate + "-new-holes.drl")) == n);
    const std::string whole = slurp(f.path / "g-plan/plates" / (plate + ".drl"));
    std::istringstream in(slurp(f.path / "g-plan/rework" / (plate + "-new-holes.drl")));
    for (std::string line; std::getline(in, line);)
      if (!line.empty() && line[0] == 'X') CHECK(whole.find(line) != std::string::npos);
    // No new hole is one of the old plate's.
    const std::string before = slurp(f.path / "f/plates" / (plate + ".drl"));
    std::istringstream again(slurp(f.path / "g-plan/rework" / (plate + "-new-holes.drl")));
    for (std::string line; std::getline(again, line);)
      if (!line.empty() && line[0] == 'X') CHECK(before.find(line) == std::string::npos);
  }
  // An independent reader proves the plan against the netlist.
  CHECK(run("'" CHECK_PLAN_BINARY "' g-plan '" + source() + "/data/demo-g/buoy-node.ipc'", f.path).status == 0);
  std::map<std::string, std::string> runs;
  for (const Row& x : rows(f.path / "g-plan/revisions.csv")) runs[x.at("board")] = x.at("runs");
  CHECK(runs["harbour buoy node, revision F"] == "no");
  CHECK(runs["harbour buoy node, revision G"] == "yes");

  // On with the fixture as altered: the history grows, nothing else changes; the same command twice gives the same
  // bytes.
  REQUIRE(run(teasel() + "respin g-plan/plan.json '" + job("buoy-node-g.toml") + "' -o again -q", f.path).status == 0);
  CHECK(slurp(f.path / "again/probes.csv") == slurp(f.path / "g-plan/probes.csv"));
  CHECK(rows(f.path / "again/rework.csv").empty());
  CHECK(rows(f.path / "again/revisions.csv").size() == 3);
  const std::string once = slurp(f.path / "again/plan.json");
  REQUIRE(run(teasel() + "respin g-plan/plan.json '" + job("buoy-node-g.toml") + "' -o again -q", f.path).status == 0);
  CHECK(slurp(f.path / "again/plan.json") == once);
  // Back to F: the holes that were plugged stay so.
  REQUIRE(run(teasel() + "respin g-plan/plan.json '" + job("buoy-node.toml") + "' -o back -q --no-mechanics", f.path)
              .status == 0);
  for (const Row& p : rows(f.path / "back/probes.csv")) {
    CHECK(p.at("probe") != fates["MON7_T"].at("probe"));
    CHECK(p.at("probe") != fates["USB_DM"].at("probe"));
  }
}

TEST_CASE(
    "what is no fixture, or not this plan's, or another fixture, is refused and nothing is written "
    "(constructed faults)") {
  Folder f;
  REQUIRE(run(teasel() + "plan '" + job("buoy-node.toml") + "' -o a -q --no-mechanics", f.path).status == 0);
  auto refused = [&](const std::string& plan, const std::string& job_file, const std::string& code) {
    const Result r = run(teasel() + "respin " + plan + " '" + job_file + "' -o out", f.path);
    INFO(r.err);
    CHECK(r.status == 1);
    CHECK(r.err.find(code) != std::string::npos);
    CHECK_FALSE(fs::exists(f.path / "out"));
  };
  refused("nowhere/plan.json", job("buoy-node.toml"), "file-not-found");
  refused("a/probes.csv", job("buoy-node.toml"), "respin-no-plan");
  refused("a/plan.json", job("weather-vane.toml"), "respin");
  std::string text = slurp(job("buoy-node.toml"));
  for (std::size_t at; (at = text.find("../../data")) != text.npos;) text.replace(at, 10, source() + "/data");
  const std::string kit = "kit = \"clamshell\"";
  text.replace(text.find(kit), kit.size(), "kit = \"hand-press\"");
  std::ofstream(f.path / "other.toml") << text;
  refused("a/plan.json", (f.path / "other.toml").string(), "respin-other-fixture");
  std::ofstream(f.path / "a/fixture.json", std::ios::app) << " ";
  refused("a/plan.json", job("buoy-node.toml"), "respin-fixture-changed");
}
