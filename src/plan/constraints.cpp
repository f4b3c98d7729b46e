// What candidates exclude one another, what is wished for besides the probes themselves, and what is limited.
#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <tuple>

#include "model.h"

namespace teasel::planning {

namespace {
using selection::Part;

/// Pairs of candidates that exclude one another.
class Pairs {
 public:
  explicit Pairs(std::size_t candidates) : near_(candidates) {}
  void add(CandidateId a, CandidateId b) {
    if (a == b) return;
    near_[a].push_back(b);
    near_[b].push_back(a);
  }
  /// All that exclude this one, ascending, each once.
  [[nodiscard]] const std::vector<CandidateId>& of(CandidateId id) {
    auto& list = near_[id];
    std::sort(list.begin(), list.end());
    list.erase(std::unique(list.begin(), list.end()), list.end());
    return list;
  }

 private:
  Table<CandidateId, std::vector<CandidateId>> near_;
};

/// Squares of the rule's size, half overlapping, that hold a point (nm).
std::vector<std::pair<std::int64_t, std::int64_t>> areas_at(std::int64_t x, std::int64_t y, std::int64_t side) {
  const std::int64_t half = side / 2;
  auto cell = [&](std::int64_t value) { return value >= 0 ? value / half : -((-value + half - 1) / half); };
  std::vector<std::pair<std::int64_t, std::int64_t>> out;
  for (const std::int64_t i : {cell(x) - 1, cell(x)})
    for (const std::int64_t j : {cell(y) - 1, cell(y)}) out.emplace_back(i, j);
  return out;
}

/// nm between the centres of two atoms.
double nm_apart(const Atom& a, const Atom& b) {
  return std::hypot(static_cast<double>(a.x - b.x), static_cast<double>(a.y - b.y));
}

class Wishes {
 public:
  Wishes(Model& model, const Inputs& in, Covers& covers)
      : model_(model),
        in_(in),
        covers_(covers),
        of_demand_(model.demands.size()),
        copies_(in.board.plans_alike ? std::max<std::size_t>(1, in.board.places.size()) : 1) {
    for (const CandidateId id : model.candidates.ids())
      if (!model.candidates[id].mate) of_demand_[DemandId::of_number(covers[id][0].row)].push_back(id);
  }
  void run() {
    for (const DemandId id : model_.demands.ids()) {
      const Need& need = first_need(id);
      if (need.amperes.v > 0) amperes(id, need);
      for (const std::string& component : need.kelvin) kelvin_end(id, component);
      if (need.wanted >= 3 && in_.rules.cost.spread.v > 0) spread(id, need);
    }
    for (const DemandId id : model_.demands.ids())
      if (const Need& need = first_need(id); need.ground_within.v > 0 && in_.rules.cost.clock_return.v > 0)
        clock_return(id, need);
  }

 private:
  [[nodiscard]] const Need& first_need(DemandId id) const { return in_.needs[model_.demands[id].needs[0]]; }
  [[nodiscard]] const Atom& atom(CandidateId id) const { return model_.first_atom(id); }
  [[nodiscard]] const std::string& pad_of(CandidateId id) const {
    return in_.board.features[atom(id).feature].name.text();
  }
  /// Adds a want to the problem and returns its row.
  int want(Wish::Kind kind, DemandId demand, std::string of, std::int64_t wanted, Cents miss) {
    selection::Want want;
    want.wanted = wanted;
    want.miss = static_cast<selection::Cost>(copies_) * miss.v;
    model_.problem.wants.push_back(want);
    model_.wishes.push_back({kind, demand, std::move(of)});
    return static_cast<int>(model_.wishes.size()) - 1;
  }

  /// In tenths of an ampere: each probe carries what its class does, in each of its tips.
  void amperes(DemandId demand, const Need& need) {
    double most = 0.1;
    for (const ProbeClass& probe : in_.catalogue.classes) most = std::max(most, probe.amperes.v);
    const auto tenths = static_cast<std::int64_t>(std::ceil(need.amperes.v * 10 - 1e-9));
    const Cents miss = std::max(Cents{1}, cents(unmet_price(need, in_.rules).further.v * 0.1 / most));
    const int row = want(Wish::Kind::amperes, demand, {}, tenths, miss);
    for (const CandidateId id : of_demand_[demand]) {
      const ProbeClass& probe = in_.catalogue.classes[model_.candidates[id].probe_class];
      const auto carries = static_cast<std::int64_t>(std::floor(probe.amperes.v * 10 + 1e-9)) * probe.contacts;
      if (carries > 0) covers_[id].push_back({row, carries});
    }
  }

