// Odds of hitting: position errors by source, and their integral over an area. Lengths mm, board frame.
#pragma once
#include <array>
#include <cstdint>
#include <optional>
#include <string>

#include "teasel/board.h"
#include "teasel/geometry.h"
#include "teasel/job.h"

namespace teasel {

/// Covariance of the position error of a probe tip against its target, mm^2.
struct Covariance {
  double xx{}, xy{}, yy{};
  [[nodiscard]] Mm largest_sigma() const;
  [[nodiscard]] Mm sigma_along(Point unit) const;
  Covariance& operator+=(const Covariance& other) {
    xx += other.xx;
    xy += other.xy;
    yy += other.yy;
    return *this;
  }
  friend Covariance operator*(double k, const Covariance& error) { return {k * error.xx, k * error.xy, k * error.yy}; }
  bool operator==(const Covariance&) const = default;
};

/// All errors of one probe: their covariance, and the share of it that is uniform on a disc (pointing).
struct Spread {
  Covariance total;
  double disc_share = 0;  ///< 0: all of it normal
  Spread() = default;
  explicit Spread(const Covariance& error, double share = 0) : total(error), disc_share(share) {}
};

/// No chance below this is worked out or claimed.
inline constexpr Chance kLeastChance{1e-12};

/// Probability that a bivariate normal about `aim` falls outside `area` (polygons with holes).
/// Boundary form: each edge, seen from the aim after whitening, contributes the integral of exp(-rho^2 / 2) over the
/// angle it spans: a difference of Owen's T functions. Works on the miss itself, so that small values keep their
/// relative accuracy (better than 1e-3 down to 1e-12). Source: D. B. Owen, "Tables for computing bivariate normal
/// probabilities", Ann. Math. Statist. 27 (1956).
Chance miss_probability(const Polygons& area, Point aim, const Covariance& error);
/// The same with a part of the error uniform on a disc: the boundary form holds for every law that is round after
/// whitening, with exp(-rho^2 / 2) replaced by radial_tail. Exact where the covariance is round. Elsewhere the law is
/// taken as stretched like the whole error, with the disc's share across the longest axis: straight edges across that
/// axis are exact, others are missed less often than this says.
Chance miss_probability(const Polygons& area, Point aim, const Spread& error);
/// Probability of falling inside `area`, which does not hold the aim: keeps its relative accuracy where it is small.
Chance landing_probability(const Polygons& area, Point aim, const Spread& error);
/// Upper bound of the same for a convex area grown by `reach`, whose nearest point lies `distance` off in direction
/// `way`: half the tail, since the area lies in the half plane beyond.
Chance landing_bound(Mm distance, Mm reach, Point way, const Spread& error);
/// P(|n + d| > rho): n normal of variance 1 - u per axis, d uniform on the disc of variance u per axis (radius 2
/// sqrt(u)). Integral over the length of n of the share of the disc that lies outside: areas of two circles' lens in
/// closed form. u is held at 0.9 above it (a longer tail than the true one).
double radial_tail(double rho, double u);

/// When an error is drawn anew.
enum class ErrorTime : std::uint8_t { build, board, touch };
const char* to_string(ErrorTime time);
enum class ErrorSource : std::uint8_t {
  plate_drilling,
  receptacle,
  second_plate,
  artwork,
  artwork_scale,
  mask_shift,
  locating,
  measured_place,
  pointing
};
inline constexpr int kErrorSources = static_cast<int>(ErrorSource::pointing) + 1;
/// Every source, in order.
constexpr std::array<ErrorSource, kErrorSources> error_sources() {
  std::array<ErrorSource, kErrorSources> all{};
  for (std::size_t i = 0; i < all.size(); ++i) all[i] = static_cast<ErrorSource>(i);
  return all;
}
const char* to_string(ErrorSource source);
ErrorTime time_of(ErrorSource source);
/// True if all probes of a plate, or of a board, share one draw of it.
bool is_shared(ErrorSource source);
/// "+-0.100 mm (3 sigma)", "up to 0.080 mm, uniform on the disc"; and who says so.
struct ErrorStatement {
  std::string size, mark;
};
ErrorStatement statement(ErrorSource source, const Board& board, const Rules& rules, const ProbeClass& probe);

/// What a tip may be off from a land of which copper ends the metal, and the mask's opening stands near it. The mask
/// shifts on its own, so that either may be missed.
struct LandSpread {
  Spread metal;  ///< against what ends the metal: copper, or the mask where that covers part of the pad
  bool opening_near = false;
  Spread opening;  ///< against the opening, where that is near
  Mm gap;          ///< from the metal's edge to the opening's
  Mm mask_sigma;
  [[nodiscard]] LandSpread with_disc_share(double share) const;
};
/// Where the opening is near: P(off the opening) + P(off the metal) Phi(gap / sigma of the mask's shift), `landing`
/// grown by the gap standing for the opening. An upper bound for convex landings: beyond the metal's edge the mask must
/// have shifted outward by no less than the gap if the opening is to be missed too.
Chance miss_probability(const Polygons& landing, Point aim, const LandSpread& error);

/// Error budget of one probe at one point.
struct ErrorBudget {
  std::array<Covariance, kErrorSources> of{};
  std::optional<Mm> mask_gap;  ///< of the land, where the mask may shift so far; its shift is then among the errors
  [[nodiscard]] Covariance& operator[](ErrorSource source) { return of[static_cast<std::size_t>(source)]; }
  [[nodiscard]] const Covariance& operator[](ErrorSource source) const { return of[static_cast<std::size_t>(source)]; }
  [[nodiscard]] Covariance total() const;
  /// Pointing enters as a disc, everything else by its variance.
  [[nodiscard]] Spread spread() const;
  [[nodiscard]] LandSpread on_land() const;
};
/// `main_side`: the side whose plate carries the tooling pins; the other plate adds its own shift.
ErrorBudget error_budget(const Board& board, const Rules& rules, const ProbeClass& probe, const Exposure& exposure,
                         BoardPoint at, bool main_side);

}  // namespace teasel
