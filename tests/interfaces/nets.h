// Boards in memory for tests of interfaces: components, pins and nets without places.
#pragma once
#include <algorithm>
#include <map>
#include <set>
#include <stdexcept>

#include "teasel/interfaces/boundary_scan.h"

namespace teasel::testing {

class NetBoard {
 public:
  Board board;
  Job job;
  Sources sources;
  Diagnostics diagnostics;
  InterfaceTable table = read();

  /// Joins pins ("U1.3") to a net.
  NetBoard& net(const std::string& name, const std::vector<std::string>& pins) {
    Net net;
    net.name = NetName{name};
    net.pins = static_cast<int>(pins.size());
    for (const std::string& place : pins) {
      const std::string part = place.substr(0, place.find('.'));
      const std::string pin = place.substr(place.find('.') + 1);
      const auto [it, fresh] = parts_.emplace(part, board.components.next());
      if (fresh) board.components.emplace_back().name = PartName{part};
      Feature feature = pin_of(it->second, pin);
      feature.net = board.nets.next();
      feature.at = {1.0 * static_cast<double>(board.features.size()), 2};
      net.features.push_back(add(feature));
    }
    board.nets.push_back(net);
    return *this;
  }
  /// One more pin on a net that is there.
  NetBoard& join(const std::string& net, const std::string& place) {
    const std::string part = place.substr(0, place.find('.'));
    const auto [it, fresh] = parts_.emplace(part, board.components.next());
    if (fresh) board.components.emplace_back().name = PartName{part};
    Feature feature = pin_of(it->second, place.substr(place.find('.') + 1));
    feature.net = id(net);
    feature.at = {1.0 * static_cast<double>(board.features.size()), 2};
    Net& joined = board.nets[feature.net];
    joined.features.push_back(add(feature));
    ++joined.pins;
    return *this;
  }
  NetBoard& value(const std::string& part, const std::string& text) {
    board.components[parts_.at(part)].value = text;
    return *this;
  }
  /// Pins 1 to n that no net has: unconnected.
  NetBoard& pins(const std::string& part, int count) {
    const ComponentId component = parts_.at(part);
    for (int i = 1; i <= count; ++i) {
      const std::string pin = std::to_string(i);
      if (std::any_of(board.features.begin(), board.features.end(),
                      [&](const Feature& feature) { return feature.component == component && feature.pin == pin; }))
        continue;
      add(pin_of(component, pin));
    }
    return *this;
  }
  /// Puts a feature on the board and into the list of its component.
  FeatureId add(const Feature& feature) {
    const FeatureId id = board.features.add(feature);
    board.components[feature.component].features.push_back(id);
    return id;
  }
  InterfaceSet recognised() { return recognise_interfaces(board, job, table, diagnostics); }
  NetId id(const std::string& net) const {
    for (const NetId i : board.nets.ids())
      if (board.nets[i].name == net) return i;
    throw std::runtime_error("no net " + net);
  }
  /// The need of a net.
  NeedId need(const std::string& net) const { return NeedId{id(net).index()}; }
  /// "1149.1 TCK" for a net, or nothing.
  std::string role(const InterfaceSet& set, const std::string& net) const {
    const InterfaceNet* part = set.part_of(id(net));
    if (!part) return {};
    const InterfaceKind& kind = table.kinds[of(set, net).kind];
    return kind.name + " " + kind.lines[part->line].name;
  }
  const FoundInterface& of(const InterfaceSet& set, const std::string& net) const {
    const FoundId found = set.of_net[id(net)];
    if (!set.found.has(found)) throw std::out_of_range(net + " is of no interface");
    return set.found[found];
  }

 private:
  static InterfaceTable read() {
    Diagnostics diagnostics;
    return read_interfaces(*shipped("interfaces", "standard"), "interfaces", diagnostics);
  }
  Feature pin_of(ComponentId component, const std::string& pin) const {
    Feature feature;
    feature.name = PadName{board.components[component].name + "-" + pin};
    feature.pin = pin;
    feature.component = component;
    return feature;
  }
  std::map<std::string, ComponentId> parts_;
};

}  // namespace teasel::testing
