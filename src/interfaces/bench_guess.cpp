// Which pads of an unknown board could form an interface: rails, pulled lines, pads that lie together.
#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

#include "teasel/enums.h"
#include "teasel/interfaces.h"

namespace teasel {

namespace {
// What a resistor to a rail reads (common practice, no source).
constexpr Ohms kPullLeast{100}, kPullMost{300e3};
// A rail to ground through the unpowered board.
constexpr Ohms kSupplyLeast{10}, kSupplyMost{50e3};
// Pull-ups of an open-drain bus.
constexpr Ohms kBusLeast{500}, kBusMost{12e3};
constexpr Ohms kNotRead{-1};

bool was_read(Ohms reading) {
  return reading >= Ohms{};
}
bool is_pull(Ohms reading) {
  return reading >= kPullLeast && reading <= kPullMost;
}

std::string text_of(Ohms reading) {
  if (!was_read(reading)) return "not read";
  if (std::isinf(reading.v)) return "open";
  if (reading.v >= 1e6) return short_number(reading.v / 1e6, 2) + " Mohm";
  if (reading.v >= 1e3) return short_number(reading.v / 1e3, 2) + " kohm";
  return short_number(reading.v, 1) + " ohm";
}

class Guesser {
 public:
  Guesser(const Board& board, const InterfaceTable& table) : board_(board), table_(table) {
    for (const Reading& reading : board.bench.readings) {
      const NetId one = board.features[reading.feature_a].net, other = board.features[reading.feature_b].net;
      if (!one || !other || one == other) continue;
      auto [it, fresh] = between_.emplace(std::minmax(one, other), reading.ohms);
      if (!fresh) it->second = std::min(it->second, reading.ohms);
    }
  }
  BenchGuess run();

 private:
  Ohms reading(NetId a, NetId b) const {
    const auto it = between_.find(std::minmax(a, b));
    return it == between_.end() ? kNotRead : it->second;
  }
  const PadName& pad(NetId net) const { return board_.features[board_.nets[net].features[0]].name; }
  bool is_rail(NetId net) const {
    return net == out_.ground || std::find(out_.supplies.begin(), out_.supplies.end(), net) != out_.supplies.end();
  }
  /// Between ground and the first supply.
  Ohms rails_apart() const {
    return !out_.ground || out_.supplies.empty() ? kNotRead : reading(out_.ground, out_.supplies[0]);
  }
  void rails_by_name();
  void ground_by_pads();
  void supplies_by_readings();
  void lines();
  void groups();
  void group(const std::vector<FeatureId>& features);
  void missing();

