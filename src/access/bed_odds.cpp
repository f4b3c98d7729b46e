#include "teasel/access/bed.h"

#include <algorithm>
#include <cmath>
#include <random>

#include "spot_odds.h"
#include "teasel/parallel.h"

namespace teasel {

namespace {
constexpr double kPi = 3.14159265358979323846;
constexpr double kZ95 = 1.959963984540054;

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
    const double radius = std::sqrt(-2 * std::log(uniform())), angle = 2 * kPi * uniform();
    return {radius * std::cos(angle), radius * std::sin(angle)};
  }
  Point on_disc(double radius) {
    const double away = radius * std::sqrt(uniform()), angle = 2 * kPi * uniform();
    return {away * std::cos(angle), away * std::sin(angle)};
  }
  Point draw(const ErrorSize& size) { return size.uniform ? on_disc(size.value) : (size.value / 3) * normals(); }

 private:
  std::mt19937_64 engine_;
};

/// Signed area common to the disc about the origin and the triangle (origin, a, b).
double disc_and_triangle(Point a, Point b, double radius) {
  auto sector = [radius](Point from, Point to) {
    return radius * radius * std::atan2(cross(from, to), dot(from, to)) / 2;
  };
  const Point way = b - a;
  const double length2 = dot(way, way);
  if (length2 == 0) return 0;
  const double closest = -dot(a, way) / length2, height2 = dot(a, a) - closest * closest * length2;
  if (height2 >= radius * radius) return sector(a, b);
  const double half = std::sqrt((radius * radius - height2) / length2), enters = std::clamp(closest - half, 0.0, 1.0),
               leaves = std::clamp(closest + half, 0.0, 1.0);
  const Point in = a + enters * way, out = a + leaves * way;
  return (enters > 0 ? sector(a, in) : 0) + cross(in, out) / 2 + (leaves < 1 ? sector(out, b) : 0);
}

/// What the simulation needs of one probe. Lengths in mm.
struct Seat {
  Polygons landing;  ///< where a tip has not left it on a lid's arc
  Point aim;         ///< in the shape's frame
  Point place;       ///< in the board's frame
  Point from_datum;  ///< of the board's frame
  double inner{};    ///< from the aim to the landing's edge
  double pointing{}, place_sigma{};
  Side side{};
  bool mask_defined = false, main_side = true;
  Polygons opening;         ///< of the mask, where that may be missed on its own: the landing grown by its gap
  LandSpread of_board;      ///< what is new with each board and touch
  LandSpread without_play;  ///< of that, all but the board's play on its pins
  double worst_sigma{};
};

/// How the board may shift and turn, on its two pins or between its edges.
struct Locating {
  bool pins = false;
  Point round;   ///< the round pin, or the board's middle
  Point across;  ///< unit vector across the line of the pins
  double pin_distance{}, round_play{}, relieved_play{}, size{}, edge_play{};
  [[nodiscard]] Point shift(Point shifted, double turned_by, Point place) const {
    const Point arm = place - round, turned{-arm.y, arm.x};
    if (!pins) return shifted + (turned_by / size) * turned;
    return shifted + ((turned_by - dot(across, shifted)) / pin_distance) * turned;
  }
};

