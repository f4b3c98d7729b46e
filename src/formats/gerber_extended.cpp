// Extended commands: format, apertures, blocks, step and repeat, attributes and what is deprecated.
#include <algorithm>
#include <stdexcept>

#include "gerber_macro.h"
#include "gerber_reader.h"
#include "teasel/utf8.h"

namespace teasel::formats {

void GerberReader::extended(std::string_view text) {
  text = trim(text);
  if (text.size() < 2) return;
  const std::string_view code = text.substr(0, 2);
  if (code == "FS") return format(text.substr(2));
  if (code == "MO") return;  // settled before reading
  if (code == "AD") return aperture(text.substr(2));
  if (code == "AB") return block(text.substr(2));
  if (code == "SR") return step_repeat(text.substr(2));
  if (code == "LP") {
    if (text != "LPD" && text != "LPC")
      return fail("gerber-bad-polarity", "this polarity is unknown", std::string(text));
    dark_ = text[2] == 'D';
    return;
  }
  if (code == "LM" || code == "LR" || code == "LS") {
    double value{};
    if (code == "LM") {
      mirror_x_ = text.find('X') != text.npos;
      mirror_y_ = text.find('Y', 2) != text.npos;
    } else if (!number(text.substr(2), value) || (code == "LS" && !(value > 0))) {
      return fail("gerber-bad-transform", "this is not a number", std::string(text));
    } else {
      (code == "LR" ? rotation_ : scale_) = value;
    }
    const double angle = rotation_ * 3.14159265358979323846 / 180, cosine = std::cos(angle) * scale_,
                 sine = std::sin(angle) * scale_;
    const double mirror_x = mirror_x_ ? -1 : 1, mirror_y = mirror_y_ ? -1 : 1;
    transform_ = rotation_ == 0 && scale_ == 1 && !mirror_x_ && !mirror_y_
                     ? 0
                     : transform_index({cosine * mirror_x, -sine * mirror_y, sine * mirror_x, cosine * mirror_y, 0, 0});
    return;
  }
  if (code == "TF" || code == "TA" || code == "TO" || code == "TD") return attribute(text);
  const bool digit = text[1] >= '0' && text[1] <= '9';
  if (digit || text[1] == '-') return word(text);  // words between % signs
  legacy(text);
}

void GerberReader::legacy(std::string_view text) {
  const std::string_view code = text.substr(0, 2), rest = text.substr(2);
  if (code == "IN") file_.image_name = std::string(trim(text.substr(2)));
  if (code == "IN" || code == "LN" || code == "TJ") return;
  if (code == "IC") return;  // input code: ASCII is the only one in use
  if (image_command(code, rest)) return;
  static constexpr std::string_view kRefused[] = {"IF", "IJ", "IO", "KO", "PF"};
  if (std::find(std::begin(kRefused), std::end(kRefused), code) != std::end(kRefused))
    return fail("gerber-deprecated-active",
                "a deprecated command brings in or changes something that this file does not show",
                std::string(text.substr(0, 40)), "export the file again without it");
  warn_once("gerber-unknown-command", "this extended command is unknown and is ignored",
            std::string(text.substr(0, 40)));
}

/// Keeps what the deprecated image commands ask for until change_image(). False if `code` is none of them.
bool GerberReader::image_command(std::string_view code, std::string_view rest) {
  // "A<number>B<number>", either part may be missing.
  auto pair = [&](double& a, double& b) {
    for (std::size_t i = 0; i < rest.size();) {
      const std::size_t end = std::min(rest.find_first_of("AB", i + 1), rest.size());
      double value{};
      if ((rest[i] != 'A' && rest[i] != 'B') || !number(rest.substr(i + 1, end - i - 1), value)) return false;
      (rest[i] == 'A' ? a : b) = value;
      i = end;
    }
    return true;
  };
  const ImageChange before = image_;
  double a = code == "SF" ? 1 : 0, b = a;
  bool good = true;
  if (code == "IP") {
    good = rest == "POS" || rest == "NEG";
    file_.negative_image = rest == "NEG";
    if (file_.negative_image)
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
         std::string(code) + std::string(rest.substr(0, 40)), "export the file again without it");
    return true;
  }
  const bool neutral = !image_.swap_axes && !image_.mirror_a && !image_.mirror_b && image_.scale_a == 1 &&
                       image_.scale_b == 1 && image_.shift_a == 0 && image_.shift_b == 0 && image_.quarter_turns == 0;
  if (!neutral && before.line == 0) {
    image_.line = line_;
    warn_once("gerber-image-change",
              "a deprecated command moves, turns, mirrors or scales the whole image; the program carries it out",
              std::string(code) + std::string(rest.substr(0, 40)));
  }
  return true;
}

