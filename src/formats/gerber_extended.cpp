// Extended commands: format, apertures, blocks, step and repeat, attributes and what is deprecated.
#include <algorithm>
#include <stdexcept>

#include "gerber_macro.h"
#include "gerber_reader.h"

namespace teasel::formats {

void GerberReader::extended(std::string_view s) {
  s = trim(s);
  if (s.size() < 2) return;
  const std::string_view code = s.substr(0, 2);
  if (code == "FS") return format(s.substr(2));
  if (code == "MO") return;  // settled before reading
  if (code == "AD") return aperture(s.substr(2));
  if (code == "AB") return block(s.substr(2));
  if (code == "SR") return step_repeat(s.substr(2));
  if (code == "LP") {
    if (s != "LPD" && s != "LPC") return fail("gerber-bad-polarity", "unknown polarity", std::string(s));
    dark_ = s[2] == 'D';
    return;
  }
  if (code == "LM" || code == "LR" || code == "LS") {
    double v{};
    if (code == "LM") {
      mirror_x_ = s.find('X') != s.npos;
      mirror_y_ = s.find('Y', 2) != s.npos;
    } else if (!number(s.substr(2), v) || (code == "LS" && !(v > 0))) {
      return fail("gerber-bad-transform", "not a number", std::string(s));
    } else {
      (code == "LR" ? rotation_ : scale_) = v;
    }
    const double a = rotation_ * 3.14159265358979323846 / 180, c = std::cos(a) * scale_, n = std::sin(a) * scale_;
    const double mx = mirror_x_ ? -1 : 1, my = mirror_y_ ? -1 : 1;
    transform_ = rotation_ == 0 && scale_ == 1 && !mirror_x_ && !mirror_y_
                     ? 0
                     : transform_index({c * mx, -n * my, n * mx, c * my, 0, 0});
    return;
  }
  if (code == "TF" || code == "TA" || code == "TO" || code == "TD") return attribute(s);
  const bool digit = s[1] >= '0' && s[1] <= '9';
  if (digit || s[1] == '-') return word(s);  // words between % signs
  legacy(s);
}

void GerberReader::legacy(std::string_view s) {
  const std::string_view code = s.substr(0, 2), rest = s.substr(2);
  if (code == "IN" || code == "LN" || code == "TJ") return;
  if (code == "IC") return;  // input code: ASCII is the only one in use
  if (image_command(code, rest)) return;
  static constexpr std::string_view kRefused[] = {"IF", "IJ", "IO", "KO", "PF"};
  if (std::find(std::begin(kRefused), std::end(kRefused), code) != std::end(kRefused))
    return fail("gerber-deprecated-active",
                "a deprecated command that brings in or changes what this file does not show",
                std::string(s.substr(0, 40)), "export again without it");
  warn_once("gerber-unknown-command", "an unknown extended command is ignored", std::string(s.substr(0, 40)));
}

/// The deprecated image commands; what they ask for is kept for change_image(). False if `code` is none of them.
bool GerberReader::image_command(std::string_view code, std::string_view rest) {
  // "A<number>B<number>", either part may be missing.
  auto pair = [&](double& a, double& b) {
    for (std::size_t i = 0; i < rest.size();) {
      const std::size_t end = std::min(rest.find_first_of("AB", i + 1), rest.size());
      double v{};
      if ((rest[i] != 'A' && rest[i] != 'B') || !number(rest.substr(i + 1, end - i - 1), v)) return false;
      (rest[i] == 'A' ? a : b) = v;
      i = end;
    }
    return true;
  };
  const ImageChange before = image_;
  double a = code == "SF" ? 1 : 0, b = a;
  bool good = true;
  if (code == "IP") {
    good = rest == "POS" || rest == "NEG";
    f_.negative_image = rest == "NEG";
    if (f_.negative_image)
      warn_once("gerber-negative-image", "the whole image is inverted (IPNEG)", "IP" + std::string(rest));
  } else if (code == "AS") {
    good = rest == "AXBY" || rest == "AYBX";
    image_.swap_axes = rest == "AYBX";
  } else if (code == "MI") {
    good = pair(a, b) && (a == 0 || a == 1) && (b == 0 || b == 1);
    image_.mirror_a = a == 1;
    image_.mirror_b = b == 1;
  } else if (code == "SF") {
    good = pair(a, b) && a >= 0.0001 && b >= 0.0001 && a < 1000 && b < 1000;
    image_.scale_a = a;
    image_.scale_b = b;
  } else if (code == "OF") {
    good = pair(a, b) && std::abs(a * unit_) < kFarthest && std::abs(b * unit_) < kFarthest;
    image_.shift_a = a * unit_;
    image_.shift_b = b * unit_;
  } else if (code == "IR") {
    good = number(rest, a) && (a == 0 || a == 90 || a == 180 || a == 270);
    image_.quarter_turns = static_cast<int>(a) / 90;
  } else {
    return false;
  }
  if (!good) {
    fail("gerber-bad-image-command", "the deprecated image command cannot be read",
         std::string(code) + std::string(rest.substr(0, 40)), "export again without it");
    return true;
  }
  const bool neutral = !image_.swap_axes && !image_.mirror_a && !image_.mirror_b && image_.scale_a == 1 &&
                       image_.scale_b == 1 && image_.shift_a == 0 && image_.shift_b == 0 && image_.quarter_turns == 0;
  if (!neutral && before.line == 0) {
    image_.line = line_;
    warn_once("gerber-image-change",
              "a deprecated command moves, turns, mirrors or scales the whole image; it is carried out",
              std::string(code) + std::string(rest.substr(0, 40)));
  }
  return true;
}

/// Mirror, scale and offset act on coordinates alone, rotation on the finished image, the axis swap on the coordinates
/// as plotted; in this order (the specification's appendix on deprecated commands).
void GerberReader::change_image() {
  const ImageChange& c = image_;
  if (c.line == 0) return;
  static constexpr double kCos[] = {1, 0, -1, 0}, kSin[] = {0, 1, 0, -1};
  const double cs = kCos[c.quarter_turns], sn = kSin[c.quarter_turns];
  const Affine on_coordinates{c.mirror_a ? -c.scale_a : c.scale_a, 0,         0,
                              c.mirror_b ? -c.scale_b : c.scale_b, c.shift_a, c.shift_b};
  const Affine turn{cs, -sn, sn, cs, 0, 0}, swap = c.swap_axes ? Affine{0, 1, 1, 0, 0, 0} : Affine{};
  const Affine whole = combine(swap, combine(turn, on_coordinates));
  const bool flips = whole.determinant() < 0;
  if (c.scale_a != c.scale_b && !f_.centres.empty())
    return fail("gerber-bad-image-command", "unequal scale factors would make ellipses of the file's arcs",
                "SFA" + std::to_string(c.scale_a) + "B" + std::to_string(c.scale_b), "export again without %SF");
  for (Point& p : f_.centres) p = whole(p);
  auto regions = std::move(f_.regions);
  f_.regions.clear();
  f_.region_boxes.clear();
  for (auto& region : regions) {
    for (Ring& ring : region) {
      for (Point& p : ring) p = whole(p);
      if (flips) std::reverse(ring.begin(), ring.end());
    }
    f_.keep_region(std::move(region));
  }
  const Affine shift_only{whole.a, whole.b, whole.c, whole.d, 0, 0};
  std::vector<std::uint32_t> turned(f_.transforms.size());
  for (std::size_t i = 0, n = turned.size(); i < n; ++i)
    turned[i] = transform_index(combine(turn, Affine(f_.transforms[i])));
  for (auto& o : f_.objects) {
    if (o.kind == GerberObject::Kind::region) {
      o.start = shift_only(o.start);
      continue;
    }
    o.start = whole(o.start);
    o.end = whole(o.end);
    o.transform = turned[o.transform];
    if (flips) o.clockwise = !o.clockwise;
  }
}

void GerberReader::format(std::string_view s) {
  auto digits = [&](char axis, int& integers, int& decimals) {
    const std::size_t at = s.find(axis);
    if (at == s.npos || at + 2 >= s.size()) return false;
    integers = s[at + 1] - '0';
    decimals = s[at + 2] - '0';
    return integers >= 0 && integers <= 7 && decimals >= 1 && decimals <= 8;
  };
  trailing_ = s.find('T') != s.npos && s.find('T') < s.find('X');
  incremental_ = s.find('I') != s.npos && s.find('I') < s.find('X');
  const bool good = digits('X', xi_, xd_) && digits('Y', yi_, yd_);
  // Only with leading zeros omitted and absolute coordinates does the quick way of reading apply.
  auto limit = [&](int decimals) {
    return trailing_ || incremental_ ? -1 : static_cast<long long>(kFarthest / unit_ * std::pow(10.0, decimals));
  };
  farthest_x_ = good ? limit(xd_) : -1;
  farthest_y_ = good ? limit(yd_) : -1;
  if (!good) {
    xi_ = xd_ = yi_ = yd_ = 0;
    return fail("gerber-bad-format", "the format statement cannot be read", "FS" + std::string(s.substr(0, 30)),
                "a format such as %FSLAX46Y46*%");
  }
}

namespace {
void shape_of(GerberAperture& a, char kind, const std::vector<double>& p, double unit) {
  auto at = [&](std::size_t i) { return i < p.size() ? p[i] * unit : 0.0; };
  a.width = at(0);
  a.height = kind == 'C' || kind == 'P' ? a.width : p.size() > 1 ? at(1) : a.width;
  Ring outer;
  std::size_t hole = 2;
  if (kind == 'C') {
    a.kind = GerberAperture::Kind::circle;
    hole = 1;
    if (a.width > 0) outer = circle({}, a.width / 2);
  } else if (kind == 'R') {
    a.kind = GerberAperture::Kind::rectangle;
    if (a.width > 0 && a.height > 0) outer = rectangle({}, a.width, a.height);
  } else if (kind == 'O') {
    a.kind = GerberAperture::Kind::obround;
    if (a.width > 0 && a.height > 0) outer = obround({}, a.width, a.height);
  } else {
    a.kind = GerberAperture::Kind::polygon;
    hole = 3;
    const int n = static_cast<int>(std::round(p.size() > 1 ? p[1] : 0));
    if (n < 3 || n > 64) throw std::runtime_error("a polygon aperture needs 3 to 12 vertices");
    const double turn = p.size() > 2 ? p[2] * 3.14159265358979323846 / 180 : 0;
    for (int i = 0; i < n; ++i) {
      const double t = turn + 2 * 3.14159265358979323846 * i / n;
      outer.push_back({a.width / 2 * std::cos(t), a.width / 2 * std::sin(t)});
    }
  }
  if (a.width < 0 || a.height < 0 || a.width > 5000 || a.height > 5000)
    throw std::runtime_error("aperture size out of range");
  if (outer.empty()) return;
  a.shape = {{outer, {}}};
  if (at(hole) > 0) {
    if (p.size() > hole + 1 && at(hole + 1) > 0) {
      a.shape = subtract(a.shape, {{rectangle({}, at(hole), at(hole + 1)), {}}});
    } else {
      a.hole = at(hole);
      a.shape = subtract(a.shape, {{circle({}, a.hole / 2), {}}});
    }
  }
}
}  // namespace

void GerberReader::aperture(std::string_view s) {
  if (s.empty()) return;  // an empty %AD*% occurs in old files
  int code{};
  if (s[0] != 'D')
    return fail("gerber-bad-aperture", "the aperture definition cannot be read", std::string(s.substr(0, 40)));
  auto [end, err] = std::from_chars(s.data() + 1, s.data() + s.size(), code);
  if (err != std::errc{} || code < 10)
    return fail("gerber-bad-aperture", "the aperture number cannot be read or is below 10",
                std::string(s.substr(0, 40)));
  std::string_view rest = s.substr(static_cast<std::size_t>(end - s.data()));
  const std::size_t comma = rest.find(',');
  const std::string name(trim(rest.substr(0, comma)));
  std::vector<double> p;
  if (comma != rest.npos && !trim(rest.substr(comma + 1)).empty()) {
    std::string parameters(rest.substr(comma + 1));
    for (char& c : parameters)
      if (c == 'x') c = 'X';
    while (parameters.ends_with('X') || parameters.ends_with(' '))
      parameters.pop_back();  // an empty last parameter occurs in old files
    for (std::string_view field : split(parameters, 'X')) {
      double v{};
      if (!number(field, v))
        return fail("gerber-bad-aperture", "an aperture parameter is not a number", std::string(s.substr(0, 60)));
      p.push_back(v);
    }
  }
  GerberAperture a;
  a.code = code;
  try {
    if (auto m = macros_.find(name); m != macros_.end()) {
      a.kind = GerberAperture::Kind::macro;
      for (const auto& statement : m->second) macro_work_ += statement.size();
      macro_work_ += m->second.size() * m->second.size();
      if (macro_work_ > kMostMacroWork)
        return fail("gerber-too-large", "macros of this size are used for too many apertures", name,
                    "the file is damaged or hostile");
      a.shape = evaluate_macro(m->second, p, unit_);
      const Box b = bounds(a.shape);
      if (b.valid()) {
        a.width = b.width();
        a.height = b.height();
      }
    } else if (name == "C" || name == "R" || name == "O" || name == "P") {
      if (p.empty()) return fail("gerber-bad-aperture", "the aperture has no size", std::string(s.substr(0, 40)));
      shape_of(a, name[0], p, unit_);
    } else {
      return fail("gerber-unknown-macro", "the aperture names a macro that is not defined above", name,
                  "export again; the file is incomplete");
    }
  } catch (const std::exception& e) {
    return fail("gerber-bad-aperture", e.what(), std::string(s.substr(0, 60)));
  }
  a.box = bounds(a.shape);
  keep_aperture(std::move(a));
}

void GerberReader::keep_aperture(GerberAperture a) {
  if (auto it = aperture_dictionary_.find(".AperFunction"); it != aperture_dictionary_.end()) a.function = it->second;
  for (const auto& [name, value] : aperture_dictionary_) attribute_bytes_ += name.size() + value.size();
  if (attribute_bytes_ > kMostAttributeBytes) return fail("gerber-too-large", "more than 64 MB of attributes");
  by_code_[a.code] = static_cast<std::uint32_t>(f_.apertures.size());
  aperture_attributes_.push_back(aperture_dictionary_);
  row_epoch_.push_back(0);
  row_of_.push_back(0);
  f_.apertures.push_back(std::move(a));
}

void GerberReader::block(std::string_view s) {
  if (!s.empty()) {
    int code{};
    if (s[0] != 'D' || std::from_chars(s.data() + 1, s.data() + s.size(), code).ec != std::errc{} || code < 10)
      return fail("gerber-bad-block", "the block aperture number cannot be read", std::string(s.substr(0, 40)));
    if (static_cast<int>(open_blocks_.size()) >= kMostNesting)
      return fail("gerber-too-deep", "block apertures nested more than 8 deep");
    open_blocks_.emplace_back(code, std::vector<GerberObject>{});
    return;
  }
  if (open_blocks_.empty()) return fail("gerber-bad-block", "a block aperture ends that was not begun");
  GerberAperture a;
  a.kind = GerberAperture::Kind::block;
  a.code = open_blocks_.back().first;
  a.block = std::move(open_blocks_.back().second);
  open_blocks_.pop_back();
  for (const auto& o : a.block) a.box.add(box_of(f_, o));
  keep_aperture(std::move(a));
}

void GerberReader::step_repeat(std::string_view s) {
  close_step();
  if (s.empty()) return;
  auto value = [&](char key, double& v) {
    const std::size_t at = s.find(key);
    if (at == s.npos) return true;
    const std::size_t end = s.find_first_not_of("+-.0123456789", at + 1);
    return number(s.substr(at + 1, end == s.npos ? s.npos : end - at - 1), v);
  };
  double nx = 1, ny = 1, dx = 0, dy = 0;
  if (!value('X', nx) || !value('Y', ny) || !value('I', dx) || !value('J', dy) || nx < 1 || ny < 1 ||
      nx != std::floor(nx) || ny != std::floor(ny))
    return fail("gerber-bad-repeat", "the step-and-repeat statement cannot be read",
                "SR" + std::string(s.substr(0, 40)));
  if (nx * ny > static_cast<double>(kMostObjects))
    return fail("gerber-too-large", "step and repeat asks for more than 8 million copies",
                "SR" + std::string(s.substr(0, 40)));
  if (!open_blocks_.empty()) return fail("gerber-bad-repeat", "step and repeat inside a block aperture");
  step_ = {static_cast<int>(nx), static_cast<int>(ny), dx * unit_, dy * unit_, f_.objects.size(), true};
}

void GerberReader::close_step() {
  if (!step_.open) return;
  step_.open = false;
  const std::size_t count = f_.objects.size() - step_.first;
  const double copies = static_cast<double>(step_.nx) * step_.ny;
  if (static_cast<double>(count) * copies + static_cast<double>(objects_made_) > static_cast<double>(kMostObjects))
    return fail("gerber-too-large", "step and repeat makes more than 8 million objects");
  if (std::abs(step_.dx * step_.nx) > kFarthest || std::abs(step_.dy * step_.ny) > kFarthest)
    return fail("gerber-far-coordinate", "step and repeat reaches beyond 10 m");
  objects_made_ += count * static_cast<std::size_t>(copies - 1);
  f_.objects.reserve(step_.first + count * static_cast<std::size_t>(copies));
  for (int ix = 0; ix < step_.nx; ++ix)
    for (int iy = 0; iy < step_.ny; ++iy) {
      if (ix == 0 && iy == 0) continue;
      const Affine shift{1, 0, 0, 1, ix * step_.dx, iy * step_.dy};
      for (std::size_t i = 0; i < count; ++i) f_.objects.push_back(placed(f_.objects[step_.first + i], shift));
    }
}

namespace {
void append_utf8(std::string& out, std::uint32_t c) {
  if (c < 0x80) {
    out += static_cast<char>(c);
  } else if (c < 0x800) {
    out += static_cast<char>(0xC0 | (c >> 6));
    out += static_cast<char>(0x80 | (c & 63));
  } else if (c < 0x10000) {
    out += static_cast<char>(0xE0 | (c >> 12));
    out += static_cast<char>(0x80 | ((c >> 6) & 63));
    out += static_cast<char>(0x80 | (c & 63));
  } else {
    out += static_cast<char>(0xF0 | (c >> 18));
    out += static_cast<char>(0x80 | ((c >> 12) & 63));
    out += static_cast<char>(0x80 | ((c >> 6) & 63));
    out += static_cast<char>(0x80 | (c & 63));
  }
}
/// \uXXXX and \UXXXXXXXX to UTF-8; anything else stays as written.
std::string unescaped(std::string_view s) {
  std::string out;
  for (std::size_t i = 0; i < s.size(); ++i) {
    const std::size_t digits = s[i] == '\\' && i + 1 < s.size() ? (s[i + 1] == 'u' ? 4 : s[i + 1] == 'U' ? 8 : 0) : 0;
    std::uint32_t c{};
    if (digits && i + 1 + digits < s.size() &&
        std::from_chars(s.data() + i + 2, s.data() + i + 2 + digits, c, 16).ptr == s.data() + i + 2 + digits && c > 0 &&
        c < 0x110000) {
      append_utf8(out, c);
      i += 1 + digits;
    } else {
      out += s[i];
    }
  }
  return out;
}
}  // namespace

void GerberReader::attribute(std::string_view s) {
  const std::string_view body = trim(s.substr(2));
  const std::size_t comma = body.find(',');
  const std::string name(trim(body.substr(0, comma)));
  const std::string value(comma == body.npos ? std::string_view{} : body.substr(comma + 1));
  if (s[1] == 'F') {
    if (f_.file_attributes.size() >= 1000)
      return warn_once("gerber-many-attributes", "more than 1000 file attributes; the rest is left out");
    if (f_.file_attribute(name).empty()) f_.file_attributes.emplace_back(name, unescaped(value));
    return;
  }
  if (s[1] == 'A') {
    aperture_dictionary_[name] = value;
  } else if (s[1] == 'O') {
    object_dictionary_[name] = value;
    ++epoch_;
  } else if (name.empty()) {
    aperture_dictionary_.clear();
    object_dictionary_.clear();
    ++epoch_;
  } else {
    aperture_dictionary_.erase(name);
    object_dictionary_.erase(name);
    ++epoch_;
  }
}

/// The row of what is attached to an object drawn now. Regions take aperture attributes from the dictionary.
std::uint32_t GerberReader::attribute_row(bool region) {
  const Dictionary& of_aperture =
      region ? aperture_dictionary_ : aperture_attributes_[static_cast<std::size_t>(current_)];
  std::string key;
  for (const Dictionary* d : {&of_aperture, static_cast<const Dictionary*>(&object_dictionary_)}) {
    for (const auto& [name, value] : *d) key += name + '\x1f' + value + '\x1e';
    key += '\x1d';
  }
  auto [it, fresh] = attribute_rows_.try_emplace(key, static_cast<std::uint32_t>(f_.attributes.size()));
  if (fresh) {
    attribute_bytes_ += 2 * key.size();
    if (attribute_bytes_ > kMostAttributeBytes) {
      attribute_rows_.erase(it);
      fail("gerber-too-large", "more than 64 MB of attributes");
      return 0;
    }
    GerberAttributes a;
    for (const Dictionary* d : {&of_aperture, static_cast<const Dictionary*>(&object_dictionary_)})
      for (const auto& [name, value] : *d) {
        const auto fields = split(value, ',');
        if (name == ".AperFunction") {
          a.aper_function = unescaped(value);
        } else if (name == ".N") {
          a.has_net = true;
          a.net = unescaped(fields[0]);
          for (std::size_t i = 1; i < fields.size(); ++i) a.other_nets.push_back(unescaped(fields[i]));
        } else if (name == ".P") {
          a.component = unescaped(fields[0]);
          if (fields.size() > 1) a.pin = unescaped(fields[1]);
          if (fields.size() > 2) a.pin_function = unescaped(fields[2]);
        } else if (name == ".C") {
          if (a.component.empty()) a.component = unescaped(value);
        } else {
          a.others.emplace_back(name, unescaped(value));
        }
      }
    f_.attributes.push_back(std::move(a));
  }
  if (!region) {
    row_epoch_[static_cast<std::size_t>(current_)] = epoch_;
    row_of_[static_cast<std::size_t>(current_)] = it->second;
  }
  return it->second;
}

std::string GerberAttributes::other(std::string_view name) const {
  for (const auto& [key, value] : others)
    if (key == name) return value;
  return {};
}

}  // namespace teasel::formats
