// What can a probe touch, and if not, why not.
#pragma once
#include <string>
#include <vector>

#include "teasel/board.h"
#include "teasel/geometry.h"
#include "teasel/job.h"

namespace teasel {

/// Covariance of the position error of a probe tip against its target, mm^2, board frame.
struct Covariance {
  double xx{}, xy{}, yy{};
  [[nodiscard]] double largest_sigma() const;
};

/// Probability that a bivariate normal about `aim` falls outside `area` (polygons with holes).
/// Boundary form: each edge, seen from the aim after whitening, contributes a difference of Owen's T functions.
/// Works on the miss itself, so that small values keep their relative accuracy (better than 1e-3 down to 1e-12).
/// Source: D. B. Owen, "Tables for computing bivariate normal probabilities", Ann. Math. Statist. 27 (1956).
double miss_probability(const Polygons& area, Point aim, const Covariance& c);

/// Error budget of one probe (DESIGN: frozen at the build, new with each board, new with each touch).
/// `main_side`: the side whose plate carries the tooling pins; the other plate adds its own shift.
/// What was measured on the bench adds its own error.
Covariance position_error(const Board& board, const Rules& rules, const ProbeClass& probe, const Exposure& exposure, bool main_side);

enum class Reason : std::uint8_t {
  mask_closed, no_copper, land_too_small, hole_too_wide, body, tall_body, under_body, other_conductor, board_edge, tooling_hole, keep_out, banned, odds_too_low
};
const char* to_string(Reason reason);

/// One rule a target fails, with both numbers.
struct Shortfall {
  Reason reason{};
  bool blocking = false;  ///< false: a preferred value is missed
  double measured{}, required{};
  const char* unit = "mm";
  std::string obstacle;   ///< "body of U7", "net GND at R3-1"
  int component = -1;     ///< the body in the way, if it is one
};

/// Which price of the catalogue of targets applies, best first.
enum class TargetKind : std::uint8_t { test_pad, lead, via, smd_pad };

struct Target {
  int exposure = -1, feature = -1;
  Side side{};
  TargetKind kind{};
};

struct Verdict {
  std::vector<Shortfall> shortfalls;  ///< all of them, blocking ones first
  double miss = 1;                    ///< chance that one touch misses; 1 where blocked before it was worked out
  bool open = false;
};

struct Access {
  std::vector<Target> targets;        ///< by feature, then side
  std::size_t classes = 0;
  std::vector<Verdict> verdicts;      ///< [target][class][0 = main side, 1 = other side]
  [[nodiscard]] const Verdict& verdict(std::size_t target, std::size_t probe_class, bool main_side) const {
    return verdicts[(target * classes + probe_class) * 2 + (main_side ? 0 : 1)];
  }
};

/// Judges every exposed land for every class, as if its side were the main one and as if it were not.
/// Clearances run from the pad edge for preferred values and from the aim point for least values.
/// Any thread count gives the same result. The board must have passed assemble() without error.
Access judge(const Board& board, const Job& job, const Catalogue& catalogue, const Rules& rules);

/// Tip style for a target (common practice): flat plated pads, open holes, leads, soldered pads, bare contacts.
std::string tip_for(const Board& board, const Target& target);

/// A body's assumption and what hangs on it.
struct Assumption {
  int component = -1;
  std::string what;   ///< "height 2.5 mm assumed", "side top assumed"
};
/// Components whose assumed height or side decides whether a probe of this class may stand here: were they taller than
/// `tall_height`, or on the other side, the target would be blocked. Ordered by component.
std::vector<Assumption> depends_on(const Board& board, const Rules& rules, const ProbeClass& probe, const Target& target, const Covariance& error);

}  // namespace teasel
