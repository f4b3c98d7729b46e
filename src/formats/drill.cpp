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
  Reader(std::string_view bytes, const std::string& name, Diagnostics& d) : s_(bytes), d_(d) { f_.name = name; }
  DrillFile run();

 private:
  void comment(std::string_view c);
  void unit_line(std::string_view line, bool mm);
  void tool(std::string_view line);
  void body(std::string_view line);
  void coordinates(std::string_view text, DrillOp op);
  void rout_or_hit(std::string_view text);
  void g_code(int code, std::string_view rest, std::string_view line);
  bool m_code(int code, std::string_view rest, std::string_view line);
  void keep(DrillOp op, std::string_view line);
  bool read_number(std::string_view& s, DrillNumber& n);
  std::uint32_t tool_index(int number);
  void hole_size_comment(std::string_view c);
  void fail(const char* code, std::string message, std::string_view found, std::string remedy = {}) {
    if (failures_++ < 20)
      d_.error(code, {f_.name, line_, 0, {}}, std::move(message), std::string(found.substr(0, 60)), {},
               std::move(remedy));
  }
  void once(const char* code, std::string message, std::string_view found) {
    if (warned_.insert(code).second)
      d_.warn(code, {f_.name, line_, 0, {}}, std::move(message), std::string(found.substr(0, 60)));
  }

  std::string_view s_;
  Diagnostics& d_;
  DrillFile f_;
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

int layer_of(double v) {
  return v >= 1 && v <= 99 ? static_cast<int>(v) : 0;
}
bool starts(std::string_view s, std::string_view with) {
  return s.substr(0, with.size()) == with;
}

std::uint32_t Reader::tool_index(int number) {
  for (std::size_t i = 0; i < f_.tools.size(); ++i)
    if (f_.tools[i].number == number) return static_cast<std::uint32_t>(i);
  DrillTool t;
  t.number = number;
  t.line = line_;
  f_.tools.push_back(t);
  return static_cast<std::uint32_t>(f_.tools.size() - 1);
}

/// ";T01 Holesize 1. = 8.000000 Tolerance = +3.0/-3.0 PLATED MILS Quantity = 1873"
void Reader::hole_size_comment(std::string_view c) {
  const std::size_t at = c.find("Holesize");
  int number = ++pending_holesize_;
  if (c[0] == 'T') std::from_chars(c.data() + 1, c.data() + c.size(), number);
  const std::size_t eq = c.find('=', at);
  if (eq == c.npos) return;
  std::string unit;
  auto value = parse_number_with_unit(c.substr(eq + 1), unit);
  if (!value) return;
  const bool mils = c.find("MILS") != c.npos, inch = starts(unit, "inch");
  const bool mm = c.find(" MM") != c.npos || starts(unit, "mm");
  if (!mils && !inch && !mm) return once("drill-holesize-unit", "a hole size in a comment has no unit", c);
  DrillTool& t = f_.tools[tool_index(number)];
  const double diameter = *value * (mils ? kMmPerInch / 1000 : inch ? kMmPerInch : 1);
  if (t.diameter && std::abs(*t.diameter - diameter) > 0.02) {
    fail("drill-tool-contradiction", "the tool table and a comment give one tool two diameters", c,
         "correct one of them");
    return;
  }
  if (!t.diameter) t.diameter = diameter;
  if (c.find("NON_PLATED") != c.npos || c.find("NON-PLATED") != c.npos)
    t.plating = Plating::unplated;
  else if (c.find("PLATED") != c.npos)
    t.plating = Plating::plated;
  if (const std::size_t q = c.find("Quantity"); q != c.npos) {
    const std::size_t e = c.find('=', q);
    double n{};
    if (e != c.npos && formats::number(c.substr(e + 1), n)) t.stated_count = whole_count(n);
  }
}

