// Strokes to closed loops.
#pragma once
#include <vector>

#include "teasel/geometry.h"

namespace teasel {

/// Faces of the planar arrangement of the segments that hold all of `inside`: for each, the outer boundary ring of
/// the union of faces reached without crossing a segment of the loop. Exact arithmetic; used where strokes cross.
std::vector<Ring> arrangement_loops(const std::vector<std::pair<Point, Point>>& segments);

}  // namespace teasel
