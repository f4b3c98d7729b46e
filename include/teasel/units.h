// Unit types at the border of every module. Construction is explicit: a bare number is not a length.
#pragma once
#include <compare>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace teasel {

/// A number with a dimension. It is built by name and never from a bare number; two amounts of one kind are added and
/// compared, and their ratio is a plain number. Products of amounts do not exist.
template <class Tag>
struct Amount {
  double v{};
  constexpr Amount() = default;
  constexpr explicit Amount(double value) : v(value) {}
  auto operator<=>(const Amount&) const = default;
  friend constexpr Amount operator+(Amount a, Amount b) { return Amount{a.v + b.v}; }
  friend constexpr Amount operator-(Amount a, Amount b) { return Amount{a.v - b.v}; }
  friend constexpr Amount operator-(Amount a) { return Amount{-a.v}; }
  friend constexpr Amount operator*(double k, Amount a) { return Amount{k * a.v}; }
  friend constexpr Amount operator/(Amount a, double k) { return Amount{a.v / k}; }
  friend constexpr double operator/(Amount a, Amount b) { return a.v / b.v; }
  constexpr Amount& operator+=(Amount b) {
    v += b.v;
    return *this;
  }
  constexpr Amount& operator-=(Amount b) {
    v -= b.v;
    return *this;
  }
};

using Mm = Amount<struct MmTag>;                    ///< a length, millimetres
using Mm2 = Amount<struct Mm2Tag>;                  ///< an area, or a variance of a place: square millimetres
using Newton = Amount<struct NewtonTag>;            ///< a force
using NewtonPerMm = Amount<struct NewtonPerMmTag>;  ///< a spring's rate
using NewtonMm = Amount<struct NewtonMmTag>;        ///< a moment
using MPa = Amount<struct MPaTag>;                  ///< a modulus or a pressure, newtons a square millimetre
using Bar = Amount<struct BarTag>;                  ///< a pressure difference of a vacuum
using Microstrain = Amount<struct MicrostrainTag>;  ///< a strain in parts of a million
using StrainRate = Amount<struct StrainRateTag>;    ///< microstrain a second
using Degrees = Amount<struct DegreesTag>;          ///< an angle, counter-clockwise as seen from the top side
using Seconds = Amount<struct SecondsTag>;
using Minutes = Amount<struct MinutesTag>;
using Hours = Amount<struct HoursTag>;
using Amperes = Amount<struct AmperesTag>;
using Volts = Amount<struct VoltsTag>;
using Ohms = Amount<struct OhmsTag>;
using Megohms = Amount<struct MegohmsTag>;
using Hertz = Amount<struct HertzTag>;
using MmPerSecond = Amount<struct MmPerSecondTag>;
using MmPerSecond2 = Amount<struct MmPerSecond2Tag>;
using Touches = Amount<struct TouchesTag>;  ///< how often a probe is pressed: its life, the distance between cleanings
using Money = Amount<struct MoneyTag>;      ///< in the currency of a list; sums that are compared are Cents

/// A length whose meaning a call must name, where several lengths stand side by side and could be exchanged.
template <class Tag>
struct LengthOf {
  Mm mm;
  constexpr explicit LengthOf(Mm length) : mm(length) {}
};
using HoleDiameter = LengthOf<struct HoleDiameterTag>;
using Protrusion = LengthOf<struct ProtrusionTag>;  ///< of a lead, over the solder side
using BoardThickness = LengthOf<struct BoardThicknessTag>;

/// A probability, from 0 to 1. Chances of one event are added only where that bounds the chance of either.
using Chance = Amount<struct ChanceTag>;

/// Money in whole hundredths of a money unit: costs are rounded to this before anything is compared.
struct Cents {
  std::int64_t v{};
  constexpr Cents() = default;
  constexpr explicit Cents(std::int64_t hundredths) : v(hundredths) {}
  auto operator<=>(const Cents&) const = default;
  friend constexpr Cents operator+(Cents a, Cents b) { return Cents{a.v + b.v}; }
  friend constexpr Cents operator-(Cents a, Cents b) { return Cents{a.v - b.v}; }
  friend constexpr Cents operator-(Cents a) { return Cents{-a.v}; }
  friend constexpr Cents operator*(std::int64_t times, Cents a) { return Cents{times * a.v}; }
  constexpr Cents& operator+=(Cents b) {
    v += b.v;
    return *this;
  }
  constexpr Cents& operator-=(Cents b) {
    v -= b.v;
    return *this;
  }
  [[nodiscard]] constexpr double units() const { return static_cast<double>(v) / 100; }  ///< money units
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
