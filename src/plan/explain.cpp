// Why not the cheaper target; what would meet a need that the plan leaves unmet.
#include <algorithm>
#include <cmath>
#include <map>

#include "session.h"

namespace teasel::planning {

namespace {
std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}

double apart_mm(const Atom& a, const Atom& b) {
  return std::hypot(static_cast<double>(a.x - b.x), static_cast<double>(a.y - b.y)) / 1e6;
}

/// The atoms of two candidates that come nearest to breaking the spacing rule.
std::pair<const Atom*, const Atom*> nearest_atoms(const Model& m, const Candidate& a, const Candidate& b) {
  std::pair<const Atom*, const Atom*> best{nullptr, nullptr};
  for (std::size_t i = a.first_atom; i < a.first_atom + a.atoms; ++i)
    for (std::size_t j = b.first_atom; j < b.first_atom + b.atoms; ++j)
      if (!best.first || apart_mm(m.atoms[i], m.atoms[j]) < apart_mm(*best.first, *best.second))
        best = {&m.atoms[i], &m.atoms[j]};
  return best;
}
}  // namespace

std::vector<Rival> rivals_of(const Session& s, const BedPlan& bed, const Edited& e, const std::vector<int>& chosen,
                             const OptionResult& r, const std::vector<int>& first_probe) {
  const Model& m = bed.model;
  std::vector<char> in(m.candidates.size());
  std::vector<int> probe_of(m.candidates.size(), -1);
  for (std::size_t k = 0; k < chosen.size(); ++k) {
    in[at(chosen[k])] = 1;
    probe_of[at(chosen[k])] = first_probe[k];
  }
  std::vector<std::vector<int>> of_demand(m.demands.size());
  for (std::size_t c = 0; c < m.candidates.size(); ++c)
    if (m.candidates[c].mate < 0 && !e.banned[c]) of_demand[at(m.candidates[c].demand)].push_back(static_cast<int>(c));
  std::vector<std::int64_t> room = e.problem.limits;
  for (const int c : chosen)
    for (const auto& x : e.problem.weighs[at(c)]) room[at(x.row)] -= x.amount;
  std::vector<Rival> out;
  std::vector<char> used(s.access.targets.size());
  for (const int c : chosen)
    if (m.candidates[at(c)].target >= 0) used[at(m.candidates[at(c)].target)] = 1;
  for (const int c : chosen) {
    if (m.candidates[at(c)].mate >= 0) continue;
    int best = -1;
    for (const int o : of_demand[at(m.candidates[at(c)].demand)])
      if (!in[at(o)] &&
          (m.candidates[at(o)].target == m.candidates[at(c)].target || !used[at(m.candidates[at(o)].target)]) &&
          e.problem.price[at(o)] < e.problem.price[at(c)] &&
          (best < 0 || e.problem.price[at(o)] < e.problem.price[at(best)]))
        best = o;
    if (best < 0) continue;
    Rival x;
    x.probe = probe_of[at(c)];
    x.target = m.candidates[at(best)].target;
    x.probe_class = m.candidates[at(best)].probe_class;
    x.cheaper = e.problem.price[at(c)] - e.problem.price[at(best)];
    const Candidate& rival = m.candidates[at(best)];
    int others = 0;
    for (const int o : e.problem.conflicts[at(best)]) {
      if (!in[at(o)] || o == c) continue;
      ++others;
      if (x.against >= 0) continue;
      const Candidate& other = m.candidates[at(o)];
      if (other.mate >= 0) {
        x.why = "the mating connector at " + s.job.mates[at(other.mate)].component + " stands there";
        continue;
      }
      const auto [a, b] = nearest_atoms(m, rival, other);
      x.against = probe_of[at(o)];
      x.distance = apart_mm(*a, *b);
      const bool one_need = a->need == b->need && s.needs[at(a->need)].apart > 0;
      x.needed = static_cast<double>(least_distance_nm(s.catalogue, s.rules, at(rival.probe_class), a->head,
                                                       at(other.probe_class), b->head)) /
                 1e6;
      if (a->feature == b->feature && a->side != b->side) {
        x.why = "the two would meet in one hole";
        x.needed = 0;
      } else if (one_need && x.distance >= x.needed) {
        x.needed = s.needs[at(a->need)].apart;
        x.why = "probes of one need stand apart";
      } else if (const double air = s.rules.air(std::abs(s.needs[at(a->need)].volts - s.needs[at(b->need)].volts));
                 air > 0 && x.distance >= x.needed) {
        x.needed = (s.catalogue.classes[at(rival.probe_class)].receptacle_diameter.v +
                    s.catalogue.classes[at(other.probe_class)].receptacle_diameter.v) /
                       2 +
                   air;
        x.why = "the voltages of the two nets ask for air";
      } else
        x.why = "too near";
    }
    if (others > 1)
      x.why += ", and " + std::to_string(others - 1) + (others == 2 ? " other" : " others") + " in its way";
    if (others == 0) {
      for (const auto& w : e.problem.weighs[at(best)]) {
        std::int64_t freed = 0;
        for (const auto& v : e.problem.weighs[at(c)])
          if (v.row == w.row) freed = v.amount;
        if (x.why.empty() && room[at(w.row)] + freed < w.amount) x.why = m.bounds[at(w.row)].text;
      }
      if (x.why.empty()) {
        // It serves a wish or a lock less, or the bound of the search left it open.
        for (const auto& v : e.problem.covers[at(c)]) {
          std::int64_t there = 0;
          for (const auto& w : e.problem.covers[at(best)])
            if (w.row == v.row) there = w.amount;
          if (v.amount <= there || !x.why.empty()) continue;
          if (at(v.row) >= m.wishes.size())
            x.why = "the lock";
          else
            switch (m.wishes[at(v.row)].kind) {
              case Wish::Kind::demand: x.why = "it serves the need with fewer tips"; break;
              case Wish::Kind::amperes: x.why = "it carries less current"; break;
              case Wish::Kind::kelvin_end: x.why = "it is not on a pad of " + m.wishes[at(v.row)].of; break;
              case Wish::Kind::spread:
                x.why = "it leaves the part of the net about " + m.wishes[at(v.row)].of + " without a probe";
                break;
              case Wish::Kind::clock_return:
                x.why = "the clock at " + m.wishes[at(v.row)].of + " wants its ground near";
                break;
            }
        }
        for (const auto& v : e.problem.covers[at(best)])
          if (v.amount < 0 && x.why.empty()) x.why = "no ground probe near it";
      }
      if (x.why.empty())
        x.why = r.proven ? "it costs as much in the whole plan" : "the search was stopped before it was weighed";
    }
    out.push_back(std::move(x));
  }
  std::stable_sort(out.begin(), out.end(), [](const Rival& a, const Rival& b) { return a.probe < b.probe; });
  return out;
}

