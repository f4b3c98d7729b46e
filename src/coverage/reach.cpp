// By interface, pin, component, supply, side and variant.
#include <algorithm>
#include <map>
#include <set>

#include "teasel/board/by_board.h"
#include "teasel/coverage/audit.h"

namespace teasel {

namespace {
class Auditor {
 public:
  Auditor(const Planned& in, const Coverage& coverage)
      : board_(in.board),
        access_(in.access),
        needs_(in.needs),
        option_(in.option),
        coverage_(coverage),
        set_(in.interfaces),
        table_(in.interface_table),
        scan_(in.scan),
        job_(in.job),
        catalogue_(in.catalogue),
        probes_(in.board.nets.size()),
        net_of_(nets_by_place(in.board)) {
    for (const ProbeId probe : option_.probes.ids()) probes_[needs_[option_.probes[probe].need].net].push_back(probe);
  }
  Audit run();

 private:
  NetId base(NetId net) const { return board_.base_net(net); }
  bool reached(NetId net) const { return !probes_[net].empty(); }
  /// The net is tested between boundary-scan cells, and every line of the chains that do so has its probe on this
  /// board.
  bool scanned(NetId net) const {
    if (!scan_.needs_no_probe(base(net))) return false;
    for (const ChainId chain : scan_.nets[base(net)].chains)
      if (chain && !chain_reached(chain, board_.nets[net].panel_place)) return false;
    return true;
  }
  bool chain_reached(ChainId chain, PlaceId place) const {
    if (!scan_.chains.has(chain)) return true;
    const auto& port = scan_.chains[chain].port;
    return std::all_of(port.begin(), port.end(), [&](NetId net) { return reached(net_on(place, net)); });
  }
  NetId net_on(PlaceId place, NetId base_net) const { return net_of_.at({place, base_net}); }
  Side probe_side(ProbeId probe) const { return access_.targets[option_.probes[probe].target].side; }
  BoardPoint probe_at(ProbeId probe) const { return access_.spots[option_.probes[probe].spot].at; }
  void nets();
  void interfaces();
  void single_lines(const FoundInterface& found, PlaceId place, InterfaceReach& reach) const;
  void required_lines(const FoundInterface& found, PlaceId place, InterfaceReach& reach) const;
  bool together(KindId kind, const FoundInterface& found, PlaceId place) const;
  void components();
  void parallel_paths(ComponentId component, std::pair<NetId, NetId> ends, ComponentReach& reach) const;
  void pins();
  void supplies();
  void clocks();
  void variants();
  void score();
  void gate();

