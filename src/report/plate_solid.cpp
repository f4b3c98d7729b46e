// Solids of plates (CGAL: a constrained Delaunay triangulation of all that is seen from the board's side, its triangles
// set at their heights, with walls where two of them differ).
#include "teasel/report/plate_solid.h"

#include <CGAL/Constrained_Delaunay_triangulation_2.h>
#include <CGAL/Exact_predicates_inexact_constructions_kernel.h>
#include <CGAL/Triangulation_face_base_with_info_2.h>
#include <CGAL/Triangulation_vertex_base_with_info_2.h>

#include <algorithm>
#include <map>
#include <numbers>
#include <set>

#include "pack.h"
#include "teasel/fixture/milled.h"
#include "text.h"

namespace teasel {

namespace {
using Kernel = CGAL::Exact_predicates_inexact_constructions_kernel;
using Vertices = CGAL::Triangulation_vertex_base_with_info_2<int, Kernel>;
using FaceInfo = CGAL::Triangulation_face_base_with_info_2<double, Kernel>;
using Faces = CGAL::Constrained_triangulation_face_base_2<Kernel, FaceInfo>;
using Structure = CGAL::Triangulation_data_structure_2<Vertices, Faces>;
using Triangulation = CGAL::Constrained_Delaunay_triangulation_2<Kernel, Structure, CGAL::Exact_predicates_tag>;

constexpr int kRoundCorners = 48;

Ring hole_ring(const PlateHole& hole) {
  Ring ring;
  for (int i = 0; i < kRoundCorners; ++i) {
    const double turn = 2 * std::numbers::pi * i / kRoundCorners;
    ring.push_back(hole.plate.point() + hole.diameter.v / 2 * Point{std::cos(turn), std::sin(turn)});
  }
  return ring;
}

class Maker {
 public:
  explicit Maker(const Plate& plate) : plate_(plate) {
    insert(plate.outline);
    for (const PlateHole& hole : plate.holes) insert(rounds_.emplace_back(hole_ring(hole)));
    for (const Pocket& pocket : plate.pockets)
      for (const Polygon& piece : pocket.area) {
        insert(piece.outer);
        for (const Ring& ring : piece.holes) insert(ring);
      }
  }
  Solid run() {
    int count = 0;
    for (const auto vertex : mesh_.finite_vertex_handles()) vertex->info() = count++;
    levels_.resize(static_cast<std::size_t>(count));
    for (const auto face : mesh_.all_face_handles()) {
      face->info() = mesh_.is_infinite(face) ? 0 : top_at(face);
      if (mesh_.is_infinite(face) || !(face->info() > 0)) continue;
      for (int i = 0; i < 3; ++i) levels_[index(face->vertex(i))].insert({0, face->info()});
    }
    for (const auto face : mesh_.finite_face_handles())
      if (face->info() > 0) {
        triangle(face->vertex(0), face->info(), face->vertex(1), face->info(), face->vertex(2), face->info());
        triangle(face->vertex(0), 0, face->vertex(2), 0, face->vertex(1), 0);
        for (int i = 0; i < 3; ++i)
          if (const double beside = face->neighbor(i)->info(); beside < face->info())
            wall(face->vertex(Triangulation::ccw(i)), face->vertex(Triangulation::cw(i)), beside, face->info());
      }
    return std::move(out_);
  }

 private:
  using Vertex = Triangulation::Vertex_handle;
  static std::size_t index(Vertex vertex) { return static_cast<std::size_t>(vertex->info()); }

