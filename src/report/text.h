// Shared wording of the outputs.
#pragma once
#include <initializer_list>
#include <string>
#include <string_view>
#include <vector>

#include "teasel/report.h"

namespace teasel {

/// A field quoted where it must be (RFC 4180).
std::string csv_field(std::string_view s);
/// A line of fields, each quoted where it must be.
std::string csv_row(std::initializer_list<std::string> fields);
const std::string& net_name(const Outcome& o, int need);
const OptionResult& chosen(const Outcome& o);
const Feature& feature_of(const Outcome& o, int target);
const Exposure& exposure_of(const Outcome& o, int target);
const Verdict& verdict_of(const Outcome& o, const PlacedProbe& p);
/// "U7" for a feature's component, blank where there is none.
std::string component_name(const Board& b, const Feature& f);
/// Parts and pins whose lands at this point and side are the target's metal, each joined by ';'.
struct SharedLand {
  std::string components, pins;
};
std::vector<SharedLand> shared_lands(const Outcome& o);  ///< by placed probe
/// Odds of hitting, enough digits to tell it from 1.
std::string odds_text(double miss);
std::string money(Cents c);
/// A probability that the model can vouch for: "2.3e-05", and "below 1e-12" beneath its accuracy.
std::string chance(double v);
/// A small number: "2.3e-05".
std::string scientific(double v);
/// A probability for readers: "2.4 %", "1.56 in a thousand", "0.66 in a million".
std::string spoken(double v);
/// "below 2.4 %".
std::string spoken_bound(double v);
/// A simulated share with its interval: "1.2 in a thousand (95 %: 0.8 in a thousand to 1.6 in a thousand)".
std::string share(const Estimate& e);
/// Odds of the whole bed, and which error buys most; for the summary and the page.
std::vector<std::string> bed_lines(const Outcome& o);
std::vector<std::string> plan_lines(const Outcome& o);

/// What of a rule to give up: "giving up 12 % of the requirement", "allowing 3 times the chance".
std::string given_up(const Relaxation& r, double share);

/// What is engraved: the mark, or the plan id in its place.
std::string engraved(const Outcome& o, const Mark& mark);
std::string escaped(std::string_view s);  ///< for XML and HTML

}  // namespace teasel
