#include "teasel/plan.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <map>
#include <numeric>
#include <set>
#include <tuple>

#include "model.h"

namespace teasel {

namespace {
using planning::Model;
using planning::Solution;

std::vector<std::vector<int>> pieces_of(const Model& m, const std::vector<bool>& alive) {
  std::vector<int> root(m.demands.size());
  std::iota(root.begin(), root.end(), 0);
  auto find = [&](int v) {
    while (root[static_cast<std::size_t>(v)] != v) v = root[static_cast<std::size_t>(v)] = root[static_cast<std::size_t>(root[static_cast<std::size_t>(v)])];
    return v;
  };
  for (std::size_t c = 0; c < m.candidates.size(); ++c) {
    if (!alive[c]) continue;
    for (int o : m.conflicts[c])
      if (alive[static_cast<std::size_t>(o)]) {
        const int a = find(m.demand_of[c]), b = find(m.demand_of[static_cast<std::size_t>(o)]);
        if (a != b) root[static_cast<std::size_t>(std::max(a, b))] = std::min(a, b);
      }
  }
  std::map<int, std::vector<int>> groups;
  for (std::size_t d = 0; d < m.demands.size(); ++d) groups[find(static_cast<int>(d))].push_back(static_cast<int>(d));
  std::vector<std::vector<int>> pieces;
  for (auto& [r, g] : groups) pieces.push_back(std::move(g));
  return pieces;
}

class Clock {
 public:
  explicit Clock(const PlanLimits& l) : limits_(l), start_(std::chrono::steady_clock::now()) {}
  double left() const { return limits_.seconds - std::chrono::duration<double>(std::chrono::steady_clock::now() - start_).count(); }
  bool over() const { return left() <= 0 || (limits_.stop && limits_.stop->load()); }

