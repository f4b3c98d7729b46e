// Locks, bans and counts worked into a problem. Locks are constraints: as many as can stand together become hard wants;
// for the others the smallest set of demands in conflict is named.
#include <algorithm>
#include <functional>
#include <numeric>
#include <set>

#include "session.h"

namespace teasel::planning {

namespace {
std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}

bool banned_by(const Ban& ban, const Board& b, const Feature& f, Side side) {
  const Net& net = b.nets[at(f.net)];
  auto fits = [](const std::string& glob, const std::string& full, const std::string& own) {
    return glob.empty() || glob_match(glob, full) || glob_match(glob, own);
  };
  if (!fits(ban.net, net.name, net.plain()) || !fits(ban.target, f.name, f.plain())) return false;
  if (ban.side.empty()) return true;
  const bool full_name =
      !ban.target.empty() && f.prefix > 0 && glob_match(ban.target, f.name) && !glob_match(ban.target, f.plain());
  return ban.side == to_string(full_name ? side : b.own_side(f, side));
}

/// The boards of the panel on which a lock is asked for: a plain name asks it of every one.
std::vector<int> places_of(const Lock& l, const Board& board) {
  std::set<int> asked;
  for (const Feature& f : board.features)
    if (f.name == l.target || f.plain() == l.target) asked.insert(f.panel_place);
  if (asked.empty()) asked.insert(-1);
  return {asked.begin(), asked.end()};
}

std::vector<LockDemand> lock_demands(const Session& s, const BedPlan& bed, const std::vector<Lock>& locks,
                                     const std::vector<char>& banned) {
  std::vector<LockDemand> out;
  const Model& m = bed.model;
  for (std::size_t i = 0; i < locks.size(); ++i)
    for (const int place : places_of(locks[i], s.board)) {
      LockDemand q{static_cast<int>(i), place, {}};
      for (std::size_t c = 0; c < m.candidates.size(); ++c) {
        const Candidate& x = m.candidates[c];
        if (x.mate >= 0 || banned[c]) continue;
        for (std::size_t k = x.first_atom; k < x.first_atom + x.atoms; ++k) {
          const Feature& f = s.board.features[at(m.atoms[k].feature)];
          if (f.panel_place == place &&
              meets(locks[i], s.board, f, m.atoms[k].side, s.catalogue.classes[at(x.probe_class)].name)) {
            q.candidates.push_back(static_cast<int>(c));
            break;
          }
        }
      }
      out.push_back(std::move(q));
    }
  return out;
}

/// Which of these locks can stand together, as many as possible.
std::vector<char> standing(const Model& m, const std::vector<LockDemand>& demands, const std::vector<int>& asked,
                           const Clock& clock) {
  std::vector<char> out(demands.size());
  std::vector<int> columns;
  for (const int k : asked)
    columns.insert(columns.end(), demands[at(k)].candidates.begin(), demands[at(k)].candidates.end());
  std::sort(columns.begin(), columns.end());
  columns.erase(std::unique(columns.begin(), columns.end()), columns.end());
  if (columns.empty()) return out;
  constexpr selection::Cost kMiss = 1000;
  selection::Problem p;
  for (std::size_t k = 0; k < asked.size(); ++k) p.wants.push_back({1, kMiss, false, 0});
  p.limits = m.problem.limits;
  for (const int c : columns) {
    p.price.push_back(1);
    for (std::size_t k = 0; k < asked.size(); ++k)
      if (const auto& l = demands[at(asked[k])].candidates; std::binary_search(l.begin(), l.end(), c))
        p.covers.add({static_cast<int>(k), 1});
    p.covers.close();
    for (const auto& w : m.problem.weighs[at(c)]) p.weighs.add(w);
    p.weighs.close();
    for (const int o : m.problem.conflicts[at(c)])
      if (const auto it = std::lower_bound(columns.begin(), columns.end(), o); it != columns.end() && *it == o)
        p.conflicts.add(static_cast<int>(it - columns.begin()));
    p.conflicts.close();
  }
  selection::Limits l;
  l.seconds = std::max(1.0, clock.left());
  const selection::Result r = selection::solve(p, l);
  for (const int c : r.best.columns)
    for (const auto& x : p.covers[at(c)]) out[at(asked[at(x.row)])] = 1;
  return out;
}

/// The fewest locks among these that cannot stand together. Exhaustive by size up to a bound, then by leaving out one
/// by one.
std::vector<int> smallest_conflict(const Model& m, const std::vector<LockDemand>& demands, std::vector<int> among,
                                   const Clock& clock) {
  auto holds = [&](const std::vector<int>& set) {
    const auto kept = standing(m, demands, set, clock);
    return std::all_of(set.begin(), set.end(), [&](int k) { return kept[at(k)] != 0; });
  };
  int tries = 0;
  constexpr int kTries = 5000;
  std::vector<int> set, found;
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
    std::vector<int> without = among;
    without.erase(without.begin() + static_cast<std::ptrdiff_t>(i));
    if (!holds(without))
      among = without;
    else
      ++i;
  }
  return among;
}

