// Files of plates for machining: drill and rout (XNC), hole table (CSV), contours (DXF Release 12). One model, the same
// digits in all of them.
#include <set>
#include <utility>

#include "teasel/fixture/milled.h"
#include "teasel/fixture/tolerances.h"
#include "teasel/words.h"
#include "text.h"

namespace teasel {

namespace {
Machine::Text xy(Point point) {
  return "X" + Machine::number(point.x, 3) + "Y" + Machine::number(point.y, 3);
}
void add_comment(Machine::Text& file, std::string_view text) {
  file += "; " + Machine::text(text) + "\n";
}

/// The plate that these holes belong to: new holes alone lack the pins that the driller picks up on.
const Plate& whole_plate(const Outcome& outcome, const Plate& plate) {
  for (const Plate& whole : outcome.results.plates)
    if (plate.stem.rfind(whole.stem, 0) == 0 && plate.outer_face == whole.outer_face) return whole;
  return plate;
}

/// The head of every file of a plate: what it is, from where it is seen, what it rests on.
void comments(Machine::Text& file, const Outcome& outcome, const Plate& plate) {
  auto comment = [&](std::string_view text) { add_comment(file, text); };
  comment("plate: " + plate.name);
  comment("board: " + outcome.board.name +
          (outcome.board.revision.empty() ? "" : ", revision " + outcome.board.revision));
  comment("plan id: " + outcome.plan_id);
  comment("status: " + std::string(to_string(outcome.results.release.state())));
  for (std::string& rest : outcome.results.release.of_plate(whole_plate(outcome, plate).stem)) {
    // One line a reason, broken at commas where it is long.
    while (rest.size() > 110) {
      const std::size_t at = rest.rfind(", ", 110);
      if (at == rest.npos || at < 40) break;
      comment(rest.substr(0, at + 1));
      rest = "  " + rest.substr(at + 2);
    }
    comment(rest);
  }
  for (const auto& waiver : plate.waivers) comment("on a waiver: " + waiver);
  comment("face: " + plate.seen_from);
  comment("datum: " + plate.datum);
  comment("material: " + plate.material + ", " + fixed(plate.thickness, 2) + " mm thick");
  const auto is_pin = [](const PlateHole& hole) { return hole.label == "PIN1" || hole.label == "PIN2"; };
  const bool has_pins = std::any_of(plate.holes.begin(), plate.holes.end(), is_pin);
  for (const PlateHole& hole : has_pins ? plate.holes : whole_plate(outcome, plate).holes)
    if (is_pin(hole))
      comment("pick up on " + hole.label + (hole.label == "PIN1" ? " (round)" : " (relieved)") +
              " at x = " + fixed(hole.plate.x, 3) + ", y = " + fixed(hole.plate.y, 3) + ", " + fixed(hole.diameter, 3) +
              " mm");  // not as coordinate words: some readers take those for holes
  for (const PlateHole& hole : plate.holes)
    if (!hole.drilled)
      comment("already in the blank: " + hole.label + " at x = " + fixed(hole.plate.x, 3) +
              ", y = " + fixed(hole.plate.y, 3) + ", " + fixed(hole.diameter, 3) + " mm");
  comment("unit: millimetres, absolute, decimal points; diameters are finished holes");
}
}  // namespace

std::string engraved(const Outcome& outcome, const Mark& mark) {
  return mark.text == kPlanMark ? "PLAN " + outcome.plan_id : mark.text;
}

std::string plate_csv(const Outcome& outcome, const Plate& plate) {
  Csv::Text csv =
      "no,x_mm,y_mm,dia_mm,kind,probe,net,board_x_mm,board_y_mm,tol_plus_mm,tol_minus_mm,fit,thread,work,depth_mm,"
      "through,drill,plan_id\n";
  int no = 0;
  for (const PlateHole& hole : plate.holes) {
    const HoleTolerance tolerance = tolerance_of(hole.kind, hole.diameter);
    csv += csv_row({std::to_string(++no), fixed(hole.plate.x, 3), fixed(hole.plate.y, 3), fixed(hole.diameter, 3),
                    to_string(hole.kind), hole.label, hole.net, fixed(hole.board.x, 3), fixed(hole.board.y, 3),
                    fixed(tolerance.plus, 3), fixed(tolerance.minus, 3), tolerance.fit, thread_of(hole), work_of(hole),
                    fixed(plate.thickness, 3), "yes", hole.drilled ? "yes" : "no, in the blank", outcome.plan_id});
  }
  return csv.text();
}

std::string plate_drill(const Outcome& outcome, const Plate& plate) {
  Machine::Text file = "M48\n";
  auto comment = [&](std::string_view text) { add_comment(file, text); };
  comments(file, outcome, plate);
  std::size_t count = 0;
  for (const auto& tool : plate.tools) count += tool.size();
  comment("holes: " + std::to_string(count) + ", all through");
  for (const auto& i : outcome.inputs) comment("input " + i.file + " sha256 " + i.sha256);
  file += "METRIC\n";
  auto hole = [&](int i) -> const PlateHole& { return plate.holes[i]; };
  int number = 0;
  for (const auto& tool : plate.tools) {
    std::set<std::string> kinds;
    for (const int i : tool) {
      std::string kind = to_string(hole(i).kind);
      if (const std::string work = work_of(hole(i)); work != "drill") kind += " (" + work + ")";
      kinds.insert(kind);
    }
    std::string list;
    for (const auto& k : kinds) list += (list.empty() ? "" : ", ") + k;
    comment("T" + std::to_string(++number) + ": " + list + ", " + std::to_string(tool.size()) + " holes");
    file += "T" + Machine::whole(number) + "C" + Machine::number(hole(tool[0]).diameter.v, 3) + "\n";
  }
  file += "%\nG90\nG05\n";
  number = 0;
  for (const auto& tool : plate.tools) {
    file += "T" + Machine::whole(++number) + "\n";
    for (const int i : tool) file += xy(hole(i).plate.point()) + "\n";
  }
  return (file + "M30\n").text();
}

std::string pocket_file(const Plate& plate, const Pocket& pocket) {
  return plate.stem + "-pocket-" + (pocket.through ? "through" : fixed(pocket.depth, 2)) + ".drl";
}

std::string pocket_rout(const Outcome& outcome, const Plate& drilled, const Pocket& drawn, Mm cutter) {
  Plate alone = drilled;
  alone.pockets = {drawn};
  const Plate plate =
      seen_from_board_face({outcome, outcome.results.coverage, outcome.results.mechanics.supports}, alone);
  const Pocket& pocket = plate.pockets.front();
  Machine::Text file = "M48\n";
  auto comment = [&](std::string_view text) { add_comment(file, text); };
  comments(file, outcome, plate);
  // Rings round islands run the other way round.
  const auto is_island = [&](std::size_t path) { return signed_area(drawn.path[path]) < 0; };
  std::size_t islands = 0;
  for (std::size_t i = 0; i < drawn.path.size(); ++i) islands += is_island(i);
  comment(pocket.through ? "pocket: through the plate, " + fixed(pocket.depth, 2) +
                               " mm; the path runs inside the outline, and what it encloses falls out"
                         : "pocket: " + fixed(pocket.depth, 2) +
                               " mm deep from the face towards the board; the paths are its contours, and "
                               "what they enclose is milled" +
                               (islands ? ", but for " + plural(islands, "island", "islands") +
                                              ", whose paths are marked below: what those enclose stays"
                                        : std::string()));
  comment("cutter " + fixed(cutter, 2) + " mm; its centre follows this path, without compensation");
  file += "METRIC\nT1C" + Machine::number(cutter.v, 3) + "\n%\nG90\nT1\n";
  for (std::size_t path = 0; path < pocket.path.size(); ++path) {
    const Ring& ring = pocket.path[path];
    if (is_island(path) && !pocket.through) comment("the next path goes round an island, which stays");
    file += "G00" + xy(ring[0]) + "\nM15\n";
    for (std::size_t i = 1; i <= ring.size(); ++i) file += "G01" + xy(ring[i % ring.size()]) + "\n";
    file += "M16\n";
  }
  return (file + "M30\n").text();
}

namespace {
/// Release 12 of the drawing exchange format: pairs of a code and a value.
class Dxf {
 public:
  void pair(int code, const Machine::Text& value) {
    lines_ += (code < 10 ? "  " : code < 100 ? " " : "") + Machine::whole(code) + "\n" + value + "\n";
  }
  void number(int code, double v) { pair(code, Machine::number(v, 3)); }
  void at(int code, Point point) {
    number(code, point.x);
    number(code + 10, point.y);
  }
  void entity(const char* kind, const std::string& layer) {
    pair(0, kind);
    pair(8, Machine::text(layer));
  }
  void circle(const std::string& layer, PlatePoint place, Mm diameter) {
    entity("CIRCLE", layer);
    at(10, place.point());
    pair(40, Machine::number(diameter.v / 2, 4));  // half of three decimals
  }
  void ring(const std::string& layer, const Ring& corners) {
    entity("POLYLINE", layer);
    pair(66, "1");
    at(10, {});
    pair(70, "1");
    for (const Point point : corners) {
      entity("VERTEX", layer);
      at(10, point);
    }
    entity("SEQEND", layer);
  }
  void text(const std::string& layer, Point place, Mm height, const std::string& text) {
    entity("TEXT", layer);
    at(10, place);
    number(40, height.v);
    pair(1, Machine::text(text));
  }
  std::string file(const std::vector<std::string>& layers, const Box& extent) {
    const Machine::Text body = std::exchange(lines_, {});
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
    pair(70, Machine::whole(static_cast<long long>(layers.size())));
    int colour = 0;
    for (const std::string& layer : layers) {
      pair(0, "LAYER");
      pair(2, Machine::text(layer));
      pair(70, "0");
      pair(62, Machine::whole(1 + colour++ % 7));
      pair(6, "CONTINUOUS");
    }
    pair(0, "ENDTAB");
    pair(0, "ENDSEC");
    pair(0, "SECTION");
    pair(2, "ENTITIES");
    lines_ += body;
    pair(0, "ENDSEC");
    pair(0, "EOF");
    return std::exchange(lines_, {}).text();
  }

