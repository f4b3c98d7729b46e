#include "model.h"

#include <algorithm>
#include <cmath>
#include <unordered_map>

namespace teasel {

std::int64_t least_distance_nm(const Catalogue& cat, const Rules& rules, std::size_t a, std::size_t b) {
  const ProbeClass &p = cat.classes[a], &q = cat.classes[b];
  const bool smallest = a + 1 == cat.classes.size() && b + 1 == cat.classes.size() && cat.classes.size() > 1;
  const double web = smallest ? rules.web_smallest_class.v : rules.web.v;
  const double mean = (p.spacing.v + q.spacing.v) / 2, holes = (p.receptacle_drill.v + q.receptacle_drill.v) / 2 + web;
  return std::llround(std::max(mean, holes) * 1e6);
}

namespace planning {

namespace {
Cents cents(double money) { return std::llround(money * 100); }

ProbeCost cost_of(const Target& t, const Verdict& v, const ProbeClass& p, const Rules& rules) {
  ProbeCost c;
  const auto& r = rules.cost;
  c.probe = cents(p.price);
  const double kinds[] = {r.test_pad, r.lead, r.via, r.smd_pad};
  c.kind = cents(kinds[static_cast<int>(t.kind)]);
  c.odds = cents(-std::log1p(-v.miss) * r.false_reject * r.boards);
  double lack = 0;
  for (const Shortfall& s : v.shortfalls) {
    if (s.blocking || s.required <= 0) continue;
    lack += s.reason == Reason::hole_too_wide ? std::min(1.0, (s.measured - s.required) / s.required) : std::clamp((s.required - s.measured) / s.required, 0.0, 1.0);
  }
  c.shortfall = cents(lack * r.shortfall);
  return c;
}

void add_conflicts(Model& m, const Catalogue& cat, const Rules& rules) {
  const std::size_t k = cat.classes.size();
  std::vector<std::int64_t> least(k * k);
  std::int64_t reach = 1;
  for (std::size_t a = 0; a < k; ++a)
    for (std::size_t b = 0; b < k; ++b) least[a * k + b] = least_distance_nm(cat, rules, a, b), reach = std::max(reach, least[a * k + b]);
  auto cell = [&](std::int64_t v) { return v >= 0 ? v / reach : -((-v + reach - 1) / reach); };
  std::unordered_map<std::int64_t, std::vector<int>> grid;
  auto key = [](std::int64_t cx, std::int64_t cy, int side) { return (cx * 2'000'003 + cy) * 2 + side; };
  m.conflicts.assign(m.candidates.size(), {});
  for (std::size_t i = 0; i < m.candidates.size(); ++i) {
    const Candidate& c = m.candidates[i];
    const std::int64_t cx = cell(c.x), cy = cell(c.y);
    for (std::int64_t dx = -1; dx <= 1; ++dx)
      for (std::int64_t dy = -1; dy <= 1; ++dy) {
        auto it = grid.find(key(cx + dx, cy + dy, static_cast<int>(c.side)));
        if (it == grid.end()) continue;
        for (int j : it->second) {
          const Candidate& o = m.candidates[static_cast<std::size_t>(j)];
          const std::int64_t l = least[static_cast<std::size_t>(c.probe_class) * k + static_cast<std::size_t>(o.probe_class)];
          const std::int64_t ddx = c.x - o.x, ddy = c.y - o.y;
          if (std::abs(ddx) >= l || std::abs(ddy) >= l || ddx * ddx + ddy * ddy >= l * l) continue;
          m.conflicts[i].push_back(j);
          m.conflicts[static_cast<std::size_t>(j)].push_back(static_cast<int>(i));
        }
      }
    grid[key(cx, cy, static_cast<int>(c.side))].push_back(static_cast<int>(i));
  }
  // One probe a land: a second one through the same hole from the other side would meet the first.
  std::unordered_map<int, std::vector<int>> by_feature;
  for (std::size_t i = 0; i < m.candidates.size(); ++i) {
    auto& same = by_feature[m.candidates[i].feature];
    for (int j : same)
      if (m.candidates[static_cast<std::size_t>(j)].side != m.candidates[i].side) {
        m.conflicts[i].push_back(j);
        m.conflicts[static_cast<std::size_t>(j)].push_back(static_cast<int>(i));
      }
    same.push_back(static_cast<int>(i));
  }
  for (auto& list : m.conflicts) std::sort(list.begin(), list.end());
}
}  // namespace

Model build_model(const Board& board, const Access& access, const std::vector<Need>& needs, const Job& job, const Catalogue& cat, const Rules& rules, const BedOption& option) {
  Model m;
  std::vector<int> demand_of_net(board.nets.size(), -1);
  for (std::size_t i = 0; i < needs.size(); ++i) {
    if (needs[i].wanted <= 0) continue;
    demand_of_net[static_cast<std::size_t>(needs[i].net)] = static_cast<int>(m.demands.size());
    const double none = needs[i].mandatory ? rules.cost.unmet_mandatory : rules.cost.unmet;
    const double further = needs[i].mandatory ? std::max(rules.cost.missing_extra, rules.cost.unmet) : rules.cost.missing_extra;
    m.demands.push_back({static_cast<int>(i), needs[i].wanted, std::max<Cents>(cents(none - further), 0), cents(std::min(further, none))});
  }
  m.of_demand.resize(m.demands.size());
  constexpr Cents kLockBonus = 10'000'000;  // above any sum a lock could displace nearby; kept locks are verified afterwards
  for (std::size_t t = 0; t < access.targets.size(); ++t) {
    const Target& target = access.targets[t];
    if (!(target.side == Side::top ? option.top : option.bottom)) continue;
    const Feature& f = board.features[static_cast<std::size_t>(target.feature)];
    const int d = demand_of_net[static_cast<std::size_t>(f.net)];
    if (d < 0) continue;
    const Exposure& e = board.exposures[static_cast<std::size_t>(target.exposure)];
    for (std::size_t k = 0; k < access.classes; ++k) {
      const Verdict& v = access.verdict(t, k, target.side == option.main);
      if (!v.open) continue;
      Candidate c;
      c.need = m.demands[static_cast<std::size_t>(d)].need, c.target = static_cast<int>(t), c.feature = target.feature, c.probe_class = static_cast<int>(k), c.side = target.side;
      c.x = std::llround(e.aim.x * 1e6), c.y = std::llround(e.aim.y * 1e6);
      c.cost = cost_of(target, v, cat.classes[k], rules);
      c.price = c.cost.total();
      for (const Lock& l : job.locks)
        if (l.target == f.name && l.net == board.nets[static_cast<std::size_t>(f.net)].name && (l.side.empty() || l.side == to_string(target.side)) && (l.probe_class.empty() || l.probe_class == cat.classes[k].name))
          c.locked = true, c.price = c.cost.total() - kLockBonus;
      m.of_demand[static_cast<std::size_t>(d)].push_back(static_cast<int>(m.candidates.size()));
      m.demand_of.push_back(d);
      m.candidates.push_back(c);
    }
  }
  add_conflicts(m, cat, rules);
  return m;
}

Cents price_of(const Model& m, const std::vector<int>& demands, const std::vector<int>& chosen) {
  std::unordered_map<int, int> got;
  Cents sum = 0;
  for (int c : chosen) ++got[m.demand_of[static_cast<std::size_t>(c)]], sum += m.candidates[static_cast<std::size_t>(c)].price;
  for (int d : demands) {
    const Demand& q = m.demands[static_cast<std::size_t>(d)];
    const int have = got.count(d) ? got[d] : 0;
    if (have == 0) sum += q.first;
    if (have < q.wanted) sum += q.further * (q.wanted - have);
  }
  return sum;
}

}  // namespace planning
}  // namespace teasel
