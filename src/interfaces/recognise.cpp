// Which nets form interfaces. Kinds are tried in the order of their table; what one takes is gone for the next.
#include <algorithm>
#include <map>
#include <set>
#include <tuple>

#include "interface_finder.h"
#include "pairs.h"
#include "teasel/enums.h"

namespace teasel {

namespace {
constexpr std::size_t kBusOfPairs = 4;  // so many pairs of one stem are a bus of pairs, whatever it is called
}  // namespace

/// Nets that the job gives to an interface, or to none.
void InterfaceFinder::named_by_job() {
  for (std::size_t rule_id = 0; rule_id < job_.wants.interface_rules.size(); ++rule_id) {
    const InterfaceRule& rule = job_.wants.interface_rules[rule_id];
    if (rule.kind == "none") {
      std::size_t fits = 0;
      for (const NetId net : board_.nets.ids())
        for (const std::string& pattern : rule.nets)
          if (glob_match(pattern, board_.nets[net].name)) {
            taken_[net] = true;
            ++fits;
          }
      if (fits == 0)
        diagnostics_.warn({.code = "interface-fits-no-net",
                           .at = rule.place,
                           .message = "an entry of [[interface]] with kind none matches no net",
                           .remedy = "correct the names"});
      continue;
    }
    if (rule.lines.empty()) continue;
    FoundInterface interface;
    interface.kind = table_.kind_of(rule.kind);
    if (!interface.kind) {
      diagnostics_.error({.code = "interface-kind",
                          .at = rule.place,
                          .message = "the interface file has no such kind",
                          .found = rule.kind,
                          .remedy = "use one of the names in that file"});
      continue;
    }
    interface.name = rule.name.empty() ? rule.kind : rule.name;
    interface.confidence = Confidence::confirmed;
    interface.rule = static_cast<int>(rule_id);
    interface.evidence = {"the job file says so"};
    for (const auto& [line, net] : rule.lines) name_line(interface, rule, line, net);
    set_.found.push_back(std::move(interface));
  }
}

void InterfaceFinder::name_line(FoundInterface& interface, const InterfaceRule& rule, const std::string& line,
                                const std::string& net) {
  const auto& lines = table_.kinds[interface.kind].lines;
  const auto line_found =
      std::find_if(lines.begin(), lines.end(), [&](const InterfaceLine& candidate) { return candidate.name == line; });
  if (line_found == lines.end()) {
    std::string all;
    for (const auto& candidate : lines) all += (all.empty() ? "" : ", ") + candidate.name;
    return diagnostics_.error({.code = "interface-line",
                               .at = rule.place,
                               .message = "this kind of interface has no such line",
                               .found = line,
                               .expected = all,
                               .remedy = "use one of its lines"});
  }
  const auto net_found = std::find_if(board_.nets.begin(), board_.nets.end(),
                                      [&](const Net& candidate) { return candidate.name.is_meant_by(net); });
  if (net_found == board_.nets.end())
    return diagnostics_.error({.code = "interface-net",
                               .at = rule.place,
                               .message = "the board has no such net",
                               .found = net,
                               .remedy = "use a net name as written in coverage.csv"});
  const NetId id = id_of(board_.nets, *net_found);
  if (!free(id))
    return diagnostics_.error({.code = "interface-net",
                               .at = rule.place,
                               .message = "this net is already part of another entry of [[interface]]",
                               .found = net,
                               .remedy = "name it only once"});
  take(interface, part_of(id_of(lines, *line_found), id, Confidence::confirmed, "job file"));
}

FoundInterface& InterfaceFinder::of_kind(KindId id) {
  for (FoundInterface& interface : set_.found)
    if (interface.kind == id && interface.rule < 0) return interface;
  FoundInterface interface;
  interface.kind = id;
  interface.name = table_.kinds[id].name;
  interface.confidence = Confidence::fair;
  set_.found.push_back(std::move(interface));
  return set_.found.back();
}

void InterfaceFinder::by_volts(KindId id) {
  const InterfaceKind& kind = table_.kinds[id];
  for (const NetId net : board_.nets.ids()) {
    if (!free(net) || holds_any(names_[net], kind.not_words)) continue;
    const auto volts = volts_in(name(net));
    if (volts && std::abs(volts->v) > kind.above_volts->v)
      take(of_kind(id), part_of(LineId{0}, net, Confidence::fair, "the name says " + short_number(volts->v, 2) + " V"));
  }
}

void InterfaceFinder::single(KindId id) {
  const InterfaceKind& kind = table_.kinds[id];
  for (const NetId net : board_.nets.ids()) {
    if (!free(net)) continue;
    NameHit hit = best_hit(names_[net], kind);
    bool behind = false;  // behind other words a voltage may be a signal's level
    if (hit.strength < Strength::sure && kind.any_volts && !holds_any(names_[net], kind.not_words))
      if (const auto volts = volts_in(name(net))) {
        hit = {.line = LineId{0}, .strength = Strength::sure, .word = short_number(volts->v, 2) + " V"};
        behind = !std::isdigit(static_cast<unsigned char>(
            names_[net].whole[std::min(names_[net].whole.find_first_not_of("+-VP"), names_[net].whole.size() - 1)]));
      }
    // A weak word for a rail wants what rails have; a sure one wants no sign against it.
    if (kind.role == Role::power && hit.line) {
      if (!bears_supply(net, hit.strength == Strength::stem || behind ? 6 : 3)) continue;
      if (hit.strength == Strength::stem && holds_any(names_[net], kind.not_weak)) continue;
      if (hit.strength == Strength::stem) {
        hit.strength = Strength::sure;
        hit.word += ", and it has parts and pins as supply rails have";
      }
    }
    if (hit.strength < Strength::sure) continue;
    InterfaceNet part = part_of(hit.line, net, Confidence::fair, "the name holds " + hit.word);
    if (kind.role == Role::power || kind.role == Role::ground) {
      const int count = hangs_.capacitors(net);
      if (count >= table_.rail_capacitors) {
        part.confidence = Confidence::strong;
        part.evidence.push_back(std::to_string(count) + " capacitors hang on it");
      }
    }
    take(of_kind(id), std::move(part));
  }
}

/// Rails have capacitors, coils, diodes, fuses or connectors, many pins, or several pins of one part; levels and
/// enables have not.
bool InterfaceFinder::bears_supply(NetId net, int pins_enough) const {
  if (board_.nets[net].pins >= pins_enough || hangs_.capacitors(net) > 0) return true;
  static const std::set<std::string> power = {"L",  "D",   "F",  "FU", "FB",  "CR", "J",   "P",  "X",
                                              "CN", "CON", "JP", "BT", "BAT", "TB", "JTB", "VR", "REG"};
  std::map<ComponentId, int> pins;
  for (const FeatureId id : board_.nets[net].features)
    if (const ComponentId component = board_.features[id].component) ++pins[component];
  return pins.empty() || std::any_of(pins.begin(), pins.end(), [&](const auto& entry) {
           return entry.second > 1 || power.count(reference_letters(board_.components[entry.first].name)) > 0;
         });
}

/// Pins of parts that tell, such as crystals; an oscillator with a supply of its own is another thing.
void InterfaceFinder::by_parts(KindId id) {
  const InterfaceKind& kind = table_.kinds[id];
  for (const Component& component : board_.components) {
    if (std::find(kind.of_parts.begin(), kind.of_parts.end(), reference_letters(component.name)) == kind.of_parts.end())
      continue;
    std::set<NetId> nets;
    bool supplied = false;
    for (const FeatureId pin : component.features)
      if (const NetId net = board_.features[pin].net; net && !board_.nets[net].unconnected) {
        nets.insert(net);
        supplied |= volts_in(name(net)).has_value() || (hangs_.capacitors(net) >= table_.rail_capacitors &&
                                                        board_.nets[net].pins < 200 && !looks_like_ground(net));
      }
    if (supplied || nets.size() < 2) continue;
    for (const NetId net : nets)
      if (free(net) && board_.nets[net].pins <= 5 && !looks_like_ground(net))
        take(of_kind(id), part_of(LineId{0}, net, Confidence::fair, "a pin of " + component.name));
  }
}

bool InterfaceFinder::looks_like_ground(NetId net) const {
  const auto ground = std::find_if(table_.kinds.begin(), table_.kinds.end(),
                                   [](const InterfaceKind& kind) { return kind.single && kind.role == Role::ground; });
  const InterfaceKind& kind = ground == table_.kinds.end() ? table_.kinds.front() : *ground;
  return static_cast<bool>(best_hit(names_[net], kind).line);
}

std::set<NetId> InterfaceFinder::grounds() const {
  std::set<NetId> ground;
  for (const FoundInterface& interface : set_.found)
    if (table_.kinds[interface.kind].role == Role::ground)
      for (const InterfaceNet& part : interface.nets) ground.insert(part.net);
  return ground;
}

/// Rails whose names say nothing.
void InterfaceFinder::rails_by_capacitors() {
  KindId power;
  for (const KindId id : table_.kinds.ids())
    if (table_.kinds[id].single && table_.kinds[id].role == Role::power) power = id;
  if (!power) return;
  const std::set<NetId> ground = grounds();
  for (const NetId net : board_.nets.ids()) {
    if (!free(net) || holds_any(names_[net], table_.kinds[power].not_words)) continue;
    const int count = hangs_.capacitors_to(net, ground);
    if (count >= table_.rail_capacitors)
      take(of_kind(power),
           part_of(LineId{0}, net, Confidence::weak, std::to_string(count) + " capacitors lead from it to ground"));
  }
}

void InterfaceFinder::take_pair(KindId id, NetId positive, NetId negative, Confidence confidence,
                                const std::string& more) {
  FoundInterface& interface = of_kind(id);
  take(interface, part_of(LineId{0}, positive, confidence, "one half of a pair with " + name(negative) + more));
  take(interface, part_of(LineId{1}, negative, confidence, "one half of a pair with " + name(positive) + more));
}

void InterfaceFinder::pairs(KindId id) {
  const InterfaceKind& kind = table_.kinds[id];
  const PairFinder finder(board_);
  std::map<std::string, std::vector<std::pair<NetId, NetId>>> buses;
  for (const NetId net : board_.nets.ids()) {
    if (!free(net)) continue;
    const auto partner = finder.partner(net);
    if (!partner || !partner->positive || !free(partner->net) || holds_any(names_[net], kind.not_words)) continue;
    if (holds_any(names_[net], kind.context) || partner->glued) {
      take_pair(id, net, partner->net, Confidence::fair, "");
      continue;
    }
    std::string stem;
    for (const std::string& part : names_[net].parts)
      if (part.size() > 1 && std::isalpha(static_cast<unsigned char>(part[0]))) stem += part + "_";
    buses[stem].emplace_back(net, partner->net);
  }
  for (const auto& [stem, list] : buses) {
    if (list.size() < kBusOfPairs) continue;
    for (const auto& [positive, negative] : list)
      take_pair(id, positive, negative, Confidence::weak, ", of " + std::to_string(list.size()) + " pairs of one stem");
  }
}

/// Interfaces whose lines go on in one another behind series parts are one.
void InterfaceFinder::join_over_series() {
  Table<NetId, FoundId> home(board_.nets.size());
  for (const FoundId id : set_.found.ids())
    for (const InterfaceNet& part : set_.found[id].nets) home[part.net] = id;
  for (const FoundId id : set_.found.ids()) {
    FoundInterface& interface = set_.found[id];
    if (table_.kinds[interface.kind].single) continue;
    for (std::size_t i = 0; i < interface.nets.size(); ++i) {
      const NetId other = interface.nets[i].other_side;
      const FoundId from_id = other ? home[other] : FoundId{};
      if (!from_id || from_id == id || set_.found[from_id].kind != interface.kind) continue;
      FoundInterface& from = set_.found[from_id];
      if (from.rule >= 0 && interface.rule >= 0) continue;
      for (InterfaceNet& part : from.nets) {
        home[part.net] = id;
        interface.nets.push_back(std::move(part));
      }
      interface.confidence = std::max(interface.confidence, from.confidence);
      interface.programs |= from.programs;
      if (interface.rule < 0) interface.rule = from.rule;
      interface.evidence.push_back("goes on as " + from.name + " behind series parts");
      from.nets.clear();
    }
  }
  std::erase_if(set_.found.rows(),
                [](const FoundInterface& interface) { return interface.nets.empty() && interface.rule < 0; });
}

/// What is missing: required lines, and the kinds without which nothing works.
void InterfaceFinder::complete() {
  std::set<KindId> there;
  for (const FoundInterface& interface : set_.found) there.insert(interface.kind);
  for (FoundInterface& interface : set_.found) {
    const InterfaceKind& kind = table_.kinds[interface.kind];
    std::sort(interface.nets.begin(), interface.nets.end(), [](const InterfaceNet& x, const InterfaceNet& y) {
      return std::tie(x.line, x.net) < std::tie(y.line, y.net);
    });
    if (kind.single || kind.pairs) continue;
    std::size_t required = 0;
    for (const InterfaceLine& line : kind.lines) required += line.required;
    for (const LineId line : kind.lines.ids())
      if (kind.lines[line].required && std::none_of(interface.nets.begin(), interface.nets.end(),
                                                    [&](const InterfaceNet& part) { return part.line == line; }))
        interface.missing.push_back(kind.lines[line].name);
    interface.fragment = interface.rule < 0 && 2 * (required - interface.missing.size()) < required;
    for (const std::string& other : kind.together)
      if (!there.count(table_.kind_of(other)))
        interface.missing.push_back(other + " (no net of the board looks like one)");
  }
}

InterfaceSet InterfaceFinder::run() {
  named_by_job();
  for (const KindId id : table_.kinds.ids()) {
    const InterfaceKind& kind = table_.kinds[id];
    if (kind.above_volts) by_volts(id);
    if (!kind.of_parts.empty()) by_parts(id);
    if (kind.pairs)
      pairs(id);
    else if (kind.single)
      single(id);
    else
      grouped(id);
  }
  rails_by_capacitors();
  follow_series(board_, table_, hangs_, set_, taken_);
  join_over_series();
  complete();
  std::stable_sort(set_.found.begin(), set_.found.end(), [](const FoundInterface& x, const FoundInterface& y) {
    return std::tie(x.kind, x.name) < std::tie(y.kind, y.name);
  });
  // Names must tell interfaces apart.
  std::map<std::string, int> used;
  for (FoundInterface& interface : set_.found)
    if (const int count = ++used[interface.name]; count > 1) interface.name += " (" + std::to_string(count) + ")";
  for (const FoundId id : set_.found.ids())
    for (const InterfaceNet& part : set_.found[id].nets) set_.of_net[part.net] = id;
  confirm_by_job();
  return std::move(set_);
}

/// Entries of the job that speak of interfaces by kind or name.
void InterfaceFinder::confirm_by_job() {
  for (std::size_t rule_id = 0; rule_id < job_.wants.interface_rules.size(); ++rule_id) {
    const InterfaceRule& rule = job_.wants.interface_rules[rule_id];
    if (!rule.lines.empty() || rule.kind == "none") continue;
    std::size_t fits = 0;
    for (FoundInterface& interface : set_.found) {
      if ((!rule.kind.empty() && table_.kinds[interface.kind].name != rule.kind) ||
          (!rule.name.empty() && !glob_match(rule.name, interface.name)) || interface.rule >= 0)
        continue;
      ++fits;
      interface.rule = static_cast<int>(rule_id);
      interface.confidence = Confidence::confirmed;
      interface.evidence.push_back("confirmed by the job file");
    }
    if (fits > 0) continue;
    const std::string name = rule.kind + (rule.name.empty() ? "" : " " + rule.name),
                      remedy =
                          "see  teasel audit  for the names, or name the lines yourself:  lines = { TX = \"...\" }";
    if (rule.mandatory.value_or(false))
      diagnostics_.error({.code = "interface-not-found",
                          .at = rule.place,
                          .message = "a mandatory entry of [[interface]] matches no recognised interface",
                          .found = name,
                          .remedy = remedy});
    else
      diagnostics_.warn({.code = "interface-not-found",
                         .at = rule.place,
                         .message = "an entry of [[interface]] matches no recognised interface",
                         .found = name,
                         .remedy = remedy});
  }
}

const char* to_string(Confidence confidence) {
  static constexpr Words<Confidence> kWords{"weak", "fair", "strong", "confirmed"};
  return kWords[confidence];
}

KindId InterfaceSet::kind_of(NetId net) const {
  return of_net[net] ? found[of_net[net]].kind : KindId{};
}

const InterfaceNet* InterfaceSet::part_of(NetId net) const {
  if (!of_net[net]) return nullptr;
  for (const InterfaceNet& part : found[of_net[net]].nets)
    if (part.net == net) return &part;
  return nullptr;
}

InterfaceSet recognise_interfaces(const Board& board, const Job& job, const InterfaceTable& table,
                                  Diagnostics& diagnostics) {
  return InterfaceFinder(board, job, table, diagnostics).run();
}

}  // namespace teasel
