// Drawings on paper: SVG in millimetres.
#pragma once
#include <string>
#include <vector>

#include "teasel/geometry.h"
#include "teasel/units.h"
#include "teasel/words.h"
#include "text.h"

namespace teasel {

inline constexpr const char* kInk = "#1b2530";

inline Markup num(double value) {
  return Xml::number(value, 3);
}

/// SVG in millimetres, Y up within a view and down on the sheet.
class Sheet {
 public:
  Sheet(double width, double height, const std::string& title) : width_(width), height_(height) {
    svg_ = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"" + num(width_) + "mm\" height=\"" + num(height_) +
           "mm\" viewBox=\"0 0 " + num(width_) + " " + num(height_) +
           "\" font-family=\"'DejaVu Sans',Arial,sans-serif\" fill=\"none\" stroke=\"" + kInk +
           "\" stroke-width=\"0.25\">\n<title>" + escaped(title) + "</title>\n<rect x=\"0\" y=\"0\" width=\"" +
           num(width_) + "\" height=\"" + num(height_) + "\" fill=\"white\" stroke=\"none\"/>\n";
  }
  void raw(const Markup& text) { svg_ += text; }
  void line(Point a, Point b, const Markup& extra = {}) {
    svg_ += "<path d=\"M" + num(a.x) + " " + num(a.y) + "L" + num(b.x) + " " + num(b.y) + "\" " + extra + "/>\n";
  }
  void box(double x, double y, double width, double height, const Markup& extra = {}) {
    svg_ += "<rect x=\"" + num(x) + "\" y=\"" + num(y) + "\" width=\"" + num(width) + "\" height=\"" + num(height) +
            "\" " + extra + "/>\n";
  }
  void text(Point at, double size, const std::string& words, const char* anchor = "start", double turned = 0,
            const char* colour = kInk) {
    svg_ +=
        "<text x=\"" + num(at.x) + "\" y=\"" + num(at.y) + "\" font-size=\"" + num(size) + "\" text-anchor=\"" +
        anchor + "\" fill=\"" + colour + "\" stroke=\"none\"" +
        (turned != 0 ? " transform=\"rotate(" + num(turned) + " " + num(at.x) + " " + num(at.y) + ")\"" : Markup()) +
        ">" + escaped(words) + "</text>\n";
  }
  Markup drawing() { return svg_ + "</svg>\n"; }
  std::string file() { return drawing().text(); }

 private:
  Markup svg_;
  double width_, height_;
};

/// A plate on a sheet: its lower left corner at `origin`, so many millimetres of paper to one of plate.
struct View {
  Box plate;
  Point origin;
  double scale = 1;
  Point operator()(Point point) const {
    return {origin.x + (point.x - plate.x0) * scale, origin.y - (point.y - plate.y0) * scale};
  }
  Markup path(const Ring& ring) const {
    Markup drawn;
    for (std::size_t i = 0; i < ring.size(); ++i) {
      const Point corner = (*this)(ring[i]);
      drawn += (i ? "L" : "M") + num(corner.x) + " " + num(corner.y);
    }
    return drawn + "Z";
  }
  Markup path(const Polygons& list) const {
    Markup drawn;
    for (const Polygon& polygon : list) {
      drawn += path(polygon.outer);
      for (const Ring& ring : polygon.holes) drawn += path(ring);
    }
    return drawn;
  }
};

/// A line of 100 mm with marks at its ends, to measure on paper.
inline void scale_bar(Sheet& sheet, Point at) {
  sheet.line(at, {at.x + 100, at.y}, "stroke-width=\"0.35\"");
  sheet.line({at.x, at.y - 1.5}, {at.x, at.y + 1.5});
  sheet.line({at.x + 100, at.y - 1.5}, {at.x + 100, at.y + 1.5});
  sheet.text({at.x + 102, at.y + 1}, 2.6, "100 mm on paper: measure before use; print at 100 %");
}

}  // namespace teasel
