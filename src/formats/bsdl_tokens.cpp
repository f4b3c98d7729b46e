#include "bsdl_tokens.h"

#include <cctype>

namespace teasel::formats {

namespace {
constexpr std::size_t kMostTokens = 4'000'000;
bool word_char(char letter) {
  return std::isalnum(static_cast<unsigned char>(letter)) || letter == '_' || letter == '.' || letter == '-' ||
         letter == '+' || letter == '*' || letter == '#' || letter == '/';
}
}  // namespace

std::vector<BsdlToken> bsdl_tokens(std::string_view text, const std::string& name, Diagnostics& diagnostics) {
  std::vector<BsdlToken> out;
  std::uint32_t line = 1;
  std::size_t line_start = 0;
  bool join = false;
  for (std::size_t i = 0; i < text.size();) {
    const char letter = text[i];
    if (letter == '\n') {
      ++line;
      line_start = ++i;
      continue;
    }
    if (std::isspace(static_cast<unsigned char>(letter))) {
      ++i;
      continue;
    }
    if (letter == '-' && i + 1 < text.size() && text[i + 1] == '-') {
      while (i < text.size() && text[i] != '\n') ++i;
      continue;
    }
    if (out.size() >= kMostTokens) {
      diagnostics.error({.code = "bsdl-too-large",
                         .at = {name, line, 0, {}},
                         .message = "the description is far larger than that of any device"});
      return {};
    }
    BsdlToken token;
    token.line = line;
    token.column = static_cast<std::uint32_t>(i - line_start + 1);
    if (letter == '"') {
      token.kind = BsdlToken::Kind::text;
      const std::uint32_t first = line;
      ++i;
      while (i < text.size() && text[i] != '"') {
        // Strings do not run over lines; a forgotten quote must not swallow the rest of the file.
        if (text[i] == '\n') break;
        token.text += text[i++];
      }
      if (i >= text.size() || text[i] != '"') {
        diagnostics.warn({.code = "bsdl-string",
                          .at = {name, first, token.column, {}},
                          .message = "a string has no closing quote on its line",
                          .found = token.text.substr(0, 40),
                          .remedy = "close it; here it is taken to end with the line"});
      } else {
        ++i;
      }
      if (join && !out.empty() && out.back().kind == BsdlToken::Kind::text) {
        out.back().text += token.text;
        join = false;
        continue;
      }
    } else if (letter == '&') {
      join = true;
      ++i;
      continue;
    } else if (std::isalpha(static_cast<unsigned char>(letter)) || letter == '_') {
      while (i < text.size() && (std::isalnum(static_cast<unsigned char>(text[i])) || text[i] == '_' || text[i] == '.'))
        token.text += static_cast<char>(std::toupper(static_cast<unsigned char>(text[i++])));
    } else if (std::isdigit(static_cast<unsigned char>(letter))) {
      token.kind = BsdlToken::Kind::number;
      while (i < text.size() && (std::isalnum(static_cast<unsigned char>(text[i])) || text[i] == '.' ||
                                 ((text[i] == '-' || text[i] == '+') && (text[i - 1] == 'e' || text[i - 1] == 'E'))))
        token.text += text[i++];
    } else {
      token.kind = BsdlToken::Kind::sign;
      const bool assigns = letter == ':' && i + 1 < text.size() && text[i + 1] == '=';
      token.text = std::string(text.substr(i, assigns ? 2 : 1));
      i += assigns;
      ++i;
    }
    join = false;
    out.push_back(std::move(token));
  }
  return out;
}

std::vector<std::string> bsdl_words(std::string_view text) {
  std::vector<std::string> out;
  for (std::size_t i = 0; i < text.size();) {
    const char letter = text[i];
    if (std::isspace(static_cast<unsigned char>(letter))) {
      ++i;
      continue;
    }
    if (letter == '(' || letter == ')' || letter == ',' || letter == ':') {
      out.emplace_back(1, letter);
      ++i;
      continue;
    }
    std::string word;
    while (i < text.size() && word_char(text[i]))
      word += static_cast<char>(std::toupper(static_cast<unsigned char>(text[i++])));
    if (word.empty()) {
      // Any other sign is a word of its own, so that the caller can name it in a finding.
      word = letter;
      ++i;
    }
    out.push_back(std::move(word));
  }
  return out;
}

}  // namespace teasel::formats
