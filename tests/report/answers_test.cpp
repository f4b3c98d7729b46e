// The summary on a terminal: 25 rows of 100 columns, the verdict first.
#include "teasel/report/answers.h"

#include <catch2/catch.hpp>
#include <random>

#include "../cli/run_command.h"

using teasel::Answer;
using teasel::answer_rows;
using teasel::AnswerRow;
using teasel::kAnswerColumns;
using teasel::kAnswerRows;
using teasel::kAnswerTitle;
using namespace test;

namespace {
std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> out;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) out.push_back(line);
  return out;
}
}  // namespace

TEST_CASE("answers fit, whatever they say: none is lost, and what is cut says so (law over random texts)") {
  std::mt19937 random(7);
  const char* titles[] = {"Verdict",  "Fixture", "Probes",     "Nets",        "Interfaces",
                          "Supplies", "Why not", "Helps most", "To do first", "Bending",
                          "Money",    "Rejects", "Safety",     "Files",       "Look at"};
  for (int round = 0; round < 300; ++round) {
    std::vector<Answer> answers;
    for (const char* title : titles) {
      Answer answer{title, {}, {}};
      for (unsigned line = 0; line < 1 + random() % 5; ++line) {
        std::string text;
        for (unsigned word = 0; word < 1 + random() % 60; ++word)
          text += (text.empty() ? "" : " ") + std::string(1 + random() % (random() % 20 ? 12 : 200), 'w');
        answer.lines.push_back(text);
      }
      answers.push_back(answer);
    }
    const std::vector<AnswerRow> rows = answer_rows(answers);
    CHECK(rows.size() <= kAnswerRows);
    std::size_t seen = 0;
    for (const AnswerRow& row : rows) {
      CHECK(row.text.size() <= kAnswerColumns - kAnswerTitle);
      if (row.title.empty()) continue;
      CHECK(row.title == answers[seen].title);
      ++seen;
    }
    CHECK(seen == answers.size());
    // The first word of each answer is there; where not all of it is, three points say so.
    std::size_t at = 0;
    for (std::size_t i = 0; i < answers.size(); ++i) {
      std::string shown;
      bool more = false;
      for (; at < rows.size() && (rows[at].title.empty() ? !shown.empty() : shown.empty()); ++at) {
        shown += rows[at].text + " ";
        more = more || rows[at].text.find("...") != std::string::npos;
      }
      std::string all;
      for (const std::string& line : answers[i].lines) all += line + " ";
      CHECK((more || shown == all));
    }
  }
}

TEST_CASE("what fits is not cut (by hand)") {
  const auto rows = answer_rows({{"Verdict", {"Ready."}, {}}, {"Money", {std::string(86, 'a'), "b"}, {}}});
  REQUIRE(rows.size() == 3);
  CHECK(rows[0].text == "Ready.");
  CHECK(rows[1].title == "Money");
  CHECK(rows[2].text == "b");
}

TEST_CASE("plan and audit of the demo answer in 25 lines of 100 columns (law of the command line)") {
  const Folder folder;
  const std::string job = " '" + source() + "/fixtures/jobs/buoy-node.toml'";
  for (const std::string command : {"plan -o out", "audit", "audit -o lists"}) {
    INFO(command);
    const Result result = run(test::teasel() + command + job + " --no-mechanics", folder.path);
    REQUIRE(result.status == 0);
    const std::vector<std::string> lines = lines_of(result.out);
    CHECK(lines.size() <= 25);
    for (const std::string& line : lines) CHECK(line.size() <= 100);
    REQUIRE_FALSE(lines.empty());
    CHECK(lines[0].rfind("Verdict", 0) == 0);
    // The demo's debug port is reached, its radio is not.
    CHECK(result.out.find("1149.1: yes, can program") != std::string::npos);
    CHECK(result.out.find("SPI RADIO: NO") != std::string::npos);
  }
  CHECK(slurp(folder.path / "out/details.txt").find("whole bed, errors shared") != std::string::npos);
}

TEST_CASE("a board whose programming port loses a line is not programmable, which is said first (by construction)") {
  const Folder folder;
  fs::create_directories(folder.path / "fixtures/jobs");
  fs::copy(source() + "/data", folder.path / "data", fs::copy_options::recursive);
  std::string text = slurp(source() + "/fixtures/jobs/buoy-node.toml");
  text += "\n[[ban]]\nnet = \"TCK\"\n[[ban]]\nnet = \"SWCLK\"\n";
  // Interfaces are wished for, not asked for: else the mandatory line would come first.
  std::ofstream(folder.path / "fixtures/jobs/j.toml") << text;
  const Result result = run(test::teasel() + "plan fixtures/jobs/j.toml -o out --no-mechanics -q", folder.path);
  const std::vector<std::string> lines = lines_of(result.out);
  REQUIRE_FALSE(lines.empty());
  const bool first = lines[0].find("NOT PROGRAMMABLE") != std::string::npos ||
                     lines[0].find("NOT TESTABLE AS ASKED") != std::string::npos;
  CHECK(first);
  CHECK(result.out.find("1149.1: NO, lacking TCK") != std::string::npos);
}
