// Where to hold the board: greedily to the limits, then back to as few as keep them.
#include <cmath>
#include <set>

#include "bed.h"
#include "teasel/parallel.h"

namespace teasel::mechanics {

namespace {
constexpr std::size_t kMostCandidates = 120;  // a side
constexpr int kTrialRounds = 120;
constexpr double kUnsettled = 1e6;            // worse than any sum of what is lacking
constexpr double kSpare = 0.9;                // of the limits: the final mesh is finer than this one's

/// Not nearer to one another than needed for no more than so many.
std::vector<Point> thinned_out(const std::vector<Point>& places, const std::vector<Point>& keep, double least) {
  for (double gap = least;; gap *= 1.2) {
    std::vector<Point> out = keep;
    for (const Point p : places)
      if (std::none_of(out.begin(), out.end(), [&](Point q) { return distance(p, q) < gap; })) out.push_back(p);
    if (out.size() <= std::max(kMostCandidates, keep.size())) return out;
  }
}

class Layout {
 public:
  Layout(const BedInputs& in, Diagnostics& d) : in_(in), d_(d) {}
  std::vector<PlacedSupport> run(std::size_t& candidates, bool& holds);

 private:
  void find_candidates();
  double wrong(const std::vector<char>& present, FreeShape shape, Point* where) const;
  double wrong(const std::vector<char>& present, Point* where) const;
  bool fits(std::size_t k, const std::vector<char>& present) const;
  void improve(std::vector<char>& present);
  void prune(std::vector<char>& present);
  double apart(const PlacedSupport& a) const { return std::max(a.finger ? in_.rules.finger_diameter.v : in_.style.stop_diameter.v, a.finger ? in_.style.finger_hole.v : in_.style.stop_hole.v) + in_.style.web.v; }

