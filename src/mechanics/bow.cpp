// How much bow and twist of the free board a bed tolerates.
#include <algorithm>
#include <array>
#include <cmath>

#include "bed.h"
#include "teasel/parallel.h"

namespace teasel::mechanics {

namespace {
/// Whether probes keep to their windows and parts to their limits, and the largest strain.
struct HeldAt {
  bool holds = true;
  Microstrain strain;
};
HeldAt held_at(const Planned& in, const BedModel& model, const Solved& solved) {
  HeldAt out{solved.forces.settled, {}};
  for (std::size_t i = 0; i < model.gauges().size(); ++i) {
    out.strain = std::max(out.strain, Microstrain{solved.strains[i] * 1e6});
    out.holds &= solved.strains[i] <= model.gauges()[i].limit;
  }
  // Travel is judged where the board is tested.
  if (solved.moment.share < 1) return out;
  for (const ProbeId probe : in.option.probes.ids())
    out.holds &= in_window(in, model, probe, Mm{solved.forces.travel[probe.index()]});
  return out;
}
/// The moments of the closing that decide: closed, and the two in which a shape comes nearest to a limit.
std::vector<double> deciding(const std::vector<std::vector<Solved>>& shapes) {
  constexpr std::size_t kMost = 3;
  std::vector<const Solved*> peaks;
  for (const std::vector<Solved>& moments : shapes) peaks.push_back(&Closing::peak(moments));
  std::stable_sort(peaks.begin(), peaks.end(), [](const Solved* a, const Solved* b) { return a->worst > b->worst; });
  std::vector<double> out{1};
  for (const Solved* peak : peaks)
    if (out.size() < kMost && std::find(out.begin(), out.end(), peak->moment.share) == out.end())
      out.push_back(peak->moment.share);
  std::sort(out.begin(), out.end());
  return out;
}
HeldAt worse(const HeldAt& a, const HeldAt& b) {
  return {a.holds && b.holds, std::max(a.strain, b.strain)};
}
/// Of every moment of every shape but the flat one, which comes first.
HeldAt worst_bent(const Planned& in, const BedModel& model, const std::vector<std::vector<Solved>>& shapes) {
  HeldAt out;
  for (std::size_t k = 1; k < shapes.size(); ++k)
    for (const Solved& solved : shapes[k]) out = worse(out, held_at(in, model, solved));
  return out;
}
/// The bent shapes with one share of the bow after the other, in a few moments of the closing.
class Bending {
 public:
  Bending(const Planned& in, const Closing& closing, const BedModel& model, std::vector<double> moments)
      : in_(in), closing_(closing), model_(model), moments_(std::move(moments)) {}
  HeldAt with(double bend) {
    parallel_for(
        last_.size() - 1,
        [&](std::size_t k) {
          const auto shape = static_cast<FreeShape>(k + 1);
          std::vector<Solved> now;
          for (std::size_t i = 0; i < moments_.size(); ++i) {
            // What contacts did with a bow not far from this one is the best guess.
            const Solved* like = !last_[k + 1].empty() ? &last_[k + 1][i] : nullptr;
            if (!like && i > 0) like = &now.back();
            now.push_back(closing_.press(moments_[i], shape, like, bend, &likeness_[k + 1]));
          }
          last_[k + 1] = std::move(now);
        },
        1);
    std::vector<Solved*> list;
    for (std::vector<Solved>& moments : last_)
      for (Solved& solved : moments) list.push_back(&solved);
    mechanics::bend(model_, list);
    return worst_bent(in_, model_, last_);
  }

 private:
  const Planned& in_;
  const Closing& closing_;
  const BedModel& model_;
  std::vector<double> moments_;
  std::vector<std::vector<Solved>> last_ = std::vector<std::vector<Solved>>(kFreeShapes);  // by shape
  std::array<PressedPlate::Likeness, kFreeShapes> likeness_;
};

/// 4 d t / L^2 of a parabola that rises by d over L: its curvature 8 d / L^2 times half of the thickness.
Microstrain flattening_of(const Planned& in) {
  const Box box = bounds(in.board.outline.outer);
  const double length = std::max(box.width(), box.height());
  return Microstrain{length > 0 ? 4e6 * bow_of(in) * in.board.thickness.v / length : 0};
}
}  // namespace

BowMargin bow_margin(const Planned& in, const Closing& closing, const BedModel& model,
                     const std::vector<std::vector<Solved>>& shapes) {
  HeldAt flat;
  for (const Solved& solved : shapes.front()) flat = worse(flat, held_at(in, model, solved));
  const HeldAt bent = worst_bent(in, model, shapes);
  Bending bending(in, closing, model, deciding(shapes));
  BowMargin out;
  out.allowed = bow_of(in);
  out.measured = in.job.mechanics.bow.has_value();
  out.flattening = flattening_of(in);
  // So fine that it hardly moves the figure as it is printed.
  constexpr int kSteps = 4, kHalvings = 4;
  double held = flat.holds ? 0 : -1, lost = 2;
  const auto note = [&](double share, const HeldAt& found) {
    out.curve.emplace_back(share * out.allowed, found.strain);
    if (found.holds && share > held && share < lost) held = share;
    if (!found.holds) lost = std::min(lost, share);
  };
  note(0, flat);
  for (int i = 1; i < kSteps; ++i) {
    const double share = static_cast<double>(i) / kSteps;
    note(share, bending.with(share));
  }
  note(1, bent);
  for (int i = 0; i < kHalvings && held >= 0 && lost <= 1; ++i) {
    const double share = (held + lost) / 2;
    if (bending.with(share).holds)
      held = share;
    else
      lost = share;
  }
  out.tolerated = std::max(held, 0.0) * out.allowed;
  return out;
}

}  // namespace teasel::mechanics

namespace teasel {

std::string strain_text(Microstrain strain) {
  constexpr double kStep = 10;
  return short_number(kStep * std::ceil(strain.v / kStep - 1e-9), 0);
}

std::string bow_sentence(const BowMargin& bow) {
  const auto percent = [](double share) { return short_number(100 * share, 2) + " %"; };
  return "a board bowed or twisted by " + percent(bow.allowed) +
         (bow.measured ? ", as was measured" : ", as is allowed") +
         ", bends beyond its limits: pressing it flat alone strains it " + strain_text(bow.flattening) +
         " microstrain, whatever the bed does; this bed tolerates " +
         (bow.tolerated > 0 ? percent(bow.tolerated) : std::string("no bow at all"));
}

}  // namespace teasel
