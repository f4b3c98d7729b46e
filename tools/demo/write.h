// Release files of the demo board, as text.
#pragma once
#include <map>
#include <string>

#include "design.h"
#include "route.h"

namespace demo {
/// File name to bytes.
std::map<std::string, std::string> release(const Design& design, const Routes& routes);
}  // namespace demo
