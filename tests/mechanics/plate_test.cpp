// The plate against published tables: S. Timoshenko, S. Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed. 1959
// (coefficients below from memory of its tables 8, 35 and the circular plates of chapter 3), and beam theory.
#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <numbers>
#include <random>

#include "teasel/mechanics/plate.h"

using namespace teasel;

namespace {
constexpr double kPi = std::numbers::pi;
PlateStiffness stuff(double t = 1.6, double e = 20000, double nu = 0.3) {
  return {.thickness = Mm{t}, .modulus = MPa{e}, .modulus_across = {}, .poisson = nu, .shear = {}};
}
double rigidity(const PlateStiffness& s) {
  return s.modulus.v * std::pow(s.thickness.v, 3) / 12 / (1 - s.poisson * s.poisson);
}
std::vector<NodeFix> edge(const PlateMesh& m, const std::function<bool(Point)>& on, bool clamped) {
  std::vector<NodeFix> f;
  for (std::size_t i = 0; i < m.nodes.size(); ++i)
    if (on(m.nodes[i])) f.push_back({static_cast<int>(i), true, clamped, clamped});
  return f;
}
bool on_box(Point p, double a, double b) {
  return std::min({p.x, a - p.x, p.y, b - p.y}) < 1e-9;
}
}  // namespace

TEST_CASE("mesh: covers its area, keeps given points, leaves cutouts out, and stays under its size (plane geometry)") {
  const Polygons board = {{{{0, 0}, {60, 0}, {60, 40}, {0, 40}}, {circle({20, 20}, 6), rectangle({45, 20}, 8, 12)}}};
  const std::vector<Point> points = {{10, 10}, {30.5, 20.25}, {31.5, 20.25}, {20, 20}, {59.99, 20}, {100, 100}};
  const PlateMesh mesh = mesh_plate(board, points, Mm{4});
  CHECK(mesh.complete);
  double sum = 0;
  for (const auto& t : mesh.triangles) {
    const Point a = mesh.nodes[static_cast<std::size_t>(t[0])], b = mesh.nodes[static_cast<std::size_t>(t[1])],
                c = mesh.nodes[static_cast<std::size_t>(t[2])];
    CHECK(cross(b - a, c - a) > 0);
    CHECK(std::max({distance(a, b), distance(b, c), distance(c, a)}) < 4.01);
    sum += cross(b - a, c - a) / 2;
  }
  CHECK(sum == Approx(area(board)).epsilon(0.01));  // the circle is thinned to a fifth of a millimetre
  for (int i = 0; i < 3; ++i) {
    REQUIRE(mesh.node_of[static_cast<std::size_t>(i)] >= 0);
    CHECK(distance(mesh.nodes[static_cast<std::size_t>(mesh.node_of[static_cast<std::size_t>(i)])],
                   points[static_cast<std::size_t>(i)]) < 1e-9);
  }
  for (int i = 3; i < 6; ++i) CHECK(mesh.node_of[static_cast<std::size_t>(i)] < 0);  // in a cutout, at the edge, beyond
  CHECK_FALSE(mesh_plate(board, points, Mm{0.5}, 500).complete);
  CHECK(mesh_plate({}, points, Mm{4}).triangles.empty());
}

TEST_CASE(
    "a place in a triangle is the mean of its corners by its weights, and none lies beside the mesh (plane geometry)") {
  const PlateMesh mesh = mesh_plate({{rectangle({30, 20}, 60, 40), {}}}, {}, Mm{7});
  std::mt19937 engine(3);
  std::uniform_real_distribution<double> x(0, 60), y(0, 40);
  for (int i = 0; i < 200; ++i) {
    const Point at{x(engine), y(engine)};
    const Patch patch = patch_at(mesh, at);
    REQUIRE(patch.size() == 3);
    Point mean;
    double sum = 0;
    for (const NodeWeight& part : patch) {
      mean = mean + part.weight * mesh.nodes[static_cast<std::size_t>(part.node)];
      sum += part.weight;
    }
    CHECK(sum == Approx(1));
    CHECK(distance(mean, at) < 1e-9);
  }
  CHECK(patch_at(mesh, {61, 20}).empty());
}

