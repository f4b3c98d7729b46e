#include "teasel/access/bed.h"

#include <algorithm>
#include <cmath>
#include <random>

#include "teasel/parallel.h"

namespace teasel {

namespace {
constexpr double kPi = 3.14159265358979323846;
constexpr double kZ95 = 1.959963984540054;

std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}

/// A stream of its own for each fixture: results do not depend on who simulates which.
class Dice {
 public:
  Dice(int seed, std::size_t fixture)
      : engine_(static_cast<std::uint64_t>(seed) * 0x9E3779B97F4A7C15ull + fixture * 0xBF58476D1CE4E5B9ull + 1) {
    engine_.discard(8);
  }
  double uniform() { return (static_cast<double>(engine_() >> 11) + 0.5) * 0x1p-53; }
  /// Two independent standard normals (Box and Muller).
  Point normals() {
    const double r = std::sqrt(-2 * std::log(uniform())), t = 2 * kPi * uniform();
    return {r * std::cos(t), r * std::sin(t)};
  }
  Point on_disc(double radius) {
    const double r = radius * std::sqrt(uniform()), t = 2 * kPi * uniform();
    return {r * std::cos(t), r * std::sin(t)};
  }
  Point draw(const ErrorSize& e) { return e.uniform ? on_disc(e.value) : (e.value / 3) * normals(); }

 private:
  std::mt19937_64 engine_;
};

/// Signed area common to the disc about the origin and the triangle (origin, a, b).
double disc_and_triangle(Point a, Point b, double r) {
  auto sector = [r](Point p, Point q) { return r * r * std::atan2(cross(p, q), dot(p, q)) / 2; };
  const Point d = b - a;
  const double len2 = dot(d, d);
  if (len2 == 0) return 0;
  const double closest = -dot(a, d) / len2, h2 = dot(a, a) - closest * closest * len2;
  if (h2 >= r * r) return sector(a, b);
  const double half = std::sqrt((r * r - h2) / len2), t0 = std::clamp(closest - half, 0.0, 1.0),
               t1 = std::clamp(closest + half, 0.0, 1.0);
  const Point p = a + t0 * d, q = a + t1 * d;
  return (t0 > 0 ? sector(a, p) : 0) + cross(p, q) / 2 + (t1 < 1 ? sector(q, b) : 0);
}

/// What the simulation needs of one probe.
struct Seat {
  const Polygons* landing{};
  Point aim, from_datum;  ///< aim in the shape's frame
  double inner{};         ///< from the aim to the landing's edge
  double pointing{}, place_sigma{};
  Side side{};
  bool mask_defined = false, main = true;
  Spread of_board;  ///< what is new with each board and touch
  double worst_sigma{};
};

struct Locating {
  bool pins = false;
  Point round, n;
  double length{}, round_play{}, relieved_play{}, size{}, edge_play{};
  Point shift(Point t, double across, Point at) const {
    const Point r = at - round, turned{-r.y, r.x};
    if (!pins) return t + (across / size) * turned;
    return t + ((across - dot(n, t)) / length) * turned;
  }
};

class Bed {
 public:
  Bed(const Board& b, const Access& a, const Catalogue& cat, const Rules& rules, Side main,
      const std::vector<BedProbe>& probes)
      : rules_(rules) {
    locate(b);
    for (const BedProbe& p : probes) {
      const Spot& spot = a.spots[at(p.spot)];
      const Target& t = a.targets[at(spot.target)];
      const ProbeClass& k = cat.classes[at(p.probe_class)];
      const Exposure& e = b.exposures[at(t.exposure)];
      Seat s;
      s.landing = &a.shapes[at(spot.shape)].landing[at(p.probe_class)];
      s.aim = spot.in_shape;
      s.from_datum = spot.at - datum_;
      place_.push_back(spot.at);
      s.inner = contains(*s.landing, s.aim) ? distance_to_boundary(*s.landing, s.aim) : 0;
      s.pointing = k.pointing.v;
      s.place_sigma = e.place_sigma;
      s.side = t.side;
      s.mask_defined = e.mask_defined;
      s.main = t.side == main;
      ErrorBudget later = error_budget(b, rules, k, e, spot.at, s.main);
      for (int i = 0; i < kErrorSources; ++i)
        if (time_of(static_cast<ErrorSource>(i)) == ErrorTime::build) later.of[at(i)] = {};
      s.of_board = later.spread();
      s.worst_sigma = s.of_board.total.largest_sigma();
      seats_.push_back(s);
    }
  }

  struct Tally {
    bool rework = false;
    double rejected = 0;           ///< sum over boards of the chance that any probe misses
    std::vector<double> by_probe;  ///< sum over boards
  };

