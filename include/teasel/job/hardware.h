// Fasteners, guides, bushes and springs of which a fixture is built, as a shop has them.
#pragma once
#include <algorithm>
#include <optional>
#include <string>
#include <vector>

#include "teasel/units.h"

namespace teasel {

struct Thread {
  std::string name;          ///< "M4"
  Mm core, clearance;        ///< holes: to be tapped; to be passed
  Mm head, head_height;      ///< of a countersunk screw
  Mm button, button_height;  ///< head of a button-head screw; 0: none is listed
  Money price;               ///< of a screw
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
/// A tube from which sleeves over screws are cut.
struct Sleeve {
  Mm outer;
  std::string thread;  ///< of the screw that goes through
  Money metre;
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
/// Held on a shaft by a screw.
struct Collar {
  Mm bore, outer, width;
  Money price;
};
struct StockMaterial {
  std::string name;
  MPa modulus;       ///< in bending
  double density{};  ///< g/cm3
};
/// A toggle clamp whose rod pushes along its axis, fixed with four screws.
struct PushClamp {
  Newton holds;
  Mm stroke;
  Mm rod;               ///< hole for it
  Mm holes_x, holes_y;  ///< of its four screws, middle to middle
  std::string thread, rod_thread;
  Money price;
};
/// Drawn square bar, tapped at both ends where it is a leg of a lid.
struct SquareBar {
  Mm side;
  std::string thread;
  Money metre;
};
/// A butt hinge whose leaves lie one on the other when the lid is closed.
struct ButtHinge {
  Newton holds;  ///< pulled away from its base
  Mm width;      ///< along its axis
  Mm leaf;       ///< from its axis to the free edge of a leaf
  Mm closed;     ///< height of both leaves
  Mm holes;      ///< of the two screws of a leaf, middle to middle
  Mm screws_in;  ///< from its axis
  std::string thread;
  Money price;
};
/// A latch that draws a leg of a lid down onto the base plate.
struct DrawLatch {
  Newton holds;
  Mm holes;             ///< of the two screws of its catch, middle to middle
  Mm depth;             ///< of the catch on the base plate
  Mm body, body_holes;  ///< height of the lower screw of its body over the base plate, and of the upper one over that
  std::string thread;
  Money price;
};
/// A strip of closed-cell foam.
struct Gasket {
  Mm width, height;  ///< free
  Mm least;          ///< height to which it may be pressed
  MPa stress;        ///< at that height
  Money metre;
};
/// A connector in a cut-out, in which wires end. Its pins are numbered from 1.
struct StockConnector {
  std::string name, standard;
  int pins = 0;
  Amperes amperes;  ///< of a pin
  Mm cut_x, cut_y;  ///< of the cut-out
  Mm holes;         ///< of its two screws, middle to middle
  std::string thread;
  Money price;
};

struct Hardware {
  std::string name;
  std::vector<Thread> threads;
  std::vector<ShoulderScrew> shoulder_screws;
  std::vector<StockPillar> pillars;
  std::vector<Bush> bushes;
  std::vector<Sleeve> sleeves;
  std::vector<CoilSpring> springs;
  std::vector<Standoff> standoffs;
  std::vector<Collar> collars;
  std::vector<StockMaterial> materials;
  std::vector<PushClamp> clamps;
  std::vector<SquareBar> bars;
  std::vector<ButtHinge> hinges;
  std::vector<DrawLatch> latches;
  std::vector<Gasket> gaskets;
  std::vector<StockConnector> connectors;
  [[nodiscard]] const StockConnector* connector(const std::string& name) const;
  [[nodiscard]] const Thread* thread(const std::string& name) const;
  /// g/cm3; of a material that is not listed that of glass-epoxy laminate, from memory.
  [[nodiscard]] double density_of(const std::string& material) const;
  /// In bending; nothing for a material that is not listed.
  [[nodiscard]] std::optional<MPa> modulus_of(const std::string& material) const;
};

/// The first of a list that is meant; null: none.
template <class T, class Meant>
const T* find_in(const std::vector<T>& list, Meant meant) {
  const auto found = std::find_if(list.begin(), list.end(), meant);
  return found == list.end() ? nullptr : &*found;
}
/// The shortest that is at least as long; 0: none.
Mm stock_length(const std::vector<Mm>& lengths, Mm least);

}  // namespace teasel
