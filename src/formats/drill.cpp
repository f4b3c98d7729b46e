#include "teasel/formats/drill.h"

#include <algorithm>
#include <cmath>
#include <set>

#include "teasel/formats/gerber.h"
#include "teasel/units.h"
#include "text.h"

namespace teasel::formats {

namespace {
constexpr std::size_t kMostOps = 2'000'000;

class Reader {
 public:
  Reader(std::string_view bytes, const std::string& name, Diagnostics& diagnostics)
      : rest_(bytes), diagnostics_(diagnostics) {
    file_.name = name;
  }
  DrillFile run();

 private:
  void comment(std::string_view text);
  void attribute_comment(std::string_view text);
  void tool_attribute(std::string_view value);
  void stated_digits(std::string_view text);
  void unit_line(std::string_view line, bool mm);
  void tool(std::string_view line);
  void body(std::string_view line);
  void coordinates(std::string_view text, DrillOp op);
  void rout_or_hit(std::string_view text);
  DrillOp::Kind routed(int code) const;
  void g_code(int code, std::string_view rest, std::string_view line);
  bool m_code(int code, std::string_view rest, std::string_view line);
  void keep(DrillOp op, std::string_view line);
  bool read_number(std::string_view& text, DrillNumber& number);
  std::uint32_t tool_index(int number);
  void hole_size_comment(std::string_view text);
  void check_tools();
  void fail(const char* code, std::string message, std::string_view found, std::string remedy = {}) {
    if (failures_++ < 20)
      diagnostics_.error({.code = code,
                          .at = {file_.name, line_, 0, {}},
                          .message = std::move(message),
                          .found = std::string(found.substr(0, 60)),
                          .remedy = std::move(remedy)});
  }
  void once(const char* code, std::string message, std::string_view found) {
    if (warned_.insert(code).second)
      diagnostics_.warn({.code = code,
                         .at = {file_.name, line_, 0, {}},
                         .message = std::move(message),
                         .found = std::string(found.substr(0, 60))});
  }

