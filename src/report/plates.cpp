// Files of plates for machining: drill and rout (XNC), hole table (CSV), contours (DXF Release 12). One model, the same
// digits in all of them.
#include <set>

#include "text.h"

namespace teasel {

namespace {
std::string ascii(std::string_view s) {
  std::string out;
  for (char c : s)
    if ((c & 0xC0) != 0x80 || c >= 0) out += c >= 0x20 && c < 0x7f ? c : '?';  // one mark for a letter of several bytes
  return out;
}
std::string xy(Point p) {
  return "X" + fixed(p.x, 3) + "Y" + fixed(p.y, 3);
}

/// The head of every file of a plate: what it is, from where it is seen, what it rests on.
void comments(std::string& s, const Outcome& o, const Plate& p) {
  auto comment = [&](const std::string& text) { s += "; " + ascii(text) + "\n"; };
  comment("plate: " + p.name);
  comment("board: " + o.board.name + (o.board.revision.empty() ? "" : ", revision " + o.board.revision));
  comment("plan id: " + o.plan_id);
  for (const auto& d : p.drafts) {
    // One line a reason, broken at commas where it is long.
    std::string rest = "DRAFT, not released for drilling: " + d;
    while (rest.size() > 110) {
      const std::size_t at = rest.rfind(", ", 110);
      if (at == rest.npos || at < 40) break;
      comment(rest.substr(0, at + 1));
      rest = "  " + rest.substr(at + 2);
    }
    comment(rest);
  }
  for (const auto& w : p.waivers) comment("on a waiver: " + w);
  comment("face: " + p.seen_from);
  comment("datum: " + p.datum);
  comment("material: " + p.material + ", " + fixed(p.thickness, 2) + " mm thick");
  for (const PlateHole& h : p.holes)
    if (h.kind == PlateHole::Kind::tooling_pin || h.kind == PlateHole::Kind::pin_clearance)
      comment("pick up on " + h.label + (h.label == "PIN1" ? " (round)" : " (relieved)") +
              " at x = " + fixed(h.plate.x, 3) + ", y = " + fixed(h.plate.y, 3) + ", " + fixed(h.diameter, 3) +
              " mm");  // not as coordinate words: some readers take those for holes
  for (const PlateHole& h : p.holes)
    if (!h.drilled)
      comment("the blank has already: " + h.label + " at x = " + fixed(h.plate.x, 3) + ", y = " + fixed(h.plate.y, 3) +
              ", " + fixed(h.diameter, 3) + " mm");
  comment("unit: millimetres, absolute, decimal points; diameters are finished holes");
}
}  // namespace

HoleTolerance tolerance_of(PlateHole::Kind kind, double diameter) {
  switch (kind) {
    case PlateHole::Kind::receptacle: return {0.02, 0.02};  // press fit
    case PlateHole::Kind::tooling_pin:
    case PlateHole::Kind::guide_pin:  // H7 of the standard table: over 1 to 3 mm, to 6, to 10, to 18
      return {diameter <= 3 ? 0.010 : diameter <= 6 ? 0.012 : diameter <= 10 ? 0.015 : 0.018, 0};
    case PlateHole::Kind::pin_clearance:
    case PlateHole::Kind::plunger:
    case PlateHole::Kind::tip: return {0.05, 0};
    case PlateHole::Kind::stop:
    case PlateHole::Kind::finger:
    case PlateHole::Kind::screw:
    case PlateHole::Kind::of_kit: break;
  }
  return {0.1, 0.1};
}

std::string engraved(const Outcome& o, const Mark& m) {
  return m.text == kPlanMark ? "PLAN " + o.plan_id : m.text;
}

std::string plate_csv(const Outcome& o, const Plate& p) {
  std::string s =
      "no,x_mm,y_mm,dia_mm,kind,probe,net,board_x_mm,board_y_mm,tol_plus_mm,tol_minus_mm,depth_mm,through,drill,plan_"
      "id\n";
  int no = 0;
  for (const PlateHole& h : p.holes) {
    const HoleTolerance t = tolerance_of(h.kind, h.diameter);
    s += csv_row({std::to_string(++no), fixed(h.plate.x, 3), fixed(h.plate.y, 3), fixed(h.diameter, 3),
                  to_string(h.kind), h.label, h.net, fixed(h.board.x, 3), fixed(h.board.y, 3), fixed(t.plus, 3),
                  fixed(t.minus, 3), fixed(p.thickness, 3), "yes", h.drilled ? "yes" : "no, in the blank", o.plan_id});
  }
  return s;
}

std::string plate_drill(const Outcome& o, const Plate& p) {
  std::string s = "M48\n";
  auto comment = [&](const std::string& text) { s += "; " + ascii(text) + "\n"; };
  comments(s, o, p);
  std::size_t count = 0;
  for (const auto& tool : p.tools) count += tool.size();
  comment("holes: " + std::to_string(count) + ", all through");
  for (const auto& i : o.inputs) comment("input " + i.file + " sha256 " + i.sha256);
  s += "METRIC\n";
  auto hole = [&](int i) -> const PlateHole& { return p.holes[static_cast<std::size_t>(i)]; };
  int n = 0;
  for (const auto& tool : p.tools) {
    std::set<std::string> kinds;
    for (const int i : tool) kinds.insert(to_string(hole(i).kind));
    std::string list;
    for (const auto& k : kinds) list += (list.empty() ? "" : ", ") + k;
    comment("T" + std::to_string(++n) + ": " + list + ", " + std::to_string(tool.size()) + " holes");
    s += "T" + std::to_string(n) + "C" + fixed(hole(tool[0]).diameter, 3) + "\n";
  }
  s += "%\nG90\nG05\n";
  n = 0;
  for (const auto& tool : p.tools) {
    s += "T" + std::to_string(++n) + "\n";
    for (const int i : tool) s += xy(hole(i).plate) + "\n";
  }
  return s + "M30\n";
}

std::string pocket_file(const Plate& p, const Pocket& k) {
  return p.stem + "-pocket-" + (k.through ? "through" : fixed(k.depth, 2)) + ".drl";
}

std::string pocket_rout(const Outcome& o, const Plate& p, const Pocket& k, double cutter) {
  std::string s = "M48\n";
  auto comment = [&](const std::string& text) { s += "; " + ascii(text) + "\n"; };
  comments(s, o, p);
  comment(k.through
              ? "pocket: through the plate, " + fixed(k.depth, 2) +
                    " mm; the path runs inside the outline, what it encloses falls out"
              : "pocket: " + fixed(k.depth, 2) +
                    " mm deep from the face towards the board; the path is its outer contour, all inside is milled");
  comment("cutter " + fixed(cutter, 2) + " mm, its centre runs on this path: no compensation");
  s += "METRIC\nT1C" + fixed(cutter, 3) + "\n%\nG90\nT1\n";
  for (const Ring& r : k.path) {
    s += "G00" + xy(r[0]) + "\nM15\n";
    for (std::size_t i = 1; i <= r.size(); ++i) s += "G01" + xy(r[i % r.size()]) + "\n";
    s += "M16\n";
  }
  return s + "M30\n";
}

namespace {
/// Release 12 of the drawing exchange format: pairs of a code and a value.
class Dxf {
 public:
  void pair(int code, const std::string& value) {
    std::string c = std::to_string(code);
    s_ += std::string(c.size() < 3 ? 3 - c.size() : 0, ' ') + c + "\n" + value + "\n";
  }
  void number(int code, double v) { pair(code, fixed(v, 3)); }
  void at(int code, Point p) {
    number(code, p.x);
    number(code + 10, p.y);
  }
  void entity(const char* kind, const std::string& layer) {
    pair(0, kind);
    pair(8, layer);
  }
  void circle(const std::string& layer, Point p, double diameter) {
    entity("CIRCLE", layer);
    at(10, p);
    pair(40, fixed(diameter / 2, 4));  // half of three decimals
  }
  void ring(const std::string& layer, const Ring& r) {
    entity("POLYLINE", layer);
    pair(66, "1");
    at(10, {});
    pair(70, "1");
    for (const Point p : r) {
      entity("VERTEX", layer);
      at(10, p);
    }
    entity("SEQEND", layer);
  }
  void text(const std::string& layer, Point p, double height, const std::string& text) {
    entity("TEXT", layer);
    at(10, p);
    number(40, height);
    pair(1, ascii(text));
  }
  std::string file(const std::vector<std::string>& layers, const Box& extent) {
    std::string body = std::move(s_);
    s_.clear();
    pair(0, "SECTION");
    pair(2, "HEADER");
    pair(9, "$ACADVER");
    pair(1, "AC1009");
    pair(9, "$EXTMIN");
    at(10, {extent.x0, extent.y0});
    pair(9, "$EXTMAX");
    at(10, {extent.x1, extent.y1});
    pair(0, "ENDSEC");
    pair(0, "SECTION");
    pair(2, "TABLES");
    pair(0, "TABLE");
    pair(2, "LTYPE");
    pair(70, "1");
    pair(0, "LTYPE");
    pair(2, "CONTINUOUS");
    pair(70, "64");
    pair(3, "Solid line");
    pair(72, "65");
    pair(73, "0");
    pair(40, "0.0");
    pair(0, "ENDTAB");
    pair(0, "TABLE");
    pair(2, "LAYER");
    pair(70, std::to_string(layers.size()));
    int colour = 0;
    for (const std::string& l : layers) {
      pair(0, "LAYER");
      pair(2, l);
      pair(70, "0");
      pair(62, std::to_string(1 + colour++ % 7));
      pair(6, "CONTINUOUS");
    }
    pair(0, "ENDTAB");
    pair(0, "ENDSEC");
    pair(0, "SECTION");
    pair(2, "ENTITIES");
    s_ += body;
    pair(0, "ENDSEC");
    pair(0, "EOF");
    return std::move(s_);
  }

