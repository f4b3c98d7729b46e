// Outputs held against programs that share nothing with this one.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <map>
#include <set>

#include "pictures.h"

using namespace test;

namespace {
std::string check_plan() {
  return "'" CHECK_PLAN_BINARY "' ";
}

using HolePlace = std::pair<long, long>;  ///< micrometres
std::map<long, std::multiset<HolePlace>> holes_of_csv(const fs::path& file) {
  std::map<long, std::multiset<HolePlace>> holes;
  std::istringstream in(slurp(file));
  std::string line;
  std::getline(in, line);
  while (std::getline(in, line)) {
    if (line.find("no, in the blank") != std::string::npos) continue;  // drilled when the kit was bought
    double no, x, y, diameter;
    REQUIRE(std::sscanf(line.c_str(), "%lf,%lf,%lf,%lf", &no, &x, &y, &diameter) == 4);
    holes[std::lround(diameter * 1000)].insert({std::lround(x * 1000), std::lround(y * 1000)});
  }
  return holes;
}

/// Flashes by circular aperture in the RS-274X that gerbv writes of a drill file.
std::map<long, std::multiset<HolePlace>> holes_of_gerbv(const std::string& text) {
  std::map<long, std::multiset<HolePlace>> holes;
  std::map<int, double> apertures;
  const bool inch = text.find("MOIN") != std::string::npos;
  int decimals = 0;
  const std::size_t fs_at = text.find("%FSLAX");
  REQUIRE(fs_at != std::string::npos);
  decimals = text[fs_at + 7] - '0';
  const double scale = (inch ? 25.4 : 1) / std::pow(10, decimals);
  int current = 0;
  double x = 0, y = 0;
  std::istringstream in(text);
  std::string line;
  while (std::getline(in, line)) {
    int code;
    double size, fx, fy;
    if (std::sscanf(line.c_str(), "%%ADD%dC,%lf", &code, &size) == 2)
      apertures[code] = size * (inch ? 25.4 : 1);
    else if ((std::sscanf(line.c_str(), "G54D%d", &code) == 1 || std::sscanf(line.c_str(), "D%d*", &code) == 1) &&
             code >= 10)
      current = code;
    else if (line.find("D03") != std::string::npos) {
      if (std::sscanf(line.c_str(), "X%lfY%lfD03", &fx, &fy) == 2 ||
          std::sscanf(line.c_str(), "G01X%lfY%lfD03", &fx, &fy) == 2) {
        x = fx;
        y = fy;
      }
      holes[std::lround(apertures[current] * 1000)].insert(
          {std::lround(x * scale * 1000), std::lround(y * scale * 1000)});
    }
  }
  return holes;
}
}  // namespace

TEST_CASE("gerbv reads every plate file of the demo as the same holes (independent drill reader)") {
  Folder folder;
  if (run("command -v gerbv", folder.path).status != 0) {
    WARN("skipped: gerbv is not installed");
    return;
  }
  for (const char* face : {"board", "outer"}) {
    std::string job = slurp(source() + "/fixtures/jobs/buoy-node.toml");
    job.replace(job.find("drill_face = \"board\""), 20, std::string("drill_face = \"") + face + "\"");
    for (std::size_t at = 0; (at = job.find("../../data/demo", at)) != std::string::npos;)
      job.replace(at, 15, source() + "/data/demo");
    std::ofstream(folder.path / "j.toml") << job;
    REQUIRE(run(teasel() + "plan j.toml -o out", folder.path).status == 0);
    int plates = 0;
    std::vector<fs::directory_entry> files;
    for (const char* part : {"out/plates", "out/proving"})
      for (const auto& entry : fs::directory_iterator(folder.path / part)) files.push_back(entry);
    for (const auto& entry : files) {
      if (entry.path().extension() != ".drl" || entry.path().filename().string().find("-pocket-") != std::string::npos)
        continue;
      ++plates;
      const Result result = run("gerbv -x rs274x -o plate.gbr '" + entry.path().string() + "'", folder.path);
      INFO(result.err);
      fs::path csv = entry.path();
      csv.replace_extension(".csv");
      const auto ours = holes_of_csv(csv), theirs = holes_of_gerbv(slurp(folder.path / "plate.gbr"));
      REQUIRE(ours.size() == theirs.size());
      // gerbv writes inches with few digits, so holes are matched to within 3 um, each once.
      for (const auto& [dia, spots] : ours) {
        auto it = std::find_if(theirs.begin(), theirs.end(),
                               [size = dia](const auto& each) { return std::labs(each.first - size) <= 3; });
        REQUIRE(it != theirs.end());
        std::multiset<HolePlace> rest = it->second;
        CHECK(rest.size() == spots.size());
        for (const HolePlace& place : spots) {
          auto hit = std::find_if(rest.begin(), rest.end(), [&](const HolePlace& other) {
            return std::labs(other.first - place.first) <= 3 && std::labs(other.second - place.second) <= 3;
          });
          CHECK(hit != rest.end());
          if (hit != rest.end()) rest.erase(hit);
        }
      }
    }
    CHECK(plates >= 4);  // the check plate among them
  }
}

