#include "teasel/interfaces/boundary_scan.h"

#include <algorithm>
#include <map>
#include <numeric>
#include <set>

#include "series.h"

namespace teasel {

namespace {
using formats::BsdlCell;
using formats::BsdlDevice;
using formats::BsdlMode;

constexpr double kPinsMet =
    0.95;  // share of a package's pins that the component must have (common practice, no source)
std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}

struct CellPin {
  int device{};
  std::string signal, pin;
  int feature = -1;
  bool drives = false, one_level = false, always = false, observes = false;
};

class Binder {
 public:
  Binder(const Board& b, const Job& job, const Sources& s, const InterfaceTable& t, const InterfaceSet& set,
         Diagnostics& d)
      : b_(b), job_(job), s_(s), t_(t), set_(set), d_(d), hangs_(b), group_(b.nets.size()) {
    for (std::size_t i = 0; i < b.features.size(); ++i)
      if (const Feature& f = b.features[i]; f.component >= 0)
        feature_.emplace(std::pair(f.component, f.pin), static_cast<int>(i));
  }
  BoundaryScan run();

 private:
  void bind();
  void bind(std::size_t source, int component);
  std::pair<std::string, double> best_package(const BsdlDevice& dev, int component, const std::string& wanted) const;
  void join_over_series();
  int find(int n) { return group_[at(n)] == n ? n : group_[at(n)] = find(group_[at(n)]); }
  void chains();
  void follow(ScanChain& chain);
  void common_lines(ScanChain& chain);
  void conditions(ScanChain& chain);
  void cover();
  std::vector<CellPin> cell_pins(int device) const;
  std::vector<int> path(int from, int to) const;
  int net_of(int feature) const { return feature < 0 ? -1 : b_.features[at(feature)].net; }
  int group_of(int feature) { return net_of(feature) < 0 ? -1 : find(net_of(feature)); }
  std::string place_of(int feature) const {
    const Feature& f = b_.features[at(feature)];
    return f.name + " at (" + fixed(f.at.x, 2) + ", " + fixed(f.at.y, 2) + ")";
  }
  const std::string& name(int device) const { return b_.components[at(out_.devices[at(device)].component)].name; }
  const BsdlDevice& description(int device) const { return s_.bsdl[at(out_.devices[at(device)].source)]; }
  bool is_rail(int net) const;
  Role role_of_rail(int net) const;

