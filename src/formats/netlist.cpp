#include "teasel/formats/netlist.h"

#include <algorithm>
#include <map>
#include <set>

#include "teasel/formats/net_table.h"
#include "teasel/formats/workbook.h"
#include "teasel/units.h"
#include "text.h"

namespace teasel::formats {

namespace {
constexpr int kMostComplaints = 20;

class Reader {
 public:
  Reader(std::string_view bytes, const std::string& name, std::optional<NetlistUnit> unit, Diagnostics& diagnostics)
      : rest_(bytes), diagnostics_(diagnostics), forced_unit_(unit) {
    netlist_.name = name;
  }
  Netlist run();

 private:
  void collect_header(std::string_view bytes);
  void stands_for(const std::string& spelling, std::string_view name);
  void alias(std::string_view text);
  void paired_names(std::string_view text);
  void parameter(std::string_view line);
  void comment(std::string_view line);
  void feature(std::string_view line);
  bool hole(std::string_view text, NetlistRecord& record);
  bool access(std::string_view text, NetlistRecord& record);
  bool land(std::string_view text, NetlistRecord& record);
  void mask_and_span(std::string_view tail, NetlistRecord& record) const;
  bool take_from_parent(std::string_view text, NetlistRecord& record);
  void outline(std::string_view line, bool continued);
  void conductor(std::string_view line, bool continued);
  void settle_aliases(std::string_view bytes);
  void settle_hole_unit();
  void settle_unit();
  void read_record(std::string_view line);
  void other_record(std::string_view code);
  void count_full_names();
  void check_end();
  void contour_tokens(std::string_view text, std::vector<Ring>& contours, bool width_first);
  bool point_token(std::string_view token, Point& point);
  std::string resolve(std::string_view field) const;
  bool count(std::string_view field, std::optional<long>& value) const;
  bool coordinate(std::string_view record, std::size_t column, char letter, double& value);
  void bad(std::size_t column, std::string what, std::string_view found) {
    if (complaints_++ < kMostComplaints)
      diagnostics_.error({.code = "netlist-bad-field",
                          .at = {netlist_.name, line_, static_cast<std::uint32_t>(column), {}},
                          .message = std::move(what),
                          .found = "'" + std::string(found) + "'",
                          .remedy = "correct the line or export the netlist again"});
  }
  void warn(const char* code, std::string message, std::string found = {}) {
    if (warned_.insert(code).second)
      diagnostics_.warn({.code = code,
                         .at = {netlist_.name, line_, 0, {}},
                         .message = std::move(message),
                         .found = std::move(found)});
  }

