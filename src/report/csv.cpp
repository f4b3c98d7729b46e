#include <algorithm>
#include <map>

#include "teasel/fixture/probe_facts.h"
#include "text.h"

namespace teasel {

namespace {
/// What sets a probe apart from a plain one in a new hole.
std::string probe_notes(const Outcome& outcome, const PlacedProbe& probe) {
  std::string text;
  auto add = [&](const std::string& note) { text += (text.empty() ? "" : "; ") + note; };
  const ProbeClass& probe_class = outcome.catalogue.classes[probe.probe_class];
  if (probe.old_hole) add("in an existing hole of the fixture");
  if (probe.long_travel) add("long travel");
  if (probe_class.contacts > 1) add(std::to_string(probe_class.contacts) + " tips");
  if (probe.ring_need) add("ring on " + net_name(outcome, probe.ring_need));
  return text;
}
}  // namespace

std::string probes_csv(const Outcome& outcome) {
  Csv::Text csv =
      "probe,net,role,side,target,component,pin,x_mm,y_mm,class,tip,head_mm,force_N,odds,receptacle_drill_mm,notes\n";
  const auto lands = shared_lands(outcome);
  const auto facts = probe_facts(outcome);
  for (const ProbeId i : chosen(outcome).probes.ids()) {
    const PlacedProbe& probe = chosen(outcome).probes[i];
    const Target& target = outcome.access.targets[probe.target];
    const Feature& feature = feature_of(outcome, probe.target);
    const Point aim = outcome.access.spots[probe.spot].at;
    const ProbeClass& probe_class = outcome.catalogue.classes[probe.probe_class];
    const SharedLand& land = lands[i];
    const ProbeFacts& fact = facts[i];
    csv += csv_row({probe.name, net_name(outcome, probe.need), to_string(outcome.needs[probe.need].role),
                    to_string(target.side), feature.name, land.components, land.pins, fixed(aim.x, 3), fixed(aim.y, 3),
                    probe_class.name, fact.touch.tip,
                    short_number(head_diameter(outcome.board, outcome.rules, target, probe_class), 2),
                    short_number(fact.touch.force, 3), odds_text(fact.miss), fixed(probe_class.receptacle_drill.v, 3),
                    probe_notes(outcome, probe)});
  }
  return csv.text();
}

namespace {
std::string scanned(const Outcome& outcome, const Need& need) {
  return need.wanted > 0 && outcome.scan.needs_no_probe(outcome.board.base_net(need.net))
             ? " (boundary scan finds its opens and shorts)"
             : "";
}
}  // namespace

std::string coverage_csv(const Outcome& outcome) {
  Csv::Text csv = "net,role,mandatory,wanted,got,targets,open_top,open_bottom,status,reason\n";
  for (const CoverageRow& row : outcome.results.coverage.rows) {
    const Need& need = outcome.needs[row.need];
    if (outcome.board.nets[need.net].unconnected) continue;
    csv += csv_row({net_name(outcome, row.need), to_string(need.role), need.mandatory ? "yes" : "no",
                    std::to_string(row.wanted), std::to_string(row.got), std::to_string(row.targets),
                    std::to_string(row.open[Side::top]), std::to_string(row.open[Side::bottom]), row.status,
                    row.reason + scanned(outcome, need)});
  }
  return csv.text();
}

namespace {
/// Measured and required, as far as the reason has numbers; chances in scientific notation.
std::string measure_text(const Shortfall& shortfall, double value) {
  if (!shortfall.has_numbers()) return "";
  return std::string_view(shortfall.unit()) == "1" ? scientific(value) : fixed(value, 3);
}

/// Rows of blocked.csv for one feature on one side.
class BlockedRows {
 public:
  explicit BlockedRows(const Outcome& outcome) : outcome_(outcome) {
    for (const Covered& covered : outcome.board.covered) covered_[{covered.feature, covered.side}] = &covered;
    for (const TargetId id : outcome.access.targets.ids()) {
      const Target& target = outcome.access.targets[id];
      target_at_.try_emplace({target.feature, target.side}, id);
    }
  }
  void add(Csv::Text& csv, FeatureId id, Side side) const {
    const Feature& feature = outcome_.board.features[id];
    if (const auto it = covered_.find({id, side}); it != covered_.end()) {
      const bool mask = it->second->mask;
      csv += csv_row({feature.name, net_of(outcome_.board, feature), component_name(outcome_.board, feature),
                      feature.pin, to_string(side), fixed(feature.at.x, 3), fixed(feature.at.y, 3), "all",
                      to_string(mask ? Reason::mask_closed : Reason::no_copper), "", "", "",
                      mask ? "solder mask" : "no copper under the point"});
    }
    const auto it = target_at_.find({id, side});
    if (it == target_at_.end()) return;
    const bool main = side == chosen(outcome_).option.main;
    for (const ClassId probe_class : outcome_.catalogue.classes.ids()) {
      const SpotId spot = outcome_.access.best(it->second, probe_class, main);
      for (const Shortfall& shortfall : outcome_.access.verdict(spot, probe_class, main).shortfalls)
        if (shortfall.blocking || shortfall.waiver)
          add(csv, feature, side, outcome_.access.spots[spot].at, outcome_.catalogue.classes[probe_class], shortfall);
    }
  }

