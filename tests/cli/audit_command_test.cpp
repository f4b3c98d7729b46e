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
void demo_with(const Folder& f, const std::string& more, const std::string& from = {}, const std::string& to = {}) {
  fs::create_directories(f.path / "fixtures/jobs");
  if (!fs::exists(f.path / "data")) fs::copy(source() + "/data", f.path / "data", fs::copy_options::recursive);
  std::string text = slurp(source() + "/fixtures/jobs/buoy-node.toml");
  if (!from.empty()) {
    REQUIRE(text.find(from) != std::string::npos);
    text.replace(text.find(from), from.size(), to);
  }
  std::ofstream(f.path / "fixtures/jobs/j.toml", std::ios::trunc) << text << "\n" << more;
}
Result audited(const Folder& f, const std::string& more = {}) {
  return run(teasel() + "audit fixtures/jobs/j.toml --no-mechanics" + more, f.path);
}
std::vector<std::vector<std::string>> rows(const std::string& csv) {
  std::vector<std::vector<std::string>> out;
  std::istringstream in(csv);
  std::string line;
  while (std::getline(in, line)) {
    out.emplace_back(1);
    bool quoted = false;
    for (const char c : line) {
      if (c == '"')
        quoted = !quoted;
      else if (c == ',' && !quoted)
        out.back().emplace_back();
      else
        out.back().back() += c;
    }
  }
  return out;
}
}  // namespace

TEST_CASE("the demo's audit finds its port, its debug lines and its flash (the demo's SOURCE.md)") {
  Folder f;
  demo_with(f, "");
  const Result r = audited(f, " --json");
  REQUIRE(r.status == 0);
  const Json a = Json::parse(r.out)["audit"];
  std::map<std::string, Json> found;
  for (const Json& i : a["interfaces"]) found[i["name"]] = i;
  // SOURCE.md of the demo: one 1149.1 chain through two devices, two-wire debug, SPI flash, a radio, crystals.
  for (const char* n : {"1149.1", "two-wire debug", "serial flash U3"}) {
    INFO(n);
    REQUIRE(found.count(n) == 1);
    CHECK(found[n]["usable"] == true);
    CHECK(found[n]["confidence"] == "confirmed");
  }
  CHECK(found["crystal"]["reason"].get<std::string>().find("capacitance") != std::string::npos);
  REQUIRE(a["boundary_scan"]["chains"].size() == 1);
  CHECK(a["boundary_scan"]["chains"][0]["devices"] == Json::array({"U1", "U2"}));
  CHECK(a["boundary_scan"]["chains"][0]["usable"] == true);
  // 32 BUS nets, and 16 LNK lines on both sides of their 33 ohm resistors.
  CHECK(a["boundary_scan"]["nets_that_need_no_probe"] == 64);
  CHECK(a["gate"]["asked"] == false);
}

TEST_CASE(
    "a gate that is not passed ends with status 2 and says what failed; one that is passed does not (manual, "
    "exit status)") {
  Folder f;
  demo_with(f, "[gate]\nscore = 50.0\ninterfaces = [\"1149.1\", \"serial flash*\"]\nsupplies = true\n");
  Result r = audited(f);
  CHECK(r.status == 0);
  CHECK(r.out.find("gate passed") != std::string::npos);
  demo_with(f, "[gate]\nscore = 99.9\nnets = 100.0\ninterfaces = [\"SPI RADIO\", \"UART\"]\n");
  r = audited(f);
  CHECK(r.status == 2);
  CHECK(r.out.find("GATE FAILED") != std::string::npos);
  CHECK(r.out.find("SPI RADIO") != std::string::npos);
  CHECK(r.out.find("none such is found") != std::string::npos);
  CHECK(run(teasel() + "plan fixtures/jobs/j.toml --no-mechanics -o out", f.path).status == 2);
  CHECK(fs::exists(f.path / "out/plan.json"));
}