  std::string_view rest_;
  Diagnostics& diagnostics_;
  std::optional<NetlistUnit> forced_unit_;
  Netlist netlist_;
  double scale_ = 0;
  std::uint32_t line_ = 0;
  int complaints_ = 0;
  bool ended_ = false;
  enum class Polyline : std::uint8_t { none, outline, conductor };
  Polyline begun_{};  ///< what a record of continued points goes on with
  std::map<std::string, std::string, std::less<>> aliases_;
  std::set<std::string> warned_;
  Point pen_;
};

std::string_view columns(std::string_view line, std::size_t from, std::size_t to) {
  if (from > line.size()) return {};
  return line.substr(from - 1, to - from + 1);
}
bool blank(std::string_view text) {
  return text.find_first_not_of(' ') == text.npos;
}

/// Reads digits with blanks in front, since some writers fill with blanks. A blank field holds no number.
bool Reader::count(std::string_view field, std::optional<long>& value) const {
  field = trim(field);
  value.reset();
  if (field.empty()) return true;
  long number_read{};
  auto [end, err] = std::from_chars(field.data(), field.data() + field.size(), number_read);
  if (err != std::errc{} || end != field.data() + field.size()) return false;
  value = number_read;
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
  std::optional<long> digits;
  if (field.size() < 2) {
    bad(column, std::string(1, letter) + " coordinate is missing", field);
    return false;
  }
  if ((sign != '+' && sign != '-' && sign != ' ' && !(sign >= '0' && sign <= '9')) || !count(field.substr(2), digits) ||
      !digits) {
    bad(column, std::string(1, letter) + " coordinate cannot be read", field);
    return false;
  }
  if (sign >= '0' && sign <= '9') {  // unsigned writers may use the sign column for a digit
    if (!count(field.substr(1), digits) || !digits) {
      bad(column, "coordinate cannot be read", field);
      return false;
    }
  }
  value = (sign == '-' ? -1.0 : 1.0) * static_cast<double>(*digits) * scale_;
  return true;
}

void Reader::stands_for(const std::string& spelling, std::string_view name) {
  const auto [it, fresh] = aliases_.try_emplace(spelling, name);
  if (!fresh && it->second != name)
    diagnostics_.error({.code = "netlist-alias-twice",
                        .at = {netlist_.name, line_, 0, {}},
                        .message = "an alias stands for two net names",
                        .found = spelling + " = " + it->second + " and " + std::string(name),
                        .remedy = "correct the NNAME lines"});
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
  for (const std::string& spelling : {key, "NNAME" + key}) stands_for(spelling, name);
  ++netlist_.aliases;
}

/// Finds out which of the two spellings of an alias the records use. A bare alias must not be a net's own name as well.
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
      diagnostics_.error({.code = "netlist-alias-collides",
                          .at = {netlist_.name, 0, 0, {}},
                          .message = "an alias is also the name of another net",
                          .found = key + " stands for " + name,
                          .remedy = "export the netlist with other aliases"});
}

/// "CAD Netname : CLK --- IPC Netname : NNAME0028", as some tools pair them in comments.
void Reader::paired_names(std::string_view text) {
  constexpr std::string_view kFull = "CAD Netname", kCut = "IPC Netname";
  auto behind = [&](std::string_view word) -> std::string_view {
    const std::size_t at = text.find(word);
    if (at == text.npos) return {};
    std::string_view value = trim(text.substr(at + word.size()));
    if (value.empty() || value[0] != ':') return {};
    value = value.substr(1);
    if (const std::size_t end = value.find("---"); end != value.npos) value = value.substr(0, end);
    return trim(value);
  };
  const std::string_view full = behind(kFull), cut = behind(kCut);
  if (full.empty() || cut.empty()) return;
  stands_for(std::string(cut), full);
  ++netlist_.aliases;
}

void Reader::collect_header(std::string_view bytes) {
  // Units and aliases may stand below the records that use them, so they are gathered first.
  std::string unit_line;
  std::uint32_t unit_at = 0;
  for (std::string_view rest = bytes; !rest.empty();) {
    const std::string_view line = next_line(rest);
    ++line_;
    if (line.size() < 4) continue;
    if (line[0] == 'C' && line[1] == ' ') {
      const std::string_view text = trim(line.substr(1));
      if (text.substr(0, 5) == "NNAME") alias(text);
      paired_names(text);
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
      diagnostics_.error({.code = "netlist-bad-units",
                          .at = {netlist_.name, line_, 0, {}},
                          .message = "this UNITS value is unknown",
                          .found = std::string(value),
                          .expected = "CUST 0, CUST 1, CUST 2 or SI",
                          .remedy = "correct the line, or set  [inputs.netlist] unit  in the job file"});
      continue;
    }
    if (value == "CUST 2" || value == "SI")
      warn("netlist-rare-units", "this UNITS value may state angles in radians; degrees are assumed",
           std::string(value));
    if (netlist_.unit_stated && unit != netlist_.unit)
      diagnostics_.error(
          {.code = "netlist-two-units",
           .at = {netlist_.name, line_, 0, {}},
           .message = "two UNITS lines disagree",
           .found = unit_line + " on line " + std::to_string(unit_at) + ", " + std::string(value) + " here",
           .remedy = "keep one of them"});
    netlist_.unit = unit;
    netlist_.unit_stated = true;
    unit_line = value;
    unit_at = line_;
  }
  line_ = 0;
}

void Reader::comment(std::string_view text) {
  auto number_after = [&](std::string_view key) -> std::optional<double> {
    const std::size_t at = text.find(key);
    double found{};
    if (at == text.npos || !number(text.substr(at + key.size()), found)) return std::nullopt;
    return found;
  };
  if (auto found = number_after("Number of etch Layers:"); found && *found >= 1 && *found <= 99)
    netlist_.stated_layers = static_cast<int>(*found);
  if (auto found = number_after("Board Thickness(mils):"); found && *found > 0)
    netlist_.thickness = Mm{*found * kMmPerInch / 1000};
}

std::string Reader::resolve(std::string_view field) const {
  auto it = aliases_.find(field);
  return it == aliases_.end() ? std::string(field) : it->second;
}

NetlistRecord::Kind kind_of(char first, char second) {
  if (first == '3' && second == '0') return NetlistRecord::Kind::blind_via;
  if (second == '1') return NetlistRecord::Kind::through;
  return second == '2' ? NetlistRecord::Kind::surface : NetlistRecord::Kind::tooling;
}

/// Columns 33 to 38: the hole and whether it is plated.
bool Reader::hole(std::string_view text, NetlistRecord& record) {
  if (columns(text, 33, 33) == "D") {
    std::optional<long> diameter;
    if (!count(columns(text, 34, 37), diameter)) {
      bad(34, "the hole diameter cannot be read", columns(text, 34, 37));
      return false;
    }
    if (diameter) record.hole = Mm{static_cast<double>(*diameter) * scale_};
    const std::string_view plating = columns(text, 38, 38);
    if (plating != "P" && plating != "U" && !blank(plating)) {
      bad(38, "plating must be P or U", plating);
      return false;
    }
    record.plated = plating != "U";
  }
  if (record.kind == NetlistRecord::Kind::tooling && columns(text, 38, 38) != "P") record.plated = false;
  return true;
}

/// Columns 39 to 41: from which side the land can be reached.
bool Reader::access(std::string_view text, NetlistRecord& record) {
  std::optional<long> code;
  if (columns(text, 39, 39) == "A" && count(columns(text, 40, 41), code) && code) {
    record.access = static_cast<int>(*code);
  } else if (!blank(columns(text, 39, 41))) {
    bad(39, "the access code must be A and two digits", columns(text, 39, 41));
    return false;
  }
  return true;
}

/// Columns 58 to 71: the size of the land and its rotation.
bool Reader::land(std::string_view text, NetlistRecord& record) {
  std::optional<long> width, height, turn;
  if (columns(text, 58, 58) == "X" && !count(columns(text, 59, 62), width)) {
    bad(59, "the pad size cannot be read", columns(text, 59, 62));
    return false;
  }
  if (columns(text, 63, 63) == "Y" && !count(columns(text, 64, 67), height)) {
    bad(64, "the pad size cannot be read", columns(text, 64, 67));
    return false;
  }
  if (columns(text, 68, 68) == "R" && !count(columns(text, 69, 71), turn)) {
    bad(69, "the rotation cannot be read", columns(text, 69, 71));
    return false;
  }
  if (width) record.width = Mm{static_cast<double>(*width) * scale_};
  if (height) record.height = Mm{static_cast<double>(*height) * scale_};
  if (turn) record.rotation = Degrees{static_cast<double>(*turn)};
  return true;
}

/// The columns from 72 on: which sides solder mask covers, and the layers that a via joins. Both are found by their
/// letters, and what cannot be read is left out.
void Reader::mask_and_span(std::string_view tail, NetlistRecord& record) const {
  if (const std::size_t mask = tail.find('S');
      mask <= 1 && mask + 1 < tail.size() && tail[mask + 1] >= '0' && tail[mask + 1] <= '9') {
    const bool garbage = mask + 2 < tail.size() && tail[mask + 2] >= '0' && tail[mask + 2] <= '9';
    if (!garbage && tail[mask + 1] <= '3') record.mask_code = tail[mask + 1] - '0';
  }
  if (const std::size_t span = tail.find('L'); span != tail.npos && span + 5 < tail.size() && tail[span + 3] == 'L') {
    std::optional<long> first, last;
    if (count(tail.substr(span + 1, 2), first) && count(tail.substr(span + 4, 2), last) && first && last) {
      record.first_layer = static_cast<int>(*first);
      record.last_layer = static_cast<int>(*last);
    }
  }
}

/// A continuation record stands for its parent's net and pin where it names none.
bool Reader::take_from_parent(std::string_view text, NetlistRecord& record) {
  if (netlist_.records.empty()) {
    bad(1, "a continuation record stands before any other record", columns(text, 1, 3));
    return false;
  }
  const NetlistRecord& parent = netlist_.records.back();
  if (record.unconnected) {
    record.net = parent.net;
    record.unconnected = parent.unconnected;
  }
  if (record.component.empty()) {
    record.component = parent.component;
    record.pin = parent.pin;
  }
  if (!record.unconnected && !parent.unconnected && record.net != parent.net) {
    bad(4,
        "a continuation record names a net that differs from that of its parent on line " + std::to_string(parent.line),
        trim(columns(text, 4, 17)));
    return false;
  }
  return true;
}

void Reader::feature(std::string_view text) {
  if (text.find('\t') != text.npos) return bad(text.find('\t') + 1, "a record with fixed columns holds a tab", "tab");
  NetlistRecord record;
  record.line = line_;
  record.continuation = text[0] == '0';
  record.kind = kind_of(text[0], text[1]);
  const std::string_view net = trim(columns(text, 4, 17));
  record.unconnected = net.empty() || net == "N/C";
  record.net = record.unconnected ? "N/C" : resolve(net);
  // A schematic's name for a pin that nobody connected says the same.
  if (record.net.rfind("unconnected-(", 0) == 0) {
    record.unconnected = true;
    record.net = "N/C";
  }
  record.component = trim(columns(text, 21, 26));
  record.pin = trim(columns(text, 28, 31));
  if (record.component == "NOREF") record.component.clear();
  record.mid_point = columns(text, 32, 32) == "M";
  if (!hole(text, record) || !access(text, record)) return;
  if (!coordinate(text, 42, 'X', record.at.x) || !coordinate(text, 50, 'Y', record.at.y)) return;
  if (!land(text, record)) return;
  mask_and_span(columns(text, 72, 80), record);
  if (record.continuation && !take_from_parent(text, record)) return;
  if (text.size() > 80 && !blank(text.substr(80)))
    warn("netlist-long-line", "text beyond column 80 is ignored", std::string(text.substr(80, 20)));
  netlist_.records.push_back(std::move(record));
}

/// Reads a point such as "X150Y-20". An axis that is missing keeps its value.
bool Reader::point_token(std::string_view token, Point& point) {
  bool any = false;
  for (char letter : {'X', 'Y'}) {
    const std::size_t at = token.find(letter);
    if (at == token.npos) continue;
    const std::size_t stop = token.find_first_of("XY", at + 1);
    double raw{};
    if (!number(token.substr(at + 1, stop == token.npos ? token.npos : stop - at - 1), raw)) return false;
    (letter == 'X' ? point.x : point.y) = raw * scale_;
    any = true;
  }
  return any;
}

/// Reads points from a blank-separated list; an asterisk lifts the pen. With `width_first`, a lone X at the head is the
/// width of a pen.
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
    Point point = pen_;
    if (!point_token(token, point)) return bad(23, "a coordinate of an outline or conductor cannot be read", token);
    const bool width = first && token.find('Y') == token.npos;
    first = false;
    if (width) continue;
    if (contours.empty() || !pen_down) contours.emplace_back();
    pen_down = true;
    pen_ = point;
    contours.back().push_back(pen_);
  }
}

