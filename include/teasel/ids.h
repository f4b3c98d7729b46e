// Identity as a type: a net cannot be taken for a feature, nor a row of one table for a row of another.
#pragma once
#include <compare>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <initializer_list>
#include <utility>
#include <vector>

namespace teasel {

/// Position of a row in its table, or none. `Tag` says which table; no two tags convert into one another.
template <class Tag>
class Id {
 public:
  constexpr Id() = default;
  constexpr explicit Id(std::size_t index) : number_(static_cast<std::int32_t>(index)) {}
  /// A number as files and lists write it; below zero: none.
  [[nodiscard]] static constexpr Id of_number(int number) {
    Id id;
    id.number_ = number < 0 ? -1 : number;
    return id;
  }
  constexpr explicit operator bool() const { return number_ >= 0; }
  /// Row in the table; only of an id that is not none.
  [[nodiscard]] constexpr std::size_t index() const { return static_cast<std::size_t>(number_); }
  /// As files and lists write it; -1: none.
  [[nodiscard]] constexpr int number() const { return number_; }
  constexpr auto operator<=>(const Id&) const = default;

 private:
  std::int32_t number_ = -1;
};

/// All ids of a table in order, for loops: `for (const NetId net : board.nets.ids())`.
template <class I>
class IdRange {
 public:
  class Iterator {
   public:
    constexpr explicit Iterator(std::size_t at) : at_(at) {}
    constexpr I operator*() const { return I{at_}; }
    constexpr Iterator& operator++() {
      ++at_;
      return *this;
    }
    constexpr bool operator==(const Iterator&) const = default;

   private:
    std::size_t at_;
  };
  constexpr explicit IdRange(std::size_t size) : size_(size) {}
  [[nodiscard]] constexpr Iterator begin() const { return Iterator{0}; }
  [[nodiscard]] constexpr Iterator end() const { return Iterator{size_}; }
  [[nodiscard]] constexpr std::size_t size() const { return size_; }

 private:
  std::size_t size_;
};

/// A vector that takes its own kind of id and no other index. As with a vector, an id out of range is a broken promise.
template <class I, class T>
class Table {
 public:
  using value_type = T;
  Table() = default;
  Table(std::initializer_list<T> rows) : rows_(rows) {}
  explicit Table(std::size_t size, const T& value = T{}) : rows_(size, value) {}
  explicit Table(std::vector<T> rows) : rows_(std::move(rows)) {}
  Table& operator=(std::vector<T> rows) {
    rows_ = std::move(rows);
    return *this;
  }
  Table& operator=(std::initializer_list<T> rows) {
    rows_ = rows;
    return *this;
  }
  [[nodiscard]] decltype(auto) operator[](I id) { return rows_[id.index()]; }
  [[nodiscard]] decltype(auto) operator[](I id) const { return rows_[id.index()]; }
  /// Appends a row and says where it stands.
  I add(T row) {
    rows_.push_back(std::move(row));
    return I{rows_.size() - 1};
  }
  void push_back(T row) { rows_.push_back(std::move(row)); }
  template <class... Args>
  decltype(auto) emplace_back(Args&&... args) {
    return rows_.emplace_back(std::forward<Args>(args)...);
  }
  void assign(std::size_t size, const T& value) { rows_.assign(size, value); }
  void resize(std::size_t size) { rows_.resize(size); }
  void resize(std::size_t size, const T& value) { rows_.resize(size, value); }
  void reserve(std::size_t size) { rows_.reserve(size); }
  void clear() { rows_.clear(); }
  [[nodiscard]] std::size_t size() const { return rows_.size(); }
  [[nodiscard]] bool empty() const { return rows_.empty(); }
  [[nodiscard]] bool has(I id) const { return id && id.index() < rows_.size(); }
  [[nodiscard]] IdRange<I> ids() const { return IdRange<I>{rows_.size()}; }
  /// The id that the next row will get.
  [[nodiscard]] I next() const { return I{rows_.size()}; }
  [[nodiscard]] auto begin() { return rows_.begin(); }
  [[nodiscard]] auto end() { return rows_.end(); }
  [[nodiscard]] auto begin() const { return rows_.begin(); }
  [[nodiscard]] auto end() const { return rows_.end(); }
  [[nodiscard]] decltype(auto) front() { return rows_.front(); }
  [[nodiscard]] decltype(auto) front() const { return rows_.front(); }
  [[nodiscard]] decltype(auto) back() { return rows_.back(); }
  [[nodiscard]] decltype(auto) back() const { return rows_.back(); }
  /// The rows themselves, for code that sorts or moves them as a whole.
  [[nodiscard]] std::vector<T>& rows() { return rows_; }
  [[nodiscard]] const std::vector<T>& rows() const { return rows_; }
  bool operator==(const Table&) const = default;

 private:
  std::vector<T> rows_;
};

/// The id of a row that is a reference into the table.
template <class I, class T>
[[nodiscard]] I id_of(const Table<I, T>& table, const T& row) {
  return I{static_cast<std::size_t>(&row - table.rows().data())};
}

}  // namespace teasel

template <class Tag>
struct std::hash<teasel::Id<Tag>> {
  std::size_t operator()(teasel::Id<Tag> id) const noexcept { return std::hash<int>{}(id.number()); }
};
