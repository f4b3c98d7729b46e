#include "teasel/formats/drill.h"

#include <algorithm>
#include <cmath>
#include <set>

#include "teasel/units.h"
#include "text.h"

namespace teasel::formats {

namespace {
constexpr std::size_t kMostHits = 5'000'000;

class Reader {
 public:
  Reader(std::string_view bytes, const std::string& name, Diagnostics& d) : s_(bytes), d_(d) { f_.name = name; }
  DrillFile run();

 private:
  void comment(std::string_view c);
  void unit_line(std::string_view line, bool mm);
  void tool(std::string_view line);
  void body(std::string_view line);
  void coordinates(std::string_view line, int repeat);
  bool read_number(std::string_view& s, DrillNumber& n);
  std::uint32_t tool_index(int number);
  void hole_size_comment(std::string_view c);
  void fail(const char* code, std::string message, std::string_view found, std::string remedy = {}) {
    if (failures_++ < 20) d_.error(code, {f_.name, line_, 0, {}}, std::move(message), std::string(found.substr(0, 60)), {}, std::move(remedy));
  }
  void once(const char* code, std::string message, std::string_view found) {
    if (warned_.insert(code).second) d_.warn(code, {f_.name, line_, 0, {}}, std::move(message), std::string(found.substr(0, 60)));
  }

