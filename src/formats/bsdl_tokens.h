// Tokens of the VHDL subset that boundary-scan descriptions use.
#pragma once
#include <string>
#include <string_view>
#include <vector>

#include "teasel/diagnostics.h"

namespace teasel::formats {

struct BsdlToken {
  enum class Kind : std::uint8_t { word, number, text, sign };
  Kind kind{};
  std::string text;  ///< words in upper case; strings without quotes
  std::uint32_t line{}, column{};
  [[nodiscard]] bool is(std::string_view word) const { return kind != Kind::text && text == word; }
};
/// The tokens of a description. Strings joined by & become one token.
std::vector<BsdlToken> bsdl_tokens(std::string_view bytes, const std::string& name, Diagnostics& diagnostics);

/// The content of a joined string: words, numbers and the signs ( ) , : without blanks and line breaks.
std::vector<std::string> bsdl_words(std::string_view text);

}  // namespace teasel::formats
