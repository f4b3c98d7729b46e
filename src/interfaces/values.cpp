// Volts in net names, ohms and microfarads in part values.
#include <cctype>
#include <cmath>

#include "teasel/interfaces.h"

namespace teasel {

namespace {
bool digit(char letter) {
  return letter >= '0' && letter <= '9';
}
/// Digits from i on, as a number; i moves behind them.
double digits(std::string_view text, std::size_t& i, int& count) {
  double v = 0;
  count = 0;
  while (i < text.size() && digit(text[i]) && count < 6) {
    v = 10 * v + (text[i++] - '0');
    ++count;
  }
  return v;
}
/// A number of a part's value, with what it has behind its point.
struct ValueNumber {
  double value{};
  int whole_digits = 0, part_digits = 0;
};
/// True where a number begins: no letter, digit or point stands before it.
bool begins_number(std::string_view text, std::size_t i) {
  return digit(text[i]) && !(i > 0 && (std::isalnum(static_cast<unsigned char>(text[i - 1])) || text[i - 1] == '.'));
}
/// i moves behind it.
ValueNumber number_at(std::string_view text, std::size_t& i) {
  ValueNumber out;
  out.value = digits(text, i, out.whole_digits);
  if (i < text.size() && text[i] == '.') {
    ++i;
    out.value += digits(text, i, out.part_digits) / std::pow(10, out.part_digits);
  }
  return out;
}

/// What stands behind the number, in ohms; 0 if it is no unit of resistance.
double ohms_of_unit(std::string_view text) {
  for (const std::string_view ohm : {"R", "r", "E", "ohm", "Ohm", "OHM", "\xCE\xA9", "\xE2\x84\xA6"})
    if (text.starts_with(ohm)) return 1;
  if (text.starts_with('k') || text.starts_with('K')) return 1e3;
  return text.starts_with('M') ? 1e6 : 0;
}
}  // namespace

std::optional<Volts> volts_in(std::string_view name) {
  std::string text = upper_case(name);
  const std::size_t slash = text.rfind('/');
  if (slash != text.npos && slash + 1 < text.size()) text.erase(0, slash + 1);
  for (std::size_t begin = 0; begin < text.size(); ++begin) {
    // A value begins where no letter and no digit stands before it.
    if (begin > 0 && (std::isalnum(static_cast<unsigned char>(text[begin - 1])) || text[begin - 1] == '.')) continue;
    std::size_t i = begin;
    const bool minus = text[i] == '-', sign = minus || text[i] == '+';
    if (sign) ++i;
    const bool first =
        i < text.size() && (text[i] == 'V' || text[i] == 'P') && i + 1 < text.size() && digit(text[i + 1]);
    const char letter = first ? text[i++] : 0;
    int whole_digits = 0, part_digits = 0;
    const double whole = digits(text, i, whole_digits);
    if (whole_digits == 0 || whole_digits > 3) continue;
    if (i < text.size() && (text[i] == '.' || text[i] == 'V' || text[i] == 'P') && i + 1 < text.size() &&
        digit(text[i + 1])) {
      const char point = text[i++];
      const double part = digits(text, i, part_digits);
      const double value = whole + part / std::pow(10, part_digits);
      const bool v_behind = i < text.size() && text[i] == 'V';
      // 3V3; 3P3V, 3.3V; P3V3; V3P3.
      if (part_digits > 2 || !(point == 'V' || v_behind || letter == 'V')) continue;
      return Volts{minus ? -value : value};
    }
    if (i < text.size() && text[i] == 'V' &&
        (i + 1 == text.size() || !std::isalpha(static_cast<unsigned char>(text[i + 1])) || letter == 0))
      return Volts{minus ? -whole : whole};  // 12V, P5V, 5VD
    const bool polarity = i + 1 == text.size() && (text[i] == 'P' || text[i] == 'N');
    if (letter == 'V' && !sign &&
        (i == text.size() || !std::isalnum(static_cast<unsigned char>(text[i])) || polarity) && begin == 0)
      return Volts{whole};  // V12, V5_A, V48P
  }
  return std::nullopt;
}

std::optional<Ohms> ohms_in(std::string_view value) {
  std::string text;
  for (const char letter : value) {
    if (letter == ' ' || letter == '_') {
      if (!text.empty() && !digit(text.back())) text += ' ';
      continue;
    }
    text += letter;
  }
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (!begins_number(text, i)) continue;
    const auto [v, whole_digits, part_digits] = number_at(text, i);
    if (i == text.size()) {  // "0", "33"
      if (part_digits == 0 && whole_digits <= 4) return Ohms{v};
      return std::nullopt;
    }
    const double scale = ohms_of_unit(std::string_view(text).substr(i));
    if (scale == 0) return std::nullopt;
    if (part_digits == 0 && i + 1 < text.size() && digit(text[i + 1])) {
      std::size_t j = i + 1;
      int behind_digits = 0;
      const double part = digits(text, j, behind_digits);
      if (behind_digits <= 2 && (j == text.size() || !std::isalpha(static_cast<unsigned char>(text[j]))))
        return Ohms{(v + part / std::pow(10, behind_digits)) * scale};  // 4k7, 2R2
      return std::nullopt;
    }
    return Ohms{v * scale};
  }
  return std::nullopt;
}

std::optional<double> microfarads_in(std::string_view value) {
  for (std::size_t i = 0; i < value.size(); ++i) {
    if (!begins_number(value, i)) continue;
    ValueNumber number = number_at(value, i);
    while (i < value.size() && (value[i] == ' ' || value[i] == '_')) ++i;
    const std::string_view unit = value.substr(i);
    double scale = 0;
    std::size_t letters = 1;
    for (const std::string_view micro : {"u", "U", "\xC2\xB5", "\xCE\xBC"})
      if (unit.starts_with(micro)) {
        scale = 1;
        letters = micro.size();
      }
    if (unit.starts_with('n')) scale = 1e-3;
    if (unit.starts_with('p')) scale = 1e-6;
    if (unit.starts_with("mF")) scale = 1e3;
    if (scale == 0) continue;
    i += letters;
    if (number.part_digits == 0 && i < value.size() && digit(value[i])) {  // 4u7
      int behind_digits = 0;
      const double part = digits(value, i, behind_digits);
      number.value += part / std::pow(10, behind_digits);
    }
    return number.value * scale;
  }
  return std::nullopt;
}

}  // namespace teasel
