#include <nlohmann/json.hpp>

#include "teasel/version.h"
#include "text.h"

namespace teasel {

namespace {
using Json = nlohmann::ordered_json;

double mm(double v) {
  const double r = std::round(v * 1e6) / 1e6;  // 1 nm
  return r == 0 ? 0 : r;
}
Json point(Point p) {
  return Json::array({mm(p.x), mm(p.y)});
}

Json probe_cost_json(const ProbeCost& c) {
  return {{"probe", c.probe}, {"wear", c.wear}, {"hole", c.hole},
          {"kind", c.kind},   {"odds", c.odds}, {"preferred_rules", c.shortfall}};
}
Json cost_json(const Breakdown& c) {
  return {{"beds", c.beds},
          {"mates", c.mates},
          {"probes", probe_cost_json(c.probes)},
          {"wishes", c.wishes},
          {"unmet", c.unmet}};
}

Json option_json(const Outcome& o, const OptionResult& r) {
  return {{"name", r.option.name()},
          {"bottom", r.option.bottom},
          {"top", r.option.top},
          {"board_lies", std::string(to_string(r.option.main)) + " side down"},
          {"probes", r.probes.size()},
          {"nets_met", nets_met(o.needs, r)},
          {"objective_cents", r.total()},
          {"cost_cents", cost_json(r.cost)},
          {"false_rejects_per_thousand", r.false_rejects},
          {"bound_cents", r.bound},
          {"proven", r.proven},
          {"candidates", r.candidates},
          {"candidates_after_reduction", r.reduced},
          {"pieces", r.pieces},
          {"largest_piece", r.largest_piece}};
}

Json probe_json(const Outcome& o, std::size_t i, const SharedLand& land) {
  const OptionResult& r = chosen(o);
  const PlacedProbe& p = r.probes[i];
  const Target& t = o.access.targets[static_cast<std::size_t>(p.target)];
  const Feature& f = feature_of(o, p.target);
  const Exposure& e = exposure_of(o, p.target);
  const Spot& spot = o.access.spots[static_cast<std::size_t>(p.spot)];
  const ProbeClass& k = o.catalogue.classes[static_cast<std::size_t>(p.probe_class)];
  const Verdict& v = verdict_of(o, p);
  const Covariance c = error_budget(o.board, o.rules, k, e, spot.at, t.side == r.option.main).total();
  Json preferred = Json::array(), assumed = Json::array();
  Json waived = Json::array(), contacts = Json::array();
  for (const Shortfall& s : v.shortfalls) {
    Json x{{"rule", to_string(s.reason)},
           {"measured", mm(s.measured)},
           {s.waiver >= 0 ? "required" : "preferred", mm(s.required)},
           {"unit", s.unit()},
           {"obstacle", obstacle_text(s, o.board, o.job)}};
    if (s.waiver >= 0) {
      x["waived_because"] = o.job.waivers[static_cast<std::size_t>(s.waiver)].reason;
      waived.push_back(x);
    } else
      preferred.push_back(x);
  }
  for (const Contact q : t.contacts) contacts.push_back(to_string(q));
  for (const Assumption& a : o.coverage.probe_assumptions[i])
    assumed.push_back(
        {{"component", o.board.components[static_cast<std::size_t>(a.component)].name}, {"what", a.what}});
  return {{"name", p.name},
          {"net", net_name(o, p.need)},
          {"role", to_string(o.needs[static_cast<std::size_t>(p.need)].role)},
          {"side", to_string(t.side)},
          {"target", f.name},
          {"kind", to_string(f.kind)},
          {"component", land.components},
          {"pin", land.pins},
          {"source", to_string(f.place)},
          {"aim_mm", point(spot.at)},
          {"aim", to_string(spot.kind)},
          {"land_centre_mm", point(f.at)},
          {"class", k.name},
          {"spacing_mm", k.spacing.v},
          {"receptacle_drill_mm", k.receptacle_drill.v},
          {"force_N", force_on(o.rules, t, k).v},
          {"tip", tip_for(o.board, t, o.access.spots[static_cast<std::size_t>(p.spot)])},
          {"surface", to_string(t.surface)},
          {"contact", contacts},
          {"land_diameter_mm", mm(spot.diameter)},
          {"head_diameter_mm", mm(head_diameter(o.board, o.rules, t, k))},
          {"mask_defined", e.mask_defined},
          {"miss", v.miss},
          {"wrong_landing", v.wrong},
          {"fault", fault_on(o.rules, t)},
          {"sigma_largest_mm", mm(c.largest_sigma())},
          {"cost_cents", probe_cost_json(p.cost)},
          {"preferred_rules_missed", preferred},
          {"waived", waived},
          {"depends_on", assumed}};
}

Json plates_json(const Outcome& o, const std::vector<Plate>& list, const std::string& folder) {
  Json plates = Json::array();
  for (const Plate& p : list) {
    Json holes = Json::array();
    for (const PlateHole& h : p.holes)
      holes.push_back({{"kind", to_string(h.kind)},
                       {"label", h.label},
                       {"net", h.net},
                       {"board_mm", point(h.board)},
                       {"plate_mm", point(h.plate)},
                       {"diameter_mm", h.diameter},
                       {"drilled", h.drilled}});
    Json pockets = Json::array();
    for (const Pocket& k : p.pockets) {
      Json parts = Json::array();
      for (const int c : k.components) parts.push_back(o.board.components[static_cast<std::size_t>(c)].name);
      pockets.push_back({{"depth_mm", mm(k.depth)},
                         {"through", k.through},
                         {"area_mm2", mm(area(k.area))},
                         {"file", folder + pocket_file(p, k)},
                         {"components", parts}});
    }
    const Affine& m = p.from_board;
    plates.push_back(
        {{"name", p.name},
         {"kind", to_string(p.kind)},
         {"material", p.material},
         {"thickness_mm", mm(p.thickness)},
         {"distance_mm", {{"at_rest", mm(p.at_rest)}, {"at_touch", mm(p.at_touch)}, {"at_work", mm(p.at_work)}}},
         {"from_board", {m.a, m.b, m.c, m.d, mm(m.e), mm(m.f)}},
         {"pockets", pockets},
         {"file", folder + p.stem + ".drl"},
         {"probes_side", to_string(p.probes)},
         {"position", p.lower ? "lower" : "upper"},
         {"seen_from", p.outer_face ? "outer face" : "board face"},
         {"mirrored", p.mirrored},
         {"face", p.seen_from},
         {"datum", p.datum},
         {"waivers", p.waivers},
         {"draft", p.drafts},
         {"holes", holes}});
  }
  return plates;
}

Json estimate_json(const Estimate& e) {
  return {{"value", e.value}, {"low_95", e.low}, {"high_95", e.high}};
}

Json bed_json(const Outcome& o) {
  const BedOdds& b = o.bed;
  Json worst = Json::array();
  for (const auto& [i, part] : b.worst)
    worst.push_back({{"probe", chosen(o).probes[static_cast<std::size_t>(i)].name}, {"share_of_misses", mm(part)}});
  return {{"fixtures", b.fixtures},
          {"boards_each", b.boards},
          {"seed", b.seed},
          {"rework", estimate_json(b.rework)},
          {"false_reject_per_board", estimate_json(b.false_reject)},
          {"false_reject_without_rework", estimate_json(b.after_rework)},
          {"contact_fault_per_touch", b.fault},
          {"sum_of_misses", b.sum_of_misses},
          {"sum_of_wrong_landings", b.sum_of_wrong},
          {"worst_probes", worst}};
}

Json sensitivity_json(const Outcome& o) {
  Json list = Json::array();
  for (const Sensitivity& s : o.sensitivity)
    list.push_back({{"error", to_string(s.source)},
                    {"when", to_string(time_of(s.source))},
                    {"shared", is_shared(s.source)},
                    {"sum_of_misses", s.now},
                    {"sum_if_halved", s.halved}});
  return list;
}

/// Each position error as the rule file states it, for the first class.
Json errors_json(const Outcome& o) {
  Json list = Json::array();
  for (int i = 0; i < kErrorSources && !o.catalogue.classes.empty(); ++i) {
    const auto s = static_cast<ErrorSource>(i);
    const ErrorStatement said = statement(s, o.board, o.rules, o.catalogue.classes[0]);
    list.push_back({{"error", to_string(s)},
                    {"size", said.size},
                    {"when", to_string(time_of(s))},
                    {"shared", is_shared(s)},
                    {"mark", said.mark}});
  }
  return list;
}

Json relaxations_json(const Coverage& c) {
  Json list = Json::array();
  for (const Relaxation& r : c.relaxations)
    list.push_back({{"rule", to_string(r.reason)},
                    {"nets", r.nets},
                    {"nets_without_any_probe", r.nets_without},
                    {"mandatory", r.mandatory},
                    {"give_up_for_half", mm(r.half)},
                    {"give_up_for_all", mm(r.all)}});
  return list;
}

Json waivers_json(const Outcome& o) {
  Json list = Json::array();
  for (std::size_t i = 0; i < o.job.waivers.size(); ++i) {
    const Waiver& w = o.job.waivers[i];
    Json probes = Json::array();
    for (const WaivedProbe& p : o.coverage.waived)
      if (p.shortfall.waiver == static_cast<int>(i))
        probes.push_back(chosen(o).probes[static_cast<std::size_t>(p.probe)].name);
    list.push_back({{"net", w.net},
                    {"target", w.target},
                    {"rule", w.rule},
                    {"side", w.side},
                    {"reason", w.reason},
                    {"verdicts", o.access.waiver_uses[i]},
                    {"probes", probes}});
  }
  return list;
}

Json tooling_ways_json(const Board& b) {
  Json list = Json::array();
  for (const WrongWay& w : b.wrong_ways) {
    Json pins = Json::array();
    for (const int h : w.third_pin) pins.push_back(point(b.holes[static_cast<std::size_t>(h)].at));
    list.push_back({{"how", w.how},
                    {"turned_over", w.turned_over},
                    {"outline_sticks_out_mm", mm(w.sticks_out)},
                    {"where_mm", point(w.at)},
                    {"third_pin_mm", pins}});
  }
  return list;
}

Json share_json(const Share& s) {
  return {{"reached", s.reached}, {"all", s.all}};
}

Json interfaces_json(const Outcome& o) {
  Json list = Json::array();
  for (const InterfaceReach& x : o.audit.interfaces) {
    const FoundInterface& f = o.interfaces.found[static_cast<std::size_t>(x.found)];
    const InterfaceKind& k = o.table.kinds[static_cast<std::size_t>(f.kind)];
    Json lines = Json::array();
    for (const InterfaceNet& n : f.nets) {
      Json line{{"line", k.lines[static_cast<std::size_t>(n.line)].name},
                {"net", o.board.nets[static_cast<std::size_t>(n.net)].plain()},
                {"confidence", to_string(n.confidence)},
                {"evidence", n.evidence}};
      if (n.series >= 0) {
        line["series_part"] = o.board.components[static_cast<std::size_t>(n.series)].name;
        line["probe_here"] = n.probe_here;
        line["which_side"] = n.which_side;
      }
      lines.push_back(std::move(line));
    }
    list.push_back({{"name", f.name},
                    {"board", x.place < 0 ? "" : o.board.places[static_cast<std::size_t>(x.place)].name},
                    {"kind", k.name},
                    {"confidence", to_string(f.confidence)},
                    {"role", to_string(k.role)},
                    {"reason", k.reason},
                    {"usable", x.usable},
                    {"fragment", f.fragment},
                    {"lines_reached", share_json(x.lines)},
                    {"lacking", x.lacking},
                    {"lines", lines}});
  }
  return list;
}

Json scan_json(const Outcome& o) {
  Json chains = Json::array();
  for (const ScanChain& c : o.scan.chains) {
    Json devices = Json::array();
    for (const int d : c.devices)
      devices.push_back(
          o.board.components[static_cast<std::size_t>(o.scan.devices[static_cast<std::size_t>(d)].component)].name);
    chains.push_back({{"devices", devices},
                      {"usable", c.usable()},
                      {"breaks", c.breaks},
                      {"conditions", c.conditions},
                      {"instruction_bits", c.instruction_bits},
                      {"cells", c.cells},
                      {"tck_hz", c.tck_hz}});
  }
  std::size_t full = 0;
  for (const ScanNet& n : o.scan.nets) full += n.cover == ScanCover::full;
  return {{"chains", chains},
          {"nets_that_need_no_probe", full},
          {"probes_saved", o.probes_saved},
          {"unobservable_pins", o.scan.unobservable.size()},
          {"conflicts", o.scan.conflicts}};
}

/// Everything of the audit but its lists of parts and pins, which have files of their own.
Json audit_json(const Outcome& o) {
  const Audit& a = o.audit;
  Json supplies = Json::array(), variants = Json::array(), clocks = Json::array(), advice = Json::object();
  for (const SupplyReach& s : a.supplies)
    supplies.push_back({{"net", o.board.nets[static_cast<std::size_t>(s.net)].name},
                        {"probes", s.probes},
                        {"amperes", mm(s.amperes)},
                        {"amperes_wanted", mm(s.wanted)},
                        {"enough", s.enough()}});
  for (const VariantReach& v : a.variants)
    variants.push_back({{"name", v.name},
                        {"components", share_json(v.components)},
                        {"pins", share_json(v.pins)},
                        {"two_pin_parts_measurable", share_json(v.two_poles)}});
  for (const ClockReach& c : a.clocks)
    clocks.push_back({{"probe", chosen(o).probes[static_cast<std::size_t>(c.probe)].name},
                      {"ground", c.ground < 0 ? "" : chosen(o).probes[static_cast<std::size_t>(c.ground)].name},
                      {"distance_mm", c.ground < 0 ? Json() : Json(mm(c.distance_mm))}});
  for (const Advice& x : o.advice) advice[to_string(x.kind)] = advice.value(to_string(x.kind), 0) + 1;
  return {{"score", mm(a.score)},
          {"formula", a.formula},
          {"nets", share_json(a.nets)},
          {"nets_with_boundary_scan", share_json(a.nets_with_scan)},
          {"pins", share_json(a.pins)},
          {"pins_with_boundary_scan", share_json(a.pins_with_scan)},
          {"components", share_json(a.components)},
          {"two_pin_parts_measurable", share_json(a.two_poles)},
          {"open_from",
           {{"bottom", share_json(a.bottom)},
            {"top", share_json(a.top)},
            {"either", share_json(a.either)},
            {"bottom_only", a.from_bottom_only},
            {"top_only", a.from_top_only}}},
          {"interfaces", interfaces_json(o)},
          {"supplies", supplies},
          {"clocks", clocks},
          {"variants", variants},
          {"boundary_scan", scan_json(o)},
          {"advice", advice},
          {"gate", {{"asked", o.job.gate.used}, {"failures", a.gate_failures}}}};
}

Json cost_json(const Outcome& o) {
  const CostComparison& c = o.cost;
  Json beds = Json::array();
  for (const BedCost& b : c.beds) {
    Json x{{"option", o.plan.options[b.option].option.name()},
           {"build", static_cast<double>(b.build) / 100},
           {"each_board", std::round(b.per_board * 1000) / 1000},
           {"seconds_a_board", std::round(b.seconds * 10) / 10},
           {"needs_in_full", b.needs},
           {"cheaper_than_flying_probe_from_boards", b.break_even ? Json(std::ceil(*b.break_even)) : Json()}};
    if (!b.fault.empty()) x["cannot_be_built"] = b.fault;
    beds.push_back(std::move(x));
  }
  const FlyingRun& f = c.flying;
  return {{"prices", o.prices.name},
          {"currency", o.prices.currency},
          {"boards", c.boards},
          {"beds", beds},
          {"clean_every_boards", c.clean_every},
          {"flying_probe",
           {{"set_up", static_cast<double>(c.flying_setup) / 100},
            {"each_board", std::round(c.flying_per_board * 1000) / 1000},
            {"seconds_a_board", std::round(f.seconds() * 10) / 10},
            {"touches", f.stops.size()},
            {"way_mm", mm(f.way)},
            {"sides", f.sides},
            {"needs_touched", f.reached},
            {"needs_wanted", f.wanted}}}};
}

Json mechanics_json(const Outcome& o) {
  const Mechanics& m = o.mechanics;
  if (!m.used) return {{"used", false}, {"why_not", m.why_not}};
  Json states = Json::array(), supports = Json::array(), lost = Json::array(), plug = Json::array();
  auto micro = [](double strain) { return std::round(strain * 1e7) / 10; };
  for (const PressedState& s : m.states)
    states.push_back({{"state", s.name},
                      {"settled", s.settled},
                      {"up_mm", mm(s.up)},
                      {"down_mm", mm(s.down)},
                      {"strain_ue", micro(s.strain)},
                      {"free_shape", to_string(s.worst)},
                      {"pushed_up_N", mm(s.pushed_up)},
                      {"pushed_down_N", mm(s.pushed_down)},
                      {"held_N", mm(s.held)},
                      {"middle_mm", s.middle ? point(*s.middle) : Json()},
                      {"moment_Nmm", mm(s.moment)}});
  for (const PlacedSupport& s : m.supports)
    supports.push_back({{"name", s.label},
                        {"side", to_string(s.side)},
                        {"kind", s.finger ? "push finger" : "board stop"},
                        {"board_mm", point(s.at)},
                        {"by_hand", s.by_hand},
                        {"stands_already", s.standing}});
  for (const int p : m.lost) lost.push_back(chosen(o).probes[static_cast<std::size_t>(p)].name);
  for (const int h : m.plug) plug.push_back(point(o.board.holes[static_cast<std::size_t>(h)].at));
  return {{"used", true},
          {"limits_hold", m.limits_hold},
          {"strain_limit_ue", micro(m.limit)},
          {"thickness_mm", mm(m.stiffness.thickness)},
          {"modulus_MPa", m.stiffness.modulus},
          {"nodes", m.mesh.nodes.size()},
          {"states", states},
          {"supports", supports},
          {"lost_probes", lost},
          {"vacuum_holds_N", mm(m.hold)},
          {"lifted_regions", m.lifted.size()},
          {"loose_squares", m.loose.size()},
          {"holes_to_plug_mm", plug}};
}

Json rule_json(const Rule& r) {
  Json j{{"preferred_mm", r.preferred.v}};
  if (r.least)
    j["least_mm"] = r.least->v;
  else
    j["least_mm"] = "geometry";
  j["mark"] = r.mark;
  j["source"] = r.source;
  return j;
}
}  // namespace

std::string summary_json(const Outcome& o) {
  const OptionResult& r = chosen(o);
  const Coverage& c = o.coverage;
  Json options = Json::array();
  for (const auto& x : o.plan.options) options.push_back(option_json(o, x));
  Json j{{"teasel", kVersion},
         {"plan_id", o.plan_id},
         {"board", o.board.name},
         {"revision", o.board.revision},
         {"nets_wanted", c.wanted_nets},
         {"nets_met", c.met_nets},
         {"nets_partial", c.partial_nets},
         {"nets_unmet", c.unmet_nets},
         {"mandatory_unmet", c.mandatory_unmet},
         {"probes", r.probes.size()},
         {"force_N", mm(sum_of_forces(o.access, o.catalogue, o.rules, r).v)},
         {"miss_bound", o.bed.sum_of_misses},
         {"bed", bed_json(o)},
         {"waived_probes", c.waived.size()},
         {"relaxations", relaxations_json(c)},
         {"option", r.option.name()},
         {"proven", r.proven},
         {"stopped", o.plan.stopped},
         {"options", options},
         {"cost", cost_json(o)},
         {"audit", audit_json(o)}};
  return j.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

std::string plan_json(const Outcome& o, const std::map<std::string, std::string>& output_hashes) {
  const OptionResult& r = chosen(o);
  Json inputs = Json::array(), options = Json::array(), probes = Json::array(), nets = Json::array(),
       measure = Json::array(), findings = Json::array(), outputs = Json::array(), tooling = Json::array(),
       classes = Json::array(), components = Json::array();
  for (const auto& i : o.inputs) inputs.push_back({{"file", i.file}, {"sha256", i.sha256}});
  for (const auto& [file, hash] : output_hashes) outputs.push_back({{"file", file}, {"sha256", hash}});
  for (const auto& x : o.plan.options) options.push_back(option_json(o, x));
  const auto lands = shared_lands(o);
  for (std::size_t i = 0; i < r.probes.size(); ++i) probes.push_back(probe_json(o, i, lands[i]));
  for (const CoverageRow& c : o.coverage.rows) {
    const Need& n = o.needs[static_cast<std::size_t>(c.need)];
    if (o.board.nets[static_cast<std::size_t>(n.net)].unconnected) continue;
    nets.push_back({{"net", net_name(o, c.need)},
                    {"role", to_string(n.role)},
                    {"because", n.because},
                    {"mandatory", n.mandatory},
                    {"wanted", c.wanted},
                    {"got", c.got},
                    {"targets", c.targets},
                    {"open_top", c.open_top},
                    {"open_bottom", c.open_bottom},
                    {"status", c.status},
                    {"reason", c.reason}});
  }
  for (const auto& m : o.coverage.measure_first)
    measure.push_back({{"component", o.board.components[static_cast<std::size_t>(m.component)].name},
                       {"what", m.what},
                       {"probes", m.probes}});
  for (const Finding& f : o.diagnostics.all())
    findings.push_back({{"severity", f.severity == Severity::error     ? "error"
                                     : f.severity == Severity::warning ? "warning"
                                                                       : "note"},
                        {"code", f.code},
                        {"place", to_string(f.place)},
                        {"message", f.message},
                        {"found", f.found},
                        {"remedy", f.remedy}});
  for (int h : o.board.tooling) {
    const BoardHole& hole = o.board.holes[static_cast<std::size_t>(h)];
    tooling.push_back({{"at_mm", point(hole.at)},
                       {"diameter_mm", mm(hole.diameter)},
                       {"plated", hole.plating == formats::Plating::plated}});
  }
  for (const auto& k : o.catalogue.classes)
    classes.push_back({{"name", k.name},
                       {"spacing_mm", k.spacing.v},
                       {"receptacle_drill_mm", k.receptacle_drill.v},
                       {"force_N", k.force.v},
                       {"price", k.price}});
  for (const auto& c : o.board.components)
    components.push_back({{"name", c.name},
                          {"side", to_string(c.side)},
                          {"side_is", to_string(c.side_known)},
                          {"height_mm", mm(c.height)},
                          {"height_is", to_string(c.height_known)},
                          {"outline_from", c.outline_by.empty() ? "hull of the pads" : c.outline_by},
                          {"standoff_mm", mm(c.standoff)},
                          {"fitted", c.fitted},
                          {"fitted_in_all_variants", c.always_fitted},
                          {"pads_under_body", c.area_array}});
  const Box box = bounds(o.board.outline.outer);
  const auto& q = o.rules;
  Json rules;
  for (const Rule* x : {&q.pad_diameter_main, &q.pad_diameter_other, &q.other_conductor, &q.board_edge, &q.tooling_hole,
                        &q.wide_hole, &q.slot, &q.fiducial})
    rules[x->key] = rule_json(*x);
  for (const BodyRule& x : q.bodies) rules[x.rule.key] = rule_json(x.rule);
  for (const auto& [kind, x] : q.shared_space) rules["shared_space " + kind] = rule_json(x);
  rules["web_mm"] = q.web.v;
  rules["web_smallest_class_mm"] = q.web_smallest_class.v;
  rules["largest_miss"] = q.largest_miss;
  Json j{{"schema", kPlanSchema},
         {"teasel", kVersion},
         {"plan_id", o.plan_id},
         {"board", {{"name", o.board.name}, {"revision", o.board.revision}}},
         {"frame",
          {{"is", "Gerber frame, seen from the top, X right, Y up, millimetres"},
           {"netlist_offset_mm", point(o.board.netlist_offset)}}},
         {"outline",
          {{"width_mm", mm(box.width())},
           {"height_mm", mm(box.height())},
           {"area_mm2", mm(area(o.board.outline))},
           {"assumed", o.board.outline_assumed},
           {"cutouts", o.board.outline.holes.size()}}},
         {"tooling", tooling},
         {"inputs", inputs},
         {"outputs", outputs},
         {"chosen_option", r.option.name()},
         {"board_lies", std::string(to_string(r.option.main)) + " side down"},
         {"options", options},
         {"proof",
          {{"proven", r.proven},
           {"objective_cents", r.total()},
           {"bound_cents", r.bound},
           {"method",
            "removals, independent parts, linear programs over clique rows, branching; prices in whole cents, bounds "
            "worked out in whole numbers"}}},
         {"miss_bound", o.bed.sum_of_misses},
         {"bed", bed_json(o)},
         {"errors", errors_json(o)},
         {"sensitivity", sensitivity_json(o)},
         {"relaxations", relaxations_json(o.coverage)},
         {"audit", audit_json(o)},
         {"waivers", waivers_json(o)},
         {"wrong_ways", tooling_ways_json(o.board)},
         {"classes", classes},
         {"rules", rules},
         {"probes", probes},
         {"nets", nets},
         {"plates", plates_json(o, o.plates, "plates/")},
         {"check_plates", plates_json(o, o.proving.check_plates, "proving/")},
         {"mechanics", mechanics_json(o)},
         {"cost", cost_json(o)},
         {"measure_first", measure},
         {"components", components},
         {"findings", findings},
         {"cautions", cautions(o)}};
  return j.dump(1, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace teasel
