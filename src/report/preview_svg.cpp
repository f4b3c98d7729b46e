// What a release was understood to be, in one picture.
#include <algorithm>

#include "sheet.h"

namespace teasel {

namespace {
constexpr double kMargin = 12, kGap = 16, kHead = 20, kLine = 6;  // mm of paper
constexpr double kWidest = 180, kHighest = 220;                   // of one side
constexpr std::size_t kLongest = 150;                             // letters of one open point that are shown

/// One side of the board on the sheet: from below, X runs the other way.
class SideView {
 public:
  SideView(const Board& board, const Sources& sources, Side side, const View& view)
      : board_(board), sources_(sources), side_(side), view_(view) {}
  void draw(Sheet& sheet) const {
    layers(sheet);
    areas(sheet);
    holes(sheet);
    parts(sheet);
    edge(sheet);
  }

 private:
  [[nodiscard]] bool mirrored() const { return side_ == Side::bottom; }
  [[nodiscard]] Point placed(Point at) const {
    const Point there = view_(at);
    return mirrored() ? Point{2 * (view_.origin.x + view_.plate.width() * view_.scale / 2) - there.x, there.y} : there;
  }
  [[nodiscard]] Markup path(const Polygons& area) const {
    Markup drawn;
    auto ring_of = [&](const Ring& ring) {
      for (std::size_t i = 0; i < ring.size(); ++i) {
        const Point at = placed(ring[i]);
        drawn += (i ? "L" : "M") + num(at.x) + " " + num(at.y);
      }
      drawn += "Z";
    };
    for (const Polygon& polygon : area) {
      ring_of(polygon.outer);
      for (const Ring& ring : polygon.holes) ring_of(ring);
    }
    return drawn;
  }
  void layers(Sheet& sheet) const {
    const LayerRole copper = mirrored() ? LayerRole::copper_bottom : LayerRole::copper_top;
    const Point zero = placed({0, 0});
    const Markup scale = num(mirrored() ? -view_.scale : view_.scale);
    for (std::size_t i = 0; i < sources_.layers.size() && i < sources_.gerbers.size(); ++i) {
      if (sources_.layers[i].role != copper || sources_.gerbers[i].objects.empty()) continue;
      const bool negative = sources_.layers[i].clearances;
      // Copper layers may carry title blocks outside the board.
      const Markup clip = (mirrored() ? "below" : "above") + Xml::whole(static_cast<long long>(i));
      sheet.raw("<clipPath id=\"" + clip + "\"><rect x=\"" + num(view_.origin.x) + "\" y=\"" +
                num(view_.origin.y - view_.plate.height() * view_.scale) + "\" width=\"" +
                num(view_.plate.width() * view_.scale) + "\" height=\"" + num(view_.plate.height() * view_.scale) +
                "\"/></clipPath>\n<g clip-path=\"url(#" + clip + ")\">\n");
      sheet.raw("<g transform=\"matrix(" + scale + " 0 0 " + num(-view_.scale) + " " + num(zero.x) + " " + num(zero.y) +
                ")\" stroke-linecap=\"round\" stroke-linejoin=\"round\" stroke=\"none\">\n" +
                layer_objects(sources_.gerbers[i], negative ? "#ffffff" : "#e3b98f", negative ? "#e3b98f" : "#ffffff") +
                "</g>\n</g>\n");
    }
  }
  void areas(Sheet& sheet) const {
    Markup bare;
    for (const Exposure& exposure : board_.exposures)
      if (exposure.side == side_) bare += path(exposure.copper);
    sheet.raw("<path fill=\"#b8860b\" stroke=\"none\" fill-rule=\"evenodd\" d=\"" + bare + "\"/>\n");
  }
  void holes(Sheet& sheet) const {
    sheet.raw("<g fill=\"#ffffff\" stroke=\"#202020\" stroke-width=\"0.08\">\n");
    for (const BoardHole& hole : board_.holes) {
      if (hole.blind) continue;
      const Point at = placed(hole.at), end = placed(hole.end);
      const Markup width = num(hole.diameter.v * view_.scale);
      if (hole.slot)
        sheet.raw("<path stroke-linecap=\"round\" stroke=\"#202020\" stroke-width=\"" + width + "\" d=\"M" + num(at.x) +
                  " " + num(at.y) + "L" + num(end.x) + " " + num(end.y) + "\"/>");
      else
        sheet.raw("<circle cx=\"" + num(at.x) + "\" cy=\"" + num(at.y) + "\" r=\"" +
                  num(hole.diameter.v * view_.scale / 2) + "\"/>");
    }
    sheet.raw("\n</g>\n");
  }
  void parts(Sheet& sheet) const {
    sheet.raw("<g fill=\"#4060a0\" fill-opacity=\"0.14\" stroke=\"#4060a0\" stroke-width=\"0.1\">\n");
    for (const Component& part : board_.components)
      if (part.side == side_ && !part.body.empty()) sheet.raw("<path d=\"" + path(part.body) + "\"/>\n");
    sheet.raw("</g>\n");
    for (const Component& part : board_.components) {
      if (part.side != side_ || part.body.empty()) continue;
      const Box box = bounds(part.body);
      const std::string& name = part.name.text();
      const double size = std::min({box.height() * view_.scale * 0.5, 3.0,
                                    box.width() * view_.scale / (0.65 * static_cast<double>(name.size() + 1))});
      const Point at = placed(box.centre());
      if (size >= 0.8) sheet.text({at.x, at.y + size * 0.35}, size, name, "middle", 0, "#203060");
    }
  }
  void edge(Sheet& sheet) const {
    Polygons edges = board_.pieces;
    if (board_.pieces.empty() || board_.places.size() > 1) edges.push_back(board_.outline);
    sheet.raw("<path stroke=\"#c02020\" stroke-width=\"0.4\"" +
              Markup(board_.outline_assumed ? " stroke-dasharray=\"2 1\"" : "") + " d=\"" + path(edges) + "\"/>\n");
  }

