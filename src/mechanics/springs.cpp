// Which springs lift the moving plate.
#include <algorithm>
#include <cmath>

#include "teasel/mechanics.h"
#include "teasel/mechanics/moving_plate.h"
#include "teasel/plan/build_prices.h"

namespace teasel {

namespace {
// Common practice, no source.
constexpr Mm kSeatStep{0.5};
constexpr Mm kSpare{0.5};  // of a spring before its turns touch
constexpr double kGravity = 9.81;

const StylePlate* plate_of(const Planned& in, PlateKind kind) {
  for (const StylePlate& plate : in.style.plates)
    if (plate.kind == kind && plate.lower && is_built(in, plate)) return &plate;
  return nullptr;
}

Newton weight_on_springs(const Planned& in, const StylePlate& plate) {
  const Hardware& list = in.style.hardware;
  const BlankSize size = blank_size(in);
  const double blank = in.standing.used ? std::abs(signed_area(in.standing.blank)) : size.width.v * size.depth.v,
               grams = (blank * plate.thickness.v * list.density_of(plate.material) +
                        area(in.board.outline) * in.board.thickness.v * list.density_of("glass-epoxy laminate")) /
                       1000;
  return Newton{grams / 1000 * kGravity};
}

/// EN 13906-1: 8 F D / (pi d^3), at most half of the wire's strength; that of EN 10270-1, grade SH, is 2220 - 820 lg d
/// MPa (from memory).
bool overstressed(const CoilSpring& spring, Newton force) {
  const double wire = spring.wire.v, mean = (spring.outer - spring.wire).v,
               stress = 8 * force.v * mean / (std::acos(-1) * wire * wire * wire);
  return stress > 0.5 * (2220 - 820 * std::log10(wire));
}

/// Every spring of the list that fits and lifts the plate, in each of its seats.
std::vector<MovingPlate> choices(const Planned& in, const MovingPlate& plate) {
  const MechanismSizes& sizes = in.style.mechanism;
  const Hardware& list = in.style.hardware;
  std::vector<MovingPlate> out;
  if (in.kit || !sizes.used) return out;
  // In a sheet they stand on its face, each round a sleeve.
  const Mm deepest = sizes.sheets ? Mm{} : plate.probe->thickness - kFloorUnderSeat,
           within = sizes.sheets && !list.sleeves.empty() ? list.sleeves.front().outer : Mm{};
  for (const CoilSpring& spring : list.springs)
    for (int step = 0; step * kSeatStep <= deepest + Mm{1e-9}; ++step) {
      const Mm seat = step * kSeatStep;
      if (within > Mm{} && spring.outer - 2 * spring.wire < within + kSlidesOver) break;
      const Mm at_rest = plate.gap_at_rest() + seat, at_work = plate.gap_at_work() + seat;
      if (at_work < spring.solid() + kSpare || at_rest >= spring.free) continue;
      MovingPlate one = plate;
      one.spring = &spring;
      one.seat = seat;
      one.rest = Newton{spring.rate().v * (spring.free - at_rest).v};
      one.work = Newton{spring.rate().v * (spring.free - at_work).v};
      if (one.at_rest() < sizes.lift * plate.weight || overstressed(spring, one.work)) continue;
      out.push_back(one);
    }
  return out;
}

std::optional<MovingPlate> without_springs(const Planned& in) {
  MovingPlate out;
  out.plate = plate_of(in, PlateKind::moving);
  out.probe = plate_of(in, PlateKind::probe);
  if (!out.plate || !out.probe) return std::nullopt;
  out.stroke = out.probe->at_rest - out.probe->at_work;
  out.weight = weight_on_springs(in, *out.plate);
  return out;
}
}  // namespace

std::optional<MovingPlate> moving_plate(const Planned& in) {
  std::optional<MovingPlate> out = without_springs(in);
  if (!out) return out;
  const Newton wanted = in.springs > Newton{} ? in.springs : in.style.spring_force;
  const auto off = [&](const MovingPlate& one) { return std::abs((one.at_work() - wanted).v); };
  for (const MovingPlate& one : choices(in, *out))
    if (!out->spring || off(one) < off(*out) - 1e-9) *out = one;
  if (!out->spring) {
    out->work = wanted / out->springs;
    out->rest = 0.5 * out->work;
  }
  return out;
}

std::optional<MovingPlate> moving_plate_that_holds(const Planned& in, Newton at_rest) {
  std::optional<MovingPlate> best;
  if (const std::optional<MovingPlate> plate = without_springs(in))
    for (const MovingPlate& one : choices(in, *plate)) {
      const bool holds = one.at_rest() >= at_rest, held = best && best->at_rest() >= at_rest;
      const bool first_to_hold = holds && !held, weaker = holds && held && one.at_work() < best->at_work(),
                 stronger = !holds && !held && best && one.at_rest() > best->at_rest();
      if (!best || first_to_hold || weaker || stronger) best = one;
    }
  return best;
}

}  // namespace teasel
