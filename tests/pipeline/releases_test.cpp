// What layer files of real releases are, against tests/releases/files.csv, which was written by reading the releases
// before the recogniser saw them.
#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <map>
#include <sstream>

#include "../real_boards.h"
#include "teasel/pipeline/files.h"

using namespace teasel;
namespace fs = std::filesystem;

namespace {
/// Fields of a line of CSV; quoted ones may hold commas.
std::vector<std::string> fields_of(const std::string& line) {
  std::vector<std::string> fields(1);
  bool quoted = false;
  for (const char letter : line) {
    if (letter == '"')
      quoted = !quoted;
    else if (letter == ',' && !quoted)
      fields.emplace_back();
    else if (letter != '\r')
      fields.back() += letter;
  }
  return fields;
}

/// Layer files by release and name, with their roles.
std::map<std::string, std::map<std::string, std::string>> truth() {
  std::map<std::string, std::map<std::string, std::string>> roles;
  std::ifstream file(TEASEL_SOURCE "/tests/releases/files.csv");
  for (std::string line; std::getline(file, line);) {
    const std::vector<std::string> fields = fields_of(line);
    if (fields.size() >= 4 && fields[2] == "gerber") roles[fields[0]][fields[1]] = fields[3];
  }
  return roles;
}

bool lands_matter(const std::string& role) {
  return role.starts_with("copper") || role.starts_with("mask");
}
}  // namespace

TEST_CASE("copper and mask of real releases get the roles that reading them gives, or a question (truth file)",
          "[boards]") {
  const fs::path root = test::boards();
  if (root.empty()) {
    WARN("skipped: no real boards here (set TEASEL_BOARDS)");
    return;
  }
  std::size_t looked_at = 0, right = 0, asked = 0;
  std::string silent;
  const auto roles = truth();
  REQUIRE(roles.size() > 40);
  for (const auto& [release, files] : roles) {
    if (!fs::is_directory(root / release)) continue;
    Diagnostics diagnostics;
    const FirstJob first = recognise(pipeline::read_folder(root / release, diagnostics), diagnostics);
    if (diagnostics.failed()) continue;
    bool questions = false;
    for (const auto& [key, lines] : first.evidence)
      for (const std::string& line : lines) questions |= line.find("CHECK") != std::string::npos;
    for (const GerberInput& input : first.job.inputs.gerbers) {
      const auto known = files.find(input.file);
      if (known == files.end() || !lands_matter(known->second)) continue;
      ++looked_at;
      const bool same = known->second == to_string(input.role);
      right += same;
      if (same) continue;
      asked += questions;
      if (!questions)
        silent += release + "/" + input.file + ": " + known->second + " as " + to_string(input.role) + "\n";
    }
  }
  INFO(right << " of " << looked_at << " right, " << asked << " wrong beside a question\n" << silent);
  CHECK(looked_at > 0);
  CHECK(silent.empty());
  CHECK(right * 100 >= looked_at * 95);
}
