// The audit as a user meets it: interfaces, boundary scan, gate, advice.
#include <algorithm>
#include <catch2/catch.hpp>
#include <map>
#include <nlohmann/json.hpp>
#include <set>
#include <sstream>

#include "run_command.h"

using namespace test;
using Json = nlohmann::json;

namespace {
void demo_with(const Folder& folder, const std::string& more, const std::string& from = {},
               const std::string& to = {}) {
  fs::create_directories(folder.path / "fixtures/jobs");
  if (!fs::exists(folder.path / "data"))
    fs::copy(source() + "/data", folder.path / "data", fs::copy_options::recursive);
  std::string text = slurp(source() + "/fixtures/jobs/buoy-node.toml");
  if (!from.empty()) {
    REQUIRE(text.find(from) != std::string::npos);
    text.replace(text.find(from), from.size(), to);
  }
  std::ofstream(folder.path / "fixtures/jobs/j.toml", std::ios::trunc) << text << "\n" << more;
}
Result audited(const Folder& folder, const std::string& more = {}) {
  return run(teasel() + "audit fixtures/jobs/j.toml --no-mechanics" + (more.empty() ? " -v" : more), folder.path);
}
std::vector<std::vector<std::string>> rows(const std::string& csv) {
  std::vector<std::vector<std::string>> out;
  std::istringstream in(csv);
  std::string line;
  while (std::getline(in, line)) {
    out.emplace_back(1);
    bool quoted = false;
    for (const char letter : line) {
      if (letter == '"')
        quoted = !quoted;
      else if (letter == ',' && !quoted)
        out.back().emplace_back();
      else
        out.back().back() += letter;
    }
  }
  return out;
}
}  // namespace

TEST_CASE("the demo's audit finds its port, its debug lines and its flash (the demo's SOURCE.md)") {
  Folder folder;
  demo_with(folder, "");
  const Result result = audited(folder, " --json");
  REQUIRE(result.status == 0);
  const Json audit = Json::parse(result.out)["audit"];
  std::map<std::string, Json> found;
  for (const Json& i : audit["interfaces"]) found[i["name"]] = i;
  // SOURCE.md of the demo: one 1149.1 chain through two devices, two-wire debug, SPI flash, a radio, crystals.
  for (const char* name : {"1149.1", "two-wire debug", "serial flash U3"}) {
    INFO(name);
    REQUIRE(found.count(name) == 1);
    CHECK(found[name]["usable"] == true);
    CHECK(found[name]["confidence"] == "confirmed");
  }
  CHECK(found["crystal"]["reason"].get<std::string>().find("capacitance") != std::string::npos);
  REQUIRE(audit["boundary_scan"]["chains"].size() == 1);
  CHECK(audit["boundary_scan"]["chains"][0]["devices"] == Json::array({"U1", "U2"}));
  CHECK(audit["boundary_scan"]["chains"][0]["usable"] == true);
  // 32 BUS nets, and 16 LNK lines on both sides of their 33 ohm resistors.
  CHECK(audit["boundary_scan"]["nets_that_need_no_probe"] == 64);
  CHECK(audit["gate"]["asked"] == false);
}

TEST_CASE(
    "a gate that is not passed ends with status 2 and says what failed; one that is passed does not (manual, "
    "exit status)") {
  Folder folder;
  demo_with(folder, "[gate]\nscore = 50.0\ninterfaces = [\"1149.1\", \"serial flash*\"]\nsupplies = true\n");
  Result result = audited(folder);
  CHECK(result.status == 0);
  CHECK(result.out.find("gate passed") != std::string::npos);
  demo_with(folder, "[gate]\nscore = 99.9\nnets = 100.0\ninterfaces = [\"SPI RADIO\", \"UART\"]\n");
  result = audited(folder);
  CHECK(result.status == 2);
  CHECK(result.out.find("GATE FAILED") != std::string::npos);
  CHECK(result.out.find("SPI RADIO") != std::string::npos);
  CHECK(result.out.find("no such interface was found") != std::string::npos);
  CHECK(run(teasel() + "plan fixtures/jobs/j.toml --no-mechanics -o out", folder.path).status == 2);
  CHECK(fs::exists(folder.path / "out/plan.json"));
}

TEST_CASE(
    "boundary scan saves probes where the job asks for it, and nothing that the chain itself needs (counted "
    "from the demo's SOURCE.md)") {
  Folder folder;
  demo_with(folder, "");
  const Json before = Json::parse(audited(folder, " --json").out);
  demo_with(folder, "[plan]\nboundary_scan = \"save probes\"\n");
  const Result result = audited(folder, " -o audit --json");
  REQUIRE(result.status == 0);
  const Json after = Json::parse(result.out);
  CHECK(after["audit"]["boundary_scan"]["probes_saved"] == 64);
  CHECK(after["probes"].get<int>() < before["probes"].get<int>());
  std::set<std::string> saved;
  for (const auto& row : rows(slurp(folder.path / "audit/coverage.csv")))
    if (row.size() > 9 && row[9].find("boundary scan drives") != std::string::npos) saved.insert(row[0]);
  CHECK(saved.size() == 64);
  CHECK(saved.count("BUS0") == 1);
  CHECK(saved.count("LNK3_A") == 1);
  for (const char* name : {"TCK", "TMS", "TDI", "TDO", "NRST", "3V3", "GND"}) CHECK(saved.count(name) == 0);
}

