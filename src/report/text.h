// Shared wording of the outputs.
#pragma once
#include <initializer_list>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "teasel/report.h"
#include "teasel/written.h"

namespace teasel {

/// Amounts are printed in the unit that their type names.
template <class Tag>
std::string fixed(Amount<Tag> amount, int decimals) {
  return fixed(amount.v, decimals);
}
template <class Tag>
std::string short_number(Amount<Tag> amount, int decimals) {
  return short_number(amount.v, decimals);
}

inline const char* yes_no(bool yes) {
  return yes ? "yes" : "no";
}

/// A line of cells.
Csv::Text csv_row(std::span<const std::string> cells);
inline Csv::Text csv_row(std::initializer_list<std::string> cells) {
  return csv_row(std::span(cells.begin(), cells.size()));
}
const NetName& net_name(const Outcome& outcome, NeedId need);
/// The need of a net: there is one for each net, in the same order.
const Need& need_of(const Outcome& outcome, NetId net);
/// Its first letter large.
std::string capital(std::string text);
const OptionResult& chosen(const Outcome& outcome);
/// Through the probes of a supply and, where they are planned, their wires.
Amperes carried(const Outcome& outcome, const SupplyReach& supply);
const Feature& feature_of(const Outcome& outcome, TargetId target);
const Exposure& exposure_of(const Outcome& outcome, TargetId target);
const Verdict& verdict_of(const Outcome& outcome, const PlacedProbe& probe);
/// "U7" for a feature's component, blank where there is none.
std::string component_name(const Board& board, const Feature& feature);
/// Name of a feature's net, blank where it has none.
std::string net_of(const Board& board, const Feature& feature);
/// Parts and pins whose lands at this point and side are the target's metal, each joined by ';'.
struct SharedLand {
  std::string components, pins;
};
Table<ProbeId, SharedLand> shared_lands(const Outcome& outcome);
/// Odds of hitting, enough digits to tell it from 1.
std::string odds_text(Chance miss);
std::string money(Cents cents);
/// A probability that the model can vouch for: "2.3e-05", and "below 1e-12" beneath its accuracy.
std::string chance(double probability);
inline std::string chance(Chance probability) {
  return chance(probability.v);
}
/// A small number: "2.3e-05".
std::string scientific(double v);
/// A probability for readers: "2.4 %", "1.56 in a thousand", "0.66 in a million".
std::string spoken(double probability);
/// "below 2.4 %".
std::string spoken_bound(double probability);
/// A simulated share with its interval: "1.2 in a thousand (95 %: 0.8 in a thousand to 1.6 in a thousand)".
/// `simulated`: of what, with its number: "400 fixtures".
std::string share(const Estimate& estimate, const std::string& simulated);
/// Odds of the whole bed, and which error buys most; for the summary and the page.
/// Why plates cannot be made as planned, one line each: "lower-probe-plate-bottom: a hole lies in a pocket: ...".
std::vector<std::string> faults_of_plates(const Outcome& outcome);
std::vector<std::string> bed_lines(const Outcome& outcome);
/// Probes on lands below the usual size, and what the shop must hold for them; empty where there are none.
std::vector<std::string> small_land_lines(const Outcome& outcome);
std::vector<std::string> plan_lines(const Outcome& outcome);
/// How many test points of the designer are probed; empty where none are marked.
std::vector<std::string> test_point_lines(const Outcome& outcome);
/// What one touch of the bed tests: "boards", or the "panels" that hold several.
const char* touched_at_once(const Outcome& outcome);
/// Contact faults of the chosen bed at one touch, what the shop has counted included.
FaultOdds faults_of(const Outcome& outcome);
/// " of the panel's 2 boards"; empty where there is one board alone.
std::string of_the_panel(const Outcome& outcome);

/// What of a rule to give up: "giving up 12 % of the requirement", "allowing 3 times the chance".
std::string given_up(const Relaxation& relaxation, double share);

/// What is engraved: the mark, or the plan id in its place.
std::string engraved(const Outcome& outcome, const Mark& mark);

/// SVG and HTML as they are put together: constants, figures, and text from outside that was escaped.
using Markup = Xml::Text;
inline Markup escaped(const std::string& text) {
  return Xml::text(text);
}
/// Objects of a layer file as SVG paths in its own frame, Y upward.
Markup layer_objects(const formats::GerberFile& file, const char* dark, const char* clear);
/// The drawings that stand in pages as well.
Markup cost_drawing(const Outcome& outcome);
Markup rework_drawing(const Outcome& outcome, const PlateRework& rework);

}  // namespace teasel
