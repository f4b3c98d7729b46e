// The demo's revisions F and G on one fixture, as a user runs them. The generator of the demo makes the changes between
// the two (tools/demo/revise.cpp).
#include <catch2/catch.hpp>
#include <map>
#include <nlohmann/json.hpp>
#include <set>

#include "csv_rows.h"

using namespace test;

namespace {
std::string job(const char* name) {
  return source() + "/fixtures/jobs/" + name;
}
/// How many holes a drill file drills.
std::size_t hits(const fs::path& file) {
  std::istringstream in(slurp(file));
  std::size_t count = 0;
  for (std::string line; std::getline(in, line);) count += !line.empty() && line[0] == 'X';
  return count;
}
}  // namespace

TEST_CASE("a board on its own fixture changes nothing, byte for byte (law: identity)") {
  Folder folder;
  REQUIRE(run(teasel() + "plan '" + job("buoy-node.toml") + "' -o a -q", folder.path).status == 0);
  const Result result = run(teasel() + "respin a/plan.json '" + job("buoy-node.toml") + "' -o b", folder.path);
  REQUIRE(result.status == 0);
  CHECK(slurp(folder.path / "a/probes.csv") == slurp(folder.path / "b/probes.csv"));
  CHECK(result.out.find("nothing has to be done to the fixture") != std::string::npos);
  CHECK(result.out.find("the board: no change") != std::string::npos);
  CHECK(rows_of(folder.path / "b/board-changes.csv").empty());
  CHECK(rows_of(folder.path / "b/rework.csv").empty());
  CHECK(rows_of(folder.path / "b/self-test-changes.csv").empty());
  for (const Row& row : rows_of(folder.path / "b/respin.csv")) CHECK(row.at("fate") == "kept");
  for (const Row& row : rows_of(folder.path / "b/revisions.csv")) CHECK(row.at("runs") == "yes");
  // Wires and plates, but for the plan id and the line that names the fixture as an input.
  const std::string id = nlohmann::json::parse(slurp(folder.path / "a/plan.json"))["plan_id"],
                    next = nlohmann::json::parse(slurp(folder.path / "b/plan.json"))["plan_id"];
  for (const char* name : {"wiring.csv", "verify.csv", "plates/lower-probe-plate-top.drl",
                           "plates/upper-probe-plate-bottom.drl", "plates/lower-moving-plate-top.drl"}) {
    std::string a = slurp(folder.path / "a" / name), b = slurp(folder.path / "b" / name);
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
  Folder folder;
  for (const auto& entry : fs::directory_iterator(generated("--revision-g --with-ipc2581")))
    if (entry.path().extension() != ".xml")
      CHECK(slurp(entry.path()) == slurp(fs::path(source()) / "data/demo-g" / entry.path().filename()));
  REQUIRE(run(teasel() + "plan '" + job("buoy-node.toml") + "' -o f -q", folder.path).status == 0);
  const Result result = run(teasel() + "respin f/plan.json '" + job("buoy-node-g.toml") + "' -o g-plan", folder.path);
  INFO(result.out << result.err);
  REQUIRE(result.status == 0);
  // What the generator changed. Vias and bare metal of tracks are left out, since the router lays tracks anew after
  // each change.
  std::set<std::tuple<std::string, std::string, std::string>> changes;
  for (const Row& change : rows_of(folder.path / "g-plan/board-changes.csv"))
    if (change.at("of") != "via" && change.at("what").find("bare metal") == std::string::npos)
      changes.insert({change.at("of"), change.at("name"), change.at("what")});
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
  const auto renames = rows_of(folder.path / "g-plan/renames.csv");
  REQUIRE(renames.size() == 1);
  CHECK((renames[0].at("net_before") == "CHG_STAT" && renames[0].at("net") == "CHARGER_STATE" &&
         renames[0].at("taken") == "yes"));
  std::map<std::string, Row> fates;
  for (const Row& row : rows_of(folder.path / "g-plan/respin.csv")) fates[row.at("net_before")] = row;
  CHECK(fates["MON3_T"].at("why").find("0.04 mm off the middle") != std::string::npos);
  CHECK(fates["MON7_T"].at("fate") == "moved");
  CHECK(fates["USB_DM"].at("fate") == "moved");
  CHECK(fates["CHG_STAT"].at("fate") == "kept");
  CHECK(fates["CHG_STAT"].at("net") == "CHARGER_STATE");
  // Plate by plate, the file of the new holes holds as many holes as there are steps to drill, and the file of the
  // whole plate holds them too.
  std::map<std::string, std::size_t> drilled;
  for (const Row& step : rows_of(folder.path / "g-plan/rework.csv"))
    if (step.at("stage") == "drill") ++drilled[step.at("plate")];
  REQUIRE(drilled.size() >= 2);
  for (const auto& [plate, count] : drilled) {
    CHECK(hits(folder.path / "g-plan/rework" / (plate + "-new-holes.drl")) == count);
    const std::string whole = slurp(folder.path / "g-plan/plates" / (plate + ".drl"));
    const std::string cut = slurp(folder.path / "g-plan/rework" / (plate + "-new-holes.drl"));
    CHECK((cut.empty() || cut.find("pick up on PIN1") != cut.npos));  // the driller finds the plate by its pins
    std::istringstream in(cut);
    for (std::string line; std::getline(in, line);)
      if (!line.empty() && line[0] == 'X') CHECK(whole.find(line) != std::string::npos);
    // No new hole is one of the old plate's.
    const std::string before = slurp(folder.path / "f/plates" / (plate + ".drl"));
    std::istringstream again(slurp(folder.path / "g-plan/rework" / (plate + "-new-holes.drl")));
    for (std::string line; std::getline(again, line);)
      if (!line.empty() && line[0] == 'X') CHECK(before.find(line) == std::string::npos);
  }
  // An independent reader proves the plan against the netlist.
  CHECK(run("'" CHECK_PLAN_BINARY "' g-plan '" + source() + "/data/demo-g/buoy-node.ipc'", folder.path).status == 0);
  std::map<std::string, std::string> runs;
  for (const Row& row : rows_of(folder.path / "g-plan/revisions.csv")) runs[row.at("board")] = row.at("runs");
  CHECK(runs["harbour buoy node, revision F"] == "no");
  CHECK(runs["harbour buoy node, revision G"] == "yes");

  // The altered fixture is planned once more. Its history grows, and nothing else changes. The same command twice gives
  // the same bytes.
  REQUIRE(run(teasel() + "respin g-plan/plan.json '" + job("buoy-node-g.toml") + "' -o again -q", folder.path).status ==
          0);
  CHECK(slurp(folder.path / "again/probes.csv") == slurp(folder.path / "g-plan/probes.csv"));
  CHECK(rows_of(folder.path / "again/rework.csv").empty());
  CHECK(rows_of(folder.path / "again/revisions.csv").size() == 3);
  const std::string once = slurp(folder.path / "again/plan.json");
  REQUIRE(run(teasel() + "respin g-plan/plan.json '" + job("buoy-node-g.toml") + "' -o again -q", folder.path).status ==
          0);
  CHECK(slurp(folder.path / "again/plan.json") == once);
  // Back to revision F: the holes that were plugged stay plugged.
  REQUIRE(
      run(teasel() + "respin g-plan/plan.json '" + job("buoy-node.toml") + "' -o back -q --no-mechanics", folder.path)
          .status == 0);
  for (const Row& probe : rows_of(folder.path / "back/probes.csv")) {
    CHECK(probe.at("probe") != fates["MON7_T"].at("probe"));
    CHECK(probe.at("probe") != fates["USB_DM"].at("probe"));
  }
}

TEST_CASE(
    "what is no fixture, or not this plan's, or another fixture, is refused and nothing is written "
    "(constructed faults)") {
  Folder folder;
  REQUIRE(run(teasel() + "plan '" + job("buoy-node.toml") + "' -o a -q --no-mechanics", folder.path).status == 0);
  auto refused = [&](const std::string& plan, const std::string& job_file, const std::string& code) {
    const Result result = run(teasel() + "respin " + plan + " '" + job_file + "' -o out", folder.path);
    INFO(result.err);
    CHECK(result.status == 1);
    CHECK(result.err.find(code) != std::string::npos);
    CHECK_FALSE(fs::exists(folder.path / "out"));
  };
  refused("nowhere/plan.json", job("buoy-node.toml"), "file-not-found");
  refused("a/probes.csv", job("buoy-node.toml"), "respin-no-plan");
  refused("a/plan.json", job("weather-vane.toml"), "respin");
  std::string text = slurp(job("buoy-node.toml"));
  for (std::size_t at; (at = text.find("../../data")) != text.npos;) text.replace(at, 10, source() + "/data");
  const std::string kit = "kit = \"clamshell\"";
  text.replace(text.find(kit), kit.size(), "kit = \"hand-press\"");
  std::ofstream(folder.path / "other.toml") << text;
  refused("a/plan.json", (folder.path / "other.toml").string(), "respin-other-fixture");
  std::ofstream(folder.path / "a/fixture.json", std::ios::app) << " ";
  refused("a/plan.json", job("buoy-node.toml"), "respin-fixture-changed");
}
