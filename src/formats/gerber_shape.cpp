// What an object covers: exact areas (circles as inscribed chords within kChord), and tests of points.
#include <algorithm>
#include <charconv>

#include "gerber_reader.h"

namespace teasel::formats {

bool looks_like_gerber(std::string_view bytes) {
  const std::string_view head = bytes.substr(0, 200'000);
  if (head.find("M48") != head.npos && head.find("%FS") == head.npos) return false;
  return head.find("%FS") != head.npos || head.find("%MO") != head.npos ||
         (head.find("%AD") != head.npos && head.find("D01*") != head.npos) ||
         (head.substr(0, 3) == "G04" && head.find("*\n") != head.npos && head.find("D0") != head.npos);
}

Ring arc_points(Point start, Point end, Point centre, bool clockwise, Mm beyond) {
  constexpr double kTurn = 2 * 3.14159265358979323846;
  const double from_start = distance(start, centre), from_end = distance(end, centre);
  const double first = std::atan2(start.y - centre.y, start.x - centre.x),
               last = std::atan2(end.y - centre.y, end.x - centre.x);
  double sweep = clockwise ? first - last : last - first;
  if (sweep <= 1e-12) sweep += kTurn;
  if (start == end) sweep = kTurn;
  const int chords =
      std::max(1, static_cast<int>(std::ceil(chords_of(std::max(from_start, from_end) + beyond.v) * sweep / kTurn)));
  Ring points{start};
  for (int i = 1; i < chords; ++i) {
    const double share = static_cast<double>(i) / chords, angle = first + (clockwise ? -share : share) * sweep,
                 radius = from_start + (from_end - from_start) * share;
    points.push_back({centre.x + radius * std::cos(angle), centre.y + radius * std::sin(angle)});
  }
  points.push_back(end);
  return points;
}

namespace {
/// Of an arc that is united chord by chord: one drawn with a pen that is not round, or one that is no true circle.
constexpr std::size_t kMostChords = 200;

Affine placed_at(const GerberFile& file, const GerberObject& object, Point p) {
  Affine map = file.transforms[object.transform];
  map.e = p.x;
  map.f = p.y;
  return map;
}

/// A stroke of a round pen. Its straight edges have the exact width; its half circles are inscribed chords.
Ring stadium(Point a, Point b, double radius) {
  if (a == b) return circle(a, radius);
  const double along = std::atan2(b.y - a.y, b.x - a.x), half = 3.14159265358979323846 / 2;
  const int chords = chords_of(radius) / 2;
  Ring ring;
  auto end = [&](Point centre, double from) {
    for (int i = 0; i <= chords; ++i) {
      const double angle = from + 2 * half * i / chords;
      ring.push_back({centre.x + radius * std::cos(angle), centre.y + radius * std::sin(angle)});
    }
  };
  end(b, along - half);
  end(a, along + half);
  return ring;
}

/// A shape swept along a segment. A convex part sweeps the hull of both ends; an aperture with holes sweeps its
/// outline.
Polygons swept(const Polygons& shape, Point a, Point b) {
  Polygons parts;
  for (const auto& part : shape) {
    std::vector<Point> points;
    for (Point corner : part.outer) {
      points.push_back(corner + a);
      points.push_back(corner + b);
    }
    Ring hull = convex_hull(std::move(points));
    if (hull.size() >= 3) parts.push_back({std::move(hull), {}});
  }
  return parts;
}

/// A round pen along an arc sweeps a sector of a ring and a disc at either end: points beside the sector are nearest to
/// an end.
Polygons swept_arc(Point start, Point end, Point centre, bool clockwise, double radius) {
  const double from_start = distance(start, centre), from_end = distance(end, centre);
  const Ring path = arc_points(start, end, centre, clockwise, Mm{radius});
  if (std::abs(from_start - from_end) > 0.02 * std::max(from_start, from_end)) {
    // The arc is no circle. Its blended path is swept stroke by stroke, in no more strokes than it is worth.
    const std::size_t step = 1 + path.size() / kMostChords;
    Polygons parts;
    for (std::size_t i = 0; i + 1 < path.size(); i += step)
      parts.push_back({stadium(path[i], path[std::min(i + step, path.size() - 1)], radius), {}});
    return unite(parts);
  }
  const bool filled = std::min(from_start, from_end) <= radius;  // the pen covers the centre
  Ring outer, inner;
  for (Point p : path) {
    const Point outwards = (1 / std::max(distance(p, centre), 1e-9)) * (p - centre);
    outer.push_back(p + radius * outwards);
    if (!filled) inner.push_back(p - radius * outwards);
  }
  if (start == end) {
    outer.pop_back();
    if (!filled) inner.pop_back();
    const Polygons disc = fill_contours({outer});
    return filled ? disc : subtract(disc, fill_contours({inner}));
  }
  if (filled) outer.push_back(centre);
  outer.insert(outer.end(), inner.rbegin(), inner.rend());
  Polygons parts = fill_contours({outer});
  parts.push_back({circle(start, radius), {}});
  parts.push_back({circle(end, radius), {}});
  return unite(parts);
}

double round_radius(const GerberFile& file, const GerberObject& object) {
  const GerberAperture& aperture = file.apertures[object.shape];
  if (aperture.kind != GerberAperture::Kind::circle) return -1;
  return aperture.width.v / 2 * std::sqrt(std::abs(file.transforms[object.transform].determinant()));
}

double arc_distance(const GerberObject& object, Point centre, Point p) {
  const Point start = object.start - centre, end = object.end - centre, here = p - centre;
  const double from_start = length(start), from_end = length(end);
  bool inside = true;
  if (!(object.start == object.end)) {
    const double full = 2 * 3.14159265358979323846;
    auto turned_by = [&](Point place) {
      double angle = std::atan2(cross(start, place), dot(start, place));
      if (object.clockwise) angle = -angle;
      return angle < 0 ? angle + full : angle;
    };
    inside = turned_by(here) <= turned_by(end);
  }
  const double ends = std::min(distance(p, object.start), distance(p, object.end));
  return inside ? std::min(ends, std::abs(length(here) - (from_start + from_end) / 2)) : ends;
}
}  // namespace

Box box_of(const GerberFile& file, const GerberObject& object) {
  Box box;
  if (object.kind == GerberObject::Kind::region) {
    box = file.region_boxes[object.shape];
    if (box.valid())
      box = {box.x0 + object.start.x, box.y0 + object.start.y, box.x1 + object.start.x, box.y1 + object.start.y};
    return box;
  }
  Box shape = file.apertures[object.shape].box;
  if (!shape.valid()) shape.add(Point{});
  if (object.transform) {
    Box turned;
    for (Point p :
         {Point{shape.x0, shape.y0}, Point{shape.x1, shape.y0}, Point{shape.x0, shape.y1}, Point{shape.x1, shape.y1}})
      turned.add(file.transforms[object.transform](p));
    shape = turned;
  }
  if (object.kind == GerberObject::Kind::arc) {
    const Point centre = file.centres[object.centre];
    const double radius = std::max(distance(object.start, centre), distance(object.end, centre));
    box = Box{centre.x - radius, centre.y - radius, centre.x + radius, centre.y + radius};
  } else {
    box.add(object.start);
    box.add(object.end);
  }
  return {box.x0 + shape.x0, box.y0 + shape.y0, box.x1 + shape.x1, box.y1 + shape.y1};
}

Box extents(const GerberFile& file) {
  Box box;
  for (const auto& object : file.objects)
    if (object.dark) box.add(box_of(file, object));
  return box;
}

Polygons area_of(const GerberFile& file, const GerberObject& object) {
  using Kind = GerberObject::Kind;
  if (object.kind == Kind::region) {
    Polygons area = fill_contours(file.regions[object.shape]);
    return object.start == Point{} ? area : transformed(area, {1, 0, 0, 1, object.start.x, object.start.y});
  }
  const GerberAperture& aperture = file.apertures[object.shape];
  if (object.kind == Kind::flash) return transformed(aperture.shape, placed_at(file, object, object.start));
  const double radius = round_radius(file, object);
  if (radius == 0) return {};
  if (object.kind == Kind::line) {
    if (radius > 0) return {{stadium(object.start, object.end, radius), {}}};
    return unite(swept(transformed(aperture.shape, placed_at(file, object, {})), object.start, object.end));
  }
  if (radius > 0) return swept_arc(object.start, object.end, file.centres[object.centre], object.clockwise, radius);
  Polygons parts;
  const Ring path = arc_points(object.start, object.end, file.centres[object.centre], object.clockwise);
  const Polygons pen = transformed(aperture.shape, placed_at(file, object, {}));
  const std::size_t step = 1 + path.size() / kMostChords;
  for (std::size_t i = 0; i + 1 < path.size(); i += step) {
    const Polygons part = swept(pen, path[i], path[std::min(i + step, path.size() - 1)]);
    parts.insert(parts.end(), part.begin(), part.end());
  }
  return unite(parts);
}

std::optional<RoundStroke> flash_as_stroke(const GerberFile& file, const GerberObject& object) {
  const GerberAperture& aperture = file.apertures[object.shape];
  if (aperture.shape.empty() || aperture.hole != Mm{} || !aperture.shape[0].holes.empty()) return std::nullopt;
  const Affine& transform = file.transforms[object.transform];
  const double scale = std::sqrt(std::abs(transform.determinant()));
  const double width = aperture.width.v, height = aperture.height.v;
  if (aperture.kind == GerberAperture::Kind::circle) return RoundStroke{object.start, object.start, Mm{width * scale}};
  if (aperture.kind != GerberAperture::Kind::obround) return std::nullopt;
  const double pen = std::min(width, height);
  const Point half = width >= height ? Point{(width - pen) / 2, 0} : Point{0, (height - pen) / 2};
  const Point turned{transform.a * half.x + transform.b * half.y, transform.c * half.x + transform.d * half.y};
  return RoundStroke{object.start - turned, object.start + turned, Mm{pen * scale}};
}

bool reaches(const GerberFile& file, const GerberObject& object, const Box& window) {
  if (!box_of(file, object).touches(window)) return false;
  if (object.kind == GerberObject::Kind::flash || object.kind == GerberObject::Kind::region) return true;
  // Compare the circle about the window with the path, both grown by the pen.
  const Box pen = file.apertures[object.shape].box;
  const Affine& transform = file.transforms[object.transform];
  const double scale = std::max(std::hypot(transform.a, transform.c), std::hypot(transform.b, transform.d));
  const double radius = pen.valid() ? scale * std::hypot(std::max(std::abs(pen.x0), std::abs(pen.x1)),
                                                         std::max(std::abs(pen.y0), std::abs(pen.y1)))
                                    : 0;
  const double reach = radius + std::hypot(window.width(), window.height()) / 2;
  if (object.kind == GerberObject::Kind::line)
    return distance_to_segment(window.centre(), object.start, object.end) <= reach;
  const Point centre = file.centres[object.centre];
  // The radius blends from start to end, so the path lies between both circles.
  const double from_start = distance(object.start, centre), from_end = distance(object.end, centre),
               away = distance(window.centre(), centre);
  return away >= std::min(from_start, from_end) - reach && away <= std::max(from_start, from_end) + reach;
}

Polygons area_in(const GerberFile& file, const GerberObject& object, const Box& window) {
  if (!reaches(file, object, window)) return {};
  if (object.kind == GerberObject::Kind::region) {
    const Box shifted{window.x0 - object.start.x, window.y0 - object.start.y, window.x1 - object.start.x,
                      window.y1 - object.start.y};
    Polygons area = clip_to_box(file.regions[object.shape], shifted);
    return object.start == Point{} ? area : transformed(area, {1, 0, 0, 1, object.start.x, object.start.y});
  }
  return area_of(file, object);
}

bool covers(const GerberFile& file, const GerberObject& object, Point p) {
  if (!box_of(file, object).contains(p)) return false;
  if (object.kind == GerberObject::Kind::region) {
    const Point shifted = p - object.start;
    const auto& contours = file.regions[object.shape];
    return std::any_of(contours.begin(), contours.end(),
                       [&](const Ring& contour) { return winding_number(contour, shifted) != 0; });
  }
  const double radius = round_radius(file, object);
  if (object.kind == GerberObject::Kind::flash) {
    if (radius >= 0 && file.apertures[object.shape].hole == Mm{}) return distance(p, object.start) <= radius;
    return contains(file.apertures[object.shape].shape, inverse(placed_at(file, object, object.start))(p));
  }
  if (radius >= 0) {
    const double away = object.kind == GerberObject::Kind::line ? distance_to_segment(p, object.start, object.end)
                                                                : arc_distance(object, file.centres[object.centre], p);
    return away <= radius;
  }
  return contains(area_of(file, object), p);
}

}  // namespace teasel::formats
