// What an object covers: exact areas (circles as inscribed chords within kChord) and point tests.
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

Ring arc_points(Point start, Point end, Point centre, bool clockwise, double beyond) {
  constexpr double kTurn = 2 * 3.14159265358979323846;
  const double r0 = distance(start, centre), r1 = distance(end, centre);
  const double a0 = std::atan2(start.y - centre.y, start.x - centre.x),
               a1 = std::atan2(end.y - centre.y, end.x - centre.x);
  double sweep = clockwise ? a0 - a1 : a1 - a0;
  if (sweep <= 1e-12) sweep += kTurn;
  if (start == end) sweep = kTurn;
  const int n = std::max(1, static_cast<int>(std::ceil(chords_of(std::max(r0, r1) + beyond) * sweep / kTurn)));
  Ring pts{start};
  for (int i = 1; i < n; ++i) {
    const double t = static_cast<double>(i) / n, a = a0 + (clockwise ? -t : t) * sweep, r = r0 + (r1 - r0) * t;
    pts.push_back({centre.x + r * std::cos(a), centre.y + r * std::sin(a)});
  }
  pts.push_back(end);
  return pts;
}

namespace {
constexpr std::size_t kMostChords =
    200;  // of arcs that are united chord by chord: other pens than round ones, no true circles

Affine placed_at(const GerberFile& f, const GerberObject& o, Point p) {
  Affine t = f.transforms[o.transform];
  t.e = p.x;
  t.f = p.y;
  return t;
}

/// A stroke of a round pen: straight edges at the exact width, half circles as inscribed chords.
Ring stadium(Point a, Point b, double r) {
  if (a == b) return circle(a, r);
  const double along = std::atan2(b.y - a.y, b.x - a.x), half = 3.14159265358979323846 / 2;
  const int n = chords_of(r) / 2;
  Ring ring;
  auto end = [&](Point c, double from) {
    for (int i = 0; i <= n; ++i) {
      const double t = from + 2 * half * i / n;
      ring.push_back({c.x + r * std::cos(t), c.y + r * std::sin(t)});
    }
  };
  end(b, along - half);
  end(a, along + half);
  return ring;
}

/// The shape swept along a segment: for a convex part the hull of both ends; apertures with holes sweep their outline.
Polygons swept(const Polygons& shape, Point a, Point b) {
  Polygons parts;
  for (const auto& p : shape) {
    std::vector<Point> pts;
    for (Point q : p.outer) {
      pts.push_back(q + a);
      pts.push_back(q + b);
    }
    Ring hull = convex_hull(std::move(pts));
    if (hull.size() >= 3) parts.push_back({std::move(hull), {}});
  }
  return parts;
}

/// A round pen along an arc: a ring's sector and a disc at either end. Points beside the sector are nearest to an end.
Polygons swept_arc(Point start, Point end, Point centre, bool clockwise, double r) {
  const double r0 = distance(start, centre), r1 = distance(end, centre);
  const Ring path = arc_points(start, end, centre, clockwise, r);
  if (std::abs(r0 - r1) > 0.02 * std::max(r0, r1)) {
    // No circle at all: the blended path, stroke by stroke, in no more strokes than it is worth.
    const std::size_t step = 1 + path.size() / kMostChords;
    Polygons parts;
    for (std::size_t i = 0; i + 1 < path.size(); i += step)
      parts.push_back({stadium(path[i], path[std::min(i + step, path.size() - 1)], r), {}});
    return unite(parts);
  }
  const bool filled = std::min(r0, r1) <= r;  // the pen covers the centre
  Ring outer, inner;
  for (Point p : path) {
    const Point n = (1 / std::max(distance(p, centre), 1e-9)) * (p - centre);
    outer.push_back(p + r * n);
    if (!filled) inner.push_back(p - r * n);
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
  parts.push_back({circle(start, r), {}});
  parts.push_back({circle(end, r), {}});
  return unite(parts);
}

double round_radius(const GerberFile& f, const GerberObject& o) {
  const GerberAperture& a = f.apertures[o.shape];
  if (a.kind != GerberAperture::Kind::circle) return -1;
  return a.width / 2 * std::sqrt(std::abs(f.transforms[o.transform].determinant()));
}

double arc_distance(const GerberObject& o, Point centre, Point p) {
  const Point u = o.start - centre, v = o.end - centre, w = p - centre;
  const double r0 = length(u), r1 = length(v);
  bool inside = true;
  if (!(o.start == o.end)) {
    const double full = 2 * 3.14159265358979323846;
    auto from_start = [&](Point q) {
      double a = std::atan2(cross(u, q), dot(u, q));
      if (o.clockwise) a = -a;
      return a < 0 ? a + full : a;
    };
    inside = from_start(w) <= from_start(v);
  }
  const double ends = std::min(distance(p, o.start), distance(p, o.end));
  return inside ? std::min(ends, std::abs(length(w) - (r0 + r1) / 2)) : ends;
}
}  // namespace

Box box_of(const GerberFile& f, const GerberObject& o) {
  Box b;
  if (o.kind == GerberObject::Kind::region) {
    b = f.region_boxes[o.shape];
    if (b.valid()) b = {b.x0 + o.start.x, b.y0 + o.start.y, b.x1 + o.start.x, b.y1 + o.start.y};
    return b;
  }
  Box shape = f.apertures[o.shape].box;
  if (!shape.valid()) shape.add(Point{});
  if (o.transform) {
    Box turned;
    for (Point p :
         {Point{shape.x0, shape.y0}, Point{shape.x1, shape.y0}, Point{shape.x0, shape.y1}, Point{shape.x1, shape.y1}})
      turned.add(f.transforms[o.transform](p));
    shape = turned;
  }
  if (o.kind == GerberObject::Kind::arc) {
    const Point c = f.centres[o.centre];
    const double r = std::max(distance(o.start, c), distance(o.end, c));
    b = Box{c.x - r, c.y - r, c.x + r, c.y + r};
  } else {
    b.add(o.start);
    b.add(o.end);
  }
  return {b.x0 + shape.x0, b.y0 + shape.y0, b.x1 + shape.x1, b.y1 + shape.y1};
}

Box extents(const GerberFile& f) {
  Box b;
  for (const auto& o : f.objects)
    if (o.dark) b.add(box_of(f, o));
  return b;
}

Polygons area_of(const GerberFile& f, const GerberObject& o) {
  using Kind = GerberObject::Kind;
  if (o.kind == Kind::region) {
    Polygons area = fill_contours(f.regions[o.shape]);
    return o.start == Point{} ? area : transformed(area, {1, 0, 0, 1, o.start.x, o.start.y});
  }
  const GerberAperture& a = f.apertures[o.shape];
  if (o.kind == Kind::flash) return transformed(a.shape, placed_at(f, o, o.start));
  const double r = round_radius(f, o);
  if (r == 0) return {};
  if (o.kind == Kind::line) {
    if (r > 0) return {{stadium(o.start, o.end, r), {}}};
    return unite(swept(transformed(a.shape, placed_at(f, o, {})), o.start, o.end));
  }
  if (r > 0) return swept_arc(o.start, o.end, f.centres[o.centre], o.clockwise, r);
  Polygons parts;
  const Ring path = arc_points(o.start, o.end, f.centres[o.centre], o.clockwise);
  const Polygons pen = transformed(a.shape, placed_at(f, o, {}));
  const std::size_t step = 1 + path.size() / kMostChords;
  for (std::size_t i = 0; i + 1 < path.size(); i += step) {
    const Polygons part = swept(pen, path[i], path[std::min(i + step, path.size() - 1)]);
    parts.insert(parts.end(), part.begin(), part.end());
  }
  return unite(parts);
}

std::optional<RoundStroke> flash_as_stroke(const GerberFile& f, const GerberObject& o) {
  const GerberAperture& a = f.apertures[o.shape];
  if (a.shape.empty() || a.hole != 0 || !a.shape[0].holes.empty()) return std::nullopt;
  const Affine& t = f.transforms[o.transform];
  const double scale = std::sqrt(std::abs(t.determinant()));
  if (a.kind == GerberAperture::Kind::circle) return RoundStroke{o.start, o.start, a.width * scale};
  if (a.kind != GerberAperture::Kind::obround) return std::nullopt;
  const double pen = std::min(a.width, a.height);
  const Point half = a.width >= a.height ? Point{(a.width - pen) / 2, 0} : Point{0, (a.height - pen) / 2};
  const Point turned{t.a * half.x + t.b * half.y, t.c * half.x + t.d * half.y};
  return RoundStroke{o.start - turned, o.start + turned, pen * scale};
}

bool reaches(const GerberFile& f, const GerberObject& o, const Box& window) {
  if (!box_of(f, o).touches(window)) return false;
  if (o.kind == GerberObject::Kind::flash || o.kind == GerberObject::Kind::region) return true;
  // The window's circle against the path and the pen's.
  const Box pen = f.apertures[o.shape].box;
  const Affine& t = f.transforms[o.transform];
  const double scale = std::max(std::hypot(t.a, t.c), std::hypot(t.b, t.d));
  const double r = pen.valid() ? scale * std::hypot(std::max(std::abs(pen.x0), std::abs(pen.x1)),
                                                    std::max(std::abs(pen.y0), std::abs(pen.y1)))
                               : 0;
  const double reach = r + std::hypot(window.width(), window.height()) / 2;
  if (o.kind == GerberObject::Kind::line) return distance_to_segment(window.centre(), o.start, o.end) <= reach;
  const Point c = f.centres[o.centre];
  // The radius blends from start to end: both rings bound it.
  const double r0 = distance(o.start, c), r1 = distance(o.end, c), d = distance(window.centre(), c);
  return d >= std::min(r0, r1) - reach && d <= std::max(r0, r1) + reach;
}

Polygons area_in(const GerberFile& f, const GerberObject& o, const Box& window) {
  if (!reaches(f, o, window)) return {};
  if (o.kind == GerberObject::Kind::region) {
    const Box shifted{window.x0 - o.start.x, window.y0 - o.start.y, window.x1 - o.start.x, window.y1 - o.start.y};
    Polygons area = clip_to_box(f.regions[o.shape], shifted);
    return o.start == Point{} ? area : transformed(area, {1, 0, 0, 1, o.start.x, o.start.y});
  }
  return area_of(f, o);
}

bool covers(const GerberFile& f, const GerberObject& o, Point p) {
  if (!box_of(f, o).contains(p)) return false;
  if (o.kind == GerberObject::Kind::region) {
    const Point q = p - o.start;
    const auto& contours = f.regions[o.shape];
    return std::any_of(contours.begin(), contours.end(), [&](const Ring& c) { return winding_number(c, q) != 0; });
  }
  const double r = round_radius(f, o);
  if (o.kind == GerberObject::Kind::flash) {
    if (r >= 0 && f.apertures[o.shape].hole == 0) return distance(p, o.start) <= r;
    return contains(f.apertures[o.shape].shape, inverse(placed_at(f, o, o.start))(p));
  }
  if (r >= 0) {
    const double d = o.kind == GerberObject::Kind::line ? distance_to_segment(p, o.start, o.end)
                                                        : arc_distance(o, f.centres[o.centre], p);
    return d <= r;
  }
  return contains(area_of(f, o), p);
}

}  // namespace teasel::formats