TEST_CASE(
    "patch test: even curvatures are met exactly on an irregular mesh, and rigid motions bend nothing (plate "
    "theory)") {
  const PlateMesh mesh =
      mesh_plate({{{{0, 0}, {23, 2}, {25, 19}, {11, 24}, {-2, 15}}, {}}}, {{7, 9}, {14, 13}, {9.5, 15}}, Mm{6});
  // w = (a x^2 + b x y + c y^2) / 2 given at the rim must appear everywhere inside.
  for (const auto& [a, b, c] : {std::array{1e-3, 0.0, 0.0}, {0.0, 2e-3, 0.0}, {0.0, 0.0, -1e-3}, {4e-4, -7e-4, 3e-4}}) {
    // Held nowhere but at three corners against rigid motion; loaded by the edge moments of that state: instead of
    // building these, check that the state's own curvature is even and that it is in equilibrium inside.
    std::vector<double> u(3 * mesh.nodes.size());
    for (std::size_t i = 0; i < mesh.nodes.size(); ++i) {
      const Point p = mesh.nodes[i];
      u[3 * i] = (a * p.x * p.x + b * p.x * p.y + c * p.y * p.y) / 2;
      u[3 * i + 1] = a * p.x + b * p.y / 2;
      u[3 * i + 2] = b * p.x / 2 + c * p.y;
    }
    const ElasticPlate plate(mesh, stuff(), {{0, true, true, true}});
    REQUIRE(plate.ok());
    for (std::size_t t = 0; t < mesh.triangles.size(); ++t) {
      const Curvature k = plate.curvature(t, u);
      CHECK(k.xx == Approx(a).margin(1e-12));
      CHECK(k.xy2 == Approx(b).margin(1e-12));
      CHECK(k.yy == Approx(c).margin(1e-12));
    }
    // Energy of an even bending state: D/2 (kx^2 + ky^2 + 2 nu kx ky + (1 - nu)/2 kxy2^2) times the area. Shifted so
    // that the held node is at rest.
    const Point o = mesh.nodes[0];
    for (std::size_t i = 0; i < mesh.nodes.size(); ++i) {
      const Point p = mesh.nodes[i] - o;
      u[3 * i] = (a * p.x * p.x + b * p.x * p.y + c * p.y * p.y) / 2;
      u[3 * i + 1] = a * p.x + b * p.y / 2;
      u[3 * i + 2] = b * p.x / 2 + c * p.y;
    }
    const double d = rigidity(stuff()), nu = 0.3;
    double whole = 0;
    for (const double n : plate.area_of_node()) whole += n;
    CHECK(plate.energy(u) ==
          Approx(d / 2 * (a * a + c * c + 2 * nu * a * c + (1 - nu) / 2 * b * b) * whole).epsilon(1e-9));
  }
  const ElasticPlate free(mesh, stuff(), {});
  CHECK_FALSE(free.ok());
}

TEST_CASE(
    "rectangular plates: middle deflection, simply supported and clamped, even and point load, converging "
    "over the mesh (Timoshenko, Woinowsky-Krieger 1959, tables 8 and 35, from memory)") {
  // w = k q a^4 / D or k P a^2 / D, a the shorter side; exact for the square simply supported under even load: 0.00406.
  struct Case {
    double ratio;
    bool clamped, point;
    double k;
  };
  for (const Case& tried : {Case{1, false, false, 0.00406},
                            {1, false, true, 0.01160},
                            {1, true, false, 0.00126},
                            {1, true, true, 0.00560},
                            {2, false, false, 0.01013},
                            {2, true, false, 0.00254},
                            {2, false, true, 0.01651},
                            {2, true, true, 0.00722}}) {
    const double a = 60, b = a * tried.ratio;
    double last = 1;
    for (const double size : {10.0, 5.0, 2.5}) {
      const PlateMesh mesh = mesh_plate({{{{0, 0}, {b, 0}, {b, a}, {0, a}}, {}}}, {{b / 2, a / 2}}, Mm{size});
      const auto stiffness = stuff();
      const ElasticPlate plate(mesh, stiffness,
                               edge(
                                   mesh, [&](Point p) { return on_box(p, b, a); }, tried.clamped));
      REQUIRE(plate.ok());
      const int mid = mesh.node_of[0];
      const auto u = tried.point ? plate.solve({{mid, Newton{10}}}) : plate.solve({}, MPa{0.01});
      const double got = u[unknown_of(mid)],
                   exact = tried.k * (tried.point ? 10 * a * a : 0.01 * std::pow(a, 4)) / rigidity(stiffness);
      const double error = std::abs(got / exact - 1);
      INFO("ratio " << tried.ratio << (tried.clamped ? " clamped" : " supported") << (tried.point ? " point" : " even")
                    << ", mesh " << size << ": " << got / exact);
      CHECK(error < std::max(last, 0.006));
      last = error;
      // Half of the work of the loads is in the plate.
      double work = tried.point ? 10 * got / 2 : 0;
      if (!tried.point)
        for (std::size_t i = 0; i < mesh.nodes.size(); ++i) work += 0.01 * plate.area_of_node()[i] * u[3 * i] / 2;
      CHECK(plate.energy(u) == Approx(work).epsilon(1e-6));
    }
    CHECK(last < 0.006);  // the tables give three digits
  }
}

