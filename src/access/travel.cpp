#include "teasel/access/travel.h"

#include <cmath>

namespace teasel {

const char* to_string(Contact c) {
  static const char* names[] = {"flat land", "soldered land", "lead", "open hole"};
  return names[static_cast<int>(c)];
}

double stacked(const std::vector<double>& tolerances, bool worst_case) {
  double sum = 0;
  for (const double t : tolerances) sum += worst_case ? std::abs(t) : t * t;
  return worst_case ? sum : std::sqrt(sum);
}

double spear_depth(double hole, Degrees angle) {
  return hole / 2 / std::tan(angle.v * 3.14159265358979323846 / 360);
}

Stroke stroke_on(const Rules& rules, const ProbeClass& probe, Contact contact, double hole, double protrusion,
                 double thickness, bool main_side) {
  const TravelRules& t = rules.travel;
  Stroke s;
  s.nominal = probe.working_travel.v;
  s.parts = {{"set height of the receptacle", t.set_height_tolerance.v},
             {"length of the probe", t.probe_length_tolerance.v},
             {"plates, spacers and stops", t.support_tolerance.v}};
  if (!main_side) s.parts.push_back({"thickness of the board", t.thickness_tolerance * thickness});
  switch (contact) {
    case Contact::flat: break;
    case Contact::soldered:
      s.nominal += t.solder_height.v;
      s.parts.push_back({"height of the solder", t.solder_height.v});
      break;
    case Contact::lead:
      s.nominal += protrusion;
      s.parts.push_back({"protrusion of the lead", t.lead_tolerance.v});
      break;
    case Contact::open_hole: s.nominal -= spear_depth(hole, probe.spear_angle); break;
  }
  std::vector<double> list;
  for (const StrokePart& p : s.parts) list.push_back(p.tolerance);
  s.tolerance = stacked(list, t.worst_case);
  return s;
}

double clearance_in_hole(const Rules& rules, const ProbeClass& a, const ProbeClass& b, double hole, double thickness) {
  const double least = thickness * (1 - rules.travel.thickness_tolerance);
  return least - spear_depth(hole, a.spear_angle) - spear_depth(hole, b.spear_angle);
}

}  // namespace teasel
