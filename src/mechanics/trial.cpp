#include "trial.h"

#include <cmath>
#include <map>

#include "teasel/parallel.h"

namespace teasel::mechanics {

namespace {
constexpr int kRounds = 120;
constexpr double kUnsettled = 1e6;   // worse than any sum of what is lacking
constexpr double kSpare = 0.9;       // of the limits: the final mesh is finer than this one's
constexpr double kNear = 0.5;        // share of a limit from which on a spot may come to exceed it
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
  for (const auto& x : list) out.push_back(x.second);
  std::sort(out.begin(), out.end());
  return out;
}
}  // namespace

Trial::Trial(const BedInputs& in, const std::vector<PlacedSupport>& candidates)
    : in_(in), model_(in, candidates, in.rules.mechanics.mesh.v, false) {
  if (!ok()) return;
  std::map<std::pair<std::vector<std::pair<std::size_t, double>>, double>, std::size_t> known;
  for (std::size_t g = 0; g < model_.gauges().size(); ++g) {
    const Gauge& x = model_.gauges()[g];
    const auto [it, first] = known.try_emplace({x.triangles, x.limit}, spots_.size());
    if (first)
      spots_.push_back({g, 1});
    else
      ++spots_[it->second].count;
  }
  std::vector<Terms> watch;
  for (const Spot& s : spots_)
    for (const Terms& t : model_.gauges()[s.gauge].curvature) watch.push_back(t);
  const std::size_t n = model_.probes();
  // A few at a time: all at once would be the largest thing in memory.
  constexpr std::size_t kBlock = 64;
  effect_.assign(candidates.size(), std::vector<float>(watch.size()));
  for (std::size_t from = 0; from < candidates.size(); from += kBlock) {
    const std::size_t to = std::min(candidates.size(), from + kBlock);
    std::vector<std::vector<NodeLoad>> loads;
    for (std::size_t k = from; k < to; ++k) loads.push_back(model_.press().contacts()[n + k].patch);
    const auto w = model_.press().plate().watched(watch, loads);
    for (std::size_t k = from; k < to; ++k)
      for (std::size_t i = 0; i < watch.size(); ++i) effect_[k][i] = static_cast<float>(w[i][k - from]);
  }
  const std::vector<char> all(candidates.size(), 1);
  const Stage full{kFullStroke, 1, false};
  for (int s = 0; s < kFreeShapes; ++s) {
    const PressState state = model_.state(full, static_cast<FreeShape>(s), all);
    prepared_[at(s)] = model_.press().prepare(state);
    everywhere_ = state.present;
  }
}

double Trial::lack_of_probe(std::size_t i, double travel) const {
  const ProbeClass& c = in_.catalogue.classes[at(in_.option.probes[i].probe_class)];
  // Lengths in millimetres beside shares of a limit: a millimetre out of the window is as bad as twice the strain.
  const double inside = (1 - kSpare) * (c.most_travel.v - c.least_travel.v) / 2;
  return std::max(c.least_travel.v + inside - travel, travel - c.most_travel.v + inside);
}

double Trial::share_of_limit(std::size_t spot, const Curvature& k) const {
  return k.strain(model_.stiffness().thickness) / (kSpare * model_.gauges()[spots_[spot].gauge].limit);
}

TriedShape Trial::press(const std::vector<char>& present, FreeShape shape, const TriedShape* like) const {
  const std::size_t n = model_.probes();
  const PreparedState& s = prepared_[static_cast<std::size_t>(shape)];
  std::vector<char> there = everywhere_, guess;
  for (std::size_t k = 0; k < present.size(); ++k) there[n + k] = there[n + k] && present[k];
  if (like && like->forces.settled) {
    guess = like->forces.does;
    // A support that was not there is taken to hold.
    for (std::size_t c = n; c < guess.size(); ++c)
      if (like->forces.force[c] <= 0 && like->forces.travel[c] > 0) guess[c] = 1;
  }
  TriedShape out;
  out.shape = shape;
  out.forces = model_.press().solve(s, there, guess, kRounds);
  const std::vector<double> u = model_.press().bending(s, out.forces);
  if (!out.forces.settled) out.lack += kUnsettled;
  for (std::size_t i = 0; i < n; ++i) out.lack += std::max(0.0, lack_of_probe(i, out.forces.travel[i]));
  for (std::size_t g = 0; g < spots_.size(); ++g) {
    out.curvature.push_back(BedModel::curvature(model_.gauges()[spots_[g].gauge], u));
    out.lack += lack_of_spot(g, share_of_limit(g, out.curvature.back()));
  }
  return out;
}

