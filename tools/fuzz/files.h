// Several files in one input: each begins with a line "%% NAME".
#pragma once
#include <algorithm>
#include <string_view>
#include <utility>
#include <vector>

inline std::vector<std::pair<std::string_view, std::string_view>> files_of(std::string_view input) {
  constexpr std::string_view kMark = "%% ";
  std::vector<std::pair<std::string_view, std::string_view>> files;
  for (std::size_t at = input.starts_with(kMark) ? 0 : input.npos; at < input.size();) {
    const std::size_t name = at + kMark.size(), line_end = std::min(input.find('\n', name), input.size());
    const std::size_t from = std::min(line_end + 1, input.size());
    const std::size_t next = input.substr(from).starts_with(kMark) ? from : input.find("\n%% ", from);
    const std::size_t to = std::min(next, input.size());
    files.emplace_back(input.substr(name, line_end - name), input.substr(from, to - from));
    at = next == input.npos ? next : next == from ? from : next + 1;
  }
  return files;
}
