// Tables as text: separated fields, columns, and the HTML tables that some tools save under a spreadsheet's name.
#include "text_table.h"

#include <algorithm>

#include "teasel/units.h"
#include "text.h"

namespace teasel::formats {

namespace {
constexpr std::size_t kMostRows = 2'000'000;
constexpr std::uint32_t kLongestRecord = 20;  // lines

void put_utf8(std::string& out, std::uint32_t c) {
  if (c < 0x80)
    out += static_cast<char>(c);
  else if (c < 0x800) {
    out += static_cast<char>(0xC0 | (c >> 6));
    out += static_cast<char>(0x80 | (c & 63));
  } else if (c < 0x10000) {
    out += static_cast<char>(0xE0 | (c >> 12));
    out += static_cast<char>(0x80 | ((c >> 6) & 63));
    out += static_cast<char>(0x80 | (c & 63));
  } else if (c < 0x110000) {
    out += static_cast<char>(0xF0 | (c >> 18));
    out += static_cast<char>(0x80 | ((c >> 12) & 63));
    out += static_cast<char>(0x80 | ((c >> 6) & 63));
    out += static_cast<char>(0x80 | (c & 63));
  }
}

bool is_utf8(std::string_view s) {
  for (std::size_t i = 0; i < s.size();) {
    const unsigned char c = static_cast<unsigned char>(s[i]);
    const std::size_t n = c < 0x80                ? 1
                          : c >= 0xC2 && c < 0xE0 ? 2
                          : c >= 0xE0 && c < 0xF0 ? 3
                          : c >= 0xF0 && c < 0xF5 ? 4
                                                  : 0;
    if (n == 0) return false;
    for (std::size_t k = 1; k < n; ++k)
      if (i + k >= s.size())
        return true;  // cut by a window, not wrong
      else if ((static_cast<unsigned char>(s[i + k]) & 0xC0) != 0x80)
        return false;
    i += n;
  }
  return true;
}

/// UTF-8 of what came with a byte order mark, as UTF-8, or in an old eight-bit code (taken as Latin-1).
std::string decoded(std::string_view s) {
  if (s.substr(0, 3) == "\xEF\xBB\xBF") return std::string(s.substr(3));
  const bool little = s.substr(0, 2) == "\xFF\xFE", big = s.substr(0, 2) == "\xFE\xFF";
  std::string out;
  if (little || big) {
    for (std::size_t i = 2; i + 1 < s.size(); i += 2) {
      auto unit = [&](std::size_t at) {
        return static_cast<std::uint32_t>(static_cast<unsigned char>(s[at + (little ? 1 : 0)])) << 8 |
               static_cast<unsigned char>(s[at + (little ? 0 : 1)]);
      };
      std::uint32_t c = unit(i);
      if (c >= 0xD800 && c < 0xDC00 && i + 3 < s.size()) {
        c = 0x10000 + ((c - 0xD800) << 10) + (unit(i + 2) - 0xDC00);
        i += 2;
      }
      put_utf8(out, c);
    }
    return out;
  }
  if (is_utf8(s)) return std::string(s);
  for (char c : s) put_utf8(out, static_cast<unsigned char>(c));
  return out;
}

/// One record; quotes may hold separators, doubled quotes and line ends.
std::vector<std::string> record(std::string_view& rest, char separator, std::uint32_t& line,
                                std::uint32_t* open_quote = nullptr) {
  std::vector<std::string> fields(1);
  bool quoted = false;
  const std::uint32_t first = line;
  while (!rest.empty()) {
    const char c = rest[0];
    rest.remove_prefix(1);
    if (c == '\n') ++line;
    if (quoted) {
      if (c != '"') {
        fields.back() += c;
      } else if (!rest.empty() && rest[0] == '"') {
        fields.back() += '"';
        rest.remove_prefix(1);
      } else {
        quoted = false;
      }
    } else if (c == '"' && trim(fields.back()).empty()) {
      fields.back().clear();
      quoted = true;
    } else if (c == separator) {
      fields.emplace_back();
    } else if (c == '\n') {
      break;
    } else if (c != '\r') {
      fields.back() += c;
    }
  }
  if (open_quote && !*open_quote && (quoted || line - first > kLongestRecord)) *open_quote = first + 1;
  for (auto& f : fields) f = std::string(trim(f));
  return fields;
}

/// Words between blanks, quoted ones whole, with the column where each begins.
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

/// Fields that begin where the header's words do.
std::vector<std::string> columns(std::string_view line, const std::vector<std::size_t>& starts) {
  std::vector<std::string> out;
  for (std::size_t i = 0; i < starts.size(); ++i) {
    const std::size_t from = std::min(starts[i], line.size()),
                      to = i + 1 < starts.size() ? std::min(starts[i + 1], line.size()) : line.size();
    std::string_view f = trim(line.substr(from, to - from));
    if (f.size() >= 2 && f.front() == '"' && f.back() == '"') f = f.substr(1, f.size() - 2);
    out.emplace_back(f);
  }
  return out;
}

std::size_t matches(const std::vector<std::string>& fields, const std::vector<std::string>& known) {
  std::size_t n = 0;
  for (const auto& f : fields) n += std::find(known.begin(), known.end(), header_key(f)) != known.end();
  return n;
}

bool tag_at(std::string_view s, std::size_t at, std::string_view name) {
  if (at + name.size() >= s.size()) return false;
  for (std::size_t i = 0; i < name.size(); ++i)
    if ((s[at + i] | 32) != name[i]) return false;
  const char after = s[at + name.size()];
  return after == '>' || after == ' ' || after == '\t' || after == '\n' || after == '\r' || after == '/';
}

/// Text of a cell: tags dropped, the few entities that such tables use resolved.
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
      i = end == html.npos ? html.size() : html[end] == ';' ? end : end - 1;
    } else {
      out += html[i] == '\n' || html[i] == '\r' ? ' ' : html[i];
    }
  }
  return std::string(trim(out));
}

