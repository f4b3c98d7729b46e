// What the readers of tables share.
#pragma once
#include <initializer_list>
#include <optional>
#include <string>
#include <string_view>

#include "teasel/formats/tables.h"
#include "teasel/formats/workbook.h"

namespace teasel::formats {

/// The first sheet of a workbook that looks like a table of this kind, as text; where none does, the first of all. A
/// warning where several do.
std::string sheet_like(std::string_view workbook, const std::string& name, bool (*looks_like)(std::string_view),
                       Diagnostics& diagnostics);
/// The same, read.
template <class T>
T read_sheet(std::string_view workbook, const std::string& name, bool (*looks_like)(std::string_view),
             T (*read)(std::string_view, const std::string&, Diagnostics&), Diagnostics& diagnostics) {
  const std::string text = sheet_like(workbook, name, looks_like, diagnostics);
  return diagnostics.failed() ? T{} : read(text, name, diagnostics);
}

using Keys = std::initializer_list<std::string_view>;
// Headers of columns that several kinds of tables have, by their keys in the order of preference.
inline const Keys kXKeys = {"midx",      "centerx",   "posx",      "positionx",   "x",           "symx",
                            "xcoord",    "locationx", "refx",      "padx",        "xmm",         "xmil",
                            "xinch",     "xpos",      "posxmm",    "xposition",   "xcoordinate", "xcenter",
                            "centerxmm", "midxmm",    "xlocation", "xkoordinate", "mittex"};
inline const Keys kYKeys = {"midy",      "centery",   "posy",      "positiony",   "y",           "symy",
                            "ycoord",    "locationy", "refy",      "pady",        "ymm",         "ymil",
                            "yinch",     "ypos",      "posymm",    "yposition",   "ycoordinate", "ycenter",
                            "centerymm", "midymm",    "ylocation", "ykoordinate", "mittey"};
inline const Keys kSideKeys = {
    "side", "layer", "tb", "topbottom", "boardside", "seite", "lage", "bestckungsseite", "bestueckungsseite"};

/// What a cell says of the side: one of the two, nothing, or something that is not understood.
struct SideCell {
  std::optional<Side> side;
  bool understood = true;
};
SideCell side_in(std::string_view text, bool mirror_column);
/// The word behind "Unit = ", "Units used: ", "Einheit: " and the like; empty where a line says nothing of the kind.
std::string_view stated_unit(std::string_view line);

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
