// Pixels to the board frame by least squares over named reference points.
#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "teasel/board/bench.h"
#include "teasel/enums.h"

namespace teasel {

namespace {
constexpr Mm kUnproven{0.2};       // of a reading where no residual tells (from memory: a ruler read by eye)
constexpr double kLine = 0.02;     // width against length of a cloud of points that counts as a line
constexpr double kRareSlip = 100;  // one reading in so many is a slip of the pen (from memory)
constexpr int kFreedom = 4;        // degrees of freedom that a fit without slips must keep
constexpr double kUnsure =
    6;  // Schwarz's criterion: rivals nearer than this are not ruled out (Kass and Raftery, JASA 90, 1995)

struct ModelRow {
  PhotoModel id{};
  const char* name;
  int parameters;
  std::size_t least_points;
};
constexpr Rows<PhotoModel, ModelRow> kModels{{{PhotoModel::similarity, "similarity", 4, 2},
                                              {PhotoModel::affine, "affine", 6, 3},
                                              {PhotoModel::projective, "projective", 8, 4}}};
int parameters(PhotoModel model) {
  return kModels[model].parameters;
}

/// Pixels centred and scaled, so that the normal equations are well conditioned.
struct Scaled {
  Point centre;
  double scale = 1;
  Point operator()(Point p) const { return (1 / scale) * (p - centre); }
};

struct Solution {
  PhotoModel model{};
  bool mirrored = false;  ///< similarity: with a reflection
  Eigen::VectorXd parameters_found;
  double ssr = 1e300;
};

/// Similarity: x = a u - s b v + c, y = b u + s a v + d with s = 1, or -1 mirrored. Affine, projective: rows of the
/// map.
Point apply(const Solution& solution, Point q) {
  const auto& p = solution.parameters_found;
  if (solution.model == PhotoModel::similarity) {
    const double k = solution.mirrored ? -1 : 1;
    return {p[0] * q.x - k * p[1] * q.y + p[2], p[1] * q.x + k * p[0] * q.y + p[3]};
  }
  const double w = solution.model == PhotoModel::projective ? p[6] * q.x + p[7] * q.y + 1 : 1;
  return {(p[0] * q.x + p[1] * q.y + p[2]) / w, (p[3] * q.x + p[4] * q.y + p[5]) / w};
}

/// Derivatives of both coordinates by the parameters.
Eigen::MatrixXd derivative(const Solution& solution, Point q) {
  Eigen::MatrixXd j = Eigen::MatrixXd::Zero(2, parameters(solution.model));
  if (solution.model == PhotoModel::similarity) {
    const double k = solution.mirrored ? -1 : 1;
    j << q.x, -k * q.y, 1, 0, k * q.y, q.x, 0, 1;
    return j;
  }
  const double w = solution.model == PhotoModel::projective
                       ? solution.parameters_found[6] * q.x + solution.parameters_found[7] * q.y + 1
                       : 1;
  j(0, 0) = j(1, 3) = q.x / w;
  j(0, 1) = j(1, 4) = q.y / w;
  j(0, 2) = j(1, 5) = 1 / w;
  if (solution.model == PhotoModel::projective) {
    const Point at = apply(solution, q);
    j(0, 6) = -at.x * q.x / w;
    j(0, 7) = -at.x * q.y / w;
    j(1, 6) = -at.y * q.x / w;
    j(1, 7) = -at.y * q.y / w;
  }
  return j;
}

double sum_of_squares(const Solution& solution, const std::vector<Point>& from, const std::vector<Point>& to) {
  double sum = 0;
  for (std::size_t i = 0; i < from.size(); ++i) {
    const Point off = apply(solution, from[i]) - to[i];
    sum += dot(off, off);
  }
  return sum;
}

/// One Gauss-Newton step from s; for the linear models that is the solution.
bool step(Solution& solution, const std::vector<Point>& from, const std::vector<Point>& to) {
  const int count = parameters(solution.model);
  Eigen::MatrixXd matrix(2 * static_cast<Eigen::Index>(from.size()), count);
  Eigen::VectorXd right(matrix.rows());
  for (std::size_t i = 0; i < from.size(); ++i) {
    const auto row = 2 * static_cast<Eigen::Index>(i);
    matrix.middleRows(row, 2) = derivative(solution, from[i]);
    const Point off = to[i] - apply(solution, from[i]);
    right[row] = off.x;
    right[row + 1] = off.y;
  }
  const Eigen::ColPivHouseholderQR<Eigen::MatrixXd> qr(matrix);
  if (qr.rank() < count) return false;
  solution.parameters_found += qr.solve(right);
  return solution.parameters_found.allFinite();
}

/// True if the points lie so near to one line that a reflection about it fits as well.
bool on_one_line(const std::vector<Point>& points) {
  Point mean;
  for (Point p : points) mean = mean + (1.0 / static_cast<double>(points.size())) * p;
  double xx = 0, xy = 0, yy = 0;
  for (Point p : points) {
    xx += (p.x - mean.x) * (p.x - mean.x);
    xy += (p.x - mean.x) * (p.y - mean.y);
    yy += (p.y - mean.y) * (p.y - mean.y);
  }
  const double half = (xx + yy) / 2, root = std::sqrt((xx - yy) * (xx - yy) / 4 + xy * xy);
  return half - root < kLine * kLine * (half + root);
}

/// `mirrored`: of a similarity whose points lie on one line.
std::optional<Solution> solve(PhotoModel model, const std::vector<Point>& from, const std::vector<Point>& to,
                              std::optional<bool> given = {}) {
  if (from.size() < kModels[model].least_points) return std::nullopt;
  std::optional<Solution> best;
  for (bool mirrored : {false, true}) {
    if (mirrored && model != PhotoModel::similarity) break;
    if (given && model == PhotoModel::similarity && *given != mirrored) continue;
    Solution solution;
    solution.model = model;
    solution.mirrored = mirrored;
    solution.parameters_found = Eigen::VectorXd::Zero(parameters(model));
    if (model == PhotoModel::projective) {
      const auto affine = solve(PhotoModel::affine, from, to);
      if (!affine) return std::nullopt;
      solution.parameters_found.head(6) = affine->parameters_found;
    }
    for (int round = 0; round < (model == PhotoModel::projective ? 50 : 1); ++round) {
      const Eigen::VectorXd before = solution.parameters_found;
      if (!step(solution, from, to)) return best;
      if ((solution.parameters_found - before).norm() < 1e-12 * (1 + solution.parameters_found.norm())) break;
    }
    solution.ssr = sum_of_squares(solution, from, to);
    if (std::isfinite(solution.ssr) && (!best || solution.ssr < best->ssr)) best = solution;
  }
  return best;
}

/// Distances of points from fits that do not know them; empty where the others are too few.
std::vector<double> left_out(PhotoModel model, const std::vector<Point>& from, const std::vector<Point>& to,
                             std::optional<bool> mirrored) {
  std::vector<double> out;
  if (from.size() < kModels[model].least_points + 1) return out;
  for (std::size_t i = 0; i < from.size(); ++i) {
    std::vector<Point> others_from = from, others_to = to;
    others_from.erase(others_from.begin() + static_cast<std::ptrdiff_t>(i));
    others_to.erase(others_to.begin() + static_cast<std::ptrdiff_t>(i));
    const auto solution = solve(model, others_from, others_to, mirrored);
    if (!solution) return {};
    out.push_back(distance(apply(*solution, from[i]), to[i]));
  }
  return out;
}

/// One way to read the points: a map, and which of them are slips.
struct Hypothesis {
  Solution solution;
  std::vector<std::size_t> kept;
  double score = 1e300;
};

/// Schwarz's criterion for readings of unknown error, which is `least` at the least: each slip counts as two parameters
/// and as the choice of a rare point.
double score_of(const Solution& solution, std::size_t points, std::size_t slips, double least) {
  const double readings = 2.0 * static_cast<double>(points),
               freedom = std::max(1.0, 2.0 * static_cast<double>(points - slips) - parameters(solution.model));
  const double choice = 2 * static_cast<double>(slips) * std::log(static_cast<double>(points) * kRareSlip);
  return readings * std::log(solution.ssr / freedom + least * least) +
         (parameters(solution.model) + 2.0 * static_cast<double>(slips)) * std::log(readings) + choice;
}

/// Every map with no slip, one slip, ...: at each step the point goes without which the others agree best.
std::vector<Hypothesis> hypotheses(const std::vector<Point>& from, const std::vector<Point>& to,
                                   std::optional<PhotoModel> wanted, std::optional<bool> mirrored, double least,
                                   int least_freedom) {
  std::vector<Hypothesis> out;
  for (PhotoModel model : {PhotoModel::similarity, PhotoModel::affine, PhotoModel::projective}) {
    if (wanted && model != *wanted) continue;
    std::vector<std::size_t> kept(from.size());
    for (std::size_t i = 0; i < kept.size(); ++i) kept[i] = i;
    for (std::size_t slips = 0; slips <= from.size() / 4; ++slips) {
      const auto fit_without = [&](std::size_t leave) {
        std::vector<Point> others_from, others_to;
        for (std::size_t k : kept)
          if (k != leave) {
            others_from.push_back(from[k]);
            others_to.push_back(to[k]);
          }
        return solve(model, others_from, others_to, mirrored);
      };
      std::size_t leave = from.size();
      auto best = slips == 0 ? fit_without(leave) : std::optional<Solution>();
      if (slips > 0) {
        if (2 * (static_cast<int>(kept.size()) - 1) - parameters(model) < least_freedom) break;
        for (std::size_t k : kept)
          if (const auto solution = fit_without(k); solution && (!best || solution->ssr < best->ssr)) {
            best = solution;
            leave = k;
          }
      }
      if (!best) break;
      std::erase(kept, leave);
      out.push_back({*best, kept, score_of(*best, from.size(), slips, least)});
    }
  }
  std::stable_sort(out.begin(), out.end(), [](const Hypothesis& a, const Hypothesis& b) { return a.score < b.score; });
  return out;
}

Scaled scaled_to(const std::vector<formats::ReferenceRow>& rows) {
  Scaled scaled;
  for (const auto& row : rows) scaled.centre = scaled.centre + (1.0 / static_cast<double>(rows.size())) * row.pixel;
  scaled.scale = 1e-9;
  for (const auto& row : rows) scaled.scale = std::max(scaled.scale, distance(row.pixel, scaled.centre));
  return scaled;
}

/// Another map or other slips that explain the readings nearly as well as the best, in words; empty: there are none.
std::string rival_of(const std::vector<Hypothesis>& all, std::size_t points) {
  const Hypothesis& best = all[0];
  for (const Hypothesis& hypothesis : all)
    if (&hypothesis != &best && hypothesis.score < best.score + kUnsure &&
        (hypothesis.solution.model != best.solution.model || hypothesis.kept.size() != best.kept.size()))
      return std::string(to_string(hypothesis.solution.model)) +
             (hypothesis.kept.size() < points
                  ? ", with " + std::to_string(points - hypothesis.kept.size()) + " points left out"
                  : "");
  return {};
}

/// With two degrees of freedom a slip is only suspected: the point without which the others agree ten times better.
std::optional<std::size_t> suspect_of(const Hypothesis& best, const std::vector<Hypothesis>& all) {
  std::optional<std::size_t> suspect;
  for (const Hypothesis& hypothesis : all)
    if (hypothesis.kept.size() + 1 == best.kept.size() && hypothesis.solution.ssr < 0.01 * best.solution.ssr)
      for (std::size_t k : best.kept)
        if (std::find(hypothesis.kept.begin(), hypothesis.kept.end(), k) == hypothesis.kept.end()) suspect = k;
  return suspect;
}

std::vector<Point> picked(const std::vector<Point>& points, const std::vector<std::size_t>& kept) {
  std::vector<Point> out;
  for (std::size_t k : kept) out.push_back(points[k]);
  return out;
}

/// How far each point lies from a fit without it; slips from the fit of the others.
void tell_misses(PhotoFit& fit, const Hypothesis& best, const std::vector<Point>& from, const std::vector<Point>& to,
                 std::optional<bool> mirrored) {
  for (std::size_t k = 0; k < from.size(); ++k)
    if (std::find(best.kept.begin(), best.kept.end(), k) == best.kept.end()) {
      fit.points[k].outlier = true;
      fit.points[k].without = Mm{distance(apply(best.solution, from[k]), to[k])};
    }
  const std::vector<double> misses = left_out(fit.model, picked(from, best.kept), picked(to, best.kept), mirrored);
  for (std::size_t k = 0; k < best.kept.size() && k < misses.size(); ++k)
    fit.points[best.kept[k]].without = Mm{misses[k]};
}

/// Covariance of the parameters: sigma^2 (J'J)^-1.
void spread_of(PhotoFit& fit, const Solution& solution, const std::vector<Point>& from) {
  const int count = parameters(fit.model);
  Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(count, count);
  for (Point q : from) {
    const Eigen::MatrixXd j = derivative(solution, q);
    normal += j.transpose() * j;
  }
  const Eigen::MatrixXd covariance = fit.sigma.v * fit.sigma.v * normal.inverse();
  fit.covariance.resize(static_cast<std::size_t>(count) * static_cast<std::size_t>(count));
  for (int i = 0; i < count; ++i)
    for (int k = 0; k < count; ++k)
      fit.covariance[static_cast<std::size_t>(i) * static_cast<std::size_t>(count) + static_cast<std::size_t>(k)] =
          covariance(i, k);
}

/// The map in pixels, from that in scaled ones.
void map_of(PhotoFit& fit, const Solution& solution) {
  Eigen::Matrix3d scaled_map = Eigen::Matrix3d::Identity(), scaling;
  const auto& p = solution.parameters_found;
  if (fit.model == PhotoModel::similarity) {
    const double k = solution.mirrored ? -1 : 1;
    scaled_map << p[0], -k * p[1], p[2], p[1], k * p[0], p[3], 0, 0, 1;
  } else {
    scaled_map << p[0], p[1], p[2], p[3], p[4], p[5], fit.model == PhotoModel::projective ? p[6] : 0,
        fit.model == PhotoModel::projective ? p[7] : 0, 1;
  }
  scaling << 1 / fit.scale, 0, -fit.centre.x / fit.scale, 0, 1 / fit.scale, -fit.centre.y / fit.scale, 0, 0, 1;
  const Eigen::Matrix3d map = scaled_map * scaling;
  for (int i = 0; i < 3; ++i)
    for (int k = 0; k < 3; ++k) fit.map[3 * static_cast<std::size_t>(i) + static_cast<std::size_t>(k)] = map(i, k);
}
}  // namespace

const char* to_string(PhotoModel model) {
  return kModels[model].name;
}

BoardPoint PhotoFit::operator()(Point q) const {
  const double w = map[6] * q.x + map[7] * q.y + map[8];
  return {(map[0] * q.x + map[1] * q.y + map[2]) / w, (map[3] * q.x + map[4] * q.y + map[5]) / w};
}

Mm PhotoFit::scale_at(Point q) const {
  const Point a = (*this)(q), b = (*this)(q + Point{1, 0}), c = (*this)(q + Point{0, 1});
  return Mm{std::sqrt(std::abs(cross(b - a, c - a)))};
}

Mm PhotoFit::sigma_at(Point pixel) const {
  const int count = parameters(model);
  Solution solution;
  solution.model = model;
  solution.mirrored = from_top;
  const Point q = (1 / scale) * (pixel - centre);
  // Only projective derivatives hang on the parameters; they are found back from the map.
  solution.parameters_found = Eigen::VectorXd::Zero(count);
  if (model == PhotoModel::projective) {
    Eigen::Matrix3d pixel_map, scaling;
    pixel_map << map[0], map[1], map[2], map[3], map[4], map[5], map[6], map[7], map[8];
    scaling << scale, 0, centre.x, 0, scale, centre.y, 0, 0, 1;
    Eigen::Matrix3d scaled_map = pixel_map * scaling;
    scaled_map /= scaled_map(2, 2);
    solution.parameters_found << scaled_map(0, 0), scaled_map(0, 1), scaled_map(0, 2), scaled_map(1, 0),
        scaled_map(1, 1), scaled_map(1, 2), scaled_map(2, 0), scaled_map(2, 1);
  }
  const Eigen::MatrixXd j = derivative(solution, q);
  const Eigen::Map<const Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>> spread(
      covariance.data(), count, count);
  const Eigen::Matrix2d v = j * spread * j.transpose();
  return Mm{std::sqrt(sigma.v * sigma.v + v.trace() / 2)};
}

std::optional<PhotoFit> fit_photo(const std::string& photo, const std::vector<formats::ReferenceRow>& rows,
                                  std::optional<PhotoModel> wanted, Mm least, std::optional<bool> from_top) {
  PhotoFit fit;
  fit.photo = photo;
  const Scaled scaled = scaled_to(rows);
  std::vector<Point> from, to;
  for (const auto& row : rows) {
    fit.points.push_back({.name = row.point,
                          .pixel = row.pixel,
                          .board = row.board,
                          .residual = {},
                          .without = {},
                          .outlier = false,
                          .line = row.line});
    from.push_back(scaled(row.pixel));
    to.push_back(row.board);
  }
  std::optional<bool> mirrored;
  if (!from.empty() && on_one_line(from)) {
    if (!from_top) return std::nullopt;
    mirrored = *from_top;
    fit.side_given = true;
  }
  const std::vector<Hypothesis> all = hypotheses(from, to, wanted, mirrored, least.v, kFreedom);
  if (all.empty()) return std::nullopt;
  const Hypothesis& best = all[0];
  const Solution& solution = best.solution;
  fit.model = solution.model;
  fit.rival = rival_of(all, from.size());
  if (const auto suspect = suspect_of(best, hypotheses(from, to, solution.model, mirrored, least.v, 2)))
    fit.suspect = rows[*suspect].point;
  tell_misses(fit, best, from, to, mirrored);
  const int freedom = 2 * static_cast<int>(best.kept.size()) - parameters(fit.model);
  fit.rms = Mm{std::sqrt(solution.ssr / static_cast<double>(best.kept.size()))};
  fit.proven = freedom >= 2;
  fit.sigma = std::max(least, fit.proven ? Mm{std::sqrt(solution.ssr / freedom)} : kUnproven);
  fit.centre = scaled.centre;
  fit.scale = scaled.scale;
  spread_of(fit, solution, picked(from, best.kept));
  map_of(fit, solution);
  const Point a = fit(fit.centre), b = fit(fit.centre + Point{1, 0}), c = fit(fit.centre + Point{0, 1});
  fit.from_top = cross(b - a, c - a) < 0;  // pixels count downwards, the board's y upwards
  for (PhotoPoint& point : fit.points) point.residual = fit(point.pixel) - point.board;
  return fit;
}

}  // namespace teasel
