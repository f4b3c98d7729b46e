// Boundary scan of one board: the state while descriptions are bound. Binding and cover are in boundary_scan.cpp, the
// chain in scan_chain.cpp.
#pragma once
#include <map>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "series.h"
#include "teasel/interfaces/boundary_scan.h"

namespace teasel {

/// A pin of a device with what its cells do, all of them together.
struct CellPin {
  DeviceId device;
  std::string signal, pin;
  FeatureId feature;
  bool drives = false, one_level = false, always = false, observes = false;
};

class ScanBinder {
 public:
  ScanBinder(const Board& board, const Job& job, const Sources& sources, const InterfaceTable& table,
             const InterfaceSet& set, Diagnostics& diagnostics)
      : board_(board),
        job_(job),
        sources_(sources),
        table_(table),
        set_(set),
        diagnostics_(diagnostics),
        hangs_(board),
        group_(board.nets.size()) {
    for (const FeatureId id : board.features.ids())
      if (const Feature& feature = board.features[id]; feature.component)
        feature_.emplace(std::pair(feature.component, feature.pin), id);
  }
  BoundaryScan run();

 private:
  // boundary_scan.cpp: descriptions to components, nets over series parts, what the cells reach
  void bind();
  void bind(std::size_t source, ComponentId component);
  std::pair<std::string, double> best_package(const formats::BsdlDevice& dev, ComponentId component,
                                              const std::string& wanted) const;
  FeatureId feature_of(const formats::BsdlDevice& dev, const std::string& package, ComponentId component,
                       const std::string& signal) const;
  void join_over_series();
  bool joins(const TwoPole& resistor) const;
  void cover();
  void cover(NetId group, const std::vector<CellPin>& pins);
  void rank(NetId net, ScanCover cover, const CellPin* driver, const CellPin* observer);
  void out_of_sight(DeviceId device);
  std::vector<CellPin> cell_pins(DeviceId device) const;
  std::vector<NetId> path(NetId from, NetId to) const;
  void report_faults();

  // scan_chain.cpp: the order of the devices, where it is broken, what must hold
  void chains();
  void start(DeviceId first);
  void follow(ScanChain& chain);
  void ends(ScanChain& chain);
  void common_lines(ScanChain& chain);
  void between(ScanChain& before, ScanChain& after, const std::set<ComponentId>& bound);
  void conditions(ScanChain& chain);
  void test_reset(ScanChain& chain);
  struct Held {
    std::string text;  ///< ", tied to GND"
    NetId rail;        ///< that it is tied or pulled to
  };
  Held held(ScanChain& chain, NetId net);
  std::string hold(ScanChain& chain, DeviceId device, const formats::BsdlCompliance& condition, std::size_t k);

  // used by both
  NetId find(NetId net) { return group_[net] == net ? net : group_[net] = find(group_[net]); }
  NetId net_of(FeatureId feature) const { return feature ? board_.features[feature].net : NetId{}; }
  NetId group_of(FeatureId feature) { return net_of(feature) ? find(net_of(feature)) : NetId{}; }
  /// A pin that leads nowhere: missing, on no net, or alone on its net.
  bool is_alone(FeatureId feature) const { return !net_of(feature) || board_.nets[net_of(feature)].unconnected; }
  std::string place_of(FeatureId feature) const {
    const Feature& pad = board_.features[feature];
    return pad.name + " at (" + fixed(pad.at.x, 2) + ", " + fixed(pad.at.y, 2) + ")";
  }
  /// " (U1-3 at (1.00, 2.00))" where the pin is on the board.
  std::string in_brackets(FeatureId feature) const { return feature ? " (" + place_of(feature) + ")" : ""; }
  const std::string& name(NetId net) const { return board_.nets[net].name; }
  const std::string& name(DeviceId device) const { return board_.components[out_.devices[device].component].name; }
  const formats::BsdlDevice& description(DeviceId device) const {
    return sources_.bsdl[static_cast<std::size_t>(out_.devices[device].source)];
  }
  bool is_rail(NetId net) const;
  Role role_of_rail(NetId net) const;

  const Board& board_;
  const Job& job_;
  const Sources& sources_;
  const InterfaceTable& table_;
  const InterfaceSet& set_;
  Diagnostics& diagnostics_;
  Hanging hangs_;
  Table<NetId, NetId> group_;
  Table<NetId, char> joined_;                ///< over a series part
  Table<NetId, std::vector<NetId>> joints_;  ///< nets behind one series part
  std::map<std::pair<ComponentId, std::string>, FeatureId> feature_;
  BoundaryScan out_;
};

}  // namespace teasel
