// Boards in memory for tests of interfaces: components, pins and nets without places.
#pragma once
#include <algorithm>
#include <map>
#include <set>

#include "teasel/interfaces/boundary_scan.h"

namespace teasel::testing {

class NetBoard {
 public:
  Board b;
  Job job;
  Sources sources;
  Diagnostics d;
  InterfaceTable table = read();

  /// Joins pins ("U1.3") to a net.
  NetBoard& net(const std::string& name, const std::vector<std::string>& pins) {
    const int n = static_cast<int>(b.nets.size());
    Net net;
    net.name = name, net.pins = static_cast<int>(pins.size());
    for (const std::string& p : pins) {
      const std::string part = p.substr(0, p.find('.')), pin = p.substr(p.find('.') + 1);
      auto [it, fresh] = parts_.emplace(part, static_cast<int>(b.components.size()));
      if (fresh) b.components.emplace_back().name = part;
      Feature f;
      f.name = part + "-" + pin, f.pin = pin, f.component = it->second, f.net = n,
      f.at = {1.0 * static_cast<double>(b.features.size()), 2};
      net.features.push_back(static_cast<int>(b.features.size()));
      b.components[static_cast<std::size_t>(it->second)].features.push_back(static_cast<int>(b.features.size()));
      b.features.push_back(f);
    }
    b.nets.push_back(net);
    return *this;
  }
  NetBoard& value(const std::string& part, const std::string& v) {
    b.components[static_cast<std::size_t>(parts_.at(part))].value = v;
    return *this;
  }
  /// Pins 1 to n that no net has: unconnected.
  NetBoard& pins(const std::string& part, int n) {
    const int c = parts_.at(part);
    for (int i = 1; i <= n; ++i) {
      const std::string pin = std::to_string(i);
      if (std::any_of(b.features.begin(), b.features.end(),
                      [&](const Feature& f) { return f.component == c && f.pin == pin; }))
        continue;
      Feature f;
      f.name = part + "-" + pin, f.pin = pin, f.component = c;
      b.components[static_cast<std::size_t>(c)].features.push_back(static_cast<int>(b.features.size()));
      b.features.push_back(f);
    }
    return *this;
  }
  InterfaceSet recognised() { return recognise_interfaces(b, job, table, d); }
  int id(const std::string& net) const {
    for (std::size_t i = 0; i < b.nets.size(); ++i)
      if (b.nets[i].name == net) return static_cast<int>(i);
    throw std::runtime_error("no net " + net);
  }
  /// "1149.1 TCK" for a net, or nothing.
  std::string role(const InterfaceSet& s, const std::string& net) const {
    const InterfaceNet* p = s.part_of(id(net));
    if (!p) return {};
    const InterfaceKind& k = table.kinds[static_cast<std::size_t>(
        s.found[static_cast<std::size_t>(s.of_net[static_cast<std::size_t>(id(net))])].kind)];
    return k.name + " " + k.lines[static_cast<std::size_t>(p->line)].name;
  }
  const FoundInterface& of(const InterfaceSet& s, const std::string& net) const {
    return s.found.at(static_cast<std::size_t>(s.of_net[static_cast<std::size_t>(id(net))]));
  }

 private:
  static InterfaceTable read() {
    Diagnostics d;
    return read_interfaces(*shipped("interfaces", "standard"), "interfaces", d);
  }
  std::map<std::string, int> parts_;
};

}  // namespace teasel::testing
