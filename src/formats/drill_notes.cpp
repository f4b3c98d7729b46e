// Reads side files of a drill program: parameters, tool tables and counts, as layout tools log them.
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

/// 1 for "T01"; 0 if the word is no tool name.
int tool_number(std::string_view word) {
  int number{};
  if (word.size() < 2 || word[0] != 'T') return 0;
  auto [end, err] = std::from_chars(word.data() + 1, word.data() + word.size(), number);
  return err == std::errc{} && end == word.data() + word.size() && number > 0 && number <= 9999 ? number : 0;
}

class NotesReader {
 public:
  NotesReader(std::string_view bytes, const std::string& name, Diagnostics& diagnostics)
      : rest_(bytes), diagnostics_(diagnostics) {
    notes_.name = name;
  }
  DrillNotes run();

 private:
  void parameter(const std::vector<std::string_view>& words);
  void table_row(const std::vector<std::string_view>& words);
  void report_row(const std::vector<std::string_view>& words, std::string_view line);
  DrillTool& tool(int number, Mm diameter);
  void sizes_in_inches();

  std::string_view rest_;
  Diagnostics& diagnostics_;
  DrillNotes notes_;
  std::uint32_t line_ = 0;
  bool suppress_leading_ = false, suppress_trailing_ = false, suppression_stated_ = false;
  Plating section_{};
};

DrillTool& NotesReader::tool(int number, Mm diameter) {
  for (DrillTool& tool : notes_.tools)
    if (tool.number == number) {
      if (tool.diameter && std::abs((*tool.diameter - diameter).v) > 0.02)
        diagnostics_.warn({.code = "drill-notes-two-sizes",
                           .at = {notes_.name, line_, 0, {}},
                           .message = "the file states two sizes for one tool; the first is used",
                           .found = "T" + std::to_string(number)});
      return tool;
    }
  DrillTool tool;
  tool.number = number;
  tool.diameter = diameter;
  tool.line = line_;
  notes_.tools.push_back(tool);
  return notes_.tools.back();
}

/// Reads lines such as "FORMAT 3.5", "OUTPUT-UNITS ENGLISH", "INTEGER-PLACES 3".
void NotesReader::parameter(const std::vector<std::string_view>& words) {
  double number_given{};
  const std::string_view key = words[0], value = words[1];
  if (key == "FORMAT" && value.size() == 3 && value[1] == '.' && std::isdigit(static_cast<unsigned char>(value[0])) &&
      std::isdigit(static_cast<unsigned char>(value[2]))) {
    notes_.integer_digits = value[0] - '0';
    notes_.decimals = value[2] - '0';
  }
  if (key == "INTEGER-PLACES" && number(value, number_given) && number_given >= 0 && number_given <= 8)
    notes_.integer_digits = static_cast<int>(number_given);
  if (key == "DECIMAL-PLACES" && number(value, number_given) && number_given >= 0 && number_given <= 8)
    notes_.decimals = static_cast<int>(number_given);
  if (key == "OUTPUT-UNITS") notes_.millimetres = value == "METRIC";
  if (key == "COORDINATES" && value == "INCREMENTAL")
    diagnostics_.warn({.code = "drill-notes-incremental",
                       .at = {notes_.name, line_, 0, {}},
                       .message = "the log says that coordinates are incremental; the drill file must say so as well",
                       .found = std::string(value)});
  if (key == "SUPPRESS-LEAD-ZEROES") {
    suppress_leading_ = value == "YES";
    suppression_stated_ = true;
  }
  if (key == "SUPPRESS-TRAIL-ZEROES") {
    suppress_trailing_ = value == "YES";
    suppression_stated_ = true;
  }
}

