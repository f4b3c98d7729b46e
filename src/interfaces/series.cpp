#include "series.h"

#include <algorithm>
#include <map>

namespace teasel {

namespace {
bool one_of(const std::string& text, std::initializer_list<const char*> list) {
  return std::any_of(list.begin(), list.end(), [&](const char* x) { return text == x; });
}
}  // namespace

Hanging::Hanging(const Board& board) : board_(board), resistors_(board.nets.size()), capacitors_(board.nets.size()) {
  for (const ComponentId part : board.components.ids()) {
    const Component& component = board.components[part];
    std::set<NetId> nets;
    std::set<std::string> pins;
    for (const FeatureId id : component.features) {
      nets.insert(board.features[id].net);
      pins.insert(board.features[id].pin);
    }
    if (nets.size() != 2 || pins.size() != 2 || !*nets.begin() || !component.fitted) continue;
    const TwoPole two_pole{part, *nets.begin(), *nets.rbegin()};
    const std::string letters = reference_letters(component.name);
    // Beads and links pass slow signals as resistors do.
    if (one_of(letters, {"R", "FB", "L", "JP", "LK", "W", "BEAD", "FL", "RS"}))
      for (const NetId net : nets) resistors_[net].push_back(two_pole);
    else if (one_of(letters, {"C", "CP", "CE", "EC"}))
      for (const NetId net : nets) capacitors_[net].push_back(two_pole);
  }
}

int Hanging::capacitors(NetId net) const {
  return static_cast<int>(capacitors_[net].size());
}
int Hanging::capacitors_to(NetId net, const std::set<NetId>& others) const {
  return static_cast<int>(
      std::count_if(capacitors_[net].begin(), capacitors_[net].end(),
                    [&](const TwoPole& capacitor) { return others.count(capacitor.other(net)) > 0; }));
}

std::vector<ComponentId> Hanging::devices(NetId net) const {
  std::set<ComponentId> out;
  for (const FeatureId id : board_.nets[net].features) {
    const ComponentId component = board_.features[id].component;
    if (!component || board_.components[component].cover || !board_.components[component].fitted) continue;
    const std::string letters = reference_letters(board_.components[component].name);
    if (!one_of(letters,
                {"R", "C", "FB", "L", "TP", "D", "RN", "RP", "CP", "FL", "CR", "FID", "MH", "H", "TST", "CN_TP"}))
      out.insert(component);
  }
  return {out.begin(), out.end()};
}

bool Hanging::is_connector(ComponentId component) const {
  return one_of(reference_letters(board_.components[component].name),
                {"J", "P", "X", "CN", "CON", "CONN", "JP", "SK", "H", "HDR", "PL"});
}

namespace {
/// Which of the two nets of a line to probe.
void choose_side(const Board& board, const InterfaceTable& table, const Hanging& hangs, const FoundInterface& interface,
                 InterfaceNet& here, InterfaceNet& there) {
  auto what = [&](const std::vector<ComponentId>& list, bool connector) {
    return std::count_if(list.begin(), list.end(),
                         [&](ComponentId device) { return hangs.is_connector(device) == connector; });
  };
  const auto devices_here = hangs.devices(here.net), devices_there = hangs.devices(there.net);
  const auto ics_here = what(devices_here, false), ics_there = what(devices_there, false),
             plugs_here = what(devices_here, true), plugs_there = what(devices_there, true);
  const std::string part = board.components[here.series].name;
  auto say = [&](bool probe_here, const std::string& why) {
    here.probe_here = probe_here;
    there.probe_here = !probe_here;
    here.which_side = there.which_side = why;
  };
  const InterfaceLine& line = table.kinds[interface.kind].lines[here.line];
  if (ics_here > 0 && ics_there > 0) {
    // The smaller part is what is programmed or measured: a memory, a sensor; behind the resistor the host cannot
    // fight.
    auto pins = [&](const std::vector<ComponentId>& list) {
      std::size_t most = 0;
      for (const ComponentId id : list)
        if (!hangs.is_connector(id)) most = std::max(most, board.components[id].features.size());
      return most;
    };
    const bool here_smaller = pins(devices_here) <= pins(devices_there);
    const std::vector<ComponentId>& side = here_smaller ? devices_here : devices_there;
    const auto small = std::find_if(side.begin(), side.end(), [&](ComponentId id) { return !hangs.is_connector(id); });
    if (line.drive == InterfaceLine::Drive::board)
      say(!here_smaller,
          "behind " + part + " as the receiver sees it; it is driven by " + board.components[*small].name);
    else
      say(here_smaller, "at " + board.components[*small].name + "; " + part +
                            " then protects the tester from what drives the line on the other side");
  } else if (plugs_here > 0 && plugs_there == 0)
    say(true, "at the connector, so that " + part + " is tested as well");
  else if (plugs_there > 0 && plugs_here == 0)
    say(false, "at the connector, so that " + part + " is tested as well");
  else if (ics_here > 0 && ics_there == 0)
    say(false, "behind " + part + ", away from the device, so that it is tested as well");
  else if (ics_there > 0 && ics_here == 0)
    say(true, "behind " + part + ", away from the device, so that it is tested as well");
  else
    say(true, "the side that bears the name");
}

std::string value_text(const Component& part) {
  return part.value.empty() ? ", value not known" : ", " + part.value;
}

/// Follows lines of one board through its series parts.
class Follower {
 public:
  Follower(const Board& board, const InterfaceTable& table, const Hanging& hangs, InterfaceSet& set,
           Table<NetId, char>& taken)
      : board_(board), table_(table), hangs_(hangs), set_(set), taken_(taken) {
    for (const FoundId id : set_.found.ids())
      for (std::size_t i = 0; i < set_.found[id].nets.size(); ++i) place_[set_.found[id].nets[i].net] = {id, i};
  }
  void run();