/// Mirror, scale and offset act on coordinates alone. Rotation acts on the finished image, the axis swap on the
/// coordinates as plotted. That is also their order (the specification's appendix on deprecated commands).
void GerberReader::change_image() {
  const ImageChange& change = image_;
  if (change.line == 0) return;
  static constexpr double kCos[] = {1, 0, -1, 0}, kSin[] = {0, 1, 0, -1};
  const double cosine = kCos[change.quarter_turns], sine = kSin[change.quarter_turns];
  const Affine on_coordinates{change.mirror_a ? -change.scale_a : change.scale_a,
                              0,
                              0,
                              change.mirror_b ? -change.scale_b : change.scale_b,
                              change.shift_a,
                              change.shift_b};
  const Affine turn{cosine, -sine, sine, cosine, 0, 0}, swap = change.swap_axes ? Affine{0, 1, 1, 0, 0, 0} : Affine{};
  const Affine whole = combine(swap, combine(turn, on_coordinates));
  const bool flips = whole.determinant() < 0;
  if (change.scale_a != change.scale_b && !file_.centres.empty())
    return fail("gerber-bad-image-command", "unequal scale factors would turn the arcs of the file into ellipses",
                "SFA" + std::to_string(change.scale_a) + "B" + std::to_string(change.scale_b),
                "export the file again without %SF");
  for (Point& p : file_.centres) p = whole(p);
  auto regions = std::move(file_.regions);
  file_.regions.clear();
  file_.region_boxes.clear();
  for (auto& region : regions) {
    for (Ring& ring : region) {
      for (Point& p : ring) p = whole(p);
      if (flips) std::reverse(ring.begin(), ring.end());
    }
    file_.keep_region(std::move(region));
  }
  const Affine shift_only{whole.a, whole.b, whole.c, whole.d, 0, 0};
  std::vector<std::uint32_t> turned(file_.transforms.size());
  for (std::size_t i = 0, n = turned.size(); i < n; ++i)
    turned[i] = transform_index(combine(turn, Affine(file_.transforms[i])));
  for (auto& object : file_.objects) {
    if (object.kind == GerberObject::Kind::region) {
      object.start = shift_only(object.start);
      continue;
    }
    object.start = whole(object.start);
    object.end = whole(object.end);
    object.transform = turned[object.transform];
    if (flips) object.clockwise = !object.clockwise;
  }
}

void GerberReader::format(std::string_view text) {
  auto digits = [&](char axis, int& integers, int& decimals) {
    const std::size_t at = text.find(axis);
    if (at == text.npos || at + 2 >= text.size()) return false;
    integers = text[at + 1] - '0';
    decimals = text[at + 2] - '0';
    return integers >= 0 && integers <= 7 && decimals >= 1 && decimals <= 8;
  };
  trailing_ = text.find('T') != text.npos && text.find('T') < text.find('X');
  incremental_ = text.find('I') != text.npos && text.find('I') < text.find('X');
  const bool good = digits('X', x_integers_, x_decimals_) && digits('Y', y_integers_, y_decimals_);
  // The quick way of reading holds for absolute coordinates without leading zeros only.
  auto limit = [&](int decimals) {
    return trailing_ || incremental_ ? -1 : static_cast<long long>(kFarthest / unit_ * std::pow(10.0, decimals));
  };
  farthest_x_ = good ? limit(x_decimals_) : -1;
  farthest_y_ = good ? limit(y_decimals_) : -1;
  if (!good) {
    x_integers_ = x_decimals_ = y_integers_ = y_decimals_ = 0;
    return fail("gerber-bad-format", "the format statement cannot be read", "FS" + std::string(text.substr(0, 30)),
                "export the file again with a format such as %FSLAX46Y46*%");
  }
}

