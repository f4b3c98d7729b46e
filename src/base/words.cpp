#include "teasel/words.h"

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

}  // namespace teasel
