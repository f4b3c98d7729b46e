// Where to hold the board: greedily to the limits, then back to as few as keep them.
#include <cmath>

#include "teasel/mechanics/steady.h"
#include "teasel/parallel.h"
#include "teasel/point_grid.h"
#include "trial.h"

namespace teasel::mechanics {

namespace {
constexpr double kEnough = 1e-9;
constexpr SceneNumber kFlat = scene_of(FreeShape::flat);
constexpr double kWorth = 1e-3;  // share of what is lacking that a step must take away

/// Not nearer to one another than needed for no more than `most`.
std::vector<BoardPoint> thinned_out(const std::vector<BoardPoint>& places, const std::vector<BoardPoint>& keep,
                                    double least, std::size_t most) {
  most = std::max(most, keep.size());
  for (double gap = least;; gap *= 1.2) {
    std::vector<BoardPoint> out = keep;
    PointGrid taken(gap);
    for (std::size_t i = 0; i < keep.size(); ++i) taken.add(keep[i], static_cast<int>(i));
    for (const BoardPoint place : places) {
      if (const int near = taken.nearest(place, gap);
          near >= 0 && distance(place, out[static_cast<std::size_t>(near)]) < gap)
        continue;
      taken.add(place, static_cast<int>(out.size()));
      out.push_back(place);
      if (out.size() > most) break;
    }
    if (out.size() <= most) return out;
  }
}

class Layout {
 public:
  Layout(const Planned& in, Diagnostics& d) : in_(in), down_(in.option.option.main) { find_candidates(d); }
  std::vector<PlacedSupport> run();
  [[nodiscard]] std::size_t candidates() const { return candidates_.size(); }

 private:
  using Set = std::vector<char>;  ///< by candidate
  void find_candidates(Diagnostics& d);
  [[nodiscard]] Set by_reach() const;
  [[nodiscard]] Set a_few() const;
  [[nodiscard]] bool fits(std::size_t k, const Set& present) const;
  void improve(Set& present, const Scenes& scenes) const;
  [[nodiscard]] std::vector<std::size_t> apart(const std::vector<std::pair<double, std::size_t>>& order,
                                               const Set& present, std::size_t most) const;
  bool shift(Set& present, const Scenes& scenes) const;
  void prune(Set& present, const Scenes& scenes) const;
  [[nodiscard]] double steadiness_of(const Set& present) const;
  void make_steady(Set& present) const;
  bool search(Set& present) const;
  void for_flat(Set& present) const;
  [[nodiscard]] double over_while_closing(const Set& present, double bend, Scenes& scenes) const;
  [[nodiscard]] Set for_closing(Set present, double bend) const;
  [[nodiscard]] double room(const PlacedSupport& a) const {
    return std::max(a.finger ? in_.rules.finger_diameter.v : in_.style.stop_diameter.v,
                    a.finger ? in_.style.finger_hole.v : in_.style.stop_hole.v) +
           in_.style.web.v;
  }
  [[nodiscard]] bool is_stop(std::size_t k) const { return candidates_[k].side == down_ && !candidates_[k].finger; }
  [[nodiscard]] static std::ptrdiff_t size(const Set& s) { return std::count(s.begin(), s.end(), 1); }
  [[nodiscard]] std::vector<PlacedSupport> named(const Set& present) const;

