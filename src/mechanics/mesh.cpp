// Triangulation of a board (CGAL: constrained Delaunay triangulations, refined).
#include <CGAL/Constrained_Delaunay_triangulation_2.h>
#include <CGAL/Delaunay_mesh_face_base_2.h>
#include <CGAL/Delaunay_mesh_size_criteria_2.h>
#include <CGAL/Delaunay_mesh_vertex_base_2.h>
#include <CGAL/Delaunay_mesher_2.h>
#include <CGAL/Exact_predicates_inexact_constructions_kernel.h>

#include <map>

#include "teasel/mechanics/plate.h"

namespace teasel {

namespace {
using Kernel = CGAL::Exact_predicates_inexact_constructions_kernel;
using Vertices = CGAL::Delaunay_mesh_vertex_base_2<Kernel>;
using Faces = CGAL::Delaunay_mesh_face_base_2<Kernel>;
using Structure = CGAL::Triangulation_data_structure_2<Vertices, Faces>;
using Triangulation = CGAL::Constrained_Delaunay_triangulation_2<Kernel, Structure>;
using Criteria = CGAL::Delaunay_mesh_size_criteria_2<Triangulation>;
using Mesher = CGAL::Delaunay_mesher_2<Triangulation, Criteria>;

constexpr double kDetail = 0.2;  // mm: corners finer than this do not bend a board
}  // namespace

namespace {
PlateMesh mesh_once(const Polygons& pieces, const std::vector<Point>& points, double size, std::size_t most_nodes) {
  PlateMesh out;
  out.node_of.assign(points.size(), -1);
  Triangulation t;
  std::vector<Kernel::Point_2> voids;
  Polygons kept;
  for (const Polygon& p : pieces) {
    Polygon q;
    q.outer = thinned(p.outer, kDetail);
    if (q.outer.size() < 3 || std::abs(signed_area(q.outer)) < size * size / 4) continue;
    for (const Ring& h : p.holes)
      if (Ring r = thinned(h, kDetail); r.size() >= 3 && std::abs(signed_area(r)) > size * size / 2)
        q.holes.push_back(std::move(r));
    kept.push_back(std::move(q));
  }
  for (const Polygon& p : kept) {
    auto ring = [&](const Ring& r) {
      for (std::size_t i = 0; i < r.size(); ++i) {
        const Point a = r[i], b = r[(i + 1) % r.size()];
        if (!(a == b)) t.insert_constraint(Kernel::Point_2(a.x, a.y), Kernel::Point_2(b.x, b.y));
      }
    };
    ring(p.outer);
    for (const Ring& h : p.holes) {
      ring(h);
      const Circle c = largest_inscribed_circle({h, {}}, 0.05);
      voids.emplace_back(c.centre.x, c.centre.y);
    }
  }
  if (t.number_of_vertices() < 3) return out;
  std::vector<Triangulation::Vertex_handle> handle(points.size());
  for (std::size_t i = 0; i < points.size(); ++i)
    // Right at an edge a node would ask for slivers.
    if (contains(kept, points[i]) && distance_to_boundary(kept, points[i]) > kDetail / 2)
      handle[i] = t.insert(Kernel::Point_2(points[i].x, points[i].y));
  Mesher mesher(t, Criteria(0.125, size));
  mesher.set_seeds(voids.begin(), voids.end(), false);
  mesher.init();
  while (!mesher.is_refinement_done() && t.number_of_vertices() < most_nodes) mesher.try_one_step_refine_mesh();
  out.complete = mesher.is_refinement_done();
  std::map<Triangulation::Vertex_handle, int> number;
  auto node = [&](Triangulation::Vertex_handle v) {
    const auto [it, first] = number.emplace(v, static_cast<int>(out.nodes.size()));
    if (first) out.nodes.push_back({v->point().x(), v->point().y()});
    return it->second;
  };
  for (auto f = t.finite_faces_begin(); f != t.finite_faces_end(); ++f)
    if (f->is_in_domain()) out.triangles.push_back({node(f->vertex(0)), node(f->vertex(1)), node(f->vertex(2))});
  for (std::size_t i = 0; i < points.size(); ++i)
    if (handle[i] != Triangulation::Vertex_handle())
      if (const auto it = number.find(handle[i]); it != number.end()) out.node_of[i] = it->second;
  return out;
}
}  // namespace

PlateMesh mesh_plate(const Polygons& pieces, const std::vector<Point>& points, double size, std::size_t most_nodes) {
  PlateMesh m = mesh_once(pieces, points, size, most_nodes);
  // Slits and whiskers ask for triangles as thin: shrunk and grown back, they are gone.
  return m.complete ? m : mesh_once(offset(offset(pieces, -kDetail), kDetail), points, size, most_nodes);
}

}  // namespace teasel
