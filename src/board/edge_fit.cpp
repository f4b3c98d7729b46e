// The outline against the copper: poured areas keep one distance from all edges, so that a shifted edge shows.
#include <algorithm>
#include <array>
#include <cmath>
#include <map>

#include "build.h"
#include "teasel/words.h"

namespace teasel {

namespace {
/// Faces of the edge, by the way they look out of the board.
enum class Face { left, right, bottom, top };
constexpr std::array kFaces{Face::left, Face::right, Face::bottom, Face::top};

std::optional<Face> face_of(Point outward) {
  constexpr double kUpright = 0.999;  // slanted edges and corners say nothing simple
  if (outward.x < -kUpright) return Face::left;
  if (outward.x > kUpright) return Face::right;
  if (outward.y < -kUpright) return Face::bottom;
  if (outward.y > kUpright) return Face::top;
  return std::nullopt;
}

bool dark(const Layers& layers, Point at) {
  return std::any_of(kBothSides.begin(), kBothSides.end(), [&](Side side) {
    return std::any_of(layers.copper[side].begin(), layers.copper[side].end(),
                       [&](const LayerImage& image) { return image.dark(at); });
  });
}

/// mm from the edge to the first copper on the way into the board; negative beyond the edge.
std::optional<double> distance_to_copper(const Layers& layers, Point edge, Point outward) {
  constexpr double kBefore = 1.0, kBehind = 2.0, kStep = 0.05, kFine = 0.002;
  double clear = -kBefore;
  if (dark(layers, edge - clear * outward)) return std::nullopt;
  while (clear < kBehind) {
    double met = clear + kStep;
    if (!dark(layers, edge - met * outward)) {
      clear = met;
      continue;
    }
    while (met - clear > kFine) {
      const double middle = 0.5 * (met + clear);
      (dark(layers, edge - middle * outward) ? met : clear) = middle;
    }
    return met;
  }
  return std::nullopt;
}

/// The distance that much of a face keeps; nothing where its copper keeps none.
std::optional<double> kept(std::vector<double>& distances, std::size_t asked) {
  constexpr std::size_t kEnough = 10;
  constexpr double kSame = 0.02, kShare = 0.4;
  if (distances.size() < kEnough) return std::nullopt;
  std::sort(distances.begin(), distances.end());
  std::size_t best = 0, begin = 0;
  double at = 0;
  for (std::size_t end = 0; end < distances.size(); ++end) {
    while (distances[end] - distances[begin] > kSame) ++begin;
    if (end - begin + 1 <= best) continue;
    best = end - begin + 1;
    at = 0.5 * (distances[begin] + distances[end]);
  }
  if (static_cast<double>(best) < kShare * static_cast<double>(asked)) return std::nullopt;
  return at;
}

std::optional<EdgeFit> edge_fit(const Board& board, const Layers& layers) {
  constexpr double kPitch = 1.0, kShortest = 3.0;  // mm
  std::map<Face, std::vector<double>> distances;
  std::map<Face, std::size_t> asked;
  const Ring& ring = board.outline.outer;
  const double turn = signed_area(ring) > 0 ? 1 : -1;
  for (std::size_t i = 0; i < ring.size(); ++i) {
    const Point from = ring[i], along = ring[(i + 1) % ring.size()] - from;
    const double size = length(along);
    if (size < kShortest) continue;
    const Point way = (1 / size) * along, outward{turn * way.y, -turn * way.x};
    const auto face = face_of(outward);
    if (!face) continue;
    const int steps = static_cast<int>(std::ceil(size / kPitch - 0.5));
    for (int step = 1; step < steps; ++step) {
      ++asked[*face];
      if (const auto found = distance_to_copper(layers, from + step * kPitch * way, outward))
        distances[*face].push_back(*found);
    }
  }
  EdgeFit fit;
  for (const Face face : kFaces) {
    const auto distance = kept(distances[face], asked[face]);
    if (!distance) return std::nullopt;
    fit.kept[static_cast<std::size_t>(face)] = *distance;
  }
  const auto& [left, right, bottom, top] = fit.kept;
  constexpr double kOne = 0.03;  // mm, within which the four are one
  if (std::abs((left + right) - (bottom + top)) > 2 * kOne) return std::nullopt;
  fit.clearance = Mm{0.25 * (left + right + bottom + top)};
  fit.shift = {0.5 * (left - right), 0.5 * (bottom - top)};
  return fit;
}

}  // namespace

std::optional<EdgeFit> check_edge_fit(const Board& board, const Layers& layers, const Job& job,
                                      Diagnostics& diagnostics) {
  constexpr double kMoved = 0.05;  // mm
  const auto fit = edge_fit(board, layers);
  if (!fit || length(fit->shift) < kMoved) return fit;
  auto mm = [](double value) { return short_number(value, 2); };
  diagnostics.warn({.code = "check-outline-shifted",
                    .at = {job.inputs.outline_file, 0, 0, {}},
                    .message = "the copper keeps " + mm(fit->kept[0]) + " mm from the left edge, " + mm(fit->kept[1]) +
                               " from the right, " + mm(fit->kept[2]) + " from the lower and " + mm(fit->kept[3]) +
                               " from the upper",
                    .found = "an outline moved by (" + mm(fit->shift.x) + ", " + mm(fit->shift.y) +
                             ") mm would leave " + mm(fit->clearance.v) +
                             " mm on all sides: the file may be shifted by that much",
                    .remedy = "compare a mounting hole's distance from the edge with the drawing"});
  return fit;
}

}  // namespace teasel
