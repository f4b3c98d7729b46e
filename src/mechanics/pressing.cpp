// Presses the board state by state, each from every free shape, and judges what parts and probes bear.
#include <array>
#include <cmath>
#include <map>

#include "bed.h"
#include "teasel/enums.h"
#include "teasel/parallel.h"

namespace teasel {

namespace {
using namespace mechanics;

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

PressedState summary(const Planned& in, const BedModel& model, const std::string& name,
                     const std::vector<Solved>& shapes) {
  PressedState out;
  out.name = name;
  out.to_go = Mm{shapes[0].moment.to_go};
  out.raised = Mm{shapes[0].moment.raised};
  out.lying = shapes[0].moment.lying;
  out.share = shapes[0].moment.share;
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

std::string name_of(const Closing& closing, const Moment& moment) {
  if (moment.long_only) return kHalfStage;
  if (moment.share >= 1) return kFullStroke;
  return closing.by_air() ? short_number(100 * moment.share, 1) + " % of the vacuum"
                          : short_number(moment.to_go, 2) + " mm to go";
}

/// Every free shape through its closing, each with moments of its own about its peak.
using Shapes = std::vector<std::vector<Solved>>;
Shapes follow_all(const Closing& closing) {
  std::vector<FreeShape> shapes;
  for (int k = 0; k < kFreeShapes; ++k) shapes.push_back(static_cast<FreeShape>(k));
  return closing.follow(shapes);
}

/// In the half stage long probes are pressed in, and short ones hang free.
std::vector<Solved> half_stage(const BedModel& model) {
  Moment moment = closed(0);
  moment.long_only = true;
  moment.share = 0.5;
  const std::vector<char> all = model.all_supports();
  std::vector<Solved> out(kFreeShapes);
  for (std::size_t k = 0; k < out.size(); ++k)
    out[k] = press_shape(model, moment, static_cast<FreeShape>(k), all, k ? out[0].forces.does : std::vector<char>{});
  std::vector<Solved*> list;
  for (Solved& solved : out) list.push_back(&solved);
  bend(model, list);
  return out;
}

void note_strains(const BedModel& model, const Closing& closing, const std::vector<Solved>& moments,
                  WorstCorners& worst) {
  for (const Solved& solved : moments)
    for (std::size_t i = 0; i < model.gauges().size(); ++i) {
      const Gauge& gauge = model.gauges()[i];
      const double strain = solved.strains[i], limit = gauge.limit;
      const auto [it, first] = worst.try_emplace(gauge.component);
      if (first || strain / limit > it->second.strain / it->second.limit)
        it->second = {strain, limit, name_of(closing, solved.moment), gauge.at};
    }
}

/// What a flat board bears from first touch to full stroke.
void judge_flat_board(const Planned& in, const BedModel& model, const Closing& closing,
                      const std::vector<Solved>& moments, Mechanics& out) {
  double most = 0;
  for (const Solved& solved : moments)
    for (const double strain : solved.strains)
      if (strain > most) {
        most = strain;
        out.flat_moment = name_of(closing, solved.moment);
      }
  out.flat_strain = Microstrain{most * 1e6};
  out.peak_within = closing.peak_within(moments);
  const WorstGauge worst = worst_gauge(model, moments);
  out.flat_holds = worst.share <= 1;
  if (!out.flat_holds) {
    const Gauge& gauge = model.gauges()[worst.gauge];
    out.over = {.component = gauge.component,
                .at = gauge.at,
                .strain = worst.strain(),
                .limit = Microstrain{gauge.limit * 1e6},
                .moment = name_of(closing, worst.solved->moment),
                .nearest = {}};
    find_feet_near(in, *out.over);
  }
  for (const ProbeId probe : in.option.probes.ids())
    out.flat_holds &= in_window(in, model, probe, Mm{moments.back().forces.travel[probe.index()]});
}

/// The moments of a flat board, each with every other shape at the same share of the closing. Of those that lie nearer
/// to one another than is worth telling, the one that strains the board most.
std::vector<PressedState> states_of(const Planned& in, const BedModel& model, const Closing& closing,
                                    const Shapes& shapes) {
  constexpr double kApart = 0.03;  // of the closing
  std::vector<std::size_t> told;
  const std::vector<Solved>& flat = shapes[0];
  for (std::size_t i = 0; i < flat.size(); ++i) {
    const bool apart = told.empty() || flat[i].moment.share - flat[told.back()].moment.share > kApart;
    if (!apart && flat[i].worst > flat[told.back()].worst)
      told.back() = i;
    else if (apart || i + 1 == flat.size())
      told.push_back(i);
  }
  std::vector<std::vector<Solved>> at(told.size(), std::vector<Solved>(kFreeShapes));
  std::array<PressedPlate::Likeness, kFreeShapes> likeness;
  parallel_for(
      static_cast<std::size_t>(kFreeShapes),
      [&](std::size_t k) {
        const std::vector<Solved>& known = shapes[k];
        for (std::size_t i = 0; i < told.size(); ++i) {
          const double share = flat[told[i]].moment.share;
          const auto same = std::find_if(known.begin(), known.end(),
                                         [&](const Solved& solved) { return solved.moment.share >= share; });
          at[i][k] = same != known.end() && same->moment.share <= share
                         ? *same
                         : closing.press(share, static_cast<FreeShape>(k), same == known.end() ? nullptr : &*same, 1,
                                         &likeness[k]);
        }
      },
      1);
  std::vector<Solved*> fresh;
  for (std::vector<Solved>& all : at)
    for (Solved& solved : all)
      if (solved.bending.empty()) fresh.push_back(&solved);
  bend(model, fresh);
  std::vector<PressedState> out;
  for (const std::vector<Solved>& all : at) out.push_back(summary(in, model, name_of(closing, all[0].moment), all));
  return out;
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
  const BedModel model(in, out.supports, fine_mesh(in), true);
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
  const Closing closing(in, model, model.all_supports());
  const Shapes shapes = follow_all(closing);
  WorstCorners worst;
  for (const std::vector<Solved>& moments : shapes) note_strains(model, closing, moments, worst);
  out.states = states_of(in, model, closing, shapes);
  lifted_regions(shapes[0].back().bending, out);
  judge_flat_board(in, model, closing, shapes[0], out);
  out.bow = bow_margin(in, closing, model, shapes);
  if (std::any_of(in.option.probes.begin(), in.option.probes.end(),
                  [](const PlacedProbe& probe) { return probe.long_travel; })) {
    const std::vector<Solved> half = half_stage(model);
    note_strains(model, closing, half, worst);
    out.states.push_back(summary(in, model, kHalfStage, half));
  }
  out.parts = strained_parts(in, worst);
  const PressedState* full = out.at_full_stroke();
  for (const ProbeId probe : in.option.probes.ids())
    if (!in_window(in, model, probe, full->least_travel[probe]) ||
        !in_window(in, model, probe, full->most_travel[probe]))
      out.lost.push_back(probe);
  // A tilt that every probe follows does no harm.
  out.tips = !out.lost.empty() && !out.flat_holds && turns_over(model, shapes[0].back().bending);
  out.limits_hold = out.lost.empty() && std::none_of(worst.begin(), worst.end(), [](const auto& entry) {
                      return entry.second.strain > entry.second.limit;
                    });
  if (model.moving()) out.springs = model.moving()->at_work();
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

namespace mechanics {
namespace {
constexpr int kMostRounds = 500;
}
Solved press_shape(const BedModel& model, const Moment& moment, FreeShape shape, const std::vector<char>& supports,
                   const std::vector<char>& guess, double bend, PressedPlate::Likeness* likeness) {
  const PressState state = model.state(moment, shape, supports, bend);
  const PreparedState prepared = model.press().prepare(state);
  Solved out;
  out.moment = moment;
  out.forces = model.press().solve(prepared, state.present, guess, kMostRounds, likeness);
  out.pressure = state.pressure;
  return out;
}

void bend(const BedModel& model, const std::vector<Solved*>& pressed) {
  std::vector<std::pair<const ContactForces*, MPa>> states;
  for (const Solved* solved : pressed) states.emplace_back(&solved->forces, solved->pressure);
  std::vector<std::vector<double>> bending = model.press().bending(states);
  const std::vector<Gauge>& gauges = model.gauges();
  for (std::size_t k = 0; k < pressed.size(); ++k) {
    pressed[k]->bending = std::move(bending[k]);
    pressed[k]->strains.resize(gauges.size());
  }
  // A gauge is read once for all states.
  parallel_for(
      gauges.size(),
      [&](std::size_t i) {
        for (Solved* out : pressed) out->strains[i] = model.elongation(gauges[i], out->bending);
      },
      256);
  for (Solved* out : pressed)
    for (std::size_t i = 0; i < gauges.size(); ++i)
      out->worst = std::max(out->worst, out->strains[i] / gauges[i].limit);
}

WorstGauge worst_gauge(const BedModel& model, const std::vector<Solved>& moments) {
  WorstGauge out;
  for (const Solved& solved : moments)
    for (std::size_t i = 0; i < model.gauges().size(); ++i)
      if (const double share = solved.strains[i] / model.gauges()[i].limit; share > out.share)
        out = {&solved, i, share};
  return out;
}

bool in_window(const Planned& in, const BedModel& model, ProbeId probe, Mm travel) {
  return BentStroke{model.stroke(probe.index()), travel, travel}.in_window(
      in.catalogue.classes[in.option.probes[probe].probe_class]);
}
}  // namespace mechanics

namespace {
/// Supports laid out, and every moment on them.
Mechanics laid_out(const Planned& in, Diagnostics& diagnostics) {
  std::size_t candidates = 0;
  std::vector<PlacedSupport> supports =
      in.job.mechanics.lay_out_supports ? lay_out(in, candidates, diagnostics) : supports_by_reach(in, diagnostics);
  Mechanics out = press(in, std::move(supports), diagnostics);
  out.candidates = candidates;
  return out;
}

/// Of all probes that push the board down.
Newton from_above(const Planned& in) {
  Newton sum;
  for (const PlacedProbe& probe : in.option.probes)
    if (const Target& target = in.access.targets[probe.target]; target.side != faces(in, true))
      sum += force_on(in.rules, target, in.catalogue.classes[probe.probe_class]);
  return sum;
}

/// 0: a flat board holds, and a bowed one; else the more, the worse.
double badness(const Mechanics& mechanics) {
  if (!mechanics.used) return INFINITY;
  double out = 0;
  if (mechanics.over) out += 10 * mechanics.over->strain / mechanics.over->limit;
  if (!mechanics.flat_holds) out += 10;
  return out + (mechanics.bow.allowed > 0 ? 1 - mechanics.bow.tolerated / mechanics.bow.allowed : 0);
}

/// Springs of the moving plate that hold against all upper tips, or as many as the list allows, let these and the
/// fingers come down on a board that its stops still hold, before the lower tips are met.
void try_stronger_springs(const Planned& in, Mechanics& out, Diagnostics& found) {
  constexpr double kMargin = 1.1, kWorth = 0.02;
  const std::optional<MovingPlate> now = moving_plate(in);
  const Newton needed = kMargin * from_above(in);
  // On large beds it is worth the time only where a flat board needs it.
  constexpr std::size_t kLarge = 600;
  const bool asked = in.option.probes.size() > kLarge ? out.clearly_over() : out.used && !out.limits_hold;
  if (!now || needed <= now->at_rest() || !asked) return;
  const std::optional<MovingPlate> strong = moving_plate_that_holds(in, needed);
  if (!strong || strong->at_rest() <= now->at_rest()) return;
  Planned with = in;
  with.springs = strong->at_work();
  Diagnostics own;
  Mechanics other = laid_out(with, own);
  if (badness(other) > badness(out) * (1 - kWorth)) return;
  other.springs_before = now->at_work();
  other.before = out.flat_strain;
  out = std::move(other);
  found = std::move(own);
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
    Planned standing = in;
    standing.springs = in.standing.springs;
    Diagnostics own;
    out = press(standing, supports_there(standing, own), own);
    if (as_good_as_before(out, in.standing)) {
      diagnostics.merge(own);
      return out;
    }
  }
  Diagnostics found;
  // The springs that stand stay, as long as stronger ones are not needed.
  Planned now = in;
  if (in.standing.used) now.springs = in.standing.springs;
  out = laid_out(now, found);
  try_stronger_springs(now, out, found);
  diagnostics.merge(found);
  if (out.springs_before > Newton{}) now.springs = out.springs;
  out.tried = try_changes(now, out);
  return out;
}

std::vector<std::pair<ProbeId, std::string>> reasons_of_lost(const Mechanics& mechanics, const Planned& in) {
  std::vector<std::pair<ProbeId, std::string>> out;
  const PressedState* state = mechanics.at_full_stroke();
  for (const ProbeId lost : mechanics.lost) {
    const ProbeClass& probe_class = in.catalogue.classes[in.option.probes[lost].probe_class];
    const BentStroke bent = bent_stroke(in, *state, lost);
    const std::string spread = " +- " + short_number(bent.stroke.tolerance.v, 2) + " mm";
    if (bent.shortest - bent.stroke.tolerance < probe_class.least_travel)
      out.emplace_back(lost, "has only " + short_number(bent.shortest.v, 2) + spread +
                                 " of travel where the board bends, but needs " +
                                 short_number(probe_class.least_travel.v, 2) + " mm");
    else
      out.emplace_back(lost, "is pressed in by " + short_number(bent.longest.v, 2) + spread +
                                 " where the board bends, but bears at most " +
                                 short_number(probe_class.most_travel.v, 2) + " mm");
  }
  return out;
}

}  // namespace teasel
