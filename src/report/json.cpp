#include "json_parts.h"
#include "teasel/fixture/orientation.h"
#include "teasel/fixture/probe_facts.h"
#include "teasel/version.h"

namespace teasel {
using namespace json;

namespace {
Json option_json(const Outcome& outcome, const OptionResult& plan) {
  return {{"name", plan.option.name()},
          {"bottom", plan.option.probed(Side::bottom)},
          {"top", plan.option.probed(Side::top)},
          {"board_lies", std::string(to_string(plan.option.main)) + " side down"},
          {"probes", plan.probes.size()},
          {"nets_met", nets_met(outcome.needs, plan)},
          {"objective_cents", plan.total().v},
          {"cost_cents", cost_json(plan.cost)},
          {"false_rejects_per_thousand", plan.false_rejects},
          {"bound_cents", plan.bound.v},
          {"proven", plan.proven},
          {"candidates", plan.candidates},
          {"candidates_after_reduction", plan.reduced},
          {"pieces", plan.pieces},
          {"largest_piece", plan.largest_piece}};
}

/// What a verdict holds besides its odds.
struct MissedRules {
  Json preferred = Json::array(), waived = Json::array();
};
MissedRules missed_rules(const Outcome& outcome, const Verdict& verdict) {
  MissedRules missed;
  for (const Shortfall& shortfall : verdict.shortfalls) {
    Json entry{{"rule", to_string(shortfall.reason)},
               {"measured", mm(shortfall.measured)},
               {shortfall.waiver ? "required" : "preferred", mm(shortfall.required)},
               {"unit", shortfall.unit()},
               {"obstacle", obstacle_text(shortfall, outcome.board, outcome.job)}};
    if (shortfall.waiver) {
      entry["waived_because"] = outcome.job.decisions.waivers[shortfall.waiver].reason;
      missed.waived.push_back(entry);
    } else {
      missed.preferred.push_back(entry);
    }
  }
  return missed;
}

Json probe_json(const Outcome& outcome, ProbeId i, const SharedLand& land, const ProbeFacts& facts) {
  const PlacedProbe& probe = chosen(outcome).probes[i];
  const Target& target = outcome.access.targets[probe.target];
  const Feature& feature = feature_of(outcome, probe.target);
  const Exposure& exposure = exposure_of(outcome, probe.target);
  const Spot& spot = outcome.access.spots[probe.spot];
  const ProbeClass& probe_class = outcome.catalogue.classes[probe.probe_class];
  const MissedRules missed = missed_rules(outcome, verdict_of(outcome, probe));
  Json assumed = Json::array(), contacts = Json::array();
  for (const Contact contact : target.contacts) contacts.push_back(to_string(contact));
  for (const Assumption& assumption : outcome.results.coverage.probe_assumptions[i])
    assumed.push_back(
        {{"component", outcome.board.components[assumption.component].name.text()}, {"what", assumption.what}});
  return {{"name", probe.name},
          {"net", net_name(outcome, probe.need).text()},
          {"role", to_string(outcome.needs[probe.need].role)},
          {"side", to_string(target.side)},
          {"target", feature.name.text()},
          {"kind", to_string(feature.kind)},
          {"component", land.components},
          {"pin", land.pins},
          {"source", to_string(feature.place)},
          {"aim_mm", point(spot.at)},
          {"aim", to_string(spot.kind)},
          {"land_centre_mm", point(feature.at)},
          {"class", probe_class.name},
          {"spacing_mm", probe_class.spacing.v},
          {"receptacle_drill_mm", probe_class.receptacle_drill.v},
          {"force_N", facts.touch.force.v},
          {"tip", facts.touch.tip},
          {"surface", to_string(target.surface)},
          {"contact", contacts},
          {"land_diameter_mm", mm(spot.diameter)},
          {"head_diameter_mm", mm(facts.touch.head)},
          {"mask_defined", exposure.mask_defined},
          {"miss", facts.miss.v},
          {"wrong_landing", facts.wrong.v},
          {"fault", facts.touch.fault.v},
          {"sigma_largest_mm", mm(facts.sigma)},
          {"cost_cents", probe_cost_json(probe.cost)},
          {"preferred_rules_missed", missed.preferred},
          {"waived", missed.waived},
          {"depends_on", assumed}};
}

Json estimate_json(const Estimate& estimate) {
  return {{"value", estimate.value}, {"low_95", estimate.low}, {"high_95", estimate.high}};
}

Json bed_json(const Outcome& outcome) {
  const BedOdds& bed = outcome.results.bed;
  const FaultOdds faults = faults_of(outcome);
  Json worst = Json::array();
  for (const auto& [i, part] : bed.worst)
    worst.push_back({{"probe", chosen(outcome).probes[ProbeId::of_number(i)].name}, {"share_of_misses", mm(part)}});
  return {{"fixtures", bed.fixtures},
          {"boards_each", bed.boards},
          {"seed", bed.seed},
          {"rework", estimate_json(bed.rework)},
          {"false_reject_per_board", estimate_json(bed.false_reject)},
          {"false_reject_without_rework", estimate_json(bed.after_rework)},
          {"contact_fault_per_touch", bed.fault.v},
          {"contact_fault_range", {faults.low, faults.likely, faults.high}},
          {"contact_faults_counted", faults.counted},
          {"sum_of_misses", bed.sum_of_misses},
          {"sum_of_misses_if_normal", bed.sum_if_normal},
          {"least_room_mm", mm(bed.room)},
          {"least_room_deviations", mm(Mm{bed.deviations})},
          {"sum_of_wrong_landings", bed.sum_of_wrong},
          {"worst_probes", worst}};
}

Json sensitivity_json(const Outcome& outcome) {
  Json list = Json::array();
  for (const Sensitivity& sensitivity : outcome.results.sensitivity)
    list.push_back({{"error", to_string(sensitivity.source)},
                    {"when", to_string(time_of(sensitivity.source))},
                    {"shared", is_shared(sensitivity.source)},
                    {"sum_of_misses", sensitivity.now},
                    {"sum_if_halved", sensitivity.halved}});
  return list;
}

Json small_lands_json(const Outcome& outcome) {
  const SmallLands& small = outcome.results.small_lands;
  Json out{{"probes", small.probes}};
  if (small.probes == 0) return out;
  auto tolerance = [](const ShopTolerance& of) {
    Json j{{"counted_mm", mm(of.counted)}};
    if (of.most < kWideTolerance) j["most_mm"] = mm(of.most);
    return j;
  };
  const auto& probes = chosen(outcome).probes;
  out["smallest_mm"] = mm(small.diameter);
  out["smallest"] = probes[ProbeId::of_number(small.smallest)].name;
  out["worst"] = probes[ProbeId::of_number(small.worst)].name;
  out["sum_of_misses"] = small.sum_of_misses;
  out["drilling"] = tolerance(small.drilling);
  out["receptacle"] = tolerance(small.receptacle);
  out["pointing"] = tolerance(small.pointing);
  return out;
}

/// Each position error as the rule file states it, for the first class.
Json errors_json(const Outcome& outcome) {
  Json list = Json::array();
  for (int i = 0; i < kErrorSources && !outcome.catalogue.classes.empty(); ++i) {
    const auto source = static_cast<ErrorSource>(i);
    const ErrorStatement said = statement(source, outcome.board, outcome.rules, outcome.catalogue.classes.front());
    list.push_back({{"error", to_string(source)},
                    {"size", said.size},
                    {"when", to_string(time_of(source))},
                    {"shared", is_shared(source)},
                    {"mark", said.mark}});
  }
  return list;
}

Json relaxations_json(const Coverage& coverage) {
  Json list = Json::array();
  for (const Relaxation& relaxation : coverage.relaxations)
    list.push_back({{"rule", to_string(relaxation.reason)},
                    {"nets", relaxation.nets},
                    {"nets_without_any_probe", relaxation.nets_without},
                    {"mandatory", relaxation.mandatory},
                    {"give_up_for_half", mm(relaxation.half)},
                    {"give_up_for_all", mm(relaxation.all)}});
  return list;
}

Json waivers_json(const Outcome& outcome) {
  Json list = Json::array();
  for (const WaiverId i : outcome.job.decisions.waivers.ids()) {
    const Waiver& waiver = outcome.job.decisions.waivers[i];
    Json probes = Json::array();
    for (const WaivedProbe& waived : outcome.results.coverage.waived)
      if (waived.shortfall.waiver == i) probes.push_back(chosen(outcome).probes[waived.probe].name);
    list.push_back({{"net", waiver.net},
                    {"target", waiver.target},
                    {"rule", waiver.rule},
                    {"side", waiver.side ? to_string(*waiver.side) : ""},
                    {"reason", waiver.reason},
                    {"verdicts", outcome.access.waiver_uses[i]},
                    {"probes", probes}});
  }
  return list;
}

Json tooling_ways_json(const Outcome& outcome) {
  const Board& board = outcome.board;
  const std::vector<std::size_t> open = ways_left_open(board, outcome.rules, outcome.results.plates);
  Json list = Json::array();
  for (std::size_t number = 0; number < board.wrong_ways.size(); ++number) {
    const WrongWay& way = board.wrong_ways[number];
    Json pins = Json::array();
    for (const HoleId hole_id : way.third_pin) pins.push_back(point(board.holes[hole_id].at));
    list.push_back({{"how", way.how},
                    {"turned_over", way.turned_over},
                    {"outline_sticks_out_mm", mm(way.sticks_out)},
                    {"where_mm", point(way.at)},
                    {"third_pin_mm", pins},
                    {"stopped", std::find(open.begin(), open.end(), number) == open.end()}});
  }
  return list;
}

const char* severity_text(Severity severity) {
  switch (severity) {
    case Severity::error: return "error";
    case Severity::warning: return "warning";
    case Severity::note: break;
  }
  return "note";
}

Json rule_json(const Rule& rule) {
  Json j{{"preferred_mm", rule.preferred.v}};
  if (rule.least)
    j["least_mm"] = rule.least->v;
  else
    j["least_mm"] = "geometry";
  j["mark"] = rule.mark;
  j["source"] = rule.source;
  return j;
}
}  // namespace

std::string summary_json(const Outcome& outcome) {
  const OptionResult& plan = chosen(outcome);
  const Coverage& coverage = outcome.results.coverage;
  Json options = Json::array();
  for (const auto& x : outcome.plan.options) options.push_back(option_json(outcome, x));
  Json j{{"teasel", kVersion},
         {"plan_id", outcome.plan_id},
         {"board", outcome.board.name},
         {"revision", outcome.board.revision},
         {"nets_wanted", coverage.wanted_nets},
         {"nets_met", coverage.met_nets},
         {"nets_partial", coverage.partial_nets},
         {"nets_unmet", coverage.unmet_nets},
         {"mandatory_unmet", coverage.mandatory_unmet},
         {"probes", plan.probes.size()},
         {"force_N", mm(sum_of_forces(outcome.access, outcome.catalogue, outcome.rules, plan).v)},
         {"miss_bound", outcome.results.bed.sum_of_misses},
         {"bed", bed_json(outcome)},
         {"waived_probes", coverage.waived.size()},
         {"relaxations", relaxations_json(coverage)},
         {"option", plan.option.name()},
         {"proven", plan.proven},
         {"stopped", outcome.plan.stopped},
         {"options", options},
         {"cost", cost_json(outcome)},
         {"audit", audit_json(outcome)}};
  return j.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

namespace {
Json probes_json(const Outcome& outcome) {
  Json list = Json::array();
  const auto lands = shared_lands(outcome);
  const auto facts = probe_facts(outcome);
  for (const ProbeId i : chosen(outcome).probes.ids()) list.push_back(probe_json(outcome, i, lands[i], facts[i]));
  return list;
}

Json nets_json(const Outcome& outcome) {
  Json list = Json::array();
  for (const CoverageRow& row : outcome.results.coverage.rows) {
    const Need& need = outcome.needs[row.need];
    if (outcome.board.nets[need.net].unconnected) continue;
    list.push_back({{"net", net_name(outcome, row.need).text()},
                    {"role", to_string(need.role)},
                    {"because", need.because},
                    {"mandatory", need.mandatory},
                    {"wanted", row.wanted},
                    {"got", row.got},
                    {"targets", row.targets},
                    {"open_top", row.open[Side::top]},
                    {"open_bottom", row.open[Side::bottom]},
                    {"status", row.status},
                    {"reason", row.reason}});
  }
  return list;
}

Json measure_json(const Outcome& outcome) {
  Json list = Json::array();
  for (const MeasureFirst& assumed : outcome.results.coverage.measure_first)
    list.push_back({{"component", outcome.board.components[assumed.component].name.text()},
                    {"what", assumed.what},
                    {"probes", assumed.probes}});
  return list;
}

Json findings_json(const Outcome& outcome) {
  Json list = Json::array();
  for (const Finding& finding : outcome.diagnostics.all())
    list.push_back({{"severity", severity_text(finding.severity)},
                    {"code", finding.code},
                    {"place", to_string(finding.place)},
                    {"message", finding.message},
                    {"found", finding.found},
                    {"remedy", finding.remedy}});
  return list;
}

Json tooling_json(const Outcome& outcome) {
  Json list = Json::array();
  for (const HoleId hole_id : outcome.board.tooling) {
    const BoardHole& hole = outcome.board.holes[hole_id];
    list.push_back({{"at_mm", point(hole.at)},
                    {"diameter_mm", mm(hole.diameter)},
                    {"plated", hole.plating == formats::Plating::plated}});
  }
  return list;
}

Json classes_json(const Outcome& outcome) {
  Json list = Json::array();
  for (const ProbeClass& probe_class : outcome.catalogue.classes)
    list.push_back({{"name", probe_class.name},
                    {"spacing_mm", probe_class.spacing.v},
                    {"receptacle_drill_mm", probe_class.receptacle_drill.v},
                    {"force_N", probe_class.force.v},
                    {"price", probe_class.price.v}});
  return list;
}

Json components_json(const Outcome& outcome) {
  Json list = Json::array();
  for (const Component& component : outcome.board.components)
    list.push_back({{"name", component.name.text()},
                    {"side", to_string(component.side)},
                    {"side_is", to_string(component.side_known)},
                    {"height_mm", mm(component.height)},
                    {"height_is", to_string(component.height_known)},
                    {"outline_from", component.outline_by.empty() ? "hull of the pads" : component.outline_by},
                    {"standoff_mm", mm(component.standoff)},
                    {"fitted", component.fitted},
                    {"fitted_in_all_variants", component.always_fitted},
                    {"pads_under_body", component.area_array}});
  return list;
}

Json rules_json(const Rules& set) {
  Json rules;
  for (const auto& [key, rule] : kRuleKeys) rules[key] = rule_json(set.*rule);
  for (const BodyRule& body : set.bodies) rules[body.rule.key] = rule_json(body.rule);
  for (const auto& [kind, rule] : set.shared_space) rules["shared_space " + kind] = rule_json(rule);
  rules["web_mm"] = set.web.v;
  rules["web_smallest_class_mm"] = set.web_smallest_class.v;
  rules["largest_miss"] = set.largest_miss.v;
  rules["usual_land_main_mm"] = set.usual_land_main.v;
  rules["usual_land_other_mm"] = set.usual_land_other.v;
  return rules;
}

Json outline_json(const Board& board) {
  const Box box = bounds(board.outline.outer);
  return {{"width_mm", mm(box.width())},
          {"height_mm", mm(box.height())},
          {"area_mm2", mm(area(board.outline))},
          {"assumed", board.outline_assumed},
          {"cutouts", board.outline.holes.size()}};
}
Json release_json(const ReleaseStatus& release) {
  Json reasons = Json::array();
  for (const ReleaseReason& reason : release.reasons)
    reasons.push_back({{"forbids", to_string(reason.forbids)}, {"because", reason.text}, {"plate", reason.plate}});
  return {{"status", to_string(release.state())}, {"reasons", reasons}};
}

/// What each thing in the files is confirmed by.
Json facts_json(const Board& board) {
  Json facts = Json::array();
  for (const Fact& fact : board.facts)
    facts.push_back(
        {{"fact", fact.what}, {"from", fact.from}, {"confirmed_by", fact.witnesses}, {"against", fact.against}});
  return facts;
}

}  // namespace

std::string plan_json(const Outcome& outcome, const std::map<std::string, std::string>& output_hashes) {
  const OptionResult& plan = chosen(outcome);
  Json inputs = Json::array(), options = Json::array(), outputs = Json::array();
  for (const InputHash& input : outcome.inputs) inputs.push_back({{"file", input.file}, {"sha256", input.sha256}});
  for (const auto& [file, hash] : output_hashes) outputs.push_back({{"file", file}, {"sha256", hash}});
  for (const auto& option : outcome.plan.options) options.push_back(option_json(outcome, option));
  Json j{
      {"schema", kPlanSchema},
      {"teasel", kVersion},
      {"plan_id", outcome.plan_id},
      {"board", {{"name", outcome.board.name}, {"revision", outcome.board.revision}}},
      {"frame",
       {{"is", "Gerber frame, seen from the top, X right, Y up, millimetres"},
        {"netlist_offset_mm", point({outcome.board.from_netlist.affine().e, outcome.board.from_netlist.affine().f})}}},
      {"outline", outline_json(outcome.board)},
      {"tooling", tooling_json(outcome)},
      {"inputs", inputs},
      {"facts", facts_json(outcome.board)},
      {"release", release_json(outcome.results.release)},
      {"outputs", outputs},
      {"chosen_option", plan.option.name()},
      {"board_lies", std::string(to_string(plan.option.main)) + " side down"},
      {"options", options},
      {"proof",
       {{"proven", plan.proven},
        {"objective_cents", plan.total().v},
        {"bound_cents", plan.bound.v},
        {"method",
         "removals, independent parts, linear programs over clique rows, branching; prices in whole cents, bounds "
         "worked out in whole numbers"}}},
      {"miss_bound", outcome.results.bed.sum_of_misses},
      {"bed", bed_json(outcome)},
      {"errors", errors_json(outcome)},
      {"sensitivity", sensitivity_json(outcome)},
      {"small_lands", small_lands_json(outcome)},
      {"relaxations", relaxations_json(outcome.results.coverage)},
      {"audit", audit_json(outcome)},
      {"waivers", waivers_json(outcome)},
      {"wrong_ways", tooling_ways_json(outcome)},
      {"classes", classes_json(outcome)},
      {"rules", rules_json(outcome.rules)},
      {"probes", probes_json(outcome)},
      {"nets", nets_json(outcome)},
      {"plates", plates_json(outcome, outcome.results.plates, "plates/")},
      {"check_plates", plates_json(outcome, outcome.results.proving.check_plates, "proving/")},
      {"mechanics", mechanics_json(outcome)},
      {"cost", cost_json(outcome)},
      {"measure_first", measure_json(outcome)},
      {"components", components_json(outcome)},
      {"findings", findings_json(outcome)},
      {"cautions", cautions(outcome)}};
  return j.dump(1, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace teasel
