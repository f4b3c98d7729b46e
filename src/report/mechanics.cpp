// How the board bends in the bed, as lists.
#include <cmath>

#include "teasel/enums.h"
#include "teasel/words.h"
#include "text.h"

namespace teasel {

namespace {
std::string micro(Microstrain strain) {
  return fixed(strain, 0);
}
std::string mm2(Mm length) {
  return fixed(length, 2);
}
std::string name_of(const Outcome& outcome, const PartStrain& strained) {
  return outcome.board.components[strained.component].name;
}

std::string limits_text(const Mechanics& mechanics) {
  if (mechanics.limits_hold)
    return "every probe stays within its window of travel and every part within its strain limit, bow and twist "
           "included";
  if (mechanics.flat_holds)
    return "the limits hold for a flat board in every moment of the closing (" + strain_text(mechanics.flat_strain) +
           " microstrain at most), but " + bow_sentence(mechanics.bow);
  if (mechanics.tips) return "THE BOARD IS TURNED OVER by its probes: what holds it stands on one side of them";
  return "THE LIMITS DO NOT HOLD for a flat board";
}

void strain_lines(std::vector<std::string>& lines, const Outcome& outcome) {
  const Mechanics& mechanics = outcome.results.mechanics;
  const auto worst = std::max_element(
      mechanics.parts.begin(), mechanics.parts.end(),
      [](const PartStrain& a, const PartStrain& b) { return a.strain / a.limit < b.strain / b.limit; });
  std::size_t over = 0;
  for (const PartStrain& strained : mechanics.parts) over += strained.strain > strained.limit;
  if (worst != mechanics.parts.end())
    lines.push_back("  largest strain at a part's corner: " + name_of(outcome, *worst) + ", " +
                    strain_text(worst->strain) + " of " + micro(worst->limit) + " microstrain, " + worst->state +
                    (over ? "; " + std::to_string(over) + " parts above their limit, all in strain.csv" : "") +
                    "; figures are good to about " + short_number(100 * kFiguresOff, 0) +
                    " %, beside feet and edges to 13 %");
  if (!mechanics.over) return;
  const OverStrained& corner = *mechanics.over;
  auto far = [&](Side side) {
    const std::optional<Mm>& gap = corner.nearest[side];
    return std::string(side == chosen(outcome).option.main ? "for a stop on the " : "for a finger on the ") +
           to_string(side) + " side: " + (gap ? "nearest " + fixed(*gap, 1) + " mm off" : "none");
  };
  lines.push_back("  on a flat board the part furthest beyond its limit is " +
                  outcome.board.components[corner.component].name + ", at (" + fixed(corner.at.x, 1) + ", " +
                  fixed(corner.at.y, 1) + "), " + corner.moment + ": " + strain_text(corner.strain) + " of " +
                  micro(corner.limit) + " microstrain. Free places near it: " + far(Side::top) + ", " +
                  far(Side::bottom) +
                  ". If none is near, keep one free of parts in the layout, or use  [[support]]  to hold the board on "
                  "a part that can bear it");
}

/// What came of it, before its figures.
std::string outcome_of(const TriedChange& change) {
  if (change.holds()) return "the limits hold, at most ";
  if (change.tips) return "the board is still turned over, ";
  if (change.lost) return plural(change.lost, "probe leaves", "probes leave") + " the window of travel, ";
  return {};
}

/// What would help, as it was tried.
void tried_lines(std::vector<std::string>& lines, const Outcome& outcome) {
  const Mechanics& mechanics = outcome.results.mechanics;
  if (mechanics.tried.empty() && (mechanics.not_held || mechanics.tips))
    lines.push_back(
        "  tried: lower parts in place of assumed heights, and fingers on parts that look sturdy. Neither holds it: "
        "keep "
        "places free of parts in the layout, or use a vacuum");
  for (const TriedChange& change : mechanics.tried)
    if (change.component)
      lines.push_back("  tried: " + change.what + ": " + outcome_of(change) + strain_text(change.strain) + " of " +
                      micro(change.limit) + " microstrain, at " +
                      outcome.board.components[change.component].name.text());
}

/// Where the board leaves its plane, and the probes that do not follow.
void lifting_lines(std::vector<std::string>& lines, const Outcome& outcome) {
  const Mechanics& mechanics = outcome.results.mechanics;
  if (!mechanics.lifted.empty()) {
    const LiftedRegion& region = mechanics.lifted[0];
    lines.push_back("  " + std::to_string(mechanics.lifted.size()) +
                    (mechanics.lifted.size() == 1 ? " region leaves" : " regions leave") +
                    " the plane of the board by more than " + short_number(kLifted, 2) +
                    " mm; the largest deflection is at (" + fixed(region.at.x, 1) + ", " + fixed(region.at.y, 1) +
                    "), " + mm2(region.most) + " mm towards the " + to_string(region.side) +
                    " side; all in lifting.csv");
  }
  if (!mechanics.lost.empty()) {
    std::string names;
    for (std::size_t i = 0; i < mechanics.lost.size() && i < 8; ++i)
      names += (i ? " " : "") + chosen(outcome).probes[mechanics.lost[i]].name;
    lines.push_back("  " + std::to_string(mechanics.lost.size()) +
                    " probes leave their window of travel and are counted as not touching: " + names +
                    (mechanics.lost.size() > 8 ? " ..." : "") + "; travel.csv");
  }
}

void vacuum_lines(std::vector<std::string>& lines, const Outcome& outcome, const PressedState& full) {
  const Mechanics& mechanics = outcome.results.mechanics;
  if (mechanics.hold <= Newton{}) return;
  std::string line = "  the vacuum holds the board with " + fixed(mechanics.hold, 0) +
                     " N after leaks and springs; the probes push with " + fixed(full.pushed_up + full.pushed_down, 0) +
                     " N";
  if (!mechanics.loose.empty()) {
    const LooseSquare& worst = mechanics.loose[0];
    line += "; " + std::to_string(mechanics.loose.size()) +
            " squares of 30 mm are pushed harder than they are held; the worst lies about (" +
            fixed(worst.box.centre().x, 0) + ", " + fixed(worst.box.centre().y, 0) + "): " + fixed(worst.pushed, 0) +
            " of " + fixed(worst.held, 0) + " N";
  }
  lines.push_back(line);
  if (!mechanics.plug.empty())
    lines.push_back("  " + std::to_string(mechanics.plug.size()) +
                    " open holes leak. Plug or tape them; the widest measures " +
                    mm2(outcome.board.holes[mechanics.plug[0]].diameter) + " mm");
  if (!mechanics.leaks.empty())
    lines.push_back("  " + std::to_string(mechanics.leaks.size()) +
                    " more leak round the probes that stand in them; the pump must make up for these");
}

void scrub_line(std::vector<std::string>& lines, const Outcome& outcome) {
  const Table<ProbeId, Mm>& scrub = outcome.results.mechanics.scrub;
  Mm most;
  ProbeId which;
  for (const ProbeId i : scrub.ids())
    if (scrub[i] > most) {
      most = scrub[i];
      which = i;
    }
  if (most > Mm{0.01})
    lines.push_back("  the lid closes on an arc, so the tips of its bed move sideways by up to " + mm2(most) +
                    " mm while they touch (" + chosen(outcome).probes[which].name +
                    "). A hinge in the plane of the board would move them least");
}
}  // namespace

namespace {
/// How the board is strained most while the bed closes, and how sure the figure is.
void closing_line(std::vector<std::string>& lines, const Outcome& outcome) {
  const Mechanics& mechanics = outcome.results.mechanics;
  const PressedState* peak = mechanics.at_peak();
  if (!peak || mechanics.flat_moment.empty()) return;
  if (mechanics.springs_before > Newton{})
    lines.push_back("  springs of the moving plate: " + fixed(mechanics.springs, 0) + " N at work instead of " +
                    fixed(mechanics.springs_before, 0) +
                    " N, which keep the board on its stops for longer; with the weaker ones a flat board would see " +
                    strain_text(mechanics.before) + " microstrain");
  lines.push_back("  " + std::to_string(mechanics.states.size()) +
                  " moments of the closing: a flat board is strained most at " + mechanics.flat_moment + ", by " +
                  strain_text(mechanics.flat_strain) + " microstrain (" +
                  (mechanics.peak_within > Mm{} ? "peak found within " + short_number(mechanics.peak_within, 2) + " mm"
                                                : "between moments nothing exceeds it") +
                  "); with bow and twist at " + peak->name + ", by " + strain_text(peak->strain));
}
}  // namespace

std::vector<std::string> mechanics_lines(const Outcome& outcome) {
  const Mechanics& mechanics = outcome.results.mechanics;
  std::vector<std::string> lines;
  if (!mechanics.used) {
    lines.push_back("bending: not calculated, " + mechanics.why_not + "; supports are placed by reach alone");
    tried_lines(lines, outcome);
    return lines;
  }
  const PressedState& full = *mechanics.at_full_stroke();
  std::size_t stops = 0;
  for (const PlacedSupport& support : mechanics.supports) stops += !support.finger;
  lines.push_back("bending at full stroke, on " + std::to_string(stops) + " stops and " +
                  std::to_string(mechanics.supports.size() - stops) +
                  " fingers: a flat board bends out of its plane by " + mm2(full.up) + " mm towards the top side and " +
                  mm2(full.down) + " mm towards the bottom side; " + limits_text(mechanics));
  closing_line(lines, outcome);
  strain_lines(lines, outcome);
  tried_lines(lines, outcome);
  lifting_lines(lines, outcome);
  for (const PressedState& state : mechanics.states)
    if (!state.settled)
      lines.push_back("  " + state.name +
                      ": no consistent set of contacts and forces was found; do not rely on this state");
  if (outcome.kit && full.middle) {
    const double off = full.moment.v / std::max(1e-9, std::abs((full.pushed_up - full.pushed_down).v));
    if (off > outcome.rules.mechanics.off_axis.v)
      lines.push_back("  the centre of the forces lies " + fixed(off, 0) + " mm off the press's axis (" +
                      fixed(full.moment / 1000, 2) +
                      " N m). Move the board until the centre lies under the axis, or guide the press");
  }
  vacuum_lines(lines, outcome, full);
  scrub_line(lines, outcome);
  return lines;
}

std::string mechanics_csv(const Outcome& outcome) {
  Csv::Text csv =
      "state,to_go_mm,board_raised_mm,moving_plate,settled,up_mm,up_x_mm,up_y_mm,down_mm,down_x_mm,down_y_mm,largest_"
      "strain_ue,free_shape,pushed_up_N,pushed_"
      "down_N,held_N,middle_x_mm,middle_y_mm,moment_Nmm,plan_id\n";
  for (const PressedState& state : outcome.results.mechanics.states)
    csv += csv_row({state.name,
                    fixed(state.to_go, 3),
                    fixed(state.raised, 3),
                    to_string(state.lying),
                    yes_no(state.settled),
                    fixed(state.up, 3),
                    fixed(state.up_at.x, 1),
                    fixed(state.up_at.y, 1),
                    fixed(state.down, 3),
                    fixed(state.down_at.x, 1),
                    fixed(state.down_at.y, 1),
                    micro(state.strain),
                    to_string(state.worst),
                    fixed(state.pushed_up, 1),
                    fixed(state.pushed_down, 1),
                    fixed(state.held, 1),
                    state.middle ? fixed(state.middle->x, 1) : "",
                    state.middle ? fixed(state.middle->y, 1) : "",
                    fixed(state.moment, 0),
                    outcome.plan_id});
  return csv.text();
}

std::string lifting_csv(const Outcome& outcome) {
  Csv::Text csv = "towards,most_mm,x_mm,y_mm,area_mm2,x_from_mm,y_from_mm,x_to_mm,y_to_mm,plan_id\n";
  for (const LiftedRegion& region : outcome.results.mechanics.lifted)
    csv += csv_row({to_string(region.side), fixed(region.most, 3), fixed(region.at.x, 2), fixed(region.at.y, 2),
                    fixed(region.area, 1), fixed(region.box.x0, 2), fixed(region.box.y0, 2), fixed(region.box.x1, 2),
                    fixed(region.box.y1, 2), outcome.plan_id});
  return csv.text();
}

std::string strain_csv(const Outcome& outcome) {
  Csv::Text csv = "component,sensitive,strain_ue,limit_ue,share_of_limit,state,x_mm,y_mm,plan_id\n";
  for (const PartStrain& strained : outcome.results.mechanics.parts)
    csv += csv_row({name_of(outcome, strained), yes_no(strained.sensitive), micro(strained.strain),
                    micro(strained.limit), fixed(strained.strain / strained.limit, 2), strained.state,
                    fixed(strained.at.x, 2), fixed(strained.at.y, 2), outcome.plan_id});
  return csv.text();
}

std::string travel_csv(const Outcome& outcome) {
  Csv::Text csv =
      "probe,net,class,state,target,chain_mm,tolerance_mm,bending_least_mm,bending_most_mm,least_travel_mm,"
      "most_travel_mm,largest_force_N,window_from_mm,window_to_mm,in_window,scrub_mm,terms,plan_id\n";
  for (const ProbeId i : chosen(outcome).probes.ids()) {
    const PlacedProbe& probe = chosen(outcome).probes[i];
    const ProbeClass& probe_class = outcome.catalogue.classes[probe.probe_class];
    for (const PressedState& state : outcome.results.mechanics.states) {
      // Moments between first touch and full stroke matter for the board, and there the worst of them.
      if (state.share < 1 && &state != outcome.results.mechanics.at_peak() && state.name != kHalfStage) continue;
      const bool at_work = &state == outcome.results.mechanics.at_full_stroke();
      const BentStroke bent = bent_stroke(outcome, state, i);
      const auto at_work_only = [&](const std::string& text) { return at_work ? text : std::string(); };
      csv += csv_row(
          {probe.name, net_name(outcome, probe.need), probe_class.name, state.name, to_string(bent.stroke.contact),
           fixed(bent.stroke.nominal, 3), fixed(bent.stroke.tolerance, 3),
           at_work_only(fixed(bent.shortest - bent.stroke.nominal, 3)),
           at_work_only(fixed(bent.longest - bent.stroke.nominal, 3)), fixed(bent.shortest, 3), fixed(bent.longest, 3),
           fixed(state.probe_force[i], 3), at_work_only(mm2(probe_class.least_travel)),
           at_work_only(mm2(probe_class.most_travel)), at_work_only(yes_no(bent.in_window(probe_class))),
           at_work && outcome.results.mechanics.scrub.has(i) ? fixed(outcome.results.mechanics.scrub[i], 3) : "",
           chain_text(bent.stroke), outcome.plan_id});
    }
  }
  return csv.text();
}

namespace {
const char* placed_by(const PlacedSupport& support) {
  if (support.by_hand) return "by hand";
  return support.standing ? "stands already" : "laid out";
}
const char* limited_by(FootLimit::By by) {
  static constexpr Words<FootLimit::By> kWords{"pressure on the board", "what a part bears", "buckling"};
  return kWords[by];
}
}  // namespace

std::string supports_csv(const Outcome& outcome) {
  Csv::Text csv =
      "support,kind,side,x_mm,y_mm,presses_on,reach_mm,placed,largest_force_N,bears_N,within,limited_by,carries_at_"
      "full_stroke,plan_id\n";
  const PressedState* full = outcome.results.mechanics.at_full_stroke();
  const std::vector<Newton> most = most_on_supports(outcome.results.mechanics);
  for (std::size_t i = 0; i < outcome.results.mechanics.supports.size(); ++i) {
    const PlacedSupport& support = outcome.results.mechanics.supports[i];
    const FootLimit limit = foot_limit(outcome, support);
    csv += csv_row({support.label, support.finger ? "push finger" : "board stop", to_string(support.side),
                    fixed(support.at.x, 3), fixed(support.at.y, 3),
                    part_under(outcome, support) ? part_under(outcome, support)->name.text() : "board",
                    fixed(reach_of(outcome, support), 2), placed_by(support), full ? fixed(most[i], 2) : "",
                    fixed(limit.force, 0), full ? yes_no(most[i] <= limit.force) : "", limited_by(limit.by),
                    full ? yes_no(!full->support_idle[i]) : "", outcome.plan_id});
  }
  return csv.text();
}

}  // namespace teasel
