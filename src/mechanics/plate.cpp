#include "teasel/mechanics/plate.h"

#include <Eigen/Sparse>
#include <Eigen/SparseCholesky>
#include <cmath>

#include "teasel/parallel.h"

namespace teasel {

namespace {
using Matrix3x9 = Eigen::Matrix<double, 3, 9>;
using Matrix9 = Eigen::Matrix<double, 9, 9>;
using Block = Eigen::Matrix<double, Eigen::Dynamic, 16, Eigen::RowMajor>;  // right sides, next to one another
std::size_t at(int i) {
  return static_cast<std::size_t>(i);
}

/// Curvatures -(w,xx, w,yy, 2 w,xy) at a point of the triangle from its unknowns (w, w,y, -w,x) at each corner, after
/// Batoz.
Matrix3x9 curvature_matrix(const std::array<Point, 3>& p, double xi, double eta) {
  auto x = [&](int i, int j) { return p[at(i - 1)].x - p[at(j - 1)].x; };
  auto y = [&](int i, int j) { return p[at(i - 1)].y - p[at(j - 1)].y; };
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
  hx_xi << e6.P * k + (e5.P - e6.P) * eta;
  e6.q* k - (e5.q + e6.q) * eta;
  -4 + 6 * (xi + eta) + e6.r* k - eta*(e5.r + e6.r);
  -e6.P* k + eta*(e4.P + e6.P);
  e6.q* k - eta*(e6.q - e4.q);
  -2 + 6 * xi + e6.r* k + eta*(e4.r - e6.r);
  -eta*(e5.P + e4.P);
  eta*(e4.q - e5.q);
  -eta*(e5.r - e4.r);
  hy_xi << e6.t * k + eta * (e5.t - e6.t);
  1 + e6.r* k - eta*(e5.r + e6.r);
  -e6.q* k + eta*(e5.q + e6.q);
  -e6.t* k + eta*(e4.t + e6.t);
  -1 + e6.r* k + eta*(e4.r - e6.r);
  -e6.q* k - eta*(e4.q - e6.q);
  -eta*(e4.t + e5.t);
  eta*(e4.r - e5.r);
  -eta*(e4.q - e5.q);
  hx_eta << -e5.P * m - xi * (e6.P - e5.P);
  e5.q* m - xi*(e5.q + e6.q);
  -4 + 6 * (xi + eta) + e5.r* m - xi*(e5.r + e6.r);
  xi*(e4.P + e6.P);
  xi*(e4.q - e6.q);
  -xi*(e6.r - e4.r);
  e5.P* m - xi*(e4.P + e5.P);
  e5.q* m + xi*(e4.q - e5.q);
  -2 + 6 * eta + e5.r* m + xi*(e4.r - e5.r);
  hy_eta << -e5.t * m - xi * (e6.t - e5.t);
  1 + e5.r* m - xi*(e5.r + e6.r);
  -e5.q* m + xi*(e5.q + e6.q);
  xi*(e4.t + e6.t);
  xi*(e4.r - e6.r);
  -xi*(e4.q - e6.q);
  e5.t* m - xi*(e4.t + e5.t);
  -1 + e5.r* m + xi*(e4.r - e5.r);
  -e5.q* m - xi*(e4.q - e5.q);
  const double area2 = x(3, 1) * y(1, 2) - x(1, 2) * y(3, 1);
  Matrix3x9 b;
  b.row(0) = (y(3, 1) * hx_xi + y(1, 2) * hx_eta).transpose();
  b.row(1) = (-x(3, 1) * hy_xi - x(1, 2) * hy_eta).transpose();
  b.row(2) = (-x(3, 1) * hx_xi - x(1, 2) * hx_eta + y(3, 1) * hy_xi + y(1, 2) * hy_eta).transpose();
  return b / area2;
}

/// From our unknowns (w, w,x, w,y) to those of the element (w, w,y, -w,x).
Matrix9 to_element() {
  Matrix9 t = Matrix9::Zero();
  for (int n = 0; n < 3; ++n) {
    t(3 * n, 3 * n) = 1;
    t(3 * n + 1, 3 * n + 2) = 1;
    t(3 * n + 2, 3 * n + 1) = -1;
  }
  return t;
}

Eigen::Matrix3d rigidity(const PlateStiffness& s) {
  const double e1 = s.modulus, e2 = s.modulus_across > 0 ? s.modulus_across : s.modulus, nu12 = s.poisson,
               nu21 = nu12 * e2 / e1;
  const double g = s.shear > 0 ? s.shear : (e1 + e2) / 4 / (1 + nu12), k = s.thickness * s.thickness * s.thickness / 12;
  Eigen::Matrix3d d;
  d << e1 / (1 - nu12 * nu21);
  nu12* e2 / (1 - nu12 * nu21);
  0;
  nu12* e2 / (1 - nu12 * nu21);
  e2 / (1 - nu12 * nu21);
  0;
  0;
  0;
  g;
  return k * d;
}
}  // namespace

double Curvature::strain(double thickness) const {
  const double mean = (xx + yy) / 2, radius = std::hypot((xx - yy) / 2, xy2 / 2);
  return thickness / 2 * (std::abs(mean) + radius);
}

double value(const Terms& terms, const std::vector<double>& u) {
  double v = 0;
  for (const Term& t : terms) v += t.weight * u[t.unknown];
  return v;
}

Terms deflection_terms(const std::vector<NodeLoad>& patch) {
  Terms out;
  for (const NodeLoad& l : patch) out.push_back({3 * at(l.node), l.force});
  return out;
}

std::array<Terms, 3> curvature_terms(const PlateMesh& mesh, std::size_t triangle) {
  static const Matrix9 turn = to_element();
  const auto& n = mesh.triangles[triangle];
  const Matrix3x9 k =
      curvature_matrix({mesh.nodes[at(n[0])], mesh.nodes[at(n[1])], mesh.nodes[at(n[2])]}, 1.0 / 3, 1.0 / 3) * turn;
  std::array<Terms, 3> out;
  for (int r = 0; r < 3; ++r)
    for (int c = 0; c < 9; ++c) out[at(r)].push_back({3 * at(n[at(c / 3)]) + at(c % 3), -k(r, c)});
  return out;
}

double equivalent_radius(double radius, double thickness) {
  return radius < 0.5 * thickness ? std::sqrt(1.6 * radius * radius + thickness * thickness) - 0.675 * thickness
                                  : radius;
}

struct ElasticPlate::Parts {
  PlateMesh mesh;
  Eigen::Matrix3d d;
  std::vector<int> equation;  // by unknown; -1: held
  int equations = 0;
  Eigen::SparseMatrix<double> whole;
  Eigen::SimplicialLDLT<Eigen::SparseMatrix<double>> factor;
  bool good = false;
  std::vector<double> node_area;

