// The planning model of one bed option: candidates, conflicts, needs. Integers only.
#pragma once
#include <cstdint>
#include <vector>

#include "teasel/plan.h"

namespace teasel::planning {

/// One probe: a spot of one target. On a panel whose boards are probed alike, a candidate is one such probe on each board.
struct Atom {
  int need{}, target{}, spot{}, feature{};
  Side side{};
  std::int64_t x{}, y{};  ///< nm
  double head{};          ///< widest part of the tip, mm
  ProbeCost cost;
};

struct Candidate {
  int probe_class{};
  std::size_t first_atom{}, atoms{};
  int target{};           ///< of the first atom
  Cents price{};          ///< what the solver sees: the cost, less a bonus that forces locks
  Cents bonus{};
};

struct Demand {
  std::vector<int> needs;    ///< one, or one on each board of a panel
  int wanted{};
  Cents first{}, further{};  ///< price of having none at all on top of `further` for each missing probe, of all needs
};

struct Model {
  std::vector<Atom> atoms;
  std::vector<Candidate> candidates;
  std::vector<Demand> demands;
  std::vector<std::vector<int>> of_demand;   ///< candidates of each demand
  std::vector<int> demand_of;                ///< by candidate
  std::vector<std::vector<int>> conflicts;   ///< by candidate, sorted
};

/// A chosen set of candidates.
struct Solution {
  std::vector<int> chosen;
  Cents cost{}, bound{};
  bool proven = false;
};

Model build_model(const Board& board, const Access& access, const std::vector<Need>& needs, const Job& job, const Catalogue& catalogue, const Rules& rules, const BedOption& option);

/// The lock names this feature and its net.
bool names(const Lock& lock, const Board& board, const Feature& feature);
/// The same, and a probe of this class from this side is what it asks for.
bool meets(const Lock& lock, const Board& board, const Feature& feature, Side side, const std::string& probe_class);

/// Marks candidates that some optimum does without. Each rule keeps at least one optimum; see reduce.cpp.
std::vector<bool> reduce(const Model& model);

/// Price of a set: chosen candidates plus what is missing.
Cents price_of(const Model& model, const std::vector<int>& demands, const std::vector<int>& chosen);

/// Greedy choice: needs with the fewest candidates first.
std::vector<int> greedy(const Model& model, const std::vector<int>& demands, const std::vector<bool>& alive);

/// Solves one independent piece exactly with an integer program over clique rows.
Solution solve_piece(const Model& model, const std::vector<int>& demands, const std::vector<bool>& alive, double seconds);

}  // namespace teasel::planning
