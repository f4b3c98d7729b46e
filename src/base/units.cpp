#include "teasel/units.h"

#include <charconv>
#include <cmath>

namespace teasel {

namespace {
std::string_view trim(std::string_view text) {
  while (!text.empty() && (text.front() == ' ' || text.front() == '\t')) text.remove_prefix(1);
  while (!text.empty() && (text.back() == ' ' || text.back() == '\t')) text.remove_suffix(1);
  return text;
}
}  // namespace

std::optional<double> parse_number_with_unit(std::string_view text, std::string& unit) {
  text = trim(text);
  if (!text.empty() && text.front() == '+') text.remove_prefix(1);
  double value{};
  auto [end, err] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (err != std::errc{} || !std::isfinite(value)) return std::nullopt;
  unit = trim(text.substr(static_cast<std::size_t>(end - text.data())));
  return value;
}

std::optional<Mm> parse_length(std::string_view text) {
  std::string unit;
  auto value = parse_number_with_unit(text, unit);
  if (!value) return std::nullopt;
  if (unit == "mm") return Mm{*value};
  if (unit == "um" || unit == "\xC2\xB5m") return Mm{*value / 1000};
  if (unit == "mil" || unit == "mils" || unit == "thou") return mil(*value);
  if (unit == "in" || unit == "inch") return Mm{*value * kMmPerInch};
  if (unit == "cm") return Mm{*value * 10};
  return std::nullopt;
}

std::optional<Newton> parse_force(std::string_view text) {
  std::string unit;
  auto value = parse_number_with_unit(text, unit);
  if (!value) return std::nullopt;
  constexpr double kGramForce = 0.00980665, kOunceForce = 0.2780138509537812;
  if (unit == "N") return Newton{*value};
  if (unit == "mN") return Newton{*value / 1000};
  if (unit == "gf" || unit == "g") return Newton{*value * kGramForce};
  if (unit == "oz" || unit == "ozf") return Newton{*value * kOunceForce};
  return std::nullopt;
}

std::string upper_case(std::string_view text) {
  std::string upper(text);
  for (char& letter : upper)
    if (letter >= 'a' && letter <= 'z') letter = static_cast<char>(letter - 'a' + 'A');
  return upper;
}

std::string fixed(double value, int decimals) {
  char buffer[400];
  auto [end, err] = std::to_chars(buffer, buffer + sizeof buffer, value, std::chars_format::fixed, decimals);
  if (err != std::errc{}) return "nan";
  std::string text(buffer, end);
  if (text.front() == '-' && text.find_first_not_of("-0.") == std::string::npos) text.erase(0, 1);
  return text;
}

std::string short_number(double value, int decimals) {
  std::string text = fixed(value, decimals);
  if (text.find('.') == std::string::npos) return text;
  text.erase(text.find_last_not_of('0') + 1);
  if (text.back() == '.') text.pop_back();
  return text;
}

}  // namespace teasel
