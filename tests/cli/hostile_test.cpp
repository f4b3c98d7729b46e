// A release in which every name is hostile, through every command: what comes out is what it would be with other names,
// reads back as its format, and holds each name whole.
#include <tinyxml2.h>

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <map>
#include <nlohmann/json.hpp>
#include <set>
#include <sstream>
#include <utility>

#include "run_command.h"
#include "teasel/job/edit.h"
#include "teasel/written.h"

using namespace test;
using nlohmann::json;

namespace {
/// Each is what some program obeys: a spreadsheet, TOML, a browser, a terminal, a drawing program, a shell.
const std::vector<std::string> kNames = {
    "=HYPERLINK(\"http://x.invalid\",\"go\")",
    "@SUM(1+1)*cmd|' /C calc'!A0",
    "-2+3+cmd|' /C calc'!A0",
    "NET\n[[ban]]\nnet = \"*\"\nreason = '''",
    "</title></svg><script>alert(1)</script>",
    "\" onload=\"alert(1)\" x='",
    "\x1b]0;title\x07\x1b[2J\x1b[31mred\r\nerror forged: 0 nets",
    "A\n  0\nEOF\nM30\nT9C9.9\nX0Y0",
    "\xE2\x80\xAEtxet desrever \xC2\x9B"
    "0m",
    "$(touch pwned);`touch pwned`;=1+1",
    "\\x0a \\u000a %%d \\P {}",
    "plain, \"quoted\"; and 'so' &amp; &#10;",
};

/// A field of an attribute, in which every letter that means something is escaped (Gerber format specification, 3.6.1).
std::string field(const std::string& text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    unsigned code = static_cast<unsigned char>(text[i]);
    if (code >= 0xE0) {
      code = (code & 15) << 12 | (static_cast<unsigned>(text[i + 1]) & 63) << 6 |
             (static_cast<unsigned>(text[i + 2]) & 63);
      i += 2;
    } else if (code >= 0xC0) {
      code = (code & 31) << 6 | (static_cast<unsigned>(text[i + 1]) & 63);
      i += 1;
    } else if (std::isalnum(static_cast<int>(code))) {
      out += static_cast<char>(code);
      continue;
    }
    char group[8];
    std::snprintf(group, sizeof group, "\\u%04x", code);
    out += group;
  }
  return out;
}
std::string at(double x, double y) {
  return "X" + std::to_string(std::lround(x * 1e6)) + "Y" + std::to_string(std::lround(y * 1e6));
}
std::string layer(const std::string& function) {
  return "%TF.FileFunction," + function + "*%\n%TF.ProjectId," + field(kNames[4]) + ",x," + field(kNames[3]) +
         "*%\n%FSLAX46Y46*%\n%MOMM*%\n%ADD10C,1.6*%\n%ADD11C,0.3*%\n%ADD12C,0.1*%\n";
}
void write(const fs::path& file, const std::string& text) {
  std::ofstream(file, std::ios::binary) << text;
}
/// Twelve nets, each from a pad of one part to a pad of another.
void write_release(const fs::path& folder, const std::vector<std::string>& nets, const std::string& part,
                   const std::string& other, const std::vector<std::string>& files) {
  fs::create_directories(folder);
  std::string copper = layer("Copper,L1,Top"), mask = layer("Soldermask,Top");
  for (std::size_t k = 0; k < nets.size(); ++k) {
    const double x = 6 + 4 * static_cast<double>(k);
    copper += "%TO.N," + field(nets[k]) + "*%\nD11*\n" + at(x, 10) + "D02*\n" + at(x, 25) +
              "D01*\n%TA.AperFunction,SMDPad,CuDef*%\nD10*\n";
    for (const bool first : {true, false}) {
      copper += "%TO.P," + field(first ? part : other) + "," + field(std::to_string(k + 1) + nets[k].substr(0, 3)) +
                "*%\n" + at(x, first ? 10 : 25) + "D03*\n";
      mask += "D10*\n" + at(x, first ? 10 : 25) + "D03*\n";
    }
    copper += "%TD*%\n";
  }
  std::string profile = layer("Profile,NP") + "D12*\n" + at(0, 0) + "D02*\n";
  for (const auto& [x, y] : {std::pair{56, 0}, {56, 35}, {0, 35}, {0, 0}}) profile += at(x, y) + "D01*\n";
  write(folder / files[0], copper + "M02*\n");
  write(folder / files[1], mask + "M02*\n");
  write(folder / files[2], profile + "M02*\n");
  write(folder / files[3],
        "M48\n;#@! TF.FileFunction,NonPlated,1,2,NPTH\nMETRIC\nT1C3.000\n%\nG90\nG05\nT1\n"
        "X3.0Y3.0\nX53.0Y31.0\nM30\n");
}
std::vector<std::string> hostile_files() {
  return {"=cmd|' calc'!A0\n[[ban]]\nnet = \"*\"\n.gbr", "<img src=x onerror=alert(1)>\x1b[31m.gbr",
          "\"quoted' $(touch pwned) `touch pwned`;.gbr",
          "-o\\u000a\xC2\x9B"
          "0m, \xE2\x80\xAE.drl"};
}

