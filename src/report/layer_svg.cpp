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
void put(std::string& s, double mm) {
  long long n = std::llround(mm * 1e6);
  if (n < 0) {
    s += '-';
    n = -n;
  }
  char digits[24];
  const auto end = std::to_chars(digits, digits + sizeof digits, n / 1'000'000).ptr;
  s.append(digits, end);
  long long rest = n % 1'000'000;
  if (rest == 0) return;
  s += '.';
  for (long long k = 100'000; rest > 0; k /= 10) {
    s += static_cast<char>('0' + rest / k);
    rest %= k;
  }
}
void put(std::string& s, Point p) {
  put(s, p.x);
  s += ' ';
  put(s, p.y);
}
void put_ring(std::string& s, const Ring& ring) {
  for (std::size_t i = 0; i < ring.size(); ++i) {
    s += i ? 'L' : 'M';
    put(s, ring[i]);
  }
  s += 'Z';
}

class LayerDrawing {
 public:
  explicit LayerDrawing(const GerberFile& f) : f_(f) {}
  std::string run();

 private:
  void object(const GerberObject& o);
  void flash(const GerberObject& o);
  void stroke(const GerberObject& o, double width);
  /// Opens the path that takes this ink, or goes on with the one that is open.
  std::string& ink(bool dark, double pen) {
    if (!open_ || dark != dark_ || pen != pen_) {
      close();
      open_ = true;
      dark_ = dark;
      pen_ = pen;
      last_ = {NAN, NAN};
      const char* colour = dark != f_.negative_image ? "#000" : "#fff";
      s_ += "<path ";
      if (pen > 0) {
        s_ += "fill=\"none\" stroke=\"";
        s_ += colour;
        s_ += "\" stroke-width=\"";
        put(s_, pen);
      } else {
        s_ += "fill=\"";
        s_ += colour;
      }
      s_ += "\" d=\"";
    }
    return s_;
  }
  void close() {
    if (open_) s_ += "\"/>\n";
    open_ = false;
  }

  const GerberFile& f_;
  std::string s_;
  bool open_ = false, dark_ = true;
  double pen_ = 0;
  Point last_;
};

void LayerDrawing::flash(const GerberObject& o) {
  const GerberAperture& a = f_.apertures[o.shape];
  const Affine& t = f_.transforms[o.transform];
  if (a.shape.empty()) return;
  if (const auto stroke = formats::flash_as_stroke(f_, o)) {
    std::string& s = ink(o.dark, stroke->width);
    s += 'M';
    put(s, stroke->from);
    if (stroke->from == stroke->to)
      s += "h0";
    else {
      s += 'L';
      put(s, stroke->to);
    }
    last_ = {NAN, NAN};
    return;
  }
  if (a.kind == GerberAperture::Kind::rectangle && a.hole == 0 && a.shape[0].holes.empty() && o.transform == 0) {
    std::string& s = ink(o.dark, 0);
    s += 'M';
    put(s, Point{o.start.x - a.width / 2, o.start.y - a.height / 2});
    s += 'h';
    put(s, a.width);
    s += 'v';
    put(s, a.height);
    s += 'h';
    put(s, -a.width);
    s += 'z';
    return;
  }
  // Outer rings run counter-clockwise and holes clockwise, so shapes of one path unite under the non-zero rule.
  std::string& s = ink(o.dark, 0);
  for (const Polygon& p : transformed(a.shape, {t.a, t.b, t.c, t.d, o.start.x, o.start.y})) {
    put_ring(s, p.outer);
    for (const Ring& h : p.holes) put_ring(s, h);
  }
}