namespace {
void shape_of(GerberAperture& aperture, char kind, const std::vector<double>& parameters, double unit) {
  auto mm = [&](std::size_t i) { return i < parameters.size() ? parameters[i] * unit : 0.0; };
  const bool round = kind == 'C' || kind == 'P';
  const double width = mm(0), height = !round && parameters.size() > 1 ? mm(1) : width;
  aperture.width = Mm{width};
  aperture.height = Mm{height};
  Ring outer;
  std::size_t hole = 2;
  if (kind == 'C') {
    aperture.kind = GerberAperture::Kind::circle;
    hole = 1;
    if (width > 0) outer = circle({}, width / 2);
  } else if (kind == 'R') {
    aperture.kind = GerberAperture::Kind::rectangle;
    if (width > 0 && height > 0) outer = rectangle({}, width, height);
  } else if (kind == 'O') {
    aperture.kind = GerberAperture::Kind::obround;
    if (width > 0 && height > 0) outer = obround({}, width, height);
  } else {
    aperture.kind = GerberAperture::Kind::polygon;
    hole = 3;
    const int vertices = static_cast<int>(std::round(parameters.size() > 1 ? parameters[1] : 0));
    if (vertices < 3 || vertices > 64) throw std::runtime_error("a polygon aperture needs 3 to 12 vertices");
    const double turn = parameters.size() > 2 ? parameters[2] * 3.14159265358979323846 / 180 : 0;
    for (int i = 0; i < vertices; ++i) {
      const double angle = turn + 2 * 3.14159265358979323846 * i / vertices;
      outer.push_back({width / 2 * std::cos(angle), width / 2 * std::sin(angle)});
    }
  }
  if (width < 0 || height < 0 || width > 5000 || height > 5000)
    throw std::runtime_error("the size of an aperture is out of range");
  if (outer.empty()) return;
  aperture.shape = {{outer, {}}};
  if (mm(hole) > 0) {
    if (parameters.size() > hole + 1 && mm(hole + 1) > 0) {
      aperture.shape = subtract(aperture.shape, {{rectangle({}, mm(hole), mm(hole + 1)), {}}});
    } else {
      aperture.hole = Mm{mm(hole)};
      aperture.shape = subtract(aperture.shape, {{circle({}, mm(hole) / 2), {}}});
    }
  }
}
}  // namespace

void GerberReader::aperture(std::string_view text) {
  if (text.empty()) return;  // an empty %AD*% occurs in old files
  int code{};
  if (text[0] != 'D')
    return fail("gerber-bad-aperture", "the aperture definition cannot be read", std::string(text.substr(0, 40)));
  auto [end, err] = std::from_chars(text.data() + 1, text.data() + text.size(), code);
  if (err != std::errc{} || code < 10)
    return fail("gerber-bad-aperture", "the aperture number cannot be read, or it is below 10",
                std::string(text.substr(0, 40)));
  std::string_view rest = text.substr(static_cast<std::size_t>(end - text.data()));
  const std::size_t comma = rest.find(',');
  const std::string name(trim(rest.substr(0, comma)));
  std::vector<double> parameters_read;
  if (comma != rest.npos && !trim(rest.substr(comma + 1)).empty()) {
    std::string parameters(rest.substr(comma + 1));
    for (char& letter : parameters)
      if (letter == 'x') letter = 'X';
    while (parameters.ends_with('X') || parameters.ends_with(' '))
      parameters.pop_back();  // an empty last parameter occurs in old files
    for (std::string_view field : split(parameters, 'X')) {
      double value{};
      if (!number(field, value))
        return fail("gerber-bad-aperture", "an aperture parameter is not a number", std::string(text.substr(0, 60)));
      parameters_read.push_back(value);
    }
  }
  GerberAperture aperture;
  aperture.code = code;
  try {
    if (auto macro = macros_.find(name); macro != macros_.end()) {
      aperture.kind = GerberAperture::Kind::macro;
      for (const auto& statement : macro->second) macro_work_ += statement.size();
      macro_work_ += macro->second.size() * macro->second.size();
      if (macro_work_ > kMostMacroWork)
        return fail("gerber-too-large", "a macro of this size is used for too many apertures", name,
                    "the file is damaged or hostile");
      aperture.shape = evaluate_macro(macro->second, parameters_read, unit_);
      const Box box = bounds(aperture.shape);
      if (box.valid()) {
        aperture.width = Mm{box.width()};
        aperture.height = Mm{box.height()};
      }
    } else if (name == "C" || name == "R" || name == "O" || name == "P") {
      if (parameters_read.empty())
        return fail("gerber-bad-aperture", "the aperture has no size", std::string(text.substr(0, 40)));
      shape_of(aperture, name[0], parameters_read, unit_);
    } else {
      return fail("gerber-unknown-macro", "the aperture names a macro that is not defined above", name,
                  "the file is incomplete; export it again");
    }
  } catch (const std::exception& error) {
    return fail("gerber-bad-aperture", error.what(), std::string(text.substr(0, 60)));
  }
  aperture.box = bounds(aperture.shape);
  keep_aperture(std::move(aperture));
}

