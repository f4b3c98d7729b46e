// What hangs on nets, and lines that go on behind a small part.
#pragma once
#include <set>

#include "teasel/interfaces.h"

namespace teasel {

/// A part with two nets: a resistor, a capacitor, a ferrite.
struct TwoPole {
  ComponentId component;
  NetId net_a, net_b;
  [[nodiscard]] NetId other(NetId net) const { return net == net_a ? net_b : net_a; }
};

class Hanging {
 public:
  explicit Hanging(const Board& board);
  [[nodiscard]] int capacitors(NetId net) const;
  [[nodiscard]] int capacitors_to(NetId net, const std::set<NetId>& others) const;
  [[nodiscard]] const std::vector<TwoPole>& resistors(NetId net) const { return resistors_[net]; }
  /// Parts on a net that do something: two poles, test points and mechanical parts are left out.
  [[nodiscard]] std::vector<ComponentId> devices(NetId net) const;
  [[nodiscard]] bool is_connector(ComponentId component) const;

 private:
  const Board& board_;
  Table<NetId, std::vector<TwoPole>> resistors_, capacitors_;
};

/// Names the far sides of small series parts, and says which side to probe.
void follow_series(const Board& board, const InterfaceTable& table, const Hanging& hangs, InterfaceSet& set,
                   Table<NetId, char>& taken);

}  // namespace teasel