std::string lock_text(const Session& s, const Lock& l, int place) {
  std::string t = l.net + " on " + l.target;
  if (!l.side.empty()) t += ", " + l.side;
  if (!l.probe_class.empty()) t += ", " + l.probe_class;
  if (place >= 0) t += " (board " + s.board.places[at(place)].name + ")";
  return t;
}

/// Why no candidate of this option keeps a lock.
std::string why_none(const Session& s, const BedPlan& bed, const Lock& l, int place, bool* open) {
  std::string why = "no target of this name is exposed";
  bool found = false;
  for (std::size_t t = 0; t < s.access.targets.size(); ++t) {
    const Target& target = s.access.targets[t];
    const Feature& f = s.board.features[at(target.feature)];
    if (f.name != l.target && f.plain() != l.target) continue;
    if (!names(l, s.board, f)) {
      if (!found) why = "the target is on net " + s.board.nets[at(f.net)].name;
      continue;
    }
    if (f.panel_place != place) continue;
    for (std::size_t k = 0; k < s.catalogue.classes.size(); ++k) {
      if (!meets(l, s.board, f, target.side, s.catalogue.classes[k].name)) continue;
      const Verdict& v = s.access.best_verdict(t, k, target.side == bed.bed.main);
      if (v.open) {
        *open = true;
        return {};
      }
      if (!found && !v.shortfalls.empty())
        why = s.catalogue.classes[k].name + ": " + sentence(v.shortfalls[0], s.board, s.job);
      found = true;
    }
    if (!found) why = std::string("it is exposed on the ") + to_string(s.board.own_side(f, target.side)) + " only";
  }
  return why;
}
}  // namespace

bool names(const Lock& l, const Board& b, const Feature& f) {
  const Net& net = b.nets[at(f.net)];
  return (l.target == f.name || l.target == f.plain()) && (l.net == net.name || l.net == net.plain());
}

bool meets(const Lock& l, const Board& b, const Feature& f, Side side, const std::string& probe_class) {
  // Plain names speak of the board, whose sides a flipped place of a panel turns over.
  const Side meant = l.target == f.plain() ? b.own_side(f, side) : side;
  return names(l, b, f) && (l.side.empty() || l.side == to_string(meant)) &&
         (l.probe_class.empty() || l.probe_class == probe_class);
}

