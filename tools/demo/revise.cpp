// The demo board's next revision, G: what layout engineers do between two releases.
#include <algorithm>
#include <stdexcept>

#include "design.h"

namespace demo {

namespace {
Pad& gold(Design& d, double x, double y) {
  for (Pad& p : d.pads)
    if (p.component.empty() && p.x == x && p.y == y) return p;
  throw std::logic_error("no gold pad there");
}
void remove_gold(Design& d, double x, double y) {
  gold(d, x, y);
  d.pads.erase(std::find_if(d.pads.begin(), d.pads.end(),
                            [&](const Pad& p) { return p.component.empty() && p.x == x && p.y == y; }));
}
void rename(Design& d, const std::string& from, const std::string& to) {
  for (auto* list : {&d.pads, &d.open_vias})
    for (Pad& p : *list)
      if (p.net == from) p.net = to;
}
Part& part(Design& d, const std::string& name) {
  const auto it = std::find_if(d.parts.begin(), d.parts.end(), [&](const Part& p) { return p.name == name; });
  if (it == d.parts.end()) throw std::logic_error("no part " + name);
  return *it;
}
void move(Design& d, const std::string& name, double dx, double dy) {
  Part& p = part(d, name);
  p.x += dx;
  p.y += dy;
  for (Pad& q : d.pads)
    if (q.component == name) {
      q.x += dx;
      q.y += dy;
    }
}
}  // namespace

Design next_revision(Design d) {
  // A gold pad shifted a little, so that the old hole still meets it; one shifted too far; one taken away; one new.
  gold(d, 64.5, 14).x += 0.04;
  gold(d, 74.5, 14).y += 2.5;
  remove_gold(d, 39, 8);
  Pad fresh = gold(d, 36, 8);
  fresh.x = 54;
  fresh.y = 9.5;
  fresh.net = "FLASH_SCK";
  d.pads.push_back(fresh);
  // A net under another name; a part taken away; a part moved; one that grew; one of another value.
  rename(d, "CHG_STAT", "CHARGER_STATE");
  d.parts.erase(std::find_if(d.parts.begin(), d.parts.end(), [](const Part& p) { return p.name == "C25"; }));
  d.pads.erase(std::remove_if(d.pads.begin(), d.pads.end(), [](const Pad& p) { return p.component == "C25"; }),
               d.pads.end());
  move(d, "C24", 0.5, 0);
  part(d, "L2").height = 5.2;
  part(d, "R92").value = "1k8";
  return d;
}

}  // namespace demo
