// What the test asks of each net.
#include "teasel/interfaces.h"

#include <algorithm>
#include <cctype>
#include <cmath>

namespace teasel {

namespace {
int standard_count(const InterfaceTable& t, Role role) {
  switch (role) {
    case Role::programming: return t.programming;
    case Role::power: return t.power;
    case Role::observe: return t.observe;
    case Role::functional: return t.functional;
    case Role::ground: return t.ground_other;
    case Role::do_not_touch: return 0;
  }
  return 0;
}

/// What an interface asks of its net.
void by_interface(Need& need, const Board& board, const Job& job, const InterfaceTable& table,
                  const InterfaceSet& set) {
  const int f = set.of_net[static_cast<std::size_t>(need.net)];
  const InterfaceNet* part = set.part_of(need.net);
  if (!part) return;
  const FoundInterface& found = set.found[static_cast<std::size_t>(f)];
  const InterfaceKind& kind = table.kinds[static_cast<std::size_t>(found.kind)];
  const InterfaceLine& line = kind.lines[static_cast<std::size_t>(part->line)];
  need.role = found.programs ? Role::programming : line.role.value_or(kind.role);
  if (line.role && found.programs) need.role = *line.role;
  need.because = found.name + (kind.single ? "" : ", " + line.name) + ": " +
                 (part->evidence.empty() ? std::string() : part->evidence[0]) +
                 (kind.role == Role::do_not_touch && !kind.reason.empty() ? "; " + kind.reason : "");
  if (!part->probe_here) {
    // The half that is not probed for the interface is a net like any other.
    need.role = Role::functional;
    need.because += "; probed for the interface on " + board.nets[static_cast<std::size_t>(part->other_side)].name +
                    ", " + part->which_side;
    return;
  }
  if (part->series >= 0) need.because += "; probed here: " + part->which_side;
  if (found.rule < 0) return;
  const InterfaceRule& rule = job.interface_rules[static_cast<std::size_t>(found.rule)];
  if (rule.role) need.role = *rule.role;
  need.mandatory = rule.mandatory.value_or(false) && line.required && need.role != Role::do_not_touch;
  if (!rule.reason.empty()) need.because += ": " + rule.reason;
}
/// Both ends of a part measured with four wires: two probes on each net, one of them on the part's own pads.
void four_wires(std::vector<Need>& needs, const Board& board, const Job& job, std::vector<bool>& counted) {
  for (const Component& c : board.components) {
    if (c.cover || !c.fitted || !measured_with_four_wires(c, job)) continue;
    std::vector<int> ends;
    for (const int f : c.features)
      if (const int n = board.features[static_cast<std::size_t>(f)].net; n >= 0) ends.push_back(n);
    std::sort(ends.begin(), ends.end());
    ends.erase(std::unique(ends.begin(), ends.end()), ends.end());
    if (ends.size() != 2) continue;
    for (const int n : ends) {
      Need& need = needs[static_cast<std::size_t>(n)];
      if (need.wanted <= 0) continue;
      if (!counted[static_cast<std::size_t>(n)] && need.wanted < 2) need.wanted = 2;
      need.kelvin.push_back(c.name);
      need.because += "; " + c.name + " is measured with four wires";
    }
  }
}
}  // namespace

std::string similar_nets(const Board& board, std::string_view pattern) {
  auto plain = [](std::string_view text) {
    std::string out;
    for (const char c : text)
      if (std::isalnum(static_cast<unsigned char>(c)))
        out += static_cast<char>(std::toupper(static_cast<unsigned char>(c)));
    return out;
  };
  const std::string wanted = plain(pattern);
  constexpr std::size_t kMost = 3, kLettersOff = 2, kShortest = 3;
  std::vector<std::pair<std::size_t, const std::string*>> found;
  if (wanted.size() >= kShortest)
    for (const Net& n : board.nets) {
      // Of a name by sheets its last part is what people remember.
      const std::string name = plain(n.name), last = plain(n.name.substr(n.name.rfind('/') + 1));
      const std::size_t off = std::min(edit_distance(wanted, name), edit_distance(wanted, last));
      if (off <= kLettersOff)
        found.emplace_back(off, &n.name);
      else if (name.find(wanted) != name.npos)
        found.emplace_back(kLettersOff + 1, &n.name);
    }
  std::stable_sort(found.begin(), found.end(), [](const auto& x, const auto& y) { return x.first < y.first; });
  std::string out;
  for (std::size_t i = 0; i < std::min(kMost, found.size()); ++i) out += (i ? ", " : "") + *found[i].second;
  return out;
}

bool measured_with_four_wires(const Component& c, const Job& job) {
  const std::string name = c.name.substr(c.name.find(':') == std::string::npos ? 0 : c.name.find(':') + 1);
  if (std::any_of(job.kelvin.begin(), job.kelvin.end(),
                  [&](const std::string& g) { return glob_match(g, c.name) || glob_match(g, name); }))
    return true;
  const auto ohms = ohms_in(c.value);
  return reference_letters(name) == "R" && ohms && *ohms > 0 && *ohms <= job.kelvin_below;
}

std::vector<Need> needs_of(const Board& board, const Job& job, const InterfaceTable& roles, const InterfaceSet& set,
                           Diagnostics& d) {
  std::vector<Need> needs(board.nets.size());
  std::vector<bool> counted(board.nets.size()), used(job.needs.size());
  for (std::size_t i = 0; i < board.nets.size(); ++i) {
    const Net& net = board.nets[i];
    Need& need = needs[i];
    need.net = static_cast<int>(i);
    need.role = Role::functional;
    if (net.unconnected) {
      need.because = "not connected";
      continue;
    }
    need.because = "no interface is recognised in its name";
    need.volts = volts_in(net.plain()).value_or(0);
    by_interface(need, board, job, roles, set);
    auto rule = std::find_if(job.needs.begin(), job.needs.end(),
                             [&](const NeedRule& r) { return glob_match(r.nets, net.name); });
    if (rule != job.needs.end()) {
      used[static_cast<std::size_t>(rule - job.needs.begin())] = true;
      if (rule->role) need.role = *rule->role;
      need.because = "job file, entry " + rule->nets + (rule->reason.empty() ? "" : ": " + rule->reason);
      need.mandatory = rule->mandatory.value_or(need.mandatory);
      need.amperes = rule->amperes.value_or(0);
      need.importance = rule->importance.value_or(1);
      need.apart = rule->apart.value_or(Mm{}).v;
      need.long_travel = rule->long_travel.value_or(false);
      need.volts = rule->volts.value_or(need.volts);
    }
    const bool asked = (rule != job.needs.end() && rule->role != Role::do_not_touch) || need.mandatory;
    if (net.pins < 2 && !asked && !board.bench.used) {
      need.because = "one pin only";
      continue;
    }
    need.wanted = standard_count(roles, need.role);
    if (need.amperes > 0)
      need.wanted = std::max(need.wanted, static_cast<int>(std::ceil(need.amperes / roles.amperes_through_one - 1e-9)));
    if (const FoundInterface* f = set.of_net[i] < 0 ? nullptr : &set.found[static_cast<std::size_t>(set.of_net[i])];
        f && f->rule >= 0 && set.part_of(need.net)->probe_here)
      if (const auto& wanted = job.interface_rules[static_cast<std::size_t>(f->rule)].wanted) {
        need.wanted = *wanted;
        counted[i] = true;
      }
    if (rule != job.needs.end() && rule->wanted) {
      need.wanted = *rule->wanted;
      counted[i] = true;
    }
    if (need.role == Role::do_not_touch) need.wanted = 0;
    // Clocks that the tester drives fast; it only listens to the others.
    if (const InterfaceNet* part = set.part_of(need.net);
        part && part->probe_here && need.wanted > 0 && need.role == Role::programming &&
        roles.kinds[static_cast<std::size_t>(set.kind_of(need.net))].lines[static_cast<std::size_t>(part->line)].fast)
      need.ground_within = roles.ground_from_clock_mm;
  }
  four_wires(needs, board, job, counted);
  for (std::size_t k = 0; k < used.size(); ++k) {
    if (used[k]) continue;
    const NeedRule& rule = job.needs[k];
    const std::string like = similar_nets(board, rule.nets),
                      remedy = (like.empty() ? "correct the name" : "correct the name; perhaps " + like) +
                               "; netlist names may be cut to 14 characters";
    // What must be reached is not dropped for a slip of the pen.
    if (rule.mandatory.value_or(false))
      d.error("need-fits-no-net", rule.place,
              "a mandatory entry of [[need]] fits no net that is not taken by an earlier entry", rule.nets, {}, remedy);
    else
      d.warn("need-fits-no-net", rule.place, "an entry of [[need]] fits no net that is not taken by an earlier entry",
             rule.nets, remedy);
  }
  // The main ground answers for all rails.
  int rails = 0, main = -1;
  for (std::size_t i = 0; i < needs.size(); ++i) {
    if (needs[i].role == Role::power) rails += needs[i].wanted;
    if (needs[i].role == Role::ground && needs[i].wanted > 0 &&
        (main < 0 || board.nets[i].features.size() > board.nets[static_cast<std::size_t>(main)].features.size()))
      main = static_cast<int>(i);
  }
  if (main >= 0 && !counted[static_cast<std::size_t>(main)]) {
    Need& n = needs[static_cast<std::size_t>(main)];
    n.wanted = std::clamp(rails, roles.ground_least, std::max(roles.ground_least, roles.ground_most));
    n.because += "; main ground: as many probes as all rails together, " + std::to_string(roles.ground_least) + " to " +
                 std::to_string(roles.ground_most);
  }
  return needs;
}

std::vector<Need> needs_in_panel(const std::vector<Need>& needs, const Board& panel) {
  if (panel.places.empty()) return needs;
  std::vector<Need> out(panel.nets.size());
  for (std::size_t i = 0; i < out.size(); ++i) {
    out[i] = needs[static_cast<std::size_t>(panel.nets[i].base)];
    out[i].net = static_cast<int>(i);
  }
  return out;
}

}  // namespace teasel
