// The command interpreter: words and extended commands to resolved objects.
#include "teasel/formats/gerber.h"

#include <algorithm>

#include "gerber_reader.h"
#include "teasel/units.h"

namespace teasel::formats {

bool GerberReader::settle_unit() {
  // The unit may follow the apertures in old files, so it is looked up before anything is converted.
  const std::size_t mm = s_.find("MOMM*"), in = s_.find("MOIN*");
  if (mm != s_.npos || in != s_.npos) {
    f_.millimetres = mm < in;
  } else if (s_.find("G71*") != s_.npos) {
    f_.millimetres = true;
  } else if (s_.find("G70*") != s_.npos) {
    f_.millimetres = false;
  } else {
    fail("gerber-no-unit", "the file states no unit", "neither %MOMM*%, %MOIN*%, G70 nor G71",
         "export again with the unit, or leave this file out of the job");
    return false;
  }
  unit_ = f_.millimetres ? 1.0 : kMmPerInch;
  return true;
}

GerberFile GerberReader::run() {
  if (!settle_unit()) return std::move(f_);
  std::string cleaned;
  std::size_t i = 0;
  bool inside = false;  // between two percent signs
  while (i < s_.size() && !ended_ && failures_ < 20) {
    const char c = s_[i];
    if (c == '\n') ++line_;
    if (static_cast<unsigned char>(c) <= ' ') {
      ++i;
    } else if (c == '%') {
      inside = !inside, ++i;
    } else {
      std::size_t end = i;
      std::uint32_t lines = 0;
      bool broken = false;
      while (end < s_.size() && s_[end] != '*' && !(s_[end] == '%' && end > i && !inside)) {
        if (s_[end] == '\n') ++lines;
        broken |= s_[end] == '\n' || s_[end] == '\r';
        ++end;
      }
      std::string_view text = s_.substr(i, end - i);
      if (end >= s_.size()) {
        if (trim(text).size() > 0) fail("gerber-truncated", "the file ends inside a statement", std::string(trim(text).substr(0, 40)),
             "the file is cut off; fetch it again");
        break;
      }
      if (broken) {
        cleaned.clear();
        for (char k : text)
          if (k != '\n' && k != '\r') cleaned += k;
        text = cleaned;
      }
      if (inside && text.substr(0, 2) == "AM") {
        // A macro owns all statements up to the closing percent sign.
        const std::string macro(trim(text.substr(2)));
        std::vector<std::string> body;
        std::size_t k = end + 1;
        line_ += lines, lines = 0;
        while (k < s_.size() && s_[k] != '%') {
          std::size_t stop = k;
          std::string one;
          while (stop < s_.size() && s_[stop] != '*' && s_[stop] != '%') {
            if (s_[stop] == '\n') ++line_;
            if (static_cast<unsigned char>(s_[stop]) > ' ') one += s_[stop];
            ++stop;
          }
          if (!one.empty()) body.push_back(std::move(one));
          k = stop < s_.size() && s_[stop] == '*' ? stop + 1 : stop;
          while (k < s_.size() && static_cast<unsigned char>(s_[k]) <= ' ') line_ += s_[k++] == '\n';
        }
        macros_[macro] = std::move(body);
        i = k;
        continue;
      }
      if (inside) {
        extended(text);
      } else {
        word(text);
      }
      line_ += lines;
      i = end + 1;
    }
  }
  if (!ended_ && failures_ == 0)
    fail("gerber-no-end", "the file has no end statement M02", "end of file", "the file is probably cut off; fetch it again");
  if (in_region_) fail("gerber-open-region", "the file ends inside a region (G36 without G37)");
  if (!open_blocks_.empty()) fail("gerber-open-block", "a block aperture is not closed");
  close_step();
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
    if (!number(digits, v)) fail("gerber-bad-number", "not a number", std::string(digits.substr(0, 30)));
    return v * unit_;
  }
  bool negative = false;
  std::string_view rest = digits;
  if (!rest.empty() && (rest[0] == '-' || rest[0] == '+')) negative = rest[0] == '-', rest.remove_prefix(1);
  long long v = 0;
  if (rest.empty() || rest.size() > 15 || rest.find_first_not_of("0123456789") != rest.npos) {
    fail("gerber-bad-number", "not a coordinate", std::string(digits.substr(0, 30)));
    return 0;
  }
  for (char c : rest) v = v * 10 + (c - '0');
  if (trailing_)
    for (std::size_t k = rest.size(); k < static_cast<std::size_t>(integers + decimals); ++k) v *= 10;
  static constexpr double kPow[] = {1, 10, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8};
  const double value = static_cast<double>(v) / kPow[decimals] * unit_;
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
    while (end < w.size() && ((w[end] >= '0' && w[end] <= '9') || w[end] == '-' || w[end] == '+' || w[end] == '.')) ++end;
    const std::string_view digits = w.substr(i + 1, end - i - 1);
    if (letter == 'X' || letter == 'Y' || letter == 'I' || letter == 'J') {
      if (xi_ + xd_ == 0) return fail("gerber-no-format", "a coordinate before the %FS statement", std::string(w.substr(0, 40)), "the number format is unknown; export again");
      const bool horizontal = letter == 'X' || letter == 'I';
      const double v = horizontal ? coordinate(digits, xi_, xd_) : coordinate(digits, yi_, yd_);
      if (letter == 'X') to.x = incremental_ ? at_.x + v : v, has_x = true;
      if (letter == 'Y') to.y = incremental_ ? at_.y + v : v, has_y = true;
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
      warn_once("gerber-no-operation", "coordinates without operation code; the last one is taken", std::string(w.substr(0, 40)));
      if (d_mode_ == 0) return;
    }
    d = d_mode_;
  }
  d_mode_ = d;
  if (d == 1) {
    plot(to, ij);
  } else if (d == 2) {
    if (in_region_) close_contour();
  } else {
    if (in_region_) return fail("gerber-flash-in-region", "a flash inside a region", std::string(w.substr(0, 40)));
    if (current_ < 0) return fail("gerber-no-aperture", "a flash before an aperture is selected", std::string(w.substr(0, 40)));
    const GerberAperture& a = f_.apertures[static_cast<std::size_t>(current_)];
    if (a.kind == GerberAperture::Kind::block) {
      flash_block(a, to, 0);
    } else {
      GerberObject o;
      o.kind = GerberObject::Kind::flash, o.shape = static_cast<std::uint32_t>(current_), o.start = o.end = to;
      add(o);
    }
  }
  at_ = to;
}

