// Plates as they are drilled and milled, and how the board bends between them.
#include "json_parts.h"
#include "teasel/fixture/tolerances.h"

namespace teasel::json {

Json plates_json(const Outcome& outcome, const std::vector<Plate>& list, const std::string& folder) {
  Json plates = Json::array();
  for (const Plate& plate : list) {
    Json holes = Json::array();
    for (const PlateHole& hole : plate.holes)
      holes.push_back({{"kind", to_string(hole.kind)},
                       {"label", hole.label},
                       {"net", hole.net},
                       {"board_mm", point(hole.board)},
                       {"plate_mm", point(hole.plate.point())},
                       {"diameter_mm", hole.diameter.v},
                       {"thread", thread_of(hole)},
                       {"work", work_of(hole)},
                       {"drilled", hole.drilled}});
    Json pockets = Json::array();
    for (const Pocket& pocket : plate.pockets) {
      Json parts = Json::array();
      for (const ComponentId component_id : pocket.components)
        parts.push_back(outcome.board.components[component_id].name.text());
      pockets.push_back({{"depth_mm", mm(pocket.depth)},
                         {"through", pocket.through},
                         {"area_mm2", mm(area(pocket.area))},
                         {"file", folder + pocket_file(plate, pocket)},
                         {"components", parts},
                         {"seats", pocket.seats}});
    }
    const Affine& map = plate.from_board.affine();
    plates.push_back(
        {{"name", plate.name},
         {"kind", to_string(plate.kind)},
         {"material", plate.material},
         {"thickness_mm", mm(plate.thickness)},
         {"distance_mm",
          {{"at_rest", mm(plate.at_rest)}, {"at_touch", mm(plate.at_touch)}, {"at_work", mm(plate.at_work)}}},
         {"from_board", {map.a, map.b, map.c, map.d, mm(map.e), mm(map.f)}},
         {"pockets", pockets},
         {"file", plate.faults.empty() ? folder + plate.stem + ".drl" : std::string()},
         {"probes_side", to_string(plate.probes)},
         {"position", plate.lower ? "lower" : "upper"},
         {"seen_from", plate.outer_face ? "outer face" : "board face"},
         {"mirrored", plate.mirrored},
         {"face", plate.seen_from},
         {"datum", plate.datum},
         {"waivers", plate.waivers},
         {"draft", outcome.results.release.of_plate(plate.stem)},
         {"faults", plate.faults},
         {"holes", holes}});
  }
  return plates;
}

Json mechanics_json(const Outcome& outcome) {
  const Mechanics& mechanics = outcome.results.mechanics;
  if (!mechanics.used) return {{"used", false}, {"why_not", mechanics.why_not}};
  Json states = Json::array(), supports = Json::array(), lost = Json::array(), plug = Json::array(),
       curve = Json::array(), tried = Json::array();
  auto micro = [](Microstrain strain) { return std::round(strain.v * 10) / 10; };
  for (const PressedState& state : mechanics.states)
    states.push_back({{"state", state.name},
                      {"to_go_mm", mm(state.to_go)},
                      {"raised_mm", mm(state.raised)},
                      {"moving_plate", to_string(state.lying)},
                      {"settled", state.settled},
                      {"up_mm", mm(state.up)},
                      {"down_mm", mm(state.down)},
                      {"strain_ue", micro(state.strain)},
                      {"free_shape", to_string(state.worst)},
                      {"pushed_up_N", mm(state.pushed_up)},
                      {"pushed_down_N", mm(state.pushed_down)},
                      {"held_N", mm(state.held)},
                      {"middle_mm", state.middle ? point(*state.middle) : Json()},
                      {"moment_Nmm", mm(state.moment)}});
  for (const PlacedSupport& support : mechanics.supports)
    supports.push_back({{"name", support.label},
                        {"side", to_string(support.side)},
                        {"kind", support.finger ? "push finger" : "board stop"},
                        {"board_mm", point(support.at)},
                        {"by_hand", support.by_hand},
                        {"stands_already", support.standing}});
  for (const TriedChange& change : mechanics.tried)
    if (change.component)
      tried.push_back({{"change", change.what},
                       {"part", outcome.board.components[change.component].name.text()},
                       {"strain_ue", micro(change.strain)},
                       {"limit_ue", micro(change.limit)}});
  for (const auto& [bow, strain] : mechanics.bow.curve) curve.push_back({bow, micro(strain)});
  for (const ProbeId probe : mechanics.lost) lost.push_back(chosen(outcome).probes[probe].name);
  for (const HoleId hole_id : mechanics.plug) plug.push_back(point(outcome.board.holes[hole_id].at));
  return {{"used", true},
          {"limits_hold", mechanics.limits_hold},
          {"flat_holds", mechanics.flat_holds},
          {"flat_strain_ue", micro(mechanics.flat_strain)},
          {"flat_strain_at", mechanics.flat_moment},
          {"tried", tried},
          {"springs_N", mm(mechanics.springs)},
          {"peak_within_mm", mm(mechanics.peak_within)},
          {"bow_allowed", mechanics.bow.allowed},
          {"bow_tolerated", mechanics.bow.tolerated},
          {"flattening_ue", micro(mechanics.bow.flattening)},
          {"strain_of_bow", curve},
          {"strain_limit_ue", micro(mechanics.limit)},
          {"thickness_mm", mm(mechanics.stiffness.thickness)},
          {"modulus_MPa", mechanics.stiffness.modulus.v},
          {"nodes", mechanics.mesh.nodes.size()},
          {"states", states},
          {"supports", supports},
          {"lost_probes", lost},
          {"vacuum_holds_N", mm(mechanics.hold)},
          {"lifted_regions", mechanics.lifted.size()},
          {"loose_squares", mechanics.loose.size()},
          {"holes_to_plug_mm", plug}};
}

}  // namespace teasel::json
