// Along the probe's axis: does its spring work inside its window on this target? Lengths mm.
#pragma once
#include <string>
#include <vector>

#include "teasel/job.h"

namespace teasel {

/// What a tip comes to rest on.
enum class Contact : std::uint8_t { flat, soldered, lead, open_hole };
const char* to_string(Contact contact);

struct StrokePart {
  std::string name;
  double tolerance{};  ///< +-, three standard deviations
};
/// Compression of the probe when the fixture is closed.
struct Stroke {
  double nominal{}, tolerance{};
  std::vector<StrokePart> parts;
  [[nodiscard]] double shortest() const { return nominal - tolerance; }
  [[nodiscard]] double longest() const { return nominal + tolerance; }
};

/// A stack of independent tolerances: the root of the sum of squares, or their sum.
double stacked(const std::vector<double>& tolerances, bool worst_case);
/// How far a pointed head sinks below the board face before its cone meets the hole's rim: (d / 2) / tan(angle / 2).
double spear_depth(double hole, Degrees included_angle);
/// Working travel, and what the target adds: solder and leads stand up (+), a pointed head sinks into a hole (-).
/// The thickness of the board counts for the plate that meets it last: there the face lies where the board ends.
Stroke stroke_on(const Rules& rules, const ProbeClass& probe, Contact contact, double hole, double protrusion,
                 double thickness, bool main_side);

/// Depth that two pointed heads from both sides need in one hole, against the board's thickness: they meet if
/// `clearance` is negative.
double clearance_in_hole(const Rules& rules, const ProbeClass& a, const ProbeClass& b, double hole, double thickness);

}  // namespace teasel
