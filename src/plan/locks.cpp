// Locks, bans and counts worked into a problem. Locks are constraints: as many as can stand together become hard wants;
// for the others the smallest set of demands in conflict is named.
#include <algorithm>
#include <functional>
#include <numeric>
#include <set>

#include "planner_state.h"

namespace teasel::planning {

namespace {
using LockSet = std::vector<std::size_t>;  ///< rows of the list of lock demands

bool fits(const std::string& glob, const auto& name) {
  return glob.empty() || glob_match(glob, name);
}
bool fits_plain(const std::string& glob, const auto& name) {
  return glob.empty() || plain_match(glob, name);
}

bool banned_by(const Ban& ban, const Board& board, const Feature& feature, Side side) {
  if (!fits(ban.net, board.nets[feature.net].name) || !fits(ban.target, feature.name)) return false;
  if (!ban.side) return true;
  // A name with the place before it speaks of the panel's sides, a plain one of those of the board itself.
  const bool by_plain = fits_plain(ban.net, board.nets[feature.net].name) && fits_plain(ban.target, feature.name);
  return *ban.side == (by_plain ? board.own_side(feature, side) : side);
}

bool is_target(const Lock& lock, const Feature& feature) {
  return feature.name == lock.target || feature.name.plain() == lock.target;
}

/// The boards of the panel on which a lock is asked for: a plain name asks it of every one.
std::vector<PlaceId> places_of(const Lock& lock, const Board& board) {
  std::set<PlaceId> asked;
  for (const Feature& feature : board.features)
    if (is_target(lock, feature)) asked.insert(feature.panel_place);
  if (asked.empty()) asked.insert(PlaceId{});
  return {asked.begin(), asked.end()};
}

std::vector<LockDemand> lock_demands(const PlannerState& state, const BedPlan& bed, const std::vector<Lock>& locks,
                                     const Table<CandidateId, char>& banned) {
  std::vector<LockDemand> out;
  const Model& model = bed.model;
  for (std::size_t i = 0; i < locks.size(); ++i)
    for (const PlaceId place : places_of(locks[i], state.board)) {
      LockDemand demand{i, place, {}};
      for (const CandidateId id : model.candidates.ids()) {
        const Candidate& candidate = model.candidates[id];
        if (candidate.mate || banned[id]) continue;
        const std::string& probe_class = state.catalogue.classes[candidate.probe_class].name;
        const auto atoms = model.atoms_of(candidate);
        if (std::any_of(atoms.begin(), atoms.end(), [&](const Atom& atom) {
              const Feature& feature = state.board.features[atom.feature];
              return feature.panel_place == place && meets(locks[i], state.board, feature, atom.side, probe_class);
            }))
          demand.candidates.push_back(id);
      }
      out.push_back(std::move(demand));
    }
  return out;
}

/// Which of these locks can stand together, as many as possible.
std::vector<char> standing(const Model& model, const std::vector<LockDemand>& demands, const LockSet& asked,
                           const Clock& clock) {
  std::vector<char> out(demands.size());
  std::vector<CandidateId> columns;
  for (const std::size_t lock : asked)
    columns.insert(columns.end(), demands[lock].candidates.begin(), demands[lock].candidates.end());
  std::sort(columns.begin(), columns.end());
  columns.erase(std::unique(columns.begin(), columns.end()), columns.end());
  if (columns.empty()) return out;
  constexpr selection::Cost kMiss = 1000;
  selection::Problem problem;
  for (std::size_t k = 0; k < asked.size(); ++k) problem.wants.push_back({1, kMiss, false, 0});
  problem.limits = model.problem.limits;
  for (const CandidateId id : columns) {
    problem.price.push_back(1);
    for (std::size_t k = 0; k < asked.size(); ++k)
      if (const auto& list = demands[asked[k]].candidates; std::binary_search(list.begin(), list.end(), id))
        problem.covers.add({static_cast<int>(k), 1});
    problem.covers.close();
    for (const selection::Part& part : model.problem.weighs[id.index()]) problem.weighs.add(part);
    problem.weighs.close();
    for (const int number : model.problem.conflicts[id.index()]) {
      const auto other = CandidateId::of_number(number);
      if (const auto it = std::lower_bound(columns.begin(), columns.end(), other); it != columns.end() && *it == other)
        problem.conflicts.add(static_cast<int>(it - columns.begin()));
    }
    problem.conflicts.close();
  }
  selection::Limits limits;
  limits.seconds = std::max(1.0, clock.left());
  const selection::Result result = selection::solve(problem, limits);
  for (const int column : result.best.columns)
    for (const selection::Part& part : problem.covers[static_cast<std::size_t>(column)])
      out[asked[static_cast<std::size_t>(part.row)]] = 1;
  return out;
}

/// The fewest locks among these that cannot stand together. Exhaustive by size up to a bound, then by leaving out one
/// by one.
LockSet smallest_conflict(const Model& model, const std::vector<LockDemand>& demands, LockSet among,
                          const Clock& clock) {
  auto holds = [&](const LockSet& set) {
    const auto kept = standing(model, demands, set, clock);
    return std::all_of(set.begin(), set.end(), [&](std::size_t lock) { return kept[lock] != 0; });
  };
  int tries = 0;
  constexpr int kTries = 5000;
  LockSet set;
  for (std::size_t size = 2; size <= among.size() && tries < kTries; ++size) {
    std::function<bool(std::size_t)> pick = [&](std::size_t from) {
      if (set.size() == size) return ++tries <= kTries && !holds(set);
      for (std::size_t i = from; i < among.size() && tries < kTries; ++i) {
        set.push_back(among[i]);
        if (pick(i + 1)) return true;
        set.pop_back();
      }
      return false;
    };
    set.clear();
    if (pick(0)) return set;
  }
  for (std::size_t i = 0; i < among.size();) {
    LockSet without = among;
    without.erase(without.begin() + static_cast<std::ptrdiff_t>(i));
    if (!holds(without))
      among = without;
    else
      ++i;
  }
  return among;
}

std::string lock_text(const PlannerState& state, const Lock& lock, PlaceId place) {
  std::string text = lock.net + " on " + lock.target;
  if (lock.side) text += std::string(", ") + to_string(*lock.side);
  if (!lock.probe_class.empty()) text += ", " + lock.probe_class;
  if (place) text += " (board " + state.board.places[place].name + ")";
  return text;
}

/// Why no candidate of this option keeps a lock; nothing where its target is open all the same.
std::optional<std::string> why_none(const PlannerState& state, const BedPlan& bed, const Lock& lock, PlaceId place) {
  const Board& board = state.board;
  const Access& access = state.access;
  std::string why = "no exposed target has this name";
  bool found = false;
  for (const TargetId id : access.targets.ids()) {
    const Target& target = access.targets[id];
    const Feature& feature = board.features[target.feature];
    if (!is_target(lock, feature)) continue;
    if (!names(lock, board, feature)) {
      if (!found) why = "the target is on net " + board.nets[feature.net].name;
      continue;
    }
    if (feature.panel_place != place) continue;
    for (const ClassId probe_class : state.catalogue.classes.ids()) {
      const std::string& class_name = state.catalogue.classes[probe_class].name;
      if (!meets(lock, board, feature, target.side, class_name)) continue;
      const Verdict& verdict = access.best_verdict(id, probe_class, target.side == bed.bed.main);
      if (verdict.open) return std::nullopt;
      if (!found && !verdict.shortfalls.empty())
        why = class_name + ": " + sentence(verdict.shortfalls[0], board, state.job);
      found = true;
    }
    if (!found)
      why = std::string("it is exposed on the ") + to_string(board.own_side(feature, target.side)) + " side only";
  }
  return why;
}

/// Takes the candidates out that the edit bans.
void work_in_bans(const PlannerState& state, const BedPlan& bed, const PlanEdit& edit, Edited& out) {
  const Model& model = bed.model;
  out.banned = model.closed;
  auto is_banned = [&](const Atom& atom) {
    const Feature& feature = state.board.features[atom.feature];
    return (edit.usual_lands_only &&
            state.access.spots[atom.spot].diameter < state.rules.usual_land(atom.side == bed.bed.main)) ||
           std::any_of(edit.bans.begin(), edit.bans.end(),
                       [&](const Ban& ban) { return banned_by(ban, state.board, feature, atom.side); });
  };
  for (const CandidateId id : model.candidates.ids()) {
    const Candidate& candidate = model.candidates[id];
    if ((edit.bans.empty() && !edit.usual_lands_only) || candidate.mate || out.banned[id]) continue;
    const auto atoms = model.atoms_of(candidate);
    out.banned[id] = std::any_of(atoms.begin(), atoms.end(), is_banned);
  }
  for (const CandidateId id : model.candidates.ids())
    if (out.banned[id]) out.problem.price[id.index()] = selection::kHard;  // dearer than anything it could serve
}

/// Changes the numbers of probes that the edit asks for.
void work_in_counts(const Model& model, const std::map<NeedId, int>& asked, Edited& out) {
  for (const Demand& demand : model.demands) out.wanted.push_back(demand.wanted);
  for (const auto& [need, wanted] : asked)
    for (const DemandId id : model.demands.ids()) {
      const Demand& demand = model.demands[id];
      if (std::find(demand.needs.begin(), demand.needs.end(), need) == demand.needs.end()) continue;
      out.wanted[id] = wanted;
      selection::Want& want = out.problem.wants[id.index()];
      want.wanted = wanted;
      want.miss = (wanted == 1 ? demand.none : demand.further).v;
      want.last = wanted <= 1 ? 0 : (demand.none - demand.further).v;
      if (wanted > 0) continue;
      want = {};
      for (std::size_t row = model.demands.size(); row < model.wishes.size(); ++row)
        if (model.wishes[row].demand == id) out.problem.wants[row] = {};
    }
}
}  // namespace

bool names(const Lock& lock, const Board& board, const Feature& feature) {
  return is_target(lock, feature) && board.nets[feature.net].name.is_meant_by(lock.net);
}

bool meets(const Lock& lock, const Board& board, const Feature& feature, Side side, const std::string& probe_class) {
  // Plain names speak of the board, whose sides a flipped place of a panel turns over.
  const Side meant = lock.target == feature.name.plain() ? board.own_side(feature, side) : side;
  return names(lock, board, feature) && (!lock.side || *lock.side == meant) &&
         (lock.probe_class.empty() || lock.probe_class == probe_class);
}

Edited edited(const PlannerState& state, const BedPlan& bed, const PlanEdit& edit, const Clock& clock) {
  const Model& model = bed.model;
  Edited out;
  out.problem = model.problem;
  work_in_bans(state, bed, edit, out);
  work_in_counts(model, edit.wanted, out);
  out.locks = state.job.decisions.locks;
  out.locks.insert(out.locks.end(), edit.locks.begin(), edit.locks.end());
  out.lock_demands = lock_demands(state, bed, out.locks, out.banned);
  out.kept.assign(out.lock_demands.size(), 0);
  if (out.lock_demands.empty()) return out;
  LockSet all(out.lock_demands.size());
  std::iota(all.begin(), all.end(), std::size_t{0});
  out.kept = standing(model, out.lock_demands, all, clock);
  Table<CandidateId, std::vector<int>> extra(model.candidates.size());
  for (std::size_t k = 0; k < out.lock_demands.size(); ++k) {
    if (!out.kept[k]) continue;
    const int row = static_cast<int>(out.problem.wants.size());
    out.problem.wants.push_back({1, 0, true, 0});
    for (const CandidateId id : out.lock_demands[k].candidates) extra[id].push_back(row);
  }
  selection::Lists<selection::Part> covers;
  for (const CandidateId id : model.candidates.ids()) {
    for (const selection::Part& part : model.problem.covers[id.index()]) covers.add(part);
    for (const int row : extra[id]) covers.add({row, 1});
    covers.close();
  }
  out.problem.covers = std::move(covers);
  return out;
}

void report_locks(const PlannerState& state, const BedPlan& bed, const Edited& edited, Diagnostics& diagnostics) {
  const Clock clock({});
  LockSet with, missed;
  for (std::size_t k = 0; k < edited.lock_demands.size(); ++k) {
    const LockDemand& demand = edited.lock_demands[k];
    if (edited.kept[k] || !demand.candidates.empty()) {
      with.push_back(k);
      if (!edited.kept[k]) missed.push_back(k);
      continue;
    }
    const Lock& lock = edited.locks[demand.lock];
    const std::string why = why_none(state, bed, lock, demand.place)
                                .value_or(
                                    "the target is open, but an existing hole of the fixture, the stage of the press "
                                    "or the allowed sides rule it out");
    diagnostics.error({.code = "lock-not-kept",
                       .at = lock.place,
                       .message = "this lock cannot be kept",
                       .found = lock_text(state, lock, demand.place) + ": " + why,
                       .remedy = "remove or change the lock"});
  }
  if (missed.empty()) return;
  const LockSet set = smallest_conflict(bed.model, edited.lock_demands, with, clock);
  std::string text;
  for (const std::size_t k : set) {
    const LockDemand& demand = edited.lock_demands[k];
    text += (text.empty() ? "" : ";  ") + lock_text(state, edited.locks[demand.lock], demand.place);
  }
  if (set.size() == 1) text += ":  a limit leaves no room for it";
  diagnostics.error({.code = "lock-not-kept",
                     .at = edited.locks[edited.lock_demands[missed[0]].lock].place,
                     .message = "not all locks can be kept; this is the smallest set of them in conflict",
                     .found = text,
                     .remedy = "remove or change one of these locks"});
}

}  // namespace teasel::planning
