// Why not the cheaper target; what would meet a need that the plan leaves unmet.
#include <algorithm>
#include <cmath>
#include <map>

#include "planner_state.h"

namespace teasel::planning {

namespace {
std::size_t index(int row) {
  return static_cast<std::size_t>(row);
}

/// The atoms of two candidates that come nearest to breaking the spacing rule.
std::pair<const Atom*, const Atom*> nearest_atoms(const Model& model, const Candidate& a, const Candidate& b) {
  std::pair<const Atom*, const Atom*> best{nullptr, nullptr};
  for (const Atom& one : model.atoms_of(a))
    for (const Atom& other : model.atoms_of(b))
      if (!best.first || apart(one, other) < apart(*best.first, *best.second)) best = {&one, &other};
  return best;
}

std::int64_t amount_of(selection::Lists<selection::Part>::Range parts, int row) {
  std::int64_t amount = 0;
  for (const selection::Part& part : parts)
    if (part.row == row) amount = part.amount;
  return amount;
}

class Rivals {
 public:
  Rivals(const PlannerState& state, const BedPlan& bed, const PlannedBed& planned)
      : state_(state),
        model_(bed.model),
        edited_(planned.edited),
        problem_(planned.edited.problem),
        proven_(planned.result.proven),
        chosen_(planned.chosen),
        is_chosen_(model_.candidates.size()),
        probe_of_(model_.candidates.size()),
        used_(state.access.targets.size()),
        of_demand_(model_.demands.size()),
        room_(remains(problem_, planned.chosen).limits) {
    for (std::size_t k = 0; k < chosen_.size(); ++k) {
      const auto id = CandidateId::of_number(chosen_[k]);
      is_chosen_[id] = 1;
      probe_of_[id] = planned.first_probe[k];
      if (const TargetId target = model_.candidates[id].target) used_[target] = 1;
    }
    for (const CandidateId id : model_.candidates.ids())
      if (!model_.candidates[id].mate && !edited_.banned[id]) of_demand_[model_.candidates[id].demand].push_back(id);
  }

  std::vector<Rival> run() const {
    std::vector<Rival> out;
    for (const int column : chosen_) {
      const auto id = CandidateId::of_number(column);
      if (model_.candidates[id].mate) continue;
      if (const CandidateId best = cheapest_rival(id)) out.push_back(rival(id, best));
    }
    std::stable_sort(out.begin(), out.end(), [](const Rival& a, const Rival& b) { return a.probe < b.probe; });
    return out;
  }

 private:
  [[nodiscard]] selection::Cost price(CandidateId id) const { return problem_.price[id.index()]; }

  /// The cheapest candidate of the same demand that costs less and whose target is free; none if there is none.
  [[nodiscard]] CandidateId cheapest_rival(CandidateId id) const {
    CandidateId best;
    const Candidate& candidate = model_.candidates[id];
    for (const CandidateId other : of_demand_[candidate.demand]) {
      const TargetId target = model_.candidates[other].target;
      if (!is_chosen_[other] && (target == candidate.target || !used_[target]) && price(other) < price(id) &&
          (!best || price(other) < price(best)))
        best = other;
    }
    return best;
  }

  [[nodiscard]] Rival rival(CandidateId id, CandidateId best) const {
    Rival rival;
    rival.probe = probe_of_[id];
    rival.target = model_.candidates[best].target;
    rival.probe_class = model_.candidates[best].probe_class;
    rival.cheaper = Cents{price(id) - price(best)};
    const int others = say_what_stands_in_the_way(rival, id, best);
    if (others > 1)
      rival.why += others == 2 ? ", and 1 other probe is in the way"
                               : ", and " + std::to_string(others - 1) + " other probes are in the way";
    if (others == 0) {
      rival.why = limit_in_the_way(id, best);
      if (rival.why.empty()) rival.why = served_less(id, best);
      if (rival.why.empty())
        rival.why = proven_ ? "the whole plan would cost the same" : "the search stopped before it was compared";
    }
    return rival;
  }

  /// Names the first probe that excludes the rival. Returns how many chosen candidates exclude it.
  int say_what_stands_in_the_way(Rival& rival, CandidateId id, CandidateId best) const {
    int others = 0;
    for (const int number : problem_.conflicts[best.index()]) {
      const auto other_id = CandidateId::of_number(number);
      if (!is_chosen_[other_id] || other_id == id) continue;
      ++others;
      if (rival.against) continue;
      const Candidate& other = model_.candidates[other_id];
      if (other.mate) {
        rival.why = "the mating connector at " + state_.job.decisions.mates[other.mate].component + " is in the way";
        continue;
      }
      rival.against = probe_of_[other_id];
      say_distance(rival, model_.candidates[best], other);
    }
    return others;
  }