  const Board& board_;
  const Access& access_;
  const Needs& needs_;
  const OptionResult& option_;
  const Coverage& coverage_;
  const InterfaceSet& set_;
  const InterfaceTable& table_;
  const BoundaryScan& scan_;
  const Job& job_;
  const Catalogue& catalogue_;
  Table<NetId, std::vector<ProbeId>> probes_;          ///< by net
  std::map<std::pair<PlaceId, NetId>, NetId> net_of_;  ///< by place in the panel and net of the single board
  /// A component with two nets, as one of them sees it.
  struct Pole {
    ComponentId component;
    NetId other;
  };
  std::map<NetId, std::vector<Pole>> poles_;  ///< by net
  Audit out_;
};

void Auditor::nets() {
  out_.nets = {coverage_.met_nets, coverage_.wanted_nets};
  for (const CoverageRow& row : coverage_.rows) {
    const Need& need = needs_[row.need];
    const bool by_scan =
        scanned(need.net) && need.role != Role::do_not_touch && need.role != Role::power && need.role != Role::ground;
    if (row.wanted > 0 || by_scan) {
      ++out_.nets_with_scan.all;
      out_.nets_with_scan.reached += (row.wanted > 0 && row.got >= row.wanted) || by_scan;
    }
    if (row.wanted <= 0) continue;
    ++out_.bottom.all;
    ++out_.top.all;
    ++out_.either.all;
    out_.bottom.reached += row.open[Side::bottom] > 0;
    out_.top.reached += row.open[Side::top] > 0;
    out_.either.reached += row.open[Side::bottom] + row.open[Side::top] > 0;
    out_.from_bottom_only += row.open[Side::bottom] > 0 && row.open[Side::top] == 0;
    out_.from_top_only += row.open[Side::top] > 0 && row.open[Side::bottom] == 0;
  }
}

/// True if a net of that kind has a probe. Where the interface's own devices have such nets, only those count, because
/// another part's reset or supply is of no help.
bool Auditor::together(KindId kind, const FoundInterface& found, PlaceId place) const {
  std::set<ComponentId> devices;
  for (const InterfaceNet& line : found.nets)
    for (const FeatureId feature : board_.nets[net_on(place, line.net)].features)
      if (const ComponentId component = board_.features[feature].component;
          component && board_.components[component].features.size() > 2)
        devices.insert(component);
  const Role role = table_.kinds[kind].role;
  bool own = false, own_reached = false, any = false;
  for (const Need& need : needs_) {
    const NetId net = need.net;
    if (board_.nets[net].panel_place != place) continue;
    const bool is = role == Role::power || role == Role::ground ? need.role == role : set_.kind_of(base(net)) == kind;
    if (!is) continue;
    any |= reached(net);
    const auto& features = board_.nets[net].features;
    if (std::none_of(features.begin(), features.end(),
                     [&](FeatureId feature) { return devices.count(board_.features[feature].component) > 0; }))
      continue;
    own = true;
    own_reached |= reached(net);
  }
  return own ? own_reached : any;
}

/// Kinds whose nets stand alone: each net of its own wants a probe.
void Auditor::single_lines(const FoundInterface& found, PlaceId place, InterfaceReach& reach) const {
  for (const InterfaceNet& line : found.nets) {
    const NetId net = net_on(place, line.net);
    ++reach.lines.all;
    reach.lines.reached += reached(net);
    if (!reached(net)) reach.lacking.push_back(board_.nets[net].name.plain());
  }
}

/// All other kinds: each required line wants a probe, and so does what the interface cannot work without.
void Auditor::required_lines(const FoundInterface& found, PlaceId place, InterfaceReach& reach) const {
  const InterfaceKind& kind = table_.kinds[found.kind];
  std::set<LineId> have;
  for (const InterfaceNet& line : found.nets)
    if (reached(net_on(place, line.net))) have.insert(line.line);
  for (const LineId id : kind.lines.ids()) {
    if (!kind.lines[id].required) continue;
    ++reach.lines.all;
    if (have.count(id)) {
      ++reach.lines.reached;
      continue;
    }
    std::string which;
    for (const InterfaceNet& line : found.nets)
      if (line.line == id) which += (which.empty() ? " (" : ", ") + board_.nets[line.net].name.plain();
    reach.lacking.push_back(kind.lines[id].name + (which.empty() ? ": not found on the board" : which + "): no probe"));
  }
  for (const std::string& other : kind.together) {
    if (together(table_.kind_of(other), found, place)) continue;
    const bool supply = table_.kinds[table_.kind_of(other)].role == Role::power;
    reach.lacking.push_back(other + ": no probe" + (supply ? " on a supply of its devices" : ""));
  }
}

void Auditor::interfaces() {
  std::vector<PlaceId> places;
  for (const PlaceId place : board_.places.ids()) places.push_back(place);
  if (places.empty()) places.emplace_back();
  for (const PlaceId place : places) {
    for (const FoundId id : set_.found.ids()) {
      const FoundInterface& found = set_.found[id];
      const InterfaceKind& kind = table_.kinds[found.kind];
      InterfaceReach reach;
      reach.found = id;
      reach.place = place;
      if (kind.role == Role::do_not_touch)
        reach.lines = {0, static_cast<int>(found.nets.size())};
      else if (kind.single)
        single_lines(found, place, reach);
      else
        required_lines(found, place, reach);
      reach.usable = reach.lacking.empty();
      out_.interfaces.push_back(std::move(reach));
    }
  }
}

void Auditor::pins() {
  for (const Feature& feature : board_.features) {
    if (!feature.component || !feature.net || !board_.components[feature.component].fitted ||
        board_.components[feature.component].features.size() < 2 || board_.nets[feature.net].unconnected ||
        board_.nets[feature.net].pins < 2)
      continue;
    ++out_.pins.all;
    ++out_.pins_with_scan.all;
    const bool is = reached(feature.net);
    out_.pins.reached += is;
    out_.pins_with_scan.reached += is || scanned(feature.net);
  }
}

/// What lies in parallel with a two-pole and spoils the measurement of it.
void Auditor::parallel_paths(ComponentId component, std::pair<NetId, NetId> ends, ComponentReach& reach) const {
  const auto [from, to] = ends;
  const auto name = [&](ComponentId index) { return board_.components[index].name; };
  const auto spoilt = [&](const std::string& by) {
    reach.guarded = false;
    if (reach.parallel.empty()) reach.parallel = by;
  };
  std::map<NetId, ComponentId> over;  // by the net between: the two-pole that leads there
  if (const auto poles = poles_.find(from); poles != poles_.end())
    for (const Pole& pole : poles->second)
      if (pole.component != component && pole.other != to) over[pole.other] = pole.component;
  const auto poles = poles_.find(to);
  if (poles == poles_.end()) return;
  for (const Pole& pole : poles->second) {
    if (pole.component == component) continue;
    if (pole.other == from) {
      spoilt(name(pole.component) + " lies in parallel: only the two together can be measured");
      continue;
    }
    // A path over one net in between spoils the value, unless that net can be guarded.
    if (const auto it = over.find(pole.other); it != over.end() && !reached(pole.other))
      spoilt(name(it->second) + " and " + name(pole.component) + " form a parallel path over " +
             board_.nets[pole.other].name + ", which has no probe for a guard");
  }
}

void Auditor::components() {
  Table<ComponentId, std::set<NetId>> nets(board_.components.size());
  for (const Feature& feature : board_.features)
    if (feature.component && feature.net && !board_.nets[feature.net].unconnected)
      nets[feature.component].insert(feature.net);
  for (const ComponentId id : board_.components.ids())
    if (board_.components[id].fitted && nets[id].size() == 2) {
      const NetId from = *nets[id].begin(), to = *nets[id].rbegin();
      poles_[from].push_back({id, to});
      poles_[to].push_back({id, from});
    }
  Table<NetId, int> open_targets(board_.nets.size());
  for (const TargetId index : access_.targets.ids()) {
    const Target& target = access_.targets[index];
    if (option_.option.probed(target.side) && access_.open(index, target.side == option_.option.main))
      ++open_targets[board_.features[target.feature].net];
  }
  for (const ComponentId id : board_.components.ids()) {
    const Component& component = board_.components[id];
    if (!component.fitted || nets[id].empty() || component.features.size() < 2 || component.cover) continue;
    ComponentReach reach;
    reach.component = id;
    reach.nets = static_cast<int>(nets[id].size());
    for (const NetId net : nets[id]) reach.reached += reached(net);
    reach.two_pole = nets[id].size() == 2 && component.features.size() <= 4;
    if (reach.two_pole) {
      const NetId from = *nets[id].begin(), to = *nets[id].rbegin();
      reach.measurable = reached(from) && reached(to);
      reach.guarded = reach.measurable;
      parallel_paths(id, {from, to}, reach);
      reach.kelvin_wanted = measured_with_four_wires(component, job_);
      reach.kelvin_possible = reach.kelvin_wanted && open_targets[from] >= 2 && open_targets[to] >= 2;
      ++out_.two_poles.all;
      out_.two_poles.reached += reach.measurable;
    }
    ++out_.components.all;
    out_.components.reached += reach.reached == reach.nets;
    out_.parts.push_back(std::move(reach));
  }
}

void Auditor::supplies() {
  for (const Need& need : needs_) {
    if (need.role != Role::power && need.role != Role::ground) continue;
    Amperes amperes;
    for (const ProbeId probe : probes_[need.net])
      amperes += std::min(catalogue_.classes[option_.probes[probe].probe_class].amperes, table_.amperes_through_one);
    (need.role == Role::power ? out_.supply_amperes : out_.ground_amperes) += amperes;
    if (need.role != Role::power) continue;
    SupplyReach supply;
    supply.net = need.net;
    supply.probes = static_cast<int>(probes_[need.net].size());
    supply.amperes = amperes;
    supply.wanted = need.amperes;
    if (const auto volts = volts_in(board_.nets[need.net].name.plain())) {
      supply.volts = *volts;
      supply.states_volts = true;
    }
    out_.supplies.push_back(supply);
  }
}

void Auditor::clocks() {
  for (const ProbeId id : option_.probes.ids()) {
    const NetId net = needs_[option_.probes[id].need].net;
    const InterfaceNet* part = set_.part_of(base(net));
    if (!part || !table_.kinds[set_.kind_of(base(net))].lines[part->line].fast) continue;
    ClockReach clock;
    clock.probe = id;
    clock.distance = Mm{1e9};
    for (const ProbeId other : option_.probes.ids()) {
      const Need& ground = needs_[option_.probes[other].need];
      if (ground.role != Role::ground || board_.nets[ground.net].panel_place != board_.nets[net].panel_place ||
          probe_side(other) != probe_side(id))
        continue;
      if (const Mm away{distance(probe_at(other), probe_at(id))}; away < clock.distance) {
        clock.distance = away;
        clock.ground = other;
      }
    }
    out_.clocks.push_back(clock);
  }
  std::stable_sort(out_.clocks.begin(), out_.clocks.end(),
                   [](const ClockReach& a, const ClockReach& b) { return a.distance > b.distance; });
}

void Auditor::variants() {
  for (std::size_t index = 0; index < job_.parts.variants.size(); ++index) {
    VariantReach variant;
    variant.name = job_.parts.variants[index].name;
    auto fitted = [&](ComponentId component) {
      const Component& part = board_.components[component];
      return index < part.fitted_in.size() ? part.fitted_in[index] != 0 : part.fitted;
    };
    for (const ComponentReach& part : out_.parts) {
      if (!fitted(part.component)) continue;
      ++variant.components.all;
      variant.components.reached += part.reached == part.nets;
      if (part.two_pole) {
        ++variant.two_poles.all;
        variant.two_poles.reached += part.measurable;
      }
    }
    for (const Feature& feature : board_.features) {
      if (!feature.component || !feature.net || board_.components[feature.component].features.size() < 2 ||
          board_.nets[feature.net].unconnected || board_.nets[feature.net].pins < 2 || !fitted(feature.component))
        continue;
      ++variant.pins.all;
      variant.pins.reached += reached(feature.net) || scanned(feature.net);
    }
    out_.variants.push_back(std::move(variant));
  }
}

/// Each wanted net counts by its role, and more where it is mandatory. A part of its probes counts for that part.
void Auditor::score() {
  double all = 0, got = 0;
  const auto& weights = table_.weights;
  for (const CoverageRow& row : coverage_.rows) {
    const Need& need = needs_[row.need];
    const bool by_scan = scanned(need.net) && (need.role == Role::functional || need.role == Role::observe);
    if (row.wanted <= 0 && !by_scan) continue;
    const double weight = weights[static_cast<std::size_t>(need.role)] * (need.mandatory ? table_.mandatory_factor : 1);
    all += weight;
    got += weight * (by_scan ? 1 : std::min(1.0, static_cast<double>(row.got) / row.wanted));
  }
  out_.score = all > 0 ? 100 * got / all : 100;
  auto weight = [&](Role role) {
    return std::string(to_string(role)) + " " + short_number(weights[static_cast<std::size_t>(role)], 2);
  };
  out_.formula = "100 x sum of weight x (probes placed / probes wanted, at most 1) / sum of weight; weights " +
                 weight(Role::programming) + ", " + weight(Role::power) + ", " + weight(Role::ground) + ", " +
                 weight(Role::functional) + ", " + weight(Role::observe) + ", times " +
                 short_number(table_.mandatory_factor, 2) +
                 " where mandatory; nets tested between boundary-scan cells count in full";
}

void Auditor::gate() {
  const Gate& gate = job_.wants.gate;
  auto fail = [&](const std::string& text) { out_.gate_failures.push_back(text); };
  // On a panel a failure is told once, with the boards on which it occurs.
  ByBoard of_boards;
  auto tell = [&] {
    for (const ByBoard::Told& told : of_boards.told(board_)) fail(told.text());
    of_boards = {};
  };
  for (const InterfaceReach& reach : out_.interfaces) {
    const int rule = set_.found[reach.found].rule;
    if (rule >= 0 && job_.wants.interface_rules[static_cast<std::size_t>(rule)].mandatory.value_or(false) &&
        !reach.usable)
      of_boards.add(reach.place, "mandatory interface " + set_.found[reach.found].name + ": " +
                                     (reach.lacking.empty() ? std::string("not usable") : reach.lacking[0]));
  }
  tell();
  if (!gate.used) return;
  auto least = [&](const std::optional<double>& wanted, double is, const std::string& what) {
    if (wanted && is < *wanted - 1e-9)
      fail(what + " " + fixed(is, 1) + ", the gate asks for " + short_number(*wanted, 1));
  };
  least(gate.score, out_.score, "score");
  least(gate.nets, out_.nets_with_scan.percent(), "wanted nets served or scanned, in percent:");
  least(gate.pins, out_.pins_with_scan.percent(), "pins reached or scanned, in percent:");
  least(gate.components, out_.components.percent(), "components with all nets reached, in percent:");
  auto wanted = [&](NetId net) {
    return std::any_of(needs_.begin(), needs_.end(), [&](const Need& n) { return n.net == net && n.wanted > 0; });
  };
  if (gate.supplies)
    for (const SupplyReach& supply : out_.supplies)
      if (wanted(supply.net) && !supply.enough())
        of_boards.add(board_.nets[supply.net].panel_place,
                      "supply " + board_.nets[supply.net].name.plain() + ": " + std::to_string(supply.probes) +
                          " probes carry " + short_number(supply.amperes.v, 2) + " A" +
                          (supply.wanted > Amperes{} ? " of " + short_number(supply.wanted.v, 2) + " A" : ""));
  tell();
  for (const std::string& pattern : gate.interfaces) {
    bool any = false;
    for (const InterfaceReach& reach : out_.interfaces) {
      const FoundInterface& found = set_.found[reach.found];
      if (!glob_match(pattern, found.name) && !glob_match(pattern, table_.kinds[found.kind].name)) continue;
      if (found.fragment) continue;
      any = true;
      if (!reach.usable)
        of_boards.add(reach.place,
                      "interface " + found.name + ": " +
                          (reach.lacking.empty()
                               ? std::string("not usable")
                               : reach.lacking[0] + (reach.lacking.size() > 1
                                                         ? ", and " + std::to_string(reach.lacking.size() - 1) + " more"
                                                         : "")));
    }
    tell();
    if (!any) fail("interface " + pattern + ": no such interface was found on the board");
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

Audit audit(const Planned& in, const Coverage& coverage) {
  return Auditor(in, coverage).run();
}

}  // namespace teasel
