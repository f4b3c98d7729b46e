// Along the probe's axis: does its spring work inside its window on this target? Lengths mm.
#pragma once
#include <string>
#include <vector>

#include "teasel/job.h"

namespace teasel {

/// What a tip comes to rest on.
enum class Contact : std::uint8_t { flat, soldered, lead, open_hole };
const char* to_string(Contact contact);

/// One term of the chain: what it adds to the compression, and its tolerance.
struct StrokePart {
  std::string name;
  Mm tolerance;  ///< +-, three standard deviations
  Mm adds;
};
/// Compression of the probe when the fixture is closed on a board that does not bend.
struct Stroke {
  Contact contact{};
  Mm nominal, tolerance;
  std::vector<StrokePart> parts;
  [[nodiscard]] Mm shortest() const { return nominal - tolerance; }
  [[nodiscard]] Mm longest() const { return nominal + tolerance; }
};

/// A stack of independent tolerances: the root of the sum of squares, or their sum.
Mm stacked(const std::vector<Mm>& tolerances, bool worst_case);
/// How far a pointed head sinks below the board face before its cone meets the hole's rim: (d / 2) / tan(angle / 2).
Mm spear_depth(HoleDiameter hole, Degrees included_angle);
/// Working travel, and what the target adds: solder and leads stand up (+), a pointed head sinks into a hole (-).
/// The thickness of the board counts for the plate that meets it last: there the face lies where the board ends.
Stroke stroke_on(const Rules& rules, const ProbeClass& probe, Contact contact, HoleDiameter hole, Protrusion protrusion,
                 BoardThickness thickness, bool main_side);

/// "4.24 working travel + 1.00 protrusion of the lead": the terms that add something.
std::string chain_text(const Stroke& stroke);

/// What the board's thickness leaves between two pointed heads that enter one hole from both sides. They meet if it is
/// negative.
Mm clearance_in_hole(const Rules& rules, const ProbeClass& a, const ProbeClass& b, HoleDiameter hole,
                     BoardThickness thickness);

}  // namespace teasel
