// Drawings of plates: a sheet for the machinist, and the plate alone at true size.
#include <cmath>
#include <map>
#include <tuple>

#include "labels.h"
#include "sheet.h"
#include "teasel/fixture/tolerances.h"
#include "teasel/words.h"
#include "text.h"

namespace teasel {

namespace {
struct Tool {
  std::string letter;
  std::vector<const PlateHole*> holes;
};
/// Few enough, and important enough, to stand in the table beside the view.
bool is_listed(const PlateHole& hole) {
  return hole.kind != PlateHole::Kind::receptacle && hole.kind != PlateHole::Kind::plunger &&
         hole.kind != PlateHole::Kind::tip;
}
/// By diameter, kind and whether the blank has it: a row of the chart each.
std::map<std::tuple<long, int, bool>, Tool> tools_of(const Plate& plate) {
  std::map<std::tuple<long, int, bool>, Tool> out;
  for (const PlateHole& hole : plate.holes)
    out[{std::lround(hole.diameter.v * 1000), static_cast<int>(hole.kind), hole.drilled}].holes.push_back(&hole);
  int count = 0;
  for (auto& [key, tool] : out) {
    tool.letter = count < 26 ? std::string(1, static_cast<char>('A' + count))
                             : "A" + std::string(1, static_cast<char>('A' + count - 26));
    ++count;
  }
  return out;
}

/// A hole's name where its place is in the table beside the view, else its letter in the chart. What finds no room is
/// in the list alone.
void write_letters(Sheet& sheet, const Outcome& outcome, const Plate& plate, const View& view) {
  LabelRoom room;
  for (const PlateHole& hole : plate.holes) {
    const Point centre = view(hole.plate.point());
    const double radius = hole.diameter.v / 2 * view.scale;
    room.keep_clear({centre.x - radius, centre.y - radius, centre.x + radius, centre.y + radius});
  }
  for (const Mark& mark : plate.marks) {
    const Point at = view(mark.at.point());
    const double size = mark.height.v * view.scale * 1.25;
    room.keep_clear({at.x, at.y - size, at.x + 0.66 * size * static_cast<double>(engraved(outcome, mark).size()),
                     at.y + 0.2 * size});
  }
  std::map<std::string, double> seats;  // width of a recess about a hole
  for (const MechanismSink& sink : outcome.results.mechanism.sinks)
    if (sink.plate == plate.kind && sink.lower == plate.lower && !sink.through)
      seats[sink.label] = bounds(sink.area).width();
  if (const Point zero = view({0, 0}); bounds(plate.outline).grown(1e-6).contains({0, 0})) {
    room.keep_clear({zero.x - 2.2, zero.y - 2.2, zero.x + 2.2, zero.y + 2.2});
    if (const auto at = room.place(zero, 2.2, 3, 2.4, 8)) sheet.text(*at, 2.4, "0,0", "start", 0, "#b0213a");
  }
  for (const bool named : {true, false})
    for (const auto& [key, tool] : tools_of(plate))
      for (const PlateHole* hole : tool.holes) {
        if (is_listed(*hole) != named) continue;
        const double size = named ? 2.0 : 1.4;
        const std::string& word = named ? hole->label : tool.letter;
        const auto seat = seats.find(hole->label);
        const double radius = std::max(hole->diameter.v, seat == seats.end() ? 0.0 : seat->second) / 2 * view.scale;
        if (const auto at = room.place(view(hole->plate.point()), radius, word.size(), size, named ? 6 : 1.5))
          sheet.text(*at, size, word, "start", 0, named ? "#b0213a" : kInk);
      }
}

void draw_plate(Sheet& sheet, const Outcome& outcome, const Plate& plate, const View& view, bool letters) {
  sheet.raw("<path d=\"" + view.path(plate.outline) + "\" stroke-width=\"0.5\"/>\n");
  for (const Pocket& pocket : plate.pockets)
    sheet.raw("<path d=\"" + view.path(pocket.area) + "\" fill=\"" + (pocket.through ? "#d3dde6" : "#eaf0f5") +
              "\" fill-rule=\"evenodd\" stroke-width=\"0.18\"/>\n");
  const Ring board = plate.from_board(outcome.board.outline.outer);
  if (board.size() >= 3)
    sheet.raw("<path d=\"" + view.path(board) +
              "\" stroke=\"#777\" stroke-dasharray=\"3 1 0.6 1\" stroke-width=\"0.2\"/>\n");
  for (const auto& [key, tool] : tools_of(plate))
    for (const PlateHole* hole : tool.holes) {
      const Point centre = view(hole->plate.point());
      const double radius = hole->diameter.v / 2 * view.scale, cross = radius + 0.8;
      sheet.raw("<circle cx=\"" + num(centre.x) + "\" cy=\"" + num(centre.y) + "\" r=\"" + num(radius) + "\"" +
                (hole->drilled ? "" : " stroke-dasharray=\"0.8 0.5\"") + " stroke-width=\"0.18\"/><path d=\"M" +
                num(centre.x - cross) + " " + num(centre.y) + "h" + num(2 * cross) + "M" + num(centre.x) + " " +
                num(centre.y - cross) + "v" + num(2 * cross) + "\" stroke-width=\"0.08\"/>\n");
    }
  for (const Mark& mark : plate.marks)
    sheet.text(view(mark.at.point()), mark.height.v * view.scale * 1.25, engraved(outcome, mark), "start", 0,
               "#4a5a6a");
  if (letters) write_letters(sheet, outcome, plate, view);
}

void dimension(Sheet& sheet, Point a, Point b, double away, const std::string& text, bool upright) {
  const char* thin = "stroke-width=\"0.13\"";
  if (!upright) {
    const double y = a.y + away;
    sheet.line({a.x, a.y + 1}, {a.x, y + 1.5}, thin);
    sheet.line({b.x, b.y + 1}, {b.x, y + 1.5}, thin);
    sheet.line({a.x, y}, {b.x, y}, thin);
    sheet.raw("<path d=\"M" + num(a.x) + " " + num(y) + "l2.5 -0.5v1zM" + num(b.x) + " " + num(y) +
              "l-2.5 -0.5v1z\" fill=\"" + kInk + "\" stroke=\"none\"/>\n");
    sheet.text({(a.x + b.x) / 2, y - 0.8}, 3, text, "middle");
  } else {
    const double x = a.x - away;
    sheet.line({a.x - 1, a.y}, {x - 1.5, a.y}, thin);
    sheet.line({b.x - 1, b.y}, {x - 1.5, b.y}, thin);
    sheet.line({x, a.y}, {x, b.y}, thin);
    sheet.raw("<path d=\"M" + num(x) + " " + num(a.y) + "l-0.5 2.5h1zM" + num(x) + " " + num(b.y) +
              "l-0.5 -2.5h1z\" fill=\"" + kInk + "\" stroke=\"none\"/>\n");
    sheet.text({x - 0.8, (a.y + b.y) / 2}, 3, text, "middle", -90);
  }
}
}  // namespace

namespace {
struct Paper {
  const char* name;
  double width, height;
};
constexpr double kFrame = 10, kChart = 118,
                 kBlock = 74;  // mm: edge of the sheet, width of the chart, height of the title block

std::string true_size_svg(const Outcome& outcome, const Plate& drawn, const Box& plate, const std::string& title) {
  constexpr double kWords = 200;  // mm; room for the lines under a narrow plate
  Sheet sheet(std::max(plate.width() + 20, kWords), plate.height() + 32, title);
  const View view{plate, {10, plate.height() + 10}, 1};
  draw_plate(sheet, outcome, drawn, view, false);
  const double y = plate.height() + 18;
  sheet.text({10, y}, 3,
             drawn.name + "; plan " + outcome.plan_id + "; " + (drawn.mirrored ? "MIRRORED" : "not mirrored"));
  sheet.text({10, y + 4.5}, 2.6, drawn.seen_from);
  scale_bar(sheet, {10, y + 9});
  return sheet.file();
}

/// The plate with its sizes, its zero and the places of its pins.
void draw_view(Sheet& sheet, const Outcome& outcome, const Plate& drawn, const Box& plate, const View& view) {
  draw_plate(sheet, outcome, drawn, view, drawn.holes.size() <= 400);
  dimension(sheet, view({plate.x0, plate.y0}), view({plate.x1, plate.y0}), 9, fixed(plate.width(), 2), false);
  dimension(sheet, view({plate.x0, plate.y1}), view({plate.x0, plate.y0}), 11, fixed(plate.height(), 2), true);
  // The zero of the coordinates and the pins, from which everything is measured.
  auto zero_mark = [&](Point centre) {
    sheet.raw("<circle cx=\"" + num(centre.x) + "\" cy=\"" + num(centre.y) +
              "\" r=\"2\" stroke=\"#b0213a\"/><path d=\"M" + num(centre.x - 3.2) + " " + num(centre.y) + "h6.4M" +
              num(centre.x) + " " + num(centre.y - 3.2) + "v6.4\" stroke=\"#b0213a\"/>\n");
  };
  if (plate.grown(1e-6).contains({0, 0})) {
    zero_mark(view({0, 0}));
  }
}

/// A row of the table of places.
struct PlaceRow {
  std::string label;
  PlatePoint at;
  double wide;
  std::string what;
};
/// Holes that are not for probes, and round recesses of the mechanism.
std::vector<PlaceRow> places_of(const Outcome& outcome, const Plate& plate) {
  std::vector<PlaceRow> out;
  for (const PlateHole& hole : plate.holes)
    if (is_listed(hole)) out.push_back({hole.label, hole.plate, hole.diameter.v, to_string(hole.kind)});
  for (const MechanismSink& sink : outcome.results.mechanism.sinks) {
    if (sink.plate != plate.kind || sink.lower != plate.lower || sink.label.rfind("GA", 0) == 0) continue;
    const Box box = bounds(sink.area);
    const auto to_view = combine(plate.from_board, inverse(board_to_kit(outcome)));
    out.push_back({sink.label, rounded(to_view(KitPoint{box.centre()})), box.width(),
                   (sink.through ? "opening" : "recess, " + short_number(sink.depth.v, 2) + " deep") +
                       (std::abs(box.width() - box.height()) > 0.01
                            ? ", " + short_number(box.width(), 2) + " x " + short_number(box.height(), 2)
                            : std::string())});
  }
  return out;
}

/// Places of pins and of what holds the plate, from the zero: to the right of the view, then above it.
void draw_places(Sheet& sheet, const Outcome& outcome, const Plate& drawn, const Box& plate, const View& view,
                 const Paper& paper) {
  constexpr double kColumn = 78, kRow = 3.3, kGap = 14;
  const std::vector<PlaceRow> list = places_of(outcome, drawn);
  if (list.empty()) return;
  const double top = kFrame + 8, right_end = paper.width - kFrame - kChart - 2,
               view_right = view({plate.x1, plate.y0}).x + kGap, view_top = view({plate.x0, plate.y1}).y - 8;
  struct Column {
    double x, bottom;
  };
  std::vector<Column> columns;
  const int most = static_cast<int>((right_end - kFrame - 6) / kColumn);
  for (int i = 0; i < most; ++i) {
    const double x = kFrame + 6 + i * kColumn;
    columns.push_back({x, x >= view_right ? paper.height - kFrame - 10 : view_top});
  }
  std::size_t next = 0;
  for (const Column& column : columns) {
    double y = top;
    if (column.bottom - top < 6 * kRow) continue;
    const auto row = [&](const std::vector<std::string>& cells, double size) {
      const double at[] = {0, 16, 30, 44, 55};
      for (std::size_t i = 0; i < cells.size(); ++i) sheet.text({column.x + at[i], y}, size, cells[i]);
      y += kRow;
    };
    row({"hole", "X", "Y", "dia", "for"}, 2.2);
    for (; next < list.size() && y + 2 * kRow < column.bottom; ++next)
      row({list[next].label, fixed(list[next].at.x, 3), fixed(list[next].at.y, 3), fixed(list[next].wide, 3),
           list[next].what},
          2.0);
    if (next == list.size()) return;
    if (&column == &columns.back()) row({"and " + std::to_string(list.size() - next) + " more in the list"}, 2.2);
  }
}

/// First-angle projection: a cone from the side, and to its right what is seen from its left (ISO 5456-2).
void projection_mark(Sheet& sheet, Point at) {
  sheet.raw("<path d=\"M" + num(at.x) + " " + num(at.y - 1.1) + "l7 -1.1v4.4l-7 -1.1z\" stroke-width=\"0.25\"/>" +
            "<circle cx=\"" + num(at.x + 11.5) + "\" cy=\"" + num(at.y) + "\" r=\"2.2\" stroke-width=\"0.25\"/>" +
            "<circle cx=\"" + num(at.x + 11.5) + "\" cy=\"" + num(at.y) + "\" r=\"1.1\" stroke-width=\"0.25\"/>\n");
  sheet.line({at.x - 1.5, at.y}, {at.x + 15, at.y}, "stroke-width=\"0.1\" stroke-dasharray=\"2 0.6 0.4 0.6\"");
}

/// Of pockets: "+0.10/-0".
std::string depth_text() {
  return "+" + fixed(kPlateTolerance.depth_plus, 2) + "/-" + short_number(kPlateTolerance.depth_minus, 2);
}

/// What a hole is for, with its thread or fit.
std::string made_as(const PlateHole& hole) {
  const std::string thread = thread_of(hole), fit = tolerance_of(hole.kind, hole.diameter).fit;
  return std::string(to_string(hole.kind)) + (!thread.empty()                ? ", " + thread
                                              : !fit.empty() && hole.drilled ? ", " + fit
                                                                             : "");
}

/// Holes by diameter, then pockets; gives the height at which it ends.
double draw_chart(Sheet& sheet, const Outcome& outcome, const Plate& plate, Point at_top) {
  double y = at_top.y;
  const double x0 = at_top.x;
  sheet.text({x0, y}, 3.4, "Holes, all through (finished; of a thread its core hole)");
  y += 5;
  auto row = [&](const std::vector<std::string>& cells, double size) {
    const double at[] = {0, 6, 20, 46, 56, 92};
    for (std::size_t i = 0; i < cells.size(); ++i) sheet.text({x0 + at[i], y}, size, cells[i]);
    y += size * 1.6;
  };
  row({"", "dia", "tolerance", "no", "kind", ""}, 2.4);
  std::size_t drilled = 0;
  for (const auto& [key, tool] : tools_of(plate)) {
    const PlateHole& hole = *tool.holes[0];
    const HoleTolerance tolerance = tolerance_of(hole.kind, hole.diameter);
    row({tool.letter, fixed(hole.diameter, 3), text_of(tolerance), std::to_string(tool.holes.size()), made_as(hole),
         hole.drilled ? "" : "in the blank"},
        2.6);
    if (hole.drilled) drilled += tool.holes.size();
  }
  row({"", "", "to drill", std::to_string(drilled), "", ""}, 2.6);
  y += 3;
  if (!plate.pockets.empty()) {
    sheet.text({x0, y}, 3.4, "Pockets (milled from the board face)");
    y += 5;
    for (const Pocket& pocket : plate.pockets) {
      const Mm finish = pocket.cutter > Mm{} ? pocket.cutter : outcome.style.cutter;
      row({"", pocket.through ? "through" : fixed(pocket.depth, 2), depth_text(), std::to_string(pocket.area.size()),
           fixed(area(pocket.area) / 100, 1) + " cm2, " +
               (pocket.rough > Mm{} ? "rough " + short_number(pocket.rough.v, 2) + ", " : std::string()) + "finish " +
               short_number(finish, 2) + ", radii " + short_number(finish / 2, 2)},
          2.6);
    }
    if (plate.outer_face) {
      sheet.text({x0, y}, 2.6, "Pockets lie on the far face of this view.", "start", 0, "#b0213a");
      y += 4.2;
    }
    y += 3;
  }
  return y;
}

void draw_notes(Sheet& sheet, const Outcome& outcome, const Plate& plate, Point at, double lowest) {
  std::vector<std::string> notes = {"Coordinates of every hole: " + plate.stem +
                                    ".csv and .drl; contours: .dxf. This sheet shows the same figures."};
  const Box box = bounds(plate.outline);
  notes.push_back("0,0 lies " + fixed(-box.x0, 2) + " mm from the left and " + fixed(-box.y0, 2) +
                  " mm from the lower edge of this view.");
  if (plate.printed)
    notes.push_back(
        "Printed from " + plate.stem +
        ".3mf, its face towards the board up, at full density where screws and pillars go through. Print holes "
        "as they come and drill or ream them to size; pockets need no milling.");
  else if (outcome.style.mechanism.sheets && plate.material.find("epoxy") != std::string::npos)
    notes.push_back(
        "Drilled and milled, not cut by a laser, which chars glass-epoxy laminate and makes its edges conduct. Draw "
        "its "
        "dust off.");
  else if (outcome.style.mechanism.sheets)
    notes.push_back(
        "Cut by a laser from a sheet; dimensions are those of the finished opening. Holes of receptacles and pins are "
        "cut "
        "0.3 mm under size, then drilled or reamed: a laser leaves a taper.");
  if (plate.kind == PlateKind::check && std::none_of(plate.holes.begin(), plate.holes.end(), [](const PlateHole& hole) {
        return hole.kind == PlateHole::Kind::tip;
      }))
    notes.push_back(
        "Laid in the board's place it joins all tips. Both faces are copper, joined to each other at the edge. Never "
        "close the fixture on it while a supply or the tester is connected.");
  else if (plate.kind == PlateKind::check)
    notes.push_back(
        "In a sound fixture each tip passes through its hole without touching it. The holes are wider than the heads "
        "by the errors that drilling, receptacles and pointing may have.");
  else
    notes.push_back("Distance of this plate's near face to the board: " + fixed(plate.at_rest, 2) + " mm at rest, " +
                    fixed(plate.at_touch, 2) + " at first touch, " + fixed(plate.at_work, 2) + " at work.");
  if (plate.kind == PlateKind::probe)
    for (const SetHeight& set_height : outcome.results.set_heights)
      if (set_height.lower == plate.lower)
        notes.push_back("Set height of " + outcome.catalogue.classes[set_height.probe_class].name + ": " +
                        fixed(set_height.height, 2) + " mm over the board face of this plate" +
                        (set_height.height < Mm{} ? " (sunk)" : "") + ".");
  for (const std::string& waiver : plate.waivers) notes.push_back("On a waiver: " + waiver);
  for (const std::string& note : notes) {
    if (at.y > lowest) break;
    for (const std::string& line : wrapped(note, 62)) {
      sheet.text(at, 2.5, line);
      at.y += 3.9;
    }
    at.y += 1;
  }
}

std::string status_of(const Outcome& outcome, const Plate& plate) {
  const std::vector<std::string> reasons = outcome.results.release.of_plate(plate.stem);
  if (reasons.empty()) return "no open point known to the program; not yet approved";
  return reasons[0] +
         (reasons.size() > 1 ? ". " + std::to_string(reasons.size() - 1) + " more in the drill file's head" : "");
}

void draw_title_block(Sheet& sheet, const Outcome& outcome, const Plate& plate, const Paper& paper, double scale) {
  const double left = paper.width - kFrame - kChart, top = paper.height - kFrame - kBlock;
  sheet.box(left, top, kChart, kBlock, "stroke-width=\"0.5\" fill=\"white\"");
  auto cell = [&](double x, double cy, double width, double height, const char* head, const std::string& value,
                  double size = 2.8, const char* colour = kInk) {
    sheet.box(left + x, top + cy, width, height, "stroke-width=\"0.18\"");
    sheet.text({left + x + 1, top + cy + 2.4}, 1.7, head, "start", 0, "#666");
    const auto lines = wrapped(value, static_cast<std::size_t>((width - 2) / (0.56 * size)));
    for (std::size_t i = 0; i < lines.size() && 3.2 + size * 0.93 + size * 1.25 * static_cast<double>(i) < height; ++i)
      sheet.text({left + x + 1, top + cy + 3.2 + size * (0.93 + 1.25 * static_cast<double>(i))}, size, lines[i],
                 "start", 0, colour);
  };
  cell(0, 0, kChart, 9, "plate", plate.name, 2.8);
  cell(0, 9, 60, 8, "board", outcome.board.name);
  cell(60, 9, 24, 8, "revision", outcome.board.revision.empty() ? "not stated" : outcome.board.revision);
  cell(84, 9, 34, 8, "plan id", outcome.plan_id);
  cell(0, 17, 88, 15, "face", plate.seen_from, 2.4);
  cell(88, 17, 30, 15, "mirrored?", plate.mirrored ? "YES" : "NO", 5, plate.mirrored ? "#b0213a" : kInk);
  cell(0, 32, 60, 8, "material, thickness", plate.material + ", " + fixed(plate.thickness, 2) + " mm", 2.4);
  cell(60, 32, 20, 8, "unit", "mm");
  cell(80, 32, 18, 8, "scale", scale == 1 ? "1:1" : "1:" + short_number(1 / scale, 1));
  cell(98, 32, 20, 8, "sheet", std::string(paper.name) + ", 1 of 1", 2.4);
  cell(0, 40, 70, 12, "datum", plate.datum, 2.2);
  cell(70, 40, 48, 12, "tolerances not stated",
       "position " + short_number(kPlateTolerance.position, 3) + " to the pins, lengths " +
           short_number(kPlateTolerance.length, 3) + ", depth " + depth_text(),
       2.2);
  cell(0, 52, kChart, 8, "projection, edges",
       "first angle; one view, as under \"face\"; burrs off, edges broken 0.3; flat within 0.1", 2.2);
  projection_mark(sheet, {left + kChart - 17, top + 56});
  cell(0, 60, kChart, 14, "status", status_of(outcome, plate), 2.4,
       outcome.results.release.of_plate(plate.stem).empty() ? kInk : "#b0213a");
}
}  // namespace

std::string plate_svg(const Outcome& outcome, const Plate& drawn, bool true_size) {
  const Box plate = bounds(drawn.outline);
  const std::string title = drawn.name + ", plan " + outcome.plan_id;
  if (true_size) return true_size_svg(outcome, drawn, plate, title);
  // The smallest common sheet and a standard scale that hold the view.
  Paper paper{"A3", 420, 297};
  double scale = 1;
  for (const auto& [candidate, k] : {std::pair{Paper{"A3", 420, 297}, 1.0},
                                     {Paper{"A2", 594, 420}, 1.0},
                                     {Paper{"A2", 594, 420}, 0.5},
                                     {Paper{"A2", 594, 420}, 0.2},
                                     {Paper{"A2", 594, 420}, 0.1}}) {
    paper = candidate;
    scale = k;
    if (plate.width() * k + 35 <= candidate.width - 2 * kFrame - kChart &&
        plate.height() * k + 30 <= candidate.height - 2 * kFrame - 12)
      break;
  }
  Sheet sheet(paper.width, paper.height, title);
  sheet.box(kFrame, kFrame, paper.width - 2 * kFrame, paper.height - 2 * kFrame, "stroke-width=\"0.5\"");
  const View view{plate, {kFrame + 25, paper.height - kFrame - 22}, scale};
  draw_view(sheet, outcome, drawn, plate, view);
  draw_places(sheet, outcome, drawn, plate, view, paper);
  const double x0 = paper.width - kFrame - kChart + 6;
  draw_notes(sheet, outcome, drawn, {x0, draw_chart(sheet, outcome, drawn, {x0, kFrame + 8})},
             paper.height - kFrame - kBlock - 12);
  draw_title_block(sheet, outcome, drawn, paper, scale);
  return sheet.file();
}

std::string set_heights_csv(const Outcome& outcome) {
  Csv::Text csv = "bed,class,stack_mm,projection_at_work_mm,set_height_mm,tip_under_board_at_rest_mm,plan_id\n";
  for (const SetHeight& set_height : outcome.results.set_heights)
    csv += csv_row({set_height.lower ? "lower" : "upper", outcome.catalogue.classes[set_height.probe_class].name,
                    fixed(set_height.stack, 3), fixed(set_height.projection, 3), fixed(set_height.height, 3),
                    fixed(set_height.tip_at_rest, 3), outcome.plan_id});
  return csv.text();
}

}  // namespace teasel