 private:
  Machine::Text lines_;
};

std::string layer_name(const PlateHole& hole) {
  std::string kind;
  for (const char letter : std::string_view(to_string(hole.kind)))
    kind += letter == ' ' ? '_' : static_cast<char>(std::toupper(static_cast<unsigned char>(letter)));
  const std::string um = std::to_string(std::llround(hole.diameter.v * 1000));
  return (hole.drilled ? "D" + um + "_" + kind : "IN_BLANK_D" + um).substr(0, 31);
}
}  // namespace

std::string plate_dxf(const Outcome& outcome, const Plate& plate) {
  Dxf dxf;
  std::set<std::string> layers{"OUTLINE", "ENGRAVE", "TEXT_NOT_MACHINED", "BOARD_NOT_MACHINED"};
  dxf.ring("OUTLINE", plate.outline);
  for (const PlateHole& hole : plate.holes) {
    layers.insert(layer_name(hole));
    dxf.circle(layer_name(hole), hole.plate, hole.diameter);
  }
  for (const Pocket& pocket : plate.pockets) {
    const std::string layer = (pocket.through ? std::string("POCKET_THROUGH")
                                              : "POCKET_Z" + std::to_string(std::llround(pocket.depth.v * 100))) +
                              (plate.outer_face ? "_OTHER_FACE" : "");
    layers.insert(layer);
    for (const Polygon& polygon : pocket.area) {
      dxf.ring(layer, polygon.outer);
      for (const Ring& ring : polygon.holes) dxf.ring(layer, ring);
    }
  }
  for (const Mark& mark : plate.marks) dxf.text("ENGRAVE", mark.at.point(), mark.height, engraved(outcome, mark));
  const Box box = bounds(plate.outline);
  std::vector<std::string> notes = {
      "UNIT MM",
      plate.name,
      plate.seen_from,
      plate.datum,
      "MATERIAL " + plate.material + " " + fixed(plate.thickness, 2) + " MM",
      plate.outer_face ? "POCKET_Z150_OTHER_FACE = 1.50 MM DEEP FROM THE BOARD FACE, WHICH THIS VIEW DOES NOT SHOW"
                       : "POCKET_Z150 = 1.50 MM DEEP FROM THE BOARD FACE",
      "KNOWN LENGTH: OUTLINE " + fixed(box.width(), 3) + " X " + fixed(box.height(), 3) + " MM"};
  for (const std::string& reason : outcome.results.release.of_plate(whole_plate(outcome, plate).stem))
    notes.insert(notes.begin(), std::string(first_bytes(reason, 240)));
  double y = box.y0 - 8;
  for (const std::string& note : notes) {
    dxf.text("TEXT_NOT_MACHINED", {box.x0, y}, Mm{3}, note);
    y -= 5;
  }
  const Ring board = plate.from_board(outcome.board.outline.outer);
  if (board.size() >= 3) dxf.ring("BOARD_NOT_MACHINED", board);
  return dxf.file({layers.begin(), layers.end()}, box);
}

}  // namespace teasel
