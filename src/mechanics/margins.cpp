// Where a pressed board is not held: by vacuum, by regions that leave their plane; and what a lid's arc does to tips.
#include <Eigen/Dense>
#include <cmath>
#include <map>
#include <numeric>
#include <set>

#include "bed.h"

namespace teasel::mechanics {

void vacuum_margins(const Planned& in, Mechanics& out) {
  const double pressure = vacuum_of(in).v;
  if (pressure <= 0) return;
  const double side = 30;  // mm, the trade's example of a local check
  out.hold = Newton{pressure * area(in.board.outline) - in.style.spring_force.v};
  const Box box = bounds(in.board.outline.outer);
  std::map<std::pair<int, int>, double> pushed;
  for (const PlacedProbe& probe : in.option.probes) {
    const Point aim = in.access.spots[probe.spot].at;
    const double force = force_on(in.rules, in.access.targets[probe.target], in.catalogue.classes[probe.probe_class]).v;
    // Squares half overlap: each point lies in up to four.
    const int u = static_cast<int>((aim.x - box.x0) / (side / 2)), v = static_cast<int>((aim.y - box.y0) / (side / 2));
    for (const int i : {u - 1, u})
      for (const int j : {v - 1, v})
        if (i >= 0 && j >= 0) pushed[{i, j}] += force;
  }
  for (const auto& [key, force] : pushed) {
    const Box square{box.x0 + key.first * side / 2, box.y0 + key.second * side / 2, box.x0 + (key.first + 2) * side / 2,
                     box.y0 + (key.second + 2) * side / 2};
    const double held = pressure * area(intersect({in.board.outline}, {{rectangle(square.centre(), side, side), {}}}));
    if (force > held) out.loose.push_back({square, Newton{force}, Newton{held}});
  }
  std::stable_sort(out.loose.begin(), out.loose.end(),
                   [](const LooseSquare& x, const LooseSquare& y) { return x.pushed - x.held > y.pushed - y.held; });
  constexpr Mm kLeak{0.5};  // smaller holes are counted in the share that leaks leave
  const std::set<HoleId> pins(in.board.tooling.begin(), in.board.tooling.end());
  std::set<std::pair<double, double>> leads;
  for (const Feature& feature : in.board.features)
    if (feature.hole > Mm{} && feature.component && in.board.components[feature.component].fitted)
      leads.emplace(feature.at.x, feature.at.y);
  for (const HoleId id : in.board.holes.ids())
    if (const BoardHole& hole = in.board.holes[id];
        hole.diameter >= kLeak && !pins.count(id) && !leads.count({hole.at.x, hole.at.y})) {
      const bool probed = std::any_of(in.option.probes.begin(), in.option.probes.end(), [&](const PlacedProbe& probe) {
        return distance(in.access.spots[probe.spot].at, hole.at) < hole.diameter.v / 2;
      });
      (probed ? out.leaks : out.plug).push_back(id);
    }
  std::stable_sort(out.plug.begin(), out.plug.end(),
                   [&](HoleId a, HoleId b) { return in.board.holes[a].diameter > in.board.holes[b].diameter; });
}

void scrub_of(const Planned& in, Mechanics& out) {
  const LidArc arc(in.board, in.kit, in.standing);
  if (!arc.used() || !in.option.option.sides.is_both()) return;
  for (const PlacedProbe& probe : in.option.probes) {
    const Target& target = in.access.targets[probe.target];
    const bool main = target.side == in.option.option.main;
    const Mm stroke = longest_stroke(in.board, in.rules, target, in.catalogue.classes[probe.probe_class], main);
    out.scrub.push_back(Mm{arc.way(in.access.spots[probe.spot].at, target.side, main, stroke).longest()});
  }
}

namespace {
/// Triangles that leave the plane by more than kLifted on one side, joined over their nodes.
std::vector<LiftedRegion> lifted_on(Side side, const PlateMesh& mesh, const std::vector<double>& unknowns) {
  std::vector<std::size_t> root(mesh.nodes.size());
  std::iota(root.begin(), root.end(), 0);
  auto find = [&](int number) {
    auto node = static_cast<std::size_t>(number);
    while (root[node] != node) node = root[node] = root[root[node]];
    return node;
  };
  auto place = [&](int node) { return mesh.nodes[static_cast<std::size_t>(node)]; };
  auto away = [&](int node) { return (side == Side::top ? 1 : -1) * unknowns[unknown_of(node)]; };
  auto lifted = [&](const std::array<int, 3>& nodes) {
    return (away(nodes[0]) + away(nodes[1]) + away(nodes[2])) / 3 > kLifted.v;
  };
  for (const auto& nodes : mesh.triangles)
    if (lifted(nodes)) {
      root[find(nodes[1])] = find(nodes[0]);
      root[find(nodes[2])] = find(nodes[0]);
    }
  std::map<std::size_t, LiftedRegion> regions;
  for (const auto& nodes : mesh.triangles) {
    if (!lifted(nodes)) continue;
    LiftedRegion& region = regions[find(nodes[0])];
    region.side = side;
    region.area += Mm2{cross(place(nodes[1]) - place(nodes[0]), place(nodes[2]) - place(nodes[0])) / 2};
    for (const int node : nodes) {
      region.box.add(place(node));
      if (away(node) > region.most.v) {
        region.most = Mm{away(node)};
        region.at = place(node);
      }
    }
  }
  std::vector<LiftedRegion> out;
  for (const auto& [node, region] : regions) out.push_back(region);
  return out;
}
}  // namespace

bool turns_over(const BedModel& model, const std::vector<double>& unknowns) {
  constexpr double kFar = 0.5;     // mm
  constexpr double kRigid = 0.75;  // of how far it goes, by the plane that fits best
  const std::vector<Point>& nodes = model.press().plate().mesh().nodes;
  if (nodes.size() < 3) return false;
  Eigen::MatrixX3d places(static_cast<Eigen::Index>(nodes.size()), 3);
  Eigen::VectorXd heights(static_cast<Eigen::Index>(nodes.size()));
  for (std::size_t i = 0; i < nodes.size(); ++i) {
    places.row(static_cast<Eigen::Index>(i)) << 1, nodes[i].x, nodes[i].y;
    heights(static_cast<Eigen::Index>(i)) = unknowns[unknown_of(static_cast<int>(i))];
  }
  const Eigen::VectorXd plane = places * places.colPivHouseholderQr().solve(heights);
  const double most = heights.cwiseAbs().maxCoeff();
  return most > kFar && plane.cwiseAbs().maxCoeff() > kRigid * most;
}

void lifted_regions(const std::vector<double>& unknowns, Mechanics& out) {
  for (const Side side : kBothSides)
    for (const LiftedRegion& region : lifted_on(side, out.mesh, unknowns)) out.lifted.push_back(region);
  std::stable_sort(out.lifted.begin(), out.lifted.end(), [](const LiftedRegion& a, const LiftedRegion& b) {
    return a.most != b.most ? a.most > b.most : a.area > b.area;
  });
}

}  // namespace teasel::mechanics
