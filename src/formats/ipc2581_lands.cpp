// Turns lands, holes and nets into the records that a bare-board netlist would have.
#include <algorithm>
#include <cmath>

#include "ipc2581_reader.h"
#include "teasel/point_grid.h"

namespace teasel::formats {

namespace {
constexpr double kSame = 0.02;  // mm; two places that lie nearer are one
constexpr Mm kBareLeast{0.5};   // a drilled land without part and mark is a via below this (common practice, no source)

/// The lands of one place and the hole through them.
struct Stack {
  PerSide<const CadLand*> land{};
  int hole = -1;
};

/// The area of the box about a land.
Mm2 painted(const CadLand& land) {
  return Mm2{land.width.v * land.height.v};
}
void put(NetlistRecord& record, const CadLand& land) {
  record.width = land.width;
  if (!land.round) record.height = land.height;
  record.rotation = land.round ? Degrees{} : land.turn;
}
}  // namespace

/// Gathers lands to pad stacks and writes the records. A land belongs to the stack at its place, on either face.
class LandBook {
 public:
  explicit LandBook(CadReader& reader)
      : reader_(reader), bottom_(std::max(reader.board_.copper_layers, 2)), used_(reader.holes_.size()) {
    for (std::size_t i = 0; i < reader_.holes_.size(); ++i) holes_.add(middle(i), static_cast<int>(i));
    for (const CadComponent& component : reader_.components_)
      for (const CadPin& pin : reader_.packages_[component.row.package].pins)
        through_pin_[{component.row.component, pin.number}] = pin.through || component.through;
  }
  void run() {
    gather();
    for (const Stack& stack : stacks_) write(stack);
    loose_holes();
    physical();
    report();
  }

 private:
  using Kind = NetlistRecord::Kind;
  [[nodiscard]] const Hole& hole(int i) const { return reader_.holes_[static_cast<std::size_t>(i)].hole; }
  [[nodiscard]] Point middle(std::size_t i) const {
    return 0.5 * (reader_.holes_[i].hole.at + reader_.holes_[i].hole.end);
  }
  [[nodiscard]] bool through(const Hole& hole_looked_at) const {
    return hole_looked_at.first_layer <= 1 &&
           (hole_looked_at.last_layer == 0 || hole_looked_at.last_layer >= reader_.board_.copper_layers);
  }
  void gather();
  NetlistRecord record(Kind kind, Point at, const CadLand* land, const CadHole* hole, bool named);
  void surface(const CadLand& land);
  [[nodiscard]] bool own_pad(const Stack& stack, Side side, const Hole& hole) const;
  void write(const Stack& stack);
  void drilled(const CadLand* top, const CadLand* low, const CadHole& hole);
  void loose_holes();
  void physical();
  void report();
  void differ(const std::string& text) {
    if (differing_++ == 0) first_difference_ = text;
  }
  std::vector<NetlistRecord>& records() { return reader_.board_.netlist.records; }

