// Reads IDF 3.0 board and library files.
#include <algorithm>
#include <cmath>
#include <map>

#include "teasel/formats/bodies.h"
#include "teasel/formats/gerber.h"
#include "teasel/units.h"
#include "text.h"

namespace teasel::formats {

namespace {
constexpr double kPi = 3.14159265358979323846;
constexpr std::size_t kMostLines = 5'000'000;
constexpr double kFlat = 1e-3;  // degrees; arcs flatter than this are straight

struct Line {
  std::vector<std::string> words;
  std::uint32_t number{};
};

std::string upper(std::string_view text) {
  std::string upper_text(text);
  for (char& letter : upper_text)
    if (letter >= 'a' && letter <= 'z') letter = static_cast<char>(letter - 32);
  return upper_text;
}

/// Splits a line at its blanks. Text in double quotes is one word.
std::vector<std::string> words(std::string_view line) {
  std::vector<std::string> out;
  for (std::size_t i = 0; i < line.size();) {
    if (static_cast<unsigned char>(line[i]) <= ' ') {
      ++i;
      continue;
    }
    std::size_t end;
    if (line[i] == '"') {
      end = line.find('"', i + 1);
      if (end == line.npos) end = line.size();
      out.emplace_back(line.substr(i + 1, end - i - 1));
      i = std::min(end + 1, line.size());
      continue;
    }
    end = i;
    while (end < line.size() && static_cast<unsigned char>(line[end]) > ' ') ++end;
    out.emplace_back(line.substr(i, end - i));
    i = end;
  }
  return out;
}

/// A section: the words on its opening line, and the lines up to .END_
struct Section {
  std::string name;
  std::vector<std::string> head;
  std::vector<Line> lines;
  std::uint32_t number{};
};

struct LibraryPart {
  Polygons outline;
  double height{};
};

class IdfReader {
 public:
  explicit IdfReader(Diagnostics& diagnostics) : diagnostics_(diagnostics) {}
  std::vector<Section> sections(std::string_view text, const std::string& name);
  void board(std::string_view text, const std::string& name);
  void library(std::string_view text, const std::string& name);
  Mechanics take() { return std::move(mechanics_); }

 private:
  void fail(const char* code, std::uint32_t line, std::string message, std::string found = {},
            std::string expected = {}) {
    if (complaints_++ < 10)
      diagnostics_.error({.code = code,
                          .at = {file_, line, 0, {}},
                          .message = std::move(message),
                          .found = std::move(found),
                          .expected = std::move(expected),
                          .remedy = "export the file again, or correct the line"});
  }
  double value(const Line& line, std::size_t i) {
    double number_read{};
    if (i < line.words.size() && number(line.words[i], number_read) && std::abs(number_read) < 1e6) return number_read;
    fail("idf-bad-number", line.number, "a number is expected", i < line.words.size() ? line.words[i] : "the line ends",
         "field " + std::to_string(i + 1));
    return 0;
  }
  std::optional<double> unit(const std::string& word, std::uint32_t line) {
    const std::string name = upper(word);
    if (name == "MM") return 1.0;
    if (name == "THOU") return kMmPerInch / 1000;
    fail("idf-units", line, "the unit is unknown", word, "MM or THOU");
    return std::nullopt;
  }
  std::vector<std::pair<int, Ring>> loops(const Section& section, std::size_t from, double scale);
  std::size_t loop(const Section& section, std::size_t from, double scale, Ring& ring, int& label);
  /// Any other word than TOP and BOTTOM stands for both.
  Sides sides(const std::string& word) const {
    const std::string name = upper(word);
    if (name == "TOP") return Side::top;
    return name == "BOTTOM" ? Sides{Side::bottom} : Sides::both();
  }
  void outline(const Section& section);
  void area(const Section& section);
  void holes(const Section& section);
  void placement(const Section& section);
  void other_outline(const Section& section);