  std::string_view rest_;
  Diagnostics& diagnostics_;
  DrillFile file_;
  std::uint32_t line_ = 0;
  int failures_ = 0;
  bool ended_ = false, header_ = false, rout_ = false, tool_down_ = false, uses_tool_down_ = false;
  int current_ = -1, pending_holesize_ = 0, rout_code_ = 0;
  bool relative_ = false, tools_by_stop_ = false;
  std::size_t pattern_first_ = 0, pattern_holes_ = 0;
  Plating plating_now_{};
  std::string function_now_;
  std::set<std::string> warned_;
};

int layer_of(double value) {
  return value >= 1 && value <= 99 ? static_cast<int>(value) : 0;
}
bool starts(std::string_view text, std::string_view with) {
  return text.substr(0, with.size()) == with;
}

std::uint32_t Reader::tool_index(int number) {
  for (std::size_t i = 0; i < file_.tools.size(); ++i)
    if (file_.tools[i].number == number) return static_cast<std::uint32_t>(i);
  DrillTool tool;
  tool.number = number;
  tool.line = line_;
  file_.tools.push_back(tool);
  return static_cast<std::uint32_t>(file_.tools.size() - 1);
}

/// Reads  ;T01 Holesize 1. = 8.000000 Tolerance = +3.0/-3.0 PLATED MILS Quantity = 1873
void Reader::hole_size_comment(std::string_view text) {
  const std::size_t at = text.find("Holesize");
  int number = ++pending_holesize_;
  if (text[0] == 'T') std::from_chars(text.data() + 1, text.data() + text.size(), number);
  const std::size_t equals = text.find('=', at);
  if (equals == text.npos) return;
  std::string unit;
  auto value = parse_number_with_unit(text.substr(equals + 1), unit);
  if (!value) return;
  const bool mils = text.find("MILS") != text.npos, inch = starts(unit, "inch");
  const bool mm = text.find(" MM") != text.npos || starts(unit, "mm");
  if (!mils && !inch && !mm) return once("drill-holesize-unit", "a hole size in a comment has no unit", text);
  DrillTool& tool = file_.tools[tool_index(number)];
  double unit_in_mm = inch ? kMmPerInch : 1;
  if (mils) unit_in_mm = kMmPerInch / 1000;
  const Mm diameter{*value * unit_in_mm};
  if (tool.diameter && std::abs((*tool.diameter - diameter).v) > 0.02) {
    fail("drill-tool-contradiction", "the tool table and a comment state different diameters for one tool", text,
         "correct one of them");
    return;
  }
  if (!tool.diameter) tool.diameter = diameter;
  if (text.find("NON_PLATED") != text.npos || text.find("NON-PLATED") != text.npos)
    tool.plating = Plating::unplated;
  else if (text.find("PLATED") != text.npos)
    tool.plating = Plating::plated;
  if (const std::size_t quantity = text.find("Quantity"); quantity != text.npos) {
    const std::size_t sign = text.find('=', quantity);
    double announced{};
    if (sign != text.npos && formats::number(text.substr(sign + 1), announced))
      tool.stated_count = whole_count(announced);
  }
}

/// Reads the value of TA.AperFunction, such as  Plated,PTH,ViaDrill
void Reader::tool_attribute(std::string_view value) {
  plating_now_ = Plating::unknown;
  if (starts(value, "Plated,")) plating_now_ = Plating::plated;
  if (starts(value, "NonPlated,")) plating_now_ = Plating::unplated;
  if (plating_now_ == Plating::unknown) {
    function_now_ = value;
    return;
  }
  const auto fields = split(value, ',');
  std::string joined;
  for (std::size_t i = 2; i < fields.size(); ++i) joined += (i > 2 ? "," : "") + std::string(fields[i]);
  function_now_ = joined;
}

/// An attribute of Gerber files, which drill files carry in comments that begin with #@!
void Reader::attribute_comment(std::string_view text) {
  const std::size_t comma = text.find(',');
  const std::string_view value = comma == text.npos ? std::string_view{} : text.substr(comma + 1);
  if (starts(text, "TF.FileFunction")) {
    const auto fields = split(value, ',');
    if (starts(value, "Plated")) file_.plating = Plating::plated;
    if (starts(value, "NonPlated")) file_.plating = Plating::unplated;
    double first{}, last{};
    if (fields.size() >= 3 && number(fields[1], first) && number(fields[2], last)) {
      file_.first_layer = layer_of(first);
      file_.last_layer = layer_of(last);
    }
  } else if (starts(text, "TA.AperFunction")) {
    tool_attribute(value);
  } else if (starts(text, "TD")) {
    plating_now_ = Plating::unknown;
    function_now_.clear();
  }
}

/// Digits before and behind the point, in the three ways that writers state them in comments.
void Reader::stated_digits(std::string_view text) {
  auto digits = [&](std::size_t at, char separator) {
    if (at + 2 < text.size() && text[at] >= '0' && text[at] <= '9' && text[at + 1] == separator &&
        text[at + 2] >= '0' && text[at + 2] <= '9') {
      file_.format.integer_digits = text[at] - '0';
      file_.format.decimals = text[at + 2] - '0';
      file_.digits_stated = true;
    }
  };
  if (starts(text, "FILE_FORMAT=")) digits(12, ':');
  if (starts(text, "FORMAT={")) digits(8, ':');
  if (starts(text, "Format")) {
    const std::size_t colon = text.find(':');
    if (colon != text.npos) {
      std::size_t at = colon + 1;
      while (at < text.size() && text[at] == ' ') ++at;
      digits(at, '.');
    }
  }
}

void Reader::comment(std::string_view text) {
  text = trim(text);
  if (starts(text, "#@!")) return attribute_comment(trim(text.substr(3)));
  if (text.find("Holesize") != text.npos) return hole_size_comment(text);
  if (starts(text, "TYPE=PLATED")) plating_now_ = Plating::plated;
  if (starts(text, "TYPE=NON_PLATED")) plating_now_ = Plating::unplated;
  if (starts(text, "Contents")) {
    if (text.find("Non-Plated") != text.npos)
      file_.plating = Plating::unplated;
    else if (text.find("Plated") != text.npos)
      file_.plating = Plating::plated;
  }
  stated_digits(text);
}

void Reader::unit_line(std::string_view line, bool mm) {
  if (file_.unit_stated && file_.format.millimetres != mm)
    return fail("drill-two-units", "the file states two different units", line, "keep one of them");
  file_.format.millimetres = mm;
  file_.unit_stated = true;
  if (!file_.digits_stated) {
    file_.format.integer_digits = mm ? 3 : 2;
    file_.format.decimals = mm ? 3 : 4;
  }
  for (std::string_view part : split(line, ',')) {
    part = trim(part);
    if (part == "LZ" || part == "TZ") {
      const ZeroRule rule = part == "LZ" ? ZeroRule::leading_kept : ZeroRule::trailing_kept;
      if (file_.zeros_stated && file_.format.zeros != rule)
        fail("drill-two-zero-rules", "the file states both LZ and TZ", line);
      file_.format.zeros = rule;
      file_.zeros_stated = true;
    } else if (!part.empty() && part[0] == '0' && part.find('.') != part.npos) {
      file_.format.integer_digits = static_cast<int>(part.find('.'));
      file_.format.decimals = static_cast<int>(part.size() - part.find('.') - 1);
      file_.digits_stated = true;
    }
  }
}

void Reader::tool(std::string_view line) {
  int number{};
  auto [end, err] = std::from_chars(line.data() + 1, line.data() + line.size(), number);
  if (err != std::errc{} || number > 9999) return fail("drill-bad-tool", "the tool line cannot be read", line);
  std::string_view rest = line.substr(static_cast<std::size_t>(end - line.data()));
  if (!rest.empty() && rest[0] == '(')
    rest = rest.find(')') == rest.npos ? std::string_view{} : rest.substr(rest.find(')') + 1);
  const std::size_t size = rest.find('C');
  if (number == 0 && size == rest.npos) {
    current_ = -1;
    return;
  }
  const std::uint32_t index = tool_index(number);
  DrillTool& tool = file_.tools[index];
  if (size != rest.npos) {
    const std::size_t stop = rest.find_first_not_of("0123456789.+-", size + 1);
    double value{};
    if (!formats::number(rest.substr(size + 1, stop == rest.npos ? rest.npos : stop - size - 1), value) || value < 0)
      return fail("drill-bad-tool", "the tool diameter cannot be read", line);
    const Mm diameter{value * (file_.format.millimetres ? 1 : kMmPerInch)};
    if (tool.diameter && std::abs((*tool.diameter - diameter).v) > 0.02)
      return fail("drill-tool-twice", "one tool is defined with two diameters", line, "correct the tool table");
    tool.size_unit_open = !file_.unit_stated;
    tool.diameter = diameter;
    tool.line = line_;
  }
  if (plating_now_ != Plating::unknown) tool.plating = plating_now_;
  if (!function_now_.empty()) tool.function = function_now_;
  if (header_) return;
  current_ = static_cast<int>(index);
  if (const std::size_t at = rest.find_first_of("XY"); at != rest.npos) rout_or_hit(rest.substr(at));
}

bool Reader::read_number(std::string_view& text, DrillNumber& number) {
  bool negative = false;
  std::size_t i = 0;
  if (i < text.size() && (text[i] == '+' || text[i] == '-')) negative = text[i++] == '-';
  number = {};
  for (; i < text.size(); ++i) {
    if (text[i] >= '0' && text[i] <= '9') {
      if (number.count >= 17) return false;
      number.digits = number.digits * 10 + (text[i] - '0');
      ++number.count;
      if (number.point >= 0) ++number.point;
    } else if (text[i] == '.' && number.point < 0) {
      number.point = 0;
    } else {
      break;
    }
  }
  if (number.count == 0) return false;
  if (negative) number.digits = -number.digits;
  (number.point >= 0 ? file_.has_points : file_.has_integers) = true;
  if (number.point < 0 && number.digits != 0) {
    file_.shortest = std::min<int>(file_.shortest, number.count);
    file_.longest = std::max<int>(file_.longest, number.count);
  }
  text.remove_prefix(i);
  return true;
}

/// Reads X, Y, the second point behind G85, A, I and J into the command and keeps the command.
void Reader::coordinates(std::string_view text, DrillOp op) {
  std::string_view rest = text;
  bool second = false;
  while (!rest.empty()) {
    const char letter = rest[0];
    rest.remove_prefix(1);
    if (letter == ' ') continue;
    if (letter == 'G' && starts(rest, "85")) {
      rest.remove_prefix(2);
      second = true;
      op.kind = DrillOp::Kind::slot;
      continue;
    }
    DrillNumber number;
    if (letter != 'X' && letter != 'Y' && letter != 'A' && letter != 'I' && letter != 'J' && letter != 'F' &&
        letter != 'S')
      return fail("drill-bad-line", "the line cannot be read", text);
    if (!read_number(rest, number)) return fail("drill-bad-number", "a number cannot be read", text);
    if (letter == 'X') {
      (second ? op.x2 : op.x) = number;
      (second ? op.has_x2 : op.has_x) = true;
    }
    if (letter == 'Y') {
      (second ? op.y2 : op.y) = number;
      (second ? op.has_y2 : op.has_y) = true;
    }
    if (letter == 'A') {
      op.i = number;
      op.by_radius = true;
    }
    if (letter == 'I') op.i = number;
    if (letter == 'J') op.j = number;
  }
  keep(op, text);
}

void Reader::keep(DrillOp op, std::string_view line) {
  using Kind = DrillOp::Kind;
  if (cuts(op.kind) && current_ < 0 && tools_by_stop_ && !file_.tools.empty()) current_ = 0;
  if (cuts(op.kind) && current_ < 0)
    return fail("drill-no-tool", "a hole is drilled before a tool is selected", line,
                "the file is incomplete; export it again");
  if (current_ >= 0) op.tool = static_cast<std::uint32_t>(current_);
  op.line = line_;
  op.relative = relative_;
  if (op.kind == Kind::hit || op.kind == Kind::repeat) file_.holes += op.count;
  file_.slots += op.kind == Kind::slot;
  file_.routs += op.kind == Kind::line || op.kind == Kind::arc || op.kind == Kind::circle;
  if (op.kind == Kind::pattern_begin) pattern_first_ = file_.holes;
  if (op.kind == Kind::pattern_end) pattern_holes_ = file_.holes - pattern_first_;
  if (op.kind == Kind::pattern_repeat) file_.holes += pattern_holes_;
  if (file_.ops.size() >= kMostOps || file_.holes > kMostHoles)
    return fail("drill-too-large", "the file drills more than 2 million holes", line);
  file_.ops.push_back(op);
}

/// Bare coordinates are a hit. In rout mode they are a move, or a stroke of the kind last given.
void Reader::rout_or_hit(std::string_view text) {
  DrillOp op;
  if (rout_) {
    op.kind = routed(rout_code_);
    op.clockwise = rout_code_ == 2;
  }
  coordinates(text, op);
}

/// What a rout code (G00 to G03) does. A file without M15 has its tool down wherever it cuts.
DrillOp::Kind Reader::routed(int code) const {
  const bool down = tool_down_ || !uses_tool_down_;
  if (!down || code == 0) return DrillOp::Kind::move;
  return code == 1 ? DrillOp::Kind::line : DrillOp::Kind::arc;
}

void Reader::g_code(int code, std::string_view rest, std::string_view line) {
  DrillOp op;
  switch (code) {
    case 0:
      rout_ = true;
      rout_code_ = 0;
      if (!rest.empty()) {
        op.kind = DrillOp::Kind::move;
        coordinates(rest, op);
      }
      return;
    case 1:
    case 2:
    case 3:
      rout_ = true;
      rout_code_ = code;
      if (!rest.empty()) {
        op.kind = routed(code);
        op.clockwise = code == 2;
        coordinates(rest, op);
      }
      return;
    case 32:
    case 33:
      op.kind = DrillOp::Kind::circle;
      op.clockwise = code == 32;
      return coordinates(rest, op);
    case 5:
    case 81:
      rout_ = tool_down_ = false;
      rout_code_ = 0;
      break;
    case 85: return fail("drill-bad-line", "a slot (G85) has no first point", line);
    case 90: relative_ = false; break;
    case 91: relative_ = true; break;
    case 40: break;
    case 4:
    case 7: return;
    case 93: op.kind = DrillOp::Kind::zero; return coordinates(rest, op);
    case 41:
    case 42:
      return fail("drill-compensated", "cutter compensation moves the cutter off the path in the file", line,
                  "export the path of the cutter's centre (G40)");
    default: return once("drill-unknown-g", "this G code is unknown and is ignored", line);
  }
  // A code may share its line with a position.
  if (rest.empty()) return;
  if (rest[0] == 'X' || rest[0] == 'Y')
    rout_or_hit(rest);
  else
    fail("drill-bad-line", "the rest of the line cannot be read", line);
}

/// False if the code changes nothing about what is drilled.
bool Reader::m_code(int code, std::string_view rest, std::string_view line) {
  DrillOp op;
  switch (code) {
    case 15:
    case 16:
    case 17:
      tool_down_ = code == 15;
      if (!rest.empty()) fail("drill-bad-line", "the rest of the line cannot be read", line);
      return true;
    case 25:
      op.kind = DrillOp::Kind::pattern_begin;
      keep(op, line);
      return true;
    case 1:
      op.kind = DrillOp::Kind::pattern_end;
      keep(op, line);
      return true;
    case 8:
      op.kind = DrillOp::Kind::patterns_off;
      keep(op, line);
      return true;
    case 2:
      if (rest.empty()) return ended_ = true;
      op.kind = DrillOp::Kind::pattern_repeat;
      coordinates(rest, op);
      return true;
    case 30: return ended_ = true;
    case 0:
      // A stop, or the end where no M30 follows. Files that name no tool in their body change it at a stop.
      if (rest_.find("M30") == rest_.npos)
        ended_ = true;
      else if (tools_by_stop_ && current_ >= 0 && current_ + 1 < static_cast<int>(file_.tools.size()))
        ++current_;
      return true;
    case 45:
    case 97:
    case 98: fail("drill-text", "drilled lettering is not supported", line, "export without it"); return true;
    default: return false;
  }
}

void Reader::body(std::string_view line) {
  if (line[0] == 'R') {
    int count{};
    auto [end, err] = std::from_chars(line.data() + 1, line.data() + line.size(), count);
    if (line == "R,T" || line == "R,C" || line == "R,H") return;
    if (err != std::errc{} || count < 1 || count > 1'000'000)
      return fail("drill-bad-repeat", "the repeat count cannot be read", line);
    DrillOp op;
    op.kind = DrillOp::Kind::repeat;
    op.count = static_cast<std::uint32_t>(count);
    return coordinates(line.substr(static_cast<std::size_t>(end - line.data())), op);
  }
  if (line[0] == 'X' || line[0] == 'Y') return rout_or_hit(line);
  if (line[0] == 'G' || line[0] == 'M') {
    int code{};
    auto [end, err] = std::from_chars(line.data() + 1, line.data() + line.size(), code);
    if (err != std::errc{}) return fail("drill-bad-line", "the code cannot be read", line);
    const std::string_view rest = trim(line.substr(static_cast<std::size_t>(end - line.data())));
    if (line[0] == 'G')
      g_code(code, rest, line);
    else if (!m_code(code, rest, line) && code != 6 && code != 9 && code != 47 && code != 50)
      once("drill-unknown-m", "this M code is unknown and is ignored", line);
    return;
  }
  if (line[0] == 'T') return tool(line);
  once("drill-unknown-line", "this line is not understood and is ignored", line);
}

/// Tools that are used need a diameter, and the numbers of holes are those that the file announces.
void Reader::check_tools() {
  std::vector<std::size_t> counts(file_.tools.size()), uses(file_.tools.size());
  for (const auto& op : file_.ops) {
    if (op.tool >= counts.size()) continue;
    if (op.kind == DrillOp::Kind::hit || op.kind == DrillOp::Kind::repeat || op.kind == DrillOp::Kind::slot)
      counts[op.tool] += op.count;
    uses[op.tool] += cuts(op.kind);
  }
  const bool patterns = std::any_of(file_.ops.begin(), file_.ops.end(),
                                    [](const DrillOp& op) { return op.kind == DrillOp::Kind::pattern_repeat; });
  for (std::size_t i = 0; i < file_.tools.size(); ++i) {
    const DrillTool& tool = file_.tools[i];
    if (uses[i] > 0 && !tool.diameter)
      diagnostics_.error({.code = "drill-no-diameter",
                          .at = {file_.name, tool.line, 0, {}},
                          .message = "the file uses a tool without stating its diameter",
                          .found = "T" + std::to_string(tool.number),
                          .expected = "a tool table, or hole sizes in comments",
                          .remedy = "set  tools = { T" + std::to_string(tool.number) +
                                    " = \"0.95 mm\" }  for this drill file in the job file"});
    if (tool.stated_count >= 0 && counts[i] > 0 && !patterns &&
        static_cast<std::size_t>(tool.stated_count) != counts[i])
      diagnostics_.warn({.code = "drill-count",
                         .at = {file_.name, tool.line, 0, {}},
                         .message = "the number of holes for a tool differs from the number that the file announces",
                         .found = "T" + std::to_string(tool.number) + ": announced " +
                                  std::to_string(tool.stated_count) + ", found " + std::to_string(counts[i])});
  }
}

DrillFile Reader::run() {
  uses_tool_down_ = rest_.find("M15") != rest_.npos;
  tools_by_stop_ = rest_.find("\nT") == rest_.npos;
  while (!rest_.empty() && !ended_ && failures_ < 20) {
    std::string_view line = trim(next_line(rest_));
    ++line_;
    if (line.empty()) continue;
    if (line[0] == ';') {
      comment(line.substr(1));
      continue;
    }
    if (line == "%M48" || line == "M48") {
      header_ = true;
      continue;
    }
    if (line == "%" || line == "M95") {
      // Attributes above the last definition of the header do not belong to the tools selected in the body.
      header_ = false;
      plating_now_ = Plating::unknown;
      function_now_.clear();
      continue;
    }
    if (starts(line, "INCH") || line == "M72" || starts(line, "M72,")) {
      unit_line(line, false);
      continue;
    }
    if (starts(line, "METRIC") || line == "M71" || starts(line, "M71,")) {
      unit_line(line, true);
      continue;
    }
    if (starts(line, "ICI")) {
      relative_ = line.find("OFF") == line.npos;
      continue;
    }
    static constexpr std::string_view kIgnored[] = {"FMAT", "VER", "DETECT", "ATC",  "TCST", "OM48",     "AFS",
                                                    "CCW",  "CP",  "FSB",    "HPCK", "NCSL", "PCKPARAM", "LEADER",
                                                    "F1",   "R,T", "R,C",    "SBK",  "/"};
    if (std::any_of(std::begin(kIgnored), std::end(kIgnored), [&](auto word) { return starts(line, word); })) continue;
    if (line[0] == 'T' && line.size() > 1 && line[1] >= '0' && line[1] <= '9') {
      tool(line);
      continue;
    }
    body(line);
  }
  if (!ended_ && failures_ == 0)
    fail("drill-no-end", "the end command M30 is missing", "end of file",
         "the file is probably cut off; fetch it again");
  check_tools();
  return std::move(file_);
}
}  // namespace

std::string to_string(const DrillFormat& format) {
  return std::string(format.millimetres ? "metric " : "inch ") + std::to_string(format.integer_digits) + "." +
         std::to_string(format.decimals) +
         (format.zeros == ZeroRule::leading_kept ? ", leading zeros kept" : ", trailing zeros kept");
}

bool looks_like_drill(std::string_view bytes) {
  const std::string_view head = bytes.substr(0, 200'000);
  if (head.find("%FS") != head.npos || head.find("%MO") != head.npos) return false;
  int commands = 0, coordinates = 0, strange = 0, lines = 0;
  for (std::string_view rest = head; !rest.empty() && lines < 2000; ++lines) {
    const std::string_view line = trim(next_line(rest));
    if (line.empty() || line[0] == ';') continue;
    if (line == "M48" || line == "%M48")
      commands += 3;
    else if (line == "G90" || line == "G05" || line == "M30" || line == "%" || line.substr(0, 4) == "INCH" ||
             line.substr(0, 6) == "METRIC")
      ++commands;
    else if (line.size() > 2 && line.find_first_of("XY") != line.npos &&
             line.find_first_not_of("GXYRMAIJ+-.0123456789") == line.npos)
      ++coordinates;
    else if (line.find_first_not_of("TCFSBHZGMRUV+-.,0123456789()") != line.npos)
      ++strange;
  }
  return (commands >= 3 || (commands >= 1 && coordinates >= 2)) && coordinates + commands > strange;
}

DrillFile read_drill(std::string_view bytes, const std::string& name, Diagnostics& diagnostics) {
  if (!looks_like_gerber(bytes)) return Reader(bytes, name, diagnostics).run();
  const GerberFile gerber = read_gerber(bytes, name, diagnostics);
  return diagnostics.failed() ? DrillFile{} : drill_of_gerber(gerber, diagnostics);
}

}  // namespace teasel::formats