TEST_CASE(
    "boundary scan saves probes where the job asks for it, and nothing that the chain itself needs (counted "
    "from the demo's SOURCE.md)") {
  Folder f;
  demo_with(f, "");
  const Json before = Json::parse(audited(f, " --json").out);
  demo_with(f, "[plan]\nboundary_scan = \"save probes\"\n");
  const Result r = audited(f, " -o audit --json");
  REQUIRE(r.status == 0);
  const Json after = Json::parse(r.out);
  CHECK(after["audit"]["boundary_scan"]["probes_saved"] == 64);
  CHECK(after["probes"].get<int>() < before["probes"].get<int>());
  std::set<std::string> saved;
  for (const auto& row : rows(slurp(f.path / "audit/coverage.csv")))
    if (row.size() > 9 && row[9].find("boundary scan drives") != std::string::npos) saved.insert(row[0]);
  CHECK(saved.size() == 64);
  CHECK(saved.count("BUS0") == 1);
  CHECK(saved.count("LNK3_A") == 1);
  for (const char* n : {"TCK", "TMS", "TDI", "TDO", "NRST", "3V3", "GND"}) CHECK(saved.count(n) == 0);
}

TEST_CASE(

    "advice has the columns as promised, cheapest first for each net, nothing within the clearances (manual "
    "and rule file)") {
  Folder f;
  demo_with(f, "");
  REQUIRE(audited(f, " -o audit").status == 0);
  const auto list = rows(slurp(f.path / "audit/advice.csv"));
  REQUIRE(list.size() > 40);
  CHECK(list[0] == std::vector<std::string>{"net", "kind", "action", "side", "x_mm", "y_mm", "free_diameter_mm",
                                            "distance_mm", "class", "gain"});
  static const std::map<std::string, int> order = {{"relax rule", 0},     {"use side", 1},
                                                   {"open mask", 2},      {"move part", 3},
                                                   {"leave out part", 4}, {"add pad", 5}};  // prices of the rule file
  std::map<std::string, int> last;
  std::set<std::pair<std::string, std::string>> first_pads;
  std::vector<std::array<double, 2>> top, bottom;
  std::set<std::string> unmet;
  for (const auto& row : rows(slurp(f.path / "audit/coverage.csv")))
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
  for (const char* n : {"audit/advice-top.svg", "audit/advice-bottom.svg"})
    CHECK(slurp(f.path / n).find("id=\"advice\"") != std::string::npos);
}