  const Board& board_;
  const InterfaceTable& table_;
  std::map<std::pair<NetId, NetId>, Ohms> between_;
  BenchGuess out_;
};

void Guesser::rails_by_name() {
  Diagnostics unused;
  const InterfaceSet set = recognise_interfaces(board_, Job{}, table_, unused);
  for (const NetId net : board_.nets.ids()) {
    const InterfaceNet* part = set.part_of(net);
    if (!part) continue;
    const Role role = table_.kinds[set.kind_of(net)].role;
    if (role == Role::ground && !out_.ground) {
      out_.ground = net;
      out_.ground_because = part->evidence[0];
    }
    if (role == Role::power) {
      out_.supplies.push_back(net);
      out_.supplies_because.push_back(part->evidence[0]);
    }
  }
}

/// The net with most pads, if it stands out.
void Guesser::ground_by_pads() {
  NetId best;
  std::size_t most = 2, second = 0;
  for (const NetId net : board_.nets.ids()) {
    const std::size_t pads = board_.nets[net].features.size();
    if (pads > most) {
      second = most;
      most = pads;
      best = net;
    } else {
      second = std::max(second, pads);
    }
  }
  if (!best || most <= second) return;
  out_.ground = best;
  out_.ground_because = "a guess: no net has more pads (" + std::to_string(most) + ")";
}

void Guesser::supplies_by_readings() {
  for (const NetId net : board_.nets.ids()) {
    const Ohms to_ground = reading(net, out_.ground);
    if (net == out_.ground || to_ground < kSupplyLeast || to_ground > kSupplyMost) continue;
    // Lines that read less to this net than to ground hang on it.
    int hanging = 0;
    for (const NetId line : board_.nets.ids()) {
      const Ohms up = reading(line, net), down = reading(line, out_.ground);
      hanging += line != net && line != out_.ground && is_pull(up) && (!was_read(down) || down > up);
    }
    if (hanging < 2) continue;
    out_.supplies.push_back(net);
    out_.supplies_because.push_back("a guess: " + text_of(to_ground) + " to ground, and " + std::to_string(hanging) +
                                    " lines read less to it than to ground");
  }
}

void Guesser::lines() {
  for (const NetId net : board_.nets.ids()) {
    if (is_rail(net) || board_.nets[net].features.empty()) continue;
    RailReading line;
    line.net = net;
    if (out_.ground) line.to_ground = reading(net, out_.ground);
    for (const NetId supply : out_.supplies)
      if (const Ohms read = reading(net, supply);
          was_read(read) && (!was_read(line.to_supply) || read < line.to_supply))
        line.to_supply = read;
    // The rails are joined through the board: what hangs on one shows at the other with the board's own resistance
    // added.
    const Ohms low = std::min(line.to_supply, line.to_ground), rails = rails_apart();
    const Ohms margin = rails >= 0.02 * low && rails < 3 * low ? 0.4 * rails : 0.3 * low;

    if (is_pull(line.to_supply) && (!was_read(line.to_ground) || line.to_ground > line.to_supply + margin))
      line.pull = Pull::up;
    else if (is_pull(line.to_ground) && (!was_read(line.to_supply) || line.to_supply > line.to_ground + margin))
      line.pull = Pull::down;
    else if (is_pull(line.to_supply) && is_pull(line.to_ground))
      line.pull = Pull::both;
    else if (line.to_supply > kPullMost && line.to_ground > kPullMost)
      line.pull = Pull::none;
    out_.lines.push_back(line);
  }
}

/// Several interfaces may fit the same pads; each is named.
void Guesser::group(const std::vector<FeatureId>& features) {
  std::vector<const RailReading*> up, down, none;
  const auto lines_of = [&](Pull pull) -> std::vector<const RailReading*>& {
    if (pull == Pull::up) return up;
    return pull == Pull::down ? down : none;
  };
  std::map<NetId, std::string> pad_of;  // first pad of each net here
  std::string ground_pad, supply_pad;
  for (const FeatureId id : features) {
    const NetId net = board_.features[id].net;
    if (!net || !pad_of.emplace(net, board_.features[id].name.text()).second) continue;
    if (net == out_.ground)
      ground_pad = pad_of[net];
    else if (is_rail(net))
      supply_pad = pad_of[net];
    else
      for (const RailReading& line : out_.lines)
        if (line.net == net) lines_of(line.pull).push_back(&line);
  }
  if (ground_pad.empty() || up.empty()) return;
  const bool supply = !supply_pad.empty();
  const std::size_t before = out_.groups.size();
  using Roles = std::vector<std::pair<std::vector<const RailReading*>, const char*>>;
  auto add = [&](const char* interface, bool fair, const Roles& roles) {
    PadGroup group_found;
    group_found.interface = interface;
    group_found.confidence = fair && supply ? "fair" : "weak";
    group_found.pads.emplace_back(ground_pad, "ground");
    if (supply) group_found.pads.emplace_back(supply_pad, "supply");
    for (const auto& [lines, role] : roles)
      for (const RailReading* line : lines) {
        group_found.pads.emplace_back(pad_of[line->net], role);
        group_found.evidence.push_back(pad_of[line->net] + ": " + text_of(line->to_supply) + " to the supply, " +
                                       text_of(line->to_ground) + " to ground");
      }
    out_.groups.push_back(std::move(group_found));
  };
  if (down.size() == 1)
    add("two-wire debug", up.size() <= 2 && none.size() <= 1,
        {{down, "clock: pulled down"},
         {up, up.size() == 1 ? "data: pulled up" : "data or reset: pulled up"},
         {none, "trace, or none of these"}});
  if (up.size() >= 2 && up.size() + down.size() + none.size() >= 4)
    add("1149.1", down.size() == 1 && !none.empty(),
        {{up, "TMS, TDI or TRST*: pulled up"}, {down, "TCK: pulled down"}, {none, "TDO or a reset: no pull was read"}});
  const bool equal_pair = up.size() == 2 && up[0]->to_supply >= kBusLeast && up[0]->to_supply <= kBusMost &&
                          std::abs(up[0]->to_supply.v - up[1]->to_supply.v) < 0.1 * up[0]->to_supply.v;
  if (equal_pair && down.empty()) add("two-wire bus", true, {{up, "clock or data: equal pull-ups"}});
  if (out_.groups.size() == before && up.size() == 1 && none.size() == 1)
    add("serial port", false, {{up, "received by the board: idles high"}, {none, "sent by the board"}});
}

/// Pads of one side within two and a half pitches of one another.
void Guesser::groups() {
  for (Side side : {Side::top, Side::bottom}) {
    std::vector<FeatureId> pads;
    for (const FeatureId id : board_.features.ids())
      if (board_.features[id].land[side].present && board_.features[id].net) pads.push_back(id);
    if (pads.size() < 3 || pads.size() > 3000) continue;
    std::vector<double> nearest;
    const auto at = [&](FeatureId id) { return board_.features[id].at; };
    for (const FeatureId pad : pads) {
      double least = 1e9;
      for (const FeatureId other : pads)
        if (pad != other) least = std::min(least, distance(at(pad), at(other)));
      nearest.push_back(least);
    }
    std::nth_element(nearest.begin(), nearest.begin() + static_cast<std::ptrdiff_t>(nearest.size() / 2), nearest.end());
    const double reach = std::clamp(2.5 * nearest[nearest.size() / 2], 2.0, 10.0);
    std::vector<bool> used(pads.size());
    for (std::size_t first = 0; first < pads.size(); ++first) {
      if (used[first]) continue;
      std::vector<std::size_t> members{first};
      used[first] = true;
      for (std::size_t k = 0; k < members.size(); ++k)
        for (std::size_t other = 0; other < pads.size(); ++other)
          if (!used[other] && distance(at(pads[members[k]]), at(pads[other])) <= reach) {
            used[other] = true;
            members.push_back(other);
          }
      std::vector<FeatureId> features;
      for (std::size_t member : members) features.push_back(pads[member]);
      std::sort(features.begin(), features.end());
      if (features.size() >= 3 && features.size() <= 40) group(features);
    }
  }
}

/// Lines of which a reading to a rail is missing.
void Guesser::missing() {
  if (!out_.ground) return;
  for (const RailReading& line : out_.lines) {
    if (line.pull != Pull::unknown || out_.missing.size() >= 12) continue;
    if (!was_read(line.to_supply) && !out_.supplies.empty())
      out_.missing.push_back({pad(line.net), pad(out_.supplies[0]), "is it pulled up?", 1});
    else if (!was_read(line.to_ground))
      out_.missing.push_back({pad(line.net), pad(out_.ground), "is it pulled down?", 1});
  }
}

BenchGuess Guesser::run() {
  if (board_.bench.readings.empty()) return out_;
  rails_by_name();
  if (!out_.ground) ground_by_pads();
  if (out_.ground && out_.supplies.empty()) supplies_by_readings();
  lines();
  groups();
  missing();
  return std::move(out_);
}
}  // namespace

const char* to_string(Pull pull) {
  static constexpr Words<Pull> kWords{"unknown", "pulled up", "pulled down", "pulled both ways", "pulled nowhere"};
  return kWords[pull];
}

BenchGuess guess_interfaces(const Board& board, const InterfaceTable& table) {
  return Guesser(board, table).run();
}

}  // namespace teasel