void Reader::comment(std::string_view c) {
  c = trim(c);
  if (starts(c, "#@!")) {
    c = trim(c.substr(3));
    const std::size_t comma = c.find(',');
    const std::string_view value = comma == c.npos ? std::string_view{} : c.substr(comma + 1);
    if (starts(c, "TF.FileFunction")) {
      const auto fields = split(value, ',');
      if (starts(value, "Plated")) f_.plating = Plating::plated;
      if (starts(value, "NonPlated")) f_.plating = Plating::unplated;
      double a{}, b{};
      if (fields.size() >= 3 && number(fields[1], a) && number(fields[2], b)) {
        f_.first_layer = layer_of(a);
        f_.last_layer = layer_of(b);
      }
    } else if (starts(c, "TA.AperFunction")) {
      std::string_view v = value;
      plating_now_ = starts(v, "Plated,")      ? Plating::plated
                     : starts(v, "NonPlated,") ? Plating::unplated
                                               : Plating::unknown;
      if (plating_now_ != Plating::unknown) {
        const auto fields = split(v, ',');
        std::string joined;
        for (std::size_t i = 2; i < fields.size(); ++i) joined += (i > 2 ? "," : "") + std::string(fields[i]);
        function_now_ = joined;
      } else {
        function_now_ = v;
      }
    } else if (starts(c, "TD")) {
      plating_now_ = Plating::unknown;
      function_now_.clear();
    }
    return;
  }
  if (c.find("Holesize") != c.npos) return hole_size_comment(c);
  if (starts(c, "TYPE=PLATED")) plating_now_ = Plating::plated;
  if (starts(c, "TYPE=NON_PLATED")) plating_now_ = Plating::unplated;
  if (starts(c, "Contents")) {
    if (c.find("Non-Plated") != c.npos)
      f_.plating = Plating::unplated;
    else if (c.find("Plated") != c.npos)
      f_.plating = Plating::plated;
  }
  auto digits = [&](std::size_t at, char separator) {
    if (at + 2 < c.size() && c[at] >= '0' && c[at] <= '9' && c[at + 1] == separator && c[at + 2] >= '0' &&
        c[at + 2] <= '9') {
      f_.format.integer_digits = c[at] - '0';
      f_.format.decimals = c[at + 2] - '0';
      f_.digits_stated = true;
    }
  };
  if (starts(c, "FILE_FORMAT=")) digits(12, ':');
  if (starts(c, "FORMAT={")) digits(8, ':');
  if (starts(c, "Format")) {
    const std::size_t colon = c.find(':');
    if (colon != c.npos) {
      std::size_t at = colon + 1;
      while (at < c.size() && c[at] == ' ') ++at;
      digits(at, '.');
    }
  }
}

