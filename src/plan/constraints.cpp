// What candidates exclude one another, what is wished for besides the probes themselves, and what is limited.
#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <tuple>

#include "model.h"

namespace teasel::planning {

namespace {
std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}
Cents cents(double money) {
  return std::llround(money * 100);
}

struct Pairs {
  std::vector<std::vector<int>> near;
  explicit Pairs(std::size_t n) : near(n) {}
  void add(int a, int b) {
    if (a != b) {
      near[at(a)].push_back(b);
      near[at(b)].push_back(a);
    }
  }
};

/// Squares of the rule's size, half overlapping, that hold a point (nm).
std::vector<std::pair<std::int64_t, std::int64_t>> areas_at(std::int64_t x, std::int64_t y, std::int64_t side) {
  const std::int64_t half = side / 2;
  auto cell = [&](std::int64_t v) { return v >= 0 ? v / half : -((-v + half - 1) / half); };
  std::vector<std::pair<std::int64_t, std::int64_t>> out;
  for (const std::int64_t i : {cell(x) - 1, cell(x)})
    for (const std::int64_t j : {cell(y) - 1, cell(y)}) out.emplace_back(i, j);
  return out;
}

class Wishes {
 public:
  Wishes(Model& m, const Inputs& in, std::vector<std::vector<selection::Part>>& covers)
      : m_(m),
        in_(in),
        covers_(covers),
        of_demand_(m.demands.size()),
        copies_(in.board.plans_alike ? std::max<std::size_t>(1, in.board.places.size()) : 1) {
    for (std::size_t c = 0; c < covers.size(); ++c)
      if (m.candidates[c].mate < 0) of_demand_[at(covers[c][0].row)].push_back(static_cast<int>(c));
  }
  void run() {
    for (std::size_t d = 0; d < m_.demands.size(); ++d) {
      const Need& need = in_.needs[at(m_.demands[d].needs[0])];
      if (need.amperes > 0) amperes(static_cast<int>(d), need);
      for (const std::string& c : need.kelvin) kelvin_end(static_cast<int>(d), c);
      if (need.wanted >= 3 && in_.rules.cost.spread > 0) spread(static_cast<int>(d), need);
    }
    for (std::size_t d = 0; d < m_.demands.size(); ++d)
      if (const Need& need = in_.needs[at(m_.demands[d].needs[0])];
          need.ground_within > 0 && in_.rules.cost.clock_return > 0)
        clock_return(static_cast<int>(d), need);
  }

 private:
  const Atom& atom(int c) const { return m_.atoms[m_.candidates[at(c)].first_atom]; }
  int want(Wish::Kind kind, int demand, std::string of, std::int64_t wanted, Cents miss) {
    m_.problem.wants.push_back({wanted, static_cast<Cents>(copies_) * miss, false, 0});
    m_.wishes.push_back({kind, demand, std::move(of)});
    return static_cast<int>(m_.wishes.size()) - 1;
  }

  /// In tenths of an ampere: each probe carries what its class does, in each of its tips.
  void amperes(int d, const Need& need) {
    double widest = 0.1;
    for (const ProbeClass& p : in_.catalogue.classes) widest = std::max(widest, p.amperes);
    const int row = want(Wish::Kind::amperes, d, {}, static_cast<std::int64_t>(std::ceil(need.amperes * 10 - 1e-9)),
                         std::max<Cents>(1, cents(unmet_price(need, in_.rules).further * 0.1 / widest)));
    for (const int c : of_demand_[at(d)]) {
      const ProbeClass& p = in_.catalogue.classes[at(m_.candidates[at(c)].probe_class)];
      const auto carries = static_cast<std::int64_t>(std::floor(p.amperes * 10 + 1e-9)) * p.contacts;
      if (carries > 0) covers_[at(c)].push_back({row, carries});
    }
  }

  void kelvin_end(int d, const std::string& component) {
    std::vector<int> there;
    for (const int c : of_demand_[at(d)]) {
      const Feature& f = in_.board.features[at(atom(c).feature)];
      if (f.component < 0) continue;
      const std::string& name = in_.board.components[at(f.component)].name;
      if (name == component || plain(name) == component) there.push_back(c);
    }
    const int row = want(Wish::Kind::kelvin_end, d, component, 1, cents(in_.rules.cost.kelvin_end));
    for (const int c : there) covers_[at(c)].push_back({row, 1});
  }