TEST_CASE(
    "ezdxf reads every plate drawing of the demo as the same holes, pockets and layers (independent reader of the "
    "exchange format)") {
  Folder folder;
  if (run("/usr/bin/python3 -c 'import ezdxf'", folder.path).status != 0) {
    WARN("skipped: ezdxf is not installed");
    return;
  }
  std::string job = slurp(source() + "/fixtures/jobs/buoy-node.toml");
  for (std::size_t at = 0; (at = job.find("../../data/demo", at)) != std::string::npos;)
    job.replace(at, 15, source() + "/data/demo");
  std::ofstream(folder.path / "j.toml") << job;
  REQUIRE(run(teasel() + "plan j.toml -o out", folder.path).status == 0);
  std::ofstream(folder.path / "read.py") << R"py(
import csv, glob, json, sys, ezdxf
plan = json.load(open('out/plan.json'))
for plate in plan['plates'] + plan['check_plates']:
    stem = 'out/' + plate['file'][:-4]
    doc = ezdxf.readfile(stem + '.dxf')
    assert doc.dxfversion == 'AC1009', doc.dxfversion
    auditor = doc.audit()
    assert not auditor.errors, auditor.errors
    def key(x, y, d): return (round(x * 1000), round(y * 1000), round(d * 1000))
    circles = sorted(key(c.dxf.center.x, c.dxf.center.y, 2 * c.dxf.radius) for c in doc.modelspace().query('CIRCLE'))
    rows = sorted(key(float(r['x_mm']), float(r['y_mm']), float(r['dia_mm']))
                  for r in csv.DictReader(open(stem + '.csv')))
    assert circles == rows, (stem, len(circles), len(rows))
    def area(points): return sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(points, points[1:] + points[:1])) / 2
    for pocket in plate['pockets']:
        layer = 'POCKET_THROUGH' if pocket['through'] else 'POCKET_Z%d' % round(pocket['depth_mm'] * 100)
        rings = [p for p in doc.modelspace().query('POLYLINE') if p.dxf.layer == layer]
        assert rings and all(p.is_closed for p in rings)
        total = sum(area([(v.dxf.location.x, v.dxf.location.y) for v in p.vertices]) for p in rings)
        assert abs(total - pocket['area_mm2']) < 0.002 * max(1, total), (layer, total, pocket['area_mm2'])
    declared = {l.dxf.name for l in doc.layers}
    assert {e.dxf.layer for e in doc.modelspace()} <= declared
    assert all(len(l) <= 31 and l == l.upper() for l in declared if l != '0' and l != 'Defpoints')
print(len(plan['plates']), 'plates')
)py";
  const Result result = run("/usr/bin/python3 read.py", folder.path);
  INFO(result.out << result.err);
  CHECK(result.status == 0);
  CHECK(result.out.find("3 plates") != std::string::npos);
}

TEST_CASE("the independent checker accepts the demo's plan, and refuses a moved probe (own reader, no shared code)") {
  Folder folder;
  REQUIRE(run(teasel() + "plan '" + source() + "/fixtures/jobs/buoy-node.toml' -o out", folder.path).status == 0);
  const std::string netlist = " '" + source() + "/data/demo/buoy-node.ipc'";
  const Result good = run(check_plan() + "out" + netlist, folder.path);
  INFO(good.out << good.err);
  CHECK(good.status == 0);
  // One probe of the list is put elsewhere. The checker must see it.
  std::string csv = slurp(folder.path / "out/probes.csv");
  const std::size_t row = csv.find("\nB001,") + 1;
  std::size_t at = row;
  for (int i = 0; i < 7; ++i) at = csv.find(',', at) + 1;
  csv.replace(at, csv.find(',', at) - at, "1.234");
  std::ofstream(folder.path / "out/probes.csv") << csv;
  CHECK(run(check_plan() + "out" + netlist, folder.path).status == 1);
}

