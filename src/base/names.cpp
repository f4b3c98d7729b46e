#include "teasel/names.h"

namespace teasel {

namespace {
char lower(char letter) {
  return letter >= 'A' && letter <= 'Z' ? static_cast<char>(letter + 32) : letter;
}
bool is_letter(char letter) {
  return (letter >= 'A' && letter <= 'Z') || (letter >= 'a' && letter <= 'z');
}
}  // namespace

std::string reference_letters(std::string_view plain) {
  std::size_t count = 0;
  while (count < plain.size() && is_letter(plain[count])) ++count;
  return std::string(plain.substr(0, count));
}
std::string reference_letters(const PartName& part) {
  return reference_letters(std::string_view(part.plain()));
}

bool glob_match(std::string_view pattern, std::string_view text) {
  // Two positions with one place to return to: linear memory, quadratic time at worst.
  std::size_t i = 0, j = 0, star = pattern.npos, mark = 0;
  while (j < text.size()) {
    const bool one = i < pattern.size() && pattern[i] != '*' &&
                     (pattern[i] == '?' || (pattern[i] == '#' && text[j] >= '0' && text[j] <= '9') ||
                      lower(pattern[i]) == lower(text[j]));
    if (one) {
      ++i;
      ++j;
    } else if (i < pattern.size() && pattern[i] == '*') {
      star = i++;
      mark = j;
    } else if (star != pattern.npos) {
      i = star + 1;
      j = ++mark;
    } else {
      return false;
    }
  }
  while (i < pattern.size() && pattern[i] == '*') ++i;
  return i == pattern.size();
}

}  // namespace teasel