  /// Centres far from one another (each next one the farthest from those before, Gonzalez's rule), and the candidates
  /// nearest to each: every such part of the net wants one probe.
  void spread(int d, const Need& need) {
    const auto& list = of_demand_[at(d)];
    if (list.size() < 2) return;
    auto apart = [&](int a, int b) {
      return std::hypot(static_cast<double>(atom(a).x - atom(b).x), static_cast<double>(atom(a).y - atom(b).y));
    };
    std::vector<int> centres{list[0]}, nearest(list.size(), 0);
    std::vector<double> far(list.size());
    for (std::size_t i = 0; i < list.size(); ++i) far[i] = apart(list[i], list[0]);
    while (static_cast<int>(centres.size()) < need.wanted) {
      const std::size_t next = static_cast<std::size_t>(std::max_element(far.begin(), far.end()) - far.begin());
      if (far[next] <= 0) break;
      for (std::size_t i = 0; i < list.size(); ++i)
        if (const double x = apart(list[i], list[next]); x < far[i]) {
          far[i] = x;
          nearest[i] = static_cast<int>(centres.size());
        }
      centres.push_back(list[next]);
    }
    if (centres.size() < 2) return;
    std::vector<int> rows;
    for (const int c : centres)
      rows.push_back(
          want(Wish::Kind::spread, d, in_.board.features[at(atom(c).feature)].name, 1, cents(in_.rules.cost.spread)));
    for (std::size_t i = 0; i < list.size(); ++i) covers_[at(list[i])].push_back({rows[at(nearest[i])], 1});
  }

  /// A probe on a clock asks for a ground probe near it, on its side.
  void clock_return(int d, const Need& need) {
    std::map<std::pair<int, Side>, std::vector<int>> by_target;
    for (const int c : of_demand_[at(d)]) by_target[{m_.candidates[at(c)].target, atom(c).side}].push_back(c);
    for (const auto& [key, list] : by_target) {
      const Atom& clock = atom(list[0]);
      const int row = want(Wish::Kind::clock_return, d, in_.board.features[at(clock.feature)].name, 0,
                           cents(in_.rules.cost.clock_return));
      for (const int c : list)
        if (atom(c).ring_need < 0) covers_[at(c)].push_back({row, -1});
      for (std::size_t g = 0; g < m_.demands.size(); ++g) {
        if (in_.needs[at(m_.demands[g].needs[0])].role != Role::ground) continue;
        if (in_.board.nets[at(in_.needs[at(m_.demands[g].needs[0])].net)].panel_place !=
            in_.board.nets[at(need.net)].panel_place)
          continue;
        for (const int c : of_demand_[g])
          if (atom(c).side == clock.side &&
              std::hypot(static_cast<double>(atom(c).x - clock.x), static_cast<double>(atom(c).y - clock.y)) <=
                  need.ground_within * 1e6)
            covers_[at(c)].push_back({row, 1});
      }
    }
  }

