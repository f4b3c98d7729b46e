// Verdicts and odds for a large made-up board, against the same integrals by a reference library in the same run.
// 60,000 features: 40 % pads on one side, 50 % vias, half of them masked, 10 % leads of connectors; four classes, two
// sides.
#include <algorithm>
#include <boost/math/special_functions/owens_t.hpp>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <random>

#include "teasel/access.h"
#include "teasel/parallel.h"

using namespace teasel;

namespace {
double seconds_since(std::chrono::steady_clock::time_point start) {
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

constexpr int kColumns = 300, kRows = 200;
constexpr double kPitch = 1.5, kWidth = kColumns * kPitch, kHeight = kRows * kPitch;

void expose(Board& board, FeatureId id, Side side, const Polygons& copper, double diameter) {
  const Feature& feature = board.features[id];
  Exposure exposure;
  exposure.feature = id;
  exposure.side = side;
  exposure.copper = copper;
  exposure.contact = copper;
  exposure.diameter = Mm{diameter};
  exposure.aim = feature.at;
  if (feature.hole > Mm{}) exposure.copper = subtract(copper, {{circle(exposure.aim, feature.hole.v / 2), {}}});
  board.exposures.push_back(std::move(exposure));
}
void expose_disc(Board& board, FeatureId id, double diameter) {
  for (const Side side : kBothSides)
    expose(board, id, side, {{circle(board.features[id].at, diameter / 2), {}}}, diameter);
}

FeatureKind kind_of(unsigned die) {
  if (die < 4) return FeatureKind::smd_pad;
  return die < 9 ? FeatureKind::via : FeatureKind::lead;
}

void add_feature(Board& board, int number, std::mt19937& random) {
  auto along = [&](int step) {
    return std::round((step * kPitch + 0.001 * static_cast<double>(random() % 200)) * 1000) / 1000;
  };
  Feature feature;
  const double x = along(number % kColumns), y = along(number / kColumns);
  feature.at = {x, y};
  feature.name = PadName("F" + std::to_string(number));
  feature.net = board.nets.next();
  feature.kind = kind_of(static_cast<unsigned>(random() % 10));
  if (feature.kind == FeatureKind::via) feature.hole = Mm{0.3};
  if (feature.kind == FeatureKind::lead) feature.hole = Mm{0.8};
  const BoardPoint at = feature.at;
  const FeatureKind kind = feature.kind;
  const FeatureId id = board.features.add(std::move(feature));
  Net net;
  net.name = NetName("N" + std::to_string(number));
  net.features = {id};
  net.pins = 2;
  board.nets.push_back(std::move(net));
  if (kind == FeatureKind::smd_pad) {
    const double width = 0.6 + 0.1 * static_cast<double>(random() % 4);
    const double height = 0.7 + 0.1 * static_cast<double>(random() % 3);
    const Side side = random() % 2 ? Side::top : Side::bottom;
    expose(board, id, side, {{rectangle(at, width, height), {}}}, std::min(width, height));
  } else if (kind == FeatureKind::lead) {
    expose_disc(board, id, 1.2);
  } else if (random() % 2) {
    expose_disc(board, id, 0.7);
  }
}

Component made_body(int number, std::mt19937& random) {
  auto share = [&] { return static_cast<double>(random() % 10000) / 10000; };
  auto up_to = [&](unsigned below) { return 1 + static_cast<double>(random() % below); };
  Component body;
  body.name = PartName("U" + std::to_string(number));
  const double x = kWidth * share(), y = kHeight * share(), width = up_to(3), height = up_to(3);
  body.body = {{rectangle({x, y}, width, height), {}}};
  body.height = Mm{up_to(8)};
  body.side = random() % 2 ? Side::top : Side::bottom;
  body.side_known = Known::confirmed;
  body.height_known = Known::confirmed;
  body.body_known = Known::confirmed;
  if (number % 2) body.outline_by = "drawn";
  return body;
}

Board make_board() {
  Board board;
  board.outline = {{{-5, -5}, {kWidth + 5, -5}, {kWidth + 5, kHeight + 5}, {-5, kHeight + 5}}, {}};
  board.pieces = {board.outline};
  std::mt19937 random(1);
  for (const BoardPoint place : {BoardPoint{-2, -2}, BoardPoint{kWidth + 2, kHeight + 2}}) {
    BoardHole hole;
    hole.at = place;
    hole.end = place;
    hole.diameter = Mm{3.2};
    hole.plating = formats::Plating::unplated;
    board.tooling.push_back(board.holes.add(hole));
  }
  for (int i = 0; i < kColumns * kRows; ++i) add_feature(board, i, random);
  // One body to twenty features, half of them drawn.
  for (int i = 0; i < kColumns * kRows / 20; ++i) board.components.push_back(made_body(i, random));
  return board;
}

/// Miss by Boost's Owen's T, edge by edge.
double reference_miss(const Polygons& area, const Covariance& error) {
  const double l11 = std::sqrt(error.xx), l21 = error.xy / l11, l22 = std::sqrt(error.yy - l21 * l21);
  const auto white = [&](Point p) { return Point{p.x / l11, (p.y - l21 * p.x / l11) / l22}; };
  double sum = 0;
  for (const Polygon& polygon : area)
    for (std::size_t i = 0; i < polygon.outer.size(); ++i) {
      const Point from = white(polygon.outer[i]);
      const Point edge = white(polygon.outer[(i + 1) % polygon.outer.size()]) - from;
      const double size = length(edge), h = cross(from, edge) / size;
      const double begin = dot(from, edge) / size, end = begin + size;
      sum += boost::math::owens_t(h, end / h) - boost::math::owens_t(h, begin / h);
    }
  return sum;
}

struct Reference {
  double seconds = 0, sum = 0;
  std::size_t done = 0;
};
/// The same odds at every twentieth aim point, on one thread.
Reference by_reference(const Board& board, const Access& access, const Catalogue& catalogue, const Rules& rules) {
  Reference reference;
  const auto start = std::chrono::steady_clock::now();
  for (std::size_t i = 0; i < access.spots.size(); i += 20) {
    const SpotId id{i};
    const Spot& spot = access.spots[id];
    const Exposure& exposure = board.exposures[access.targets[spot.target].exposure];
    for (const ClassId probe : catalogue.classes.ids())
      for (const bool main_side : {true, false}) {
        if (!access.verdict(id, probe, main_side).open) continue;
        const Covariance error =
            error_budget(board, rules, catalogue.classes[probe], exposure, spot.at, main_side).total();
        reference.sum += reference_miss(access.shapes[spot.shape].landing[probe], error);
        ++reference.done;
      }
  }
  reference.seconds = seconds_since(start);
  return reference;
}
}  // namespace

int main() {
  const Board board = make_board();
  Diagnostics diagnostics;
  const Rules rules = read_rules(*shipped("rules", "standard"), "rules", diagnostics);
  const Catalogue catalogue = read_catalogue(*shipped("catalogues", "standard"), "catalogue", diagnostics);
  const Job job;
  judge(make_board(), job, catalogue, rules);  // tables and caches warm
  const auto start = std::chrono::steady_clock::now();
  const Access access = judge(board, job, catalogue, rules);
  const double ours = seconds_since(start);
  std::size_t open = 0;
  for (const Verdict& verdict : access.verdicts) open += verdict.open;
  const Reference reference = by_reference(board, access, catalogue, rules);
  const double scaled = reference.seconds / static_cast<double>(reference.done) * static_cast<double>(open);
  std::printf("features %zu, targets %zu, aim points %zu, shapes %zu, verdicts %zu, open %zu, threads %u\n",
              board.features.size(), access.targets.size(), access.spots.size(), access.shapes.size(),
              access.verdicts.size(), open, thread_count());
  // The sum is printed so that the reference's work cannot be left out by the compiler.
  std::printf(
      "verdicts and odds: %.3f s; odds of the open ones alone by Boost's Owen's T, one thread (every twentieth, "
      "scaled): %.3f s; ratio %.2f (%g)\n",
      ours, scaled, scaled / ours, reference.sum > 0 ? 1.0 : 0.0);
  return 0;
}
