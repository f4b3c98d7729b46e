// What comes with the program.
#pragma once
#include <string>
#include <string_view>
#include <vector>

namespace teasel {

/// Names of the shipped files of a kind ("styles", "kits", ...), in order: see shipped() for their text.
std::vector<std::string> shipped_names(std::string_view kind);

}  // namespace teasel