TEST_CASE("the committed demo release is what its generator makes (another program: the generator, tools/demo)") {
  int files = 0;
  for (const auto& entry : fs::directory_iterator(generated("--with-ipc2581"))) {
    if (entry.path().extension() == ".xml") continue;
    ++files;
    INFO(entry.path().filename());
    CHECK(slurp(entry.path()) == slurp(fs::path(source()) / "data/demo" / entry.path().filename()));
  }
  CHECK(files == 20);
}

TEST_CASE(
    "the demo board by two routes, Gerber with netlist and IDF, or one IPC-2581 file, gives the same plan (writers "
    "that share no code with the readers)") {
  Folder folder;
  fs::create_directories(folder.path / "cad");
  fs::copy(generated("--with-ipc2581") / "buoy-node.xml", folder.path / "cad");
  std::string job = slurp(source() + "/fixtures/jobs/buoy-node.toml");
  for (std::size_t i = 0; (i = job.find("../../data", i)) != std::string::npos;) job.replace(i, 10, source() + "/data");
  std::ofstream(folder.path / "one.toml") << job;
  const std::size_t inputs = job.find("[inputs.netlist]"), parts = job.find("[components]");
  REQUIRE((inputs != std::string::npos && parts != std::string::npos));
  // Neither route holds the values of parts and the boundary cells, so both jobs keep those inputs.
  const std::size_t placement = job.find("[inputs.placement]"), idf = job.find("[inputs.idf]"),
                    cells = job.find("[[inputs.bsdl]]"), heights = job.find("[inputs.heights]");
  REQUIRE((placement < idf && cells < heights && heights != std::string::npos));
  const std::string also = job.substr(placement, idf - placement) + job.substr(cells, heights - cells);
  std::ofstream(folder.path / "two.toml")
      << job.substr(0, inputs) << "[inputs.ipc2581]\nfile = \"cad/buoy-node.xml\"\n\n"
      << also << job.substr(parts);
  for (const char* route : {"one", "two"}) {
    const Result result = run(teasel() + "plan " + route + ".toml --no-mechanics -o " + route, folder.path);
    INFO(result.err);
    REQUIRE((result.status == 0 || result.status == 2));
  }
  CHECK(slurp(folder.path / "one/probes.csv") == slurp(folder.path / "two/probes.csv"));
  // Plates are compared hole by hole. The last column holds the plan id, which follows from the inputs, so it is left
  // out.
  const auto holes = [](const fs::path& file) {
    std::string all, row;
    for (std::istringstream in(slurp(file)); std::getline(in, row);) all += row.substr(0, row.rfind(',')) + "\n";
    return all;
  };
  for (const auto& entry : fs::directory_iterator(folder.path / "one/plates"))
    if (entry.path().extension() == ".csv")
      CHECK(holes(entry.path()) == holes(folder.path / "two/plates" / entry.path().filename()));
  // Each verdict names its obstacle and both numbers: pads, bodies and nets are the same to the last digit.
  for (const char* list : {"blocked.csv", "coverage.csv"}) {
    const auto rows = [&](const char* route) {
      std::multiset<std::string> all;
      std::istringstream in(slurp(folder.path / route / list));
      for (std::string row; std::getline(in, row);) all.insert(row);
      return all;
    };
    INFO(list);
    CHECK(rows("one").size() > 100);
    CHECK(rows("one") == rows("two"));
  }
  // With both in one folder the release files count, and the two are found to agree.
  fs::copy(source() + "/data/demo", folder.path / "both", fs::copy_options::recursive);
  fs::copy(folder.path / "cad/buoy-node.xml", folder.path / "both");
  REQUIRE(run(teasel() + "start both -o both.toml", folder.path).status == 0);
  const Result both = run(teasel() + "check both.toml", folder.path);
  REQUIRE(both.status == 0);
  for (const char* code :
       {"cad-layer-agrees", "cad-nets-agree", "cad-holes-agree", "outline-agrees", "check-idf-holes"}) {
    INFO(code);
    CHECK(both.out.find(std::string("note ") + code) != std::string::npos);
  }
  for (const char* code : {"cad-layer-differs", "cad-nets-differ", "parts-sides-differ", "parts-heights-differ"})
    CHECK(both.out.find(code) == std::string::npos);
  // A height that only one of the two states differently is told.
  std::string xml = slurp(folder.path / "both/buoy-node.xml");
  std::size_t at = xml.find("height=\"", xml.find("<Component "));
  REQUIRE(at != std::string::npos);
  xml.replace(at + 8, xml.find('"', at + 8) - at - 8, "17.5");
  std::ofstream(folder.path / "both/buoy-node.xml", std::ios::binary | std::ios::trunc) << xml;
  const Result taller = run(teasel() + "check both.toml", folder.path);
  CHECK(taller.out.find("parts-heights-differ") != std::string::npos);
  // All bottom parts are said to stand on the top. Their surface pads contradict that, and nothing is planned.
  std::string flipped = slurp(folder.path / "cad/buoy-node.xml");
  for (std::size_t i = 0; (i = flipped.find("<Component ", i)) != std::string::npos; ++i) {
    const std::size_t end = flipped.find('>', i), ref = flipped.find("layerRef=\"BOTTOM\"", i);
    if (ref < end) flipped.replace(ref, 17, "layerRef=\"TOP\"");
  }
  std::ofstream(folder.path / "cad/buoy-node.xml", std::ios::binary | std::ios::trunc) << flipped;
  const Result wrong = run(teasel() + "plan two.toml -o wrong", folder.path);
  CHECK(wrong.status == 1);
  CHECK(wrong.err.find("check-part-sides") != std::string::npos);
  CHECK_FALSE(fs::exists(folder.path / "wrong"));
}

