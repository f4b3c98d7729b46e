// Gauges of a bed: the corners of parts, and the triangles of the mesh that tell the strain there.
#include <algorithm>
#include <cmath>
#include <map>

#include "bed.h"

namespace teasel::mechanics {

/// Triangles of a mesh by cells of a grid, to find those near a place.
class TriangleCells {
 public:
  TriangleCells(const PlateMesh& mesh, double cell) : mesh_(mesh), cell_(cell), middle_(mesh.triangles.size()) {
    for (std::size_t i = 0; i < middle_.size(); ++i) {
      const auto [a, b, c] = corners(i);
      middle_[i] = (1.0 / 3) * (a + b + c);
      cells_[key(middle_[i])].push_back(i);
    }
    shares_.resize(mesh.nodes.size());
    for (std::size_t i = 0; i < middle_.size(); ++i) {
      const auto [a, b, c] = corners(i);
      for (const int node : mesh.triangles[i])
        shares_[static_cast<std::size_t>(node)].emplace_back(i, cross(b - a, c - a));
    }
    for (auto& shares : shares_) {
      double sum = 0;
      for (const auto& share : shares) sum += share.second;
      for (auto& share : shares) share.second /= sum;
    }
  }
  [[nodiscard]] const PlateMesh& mesh() const { return mesh_; }
  /// Triangles whose middle lies within the radius, each with its area; the nearest alone, with weight 1, if none does.
  [[nodiscard]] std::vector<std::pair<std::size_t, double>> around(Point place, double radius) const {
    std::vector<std::pair<std::size_t, double>> out;
    double least = INFINITY;
    std::size_t nearest = mesh_.triangles.size();
    const auto [column, row] = key(place);
    for (long y = row - 1; y <= row + 1; ++y)
      for (long x = column - 1; x <= column + 1; ++x) {
        const auto cell = cells_.find({x, y});
        if (cell == cells_.end()) continue;
        for (const std::size_t i : cell->second) {
          const double away = distance(middle_[i], place);
          if (away < least) {
            least = away;
            nearest = i;
          }
          if (away > radius) continue;
          const auto [a, b, c] = corners(i);
          out.emplace_back(i, cross(b - a, c - a) / 2);
        }
      }
    if (out.empty() && nearest < mesh_.triangles.size()) out.emplace_back(nearest, 1);
    return out;
  }
  /// What a round gauge averages: curvature is known best in the middle of triangles. Its mean at the nodes, between
  /// them in proportion to place, at seven points of the disc. None where the place is off the mesh.
  [[nodiscard]] std::vector<std::pair<std::size_t, double>> over(Point place, double radius) const {
    // The disc's second moment in all directions.
    constexpr int kAbout = 6;
    const double away = radius * std::sqrt(7.0 / 12);
    std::map<std::size_t, double> sum;
    double found = 0;
    for (int k = 0; k <= kAbout; ++k) {
      const double turn = k * std::acos(-1) / 3;
      const Point at = k == kAbout ? place : place + away * Point{std::cos(turn), std::sin(turn)};
      const Patch patch = patch_at(at);
      if (patch.empty()) continue;
      ++found;
      for (const auto& [node, weight] : patch)
        for (const auto& [triangle, share] : shares_[static_cast<std::size_t>(node)]) sum[triangle] += weight * share;
    }
    std::vector<std::pair<std::size_t, double>> out;
    for (const auto& [triangle, weight] : sum) out.emplace_back(triangle, weight / found);
    return out;
  }

