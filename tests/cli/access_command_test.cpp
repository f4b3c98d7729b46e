// Panels, build variants, waivers, covers and explanations, as a user meets them.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <map>
#include <nlohmann/json.hpp>
#include <sstream>

#include "run_command.h"

using namespace test;
using Json = nlohmann::json;

namespace {
/// The demo with more lines at the end of its job file.
void demo_with(const Folder& folder, const std::string& more) {
  fs::create_directories(folder.path / "fixtures/jobs");
  if (!fs::exists(folder.path / "data"))
    fs::copy(source() + "/data", folder.path / "data", fs::copy_options::recursive);
  std::ofstream(folder.path / "fixtures/jobs/j.toml", std::ios::trunc)
      << slurp(source() + "/fixtures/jobs/buoy-node.toml") << "\n"
      << more;
}
Json planned(const Folder& folder, const std::string& more, const std::string& out, int status = 0) {
  demo_with(folder, more);
  const Result result = run(teasel() + "plan fixtures/jobs/j.toml --no-mechanics -o " + out, folder.path);
  INFO(result.err);
  REQUIRE(result.status == status);
  return Json::parse(slurp(folder.path / out / "plan.json"));
}
}  // namespace

TEST_CASE("a panel probed alike: each board's probes are the first board's, moved and turned with it (symmetry)") {
  Folder folder;
  const Json plan = planned(folder,
                            "[panel]\nplans = \"alike\"\n[[panel.board]]\nat = [\"10 mm\", \"10 "
                            "mm\"]\n[[panel.board]]\nname = \"right\"\nat = [\"220 mm\", \"80 mm\"]\nturn = 180.0\n"
                            "[[panel.hole]]\nat = [\"5 mm\", \"5 mm\"]\ndiameter = \"3 mm\"\n[[panel.hole]]\nat = "
                            "[\"225 mm\", \"85 mm\"]\ndiameter = \"3 mm\"\n",
                            "out");
  std::map<std::string, Json> by_name;
  for (const Json& probe : plan["probes"]) by_name[probe["name"]] = probe;
  std::size_t pairs = 0;
  for (const auto& [name, probe] : by_name) {
    if (name.rfind("P1-", 0) != 0) continue;
    REQUIRE(by_name.count("right-" + name.substr(3)) == 1);
    const Json& other = by_name["right-" + name.substr(3)];
    ++pairs;
    CHECK(other["net"].get<std::string>() == "right:" + probe["net"].get<std::string>().substr(3));
    CHECK(other["class"] == probe["class"]);
    // Board (x, y) lies at (10 + x, 10 + y), and at (220 - x, 80 - y).
    CHECK(other["aim_mm"][0].get<double>() == Approx(230 - probe["aim_mm"][0].get<double>()).margin(0.002));
    CHECK(other["aim_mm"][1].get<double>() == Approx(90 - probe["aim_mm"][1].get<double>()).margin(0.002));
  }
  CHECK(pairs * 2 == by_name.size());
  CHECK(pairs > 150);
  // Nothing of one board is in the other's way, so there are as many probes as two single plans would have.
  CHECK(plan["tooling"][0]["diameter_mm"] == 3.0);
}

TEST_CASE(
    "a flipped board of a panel shows its other side, so top pads are probed from the panel's bottom "
    "(symmetry)") {
  Folder folder;
  const Json plan = planned(folder,
                            "[panel]\nplans = \"free\"\n[[panel.board]]\nat = [\"0 mm\", \"0 "
                            "mm\"]\n[[panel.board]]\nat = [\"220 mm\", \"0 mm\"]\nflipped = true\n",
                            "out");
  std::map<std::string, std::string> first;
  int same = 0, swapped = 0;
  for (const Json& probe : plan["probes"])
    if (probe["name"].get<std::string>().rfind("P1-", 0) == 0 && probe["kind"] != "lead" && probe["kind"] != "via")
      first[probe["target"].get<std::string>().substr(3)] = probe["side"];
  for (const Json& probe : plan["probes"])
    if (probe["name"].get<std::string>().rfind("P2-", 0) == 0)
      if (const auto it = first.find(probe["target"].get<std::string>().substr(3)); it != first.end())
        ++(it->second == probe["side"] ? same : swapped);
  CHECK(same == 0);
  CHECK(swapped > 20);
}

