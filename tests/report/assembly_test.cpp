// A fixture without a bought kit can be put together from its sheets: nothing is fitted that no step names.
#include <catch2/catch.hpp>
#include <map>
#include <set>

#include "../cli/csv_rows.h"
#include "teasel/fixture/mechanism.h"

using teasel::ranges_of;
using namespace test;

namespace {
/// The demo's board in a mechanism of this style.
std::string demo_job(const std::string& style) {
  std::istringstream lines(slurp(source() + "/fixtures/jobs/buoy-node.toml"));
  std::string out;
  for (std::string line; std::getline(lines, line);) {
    if (line.rfind("kit ", 0) == 0 || line.rfind("kit=", 0) == 0) continue;
    for (std::size_t at; (at = line.find("../../data/demo")) != line.npos;)
      line.replace(at, 15, source() + "/data/demo");
    out += line + "\n";
    if (line == "[fixture]") out += "style = \"" + style + "\"\n";
  }
  return out;
}
/// Labels that "G1 to G4, CC" stands for.
std::set<std::string> spelled_out(const std::string& ranges) {
  std::set<std::string> out;
  std::istringstream parts(ranges);
  for (std::string part; std::getline(parts, part, ',');) {
    part.erase(0, part.find_first_not_of(' '));
    const std::size_t to = part.find(" to ");
    if (to == part.npos) {
      out.insert(part);
      continue;
    }
    const std::string first = part.substr(0, to), last = part.substr(to + 4);
    const std::size_t digits = first.find_first_of("0123456789");
    for (int i = std::stoi(first.substr(digits)); i <= std::stoi(last.substr(digits)); ++i)
      out.insert(first.substr(0, digits) + std::to_string(i));
  }
  return out;
}
std::vector<std::vector<std::string>> table_rows(const std::string& html) {
  std::vector<std::vector<std::string>> out;
  for (std::size_t at = 0; (at = html.find("<tr><td", at)) != html.npos;) {
    const std::size_t end = html.find("</tr>", at);
    std::vector<std::string> cells;
    for (std::size_t cell = at; (cell = html.find("<td", cell)) < end;) {
      const std::size_t from = html.find('>', cell) + 1, to = html.find("</td>", cell);
      cells.push_back(html.substr(from, to - from));
      cell = to;
    }
    out.push_back(cells);
    at = end;
  }
  return out;
}
}  // namespace

TEST_CASE("labels in a row are told as ranges (by hand)") {
  CHECK(ranges_of({}).empty());
  CHECK(ranges_of({"CC"}) == "CC");
  CHECK(ranges_of({"G1", "G2", "G3"}) == "G1 to G3");
  CHECK(ranges_of({"G9", "G10", "GL1", "GL3", "CC"}) == "G9 to G10, GL1, GL3, CC");
}

TEST_CASE("every part of a mechanism is fitted by one step, and every screw has its place (law of the outputs)") {
  for (const std::string style : {"parallel-clamshell", "vacuum", "laser-sheets"}) {
    INFO(style);
    const Folder folder;
    std::ofstream(folder.path / "job.toml") << demo_job(style);
    REQUIRE(run(test::teasel() + "plan job.toml -o out -q", folder.path).status == 0);
    const std::string html = slurp(folder.path / "out/assembly.html");
    std::map<std::string, std::multiset<std::string>> planned, fitted;
    for (const auto& row : rows_of(folder.path / "out/mechanism.csv")) planned[row.at("part")].insert(row.at("label"));
    std::map<std::string, int> counted;
    std::set<std::string> labels;
    for (const auto& [part, list] : planned) labels.insert(list.begin(), list.end());
    for (const std::vector<std::string>& row : table_rows(html)) {
      if (row.size() == 5 && row[0].empty()) {
        const std::string part = row[1].substr(row[1].find(' ') + 1);
        if (!planned.count(part)) continue;
        const std::set<std::string> here = spelled_out(row[3]);
        fitted[part].insert(here.begin(), here.end());
      }
      if (row.size() == 3 && std::isdigit(static_cast<unsigned char>(row[1][0]))) {
        counted[row[0]] += std::stoi(row[1]);
        for (const std::string& label : spelled_out(row[2])) {
          INFO(row[0] + ": " + label);
          CHECK(labels.count(label) == 1);
        }
      }
    }
    for (const auto& [part, list] : planned) {
      INFO(part);
      // Two collars of one pillar carry its label.
      CHECK(std::set<std::string>(list.begin(), list.end()) ==
            std::set<std::string>(fitted[part].begin(), fitted[part].end()));
    }
    int screws = 0;
    for (const auto& row : rows_of(folder.path / "out/materials.csv"))
      if (row.at("item") == "screw") {
        ++screws;
        INFO(row.at("detail"));
        CHECK(counted[row.at("detail")] == std::stoi(row.at("needed")));
      }
    CHECK(screws > 5);
    if (style == "vacuum") CHECK(html.find("Holes of the board to cover") != html.npos);
  }
}
