#include "teasel/mechanics/plate.h"

#include <Eigen/Sparse>
#include <Eigen/SparseCholesky>
#include <algorithm>
#include <cmath>
#include <numeric>

#include "teasel/parallel.h"

namespace teasel {

namespace {
using Matrix3x9 = Eigen::Matrix<double, 3, 9>;
using Matrix9 = Eigen::Matrix<double, 9, 9>;
using Block = Eigen::Matrix<double, Eigen::Dynamic, 16, Eigen::RowMajor>;  // right sides, next to one another
using Narrow = Eigen::Matrix<double, Eigen::Dynamic, 4, Eigen::RowMajor>;

/// Curvatures -(w,xx, w,yy, 2 w,xy) at a point of the triangle from its unknowns (w, w,y, -w,x) at each corner, after
/// Batoz.
Matrix3x9 curvature_matrix(const std::array<Point, 3>& p, double xi, double eta) {
  auto corner = [&](int number) { return p[static_cast<std::size_t>(number - 1)]; };
  auto x = [&](int i, int j) { return corner(i).x - corner(j).x; };
  auto y = [&](int i, int j) { return corner(i).y - corner(j).y; };
  struct Edge {
    double P, q, r, t;
  };  // of the sides 2-3, 3-1, 1-2
  auto edge = [&](int i, int j) {
    const double l2 = x(i, j) * x(i, j) + y(i, j) * y(i, j);
    return Edge{-6 * x(i, j) / l2, 3 * x(i, j) * y(i, j) / l2, 3 * y(i, j) * y(i, j) / l2, -6 * y(i, j) / l2};
  };
  const Edge e4 = edge(2, 3), e5 = edge(3, 1), e6 = edge(1, 2);
  const double k = 1 - 2 * xi, m = 1 - 2 * eta;
  Eigen::Matrix<double, 9, 1> hx_xi, hx_eta, hy_xi, hy_eta;
  hx_xi << e6.P * k + (e5.P - e6.P) * eta, e6.q * k - (e5.q + e6.q) * eta,
      -4 + 6 * (xi + eta) + e6.r * k - eta * (e5.r + e6.r), -e6.P * k + eta * (e4.P + e6.P),
      e6.q * k - eta * (e6.q - e4.q), -2 + 6 * xi + e6.r * k + eta * (e4.r - e6.r), -eta * (e5.P + e4.P),
      eta * (e4.q - e5.q), -eta * (e5.r - e4.r);
  hy_xi << e6.t * k + eta * (e5.t - e6.t), 1 + e6.r * k - eta * (e5.r + e6.r), -e6.q * k + eta * (e5.q + e6.q),
      -e6.t * k + eta * (e4.t + e6.t), -1 + e6.r * k + eta * (e4.r - e6.r), -e6.q * k - eta * (e4.q - e6.q),
      -eta * (e4.t + e5.t), eta * (e4.r - e5.r), -eta * (e4.q - e5.q);
  hx_eta << -e5.P * m - xi * (e6.P - e5.P), e5.q * m - xi * (e5.q + e6.q),
      -4 + 6 * (xi + eta) + e5.r * m - xi * (e5.r + e6.r), xi * (e4.P + e6.P), xi * (e4.q - e6.q), -xi * (e6.r - e4.r),
      e5.P * m - xi * (e4.P + e5.P), e5.q * m + xi * (e4.q - e5.q), -2 + 6 * eta + e5.r * m + xi * (e4.r - e5.r);
  hy_eta << -e5.t * m - xi * (e6.t - e5.t), 1 + e5.r * m - xi * (e5.r + e6.r), -e5.q * m + xi * (e5.q + e6.q),
      xi * (e4.t + e6.t), xi * (e4.r - e6.r), -xi * (e4.q - e6.q), e5.t * m - xi * (e4.t + e5.t),
      -1 + e5.r * m + xi * (e4.r - e5.r), -e5.q * m - xi * (e4.q - e5.q);
  const double area2 = x(3, 1) * y(1, 2) - x(1, 2) * y(3, 1);
  Matrix3x9 b;
  b.row(0) = (y(3, 1) * hx_xi + y(1, 2) * hx_eta).transpose();
  b.row(1) = (-x(3, 1) * hy_xi - x(1, 2) * hy_eta).transpose();
  b.row(2) = (-x(3, 1) * hx_xi - x(1, 2) * hx_eta + y(3, 1) * hy_xi + y(1, 2) * hy_eta).transpose();
  return b / area2;
}

/// From our unknowns (w, w,x, w,y) to those of the element (w, w,y, -w,x).
Matrix9 to_element() {
  Matrix9 turn = Matrix9::Zero();
  for (int corner = 0; corner < 3; ++corner) {
    turn(3 * corner, 3 * corner) = 1;
    turn(3 * corner + 1, 3 * corner + 2) = 1;
    turn(3 * corner + 2, 3 * corner + 1) = -1;
  }
  return turn;
}

Eigen::Matrix3d rigidity(const PlateStiffness& stiffness) {
  const double e1 = stiffness.modulus.v, e2 = stiffness.modulus_across > MPa{} ? stiffness.modulus_across.v : e1,
               nu12 = stiffness.poisson, nu21 = nu12 * e2 / e1;
  const double g = stiffness.shear > MPa{} ? stiffness.shear.v : (e1 + e2) / 4 / (1 + nu12),
               thickness = stiffness.thickness.v, k = thickness * thickness * thickness / 12;
  Eigen::Matrix3d of_unit_depth;
  of_unit_depth << e1 / (1 - nu12 * nu21), nu12 * e2 / (1 - nu12 * nu21), 0, nu12 * e2 / (1 - nu12 * nu21),
      e2 / (1 - nu12 * nu21), 0, 0, 0, g;
  return k * of_unit_depth;
}
}  // namespace

double Curvature::elongation(Mm thickness) const {
  const double mean = (xx + yy) / 2, radius = std::hypot((xx - yy) / 2, xy2 / 2);
  return thickness.v / 2 * (std::abs(mean) + radius);
}
Microstrain Curvature::strain(Mm thickness) const {
  return Microstrain{elongation(thickness) * 1e6};
}

double value(const Terms& terms, const std::vector<double>& unknowns) {
  double sum = 0;
  for (const Term& term : terms) sum += term.weight * unknowns[term.unknown];
  return sum;
}

Patch patch_in(const PlateMesh& mesh, std::size_t triangle, Point at) {
  constexpr double kSlack = 1e-9;
  const auto& nodes = mesh.triangles[triangle];
  const auto place = [&](std::size_t k) { return mesh.nodes[static_cast<std::size_t>(nodes[k])]; };
  const Point a = place(0), b = place(1), c = place(2);
  const double whole = cross(b - a, c - a), of_a = cross(b - at, c - at) / whole, of_b = cross(c - at, a - at) / whole,
               of_c = 1 - of_a - of_b;
  if (std::min({of_a, of_b, of_c}) < -kSlack) return {};
  return {{nodes[0], of_a}, {nodes[1], of_b}, {nodes[2], of_c}};
}

Patch patch_at(const PlateMesh& mesh, Point at) {
  for (std::size_t i = 0; i < mesh.triangles.size(); ++i)
    if (Patch patch = patch_in(mesh, i, at); !patch.empty()) return patch;
  return {};
}

Terms deflection_terms(const Patch& patch) {
  Terms out;
  for (const NodeWeight& part : patch) out.push_back({unknown_of(part.node), part.weight});
  return out;
}

std::array<Terms, 3> curvature_terms(const PlateMesh& mesh, std::size_t triangle) {
  static const Matrix9 turn = to_element();
  const auto& corners = mesh.triangles[triangle];
  const Matrix3x9 matrix =
      curvature_matrix({mesh.nodes[corners[0]], mesh.nodes[corners[1]], mesh.nodes[corners[2]]}, 1.0 / 3, 1.0 / 3) *
      turn;
  std::array<Terms, 3> out;
  for (std::size_t row = 0; row < 3; ++row)
    for (std::size_t column = 0; column < 9; ++column)
      out[row].push_back({unknown_of(corners[column / 3]) + column % 3,
                          -matrix(static_cast<Eigen::Index>(row), static_cast<Eigen::Index>(column))});
  return out;
}

Mm equivalent_radius(Mm radius, Mm thickness) {
  const double r = radius.v, t = thickness.v;
  return r < 0.5 * t ? Mm{std::sqrt(1.6 * r * r + t * t) - 0.675 * t} : radius;
}

struct ElasticPlate::Parts {
  PlateMesh mesh;
  Eigen::Matrix3d rigidity_of_plate;
  std::vector<int> equation;  // by unknown: its row, in the order in which factors stay sparse; -1: held
  int equations = 0;
  Eigen::SparseMatrix<double> whole;  // its upper half
  Eigen::SimplicialLDLT<Eigen::SparseMatrix<double>, Eigen::Upper, Eigen::NaturalOrdering<int>> factor;
  bool good = false;
  std::vector<double> node_area;

