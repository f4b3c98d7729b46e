// A thin elastic plate in bending, by finite elements on its real outline.
// Element: the discrete Kirchhoff triangle of nine unknowns (J.-L. Batoz, K.-J. Bathe, L.-W. Ho, Int. J. Numer. Methods
// Eng. 15, 1980; explicit form J.-L. Batoz, ibid. 18, 1982). Unknowns of a node: deflection w and the slopes w,x and
// w,y. Millimetres, newtons, megapascals; deflection positive towards the viewer of the frame (the board's top side).
#pragma once
#include <array>
#include <cstddef>
#include <memory>
#include <vector>

#include "teasel/geometry.h"
#include "teasel/units.h"

namespace teasel {

struct PlateMesh {
  std::vector<Point> nodes;
  std::vector<std::array<int, 3>> triangles;  ///< counter-clockwise
  std::vector<int> node_of;                   ///< by given point
  bool complete = true;  ///< false: more than the allowed number of nodes were wanted; usable, but coarse in places
};
/// Triangles over the pieces, none longer than about `size`; every given point inside is a node, others are -1.
/// Outlines are thinned to a fifth of a millimetre first. Stops at `most_nodes`.
PlateMesh mesh_plate(const Polygons& pieces, const std::vector<Point>& points, Mm size,
                     std::size_t most_nodes = 60'000);

struct PlateStiffness {
  Mm thickness;
  MPa modulus, modulus_across;  ///< in bending, along X and along Y
  double poisson{};             ///< of a pull along X
  MPa shear;                    ///< 0: as of an isotropic plate of the mean of both moduli
};

/// What is held of a node.
struct NodeFix {
  int node = -1;
  bool deflection = false, slope_x = false, slope_y = false;
};
struct NodeLoad {
  int node = -1;
  Newton force;
};
struct NodeWeight {
  int node = -1;
  double weight{};
};
/// Where something stands on the plate, by weights that add up to one: it meets the weighted mean of the deflections.
using Patch = std::vector<NodeWeight>;
/// Where a point stands in a triangle of a mesh: its nodes, each by how near it lies. Empty: it lies outside.
Patch patch_in(const PlateMesh& mesh, std::size_t triangle, Point at);
/// The same in whichever triangle holds it. Empty: it lies beside the mesh.
Patch patch_at(const PlateMesh& mesh, Point at);
/// Holds a patch.
struct Spring {
  Patch patch;
  NewtonPerMm rate;
};
/// Number of a node's deflection among the unknowns; its slopes w,x and w,y follow.
constexpr std::size_t unknown_of(int node) {
  return 3 * static_cast<std::size_t>(node);
}
/// A weighted sum of unknowns.
struct Term {
  std::size_t unknown{};
  double weight{};
};
using Terms = std::vector<Term>;
double value(const Terms& terms, const std::vector<double>& unknowns);
/// The mean deflection of a patch.
Terms deflection_terms(const Patch& patch);
/// Curvatures w,xx, w,yy and twice w,xy in the middle of a triangle.
std::array<Terms, 3> curvature_terms(const PlateMesh& mesh, std::size_t triangle);
/// Curvatures w,xx, w,yy and twice w,xy.
struct Curvature {
  double xx{}, yy{}, xy2{};
  /// Larger in size of the two principal strains of a face.
  [[nodiscard]] Microstrain strain(Mm thickness) const;
  /// The same as a share of the length: 1e-6 is one microstrain.
  [[nodiscard]] double elongation(Mm thickness) const;
};

class ElasticPlate {
 public:
  /// Fixes and springs must hold the plate as a whole. Check ok() before anything else.
  ElasticPlate(PlateMesh mesh, const PlateStiffness& stiffness, const std::vector<NodeFix>& fixes,
               const std::vector<Spring>& springs = {});
  ~ElasticPlate();
  [[nodiscard]] bool ok() const;  ///< the equations have one solution
  [[nodiscard]] std::size_t unknowns() const;
  [[nodiscard]] const PlateMesh& mesh() const;
  /// All unknowns, three a node, under point loads and an even pressure (towards the viewer).
  [[nodiscard]] std::vector<double> solve(const std::vector<NodeLoad>& loads, MPa pressure = {}) const;
  /// The same for many loads at once, which takes little longer than for one.
  struct Load {
    std::vector<NodeLoad> nodes;
    MPa pressure;
  };
  [[nodiscard]] std::vector<std::vector<double>> solve(const std::vector<Load>& loads) const;
  /// For one newton up on each of many patches; element (i, j): what is watched by i under the load on patch j.
  [[nodiscard]] std::vector<std::vector<double>> watched(const std::vector<Terms>& watch,
                                                         const std::vector<Patch>& patches) const;
  /// For one newton up on each of these patches; element (i, j): the mean deflection of patch i under the load on j.
  [[nodiscard]] std::vector<std::vector<double>> compliance(const std::vector<Patch>& patches) const;
  /// In the middle of a triangle.
  [[nodiscard]] Curvature curvature(std::size_t triangle, const std::vector<double>& unknowns) const;
  /// At a node: mean over the triangles around it by area.
  [[nodiscard]] std::vector<Curvature> curvature_at_nodes(const std::vector<double>& unknowns) const;
  /// Stored in bending and in springs: half of what the loads do.
  [[nodiscard]] double energy(const std::vector<double>& unknowns) const;
  /// The forces of an even pressure of 1 MPa, by node.
  [[nodiscard]] const std::vector<double>& area_of_node() const;

 private:
  struct Parts;
  std::unique_ptr<Parts> p_;
};

/// Radius on which a load of radius `radius` acts on a plate, where the thin-plate solution would else grow without
/// limit. Source: H. M. Westergaard 1926, as the plate tables of W. C. Young and R. G. Budynas give it.
Mm equivalent_radius(Mm radius, Mm thickness);

}  // namespace teasel
