#include "teasel/access/travel.h"

#include <cmath>

#include "teasel/enums.h"
#include "teasel/units.h"

namespace teasel {

namespace {
constexpr Words<Contact> kContacts{"flat land", "soldered land", "lead", "open hole"};
}  // namespace

const char* to_string(Contact contact) {
  return kContacts[contact];
}

Mm stacked(const std::vector<Mm>& tolerances, bool worst_case) {
  double sum = 0;
  for (const Mm tolerance : tolerances) sum += worst_case ? std::abs(tolerance.v) : tolerance.v * tolerance.v;
  return Mm{worst_case ? sum : std::sqrt(sum)};
}

Mm spear_depth(HoleDiameter hole, Degrees included_angle) {
  return Mm{hole.mm.v / 2 / std::tan(included_angle.v * 3.14159265358979323846 / 360)};
}

Stroke stroke_on(const Rules& rules, const ProbeClass& probe, Contact contact, HoleDiameter hole, Protrusion protrusion,
                 BoardThickness thickness, bool main_side) {
  const TravelRules& travel = rules.travel;
  Stroke stroke;
  stroke.contact = contact;
  stroke.parts = {{"set height of the receptacle", travel.set_height_tolerance, probe.working_travel},
                  {"length of the probe", travel.probe_length_tolerance, {}},
                  {"plates, spacers and stops", travel.support_tolerance, {}}};
  if (!main_side) stroke.parts.push_back({"thickness of the board", travel.thickness_tolerance * thickness.mm, {}});
  switch (contact) {
    case Contact::flat: break;
    case Contact::soldered:
      stroke.parts.push_back({"height of the solder", travel.solder_height, travel.solder_height});
      break;
    case Contact::lead: stroke.parts.push_back({"protrusion of the lead", travel.lead_tolerance, protrusion.mm}); break;
    case Contact::open_hole:
      stroke.parts.push_back({"depth of the cone in the hole", {}, Mm{} - spear_depth(hole, probe.spear_angle)});
      break;
  }
  std::vector<Mm> tolerances;
  for (const StrokePart& part : stroke.parts) {
    tolerances.push_back(part.tolerance);
    stroke.nominal += part.adds;
  }
  stroke.tolerance = stacked(tolerances, travel.worst_case);
  return stroke;
}

std::string chain_text(const Stroke& stroke) {
  std::string out;
  for (const StrokePart& part : stroke.parts) {
    if (part.adds == Mm{}) continue;
    const bool less = part.adds < Mm{};
    out += (out.empty() ? "" : less ? " - " : " + ") + fixed(std::abs(part.adds.v), 2) + " " + part.name;
  }
  return out;
}

Mm clearance_in_hole(const Rules& rules, const ProbeClass& a, const ProbeClass& b, HoleDiameter hole,
                     BoardThickness thickness) {
  const Mm least = (1 - rules.travel.thickness_tolerance) * thickness.mm;
  return least - spear_depth(hole, a.spear_angle) - spear_depth(hole, b.spear_angle);
}

}  // namespace teasel