  const Planned& in_;
  Side down_;
  std::vector<PlacedSupport> candidates_;
  std::size_t by_reach_ = 0;  ///< so many of them, the first, are the layout by reach
  std::unique_ptr<Trial> trial_;
};

void Layout::find_candidates(Diagnostics& diagnostics) {
  constexpr double kPlace = 12 * 12;  // mm2 of the board for one candidate of a side
  constexpr double kFewest = 120, kMost = 300;
  candidates_ = supports_by_reach(in_, diagnostics);
  by_reach_ = candidates_.size();
  const auto most = static_cast<std::size_t>(std::clamp(area(in_.board.outline) / kPlace, kFewest, kMost));
  // Where the board lies, fingers stand in for stops where there is no room for one.
  for (const auto& [side, finger] : {std::pair{down_, false}, {down_, true}, {other(down_), true}}) {
    if (!carrier(in_, side)) continue;
    std::vector<BoardPoint> keep;
    for (const PlacedSupport& support : candidates_)
      if (support.side == side) keep.push_back(support.at);
    const std::size_t there = keep.size();
    const std::vector<BoardPoint> all =
        thinned_out(free_places(in_, side, finger), keep, 4, side == down_ && finger ? there + most / 2 : most);
    for (std::size_t k = there; k < all.size(); ++k)
      candidates_.push_back(
          {.label = {}, .at = all[k], .side = side, .finger = finger, .by_hand = false, .standing = false});
  }
}

bool Layout::fits(std::size_t k, const Set& present) const {
  for (std::size_t other = 0; other < candidates_.size(); ++other)
    if (present[other] && other != k && candidates_[other].side == candidates_[k].side &&
        distance(candidates_[other].at, candidates_[k].at) < std::max(room(candidates_[other]), room(candidates_[k])))
      return false;
  return true;
}

/// The best of the order, and others far from those before them: what they do adds up.
std::vector<std::size_t> Layout::apart(const std::vector<std::pair<double, std::size_t>>& order, const Set& present,
                                       std::size_t most) const {
  constexpr double kApart = 25;  // mm
  std::vector<std::size_t> out;
  Set with = present;
  for (const auto& [lack, k] : order) {
    if (out.size() >= most) break;
    if (!fits(k, with) || std::any_of(out.begin(), out.end(), [&, at = candidates_[k].at](std::size_t other) {
          return distance(candidates_[other].at, at) < kApart;
        }))
      continue;
    out.push_back(k);
    with[k] = 1;
  }
  return out;
}

/// Adds the supports that are foretold to take most away, as long as they do.
void Layout::improve(Set& present, const Scenes& scenes) const {
  constexpr std::size_t kAlone = 6;     // tried one by one before it gives up
  constexpr std::ptrdiff_t kBatch = 8;  // one in so many may join at once
  Tried now = trial_->press(present, scenes);
  while (now.lack > kEnough) {
    const std::vector<double> foretold = trial_->foretold(now, present, true);
    std::vector<std::pair<double, std::size_t>> order;
    for (std::size_t k = 0; k < present.size(); ++k)
      if (!present[k] && foretold[k] < now.lack * (1 - kWorth) && fits(k, present)) order.emplace_back(foretold[k], k);
    std::sort(order.begin(), order.end());
    bool better = false;
    auto attempt = [&](const std::vector<std::size_t>& joining) {
      Set with = present;
      for (const std::size_t k : joining) with[k] = 1;
      Tried tried = trial_->press(with, scenes, &now, now.lack);
      better = tried.lack < now.lack * (1 - kWorth);
      if (better) {
        present = std::move(with);
        now = std::move(tried);
      }
      return better;
    };
    if (const auto many = apart(order, present, static_cast<std::size_t>(1 + size(present) / kBatch));
        many.size() > 1 && attempt(many))
      continue;
    for (std::size_t i = 0; i < std::min(kAlone, order.size()); ++i)
      if (attempt({order[i].second})) break;
    if (!better) return;
  }
}

/// Moves supports to places nearby, one after the other, where that takes something away. True if any moved.
bool Layout::shift(Set& present, const Scenes& scenes) const {
  constexpr std::size_t kNearby = 6;
  constexpr std::ptrdiff_t kMost = 60;  // supports times scenes: beyond, the place of one matters little
  if (size(present) * static_cast<std::ptrdiff_t>(scenes.size()) > kMost) return false;
  Tried now = trial_->press(present, scenes);
  bool moved = false;
  for (std::size_t k = 0; k < present.size() && now.lack > kEnough; ++k) {
    if (!present[k] || candidates_[k].stays()) continue;
    Set without = present;
    without[k] = 0;
    std::vector<std::pair<double, std::size_t>> nearby;
    for (std::size_t other = 0; other < present.size(); ++other)
      if (!present[other] && candidates_[other].side == candidates_[k].side &&
          candidates_[other].finger == candidates_[k].finger && fits(other, without))
        nearby.emplace_back(distance(candidates_[other].at, candidates_[k].at), other);
    const std::size_t count = std::min(kNearby, nearby.size());
    std::partial_sort(nearby.begin(), nearby.begin() + static_cast<std::ptrdiff_t>(count), nearby.end());
    for (std::size_t i = 0; i < count; ++i) {
      Set with = without;
      with[nearby[i].second] = 1;
      Tried tried = trial_->press(with, scenes, &now, now.lack);
      if (tried.lack >= now.lack * (1 - kWorth)) continue;
      present = std::move(with);
      now = std::move(tried);
      moved = true;
      break;
    }
  }
  return moved;
}

/// Of the board that lies on the stops, mm; far below zero where three of them span nothing.
double Layout::steadiness_of(const Set& present) const {
  std::vector<BoardPoint> stops;
  for (std::size_t k = 0; k < present.size(); ++k)
    if (present[k] && is_stop(k)) stops.push_back(candidates_[k].at);
  return steadiness(in_.board, stops).value_or(Mm{-1e6 + static_cast<double>(stops.size())}).v;
}

/// Adds stops until a board that is laid in does not tip, as far as there are places for them.
void Layout::make_steady(Set& present) const {
  for (double now = steadiness_of(present); now < kSteady.v;) {
    std::size_t best = present.size();
    double most = now;
    for (std::size_t k = 0; k < present.size(); ++k) {
      if (present[k] || !is_stop(k) || !fits(k, present)) continue;
      Set with = present;
      with[k] = 1;
      if (const double steady = steadiness_of(with); steady > most) {
        most = steady;
        best = k;
      }
    }
    if (best == present.size()) return;
    present[best] = 1;
    now = most;
  }
}

/// Takes away what is not needed, what is foretold to do least harm first, many at once where that is harmless.
void Layout::prune(Set& present, const Scenes& scenes) const {
  constexpr std::ptrdiff_t kStops = 3;  // carry the board when it is laid in
  make_steady(present);
  const double steady = std::min(steadiness_of(present), kSteady.v);
  Tried now = trial_->press(present, scenes);
  const double allowed = now.lack * (1 + 1e-3) + kEnough;
  const std::vector<double> foretold = trial_->foretold(now, present, false);
  std::vector<std::pair<double, std::size_t>> order;
  for (std::size_t k = 0; k < present.size(); ++k)
    if (present[k] && !candidates_[k].stays()) order.emplace_back(foretold[k], k);
  std::sort(order.begin(), order.end());
  std::ptrdiff_t stops = 0;
  for (std::size_t k = 0; k < present.size(); ++k) stops += present[k] && is_stop(k);
  std::size_t chunk = std::max<std::size_t>(1, order.size() / 3);
  for (std::size_t i = 0; i < order.size();) {
    Set without = present;
    std::ptrdiff_t left = stops;
    std::size_t j = i;
    bool any = false;
    for (; j < std::min(order.size(), i + chunk); ++j) {
      const std::size_t k = order[j].second;
      const bool stop = is_stop(k);
      if (stop && left <= kStops) continue;
      without[k] = 0;
      left -= stop;
      any = true;
    }
    if (any) {
      Tried tried = trial_->press(without, scenes, &now, allowed);
      if (tried.lack <= allowed && steadiness_of(without) >= steady) {
        present = std::move(without);
        now = std::move(tried);
        stops = left;
      } else if (chunk > 1) {
        chunk = (chunk + 1) / 2;
        continue;
      }
    }
    i = j;
  }
}

Layout::Set Layout::by_reach() const {
  Set out(candidates_.size());
  std::fill(out.begin(), out.begin() + static_cast<std::ptrdiff_t>(by_reach_), 1);
  return out;
}

/// A few of those by reach on each side, far from one another.
Layout::Set Layout::a_few() const {
  Set out(candidates_.size());
  for (std::size_t k = 0; k < by_reach_; ++k) out[k] = candidates_[k].stays();
  const Point middle = bounds(in_.board.outline.outer).centre();
  for (const Side side : {Side::bottom, Side::top}) {
    std::vector<std::size_t> left;
    for (std::size_t k = 0; k < by_reach_; ++k)
      if (candidates_[k].side == side) left.push_back(k);
    const std::size_t wanted = std::max<std::size_t>(3, left.size() / 6);
    for (std::size_t placed = 0; placed < wanted && placed < left.size(); ++placed) {
      double most = -1;
      std::size_t far = left[0];
      for (const std::size_t k : left) {
        if (out[k]) continue;
        double near = distance(candidates_[k].at, middle) + 1000;
        for (std::size_t other = 0; other < candidates_.size(); ++other)
          if (out[other] && candidates_[other].side == side)
            near = std::min(near, distance(candidates_[other].at, candidates_[k].at));
        if (near > most) {
          most = near;
          far = k;
        }
      }
      out[far] = 1;
    }
  }
  return out;
}

/// For all shapes, bent as the trial has them. False: none was found that holds them; `present` is then as it was.
bool Layout::search(Set& present) const {
  constexpr int kShifts = 6;
  constexpr double kNearly = 0.5;  // the finer mesh may hold what this one just misses
  const Set before = present;
  // Shapes join as they turn out to matter.
  Scenes scenes{kFlat}, others;
  for (const FreeShape shape :
       {FreeShape::bowed_up, FreeShape::bowed_down, FreeShape::twisted, FreeShape::twisted_back})
    others.push_back(scene_of(shape));
  while (true) {
    improve(present, scenes);
    if (others.empty()) break;
    const Tried tried = trial_->press(present, others);
    const auto worst = std::max_element(tried.shapes.begin(), tried.shapes.end(),
                                        [](const TriedShape& a, const TriedShape& b) { return a.lack < b.lack; });
    if (worst->lack <= kEnough) break;
    scenes.push_back(worst->scene);
    others.erase(others.begin() + (worst - tried.shapes.begin()));
  }
  Scenes all = scenes;
  all.insert(all.end(), others.begin(), others.end());
  Set bent = present;
  for (int round = 0; round < kShifts && shift(bent, all); ++round) improve(bent, all);
  if (trial_->press(bent, all).lack > kNearly) {
    present = before;
    return false;
  }
  prune(present = bent, all);
  return true;
}

/// Where the least bow is too much, a flat board decides.
void Layout::for_flat(Set& present) const {
  constexpr int kShifts = 6;
  improve(present, {kFlat});
  for (int round = 0; round < kShifts && shift(present, {kFlat}); ++round) improve(present, {kFlat});
  prune(present, {kFlat});
}

/// How far moments of the closing strain parts beyond their limits, a flat board first. Such moments become scenes.
double Layout::over_while_closing(const Set& present, double bend, Scenes& scenes) const {
  constexpr double kFlatCounts = 10;
  constexpr std::size_t kFiner = 5;  // a layout is judged closely once it is chosen
  const BedModel bed(trial_->model(), present);
  const Closing closing(in_, bed, bed.all_supports());
  std::vector<FreeShape> asked{FreeShape::flat};
  for (int k = 1; bend > 0 && k < kFreeShapes; ++k) asked.push_back(static_cast<FreeShape>(k));
  const std::vector<std::vector<Solved>> shapes = closing.follow(asked, bend, kFiner);
  double over = 0;
  for (std::size_t k = 0; k < shapes.size(); ++k) {
    const Solved& peak = Closing::peak(shapes[k]);
    const double lack = std::max(0.0, peak.worst / kSpare - 1);
    over += lack * (k == kFlat ? kFlatCounts : 1);
    if (lack > 0 && peak.moment.share < 1) scenes.push_back(trial_->add(static_cast<FreeShape>(k), peak));
  }
  return over;
}

/// While the bed closes, tips push before all that holds the board is there. Moments that show too much strain join
/// what is laid out for; the best set found counts.
Layout::Set Layout::for_closing(Set present, double bend) const {
  constexpr int kRounds = 3;
  Scenes scenes{kFlat};
  if (bend > 0)
    for (int k = 1; k < kFreeShapes; ++k) scenes.push_back(scene_of(static_cast<FreeShape>(k)));
  const std::size_t shut = scenes.size();
  Set best = present;
  double least = over_while_closing(present, bend, scenes);
  for (int round = 0; round < kRounds && least > 0 && scenes.size() > shut; ++round) {
    improve(present, scenes);
    if (shift(present, scenes)) improve(present, scenes);
    const double over = over_while_closing(present, bend, scenes);
    if (over >= least * (1 - kWorth)) break;
    best = present;
    least = over;
  }
  if (scenes.size() == shut) return best;
  // Fewer of them make other moments the worst: what those lack is put right once more.
  Set fewer = best;
  prune(fewer, scenes);
  const double allowed = least * (1 + kWorth) + kEnough;
  if (over_while_closing(fewer, bend, scenes) <= allowed) return fewer;
  improve(fewer, scenes);
  return over_while_closing(fewer, bend, scenes) <= allowed && size(fewer) < size(best) ? fewer : best;
}

std::vector<PlacedSupport> Layout::named(const Set& present) const {
  std::vector<PlacedSupport> out;
  for (std::size_t k = 0; k < candidates_.size(); ++k)
    if (present[k]) out.push_back(candidates_[k]);
  name_supports(out);
  return out;
}

std::vector<PlacedSupport> Layout::run() {
  if (in_.option.probes.empty()) return named(by_reach());
  trial_ = std::make_unique<Trial>(in_, candidates_);
  if (!trial_->ok()) return named(by_reach());
  // From the layout by reach, and on beds that are not large from a few of it; the smaller of what lacks least.
  constexpr std::size_t kLarge = 800;
  std::vector<Set> starts{by_reach()};
  if (in_.option.probes.size() < kLarge) starts.push_back(a_few());
  // Where flattening a board of the whole bow strains it too much whatever holds it, the largest share of the bow that
  // can be held decides: supports that only bowed boards need are kept.
  for (const double share : {1.0, 0.75, 0.5, 0.33, 0.25, 0.0}) {
    trial_->bend_by(share);
    Set best;
    double least = INFINITY;
    for (Set present : starts) {
      if (share > 0 && !search(present)) continue;
      if (!(share > 0)) for_flat(present);
      const double lack = trial_->press(present, {kFlat}).lack;
      if (best.empty() || lack < least - kEnough || (lack <= least + kEnough && size(present) < size(best))) {
        best = present;
        least = lack;
      }
    }
    if (!best.empty()) return named(for_closing(best, share));
  }
  return named(by_reach());
}
}  // namespace

std::vector<PlacedSupport> lay_out(const Planned& in, std::size_t& candidates, Diagnostics& diagnostics) {
  Layout layout(in, diagnostics);
  candidates = layout.candidates();
  return layout.run();
}

}  // namespace teasel::mechanics