TEST_CASE(
    "bending moments: middle of a simply supported square 0.0479 q a^2, of a clamped circle q a^2 (1 + nu) / "
    "16 (Timoshenko, Woinowsky-Krieger 1959, from memory)") {
  const auto stiffness = stuff();
  const double a = 60, q = 0.01;
  const PlateMesh mesh = mesh_plate({{{{0, 0}, {a, 0}, {a, a}, {0, a}}, {}}}, {{30, 30}}, Mm{2});
  const ElasticPlate plate(mesh, stiffness,
                           edge(
                               mesh, [&](Point p) { return on_box(p, a, a); }, false));
  const auto u = plate.solve({}, MPa{q});
  const Curvature k = plate.curvature_at_nodes(u)[static_cast<std::size_t>(mesh.node_of[0])];
  CHECK(-rigidity(stiffness) * (k.xx + 0.3 * k.yy) == Approx(0.0479 * q * a * a).epsilon(0.01));
  // The strain of the face is t/2 times the curvature.
  CHECK(k.strain(stiffness.thickness).v == Approx(1e6 * stiffness.thickness.v / 2 * std::abs(k.xx)).epsilon(0.01));

  const double r = 30;
  Ring rim;
  for (int i = 0; i < 120; ++i) rim.push_back({r * std::cos(2 * kPi * i / 120), r * std::sin(2 * kPi * i / 120)});
  const PlateMesh round_mesh = mesh_plate({{rim, {}}}, {{0, 0}}, Mm{1.5});
  const auto on_rim = [&](Point p) { return length(p) > r * std::cos(kPi / 60) - 0.12; };
  const ElasticPlate disc(round_mesh, stiffness, edge(round_mesh, on_rim, true));
  const auto v = disc.solve({}, MPa{q});
  const auto mid = static_cast<std::size_t>(round_mesh.node_of[0]);
  CHECK(v[3 * mid] == Approx(q * std::pow(r, 4) / 64 / rigidity(stiffness)).epsilon(0.015));
  const Curvature kc = disc.curvature_at_nodes(v)[mid];
  CHECK(-rigidity(stiffness) * (kc.xx + 0.3 * kc.yy) == Approx(q * r * r * 1.3 / 16).epsilon(0.02));
  // Clamped circle, load in the middle: P a^2 / (16 pi D). (A simply supported polygon does not become the circle
  // however many corners it has: I. Babuska, 1963.)
  CHECK(disc.solve({{round_mesh.node_of[0], Newton{5}}})[3 * mid] ==
        Approx(5 * r * r / (16 * kPi * rigidity(stiffness))).epsilon(0.015));
}

