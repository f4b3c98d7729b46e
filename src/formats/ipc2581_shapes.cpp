// Dictionaries, primitives, paths and transforms.
#include <algorithm>
#include <array>

#include "ipc2581_reader.h"
#include "teasel/units.h"
#include "text.h"

namespace teasel::formats {

namespace {
constexpr double kPi = 3.14159265358979323846;
constexpr std::size_t kMostPoints = 20'000'000;
constexpr double kFarthest = 5000;        // mm
constexpr std::size_t kHolesAtOnce = 24;  // of one boolean
constexpr int kDeepestCut = 14;
constexpr double kLeastHole = 1e-5;  // mm^2; smaller cutouts are none

/// Corners cut by a radius or straight, each only where wanted: right top, left top, left bottom, right bottom.
Ring corners(double w, double h, double r, bool round, const std::array<bool, 4>& treated) {
  Ring ring;
  const Point at[] = {{w / 2, h / 2}, {-w / 2, h / 2}, {-w / 2, -h / 2}, {w / 2, -h / 2}};
  for (int i = 0; i < 4; ++i) {
    const Point c = at[i], in{c.x > 0 ? c.x - r : c.x + r, c.y > 0 ? c.y - r : c.y + r};
    if (!treated[static_cast<std::size_t>(i)] || r <= 0) {
      ring.push_back(c);
      continue;
    }
    const int n = round ? std::max(1, chords_of(r) / 4) : 1;
    for (int k = 0; k <= n; ++k) {
      const double a = kPi / 2 * (i + static_cast<double>(k) / n);
      ring.push_back(round || k == 0 || k == n ? Point{in.x + r * std::cos(a), in.y + r * std::sin(a)} : in);
    }
  }
  return ring;
}

Ring regular(int n, double across) {
  Ring ring;
  const double r = across / 2 / std::cos(kPi / n);
  for (int i = 0; i < n; ++i)
    ring.push_back({r * std::cos(kPi / n * (2 * i + 1)), r * std::sin(kPi / n * (2 * i + 1))});
  return ring;
}

Ring ellipse(double w, double h) {
  Ring ring = circle({}, std::max(w, h) / 2);
  const double kx = w / std::max(w, h), ky = h / std::max(w, h);
  for (Point& p : ring) p = {p.x * kx, p.y * ky};
  return ring;
}

Ring ring_of(std::string_view shape, double size) {
  if (shape == "SQUARE") return rectangle({}, size, size);
  if (shape == "HEXAGON") return regular(6, size);
  if (shape == "OCTAGON") return regular(8, size);
  return circle({}, size / 2);
}
}  // namespace

void CadReader::fail(const char* code, const XMLElement& e, std::string message, std::string found,
                     std::string expected, std::string remedy) {
  if (complaints_++ < 10)
    d_.error(code, at(e), std::move(message), std::move(found), std::move(expected),
             remedy.empty() ? "export the file again" : std::move(remedy));
}

double CadReader::number(const XMLElement& e, const char* attribute, double missing) {
  const std::string_view text = formats::attribute(e, attribute);
  if (text.empty()) return missing;
  double v{};
  if (formats::number(text, v) && std::abs(v) < 1e9) return v;
  fail("ipc2581-bad-number", e, std::string("attribute ") + attribute + " is not a number",
       std::string(text.substr(0, 40)), "a decimal number");
  return missing;
}

double CadReader::length(const XMLElement& e, const char* attribute, double missing, double k) {
  const double v = k * number(e, attribute, missing);
  if (std::abs(v) <= kFarthest) return v;
  fail("ipc2581-too-large", e, std::string("attribute ") + attribute + " lies beyond 5 m",
       std::string(formats::attribute(e, attribute).substr(0, 40)), {}, "the file is damaged, or its unit is wrong");
  return missing;
}

bool CadReader::flag(const XMLElement& e, const char* attribute, bool missing) {
  const std::string_view text = formats::attribute(e, attribute);
  if (text.empty()) return missing;
  if (const auto v = truth(text)) return *v;
  fail("ipc2581-bad-flag", e, std::string("attribute ") + attribute + " is neither true nor false",
       std::string(text.substr(0, 40)), "true or false");
  return missing;
}

double CadReader::scale_of(const XMLElement& e) {
  const std::string_view u = attribute(e, "units");
  if (u == "MILLIMETER") return 1;
  if (u == "INCH") return kMmPerInch;
  if (u == "MICRON") return 0.001;
  fail("ipc2581-units", e, "the unit is not known", std::string(u.substr(0, 40)), "MILLIMETER, INCH or MICRON");
  return 1;
}

/// Scale, turn counter-clockwise, mirror x to -x, then move: offsets count after the turn (real files place the spokes
/// of pads that way).
Affine CadReader::xform(const XMLElement* e, double k) {
  if (!e) return {};
  const double degrees = number(*e, "rotation", 0), a = degrees * kPi / 180;
  double s = number(*e, "scale", 1);
  if (!(s > 0 && s <= 1000)) {
    fail("ipc2581-bad-number", *e, "a scale is out of range", std::string(attribute(*e, "scale").substr(0, 40)),
         "above 0, at most 1000");
    s = 1;
  }
  double c = std::cos(a), n = std::sin(a);
  if (std::fmod(degrees, 90) == 0) {
    c = std::round(c);
    n = std::round(n);
  }
  const double m = flag(*e, "mirror") ? -1 : 1;
  return {m * s * c, -m * s * n, s * n, s * c, length(*e, "xOffset", 0, k), length(*e, "yOffset", 0, k)};
}

Point CadReader::location(const XMLElement& e) {
  const XMLElement* l = child(e, "Location");
  return l ? Point{length(*l, "x", 0, k_), length(*l, "y", 0, k_)} : Point{};
}

Ring CadReader::path(const XMLElement& poly, double k) {
  Ring ring;
  for (const XMLElement& s : children(poly)) {
    const std::string_view kind = local(s);
    if (kind != "PolyBegin" && kind != "PolyStepSegment" && kind != "PolyStepCurve") continue;
    const Point p{length(s, "x", 0, k), length(s, "y", 0, k)};
    if (kind == "PolyStepCurve" && !ring.empty()) {
      const Ring arc =
          arc_points(ring.back(), p, {length(s, "centerX", 0, k), length(s, "centerY", 0, k)}, flag(s, "clockwise"));
      ring.insert(ring.end(), arc.begin() + 1, arc.end());
    } else {
      ring.push_back(p);
    }
    if (++points_ > kMostPoints || ring.size() > kMostPoints) {
      fail("ipc2581-too-large", poly, "more than 20 million points", {}, {}, "the file is damaged or hostile");
      return {};
    }
  }
  return ring;
}

namespace {
/// The box in two, by a line on the 1 nm grid through the middle of the middle hole.
std::array<Box, 2> halves(const Box& box, const std::vector<Ring>& holes) {
  const bool across = box.width() >= box.height();
  std::vector<double> middles;
  for (const Ring& h : holes) middles.push_back(across ? bounds(h).centre().x : bounds(h).centre().y);
  std::nth_element(middles.begin(), middles.begin() + static_cast<std::ptrdiff_t>(middles.size() / 2), middles.end());
  const double at = std::round(middles[middles.size() / 2] * 1e6) / 1e6;
  std::array<Box, 2> out{box, box};
  (across ? out[0].x1 : out[0].y1) = at;
  (across ? out[1].x0 : out[1].y0) = at;
  return out;
}
}  // namespace

void hole_free(Polygon p, std::vector<Ring>& out) {
  std::erase_if(p.holes, [](const Ring& h) { return std::abs(signed_area(h)) < kLeastHole; });
  if (p.holes.empty()) {
    out.push_back(std::move(p.outer));
    return;
  }
  // The line opens a hole; both halves have fewer.
  for (const Box& half : halves(bounds(p.outer).grown(1), p.holes))
    for (Polygon& part : intersect({p}, {{rectangle(half.centre(), half.width(), half.height()), {}}})) {
      if (part.holes.size() >= p.holes.size()) part.holes.pop_back();  // a hole so thin that the line missed it
      hole_free(std::move(part), out);
    }
}

/// A plane of many cutouts, cut into boxes of a few each before the booleans. Boxes abut along their sides.
void CadReader::pieces(Ring outer, const std::vector<Ring>& holes, const Box& box, int depth, std::vector<Ring>& out) {
  if (outer.size() < 3) return;
  if (holes.empty() && depth == 0) {
    out.push_back(std::move(outer));
    return;
  }
  if (holes.size() <= kHolesAtOnce || depth >= kDeepestCut) {
    for (Polygon& p : subtract(fill_contours({outer}), fill_contours(holes))) hole_free(std::move(p), out);
    return;
  }
  for (const Box& half : halves(box, holes)) {
    std::vector<Ring> inside;
    for (const Ring& h : holes)
      if (bounds(h).touches(half))
        if (Ring part = cut_to_box(h, half); part.size() >= 3) inside.push_back(std::move(part));
    pieces(cut_to_box(outer, half), inside, half, depth + 1, out);
  }
}

void close(Ring& ring) {
  if (ring.size() > 1 && distance(ring.front(), ring.back()) < 1e-6) ring.pop_back();
}

std::vector<Ring> CadReader::contour(const XMLElement& e, double k, const Affine& t) {
  std::vector<Ring> rings;
  Ring outer;
  std::vector<Ring> holes;
  auto finish = [&] {
    const Box box = bounds(outer);
    std::vector<Box> boxes;
    for (const Ring& h : holes) boxes.push_back(bounds(h));
    if (heaped(boxes))
      fail("ipc2581-tangled", e, "cutouts are heaped on one another beyond measure", std::to_string(holes.size()), {},
           "the file is damaged or hostile");
    else if (box.valid())
      pieces(std::move(outer), holes, box.grown(0.001), 0, rings);
    outer.clear();
    holes.clear();
  };
  for (const XMLElement& c : children(e)) {
    const bool hole = local(c) == "Cutout";
    if (!hole && local(c) != "Polygon") continue;
    Ring ring = transformed(path(c, k), combine(t, xform(child(c, "Xform"), k)));
    close(ring);
    if (crossings_exceed(ring, 4 * ring.size())) {
      fail("ipc2581-tangled", c, "an outline crosses itself beyond measure", {}, {}, "the file is damaged or hostile");
      continue;
    }
    if (!hole) {
      finish();
      outer = std::move(ring);
    } else if (ring.size() >= 3)
      holes.push_back(std::move(ring));
  }
  finish();
  return rings;
}

Polygons CadReader::area_of_contour(const XMLElement& e, double k, const Affine& t) {
  return fill_contours(contour(e, k, t));
}

namespace {
bool paints(const XMLElement& fill_desc) {
  return attribute(fill_desc, "fillProperty") != "HOLLOW" && attribute(fill_desc, "fillProperty") != "VOID";
}
}  // namespace

bool CadReader::fills(const XMLElement& e) const {
  for (const XMLElement& c : children(e)) {
    if (local(c) == "FillDesc") return paints(c);
    if (local(c) == "FillDescRef")
      if (auto it = fills_.find(std::string(attribute(c, "id"))); it != fills_.end()) return it->second;
  }
  return true;
}

/// Ends are round where the file does not say.
LineStyle CadReader::line_style(const XMLElement& e, double k) {
  const std::string_view end = attribute(e, "lineEnd");
  return {length(e, "lineWidth", 0, k), end == "ROUND" || end.empty(), end == "SQUARE"};
}

LineStyle CadReader::line_of(const XMLElement& e) {
  for (const XMLElement& c : children(e)) {
    if (local(c) == "LineDescRef") {
      if (auto it = lines_.find(std::string(attribute(c, "id"))); it != lines_.end()) return it->second;
      fail("ipc2581-reference", c, "no line of this name is in the dictionary",
           std::string(attribute(c, "id").substr(0, 60)));
    }
    if (local(c) == "LineDesc") return line_style(c, k_);
  }
  return {};
}

std::optional<CadShape> CadReader::primitive(const XMLElement& e, double k) {
  CadShape s;
  GerberAperture& a = s.aperture;
  auto get = [&](const char* name) { return length(e, name, 0, k); };
  const std::string_view kind = local(e);
  a.kind = GerberAperture::Kind::macro;
  Ring ring;
  Polygons shape;
  if (kind == "Circle") {
    a.kind = GerberAperture::Kind::circle;
    a.width = a.height = get("diameter");
    if (a.width > 0) ring = circle({}, a.width / 2);
  } else if (kind == "RectCenter") {
    a.kind = GerberAperture::Kind::rectangle;
    a.width = get("width");
    a.height = get("height");
    ring = rectangle({}, a.width, a.height);
  } else if (kind == "RectRound" || kind == "RectCham") {
    // A corner that is not named is treated where none is named at all, else not.
    std::array<bool, 4> on{};
    const char* names[] = {"upperRight", "upperLeft", "lowerLeft", "lowerRight"};
    const bool any = std::any_of(std::begin(names), std::end(names), [&](const char* n) { return e.Attribute(n); });
    for (std::size_t i = 0; i < 4; ++i) on[i] = flag(e, names[i], !any);
    const double w = get("width"), h = get("height"),
                 r = std::min(get(kind == "RectRound" ? "radius" : "chamfer"), std::min(w, h) / 2);
    ring = corners(w, h, r, kind == "RectRound", on);
  } else if (kind == "RectCorner") {
    const double x0 = get("lowerLeftX"), y0 = get("lowerLeftY"), x1 = get("upperRightX"), y1 = get("upperRightY");
    ring = {{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}};
  } else if (kind == "Oval") {
    a.kind = GerberAperture::Kind::obround;
    a.width = get("width");
    a.height = get("height");
    if (a.width > 0 && a.height > 0) ring = obround({}, a.width, a.height);
  } else if (kind == "Ellipse") {
    if (get("width") > 0 && get("height") > 0) ring = ellipse(get("width"), get("height"));
  } else if (kind == "Diamond") {
    const double w = get("width") / 2, h = get("height") / 2;
    ring = {{w, 0}, {0, h}, {-w, 0}, {0, -h}};
  } else if (kind == "Octagon" || kind == "Hexagon") {
    ring = regular(kind == "Octagon" ? 8 : 6, get("length"));
  } else if (kind == "Triangle") {
    const double b = get("base") / 2, h = get("height") / 2;
    ring = {{-b, -h}, {b, -h}, {0, h}};
  } else if (kind == "Donut" || kind == "Thermal") {
    const double outer = get("outerDiameter"), inner = get("innerDiameter");
    if (outer > 0) shape = {{ring_of(attribute(e, "shape"), outer), {}}};
    if (inner > 0 && outer > 0) shape = subtract(shape, {{ring_of(attribute(e, "shape"), inner), {}}});
    const int spokes = kind == "Thermal" ? static_cast<int>(std::clamp(number(e, "spokeCount", 4), 0.0, 16.0)) : 0;
    for (int i = 0; i < spokes; ++i) {
      const double turn = (number(e, "spokeStartAngle", 45) + 360.0 / spokes * i) * kPi / 180;
      const Ring gap = transformed({{0, -get("spokeWidth") / 2},
                                    {outer, -get("spokeWidth") / 2},
                                    {outer, get("spokeWidth") / 2},
                                    {0, get("spokeWidth") / 2}},
                                   {std::cos(turn), -std::sin(turn), std::sin(turn), std::cos(turn), 0, 0});
      shape = subtract(shape, {{gap, {}}});
    }
  } else if (kind == "Butterfly") {
    const double size = attribute(e, "shape") == "SQUARE" ? get("side") : get("diameter");
    if (size > 0)
      shape = intersect(
          {{ring_of(attribute(e, "shape"), size), {}}},
          {{{{0, 0}, {size, 0}, {size, size}, {0, size}}, {}}, {{{0, 0}, {-size, 0}, {-size, -size}, {0, -size}}, {}}});
  } else if (kind == "Moire") {
    const double width = get("ringWidth"), pitch = 2 * (width + get("ringGap"));
    double outer = get("diameter");
    for (int i = 0; i < std::clamp(static_cast<int>(number(e, "ringNumber", 1)), 0, 50) && outer > 0;
         ++i, outer -= pitch) {
      Polygons one{{circle({}, outer / 2), {}}};
      if (outer > 2 * width) one = subtract(one, {{circle({}, outer / 2 - width), {}}});
      shape = unite(shape, one);
    }
    const double a0 = number(e, "lineAngle", 0) * kPi / 180, l = get("lineLength"), w = get("lineWidth");
    for (double turn : {a0, a0 + kPi / 2})
      if (l > 0 && w > 0)
        shape = unite(
            shape,
            {{transformed(rectangle({}, l, w), {std::cos(turn), -std::sin(turn), std::sin(turn), std::cos(turn), 0, 0}),
              {}}});
  } else if (kind == "Contour" || kind == "Outline") {
    shape = area_of_contour(e, k, {});
  } else {
    return std::nullopt;
  }
  if (ring.size() >= 3 && std::abs(signed_area(ring)) > 0)
    shape = a.kind == GerberAperture::Kind::macro ? fill_contours({ring}) : Polygons{{ring, {}}};
  a.shape = std::move(shape);
  a.box = bounds(a.shape);
  if (a.box.valid() &&
      std::max({std::abs(a.box.x0), std::abs(a.box.x1), std::abs(a.box.y0), std::abs(a.box.y1)}) > 5000)
    fail("ipc2581-too-large", e, "a shape is larger than 5 m");
  if (a.kind == GerberAperture::Kind::macro && a.box.valid()) {
    a.width = a.box.width();
    a.height = a.box.height();
  }
  s.own = xform(child(e, "Xform"), k);
  s.filled = fills(e);
  return s;
}

void CadReader::dictionaries(const XMLElement& content) {
  for (const XMLElement& dict : children(content)) {
    const std::string_view kind = local(dict);
    if (kind != "DictionaryStandard" && kind != "DictionaryUser" && kind != "DictionaryLineDesc" &&
        kind != "DictionaryFillDesc")
      continue;
    if (!dict.FirstChildElement()) continue;
    const double k = scale_of(dict);
    for (const XMLElement& entry : children(dict)) {
      const XMLElement* first = entry.FirstChildElement();
      const std::string id(attribute(entry, "id"));
      if (!first || id.empty()) continue;
      if (kind == "DictionaryUser") user_[id] = {first, k};
      if (kind == "DictionaryLineDesc") lines_[id] = line_style(*first, k);
      if (kind == "DictionaryFillDesc") fills_[id] = paints(*first);
    }
  }
  // Fills may be named by shapes above them.
  for (const XMLElement& dict : children(content))
    if (local(dict) == "DictionaryStandard" && dict.FirstChildElement()) {
      const double k = scale_of(dict);
      for (const XMLElement& entry : children(dict))
        if (const XMLElement* first = entry.FirstChildElement())
          if (auto s = primitive(*first, k)) standard_[std::string(attribute(entry, "id"))] = std::move(*s);
    }
}

const CadShape* CadReader::shape_of(const XMLElement& e) {
  if (local(e) == "StandardPrimitiveRef") {
    auto it = standard_.find(std::string(attribute(e, "id")));
    if (it != standard_.end()) return &it->second;
    fail("ipc2581-reference", e, "no primitive of this name is in the dictionary",
         std::string(attribute(e, "id").substr(0, 60)));
    return nullptr;
  }
  auto it = inline_.find(&e);
  if (it == inline_.end()) it = inline_.emplace(&e, primitive(e, k_)).first;
  return it->second ? &*it->second : nullptr;
}

const CadShape* CadReader::shape_in(const XMLElement& parent) {
  for (const XMLElement& c : children(parent)) {
    const std::string_view kind = local(c);
    if (kind == "Location" || kind == "Xform" || kind == "PinRef" || kind == "NonstandardAttribute" ||
        kind == "UserPrimitiveRef")
      continue;
    if (const CadShape* s = shape_of(c)) return s;
  }
  return nullptr;
}

}  // namespace teasel::formats
