// Drawings of a respin: a plate with what stays, goes and comes; two revisions of a board over one another.
#include <cmath>
#include <map>
#include <set>

#include "sheet.h"

namespace teasel {

namespace {
// M. Okabe, K. Ito, Color universal design, 2008. A sign besides each: never colour alone.
constexpr const char *kGoes = "#d55e00", *kComes = "#0072b2", *kStays = "#8a939b", *kIdle = "#b9c0c6";

Markup circle(Point centre, double radius, const Markup& extra) {
  return "<circle cx=\"" + num(centre.x) + "\" cy=\"" + num(centre.y) + "\" r=\"" + num(radius) + "\" " + extra +
         "/>\n";
}
Markup cross(Point centre, double radius, const char* colour) {
  const double arm = radius * 0.8 + 0.5;
  return "<path d=\"M" + num(centre.x - arm) + " " + num(centre.y - arm) + "l" + num(2 * arm) + " " + num(2 * arm) +
         "M" + num(centre.x - arm) + " " + num(centre.y + arm) + "l" + num(2 * arm) + " " + num(-2 * arm) +
         "\" stroke=\"" + colour + "\" stroke-width=\"0.35\"/>\n";
}

/// Signs and words in a row.
struct Legend {
  Sheet& sheet;
  Point at;
  void entry(const Markup& sign, const std::string& words, double width) {
    sheet.raw(sign);
    sheet.text({at.x + 4, at.y + 1}, 2.8, words);
    at.x += width;
  }
};
/// Where the board lies on the plate and what is worked on; a blank may be far larger.
Box worked_area(const PlateRework& rework, const Ring& board) {
  const Plate& plate = rework.plate;
  Box shown = bounds(board);
  for (const PlateHole& hole : plate.holes) shown.add(hole.plate.point());
  for (const StandingPlateHole& hole : rework.plugged) shown.add(hole.plate.point());
  for (const Pocket& pocket : plate.pockets) shown.add(bounds(pocket.area));
  const Box outline = bounds(plate.outline);
  shown = shown.valid() ? shown.grown(8) : outline;
  return {std::max(shown.x0, outline.x0), std::max(shown.y0, outline.y0), std::min(shown.x1, outline.x1),
          std::min(shown.y1, outline.y1)};
}

void draw_pockets(Sheet& sheet, const View& view, const PlateRework& rework, const Ring& board) {
  const Plate& plate = rework.plate;
  sheet.raw("<path d=\"" + view.path(plate.outline) + "\" stroke-width=\"0.5\"/>\n");
  for (const StandingPocket& pocket : rework.pockets)
    sheet.raw("<path d=\"" + view.path(pocket.area) + "\" fill=\"#eef1f4\" fill-rule=\"evenodd\" stroke=\"" + kIdle +
              "\" stroke-width=\"0.15\"/>\n");
  for (const Pocket& pocket : plate.pockets)
    sheet.raw("<path d=\"" + view.path(pocket.area) + "\" fill=\"" + kComes +
              "\" fill-opacity=\"0.15\" fill-rule=\"evenodd\" stroke=\"" + kComes + "\" stroke-width=\"0.3\"/>\n");
  if (board.size() >= 3)
    sheet.raw("<path d=\"" + view.path(board) +
              "\" stroke=\"#777\" stroke-dasharray=\"3 1 0.6 1\" stroke-width=\"0.2\"/>\n");
}

void draw_holes(Sheet& sheet, const View& view, const PlateRework& rework) {
  auto radius = [&](Mm diameter) { return diameter.v / 2 * view.scale; };
  for (const StandingPlateHole& hole : rework.stays)
    sheet.raw(circle(view(hole.plate.point()), radius(hole.diameter),
                     "stroke=\"" + Markup(kStays) + "\" stroke-width=\"0.15\""));
  for (const StandingPlateHole& hole : rework.left)
    sheet.raw(circle(view(hole.plate.point()), radius(hole.diameter),
                     "stroke=\"" + Markup(kIdle) + "\" stroke-dasharray=\"0.6 0.4\" stroke-width=\"0.15\""));
  for (const StandingPlateHole& hole : rework.plugged) {
    const Point centre = view(hole.plate.point());
    const double size = radius(hole.diameter);
    sheet.raw(circle(centre, size, "stroke=\"" + Markup(kGoes) + "\" stroke-width=\"0.25\"") +
              cross(centre, size, kGoes));
    sheet.text({centre.x + size + 0.6, centre.y + size + 1.6}, 2, hole.label, "start", 0, kGoes);
  }
  for (const PlateHole& hole : rework.plate.holes) {
    const Point centre = view(hole.plate.point());
    const double size = radius(hole.diameter);
    sheet.raw(
        circle(centre, size,
               "stroke=\"" + Markup(kComes) + "\" fill=\"" + kComes + "\" fill-opacity=\"0.35\" stroke-width=\"0.3\"") +
        "<path d=\"M" + num(centre.x - size - 1) + " " + num(centre.y) + "h" + num(2 * size + 2) + "M" + num(centre.x) +
        " " + num(centre.y - size - 1) + "v" + num(2 * size + 2) + "\" stroke=\"" + kComes +
        "\" stroke-width=\"0.12\"/>\n");
    sheet.text({centre.x + size + 0.6, centre.y - size - 0.4}, 2, hole.label, "start", 0, kComes);
  }
}

void draw_legend(Sheet& sheet, double y, const PlateRework& rework) {
  Legend legend{sheet, {12, y}};
  legend.entry(circle({13, y}, 1.2, "stroke=\"" + Markup(kComes) + "\" fill=\"" + kComes + "\" fill-opacity=\"0.35\"") +
                   "<path d=\"M10.6 " + num(y) + "h4.8M13 " + num(y - 2.4) + "v4.8\" stroke=\"" + kComes +
                   "\" stroke-width=\"0.12\"/>\n",
               " drill (" + std::to_string(rework.plate.holes.size()) + "), pocket to mill tinted", 62);
  legend.entry(circle({75, y}, 1.2, "stroke=\"" + Markup(kGoes) + "\"") + cross({75, y}, 1.2, kGoes),
               " take out and plug (" + std::to_string(rework.plugged.size()) + ")", 45);
  legend.entry(circle({120, y}, 1.2, "stroke=\"" + Markup(kStays) + "\""),
               " stays (" + std::to_string(rework.stays.size()) + ")", 30);
  legend.entry(circle({150, y}, 1.2, "stroke=\"" + Markup(kIdle) + "\" stroke-dasharray=\"0.6 0.4\""),
               " idle, may stay open (" + std::to_string(rework.left.size()) + ")", 50);
}
}  // namespace

Markup rework_drawing(const Outcome& outcome, const PlateRework& rework) {
  const Plate& plate = rework.plate;
  const Ring board = plate.from_board(outcome.board.outline.outer);
  const Box shown = worked_area(rework, board);
  const double scale = std::clamp(380 / std::max(shown.width(), 1.0), 0.2, 2.0), height = shown.height() * scale;
  Sheet sheet(std::max(shown.width() * scale + 20, 230.0), height + 52,
              "rework of " + plate.name + ", plan " + outcome.plan_id);
  const View view{shown, {10, height + 28}, scale};
  sheet.text({10, 8}, 4.2, "Rework: " + plate.name + ", plan " + outcome.plan_id);
  sheet.text({10, 13.5}, 2.8, plate.seen_from);
  sheet.text({10, 18}, 2.8, plate.datum);
  sheet.text({10, 22.5}, 2.8,
             "Shown: x from " + fixed(shown.x0, 1) + " to " + fixed(shown.x1, 1) + " mm, y from " + fixed(shown.y0, 1) +
                 " to " + fixed(shown.y1, 1) + " mm of the plate, " + short_number(scale, 2) + " : 1");
  sheet.raw("<clipPath id=\"shown-" + escaped(plate.stem) + "\"><rect x=\"9\" y=\"27\" width=\"" +
            num(shown.width() * scale + 2) + "\" height=\"" + num(height + 2) +
            "\"/></clipPath><g clip-path=\"url(#shown-" + escaped(plate.stem) + ")\">\n");
  draw_pockets(sheet, view, rework, board);
  draw_holes(sheet, view, rework);
  sheet.raw("</g>\n");
  draw_legend(sheet, height + 36, rework);
  sheet.text({12, height + 36 + 9}, 2.6,
             "Coordinates are in rework.csv and in the files of this folder. Do not use this drawing as a template.");
  return sheet.drawing();
}
std::string rework_svg(const Outcome& outcome, const PlateRework& rework) {
  return rework_drawing(outcome, rework).text();
}

namespace {
Ring ring_of(const Box& box) {
  return rectangle(box.centre(), box.width(), box.height());
}

/// Two revisions of a board over one another, in the new one's frame as seen from one side.
class OldOverNew {
 public:
  OldOverNew(const Outcome& outcome, Side side)
      : outcome_(outcome),
        respin_(outcome.results.respin),
        side_(side),
        back_(inverse(outcome.results.respin.laying.map)) {
    if (side == Side::bottom) turned_.a = -1;
  }
  std::string run();

