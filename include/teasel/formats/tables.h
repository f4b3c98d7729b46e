// Comma-separated and column tables: component placement, component heights, bills of materials.
#pragma once
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "teasel/diagnostics.h"
#include "teasel/geometry.h"
#include "teasel/side.h"
#include "teasel/units.h"

namespace teasel::formats {

/// A table as text: header row, then rows; quotes resolved, byte order mark dropped.
struct TextTable {
  std::string name;
  std::vector<std::string> header;
  std::vector<std::vector<std::string>> rows;
  std::vector<std::uint32_t> lines;   ///< line of each row
  std::vector<std::string> preamble;  ///< lines above the header
  char separator = ',';
  std::uint32_t long_row = 0;    ///< line of the first row with more filled fields than the header; 0 = none
  std::uint32_t open_quote = 0;  ///< line of a quote that never ends, or only far below; 0 = none
};
/// Splits a table whose header row holds at least `required` of the `known` names (lower case, letters and digits
/// only).
std::optional<TextTable> read_table(std::string_view bytes, const std::string& name,
                                    const std::vector<std::string>& known, std::size_t required);
std::string header_key(std::string_view text);  ///< lower case, letters and digits only

struct PlacementRow {
  std::string component, value, package;
  double x{}, y{};             ///< as written; millimetres if `has_unit`
  Degrees rotation;            ///< as written
  std::optional<Side> side;    ///< absent: not stated
  std::optional<Mm> height;    ///< over the board face, where the file gives it
  std::optional<bool> fitted;  ///< where the table has a column for it
  std::uint32_t line{};
};
struct Placement {
  std::string name;
  bool has_unit = false;  ///< a unit stands in the file; x and y are then in millimetres
  std::string unit_evidence;
  std::vector<PlacementRow> rows;
};
struct GerberFile;
/// Component layers (Gerber X3) are placements: .C, .CRot, .CVal, .CFtp, .CHgt on flashes of the function
/// ComponentMain. Source: Gerber Layer Format Specification 2023.08, component information.
bool is_component_layer(const GerberFile& file);
Placement placement_of_gerber(const GerberFile& file, Diagnostics& diagnostics);
bool looks_like_placement(std::string_view bytes);
/// Reads a table, or a Gerber component layer.
Placement read_placement(std::string_view bytes, const std::string& name, Diagnostics& diagnostics);

struct HeightRow {
  std::string component;
  Mm height;  ///< over the board face
  std::uint32_t line{};
};
/// Columns `component,height_mm` (or `refdes`, `height`).
bool looks_like_heights(std::string_view bytes);
std::vector<HeightRow> read_heights(std::string_view bytes, const std::string& name, Diagnostics& diagnostics);

/// A bill of materials. A row lists one reference or many ("R1, R2, R5-R9"). Whether they are fitted stands in a column
/// of its own (fitted, populate, DNP, ...), in one column for each build variant, or not at all.
struct BomRow {
  std::string component, value;
  std::vector<std::optional<bool>> fitted;  ///< by variant; one where there are none; absent: the cell says nothing
  std::uint32_t line{};
};
struct BomTable {
  std::string name;
  std::vector<std::string> variants;  ///< column headers; empty: one column without variants
  std::string fitted_column;          ///< its header, or empty: every part that is listed is fitted
  std::vector<BomRow> rows;
};
bool looks_like_bom(std::string_view bytes);
BomTable read_bom(std::string_view bytes, const std::string& name, Diagnostics& diagnostics);

/// What tables hold of which a job says no more than their file.
struct LoneTables {
  std::vector<HeightRow> heights;
};

}  // namespace teasel::formats
