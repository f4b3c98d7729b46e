// A large capacitor, a rectifier or a fuse tells a feed; the table of interfaces tells what carries more than logic.
#include "doubts.h"

#include <algorithm>
#include <set>

#include "teasel/words.h"

namespace teasel {

namespace {
const std::set<std::string> kCapacitors = {"C", "CP", "CE", "EC"},
                            kConnectors = {"J",  "P",  "X",   "CN", "CON", "CONN", "SK", "HDR",
                                           "PL", "TB", "JTB", "BT", "BAT", "DC",   "K"},
                            kPassing = {"D", "CR", "F", "FU", "FS", "L", "FB", "BEAD", "FL"},
                            kShunts = {"C", "CP", "CE", "EC", "TVS", "ZD", "Z", "RV", "VR", "MOV", "TP", "TST"};

/// Looks for nets by which a board is fed, whatever they are called.
class Feeds {
 public:
  Feeds(const Board& board, const Needs& needs) : board_(board), needs_(needs) {}

  /// Why the net looks like a feed; empty where it does not.
  [[nodiscard]] std::string because(NetId net) const {
    if (const ComponentId bulk = bulk_capacitor(net))
      if (const ComponentId passing = any_of(net, kPassing))
        return board_.components[bulk].name.text() + value_of(bulk) + ", lies from it to ground and " +
               board_.components[passing].name.text() + " leads to it";
    // From a plug through a diode, a fuse or a coil, with nothing beside it that would read a signal.
    const ComponentId plug = any_of(net, kConnectors);
    if (!plug || !only_feeding(net)) return {};
    for (const ComponentId part : parts_of(net)) {
      if (!kPassing.count(letters(part))) continue;
      const NetId beyond = other_net(part, net);
      if (beyond && (needs_[NeedId{beyond.index()}].role == Role::power || bulk_capacitor(beyond)))
        return "it leads from " + board_.components[plug].name.text() + " through " +
               board_.components[part].name.text() + " to " + board_.nets[beyond].name.text() +
               ", which feeds the board";
    }
    return {};
  }

 private:
  [[nodiscard]] std::string letters(ComponentId part) const { return reference_letters(board_.components[part].name); }
  [[nodiscard]] std::set<ComponentId> parts_of(NetId net) const {
    std::set<ComponentId> out;
    for (const FeatureId id : board_.nets[net].features)
      if (const ComponentId part = board_.features[id].component;
          part && !board_.components[part].cover && board_.components[part].fitted)
        out.insert(part);
    return out;
  }
  [[nodiscard]] ComponentId any_of(NetId net, const std::set<std::string>& kinds) const {
    for (const ComponentId part : parts_of(net))
      if (kinds.count(letters(part))) return part;
    return {};
  }
  [[nodiscard]] bool only_feeding(NetId net) const {
    const std::set<ComponentId> parts = parts_of(net);
    return std::all_of(parts.begin(), parts.end(), [&](ComponentId part) {
      const std::string kind = letters(part);
      return kConnectors.count(kind) || kPassing.count(kind) || kShunts.count(kind);
    });
  }
  /// The net at the other end of a part with two; none: it has more, or fewer.
  [[nodiscard]] NetId other_net(ComponentId part, NetId net) const {
    std::set<NetId> nets;
    for (const FeatureId id : board_.components[part].features)
      if (const NetId at = board_.features[id].net; at && at != net) nets.insert(at);
    return nets.size() == 1 ? *nets.begin() : NetId{};
  }
  [[nodiscard]] std::string value_of(ComponentId part) const {
    const std::string& value = board_.components[part].value;
    return ", " + (value.empty() ? "value not known" : value);
  }
  /// A capacitor to ground that is larger than signals have, or of a value not known.
  [[nodiscard]] ComponentId bulk_capacitor(NetId net) const {
    constexpr double kBulk = 4.7;  // uF
    for (const ComponentId part : parts_of(net)) {
      if (!kCapacitors.count(letters(part))) continue;
      const NetId beyond = other_net(part, net);
      if (!beyond || needs_[NeedId{beyond.index()}].role != Role::ground) continue;
      const std::string& value = board_.components[part].value;
      if (microfarads_in(value).value_or(value.empty() ? kBulk : 0) >= kBulk) return part;
    }
    return {};
  }

  const Board& board_;
  const Needs& needs_;
};

}  // namespace

void note_doubts(Needs& needs, const NeedRules& rules, const Board& board, const Job& job, const InterfaceTable& table,
                 const InterfaceSet& set, Diagnostics& diagnostics) {
  const Feeds feeds(board, needs);
  std::vector<const Need*> high, feeding;
  for (Need& need : needs) {
    const Net& net = board.nets[need.net];
    if (net.unconnected || need.wanted <= 0) continue;
    const NeedRule* rule = rules[NeedId{need.net.index()}];
    const InterfaceNet* part = set.part_of(need.net);
    if (part && !part->behind && table.kinds[set.kind_of(need.net)].lines[part->line].above_logic &&
        !(rule && rule->volts)) {
      need.doubt = Need::Doubt::above_logic;
      need.doubt_because = "its name is that of a programming voltage";
      high.push_back(&need);
    } else if ((need.role == Role::functional || need.role == Role::observe) && !(rule && rule->role)) {
      need.doubt_because = feeds.because(need.net);
      if (need.doubt_because.empty()) continue;
      need.doubt = Need::Doubt::perhaps_feed;
      feeding.push_back(&need);
    }
  }
  const Place place{job.file, 0, 0, "need"};
  const auto names = [&](const std::vector<const Need*>& list) {
    std::string out;
    for (const Need* need : list) out += (out.empty() ? "" : ", ") + board.nets[need->net].name.text();
    return out;
  };
  if (!high.empty())
    diagnostics.warn({.code = "net-above-logic",
                      .at = place,
                      .message = "by its name a line carries a programming voltage above that of the logic; nothing "
                                 "says how much",
                      .found = names(high),
                      .remedy = "state it:  [[need]] nets = \"" + board.nets[high.front()->net].name.text() +
                                "\", volts = 13; see that the tester's channel bears it"});
  if (!feeding.empty())
    diagnostics.warn(
        {.code = "net-perhaps-feed",
         .at = place,
         .message = "a net is wanted as a signal but looks like a feed of the board: " + feeding.front()->doubt_because,
         .found = names(feeding),
         .remedy = "state it:  [[need]] nets = \"" + board.nets[feeding.front()->net].name.text() +
                   "\", role = \"power\" and volts; or role = \"functional\" if it is none"});
}

}  // namespace teasel