  Tally fixture(Dice& dice, int boards) const {
    Tally tally;
    tally.by_probe.assign(seats_.size(), 0);
    std::vector<Point> frozen(seats_.size());
    const Point second = dice.draw(rules_.errors.second_plate);
    for (std::size_t i = 0; i < seats_.size(); ++i) {
      const Seat& s = seats_[i];
      // One after the other: what a sum evaluates first is the compiler's choice.
      frozen[i] = dice.draw(rules_.errors.plate_drilling);
      frozen[i] = frozen[i] + dice.draw(rules_.errors.receptacle);
      if (s.place_sigma > 0) frozen[i] = frozen[i] + s.place_sigma * dice.normals();
      if (!s.main) frozen[i] = frozen[i] + second;
      // Far inside, no board error reaches the edge often enough to matter.
      if (s.inner - length(frozen[i]) > 6 * s.worst_sigma) continue;
      tally.rework |= miss_probability(*s.landing, s.aim + frozen[i], s.of_board) > rules_.largest_miss;
    }
    for (int b = 0; b < boards; ++b) tally.rejected += board(dice, frozen, tally.by_probe);
    return tally;
  }

  std::size_t size() const { return seats_.size(); }

 private:
  void locate(const Board& b) {
    const auto& e = rules_.errors;
    locating_.pins = b.tooling.size() == 2;
    if (locating_.pins) {
      const BoardHole &first = b.holes[at(b.tooling[0])], &second = b.holes[at(b.tooling[1])];
      const Point to = second.at - first.at;
      datum_ = locating_.round = first.at;
      locating_.length = length(to);
      locating_.n = (1 / locating_.length) * Point{-to.y, to.x};
      locating_.round_play = play_of(first, rules_) / 2;
      locating_.relieved_play = play_of(second, rules_) / 2;
    } else {
      const Box box = bounds(b.outline.outer);
      datum_ = locating_.round = box.centre();
      locating_.size = std::max({box.width(), box.height(), 1.0});
      locating_.edge_play = e.no_tooling_clearance.v / 2;
    }
  }

  double board(Dice& dice, const std::vector<Point>& frozen, std::vector<double>& by_probe) const {
    const auto& e = rules_.errors;
    const Point artwork[2] = {dice.draw(e.artwork), dice.draw(e.artwork)},
                mask[2] = {dice.draw(e.mask_shift), dice.draw(e.mask_shift)};
    const double scale = e.artwork_scale.value * 1e-6 / 3 * dice.normals().x;
    Point t;
    double across = 0;
    if (locating_.pins) {
      t = dice.on_disc(locating_.round_play);
      across = (2 * dice.uniform() - 1) * locating_.relieved_play;
    } else {
      t = {(2 * dice.uniform() - 1) * locating_.edge_play, (2 * dice.uniform() - 1) * locating_.edge_play};
      across = std::sqrt(2.0) * (2 * dice.uniform() - 1) * locating_.edge_play;
    }
    double none = 1;
    for (std::size_t i = 0; i < seats_.size(); ++i) {
      const Seat& s = seats_[i];
      Point off = frozen[i] + artwork[at(static_cast<int>(s.side))] + scale * s.from_datum +
                  locating_.shift(t, across, place_[i]);
      if (s.mask_defined) off = off + mask[at(static_cast<int>(s.side))];
      const double reach = s.inner - s.pointing;
      if (reach > 0 && dot(off, off) < reach * reach) continue;
      const double miss = disc_outside(*s.landing, s.aim + off, s.pointing);
      by_probe[i] += miss;
      none *= 1 - miss;
    }
    return 1 - none;
  }

  const Rules& rules_;
  std::vector<Seat> seats_;
  std::vector<Point> place_;
  Locating locating_;
  Point datum_;
};

/// Mean over fixtures, with the interval of a mean of independent fixtures; where none rejected a board, what so many
/// fixtures without one still allow.
Estimate mean_of(const std::vector<double>& rates) {
  Estimate e;
  if (rates.empty()) return e;
  const double n = static_cast<double>(rates.size());
  double sum = 0, squares = 0;
  for (const double r : rates) sum += r;
  e.value = sum / n;
  for (const double r : rates) squares += (r - e.value) * (r - e.value);
  const double error = n > 1 ? kZ95 * std::sqrt(squares / (n - 1) / n) : 1;
  e.low = std::max(0.0, e.value - error);
  e.high = std::min(1.0, e.value + error);
  if (sum == 0) e.high = wilson(0, n).high;
  return e;
}
}  // namespace

Estimate wilson(double hits, double trials) {
  if (trials <= 0) return {0, 0, 1};
  const double p = hits / trials, z2 = kZ95 * kZ95, centre = (p + z2 / (2 * trials)) / (1 + z2 / trials);
  const double half = kZ95 * std::sqrt(p * (1 - p) / trials + z2 / (4 * trials * trials)) / (1 + z2 / trials);
  return {p, hits == 0 ? 0 : centre - half, hits == trials ? 1 : centre + half};
}

double disc_outside(const Polygons& area, Point c, double radius) {
  if (radius <= 0) return contains(area, c) ? 0 : 1;
  double inside = 0;
  auto ring = [&](const Ring& r) {
    for (std::size_t i = 0; i < r.size(); ++i) inside += disc_and_triangle(r[i] - c, r[(i + 1) % r.size()] - c, radius);
  };
  for (const Polygon& p : area) {
    ring(p.outer);
    for (const Ring& h : p.holes) ring(h);
  }
  const double outside = 1 - inside / (kPi * radius * radius);
  return outside < 1e-12 ? 0 : std::min(outside, 1.0);
}

