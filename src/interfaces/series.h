// What hangs on nets, and lines that go on behind a small part.
#pragma once
#include <set>

#include "teasel/interfaces.h"

namespace teasel {

/// A part with two nets: a resistor, a capacitor, a ferrite.
struct TwoPole {
  int component = -1, net_a = -1, net_b = -1;
  [[nodiscard]] int other(int net) const { return net == net_a ? net_b : net_a; }
};

class Hanging {
 public:
  explicit Hanging(const Board& board);
  [[nodiscard]] int capacitors(int net) const;
  [[nodiscard]] int capacitors_to(int net, const std::set<int>& others) const;
  [[nodiscard]] const std::vector<TwoPole>& resistors(int net) const {
    return resistors_[static_cast<std::size_t>(net)];
  }
  /// Components on a net by what they are: "IC", "connector", "other", two poles left out.
  [[nodiscard]] std::vector<int> devices(int net) const;
  [[nodiscard]] bool is_connector(int component) const;

 private:
  const Board& b_;
  std::vector<std::vector<TwoPole>> resistors_, capacitors_;
};

/// Names the far sides of small series parts, and says which side to probe.
void follow_series(const Board& board, const InterfaceTable& table, const Hanging& hangs, InterfaceSet& set,
                   std::vector<bool>& taken);

}  // namespace teasel
