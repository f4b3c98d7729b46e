#include "teasel/plan.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <map>
#include <numeric>
#include <tuple>

#include "session.h"
#include "teasel/parallel.h"

namespace teasel {

namespace {
using namespace planning;

std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}

/// Numbers by side, net and target; on a panel, by board first, so that boards probed alike have like names.
/// Returns where each probe of the list went.
/// "P1-B017": 17 after "P1-B"; 0 where the name has another form.
int number_after(const std::string& name, const std::string& prefix) {
  int n = 0;
  if (name.rfind(prefix, 0) != 0 ||
      std::from_chars(name.data() + prefix.size(), name.data() + name.size(), n).ptr != name.data() + name.size())
    return 0;
  return n;
}

/// By board of a panel, side, net and target. A hole that stands keeps its name, and no name is given twice.
std::vector<int> name_probes(const Board& board, const Access& access, const std::vector<Need>& needs,
                             const StandingFixture& standing, OptionResult& r) {
  using Key = std::tuple<int, bool, std::string, std::string, int>;
  std::vector<std::tuple<Key, int>> list;
  for (std::size_t i = 0; i < r.probes.size(); ++i) {
    const PlacedProbe& p = r.probes[i];
    const Target& t = access.targets[at(p.target)];
    const Feature& f = board.features[at(t.feature)];
    list.emplace_back(Key{f.panel_place, t.side == Side::top, board.nets[at(needs[at(p.need)].net)].plain(), f.plain(),
                          p.spot - t.first_spot},
                      static_cast<int>(i));
  }
  std::sort(list.begin(), list.end());
  std::vector<PlacedProbe> sorted;
  std::vector<int> went(r.probes.size());
  std::map<std::pair<int, bool>, int> number;
  for (const auto& [key, i] : list) {
    PlacedProbe p = std::move(r.probes[at(i)]);
    const auto& [place, top, net, target, spot] = key;
    const std::string prefix = (place < 0 ? "" : board.places[at(place)].name + "-") + (top ? "T" : "B");
    int& last = number[{place, top}];
    if (last == 0)
      for (const StandingHole& h : standing.holes) last = std::max(last, number_after(h.name, prefix));
    if (p.standing_hole >= 0) {
      p.name = standing.holes[at(p.standing_hole)].name;
    } else {
      const std::string digits = std::to_string(++last);
      p.name = prefix + std::string(digits.size() < 3 ? 3 - digits.size() : 0, '0') + digits;
    }
    went[at(i)] = static_cast<int>(sorted.size());
    sorted.push_back(std::move(p));
  }
  if (standing.used) {
    std::vector<int> order(sorted.size()), place(sorted.size());
    std::iota(order.begin(), order.end(), 0);
    std::stable_sort(order.begin(), order.end(), [&](int a, int b) { return sorted[at(a)].name < sorted[at(b)].name; });
    std::vector<PlacedProbe> by_name;
    for (std::size_t k = 0; k < order.size(); ++k) {
      place[at(order[k])] = static_cast<int>(k);
      by_name.push_back(std::move(sorted[at(order[k])]));
    }
    sorted = std::move(by_name);
    for (int& w : went) w = place[at(w)];
  }
  r.probes = std::move(sorted);
  return went;
}

const char* wish_text(Wish::Kind k) {
  switch (k) {
    case Wish::Kind::demand: return "probes";
    case Wish::Kind::amperes: return "amperes";
    case Wish::Kind::kelvin_end: return "end of a four-wire measurement";
    case Wish::Kind::spread: return "spread";
    case Wish::Kind::clock_return: return "ground near a clock";
  }
  return "";
}

struct Planned {
  OptionResult result;
  Edited edited;
  std::vector<int> chosen, first_probe;  ///< candidates, and the first probe of each
};

selection::Limits limits_for(const Clock& clock, double share, BedPlan& bed) {
  selection::Limits l;
  l.seconds = std::max(0.02, clock.left() * share);
  l.stop = clock.limits().stop;
  l.memory = &bed.memory;
  return l;
}

/// What a choice of candidates means on the board.
void fill(const Session& s, const BedPlan& bed, Planned& out) {
  const Model& m = bed.model;
  OptionResult& r = out.result;
  r.got.assign(s.needs.size(), 0);
  double log_good = 0;
  for (const int c : out.chosen) {
    const Candidate& q = m.candidates[at(c)];
    out.first_probe.push_back(q.mate >= 0 ? -1 : static_cast<int>(r.probes.size()));
    if (q.mate >= 0) {
      PlacedMate x;
      x.name = "M" + std::to_string(r.mates.size() + 1);
      x.mate = q.mate;
      x.price = q.price;
      for (std::size_t i = q.first_atom; i < q.first_atom + q.atoms; ++i) {
        x.features.push_back(m.atoms[i].feature);
        x.needs.push_back(m.atoms[i].need);
        ++r.got[at(m.atoms[i].need)];
      }
      r.cost.mates += out.edited.problem.price[at(c)];
      r.mates.push_back(std::move(x));
      continue;
    }
    const ProbeClass& probe = s.catalogue.classes[at(q.probe_class)];
    for (std::size_t i = q.first_atom; i < q.first_atom + q.atoms; ++i) {
      const Atom& x = m.atoms[i];
      r.got[at(x.need)] += probe.contacts;
      if (x.ring_need >= 0) ++r.got[at(x.ring_need)];
      for (auto [sum, part] : {std::pair{&r.cost.probes.probe, x.cost.probe},
                               {&r.cost.probes.wear, x.cost.wear},
                               {&r.cost.probes.hole, x.cost.hole},
                               {&r.cost.probes.kind, x.cost.kind},
                               {&r.cost.probes.odds, x.cost.odds},
                               {&r.cost.probes.shortfall, x.cost.shortfall}})
        *sum += part;
      const Target& t = s.access.targets[at(x.target)];
      log_good +=
          std::log1p(-std::min(0.999, s.access.verdict(at(x.spot), at(q.probe_class), t.side == r.option.main).miss)) +
          std::log1p(-std::min(0.999, fault_on(s.rules, t)));
      r.probes.push_back({{},
                          x.need,
                          x.target,
                          x.spot,
                          q.probe_class,
                          x.cost,
                          x.ring_need,
                          x.old_hole,
                          x.standing_hole,
                          s.needs[at(x.need)].long_travel});
    }
    // What is free counts one cent: see the columns.
    if (q.price < 1) r.cost.probes.probe += 1 - q.price;
  }
  r.false_rejects = 1000 * -std::expm1(log_good);
  std::vector<std::int64_t> left(out.edited.problem.wants.size()), room = out.edited.problem.limits;
  for (std::size_t k = 0; k < left.size(); ++k) left[k] = out.edited.problem.wants[k].wanted;
  for (const int c : out.chosen) {
    for (const auto& x : out.edited.problem.covers[at(c)]) left[at(x.row)] -= x.amount;
    for (const auto& x : out.edited.problem.weighs[at(c)]) room[at(x.row)] -= x.amount;
  }
  for (std::size_t k = 0; k < m.wishes.size(); ++k) {
    const Cents price = out.edited.problem.wants[k].lack(left[k]);
    if (m.wishes[k].kind == Wish::Kind::demand)
      r.cost.unmet += price;
    else if (price > 0) {
      r.cost.wishes += price;
      r.wishes.push_back(
          {wish_text(m.wishes[k].kind), m.demands[at(m.wishes[k].demand)].needs[0], m.wishes[k].of, price});
    }
  }
  for (std::size_t l = 0; l < room.size(); ++l) {
    std::int64_t least = INT64_MAX;
    for (std::size_t c = 0; c < m.candidates.size(); ++c)
      for (const auto& x : m.problem.weighs[c])
        if (x.row == static_cast<int>(l)) least = std::min(least, x.amount);
    if (least <= m.problem.limits[l] && room[l] < least) r.tight.push_back(m.bounds[l].text);
  }
}

Planned plan_bed(const Session& s, BedPlan& bed, const PlanEdit& edit, const Clock& clock, double share) {
  Planned out;
  OptionResult& r = out.result;
  r.option = bed.bed;
  out.edited = edited(s, bed, edit, clock);
  selection::Result best;
  if (clock.limits().careful_only) {
    best.best.columns = selection::greedy(out.edited.problem);
    best.best.cost = selection::cost_of(out.edited.problem, best.best.columns);
  } else {
    best = selection::solve(out.edited.problem, limits_for(clock, share, bed));
  }
  out.chosen = best.best.columns;
  r.candidates = bed.model.candidates.size() -
                 static_cast<std::size_t>(std::count(bed.model.closed.begin(), bed.model.closed.end(), 1));
  r.reduced = best.kept;
  r.pieces = best.pieces;
  r.largest_piece = best.largest_piece;
  r.left_out_by_holes = static_cast<std::size_t>(bed.model.beside_old_holes);
  r.locks_missed = static_cast<int>(std::count(out.edited.kept.begin(), out.edited.kept.end(), 0));
  fill(s, bed, out);
  const double sides = static_cast<double>(bed.bed.bottom) + static_cast<double>(bed.bed.top);
  r.cost.beds =
      std::llround(100 * (sides * s.rules.cost.plate + (bed.bed.bottom && bed.bed.top ? s.rules.cost.second_bed : 0)));
  r.bound = best.bound + r.cost.beds;
  r.out_of_time = best.out_of_time;
  // A hard want that time was too short to keep counts as a lock that is missed.
  std::vector<char> in(bed.model.candidates.size());
  for (const int c : out.chosen) in[at(c)] = 1;
  bool kept = true;
  for (std::size_t k = 0; k < out.edited.kept.size(); ++k)
    if (out.edited.kept[k] &&
        std::none_of(out.edited.lock_demands[k].candidates.begin(), out.edited.lock_demands[k].candidates.end(),
                     [&](int c) { return in[at(c)] != 0; })) {
      ++r.locks_missed;
      out.edited.kept[k] = 0;
      kept = false;
    }
  r.proven = best.proven && kept;
  const std::vector<int> went = name_probes(s.board, s.access, s.needs, s.job.standing, r);
  for (int& p : out.first_probe)
    if (p >= 0) p = went[at(p)];
  return out;
}
}  // namespace