  Model& m_;
  const Inputs& in_;
  std::vector<std::vector<selection::Part>>& covers_;
  std::vector<std::vector<int>> of_demand_;
  const std::size_t copies_;
};

/// Spacing by class and head between atoms of one side.
void by_spacing(const Model& m, const Inputs& in, const std::vector<int>& candidate_of, Pairs& pairs,
                std::vector<char>& impossible) {
  selection::Spaced s;
  std::map<std::pair<int, double>, int> kinds;
  std::vector<int> atom_of;
  for (std::size_t i = 0; i < m.atoms.size(); ++i) {
    const Candidate& c = m.candidates[at(candidate_of[i])];
    if (c.mate >= 0) continue;
    kinds.emplace(std::pair(c.probe_class, m.atoms[i].head), 0);
    atom_of.push_back(static_cast<int>(i));
  }
  int next = 0;
  std::vector<std::pair<int, double>> list;
  for (auto& [key, number] : kinds) {
    number = next++;
    list.push_back(key);
  }
  s.least.assign(list.size(), std::vector<std::int64_t>(list.size()));
  for (std::size_t a = 0; a < list.size(); ++a)
    for (std::size_t b = 0; b < list.size(); ++b)
      s.least[a][b] = std::max<std::int64_t>(1, least_distance_nm(in.catalogue, in.rules, at(list[a].first),
                                                                  list[a].second, at(list[b].first), list[b].second) -
                                                    kAimGrid);
  for (const int i : atom_of) {
    const Atom& x = m.atoms[at(i)];
    s.x.push_back(x.x);
    s.y.push_back(x.y);
    s.layer.push_back(static_cast<int>(x.side));
    s.kind.push_back(kinds.at({m.candidates[at(candidate_of[at(i)])].probe_class, x.head}));
  }
  const auto found = selection::spacing_conflicts(s);
  for (std::size_t i = 0; i < found.size(); ++i)
    for (const int j : found[i]) {
      if (j < static_cast<int>(i)) continue;
      const int a = candidate_of[at(atom_of[i])], b = candidate_of[at(atom_of[at(j)])];
      if (a == b) impossible[at(a)] = 1;  // two boards of a panel too close for this one
      pairs.add(a, b);
    }
}

/// Two probes in one hole from both sides must not meet inside it; on a lead there is nothing to gain from a second.
void in_one_hole(const Model& m, const Inputs& in, const std::vector<int>& candidate_of, Pairs& pairs) {
  std::map<int, std::vector<int>> by_feature;
  for (std::size_t i = 0; i < m.atoms.size(); ++i) {
    const Atom& a = m.atoms[i];
    const Candidate& ca = m.candidates[at(candidate_of[i])];
    if (ca.mate >= 0) continue;
    auto& same = by_feature[a.feature];
    for (const int j : same) {
      const Atom& o = m.atoms[at(j)];
      if (o.side == a.side) continue;
      const Candidate& co = m.candidates[at(candidate_of[at(j)])];
      const bool empty = in.access.targets[at(a.target)].has(Contact::open_hole) &&
                         in.access.targets[at(o.target)].has(Contact::open_hole);
      if (!empty || clearance_in_hole(in.rules, in.catalogue.classes[at(ca.probe_class)],
                                      in.catalogue.classes[at(co.probe_class)], in.board.features[at(a.feature)].hole,
                                      in.board.thickness) < 0)
        pairs.add(candidate_of[i], candidate_of[at(j)]);
    }
    same.push_back(static_cast<int>(i));
  }
}

/// Probes of a need that asks for a least distance between them.
void apart(const Model& m, const Inputs& in, const std::vector<int>& candidate_of, Pairs& pairs) {
  std::map<int, std::vector<int>> of_need;
  for (std::size_t i = 0; i < m.atoms.size(); ++i)
    if (m.candidates[at(candidate_of[i])].mate < 0 && in.needs[at(m.atoms[i].need)].apart > 0)
      of_need[m.atoms[i].need].push_back(static_cast<int>(i));
  for (const auto& [need, list] : of_need) {
    const auto least = static_cast<std::int64_t>(std::llround(in.needs[at(need)].apart * 1e6)) - kAimGrid;
    for (std::size_t i = 0; i < list.size(); ++i)
      for (std::size_t j = i + 1; j < list.size(); ++j) {
        const std::int64_t dx = m.atoms[at(list[i])].x - m.atoms[at(list[j])].x,
                           dy = m.atoms[at(list[i])].y - m.atoms[at(list[j])].y;
        if (dx * dx + dy * dy < least * least) pairs.add(candidate_of[at(list[i])], candidate_of[at(list[j])]);
      }
  }
}

/// Air between the receptacles of nets whose voltages differ by much.
void by_voltage(const Model& m, const Inputs& in, const std::vector<int>& candidate_of, Pairs& pairs) {
  if (in.rules.voltages.empty()) return;
  auto volts = [&](std::size_t i) { return in.needs[at(m.atoms[i].need)].volts; };
  auto body = [&](std::size_t i) {
    return in.catalogue.classes[at(m.candidates[at(candidate_of[i])].probe_class)].receptacle_diameter.v / 2;
  };
  for (std::size_t i = 0; i < m.atoms.size(); ++i) {
    // Of two nets that differ by more than a voltage, one is above half of it.
    if (std::abs(volts(i)) <= in.rules.voltages[0].above / 2 || m.candidates[at(candidate_of[i])].mate >= 0) continue;
    for (std::size_t j = 0; j < m.atoms.size(); ++j) {
      if (m.atoms[j].side != m.atoms[i].side ||
          in.needs[at(m.atoms[j].need)].net == in.needs[at(m.atoms[i].need)].net ||
          m.candidates[at(candidate_of[j])].mate >= 0)
        continue;
      const double air = in.rules.air(std::abs(volts(i) - volts(j)));
      const double apart = std::hypot(static_cast<double>(m.atoms[i].x - m.atoms[j].x),
                                      static_cast<double>(m.atoms[i].y - m.atoms[j].y)) /
                           1e6;
      if (air > 0 && candidate_of[i] != candidate_of[j] &&
          apart < body(i) + body(j) + air - 1e-6 * static_cast<double>(kAimGrid))
        pairs.add(candidate_of[i], candidate_of[j]);
    }
  }
}

/// No probe where a mating connector stands.
void beside_mates(const Model& m, const Inputs& in, const std::vector<int>& candidate_of, Pairs& pairs) {
  for (std::size_t c = 0; c < m.candidates.size(); ++c) {
    const Candidate& mate = m.candidates[c];
    if (mate.mate < 0) continue;
    std::set<std::pair<int, Side>> components;
    for (std::size_t i = mate.first_atom; i < mate.first_atom + mate.atoms; ++i)
      components.emplace(in.board.features[at(m.atoms[i].feature)].component, m.atoms[i].side);
    for (const auto& [id, side] : components) {
      const Component& part = in.board.components[at(id)];
      const Polygons area = part.body.empty() ? Polygons{{part.ring, {}}} : part.body;
      for (std::size_t i = 0; i < m.atoms.size(); ++i) {
        const Atom& a = m.atoms[i];
        const Candidate& other = m.candidates[at(candidate_of[i])];
        if (candidate_of[i] == static_cast<int>(c) || a.side != side) continue;
        const double reach =
            other.mate >= 0
                ? in.rules.mate_clearance.v
                : in.rules.mate_clearance.v + in.catalogue.classes[at(other.probe_class)].receptacle_diameter.v / 2;
        if (distance_to_area(area, {static_cast<double>(a.x) / 1e6, static_cast<double>(a.y) / 1e6}) < reach)
          pairs.add(static_cast<int>(c), candidate_of[i]);
      }
    }
  }
}
}  // namespace

