// Mistakes that the types refuse. Compiled once as it is, which must go through, and once for each MISUSE, which must
// not.
#include "teasel/access/travel.h"
#include "teasel/board.h"
#include "teasel/fixture.h"
#include "teasel/written.h"

using namespace teasel;

namespace {
void moved_pin(BoardPoint) {}
void drilled_at(PlatePoint) {}
[[maybe_unused]] void needs_mm(Mm) {}
[[maybe_unused]] void needs_cell(const Csv::Text&) {}

[[maybe_unused]] void right(const Rules& rules, const ProbeClass& probe, const Board& board, const Access& access,
                            const Kit& kit, const Planned& in, Diagnostics& diagnostics) {
  const HoleDiameter hole{Mm{0.8}};
  const Protrusion protrusion{Mm{1.2}};
  const BoardThickness thickness{board.thickness};
  (void)stroke_on(rules, probe, Contact::lead, hole, protrusion, thickness, true);
  const TargetId target{std::size_t{0}};
  const FeatureId feature = access.targets[target].feature;
  (void)board.nets[board.features[feature].net];
  (void)access.spots[access.targets[target].first_spot];
  moved_pin(inverse(board_to_kit(in))(kit.board_at));
  const Map<KitFrame, PlateFrame> blank;
  drilled_at(blank(kit.holes[0].at));
  needs_mm(Mm{0.1} + Mm{0.2});
  (void)other(Side::top);
  needs_cell(Csv::cell(board.name));
  diagnostics.error({.code = "made-up", .at = {}, .message = "m", .expected = "e", .remedy = "r"});
#if MISUSE == 1  // hole, protrusion and thickness exchanged
  (void)stroke_on(rules, probe, Contact::lead, protrusion, thickness, hole, true);
#elif MISUSE == 2   // a target is no net
  (void)board.nets[target];
#elif MISUSE == 3   // a target is no spot
  (void)access.spots[target];
#elif MISUSE == 4   // a place in the kit's frame is no place on the board
  moved_pin(kit.board_at);
#elif MISUSE == 5   // nor one on a plate
  drilled_at(kit.holes[0].at);
#elif MISUSE == 6   // a chance is no length
  needs_mm(access.verdicts[0].miss);
#elif MISUSE == 7   // an area is no length
  needs_mm(Mm2{0.5});
#elif MISUSE == 8   // a number is no side
  (void)other(1);
#elif MISUSE == 9   // a remedy in the place of what was expected
  diagnostics.error("made-up", {}, "m", "f", "r");
#elif MISUSE == 10  // the product of two lengths is no length
  needs_mm(Mm{1} * Mm{2});
#elif MISUSE == 11  // a bare number is no length
  needs_mm(0.1);
#elif MISUSE == 12  // a part's name is not cut up outside its type
  (void)board.components.front().name.substr(3);
#elif MISUSE == 13  // text from outside is no cell of a list until it was escaped
  needs_cell(board.name);
#elif MISUSE == 14  // nor is what was escaped for another format
  needs_cell(Xml::text(board.name));
#endif
}
}  // namespace
