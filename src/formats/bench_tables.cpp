// Reads what is measured at a bench: pad lists, reference points, continuity readings.
#include "teasel/formats/bench.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>

#include "teasel/formats/net_table.h"
#include "teasel/written.h"
#include "text.h"
#include "text_table.h"

namespace teasel::formats {

namespace {
const std::vector<std::string> kPadNames = {"pad",       "net",  "xmm",     "ymm",      "xpx",     "ypx",
                                            "photo",     "side", "widthmm", "heightmm", "widthpx", "heightpx",
                                            "component", "pin",  "drillmm", "plated",   "errormm"};
const std::vector<std::string> kReferenceNames = {"photo", "point", "xpx", "ypx", "xmm", "ymm"};
const std::vector<std::string> kContinuityNames = {"pada", "padb", "ohms", "ohm", "resistance"};

std::optional<Sides> sides_of_pad(const std::string& word) {
  if (word == "both" || word == "through") return Sides::both();
  if (word == "top" || word == "t" || word == "front") return Side::top;
  if (word == "bottom" || word == "b" || word == "bot" || word == "back") return Side::bottom;
  return std::nullopt;
}

/// One column of each group is needed. Names the groups that are missing, each by its first column.
std::string missing_columns(const TextTable& table,
                            std::initializer_list<std::initializer_list<std::string_view>> groups) {
  std::string out;
  for (const auto& group : groups)
    if (find_column(table, group) < 0) out += (out.empty() ? "" : ", ") + std::string(*group.begin());
  return out;
}

/// Reads the numbers of a row and reports those that cannot be read.
class Cells {
 public:
  Cells(const TextTable& table, Diagnostics& diagnostics, const char* code)
      : table_(table), diagnostics_(diagnostics), code_(code) {}
  bool get(std::size_t row, int column, double& value, bool needed) {
    const std::string text = cell(table_, row, column);
    if (text.empty() && !needed) return true;
    const auto number = length_cell(text, table_.separator, 1.0);
    if (number && std::abs(*number) < 1e6) {
      value = *number;
      return true;
    }
    if (complaints_++ < 10)
      diagnostics_.error({.code = code_,
                          .at = {table_.name, table_.lines[row], 0, {}},
                          .message = "column " +
                                     (column < 0 ? std::string("x") : table_.header[static_cast<std::size_t>(column)]) +
                                     " cannot be read",
                          .found = "'" + text + "'",
                          .expected = "a number",
                          .remedy = "correct the line"});
    return false;
  }