void add_wishes(Model& m, const Inputs& in, std::vector<std::vector<selection::Part>>& covers) {
  Wishes(m, in, covers).run();
}

void add_conflicts(Model& m, const Inputs& in) {
  std::vector<int> candidate_of(m.atoms.size());
  for (std::size_t c = 0; c < m.candidates.size(); ++c)
    for (std::size_t i = m.candidates[c].first_atom; i < m.candidates[c].first_atom + m.candidates[c].atoms; ++i)
      candidate_of[i] = static_cast<int>(c);
  Pairs pairs(m.candidates.size());
  std::vector<char> impossible(m.candidates.size());
  by_spacing(m, in, candidate_of, pairs, impossible);
  in_one_hole(m, in, candidate_of, pairs);
  apart(m, in, candidate_of, pairs);
  by_voltage(m, in, candidate_of, pairs);
  if (!in.job.mates.empty()) beside_mates(m, in, candidate_of, pairs);
  for (std::size_t c = 0; c < m.candidates.size(); ++c) {
    auto& list = pairs.near[c];
    std::sort(list.begin(), list.end());
    list.erase(std::unique(list.begin(), list.end()), list.end());
    for (const int o : list) m.problem.conflicts.add(o);
    m.problem.conflicts.close();
    if (impossible[c]) m.problem.price[c] = selection::kHard;  // dearer than anything it could serve
  }
}

