// What a shop builds with, as far as it decides where a board can be held and touched.
#pragma once
#include "teasel/units.h"

namespace teasel {

struct Catalogue;
struct Rules;
struct Style;
struct Kit;

/// Null: not known, and nothing is kept clear for it.
struct Shop {
  const Catalogue* catalogue = nullptr;
  const Style* style = nullptr;
  const Kit* kit = nullptr;
};

/// Depth of the pocket in a plate, at its working distance, over something of this height on the board; 0: it clears
/// the plate.
Mm pocket_depth(const Style& style, Mm at_work, Mm height);
/// Margin of a pocket around its body: at least the cutter's radius, which then can follow every corner.
Mm pocket_growth(const Rules& rules, const Style& style);

}  // namespace teasel
