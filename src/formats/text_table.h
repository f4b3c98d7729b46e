// What the readers of tables share.
#pragma once
#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>

#include "teasel/formats/tables.h"

namespace teasel::formats {

/// Column of the first of these names (keys) that the header holds; -1 if none.
int find_column(const TextTable& t, std::initializer_list<std::string_view> names);
std::string cell(const TextTable& t, std::size_t row, int column);
/// Millimetres of one unit by its name.
std::optional<double> unit_scale(std::string_view unit);
/// "61.8mm", "1234.5", "12,5" (only where the comma cannot separate fields).
std::optional<double> length_cell(std::string text, char separator, double scale);
/// "yes", "DNP", "x", ...: whether the part is fitted. `inverted`: the column marks what is not.
std::optional<bool> fitted_cell(std::string_view text, bool inverted);

}  // namespace teasel::formats
