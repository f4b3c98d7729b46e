#include "model.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <tuple>
#include <unordered_map>

namespace teasel {

namespace {
std::size_t at(int i) { return static_cast<std::size_t>(i); }
}  // namespace

std::int64_t least_distance_nm(const Catalogue& cat, const Rules& rules, std::size_t a, std::size_t b) {
  const ProbeClass &p = cat.classes[a], &q = cat.classes[b];
  const bool smallest = a + 1 == cat.classes.size() && b + 1 == cat.classes.size() && cat.classes.size() > 1;
  const double web = smallest ? rules.web_smallest_class.v : rules.web.v;
  const double mean = (p.spacing.v + q.spacing.v) / 2, holes = (p.receptacle_drill.v + q.receptacle_drill.v) / 2 + web;
  return std::llround(std::max(mean, holes) * 1e6);
}

std::int64_t least_distance_nm(const Catalogue& cat, const Rules& rules, std::size_t a, double head_a, std::size_t b, double head_b) {
  // Heads must not touch: both point off by their largest radius, towards one another, and each hole has its own error.
  const double holes = 3 * std::sqrt(2 * (rules.errors.plate_drilling.variance() + rules.errors.receptacle.variance()));
  const double heads = (head_a + head_b) / 2 + cat.classes[a].pointing.v + cat.classes[b].pointing.v + holes;
  return std::max(least_distance_nm(cat, rules, a, b), static_cast<std::int64_t>(std::llround(heads * 1e6)));
}

UnmetPrice unmet_price(const Need& n, const Rules& rules) {
  const auto& c = rules.cost;
  return n.mandatory ? UnmetPrice{c.unmet_mandatory, std::max(c.missing_extra, c.unmet)} : UnmetPrice{c.unmet, c.missing_extra};
}

namespace planning {

bool names(const Lock& l, const Board& b, const Feature& f) {
  const Net& net = b.nets[at(f.net)];
  return (l.target == f.name || l.target == f.plain()) && (l.net == net.name || l.net == net.plain());
}

bool meets(const Lock& l, const Board& b, const Feature& f, Side side, const std::string& probe_class) {
  // Plain names speak of the board, whose sides a flipped place of a panel turns over.
  const Side meant = l.target == f.plain() ? b.own_side(f, side) : side;
  return names(l, b, f) && (l.side.empty() || l.side == to_string(meant)) && (l.probe_class.empty() || l.probe_class == probe_class);
}

namespace {
constexpr Cents kLockBonus = 10'000'000;  // above any sum a lock could displace nearby; kept locks are verified afterwards
constexpr double kSameAim = 0.005;        // mm; aim points of boards of a panel that are the same point of the board

Cents cents(double money) { return std::llround(money * 100); }

ProbeCost cost_of(const Target& t, const Verdict& v, const ProbeClass& p, const Rules& rules) {
  ProbeCost c;
  const auto& r = rules.cost;
  c.probe = cents(p.price);
  const double kinds[] = {r.test_pad, r.lead, r.via, r.smd_pad};
  c.kind = cents(kinds[static_cast<int>(t.kind)] + rules.surfaces.at(t.surface).price);
  const double fault = fault_on(rules, t);
  c.odds = cents(-(std::log1p(-std::min(v.miss, 0.999)) + std::log1p(-std::min(fault, 0.999))) * r.false_reject * r.boards + v.wrong * r.wrong_landing * r.boards);
  double lack = 0;
  for (const Shortfall& s : v.shortfalls)
    if (!s.blocking && s.required > 0) lack += s.lack();
  c.shortfall = cents(lack * r.shortfall);
  return c;
}

class Builder {
 public:
  Builder(const Board& board, const Access& access, const std::vector<Need>& needs, const Job& job, const Catalogue& cat, const Rules& rules, const BedOption& option)
      : b_(board), a_(access), needs_(needs), job_(job), cat_(cat), rules_(rules), option_(option), alike_(board.plans_alike && board.places.size() > 1), copies_(alike_ ? board.places.size() : 1) {}
  Model run() {
    demands();
    if (alike_) find_copies();
    for (std::size_t t = 0; t < a_.targets.size(); ++t)
      if (!alike_ || b_.features[at(a_.targets[t].feature)].panel_place == 0) target(t);
    conflicts();
    return std::move(m_);
  }

 private:
  void demands();
  void find_copies();
  void target(std::size_t t);
  bool atom(Atom& out, std::size_t target, int spot, std::size_t k) const;
  int same_spot(std::size_t target, const Spot& first, std::size_t copy) const;
  bool locked(const Feature& f, Side side, std::size_t k) const;
  void conflicts();

