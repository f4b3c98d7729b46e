#include "bsdl_tokens.h"

#include <cctype>

namespace teasel::formats {

namespace {
constexpr std::size_t kMostTokens = 4'000'000;
bool letter_or_digit(char letter) {
  return std::isalnum(static_cast<unsigned char>(letter));
}
bool word_char(char letter) {
  return letter_or_digit(letter) || letter == '_' || letter == '.' || letter == '-' || letter == '+' || letter == '*' ||
         letter == '#' || letter == '/';
}
char upper(char letter) {
  return static_cast<char>(std::toupper(static_cast<unsigned char>(letter)));
}

class Tokenizer {
 public:
  Tokenizer(std::string_view text, const std::string& name, Diagnostics& diagnostics)
      : text_(text), name_(name), diagnostics_(diagnostics) {}
  std::vector<BsdlToken> run();

 private:
  bool skip();
  BsdlToken next();
  void quoted(BsdlToken& token);
  void word(BsdlToken& token);
  void number(BsdlToken& token);
  void sign(BsdlToken& token);
  /// The character so many places ahead; none: 0.
  char ahead(std::size_t places) const { return at_ + places < text_.size() ? text_[at_ + places] : '\0'; }

  std::string_view text_;
  const std::string& name_;
  Diagnostics& diagnostics_;
  std::size_t at_ = 0, line_start_ = 0;
  std::uint32_t line_ = 1;
};

/// Passes over a line end, a blank or a comment; false if none stands here.
bool Tokenizer::skip() {
  if (text_[at_] == '\n') {
    ++line_;
    line_start_ = ++at_;
    return true;
  }
  if (std::isspace(static_cast<unsigned char>(text_[at_]))) {
    ++at_;
    return true;
  }
  if (text_[at_] != '-' || ahead(1) != '-') return false;
  while (at_ < text_.size() && text_[at_] != '\n') ++at_;
  return true;
}

/// Strings do not run over lines; a forgotten quote must not swallow the rest of the file.
void Tokenizer::quoted(BsdlToken& token) {
  token.kind = BsdlToken::Kind::text;
  ++at_;
  while (at_ < text_.size() && text_[at_] != '"' && text_[at_] != '\n') token.text += text_[at_++];
  if (at_ < text_.size() && text_[at_] == '"') {
    ++at_;
    return;
  }
  diagnostics_.warn({.code = "bsdl-string",
                     .at = {name_, line_, token.column, {}},
                     .message = "a string has no closing quote on its line",
                     .found = token.text.substr(0, 40),
                     .remedy = "close it; here it is taken to end with the line"});
}

void Tokenizer::word(BsdlToken& token) {
  while (at_ < text_.size() && (letter_or_digit(text_[at_]) || text_[at_] == '_' || text_[at_] == '.'))
    token.text += upper(text_[at_++]);
}

void Tokenizer::number(BsdlToken& token) {
  token.kind = BsdlToken::Kind::number;
  while (at_ < text_.size() &&
         (letter_or_digit(text_[at_]) || text_[at_] == '.' ||
          ((text_[at_] == '-' || text_[at_] == '+') && (text_[at_ - 1] == 'e' || text_[at_ - 1] == 'E'))))
    token.text += text_[at_++];
}

void Tokenizer::sign(BsdlToken& token) {
  token.kind = BsdlToken::Kind::sign;
  const bool assigns = text_[at_] == ':' && ahead(1) == '=';
  token.text = std::string(text_.substr(at_, assigns ? 2 : 1));
  at_ += token.text.size();
}

BsdlToken Tokenizer::next() {
  BsdlToken token;
  token.line = line_;
  token.column = static_cast<std::uint32_t>(at_ - line_start_ + 1);
  const char letter = text_[at_];
  if (letter == '"')
    quoted(token);
  else if (std::isalpha(static_cast<unsigned char>(letter)) || letter == '_')
    word(token);
  else if (std::isdigit(static_cast<unsigned char>(letter)))
    number(token);
  else
    sign(token);
  return token;
}

std::vector<BsdlToken> Tokenizer::run() {
  std::vector<BsdlToken> out;
  bool join = false;
  while (at_ < text_.size()) {
    if (skip()) continue;
    if (out.size() >= kMostTokens) {
      diagnostics_.error({.code = "bsdl-too-large",
                          .at = {name_, line_, 0, {}},
                          .message = "the description is far larger than that of any device"});
      return {};
    }
    if (text_[at_] == '&') {
      join = true;
      ++at_;
      continue;
    }
    BsdlToken token = next();
    const bool joins =
        join && token.kind == BsdlToken::Kind::text && !out.empty() && out.back().kind == BsdlToken::Kind::text;
    if (joins)
      out.back().text += token.text;
    else
      out.push_back(std::move(token));
    join = false;
  }
  return out;
}
}  // namespace

std::vector<BsdlToken> bsdl_tokens(std::string_view text, const std::string& name, Diagnostics& diagnostics) {
  return Tokenizer(text, name, diagnostics).run();
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
    while (i < text.size() && word_char(text[i])) word += upper(text[i++]);
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
