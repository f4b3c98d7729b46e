#include "teasel/pipeline/output_table.h"

#include <algorithm>

#include "teasel/names.h"
#include "teasel/report/adapters.h"
#include "teasel/report/gaps.h"
#include "teasel/report/pdf.h"
#include "teasel/report/plate_solid.h"
#include "teasel/report/section.h"

namespace teasel::pipeline {

namespace {
using Source = WriterSource;

/// The file that the row names, from a function of the outcome.
template <auto Render>
void one(Writers& writers, const OutputRow& row, const Source& source) {
  writers[row.name] = [&outcome = source.outcome] { return Render(outcome); };
}
std::string filled_in(const OutputRow& row, std::string_view part) {
  const std::string name = row.name;
  const std::size_t star = name.find('*');
  return name.substr(0, star) + std::string(part) + name.substr(star + 1);
}
/// One file for each side of the board.
template <auto Render>
void each_side(Writers& writers, const OutputRow& row, const Source& source) {
  for (const Side side : kBothSides)
    writers[filled_in(row, to_string(side))] = [&outcome = source.outcome, side] { return Render(outcome, side); };
}
/// Only where bending was worked out.
template <auto Render>
void if_bent(Writers& writers, const OutputRow& row, const Source& source) {
  if (source.outcome.results.mechanics.used) one<Render>(writers, row, source);
}
/// Only where a boundary-scan description was given.
template <auto Render>
void if_scanned(Writers& writers, const OutputRow& row, const Source& source) {
  if (source.outcome.scan.used()) one<Render>(writers, row, source);
}
/// Only where no kit and no fixture that stands holds the plates.
template <auto Render>
void if_own_mechanism(Writers& writers, const OutputRow& row, const Source& source) {
  if (!source.run.kit && !source.run.standing.used && source.run.style.mechanism.used)
    one<Render>(writers, row, source);
}
/// Only where the designer marked test points.
template <auto Render>
void if_marked(Writers& writers, const OutputRow& row, const Source& source) {
  if (!source.outcome.results.test_points.empty()) one<Render>(writers, row, source);
}

template <auto Render>
void each_plate(Writers& writers, const OutputRow& row, const Source& source) {
  for (const Plate& plate : source.run.results.plates)
    writers[filled_in(row, plate.stem)] = [&outcome = source.outcome, &plate] { return Render(outcome, plate); };
}
/// What a machine or a driller works by: not of a plate that cannot be made so.
template <auto Render>
void each_sound_plate(Writers& writers, const OutputRow& row, const Source& source) {
  for (const Plate& plate : source.run.results.plates)
    if (plate.faults.empty())
      writers[filled_in(row, plate.stem)] = [&outcome = source.outcome, &plate] { return Render(outcome, plate); };
}
template <auto Render>
void each_check_plate(Writers& writers, const OutputRow& row, const Source& source) {
  for (const Plate& plate : source.run.results.proving.check_plates)
    writers[filled_in(row, to_string(plate.probes))] = [&outcome = source.outcome, &plate] {
      return Render(outcome, plate);
    };
}
template <auto Render>
void the_shorting_plate(Writers& writers, const OutputRow& row, const Source& source) {
  if (!source.run.results.proving.check_plates.empty())
    writers[row.name] = [&outcome = source.outcome, &plate = source.run.results.proving.shorting_plate] {
      return Render(outcome, plate);
    };
}
void each_printed(Writers& writers, const OutputRow& row, const Source& source) {
  for (const Plate& plate : source.run.results.plates)
    if (plate.printed && plate.faults.empty())
      writers[filled_in(row, plate.stem)] = [&outcome = source.outcome, &plate] { return plate_3mf(outcome, plate); };
}
std::string drawing(const Outcome& outcome, const Plate& plate) {
  return plate_svg(outcome, plate, false);
}
std::string true_size(const Outcome& outcome, const Plate& plate) {
  return plate_svg(outcome, plate, true);
}
void each_pdf(Writers& writers, const OutputRow& row, const Source& source) {
  if (!writes_pdf()) return;
  for (const Plate& plate : source.run.results.plates)
    writers[filled_in(row, plate.stem)] = [&outcome = source.outcome, &plate] {
      return pdf_of({plate_svg(outcome, plate, false)});
    };
}
/// The stack, its plates, check plates, then what lies before the wireman.
std::string all_drawings(const Outcome& outcome) {
  std::vector<std::string> drawings{section_svg(outcome)};
  for (const Plate& plate : outcome.results.plates) drawings.push_back(plate_svg(outcome, plate, false));
  for (const Plate& plate : outcome.results.proving.check_plates) drawings.push_back(plate_svg(outcome, plate, false));
  for (const WiringFace& face : outcome.results.wiring_faces) drawings.push_back(wiring_svg(outcome, face));
  return pdf_of(drawings);
}
void set_of_drawings(Writers& writers, const OutputRow& row, const Source& source) {
  if (writes_pdf() && !source.run.results.plates.empty()) one<all_drawings>(writers, row, source);
}
void each_pocket(Writers& writers, const OutputRow&, const Source& source) {
  for (const Plate& plate : source.run.results.plates) {
    if (!plate.faults.empty()) continue;
    for (const Pocket& pocket : plate.pockets) {
      writers["plates/" + pocket_file(plate, pocket)] = [&source_run = source.run, &outcome = source.outcome, &plate,
                                                         &pocket] {
        return pocket_rout(outcome, plate, pocket, pocket.cutter > Mm{} ? pocket.cutter : source_run.style.cutter);
      };
    }
  }
}
void each_overlay(Writers& writers, const OutputRow& row, const Source& source) {
  for (const Plate& plate : source.run.results.proving.check_plates)
    writers[filled_in(row, to_string(plate.probes))] = [&outcome = source.outcome, side = plate.probes] {
      return aim_overlay_svg(outcome, side);
    };
}
void each_wiring_face(Writers& writers, const OutputRow&, const Source& source) {
  for (const WiringFace& face : source.run.results.wiring_faces)
    writers[wiring_file(face)] = [&outcome = source.outcome, &face] { return wiring_svg(outcome, face); };
}
/// Not of a fixture that cannot be built so.
void standing_fixture(Writers& writers, const OutputRow& row, const Source& source) {
  const std::vector<Plate>& plates = source.run.results.plates;
  if (std::any_of(plates.begin(), plates.end(), [](const Plate& plate) { return !plate.faults.empty(); })) return;
  writers[row.name] = [&run = source.run] { return formats::write_fixture_file(run.built); };
}
void proof(Writers& writers, const OutputRow& row, const Source& source) {
  if (!source.run.plan.proof.empty()) writers[row.name] = [&run = source.run] { return run.plan.proof; };
}

/// The new holes and growing pockets of a plate that stands, as a plate of their own.
Plate new_holes(const PlateRework& rework) {
  Plate cut = rework.plate;
  cut.stem += "-new-holes";
  cut.name += ", new holes only";
  return cut;
}
template <auto Render>
void each_cut(Writers& writers, const OutputRow& row, const Source& source) {
  for (const PlateRework& rework : source.run.results.respin.plates) {
    if (rework.whole || rework.plate.holes.empty()) continue;
    writers[filled_in(row, rework.plate.stem)] = [&outcome = source.outcome, &rework] {
      return Render(outcome, new_holes(rework));
    };
  }
}
void each_grown_pocket(Writers& writers, const OutputRow&, const Source& source) {
  for (const PlateRework& rework : source.run.results.respin.plates) {
    if (rework.whole) continue;
    for (const Pocket& pocket : rework.plate.pockets) {
      writers["rework/" + pocket_file(new_holes(rework), pocket)] = [&source_run = source.run,
                                                                     &outcome = source.outcome, &rework, &pocket] {
        return pocket_rout(outcome, new_holes(rework), pocket, source_run.style.cutter);
      };
    }
  }
}
void each_touched(Writers& writers, const OutputRow& row, const Source& source) {
  for (const PlateRework& rework : source.run.results.respin.plates)
    if (!rework.whole && rework.touched())
      writers[filled_in(row, rework.plate.stem)] = [&outcome = source.outcome, &rework] {
        return rework_svg(outcome, rework);
      };
}

using enum WrittenBy;
// name, by, on the page, what writes it, for whom and what it holds
constexpr OutputRow kOutputs[] = {
    {"report.html", plan, false, nullptr,
     "everyone: the verdict in a sentence, numbers, the board to look into, lists with filter and export, and figures. "
     "It is one file and needs no network."},
    {"probes.csv", plan, true, one<probes_csv>,
     "the shop: probe, net, target, aim point, class, tip, force, odds and receptacle drill"},
    {"plates/*.drl", plan, false, each_sound_plate<plate_drill>,
     "the driller: one XNC file for each plate (metric, absolute, decimal points)"},
    {"plates/*.csv", plan, false, each_sound_plate<plate_csv>, "the driller: the same holes as a table"},
    {"plates/*-pocket-*.drl", plan, false, each_pocket,
     "the mill: the contour of all pockets of one depth, which stands in the name"},
    {"plates/*.dxf", plan, false, each_sound_plate<plate_dxf>,
     "the mill: outline, holes by diameter and kind, pockets by depth, and engraving, each on a layer of its own (DXF "
     "Release 12, mm)"},
    {"plates/*.3mf", plan, false, each_printed,
     "the printer, of plates that the style has printed: the solid, its face towards the board up (3MF, mm)"},
    {"plates/*.svg", plan, false, each_plate<drawing>, "the machinist: a drawing with title block and hole chart"},
    {"plates/*.pdf", plan, false, each_pdf,
     "the machinist: the same drawing as PDF, where the program is built with librsvg"},
    {"drawings.pdf", plan, false, set_of_drawings,
     "the shop: all drawings in one file, the section and the plates first, then check plates and wiring, where the "
     "program is built with "
     "librsvg"},
    {"plates/*-true-size.svg", plan, false, each_sound_plate<true_size>,
     "the machinist: the plate alone at true size, for print"},
    {"set-heights.csv", plan, false, one<set_heights_csv>,
     "assembly: how far each class of receptacle stands over its plate, and where the tips are at rest"},
    {"gaps.csv", plan, false, one<gaps_csv>,
     "the builder: how near the solids of each bed come to one another, at rest, at first touch and at work"},
    {"section.svg", plan, false, one<section_svg>,
     "the builder: the stack from the side at rest, at first touch and at work, with the distances of all plates"},
    {"mechanism.csv", plan, false, if_own_mechanism<mechanism_csv>,
     "the builder, where no kit holds the plates: guide pillars, bushes, shoulder screws, springs, stops and "
     "standoffs, "
     "each with its size, the standard that it follows, its place seen from above, and how it is fitted"},
    {"assembly.html", plan, true, one<assembly_html>,
     "the builder, to print: what is fitted in which order, with sizes and labels, screws by place, and holes of the "
     "board that a vacuum needs covered"},
    {"wiring.csv", plan, true, one<wiring_csv>,
     "the bench: wire by wire, one spool after the other, rings and mating connectors too. With a kit it has the "
     "block's pin, channel, stage relay and length; without one the pins are counted through. It has labels for both "
     "ends, gauge, colour and pairs."},
    {"wiring.html", plan, true, one<wiring_html>,
     "the wireman, to print: each bed apart, bundle by bundle, with cut lengths, labels, how ends are made, and "
     "columns "
     "to tick"},
    {"wiring-*.svg", plan, false, each_wiring_face,
     "the bench: each bed from its wiring face, with receptacles, interface pins, and a line for each wire"},
    {"adapters.csv", plan, false, one<adapters_csv>,
     "the wireman and the test engineer, pin by pin: from the connector of a debugger or programmer to net, probe, "
     "interface pin and wire, with reference, ground, reset, pulls and series parts"},
    {"adapters.html", plan, false, one<adapters_html>,
     "the same to print, with a drawing of each published connector from its mating face"},
    {"mechanics.csv", plan, false, if_bent<mechanics_csv>,
     "the engineer, for each moment of the closing: where the upper plate and the moving plate stand, how far the "
     "board "
     "leaves its plane, the largest strain, the forces, and how far their middle is from the press's axis"},
    {"strain.csv", plan, true, if_bent<strain_csv>,
     "the engineer, by part: the largest strain at its corners in any moment, beside its limit. Ball grids and "
     "ceramics "
     "come first."},
    {"travel.csv", plan, false, if_bent<travel_csv>,
     "the engineer, by probe, at full stroke and where the board is strained most: travel left and force, with bow and "
     "twist of the board included"},
    {"lifting.csv", plan, false, if_bent<lifting_csv>,
     "the engineer: regions of a flat board that leave its plane by more than 0.1 mm at full stroke, and by how much"},
    {"supports.csv", plan, true, one<supports_csv>, "the shop: stops and fingers with their largest force"},
    {"bending.svg", plan, false, if_bent<bending_svg>,
     "everyone: deflection and surface strain at full stroke, over the board"},
    {"materials.csv", plan, true, one<materials_csv>,
     "ordering: plates, pins, stops, fingers, receptacles by class, probes by class, tip and spring, wire by gauge and "
     "colour. It says what is needed and how many spares."},
    {"cost.csv", plan, false, one<cost_csv>,
     "whoever decides: every way to build the bed, line by line, and the flying probe beside them"},
    {"cost.svg", plan, true, one<cost_svg>,
     "whoever decides: from how many boards on the bed is cheaper than the flying probe"},
    {"flying-probe.csv", plan, false, one<flying_probe_csv>,
     "whoever decides: the stops of the flying-probe run that is counted, in order"},
    {"upkeep.csv", plan, false, one<upkeep_csv>,
     "the line: when probes of each kind are worn, and how often tips are cleaned"},
    {"verify.csv", plan, false, one<verify_csv>,
     "proving the built fixture, in working order: continuity, isolation, shorting plate, check plate, overlay, and "
     "the ten marks with the worst odds; on the first board names of supplies and interfaces that one file alone "
     "gives. "
     "There are columns for what was measured. Planning again keeps them, step by step."},
    {"proving/check-plate-*.drl", plan, false, each_check_plate<plate_drill>,
     "the driller: a plate laid in the board's place, through whose holes sound tips pass"},
    {"proving/check-plate-*.csv", plan, false, each_check_plate<plate_csv>, "the driller: the same holes as a table"},
    {"proving/check-plate-*.dxf", plan, false, each_check_plate<plate_dxf>,
     "the mill: the check plate, as for the plates of the fixture"},
    {"proving/check-plate-*.svg", plan, false, each_check_plate<drawing>,
     "the machinist: the check plate, as for the plates of the fixture"},
    {"proving/check-plate-*-true-size.svg", plan, false, each_check_plate<true_size>,
     "the machinist: the check plate alone at true size, for print"},
    {"proving/shorting-plate.drl", plan, false, the_shorting_plate<plate_drill>,
     "the driller: a plate of copper in the board's place, which joins all tips"},
    {"proving/shorting-plate.csv", plan, false, the_shorting_plate<plate_csv>,
     "the driller: the same holes as a table"},
    {"proving/shorting-plate.dxf", plan, false, the_shorting_plate<plate_dxf>, "the mill: its outline and holes"},
    {"proving/shorting-plate.svg", plan, false, the_shorting_plate<drawing>, "the machinist: its drawing"},
    {"proving/aim-overlay-*.svg", plan, false, each_overlay,
     "proving: the aim points over bare metal at true size, for clear film"},
    {"first-article.html", plan, false, one<first_article_html>,
     "who builds the first one: holes to measure, set heights, marks, and first boards; to print and fill in"},
    {"safety.html", plan, false, one<safety_html>,
     "who works at the station: pinch points, cells, limits before contact, and stored energy; to print"},
    {"choices.csv", plan, false, one<choices_csv>,
     "the engineer: for every probe its cost, the cheaper target if there is one, and what stands in its way"},
    {"remedies.csv", plan, false, one<remedies_csv>,
     "the engineer: what would meet a need that the plan leaves unmet, and what the plan would cost more"},
    {"plan.proof", plan, false, proof,
     "whoever doubts, with `--proof`: the problem, the choice, and the proof that none is cheaper. `check-proof` (in "
     "`tests/checker`) verifies it and shares no code with teasel."},
    {"details.txt", audit, false, one<details_text>,
     "whoever wants every figure in words: odds, options, bending, costs, interfaces, nets that are not served, and "
     "advice"},
    {"coverage.csv", audit, true, one<coverage_csv>,
     "layout and test: each net, how many probes it wanted and got, and why not"},
    {"test-points.csv", audit, true, if_marked<test_points_csv>,
     "layout: each test point that the designer marked (in an IPC-2581 file, by the attribute TestPad of a Gerber "
     "layer, "
     "or by its designator), whether it is probed, and what refuses it and would open it"},
    {"blocked.csv", audit, true, one<blocked_csv>,
     "layout: each blocked target with every reason, measured, required, and the nearest obstacle. Waived ones are "
     "marked."},
    {"nearly-open.csv", audit, true, one<nearly_open_csv>,
     "layout: targets of nets not served in full that one rule alone keeps closed, the least lacking first"},
    {"interfaces.csv", audit, true, one<interfaces_csv>,
     "test: each interface with its lines, nets and probes, how sure it is and why, and which side of a series part to "
     "probe"},
    {"components.csv", audit, true, one<components_csv>,
     "test: which parts can be measured, alone or with a point to guard at, and with four wires"},
    {"supplies.csv", audit, true, one<supplies_csv>,
     "test: the probes on each supply, the current that they carry, and the current stated"},
    {"scan-nets.csv", audit, true, if_scanned<scan_nets_csv>,
     "test, with `[[inputs.bsdl]]`: what boundary scan does for each net"},
    {"scan-pins.csv", audit, true, if_scanned<scan_pins_csv>,
     "test, with `[[inputs.bsdl]]`: the pins that stay unobservable"},
    {"advice.csv", audit, true, one<advice_csv>,
     "layout: for each need not served in full, what would open it, cheapest first"},
    {"advice-*.svg", audit, true, each_side<advice_svg>, "layout: the places for new pads, drawn"},
    {"board-*.svg", plan, false, each_side<board_svg>,
     "everyone: drawings of the board, each as seen when looking at that side"},
    {"plan.json", plan, false, nullptr, "programs: everything; see below"},
    {"fixture.json", plan, false, standing_fixture,
     "the next respin: what stands once this plan is built, and the boards that it was built for (schema 1, in "
     "`include/teasel/formats/fixture_file.h`). Keep it with plan.json."},
    {"rework.html", respin, false, one<rework_html>,
     "the shop: what to take off, plug, drill, mill, press in and wire, in working order, with a drawing of each plate "
     "that is touched; to print and tick off"},
    {"rework.csv", respin, true, one<rework_csv>, "the shop: the same steps as a table"},
    {"rework/*-new-holes.drl", respin, false, each_cut<plate_drill>,
     "the driller: the new holes alone, in the frame of the plates that stand"},
    {"rework/*-new-holes.csv", respin, false, each_cut<plate_csv>, "the driller: the same holes as a table"},
    {"rework/*-new-holes.dxf", respin, false, each_cut<plate_dxf>, "the mill: the new holes and pockets"},
    {"rework/*-pocket-*.drl", respin, false, each_grown_pocket, "the mill: the pockets that grow"},
    {"rework/*.svg", respin, false, each_touched, "the shop: what stays, goes and comes on each plate that is touched"},
    {"respin.csv", respin, true, one<respin_csv>,
     "the engineer: each probe of the fixture kept, kept but worse (odds before and after), moved, lost or freed, and "
     "why"},
    {"renames.csv", respin, false, one<renames_csv>,
     "the engineer: nets that go on under another name, with the pins and pads that say so"},
    {"board-changes.csv", respin, true, one<board_changes_csv>,
     "the engineer: what changed of outline, tooling, parts, heights, pads and nets"},
    {"old-over-new-*.svg", respin, false, each_side<old_over_new_svg>,
     "the engineer: the same drawn, the old board over the new one"},
    {"rework-cost.csv", respin, false, one<rework_cost_csv>,
     "whoever decides: what the rework costs, and a new fixture of the same plan"},
    {"self-test-changes.csv", respin, false, one<self_test_changes_csv>,
     "proving: lines of verify.csv that are new, dropped or changed"},
    {"revisions.csv", respin, true, one<revisions_csv>,
     "the line: which boards and build variants run on the fixture afterwards, and what each lacks or meets"},
    {"nets.csv", nets, false, nullptr, "the engineer: every traced net with its place"},
    {"net-differences.csv", nets, false, nullptr,
     "the engineer: every open and short against the netlist, with both places"},
    {"bench-pads.csv", bench, false, nullptr,
     "the bench: pads with places, how surely these are known, nets and pulls"},
    {"next-readings.csv", bench, false, nullptr, "the bench: the readings to take next, to fill in and append"},
    {"teasel.sha256", folder, false, nullptr,
     "everyone: the SHA-256 of each file that was written, for `teasel verify` and `sha256sum -c`"},
    {"verify-earlier.csv", folder, false, nullptr,
     "proving: what was measured at steps that the plan no longer has, by the plan on which it was measured"},
    {"built.json", folder, false, nullptr,
     "everyone: written by `teasel built`: the day on which a fixture was built by this plan. No run overwrites it."},
    {"kept/*/*", folder, false, nullptr,
     "everyone: files that somebody changed before the folder was written anew, by the plan that they belong to"},
};
}  // namespace

std::span<const OutputRow> output_table() {
  return kOutputs;
}

bool is_ours(std::string_view path) {
  return std::any_of(std::begin(kOutputs), std::end(kOutputs), [path](const OutputRow& row) {
    const std::string_view name = row.name;
    const std::size_t slash = name.find('/');
    if (slash != name.npos && path == name.substr(0, slash)) return true;
    // A star stands for no slash.
    return glob_match(name, path) &&
           std::count(path.begin(), path.end(), '/') == std::count(name.begin(), name.end(), '/');
  });
}

}  // namespace teasel::pipeline
