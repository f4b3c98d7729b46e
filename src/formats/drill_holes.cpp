// Turns drill commands into holes in millimetres, once the number format is settled.
#include <algorithm>
#include <cmath>

#include "teasel/formats/drill.h"
#include "teasel/formats/gerber.h"
#include "teasel/units.h"

namespace teasel::formats {

namespace {
constexpr double kPow[] = {1,    10,   1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8, 1e9,
                           1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18};

class Machine {
 public:
  Machine(const DrillFile& file, const DrillFormat& format)
      : file_(file),
        format_(format),
        unit_(format.millimetres ? 1.0 : kMmPerInch),
        total_(format.integer_digits + format.decimals) {}
  std::vector<Hole> run();

 private:
  double mm(const DrillNumber& number) const {
    const double raw = static_cast<double>(number.digits);
    if (number.point >= 0) return raw / kPow[number.point] * unit_;
    if (format_.zeros == ZeroRule::leading_kept && number.count < total_)
      return raw * kPow[total_ - number.count] / kPow[format_.decimals] * unit_;
    return raw / kPow[format_.decimals] * unit_;
  }
  Point target(const DrillOp& op) const {
    if (op.relative) return at_ + Point{op.has_x ? mm(op.x) : 0, op.has_y ? mm(op.y) : 0};
    return {op.has_x ? mm(op.x) + zero_.x : at_.x, op.has_y ? mm(op.y) + zero_.y : at_.y};
  }
  void add(const DrillOp& op, Point at, Point end, bool slot, bool routed);
  void arc(const DrillOp& op, Point to);
  void pattern(const DrillOp& op);

  const DrillFile& file_;
  const DrillFormat& format_;
  double unit_;
  int total_;
  std::vector<Hole> holes_;
  Point at_, zero_, step_;
  std::size_t pattern_from_ = 0, pattern_to_ = 0;
};

void Machine::add(const DrillOp& op, Point at, Point end, bool slot, bool routed) {
  if (holes_.size() >= kMostHoles) return;
  const DrillTool& tool = file_.tools[op.tool];
  Hole hole;
  hole.at = at;
  hole.end = end;
  hole.slot = slot;
  hole.routed = routed;
  hole.diameter = tool.diameter.value_or(Mm{});
  hole.plating = tool.plating != Plating::unknown ? tool.plating : file_.plating;
  hole.function = tool.function;
  hole.line = op.line;
  hole.first_layer = file_.first_layer;
  hole.last_layer = file_.last_layer;
  holes_.push_back(std::move(hole));
}

/// An arc given by its radius is the minor arc, as the format demands. Otherwise the centre is an offset from the
/// start.
void Machine::arc(const DrillOp& op, Point to) {
  Point centre = at_ + Point{mm(op.i), mm(op.j)};
  if (op.by_radius) {
    const Point half = 0.5 * (to - at_);
    const double radius = mm(op.i), chord = length(half);
    if (chord == 0 || radius < chord * 0.999)
      return add(op, at_, to, true, true);  // there is no such arc, so the chord is taken
    const double rise = std::sqrt(std::max(radius * radius - chord * chord, 0.0)) / chord;
    const Point left{-half.y * rise, half.x * rise};
    centre = at_ + half + (op.clockwise ? Point{-left.x, -left.y} : left);
  }
  if (distance(at_, centre) == 0) return add(op, at_, to, true, true);
  const Ring path = arc_points(at_, to, centre, op.clockwise);
  for (std::size_t i = 0; i + 1 < path.size(); ++i) add(op, path[i], path[i + 1], true, true);
}

/// Repeats the holes between M25 and M01, one step further each time.
void Machine::pattern(const DrillOp& op) {
  step_ = step_ + Point{op.has_x ? mm(op.x) : 0, op.has_y ? mm(op.y) : 0};
  for (std::size_t i = pattern_from_; i < pattern_to_ && holes_.size() < kMostHoles; ++i) {
    Hole hole = holes_[i];
    hole.at = hole.at + step_;
    hole.end = hole.end + step_;
    holes_.push_back(std::move(hole));
  }
}

std::vector<Hole> Machine::run() {
  using Kind = DrillOp::Kind;
  holes_.reserve(file_.ops.size());
  for (const DrillOp& op : file_.ops) {
    switch (op.kind) {
      case Kind::hit:
        at_ = target(op);
        add(op, at_, at_, false, false);
        break;
      case Kind::repeat:
        for (std::uint32_t k = 0; k < op.count && holes_.size() < kMostHoles; ++k) {
          at_ = at_ + Point{op.has_x ? mm(op.x) : 0, op.has_y ? mm(op.y) : 0};
          add(op, at_, at_, false, false);
        }
        break;
      case Kind::slot: {
        const Point from = target(op);
        at_ = from;
        // Incremental input counts from the slot's own start.
        const Point base = op.relative ? from : zero_;
        const Point to{op.has_x2 ? base.x + mm(op.x2) : from.x, op.has_y2 ? base.y + mm(op.y2) : from.y};
        add(op, from, to, true, false);
        at_ = to;
        break;
      }
      case Kind::move: at_ = target(op); break;
      case Kind::line: {
        const Point to = target(op);
        add(op, at_, to, true, true);
        at_ = to;
        break;
      }
      case Kind::arc: {
        const Point to = target(op);
        arc(op, to);
        at_ = to;
        break;
      }
      case Kind::circle: {
        const Point centre = target(op), start = centre + Point{mm(op.i), 0};
        const Ring path = arc_points(start, start, centre, op.clockwise);
        for (std::size_t i = 0; i + 1 < path.size(); ++i) add(op, path[i], path[i + 1], true, true);
        at_ = centre;
        break;
      }
      case Kind::zero: zero_ = zero_ + Point{op.has_x ? mm(op.x) : 0, op.has_y ? mm(op.y) : 0}; break;
      case Kind::pattern_begin:
        pattern_from_ = pattern_to_ = holes_.size();
        step_ = {};
        break;
      case Kind::pattern_end: pattern_to_ = holes_.size(); break;
      case Kind::pattern_repeat: pattern(op); break;
      case Kind::patterns_off: pattern_from_ = pattern_to_ = 0; break;
    }
  }
  return std::move(holes_);
}
}  // namespace

std::vector<Hole> holes_of(const DrillFile& file, const DrillFormat& format) {
  return Machine(file, format).run();
}

}  // namespace teasel::formats
