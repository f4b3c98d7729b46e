// Which pads of an unknown board could form an interface: rails, pulled lines, pads that lie together.
#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

#include "teasel/interfaces.h"

namespace teasel {

namespace {
constexpr double kPullLeast = 100,
                 kPullMost = 300e3;  // ohm; what a resistor to a rail reads (common practice, no source)
constexpr double kSupplyLeast = 10, kSupplyMost = 50e3;  // ohm; a rail to ground through the unpowered board
constexpr double kBusLeast = 500, kBusMost = 12e3;       // ohm; pull-ups of an open-drain bus

std::string ohms(double v) {
  if (v < 0) return "not read";
  if (std::isinf(v)) return "open";
  return v >= 1e6   ? short_number(v / 1e6, 2) + " Mohm"
         : v >= 1e3 ? short_number(v / 1e3, 2) + " kohm"
                    : short_number(v, 1) + " ohm";
}

class Guesser {
 public:
  Guesser(const Board& b, const InterfaceTable& table) : b_(b), table_(table) {
    for (const Reading& r : b.bench.readings) {
      const int p = b.features[static_cast<std::size_t>(r.feature_a)].net,
                q = b.features[static_cast<std::size_t>(r.feature_b)].net;
      if (p < 0 || q < 0 || p == q) continue;
      auto [it, fresh] = between_.emplace(std::minmax(p, q), r.ohms);
      if (!fresh) it->second = std::min(it->second, r.ohms);
    }
  }
  BenchGuess run();

 private:
  double reading(int a, int b) const {
    const auto it = between_.find(std::minmax(a, b));
    return it == between_.end() ? -1 : it->second;
  }
  const std::string& name(int net) const { return b_.nets[static_cast<std::size_t>(net)].name; }
  std::string pad(int net) const {
    return b_.features[static_cast<std::size_t>(b_.nets[static_cast<std::size_t>(net)].features[0])].name;
  }
  bool is_rail(int net) const {
    return net == out_.ground || std::find(out_.supplies.begin(), out_.supplies.end(), net) != out_.supplies.end();
  }
  /// Between ground and the first supply; -1 if it was not read.
  double rails_apart() const {
    return out_.ground < 0 || out_.supplies.empty() ? -1 : reading(out_.ground, out_.supplies[0]);
  }
  void rails();
  void lines();
  void groups();
  void group(const std::vector<int>& features);
  void missing();