std::string BedOption::name() const {
  const std::string sides = bottom && top ? "both sides" : bottom ? "bottom only" : "top only";
  return sides + ", " + to_string(main) + " side down";
}

int nets_met(const std::vector<Need>& needs, const OptionResult& option) {
  int met = 0;
  for (std::size_t i = 0; i < needs.size(); ++i) met += needs[i].wanted > 0 && option.got[i] >= needs[i].wanted;
  return met;
}

Newton sum_of_forces(const Access& access, const Catalogue& catalogue, const Rules& rules, const OptionResult& option) {
  Newton sum;
  for (const PlacedProbe& p : option.probes)
    sum = sum + force_on(rules, access.targets[at(p.target)], catalogue.classes[at(p.probe_class)]);
  return sum;
}

Planner::Planner(const Board& board, const Access& access, const std::vector<Need>& needs, const Job& job,
                 const Catalogue& catalogue, const Rules& rules)
    : session_(new planning::Session{{board, access, needs, job, catalogue, rules}, {}, 0, {}}) {
  for (const BedOption& o : options_of(job)) {
    auto bed = std::make_unique<BedPlan>();
    bed->bed = o;
    bed->model = build_model(session_->inputs(o));
    session_->beds.push_back(std::move(bed));
  }
}

Planner::~Planner() = default;