  const BedInputs& in_;
  Diagnostics& d_;
  std::vector<PlacedSupport> candidates_;
  std::vector<char> by_reach_;
  std::unique_ptr<BedModel> model_;
  std::vector<std::vector<double>> gauge_;                    // by contact: three curvatures of every gauge from one newton up
  std::array<std::vector<double>, kFreeShapes> gauge_base_;   // the same if all springs work and nothing else pushes
  mutable std::vector<double> gauges_now_;
  std::array<PreparedState, kFreeShapes> prepared_;
  std::vector<FreeShape> shapes_{FreeShape::flat};
  mutable std::array<std::vector<char>, kFreeShapes> guess_;  // the last state of contacts, by shape
  Stage full_{"full stroke", 1, false};
};

void Layout::find_candidates() {
  candidates_ = supports_by_reach(in_, d_);
  by_reach_.assign(candidates_.size(), 1);
  const Side down = in_.option.option.main;
  for (const Side side : {down, other(down)}) {
    if (!carrier(in_, side)) continue;
    const bool finger = side != down;
    std::vector<Point> keep;
    for (const PlacedSupport& s : candidates_)
      if (s.side == side && s.finger == finger) keep.push_back(s.at);
    const std::size_t there = keep.size();
    const std::vector<Point> all = thinned_out(free_places(in_, side, finger), keep, 4);
    for (std::size_t k = there; k < all.size(); ++k) candidates_.push_back({{}, all[k], side, finger, false}), by_reach_.push_back(0);
  }
}

double Layout::wrong(const std::vector<char>& present, FreeShape shape, Point* where) const {
  const auto k = static_cast<std::size_t>(shape);
  auto& guess = guess_[k];
  const PreparedState& s = prepared_[k];
  const std::size_t n = model_->probes();
  std::vector<char> there(n, 1);
  there.insert(there.end(), present.begin(), present.end());
  const ContactForces f = model_->press().solve(s, there, guess, kTrialRounds);
  if (!f.settled) return guess.clear(), kUnsettled;
  guess = f.does;
  // A support that is tried out next is taken to hold.
  for (std::size_t c = n; c < guess.size(); ++c)
    if (!present[c - n]) guess[c] = 1;
  double sum = 0, worst = 0;
  auto count = [&](double lack, Point at_place) {
    if (lack <= 0) return;
    sum += lack;
    if (lack > worst && where) *where = at_place;
    worst = std::max(worst, lack);
  };
  for (std::size_t i = 0; i < n; ++i) {
    const ProbeClass& c = in_.catalogue.classes[at(in_.option.probes[i].probe_class)];
    // Lengths in millimetres beside shares of a limit: a millimetre out of the window is as bad as twice the strain.
    const double inside = (1 - kSpare) * (c.most_travel.v - c.least_travel.v) / 2;
    count(std::max(c.least_travel.v + inside - f.travel[i], f.travel[i] - c.most_travel.v + inside), in_.access.spots[at(in_.option.probes[i].spot)].at);
  }
  const auto& contacts = model_->press().contacts();
  gauges_now_ = gauge_base_[k];
  for (std::size_t j = 0; j < contacts.size(); ++j) {
    const double up = contacts[j].from_below ? f.extra[j] : -f.extra[j];
    if (up == 0) continue;
    const std::vector<double>& by_gauge = gauge_[j];
    for (std::size_t g = 0; g < by_gauge.size(); ++g) gauges_now_[g] += up * by_gauge[g];
  }
  for (std::size_t g = 0; g < model_->gauges().size(); ++g) {
    const Gauge& x = model_->gauges()[g];
    count(Curvature{gauges_now_[3 * g], gauges_now_[3 * g + 1], gauges_now_[3 * g + 2]}.strain(model_->stiffness().thickness) / (kSpare * x.limit) - 1, x.at);
  }
  return sum;
}

double Layout::wrong(const std::vector<char>& present, Point* where) const {
  double sum = 0, worst = -1;
  for (const FreeShape s : shapes_) {
    Point p;
    const double w = wrong(present, s, &p);
    if (w > worst && where) *where = p;
    worst = std::max(worst, w), sum += w;
  }
  return sum;
}

bool Layout::fits(std::size_t k, const std::vector<char>& present) const {
  for (std::size_t o = 0; o < candidates_.size(); ++o)
    if (present[o] && o != k && candidates_[o].side == candidates_[k].side && distance(candidates_[o].at, candidates_[k].at) < std::max(apart(candidates_[o]), apart(candidates_[k]))) return false;
  return true;
}

/// Adds the support near the worst place that takes most away, again and again.
void Layout::improve(std::vector<char>& present) {
  constexpr std::size_t kTried = 10;
  constexpr int kMost = 400;
  Point where;
  double now = wrong(present, &where);
  std::set<std::size_t> useless;
  constexpr int kMissed = 4;
  int missed = 0;
  for (int step = 0; step < kMost && now > 1e-9; ++step) {
    std::vector<std::pair<double, std::size_t>> near;
    for (std::size_t k = 0; k < candidates_.size(); ++k)
      if (!present[k] && !useless.count(k) && fits(k, present)) near.emplace_back(distance(candidates_[k].at, where), k);
    const std::size_t n = std::min(kTried, near.size());
    if (n == 0) return;
    std::partial_sort(near.begin(), near.begin() + static_cast<std::ptrdiff_t>(n), near.end());
    double best = now - 1e-9;
    std::size_t taken = candidates_.size();
    Point next = where;
    for (std::size_t i = 0; i < n; ++i) {
      present[near[i].second] = 1;
      Point p;
      if (const double w = wrong(present, &p); w < best) best = w, taken = near[i].second, next = p;
      present[near[i].second] = 0;
    }
    if (taken == candidates_.size()) {
      // None of these helps: others may.
      for (std::size_t i = 0; i < n; ++i) useless.insert(near[i].second);
      if (++missed > kMissed) return;
      continue;
    }
    present[taken] = 1, now = best, where = next;
    useless.clear(), missed = 0;
  }
}

/// Takes away what is not needed, least loaded first.
void Layout::prune(std::vector<char>& present) {
  const double allowed = wrong(present, nullptr) + 1e-9;
  if (allowed >= kUnsettled) return;
  std::vector<char> there(model_->probes(), 1);
  there.insert(there.end(), present.begin(), present.end());
  const ContactForces f = model_->press().solve(prepared_[0], there);
  std::vector<std::pair<double, std::size_t>> order;
  for (std::size_t k = 0; k < candidates_.size(); ++k)
    if (present[k] && !candidates_[k].by_hand) order.emplace_back(f.force[model_->probes() + k], k);
  std::sort(order.begin(), order.end());
  int stops = 0;
  const Side down = in_.option.option.main;
  for (std::size_t k = 0; k < candidates_.size(); ++k) stops += present[k] && candidates_[k].side == down;
  for (const auto& [force, k] : order) {
    // Three stops at least carry the board when it is laid in.
    const bool stop = candidates_[k].side == down;
    if (stop && stops <= 3) continue;
    present[k] = 0;
    if (wrong(present, nullptr) > allowed) present[k] = 1;
    else stops -= stop;
  }
}

std::vector<PlacedSupport> Layout::run(std::size_t& candidates, bool& holds) {
  find_candidates();
  candidates = candidates_.size();
  model_ = std::make_unique<BedModel>(in_, candidates_, in_.rules.mechanics.mesh.v, false);
  std::vector<PlacedSupport> out;
  auto pick = [&](const std::vector<char>& present) {
    out.clear();
    for (std::size_t k = 0; k < candidates_.size(); ++k)
      if (present[k]) out.push_back(candidates_[k]);
    name_supports(out);
    return out;
  };
  if (!model_->ok() || in_.option.probes.empty()) return holds = false, pick(by_reach_);
  // Curvature at every gauge from one newton at every contact.
  std::vector<std::vector<NodeLoad>> loads;
  for (const PressContact& c : model_->press().contacts()) loads.push_back(c.patch);
  const ElasticPlate& plate = model_->press().plate();
  const auto fields = plate.solve_all(loads);
  const auto even = plate.solve({}, 1);
  const auto& gauges = model_->gauges();
  auto curvatures = [&](const std::vector<double>& u) {
    std::vector<double> k(3 * gauges.size());
    for (std::size_t g = 0; g < gauges.size(); ++g)
      for (const auto& [t, w] : gauges[g].triangles) {
        const Curvature c = plate.curvature(t, u);
        k[3 * g] += w * c.xx, k[3 * g + 1] += w * c.yy, k[3 * g + 2] += w * c.xy2;
      }
    return k;
  };
  gauge_.resize(fields.size());
  parallel_for(fields.size(), [&](std::size_t j) { gauge_[j] = curvatures(fields[j]); }, 8);
  const std::vector<double> gauge_pressure = curvatures(even);
  for (int s = 0; s < kFreeShapes; ++s) {
    prepared_[at(s)] = model_->press().prepare(model_->state(full_, static_cast<FreeShape>(s), std::vector<char>(candidates_.size(), 1)));
    auto& base = gauge_base_[at(s)];
    base.assign(3 * gauges.size(), 0);
    for (std::size_t g = 0; g < base.size(); ++g) base[g] = prepared_[at(s)].pressure * gauge_pressure[g];
    for (std::size_t j = 0; j < fields.size(); ++j)
      if (const double idle = prepared_[at(s)].idle[j]; idle != 0)
        for (std::size_t g = 0; g < base.size(); ++g) base[g] += idle * gauge_[j][g];
  }
  // From the layout by reach, and from a few of it; the smaller of what keeps the limits.
  std::vector<char> best;
  double best_wrong = INFINITY;
  for (const bool from_reach : {true, false}) {
    std::vector<char> present(candidates_.size());
    for (std::size_t k = 0; k < candidates_.size(); ++k) present[k] = candidates_[k].by_hand || (from_reach && by_reach_[k]);
    if (!from_reach) {
      // A few of those on each side, far from one another.
      for (const Side side : {Side::bottom, Side::top}) {
        std::vector<std::size_t> left;
        for (std::size_t k = 0; k < candidates_.size(); ++k)
          if (by_reach_[k] && candidates_[k].side == side) left.push_back(k);
        const std::size_t wanted = std::max<std::size_t>(3, left.size() / 6);
        const Point middle = bounds(in_.board.outline.outer).centre();
        for (std::size_t n = 0; n < wanted && n < left.size(); ++n) {
          double most = -1;
          std::size_t far = left[0];
          for (const std::size_t k : left) {
            if (present[k]) continue;
            double near = distance(candidates_[k].at, middle) + 1000;
            for (std::size_t o = 0; o < candidates_.size(); ++o)
              if (present[o] && candidates_[o].side == side) near = std::min(near, distance(candidates_[o].at, candidates_[k].at));
            if (near > most) most = near, far = k;
          }
          present[far] = 1;
        }
      }
    }
    // Shapes join as they turn out to matter.
    shapes_ = {FreeShape::flat};
    for (int round = 0; round < kFreeShapes; ++round) {
      improve(present);
      FreeShape next = FreeShape::flat;
      double worst = 1e-9;
      for (int s = 1; s < kFreeShapes; ++s) {
        const auto shape = static_cast<FreeShape>(s);
        if (std::find(shapes_.begin(), shapes_.end(), shape) != shapes_.end()) continue;
        if (const double w = wrong(present, shape, nullptr); w > worst) worst = w, next = shape;
      }
      if (next == FreeShape::flat) break;
      shapes_.push_back(next);
    }
    shapes_ = {FreeShape::flat, FreeShape::bowed_up, FreeShape::bowed_down, FreeShape::twisted, FreeShape::twisted_back};
    // Where flattening a bent board alone is too much for it, no support helps: then a flat board decides.
    if (wrong(present, nullptr) > 1e-9) {
      shapes_ = {FreeShape::flat};
      improve(present);
    }
    prune(present);
    shapes_ = {FreeShape::flat};
    const double w = wrong(present, nullptr);
    const auto size = [](const std::vector<char>& v) { return std::count(v.begin(), v.end(), 1); };
    if (best.empty() || w < best_wrong - 1e-9 || (w <= best_wrong + 1e-9 && size(present) < size(best))) best = present, best_wrong = w;
  }
  holds = best_wrong <= 1e-9;
  return pick(best);
}
}  // namespace

std::vector<PlacedSupport> lay_out(const BedInputs& in, std::size_t& candidates, bool& holds, Diagnostics& d) { return Layout(in, d).run(candidates, holds); }

}  // namespace teasel::mechanics
