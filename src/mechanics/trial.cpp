#include "trial.h"

#include <algorithm>
#include <cmath>
#include <map>

#include "teasel/parallel.h"

namespace teasel::mechanics {

namespace {
constexpr int kRounds = 120;
constexpr double kCoarser = 2;       // triangles than those of the figures that count
constexpr double kUnsettled = 1e6;   // worse than any sum of what is lacking
constexpr double kNear = 0.5;        // share of a limit from which on a corner may come to exceed it
constexpr double kNearTravel = 0.3;  // mm
constexpr std::size_t kMostAtRisk = 300;

/// The worst of them, in order of their number.
std::vector<std::size_t> worst_of(std::vector<std::pair<double, std::size_t>> list) {
  if (list.size() > kMostAtRisk) {
    std::nth_element(list.begin(), list.begin() + kMostAtRisk, list.end(), [](const auto& a, const auto& b) {
      return a.first != b.first ? a.first > b.first : a.second < b.second;
    });
    list.resize(kMostAtRisk);
  }
  std::vector<std::size_t> out;
  for (const auto& entry : list) out.push_back(entry.second);
  std::sort(out.begin(), out.end());
  return out;
}
}  // namespace

Trial::Trial(const Planned& in, const std::vector<PlacedSupport>& candidates)
    : in_(in), model_(in, candidates, kCoarser * in.rules.mechanics.mesh, false) {
  if (!ok()) return;
  std::map<std::pair<std::vector<std::pair<std::size_t, double>>, double>, std::size_t> known;
  for (std::size_t gauge_index = 0; gauge_index < model_.gauges().size(); ++gauge_index) {
    const Gauge& gauge = model_.gauges()[gauge_index];
    const auto [it, first] = known.try_emplace({gauge.triangles, gauge.limit / gauge.raised}, corners_.size());
    if (first)
      corners_.push_back({gauge_index, 1});
    else
      ++corners_[it->second].count;
  }
  std::vector<Terms> watch;
  for (const Corner& corner : corners_)
    for (const Terms& terms : model_.gauges()[corner.gauge].curvature) watch.push_back(terms);
  const std::size_t probes = model_.probes();
  // A few at a time: all at once would be the largest thing in memory.
  constexpr std::size_t kBlock = 64;
  effect_.assign(candidates.size(), std::vector<float>(watch.size()));
  for (std::size_t from = 0; from < candidates.size(); from += kBlock) {
    const std::size_t to = std::min(candidates.size(), from + kBlock);
    std::vector<Patch> patches;
    for (std::size_t k = from; k < to; ++k) patches.push_back(model_.press().contacts()[probes + k].patch);
    const auto effects = model_.press().plate().watched(watch, patches);
    for (std::size_t k = from; k < to; ++k)
      for (std::size_t i = 0; i < watch.size(); ++i) effect_[k][i] = static_cast<float>(effects[i][k - from]);
  }
  for (const PlacedSupport& candidate : candidates) bears_.push_back(foot_limit(in, candidate).force.v);
  for (int k = 0; k < kFreeShapes; ++k) {
    Scene& scene = scenes_.emplace_back();
    scene.shape = static_cast<FreeShape>(k);
    scene.moment = closed(vacuum_of(in).v);
    prepare(scene);
  }
}

void Trial::prepare(Scene& scene) const {
  PressState state = model_.state(scene.moment, scene.shape, model_.all_supports(), bend_);
  state.linear = true;
  scene.prepared = model_.press().prepare(state);
  scene.everywhere = state.present;
  for (std::size_t i = 0; i < scene.touching.size(); ++i)
    scene.everywhere[i] = scene.everywhere[i] && scene.touching[i];
  scene.unsupported.clear();
  const std::size_t probes = model_.probes();
  const auto probes_end = scene.everywhere.begin() + static_cast<std::ptrdiff_t>(probes);
  if (std::find(scene.everywhere.begin(), probes_end, 0) != probes_end) return;
  // Springs that push at no deflection what they push there, on the plate that has their rates in it.
  ContactForces forces;
  forces.up = scene.prepared.idle;
  std::vector<Curvature> out = curvatures(scene, forces);
  scene.unsupported = std::move(out);
}

void Trial::bend_by(double share) {
  bend_ = share;
  for (Scene& scene : scenes_) prepare(scene);
}

SceneNumber Trial::add(FreeShape shape, const Solved& solved) {
  Scene& scene = scenes_.emplace_back();
  scene.shape = shape;
  scene.moment = solved.moment;
  for (std::size_t i = 0; i < model_.probes(); ++i) scene.touching.push_back(solved.forces.force[i] > 0);
  prepare(scene);
  return scenes_.size() - 1;
}

double Trial::lack_of_probe(SceneNumber scene, std::size_t i, double travel) const {
  if (scenes_[scene].moment.share < 1) return -INFINITY;
  const ProbeClass& probe_class = in_.catalogue.classes[in_.option.probes[ProbeId{i}].probe_class];
  // Lengths in millimetres beside shares of a limit: a millimetre out of the window is as bad as twice the strain.
  const double inside =
      (1 - kSpare) * (probe_class.most_travel.v - probe_class.least_travel.v) / 2 + model_.stroke(i).tolerance.v;
  return std::max(probe_class.least_travel.v + inside - travel, travel - probe_class.most_travel.v + inside);
}

double Trial::share_of_limit(std::size_t corner, const Curvature& curvature) const {
  const Gauge& gauge = model_.gauges()[corners_[corner].gauge];
  return gauge.raised * curvature.elongation(model_.stiffness().thickness) / (kSpare * gauge.limit);
}

TriedShape Trial::press(const std::vector<char>& present, SceneNumber scene, const TriedShape* like) const {
  const std::size_t probes = model_.probes();
  const PreparedState& state = scenes_[scene].prepared;
  std::vector<char> there = scenes_[scene].everywhere, guess;
  for (std::size_t k = 0; k < present.size(); ++k) there[probes + k] = there[probes + k] && present[k];
  if (like && like->forces.settled) {
    guess = like->forces.does;
    // A support that was not there is taken to hold.
    for (std::size_t contact = probes; contact < guess.size(); ++contact)
      if (like->forces.force[contact] <= 0 && like->forces.travel[contact] > 0) guess[contact] = 1;
  }
  TriedShape out;
  out.scene = scene;
  out.forces = model_.press().solve(state, there, guess, kRounds);
  out.curvature = curvatures(scenes_[scene], out.forces);
  if (!out.forces.settled) out.lack += kUnsettled;
  for (std::size_t i = 0; i < probes; ++i) out.lack += std::max(0.0, lack_of_probe(scene, i, out.forces.travel[i]));
  for (std::size_t k = 0; k < present.size(); ++k)
    if (present[k]) out.lack += std::max(0.0, out.forces.force[probes + k] / (kSpare * bears_[k]) - 1);
  for (std::size_t corner = 0; corner < corners_.size(); ++corner) {
    out.lack += lack_of_corner(corner, share_of_limit(corner, out.curvature[corner]));
  }
  return out;
}

std::vector<Curvature> Trial::curvatures(const Scene& scene, const ContactForces& forces) const {
  if (scene.unsupported.empty()) {
    std::vector<Curvature> out;
    const std::vector<double> unknowns = model_.press().bending(forces, scene.prepared.pressure);
    for (const Corner& corner : corners_) out.push_back(BedModel::curvature(model_.gauges()[corner.gauge], unknowns));
    return out;
  }
  std::vector<Curvature> out = scene.unsupported;
  const std::size_t probes = model_.probes();
  for (std::size_t k = 0; k < effect_.size(); ++k) {
    const double up =
        model_.press().contacts()[probes + k].from_below ? forces.extra[probes + k] : -forces.extra[probes + k];
    if (up == 0) continue;
    const float* effect = effect_[k].data();
    for (Curvature& here : out) {
      here.xx += up * static_cast<double>(effect[0]);
      here.yy += up * static_cast<double>(effect[1]);
      here.xy2 += up * static_cast<double>(effect[2]);
      effect += 3;
    }
  }
  return out;
}

Tried Trial::press(const std::vector<char>& present, const Scenes& scenes, const Tried* like, double most) const {
  const auto before = [&](SceneNumber scene) -> const TriedShape* {
    if (like)
      for (const TriedShape& tried : like->shapes)
        if (tried.scene == scene) return &tried;
    return nullptr;
  };
  // Those first in which most was lacking: one of them says soonest that it is too much.
  Scenes order = scenes;
  if (like)
    std::stable_sort(order.begin(), order.end(), [&](SceneNumber a, SceneNumber b) {
      const TriedShape *was_a = before(a), *was_b = before(b);
      return (was_a ? was_a->lack : 0) > (was_b ? was_b->lack : 0);
    });
  Tried out;
  constexpr std::size_t kAtOnce = 2;  // the same whatever the number of threads
  for (std::size_t first = 0; first < order.size() && out.lack <= most; first += kAtOnce) {
    const std::size_t count = std::min(kAtOnce, order.size() - first);
    std::vector<TriedShape> some(count);
    parallel_for(
        count, [&](std::size_t k) { some[k] = press(present, order[first + k], before(order[first + k])); }, 1);
    for (TriedShape& tried : some) {
      out.lack += tried.lack;
      out.shapes.push_back(std::move(tried));
    }
  }
  return out;
}

Trial::Risk Trial::risk(const TriedShape& tried) const {
  Risk out;
  out.elsewhere = tried.lack;
  std::vector<std::pair<double, std::size_t>> probes, corners;
  for (std::size_t i = 0; i < model_.probes(); ++i)
    if (const double lack = lack_of_probe(tried.scene, i, tried.forces.travel[i]); lack > -kNearTravel)
      probes.emplace_back(lack, i);
  for (std::size_t corner = 0; corner < corners_.size(); ++corner)
    if (const double share = share_of_limit(corner, tried.curvature[corner]); share > kNear)
      corners.emplace_back(share, corner);
  out.probes = worst_of(std::move(probes));
  out.corners = worst_of(std::move(corners));
  for (const std::size_t i : out.probes)
    out.elsewhere -= std::max(0.0, lack_of_probe(tried.scene, i, tried.forces.travel[i]));
  for (const std::size_t corner : out.corners)
    out.elsewhere -= lack_of_corner(corner, share_of_limit(corner, tried.curvature[corner]));
  return out;
}

void Trial::foretell(const TriedShape& tried, const std::vector<std::size_t>& asked, bool joins,
                     std::vector<double>& lack) const {
  const PressedPlate& press = model_.press();
  const PreparedState& state = scenes_[tried.scene].prepared;
  const std::size_t probes = model_.probes();
  std::vector<std::size_t> contacts;
  for (const std::size_t k : asked) contacts.push_back(probes + k);
  const Exchanges change =
      joins ? press.joining(state, tried.forces, contacts) : press.leaving(state, tried.forces, contacts);
  const Risk risk = this->risk(tried);
  parallel_for(
      asked.size(),
      [&](std::size_t index) {
        const std::vector<double>& up = change.up[index];
        if (up.empty()) {
          lack[index] += tried.lack;
          return;
        }
        std::vector<double> rise(risk.probes.size());
        std::vector<Curvature> bend;
        for (const std::size_t corner : risk.corners) bend.push_back(tried.curvature[corner]);
        for (std::size_t row = 0; row < up.size(); ++row) {
          const std::size_t contact = row < change.rows.size() ? change.rows[row] : contacts[index];
          if (up[row] == 0) continue;
          for (std::size_t i = 0; i < rise.size(); ++i) rise[i] += up[row] * press.compliance(contact, risk.probes[i]);
          // Of probes that change too, only what they do to the deflection is counted.
          if (contact < probes) continue;
          const std::vector<float>& effect = effect_[contact - probes];
          for (std::size_t corner = 0; corner < risk.corners.size(); ++corner) {
            const float* one = &effect[3 * risk.corners[corner]];
            bend[corner].xx += up[row] * static_cast<double>(one[0]);
            bend[corner].yy += up[row] * static_cast<double>(one[1]);
            bend[corner].xy2 += up[row] * static_cast<double>(one[2]);
          }
        }
        double sum = risk.elsewhere;
        for (std::size_t i = 0; i < rise.size(); ++i) {
          const std::size_t probe = risk.probes[i];
          sum += std::max(0.0, lack_of_probe(tried.scene, probe,
                                             tried.forces.travel[probe] -
                                                 (press.contacts()[probe].from_below ? rise[i] : -rise[i])));
        }
        for (std::size_t corner = 0; corner < risk.corners.size(); ++corner)
          sum += lack_of_corner(risk.corners[corner], share_of_limit(risk.corners[corner], bend[corner]));
        lack[index] += sum;
      },
      4);
}

std::vector<double> Trial::foretold(const Tried& now, const std::vector<char>& present, bool joins) const {
  std::vector<std::size_t> asked;
  for (std::size_t k = 0; k < present.size(); ++k)
    if ((present[k] != 0) != joins && scenes_.front().everywhere[model_.probes() + k]) asked.push_back(k);
  std::vector<double> lack(asked.size());
  for (const TriedShape& tried : now.shapes) foretell(tried, asked, joins, lack);
  std::vector<double> out(present.size(), now.lack);
  for (std::size_t index = 0; index < asked.size(); ++index) out[asked[index]] = lack[index];
  return out;
}

}  // namespace teasel::mechanics