void Reader::outline(std::string_view line, bool continued) {
  if (!continued) {
    netlist_.outlines.push_back({std::string(trim(columns(line, 4, 17))), {}, line_});
    pen_ = {};
  } else if (netlist_.outlines.empty()) {
    return bad(1, "an outline continues that did not begin", columns(line, 1, 3));
  }
  auto& contours = netlist_.outlines.back().contours;
  contour_tokens(line.size() > 22 ? line.substr(22) : std::string_view{}, contours, contours.empty());
}

/// Record 378 holds net, layer, aperture and polyline; record 078 continues the polyline.
void Reader::conductor(std::string_view line, bool continued) {
  std::string_view text = line.size() > 22 ? line.substr(22) : std::string_view{};
  if (continued) {
    if (netlist_.conductors.empty()) return bad(1, "a conductor continues that did not begin", columns(line, 1, 3));
    return contour_tokens(text, netlist_.conductors.back().strokes, false);
  }
  NetlistConductor conductor_read;
  conductor_read.net = resolve(trim(columns(line, 4, 17)));
  conductor_read.line = line_;
  std::optional<long> layer;
  if (columns(line, 19, 19) != "L" || !count(columns(line, 20, 21), layer) || !layer)
    return bad(19, "a conductor needs a layer, written as L and two digits", columns(line, 19, 21));
  conductor_read.layer = static_cast<int>(*layer);
  text = trim(text);
  const std::size_t end = std::min(text.find(' '), text.size());
  Point size;
  if (!point_token(text.substr(0, end), size)) return bad(23, "a conductor needs its width", text.substr(0, 20));
  conductor_read.width = Mm{size.x};
  conductor_read.height = Mm{size.y};
  netlist_.conductors.push_back(std::move(conductor_read));
  pen_ = {};
  contour_tokens(text.substr(end), netlist_.conductors.back().strokes, false);
}

