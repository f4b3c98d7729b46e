#include "teasel/formats/tables.h"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <initializer_list>
#include <map>

#include "teasel/formats/gerber.h"
#include "teasel/units.h"
#include "text.h"
#include "text_table.h"

namespace teasel::formats {

namespace {
const std::vector<std::string> kPlacementNames = {
    "ref",         "refdes",    "reference", "designator", "partdesignator",
    "component",   "compname",  "refid",     "posx",       "positionx",
    "midx",        "centerx",   "xcoord",    "x",          "symx",
    "locationx",   "posy",      "positiony", "midy",       "centery",
    "ycoord",      "y",         "symy",      "locationy",  "refx",
    "refy",        "padx",      "pady",      "dnp",        "fitted",
    "populate",    "mounted",   "rot",       "rotation",   "angle",
    "orientation", "symrotate", "theta",     "side",       "layer",
    "tb",          "topbottom", "mirror",    "boardside",  "symmirror"};

/// What a cell says of the side: one of the two, nothing, or something that is not understood.
struct SideCell {
  std::optional<Side> side;
  bool understood = true;
};
SideCell side_in(std::string_view text, bool mirror_column) {
  const std::string word = header_key(text);
  if (mirror_column) {
    for (const char* yes : {"yes", "y", "m", "true", "1", "mirrored", "mirror", "bottom"})
      if (word == yes) return {Side::bottom};
    for (const char* no : {"no", "n", "false", "0", "none", "top", ""})
      if (word == no) return {Side::top};
    return {{}, false};
  }
  for (const char* top :
       {"top", "t", "toplayer", "topside", "f", "fcu", "front", "componentside", "primary", "primaryside"})
    if (word == top) return {Side::top};
  for (const char* bottom : {"bottom", "b", "bot", "bottomlayer", "bottomside", "bcu", "back", "solder", "solderside",
                             "secondary", "secondaryside"})
    if (word == bottom) return {Side::bottom};
  return {{}, word.empty()};
}

/// The side that the file's name states. It counts where no column tells, and the pads prove or refute it.
std::optional<Side> side_of_name(const std::string& name) {
  std::string low = name.substr(name.rfind('/') + 1);
  for (char& letter : low) letter = static_cast<char>(std::tolower(static_cast<unsigned char>(letter)));
  const bool bottom = low.find("bottom") != low.npos || low.find("-bot.") != low.npos ||
                      low.find("_bot.") != low.npos || low.ends_with(".mnb");
  const bool top = low.find("-top") != low.npos || low.find("_top") != low.npos || low.find(".top") != low.npos ||
                   low.ends_with(".mnt");
  if (top == bottom) return std::nullopt;
  return bottom ? Side::bottom : Side::top;
}
}  // namespace

namespace {
/// A table without a header holds reference, x, y and rotation in that order, then text. Nine lines of ten must do so.
std::optional<TextTable> headerless(std::string_view bytes, const std::string& name) {
  TextTable table;
  table.name = name;
  table.separator = ' ';
  table.header = {"Ref", "X", "Y", "Rot", "Package"};
  std::uint32_t line = 0;
  std::size_t others = 0;
  while (!bytes.empty() && table.rows.size() < 2'000'000) {
    const std::string_view text = trim(next_line(bytes));
    ++line;
    if (text.empty()) continue;
    std::vector<std::string> words;
    for (std::string_view part : split(text, text.find('\t') != text.npos ? '\t' : ' '))
      if (!trim(part).empty()) words.emplace_back(trim(part));
    double value{};
    const bool row =
        words.size() >= 4 && words[0].size() <= 12 && std::isalpha(static_cast<unsigned char>(words[0][0])) &&
        std::any_of(words[0].begin(), words[0].end(), [](unsigned char letter) { return std::isdigit(letter); }) &&
        number(words[1], value) && number(words[2], value) && number(words[3], value) && value >= -360 && value <= 360;
    if (!row) {
      if (table.rows.empty())
        table.preamble.emplace_back(text);
      else
        ++others;
      if (others > 5 + table.rows.size() / 9 || table.preamble.size() > 60) return std::nullopt;
      continue;
    }
    for (std::size_t i = 5; i < words.size(); ++i) words[4] += " " + words[i];
    words.resize(5);
    table.rows.push_back(std::move(words));
    table.lines.push_back(line);
  }
  if (table.rows.size() < 5 || others * 9 > table.rows.size()) return std::nullopt;
  return table;
}
}  // namespace

bool looks_like_placement(std::string_view bytes) {
  if (headerless(bytes.substr(0, bytes.size() > 20'000 ? bytes.substr(0, 20'000).rfind('\n') : bytes.size()), ""))
    return true;
  auto table = read_table(bytes.substr(0, 20'000), "", kPlacementNames, 4);
  return table && find_column(*table, {"designator", "refdes", "reference", "ref", "component", "refid"}) >= 0 &&
         find_column(*table, {"midx", "centerx", "posx", "positionx", "x", "symx", "xcoord", "locationx", "refx",
                              "padx"}) >= 0 &&
         !table->rows.empty();
}

Placement read_placement(std::string_view bytes, const std::string& name, Diagnostics& diagnostics) {
  if (looks_like_gerber(bytes)) {
    const GerberFile layer = read_gerber(bytes, name, diagnostics);
    return diagnostics.failed() ? Placement{} : placement_of_gerber(layer, diagnostics);
  }
  Placement placement;
  placement.name = name;
  auto table = read_table(bytes, name, kPlacementNames, 4);
  if (!table && (table = headerless(bytes, name)))
    diagnostics.note({.code = "placement-headerless",
                      .at = {name, 0, 0, {}},
                      .message = "the table has no header: its columns are read as reference, x, y, rotation",
                      .found = std::to_string(table->rows.size()) + " rows",
                      .remedy = "add a header row to overrule"});
  if (!table) {
    diagnostics.error({.code = "placement-no-header",
                       .at = {name, 1, 0, {}},
                       .message = "no header row with component, x, y, rotation or side was found",
                       .expected = "a header such as  Ref,Val,Package,PosX,PosY,Rot,Side",
                       .remedy = "add a header row"});
    return placement;
  }
  const TextTable& list = *table;
  const int ref = find_column(
      list, {"designator", "refdes", "reference", "ref", "component", "refid", "partdesignator", "compname"});
  const int x =
      find_column(list, {"midx", "centerx", "posx", "positionx", "x", "symx", "xcoord", "locationx", "refx", "padx"});
  const int y =
      find_column(list, {"midy", "centery", "posy", "positiony", "y", "symy", "ycoord", "locationy", "refy", "pady"});
  const int rot = find_column(list, {"rotation", "rot", "angle", "orientation", "symrotate", "theta"});
  const int side = find_column(list, {"side", "layer", "tb", "topbottom", "boardside"});
  const int mirror = find_column(list, {"mirror", "symmirror"});
  const int height = find_column(list, {"height", "heightmm", "symheight"});
  const int dnp = find_column(list, {"dnp", "dnf", "dni"}),
            fitted = find_column(list, {"fitted", "populate", "mounted"});
  const int value = find_column(list, {"value", "val", "comment"}),
            package = find_column(list, {"package", "footprint", "pattern", "symname"});
  if (ref < 0 || x < 0 || y < 0) {
    diagnostics.error({.code = "placement-no-header",
                       .at = {name, 1, 0, {}},
                       .message = "the header lacks a component, x or y column",
                       .remedy = "name the columns"});
    return placement;
  }
  double scale = 1;
  auto settle = [&](std::string_view unit, const std::string& evidence) {
    if (auto known = unit_scale(unit); known && !placement.has_unit) {
      scale = *known;
      placement.has_unit = true;
      placement.unit_evidence = evidence;
    }
  };
  const std::string& head = list.header[static_cast<std::size_t>(x)];
  if (const std::size_t at = head.find_first_of("(["); at != head.npos)
    settle(head.substr(at + 1), "column header '" + head + "'");
  for (const auto& text : list.preamble)
    for (std::string_view key : {"Unit =", "Unit:", "Units used:", "Units:", "UNITS =", "UUNITS ="})
      if (const std::size_t at = text.find(key); at != text.npos) {
        std::string_view unit = trim(std::string_view(text).substr(at + key.size()));
        settle(unit.substr(0, unit.find_first_of(", ;")), "'" + text.substr(0, 60) + "'");
      }
  if (!whole(list, diagnostics)) return placement;
  const double y_scale = header_unit(list, y, diagnostics).value_or(0),
               height_scale = header_unit(list, height, diagnostics).value_or(0);
  std::optional<Side> file_side;
  for (const auto& text : list.preamble)
    if (const std::size_t at = text.find("## Side :"); at != text.npos)
      file_side = side_in(trim(std::string_view(text).substr(at + 9)), false).side;
  if (!file_side && side < 0 && mirror < 0) {
    file_side = side_of_name(name);
    if (file_side)
      diagnostics.note({.code = "placement-side-by-name",
                        .at = {name, 0, 0, {}},
                        .message = std::string("no column tells the side of parts; by its name the table is of the ") +
                                   to_string(*file_side),
                        .remedy = "overrule in  [components] side"});
  }
  int complaints = 0;
  std::size_t odd_sides = 0;
  std::string odd;
  std::uint32_t odd_line = 0;
  for (std::size_t i = 0; i < list.rows.size(); ++i) {
    PlacementRow row;
    row.component = cell(list, i, ref);
    if (row.component.empty()) continue;
    const std::string x_text = cell(list, i, x), y_text = cell(list, i, y);
    auto x_value = length_cell(x_text, list.separator, scale),
         y_value = length_cell(y_text, list.separator, y_scale > 0 ? y_scale : scale);
    if (!x_value || !y_value) {
      if (complaints++ < 5)
        diagnostics.error({.code = "placement-bad-number",
                           .at = {name, list.lines[i], 0, {}},
                           .message = "a position cannot be read",
                           .found = x_text + " , " + y_text,
                           .remedy = "correct the line"});
      continue;
    }
    if (!placement.has_unit && x_text.find_first_not_of("+-.,0123456789eE ") != x_text.npos) {
      placement.has_unit = true;
      placement.unit_evidence = "unit on each value";
    }
    row.x = *x_value;
    row.y = *y_value;
    row.line = list.lines[i];
    if (auto angle = length_cell(cell(list, i, rot), list.separator, 1.0)) row.rotation = Degrees{*angle};
    row.side = file_side;
    if (const int column = side >= 0 ? side : mirror; column >= 0) {
      const SideCell said = side_in(cell(list, i, column), column != side);
      row.side = said.side;
      if (!said.understood && odd_sides++ == 0) {
        odd = cell(list, i, column);
        odd_line = list.lines[i];
      }
    }
    row.value = cell(list, i, value);
    row.package = cell(list, i, package);
    // A height without a unit has the unit of the places. Where these have none, the height is not believed.
    if (auto height_read = length_cell(cell(list, i, height), list.separator, height_scale > 0 ? height_scale : scale);
        height_read && *height_read > 0 && (height_scale > 0 || placement.has_unit))
      row.height = Mm{*height_read};
    if (dnp >= 0)
      row.fitted = fitted_cell(cell(list, i, dnp), true).value_or(true);
    else if (fitted >= 0)
      row.fitted = fitted_cell(cell(list, i, fitted), false);
    placement.rows.push_back(std::move(row));
  }
  if (odd_sides)
    diagnostics.warn({.code = "placement-side",
                      .at = {name, odd_line, 0, {}},
                      .message = "the side of parts is not understood; it follows their pads",
                      .found = std::to_string(odd_sides) + " rows, first '" + odd + "'",
                      .remedy = "top or bottom"});
  return placement;
}

namespace {
const std::vector<std::string> kHeightNames = {"component", "refdes", "designator", "ref", "heightmm", "height"};
}  // namespace

bool looks_like_heights(std::string_view bytes) {
  auto table = read_table(bytes.substr(0, 20'000), "", kHeightNames, 2);
  return table && find_column(*table, {"heightmm", "height"}) >= 0 &&
         find_column(*table, {"component", "refdes", "designator", "ref"}) >= 0 &&
         find_column(*table, {"x", "xmm", "midx", "posx", "centerx"}) < 0;
}

std::vector<HeightRow> read_heights(std::string_view bytes, const std::string& name, Diagnostics& diagnostics) {
  std::vector<HeightRow> rows;
  auto table = read_table(bytes, name, kHeightNames, 2);
  if (!table) {
    diagnostics.error({.code = "heights-no-header",
                       .at = {name, 1, 0, {}},
                       .message = "no header row with component and height_mm",
                       .expected = "component,height_mm",
                       .remedy = "add the header row"});
    return rows;
  }
  const int ref = find_column(*table, {"component", "refdes", "designator", "ref"}),
            height = find_column(*table, {"heightmm", "height"});
  if (!whole(*table, diagnostics, true)) return rows;
  const double scale = header_unit(*table, height, diagnostics).value_or(1.0);
  for (std::size_t i = 0; i < table->rows.size(); ++i) {
    auto value = length_cell(cell(*table, i, height), table->separator, scale);
    if (!value || *value < 0 || *value > 300) {
      diagnostics.error({.code = "heights-bad-number",
                         .at = {name, table->lines[i], 0, {}},
                         .message = "a height cannot be read",
                         .found = cell(*table, i, height),
                         .expected = "0 to 300 mm",
                         .remedy = "correct the line"});
      continue;
    }
    rows.push_back({cell(*table, i, ref), Mm{*value}, table->lines[i]});
  }
  return rows;
}

}  // namespace teasel::formats
