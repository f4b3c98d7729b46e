// The shop files of fixtures/, compiled in so that the program runs from any folder.
#pragma once
#include <string_view>
#include <vector>

namespace teasel {
struct EmbeddedFile {
  std::string_view path, text;
};
const std::vector<EmbeddedFile>& embedded_files();
}  // namespace teasel