void LayerDrawing::stroke(const GerberObject& o, double width) {
  std::string& s = ink(o.dark, width);
  if (!(o.start == last_)) {
    s += 'M';
    put(s, o.start);
  }
  last_ = o.end;
  if (o.kind == GerberObject::Kind::line) {
    if (o.start == o.end)
      s += "h0";
    else {
      s += 'L';
      put(s, o.end);
    }
    return;
  }
  const Point c = f_.centres[o.centre];
  const double r0 = distance(o.start, c), r1 = distance(o.end, c);
  if (std::abs(r0 - r1) > kArcSlack) {
    const Ring pts = formats::arc_points(o.start, o.end, c, o.clockwise);
    for (std::size_t i = 1; i < pts.size(); ++i) {
      s += 'L';
      put(s, pts[i]);
    }
    return;
  }
  auto arc = [&](Point to, bool large) {
    s += 'A';
    put(s, r0);
    s += ' ';
    put(s, r0);
    s += large ? " 0 1 " : " 0 0 ";
    s += o.clockwise ? "0 " : "1 ";
    put(s, to);
  };
  const Point u = o.start - c, v = o.end - c;
  if (o.start == o.end) {
    arc(c - u, false);
    arc(o.end, false);
    return;
  }
  const double turn = o.clockwise ? cross(v, u) : cross(u, v);
  // Near half a turn the flag would hang on rounding: two arcs instead.
  if (std::abs(turn) < 0.05 * r0 * r1 && dot(u, v) < 0) {
    const Point middle = o.clockwise ? Point{u.y, -u.x} : Point{-u.y, u.x};
    arc(c + middle, false);
    arc(o.end, false);
  } else {
    arc(o.end, turn < 0);
  }
}

void LayerDrawing::object(const GerberObject& o) {
  if (o.kind == GerberObject::Kind::flash) return flash(o);
  if (o.kind == GerberObject::Kind::region) {
    // A contour that crosses itself has parts of negative winding: each contour is a path of its own.
    for (const Ring& ring : f_.regions[o.shape]) {
      close();
      std::string& s = ink(o.dark, 0);
      if (o.start == Point{})
        put_ring(s, ring);
      else
        put_ring(s, transformed(ring, {1, 0, 0, 1, o.start.x, o.start.y}));
      close();
    }
    return;
  }
  const GerberAperture& a = f_.apertures[o.shape];
  if (a.kind == GerberAperture::Kind::circle) {
    const double width = a.width * std::sqrt(std::abs(f_.transforms[o.transform].determinant()));
    if (width > 0) stroke(o, width);
    return;
  }
  const Polygons area = formats::area_of(f_, o);
  if (area.empty()) return;
  std::string& s = ink(o.dark, 0);
  for (const Polygon& p : area) {
    put_ring(s, p.outer);
    for (const Ring& h : p.holes) put_ring(s, h);
  }
}

std::string LayerDrawing::run() {
  Box view = formats::extents(f_);
  if (f_.negative_image)
    for (const auto& o : f_.objects) view.add(formats::box_of(f_, o));
  if (!view.valid()) view = {0, 0, 0, 0};
  s_ = std::string(kLayerSvgHead) + "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"";
  put(s_, Point{view.x0, -view.y1});
  s_ += ' ';
  put(s_, Point{view.width(), view.height()});
  s_ += "\" width=\"";
  put(s_, view.width());
  s_ += "mm\" height=\"";
  put(s_, view.height());
  s_ += "mm\">\n<title>" + escaped(f_.name) + ", seen from the top, millimetres</title>\n<rect x=\"";
  put(s_, view.x0);
  s_ += "\" y=\"";
  put(s_, -view.y1);
  s_ += "\" width=\"";
  put(s_, view.width());
  s_ += "\" height=\"";
  put(s_, view.height());
  s_ += std::string("\" fill=\"") + (f_.negative_image ? "#000" : "#fff") + "\"/>\n";
  // The group turns Y upward: all coordinates inside are those of the file.
  s_ += "<g transform=\"scale(1,-1)\" fill-rule=\"nonzero\" stroke-linecap=\"round\" stroke-linejoin=\"round\">\n";
  for (const auto& o : f_.objects) object(o);
  close();
  return s_ + "</g>\n</svg>\n";
}
}  // namespace

std::string layer_svg(const GerberFile& file) {
  return LayerDrawing(file).run();
}

}  // namespace teasel
