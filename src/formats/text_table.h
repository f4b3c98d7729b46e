// What the readers of tables share.
#pragma once
#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>

#include "teasel/formats/tables.h"

namespace teasel::formats {

/// False, with an error, if a quote in the table is never closed: everything behind it would be swallowed.
/// `strict`: also if a row has more fields than the header, as a number with a comma in it makes.
bool whole(const TextTable& t, Diagnostics& d, bool strict = false);
/// Millimetres of one unit by the bracket of a header ("Height (mil)"); nothing if there is none. An unknown one is an
/// error.
std::optional<double> header_unit(const TextTable& t, int column, Diagnostics& d);
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
