// Reads tables from text: separated fields, columns, and the HTML tables that some tools save under a spreadsheet's
// name.
#include "text_table.h"

#include <algorithm>
#include <cctype>

#include "teasel/units.h"
#include "teasel/utf8.h"
#include "text.h"

namespace teasel::formats {

namespace {
constexpr std::size_t kMostRows = 2'000'000;
constexpr std::uint32_t kLongestRecord = 20;  // lines
constexpr int kMostPreamble = 60;             // lines above the header

/// The number of bytes of a character by its first byte; 0 if no character begins so.
std::size_t length_of_utf8(unsigned char first) {
  if (first < 0x80) return 1;
  if (first >= 0xC2 && first < 0xE0) return 2;
  if (first >= 0xE0 && first < 0xF0) return 3;
  return first >= 0xF0 && first < 0xF5 ? 4 : 0;
}

bool is_utf8(std::string_view text) {
  for (std::size_t i = 0; i < text.size();) {
    const unsigned char first = static_cast<unsigned char>(text[i]);
    const std::size_t length = length_of_utf8(first);
    if (length == 0) return false;
    for (std::size_t k = 1; k < length; ++k)
      if (i + k >= text.size())
        return true;  // the text is cut off here, which is no fault
      else if ((static_cast<unsigned char>(text[i + k]) & 0xC0) != 0x80)
        return false;
    i += length;
  }
  return true;
}

/// Turns a text with a byte order mark, in UTF-8 or in an old eight-bit code (taken as Latin-1) into UTF-8.
std::string decoded(std::string_view text) {
  if (text.substr(0, 3) == "\xEF\xBB\xBF") return std::string(text.substr(3));
  const bool little = text.substr(0, 2) == "\xFF\xFE", big = text.substr(0, 2) == "\xFE\xFF";
  std::string out;
  if (little || big) {
    for (std::size_t i = 2; i + 1 < text.size(); i += 2) {
      auto unit = [&](std::size_t at) {
        return static_cast<std::uint32_t>(static_cast<unsigned char>(text[at + (little ? 1 : 0)])) << 8 |
               static_cast<unsigned char>(text[at + (little ? 0 : 1)]);
      };
      std::uint32_t code = unit(i);
      if (code >= 0xD800 && code < 0xDC00 && i + 3 < text.size()) {
        code = 0x10000 + ((code - 0xD800) << 10) + (unit(i + 2) - 0xDC00);
        i += 2;
      }
      put_utf8(out, code);
    }
    return out;
  }
  if (is_utf8(text)) return std::string(text);
  for (char letter : text) put_utf8(out, static_cast<unsigned char>(letter));
  return out;
}

/// Reads one record. Quotes may hold separators, doubled quotes and line ends.
std::vector<std::string> record(std::string_view& rest, char separator, std::uint32_t& line,
                                std::uint32_t* open_quote = nullptr) {
  std::vector<std::string> fields(1);
  bool quoted = false;
  const std::uint32_t first = line;
  while (!rest.empty()) {
    const char letter = rest[0];
    rest.remove_prefix(1);
    if (letter == '\n') ++line;
    if (quoted) {
      if (letter != '"') {
        fields.back() += letter;
      } else if (!rest.empty() && rest[0] == '"') {
        fields.back() += '"';
        rest.remove_prefix(1);
      } else {
        quoted = false;
      }
    } else if (letter == '"' && trim(fields.back()).empty()) {
      fields.back().clear();
      quoted = true;
    } else if (letter == separator) {
      fields.emplace_back();
    } else if (letter == '\n') {
      break;
    } else if (letter != '\r') {
      fields.back() += letter;
    }
  }
  if (open_quote && !*open_quote && (quoted || line - first > kLongestRecord)) *open_quote = first + 1;
  for (auto& field : fields) field = std::string(trim(field));
  return fields;
}

/// Splits a line at its blanks, keeps quoted words whole, and tells the column where each word begins.
std::vector<std::string> words(std::string_view line, std::vector<std::size_t>* starts = nullptr) {
  std::vector<std::string> out;
  for (std::size_t i = 0; i < line.size();) {
    while (i < line.size() && (line[i] == ' ' || line[i] == '\t')) ++i;
    if (i == line.size()) break;
    const bool quoted = line[i] == '"' && line.find('"', i + 1) != line.npos;
    std::size_t end = quoted ? line.find('"', i + 1) + 1 : i;
    while (end < line.size() && line[end] != ' ' && line[end] != '\t') ++end;
    std::string_view word = line.substr(i, end - i);
    if (word.size() >= 2 && word.front() == '"' && word.back() == '"') word = word.substr(1, word.size() - 2);
    out.emplace_back(word);
    if (starts) starts->push_back(i);
    i = end;
  }
  return out;
}

/// Splits a line into fields that begin where the header's words do.
std::vector<std::string> columns(std::string_view line, const std::vector<std::size_t>& starts) {
  std::vector<std::string> out;
  for (std::size_t i = 0; i < starts.size(); ++i) {
    const std::size_t from = std::min(starts[i], line.size()),
                      to = i + 1 < starts.size() ? std::min(starts[i + 1], line.size()) : line.size();
    std::string_view field = trim(line.substr(from, to - from));
    if (field.size() >= 2 && field.front() == '"' && field.back() == '"') field = field.substr(1, field.size() - 2);
    out.emplace_back(field);
  }
  return out;
}

std::size_t matches(const std::vector<std::string>& fields, const std::vector<std::string>& known) {
  std::size_t count = 0;
  for (const auto& field : fields) count += std::find(known.begin(), known.end(), header_key(field)) != known.end();
  return count;
}

bool tag_at(std::string_view html, std::size_t tag, std::string_view name) {
  if (tag + name.size() >= html.size()) return false;
  for (std::size_t i = 0; i < name.size(); ++i)
    if ((html[tag + i] | 32) != name[i]) return false;
  const char after = html[tag + name.size()];
  return after == '>' || after == ' ' || after == '\t' || after == '\n' || after == '\r' || after == '/';
}

/// The text of a cell, without tags, and with the few entities resolved that such tables use.
std::string plain(std::string_view html) {
  std::string out;
  for (std::size_t i = 0; i < html.size(); ++i) {
    if (html[i] == '<') {
      const std::size_t end = html.find('>', i);
      if (end == html.npos) break;
      i = end;
    } else if (html[i] == '&') {
      const std::size_t end = html.find_first_of("; <", i);
      const std::string_view name = html.substr(i + 1, (end == html.npos ? html.size() : end) - i - 1);
      double code{};
      if (name == "nbsp")
        out += ' ';
      else if (name == "amp")
        out += '&';
      else if (name == "lt")
        out += '<';
      else if (name == "gt")
        out += '>';
      else if (name == "quot")
        out += '"';
      else if (name.size() > 1 && name[0] == '#' && number(name.substr(1), code) && code > 0 && code < 0x110000)
        put_utf8(out, static_cast<std::uint32_t>(code));
      else {
        out += '&';
        continue;
      }
      if (end == html.npos)
        i = html.size();
      else
        i = html[end] == ';' ? end : end - 1;
    } else {
      out += html[i] == '\n' || html[i] == '\r' ? ' ' : html[i];
    }
  }
  return std::string(trim(out));
}

/// The rows of an HTML table whose header matches. The text before the table is the preamble.
std::optional<TextTable> html_table(std::string_view html, const std::string& name,
                                    const std::vector<std::string>& known, std::size_t required) {
  TextTable table;
  table.name = name;
  table.separator = '\t';
  std::uint32_t line = 1;
  std::size_t counted = 0;
  for (std::size_t i = html.find('<'); i != html.npos && table.rows.size() < kMostRows; i = html.find('<', i + 1)) {
    if (!tag_at(html, i + 1, "tr")) continue;
    for (; counted < i; ++counted) line += html[counted] == '\n';
    if (table.preamble.empty()) table.preamble.push_back(plain(html.substr(0, i)));
    std::vector<std::string> fields;
    std::size_t at = i + 1, open = html.npos;
    for (at = html.find('<', at); at != html.npos; at = html.find('<', at + 1)) {
      const bool cell_begins = tag_at(html, at + 1, "td") || tag_at(html, at + 1, "th"),
                 cell_ends = tag_at(html, at + 1, "/td") || tag_at(html, at + 1, "/th");
      const bool row_ends = tag_at(html, at + 1, "/tr") || tag_at(html, at + 1, "tr") || tag_at(html, at + 1, "/table");
      if ((cell_begins || cell_ends || row_ends) && open != html.npos) {
        fields.push_back(plain(html.substr(open, at - open)));
        open = html.npos;
      }
      if (cell_begins) open = std::min(html.find('>', at), html.size() - 1) + 1;
      if (row_ends) break;
    }
    if (table.header.empty()) {
      if (matches(fields, known) >= required) table.header = std::move(fields);
    } else if (!fields.empty()) {
      fields.resize(std::max(fields.size(), table.header.size()));
      table.rows.push_back(std::move(fields));
      table.lines.push_back(line);
    }
    if (at == html.npos) break;
    i = at - 1;
  }
  if (table.header.empty()) return std::nullopt;
  return table;
}

bool is_html(std::string_view text) {
  std::string head(text.substr(0, 2000));
  for (char& letter : head)
    if (letter >= 'A' && letter <= 'Z') letter = static_cast<char>(letter + 32);
  return head.find("<html") != head.npos || head.find("<table") != head.npos;
}

/// Reads a table of separated fields, or of columns under the words of its header.
class PlainTable {
 public:
  PlainTable(std::string_view text, const std::string& name) : rest_(text) { table_.name = name; }
  bool find_header(const std::vector<std::string>& known, std::size_t required);
  TextTable rows();

