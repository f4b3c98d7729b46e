// What the test asks of each net.
#include "teasel/interfaces.h"

#include <algorithm>
#include <cctype>
#include <cmath>

#include "doubts.h"

namespace teasel {

namespace {
/// Needs stand in the order of the nets, one a net.
NeedId need_of(NetId net) {
  return NeedId{net.index()};
}

int standard_count(const InterfaceTable& table, Role role) {
  switch (role) {
    case Role::programming: return table.programming;
    case Role::power: return table.power;
    case Role::observe: return table.observe;
    case Role::functional: return table.functional;
    case Role::ground: return table.ground_other;
    case Role::do_not_touch: return 0;
  }
  return 0;
}

/// What an interface asks of its net.
void by_interface(Need& need, const Board& board, const Job& job, const InterfaceTable& table,
                  const InterfaceSet& set) {
  const InterfaceNet* part = set.part_of(need.net);
  if (!part) return;
  const FoundInterface& found = set.found[set.of_net[need.net]];
  const InterfaceKind& kind = table.kinds[found.kind];
  const InterfaceLine& line = kind.lines[part->line];
  need.role = found.programs ? Role::programming : line.role.value_or(kind.role);
  if (line.role && found.programs) need.role = *line.role;
  need.because = found.name + (kind.single ? "" : ", " + line.name) + ": " +
                 (part->evidence.empty() ? std::string() : part->evidence[0]) +
                 (kind.role == Role::do_not_touch && !kind.reason.empty() ? "; " + kind.reason : "");
  if (!part->probe_here) {
    // The half that is not probed for the interface is a net like any other.
    need.role = Role::functional;
    need.because += "; probed for the interface on " + board.nets[part->other_side].name + ", " + part->which_side;
    return;
  }
  if (part->series) need.because += "; probed here: " + part->which_side;
  if (found.rule < 0) return;
  const InterfaceRule& rule = job.wants.interface_rules[static_cast<std::size_t>(found.rule)];
  if (rule.role) need.role = *rule.role;
  need.mandatory = rule.mandatory.value_or(false) && line.required && need.role != Role::do_not_touch;
  if (!rule.reason.empty()) need.because += ": " + rule.reason;
}
/// Both ends of a part measured with four wires: two probes on each net, one of them on the part's own pads.
void four_wires(Needs& needs, const Board& board, const Job& job, Table<NetId, char>& counted) {
  for (const Component& component : board.components) {
    if (component.cover || !component.fitted || !measured_with_four_wires(component, job)) continue;
    std::vector<NetId> ends;
    for (const FeatureId id : component.features)
      if (const NetId net = board.features[id].net) ends.push_back(net);
    std::sort(ends.begin(), ends.end());
    ends.erase(std::unique(ends.begin(), ends.end()), ends.end());
    if (ends.size() != 2) continue;
    for (const NetId net : ends) {
      Need& need = needs[need_of(net)];
      if (need.wanted <= 0) continue;
      if (!counted[net] && need.wanted < 2) need.wanted = 2;
      need.kelvin.push_back(component.name);
      need.because += "; " + component.name + " is measured with four wires";
    }
  }
}
}  // namespace

std::string similar_nets(const Board& board, std::string_view pattern) {
  auto plain = [](std::string_view text) {
    std::string out;
    for (const char letter : text)
      if (std::isalnum(static_cast<unsigned char>(letter)))
        out += static_cast<char>(std::toupper(static_cast<unsigned char>(letter)));
    return out;
  };
  const std::string wanted = plain(pattern);
  constexpr std::size_t kMost = 3, kLettersOff = 2, kShortest = 3;
  std::vector<std::pair<std::size_t, const std::string*>> found;
  if (wanted.size() >= kShortest)
    for (const Net& net : board.nets) {
      // Of a name by sheets its last part is what people remember.
      const std::string name = plain(net.name.text()),
                        last = plain(net.name.text().substr(net.name.text().rfind('/') + 1));
      const std::size_t off = std::min(edit_distance(wanted, name), edit_distance(wanted, last));
      if (off <= kLettersOff)
        found.emplace_back(off, &net.name.text());
      else if (name.find(wanted) != name.npos)
        found.emplace_back(kLettersOff + 1, &net.name.text());
    }
  std::stable_sort(found.begin(), found.end(), [](const auto& x, const auto& y) { return x.first < y.first; });
  std::string out;
  for (std::size_t i = 0; i < std::min(kMost, found.size()); ++i) out += (i ? ", " : "") + *found[i].second;
  return out;
}

bool measured_with_four_wires(const Component& component, const Job& job) {
  if (std::any_of(job.wants.kelvin.begin(), job.wants.kelvin.end(),
                  [&](const std::string& pattern) { return glob_match(pattern, component.name); }))
    return true;
  const auto ohms = ohms_in(component.value);
  return reference_letters(component.name) == "R" && ohms && *ohms > Ohms{} && *ohms <= job.wants.kelvin_below;
}

namespace {
/// What an entry of the job file asks of a net.
void by_rule(Need& need, const NeedRule& rule) {
  if (rule.role) need.role = *rule.role;
  need.because = "job file, entry " + rule.nets + (rule.reason.empty() ? "" : ": " + rule.reason);
  need.mandatory = rule.mandatory.value_or(need.mandatory);
  need.amperes = rule.amperes.value_or(Amperes{});
  need.importance = rule.importance.value_or(1);
  need.apart = rule.apart.value_or(Mm{});
  need.long_travel = rule.long_travel.value_or(false);
  need.volts = rule.volts.value_or(need.volts);
}

/// Number of probes that the job states for a net, by its own entry or by that of its interface.
std::optional<int> stated_count(const Need& need, const NeedRule* rule, const Job& job, const InterfaceSet& set) {
  if (rule && rule->wanted) return rule->wanted;
  const InterfaceNet* part = set.part_of(need.net);
  if (!part || !part->probe_here) return std::nullopt;
  const int interface_rule = set.found[set.of_net[need.net]].rule;
  return interface_rule < 0 ? std::nullopt : job.wants.interface_rules[static_cast<std::size_t>(interface_rule)].wanted;
}

/// Clocks that the tester drives fast; it only listens to the others.
bool is_fast_clock(const Need& need, const InterfaceTable& table, const InterfaceSet& set) {
  const InterfaceNet* part = set.part_of(need.net);
  return part && part->probe_here && need.wanted > 0 && need.role == Role::programming &&
         table.kinds[set.kind_of(need.net)].lines[part->line].fast;
}

/// What must be reached is not dropped for a slip of the pen.
void tell_unused(const NeedRule& rule, const Board& board, Diagnostics& diagnostics) {
  const std::string like = similar_nets(board, rule.nets);
  const std::string remedy = "correct the name" + (like.empty() ? std::string() : " (perhaps " + like + ")") +
                             (board.names_perhaps_cut ? ". Netlist names may be cut to 14 characters" : "");
  if (rule.mandatory.value_or(false))
    diagnostics.error({.code = "need-fits-no-net",
                       .at = rule.place,
                       .message = "a mandatory entry of [[need]] matches no net that an earlier entry has not taken",
                       .found = rule.nets,
                       .remedy = remedy});
  else
    diagnostics.warn({.code = "need-fits-no-net",
                      .at = rule.place,
                      .message = "an entry of [[need]] matches no net that an earlier entry has not taken",
                      .found = rule.nets,
                      .remedy = remedy});
}

/// The main ground answers for all rails.
void count_main_ground(Needs& needs, const Board& board, const InterfaceTable& table,
                       const Table<NetId, char>& counted) {
  int rails = 0;
  Need* main = nullptr;
  for (Need& need : needs) {
    if (need.role == Role::power) rails += need.wanted;
    if (need.role == Role::ground && need.wanted > 0 &&
        (!main || board.nets[need.net].features.size() > board.nets[main->net].features.size()))
      main = &need;
  }
  if (!main || counted[main->net]) return;
  main->wanted = std::clamp(rails, table.ground_least, std::max(table.ground_least, table.ground_most));
  main->because += "; main ground: as many probes as all rails together, " + std::to_string(table.ground_least) +
                   " to " + std::to_string(table.ground_most);
}
}  // namespace

Needs needs_of(const Board& board, const Job& job, const InterfaceTable& table, const InterfaceSet& set,
               Diagnostics& diagnostics) {
  Needs needs(board.nets.size());
  Table<NetId, char> counted(board.nets.size());
  std::vector<bool> used(job.wants.needs.size());
  NeedRules rules(needs.size());
  for (const NetId id : board.nets.ids()) {
    const Net& net = board.nets[id];
    Need& need = needs[need_of(id)];
    need.net = id;
    need.role = Role::functional;
    if (net.unconnected) {
      need.because = "not connected";
      continue;
    }
    need.because = "no interface is recognised in its name";
    need.volts = volts_in(net.name.plain()).value_or(Volts{});
    by_interface(need, board, job, table, set);
    const auto found = std::find_if(job.wants.needs.begin(), job.wants.needs.end(),
                                    [&](const NeedRule& rule) { return glob_match(rule.nets, net.name); });
    const NeedRule* rule = found == job.wants.needs.end() ? nullptr : &*found;
    rules[need_of(id)] = rule;
    if (rule) {
      used[static_cast<std::size_t>(found - job.wants.needs.begin())] = true;
      by_rule(need, *rule);
    }
    const bool asked = (rule && rule->role != Role::do_not_touch) || need.mandatory;
    if (net.pins < 2 && !asked && !board.bench.used) {
      need.because = "one pin only";
      continue;
    }
    need.wanted = standard_count(table, need.role);
    if (need.amperes > Amperes{})
      need.wanted = std::max(need.wanted, static_cast<int>(std::ceil(need.amperes / table.amperes_through_one - 1e-9)));
    if (const auto stated = stated_count(need, rule, job, set)) {
      need.wanted = *stated;
      counted[id] = true;
    }
    if (need.role == Role::do_not_touch) need.wanted = 0;
    if (is_fast_clock(need, table, set)) need.ground_within = table.ground_from_clock;
  }
  four_wires(needs, board, job, counted);
  for (std::size_t k = 0; k < used.size(); ++k)
    if (!used[k]) tell_unused(job.wants.needs[k], board, diagnostics);
  count_main_ground(needs, board, table, counted);
  note_doubts(needs, rules, board, job, table, set, diagnostics);
  return needs;
}

Needs needs_in_panel(const Needs& needs, const Board& panel) {
  if (panel.places.empty()) return needs;
  Needs out(panel.nets.size());
  for (const NetId net : panel.nets.ids()) {
    Need& need = out[need_of(net)];
    need = needs[need_of(panel.nets[net].base)];
    need.net = net;
  }
  return out;
}

}  // namespace teasel