class Bed {
 public:
  explicit Bed(const TrialBed& of) : rules_(of.rules) {
    locate(of.board);
    for (const BedProbe& placed : of.probes) {
      const Spot& spot = of.access.spots[placed.spot];
      const Target& target = of.access.targets[spot.target];
      const ProbeClass& probe = of.catalogue.classes[placed.probe_class];
      const Exposure& exposure = of.board.exposures[target.exposure];
      Seat seat;
      seat.landing = of.landing(placed);
      seat.aim = spot.in_shape;
      seat.place = spot.at;
      seat.from_datum = spot.at - datum_;
      seat.inner = contains(seat.landing, seat.aim) ? distance_to_boundary(seat.landing, seat.aim) : 0;
      seat.pointing = probe.pointing.v;
      seat.place_sigma = exposure.place_sigma.v;
      seat.side = target.side;
      seat.mask_defined = exposure.mask_defined;
      seat.main_side = target.side == of.main;
      ErrorBudget later = error_budget(of.board, of.rules, probe, exposure, spot.at, seat.main_side);
      for (const ErrorSource source : error_sources())
        if (time_of(source) == ErrorTime::build) later[source] = {};
      seat.of_board = later.on_land();
      seat.worst_sigma = seat.of_board.opening.total.largest_sigma().v;
      if (seat.of_board.opening_near) seat.opening = offset(seat.landing, seat.of_board.gap.v);
      later[ErrorSource::locating] = {};
      seat.without_play = later.on_land();
      seats_.push_back(seat);
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
      const Seat& seat = seats_[i];
      // One after the other: what a sum evaluates first is the compiler's choice.
      frozen[i] = dice.draw(rules_.errors.plate_drilling);
      frozen[i] = frozen[i] + dice.draw(rules_.errors.receptacle);
      if (seat.place_sigma > 0) frozen[i] = frozen[i] + seat.place_sigma * dice.normals();
      if (!seat.main_side) frozen[i] = frozen[i] + second;
      // Far inside, no board error reaches the edge often enough to matter.
      if (seat.inner - length(frozen[i]) > 6 * seat.worst_sigma) continue;
      tally.rework |= needs_rework(seat, frozen[i]);
    }
    for (int n = 0; n < boards; ++n) tally.rejected += board(dice, frozen, tally.by_probe);
    return tally;
  }

  [[nodiscard]] std::size_t size() const { return seats_.size(); }

 private:
  /// Whether a probe that was built so far off misses too often. Play is taken by its variance first, which overstates
  /// small chances; where that says too often, as the bounded play that it is.
  [[nodiscard]] bool needs_rework(const Seat& seat, Point frozen) const {
    const auto miss = [&](Point off, const LandSpread& error) {
      const Point aim = seat.aim + off;
      return error.opening_near ? miss_beside_mask(seat.landing, seat.opening, aim, error)
                                : miss_probability(seat.landing, aim, error.metal);
    };
    if (miss(frozen, seat.of_board) <= rules_.largest_miss) return false;
    // An even sequence in three dimensions: fractions of powers of the root of g^4 = g + 1.
    constexpr double kRoot = 1.2207440846057596;
    constexpr int kPlays = 64;
    Chance sum;
    for (int k = 1; k <= kPlays; ++k) {
      const auto fraction = [&](double power) { return std::fmod(0.5 + k / power, 1.0); };
      const auto [shifted, turned_by] = play(fraction(kRoot), fraction(kRoot * kRoot), fraction(kRoot * kRoot * kRoot));
      sum += miss(frozen + locating_.shift(shifted, turned_by, seat.place), seat.without_play);
      if (sum > kPlays * rules_.largest_miss) return true;
    }
    return false;
  }
  /// How the board lies, from three even numbers between 0 and 1.
  struct Lies {
    Point shifted;
    double turned_by;
  };
  [[nodiscard]] Lies play(double first, double second, double third) const {
    if (locating_.pins) {
      const double away = locating_.round_play * std::sqrt(first), angle = 2 * kPi * second;
      return {{away * std::cos(angle), away * std::sin(angle)}, (2 * third - 1) * locating_.relieved_play};
    }
    return {{(2 * first - 1) * locating_.edge_play, (2 * second - 1) * locating_.edge_play},
            std::sqrt(2.0) * (2 * third - 1) * locating_.edge_play};
  }
  void locate(const Board& board) {
    locating_.pins = board.tooling.size() == 2;
    if (locating_.pins) {
      const BoardHole &first = board.holes[board.tooling[0]], &second = board.holes[board.tooling[1]];
      const Point between = second.at - first.at;
      datum_ = locating_.round = first.at;
      locating_.pin_distance = length(between);
      locating_.across = (1 / locating_.pin_distance) * Point{-between.y, between.x};
      locating_.round_play = play_of(first, rules_).v / 2;
      locating_.relieved_play = play_of(second, rules_).v / 2;
    } else {
      const Box box = bounds(board.outline.outer);
      datum_ = locating_.round = box.centre();
      locating_.size = std::max({box.width(), box.height(), 1.0});
      locating_.edge_play = rules_.errors.no_tooling_clearance.v / 2;
    }
  }