 private:
  std::vector<std::string> header_words(std::string_view line);
  std::optional<std::vector<std::string>> next_row();
  void note_long_row(const std::vector<std::string>& fields, std::uint32_t line);

  std::string_view rest_;
  std::uint32_t line_ = 0;
  std::vector<std::size_t> starts_;  ///< where the header's words begin
  TextTable table_;
};

/// The words of a header that may stand behind marks of a comment.
std::vector<std::string> PlainTable::header_words(std::string_view line) {
  std::string unmarked(line);
  for (char& letter : unmarked)
    if (letter == '#')
      letter = ' ';
    else if (letter != ' ')
      break;
  starts_.clear();
  return words(unmarked, &starts_);
}

/// The first line that holds enough known names, by whichever separator; lines above it are the preamble.
bool PlainTable::find_header(const std::vector<std::string>& known, std::size_t required) {
  for (int tries = 0; !rest_.empty() && tries < kMostPreamble; ++tries) {
    const std::string_view first = next_line(rest_);
    ++line_;
    for (char separator : {',', ';', '\t', '!', ' '}) {
      std::string_view one = first;
      std::uint32_t ignored = 0;
      std::vector<std::string> fields = separator == ' ' ? header_words(first) : record(one, separator, ignored);
      if (matches(fields, known) < required) continue;
      table_.header = std::move(fields);
      table_.separator = separator;
      return true;
    }
    table_.preamble.emplace_back(first);
  }
  return false;
}

/// The fields of the next row; nothing for a comment.
std::optional<std::vector<std::string>> PlainTable::next_row() {
  if (table_.separator != ' ') return record(rest_, table_.separator, line_, &table_.open_quote);
  const std::string_view row = next_line(rest_);
  ++line_;
  if (!row.empty() && row[0] == '#') return std::nullopt;
  std::vector<std::string> fields = words(row);
  if (!fields.empty() && fields.size() != table_.header.size()) fields = columns(row, starts_);
  return fields;
}

/// Fields beyond the header are harmless as long as they are empty.
void PlainTable::note_long_row(const std::vector<std::string>& fields, std::uint32_t line) {
  if (!table_.long_row && fields.size() > table_.header.size() &&
      std::any_of(fields.begin() + static_cast<std::ptrdiff_t>(table_.header.size()), fields.end(),
                  [](const std::string& field) { return !field.empty(); }))
    table_.long_row = line;
}

TextTable PlainTable::rows() {
  while (!rest_.empty() && table_.rows.size() < kMostRows) {
    const std::uint32_t at = line_ + 1;
    std::optional<std::vector<std::string>> fields = next_row();
    if (!fields || fields->empty() || (fields->size() == 1 && fields->front().empty())) continue;
    note_long_row(*fields, at);
    fields->resize(std::max(fields->size(), table_.header.size()));
    table_.rows.push_back(std::move(*fields));
    table_.lines.push_back(at);
  }
  return std::move(table_);
}
}  // namespace

std::string header_key(std::string_view text) {
  std::string key;
  const std::size_t bracket = text.find_first_of("([");
  for (char letter : text.substr(0, bracket)) {
    if (letter >= 'A' && letter <= 'Z')
      key += static_cast<char>(letter + 32);
    else if ((letter >= 'a' && letter <= 'z') || (letter >= '0' && letter <= '9'))
      key += letter;
  }
  return key;
}

std::optional<TextTable> read_table(std::string_view bytes, const std::string& name,
                                    const std::vector<std::string>& known, std::size_t required) {
  const std::string text = decoded(bytes);
  if (is_html(text)) return html_table(text, name, known, required);
  PlainTable table(text, name);
  if (!table.find_header(known, required)) return std::nullopt;
  return table.rows();
}

std::string sheet_like(std::string_view workbook, const std::string& name, bool (*looks_like)(std::string_view),
                       Diagnostics& diagnostics) {
  std::vector<Sheet> sheets = read_workbook(workbook, name, diagnostics);
  std::vector<Sheet*> fits;
  for (Sheet& sheet : sheets)
    if (looks_like(sheet.text)) fits.push_back(&sheet);
  if (fits.size() > 1) {
    std::string others;
    for (std::size_t i = 1; i < fits.size(); ++i) others += (i > 1 ? ", " : "") + fits[i]->name;
    diagnostics.warn({.code = "workbook-several-sheets",
                      .at = {name, 0, 0, {}},
                      .message = "several sheets of the workbook hold such a table, and the first of them is read",
                      .found = fits[0]->name + " is read; not read: " + others,
                      .remedy = "if another one is right, save it as CSV and name that file"});
  }
  if (!fits.empty()) return std::move(fits[0]->text);
  return sheets.empty() ? std::string() : std::move(sheets[0].text);
}

bool whole(const TextTable& table, Diagnostics& diagnostics, bool strict) {
  if (strict && table.long_row) {
    diagnostics.error({.code = "table-row-too-long",
                       .at = {table.name, table.long_row, 0, {}},
                       .message = "a row has more fields than the header, perhaps because of a comma in a number",
                       .expected = std::to_string(table.header.size()) + " fields",
                       .remedy = "write 1500 or 1.5, or put the field in quotes"});
    return false;
  }
  if (!table.open_quote) return true;
  diagnostics.error({.code = "table-quote",
                     .at = {table.name, table.open_quote, 0, {}},
                     .message = "a quote begins here and does not end in this row or the rows below",
                     .remedy = "close the quote"});
  return false;
}

std::optional<double> header_unit(const TextTable& table, int column, Diagnostics& diagnostics) {
  if (column < 0) return std::nullopt;
  const std::string& header = table.header[static_cast<std::size_t>(column)];
  const std::size_t at = header.find_first_of("([");
  if (at == header.npos) return std::nullopt;
  std::string_view unit = trim(std::string_view(header).substr(at + 1));
  unit = trim(unit.substr(0, unit.find_first_of(")]")));
  if (const auto scale = unit_scale(unit)) return scale;
  diagnostics.error({.code = "table-unit",
                     .at = {table.name, 1, 0, {}},
                     .message = "the unit in the header of a column is unknown",
                     .found = header,
                     .expected = "mm, mil, in or um",
                     .remedy = "correct the header"});
  return std::nullopt;
}

SideCell side_in(std::string_view text, bool mirror_column) {
  const std::string word = header_key(text);
  if (mirror_column) {
    for (const char* yes : {"yes", "y", "m", "true", "1", "mirrored", "mirror", "bottom"})
      if (word == yes) return {Side::bottom};
    for (const char* no : {"no", "n", "false", "0", "none", "top", ""})
      if (word == no) return {Side::top};
    return {{}, false};
  }
  for (const char* top : {"top", "t", "toplayer", "topside", "f", "fcu", "front", "componentside", "primary",
                          "primaryside", "oben", "vorderseite", "oberseite", "bestckungsseite", "bestueckungsseite"})
    if (word == top) return {Side::top};
  for (const char* bottom :
       {"bottom", "b", "bot", "bottomlayer", "bottomside", "bcu", "back", "solder", "solderside", "secondary",
        "secondaryside", "unten", "rckseite", "rueckseite", "unterseite", "ltseite", "loetseite"})
    if (word == bottom) return {Side::bottom};
  // "L1-TOP", "Layer 4 (bottom)"
  const bool top = word.find("top") != word.npos, bottom = word.find("bot") != word.npos;
  if (top != bottom) return {top ? Side::top : Side::bottom};
  return {{}, word.empty()};
}

std::string_view stated_unit(std::string_view line) {
  std::string low(line);
  for (char& letter : low) letter = static_cast<char>(std::tolower(static_cast<unsigned char>(letter)));
  for (const std::string_view key : {"units used", "units", "unit", "einheiten", "einheit"}) {
    const std::size_t begin = low.find(key);
    if (begin == low.npos) continue;
    const std::string_view rest = trim(line.substr(begin + key.size()));
    if (rest.empty() || (rest[0] != ':' && rest[0] != '=')) continue;
    // The unit may stand in a cell of its own.
    const std::string_view unit = rest.substr(std::min(rest.find_first_not_of(":= ,;\t\""), rest.size()));
    return unit.substr(0, unit.find_first_of(", ;\t\""));
  }
  return {};
}

int find_column(const TextTable& table, std::initializer_list<std::string_view> names) {
  for (std::string_view name : names)
    for (std::size_t i = 0; i < table.header.size(); ++i)
      if (header_key(table.header[i]) == name) return static_cast<int>(i);
  return -1;
}

std::string cell(const TextTable& table, std::size_t row, int column) {
  return column < 0 ? std::string() : table.rows[row][static_cast<std::size_t>(column)];
}

std::optional<double> unit_scale(std::string_view unit) {
  const std::string word = header_key(unit);
  if (word == "mm" || word == "millimeter" || word == "millimeters" || word == "millimetre" || word == "millimetres")
    return 1.0;
  if (word == "mil" || word == "mils" || word == "thou") return kMmPerInch / 1000;
  if (word == "in" || word == "inch" || word == "inches") return kMmPerInch;
  if (word == "um" || word == "micron" || word == "microns" || unit == "\xC2\xB5m" || unit == "\xCE\xBCm") return 0.001;
  return std::nullopt;
}

std::optional<double> length_cell(std::string text, char separator, double scale) {
  // Where commas separate the cells, a comma within a cell was quoted.
  if (text.find('.') == text.npos && (separator != ',' || std::count(text.begin(), text.end(), ',') == 1))
    std::replace(text.begin(), text.end(), ',', '.');
  std::string unit;
  auto value = parse_number_with_unit(text, unit);
  if (!value) return std::nullopt;
  if (unit.empty()) return *value * scale;
  auto own = unit_scale(unit);
  if (!own) return std::nullopt;
  return *value * *own;
}

std::optional<bool> fitted_cell(std::string_view text, bool inverted) {
  const std::string word = header_key(text);
  for (const char* off : {"dnp",
                          "dnf",
                          "dni",
                          "dns",
                          "nf",
                          "np",
                          "notfitted",
                          "donotfit",
                          "donotpopulate",
                          "donotplace",
                          "nopop",
                          "noload",
                          "donotinstall",
                          "notinstalled",
                          "notstuffed",
                          "unpopulated",
                          "notmounted",
                          "nichtbestckt",
                          "nichtbestueckt",
                          "nb"})
    if (word == off) return false;
  for (const char* on :
       {"fitted", "populated", "mounted", "installed", "stuffed", "placed", "fit", "place", "bestckt", "bestueckt"})
    if (word == on) return true;
  if (word == "yes" || word == "y" || word == "1" || word == "true" || word == "x" || word == "ja") return !inverted;
  if (word == "no" || word == "n" || word == "0" || word == "false" || word == "nein") return inverted;
  return std::nullopt;
}

}  // namespace teasel::formats
