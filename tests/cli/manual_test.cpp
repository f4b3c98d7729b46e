// README and manual: what they say of the program is what the program has, and their links lead somewhere.
#include <algorithm>
#include <catch2/catch.hpp>
#include <map>
#include <set>
#include <sstream>

#include "run_command.h"

using namespace test;

namespace {
const fs::path kManual = fs::path(source()) / "data/manual";

/// What `teasel manual ARGUMENTS` prints.
std::string manual(const std::string& arguments) {
  Folder folder;
  const Result result = run(teasel() + "manual " + arguments, folder.path);
  INFO(result.err);
  REQUIRE(result.status == 0);
  return result.out;
}

std::set<std::string> pages() {
  std::set<std::string> names;
  for (const auto& entry : fs::directory_iterator(kManual)) names.insert(entry.path().filename().string());
  return names;
}

/// README and all pages.
std::vector<fs::path> documents() {
  std::vector<fs::path> all = {fs::path(source()) / "README.md"};
  for (const std::string& page : pages()) all.push_back(kManual / page);
  return all;
}

std::vector<std::string> links_in(const std::string& text) {
  std::vector<std::string> links;
  for (std::size_t at = text.find("]("); at != text.npos; at = text.find("](", at + 1))
    links.push_back(text.substr(at + 2, text.find(')', at) - at - 2));
  return links;
}

std::size_t count(const std::string& text, const std::string& what) {
  std::size_t times = 0;
  for (std::size_t at = text.find(what); at != text.npos; at = text.find(what, at + 1)) ++times;
  return times;
}
}  // namespace

TEST_CASE("the program's topics are the pages of data/manual (the folder and the list, in both directions)") {
  const std::string list = manual("");
  std::set<std::string> listed;
  std::istringstream in(list);
  for (std::string line; std::getline(in, line);)
    if (line.size() > 2 && line.compare(0, 2, "  ") == 0 && line[2] != ' ')
      listed.insert(line.substr(2, line.find(' ', 2) - 2) + ".md");
  CHECK(listed == pages());
  CHECK(listed.size() >= 19);
  const std::string readme = slurp(fs::path(source()) / "README.md");
  for (const std::string& page : pages()) {
    INFO(page);
    CHECK(readme.find("](data/manual/" + page + ")") != std::string::npos);
    CHECK(std::all_of(page.begin(), page.end() - 3,
                      [](char letter) { return (letter >= 'a' && letter <= 'z') || letter == '-'; }));
  }
}

TEST_CASE("pages hold the tables that the program makes (the program's own tables, byte for byte)") {
  // After a change of a table, tools/manual writes the pages anew.
  for (const std::string& page : pages()) {
    INFO(page);
    CHECK(manual("--markdown " + page.substr(0, page.size() - 3)) == slurp(kManual / page));
  }
  CHECK(count(manual("--markdown job-file"), "\n| `") > 150);
  CHECK(count(manual("--markdown outputs"), "\n| `") > 60);
  CHECK(count(manual("--markdown findings"), "\n| `") > 300);
}

TEST_CASE("every file that README names is one that the manual lists (the table of outputs)") {
  const std::string readme = slurp(fs::path(source()) / "README.md"), outputs = slurp(kManual / "outputs.md");
  const std::size_t from = readme.find("## What comes out"), to = readme.find("\n## ", from + 1);
  REQUIRE(to != std::string::npos);
  std::istringstream in(readme.substr(from, to - from));
  int named = 0;
  std::string text;
  for (bool code = false; std::getline(in, text, '`'); code = !code) {
    if (!code) continue;
    INFO(text);
    // A folder stands for all files in it.
    CHECK(outputs.find("| `" + text + (text.back() == '/' ? "" : "` |")) != std::string::npos);
    ++named;
  }
  CHECK(named > 20);
}

TEST_CASE("links and pictures lead to what is installed, and each picture is shown (the files of the tree)") {
  std::set<std::string> shown;
  int links = 0;
  for (const fs::path& document : documents())
    for (const std::string& link : links_in(slurp(document))) {
      INFO(document << " links to " << link);
      const fs::path target = (document.parent_path() / link).lexically_normal();
      const std::string within = target.lexically_relative(fs::path(source())).generic_string();
      CHECK(fs::is_regular_file(target));
      // CMakeLists.txt installs these two folders beside README.
      CHECK((within.rfind("data/manual/", 0) == 0 || within.rfind("data/pictures/", 0) == 0));
      if (within.rfind("data/pictures/", 0) == 0) shown.insert(target.filename().string());
      ++links;
    }
  CHECK(links > 40);
  std::set<std::string> pictures;
  for (const auto& entry : fs::directory_iterator(fs::path(source()) / "data/pictures"))
    pictures.insert(entry.path().filename().string());
  CHECK(shown == pictures);
}

TEST_CASE("README is short, warns before it invites, and gives the two commands (its purpose: two minutes)") {
  const std::string readme = slurp(fs::path(source()) / "README.md");
  CHECK(readme.size() >= 8000);
  CHECK(readme.size() <= 10000);
  const std::size_t commands = readme.find("    tools/try\n");
  REQUIRE(commands != std::string::npos);
  CHECK(readme.find("    tools/check\n") != std::string::npos);
  for (const char* caution :
       {"Lithium", "press", "Probe tips are sharp", "Static", "Local codes", "licensed practice"}) {
    INFO(caution);
    CHECK(readme.find(caution) < commands);
  }
  CHECK(count(readme, "![") == 1);
  CHECK(readme.find("GNU General Public License, version 3 or later") != std::string::npos);
}

TEST_CASE("each model names its sources (DEVELOPERS.md, Documents)") {
  for (const char* model : {"access", "odds", "plan", "bending", "cost", "interfaces", "board", "build", "coverage",
                            "bench-boards", "respin", "formats"}) {
    INFO(model);
    CHECK(slurp(kManual / (std::string(model) + ".md")).find("\n## Sources\n") != std::string::npos);
  }
}

TEST_CASE("topics are read as plain text of 100 columns, and a slip of the pen is met with the nearest (by eye)") {
  for (const std::string& page : pages()) {
    std::istringstream in(manual(page.substr(0, page.size() - 3)));
    INFO(page);
    for (std::string line; std::getline(in, line);) {
      INFO(line);
      CHECK(line.rfind("<!--", 0) == line.npos);
      CHECK(line.find("](") == line.npos);
      CHECK((line.size() <= 100 || line.rfind("    ", 0) == 0));
    }
  }
  Folder folder;
  const Result result = run(teasel() + "manual acess", folder.path);
  CHECK(result.status == 1);
  CHECK(result.err == "the manual has no topic 'acess'; perhaps access\n");
  CHECK(run(teasel() + "manual no-such-page", folder.path).err.find("teasel manual lists them") != std::string::npos);
}

TEST_CASE("the manual page and the completion name the topics (the list of topics)") {
  const std::string roff = manual("--roff"), completion = manual("--completion");
  CHECK(roff.rfind(".TH TEASEL 1", 0) == 0);
  CHECK(roff.find("first\\-board") != std::string::npos);
  CHECK(completion.find("words=\"first-board ") != std::string::npos);
}
