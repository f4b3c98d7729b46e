// What became of the test points that the designer marked.
#pragma once
#include <optional>
#include <string>
#include <vector>

#include "teasel/coverage.h"

namespace teasel {

enum class TestPointFate : std::uint8_t {
  probed,
  lost,         ///< probed, but the board bends away from the probe
  other_point,  ///< the net has what it wants at other points
  not_needed,   ///< nothing is wanted of its net
  not_used,     ///< open, and the net lacks a probe all the same
  other_side,   ///< open on the side alone on which this plan has no probes
  refused       ///< a rule closes it for every class
};
const char* to_string(TestPointFate fate);

/// The rule that lacks least of those that refuse a test point.
struct Refusal {
  ClassId probe_class;  ///< that comes closest; none: it holds for every class
  Shortfall shortfall;
  std::size_t more = 0;  ///< further rules that this class fails there
  std::string to_open;   ///< "U3 0.012 mm further away"
};
struct TestPoint {
  FeatureId feature;
  Side side{};
  BoardPoint at;
  Mm diameter;  ///< of the largest circle about it inside the metal; 0: no metal is bare
  TestPointFate fate{};
  ProbeId probe;                   ///< that stands on it
  std::vector<ProbeId> elsewhere;  ///< other probes of its net
  std::optional<Refusal> refusal;  ///< also of one whose net is probed elsewhere
};

/// One row for each marked feature of a net, by feature. `lost`: probes that do not touch when the bed is pressed.
std::vector<TestPoint> test_points(const Planned& in, const Coverage& coverage, const std::vector<ProbeId>& lost);

}  // namespace teasel