std::vector<Remedy> remedies_of(const Session& s, BedPlan& bed, const Edited& e, const std::vector<int>& chosen,
                                const PlanResult& result, const Clock& clock) {
  constexpr int kTried = 60;  // plans made for single needs; mandatory needs come first
  const Model& m = bed.model;
  const OptionResult& r = result.options[result.chosen];
  std::vector<std::int64_t> left(e.problem.wants.size());
  for (std::size_t k = 0; k < left.size(); ++k) left[k] = e.problem.wants[k].wanted;
  for (const int c : chosen)
    for (const auto& x : e.problem.covers[at(c)]) left[at(x.row)] -= x.amount;
  const selection::Cost before = selection::cost_of(e.problem, chosen);
  std::vector<int> open;
  for (std::size_t d = 0; d < m.demands.size(); ++d)
    if (left[d] > 0) open.push_back(static_cast<int>(d));
  std::stable_sort(open.begin(), open.end(), [&](int a, int b) {
    return s.needs[at(m.demands[at(a)].needs[0])].mandatory > s.needs[at(m.demands[at(b)].needs[0])].mandatory;
  });
  std::vector<std::int64_t> reach(m.demands.size());  // most that the candidates could cover, conflicts aside
  for (std::size_t c = 0; c < m.candidates.size(); ++c)
    if (!e.banned[c] && e.problem.price[c] < selection::kHard)
      for (const auto& x : e.problem.covers[c])
        if (at(x.row) < reach.size()) reach[at(x.row)] += x.amount;
  std::vector<Remedy> out;
  int tried = 0;
  for (const int d : open) {
    const int need = m.demands[at(d)].needs[0];
    const std::string& net = s.board.nets[at(s.needs[at(need)].net)].name;
    const selection::Cost price = e.problem.wants[at(d)].lack(left[at(d)]);
    if (reach[at(d)] >= e.problem.wants[at(d)].wanted && tried < kTried && !clock.over()) {
      ++tried;
      selection::Problem p = e.problem;
      p.wants[at(d)] = {p.wants[at(d)].wanted, 0, true, 0};
      selection::Limits l;
      l.seconds = clock.left();
      l.stop = clock.limits().stop;
      l.memory = &bed.memory;
      const selection::Result forced = selection::solve(p, l);
      std::vector<std::int64_t> now(e.problem.wants.size());
      for (std::size_t k = 0; k < now.size(); ++k) now[k] = e.problem.wants[k].wanted;
      for (const int c : forced.best.columns)
        for (const auto& x : e.problem.covers[at(c)]) now[at(x.row)] -= x.amount;
      if (now[at(d)] <= 0) {
        Remedy y{need, selection::cost_of(e.problem, forced.best.columns) - (before - price), {}};
        std::string lost, small;
        std::map<std::string, int> taken;
        for (std::size_t k = 0; k < m.demands.size(); ++k)
          if (now[k] > std::max<std::int64_t>(0, left[k]))
            lost += (lost.empty() ? "" : ", ") + s.board.nets[at(s.needs[at(m.demands[k].needs[0])].net)].name +
                    " loses " + std::to_string(now[k] - std::max<std::int64_t>(0, left[k]));
        for (const int c : forced.best.columns)
          if (m.candidates[at(c)].demand == d && !std::binary_search(chosen.begin(), chosen.end(), c))
            ++taken[s.board.features[at(m.atoms[m.candidates[at(c)].first_atom].feature)].name + " with " +
                    s.catalogue.classes[at(m.candidates[at(c)].probe_class)].name];
        for (const auto& [what, times] : taken)
          small += (small.empty() ? "" : ", ") + what + (times > 1 ? " (" + std::to_string(times) + " of them)" : "");
        y.what = "make " + net + " mandatory or of higher importance: it takes " +
                 (small.empty() ? "a mating connector" : small) + (lost.empty() ? "" : "; " + lost);
        out.push_back(std::move(y));
      } else {
        // Not with what is fixed: which limit or lock stands against it?
        std::string why;
        for (std::size_t k = 0; k < e.lock_demands.size(); ++k)
          if (e.kept[k] && why.empty())
            for (const int c : e.lock_demands[k].candidates)
              for (const int o : e.problem.conflicts[at(c)])
                if (why.empty())
                  for (const auto& x : e.problem.covers[at(o)])
                    if (x.row == d)
                      why = "give up the lock " + e.locks[at(e.lock_demands[k].lock)].net + " on " +
                            e.locks[at(e.lock_demands[k].lock)].target;
        if (why.empty() && !r.tight.empty()) why = "raise the limit: " + r.tight[0];
        if (why.empty())
          why = "ask for fewer probes: its targets do not hold " + std::to_string(e.problem.wants[at(d)].wanted) +
                " at once";
        out.push_back({need, 0, why});
      }
    }
    for (const OptionResult& o : result.options)
      if (&o != &r && o.locks_missed <= r.locks_missed && o.got[at(need)] >= e.wanted[at(d)])
        out.push_back({need, o.total() - (r.total() - price), "build " + o.option.name()});
  }
  std::stable_sort(out.begin(), out.end(), [](const Remedy& a, const Remedy& b) {
    return a.need != b.need ? a.need < b.need : a.extra < b.extra;
  });
  return out;
}

}  // namespace teasel::planning
