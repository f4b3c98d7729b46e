// Lands, holes and nets to the records that a bare-board netlist would have.
#include <algorithm>
#include <cmath>
#include <unordered_map>

#include "ipc2581_reader.h"

namespace teasel::formats {

namespace {
/// Things by place, within kSame.
constexpr double kSame = 0.02;
constexpr double kBareLeast = 0.5;  // mm; a drilled land without part and mark is a via below this (common practice, no source)
class Places {
 public:
  void add(Point p, std::size_t id) { cells_[key(cell(p.x), cell(p.y))].push_back({p, id}); }
  template <class Wanted>
  std::optional<std::size_t> find(Point p, Wanted wanted) const {
    std::optional<std::size_t> best;
    double bd = kSame;
    const long long cx = cell(p.x), cy = cell(p.y);
    for (long long dx = -1; dx <= 1; ++dx)
      for (long long dy = -1; dy <= 1; ++dy)
        if (auto it = cells_.find(key(cx + dx, cy + dy)); it != cells_.end())
          for (const auto& [at, id] : it->second)
            if (const double dist = distance(at, p); dist <= bd && wanted(id) && (!best || dist < bd || id < *best)) bd = dist, best = id;
    return best;
  }

 private:
  static long long cell(double v) { return static_cast<long long>(std::floor(v / (2 * kSame))); }
  static long long key(long long x, long long y) { return x * 4'000'037LL + y; }
  std::unordered_map<long long, std::vector<std::pair<Point, std::size_t>>> cells_;
};

/// Lands of one place and the hole through them.
struct Stack {
  std::array<const CadLand*, 2> land{};
  int hole = -1;
};

void put(NetlistRecord& r, const CadLand& l) {
  r.width = l.width;
  if (!l.round) r.height = l.height;
  r.rotation = l.round ? 0 : l.turn;
}
}  // namespace

void CadReader::netlist() {
  Netlist& n = out_.netlist;
  n.name = name_, n.unit = NetlistUnit::mm_001, n.unit_stated = true, n.stated_layers = out_.copper_layers;
  n.thickness = out_.mechanics.thickness;
  const int bottom = std::max(out_.copper_layers, 2);
  auto through = [&](const Hole& h) { return h.first_layer <= 1 && (h.last_layer == 0 || h.last_layer >= out_.copper_layers); };
  Places holes;
  for (std::size_t i = 0; i < holes_.size(); ++i) holes.add(0.5 * (holes_[i].hole.at + holes_[i].hole.end), i);

  std::vector<Stack> stacks;
  Places by_place;
  for (const CadLand& l : lands_) {
    if (l.fiducial) continue;
    const auto here = by_place.find(l.origin, [&](std::size_t) { return true; });
    if (here) {
      const CadLand*& place = stacks[*here].land[static_cast<std::size_t>(l.side)];
      // Drawn twice: the larger counts, unless the smaller one alone has a pin.
      if (!place || (place->component.empty() && !l.component.empty()) || (place->component.empty() == l.component.empty() && l.width * l.height > place->width * place->height)) place = &l;
      continue;
    }
    Stack s;
    s.land[static_cast<std::size_t>(l.side)] = &l;
    if (const auto h = holes.find(l.origin, [&](std::size_t i) { return through(holes_[i].hole) || holes_[i].hole.plating != Plating::unplated; })) s.hole = static_cast<int>(*h);
    by_place.add(l.origin, stacks.size());
    stacks.push_back(s);
  }
  std::map<std::pair<std::string, std::string>, bool> thru_pin;
  for (const CadComponent& c : components_)
    for (const CadPin& p : packages_[c.row.package].pins) thru_pin[{c.row.component, p.number}] = p.through || c.through;

  std::vector<bool> used(holes_.size());
  std::size_t differing = 0, compared = 0;
  std::string first_difference;
  auto start = [&](NetlistRecord::Kind kind, Point at, const CadLand* land, const CadHole* hole, bool named) {
    NetlistRecord r;
    r.kind = kind, r.at = at;
    r.line = land ? land->line : hole->hole.line;
    std::string net = land ? land->net : hole->net;
    if (net.empty() && hole) net = hole->net;
    if (named && land) {
      r.component = land->component, r.pin = land->pin, r.test_point = land->test;
      if (auto it = logical_.find({r.component, r.pin}); it != logical_.end()) {
        if (net.empty()) net = it->second;
        ++compared;
        if (net != it->second && differing++ == 0) first_difference = r.component + "-" + r.pin + ": " + net + " on the layer, " + it->second + " in the logical net";
      }
    } else if (!named) {
      r.component = "VIA", r.test_point = land && land->test;
    }
    r.unconnected = no_net(net) || unused_nets_.count(net);
    r.net = r.unconnected ? "N/C" : net;
    if (hole) {
      r.hole = hole->hole.diameter, r.plated = hole->hole.plating != Plating::unplated;
      if (!through(hole->hole)) r.first_layer = hole->hole.first_layer, r.last_layer = hole->hole.last_layer;
    }
    return r;
  };
  auto surface = [&](const CadLand& l) {
    NetlistRecord r = start(NetlistRecord::Kind::surface, l.origin, &l, nullptr, true);
    r.access = l.side == 0 ? 1 : bottom;
    put(r, l);
    n.records.push_back(std::move(r));
  };
  for (const Stack& s : stacks) {
    const CadHole* hole = s.hole >= 0 ? &holes_[static_cast<std::size_t>(s.hole)] : nullptr;
    if (hole && hole->hole.plating == Plating::unplated) continue;  // a land round an unplated hole is no contact
    std::array<bool, 2> own{};  // lands that are pads of their own on a via
    const bool pair = s.land[0] && s.land[1];
    for (int side = 0; side < 2; ++side) {
      const CadLand* l = s.land[static_cast<std::size_t>(side)];
      if (!l) continue;
      if (!hole) {
        surface(*l);
        continue;
      }
      if (l->component.empty()) continue;
      const auto pin = thru_pin.find({l->component, l->pin});
      const bool lead = pin != thru_pin.end() ? pin->second : pair && s.land[0]->component == s.land[1]->component;
      own[static_cast<std::size_t>(side)] = !lead || !through(hole->hole);
    }
    if (!hole) continue;
    used[static_cast<std::size_t>(s.hole)] = true;
    for (int side = 0; side < 2; ++side)
      if (own[static_cast<std::size_t>(side)]) surface(*s.land[static_cast<std::size_t>(side)]);
    const CadLand* top = own[0] ? nullptr : s.land[0];
    const CadLand* low = own[1] ? nullptr : s.land[1];
    const CadLand* main = top ? top : low;
    const bool lead = main && !main->component.empty();
    const bool bare = main && !lead && !main->via && (main->tooling || hole->hole.diameter > kBareLeast);
    const bool via = !lead && !bare;
    NetlistRecord r = start(via && !through(hole->hole) ? NetlistRecord::Kind::blind_via : NetlistRecord::Kind::through, 0.5 * (hole->hole.at + hole->hole.end), main, hole, !via);
    r.access = top && low ? 1 : top ? 1 : low ? bottom : 0;
    r.mid_point = via;
    if (main) put(r, *main);
    n.records.push_back(r);
    if (top && low) {
      NetlistRecord more = r;
      more.continuation = true, more.access = bottom, more.width.reset(), more.height.reset();
      put(more, *low);
      n.records.push_back(std::move(more));
    }
  }
  for (std::size_t i = 0; i < holes_.size(); ++i) {
    const Hole& h = holes_[i].hole;
    if (used[i] || holes.find(0.5 * (h.at + h.end), [&](std::size_t k) { return used[k] && holes_[k].hole.first_layer == h.first_layer && holes_[k].hole.last_layer == h.last_layer; })) continue;  // drilled twice
    used[i] = true;
    NetlistRecord r = start(h.plating == Plating::unplated ? NetlistRecord::Kind::tooling : through(h) ? NetlistRecord::Kind::through : NetlistRecord::Kind::blind_via, 0.5 * (h.at + h.end), nullptr, &holes_[i], h.plating == Plating::unplated);
    if (h.plating == Plating::unplated) r.net = "N/C", r.unconnected = true;
    r.access = 0;
    n.records.push_back(std::move(r));
  }
  // What the bare-board test nets add: exposure and marks, and the lands of files without painted layers.
  Places records;
  for (std::size_t i = 0; i < n.records.size(); ++i) records.add(n.records[i].at, i);
  for (const Physical& p : physical_) {
    const auto side_fits = [&](std::size_t i) { const int a = n.records[i].access; return a == 0 || p.side < 0 || a == (p.side == 0 ? 1 : bottom) || n.records[i].hole.has_value(); };
    const auto i = records.find(p.at, side_fits);
    if (!i) continue;
    for (std::size_t k : {*i, *i + 1}) {
      if (k >= n.records.size() || (k > *i && !n.records[k].continuation)) break;
      NetlistRecord& r = n.records[k];
      r.test_point |= p.test;
      if (p.covered >= 0) r.mask_code = p.covered, out_.exposure_stated = true;
      if (k == *i && !r.unconnected && !no_net(p.net)) {
        ++compared;
        if (r.net != p.net && differing++ == 0) first_difference = "line " + std::to_string(p.line) + ": " + p.net + " among the physical nets, " + r.net + " on the layer";
      }
    }
  }
  if (differing)
    d_.warn("ipc2581-nets-differ", {name_, 0, 0, "Step"}, "the layers' nets and the file's own lists of nets differ; the layers' are taken", std::to_string(differing) + " of " + std::to_string(compared) + " places; first: " + first_difference, "export the file again");
  else if (compared)
    d_.note("ipc2581-nets-agree", {name_, 0, 0, "Step"}, "the nets of pads, logical nets and physical nets agree", std::to_string(compared) + " places");
  for (const CadHole& h : holes_) out_.mechanics.holes.push_back(h.hole);
}

}  // namespace teasel::formats
