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
      mirror_x_ = s.find('X') != s.npos, mirror_y_ = s.find('Y', 2) != s.npos;
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
  auto plain = [&](std::initializer_list<std::string_view> defaults) {
    std::string digits;
    for (char c : rest)
      if (c != '0' && c != '.') digits += c;
    return std::find(defaults.begin(), defaults.end(), digits) != defaults.end();
  };
  if (code == "IN" || code == "LN" || code == "TJ") return;
  if (code == "IP") {
    if (rest == "NEG") {
      f_.negative_image = true;
      warn_once("gerber-negative-image", "the whole image is inverted (IPNEG)", std::string(s));
    }
    return;
  }
  bool neutral = false;
  if (code == "AS") neutral = rest == "AXBY";
  if (code == "MI" || code == "OF") neutral = plain({"AB", "A", "B", ""});
  if (code == "IR") neutral = plain({""});
  if (code == "SF") {
    double a = 1, b = 1;
    const std::size_t at_b = rest.find('B');
    neutral = (rest.empty() || rest[0] != 'A' || number(rest.substr(1, at_b == rest.npos ? rest.npos : at_b - 1), a)) &&
              (at_b == rest.npos || number(rest.substr(at_b + 1), b)) && a == 1 && b == 1;
  }
  if (neutral) return;
  if (code == "IC") return;  // input code: ASCII is the only one in use
  static constexpr std::string_view kActive[] = {"AS", "MI", "OF", "IR", "SF", "IF", "IJ", "IO", "KO", "PF"};
  if (std::find(std::begin(kActive), std::end(kActive), code) != std::end(kActive))
    return fail("gerber-deprecated-active", "a deprecated command that changes the image", std::string(s.substr(0, 40)),
                "export again without it; teasel does not guess its order of execution");
  warn_once("gerber-unknown-command", "an unknown extended command is ignored", std::string(s.substr(0, 40)));
}

