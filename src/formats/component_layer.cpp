// Component layers (Gerber X3): the flash that marks a part's centre carries what is known of it.
#include "teasel/formats/gerber.h"
#include "teasel/formats/tables.h"
#include "teasel/units.h"
#include "text.h"

namespace teasel::formats {

bool is_component_layer(const GerberFile& f) {
  return f.file_attribute(".FileFunction").rfind("Component,", 0) == 0;
}

Placement placement_of_gerber(const GerberFile& f, Diagnostics& d) {
  Placement p;
  p.name = f.name;
  p.has_unit = true;
  p.unit_evidence = "its own unit statement";
  const std::string function = f.file_attribute(".FileFunction");
  const int side = function.find(",Bot") != function.npos ? 1 : function.find(",Top") != function.npos ? 0 : -1;
  for (const GerberObject& o : f.objects) {
    const GerberAttributes& a = f.attributes[o.attributes];
    if (o.kind != GerberObject::Kind::flash || a.aper_function != "ComponentMain" || a.component.empty()) continue;
    PlacementRow r;
    r.component = a.component;
    r.x = o.start.x;
    r.y = o.start.y;
    r.side = side;
    r.line = o.line;
    r.value = a.other(".CVal");
    r.package = a.other(".CFtp");
    if (const std::string turn = a.other(".CRot"); !turn.empty() && !number(turn, r.rotation))
      d.warn("component-layer-rotation", {f.name, o.line, 0, {}}, "a component's rotation cannot be read",
             r.component + ": " + turn);
    double height{};
    if (number(a.other(".CHgt"), height) && height > 0) r.height = height * (f.millimetres ? 1 : kMmPerInch);
    p.rows.push_back(std::move(r));
  }
  if (p.rows.empty())
    d.error("component-layer-empty", {f.name, 0, 0, {}}, "the component layer marks no component",
            "no flash with the function ComponentMain and a reference", {}, "export it again, or leave it out");
  return p;
}

}  // namespace teasel::formats
