#include "teasel/formats/netlist.h"

#include <algorithm>
#include <map>
#include <set>

#include "teasel/units.h"
#include "text.h"

namespace teasel::formats {

namespace {
constexpr int kMostComplaints = 20;

class Reader {
 public:
  Reader(std::string_view bytes, const std::string& name, std::optional<NetlistUnit> unit, Diagnostics& d)
      : rest_(bytes), d_(d), forced_unit_(unit) {
    n_.name = name;
  }
  Netlist run();

 private:
  void collect_header(std::string_view bytes);
  void alias(std::string_view text);
  void parameter(std::string_view line);
  void comment(std::string_view line);
  void feature(std::string_view line);
  void outline(std::string_view line, bool continued);
  void conductor(std::string_view line, bool continued);
  void settle_aliases(std::string_view bytes);
  void settle_hole_unit();
  void contour_tokens(std::string_view text, std::vector<Ring>& contours, bool width_first);
  bool point_token(std::string_view token, Point& p);
  std::string resolve(std::string_view field) const;
  bool count(std::string_view field, std::optional<long>& value) const;
  bool coordinate(std::string_view record, std::size_t column, char letter, double& value);
  void bad(std::size_t column, std::string what, std::string_view found) {
    if (complaints_++ < kMostComplaints)
      d_.error("netlist-bad-field", {n_.name, line_, static_cast<std::uint32_t>(column), {}}, std::move(what),
               "'" + std::string(found) + "'", {}, "correct the line or export the netlist again");
  }
  void warn(const char* code, std::string message, std::string found = {}) {
    if (warned_.insert(code).second) d_.warn(code, {n_.name, line_, 0, {}}, std::move(message), std::move(found));
  }