namespace {
/// Value of an XML attribute within one tag, by plain text search. It shares nothing with the reader under test.
std::string value(const std::string& tag, const std::string& name) {
  const std::size_t at = tag.find(" " + name + "=\"");
  if (at == std::string::npos) return {};
  const std::size_t from = at + name.size() + 3;
  return tag.substr(from, tag.find('"', from) - from);
}
/// Places of each net by side, millimetres: the points of the bare-board test, or else the pads of the outer layers.
std::map<std::pair<std::string, std::string>, std::vector<std::pair<double, double>>> points_of(
    const std::string& xml) {
  std::map<std::pair<std::string, std::string>, std::vector<std::pair<double, double>>> out;
  std::map<std::string, std::string> side_of_layer;
  double scale = 1;
  const bool physical = xml.find("<PhyNetPoint") != std::string::npos;
  std::string net, layer, set;
  for (std::size_t at = xml.find('<'); at != std::string::npos; at = xml.find('<', at + 1)) {
    const std::string tag = xml.substr(at, xml.find('>', at) - at);
    const auto is = [&](const char* name) { return tag.rfind(std::string("<") + name + " ", 0) == 0; };
    if (is("CadHeader") && value(tag, "units") == "INCH") scale = 25.4;
    if (is("Layer") && value(tag, "side") != "INTERNAL")
      side_of_layer[value(tag, "name")] = value(tag, "side") == "TOP" ? "top" : "bottom";
    auto keep = [&](const std::string& name, const std::string& side, const std::string& x, const std::string& y) {
      out[{name, side}].emplace_back(scale * std::stod(x), scale * std::stod(y));
    };
    if (is("PhyNet")) net = value(tag, "name");
    if (is("PhyNetPoint") && side_of_layer.count(value(tag, "layerRef")))
      keep(net, side_of_layer[value(tag, "layerRef")], value(tag, "x"), value(tag, "y"));
    if (physical) continue;
    if (is("LayerFeature")) layer = value(tag, "layerRef");
    if (is("Set")) set = value(tag, "net");
    if (is("Location") && !set.empty() && side_of_layer.count(layer))
      keep(set, side_of_layer[layer], value(tag, "x"), value(tag, "y"));
  }
  return out;
}
}  // namespace

/// The plan is the best there is, by a checker that shares no code with the planner.
void check_proof(const fs::path& folder) {
  const Result result = run("'" CHECK_PROOF_BINARY "' out/plan.proof --proven", folder);
  INFO(result.out << result.err);
  CHECK(result.status == 0);
}

