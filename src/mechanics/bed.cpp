#include "bed.h"

#include <cmath>
#include <map>
#include <set>

#include "teasel/enums.h"
#include "teasel/parallel.h"

namespace teasel {

const char* to_string(FreeShape shape) {
  static constexpr Words<FreeShape> kShapes{"flat", "bowed up", "bowed down", "twisted", "twisted the other way"};
  return kShapes[shape];
}

Microstrain strain_limit_at_rate(Mm thickness, StrainRate rate) {
  constexpr double kLeast = 100, kMost = 20'000;  // microstrain a second
  return Microstrain{std::sqrt(2.35 / thickness.v) * (1900 - 300 * std::log10(std::clamp(rate.v, kLeast, kMost)))};
}

const PressedState* Mechanics::at_full_stroke() const {
  for (const PressedState& state : states)
    if (state.name == mechanics::kFullStroke) return &state;
  return nullptr;
}

namespace mechanics {

namespace {
constexpr double kBarMPa = 0.1;
constexpr Mm kLargeHole{6};  // smaller holes do not change how a board bends
}  // namespace

Microstrain strain_limit(const Planned& in) {
  return in.job.mechanics.strain_limit.value_or(in.rules.mechanics.strain_limit);
}
bool is_sensitive(const Component& c) {
  return c.area_array || (c.features.size() == 2 && reference_letters(c.name) == "C");
}
MPa vacuum_of(const Planned& in) {
  return in.kit ? MPa{in.kit->vacuum.v * kBarMPa * in.rules.mechanics.vacuum_share} : MPa{};
}

std::vector<Stage> stages_of(const Planned& in) {
  std::vector<Stage> out = {{"first touch", 0, false}, {"half way", 0.5, false}, {kFullStroke, 1, false}};
  if (std::any_of(in.option.probes.begin(), in.option.probes.end(),
                  [](const PlacedProbe& probe) { return probe.long_travel; }))
    out.push_back({"half stage", 0.5, true});
  return out;
}

BedModel::BedModel(const Planned& in, std::vector<PlacedSupport> supports, Mm mesh_size, bool fine)
    : in_(in), supports_(std::move(supports)) {
  const MechanicsRules& rules = in.rules.mechanics;
  const JobMechanics& job = in.job.mechanics;
  stiffness_ = {.thickness = in.board.thickness,
                .modulus = job.modulus.value_or(rules.modulus),
                .modulus_across = job.modulus_across.value_or(job.modulus ? MPa{} : rules.modulus_across),
                .poisson = rules.poisson,
                .shear = MPa{}};
  Polygons board = in.board.pieces.empty() ? Polygons{in.board.outline} : in.board.pieces;
  Polygons holes;
  for (const BoardHole& hole : in.board.holes)
    if (hole.diameter >= kLargeHole && !hole.slot) holes.push_back({circle(hole.at, hole.diameter.v / 2), {}});
  if (!holes.empty()) board = subtract(board, holes);
  add_contacts(board, mesh_size, fine);
  if (!ok()) return;
  add_gauges();
  for (std::size_t k = 0; k < shapes_.size(); ++k) shapes_[k] = shape_by_node(static_cast<FreeShape>(k));
}

namespace {
/// A contact with the place and the radius of its foot.
struct Foot {
  PressContact contact;
  Point centre;
  double radius;
};
constexpr std::size_t kRing = 6;  // nodes about a foot, over which half of its load is spread

std::vector<Foot> feet_of(const Planned& in, const std::vector<PlacedSupport>& supports, bool fine) {
  std::vector<Foot> out;
  for (const PlacedProbe& probe : in.option.probes) {
    const Target& target = in.access.targets[probe.target];
    const ProbeClass& probe_class = in.catalogue.classes[probe.probe_class];
    PressContact contact;
    contact.from_below = target.side == Side::bottom;
    const double force = force_on(in.rules, target, probe_class).v;
    contact.preload = Newton{force * in.rules.mechanics.preload_share};
    contact.rate = NewtonPerMm{(force - contact.preload.v) / probe_class.working_travel.v};
    contact.full = probe_class.full_travel;
    contact.linear = !fine;
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

void BedModel::add_contacts(const Polygons& board, Mm mesh_size, bool fine) {
  std::vector<Foot> feet = feet_of(in_, supports_, fine);
  probes_ = in_.option.probes.size();
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
  press_ = std::make_unique<PressedPlate>(std::move(mesh), stiffness_, std::move(contacts));
}

/// Triangles of a mesh by cells of a grid, to find those near a place.
class TriangleCells {
 public:
  TriangleCells(const PlateMesh& mesh, double cell) : mesh_(mesh), cell_(cell), middle_(mesh.triangles.size()) {
    for (std::size_t i = 0; i < middle_.size(); ++i) {
      const auto [a, b, c] = corners(i);
      middle_[i] = (1.0 / 3) * (a + b + c);
      cells_[key(middle_[i])].push_back(i);
    }
  }
  [[nodiscard]] const PlateMesh& mesh() const { return mesh_; }
  /// Triangles whose middle lies within the radius, each with its area; the nearest alone, with weight 1, if none does.
  [[nodiscard]] std::vector<std::pair<std::size_t, double>> around(Point place, double radius) const {
    std::vector<std::pair<std::size_t, double>> out;
    double least = INFINITY;
    std::size_t nearest = mesh_.triangles.size();
    const auto [column, row] = key(place);
    for (long y = row - 1; y <= row + 1; ++y)
      for (long x = column - 1; x <= column + 1; ++x) {
        const auto cell = cells_.find({x, y});
        if (cell == cells_.end()) continue;
        for (const std::size_t i : cell->second) {
          const double away = distance(middle_[i], place);
          if (away < least) {
            least = away;
            nearest = i;
          }
          if (away > radius) continue;
          const auto [a, b, c] = corners(i);
          out.emplace_back(i, cross(b - a, c - a) / 2);
        }
      }
    if (out.empty() && nearest < mesh_.triangles.size()) out.emplace_back(nearest, 1);
    return out;
  }

 private:
  [[nodiscard]] std::array<Point, 3> corners(std::size_t i) const {
    const auto& nodes = mesh_.triangles[i];
    auto node = [&](std::size_t k) { return mesh_.nodes[static_cast<std::size_t>(nodes[k])]; };
    return {node(0), node(1), node(2)};
  }
  [[nodiscard]] std::pair<long, long> key(Point p) const {
    return {static_cast<long>(std::floor(p.x / cell_)), static_cast<long>(std::floor(p.y / cell_))};
  }
  const PlateMesh& mesh_;
  double cell_;
  std::vector<Point> middle_;
  std::map<std::pair<long, long>, std::vector<std::size_t>> cells_;
};

void BedModel::add_gauge(ComponentId component, BoardPoint corner, const TriangleCells& cells) {
  const Component& c = in_.board.components[component];
  Gauge gauge;
  gauge.component = component;
  gauge.at = corner;
  Microstrain limit = strain_limit(in_);
  // A plain name means the part on every board of a panel; one with its place, the part on that board alone.
  const auto& limits = in_.job.mechanics.part_limits;
  const auto here = limits.find(c.name), everywhere = limits.find(c.name.plain());
  if (here != limits.end())
    limit = here->second;
  else if (everywhere != limits.end())
    limit = everywhere->second;
  gauge.limit = 1e-6 * limit.v;
  gauge.triangles = cells.around(corner, in_.rules.mechanics.gauge.v / 2);
  double sum = 0;
  for (const auto& [triangle, weight] : gauge.triangles) sum += weight;
  for (auto& [triangle, weight] : gauge.triangles) {
    weight /= sum;
    const auto terms = curvature_terms(cells.mesh(), triangle);
    for (std::size_t k = 0; k < 3; ++k)
      for (const Term& term : terms[k]) gauge.curvature[k].push_back({term.unknown, weight * term.weight});
  }
  if (!gauge.triangles.empty()) gauges_.push_back(std::move(gauge));
}

void BedModel::add_gauges() {
  const MechanicsRules& rules = in_.rules.mechanics;
  const TriangleCells cells(press_->plate().mesh(), std::max(rules.mesh.v, 2 * (rules.gauge.v / 2)));
  const Polygons pieces = in_.board.pieces.empty() ? Polygons{in_.board.outline} : in_.board.pieces;
  for (const ComponentId id : in_.board.components.ids()) {
    const Component& component = in_.board.components[id];
    if (!component.fitted || component.cover || component.body.empty()) continue;
    const Box box = bounds(component.body);
    for (const Point corner : {Point{box.x0, box.y0}, {box.x1, box.y0}, {box.x1, box.y1}, {box.x0, box.y1}})
      if (contains(pieces, corner)) add_gauge(id, corner, cells);
  }
}

Curvature BedModel::curvature(const Gauge& gauge, const std::vector<double>& unknowns) {
  return {value(gauge.curvature[0], unknowns), value(gauge.curvature[1], unknowns),
          value(gauge.curvature[2], unknowns)};
}

double BedModel::elongation(const Gauge& gauge, const std::vector<double>& unknowns) const {
  return curvature(gauge, unknowns).elongation(stiffness_.thickness);
}

std::vector<double> BedModel::shape_by_node(FreeShape shape) const {
  if (shape == FreeShape::flat) return {};
  const Box box = bounds(in_.board.outline.outer);
  const double diagonal = std::hypot(box.width(), box.height()), size = in_.rules.mechanics.bow_twist * diagonal;
  const Point mid = box.centre();
  std::vector<double> out;
  for (const Point node : press_->plate().mesh().nodes) {
    // Bow: a parabola along the longer side, its ends in the plane. Twist: opposite corners up, the others down, half
    // each.
    const double u =
        box.width() >= box.height() ? (node.x - mid.x) / (box.width() / 2) : (node.y - mid.y) / (box.height() / 2);
    const double v = (node.x - mid.x) / (box.width() / 2) * (node.y - mid.y) / (box.height() / 2);
    switch (shape) {
      case FreeShape::bowed_up: out.push_back(size * (1 - u * u)); break;
      case FreeShape::bowed_down: out.push_back(-size * (1 - u * u)); break;
      case FreeShape::twisted: out.push_back(size / 2 * v); break;
      case FreeShape::twisted_back: out.push_back(-size / 2 * v); break;
      case FreeShape::flat: break;
    }
  }
  return out;
}

PressState BedModel::state(const Stage& stage, FreeShape shape, const std::vector<char>& present) const {
  PressState out;
  const std::size_t count = press_->contacts().size();
  out.touch.assign(count, 0);
  out.present.assign(count, 0);
  out.shape = shapes_[static_cast<std::size_t>(shape)];
  // A lid turns about its hinge: its plates are nearer to the board on that side until it is closed.
  const bool lid = in_.kit && in_.kit->hinge_y && in_.option.option.sides.is_both();
  const auto to_kit = board_to_kit(in_);
  const double middle_from_hinge = lid ? in_.kit->hinge_y->v - to_kit(bounds(in_.board.outline.outer).centre()).y : 0;
  auto remaining = [&](const StylePlate& plate, BoardPoint place) {
    const double slant = lid && !plate.lower && middle_from_hinge > 0
                             ? std::max(0.0, in_.kit->hinge_y->v - to_kit(place).y) / middle_from_hinge
                             : 1;
    return (1 - stage.share) * (plate.at_touch.v - plate.at_work.v) * slant;
  };
  PerSide<const StylePlate*> probe_plate, holder;
  for (const Side side : kBothSides) {
    for (const StylePlate& plate : in_.style.plates)
      if (!probe_plate[side] && plate.kind == PlateKind::probe && faces(in_, plate.lower) == side &&
          is_built(in_, plate))
        probe_plate[side] = &plate;
    holder[side] = carrier(in_, side);
  }
  for (std::size_t i = 0; i < count; ++i) {
    if (!known_[i]) continue;
    const double up = press_->contacts()[i].from_below ? 1 : -1;
    const Side side = press_->contacts()[i].from_below ? Side::bottom : Side::top;
    if (i < probes_) {
      const PlacedProbe& probe = in_.option.probes[ProbeId{i}];
      if (!probe_plate[side] || (stage.long_only && !probe.long_travel)) continue;
      out.present[i] = 1;
      // How far a relaxed tip would stand in the board's plane.
      out.touch[i] = up * (in_.catalogue.classes[probe.probe_class].working_travel.v -
                           (stage.long_only ? 0 : remaining(*probe_plate[side], in_.access.spots[probe.spot].at)));
    } else if (const PlacedSupport& support = supports_[i - probes_]; present[i - probes_] && holder[side]) {
      out.present[i] = 1;
      // A finger may stand too low by the gap; stops set the plane.
      out.touch[i] =
          -up * (remaining(*holder[side], support.at) + (support.finger ? in_.rules.mechanics.support_gap.v : 0));
    }
  }
  // Vacuum grows as the probes do.
  const double least = in_.rules.mechanics.preload_share;
  out.pressure =
      MPa{vacuum_of(in_).v * (in_.option.option.main == Side::bottom ? -1 : 1) * (least + (1 - least) * stage.share)};
  return out;
}

}  // namespace mechanics

namespace {
using namespace mechanics;

/// The board pressed from one free shape.
struct Solved {
  ContactForces forces;
  std::vector<double> bending;
  std::vector<double> strains;  // by gauge, as shares of the length
};

void find_feet_near(const Planned& in, OverStrained& over) {
  for (const Side side : kBothSides)
    for (const BoardPoint place : free_places(in, side, side != in.option.option.main)) {
      std::optional<Mm>& nearest = over.nearest[side];
      nearest = std::min(nearest.value_or(Mm{INFINITY}), Mm{distance(place, over.at)});
    }
}

/// The worst over all free shapes: travels, forces, strain.
void worst_of_shapes(const BedModel& model, const std::vector<Solved>& shapes, PressedState& out) {
  const std::size_t probes = model.probes(), supports = model.supports().size();
  out.least_travel.assign(probes, Mm{INFINITY});
  out.most_travel.assign(probes, Mm{-INFINITY});
  out.probe_force.assign(probes, Newton{});
  out.support_force.assign(supports, Newton{});
  out.support_idle.assign(supports, 1);
  double strain = 0;
  for (std::size_t k = 0; k < shapes.size(); ++k) {
    const Solved& solved = shapes[k];
    out.settled &= solved.forces.settled;
    for (const ProbeId probe : out.least_travel.ids()) {
      const std::size_t i = probe.index();
      out.least_travel[probe] = std::min(out.least_travel[probe], Mm{solved.forces.travel[i]});
      out.most_travel[probe] = std::max(out.most_travel[probe], Mm{solved.forces.travel[i]});
      out.probe_force[probe] = std::max(out.probe_force[probe], Newton{solved.forces.force[i]});
    }
    for (std::size_t i = 0; i < supports; ++i) {
      out.support_force[i] = std::max(out.support_force[i], Newton{solved.forces.force[probes + i]});
      if (solved.forces.force[probes + i] > 0.01) out.support_idle[i] = 0;
    }
    const double worst = solved.strains.empty() ? 0 : *std::max_element(solved.strains.begin(), solved.strains.end());
    if (k == 0 || worst > strain) {
      strain = worst;
      out.worst = static_cast<FreeShape>(k);
    }
  }
  out.strain = Microstrain{strain * 1e6};
}

/// Forces and how far a flat board leaves its plane.
void of_flat_board(const Planned& in, const BedModel& model, const Solved& flat, PressedState& out) {
  const PlateMesh& mesh = model.press().plate().mesh();
  for (std::size_t i = 0; i < mesh.nodes.size(); ++i) {
    const Mm height{flat.bending[3 * i]};
    if (height > out.up) {
      out.up = height;
      out.up_at = mesh.nodes[i];
    }
    if (height < -out.down) {
      out.down = -height;
      out.down_at = mesh.nodes[i];
    }
  }
  Point sum;
  double net = 0;
  for (const ProbeId probe : in.option.probes.ids()) {
    const std::size_t i = probe.index();
    const double force = flat.forces.force[i] * (model.press().contacts()[i].from_below ? 1 : -1);
    (force > 0 ? out.pushed_up : out.pushed_down) += Newton{std::abs(force)};
    net += force;
    sum = sum + force * in.access.spots[in.option.probes[probe].spot].at;
  }
  for (std::size_t i = 0; i < model.supports().size(); ++i) out.held += Newton{flat.forces.force[model.probes() + i]};
  // Two beds that push nearly as hard against one another turn the board, but have no middle on it.
  constexpr double kClear = 0.05;
  if (std::abs(net) > kClear * (out.pushed_up + out.pushed_down).v) out.middle = (1 / net) * sum;
  if (in.kit) {
    const auto to_kit = board_to_kit(in);
    const KitPoint zero = to_kit(BoardPoint{});
    const Point turned = to_kit(sum) - zero, origin = zero - in.kit->press_at;
    out.moment = NewtonMm{length(turned + net * origin)};
  }
}

PressedState summary(const Planned& in, const BedModel& model, const Stage& stage, const std::vector<Solved>& shapes) {
  PressedState out;
  out.name = stage.name;
  worst_of_shapes(model, shapes, out);
  const std::vector<double>& bent = shapes[static_cast<std::size_t>(out.worst)].bending;
  for (const Curvature& curvature : model.press().plate().curvature_at_nodes(bent))
    out.surface_strain.push_back(curvature.strain(model.stiffness().thickness));
  const std::vector<double>& shape = model.free_shape(out.worst);
  for (std::size_t i = 0; i < model.press().plate().mesh().nodes.size(); ++i)
    out.deflection.emplace_back(bent[3 * i] + (shape.empty() ? 0 : shape[i]));
  of_flat_board(in, model, shapes[0], out);
  return out;
}

/// The first side pushed by probes that nothing holds from the other one.
std::optional<Side> not_held(const Planned& in, const std::vector<PlacedSupport>& supports) {
  if (vacuum_of(in) > MPa{}) return std::nullopt;
  for (const Side pushed : {Side::bottom, Side::top}) {
    const auto on = [&](Side side) {
      return std::any_of(in.option.probes.begin(), in.option.probes.end(),
                         [&](const PlacedProbe& probe) { return in.access.targets[probe.target].side == side; });
    };
    const bool held = std::any_of(supports.begin(), supports.end(),
                                  [&](const PlacedSupport& support) { return support.side == other(pushed); });
    if (on(pushed) && !on(other(pushed)) && !held) return pushed;
  }
  return std::nullopt;
}

/// The worst that a part's corners see over all states and shapes, as shares of the length.
struct WorstCorner {
  double strain{}, limit{};
  std::string state;
  BoardPoint at;
};
using WorstCorners = std::map<ComponentId, WorstCorner>;

/// All free shapes in one state of the press.
std::vector<Solved> solve_stage(const BedModel& model, const Stage& stage, const std::vector<char>& present) {
  std::vector<Solved> shapes(kFreeShapes);
  auto solve = [&](std::size_t k) {
    const PressState state = model.state(stage, static_cast<FreeShape>(k), present);
    const PreparedState prepared = model.press().prepare(state);
    Solved& solved = shapes[k];
    solved.forces = model.press().solve(prepared, state.present, k == 0 ? std::vector<char>{} : shapes[0].forces.does);
    solved.bending = model.press().bending(prepared, solved.forces);
    for (const Gauge& gauge : model.gauges()) solved.strains.push_back(model.elongation(gauge, solved.bending));
  };
  // Bent boards do much as a flat one does.
  solve(0);
  parallel_for(
      shapes.size() - 1, [&](std::size_t k) { solve(k + 1); }, 1);
  return shapes;
}

void note_strains(const Planned& in, const BedModel& model, const Stage& stage, const std::vector<Solved>& shapes,
                  WorstCorners& worst) {
  const Seconds closing = in.job.mechanics.closing;
  for (const Solved& solved : shapes)
    for (std::size_t i = 0; i < model.gauges().size(); ++i) {
      const Gauge& gauge = model.gauges()[i];
      const double strain = solved.strains[i];
      double limit = gauge.limit;
      // A limit by rate: from nothing to this strain within the closing time.
      if (closing > Seconds{})
        limit = std::min(
            limit, 1e-6 * strain_limit_at_rate(model.stiffness().thickness, StrainRate{strain / closing.v * 1e6}).v);
      const auto [it, first] = worst.try_emplace(gauge.component);
      if (first || strain / limit > it->second.strain / it->second.limit)
        it->second = {strain, limit, stage.name, gauge.at};
    }
}

/// What a flat board bears at full stroke.
void judge_flat_board(const Planned& in, const BedModel& model, const Solved& flat, Mechanics& out) {
  out.flat_holds = true;
  double most = 0, over = 0;
  for (std::size_t i = 0; i < model.gauges().size(); ++i) {
    const Gauge& gauge = model.gauges()[i];
    const double strain = flat.strains[i];
    most = std::max(most, strain);
    if (strain <= gauge.limit) continue;
    out.flat_holds = false;
    if (out.over && strain / gauge.limit <= over) continue;
    over = strain / gauge.limit;
    out.over = {.component = gauge.component,
                .at = gauge.at,
                .strain = Microstrain{strain * 1e6},
                .limit = Microstrain{gauge.limit * 1e6},
                .nearest = {}};
  }
  out.flat_strain = Microstrain{most * 1e6};
  if (out.over) find_feet_near(in, *out.over);
  for (const ProbeId probe : in.option.probes.ids()) {
    const ProbeClass& probe_class = in.catalogue.classes[in.option.probes[probe].probe_class];
    const Mm travel{flat.forces.travel[probe.index()]};
    out.flat_holds &= travel >= probe_class.least_travel && travel <= probe_class.most_travel;
  }
}

/// Sensitive parts first, then by their share of the limit.
std::vector<PartStrain> strained_parts(const Planned& in, const WorstCorners& worst) {
  std::vector<std::pair<double, PartStrain>> order;
  for (const auto& [component, corner] : worst)
    order.emplace_back(corner.strain / corner.limit,
                       PartStrain{.component = component,
                                  .sensitive = is_sensitive(in.board.components[component]),
                                  .strain = Microstrain{corner.strain * 1e6},
                                  .limit = Microstrain{corner.limit * 1e6},
                                  .state = corner.state,
                                  .at = corner.at});
  std::stable_sort(order.begin(), order.end(), [](const auto& a, const auto& b) {
    return a.second.sensitive != b.second.sensitive ? a.second.sensitive : a.first > b.first;
  });
  std::vector<PartStrain> out;
  for (auto& [share, part] : order) out.push_back(std::move(part));
  return out;
}

Place of_mechanics(const Planned& in) {
  return {in.job.file, 0, 0, "mechanics"};
}

/// Says that nothing holds the board against the probes that push this side.
void tell_not_held(const Planned& in, Side pushed, Mechanics& out, Diagnostics& diagnostics) {
  const char* side = to_string(other(pushed));
  out.not_held = true;
  out.why_not = std::string("nothing holds the ") + side + " side down: there is no free place for a push finger";
  diagnostics.warn(
      {.code = "mechanics-not-held",
       .at = of_mechanics(in),
       .message = "nothing holds the board down against its probes: there is no free place for a push finger on the " +
                  std::string(side) + " side",
       .found = std::to_string(in.option.probes.size()) + " probes",
       .remedy = "place push fingers by hand with  [[support]], if need be on parts that can bear them, or use a "
                 "vacuum box"});
}

/// Every state on these supports.
Mechanics press(const Planned& in, std::vector<PlacedSupport> supports, Diagnostics& diagnostics) {
  Mechanics out;
  out.limit = strain_limit(in);
  out.supports = std::move(supports);
  if (const auto pushed = not_held(in, out.supports)) {
    tell_not_held(in, *pushed, out, diagnostics);
    return out;
  }
  const BedModel model(in, out.supports, in.rules.mechanics.mesh, true);
  if (!model.ok()) {
    out.why_not = "the board's outline could not be meshed";
    diagnostics.warn({.code = "mechanics-no-mesh",
                      .at = of_mechanics(in),
                      .message = "the bending of the board was not worked out: its outline could not be meshed",
                      .found = in.board.outline.outer.size() < 3
                                   ? "no outline"
                                   : "outline of " + std::to_string(in.board.outline.outer.size()) + " points"});
    return out;
  }
  out.used = true;
  out.stiffness = model.stiffness();
  out.mesh = model.press().plate().mesh();
  if (!out.mesh.complete)
    diagnostics.warn({.code = "mechanics-coarse",
                      .at = of_mechanics(in),
                      .message = "the board's outline has so much fine detail that its mesh is coarse in places; the "
                                 "strains given there are too low",
                      .found = std::to_string(out.mesh.nodes.size()) + " nodes"});
  const std::vector<char> all(out.supports.size(), 1);
  WorstCorners worst;
  for (const Stage& stage : stages_of(in)) {
    const std::vector<Solved> shapes = solve_stage(model, stage, all);
    note_strains(in, model, stage, shapes, worst);
    out.states.push_back(summary(in, model, stage, shapes));
    if (stage.share < 1) continue;
    lifted_regions(shapes[0].bending, out);
    judge_flat_board(in, model, shapes[0], out);
  }
  out.parts = strained_parts(in, worst);
  const PressedState* full = out.at_full_stroke();
  for (const ProbeId probe : in.option.probes.ids()) {
    const ProbeClass& probe_class = in.catalogue.classes[in.option.probes[probe].probe_class];
    if (full->least_travel[probe] < probe_class.least_travel || full->most_travel[probe] > probe_class.most_travel)
      out.lost.push_back(probe);
  }
  out.limits_hold = out.lost.empty() && std::none_of(worst.begin(), worst.end(), [](const auto& entry) {
                      return entry.second.strain > entry.second.limit;
                    });
  vacuum_margins(in, out);
  scrub_of(in, out);
  return out;
}

/// The board that was on the fixture before bore no less.
bool as_good_as_before(const Mechanics& mechanics, const StandingFixture& fixture) {
  constexpr double kSame = 1.02;
  if (!mechanics.used || (fixture.limits_held && !mechanics.limits_hold) ||
      (fixture.flat_held && !mechanics.flat_holds))
    return false;
  return mechanics.flat_holds || (mechanics.flat_strain <= kSame * fixture.flat_strain &&
                                  static_cast<int>(mechanics.lost.size()) <= fixture.lost);
}
}  // namespace

Mechanics work_out_mechanics(const Planned& in, Diagnostics& diagnostics, bool wanted) {
  Mechanics out;
  const bool outline = !in.board.outline_assumed && in.board.outline.outer.size() >= 3;
  const bool asked = wanted && in.job.mechanics.used;
  if (!asked || !outline) {
    out.why_not = asked ? "the outline of the board is not known" : "the job or the command line leaves it out";
    out.supports = supports_by_reach(in, diagnostics);
    return out;
  }
  if (in.standing.used && in.job.mechanics.lay_out_supports) {
    Diagnostics own;
    out = press(in, supports_there(in, own), own);
    if (as_good_as_before(out, in.standing)) {
      diagnostics.merge(own);
      return out;
    }
  }
  std::size_t candidates = 0;
  std::vector<PlacedSupport> supports =
      in.job.mechanics.lay_out_supports ? lay_out(in, candidates, diagnostics) : supports_by_reach(in, diagnostics);
  out = press(in, std::move(supports), diagnostics);
  out.candidates = candidates;
  return out;
}

std::vector<std::pair<ProbeId, std::string>> reasons_of_lost(const Mechanics& mechanics, const Planned& in) {
  std::vector<std::pair<ProbeId, std::string>> out;
  const PressedState* state = mechanics.at_full_stroke();
  for (const ProbeId lost : mechanics.lost) {
    const ProbeClass& probe_class = in.catalogue.classes[in.option.probes[lost].probe_class];
    const Mm least = state->least_travel[lost], most = state->most_travel[lost];
    if (least < probe_class.least_travel)
      out.emplace_back(lost, "has only " + short_number(least.v, 2) +
                                 " mm of travel where the board bends, but needs " +
                                 short_number(probe_class.least_travel.v, 2) + " mm");
    else
      out.emplace_back(lost, "is pressed in by " + short_number(most.v, 2) +
                                 " mm where the board bends, but bears at most " +
                                 short_number(probe_class.most_travel.v, 2) + " mm");
  }
  return out;
}

}  // namespace teasel