void add_limits(Model& m, const Inputs& in) {
  std::vector<std::vector<selection::Part>> weighs(m.candidates.size());
  auto limit = [&](Bound::Kind kind, std::string text, std::int64_t capacity) {
    m.bounds.push_back({kind, std::move(text)});
    m.problem.limits.push_back(capacity);
    return static_cast<int>(m.bounds.size()) - 1;
  };
  auto atoms_of = [&](std::size_t c) {
    return std::pair(m.candidates[c].first_atom, m.candidates[c].first_atom + m.candidates[c].atoms);
  };
  for (const auto& [name, most] : in.job.most_of_class) {
    const int row = limit(Bound::Kind::of_class, "at most " + std::to_string(most) + " probes of class " + name, most);
    for (std::size_t c = 0; c < m.candidates.size(); ++c)
      if (m.candidates[c].mate < 0 && in.catalogue.classes[at(m.candidates[c].probe_class)].name == name)
        weighs[c].push_back({row, static_cast<std::int64_t>(m.candidates[c].atoms)});
  }
  if (in.job.channels > 0) {
    const int row =
        limit(Bound::Kind::channels, "at most " + std::to_string(in.job.channels) + " channels", in.job.channels);
    for (std::size_t c = 0; c < m.candidates.size(); ++c) {
      const Candidate& x = m.candidates[c];
      std::int64_t n = 0;
      for (auto [i, last] = atoms_of(c); i < last; ++i)
        n += (x.mate >= 0 ? 1 : in.catalogue.classes[at(x.probe_class)].contacts) + (m.atoms[i].ring_need >= 0 ? 1 : 0);
      weighs[c].push_back({row, n});
    }
  }
  auto milli = [](double newton) { return static_cast<std::int64_t>(std::llround(newton * 1000)); };
  if (in.job.largest_force.v > 0) {
    const int row =
        limit(Bound::Kind::force, "at most " + short_number(in.job.largest_force.v, 1) + " N from all probes",
              milli(in.job.largest_force.v));
    for (std::size_t c = 0; c < m.candidates.size(); ++c) {
      double sum = 0;
      for (auto [i, last] = atoms_of(c); i < last; ++i) sum += m.atoms[i].force;
      weighs[c].push_back({row, milli(sum)});
    }
  }
  if (in.rules.area_side.v > 0 && (in.rules.area_probes > 0 || in.rules.area_force.v > 0)) {
    const auto side = static_cast<std::int64_t>(std::llround(in.rules.area_side.v * 1e6));
    std::map<std::tuple<Side, std::int64_t, std::int64_t>, std::map<int, std::pair<std::int64_t, std::int64_t>>>
        areas;  // candidates: probes, force
    for (std::size_t c = 0; c < m.candidates.size(); ++c)
      for (auto [i, last] = atoms_of(c); i < last; ++i)
        for (const auto& [u, v] : areas_at(m.atoms[i].x, m.atoms[i].y, side)) {
          auto& sum = areas[{m.atoms[i].side, u, v}][static_cast<int>(c)];
          sum.first += m.candidates[c].mate < 0;
          sum.second += milli(m.atoms[i].force);
        }
    for (const auto& [key, list] : areas) {
      const auto& [which, u, v] = key;
      const double half = in.rules.area_side.v / 2;
      const std::string where = " in the square of " + short_number(in.rules.area_side.v, 1) + " mm about (" +
                                short_number(static_cast<double>(u + 1) * half, 1) + ", " +
                                short_number(static_cast<double>(v + 1) * half, 1) + "), " + to_string(which);
      std::int64_t probes = 0, force = 0;
      for (const auto& [c, sum] : list) {
        probes += sum.first;
        force += sum.second;
      }
      if (in.rules.area_probes > 0 && probes > in.rules.area_probes) {
        const int row =
            limit(Bound::Kind::area_probes, "at most " + std::to_string(in.rules.area_probes) + " probes" + where,
                  in.rules.area_probes);
        for (const auto& [c, sum] : list)
          if (sum.first > 0) weighs[at(c)].push_back({row, sum.first});
      }
      if (in.rules.area_force.v > 0 && force > milli(in.rules.area_force.v)) {
        const int row =
            limit(Bound::Kind::area_force, "at most " + short_number(in.rules.area_force.v, 1) + " N" + where,
                  milli(in.rules.area_force.v));
        for (const auto& [c, sum] : list)
          if (sum.second > 0) weighs[at(c)].push_back({row, sum.second});
      }
    }
  }
  for (const auto& list : weighs) {
    for (const selection::Part& x : list) m.problem.weighs.add(x);
    m.problem.weighs.close();
  }
}

}  // namespace teasel::planning