  const Board& b_;
  const Job& job_;
  const Sources& s_;
  const InterfaceTable& t_;
  const InterfaceSet& set_;
  Diagnostics& d_;
  Hanging hangs_;
  std::vector<int> group_;
  std::vector<bool> joined_;              ///< by net: over a series part
  std::vector<std::vector<int>> joints_;  ///< by net: those behind one series part
  std::map<std::pair<int, std::string>, int> feature_;
  BoundaryScan out_;
};

Role Binder::role_of_rail(int net) const {
  const int k = set_.kind_of(net);
  return k < 0 ? Role::functional : t_.kinds[at(k)].role;
}
bool Binder::is_rail(int net) const {
  const Role r = role_of_rail(net);
  return r == Role::power || r == Role::ground;
}

/// The package whose pins are the component's, neither fewer nor more; of equals the one with most pins.
std::pair<std::string, double> Binder::best_package(const BsdlDevice& dev, int component,
                                                    const std::string& wanted) const {
  std::set<std::string> has;
  for (const int f : b_.components[at(component)].features) has.insert(b_.features[at(f)].pin);
  std::pair<std::string, double> best{{}, -1};
  std::size_t most = 0;
  for (const auto& [package, map] : dev.packages) {
    if (!wanted.empty() && package != wanted) continue;
    std::set<std::string> pins;
    for (const auto& [signal, list] : map)
      for (const std::string& pin : list)
        if (pin.rfind("NC", 0) != 0 && pin.rfind("OPEN", 0) != 0) pins.insert(pin);
    const auto met = static_cast<std::size_t>(
        std::count_if(pins.begin(), pins.end(), [&](const std::string& p) { return has.count(p) > 0; }));
    // Thermal pads and mounting tabs stand in no description: a few pins more than it are no other package.
    const std::size_t all = std::max(pins.size(), has.size() > 2 ? has.size() - 2 : has.size());
    const double share = all ? static_cast<double>(met) / static_cast<double>(all) : 0;
    if (share > best.second || (share == best.second && pins.size() > most)) {
      best = {package, share};
      most = pins.size();
    }
  }
  return best;
}

void Binder::bind(std::size_t source, int component) {
  const BsdlInput& in = job_.bsdl[source];
  const BsdlDevice& dev = s_.bsdl[source];
  const Component& c = b_.components[at(component)];
  const std::string wanted = upper_case(in.package);
  std::string all;
  for (const auto& [p, map] : dev.packages) all += (all.empty() ? "" : ", ") + p;
  if (!wanted.empty() && !dev.packages.count(wanted))
    return d_.error("bsdl-package", in.place, "the description has no such package", wanted, all, "choose one of them");
  const auto [package, share] = best_package(dev, component, wanted);
  if (share < kPinsMet) {
    const auto any = best_package(dev, component, {});
    return d_.error("bsdl-pins", in.place, "the pins of the description are not those of the component",
                    c.name + ": " + fixed(100 * share, 0) + " % of the pins of package " + package +
                        " are on the board" +
                        (any.first != package ? "; of " + any.first + " " + fixed(100 * any.second, 0) + " %" : ""),
                    "95 % or more", "name the right component, file or package (" + all + ")");
  }
  for (const ScanDevice& x : out_.devices)
    if (x.component == component)
      return d_.error("bsdl-twice", in.place, "two descriptions are bound to one component", c.name, {},
                      "bind one of them");
  ScanDevice x;
  x.component = component;
  x.source = static_cast<int>(source);
  x.package = package;
  x.pins_met = share;
  x.fitted = c.always_fitted;
  const auto& map = dev.packages.at(package);
  auto feature = [&](const std::string& signal) {
    const auto it = map.find(signal);
    if (signal.empty() || it == map.end() || it->second.empty()) return -1;
    const auto f = feature_.find({component, it->second[0]});
    return f == feature_.end() ? -1 : f->second;
  };
  x.tdi = feature(dev.tdi);
  x.tdo = feature(dev.tdo);
  x.tms = feature(dev.tms);
  x.tck = feature(dev.tck);
  x.trst = feature(dev.trst);
  out_.devices.push_back(x);
}

void Binder::bind() {
  for (std::size_t i = 0; i < job_.bsdl.size(); ++i) {
    std::size_t fits = 0;
    for (std::size_t c = 0; c < b_.components.size(); ++c) {
      if (!glob_match(job_.bsdl[i].component, b_.components[c].name)) continue;
      ++fits;
      if (b_.components[c].fitted)
        bind(i, static_cast<int>(c));
      else
        d_.note("bsdl-not-fitted", job_.bsdl[i].place,
                "a component with a boundary-scan description is not fitted; it takes no part in the chain",
                b_.components[c].name, {});
    }
    if (fits == 0)
      d_.error("bsdl-component", job_.bsdl[i].place,
               "no component fits the one that a boundary-scan description is bound to", job_.bsdl[i].component, {},
               "name a component of the board");
  }
  std::sort(out_.devices.begin(), out_.devices.end(), [&](const ScanDevice& x, const ScanDevice& y) {
    return b_.components[at(x.component)].name < b_.components[at(y.component)].name;
  });
}

/// Nets on both sides of a small series part are one to a boundary-scan test.
void Binder::join_over_series() {
  std::iota(group_.begin(), group_.end(), 0);
  joined_.assign(b_.nets.size(), false);
  joints_.assign(b_.nets.size(), {});
  for (std::size_t n = 0; n < b_.nets.size(); ++n) {
    if (is_rail(static_cast<int>(n)) || b_.nets[n].unconnected) continue;
    for (const TwoPole& r : hangs_.resistors(static_cast<int>(n))) {
      const int other = r.other(static_cast<int>(n));
      if (other < static_cast<int>(n) || is_rail(other) || b_.nets[at(other)].unconnected) continue;
      // A part that may be open, or of no known value, joins nothing: what hangs behind it would be claimed tested.
      const Component& part = b_.components[at(r.component)];
      const std::string letters = reference_letters(part.name);
      const auto ohms = ohms_in(part.value);
      const bool coil = letters == "L" || letters == "FB" || letters == "BEAD" || letters == "FL";
      if (!part.always_fitted ||
          !(coil ? !part.value.empty() : (letters == "R" || letters == "RS") && ohms && *ohms <= t_.series_most))
        continue;
      joints_[n].push_back(other);
      joints_[at(other)].push_back(static_cast<int>(n));
      const int a = find(static_cast<int>(n)), c = find(other);
      group_[at(std::max(a, c))] = std::min(a, c);
      joined_[n] = joined_[at(other)] = true;
    }
  }
}

void Binder::follow(ScanChain& chain) {
  for (;;) {
    const ScanDevice& last = out_.devices[at(chain.devices.back())];
    const int g = group_of(last.tdo);
    if (g < 0) return;
    int next = -1, several = 0;
    for (std::size_t i = 0; i < out_.devices.size(); ++i)
      if (group_of(out_.devices[i].tdi) == g) {
        next = static_cast<int>(i);
        ++several;
      }
    if (several > 1) {
      chain.breaks.push_back("TDO of " + name(chain.devices.back()) + " (" + place_of(last.tdo) +
                             ") leads to the TDI of several devices");
      return void();
    }
    if (next < 0) return;
    if (out_.devices[at(next)].chain >= 0) {
      chain.breaks.push_back("the chain runs in a circle at " + name(next));
      return void();
    }
    out_.devices[at(next)].chain = out_.devices[at(chain.devices[0])].chain;
    chain.devices.push_back(next);
  }
}

void Binder::common_lines(ScanChain& chain) {
  struct Line {
    const char* what;
    int ScanDevice::*pin;
    int ScanChain::*net;
    bool needed;
  };
  for (const Line& l : {Line{"TCK", &ScanDevice::tck, &ScanChain::tck_net, true},
                        {"TMS", &ScanDevice::tms, &ScanChain::tms_net, true},
                        {"TRST", &ScanDevice::trst, &ScanChain::trst_net, false}})
    for (const int i : chain.devices) {
      const ScanDevice& x = out_.devices[at(i)];
      const int pin = x.*(l.pin);
      if (pin < 0 && !l.needed) continue;
      if (pin < 0 || net_of(pin) < 0 || b_.nets[at(net_of(pin))].unconnected) {
        if (l.needed)
          chain.breaks.push_back(std::string(l.what) + " of " + name(i) + " is not connected" +
                                 (pin >= 0 ? " (" + place_of(pin) + ")" : ""));
        continue;
      }
      if (is_rail(net_of(pin))) {
        if (l.needed)
          chain.breaks.push_back(std::string(l.what) + " of " + name(i) + " (" + place_of(pin) + ") is tied to " +
                                 b_.nets[at(net_of(pin))].name);
        continue;
      }
      chain.port.push_back(net_of(pin));
      int& net = chain.*(l.net);
      if (net < 0)
        net = net_of(pin);
      else if (find(net) != group_of(pin))
        chain.conditions.push_back(std::string(l.what) + " of " + name(i) + " is on " + b_.nets[at(net_of(pin))].name +
                                   ", that of the devices before it on " + b_.nets[at(net)].name + ": drive both");
    }
}

void Binder::conditions(ScanChain& chain) {
  for (const int i : chain.devices) {
    const BsdlDevice& dev = description(i);
    const auto& map = dev.packages.at(out_.devices[at(i)].package);
    chain.instruction_bits += dev.instruction_length;
    chain.cells += dev.boundary_length;
    if (dev.tck_hz > 0) chain.tck_hz = chain.tck_hz > 0 ? std::min(chain.tck_hz, dev.tck_hz) : dev.tck_hz;
    if (!out_.devices[at(i)].fitted)
      chain.breaks.push_back(name(i) + " is left out of a build variant: there the chain is open");
    if (!dev.opcodes.count("EXTEST")) chain.conditions.push_back(name(i) + " has no EXTEST");
    for (const auto& c : dev.compliance) {
      std::string text;
      for (std::size_t k = 0; k < c.signals.size(); ++k) {
        const auto it = map.find(c.signals[k]);
        const auto f = it == map.end() || it->second.empty()
                           ? feature_.end()
                           : feature_.find({out_.devices[at(i)].component, it->second[0]});
        const int net = f == feature_.end() ? -1 : net_of(f->second);
        std::string level;
        for (const std::string& p : c.patterns)
          if (k < p.size()) level += (level.empty() ? "" : " or ") + std::string(1, p[k]);
        std::string held;
        int rail = net >= 0 && is_rail(net) ? net : -1;
        if (rail >= 0)
          held = ", tied to " + b_.nets[at(net)].name;
        else if (net >= 0) {
          for (const TwoPole& r : hangs_.resistors(net))
            if (is_rail(r.other(net))) {
              rail = r.other(net);
              held = ", pulled to " + b_.nets[at(rail)].name + " by " + b_.components[at(r.component)].name;
            }
          if (held.empty()) {
            held = ", by a probe on " + b_.nets[at(net)].name;
            chain.port.push_back(net);
          }
        }
        // What the board ties the wrong way no probe turns round without a fight.
        const bool low = rail >= 0 && role_of_rail(rail) == Role::ground;
        const bool fits = rail < 0 || std::any_of(c.patterns.begin(), c.patterns.end(), [&](const std::string& p) {
                            return k < p.size() && (p[k] == 'X' || p[k] == (low ? '0' : '1'));
                          });
        if (!fits)
          chain.breaks.push_back(name(i) + " wants " + c.signals[k] + " at " + level +
                                 " before its test port works, and it is" + held.substr(1));
        text += (text.empty() ? "" : "; ") + c.signals[k] +
                (it != map.end() && !it->second.empty() ? " (pin " + it->second[0] + ")" : "") + " at " + level + held;
      }
      chain.conditions.push_back(name(i) + " wants held before its test port works: " + text);
    }
    if (out_.devices[at(i)].trst >= 0 && chain.trst_net >= 0) {
      bool pulled = is_rail(chain.trst_net);
      for (const TwoPole& r : hangs_.resistors(chain.trst_net)) pulled |= is_rail(r.other(chain.trst_net));
      if (!pulled && i == chain.devices[0])
        chain.conditions.push_back("TRST (" + b_.nets[at(chain.trst_net)].name +
                                   ") has no pull on the board: the fixture drives it high");
    }
    if (!dev.design_warning.empty()) chain.conditions.push_back(name(i) + ": " + dev.design_warning.substr(0, 300));
  }
}

void Binder::chains() {
  std::set<int> bound;
  for (const ScanDevice& x : out_.devices) bound.insert(x.component);
  auto start = [&](int i) {
    ScanChain c;
    out_.devices[at(i)].chain = static_cast<int>(out_.chains.size());
    c.devices = {i};
    follow(c);
    out_.chains.push_back(std::move(c));
  };
  for (std::size_t i = 0; i < out_.devices.size(); ++i) {
    const int g = group_of(out_.devices[i].tdi);
    const bool fed = g >= 0 && std::any_of(out_.devices.begin(), out_.devices.end(),
                                           [&](const ScanDevice& x) { return group_of(x.tdo) == g; });
    if (!fed && out_.devices[i].chain < 0) start(static_cast<int>(i));
  }
  for (std::size_t i = 0; i < out_.devices.size(); ++i)
    if (out_.devices[i].chain < 0) {
      start(static_cast<int>(i));
      out_.chains.back().breaks.push_back("the chain has no beginning: the TDI of " + name(static_cast<int>(i)) +
                                          " comes from a device behind it");
    }
  for (ScanChain& c : out_.chains) {
    const ScanDevice &first = out_.devices[at(c.devices.front())], &last = out_.devices[at(c.devices.back())];
    c.tdi_net = net_of(first.tdi);
    c.tdo_net = net_of(last.tdo);
    for (const int pin : {first.tdi, last.tdo})
      if (net_of(pin) >= 0 && is_rail(net_of(pin)))
        c.breaks.push_back(place_of(pin) + " is tied to " + b_.nets[at(net_of(pin))].name);
      else if (net_of(pin) >= 0)
        c.port.push_back(net_of(pin));
    auto alone = [&](int feature) {
      return feature < 0 || net_of(feature) < 0 || b_.nets[at(net_of(feature))].unconnected;
    };
    if (alone(first.tdi)) {
      c.breaks.push_back("TDI of " + name(c.devices.front()) +
                         (first.tdi >= 0 ? " (" + place_of(first.tdi) + ")" : "") + " is not connected");
      c.tdi_net = -1;
    }
    if (alone(last.tdo)) {
      c.breaks.push_back("TDO of " + name(c.devices.back()) + (last.tdo >= 0 ? " (" + place_of(last.tdo) + ")" : "") +
                         " is not connected");
      c.tdo_net = -1;
    }
    common_lines(c);
  }
  // One chain ends where another begins: something between them has no description.
  for (ScanChain& a : out_.chains)
    for (ScanChain& z : out_.chains) {
      if (&a == &z || a.tdo_net < 0 || z.tdi_net < 0) continue;
      std::set<int> on_a, both;
      auto devices_on = [&](int net) {
        std::set<int> s;
        for (std::size_t n = 0; n < b_.nets.size(); ++n)
          if (find(static_cast<int>(n)) == find(net))
            for (const int c : hangs_.devices(static_cast<int>(n)))
              if (!bound.count(c)) s.insert(c);
        return s;
      };
      on_a = devices_on(a.tdo_net);
      for (const int c : devices_on(z.tdi_net))
        if (on_a.count(c)) both.insert(c);
      if (both.empty()) continue;
      std::string between;
      for (const int c : both) between += (between.empty() ? "" : ", ") + b_.components[at(c)].name;
      const bool plug = std::all_of(both.begin(), both.end(), [&](int c) { return hangs_.is_connector(c); });
      const std::string text =
          "between " + name(a.devices.back()) + " (TDO, " + place_of(out_.devices[at(a.devices.back())].tdo) +
          ") and " + name(z.devices.front()) + " (TDI) the chain runs through " + between +
          (plug ? ", a connector: join its pins, or scan the parts one by one" : ", for which no description is given");
      (plug ? a.conditions : a.breaks).push_back(text);
    }
  for (ScanChain& c : out_.chains) conditions(c);
}

std::vector<CellPin> Binder::cell_pins(int device) const {
  const BsdlDevice& dev = description(device);
  const ScanDevice& x = out_.devices[at(device)];
  std::map<std::string, CellPin> by_signal;
  for (const BsdlCell& c : dev.cells) {
    if (c.port.empty()) continue;
    CellPin& p = by_signal[c.port];
    // An output that always drives and has no control cell of another number cannot be turned off.
    if (c.drives()) {
      p.one_level = p.drives ? p.one_level && c.one_level() : c.one_level();
      p.always |= c.function == BsdlCell::Function::output2 && !c.one_level() && c.control < 0;
      p.drives = true;
    }
    p.observes |= c.observes();
  }
  std::vector<CellPin> out;
  const auto& map = dev.packages.at(x.package);
  for (auto& [signal, p] : by_signal) {
    const auto it = map.find(signal);
    if (it == map.end()) continue;
    for (const std::string& pin : it->second) {
      const auto f = feature_.find({x.component, pin});
      if (f == feature_.end()) continue;
      CellPin q = p;
      q.device = device;
      q.signal = signal;
      q.pin = pin;
      q.feature = f->second;
      out.push_back(std::move(q));
    }
  }
  return out;
}

/// Nets from one to the other over series parts, both included; the shortest way.
std::vector<int> Binder::path(int from, int to) const {
  std::map<int, int> came{{from, from}};
  std::vector<int> queue{from};
  for (std::size_t i = 0; i < queue.size() && !came.count(to); ++i)
    for (const int next : joints_[at(queue[i])])
      if (came.emplace(next, queue[i]).second) queue.push_back(next);
  std::vector<int> nets;
  if (!came.count(to)) return nets;
  for (int n = to;; n = came[n]) {
    nets.push_back(n);
    if (n == from) return nets;
  }
}

void Binder::cover() {
  out_.nets.assign(b_.nets.size(), {});
  std::map<int, std::vector<CellPin>> by_group;
  for (std::size_t i = 0; i < out_.devices.size(); ++i) {
    const ScanDevice& x = out_.devices[i];
    if (!x.fitted || !out_.chains[at(x.chain)].usable() || !description(static_cast<int>(i)).opcodes.count("EXTEST"))
      continue;
    for (CellPin& p : cell_pins(static_cast<int>(i)))
      if (const int g = group_of(p.feature); g >= 0 && !b_.nets[at(net_of(p.feature))].unconnected)
        by_group[g].push_back(std::move(p));
  }
  auto pin_name = [&](const CellPin& p) { return b_.features[at(p.feature)].name; };
  for (const auto& [g, pins] : by_group) {
    std::string always;
    for (const CellPin& p : pins)
      if (p.always) always += (always.empty() ? "" : " and ") + pin_name(p);
    if (std::count_if(pins.begin(), pins.end(), [](const CellPin& p) { return p.always; }) > 1)
      out_.conflicts.push_back("net " + b_.nets[at(g)].name + ": " + always + " always drive it during the test");
    auto rank = [&](int net, ScanCover c, const CellPin* d, const CellPin* o) {
      ScanNet& n = out_.nets[at(net)];
      if (is_rail(net) || c < n.cover || (c == n.cover && (!n.driver.empty() || !n.observer.empty()))) return;
      n.cover = c;
      n.driver = d ? pin_name(*d) : "";
      n.observer = o ? pin_name(*o) : "";
      n.chains = {d ? out_.devices[at(d->device)].chain : -1, o ? out_.devices[at(o->device)].chain : -1};
    };
    for (const CellPin& p : pins) {
      const int net = net_of(p.feature);
      if (p.observes && !p.drives) rank(net, ScanCover::observed, nullptr, &p);
      if (p.drives) rank(net, p.observes ? ScanCover::own_pin : ScanCover::driven, &p, p.observes ? &p : nullptr);
      // Of several nets in a row those between driver and observer are looked through, those beside them are not.
      if (p.drives)
        for (const CellPin& q : pins)
          if (p.feature != q.feature && q.observes)
            for (const int between : path(net, net_of(q.feature)))
              rank(between, p.one_level ? ScanCover::one_level : ScanCover::full, &p, &q);
    }
  }
  for (std::size_t n = 0; n < b_.nets.size(); ++n) out_.nets[n].through_series = joined_[n];
  // Pins that stay out of sight.
  for (std::size_t i = 0; i < out_.devices.size(); ++i) {
    const BsdlDevice& dev = description(static_cast<int>(i));
    const ScanDevice& x = out_.devices[i];
    std::set<std::string> observed;
    for (const BsdlCell& c : dev.cells)
      if (!c.port.empty() && c.observes()) observed.insert(c.port);
    for (const auto& [signal, list] : dev.packages.at(x.package)) {
      const formats::BsdlSignal* s = dev.signal(signal);
      if (!s || s->mode == BsdlMode::power || dev.is_tap(signal) || observed.count(signal)) continue;
      for (const std::string& pin : list) {
        const auto f = feature_.find({x.component, pin});
        if (f == feature_.end()) continue;
        const int net = net_of(f->second);
        if (net < 0 || b_.nets[at(net)].unconnected || is_rail(net)) continue;
        const ScanCover c = out_.nets[at(net)].cover;
        if (c == ScanCover::full && out_.nets[at(net)].driver == b_.features[at(f->second)].name)
          continue;  // seen from another pin
        std::string why = s->mode == BsdlMode::linkage
                              ? "no cell: linkage"
                              : "its cell drives and does not look, and no other pin's cell looks at it";
        if (!out_.chains[at(x.chain)].usable()) why = "the chain is broken";
        out_.unobservable.push_back({f->second, signal, why});
      }
    }
  }
  std::sort(out_.unobservable.begin(), out_.unobservable.end(),
            [](const ScanPin& p, const ScanPin& q) { return p.feature < q.feature; });
}

BoundaryScan Binder::run() {
  bind();
  if (d_.failed() || out_.devices.empty()) return std::move(out_);
  join_over_series();
  chains();
  cover();
  for (const ScanChain& c : out_.chains)
    for (const std::string& text : c.breaks)
      d_.warn("scan-chain-broken", {job_.file, 0, 0, "inputs.bsdl"}, "the boundary-scan chain is broken", text,
              "join it on the board or in the fixture; nets of its devices are not counted as tested");
  for (const std::string& text : out_.conflicts)
    d_.warn("scan-conflict", {job_.file, 0, 0, "inputs.bsdl"}, "two cells that cannot be turned off drive one net",
            text, "leave one of the devices in BYPASS");
  return std::move(out_);
}
}  // namespace

