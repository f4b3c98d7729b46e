// Holes given as a Gerber file: flashes are holes, strokes are slots.
#include <cmath>

#include "teasel/formats/drill.h"
#include "teasel/formats/gerber.h"
#include "text.h"

namespace teasel::formats {

namespace {
DrillNumber micro(double mm) {
  DrillNumber n;
  n.digits = std::llround(mm * 1e6);
  n.count = 10;
  n.point = 6;
  return n;
}
}  // namespace

bool is_gerber_drill(const GerberFile& f) {
  const std::string function = f.file_attribute(".FileFunction");
  return function.rfind("Plated,", 0) == 0 || function.rfind("NonPlated,", 0) == 0;
}

DrillFile drill_of_gerber(const GerberFile& g, Diagnostics& d) {
  DrillFile f;
  f.name = g.name;
  f.format.millimetres = f.unit_stated = f.has_points = true;
  const std::string function = g.file_attribute(".FileFunction");
  const auto fields = split(function, ',');
  f.plating = fields[0] == "Plated" ? Plating::plated : fields[0] == "NonPlated" ? Plating::unplated : Plating::unknown;
  double first{}, last{};
  if (fields.size() >= 3 && number(fields[1], first) && number(fields[2], last))
    if (first >= 1 && last >= first && last <= 99) {
      f.first_layer = static_cast<int>(first);
      f.last_layer = static_cast<int>(last);
    }
  for (std::size_t i = 0; i < g.apertures.size(); ++i) {
    DrillTool t;
    t.number = g.apertures[i].code;
    t.diameter = g.apertures[i].width;
    t.function = g.apertures[i].function;
    f.tools.push_back(t);
  }
  for (const GerberObject& o : g.objects) {
    if (!o.dark || o.kind == GerberObject::Kind::region || g.apertures[o.shape].kind != GerberAperture::Kind::circle) {
      d.warn("drill-gerber-shape", {g.name, o.line, 0, {}}, "an object that is no round hole and no slot is left out");
      continue;
    }
    DrillOp op;
    op.tool = o.shape;
    op.line = o.line;
    op.has_x = op.has_y = true;
    auto keep = [&](DrillOp::Kind kind, Point a, Point b) {
      op.kind = kind;
      op.x = micro(a.x);
      op.y = micro(a.y);
      op.x2 = micro(b.x);
      op.y2 = micro(b.y);
      op.has_x2 = op.has_y2 = true;
      f.ops.push_back(op);
    };
    if (o.kind == GerberObject::Kind::flash || (o.kind == GerberObject::Kind::line && o.start == o.end)) {
      keep(DrillOp::Kind::hit, o.start, o.start);
      ++f.holes;
    } else if (o.kind == GerberObject::Kind::line) {
      keep(DrillOp::Kind::slot, o.start, o.end);
      ++f.slots;
    } else {
      const Ring path = arc_points(o.start, o.end, g.centres[o.centre], o.clockwise);
      for (std::size_t i = 0; i + 1 < path.size(); ++i) {
        keep(DrillOp::Kind::slot, path[i], path[i + 1]);
        ++f.slots;
      }
    }
    if (f.ops.size() > kMostHoles) {
      d.error("drill-too-large", {g.name, o.line, 0, {}}, "more than 2 million holes");
      break;
    }
  }
  return f;
}

}  // namespace teasel::formats
