#include "pairs.h"

#include <algorithm>
#include <cctype>

namespace teasel {

namespace {
bool letter(char c) {
  return std::isalpha(static_cast<unsigned char>(c)) != 0;
}
/// Letters before position i that belong to the same word.
std::string word_before(const std::string& s, std::size_t i) {
  std::size_t b = i;
  while (b > 0 && letter(s[b - 1])) --b;
  return s.substr(b, i - b);
}
bool known_word(const std::string& w) {
  static const char* words[] = {"RX",   "TX",  "CLK", "CK",    "DQS",    "D",     "MDI",  "TRD",
                                "RD",   "TD",  "RXD", "TXD",   "REFCLK", "DATA",  "SSRX", "SSTX",
                                "LVDS", "TXO", "RXO", "CLKIN", "CLKOUT", "STALL", "RDOUT"};
  return std::any_of(std::begin(words), std::end(words), [&](const char* x) {
    return w == x || (w.size() > 2 && w.size() >= std::string_view(x).size() + 1 && std::string_view(x).size() >= 2 &&
                      w.compare(w.size() - std::string_view(x).size(), std::string::npos, x) == 0);
  });
}
}  // namespace

PairFinder::PairFinder(const Board& b) : b_(b) {
  for (std::size_t i = 0; i < b.nets.size(); ++i)
    if (!b.nets[i].unconnected) by_name_.emplace(upper_case(b.nets[i].name), static_cast<int>(i));
}

std::optional<PairFinder::Partner> PairFinder::partner(int net) const {
  const std::string s = upper_case(b_.nets[static_cast<std::size_t>(net)].name);
  // The last sign in a name counts: what stands before says of what.
  for (std::size_t i = s.size(); i-- > 1;) {
    const char c = s[i];
    const bool sign = c == '+' || c == '-', polarity = c == 'P' || c == 'N' || c == 'M';
    if (!sign && !polarity) continue;
    if (i + 1 < s.size() && letter(s[i + 1])) continue;         // inside a word
    if (sign && i + 1 < s.size() && s[i + 1] != '_') continue;  // a hyphen
    const bool glued = polarity && letter(s[i - 1]);
    if (glued && !known_word(word_before(s, i))) continue;
    std::string t = s;
    for (const char o : std::string(c == 'P' ? "NM" : c == 'N' || c == 'M' ? "P" : c == '+' ? "-" : "+")) {
      t[i] = o;
      if (const auto it = by_name_.find(t); it != by_name_.end())
        return Partner{it->second, c == 'P' || c == '+', glued};
    }
  }
  return std::nullopt;
}

}  // namespace teasel