TEST_CASE(
    "advice has the columns as promised, cheapest first for each net, nothing within the clearances (manual "
    "and rule file)") {
  Folder folder;
  demo_with(folder, "");
  REQUIRE(audited(folder, " -o audit").status == 0);
  const auto list = rows(slurp(folder.path / "audit/advice.csv"));
  REQUIRE(list.size() > 40);
  CHECK(list[0] == std::vector<std::string>{"net", "kind", "action", "side", "x_mm", "y_mm", "free_diameter_mm",
                                            "distance_mm", "class", "gain"});
  static const std::map<std::string, int> order = {
      {"relax rule", 0}, {"use side", 1},       {"open mask", 2},
      {"move part", 3},  {"leave out part", 4}, {"add pad", 5}};  // by the prices of the rule file
  std::map<std::string, int> last;
  std::set<std::pair<std::string, std::string>> first_pads;
  std::vector<std::array<double, 2>> top, bottom;
  std::set<std::string> unmet;
  for (const auto& row : rows(slurp(folder.path / "audit/coverage.csv")))
    if (row.size() > 8 && (row[8] == "unmet" || row[8] == "partial")) unmet.insert(row[0]);
  for (std::size_t i = 1; i < list.size(); ++i) {
    const auto& row = list[i];
    REQUIRE(row.size() == 10);
    INFO(row[0] << " " << row[2]);
    CHECK(unmet.count(row[0]) == 1);
    CHECK(order.at(row[1]) >= last[row[0]]);
    last[row[0]] = order.at(row[1]);
    if (row[1] != "add pad") continue;
    CHECK(std::stod(row[6]) >= 1.0 - 1e-6);  // the pad itself fits
    CHECK(std::stod(row[7]) <= 5.0 + 1e-6);
    if (first_pads.insert({row[0], row[3]}).second)
      (row[3] == "top" ? top : bottom).push_back({std::stod(row[4]), std::stod(row[5])});
  }
  // Advised pads of one side keep their probes apart: 39 mil is the smallest class.
  for (const auto* side : {&top, &bottom})
    for (std::size_t i = 0; i < side->size(); ++i)
      for (std::size_t j = i + 1; j < side->size(); ++j)
        CHECK(std::hypot((*side)[i][0] - (*side)[j][0], (*side)[i][1] - (*side)[j][1]) >= 0.99 - 2e-3);
  for (const char* name : {"audit/advice-top.svg", "audit/advice-bottom.svg"})
    CHECK(slurp(folder.path / name).find("id=\"advice\"") != std::string::npos);
}

namespace {
/// A small reader of the demo's outer copper, by the Gerber specification: flashes and strokes with the net of
/// attribute .N.
struct Copper {
  std::string net;
  double x0, y0, x1, y1;
  double radius;  ///< of a stroke's pen or a round flash
  bool box;
  [[nodiscard]] double from(double x, double y) const {
    if (box) return std::hypot(std::max({x0 - x, 0.0, x - x1}), std::max({y0 - y, 0.0, y - y1}));
    const double dx = x1 - x0, dy = y1 - y0, whole = dx * dx + dy * dy;
    const double t = whole > 0 ? std::clamp(((x - x0) * dx + (y - y0) * dy) / whole, 0.0, 1.0) : 0;
    return std::hypot(x - x0 - t * dx, y - y0 - t * dy) - radius;
  }
};
std::vector<Copper> copper_of(const std::string& text) {
  std::map<int, std::pair<double, double>> apertures;  // width, height; height 0: round
  std::vector<Copper> out;
  std::string net, line;
  int current = 0;
  double x = 0, y = 0;
  for (std::istringstream in(text); std::getline(in, line);) {
    int code = 0, op = 0;
    long ix = 0, iy = 0;
    double size_x = 0, size_y = 0;
    if (std::sscanf(line.c_str(), "%%ADD%dR,%lfX%lf", &code, &size_x, &size_y) == 3)
      apertures[code] = {size_x, size_y};
    else if (std::sscanf(line.c_str(), "%%ADD%dC,%lf", &code, &size_x) == 2)
      apertures[code] = {size_x, 0};
    else if (line.rfind("%TO.N,", 0) == 0)
      net = line.substr(6, line.find('*') - 6);
    else if (line.rfind("%TD", 0) == 0)
      net.clear();
    else if (std::sscanf(line.c_str(), "D%d*", &code) == 1 && code >= 10)
      current = code;
    else if (std::sscanf(line.c_str(), "X%ldY%ldD0%d*", &ix, &iy, &op) == 3) {
      const double nx = static_cast<double>(ix) / 1e6, ny = static_cast<double>(iy) / 1e6;
      const auto [width, height] = apertures[current];
      const double from_x = op == 1 ? x : nx;
      const double from_y = op == 1 ? y : ny;
      if (op == 1 || (op == 3 && height == 0))
        out.push_back({.net = net, .x0 = from_x, .y0 = from_y, .x1 = nx, .y1 = ny, .radius = width / 2, .box = false});
      else if (op == 3)
        out.push_back({.net = net,
                       .x0 = nx - width / 2,
                       .y0 = ny - height / 2,
                       .x1 = nx + width / 2,
                       .y1 = ny + height / 2,
                       .radius = 0,
                       .box = true});
      x = nx;
      y = ny;
    }
  }
  return out;
}
}  // namespace