  std::string_view s_;
  Diagnostics& d_;
  DrillFile f_;
  std::uint32_t line_ = 0;
  int failures_ = 0;
  bool ended_ = false, header_ = false, rout_ = false, tool_down_ = false;
  int current_ = -1, pending_holesize_ = 0;
  Plating plating_now_{};
  std::string function_now_;
  DrillNumber x_, y_, pen_x_, pen_y_;
  std::set<std::string> warned_;
};

bool starts(std::string_view s, std::string_view with) { return s.substr(0, with.size()) == with; }

std::uint32_t Reader::tool_index(int number) {
  for (std::size_t i = 0; i < f_.tools.size(); ++i)
    if (f_.tools[i].number == number) return static_cast<std::uint32_t>(i);
  DrillTool t;
  t.number = number, t.line = line_;
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
    fail("drill-tool-contradiction", "the tool table and a comment give one tool two diameters", c, "correct one of them");
    return;
  }
  if (!t.diameter) t.diameter = diameter;
  if (c.find("NON_PLATED") != c.npos || c.find("NON-PLATED") != c.npos) t.plating = Plating::unplated;
  else if (c.find("PLATED") != c.npos) t.plating = Plating::plated;
  if (const std::size_t q = c.find("Quantity"); q != c.npos) {
    const std::size_t e = c.find('=', q);
    double n{};
    if (e != c.npos && formats::number(c.substr(e + 1), n)) t.stated_count = static_cast<int>(n);
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
      if (fields.size() >= 3 && number(fields[1], a) && number(fields[2], b))
        f_.first_layer = static_cast<int>(a), f_.last_layer = static_cast<int>(b);
    } else if (starts(c, "TA.AperFunction")) {
      std::string_view v = value;
      plating_now_ = starts(v, "Plated,") ? Plating::plated : starts(v, "NonPlated,") ? Plating::unplated : Plating::unknown;
      if (plating_now_ != Plating::unknown) {
        const auto fields = split(v, ',');
        std::string joined;
        for (std::size_t i = 2; i < fields.size(); ++i) joined += (i > 2 ? "," : "") + std::string(fields[i]);
        function_now_ = joined;
      } else {
        function_now_ = v;
      }
    } else if (starts(c, "TD")) {
      plating_now_ = Plating::unknown, function_now_.clear();
    }
    return;
  }
  if (c.find("Holesize") != c.npos) return hole_size_comment(c);
  if (starts(c, "TYPE=PLATED")) plating_now_ = Plating::plated;
  if (starts(c, "TYPE=NON_PLATED")) plating_now_ = Plating::unplated;
  if (starts(c, "Contents")) {
    if (c.find("Non-Plated") != c.npos) f_.plating = Plating::unplated;
    else if (c.find("Plated") != c.npos) f_.plating = Plating::plated;
  }
  auto digits = [&](std::size_t at, char separator) {
    if (at + 2 < c.size() && c[at] >= '0' && c[at] <= '9' && c[at + 1] == separator && c[at + 2] >= '0' && c[at + 2] <= '9') {
      f_.format.integer_digits = c[at] - '0', f_.format.decimals = c[at + 2] - '0', f_.digits_stated = true;
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
  f_.format.millimetres = mm, f_.unit_stated = true;
  if (!f_.digits_stated) f_.format.integer_digits = mm ? 3 : 2, f_.format.decimals = mm ? 3 : 4;
  for (std::string_view part : split(line, ',')) {
    part = trim(part);
    if (part == "LZ" || part == "TZ") {
      const ZeroRule rule = part == "LZ" ? ZeroRule::leading_kept : ZeroRule::trailing_kept;
      if (f_.zeros_stated && f_.format.zeros != rule) fail("drill-two-zero-rules", "the file states both LZ and TZ", line);
      f_.format.zeros = rule, f_.zeros_stated = true;
    } else if (!part.empty() && part[0] == '0' && part.find('.') != part.npos) {
      f_.format.integer_digits = static_cast<int>(part.find('.'));
      f_.format.decimals = static_cast<int>(part.size() - part.find('.') - 1), f_.digits_stated = true;
    }
  }
}

void Reader::tool(std::string_view line) {
  int number{};
  auto [end, err] = std::from_chars(line.data() + 1, line.data() + line.size(), number);
  if (err != std::errc{} || number > 9999) return fail("drill-bad-tool", "the tool line cannot be read", line);
  std::string_view rest = line.substr(static_cast<std::size_t>(end - line.data()));
  if (!rest.empty() && rest[0] == '(') rest = rest.find(')') == rest.npos ? std::string_view{} : rest.substr(rest.find(')') + 1);
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
    if (!f_.unit_stated) f_.tool_sizes_in_file_unit_known = false;
    t.diameter = mm;
    t.line = line_;
  }
  if (plating_now_ != Plating::unknown) t.plating = plating_now_;
  if (!function_now_.empty()) t.function = function_now_;
  if (!header_) current_ = static_cast<int>(index);
}

bool Reader::read_number(std::string_view& s, DrillNumber& n) {
  bool negative = false;
  std::size_t i = 0;
  if (i < s.size() && (s[i] == '+' || s[i] == '-')) negative = s[i++] == '-';
  n = {};
  for (; i < s.size(); ++i) {
    if (s[i] >= '0' && s[i] <= '9') {
      if (n.count >= 17) return false;
      n.digits = n.digits * 10 + (s[i] - '0'), ++n.count;
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
  if (n.point < 0 && n.digits != 0) f_.shortest = std::min<int>(f_.shortest, n.count), f_.longest = std::max<int>(f_.longest, n.count);
  s.remove_prefix(i);
  return true;
}

void Reader::coordinates(std::string_view line, int repeat) {
  DrillHit h;
  h.line = line_;
  std::string_view s = line;
  bool has_x = false, has_y = false, second = false;
  DrillNumber x = x_, y = y_;
  while (!s.empty()) {
    const char c = s[0];
    s.remove_prefix(1);
    if (c == 'X' || c == 'Y') {
      DrillNumber n;
      if (!read_number(s, n)) return fail("drill-bad-number", "the coordinate cannot be read", line);
      (c == 'X' ? x : y) = n;
      (c == 'X' ? has_x : has_y) = true;
    } else if (c == 'G' && starts(s, "85")) {
      s.remove_prefix(2);
      h.x = x, h.y = y, second = true, h.slot = true;
    } else if (c == 'A' || c == 'I' || c == 'J' || c == 'F' || c == 'S') {
      DrillNumber skipped;
      if (!read_number(s, skipped)) return fail("drill-bad-number", "the parameter cannot be read", line);
    } else if (c != ' ') {
      return fail("drill-bad-line", "the line cannot be read", line);
    }
  }
  if (current_ < 0 && !(rout_ && !tool_down_)) return fail("drill-no-tool", "a hole before a tool is selected", line, "the file is incomplete; export again");
  if (repeat > 0) {
    h.tool = static_cast<std::uint32_t>(current_), h.repeat = true;
    h.x = has_x ? x : DrillNumber{}, h.y = has_y ? y : DrillNumber{};
    if (f_.hits.size() + static_cast<std::size_t>(repeat) > kMostHits) return fail("drill-too-large", "more than 5 million holes", line);
    f_.hits.insert(f_.hits.end(), static_cast<std::size_t>(repeat), h);
    return;
  }
  x_ = x, y_ = y;
  if (rout_) {
    if (tool_down_) {
      h.x = pen_x_, h.y = pen_y_, h.x2 = x, h.y2 = y, h.slot = true, h.tool = static_cast<std::uint32_t>(current_);
      f_.hits.push_back(h), ++f_.routed;
    }
    pen_x_ = x, pen_y_ = y;
    return;
  }
  if (second) h.x2 = x, h.y2 = y; else h.x = x, h.y = y;
  h.tool = static_cast<std::uint32_t>(current_);
  if (f_.hits.size() >= kMostHits) return fail("drill-too-large", "more than 5 million holes", line);
  f_.hits.push_back(h);
}

void Reader::body(std::string_view line) {
  if (line[0] == 'R') {
    std::size_t i = 1;
    int n{};
    auto [end, err] = std::from_chars(line.data() + 1, line.data() + line.size(), n);
    i = static_cast<std::size_t>(end - line.data());
    if (line == "R,T" || line == "R,C") return;
    if (err != std::errc{} || n < 1 || n > 1'000'000) return fail("drill-bad-repeat", "the repeat count cannot be read", line);
    return coordinates(line.substr(i), n);
  }
  if (line[0] == 'X' || line[0] == 'Y') return coordinates(line, 0);
  if (line[0] == 'G') {
    int code{};
    auto [end, err] = std::from_chars(line.data() + 1, line.data() + line.size(), code);
    if (err != std::errc{}) return fail("drill-bad-line", "the G code cannot be read", line);
    const std::string_view rest = trim(line.substr(static_cast<std::size_t>(end - line.data())));
    switch (code) {
      case 0: rout_ = true, tool_down_ = false; if (!rest.empty()) coordinates(rest, 0); return;
      case 1: case 2: case 3:
        if (code != 1) once("drill-routed-arc", "a routed arc is taken as its chord", line);
        if (!rest.empty()) coordinates(rest, 0);
        return;
      case 5: case 81: rout_ = tool_down_ = false; return;
      case 90: case 40: case 4: case 7: return;
      case 93:
        if (rest.find_first_of("123456789") != rest.npos) fail("drill-zero-set", "a shifted zero (G93) is not supported", line, "export without it");
        return;
      case 91: return fail("drill-incremental", "incremental coordinates are not supported", line, "export with absolute coordinates");
      case 41: case 42: return fail("drill-compensated", "cutter compensation moves the real path off the data", line, "export the centre line (G40)");
      default: once("drill-unknown-g", "an unknown G code is ignored", line); return;
    }
  }
  if (line[0] == 'M') {
    int code{};
    std::from_chars(line.data() + 1, line.data() + line.size(), code);
    if (code == 15) tool_down_ = true;
    else if (code == 16 || code == 17) tool_down_ = false;
    else if (code == 30 || code == 0 || code == 2) ended_ = code == 30 || s_.empty() || s_.find("M30") == s_.npos;
    else if (code == 1 || code == 8 || code == 25)
      fail("drill-pattern", "pattern repeats are not supported", line, "export the holes one by one");
    return;
  }
  if (line[0] == 'T') return tool(line);
  once("drill-unknown-line", "an unknown line is ignored", line);
}

DrillFile Reader::run() {
  while (!s_.empty() && !ended_ && failures_ < 20) {
    std::string_view line = trim(next_line(s_));
    ++line_;
    if (line.empty()) continue;
    if (line[0] == ';') { comment(line.substr(1)); continue; }
    if (line == "%M48" || line == "M48") { header_ = true; continue; }
    if (line == "%" || line == "M95") { header_ = false; continue; }
    if (starts(line, "INCH") || line == "M72" || starts(line, "M72,")) { unit_line(line, false); continue; }
    if (starts(line, "METRIC") || line == "M71" || starts(line, "M71,")) { unit_line(line, true); continue; }
    if (starts(line, "ICI") && line.find("OFF") == line.npos) {
      fail("drill-incremental", "incremental coordinates are not supported", line, "export with absolute coordinates");
      continue;
    }
    static constexpr std::string_view kIgnored[] = {"FMAT", "VER", "ICI", "DETECT", "ATC", "TCST", "OM48", "AFS", "CCW", "CP", "FSB", "HPCK", "NCSL", "PCKPARAM", "LEADER", "F1", "R,T", "R,C", "SBK"};
    if (std::any_of(std::begin(kIgnored), std::end(kIgnored), [&](auto k) { return starts(line, k); })) continue;
    if (line[0] == 'T' && line.size() > 1 && line[1] >= '0' && line[1] <= '9') { tool(line); continue; }
    body(line);
  }
  if (!ended_ && failures_ == 0)
    fail("drill-no-end", "the end command M30 is missing", "end of file", "the file is probably cut off; fetch it again");
  std::vector<int> counts(f_.tools.size());
  for (const auto& h : f_.hits) ++counts[h.tool];
  for (std::size_t i = 0; i < f_.tools.size(); ++i) {
    const DrillTool& t = f_.tools[i];
    if (counts[i] > 0 && !t.diameter)
      d_.error("drill-no-diameter", {f_.name, t.line, 0, {}}, "a tool is used whose diameter the file does not give",
               "T" + std::to_string(t.number), "a tool table, or hole sizes in comments", "set  tools = { T" + std::to_string(t.number) + " = \"0.95 mm\" }  for this drill file in the job file");
    if (t.stated_count >= 0 && counts[i] > 0 && t.stated_count != counts[i])
      d_.warn("drill-count", {f_.name, t.line, 0, {}}, "the file announces another number of holes for a tool than it holds",
              "T" + std::to_string(t.number) + ": announced " + std::to_string(t.stated_count) + ", found " + std::to_string(counts[i]));
  }
  return std::move(f_);
}
}  // namespace

std::string to_string(const DrillFormat& f) {
  return std::string(f.millimetres ? "metric " : "inch ") + std::to_string(f.integer_digits) + "." + std::to_string(f.decimals) +
         (f.zeros == ZeroRule::leading_kept ? ", leading zeros kept" : ", trailing zeros kept");
}

bool looks_like_drill(std::string_view bytes) {
  const std::string_view head = bytes.substr(0, 200'000);
  if (head.find("%FS") != head.npos || head.find("%MO") != head.npos) return false;
  int commands = 0, coordinates = 0, strange = 0, lines = 0;
  for (std::string_view rest = head; !rest.empty() && lines < 2000; ++lines) {
    const std::string_view line = trim(next_line(rest));
    if (line.empty() || line[0] == ';') continue;
    if (line == "M48" || line == "%M48") commands += 3;
    else if (line == "G90" || line == "G05" || line == "M30" || line == "%" || line.substr(0, 4) == "INCH" || line.substr(0, 6) == "METRIC") ++commands;
    else if (line.size() > 2 && line.find_first_of("XY") != line.npos && line.find_first_not_of("GXYRMAIJ+-.0123456789") == line.npos) ++coordinates;
    else if (line.find_first_not_of("TCFSBHZGMRUV+-.,0123456789()") != line.npos) ++strange;
  }
  return (commands >= 3 || (commands >= 1 && coordinates >= 2)) && coordinates + commands > strange;
}

DrillFile read_drill(std::string_view bytes, const std::string& name, Diagnostics& d) { return Reader(bytes, name, d).run(); }

std::vector<Hole> holes_of(const DrillFile& file, const DrillFormat& format) {
  static constexpr double kPow[] = {1, 10, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18};
  const double unit = format.millimetres ? 1.0 : kMmPerInch;
  const int total = format.integer_digits + format.decimals;
  auto mm = [&](const DrillNumber& n) {
    const double raw = static_cast<double>(n.digits);
    if (n.point >= 0) return raw / kPow[n.point] * unit;
    if (format.zeros == ZeroRule::leading_kept && n.count < total) return raw * kPow[total - n.count] / kPow[format.decimals] * unit;
    return raw / kPow[format.decimals] * unit;
  };
  std::vector<Hole> holes;
  holes.reserve(file.hits.size());
  Point last;
  for (const auto& h : file.hits) {
    Hole o;
    o.at = {mm(h.x), mm(h.y)};
    if (h.repeat) o.at = last + o.at;
    o.end = h.slot ? Point{mm(h.x2), mm(h.y2)} : o.at;
    o.slot = h.slot;
    const DrillTool& t = file.tools[h.tool];
    o.diameter = t.diameter.value_or(0);
    o.plating = t.plating != Plating::unknown ? t.plating : file.plating;
    o.function = t.function;
    o.line = h.line;
    o.first_layer = file.first_layer, o.last_layer = file.last_layer;
    last = o.slot ? o.end : o.at;
    holes.push_back(std::move(o));
  }
  return holes;
}

}  // namespace teasel::formats
