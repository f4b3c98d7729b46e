// Lands, holes and nets to the records that a bare-board netlist would have.
#include <algorithm>
#include <cmath>

#include "ipc2581_reader.h"
#include "teasel/point_grid.h"

namespace teasel::formats {

namespace {
constexpr double kSame = 0.02;  // mm; what lies nearer is at one place
constexpr double kBareLeast =
    0.5;  // mm; a drilled land without part and mark is a via below this (common practice, no source)

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

/// Gathers lands to pad stacks and writes the records. A land belongs to the stack at its place, on either face.
class LandBook {
 public:
  explicit LandBook(CadReader& r) : r_(r), bottom_(std::max(r.out_.copper_layers, 2)), used_(r.holes_.size()) {
    for (std::size_t i = 0; i < r_.holes_.size(); ++i) holes_.add(middle(i), static_cast<int>(i));
    for (const CadComponent& c : r_.components_)
      for (const CadPin& p : r_.packages_[c.row.package].pins)
        through_pin_[{c.row.component, p.number}] = p.through || c.through;
  }
  void run() {
    gather();
    for (const Stack& s : stacks_) write(s);
    loose_holes();
    physical();
    report();
  }

 private:
  using Kind = NetlistRecord::Kind;
  [[nodiscard]] const Hole& hole(int i) const { return r_.holes_[static_cast<std::size_t>(i)].hole; }
  [[nodiscard]] Point middle(std::size_t i) const { return 0.5 * (r_.holes_[i].hole.at + r_.holes_[i].hole.end); }
  [[nodiscard]] bool through(const Hole& h) const {
    return h.first_layer <= 1 && (h.last_layer == 0 || h.last_layer >= r_.out_.copper_layers);
  }
  void gather();
  NetlistRecord record(Kind kind, Point at, const CadLand* land, const CadHole* hole, bool named);
  void surface(const CadLand& l);
  [[nodiscard]] bool own_pad(const Stack& s, int side, const Hole& hole) const;
  void write(const Stack& s);
  void drilled(const CadLand* top, const CadLand* low, const CadHole& hole);
  void loose_holes();
  void physical();
  void report();
  void differ(const std::string& text) {
    if (differing_++ == 0) first_difference_ = text;
  }
  std::vector<NetlistRecord>& records() { return r_.out_.netlist.records; }

