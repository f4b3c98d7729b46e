// What shows that the built fixture is the planned one: the list of checks and the overlay.
#include "sheet.h"

namespace teasel {

std::string verify_csv(const Outcome& o) {
  std::string s = "step,stage,check,probe,net,pin,against,limit,unit,if_not,measured,passed,plan_id\n";
  for (const ProvingStep& p : o.proving.steps)
    s += csv_row({std::to_string(p.number), p.stage, p.what, p.probe, p.net, p.pin, p.against, p.limit, p.unit,
                  p.if_not, "", "", o.plan_id});
  return s;
}

std::string aim_overlay_svg(const Outcome& o, Side side) {
  Affine view;
  if (side == Side::bottom) view.a = -1;
  const Ring outline = transformed(o.board.outline.outer, view);
  Box box = bounds(outline);
  if (!box.valid()) box = {0, 0, 10, 10};
  Sheet s(std::max(box.width() + 20, 200.0), box.height() + 48,
          std::string("aim overlay, ") + to_string(side) + " side, plan " + o.plan_id);
  const View v{box, {10, box.height() + 10}, 1};
  s.raw("<path d=\"" + v.path(outline) + "\" stroke-width=\"0.2\"/>\n");
  for (const Ring& cutout : o.board.outline.holes)
    s.raw("<path d=\"" + v.path(transformed(cutout, view)) + "\" stroke-width=\"0.2\"/>\n");
  auto cross = [&](Point at, double arm, const char* colour) {
    s.raw("<path d=\"M" + num(at.x - arm) + " " + num(at.y) + "h" + num(2 * arm) + "M" + num(at.x) + " " +
          num(at.y - arm) + "v" + num(2 * arm) + "\" stroke=\"" + colour + "\" stroke-width=\"0.08\"/>\n");
  };
  for (std::size_t i = 0; i < o.board.tooling.size(); ++i) {
    const BoardHole& h = o.board.holes[static_cast<std::size_t>(o.board.tooling[i])];
    const Point c = v(view(h.at));
    s.raw("<circle cx=\"" + num(c.x) + "\" cy=\"" + num(c.y) + "\" r=\"" + num(h.diameter / 2) +
          "\" stroke-width=\"0.12\"/>\n");
    cross(c, h.diameter / 2 + 1, kInk);
    s.text({c.x + h.diameter / 2 + 0.6, c.y - h.diameter / 2}, 1.8, i == 0 ? "PIN1" : "PIN2");
  }
  for (const PlacedProbe& p : chosen(o).probes) {
    const Target& t = o.access.targets[static_cast<std::size_t>(p.target)];
    if (t.side != side) continue;
    s.raw("<path d=\"" + v.path(transformed(exposure_of(o, p.target).copper, view)) +
          "\" fill=\"#f0dca8\" fill-rule=\"evenodd\" stroke=\"#8a6d1f\" stroke-width=\"0.06\"/>\n");
  }
  for (const PlacedProbe& p : chosen(o).probes) {
    if (o.access.targets[static_cast<std::size_t>(p.target)].side != side) continue;
    const Point c = v(view(o.access.spots[static_cast<std::size_t>(p.spot)].at));
    cross(c, 0.9, "#b0213a");
    s.text({c.x + 0.5, c.y - 0.4}, 0.9, p.name);
  }
  const double y = box.height() + 18;
  s.text({10, y}, 3,
         std::string("Aim overlay, ") + to_string(side) + " side of the board; " + o.board.name +
             (o.board.revision.empty() ? "" : ", revision " + o.board.revision) + "; plan " + o.plan_id);
  s.text({10, y + 5}, 2.6,
         std::string("As one looks at the ") + to_string(side) +
             " side: " + (side == Side::bottom ? "MIRRORED, X reversed against the board frame" : "not mirrored") +
             ". Print on clear film, lay it on a bare board of that side.");
  s.text({10, y + 9.5}, 2.6,
         "Cross: where the tip is aimed. Tinted: bare metal as the files have it; it must lie on bare metal of the "
         "board.");
  scale_bar(s, {10, y + 16});
  return s.file();
}

}  // namespace teasel