void GerberReader::keep_aperture(GerberAperture aperture) {
  if (auto it = aperture_dictionary_.find(".AperFunction"); it != aperture_dictionary_.end())
    aperture.function = it->second;
  for (const auto& [name, value] : aperture_dictionary_) attribute_bytes_ += name.size() + value.size();
  if (attribute_bytes_ > kMostAttributeBytes)
    return fail("gerber-too-large", "the file has more than 64 MB of attributes");
  if (const auto first = by_code_.find(aperture.code); first != by_code_.end()) {
    const GerberAperture& before = file_.apertures[first->second];
    if (before.kind != aperture.kind || before.box.width() != aperture.box.width() ||
        before.box.height() != aperture.box.height())
      warn_once("gerber-aperture-again",
                "an aperture is defined a second time, as another one. What is drawn after it "
                "has the new shape",
                "D" + std::to_string(aperture.code) + ": " + short_number(before.box.width(), 4) + " x " +
                    short_number(before.box.height(), 4) + " mm, then " + short_number(aperture.box.width(), 4) +
                    " x " + short_number(aperture.box.height(), 4) + " mm");
  }
  by_code_[aperture.code] = static_cast<std::uint32_t>(file_.apertures.size());
  aperture_attributes_.push_back(aperture_dictionary_);
  row_epoch_.push_back(0);
  row_of_.push_back(0);
  file_.apertures.push_back(std::move(aperture));
}

void GerberReader::block(std::string_view text) {
  if (!text.empty()) {
    int code{};
    if (text[0] != 'D' || std::from_chars(text.data() + 1, text.data() + text.size(), code).ec != std::errc{} ||
        code < 10)
      return fail("gerber-bad-block", "the block aperture number cannot be read", std::string(text.substr(0, 40)));
    if (static_cast<int>(open_blocks_.size()) >= kMostNesting)
      return fail("gerber-too-deep", "block apertures are nested more than 8 deep");
    open_blocks_.emplace_back(code, std::vector<GerberObject>{});
    return;
  }
  if (open_blocks_.empty()) return fail("gerber-bad-block", "a block aperture ends that did not begin");
  GerberAperture aperture;
  aperture.kind = GerberAperture::Kind::block;
  aperture.code = open_blocks_.back().first;
  aperture.block = std::move(open_blocks_.back().second);
  open_blocks_.pop_back();
  for (const auto& object : aperture.block) aperture.box.add(box_of(file_, object));
  keep_aperture(std::move(aperture));
}

void GerberReader::step_repeat(std::string_view text) {
  close_step();
  if (text.empty()) return;
  auto value = [&](char key, double& number_read) {
    const std::size_t at = text.find(key);
    if (at == text.npos) return true;
    const std::size_t end = text.find_first_not_of("+-.0123456789", at + 1);
    return number(text.substr(at + 1, end == text.npos ? text.npos : end - at - 1), number_read);
  };
  double nx = 1, ny = 1, dx = 0, dy = 0;
  if (!value('X', nx) || !value('Y', ny) || !value('I', dx) || !value('J', dy) || nx < 1 || ny < 1 ||
      nx != std::floor(nx) || ny != std::floor(ny))
    return fail("gerber-bad-repeat", "the step-and-repeat statement cannot be read",
                "SR" + std::string(text.substr(0, 40)));
  if (nx * ny > static_cast<double>(kMostObjects))
    return fail("gerber-too-large", "step and repeat asks for more than 3 million copies",
                "SR" + std::string(text.substr(0, 40)));
  if (!open_blocks_.empty()) return fail("gerber-bad-repeat", "step and repeat stands inside a block aperture");
  step_ = {static_cast<int>(nx), static_cast<int>(ny), dx * unit_, dy * unit_, file_.objects.size(), true};
}

