#include "bsdl_tokens.h"

#include <cctype>

namespace teasel::formats {

namespace {
constexpr std::size_t kMostTokens = 4'000'000;
bool word_char(char c) {
  return std::isalnum(static_cast<unsigned char>(c)) || c == '_' || c == '.' || c == '-' || c == '+' || c == '*' ||
         c == '#' || c == '/';
}
}  // namespace

std::vector<BsdlToken> bsdl_tokens(std::string_view s, const std::string& name, Diagnostics& d) {
  std::vector<BsdlToken> out;
  std::uint32_t line = 1;
  std::size_t line_start = 0;
  bool join = false;
  for (std::size_t i = 0; i < s.size();) {
    const char c = s[i];
    if (c == '\n') {
      ++line;
      line_start = ++i;
      continue;
    }
    if (std::isspace(static_cast<unsigned char>(c))) {
      ++i;
      continue;
    }
    if (c == '-' && i + 1 < s.size() && s[i + 1] == '-') {
      while (i < s.size() && s[i] != '\n') ++i;
      continue;
    }
    if (out.size() >= kMostTokens) {
      d.error("bsdl-too-large", {name, line, 0, {}}, "the description is far larger than any device's");
      return {};
    }
    BsdlToken t;
    t.line = line;
    t.column = static_cast<std::uint32_t>(i - line_start + 1);
    if (c == '"') {
      t.kind = BsdlToken::Kind::text;
      const std::uint32_t first = line;
      ++i;
      while (i < s.size() && s[i] != '"') {
        // Strings do not run over lines; a forgotten quote must not swallow the rest of the file.
        if (s[i] == '\n') break;
        t.text += s[i++];
      }
      if (i >= s.size() || s[i] != '"') {
        d.warn("bsdl-string", {name, first, t.column, {}}, "a string has no closing quote on its line",
               t.text.substr(0, 40), "it is taken to end there");
      } else {
        ++i;
      }
      if (join && !out.empty() && out.back().kind == BsdlToken::Kind::text) {
        out.back().text += t.text;
        join = false;
        continue;
      }
    } else if (c == '&') {
      join = true;
      ++i;
      continue;
    } else if (std::isalpha(static_cast<unsigned char>(c)) || c == '_') {
      while (i < s.size() && (std::isalnum(static_cast<unsigned char>(s[i])) || s[i] == '_' || s[i] == '.'))
        t.text += static_cast<char>(std::toupper(static_cast<unsigned char>(s[i++])));
    } else if (std::isdigit(static_cast<unsigned char>(c))) {
      t.kind = BsdlToken::Kind::number;
      while (i < s.size() && (std::isalnum(static_cast<unsigned char>(s[i])) || s[i] == '.' ||
                              ((s[i] == '-' || s[i] == '+') && (s[i - 1] == 'e' || s[i - 1] == 'E'))))
        t.text += s[i++];
    } else {
      t.kind = BsdlToken::Kind::sign;
      const bool assigns = c == ':' && i + 1 < s.size() && s[i + 1] == '=';
      t.text = std::string(s.substr(i, assigns ? 2 : 1));
      i += assigns;
      ++i;
    }
    join = false;
    out.push_back(std::move(t));
  }
  return out;
}

std::vector<std::string> bsdl_words(std::string_view s) {
  std::vector<std::string> out;
  for (std::size_t i = 0; i < s.size();) {
    const char c = s[i];
    if (std::isspace(static_cast<unsigned char>(c))) {
      ++i;
      continue;
    }
    if (c == '(' || c == ')' || c == ',' || c == ':') {
      out.emplace_back(1, c);
      ++i;
      continue;
    }
    std::string w;
    while (i < s.size() && word_char(s[i])) w += static_cast<char>(std::toupper(static_cast<unsigned char>(s[i++])));
    if (w.empty()) {
      w = c;
      ++i;
    }  // anything else by itself: the caller will name it
    out.push_back(std::move(w));
  }
  return out;
}

}  // namespace teasel::formats
