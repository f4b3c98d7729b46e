// Aperture macros: turns a template and its parameters into one area.
#pragma once
#include <string>
#include <vector>

#include "teasel/geometry.h"

namespace teasel::formats {

/// Evaluates a macro body (its statements without the final `*`) for the given parameters.
/// `unit` converts file units to millimetres. Throws std::runtime_error with a message about the statement at fault.
Polygons evaluate_macro(const std::vector<std::string>& statements, const std::vector<double>& parameters, double unit);

}  // namespace teasel::formats
