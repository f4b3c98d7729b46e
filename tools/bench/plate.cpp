// Times the plate of a large board: mesh, equations, one solution, compliance of its contacts; beside a plain Laplacian
// of as many unknowns factored by the same library in the same run.
#include <Eigen/Sparse>
#include <Eigen/SparseCholesky>
#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <memory>
#include <random>
#include <vector>

#include "teasel/mechanics/contact.h"

using namespace teasel;

namespace {
template <class Work>
double seconds(Work work) {
  const auto start = std::chrono::steady_clock::now();
  work();
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}
/// Seconds to factor a plain Laplacian of about so many unknowns.
double laplacian(int unknowns) {
  const int side = static_cast<int>(std::sqrt(unknowns));
  std::vector<Eigen::Triplet<double>> entries;
  for (int i = 0; i < side * side; ++i) {
    entries.emplace_back(i, i, 4.01);
    if (i % side) {
      entries.emplace_back(i, i - 1, -1);
      entries.emplace_back(i - 1, i, -1);
    }
    if (i >= side) {
      entries.emplace_back(i, i - side, -1);
      entries.emplace_back(i - side, i, -1);
    }
  }
  Eigen::SparseMatrix<double> matrix(side * side, side * side);
  matrix.setFromTriplets(entries.begin(), entries.end());
  return seconds([&] { const Eigen::SimplicialLDLT<Eigen::SparseMatrix<double>> factor(matrix); });
}

const PlateStiffness kStiffness{.thickness = Mm{1.6},
                                .modulus = MPa{20000},
                                .modulus_across = {},
                                .poisson = 0.14,
                                .shear = {}};

std::vector<Point> scattered(std::mt19937& random, std::size_t count) {
  std::uniform_real_distribution<> x(4, 286), y(4, 174);
  std::vector<Point> points;
  while (points.size() < count) {
    const Point place{x(random), y(random)};
    const bool clear =
        std::all_of(points.begin(), points.end(), [&](Point other) { return distance(place, other) > 1.5; });
    if (clear) points.push_back(place);
  }
  return points;
}

struct Bed {
  std::vector<PressContact> contacts;
  PressState state;
};
/// A probe at each spring's place, and a finger at every tenth.
Bed bed_on(const std::vector<Spring>& springs) {
  Bed bed;
  for (std::size_t i = 0; i < springs.size(); ++i) {
    const bool finger = i % 10 == 0;
    PressContact contact;
    contact.patch = springs[i].patch;
    if (finger) {
      contact.from_below = false;
    } else {
      contact.preload = Newton{0.8};
      contact.rate = NewtonPerMm{0.28};
      contact.full = Mm{6.35};
    }
    bed.contacts.push_back(contact);
    bed.state.touch.push_back(finger ? 0.05 : 4.24);
    bed.state.present.push_back(1);
  }
  return bed;
}

void measure(std::mt19937& random, Mm size) {
  const std::vector<Point> points = scattered(random, 450);
  const Polygons board = {{{{0, 0}, {290, 0}, {290, 178}, {0, 178}}, {circle({60, 60}, 12)}}};
  PlateMesh mesh;
  const double meshing = seconds([&] { mesh = mesh_plate(board, points, size); });
  std::vector<Spring> springs;
  for (std::size_t i = 0; i < points.size(); ++i)
    if (mesh.node_of[i] >= 0) springs.push_back({{{mesh.node_of[i], 1}}, NewtonPerMm{0.3}});
  std::unique_ptr<ElasticPlate> plate;
  const double factoring =
      seconds([&] { plate = std::make_unique<ElasticPlate>(mesh, kStiffness, std::vector<NodeFix>{}, springs); });
  const double solving = seconds([&] { (void)plate->solve({{springs[0].patch[0].node, Newton{1}}}); });
  const Bed bed = bed_on(springs);
  std::unique_ptr<PressedPlate> pressed;
  const double compliance = seconds([&] { pressed = std::make_unique<PressedPlate>(mesh, kStiffness, bed.contacts); });
  ContactForces forces;
  const double contact = seconds([&] { forces = pressed->solve(bed.state); });
  const double reference = laplacian(static_cast<int>(plate->unknowns()));
  std::printf(
      "%zu nodes, %zu unknowns: mesh %.3f s, equations and factor %.3f s (%.1f times a Laplacian of that size, %.3f "
      "s), a solution %.4f s; %zu contacts with compliance %.2f s, pressed %.3f s in %d rounds%s\n",
      mesh.nodes.size(), plate->unknowns(), meshing, factoring, factoring / reference, reference, solving,
      bed.contacts.size(), compliance, contact, forces.rounds, forces.settled ? "" : ", NOT SETTLED");
}
}  // namespace

int main() {
  std::mt19937 random(1);
  for (const Mm size : {Mm{5}, Mm{3.2}}) measure(random, size);
}
