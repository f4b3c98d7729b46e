// From the pin of a debugger or programmer to the probe: what a wireman and a test engineer need to make the adapter.
#pragma once
#include <string>

#include "teasel/report.h"

namespace teasel {

/// One row a pin of each published connector, and one a line of interfaces that have none.
std::string adapters_csv(const Outcome& outcome);
/// The same as a sheet, with a drawing of each connector as its mating face shows it.
std::string adapters_html(const Outcome& outcome);

}  // namespace teasel
