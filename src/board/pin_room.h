// What stands in the way of a tooling pin.
#pragma once
#include <string>
#include <vector>

#include "teasel/board.h"

namespace teasel {

/// What a pin in one hole would meet.
struct PinTrouble {
  std::vector<std::string> collisions;  ///< a plate, a part or a connector leaves no room for it
  std::vector<NetId> lost;              ///< nets all of whose bare metal lies too near
  double nuisance = 1;                  ///< as a factor on the locating error
};

class PinRoom {
 public:
  PinRoom(const Board& board, const Job& job, const Rules& rules, const Shop& shop);
  [[nodiscard]] PinTrouble about(const BoardHole& hole) const;

 private:
  struct Plugged {
    std::string name;
    Polygons area;
    std::vector<std::string> nets;
  };
  struct Milled {
    Side down{};
    Polygons area;  ///< all pockets of the plate that holds the pins, board frame
    std::vector<std::pair<std::string, Polygons>> bodies;
  };
  void add_mates();
  void add_pockets(Side down);
  void in_parts(const BoardHole& hole, PinTrouble& out) const;
  void in_pockets(const BoardHole& hole, PinTrouble& out) const;
  void in_kit(const BoardHole& hole, PinTrouble& out) const;
  void in_mates(const BoardHole& hole, PinTrouble& out) const;
  void lose_nets(const BoardHole& hole, PinTrouble& out) const;
  [[nodiscard]] Mm pin_of(const BoardHole& hole) const { return pin_for(hole, rules_); }

  const Board& board_;
  const Rules& rules_;
  const Job& job_;
  const Shop& shop_;
  std::vector<Side> downs_;  ///< sides that the board may lie on
  std::vector<Plugged> mates_;
  std::vector<Milled> milled_;
  Polygons holdable_;
  Table<NetId, int> metal_of_;  ///< pieces of bare metal, by net
};

}  // namespace teasel