 private:
  [[nodiscard]] std::array<Point, 3> corners(std::size_t i) const {
    const auto& nodes = mesh_.triangles[i];
    auto node = [&](std::size_t k) { return mesh_.nodes[static_cast<std::size_t>(nodes[k])]; };
    return {node(0), node(1), node(2)};
  }
  [[nodiscard]] Patch patch_at(Point at) const {
    const auto [column, row] = key(at);
    for (long y = row - 1; y <= row + 1; ++y)
      for (long x = column - 1; x <= column + 1; ++x)
        if (const auto cell = cells_.find({x, y}); cell != cells_.end())
          for (const std::size_t i : cell->second)
            if (Patch patch = patch_in(mesh_, i, at); !patch.empty()) return patch;
    return {};
  }
  [[nodiscard]] std::pair<long, long> key(Point p) const {
    return {static_cast<long>(std::floor(p.x / cell_)), static_cast<long>(std::floor(p.y / cell_))};
  }
  const PlateMesh& mesh_;
  double cell_;
  std::vector<Point> middle_;
  std::map<std::pair<long, long>, std::vector<std::size_t>> cells_;
  std::vector<std::vector<std::pair<std::size_t, double>>> shares_;  ///< by node: of the triangles about it
};

namespace {
/// One whose triangles are none stands on no part of the mesh.
Gauge gauge_at(const Planned& in, ComponentId component, BoardPoint corner, const TriangleCells& cells, bool fine) {
  Gauge gauge;
  gauge.component = component;
  gauge.at = corner;
  gauge.raised = in.board.components[component].area_array ? kBesideStiff : 1;
  gauge.limit = 1e-6 * strain_limit(in, in.board.components[component]).v;
  const double radius = in.rules.mechanics.gauge.v / 2;
  if (fine) gauge.triangles = cells.over(corner, radius);
  if (gauge.triangles.empty()) gauge.triangles = cells.around(corner, radius);
  double sum = 0;
  for (const auto& [triangle, weight] : gauge.triangles) sum += weight;
  for (auto& [triangle, weight] : gauge.triangles) {
    weight /= sum;
    const auto terms = curvature_terms(cells.mesh(), triangle);
    for (std::size_t k = 0; k < 3; ++k)
      for (const Term& term : terms[k]) gauge.curvature[k].push_back({term.unknown, weight * term.weight});
  }
  // Triangles share nodes: each unknown stands once.
  for (Terms& terms : gauge.curvature) {
    std::sort(terms.begin(), terms.end(), [](const Term& a, const Term& b) { return a.unknown < b.unknown; });
    Terms once;
    for (const Term& term : terms)
      if (!once.empty() && once.back().unknown == term.unknown)
        once.back().weight += term.weight;
      else
        once.push_back(term);
    terms = std::move(once);
  }
  return gauge;
}
}  // namespace

void BedModel::add_gauges(Mm mesh_size, bool fine) {
  const MechanicsRules& rules = in_.rules.mechanics;
  const TriangleCells cells(press_->plate().mesh(), std::max(mesh_size.v, rules.gauge.v));
  std::vector<Gauge> out;
  const Polygons pieces = in_.board.pieces.empty() ? Polygons{in_.board.outline} : in_.board.stiff();
  for (const ComponentId id : in_.board.components.ids()) {
    const Component& component = in_.board.components[id];
    if (!component.fitted || component.cover || component.body.empty()) continue;
    const Box box = bounds(component.body);
    for (const Point corner : {Point{box.x0, box.y0}, {box.x1, box.y0}, {box.x1, box.y1}, {box.x0, box.y1}})
      if (contains(pieces, corner))
        if (Gauge gauge = gauge_at(in_, id, corner, cells, fine); !gauge.triangles.empty())
          out.push_back(std::move(gauge));
  }
  gauges_ = std::make_shared<const std::vector<Gauge>>(std::move(out));
}

Curvature BedModel::curvature(const Gauge& gauge, const std::vector<double>& unknowns) {
  return {value(gauge.curvature[0], unknowns), value(gauge.curvature[1], unknowns),
          value(gauge.curvature[2], unknowns)};
}

double BedModel::elongation(const Gauge& gauge, const std::vector<double>& unknowns) const {
  return gauge.raised * curvature(gauge, unknowns).elongation(stiffness_.thickness);
}

}  // namespace teasel::mechanics