TEST_CASE(
    "advised pads keep 0.2 mm to copper of other nets, their vias on the other side as well (own reader of "
    "the release's Gerber files)") {
  Folder folder;
  demo_with(folder, "");
  // Without boundary scan there are more nets to advise on.
  std::string job = slurp(folder.path / "fixtures/jobs/j.toml");
  job.erase(job.find("[[inputs.bsdl]]"), job.find("[inputs.heights]") - job.find("[[inputs.bsdl]]"));
  std::ofstream(folder.path / "fixtures/jobs/j.toml", std::ios::trunc) << job;
  REQUIRE(audited(folder, " -o audit").status == 0);
  const std::vector<Copper> top = copper_of(slurp(source() + "/data/demo/buoy-node-F_Cu.gbr")),
                            bottom = copper_of(slurp(source() + "/data/demo/buoy-node-B_Cu.gbr"));
  REQUIRE((top.size() > 1000 && bottom.size() > 500));
  int pads = 0, vias = 0;
  for (const auto& row : rows(slurp(folder.path / "audit/advice.csv"))) {
    if (row[1] != "add pad") continue;
    ++pads;
    const double x = std::stod(row[4]), y = std::stod(row[5]);
    const auto nearest = [&](const std::vector<Copper>& list, bool own) {
      double least = 1e9;
      for (const Copper& piece : list)
        if ((piece.net == row[0]) == own) least = std::min(least, piece.from(x, y));
      return least;
    };
    const auto &here = row[3] == "top" ? top : bottom, &there = row[3] == "top" ? bottom : top;
    INFO(row[0] << " " << row[2] << " at " << x << ", " << y);
    CHECK(nearest(here, false) >= 0.5 + 0.2 - 2e-3);
    const bool via = row[2].find("with a via") != std::string::npos;
    vias += via;
    if (via) CHECK(nearest(there, false) >= 0.3 + 0.2 - 2e-3);
    // The pad is no farther from the copper of its own net than the list says.
    CHECK(nearest(via ? there : here, true) <= std::stod(row[7]) + 2e-3);
  }
  CHECK(pads > 50);
  CHECK(vias > 0);
}

TEST_CASE(
    "a mandatory interface that the bed cannot use ends with status 2, and names what it lacks (manual, exit "
    "status)") {
  Folder folder;
  demo_with(folder, "[[ban]]\nnet = \"TDO\"\n");
  Result result = audited(folder);
  CHECK(result.status == 2);
  CHECK(result.out.find("mandatory interface 1149.1: TDO (TDO): no probe") != std::string::npos);
  // Without its TDO the chain tests nothing, so no net counts as tested by it.
  const Json audit = Json::parse(audited(folder, " --json").out)["audit"];
  CHECK(audit["nets_with_boundary_scan"]["reached"] == audit["nets"]["reached"]);
  demo_with(folder, "[[interface]]\nkind = \"USB\"\nmandatory = true\nwanted = 0\n");
  CHECK(audited(folder).status == 1);
}

TEST_CASE("what the job says of interfaces is checked: kinds, lines, nets, descriptions (constructed faults)") {
  Folder folder;
  for (const auto& [more, code] :
       {std::pair<const char*, const char*>{"[[interface]]\nkind = \"UART\"\nlines = { TXX = \"ADC0\" }\n",
                                            "interface-line"},
        {"[[interface]]\nkind = \"UARTS\"\nlines = { TX = \"ADC0\" }\n", "interface-kind"},
        {"[[interface]]\nkind = \"UART\"\nlines = { TX = \"NOWHERE\" }\n", "interface-net"},
        {"[[inputs.bsdl]]\nfile = \"../../data/demo/logic.bsd\"\ncomponent = \"U3\"\n", "bsdl-pins"},
        {"[[inputs.bsdl]]\nfile = \"../../data/demo/placement.csv\"\ncomponent = \"U3\"\n", "bsdl-no-entity"},
        {"[[interface]]\nkind = \"none\"\n", "job"}}) {
    demo_with(folder, more);
    const Result result = audited(folder);
    INFO(more << result.err);
    CHECK(result.status == 1);
    CHECK(result.err.find(code) != std::string::npos);
  }
  // An interface that is not there is a warning, but an error where it is mandatory.
  for (const bool mandatory : {false, true}) {
    demo_with(folder, std::string("[[interface]]\nname = \"UART 9\"\n") + (mandatory ? "mandatory = true\n" : ""));
    const Result result = audited(folder);
    CHECK(result.status == (mandatory ? 1 : 0));
    CHECK(result.err.find("interface-not-found") != std::string::npos);
  }
}
