// Words and rows for enumerations, one each for every enumerator: a table that lacks one does not compile.
#pragma once
#include <algorithm>
#include <array>
#include <cstddef>
#include <optional>
#include <string_view>
#include <utility>

namespace teasel {

namespace enums {
/// The compiler spells a value that no enumerator names as a cast: "(teasel::Side)2".
template <auto Value>
constexpr bool is_named() {
  const std::string_view spelled = __PRETTY_FUNCTION__;
  const std::size_t bracket = spelled.rfind(')');
  if (bracket == spelled.npos || bracket < spelled.rfind('=')) return true;
  const char next = spelled[bracket + 1];
  return next < '0' || next > '9';
}
template <class E, std::size_t... I>
constexpr std::size_t count_named(std::index_sequence<I...>) {
  return (std::size_t{is_named<static_cast<E>(I)>()} + ...);
}
}  // namespace enums

/// Number of enumerators of E, which must count from 0 without gaps; up to 64.
template <class E>
constexpr std::size_t enumerators() {
  return enums::count_named<E>(std::make_index_sequence<64>{});
}

/// A word for each enumerator, in their order: `constexpr Words<Side> kSides{"top", "bottom"};`
template <class E>
class Words {
 public:
  template <class... W>
  constexpr explicit Words(W... words) : words_{words...} {
    static_assert(sizeof...(W) == enumerators<E>(), "every enumerator has its word");
  }
  constexpr const char* operator[](E value) const { return words_[static_cast<std::size_t>(value)]; }
  /// The enumerator of a word; nothing for any other text.
  [[nodiscard]] constexpr std::optional<E> find(std::string_view word) const {
    for (std::size_t i = 0; i < words_.size(); ++i)
      if (word == words_[i]) return static_cast<E>(i);
    return std::nullopt;
  }
  [[nodiscard]] constexpr auto begin() const { return words_.begin(); }
  [[nodiscard]] constexpr auto end() const { return words_.end(); }

 private:
  std::array<const char*, enumerators<E>()> words_;
};

/// A row for each enumerator. Row's first member `id` names the enumerator that the row is for; rows stand in the order
/// of the enumerators: `constexpr Rows<Reason, ReasonRow> kReasons{{{Reason::mask_closed, "mask closed", "mm"}, ...}};`
template <class E, class Row>
class Rows {
 public:
  template <std::size_t N>
  consteval explicit Rows(const Row (&rows)[N]) {
    static_assert(N == enumerators<E>(), "every enumerator has its row");
    for (std::size_t i = 0; i < N; ++i) {
      if (static_cast<std::size_t>(rows[i].id) != i) throw "rows stand in the order of the enumerators";
      rows_[i] = rows[i];
    }
  }
  constexpr const Row& operator[](E value) const { return rows_[static_cast<std::size_t>(value)]; }
  [[nodiscard]] constexpr auto begin() const { return rows_.begin(); }
  [[nodiscard]] constexpr auto end() const { return rows_.end(); }
  [[nodiscard]] constexpr std::size_t size() const { return rows_.size(); }

 private:
  std::array<Row, enumerators<E>()> rows_{};
};

}  // namespace teasel
