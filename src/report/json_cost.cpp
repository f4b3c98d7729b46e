// What a plan and its bed cost.
#include "json_parts.h"

namespace teasel::json {

Json probe_cost_json(const ProbeCost& cost) {
  return {{"probe", cost.probe.v}, {"wear", cost.wear.v}, {"hole", cost.hole.v},
          {"kind", cost.kind.v},   {"odds", cost.odds.v}, {"preferred_rules", cost.shortfall.v}};
}
Json cost_json(const Breakdown& cost) {
  return {{"beds", cost.beds.v},
          {"mates", cost.mates.v},
          {"probes", probe_cost_json(cost.probes)},
          {"wishes", cost.wishes.v},
          {"unmet", cost.unmet.v}};
}

Json cost_json(const Outcome& outcome) {
  const CostComparison& cost = outcome.results.cost;
  Json beds = Json::array();
  for (const BedCost& bed : cost.beds) {
    Json entry{{"option", outcome.plan.options[bed.option].option.name()},
               {"build", bed.build.units()},
               {"each_board", std::round(bed.per_board.v * 1000) / 1000},
               {"seconds_a_board", std::round(bed.time.v * 10) / 10},
               {"needs_in_full", bed.needs},
               {"cheaper_than_flying_probe_from_boards", bed.break_even ? Json(std::ceil(*bed.break_even)) : Json()},
               {"range",
                {{"from_boards", bed.even_least ? Json(std::ceil(*bed.even_least)) : Json()},
                 {"to_boards", bed.even_most ? Json(std::ceil(*bed.even_most)) : Json()},
                 {"moved_most_by", bed.moved_by}}}};
    if (!bed.fault.empty()) entry["cannot_be_built"] = bed.fault;
    beds.push_back(std::move(entry));
  }
  const FlyingRun& flight = cost.flying;
  return {{"prices", outcome.prices.name},
          {"currency", outcome.prices.currency},
          {"boards", cost.boards},
          {"beds", beds},
          {"clean_every_boards", cost.clean_every.v * cost.boards_a_touch},
          {"flying_probe",
           {{"set_up", cost.flying_setup.units()},
            {"each_board", std::round(cost.flying_per_board.v * 1000) / 1000},
            {"seconds_a_board", std::round(cost.flying_time.v * 10) / 10},
            {"parts_measured", flight.parts},
            {"seconds_to_program_elsewhere", std::round(cost.flying_program.v * 10) / 10},
            {"touches", flight.stops.size()},
            {"way_mm", mm(flight.way)},
            {"sides", flight.sides},
            {"needs_touched", flight.reached},
            {"needs_wanted", flight.wanted}}}};
}

}  // namespace teasel::json
