// Small text helpers of the readers.
#pragma once
#include <charconv>
#include <cmath>
#include <string>
#include <string_view>
#include <vector>

namespace teasel::formats {

inline std::string_view trim(std::string_view text) {
  while (!text.empty() && static_cast<unsigned char>(text.front()) <= ' ') text.remove_prefix(1);
  while (!text.empty() && static_cast<unsigned char>(text.back()) <= ' ') text.remove_suffix(1);
  return text;
}
/// The whole of `s` as a finite decimal number.
inline bool number(std::string_view text, double& value) {
  text = trim(text);
  if (!text.empty() && text[0] == '+') text.remove_prefix(1);
  auto [end, err] = std::from_chars(text.data(), text.data() + text.size(), value);
  return err == std::errc{} && end == text.data() + text.size() && std::isfinite(value);
}
/// A number as a count; -1 if it cannot be one.
inline int whole_count(double number) {
  return number >= 0 && number <= 1e9 ? static_cast<int>(number) : -1;
}
inline std::vector<std::string_view> split(std::string_view text, char by) {
  std::vector<std::string_view> parts;
  for (std::size_t from = 0;;) {
    const std::size_t end = text.find(by, from);
    parts.push_back(text.substr(from, end == text.npos ? text.npos : end - from));
    if (end == text.npos) return parts;
    from = end + 1;
  }
}

/// The next line of `rest`, without its line end. `rest` then begins behind it.
inline std::string_view next_line(std::string_view& rest) {
  const std::size_t end = rest.find('\n');
  std::string_view line = rest.substr(0, end);
  rest = end == rest.npos ? std::string_view{} : rest.substr(end + 1);
  if (!line.empty() && line.back() == '\r') line.remove_suffix(1);
  return line;
}

}  // namespace teasel::formats
