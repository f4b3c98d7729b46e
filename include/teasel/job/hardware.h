// Fasteners, guides, bushes and springs of which a fixture is built, as a shop has them.
#pragma once
#include <string>
#include <vector>

#include "teasel/units.h"

namespace teasel {

struct Thread {
  std::string name;      ///< "M4"
  Mm core, clearance;    ///< holes: to be tapped; to be passed
  Mm head, head_height;  ///< of a countersunk screw
  Money price;           ///< of a screw
};
struct ShoulderScrew {
  Mm shoulder;  ///< its diameter
  std::string thread;
  Mm head, head_height;
  std::vector<Mm> lengths;  ///< of the shoulder, rising
  Money price;
};
/// Of one diameter, in the lengths at hand.
struct StockPillar {
  Mm diameter;
  std::vector<Mm> lengths;  ///< rising
  Money price;
};
struct Bush {
  Mm bore, outer;
  Money price;
};
struct CoilSpring {
  std::string name;
  Mm outer, wire, free;
  double turns{};  ///< that work
  Money price;
  /// Source: EN 13906-1, cold coiled compression springs; G of spring steel wire, 81,500 MPa.
  [[nodiscard]] NewtonPerMm rate() const;
  /// All turns touch: those that work and one closed and ground at each end.
  [[nodiscard]] Mm solid() const { return (turns + 2) * wire; }
};
struct Standoff {
  std::string thread;
  Mm diameter;
  std::vector<Mm> lengths;  ///< rising
  Money price;
};
struct ToggleClamp {
  Newton holds;
  Money price;
};

struct Hardware {
  std::string name;
  std::vector<Thread> threads;
  std::vector<ShoulderScrew> shoulder_screws;
  std::vector<StockPillar> pillars;
  std::vector<Bush> bushes;
  std::vector<CoilSpring> springs;
  std::vector<Standoff> standoffs;
  std::vector<ToggleClamp> clamps;  ///< rising
  [[nodiscard]] const Thread* thread(const std::string& name) const;
};

/// The shortest that is at least as long; 0: none.
Mm stock_length(const std::vector<Mm>& lengths, Mm least);

}  // namespace teasel