void check_terminal(const std::string& said) {
  INFO(said);
  for (const char letter : said) CHECK((static_cast<unsigned char>(letter) >= 0x20 || letter == '\n'));
  CHECK(said.find('\x7f') == std::string::npos);
  CHECK(said.find("\xC2\x9B") == std::string::npos);
  CHECK(said.find("\xE2\x80\xAE") == std::string::npos);
  CHECK(said.find("\nerror forged") == std::string::npos);
}

using Rows = std::vector<std::vector<std::string>>;
/// RFC 4180.
Rows read_csv(const std::string& text) {
  Rows rows(1);
  std::string cell;
  bool quoted = false;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (quoted && text[i] == '"' && i + 1 < text.size() && text[i + 1] == '"') {
      cell += text[i++];
    } else if (text[i] == '"') {
      quoted = !quoted;
    } else if (!quoted && (text[i] == ',' || text[i] == '\n')) {
      rows.back().push_back(std::exchange(cell, {}));
      if (text[i] == '\n') rows.emplace_back();
    } else {
      cell += text[i];
    }
  }
  CHECK_FALSE(quoted);
  rows.pop_back();
  return rows;
}
Rows check_csv(const std::string& text) {
  const Rows rows = read_csv(text);
  for (const auto& row : rows) {
    CHECK(row.size() == rows[0].size());
    for (const std::string& cell : row) {
      INFO(cell);
      CHECK(std::none_of(cell.begin(), cell.end(),
                         [](char letter) { return static_cast<unsigned char>(letter) < 0x20; }));
      const bool sign = !cell.empty() && std::string("=+-@").find(cell[0]) != std::string::npos;
      CHECK_FALSE((sign && (cell[0] == '=' || cell[0] == '@' || cell.find_first_of("(|!'\"") != std::string::npos)));
    }
  }
  return rows;
}

void check_elements(const tinyxml2::XMLElement& element) {
  static const std::set<std::string> known = {"svg",      "g",    "path",  "circle", "rect",  "text",
                                              "clipPath", "line", "title", "defs",   "tspan", "polyline"};
  INFO(element.Name());
  CHECK(known.count(element.Name()) == 1);
  for (const tinyxml2::XMLAttribute* attribute = element.FirstAttribute(); attribute; attribute = attribute->Next())
    CHECK(std::string(attribute->Name()).substr(0, 2) != "on");
  for (const auto* child = element.FirstChildElement(); child; child = child->NextSiblingElement())
    check_elements(*child);
}
void check_svg(const std::string& text) {
  tinyxml2::XMLDocument document;
  REQUIRE(document.Parse(text.data(), text.size()) == tinyxml2::XML_SUCCESS);
  check_elements(*document.RootElement());
}

void check_dxf(const std::string& text) {
  std::istringstream lines(text);
  std::string code, value;
  std::size_t sections = 0, ends = 0;
  while (std::getline(lines, code)) {
    REQUIRE(std::getline(lines, value));
    CHECK(code.find_first_not_of(" 0123456789") == std::string::npos);
    CHECK(std::all_of(value.begin(), value.end(), [](char letter) { return letter >= 0x20 && letter < 0x7f; }));
    sections += std::stoi(code) == 0 && value == "SECTION";
    ends += std::stoi(code) == 0 && value == "EOF";
  }
  CHECK(sections == 3);
  CHECK(ends == 1);
  CHECK(value == "EOF");
}
void check_drill(const std::string& text) {
  std::istringstream lines(text);
  std::size_t ends = 0;
  for (std::string line; std::getline(lines, line);) {
    INFO(line);
    CHECK(std::all_of(line.begin(), line.end(), [](char letter) { return letter >= 0x20 && letter < 0x7f; }));
    if (line[0] != ';') CHECK(line.find_first_not_of("MTXYGCERI%0123456789.-") == std::string::npos);
    ends += line == "M30";
  }
  CHECK(ends == 1);
}
void check_html(const std::string& text) {
  // The scripts of the program, the data block, and nothing of a name.
  std::size_t scripts = 0;
  for (std::size_t i = text.find("<script"); i != text.npos; i = text.find("<script", i + 1)) ++scripts;
  CHECK(scripts <= 2);
  CHECK(text.find("<img") == text.npos);
  CHECK(text.find("alert(1)</script>") == text.npos);
  CHECK(text.find("onload=\"alert") == text.npos);
  for (const char letter : {'\x1b', '\x07', '\r'}) CHECK(text.find(letter) == text.npos);
}

/// Lines of a hash and a file that is there, as sha256sum reads them.
void check_hashes(const std::string& text, const fs::path& folder) {
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) {
    INFO(line);
    REQUIRE(line.size() > 66);
    CHECK(line.find_first_not_of("0123456789abcdef") == 64);
    CHECK(line.substr(64, 2) == "  ");
    CHECK(fs::is_regular_file(folder / line.substr(66)));
  }
}