void GerberReader::g_code(int code) {
  switch (code) {
    case 1: case 2: case 3: g_ = code; break;
    case 36:
      if (in_region_) fail("gerber-open-region", "G36 inside a region");
      in_region_ = true;
      contour_.clear(), contours_.clear();
      break;
    case 37: end_region(); break;
    case 74: multi_quadrant_ = false; break;
    case 75: multi_quadrant_ = true; break;
    case 90: incremental_ = false; break;
    case 91: incremental_ = true; break;
    case 54: case 55: case 70: case 71: break;
    default: warn_once("gerber-unknown-g", "an unknown G code is ignored", "G" + std::to_string(code));
  }
}

void GerberReader::select(int code) {
  auto it = by_code_.find(code);
  if (it == by_code_.end()) {
    if (current_ >= 0 || !by_code_.empty())
      fail("gerber-undefined-aperture", "an aperture is selected that the file does not define", "D" + std::to_string(code),
           "export again; without its size nothing drawn with it is known");
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
  o.kind = GerberObject::Kind::line, o.shape = static_cast<std::uint32_t>(current_), o.start = at_, o.end = to;
  add(o);
}

Point GerberReader::single_quadrant_centre(Point to, Point ij, bool& zero) {
  double best = std::numeric_limits<double>::infinity();
  Point centre = at_ + ij;
  zero = to == at_;
  for (int k = 0; k < 4; ++k) {
    const Point c = at_ + Point{k & 1 ? -std::abs(ij.x) : std::abs(ij.x), k & 2 ? -std::abs(ij.y) : std::abs(ij.y)};
    const Point u = at_ - c, v = to - c;
    const double turn = g_ == 3 ? cross(u, v) : cross(v, u);
    const double lack = std::abs(length(u) - length(v));
    if (turn >= -1e-12 && dot(u, v) >= -1e-9 && lack < best) best = lack, centre = c;
  }
  return centre;
}

void GerberReader::arc(Point to, Point ij) {
  bool zero = false;
  const Point c = multi_quadrant_ ? at_ + ij : single_quadrant_centre(to, ij, zero);
  const double r0 = distance(at_, c), r1 = distance(to, c);
  if (std::abs(r0 - r1) > 0.01 && std::abs(r0 - r1) > 0.01 * std::max(r0, r1))
    warn_once("gerber-arc-radius", "the two radii of an arc differ; the radius is blended",
              std::to_string(r0) + " mm and " + std::to_string(r1) + " mm");
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
  o.shape = static_cast<std::uint32_t>(current_), o.start = at_, o.end = to, o.centre = c, o.clockwise = g_ == 2;
  add(o);
}

void GerberReader::close_contour() {
  if (contour_.size() > 1) {
    if (distance(contour_.front(), contour_.back()) > 0.002)
      warn_once("gerber-unclosed-contour", "a region contour is not closed; it is closed with a straight line");
    else
      contour_.pop_back();
    vertices_ += contour_.size();
    // One direction for all contours: orientation carries no meaning, and later cuts rely on it.
    if (signed_area(contour_) < 0) std::reverse(contour_.begin(), contour_.end());
    if (contour_.size() >= 3) contours_.push_back(contour_);
  }
  contour_.clear();
  if (vertices_ > kMostVertices) fail("gerber-too-large", "more than 20 million region vertices");
}

void GerberReader::end_region() {
  if (!in_region_) return fail("gerber-open-region", "G37 without G36");
  close_contour();
  in_region_ = false;
  if (contours_.empty()) return;
  GerberObject o;
  o.kind = GerberObject::Kind::region, o.shape = static_cast<std::uint32_t>(f_.regions.size());
  f_.regions.push_back(std::move(contours_));
  contours_.clear();
  add(o);
}

Box box_of(const GerberFile& f, const GerberObject& o) {
  Box b;
  if (o.kind == GerberObject::Kind::region) {
    for (const auto& c : f.regions[o.shape]) b.add(bounds(c));
    if (b.valid()) b = {b.x0 + o.start.x, b.y0 + o.start.y, b.x1 + o.start.x, b.y1 + o.start.y};
    return b;
  }
  Box shape = f.apertures[o.shape].box;
  if (!shape.valid()) shape.add(Point{});
  if (o.transform) {
    Box turned;
    for (Point p : {Point{shape.x0, shape.y0}, Point{shape.x1, shape.y0}, Point{shape.x0, shape.y1}, Point{shape.x1, shape.y1}})
      turned.add(f.transforms[o.transform](p));
    shape = turned;
  }
  if (o.kind == GerberObject::Kind::arc) {
    const double r = std::max(distance(o.start, o.centre), distance(o.end, o.centre));
    b = Box{o.centre.x - r, o.centre.y - r, o.centre.x + r, o.centre.y + r};
  } else {
    b.add(o.start), b.add(o.end);
  }
  return {b.x0 + shape.x0, b.y0 + shape.y0, b.x1 + shape.x1, b.y1 + shape.y1};
}

void GerberReader::add(GerberObject o) {
  o.dark = dark_;
  o.line = line_;
  if (o.kind != GerberObject::Kind::region) o.transform = transform_;
  o.attributes = attribute_index();
  o.box = box_of(f_, o);
  auto& list = open_blocks_.empty() ? f_.objects : open_blocks_.back().second;
  if (list.size() >= kMostObjects) return fail("gerber-too-large", "more than 20 million objects");
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
      std::vector<Ring> contours = f_.regions[o.shape];
      for (Ring& c : contours) {
        vertices_ += c.size();
        for (Point& p : c) p = t(p + o.start);
        if (t.determinant() < 0) std::reverse(c.begin(), c.end());
      }
      if (vertices_ > kMostVertices) fail("gerber-too-large", "more than 20 million region vertices");
      q.shape = static_cast<std::uint32_t>(f_.regions.size()), q.start = {};
      f_.regions.push_back(std::move(contours));
    }
  } else {
    q.start = t(o.start), q.end = t(o.end), q.centre = t(o.centre);
    if (!only_shift) {
      q.transform = transform_index(combine(linear, f_.transforms[o.transform]));
      if (t.determinant() < 0) q.clockwise = !q.clockwise;
    }
  }
  q.box = box_of(f_, q);
  return q;
}

void GerberReader::flash_block(const GerberAperture& block, Point at, int depth) {
  if (depth > kMostNesting) return fail("gerber-too-deep", "block apertures nested more than 8 deep");
  Affine t = f_.transforms[transform_];
  t.e = at.x, t.f = at.y;
  const auto content = block.block;  // a copy: the aperture table may grow while objects are placed
  auto& list = open_blocks_.empty() ? f_.objects : open_blocks_.back().second;
  if (list.size() + content.size() > kMostObjects) return fail("gerber-too-large", "more than 20 million objects");
  for (const auto& o : content) {
    GerberObject q = placed(o, t);
    if (!dark_) q.dark = !q.dark;
    list.push_back(q);
  }
}

std::string GerberFile::file_attribute(std::string_view attribute) const {
  for (const auto& [key, value] : file_attributes)
    if (key == attribute) return value;
  return {};
}

GerberFile read_gerber(std::string_view bytes, const std::string& name, Diagnostics& diagnostics) {
  return GerberReader(bytes, name, diagnostics).run();
}

}  // namespace teasel::formats
