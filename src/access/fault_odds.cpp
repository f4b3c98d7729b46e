#include <boost/math/distributions/beta.hpp>
#include <cmath>

#include "teasel/access/bed.h"

namespace teasel {

FaultOdds fault_odds(Chance by_rules, std::size_t probes, const JobHistory& history) {
  FaultOdds out;
  out.counted = history.touches > 0;
  if (!(by_rules.v > 0) || by_rules.v >= 1 || probes == 0) {
    out.likely = out.low = out.high = by_rules.v;
    return out;
  }
  const double count = static_cast<double>(probes), single = -std::expm1(std::log1p(-by_rules.v) / count);
  const double faults = std::min(history.faults, history.touches);
  const boost::math::beta_distribution<double> chance(1 + faults, 1 / single - 1 + history.touches - faults);
  // Of all probes at once, each with its share.
  const auto of_bed = [&](double of_one) { return -std::expm1(count * std::log1p(-of_one)); };
  out.likely = of_bed(boost::math::mean(chance));
  out.low = of_bed(boost::math::quantile(chance, 0.025));
  out.high = of_bed(boost::math::quantile(chance, 0.975));
  return out;
}

}  // namespace teasel
