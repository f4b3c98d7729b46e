// What would help a board that is strained too much: fewer probes there, or softer springs.
#include <algorithm>

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
}  // namespace

std::vector<TriedChange> try_changes(const Planned& in, const Mechanics& mechanics) {
  std::vector<TriedChange> out;
  if (!mechanics.used || mechanics.flat_holds || !mechanics.over) return out;
  constexpr double kSofter[] = {0.7, 0.5};
  constexpr std::size_t kFewer[] = {2, 5, 10};
  for (const double force : kSofter) {
    out.push_back(tried(in, mechanics,
                        "springs of all probes with " + short_number(100 * force, 0) + " % of their force",
                        {.force = force, .without = {}}));
    if (out.back().holds()) break;
  }
  for (const std::size_t count : kFewer) {
    if (2 * count > in.option.probes.size()) break;
    const std::vector<ProbeId> probes = nearest_probes(in, mechanics.over->at, count);
    out.push_back(tried(in, mechanics, without_text(in, probes), {.force = 1, .without = probes}));
    if (out.back().holds()) break;
  }
  std::stable_sort(out.begin(), out.end(),
                   [](const TriedChange& a, const TriedChange& b) { return a.strain / a.limit < b.strain / b.limit; });
  return out;
}

}  // namespace teasel::mechanics
