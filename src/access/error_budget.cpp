// Position errors by source.
#include <algorithm>
#include <cmath>

#include "teasel/access/odds.h"
#include "teasel/enums.h"

namespace teasel {

namespace {
struct SourceRow {
  ErrorSource id;
  const char* name;
  ErrorTime time;
  bool shared;
};
// Source, name, when it is drawn, shared by all probes.
constexpr Rows<ErrorSource, SourceRow> kSources{{
    {ErrorSource::plate_drilling, "plate drilling", ErrorTime::build, false},
    {ErrorSource::receptacle, "receptacle", ErrorTime::build, false},
    {ErrorSource::second_plate, "second plate", ErrorTime::build, true},
    {ErrorSource::artwork, "artwork", ErrorTime::board, true},
    {ErrorSource::artwork_scale, "artwork scale", ErrorTime::board, true},
    {ErrorSource::mask_shift, "mask shift", ErrorTime::board, true},
    {ErrorSource::locating, "locating pins", ErrorTime::board, true},
    {ErrorSource::measured_place, "measured place", ErrorTime::build, false},
    {ErrorSource::pointing, "pointing", ErrorTime::touch, false},
}};
constexpr Words<ErrorTime> kTimes{"frozen at the build", "new with each board", "new with each touch"};

void add_along(Covariance& covariance, Point way, double variance) {
  covariance += Covariance{variance * way.x * way.x, variance * way.x * way.y, variance * way.y * way.y};
}

bool on_pins(const Board& board) {
  return board.tooling.size() == 2;
}

ErrorStatement locating_statement(const Board& board, const Rules& rules) {
  if (!on_pins(board))
    return {"play of " + short_number(rules.errors.no_tooling_clearance.v, 3) + " mm at the edges, uniform", "memory"};
  return {"play of " + short_number(play_of(board.holes[board.tooling[0]], rules).v, 3) +
              " mm in diameter at the round pin, " + short_number(play_of(board.holes[board.tooling[1]], rules).v, 3) +
              " mm across the relieved pin, uniform",
          "memory"};
}
}  // namespace

const char* to_string(ErrorTime time) {
  return kTimes[time];
}
const char* to_string(ErrorSource source) {
  return kSources[source].name;
}
ErrorTime time_of(ErrorSource source) {
  return kSources[source].time;
}
bool is_shared(ErrorSource source) {
  return kSources[source].shared;
}

ErrorStatement statement(ErrorSource source, const Board& board, const Rules& rules, const ProbeClass& probe) {
  const Rules::Errors& errors = rules.errors;
  auto text = [](const ErrorSize& size) {
    const std::string value = short_number(size.value, 4);
    return ErrorStatement{
        size.uniform ? "up to " + value + " mm in any direction, uniform" : "+-" + value + " mm (3 sigma)", size.mark};
  };
  switch (source) {
    case ErrorSource::plate_drilling: return text(errors.plate_drilling);
    case ErrorSource::receptacle: return text(errors.receptacle);
    case ErrorSource::second_plate: return text(errors.second_plate);
    case ErrorSource::artwork: return text(errors.artwork);
    case ErrorSource::mask_shift: return text(errors.mask_shift);
    case ErrorSource::artwork_scale:
      return {"+-" + short_number(errors.artwork_scale.value, 1) + " ppm of the distance from the datum (3 sigma)",
              errors.artwork_scale.mark};
    case ErrorSource::locating: return locating_statement(board, rules);
    case ErrorSource::measured_place: return {"as measured on the bench", "measured"};
    case ErrorSource::pointing:
      return {"up to " + short_number(probe.pointing.v, 4) + " mm in any direction, uniform", "memory"};
  }
  return {};
}

Covariance ErrorBudget::total() const {
  Covariance sum;
  for (const Covariance& covariance : of) sum += covariance;
  return sum;
}

Spread ErrorBudget::spread() const {
  const Covariance all = total(), &disc = (*this)[ErrorSource::pointing];
  // Across the longest axis of the error this share is the true one. Across the others it makes the tail too long,
  // never too short.
  const double longest = all.largest_sigma().v, share = disc.xx / std::max(longest * longest, 1e-30);
  return Spread(all, share);
}

LandSpread ErrorBudget::on_land() const {
  LandSpread out;
  out.metal = out.opening = spread();
  if (!mask_gap) return out;
  ErrorBudget of_copper = *this;
  of_copper[ErrorSource::mask_shift] = {};
  out.metal = of_copper.spread();
  out.opening_near = true;
  out.gap = *mask_gap;
  out.mask_sigma = Mm{std::sqrt((*this)[ErrorSource::mask_shift].xx)};
  return out;
}

ErrorBudget error_budget(const Board& board, const Rules& rules, const ProbeClass& probe, const Exposure& exposure,
                         BoardPoint at, bool main_side) {
  const Rules::Errors& errors = rules.errors;
  ErrorBudget budget;
  auto round = [&](ErrorSource source, double variance) { budget[source] = {variance, 0, variance}; };
  round(ErrorSource::plate_drilling, errors.plate_drilling.variance());
  round(ErrorSource::receptacle, errors.receptacle.variance());
  if (!main_side) round(ErrorSource::second_plate, errors.second_plate.variance());
  round(ErrorSource::artwork, errors.artwork.variance());
  constexpr double kFar = 4;  // deviations of the mask's shift: an opening that stands farther off is not missed alone
  if (exposure.mask_gap) {
    const Mm gap = std::max(*exposure.mask_gap, exposure.drawn_alike() ? errors.mask_swell : Mm{});
    if (gap.v < kFar * std::sqrt(errors.mask_shift.variance())) budget.mask_gap = gap;
  }
  if (exposure.mask_defined || budget.mask_gap) round(ErrorSource::mask_shift, errors.mask_shift.variance());
  round(ErrorSource::measured_place, exposure.place_sigma.v * exposure.place_sigma.v);
  round(ErrorSource::pointing, probe.pointing.v * probe.pointing.v / 4);
  const Box box = bounds(board.outline.outer);
  const Point datum = on_pins(board) ? Point{board.holes[board.tooling[0]].at} : box.centre(), from_datum = at - datum;
  add_along(budget[ErrorSource::artwork_scale], from_datum, errors.artwork_scale.variance() * 1e-12);
  Covariance& locating = budget[ErrorSource::locating];
  if (on_pins(board)) {
    const BoardHole &first = board.holes[board.tooling[0]], &second = board.holes[board.tooling[1]];
    const LocatingError error = locating_error(first.at, play_of(first, rules), second.at, play_of(second, rules), at);
    locating = {error.xx.v, error.xy.v, error.yy.v};
  } else {
    const double play = errors.no_tooling_clearance.v / 2, line = play * play / 3;
    add_along(locating, {1, 0}, line);
    add_along(locating, {0, 1}, line);
    add_along(locating, (1 / std::max({box.width(), box.height(), 1.0})) * Point{-from_datum.y, from_datum.x},
              2 * line);
  }
  return budget;
}

}  // namespace teasel