 private:
  void add(Csv::Text& csv, const Feature& feature, Side side, BoardPoint aim, const ProbeClass& probe,
           const Shortfall& shortfall) const {
    std::string obstacle = obstacle_text(shortfall, outcome_.board, outcome_.job);
    if (shortfall.waiver)
      obstacle += std::string(obstacle.empty() ? "" : "; ") +
                  "WAIVED: " + outcome_.job.decisions.waivers[shortfall.waiver].reason;
    csv += csv_row({feature.name, net_of(outcome_.board, feature), component_name(outcome_.board, feature), feature.pin,
                    to_string(side), fixed(aim.x, 3), fixed(aim.y, 3), probe.name, to_string(shortfall.reason),
                    measure_text(shortfall, shortfall.measured), measure_text(shortfall, shortfall.required),
                    shortfall.has_numbers() ? shortfall.unit() : "", obstacle});
  }

  const Outcome& outcome_;
  std::map<std::pair<FeatureId, Side>, const Covered*> covered_;
  std::map<std::pair<FeatureId, Side>, TargetId> target_at_;
};
}  // namespace

std::string blocked_csv(const Outcome& outcome) {
  Csv::Text csv = "target,net,component,pin,side,x_mm,y_mm,class,reason,measured,required,unit,obstacle\n";
  const BlockedRows rows(outcome);
  for (const FeatureId id : outcome.board.features.ids())
    if (outcome.board.features[id].net)
      for (const Side side : kBothSides) rows.add(csv, id, side);
  return csv.text();
}

std::string nearly_open_csv(const Outcome& outcome) {
  Csv::Text csv = "net,role,mandatory,target,side,x_mm,y_mm,class,reason,measured,required,unit,obstacle,lacking\n";
  for (const NearlyOpen& nearly : outcome.results.coverage.nearly_open) {
    const Need& need = outcome.needs[nearly.need];
    const Point at = outcome.access.spots[nearly.spot].at;
    const Shortfall& shortfall = nearly.shortfall;
    const bool chance = std::string_view(shortfall.unit()) == "1";
    auto number = [&](double v) { return chance ? scientific(v) : fixed(v, 3); };
    csv +=
        csv_row({net_name(outcome, nearly.need), to_string(need.role), need.mandatory ? "yes" : "no",
                 feature_of(outcome, nearly.target).name, to_string(outcome.access.targets[nearly.target].side),
                 fixed(at.x, 3), fixed(at.y, 3), outcome.catalogue.classes[nearly.probe_class].name,
                 to_string(shortfall.reason), number(shortfall.measured), number(shortfall.required), shortfall.unit(),
                 obstacle_text(shortfall, outcome.board, outcome.job), fixed(100 * shortfall.lack(), 1) + " %"});
  }
  return csv.text();
}

std::string wiring_csv(const Outcome& outcome) {
  Csv::Text csv =
      "wire,probe,net,role,side,interface_pin,pin_kind,channel,stage,relay,gauge,colour,amperes,length_mm,twisted_with,"
      "label_at_probe,label_at_pin,plan_id\n";
  for (const Wire& wire : outcome.results.wiring) {
    const std::string label = std::to_string(wire.number) + " " + wire.net;
    csv += csv_row({std::to_string(wire.number), wire.probe, wire.net, wire.role, to_string(wire.side), wire.pin,
                    wire.kind, wire.channel, wire.stage, wire.relay, wire.gauge, wire.colour, fixed(wire.amperes, 2),
                    wire.length > Mm{} ? fixed(wire.length, 0) : "", wire.twisted_with, label + " > " + wire.pin,
                    label + " > " + wire.probe, outcome.plan_id});
  }
  return csv.text();
}

}  // namespace teasel