 private:
  const TextTable& table_;
  Diagnostics& diagnostics_;
  const char* code_;
  int complaints_ = 0;
};
}  // namespace

bool looks_like_pad_list(std::string_view bytes) {
  const auto table = read_table(bytes.substr(0, 20'000), "", kPadNames, 3);
  return table && find_column(*table, {"pad"}) >= 0 && find_column(*table, {"xmm", "xpx"}) >= 0 &&
         find_column(*table, {"widthmm", "widthpx"}) >= 0;
}

namespace {
/// Reads a pad list whose header was found, row by row.
class PadListReader {
 public:
  PadListReader(const TextTable& list, const std::string& name, Diagnostics& diagnostics)
      : list_(list), name_(name), diagnostics_(diagnostics), cells_(list, diagnostics, "pads-bad-number") {
    for (const auto& column : kPadNames) columns_[column] = find_column(list, {column});
  }
  std::vector<PadRow> run() {
    std::vector<PadRow> rows;
    for (std::size_t i = 0; i < list_.rows.size(); ++i) {
      PadRow row;
      row.line = list_.lines[i];
      if (names(i, row) && side_and_plating(i, row) && place(i, row) && sizes(i, row) && sound(i, row))
        rows.push_back(std::move(row));
    }
    return rows;
  }

 private:
  bool names(std::size_t i, PadRow& row);
  bool side_and_plating(std::size_t i, PadRow& row);
  bool place(std::size_t i, PadRow& row);
  bool sizes(std::size_t i, PadRow& row);
  bool sound(std::size_t i, const PadRow& row);
  int column(const char* key) const { return columns_.at(key); }
  std::string text(std::size_t i, const char* key) const { return cell(list_, i, column(key)); }
  Place at(const PadRow& row) const { return {name_, row.line, 0, {}}; }
  static const char* width_key(const PadRow& row) { return row.size_in_pixels ? "widthpx" : "widthmm"; }

  const TextTable& list_;
  const std::string& name_;
  Diagnostics& diagnostics_;
  Cells cells_;
  std::map<std::string, int> columns_;
  std::map<std::string, std::uint32_t> seen_;  ///< by name of pad: its line
};

bool PadListReader::names(std::size_t i, PadRow& row) {
  row.pad = text(i, "pad");
  row.net = text(i, "net");
  row.component = text(i, "component");
  row.pin = text(i, "pin");
  row.photo = text(i, "photo");
  if (row.pad.empty()) {
    diagnostics_.error({.code = "pads-no-name",
                        .at = at(row),
                        .message = "a pad has no name",
                        .remedy = "give it a name; any mark that you can find again will do"});
    return false;
  }
  if (const auto [it, fresh] = seen_.emplace(row.pad, row.line); !fresh)
    diagnostics_.error({.code = "pads-twice",
                        .at = at(row),
                        .message = "two pads have the same name",
                        .found = row.pad + ", before on line " + std::to_string(it->second),
                        .remedy = "give each pad its own name"});
  return true;
}

bool PadListReader::side_and_plating(std::size_t i, PadRow& row) {
  const std::string side = header_key(text(i, "side"));
  const std::optional<Sides> sides = sides_of_pad(side);
  const std::string plated = header_key(text(i, "plated"));
  row.plated = !(plated == "no" || plated == "n" || plated == "false" || plated == "0");
  if (!sides) {
    diagnostics_.error({.code = "pads-bad-side",
                        .at = at(row),
                        .message = side.empty() ? "the side of the pad is not stated" : "this is no side of a board",
                        .found = side.empty() ? row.pad : side,
                        .expected = "top, bottom or both",
                        .remedy = "correct the line"});
    return false;
  }
  row.sides = *sides;
  return true;
}

/// In millimetres where the row states any, or where the list has no column of pixels.
bool PadListReader::place(std::size_t i, PadRow& row) {
  const bool in_mm = !text(i, "xmm").empty() || !text(i, "ymm").empty() || column("xpx") < 0;
  if (in_mm) return cells_.get(i, column("xmm"), row.at.x, true) && cells_.get(i, column("ymm"), row.at.y, true);
  Point pixel;
  if (!cells_.get(i, column("xpx"), pixel.x, true) || !cells_.get(i, column("ypx"), pixel.y, true)) return false;
  row.pixel = pixel;
  return true;
}

bool PadListReader::sizes(std::size_t i, PadRow& row) {
  row.size_in_pixels = text(i, "widthmm").empty() && column("widthpx") >= 0;
  return cells_.get(i, column(width_key(row)), row.width.v, true) &&
         cells_.get(i, column(row.size_in_pixels ? "heightpx" : "heightmm"), row.height.v, false) &&
         cells_.get(i, column("drillmm"), row.drill.v, false) && cells_.get(i, column("errormm"), row.error.v, false);
}

/// Sizes that a pad can have, in a unit that fits that of its place.
bool PadListReader::sound(std::size_t i, const PadRow& row) {
  const bool in_range = row.width > Mm{} && row.height >= Mm{} && row.drill >= Mm{} && row.drill < Mm{50} &&
                        row.error >= Mm{} && row.error < Mm{10};
  if (!in_range || (!row.size_in_pixels && (row.width > Mm{1000} || row.height > Mm{1000}))) {
    diagnostics_.error({.code = "pads-bad-size",
                        .at = at(row),
                        .message = "a size of the pad is out of range",
                        .found = text(i, width_key(row)),
                        .remedy = "state a size above 0"});
    return false;
  }
  if (row.size_in_pixels && !row.pixel) {
    diagnostics_.error({.code = "pads-bad-size",
                        .at = at(row),
                        .message = "the pad's place is given in millimetres, but its size in pixels",
                        .found = row.pad,
                        .expected = "width_mm",
                        .remedy = "state both in millimetres or both in pixels"});
    return false;
  }
  return true;
}
}  // namespace

std::vector<PadRow> read_pad_list(std::string_view bytes, const std::string& name, Diagnostics& diagnostics) {
  if (is_workbook(bytes)) return read_sheet(bytes, name, looks_like_pad_list, read_pad_list, diagnostics);
  const auto table = read_table(bytes, name, kPadNames, 3);
  const std::string missing =
      table ? missing_columns(*table, {{"pad"}, {"side"}, {"xmm", "xpx"}, {"ymm", "ypx"}, {"widthmm", "widthpx"}}) : "";
  if (!table || !missing.empty()) {
    diagnostics.error({.code = "pads-no-header",
                       .at = {name, 1, 0, {}},
                       .message = table ? "the pad list lacks the columns " + missing
                                        : std::string("the file has no header row of a pad list"),
                       .expected = "pad,side,x_mm,y_mm,width_mm  or  pad,side,photo,x_px,y_px,width_px",
                       .remedy = table ? "add the columns; the side is top, bottom or both" : "add the header row"});
    return {};
  }
  if (!whole(*table, diagnostics, true)) return {};
  return PadListReader(*table, name, diagnostics).run();
}

bool is_bench_output(std::string_view bytes) {
  return bytes.substr(0, 400).find("place_sigma_mm") != bytes.npos;
}

std::string incomplete_table(std::string_view bytes) {
  if (is_workbook(bytes)) {
    Diagnostics ignored;
    for (const Sheet& sheet : read_workbook(bytes, "", ignored))
      if (std::string nearly = incomplete_table(sheet.text); !nearly.empty()) return nearly;
    return {};
  }
  const std::string_view head = bytes.substr(0, 20'000);
  if (const auto table = read_table(head, "", kPadNames, 2);
      table && find_column(*table, {"pad"}) >= 0 &&
      find_column(*table, {"xmm", "ymm", "xpx", "ypx", "widthmm", "widthpx"}) >= 0)
    return "a pad list without the columns " +
           missing_columns(*table, {{"side"}, {"xmm", "xpx"}, {"ymm", "ypx"}, {"widthmm", "widthpx"}});
  if (const auto table = read_table(head, "", kContinuityNames, 2))
    return "readings between pads without the columns " + missing_columns(*table, {{"pada"}, {"padb"}, {"ohms"}});
  if (const auto table = read_table(head, "", kReferenceNames, 3))
    return "reference points without the columns " +
           missing_columns(*table, {{"point"}, {"xpx"}, {"ypx"}, {"xmm"}, {"ymm"}});
  return incomplete_net_table(head);
}

bool looks_like_references(std::string_view bytes) {
  const auto table = read_table(bytes.substr(0, 20'000), "", kReferenceNames, 5);
  return table && find_column(*table, {"point"}) >= 0 && find_column(*table, {"xpx"}) >= 0 &&
         find_column(*table, {"xmm"}) >= 0;
}

std::vector<ReferenceRow> read_references(std::string_view bytes, const std::string& name, Diagnostics& diagnostics) {
  if (is_workbook(bytes)) return read_sheet(bytes, name, looks_like_references, read_references, diagnostics);
  std::vector<ReferenceRow> rows;
  const auto table = read_table(bytes, name, kReferenceNames, 4);
  std::array<int, 6> col{};
  if (table)
    for (std::size_t i = 0; i < 6; ++i) col[i] = find_column(*table, {kReferenceNames[i]});
  if (!table || std::any_of(col.begin() + 1, col.end(), [](int column) { return column < 0; })) {
    diagnostics.error({.code = "references-no-header",
                       .at = {name, 1, 0, {}},
                       .message = "the file has no header row of reference points",
                       .expected = "photo,point,x_px,y_px,x_mm,y_mm",
                       .remedy = "add the header row"});
    return rows;
  }
  if (!whole(*table, diagnostics, true)) return rows;
  Cells cells(*table, diagnostics, "references-bad-number");
  for (std::size_t i = 0; i < table->rows.size(); ++i) {
    ReferenceRow row{cell(*table, i, col[0]), cell(*table, i, col[1]), {}, {}, table->lines[i]};
    if (cells.get(i, col[2], row.pixel.x, true) && cells.get(i, col[3], row.pixel.y, true) &&
        cells.get(i, col[4], row.board.x, true) && cells.get(i, col[5], row.board.y, true))
      rows.push_back(std::move(row));
  }
  return rows;
}

std::optional<Ohms> parse_ohms(std::string_view text) {
  std::string plain;
  for (char letter : trim(text))
    if (letter != ' ') plain += letter;
  std::string key = plain;
  for (char& letter : key)
    if (letter >= 'A' && letter <= 'Z') letter = static_cast<char>(letter + 32);
  constexpr Ohms kOpen{std::numeric_limits<double>::infinity()};
  if (!key.empty() && key[0] == '>') return kOpen;
  for (const char* open : {"open", "ol", "o.l", "inf", "infinite", "nc"})
    if (key == open) return kOpen;
  for (const char* unit : {"ohms", "ohm", "\xCE\xA9", "\xE2\x84\xA6"})
    if (key.size() > std::string_view(unit).size() && key.ends_with(unit)) {
      plain.resize(plain.size() - std::string_view(unit).size());
      break;
    }
  double factor = 1;
  const std::size_t letter = plain.find_first_of("kKMRr");
  if (letter != plain.npos) {
    if (plain[letter] == 'M') factor = 1e6;
    if (plain[letter] == 'k' || plain[letter] == 'K') factor = 1e3;
    if (letter + 1 < plain.size()) {
      if (plain.find('.') != plain.npos) return std::nullopt;  // "4.7k2"
      plain[letter] = '.';
    } else {
      plain.pop_back();
    }
  }
  double value{};
  if (!number(plain, value) || value < 0 || value * factor > 1e15) return std::nullopt;
  return Ohms{value * factor};
}

bool looks_like_continuity(std::string_view bytes) {
  const auto table = read_table(bytes.substr(0, 20'000), "", kContinuityNames, 3);
  return table && find_column(*table, {"pada"}) >= 0 && find_column(*table, {"padb"}) >= 0;
}

std::vector<ContinuityRow> read_continuity(std::string_view bytes, const std::string& name, Diagnostics& diagnostics) {
  if (is_workbook(bytes)) return read_sheet(bytes, name, looks_like_continuity, read_continuity, diagnostics);
  std::vector<ContinuityRow> rows;
  const auto table = read_table(bytes, name, kContinuityNames, 3);
  const int a = table ? find_column(*table, {"pada"}) : -1, b = table ? find_column(*table, {"padb"}) : -1,
            ohms = table ? find_column(*table, {"ohms", "ohm", "resistance"}) : -1;
  if (a < 0 || b < 0 || ohms < 0) {
    diagnostics.error({.code = "continuity-no-header",
                       .at = {name, 1, 0, {}},
                       .message = "the file has no header row of continuity readings",
                       .expected = "pad_a,pad_b,ohms",
                       .remedy = "add the header row"});
    return rows;
  }
  if (!whole(*table, diagnostics, true)) return rows;
  int complaints = 0;
  for (std::size_t i = 0; i < table->rows.size(); ++i) {
    std::string text = cell(*table, i, ohms);
    if (text.empty()) continue;  // a pair that is still to be read
    if (cell(*table, i, a) == cell(*table, i, b)) {
      if (complaints++ < 10)
        diagnostics.error({.code = "continuity-one-pad",
                           .at = {name, table->lines[i], 0, {}},
                           .message = "a reading names the same pad twice",
                           .found = cell(*table, i, a),
                           .expected = "two pads",
                           .remedy = "correct the line"});
      continue;
    }
    // "1,500" or "1.500" may be one and a half, or fifteen hundred.
    const std::size_t mark = text.find_first_of(",.");
    const bool three = mark != text.npos && mark + 4 == text.size() &&
                       text.find_first_not_of("0123456789", mark + 1) == text.npos && mark > 0 && text[0] != '0';
    if (three && (text[mark] == ',' || table->separator != ',')) {
      if (complaints++ < 10)
        diagnostics.error({.code = "continuity-ambiguous",
                           .at = {name, table->lines[i], 0, {}},
                           .message = "a reading can be understood in two ways",
                           .found = "'" + text + "'",
                           .expected = "1.5 or 1500, or 1k5",
                           .remedy = "write it in one of these forms"});
      continue;
    }
    std::replace(text.begin(), text.end(), ',', '.');
    const auto value = parse_ohms(text);
    if (!value) {
      if (complaints++ < 10)
        diagnostics.error({.code = "continuity-bad-number",
                           .at = {name, table->lines[i], 0, {}},
                           .message = "a reading cannot be read",
                           .found = "'" + text + "'",
                           .expected = "a number of ohms, 4k7, open or OL",
                           .remedy = "correct the line"});
      continue;
    }
    // The list may be next-readings.csv, filled in.
    rows.push_back({Csv::from_cell(cell(*table, i, a)), Csv::from_cell(cell(*table, i, b)), *value, table->lines[i]});
  }
  return rows;
}

}  // namespace teasel::formats