  CadReader& r_;
  int bottom_;
  std::vector<bool> used_;  ///< holes that a record has
  PointGrid holes_{2 * kSame}, by_place_{2 * kSame};
  std::vector<Stack> stacks_;
  std::map<std::pair<std::string, std::string>, bool> through_pin_;
  std::size_t differing_ = 0, compared_ = 0;
  std::string first_difference_;
};

void LandBook::gather() {
  for (const CadLand& l : r_.lands_) {
    if (l.fiducial) continue;
    if (const int here = by_place_.nearest(l.origin, kSame); here >= 0) {
      const CadLand*& place = stacks_[static_cast<std::size_t>(here)].land[static_cast<std::size_t>(l.side)];
      // Drawn twice: the larger counts, unless the smaller one alone has a pin.
      if (!place || (place->component.empty() && !l.component.empty()) ||
          (place->component.empty() == l.component.empty() && l.width * l.height > place->width * place->height))
        place = &l;
      continue;
    }
    Stack s;
    s.land[static_cast<std::size_t>(l.side)] = &l;
    s.hole = holes_.nearest(l.origin, kSame,
                            [&](int i) { return through(hole(i)) || hole(i).plating != Plating::unplated; });
    by_place_.add(l.origin, static_cast<int>(stacks_.size()));
    stacks_.push_back(s);
  }
}

/// `named`: a pad with a pin, or a bare one; else a via.
NetlistRecord LandBook::record(Kind kind, Point at, const CadLand* land, const CadHole* hole, bool named) {
  NetlistRecord r;
  r.kind = kind;
  r.at = at;
  r.line = land ? land->line : hole->hole.line;
  r.test_point = land && land->test;
  std::string net = land ? land->net : hole->net;
  if (net.empty() && hole) net = hole->net;
  if (!named) {
    r.component = "VIA";
  } else if (land) {
    r.component = land->component;
    r.pin = land->pin;
    if (const auto it = r_.logical_.find({r.component, r.pin}); it != r_.logical_.end()) {
      if (net.empty()) net = it->second;
      ++compared_;
      if (net != it->second)
        differ(r.component + "-" + r.pin + ": " + net + " on the layer, " + it->second + " in the logical net");
    }
  }
  r.unconnected = CadReader::no_net(net) || r_.unused_nets_.count(net);
  r.net = r.unconnected ? "N/C" : net;
  if (hole) {
    r.hole = hole->hole.diameter;
    r.plated = hole->hole.plating != Plating::unplated;
    if (!through(hole->hole)) {
      r.first_layer = hole->hole.first_layer;
      r.last_layer = hole->hole.last_layer;
    }
  }
  return r;
}

void LandBook::surface(const CadLand& l) {
  NetlistRecord r = record(Kind::surface, l.origin, &l, nullptr, true);
  r.access = l.side == 0 ? 1 : bottom_;
  put(r, l);
  records().push_back(std::move(r));
}

/// True for a surface pad with a via in it: the pad is one record, the via another.
bool LandBook::own_pad(const Stack& s, int side, const Hole& hole) const {
  const CadLand* l = s.land[static_cast<std::size_t>(side)];
  if (!l || l->component.empty()) return false;
  const auto pin = through_pin_.find({l->component, l->pin});
  const bool lead =
      pin != through_pin_.end() ? pin->second : s.land[0] && s.land[1] && s.land[0]->component == s.land[1]->component;
  return !lead || !through(hole);
}

void LandBook::write(const Stack& s) {
  if (s.hole < 0) {
    for (const CadLand* l : s.land)
      if (l) surface(*l);
    return;
  }
  const CadHole& hole = r_.holes_[static_cast<std::size_t>(s.hole)];
  if (hole.hole.plating == Plating::unplated) return;  // a land round an unplated hole is no contact
  used_[static_cast<std::size_t>(s.hole)] = true;
  std::array<const CadLand*, 2> rest = s.land;
  for (int side = 0; side < 2; ++side)
    if (own_pad(s, side, hole.hole)) {
      surface(*s.land[static_cast<std::size_t>(side)]);
      rest[static_cast<std::size_t>(side)] = nullptr;
    }
  drilled(rest[0], rest[1], hole);
}

/// A lead, a bare drilled pad, or a via; the land of the other face follows as a continuation.
void LandBook::drilled(const CadLand* top, const CadLand* low, const CadHole& hole) {
  const CadLand* main = top ? top : low;
  const bool lead = main && !main->component.empty();
  const bool bare = main && !lead && !main->via && (main->tooling || hole.hole.diameter > kBareLeast);
  const bool via = !lead && !bare;
  NetlistRecord r = record(via && !through(hole.hole) ? Kind::blind_via : Kind::through,
                           0.5 * (hole.hole.at + hole.hole.end), main, &hole, !via);
  r.access = top ? 1 : low ? bottom_ : 0;
  r.mid_point = via;
  if (main) put(r, *main);
  records().push_back(r);
  if (!top || !low) return;
  r.continuation = true;
  r.access = bottom_;
  r.width.reset();
  r.height.reset();
  put(r, *low);
  records().push_back(std::move(r));
}

void LandBook::loose_holes() {
  for (std::size_t i = 0; i < r_.holes_.size(); ++i) {
    const Hole& h = r_.holes_[i].hole;
    const auto same = [&](int k) {
      return used_[static_cast<std::size_t>(k)] && hole(k).first_layer == h.first_layer &&
             hole(k).last_layer == h.last_layer;
    };
    if (used_[i] || holes_.nearest(middle(i), kSame, same) >= 0) continue;  // drilled twice
    used_[i] = true;
    const bool unplated = h.plating == Plating::unplated;
    NetlistRecord r = record(unplated     ? Kind::tooling
                             : through(h) ? Kind::through
                                          : Kind::blind_via,
                             middle(i), nullptr, &r_.holes_[i], unplated);
    if (unplated) {
      r.net = "N/C";
      r.unconnected = true;
    }
    r.access = 0;
    records().push_back(std::move(r));
  }
}

/// What the points of the bare-board test add: exposure and marks.
void LandBook::physical() {
  PointGrid places(2 * kSame);
  for (std::size_t i = 0; i < records().size(); ++i) places.add(records()[i].at, static_cast<int>(i));
  for (const CadReader::Physical& p : r_.physical_) {
    const int found = places.nearest(p.at, kSame, [&](int k) {
      const NetlistRecord& r = records()[static_cast<std::size_t>(k)];
      return r.access == 0 || p.side < 0 || r.access == (p.side == 0 ? 1 : bottom_) || r.hole.has_value();
    });
    if (found < 0) continue;
    const auto i = static_cast<std::size_t>(found);
    for (std::size_t k : {i, i + 1}) {
      if (k >= records().size() || (k > i && !records()[k].continuation)) break;
      NetlistRecord& r = records()[k];
      r.test_point |= p.test;
      if (p.covered >= 0) {
        r.mask_code = p.covered;
        r_.out_.exposure_stated = true;
      }
      if (k > i || r.unconnected || CadReader::no_net(p.net)) continue;
      ++compared_;
      if (r.net != p.net)
        differ("line " + std::to_string(p.line) + ": " + p.net + " among the physical nets, " + r.net +
               " on the layer");
    }
  }
}

void LandBook::report() {
  const Place at{r_.name_, 0, 0, "Step"};
  if (differing_)
    r_.d_.warn("ipc2581-nets-differ", at,
               "the layers' nets and the file's own lists of nets differ; the layers' are taken",
               std::to_string(differing_) + " of " + std::to_string(compared_) + " places; first: " + first_difference_,
               "export the file again");
  else if (compared_)
    r_.d_.note("ipc2581-nets-agree", at, "the nets of pads, logical nets and physical nets agree",
               std::to_string(compared_) + " places");
}

void CadReader::netlist() {
  Netlist& n = out_.netlist;
  n.name = name_;
  n.unit = NetlistUnit::mm_001;
  n.unit_stated = true;
  n.stated_layers = out_.copper_layers;
  n.thickness = out_.mechanics.thickness;
  LandBook(*this).run();
  for (const CadHole& h : holes_) out_.mechanics.holes.push_back(h.hole);
}

}  // namespace teasel::formats
