// Pad lists, reference points, continuity readings.
#include "teasel/formats/bench.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <map>

#include "text.h"
#include "text_table.h"

namespace teasel::formats {

namespace {
const std::vector<std::string> kPadNames = {"pad",       "net",  "xmm",     "ymm",      "xpx",     "ypx",
                                            "photo",     "side", "widthmm", "heightmm", "widthpx", "heightpx",
                                            "component", "pin",  "drillmm", "plated",   "errormm"};
const std::vector<std::string> kReferenceNames = {"photo", "point", "xpx", "ypx", "xmm", "ymm"};
const std::vector<std::string> kContinuityNames = {"pada", "padb", "ohms", "ohm", "resistance"};

int side_of_pad(const std::string& k) {
  if (k == "both" || k == "through") return 2;
  if (k == "top" || k == "t" || k == "front") return 0;
  if (k == "bottom" || k == "b" || k == "bot" || k == "back") return 1;
  return -1;
}

/// Of each group one column must be there; the groups that are not, by their first names.
std::string missing_columns(const TextTable& t, std::initializer_list<std::initializer_list<std::string_view>> groups) {
  std::string out;
  for (const auto& g : groups)
    if (find_column(t, g) < 0) out += (out.empty() ? "" : ", ") + std::string(*g.begin());
  return out;
}

/// Numbers of one row, with the complaint where one cannot be read.
class Cells {
 public:
  Cells(const TextTable& t, Diagnostics& d, const char* code) : t_(t), d_(d), code_(code) {}
  bool get(std::size_t row, int column, double& v, bool needed) {
    const std::string text = cell(t_, row, column);
    if (text.empty() && !needed) return true;
    const auto n = length_cell(text, t_.separator, 1.0);
    if (n && std::abs(*n) < 1e6) {
      v = *n;
      return true;
    }
    if (complaints_++ < 10)
      d_.error(
          code_, {t_.name, t_.lines[row], 0, {}},
          "column " + (column < 0 ? std::string("x") : t_.header[static_cast<std::size_t>(column)]) + " cannot be read",
          "'" + text + "'", "a number", "correct the line");
    return false;
  }

