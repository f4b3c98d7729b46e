// What shows that the built fixture is the planned one: the list of checks and the overlay.
#include "sheet.h"

namespace teasel {

std::string verify_csv(const Outcome& outcome) {
  Csv::Text csv = "step,stage,check,probe,net,pin,against,limit,unit,if_not,measured,passed,measured_on,plan_id\n";
  for (const ProvingStep& step : outcome.results.proving.steps)
    csv += csv_row({std::to_string(step.number), step.stage, step.what, step.probe, step.net, step.pin, step.against,
                    step.limit, step.unit, step.if_not, "", "", "", outcome.plan_id});
  return csv.text();
}

std::string aim_overlay_svg(const Outcome& outcome, Side side) {
  Affine view;
  if (side == Side::bottom) view.a = -1;
  const Ring outline = transformed(outcome.board.outline.outer, view);
  Box box = bounds(outline);
  if (!box.valid()) box = {0, 0, 10, 10};
  Sheet sheet(std::max(box.width() + 20, 200.0), box.height() + 48,
              std::string("aim overlay, ") + to_string(side) + " side, plan " + outcome.plan_id);
  const View sheet_of{box, {10, box.height() + 10}, 1};
  sheet.raw("<path d=\"" + sheet_of.path(outline) + "\" stroke-width=\"0.2\"/>\n");
  for (const Ring& cutout : outcome.board.outline.holes)
    sheet.raw("<path d=\"" + sheet_of.path(transformed(cutout, view)) + "\" stroke-width=\"0.2\"/>\n");
  auto cross = [&](Point at, double arm, const char* colour) {
    sheet.raw("<path d=\"M" + num(at.x - arm) + " " + num(at.y) + "h" + num(2 * arm) + "M" + num(at.x) + " " +
              num(at.y - arm) + "v" + num(2 * arm) + "\" stroke=\"" + colour + "\" stroke-width=\"0.08\"/>\n");
  };
  for (std::size_t i = 0; i < outcome.board.tooling.size(); ++i) {
    const BoardHole& hole = outcome.board.holes[outcome.board.tooling[i]];
    const Point centre = sheet_of(view(hole.at));
    sheet.raw("<circle cx=\"" + num(centre.x) + "\" cy=\"" + num(centre.y) + "\" r=\"" + num(hole.diameter.v / 2) +
              "\" stroke-width=\"0.12\"/>\n");
    cross(centre, hole.diameter.v / 2 + 1, kInk);
    sheet.text({centre.x + hole.diameter.v / 2 + 0.6, centre.y - hole.diameter.v / 2}, 1.8, i == 0 ? "PIN1" : "PIN2");
  }
  for (const PlacedProbe& probe : chosen(outcome).probes) {
    const Target& target = outcome.access.targets[probe.target];
    if (target.side != side) continue;
    sheet.raw("<path d=\"" + sheet_of.path(transformed(exposure_of(outcome, probe.target).copper, view)) +
              "\" fill=\"#f0dca8\" fill-rule=\"evenodd\" stroke=\"#8a6d1f\" stroke-width=\"0.06\"/>\n");
  }
  for (const PlacedProbe& probe : chosen(outcome).probes) {
    if (outcome.access.targets[probe.target].side != side) continue;
    const Point centre = sheet_of(view(outcome.access.spots[probe.spot].at));
    cross(centre, 0.9, "#b0213a");
    sheet.text({centre.x + 0.5, centre.y - 0.4}, 0.9, probe.name);
  }
  const double y = box.height() + 18;
  sheet.text({10, y}, 3,
             std::string("Aim overlay, ") + to_string(side) + " side of the board; " + outcome.board.name +
                 (outcome.board.revision.empty() ? "" : ", revision " + outcome.board.revision) + "; plan " +
                 outcome.plan_id);
  sheet.text({10, y + 5}, 2.6,
             std::string("Seen looking at the ") + to_string(side) +
                 " side: " + (side == Side::bottom ? "MIRRORED, X reversed against the board frame" : "not mirrored") +
                 ". Print it on clear film and lay it on that side of a bare board.");
  sheet.text({10, y + 9.5}, 2.6,
             "Cross: where the tip is aimed. Tinted: bare metal according to the files; it must coincide with bare "
             "metal of the board.");
  scale_bar(sheet, {10, y + 16});
  return sheet.file();
}

}  // namespace teasel
