// What the steps of the solver share.
#pragma once
#include <algorithm>
#include <chrono>

#include "teasel/plan/selection.h"

namespace teasel::selection {

inline std::size_t index(int i) {
  return static_cast<std::size_t>(i);
}
inline constexpr std::int64_t kScale = std::int64_t{1} << kScaleBits;

/// Sorted, each once.
inline void make_set(std::vector<int>& list) {
  std::sort(list.begin(), list.end());
  list.erase(std::unique(list.begin(), list.end()), list.end());
}
inline bool has(const std::vector<int>& sorted, int number) {
  return std::binary_search(sorted.begin(), sorted.end(), number);
}

class Clock {
 public:
  explicit Clock(const Limits& limits) : limits_(limits), start_(std::chrono::steady_clock::now()) {}
  [[nodiscard]] double left() const {
    return limits_.seconds - std::chrono::duration<double>(std::chrono::steady_clock::now() - start_).count();
  }
  [[nodiscard]] bool over() const { return left() <= 0 || (limits_.stop && limits_.stop->load()); }

 private:
  const Limits& limits_;
  std::chrono::steady_clock::time_point start_;
};

/// Places of numbers in a list, each looked up in one step. The table is one a thread and kind of number, made once and
/// wiped after use: one live list of each kind.
enum class Kind { column, want, clique };
template <Kind kind>
class Places {
 public:
  explicit Places(const std::vector<int>& list, std::size_t numbers) : list_(list) {
    if (table().size() < numbers) table().resize(numbers, -1);
    for (std::size_t i = 0; i < list.size(); ++i) table()[index(list[i])] = static_cast<int>(i);
  }
  Places(const Places&) = delete;
  Places& operator=(const Places&) = delete;
  ~Places() {
    for (const int number : list_) table()[index(number)] = -1;
  }
  int operator[](int number) const { return table()[index(number)]; }  ///< -1: not in the list

 private:
  static std::vector<int>& table() {
    static thread_local std::vector<int> numbers;
    return numbers;
  }
  const std::vector<int>& list_;
};

/// A problem and what the steps look up again and again.
struct Work {
  const Problem& problem;
  std::vector<int> group;  ///< by column: the want of one unit that it alone meets and that is its only one; -1
  Lists<int> of_want;      ///< columns by want, cheapest first
  explicit Work(const Problem& whole);
  [[nodiscard]] bool conflict(int a, int b) const {
    const auto list = problem.conflicts[index(a)];
    return std::binary_search(list.begin(), list.end(), b);
  }
  /// No plan gains by holding both.
  [[nodiscard]] bool apart(int a, int b) const {
    return (group[index(a)] >= 0 && group[index(a)] == group[index(b)]) || conflict(a, b);
  }
};

std::vector<int> groups_of(const Problem& problem);
Lists<int> columns_by_want(const Problem& problem);

/// Cliques that cover every conflict of the columns; columns of one group count as conflicting.
Lists<int> clique_cover(const Work& work);

}  // namespace teasel::selection