 private:
  void follow(FoundId id, std::size_t i);
  bool join(InterfaceNet& here, FoundId id, const TwoPole& resistor);
  bool add(FoundId id, std::size_t i, const TwoPole& resistor);
  const NetName& name(NetId net) const { return board_.nets[net].name; }
  /// Part and value: "R7, 33R".
  std::string text_of(const TwoPole& resistor) const {
    const Component& part = board_.components[resistor.component];
    return part.name + value_text(part);
  }

  const Board& board_;
  const InterfaceTable& table_;
  const Hanging& hangs_;
  InterfaceSet& set_;
  Table<NetId, char>& taken_;
  std::map<NetId, std::pair<FoundId, std::size_t>> place_;  ///< interface, and which of its nets
};

/// Both sides bear names of the same line: one line in two pieces.
bool Follower::join(InterfaceNet& here, FoundId id, const TwoPole& resistor) {
  const auto [there_id, i] = place_.at(resistor.other(here.net));
  FoundInterface& interface = set_.found[there_id];
  InterfaceNet& there = interface.nets[i];
  if (interface.kind != set_.found[id].kind || here.line != there.line || there.series) return false;
  here.series = there.series = resistor.component;
  here.other_side = there.net;
  there.other_side = here.net;
  here.evidence.push_back("goes on as " + name(there.net) + " behind " + text_of(resistor));
  there.evidence.push_back("goes on as " + name(here.net) + " behind " + text_of(resistor));
  choose_side(board_, table_, hangs_, set_.found[id], here, there);
  return true;
}

/// The other side has no name of its own: it becomes part of the interface.
bool Follower::add(FoundId id, std::size_t i, const TwoPole& resistor) {
  InterfaceNet& here = set_.found[id].nets[i];
  const NetId other = resistor.other(here.net);
  const Net& net = board_.nets[other];
  if (taken_[other] || net.unconnected || net.pins > table_.series_pins || net.pins < 2) return false;
  const Component& part = board_.components[resistor.component];
  InterfaceNet there;
  there.line = here.line;
  there.net = other;
  there.behind = true;
  there.confidence = ohms_in(part.value) ? Confidence::fair : Confidence::weak;
  there.evidence = {"behind " + part.name + " of " + name(here.net) + value_text(part)};
  here.series = there.series = resistor.component;
  here.other_side = other;
  there.other_side = here.net;
  here.evidence.push_back("goes on behind " + part.name + value_text(part));
  choose_side(board_, table_, hangs_, set_.found[id], here, there);
  taken_[other] = true;
  place_[other] = {id, set_.found[id].nets.size()};
  set_.found[id].nets.push_back(std::move(there));
  return true;
}

void Follower::follow(FoundId id, std::size_t i) {
  const NetId net = set_.found[id].nets[i].net;
  for (const TwoPole& resistor : hangs_.resistors(net)) {
    const auto ohms = ohms_in(board_.components[resistor.component].value);
    if (ohms && *ohms > table_.series_most) continue;
    const bool named = place_.count(resistor.other(net)) > 0;
    if (named ? join(set_.found[id].nets[i], id, resistor) : add(id, i, resistor)) return;
  }
}

void Follower::run() {
  for (const FoundId id : set_.found.ids()) {
    const InterfaceKind& kind = table_.kinds[set_.found[id].kind];
    if (kind.pairs || kind.role == Role::power || kind.role == Role::ground || kind.role == Role::do_not_touch)
      continue;
    const std::size_t own = set_.found[id].nets.size();
    for (std::size_t i = 0; i < own; ++i) {
      const InterfaceNet& here = set_.found[id].nets[i];
      if (here.series || kind.lines[here.line].role) continue;  // a port's supply is no line
      follow(id, i);
    }
  }
}
}  // namespace

void follow_series(const Board& board, const InterfaceTable& table, const Hanging& hangs, InterfaceSet& set,
                   Table<NetId, char>& taken) {
  Follower(board, table, hangs, set, taken).run();
}

}  // namespace teasel
