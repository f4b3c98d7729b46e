// Pixels to the board frame by least squares over named reference points.
#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "teasel/board/bench.h"

namespace teasel {

namespace {
constexpr double kUnproven = 0.2;  // mm; of a reading where no residual tells (from memory: a ruler read by eye)
constexpr double kLine = 0.02;     // width against length of a cloud of points that counts as a line
constexpr double kRareSlip = 100;  // one reading in so many is a slip of the pen (from memory)
constexpr int kFreedom = 4;        // degrees of freedom that a fit without slips must keep
constexpr double kUnsure =
    6;  // Schwarz's criterion: rivals nearer than this are not ruled out (Kass and Raftery, JASA 90, 1995)

int parameters(PhotoModel m) {
  return m == PhotoModel::similarity ? 4 : m == PhotoModel::affine ? 6 : 8;
}
std::size_t least_points(PhotoModel m) {
  return m == PhotoModel::similarity ? 2 : m == PhotoModel::affine ? 3 : 4;
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
  Eigen::VectorXd p;
  double ssr = 1e300;
};

/// Similarity: x = a u - s b v + c, y = b u + s a v + d with s = 1, or -1 mirrored. Affine, projective: rows of the
/// map.
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
  j(0, 0) = j(1, 3) = q.x / w;
  j(0, 1) = j(1, 4) = q.y / w;
  j(0, 2) = j(1, 5) = 1 / w;
  if (s.model == PhotoModel::projective) {
    const Point at = apply(s, q);
    j(0, 6) = -at.x * q.x / w;
    j(0, 7) = -at.x * q.y / w;
    j(1, 6) = -at.y * q.x / w;
    j(1, 7) = -at.y * q.y / w;
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
    b[row] = r.x;
    b[row + 1] = r.y;
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
  if (from.size() < least_points(model)) return std::nullopt;
  std::optional<Solution> best;
  for (bool mirrored : {false, true}) {
    if (mirrored && model != PhotoModel::similarity) break;
    if (given && model == PhotoModel::similarity && *given != mirrored) continue;
    Solution s;
    s.model = model;
    s.mirrored = mirrored;
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
std::vector<double> left_out(PhotoModel model, const std::vector<Point>& from, const std::vector<Point>& to,
                             std::optional<bool> mirrored) {
  std::vector<double> out;
  if (from.size() < least_points(model) + 1) return out;
  for (std::size_t i = 0; i < from.size(); ++i) {
    std::vector<Point> f = from, t = to;
    f.erase(f.begin() + static_cast<std::ptrdiff_t>(i));
    t.erase(t.begin() + static_cast<std::ptrdiff_t>(i));
    const auto s = solve(model, f, t, mirrored);
    if (!s) return {};
    out.push_back(distance(apply(*s, from[i]), to[i]));
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
double score_of(const Solution& s, std::size_t points, std::size_t slips, double least) {
  const double n = 2.0 * static_cast<double>(points),
               freedom = std::max(1.0, 2.0 * static_cast<double>(points - slips) - parameters(s.model));
  const double choice = 2 * static_cast<double>(slips) * std::log(static_cast<double>(points) * kRareSlip);
  return n * std::log(s.ssr / freedom + least * least) +
         (parameters(s.model) + 2.0 * static_cast<double>(slips)) * std::log(n) + choice;
}

/// Every map with no slip, one slip, ...: at each step the point goes without which the others agree best.
std::vector<Hypothesis> hypotheses(const std::vector<Point>& from, const std::vector<Point>& to,
                                   std::optional<PhotoModel> wanted, std::optional<bool> mirrored, double least,
                                   int least_freedom) {
  std::vector<Hypothesis> out;
  for (PhotoModel m : {PhotoModel::similarity, PhotoModel::affine, PhotoModel::projective}) {
    if (wanted && m != *wanted) continue;
    std::vector<std::size_t> kept(from.size());
    for (std::size_t i = 0; i < kept.size(); ++i) kept[i] = i;
    for (std::size_t slips = 0; slips <= from.size() / 4; ++slips) {
      const auto fit_without = [&](std::size_t leave) {
        std::vector<Point> f, t;
        for (std::size_t k : kept)
          if (k != leave) {
            f.push_back(from[k]);
            t.push_back(to[k]);
          }
        return solve(m, f, t, mirrored);
      };
      std::size_t leave = from.size();
      auto best = slips == 0 ? fit_without(leave) : std::optional<Solution>();
      if (slips > 0) {
        if (2 * (static_cast<int>(kept.size()) - 1) - parameters(m) < least_freedom) break;
        for (std::size_t k : kept)
          if (const auto s = fit_without(k); s && (!best || s->ssr < best->ssr)) {
            best = s;
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

/// Covariance of the parameters: sigma^2 (J'J)^-1.
void spread_of(PhotoFit& fit, const Solution& s, const std::vector<Point>& from) {
  const int n = parameters(fit.model);
  Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(n, n);
  for (Point q : from) {
    const Eigen::MatrixXd j = derivative(s, q);
    normal += j.transpose() * j;
  }
  const Eigen::MatrixXd covariance = fit.sigma * fit.sigma * normal.inverse();
  fit.covariance.resize(static_cast<std::size_t>(n) * static_cast<std::size_t>(n));
  for (int i = 0; i < n; ++i)
    for (int k = 0; k < n; ++k)
      fit.covariance[static_cast<std::size_t>(i) * static_cast<std::size_t>(n) + static_cast<std::size_t>(k)] =
          covariance(i, k);
}

/// The map in pixels, from that in scaled ones.
void map_of(PhotoFit& fit, const Solution& s) {
  Eigen::Matrix3d h = Eigen::Matrix3d::Identity(), t;
  const auto& p = s.p;
  if (fit.model == PhotoModel::similarity) {
    const double k = s.mirrored ? -1 : 1;
    h << p[0], -k * p[1], p[2], p[1], k * p[0], p[3], 0, 0, 1;
  } else {
    h << p[0], p[1], p[2], p[3], p[4], p[5], fit.model == PhotoModel::projective ? p[6] : 0,
        fit.model == PhotoModel::projective ? p[7] : 0, 1;
  }
  t << 1 / fit.scale, 0, -fit.centre.x / fit.scale, 0, 1 / fit.scale, -fit.centre.y / fit.scale, 0, 0, 1;
  const Eigen::Matrix3d map = h * t;
  for (int i = 0; i < 3; ++i)
    for (int k = 0; k < 3; ++k) fit.map[3 * static_cast<std::size_t>(i) + static_cast<std::size_t>(k)] = map(i, k);
}
}  // namespace

const char* to_string(PhotoModel m) {
  return m == PhotoModel::similarity ? "similarity" : m == PhotoModel::affine ? "affine" : "projective";
}

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
  s.model = model;
  s.mirrored = from_top;
  const Point q = (1 / scale) * (pixel - centre);
  // Only projective derivatives hang on the parameters; they are found back from the map.
  s.p = Eigen::VectorXd::Zero(n);
  if (model == PhotoModel::projective) {
    Eigen::Matrix3d m, t;
    m << map[0], map[1], map[2], map[3], map[4], map[5], map[6], map[7], map[8];
    t << scale, 0, centre.x, 0, scale, centre.y, 0, 0, 1;
    Eigen::Matrix3d h = m * t;
    h /= h(2, 2);
    s.p << h(0, 0);
    h(0, 1);
    h(0, 2);
    h(1, 0);
    h(1, 1);
    h(1, 2);
    h(2, 0);
    h(2, 1);
  }
  const Eigen::MatrixXd j = derivative(s, q);
  const Eigen::Map<const Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>> c(covariance.data(), n,
                                                                                                   n);
  const Eigen::Matrix2d v = j * c * j.transpose();
  return std::sqrt(sigma * sigma + v.trace() / 2);
}

std::optional<PhotoFit> fit_photo(const std::string& photo, const std::vector<formats::ReferenceRow>& rows,
                                  std::optional<PhotoModel> wanted, double least, std::optional<bool> from_top) {
  PhotoFit fit;
  fit.photo = photo;
  Scaled scaled;
  for (const auto& r : rows) scaled.centre = scaled.centre + (1.0 / static_cast<double>(rows.size())) * r.pixel;
  scaled.scale = 1e-9;
  for (const auto& r : rows) scaled.scale = std::max(scaled.scale, distance(r.pixel, scaled.centre));
  for (const auto& r : rows) fit.points.push_back({r.point, r.pixel, r.board, {}, 0, false, r.line});

  std::vector<Point> from, to;
  for (const auto& r : rows) {
    from.push_back(scaled(r.pixel));
    to.push_back(r.board);
  }
  std::optional<bool> mirrored;
  if (!from.empty() && on_one_line(from)) {
    if (!from_top) return std::nullopt;
    mirrored = *from_top;
    fit.side_given = true;
  }
  const std::vector<Hypothesis> all = hypotheses(from, to, wanted, mirrored, least, kFreedom);
  if (all.empty()) return std::nullopt;
  const Hypothesis& best = all[0];
  const Solution* s = &best.solution;
  fit.model = s->model;
  for (const Hypothesis& h : all)
    if (&h != &best && h.score < best.score + kUnsure &&
        (h.solution.model != s->model || h.kept.size() != best.kept.size())) {
      fit.rival =
          std::string(to_string(h.solution.model)) +
          (h.kept.size() < from.size() ? ", with " + std::to_string(from.size() - h.kept.size()) + " points left out"
                                       : "");
      break;
    }
  // With two degrees of freedom a slip is only suspected.
  for (const Hypothesis& h : hypotheses(from, to, s->model, mirrored, least, 2))
    if (h.kept.size() + 1 == best.kept.size() && h.solution.ssr < 0.01 * s->ssr)
      for (std::size_t k : best.kept)
        if (std::find(h.kept.begin(), h.kept.end(), k) == h.kept.end()) fit.suspect = rows[k].point;
  // How far each point lies from a fit without it; slips from the fit of the others.
  std::vector<Point> kept_from, kept_to;
  for (std::size_t k : best.kept) {
    kept_from.push_back(from[k]);
    kept_to.push_back(to[k]);
  }
  for (std::size_t k = 0; k < rows.size(); ++k)
    if (std::find(best.kept.begin(), best.kept.end(), k) == best.kept.end()) {
      fit.points[k].outlier = true;
      fit.points[k].without = distance(apply(*s, from[k]), to[k]);
    }
  const std::vector<double> d = left_out(fit.model, kept_from, kept_to, mirrored);
  for (std::size_t k = 0; k < best.kept.size() && k < d.size(); ++k) fit.points[best.kept[k]].without = d[k];
  from = std::move(kept_from);
  to = std::move(kept_to);
  const int freedom = 2 * static_cast<int>(from.size()) - parameters(fit.model);
  fit.rms = std::sqrt(s->ssr / static_cast<double>(from.size()));
  fit.proven = freedom >= 2;
  fit.sigma = fit.proven ? std::max(least, std::sqrt(s->ssr / freedom)) : std::max(least, kUnproven);
  fit.centre = scaled.centre;
  fit.scale = scaled.scale;
  spread_of(fit, *s, from);
  map_of(fit, *s);
  const Point a = fit(fit.centre), b = fit(fit.centre + Point{1, 0}), c = fit(fit.centre + Point{0, 1});
  fit.from_top = cross(b - a, c - a) < 0;  // pixels count downwards, the board's y upwards
  for (PhotoPoint& q : fit.points) q.residual = fit(q.pixel) - q.board;
  return fit;
}

}  // namespace teasel
