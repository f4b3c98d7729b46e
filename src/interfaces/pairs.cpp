#include "pairs.h"

#include <algorithm>
#include <cctype>

namespace teasel {

namespace {
bool letter(char sign) {
  return std::isalpha(static_cast<unsigned char>(sign)) != 0;
}
/// Letters before position i that belong to the same word.
std::string word_before(const std::string& text, std::size_t i) {
  std::size_t begin = i;
  while (begin > 0 && letter(text[begin - 1])) --begin;
  return text.substr(begin, i - begin);
}
/// Signs of the other half of a pair.
std::string_view opposites(char mark) {
  switch (mark) {
    case 'P': return "NM";
    case '+': return "-";
    case '-': return "+";
    default: return "P";  // of N and M
  }
}
bool known_word(const std::string& word) {
  static const char* words[] = {"RX",   "TX",  "CLK", "CK",    "DQS",    "D",     "MDI",  "TRD",
                                "RD",   "TD",  "RXD", "TXD",   "REFCLK", "DATA",  "SSRX", "SSTX",
                                "LVDS", "TXO", "RXO", "CLKIN", "CLKOUT", "STALL", "RDOUT"};
  return std::any_of(std::begin(words), std::end(words), [&](const char* x) {
    return word == x ||
           (word.size() > 2 && word.size() >= std::string_view(x).size() + 1 && std::string_view(x).size() >= 2 &&
            word.compare(word.size() - std::string_view(x).size(), std::string::npos, x) == 0);
  });
}
}  // namespace

PairFinder::PairFinder(const Board& board) : board_(board) {
  for (const NetId net : board.nets.ids())
    if (!board.nets[net].unconnected) by_name_.emplace(upper_case(board.nets[net].name.text()), net);
}

std::optional<PairFinder::Partner> PairFinder::partner(NetId net) const {
  const std::string own = upper_case(board_.nets[net].name.text());
  // The last sign in a name counts: what stands before says of what.
  for (std::size_t i = own.size(); i-- > 1;) {
    const char mark = own[i];
    const bool sign = mark == '+' || mark == '-', polarity = mark == 'P' || mark == 'N' || mark == 'M';
    if (!sign && !polarity) continue;
    if (i + 1 < own.size() && letter(own[i + 1])) continue;         // inside a word
    if (sign && i + 1 < own.size() && own[i + 1] != '_') continue;  // a hyphen
    const bool glued = polarity && letter(own[i - 1]);
    if (glued && !known_word(word_before(own, i))) continue;
    std::string wanted = own;
    for (const char opposite : opposites(mark)) {
      wanted[i] = opposite;
      if (const auto it = by_name_.find(wanted); it != by_name_.end())
        return Partner{it->second, mark == 'P' || mark == '+', glued};
    }
  }
  return std::nullopt;
}

}  // namespace teasel
