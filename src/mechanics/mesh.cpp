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
  Triangulation triangulation;
  std::vector<Kernel::Point_2> voids;
  Polygons kept;
  for (const Polygon& piece : pieces) {
    Polygon kept_piece;
    kept_piece.outer = thinned(piece.outer, kDetail);
    if (kept_piece.outer.size() < 3 || std::abs(signed_area(kept_piece.outer)) < size * size / 4) continue;
    for (const Ring& hole : piece.holes)
      if (Ring thin = thinned(hole, kDetail); thin.size() >= 3 && std::abs(signed_area(thin)) > size * size / 2)
        kept_piece.holes.push_back(std::move(thin));
    kept.push_back(std::move(kept_piece));
  }
  for (const Polygon& piece : kept) {
    auto ring = [&](const Ring& thin) {
      for (std::size_t i = 0; i < thin.size(); ++i) {
        const Point a = thin[i], b = thin[(i + 1) % thin.size()];
        if (!(a == b)) triangulation.insert_constraint(Kernel::Point_2(a.x, a.y), Kernel::Point_2(b.x, b.y));
      }
    };
    ring(piece.outer);
    for (const Ring& hole : piece.holes) {
      ring(hole);
      const Circle circle = largest_inscribed_circle({hole, {}}, 0.05);
      voids.emplace_back(circle.centre.x, circle.centre.y);
    }
  }
  if (triangulation.number_of_vertices() < 3) return out;
  std::vector<Triangulation::Vertex_handle> handle(points.size());
  for (std::size_t i = 0; i < points.size(); ++i)
    // Right at an edge a node would ask for slivers.
    if (contains(kept, points[i]) && distance_to_boundary(kept, points[i]) > kDetail / 2)
      handle[i] = triangulation.insert(Kernel::Point_2(points[i].x, points[i].y));
  Mesher mesher(triangulation, Criteria(0.125, size));
  mesher.set_seeds(voids.begin(), voids.end(), false);
  mesher.init();
  while (!mesher.is_refinement_done() && triangulation.number_of_vertices() < most_nodes)
    mesher.try_one_step_refine_mesh();
  out.complete = mesher.is_refinement_done();
  std::map<Triangulation::Vertex_handle, int> number;
  auto node = [&](Triangulation::Vertex_handle vertex) {
    const auto [it, first] = number.emplace(vertex, static_cast<int>(out.nodes.size()));
    if (first) out.nodes.push_back({vertex->point().x(), vertex->point().y()});
    return it->second;
  };
  for (auto face = triangulation.finite_faces_begin(); face != triangulation.finite_faces_end(); ++face)
    if (face->is_in_domain())
      out.triangles.push_back({node(face->vertex(0)), node(face->vertex(1)), node(face->vertex(2))});
  for (std::size_t i = 0; i < points.size(); ++i)
    if (handle[i] != Triangulation::Vertex_handle())
      if (const auto it = number.find(handle[i]); it != number.end()) out.node_of[i] = it->second;
  return out;
}
}  // namespace

PlateMesh mesh_plate(const Polygons& pieces, const std::vector<Point>& points, Mm size, std::size_t most_nodes) {
  PlateMesh mesh = mesh_once(pieces, points, size.v, most_nodes);
  // Slits and whiskers ask for triangles as thin: shrunk and grown back, they are gone.
  return mesh.complete ? mesh : mesh_once(offset(offset(pieces, -kDetail), kDetail), points, size.v, most_nodes);
}

}  // namespace teasel
