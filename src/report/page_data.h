// What the page draws and lists, as one JSON value of schema 2. Places are in whole micrometres of the board frame.
// Texts are numbers of strings[], except for names.
//
//   board {name, revision, thick um, side_down}, plan_id, strings[], box[4], outline[ring...]
//   a ring: [x0, y0, dx, dy, dx, dy, ...]; an area: [ring...], outer and inner alike, filled even-odd
//   nets[]: [name, role, mandatory, wanted, got, status, reason]
//   parts[]: [name, side, height um, height known, fitted, value, area]
//   shapes[]: area about the aim
//   targets[]: [name ("": part-pin), net, side, x and y from the target before, kind, part, pin, shape, state, miss,
//     reasons]
//     state: 0 blocked, 1 open, 2 probed
//     reasons: [class, reason, measured um or share, required, unit, obstacle] one after another
//   probes[]: [name, target, x, y, class, tip, force, odds, head um, net, miss]
//   classes[]: [name, spacing um]
//   holes[]: [x, y, diameter, plated, tooling]
//   copper[]: {number, outer ("top", "bottom", "" inside), lines [x and y from the line before, dx, dy, radius,
//     ...], line_nets [net, count,
//   ...],
//     areas [area...], area_nets [net, count, ...]}, net -1: of none
//   keep_outs[]: [name, side, area]
//   supports[]: [label, side, finger, x, y, force]
//   wires[]: [number, probe, pin, x1, y1, x2, y2]
//   plates[]: {name, kind, side, lower, thick um, away [rest, first touch, work: um to the board's face], outline
//   [ring],
//     holes [x, y, diameter, kind, label, ...], pockets [area...]}
//   advice[]: [net, action, side, x, y, free um]
//   strain {nodes [x, y...], triangles[...], deflection um[...], microstrain[...], limit, free_shape}: of nodes and
//   what
//     is told of them the step from the node before; of a triangle its first corner from that of the triangle before,
//     and the other two from its own first
//   old {name, outline, parts[]: [name, side, area], pads[]: [side, x0, y0, x1, y1]}: of a respin, in the new board's
//     frame
//   lists: {file name: CSV text}
#pragma once
#include <map>
#include <string>

#include "teasel/report.h"

namespace teasel {

inline constexpr int kPageSchema = 2;

// A patch (page_patch in report.h) is of the same schema and holds strings[], probes[], keep_outs[],
// nets[]: [number, wanted, got] and targets[]: [number, state, miss, reasons].

std::string page_data(const Outcome& outcome, const std::map<std::string, std::string>& rendered);

}  // namespace teasel
