// Words for roles of nets and of layers.
#include "teasel/enums.h"
#include "teasel/job.h"

namespace teasel {

namespace {
constexpr Words<Role> kRoles{"programming", "power", "ground", "functional", "observe", "do_not_touch"};
constexpr Words<LayerRole> kLayers{"copper top", "copper bottom", "copper inner", "mask top",    "mask bottom",
                                   "paste top",  "paste bottom",  "silk top",     "silk bottom", "outline",
                                   "flex",       "rigid",         "stiffener",    "drawing",     "ignore"};
}  // namespace

const char* to_string(Role role) {
  return kRoles[role];
}
std::optional<Role> role_of(std::string_view text) {
  return kRoles.find(text);
}
const char* to_string(LayerRole role) {
  return kLayers[role];
}
std::optional<LayerRole> layer_role(std::string_view text) {
  return kLayers.find(text);
}

}  // namespace teasel
