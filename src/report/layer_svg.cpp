// One layer file as a drawing of its exact geometry: strokes as strokes, arcs as arcs, painted in file order.
#include <algorithm>
#include <charconv>
#include <cmath>

#include "text.h"

namespace teasel {

namespace {
using formats::GerberAperture;
using formats::GerberFile;
using formats::GerberObject;

constexpr double kArcSlack = 0.001;  // mm; arcs whose radii differ by more are drawn as the blended polyline

/// Millimetres to 1 nm, without trailing zeros.
void put(Markup& text, double mm) {
  const long long nanometres = std::llround(mm * 1e6);
  char digits[40];
  char* end = digits;
  if (nanometres < 0) *end++ = '-';
  const long long size = std::abs(nanometres);
  end = std::to_chars(end, digits + 24, size / 1'000'000).ptr;
  long long rest = size % 1'000'000;
  if (rest != 0) *end++ = '.';
  for (long long k = 100'000; rest > 0; k /= 10) {
    *end++ = static_cast<char>('0' + rest / k);
    rest %= k;
  }
  *end = '\0';
  text += digits;
}
void put(Markup& text, Mm length) {
  put(text, length.v);
}
void put(Markup& text, Point place) {
  put(text, place.x);
  text += " ";
  put(text, place.y);
}
void put_ring(Markup& text, const Ring& ring) {
  for (std::size_t i = 0; i < ring.size(); ++i) {
    text += i ? "L" : "M";
    put(text, ring[i]);
  }
  text += "Z";
}

/// `turn` without its own shift, then to that place.
Affine placed(const Affine& turn, Point at) {
  return {.a = turn.a, .b = turn.b, .c = turn.c, .d = turn.d, .e = at.x, .f = at.y};
}

class LayerDrawing {
 public:
  explicit LayerDrawing(const GerberFile& file, const char* dark = "#000", const char* clear = "#fff")
      : file_(file), dark_ink_(dark), clear_ink_(clear) {}
  std::string run();
  /// The objects alone, in the file's own frame.
  Markup objects();

 private:
  void object(const GerberObject& drawn);
  void flash(const GerberObject& drawn);
  void stroke(const GerberObject& drawn, double width);
  /// Opens the path that takes this ink, or goes on with the one that is open.
  Markup& ink(bool dark, double pen) {
    if (!open_ || dark != dark_ || pen != pen_) {
      close();
      open_ = true;
      dark_ = dark;
      pen_ = pen;
      last_ = {NAN, NAN};
      const char* colour = dark != file_.negative_image ? dark_ink_ : clear_ink_;
      svg_ += "<path ";
      if (pen > 0) {
        svg_ += "fill=\"none\" stroke=\"";
        svg_ += colour;
        svg_ += "\" stroke-width=\"";
        put(svg_, pen);
      } else {
        svg_ += "fill=\"";
        svg_ += colour;
      }
      svg_ += "\" d=\"";
    }
    return svg_;
  }
  void close() {
    if (open_) svg_ += "\"/>\n";
    open_ = false;
  }

