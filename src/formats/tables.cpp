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
// The columns of a placement table, by the keys of their headers in the order of preference. Letters beyond ASCII are
// not part of a key: "Gehäuse" is "gehuse".
const Keys kReference = {"designator", "refdes",         "reference", "ref",           "component",
                         "refid",      "partdesignator", "compname",  "refdesignator", "bauteil",
                         "bezeichner", "referenz",       "komponente"};
const Keys kRotation = {"rotation",    "rot",     "angle",      "orientation", "symrotate",   "theta",
                        "rotationdeg", "drehung", "drehwinkel", "winkel",      "orientierung"};
const Keys kMirror = {"mirror", "symmirror"};
const Keys kNotFitted = {"dnp", "dnf", "dni"};
const Keys kFitted = {"fitted", "populate", "mounted"};
const Keys kValue = {"value", "val", "comment", "wert"};
const Keys kPackage = {"package", "footprint", "pattern", "symname", "gehuse", "gehaeuse", "bauform"};

/// What a header of such a table holds: its values and packages stand in other tables as well, and do not count.
const std::vector<std::string>& placement_names() {
  static const std::vector<std::string> names = [] {
    std::vector<std::string> all;
    for (const Keys& keys : {kReference, kXKeys, kYKeys, kRotation, kSideKeys, kMirror, kNotFitted, kFitted})
      all.insert(all.end(), keys.begin(), keys.end());
    return all;
  }();
  return names;
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
char separator_of(std::string_view line) {
  for (const char separator : {'\t', ';', ','})
    if (line.find(separator) != line.npos) return separator;
  return ' ';
}

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
    for (std::string_view part : split(text, separator_of(text)))
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
  auto table = read_table(bytes.substr(0, 20'000), "", placement_names(), 4);
  // A table of pins, pads or probes has their places, and not those of parts.
  return table && find_column(*table, kReference) >= 0 && find_column(*table, kXKeys) >= 0 &&
         find_column(*table, kYKeys) >= 0 && find_column(*table, {"pin", "pad", "net", "netname"}) < 0 &&
         !table->rows.empty();
}

namespace {
/// Reads a placement table whose header was found, row by row.
class PlacementReader {
 public:
  PlacementReader(const TextTable& table, const std::string& name, Diagnostics& diagnostics)
      : table_(table), name_(name), diagnostics_(diagnostics) {
    placement_.name = name;
    ref_ = find_column(table, kReference);
    x_ = find_column(table, kXKeys);
    y_ = find_column(table, kYKeys);
    rotation_ = find_column(table, kRotation);
    side_ = find_column(table, kSideKeys);
    mirror_ = find_column(table, kMirror);
    height_ = find_column(table, {"height", "heightmm", "symheight"});
    not_fitted_ = find_column(table, kNotFitted);
    fitted_ = find_column(table, kFitted);
    value_ = find_column(table, kValue);
    package_ = find_column(table, kPackage);
  }
  Placement run();

 private:
  void settle_unit();
  void settle_side();
  void read_row(std::size_t i);
  std::string at(std::size_t row, int column) const { return cell(table_, row, column); }
  std::optional<double> length(const std::string& text, double scale) const {
    return length_cell(text, table_.separator, scale);
  }

  const TextTable& table_;
  const std::string& name_;
  Diagnostics& diagnostics_;
  Placement placement_;
  int ref_, x_, y_, rotation_, side_, mirror_, height_, not_fitted_, fitted_, value_, package_;
  double scale_ = 1, y_scale_ = 0, height_scale_ = 0;  ///< millimetres of one unit; 0: as that of x
  std::optional<Side> file_side_;                      ///< of all parts, where no column tells
  int complaints_ = 0;
  std::size_t odd_sides_ = 0;
  std::string odd_;  ///< the first side that is not understood
  std::uint32_t odd_line_ = 0;
};

/// The unit stands in the header of the x column, or above the table.
void PlacementReader::settle_unit() {
  auto settle = [&](std::string_view unit, const std::string& evidence) {
    if (auto known = unit_scale(unit); known && !placement_.has_unit) {
      scale_ = *known;
      placement_.has_unit = true;
      placement_.unit_evidence = evidence;
    }
  };
  const std::string& head = table_.header[static_cast<std::size_t>(x_)];
  if (const std::size_t bracket = head.find_first_of("(["); bracket != head.npos)
    settle(head.substr(bracket + 1), "column header '" + head + "'");
  for (const char* unit : {"mm", "mil", "inch"})
    if (header_key(head).ends_with(unit)) settle(unit, "column header '" + head + "'");
  for (const auto& text : table_.preamble)
    if (const std::string_view unit = stated_unit(text); !unit.empty()) settle(unit, "'" + text.substr(0, 60) + "'");
}

void PlacementReader::settle_side() {
  for (const auto& text : table_.preamble)
    if (const std::size_t begin = text.find("## Side :"); begin != text.npos)
      file_side_ = side_in(trim(std::string_view(text).substr(begin + 9)), false).side;
  if (file_side_ || side_ >= 0 || mirror_ >= 0) return;
  file_side_ = side_of_name(name_);
  if (file_side_)
    diagnostics_.note(
        {.code = "placement-side-by-name",
         .at = {name_, 0, 0, {}},
         .message = std::string("no column states the side of parts; by its file name the table is of the ") +
                    to_string(*file_side_) + " side",
         .remedy = "override it in  [components] side"});
}

void PlacementReader::read_row(std::size_t i) {
  PlacementRow row;
  row.component = at(i, ref_);
  if (row.component.empty()) return;
  const std::string x_text = at(i, x_), y_text = at(i, y_);
  const auto x = length(x_text, scale_), y = length(y_text, y_scale_ > 0 ? y_scale_ : scale_);
  if (!x || !y) {
    if (complaints_++ < 5)
      diagnostics_.error({.code = "placement-bad-number",
                          .at = {name_, table_.lines[i], 0, {}},
                          .message = "a position cannot be read",
                          .found = x_text + " , " + y_text,
                          .remedy = "correct the line"});
    return;
  }
  if (!placement_.has_unit && x_text.find_first_not_of("+-.,0123456789eE ") != x_text.npos) {
    placement_.has_unit = true;
    placement_.unit_evidence = "unit on each value";
  }
  row.x = *x;
  row.y = *y;
  row.line = table_.lines[i];
  if (const auto angle = length(at(i, rotation_), 1.0)) row.rotation = Degrees{*angle};
  row.side = file_side_;
  if (const int column = side_ >= 0 ? side_ : mirror_; column >= 0) {
    const SideCell said = side_in(at(i, column), column != side_);
    row.side = said.side;
    if (!said.understood && odd_sides_++ == 0) {
      odd_ = at(i, column);
      odd_line_ = table_.lines[i];
    }
  }
  row.value = at(i, value_);
  row.package = at(i, package_);
  // A height without a unit has the unit of the places. Where these have none, the height is not believed.
  if (const auto height = length(at(i, height_), height_scale_ > 0 ? height_scale_ : scale_);
      height && *height > 0 && (height_scale_ > 0 || placement_.has_unit))
    row.height = Mm{*height};
  if (not_fitted_ >= 0)
    row.fitted = fitted_cell(at(i, not_fitted_), true).value_or(true);
  else if (fitted_ >= 0)
    row.fitted = fitted_cell(at(i, fitted_), false);
  placement_.rows.push_back(std::move(row));
}

Placement PlacementReader::run() {
  if (ref_ < 0 || x_ < 0 || y_ < 0) {
    diagnostics_.error({.code = "placement-no-header",
                        .at = {name_, 1, 0, {}},
                        .message = "the header lacks a component, x or y column",
                        .remedy = "name the columns"});
    return std::move(placement_);
  }
  settle_unit();
  if (!whole(table_, diagnostics_)) return std::move(placement_);
  y_scale_ = header_unit(table_, y_, diagnostics_).value_or(0);
  height_scale_ = header_unit(table_, height_, diagnostics_).value_or(0);
  settle_side();
  for (std::size_t i = 0; i < table_.rows.size(); ++i) read_row(i);
  if (odd_sides_)
    diagnostics_.warn({.code = "placement-side",
                       .at = {name_, odd_line_, 0, {}},
                       .message = "the side of some parts cannot be read; it is taken from their pads",
                       .found = std::to_string(odd_sides_) + " rows, first '" + odd_ + "'",
                       .remedy = "write top or bottom"});
  return std::move(placement_);
}
}  // namespace

Placement read_placement(std::string_view bytes, const std::string& name, Diagnostics& diagnostics) {
  if (is_workbook(bytes)) return read_sheet(bytes, name, looks_like_placement, read_placement, diagnostics);
  if (looks_like_gerber(bytes)) {
    const GerberFile layer = read_gerber(bytes, name, diagnostics);
    return diagnostics.failed() ? Placement{} : placement_of_gerber(layer, diagnostics);
  }
  auto table = read_table(bytes, name, placement_names(), 4);
  if (!table && (table = headerless(bytes, name)))
    diagnostics.note({.code = "placement-headerless",
                      .at = {name, 0, 0, {}},
                      .message = "the table has no header; its columns are read as reference, x, y and rotation",
                      .found = std::to_string(table->rows.size()) + " rows",
                      .remedy = "add a header row to override this"});
  if (!table) {
    diagnostics.error({.code = "placement-no-header",
                       .at = {name, 1, 0, {}},
                       .message = "no header row with component, x, y, rotation or side was found",
                       .expected = "a header such as  Ref,Val,Package,PosX,PosY,Rot,Side",
                       .remedy = "add a header row"});
    Placement none;
    none.name = name;
    return none;
  }
  return PlacementReader(*table, name, diagnostics).run();
}

namespace {
const std::vector<std::string> kHeightNames = {"component", "refdes", "designator", "ref", "heightmm", "height"};
}  // namespace

bool looks_like_heights(std::string_view bytes) {
  auto table = read_table(bytes.substr(0, 20'000), "", kHeightNames, 2);
  if (!table || table->rows.empty()) return false;
  const int height = find_column(*table, {"heightmm", "height"}),
            ref = find_column(*table, {"component", "refdes", "designator", "ref"});
  if (height < 0 || ref < 0 || find_column(*table, {"x", "xmm", "midx", "posx", "centerx"}) >= 0) return false;
  // Any text may hold both words in a line: most rows must be a name and a number.
  std::size_t good = 0;
  for (std::size_t i = 0; i < table->rows.size(); ++i) {
    const std::string name = cell(*table, i, ref);
    good += !name.empty() && name.size() <= 40 && name.find(' ') == name.npos &&
            length_cell(cell(*table, i, height), table->separator, 1.0).has_value();
  }
  return good * 5 >= table->rows.size() * 4;
}

std::vector<HeightRow> read_heights(std::string_view bytes, const std::string& name, Diagnostics& diagnostics) {
  if (is_workbook(bytes)) return read_sheet(bytes, name, looks_like_heights, read_heights, diagnostics);
  std::vector<HeightRow> rows;
  auto table = read_table(bytes, name, kHeightNames, 2);
  if (!table) {
    diagnostics.error({.code = "heights-no-header",
                       .at = {name, 1, 0, {}},
                       .message = "no header row with component and height_mm was found",
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
