// Reads holes from a Gerber file: flashes are holes, strokes are slots.
#include <cmath>

#include "teasel/formats/drill.h"
#include "teasel/formats/gerber.h"
#include "text.h"

namespace teasel::formats {

namespace {
DrillNumber micro(double mm) {
  DrillNumber number;
  number.digits = std::llround(mm * 1e6);
  number.count = 10;
  number.point = 6;
  return number;
}
}  // namespace

bool is_gerber_drill(const GerberFile& file) {
  const std::string function = file.file_attribute(".FileFunction");
  return function.rfind("Plated,", 0) == 0 || function.rfind("NonPlated,", 0) == 0;
}

namespace {
/// Plating and layers by the file's attribute, such as "Plated,1,4,PTH".
void plating_and_layers(const GerberFile& gerber, DrillFile& file) {
  const std::string function = gerber.file_attribute(".FileFunction");
  const auto fields = split(function, ',');
  file.plating = Plating::unknown;
  if (fields[0] == "Plated") file.plating = Plating::plated;
  if (fields[0] == "NonPlated") file.plating = Plating::unplated;
  double first{}, last{};
  if (fields.size() >= 3 && number(fields[1], first) && number(fields[2], last))
    if (first >= 1 && last >= first && last <= 99) {
      file.first_layer = static_cast<int>(first);
      file.last_layer = static_cast<int>(last);
    }
}

/// Each aperture is a tool.
void tools_of_apertures(const GerberFile& gerber, DrillFile& file) {
  for (const GerberAperture& aperture : gerber.apertures) {
    DrillTool tool;
    tool.number = aperture.code;
    tool.diameter = aperture.width;
    tool.function = aperture.function;
    file.tools.push_back(tool);
  }
}

/// A flash is a hit, a line a slot, an arc a row of short slots.
void drill_object(const GerberFile& gerber, const GerberObject& object, DrillFile& file) {
  DrillOp op;
  op.tool = object.shape;
  op.line = object.line;
  op.has_x = op.has_y = true;
  auto keep = [&](DrillOp::Kind kind, Point a, Point b) {
    op.kind = kind;
    op.x = micro(a.x);
    op.y = micro(a.y);
    op.x2 = micro(b.x);
    op.y2 = micro(b.y);
    op.has_x2 = op.has_y2 = true;
    file.ops.push_back(op);
  };
  if (object.kind == GerberObject::Kind::flash ||
      (object.kind == GerberObject::Kind::line && object.start == object.end)) {
    keep(DrillOp::Kind::hit, object.start, object.start);
    ++file.holes;
  } else if (object.kind == GerberObject::Kind::line) {
    keep(DrillOp::Kind::slot, object.start, object.end);
    ++file.slots;
  } else {
    const Ring path = arc_points(object.start, object.end, gerber.centres[object.centre], object.clockwise);
    for (std::size_t i = 0; i + 1 < path.size(); ++i) {
      keep(DrillOp::Kind::slot, path[i], path[i + 1]);
      ++file.slots;
    }
  }
}
}  // namespace

DrillFile drill_of_gerber(const GerberFile& gerber, Diagnostics& diagnostics) {
  DrillFile file;
  file.name = gerber.name;
  file.format.millimetres = file.unit_stated = file.has_points = true;
  plating_and_layers(gerber, file);
  tools_of_apertures(gerber, file);
  for (const GerberObject& object : gerber.objects) {
    if (!object.dark || object.kind == GerberObject::Kind::region ||
        gerber.apertures[object.shape].kind != GerberAperture::Kind::circle) {
      diagnostics.warn({.code = "drill-gerber-shape",
                        .at = {gerber.name, object.line, 0, {}},
                        .message = "an object that is neither a round hole nor a slot is left out"});
      continue;
    }
    drill_object(gerber, object, file);
    if (file.ops.size() > kMostHoles) {
      diagnostics.error({.code = "drill-too-large",
                         .at = {gerber.name, object.line, 0, {}},
                         .message = "the file drills more than 2 million holes"});
      break;
    }
  }
  return file;
}

}  // namespace teasel::formats