namespace {
/// A small reader of the demo's outer copper, by the Gerber specification: flashes and strokes with the net of
/// attribute .N.
struct Copper {
  std::string net;
  double x0, y0, x1, y1, r;
  bool box;
  [[nodiscard]] double from(double x, double y) const {
    if (box) return std::hypot(std::max({x0 - x, 0.0, x - x1}), std::max({y0 - y, 0.0, y - y1}));
    const double dx = x1 - x0, dy = y1 - y0, whole = dx * dx + dy * dy,
                 t = whole > 0 ? std::clamp(((x - x0) * dx + (y - y0) * dy) / whole, 0.0, 1.0) : 0;
    return std::hypot(x - x0 - t * dx, y - y0 - t * dy) - r;
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
    double w = 0, h = 0;
    if (std::sscanf(line.c_str(), "%%ADD%dR,%lfX%lf", &code, &w, &h) == 3)
      apertures[code] = {w, h};
    else if (std::sscanf(line.c_str(), "%%ADD%dC,%lf", &code, &w) == 2)
      apertures[code] = {w, 0};
    else if (line.rfind("%TO.N,", 0) == 0)
      net = line.substr(6, line.find('*') - 6);
    else if (line.rfind("%TD", 0) == 0)
      net.clear();
    else if (std::sscanf(line.c_str(), "D%d*", &code) == 1 && code >= 10)
      current = code;
    else if (std::sscanf(line.c_str(), "X%ldY%ldD0%d*", &ix, &iy, &op) == 3) {
      const double nx = static_cast<double>(ix) / 1e6, ny = static_cast<double>(iy) / 1e6;
      const auto [width, height] = apertures[current];
      if (op == 1) out.push_back({net, x, y, nx, ny, width / 2, false});
      if (op == 3 && height == 0) out.push_back({net, nx, ny, nx, ny, width / 2, false});
      if (op == 3 && height > 0)
        out.push_back({net, nx - width / 2, ny - height / 2, nx + width / 2, ny + height / 2, 0, true});
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
  Folder f;
  demo_with(f, "");
  // Without boundary scan there are more nets to advise on.
  std::string job = slurp(f.path / "fixtures/jobs/j.toml");
  job.erase(job.find("[[inputs.bsdl]]"), job.find("[inputs.heights]") - job.find("[[inputs.bsdl]]"));
  std::ofstream(f.path / "fixtures/jobs/j.toml", std::ios::trunc) << job;
  REQUIRE(audited(f, " -o audit").status == 0);
  const std::vector<Copper> top = copper_of(slurp(source() + "/data/demo/buoy-node-F_Cu.gbr")),
                            bottom = copper_of(slurp(source() + "/data/demo/buoy-node-B_Cu.gbr"));
  REQUIRE((top.size() > 1000 && bottom.size() > 500));
  int pads = 0, vias = 0;
  for (const auto& row : rows(slurp(f.path / "audit/advice.csv"))) {
    if (row[1] != "add pad") continue;
    ++pads;
    const double x = std::stod(row[4]), y = std::stod(row[5]);
    const auto nearest = [&](const std::vector<Copper>& list, bool own) {
      double d = 1e9;
      for (const Copper& c : list)
        if ((c.net == row[0]) == own) d = std::min(d, c.from(x, y));
      return d;
    };
    const auto &here = row[3] == "top" ? top : bottom, &there = row[3] == "top" ? bottom : top;
    INFO(row[0] << " " << row[2] << " at " << x << ", " << y);
    CHECK(nearest(here, false) >= 0.5 + 0.2 - 2e-3);
    const bool via = row[2].find("with a via") != std::string::npos;
    vias += via;
    if (via) CHECK(nearest(there, false) >= 0.3 + 0.2 - 2e-3);
    // As far from its own copper as it says.
    CHECK(nearest(via ? there : here, true) <= std::stod(row[7]) + 2e-3);
  }
  CHECK(pads > 50);
  CHECK(vias > 0);
}

TEST_CASE(
    "a mandatory interface that the bed cannot use ends with status 2, and names what it lacks (manual, exit "
    "status)") {
  Folder f;
  demo_with(f, "[[ban]]\nnet = \"TDO\"\n");
  Result r = audited(f);
  CHECK(r.status == 2);
  CHECK(r.out.find("mandatory interface 1149.1: TDO (TDO): no probe") != std::string::npos);
  // Without its TDO the chain tests nothing: no net is credited to it.
  const Json a = Json::parse(audited(f, " --json").out)["audit"];
  CHECK(a["nets_with_boundary_scan"]["reached"] == a["nets"]["reached"]);
  demo_with(f, "[[interface]]\nkind = \"USB\"\nmandatory = true\nwanted = 0\n");
  CHECK(audited(f).status == 1);
}

TEST_CASE("what the job says of interfaces is checked: kinds, lines, nets, descriptions (constructed faults)") {
  Folder f;
  for (const auto& [more, code] :
       {std::pair<const char*, const char*>{"[[interface]]\nkind = \"UART\"\nlines = { TXX = \"ADC0\" }\n",
                                            "interface-line"},
        {"[[interface]]\nkind = \"UARTS\"\nlines = { TX = \"ADC0\" }\n", "interface-kind"},
        {"[[interface]]\nkind = \"UART\"\nlines = { TX = \"NOWHERE\" }\n", "interface-net"},
        {"[[inputs.bsdl]]\nfile = \"../../data/demo/logic.bsd\"\ncomponent = \"U3\"\n", "bsdl-pins"},
        {"[[inputs.bsdl]]\nfile = \"../../data/demo/placement.csv\"\ncomponent = \"U3\"\n", "bsdl-no-entity"},
        {"[[interface]]\nkind = \"none\"\n", "job"}}) {
    demo_with(f, more);
    const Result r = audited(f);
    INFO(more << r.err);
    CHECK(r.status == 1);
    CHECK(r.err.find(code) != std::string::npos);
  }
  // One that must be reached and is not there is no matter of a warning.
  for (const bool mandatory : {false, true}) {
    demo_with(f, std::string("[[interface]]\nname = \"UART 9\"\n") + (mandatory ? "mandatory = true\n" : ""));
    const Result r = audited(f);
    CHECK(r.status == (mandatory ? 1 : 0));
    CHECK(r.err.find("interface-not-found") != std::string::npos);
  }
}