  void say_distance(Rival& rival, const Candidate& best, const Candidate& other) const {
    const auto [a, b] = nearest_atoms(model_, best, other);
    const Need &need_a = state_.needs[a->need], &need_b = state_.needs[b->need];
    rival.distance = apart(*a, *b);
    rival.needed = Mm{millimetres(
        least_distance_nm(state_.catalogue, state_.rules, best.probe_class, a->head, other.probe_class, b->head))};
    if (a->feature == b->feature && a->side != b->side) {
      rival.why = "the two probes would meet inside one hole";
      rival.needed = Mm{};
      return;
    }
    const bool far_enough = rival.distance >= rival.needed;
    if (a->need == b->need && need_a.apart.v > 0 && far_enough) {
      rival.needed = need_a.apart;
      rival.why = "the probes of this net must stand farther apart";
      return;
    }
    const Mm air = state_.rules.air(Volts{std::abs((need_a.volts - need_b.volts).v)});
    if (air.v > 0 && far_enough) {
      const Mm one = state_.catalogue.classes[best.probe_class].receptacle_diameter,
               two = state_.catalogue.classes[other.probe_class].receptacle_diameter;
      rival.needed = (one + two) / 2 + air;
      rival.why = "the voltages of the two nets require more air between them";
      return;
    }
    rival.why = "the two probes would stand too close together";
  }

  /// The limit that leaves no room for the rival in place of the chosen one; empty if none does.
  [[nodiscard]] std::string limit_in_the_way(CandidateId id, CandidateId best) const {
    for (const selection::Part& part : problem_.weighs[best.index()]) {
      const std::int64_t freed = amount_of(problem_.weighs[id.index()], part.row);
      if (room_[index(part.row)] + freed < part.amount) return model_.bounds[index(part.row)].text;
    }
    return {};
  }

  /// A wish or a lock that the rival serves less; empty if there is none, and the bound of the search left it open.
  [[nodiscard]] std::string served_less(CandidateId id, CandidateId best) const {
    for (const selection::Part& part : problem_.covers[id.index()]) {
      if (part.amount <= amount_of(problem_.covers[best.index()], part.row)) continue;
      if (index(part.row) >= model_.wishes.size()) return "a lock asks for the chosen target";
      return served_less(model_.wishes[index(part.row)]);
    }
    for (const selection::Part& part : problem_.covers[best.index()])
      if (part.amount < 0) return "it has no ground probe near it";
    return {};
  }
  [[nodiscard]] static std::string served_less(const Wish& wish) {
    switch (wish.kind) {
      case Wish::Kind::demand: return "it serves the need with fewer tips";
      case Wish::Kind::amperes: return "it carries less current";
      case Wish::Kind::kelvin_end: return "it is not on a pad of " + wish.of;
      case Wish::Kind::spread: return "it leaves the part of the net around " + wish.of + " without a probe";
      case Wish::Kind::clock_return: return "the clock at " + wish.of + " needs a ground probe near it";
    }
    return {};
  }

  const PlannerState& state_;
  const Model& model_;
  const Edited& edited_;
  const selection::Problem& problem_;
  const bool proven_;
  const std::vector<int>& chosen_;
  Table<CandidateId, char> is_chosen_;
  Table<CandidateId, ProbeId> probe_of_;
  Table<TargetId, char> used_;
  Table<DemandId, std::vector<CandidateId>> of_demand_;
  const std::vector<std::int64_t> room_;  ///< by limit
};

class Remedies {
 public:
  Remedies(const PlannerState& state, BedPlan& bed, const PlannedBed& planned, const PlanResult& result,
           const Clock& clock)
      : state_(state),
        bed_(bed),
        model_(bed.model),
        edited_(planned.edited),
        problem_(planned.edited.problem),
        chosen_(planned.chosen),
        result_(result),
        plan_(result.options[result.chosen]),
        clock_(clock),
        left_(remains(problem_, planned.chosen).wants),
        before_(selection::cost_of(problem_, planned.chosen)),
        reach_(model_.demands.size()) {
    for (const CandidateId id : model_.candidates.ids())
      if (!edited_.banned[id] && problem_.price[id.index()] < selection::kHard)
        for (const selection::Part& part : problem_.covers[id.index()])
          if (index(part.row) < reach_.size()) reach_[DemandId::of_number(part.row)] += part.amount;
  }

  std::vector<Remedy> run() {
    constexpr int kTried = 60;  // plans made for single needs; mandatory needs come first
    int tried = 0;
    for (const DemandId id : open_demands()) {
      if (reach_[id] >= problem_.wants[id.index()].wanted && tried < kTried && !clock_.over()) {
        ++tried;
        force(id);
      }
      for (const OptionResult& other : result_.options)
        if (&other != &plan_ && other.locks_missed <= plan_.locks_missed &&
            other.got[need_of(id)] >= edited_.wanted[id])
          out_.push_back(
              {need_of(id), other.total() - (plan_.total() - price_of_lack(id)), "build " + other.option.name()});
    }
    std::stable_sort(out_.begin(), out_.end(), [](const Remedy& a, const Remedy& b) {
      return a.need != b.need ? a.need < b.need : a.extra < b.extra;
    });
    return std::move(out_);
  }

