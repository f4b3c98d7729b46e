// The whole bed against its limits: everything shared, nothing shared.
#include <catch2/catch.hpp>
#include <random>

#include "small_board.h"
#include "teasel/access/bed.h"

using namespace teasel;
using namespace teasel::testing;

namespace {
/// Rules without any position error, to be given back one by one.
Rules exact_rules() {
  Rules rules = shipped_rules();
  for (ErrorSize* size : {&rules.errors.plate_drilling, &rules.errors.receptacle, &rules.errors.second_plate,
                          &rules.errors.artwork, &rules.errors.mask_shift, &rules.errors.artwork_scale})
    size->value = 0;
  rules.errors.pin_clearance = rules.errors.plated_pin_clearance = Mm{1e-6};
  rules.stock_pins.clear();
  rules.largest_miss = Chance{1};
  return rules;
}
Catalogue steady() {
  Catalogue catalogue = shipped_catalogue();
  catalogue.classes.resize(1);
  catalogue.classes.front().pointing = Mm{1e-6};
  return catalogue;
}
Board pads(int n, double diameter) {
  Board board = empty_board();
  for (int i = 0; i < n; ++i)
    add_round(board, "A" + std::to_string(i), {10 + 4.0 * (i % 10), 12 + 4.0 * (i / 10)}, diameter, Side::bottom);
  return board;
}
std::vector<BedProbe> all(const Access& access) {
  std::vector<BedProbe> list;
  for (const SpotId spot : access.spots.ids()) list.push_back({spot, ClassId{0}});
  return list;
}
/// A probe on every spot, built and tried so often.
BedOdds simulated(const Board& board, const Access& access, const Catalogue& catalogue, const Rules& rules,
                  const Trials& trials, Side main = Side::bottom) {
  const auto probes = all(access);
  return simulate_bed(
      {.board = board, .access = access, .catalogue = catalogue, .rules = rules, .main = main, .probes = probes},
      trials);
}
/// The chance of missing the first spot's land from its middle.
double miss_of_first(const Access& access, const Covariance& error) {
  return miss_probability(access.shapes.front().landing.front(), {}, error).v;
}
}  // namespace

TEST_CASE("all errors shared: the bed misses as often as one probe (law: fully dependent events)") {
  Rules rules = exact_rules();
  rules.errors.artwork.value = 0.9;  // sigma 0.3 mm
  const Board board = pads(20, 1.0);
  const Catalogue catalogue = steady();
  const Access access = judge(board, {}, catalogue, rules);
  const double one = miss_of_first(access, {0.09, 0, 0.09});
  const BedOdds odds = simulated(board, access, catalogue, rules, {400, 100, 1});
  CHECK(odds.false_reject.low <= one);
  CHECK(odds.false_reject.high >= one);
  CHECK(odds.false_reject.value < 2 * one);
  CHECK(odds.sum_of_misses == Approx(std::min(1.0, 20 * one)).epsilon(0.01));
}

TEST_CASE("all errors independent: the bed is missed as 1 - (1 - p)^n says (law: independent events)") {
  Rules rules = exact_rules();
  rules.errors.plate_drilling.value = 0.45;  // sigma 0.15 mm, drawn for each hole
  const Board board = pads(20, 1.0);
  const Catalogue catalogue = steady();
  const Access access = judge(board, {}, catalogue, rules);
  const double one = miss_of_first(access, {0.0225, 0, 0.0225}), bed = 1 - std::pow(1 - one, 20);
  const BedOdds odds = simulated(board, access, catalogue, rules, {4000, 1, 2});
  CHECK(odds.false_reject.low <= bed);
  CHECK(odds.false_reject.high >= bed);
}

TEST_CASE("rework: a fixture is scrap if any of its holes is off by more than the land forgives (binomial law)") {
  Rules rules = exact_rules();
  rules.errors.plate_drilling.value = 0.45;
  const Board board = pads(20, 1.0);
  const Catalogue catalogue = steady();
  const Access access = judge(board, {}, catalogue, rules);
  rules.largest_miss = Chance{0.5};  // without later errors a probe hits always or never
  const double one = miss_of_first(access, {0.0225, 0, 0.0225}), bed = 1 - std::pow(1 - one, 20);
  const BedOdds odds = simulated(board, access, catalogue, rules, {4000, 1, 3});
  CHECK(odds.rework.low <= bed);
  CHECK(odds.rework.high >= bed);
  CHECK(odds.after_rework.value == Approx(0).margin(1e-9));
}

TEST_CASE("play that cannot reach an edge asks for no rework, though its variance could (law: a bounded error)") {
  Rules rules = exact_rules();
  rules.errors.no_tooling_clearance = Mm{0.4};  // 0.2 mm each way, and as much again by turning, at most
  const Board board = pads(5, 2 * std::hypot(0.45, 0.45));
  const Catalogue catalogue = steady();
  const Access access = judge(board, {}, catalogue, rules);
  const double sigma = 0.2 / std::sqrt(3.0);
  rules.largest_miss = Chance{miss_of_first(access, {sigma * sigma, 0, sigma * sigma}) / 2};
  const BedOdds odds = simulated(board, access, catalogue, rules, {200, 50, 5});
  CHECK(rules.largest_miss > Chance{1e-9});
  CHECK(odds.false_reject.value == 0);
  CHECK(odds.rework.value == 0);
}

