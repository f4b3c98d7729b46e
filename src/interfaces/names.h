// Role patterns against net names.
#pragma once
#include <string>

#include "teasel/interfaces.h"

namespace teasel {

/// The first pattern that fits the name, or its last part behind a slash; `which` receives the glob.
const RolePattern* pattern_of(const RoleTable& roles, const std::string& name, std::string& which);

}  // namespace teasel