TEST_CASE(
    "IPC-2581 samples of the consortium and of another writer go to a checked plan, each alone (public test cases)",
    "[boards][samples]") {
  const fs::path root = boards() / "ipc2581-samples";
  if (boards().empty() || !fs::is_directory(root)) {
    WARN("skipped: no real boards here (set TEASEL_BOARDS)");
    return;
  }
  // The pins are counted in the files. The nets are those that agree between layers, logical and physical lists. In
  // testcase3 five nets of planes have no ties drawn (seen in the file). In testcase1 one nameless pad lies on a net's
  // copper.
  struct Sample {
    const char* file;
    const char* pins;
    const char* nets;
  };
  for (const Sample& sample : {Sample{"testcase3-revc-full.xml", "487 of 487", "264 of 269"},
                               {"testcase9-revc-full.xml", "238 of 238", "85 of 85"},
                               {"DM0002-IPC-2518.xml", "212 of 212", "66 of 66"},
                               {"testcase1-revc-full.xml.zst", "8111 of 8111", "2511 of 2513"}}) {
    Folder folder;
    INFO(sample.file);
    fs::create_directories(folder.path / "in");
    fs::copy(root / sample.file, folder.path / "in");
    const Result start = run(teasel() + "start in", folder.path);
    INFO(start.err);
    REQUIRE(start.status == 0);
    const Result check = run(teasel() + "check job.toml", folder.path);
    CHECK(check.out.find(std::string(sample.pins) + " pins lie on pads of their name") != std::string::npos);
    CHECK(run(teasel() + "nets job.toml", folder.path).out.find(std::string(sample.nets) + " netlist nets agree") !=
          std::string::npos);
    if (std::string(sample.file).ends_with(".zst"))
      std::ofstream(folder.path / "job.toml", std::ios::app) << "\n[plan]\nadvice = false\n";
    const Result plan = run(teasel() + "plan job.toml -o out --proof --time-limit 20" +
                                (std::string(sample.file).ends_with(".zst") ? " --no-mechanics" : ""),
                            folder.path);
    INFO(plan.err);
    REQUIRE(plan.status == 0);
    check_proof(folder.path);
    // Every probe stands on a point that the file gives for its net and side.
    if (std::string(sample.file).ends_with(".zst")) {
      if (run("command -v zstd", folder.path).status != 0) continue;
      REQUIRE(run("zstd -dq in/* -o plain.xml", folder.path).status == 0);
    } else {
      fs::copy(root / sample.file, folder.path / "plain.xml");
    }
    const auto points = points_of(slurp(folder.path / "plain.xml"));
    std::istringstream in(slurp(folder.path / "out/probes.csv"));
    std::string row;
    std::getline(in, row);
    int probes = 0, exact = 0;
    while (std::getline(in, row)) {
      std::vector<std::string> fields;
      std::string field;
      for (std::istringstream cells(row); std::getline(cells, field, ',');) fields.push_back(field);
      const auto it = points.find({fields[1], fields[3]});
      INFO(row);
      REQUIRE(it != points.end());
      double nearest = 1e9;
      for (const auto& [x, y] : it->second)
        nearest = std::min(nearest, std::hypot(x - std::stod(fields[7]), y - std::stod(fields[8])));
      CHECK(nearest < 1.5);  // long pads are touched off their middle
      ++probes;
      exact += nearest < 0.03;
    }
    CHECK(probes > 5);
    CHECK(exact * 4 >= probes * 3);  // the others stand off the middle of small lands, away from their neighbours
  }
}

TEST_CASE("a real board's IDF pair agrees with its layers, drill files and netlist (files of one release)",
          "[boards]") {
  const fs::path root = boards() / "oc-power-unit";
  if (boards().empty() || !fs::is_directory(root)) {
    WARN("skipped: no real boards here (set TEASEL_BOARDS)");
    return;
  }
  Folder folder;
  REQUIRE(run(teasel() + "start '" + root.string() + "'", folder.path).status == 0);
  const Result result = run(teasel() + "check job.toml", folder.path);
  INFO(result.out.substr(0, 4000));
  CHECK(result.out.find("note outline-agrees") != std::string::npos);
  CHECK(result.out.find("100.0 % of the 2548 holes of the IDF file are drilled") != std::string::npos);
  CHECK(result.out.find("100.0 % of the 1096 placed parts lie at their pads") != std::string::npos);
  CHECK(result.out.find("parts-sides-differ") == std::string::npos);
}

