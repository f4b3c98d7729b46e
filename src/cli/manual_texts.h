// The pages of data/manual, compiled in so that they can be read where nothing is installed.
#pragma once
#include <string_view>
#include <vector>

namespace teasel::cli {
struct ManualText {
  std::string_view path;  ///< "first-board.md"
  std::string_view text;  ///< Markdown
};
/// In the order of their reading.
const std::vector<ManualText>& manual_texts();
}  // namespace teasel::cli
