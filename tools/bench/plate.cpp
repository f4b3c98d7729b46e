// Times the plate of a large board: mesh, equations, one solution, compliance of its contacts; beside a plain Laplacian
// of as many unknowns factored by the same library in the same run.
#include <Eigen/Sparse>
#include <Eigen/SparseCholesky>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <random>

#include "teasel/mechanics/contact.h"

using namespace teasel;

namespace {
template <class F>
double seconds(F f) {
  const auto start = std::chrono::steady_clock::now();
  f();
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}
double laplacian(int unknowns) {
  const int n = static_cast<int>(std::sqrt(unknowns));
  std::vector<Eigen::Triplet<double>> entries;
  for (int i = 0; i < n * n; ++i) {
    entries.emplace_back(i, i, 4.01);
    if (i % n) {
      entries.emplace_back(i, i - 1, -1);
      entries.emplace_back(i - 1, i, -1);
    }
    if (i >= n) {
      entries.emplace_back(i, i - n, -1);
      entries.emplace_back(i - n, i, -1);
    }
  }
  Eigen::SparseMatrix<double> a(n * n, n * n);
  a.setFromTriplets(entries.begin(), entries.end());
  return seconds([&] { Eigen::SimplicialLDLT<Eigen::SparseMatrix<double>> f(a); });
}
}  // namespace

int main() {
  std::mt19937 random(1);
  std::uniform_real_distribution<> x(4, 286), y(4, 174);
  for (const double size : {5.0, 3.2}) {
    std::vector<Point> points;
    while (points.size() < 450) {
      const Point p{x(random), y(random)};
      if (std::all_of(points.begin(), points.end(), [&](Point q) { return distance(p, q) > 1.5; })) points.push_back(p);
    }
    PlateMesh mesh;
    const double meshing = seconds([&] {
      mesh = mesh_plate({{{{0, 0}, {290, 0}, {290, 178}, {0, 178}}, {circle({60, 60}, 12)}}}, points, size);
    });
    std::unique_ptr<ElasticPlate> plate;
    std::vector<Spring> springs;
    for (std::size_t i = 0; i < points.size(); ++i)
      if (mesh.node_of[i] >= 0) springs.push_back({{{mesh.node_of[i], 1}}, 0.3});
    const double factoring = seconds([&] {
      plate =
          std::make_unique<ElasticPlate>(mesh, PlateStiffness{1.6, 20000, 0, 0.14, 0}, std::vector<NodeFix>{}, springs);
    });
    const double solving = seconds([&] { (void)plate->solve({{springs[0].patch[0].node, 1}}); });
    std::vector<PressContact> contacts;
    PressState state;
    for (std::size_t i = 0; i < springs.size(); ++i) {
      PressContact c;
      c.patch = springs[i].patch;
      if (i % 10 == 0)
        c.from_below = false;
      else {
        c.preload = 0.8;
        c.rate = 0.28;
        c.full = 6.35;
      }
      contacts.push_back(c);
      state.touch.push_back(i % 10 == 0 ? 0.05 : 4.24);
      state.present.push_back(1);
    }
    std::unique_ptr<PressedPlate> pressed;
    const double compliance = seconds([&] {
      pressed = std::make_unique<PressedPlate>(mesh, PlateStiffness{1.6, 20000, 0, 0.14, 0}, contacts);
    });
    ContactForces forces;
    const double contact = seconds([&] { forces = pressed->solve(state); });
    const double reference = laplacian(static_cast<int>(plate->unknowns()));
    std::printf(
        "%zu nodes, %zu unknowns: mesh %.3f s, equations and factor %.3f s (%.1f times a Laplacian of that size, %.3f "
        "s), a solution %.4f s; %zu contacts with compliance %.2f s, pressed %.3f s in %d rounds%s\n",
        mesh.nodes.size(), plate->unknowns(), meshing, factoring, factoring / reference, reference, solving,
        contacts.size(), compliance, contact, forces.rounds, forces.settled ? "" : ", NOT SETTLED");
  }
}
