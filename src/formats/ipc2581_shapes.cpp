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
constexpr std::size_t kHolesAtOnce = 24;  // in one boolean
constexpr int kDeepestCut = 14;
constexpr double kLeastHole = 1e-5;  // mm^2; smaller cutouts are left out

/// A rectangle with corners rounded or cut straight where wanted: right top, left top, left bottom, right bottom.
Ring corners(double width, double height, double radius, bool round, const std::array<bool, 4>& treated) {
  Ring ring;
  const Point at[] = {
      {width / 2, height / 2}, {-width / 2, height / 2}, {-width / 2, -height / 2}, {width / 2, -height / 2}};
  for (int i = 0; i < 4; ++i) {
    const Point corner = at[i], in{corner.x > 0 ? corner.x - radius : corner.x + radius,
                                   corner.y > 0 ? corner.y - radius : corner.y + radius};
    if (!treated[static_cast<std::size_t>(i)] || radius <= 0) {
      ring.push_back(corner);
      continue;
    }
    const int chords = round ? std::max(1, chords_of(radius) / 4) : 1;
    for (int k = 0; k <= chords; ++k) {
      const double angle = kPi / 2 * (i + static_cast<double>(k) / chords);
      ring.push_back(round || k == 0 || k == chords
                         ? Point{in.x + radius * std::cos(angle), in.y + radius * std::sin(angle)}
                         : in);
    }
  }
  return ring;
}

Ring regular(int sides, double across) {
  Ring ring;
  const double radius = across / 2 / std::cos(kPi / sides);
  for (int i = 0; i < sides; ++i)
    ring.push_back({radius * std::cos(kPi / sides * (2 * i + 1)), radius * std::sin(kPi / sides * (2 * i + 1))});
  return ring;
}