  const Board& b_;
  const Access& a_;
  const std::vector<Need>& needs_;
  const Job& job_;
  const Catalogue& cat_;
  const Rules& rules_;
  const BedOption& option_;
  const bool alike_;
  const std::size_t copies_;
  Model m_;
  std::vector<int> demand_of_net_;
  std::map<std::tuple<int, int, Side>, std::size_t> target_at_;  ///< by place, feature of the single board, side of the panel
};

void Builder::demands() {
  demand_of_net_.assign(b_.nets.size(), -1);
  std::map<int, int> of_base;
  for (std::size_t i = 0; i < needs_.size(); ++i) {
    if (needs_[i].wanted <= 0) continue;
    const Net& net = b_.nets[at(needs_[i].net)];
    if (alike_ && net.panel_place > 0) {
      const int d = of_base.at(net.base);
      demand_of_net_[at(needs_[i].net)] = d;
      m_.demands[at(d)].needs.push_back(static_cast<int>(i));
      continue;
    }
    const int d = static_cast<int>(m_.demands.size());
    demand_of_net_[at(needs_[i].net)] = d;
    if (alike_) of_base[net.base] = d;
    const auto [none, further] = unmet_price(needs_[i], rules_);
    const auto n = static_cast<Cents>(copies_);
    m_.demands.push_back({{static_cast<int>(i)}, needs_[i].wanted, n * std::max<Cents>(cents(none - further), 0), n * cents(std::min(further, none))});
  }
  m_.of_demand.resize(m_.demands.size());
}

void Builder::find_copies() {
  for (std::size_t t = 0; t < a_.targets.size(); ++t) {
    const Feature& f = b_.features[at(a_.targets[t].feature)];
    target_at_[{f.panel_place, f.base, a_.targets[t].side}] = t;
  }
}

bool Builder::locked(const Feature& f, Side side, std::size_t k) const {
  return std::any_of(job_.locks.begin(), job_.locks.end(), [&](const Lock& l) { return meets(l, b_, f, side, cat_.classes[k].name); });
}

bool Builder::atom(Atom& out, std::size_t t, int spot, std::size_t k) const {
  const Target& target = a_.targets[t];
  if (!(target.side == Side::top ? option_.top : option_.bottom)) return false;
  const Verdict& v = a_.verdict(at(spot), k, target.side == option_.main);
  if (!v.open) return false;
  const Feature& f = b_.features[at(target.feature)];
  const int d = demand_of_net_[at(f.net)];
  const auto& needs = m_.demands[at(d)].needs;
  out.need = needs[alike_ ? at(f.panel_place) : 0];
  out.target = static_cast<int>(t), out.spot = spot, out.feature = target.feature, out.side = target.side;
  const Point p = a_.spots[at(spot)].at;
  out.x = std::llround(p.x * 1e6), out.y = std::llround(p.y * 1e6);
  out.head = head_diameter(b_, rules_, target, cat_.classes[k]);
  out.cost = cost_of(target, v, cat_.classes[k], rules_);
  return true;
}

/// The spot of a copy that is the same point of its board; -1 if it declares none there.
int Builder::same_spot(std::size_t target, const Spot& first, std::size_t copy) const {
  const Point on_board = inverse(b_.places[0].map)(first.at), there = b_.places[copy].map(on_board);
  const Target& t = a_.targets[target];
  for (int s = t.first_spot; s < t.first_spot + t.spots; ++s)
    if (distance(a_.spots[at(s)].at, there) < kSameAim) return s;
  return -1;
}

void Builder::target(std::size_t t) {
  const Target& target = a_.targets[t];
  const Feature& f = b_.features[at(target.feature)];
  const int d = demand_of_net_[at(f.net)];
  if (d < 0) return;
  for (int spot = target.first_spot; spot < target.first_spot + target.spots; ++spot)
    for (std::size_t k = 0; k < a_.classes; ++k) {
      std::vector<Atom> atoms(copies_);
      bool open = atom(atoms[0], t, spot, k), lock = locked(f, target.side, k);
      for (std::size_t c = 1; c < copies_ && open; ++c) {
        const Side side = b_.places[c].flipped != b_.places[0].flipped ? other(target.side) : target.side;
        const auto found = target_at_.find({static_cast<int>(c), f.base, side});
        const int there = found == target_at_.end() ? -1 : same_spot(found->second, a_.spots[at(spot)], c);
        open = there >= 0 && atom(atoms[c], found->second, there, k);
        lock |= open && locked(b_.features[at(atoms[c].feature)], atoms[c].side, k);
      }
      if (!open) continue;
      Candidate c;
      c.probe_class = static_cast<int>(k), c.first_atom = m_.atoms.size(), c.atoms = copies_, c.target = static_cast<int>(t);
      for (const Atom& x : atoms) c.price += x.cost.total();
      if (lock) c.bonus = kLockBonus, c.price -= kLockBonus;
      m_.atoms.insert(m_.atoms.end(), atoms.begin(), atoms.end());
      m_.of_demand[at(d)].push_back(static_cast<int>(m_.candidates.size()));
      m_.demand_of.push_back(d);
      m_.candidates.push_back(c);
    }
}

void Builder::conflicts() {
  std::vector<int> candidate_of(m_.atoms.size());
  std::int64_t reach = 1;
  for (std::size_t i = 0; i < m_.candidates.size(); ++i)
    for (std::size_t n = 0; n < m_.candidates[i].atoms; ++n) candidate_of[m_.candidates[i].first_atom + n] = static_cast<int>(i);
  double widest = 0;
  for (const Atom& x : m_.atoms) widest = std::max(widest, x.head);
  for (std::size_t k = 0; k < cat_.classes.size(); ++k)
    for (std::size_t l = 0; l < cat_.classes.size(); ++l) reach = std::max(reach, least_distance_nm(cat_, rules_, k, widest, l, widest));
  auto cell = [&](std::int64_t v) { return v >= 0 ? v / reach : -((-v + reach - 1) / reach); };
  auto key = [](std::int64_t cx, std::int64_t cy, int side) { return (cx * 2'000'003 + cy) * 2 + side; };
  std::unordered_map<std::int64_t, std::vector<int>> grid;
  std::unordered_map<int, std::vector<int>> by_feature;
  std::vector<std::vector<int>> found(m_.candidates.size());
  std::vector<bool> impossible(m_.candidates.size());
  auto clash = [&](int i, int j) {
    if (i == j) impossible[at(i)] = true;  // two boards of a panel probed alike come too near to one another
    else found[at(i)].push_back(j), found[at(j)].push_back(i);
  };
  for (std::size_t i = 0; i < m_.atoms.size(); ++i) {
    const Atom& a = m_.atoms[i];
    const int ca = candidate_of[i];
    const auto ka = at(m_.candidates[at(ca)].probe_class);
    const std::int64_t cx = cell(a.x), cy = cell(a.y);
    for (std::int64_t dx = -1; dx <= 1; ++dx)
      for (std::int64_t dy = -1; dy <= 1; ++dy) {
        const auto it = grid.find(key(cx + dx, cy + dy, static_cast<int>(a.side)));
        if (it == grid.end()) continue;
        for (const int j : it->second) {
          const Atom& o = m_.atoms[at(j)];
          const int co = candidate_of[at(j)];
          const std::int64_t ddx = a.x - o.x, ddy = a.y - o.y;
          if (std::abs(ddx) >= reach || std::abs(ddy) >= reach) continue;
          const std::int64_t l = least_distance_nm(cat_, rules_, ka, a.head, at(m_.candidates[at(co)].probe_class), o.head);
          if (ddx * ddx + ddy * ddy < (l - kAimGrid) * (l - kAimGrid)) clash(ca, co);
        }
      }
    grid[key(cx, cy, static_cast<int>(a.side))].push_back(static_cast<int>(i));
    // Two probes in one hole from both sides must not meet inside it; on a lead there is nothing to gain from a second.
    auto& same = by_feature[a.feature];
    for (const int j : same) {
      const Atom& o = m_.atoms[at(j)];
      if (o.side == a.side) continue;
      const Feature& f = b_.features[at(a.feature)];
      const bool empty = a_.targets[at(a.target)].has(Contact::open_hole) && a_.targets[at(o.target)].has(Contact::open_hole);
      if (!empty || clearance_in_hole(rules_, cat_.classes[ka], cat_.classes[at(m_.candidates[at(candidate_of[at(j)])].probe_class)], f.hole, b_.thickness) < 0) clash(ca, candidate_of[at(j)]);
    }
    same.push_back(static_cast<int>(i));
  }
  m_.conflicts.assign(m_.candidates.size(), {});
  for (std::size_t i = 0; i < found.size(); ++i) {
    std::sort(found[i].begin(), found[i].end());
    found[i].erase(std::unique(found[i].begin(), found[i].end()), found[i].end());
    m_.conflicts[i] = std::move(found[i]);
  }
  for (std::size_t d = 0; d < m_.of_demand.size(); ++d) {
    auto& list = m_.of_demand[d];
    list.erase(std::remove_if(list.begin(), list.end(), [&](int c) { return impossible[at(c)]; }), list.end());
  }
}
}  // namespace

Model build_model(const Board& board, const Access& access, const std::vector<Need>& needs, const Job& job, const Catalogue& cat, const Rules& rules, const BedOption& option) {
  return Builder(board, access, needs, job, cat, rules, option).run();
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