void Planner::follow(const std::vector<int>& touched) {
  for (auto& bed : session_->beds) {
    const Followed how = planning::follow(bed->model, session_->inputs(bed->bed), touched);
    bed->stale = bed->stale || !touched.empty();
    if (how != Followed::dearer) bed->unedited.reset();
    if (how != Followed::unknown) continue;
    auto anew = std::make_unique<BedPlan>();
    anew->bed = bed->bed;
    anew->model = build_model(session_->inputs(bed->bed));
    bed = std::move(anew);
  }
}

PlanResult Planner::plan(const PlanEdit& edit, const PlanLimits& limits, Diagnostics& d) {
  Session& s = *session_;
  PlanResult result;
  const Clock clock(limits);
  std::vector<Planned> planned(s.beds.size());
  // An edit that only adds demands makes no option cheaper: one that costs more without it need not be planned again.
  const bool unedited = edit.locks.empty() && edit.bans.empty() && edit.wanted.empty();
  const bool adds = !unedited && std::all_of(edit.wanted.begin(), edit.wanted.end(),
                                             [&](const auto& w) { return w.second >= s.needs[at(w.first)].wanted; });
  // A lock that went may make an option cheaper; one that came may not.
  auto asked = [](const std::vector<Lock>& list, const Lock& l) {
    return std::any_of(list.begin(), list.end(), [&](const Lock& x) {
      return x.net == l.net && x.target == l.target && x.side == l.side && x.probe_class == l.probe_class;
    });
  };
  const bool lock_went =
                 !std::all_of(s.locks.begin(), s.locks.end(), [&](const Lock&l) { return asked(s.job.locks, l); }),
             lock_came =
                 !std::all_of(s.job.locks.begin(), s.job.locks.end(), [&](const Lock&l) { return asked(s.locks, l); });
  for (auto& bed : s.beds)
    if (lock_went)
      bed->unedited.reset();
    else
      bed->stale = bed->stale || lock_came;
  s.locks = s.job.locks;
  std::size_t left = s.beds.size();
  auto plan_one = [&](std::size_t i) {
    // Each option has its share of what is left; what one does not need goes to the others.
    planned[i] = plan_bed(s, *s.beds[i], edit, clock, 1.0 / static_cast<double>(left--));
    if (unedited) {
      s.beds[i]->unedited = planned[i].result;
      s.beds[i]->stale = false;
    }
  };
  const std::size_t first = std::min(s.last_chosen, s.beds.size() - 1);
  plan_one(first);
  std::vector<std::size_t> others;
  for (std::size_t i = 0; i < s.beds.size(); ++i) {
    if (i == first) continue;
    const auto& before = s.beds[i]->unedited;
    const OptionResult& r = planned[first].result;
    if (((adds && !s.beds[i]->stale) || (unedited && limits.quick)) && before && before->bound > r.total() &&
        r.locks_missed == 0) {
      planned[i].result = *before;
      planned[i].result.as_before = true;
      --left;
    } else if (limits.quick)
      others.push_back(i);
    else
      plan_one(i);
  }
  // Side by side where a user waits: then none can leave its time to another.
  const double share = others.empty() ? 1 : 1.0 / static_cast<double>(others.size());
  parallel_for(
      others.size(), [&](std::size_t k) { planned[others[k]] = plan_bed(s, *s.beds[others[k]], edit, clock, share); },
      1);
  for (const std::size_t i : others)
    if (unedited) {
      s.beds[i]->unedited = planned[i].result;
      s.beds[i]->stale = false;
    }
  for (const Planned& p : planned) result.options.push_back(p.result);
  // Locks are constraints: an option that keeps more of them comes before a cheaper one.
  auto rank = [&](const OptionResult& r) { return std::pair(r.locks_missed, r.total()); };
  for (std::size_t i = 1; i < result.options.size(); ++i)
    if (rank(result.options[i]) < rank(result.options[result.chosen])) result.chosen = i;
  if (unedited) s.last_chosen = result.chosen;
  result.stopped = planned[result.chosen].result.out_of_time || (limits.stop && limits.stop->load());
  BedPlan& bed = *s.beds[result.chosen];
  const Planned& best = planned[result.chosen];
  compare_options(s, result);
  report_locks(s, bed, best.edited, d);
  if (limits.explain && !d.failed()) {
    result.rivals = rivals_of(s, bed, best.edited, best.chosen, best.result, best.first_probe);
    if (best.result.proven && !result.stopped)
      result.remedies = remedies_of(s, bed, best.edited, best.chosen, result, clock);
  }
  if (s.job.proof && !d.failed()) {
    selection::Limits l = limits_for(clock, 1, bed);
    l.memory = nullptr;
    l.keep_proof = true;
    if (result.options[result.chosen].proven) l.seconds = std::max(l.seconds, 10.0);
    const selection::Result again = selection::solve(best.edited.problem, l);
    result.proof = selection::proof_text(best.edited.problem, again);
  }
  return result;
}

PlanResult plan(const Board& board, const Access& access, const std::vector<Need>& needs, const Job& job,
                const Catalogue& cat, const Rules& rules, const PlanLimits& limits, Diagnostics& d) {
  const auto start = std::chrono::steady_clock::now();
  Planner planner(board, access, needs, job, cat, rules);
  PlanLimits left = limits;
  left.seconds =
      std::max(0.0, limits.seconds - std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count());
  return planner.plan({}, left, d);
}

}  // namespace teasel
