// The two faces of a board. "Top" and "bottom" are those of the released data, however the board lies in a fixture.
#pragma once
#include <array>
#include <cstddef>
#include <cstdint>
#include <initializer_list>
#include <optional>
#include <string_view>

namespace teasel {

enum class Side : std::uint8_t { top, bottom };
inline constexpr std::array<Side, 2> kBothSides = {Side::top, Side::bottom};
constexpr const char* to_string(Side side) {
  return side == Side::top ? "top" : "bottom";
}
constexpr Side other(Side side) {
  return side == Side::top ? Side::bottom : Side::top;
}
/// "top" or "bottom"; nothing for any other word.
constexpr std::optional<Side> side_of(std::string_view word) {
  if (word == "top") return Side::top;
  if (word == "bottom") return Side::bottom;
  return std::nullopt;
}

/// None, one or both of the sides.
class Sides {
 public:
  constexpr Sides() = default;
  constexpr Sides(Side side) : bits_(bit(side)) {}
  constexpr Sides(std::initializer_list<Side> sides) {
    for (const Side side : sides) bits_ = static_cast<std::uint8_t>(bits_ | bit(side));
  }
  [[nodiscard]] static constexpr Sides both() { return {Side::top, Side::bottom}; }
  [[nodiscard]] static constexpr Sides none() { return {}; }
  [[nodiscard]] constexpr bool has(Side side) const { return (bits_ & bit(side)) != 0; }
  [[nodiscard]] constexpr bool is_both() const { return bits_ == 3; }
  [[nodiscard]] constexpr bool empty() const { return bits_ == 0; }
  [[nodiscard]] constexpr int count() const { return (has(Side::top) ? 1 : 0) + (has(Side::bottom) ? 1 : 0); }
  constexpr void add(Side side) { bits_ = static_cast<std::uint8_t>(bits_ | bit(side)); }
  /// The one side, where it is one.
  [[nodiscard]] constexpr std::optional<Side> only() const {
    if (bits_ == bit(Side::top)) return Side::top;
    if (bits_ == bit(Side::bottom)) return Side::bottom;
    return std::nullopt;
  }
  constexpr bool operator==(const Sides&) const = default;

 private:
  static constexpr std::uint8_t bit(Side side) { return side == Side::top ? 1 : 2; }
  std::uint8_t bits_ = 0;
};
/// "top", "bottom", "both" or "" for none.
constexpr const char* to_string(Sides sides) {
  if (sides.is_both()) return "both";
  const std::optional<Side> only = sides.only();
  return only ? to_string(*only) : "";
}
/// "top", "bottom" or "both"; nothing for any other word.
constexpr std::optional<Sides> sides_of(std::string_view word) {
  if (word == "both") return Sides::both();
  if (const auto side = side_of(word)) return Sides{*side};
  return std::nullopt;
}

/// One value a side: `land[Side::top]`.
template <class T>
struct PerSide {
  std::array<T, 2> of{};
  [[nodiscard]] constexpr T& operator[](Side side) { return of[static_cast<std::size_t>(side)]; }
  [[nodiscard]] constexpr const T& operator[](Side side) const { return of[static_cast<std::size_t>(side)]; }
  [[nodiscard]] auto begin() { return of.begin(); }
  [[nodiscard]] auto end() { return of.end(); }
  [[nodiscard]] auto begin() const { return of.begin(); }
  [[nodiscard]] auto end() const { return of.end(); }
  bool operator==(const PerSide&) const = default;
};

}  // namespace teasel
