#include "model.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <tuple>

namespace teasel {

namespace {
std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}
}  // namespace

std::int64_t least_distance_nm(const Catalogue& cat, const Rules& rules, std::size_t a, std::size_t b) {
  const ProbeClass &p = cat.classes[a], &q = cat.classes[b];
  const bool smallest = a + 1 == cat.classes.size() && b + 1 == cat.classes.size() && cat.classes.size() > 1;
  const double web = smallest ? rules.web_smallest_class.v : rules.web.v;
  const double mean = (p.spacing.v + q.spacing.v) / 2, holes = (p.receptacle_drill.v + q.receptacle_drill.v) / 2 + web;
  return std::llround(std::max(mean, holes) * 1e6);
}

std::int64_t least_distance_nm(const Catalogue& cat, const Rules& rules, std::size_t a, double head_a, std::size_t b,
                               double head_b) {
  // Heads must not touch: both point off by their largest radius, towards one another, and each hole has its own error.
  const double holes = 3 * std::sqrt(2 * (rules.errors.plate_drilling.variance() + rules.errors.receptacle.variance()));
  const double heads = (head_a + head_b) / 2 + cat.classes[a].pointing.v + cat.classes[b].pointing.v + holes;
  return std::max(least_distance_nm(cat, rules, a, b), static_cast<std::int64_t>(std::llround(heads * 1e6)));
}

UnmetPrice unmet_price(const Need& n, const Rules& rules) {
  const auto& c = rules.cost;
  const UnmetPrice p = n.mandatory ? UnmetPrice{c.unmet_mandatory, std::max(c.missing_extra, c.unmet)}
                                   : UnmetPrice{c.unmet, c.missing_extra};
  return {p.none * n.importance, p.further * n.importance};
}

PlaceInFixture place_in_fixture(const StandingFixture& f, const Rules& rules, const ProbeClass& probe, Point p,
                                Side side, double head) {
  constexpr double kSame = 0.0015, kRounding = kAimGrid / 1e6;  // mm
  PlaceInFixture out;
  for (std::size_t h = 0; h < f.holes.size(); ++h) {
    const StandingHole& hole = f.holes[h];
    if (hole.side != side) continue;
    const double away = distance(p, hole.at);
    if (away <= kSame && hole.state != HoleState::plugged && hole.probe_class == probe.name &&
        std::abs(hole.drill - probe.receptacle_drill.v) < 1e-6)
      out.hole = static_cast<int>(h);
    else if (away < (hole.drill + probe.receptacle_drill.v) / 2 + rules.web.v - kRounding)
      out.in_the_way = (hole.state == HoleState::plugged ? "the plugged hole " : "the hole ") + hole.name;
  }
  // What stands in a hole of its own was clear of everything else when that was made.
  if (out.hole >= 0 || !out.in_the_way.empty()) return out;
  const double guide = (std::max(head, probe.plunger_diameter.v) + f.guide_clearance) / 2,
               receptacle = probe.receptacle_drill.v / 2;
  for (const HoleToClear& h : f.to_clear)
    if (h.side == side && distance(p, h.at) < h.radius + (h.guide ? guide : receptacle) - kRounding) {
      out.in_the_way = "the hole of " + h.name;
      return out;
    }
  for (const MilledArea& m : f.milled)
    if (const double least = m.wall + receptacle - kRounding;
        m.side == side && m.about.grown(least).contains(p) && distance_to_area(m.area, p) < least) {
      out.in_the_way = "a pocket";
      return out;
    }
  return out;
}