  void kelvin_end(DemandId demand, const std::string& component) {
    std::vector<CandidateId> there;
    for (const CandidateId id : of_demand_[demand]) {
      const Feature& feature = in_.board.features[atom(id).feature];
      if (!feature.component) continue;
      const PartName& name = in_.board.components[feature.component].name;
      if (name.plain() == component) there.push_back(id);
    }
    const int row = want(Wish::Kind::kelvin_end, demand, component, 1, cents(in_.rules.cost.kelvin_end.v));
    for (const CandidateId id : there) covers_[id].push_back({row, 1});
  }

  /// Centres far from one another (each next one the farthest from those before, Gonzalez's rule), and the candidates
  /// nearest to each: every such part of the net wants one probe.
  void spread(DemandId demand, const Need& need) {
    const auto& list = of_demand_[demand];
    if (list.size() < 2) return;
    std::vector<CandidateId> centres{list[0]};
    std::vector<std::size_t> nearest(list.size(), 0);
    std::vector<double> far(list.size());
    for (std::size_t i = 0; i < list.size(); ++i) far[i] = nm_apart(atom(list[i]), atom(list[0]));
    while (static_cast<int>(centres.size()) < need.wanted) {
      const auto next = static_cast<std::size_t>(std::max_element(far.begin(), far.end()) - far.begin());
      if (far[next] <= 0) break;
      for (std::size_t i = 0; i < list.size(); ++i)
        if (const double away = nm_apart(atom(list[i]), atom(list[next])); away < far[i]) {
          far[i] = away;
          nearest[i] = centres.size();
        }
      centres.push_back(list[next]);
    }
    if (centres.size() < 2) return;
    std::vector<int> rows;
    for (const CandidateId centre : centres)
      rows.push_back(want(Wish::Kind::spread, demand, pad_of(centre), 1, cents(in_.rules.cost.spread.v)));
    for (std::size_t i = 0; i < list.size(); ++i) covers_[list[i]].push_back({rows[nearest[i]], 1});
  }

  /// A probe on a clock asks for a ground probe near it, on its side.
  void clock_return(DemandId demand, const Need& need) {
    std::map<std::pair<TargetId, Side>, std::vector<CandidateId>> by_target;
    for (const CandidateId id : of_demand_[demand])
      by_target[{model_.candidates[id].target, atom(id).side}].push_back(id);
    for (const auto& [key, list] : by_target) {
      const Atom& clock = atom(list[0]);
      const int row = want(Wish::Kind::clock_return, demand, pad_of(list[0]), 0, cents(in_.rules.cost.clock_return.v));
      for (const CandidateId id : list)
        if (!atom(id).ring_need) covers_[id].push_back({row, -1});
      for (const DemandId other : model_.demands.ids()) {
        const Need& ground = first_need(other);
        if (ground.role != Role::ground ||
            in_.board.nets[ground.net].panel_place != in_.board.nets[need.net].panel_place)
          continue;
        for (const CandidateId id : of_demand_[other])
          if (atom(id).side == clock.side && nm_apart(atom(id), clock) <= need.ground_within.v * 1e6)
            covers_[id].push_back({row, 1});
      }
    }
  }

  Model& model_;
  const Inputs& in_;
  Covers& covers_;
  Table<DemandId, std::vector<CandidateId>> of_demand_;
  const std::size_t copies_;
};

/// Finds the pairs of candidates that exclude one another.
class Conflicts {
 public:
  Conflicts(const Model& model, const Inputs& in)
      : model_(model),
        in_(in),
        candidate_of_(model.atoms.size()),
        pairs_(model.candidates.size()),
        impossible_(model.candidates.size()) {
    for (const CandidateId id : model.candidates.ids()) {
      const Candidate& candidate = model.candidates[id];
      for (std::size_t i = candidate.first_atom; i < candidate.first_atom + candidate.atoms; ++i) candidate_of_[i] = id;
    }
  }
  void run() {
    by_spacing();
    in_one_hole();
    apart_for_one_need();
    by_voltage();
    beside_mates();
  }
  Pairs& pairs() { return pairs_; }
  /// Its own probes on two boards of a panel exclude one another.
  [[nodiscard]] bool is_impossible(CandidateId id) const { return impossible_[id]; }

