// Tip, spring and contact fault by what the target is made of.
#include "teasel/access.h"

namespace teasel {

std::string tip_for(const Board& b, const Target& t, const Spot& spot) {
  const Feature& f = b.features[static_cast<std::size_t>(t.feature)];
  const bool lead = t.has(Contact::lead), hole = t.has(Contact::open_hole);
  if (lead && hole) return "crown above hole size";  // some builds leave the part out
  if (lead) return "crown";
  if (hole) return "spear above hole size";
  const bool fitted = f.component >= 0 && b.components[static_cast<std::size_t>(f.component)].fitted;
  if (f.kind == FeatureKind::smd_pad && fitted)
    return spot.kind == AimKind::end ? "fine spear, end of the pad" : "fine spear";
  if (f.kind == FeatureKind::smd_pad && t.surface != Surface::organic) return "radius";
  // No-clean flux and oxide want an edge that cuts; crowns clog.
  if (t.surface == Surface::soldered || t.surface == Surface::organic) return "sharp blade";
  return "chisel";
}

Newton force_on(const Rules& rules, const Target& t, const ProbeClass& p) {
  const std::string& spring = rules.surfaces.at(t.surface).spring;
  return spring == "light" ? p.light_force : spring == "strong" ? p.strong_force : p.force;
}
double fault_on(const Rules& rules, const Target& t) {
  return rules.surfaces.at(t.surface).fault;
}

}  // namespace teasel
