// Drawings of plates: a sheet for the machinist, and the plate alone at true size.
#include <cmath>
#include <map>
#include <tuple>

#include "sheet.h"
#include "text.h"

namespace teasel {

namespace {
struct Tool {
  std::string letter;
  std::vector<const PlateHole*> holes;
};
/// By diameter, kind and whether the blank has it: a row of the chart each.
std::map<std::tuple<long, int, bool>, Tool> tools_of(const Plate& p) {
  std::map<std::tuple<long, int, bool>, Tool> out;
  for (const PlateHole& h : p.holes)
    out[{std::lround(h.diameter * 1000), static_cast<int>(h.kind), h.drilled}].holes.push_back(&h);
  int n = 0;
  for (auto& [key, t] : out) {
    t.letter =
        n < 26 ? std::string(1, static_cast<char>('A' + n)) : "A" + std::string(1, static_cast<char>('A' + n - 26));
    ++n;
  }
  return out;
}

void draw_plate(Sheet& s, const Outcome& o, const Plate& p, const View& v, bool letters) {
  s.raw("<path d=\"" + v.path(p.outline) + "\" stroke-width=\"0.5\"/>\n");
  for (const Pocket& k : p.pockets)
    s.raw("<path d=\"" + v.path(k.area) + "\" fill=\"" + (k.through ? "#d3dde6" : "#eaf0f5") +
          "\" fill-rule=\"evenodd\" stroke-width=\"0.18\"/>\n");
  const Ring board = transformed(o.board.outline.outer, p.from_board);
  if (board.size() >= 3)
    s.raw("<path d=\"" + v.path(board) + "\" stroke=\"#777\" stroke-dasharray=\"3 1 0.6 1\" stroke-width=\"0.2\"/>\n");
  for (const auto& [key, t] : tools_of(p))
    for (const PlateHole* h : t.holes) {
      const Point c = v(h->plate);
      const double r = h->diameter / 2 * v.scale, cross = r + 0.8;
      s.raw("<circle cx=\"" + num(c.x) + "\" cy=\"" + num(c.y) + "\" r=\"" + num(r) + "\"" +
            (h->drilled ? "" : " stroke-dasharray=\"0.8 0.5\"") + " stroke-width=\"0.18\"/><path d=\"M" +
            num(c.x - cross) + " " + num(c.y) + "h" + num(2 * cross) + "M" + num(c.x) + " " + num(c.y - cross) + "v" +
            num(2 * cross) + "\" stroke-width=\"0.08\"/>\n");
      if (letters) s.text({c.x + r + 0.3, c.y - r - 0.2}, 1.4, t.letter);
    }
  for (const Mark& m : p.marks) s.text(v(m.at), m.height * v.scale * 1.25, engraved(o, m), "start", 0, "#4a5a6a");
}

void dimension(Sheet& s, Point a, Point b, double away, const std::string& text, bool upright) {
  const char* thin = "stroke-width=\"0.13\"";
  if (!upright) {
    const double y = a.y + away;
    s.line({a.x, a.y + 1}, {a.x, y + 1.5}, thin);
    s.line({b.x, b.y + 1}, {b.x, y + 1.5}, thin);
    s.line({a.x, y}, {b.x, y}, thin);
    s.raw("<path d=\"M" + num(a.x) + " " + num(y) + "l2.5 -0.5v1zM" + num(b.x) + " " + num(y) +
          "l-2.5 -0.5v1z\" fill=\"" + kInk + "\" stroke=\"none\"/>\n");
    s.text({(a.x + b.x) / 2, y - 0.8}, 3, text, "middle");
  } else {
    const double x = a.x - away;
    s.line({a.x - 1, a.y}, {x - 1.5, a.y}, thin);
    s.line({b.x - 1, b.y}, {x - 1.5, b.y}, thin);
    s.line({x, a.y}, {x, b.y}, thin);
    s.raw("<path d=\"M" + num(x) + " " + num(a.y) + "l-0.5 2.5h1zM" + num(x) + " " + num(b.y) +
          "l-0.5 -2.5h1z\" fill=\"" + kInk + "\" stroke=\"none\"/>\n");
    s.text({x - 0.8, (a.y + b.y) / 2}, 3, text, "middle", -90);
  }
}
}  // namespace

namespace {
struct Paper {
  const char* name;
  double w, h;
};
constexpr double kFrame = 10, kChart = 118,
                 kBlock = 62;  // mm: edge of the sheet, width of the chart, height of the title block

std::string true_size_svg(const Outcome& o, const Plate& p, const Box& plate, const std::string& title) {
  Sheet s(plate.width() + 20, plate.height() + 32, title);
  const View v{plate, {10, plate.height() + 10}, 1};
  draw_plate(s, o, p, v, false);
  const double y = plate.height() + 18;
  s.text({10, y}, 3, p.name + "; plan " + o.plan_id + "; " + (p.mirrored ? "MIRRORED" : "not mirrored"));
  s.text({10, y + 4.5}, 2.6, p.seen_from);
  scale_bar(s, {10, y + 9});
  return s.file();
}

/// The plate with its sizes, its zero and the places of its pins.
void draw_view(Sheet& s, const Outcome& o, const Plate& p, const Box& plate, const View& v, double scale) {
  draw_plate(s, o, p, v, p.holes.size() <= 400);
  dimension(s, v({plate.x0, plate.y0}), v({plate.x1, plate.y0}), 9, fixed(plate.width(), 2), false);
  dimension(s, v({plate.x0, plate.y1}), v({plate.x0, plate.y0}), 11, fixed(plate.height(), 2), true);
  // The zero of the coordinates and the pins, from which everything is measured.
  auto zero_mark = [&](Point c) {
    s.raw("<circle cx=\"" + num(c.x) + "\" cy=\"" + num(c.y) + "\" r=\"2\" stroke=\"#b0213a\"/><path d=\"M" +
          num(c.x - 3.2) + " " + num(c.y) + "h6.4M" + num(c.x) + " " + num(c.y - 3.2) +
          "v6.4\" stroke=\"#b0213a\"/>\n");
  };
  if (plate.grown(1e-6).contains({0, 0})) {
    zero_mark(v({0, 0}));
    s.text({v({0, 0}).x + 3, v({0, 0}).y - 2.4}, 2.4, "0,0", "start", 0, "#b0213a");
  }
  for (const PlateHole& h : p.holes)
    if (h.kind == PlateHole::Kind::tooling_pin || h.kind == PlateHole::Kind::pin_clearance)
      s.text({v(h.plate).x + h.diameter / 2 * scale + 1.2, v(h.plate).y - h.diameter / 2 * scale - 1.2}, 2.2,
             h.label + " (" + fixed(h.plate.x, 3) + ", " + fixed(h.plate.y, 3) + ")", "start", 0, "#b0213a");
}

/// Holes by diameter, then pockets; gives the height at which it ends.
double draw_chart(Sheet& s, const Outcome& o, const Plate& p, Point at_top) {
  double y = at_top.y;
  const double x0 = at_top.x;
  s.text({x0, y}, 3.4, "Holes (finished diameters, all through)");
  y += 5;
  auto row = [&](const std::vector<std::string>& cells, double size) {
    const double at[] = {0, 6, 20, 46, 56, 92};
    for (std::size_t i = 0; i < cells.size(); ++i) s.text({x0 + at[i], y}, size, cells[i]);
    y += size * 1.6;
  };
  row({"", "dia", "tolerance", "no", "kind", ""}, 2.4);
  std::size_t drilled = 0;
  for (const auto& [key, t] : tools_of(p)) {
    const PlateHole& h = *t.holes[0];
    const HoleTolerance tol = tolerance_of(h.kind, h.diameter);
    row({t.letter, fixed(h.diameter, 3), "+" + fixed(tol.plus, 3) + "/-" + fixed(tol.minus, 3),
         std::to_string(t.holes.size()), to_string(h.kind), h.drilled ? "" : "in the blank"},
        2.6);
    if (h.drilled) drilled += t.holes.size();
  }
  row({"", "", "to drill", std::to_string(drilled), "", ""}, 2.6);
  y += 3;
  if (!p.pockets.empty()) {
    s.text({x0, y}, 3.4, "Pockets (milled from the board face)");
    y += 5;
    for (const Pocket& k : p.pockets)
      row({"", k.through ? "through" : fixed(k.depth, 2), "+0.10/-0", std::to_string(k.area.size()),
           fixed(area(k.area) / 100, 1) + " cm2, cutter " + fixed(o.style.cutter.v, 2)},
          2.6);
    if (p.outer_face) {
      s.text({x0, y}, 2.6, "Pockets lie on the far face of this view.", "start", 0, "#b0213a");
      y += 4.2;
    }
    y += 3;
  }
  return y;
}

void draw_notes(Sheet& s, const Outcome& o, const Plate& p, Point at, double lowest) {
  std::vector<std::string> notes = {"Coordinates of every hole: " + p.stem +
                                    ".csv and .drl; contours: .dxf. This sheet shows the same figures."};
  if (p.kind == PlateKind::check)
    notes.push_back(
        "A tip of a sound fixture goes through its hole without touching: the holes are wider than the heads by what "
        "drilling, receptacles and pointing may be off.");
  else
    notes.push_back("Distance of this plate's near face to the board: " + fixed(p.at_rest, 2) + " mm at rest, " +
                    fixed(p.at_touch, 2) + " at first touch, " + fixed(p.at_work, 2) + " at work.");
  if (p.kind == PlateKind::probe)
    for (const SetHeight& h : o.set_heights)
      if (h.lower == p.lower)
        notes.push_back("Set height of " + o.catalogue.classes[static_cast<std::size_t>(h.probe_class)].name + ": " +
                        fixed(h.height, 2) + " mm over the board face of this plate" + (h.height < 0 ? " (sunk)" : "") +
                        ".");
  for (const std::string& w : p.waivers) notes.push_back("On a waiver: " + w);
  for (const std::string& n : notes) {
    if (at.y > lowest) break;
    for (const std::string& l : wrapped(n, 62)) {
      s.text(at, 2.5, l);
      at.y += 3.9;
    }
    at.y += 1;
  }
}

void draw_title_block(Sheet& s, const Outcome& o, const Plate& p, const Paper& paper, double scale) {
  const double bx = paper.w - kFrame - kChart, by = paper.h - kFrame - kBlock;
  s.box(bx, by, kChart, kBlock, "stroke-width=\"0.5\" fill=\"white\"");
  auto cell = [&](double x, double cy, double w, double h, const char* head, const std::string& value,
                  double size = 2.8, const char* colour = kInk) {
    s.box(bx + x, by + cy, w, h, "stroke-width=\"0.18\"");
    s.text({bx + x + 1, by + cy + 2.4}, 1.7, head, "start", 0, "#666");
    const auto lines = wrapped(value, static_cast<std::size_t>((w - 2) / (0.56 * size)));
    for (std::size_t i = 0; i < lines.size() && 3.2 + size * 0.93 + size * 1.25 * static_cast<double>(i) < h; ++i)
      s.text({bx + x + 1, by + cy + 3.2 + size * (0.93 + 1.25 * static_cast<double>(i))}, size, lines[i], "start", 0,
             colour);
  };
  cell(0, 0, kChart, 9, "plate", p.name, 2.8);
  cell(0, 9, 60, 8, "board", o.board.name);
  cell(60, 9, 24, 8, "revision", o.board.revision.empty() ? "not stated" : o.board.revision);
  cell(84, 9, 34, 8, "plan id", o.plan_id);
  cell(0, 17, 88, 15, "face", p.seen_from, 2.4);
  cell(88, 17, 30, 15, "mirrored?", p.mirrored ? "YES" : "NO", 5, p.mirrored ? "#b0213a" : kInk);
  cell(0, 32, 60, 8, "material, thickness", p.material + ", " + fixed(p.thickness, 2) + " mm", 2.4);
  cell(60, 32, 20, 8, "unit", "mm");
  cell(80, 32, 18, 8, "scale", scale == 1 ? "1:1" : "1:" + short_number(1 / scale, 1));
  cell(98, 32, 20, 8, "sheet", std::string(paper.name) + ", 1 of 1", 2.4);
  cell(0, 40, 70, 12, "datum", p.datum, 2.2);
  cell(70, 40, 48, 12, "tolerances not stated", "position 0.025 to the pins, lengths 0.2, depth +0.10/-0", 2.2);
  cell(0, 52, 60, 10, "projection", "one view, seen as stated under face", 2.4);
  cell(60, 52, 58, 10, "status",
       p.drafts.empty() ? "no open point known to the program; not approved"
                        : "DRAFT: " + std::to_string(p.drafts.size()) +
                              (p.drafts.size() == 1 ? " reason" : " reasons") + ", see the drill file's head",
       2.4, p.drafts.empty() ? kInk : "#b0213a");
}
}  // namespace

std::string plate_svg(const Outcome& o, const Plate& p, bool true_size) {
  const Box plate = bounds(p.outline);
  const std::string title = p.name + ", plan " + o.plan_id;
  if (true_size) return true_size_svg(o, p, plate, title);
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
    if (plate.width() * k + 35 <= candidate.w - 2 * kFrame - kChart &&
        plate.height() * k + 30 <= candidate.h - 2 * kFrame - 12)
      break;
  }
  Sheet s(paper.w, paper.h, title);
  s.box(kFrame, kFrame, paper.w - 2 * kFrame, paper.h - 2 * kFrame, "stroke-width=\"0.5\"");
  draw_view(s, o, p, plate, View{plate, {kFrame + 25, paper.h - kFrame - 22}, scale}, scale);
  const double x0 = paper.w - kFrame - kChart + 6;
  draw_notes(s, o, p, {x0, draw_chart(s, o, p, {x0, kFrame + 8})}, paper.h - kFrame - kBlock - 12);
  draw_title_block(s, o, p, paper, scale);
  return s.file();
}

std::string set_heights_csv(const Outcome& o) {
  std::string s = "bed,class,stack_mm,projection_at_work_mm,set_height_mm,tip_under_board_at_rest_mm,plan_id\n";
  for (const SetHeight& h : o.set_heights)
    s += csv_row({h.lower ? "lower" : "upper", o.catalogue.classes[static_cast<std::size_t>(h.probe_class)].name,
                  fixed(h.stack, 3), fixed(h.projection, 3), fixed(h.height, 3), fixed(h.tip_at_rest, 3), o.plan_id});
  return s;
}

}  // namespace teasel
