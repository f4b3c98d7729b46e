// Facts that are found board by board of a panel and told once each.
#pragma once
#include <map>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "teasel/board.h"

namespace teasel {

class ByBoard {
 public:
  /// `place`: the board of the panel; none on a single board.
  void add(PlaceId place, const std::string& fact);
  struct Told {
    std::string fact, where;  ///< "on both boards", "on 24 of 48 boards"; empty where there is one board alone
    [[nodiscard]] std::string text(const char* between = ", ") const {
      return fact + (where.empty() ? "" : between) + where;
    }
  };
  /// In the order in which the facts were first found.
  [[nodiscard]] std::vector<Told> told(const Board& board) const;

 private:
  std::vector<std::pair<std::string, std::set<PlaceId>>> facts_;
  std::map<std::string, std::vector<std::size_t>> index_;  ///< by fact: its places in facts_
};

}  // namespace teasel