  std::string_view rest_;
  Diagnostics& d_;
  std::optional<NetlistUnit> forced_unit_;
  Netlist n_;
  double scale_ = 0;
  std::uint32_t line_ = 0;
  int complaints_ = 0;
  bool ended_ = false;
  std::map<std::string, std::string, std::less<>> aliases_;
  std::set<std::string> warned_;
  Point pen_;
};

std::string_view columns(std::string_view line, std::size_t from, std::size_t to) {
  if (from > line.size()) return {};
  return line.substr(from - 1, to - from + 1);
}
bool blank(std::string_view s) {
  return s.find_first_not_of(' ') == s.npos;
}

/// Digits with blanks in front (some writers fill with blanks); all blank = absent.
bool Reader::count(std::string_view field, std::optional<long>& value) const {
  field = trim(field);
  value.reset();
  if (field.empty()) return true;
  long v{};
  auto [end, err] = std::from_chars(field.data(), field.data() + field.size(), v);
  if (err != std::errc{} || end != field.data() + field.size()) return false;
  value = v;
  return true;
}

bool Reader::coordinate(std::string_view record, std::size_t column, char letter, double& value) {
  const std::string_view field = columns(record, column, column + 7);
  if (field.empty() || field[0] != letter) {
    bad(column, std::string("column ") + std::to_string(column) + " must hold " + letter,
        columns(record, column, column + 7));
    return false;
  }
  const char sign = field.size() > 1 ? field[1] : ' ';
  std::optional<long> v;
  if (field.size() < 2) {
    bad(column, std::string(1, letter) + " coordinate is missing", field);
    return false;
  }
  if ((sign != '+' && sign != '-' && sign != ' ' && !(sign >= '0' && sign <= '9')) || !count(field.substr(2), v) ||
      !v) {
    bad(column, std::string(1, letter) + " coordinate cannot be read", field);
    return false;
  }
  if (sign >= '0' && sign <= '9') {  // unsigned writers may use the sign column for a digit
    if (!count(field.substr(1), v) || !v) {
      bad(column, "coordinate cannot be read", field);
      return false;
    }
  }
  value = (sign == '-' ? -1.0 : 1.0) * static_cast<double>(*v) * scale_;
  return true;
}

void Reader::alias(std::string_view text) {
  // text starts at NNAME
  const std::size_t blank_at = text.find(' ');
  if (blank_at == text.npos) return;
  std::string_view token = text.substr(0, blank_at), name = trim(text.substr(blank_at));
  std::string key(token.substr(5));
  if (key.empty()) {
    const std::size_t second = name.find(' ');
    if (second == name.npos) return;
    key = name.substr(0, second);
    name = trim(name.substr(second));
  }
  for (const std::string& k : {key, "NNAME" + key}) {
    auto [it, fresh] = aliases_.try_emplace(k, name);
    if (!fresh && it->second != name)
      d_.error("netlist-alias-twice", {n_.name, line_, 0, {}}, "one alias stands for two net names",
               k + " = " + it->second + " and " + std::string(name), {}, "correct the NNAME lines");
  }
  ++n_.aliases;
}

/// Which of the two spellings of an alias the records use; a bare alias must not be a net's own name as well.
void Reader::settle_aliases(std::string_view bytes) {
  if (aliases_.empty()) return;
  std::set<std::string, std::less<>> used;
  bool full = false;
  for (std::string_view rest = bytes; !rest.empty();) {
    const std::string_view line = next_line(rest);
    if (line.size() < 5 || (line[0] != '3' && line[0] != '0') || line[0] == 'P' || line[0] == 'C') continue;
    const std::string_view net = trim(columns(line, 4, 17));
    used.emplace(net);
    full |= net.size() > 5 && net.substr(0, 5) == "NNAME" && aliases_.count(net);
  }
  // Where records write "NNAME1", a bare "1" is a net of that name.
  if (full) {
    for (auto it = aliases_.begin(); it != aliases_.end();)
      it = it->first.substr(0, 5) == "NNAME" ? std::next(it) : aliases_.erase(it);
    return;
  }
  std::set<std::string, std::less<>> names;
  for (const auto& [key, name] : aliases_) names.insert(name);
  for (const auto& [key, name] : aliases_)
    if (names.count(key) && key != name && used.count(key))
      d_.error("netlist-alias-collides", {n_.name, 0, 0, {}}, "an alias is also the name of another net",
               key + " stands for " + name, {}, "export the netlist with other aliases");
}

void Reader::collect_header(std::string_view bytes) {
  // Units and aliases may stand after the records that use them, so they are gathered first.
  std::string unit_line;
  std::uint32_t unit_at = 0;
  for (std::string_view rest = bytes; !rest.empty();) {
    const std::string_view line = next_line(rest);
    ++line_;
    if (line.size() < 4) continue;
    if (line[0] == 'C' && line[1] == ' ') {
      const std::string_view text = trim(line.substr(1));
      if (text.substr(0, 5) == "NNAME") alias(text);
      comment(text);
    }
    if (line[0] != 'P' || line[1] != ' ') continue;
    const std::string_view text = trim(line.substr(1));
    if (text.substr(0, 5) == "NNAME") alias(text);
    if (text.substr(0, 5) != "UNITS") continue;
    const std::string_view value = trim(text.substr(5));
    NetlistUnit unit{};
    if (value == "CUST" || value == "CUST 0" || value == "CUST 2") {
      unit = NetlistUnit::inch_0001;
    } else if (value == "CUST 1" || value == "SI") {
      unit = NetlistUnit::mm_001;
    } else {
      d_.error("netlist-bad-units", {n_.name, line_, 0, {}}, "unknown UNITS value", std::string(value),
               "CUST 0, CUST 1, CUST 2 or SI", "correct the line, or set  [inputs.netlist] unit  in the job file");
      continue;
    }
    if (value == "CUST 2" || value == "SI")
      warn("netlist-rare-units", "this UNITS value may state angles in radians; degrees are assumed",
           std::string(value));
    if (n_.unit_stated && unit != n_.unit)
      d_.error("netlist-two-units", {n_.name, line_, 0, {}}, "two UNITS lines disagree",
               unit_line + " on line " + std::to_string(unit_at) + ", " + std::string(value) + " here", {},
               "keep one of them");
    n_.unit = unit;
    n_.unit_stated = true;
    unit_line = value;
    unit_at = line_;
  }
  line_ = 0;
}

void Reader::comment(std::string_view text) {
  auto number_after = [&](std::string_view key) -> std::optional<double> {
    const std::size_t at = text.find(key);
    double v{};
    if (at == text.npos || !number(text.substr(at + key.size()), v)) return std::nullopt;
    return v;
  };
  if (auto v = number_after("Number of etch Layers:"); v && *v >= 1 && *v <= 99)
    n_.stated_layers = static_cast<int>(*v);
  if (auto v = number_after("Board Thickness(mils):"); v && *v > 0) n_.thickness = *v * kMmPerInch / 1000;
}

std::string Reader::resolve(std::string_view field) const {
  auto it = aliases_.find(field);
  return it == aliases_.end() ? std::string(field) : it->second;
}

void Reader::feature(std::string_view r) {
  if (r.find('\t') != r.npos) return bad(r.find('\t') + 1, "a tab in a fixed-column record", "tab");
  NetlistRecord f;
  f.line = line_;
  f.continuation = r[0] == '0';
  f.kind = r[0] == '3' && r[1] == '0' ? NetlistRecord::Kind::blind_via
           : r[1] == '1'              ? NetlistRecord::Kind::through
           : r[1] == '2'              ? NetlistRecord::Kind::surface
                                      : NetlistRecord::Kind::tooling;
  const std::string_view net = trim(columns(r, 4, 17));
  f.unconnected = net.empty() || net == "N/C";
  f.net = f.unconnected ? "N/C" : resolve(net);
  f.component = trim(columns(r, 21, 26));
  f.pin = trim(columns(r, 28, 31));
  if (f.component == "NOREF") f.component.clear();
  f.mid_point = columns(r, 32, 32) == "M";
  if (columns(r, 33, 33) == "D") {
    std::optional<long> hole;
    if (!count(columns(r, 34, 37), hole)) return bad(34, "the hole diameter cannot be read", columns(r, 34, 37));
    if (hole) f.hole = static_cast<double>(*hole) * scale_;
    const std::string_view plating = columns(r, 38, 38);
    if (plating != "P" && plating != "U" && !blank(plating)) return bad(38, "plating must be P or U", plating);
    f.plated = plating != "U";
  }
  if (f.kind == NetlistRecord::Kind::tooling && columns(r, 38, 38) != "P") f.plated = false;
  std::optional<long> access;
  if (columns(r, 39, 39) == "A" && count(columns(r, 40, 41), access) && access) {
    f.access = static_cast<int>(*access);
  } else if (!blank(columns(r, 39, 41))) {
    return bad(39, "the access code must be A and two digits", columns(r, 39, 41));
  }
  if (!coordinate(r, 42, 'X', f.at.x) || !coordinate(r, 50, 'Y', f.at.y)) return;
  std::optional<long> w, h, turn;
  if (columns(r, 58, 58) == "X" && !count(columns(r, 59, 62), w))
    return bad(59, "the pad size cannot be read", columns(r, 59, 62));
  if (columns(r, 63, 63) == "Y" && !count(columns(r, 64, 67), h))
    return bad(64, "the pad size cannot be read", columns(r, 64, 67));
  if (columns(r, 68, 68) == "R" && !count(columns(r, 69, 71), turn))
    return bad(69, "the rotation cannot be read", columns(r, 69, 71));
  if (w) f.width = static_cast<double>(*w) * scale_;
  if (h) f.height = static_cast<double>(*h) * scale_;
  if (turn) f.rotation = static_cast<double>(*turn);
  std::string_view tail = columns(r, 72, 80);
  if (const std::size_t s = tail.find('S'); s <= 1 && s + 1 < tail.size() && tail[s + 1] >= '0' && tail[s + 1] <= '9') {
    const bool garbage = s + 2 < tail.size() && tail[s + 2] >= '0' && tail[s + 2] <= '9';
    if (!garbage && tail[s + 1] <= '3') f.mask_code = tail[s + 1] - '0';
  }
  if (const std::size_t l = tail.find('L'); l != tail.npos && l + 5 < tail.size() + 0 && tail[l + 3] == 'L') {
    std::optional<long> a, b;
    if (count(tail.substr(l + 1, 2), a) && count(tail.substr(l + 4, 2), b) && a && b) {
      f.first_layer = static_cast<int>(*a);
      f.last_layer = static_cast<int>(*b);
    }
  }
  if (f.continuation) {
    if (n_.records.empty()) return bad(1, "a continuation record before any other", columns(r, 1, 3));
    const NetlistRecord& parent = n_.records.back();
    if (net.empty() || f.unconnected) {
      f.net = parent.net;
      f.unconnected = parent.unconnected;
    }
    if (f.component.empty()) {
      f.component = parent.component;
      f.pin = parent.pin;
    }
    if (!f.unconnected && !parent.unconnected && f.net != parent.net)
      return bad(4, "a continuation record names another net than its parent on line " + std::to_string(parent.line),
                 net);
  }
  if (r.size() > 80 && !blank(r.substr(80)))
    warn("netlist-long-line", "text beyond column 80 is ignored", std::string(r.substr(80, 20)));
  n_.records.push_back(std::move(f));
}

/// "X150Y-20", either axis may be missing and then keeps its value.
bool Reader::point_token(std::string_view token, Point& p) {
  bool any = false;
  for (char letter : {'X', 'Y'}) {
    const std::size_t at = token.find(letter);
    if (at == token.npos) continue;
    const std::size_t stop = token.find_first_of("XY", at + 1);
    double raw{};
    if (!number(token.substr(at + 1, stop == token.npos ? token.npos : stop - at - 1), raw)) return false;
    (letter == 'X' ? p.x : p.y) = raw * scale_;
    any = true;
  }
  return any;
}

/// Points from a blank-separated list; an asterisk lifts the pen. `width_first`: a lone X at the head is a pen width.
void Reader::contour_tokens(std::string_view text, std::vector<Ring>& contours, bool width_first) {
  bool pen_down = !contours.empty(), first = width_first;
  for (std::size_t i = 0; i < text.size();) {
    if (text[i] == ' ') {
      ++i;
      continue;
    }
    if (text[i] == '*') {
      pen_down = false;
      ++i;
      continue;
    }
    const std::size_t end = std::min(text.find_first_of(" *", i), text.size());
    const std::string_view token = text.substr(i, end - i);
    i = end;
    Point p = pen_;
    if (!point_token(token, p)) return bad(23, "a coordinate of an outline or conductor cannot be read", token);
    const bool width = first && token.find('Y') == token.npos;
    first = false;
    if (width) continue;
    if (contours.empty() || !pen_down) contours.emplace_back();
    pen_down = true;
    pen_ = p;
    contours.back().push_back(pen_);
  }
}

void Reader::outline(std::string_view line, bool continued) {
  if (!continued) {
    n_.outlines.push_back({std::string(trim(columns(line, 4, 17))), {}, line_});
    pen_ = {};
  } else if (n_.outlines.empty()) {
    return bad(1, "an outline continuation before any outline", columns(line, 1, 3));
  }
  auto& contours = n_.outlines.back().contours;
  contour_tokens(line.size() > 22 ? line.substr(22) : std::string_view{}, contours, contours.empty());
}

/// 378: net, layer, aperture, polyline; 078 goes on with the polyline.
void Reader::conductor(std::string_view line, bool continued) {
  std::string_view text = line.size() > 22 ? line.substr(22) : std::string_view{};
  if (continued) {
    if (n_.conductors.empty()) return bad(1, "a conductor continuation before any conductor", columns(line, 1, 3));
    return contour_tokens(text, n_.conductors.back().strokes, false);
  }
  NetlistConductor c;
  c.net = resolve(trim(columns(line, 4, 17)));
  c.line = line_;
  std::optional<long> layer;
  if (columns(line, 19, 19) != "L" || !count(columns(line, 20, 21), layer) || !layer)
    return bad(19, "a conductor needs its layer, L and two digits", columns(line, 19, 21));
  c.layer = static_cast<int>(*layer);
  text = trim(text);
  const std::size_t end = std::min(text.find(' '), text.size());
  Point size;
  if (!point_token(text.substr(0, end), size)) return bad(23, "a conductor needs its width", text.substr(0, 20));
  c.width = size.x;
  c.height = size.y;
  n_.conductors.push_back(std::move(c));
  pen_ = {};
  contour_tokens(text.substr(end), n_.conductors.back().strokes, false);
}

/// One writer gives hole diameters in mils where everything else is in 0.0001 inch: every hole is then a tenth of what
/// its pad would let through.
void Reader::settle_hole_unit() {
  std::size_t seen = 0;
  for (const auto& r : n_.records) {
    if (!r.hole || *r.hole <= 0 || !r.width || *r.width <= 0) continue;
    const double pad = r.height && *r.height > 0 ? std::min(*r.width, *r.height) : *r.width;
    if (4 * *r.hole >= pad || 10 * *r.hole >= pad) return;
    ++seen;
  }
  if (seen < 3 || n_.unit != NetlistUnit::inch_0001) return;
  for (auto& r : n_.records)
    if (r.hole) *r.hole *= 10;
  n_.holes_in_mils = true;
  line_ = 0;
  warn("netlist-holes-in-mils",
       "hole diameters are taken in 0.001 inch: all are less than a quarter of their pads, and ten times as much still "
       "fits",
       std::to_string(seen) + " holes with pads; the drill file tells");
}

Netlist Reader::run() {
  collect_header(rest_);
  settle_aliases(rest_);
  if (forced_unit_) n_.unit = *forced_unit_;
  if (!n_.unit_stated && !forced_unit_)
    d_.error("netlist-no-units", {n_.name, 0, 0, {}}, "the netlist states no UNITS", {}, "a line  P  UNITS CUST 0",
             "set  [inputs.netlist] unit = \"0.0001 in\"  or  \"0.001 mm\"  in the job file");
  scale_ = n_.unit == NetlistUnit::mm_001 ? 0.001 : 0.0001 * kMmPerInch;
  bool in_outline = false, in_conductor = false;
  while (!rest_.empty() && !ended_ && complaints_ < kMostComplaints) {
    std::string_view line = next_line(rest_);
    ++line_;
    if (blank(line)) continue;
    const std::string_view code = line.substr(0, 3);
    if (code == "317" || code == "327" || code == "367" || code == "307" || code == "017" || code == "027") {
      feature(line);
      in_outline = in_conductor = false;
    } else if (code == "389") {
      outline(line, false);
      in_outline = true;
      in_conductor = false;
    } else if (code == "378") {
      conductor(line, false);
      in_conductor = true;
      in_outline = false;
    } else if (code == "078" && in_conductor) {
      conductor(line, true);
    } else if (code == "089" && in_outline) {
      outline(line, true);
    } else if (code == "999") {
      ended_ = true;
    } else if (line[0] != 'P' && line[0] != 'C') {
      static const std::set<std::string_view> known = {"099", "088", "309", "370", "070", "380", "080",
                                                       "378", "078", "379", "079", "390", "090", "089"};
      if (!known.count(code)) bad(1, "unknown record code", code);
      if (code == "309")
        d_.warn("netlist-stepped-image", {n_.name, line_, 0, {}},
                "a stepped image (309) is not expanded; single boards only");
      in_outline = in_conductor = false;
    }
  }
  settle_hole_unit();
  if (n_.aliases == 0) {
    std::set<std::string_view> full;
    for (const auto& r : n_.records)
      if (r.net.size() == 14) full.insert(r.net);
    n_.perhaps_cut = full.size();
  }
  if (!ended_ && complaints_ == 0)
    d_.error("netlist-no-end", {n_.name, line_, 0, {}}, "the end record 999 is missing", "end of file", "999",
             "the file is probably cut off; fetch it again");
  if (ended_ && !blank(rest_) && rest_.find_first_not_of(" \r\n\x1a") != rest_.npos)
    d_.warn("netlist-after-end", {n_.name, line_, 0, {}}, "text after the end record 999 is ignored");
  return std::move(n_);
}
}  // namespace

bool looks_like_netlist(std::string_view bytes) {
  int features = 0, headers = 0, lines = 0;
  for (std::string_view rest = bytes; !rest.empty() && lines < 4000; ++lines) {
    const std::string_view line = next_line(rest);
    if (line.size() < 3) continue;
    const std::string_view code = line.substr(0, 3);
    if ((code == "317" || code == "327" || code == "367") && line.size() >= 57 && line[41] == 'X' && line[49] == 'Y')
      ++features;
    if (code == "P  ") ++headers;
  }
  return features >= 2 || (features >= 1 && headers >= 1);
}

Netlist read_netlist(std::string_view bytes, const std::string& name, std::optional<NetlistUnit> unit, Diagnostics& d) {
  return Reader(bytes, name, unit, d).run();
}

}  // namespace teasel::formats