/// Each file reads back as its format. Gives the number of rows of every list.
std::map<std::string, std::size_t> check_outputs(const fs::path& folder) {
  std::map<std::string, std::size_t> rows;
  for (const auto& entry : fs::recursive_directory_iterator(folder)) {
    if (!entry.is_regular_file()) continue;
    const std::string name = fs::relative(entry.path(), folder).generic_string(), text = slurp(entry.path());
    const std::string kind = entry.path().extension().string();
    INFO(name);
    CHECK(name.find_first_not_of("abcdefghijklmnopqrstuvwxyz0123456789-./") == std::string::npos);
    if (kind == ".csv")
      rows[name] = check_csv(text).size();
    else if (kind == ".svg")
      check_svg(text);
    else if (kind == ".json")
      CHECK_FALSE(json::parse(text, nullptr, false).is_discarded());
    else if (kind == ".dxf")
      check_dxf(text);
    else if (kind == ".drl")
      check_drill(text);
    else if (kind == ".html")
      check_html(text);
    else if (kind == ".sha256")
      check_hashes(text, folder);
    else if (kind == ".txt")
      CHECK(std::none_of(text.begin(), text.end(),
                         [](char c) { return static_cast<unsigned char>(c) < 32 && c != '\n'; }));
    else if (kind == ".pdf")
      CHECK((text.rfind("%PDF-", 0) == 0 && text.find("%%EOF") != std::string::npos));
    else
      FAIL("a kind of file that is not looked at");
  }
  return rows;
}
}  // namespace

TEST_CASE("a release in which every name is hostile gives the files that another one gives (by hand)") {
  Folder folder;
  std::vector<std::string> plain;
  for (std::size_t k = 0; k < kNames.size(); ++k) plain.push_back("PLAIN" + std::to_string(k));
  const std::string part = kNames[3] + kNames[0], other = kNames[4];
  write_release(folder.path / "plain", plain, "XA", "XB", {"a.gbr", "b.gbr", "c.gbr", "d.drl"});
  write_release(folder.path / "hostile", kNames, part, other, hostile_files());
  std::map<std::string, std::map<std::string, std::size_t>> rows;
  for (const std::string release : {"plain", "hostile"}) {
    INFO(release);
    const auto call = [&](const std::string& words) {
      const Result result = run(test::teasel() + words, folder.path);
      INFO(words << "\n" << result.err);
      CHECK((result.status == 0 || result.status == 2));
      check_terminal(result.out);
      check_terminal(result.err);
      return result;
    };
    const std::string job = release + ".toml";
    call("start -v " + release + " -o " + job);
    const json read = json::parse(teasel::toml_as_json(slurp(folder.path / job)));
    CHECK_FALSE(read.contains("ban"));
    CHECK(read["inputs"]["gerber"].size() == 3);
    CHECK(read["inputs"]["drill"].size() == 1);
    check_svg(slurp(folder.path / (release + "-preview.svg")));
    call("check -v " + job);
    const json checked = json::parse(call("check --json " + job).out);
    CHECK(checked["nets"] == kNames.size());
    call("nets " + job + " -o " + release + "-nets");
    call("audit " + job + " -o " + release + "-audit");
    call("plan -v " + job + " -o " + release + "-plan --explain '*'");
    static_cast<void>(json::parse(call("plan --json " + job + " -o " + release + "-plan").out));
    call("respin " + release + "-plan/plan.json " + job + " -o " + release + "-respin");
    call("layers " + release + "/*.gbr --area -o " + release + "-layers");
    call("layers --json " + release + "/*.gbr --no-svg");
    for (const auto& entry : fs::directory_iterator(folder.path / (release + "-layers")))
      check_svg(slurp(entry.path()));
    for (const char* kind : {"-nets", "-audit", "-plan", "-respin"}) {
      for (const auto& [name, count] : check_outputs(folder.path / (release + kind)))
        rows[release][kind + name] = count;
    }
  }
  CHECK_FALSE(fs::exists(folder.path / "pwned"));
  CHECK_FALSE(fs::exists(folder.path / "hostile" / "pwned"));
  CHECK(rows["plain"] == rows["hostile"]);
  // Every name comes back from plan.json as it is, and from the lists.
  const json plan = json::parse(slurp(folder.path / "hostile-plan/plan.json"));
  std::set<std::string> nets, listed;
  for (const json& net : plan["nets"]) nets.insert(net["net"].get<std::string>());
  const Rows coverage = read_csv(slurp(folder.path / "hostile-plan/coverage.csv"));
  for (std::size_t i = 1; i < coverage.size(); ++i) listed.insert(teasel::Csv::from_cell(coverage[i][0]));
  for (const std::string& name : kNames) {
    INFO(name);
    CHECK(listed.count(name) == 1);
    CHECK(nets.count(name) == 1);
  }
}