  /// The chance that any probe misses on one board.
  double board(Dice& dice, const std::vector<Point>& frozen, std::vector<double>& by_probe) const {
    const Rules::Errors& errors = rules_.errors;
    // Braces draw in the order in which they are written.
    const PerSide<Point> artwork{{dice.draw(errors.artwork), dice.draw(errors.artwork)}},
        mask{{dice.draw(errors.mask_shift), dice.draw(errors.mask_shift)}};
    const double scale = errors.artwork_scale.value * 1e-6 / 3 * dice.normals().x;
    // One after the other: what a call evaluates first is the compiler's choice.
    const double first = dice.uniform(), second = dice.uniform(), third = dice.uniform();
    const auto [shifted, turned_by] = play(first, second, third);
    double none = 1;
    for (std::size_t i = 0; i < seats_.size(); ++i) {
      const Seat& seat = seats_[i];
      Point off =
          frozen[i] + artwork[seat.side] + scale * seat.from_datum + locating_.shift(shifted, turned_by, seat.place);
      if (seat.mask_defined) off = off + mask[seat.side];
      const double reach = seat.inner - seat.pointing;
      const Point off_mask = off - mask[seat.side];
      const bool in_opening = !seat.of_board.opening_near || length(off_mask) < reach + seat.of_board.gap.v;
      if (reach > 0 && dot(off, off) < reach * reach && in_opening) continue;
      const double miss = missed(seat, seat.aim + off, in_opening ? Point{} : mask[seat.side]);
      by_probe[i] += miss;
      none *= 1 - miss;
    }
    return 1 - none;
  }

  /// Share of the pointing disc about a place that lies off the landing, or off the opening that has shifted so far.
  static double missed(const Seat& seat, Point place, Point shifted) {
    const double off_metal = disc_outside(seat.landing, place, Mm{seat.pointing});
    if (shifted == Point{}) return off_metal;
    const double off_opening = disc_outside(seat.opening, place - shifted, Mm{seat.pointing});
    if (off_metal <= 0 || off_opening <= 0) return std::max(off_metal, off_opening);
    const Polygons both = intersect(seat.landing, transformed(seat.opening, Affine{1, 0, 0, 1, shifted.x, shifted.y}));
    return disc_outside(both, place, Mm{seat.pointing});
  }

  const Rules& rules_;
  std::vector<Seat> seats_;
  Locating locating_;
  Point datum_;
};

/// Mean over fixtures, with the interval of a mean of independent fixtures. Where none rejected a board, the interval
/// ends at what so many fixtures without one still allow.
Estimate mean_of(const std::vector<double>& rates) {
  Estimate estimate;
  if (rates.empty()) return estimate;
  const double count = static_cast<double>(rates.size());
  double sum = 0, squares = 0;
  for (const double rate : rates) sum += rate;
  estimate.value = sum / count;
  for (const double rate : rates) squares += (rate - estimate.value) * (rate - estimate.value);
  const double error = count > 1 ? kZ95 * std::sqrt(squares / (count - 1) / count) : 1;
  estimate.low = std::max(0.0, estimate.value - error);
  estimate.high = std::min(1.0, estimate.value + error);
  if (sum == 0) estimate.high = wilson(0, count).high;
  return estimate;
}

/// What many fixtures came to.
struct Outcome {
  std::vector<double> all, good;  ///< share of boards rejected, by fixture; of those that need no rework
  std::vector<double> by_probe;   ///< sums of misses
  double misses = 0;              ///< of all probes
  int reworked = 0;
};