TEST_CASE("the same seed gives the same figures, another seed others, on any number of threads (law: determinism)") {
  const Rules rules = shipped_rules();
  const Catalogue catalogue = shipped_catalogue();
  const Board board = pads(30, 0.66);
  const Access access = judge(board, {}, catalogue, rules);
  auto run = [&](int seed) { return simulated(board, access, catalogue, rules, {50, 50, seed}, Side::top); };
  setenv("TEASEL_THREADS", "1", 1);
  const BedOdds one = run(1);
  setenv("TEASEL_THREADS", "2", 1);
  const BedOdds two = run(1), three = run(2);
  unsetenv("TEASEL_THREADS");
  CHECK(one.false_reject.value == two.false_reject.value);
  CHECK(one.rework.value == two.rework.value);
  CHECK(one.worst == two.worst);
  CHECK(one.false_reject.value != three.false_reject.value);
}

TEST_CASE("Wilson's interval: 13 of 16 and 10 of 100 (published examples)") {
  // 13/16 at 95 %: 0.5699 to 0.9341 (tests of the R package contingencytables); 10/100 with z = 1.96: 0.0552285 to
  // 0.1743673.
  CHECK(wilson(13, 16).low == Approx(0.5699).margin(0.0001));
  CHECK(wilson(13, 16).high == Approx(0.9341).margin(0.0001));
  CHECK(wilson(10, 100).low == Approx(0.0552285).epsilon(1e-4));
  CHECK(wilson(10, 100).high == Approx(0.1743673).epsilon(1e-4));
  CHECK(wilson(0, 100).low == 0);
}

TEST_CASE(
    "the share of a disc off the land: half of it over a straight edge, the cap's formula beyond (plane geometry)") {
  const Polygons land{{rectangle({0, 0}, 20, 20), {}}};
  CHECK(disc_outside(land, {10, 0}, Mm{1}) == Approx(0.5));
  CHECK(disc_outside(land, {0, 0}, Mm{1}) == Approx(0).margin(1e-12));
  CHECK(disc_outside(land, {10, 10}, Mm{1}) == Approx(0.75));
  const double d = 0.4, cap = (std::acos(d) - d * std::sqrt(1 - d * d)) / 3.14159265358979323846;
  CHECK(disc_outside(land, {10 - d, 0}, Mm{1}) == Approx(cap));
  CHECK(disc_outside(land, {30, 0}, Mm{1}) == Approx(1));
}

TEST_CASE("the error that dominates buys most when halved (law: independent errors add as squares)") {
  Rules rules = shipped_rules();
  rules.errors.artwork.value = 0.4;
  const Catalogue catalogue = shipped_catalogue();
  const Board board = pads(5, 0.7);
  const Access access = judge(board, {}, catalogue, rules);
  const auto probes = all(access);
  const auto list = sensitivity({.board = board,
                                 .access = access,
                                 .catalogue = catalogue,
                                 .rules = rules,
                                 .main = Side::bottom,
                                 .probes = probes});
  CHECK(list[0].source == ErrorSource::artwork);
  CHECK(list[0].halved < list[0].now);
  for (const Sensitivity& of : list) CHECK(of.halved <= of.now * (1 + 1e-9));
}

TEST_CASE("contact faults: Beta quantiles of a textbook, and what a shop counts moves them (Bayes, conjugate prior)") {
  // One probe, 1 in 1000 by the rules: Beta(1, 999), whose quantile at q is 1 - (1 - q)^(1 / 999).
  const FaultOdds one = fault_odds(Chance{1e-3}, 1, {});
  CHECK(one.likely == Approx(1e-3));
  CHECK(one.low == Approx(1 - std::pow(0.975, 1.0 / 999)));
  CHECK(one.high == Approx(1 - std::pow(0.025, 1.0 / 999)));
  CHECK_FALSE(one.counted);
  // 40 faults among a million touches: the rules' figure hardly counts any more.
  const FaultOdds counted = fault_odds(Chance{1e-3}, 1, {1e6, 40});
  CHECK(counted.counted);
  CHECK(counted.likely == Approx(41.0 / (1e6 + 1000)));
  // Interval of 40 + 1 events, exact (chi-squared, E. S. Pearson and C. J. Clopper's kind): 29.4 to 54.5 of a million.
  CHECK(1e6 * counted.low == Approx(29.4).margin(0.2));
  CHECK(1e6 * counted.high == Approx(54.5).margin(0.4));
  // A hundred such probes, each with its share: the bed's figure is kept.
  CHECK(fault_odds(Chance{0.02}, 100, {}).likely == Approx(0.02).epsilon(0.02));
  CHECK(fault_odds(Chance{}, 5, {}).high == 0);
}
