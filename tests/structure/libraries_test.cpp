// The manual's list of libraries is what the build asks for, in the versions of the system that it speaks of.
#include <array>
#include <catch2/catch.hpp>
#include <cstdio>
#include <fstream>
#include <map>
#include <memory>
#include <set>
#include <sstream>
#include <string>
#include <vector>

namespace {
const std::string kSource = TEASEL_SOURCE;

std::string slurp(const std::string& file) {
  std::ifstream in(file, std::ios::binary);
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}

/// Cells of each row of the page's tables that begins with a package.
std::map<std::string, std::vector<std::string>> libraries() {
  std::map<std::string, std::vector<std::string>> rows;
  std::istringstream page(slurp(kSource + "/data/manual/libraries.md"));
  for (std::string line; std::getline(page, line);) {
    if (line.rfind("| `", 0) != 0) continue;
    std::vector<std::string> cells;
    for (std::size_t at = 1, end; (end = line.find(" |", at)) != line.npos; at = end + 2)
      cells.push_back(line.substr(at + 1, end - at - 1));
    rows[cells[0].substr(1, cells[0].size() - 2)] = {cells.begin() + 1, cells.end()};
  }
  return rows;
}

/// Packages with headers that a script names between quotes after this word.
std::set<std::string> packages_in(const std::string& script, const std::string& word) {
  const std::string text = slurp(kSource + script);
  const std::size_t from = text.find(word + "\"");
  REQUIRE(from != text.npos);
  std::istringstream list(text.substr(from + word.size() + 1, text.find('"', from + word.size() + 1) - from));
  std::set<std::string> packages;
  for (std::string name; list >> name;)
    if (name.find("-dev") != name.npos || name == "catch2") packages.insert(name.substr(0, name.find('"')));
  return packages;
}

std::string printed(const std::string& command) {
  const std::unique_ptr<FILE, int (*)(FILE*)> out(::popen(command.c_str(), "r"), ::pclose);
  std::string text;
  std::array<char, 256> buffer{};
  while (out && std::fgets(buffer.data(), buffer.size(), out.get())) text += buffer.data();
  return text;
}
}  // namespace

TEST_CASE(
    "the manual lists the libraries that are installed for a build, each with its licence (tools/setup, tools/check)") {
  std::set<std::string> wanted = packages_in("/tools/setup", "want="), listed;
  wanted.merge(packages_in("/tools/check", "more="));
  // The run time of the compiler's sanitizers goes into no program that is handed on.
  std::erase_if(wanted, [](const std::string& name) { return name.rfind("libclang-rt", 0) == 0; });
  CHECK(wanted.size() > 20);
  for (const auto& [package, cells] : libraries()) {
    INFO(package);
    listed.insert(package);
    REQUIRE(cells.size() >= 3);
    CHECK(cells[1].size() > 2);
  }
  CHECK(listed == wanted);
}

TEST_CASE("the versions in the manual are those of the packages of Debian 12 (dpkg-query, where it is that system)") {
  if (slurp("/etc/os-release").find("VERSION_ID=\"12\"") == std::string::npos) {
    WARN("skipped: this is not Debian 12");
    return;
  }
  for (const auto& [package, cells] : libraries()) {
    std::string version = printed("dpkg-query -W -f '${Version}' " + package + " 2>/dev/null");
    if (version.empty()) continue;
    if (const std::size_t epoch = version.find(':'); epoch != version.npos) version.erase(0, epoch + 1);
    INFO(package << " " << version);
    CHECK(version.rfind(cells[0], 0) == 0);
  }
}