 private:
  [[nodiscard]] const Candidate& candidate(std::size_t atom) const { return model_.candidates[candidate_of_[atom]]; }
  [[nodiscard]] const ProbeClass& probe(std::size_t atom) const {
    return in_.catalogue.classes[candidate(atom).probe_class];
  }
  void by_spacing();
  void in_one_hole();
  void apart_for_one_need();
  void by_voltage();
  void beside_mates();
  void beside_part(CandidateId mate, const Component& part, Side side);

  const Model& model_;
  const Inputs& in_;
  std::vector<CandidateId> candidate_of_;  ///< by atom
  Pairs pairs_;
  Table<CandidateId, char> impossible_;
};

/// Spacing by class and head between atoms of one side.
void Conflicts::by_spacing() {
  using Kind = std::pair<ClassId, Mm>;
  std::map<Kind, int> number_of;
  std::vector<std::size_t> atom_of;
  for (std::size_t i = 0; i < model_.atoms.size(); ++i) {
    if (candidate(i).mate) continue;
    number_of.emplace(Kind{candidate(i).probe_class, model_.atoms[i].head}, 0);
    atom_of.push_back(i);
  }
  std::vector<Kind> kinds;
  for (auto& [kind, number] : number_of) {
    number = static_cast<int>(kinds.size());
    kinds.push_back(kind);
  }
  selection::Spaced points;
  points.least.assign(kinds.size(), std::vector<std::int64_t>(kinds.size()));
  for (std::size_t a = 0; a < kinds.size(); ++a)
    for (std::size_t b = 0; b < kinds.size(); ++b) {
      const std::int64_t least =
          least_distance_nm(in_.catalogue, in_.rules, kinds[a].first, kinds[a].second, kinds[b].first, kinds[b].second);
      points.least[a][b] = std::max<std::int64_t>(1, least - kAimGrid);
    }
  for (const std::size_t i : atom_of) {
    const Atom& atom = model_.atoms[i];
    points.x.push_back(atom.x);
    points.y.push_back(atom.y);
    points.layer.push_back(static_cast<int>(atom.side));
    points.kind.push_back(number_of.at({candidate(i).probe_class, atom.head}));
  }
  const auto found = selection::spacing_conflicts(points);
  for (std::size_t i = 0; i < found.size(); ++i)
    for (const int j : found[i]) {
      if (j < static_cast<int>(i)) continue;
      const CandidateId a = candidate_of_[atom_of[i]], b = candidate_of_[atom_of[static_cast<std::size_t>(j)]];
      if (a == b) impossible_[a] = 1;  // two boards of a panel too close for this one
      pairs_.add(a, b);
    }
}

/// Two probes in one hole from both sides must not meet inside it; on a lead there is nothing to gain from a second.
void Conflicts::in_one_hole() {
  std::map<FeatureId, std::vector<std::size_t>> by_feature;
  for (std::size_t i = 0; i < model_.atoms.size(); ++i) {
    const Atom& atom = model_.atoms[i];
    if (candidate(i).mate) continue;
    auto& same = by_feature[atom.feature];
    for (const std::size_t j : same) {
      const Atom& other = model_.atoms[j];
      if (other.side == atom.side) continue;
      const bool empty = in_.access.targets[atom.target].has(Contact::open_hole) &&
                         in_.access.targets[other.target].has(Contact::open_hole);
      if (!empty ||
          clearance_in_hole(in_.rules, probe(i), probe(j), HoleDiameter{in_.board.features[atom.feature].hole},
                            BoardThickness{in_.board.thickness}) < Mm{0})
        pairs_.add(candidate_of_[i], candidate_of_[j]);
    }
    same.push_back(i);
  }
}

/// Probes of a need that asks for a least distance between them.
void Conflicts::apart_for_one_need() {
  std::map<NeedId, std::vector<std::size_t>> of_need;
  for (std::size_t i = 0; i < model_.atoms.size(); ++i)
    if (!candidate(i).mate && in_.needs[model_.atoms[i].need].apart.v > 0) of_need[model_.atoms[i].need].push_back(i);
  for (const auto& [need, list] : of_need) {
    const std::int64_t least = nanometres(in_.needs[need].apart.v) - kAimGrid;
    for (std::size_t i = 0; i < list.size(); ++i)
      for (std::size_t j = i + 1; j < list.size(); ++j) {
        const Atom &a = model_.atoms[list[i]], &b = model_.atoms[list[j]];
        const std::int64_t dx = a.x - b.x, dy = a.y - b.y;
        if (dx * dx + dy * dy < least * least) pairs_.add(candidate_of_[list[i]], candidate_of_[list[j]]);
      }
  }
}

/// Air between the receptacles of nets whose voltages differ by much.
void Conflicts::by_voltage() {
  if (in_.rules.voltages.empty()) return;
  auto volts = [&](const Atom& atom) { return in_.needs[atom.need].volts.v; };
  auto radius = [&](std::size_t i) { return probe(i).receptacle_diameter.v / 2; };
  for (std::size_t i = 0; i < model_.atoms.size(); ++i) {
    const Atom& one = model_.atoms[i];
    // Of two nets that differ by more than a voltage, one is above half of it.
    if (std::abs(volts(one)) <= in_.rules.voltages[0].above.v / 2 || candidate(i).mate) continue;
    for (std::size_t j = 0; j < model_.atoms.size(); ++j) {
      const Atom& other = model_.atoms[j];
      if (other.side != one.side || in_.needs[other.need].net == in_.needs[one.need].net || candidate(j).mate) continue;
      const double air = in_.rules.air(Volts{std::abs(volts(one) - volts(other))}).v;
      if (air > 0 && candidate_of_[i] != candidate_of_[j] &&
          apart(one, other).v < radius(i) + radius(j) + air - 1e-6 * static_cast<double>(kAimGrid))
        pairs_.add(candidate_of_[i], candidate_of_[j]);
    }
  }
}

/// No probe where a mating connector stands.
void Conflicts::beside_mates() {
  if (in_.job.decisions.mates.empty()) return;
  for (const CandidateId id : model_.candidates.ids()) {
    const Candidate& mate = model_.candidates[id];
    if (!mate.mate) continue;
    std::set<std::pair<ComponentId, Side>> parts;
    for (const Atom& pin : model_.atoms_of(mate)) parts.emplace(in_.board.features[pin.feature].component, pin.side);
    for (const auto& [part, side] : parts) beside_part(id, in_.board.components[part], side);
  }
}

void Conflicts::beside_part(CandidateId mate, const Component& part, Side side) {
  const Polygons area = room_of_mate(part);
  for (std::size_t i = 0; i < model_.atoms.size(); ++i) {
    const Atom& atom = model_.atoms[i];
    if (candidate_of_[i] == mate || atom.side != side) continue;
    double reach = in_.rules.mate_clearance.v;
    if (!candidate(i).mate) reach += probe(i).receptacle_diameter.v / 2;
    if (distance_to_area(area, {millimetres(atom.x), millimetres(atom.y)}) < reach) pairs_.add(mate, candidate_of_[i]);
  }
}

/// Limits of the job and of the rules, and what each candidate takes of them.
class BedLimits {
 public:
  BedLimits(Model& model, const Inputs& in) : model_(model), in_(in), weighs_(model.candidates.size()) {}
  void run() {
    classes();
    channels();
    force();
    areas();
    for (const auto& list : weighs_) {
      for (const Part& part : list) model_.problem.weighs.add(part);
      model_.problem.weighs.close();
    }
  }