namespace planning {

namespace {
constexpr double kSameAim = 0.005;        // mm; aim points of boards of a panel that are the same point of the board
constexpr std::int64_t kSameHole = 1500;  // nm; an aim this near to an old hole is that hole

Cents cents(double money) {
  return std::llround(money * 100);
}

/// Where a probe would stand, as far as that changes its price.
struct Stand {
  bool old_hole = false;               ///< drilled already
  const StandingHole* hole = nullptr;  ///< of the fixture that stands
  bool rework = false;                 ///< such a fixture has to be opened for it
  bool same_net = true;                ///< it is wired to the net
};

ProbeCost cost_of(const Target& t, const Verdict& v, const ProbeClass& p, const Rules& rules, bool long_travel,
                  const Stand& stand) {
  ProbeCost c;
  const auto& r = rules.cost;
  const bool probe_stands = stand.hole && stand.hole->state == HoleState::in_use;
  c.probe = cents((probe_stands ? 0 : p.price) +
                  (long_travel && !(probe_stands && stand.hole->long_travel) ? *p.long_travel_price : 0));
  c.wear = p.life > 0 ? cents(p.probe_price * r.boards / p.life) : 0;
  c.hole = stand.hole ? cents(stand.same_net ? 0 : r.rewire)
                      : cents((stand.old_hole ? 0 : r.hole) + (stand.rework ? r.rework : 0));
  const double kinds[] = {r.test_pad, r.lead, r.via, r.smd_pad};
  c.kind = cents(kinds[static_cast<int>(t.kind)] + rules.surfaces.at(t.surface).price);
  const double fault = fault_on(rules, t);
  c.odds =
      cents(-(std::log1p(-std::min(v.miss, 0.999)) + std::log1p(-std::min(fault, 0.999))) * r.false_reject * r.boards +
            v.wrong * r.wrong_landing * r.boards);
  double lack = 0;
  for (const Shortfall& s : v.shortfalls)
    if (!s.blocking && s.required > 0) lack += s.lack();
  c.shortfall = cents(lack * r.shortfall);
  return c;
}

class Builder {
 public:
  explicit Builder(const Inputs& in)
      : in_(in),
        b_(in.board),
        a_(in.access),
        cat_(in.catalogue),
        rings_(in),
        alike_(b_.plans_alike && b_.places.size() > 1),
        copies_(alike_ ? b_.places.size() : 1) {}
  Model run();
  Followed follow(Model& model, const std::vector<int>& touched);

 private:
  void demands();
  void find_copies();
  void target(std::size_t t);
  bool atom(Atom& out, std::size_t target, int spot, std::size_t k);
  bool beside_old_hole(Atom& atom, const ProbeClass& probe) const;
  int same_spot(std::size_t target, const Spot& first, std::size_t copy) const;
  void columns();

