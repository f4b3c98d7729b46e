// The whole bed at once: errors that probes share, drawn together.
#pragma once
#include <atomic>
#include <cstdint>
#include <vector>

#include "teasel/access.h"

namespace teasel {

struct BedProbe {
  SpotId spot;
  ClassId probe_class;
};

/// A bed to be tried, by reference. `main`: the side that the board lies on.
struct TrialBed {
  const Board& board;
  const Access& access;
  const Catalogue& catalogue;
  const Rules& rules;
  Side main{};
  const std::vector<BedProbe>& probes;
  LidArc arc = {};
  /// Where the middle of this probe's tip may stand, so that it has not left its land on a lid's arc.
  [[nodiscard]] Polygons landing(const BedProbe& probe) const;
};
struct Trials {
  int fixtures = 400, boards = 200, seed = 1;
};

/// A share with its 95 % interval.
struct Estimate {
  double value{}, low{}, high{};
};
/// Wilson's score interval for `hits` of `trials`, 95 %.
/// Source: E. B. Wilson, "Probable inference, the law of succession, and statistical inference", JASA 22 (1927).
Estimate wilson(double hits, double trials);

/// Contact faults of a bed at one touch, misses apart.
struct FaultOdds {
  double likely{}, low{}, high{};  ///< the mean, and an interval of 95 %
  bool counted = false;            ///< the shop's own figures are in it
};
/// `by_rules`: by the rule set's figures, which count like one fault seen in as many touches as let one be expected.
/// What the shop has counted is added to that: Beta(1 + faults, 1 / p - 1 + touches - faults) for a single touch, where
/// p is the rules' mean (T. Bayes; conjugate prior, any textbook of statistics).
FaultOdds fault_odds(Chance by_rules, std::size_t probes, const JobHistory& history);

struct BedOdds {
  int fixtures = 0, boards = 0, seed = 0;
  Estimate rework;  ///< chance that a built fixture holds a probe whose miss, given how it was drilled, exceeds the
                    ///< largest allowed
  Estimate false_reject;     ///< boards rejected though good because a probe misses, over all fixtures as built
  Estimate after_rework;     ///< the same over the fixtures that need none
  int without_rework = 0;    ///< their number
  Chance fault;              ///< of a contact fault anywhere at one touch, misses apart (independent)
  double sum_of_misses = 0;  ///< single odds added up: the planner's figure, an upper bound
  double sum_if_normal = 0;  ///< of the same misses with a normal law of equal variance for all that is a bounded disc
  int narrowest = -1;        ///< the probe (index) whose land leaves its error least room; -1: none
  Mm room;                   ///< from its aim to where the tip's middle leaves the land
  double deviations = 0;     ///< that room, in its largest standard deviation
  double sum_of_wrong = 0;   ///< chances of touching a neighbour's metal, added up
  std::vector<std::pair<int, double>> worst;  ///< up to five probes (index) by their share of all misses
};
/// Simulates built fixtures and boards on each. Errors frozen at the build are drawn once a
/// fixture, those of a board once a board; the pointing of each touch is integrated, not drawn (share of its disc off
/// the metal). The same seed gives the same figures on any number of threads. `stop`: ends early, with fewer fixtures.
BedOdds simulate_bed(const TrialBed& bed, const Trials& trials, const std::atomic<bool>* stop = nullptr);

/// Share of the disc about `centre` that lies outside the area.
double disc_outside(const Polygons& area, Point centre, Mm radius);

/// What one error, halved, would do to the sum of single misses.
struct Sensitivity {
  ErrorSource source{};
  double now{}, halved{};
};
/// Every source, the one that buys most first.
std::vector<Sensitivity> sensitivity(const TrialBed& bed);

}  // namespace teasel
