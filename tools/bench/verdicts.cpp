// Verdicts and odds for a large made-up board, against the same integrals by a reference library in the same run.
// 60,000 features: 40 % pads on one side, 50 % vias, half of them masked, 10 % leads of connectors; four classes, two
// sides.
#include <boost/math/special_functions/owens_t.hpp>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <random>

#include "teasel/access.h"
#include "teasel/parallel.h"

using namespace teasel;

namespace {
double seconds_since(std::chrono::steady_clock::time_point t) {
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - t).count();
}

void expose(Board& b, int feature, Side side, const Polygons& copper, double diameter) {
  Exposure e;
  e.feature = feature;
  e.side = side;
  e.copper = e.contact = copper;
  e.diameter = diameter;
  e.aim = b.features[static_cast<std::size_t>(feature)].at;
  const double hole = b.features[static_cast<std::size_t>(feature)].hole;
  if (hole > 0) e.copper = subtract(copper, {{circle(e.aim, hole / 2), {}}});
  b.exposures.push_back(std::move(e));
}

Board make_board() {
  Board b;
  const int columns = 300, rows = 200;
  const double pitch = 1.5, width = columns * pitch, height = rows * pitch;
  b.outline = {{{-5, -5}, {width + 5, -5}, {width + 5, height + 5}, {-5, height + 5}}, {}};
  b.pieces = {b.outline};
  std::mt19937 rng(1);
  for (Point p : {Point{-2, -2}, Point{width + 2, height + 2}}) {
    BoardHole h;
    h.at = h.end = p;
    h.diameter = 3.2;
    h.plating = formats::Plating::unplated;
    b.tooling.push_back(static_cast<int>(b.holes.size()));
    b.holes.push_back(h);
  }
  for (int i = 0; i < columns * rows; ++i) {
    Feature f;
    f.at = {std::round(((i % columns) * pitch + 0.001 * static_cast<double>(rng() % 200)) * 1000) / 1000,
            std::round(((i / columns) * pitch + 0.001 * static_cast<double>(rng() % 200)) * 1000) / 1000};
    f.name = "F" + std::to_string(i);
    f.net = static_cast<int>(b.nets.size());
    b.nets.push_back({"N" + std::to_string(i), false, {i}, 2, -1, -1, 0});
    const unsigned die = rng() % 10;
    f.kind = die < 4 ? FeatureKind::smd_pad : die < 9 ? FeatureKind::via : FeatureKind::lead;
    if (f.kind == FeatureKind::via) f.hole = 0.3;
    if (f.kind == FeatureKind::lead) f.hole = 0.8;
    b.features.push_back(f);
    if (f.kind == FeatureKind::smd_pad) {
      const double w = 0.6 + 0.1 * static_cast<double>(rng() % 4), h = 0.7 + 0.1 * static_cast<double>(rng() % 3);
      expose(b, i, rng() % 2 ? Side::top : Side::bottom, {{rectangle(f.at, w, h), {}}}, std::min(w, h));
    } else if (f.kind == FeatureKind::via) {
      if (rng() % 2)
        for (Side s : {Side::top, Side::bottom}) expose(b, i, s, {{circle(f.at, 0.35), {}}}, 0.7);
    } else {
      for (Side s : {Side::top, Side::bottom}) expose(b, i, s, {{circle(f.at, 0.6), {}}}, 1.2);
    }
  }
  // One body to twenty features, half of them drawn.
  for (int i = 0; i < columns * rows / 20; ++i) {
    Component c;
    c.name = "U" + std::to_string(i);
    const Point at{width * static_cast<double>(rng() % 10000) / 10000,
                   height * static_cast<double>(rng() % 10000) / 10000};
    c.body = {{rectangle(at, 1 + static_cast<double>(rng() % 3), 1 + static_cast<double>(rng() % 3)), {}}};
    c.height = 1 + static_cast<double>(rng() % 8);
    c.side = rng() % 2 ? Side::top : Side::bottom;
    c.side_known = c.height_known = c.body_known = Known::confirmed;
    if (i % 2) c.outline_by = "drawn";
    b.components.push_back(std::move(c));
  }
  return b;
}

/// Miss by Boost's Owen's T, edge by edge.
double reference_miss(const Polygons& area, const Covariance& c) {
  const double l11 = std::sqrt(c.xx), l21 = c.xy / l11, l22 = std::sqrt(c.yy - l21 * l21);
  double sum = 0;
  for (const Polygon& p : area)
    for (std::size_t i = 0; i < p.outer.size(); ++i) {
      auto white = [&](Point q) { return Point{q.x / l11, (q.y - l21 * q.x / l11) / l22}; };
      const Point a = white(p.outer[i]), d = white(p.outer[(i + 1) % p.outer.size()]) - a;
      const double len = length(d), h = cross(a, d) / len, s1 = dot(a, d) / len, s2 = s1 + len;
      sum += boost::math::owens_t(h, s2 / h) - boost::math::owens_t(h, s1 / h);
    }
  return sum;
}
}  // namespace

int main() {
  const Board board = make_board();
  Diagnostics d;
  const Rules rules = read_rules(*shipped("rules", "standard"), "rules", d);
  const Catalogue catalogue = read_catalogue(*shipped("catalogues", "standard"), "catalogue", d);
  Job job;
  judge(make_board(), job, catalogue, rules);  // tables and caches warm
  const auto t0 = std::chrono::steady_clock::now();
  const Access a = judge(board, job, catalogue, rules);
  const double ours = seconds_since(t0);
  std::size_t open = 0;
  for (const Verdict& v : a.verdicts) open += v.open;
  const auto t1 = std::chrono::steady_clock::now();
  double sum = 0;
  std::size_t done = 0;
  for (std::size_t s = 0; s < a.spots.size(); s += 20) {
    const Spot& spot = a.spots[s];
    const Target& t = a.targets[static_cast<std::size_t>(spot.target)];
    for (std::size_t k = 0; k < a.classes; ++k)
      for (const bool main : {true, false})
        if (a.verdict(s, k, main).open) {
          const Covariance c = error_budget(board, rules, catalogue.classes[k],
                                            board.exposures[static_cast<std::size_t>(t.exposure)], spot.at, main)
                                   .total();
          sum += reference_miss(a.shapes[static_cast<std::size_t>(spot.shape)].landing[k], c);
          ++done;
        }
  }
  const double reference = seconds_since(t1) / static_cast<double>(done) * static_cast<double>(open);
  std::printf("features %zu, targets %zu, aim points %zu, shapes %zu, verdicts %zu, open %zu, threads %u\n",
              board.features.size(), a.targets.size(), a.spots.size(), a.shapes.size(), a.verdicts.size(), open,
              thread_count());
  std::printf(
      "verdicts and odds: %.3f s; odds of the open ones alone by Boost's Owen's T, one thread (every twentieth, "
      "scaled): %.3f s; ratio %.2f (%g)\n",
      ours, reference, reference / ours, sum > 0 ? 1.0 : 0.0);
  return 0;
}
