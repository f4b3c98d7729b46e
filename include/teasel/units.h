// Unit types at the border of every module. Construction is explicit: a bare number is not a length.
#pragma once
#include <compare>
#include <optional>
#include <string>
#include <string_view>

namespace teasel {

/// A length on the board, millimetres.
struct Mm {
  double v{};
  constexpr Mm() = default;
  constexpr explicit Mm(double mm) : v(mm) {}
  auto operator<=>(const Mm&) const = default;
  friend constexpr Mm operator+(Mm a, Mm b) { return Mm{a.v + b.v}; }
  friend constexpr Mm operator-(Mm a, Mm b) { return Mm{a.v - b.v}; }
  friend constexpr Mm operator*(double k, Mm a) { return Mm{k * a.v}; }
  friend constexpr double operator/(Mm a, Mm b) { return a.v / b.v; }
};

/// A force, newtons.
struct Newton {
  double v{};
  constexpr Newton() = default;
  constexpr explicit Newton(double n) : v(n) {}
  auto operator<=>(const Newton&) const = default;
  friend constexpr Newton operator+(Newton a, Newton b) { return Newton{a.v + b.v}; }
};

/// An angle, degrees counter-clockwise as seen from the top side.
struct Degrees {
  double v{};
  constexpr Degrees() = default;
  constexpr explicit Degrees(double d) : v(d) {}
  auto operator<=>(const Degrees&) const = default;
};

inline constexpr double kMmPerInch = 25.4;  // by definition
constexpr Mm mil(double n) {
  return Mm{n * kMmPerInch / 1000};
}

/// Reads a length with its unit: "4 mil", "0.1 mm", "3 um", "0.2 in". No unit, no number: nothing.
std::optional<Mm> parse_length(std::string_view text);
/// Reads a force with its unit: "1.5 N", "150 mN", "6 oz" (avoirdupois ounce-force, 0.2780139 N), "80 gf".
std::optional<Newton> parse_force(std::string_view text);
/// The number at the front of `text`, the rest trimmed into `unit`. Plain decimal notation, no exponent needed.
std::optional<double> parse_number_with_unit(std::string_view text, std::string& unit);

/// ASCII letters in upper case.
std::string upper_case(std::string_view text);

/// Shortest fixed notation with at most `decimals` places, "-0" avoided, independent of locale.
std::string fixed(double value, int decimals);
/// As `fixed`, with trailing zeros and a trailing point removed.
std::string short_number(double value, int decimals);

}  // namespace teasel