  Diagnostics& diagnostics_;
  Mechanics mechanics_;
  std::string file_;
  double scale_ = 1;
  int complaints_ = 0;
  std::map<std::pair<std::string, std::string>, LibraryPart> parts_;
  std::map<std::string, std::uint32_t> placed_;
  std::size_t missing_ = 0;
  std::string first_missing_;
};

std::vector<Section> IdfReader::sections(std::string_view text, const std::string& name) {
  file_ = name;
  std::vector<Section> out;
  bool open = false;
  std::uint32_t number = 0;
  while (!text.empty()) {
    const std::string_view raw = next_line(text);
    const std::string_view line = trim(raw);
    if (++number > kMostLines) {
      fail("idf-too-large", number, "the file has more than five million lines");
      return out;
    }
    if (line.empty() || line[0] == '#') continue;
    if (line[0] == '.') {
      std::vector<std::string> fields = words(line);
      const std::string key = upper(fields[0]);
      if (key.rfind(".END_", 0) == 0) {
        if (!open || key.substr(5) != out.back().name.substr(1))
          fail("idf-section", number, "a section ends that did not begin", std::string(line.substr(0, 60)),
               open ? ".END_" + out.back().name.substr(1) : "");
        open = false;
        continue;
      }
      if (open)
        fail("idf-section", number, "a section begins inside another one", std::string(line.substr(0, 60)),
             ".END_" + out.back().name.substr(1));
      out.push_back({key, {fields.begin() + 1, fields.end()}, {}, number});
      open = true;
      continue;
    }
    if (open) out.back().lines.push_back({words(line), number});
  }
  if (open)
    fail("idf-section", number, "the file ends inside a section", out.back().name, ".END_" + out.back().name.substr(1));
  return out;
}

/// Reads one loop that begins on line `from` and returns the line after it.
std::size_t IdfReader::loop(const Section& section, std::size_t from, double scale, Ring& ring, int& label) {
  const Line& first = section.lines[from];
  label = static_cast<int>(value(first, 0));
  Point at{scale * value(first, 1), scale * value(first, 2)};
  ring.push_back(at);
  for (std::size_t i = from + 1; i < section.lines.size(); ++i) {
    const Line& line = section.lines[i];
    if (line.words.size() < 4) {
      fail("idf-loop", line.number, "an outline record needs four fields", std::to_string(line.words.size()),
           "label, x, y, angle");
      return section.lines.size();
    }
    const int own = static_cast<int>(value(line, 0));
    const Point to{scale * value(line, 1), scale * value(line, 2)};
    const double angle = value(line, 3);
    if (own != label) {
      fail("idf-loop", line.number, "an outline does not return to its start", {}, "the first point once more");
      return i;
    }
    if (std::abs(angle) > 360 + 1e-6) {
      fail("idf-loop", line.number, "an arc turns by more than a circle", line.words[3], "-360 to 360");
      return section.lines.size();
    }
    if (std::abs(std::abs(angle) - 360) < 1e-6) {
      // A full turn makes a circle: the point before is its centre.
      ring = circle(at, distance(at, to));
      return i + 1;
    }
    if (std::abs(angle) > kFlat && !(at == to)) {
      const double turn = std::abs(angle) * kPi / 180, chord = distance(at, to), along = chord / 2 / std::tan(turn / 2);
      const Point ahead = (1 / chord) * (to - at), left{-ahead.y, ahead.x};
      const Point centre = 0.5 * (at + to) + (angle > 0 ? along : -along) * left;
      const Ring arc = arc_points(at, to, centre, angle < 0);
      ring.insert(ring.end(), arc.begin() + 1, arc.end());
    } else {
      ring.push_back(to);
    }
    at = to;
    if (distance(to, ring.front()) < 1e-6) {
      ring.pop_back();
      return i + 1;
    }
  }
  fail("idf-loop", first.number, "an outline does not return to its start", "section " + section.name,
       "the first point again");
  return section.lines.size();
}

std::vector<std::pair<int, Ring>> IdfReader::loops(const Section& section, std::size_t from, double scale) {
  std::vector<std::pair<int, Ring>> out;
  for (std::size_t i = from; i < section.lines.size() && complaints_ < 10;) {
    if (section.lines[i].words.size() < 4 || upper(section.lines[i].words[0]) == "PROP") {
      ++i;
      continue;
    }
    Ring ring;
    int label{};
    i = loop(section, i, scale, ring, label);
    if (ring.size() < 3) continue;
    if (crossings_exceed(ring, 4 * ring.size()))
      fail("idf-loop", section.number, "an outline crosses itself far too often");
    else
      out.emplace_back(label, std::move(ring));
  }
  std::vector<Box> boxes;
  for (const auto& [label, ring] : out) boxes.push_back(bounds(ring));
  for (const Box& box : boxes)
    if (std::max({std::abs(box.x0), std::abs(box.x1), std::abs(box.y0), std::abs(box.y1)}) > 5000) {
      fail("idf-loop", section.number, "an outline reaches beyond 5 m");
      return decltype(out){};
    }
  if (heaped(boxes)) {
    fail("idf-loop", section.number, "far too many outlines lie on top of one another");
    return decltype(out){};
  }
  return out;
}

void IdfReader::outline(const Section& section) {
  if (section.lines.empty()) return fail("idf-loop", section.number, "the board outline is empty");
  if (const Mm thickness{scale_ * value(section.lines[0], 0)}; thickness > Mm{}) mechanics_.thickness = thickness;
  Polygons board;
  std::vector<Ring> cuts;
  for (auto& [label, ring] : loops(section, 1, scale_)) {
    if (label == 0)
      board = unite(board, fill_contours({ring}));
    else
      cuts.push_back(std::move(ring));
  }
  board = subtract(board, fill_contours(cuts));
  const auto largest = std::max_element(
      board.begin(), board.end(), [](const Polygon& a, const Polygon& b) { return teasel::area(a) < teasel::area(b); });
  if (largest != board.end()) mechanics_.outline = *largest;
}

AreaRule::Kind kind_of_area(const std::string& section) {
  if (section == ".PLACE_KEEPOUT") return AreaRule::Kind::no_parts;
  if (section == ".ROUTE_KEEPOUT") return AreaRule::Kind::no_routes;
  return section == ".VIA_KEEPOUT" ? AreaRule::Kind::no_vias : AreaRule::Kind::other;
}
Plating plating_of(const std::string& word) {
  if (word == "PTH") return Plating::plated;
  return word == "NPTH" ? Plating::unplated : Plating::unknown;
}

void IdfReader::area(const Section& section) {
  AreaRule rule;
  rule.name = section.name.substr(1);
  rule.line = section.number;
  std::size_t from = 0;
  rule.kind = kind_of_area(section.name);
  if (section.name != ".VIA_KEEPOUT" && !section.lines.empty()) {
    from = 1;
    rule.sides = sides(section.lines[0].words[0]);
    if (section.lines[0].words.size() > 1 && section.name.rfind(".PLACE", 0) == 0 && section.name != ".PLACE_REGION")
      rule.height = Mm{scale_ * value(section.lines[0], 1)};
  }
  std::vector<Ring> rings;
  for (auto& [label, ring] : loops(section, from, scale_)) rings.push_back(std::move(ring));
  rule.area = fill_contours(rings);
  mechanics_.areas.push_back(std::move(rule));
}

void IdfReader::holes(const Section& section) {
  bool vias = false;
  for (const Line& line : section.lines) {
    if (line.words.size() < 5) {
      fail("idf-hole", line.number, "a hole record is too short", std::to_string(line.words.size()) + " fields",
           "diameter x y plating part type owner");
      continue;
    }
    Hole hole_read;
    hole_read.diameter = Mm{scale_ * value(line, 0)};
    hole_read.at = hole_read.end = {scale_ * value(line, 1), scale_ * value(line, 2)};
    hole_read.plating = plating_of(upper(line.words[3]));
    hole_read.function = line.words.size() > 5 ? upper(line.words[5]) : "";
    hole_read.line = line.number;
    if (!(hole_read.diameter > Mm{}) || hole_read.diameter > Mm{200}) {
      fail("idf-hole", line.number, "a hole's diameter is out of range", line.words[0]);
      continue;
    }
    vias |= hole_read.function == "VIA";
    mechanics_.holes.push_back(std::move(hole_read));
  }
  mechanics_.vias_left_out = !vias;
}

/// Heat sinks and stiffeners stand on the board as parts do.
void IdfReader::other_outline(const Section& section) {
  if (section.lines.empty() || section.lines[0].words.size() < 2) return;
  BodyRow row;
  row.component = "outline " + section.lines[0].words[0] + " (line " + std::to_string(section.number) + ")";
  row.line = section.number;
  row.height = Mm{scale_ * value(section.lines[0], 1)};
  row.side = Side::top;
  if (section.lines[0].words.size() > 2) row.side = sides(section.lines[0].words[2]).only().value_or(Side::top);
  std::vector<Ring> rings, cuts;
  for (auto& [label, ring] : loops(section, 1, scale_)) (label == 0 ? rings : cuts).push_back(std::move(ring));
  row.outline = subtract(fill_contours(rings), fill_contours(cuts));
  if (row.outline.empty()) return;
  row.at = bounds(row.outline).centre();
  mechanics_.bodies.push_back(std::move(row));
}

void IdfReader::placement(const Section& section) {
  for (std::size_t i = 0; i + 1 < section.lines.size(); i += 2) {
    const Line &first = section.lines[i], &second = section.lines[i + 1];
    if (first.words.size() < 3 || second.words.size() < 6) {
      fail("idf-placement", first.number,
           "a placement needs two lines: package, part number, reference; then x, y, offset, rotation, side, status",
           std::to_string(first.words.size()) + " and " + std::to_string(second.words.size()) + " fields");
      return;
    }
    if (upper(second.words[5]) == "UNPLACED") continue;
    BodyRow row;
    row.package = first.words[0];
    row.component = first.words[2];
    row.line = first.number;
    row.at = {scale_ * value(second, 0), scale_ * value(second, 1)};
    row.standoff = Mm{scale_ * value(second, 2)};
    row.rotation = Degrees{value(second, 3)};
    row.side = sides(second.words[4]).only();
    if (!row.side) {
      fail("idf-placement", second.number, "the side is unknown", second.words[4], "TOP or BOTTOM");
      continue;
    }
    const std::string name = upper(row.component);
    if (name == "NOREFDES" || name == "BOARD" || name == "PANEL") row.component = row.package + "?";
    // Parts that were never numbered are told apart by their places.
    if (row.component.find('?') != row.component.npos)
      row.component +=
          "@" + fixed(row.at.x, 2) + "/" + fixed(row.at.y, 2) + (row.side == Side::bottom ? " bottom" : "");
    if (const auto [it, fresh] = placed_.emplace(row.component, first.number); !fresh) {
      fail("idf-part-twice", first.number, "a reference is placed twice",
           row.component + ", before on line " + std::to_string(it->second));
      continue;
    }
    if (const auto it = parts_.find({upper(first.words[0]), upper(first.words[1])}); it != parts_.end()) {
      // A part is turned as seen from its own side, then on the bottom mirrored x to -x, then moved.
      const double turn = row.rotation.v * kPi / 180, mirror = row.side == Side::bottom ? -1 : 1;
      double cosine = std::cos(turn), sine = std::sin(turn);
      if (std::fmod(row.rotation.v, 90) == 0) {
        cosine = std::round(cosine);
        sine = std::round(sine);
      }
      row.outline =
          transformed(it->second.outline, {mirror * cosine, -mirror * sine, sine, cosine, row.at.x, row.at.y});
      if (it->second.height > 0) row.height = row.standoff + Mm{it->second.height};
    } else if (missing_++ == 0) {
      first_missing_ = row.component + " (" + first.words[0] + ", " + first.words[1] + ")";
    }
    mechanics_.bodies.push_back(std::move(row));
  }
  if (section.lines.size() % 2) fail("idf-placement", section.lines.back().number, "a placement lacks its second line");
}

void IdfReader::library(std::string_view text, const std::string& name) {
  for (const Section& section : sections(text, name)) {
    if (section.name == ".HEADER") {
      if (section.lines.empty() || upper(section.lines[0].words[0]) != "LIBRARY_FILE")
        fail("idf-header", section.number, "this is not a library file",
             section.lines.empty() ? "" : section.lines[0].words[0], "LIBRARY_FILE");
      continue;
    }
    if (section.name != ".ELECTRICAL" && section.name != ".MECHANICAL") continue;
    if (section.lines.empty() || section.lines[0].words.size() < 4) {
      fail("idf-library", section.number, "a library entry must begin with geometry, part number, unit and height");
      continue;
    }
    const Line& line = section.lines[0];
    const auto scale = unit(line.words[2], line.number);
    if (!scale) continue;
    LibraryPart part;
    part.height = *scale * value(line, 3);
    std::vector<Ring> rings;
    for (auto& [label, ring] : loops(section, 1, *scale)) rings.push_back(std::move(ring));
    part.outline = fill_contours(rings);
    auto [it, fresh] = parts_.try_emplace({upper(line.words[0]), upper(line.words[1])}, part);
    if (!fresh && std::abs(it->second.height - part.height) > 1e-6) {
      diagnostics_.warn({.code = "idf-library-twice",
                         .at = {name, line.number, 0, {}},
                         .message = "the library lists a part twice with different heights; the greater height counts",
                         .found = line.words[0] + ", " + line.words[1] + ": " + short_number(it->second.height, 3) +
                                  " and " + short_number(part.height, 3) + " mm",
                         .remedy = "correct the library"});
      if (part.height > it->second.height) it->second = std::move(part);
    }
  }
}

void IdfReader::board(std::string_view text, const std::string& name) {
  mechanics_.name = name;
  bool headed = false;
  for (const Section& section : sections(text, name)) {
    if (section.name == ".HEADER") {
      headed = true;
      if (section.lines.size() < 2 || section.lines[0].words.size() < 2 || section.lines[1].words.size() < 2)
        return fail("idf-header", section.number, "the header must have two lines");
      const std::string kind = upper(section.lines[0].words[0]);
      if (kind == "PANEL_FILE")
        return fail("idf-panel", section.number, "this is a panel file", {}, "the file of one board");
      double version{};
      if (!number(section.lines[0].words[1], version) || version < 3 || version >= 4)
        return fail("idf-version", section.lines[0].number, "this version of IDF is not read",
                    section.lines[0].words[1], "3.0");
      const auto scale = unit(section.lines[1].words.back(), section.lines[1].number);
      if (!scale) return;
      scale_ = *scale;
    } else if (!headed) {
      return fail("idf-header", section.number, "the file does not begin with its header", section.name, ".HEADER");
    } else if (section.name == ".BOARD_OUTLINE") {
      outline(section);
    } else if (section.name == ".OTHER_OUTLINE") {
      other_outline(section);
    } else if (section.name == ".DRILLED_HOLES") {
      holes(section);
    } else if (section.name == ".PLACEMENT") {
      placement(section);
    } else if (section.name == ".PLACE_KEEPOUT" || section.name == ".ROUTE_KEEPOUT" || section.name == ".VIA_KEEPOUT" ||
               section.name == ".PLACE_OUTLINE" || section.name == ".ROUTE_OUTLINE" ||
               section.name == ".PLACE_REGION") {
      area(section);
    }
  }
  if (!headed) fail("idf-header", 1, "the file has no header");
  if (missing_)
    diagnostics_.warn({.code = "idf-no-library-entry",
                       .at = {file_, 0, 0, ".PLACEMENT"},
                       .message = "parts without an entry in the library have no outline and no height",
                       .found = std::to_string(missing_) + ", first " + first_missing_,
                       .remedy = "give the library file of the same export"});
}

bool has_header(std::string_view bytes, std::string_view kind) {
  const std::string head = upper(bytes.substr(0, 4000));
  const std::size_t at = head.find(".HEADER");
  return at != head.npos && head.find(kind, at) != head.npos;
}
}  // namespace

bool looks_like_idf_board(std::string_view bytes) {
  return has_header(bytes, "BOARD_FILE") || has_header(bytes, "PANEL_FILE");
}
bool looks_like_idf_library(std::string_view bytes) {
  return has_header(bytes, "LIBRARY_FILE");
}

Mechanics read_idf(std::string_view board, const std::string& board_name, std::string_view library,
                   const std::string& library_name, Diagnostics& diagnostics) {
  IdfReader reader(diagnostics);
  if (!library.empty()) reader.library(library, library_name);
  reader.board(board, board_name);
  return reader.take();
}

}  // namespace teasel::formats
