// How deep and how wide a pocket is.
#include <algorithm>

#include "teasel/job.h"
#include "teasel/job/shop.h"

namespace teasel {

Mm pocket_depth(const Style& style, Mm at_work, Mm height) {
  return Mm{std::max(0.0, height.v + style.pocket_over.v - at_work.v - 1e-9)};
}

Mm pocket_growth(const Rules& rules, const Style& style) {
  return std::max(rules.pocket_clearance, style.cutter / 2);
}

}  // namespace teasel