void Reader::unit_line(std::string_view line, bool mm) {
  if (f_.unit_stated && f_.format.millimetres != mm)
    return fail("drill-two-units", "the file states two units", line, "keep one of them");
  f_.format.millimetres = mm;
  f_.unit_stated = true;
  if (!f_.digits_stated) {
    f_.format.integer_digits = mm ? 3 : 2;
    f_.format.decimals = mm ? 3 : 4;
  }
  for (std::string_view part : split(line, ',')) {
    part = trim(part);
    if (part == "LZ" || part == "TZ") {
      const ZeroRule rule = part == "LZ" ? ZeroRule::leading_kept : ZeroRule::trailing_kept;
      if (f_.zeros_stated && f_.format.zeros != rule)
        fail("drill-two-zero-rules", "the file states both LZ and TZ", line);
      f_.format.zeros = rule;
      f_.zeros_stated = true;
    } else if (!part.empty() && part[0] == '0' && part.find('.') != part.npos) {
      f_.format.integer_digits = static_cast<int>(part.find('.'));
      f_.format.decimals = static_cast<int>(part.size() - part.find('.') - 1);
      f_.digits_stated = true;
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
  const std::size_t c = rest.find('C');
  if (number == 0 && c == rest.npos) {
    current_ = -1;
    return;
  }
  const std::uint32_t index = tool_index(number);
  DrillTool& t = f_.tools[index];
  if (c != rest.npos) {
    const std::size_t stop = rest.find_first_not_of("0123456789.+-", c + 1);
    double v{};
    if (!formats::number(rest.substr(c + 1, stop == rest.npos ? rest.npos : stop - c - 1), v) || v < 0)
      return fail("drill-bad-tool", "the tool diameter cannot be read", line);
    const double mm = v * (f_.format.millimetres ? 1 : kMmPerInch);
    if (t.diameter && std::abs(*t.diameter - mm) > 0.02)
      return fail("drill-tool-twice", "one tool is defined with two diameters", line, "correct the tool table");
    t.size_unit_open = !f_.unit_stated;
    t.diameter = mm;
    t.line = line_;
  }
  if (plating_now_ != Plating::unknown) t.plating = plating_now_;
  if (!function_now_.empty()) t.function = function_now_;
  if (header_) return;
  current_ = static_cast<int>(index);
  if (const std::size_t at = rest.find_first_of("XY"); at != rest.npos) rout_or_hit(rest.substr(at));
}

bool Reader::read_number(std::string_view& s, DrillNumber& n) {
  bool negative = false;
  std::size_t i = 0;
  if (i < s.size() && (s[i] == '+' || s[i] == '-')) negative = s[i++] == '-';
  n = {};
  for (; i < s.size(); ++i) {
    if (s[i] >= '0' && s[i] <= '9') {
      if (n.count >= 17) return false;
      n.digits = n.digits * 10 + (s[i] - '0');
      ++n.count;
      if (n.point >= 0) ++n.point;
    } else if (s[i] == '.' && n.point < 0) {
      n.point = 0;
    } else {
      break;
    }
  }
  if (n.count == 0) return false;
  if (negative) n.digits = -n.digits;
  (n.point >= 0 ? f_.has_points : f_.has_integers) = true;
  if (n.point < 0 && n.digits != 0) {
    f_.shortest = std::min<int>(f_.shortest, n.count);
    f_.longest = std::max<int>(f_.longest, n.count);
  }
  s.remove_prefix(i);
  return true;
}

/// Reads X, Y, the second point behind G85, A, I, J into the command and keeps it.
void Reader::coordinates(std::string_view text, DrillOp op) {
  std::string_view s = text;
  bool second = false;
  while (!s.empty()) {
    const char c = s[0];
    s.remove_prefix(1);
    if (c == ' ') continue;
    if (c == 'G' && starts(s, "85")) {
      s.remove_prefix(2);
      second = true;
      op.kind = DrillOp::Kind::slot;
      continue;
    }
    DrillNumber n;
    if (c != 'X' && c != 'Y' && c != 'A' && c != 'I' && c != 'J' && c != 'F' && c != 'S')
      return fail("drill-bad-line", "the line cannot be read", text);
    if (!read_number(s, n)) return fail("drill-bad-number", "the number cannot be read", text);
    if (c == 'X') {
      (second ? op.x2 : op.x) = n;
      (second ? op.has_x2 : op.has_x) = true;
    }
    if (c == 'Y') {
      (second ? op.y2 : op.y) = n;
      (second ? op.has_y2 : op.has_y) = true;
    }
    if (c == 'A') {
      op.i = n;
      op.by_radius = true;
    }
    if (c == 'I') op.i = n;
    if (c == 'J') op.j = n;
  }
  keep(op, text);
}

void Reader::keep(DrillOp op, std::string_view line) {
  using Kind = DrillOp::Kind;
  if (cuts(op.kind) && current_ < 0 && tools_by_stop_ && !f_.tools.empty()) current_ = 0;
  if (cuts(op.kind) && current_ < 0)
    return fail("drill-no-tool", "a hole before a tool is selected", line, "the file is incomplete; export again");
  if (current_ >= 0) op.tool = static_cast<std::uint32_t>(current_);
  op.line = line_;
  op.relative = relative_;
  if (op.kind == Kind::hit || op.kind == Kind::repeat) f_.holes += op.count;
  f_.slots += op.kind == Kind::slot;
  f_.routs += op.kind == Kind::line || op.kind == Kind::arc || op.kind == Kind::circle;
  if (op.kind == Kind::pattern_begin) pattern_first_ = f_.holes;
  if (op.kind == Kind::pattern_end) pattern_holes_ = f_.holes - pattern_first_;
  if (op.kind == Kind::pattern_repeat) f_.holes += pattern_holes_;
  if (f_.ops.size() >= kMostOps || f_.holes > kMostHoles)
    return fail("drill-too-large", "more than 2 million holes", line);
  f_.ops.push_back(op);
}

/// Bare coordinates: a hit, or in rout mode a move or a stroke of the last kind.
void Reader::rout_or_hit(std::string_view text) {
  DrillOp op;
  if (rout_) {
    op.kind = !(tool_down_ || !uses_tool_down_) || rout_code_ == 0 ? DrillOp::Kind::move
              : rout_code_ == 1                                    ? DrillOp::Kind::line
                                                                   : DrillOp::Kind::arc;
    op.clockwise = rout_code_ == 2;
  }
  coordinates(text, op);
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
      // A file without M15 has its tool down wherever it cuts.
      rout_ = true;
      rout_code_ = code;
      if (!rest.empty()) {
        const bool down = tool_down_ || !uses_tool_down_;
        op.kind = !down ? DrillOp::Kind::move : code == 1 ? DrillOp::Kind::line : DrillOp::Kind::arc;
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
    case 85: return fail("drill-bad-line", "a slot (G85) without its first point", line);
    case 90: relative_ = false; break;
    case 91: relative_ = true; break;
    case 40: break;
    case 4:
    case 7: return;
    case 93: op.kind = DrillOp::Kind::zero; return coordinates(rest, op);
    case 41:
    case 42:
      return fail("drill-compensated", "cutter compensation moves the real path off the data", line,
                  "export the centre line (G40)");
    default: return once("drill-unknown-g", "an unknown G code is ignored", line);
  }
  // A code may share its line with a position.
  if (rest.empty()) return;
  if (rest[0] == 'X' || rest[0] == 'Y')
    rout_or_hit(rest);
  else
    fail("drill-bad-line", "the rest of the line cannot be read", line);
}

/// False if the code is none that changes what is drilled.
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
      // A stop; the end where no M30 follows. Files that name no tool in their body change it here.
      if (s_.find("M30") == s_.npos)
        ended_ = true;
      else if (tools_by_stop_ && current_ >= 0 && current_ + 1 < static_cast<int>(f_.tools.size()))
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
    int n{};
    auto [end, err] = std::from_chars(line.data() + 1, line.data() + line.size(), n);
    if (line == "R,T" || line == "R,C" || line == "R,H") return;
    if (err != std::errc{} || n < 1 || n > 1'000'000)
      return fail("drill-bad-repeat", "the repeat count cannot be read", line);
    DrillOp op;
    op.kind = DrillOp::Kind::repeat;
    op.count = static_cast<std::uint32_t>(n);
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
      once("drill-unknown-m", "an unknown M code is ignored", line);
    return;
  }
  if (line[0] == 'T') return tool(line);
  once("drill-unknown-line", "an unknown line is ignored", line);
}