/// One writer gives hole diameters in mils while everything else is in 0.0001 inch. Every hole is then a tenth of its
/// real size.
void Reader::settle_hole_unit() {
  std::size_t seen = 0;
  for (const auto& record : netlist_.records) {
    if (!record.hole || *record.hole <= Mm{} || !record.width || *record.width <= Mm{}) continue;
    const Mm pad = record.height && *record.height > Mm{} ? std::min(*record.width, *record.height) : *record.width;
    if (10 * *record.hole >= pad) return;
    ++seen;
  }
  if (seen < 3 || netlist_.unit != NetlistUnit::inch_0001) return;
  for (auto& record : netlist_.records)
    if (record.hole) record.hole = 10 * *record.hole;
  netlist_.holes_in_mils = true;
  line_ = 0;
  warn("netlist-holes-in-mils",
       "hole diameters are read in 0.001 inch, since all of them are less than a tenth of their pads and ten times "
       "as much still fits",
       std::to_string(seen) + " holes with pads; the drill file tells");
}

/// The unit that the job states goes before that of the file.
void Reader::settle_unit() {
  if (forced_unit_) netlist_.unit = *forced_unit_;
  if (!netlist_.unit_stated && !forced_unit_)
    diagnostics_.error({.code = "netlist-no-units",
                        .at = {netlist_.name, 0, 0, {}},
                        .message = "the netlist states no UNITS",
                        .expected = "a line  P  UNITS CUST 0",
                        .remedy = "set  [inputs.netlist] unit = \"0.0001 in\"  or  \"0.001 mm\"  in the job file"});
  scale_ = netlist_.unit == NetlistUnit::mm_001 ? 0.001 : 0.0001 * kMmPerInch;
}