  CadReader& reader_;
  int bottom_;
  std::vector<bool> used_;  ///< holes that a record has
  PointGrid holes_{2 * kSame}, by_place_{2 * kSame};
  std::vector<Stack> stacks_;
  std::map<std::pair<std::string, std::string>, bool> through_pin_;
  std::size_t differing_ = 0, compared_ = 0;
  std::string first_difference_;
};

void LandBook::gather() {
  for (const CadLand& land : reader_.lands_) {
    if (land.fiducial) continue;
    if (const int here = by_place_.nearest(land.origin, kSame); here >= 0) {
      const CadLand*& place = stacks_[static_cast<std::size_t>(here)].land[land.side];
      // Of a land that is drawn twice the larger counts, unless the smaller one alone has a pin.
      if (!place || (place->component.empty() && !land.component.empty()) ||
          (place->component.empty() == land.component.empty() && painted(land) > painted(*place)))
        place = &land;
      continue;
    }
    Stack stack;
    stack.land[land.side] = &land;
    stack.hole = holes_.nearest(land.origin, kSame,
                                [&](int i) { return through(hole(i)) || hole(i).plating != Plating::unplated; });
    by_place_.add(land.origin, static_cast<int>(stacks_.size()));
    stacks_.push_back(stack);
  }
}

/// `named`: the record is of a pad with a pin or of a bare pad, otherwise of a via.
NetlistRecord LandBook::record(Kind kind, Point at, const CadLand* land, const CadHole* hole, bool named) {
  NetlistRecord record;
  record.kind = kind;
  record.at = NetlistPoint{at};
  record.line = land ? land->line : hole->hole.line;
  record.test_point = land && land->test;
  std::string net = land ? land->net : hole->net;
  if (net.empty() && hole) net = hole->net;
  if (!named) {
    record.component = "VIA";
  } else if (land) {
    record.component = land->component;
    record.pin = land->pin;
    if (const auto it = reader_.logical_.find({record.component, record.pin}); it != reader_.logical_.end()) {
      if (net.empty()) net = it->second;
      ++compared_;
      if (net != it->second)
        differ(record.component + "-" + record.pin + ": " + net + " on the layer, " + it->second +
               " in the logical net");
    }
  }
  record.unconnected = CadReader::no_net(net) || reader_.unused_nets_.count(net);
  record.net = record.unconnected ? "N/C" : net;
  if (hole) {
    record.hole = hole->hole.diameter;
    record.plated = hole->hole.plating != Plating::unplated;
    if (!through(hole->hole)) {
      record.first_layer = hole->hole.first_layer;
      record.last_layer = hole->hole.last_layer;
    }
  }
  return record;
}

void LandBook::surface(const CadLand& land) {
  NetlistRecord pad = record(Kind::surface, land.origin, &land, nullptr, true);
  pad.access = land.side == Side::top ? 1 : bottom_;
  put(pad, land);
  records().push_back(std::move(pad));
}

/// True for a surface pad with a via in it: the pad is one record, the via another.
bool LandBook::own_pad(const Stack& stack, Side side, const Hole& hole) const {
  const CadLand* land = stack.land[side];
  if (!land || land->component.empty()) return false;
  const auto pin = through_pin_.find({land->component, land->pin});
  const CadLand *top = stack.land[Side::top], *low = stack.land[Side::bottom];
  const bool lead = pin != through_pin_.end() ? pin->second : top && low && top->component == low->component;
  return !lead || !through(hole);
}

void LandBook::write(const Stack& stack) {
  if (stack.hole < 0) {
    for (const CadLand* land : stack.land)
      if (land) surface(*land);
    return;
  }
  const CadHole& hole = reader_.holes_[static_cast<std::size_t>(stack.hole)];
  if (hole.hole.plating == Plating::unplated) return;  // a land round an unplated hole is no contact
  used_[static_cast<std::size_t>(stack.hole)] = true;
  PerSide<const CadLand*> rest = stack.land;
  for (const Side side : kBothSides)
    if (own_pad(stack, side, hole.hole)) {
      surface(*stack.land[side]);
      rest[side] = nullptr;
    }
  drilled(rest[Side::top], rest[Side::bottom], hole);
}

/// Writes a lead, a bare drilled pad or a via. The land of the other face follows as a continuation.
void LandBook::drilled(const CadLand* top, const CadLand* low, const CadHole& hole) {
  const CadLand* main = top ? top : low;
  const bool lead = main && !main->component.empty();
  const bool bare = main && !lead && !main->via && (main->tooling || hole.hole.diameter > kBareLeast);
  const bool via = !lead && !bare;
  NetlistRecord pad = record(via && !through(hole.hole) ? Kind::blind_via : Kind::through,
                             0.5 * (hole.hole.at + hole.hole.end), main, &hole, !via);
  pad.access = 0;
  if (low) pad.access = bottom_;
  if (top) pad.access = 1;
  pad.mid_point = via;
  if (main) put(pad, *main);
  records().push_back(pad);
  if (!top || !low) return;
  pad.continuation = true;
  pad.access = bottom_;
  pad.width.reset();
  pad.height.reset();
  put(pad, *low);
  records().push_back(std::move(pad));
}

void LandBook::loose_holes() {
  for (std::size_t i = 0; i < reader_.holes_.size(); ++i) {
    const Hole& drilled_hole = reader_.holes_[i].hole;
    const auto same = [&](int k) {
      return used_[static_cast<std::size_t>(k)] && hole(k).first_layer == drilled_hole.first_layer &&
             hole(k).last_layer == drilled_hole.last_layer;
    };
    if (used_[i] || holes_.nearest(middle(i), kSame, same) >= 0) continue;  // drilled twice
    used_[i] = true;
    const bool unplated = drilled_hole.plating == Plating::unplated;
    const Kind plated_kind = through(drilled_hole) ? Kind::through : Kind::blind_via;
    NetlistRecord found_hole =
        record(unplated ? Kind::tooling : plated_kind, middle(i), nullptr, &reader_.holes_[i], unplated);
    if (unplated) {
      found_hole.net = "N/C";
      found_hole.unconnected = true;
    }
    found_hole.access = 0;
    records().push_back(std::move(found_hole));
  }
}

/// Adds what the points of the bare-board test tell: exposure and marks.
void LandBook::physical() {
  PointGrid places(2 * kSame);
  for (std::size_t i = 0; i < records().size(); ++i) places.add(records()[i].at.point(), static_cast<int>(i));
  for (const CadReader::Physical& point : reader_.physical_) {
    const int found = places.nearest(point.at, kSame, [&](int k) {
      const NetlistRecord& known = records()[static_cast<std::size_t>(k)];
      return known.access == 0 || !point.side || known.access == (point.side == Side::top ? 1 : bottom_) ||
             known.hole.has_value();
    });
    if (found < 0) continue;
    const auto i = static_cast<std::size_t>(found);
    for (std::size_t k : {i, i + 1}) {
      if (k >= records().size() || (k > i && !records()[k].continuation)) break;
      NetlistRecord& known = records()[k];
      known.test_point |= point.test;
      if (point.covered >= 0) {
        known.mask_code = point.covered;
        reader_.board_.exposure_stated = true;
      }
      if (k > i || known.unconnected || CadReader::no_net(point.net)) continue;
      ++compared_;
      if (known.net != point.net)
        differ("line " + std::to_string(point.line) + ": " + point.net + " among the physical nets, " + known.net +
               " on the layer");
    }
  }
}

void LandBook::report() {
  const Place at{reader_.name_, 0, 0, "Step"};
  if (differing_)
    reader_.diagnostics_.warn(
        {.code = "ipc2581-nets-differ",
         .at = at,
         .message = "the nets on the layers differ from the file's lists of nets; the nets on the layers are used",
         .found =
             std::to_string(differing_) + " of " + std::to_string(compared_) + " places; first: " + first_difference_,
         .remedy = "export the file again"});
  else if (compared_)
    reader_.diagnostics_.note({.code = "ipc2581-nets-agree",
                               .at = at,
                               .message = "the nets of pads, logical nets and physical nets agree",
                               .found = std::to_string(compared_) + " places"});
}

void CadReader::netlist() {
  Netlist& list = board_.netlist;
  list.name = name_;
  list.unit = NetlistUnit::mm_001;
  list.unit_stated = true;
  list.stated_layers = board_.copper_layers;
  list.thickness = board_.mechanics.thickness;
  LandBook(*this).run();
  for (const CadHole& hole : holes_) board_.mechanics.holes.push_back(hole.hole);
}

}  // namespace teasel::formats
