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
  [[nodiscard]] bool is(std::string_view s) const { return kind != Kind::text && text == s; }
};
/// Strings joined by & come back as one token.
std::vector<BsdlToken> bsdl_tokens(std::string_view bytes, const std::string& name, Diagnostics& d);

/// Content of a joined string: words, numbers, ( ) , : with blanks and line breaks meaning nothing.
std::vector<std::string> bsdl_words(std::string_view text);

}  // namespace teasel::formats
