// Small text helpers of the readers.
#pragma once
#include <charconv>
#include <cmath>
#include <string>
#include <string_view>
#include <vector>

namespace teasel::formats {

inline std::string_view trim(std::string_view s) {
  while (!s.empty() && static_cast<unsigned char>(s.front()) <= ' ') s.remove_prefix(1);
  while (!s.empty() && static_cast<unsigned char>(s.back()) <= ' ') s.remove_suffix(1);
  return s;
}
/// The whole of `s` as a finite decimal number.
inline bool number(std::string_view s, double& v) {
  s = trim(s);
  if (!s.empty() && s[0] == '+') s.remove_prefix(1);
  auto [end, err] = std::from_chars(s.data(), s.data() + s.size(), v);
  return err == std::errc{} && end == s.data() + s.size() && std::isfinite(v);
}
/// A count; -1 for what cannot be one.
inline int whole_count(double n) {
  return n >= 0 && n <= 1e9 ? static_cast<int>(n) : -1;
}
inline std::vector<std::string_view> split(std::string_view s, char by) {
  std::vector<std::string_view> parts;
  for (std::size_t from = 0;;) {
    const std::size_t at = s.find(by, from);
    parts.push_back(s.substr(from, at == s.npos ? s.npos : at - from));
    if (at == s.npos) return parts;
    from = at + 1;
  }
}

/// Next line of `rest`, without its line end; `rest` moves on.
inline std::string_view next_line(std::string_view& rest) {
  const std::size_t end = rest.find('\n');
  std::string_view line = rest.substr(0, end);
  rest = end == rest.npos ? std::string_view{} : rest.substr(end + 1);
  if (!line.empty() && line.back() == '\r') line.remove_suffix(1);
  return line;
}

}  // namespace teasel::formats
