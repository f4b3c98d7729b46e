// A module includes only what stands above it in the design's list.
#include <algorithm>
#include <catch2/catch.hpp>
#include <cctype>
#include <filesystem>
#include <fstream>
#include <map>
#include <sstream>
#include <string>
#include <vector>

namespace fs = std::filesystem;

namespace {
/// The titles of the test cases in a source file: the string literals after the macro, joined as the compiler does.
std::vector<std::string> titles_in(const std::string& source) {
  static const std::string macro = "TEST_CASE(";
  std::vector<std::string> titles;
  for (std::size_t at = source.find(macro); at != source.npos; at = source.find(macro, at + 1)) {
    const std::size_t line = source.rfind('\n', at) + 1;  // npos + 1 is 0: the first line
    // Only letters may stand before it on its line: the macro has longer kin, and comments and strings do not count.
    if (!std::all_of(source.begin() + static_cast<std::ptrdiff_t>(line),
                     source.begin() + static_cast<std::ptrdiff_t>(at),
                     [](char letter) { return letter == '_' || std::isupper(static_cast<unsigned char>(letter)); }))
      continue;
    std::string title;
    bool quoted = false;
    for (std::size_t i = at + macro.size(); i < source.size(); ++i) {
      const char letter = source[i];
      if (letter == '"') {
        quoted = !quoted;
      } else if (quoted) {
        if (letter == '\\') ++i;
        title += source[i];
      } else if (!std::isspace(static_cast<unsigned char>(letter))) {
        break;
      }
    }
    titles.push_back(title);
  }
  return titles;
}

/// Whether a title ends as `fact (source)`: the last bracket closes one that opens after a space and holds a word.
bool names_its_source(const std::string& title) {
  if (title.empty() || title.back() != ')') return false;
  int depth = 0;
  for (std::size_t i = title.size(); i-- > 0;) {
    if (title[i] == ')') ++depth;
    if (title[i] == '(' && --depth == 0)
      return i > 1 && title[i - 1] == ' ' &&
             std::count_if(title.begin() + static_cast<std::ptrdiff_t>(i), title.end(),
                           [](char letter) { return std::isalpha(static_cast<unsigned char>(letter)) != 0; }) >= 3;
  }
  return false;
}
}  // namespace

TEST_CASE("includes go one way (order of modules in DEVELOPERS.md)") {
  const std::vector<std::string> order = {"base",   "job",    "formats",  "board",     "interfaces",
                                          "access", "plan",   "coverage", "mechanics", "fixture",
                                          "respin", "report", "pipeline", "view",      "cli"};
  std::map<std::string, std::string> owner;
  for (const char* header :
       {"units", "ids", "names", "side", "frames", "enums", "finding_codes", "diagnostics", "geometry", "parallel",
        "box_index", "point_grid", "tour", "utf8", "version", "words", "written"})
    owner[header] = "base";
  for (const auto& module : order) owner[module] = module;
  auto rank = [&](const std::string& module) { return std::find(order.begin(), order.end(), module) - order.begin(); };
  int files = 0, arrows = 0;
  auto scan = [&](const fs::path& file, const std::string& module) {
    ++files;
    std::ifstream in(file);
    std::string line;
    while (std::getline(in, line)) {
      const std::size_t at = line.find("#include \"");
      if (at == line.npos) continue;
      const std::string what = line.substr(at + 10, line.find('"', at + 10) - at - 10);
      if (what.rfind("teasel/", 0) != 0) {
        INFO(file << " includes " << what);
        CHECK(fs::exists(file.parent_path() / what));  // private headers stay in their folder
        CHECK(what.find("..") == what.npos);
        continue;
      }
      std::string head = what.substr(7);
      head = head.substr(0, head.find_first_of("/."));
      INFO(file << " includes " << what);
      REQUIRE(owner.count(head) == 1);
      CHECK(rank(owner[head]) <= rank(module));
      ++arrows;
    }
  };
  for (const auto& entry : fs::recursive_directory_iterator(fs::path(TEASEL_SOURCE) / "src"))
    if (entry.is_regular_file() && (entry.path().extension() == ".cpp" || entry.path().extension() == ".h"))
      scan(entry.path(), fs::relative(entry.path(), fs::path(TEASEL_SOURCE) / "src").begin()->string());
  for (const auto& entry : fs::recursive_directory_iterator(fs::path(TEASEL_SOURCE) / "include/teasel"))
    if (entry.is_regular_file()) {
      const std::string rel = fs::relative(entry.path(), fs::path(TEASEL_SOURCE) / "include/teasel").generic_string();
      scan(entry.path(), owner[rel.substr(0, rel.find_first_of("/."))]);
    }
  CHECK(files > 40);
  CHECK(arrows > 60);
}