  std::array<Point, 3> corners(std::size_t t) const {
    const auto& n = mesh.triangles[t];
    return {mesh.nodes[at(n[0])], mesh.nodes[at(n[1])], mesh.nodes[at(n[2])]};
  }
  /// In place. Every entry of the factors is read once for all columns: one by one, reading them is what takes the
  /// time.
  void solve(Block& u) const {
    u = factor.permutationP() * u;
    const Eigen::SparseMatrix<double>& l = factor.matrixL().nestedExpression();
    const auto pivots = factor.vectorD();
    using Entry = Eigen::SparseMatrix<double>::InnerIterator;
    for (Eigen::Index j = 0; j < equations; ++j)
      for (Entry it(l, j); it; ++it)
        if (it.row() > j) u.row(it.row()) -= it.value() * u.row(j);
    for (Eigen::Index j = 0; j < equations; ++j) u.row(j) /= pivots(j);
    for (Eigen::Index j = equations - 1; j >= 0; --j)
      for (Entry it(l, j); it; ++it)
        if (it.row() > j) u.row(j) -= it.value() * u.row(it.row());
    u = factor.permutationPinv() * u;
  }
  Eigen::VectorXd right_side(const std::vector<NodeLoad>& loads, double pressure) const {
    Eigen::VectorXd f = Eigen::VectorXd::Zero(equations);
    for (const NodeLoad& l : loads)
      if (const int e = equation[3 * at(l.node)]; e >= 0) f(e) += l.force;
    if (pressure != 0)
      for (std::size_t n = 0; n < mesh.nodes.size(); ++n)
        if (const int e = equation[3 * n]; e >= 0) f(e) += pressure * node_area[n];
    return f;
  }
};

ElasticPlate::ElasticPlate(PlateMesh mesh, const PlateStiffness& stiffness, const std::vector<NodeFix>& fixes,
                           const std::vector<Spring>& springs)
    : p_(std::make_unique<Parts>()) {
  Parts& p = *p_;
  p.mesh = std::move(mesh);
  p.d = rigidity(stiffness);
  const std::size_t all = 3 * p.mesh.nodes.size();
  p.equation.assign(all, 0);
  for (const NodeFix& f : fixes) {
    if (f.node < 0) continue;
    if (f.deflection) p.equation[3 * at(f.node)] = -1;
    if (f.slope_x) p.equation[3 * at(f.node) + 1] = -1;
    if (f.slope_y) p.equation[3 * at(f.node) + 2] = -1;
  }
  for (int& e : p.equation)
    if (e == 0) e = p.equations++;
  p.node_area.assign(p.mesh.nodes.size(), 0);
  const Matrix9 t = to_element();
  std::vector<Matrix9> element(p.mesh.triangles.size());
  parallel_for(
      p.mesh.triangles.size(),
      [&](std::size_t i) {
        const auto c = p.corners(i);
        const double area = cross(c[1] - c[0], c[2] - c[0]) / 2;
        Matrix9 k = Matrix9::Zero();
        // The integrand is of second degree: the mid-sides integrate it exactly.
        for (const auto& [xi, eta] : {std::pair{0.5, 0.0}, {0.5, 0.5}, {0.0, 0.5}}) {
          const Matrix3x9 b = curvature_matrix(c, xi, eta);
          k += area / 3 * b.transpose() * p.d * b;
        }
        element[i] = t.transpose() * k * t;
      },
      256);
  std::vector<Eigen::Triplet<double>> entries;
  entries.reserve(81 * element.size());
  for (std::size_t i = 0; i < element.size(); ++i) {
    const auto c = p.corners(i);
    const double area = cross(c[1] - c[0], c[2] - c[0]) / 2;
    for (int n = 0; n < 3; ++n) p.node_area[at(p.mesh.triangles[i][at(n)])] += area / 3;
    for (int r = 0; r < 9; ++r)
      for (int s = 0; s < 9; ++s) {
        const int er = p.equation[3 * at(p.mesh.triangles[i][at(r / 3)]) + at(r % 3)],
                  es = p.equation[3 * at(p.mesh.triangles[i][at(s / 3)]) + at(s % 3)];
        if (er >= 0 && es >= 0) entries.emplace_back(er, es, element[i](r, s));
      }
  }
  for (const Spring& x : springs)
    for (const NodeLoad& a : x.patch)
      for (const NodeLoad& b : x.patch)
        if (const int ea = p.equation[3 * at(a.node)], eb = p.equation[3 * at(b.node)]; ea >= 0 && eb >= 0)
          entries.emplace_back(ea, eb, x.rate * a.force * b.force);
  p.whole.resize(p.equations, p.equations);
  p.whole.setFromTriplets(entries.begin(), entries.end());
  if (p.equations == 0) return;
  p.factor.compute(p.whole);
  p.good = p.factor.info() == Eigen::Success;
  if (p.good) {
    // A plate that is not held gives a pivot of nothing but rounding.
    const auto pivots = p.factor.vectorD();
    p.good = pivots.minCoeff() > 1e-12 * pivots.maxCoeff();
  }
}
ElasticPlate::~ElasticPlate() = default;
bool ElasticPlate::ok() const {
  return p_->good;
}
std::size_t ElasticPlate::unknowns() const {
  return at(p_->equations);
}
const PlateMesh& ElasticPlate::mesh() const {
  return p_->mesh;
}
const std::vector<double>& ElasticPlate::area_of_node() const {
  return p_->node_area;
}

std::vector<double> ElasticPlate::solve(const std::vector<NodeLoad>& loads, double pressure) const {
  const Eigen::VectorXd u = p_->factor.solve(p_->right_side(loads, pressure));
  std::vector<double> out(p_->equation.size());
  for (std::size_t i = 0; i < out.size(); ++i)
    if (p_->equation[i] >= 0) out[i] = u(p_->equation[i]);
  return out;
}

std::vector<std::vector<double>> ElasticPlate::watched(const std::vector<Terms>& watch,
                                                       const std::vector<std::vector<NodeLoad>>& loads) const {
  std::vector<std::vector<double>> out(watch.size(), std::vector<double>(loads.size()));
  constexpr std::size_t kBlock = Block::ColsAtCompileTime;
  parallel_for((loads.size() + kBlock - 1) / kBlock,
               [&](std::size_t b) {
                 const std::size_t first = b * kBlock, last = std::min(loads.size(), first + kBlock);
                 Block u = Block::Zero(p_->equations, kBlock);
                 for (std::size_t j = first; j < last; ++j)
                   u.col(static_cast<Eigen::Index>(j - first)) = p_->right_side(loads[j], 0);
                 p_->solve(u);
                 for (std::size_t i = 0; i < watch.size(); ++i)
                   for (const Term& w : watch[i])
                     if (const int e = p_->equation[w.unknown]; e >= 0)
                       for (std::size_t j = first; j < last; ++j)
                         out[i][j] += w.weight * u(e, static_cast<Eigen::Index>(j - first));
               },
               1);
  return out;
}

Curvature ElasticPlate::curvature(std::size_t t, const std::vector<double>& u) const {
  const std::array<Terms, 3> k = curvature_terms(p_->mesh, t);
  return {value(k[0], u), value(k[1], u), value(k[2], u)};
}

std::vector<Curvature> ElasticPlate::curvature_at_nodes(const std::vector<double>& u) const {
  std::vector<Curvature> out(p_->mesh.nodes.size());
  for (std::size_t t = 0; t < p_->mesh.triangles.size(); ++t) {
    const Curvature c = curvature(t, u);
    const auto p = p_->corners(t);
    const double third = cross(p[1] - p[0], p[2] - p[0]) / 6;
    for (const int n : p_->mesh.triangles[t]) {
      const double w = third / p_->node_area[at(n)];
      out[at(n)].xx += w * c.xx;
      out[at(n)].yy += w * c.yy;
      out[at(n)].xy2 += w * c.xy2;
    }
  }
  return out;
}

double ElasticPlate::energy(const std::vector<double>& u) const {
  Eigen::VectorXd v(p_->equations);
  for (std::size_t i = 0; i < u.size(); ++i)
    if (p_->equation[i] >= 0) v(p_->equation[i]) = u[i];
  return 0.5 * v.dot(p_->whole * v);
}

}  // namespace teasel