 private:
  /// Adds a limit to the problem and returns its row.
  int limit(Bound::Kind kind, std::string text, std::int64_t capacity) {
    model_.bounds.push_back({kind, std::move(text)});
    model_.problem.limits.push_back(capacity);
    return static_cast<int>(model_.bounds.size()) - 1;
  }
  static std::int64_t milli(Newton force) { return static_cast<std::int64_t>(std::llround(force.v * 1000)); }

  void classes() {
    for (const auto& [name, most] : in_.job.fixture.most_of_class) {
      const int row =
          limit(Bound::Kind::of_class, "at most " + std::to_string(most) + " probes of class " + name, most);
      for (const CandidateId id : model_.candidates.ids())
        if (const Candidate& candidate = model_.candidates[id];
            !candidate.mate && in_.catalogue.classes[candidate.probe_class].name == name)
          weighs_[id].push_back({row, static_cast<std::int64_t>(candidate.atoms)});
    }
  }

  void channels() {
    const int most = in_.job.fixture.channels;
    if (most <= 0) return;
    const int row = limit(Bound::Kind::channels, "at most " + std::to_string(most) + " channels", most);
    for (const CandidateId id : model_.candidates.ids()) {
      const Candidate& candidate = model_.candidates[id];
      const int tips = candidate.mate ? 1 : in_.catalogue.classes[candidate.probe_class].contacts;
      std::int64_t taken = 0;
      for (const Atom& atom : model_.atoms_of(candidate)) taken += tips + (atom.ring_need ? 1 : 0);
      weighs_[id].push_back({row, taken});
    }
  }

