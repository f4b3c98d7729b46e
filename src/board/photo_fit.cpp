// Pixels to the board frame by least squares over named reference points.
#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "teasel/board/bench.h"

namespace teasel {

namespace {
constexpr double kUnproven = 0.2;   // mm; of a reading where no residual tells (from memory: a ruler read by eye)
constexpr double kLeastFreedom = 4;
constexpr double kLine = 0.02;      // width against length of a cloud of points that counts as a line
constexpr double kBetter = 0.8;     // a richer model must bring the left-out distances down to this share

int parameters(PhotoModel m) { return m == PhotoModel::similarity ? 4 : m == PhotoModel::affine ? 6 : 8; }
std::size_t least_points(PhotoModel m) { return m == PhotoModel::similarity ? 2 : m == PhotoModel::affine ? 3 : 4; }

/// Pixels centred and scaled, so that the normal equations are well conditioned.
struct Scaled {
  Point centre;
  double scale = 1;
  Point operator()(Point p) const { return (1 / scale) * (p - centre); }
};

struct Solution {
  PhotoModel model{};
  bool mirrored = false;   ///< similarity: with a reflection
  Eigen::VectorXd p;
  double ssr = 1e300;
};

/// Similarity: x = a u - s b v + c, y = b u + s a v + d with s = 1, or -1 mirrored. Affine, projective: rows of the map.
Point apply(const Solution& s, Point q) {
  const auto& p = s.p;
  if (s.model == PhotoModel::similarity) {
    const double k = s.mirrored ? -1 : 1;
    return {p[0] * q.x - k * p[1] * q.y + p[2], p[1] * q.x + k * p[0] * q.y + p[3]};
  }
  const double w = s.model == PhotoModel::projective ? p[6] * q.x + p[7] * q.y + 1 : 1;
  return {(p[0] * q.x + p[1] * q.y + p[2]) / w, (p[3] * q.x + p[4] * q.y + p[5]) / w};
}

/// Derivatives of both coordinates by the parameters.
Eigen::MatrixXd derivative(const Solution& s, Point q) {
  Eigen::MatrixXd j = Eigen::MatrixXd::Zero(2, parameters(s.model));
  if (s.model == PhotoModel::similarity) {
    const double k = s.mirrored ? -1 : 1;
    j << q.x, -k * q.y, 1, 0, k * q.y, q.x, 0, 1;
    return j;
  }
  const double w = s.model == PhotoModel::projective ? s.p[6] * q.x + s.p[7] * q.y + 1 : 1;
  j(0, 0) = j(1, 3) = q.x / w, j(0, 1) = j(1, 4) = q.y / w, j(0, 2) = j(1, 5) = 1 / w;
  if (s.model == PhotoModel::projective) {
    const Point at = apply(s, q);
    j(0, 6) = -at.x * q.x / w, j(0, 7) = -at.x * q.y / w, j(1, 6) = -at.y * q.x / w, j(1, 7) = -at.y * q.y / w;
  }
  return j;
}

double sum_of_squares(const Solution& s, const std::vector<Point>& from, const std::vector<Point>& to) {
  double sum = 0;
  for (std::size_t i = 0; i < from.size(); ++i) {
    const Point r = apply(s, from[i]) - to[i];
    sum += dot(r, r);
  }
  return sum;
}

/// One Gauss-Newton step from s; for the linear models that is the solution.
bool step(Solution& s, const std::vector<Point>& from, const std::vector<Point>& to) {
  const int n = parameters(s.model);
  Eigen::MatrixXd a(2 * static_cast<Eigen::Index>(from.size()), n);
  Eigen::VectorXd b(a.rows());
  for (std::size_t i = 0; i < from.size(); ++i) {
    const auto row = 2 * static_cast<Eigen::Index>(i);
    a.middleRows(row, 2) = derivative(s, from[i]);
    const Point r = to[i] - apply(s, from[i]);
    b[row] = r.x, b[row + 1] = r.y;
  }
  const Eigen::ColPivHouseholderQR<Eigen::MatrixXd> qr(a);
  if (qr.rank() < n) return false;
  s.p += qr.solve(b);
  return s.p.allFinite();
}

/// True if the points lie so near to one line that a reflection about it fits as well.
bool on_one_line(const std::vector<Point>& points) {
  Point mean;
  for (Point p : points) mean = mean + (1.0 / static_cast<double>(points.size())) * p;
  double xx = 0, xy = 0, yy = 0;
  for (Point p : points) xx += (p.x - mean.x) * (p.x - mean.x), xy += (p.x - mean.x) * (p.y - mean.y), yy += (p.y - mean.y) * (p.y - mean.y);
  const double half = (xx + yy) / 2, root = std::sqrt((xx - yy) * (xx - yy) / 4 + xy * xy);
  return half - root < kLine * kLine * (half + root);
}

/// `mirrored`: of a similarity whose points lie on one line.
std::optional<Solution> solve(PhotoModel model, const std::vector<Point>& from, const std::vector<Point>& to, std::optional<bool> given = {}) {
  if (from.size() < least_points(model)) return std::nullopt;
  std::optional<Solution> best;
  for (bool mirrored : {false, true}) {
    if (mirrored && model != PhotoModel::similarity) break;
    if (given && model == PhotoModel::similarity && *given != mirrored) continue;
    Solution s;
    s.model = model, s.mirrored = mirrored;
    s.p = Eigen::VectorXd::Zero(parameters(model));
    if (model == PhotoModel::projective) {
      const auto affine = solve(PhotoModel::affine, from, to);
      if (!affine) return std::nullopt;
      s.p.head(6) = affine->p;
    }
    for (int round = 0; round < (model == PhotoModel::projective ? 50 : 1); ++round) {
      const Eigen::VectorXd before = s.p;
      if (!step(s, from, to)) return best;
      if ((s.p - before).norm() < 1e-12 * (1 + s.p.norm())) break;
    }
    s.ssr = sum_of_squares(s, from, to);
    if (std::isfinite(s.ssr) && (!best || s.ssr < best->ssr)) best = s;
  }
  return best;
}

/// Distances of points from fits that do not know them; empty where the others are too few.
std::vector<double> left_out(PhotoModel model, const std::vector<Point>& from, const std::vector<Point>& to, std::optional<bool> mirrored, std::vector<double>* rms_of_others = nullptr) {
  std::vector<double> out;
  if (from.size() < least_points(model) + 1) return out;
  for (std::size_t i = 0; i < from.size(); ++i) {
    std::vector<Point> f = from, t = to;
    f.erase(f.begin() + static_cast<std::ptrdiff_t>(i)), t.erase(t.begin() + static_cast<std::ptrdiff_t>(i));
    const auto s = solve(model, f, t, mirrored);
    if (!s) return {};
    out.push_back(distance(apply(*s, from[i]), to[i]));
    const double freedom = 2.0 * static_cast<double>(f.size()) - parameters(model);
    if (rms_of_others) rms_of_others->push_back(freedom > 0 ? std::sqrt(s->ssr / freedom) : 0);
  }
  return out;
}

double root_mean_square(const std::vector<double>& v) {
  double sum = 0;
  for (double x : v) sum += x * x;
  return std::sqrt(sum / static_cast<double>(v.size()));
}

PhotoModel choose(const std::vector<Point>& from, const std::vector<Point>& to, std::optional<bool> mirrored) {
  PhotoModel best = PhotoModel::similarity;
  std::vector<double> so_far = left_out(best, from, to, mirrored);
  for (PhotoModel m : {PhotoModel::affine, PhotoModel::projective}) {
    const std::vector<double> d = left_out(m, from, to, mirrored);
    if (so_far.empty() || d.empty()) break;
    if (root_mean_square(d) < kBetter * root_mean_square(so_far)) best = m, so_far = d;
  }
  return best;
}
/// Covariance of the parameters: sigma^2 (J'J)^-1.
void spread_of(PhotoFit& fit, const Solution& s, const std::vector<Point>& from) {
  const int n = parameters(fit.model);
  Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(n, n);
  for (Point q : from) {
    const Eigen::MatrixXd j = derivative(s, q);
    normal += j.transpose() * j;
  }
  const Eigen::MatrixXd covariance = fit.sigma * fit.sigma * normal.inverse();
  fit.covariance.resize(static_cast<std::size_t>(n * n));
  for (int i = 0; i < n; ++i)
    for (int k = 0; k < n; ++k) fit.covariance[static_cast<std::size_t>(i * n + k)] = covariance(i, k);
}

/// The map in pixels, from that in scaled ones.
void map_of(PhotoFit& fit, const Solution& s) {
  Eigen::Matrix3d h = Eigen::Matrix3d::Identity(), t;
  const auto& p = s.p;
  if (fit.model == PhotoModel::similarity) {
    const double k = s.mirrored ? -1 : 1;
    h << p[0], -k * p[1], p[2], p[1], k * p[0], p[3], 0, 0, 1;
  } else {
    h << p[0], p[1], p[2], p[3], p[4], p[5], fit.model == PhotoModel::projective ? p[6] : 0, fit.model == PhotoModel::projective ? p[7] : 0, 1;
  }
  t << 1 / fit.scale, 0, -fit.centre.x / fit.scale, 0, 1 / fit.scale, -fit.centre.y / fit.scale, 0, 0, 1;
  const Eigen::Matrix3d map = h * t;
  for (int i = 0; i < 3; ++i)
    for (int k = 0; k < 3; ++k) fit.map[static_cast<std::size_t>(3 * i + k)] = map(i, k);
}
}  // namespace

const char* to_string(PhotoModel m) { return m == PhotoModel::similarity ? "similarity" : m == PhotoModel::affine ? "affine" : "projective"; }

Point PhotoFit::operator()(Point q) const {
  const double w = map[6] * q.x + map[7] * q.y + map[8];
  return {(map[0] * q.x + map[1] * q.y + map[2]) / w, (map[3] * q.x + map[4] * q.y + map[5]) / w};
}

double PhotoFit::scale_at(Point q) const {
  const Point a = (*this)(q), b = (*this)(q + Point{1, 0}), c = (*this)(q + Point{0, 1});
  return std::sqrt(std::abs(cross(b - a, c - a)));
}

double PhotoFit::sigma_at(Point pixel) const {
  const int n = parameters(model);
  Solution s;
  s.model = model, s.mirrored = from_top;
  const Point q = (1 / scale) * (pixel - centre);
  // Only projective derivatives hang on the parameters; they are found back from the map.
  s.p = Eigen::VectorXd::Zero(n);
  if (model == PhotoModel::projective) {
    Eigen::Matrix3d m, t;
    m << map[0], map[1], map[2], map[3], map[4], map[5], map[6], map[7], map[8];
    t << scale, 0, centre.x, 0, scale, centre.y, 0, 0, 1;
    Eigen::Matrix3d h = m * t;
    h /= h(2, 2);
    s.p << h(0, 0), h(0, 1), h(0, 2), h(1, 0), h(1, 1), h(1, 2), h(2, 0), h(2, 1);
  }
  const Eigen::MatrixXd j = derivative(s, q);
  const Eigen::Map<const Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>> c(covariance.data(), n, n);
  const Eigen::Matrix2d v = j * c * j.transpose();
  return std::sqrt(sigma * sigma + v.trace() / 2);
}

std::optional<PhotoFit> fit_photo(const std::string& photo, const std::vector<formats::ReferenceRow>& rows, std::optional<PhotoModel> wanted, double least, std::optional<bool> from_top) {
  PhotoFit fit;
  fit.photo = photo;
  Scaled scaled;
  for (const auto& r : rows) scaled.centre = scaled.centre + (1.0 / static_cast<double>(rows.size())) * r.pixel;
  scaled.scale = 1e-9;
  for (const auto& r : rows) scaled.scale = std::max(scaled.scale, distance(r.pixel, scaled.centre));
  for (const auto& r : rows) fit.points.push_back({r.point, r.pixel, r.board, {}, 0, false, r.line});

  std::vector<std::size_t> kept(rows.size());
  for (std::size_t i = 0; i < kept.size(); ++i) kept[i] = i;
  std::vector<Point> from, to;
  auto gather = [&] {
    from.clear(), to.clear();
    for (std::size_t i : kept) from.push_back(scaled(rows[i].pixel)), to.push_back(rows[i].board);
  };
  gather();
  std::optional<bool> mirrored;
  if (!from.empty() && on_one_line(from)) {
    if (!from_top) return std::nullopt;
    mirrored = *from_top, fit.side_given = true;
  }
  fit.model = wanted.value_or(PhotoModel::similarity);
  for (std::size_t dropped = 0; dropped <= rows.size() / 4; ++dropped) {
    std::vector<double> rms;
    const std::vector<double> d = left_out(fit.model, from, to, mirrored, &rms);
    const double freedom = 2.0 * (static_cast<double>(from.size()) - 1) - parameters(fit.model);
    if (d.empty() || freedom < kLeastFreedom) break;
    // With few degrees of freedom what the others leave is itself uncertain.
    const double most = kOutlier * (1 + 4 / freedom);
    std::size_t worst = 0;
    for (std::size_t i = 1; i < d.size(); ++i)
      if (d[i] / std::max(rms[i], least) > d[worst] / std::max(rms[worst], least)) worst = i;
    if (d[worst] <= most * std::max(rms[worst], least)) {
      // No point stands out: now the model may grow, and is looked at once more.
      const PhotoModel better = wanted ? fit.model : choose(from, to, mirrored);
      if (better == fit.model) break;
      fit.model = better;
      continue;
    }
    // A bent picture makes points stand out as well: a richer model that takes them all in is believed first.
    if (!wanted) {
      if (const PhotoModel better = choose(from, to, mirrored); better != fit.model) {
        fit.model = better;
        continue;
      }
    }
    fit.points[kept[worst]].outlier = true, fit.points[kept[worst]].without = d[worst];
    kept.erase(kept.begin() + static_cast<std::ptrdiff_t>(worst));
    gather();
  }
  const auto s = solve(fit.model, from, to, mirrored);
  if (!s) return std::nullopt;
  const std::vector<double> d = left_out(fit.model, from, to, mirrored);
  for (std::size_t k = 0; k < kept.size() && k < d.size(); ++k) fit.points[kept[k]].without = d[k];
  const int freedom = 2 * static_cast<int>(from.size()) - parameters(fit.model);
  fit.rms = std::sqrt(s->ssr / static_cast<double>(from.size()));
  fit.proven = freedom >= 2;
  fit.sigma = fit.proven ? std::max(least, std::sqrt(s->ssr / freedom)) : std::max(least, kUnproven);
  fit.centre = scaled.centre, fit.scale = scaled.scale;
  spread_of(fit, *s, from);
  map_of(fit, *s);
  const Point a = fit(fit.centre), b = fit(fit.centre + Point{1, 0}), c = fit(fit.centre + Point{0, 1});
  fit.from_top = cross(b - a, c - a) < 0;  // pixels count downwards, the board's y upwards
  for (PhotoPoint& q : fit.points) q.residual = fit(q.pixel) - q.board;
  return fit;
}

}  // namespace teasel
