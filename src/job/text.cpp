#include <algorithm>
#include <array>

#include "teasel/job.h"

namespace teasel {

namespace {
constexpr std::array<const char*, 6> kRoles = {"programming", "power",   "ground",
                                               "functional",  "observe", "do_not_touch"};
constexpr std::array<const char*, 12> kLayers = {"copper top",  "copper bottom", "copper inner", "mask top",
                                                 "mask bottom", "paste top",     "paste bottom", "silk top",
                                                 "silk bottom", "outline",       "drawing",      "ignore"};
char lower(char c) {
  return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c;
}
}  // namespace

const char* to_string(Role role) {
  return kRoles[static_cast<std::size_t>(role)];
}
std::optional<Role> role_of(std::string_view text) {
  auto it = std::find(kRoles.begin(), kRoles.end(), text);
  if (it == kRoles.end()) return std::nullopt;
  return static_cast<Role>(it - kRoles.begin());
}
const char* to_string(LayerRole role) {
  return kLayers[static_cast<std::size_t>(role)];
}
std::optional<LayerRole> layer_role(std::string_view text) {
  auto it = std::find(kLayers.begin(), kLayers.end(), text);
  if (it == kLayers.end()) return std::nullopt;
  return static_cast<LayerRole>(it - kLayers.begin());
}

bool glob_match(std::string_view p, std::string_view t) {
  // Two pointers with one point of return: linear memory, quadratic time at worst.
  std::size_t i = 0, j = 0, star = p.npos, mark = 0;
  while (j < t.size()) {
    const bool one = i < p.size() && p[i] != '*' &&
                     (p[i] == '?' || (p[i] == '#' && t[j] >= '0' && t[j] <= '9') || lower(p[i]) == lower(t[j]));
    if (one) {
      ++i;
      ++j;
    } else if (i < p.size() && p[i] == '*') {
      star = i++;
      mark = j;
    } else if (star != p.npos) {
      i = star + 1;
      j = ++mark;
    } else {
      return false;
    }
  }
  while (i < p.size() && p[i] == '*') ++i;
  return i == p.size();
}

}  // namespace teasel