  void force() {
    const Newton largest = in_.job.fixture.largest_force;
    if (largest.v <= 0) return;
    const int row =
        limit(Bound::Kind::force, "at most " + short_number(largest.v, 1) + " N from all probes", milli(largest));
    for (const CandidateId id : model_.candidates.ids()) {
      Newton sum;
      for (const Atom& atom : model_.atoms_of(model_.candidates[id])) sum += atom.force;
      weighs_[id].push_back({row, milli(sum)});
    }
  }

  struct Load {
    std::int64_t probes = 0, force = 0;  ///< force in thousandths of a newton
  };
  using Square = std::tuple<Side, std::int64_t, std::int64_t>;

  std::string where(const Square& square) const {
    const auto& [side, i, j] = square;
    const double half = in_.rules.area_side.v / 2;
    return " in the " + short_number(in_.rules.area_side.v, 1) + " mm square around (" +
           short_number(static_cast<double>(i + 1) * half, 1) + ", " +
           short_number(static_cast<double>(j + 1) * half, 1) + ") on the " + to_string(side) + " side";
  }

  void areas() {
    const Rules& rules = in_.rules;
    if (rules.area_side.v <= 0 || (rules.area_probes <= 0 && rules.area_force.v <= 0)) return;
    const std::int64_t side = nanometres(rules.area_side.v);
    std::map<Square, std::map<CandidateId, Load>> squares;
    for (const CandidateId id : model_.candidates.ids())
      for (const Atom& atom : model_.atoms_of(model_.candidates[id]))
        for (const auto& [i, j] : areas_at(atom.x, atom.y, side)) {
          Load& load = squares[{atom.side, i, j}][id];
          load.probes += model_.candidates[id].mate ? 0 : 1;
          load.force += milli(atom.force);
        }
    for (const auto& [square, loads] : squares) {
      Load all;
      for (const auto& [id, load] : loads) {
        all.probes += load.probes;
        all.force += load.force;
      }
      if (rules.area_probes > 0 && all.probes > rules.area_probes) {
        const int row =
            limit(Bound::Kind::area_probes, "at most " + std::to_string(rules.area_probes) + " probes" + where(square),
                  rules.area_probes);
        for (const auto& [id, load] : loads)
          if (load.probes > 0) weighs_[id].push_back({row, load.probes});
      }
      if (rules.area_force.v > 0 && all.force > milli(rules.area_force)) {
        const int row =
            limit(Bound::Kind::area_force, "at most " + short_number(rules.area_force.v, 1) + " N" + where(square),
                  milli(rules.area_force));
        for (const auto& [id, load] : loads)
          if (load.force > 0) weighs_[id].push_back({row, load.force});
      }
    }
  }

  Model& model_;
  const Inputs& in_;
  Covers weighs_;
};
}  // namespace

void add_wishes(Model& model, const Inputs& in, Covers& covers) {
  Wishes(model, in, covers).run();
}

void add_conflicts(Model& model, const Inputs& in) {
  Conflicts conflicts(model, in);
  conflicts.run();
  for (const CandidateId id : model.candidates.ids()) {
    for (const CandidateId other : conflicts.pairs().of(id)) model.problem.conflicts.add(other.number());
    model.problem.conflicts.close();
    // Dearer than anything that it could serve.
    if (conflicts.is_impossible(id)) model.problem.price[id.index()] = selection::kHard;
  }
}

void add_limits(Model& model, const Inputs& in) {
  BedLimits(model, in).run();
}

}  // namespace teasel::planning
