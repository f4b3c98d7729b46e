// How the bed closes. The lower probes stand still. What stands over the board comes down on it, or air is drawn from
// under it. Where the board lies on a moving plate, that plate stays at rest until its stops bear more than its springs
// push with; then it sinks as far as both balance, no higher than the spacers between it and the upper plate leave it,
// down to its stroke stops.
#include <algorithm>
#include <cmath>

#include "bed.h"
#include "teasel/parallel.h"

namespace teasel::mechanics {

namespace {
constexpr std::size_t kEven = 10;  // moments, evenly spaced
constexpr std::size_t kEvenOfMany = 6;
constexpr std::size_t kMany = 300;   // probes
constexpr double kNear = 1.0 / 256;  // of the closing: moments that lie so near are one

bool does_the_same(const Solved& a, const Solved& b) {
  return a.moment.lying == b.moment.lying && a.forces.does == b.forces.does;
}
std::vector<Solved>::const_iterator peak_of(const std::vector<Solved>& moments) {
  return std::max_element(moments.begin(), moments.end(),
                          [](const Solved& a, const Solved& b) { return a.worst < b.worst; });
}

/// The moment after the wider of the two gaps beside the peak that may hide a higher one; the end: there is none.
std::vector<Solved>::const_iterator after_gap(const std::vector<Solved>& moments,
                                              std::vector<Solved>::const_iterator peak, double widest = kNear) {
  auto after = moments.end();
  for (const auto right : {peak, peak + 1}) {
    if (right == moments.begin() || right == moments.end()) continue;
    const double gap = right->moment.share - (right - 1)->moment.share;
    if (gap <= widest || does_the_same(*right, *(right - 1))) continue;
    widest = gap;
    after = right;
  }
  return after;
}
}  // namespace

Closing::Closing(const Planned& in, const BedModel& model, std::vector<char> supports)
    : in_(in), model_(model), supports_(std::move(supports)) {
  const std::size_t count = model.press().contacts().size();
  // A flat board before anything is pressed lies on its stops or on the lower tips, whichever stand higher.
  double lies = model.moving() ? model.moving()->stroke.v : 0;
  bool over = false;
  for (std::size_t i = 0; i < model.probes(); ++i)
    if (!model.is_over(i)) lies = std::max(lies, model.reach(i));
  double bow = 0;
  for (int k = 0; k < kFreeShapes; ++k)
    for (const double height : model.free_shape(static_cast<FreeShape>(k))) bow = std::max(bow, std::abs(height));
  for (std::size_t i = 0; i < count; ++i) {
    if (!model.is_known(i) || !model.is_over(i)) continue;
    if (i >= model.probes() && !supports_[i - model.probes()]) continue;
    over = true;
    const double reach = i < model.probes() ? model.reach(i) : 0;
    way_ = std::max(way_, (lies + reach + bow) / std::max(0.1, model.slant(i)));
  }
  by_air_ = !over;
  spacers_ = !in.kit && in.style.mechanism.used && model.moving();
  const std::size_t even = model.probes() > kMany ? kEvenOfMany : kEven;
  for (std::size_t i = 1; i <= even; ++i) even_.push_back(static_cast<double>(i) / static_cast<double>(even));
}

Moment Closing::at(double share) const {
  Moment out;
  out.share = share;
  out.to_go = by_air_ ? 0 : (1 - share) * way_;
  out.pressure = share * vacuum_of(in_).v;
  return out;
}

/// As if a rigid board lay on the moving plate at rest: which tips and feet reach it.
std::vector<char> Closing::first_guess(const Moment& moment) const {
  constexpr char kNothing = 0, kHeld = 1, kWorks = 2;
  const double lies = model_.moving() && moment.share < 1 ? model_.moving()->stroke.v : 0;
  std::vector<char> out;
  for (std::size_t i = 0; i < model_.press().contacts().size(); ++i) {
    const bool over = model_.is_known(i) && model_.is_over(i);
    const double off = over ? moment.to_go * model_.slant(i) : 0;
    if (i < model_.probes()) {
      const double reach = model_.reach(i);
      out.push_back((over ? off - reach < lies : reach > lies) ? kWorks : kNothing);
    } else
      out.push_back((over ? off <= lies : model_.is_carried(i) || lies <= 0) ? kHeld : kNothing);
  }
  return out;
}

Solved Closing::press(double share, FreeShape shape, const Solved* like, double bend,
                      PressedPlate::Likeness* likeness) const {
  Moment moment = at(share);
  const std::vector<char> guess = like ? like->forces.does : first_guess(moment);
  const std::optional<MovingPlate>& moving = model_.moving();
  if (share >= 1 || !moving) return press_shape(model_, moment, shape, supports_, guess, bend, likeness);
  const double stroke = moving->stroke.v, highest = spacers_ && !by_air_ ? std::min(stroke, moment.to_go) : stroke;
  const auto rigid = [&](double raised, Lying lying) {
    moment.raised = raised;
    moment.lying = lying;
    return press_shape(model_, moment, shape, supports_, guess, bend, likeness);
  };
  const auto not_sunk = [&] { return rigid(highest, highest < stroke ? Lying::driven : Lying::rests); };
  // As the last moment did, if that still agrees with itself: what the stops bear, and what the springs push there.
  const double rate = spring_rate(*moving), rest = moving->at_rest().v;
  const auto stops_bear = [&](const Solved& solved) {
    double sum = 0;
    for (std::size_t i = model_.probes(); i < solved.forces.force.size(); ++i)
      if (model_.is_carried(i)) sum += solved.forces.force[i];
    return sum;
  };
  const auto springs_push = [&](double raised) { return rest + rate * (stroke - raised); };
  if (!like || like->moment.lying == Lying::rests || like->moment.lying == Lying::driven) {
    Solved held = not_sunk();
    if (stops_bear(held) <= springs_push(highest)) return held;
  } else if (like->moment.lying == Lying::at_work) {
    Solved down = rigid(0, Lying::at_work);
    if (stops_bear(down) >= springs_push(0)) return down;
  }
  moment.lying = Lying::floats;
  Solved floats = press_shape(model_, moment, shape, supports_, guess, bend, likeness);
  const double raised = stroke - (stops_bear(floats) - rest) / rate;
  if (raised > highest) return not_sunk();
  if (raised < 0) return rigid(0, Lying::at_work);
  floats.moment.raised = raised;
  return floats;
}

std::vector<Solved> Closing::press_each(const std::vector<double>& shares, FreeShape shape, double bend,
                                        PressedPlate::Likeness& likeness) const {
  std::vector<Solved> out;
  for (const double share : shares)
    out.push_back(press(share, shape, out.empty() ? nullptr : &out.back(), bend, &likeness));
  return out;
}

std::vector<Solved> Closing::press_all(const std::vector<double>& shares, FreeShape shape) const {
  PressedPlate::Likeness likeness;
  std::vector<Solved> out = press_each(shares, shape, 1, likeness);
  bend_all(out);
  return out;
}

void Closing::bend_all(std::vector<Solved>& moments) const {
  std::vector<Solved*> list;
  for (Solved& solved : moments) list.push_back(&solved);
  mechanics::bend(model_, list);
}

std::vector<Solved> Closing::follow(FreeShape shape) const {
  std::vector<Solved> out;
  out.swap(follow(std::vector{shape}).front());
  return out;
}

std::vector<std::vector<Solved>> Closing::follow(const std::vector<FreeShape>& shapes, double bend,
                                                 std::size_t most_finer) const {
  std::vector<std::vector<Solved>> out(shapes.size());
  std::vector<PressedPlate::Likeness> likeness(shapes.size());
  parallel_for(
      shapes.size(), [&](std::size_t k) { out[k] = press_each(even_, shapes[k], bend, likeness[k]); }, 1);
  std::vector<Solved*> fresh;
  for (std::vector<Solved>& moments : out)
    for (Solved& solved : moments) fresh.push_back(&solved);
  mechanics::bend(model_, fresh);
  // All shapes step by step, so that the board is bent for all of them at once.
  for (std::size_t finer = 0; finer < most_finer; ++finer) {
    std::vector<std::optional<Solved>> between(shapes.size());
    std::vector<std::size_t> places(shapes.size());
    parallel_for(
        shapes.size(),
        [&](std::size_t k) {
          const auto after = after_gap(out[k], peak_of(out[k]));
          if (after == out[k].end()) return;
          places[k] = static_cast<std::size_t>(after - out[k].begin());
          const double share = ((after - 1)->moment.share + after->moment.share) / 2;
          between[k] = press(share, shapes[k], &*(after - 1), bend, &likeness[k]);
        },
        1);
    fresh.clear();
    for (std::optional<Solved>& solved : between)
      if (solved) fresh.push_back(&*solved);
    if (fresh.empty()) break;
    mechanics::bend(model_, fresh);
    for (std::size_t k = 0; k < shapes.size(); ++k)
      if (between[k]) out[k].insert(out[k].begin() + static_cast<std::ptrdiff_t>(places[k]), std::move(*between[k]));
  }
  return out;
}

const Solved& Closing::peak(const std::vector<Solved>& moments) {
  return *peak_of(moments);
}

Mm Closing::peak_within(const std::vector<Solved>& moments) const {
  const auto after = after_gap(moments, peak_of(moments), 0);
  return after == moments.end() ? Mm{} : Mm{way_ * (after->moment.share - (after - 1)->moment.share) / 2};
}

}  // namespace teasel::mechanics