  void insert(const Ring& ring) {
    for (std::size_t i = 0; i < ring.size(); ++i) {
      const Point a = ring[i], b = ring[(i + 1) % ring.size()];
      if (!(a == b)) mesh_.insert_constraint(Kernel::Point_2(a.x, a.y), Kernel::Point_2(b.x, b.y));
    }
  }
  /// Height of the plate over its lower face in this triangle; 0: nothing is there.
  double top_at(Triangulation::Face_handle face) const {
    Point at;
    for (int i = 0; i < 3; ++i) at = at + (1.0 / 3) * Point{face->vertex(i)->point().x(), face->vertex(i)->point().y()};
    if (!contains(Polygon{plate_.outline, {}}, at)) return 0;
    for (std::size_t i = 0; i < rounds_.size(); ++i)
      if (distance(at, plate_.holes[i].plate.point()) < plate_.holes[i].diameter.v / 2 &&
          contains(Polygon{rounds_[i], {}}, at))
        return 0;
    Mm depth;
    for (const Pocket& pocket : plate_.pockets)
      if (contains(pocket.area, at)) depth = std::max(depth, pocket.through ? plate_.thickness : pocket.depth);
    return std::max(0.0, (plate_.thickness - depth).v);
  }
  std::uint32_t corner(Vertex vertex, double height) {
    const auto [at, made] =
        corners_.try_emplace({index(vertex), height}, static_cast<std::uint32_t>(out_.corners.size()));
    if (made) out_.corners.push_back({vertex->point().x(), vertex->point().y(), height});
    return at->second;
  }
  void triangle(Vertex a, double za, Vertex b, double zb, Vertex c, double zc) {
    out_.triangles.push_back({corner(a, za), corner(b, zb), corner(c, zc)});
  }
  [[nodiscard]] std::vector<double> between(Vertex vertex, double low, double high) const {
    std::vector<double> out;
    for (const double level : levels_[index(vertex)])
      if (level >= low && level <= high) out.push_back(level);
    if (out.empty() || out.front() > low) out.insert(out.begin(), low);
    return out;
  }
  /// Over the edge from a to b, the plate on its left. Every height at which something ends at a corner is a corner of
  /// the wall as well, so that no crack is left.
  void wall(Vertex a, Vertex b, double low, double high) {
    const std::vector<double> left = between(a, low, high), right = between(b, low, high);
    std::size_t i = 0, k = 0;
    while (i + 1 < left.size() || k + 1 < right.size())
      if (k + 1 < right.size() && (i + 1 == left.size() || right[k + 1] <= left[i + 1])) {
        triangle(b, right[k], b, right[k + 1], a, left[i]);
        ++k;
      } else {
        triangle(a, left[i], b, right[k], a, left[i + 1]);
        ++i;
      }
  }

  const Plate& plate_;
  std::vector<Ring> rounds_;
  Triangulation mesh_;
  std::vector<std::set<double>> levels_;
  std::map<std::pair<std::size_t, double>, std::uint32_t> corners_;
  Solid out_;
};

Markup num4(double value) {
  return Xml::number(value, 4);
}
std::string model_of(const Solid& solid, const std::string& title, const std::string& note) {
  Markup text(
      "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<model unit=\"millimeter\" xml:lang=\"en-US\" "
      "xmlns=\"http://schemas.microsoft.com/3dmanufacturing/core/2015/02\">\n");
  text += "<metadata name=\"Title\">" + escaped(title) + "</metadata>\n<metadata name=\"Description\">" +
          escaped(note) + "</metadata>\n<resources>\n<object id=\"1\" type=\"model\">\n<mesh>\n<vertices>\n";
  for (const auto& corner : solid.corners)
    text += "<vertex x=\"" + num4(corner[0]) + "\" y=\"" + num4(corner[1]) + "\" z=\"" + num4(corner[2]) + "\"/>\n";
  text += "</vertices>\n<triangles>\n";
  for (const auto& one : solid.triangles)
    text += "<triangle v1=\"" + escaped(std::to_string(one[0])) + "\" v2=\"" + escaped(std::to_string(one[1])) +
            "\" v3=\"" + escaped(std::to_string(one[2])) + "\"/>\n";
  text += "</triangles>\n</mesh>\n</object>\n</resources>\n<build>\n<item objectid=\"1\"/>\n</build>\n</model>\n";
  return text.text();
}
}  // namespace

Solid solid_of(const Plate& seen_from_board_face) {
  return Maker(seen_from_board_face).run();
}

std::string plate_3mf(const Outcome& outcome, const Plate& plate) {
  const Plate seen =
      seen_from_board_face({outcome, outcome.results.coverage, outcome.results.mechanics.supports}, plate);
  Solid solid = solid_of(seen);
  const Box box = bounds(seen.outline);
  for (auto& corner : solid.corners) {
    corner[0] -= box.x0;
    corner[1] -= box.y0;
  }
  const std::string note = seen.seen_from +
                           "; the face towards the board is up. Holes at their finished size: drill or "
                           "ream them after printing. plan " +
                           outcome.plan_id;
  return zipped(
      {{"[Content_Types].xml",
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<Types "
        "xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\"><Default Extension=\"rels\" "
        "ContentType=\"application/vnd.openxmlformats-package.relationships+xml\"/><Default "
        "Extension=\"model\" ContentType=\"application/vnd.ms-package.3dmanufacturing-3dmodel+xml\"/></Types>\n"},
       {"_rels/.rels",
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<Relationships "
        "xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\"><Relationship Id=\"rel0\" "
        "Target=\"/3D/3dmodel.model\" "
        "Type=\"http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel\"/></Relationships>\n"},
       {"3D/3dmodel.model", model_of(solid, plate.name, note)}});
}

}  // namespace teasel
