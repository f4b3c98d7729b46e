// Where a pressed board is not held: by vacuum, by regions that leave their plane; and what a lid's arc does to tips.
#include <cmath>
#include <map>
#include <numeric>
#include <set>

#include "bed.h"

namespace teasel::mechanics {

void vacuum_margins(const BedInputs& in, Mechanics& out) {
  const double pressure = vacuum_of(in);
  if (pressure <= 0) return;
  const double side = 30;  // mm, the trade's example of a local check
  out.hold = pressure * area(in.board.outline) - in.style.spring_force.v;
  const Box b = bounds(in.board.outline.outer);
  std::map<std::pair<int, int>, double> pushed;
  for (const PlacedProbe& p : in.option.probes) {
    const Point q = in.access.spots[at(p.spot)].at;
    const double f = force_on(in.rules, in.access.targets[at(p.target)], in.catalogue.classes[at(p.probe_class)]).v;
    // Squares half overlap: each point lies in up to four.
    const int u = static_cast<int>((q.x - b.x0) / (side / 2)), v = static_cast<int>((q.y - b.y0) / (side / 2));
    for (const int i : {u - 1, u})
      for (const int j : {v - 1, v})
        if (i >= 0 && j >= 0) pushed[{i, j}] += f;
  }
  for (const auto& [key, f] : pushed) {
    const Box square{b.x0 + key.first * side / 2, b.y0 + key.second * side / 2, b.x0 + (key.first + 2) * side / 2,
                     b.y0 + (key.second + 2) * side / 2};
    const double held = pressure * area(intersect({in.board.outline}, {{rectangle(square.centre(), side, side), {}}}));
    if (f > held) out.loose.push_back({square, f, held});
  }
  std::stable_sort(out.loose.begin(), out.loose.end(),
                   [](const LooseSquare& x, const LooseSquare& y) { return x.pushed - x.held > y.pushed - y.held; });
  constexpr double kLeak = 0.5;  // mm; smaller holes are counted in the share that leaks leave
  const std::set<int> pins(in.board.tooling.begin(), in.board.tooling.end());
  std::set<std::pair<double, double>> leads;
  for (const Feature& f : in.board.features)
    if (f.hole > 0 && f.component >= 0 && in.board.components[at(f.component)].fitted) leads.emplace(f.at.x, f.at.y);
  for (std::size_t h = 0; h < in.board.holes.size(); ++h)
    if (const BoardHole& x = in.board.holes[h];
        x.diameter >= kLeak && !pins.count(static_cast<int>(h)) && !leads.count({x.at.x, x.at.y}))
      out.plug.push_back(static_cast<int>(h));
  std::stable_sort(out.plug.begin(), out.plug.end(),
                   [&](int x, int y) { return in.board.holes[at(x)].diameter > in.board.holes[at(y)].diameter; });
}

void scrub_of(const BedInputs& in, Mechanics& out) {
  if (!in.kit || !in.kit->hinge_y || !(in.option.option.bottom && in.option.option.top)) return;
  const Affine t = board_to_kit(in);
  const double board_height = in.kit->hinge_height->v;
  for (const PlacedProbe& p : in.option.probes) {
    double way = 0;
    if (in.access.targets[at(p.target)].side != in.option.option.main) {
      const double r = in.kit->hinge_y->v - t(in.access.spots[at(p.spot)].at).y,
                   travel = in.catalogue.classes[at(p.probe_class)].working_travel.v;
      // From first touch to closed the lid turns by travel / r; the tip, so much under the hinge, moves sideways.
      if (r > travel) {
        const double angle = std::asin(travel / r);
        way = std::abs(r * (1 - std::cos(angle)) - board_height * std::sin(angle));
      }
    }
    out.scrub.push_back(way);
  }
}

void lifted_regions(const std::vector<double>& unknowns, Mechanics& out) {
  const PlateMesh& m = out.mesh;
  // Triangles that leave the plane by so much on one side, joined over their nodes.
  std::vector<int> root(m.nodes.size());
  for (const bool up : {true, false}) {
    std::iota(root.begin(), root.end(), 0);
    auto find = [&](int n) {
      while (root[at(n)] != n) n = root[at(n)] = root[at(root[at(n)])];
      return n;
    };
    auto away = [&](int n) { return (up ? 1 : -1) * unknowns[3 * at(n)]; };
    auto lifted = [&](const std::array<int, 3>& t) { return (away(t[0]) + away(t[1]) + away(t[2])) / 3 > kLifted; };
    for (const auto& t : m.triangles)
      if (lifted(t)) {
        root[at(find(t[1]))] = find(t[0]);
        root[at(find(t[2]))] = find(t[0]);
      }
    std::map<int, LiftedRegion> regions;
    for (const auto& t : m.triangles) {
      if (!lifted(t)) continue;
      LiftedRegion& r = regions[find(t[0])];
      r.side = up ? Side::top : Side::bottom;
      r.area += cross(m.nodes[at(t[1])] - m.nodes[at(t[0])], m.nodes[at(t[2])] - m.nodes[at(t[0])]) / 2;
      for (const int n : t) {
        r.box.add(m.nodes[at(n)]);
        if (away(n) > r.most) {
          r.most = away(n);
          r.at = m.nodes[at(n)];
        }
      }
    }
    for (const auto& [n, r] : regions) out.lifted.push_back(r);
  }
  std::stable_sort(out.lifted.begin(), out.lifted.end(), [](const LiftedRegion& a, const LiftedRegion& b) {
    return a.most != b.most ? a.most > b.most : a.area > b.area;
  });
}

}  // namespace teasel::mechanics