DrillFile Reader::run() {
  uses_tool_down_ = s_.find("M15") != s_.npos;
  tools_by_stop_ = s_.find("\nT") == s_.npos;
  while (!s_.empty() && !ended_ && failures_ < 20) {
    std::string_view line = trim(next_line(s_));
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
      // What stood over the last definition says nothing of the tools selected in the body.
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
    if (std::any_of(std::begin(kIgnored), std::end(kIgnored), [&](auto k) { return starts(line, k); })) continue;
    if (line[0] == 'T' && line.size() > 1 && line[1] >= '0' && line[1] <= '9') {
      tool(line);
      continue;
    }
    body(line);
  }
  if (!ended_ && failures_ == 0)
    fail("drill-no-end", "the end command M30 is missing", "end of file",
         "the file is probably cut off; fetch it again");
  std::vector<std::size_t> counts(f_.tools.size()), uses(f_.tools.size());
  for (const auto& o : f_.ops) {
    if (o.tool >= counts.size()) continue;
    if (o.kind == DrillOp::Kind::hit || o.kind == DrillOp::Kind::repeat || o.kind == DrillOp::Kind::slot)
      counts[o.tool] += o.count;
    uses[o.tool] += cuts(o.kind);
  }
  const bool patterns = std::any_of(f_.ops.begin(), f_.ops.end(),
                                    [](const DrillOp& o) { return o.kind == DrillOp::Kind::pattern_repeat; });
  for (std::size_t i = 0; i < f_.tools.size(); ++i) {
    const DrillTool& t = f_.tools[i];
    if (uses[i] > 0 && !t.diameter)
      d_.error("drill-no-diameter", {f_.name, t.line, 0, {}}, "a tool is used whose diameter the file does not give",
               "T" + std::to_string(t.number), "a tool table, or hole sizes in comments",
               "set  tools = { T" + std::to_string(t.number) + " = \"0.95 mm\" }  for this drill file in the job file");
    if (t.stated_count >= 0 && counts[i] > 0 && !patterns && static_cast<std::size_t>(t.stated_count) != counts[i])
      d_.warn("drill-count", {f_.name, t.line, 0, {}},
              "the file announces another number of holes for a tool than it holds",
              "T" + std::to_string(t.number) + ": announced " + std::to_string(t.stated_count) + ", found " +
                  std::to_string(counts[i]));
  }
  return std::move(f_);
}
}  // namespace

std::string to_string(const DrillFormat& f) {
  return std::string(f.millimetres ? "metric " : "inch ") + std::to_string(f.integer_digits) + "." +
         std::to_string(f.decimals) +
         (f.zeros == ZeroRule::leading_kept ? ", leading zeros kept" : ", trailing zeros kept");
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

DrillFile read_drill(std::string_view bytes, const std::string& name, Diagnostics& d) {
  if (!looks_like_gerber(bytes)) return Reader(bytes, name, d).run();
  const GerberFile g = read_gerber(bytes, name, d);
  return d.failed() ? DrillFile{} : drill_of_gerber(g, d);
}

}  // namespace teasel::formats
