// By interface, pin, component, supply, side and variant.
#include <algorithm>
#include <map>
#include <set>

#include "teasel/coverage/audit.h"

namespace teasel {

namespace {
std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}

class Auditor {
 public:
  Auditor(const Board& b, const Access& a, const std::vector<Need>& needs, const OptionResult& r, const Coverage& c,
          const InterfaceSet& set, const InterfaceTable& t, const BoundaryScan& scan, const Job& job,
          const Catalogue& cat)
      : b_(b),
        a_(a),
        needs_(needs),
        r_(r),
        c_(c),
        set_(set),
        t_(t),
        scan_(scan),
        job_(job),
        cat_(cat),
        probes_(b.nets.size()),
        net_of_(nets_by_place(b)) {
    for (std::size_t i = 0; i < r.probes.size(); ++i)
      probes_[at(needs[at(r.probes[i].need)].net)].push_back(static_cast<int>(i));
  }
  Audit run();

 private:
  int base(int net) const { return b_.base_net(net); }
  bool reached(int net) const { return !probes_[at(net)].empty(); }
  /// Tested between cells, by chains whose every line has its probe on this board.
  bool scanned(int net) const {
    if (!scan_.needs_no_probe(base(net))) return false;
    for (const int c : scan_.nets[at(base(net))].chains)
      if (c >= 0 && !chain_reached(c, std::max(b_.nets[at(net)].panel_place, 0))) return false;
    return true;
  }
  bool chain_reached(int chain, int place) const {
    if (at(chain) >= scan_.chains.size()) return true;
    const auto& port = scan_.chains[at(chain)].port;
    return std::all_of(port.begin(), port.end(), [&](int n) { return reached(net_on(place, n)); });
  }
  int net_on(int place, int base_net) const { return net_of_.at({place, base_net}); }
  Side probe_side(int probe) const { return a_.targets[at(r_.probes[at(probe)].target)].side; }
  Point probe_at(int probe) const { return a_.spots[at(r_.probes[at(probe)].spot)].at; }
  void nets();
  void interfaces();
  bool together(int kind, const FoundInterface& f, int place) const;
  void components();
  void pins();
  void supplies();
  void clocks();
  void variants();
  void score();
  void gate();