void GerberReader::format(std::string_view s) {
  auto digits = [&](char axis, int& integers, int& decimals) {
    const std::size_t at = s.find(axis);
    if (at == s.npos || at + 2 >= s.size()) return false;
    integers = s[at + 1] - '0', decimals = s[at + 2] - '0';
    return integers >= 0 && integers <= 7 && decimals >= 1 && decimals <= 8;
  };
  trailing_ = s.find('T') != s.npos && s.find('T') < s.find('X');
  incremental_ = s.find('I') != s.npos && s.find('I') < s.find('X');
  if (!digits('X', xi_, xd_) || !digits('Y', yi_, yd_)) {
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
    a.kind = GerberAperture::Kind::circle, hole = 1;
    if (a.width > 0) outer = circle({}, a.width / 2);
  } else if (kind == 'R') {
    a.kind = GerberAperture::Kind::rectangle;
    if (a.width > 0 && a.height > 0) outer = rectangle({}, a.width, a.height);
  } else if (kind == 'O') {
    a.kind = GerberAperture::Kind::obround;
    if (a.width > 0 && a.height > 0) outer = obround({}, a.width, a.height);
  } else {
    a.kind = GerberAperture::Kind::polygon, hole = 3;
    const int n = static_cast<int>(std::round(p.size() > 1 ? p[1] : 0));
    if (n < 3 || n > 64) throw std::runtime_error("a polygon aperture needs 3 to 12 vertices");
    const double turn = p.size() > 2 ? p[2] * 3.14159265358979323846 / 180 : 0;
    for (int i = 0; i < n; ++i) {
      const double t = turn + 2 * 3.14159265358979323846 * i / n;
      outer.push_back({a.width / 2 * std::cos(t), a.width / 2 * std::sin(t)});
    }
  }
  if (a.width < 0 || a.height < 0 || a.width > 5000 || a.height > 5000) throw std::runtime_error("aperture size out of range");
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
  if (s[0] != 'D') return fail("gerber-bad-aperture", "the aperture definition cannot be read", std::string(s.substr(0, 40)));
  auto [end, err] = std::from_chars(s.data() + 1, s.data() + s.size(), code);
  if (err != std::errc{} || code < 10)
    return fail("gerber-bad-aperture", "the aperture number cannot be read or is below 10", std::string(s.substr(0, 40)));
  std::string_view rest = s.substr(static_cast<std::size_t>(end - s.data()));
  const std::size_t comma = rest.find(',');
  const std::string name(trim(rest.substr(0, comma)));
  std::vector<double> p;
  if (comma != rest.npos && !trim(rest.substr(comma + 1)).empty()) {
    std::string parameters(rest.substr(comma + 1));
    for (char& c : parameters)
      if (c == 'x') c = 'X';
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
      a.shape = evaluate_macro(m->second, p, unit_);
      const Box b = bounds(a.shape);
      if (b.valid()) a.width = b.width(), a.height = b.height();
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
  if (auto it = attributes_.find(".AperFunction"); it != attributes_.end()) a.function = it->second;
  by_code_[code] = static_cast<std::uint32_t>(f_.apertures.size());
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
  for (const auto& o : a.block) a.box.add(o.box);
  by_code_[a.code] = static_cast<std::uint32_t>(f_.apertures.size());
  f_.apertures.push_back(std::move(a));
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
  if (!value('X', nx) || !value('Y', ny) || !value('I', dx) || !value('J', dy) || nx < 1 || ny < 1 || nx != std::floor(nx) ||
      ny != std::floor(ny))
    return fail("gerber-bad-repeat", "the step-and-repeat statement cannot be read", "SR" + std::string(s.substr(0, 40)));
  if (nx * ny > static_cast<double>(kMostObjects))
    return fail("gerber-too-large", "step and repeat asks for more than 20 million copies", "SR" + std::string(s.substr(0, 40)));
  if (!open_blocks_.empty()) return fail("gerber-bad-repeat", "step and repeat inside a block aperture");
  step_ = {static_cast<int>(nx), static_cast<int>(ny), dx * unit_, dy * unit_, f_.objects.size(), true};
}

void GerberReader::close_step() {
  if (!step_.open) return;
  step_.open = false;
  const std::size_t count = f_.objects.size() - step_.first;
  const double copies = static_cast<double>(step_.nx) * step_.ny;
  if (static_cast<double>(count) * copies + static_cast<double>(step_.first) > static_cast<double>(kMostObjects))
    return fail("gerber-too-large", "step and repeat makes more than 20 million objects");
  f_.objects.reserve(step_.first + count * static_cast<std::size_t>(copies));
  for (int ix = 0; ix < step_.nx; ++ix)
    for (int iy = 0; iy < step_.ny; ++iy) {
      if (ix == 0 && iy == 0) continue;
      const Affine shift{1, 0, 0, 1, ix * step_.dx, iy * step_.dy};
      for (std::size_t i = 0; i < count; ++i) f_.objects.push_back(placed(f_.objects[step_.first + i], shift));
    }
}

void GerberReader::attribute(std::string_view s) {
  const std::string_view body = trim(s.substr(2));
  const std::size_t comma = body.find(',');
  const std::string name(trim(body.substr(0, comma)));
  const std::string value(comma == body.npos ? std::string_view{} : body.substr(comma + 1));
  if (s[1] == 'F') {
    if (f_.file_attribute(name).empty()) f_.file_attributes.emplace_back(name, value);
    return;
  }
  if (s[1] == 'D') {
    if (name.empty()) attributes_.clear(); else attributes_.erase(name);
  } else {
    attributes_[name] = value;
  }
  attributes_stale_ = true;
}

std::uint32_t GerberReader::attribute_index() {
  const std::string* function = nullptr;
  if (!in_region_ && contours_.empty() && current_ >= 0) function = &f_.apertures[static_cast<std::size_t>(current_)].function;
  if (!attributes_stale_ && function && *function == f_.attributes[attributes_now_].aper_function) return attributes_now_;
  GerberAttributes a;
  auto get = [&](const char* key) {
    auto it = attributes_.find(key);
    return it == attributes_.end() ? std::string() : it->second;
  };
  a.aper_function = function ? *function : get(".AperFunction");
  if (auto it = attributes_.find(".N"); it != attributes_.end()) a.has_net = true, a.net = it->second;
  if (const std::string p = get(".P"); !p.empty()) {
    const auto fields = split(p, ',');
    a.component = fields[0];
    if (fields.size() > 1) a.pin = fields[1];
    if (fields.size() > 2) a.pin_function = fields[2];
  } else {
    a.component = get(".C");
  }
  const std::string key = a.aper_function + '\x1f' + a.net + '\x1f' + a.component + '\x1f' + a.pin + '\x1f' + a.pin_function +
                          (a.has_net ? "+" : "-");
  auto [it, fresh] = attribute_rows_.try_emplace(key, static_cast<std::uint32_t>(f_.attributes.size()));
  if (fresh) f_.attributes.push_back(std::move(a));
  attributes_now_ = it->second;
  attributes_stale_ = false;
  return attributes_now_;
}

}  // namespace teasel::formats
