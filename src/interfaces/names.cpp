#include "names.h"

#include <algorithm>
#include <cctype>

namespace teasel {

namespace {
bool fits_at(const std::vector<std::string>& parts, std::size_t begin, const NameWord& word) {
  if (begin + word.size() > parts.size()) return false;
  for (std::size_t i = 0; i < word.size(); ++i) {
    const std::string &w = word[i], &p = parts[begin + i];
    if (w[0] != '*' && w[0] != '#' && w[0] != p[0]) return false;
    if (!glob_match(w, p)) return false;
  }
  return true;
}
std::string text_of(const NameWord& w) {
  std::string s;
  for (const std::string& p : w) s += (s.empty() || !std::isalpha(static_cast<unsigned char>(p[0])) ? "" : "_") + p;
  return s;
}
}  // namespace

namespace {
/// A schematic's name for a net that nobody named, "UN12ABC345PTRST0": sheet, part, P, pin, number. What it says is the
/// pin.
std::string pin_in(const std::string& name) {
  if (name.size() < 8 || name.compare(0, 2, "UN") != 0 || !std::isdigit(static_cast<unsigned char>(name[2]))) return {};
  std::size_t end = name.size();
  while (end > 0 && std::isdigit(static_cast<unsigned char>(name[end - 1]))) --end;
  std::size_t begin = end;
  while (begin > 0 && std::isalpha(static_cast<unsigned char>(name[begin - 1]))) --begin;
  return end < name.size() && end > begin + 2 && name[begin] == 'P' ? name.substr(begin + 1, end - begin - 1)
                                                                    : std::string();
}
}  // namespace

ParsedName parse_name(const std::string& name) {
  ParsedName n;
  const std::string pin = pin_in(name);
  if (!pin.empty()) {
    n.whole = pin;
    n.parts = name_parts(pin);
    n.parts.insert(n.parts.begin(), name.substr(0, name.size() - pin.size() - 1));  // one part: tells instances apart
    return n;
  }
  n.parts = name_parts(name);
  n.whole = upper_case(local_name(name));
  return n;
}

bool holds_any(const ParsedName& name, const std::vector<NameWord>& words) {
  for (const NameWord& w : words)
    for (std::size_t i = 0; i < name.parts.size(); ++i)
      if (fits_at(name.parts, i, w)) return true;
  return false;
}

NameHit best_hit(const ParsedName& name, const InterfaceKind& kind) {
  NameHit best;
  auto better = [&](Strength s, std::size_t length) {
    return s > best.strength || (s == best.strength && length > best.end - best.begin);
  };
  for (std::size_t l = 0; l < kind.lines.size(); ++l) {
    const InterfaceLine& line = kind.lines[l];
    const bool out = std::any_of(line.not_globs.begin(), line.not_globs.end(),
                                 [&](const std::string& g) { return glob_match(g, name.whole); });
    if (out) continue;
    for (const NameWord& w : line.words)
      for (std::size_t i = 0; i < name.parts.size(); ++i)
        if (better(Strength::sure, w.size()) && fits_at(name.parts, i, w))
          best = {static_cast<int>(l), Strength::sure, i, i + w.size(), text_of(w)};
    for (const std::string& g : line.globs)
      if (best.strength < Strength::sure && glob_match(g, name.whole))
        best = {static_cast<int>(l), Strength::sure, 0, 0, g};
  }
  if (best.strength < Strength::sure) {
    for (std::size_t l = 0; l < kind.lines.size(); ++l)
      for (const NameWord& w : kind.lines[l].weak)
        for (std::size_t i = 0; i < name.parts.size(); ++i) {
          if (!fits_at(name.parts, i, w)) continue;
          // The context must stand elsewhere in the name than the word itself.
          ParsedName rest;
          rest.parts = name.parts;
          rest.parts.erase(rest.parts.begin() + static_cast<std::ptrdiff_t>(i),
                           rest.parts.begin() + static_cast<std::ptrdiff_t>(i + w.size()));
          const Strength s = holds_any(rest, kind.context) ? Strength::context : Strength::stem;
          // Of equal words the last one in the name says what the net is; those before it say of what.
          if (better(s, w.size()) || (s == best.strength && w.size() == best.end - best.begin && i > best.begin))
            best = {static_cast<int>(l), s, i, i + w.size(), text_of(w)};
        }
  }
  if (best.line >= 0 && holds_any(name, kind.not_words)) return {};
  return best;
}

std::vector<std::string> stem_of(const ParsedName& name, const NameHit& hit, const InterfaceKind& kind) {
  if (name.whole.find('/') != std::string::npos) return {};  // two names of one net: the other one is no stem
  const bool many = kind.lines[static_cast<std::size_t>(hit.line)].many;
  // "SPI_SCK" as one word: the context in it belongs to the stem, as it does beside MOSI.
  std::size_t begin = hit.begin;
  while (begin + 1 < hit.end && std::any_of(kind.context.begin(), kind.context.end(), [&](const NameWord& w) {
           return begin + w.size() < hit.end && fits_at(name.parts, begin, w);
         }))
    ++begin;
  std::vector<std::string> s(name.parts.begin(), name.parts.begin() + static_cast<std::ptrdiff_t>(begin));
  std::vector<std::string> tail(name.parts.begin() + static_cast<std::ptrdiff_t>(hit.end), name.parts.end());
  // Numbers of chip selects do not part them from their bus.
  if (many && !tail.empty() && std::isdigit(static_cast<unsigned char>(tail[0][0]))) tail.erase(tail.begin());
  // "_S2": the other function of a pin that is read as a strap.
  if (tail.size() >= 2 && tail[tail.size() - 2] == "S" && std::isdigit(static_cast<unsigned char>(tail.back()[0])))
    tail.resize(tail.size() - 2);
  static const std::vector<std::string> marks = {"N", "B", "L", "R", "S", "#", "-", "+", "~", "!", "*"};
  while (!tail.empty() && std::find(marks.begin(), marks.end(), tail.back()) != marks.end()) tail.pop_back();
  while (!s.empty() && (s.front() == "-" || s.front() == "~" || s.front() == "!" || s.front() == "N"))
    s.erase(s.begin());
  s.insert(s.end(), tail.begin(), tail.end());
  return s;
}

std::vector<std::string> without(std::vector<std::string> parts, const std::vector<NameWord>& words) {
  for (const NameWord& w : words)
    for (std::size_t i = 0; i + w.size() <= parts.size();)
      if (fits_at(parts, i, w))
        parts.erase(parts.begin() + static_cast<std::ptrdiff_t>(i),
                    parts.begin() + static_cast<std::ptrdiff_t>(i + w.size()));
      else
        ++i;
  return parts;
}

std::string joined(const std::vector<std::string>& parts) {
  std::string s;
  for (const std::string& p : parts)
    s += (s.empty() || std::isdigit(static_cast<unsigned char>(p[0])) ||
                  std::isdigit(static_cast<unsigned char>(s.back()))
              ? ""
              : "_") +
         p;
  return s;
}

}  // namespace teasel
