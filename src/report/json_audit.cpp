// What the bed tests: interfaces, boundary scan, supplies, variants.
#include "json_parts.h"

namespace teasel::json {

namespace {
Json share_json(const Share& share) {
  return {{"reached", share.reached}, {"all", share.all}};
}

Json interfaces_json(const Outcome& outcome) {
  Json list = Json::array();
  for (const InterfaceReach& reach : outcome.results.audit.interfaces) {
    const FoundInterface& found = outcome.interfaces.found[reach.found];
    const InterfaceKind& kind = outcome.interface_table.kinds[found.kind];
    Json lines = Json::array();
    for (const InterfaceNet& on_line : found.nets) {
      Json line{{"line", kind.lines[on_line.line].name},
                {"net", outcome.board.nets[on_line.net].name.plain()},
                {"confidence", to_string(on_line.confidence)},
                {"evidence", on_line.evidence}};
      if (on_line.series) {
        line["series_part"] = outcome.board.components[on_line.series].name.text();
        line["probe_here"] = on_line.probe_here;
        line["which_side"] = on_line.which_side;
      }
      lines.push_back(std::move(line));
    }
    list.push_back({{"name", found.name},
                    {"board", reach.place ? outcome.board.places[reach.place].name : ""},
                    {"kind", kind.name},
                    {"confidence", to_string(found.confidence)},
                    {"role", to_string(kind.role)},
                    {"reason", kind.reason},
                    {"usable", reach.usable},
                    {"fragment", found.fragment},
                    {"lines_reached", share_json(reach.lines)},
                    {"lacking", reach.lacking},
                    {"lines", lines}});
  }
  return list;
}

Json scan_json(const Outcome& outcome) {
  Json chains = Json::array();
  for (const ScanChain& chain : outcome.scan.chains) {
    Json devices = Json::array();
    for (const DeviceId device : chain.devices)
      devices.push_back(outcome.board.components[outcome.scan.devices[device].component].name.plain());
    chains.push_back({{"devices", devices},
                      {"usable", chain.usable()},
                      {"breaks", chain.breaks},
                      {"conditions", chain.conditions},
                      {"instruction_bits", chain.instruction_bits},
                      {"cells", chain.cells},
                      {"tck_hz", chain.tck.v}});
  }
  std::size_t full = 0;
  for (const ScanNet& scan : outcome.scan.nets) full += scan.cover == ScanCover::full;
  // The chains are those of one board; a panel has as many of each.
  const std::size_t boards = std::max<std::size_t>(outcome.board.places.size(), 1);
  return {{"chains", chains},
          {"nets_that_need_no_probe", full * boards},
          {"probes_saved", static_cast<std::size_t>(outcome.results.probes_saved) * boards},
          {"unobservable_pins", outcome.scan.unobservable.size() * boards},
          {"conflicts", outcome.scan.conflicts}};
}
}  // namespace

Json audit_json(const Outcome& outcome) {
  const Audit& audit = outcome.results.audit;
  Json supplies = Json::array(), variants = Json::array(), clocks = Json::array(), advice = Json::object();
  for (const SupplyReach& supply : audit.supplies)
    supplies.push_back({{"net", outcome.board.nets[supply.net].name.text()},
                        {"probes", supply.probes},
                        {"amperes", mm(supply.amperes)},
                        {"amperes_wanted", mm(supply.wanted)},
                        {"enough", supply.enough()}});
  for (const VariantReach& variant : audit.variants)
    variants.push_back({{"name", variant.name},
                        {"components", share_json(variant.components)},
                        {"pins", share_json(variant.pins)},
                        {"two_pin_parts_measurable", share_json(variant.two_poles)}});
  for (const ClockReach& clock : audit.clocks)
    clocks.push_back({{"probe", chosen(outcome).probes[clock.probe].name},
                      {"ground", clock.ground ? chosen(outcome).probes[clock.ground].name : ""},
                      {"distance_mm", clock.ground ? Json(mm(clock.distance)) : Json()}});
  for (const Advice& change : outcome.results.advice)
    advice[to_string(change.kind)] = advice.value(to_string(change.kind), 0) + 1;
  return {{"score", mm(audit.score)},
          {"formula", audit.formula},
          {"nets", share_json(audit.nets)},
          {"nets_with_boundary_scan", share_json(audit.nets_with_scan)},
          {"pins", share_json(audit.pins)},
          {"pins_with_boundary_scan", share_json(audit.pins_with_scan)},
          {"components", share_json(audit.components)},
          {"two_pin_parts_measurable", share_json(audit.two_poles)},
          {"open_from",
           {{"bottom", share_json(audit.bottom)},
            {"top", share_json(audit.top)},
            {"either", share_json(audit.either)},
            {"bottom_only", audit.from_bottom_only},
            {"top_only", audit.from_top_only}}},
          {"interfaces", interfaces_json(outcome)},
          {"supplies", supplies},
          {"clocks", clocks},
          {"variants", variants},
          {"boundary_scan", scan_json(outcome)},
          {"advice", advice},
          {"gate", {{"asked", outcome.job.wants.gate.used}, {"failures", audit.gate_failures}}}};
}

}  // namespace teasel::json
