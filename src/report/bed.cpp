// Odds of the bed, what keeps targets closed, and one net explained.
#include <algorithm>
#include <cmath>

#include "text.h"

namespace teasel {

std::vector<std::string> bed_lines(const Outcome& o) {
  const BedOdds& b = o.bed;
  std::vector<std::string> lines;
  // One touch of a bed for a panel meets all of its boards.
  const std::string touched = o.board.places.empty() ? "boards" : "panels";
  // Each probe counts for at least the least chance that is claimed.
  const double least = 1.5 * kLeastChance * static_cast<double>(chosen(o).probes.size());
  auto summed = [&](double v) { return v <= least ? spoken_bound(v) : spoken(v); };
  const std::string sum = "sum of single misses " + summed(b.sum_of_misses) + ", an upper bound";
  if (b.fixtures > 0 && !chosen(o).probes.empty()) {
    lines.push_back("whole bed, errors shared (" + std::to_string(b.fixtures) + " fixtures of " +
                    std::to_string(b.boards) + " " + touched + " simulated, seed " + std::to_string(b.seed) + "):");
    lines.push_back("  built fixture needs rework: " + share(b.rework));
    lines.push_back("  good " + touched + " rejected because a probe misses: " + share(b.false_reject) + "; " + sum);
    if (b.without_rework < b.fixtures)
      lines.push_back(b.without_rework == 0 ? std::string("  every simulated fixture needed rework")
                                            : "  the same on the " + std::to_string(b.without_rework) +
                                                  " fixtures that need no rework: " + share(b.after_rework));
  } else {
    lines.push_back("one touch of the bed: " + sum + " (nothing simulated)");
  }
  lines.push_back("  contact faults at one touch: " + spoken(b.fault) + "; neighbours' metal touched: " +
                  (b.sum_of_wrong > 0 ? spoken(b.sum_of_wrong) : std::string("below 0.1 in a million at each probe")));
  std::string worst;
  for (const auto& [i, part] : b.worst)
    if (part >= 0.01)
      worst += (worst.empty() ? "" : ", ") + chosen(o).probes[static_cast<std::size_t>(i)].name + " " +
               fixed(100 * part, 0) + " %";
  if (!worst.empty()) lines.push_back("  most misses by: " + worst);
  if (!o.sensitivity.empty() && o.sensitivity[0].now > least &&
      o.sensitivity[0].halved < 0.999 * o.sensitivity[0].now) {
    std::string text;
    for (std::size_t i = 0; i < o.sensitivity.size() && i < 3; ++i)
      if (o.sensitivity[i].halved < 0.999 * o.sensitivity[i].now)
        text += (text.empty() ? "" : ", ") + std::string(to_string(o.sensitivity[i].source)) + " (to " +
                summed(o.sensitivity[i].halved) + ")";
    lines.push_back("  tolerance that buys most when halved (sum of single misses now " + spoken(o.sensitivity[0].now) +
                    "): " + text);
  }
  return lines;
}

std::string given_up(const Relaxation& r, double share) {
  if (r.reason == Reason::odds_too_low || r.reason == Reason::wrong_landing)
    return "allowing " + short_number(share, 2) + " times the chance";
  return "giving up " + fixed(100 * share, share < 0.01 ? 1 : 0) + " % of the requirement";
}

std::vector<std::string> nearly_open_lines(const Outcome& o) {
  std::vector<std::string> lines;
  const Coverage& c = o.coverage;
  if (c.relaxations.empty()) return lines;
  lines.push_back(
      "nets not served in full that one rule alone keeps closed (relaxing it and nothing else; spacing to other probes "
      "not looked at):");
  for (std::size_t i = 0; i < c.relaxations.size() && i < 5; ++i) {
    const Relaxation& r = c.relaxations[i];
    lines.push_back("  " + std::string(to_string(r.reason)) + ": " + std::to_string(r.nets) +
                    (r.nets == 1 ? " net" : " nets") +
                    (r.mandatory ? ", " + std::to_string(r.mandatory) + " mandatory" : "") + "; half of them by " +
                    given_up(r, r.half) + ", all by " + given_up(r, r.all));
  }
  return lines;
}

namespace {
std::string covariance_text(const Covariance& c) {
  return "sigma " + fixed(1000 * std::sqrt(c.xx), 1) + " / " + fixed(1000 * std::sqrt(c.yy), 1) + " um in x / y" +
         (std::abs(c.xy) > 1e-3 * std::sqrt(c.xx * c.yy) ? ", correlation " + fixed(c.xy / std::sqrt(c.xx * c.yy), 2)
                                                         : "");
}

void explain_spot(std::vector<std::string>& lines, const Outcome& o, std::size_t t, std::size_t spot, std::size_t k,
                  bool main) {
  const Target& target = o.access.targets[t];
  const ProbeClass& p = o.catalogue.classes[k];
  const Spot& s = o.access.spots[spot];
  const Verdict& v = o.access.verdict(spot, k, main);
  std::string head = "    " + p.name + ": " + (v.open ? "open" : "blocked");
  if (v.open || v.miss < 1)
    head += ", chance of a miss " + chance(v.miss) + (v.wrong > 0 ? ", of a neighbour's metal " + chance(v.wrong) : "");
  if (v.open)
    head += ", " + tip_for(o.board, target, s) + ", " + short_number(force_on(o.rules, target, p).v, 2) + " N";
  if (static_cast<int>(spot) != target.first_spot)
    head +=
        ", aimed at the " + std::string(to_string(s.kind)) + " (" + fixed(s.at.x, 3) + ", " + fixed(s.at.y, 3) + ")";
  lines.push_back(head);
  for (const Shortfall& x : v.shortfalls)
    lines.push_back("      " +
                    std::string(x.blocking      ? "blocks: "
                                : x.waiver >= 0 ? "waived: "
                                                : "costs: ") +
                    sentence(x, o.board, o.job));
}
}  // namespace

std::vector<std::string> explain_lines(const Outcome& o, std::string_view nets) {
  std::vector<std::string> lines;
  const Board& b = o.board;
  std::size_t fitting = 0;
  for (std::size_t i = 0; i < o.needs.size(); ++i) {
    const Net& net = b.nets[static_cast<std::size_t>(o.needs[i].net)];
    if (!glob_match(nets, net.name) && !glob_match(nets, net.plain())) continue;
    ++fitting;
    const Need& need = o.needs[i];
    const CoverageRow& row = o.coverage.rows[i];
    lines.push_back("net " + net.name + ": " + to_string(need.role) + (need.mandatory ? ", mandatory" : "") + ", " +
                    std::to_string(row.got) + " of " + std::to_string(row.wanted) + " probes, " + row.status +
                    (row.reason.empty() ? "" : ": " + row.reason) +
                    (row.reason == need.because ? "" : " (" + need.because + ")"));
    for (const Covered& c : b.covered)
      if (const Feature& f = b.features[static_cast<std::size_t>(c.feature)]; f.net == need.net)
        lines.push_back("  " + f.name + ", " + to_string(c.side) + ": " +
                        (c.mask ? "mask closed" : "no copper under the point"));
    for (std::size_t t = 0; t < o.access.targets.size(); ++t) {
      const Target& target = o.access.targets[t];
      const Feature& f = b.features[static_cast<std::size_t>(target.feature)];
      if (f.net != need.net) continue;
      const bool main = target.side == chosen(o).option.main;
      const Spot& first = o.access.spots[static_cast<std::size_t>(target.first_spot)];
      std::string contact;
      for (const Contact c : target.contacts) contact += (contact.empty() ? "" : " or ") + std::string(to_string(c));
      std::string used;
      for (const PlacedProbe& p : chosen(o).probes)
        if (p.target == static_cast<int>(t)) used += ", probe " + p.name;
      lines.push_back("  " + f.name + ", " + to_string(target.side) + (main ? " (main side)" : "") + ", " +
                      to_string(f.kind) + ", " + contact + ", surface " + to_string(target.surface) + ", at (" +
                      fixed(first.at.x, 3) + ", " + fixed(first.at.y, 3) + "), largest circle " +
                      fixed(first.diameter, 3) + " mm, " + std::to_string(target.spots) +
                      (target.spots == 1 ? " aim point" : " aim points") + used);
      for (std::size_t k = 0; k < o.access.classes; ++k) explain_spot(lines, o, t, o.access.best(t, k, main), k, main);
      for (const PlacedProbe& p : chosen(o).probes)
        if (p.target == static_cast<int>(t) &&
            o.access.best(t, static_cast<std::size_t>(p.probe_class), main) != static_cast<std::size_t>(p.spot)) {
          const Spot& s = o.access.spots[static_cast<std::size_t>(p.spot)];
          lines.push_back("    probe " + p.name + " is aimed at the " + to_string(s.kind) + " (" + fixed(s.at.x, 3) +
                          ", " + fixed(s.at.y, 3) + "): chance of a miss " + chance(verdict_of(o, p).miss) +
                          ", at no higher price");
        }
      const ProbeClass& k0 = o.catalogue.classes[0];
      const Exposure& e = b.exposures[static_cast<std::size_t>(target.exposure)];
      const ErrorBudget budget = error_budget(b, o.rules, k0, e, first.at, main);
      lines.push_back("    position error of " + k0.name + ": " + covariance_text(budget.total()) + ", of it");
      for (int n = 0; n < kErrorSources; ++n) {
        const auto source = static_cast<ErrorSource>(n);
        if (budget[source] == Covariance{}) continue;
        const ErrorStatement said = statement(source, b, o.rules, k0);
        lines.push_back("      " + std::string(to_string(source)) + ": " + covariance_text(budget[source]) + "; " +
                        said.size + "; " + to_string(time_of(source)) + (is_shared(source) ? ", shared" : "") + "; " +
                        said.mark);
      }
    }
  }
  if (fitting == 0) lines.push_back("no net fits '" + std::string(nets) + "'");
  return lines;
}

}  // namespace teasel
