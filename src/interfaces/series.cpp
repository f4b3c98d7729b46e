#include "series.h"

#include <algorithm>
#include <map>

namespace teasel {

namespace {
std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}
bool one_of(const std::string& s, std::initializer_list<const char*> list) {
  return std::any_of(list.begin(), list.end(), [&](const char* x) { return s == x; });
}
}  // namespace

Hanging::Hanging(const Board& b) : b_(b), resistors_(b.nets.size()), capacitors_(b.nets.size()) {
  for (std::size_t i = 0; i < b.components.size(); ++i) {
    const Component& c = b.components[i];
    std::set<int> nets;
    std::set<std::string> pins;
    for (const int f : c.features) {
      nets.insert(b.features[at(f)].net);
      pins.insert(b.features[at(f)].pin);
    }
    if (nets.size() != 2 || pins.size() != 2 || *nets.begin() < 0 || !c.fitted) continue;
    const TwoPole t{static_cast<int>(i), *nets.begin(), *nets.rbegin()};
    const std::string letters = reference_letters(c.name);
    // Beads and links pass slow signals as resistors do.
    if (one_of(letters, {"R", "FB", "L", "JP", "LK", "W", "BEAD", "FL", "RS"}))
      for (const int n : nets) resistors_[at(n)].push_back(t);
    else if (one_of(letters, {"C", "CP", "CE", "EC"}))
      for (const int n : nets) capacitors_[at(n)].push_back(t);
  }
}

int Hanging::capacitors(int net) const {
  return static_cast<int>(capacitors_[at(net)].size());
}
int Hanging::capacitors_to(int net, const std::set<int>& others) const {
  return static_cast<int>(std::count_if(capacitors_[at(net)].begin(), capacitors_[at(net)].end(),
                                        [&](const TwoPole& t) { return others.count(t.other(net)) > 0; }));
}

std::vector<int> Hanging::devices(int net) const {
  std::set<int> out;
  for (const int f : b_.nets[at(net)].features) {
    const int c = b_.features[at(f)].component;
    if (c < 0 || b_.components[at(c)].cover || !b_.components[at(c)].fitted) continue;
    const std::string letters = reference_letters(b_.components[at(c)].name);
    if (!one_of(letters,
                {"R", "C", "FB", "L", "TP", "D", "RN", "RP", "CP", "FL", "CR", "FID", "MH", "H", "TST", "CN_TP"}))
      out.insert(c);
  }
  return {out.begin(), out.end()};
}

bool Hanging::is_connector(int c) const {
  return one_of(reference_letters(b_.components[at(c)].name),
                {"J", "P", "X", "CN", "CON", "CONN", "JP", "SK", "H", "HDR", "PL"});
}

namespace {
/// Which of the two nets of a line to probe.
void choose_side(const Board& b, const InterfaceTable& t, const Hanging& hangs, const FoundInterface& f,
                 InterfaceNet& here, InterfaceNet& there) {
  auto what = [&](const std::vector<int>& list, bool connector) {
    return std::count_if(list.begin(), list.end(), [&](int c) { return hangs.is_connector(c) == connector; });
  };
  const auto a = hangs.devices(here.net), c = hangs.devices(there.net);
  const auto ics_a = what(a, false), ics_c = what(c, false), plugs_a = what(a, true), plugs_c = what(c, true);
  const std::string part = b.components[at(here.series)].name;
  auto say = [&](bool probe_here, const std::string& why) {
    here.probe_here = probe_here;
    there.probe_here = !probe_here;
    here.which_side = there.which_side = why;
  };
  const InterfaceLine& line = t.kinds[at(f.kind)].lines[at(here.line)];
  if (ics_a > 0 && ics_c > 0) {
    // The smaller part is what is programmed or measured: a memory, a sensor; behind the resistor the host cannot
    // fight.
    auto pins = [&](const std::vector<int>& list) {
      std::size_t n = 0;
      for (int i : list)
        if (!hangs.is_connector(i)) n = std::max(n, b.components[at(i)].features.size());
      return n;
    };
    const bool here_smaller = pins(a) <= pins(c);
    const std::vector<int>& side = here_smaller ? a : c;
    const auto small = std::find_if(side.begin(), side.end(), [&](int i) { return !hangs.is_connector(i); });
    if (line.drive == InterfaceLine::Drive::board)
      say(!here_smaller,
          "behind " + part + " as the receiver sees it; it is driven by " + b.components[at(*small)].name);
    else
      say(here_smaller, "at " + b.components[at(*small)].name + "; " + part +
                            " then keeps what drives the line on the other side from fighting the tester");
  } else if (plugs_a > 0 && plugs_c == 0)
    say(true, "at the connector, so that " + part + " is tested as well");
  else if (plugs_c > 0 && plugs_a == 0)
    say(false, "at the connector, so that " + part + " is tested as well");
  else if (ics_a > 0 && ics_c == 0)
    say(false, "behind " + part + ", away from the device, so that it is tested as well");
  else if (ics_c > 0 && ics_a == 0)
    say(true, "behind " + part + ", away from the device, so that it is tested as well");
  else
    say(true, "the side that bears the name");
}
}  // namespace

