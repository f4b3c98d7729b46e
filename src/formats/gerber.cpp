// The command interpreter: words and extended commands to resolved objects.
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
  const std::size_t mm = s_.find("MOMM*"), in = s_.substr(0, mm).find("MOIN*");  // whichever comes first
  if (forced_unit_) {
    f_.millimetres = *forced_unit_ == GerberUnit::mm;
  } else if (mm != s_.npos || in != s_.npos) {
    f_.millimetres = mm < in;
  } else if (s_.find("G71*") != s_.npos) {
    f_.millimetres = true;
  } else if (s_.find("G70*") != s_.npos) {
    f_.millimetres = false;
  } else {
    fail("gerber-no-unit", "the file states no unit", "neither %MOMM*%, %MOIN*%, G70 nor G71",
         "say which it is: unit = \"inch\" or \"mm\" for this file in the job, --unit with  teasel layers");
    return false;
  }
  unit_ = f_.millimetres ? 1.0 : kMmPerInch;
  return true;
}

/// The statement that plots are full of: [G01|G02|G03] X.. Y.. [I.. J..] D01|D02|D03 *, plain digits. False, with
/// nothing done, for anything else: `word` takes its time over that.
bool GerberReader::quick_operation(std::size_t& i) {
  if (incremental_ || trailing_) return false;
  const char *p = s_.data() + i, *const end = s_.data() + s_.size();
  int g = g_, d = 0;
  if (*p == 'G') {
    if (++p < end && *p == '0') ++p;
    if (p == end || *p < '1' || *p > '3') return false;
    g = *p++ - '0';
  }
  long long v[4] = {};
  bool has[4] = {};
  for (;;) {
    if (p == end) return false;
    const char letter = *p++;
    const int axis = letter == 'X' ? 0 : letter == 'Y' ? 1 : letter == 'I' ? 2 : letter == 'J' ? 3 : 4;
    if (axis == 4) {
      if (letter != 'D' || p == end) return false;
      if (*p == '0' && ++p == end) return false;
      d = *p++ - '0';
      break;
    }
    const bool negative = p < end && *p == '-';
    if (p < end && (*p == '-' || *p == '+')) ++p;
    const char* const first = p;
    unsigned long long n = 0;  // may wrap; too many digits are told by their count
    while (p < end && static_cast<unsigned char>(*p - '0') < 10) n = n * 10 + static_cast<unsigned>(*p++ - '0');
    if (p == first || p - first > 15) return false;
    v[axis] = negative ? -static_cast<long long>(n) : static_cast<long long>(n);
    has[axis] = true;
  }
  if (d < 1 || d > 3 || p == end || *p != '*') return false;
  if (std::abs(v[0]) > farthest_x_ || std::abs(v[1]) > farthest_y_ || std::abs(v[2]) > farthest_x_ ||
      std::abs(v[3]) > farthest_y_)
    return false;
  g_ = g;
  d_mode_ = d;
  const Point to{has[0] ? static_cast<double>(v[0]) / kPowersOfTen[xd_] * unit_ : at_.x,
                 has[1] ? static_cast<double>(v[1]) / kPowersOfTen[yd_] * unit_ : at_.y};
  operate(
      d, to,
      {static_cast<double>(v[2]) / kPowersOfTen[xd_] * unit_, static_cast<double>(v[3]) / kPowersOfTen[yd_] * unit_});
  i = static_cast<std::size_t>(p - s_.data()) + 1;
  return true;
}

