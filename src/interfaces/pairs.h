// Two nets whose names differ by a sign of polarity.
#pragma once
#include <optional>
#include <unordered_map>

#include "names.h"

namespace teasel {

class PairFinder {
 public:
  PairFinder(const Board& board, const std::vector<ParsedName>& names);
  struct Partner {
    int net{};
    bool positive{};
    bool glued{};   ///< the sign is the last letter of a word that pairs are known by: TXP, CLKN
  };
  [[nodiscard]] std::optional<Partner> partner(int net) const;

 private:
  const Board& b_;
  std::unordered_map<std::string, int> by_name_;
};

}  // namespace teasel
