// Geometry that several writers draw: lands and their openings, bodies of parts, the board's edge.
#pragma once
#include <utility>
#include <vector>

#include "design.h"
#include "route.h"

namespace demo {

struct Box {
  double x0 = 1e9, y0 = 1e9, x1 = -1e9, y1 = -1e9;
};

inline constexpr double kLegend = 0.12;  // pen of the legend

/// All pads, open vias, routed vias (closed by the mask) and unplated holes (no land), in the order of the netlist.
std::vector<Pad> lands(const Design& design, const Routes& routes);
bool on_side(const Pad& land, bool top);
bool is_via(const Pad& land);
bool pasted(const Pad& land);
/// The land as the mask leaves it open.
Pad opening(Pad land);
/// Diameter that a plane of another net keeps free round a hole.
double clearance(const Pad& land);

/// Corners of the board, counter-clockwise.
std::vector<std::pair<double, double>> outline();

/// A board pad in the frame of its part's package, which comes to the board by a counter-clockwise turn, then the
/// mirror x -> -x of bottom parts, then the move to the part's place.
Pad to_package(const Part& part, Pad pad);
std::vector<Pad> pads_of(const Design& design, const Part& part);
std::vector<Pad> package_pads(const Design& design, const Part& part);
Box bounds(const std::vector<Pad>& pads, double margin);
/// Body in the package frame; a fiducial is as large as its pad.
Box body(const Design& design, const Part& part);
/// Frame of the legend, on the board.
Box legend(const Design& design, const Part& part);

}  // namespace demo
