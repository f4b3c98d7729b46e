#pragma once
#include <cstdint>

namespace teasel {

enum class Side : std::uint8_t { top, bottom };
inline const char* to_string(Side s) {
  return s == Side::top ? "top" : "bottom";
}
inline Side other(Side s) {
  return s == Side::top ? Side::bottom : Side::top;
}

}  // namespace teasel