TEST_CASE(
    "every layer of the demo drawn by teasel and by gerbv is the same picture at 625 dpi (independent renderer)") {
  check_pictures("'" + source() + "'/data/demo/*.gbr");
}

TEST_CASE(
    "macros, arcs, regions, repeats and holes drawn by teasel and by gerbv are the same picture (independent "
    "renderer)") {
  Folder folder;
  const std::string head = "%FSLAX46Y46*%\n%MOMM*%\n";
  std::ofstream(folder.path / "arcs.gbr")
      << head
      << "%ADD10C,0.4*%%ADD11C,1X0.5*%%ADD12P,2X5X20*%D10*G75*X0Y0D02*G03*X4000000Y4000000I0J4000000D01*G02*"
         "X8000000Y0I0J-4000000D01*X12000000Y0D02*G03*X12000000Y0I-1000000J0D01*D11*X2000000Y7000000D03*D12*"
         "X6000000Y7000000D03*M02*\n";
  std::ofstream(folder.path / "regions.gbr")
      << head
      << "%ADD10C,1*%G36*X0Y0D02*G01*X8000000D01*Y8000000D01*X0D01*Y4000000D01*X2000000D01*G75*G02*"
         "X2000000Y4000000I1500000J0D01*G01*X0D01*Y0D01*X10000000Y0D02*X13000000Y1000000D01*X11000000Y5000000D01*"
         "X10000000Y0D01*G37*%LPC*%D10*X6500000Y6500000D03*%LPD*%M02*\n";
  std::ofstream(folder.path / "macros.gbr")
      << head
      << "%AMBAR*21,1,3,1,1,0,30*20,1,0.4,-2,-2,2,-1,0*%%AMQUAD*4,1,4,0,0,3,0,3,2,1,2.5,0,0,-20*%%AMWHEEL*7,0,0,4,3,0."
         "5,15*%%AMRING*1,1,$1,0,0*1,0,$1x0.5,0,0*%%ADD10BAR*%%ADD11QUAD*%%ADD12WHEEL*%%ADD13RING,3*%D10*X0Y0D03*D11*"
         "X6000000Y0D03*D12*X0Y6000000D03*D13*X6000000Y6000000D03*M02*\n";
  std::ofstream(folder.path / "repeats.gbr")
      << head << "%ADD10R,1X0.6*%%ADD11O,0.6X1.4*%%SRX3Y2I3J4*%D10*X0Y0D03*D11*X1500000Y1000000D03*%SR*%M02*\n";
  check_pictures("'" + folder.path.string() + "'/*.gbr");
}

TEST_CASE(
    "nets traced through the demo's copper are those of its netlist (written by the generator from its routing)") {
  Folder folder;
  const Result result = run(teasel() + "nets '" + source() + "/fixtures/jobs/buoy-node.toml' -o out", folder.path);
  REQUIRE(result.status == 0);
  CHECK(result.out.find("240 of 240 netlist nets agree") != std::string::npos);
  CHECK(slurp(folder.path / "out/net-differences.csv").find('\n') ==
        slurp(folder.path / "out/net-differences.csv").size() - 1);
  // A stroke that is cut out of the top layer, further down, must show as an open.
  std::string copper = slurp(source() + "/data/demo/buoy-node-F_Cu.gbr");
  const std::size_t at = copper.find("D01*", copper.size() / 2);
  const std::size_t line = copper.rfind('\n', at) + 1;
  fs::create_directories(folder.path / "demo");
  for (const auto& entry : fs::directory_iterator(source() + "/data/demo"))
    fs::copy(entry.path(), folder.path / "demo");
  std::string job = slurp(source() + "/fixtures/jobs/buoy-node.toml");
  for (std::size_t i = 0; (i = job.find("../../data/demo", i)) != std::string::npos;) job.replace(i, 15, "demo");
  std::ofstream(folder.path / "job.toml") << job;
  // A bar across the whole board on the top layer is a short of many nets.
  std::string barred = copper;
  barred.insert(barred.rfind("M02*"), "%ADD99C,0.2*%\nD99*\nX5000000Y30000000D02*\nX95000000Y30000000D01*\n");
  std::ofstream(folder.path / "demo/buoy-node-F_Cu.gbr", std::ios::binary) << barred;
  const Result shorted = run(teasel() + "nets job.toml", folder.path);
  CHECK(shorted.out.find("\nshort") != std::string::npos);
  std::string cut = copper;
  cut.replace(line, at + 4 - line, "G04 cut*");
  std::ofstream(folder.path / "demo/buoy-node-F_Cu.gbr", std::ios::binary | std::ios::trunc) << cut;
  const Result open = run(teasel() + "nets job.toml", folder.path);
  INFO(open.out);
  CHECK(open.out.find("\nopen") != std::string::npos);
}