TEST_CASE(
    "boards that overlap in a panel, and a panel of an IPC-2581 file that is not there, are refused "
    "(constructed faults)") {
  Folder folder;
  demo_with(folder, "[panel.array]\ncolumns = 2\npitch = [\"50 mm\", \"0 mm\"]\n");
  Result result = run(teasel() + "plan fixtures/jobs/j.toml --no-mechanics -o out", folder.path);
  CHECK(result.status == 1);
  CHECK(result.err.find("panel-overlap") != std::string::npos);
  demo_with(folder, "[panel]\nstep = \"array\"\n");
  result = run(teasel() + "plan fixtures/jobs/j.toml --no-mechanics -o out", folder.path);
  CHECK(result.status == 1);
  CHECK(result.err.find("panel-step") != std::string::npos);
  CHECK_FALSE(fs::exists(folder.path / "out"));
}

TEST_CASE("a plan for two build variants stands on no pad that one of them covers (manual, board: build variants)") {
  Folder folder;
  const Json lean = planned(folder, "", "lean");
  // The single build leaves J3 out; the second one fits it.
  std::string job = slurp(source() + "/fixtures/jobs/buoy-node.toml");
  job.replace(job.find("not_fitted = [\"J3\"]"), 19, "not_fitted = []");
  std::ofstream(folder.path / "fixtures/jobs/two.toml")
      << job << "\n[[variant]]\nname = \"lean\"\nnot_fitted = [\"J3\"]\n[[variant]]\nname = \"full\"\n";
  const Result result = run(teasel() + "plan fixtures/jobs/two.toml --no-mechanics -o both", folder.path);
  INFO(result.err);
  REQUIRE(result.status != 1);
  const Json both = Json::parse(slurp(folder.path / "both/plan.json"));
  bool found = false;
  for (const Json& component : both["components"])
    if (component["name"] == "J3") {
      found = true;
      CHECK(component["fitted"] == true);
      CHECK(component["fitted_in_all_variants"] == false);
    }
  CHECK(found);
  for (const Json& probe : both["probes"])
    if (probe["component"] == "J3")
      CHECK((probe["contact"] == Json::array({"lead", "open hole"}) || probe["contact"] == Json::array({"flat land"}) ||
             probe["contact"] == Json::array({"soldered land"})));
  CHECK(both["probes"].size() <= lean["probes"].size());
}

TEST_CASE(
    "a waiver opens its target and stands in every output; one that nothing needs is told; one without a "
    "reason is refused (manual, access: waivers)") {
  Folder folder;
  // C1-1 is 0.8 mm wide, but the shop wants 0.9 mm on the side of the second plate. A lock makes the plan use it.
  const std::string wall = "[rule_changes]\nrule.pad_diameter_other.least = \"0.90 mm\"\n";
  const std::string net = "ADC0", target = "C1-1", rule = "land too small";
  const std::string waiver = "[[waiver]]\nnet = \"" + net + "\"\ntarget = \"" + target + "\"\nrule = \"" + rule +
                             "\"\nreason = \"measured on three boards\"\n[[lock]]\nnet = \"ADC0\"\ntarget = \"C1-1\"\n";
  // Without the waiver the cheaper bed cannot keep the lock, so that a dearer bed is chosen.
  const Json before = planned(folder, wall + waiver.substr(waiver.find("[[lock]]")), "before");
  CHECK(before["waivers"].empty());
  const Json after = planned(folder, wall + waiver, "after");
  CHECK(after["proof"]["objective_cents"].get<long long>() < before["proof"]["objective_cents"].get<long long>());
  const auto probe = std::find_if(after["probes"].begin(), after["probes"].end(),
                                  [&](const Json& each) { return each["target"] == target; });
  REQUIRE(probe != after["probes"].end());
  CHECK((*probe)["waived"][0]["waived_because"] == "measured on three boards");
  CHECK(after["waivers"][0]["probes"].size() == 1);
  CHECK(slurp(folder.path / "after/report.html").find("measured on three boards") != std::string::npos);
  CHECK(slurp(folder.path / "after/blocked.csv").find("WAIVED: measured on three boards") != std::string::npos);
  CHECK(slurp(folder.path / "after/coverage.csv").find("measured on three boards") != std::string::npos);
  CHECK(slurp(folder.path / ("after/board-" + (*probe)["side"].get<std::string>() + ".svg")).find("on waivers: ") !=
        std::string::npos);
  bool drilled = false;
  for (const auto& entry : fs::directory_iterator(folder.path / "after/plates"))
    drilled |= entry.path().extension() == ".drl" && slurp(entry.path()).find("; on a waiver: ") != std::string::npos;
  CHECK(drilled);
  demo_with(folder, "[[waiver]]\nnet = \"3V3\"\ntarget = \"nowhere\"\nrule = \"" + rule + "\"\nreason = \"none\"\n");
  Result result = run(teasel() + "audit fixtures/jobs/j.toml --no-mechanics", folder.path);
  CHECK(result.status == 0);
  CHECK(result.err.find("waiver-unused") != std::string::npos);
  demo_with(folder, "[[waiver]]\nnet = \"3V3\"\ntarget = \"x\"\nrule = \"" + rule + "\"\n");
  CHECK(run(teasel() + "audit fixtures/jobs/j.toml --no-mechanics", folder.path).status == 1);
  demo_with(folder, "[[waiver]]\nnet = \"3V3\"\ntarget = \"x\"\nrule = \"land to small\"\nreason = \"y\"\n");
  result = run(teasel() + "audit fixtures/jobs/j.toml --no-mechanics", folder.path);
  CHECK(result.status == 1);
  CHECK(result.err.find("land too small") != std::string::npos);
}