  const Board& b_;
  const InterfaceTable& table_;
  std::map<std::pair<int, int>, double> between_;
  BenchGuess out_;
};

void Guesser::rails() {
  const int n = static_cast<int>(b_.nets.size());
  Diagnostics unused;
  const InterfaceSet set = recognise_interfaces(b_, Job{}, table_, unused);
  for (int i = 0; i < n; ++i) {
    const InterfaceNet* part = set.part_of(i);
    if (!part) continue;
    const Role role = table_.kinds[static_cast<std::size_t>(set.kind_of(i))].role;
    if (role == Role::ground && out_.ground < 0) {
      out_.ground = i;
      out_.ground_because = part->evidence[0];
    }
    if (role == Role::power) {
      out_.supplies.push_back(i);
      out_.supplies_because.push_back(part->evidence[0]);
    }
  }
  if (out_.ground < 0) {
    // The net with most pads, if it stands out.
    int best = -1;
    std::size_t most = 2, second = 0;
    for (int i = 0; i < n; ++i) {
      const std::size_t pads = b_.nets[static_cast<std::size_t>(i)].features.size();
      if (pads > most) {
        second = most;
        most = pads;
        best = i;
      } else
        second = std::max(second, pads);
    }
    if (best >= 0 && most > second) {
      out_.ground = best;
      out_.ground_because = "a guess: no net has more pads (" + std::to_string(most) + ")";
    }
  }
  if (out_.ground < 0 || !out_.supplies.empty()) return;
  for (int i = 0; i < n; ++i) {
    const double r = reading(i, out_.ground);
    if (i == out_.ground || r < kSupplyLeast || r > kSupplyMost) continue;
    // Lines that read less to this net than to ground hang on it.
    int hanging = 0;
    for (int k = 0; k < n; ++k) {
      const double up = reading(k, i), down = reading(k, out_.ground);
      hanging += k != i && k != out_.ground && up >= kPullLeast && up <= kPullMost && (down < 0 || down > up);
    }
    if (hanging >= 2) {
      out_.supplies.push_back(i);
      out_.supplies_because.push_back("a guess: " + ohms(r) + " to ground, and " + std::to_string(hanging) +
                                      " lines read less to it than to ground");
    }
  }
}

void Guesser::lines() {
  for (int i = 0; i < static_cast<int>(b_.nets.size()); ++i) {
    if (is_rail(i) || b_.nets[static_cast<std::size_t>(i)].features.empty()) continue;
    RailReading r;
    r.net = i;
    if (out_.ground >= 0) r.to_ground = reading(i, out_.ground);
    for (int s : out_.supplies)
      if (const double v = reading(i, s); v >= 0 && (r.to_supply < 0 || v < r.to_supply)) r.to_supply = v;
    const auto pulled = [](double v) { return v >= kPullLeast && v <= kPullMost; };
    // The rails are joined through the board: what hangs on one shows at the other with the board's own resistance
    // added.
    const double low = std::min(r.to_supply, r.to_ground), rails = rails_apart();
    const double margin = rails >= 0.02 * low && rails < 3 * low ? 0.4 * rails : 0.3 * low;
    if (pulled(r.to_supply) && (r.to_ground < 0 || r.to_ground > r.to_supply + margin))
      r.pull = Pull::up;
    else if (pulled(r.to_ground) && (r.to_supply < 0 || r.to_supply > r.to_ground + margin))
      r.pull = Pull::down;
    else if (pulled(r.to_supply) && pulled(r.to_ground))
      r.pull = Pull::both;
    else if (r.to_supply > kPullMost && r.to_ground > kPullMost)
      r.pull = Pull::none;
    out_.lines.push_back(r);
  }
}

/// Several interfaces may fit the same pads; each is named.
void Guesser::group(const std::vector<int>& features) {
  std::vector<const RailReading*> up, down, none;
  std::map<int, std::string> pad_of;  // first pad of each net here
  std::string ground_pad, supply_pad;
  for (int f : features) {
    const int net = b_.features[static_cast<std::size_t>(f)].net;
    if (net < 0 || !pad_of.emplace(net, b_.features[static_cast<std::size_t>(f)].name).second) continue;
    if (net == out_.ground)
      ground_pad = pad_of[net];
    else if (is_rail(net))
      supply_pad = pad_of[net];
    else
      for (const RailReading& r : out_.lines)
        if (r.net == net) (r.pull == Pull::up ? up : r.pull == Pull::down ? down : none).push_back(&r);
  }
  if (ground_pad.empty() || up.empty()) return;
  const bool supply = !supply_pad.empty();
  const std::size_t before = out_.groups.size();
  using Roles = std::vector<std::pair<std::vector<const RailReading*>, const char*>>;
  auto add = [&](const char* interface, bool fair, const Roles& roles) {
    PadGroup g;
    g.interface = interface;
    g.confidence = fair && supply ? "fair" : "weak";
    g.pads.emplace_back(ground_pad, "ground");
    if (supply) g.pads.emplace_back(supply_pad, "supply");
    for (const auto& [lines, role] : roles)
      for (const RailReading* r : lines) {
        g.pads.emplace_back(pad_of[r->net], role);
        g.evidence.push_back(pad_of[r->net] + ": " + ohms(r->to_supply) + " to the supply, " + ohms(r->to_ground) +
                             " to ground");
      }
    out_.groups.push_back(std::move(g));
  };
  if (down.size() == 1)
    add("two-wire debug", up.size() <= 2 && none.size() <= 1,
        {{down, "clock: pulled down"},
         {up, up.size() == 1 ? "data: pulled up" : "data or reset: pulled up"},
         {none, "trace, or nothing of it"}});
  if (up.size() >= 2 && up.size() + down.size() + none.size() >= 4)
    add("1149.1", down.size() == 1 && !none.empty(),
        {{up, "TMS, TDI or TRST*: pulled up"},
         {down, "TCK: pulled down"},
         {none, "TDO or a reset: pulled nowhere that was read"}});
  const bool equal_pair = up.size() == 2 && up[0]->to_supply >= kBusLeast && up[0]->to_supply <= kBusMost &&
                          std::abs(up[0]->to_supply - up[1]->to_supply) < 0.1 * up[0]->to_supply;
  if (equal_pair && down.empty()) add("two-wire bus", true, {{up, "clock or data: equal pull-ups"}});
  if (out_.groups.size() == before && up.size() == 1 && none.size() == 1)
    add("serial port", false, {{up, "received by the board: idles high"}, {none, "sent by the board"}});
}

/// Pads of one side within two and a half pitches of one another.
void Guesser::groups() {
  for (Side side : {Side::top, Side::bottom}) {
    std::vector<int> pads;
    for (std::size_t i = 0; i < b_.features.size(); ++i)
      if (b_.features[i].land[static_cast<std::size_t>(side)].present && b_.features[i].net >= 0)
        pads.push_back(static_cast<int>(i));
    if (pads.size() < 3 || pads.size() > 3000) continue;
    std::vector<double> nearest;
    const auto at = [&](int i) { return b_.features[static_cast<std::size_t>(i)].at; };
    for (int p : pads) {
      double d = 1e9;
      for (int q : pads)
        if (p != q) d = std::min(d, distance(at(p), at(q)));
      nearest.push_back(d);
    }
    std::nth_element(nearest.begin(), nearest.begin() + static_cast<std::ptrdiff_t>(nearest.size() / 2), nearest.end());
    const double reach = std::clamp(2.5 * nearest[nearest.size() / 2], 2.0, 10.0);
    std::vector<bool> used(pads.size());
    for (std::size_t first = 0; first < pads.size(); ++first) {
      if (used[first]) continue;
      std::vector<std::size_t> members{first};
      used[first] = true;
      for (std::size_t k = 0; k < members.size(); ++k)
        for (std::size_t q = 0; q < pads.size(); ++q)
          if (!used[q] && distance(at(pads[members[k]]), at(pads[q])) <= reach) {
            used[q] = true;
            members.push_back(q);
          }
      std::vector<int> features;
      for (std::size_t m : members) features.push_back(pads[m]);
      std::sort(features.begin(), features.end());
      if (features.size() >= 3 && features.size() <= 40) group(features);
    }
  }
}

/// Lines of which a reading to a rail is missing.
void Guesser::missing() {
  if (out_.ground < 0) return;
  for (const RailReading& r : out_.lines) {
    if (r.pull != Pull::unknown || out_.missing.size() >= 12) continue;
    if (r.to_supply < 0 && !out_.supplies.empty())
      out_.missing.push_back({pad(r.net), pad(out_.supplies[0]), "is it pulled up?", 1});
    else if (r.to_ground < 0)
      out_.missing.push_back({pad(r.net), pad(out_.ground), "is it pulled down?", 1});
  }
}

BenchGuess Guesser::run() {
  if (b_.bench.readings.empty()) return out_;
  rails();
  lines();
  groups();
  missing();
  return std::move(out_);
}
}  // namespace

const char* to_string(Pull p) {
  static const char* names[] = {"unknown", "pulled up", "pulled down", "pulled both ways", "pulled nowhere"};
  return names[static_cast<int>(p)];
}

BenchGuess guess_interfaces(const Board& board, const InterfaceTable& table) {
  return Guesser(board, table).run();
}

}  // namespace teasel