/// Works in blocks of fixtures, each added up in order: the same sums on any number of threads, and little to keep.
Outcome simulate(const Bed& bed, const Trials& trials, const std::atomic<bool>* stop) {
  const int fixtures = trials.fixtures, boards = trials.boards, seed = trials.seed;
  constexpr std::size_t kBlocks = 64;
  const std::size_t count = static_cast<std::size_t>(fixtures);
  std::vector<Outcome> blocks(std::min(kBlocks, count));
  parallel_for(
      blocks.size(),
      [&](std::size_t i) {
        Outcome& block = blocks[i];
        block.by_probe.assign(bed.size(), 0);
        for (std::size_t fixture = i; fixture < count; fixture += blocks.size()) {
          if (stop && stop->load()) return;
          Dice dice(seed, fixture);
          const Bed::Tally tally = bed.fixture(dice, boards);
          const double rate = tally.rejected / boards;
          block.all.push_back(rate);
          if (tally.rework)
            ++block.reworked;
          else
            block.good.push_back(rate);
          for (std::size_t k = 0; k < tally.by_probe.size(); ++k) block.by_probe[k] += tally.by_probe[k];
        }
      },
      1);
  Outcome sum;
  sum.by_probe.assign(bed.size(), 0);
  for (const Outcome& block : blocks) {
    sum.all.insert(sum.all.end(), block.all.begin(), block.all.end());
    sum.good.insert(sum.good.end(), block.good.begin(), block.good.end());
    sum.reworked += block.reworked;
    for (std::size_t k = 0; k < block.by_probe.size(); ++k) {
      sum.by_probe[k] += block.by_probe[k];
      sum.misses += block.by_probe[k];
    }
  }
  return sum;
}
}  // namespace

Estimate wilson(double hits, double trials) {
  if (trials <= 0) return {0, 0, 1};
  const double share = hits / trials, z2 = kZ95 * kZ95, centre = (share + z2 / (2 * trials)) / (1 + z2 / trials);
  const double half = kZ95 * std::sqrt(share * (1 - share) / trials + z2 / (4 * trials * trials)) / (1 + z2 / trials);
  return {share, hits == 0 ? 0 : centre - half, hits == trials ? 1 : centre + half};
}

double disc_outside(const Polygons& area, Point centre, Mm radius) {
  if (radius.v <= 0) return contains(area, centre) ? 0 : 1;
  double inside = 0;
  auto add = [&](const Ring& ring) {
    for (std::size_t i = 0; i < ring.size(); ++i)
      inside += disc_and_triangle(ring[i] - centre, ring[(i + 1) % ring.size()] - centre, radius.v);
  };
  for (const Polygon& polygon : area) {
    add(polygon.outer);
    for (const Ring& hole : polygon.holes) add(hole);
  }
  const double outside = 1 - inside / (kPi * radius.v * radius.v);
  return outside < 1e-12 ? 0 : std::min(outside, 1.0);
}

namespace {
/// What room a probe's land leaves to its error, and its miss if no part of that were bounded.
void take_room(const TrialBed& bed, std::size_t index, BedOdds& odds) {
  const BedProbe& probe = bed.probes[index];
  const Spot& spot = bed.access.spots[probe.spot];
  const Target& target = bed.access.targets[spot.target];
  const Polygons landing = bed.landing(probe);
  const LandSpread error = error_budget(bed.board, bed.rules, bed.catalogue.classes[probe.probe_class],
                                        bed.board.exposures[target.exposure], spot.at, target.side == bed.main)
                               .on_land();
  const double room = contains(landing, spot.in_shape) ? distance_to_boundary(landing, spot.in_shape) : 0,
               deviations = room / error.metal.total.largest_sigma().v;
  if (odds.narrowest < 0 || deviations < odds.deviations) {
    odds.narrowest = static_cast<int>(index);
    odds.room = Mm{room};
    odds.deviations = deviations;
  }
  odds.sum_if_normal += std::max(kLeastChance, miss_probability(landing, spot.in_shape, error.with_disc_share(0))).v;
}
}  // namespace