  const Board& b_;
  const Access& a_;
  const std::vector<Need>& needs_;
  const OptionResult& r_;
  const Coverage& c_;
  const InterfaceSet& set_;
  const InterfaceTable& t_;
  const BoundaryScan& scan_;
  const Job& job_;
  const Catalogue& cat_;
  std::vector<std::vector<int>> probes_;       ///< by net
  std::map<std::pair<int, int>, int> net_of_;  ///< by place in the panel and net of the single board
  Audit out_;
};

void Auditor::nets() {
  out_.nets = {c_.met_nets, c_.wanted_nets};
  for (const CoverageRow& row : c_.rows) {
    const Need& n = needs_[at(row.need)];
    const bool by_scan =
        scanned(n.net) && n.role != Role::do_not_touch && n.role != Role::power && n.role != Role::ground;
    if (row.wanted > 0 || by_scan) {
      ++out_.nets_with_scan.all;
      out_.nets_with_scan.reached += (row.wanted > 0 && row.got >= row.wanted) || by_scan;
    }
    if (row.wanted <= 0) continue;
    ++out_.bottom.all;
    ++out_.top.all;
    ++out_.either.all;
    out_.bottom.reached += row.open_bottom > 0;
    out_.top.reached += row.open_top > 0;
    out_.either.reached += row.open_bottom + row.open_top > 0;
    out_.from_bottom_only += row.open_bottom > 0 && row.open_top == 0;
    out_.from_top_only += row.open_top > 0 && row.open_bottom == 0;
  }
}

/// A net of that kind has a probe: of those on the interface's own devices, where these have any; a reset of another
/// part helps as little as another part's supply.
bool Auditor::together(int kind, const FoundInterface& f, int place) const {
  std::set<int> devices;
  for (const InterfaceNet& n : f.nets)
    for (const int x : b_.nets[at(net_on(place, n.net))].features)
      if (const int c = b_.features[at(x)].component; c >= 0 && b_.components[at(c)].features.size() > 2)
        devices.insert(c);
  const Role role = t_.kinds[at(kind)].role;
  bool own = false, own_reached = false, any = false;
  for (std::size_t i = 0; i < needs_.size(); ++i) {
    const int net = needs_[i].net;
    if (std::max(b_.nets[at(net)].panel_place, 0) != place) continue;
    const bool is =
        role == Role::power || role == Role::ground ? needs_[i].role == role : set_.kind_of(base(net)) == kind;
    if (!is) continue;
    any |= reached(net);
    const auto& features = b_.nets[at(net)].features;
    if (std::none_of(features.begin(), features.end(),
                     [&](int x) { return devices.count(b_.features[at(x)].component) > 0; }))
      continue;
    own = true;
    own_reached |= reached(net);
  }
  return own ? own_reached : any;
}

void Auditor::interfaces() {
  const std::size_t places = std::max<std::size_t>(b_.places.size(), 1);
  for (std::size_t place = 0; place < places; ++place) {
    for (std::size_t i = 0; i < set_.found.size(); ++i) {
      const FoundInterface& f = set_.found[i];
      const InterfaceKind& kind = t_.kinds[at(f.kind)];
      InterfaceReach x;
      x.found = static_cast<int>(i);
      x.place = b_.places.empty() ? -1 : static_cast<int>(place);
      if (kind.role == Role::do_not_touch) {
        x.lines = {0, static_cast<int>(f.nets.size())};
        x.usable = true;
        out_.interfaces.push_back(x);
        continue;
      }
      std::set<int> have;
      for (const InterfaceNet& n : f.nets) {
        const bool is = reached(net_on(static_cast<int>(place), n.net));
        if (kind.single) {
          ++x.lines.all;
          x.lines.reached += is;
          if (!is) x.lacking.push_back(b_.nets[at(net_on(static_cast<int>(place), n.net))].name);
        } else if (is) {
          have.insert(n.line);
        }
      }
      if (!kind.single) {
        for (std::size_t l = 0; l < kind.lines.size(); ++l) {
          if (!kind.lines[l].required) continue;
          ++x.lines.all;
          x.lines.reached += have.count(static_cast<int>(l)) > 0;
          if (have.count(static_cast<int>(l))) continue;
          std::string which;
          for (const InterfaceNet& n : f.nets)
            if (n.line == static_cast<int>(l)) which += (which.empty() ? " (" : ", ") + b_.nets[at(n.net)].plain();
          x.lacking.push_back(kind.lines[l].name +
                              (which.empty() ? ": not found on the board" : which + "): no probe"));
        }
        for (const std::string& other : kind.together)
          if (!together(t_.kind_of(other), f, static_cast<int>(place)))
            x.lacking.push_back(
                other + ": no probe" +
                (t_.kinds[at(t_.kind_of(other))].role == Role::power ? " on a supply of its devices" : ""));
      }
      x.usable = x.lacking.empty();
      out_.interfaces.push_back(std::move(x));
    }
  }
}

void Auditor::pins() {
  for (const Feature& f : b_.features) {
    if (f.component < 0 || f.net < 0 || !b_.components[at(f.component)].fitted ||
        b_.components[at(f.component)].features.size() < 2 || b_.nets[at(f.net)].unconnected ||
        b_.nets[at(f.net)].pins < 2)
      continue;
    ++out_.pins.all;
    ++out_.pins_with_scan.all;
    const bool is = reached(f.net);
    out_.pins.reached += is;
    out_.pins_with_scan.reached += is || scanned(f.net);
  }
}

void Auditor::components() {
  // Two poles by net, for parallel paths.
  struct Pole {
    int component, other;
  };
  std::map<int, std::vector<Pole>> poles;
  std::vector<std::set<int>> nets(b_.components.size());
  for (const Feature& f : b_.features)
    if (f.component >= 0 && f.net >= 0 && !b_.nets[at(f.net)].unconnected) nets[at(f.component)].insert(f.net);
  for (std::size_t i = 0; i < b_.components.size(); ++i)
    if (b_.components[i].fitted && nets[i].size() == 2) {
      const int x = *nets[i].begin(), y = *nets[i].rbegin();
      poles[x].push_back({static_cast<int>(i), y});
      poles[y].push_back({static_cast<int>(i), x});
    }
  auto open_targets = std::vector<int>(b_.nets.size());
  for (std::size_t t = 0; t < a_.targets.size(); ++t)
    if (r_.option.probed(a_.targets[t].side) && a_.open(t, a_.targets[t].side == r_.option.main))
      ++open_targets[at(b_.features[at(a_.targets[t].feature)].net)];
  for (std::size_t i = 0; i < b_.components.size(); ++i) {
    const Component& c = b_.components[i];
    if (!c.fitted || nets[i].empty() || c.features.size() < 2 || c.cover) continue;
    ComponentReach x;
    x.component = static_cast<int>(i);
    x.nets = static_cast<int>(nets[i].size());
    for (const int n : nets[i]) x.reached += reached(n);
    x.two_pole = nets[i].size() == 2 && c.features.size() <= 4;
    if (x.two_pole) {
      const int p = *nets[i].begin(), q = *nets[i].rbegin();
      x.measurable = reached(p) && reached(q);
      x.guarded = x.measurable;
      // A path over one net in between spoils the value, unless that net can be guarded.
      std::map<int, int> over;
      for (const Pole& a : poles[p])
        if (a.component != static_cast<int>(i) && a.other != q) over[a.other] = a.component;
      for (const Pole& a : poles[q]) {
        if (a.component == static_cast<int>(i)) continue;
        if (a.other == p) {
          x.guarded = false;
          if (x.parallel.empty())
            x.parallel = b_.components[at(a.component)].name + " lies in parallel: only both together are measured";
          continue;
        }
        if (const auto it = over.find(a.other); it != over.end() && !reached(a.other)) {
          x.guarded = false;
          if (x.parallel.empty())
            x.parallel = b_.components[at(it->second)].name + " and " + b_.components[at(a.component)].name + " by " +
                         b_.nets[at(a.other)].name + ", which has no probe to guard at";
        }
      }
      x.kelvin_wanted = measured_with_four_wires(c, job_);
      x.kelvin_possible = x.kelvin_wanted && open_targets[at(p)] >= 2 && open_targets[at(q)] >= 2;
      ++out_.two_poles.all;
      out_.two_poles.reached += x.measurable;
    }
    ++out_.components.all;
    out_.components.reached += x.reached == x.nets;
    out_.parts.push_back(std::move(x));
  }
}

void Auditor::supplies() {
  for (std::size_t i = 0; i < needs_.size(); ++i) {
    const Need& n = needs_[i];
    if (n.role != Role::power && n.role != Role::ground) continue;
    double amperes = 0;
    for (const int p : probes_[at(n.net)])
      amperes += std::min(cat_.classes[at(r_.probes[at(p)].probe_class)].amperes, t_.amperes_through_one);
    (n.role == Role::power ? out_.supply_amperes : out_.ground_amperes) += amperes;
    if (n.role != Role::power) continue;
    SupplyReach s;
    s.net = n.net;
    s.probes = static_cast<int>(probes_[at(n.net)].size());
    s.amperes = amperes;
    s.wanted = n.amperes;
    if (const auto v = volts_in(b_.nets[at(n.net)].plain())) {
      s.volts = *v;
      s.states_volts = true;
    }
    out_.supplies.push_back(s);
  }
}

void Auditor::clocks() {
  for (std::size_t i = 0; i < r_.probes.size(); ++i) {
    const int net = needs_[at(r_.probes[i].need)].net;
    const InterfaceNet* part = set_.part_of(base(net));
    if (!part || !t_.kinds[at(set_.kind_of(base(net)))].lines[at(part->line)].fast) continue;
    ClockReach c;
    c.probe = static_cast<int>(i);
    c.distance_mm = 1e9;
    for (std::size_t g = 0; g < r_.probes.size(); ++g) {
      const int ground = needs_[at(r_.probes[g].need)].net;
      if (needs_[at(r_.probes[g].need)].role != Role::ground ||
          b_.nets[at(ground)].panel_place != b_.nets[at(net)].panel_place ||
          probe_side(static_cast<int>(g)) != probe_side(c.probe))
        continue;
      if (const double d = distance(probe_at(static_cast<int>(g)), probe_at(c.probe)); d < c.distance_mm) {
        c.distance_mm = d;
        c.ground = static_cast<int>(g);
      }
    }
    out_.clocks.push_back(c);
  }
  std::stable_sort(out_.clocks.begin(), out_.clocks.end(),
                   [](const ClockReach& x, const ClockReach& y) { return x.distance_mm > y.distance_mm; });
}

void Auditor::variants() {
  for (std::size_t v = 0; v < job_.variants.size(); ++v) {
    VariantReach x;
    x.name = job_.variants[v].name;
    auto fitted = [&](int component) {
      const Component& c = b_.components[at(component)];
      return v < c.fitted_in.size() ? c.fitted_in[v] != 0 : c.fitted;
    };
    for (const ComponentReach& c : out_.parts) {
      if (!fitted(c.component)) continue;
      ++x.components.all;
      x.components.reached += c.reached == c.nets;
      if (c.two_pole) {
        ++x.two_poles.all;
        x.two_poles.reached += c.measurable;
      }
    }
    for (const Feature& f : b_.features) {
      if (f.component < 0 || f.net < 0 || b_.components[at(f.component)].features.size() < 2 ||
          b_.nets[at(f.net)].unconnected || b_.nets[at(f.net)].pins < 2 || !fitted(f.component))
        continue;
      ++x.pins.all;
      x.pins.reached += reached(f.net) || scanned(f.net);
    }
    out_.variants.push_back(std::move(x));
  }
}

/// Each wanted net counts by its role, twice where it is mandatory; a part of its probes counts for that part.
void Auditor::score() {
  double all = 0, got = 0;
  const auto& w = t_.weights;
  for (const CoverageRow& row : c_.rows) {
    const Need& n = needs_[at(row.need)];
    const bool by_scan = scanned(n.net) && (n.role == Role::functional || n.role == Role::observe);
    if (row.wanted <= 0 && !by_scan) continue;
    const double weight = w[at(static_cast<int>(n.role))] * (n.mandatory ? t_.mandatory_factor : 1);
    all += weight;
    got += weight * (by_scan ? 1 : std::min(1.0, static_cast<double>(row.got) / row.wanted));
  }
  out_.score = all > 0 ? 100 * got / all : 100;
  auto weight = [&](Role r) { return std::string(to_string(r)) + " " + short_number(w[at(static_cast<int>(r))], 2); };
  out_.formula = "100 x sum of weight x (probes placed / probes wanted, at most 1) / sum of weight; weights " +
                 weight(Role::programming) + ", " + weight(Role::power) + ", " + weight(Role::ground) + ", " +
                 weight(Role::functional) + ", " + weight(Role::observe) + ", times " +
                 short_number(t_.mandatory_factor, 2) +
                 " where mandatory; nets tested between boundary-scan cells count in full";
}

void Auditor::gate() {
  const Gate& g = job_.gate;
  auto fail = [&](const std::string& text) { out_.gate_failures.push_back(text); };
  auto name_of = [&](const InterfaceReach& x) {
    return (x.place >= 0 ? b_.places[at(x.place)].name + ":" : std::string()) + set_.found[at(x.found)].name;
  };
  for (const InterfaceReach& x : out_.interfaces) {
    const int rule = set_.found[at(x.found)].rule;
    if (rule >= 0 && job_.interface_rules[at(rule)].mandatory.value_or(false) && !x.usable)
      fail("mandatory interface " + name_of(x) + ": " + (x.lacking.empty() ? std::string("not usable") : x.lacking[0]));
  }
  if (!g.used) return;
  auto least = [&](const std::optional<double>& wanted, double is, const std::string& what) {
    if (wanted && is < *wanted - 1e-9)
      fail(what + " " + fixed(is, 1) + ", the gate asks for " + short_number(*wanted, 1));
  };
  least(g.score, out_.score, "score");
  least(g.nets, out_.nets_with_scan.percent(), "wanted nets served or scanned, in percent:");
  least(g.pins, out_.pins_with_scan.percent(), "pins reached or scanned, in percent:");
  least(g.components, out_.components.percent(), "components with all nets reached, in percent:");
  if (g.supplies)
    for (const SupplyReach& s : out_.supplies)
      if (needs_[at(s.net)].wanted > 0 && !s.enough())
        fail("supply " + b_.nets[at(s.net)].name + ": " + std::to_string(s.probes) + " probes carry " +
             short_number(s.amperes, 2) + " A" + (s.wanted > 0 ? " of " + short_number(s.wanted, 2) + " A" : ""));
  for (const std::string& pattern : g.interfaces) {
    bool any = false;
    for (const InterfaceReach& x : out_.interfaces) {
      const FoundInterface& f = set_.found[at(x.found)];
      if (!glob_match(pattern, f.name) && !glob_match(pattern, t_.kinds[at(f.kind)].name)) continue;
      if (f.fragment) continue;
      any = true;
      if (!x.usable)
        fail("interface " + name_of(x) + ": " +
             (x.lacking.empty()
                  ? std::string("not usable")
                  : x.lacking[0] +
                        (x.lacking.size() > 1 ? ", and " + std::to_string(x.lacking.size() - 1) + " more" : "")));
    }
    if (!any) fail("interface " + pattern + ": none such is found on the board");
  }
}

Audit Auditor::run() {
  nets();
  interfaces();
  pins();
  components();
  supplies();
  clocks();
  variants();
  score();
  gate();
  return std::move(out_);
}
}  // namespace

Audit audit_reach(const Board& board, const Access& access, const std::vector<Need>& needs, const PlanResult& plan,
                  const Coverage& coverage, const InterfaceSet& interfaces, const InterfaceTable& table,
                  const BoundaryScan& scan, const Job& job, const Catalogue& catalogue) {
  return Auditor(board, access, needs, plan.options[plan.chosen], coverage, interfaces, table, scan, job, catalogue)
      .run();
}

}  // namespace teasel
