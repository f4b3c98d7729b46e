#include "teasel/plan.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <map>
#include <numeric>
#include <tuple>

#include "planner_state.h"
#include "teasel/enums.h"
#include "teasel/parallel.h"
#include "teasel/plan/build_prices.h"

namespace teasel {

namespace planning {

Remains remains(const selection::Problem& problem, const std::vector<int>& columns) {
  Remains left{{}, problem.limits};
  for (const selection::Want& want : problem.wants) left.wants.push_back(want.wanted);
  for (const int number : columns) {
    const auto column = static_cast<std::size_t>(number);
    for (const selection::Part& part : problem.covers[column])
      left.wants[static_cast<std::size_t>(part.row)] -= part.amount;
    for (const selection::Part& part : problem.weighs[column])
      left.limits[static_cast<std::size_t>(part.row)] -= part.amount;
  }
  return left;
}

}  // namespace planning

namespace {
using namespace planning;

/// "P1-B017": 17 after "P1-B"; 0 where the name has another form.
int number_after(const std::string& name, const std::string& prefix) {
  int number = 0;
  if (name.rfind(prefix, 0) != 0 ||
      std::from_chars(name.data() + prefix.size(), name.data() + name.size(), number).ptr != name.data() + name.size())
    return 0;
  return number;
}

/// The names of an option's probes.
class ProbeNames {
 public:
  ProbeNames(const Board& board, const Access& access, const Needs& needs, const StandingFixture& standing)
      : board_(board), access_(access), needs_(needs), standing_(standing) {}
  /// Numbers by board of a panel, side, net and target, so that boards probed alike have like names. A hole that stands
  /// keeps its name, and no name is given twice. The probes are put into the order of their names; returns where each
  /// of them went.
  Table<ProbeId, ProbeId> give(Table<ProbeId, PlacedProbe>& probes);

 private:
  using Key = std::tuple<PlaceId, bool, std::string, std::string, int>;
  [[nodiscard]] Key key_of(const PlacedProbe& probe) const;
  std::string name_of(const PlacedProbe& probe);

  const Board& board_;
  const Access& access_;
  const Needs& needs_;
  const StandingFixture& standing_;
  std::map<std::pair<PlaceId, Side>, int> last_;  ///< number given
};

ProbeNames::Key ProbeNames::key_of(const PlacedProbe& probe) const {
  const Target& target = access_.targets[probe.target];
  const Feature& feature = board_.features[target.feature];
  return {feature.panel_place, target.side == Side::top, board_.nets[needs_[probe.need].net].name.plain(),
          feature.name.plain(), probe.spot.number() - target.first_spot.number()};
}

std::string ProbeNames::name_of(const PlacedProbe& probe) {
  const Target& target = access_.targets[probe.target];
  const PlaceId place = board_.features[target.feature].panel_place;
  const std::string prefix =
      (place ? board_.places[place].name + "-" : std::string{}) + (target.side == Side::top ? "T" : "B");
  int& last = last_[{place, target.side}];
  if (last == 0)
    for (const StandingHole& hole : standing_.holes) last = std::max(last, number_after(hole.name, prefix));
  if (probe.standing_hole) return standing_.holes[probe.standing_hole].name;
  const std::string digits = std::to_string(++last);
  return prefix + std::string(digits.size() < 3 ? 3 - digits.size() : 0, '0') + digits;
}

Table<ProbeId, ProbeId> ProbeNames::give(Table<ProbeId, PlacedProbe>& probes) {
  std::vector<std::pair<Key, ProbeId>> order;
  for (const ProbeId id : probes.ids()) order.emplace_back(key_of(probes[id]), id);
  std::sort(order.begin(), order.end());
  for (const auto& [key, id] : order) probes[id].name = name_of(probes[id]);
  if (standing_.used)
    std::stable_sort(order.begin(), order.end(),
                     [&](const auto& a, const auto& b) { return probes[a.second].name < probes[b.second].name; });
  Table<ProbeId, PlacedProbe> sorted;
  Table<ProbeId, ProbeId> went(probes.size());
  for (const auto& [key, id] : order) went[id] = sorted.add(std::move(probes[id]));
  probes = std::move(sorted);
  return went;
}

constexpr Words<Wish::Kind> kWishes{"probes", "amperes", "end of a four-wire measurement", "spread",
                                    "ground near a clock"};

selection::Limits limits_for(const Clock& clock, double share, BedPlan& bed) {
  selection::Limits limits;
  limits.seconds = std::max(0.02, clock.left() * share);
  limits.stop = clock.limits().stop;
  limits.memory = &bed.memory;
  return limits;
}

ProbeCost& operator+=(ProbeCost& sum, const ProbeCost& cost) {
  sum.probe += cost.probe;
  sum.wear += cost.wear;
  sum.hole += cost.hole;
  sum.kind += cost.kind;
  sum.odds += cost.odds;
  sum.shortfall += cost.shortfall;
  return sum;
}

/// Fills in what a choice of candidates means on the board.
class Filling {
 public:
  Filling(const PlannerState& state, const BedPlan& bed, PlannedBed& out)
      : state_(state), model_(bed.model), problem_(out.edited.problem), out_(out), result_(out.result) {}
  void run() {
    result_.got.assign(state_.needs.size(), 0);
    for (const int column : out_.chosen) {
      const Candidate& candidate = model_.candidates[CandidateId::of_number(column)];
      out_.first_probe.push_back(candidate.mate ? ProbeId{} : result_.probes.next());
      if (candidate.mate)
        add_mate(candidate, Cents{problem_.price[static_cast<std::size_t>(column)]});
      else
        add_probes(candidate);
    }
    result_.false_rejects = 1000 * -std::expm1(log_good_);
    const Remains left = remains(problem_, out_.chosen);
    add_open_wishes(left.wants);
    add_tight_limits(left.limits);
  }

