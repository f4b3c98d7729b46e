// The planning model of one bed option: candidates and what they serve, as a selection problem. Integers only.
#pragma once
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "teasel/plan.h"
#include "teasel/plan/selection.h"

namespace teasel::planning {

struct Candidate;
struct Demand;
using CandidateId = Id<Candidate>;  ///< a column of the selection problem
using DemandId = Id<Demand>;        ///< one of its first wants

/// One probe: a spot of one target. On a panel whose boards are probed alike, a candidate is one such probe on each
/// board.
struct Atom {
  NeedId need;
  TargetId target;
  SpotId spot;
  FeatureId feature;
  Side side{};
  std::int64_t x{}, y{};  ///< nm
  Mm head;                ///< widest part of the tip
  Newton force;
  NeedId ring_need;              ///< the ground that its ring touches
  OldHoleId old_hole;            ///< of the job: the hole that it uses
  StandingHoleId standing_hole;  ///< of the standing fixture, likewise
  ProbeCost cost;
};

struct Candidate {
  ClassId probe_class;  ///< none: a mating connector
  std::size_t first_atom{}, atoms{};
  TargetId target;  ///< of the first atom
  MateId mate;      ///< of the job; none: a probe
  DemandId demand;  ///< that it is meant for; what else it covers comes along with it. None: a mating connector
  Cents price;
};

struct Demand {
  std::vector<NeedId> needs;  ///< one, or one on each board of a panel
  int wanted{};
  Cents none, further;  ///< price of having none at all; of each missing probe while there are others; of all needs
};

/// What a want of the problem stands for. The first ones are the demands, in order.
struct Wish {
  enum class Kind : std::uint8_t { demand, amperes, kelvin_end, spread, clock_return } kind{};
  DemandId demand;
  std::string of;  ///< the component, the clock's target
};
/// What a limit of the problem stands for.
struct Bound {
  enum class Kind : std::uint8_t { of_class, channels, force, area_probes, area_force } kind{};
  std::string text;  ///< "at most 20 probes of class 50 mil"
};

struct Model {
  std::vector<Atom> atoms;
  Table<CandidateId, Candidate> candidates;
  Table<DemandId, Demand> demands;
  std::vector<Wish> wishes;         ///< by want of the problem
  std::vector<Bound> bounds;        ///< by limit of the problem
  selection::Problem problem;       ///< columns are the candidates
  Table<CandidateId, char> closed;  ///< its verdict has changed since, and is no longer open
  int beside_old_holes = 0;         ///< candidates left out because a hole of the fixture is too near
  [[nodiscard]] std::span<const Atom> atoms_of(const Candidate& candidate) const {
    return std::span(atoms).subspan(candidate.first_atom, candidate.atoms);
  }
  [[nodiscard]] const Atom& first_atom(CandidateId candidate) const { return atoms[candidates[candidate].first_atom]; }
};

/// What the builder's parts need to see.
struct Inputs : PlanInputs {
  const BedOption& option;
};

/// An amount of money units, rounded.
Cents cents(double money);
/// mm in whole nanometres, and back.
std::int64_t nanometres(double mm);
double millimetres(std::int64_t nm);
/// Between the centres of two atoms.
Mm apart(const Atom& a, const Atom& b);

using Covers = Table<CandidateId, std::vector<selection::Part>>;

Model build_model(const Inputs& in);
enum class Followed : std::uint8_t {
  dearer,  ///< nothing has become cheaper
  cheaper,
  unknown  ///< something is open where the model has no candidate: it is of no use any more
};
/// The verdicts of these targets have changed.
Followed follow(Model& model, const Inputs& in, const std::vector<TargetId>& touched);

/// compounds.cpp. The need of the ground on which the ring of such a probe lies, at this aim. None: the ring would
/// touch too little of it, or other metal.
class Rings {
 public:
  explicit Rings(const Inputs& in);
  [[nodiscard]] NeedId ground_under(BoardPoint aim, Side side, const ProbeClass& probe, NetId own_net) const;

 private:
  const Inputs& in_;
  Table<NetId, NeedId> ground_need_;                        ///< of ground nets
  PerSide<std::vector<std::pair<Box, ExposureId>>> metal_;  ///< by left edge
};
/// Adds a column for each mating connector that the option's sides allow.
void add_mates(Model& model, const Inputs& in, const Table<NetId, DemandId>& demand_of_net);

/// constraints.cpp: pairs that exclude one another; wants besides the demands; limits.
void add_conflicts(Model& model, const Inputs& in);
void add_wishes(Model& model, const Inputs& in, Covers& covers);
void add_limits(Model& model, const Inputs& in);

/// The lock names this feature and its net.
bool names(const Lock& lock, const Board& board, const Feature& feature);
/// The same, and a probe of this class from this side is what it asks for.
bool meets(const Lock& lock, const Board& board, const Feature& feature, Side side, const std::string& probe_class);

}  // namespace teasel::planning
