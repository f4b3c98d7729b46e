// What boundary scan does for a board: the order of the chain, where it is broken, which nets lie between cells.
#pragma once
#include <array>
#include <string>
#include <vector>

#include "teasel/interfaces.h"

namespace teasel {

struct ScanDevice;
struct ScanChain;
using DeviceId = Id<ScanDevice>;
using ChainId = Id<ScanChain>;
/// A component with a description of its cells.
struct ScanDevice {
  ComponentId component;
  int source = -1;                     ///< index into the sources' descriptions
  std::string package;                 ///< whose pin map fits
  double pins_met{};                   ///< share of its pins that the component has
  FeatureId tdi, tdo, tms, tck, trst;  ///< none: the pin is not on the board
  ChainId chain;
  bool fitted = true;  ///< in every build variant that counts
};

/// Devices from the board's TDI to its TDO.
struct ScanChain {
  std::vector<DeviceId> devices;  ///< in scan order
  NetId tdi_net, tdo_net, tck_net, tms_net, trst_net;
  std::vector<NetId> port;  ///< every net that the fixture drives or reads: ports of all devices, pins to be held
  std::vector<std::string> breaks;      ///< with the place
  std::vector<std::string> conditions;  ///< what must hold for the test to run
  int instruction_bits{}, cells{};
  Hertz tck;  ///< the slowest device's limit; 0: not stated
  [[nodiscard]] bool usable() const { return breaks.empty() && tdi_net && tdo_net && tck_net && tms_net; }
};

enum class ScanCover : std::uint8_t {
  none,       ///< no cell on it
  observed,   ///< cells look at it, none drives it
  driven,     ///< cells drive it, none looks at it
  own_pin,    ///< only the driving pin itself is looked at: shorts are found, an open to it is not
  one_level,  ///< driven to one level only, and looked at elsewhere: wants a pull on the board
  full        ///< driven on one pin and looked at on another: opens and shorts are found without a probe
};
const char* to_string(ScanCover cover);

struct ScanNet {
  ScanCover cover{};
  std::string driver, observer;   ///< pins
  bool through_series = false;    ///< joined over a small series part
  std::array<ChainId, 2> chains;  ///< of driver and observer
};

/// A pin of a bound device that no cell observes and no other pin's cells reach.
struct ScanPin {
  FeatureId feature;
  std::string signal, why;
};

struct BoundaryScan {
  Table<DeviceId, ScanDevice> devices;  ///< by component
  Table<ChainId, ScanChain> chains;
  Table<NetId, ScanNet> nets;
  std::vector<ScanPin> unobservable;
  std::vector<std::string> conflicts;  ///< nets that two cells always drive
  [[nodiscard]] bool used() const { return !devices.empty(); }
  /// Opens and shorts of the net are found without a probe.
  [[nodiscard]] bool needs_no_probe(NetId net) const { return used() && nets[net].cover == ScanCover::full; }
};

/// Binds the job's descriptions to components and follows the chain. A description whose pins are not those of the
/// component (less than 95 of 100) is an error, with the package that would fit. Source of what cells can do: IEEE Std
/// 1149.1.
BoundaryScan bind_boundary_scan(const Board& board, const Job& job, const Sources& sources, const InterfaceTable& table,
                                const InterfaceSet& interfaces, Diagnostics& diagnostics);

/// Takes back the probes of nets that boundary scan tests by itself, where the job asks for that; what the chain itself
/// needs becomes mandatory, and where that must not be touched nothing is saved. Returns how many nets lost their
/// probes.
int save_probes(Needs& needs, const Board& board, const BoundaryScan& scan, Diagnostics& diagnostics);

}  // namespace teasel
