// What the readers of tables share.
#pragma once
#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>

#include "teasel/formats/tables.h"

namespace teasel::formats {

/// False, with an error, if a quote in the table is never closed, which would swallow everything behind it. With
/// `strict` also if a row has more fields than the header, as a number with a comma in it causes.
bool whole(const TextTable& table, Diagnostics& diagnostics, bool strict = false);
/// Millimetres of the unit in the bracket of a header ("Height (mil)"); nothing if there is no bracket. An unknown unit
/// is an error.
std::optional<double> header_unit(const TextTable& table, int column, Diagnostics& diagnostics);
/// The column of the first of these names (keys) that the header holds; -1 if it holds none.
int find_column(const TextTable& table, std::initializer_list<std::string_view> names);
std::string cell(const TextTable& table, std::size_t row, int column);
/// Millimetres of a unit by its name.
std::optional<double> unit_scale(std::string_view unit);
/// The length in a cell such as "61.8mm", "1234.5" or "12,5" (only where the comma cannot separate fields).
std::optional<double> length_cell(std::string text, char separator, double scale);
/// Whether a part is fitted, by a cell such as "yes", "DNP" or "x". With `inverted` the column marks what is not
/// fitted.
std::optional<bool> fitted_cell(std::string_view text, bool inverted);

}  // namespace teasel::formats
