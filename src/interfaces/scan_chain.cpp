// The scan chain: in which order the devices follow one another, where the chain is broken, and what the board or the
// fixture must hold for the test.
#include <algorithm>

#include "scan_binder.h"

namespace teasel {

using formats::BsdlDevice;

void ScanBinder::follow(ScanChain& chain) {
  for (;;) {
    const ScanDevice& last = out_.devices[chain.devices.back()];
    const NetId group = group_of(last.tdo);
    if (!group) return;
    DeviceId next;
    int several = 0;
    for (const DeviceId device : out_.devices.ids())
      if (group_of(out_.devices[device].tdi) == group) {
        next = device;
        ++several;
      }
    if (several > 1) {
      chain.breaks.push_back("TDO of " + name(chain.devices.back()) + " (" + place_of(last.tdo) +
                             ") leads to the TDI of several devices");
      return;
    }
    if (!next) return;
    if (out_.devices[next].chain) {
      chain.breaks.push_back("the chain runs in a circle at " + name(next));
      return;
    }
    out_.devices[next].chain = out_.devices[chain.devices[0]].chain;
    chain.devices.push_back(next);
  }
}

void ScanBinder::common_lines(ScanChain& chain) {
  struct Line {
    std::string what;
    FeatureId ScanDevice::*pin;
    NetId ScanChain::*net;
    bool needed;
  };
  for (const Line& line : {Line{"TCK", &ScanDevice::tck, &ScanChain::tck_net, true},
                           {"TMS", &ScanDevice::tms, &ScanChain::tms_net, true},
                           {"TRST", &ScanDevice::trst, &ScanChain::trst_net, false}})
    for (const DeviceId device : chain.devices) {
      const FeatureId pin = out_.devices[device].*(line.pin);
      const std::string text = line.what + " of " + name(device);
      if (is_alone(pin)) {
        if (line.needed) chain.breaks.push_back(text + " is not connected" + in_brackets(pin));
        continue;
      }
      if (is_rail(net_of(pin))) {
        if (line.needed) chain.breaks.push_back(text + in_brackets(pin) + " is tied to " + name(net_of(pin)));
        continue;
      }
      chain.port.push_back(net_of(pin));
      NetId& net = chain.*(line.net);
      if (!net)
        net = net_of(pin);
      else if (find(net) != group_of(pin))
        chain.conditions.push_back(text + " is on " + name(net_of(pin)) + ", that of the devices before it on " +
                                   name(net) + ". Drive both");
    }
}

/// How the board holds a pin; a net that it leaves to the fixture becomes part of the chain's port.
ScanBinder::Held ScanBinder::held(ScanChain& chain, NetId net) {
  if (!net) return {};
  if (is_rail(net)) return {", tied to " + name(net), net};
  Held found;
  for (const TwoPole& resistor : hangs_.resistors(net))
    if (const NetId rail = resistor.other(net); is_rail(rail))
      found = {", pulled to " + name(rail) + " by " + board_.components[resistor.component].name, rail};
  if (found.rail) return found;
  chain.port.push_back(net);
  return {", by a probe on " + name(net), {}};
}

/// What one pin must be held at before the test port works. No probe turns a pin round that the board ties to the other
/// level: that breaks the chain.
std::string ScanBinder::hold(ScanChain& chain, DeviceId device, const formats::BsdlCompliance& condition,
                             std::size_t k) {
  const std::string& signal = condition.signals[k];
  const BsdlDevice& dev = description(device);
  const std::string& package = out_.devices[device].package;
  std::string level;
  for (const std::string& pattern : condition.patterns)
    if (k < pattern.size()) level += (level.empty() ? "" : " or ") + std::string(1, pattern[k]);
  const Held held = this->held(chain, net_of(feature_of(dev, package, out_.devices[device].component, signal)));
  const char tied = held.rail && role_of_rail(held.rail) == Role::ground ? '0' : '1';
  const bool fits =
      !held.rail || std::any_of(condition.patterns.begin(), condition.patterns.end(), [&](const std::string& pattern) {
        return k < pattern.size() && (pattern[k] == 'X' || pattern[k] == tied);
      });
  if (!fits)
    chain.breaks.push_back(name(device) + " wants " + signal + " at " + level +
                           " before its test port works, and it is" + held.text.substr(1));
  const auto& map = dev.packages.at(package);
  const auto it = map.find(signal);
  const bool known = it != map.end() && !it->second.empty();
  return signal + (known ? " (pin " + it->second[0] + ")" : "") + " at " + level + held.text;
}

/// A reset of the test port that nothing holds keeps it from working.
void ScanBinder::test_reset(ScanChain& chain) {
  if (!chain.trst_net || !out_.devices[chain.devices[0]].trst) return;
  bool pulled = is_rail(chain.trst_net);
  for (const TwoPole& resistor : hangs_.resistors(chain.trst_net)) pulled |= is_rail(resistor.other(chain.trst_net));
  if (!pulled)
    chain.conditions.push_back("TRST (" + name(chain.trst_net) +
                               ") has no pull on the board, so the fixture drives it high");
}

void ScanBinder::conditions(ScanChain& chain) {
  for (const DeviceId device : chain.devices) {
    const BsdlDevice& dev = description(device);
    chain.instruction_bits += dev.instruction_length;
    chain.cells += dev.boundary_length;
    if (dev.tck_most > Hertz{}) chain.tck = chain.tck > Hertz{} ? std::min(chain.tck, dev.tck_most) : dev.tck_most;
    if (!out_.devices[device].fitted)
      chain.breaks.push_back(name(device) + " is left out of a build variant, where the chain is then open");
    if (!dev.opcodes.count("EXTEST")) chain.conditions.push_back(name(device) + " has no EXTEST");
    for (const auto& condition : dev.compliance) {
      std::string text;
      for (std::size_t k = 0; k < condition.signals.size(); ++k)
        text += (text.empty() ? "" : "; ") + hold(chain, device, condition, k);
      chain.conditions.push_back(name(device) + " needs these pins held before its test port works: " + text);
    }
    if (device == chain.devices[0]) test_reset(chain);
    if (!dev.design_warning.empty())
      chain.conditions.push_back(name(device) + ": " + dev.design_warning.substr(0, 300));
  }
}

void ScanBinder::start(DeviceId first) {
  ScanChain chain;
  out_.devices[first].chain = out_.chains.next();
  chain.devices = {first};
  follow(chain);
  out_.chains.push_back(std::move(chain));
}

/// Where the chain begins and ends on the board.
void ScanBinder::ends(ScanChain& chain) {
  const ScanDevice &first = out_.devices[chain.devices.front()], &last = out_.devices[chain.devices.back()];
  chain.tdi_net = net_of(first.tdi);
  chain.tdo_net = net_of(last.tdo);
  for (const FeatureId pin : {first.tdi, last.tdo}) {
    const NetId net = net_of(pin);
    if (net && is_rail(net))
      chain.breaks.push_back(place_of(pin) + " is tied to " + name(net));
    else if (net)
      chain.port.push_back(net);
  }
  if (is_alone(first.tdi)) {
    chain.breaks.push_back("TDI of " + name(chain.devices.front()) + in_brackets(first.tdi) + " is not connected");
    chain.tdi_net = {};
  }
  if (is_alone(last.tdo)) {
    chain.breaks.push_back("TDO of " + name(chain.devices.back()) + in_brackets(last.tdo) + " is not connected");
    chain.tdo_net = {};
  }
}

/// One chain ends where another begins: something between them has no description.
void ScanBinder::between(ScanChain& before, ScanChain& after, const std::set<ComponentId>& bound) {
  if (!before.tdo_net || !after.tdi_net) return;
  const auto devices_on = [&](NetId net) {
    std::set<ComponentId> parts;
    for (const NetId other : board_.nets.ids())
      if (find(other) == find(net))
        for (const ComponentId part : hangs_.devices(other))
          if (!bound.count(part)) parts.insert(part);
    return parts;
  };
  const std::set<ComponentId> on_before = devices_on(before.tdo_net);
  std::set<ComponentId> both;
  for (const ComponentId part : devices_on(after.tdi_net))
    if (on_before.count(part)) both.insert(part);
  if (both.empty()) return;
  std::string parts;
  for (const ComponentId part : both) parts += (parts.empty() ? "" : ", ") + board_.components[part].name;
  const bool plug = std::all_of(both.begin(), both.end(), [&](ComponentId part) { return hangs_.is_connector(part); });
  const std::string text =
      "between " + name(before.devices.back()) + " (TDO, " + place_of(out_.devices[before.devices.back()].tdo) +
      ") and " + name(after.devices.front()) + " (TDI) the chain runs through " + parts +
      (plug ? ", a connector. Join its pins, or scan the parts one by one" : ", for which no description is given");
  (plug ? before.conditions : before.breaks).push_back(text);
}

void ScanBinder::chains() {
  std::set<ComponentId> bound;
  for (const ScanDevice& device : out_.devices) bound.insert(device.component);
  for (const DeviceId device : out_.devices.ids()) {
    const NetId group = group_of(out_.devices[device].tdi);
    const bool fed = group && std::any_of(out_.devices.begin(), out_.devices.end(),
                                          [&](const ScanDevice& other) { return group_of(other.tdo) == group; });
    if (!fed && !out_.devices[device].chain) start(device);
  }
  for (const DeviceId device : out_.devices.ids())
    if (!out_.devices[device].chain) {
      start(device);
      out_.chains.back().breaks.push_back("the chain has no beginning: the TDI of " + name(device) +
                                          " comes from a device behind it");
    }
  for (ScanChain& chain : out_.chains) {
    ends(chain);
    common_lines(chain);
  }
  for (ScanChain& before : out_.chains)
    for (ScanChain& after : out_.chains)
      if (&before != &after) between(before, after, bound);
  for (ScanChain& chain : out_.chains) conditions(chain);
}

}  // namespace teasel
