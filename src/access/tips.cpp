#include "teasel/access.h"

namespace teasel {

std::string tip_for(const Board& b, const Target& t) {
  const Feature& f = b.features[static_cast<std::size_t>(t.feature)];
  const bool fitted = f.component >= 0 && b.components[static_cast<std::size_t>(f.component)].fitted;
  switch (f.kind) {
    case FeatureKind::via: return "spear above hole size";
    case FeatureKind::lead: return fitted ? "crown" : "spear above hole size";
    case FeatureKind::smd_pad: return fitted ? "fine spear, outer end of the pad" : "radius";
    default: return f.hole > 0 ? "spear above hole size" : "chisel";
  }
}

}  // namespace teasel
