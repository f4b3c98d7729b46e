#include <algorithm>

#include "names.h"

namespace teasel {

const RolePattern* pattern_of(const RoleTable& roles, const std::string& name, std::string& which) {
  // Hierarchy prefixes ("/cpu/TCK") do not change what a net is: the last part is looked at as well.
  const std::size_t slash = name.rfind('/');
  const std::string last = slash == name.npos ? name : name.substr(slash + 1);
  for (const RolePattern& p : roles.patterns)
    for (const std::string& n : p.names)
      if (glob_match(n, name) || glob_match(n, last)) {
        which = n;
        return &p;
      }
  return nullptr;
}

namespace {
int standard_count(const RoleTable& t, Role role) {
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
}  // namespace

std::vector<Need> needs_of(const Board& board, const Job& job, const RoleTable& roles, Diagnostics& d) {
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
    std::string which;
    const RolePattern* by_name = pattern_of(roles, net.name, which);
    if (by_name) need.role = by_name->role;
    need.because = by_name ? "name fits " + which + (by_name->reason.empty() ? "" : ": " + by_name->reason) : "no name pattern fits";
    auto rule = std::find_if(job.needs.begin(), job.needs.end(), [&](const NeedRule& r) { return glob_match(r.nets, net.name); });
    if (rule != job.needs.end()) {
      used[static_cast<std::size_t>(rule - job.needs.begin())] = true;
      if (rule->role) need.role = *rule->role;
      need.because = "job file, entry " + rule->nets + (rule->reason.empty() ? "" : ": " + rule->reason);
      need.mandatory = rule->mandatory.value_or(false);
    }
    const bool asked = rule != job.needs.end() && rule->role != Role::do_not_touch;
    if (net.pins < 2 && !asked && !board.bench.used) {
      need.because = "one pin only";
      continue;
    }
    need.wanted = standard_count(roles, need.role);
    if (rule != job.needs.end() && rule->wanted) need.wanted = *rule->wanted, counted[i] = true;
    if (need.role == Role::do_not_touch) need.wanted = 0;
  }
  for (std::size_t k = 0; k < used.size(); ++k)
    if (!used[k]) d.warn("need-fits-no-net", job.needs[k].place, "an entry of [[need]] fits no net that is not taken by an earlier entry", job.needs[k].nets, "correct the name; netlist names may be cut to 14 characters");
  // The main ground answers for all rails.
  int rails = 0, main = -1;
  for (std::size_t i = 0; i < needs.size(); ++i) {
    if (needs[i].role == Role::power) rails += needs[i].wanted;
    if (needs[i].role == Role::ground && needs[i].wanted > 0 && (main < 0 || board.nets[i].features.size() > board.nets[static_cast<std::size_t>(main)].features.size())) main = static_cast<int>(i);
  }
  if (main >= 0 && !counted[static_cast<std::size_t>(main)]) {
    Need& n = needs[static_cast<std::size_t>(main)];
    n.wanted = std::clamp(rails, roles.ground_least, std::max(roles.ground_least, roles.ground_most));
    n.because += "; main ground: as many probes as all rails together, " + std::to_string(roles.ground_least) + " to " + std::to_string(roles.ground_most);
  }
  return needs;
}

std::vector<Need> needs_in_panel(const std::vector<Need>& needs, const Board& panel) {
  if (panel.places.empty()) return needs;
  std::vector<Need> out(panel.nets.size());
  for (std::size_t i = 0; i < out.size(); ++i) out[i] = needs[static_cast<std::size_t>(panel.nets[i].base)], out[i].net = static_cast<int>(i);
  return out;
}

}  // namespace teasel