TEST_CASE("what writes files takes text from outside through its escape alone (the border of Written in written.h)") {
  // Constants are char pointers. Text of any other kind could only pass for one by these.
  const fs::path source = fs::path(TEASEL_SOURCE) / "src";
  std::vector<fs::path> writers{source / "job/first_job.cpp"};
  for (const auto& entry : fs::directory_iterator(source / "report"))
    // Packed and rendered are files that are written already.
    if (entry.is_regular_file() && entry.path().stem() != "pack" && entry.path().stem() != "pdf")
      writers.push_back(entry.path());
  CHECK(writers.size() > 25);
  for (const fs::path& writer : writers) {
    std::ifstream in(writer);
    for (std::string line; std::getline(in, line);) {
      INFO(writer << ": " << line);
      CHECK(line.find("c_str()") == line.npos);
      CHECK(line.find(".data()") == line.npos);
    }
  }
}

TEST_CASE("heavy libraries stay out of public headers and inside a few units (DEVELOPERS.md)") {
  int heavy = 0;
  for (const char* root : {"include", "src"})
    for (const auto& entry : fs::recursive_directory_iterator(fs::path(TEASEL_SOURCE) / root)) {
      if (!entry.is_regular_file()) continue;
      std::ifstream in(entry.path());
      std::string line;
      while (std::getline(in, line)) {
        if (line.rfind("#include <", 0) != 0) continue;
        const bool big = line.find("<CGAL") != line.npos || line.find("<boost/geometry") != line.npos ||
                         line.find("<boost/beast") != line.npos || line.find("<coin") != line.npos ||
                         line.find("<toml") != line.npos || line.find("<nlohmann") != line.npos;
        INFO(entry.path() << ": " << line);
        if (!big) continue;
        CHECK(std::string(root) == "src");
        heavy += line.find("<nlohmann") == line.npos;  // costs a second a unit
      }
    }
  CHECK(heavy < 25);
}

TEST_CASE("every test names its source at the end of its title (DEVELOPERS.md, Sources for tests)") {
  // The scan itself first, on one title that has a source, one in two literals, and two that have none.
  const std::string sample =
      "TEST_CASE(\"one is one (law)\") {}\n"
      "TEST_CASE(\n    \"two \"\n    \"(hand sum)\", \"[tag]\") {}\n"
      "// TEST_CASE(\"no test\")\n"
      "TEST_CASE(\"three\") {}\n"
      "TEST_CASE(\"f(x) is 4.7 (4.7)\") {}\n";
  const std::vector<std::string> found = titles_in(sample);
  REQUIRE(found == std::vector<std::string>{"one is one (law)", "two (hand sum)", "three", "f(x) is 4.7 (4.7)"});
  CHECK(names_its_source(found[0]));
  CHECK(names_its_source(found[1]));
  CHECK_FALSE(names_its_source(found[2]));
  CHECK_FALSE(names_its_source(found[3]));
  CHECK_FALSE(names_its_source("g of f(abc)"));

  int titles = 0;
  for (fs::recursive_directory_iterator entry(fs::path(TEASEL_SOURCE) / "tests"), end; entry != end; ++entry) {
    if (entry->path().filename() == "node_modules") entry.disable_recursion_pending();  // other people's sources
    if (!entry->is_regular_file() || entry->path().extension() != ".cpp") continue;
    std::ifstream in(entry->path());
    std::ostringstream text;
    text << in.rdbuf();
    for (const std::string& title : titles_in(text.str())) {
      INFO(entry->path() << ": " << title);
      CHECK(names_its_source(title));
      ++titles;
    }
  }
  CHECK(titles > 300);  // a scan that found nothing proves nothing
}

TEST_CASE("every file of tests is built (CMakeLists.txt beside the folder)") {
  const fs::path source = TEASEL_SOURCE;
  std::ifstream in(source / "CMakeLists.txt");
  std::ostringstream build;
  build << in.rdbuf();
  int files = 0;
  for (const auto& folder : fs::directory_iterator(source / "tests")) {
    if (!folder.is_directory() || folder.path().filename() == "node_modules") continue;
    for (const auto& entry : fs::directory_iterator(folder)) {
      const std::string name = fs::relative(entry.path(), source).generic_string();
      if (!name.ends_with("_test.cpp")) continue;
      ++files;
      INFO(name);
      CHECK(build.str().find(name) != std::string::npos);
    }
  }
  CHECK(files > 60);
}
