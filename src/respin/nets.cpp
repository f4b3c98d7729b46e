// Which pads and nets of two revisions are the same.
#include <algorithm>
#include <map>

#include "teasel/point_grid.h"
#include "teasel/respin.h"

namespace teasel {

namespace {
using formats::BuiltBoard;
using formats::BuiltNetId;
using formats::BuiltPad;
using formats::BuiltPadId;

/// Pads of components, by part and pin; none where several pads share them.
std::map<std::pair<std::string, std::string>, BuiltPadId> by_pin(const BuiltBoard& board) {
  std::map<std::pair<std::string, std::string>, BuiltPadId> out;
  for (const BuiltPadId id : board.pads.ids()) {
    const BuiltPad& pad = board.pads[id];
    if (!pad.component || pad.pin.empty()) continue;
    const auto [it, fresh] = out.emplace(std::pair(board.parts[pad.component].name, pad.pin), id);
    if (!fresh) it->second = BuiltPadId{};
  }
  return out;
}

std::string part_of(const BuiltBoard& board, const BuiltPad& pad) {
  return pad.component ? board.parts[pad.component].name : std::string();
}
}  // namespace

std::vector<BuiltPadId> match_pads(const BuiltBoard& old, const BuiltBoard& now, const Affine& map) {
  std::vector<BuiltPadId> out(old.pads.size());
  Table<BuiltPadId, char> taken(now.pads.size());
  const auto before = by_pin(old), after = by_pin(now);
  for (const auto& [pin, pad] : before) {
    const auto it = after.find(pin);
    if (pad && it != after.end() && it->second) {
      out[pad.index()] = it->second;
      taken[it->second] = 1;
    }
  }
  constexpr double kNear = 0.05;
  PointGrid grid(kNear);
  for (const BuiltPadId id : now.pads.ids())
    if (!taken[id]) grid.add(map(now.pads[id].at), id.number());
  for (const BuiltPadId id : old.pads.ids()) {
    BuiltPadId& same = out[id.index()];
    if (same) continue;
    const BuiltPad& pad = old.pads[id];
    // Of one kind and, where a part has them, of the same part: pins may share a number.
    same = BuiltPadId::of_number(grid.nearest(pad.at, kNear, [&](int number) {
      const BuiltPadId other = BuiltPadId::of_number(number);
      return !taken[other] && now.pads[other].kind == pad.kind && part_of(now, now.pads[other]) == part_of(old, pad);
    }));
    if (same) taken[same] = 1;
  }
  return out;
}

namespace {
/// What both layouts share of two nets.
class Evidence {
 public:
  Evidence(const BuiltBoard& old, const BuiltBoard& now, const std::vector<BuiltPadId>& pads)
      : had_(old.nets.size()), has_(now.nets.size()) {
    for (const BuiltPadId id : old.pads.ids()) {
      const BuiltPad& pad = old.pads[id];
      if (!pad.net) continue;
      had_[pad.net].add(pad);
      const BuiltPadId same = pads[id.index()];
      if (same && now.pads[same].net) both_[{pad.net, now.pads[same].net}].add(pad);
    }
    for (const BuiltPad& pad : now.pads)
      if (pad.net) has_[pad.net].add(pad);
  }
  void fill(NetMatch& match) const {
    const auto it = both_.find({match.old_net, match.net});
    const Count count = it == both_.end() ? Count{} : it->second;
    match.pins_same = count.pins;
    match.pads_same = count.pads;
    match.pins = had_[match.old_net].pins + has_[match.net].pins - count.pins;
    match.pads = had_[match.old_net].pads + has_[match.net].pads - count.pads;
  }
  /// Nets that share a pad, old and new.
  [[nodiscard]] std::vector<std::pair<BuiltNetId, BuiltNetId>> pairs() const {
    std::vector<std::pair<BuiltNetId, BuiltNetId>> out;
    for (const auto& [nets, count] : both_) out.push_back(nets);
    return out;
  }

 private:
  struct Count {
    int pins = 0, pads = 0;
    void add(const BuiltPad& pad) {
      ++pads;
      pins += pad.component && !pad.pin.empty();
    }
  };
  Table<BuiltNetId, Count> had_, has_;
  std::map<std::pair<BuiltNetId, BuiltNetId>, Count> both_;
};

double share(const NetMatch& match) {
  if (match.pins > 0) return static_cast<double>(match.pins_same) / match.pins;
  return match.pads > 0 ? static_cast<double>(match.pads_same) / match.pads : 0.0;
}
bool is_better(const NetMatch& match, const NetMatch& best) {
  if (!best.old_net || share(match) > share(best)) return true;
  return share(match) == share(best) && match.pads_same > best.pads_same;
}
}  // namespace

std::vector<NetMatch> match_nets(const BuiltBoard& old, const BuiltBoard& now, const std::vector<BuiltPadId>& pads) {
  Table<BuiltNetId, NetMatch> out(old.nets.size());
  std::map<std::string, BuiltNetId> by_name;
  for (const BuiltNetId net : now.nets.ids()) by_name.emplace(now.nets[net], net);
  Table<BuiltNetId, char> taken(now.nets.size());
  for (const BuiltNetId net : old.nets.ids()) {
    out[net].old_net = net;
    if (const auto it = by_name.find(old.nets[net]); it != by_name.end()) {
      out[net].net = it->second;
      taken[it->second] = 1;
    }
  }
  const Evidence evidence(old, now, pads);
  for (NetMatch& match : out)
    if (match.net) evidence.fill(match);
  // Of what is left, each other's best.
  Table<BuiltNetId, NetMatch> best_of_old(old.nets.size()), best_of_new(now.nets.size());
  for (const auto& [before, after] : evidence.pairs()) {
    if (out[before].net || taken[after]) continue;
    NetMatch match;
    match.old_net = before;
    match.net = after;
    match.renamed = true;
    evidence.fill(match);
    for (NetMatch* best : {&best_of_old[before], &best_of_new[after]})
      if (is_better(match, *best)) *best = match;
  }
  constexpr double kHalf = 0.5;
  std::vector<NetMatch> hints;
  for (const BuiltNetId net : out.ids()) {
    NetMatch match = best_of_old[net];
    if (!match.old_net) continue;
    match.taken = share(match) >= kHalf && best_of_new[match.net].old_net == match.old_net;
    if (match.taken)
      out[net] = match;
    else
      hints.push_back(match);
  }
  std::vector<NetMatch> list = std::move(out.rows());
  list.insert(list.end(), hints.begin(), hints.end());
  return list;
}

}  // namespace teasel
