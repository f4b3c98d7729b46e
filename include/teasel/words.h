// Counts and lists in messages.
#pragma once
#include <cstddef>
#include <string>
#include <vector>

namespace teasel {

/// "1 net", "3 nets".
std::string plural(std::size_t n, const char* one, const char* many);

/// A list of which a message names the first few: "R1, R2, R3, ...".
class Few {
 public:
  explicit Few(std::size_t most = 5, const char* between = ", ") : most_(most), between_(between) {}
  Few(const std::vector<std::string>& all, std::size_t most);
  void add(const std::string& what);
  [[nodiscard]] std::size_t count() const { return count_; }
  [[nodiscard]] std::string text() const;

 private:
  std::size_t most_, count_ = 0;
  const char* between_;
  std::string first_;
};

/// Broken at blanks into lines of at most so many letters; a longer word stays whole.
std::vector<std::string> wrapped(const std::string& text, std::size_t width);

}  // namespace teasel