const char* to_string(ScanCover c) {
  static const char* names[] = {"no cell",          "observed only", "driven only",
                                "driving pin only", "one level",     "opens and shorts"};
  return names[static_cast<int>(c)];
}

BoundaryScan bind_boundary_scan(const Board& board, const Job& job, const Sources& sources, const InterfaceTable& table,
                                const InterfaceSet& interfaces, Diagnostics& d) {
  return Binder(board, job, sources, table, interfaces, d).run();
}

int save_probes(std::vector<Need>& needs, const Board& board, const BoundaryScan& scan, Diagnostics& d) {
  int saved = 0;
  if (!scan.used()) return 0;
  std::set<int> port;
  for (const ScanChain& c : scan.chains)
    if (c.usable()) port.insert(c.port.begin(), c.port.end());
  for (const Need& n : needs)
    if (port.count(n.net) && n.role == Role::do_not_touch) {
      d.warn("scan-port-banned", {}, "boundary scan saves no probes: a net that the chain needs is not to be touched",
             board.nets[at(n.net)].name + ": " + n.because, "lift that, or leave the probes where they are");
      return 0;
    }
  for (Need& n : needs) {
    if (port.count(n.net)) {
      n.wanted = std::max(n.wanted, 1);
      n.mandatory = true;
      if (n.role != Role::power && n.role != Role::ground) n.role = Role::programming;
      n.because += "; the probes saved on other nets rest on this line of the chain";
      continue;
    }
    const ScanNet& s = scan.nets[at(n.net)];
    if (s.cover != ScanCover::full || n.mandatory || n.wanted == 0 ||
        (n.role != Role::functional && n.role != Role::observe))
      continue;
    n.wanted = 0;
    ++saved;
    n.because = "no probe needed for opens and shorts: boundary scan drives " + s.driver + " and looks at " +
                s.observer + (s.through_series ? " (over a series part)" : "");
  }
  return saved;
}

}  // namespace teasel