  const Inputs& in_;
  const Board& b_;
  const Access& a_;
  const Catalogue& cat_;
  const Rings rings_;
  const bool alike_;
  const std::size_t copies_;
  Model m_;
  std::vector<int> demand_of_net_;
  std::map<std::tuple<int, int, Side>, std::size_t>
      target_at_;  ///< by place, feature of the single board, side of the panel
};

Model Builder::run() {
  demands();
  if (alike_) find_copies();
  for (std::size_t t = 0; t < a_.targets.size(); ++t)
    if (!alike_ || b_.features[at(a_.targets[t].feature)].panel_place == 0) target(t);
  add_mates(m_, in_, demand_of_net_);
  columns();
  return std::move(m_);
}

void Builder::demands() {
  demand_of_net_.assign(b_.nets.size(), -1);
  std::map<int, int> of_base;
  for (std::size_t i = 0; i < in_.needs.size(); ++i) {
    const Need& need = in_.needs[i];
    if (need.wanted <= 0) continue;
    const Net& net = b_.nets[at(need.net)];
    if (alike_ && net.panel_place > 0) {
      const int d = of_base.at(net.base);
      demand_of_net_[at(need.net)] = d;
      m_.demands[at(d)].needs.push_back(static_cast<int>(i));
      continue;
    }
    const int d = static_cast<int>(m_.demands.size());
    demand_of_net_[at(need.net)] = d;
    if (alike_) of_base[net.base] = d;
    const auto [none, further] = unmet_price(need, in_.rules);
    const auto n = static_cast<Cents>(copies_);
    m_.demands.push_back({{static_cast<int>(i)}, need.wanted, n * cents(none), n * cents(std::min(further, none))});
  }
}

void Builder::find_copies() {
  for (std::size_t t = 0; t < a_.targets.size(); ++t) {
    const Feature& f = b_.features[at(a_.targets[t].feature)];
    target_at_[{f.panel_place, f.base, a_.targets[t].side}] = t;
  }
}

/// A new hole keeps its web to every hole of the fixture; an open one of the same class at the aim is used instead.
bool Builder::beside_old_hole(Atom& atom, const ProbeClass& probe) const {
  for (std::size_t h = 0; h < in_.job.old_holes.size(); ++h) {
    const OldHole& old = in_.job.old_holes[h];
    if (old.side != atom.side) continue;
    const std::int64_t dx = atom.x - std::llround(old.at.x * 1e6), dy = atom.y - std::llround(old.at.y * 1e6);
    if (old.state == "open" && old.probe_class == probe.name && std::abs(dx) <= kSameHole &&
        std::abs(dy) <= kSameHole) {
      atom.old_hole = static_cast<int>(h);
      continue;
    }
    const auto drilled = std::find_if(cat_.classes.begin(), cat_.classes.end(),
                                      [&](const ProbeClass& p) { return p.name == old.probe_class; });
    const std::int64_t least =
        std::llround(((drilled->receptacle_drill.v + probe.receptacle_drill.v) / 2 + in_.rules.web.v) * 1e6) - kAimGrid;
    if (dx * dx + dy * dy < least * least) return true;
  }
  return false;
}

bool Builder::atom(Atom& out, std::size_t t, int spot, std::size_t k) {
  const Target& target = a_.targets[t];
  if (!in_.option.probed(target.side)) return false;
  const Verdict& v = a_.verdict(at(spot), k, target.side == in_.option.main);
  if (!v.open) return false;
  const Feature& f = b_.features[at(target.feature)];
  const ProbeClass& probe = cat_.classes[k];
  const auto& needs = m_.demands[at(demand_of_net_[at(f.net)])].needs;
  out.need = needs[alike_ ? at(f.panel_place) : 0];
  const bool long_travel = in_.needs[at(out.need)].long_travel;
  if (long_travel && !probe.long_travel_price) return false;
  out.target = static_cast<int>(t);
  out.spot = spot;
  out.feature = target.feature;
  out.side = target.side;
  const Point p = a_.spots[at(spot)].at;
  out.x = std::llround(p.x * 1e6);
  out.y = std::llround(p.y * 1e6);
  out.head = std::max(head_diameter(b_, in_.rules, target, probe), probe.ring_outer.v);
  out.force = force_on(in_.rules, target, probe).v;
  if (probe.ring_outer.v > 0 && (out.ring_need = rings_.ground_under(p, target.side, probe, f.net)) < 0) return false;
  PlaceInFixture stands;
  if (in_.job.standing.used) stands = place_in_fixture(in_.job.standing, in_.rules, probe, p, target.side, out.head);
  out.standing_hole = stands.hole;
  if (beside_old_hole(out, probe) || !stands.in_the_way.empty()) {
    ++m_.beside_old_holes;
    return false;
  }
  Stand stand{out.old_hole >= 0, nullptr, in_.job.standing.used && out.standing_hole < 0, true};
  if (out.standing_hole >= 0) {
    stand.hole = &in_.job.standing.holes[at(out.standing_hole)];
    stand.same_net = stand.hole->net == b_.nets[at(f.net)].name;
  }
  out.cost = cost_of(target, v, probe, in_.rules, long_travel, stand);
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
      bool open = atom(atoms[0], t, spot, k);
      for (std::size_t c = 1; c < copies_ && open; ++c) {
        const Side side = b_.places[c].flipped != b_.places[0].flipped ? other(target.side) : target.side;
        const auto found = target_at_.find({static_cast<int>(c), f.base, side});
        const int there = found == target_at_.end() ? -1 : same_spot(found->second, a_.spots[at(spot)], c);
        open = there >= 0 && atom(atoms[c], found->second, there, k);
      }
      if (!open) continue;
      Candidate c;
      c.probe_class = static_cast<int>(k);
      c.first_atom = m_.atoms.size();
      c.atoms = copies_;
      c.target = static_cast<int>(t);
      c.demand = d;
      for (const Atom& x : atoms) c.price += x.cost.total();
      m_.atoms.insert(m_.atoms.end(), atoms.begin(), atoms.end());
      m_.candidates.push_back(c);
    }
}

/// The candidates as columns: what each covers, weighs and excludes.
void Builder::columns() {
  selection::Problem& p = m_.problem;
  for (std::size_t d = 0; d < m_.demands.size(); ++d) {
    const Demand& q = m_.demands[d];
    p.wants.push_back({q.wanted, q.wanted == 1 ? q.none : q.further, false, q.wanted == 1 ? 0 : q.none - q.further});
    m_.wishes.push_back({Wish::Kind::demand, static_cast<int>(d), {}});
  }
  std::vector<std::vector<selection::Part>> covers(m_.candidates.size());
  for (std::size_t c = 0; c < m_.candidates.size(); ++c) {
    const Candidate& x = m_.candidates[c];
    p.price.push_back(std::max<Cents>(1, x.price));  // what is free would be taken for nothing
    if (x.mate >= 0) {
      // Of boards probed alike each want stands for all of them: what one board's pins cover.
      std::map<int, std::int64_t> pins;
      for (std::size_t i = x.first_atom; i < x.first_atom + x.atoms; ++i)
        if (const Feature& f = b_.features[at(m_.atoms[i].feature)]; !alike_ || f.panel_place == 0)
          ++pins[demand_of_net_[at(f.net)]];
      for (const auto& [d, n] : pins) covers[c].push_back({d, n});
      continue;
    }
    const Atom& first = m_.atoms[x.first_atom];
    const int d = demand_of_net_[at(b_.features[at(first.feature)].net)];
    covers[c].push_back({d, cat_.classes[at(x.probe_class)].contacts});
    if (first.ring_need >= 0)
      if (const int ground = demand_of_net_[at(in_.needs[at(first.ring_need)].net)]; ground >= 0 && ground != d)
        covers[c].push_back({ground, 1});
  }
  add_wishes(m_, in_, covers);
  for (auto& list : covers) {
    std::sort(list.begin(), list.end(),
              [](const selection::Part& a, const selection::Part& b) { return a.row < b.row; });
    for (const selection::Part& x : list) p.covers.add(x);
    p.covers.close();
  }
  add_conflicts(m_, in_);
  add_limits(m_, in_);
  m_.closed.assign(m_.candidates.size(), 0);
}

/// Makes the candidates of these targets anew and compares.
Followed Builder::follow(Model& m, const std::vector<int>& touched) {
  demands();
  if (alike_) find_copies();
  std::set<int> targets;
  for (const int t : touched) {
    const Feature& f = b_.features[at(a_.targets[at(t)].feature)];
    if (!alike_ || f.panel_place == 0)
      targets.insert(t);
    else
      for (const Side side : {Side::top, Side::bottom})
        if (const auto first = target_at_.find({0, f.base, side}); first != target_at_.end())
          targets.insert(static_cast<int>(first->second));
  }
  std::map<std::pair<int, int>, std::size_t> made;  // by spot and class
  for (const int t : targets) target(at(t));
  for (std::size_t c = 0; c < m_.candidates.size(); ++c)
    made[{m_.atoms[m_.candidates[c].first_atom].spot, m_.candidates[c].probe_class}] = c;
  std::size_t known = 0;
  Followed how = Followed::dearer;
  for (std::size_t c = 0; c < m.candidates.size(); ++c) {
    Candidate& x = m.candidates[c];
    if (x.mate >= 0 || !targets.count(x.target)) continue;
    const auto now = made.find({m.atoms[x.first_atom].spot, x.probe_class});
    if (now != made.end()) ++known;
    if (m.problem.price[c] >= selection::kHard && !m.closed[c]) continue;  // never possible
    const Cents before = m.problem.price[c];
    m.closed[c] = now == made.end();
    if (m.closed[c]) {
      m.problem.price[c] = selection::kHard;
      continue;
    }
    const Candidate& fresh = m_.candidates[now->second];
    x.price = fresh.price;
    for (std::size_t i = 0; i < x.atoms; ++i) m.atoms[x.first_atom + i].cost = m_.atoms[fresh.first_atom + i].cost;
    m.problem.price[c] = std::max<Cents>(1, x.price);
    if (m.problem.price[c] < before) how = Followed::cheaper;
  }
  return known == made.size() ? how : Followed::unknown;
}
}  // namespace

Model build_model(const Inputs& in) {
  return Builder(in).run();
}
Followed follow(Model& model, const Inputs& in, const std::vector<int>& touched) {
  return Builder(in).follow(model, touched);
}

}  // namespace planning
}  // namespace teasel