TEST_CASE(
    "a simply supported circle under even load: (5 + nu) q a^4 / (64 (1 + nu) D), moment (3 + nu) q a^2 / 16 "
    "(Timoshenko, Woinowsky-Krieger 1959, chapter 3, from memory)") {
  // Held at the rim's corners alone, free to turn: held along straight edges, a polygon stays stiffer however fine it
  // is (the paradox of I. Babuska, 1961, from memory).
  const auto stiffness = stuff();
  const double r = 30, q = 0.005, nu = 0.3;
  Ring rim;
  for (int i = 0; i < 120; ++i) rim.push_back({r * std::cos(2 * kPi * i / 120), r * std::sin(2 * kPi * i / 120)});
  const PlateMesh mesh = mesh_plate({{rim, {}}}, {{0, 0}}, Mm{1.5});
  const ElasticPlate plate(mesh, stiffness,
                           edge(
                               mesh, [&](Point p) { return std::hypot(p.x, p.y) > r - 1e-6; }, false));
  REQUIRE(plate.ok());
  const auto u = plate.solve({}, MPa{q});
  const auto middle = static_cast<std::size_t>(mesh.node_of[0]);
  CHECK(u[3 * middle] == Approx((5 + nu) / (64 * (1 + nu)) * q * std::pow(r, 4) / rigidity(stiffness)).epsilon(0.01));
  const Curvature k = plate.curvature_at_nodes(u)[middle];
  CHECK(-rigidity(stiffness) * (k.xx + nu * k.yy) == Approx((3 + nu) / 16 * q * r * r).epsilon(0.02));
}

TEST_CASE("a cantilever strip bends by P l^3 / 3 E I, with curvature P x / E I (beam theory)") {
  auto stiffness = stuff();
  stiffness.poisson = 0;
  const double l = 80, b = 10, inertia = b * std::pow(stiffness.thickness.v, 3) / 12;
  const PlateMesh mesh = mesh_plate({{{{0, 0}, {l, 0}, {l, b}, {0, b}}, {}}}, {{l / 2, b / 2}}, Mm{2.5});
  const ElasticPlate plate(mesh, stiffness,
                           edge(
                               mesh, [](Point p) { return p.x < 1e-9; }, true));
  std::vector<NodeLoad> end;
  for (std::size_t i = 0; i < mesh.nodes.size(); ++i)
    if (mesh.nodes[i].x > l - 1e-9) end.push_back({static_cast<int>(i), Newton{}});
  for (NodeLoad& x : end) x.force = Newton{2.0 / static_cast<double>(end.size())};
  const auto u = plate.solve(end);
  CHECK(u[unknown_of(end[0].node)] == Approx(2 * std::pow(l, 3) / (3 * stiffness.modulus.v * inertia)).epsilon(0.005));
  CHECK(plate.curvature_at_nodes(u)[static_cast<std::size_t>(mesh.node_of[0])].xx ==
        Approx(2 * (l - l / 2) / (stiffness.modulus.v * inertia)).epsilon(0.01));
}

TEST_CASE(
    "orthotropic strips bend by the modulus along them; a turned plate gives the same figures (beam theory, "
    "symmetry)") {
  const PlateStiffness stiffness{
      .thickness = Mm{1.6}, .modulus = MPa{24000}, .modulus_across = MPa{18000}, .poisson = 0, .shear = {}};
  for (const bool upright : {false, true}) {
    const double l = 80, b = 8;
    const Ring r = upright ? Ring{{0, 0}, {b, 0}, {b, l}, {0, l}} : Ring{{0, 0}, {l, 0}, {l, b}, {0, b}};
    const PlateMesh mesh = mesh_plate({{r, {}}}, {}, Mm{2});
    const ElasticPlate plate(mesh, stiffness,
                             edge(
                                 mesh, [&](Point p) { return (upright ? p.y : p.x) < 1e-9; }, true));
    double far = 0;
    const auto u = plate.solve({}, MPa{0.001});
    for (std::size_t i = 0; i < mesh.nodes.size(); ++i)
      if ((upright ? mesh.nodes[i].y : mesh.nodes[i].x) > l - 1e-9) far = u[3 * i];
    CHECK(far ==
          Approx(0.001 * std::pow(l, 4) / (8 * (upright ? 18000 : 24000) * std::pow(1.6, 3) / 12)).epsilon(0.01));
  }
  const auto turned = [&](double angle) {
    auto at = [&](double x, double y) {
      return Point{x * std::cos(angle) - y * std::sin(angle), x * std::sin(angle) + y * std::cos(angle)};
    };
    const Polygons board = {{{at(0, 0), at(50, 0), at(50, 30), at(20, 30), at(20, 18), at(0, 18)}, {}}};
    const PlateMesh mesh = mesh_plate(board, {at(40, 20), at(2, 2), at(48, 2), at(48, 28)}, Mm{2});
    const ElasticPlate plate(mesh, stuff(),
                             {{mesh.node_of[1], true, false, false},
                              {mesh.node_of[2], true, false, false},
                              {mesh.node_of[3], true, false, false}});
    REQUIRE(plate.ok());
    return plate.solve({{mesh.node_of[0], Newton{3}}})[3 * static_cast<std::size_t>(mesh.node_of[0])];
  };
  const double straight = turned(0);
  for (const double a : {kPi / 2, kPi, 0.4}) CHECK(turned(a) == Approx(straight).epsilon(0.01));
}