 private:
  void add_mate(const Candidate& candidate, Cents price) {
    // Where boards are probed alike, one candidate stands for the connectors of all of them.
    std::map<PlaceId, PlacedMate> by_place;
    for (const Atom& pin : model_.atoms_of(candidate)) {
      PlacedMate& mate = by_place[state_.board.features[pin.feature].panel_place];
      mate.features.push_back(pin.feature);
      mate.needs.push_back(pin.need);
      ++result_.got[pin.need];
    }
    for (auto& [place, mate] : by_place) {
      const std::string board = place ? state_.board.places[place].name + "-" : std::string();
      mate.name = board + "M" + std::to_string(++mates_on_[place]);
      mate.mate = candidate.mate;
      mate.price = Cents{candidate.price.v / static_cast<std::int64_t>(by_place.size())};
      result_.mates.push_back(std::move(mate));
    }
    result_.cost.mates += price;
  }

  void add_probes(const Candidate& candidate) {
    const ProbeClass& probe = state_.catalogue.classes[candidate.probe_class];
    for (const Atom& atom : model_.atoms_of(candidate)) {
      result_.got[atom.need] += probe.contacts;
      if (atom.ring_need) ++result_.got[atom.ring_need];
      result_.cost.probes += atom.cost;
      const Target& target = state_.access.targets[atom.target];
      const Verdict& verdict =
          state_.access.verdict(atom.spot, candidate.probe_class, target.side == result_.option.main);
      log_good_ +=
          std::log1p(-std::min(0.999, verdict.miss.v)) + std::log1p(-std::min(0.999, fault_on(state_.rules, target).v));
      PlacedProbe placed;
      placed.need = atom.need;
      placed.target = atom.target;
      placed.spot = atom.spot;
      placed.probe_class = candidate.probe_class;
      placed.cost = atom.cost;
      placed.ring_need = atom.ring_need;
      placed.old_hole = atom.old_hole;
      placed.standing_hole = atom.standing_hole;
      placed.long_travel = state_.needs[atom.need].long_travel;
      result_.probes.push_back(std::move(placed));
    }
    // What is free counts one cent: see Builder::columns().
    if (candidate.price < Cents{1}) result_.cost.probes.probe += Cents{1} - candidate.price;
  }

  void add_open_wishes(const std::vector<std::int64_t>& left) {
    for (std::size_t row = 0; row < model_.wishes.size(); ++row) {
      const Wish& wish = model_.wishes[row];
      const Cents price{problem_.wants[row].lack(left[row])};
      if (wish.kind == Wish::Kind::demand) {
        result_.cost.unmet += price;
      } else if (price > Cents{0}) {
        result_.cost.wishes += price;
        result_.wishes.push_back({kWishes[wish.kind], model_.demands[wish.demand].needs[0], wish.of, price});
      }
    }
  }

  /// Limits that leave less room than the lightest candidate takes.
  void add_tight_limits(const std::vector<std::int64_t>& room) {
    for (std::size_t row = 0; row < room.size(); ++row) {
      std::int64_t least = INT64_MAX;
      for (const CandidateId id : model_.candidates.ids())
        for (const selection::Part& part : model_.problem.weighs[id.index()])
          if (part.row == static_cast<int>(row)) least = std::min(least, part.amount);
      if (least <= model_.problem.limits[row] && room[row] < least) result_.tight.push_back(model_.bounds[row].text);
    }
  }