TEST_CASE("a cover over a corner of the board takes its probes away (plane geometry)") {
  Folder folder;
  const Json open = planned(folder, "", "open");
  const Json covered = planned(folder,
                               "[[cover]]\nname = \"spare pack\"\nside = \"top\"\nfrom = [\"60 mm\", \"0 mm\"]\nto = "
                               "[\"100 mm\", \"35 mm\"]\nheight = \"8 mm\"\n",
                               "covered");
  auto inside = [](const Json& plan) {
    return std::count_if(plan["probes"].begin(), plan["probes"].end(), [](const Json& probe) {
      return probe["side"] == "top" && probe["aim_mm"][0].get<double>() > 60 && probe["aim_mm"][1].get<double>() < 35;
    });
  };
  CHECK(inside(open) > 10);
  CHECK(inside(covered) == 0);
  CHECK(slurp(folder.path / "covered/blocked.csv").find("cover spare pack") != std::string::npos);
}

TEST_CASE(
    "fiducials that stand in no list are found as bare metal; a part taller than its standoff is believed, "
    "another is not (the demo's generator)") {
  Folder folder;
  demo_with(folder, "");
  // The generator of the demo sets three fiducials that its netlist leaves out.
  const Result result = run(teasel() + "check fixtures/jobs/j.toml", folder.path);
  CHECK(result.out.find("board-bare-metal") != std::string::npos);
  CHECK(result.out.find("found     3 places") != std::string::npos);
  // By the IDF file the shield can now stands 3 mm off the board. The heights table says that it is 2.5 mm tall.
  std::string emn = slurp(folder.path / "data/demo/buoy-node.emn");
  const std::size_t at = emn.find(" SH1");
  REQUIRE(at != std::string::npos);
  const std::size_t line = emn.find('\n', at) + 1, end = emn.find('\n', line);
  std::istringstream in(emn.substr(line, end - line));
  std::string x, y, mount, rest;
  in >> x >> y >> mount;
  std::getline(in, rest);
  emn.replace(line, end - line, x + " " + y + " 30.0" + rest);
  std::ofstream(folder.path / "data/demo/buoy-node.emn", std::ios::trunc) << emn;
  const Result taller = run(teasel() + "check fixtures/jobs/j.toml", folder.path);
  CHECK(taller.out.find("components-standoff") != std::string::npos);
}

TEST_CASE(
    "--explain tells targets, verdicts and errors of a net, and writes nothing unless asked (the command's "
    "own help)") {
  Folder folder;
  demo_with(folder, "");
  const Result result = run(teasel() + "plan fixtures/jobs/j.toml --no-mechanics --explain SWD*", folder.path);
  CHECK(result.status == 0);
  for (const char* text : {"net SWDIO: programming, mandatory", "100 mil: open", "position error of 100 mil: sigma",
                           "plate drilling: sigma", "frozen at the build", "pointing: sigma"}) {
    INFO(text);
    CHECK(result.out.find(text) != std::string::npos);
  }
  CHECK_FALSE(fs::exists(folder.path / "j-plan"));
  const Result none = run(teasel() + "plan fixtures/jobs/j.toml --no-mechanics --explain NO_SUCH_NET", folder.path);
  CHECK(none.status == 1);
  CHECK(none.err.find("explain-no-net") != std::string::npos);
}