/// Rows of an HTML table whose header matches; what stands before the table is the preamble.
std::optional<TextTable> html_table(std::string_view s, const std::string& name, const std::vector<std::string>& known,
                                    std::size_t required) {
  TextTable t;
  t.name = name;
  t.separator = '\t';
  std::uint32_t line = 1;
  std::size_t counted = 0;
  for (std::size_t i = s.find('<'); i != s.npos && t.rows.size() < kMostRows; i = s.find('<', i + 1)) {
    if (!tag_at(s, i + 1, "tr")) continue;
    for (; counted < i; ++counted) line += s[counted] == '\n';
    if (t.preamble.empty()) t.preamble.push_back(plain(s.substr(0, i)));
    std::vector<std::string> fields;
    std::size_t at = i + 1, open = s.npos;
    for (at = s.find('<', at); at != s.npos; at = s.find('<', at + 1)) {
      const bool cell_begins = tag_at(s, at + 1, "td") || tag_at(s, at + 1, "th"),
                 cell_ends = tag_at(s, at + 1, "/td") || tag_at(s, at + 1, "/th");
      const bool row_ends = tag_at(s, at + 1, "/tr") || tag_at(s, at + 1, "tr") || tag_at(s, at + 1, "/table");
      if ((cell_begins || cell_ends || row_ends) && open != s.npos) {
        fields.push_back(plain(s.substr(open, at - open)));
        open = s.npos;
      }
      if (cell_begins) open = std::min(s.find('>', at), s.size() - 1) + 1;
      if (row_ends) break;
    }
    if (t.header.empty()) {
      if (matches(fields, known) >= required) t.header = std::move(fields);
    } else if (!fields.empty()) {
      fields.resize(std::max(fields.size(), t.header.size()));
      t.rows.push_back(std::move(fields));
      t.lines.push_back(line);
    }
    if (at == s.npos) break;
    i = at - 1;
  }
  if (t.header.empty()) return std::nullopt;
  return t;
}
}  // namespace

