// Which pads and nets of two revisions are the same.
#include <algorithm>
#include <map>

#include "teasel/point_grid.h"
#include "teasel/respin.h"

namespace teasel {

namespace {
using formats::BuiltBoard;
using formats::BuiltPad;

std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}

/// Pads of components, by part and pin, as far as that names one pad.
std::map<std::pair<std::string, std::string>, int> by_pin(const BuiltBoard& b) {
  std::map<std::pair<std::string, std::string>, int> out;
  for (std::size_t i = 0; i < b.pads.size(); ++i) {
    const BuiltPad& p = b.pads[i];
    if (p.component < 0 || p.pin.empty()) continue;
    const auto [it, fresh] = out.emplace(std::pair(b.parts[at(p.component)].name, p.pin), static_cast<int>(i));
    if (!fresh) it->second = -1;
  }
  return out;
}
}  // namespace

std::vector<int> match_pads(const BuiltBoard& old, const BuiltBoard& now, const Affine& map) {
  std::vector<int> out(old.pads.size(), -1);
  std::vector<char> taken(now.pads.size());
  const auto before = by_pin(old), after = by_pin(now);
  for (const auto& [pin, i] : before) {
    const auto it = after.find(pin);
    if (i >= 0 && it != after.end() && it->second >= 0) {
      out[at(i)] = it->second;
      taken[at(it->second)] = 1;
    }
  }
  constexpr double kNear = 0.05;
  PointGrid grid(kNear);
  for (std::size_t i = 0; i < now.pads.size(); ++i)
    if (!taken[i]) grid.add(map(now.pads[i].at), static_cast<int>(i));
  auto name = [](const BuiltBoard& b, const BuiltPad& p) {
    return p.component < 0 ? std::string() : b.parts[at(p.component)].name;
  };
  for (std::size_t i = 0; i < old.pads.size(); ++i) {
    if (out[i] >= 0) continue;
    // Of one kind and, where a part has them, of the same part: pins may share a number.
    out[i] = grid.nearest(old.pads[i].at, kNear, [&](int k) {
      return !taken[at(k)] && now.pads[at(k)].kind == old.pads[i].kind &&
             name(now, now.pads[at(k)]) == name(old, old.pads[i]);
    });
    if (out[i] >= 0) taken[at(out[i])] = 1;
  }
  return out;
}

std::vector<NetMatch> match_nets(const BuiltBoard& old, const BuiltBoard& now, const std::vector<int>& pads) {
  std::vector<NetMatch> out(old.nets.size());
  std::map<std::string, int> by_name;
  for (std::size_t i = 0; i < now.nets.size(); ++i) by_name.emplace(now.nets[i], static_cast<int>(i));
  std::vector<char> taken(now.nets.size());
  for (std::size_t i = 0; i < old.nets.size(); ++i) {
    out[i].old_net = static_cast<int>(i);
    if (const auto it = by_name.find(old.nets[i]); it != by_name.end()) {
      out[i].net = it->second;
      taken[at(it->second)] = 1;
    }
  }
  struct Count {
    int pins = 0, pads = 0;
  };
  std::vector<Count> had(old.nets.size()), has(now.nets.size());
  std::map<std::pair<int, int>, Count> both;
  auto add = [](Count& c, const BuiltPad& p) {
    ++c.pads;
    c.pins += p.component >= 0 && !p.pin.empty();
  };
  for (std::size_t i = 0; i < old.pads.size(); ++i) {
    const BuiltPad& p = old.pads[i];
    if (p.net < 0) continue;
    add(had[at(p.net)], p);
    if (pads[i] >= 0 && now.pads[at(pads[i])].net >= 0) add(both[{p.net, now.pads[at(pads[i])].net}], p);
  }
  for (const BuiltPad& p : now.pads)
    if (p.net >= 0) add(has[at(p.net)], p);
  auto evidence = [&](NetMatch& m) {
    const auto it = both.find({m.old_net, m.net});
    const Count c = it == both.end() ? Count{} : it->second;
    m.pins_same = c.pins;
    m.pads_same = c.pads;
    m.pins = had[at(m.old_net)].pins + has[at(m.net)].pins - c.pins;
    m.pads = had[at(m.old_net)].pads + has[at(m.net)].pads - c.pads;
  };
  for (NetMatch& m : out)
    if (m.net >= 0) evidence(m);
  // Of what is left, each other's best.
  auto share = [](const NetMatch& m) {
    return m.pins > 0   ? static_cast<double>(m.pins_same) / m.pins
           : m.pads > 0 ? static_cast<double>(m.pads_same) / m.pads
                        : 0.0;
  };
  std::vector<NetMatch> best_of_old(old.nets.size()), best_of_new(now.nets.size()), hints;
  for (const auto& [nets, c] : both) {
    if (out[at(nets.first)].net >= 0 || taken[at(nets.second)]) continue;
    NetMatch m{nets.first, nets.second, true, true};
    evidence(m);
    for (NetMatch* best : {&best_of_old[at(nets.first)], &best_of_new[at(nets.second)]})
      if (best->old_net < 0 || share(m) > share(*best) || (share(m) == share(*best) && m.pads_same > best->pads_same))
        *best = m;
  }
  constexpr double kHalf = 0.5;
  for (std::size_t i = 0; i < out.size(); ++i) {
    NetMatch m = best_of_old[i];
    if (m.old_net < 0) continue;
    m.taken = share(m) >= kHalf && best_of_new[at(m.net)].old_net == m.old_net;
    if (m.taken)
      out[i] = m;
    else
      hints.push_back(m);
  }
  out.insert(out.end(), hints.begin(), hints.end());
  return out;
}

}  // namespace teasel
