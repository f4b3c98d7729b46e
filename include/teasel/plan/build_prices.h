// What a choice of probes costs to build: the price list's hours and material, as far as the choice changes them. The
// cost sheet of a finished bed (fixture/cost.h) counts the same hours and material, and what every choice has besides.
#pragma once
#include <string>

#include "teasel/plan.h"

namespace teasel {

/// The style has this plate where the fixture is built this way.
bool is_built(const PlanInputs& in, const BedOption& option, const StylePlate& plate);
/// Names the plate's files, and the plate of a fixture that stands.
std::string stem_of(const BedOption& option, const StylePlate& plate);

/// Of every plate.
struct BlankSize {
  Mm width, depth;
};
BlankSize blank_size(const PlanInputs& in);

struct BuildPrices {
  /// Plates that are not there yet, each with its material and its setting up; what a second bed takes besides.
  Money beds;
  PerSide<Money> hole;  ///< of a probe on this side: its plates drilled, its receptacle pressed in, its wire put in
  Money rework;         ///< on top, in a fixture that stands
  Money rewire;         ///< of a hole that stands: its wire taken off, another put in
};
BuildPrices build_prices(const PlanInputs& in, const BedOption& option);

}  // namespace teasel
