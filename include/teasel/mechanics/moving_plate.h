// The plate on which the board lies where it sinks onto the probes, and the springs under it.
#pragma once
#include <optional>

#include "teasel/plan.h"

namespace teasel {

// Common practice, no source.
inline constexpr Mm kFloorUnderSeat{3.0};  ///< of a plate under what stands in it
inline constexpr Mm kSlidesOver{0.3};      ///< of a hole or a spring over what slides in it, diameters

/// Room between the probe plate and the plate that sinks to it.
inline Mm gap_at_rest(const StylePlate& probe, const StylePlate& moving) {
  return probe.at_rest - moving.at_rest - moving.thickness;
}
inline Mm gap_at_work(const StylePlate& probe, const StylePlate& moving) {
  return probe.at_work - moving.at_work - moving.thickness;
}

struct MovingPlate {
  const StylePlate* plate = nullptr;
  const StylePlate* probe = nullptr;  ///< of the probes that it sinks to
  Mm stroke;                          ///< from rest to its stops
  Newton weight;                      ///< that its springs lift: itself and the board
  int springs = 4;
  const CoilSpring* spring = nullptr;  ///< of the list of hardware; null: a kit's, or none of the list fits
  Mm seat;                             ///< depth of its seat in the probe plate
  Newton rest, work;                   ///< of one spring
  [[nodiscard]] Mm gap_at_rest() const { return teasel::gap_at_rest(*probe, *plate); }
  [[nodiscard]] Mm gap_at_work() const { return teasel::gap_at_work(*probe, *plate); }
  [[nodiscard]] Newton at_rest() const { return springs * rest; }
  [[nodiscard]] Newton at_work() const { return springs * work; }
  /// Of all springs together.
  [[nodiscard]] NewtonPerMm rate() const {
    return NewtonPerMm{stroke > Mm{} ? (at_work() - at_rest()).v / stroke.v : 0};
  }
};
/// The spring that lifts the plate and comes nearest to the force that is asked for at work (Planned::springs, or the
/// style's). With a kit, whose springs are not known: that force at work and half of it at rest (from memory). Nothing
/// where no plate sinks.
std::optional<MovingPlate> moving_plate(const Planned& in);
/// Of those that the list of hardware offers, the weakest whose springs at rest push with at least so much, else the
/// strongest; nothing where the plate's springs are not chosen from the list.
std::optional<MovingPlate> moving_plate_that_holds(const Planned& in, Newton at_rest);

}  // namespace teasel
