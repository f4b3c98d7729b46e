// What a plan is made on, for tests that need only a part of it.
#pragma once
#include "teasel/plan.h"

namespace teasel::testing {

/// Style and prices as shipped. The rest is empty: no interfaces, no kit, no fixture that stands.
inline PlanInputs plan_inputs(const Board& board, const Access& access, const Needs& needs, const Job& job,
                              const Catalogue& catalogue, const Rules& rules) {
  static const InterfaceTable table;
  static const InterfaceSet interfaces;
  static const BoundaryScan scan;
  static const Style style = [] {
    Diagnostics diagnostics;
    return read_style(*shipped("styles", "moving-plate"), "moving-plate", diagnostics);
  }();
  static const Prices prices = [] {
    Diagnostics diagnostics;
    return read_prices(*shipped("prices", "standard"), "standard", diagnostics);
  }();
  static const StandingFixture standing;
  return {.job = job,
          .board = board,
          .interface_table = table,
          .interfaces = interfaces,
          .scan = scan,
          .needs = needs,
          .access = access,
          .catalogue = catalogue,
          .rules = rules,
          .style = style,
          .kit = nullptr,
          .prices = prices,
          .standing = standing};
}

}  // namespace teasel::testing
