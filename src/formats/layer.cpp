// Counts what a layer file holds.
#include <map>
#include <set>

#include "teasel/formats/layer.h"

namespace teasel::formats {

LayerFacts layer_facts(const GerberFile& file) {
  LayerFacts facts;
  facts.file = file.name;
  facts.extents = extents(file);
  facts.millimetres = file.millimetres;
  facts.negative = file.negative_image;
  facts.file_attributes = file.file_attributes;
  std::vector<std::size_t> uses(file.attributes.size());
  for (const auto& object : file.objects) {
    switch (object.kind) {
      case GerberObject::Kind::flash: ++facts.flashes; break;
      case GerberObject::Kind::line: ++facts.strokes; break;
      case GerberObject::Kind::arc: ++facts.arcs; break;
      case GerberObject::Kind::region: ++facts.regions; break;
    }
    facts.clear += !object.dark;
    ++uses[object.attributes];
  }
  static constexpr const char* kKinds[] = {"circle", "rectangle", "obround", "polygon", "macro", "block"};
  std::size_t kinds[std::size(kKinds)] = {};
  for (const auto& aperture : file.apertures) ++kinds[static_cast<std::size_t>(aperture.kind)];
  for (std::size_t k = 0; k < std::size(kKinds); ++k)
    if (kinds[k]) facts.apertures.emplace_back(kKinds[k], kinds[k]);
  std::map<std::string, std::size_t> functions;
  std::set<std::string> nets, components;
  for (std::size_t i = 0; i < uses.size(); ++i) {
    if (!uses[i]) continue;
    const auto& row = file.attributes[i];
    if (!row.aper_function.empty()) functions[row.aper_function] += uses[i];
    if (row.has_net && !row.net.empty()) nets.insert(row.net);
    if (!row.component.empty()) components.insert(row.component);
  }
  facts.functions.assign(functions.begin(), functions.end());
  facts.nets = nets.size();
  facts.components = components.size();
  return facts;
}

}  // namespace teasel::formats
