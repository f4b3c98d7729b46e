// Two nets whose names differ by a sign of polarity.
#pragma once
#include <optional>
#include <string>
#include <unordered_map>

#include "teasel/board.h"

namespace teasel {

class PairFinder {
 public:
  explicit PairFinder(const Board& board);
  struct Partner {
    NetId net;
    bool positive{};
    bool glued{};  ///< the sign is the last letter of a word that pairs are known by: TXP, CLKN
  };
  [[nodiscard]] std::optional<Partner> partner(NetId net) const;

 private:
  const Board& board_;
  std::unordered_map<std::string, NetId> by_name_;
};

}  // namespace teasel