Ring ellipse(double width, double height) {
  Ring ring = circle({}, std::max(width, height) / 2);
  const double kx = width / std::max(width, height), ky = height / std::max(width, height);
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

void CadReader::fail(const char* code, const XMLElement& element, std::string message, std::string found,
                     std::string expected, std::string remedy) {
  if (complaints_++ < 10)
    diagnostics_.error({.code = code,
                        .at = at(element),
                        .message = std::move(message),
                        .found = std::move(found),
                        .expected = std::move(expected),
                        .remedy = remedy.empty() ? "export the file again" : std::move(remedy)});
}

double CadReader::number(const XMLElement& element, const char* attribute, double missing) {
  const std::string_view text = formats::attribute(element, attribute);
  if (text.empty()) return missing;
  double value{};
  if (formats::number(text, value) && std::abs(value) < 1e9) return value;
  fail("ipc2581-bad-number", element, std::string("attribute ") + attribute + " is not a number",
       std::string(text.substr(0, 40)), "a decimal number");
  return missing;
}

double CadReader::length(const XMLElement& element, const char* attribute, double missing, double scale) {
  const double value = scale * number(element, attribute, missing);
  if (std::abs(value) <= kFarthest) return value;
  fail("ipc2581-too-large", element, std::string("attribute ") + attribute + " lies beyond 5 m",
       std::string(formats::attribute(element, attribute).substr(0, 40)), {},
       "the file is damaged, or its unit is wrong");
  return missing;
}

bool CadReader::flag(const XMLElement& element, const char* attribute, bool missing) {
  const std::string_view text = formats::attribute(element, attribute);
  if (text.empty()) return missing;
  if (const auto value = truth(text)) return *value;
  fail("ipc2581-bad-flag", element, std::string("attribute ") + attribute + " is neither true nor false",
       std::string(text.substr(0, 40)), "true or false");
  return missing;
}

double CadReader::scale_of(const XMLElement& element) {
  const std::string_view unit = attribute(element, "units");
  if (unit == "MILLIMETER") return 1;
  if (unit == "INCH") return kMmPerInch;
  if (unit == "MICRON") return 0.001;
  fail("ipc2581-units", element, "the unit is unknown", std::string(unit.substr(0, 40)), "MILLIMETER, INCH or MICRON");
  return 1;
}

/// Scales, turns counter-clockwise, mirrors x to -x, then moves. Offsets count after the turn: real files place the
/// spokes of pads that way.
Affine CadReader::xform(const XMLElement* element, double scale) {
  if (!element) return {};
  const double degrees = number(*element, "rotation", 0), angle = degrees * kPi / 180;
  double factor = number(*element, "scale", 1);
  if (!(factor > 0 && factor <= 1000)) {
    fail("ipc2581-bad-number", *element, "a scale is out of range",
         std::string(attribute(*element, "scale").substr(0, 40)), "above 0, at most 1000");
    factor = 1;
  }
  double cosine = std::cos(angle), sine = std::sin(angle);
  if (std::fmod(degrees, 90) == 0) {
    cosine = std::round(cosine);
    sine = std::round(sine);
  }
  const double mirror = flag(*element, "mirror") ? -1 : 1;
  return {mirror * factor * cosine,
          -mirror * factor * sine,
          factor * sine,
          factor * cosine,
          length(*element, "xOffset", 0, scale),
          length(*element, "yOffset", 0, scale)};
}

Point CadReader::location(const XMLElement& element) {
  const XMLElement* place = child(element, "Location");
  return place ? Point{length(*place, "x", 0, scale_), length(*place, "y", 0, scale_)} : Point{};
}

Ring CadReader::path(const XMLElement& poly, double scale) {
  Ring ring;
  for (const XMLElement& step : children(poly)) {
    const std::string_view kind = local(step);
    if (kind != "PolyBegin" && kind != "PolyStepSegment" && kind != "PolyStepCurve") continue;
    const Point point{length(step, "x", 0, scale), length(step, "y", 0, scale)};
    if (kind == "PolyStepCurve" && !ring.empty()) {
      const Ring arc =
          arc_points(ring.back(), point, {length(step, "centerX", 0, scale), length(step, "centerY", 0, scale)},
                     flag(step, "clockwise"));
      ring.insert(ring.end(), arc.begin() + 1, arc.end());
    } else {
      ring.push_back(point);
    }
    if (++points_ > kMostPoints || ring.size() > kMostPoints) {
      fail("ipc2581-too-large", poly, "the file has more than 20 million points", {}, {},
           "the file is damaged or hostile");
      return {};
    }
  }
  return ring;
}

namespace {
/// Halves a box by a line on the 1 nm grid through the middle of the middle hole.
std::array<Box, 2> halves(const Box& box, const std::vector<Ring>& holes) {
  const bool across = box.width() >= box.height();
  std::vector<double> middles;
  for (const Ring& hole : holes) middles.push_back(across ? bounds(hole).centre().x : bounds(hole).centre().y);
  std::nth_element(middles.begin(), middles.begin() + static_cast<std::ptrdiff_t>(middles.size() / 2), middles.end());
  const double at = std::round(middles[middles.size() / 2] * 1e6) / 1e6;
  std::array<Box, 2> out{box, box};
  (across ? out[0].x1 : out[0].y1) = at;
  (across ? out[1].x0 : out[1].y0) = at;
  return out;
}
}  // namespace

void hole_free(Polygon polygon, std::vector<Ring>& out) {
  std::erase_if(polygon.holes, [](const Ring& hole) { return std::abs(signed_area(hole)) < kLeastHole; });
  if (polygon.holes.empty()) {
    out.push_back(std::move(polygon.outer));
    return;
  }
  // The line opens a hole, so that both halves have fewer.
  for (const Box& half : halves(bounds(polygon.outer).grown(1), polygon.holes))
    for (Polygon& part : intersect({polygon}, {{rectangle(half.centre(), half.width(), half.height()), {}}})) {
      if (part.holes.size() >= polygon.holes.size()) part.holes.pop_back();  // a hole so thin that the line missed it
      hole_free(std::move(part), out);
    }
}

/// Cuts a plane of many cutouts into boxes of a few cutouts each before the booleans. Boxes abut along their sides.
void CadReader::pieces(Ring outer, const std::vector<Ring>& holes, const Box& box, int depth, std::vector<Ring>& out) {
  if (outer.size() < 3) return;
  if (holes.empty() && depth == 0) {
    out.push_back(std::move(outer));
    return;
  }
  if (holes.size() <= kHolesAtOnce || depth >= kDeepestCut) {
    for (Polygon& polygon : subtract(fill_contours({outer}), fill_contours(holes))) hole_free(std::move(polygon), out);
    return;
  }
  for (const Box& half : halves(box, holes)) {
    std::vector<Ring> inside;
    for (const Ring& hole : holes)
      if (bounds(hole).touches(half))
        if (Ring part = cut_to_box(hole, half); part.size() >= 3) inside.push_back(std::move(part));
    pieces(cut_to_box(outer, half), inside, half, depth + 1, out);
  }
}

void close(Ring& ring) {
  if (ring.size() > 1 && distance(ring.front(), ring.back()) < 1e-6) ring.pop_back();
}

std::vector<Ring> CadReader::contour(const XMLElement& element, double scale, const Affine& map) {
  std::vector<Ring> rings;
  Ring outer;
  std::vector<Ring> holes;
  auto finish = [&] {
    const Box box = bounds(outer);
    std::vector<Box> boxes;
    for (const Ring& hole_ring : holes) boxes.push_back(bounds(hole_ring));
    if (heaped(boxes))
      fail("ipc2581-tangled", element, "far too many cutouts lie on top of one another", std::to_string(holes.size()),
           {}, "the file is damaged or hostile");
    else if (box.valid())
      pieces(std::move(outer), holes, box.grown(0.001), 0, rings);
    outer.clear();
    holes.clear();
  };
  for (const XMLElement& inner : children(element)) {
    const bool hole = local(inner) == "Cutout";
    if (!hole && local(inner) != "Polygon") continue;
    Ring ring = transformed(path(inner, scale), combine(map, xform(child(inner, "Xform"), scale)));
    close(ring);
    if (crossings_exceed(ring, 4 * ring.size())) {
      fail("ipc2581-tangled", inner, "an outline crosses itself far too often", {}, {},
           "the file is damaged or hostile");
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

Polygons CadReader::area_of_contour(const XMLElement& element, double scale, const Affine& map) {
  return fill_contours(contour(element, scale, map));
}

namespace {
bool paints(const XMLElement& fill_desc) {
  return attribute(fill_desc, "fillProperty") != "HOLLOW" && attribute(fill_desc, "fillProperty") != "VOID";
}
}  // namespace

bool CadReader::fills(const XMLElement& element) const {
  for (const XMLElement& inner : children(element)) {
    if (local(inner) == "FillDesc") return paints(inner);
    if (local(inner) == "FillDescRef")
      if (auto it = fills_.find(std::string(attribute(inner, "id"))); it != fills_.end()) return it->second;
  }
  return true;
}

/// The ends of a line are round where the file does not say.
LineStyle CadReader::line_style(const XMLElement& element, double scale) {
  const std::string_view end = attribute(element, "lineEnd");
  return {length(element, "lineWidth", 0, scale), end == "ROUND" || end.empty(), end == "SQUARE"};
}

LineStyle CadReader::line_of(const XMLElement& element) {
  for (const XMLElement& inner : children(element)) {
    if (local(inner) == "LineDescRef") {
      if (auto it = lines_.find(std::string(attribute(inner, "id"))); it != lines_.end()) return it->second;
      fail("ipc2581-reference", inner, "no line of this name is in the dictionary",
           std::string(attribute(inner, "id").substr(0, 60)));
    }
    if (local(inner) == "LineDesc") return line_style(inner, scale_);
  }
  return {};
}

Polygons CadReader::donut(const XMLElement& element, double scale) {
  auto get = [&](const char* name) { return length(element, name, 0, scale); };
  Polygons shape;
  const double outer = get("outerDiameter"), inner = get("innerDiameter");
  if (outer > 0) shape = {{ring_of(attribute(element, "shape"), outer), {}}};
  if (inner > 0 && outer > 0) shape = subtract(shape, {{ring_of(attribute(element, "shape"), inner), {}}});
  if (local(element) != "Thermal") return shape;
  const int spokes = static_cast<int>(std::clamp(number(element, "spokeCount", 4), 0.0, 16.0));
  for (int i = 0; i < spokes; ++i) {
    const double turn = (number(element, "spokeStartAngle", 45) + 360.0 / spokes * i) * kPi / 180;
    const Ring gap = transformed({{0, -get("spokeWidth") / 2},
                                  {outer, -get("spokeWidth") / 2},
                                  {outer, get("spokeWidth") / 2},
                                  {0, get("spokeWidth") / 2}},
                                 {std::cos(turn), -std::sin(turn), std::sin(turn), std::cos(turn), 0, 0});
    shape = subtract(shape, {{gap, {}}});
  }
  return shape;
}

Polygons CadReader::moire(const XMLElement& element, double scale) {
  auto get = [&](const char* name) { return length(element, name, 0, scale); };
  Polygons shape;
  const double ring_width = get("ringWidth"), pitch = 2 * (ring_width + get("ringGap"));
  const int rings = std::clamp(static_cast<int>(number(element, "ringNumber", 1)), 0, 50);
  double outer = get("diameter");
  for (int i = 0; i < rings && outer > 0; ++i, outer -= pitch) {
    Polygons one{{circle({}, outer / 2), {}}};
    if (outer > 2 * ring_width) one = subtract(one, {{circle({}, outer / 2 - ring_width), {}}});
    shape = unite(shape, one);
  }
  const double first = number(element, "lineAngle", 0) * kPi / 180;
  const double line_length = get("lineLength"), line_width = get("lineWidth");
  for (double turn : {first, first + kPi / 2})
    if (line_length > 0 && line_width > 0)
      shape = unite(shape, {{transformed(rectangle({}, line_length, line_width),
                                         {std::cos(turn), -std::sin(turn), std::sin(turn), std::cos(turn), 0, 0}),
                             {}}});
  return shape;
}

/// Two opposite quarters of a circle or a square.
Polygons CadReader::butterfly(const XMLElement& element, double scale) {
  const bool square = attribute(element, "shape") == "SQUARE";
  const double size = length(element, square ? "side" : "diameter", 0, scale);
  if (!(size > 0)) return {};
  return intersect(
      {{ring_of(attribute(element, "shape"), size), {}}},
      {{{{0, 0}, {size, 0}, {size, size}, {0, size}}, {}}, {{{0, 0}, {-size, 0}, {-size, -size}, {0, -size}}, {}}});
}

/// A rectangle with corners rounded or chamfered. A corner that is not named is treated only if no corner is named at
/// all.
Ring CadReader::treated_rectangle(const XMLElement& element, double scale) {
  auto get = [&](const char* name) { return length(element, name, 0, scale); };
  const bool round = local(element) == "RectRound";
  std::array<bool, 4> on{};
  const char* names[] = {"upperRight", "upperLeft", "lowerLeft", "lowerRight"};
  const bool any = std::any_of(std::begin(names), std::end(names),
                               [&](const char* name_of_corner) { return element.Attribute(name_of_corner); });
  for (std::size_t i = 0; i < 4; ++i) on[i] = flag(element, names[i], !any);
  const double width = get("width"), height = get("height"),
               radius = std::min(get(round ? "radius" : "chamfer"), std::min(width, height) / 2);
  return corners(width, height, radius, round, on);
}

/// A primitive with one outline; nothing if the element is none. An outline without points has no area. What Gerber has
/// an aperture for becomes one.
std::optional<Ring> CadReader::simple_primitive(const XMLElement& element, double scale, GerberAperture& aperture) {
  auto get = [&](const char* name) { return length(element, name, 0, scale); };
  const std::string_view kind = local(element);
  if (kind == "Circle") {
    aperture.kind = GerberAperture::Kind::circle;
    aperture.width = aperture.height = Mm{get("diameter")};
    return aperture.width > Mm{} ? circle({}, aperture.width.v / 2) : Ring{};
  }
  if (kind == "RectCenter") {
    aperture.kind = GerberAperture::Kind::rectangle;
    aperture.width = Mm{get("width")};
    aperture.height = Mm{get("height")};
    return rectangle({}, aperture.width.v, aperture.height.v);
  }
  if (kind == "RectRound" || kind == "RectCham") return treated_rectangle(element, scale);
  if (kind == "RectCorner") {
    const double x0 = get("lowerLeftX"), y0 = get("lowerLeftY"), x1 = get("upperRightX"), y1 = get("upperRightY");
    return Ring{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}};
  }
  if (kind == "Oval") {
    aperture.kind = GerberAperture::Kind::obround;
    aperture.width = Mm{get("width")};
    aperture.height = Mm{get("height")};
    const bool has_area = aperture.width > Mm{} && aperture.height > Mm{};
    return has_area ? obround({}, aperture.width.v, aperture.height.v) : Ring{};
  }
  if (kind == "Ellipse") return get("width") > 0 && get("height") > 0 ? ellipse(get("width"), get("height")) : Ring{};
  if (kind == "Diamond") {
    const double width = get("width") / 2, height = get("height") / 2;
    return Ring{{width, 0}, {0, height}, {-width, 0}, {0, -height}};
  }
  if (kind == "Octagon" || kind == "Hexagon") return regular(kind == "Octagon" ? 8 : 6, get("length"));
  if (kind == "Triangle") {
    const double half_base = get("base") / 2, height = get("height") / 2;
    return Ring{{-half_base, -height}, {half_base, -height}, {0, height}};
  }
  return std::nullopt;
}

/// A primitive that is put together of several areas, or whose contours the file draws; nothing if the element is none.
std::optional<Polygons> CadReader::compound_primitive(const XMLElement& element, double scale) {
  const std::string_view kind = local(element);
  if (kind == "Donut" || kind == "Thermal") return donut(element, scale);
  if (kind == "Butterfly") return butterfly(element, scale);
  if (kind == "Moire") return moire(element, scale);
  if (kind == "Contour" || kind == "Outline") return area_of_contour(element, scale, {});
  return std::nullopt;
}

std::optional<CadShape> CadReader::primitive(const XMLElement& element, double scale) {
  CadShape shape_read;
  GerberAperture& aperture = shape_read.aperture;
  aperture.kind = GerberAperture::Kind::macro;
  if (const std::optional<Ring> ring = simple_primitive(element, scale, aperture)) {
    if (ring->size() >= 3 && std::abs(signed_area(*ring)) > 0)
      aperture.shape = aperture.kind == GerberAperture::Kind::macro ? fill_contours({*ring}) : Polygons{{*ring, {}}};
  } else if (std::optional<Polygons> area = compound_primitive(element, scale)) {
    aperture.shape = std::move(*area);
  } else {
    return std::nullopt;
  }
  aperture.box = bounds(aperture.shape);
  if (aperture.box.valid() && std::max({std::abs(aperture.box.x0), std::abs(aperture.box.x1), std::abs(aperture.box.y0),
                                        std::abs(aperture.box.y1)}) > 5000)
    fail("ipc2581-too-large", element, "a shape is larger than 5 m");
  if (aperture.kind == GerberAperture::Kind::macro && aperture.box.valid()) {
    aperture.width = Mm{aperture.box.width()};
    aperture.height = Mm{aperture.box.height()};
  }
  shape_read.own = xform(child(element, "Xform"), scale);
  shape_read.filled = fills(element);
  return shape_read;
}

void CadReader::dictionaries(const XMLElement& content) {
  for (const XMLElement& dict : children(content)) {
    const std::string_view kind = local(dict);
    if (kind != "DictionaryStandard" && kind != "DictionaryUser" && kind != "DictionaryLineDesc" &&
        kind != "DictionaryFillDesc")
      continue;
    if (!dict.FirstChildElement()) continue;
    const double scale = scale_of(dict);
    for (const XMLElement& entry : children(dict)) {
      const XMLElement* first = entry.FirstChildElement();
      const std::string id(attribute(entry, "id"));
      if (!first || id.empty()) continue;
      if (kind == "DictionaryUser") user_[id] = {first, scale};
      if (kind == "DictionaryLineDesc") lines_[id] = line_style(*first, scale);
      if (kind == "DictionaryFillDesc") fills_[id] = paints(*first);
    }
  }
  // Shapes may name fills that stand below them, so the shapes are read last.
  for (const XMLElement& dict : children(content))
    if (local(dict) == "DictionaryStandard" && dict.FirstChildElement()) {
      const double scale = scale_of(dict);
      for (const XMLElement& entry : children(dict))
        if (const XMLElement* first = entry.FirstChildElement())
          if (auto shape_read = primitive(*first, scale))
            standard_[std::string(attribute(entry, "id"))] = std::move(*shape_read);
    }
}

const CadShape* CadReader::shape_of(const XMLElement& element) {
  if (local(element) == "StandardPrimitiveRef") {
    auto it = standard_.find(std::string(attribute(element, "id")));
    if (it != standard_.end()) return &it->second;
    fail("ipc2581-reference", element, "no primitive of this name is in the dictionary",
         std::string(attribute(element, "id").substr(0, 60)));
    return nullptr;
  }
  auto it = inline_.find(&element);
  if (it == inline_.end()) it = inline_.emplace(&element, primitive(element, scale_)).first;
  return it->second ? &*it->second : nullptr;
}

const CadShape* CadReader::shape_in(const XMLElement& parent) {
  for (const XMLElement& inner : children(parent)) {
    const std::string_view kind = local(inner);
    if (kind == "Location" || kind == "Xform" || kind == "PinRef" || kind == "NonstandardAttribute" ||
        kind == "UserPrimitiveRef")
      continue;
    if (const CadShape* shape = shape_of(inner)) return shape;
  }
  return nullptr;
}

}  // namespace teasel::formats
