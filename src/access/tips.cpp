// Tip, spring, stroke and contact fault by what the target is made of.
#include <algorithm>

#include "teasel/access.h"

namespace teasel {

std::string tip_for(const Board& board, const Target& target, const Spot& spot) {
  const Feature& feature = board.features[target.feature];
  const bool lead = target.has(Contact::lead), hole = target.has(Contact::open_hole);
  if (lead && hole) return "crown above hole size";  // some builds leave the part out
  if (lead) return "crown";
  if (hole) return "spear above hole size";
  const bool fitted = feature.component && board.components[feature.component].fitted;
  if (feature.kind == FeatureKind::smd_pad && fitted)
    return spot.kind == AimKind::end ? "fine spear, end of the pad" : "fine spear";
  if (feature.kind == FeatureKind::smd_pad && target.surface != Surface::organic) return "radius";
  // No-clean flux and oxide need an edge that cuts through them, and a crown would clog.
  if (target.surface == Surface::soldered || target.surface == Surface::organic) return "sharp blade";
  return "chisel";
}

Newton force_on(const Rules& rules, const Target& target, const ProbeClass& probe) {
  const std::string& spring = rules.surfaces.at(target.surface).spring;
  if (spring == "light") return probe.light_force;
  if (spring == "strong") return probe.strong_force;
  return probe.force;
}
std::vector<Stroke> strokes_on(const Board& board, const Rules& rules, const Target& target, const ProbeClass& probe,
                               bool main_side) {
  const Feature& feature = board.features[target.feature];
  const Mm protrusion = feature.component ? board.components[feature.component].protrusion : Mm{};
  std::vector<Stroke> out;
  for (const Contact contact : target.contacts)
    out.push_back(stroke_on(rules, probe, contact, HoleDiameter{feature.hole}, Protrusion{protrusion},
                            BoardThickness{board.thickness}, main_side));
  return out;
}
Mm longest_stroke(const Board& board, const Rules& rules, const Target& target, const ProbeClass& probe,
                  bool main_side) {
  Mm out;
  for (const Stroke& stroke : strokes_on(board, rules, target, probe, main_side)) out = std::max(out, stroke.nominal);
  return out;
}
Chance fault_on(const Rules& rules, const Target& target) {
  return rules.surfaces.at(target.surface).fault;
}

}  // namespace teasel