/// One statement from s_[i] to its asterisk; returns the place behind it.
std::size_t GerberReader::statement(std::size_t i, bool inside) {
  std::size_t end = i;
  std::uint32_t lines = 0;
  bool broken = false;
  while (end < s_.size() && s_[end] != '*' && !(s_[end] == '%' && end > i && !inside)) {
    lines += s_[end] == '\n';
    broken |= s_[end] == '\n' || s_[end] == '\r';
    ++end;
  }
  std::string_view text = s_.substr(i, end - i);
  if (end >= s_.size()) {
    if (!trim(text).empty())
      fail("gerber-truncated", "the file ends inside a statement", std::string(trim(text).substr(0, 40)),
           "the file is cut off; fetch it again");
    return s_.size();
  }
  std::string joined;
  if (broken) {
    for (char k : text)
      if (k != '\n' && k != '\r') joined += k;
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
  return end + 1;
}

/// A macro owns all statements up to the closing percent sign.
std::size_t GerberReader::macro(std::string_view text, std::size_t k) {
  std::vector<std::string> body;
  while (k < s_.size() && s_[k] != '%') {
    std::string one;
    for (; k < s_.size() && s_[k] != '*' && s_[k] != '%'; ++k) {
      line_ += s_[k] == '\n';
      if (static_cast<unsigned char>(s_[k]) > ' ') one += s_[k];
    }
    if (!one.empty()) body.push_back(std::move(one));
    if (k < s_.size() && s_[k] == '*') ++k;
    for (; k < s_.size() && static_cast<unsigned char>(s_[k]) <= ' '; ++k) line_ += s_[k] == '\n';
  }
  macros_[std::string(trim(text.substr(2)))] = std::move(body);
  return k;
}

GerberFile GerberReader::run() {
  if (!settle_unit()) return std::move(f_);
  f_.objects.reserve(std::min(s_.size() / 16, kMostObjects / 2));
  bool inside = false;  // between two percent signs
  for (std::size_t i = 0; i < s_.size() && !ended_ && failures_ < 20;) {
    const char c = s_[i];
    if (static_cast<unsigned char>(c) <= ' ') {
      line_ += c == '\n';
      ++i;
    } else if (c == '%') {
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
  return std::move(f_);
}

void GerberReader::comment(std::string_view text) {
  text = trim(text);
  if (text.substr(0, 3) == "#@!") {
    text = trim(text.substr(3));
    if (text.size() > 1 && text[0] == 'T') attribute(text);
  }
  if (f_.objects.empty() && f_.comments.size() < 400) f_.comments.emplace_back(text);
}

double GerberReader::coordinate(std::string_view digits, int integers, int decimals) {
  if (digits.find('.') != digits.npos) {
    warn_once("gerber-decimal-point", "a coordinate has a decimal point; it is taken literally", std::string(digits));
    double v{};
    if (!number(digits, v) || !(std::abs(v * unit_) <= kFarthest)) {
      fail("gerber-bad-number", "not a number, or beyond 10 m", std::string(digits.substr(0, 30)));
      return 0;
    }
    return v * unit_;
  }
  bool negative = false;
  std::string_view rest = digits;
  if (!rest.empty() && (rest[0] == '-' || rest[0] == '+')) {
    negative = rest[0] == '-';
    rest.remove_prefix(1);
  }
  long long v = 0;
  if (rest.empty() || rest.size() > 15 || rest.find_first_not_of("0123456789") != rest.npos) {
    fail("gerber-bad-number", "not a coordinate", std::string(digits.substr(0, 30)));
    return 0;
  }
  for (char c : rest) v = v * 10 + (c - '0');
  if (trailing_)
    for (std::size_t k = rest.size(); k < static_cast<std::size_t>(integers) + static_cast<std::size_t>(decimals); ++k)
      v *= 10;
  const double value = static_cast<double>(v) / kPowersOfTen[decimals] * unit_;
  if (!(value <= kFarthest)) {
    fail("gerber-far-coordinate", "a coordinate lies beyond 10 m", std::string(digits.substr(0, 30)),
         "the number format or the file is wrong");
    return 0;
  }
  return negative ? -value : value;
}

void GerberReader::word(std::string_view w) {
  w = trim(w);
  if (w.empty()) return;
  bool has_x = false, has_y = false;
  Point to = at_, ij{};
  int d = -1;
  for (std::size_t i = 0; i < w.size();) {
    const char letter = w[i] >= 'a' && w[i] <= 'z' ? static_cast<char>(w[i] - 32) : w[i];
    std::size_t end = i + 1;
    while (end < w.size() && ((w[end] >= '0' && w[end] <= '9') || w[end] == '-' || w[end] == '+' || w[end] == '.'))
      ++end;
    const std::string_view digits = w.substr(i + 1, end - i - 1);
    if (letter == 'X' || letter == 'Y' || letter == 'I' || letter == 'J') {
      if (xi_ + xd_ == 0)
        return fail("gerber-no-format", "a coordinate before the %FS statement", std::string(w.substr(0, 40)),
                    "the number format is unknown; export again");
      const bool horizontal = letter == 'X' || letter == 'I';
      const double v = horizontal ? coordinate(digits, xi_, xd_) : coordinate(digits, yi_, yd_);
      if (letter == 'X') {
        to.x = incremental_ ? at_.x + v : v;
        has_x = true;
      }
      if (letter == 'Y') {
        to.y = incremental_ ? at_.y + v : v;
        has_y = true;
      }
      if (letter == 'I') ij.x = v;
      if (letter == 'J') ij.y = v;
    } else if (letter == 'G' || letter == 'D' || letter == 'M') {
      int code{};
      auto [e, err] = std::from_chars(digits.data(), digits.data() + digits.size(), code);
      if (err != std::errc{}) return fail("gerber-bad-word", "a code without number", std::string(w.substr(0, 40)));
      if (letter == 'G' && code == 4) return comment(w.substr(end));
      if (letter == 'G') g_code(code);
      if (letter == 'D') d = code;
      if (letter == 'M' && (code == 2 || code == 0)) ended_ = true;
    } else if (letter != 'N') {
      return fail("gerber-bad-word", "unknown word", std::string(w.substr(0, 40)));
    }
    i = end;
  }
  if (d >= 10) return select(d);
  if (d > 3) return fail("gerber-bad-word", "unknown operation code", std::string(w.substr(0, 40)));
  if (d < 1) {
    if (!has_x && !has_y) return;
    if (d_mode_ != 1) {
      warn_once("gerber-no-operation", "coordinates without operation code; the last one is taken",
                std::string(w.substr(0, 40)));
      if (d_mode_ == 0) return;
    }
    d = d_mode_;
  }
  d_mode_ = d;
  operate(d, to, ij);
}

void GerberReader::operate(int d, Point to, Point ij) {
  if (d == 1) {
    plot(to, ij);
  } else if (d == 2) {
    if (in_region_) close_contour();
  } else {
    if (in_region_) return fail("gerber-flash-in-region", "a flash inside a region", "D03");
    if (current_ < 0) return fail("gerber-no-aperture", "a flash before an aperture is selected", "D03");
    const GerberAperture& a = f_.apertures[static_cast<std::size_t>(current_)];
    if (a.kind == GerberAperture::Kind::block) {
      flash_block(a, to);
    } else {
      GerberObject o;
      o.kind = GerberObject::Kind::flash;
      o.shape = static_cast<std::uint32_t>(current_);
      o.start = o.end = to;
      add(o);
    }
  }
  at_ = to;
}

void GerberReader::g_code(int code) {
  switch (code) {
    case 1:
    case 2:
    case 3: g_ = code; break;
    case 36:
      if (in_region_) fail("gerber-open-region", "G36 inside a region");
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
    default: warn_once("gerber-unknown-g", "an unknown G code is ignored", "G" + std::to_string(code));
  }
}

void GerberReader::select(int code) {
  auto it = by_code_.find(code);
  if (it == by_code_.end()) {
    if (current_ >= 0 || !by_code_.empty())
      fail("gerber-undefined-aperture", "an aperture is selected that the file does not define",
           "D" + std::to_string(code), "export again; without its size nothing drawn with it is known");
    return;
  }
  current_ = static_cast<int>(it->second);
}

void GerberReader::plot(Point to, Point ij) {
  if (g_ != 1) return arc(to, ij);
  if (in_region_) {
    if (contour_.empty()) contour_.push_back(at_);
    contour_.push_back(to);
    return;
  }
  if (current_ < 0) return fail("gerber-no-aperture", "a stroke before an aperture is selected");
  GerberObject o;
  o.kind = GerberObject::Kind::line;
  o.shape = static_cast<std::uint32_t>(current_);
  o.start = at_;
  o.end = to;
  add(o);
}

Point GerberReader::single_quadrant_centre(Point to, Point ij, bool& zero) {
  Point centre = at_ + ij;
  zero = to == at_;
  // Rounding may take a quarter arc a little past 90 degrees; failing that, any arc that turns the right way.
  for (double slack : {0.1, 2.0}) {
    double best = std::numeric_limits<double>::infinity();
    for (int k = 0; k < 4; ++k) {
      const Point c = at_ + Point{k & 1 ? -std::abs(ij.x) : std::abs(ij.x), k & 2 ? -std::abs(ij.y) : std::abs(ij.y)};
      const Point u = at_ - c, v = to - c;
      const double turn = g_ == 3 ? cross(u, v) : cross(v, u), size = length(u) * length(v);
      const double lack = std::abs(length(u) - length(v));
      if (turn >= -1e-9 * size && dot(u, v) >= -slack * size && lack < best) {
        best = lack;
        centre = c;
      }
    }
    if (std::isfinite(best)) break;
  }
  return centre;
}

void GerberReader::arc(Point to, Point ij) {
  bool zero = false;
  Point c = at_ + ij;
  if (!quadrant_looked_up_) {
    quadrant_looked_up_ = true;
    quadrant_unstated_ = s_.find("G74") == s_.npos && s_.find("G75") == s_.npos;
  }
  if (quadrant_unstated_ && ij.x >= 0 && ij.y >= 0 && !(to == at_)) {
    // Old plotters started in single quadrant mode; unsigned offsets that fit a quarter arc say that it is meant.
    const Point single = single_quadrant_centre(to, ij, zero);
    const double r = distance(at_, single), lack = std::abs(distance(to, single) - r);
    if (lack < 0.02 * r || lack < 0.005) c = single;
    warn_once("gerber-no-quadrant-mode",
              "arcs, but neither G74 nor G75; quarter arcs with unsigned offsets are taken as such");
  } else if (!multi_quadrant_) {
    c = single_quadrant_centre(to, ij, zero);
  }
  const double r0 = distance(at_, c), r1 = distance(to, c);
  if (std::abs(r0 - r1) > 0.01 && std::abs(r0 - r1) > 0.01 * std::max(r0, r1))
    warn_once("gerber-arc-radius", "the two radii of an arc differ; the radius is blended",
              std::to_string(r0) + " mm and " + std::to_string(r1) + " mm");
  if (multi_quadrant_ && !quadrant_unstated_ && !(at_ == to) && distance(at_, to) < 0.001)
    warn_once(
        "gerber-arc-ambiguous",
        "an arc's ends lie within 1 um of each other: nearly nothing or nearly a full circle, decided by direction",
        std::to_string(distance(at_, to)) + " mm apart");
  if (in_region_) {
    if (contour_.empty()) contour_.push_back(at_);
    if (zero || r0 == 0) {
      contour_.push_back(to);
    } else {
      const Ring pts = arc_points(at_, to, c, g_ == 2);
      contour_.insert(contour_.end(), pts.begin() + 1, pts.end());
    }
    return;
  }
  if (current_ < 0) return fail("gerber-no-aperture", "an arc before an aperture is selected");
  GerberObject o;
  o.kind = zero || r0 == 0 ? GerberObject::Kind::line : GerberObject::Kind::arc;
  o.shape = static_cast<std::uint32_t>(current_);
  o.start = at_;
  o.end = to;
  o.clockwise = g_ == 2;
  if (o.kind == GerberObject::Kind::arc) {
    o.centre = static_cast<std::uint32_t>(f_.centres.size());
    f_.centres.push_back(c);
  }
  add(o);
}

void GerberReader::close_contour() {
  if (contour_.size() > 1) {
    if (distance(contour_.front(), contour_.back()) > 0.002)
      warn_once("gerber-unclosed-contour", "a region contour is not closed; it is closed with a straight line");
    else
      contour_.pop_back();
    vertices_ += contour_.size();
    if (crossings_exceed(contour_, 4 * contour_.size() + 1000))
      fail("gerber-tangled-region", "a region contour crosses itself again and again",
           std::to_string(contour_.size()) + " vertices", "the file is damaged, or its number format is wrong");
    // One direction for all contours: orientation carries no meaning, and later cuts rely on it.
    if (signed_area(contour_) < 0) std::reverse(contour_.begin(), contour_.end());
    if (contour_.size() >= 3) contours_.push_back(contour_);
  }
  contour_.clear();
  if (vertices_ > kMostVertices) fail("gerber-too-large", "more than 8 million region vertices");
}

void GerberReader::end_region() {
  if (!in_region_) return fail("gerber-open-region", "G37 without G36");
  close_contour();
  in_region_ = false;
  if (contours_.empty()) return;
  GerberObject o;
  o.kind = GerberObject::Kind::region;
  o.shape = static_cast<std::uint32_t>(f_.regions.size());
  f_.keep_region(std::move(contours_));
  contours_.clear();
  region_ending_ = true;
  add(o);
  region_ending_ = false;
}

void GerberReader::add(GerberObject o) {
  o.dark = dark_;
  o.line = line_;
  if (o.kind != GerberObject::Kind::region) o.transform = transform_;
  o.attributes = attribute_index();
  auto& list = open_blocks_.empty() ? f_.objects : open_blocks_.back().second;
  if (++objects_made_ > kMostObjects) return fail("gerber-too-large", "more than 8 million objects");
  list.push_back(o);
}

std::uint32_t GerberReader::transform_index(const Affine& t) {
  for (std::size_t i = 0; i < f_.transforms.size(); ++i) {
    const Affine& u = f_.transforms[i];
    if (u.a == t.a && u.b == t.b && u.c == t.c && u.d == t.d) return static_cast<std::uint32_t>(i);
  }
  f_.transforms.push_back({t.a, t.b, t.c, t.d, 0, 0});
  return static_cast<std::uint32_t>(f_.transforms.size() - 1);
}

GerberObject GerberReader::placed(const GerberObject& o, const Affine& t) {
  GerberObject q = o;
  const Affine linear{t.a, t.b, t.c, t.d, 0, 0};
  const bool only_shift = t.a == 1 && t.b == 0 && t.c == 0 && t.d == 1;
  if (o.kind == GerberObject::Kind::region) {
    if (only_shift) {
      q.start = o.start + Point{t.e, t.f};
    } else {
      for (const Ring& c : f_.regions[o.shape]) vertices_ += c.size();
      if (vertices_ > kMostVertices) {
        fail("gerber-too-large", "more than 8 million region vertices");
        return q;
      }
      std::vector<Ring> contours = f_.regions[o.shape];
      for (Ring& c : contours) {
        for (Point& p : c) p = t(p + o.start);
        if (t.determinant() < 0) std::reverse(c.begin(), c.end());
      }
      q.shape = static_cast<std::uint32_t>(f_.regions.size());
      q.start = {};
      f_.keep_region(std::move(contours));
    }
  } else {
    q.start = t(o.start);
    q.end = t(o.end);
    if (o.kind == GerberObject::Kind::arc) {
      q.centre = static_cast<std::uint32_t>(f_.centres.size());
      const Point c = t(f_.centres[o.centre]);
      f_.centres.push_back(c);
    }
    if (!only_shift) {
      q.transform = transform_index(combine(linear, f_.transforms[o.transform]));
      if (t.determinant() < 0) q.clockwise = !q.clockwise;
    }
  }
  return q;
}

void GerberReader::flash_block(const GerberAperture& block, Point at) {
  Affine t = f_.transforms[transform_];
  t.e = at.x;
  t.f = at.y;
  objects_made_ += block.block.size();
  if (objects_made_ > kMostObjects)
    return fail("gerber-too-large", "more than 8 million objects after block apertures");
  auto& list = open_blocks_.empty() ? f_.objects : open_blocks_.back().second;
  for (const auto& o : block.block) {
    if (failures_ > 0) return;
    GerberObject q = placed(o, t);
    if (!dark_) q.dark = !q.dark;
    list.push_back(q);
  }
}

void GerberFile::keep_region(std::vector<Ring> contours) {
  Box b;
  for (const auto& c : contours) b.add(bounds(c));
  regions.push_back(std::move(contours));
  region_boxes.push_back(b);
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