std::string header_key(std::string_view text) {
  std::string key;
  const std::size_t bracket = text.find_first_of("([");
  for (char c : text.substr(0, bracket)) {
    if (c >= 'A' && c <= 'Z')
      key += static_cast<char>(c + 32);
    else if ((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'))
      key += c;
  }
  return key;
}

std::optional<TextTable> read_table(std::string_view bytes, const std::string& name,
                                    const std::vector<std::string>& known, std::size_t required) {
  const std::string text = decoded(bytes);
  std::string_view rest = text;
  std::string head(rest.substr(0, 2000));
  for (char& c : head)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c + 32);
  if (head.find("<html") != head.npos || head.find("<table") != head.npos)
    return html_table(text, name, known, required);
  TextTable t;
  t.name = name;
  std::uint32_t line = 0;
  std::vector<std::size_t> starts;
  for (int tries = 0; !rest.empty() && tries < 60; ++tries) {
    std::string_view ahead = rest;
    const std::string_view first = next_line(ahead);
    for (char separator : {',', ';', '\t', '!', ' '}) {
      std::vector<std::string> fields;
      if (separator == ' ') {
        std::string unmarked(first);
        for (char& c : unmarked)
          if (c == '#')
            c = ' ';
          else if (c != ' ')
            break;
        starts.clear();
        fields = words(unmarked, &starts);
      } else {
        std::string_view one = first;
        std::uint32_t ignored = 0;
        fields = record(one, separator, ignored);
      }
      if (matches(fields, known) >= required) {
        t.header = std::move(fields);
        t.separator = separator;
        break;
      }
    }
    rest = ahead;
    ++line;
    if (!t.header.empty()) break;
    t.preamble.emplace_back(first);
  }
  if (t.header.empty()) return std::nullopt;
  while (!rest.empty()) {
    const std::uint32_t at = line + 1;
    std::vector<std::string> fields;
    if (t.separator == ' ') {
      const std::string_view l = next_line(rest);
      ++line;
      if (!l.empty() && l[0] == '#') continue;
      fields = words(l);
      if (!fields.empty() && fields.size() != t.header.size()) fields = columns(l, starts);
    } else {
      fields = record(rest, t.separator, line, &t.open_quote);
    }
    if (fields.empty() || (fields.size() == 1 && fields[0].empty())) continue;
    if (!t.long_row && fields.size() > t.header.size() &&
        std::any_of(fields.begin() + static_cast<std::ptrdiff_t>(t.header.size()), fields.end(),
                    [](const std::string& f) { return !f.empty(); }))
      t.long_row = at;
    fields.resize(std::max(fields.size(), t.header.size()));
    t.rows.push_back(std::move(fields));
    t.lines.push_back(at);
    if (t.rows.size() >= kMostRows) break;
  }
  return t;
}

bool whole(const TextTable& t, Diagnostics& d, bool strict) {
  if (strict && t.long_row) {
    d.error("table-row-too-long", {t.name, t.long_row, 0, {}},
            "a row has more fields than the header; a comma inside a number?", {},
            std::to_string(t.header.size()) + " fields", "write 1500 or 1.5, or quote the field");
    return false;
  }
  if (!t.open_quote) return true;
  d.error("table-quote", {t.name, t.open_quote, 0, {}},
          "a quote begins here and does not end in this row or the next ones", {}, {}, "close the quote");
  return false;
}

std::optional<double> header_unit(const TextTable& t, int column, Diagnostics& d) {
  if (column < 0) return std::nullopt;
  const std::string& h = t.header[static_cast<std::size_t>(column)];
  const std::size_t at = h.find_first_of("([");
  if (at == h.npos) return std::nullopt;
  std::string_view unit = trim(std::string_view(h).substr(at + 1));
  unit = trim(unit.substr(0, unit.find_first_of(")]")));
  if (const auto s = unit_scale(unit)) return s;
  d.error("table-unit", {t.name, 1, 0, {}}, "the unit in a column's header is not known", h, "mm, mil, in or um",
          "correct the header");
  return std::nullopt;
}

int find_column(const TextTable& t, std::initializer_list<std::string_view> names) {
  for (std::string_view n : names)
    for (std::size_t i = 0; i < t.header.size(); ++i)
      if (header_key(t.header[i]) == n) return static_cast<int>(i);
  return -1;
}

std::string cell(const TextTable& t, std::size_t row, int column) {
  return column < 0 ? std::string() : t.rows[row][static_cast<std::size_t>(column)];
}

std::optional<double> unit_scale(std::string_view unit) {
  const std::string k = header_key(unit);
  if (k == "mm" || k == "millimeter" || k == "millimeters" || k == "millimetre" || k == "millimetres") return 1.0;
  if (k == "mil" || k == "mils" || k == "thou") return kMmPerInch / 1000;
  if (k == "in" || k == "inch" || k == "inches") return kMmPerInch;
  if (k == "um" || k == "micron" || k == "microns" || unit == "\xC2\xB5m" || unit == "\xCE\xBCm") return 0.001;
  return std::nullopt;
}

std::optional<double> length_cell(std::string text, char separator, double scale) {
  // Where commas part the cells, one within a cell was quoted.
  if (text.find('.') == text.npos && (separator != ',' || std::count(text.begin(), text.end(), ',') == 1))
    std::replace(text.begin(), text.end(), ',', '.');
  std::string unit;
  auto v = parse_number_with_unit(text, unit);
  if (!v) return std::nullopt;
  if (unit.empty()) return *v * scale;
  auto s = unit_scale(unit);
  if (!s) return std::nullopt;
  return *v * *s;
}

std::optional<bool> fitted_cell(std::string_view text, bool inverted) {
  const std::string k = header_key(text);
  for (const char* off :
       {"dnp", "dnf", "dni", "dns", "nf", "np", "notfitted", "donotfit", "donotpopulate", "donotplace", "nopop",
        "noload", "donotinstall", "notinstalled", "notstuffed", "unpopulated", "notmounted"})
    if (k == off) return false;
  for (const char* on : {"fitted", "populated", "mounted", "installed", "stuffed", "placed", "fit", "place"})
    if (k == on) return true;
  if (k == "yes" || k == "y" || k == "1" || k == "true" || k == "x") return !inverted;
  if (k == "no" || k == "n" || k == "0" || k == "false") return inverted;
  return std::nullopt;
}

}  // namespace teasel::formats