 private:
  const PlanLimits& limits_;
  std::chrono::steady_clock::time_point start_;
};

Solution solve_one(const Model& m, const std::vector<int>& piece, const std::vector<bool>& alive, const Clock& clock) {
  // One demand of one probe: its cheapest candidate, or none.
  if (piece.size() == 1 && m.demands[static_cast<std::size_t>(piece[0])].wanted == 1) {
    int best = -1;
    for (int c : m.of_demand[static_cast<std::size_t>(piece[0])])
      if (alive[static_cast<std::size_t>(c)] && (best < 0 || m.candidates[static_cast<std::size_t>(c)].price < m.candidates[static_cast<std::size_t>(best)].price)) best = c;
    Solution with{best < 0 ? std::vector<int>{} : std::vector<int>{best}, 0, 0, true}, without{{}, 0, 0, true};
    with.cost = planning::price_of(m, piece, with.chosen), without.cost = planning::price_of(m, piece, {});
    Solution& s = with.cost <= without.cost ? with : without;
    s.bound = s.cost;
    return s;
  }
  if (clock.over()) {
    Solution s;
    s.chosen = planning::greedy(m, piece, alive);
    s.cost = planning::price_of(m, piece, s.chosen);
    for (int d : piece)
      for (int c : m.of_demand[static_cast<std::size_t>(d)]) s.bound += alive[static_cast<std::size_t>(c)] ? std::min<Cents>(0, m.candidates[static_cast<std::size_t>(c)].price) : 0;
    return s;
  }
  return planning::solve_piece(m, piece, alive, clock.left());
}

/// Numbers by side, net and target; on a panel, by board first, so that boards probed alike have like names.
void name_probes(const Board& board, const Access& access, const std::vector<Need>& needs, OptionResult& r) {
  struct Key {
    int place;
    bool top;
    std::string net, target;
    int spot;
    bool operator<(const Key& o) const { return std::tie(place, top, net, target, spot) < std::tie(o.place, o.top, o.net, o.target, o.spot); }
  };
  std::vector<std::pair<Key, PlacedProbe>> list;
  for (PlacedProbe& p : r.probes) {
    const Target& t = access.targets[static_cast<std::size_t>(p.target)];
    const Feature& f = board.features[static_cast<std::size_t>(t.feature)];
    list.push_back({{f.panel_place, t.side == Side::top, board.nets[static_cast<std::size_t>(needs[static_cast<std::size_t>(p.need)].net)].plain(), f.plain(), p.spot - t.first_spot}, std::move(p)});
  }
  std::sort(list.begin(), list.end(), [](const auto& a, const auto& b) { return a.first < b.first; });
  r.probes.clear();
  std::map<std::pair<int, bool>, int> number;
  for (auto& [key, p] : list) {
    const std::string digits = std::to_string(++number[{key.place, key.top}]);
    p.name = (key.place < 0 ? "" : board.places[static_cast<std::size_t>(key.place)].name + "-") + (key.top ? "T" : "B") + std::string(digits.size() < 3 ? 3 - digits.size() : 0, '0') + digits;
    r.probes.push_back(std::move(p));
  }
}

OptionResult plan_option(const Board& board, const Access& access, const std::vector<Need>& needs, const Job& job, const Catalogue& cat, const Rules& rules, const BedOption& option, const Clock& clock) {
  OptionResult r;
  r.option = option;
  r.got.assign(needs.size(), 0);
  const Model m = planning::build_model(board, access, needs, job, cat, rules, option);
  const std::vector<bool> dead = planning::reduce(m);
  std::vector<bool> alive(dead.size());
  for (std::size_t i = 0; i < dead.size(); ++i) alive[i] = !dead[i];
  r.candidates = m.candidates.size();
  r.reduced = static_cast<std::size_t>(std::count(alive.begin(), alive.end(), true));
  const auto pieces = pieces_of(m, alive);
  r.pieces = pieces.size();
  r.proven = true;
  Cents bonus = 0;
  std::vector<int> chosen;
  for (const auto& piece : pieces) {
    r.largest_piece = std::max(r.largest_piece, piece.size());
    Solution s = solve_one(m, piece, alive, clock);
    r.proven = r.proven && s.proven;
    r.bound += s.bound;
    chosen.insert(chosen.end(), s.chosen.begin(), s.chosen.end());
  }
  std::vector<int> got(m.demands.size());
  for (int c : chosen) {
    const auto& q = m.candidates[static_cast<std::size_t>(c)];
    ++got[static_cast<std::size_t>(m.demand_of[static_cast<std::size_t>(c)])];
    bonus += q.bonus;
    for (std::size_t i = q.first_atom; i < q.first_atom + q.atoms; ++i) {
      const auto& x = m.atoms[i];
      ++r.got[static_cast<std::size_t>(x.need)];
      r.probe_costs += x.cost.total();
      r.probes.push_back({{}, x.need, x.target, x.spot, q.probe_class, x.cost});
    }
  }
  for (std::size_t d = 0; d < m.demands.size(); ++d) {
    if (got[d] == 0) r.unmet += m.demands[d].first;
    r.unmet += m.demands[d].further * std::max(0, m.demands[d].wanted - got[d]);
  }
  const double sides = static_cast<double>(option.bottom) + static_cast<double>(option.top);
  r.beds = std::llround(100 * (sides * rules.cost.plate + (option.bottom && option.top ? rules.cost.second_bed : 0)));
  r.bound += bonus + r.beds;
  name_probes(board, access, needs, r);
  return r;
}

std::vector<BedOption> options_of(const Job& job) {
  std::vector<BedOption> out;
  for (BedOption o : {BedOption{true, false, Side::bottom}, {false, true, Side::top}, {true, true, Side::bottom}, {true, true, Side::top}}) {
    if (job.sides == "bottom" && o.top) continue;
    if (job.sides == "top" && o.bottom) continue;
    if (job.sides == "both" && !(o.bottom && o.top)) continue;
    // The board lies on its main side; a single bed may also press from above when the job says how the board lies.
    if (job.board_lies == "bottom side down") o.main = Side::bottom;
    if (job.board_lies == "top side down") o.main = Side::top;
    const bool same = std::any_of(out.begin(), out.end(), [&](const BedOption& p) { return p.bottom == o.bottom && p.top == o.top && p.main == o.main; });
    if (!same) out.push_back(o);
  }
  return out;
}

/// The boards of the panel (or the one board: -1) on which an option does not keep a lock.
std::vector<int> not_kept(const Lock& l, const Board& board, const Access& access, const Catalogue& cat, const OptionResult& r) {
  // A plain name asks it of every board, one with the place before it of that board alone.
  std::set<int> asked;
  for (const Feature& f : board.features)
    if (f.name == l.target || f.plain() == l.target) asked.insert(f.panel_place);
  if (asked.empty()) asked.insert(-1);
  for (const PlacedProbe& p : r.probes) {
    const Target& t = access.targets[static_cast<std::size_t>(p.target)];
    const Feature& f = board.features[static_cast<std::size_t>(t.feature)];
    if (planning::meets(l, board, f, t.side, cat.classes[static_cast<std::size_t>(p.probe_class)].name)) asked.erase(f.panel_place);
  }
  return {asked.begin(), asked.end()};
}

std::size_t locks_missed(const Board& board, const Access& access, const Job& job, const Catalogue& cat, const OptionResult& r) {
  return static_cast<std::size_t>(std::count_if(job.locks.begin(), job.locks.end(), [&](const Lock& l) { return !not_kept(l, board, access, cat, r).empty(); }));
}

void check_locks(const Board& board, const Access& access, const Job& job, const Catalogue& cat, const OptionResult& r, Diagnostics& d) {
  for (const Lock& l : job.locks) {
    const std::vector<int> missing = not_kept(l, board, access, cat, r);
    if (missing.empty()) continue;
    std::string why = "no target of this name is exposed";
    bool found = false, open = false;
    for (std::size_t t = 0; t < access.targets.size() && !open; ++t) {
      const Target& target = access.targets[t];
      const Feature& f = board.features[static_cast<std::size_t>(target.feature)];
      if (f.name != l.target && f.plain() != l.target) continue;
      if (!planning::names(l, board, f)) {
        if (!found) why = "the target is on net " + board.nets[static_cast<std::size_t>(f.net)].name;
        continue;
      }
      if (f.panel_place != missing.front()) continue;
      for (std::size_t k = 0; k < cat.classes.size() && !open; ++k) {
        if (!planning::meets(l, board, f, target.side, cat.classes[k].name)) continue;
        const Verdict& v = access.best_verdict(t, k, target.side == r.option.main);
        open = v.open;
        if (!found && !v.open && !v.shortfalls.empty()) why = cat.classes[k].name + ": " + sentence(v.shortfalls[0], board, job);
        found = true;
      }
      if (!found) why = std::string("it is exposed on the ") + to_string(board.own_side(f, target.side)) + " only";
    }
    if (open) why = "it is open, but another lock, the spacing rule or the allowed sides exclude it";
    std::string where;
    for (const int place : missing)
      if (place >= 0) where += (where.empty() ? " (board " : ", ") + board.places[static_cast<std::size_t>(place)].name;
    d.error("lock-not-kept", l.place, "a lock cannot be kept", l.net + " on " + l.target + (where.empty() ? "" : where + ")") + ": " + why, {}, "remove or change the lock");
  }
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
  for (const PlacedProbe& p : option.probes) sum = sum + force_on(rules, access.targets[static_cast<std::size_t>(p.target)], catalogue.classes[static_cast<std::size_t>(p.probe_class)]);
  return sum;
}

PlanResult plan(const Board& board, const Access& access, const std::vector<Need>& needs, const Job& job, const Catalogue& cat, const Rules& rules, const PlanLimits& limits, Diagnostics& d) {
  PlanResult result;
  const Clock clock(limits);
  for (const BedOption& o : options_of(job)) result.options.push_back(plan_option(board, access, needs, job, cat, rules, o, clock));
  // Locks are constraints: an option that keeps more of them comes before a cheaper one.
  auto rank = [&](const OptionResult& r) { return std::pair(locks_missed(board, access, job, cat, r), r.total()); };
  for (std::size_t i = 1; i < result.options.size(); ++i)
    if (rank(result.options[i]) < rank(result.options[result.chosen])) result.chosen = i;
  result.stopped = !result.options[result.chosen].proven || (limits.stop && limits.stop->load());
  check_locks(board, access, job, cat, result.options[result.chosen], d);
  return result;
}

}  // namespace teasel
