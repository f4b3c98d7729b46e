// Volts in net names, ohms in part values.
#include <cctype>
#include <cmath>

#include "teasel/interfaces.h"

namespace teasel {

namespace {
bool digit(char c) {
  return c >= '0' && c <= '9';
}
/// Digits from i on, as a number; i moves behind them.
double digits(std::string_view s, std::size_t& i, int& count) {
  double v = 0;
  count = 0;
  while (i < s.size() && digit(s[i]) && count < 6) {
    v = 10 * v + (s[i++] - '0');
    ++count;
  }
  return v;
}
}  // namespace

std::optional<double> volts_in(std::string_view name) {
  std::string s = upper_case(name);
  const std::size_t slash = s.rfind('/');
  if (slash != s.npos && slash + 1 < s.size()) s.erase(0, slash + 1);
  for (std::size_t begin = 0; begin < s.size(); ++begin) {
    // A value begins where no letter and no digit stands before it.
    if (begin > 0 && (std::isalnum(static_cast<unsigned char>(s[begin - 1])) || s[begin - 1] == '.')) continue;
    std::size_t i = begin;
    const bool minus = s[i] == '-', sign = minus || s[i] == '+';
    if (sign) ++i;
    const bool first = i < s.size() && (s[i] == 'V' || s[i] == 'P') && i + 1 < s.size() && digit(s[i + 1]);
    const char letter = first ? s[i++] : 0;
    int n = 0, m = 0;
    const double whole = digits(s, i, n);
    if (n == 0 || n > 3) continue;
    if (i < s.size() && (s[i] == '.' || s[i] == 'V' || s[i] == 'P') && i + 1 < s.size() && digit(s[i + 1])) {
      const char point = s[i++];
      const double part = digits(s, i, m);
      const double value = whole + part / std::pow(10, m);
      const bool v_behind = i < s.size() && s[i] == 'V';
      // 3V3; 3P3V, 3.3V; P3V3; V3P3.
      if (m > 2 || !(point == 'V' || v_behind || letter == 'V')) continue;
      return minus ? -value : value;
    }
    if (i < s.size() && s[i] == 'V' &&
        (i + 1 == s.size() || !std::isalpha(static_cast<unsigned char>(s[i + 1])) || letter == 0))
      return minus ? -whole : whole;  // 12V, P5V, 5VD
    const bool polarity = i + 1 == s.size() && (s[i] == 'P' || s[i] == 'N');
    if (letter == 'V' && !sign && (i == s.size() || !std::isalnum(static_cast<unsigned char>(s[i])) || polarity) &&
        begin == 0)
      return whole;  // V12, V5_A, V48P
  }
  return std::nullopt;
}

std::optional<double> ohms_in(std::string_view value) {
  std::string s;
  for (const char c : value) {
    if (c == ' ' || c == '_') {
      if (!s.empty() && !digit(s.back())) s += ' ';
      continue;
    }
    s += c;
  }
  for (std::size_t i = 0; i < s.size(); ++i) {
    if (!digit(s[i]) || (i > 0 && (std::isalnum(static_cast<unsigned char>(s[i - 1])) || s[i - 1] == '.'))) continue;
    int n = 0, m = 0;
    double v = digits(s, i, n);
    if (i < s.size() && s[i] == '.') {
      ++i;
      v += digits(s, i, m) / std::pow(10, m);
    }
    if (i == s.size()) return m == 0 && n <= 4 ? std::optional(v) : std::nullopt;  // "0", "33"
    const char u = s[i];
    const bool ohm = u == 'R' || u == 'r' || u == 'E' || s.compare(i, 3, "ohm") == 0 || s.compare(i, 3, "Ohm") == 0 ||
                     s.compare(i, 3, "OHM") == 0 || s.compare(i, 2, "\xCE\xA9") == 0 ||
                     s.compare(i, 3, "\xE2\x84\xA6") == 0;
    const double scale = ohm ? 1 : u == 'k' || u == 'K' ? 1e3 : u == 'M' ? 1e6 : 0;
    if (scale == 0) return std::nullopt;
    if (m == 0 && i + 1 < s.size() && digit(s[i + 1])) {
      std::size_t j = i + 1;
      int q = 0;
      const double part = digits(s, j, q);
      if (q <= 2 && (j == s.size() || !std::isalpha(static_cast<unsigned char>(s[j]))))
        return (v + part / std::pow(10, q)) * scale;  // 4k7, 2R2
      return std::nullopt;
    }
    return v * scale;
  }
  return std::nullopt;
}

}  // namespace teasel
