// Who lands where: the cheapest choice of probes that the rules allow, with its proof.
#pragma once
#include <array>
#include <atomic>
#include <cstdint>
#include <string>
#include <vector>

#include "teasel/access.h"
#include "teasel/board.h"
#include "teasel/interfaces.h"
#include "teasel/job.h"

namespace teasel {

/// Money in whole hundredths of a money unit: costs are rounded to this before anything is compared.
using Cents = std::int64_t;

/// A way to build the fixture: which sides carry probes, and which of them is the main one.
struct BedOption {
  bool bottom = false, top = false;
  Side main = Side::bottom;  ///< the side the board lies on
  [[nodiscard]] std::string name() const;
};

/// What one placed probe costs, in the objective.
struct ProbeCost {
  Cents probe{}, kind{}, odds{}, shortfall{};  ///< probe and receptacle; target and surface; misses, faults, wrong landings; preferred rules
  [[nodiscard]] Cents total() const { return probe + kind + odds + shortfall; }
};

struct PlacedProbe {
  std::string name;           ///< "B001" bottom, "T001" top; of a panel "P1-B001"
  int need = -1, target = -1, spot = -1, probe_class = -1;
  ProbeCost cost;
};

struct OptionResult {
  BedOption option;
  std::vector<PlacedProbe> probes;  ///< by name
  std::vector<int> got;             ///< by need
  Cents beds{}, probe_costs{}, unmet{};
  Cents bound{};                    ///< no plan of this option costs less
  bool proven = false;              ///< total == bound
  std::size_t candidates = 0, reduced = 0, pieces = 0, largest_piece = 0;
  [[nodiscard]] Cents total() const { return beds + probe_costs + unmet; }
};

struct PlanResult {
  std::vector<OptionResult> options;  ///< all that were compared
  std::size_t chosen = 0;
  bool stopped = false;               ///< by time limit or by the user
};

struct PlanLimits {
  double seconds = 60;
  const std::atomic<bool>* stop = nullptr;
};

/// Both aims of a spacing stand on a grid of 1 um, off their true places by up to 0.7 um each: nm that a distance may lack.
inline constexpr std::int64_t kAimGrid = 1500;

/// Money units: a need without any probe, and each further probe that it lacks.
struct UnmetPrice {
  double none{}, further{};
};
UnmetPrice unmet_price(const Need& need, const Rules& rules);

/// Nets whose need an option meets in full.
int nets_met(const std::vector<Need>& needs, const OptionResult& option);
/// Sum of the working forces of an option's probes.
Newton sum_of_forces(const Access& access, const Catalogue& catalogue, const Rules& rules, const OptionResult& option);

/// Least centre distance between two probes of these classes on one side, nanometres: the mean of their spacings, and
/// never less than both hole radii and the web.
std::int64_t least_distance_nm(const Catalogue& catalogue, const Rules& rules, std::size_t a, std::size_t b);
/// The same for heads of these widths (mm), which must not touch when both lean towards one another.
std::int64_t least_distance_nm(const Catalogue& catalogue, const Rules& rules, std::size_t a, double head_a, std::size_t b, double head_b);

/// Compares the bed options that the job allows and plans each to proven optimality where time allows.
/// Locks that cannot be kept are errors.
PlanResult plan(const Board& board, const Access& access, const std::vector<Need>& needs, const Job& job, const Catalogue& catalogue,
                const Rules& rules, const PlanLimits& limits, Diagnostics& diagnostics);

}  // namespace teasel
