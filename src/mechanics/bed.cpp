#include "bed.h"

#include <cmath>
#include <map>
#include <set>

#include "teasel/parallel.h"

namespace teasel {

const char* to_string(FreeShape s) {
  static const char* names[] = {"flat", "bowed up", "bowed down", "twisted", "twisted the other way"};
  return names[static_cast<int>(s)];
}

double strain_limit_at_rate(double thickness, double rate) {
  constexpr double kLeast = 100, kMost = 20'000;  // microstrain a second
  return 1e-6 * std::sqrt(2.35 / thickness) * (1900 - 300 * std::log10(std::clamp(rate * 1e6, kLeast, kMost)));
}

const PressedState* Mechanics::at_full_stroke() const {
  for (const PressedState& s : states)
    if (s.name == mechanics::kFullStroke) return &s;
  return nullptr;
}

namespace mechanics {

namespace {
constexpr double kBarMPa = 0.1;
constexpr double kLargeHole = 6;  // mm: smaller holes do not change how a board bends
}  // namespace

double strain_limit(const BedInputs& in) {
  return in.job.strain_limit.value_or(in.rules.mechanics.strain_limit);
}
bool is_sensitive(const Component& c) {
  return c.area_array || (c.features.size() == 2 && !c.name.empty() && c.name[0] == 'C' && c.name.size() > 1 &&
                          c.name[1] >= '0' && c.name[1] <= '9');
}
double vacuum_of(const BedInputs& in) {
  return in.kit ? in.kit->vacuum_bar * kBarMPa * in.rules.mechanics.vacuum_share : 0;
}

std::vector<Stage> stages_of(const BedInputs& in) {
  std::vector<Stage> out = {{"first touch", 0, false}, {"half way", 0.5, false}, {kFullStroke, 1, false}};
  if (std::any_of(in.option.probes.begin(), in.option.probes.end(), [](const PlacedProbe& p) { return p.long_travel; }))
    out.push_back({"half stage", 0.5, true});
  return out;
}

BedModel::BedModel(const BedInputs& in, std::vector<PlacedSupport> supports, double mesh_size, bool fine)
    : in_(in), supports_(std::move(supports)) {
  const MechanicsRules& m = in.rules.mechanics;
  stiffness_ = {in.board.thickness, in.job.modulus.value_or(m.modulus),
                in.job.modulus_across.value_or(in.job.modulus ? 0 : m.modulus_across), m.poisson, 0};
  Polygons board = in.board.pieces.empty() ? Polygons{in.board.outline} : in.board.pieces;
  Polygons holes;
  for (const BoardHole& h : in.board.holes)
    if (h.diameter >= kLargeHole && !h.slot) holes.push_back({circle(h.at, h.diameter / 2), {}});
  if (!holes.empty()) board = subtract(board, holes);
  add_contacts(board, mesh_size, fine);
  if (!ok()) return;
  add_gauges();
  for (int s = 0; s < kFreeShapes; ++s) shapes_[at(s)] = shape_by_node(static_cast<FreeShape>(s));
}

void BedModel::add_contacts(const Polygons& board, double mesh_size, bool fine) {
  std::vector<PressContact> contacts;
  std::vector<Point> centre;
  std::vector<double> radius;
  for (const PlacedProbe& p : in_.option.probes) {
    const Target& t = in_.access.targets[at(p.target)];
    const ProbeClass& c = in_.catalogue.classes[at(p.probe_class)];
    PressContact x;
    x.from_below = t.side == Side::bottom;
    const double force = force_on(in_.rules, t, c).v;
    x.preload = force * in_.rules.mechanics.preload_share;
    x.rate = (force - x.preload) / c.working_travel.v;
    x.full = c.full_travel.v;
    x.linear = !fine;
    contacts.push_back(std::move(x));
    centre.push_back(in_.access.spots[at(p.spot)].at);
    radius.push_back(c.tip_diameter.v / 2);
  }
  probes_ = contacts.size();
  for (const PlacedSupport& s : supports_) {
    PressContact x;
    x.from_below = s.side == Side::bottom;
    contacts.push_back(std::move(x));
    centre.push_back(s.at);
    radius.push_back((s.finger ? in_.rules.finger_diameter.v : in_.style.stop_diameter.v) / 2);
  }
  std::vector<Point> points = centre;
  constexpr int kRing = 6;
  std::vector<std::size_t> ring(centre.size(), 0);
  if (fine)
    for (std::size_t i = 0; i < centre.size(); ++i) {
      double r = equivalent_radius(radius[i], stiffness_.thickness);
      for (std::size_t j = 0; j < centre.size(); ++j)
        if (const double d = distance(centre[i], centre[j]); j != i && d > 1e-6) r = std::min(r, 0.4 * d);
      if (!contains(board, centre[i]) || distance_to_boundary(board, centre[i]) < 1.5 * r) continue;
      ring[i] = points.size();
      for (int k = 0; k < kRing; ++k)
        points.push_back(centre[i] + r * Point{std::cos(k * std::acos(-1) / 3), std::sin(k * std::acos(-1) / 3)});
    }
  PlateMesh mesh = mesh_plate(board, points, mesh_size);
  if (mesh.triangles.empty()) return;
  auto nearest_node = [&](Point p) {
    int best = -1;
    double d = 3;  // mm: what stands farther from the board does not touch it
    for (std::size_t n = 0; n < mesh.nodes.size(); ++n)
      if (const double l = distance(p, mesh.nodes[n]); l < d) {
        d = l;
        best = static_cast<int>(n);
      }
    return best;
  };
  known_.assign(contacts.size(), 1);
  for (std::size_t i = 0; i < contacts.size(); ++i) {
    int n = mesh.node_of[i];
    if (n < 0) n = nearest_node(centre[i]);
    if (n < 0) {
      known_[i] = 0;
      contacts[i].rate = 0;
      contacts[i].patch = {{0, 1}};
      continue;
    }
    bool whole = ring[i] > 0;
    for (int k = 0; whole && k < kRing; ++k) whole = mesh.node_of[ring[i] + at(k)] >= 0;
    if (!whole) {
      contacts[i].patch = {{n, 1}};
      continue;
    }
    // Half in the middle, half on the ring: the second moment of an even load on the disc.
    contacts[i].patch = {{n, 0.5}};
    for (int k = 0; k < kRing; ++k) contacts[i].patch.push_back({mesh.node_of[ring[i] + at(k)], 0.5 / kRing});
  }
  press_ = std::make_unique<PressedPlate>(std::move(mesh), stiffness_, std::move(contacts));
}

void BedModel::add_gauges() {
  const PlateMesh& m = press_->plate().mesh();
  const double radius = in_.rules.mechanics.gauge.v / 2, fixed = strain_limit(in_);
  // Triangles by cells, to find those near a corner.
  const double cell = std::max(in_.rules.mechanics.mesh.v, 2 * radius);
  std::map<std::pair<long, long>, std::vector<std::size_t>> cells;
  std::vector<Point> middle(m.triangles.size());
  auto key = [&](Point p) {
    return std::pair(static_cast<long>(std::floor(p.x / cell)), static_cast<long>(std::floor(p.y / cell)));
  };
  for (std::size_t t = 0; t < m.triangles.size(); ++t) {
    const Point a = m.nodes[at(m.triangles[t][0])], b = m.nodes[at(m.triangles[t][1])],
                c = m.nodes[at(m.triangles[t][2])];
    middle[t] = (1.0 / 3) * (a + b + c);
    cells[key(middle[t])].push_back(t);
  }
  const Polygons pieces = in_.board.pieces.empty() ? Polygons{in_.board.outline} : in_.board.pieces;
  for (std::size_t i = 0; i < in_.board.components.size(); ++i) {
    const Component& c = in_.board.components[i];
    if (!c.fitted || c.cover || c.body.empty()) continue;
    const Box b = bounds(c.body);
    for (const Point p : {Point{b.x0, b.y0}, {b.x1, b.y0}, {b.x1, b.y1}, {b.x0, b.y1}}) {
      if (!contains(pieces, p)) continue;
      Gauge g;
      g.component = static_cast<int>(i);
      g.at = p;
      g.limit = fixed;
      if (const auto own = in_.job.component_strain.find(c.name); own != in_.job.component_strain.end())
        g.limit = own->second;
      double sum = 0, nearest = INFINITY;
      std::size_t next = m.triangles.size();
      const auto [cx, cy] = key(p);
      for (long y = cy - 1; y <= cy + 1; ++y)
        for (long x = cx - 1; x <= cx + 1; ++x)
          if (const auto it = cells.find({x, y}); it != cells.end())
            for (const std::size_t t : it->second) {
              const double d = distance(middle[t], p);
              if (d < nearest) {
                nearest = d;
                next = t;
              }
              if (d > radius) continue;
              const Point a = m.nodes[at(m.triangles[t][0])], e = m.nodes[at(m.triangles[t][1])],
                          f = m.nodes[at(m.triangles[t][2])];
              g.triangles.emplace_back(t, cross(e - a, f - a) / 2);
              sum += g.triangles.back().second;
            }
      if (g.triangles.empty() && next < m.triangles.size()) {
        g.triangles.emplace_back(next, 1);
        sum = 1;
      }
      for (auto& [t, w] : g.triangles) {
        w /= sum;
        const auto terms = curvature_terms(m, t);
        for (std::size_t k = 0; k < 3; ++k)
          for (const Term& x : terms[k]) g.curvature[k].push_back({x.unknown, w * x.weight});
      }
      if (!g.triangles.empty()) gauges_.push_back(std::move(g));
    }
  }
}

Curvature BedModel::curvature(const Gauge& g, const std::vector<double>& u) {
  return {value(g.curvature[0], u), value(g.curvature[1], u), value(g.curvature[2], u)};
}

double BedModel::strain(const Gauge& g, const std::vector<double>& u) const {
  return curvature(g, u).strain(stiffness_.thickness);
}

std::vector<double> BedModel::shape_by_node(FreeShape shape) const {
  if (shape == FreeShape::flat) return {};
  const Box b = bounds(in_.board.outline.outer);
  const double diagonal = std::hypot(b.width(), b.height()), size = in_.rules.mechanics.bow_twist * diagonal;
  const Point mid = b.centre();
  std::vector<double> out;
  for (const Point n : press_->plate().mesh().nodes) {
    // Bow: a parabola along the longer side, its ends in the plane. Twist: opposite corners up, the others down, half
    // each.
    const double u = b.width() >= b.height() ? (n.x - mid.x) / (b.width() / 2) : (n.y - mid.y) / (b.height() / 2);
    const double v = (n.x - mid.x) / (b.width() / 2) * (n.y - mid.y) / (b.height() / 2);
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
  PressState s;
  const std::size_t m = press_->contacts().size();
  s.touch.assign(m, 0);
  s.present.assign(m, 0);
  s.shape = shapes_[static_cast<std::size_t>(shape)];
  // A lid turns about its hinge: its plates are nearer to the board on that side until it is closed.
  const bool lid = in_.kit && in_.kit->hinge_y && in_.option.option.bottom && in_.option.option.top;
  const Affine to_kit = board_to_kit(in_);
  const double middle_from_hinge = lid ? in_.kit->hinge_y->v - to_kit(bounds(in_.board.outline.outer).centre()).y : 0;
  auto remaining = [&](const StylePlate& p, Point place) {
    const double slant = lid && !p.lower && middle_from_hinge > 0
                             ? std::max(0.0, in_.kit->hinge_y->v - to_kit(place).y) / middle_from_hinge
                             : 1;
    return (1 - stage.share) * (p.at_touch.v - p.at_work.v) * slant;
  };
  auto probe_plate = [&](Side side) -> const StylePlate* {
    for (const StylePlate& p : in_.style.plates)
      if (p.kind == PlateKind::probe && faces(in_, p.lower) == side && is_built(in_, p)) return &p;
    return nullptr;
  };
  const StylePlate* plate[2] = {probe_plate(Side::bottom), probe_plate(Side::top)};
  const StylePlate* holds[2] = {carrier(in_, Side::bottom), carrier(in_, Side::top)};
  for (std::size_t i = 0; i < m; ++i) {
    if (!known_[i]) continue;
    const double up = press_->contacts()[i].from_below ? 1 : -1;
    const int side = press_->contacts()[i].from_below ? 0 : 1;
    if (i < probes_) {
      const PlacedProbe& p = in_.option.probes[i];
      if (!plate[side] || (stage.long_only && !p.long_travel)) continue;
      s.present[i] = 1;
      // How far a relaxed tip would stand in the board's plane.
      s.touch[i] = up * (in_.catalogue.classes[at(p.probe_class)].working_travel.v -
                         (stage.long_only ? 0 : remaining(*plate[side], in_.access.spots[at(p.spot)].at)));
    } else if (present[i - probes_] && holds[side]) {
      s.present[i] = 1;
      // A finger may stand too low by the gap; stops set the plane.
      s.touch[i] = -up * (remaining(*holds[side], supports_[i - probes_].at) +
                          (supports_[i - probes_].finger ? in_.rules.mechanics.support_gap.v : 0));
    }
  }
  // Vacuum grows as the probes do.
  const double least = in_.rules.mechanics.preload_share;
  s.pressure = vacuum_of(in_) * (in_.option.option.main == Side::bottom ? -1 : 1) * (least + (1 - least) * stage.share);
  return s;
}

}  // namespace mechanics

namespace {
using namespace mechanics;

struct Solved {
  ContactForces forces;
  std::vector<double> bending;
  std::vector<double> strains;  // by gauge
};

void find_feet_near(const BedInputs& in, OverStrained& over) {
  for (const Side side : {Side::top, Side::bottom})
    for (const Point p : free_places(in, side, side != in.option.option.main)) {
      std::optional<double>& nearest = over.nearest[static_cast<std::size_t>(side)];
      nearest = std::min(nearest.value_or(INFINITY), distance(p, over.at));
    }
}

PressedState summary(const BedInputs& in, const BedModel& model, const Stage& stage,
                     const std::vector<Solved>& shapes) {
  PressedState out;
  out.name = stage.name;
  const std::size_t n = model.probes(), supports = model.supports().size();
  out.least_travel.assign(n, INFINITY);
  out.most_travel.assign(n, -INFINITY);
  out.probe_force.assign(n, 0);
  out.support_force.assign(supports, 0);
  out.support_idle.assign(supports, 1);
  const PlateMesh& mesh = model.press().plate().mesh();
  for (std::size_t k = 0; k < shapes.size(); ++k) {
    const Solved& s = shapes[k];
    out.settled &= s.forces.settled;
    for (std::size_t i = 0; i < n; ++i) {
      out.least_travel[i] = std::min(out.least_travel[i], s.forces.travel[i]);
      out.most_travel[i] = std::max(out.most_travel[i], s.forces.travel[i]);
      out.probe_force[i] = std::max(out.probe_force[i], s.forces.force[i]);
    }
    for (std::size_t i = 0; i < supports; ++i) {
      out.support_force[i] = std::max(out.support_force[i], s.forces.force[n + i]);
      if (s.forces.force[n + i] > 0.01) out.support_idle[i] = 0;
    }
    const double worst = s.strains.empty() ? 0 : *std::max_element(s.strains.begin(), s.strains.end());
    if (k == 0 || worst > out.strain) {
      out.strain = worst;
      out.worst = static_cast<FreeShape>(k);
    }
  }
  const std::vector<double>& bent = shapes[static_cast<std::size_t>(out.worst)].bending;
  for (const Curvature& c : model.press().plate().curvature_at_nodes(bent))
    out.surface_strain.push_back(c.strain(model.stiffness().thickness));
  const std::vector<double>& shape = model.free_shape(out.worst);
  for (std::size_t i = 0; i < mesh.nodes.size(); ++i)
    out.deflection.push_back(bent[3 * i] + (shape.empty() ? 0 : shape[i]));
  // Forces and how far a flat board leaves its plane.
  const Solved& flat = shapes[0];
  for (std::size_t i = 0; i < mesh.nodes.size(); ++i) {
    const double w = flat.bending[3 * i];
    if (w > out.up) {
      out.up = w;
      out.up_at = mesh.nodes[i];
    }
    if (w < -out.down) {
      out.down = -w;
      out.down_at = mesh.nodes[i];
    }
  }
  Point sum;
  double net = 0;
  for (std::size_t i = 0; i < n; ++i) {
    const double f = flat.forces.force[i] * (model.press().contacts()[i].from_below ? 1 : -1);
    (f > 0 ? out.pushed_up : out.pushed_down) += std::abs(f);
    net += f;
    sum = sum + f * in.access.spots[at(in.option.probes[i].spot)].at;
  }
  for (std::size_t i = 0; i < supports; ++i) out.held += flat.forces.force[n + i];
  // Two beds that push nearly as hard against one another turn the board, but have no middle on it.
  constexpr double kClear = 0.05;
  if (std::abs(net) > kClear * (out.pushed_up + out.pushed_down)) out.middle = (1 / net) * sum;
  if (in.kit) {
    const Affine t = board_to_kit(in);
    const Point turned = t(sum) - t(Point{}), origin = t(Point{}) - in.kit->press_at;
    out.moment = length(turned + net * origin);
  }
  return out;
}
}  // namespace

namespace {
/// The first side pushed by probes that nothing holds from the other one.
std::optional<Side> not_held(const BedInputs& in, const std::vector<PlacedSupport>& supports) {
  if (vacuum_of(in) > 0) return std::nullopt;
  for (const Side pushed : {Side::bottom, Side::top}) {
    const auto on = [&](Side side) {
      return std::any_of(in.option.probes.begin(), in.option.probes.end(),
                         [&](const PlacedProbe& p) { return in.access.targets[at(p.target)].side == side; });
    };
    const bool held =
        std::any_of(supports.begin(), supports.end(), [&](const PlacedSupport& s) { return s.side == other(pushed); });
    if (on(pushed) && !on(other(pushed)) && !held) return pushed;
  }
  return std::nullopt;
}

/// Every state on these supports.
Mechanics press(const BedInputs& in, std::vector<PlacedSupport> supports, Diagnostics& d) {
  const Place place{in.job.file, 0, 0, "mechanics"};
  Mechanics out;
  out.limit = strain_limit(in);
  out.supports = std::move(supports);
  if (const auto pushed = not_held(in, out.supports)) {
    const char* side = to_string(other(*pushed));
    out.not_held = true;
    out.why_not = std::string("nothing holds the ") + side + " side down: there is no free place for a push finger";
    d.warn("mechanics-not-held", place,
           "the board is not held down against its probes: no free place for a push finger on the " +
               std::string(side) + " side",
           std::to_string(in.option.probes.size()) + " probes",
           "place fingers by hand with  [[support]], on parts that bear them if need be, or use a vacuum box");
    return out;
  }
  const BedModel model(in, out.supports, in.rules.mechanics.mesh.v, true);
  if (!model.ok()) {
    out.why_not = "no mesh could be laid over the board's outline";
    d.warn("mechanics-no-mesh", place, "how the board bends is not worked out: no mesh could be laid over its outline",
           in.board.outline.outer.size() < 3
               ? "no outline"
               : "outline of " + std::to_string(in.board.outline.outer.size()) + " points");
    return out;
  }
  out.used = true;
  out.stiffness = model.stiffness();
  out.mesh = model.press().plate().mesh();
  if (!out.mesh.complete)
    d.warn("mechanics-coarse", place,
           "the board's outline is so fine that its mesh is coarse in places; strains there are too low",
           std::to_string(out.mesh.nodes.size()) + " nodes");
  const std::vector<char> all(out.supports.size(), 1);
  std::map<int, PartStrain> worst;
  for (const Stage& stage : stages_of(in)) {
    std::vector<Solved> shapes(kFreeShapes);
    auto solve = [&](std::size_t k) {
      const PressState state = model.state(stage, static_cast<FreeShape>(k), all);
      const PreparedState s = model.press().prepare(state);
      Solved& x = shapes[k];
      x.forces = model.press().solve(s, state.present, k == 0 ? std::vector<char>{} : shapes[0].forces.does);
      x.bending = model.press().bending(s, x.forces);
      for (const Gauge& g : model.gauges()) x.strains.push_back(model.strain(g, x.bending));
    };
    // Bent boards do much as a flat one does.
    solve(0);
    parallel_for(
        shapes.size() - 1, [&](std::size_t k) { solve(k + 1); }, 1);
    for (const Solved& s : shapes)
      for (std::size_t g = 0; g < model.gauges().size(); ++g) {
        const Gauge& x = model.gauges()[g];
        double limit = x.limit;
        // A limit by rate: from nothing to this strain within the closing time.
        if (in.job.closing_seconds > 0)
          limit = std::min(limit, strain_limit_at_rate(out.stiffness.thickness, s.strains[g] / in.job.closing_seconds));
        PartStrain& p = worst[x.component];
        if (p.component < 0 || s.strains[g] / limit > p.strain / p.limit)
          p = {x.component, is_sensitive(in.board.components[at(x.component)]), s.strains[g], limit, stage.name, x.at};
      }
    out.states.push_back(summary(in, model, stage, shapes));
    if (stage.share < 1) continue;
    lifted_regions(shapes[0].bending, out);
    out.flat_holds = true;
    for (std::size_t g = 0; g < model.gauges().size(); ++g) {
      const Gauge& x = model.gauges()[g];
      const double strain = shapes[0].strains[g];
      out.flat_strain = std::max(out.flat_strain, strain);
      if (strain <= x.limit) continue;
      out.flat_holds = false;
      if (!out.over || strain / x.limit > out.over->strain / out.over->limit)
        out.over = {x.component, x.at, strain, x.limit, {}};
    }
    if (out.over) find_feet_near(in, *out.over);
    for (std::size_t i = 0; i < model.probes(); ++i) {
      const ProbeClass& c = in.catalogue.classes[at(in.option.probes[i].probe_class)];
      out.flat_holds &= shapes[0].forces.travel[i] >= c.least_travel.v && shapes[0].forces.travel[i] <= c.most_travel.v;
    }
  }
  for (const auto& [c, p] : worst) out.parts.push_back(p);
  std::stable_sort(out.parts.begin(), out.parts.end(), [](const PartStrain& a, const PartStrain& b) {
    return a.sensitive != b.sensitive ? a.sensitive : a.strain / a.limit > b.strain / b.limit;
  });
  const PressedState* full = out.at_full_stroke();
  for (std::size_t i = 0; i < in.option.probes.size(); ++i) {
    const ProbeClass& c = in.catalogue.classes[at(in.option.probes[i].probe_class)];
    if (full->least_travel[i] < c.least_travel.v || full->most_travel[i] > c.most_travel.v)
      out.lost.push_back(static_cast<int>(i));
  }
  out.limits_hold = out.lost.empty() && std::none_of(out.parts.begin(), out.parts.end(),
                                                     [](const PartStrain& p) { return p.strain > p.limit; });
  vacuum_margins(in, out);
  scrub_of(in, out);
  return out;
}

/// The board that was on the fixture before bore no less.
bool as_good_as_before(const Mechanics& m, const StandingFixture& f) {
  constexpr double kSame = 1.02;
  if (!m.used || (f.limits_held && !m.limits_hold) || (f.flat_held && !m.flat_holds)) return false;
  return m.flat_holds || (m.flat_strain <= f.flat_strain * kSame && static_cast<int>(m.lost.size()) <= f.lost);
}
}  // namespace

Mechanics work_out_mechanics(const BedInputs& in, Diagnostics& d) {
  Mechanics out;
  const bool outline = !in.board.outline_assumed && in.board.outline.outer.size() >= 3;
  if (!in.job.mechanics || !outline) {
    out.why_not =
        in.job.mechanics ? "the outline of the board is not known" : "the job or the command line leaves it out";
    out.supports = supports_by_reach(in, d);
    return out;
  }
  if (in.job.standing.used && in.job.lay_out_supports) {
    Diagnostics own;
    out = press(in, supports_there(in, own), own);
    if (as_good_as_before(out, in.job.standing)) {
      d.merge(own);
      return out;
    }
  }
  std::size_t candidates = 0;
  std::vector<PlacedSupport> supports = in.job.lay_out_supports ? lay_out(in, candidates, d) : supports_by_reach(in, d);
  out = press(in, std::move(supports), d);
  out.candidates = candidates;
  return out;
}

std::vector<std::pair<int, std::string>> reasons_of_lost(const Mechanics& m, const BedInputs& in) {
  std::vector<std::pair<int, std::string>> out;
  const PressedState* s = m.at_full_stroke();
  for (const int p : m.lost) {
    const ProbeClass& c = in.catalogue.classes[at(in.option.probes[at(p)].probe_class)];
    const bool little = s->least_travel[at(p)] < c.least_travel.v;
    out.emplace_back(p, little ? "has a travel of " + short_number(s->least_travel[at(p)], 2) +
                                     " mm where the board bends, needs " + short_number(c.least_travel.v, 2) + " mm"
                               : "is pressed in by " + short_number(s->most_travel[at(p)], 2) +
                                     " mm where the board bends, at most " + short_number(c.most_travel.v, 2) + " mm");
  }
  return out;
}

}  // namespace teasel