void GerberReader::close_step() {
  if (!step_.open) return;
  step_.open = false;
  const std::size_t count = file_.objects.size() - step_.first;
  const double copies = static_cast<double>(step_.nx) * step_.ny;
  if (static_cast<double>(count) * copies + static_cast<double>(objects_made_) > static_cast<double>(kMostObjects))
    return fail("gerber-too-large", "step and repeat makes more than 3 million objects");
  if (std::abs(step_.dx * step_.nx) > kFarthest || std::abs(step_.dy * step_.ny) > kFarthest)
    return fail("gerber-far-coordinate", "step and repeat reaches beyond 10 m");
  objects_made_ += count * static_cast<std::size_t>(copies - 1);
  file_.objects.reserve(step_.first + count * static_cast<std::size_t>(copies));
  for (int ix = 0; ix < step_.nx; ++ix)
    for (int iy = 0; iy < step_.ny; ++iy) {
      if (ix == 0 && iy == 0) continue;
      const Affine shift{1, 0, 0, 1, ix * step_.dx, iy * step_.dy};
      for (std::size_t i = 0; i < count; ++i) file_.objects.push_back(placed(file_.objects[step_.first + i], shift));
    }
}

namespace {
/// The number of hexadecimal digits of an escape \uXXXX or \UXXXXXXXX that begins at `i`; 0 if none does.
std::size_t digits_of_escape(std::string_view text, std::size_t i) {
  if (text[i] != '\\' || i + 1 >= text.size()) return 0;
  if (text[i + 1] == 'u') return 4;
  return text[i + 1] == 'U' ? 8 : 0;
}
/// Turns \uXXXX and \UXXXXXXXX into UTF-8; anything else stays as written.
std::string unescaped(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    const std::size_t digits = digits_of_escape(text, i);
    std::uint32_t code{};
    if (digits && i + 1 + digits < text.size() &&
        std::from_chars(text.data() + i + 2, text.data() + i + 2 + digits, code, 16).ptr ==
            text.data() + i + 2 + digits &&
        code > 0 && code < 0x110000) {
      put_utf8(out, code);
      i += 1 + digits;
    } else {
      out += text[i];
    }
  }
  return out;
}
}  // namespace

void GerberReader::attribute(std::string_view text) {
  const std::string_view body = trim(text.substr(2));
  const std::size_t comma = body.find(',');
  const std::string name(trim(body.substr(0, comma)));
  const std::string value(comma == body.npos ? std::string_view{} : body.substr(comma + 1));
  if (text[1] == 'F') {
    if (file_.file_attributes.size() >= 1000)
      return warn_once("gerber-many-attributes", "the file has more than 1000 file attributes; the rest is left out");
    if (file_.file_attribute(name).empty()) file_.file_attributes.emplace_back(name, unescaped(value));
    return;
  }
  if (text[1] == 'A') {
    aperture_dictionary_[name] = value;
  } else if (text[1] == 'O') {
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

/// The row of attributes for an object that is drawn now. Regions take aperture attributes from the dictionary.
std::uint32_t GerberReader::attribute_row(bool region) {
  const Dictionary& of_aperture =
      region ? aperture_dictionary_ : aperture_attributes_[static_cast<std::size_t>(current_)];
  std::string key;
  for (const Dictionary* dictionary : {&of_aperture, static_cast<const Dictionary*>(&object_dictionary_)}) {
    for (const auto& [name, value] : *dictionary) key += name + '\x1f' + value + '\x1e';
    key += '\x1d';
  }
  auto [it, fresh] = attribute_rows_.try_emplace(key, static_cast<std::uint32_t>(file_.attributes.size()));
  if (fresh) {
    attribute_bytes_ += 2 * key.size();
    if (attribute_bytes_ > kMostAttributeBytes) {
      attribute_rows_.erase(it);
      fail("gerber-too-large", "the file has more than 64 MB of attributes");
      return 0;
    }
    GerberAttributes row;
    for (const Dictionary* dictionary : {&of_aperture, static_cast<const Dictionary*>(&object_dictionary_)})
      for (const auto& [name, value] : *dictionary) {
        const auto fields = split(value, ',');
        if (name == ".AperFunction") {
          row.aper_function = unescaped(value);
        } else if (name == ".N") {
          row.has_net = true;
          row.net = unescaped(fields[0]);
          for (std::size_t i = 1; i < fields.size(); ++i) row.other_nets.push_back(unescaped(fields[i]));
        } else if (name == ".P") {
          row.component = unescaped(fields[0]);
          if (fields.size() > 1) row.pin = unescaped(fields[1]);
          if (fields.size() > 2) row.pin_function = unescaped(fields[2]);
        } else if (name == ".C") {
          if (row.component.empty()) row.component = unescaped(value);
        } else {
          row.others.emplace_back(name, unescaped(value));
        }
      }
    file_.attributes.push_back(std::move(row));
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
