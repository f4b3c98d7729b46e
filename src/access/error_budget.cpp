// Position errors by source.
#include <algorithm>

#include "teasel/access/odds.h"

namespace teasel {

namespace {
struct Known {
  const char* name;
  ErrorTime time;
  bool shared;
};
constexpr Known kKnown[kErrorSources] = {
    {"plate drilling", ErrorTime::build, false}, {"receptacle", ErrorTime::build, false},
    {"second plate", ErrorTime::build, true},    {"artwork", ErrorTime::board, true},
    {"artwork scale", ErrorTime::board, true},   {"mask shift", ErrorTime::board, true},
    {"locating pins", ErrorTime::board, true},   {"measured place", ErrorTime::build, false},
    {"pointing", ErrorTime::touch, false},
};
const Known& known(ErrorSource s) {
  return kKnown[static_cast<std::size_t>(s)];
}

void add_along(Covariance& c, Point v, double variance) {
  c += Covariance{variance * v.x * v.x, variance * v.x * v.y, variance * v.y * v.y};
}
}  // namespace

const char* to_string(ErrorTime t) {
  static const char* names[] = {"frozen at the build", "new with each board", "new with each touch"};
  return names[static_cast<int>(t)];
}
const char* to_string(ErrorSource s) {
  return known(s).name;
}
ErrorTime time_of(ErrorSource s) {
  return known(s).time;
}
bool is_shared(ErrorSource s) {
  return known(s).shared;
}

ErrorStatement statement(ErrorSource source, const Board& board, const Rules& rules, const ProbeClass& probe) {
  const auto& e = rules.errors;
  auto text = [](const ErrorSize& z) {
    return ErrorStatement{z.uniform ? "up to " + short_number(z.value, 4) + " mm, uniform on the disc"
                                    : "+-" + short_number(z.value, 4) + " mm (3 sigma)",
                          z.mark};
  };
  switch (source) {
    case ErrorSource::plate_drilling: return text(e.plate_drilling);
    case ErrorSource::receptacle: return text(e.receptacle);
    case ErrorSource::second_plate: return text(e.second_plate);
    case ErrorSource::artwork: return text(e.artwork);
    case ErrorSource::mask_shift: return text(e.mask_shift);
    case ErrorSource::artwork_scale:
      return {"+-" + short_number(e.artwork_scale.value, 1) + " ppm of the distance from the datum (3 sigma)",
              e.artwork_scale.mark};
    case ErrorSource::locating:
      return board.tooling.size() == 2
                 ? ErrorStatement{"play " +
                                      short_number(
                                          play_of(board.holes[static_cast<std::size_t>(board.tooling[0])], rules), 3) +
                                      " mm in diameter at the round pin, " +
                                      short_number(
                                          play_of(board.holes[static_cast<std::size_t>(board.tooling[1])], rules), 3) +
                                      " mm across the relieved pin, uniform",
                                  "memory"}
                 : ErrorStatement{"play " + short_number(e.no_tooling_clearance.v, 3) + " mm at the edges, uniform",
                                  "memory"};
    case ErrorSource::measured_place: return {"as measured on the bench", "measured"};
    case ErrorSource::pointing:
      return {"up to " + short_number(probe.pointing.v, 4) + " mm, uniform on the disc", "memory"};
  }
  return {};
}

Covariance ErrorBudget::total() const {
  Covariance sum;
  for (const Covariance& c : of) sum += c;
  return sum;
}

Spread ErrorBudget::spread() const {
  const Covariance all = total(), &disc = (*this)[ErrorSource::pointing];
  // Across the longest axis of the error this share is the true one; across the others it makes the tail too long,
  // never too short.
  const double longest = all.largest_sigma(), share = disc.xx / std::max(longest * longest, 1e-30);
  return Spread(all, share);
}

ErrorBudget error_budget(const Board& board, const Rules& rules, const ProbeClass& probe, const Exposure& exposure,
                         Point at, bool main_side) {
  const auto& e = rules.errors;
  ErrorBudget b;
  auto round = [&](ErrorSource s, double variance) { b[s] = {variance, 0, variance}; };
  round(ErrorSource::plate_drilling, e.plate_drilling.variance());
  round(ErrorSource::receptacle, e.receptacle.variance());
  if (!main_side) round(ErrorSource::second_plate, e.second_plate.variance());
  round(ErrorSource::artwork, e.artwork.variance());
  if (exposure.mask_defined) round(ErrorSource::mask_shift, e.mask_shift.variance());
  round(ErrorSource::measured_place, exposure.place_sigma * exposure.place_sigma);
  round(ErrorSource::pointing, probe.pointing.v * probe.pointing.v / 4);
  const bool pins = board.tooling.size() == 2;
  const Point datum = pins ? board.holes[static_cast<std::size_t>(board.tooling[0])].at
                           : bounds(board.outline.outer).centre(),
              r = at - datum;
  add_along(b[ErrorSource::artwork_scale], r, e.artwork_scale.variance() * 1e-12);
  Covariance& l = b[ErrorSource::locating];
  if (pins) {
    const BoardHole &first = board.holes[static_cast<std::size_t>(board.tooling[0])],
                    &second = board.holes[static_cast<std::size_t>(board.tooling[1])];
    const LocatingError x = locating_error(first.at, play_of(first, rules), second.at, play_of(second, rules), at);
    l = {x.xx, x.xy, x.yy};
  } else {
    const double play = e.no_tooling_clearance.v / 2, line = play * play / 3;
    const Box box = bounds(board.outline.outer);
    add_along(l, {1, 0}, line);
    add_along(l, {0, 1}, line);
    add_along(l, (1 / std::max({box.width(), box.height(), 1.0})) * Point{-r.y, r.x}, 2 * line);
  }
  return b;
}

}  // namespace teasel
