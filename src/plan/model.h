// The planning model of one bed option: candidates and what they serve, as a selection problem. Integers only.
#pragma once
#include <cstdint>
#include <string>
#include <vector>

#include "teasel/plan.h"
#include "teasel/plan/selection.h"

namespace teasel::planning {

/// One probe: a spot of one target. On a panel whose boards are probed alike, a candidate is one such probe on each
/// board.
struct Atom {
  int need{}, target{}, spot{}, feature{};
  Side side{};
  std::int64_t x{}, y{};   ///< nm
  double head{};           ///< widest part of the tip, mm
  double force{};          ///< N
  int ring_need = -1;      ///< the ground that its ring touches
  int old_hole = -1;       ///< of the job: the hole that it uses
  int standing_hole = -1;  ///< of the standing fixture, likewise
  ProbeCost cost;
};

struct Candidate {
  int probe_class = -1;  ///< -1: a mating connector
  std::size_t first_atom{}, atoms{};
  int target = -1;  ///< of the first atom
  int mate = -1;    ///< of the job
  int demand = -1;  ///< that it is meant for; what else it covers comes by the way. -1: a mating connector
  Cents price{};
};

struct Demand {
  std::vector<int> needs;  ///< one, or one on each board of a panel
  int wanted{};
  Cents none{}, further{};  ///< price of having none at all; of each missing probe while there are others; of all needs
};

/// What a want of the problem stands for. The first ones are the demands, in order.
struct Wish {
  enum class Kind : std::uint8_t { demand, amperes, kelvin_end, spread, clock_return } kind{};
  int demand = -1;
  std::string of;  ///< the component, the clock's target
};
/// What a limit of the problem stands for.
struct Bound {
  enum class Kind : std::uint8_t { of_class, channels, force, area_probes, area_force } kind{};
  std::string text;  ///< "at most 20 probes of class 50 mil"
};

struct Model {
  std::vector<Atom> atoms;
  std::vector<Candidate> candidates;
  std::vector<Demand> demands;
  std::vector<Wish> wishes;    ///< by want of the problem
  std::vector<Bound> bounds;   ///< by limit of the problem
  selection::Problem problem;  ///< columns are the candidates
  std::vector<char> closed;    ///< by candidate: its verdict has changed since, and is no longer open
  int beside_old_holes = 0;    ///< candidates left out because a hole of the fixture is too near
};

/// What is planned on.
struct Setting {
  const Board& board;
  const Access& access;
  const std::vector<Need>& needs;
  const Job& job;
  const Catalogue& catalogue;
  const Rules& rules;
};
/// What the builder's parts need to see.
struct Inputs : Setting {
  const BedOption& option;
};
/// A component's name on its own board of a panel.
inline std::string plain(const std::string& name) {
  return name.substr(name.find(':') == std::string::npos ? 0 : name.find(':') + 1);
}

Model build_model(const Inputs& in);
enum class Followed : std::uint8_t {
  dearer,  ///< nothing has become cheaper
  cheaper,
  unknown  ///< something is open where the model has no candidate: it is of no use any more
};
/// The verdicts of these targets have changed.
Followed follow(Model& model, const Inputs& in, const std::vector<int>& touched);

/// compounds.cpp. The need of the ground on which the ring of such a probe lies, at this aim; -1: too little of it, or
/// other metal.
class Rings {
 public:
  explicit Rings(const Inputs& in);
  [[nodiscard]] int ground_under(Point aim, Side side, const ProbeClass& probe, int own_net) const;

 private:
  const Inputs& in_;
  std::vector<int> need_of_net_;
  std::array<std::vector<std::pair<Box, int>>, 2> metal_;  ///< boxes and exposures by side, by left edge
};
/// Adds a column for each mating connector that the option's sides allow.
void add_mates(Model& model, const Inputs& in, const std::vector<int>& demand_of_net);

/// constraints.cpp: pairs that exclude one another; wants besides the demands; limits.
void add_conflicts(Model& model, const Inputs& in);
void add_wishes(Model& model, const Inputs& in, std::vector<std::vector<selection::Part>>& covers);
void add_limits(Model& model, const Inputs& in);

/// The lock names this feature and its net.
bool names(const Lock& lock, const Board& board, const Feature& feature);
/// The same, and a probe of this class from this side is what it asks for.
bool meets(const Lock& lock, const Board& board, const Feature& feature, Side side, const std::string& probe_class);

}  // namespace teasel::planning
