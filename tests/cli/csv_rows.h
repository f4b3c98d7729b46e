// A reader for comma-separated values (RFC 4180), as far as the lists of a plan use them.
#pragma once
#include <catch2/catch.hpp>
#include <map>
#include <vector>

#include "run_command.h"

namespace test {
using Row = std::map<std::string, std::string>;
/// By the names of the first line. Every row has as many cells.
inline std::vector<Row> rows_of(const fs::path& file) {
  std::istringstream in(slurp(file));
  std::vector<std::string> head;
  std::vector<Row> out;
  for (std::string line; std::getline(in, line);) {
    std::vector<std::string> cells{""};
    bool quoted = false;
    for (std::size_t i = 0; i < line.size(); ++i) {
      const char letter = line[i];
      if (letter == '"' && quoted && i + 1 < line.size() && line[i + 1] == '"')
        cells.back() += line[++i];
      else if (letter == '"')
        quoted = !quoted;
      else if (letter == ',' && !quoted)
        cells.emplace_back();
      else
        cells.back() += letter;
    }
    if (head.empty()) {
      head = cells;
      continue;
    }
    REQUIRE(cells.size() == head.size());
    Row row;
    for (std::size_t i = 0; i < head.size(); ++i) row[head[i]] = cells[i];
    out.push_back(row);
  }
  return out;
}
}  // namespace test