 private:
  [[nodiscard]] NeedId need_of(DemandId id) const { return model_.demands[id].needs[0]; }
  [[nodiscard]] const std::string& net_of(DemandId id) const {
    return state_.board.nets[state_.needs[need_of(id)].net].name.text();
  }
  [[nodiscard]] Cents price_of_lack(DemandId id) const {
    return Cents{problem_.wants[id.index()].lack(left_[id.index()])};
  }

  /// Demands that the plan leaves unmet, those of mandatory needs first.
  [[nodiscard]] std::vector<DemandId> open_demands() const {
    std::vector<DemandId> open;
    for (const DemandId id : model_.demands.ids())
      if (left_[id.index()] > 0) open.push_back(id);
    std::stable_sort(open.begin(), open.end(), [&](DemandId a, DemandId b) {
      return state_.needs[need_of(a)].mandatory > state_.needs[need_of(b)].mandatory;
    });
    return open;
  }

  /// Plans with this demand as a hard want, and says what that takes.
  void force(DemandId id) {
    selection::Problem forced_problem = problem_;
    selection::Want& want = forced_problem.wants[id.index()];
    want = {want.wanted, 0, true, 0};
    selection::Limits limits;
    limits.seconds = clock_.left();
    limits.stop = clock_.limits().stop;
    limits.memory = &bed_.memory;
    const selection::Result forced = selection::solve(forced_problem, limits);
    const std::vector<std::int64_t> now = remains(problem_, forced.best.columns).wants;
    if (now[id.index()] > 0) {
      out_.push_back({need_of(id), Cents{0}, what_is_in_the_way(id)});
      return;
    }
    const Cents extra{selection::cost_of(problem_, forced.best.columns) - (before_ - price_of_lack(id).v)};
    const std::string lost = what_is_lost(now), taken = what_is_taken(id, forced.best.columns);
    out_.push_back({need_of(id), extra,
                    "make " + net_of(id) + " mandatory or raise its importance; it would take " +
                        (taken.empty() ? "a mating connector" : taken) + (lost.empty() ? "" : "; " + lost)});
  }

  [[nodiscard]] std::string what_is_lost(const std::vector<std::int64_t>& now) const {
    std::string lost;
    for (const DemandId id : model_.demands.ids()) {
      const std::int64_t before = std::max<std::int64_t>(0, left_[id.index()]);
      if (now[id.index()] > before)
        lost += (lost.empty() ? "" : ", ") + net_of(id) + " would lose " + std::to_string(now[id.index()] - before);
    }
    return lost;
  }

  [[nodiscard]] std::string what_is_taken(DemandId demand, const std::vector<int>& columns) const {
    std::map<std::string, int> taken;
    for (const int column : columns) {
      const auto id = CandidateId::of_number(column);
      const Candidate& candidate = model_.candidates[id];
      if (candidate.demand != demand || std::binary_search(chosen_.begin(), chosen_.end(), column)) continue;
      ++taken[state_.board.features[model_.first_atom(id).feature].name + " with " +
              state_.catalogue.classes[candidate.probe_class].name];
    }
    std::string text;
    for (const auto& [what, times] : taken)
      text += (text.empty() ? "" : ", ") + what + (times > 1 ? " (" + std::to_string(times) + " of them)" : "");
    return text;
  }

  /// Which limit or lock stands against a demand that cannot be met with what is fixed.
  [[nodiscard]] std::string what_is_in_the_way(DemandId demand) const {
    for (std::size_t k = 0; k < edited_.lock_demands.size(); ++k) {
      if (!edited_.kept[k]) continue;
      const LockDemand& lock_demand = edited_.lock_demands[k];
      for (const CandidateId id : lock_demand.candidates)
        for (const int other : problem_.conflicts[id.index()])
          for (const selection::Part& part : problem_.covers[index(other)])
            if (part.row == demand.number()) {
              const Lock& lock = edited_.locks[lock_demand.lock];
              return "remove the lock of " + lock.net + " on " + lock.target;
            }
    }
    if (!plan_.tight.empty()) return "raise the limit: " + plan_.tight[0];
    return "ask for fewer probes, because its targets cannot hold " +
           std::to_string(problem_.wants[demand.index()].wanted) + " at once";
  }

  const PlannerState& state_;
  BedPlan& bed_;
  const Model& model_;
  const Edited& edited_;
  const selection::Problem& problem_;
  const std::vector<int>& chosen_;
  const PlanResult& result_;
  const OptionResult& plan_;
  const Clock& clock_;
  const std::vector<std::int64_t> left_;  ///< by want
  const selection::Cost before_;
  Table<DemandId, std::int64_t> reach_;  ///< most that the candidates could cover, conflicts aside
  std::vector<Remedy> out_;
};
}  // namespace

std::vector<Rival> rivals_of(const PlannerState& state, const BedPlan& bed, const PlannedBed& planned) {
  return Rivals(state, bed, planned).run();
}

std::vector<Remedy> remedies_of(const PlannerState& state, BedPlan& bed, const PlannedBed& planned,
                                const PlanResult& result, const Clock& clock) {
  return Remedies(state, bed, planned, result, clock).run();
}

}  // namespace teasel::planning
