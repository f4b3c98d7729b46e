// What a layer file holds, counted.
#include <map>
#include <set>

#include "teasel/formats/layer.h"

namespace teasel::formats {

LayerFacts layer_facts(const GerberFile& f) {
  LayerFacts facts;
  facts.file = f.name;
  facts.extents = extents(f);
  facts.millimetres = f.millimetres;
  facts.negative = f.negative_image;
  facts.file_attributes = f.file_attributes;
  std::vector<std::size_t> uses(f.attributes.size());
  for (const auto& o : f.objects) {
    ++(o.kind == GerberObject::Kind::flash  ? facts.flashes
       : o.kind == GerberObject::Kind::line ? facts.strokes
       : o.kind == GerberObject::Kind::arc  ? facts.arcs
                                            : facts.regions);
    facts.clear += !o.dark;
    ++uses[o.attributes];
  }
  static constexpr const char* kKinds[] = {"circle", "rectangle", "obround", "polygon", "macro", "block"};
  std::size_t kinds[std::size(kKinds)] = {};
  for (const auto& a : f.apertures) ++kinds[static_cast<std::size_t>(a.kind)];
  for (std::size_t k = 0; k < std::size(kKinds); ++k)
    if (kinds[k]) facts.apertures.emplace_back(kKinds[k], kinds[k]);
  std::map<std::string, std::size_t> functions;
  std::set<std::string> nets, components;
  for (std::size_t i = 0; i < uses.size(); ++i) {
    if (!uses[i]) continue;
    const auto& a = f.attributes[i];
    if (!a.aper_function.empty()) functions[a.aper_function] += uses[i];
    if (a.has_net && !a.net.empty()) nets.insert(a.net);
    if (!a.component.empty()) components.insert(a.component);
  }
  facts.functions.assign(functions.begin(), functions.end());
  facts.nets = nets.size();
  facts.components = components.size();
  return facts;
}

}  // namespace teasel::formats
