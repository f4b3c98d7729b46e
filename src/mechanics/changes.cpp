// What would help a board that is strained too much or not held: fewer probes there, softer springs, or other places
// for what holds it.
#include <algorithm>
#include <cmath>
#include <set>

#include "bed.h"
#include "teasel/words.h"

namespace teasel::mechanics {

namespace {
TriedChange tried(const Planned& in, const Mechanics& mechanics, std::string what, const Variation& variation) {
  TriedChange out;
  out.what = std::move(what);
  // Large beds on a coarser mesh: what is told is how much a change helps.
  constexpr std::size_t kLarge = 600;
  const bool large = in.option.probes.size() > kLarge;
  const BedModel model(in, mechanics.supports, (large ? 2 : 1) * in.rules.mechanics.mesh, !large, variation);
  if (!model.ok()) return out;
  const std::vector<Solved> moments = Closing(in, model, model.all_supports()).follow(FreeShape::flat);
  const WorstGauge worst = worst_gauge(model, moments);
  for (const ProbeId probe : in.option.probes.ids())
    out.lost += !std::count(variation.without.begin(), variation.without.end(), probe) &&
                !in_window(in, model, probe, Mm{moments.back().forces.travel[probe.index()]});
  out.tips = out.lost > 0 && turns_over(model, moments.back().bending);
  if (!worst.solved) return out;
  const Gauge& gauge = model.gauges()[worst.gauge];
  out.component = gauge.component;
  out.strain = worst.strain();
  out.limit = Microstrain{gauge.limit * 1e6};
  return out;
}

/// Those nearest to the strained corner.
std::vector<ProbeId> nearest_probes(const Planned& in, BoardPoint at, std::size_t count) {
  std::vector<std::pair<double, ProbeId>> order;
  for (const ProbeId probe : in.option.probes.ids())
    order.emplace_back(distance(in.access.spots[in.option.probes[probe].spot].at, at), probe);
  count = std::min(count, order.size());
  std::partial_sort(order.begin(), order.begin() + static_cast<std::ptrdiff_t>(count), order.end());
  std::vector<ProbeId> out;
  for (std::size_t i = 0; i < count; ++i) out.push_back(order[i].second);
  return out;
}

std::string without_text(const Planned& in, const std::vector<ProbeId>& probes) {
  Few names(6);
  for (const ProbeId id : probes) {
    const PlacedProbe& probe = in.option.probes[id];
    names.add(probe.name + " (" + in.board.nets[in.needs[probe.need].net].name.text() + ")");
  }
  return "without " + plural(probes.size(), "probe", "probes") + " " + names.text();
}

std::string names_of(const Planned& in, const std::vector<ComponentId>& parts) {
  Few names(8);
  for (const ComponentId id : parts) names.add(in.board.components[id].name.text());
  return names.text();
}

/// Supports laid out anew with what is supposed. Where parts may bear fingers, those that do are told.
TriedChange laid_out_anew(const Planned& in, const std::string& what, Supposed supposed) {
  Planned with = in;
  with.supposed = std::move(supposed);
  Mechanics bed;
  Diagnostics own;
  std::size_t candidates = 0;
  bed.supports = lay_out(with, candidates, own);
  std::set<std::string> bear;
  for (const PlacedSupport& support : bed.supports)
    if (const Component* part = part_under(with, support)) bear.insert(part->name.text());
  return tried(with, bed, bear.empty() ? what : what + ", on " + Few({bear.begin(), bear.end()}, 8).text(), {});
}

/// Places for what holds the board on this side that a measurement or a word of the job would open.
void other_places(const Planned& in, Side side, std::vector<TriedChange>& out) {
  Supposed supposed;
  for (const ComponentId id : in.board.components.ids()) {
    const Component& part = in.board.components[id];
    const StylePlate* plate = carrier(in, side);
    if (part.side == side && part.fitted && parts_inside(in.board, part) > 0) {
      supposed.absent.push_back(id);
      continue;
    }
    if (part.side == side && part.fitted && !part.body.empty() && part.height_known == Known::assumed && plate &&
        pocket_depth(in.style, plate->at_work, part.height) > Mm{})
      supposed.low.push_back(id);
  }
  const std::string on = std::string(" on the ") + to_string(side) + " side",
                    wide = supposed.absent.empty() ? ""
                                                   : "if the assumed body of " + names_of(in, supposed.absent) + on +
                                                         ", which covers many parts, is none",
                    low = supposed.low.empty() ? wide
                                               : (wide.empty() ? "if" : wide + ", and if") +
                                                     " the assumed heights of " + names_of(in, supposed.low) + on +
                                                     " prove too large, so that they need no pockets: measure them";
  if (!low.empty()) {
    out.push_back(laid_out_anew(in, low, supposed));
    if (out.back().holds()) return;
  }
  supposed.press_on = sturdy_parts(in, side);
  if (supposed.press_on.empty()) return;
  out.push_back(laid_out_anew(
      in,
      (low.empty() ? "" : low + ", and ") + "with fingers on parts that may bear them, named under mechanics.press_on",
      supposed));
}
}  // namespace

std::vector<TriedChange> try_changes(const Planned& in, const Mechanics& mechanics) {
  std::vector<TriedChange> out;
  if (mechanics.used ? mechanics.flat_holds : !mechanics.not_held) return out;
  constexpr double kSofter[] = {0.7, 0.5};
  constexpr std::size_t kFewer[] = {2, 5, 10}, kLarge = 300;
  const bool alone = mechanics.used && mechanics.over && !mechanics.tips;
  for (const double force : kSofter) {
    if (!alone) break;
    out.push_back(tried(in, mechanics,
                        "springs of all probes with " + short_number(100 * force, 0) + " % of their force",
                        {.force = force, .without = {}}));
    if (out.back().holds()) break;
  }
  for (const std::size_t count : kFewer) {
    if (!alone || 2 * count > in.option.probes.size()) break;
    const std::vector<ProbeId> probes = nearest_probes(in, mechanics.over->at, count);
    out.push_back(tried(in, mechanics, without_text(in, probes), {.force = 1, .without = probes}));
    if (out.back().holds()) break;
  }
  // Laying out anew takes as long as the first layout.
  if (in.option.probes.size() <= kLarge && in.job.mechanics.lay_out_supports && !in.standing.used)
    for (const Side side : kBothSides)
      if (in.option.option.probed(other(side))) other_places(in, side, out);
  // What does not help is not told.
  constexpr double kWorth = 0.97;
  const double now = alone ? mechanics.over->strain / mechanics.over->limit : INFINITY;
  out.erase(std::remove_if(out.begin(), out.end(),
                           [&](const TriedChange& change) {
                             return !change.holds() && (change.tips || change.strain / change.limit > kWorth * now);
                           }),
            out.end());
  std::stable_sort(out.begin(), out.end(), [](const TriedChange& a, const TriedChange& b) {
    if (a.holds() != b.holds()) return a.holds();
    if (a.tips != b.tips) return b.tips;
    return a.strain / a.limit < b.strain / b.limit;
  });
  return out;
}

}  // namespace teasel::mechanics