  std::array<Point, 3> corners(std::size_t triangle) const {
    const auto& corner = mesh.triangles[triangle];
    return {mesh.nodes[corner[0]], mesh.nodes[corner[1]], mesh.nodes[corner[2]]};
  }
  /// By row of the factors: the next row that it is taken from (the elimination tree); the number of rows at its root.
  std::vector<int> parent;
  void find_parents() {
    const Eigen::SparseMatrix<double>& lower = factor.matrixL().nestedExpression();
    parent.assign(static_cast<std::size_t>(equations), equations);
    for (int j = 0; j < equations; ++j)
      for (Eigen::SparseMatrix<double>::InnerIterator it(lower, j); it; ++it)
        if (const auto at = static_cast<std::size_t>(j); it.row() > j)
          parent[at] = std::min(parent[at], static_cast<int>(it.row()));
  }
  /// In place, in the order of the factors. `from`: the rows that are not zero, ascending, with all that hang on them;
  /// rows before `least` are not wanted. Every entry of the factors is read once for all columns, because reading them
  /// takes most of the time.
  template <class Columns>
  void solve(Columns& u, const std::vector<int>& from, int least) const {
    const Eigen::SparseMatrix<double>& lower = factor.matrixL().nestedExpression();
    const auto pivots = factor.vectorD();
    using Entry = Eigen::SparseMatrix<double>::InnerIterator;
    for (const int j : from)
      for (Entry it(lower, j); it; ++it)
        if (it.row() > j) u.row(it.row()) -= it.value() * u.row(j);
    for (const int j : from) u.row(j) /= pivots(j);
    for (Eigen::Index j = equations - 1; j >= least; --j)
      for (Entry it(lower, j); it; ++it)
        if (it.row() > j) u.row(j) -= it.value() * u.row(it.row());
  }
  /// One newton up on each of these patches (columns), solved: in the order of the factors.
  void solve(Block& u, const std::vector<Patch>& patches, const std::size_t* first, std::size_t count,
             int least) const {
    std::vector<char> met(static_cast<std::size_t>(equations));
    std::vector<int> from;
    u.setZero(equations, Block::ColsAtCompileTime);
    for (std::size_t k = 0; k < count; ++k)
      for (const NodeWeight& part : patches[first[k]]) {
        int row = equation[unknown_of(part.node)];
        if (row < 0) continue;
        u(row, static_cast<Eigen::Index>(k)) += part.weight;
        for (; row < equations && !met[static_cast<std::size_t>(row)]; row = parent[static_cast<std::size_t>(row)]) {
          met[static_cast<std::size_t>(row)] = 1;
          from.push_back(row);
        }
      }
    std::sort(from.begin(), from.end());
    solve(u, from, least);
  }
  /// Patches in the order of the first row that each one meets, and that row.
  [[nodiscard]] std::vector<std::pair<int, std::size_t>> by_first_row(const std::vector<Patch>& patches) const {
    std::vector<std::pair<int, std::size_t>> out;
    for (std::size_t k = 0; k < patches.size(); ++k) {
      int first = equations;
      for (const NodeWeight& part : patches[k])
        if (const int row = equation[unknown_of(part.node)]; row >= 0) first = std::min(first, row);
      out.emplace_back(first, k);
    }
    std::sort(out.begin(), out.end());
    return out;
  }
  Eigen::VectorXd right_side(const std::vector<NodeLoad>& loads, MPa pressure) const {
    Eigen::VectorXd forces = Eigen::VectorXd::Zero(equations);
    for (const NodeLoad& load : loads)
      if (const int row = equation[unknown_of(load.node)]; row >= 0) forces(row) += load.force.v;
    if (pressure != MPa{})
      for (std::size_t node = 0; node < mesh.nodes.size(); ++node)
        if (const int row = equation[3 * node]; row >= 0) forces(row) += pressure.v * node_area[node];
    return forces;
  }
  /// Nodes in an order of elimination that fills the factors little: least degree first, of all unknowns of a node at
  /// once (P. R. Amestoy, T. A. Davis, I. S. Duff, SIAM J. Matrix Anal. Appl. 17, 1996).
  [[nodiscard]] std::vector<int> order_of_nodes(const std::vector<Spring>& springs) const;
  void number(const std::vector<NodeFix>& fixes, const std::vector<int>& order);
  /// Stiffness of each element in the plate's own unknowns.
  [[nodiscard]] std::vector<Matrix9> elements() const;
  void assemble(const std::vector<Spring>& springs);
};

std::vector<int> ElasticPlate::Parts::order_of_nodes(const std::vector<Spring>& springs) const {
  std::vector<Eigen::Triplet<double>> joined;
  const auto join = [&](int a, int b) {
    joined.emplace_back(a, b, 1);
    joined.emplace_back(b, a, 1);
  };
  for (const auto& corner : mesh.triangles)
    for (std::size_t k = 0; k < 3; ++k) join(corner[k], corner[(k + 1) % 3]);
  for (const Spring& spring : springs)
    for (const NodeWeight& a : spring.patch)
      for (const NodeWeight& b : spring.patch)
        if (a.node < b.node) join(a.node, b.node);
  // Eigen's ordering asks for the diagonal too.
  const int count = static_cast<int>(mesh.nodes.size());
  for (int node = 0; node < count; ++node) joined.emplace_back(node, node, 1);
  Eigen::SparseMatrix<double> graph(count, count);
  graph.setFromTriplets(joined.begin(), joined.end());
  Eigen::AMDOrdering<int>::PermutationType order;
  Eigen::AMDOrdering<int>()(graph, order);
  return {order.indices().begin(), order.indices().end()};
}

void ElasticPlate::Parts::number(const std::vector<NodeFix>& fixes, const std::vector<int>& order) {
  constexpr int kFree = 0, kHeld = -1;
  equation.assign(3 * mesh.nodes.size(), kFree);
  for (const NodeFix& fix : fixes) {
    if (fix.node < 0) continue;
    const std::size_t first = unknown_of(fix.node);
    if (fix.deflection) equation[first] = kHeld;
    if (fix.slope_x) equation[first + 1] = kHeld;
    if (fix.slope_y) equation[first + 2] = kHeld;
  }
  for (const int node : order)
    for (std::size_t k = 0; k < 3; ++k)
      if (int& number = equation[unknown_of(node) + k]; number == kFree) number = equations++;
}

std::vector<Matrix9> ElasticPlate::Parts::elements() const {
  const Matrix9 turn = to_element();
  std::vector<Matrix9> out(mesh.triangles.size());
  parallel_for(
      mesh.triangles.size(),
      [&](std::size_t i) {
        const auto corner = corners(i);
        const double area = cross(corner[1] - corner[0], corner[2] - corner[0]) / 2;
        Matrix9 k = Matrix9::Zero();
        // The integrand is of second degree: the mid-sides integrate it exactly.
        for (const auto& [xi, eta] : {std::pair{0.5, 0.0}, {0.5, 0.5}, {0.0, 0.5}}) {
          const Matrix3x9 b = curvature_matrix(corner, xi, eta);
          k += area / 3 * b.transpose() * rigidity_of_plate * b;
        }
        out[i] = turn.transpose() * k * turn;
      },
      256);
  return out;
}

void ElasticPlate::Parts::assemble(const std::vector<Spring>& springs) {
  node_area.assign(mesh.nodes.size(), 0);
  const std::vector<Matrix9> element = elements();
  std::vector<Eigen::Triplet<double>> entries;
  entries.reserve(45 * element.size() + 28 * springs.size());
  for (std::size_t i = 0; i < element.size(); ++i) {
    const auto& nodes = mesh.triangles[i];
    const auto corner = corners(i);
    const double area = cross(corner[1] - corner[0], corner[2] - corner[0]) / 2;
    for (const int node : nodes) node_area[static_cast<std::size_t>(node)] += area / 3;
    auto equation_of = [&](std::size_t j) { return equation[unknown_of(nodes[j / 3]) + j % 3]; };
    for (std::size_t j = 0; j < 9; ++j)
      for (std::size_t k = 0; k < 9; ++k) {
        const int row = equation_of(j), column = equation_of(k);
        if (row >= 0 && row <= column)
          entries.emplace_back(row, column, element[i](static_cast<Eigen::Index>(j), static_cast<Eigen::Index>(k)));
      }
  }
  for (const Spring& spring : springs)
    for (const NodeWeight& a : spring.patch)
      for (const NodeWeight& b : spring.patch) {
        const int row = equation[unknown_of(a.node)], column = equation[unknown_of(b.node)];
        if (row >= 0 && row <= column) entries.emplace_back(row, column, spring.rate.v * a.weight * b.weight);
      }
  whole.resize(equations, equations);
  whole.setFromTriplets(entries.begin(), entries.end());
}

ElasticPlate::ElasticPlate(PlateMesh mesh, const PlateStiffness& stiffness, const std::vector<NodeFix>& fixes,
                           const std::vector<Spring>& springs)
    : p_(std::make_unique<Parts>()) {
  Parts& parts = *p_;
  parts.mesh = std::move(mesh);
  parts.rigidity_of_plate = rigidity(stiffness);
  parts.number(fixes, parts.order_of_nodes(springs));
  parts.assemble(springs);
  if (parts.equations == 0) return;
  parts.factor.compute(parts.whole);
  parts.good = parts.factor.info() == Eigen::Success;
  if (parts.good) {
    parts.find_parents();
    // A plate that is not held gives a pivot of nothing but rounding.
    const auto pivots = parts.factor.vectorD();
    parts.good = pivots.minCoeff() > 1e-12 * pivots.maxCoeff();
  }
}
ElasticPlate::~ElasticPlate() = default;
bool ElasticPlate::ok() const {
  return p_->good;
}
std::size_t ElasticPlate::unknowns() const {
  return static_cast<std::size_t>(p_->equations);
}
const PlateMesh& ElasticPlate::mesh() const {
  return p_->mesh;
}
const std::vector<double>& ElasticPlate::area_of_node() const {
  return p_->node_area;
}

std::vector<std::vector<double>> ElasticPlate::solve(const std::vector<Load>& loads) const {
  if (loads.size() == 1) return {solve(loads.front().nodes, loads.front().pressure)};
  std::vector<std::vector<double>> out(loads.size());
  std::vector<int> all(static_cast<std::size_t>(p_->equations));
  std::iota(all.begin(), all.end(), 0);
  const auto some = [&](auto u, std::size_t first, std::size_t count) {
    u.setZero(p_->equations, u.cols());
    for (std::size_t k = 0; k < count; ++k) {
      u.col(static_cast<Eigen::Index>(k)) = p_->right_side(loads[first + k].nodes, loads[first + k].pressure);
    }
    p_->solve(u, all, 0);
    for (std::size_t k = 0; k < count; ++k) {
      std::vector<double>& one = out[first + k];
      one.resize(p_->equation.size());
      for (std::size_t i = 0; i < one.size(); ++i)
        if (const int row = p_->equation[i]; row >= 0) one[i] = u(row, static_cast<Eigen::Index>(k));
    }
  };
  // As many blocks as keep two threads busy, none of them wider than it must be.
  const std::size_t width = std::clamp<std::size_t>((loads.size() + 1) / 2, 1, Block::ColsAtCompileTime);
  parallel_for((loads.size() + width - 1) / width,
               [&](std::size_t block) {
                 const std::size_t first = block * width, count = std::min(width, loads.size() - first);
                 if (count <= Narrow::ColsAtCompileTime)
                   some(Narrow(), first, count);
                 else
                   some(Block(), first, count);
               },
               1);
  return out;
}

std::vector<double> ElasticPlate::solve(const std::vector<NodeLoad>& loads, MPa pressure) const {
  const Eigen::VectorXd u = p_->factor.solve(p_->right_side(loads, pressure));
  std::vector<double> out(p_->equation.size());
  for (std::size_t i = 0; i < out.size(); ++i)
    if (p_->equation[i] >= 0) out[i] = u(p_->equation[i]);
  return out;
}

namespace {
constexpr std::size_t kBlock = Block::ColsAtCompileTime;
struct Blocks {
  std::vector<int> first_row;       // by patch of the order
  std::vector<std::size_t> number;  // likewise
  [[nodiscard]] std::size_t count() const { return (number.size() + kBlock - 1) / kBlock; }
};
}  // namespace

std::vector<std::vector<double>> ElasticPlate::watched(const std::vector<Terms>& watch,
                                                       const std::vector<Patch>& patches) const {
  std::vector<std::vector<double>> out(watch.size(), std::vector<double>(patches.size()));
  // Neighbours together: their paths through the factors are the same for the most part.
  Blocks blocks;
  for (const auto& [row, k] : p_->by_first_row(patches)) {
    blocks.first_row.push_back(row);
    blocks.number.push_back(k);
  }
  std::vector<std::vector<std::pair<int, double>>> rows(watch.size());
  int least = p_->equations;
  for (std::size_t i = 0; i < watch.size(); ++i)
    for (const Term& term : watch[i])
      if (const int row = p_->equation[term.unknown]; row >= 0) {
        rows[i].emplace_back(row, term.weight);
        least = std::min(least, row);
      }
  parallel_for(
      blocks.count(),
      [&](std::size_t block) {
        const std::size_t first = block * kBlock, count = std::min(kBlock, patches.size() - first);
        Block u;
        p_->solve(u, patches, &blocks.number[first], count, least);
        for (std::size_t i = 0; i < rows.size(); ++i)
          for (const auto& [row, weight] : rows[i])
            for (std::size_t j = 0; j < count; ++j)
              out[i][blocks.number[first + j]] += weight * u(row, static_cast<Eigen::Index>(j));
      },
      1);
  return out;
}

std::vector<std::vector<double>> ElasticPlate::compliance(const std::vector<Patch>& patches) const {
  std::vector<std::vector<double>> out(patches.size(), std::vector<double>(patches.size()));
  Blocks blocks;
  for (const auto& [row, k] : p_->by_first_row(patches)) {
    blocks.first_row.push_back(row);
    blocks.number.push_back(k);
  }
  // What one does to another the other does to it (J. C. Maxwell, 1864): those that come later in the order are enough,
  // and rows before the first one of a block are not wanted.
  parallel_for(
      blocks.count(),
      [&](std::size_t block) {
        const std::size_t first = block * kBlock, count = std::min(kBlock, patches.size() - first);
        Block u;
        p_->solve(u, patches, &blocks.number[first], count, std::max(0, blocks.first_row[first]));
        for (std::size_t i = first; i < patches.size(); ++i) {
          const std::size_t at = blocks.number[i];
          for (const NodeWeight& part : patches[at])
            if (const int row = p_->equation[unknown_of(part.node)]; row >= 0)
              for (std::size_t j = 0; j < count && first + j <= i; ++j)
                out[at][blocks.number[first + j]] += part.weight * u(row, static_cast<Eigen::Index>(j));
          for (std::size_t j = 0; j < count && first + j <= i; ++j)
            out[blocks.number[first + j]][at] = out[at][blocks.number[first + j]];
        }
      },
      1);
  return out;
}

Curvature ElasticPlate::curvature(std::size_t triangle, const std::vector<double>& unknowns) const {
  const std::array<Terms, 3> terms = curvature_terms(p_->mesh, triangle);
  return {value(terms[0], unknowns), value(terms[1], unknowns), value(terms[2], unknowns)};
}

std::vector<Curvature> ElasticPlate::curvature_at_nodes(const std::vector<double>& unknowns) const {
  std::vector<Curvature> out(p_->mesh.nodes.size());
  for (std::size_t i = 0; i < p_->mesh.triangles.size(); ++i) {
    const Curvature bend = curvature(i, unknowns);
    const auto corner = p_->corners(i);
    const double third = cross(corner[1] - corner[0], corner[2] - corner[0]) / 6;
    for (const int number : p_->mesh.triangles[i]) {
      const auto node = static_cast<std::size_t>(number);
      const double share = third / p_->node_area[node];
      out[node].xx += share * bend.xx;
      out[node].yy += share * bend.yy;
      out[node].xy2 += share * bend.xy2;
    }
  }
  return out;
}

double ElasticPlate::energy(const std::vector<double>& u) const {
  Eigen::VectorXd v(p_->equations);
  for (std::size_t i = 0; i < u.size(); ++i)
    if (p_->equation[i] >= 0) v(p_->equation[i]) = u[i];
  return 0.5 * v.dot(p_->whole.selfadjointView<Eigen::Upper>() * v);
}

}  // namespace teasel