void follow_series(const Board& b, const InterfaceTable& t, const Hanging& hangs, InterfaceSet& set,
                   std::vector<bool>& taken) {
  std::map<int, std::pair<std::size_t, std::size_t>> place;  // net to interface, part
  for (std::size_t f = 0; f < set.found.size(); ++f)
    for (std::size_t n = 0; n < set.found[f].nets.size(); ++n) place[set.found[f].nets[n].net] = {f, n};
  for (std::size_t f = 0; f < set.found.size(); ++f) {
    const InterfaceKind& kind = t.kinds[at(set.found[f].kind)];
    if (kind.pairs || kind.role == Role::power || kind.role == Role::ground || kind.role == Role::do_not_touch)
      continue;
    const std::size_t own = set.found[f].nets.size();
    for (std::size_t n = 0; n < own; ++n) {
      if (set.found[f].nets[n].series >= 0) continue;
      const int net = set.found[f].nets[n].net;
      if (kind.lines[at(set.found[f].nets[n].line)].role) continue;  // a port's supply is no line
      for (const TwoPole& r : hangs.resistors(net)) {
        const int other = r.other(net);
        const Component& part = b.components[at(r.component)];
        const auto ohms = ohms_in(part.value);
        if (ohms && *ohms > t.series_most) continue;
        const std::string value = part.value.empty() ? ", value not known" : ", " + part.value;
        const auto it = place.find(other);
        if (it != place.end()) {
          // Both sides bear names of the same line: one line in two pieces.
          FoundInterface& g = set.found[it->second.first];
          InterfaceNet &x = set.found[f].nets[n], &y = g.nets[it->second.second];
          if (g.kind != set.found[f].kind || x.line != y.line || y.series >= 0) continue;
          x.series = y.series = r.component;
          x.other_side = other;
          y.other_side = net;
          x.evidence.push_back("goes on as " + b.nets[at(other)].name + " behind " + part.name + value);
          y.evidence.push_back("goes on as " + b.nets[at(net)].name + " behind " + part.name + value);
          choose_side(b, t, hangs, set.found[f], x, y);
          break;
        }
        if (taken[at(other)] || b.nets[at(other)].unconnected || b.nets[at(other)].pins > t.series_pins ||
            b.nets[at(other)].pins < 2)
          continue;
        InterfaceNet y;
        y.line = set.found[f].nets[n].line;
        y.net = other;
        y.behind = true;
        y.confidence = ohms ? Confidence::fair : Confidence::weak;
        y.evidence = {"behind " + part.name + " of " + b.nets[at(net)].name + value};
        InterfaceNet& x = set.found[f].nets[n];
        x.series = y.series = r.component;
        x.other_side = other;
        y.other_side = net;
        x.evidence.push_back("goes on behind " + part.name + value);
        choose_side(b, t, hangs, set.found[f], x, y);
        taken[at(other)] = true;
        place[other] = {f, set.found[f].nets.size()};
        set.found[f].nets.push_back(std::move(y));
        break;
      }
    }
  }
}

}  // namespace teasel
