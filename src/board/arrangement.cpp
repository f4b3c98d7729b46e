// The only unit that sees CGAL's arrangements.
#include <CGAL/Arr_segment_traits_2.h>
#include <CGAL/Arrangement_2.h>
#include <CGAL/Exact_predicates_exact_constructions_kernel.h>

#include "outline.h"

namespace teasel {

std::vector<Ring> arrangement_loops(const std::vector<std::pair<Point, Point>>& segments) {
  using Kernel = CGAL::Exact_predicates_exact_constructions_kernel;
  using Traits = CGAL::Arr_segment_traits_2<Kernel>;
  using Arrangement = CGAL::Arrangement_2<Traits>;
  std::vector<Traits::X_monotone_curve_2> curves;
  for (const auto& [a, b] : segments) {
    if (distance(a, b) < 1e-6) continue;
    // On a 0.1 um grid ends that writers meant to meet do meet.
    auto snap = [](double v) { return std::round(v * 1e4) / 1e4; };
    const Kernel::Point_2 p(snap(a.x), snap(a.y)), q(snap(b.x), snap(b.y));
    if (p != q) curves.emplace_back(p, q);
  }
  Arrangement arrangement;
  CGAL::insert(arrangement, curves.begin(), curves.end());
  std::vector<Ring> loops;
  auto add = [&](Arrangement::Ccb_halfedge_const_circulator first) {
    Ring ring;
    auto edge = first;
    do {
      // An edge with the same face on both sides is a dangling stroke and bounds nothing.
      if (edge->face() != edge->twin()->face())
        ring.push_back({CGAL::to_double(edge->source()->point().x()), CGAL::to_double(edge->source()->point().y())});
    } while (++edge != first);
    if (ring.size() >= 3) loops.push_back(std::move(ring));
  };
  for (auto face = arrangement.faces_begin(); face != arrangement.faces_end(); ++face) {
    if (face->has_outer_ccb()) add(face->outer_ccb());
    // The rim of each connected group of strokes, seen from outside.
    if (face->is_unbounded())
      for (auto rim = face->inner_ccbs_begin(); rim != face->inner_ccbs_end(); ++rim) add(*rim);
  }
  return loops;
}

}  // namespace teasel
