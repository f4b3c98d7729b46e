#include "names.h"

#include <algorithm>
#include <cctype>
#include <optional>

namespace teasel {

namespace {
bool fits_at(const std::vector<std::string>& parts, std::size_t begin, const NameWord& word) {
  if (begin + word.size() > parts.size()) return false;
  for (std::size_t i = 0; i < word.size(); ++i) {
    const std::string &wanted = word[i], &part = parts[begin + i];
    if (wanted[0] != '*' && wanted[0] != '#' && wanted[0] != part[0]) return false;
    if (!glob_match(wanted, part)) return false;
  }
  return true;
}
std::string text_of(const NameWord& word) {
  std::string text;
  for (const std::string& part : word)
    text += (text.empty() || !std::isalpha(static_cast<unsigned char>(part[0])) ? "" : "_") + part;
  return text;
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
/// "Net-(FB1-Pad2)": the part says nothing of the net, its pin may.
struct PartAndPin {
  std::string part, pin;
};
std::optional<PartAndPin> part_and_pin(const std::string& name) {
  constexpr std::size_t kBegin = 5;  // "Net-("
  if (name.size() < 10 || name.back() != ')' || upper_case(name.substr(0, kBegin)) != "NET-(") return std::nullopt;
  const std::string inside = name.substr(kBegin, name.size() - kBegin - 1);
  const std::size_t joint = inside.find('-');
  if (joint == 0 || joint == inside.npos || joint + 1 == inside.size()) return std::nullopt;
  return PartAndPin{inside.substr(0, joint), inside.substr(joint + 1)};
}
}  // namespace

ParsedName parse_name(const std::string& name) {
  ParsedName parsed;
  if (const auto made = part_and_pin(std::string(local_name(name)))) {
    parsed.whole = upper_case(made->pin);
    parsed.parts = name_parts(made->pin);
    parsed.parts.insert(parsed.parts.begin(), "OF " + upper_case(made->part));  // one part: tells instances apart
    return parsed;
  }
  const std::string pin = pin_in(name);
  if (!pin.empty()) {
    parsed.whole = pin;
    parsed.parts = name_parts(pin);
    parsed.parts.insert(parsed.parts.begin(),
                        name.substr(0, name.size() - pin.size() - 1));  // one part: tells instances apart
    return parsed;
  }
  parsed.parts = name_parts(name);
  parsed.whole = upper_case(local_name(name));
  return parsed;
}

bool holds_any(const ParsedName& name, const std::vector<NameWord>& words) {
  for (const NameWord& word : words)
    for (std::size_t i = 0; i < name.parts.size(); ++i)
      if (fits_at(name.parts, i, word)) return true;
  return false;
}

NameHit best_hit(const ParsedName& name, const InterfaceKind& kind) {
  NameHit best;
  auto better = [&](Strength strength, std::size_t length) {
    return strength > best.strength || (strength == best.strength && length > best.end - best.begin);
  };
  for (const LineId id : kind.lines.ids()) {
    const InterfaceLine& line = kind.lines[id];
    const bool out = std::any_of(line.not_globs.begin(), line.not_globs.end(),
                                 [&](const std::string& pattern) { return glob_match(pattern, name.whole); });
    if (out) continue;
    for (const NameWord& word : line.words)
      for (std::size_t i = 0; i < name.parts.size(); ++i)
        if (better(Strength::sure, word.size()) && fits_at(name.parts, i, word))
          best = {.line = id, .strength = Strength::sure, .begin = i, .end = i + word.size(), .word = text_of(word)};
    for (const std::string& pattern : line.globs)
      if (best.strength < Strength::sure && glob_match(pattern, name.whole))
        best = {.line = id, .strength = Strength::sure, .begin = 0, .end = 0, .word = pattern};
  }
  if (best.strength < Strength::sure) {
    for (const LineId id : kind.lines.ids())
      for (const NameWord& word : kind.lines[id].weak)
        for (std::size_t i = 0; i < name.parts.size(); ++i) {
          if (!fits_at(name.parts, i, word)) continue;
          // The context must stand elsewhere in the name than the word itself.
          ParsedName rest;
          rest.parts = name.parts;
          rest.parts.erase(rest.parts.begin() + static_cast<std::ptrdiff_t>(i),
                           rest.parts.begin() + static_cast<std::ptrdiff_t>(i + word.size()));
          const Strength strength = holds_any(rest, kind.context) ? Strength::context : Strength::stem;
          // Of equal words the last one in the name says what the net is; those before it say of what.
          if (better(strength, word.size()) ||
              (strength == best.strength && word.size() == best.end - best.begin && i > best.begin))
            best = {.line = id, .strength = strength, .begin = i, .end = i + word.size(), .word = text_of(word)};
        }
  }
  if (best.line && holds_any(name, kind.not_words)) return {};
  return best;
}

std::vector<std::string> stem_of(const ParsedName& name, const NameHit& hit, const InterfaceKind& kind) {
  if (name.whole.find('/') != std::string::npos) return {};  // two names of one net: the other one is no stem
  const bool many = kind.lines[hit.line].many;
  // "SPI_SCK" as one word: the context in it belongs to the stem, as it does beside MOSI.
  std::size_t begin = hit.begin;
  while (begin + 1 < hit.end && std::any_of(kind.context.begin(), kind.context.end(), [&](const NameWord& word) {
           return begin + word.size() < hit.end && fits_at(name.parts, begin, word);
         }))
    ++begin;
  std::vector<std::string> stem(name.parts.begin(), name.parts.begin() + static_cast<std::ptrdiff_t>(begin));
  std::vector<std::string> tail(name.parts.begin() + static_cast<std::ptrdiff_t>(hit.end), name.parts.end());
  // Numbers of chip selects do not part them from their bus.
  if (many && !tail.empty() && std::isdigit(static_cast<unsigned char>(tail[0][0]))) tail.erase(tail.begin());
  // "_S2": the other function of a pin that is read as a strap.
  if (tail.size() >= 2 && tail[tail.size() - 2] == "S" && std::isdigit(static_cast<unsigned char>(tail.back()[0])))
    tail.resize(tail.size() - 2);
  static const std::vector<std::string> marks = {"N", "B", "L", "R", "S", "#", "-", "+", "~", "!", "*"};
  while (!tail.empty() && std::find(marks.begin(), marks.end(), tail.back()) != marks.end()) tail.pop_back();
  while (!stem.empty() && (stem.front() == "-" || stem.front() == "~" || stem.front() == "!" || stem.front() == "N"))
    stem.erase(stem.begin());
  stem.insert(stem.end(), tail.begin(), tail.end());
  return stem;
}

std::vector<std::string> without(std::vector<std::string> parts, const std::vector<NameWord>& words) {
  for (const NameWord& word : words)
    for (std::size_t i = 0; i + word.size() <= parts.size();)
      if (fits_at(parts, i, word))
        parts.erase(parts.begin() + static_cast<std::ptrdiff_t>(i),
                    parts.begin() + static_cast<std::ptrdiff_t>(i + word.size()));
      else
        ++i;
  return parts;
}

std::string joined(const std::vector<std::string>& parts) {
  std::string text;
  for (const std::string& part : parts)
    text += (text.empty() || std::isdigit(static_cast<unsigned char>(part[0])) ||
                     std::isdigit(static_cast<unsigned char>(text.back()))
                 ? ""
                 : "_") +
            part;
  return text;
}

}  // namespace teasel