  const PlannerState& state_;
  const Model& model_;
  const selection::Problem& problem_;
  PlannedBed& out_;
  OptionResult& result_;
  std::map<PlaceId, int> mates_on_;  ///< mates given a name, by board of a panel
  double log_good_ = 0;              ///< log of the chance that no probe rejects a good board
};

/// A hard want that time was too short to keep counts as a lock that is missed. True if there is none.
bool keeps_its_locks(PlannedBed& planned) {
  bool all = true;
  for (std::size_t k = 0; k < planned.edited.kept.size(); ++k) {
    const auto& candidates = planned.edited.lock_demands[k].candidates;
    if (!planned.edited.kept[k] || std::any_of(candidates.begin(), candidates.end(), [&](CandidateId id) {
          return std::binary_search(planned.chosen.begin(), planned.chosen.end(), id.number());
        }))
      continue;
    ++planned.result.locks_missed;
    planned.edited.kept[k] = 0;
    all = false;
  }
  return all;
}

PlannedBed plan_bed(const PlannerState& state, BedPlan& bed, const PlanEdit& edit, const Clock& clock, double share) {
  PlannedBed out;
  OptionResult& result = out.result;
  result.option = bed.bed;
  out.edited = edited(state, bed, edit, clock);
  selection::Result best;
  if (clock.limits().careful_only) {
    best.best.columns = selection::greedy(out.edited.problem);
    best.best.cost = selection::cost_of(out.edited.problem, best.best.columns);
  } else {
    best = selection::solve(out.edited.problem, limits_for(clock, share, bed));
  }
  out.chosen = best.best.columns;
  const auto closed = std::count(bed.model.closed.begin(), bed.model.closed.end(), 1);
  result.candidates = bed.model.candidates.size() - static_cast<std::size_t>(closed);
  result.reduced = best.kept;
  result.pieces = best.pieces;
  result.largest_piece = best.largest_piece;
  result.left_out_by_holes = static_cast<std::size_t>(bed.model.beside_old_holes);
  result.locks_missed = static_cast<int>(std::count(out.edited.kept.begin(), out.edited.kept.end(), 0));
  Filling(state, bed, out).run();
  result.cost.beds = planning::cents(build_prices(state, bed.bed).beds.v);
  result.bound = Cents{best.bound} + result.cost.beds;
  result.out_of_time = best.out_of_time;
  result.proven = keeps_its_locks(out) && best.proven;
  const Table<ProbeId, ProbeId> went =
      ProbeNames(state.board, state.access, state.needs, state.standing).give(result.probes);
  for (ProbeId& probe : out.first_probe)
    if (probe) probe = went[probe];
  return out;
}

bool same_lock(const Lock& a, const Lock& b) {
  return a.net == b.net && a.target == b.target && a.side == b.side && a.probe_class == b.probe_class;
}
bool all_in(const std::vector<Lock>& locks, const std::vector<Lock>& list) {
  return std::all_of(locks.begin(), locks.end(), [&](const Lock& lock) {
    return std::any_of(list.begin(), list.end(), [&](const Lock& other) { return same_lock(lock, other); });
  });
}

/// Forgets what a change of the job's locks makes worthless: one that went may make an option cheaper, one that came
/// may not.
void follow_locks(PlannerState& state) {
  const std::vector<Lock>& now = state.job.decisions.locks;
  const bool lock_went = !all_in(state.locks, now), lock_came = !all_in(now, state.locks);
  for (auto& bed : state.beds)
    if (lock_went)
      bed->unedited.reset();
    else
      bed->stale = bed->stale || lock_came;
  state.locks = now;
}

/// Plans all options, the last one chosen first.
std::vector<PlannedBed> plan_all(PlannerState& state, const PlanEdit& edit, const Clock& clock) {
  const bool quick = clock.limits().quick;
  std::vector<PlannedBed> planned(state.beds.size());
  const bool unedited = edit.empty();
  // An edit that only adds demands makes no option cheaper: one that costs more without it need not be planned again.
  const bool adds = !unedited && std::all_of(edit.wanted.begin(), edit.wanted.end(), [&](const auto& asked) {
    return asked.second >= state.needs[asked.first].wanted;
  });
  auto remember = [&](std::size_t i) {
    if (!unedited) return;
    state.beds[i]->unedited = planned[i].result;
    state.beds[i]->stale = false;
  };
  std::size_t left = state.beds.size();
  auto plan_one = [&](std::size_t i) {
    // Each option has its share of what is left; what one does not need goes to the others.
    const double share = 1.0 / static_cast<double>(left--);
    planned[i] = plan_bed(state, *state.beds[i], edit, clock, share);
    remember(i);
  };
  const std::size_t first = std::min(state.last_chosen, state.beds.size() - 1);
  plan_one(first);
  const OptionResult& best = planned[first].result;
  std::vector<std::size_t> others;
  for (std::size_t i = 0; i < state.beds.size(); ++i) {
    if (i == first) continue;
    const BedPlan& bed = *state.beds[i];
    const bool bound_holds = (adds && !bed.stale) || (unedited && quick);
    if (bound_holds && bed.unedited && bed.unedited->bound > best.total() && best.locks_missed == 0) {
      planned[i].result = *bed.unedited;
      planned[i].result.as_before = true;
      --left;
    } else if (quick)
      others.push_back(i);
    else
      plan_one(i);
  }
  // Side by side where a user waits: then none can leave its time to another.
  const double share = others.empty() ? 1 : 1.0 / static_cast<double>(others.size());
  parallel_for(
      others.size(),
      [&](std::size_t k) { planned[others[k]] = plan_bed(state, *state.beds[others[k]], edit, clock, share); }, 1);
  for (const std::size_t i : others) remember(i);
  return planned;
}

/// Solves once more, with the proof kept.
std::string proof_of(const PlannedBed& planned, BedPlan& bed, const Clock& clock) {
  selection::Limits limits = limits_for(clock, 1, bed);
  limits.memory = nullptr;
  limits.keep_proof = true;
  if (planned.result.proven) limits.seconds = std::max(limits.seconds, 10.0);
  return selection::proof_text(planned.edited.problem, selection::solve(planned.edited.problem, limits));
}
}  // namespace

std::string BedOption::name() const {
  const std::string probed_sides = sides.is_both() ? "both sides" : std::string(to_string(sides)) + " only";
  return probed_sides + ", " + to_string(main) + " side down";
}

int nets_met(const Needs& needs, const OptionResult& option) {
  int met = 0;
  for (const NeedId id : needs.ids()) met += needs[id].wanted > 0 && option.got[id] >= needs[id].wanted;
  return met;
}

Newton sum_of_forces(const Access& access, const Catalogue& catalogue, const Rules& rules, const OptionResult& option) {
  Newton sum;
  for (const PlacedProbe& probe : option.probes)
    sum += force_on(rules, access.targets[probe.target], catalogue.classes[probe.probe_class]);
  return sum;
}

Planner::Planner(const PlanInputs& in) : state_(new PlannerState{in, {}, 0, {}}) {
  for (const BedOption& option : options_of(in)) {
    auto bed = std::make_unique<BedPlan>();
    bed->bed = option;
    bed->model = build_model(state_->inputs(option));
    state_->beds.push_back(std::move(bed));
  }
}

Planner::~Planner() = default;

void Planner::follow(const std::vector<TargetId>& touched) {
  for (auto& bed : state_->beds) {
    const Followed how = planning::follow(bed->model, state_->inputs(bed->bed), touched);
    bed->stale = bed->stale || !touched.empty();
    if (how != Followed::dearer) bed->unedited.reset();
    if (how != Followed::unknown) continue;
    auto anew = std::make_unique<BedPlan>();
    anew->bed = bed->bed;
    anew->model = build_model(state_->inputs(bed->bed));
    bed = std::move(anew);
  }
}

PlanResult Planner::plan(const PlanEdit& edit, const PlanLimits& limits, Diagnostics& diagnostics) {
  PlannerState& state = *state_;
  PlanResult result;
  result.usual_lands_only = edit.usual_lands_only;
  const Clock clock(limits);
  follow_locks(state);
  const std::vector<PlannedBed> planned = plan_all(state, edit, clock);
  for (const PlannedBed& bed : planned) result.options.push_back(bed.result);
  // Locks are constraints: an option that keeps more of them comes before a cheaper one.
  auto rank = [](const OptionResult& option) { return std::pair(option.locks_missed, option.total()); };
  for (std::size_t i = 1; i < result.options.size(); ++i)
    if (rank(result.options[i]) < rank(result.options[result.chosen])) result.chosen = i;
  turn_over_if_as_good(state, result);
  if (edit.empty()) state.last_chosen = result.chosen;
  const PlannedBed& best = planned[result.chosen];
  BedPlan& bed = *state.beds[result.chosen];
  result.stopped = best.result.out_of_time || (limits.stop && limits.stop->load());
  report_locks(state, bed, best.edited, diagnostics);
  if (limits.explain && !diagnostics.failed()) {
    result.rivals = rivals_of(state, bed, best);
    if (best.result.proven && !result.stopped) result.remedies = remedies_of(state, bed, best, result, clock);
  }
  if ((state.job.effort.proof || limits.proof) && !diagnostics.failed()) result.proof = proof_of(best, bed, clock);
  return result;
}

PlanResult plan(const PlanInputs& in, const PlanLimits& limits, Diagnostics& diagnostics) {
  const auto start = std::chrono::steady_clock::now();
  Planner planner(in);
  PlanLimits left = limits;
  left.time = Seconds{
      std::max(0.0, limits.time.v - std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count())};
  return planner.plan({}, left, diagnostics);
}

}  // namespace teasel
