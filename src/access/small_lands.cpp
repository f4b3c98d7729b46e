#include "teasel/access/small_lands.h"

#include <algorithm>
#include <cmath>

namespace teasel {

namespace {
constexpr double kStep = 0.001;  // mm

/// One probe on a small land, with what its odds are made of.
struct Stand {
  const Polygons& landing;
  Point aim;
  ErrorBudget budget;

  [[nodiscard]] Chance miss() const { return std::max(kLeastChance, miss_probability(landing, aim, budget.on_land())); }
  /// The same where one error has another size.
  [[nodiscard]] Chance miss_with(ErrorSource source, const ErrorSize& size) const {
    ErrorBudget other = budget;
    other[source] = {size.variance(), 0, size.variance()};
    return miss_probability(landing, aim, other.on_land());
  }
};

/// Lowers what all probes bear of one error to what this one bears.
void narrow(ShopTolerance& tolerance, ErrorSource source, bool uniform, const Stand& stand, Chance largest) {
  auto bears = [&](double value) { return stand.miss_with(source, {value, uniform, {}}) <= largest; };
  if (bears(tolerance.most.v)) return;
  double low = 0, high = tolerance.most.v;
  while (high - low > kStep / 2) {
    const double middle = (low + high) / 2;
    (bears(middle) ? low : high) = middle;
  }
  tolerance.most = Mm{std::floor(low / kStep) * kStep};
}
}  // namespace

SmallLands small_lands(const TrialBed& bed) {
  SmallLands out;
  const Rules::Errors& errors = bed.rules.errors;
  out.drilling = {Mm{errors.plate_drilling.value}, kWideTolerance};
  out.receptacle = {Mm{errors.receptacle.value}, kWideTolerance};
  out.pointing = {Mm{}, kWideTolerance};
  for (std::size_t i = 0; i < bed.probes.size(); ++i) {
    const BedProbe& placed = bed.probes[i];
    const Spot& spot = bed.access.spots[placed.spot];
    const Target& target = bed.access.targets[spot.target];
    const bool main_side = target.side == bed.main;
    if (!(spot.diameter < bed.rules.usual_land(main_side))) continue;
    const ProbeClass& probe = bed.catalogue.classes[placed.probe_class];
    const Polygons landing = bed.landing(placed);
    const Stand stand{
        landing, spot.in_shape,
        error_budget(bed.board, bed.rules, probe, bed.board.exposures[target.exposure], spot.at, main_side)};
    const Chance miss = stand.miss();
    ++out.probes;
    out.on_main_side += main_side;
    out.sum_of_misses += miss.v;
    out.largest_pointing = std::max(out.largest_pointing, probe.pointing);
    if (out.smallest < 0 || spot.diameter < out.diameter) {
      out.smallest = static_cast<int>(i);
      out.diameter = spot.diameter;
    }
    if (out.worst < 0 || miss > out.worst_miss) {
      out.worst = static_cast<int>(i);
      out.worst_miss = miss;
    }
    if (miss > bed.rules.largest_miss) continue;  // on a waiver
    narrow(out.drilling, ErrorSource::plate_drilling, errors.plate_drilling.uniform, stand, bed.rules.largest_miss);
    narrow(out.receptacle, ErrorSource::receptacle, errors.receptacle.uniform, stand, bed.rules.largest_miss);
    ShopTolerance pointing{probe.pointing, kWideTolerance};
    narrow(pointing, ErrorSource::pointing, true, stand, bed.rules.largest_miss);
    if (out.pointing.counted <= Mm{} ||
        pointing.most.v * out.pointing.counted.v < out.pointing.most.v * pointing.counted.v)
      out.pointing = pointing;
  }
  out.sum_of_misses = std::min(out.sum_of_misses, 1.0);
  return out;
}

}  // namespace teasel
