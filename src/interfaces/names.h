// Net names against the words of interface definitions.
#pragma once
#include <string>
#include <vector>

#include "teasel/interfaces.h"

namespace teasel {

enum class Strength : std::uint8_t { none, stem, context, sure };

/// How well a name fits a line of a kind.
struct NameHit {
  LineId line;
  Strength strength{};
  std::size_t begin = 0, end = 0;  ///< parts of the name that the word took
  std::string word;                ///< as text, for the evidence
};

/// A net name in parts, and whole in upper case.
struct ParsedName {
  std::string whole;
  std::vector<std::string> parts;
};
ParsedName parse_name(const std::string& name);

/// The best line of a kind; `stem` strength means: weak words without a context.
NameHit best_hit(const ParsedName& name, const InterfaceKind& kind);
bool holds_any(const ParsedName& name, const std::vector<NameWord>& words);

/// What remains of a name when the line's word, signs of active-low nets and of series parts are gone.
std::vector<std::string> stem_of(const ParsedName& name, const NameHit& hit, const InterfaceKind& kind);
/// Without words of the context.
std::vector<std::string> without(std::vector<std::string> parts, const std::vector<NameWord>& words);
std::string joined(const std::vector<std::string>& parts);

}  // namespace teasel