void Reader::read_record(std::string_view line) {
  const std::string_view code = line.substr(0, 3);
  if (code == "317" || code == "327" || code == "367" || code == "307" || code == "017" || code == "027") {
    feature(line);
    begun_ = Polyline::none;
  } else if (code == "389") {
    outline(line, false);
    begun_ = Polyline::outline;
  } else if (code == "378") {
    conductor(line, false);
    begun_ = Polyline::conductor;
  } else if (code == "078" && begun_ == Polyline::conductor) {
    conductor(line, true);
  } else if (code == "089" && begun_ == Polyline::outline) {
    outline(line, true);
  } else if (code == "999") {
    ended_ = true;
  } else if (line[0] != 'P' && line[0] != 'C') {
    other_record(code);
    begun_ = Polyline::none;
  }
}

/// Records of the standard that hold nothing for a fixture are passed over.
void Reader::other_record(std::string_view code) {
  static const std::set<std::string_view> known = {"099", "088", "309", "370", "070", "380", "080",
                                                   "378", "078", "379", "079", "390", "090", "089"};
  if (!known.count(code)) bad(1, "this record code is unknown", code);
  if (code == "309")
    diagnostics_.warn({.code = "netlist-stepped-image",
                       .at = {netlist_.name, line_, 0, {}},
                       .message = "a stepped image (309) is not expanded; only single boards are read"});
}

/// Names that fill their field may be longer in the design; where the file has aliases for such names, none is cut.
void Reader::count_full_names() {
  if (netlist_.aliases != 0) return;
  std::set<std::string_view> full;
  for (const auto& record : netlist_.records)
    if (record.net.size() == 14) full.insert(record.net);
  netlist_.perhaps_cut = full.size();
}

void Reader::check_end() {
  if (!ended_ && complaints_ == 0)
    diagnostics_.error({.code = "netlist-no-end",
                        .at = {netlist_.name, line_, 0, {}},
                        .message = "the end record 999 is missing",
                        .found = "end of file",
                        .expected = "999",
                        .remedy = "the file is probably cut off; fetch it again"});
  if (ended_ && !blank(rest_) && rest_.find_first_not_of(" \r\n\x1a") != rest_.npos)
    diagnostics_.warn({.code = "netlist-after-end",
                       .at = {netlist_.name, line_, 0, {}},
                       .message = "text after the end record 999 is ignored"});
}

Netlist Reader::run() {
  collect_header(rest_);
  settle_aliases(rest_);
  settle_unit();
  while (!rest_.empty() && !ended_ && complaints_ < kMostComplaints) {
    const std::string_view line = next_line(rest_);
    ++line_;
    if (!blank(line)) read_record(line);
  }
  settle_hole_unit();
  count_full_names();
  check_end();
  return std::move(netlist_);
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
  return features >= 2 || (features >= 1 && headers >= 1) || looks_like_net_table(bytes);
}

Netlist read_netlist(std::string_view bytes, const std::string& name, std::optional<NetlistUnit> unit,
                     Diagnostics& diagnostics) {
  if (is_workbook(bytes) || looks_like_net_table(bytes)) return read_net_table(bytes, name, diagnostics);
  return Reader(bytes, name, unit, diagnostics).run();
}

}  // namespace teasel::formats