/// Reads rows such as "7.0000 P T01 3.0 3.0", "25.5900 T01", "T01 1. 7.0000 3.0/ 3.0 PLATED 1441". Sizes are in mils,
/// in a metric log in millimetres.
void NotesReader::table_row(const std::vector<std::string_view>& words) {
  const double scale = notes_.millimetres.value_or(false) ? 1.0 : kMmPerInch / 1000;
  double size{}, count{};
  if (words.size() >= 3 && number(words[0], size) && (words[1] == "P" || words[1] == "N") && tool_number(words[2])) {
    tool(tool_number(words[2]), Mm{size * scale}).plating = words[1] == "P" ? Plating::plated : Plating::unplated;
  } else if (words.size() == 2 && number(words[0], size) && tool_number(words[1])) {
    tool(tool_number(words[1]), Mm{size * scale});
  } else if (words.size() >= 6 && tool_number(words[0]) && words[1].back() == '.' && number(words[2], size) &&
             number(words.back(), count)) {
    DrillTool& stated = tool(tool_number(words[0]), Mm{size * scale});
    const std::string_view kind = words[words.size() - 2];
    if (kind == "PLATED") stated.plating = Plating::plated;
    if (kind == "NON_PLATED") stated.plating = Plating::unplated;
    stated.stated_count = whole_count(count);
  }
}

/// Reads rows such as  T1  0.25mm  0.010"  (215 holes)
void NotesReader::report_row(const std::vector<std::string_view>& words, std::string_view line) {
  const int number_of_tool = words.size() >= 3 ? tool_number(words[0]) : 0;
  if (!number_of_tool || words[1].size() < 3 || words[1].substr(words[1].size() - 2) != "mm") return;
  double size{}, count{};
  if (!number(words[1].substr(0, words[1].size() - 2), size)) return;
  // Unplated tools are numbered anew. In a file of both kinds they add to the plated tool of the same size.
  if (section_ == Plating::unplated) {
    for (DrillTool& tool : notes_.tools)
      if (tool.diameter && std::abs(tool.diameter->v - size) < 0.006) {
        tool.plating = Plating::unknown;
        tool.stated_count = -1;
      }
    return;
  }
  DrillTool& stated = tool(number_of_tool, Mm{size});
  stated.plating = section_;
  const std::size_t open = line.find('('), blank = open == line.npos ? line.npos : line.find(' ', open);
  if (blank != line.npos && number(line.substr(open + 1, blank - open - 1), count))
    stated.stated_count = whole_count(count);
}

/// No drill is thinner than a mil: where all sizes of a log are, they are inches.
void NotesReader::sizes_in_inches() {
  constexpr Mm kThinnest{0.0254};
  if (notes_.millimetres.value_or(false)) return;
  const bool inches = std::all_of(notes_.tools.begin(), notes_.tools.end(),
                                  [&](const DrillTool& tool) { return !tool.diameter || *tool.diameter < kThinnest; });
  if (!inches) return;
  for (DrillTool& tool : notes_.tools)
    if (tool.diameter) tool.diameter = 1000 * *tool.diameter;
}

DrillNotes NotesReader::run() {
  for (; !rest_.empty() && line_ < 200'000;) {
    const std::string_view line = next_line(rest_);
    ++line_;
    if (line.find("NC ROUTE") != line.npos) notes_.routing = true;
    if (line.find("unplated") != line.npos)
      section_ = Plating::unplated;
    else if (line.find("plated through holes :") != line.npos)
      section_ = Plating::plated;
    const auto words_of_line = words(line);
    if (words_of_line.size() < 2 || notes_.tools.size() > 9999) continue;
    parameter(words_of_line);
    table_row(words_of_line);
    report_row(words_of_line, line);
  }
  sizes_in_inches();
  // Where zeros are dropped at neither end, both rules read the same.
  if (suppression_stated_)
    notes_.zeros = suppress_trailing_ && !suppress_leading_ ? ZeroRule::leading_kept : ZeroRule::trailing_kept;
  return std::move(notes_);
}
}  // namespace

bool looks_like_drill_notes(std::string_view bytes) {
  const std::string_view head = bytes.substr(0, 20'000);
  auto has = [&](std::string_view text) { return head.find(text) != head.npos; };
  return has("NC DRILL Log") || has("NC ROUTE Log") ||
         (has("OUTPUT-UNITS") && (has("INTEGER-PLACES") || has("FORMAT"))) ||
         (has("Drill report for") && has("holes)"));
}

DrillNotes read_drill_notes(std::string_view bytes, const std::string& name, Diagnostics& diagnostics) {
  return NotesReader(bytes, name, diagnostics).run();
}

}  // namespace teasel::formats
