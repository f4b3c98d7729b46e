// A module includes only what stands above it in the design's list.
#include <algorithm>
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <map>
#include <string>
#include <vector>

namespace fs = std::filesystem;

TEST_CASE("includes go one way") {
  const std::vector<std::string> order = {"base",   "job",    "formats",  "board",     "interfaces",
                                          "access", "plan",   "coverage", "mechanics", "fixture",
                                          "respin", "report", "pipeline", "view",      "cli"};
  std::map<std::string, std::string> owner{{"units", "base"},    {"diagnostics", "base"}, {"geometry", "base"},
                                           {"parallel", "base"}, {"box_index", "base"},   {"point_grid", "base"},
                                           {"tour", "base"},     {"version", "base"},     {"words", "base"}};
  for (const auto& m : order) owner[m] = m;
  auto rank = [&](const std::string& m) { return std::find(order.begin(), order.end(), m) - order.begin(); };
  int files = 0, arrows = 0;
  auto scan = [&](const fs::path& p, const std::string& module) {
    ++files;
    std::ifstream in(p);
    std::string line;
    while (std::getline(in, line)) {
      const std::size_t at = line.find("#include \"");
      if (at == line.npos) continue;
      const std::string what = line.substr(at + 10, line.find('"', at + 10) - at - 10);
      if (what.rfind("teasel/", 0) != 0) {
        INFO(p << " includes " << what);
        CHECK(fs::exists(p.parent_path() / what));  // private headers stay in their folder
        CHECK(what.find("..") == what.npos);
        continue;
      }
      std::string head = what.substr(7);
      head = head.substr(0, head.find_first_of("/."));
      INFO(p << " includes " << what);
      REQUIRE(owner.count(head) == 1);
      CHECK(rank(owner[head]) <= rank(module));
      ++arrows;
    }
  };
  for (const auto& e : fs::recursive_directory_iterator(fs::path(TEASEL_SOURCE) / "src"))
    if (e.is_regular_file() && (e.path().extension() == ".cpp" || e.path().extension() == ".h"))
      scan(e.path(), fs::relative(e.path(), fs::path(TEASEL_SOURCE) / "src").begin()->string());
  for (const auto& e : fs::recursive_directory_iterator(fs::path(TEASEL_SOURCE) / "include/teasel"))
    if (e.is_regular_file()) {
      const std::string rel = fs::relative(e.path(), fs::path(TEASEL_SOURCE) / "include/teasel").generic_string();
      scan(e.path(), owner[rel.substr(0, rel.find_first_of("/."))]);
    }
  CHECK(files > 40);
  CHECK(arrows > 60);
}

TEST_CASE("heavy libraries stay out of public headers and inside a few units") {
  int heavy = 0;
  for (const char* root : {"include", "src"})
    for (const auto& e : fs::recursive_directory_iterator(fs::path(TEASEL_SOURCE) / root)) {
      if (!e.is_regular_file()) continue;
      std::ifstream in(e.path());
      std::string line;
      while (std::getline(in, line)) {
        if (line.rfind("#include <", 0) != 0) continue;
        const bool big = line.find("<CGAL") != line.npos || line.find("<boost/geometry") != line.npos ||
                         line.find("<boost/beast") != line.npos || line.find("<coin") != line.npos ||
                         line.find("<toml") != line.npos || line.find("<nlohmann") != line.npos;
        INFO(e.path() << ": " << line);
        if (!big) continue;
        CHECK(std::string(root) == "src");
        heavy += line.find("<nlohmann") == line.npos;  // costs a second a unit
      }
    }
  CHECK(heavy < 20);
}
