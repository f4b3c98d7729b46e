#include "teasel/words.h"

#include <algorithm>

namespace teasel {

std::string plural(std::size_t count, const char* one, const char* many) {
  return std::to_string(count) + " " + (count == 1 ? one : many);
}

Few::Few(const std::vector<std::string>& all, std::size_t most) : Few(most) {
  for (const std::string& what : all) add(what);
}
void Few::add(const std::string& what) {
  if (count_++ < most_) first_ += (first_.empty() ? "" : between_) + what;
}
std::string Few::text() const {
  return count_ > most_ ? first_ + between_ + "..." : first_;
}

std::vector<std::string> wrapped(const std::string& text, std::size_t width) {
  std::vector<std::string> out{""};
  std::size_t from = 0;
  while (from < text.size()) {
    const std::size_t space = std::min(text.find(' ', from), text.size());
    const std::string word = text.substr(from, space - from);
    if (!out.back().empty() && out.back().size() + word.size() + 1 > width) out.emplace_back();
    out.back() += (out.back().empty() ? "" : " ") + word;
    from = space + 1;
  }
  return out;
}

}  // namespace teasel
