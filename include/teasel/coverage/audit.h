// The audit: what the planned bed covers, by interface, pin, component, supply, side and build variant, with a score
// and a gate.
#pragma once
#include <string>
#include <vector>

#include "teasel/coverage.h"
#include "teasel/interfaces/boundary_scan.h"

namespace teasel {

/// Of so many, so many.
struct Share {
  int reached = 0, all = 0;
  [[nodiscard]] double percent() const { return all > 0 ? 100.0 * reached / all : 100; }
};

/// One interface of one board, as the bed reaches it.
struct InterfaceReach {
  FoundId found;
  PlaceId place;                     ///< board of a panel
  Share lines;                       ///< required lines with a probe; of kinds whose nets stand alone: their nets
  std::vector<std::string> lacking;  ///< lines without a probe, lines that the board lacks, ground, supply, reset
  bool usable = false;               ///< every required line and what it cannot work without has its probe
};

struct ComponentReach {
  ComponentId component;
  int nets = 0, reached = 0;  ///< nets of its pins; those with a probe
  bool two_pole = false;
  bool measurable = false;  ///< both ends have a probe
  bool guarded = false;     ///< and every parallel path has a point to guard at, or there is none
  std::string parallel;     ///< what lies in parallel without a guard point
  bool kelvin_wanted = false, kelvin_possible = false;  ///< a low resistance: two probes at each end
};

struct SupplyReach {
  NetId net;
  Volts volts;  ///< by its name; 0: not stated
  bool states_volts = false;
  int probes = 0;
  Amperes amperes, wanted;  ///< current that the probes may carry by their class; what the job asks for, 0: nothing
  [[nodiscard]] bool enough() const { return wanted <= Amperes{} ? probes > 0 : amperes >= wanted; }
};

/// A probe on a clock, and the ground probe nearest to it on the same side.
struct ClockReach {
  ProbeId probe, ground;  ///< of the chosen option; none: none on that side
  Mm distance;
};

/// What one build variant leaves of the coverage.
struct VariantReach {
  std::string name;
  Share components, pins, two_poles;
};

struct Audit {
  Share nets, pins, components, two_poles;  ///< wanted nets met; pins of fitted components on nets with a probe; all
                                            ///< nets of a component; both ends
  Share pins_with_scan;                     ///< the same where boundary scan counts as well
  Share nets_with_scan;                     ///< wanted nets met by a probe, or tested between cells
  Share bottom, top, either;                ///< wanted nets with an open target, by side; spacing is ignored
  int from_bottom_only = 0, from_top_only = 0;
  std::vector<InterfaceReach> interfaces;  ///< in the order of those found
  std::vector<ComponentReach> parts;       ///< fitted components with nets, by component
  std::vector<SupplyReach> supplies;
  std::vector<ClockReach> clocks;  ///< farthest first
  std::vector<VariantReach> variants;
  double score{};  ///< 0 to 100
  std::string formula;
  std::vector<std::string> gate_failures;  ///< empty: the gate is passed, or there is none
  Amperes ground_amperes, supply_amperes;  ///< sums over the probes
};

/// Interfaces and scan are those of the single board; on a panel they hold for each of its boards.
Audit audit(const Planned& in, const Coverage& coverage);

}  // namespace teasel