TEST_CASE(
    "nets traced through the copper of real boards agree with their netlists, or differ where the copper does "
    "(two files of one release, films)",
    "[boards]") {
  const fs::path root = boards();
  if (root.empty()) {
    WARN("skipped: no real boards here (set TEASEL_BOARDS)");
    return;
  }
  // What the films show: on minnowboard-v1 bars of copper bridge the lands of parts marked as zero ohm. On oc-breakout
  // one oval land of the bottom holds two shield pins that the netlist leaves without a net, which is no short. On
  // rpga-feather nothing joins four lands that share a cut name.
  const std::map<std::string, std::string> expected{
      {"oc-sdr", "1042 of 1042"},    {"porcupine", "205 of 205"},    {"kicad-pic-programmer", "116 of 116"},
      {"oc-breakout", "105 of 105"}, {"rpga-feather", "101 of 102"}, {"minnowboard-v1", "836 of 982"}};
  for (const auto& [name, agree] : expected) {
    if (!fs::is_directory(root / name)) continue;
    Folder folder;
    INFO(name);
    REQUIRE(run(teasel() + "start '" + (root / name).string() + "'", folder.path).status == 0);
    const Result result = run(teasel() + "nets job.toml", folder.path);
    INFO(result.out.substr(0, 2000));
    CHECK(result.out.find(agree + " netlist nets agree") != std::string::npos);
    if (name == "minnowboard-v1") CHECK(result.out.find("\nopen") == std::string::npos);
  }
}

TEST_CASE(
    "every real board with a netlist goes from start to a checked plan, untouched (another program: the plan "
    "checker)",
    "[boards]") {
  const fs::path root = boards();
  if (root.empty()) {
    WARN("skipped: no real boards here (set TEASEL_BOARDS)");
    return;
  }
  int planned = 0;
  for (const char* name : {"minnowboard-v1", "buddy-board", "porcupine", "oc-power-unit", "oc-gbc", "oc-sdr",
                           "oc-breakout", "rpga-feather", "kicad-pic-programmer"}) {
    if (!fs::is_directory(root / name)) continue;
    Folder folder;
    INFO(name);
    const Result start = run(teasel() + "start '" + (root / name).string() + "'", folder.path);
    INFO(start.err);
    REQUIRE(start.status == 0);
    // On the large boards, advice and bending would take as long as everything else. The other boards cover them.
    const bool large =
        std::string(name) == "oc-gbc" || std::string(name) == "oc-power-unit" || std::string(name) == "oc-sdr";
    if (large) std::ofstream(folder.path / "job.toml", std::ios::app) << "\n[plan]\nadvice = false\n";
    const Result plan = run(teasel() + "plan job.toml -o out --proof" + (large ? " --no-mechanics" : ""), folder.path);
    INFO(plan.err);
    // A board that its probes would break is planned, and not to be drilled.
    const bool broken = slurp(folder.path / "out/plan.json").find("\"status\": \"do not drill\"") != std::string::npos;
    REQUIRE(plan.status == (broken ? 2 : 0));
    check_proof(folder.path);
    const std::string job = slurp(folder.path / "job.toml");
    std::size_t at = job.find("[inputs.netlist]");
    at = job.find("file = \"", at) + 8;
    const Result checked = run(
        check_plan() + "out '" + (folder.path / job.substr(at, job.find('"', at) - at)).string() + "'", folder.path);
    INFO(checked.out);
    CHECK(checked.status == 0);
    ++planned;
  }
  CHECK(planned > 0);
}