Edited edited(const Session& s, const BedPlan& bed, const PlanEdit& edit, const Clock& clock) {
  const Model& m = bed.model;
  Edited e;
  e.problem = m.problem;
  e.banned = m.closed;
  for (std::size_t c = 0; c < m.candidates.size() && !edit.bans.empty(); ++c)
    for (std::size_t k = m.candidates[c].first_atom;
         k < m.candidates[c].first_atom + m.candidates[c].atoms && !e.banned[c]; ++k) {
      if (m.candidates[c].mate >= 0) continue;
      const Feature& f = s.board.features[at(m.atoms[k].feature)];
      e.banned[c] = std::any_of(edit.bans.begin(), edit.bans.end(),
                                [&](const Ban& b) { return banned_by(b, s.board, f, m.atoms[k].side); });
    }
  for (std::size_t c = 0; c < e.banned.size(); ++c)
    if (e.banned[c]) e.problem.price[c] = selection::kHard;  // dearer than anything it could serve
  for (const Demand& q : m.demands) e.wanted.push_back(q.wanted);
  for (const auto& [need, wanted] : edit.wanted)
    for (std::size_t d = 0; d < m.demands.size(); ++d) {
      const Demand& q = m.demands[d];
      if (std::find(q.needs.begin(), q.needs.end(), need) == q.needs.end()) continue;
      e.wanted[d] = wanted;
      selection::Want& w = e.problem.wants[d];
      w.wanted = wanted;
      w.miss = wanted == 1 ? q.none : q.further;
      w.last = wanted <= 1 ? 0 : q.none - q.further;
      if (wanted > 0) continue;
      w = {0, 0, false, 0};
      for (std::size_t r = m.demands.size(); r < m.wishes.size(); ++r)
        if (m.wishes[r].demand == static_cast<int>(d)) e.problem.wants[r] = {0, 0, false, 0};
    }
  e.locks = s.job.locks;
  e.locks.insert(e.locks.end(), edit.locks.begin(), edit.locks.end());
  e.lock_demands = lock_demands(s, bed, e.locks, e.banned);
  e.kept.assign(e.lock_demands.size(), 0);
  if (e.lock_demands.empty()) return e;
  std::vector<int> all(e.lock_demands.size());
  std::iota(all.begin(), all.end(), 0);
  e.kept = standing(m, e.lock_demands, all, clock);
  std::vector<std::vector<int>> extra(m.candidates.size());
  for (std::size_t k = 0; k < e.lock_demands.size(); ++k) {
    if (!e.kept[k]) continue;
    const int row = static_cast<int>(e.problem.wants.size());
    e.problem.wants.push_back({1, 0, true, 0});
    for (const int c : e.lock_demands[k].candidates) extra[at(c)].push_back(row);
  }
  selection::Lists<selection::Part> covers;
  for (std::size_t c = 0; c < extra.size(); ++c) {
    for (const auto& x : m.problem.covers[c]) covers.add(x);
    for (const int r : extra[c]) covers.add({r, 1});
    covers.close();
  }
  e.problem.covers = std::move(covers);
  return e;
}

void report_locks(const Session& s, const BedPlan& bed, const Edited& e, Diagnostics& d) {
  const Clock clock({});
  std::vector<int> with, missed;
  for (std::size_t k = 0; k < e.lock_demands.size(); ++k) {
    const LockDemand& q = e.lock_demands[k];
    if (e.kept[k]) {
      with.push_back(static_cast<int>(k));
      continue;
    }
    const Lock& l = e.locks[at(q.lock)];
    bool open = false;
    std::string why = why_none(s, bed, l, q.place, &open);
    if (q.candidates.empty()) {
      if (open) why = "it is open, but a hole that the fixture has, the stage or the allowed sides exclude it";
      d.error("lock-not-kept", l.place, "a lock cannot be kept", lock_text(s, l, q.place) + ": " + why, {},
              "remove or change the lock");
      continue;
    }
    with.push_back(static_cast<int>(k));
    missed.push_back(static_cast<int>(k));
  }
  if (missed.empty()) return;
  std::sort(with.begin(), with.end());
  const std::vector<int> set = smallest_conflict(bed.model, e.lock_demands, with, clock);
  std::string text;
  for (const int k : set)
    text += (text.empty() ? "" : ";  ") +
            lock_text(s, e.locks[at(e.lock_demands[at(k)].lock)], e.lock_demands[at(k)].place);
  if (set.size() == 1) text += ":  a limit leaves no room for it";
  d.error("lock-not-kept", e.locks[at(e.lock_demands[at(missed[0])].lock)].place,
          "locks cannot be kept together; the smallest set in conflict is", text, {}, "remove or change one of them");
}

}  // namespace teasel::planning