Tried Trial::press(const std::vector<char>& present, const std::vector<FreeShape>& shapes, const Tried* like) const {
  Tried out;
  out.shapes.resize(shapes.size());
  parallel_for(
      shapes.size(),
      [&](std::size_t k) {
        const TriedShape* same = nullptr;
        if (like)
          for (const TriedShape& s : like->shapes)
            if (s.shape == shapes[k]) same = &s;
        out.shapes[k] = press(present, shapes[k], same);
      },
      1);
  for (const TriedShape& s : out.shapes) out.lack += s.lack;
  return out;
}

Trial::Risk Trial::risk(const TriedShape& s) const {
  Risk out;
  out.elsewhere = s.lack;
  std::vector<std::pair<double, std::size_t>> probes, spots;
  for (std::size_t i = 0; i < model_.probes(); ++i)
    if (const double l = lack_of_probe(i, s.forces.travel[i]); l > -kNearTravel) probes.emplace_back(l, i);
  for (std::size_t g = 0; g < spots_.size(); ++g)
    if (const double x = share_of_limit(g, s.curvature[g]); x > kNear) spots.emplace_back(x, g);
  out.probes = worst_of(std::move(probes));
  out.spots = worst_of(std::move(spots));
  for (const std::size_t i : out.probes) out.elsewhere -= std::max(0.0, lack_of_probe(i, s.forces.travel[i]));
  for (const std::size_t g : out.spots) out.elsewhere -= lack_of_spot(g, share_of_limit(g, s.curvature[g]));
  return out;
}

void Trial::foretell(const TriedShape& s, const std::vector<std::size_t>& asked, bool joins,
                     std::vector<double>& lack) const {
  const PressedPlate& press = model_.press();
  const std::size_t n = model_.probes();
  std::vector<std::size_t> contacts;
  for (const std::size_t k : asked) contacts.push_back(n + k);
  const Exchanges change = joins ? press.joining(s.forces, contacts) : press.leaving(s.forces, contacts);
  const Risk risk = this->risk(s);
  parallel_for(
      asked.size(),
      [&](std::size_t a) {
        const std::vector<double>& up = change.up[a];
        if (up.empty()) {
          lack[a] += s.lack;
          return;
        }
        std::vector<double> rise(risk.probes.size());
        std::vector<Curvature> bend;
        for (const std::size_t g : risk.spots) bend.push_back(s.curvature[g]);
        for (std::size_t r = 0; r < up.size(); ++r) {
          const std::size_t c = r < change.rows.size() ? change.rows[r] : contacts[a];
          if (up[r] == 0) continue;
          for (std::size_t i = 0; i < rise.size(); ++i) rise[i] += up[r] * press.compliance(c, risk.probes[i]);
          // Of probes that change too, only what they do to the deflection is counted.
          if (c < n) continue;
          const std::vector<float>& e = effect_[c - n];
          for (std::size_t g = 0; g < risk.spots.size(); ++g) {
            const float* one = &e[3 * risk.spots[g]];
            bend[g].xx += up[r] * static_cast<double>(one[0]);
            bend[g].yy += up[r] * static_cast<double>(one[1]);
            bend[g].xy2 += up[r] * static_cast<double>(one[2]);
          }
        }
        double sum = risk.elsewhere;
        for (std::size_t i = 0; i < rise.size(); ++i) {
          const std::size_t p = risk.probes[i];
          sum += std::max(0.0,
                          lack_of_probe(p, s.forces.travel[p] - (press.contacts()[p].from_below ? rise[i] : -rise[i])));
        }
        for (std::size_t g = 0; g < risk.spots.size(); ++g)
          sum += lack_of_spot(risk.spots[g], share_of_limit(risk.spots[g], bend[g]));
        lack[a] += sum;
      },
      4);
}

std::vector<double> Trial::foretold(const Tried& now, const std::vector<char>& present, bool joins) const {
  std::vector<std::size_t> asked;
  for (std::size_t k = 0; k < present.size(); ++k)
    if ((present[k] != 0) != joins && everywhere_[model_.probes() + k]) asked.push_back(k);
  std::vector<double> lack(asked.size());
  for (const TriedShape& s : now.shapes) foretell(s, asked, joins, lack);
  std::vector<double> out(present.size(), now.lack);
  for (std::size_t a = 0; a < asked.size(); ++a) out[asked[a]] = lack[a];
  return out;
}

}  // namespace teasel::mechanics