  const GerberFile& file_;
  const char *dark_ink_, *clear_ink_;
  Markup svg_;
  bool open_ = false, dark_ = true;
  double pen_ = 0;
  Point last_;
};

void LayerDrawing::flash(const GerberObject& drawn) {
  const GerberAperture& aperture = file_.apertures[drawn.shape];
  const Affine& transform = file_.transforms[drawn.transform];
  if (aperture.shape.empty()) return;
  if (const auto stroke = formats::flash_as_stroke(file_, drawn)) {
    Markup& path = ink(drawn.dark, stroke->width.v);
    path += "M";
    put(path, stroke->from);
    if (stroke->from == stroke->to)
      path += "h0";
    else {
      path += "L";
      put(path, stroke->to);
    }
    last_ = {NAN, NAN};
    return;
  }
  if (aperture.kind == GerberAperture::Kind::rectangle && aperture.hole == Mm{} && aperture.shape[0].holes.empty() &&
      drawn.transform == 0) {
    Markup& path = ink(drawn.dark, 0);
    path += "M";
    put(path, Point{drawn.start.x - aperture.width.v / 2, drawn.start.y - aperture.height.v / 2});
    path += "h";
    put(path, aperture.width);
    path += "v";
    put(path, aperture.height);
    path += "h";
    put(path, -aperture.width);
    path += "z";
    return;
  }
  // Outer rings run counter-clockwise and holes clockwise, so shapes of one path unite under the non-zero rule.
  Markup& path = ink(drawn.dark, 0);
  for (const Polygon& polygon : transformed(aperture.shape, placed(transform, drawn.start))) {
    put_ring(path, polygon.outer);
    for (const Ring& ring : polygon.holes) put_ring(path, ring);
  }
}

void LayerDrawing::stroke(const GerberObject& drawn, double width) {
  Markup& path = ink(drawn.dark, width);
  if (!(drawn.start == last_)) {
    path += "M";
    put(path, drawn.start);
  }
  last_ = drawn.end;
  if (drawn.kind == GerberObject::Kind::line) {
    if (drawn.start == drawn.end)
      path += "h0";
    else {
      path += "L";
      put(path, drawn.end);
    }
    return;
  }
  const Point centre = file_.centres[drawn.centre];
  const double r0 = distance(drawn.start, centre), r1 = distance(drawn.end, centre);
  if (std::abs(r0 - r1) > kArcSlack) {
    const Ring pts = formats::arc_points(drawn.start, drawn.end, centre, drawn.clockwise);
    for (std::size_t i = 1; i < pts.size(); ++i) {
      path += "L";
      put(path, pts[i]);
    }
    return;
  }
  auto arc = [&](Point to, bool large) {
    path += "A";
    put(path, r0);
    path += " ";
    put(path, r0);
    path += large ? " 0 1 " : " 0 0 ";
    path += drawn.clockwise ? "0 " : "1 ";
    put(path, to);
  };
  const Point u = drawn.start - centre, v = drawn.end - centre;
  if (drawn.start == drawn.end) {
    arc(centre - u, false);
    arc(drawn.end, false);
    return;
  }
  const double turn = drawn.clockwise ? cross(v, u) : cross(u, v);
  // Near half a turn the flag would hang on rounding: two arcs instead.
  if (std::abs(turn) < 0.05 * r0 * r1 && dot(u, v) < 0) {
    const Point middle = drawn.clockwise ? Point{u.y, -u.x} : Point{-u.y, u.x};
    arc(centre + middle, false);
    arc(drawn.end, false);
  } else {
    arc(drawn.end, turn < 0);
  }
}

void LayerDrawing::object(const GerberObject& drawn) {
  if (drawn.kind == GerberObject::Kind::flash) return flash(drawn);
  if (drawn.kind == GerberObject::Kind::region) {
    // A contour that crosses itself has parts of negative winding: each contour is a path of its own.
    for (const Ring& ring : file_.regions[drawn.shape]) {
      close();
      Markup& path = ink(drawn.dark, 0);
      if (drawn.start == Point{})
        put_ring(path, ring);
      else
        put_ring(path, transformed(ring, placed({}, drawn.start)));
      close();
    }
    return;
  }
  const GerberAperture& aperture = file_.apertures[drawn.shape];
  if (aperture.kind == GerberAperture::Kind::circle) {
    const double width = aperture.width.v * std::sqrt(std::abs(file_.transforms[drawn.transform].determinant()));
    if (width > 0) stroke(drawn, width);
    return;
  }
  const Polygons area = formats::area_of(file_, drawn);
  if (area.empty()) return;
  Markup& path = ink(drawn.dark, 0);
  for (const Polygon& polygon : area) {
    put_ring(path, polygon.outer);
    for (const Ring& ring : polygon.holes) put_ring(path, ring);
  }
}

Markup LayerDrawing::objects() {
  for (const auto& drawn : file_.objects) object(drawn);
  close();
  return std::move(svg_);
}

std::string LayerDrawing::run() {
  Box view = formats::extents(file_);
  if (file_.negative_image)
    for (const auto& drawn : file_.objects) view.add(formats::box_of(file_, drawn));
  if (!view.valid()) view = {0, 0, 0, 0};
  svg_ = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"";
  put(svg_, Point{view.x0, -view.y1});
  svg_ += " ";
  put(svg_, Point{view.width(), view.height()});
  svg_ += "\" width=\"";
  put(svg_, view.width());
  svg_ += "mm\" height=\"";
  put(svg_, view.height());
  svg_ += "mm\">\n<title>" + escaped(file_.name) + ", seen from the top, millimetres</title>\n<rect x=\"";
  put(svg_, view.x0);
  svg_ += "\" y=\"";
  put(svg_, -view.y1);
  svg_ += "\" width=\"";
  put(svg_, view.width());
  svg_ += "\" height=\"";
  put(svg_, view.height());
  svg_ += Markup("\" fill=\"") + (file_.negative_image ? "#000" : "#fff") + "\"/>\n";
  // The group turns Y upward: all coordinates inside are those of the file.
  svg_ += "<g transform=\"scale(1,-1)\" fill-rule=\"nonzero\" stroke-linecap=\"round\" stroke-linejoin=\"round\">\n";
  for (const auto& drawn : file_.objects) object(drawn);
  close();
  return std::string(kLayerSvgHead) + (svg_ + "</g>\n</svg>\n").text();
}
}  // namespace

std::string layer_svg(const GerberFile& file) {
  return LayerDrawing(file).run();
}

Markup layer_objects(const GerberFile& file, const char* dark, const char* clear) {
  return LayerDrawing(file, dark, clear).objects();
}

}  // namespace teasel
