// The command interpreter: turns words and extended commands into resolved objects.
#include "teasel/formats/gerber.h"

#include <algorithm>

#include "gerber_reader.h"
#include "teasel/units.h"

namespace teasel::formats {

namespace {
constexpr double kPowersOfTen[] = {1, 10, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8};
}  // namespace

bool GerberReader::settle_unit() {
  // The unit may follow the apertures in old files, so it is looked up before anything is converted.
  const std::size_t mm = text_.find("MOMM*"), in = text_.substr(0, mm).find("MOIN*");  // whichever comes first
  if (forced_unit_) {
    file_.millimetres = *forced_unit_ == GerberUnit::mm;
  } else if (mm != text_.npos || in != text_.npos) {
    file_.millimetres = mm < in;
  } else if (text_.find("G71*") != text_.npos) {
    file_.millimetres = true;
  } else if (text_.find("G70*") != text_.npos) {
    file_.millimetres = false;
  } else {
    fail("gerber-no-unit", "the file states no unit", "neither %MOMM*%, %MOIN*%, G70 nor G71",
         "state it:  unit = \"inch\" or \"mm\" for this file in the job file, or  --unit  for  teasel layers");
    return false;
  }
  unit_ = file_.millimetres ? 1.0 : kMmPerInch;
  return true;
}

/// Reads the statement that plots are full of, in plain digits: [G01|G02|G03] X.. Y.. [I.. J..] D01|D02|D03 *
/// For anything else it does nothing and returns false, and the slower `word` reads the statement.
bool GerberReader::quick_operation(std::size_t& i) {
  if (incremental_ || trailing_) return false;
  const char *next = text_.data() + i, *const end = text_.data() + text_.size();
  int mode = mode_, operation = 0;
  if (*next == 'G') {
    if (++next < end && *next == '0') ++next;
    if (next == end || *next < '1' || *next > '3') return false;
    mode = *next++ - '0';
  }
  long long value[4] = {};
  bool has[4] = {};
  for (;;) {
    if (next == end) return false;
    const char letter = *next++;
    const std::size_t axis = std::string_view("XYIJ").find(letter);
    if (axis == std::string_view::npos) {
      if (letter != 'D' || next == end) return false;
      if (*next == '0' && ++next == end) return false;
      operation = *next++ - '0';
      break;
    }
    const bool negative = next < end && *next == '-';
    if (next < end && (*next == '-' || *next == '+')) ++next;
    const char* const first = next;
    unsigned long long count = 0;  // may wrap: the number of digits is checked below
    while (next < end && static_cast<unsigned char>(*next - '0') < 10)
      count = count * 10 + static_cast<unsigned>(*next++ - '0');
    if (next == first || next - first > 15) return false;
    value[axis] = negative ? -static_cast<long long>(count) : static_cast<long long>(count);
    has[axis] = true;
  }
  if (operation < 1 || operation > 3 || next == end || *next != '*') return false;
  if (std::abs(value[0]) > farthest_x_ || std::abs(value[1]) > farthest_y_ || std::abs(value[2]) > farthest_x_ ||
      std::abs(value[3]) > farthest_y_)
    return false;
  mode_ = mode;
  operation_ = operation;
  const Point to{has[0] ? static_cast<double>(value[0]) / kPowersOfTen[x_decimals_] * unit_ : at_.x,
                 has[1] ? static_cast<double>(value[1]) / kPowersOfTen[y_decimals_] * unit_ : at_.y};
  operate(operation, to,
          {static_cast<double>(value[2]) / kPowersOfTen[x_decimals_] * unit_,
           static_cast<double>(value[3]) / kPowersOfTen[y_decimals_] * unit_});
  i = static_cast<std::size_t>(next - text_.data()) + 1;
  return true;
}

/// Reads one statement from text_[i] to its asterisk and returns the place behind it.
std::size_t GerberReader::statement(std::size_t i, bool inside) {
  std::size_t end = i;
  std::uint32_t lines = 0;
  bool broken = false;
  // A comment may hold percent signs. One that begins a line ends a comment without its asterisk.
  const bool comment = text_.substr(i, 3) == "G04";
  const auto opens = [&](std::size_t at) {
    return text_[at] == '%' && at > i && !inside && (!comment || text_[at - 1] == '\n' || text_[at - 1] == '\r');
  };
  while (end < text_.size() && text_[end] != '*' && !opens(end)) {
    lines += text_[end] == '\n';
    broken |= text_[end] == '\n' || text_[end] == '\r';
    ++end;
  }
  std::string_view text = text_.substr(i, end - i);
  if (end >= text_.size()) {
    if (!trim(text).empty())
      fail("gerber-truncated", "the file ends inside a statement", std::string(trim(text).substr(0, 40)),
           "the file is cut off; fetch it again");
    return text_.size();
  }
  std::string joined;
  if (broken) {
    for (char next : text)
      if (next != '\n' && next != '\r') joined += next;
    text = joined;
  }
  if (inside && text.substr(0, 2) == "AM") {
    line_ += lines;
    return macro(text, end + 1);
  }
  if (inside)
    extended(text);
  else
    word(text);
  line_ += lines;
  return text_[end] == '%' ? end : end + 1;
}

/// A macro owns all statements up to the closing percent sign.
std::size_t GerberReader::macro(std::string_view text, std::size_t next) {
  std::vector<std::string> body;
  while (next < text_.size() && text_[next] != '%') {
    std::string one;
    for (; next < text_.size() && text_[next] != '*' && text_[next] != '%'; ++next) {
      line_ += text_[next] == '\n';
      if (static_cast<unsigned char>(text_[next]) > ' ') one += text_[next];
    }
    if (!one.empty()) body.push_back(std::move(one));
    if (next < text_.size() && text_[next] == '*') ++next;
    for (; next < text_.size() && static_cast<unsigned char>(text_[next]) <= ' '; ++next) line_ += text_[next] == '\n';
  }
  macros_[std::string(trim(text.substr(2)))] = std::move(body);
  return next;
}

GerberFile GerberReader::run() {
  if (!settle_unit()) return std::move(file_);
  file_.objects.reserve(std::min(text_.size() / 16, kMostObjects / 2));
  bool inside = false;  // between two percent signs
  for (std::size_t i = 0; i < text_.size() && !ended_ && failures_ < 20;) {
    const char letter = text_[i];
    if (static_cast<unsigned char>(letter) <= ' ') {
      line_ += letter == '\n';
      ++i;
    } else if (letter == '%') {
      inside = !inside;
      ++i;
    } else if (inside || !quick_operation(i)) {
      i = statement(i, inside);
    }
  }
  if (!ended_ && failures_ == 0)
    fail("gerber-no-end", "the file has no end statement M02", "end of file",
         "the file is probably cut off; fetch it again");
  if (in_region_) fail("gerber-open-region", "the file ends inside a region (G36 without G37)");
  if (!open_blocks_.empty()) fail("gerber-open-block", "a block aperture is not closed");
  close_step();
  change_image();
  return std::move(file_);
}

void GerberReader::comment(std::string_view text) {
  text = trim(text);
  if (text.substr(0, 3) == "#@!") {
    text = trim(text.substr(3));
    if (text.size() > 1 && text[0] == 'T') attribute(text);
  }
  if (file_.objects.empty() && file_.comments.size() < 400) file_.comments.emplace_back(text);
}

double GerberReader::coordinate(std::string_view digits, int integers, int decimals) {
  if (digits.find('.') != digits.npos) {
    warn_once("gerber-decimal-point", "a coordinate has a decimal point; it is taken literally", std::string(digits));
    double value{};
    if (!number(digits, value) || !(std::abs(value * unit_) <= kFarthest)) {
      fail("gerber-bad-number", "a coordinate is not a number, or it lies beyond 10 m",
           std::string(digits.substr(0, 30)));
      return 0;
    }
    return value * unit_;
  }
  bool negative = false;
  std::string_view rest = digits;
  if (!rest.empty() && (rest[0] == '-' || rest[0] == '+')) {
    negative = rest[0] == '-';
    rest.remove_prefix(1);
  }
  long long count = 0;
  if (rest.empty() || rest.size() > 15 || rest.find_first_not_of("0123456789") != rest.npos) {
    fail("gerber-bad-number", "this is not a coordinate", std::string(digits.substr(0, 30)));
    return 0;
  }
  for (char digit : rest) count = count * 10 + (digit - '0');
  if (trailing_)
    for (std::size_t k = rest.size(); k < static_cast<std::size_t>(integers) + static_cast<std::size_t>(decimals); ++k)
      count *= 10;
  const double value = static_cast<double>(count) / kPowersOfTen[decimals] * unit_;
  if (!(value <= kFarthest)) {
    fail("gerber-far-coordinate", "a coordinate lies beyond 10 m", std::string(digits.substr(0, 30)),
         "the number format is wrong, or the file is damaged");
    return 0;
  }
  return negative ? -value : value;
}

void GerberReader::word(std::string_view text) {
  text = trim(text);
  if (text.empty()) return;
  bool has_x = false, has_y = false;
  Point to = at_, ij{};
  int operation = -1;
  for (std::size_t i = 0; i < text.size();) {
    const char letter = text[i] >= 'a' && text[i] <= 'z' ? static_cast<char>(text[i] - 32) : text[i];
    std::size_t end = i + 1;
    while (end < text.size() &&
           ((text[end] >= '0' && text[end] <= '9') || text[end] == '-' || text[end] == '+' || text[end] == '.'))
      ++end;
    const std::string_view digits = text.substr(i + 1, end - i - 1);
    if (letter == 'X' || letter == 'Y' || letter == 'I' || letter == 'J') {
      if (x_integers_ + x_decimals_ == 0)
        return fail("gerber-no-format", "a coordinate stands before the %FS statement", std::string(text.substr(0, 40)),
                    "the number format is unknown; export the file again");
      const bool horizontal = letter == 'X' || letter == 'I';
      const double value =
          horizontal ? coordinate(digits, x_integers_, x_decimals_) : coordinate(digits, y_integers_, y_decimals_);
      if (letter == 'X') {
        to.x = incremental_ ? at_.x + value : value;
        has_x = true;
      }
      if (letter == 'Y') {
        to.y = incremental_ ? at_.y + value : value;
        has_y = true;
      }
      if (letter == 'I') ij.x = value;
      if (letter == 'J') ij.y = value;
    } else if (letter == 'G' || letter == 'D' || letter == 'M') {
      int code{};
      auto [behind, err] = std::from_chars(digits.data(), digits.data() + digits.size(), code);
      if (err != std::errc{}) return fail("gerber-bad-word", "a code has no number", std::string(text.substr(0, 40)));
      if (letter == 'G' && code == 4) return comment(text.substr(end));
      if (letter == 'G') g_code(code);
      if (letter == 'D') operation = code;
      if (letter == 'M' && (code == 2 || code == 0)) ended_ = true;
    } else if (letter != 'N') {
      return fail("gerber-bad-word", "this word is unknown", std::string(text.substr(0, 40)));
    }
    i = end;
  }
  if (operation >= 10) return select(operation);
  if (operation > 3) return fail("gerber-bad-word", "this operation code is unknown", std::string(text.substr(0, 40)));
  if (operation < 1) {
    if (!has_x && !has_y) return;
    if (operation_ != 1) {
      warn_once("gerber-no-operation", "coordinates stand without an operation code; the last code is used",
                std::string(text.substr(0, 40)));
      if (operation_ == 0) return;
    }
    operation = operation_;
  }
  operation_ = operation;
  operate(operation, to, ij);
}

void GerberReader::operate(int operation, Point to, Point ij) {
  if (operation == 1) {
    plot(to, ij);
  } else if (operation == 2) {
    if (in_region_) close_contour();
  } else {
    if (in_region_) return fail("gerber-flash-in-region", "a flash stands inside a region", "D03");
    if (current_ < 0) return fail("gerber-no-aperture", "a flash stands before an aperture is selected", "D03");
    const GerberAperture& aperture = file_.apertures[static_cast<std::size_t>(current_)];
    if (aperture.kind == GerberAperture::Kind::block) {
      flash_block(aperture, to);
    } else {
      GerberObject object;
      object.kind = GerberObject::Kind::flash;
      object.shape = static_cast<std::uint32_t>(current_);
      object.start = object.end = to;
      add(object);
    }
  }
  at_ = to;
}

void GerberReader::g_code(int code) {
  switch (code) {
    case 1:
    case 2:
    case 3: mode_ = code; break;
    case 36:
      if (in_region_) fail("gerber-open-region", "a region begins (G36) inside another region");
      in_region_ = true;
      contour_.clear();
      contours_.clear();
      break;
    case 37: end_region(); break;
    case 74: multi_quadrant_ = false; break;
    case 75: multi_quadrant_ = true; break;
    case 90: incremental_ = false; break;
    case 91: incremental_ = true; break;
    case 54:
    case 55:
    case 70:
    case 71: break;
    default: warn_once("gerber-unknown-g", "this G code is unknown and is ignored", "G" + std::to_string(code));
  }
}

void GerberReader::select(int code) {
  auto it = by_code_.find(code);
  if (it == by_code_.end()) {
    if (current_ >= 0 || !by_code_.empty())
      fail("gerber-undefined-aperture", "the file selects an aperture that it does not define",
           "D" + std::to_string(code),
           "export the file again; without the aperture's size nothing drawn with it is known");
    return;
  }
  current_ = static_cast<int>(it->second);
}

void GerberReader::plot(Point to, Point ij) {
  if (mode_ != 1) return arc(to, ij);
  if (in_region_) {
    if (contour_.empty()) contour_.push_back(at_);
    contour_.push_back(to);
    return;
  }
  if (current_ < 0) return fail("gerber-no-aperture", "a stroke stands before an aperture is selected");
  GerberObject object;
  object.kind = GerberObject::Kind::line;
  object.shape = static_cast<std::uint32_t>(current_);
  object.start = at_;
  object.end = to;
  add(object);
}

Point GerberReader::single_quadrant_centre(Point to, Point ij, bool& zero) {
  Point centre = at_ + ij;
  zero = to == at_;
  // Rounding may take a quarter arc a little past 90 degrees. If no such arc fits, any arc that turns the right way
  // does.
  for (double slack : {0.1, 2.0}) {
    double best = std::numeric_limits<double>::infinity();
    for (int k = 0; k < 4; ++k) {
      const Point tried =
          at_ + Point{k & 1 ? -std::abs(ij.x) : std::abs(ij.x), k & 2 ? -std::abs(ij.y) : std::abs(ij.y)};
      const Point from = at_ - tried, towards = to - tried;
      const double turn = mode_ == 3 ? cross(from, towards) : cross(towards, from),
                   size = length(from) * length(towards);
      const double lack = std::abs(length(from) - length(towards));
      if (turn >= -1e-9 * size && dot(from, towards) >= -slack * size && lack < best) {
        best = lack;
        centre = tried;
      }
    }
    if (std::isfinite(best)) break;
  }
  return centre;
}

void GerberReader::arc(Point to, Point ij) {
  bool zero = false;
  Point centre = at_ + ij;
  if (!quadrant_looked_up_) {
    quadrant_looked_up_ = true;
    quadrant_unstated_ = text_.find("G74") == text_.npos && text_.find("G75") == text_.npos;
  }
  if (quadrant_unstated_ && ij.x >= 0 && ij.y >= 0 && !(to == at_)) {
    // Old plotters started in single quadrant mode. Unsigned offsets that fit a quarter arc show that it is meant.
    const Point single = single_quadrant_centre(to, ij, zero);
    const double radius = distance(at_, single), lack = std::abs(distance(to, single) - radius);
    if (lack < 0.02 * radius || lack < 0.005) centre = single;
    warn_once("gerber-no-quadrant-mode",
              "the file has arcs but neither G74 nor G75; arcs with unsigned offsets are taken as quarter arcs where "
              "they fit");
  } else if (!multi_quadrant_) {
    centre = single_quadrant_centre(to, ij, zero);
  }
  const double from_start = distance(at_, centre), from_end = distance(to, centre);
  if (std::abs(from_start - from_end) > 0.01 && std::abs(from_start - from_end) > 0.01 * std::max(from_start, from_end))
    warn_once("gerber-arc-radius", "the radii at the two ends of an arc differ; the radius changes evenly between them",
              std::to_string(from_start) + " mm and " + std::to_string(from_end) + " mm");
  if (multi_quadrant_ && !quadrant_unstated_ && !(at_ == to) && distance(at_, to) < 0.001)
    warn_once("gerber-arc-ambiguous",
              "the ends of an arc lie within 1 um of each other; its direction decides whether it is nearly nothing or "
              "nearly a full circle",
              std::to_string(distance(at_, to)) + " mm apart");
  if (in_region_) {
    if (contour_.empty()) contour_.push_back(at_);
    if (zero || from_start == 0) {
      contour_.push_back(to);
    } else {
      const Ring points = arc_points(at_, to, centre, mode_ == 2);
      contour_.insert(contour_.end(), points.begin() + 1, points.end());
    }
    return;
  }
  if (current_ < 0) return fail("gerber-no-aperture", "an arc stands before an aperture is selected");
  GerberObject object;
  object.kind = zero || from_start == 0 ? GerberObject::Kind::line : GerberObject::Kind::arc;
  object.shape = static_cast<std::uint32_t>(current_);
  object.start = at_;
  object.end = to;
  object.clockwise = mode_ == 2;
  if (object.kind == GerberObject::Kind::arc) {
    object.centre = static_cast<std::uint32_t>(file_.centres.size());
    file_.centres.push_back(centre);
  }
  add(object);
}

void GerberReader::close_contour() {
  if (contour_.size() > 1) {
    if (distance(contour_.front(), contour_.back()) > 0.002)
      warn_once("gerber-unclosed-contour", "a region contour is not closed; it is closed with a straight line");
    else
      contour_.pop_back();
    vertices_ += contour_.size();
    if (crossings_exceed(contour_, 4 * contour_.size() + 1000))
      fail("gerber-tangled-region", "a region contour crosses itself far too often",
           std::to_string(contour_.size()) + " vertices", "the file is damaged, or its number format is wrong");
    // All contours get one direction. The file's direction carries no meaning, and later cuts rely on one.
    if (signed_area(contour_) < 0) std::reverse(contour_.begin(), contour_.end());
    if (contour_.size() >= 3) contours_.push_back(contour_);
  }
  contour_.clear();
  if (vertices_ > kMostVertices) fail("gerber-too-large", "the file has more than 8 million region vertices");
}

void GerberReader::end_region() {
  if (!in_region_) return fail("gerber-open-region", "a region ends (G37) that did not begin (G36)");
  close_contour();
  in_region_ = false;
  if (contours_.empty()) return;
  GerberObject object;
  object.kind = GerberObject::Kind::region;
  object.shape = static_cast<std::uint32_t>(file_.regions.size());
  file_.keep_region(std::move(contours_));
  contours_.clear();
  region_ending_ = true;
  add(object);
  region_ending_ = false;
}

void GerberReader::add(GerberObject object) {
  object.dark = dark_;
  object.line = line_;
  if (object.kind != GerberObject::Kind::region) object.transform = transform_;
  object.attributes = attribute_index();
  auto& list = open_blocks_.empty() ? file_.objects : open_blocks_.back().second;
  if (++objects_made_ > kMostObjects) return fail("gerber-too-large", "the file has more than 3 million objects");
  list.push_back(object);
}

std::uint32_t GerberReader::transform_index(const Affine& turn) {
  for (std::size_t i = 0; i < file_.transforms.size(); ++i) {
    const Affine& known = file_.transforms[i];
    if (known.a == turn.a && known.b == turn.b && known.c == turn.c && known.d == turn.d)
      return static_cast<std::uint32_t>(i);
  }
  file_.transforms.push_back({turn.a, turn.b, turn.c, turn.d, 0, 0});
  return static_cast<std::uint32_t>(file_.transforms.size() - 1);
}

GerberObject GerberReader::placed(const GerberObject& object, const Affine& map) {
  GerberObject copy = object;
  const Affine linear{map.a, map.b, map.c, map.d, 0, 0};
  const bool only_shift = map.a == 1 && map.b == 0 && map.c == 0 && map.d == 1;
  if (object.kind == GerberObject::Kind::region) {
    if (only_shift) {
      copy.start = object.start + Point{map.e, map.f};
    } else {
      for (const Ring& contour : file_.regions[object.shape]) vertices_ += contour.size();
      if (vertices_ > kMostVertices) {
        fail("gerber-too-large", "the file has more than 8 million region vertices");
        return copy;
      }
      std::vector<Ring> contours = file_.regions[object.shape];
      for (Ring& contour : contours) {
        for (Point& p : contour) p = map(p + object.start);
        if (map.determinant() < 0) std::reverse(contour.begin(), contour.end());
      }
      copy.shape = static_cast<std::uint32_t>(file_.regions.size());
      copy.start = {};
      file_.keep_region(std::move(contours));
    }
  } else {
    copy.start = map(object.start);
    copy.end = map(object.end);
    if (object.kind == GerberObject::Kind::arc) {
      copy.centre = static_cast<std::uint32_t>(file_.centres.size());
      const Point contour = map(file_.centres[object.centre]);
      file_.centres.push_back(contour);
    }
    if (!only_shift) {
      copy.transform = transform_index(combine(linear, file_.transforms[object.transform]));
      if (map.determinant() < 0) copy.clockwise = !copy.clockwise;
    }
  }
  return copy;
}

void GerberReader::flash_block(const GerberAperture& block, Point at) {
  Affine map = file_.transforms[transform_];
  map.e = at.x;
  map.f = at.y;
  objects_made_ += block.block.size();
  if (objects_made_ > kMostObjects)
    return fail("gerber-too-large", "the file has more than 3 million objects after block apertures");
  auto& list = open_blocks_.empty() ? file_.objects : open_blocks_.back().second;
  for (const auto& object : block.block) {
    if (failures_ > 0) return;
    GerberObject copy = placed(object, map);
    if (!dark_) copy.dark = !copy.dark;
    list.push_back(copy);
  }
}

void GerberFile::keep_region(std::vector<Ring> contours) {
  Box box;
  for (const auto& contour : contours) box.add(bounds(contour));
  regions.push_back(std::move(contours));
  region_boxes.push_back(box);
}

std::string GerberFile::file_attribute(std::string_view attribute) const {
  for (const auto& [key, value] : file_attributes)
    if (key == attribute) return value;
  return {};
}

GerberFile read_gerber(std::string_view bytes, const std::string& name, Diagnostics& diagnostics,
                       std::optional<GerberUnit> unit) {
  return GerberReader(bytes, name, unit, diagnostics).run();
}

}  // namespace teasel::formats