 private:
  const TextTable& t_;
  Diagnostics& d_;
  const char* code_;
  int complaints_ = 0;
};
}  // namespace

bool looks_like_pad_list(std::string_view bytes) {
  const auto t = read_table(bytes.substr(0, 20'000), "", kPadNames, 3);
  return t && find_column(*t, {"pad"}) >= 0 && find_column(*t, {"xmm", "xpx"}) >= 0 &&
         find_column(*t, {"widthmm", "widthpx"}) >= 0;
}

std::vector<PadRow> read_pad_list(std::string_view bytes, const std::string& name, Diagnostics& d) {
  std::vector<PadRow> rows;
  const auto table = read_table(bytes, name, kPadNames, 3);
  const std::string missing =
      table ? missing_columns(*table, {{"pad"}, {"side"}, {"xmm", "xpx"}, {"ymm", "ypx"}, {"widthmm", "widthpx"}}) : "";
  if (!table || !missing.empty()) {
    d.error("pads-no-header", {name, 1, 0, {}},
            table ? "the pad list lacks columns: " + missing : std::string("no header row of a pad list"), {},
            "pad,side,x_mm,y_mm,width_mm  or  pad,side,photo,x_px,y_px,width_px",
            table ? "add the columns; the side is top, bottom or both" : "add the header row");
    return rows;
  }
  const TextTable& t = *table;
  if (!whole(t, d, true)) return rows;
  std::map<std::string, int> col;
  for (const auto& k : kPadNames) col[k] = find_column(t, {k});
  Cells cells(t, d, "pads-bad-number");
  std::map<std::string, std::uint32_t> seen;
  for (std::size_t i = 0; i < t.rows.size(); ++i) {
    PadRow r;
    r.line = t.lines[i];
    r.pad = cell(t, i, col["pad"]);
    r.net = cell(t, i, col["net"]);
    r.component = cell(t, i, col["component"]);
    r.pin = cell(t, i, col["pin"]);
    r.photo = cell(t, i, col["photo"]);
    if (r.pad.empty()) {
      d.error("pads-no-name", {name, r.line, 0, {}}, "a pad has no name", {}, {},
              "name it; any mark that you can find again will do");
      continue;
    }
    if (const auto [it, fresh] = seen.emplace(r.pad, r.line); !fresh)
      d.error("pads-twice", {name, r.line, 0, {}}, "two pads have one name",
              r.pad + ", before on line " + std::to_string(it->second), {}, "name them apart");
    const std::string side = header_key(cell(t, i, col["side"]));
    r.side = side_of_pad(side);
    const std::string plated = header_key(cell(t, i, col["plated"]));
    r.plated = !(plated == "no" || plated == "n" || plated == "false" || plated == "0");
    if (r.side < 0) {
      d.error("pads-bad-side", {name, r.line, 0, {}}, side.empty() ? "the pad's side is not said" : "unknown side",
              side.empty() ? r.pad : side, "top, bottom or both", "correct the line");
      continue;
    }
    const bool in_mm = !cell(t, i, col["xmm"]).empty() || !cell(t, i, col["ymm"]).empty() || col["xpx"] < 0;
    Point px;
    if (in_mm ? !cells.get(i, col["xmm"], r.at.x, true) || !cells.get(i, col["ymm"], r.at.y, true)
              : !cells.get(i, col["xpx"], px.x, true) || !cells.get(i, col["ypx"], px.y, true))
      continue;
    if (!in_mm) r.pixel = px;
    r.size_in_pixels = cell(t, i, col["widthmm"]).empty() && col["widthpx"] >= 0;
    if (!cells.get(i, col[r.size_in_pixels ? "widthpx" : "widthmm"], r.width, true) ||
        !cells.get(i, col[r.size_in_pixels ? "heightpx" : "heightmm"], r.height, false) ||
        !cells.get(i, col["drillmm"], r.drill, false) || !cells.get(i, col["errormm"], r.error, false))
      continue;
    if (!(r.width > 0 && r.height >= 0 && r.drill >= 0 && r.drill < 50 && r.error >= 0 && r.error < 10) ||
        (!r.size_in_pixels && (r.width > 1000 || r.height > 1000))) {
      d.error("pads-bad-size", {name, r.line, 0, {}}, "a size of the pad is out of range",
              cell(t, i, col[r.size_in_pixels ? "widthpx" : "widthmm"]), {}, "sizes above 0");
      continue;
    }
    if (r.size_in_pixels && !r.pixel) {
      d.error("pads-bad-size", {name, r.line, 0, {}}, "the pad's place is given in millimetres, but its size in pixels",
              r.pad, "width_mm", "give both in one of the two");
      continue;
    }
    rows.push_back(std::move(r));
  }
  return rows;
}

bool is_bench_output(std::string_view bytes) {
  return bytes.substr(0, 400).find("place_sigma_mm") != bytes.npos;
}

std::string incomplete_table(std::string_view bytes) {
  const std::string_view head = bytes.substr(0, 20'000);
  if (const auto t = read_table(head, "", kPadNames, 2);
      t && find_column(*t, {"pad"}) >= 0 && find_column(*t, {"xmm", "ymm", "xpx", "ypx", "widthmm", "widthpx"}) >= 0)
    return "a pad list without the columns " +
           missing_columns(*t, {{"side"}, {"xmm", "xpx"}, {"ymm", "ypx"}, {"widthmm", "widthpx"}});
  if (const auto t = read_table(head, "", kContinuityNames, 2))
    return "readings between pads without the columns " + missing_columns(*t, {{"pada"}, {"padb"}, {"ohms"}});
  if (const auto t = read_table(head, "", kReferenceNames, 3))
    return "reference points without the columns " +
           missing_columns(*t, {{"point"}, {"xpx"}, {"ypx"}, {"xmm"}, {"ymm"}});
  return {};
}

bool looks_like_references(std::string_view bytes) {
  const auto t = read_table(bytes.substr(0, 20'000), "", kReferenceNames, 5);
  return t && find_column(*t, {"point"}) >= 0 && find_column(*t, {"xpx"}) >= 0 && find_column(*t, {"xmm"}) >= 0;
}

std::vector<ReferenceRow> read_references(std::string_view bytes, const std::string& name, Diagnostics& d) {
  std::vector<ReferenceRow> rows;
  const auto t = read_table(bytes, name, kReferenceNames, 4);
  std::array<int, 6> col{};
  if (t)
    for (std::size_t i = 0; i < 6; ++i) col[i] = find_column(*t, {kReferenceNames[i]});
  if (!t || std::any_of(col.begin() + 1, col.end(), [](int c) { return c < 0; })) {
    d.error("references-no-header", {name, 1, 0, {}}, "no header row of reference points", {},
            "photo,point,x_px,y_px,x_mm,y_mm", "add the header row");
    return rows;
  }
  if (!whole(*t, d, true)) return rows;
  Cells cells(*t, d, "references-bad-number");
  for (std::size_t i = 0; i < t->rows.size(); ++i) {
    ReferenceRow r{cell(*t, i, col[0]), cell(*t, i, col[1]), {}, {}, t->lines[i]};
    if (cells.get(i, col[2], r.pixel.x, true) && cells.get(i, col[3], r.pixel.y, true) &&
        cells.get(i, col[4], r.board.x, true) && cells.get(i, col[5], r.board.y, true))
      rows.push_back(std::move(r));
  }
  return rows;
}

std::optional<double> parse_ohms(std::string_view text) {
  std::string s;
  for (char c : trim(text))
    if (c != ' ') s += c;
  std::string key = s;
  for (char& c : key)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c + 32);
  if (!key.empty() && key[0] == '>') return std::numeric_limits<double>::infinity();
  for (const char* open : {"open", "ol", "o.l", "inf", "infinite", "nc"})
    if (key == open) return std::numeric_limits<double>::infinity();
  for (const char* unit : {"ohms", "ohm", "\xCE\xA9", "\xE2\x84\xA6"})
    if (key.size() > std::string_view(unit).size() && key.ends_with(unit)) {
      s.resize(s.size() - std::string_view(unit).size());
      break;
    }
  double factor = 1;
  const std::size_t at = s.find_first_of("kKMRr");
  if (at != s.npos) {
    factor = s[at] == 'M' ? 1e6 : s[at] == 'k' || s[at] == 'K' ? 1e3 : 1;
    if (at + 1 < s.size()) {
      if (s.find('.') != s.npos) return std::nullopt;  // "4.7k2"
      s[at] = '.';
    } else {
      s.pop_back();
    }
  }
  double v{};
  if (!number(s, v) || v < 0 || v * factor > 1e15) return std::nullopt;
  return v * factor;
}

bool looks_like_continuity(std::string_view bytes) {
  const auto t = read_table(bytes.substr(0, 20'000), "", kContinuityNames, 3);
  return t && find_column(*t, {"pada"}) >= 0 && find_column(*t, {"padb"}) >= 0;
}

std::vector<ContinuityRow> read_continuity(std::string_view bytes, const std::string& name, Diagnostics& d) {
  std::vector<ContinuityRow> rows;
  const auto t = read_table(bytes, name, kContinuityNames, 3);
  const int a = t ? find_column(*t, {"pada"}) : -1, b = t ? find_column(*t, {"padb"}) : -1,
            ohms = t ? find_column(*t, {"ohms", "ohm", "resistance"}) : -1;
  if (a < 0 || b < 0 || ohms < 0) {
    d.error("continuity-no-header", {name, 1, 0, {}}, "no header row of continuity readings", {}, "pad_a,pad_b,ohms",
            "add the header row");
    return rows;
  }
  if (!whole(*t, d, true)) return rows;
  int complaints = 0;
  for (std::size_t i = 0; i < t->rows.size(); ++i) {
    std::string text = cell(*t, i, ohms);
    if (text.empty()) continue;  // a pair that is still to be read
    if (cell(*t, i, a) == cell(*t, i, b)) {
      if (complaints++ < 10)
        d.error("continuity-one-pad", {name, t->lines[i], 0, {}}, "a reading names one pad twice", cell(*t, i, a),
                "two pads", "correct the line");
      continue;
    }
    // "1,500" or "1.500" may be one and a half, or fifteen hundred.
    const std::size_t mark = text.find_first_of(",.");
    const bool three = mark != text.npos && mark + 4 == text.size() &&
                       text.find_first_not_of("0123456789", mark + 1) == text.npos && mark > 0 && text[0] != '0';
    if (three && (text[mark] == ',' || t->separator != ',')) {
      if (complaints++ < 10)
        d.error("continuity-ambiguous", {name, t->lines[i], 0, {}}, "a reading can be understood in two ways",
                "'" + text + "'", "1.5 or 1500, or 1k5", "write it so");
      continue;
    }
    std::replace(text.begin(), text.end(), ',', '.');
    const auto v = parse_ohms(text);
    if (!v) {
      if (complaints++ < 10)
        d.error("continuity-bad-number", {name, t->lines[i], 0, {}}, "a reading cannot be read", "'" + text + "'",
                "a number of ohms, 4k7, open or OL", "correct the line");
      continue;
    }
    rows.push_back({cell(*t, i, a), cell(*t, i, b), *v, t->lines[i]});
  }
  return rows;
}

}  // namespace teasel::formats