 private:
  /// In the view, of a ring in the new board's frame.
  [[nodiscard]] Ring seen(const Ring& ring) const { return transformed(ring, turned_); }
  void draw(const Ring& ring, const char* colour, bool goes);
  void pads();
  void parts();
  void outlines();
  void legend(double y);

  const Outcome& outcome_;
  const Respin& respin_;
  Side side_;
  Affine back_;    ///< frame of the old board to that of the new one
  Affine turned_;  ///< the same to the side that is looked at
  View view_;
  Ring now_, before_;
  Markup goes_pads_, comes_pads_;
  Sheet* sheet_ = nullptr;
};

void OldOverNew::draw(const Ring& ring, const char* colour, bool goes) {
  sheet_->raw(
      "<path d=\"" + view_.path(seen(ring)) + "\" stroke=\"" + colour + "\" stroke-width=\"" + (goes ? "0.25" : "0.3") +
      "\"" + (goes ? Markup(" stroke-dasharray=\"1 0.6\"") : " fill=\"" + Markup(colour) + "\" fill-opacity=\"0.18\"") +
      "/>\n");
}

/// What both boards have is drawn first and faint; the other pads are kept for outlines().
void OldOverNew::pads() {
  auto same_place = [](const Box& a, const Box& b) {
    return std::abs(a.x0 - b.x0) < kSamePad.v && std::abs(a.x1 - b.x1) < kSamePad.v &&
           std::abs(a.y0 - b.y0) < kSamePad.v && std::abs(a.y1 - b.y1) < kSamePad.v;
  };
  Markup same;
  Table<formats::BuiltPadId, char> met(respin_.now.pads.size());
  for (const formats::BuiltPadId k : respin_.old.pads.ids()) {
    const Box& old = respin_.old.pads[k].bare[side_];
    if (!old.valid()) continue;
    const Ring moved = transformed(ring_of(old), back_);
    const formats::BuiltPadId match = respin_.pads[k.index()];
    if (match && respin_.now.pads[match].bare[side_].valid() &&
        same_place(bounds(moved), respin_.now.pads[match].bare[side_])) {
      met[match] = 1;
      same += view_.path(seen(ring_of(respin_.now.pads[match].bare[side_])));
    } else {
      goes_pads_ += view_.path(seen(moved));
    }
  }
  for (const formats::BuiltPadId k : met.ids())
    if (const Box& box = respin_.now.pads[k].bare[side_]; !met[k] && box.valid())
      comes_pads_ += view_.path(seen(ring_of(box)));
  sheet_->raw("<path d=\"" + same + "\" fill=\"#dfe4e8\" stroke=\"none\"/>\n");
}

void OldOverNew::parts() {
  std::map<std::string, const formats::BuiltPart*> old_parts;
  for (const auto& part : respin_.old.parts)
    if (part.side == side_ && !part.body.empty()) old_parts[part.name] = &part;
  std::set<std::string> changed;
  for (const BoardChange& change : respin_.changes)
    if (change.of == "part") changed.insert(change.name);
  for (const auto& part : respin_.now.parts) {
    if (part.side != side_ || part.body.empty()) continue;
    const auto it = old_parts.find(part.name);
    const Polygons was = it == old_parts.end() ? Polygons{} : transformed(it->second->body, back_);
    if (it != old_parts.end()) old_parts.erase(it);
    if (!changed.count(part.name)) {
      for (const Polygon& piece : part.body)
        sheet_->raw("<path d=\"" + view_.path(seen(piece.outer)) + "\" stroke=\"" + kIdle +
                    "\" stroke-width=\"0.15\"/>\n");
      continue;
    }
    for (const Polygon& piece : was) draw(piece.outer, kGoes, true);
    for (const Polygon& piece : part.body) draw(piece.outer, kComes, false);
    sheet_->text(view_(turned_(bounds(part.body).centre())), 2.2, part.name, "middle", 0, kComes);
  }
  for (const auto& [name, part] : old_parts) {
    const Polygons was = transformed(part->body, back_);
    for (const Polygon& piece : was) draw(piece.outer, kGoes, true);
    sheet_->text(view_(turned_(bounds(was).centre())), 2.2, name, "middle", 0, kGoes);
  }
}

void OldOverNew::outlines() {
  sheet_->raw("<path d=\"" + goes_pads_ + "\" stroke=\"" + kGoes +
              "\" stroke-dasharray=\"0.5 0.3\" stroke-width=\"0.2\"/>\n<path d=\"" + comes_pads_ + "\" fill=\"" +
              kComes + "\" fill-opacity=\"0.6\" stroke=\"none\"/>\n");
  if (before_.size() >= 3)
    sheet_->raw("<path d=\"" + view_.path(before_) + "\" stroke=\"" + kGoes +
                "\" stroke-dasharray=\"2 1\" stroke-width=\"0.3\"/>\n");
  if (now_.size() >= 3)
    sheet_->raw("<path d=\"" + view_.path(now_) + "\" stroke=\"" + kInk + "\" stroke-width=\"0.35\"/>\n");
}

void OldOverNew::legend(double y) {
  sheet_->raw("<rect x=\"12\" y=\"" + num(y - 2) + "\" width=\"4\" height=\"3\" fill=\"" + kComes +
              "\" fill-opacity=\"0.5\" stroke=\"" + kComes + "\"/>\n<rect x=\"72\" y=\"" + num(y - 2) +
              "\" width=\"4\" height=\"3\" stroke=\"" + kGoes +
              "\" stroke-dasharray=\"0.8 0.5\"/>\n<rect x=\"132\" y=\"" + num(y - 2) +
              "\" width=\"4\" height=\"3\" fill=\"#dfe4e8\" stroke=\"" + kIdle + "\"/>\n");
  sheet_->text({18, y + 0.6}, 2.8, "new, or where it is now: filled");
  sheet_->text({78, y + 0.6}, 2.8, "gone, or where it was: dashed");
  sheet_->text({138, y + 0.6}, 2.8, "on both as it was: grey");
}

std::string OldOverNew::run() {
  now_ = seen(respin_.now.outline.outer);
  before_ = seen(transformed(respin_.old.outline.outer, back_));
  Box box = bounds(now_);
  box.add(bounds(before_));
  if (!box.valid()) box = {0, 0, 10, 10};
  const double scale = std::clamp(240 / std::max(box.width(), box.height()), 0.5, 4.0), height = box.height() * scale;
  Sheet sheet(std::max(box.width() * scale + 20, 230.0), height + 40,
              std::string("old over new, ") + to_string(side_) + " side, plan " + outcome_.plan_id);
  sheet_ = &sheet;
  view_ = View{box, {10, height + 22}, scale};
  sheet.text({10, 8}, 4.2,
             std::string("Old over new, ") + to_string(side_) + " side" +
                 (side_ == Side::bottom ? ", seen from below: X reversed" : ", seen from above"));
  sheet.text({10, 14}, 2.8,
             respin_.from_name + " under " + respin_.now.name +
                 (respin_.now.revision.empty() ? "" : ", revision " + respin_.now.revision) + "; plan " +
                 outcome_.plan_id + "; frame of the new board");
  pads();
  parts();
  outlines();
  legend(height + 31);
  return sheet.file();
}
}  // namespace

std::string old_over_new_svg(const Outcome& outcome, Side side) {
  return OldOverNew(outcome, side).run();
}

}  // namespace teasel
