#include "teasel/words.h"

namespace teasel {

std::string plural(std::size_t n, const char* one, const char* many) {
  return std::to_string(n) + " " + (n == 1 ? one : many);
}

Few::Few(const std::vector<std::string>& all, std::size_t most) : Few(most) {
  for (const std::string& s : all) add(s);
}
void Few::add(const std::string& what) {
  if (count_++ < most_) first_ += (first_.empty() ? "" : between_) + what;
}
std::string Few::text() const {
  return count_ > most_ ? first_ + between_ + "..." : first_;
}

}  // namespace teasel
