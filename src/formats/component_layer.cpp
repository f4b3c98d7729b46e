// Reads component layers (Gerber X3). The flash at a part's centre carries what is known of the part.
#include "teasel/formats/gerber.h"
#include "teasel/formats/tables.h"
#include "teasel/units.h"
#include "text.h"

namespace teasel::formats {

bool is_component_layer(const GerberFile& layer) {
  return layer.file_attribute(".FileFunction").rfind("Component,", 0) == 0;
}

Placement placement_of_gerber(const GerberFile& layer, Diagnostics& diagnostics) {
  Placement placement;
  placement.name = layer.name;
  placement.has_unit = true;
  placement.unit_evidence = "its own unit statement";
  const std::string function = layer.file_attribute(".FileFunction");
  std::optional<Side> side;
  if (function.find(",Top") != function.npos) side = Side::top;
  if (function.find(",Bot") != function.npos) side = Side::bottom;
  for (const GerberObject& object : layer.objects) {
    const GerberAttributes& attributes = layer.attributes[object.attributes];
    if (object.kind != GerberObject::Kind::flash || attributes.aper_function != "ComponentMain" ||
        attributes.component.empty())
      continue;
    PlacementRow row;
    row.component = attributes.component;
    row.x = object.start.x;
    row.y = object.start.y;
    row.side = side;
    row.line = object.line;
    row.value = attributes.other(".CVal");
    row.package = attributes.other(".CFtp");
    if (const std::string turn = attributes.other(".CRot"); !turn.empty() && !number(turn, row.rotation.v))
      diagnostics.warn({.code = "component-layer-rotation",
                        .at = {layer.name, object.line, 0, {}},
                        .message = "a component's rotation cannot be read",
                        .found = row.component + ": " + turn});
    double height{};
    if (number(attributes.other(".CHgt"), height) && height > 0)
      row.height = Mm{height * (layer.millimetres ? 1 : kMmPerInch)};
    placement.rows.push_back(std::move(row));
  }
  if (placement.rows.empty())
    diagnostics.error({.code = "component-layer-empty",
                       .at = {layer.name, 0, 0, {}},
                       .message = "the component layer marks no components",
                       .found = "no flash with the function ComponentMain and a reference",
                       .remedy = "export it again, or leave it out"});
  return placement;
}

}  // namespace teasel::formats
