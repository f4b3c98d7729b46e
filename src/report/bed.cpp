// Odds of the bed, what keeps targets closed, and one net explained.
#include <algorithm>
#include <cmath>

#include "teasel/fixture/probe_facts.h"
#include "text.h"

namespace teasel {

std::vector<std::string> bed_lines(const Outcome& outcome) {
  const BedOdds& bed = outcome.results.bed;
  std::vector<std::string> lines;
  // One touch of a bed for a panel meets all of its boards.
  const std::string touched = touched_at_once(outcome);
  // Each probe counts for at least the least chance that is claimed.
  const double least = 1.5 * kLeastChance.v * static_cast<double>(chosen(outcome).probes.size());
  auto summed = [&](double v) { return v <= least ? spoken_bound(v) : spoken(v); };
  const std::string sum = "sum of single misses " + summed(bed.sum_of_misses) + ", an upper bound";
  if (bed.fixtures > 0 && !chosen(outcome).probes.empty()) {
    lines.push_back("whole bed, errors shared (" + std::to_string(bed.fixtures) + " fixtures of " +
                    std::to_string(bed.boards) + " " + touched + " simulated, seed " + std::to_string(bed.seed) + "):");
    const std::string fixtures = std::to_string(bed.fixtures) + " fixtures";
    auto of = [&](int built) { return std::to_string(static_cast<long long>(built) * bed.boards) + " " + touched; };
    lines.push_back("  built fixture needs rework: " + share(bed.rework, fixtures));
    lines.push_back("  good " + touched +
                    " rejected because a probe misses: " + share(bed.false_reject, of(bed.fixtures)) + "; " + sum);
    if (bed.without_rework < bed.fixtures)
      lines.push_back(bed.without_rework == 0
                          ? std::string("  every simulated fixture needed rework")
                          : "  the same on the " + std::to_string(bed.without_rework) +
                                " fixtures that need no rework: " + share(bed.after_rework, of(bed.without_rework)));
  } else {
    lines.push_back("one touch of the bed: " + sum + " (nothing simulated)");
  }
  const FaultOdds faults = faults_of(outcome);
  lines.push_back(
      "  contact faults at one touch: " + spoken(faults.likely) + ", " + spoken(faults.low) + " to " +
      spoken(faults.high) +
      (faults.counted ? " (95 %, your own count in it)"
                      : " (95 %; figures from memory, worth one fault seen: count your own,  [history] )") +
      "; in a second touch as well: " + spoken(faults.likely * faults.likely) +
      "; chance that a tip touches a neighbour's metal: " +
      (bed.sum_of_wrong > 0 ? spoken(bed.sum_of_wrong) : std::string("below 0.1 in a million at each probe")));
  if (bed.narrowest >= 0)
    lines.push_back("  least room: " + chosen(outcome).probes[ProbeId::of_number(bed.narrowest)].name + ", " +
                    fixed(bed.room, 3) + " mm or " + short_number(bed.deviations, 1) +
                    " standard deviations; a place that is off by so much uses it up. Misses hold while each error is "
                    "as assumed: with a normal law for the pointing their sum is " +
                    summed(bed.sum_if_normal));
  std::string worst;
  for (const auto& [i, part] : bed.worst)
    if (part >= 0.01)
      worst += (worst.empty() ? "" : ", ") + chosen(outcome).probes[ProbeId::of_number(i)].name + " " +
               fixed(100 * part, 0) + " %";
  if (!worst.empty()) lines.push_back("  most misses by: " + worst);
  if (!outcome.results.sensitivity.empty() && outcome.results.sensitivity[0].now > least &&
      outcome.results.sensitivity[0].halved < 0.999 * outcome.results.sensitivity[0].now) {
    std::string text;
    for (std::size_t i = 0; i < outcome.results.sensitivity.size() && i < 3; ++i)
      if (outcome.results.sensitivity[i].halved < 0.999 * outcome.results.sensitivity[i].now)
        text += (text.empty() ? "" : ", ") + std::string(to_string(outcome.results.sensitivity[i].source)) + " (to " +
                summed(outcome.results.sensitivity[i].halved) + ")";
    lines.push_back("  tolerance whose halving helps most (the sum of single misses is now " +
                    spoken(outcome.results.sensitivity[0].now) + "): " + text);
  }
  for (const std::string& line : small_land_lines(outcome)) lines.push_back(line);
  return lines;
}

std::string given_up(const Relaxation& relaxation, double share) {
  if (relaxation.reason == Reason::odds_too_low || relaxation.reason == Reason::wrong_landing)
    return "allowing " + short_number(share, 2) + " times the chance";
  return "giving up " + fixed(100 * share, share < 0.01 ? 1 : 0) + " % of the requirement";
}

std::vector<std::string> nearly_open_lines(const Outcome& outcome) {
  std::vector<std::string> lines;
  const Coverage& coverage = outcome.results.coverage;
  if (coverage.relaxations.empty()) return lines;
  lines.push_back(
      "nets not fully served that a single rule keeps closed (if only that rule were relaxed; spacing to other probes "
      "not considered):");
  for (std::size_t i = 0; i < coverage.relaxations.size() && i < 5; ++i) {
    const Relaxation& relaxation = coverage.relaxations[i];
    lines.push_back("  " + std::string(to_string(relaxation.reason)) + ": " + std::to_string(relaxation.nets) +
                    (relaxation.nets == 1 ? " net" : " nets") +
                    (relaxation.mandatory ? ", " + std::to_string(relaxation.mandatory) + " mandatory" : "") +
                    "; to open half of them: " + given_up(relaxation, relaxation.half) +
                    ", to open all: " + given_up(relaxation, relaxation.all));
  }
  return lines;
}

namespace {
std::string covariance_text(const Covariance& covariance) {
  return "sigma " + fixed(1000 * std::sqrt(covariance.xx), 1) + " / " + fixed(1000 * std::sqrt(covariance.yy), 1) +
         " um in x / y" +
         (std::abs(covariance.xy) > 1e-3 * std::sqrt(covariance.xx * covariance.yy)
              ? ", correlation " + fixed(covariance.xy / std::sqrt(covariance.xx * covariance.yy), 2)
              : "");
}

const char* effect_of(const Shortfall& shortfall) {
  if (shortfall.blocking) return "blocks: ";
  return shortfall.waiver ? "waived: " : "costs: ";
}

void explain_spot(std::vector<std::string>& lines, const Outcome& outcome, SpotId id, ClassId class_id, bool main) {
  const Spot& spot = outcome.access.spots[id];
  const ProbeClass& probe_class = outcome.catalogue.classes[class_id];
  const Verdict& verdict = outcome.access.verdict(id, class_id, main);
  std::string head = "    " + probe_class.name + ": " + (verdict.open ? "open" : "blocked");
  if (verdict.open || verdict.miss < Chance{1})
    head += ", chance of a miss " + chance(verdict.miss) +
            (verdict.wrong > Chance{} ? ", of a neighbour's metal " + chance(verdict.wrong) : "");
  if (verdict.open) {
    const Touch touch = touch_of(outcome, id, class_id);
    head += ", " + touch.tip + ", " + short_number(touch.force, 2) + " N";
  }
  if (id != outcome.access.targets[spot.target].first_spot)
    head += ", aimed at the " + std::string(to_string(spot.kind)) + " (" + fixed(spot.at.x, 3) + ", " +
            fixed(spot.at.y, 3) + ")";
  lines.push_back(head);
  for (const Shortfall& shortfall : verdict.shortfalls)
    lines.push_back("      " + std::string(effect_of(shortfall)) + sentence(shortfall, outcome.board, outcome.job));
}

void explain_error(std::vector<std::string>& lines, const Outcome& outcome, SpotId spot, ClassId class_id) {
  const PositionError error = position_error(outcome, spot, class_id);
  lines.push_back("    position error of " + outcome.catalogue.classes[class_id].name + ": " +
                  covariance_text(error.total) + ", of it");
  for (const ErrorPart& part : error.parts)
    lines.push_back("      " + std::string(to_string(part.source)) + ": " + covariance_text(part.part) + "; " +
                    part.said.size + "; " + to_string(time_of(part.source)) +
                    (is_shared(part.source) ? ", shared" : "") + "; " + part.said.mark);
}

/// The chain of a placed probe's stroke, term by term, and where the board takes it.
void explain_stroke(std::vector<std::string>& lines, const Outcome& outcome, ProbeId id) {
  const PlacedProbe& probe = chosen(outcome).probes[id];
  const ProbeClass& probe_class = outcome.catalogue.classes[probe.probe_class];
  const Stroke stroke = stroke_of(outcome, id);
  std::string line = "    stroke of " + probe.name + ": " + chain_text(stroke) + " = " + fixed(stroke.nominal, 2) +
                     " +- " + fixed(stroke.tolerance, 2) + " mm";
  const PressedState* full = outcome.results.mechanics.at_full_stroke();
  if (full && full->least_travel.has(id))
    line += "; where the board bends " + fixed(full->least_travel[id], 2) + " to " + fixed(full->most_travel[id], 2) +
            " mm, " + fixed(full->probe_force[id], 2) + " N at most";
  lines.push_back(line + "; window " + fixed(probe_class.least_travel, 2) + " to " + fixed(probe_class.most_travel, 2) +
                  " mm");
  for (const StrokePart& part : stroke.parts)
    lines.push_back("      " + part.name + ": " + (part.adds == Mm{} ? std::string("0") : fixed(part.adds, 2)) +
                    " +- " + fixed(part.tolerance, 2) + " mm");
}

void explain_target(std::vector<std::string>& lines, const Outcome& outcome, TargetId id) {
  const Target& target = outcome.access.targets[id];
  const Feature& feature = outcome.board.features[target.feature];
  const bool main = target.side == chosen(outcome).option.main;
  const Spot& first = outcome.access.spots[target.first_spot];
  std::string contact;
  for (const Contact kind : target.contacts) contact += (contact.empty() ? "" : " or ") + std::string(to_string(kind));
  std::string used;
  for (const PlacedProbe& probe : chosen(outcome).probes)
    if (probe.target == id) used += ", probe " + probe.name;
  lines.push_back("  " + feature.name + ", " + to_string(target.side) + (main ? " (main side)" : "") + ", " +
                  to_string(feature.kind) + ", " + contact + ", surface " + to_string(target.surface) + ", at (" +
                  fixed(first.at.x, 3) + ", " + fixed(first.at.y, 3) + "), largest circle " + fixed(first.diameter, 3) +
                  " mm, " + std::to_string(target.spots) + (target.spots == 1 ? " aim point" : " aim points") + used);
  for (const ClassId k : outcome.catalogue.classes.ids())
    explain_spot(lines, outcome, outcome.access.best(id, k, main), k, main);
  for (const PlacedProbe& probe : chosen(outcome).probes)
    if (probe.target == id && outcome.access.best(id, probe.probe_class, main) != probe.spot) {
      const Spot& spot = outcome.access.spots[probe.spot];
      lines.push_back("    probe " + probe.name + " is aimed at the " + to_string(spot.kind) + " (" +
                      fixed(spot.at.x, 3) + ", " + fixed(spot.at.y, 3) + "): chance of a miss " +
                      chance(verdict_of(outcome, probe).miss) + ", at no higher price");
    }
  explain_error(lines, outcome, target.first_spot, ClassId{0});
  for (const ProbeId probe : chosen(outcome).probes.ids())
    if (chosen(outcome).probes[probe].target == id) explain_stroke(lines, outcome, probe);
}

void explain_net(std::vector<std::string>& lines, const Outcome& outcome, NeedId id) {
  const Board& board = outcome.board;
  const Need& need = outcome.needs[id];
  const CoverageRow& row = outcome.results.coverage.rows[id];
  lines.push_back(
      "net " + board.nets[need.net].name + ": " + to_string(need.role) + (need.mandatory ? ", mandatory" : "") + ", " +
      std::to_string(row.got) + " of " + std::to_string(row.wanted) + " probes, " + row.status +
      (row.reason.empty() ? "" : ": " + row.reason) + (row.reason == need.because ? "" : " (" + need.because + ")"));
  for (const Covered& covered : board.covered)
    if (const Feature& feature = board.features[covered.feature]; feature.net == need.net)
      lines.push_back("  " + feature.name + ", " + to_string(covered.side) + ": " +
                      (covered.mask ? "mask closed" : "no copper under the point"));
  for (const TargetId target : outcome.access.targets.ids())
    if (board.features[outcome.access.targets[target].feature].net == need.net) explain_target(lines, outcome, target);
}
}  // namespace

std::vector<std::string> explain_lines(const Outcome& outcome, std::string_view nets) {
  std::vector<std::string> lines;
  for (const NeedId i : outcome.needs.ids())
    if (glob_match(nets, outcome.board.nets[outcome.needs[i].net].name)) explain_net(lines, outcome, i);
  if (lines.empty()) lines.push_back("no net fits '" + std::string(nets) + "'");
  return lines;
}

}  // namespace teasel
