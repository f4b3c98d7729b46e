// Side files of a drill program: parameters, tool tables and counts, as layout tools log them.
#include <algorithm>
#include <cctype>

#include "teasel/formats/drill.h"
#include "teasel/units.h"
#include "text.h"

namespace teasel::formats {

namespace {
std::vector<std::string_view> words(std::string_view line) {
  std::vector<std::string_view> out;
  for (std::size_t i = 0; i < line.size();) {
    while (i < line.size() && static_cast<unsigned char>(line[i]) <= ' ') ++i;
    std::size_t end = i;
    while (end < line.size() && static_cast<unsigned char>(line[end]) > ' ') ++end;
    if (end > i) out.push_back(line.substr(i, end - i));
    i = end;
  }
  return out;
}

/// "T01" to 1; 0 if it is no tool name.
int tool_number(std::string_view w) {
  int n{};
  if (w.size() < 2 || w[0] != 'T') return 0;
  auto [end, err] = std::from_chars(w.data() + 1, w.data() + w.size(), n);
  return err == std::errc{} && end == w.data() + w.size() && n > 0 && n <= 9999 ? n : 0;
}

class NotesReader {
 public:
  NotesReader(std::string_view bytes, const std::string& name, Diagnostics& d) : rest_(bytes), d_(d) { n_.name = name; }
  DrillNotes run();

 private:
  void parameter(const std::vector<std::string_view>& w);
  void table_row(const std::vector<std::string_view>& w);
  void report_row(const std::vector<std::string_view>& w, std::string_view line);
  DrillTool& tool(int number, double diameter);

  std::string_view rest_;
  Diagnostics& d_;
  DrillNotes n_;
  std::uint32_t line_ = 0;
  bool suppress_leading_ = false, suppress_trailing_ = false, suppression_stated_ = false;
  Plating section_{};
};

DrillTool& NotesReader::tool(int number, double diameter) {
  for (DrillTool& t : n_.tools)
    if (t.number == number) {
      if (t.diameter && std::abs(*t.diameter - diameter) > 0.02)
        d_.warn("drill-notes-two-sizes", {n_.name, line_, 0, {}},
                "the file gives one tool two sizes; the first is taken", "T" + std::to_string(number));
      return t;
    }
  DrillTool t;
  t.number = number;
  t.diameter = diameter;
  t.line = line_;
  n_.tools.push_back(t);
  return n_.tools.back();
}

/// "FORMAT 3.5", "OUTPUT-UNITS ENGLISH", "INTEGER-PLACES 3" ...
void NotesReader::parameter(const std::vector<std::string_view>& w) {
  double v{};
  const std::string_view key = w[0], value = w[1];
  if (key == "FORMAT" && value.size() == 3 && value[1] == '.' && std::isdigit(static_cast<unsigned char>(value[0])) &&
      std::isdigit(static_cast<unsigned char>(value[2]))) {
    n_.integer_digits = value[0] - '0';
    n_.decimals = value[2] - '0';
  }
  if (key == "INTEGER-PLACES" && number(value, v) && v >= 0 && v <= 8) n_.integer_digits = static_cast<int>(v);
  if (key == "DECIMAL-PLACES" && number(value, v) && v >= 0 && v <= 8) n_.decimals = static_cast<int>(v);
  if (key == "OUTPUT-UNITS") n_.millimetres = value == "METRIC";
  if (key == "COORDINATES" && value == "INCREMENTAL")
    d_.warn("drill-notes-incremental", {n_.name, line_, 0, {}},
            "the log says that coordinates are incremental; the drill file itself must say so too", std::string(value));
  if (key == "SUPPRESS-LEAD-ZEROES") {
    suppress_leading_ = value == "YES";
    suppression_stated_ = true;
  }
  if (key == "SUPPRESS-TRAIL-ZEROES") {
    suppress_trailing_ = value == "YES";
    suppression_stated_ = true;
  }
}

/// "7.0000 P T01 3.0 3.0", "25.5900 T01", "T01 1. 7.0000 3.0/ 3.0 PLATED 1441"; sizes in mils, or mm in a metric log.
void NotesReader::table_row(const std::vector<std::string_view>& w) {
  const double scale = n_.millimetres.value_or(false) ? 1.0 : kMmPerInch / 1000;
  double size{}, count{};
  if (w.size() >= 3 && number(w[0], size) && (w[1] == "P" || w[1] == "N") && tool_number(w[2])) {
    tool(tool_number(w[2]), size * scale).plating = w[1] == "P" ? Plating::plated : Plating::unplated;
  } else if (w.size() == 2 && number(w[0], size) && tool_number(w[1])) {
    tool(tool_number(w[1]), size * scale);
  } else if (w.size() >= 6 && tool_number(w[0]) && w[1].back() == '.' && number(w[2], size) &&
             number(w.back(), count)) {
    DrillTool& t = tool(tool_number(w[0]), size * scale);
    const std::string_view kind = w[w.size() - 2];
    if (kind == "PLATED") t.plating = Plating::plated;
    if (kind == "NON_PLATED") t.plating = Plating::unplated;
    t.stated_count = whole_count(count);
  }
}

/// "T1  0.25mm  0.010"  (215 holes)"
void NotesReader::report_row(const std::vector<std::string_view>& w, std::string_view line) {
  const int n = w.size() >= 3 ? tool_number(w[0]) : 0;
  if (!n || w[1].size() < 3 || w[1].substr(w[1].size() - 2) != "mm") return;
  double size{}, count{};
  if (!number(w[1].substr(0, w[1].size() - 2), size)) return;
  // Unplated tools are numbered anew: in a file of both kinds they add to the tool of their size.
  if (section_ == Plating::unplated) {
    for (DrillTool& t : n_.tools)
      if (t.diameter && std::abs(*t.diameter - size) < 0.006) {
        t.plating = Plating::unknown;
        t.stated_count = -1;
      }
    return;
  }
  DrillTool& t = tool(n, size);
  t.plating = section_;
  const std::size_t open = line.find('('), blank = open == line.npos ? line.npos : line.find(' ', open);
  if (blank != line.npos && number(line.substr(open + 1, blank - open - 1), count)) t.stated_count = whole_count(count);
}

DrillNotes NotesReader::run() {
  for (; !rest_.empty() && line_ < 200'000;) {
    const std::string_view line = next_line(rest_);
    ++line_;
    if (line.find("NC ROUTE") != line.npos) n_.routing = true;
    if (line.find("unplated") != line.npos)
      section_ = Plating::unplated;
    else if (line.find("plated through holes :") != line.npos)
      section_ = Plating::plated;
    const auto w = words(line);
    if (w.size() < 2 || n_.tools.size() > 9999) continue;
    parameter(w);
    table_row(w);
    report_row(w, line);
  }
  // Zeros that are dropped at neither end may be read under either rule.
  if (suppression_stated_)
    n_.zeros = suppress_trailing_ && !suppress_leading_ ? ZeroRule::leading_kept : ZeroRule::trailing_kept;
  return std::move(n_);
}
}  // namespace

bool looks_like_drill_notes(std::string_view bytes) {
  const std::string_view head = bytes.substr(0, 20'000);
  auto has = [&](std::string_view s) { return head.find(s) != head.npos; };
  return has("NC DRILL Log") || has("NC ROUTE Log") ||
         (has("OUTPUT-UNITS") && (has("INTEGER-PLACES") || has("FORMAT"))) ||
         (has("Drill report for") && has("holes)"));
}

DrillNotes read_drill_notes(std::string_view bytes, const std::string& name, Diagnostics& d) {
  return NotesReader(bytes, name, d).run();
}

}  // namespace teasel::formats