  const Board& board_;
  const Sources& sources_;
  Side side_;
  View view_;
};
}  // namespace

std::string preview_svg(const Board& board, const Sources& sources, const std::vector<std::string>& open_points) {
  Box box = bounds(board.outline.outer);
  for (const Exposure& exposure : board.exposures) box.add(exposure.aim.point());
  if (!box.valid()) box = {0, 0, 1, 1};
  box = box.grown(2);
  const double scale = std::min({kWidest / box.width(), kHighest / box.height(), 4.0});
  const double wide = box.width() * scale, high = box.height() * scale;
  const double page_width = std::max(2 * kMargin + 2 * wide + kGap, 180.0),
               page_height = kHead + high + kMargin + kLine * static_cast<double>(open_points.size() + 3);
  Sheet sheet(page_width, page_height, board.name + ": what the release was understood to be");
  const Box edge = bounds(board.outline.outer);
  sheet.text({kMargin, 8}, 4, board.name + (board.revision.empty() ? "" : ", revision " + board.revision));
  sheet.text({kMargin, 13.5}, 2.6,
             "outline " +
                 (edge.valid() ? short_number(edge.width(), 3) + " x " + short_number(edge.height(), 3) + " mm"
                               : std::string("unknown")) +
                 (board.outline_assumed ? " (ASSUMED: box around the pads)" : "") + ", " +
                 short_number(board.thickness.v, 3) + " mm thick" +
                 (board.thickness_known == Known::assumed ? " (assumed)" : "") + ", scale " + short_number(scale, 3) +
                 " : 1");
  const double left[] = {kMargin, kMargin + wide + kGap};
  for (const Side side : kBothSides) {
    const double x = left[side == Side::top ? 0 : 1];
    sheet.text({x, kHead - 1.5}, 2.6, side == Side::top ? "top side, seen from above" : "bottom side, seen from below");
    SideView(board, sources, side, {box, {x, kHead + high}, scale}).draw(sheet);
  }
  double y = kHead + high + kLine;
  sheet.text({kMargin, y}, 2.6,
             "red: board edge. Sand: copper. Brown: bare metal that a probe may touch. White: holes. Blue: parts.");
  for (const std::string& point : open_points)
    sheet.text({kMargin, y += kLine}, 2.6,
               point.size() > kLongest ? std::string(first_bytes(point, kLongest)) + "..." : point, "start", 0,
               "#b0213a");
  return std::string(kPreviewHead) + sheet.file();
}

}  // namespace teasel