BedOdds simulate_bed(const TrialBed& bed, const Trials& trials, const std::atomic<bool>* stop) {
  BedOdds odds;
  odds.fixtures = trials.fixtures;
  odds.boards = trials.boards;
  odds.seed = trials.seed;
  double no_fault = 1;
  for (std::size_t i = 0; i < bed.probes.size(); ++i) {
    const BedProbe& probe = bed.probes[i];
    const Target& target = bed.access.targets[bed.access.spots[probe.spot].target];
    const Verdict& verdict = bed.access.verdict(probe.spot, probe.probe_class, target.side == bed.main);
    take_room(bed, i, odds);
    odds.sum_of_misses += verdict.miss.v;
    odds.sum_of_wrong += verdict.wrong.v;
    no_fault *= 1 - fault_on(bed.rules, target).v;
  }
  odds.sum_if_normal = std::min(odds.sum_if_normal, 1.0);
  odds.sum_of_misses = std::min(odds.sum_of_misses, 1.0);
  odds.sum_of_wrong = std::min(odds.sum_of_wrong, 1.0);
  odds.fault = Chance{1 - no_fault};
  if (trials.fixtures <= 0 || trials.boards <= 0 || bed.probes.empty()) return odds;
  const Outcome outcome = simulate(Bed(bed), trials, stop);
  odds.fixtures = static_cast<int>(outcome.all.size());
  if (outcome.all.empty()) return odds;
  odds.without_rework = static_cast<int>(outcome.good.size());
  odds.rework = wilson(outcome.reworked, static_cast<double>(outcome.all.size()));
  odds.false_reject = mean_of(outcome.all);
  // Single misses added up bound the mean from above, whatever was seen.
  odds.false_reject.high = std::max(odds.false_reject.value, std::min(odds.false_reject.high, odds.sum_of_misses));
  odds.after_rework = mean_of(outcome.good);
  for (std::size_t i = 0; i < outcome.by_probe.size(); ++i)
    if (outcome.by_probe[i] > 0) odds.worst.emplace_back(static_cast<int>(i), outcome.by_probe[i] / outcome.misses);
  std::stable_sort(odds.worst.begin(), odds.worst.end(),
                   [](const auto& a, const auto& b) { return a.second > b.second; });
  if (odds.worst.size() > 5) odds.worst.resize(5);
  return odds;
}

Polygons TrialBed::landing(const BedProbe& probe) const {
  const Spot& spot = access.spots[probe.spot];
  const Target& target = access.targets[spot.target];
  return landing_along(
      access.shapes[spot.shape].landing[probe.probe_class],
      way_of(arc, board, rules, target, spot.at, catalogue.classes[probe.probe_class], target.side == main));
}

std::vector<Sensitivity> sensitivity(const TrialBed& bed) {
  std::vector<Sensitivity> list;
  for (const ErrorSource source : error_sources()) list.push_back({source, 0, 0});
  for (const BedProbe& placed : bed.probes) {
    const Spot& spot = bed.access.spots[placed.spot];
    const Target& target = bed.access.targets[spot.target];
    const Polygons landing = bed.landing(placed);
    const ErrorBudget budget = error_budget(bed.board, bed.rules, bed.catalogue.classes[placed.probe_class],
                                            bed.board.exposures[target.exposure], spot.at, target.side == bed.main);
    const Chance now = std::max(kLeastChance, miss_probability(landing, spot.in_shape, budget.on_land()));
    for (Sensitivity& of : list) {
      ErrorBudget less = budget;
      less[of.source] = 0.25 * less[of.source];
      const Chance halved = budget[of.source] == Covariance{}
                                ? now
                                : std::max(kLeastChance, miss_probability(landing, spot.in_shape, less.on_land()));
      of.now += now.v;
      of.halved += halved.v;
    }
  }
  std::stable_sort(list.begin(), list.end(),
                   [](const Sensitivity& a, const Sensitivity& b) { return a.halved < b.halved; });
  return list;
}

}  // namespace teasel