TEST_CASE(
    "compliance is symmetric, and many loads at once equal one by one (reciprocity of J. C. Maxwell and E. "
    "Betti)") {
  std::mt19937 random(3);
  std::vector<Point> points;
  for (int i = 0; i < 20; ++i)
    points.push_back(
        {2.0 + static_cast<double>(random() % 5600) / 100, 2.0 + static_cast<double>(random() % 3600) / 100});
  const PlateMesh mesh = mesh_plate({{{{0, 0}, {60, 0}, {60, 40}, {0, 40}}, {}}}, points, Mm{4});
  const ElasticPlate plate(mesh, stuff(),
                           {{mesh.node_of[0], true, false, false},
                            {mesh.node_of[1], true, false, false},
                            {mesh.node_of[2], true, false, false}});
  REQUIRE(plate.ok());
  std::vector<Patch> patches;
  for (std::size_t i = 3; i < 20; ++i) patches.push_back({{mesh.node_of[i], 1}});
  std::vector<Terms> watch;
  for (const Patch& patch : patches) watch.push_back(deflection_terms(patch));
  const auto g = plate.watched(watch, patches);
  const auto both_ways = plate.compliance(patches);
  std::vector<ElasticPlate::Load> loads;
  for (std::size_t i = 0; i < g.size(); ++i)
    loads.push_back({{{patches[i][0].node, Newton{1}}, {patches[0][0].node, Newton{-0.3}}}, MPa{1e-4}});
  const auto at_once = plate.solve(loads);
  for (std::size_t i = 0; i < g.size(); ++i) {
    const auto alone = plate.solve(loads[i].nodes, loads[i].pressure);
    for (std::size_t k = 0; k < alone.size(); k += 7)
      CHECK(at_once[i][k] == Approx(alone[k]).epsilon(1e-9).margin(1e-15));
    for (std::size_t j = 0; j < g.size(); ++j) CHECK(both_ways[i][j] == Approx(g[i][j]).epsilon(1e-9).margin(1e-15));
    for (std::size_t j = 0; j < g.size(); ++j) CHECK(g[i][j] == Approx(g[j][i]).epsilon(1e-7).margin(1e-12));
    const auto u = plate.solve({{patches[i][0].node, Newton{1}}});
    CHECK(u[unknown_of(patches[0][0].node)] == Approx(g[0][i]).epsilon(1e-9).margin(1e-15));
  }
}

TEST_CASE(
    "equivalent radius of a small load is sqrt(1.6 r^2 + t^2) - 0.675 t below half the thickness (H. M. "
    "Westergaard 1926, by the plate tables of Young and Budynas)") {
  CHECK(equivalent_radius(Mm{1.0}, Mm{1.6}) == Mm{1.0});
  CHECK(equivalent_radius(Mm{0}, Mm{1.6}).v == Approx(0.325 * 1.6));
  CHECK(equivalent_radius(Mm{0.45}, Mm{1.6}).v == Approx(std::sqrt(1.6 * 0.45 * 0.45 + 1.6 * 1.6) - 0.675 * 1.6));
}

TEST_CASE(
    "the largest strain of a face is half the thickness times the larger principal curvature (circle of C. O. Mohr)") {
  // Twist alone: principal curvatures of half of twice w,xy, one up and one down.
  CHECK(Curvature{0, 0, 1e-3}.strain(Mm{1.6}).v == Approx(0.8 * 0.5e-3 * 1e6));
  // 5 and 1 along the axes, and twist: 3 +- sqrt(4 + 9) in thousandths.
  CHECK(Curvature{5e-3, 1e-3, 6e-3}.strain(Mm{1.0}).v == Approx(0.5 * (3 + std::sqrt(13.0)) * 1e3));
}
