// What the layout engineer could change so that a need gets its probe.
#pragma once
#include <string>
#include <vector>

#include "teasel/coverage.h"
#include "teasel/interfaces/boundary_scan.h"

namespace teasel {

enum class AdviceKind : std::uint8_t { relax_rule, use_side, open_mask, add_pad, move_part, leave_out };
const char* to_string(AdviceKind kind);

struct Advice {
  NeedId need;
  AdviceKind kind{};
  std::string action;  ///< in words, with numbers
  Side side{};
  BoardPoint at;        ///< where the probe would land
  Mm free_diameter;     ///< of the largest empty circle about it (pads; curved copper counts up to 0.004 mm
                        ///< thicker), of the metal (others); mm; 0: does not apply
  Mm distance;          ///< from the net's own copper; mm
  ClassId probe_class;  ///< the largest that would fit
  Money gain;           ///< money units of the plan's objective that the probe would save, at most
  Money price;          ///< of the change, by the rule file: the order of the list
};

/// For each need not served in full (nets that boundary scan tests left aside), the cheapest change first. Places for
/// pads keep clear of copper, bodies, holes, edges, placed probes and the pads advised before them; every pad and mask
/// opening named was judged as if it were there. On a panel no places for pads are worked out: the copper is that of
/// one board.
std::vector<Advice> advise(const Planned& in, const Coverage& coverage);

}  // namespace teasel
