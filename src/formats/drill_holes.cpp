// Drill commands to holes in millimetres, once the number format is settled.
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
      : f_(file),
        format_(format),
        unit_(format.millimetres ? 1.0 : kMmPerInch),
        total_(format.integer_digits + format.decimals) {}
  std::vector<Hole> run();

 private:
  double mm(const DrillNumber& n) const {
    const double raw = static_cast<double>(n.digits);
    if (n.point >= 0) return raw / kPow[n.point] * unit_;
    if (format_.zeros == ZeroRule::leading_kept && n.count < total_)
      return raw * kPow[total_ - n.count] / kPow[format_.decimals] * unit_;
    return raw / kPow[format_.decimals] * unit_;
  }
  Point target(const DrillOp& o) const {
    if (o.relative) return at_ + Point{o.has_x ? mm(o.x) : 0, o.has_y ? mm(o.y) : 0};
    return {o.has_x ? mm(o.x) + zero_.x : at_.x, o.has_y ? mm(o.y) + zero_.y : at_.y};
  }
  void add(const DrillOp& o, Point at, Point end, bool slot, bool routed);
  void arc(const DrillOp& o, Point to);
  void pattern(const DrillOp& o);

  const DrillFile& f_;
  const DrillFormat& format_;
  double unit_;
  int total_;
  std::vector<Hole> holes_;
  Point at_, zero_, step_;
  std::size_t pattern_from_ = 0, pattern_to_ = 0;
};

void Machine::add(const DrillOp& o, Point at, Point end, bool slot, bool routed) {
  if (holes_.size() >= kMostHoles) return;
  const DrillTool& t = f_.tools[o.tool];
  Hole h;
  h.at = at;
  h.end = end;
  h.slot = slot;
  h.routed = routed;
  h.diameter = t.diameter.value_or(0);
  h.plating = t.plating != Plating::unknown ? t.plating : f_.plating;
  h.function = t.function;
  h.line = o.line;
  h.first_layer = f_.first_layer;
  h.last_layer = f_.last_layer;
  holes_.push_back(std::move(h));
}

/// By radius: the minor arc, as the format demands. By offset: centre from the start.
void Machine::arc(const DrillOp& o, Point to) {
  Point centre = at_ + Point{mm(o.i), mm(o.j)};
  if (o.by_radius) {
    const Point half = 0.5 * (to - at_);
    const double r = mm(o.i), chord = length(half);
    if (chord == 0 || r < chord * 0.999) return add(o, at_, to, true, true);  // no such arc: the chord
    const double rise = std::sqrt(std::max(r * r - chord * chord, 0.0)) / chord;
    const Point left{-half.y * rise, half.x * rise};
    centre = at_ + half + (o.clockwise ? Point{-left.x, -left.y} : left);
  }
  if (distance(at_, centre) == 0) return add(o, at_, to, true, true);
  const Ring path = arc_points(at_, to, centre, o.clockwise);
  for (std::size_t i = 0; i + 1 < path.size(); ++i) add(o, path[i], path[i + 1], true, true);
}

/// The holes between M25 and M01 once more, a step further each time.
void Machine::pattern(const DrillOp& o) {
  step_ = step_ + Point{o.has_x ? mm(o.x) : 0, o.has_y ? mm(o.y) : 0};
  for (std::size_t i = pattern_from_; i < pattern_to_ && holes_.size() < kMostHoles; ++i) {
    Hole h = holes_[i];
    h.at = h.at + step_;
    h.end = h.end + step_;
    holes_.push_back(std::move(h));
  }
}

std::vector<Hole> Machine::run() {
  using Kind = DrillOp::Kind;
  holes_.reserve(f_.ops.size());
  for (const DrillOp& o : f_.ops) {
    switch (o.kind) {
      case Kind::hit:
        at_ = target(o);
        add(o, at_, at_, false, false);
        break;
      case Kind::repeat:
        for (std::uint32_t k = 0; k < o.count && holes_.size() < kMostHoles; ++k) {
          at_ = at_ + Point{o.has_x ? mm(o.x) : 0, o.has_y ? mm(o.y) : 0};
          add(o, at_, at_, false, false);
        }
        break;
      case Kind::slot: {
        const Point from = target(o);
        at_ = from;
        const Point to = o.relative
                             ? from + Point{o.has_x2 ? mm(o.x2) : 0, o.has_y2 ? mm(o.y2) : 0}
                             : Point{o.has_x2 ? mm(o.x2) + zero_.x : from.x, o.has_y2 ? mm(o.y2) + zero_.y : from.y};
        add(o, from, to, true, false);
        at_ = to;
        break;
      }
      case Kind::move: at_ = target(o); break;
      case Kind::line: {
        const Point to = target(o);
        add(o, at_, to, true, true);
        at_ = to;
        break;
      }
      case Kind::arc: {
        const Point to = target(o);
        arc(o, to);
        at_ = to;
        break;
      }
      case Kind::circle: {
        const Point c = target(o), start = c + Point{mm(o.i), 0};
        const Ring path = arc_points(start, start, c, o.clockwise);
        for (std::size_t i = 0; i + 1 < path.size(); ++i) add(o, path[i], path[i + 1], true, true);
        at_ = c;
        break;
      }
      case Kind::zero: zero_ = zero_ + Point{o.has_x ? mm(o.x) : 0, o.has_y ? mm(o.y) : 0}; break;
      case Kind::pattern_begin:
        pattern_from_ = pattern_to_ = holes_.size();
        step_ = {};
        break;
      case Kind::pattern_end: pattern_to_ = holes_.size(); break;
      case Kind::pattern_repeat: pattern(o); break;
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
