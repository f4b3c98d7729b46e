// What was measured on a fixture, carried from one verify.csv to the next.
#pragma once
#include <cstddef>
#include <optional>
#include <string>
#include <string_view>

namespace teasel {

struct CarriedMeasurements {
  std::string verify;        ///< the new table with what was measured
  std::string earlier;       ///< filled rows whose step the new plan has no more, as a table; empty: none
  std::size_t carried = 0;   ///< steps that keep what was measured
  std::size_t gone = 0;      ///< filled rows in `earlier`
  std::size_t failed = 0;    ///< of those carried: the column for it says that they did not pass
  std::size_t open = 0;      ///< steps of the new plan that nobody measured yet
  std::string first_failed;  ///< "step 12: B003 to A17"
};

/// Steps are the same where stage, check, probe, net, pin, counterpart, limit and unit are. A carried row names the
/// plan on which it was measured. `earlier`: the rows put aside before, which come back where the plan has their step
/// again. Nothing where the old tables cannot be read as such.
std::optional<CarriedMeasurements> carry_measurements(const std::string& verify, const std::string& old_verify,
                                                      const std::string& old_earlier);

/// True where a cell for what was measured is filled in.
bool holds_measurements(const std::string& verify);

}  // namespace teasel