 private:
  std::string s_;
};

std::string layer_name(const PlateHole& h) {
  std::string kind;
  for (const char c : std::string_view(to_string(h.kind)))
    kind += c == ' ' ? '_' : static_cast<char>(std::toupper(static_cast<unsigned char>(c)));
  const std::string um = std::to_string(std::llround(h.diameter * 1000));
  return (h.drilled ? "D" + um + "_" + kind : "IN_BLANK_D" + um).substr(0, 31);
}
}  // namespace

std::string plate_dxf(const Outcome& o, const Plate& p) {
  Dxf x;
  std::set<std::string> layers{"OUTLINE", "ENGRAVE", "TEXT_NOT_MACHINED", "BOARD_NOT_MACHINED"};
  x.ring("OUTLINE", p.outline);
  for (const PlateHole& h : p.holes) {
    layers.insert(layer_name(h));
    x.circle(layer_name(h), h.plate, h.diameter);
  }
  for (const Pocket& k : p.pockets) {
    const std::string layer = k.through ? "POCKET_THROUGH" : "POCKET_Z" + std::to_string(std::llround(k.depth * 100));
    layers.insert(layer);
    for (const Polygon& a : k.area) {
      x.ring(layer, a.outer);
      for (const Ring& h : a.holes) x.ring(layer, h);
    }
  }
  for (const Mark& m : p.marks) x.text("ENGRAVE", m.at, m.height, engraved(o, m));
  const Box b = bounds(p.outline);
  std::vector<std::string> notes = {
      "UNIT MM",
      p.name,
      p.seen_from,
      p.datum,
      "MATERIAL " + p.material + " " + fixed(p.thickness, 2) + " MM",
      "POCKET_Z150 = 1.50 MM DEEP FROM THE BOARD FACE",
      "KNOWN LENGTH: OUTLINE " + fixed(b.width(), 3) + " X " + fixed(b.height(), 3) + " MM"};
  for (const std::string& d : p.drafts) notes.insert(notes.begin(), "DRAFT: " + d.substr(0, 120));
  double y = b.y0 - 8;
  for (const std::string& n : notes) {
    x.text("TEXT_NOT_MACHINED", {b.x0, y}, 3, n);
    y -= 5;
  }
  const Ring board = transformed(o.board.outline.outer, p.from_board);
  if (board.size() >= 3) x.ring("BOARD_NOT_MACHINED", board);
  return x.file({layers.begin(), layers.end()}, b);
}

}  // namespace teasel
