// IDF 3.0 board and library files.
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

std::string upper(std::string_view s) {
  std::string u(s);
  for (char& c : u)
    if (c >= 'a' && c <= 'z') c = static_cast<char>(c - 32);
  return u;
}

/// Words between blanks; text in double quotes is one word.
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

/// A section: what stands on its opening line, and the lines up to .END_
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
  explicit IdfReader(Diagnostics& d) : d_(d) {}
  std::vector<Section> sections(std::string_view text, const std::string& name);
  void board(std::string_view text, const std::string& name);
  void library(std::string_view text, const std::string& name);
  Mechanics take() { return std::move(out_); }

 private:
  void fail(const char* code, std::uint32_t line, std::string message, std::string found = {},
            std::string expected = {}) {
    if (complaints_++ < 10)
      d_.error(code, {file_, line, 0, {}}, std::move(message), std::move(found), std::move(expected),
               "export the file again, or correct the line");
  }
  double value(const Line& l, std::size_t i) {
    double v{};
    if (i < l.words.size() && number(l.words[i], v) && std::abs(v) < 1e6) return v;
    fail("idf-bad-number", l.number, "a number is expected", i < l.words.size() ? l.words[i] : "the line ends",
         "field " + std::to_string(i + 1));
    return 0;
  }
  std::optional<double> unit(const std::string& word, std::uint32_t line) {
    const std::string u = upper(word);
    if (u == "MM") return 1.0;
    if (u == "THOU") return kMmPerInch / 1000;
    fail("idf-units", line, "the unit is not known", word, "MM or THOU");
    return std::nullopt;
  }
  std::vector<std::pair<int, Ring>> loops(const Section& s, std::size_t from, double k);
  std::size_t loop(const Section& s, std::size_t from, double k, Ring& ring, int& label);
  int side(const std::string& word) const {
    const std::string u = upper(word);
    return u == "TOP" ? 0 : u == "BOTTOM" ? 1 : 2;
  }
  void outline(const Section& s);
  void area(const Section& s);
  void holes(const Section& s);
  void placement(const Section& s);
  void other_outline(const Section& s);

  Diagnostics& d_;
  Mechanics out_;
  std::string file_;
  double k_ = 1;
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
    const std::string_view l = trim(raw);
    if (++number > kMostLines) {
      fail("idf-too-large", number, "more than five million lines");
      return out;
    }
    if (l.empty() || l[0] == '#') continue;
    if (l[0] == '.') {
      std::vector<std::string> w = words(l);
      const std::string key = upper(w[0]);
      if (key.rfind(".END_", 0) == 0) {
        if (!open || key.substr(5) != out.back().name.substr(1))
          fail("idf-section", number, "a section ends that is not open", std::string(l.substr(0, 60)),
               open ? ".END_" + out.back().name.substr(1) : "");
        open = false;
        continue;
      }
      if (open)
        fail("idf-section", number, "a section begins inside another one", std::string(l.substr(0, 60)),
             ".END_" + out.back().name.substr(1));
      out.push_back({key, {w.begin() + 1, w.end()}, {}, number});
      open = true;
      continue;
    }
    if (open) out.back().lines.push_back({words(l), number});
  }
  if (open)
    fail("idf-section", number, "the file ends inside a section", out.back().name, ".END_" + out.back().name.substr(1));
  return out;
}

