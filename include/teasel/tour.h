// Short ways through points: for drills, for flying probes. Euclidean, in the unit of the points.
// Nearest neighbour along a grid, then segment reversal and insertion over near neighbours (2-opt, G. A. Croes,
// Operations Research 6, 1958; Or-opt, I. Or, 1976), then small random kicks that are kept where they pay. Same points,
// same way: the random numbers come from a fixed seed.
#pragma once
#include <cstddef>
#include <vector>

#include "teasel/geometry.h"

namespace teasel {

/// All indices once, in the order of a short closed tour.
std::vector<std::size_t> closed_tour(const std::vector<Point>& points);
/// The same as an open way that begins near `from`: the tour cut where that is shortest.
std::vector<std::size_t> open_way(const std::vector<Point>& points, Point from);
double tour_length(const std::vector<Point>& points, const std::vector<std::size_t>& order, bool closed);

/// No closed tour is shorter: the one-tree bound (M. Held, R. M. Karp, Operations Research 18, 1970) after `steps` of
/// subgradient ascent. Takes O(points^2) a step; for tests and benchmarks.
double tour_bound(const std::vector<Point>& points, int steps);

}  // namespace teasel
