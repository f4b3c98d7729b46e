#include "bed.h"

#include <cmath>

#include "teasel/enums.h"

namespace teasel {

const char* to_string(FreeShape shape) {
  static constexpr Words<FreeShape> kShapes{"flat", "bowed up", "bowed down", "twisted", "twisted the other way"};
  return kShapes[shape];
}

const char* to_string(Lying lying) {
  static constexpr Words<Lying> kWords{"rests", "floats on its springs", "driven by spacers", "on its stops"};
  return kWords[lying];
}

Microstrain strain_limit_at_rate(Mm thickness, StrainRate rate) {
  constexpr double kLeast = 100, kMost = 20'000;  // microstrain a second
  return Microstrain{std::sqrt(2.35 / thickness.v) * (1900 - 300 * std::log10(std::clamp(rate.v, kLeast, kMost)))};
}

const PressedState* Mechanics::at_full_stroke() const {
  for (const PressedState& state : states)
    if (state.name == kFullStroke) return &state;
  return nullptr;
}

const PressedState* Mechanics::at_peak() const {
  const auto peak = std::max_element(states.begin(), states.end(),
                                     [](const PressedState& a, const PressedState& b) { return a.strain < b.strain; });
  return peak == states.end() ? nullptr : &*peak;
}

Stroke stroke_of(const Planned& in, ProbeId probe) {
  const PlacedProbe& placed = in.option.probes[probe];
  const Target& target = in.access.targets[placed.target];
  const std::vector<Stroke> all = strokes_on(in.board, in.rules, target, in.catalogue.classes[placed.probe_class],
                                             target.side == in.option.option.main);
  return *std::max_element(all.begin(), all.end(),
                           [](const Stroke& a, const Stroke& b) { return a.nominal < b.nominal; });
}

BentStroke bent_stroke(const Planned& in, const PressedState& state, ProbeId probe) {
  return {stroke_of(in, probe), state.least_travel[probe], state.most_travel[probe]};
}

namespace mechanics {

namespace {
constexpr double kBarMPa = 0.1;
constexpr Mm kLargeHole{6};  // smaller holes do not change how a board bends
constexpr double kPartVaries =
    0.1;  // mm, of the height of a part on which a finger presses; common practice, no source
}  // namespace

Mm fine_mesh(const Planned& in) {
  constexpr double kSquares = 8000;   // of this side would cover the board
  constexpr std::size_t kMany = 300;  // probes: the nodes about their feet make the mesh fine already
  const Mm most = in.rules.mechanics.mesh;
  if (in.option.probes.size() > kMany) return most;
  return std::clamp(Mm{std::sqrt(area(in.board.outline) / kSquares)}, most / 2, most);
}
double spring_rate(const MovingPlate& moving) {
  constexpr double kSoftest = 0.01;
  return std::max(kSoftest, moving.rate().v);
}
namespace {
/// The strain that is reached at just the rate at which it is the limit.
Microstrain limit_by_time(Mm thickness, Seconds closing) {
  constexpr int kHalvings = 50;
  double low = 0, high = 1e5;
  for (int i = 0; i < kHalvings; ++i) {
    const double strain = (low + high) / 2;
    (strain < strain_limit_at_rate(thickness, StrainRate{strain / closing.v}).v ? low : high) = strain;
  }
  return Microstrain{low};
}
bool is_ceramic(const Component& component) {
  return component.features.size() == 2 && !component.holes_only && reference_letters(component.name) == "C";
}
Mm length_of(const Component& component) {
  Box box;
  for (const Polygon& piece : component.body) box.add(bounds(piece.outer));
  return Mm{box.valid() ? std::max(box.width(), box.height()) : 0};
}
}  // namespace

Microstrain strain_limit(const Planned& in) {
  const JobMechanics& job = in.job.mechanics;
  if (job.strain_limit) return *job.strain_limit;
  return job.closing > Seconds{} ? limit_by_time(in.board.thickness, job.closing) : in.rules.mechanics.strain_limit;
}

Microstrain strain_limit(const Planned& in, const Component& component) {
  // A plain name means the part on every board of a panel; one with its place, the part on that board alone.
  const auto& limits = in.job.mechanics.part_limits;
  if (const auto here = limits.find(component.name); here != limits.end()) return here->second;
  if (const auto everywhere = limits.find(component.name.plain()); everywhere != limits.end())
    return everywhere->second;
  if (in.job.mechanics.strain_limit) return *in.job.mechanics.strain_limit;
  if (component.area_array) return strain_limit(in);
  const MechanicsRules& rules = in.rules.mechanics;
  if (!is_ceramic(component)) return rules.others;
  const Mm length = length_of(component);
  for (const MechanicsRules::Ceramic& row : rules.ceramics)
    if (length <= row.up_to) return row.limit;
  return rules.strain_limit;
}

double bow_of(const Planned& in) {
  return in.job.mechanics.bow.value_or(in.rules.mechanics.bow_twist);
}
bool is_sensitive(const Component& c) {
  return c.area_array || is_ceramic(c);
}
MPa vacuum_of(const Planned& in) {
  const Bar drawn = in.kit ? in.kit->vacuum : in.style.vacuum;
  return MPa{drawn.v * kBarMPa * in.rules.mechanics.vacuum_share};
}

BedModel::BedModel(const Planned& in, std::vector<PlacedSupport> supports, Mm mesh_size, bool fine,
                   const Variation& variation)
    : in_(in), supports_(std::move(supports)), moving_(moving_plate(in)) {
  for (const Side side : kBothSides) holder_[side] = carrier(in, side);
  for (const PlacedSupport& support : supports_) on_part_.push_back(part_under(in, support) != nullptr);
  const MechanicsRules& rules = in.rules.mechanics;
  const JobMechanics& job = in.job.mechanics;
  stiffness_ = {.thickness = in.board.thickness,
                .modulus = job.modulus.value_or(rules.modulus),
                .modulus_across = job.modulus_across.value_or(job.modulus ? MPa{} : rules.modulus_across),
                .poisson = rules.poisson,
                .shear = MPa{}};
  // What bends by itself has no stiffness to speak of.
  Polygons board = in.board.pieces.empty() ? Polygons{in.board.outline} : in.board.stiff();
  Polygons holes;
  for (const BoardHole& hole : in.board.holes)
    if (hole.diameter >= kLargeHole && !hole.slot) holes.push_back({circle(hole.at, hole.diameter.v / 2), {}});
  if (!holes.empty()) board = subtract(board, holes);
  add_contacts(board, mesh_size, fine, variation);
  if (!ok()) return;
  add_gauges(mesh_size, fine);
  for (std::size_t k = 0; k < shapes_.size(); ++k) shapes_[k] = shape_by_node(static_cast<FreeShape>(k));
}

BedModel::BedModel(const BedModel& whole, const std::vector<char>& present)
    : in_(whole.in_),
      moving_(whole.moving_),
      holder_(whole.holder_),
      probes_(whole.probes_),
      strokes_(whole.strokes_),
      stiffness_(whole.stiffness_),
      gauges_(whole.gauges_),
      shapes_(whole.shapes_) {
  std::vector<std::size_t> kept;
  for (std::size_t i = 0; i < whole.known_.size(); ++i) {
    if (i >= probes_ && !present[i - probes_]) continue;
    kept.push_back(i);
    known_.push_back(whole.known_[i]);
    if (i < probes_) continue;
    supports_.push_back(whole.supports_[i - probes_]);
    on_part_.push_back(whole.on_part_[i - probes_]);
  }
  press_ = std::make_unique<PressedPlate>(*whole.press_, kept);
}

namespace {
/// A contact with the place and the radius of its foot.
struct Foot {
  PressContact contact;
  Point centre;
  double radius;
};
constexpr std::size_t kRing = 6;  // nodes about a foot, over which half of its load is spread

std::vector<Foot> feet_of(const Planned& in, const std::vector<PlacedSupport>& supports, double share) {
  std::vector<Foot> out;
  for (const PlacedProbe& probe : in.option.probes) {
    const Target& target = in.access.targets[probe.target];
    const ProbeClass& probe_class = in.catalogue.classes[probe.probe_class];
    PressContact contact;
    contact.from_below = target.side == Side::bottom;
    const double force = share * force_on(in.rules, target, probe_class).v;
    contact.preload = Newton{force * in.rules.mechanics.preload_share};
    contact.rate = NewtonPerMm{(force - contact.preload.v) / probe_class.working_travel.v};
    contact.full = probe_class.full_travel;
    out.push_back({std::move(contact), in.access.spots[probe.spot].at, probe_class.tip_diameter.v / 2});
  }
  for (const PlacedSupport& support : supports) {
    PressContact contact;
    contact.from_below = support.side == Side::bottom;
    const Mm diameter = support.finger ? in.rules.finger_diameter : in.style.stop_diameter;
    out.push_back({std::move(contact), support.at, diameter.v / 2});
  }
  return out;
}

/// Radius of the ring on which a foot's load is spread: less where another foot stands near.
double ring_radius(const std::vector<Foot>& feet, std::size_t i, Mm thickness) {
  double radius = equivalent_radius(Mm{feet[i].radius}, thickness).v;
  for (std::size_t j = 0; j < feet.size(); ++j)
    if (const double gap = distance(feet[i].centre, feet[j].centre); j != i && gap > 1e-6)
      radius = std::min(radius, 0.4 * gap);
  return radius;
}

/// -1: nothing of the mesh is near enough to be touched.
int nearest_node(const PlateMesh& mesh, Point place) {
  int best = -1;
  double nearest = 3;  // mm: what stands farther from the board does not touch it
  for (std::size_t node = 0; node < mesh.nodes.size(); ++node)
    if (const double away = distance(place, mesh.nodes[node]); away < nearest) {
      nearest = away;
      best = static_cast<int>(node);
    }
  return best;
}
}  // namespace

void BedModel::add_contacts(const Polygons& board, Mm mesh_size, bool fine, const Variation& variation) {
  std::vector<Foot> feet = feet_of(in_, supports_, variation.force);
  probes_ = in_.option.probes.size();
  for (const ProbeId probe : in_.option.probes.ids()) strokes_.push_back(stroke_of(in_, probe));
  std::vector<Point> points;
  for (const Foot& foot : feet) points.push_back(foot.centre);
  std::vector<std::size_t> ring(feet.size(), 0);  // by foot: its first point of the ring; 0: it has none
  if (fine)
    for (std::size_t i = 0; i < feet.size(); ++i) {
      const Point centre = feet[i].centre;
      const double radius = ring_radius(feet, i, stiffness_.thickness);
      if (!contains(board, centre) || distance_to_boundary(board, centre) < 1.5 * radius) continue;
      ring[i] = points.size();
      for (int k = 0; k < static_cast<int>(kRing); ++k)
        points.push_back(centre + radius * Point{std::cos(k * std::acos(-1) / 3), std::sin(k * std::acos(-1) / 3)});
    }
  PlateMesh mesh = mesh_plate(board, points, mesh_size);
  if (mesh.triangles.empty()) return;
  known_.assign(feet.size(), 1);
  std::vector<PressContact> contacts;
  for (std::size_t i = 0; i < feet.size(); ++i) {
    PressContact& contact = contacts.emplace_back(std::move(feet[i].contact));
    int node = mesh.node_of[i];
    if (node < 0) node = nearest_node(mesh, feet[i].centre);
    if (node < 0) {
      known_[i] = 0;
      contact.rate = {};
      contact.patch = {{0, 1}};
      continue;
    }
    bool whole = ring[i] > 0;
    for (std::size_t k = 0; whole && k < kRing; ++k) whole = mesh.node_of[ring[i] + k] >= 0;
    if (!whole) {
      contact.patch = {{node, 1}};
      continue;
    }
    // Half in the middle, half on the ring: the second moment of an even load on the disc.
    contact.patch = {{node, 0.5}};
    for (std::size_t k = 0; k < kRing; ++k)
      contact.patch.push_back({mesh.node_of[ring[i] + k], 0.5 / static_cast<double>(kRing)});
  }
  for (const ProbeId probe : variation.without) known_[probe.index()] = 0;
  press_ = std::make_unique<PressedPlate>(std::move(mesh), stiffness_, std::move(contacts),
                                          in_.option.option.main == Side::top);
}

std::vector<double> BedModel::shape_by_node(FreeShape shape) const {
  if (shape == FreeShape::flat) return {};
  const Box box = bounds(in_.board.outline.outer);
  // IPC-TM-650 2.4.22: bow over the length of the side along which it is measured, twist over the diagonal; of a
  // twisted board with three corners on the table the fourth stands twice that off it.
  const double bow = bow_of(in_) * std::max(box.width(), box.height()),
               twist = bow_of(in_) * std::hypot(box.width(), box.height());
  const Point mid = box.centre();
  std::vector<double> out;
  for (const Point node : press_->plate().mesh().nodes) {
    // Bow: a parabola along the longer side, its ends in the plane. Twist: opposite corners up, the others down, half
    // each.
    const double u =
        box.width() >= box.height() ? (node.x - mid.x) / (box.width() / 2) : (node.y - mid.y) / (box.height() / 2);
    const double v = (node.x - mid.x) / (box.width() / 2) * (node.y - mid.y) / (box.height() / 2);
    switch (shape) {
      case FreeShape::bowed_up: out.push_back(bow * (1 - u * u)); break;
      case FreeShape::bowed_down: out.push_back(-bow * (1 - u * u)); break;
      case FreeShape::twisted: out.push_back(twist / 2 * v); break;
      case FreeShape::twisted_back: out.push_back(-twist / 2 * v); break;
      case FreeShape::flat: break;
    }
  }
  return out;
}

BoardPoint BedModel::place_of(std::size_t contact) const {
  return contact < probes_ ? in_.access.spots[in_.option.probes[ProbeId{contact}].spot].at
                           : supports_[contact - probes_].at;
}

bool BedModel::is_over(std::size_t contact) const {
  const Side side = press_->contacts()[contact].from_below ? Side::bottom : Side::top;
  return side != faces(in_, true);
}

bool BedModel::is_carried(std::size_t contact) const {
  return contact >= probes_ && moving_ && !is_over(contact) && holder_[faces(in_, true)] == moving_->plate;
}

double BedModel::slant(std::size_t contact) const {
  if (!in_.kit || !in_.kit->hinge_y || !in_.option.option.sides.is_both()) return 1;
  const auto to_kit = board_to_kit(in_);
  const double middle = in_.kit->hinge_y->v - to_kit(bounds(in_.board.outline.outer).centre()).y;
  return middle > 0 ? std::max(0.0, in_.kit->hinge_y->v - to_kit(place_of(contact)).y) / middle : 1;
}

PressState BedModel::state(const Moment& moment, FreeShape shape, const std::vector<char>& present, double bend) const {
  PressState out;
  const std::size_t count = press_->contacts().size();
  out.touch.assign(count, 0);
  out.present.assign(count, 0);
  out.shape = shapes_[static_cast<std::size_t>(shape)];
  if (bend != 1)
    for (double& height : out.shape) height *= bend;
  const bool floats = moving_ && moment.lying == Lying::floats;
  if (floats) {
    out.carried.assign(count, 0);
    out.carrier_yield = 1 / spring_rate(*moving_);
  }
  for (std::size_t i = 0; i < count; ++i) {
    if (!known_[i]) continue;
    const double up = press_->contacts()[i].from_below ? 1 : -1;
    const Side side = press_->contacts()[i].from_below ? Side::bottom : Side::top;
    // What stands over the board is so far from its place; its lower side is that of the fixed probes.
    const double off = is_over(i) ? moment.to_go * slant(i) : 0;
    if (i < probes_) {
      if (moment.long_only && !in_.option.probes[ProbeId{i}].long_travel) continue;
      out.present[i] = 1;
      out.touch[i] = up * (reach(i) - off);
    } else if (present[i - probes_] && holder_[side]) {
      out.present[i] = 1;
      // A finger may stand too low by the gap; stops set the plane.
      const PlacedSupport& support = supports_[i - probes_];
      double gap = support.finger ? in_.rules.mechanics.support_gap.v : 0;
      if (on_part_[i - probes_]) gap += kPartVaries;
      double raised = 0;
      if (is_carried(i)) {
        raised = floats ? moving_->stroke.v + moving_->at_rest().v / spring_rate(*moving_) : moment.raised;
        if (floats) out.carried[i] = 1;
      }
      out.touch[i] = up * (raised - off - gap);
    }
  }
  out.pressure = MPa{in_.option.option.main == Side::bottom ? -moment.pressure : moment.pressure};
  return out;
}

}  // namespace mechanics

}  // namespace teasel