BedOdds simulate_bed(const Board& b, const Access& a, const Catalogue& cat, const Rules& rules, Side main,
                     const std::vector<BedProbe>& probes, int fixtures, int boards, int seed,
                     const std::atomic<bool>* stop) {
  BedOdds odds;
  odds.fixtures = fixtures;
  odds.boards = boards;
  odds.seed = seed;
  double no_fault = 1;
  for (const BedProbe& p : probes) {
    const Target& t = a.targets[at(a.spots[at(p.spot)].target)];
    const Verdict& v = a.verdict(at(p.spot), at(p.probe_class), t.side == main);
    odds.sum_of_misses += v.miss;
    odds.sum_of_wrong += v.wrong;
    no_fault *= 1 - fault_on(rules, t);
  }
  odds.sum_of_misses = std::min(odds.sum_of_misses, 1.0);
  odds.sum_of_wrong = std::min(odds.sum_of_wrong, 1.0);
  odds.fault = 1 - no_fault;
  if (fixtures <= 0 || boards <= 0 || probes.empty()) return odds;
  const Bed bed(b, a, cat, rules, main, probes);
  // Blocks of fixtures, each added up in order: the same sums on any number of threads, and little to keep.
  constexpr std::size_t kBlocks = 64;
  struct Block {
    std::vector<double> all, good, by_probe;
    int reworked = 0;
  };
  std::vector<Block> blocks(std::min(kBlocks, at(fixtures)));
  parallel_for(
      blocks.size(),
      [&](std::size_t n) {
        Block& block = blocks[n];
        block.by_probe.assign(bed.size(), 0);
        for (std::size_t f = n; f < at(fixtures); f += blocks.size()) {
          if (stop && stop->load()) return;
          Dice dice(seed, f);
          const Bed::Tally t = bed.fixture(dice, boards);
          const double rate = t.rejected / boards;
          block.all.push_back(rate);
          if (t.rework)
            ++block.reworked;
          else
            block.good.push_back(rate);
          for (std::size_t i = 0; i < t.by_probe.size(); ++i) block.by_probe[i] += t.by_probe[i];
        }
      },
      1);
  std::vector<double> all, good, by_probe(bed.size());
  int reworked = 0;
  double total = 0;
  for (const Block& block : blocks) {
    all.insert(all.end(), block.all.begin(), block.all.end());
    good.insert(good.end(), block.good.begin(), block.good.end());
    reworked += block.reworked;
    for (std::size_t i = 0; i < block.by_probe.size(); ++i) {
      by_probe[i] += block.by_probe[i];
      total += block.by_probe[i];
    }
  }
  odds.fixtures = static_cast<int>(all.size());
  if (all.empty()) return odds;
  odds.without_rework = static_cast<int>(good.size());
  odds.rework = wilson(reworked, static_cast<double>(all.size()));
  odds.false_reject = mean_of(all);
  // Single misses added up bound the mean from above, whatever was seen.
  odds.false_reject.high = std::max(odds.false_reject.value, std::min(odds.false_reject.high, odds.sum_of_misses));
  odds.after_rework = mean_of(good);
  for (std::size_t i = 0; i < by_probe.size(); ++i)
    if (by_probe[i] > 0) odds.worst.emplace_back(static_cast<int>(i), by_probe[i] / total);
  std::stable_sort(odds.worst.begin(), odds.worst.end(),
                   [](const auto& x, const auto& y) { return x.second > y.second; });
  if (odds.worst.size() > 5) odds.worst.resize(5);
  return odds;
}

std::vector<Sensitivity> sensitivity(const Board& b, const Access& a, const Catalogue& cat, const Rules& rules,
                                     Side main, const std::vector<BedProbe>& probes) {
  std::vector<Sensitivity> list;
  for (int i = 0; i < kErrorSources; ++i) list.push_back({static_cast<ErrorSource>(i), 0, 0});
  for (const BedProbe& p : probes) {
    const Spot& spot = a.spots[at(p.spot)];
    const Target& t = a.targets[at(spot.target)];
    const Polygons& landing = a.shapes[at(spot.shape)].landing[at(p.probe_class)];
    const ErrorBudget budget =
        error_budget(b, rules, cat.classes[at(p.probe_class)], b.exposures[at(t.exposure)], spot.at, t.side == main);
    const double now = std::max(kLeastChance, miss_probability(landing, spot.in_shape, budget.spread()));
    for (Sensitivity& s : list) {
      ErrorBudget less = budget;
      less[s.source] = 0.25 * less[s.source];
      s.now += now;
      s.halved += budget[s.source] == Covariance{}
                      ? now
                      : std::max(kLeastChance, miss_probability(landing, spot.in_shape, less.spread()));
    }
  }
  std::stable_sort(list.begin(), list.end(),
                   [](const Sensitivity& x, const Sensitivity& y) { return x.halved < y.halved; });
  return list;
}

}  // namespace teasel