/// One loop from `from`; returns the line after it.
std::size_t IdfReader::loop(const Section& s, std::size_t from, double k, Ring& ring, int& label) {
  const Line& first = s.lines[from];
  label = static_cast<int>(value(first, 0));
  Point at{k * value(first, 1), k * value(first, 2)};
  ring.push_back(at);
  for (std::size_t i = from + 1; i < s.lines.size(); ++i) {
    const Line& l = s.lines[i];
    if (l.words.size() < 4) {
      fail("idf-loop", l.number, "an outline record has four fields", std::to_string(l.words.size()),
           "label, x, y, angle");
      return s.lines.size();
    }
    const int own = static_cast<int>(value(l, 0));
    const Point to{k * value(l, 1), k * value(l, 2)};
    const double angle = value(l, 3);
    if (own != label) {
      fail("idf-loop", l.number, "an outline does not return to its start", {}, "the first point again");
      return i;
    }
    if (std::abs(angle) > 360 + 1e-6) {
      fail("idf-loop", l.number, "an arc turns by more than a circle", l.words[3], "-360 to 360");
      return s.lines.size();
    }
    if (std::abs(std::abs(angle) - 360) < 1e-6) {
      // A circle: the point before is its centre.
      ring = circle(at, distance(at, to));
      return i + 1;
    }
    if (std::abs(angle) > kFlat && !(at == to)) {
      const double a = std::abs(angle) * kPi / 180, chord = distance(at, to), along = chord / 2 / std::tan(a / 2);
      const Point u = (1 / chord) * (to - at), n{-u.y, u.x};
      const Point centre = 0.5 * (at + to) + (angle > 0 ? along : -along) * n;
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
  fail("idf-loop", first.number, "an outline does not return to its start", "section " + s.name,
       "the first point again");
  return s.lines.size();
}

std::vector<std::pair<int, Ring>> IdfReader::loops(const Section& s, std::size_t from, double k) {
  std::vector<std::pair<int, Ring>> out;
  for (std::size_t i = from; i < s.lines.size() && complaints_ < 10;) {
    if (s.lines[i].words.size() < 4 || upper(s.lines[i].words[0]) == "PROP") {
      ++i;
      continue;
    }
    Ring ring;
    int label{};
    i = loop(s, i, k, ring, label);
    if (ring.size() < 3) continue;
    if (crossings_exceed(ring, 4 * ring.size()))
      fail("idf-loop", s.number, "an outline crosses itself beyond measure");
    else
      out.emplace_back(label, std::move(ring));
  }
  std::vector<Box> boxes;
  for (const auto& [label, ring] : out) boxes.push_back(bounds(ring));
  for (const Box& b : boxes)
    if (std::max({std::abs(b.x0), std::abs(b.x1), std::abs(b.y0), std::abs(b.y1)}) > 5000) {
      fail("idf-loop", s.number, "an outline reaches beyond 5 m");
      return decltype(out){};
    }
  if (heaped(boxes)) {
    fail("idf-loop", s.number, "outlines are heaped on one another beyond measure");
    return decltype(out){};
  }
  return out;
}

void IdfReader::outline(const Section& s) {
  if (s.lines.empty()) return fail("idf-loop", s.number, "the board outline is empty");
  if (const double t = k_ * value(s.lines[0], 0); t > 0) out_.thickness = t;
  Polygons board;
  std::vector<Ring> cuts;
  for (auto& [label, ring] : loops(s, 1, k_)) {
    if (label == 0)
      board = unite(board, fill_contours({ring}));
    else
      cuts.push_back(std::move(ring));
  }
  board = subtract(board, fill_contours(cuts));
  const auto largest = std::max_element(
      board.begin(), board.end(), [](const Polygon& a, const Polygon& b) { return teasel::area(a) < teasel::area(b); });
  if (largest != board.end()) out_.outline = *largest;
}

void IdfReader::area(const Section& s) {
  AreaRule r;
  r.name = s.name.substr(1);
  r.line = s.number;
  std::size_t from = 0;
  r.kind = s.name == ".PLACE_KEEPOUT"   ? AreaRule::Kind::no_parts
           : s.name == ".ROUTE_KEEPOUT" ? AreaRule::Kind::no_routes
           : s.name == ".VIA_KEEPOUT"   ? AreaRule::Kind::no_vias
                                        : AreaRule::Kind::other;
  if (s.name != ".VIA_KEEPOUT" && !s.lines.empty()) {
    from = 1;
    r.side = side(s.lines[0].words[0]);
    if (s.lines[0].words.size() > 1 && s.name.rfind(".PLACE", 0) == 0 && s.name != ".PLACE_REGION")
      r.height = k_ * value(s.lines[0], 1);
  }
  std::vector<Ring> rings;
  for (auto& [label, ring] : loops(s, from, k_)) rings.push_back(std::move(ring));
  r.area = fill_contours(rings);
  out_.areas.push_back(std::move(r));
}

void IdfReader::holes(const Section& s) {
  bool vias = false;
  for (const Line& l : s.lines) {
    if (l.words.size() < 5) {
      fail("idf-hole", l.number, "a hole record is too short", std::to_string(l.words.size()) + " fields",
           "diameter x y plating part type owner");
      continue;
    }
    Hole h;
    h.diameter = k_ * value(l, 0);
    h.at = h.end = {k_ * value(l, 1), k_ * value(l, 2)};
    const std::string plating = upper(l.words[3]);
    h.plating = plating == "PTH" ? Plating::plated : plating == "NPTH" ? Plating::unplated : Plating::unknown;
    h.function = l.words.size() > 5 ? upper(l.words[5]) : "";
    h.line = l.number;
    if (!(h.diameter > 0) || h.diameter > 200) {
      fail("idf-hole", l.number, "a hole's diameter is out of range", l.words[0]);
      continue;
    }
    vias |= h.function == "VIA";
    out_.holes.push_back(std::move(h));
  }
  out_.vias_left_out = !vias;
}

/// Heat sinks and stiffeners stand on the board as parts do.
void IdfReader::other_outline(const Section& s) {
  if (s.lines.empty() || s.lines[0].words.size() < 2) return;
  BodyRow r;
  r.component = "outline " + s.lines[0].words[0] + " (line " + std::to_string(s.number) + ")";
  r.line = s.number;
  r.height = k_ * value(s.lines[0], 1);
  r.side = s.lines[0].words.size() > 2 ? side(s.lines[0].words[2]) : 0;
  if (r.side == 2) r.side = 0;
  std::vector<Ring> rings, cuts;
  for (auto& [label, ring] : loops(s, 1, k_)) (label == 0 ? rings : cuts).push_back(std::move(ring));
  r.outline = subtract(fill_contours(rings), fill_contours(cuts));
  if (r.outline.empty()) return;
  r.at = bounds(r.outline).centre();
  out_.bodies.push_back(std::move(r));
}

void IdfReader::placement(const Section& s) {
  for (std::size_t i = 0; i + 1 < s.lines.size(); i += 2) {
    const Line &a = s.lines[i], &b = s.lines[i + 1];
    if (a.words.size() < 3 || b.words.size() < 6) {
      fail("idf-placement", a.number,
           "a placement is two lines: package, part number, reference; then x, y, offset, rotation, side, status",
           std::to_string(a.words.size()) + " and " + std::to_string(b.words.size()) + " fields");
      return;
    }
    if (upper(b.words[5]) == "UNPLACED") continue;
    BodyRow r;
    r.package = a.words[0];
    r.component = a.words[2];
    r.line = a.number;
    r.at = {k_ * value(b, 0), k_ * value(b, 1)};
    r.standoff = k_ * value(b, 2);
    r.rotation = value(b, 3);
    r.side = side(b.words[4]);
    if (r.side == 2) {
      fail("idf-placement", b.number, "the side is not known", b.words[4], "TOP or BOTTOM");
      continue;
    }
    const std::string name = upper(r.component);
    if (name == "NOREFDES" || name == "BOARD" || name == "PANEL") r.component = r.package + "?";
    // Parts that were never numbered stand for themselves.
    if (r.component.find('?') != r.component.npos)
      r.component += "@" + fixed(r.at.x, 2) + "/" + fixed(r.at.y, 2) + (r.side ? " bottom" : "");
    if (const auto [it, fresh] = placed_.emplace(r.component, a.number); !fresh) {
      fail("idf-part-twice", a.number, "one reference is placed twice",
           r.component + ", before on line " + std::to_string(it->second));
      continue;
    }
    if (const auto it = parts_.find({upper(a.words[0]), upper(a.words[1])}); it != parts_.end()) {
      // Turned as seen from its own side, then, on the bottom, mirrored x to -x, then moved.
      const double t = r.rotation * kPi / 180, m = r.side == 1 ? -1 : 1;
      double c = std::cos(t), n = std::sin(t);
      if (std::fmod(r.rotation, 90) == 0) {
        c = std::round(c);
        n = std::round(n);
      }
      r.outline = transformed(it->second.outline, {m * c, -m * n, n, c, r.at.x, r.at.y});
      if (it->second.height > 0) r.height = r.standoff + it->second.height;
    } else if (missing_++ == 0) {
      first_missing_ = r.component + " (" + a.words[0] + ", " + a.words[1] + ")";
    }
    out_.bodies.push_back(std::move(r));
  }
  if (s.lines.size() % 2) fail("idf-placement", s.lines.back().number, "a placement lacks its second line");
}

void IdfReader::library(std::string_view text, const std::string& name) {
  for (const Section& s : sections(text, name)) {
    if (s.name == ".HEADER") {
      if (s.lines.empty() || upper(s.lines[0].words[0]) != "LIBRARY_FILE")
        fail("idf-header", s.number, "this is no library file", s.lines.empty() ? "" : s.lines[0].words[0],
             "LIBRARY_FILE");
      continue;
    }
    if (s.name != ".ELECTRICAL" && s.name != ".MECHANICAL") continue;
    if (s.lines.empty() || s.lines[0].words.size() < 4) {
      fail("idf-library", s.number, "a library entry begins with geometry, part number, unit and height");
      continue;
    }
    const Line& l = s.lines[0];
    const auto k = unit(l.words[2], l.number);
    if (!k) continue;
    LibraryPart p;
    p.height = *k * value(l, 3);
    std::vector<Ring> rings;
    for (auto& [label, ring] : loops(s, 1, *k)) rings.push_back(std::move(ring));
    p.outline = fill_contours(rings);
    auto [it, fresh] = parts_.try_emplace({upper(l.words[0]), upper(l.words[1])}, p);
    if (!fresh && std::abs(it->second.height - p.height) > 1e-6) {
      d_.warn("idf-library-twice", {name, l.number, 0, {}},
              "the library holds one part twice, with two heights; the taller counts",
              l.words[0] + ", " + l.words[1] + ": " + short_number(it->second.height, 3) + " and " +
                  short_number(p.height, 3) + " mm",
              "correct the library");
      if (p.height > it->second.height) it->second = std::move(p);
    }
  }
}

void IdfReader::board(std::string_view text, const std::string& name) {
  out_.name = name;
  bool headed = false;
  for (const Section& s : sections(text, name)) {
    if (s.name == ".HEADER") {
      headed = true;
      if (s.lines.size() < 2 || s.lines[0].words.size() < 2 || s.lines[1].words.size() < 2)
        return fail("idf-header", s.number, "the header has two lines");
      const std::string kind = upper(s.lines[0].words[0]);
      if (kind == "PANEL_FILE") return fail("idf-panel", s.number, "this is a panel file", {}, "the file of one board");
      double version{};
      if (!number(s.lines[0].words[1], version) || version < 3 || version >= 4)
        return fail("idf-version", s.lines[0].number, "this version of IDF is not read", s.lines[0].words[1], "3.0");
      const auto k = unit(s.lines[1].words.back(), s.lines[1].number);
      if (!k) return;
      k_ = *k;
    } else if (!headed) {
      return fail("idf-header", s.number, "the file does not begin with its header", s.name, ".HEADER");
    } else if (s.name == ".BOARD_OUTLINE") {
      outline(s);
    } else if (s.name == ".OTHER_OUTLINE") {
      other_outline(s);
    } else if (s.name == ".DRILLED_HOLES") {
      holes(s);
    } else if (s.name == ".PLACEMENT") {
      placement(s);
    } else if (s.name == ".PLACE_KEEPOUT" || s.name == ".ROUTE_KEEPOUT" || s.name == ".VIA_KEEPOUT" ||
               s.name == ".PLACE_OUTLINE" || s.name == ".ROUTE_OUTLINE" || s.name == ".PLACE_REGION") {
      area(s);
    }
  }
  if (!headed) fail("idf-header", 1, "the file has no header");
  if (missing_)
    d_.warn("idf-no-library-entry", {file_, 0, 0, ".PLACEMENT"},
            "parts without an entry in the library have no outline and no height here",
            std::to_string(missing_) + ", first " + first_missing_, "give the library file of the same export");
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
                   const std::string& library_name, Diagnostics& d) {
  IdfReader r(d);
  if (!library.empty()) r.library(library, library_name);
  r.board(board, board_name);
  return r.take();
}

}  // namespace teasel::formats
