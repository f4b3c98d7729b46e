#include <algorithm>
#include <cmath>

#include "teasel/board.h"

namespace teasel {

LocatingError locating_error(BoardPoint round, Mm round_play, BoardPoint relieved, Mm relieved_play, BoardPoint at) {
  const Point arm = at - round, turned{-arm.y, arm.x}, to = relieved - round;
  const double len = length(to);
  const Point normal = (1 / len) * Point{-to.y, to.x};
  // Variance per axis: uniform on a disc of radius a: a^2 / 4; uniform on a line of half length a: a^2 / 3.
  const double disc = round_play.v * round_play.v / 16, line = relieved_play.v * relieved_play.v / 12;
  LocatingError error;
  auto add = [&](Point v, double variance) {
    error.xx += Mm2{variance * v.x * v.x};
    error.xy += Mm2{variance * v.x * v.y};
    error.yy += Mm2{variance * v.y * v.y};
  };
  // displacement = t + (d - n.t) / len * turned:  t on the round pin's disc, d across the relieved pin
  add({1 - normal.x * turned.x / len, -normal.x * turned.y / len}, disc);
  add({-normal.y * turned.x / len, 1 - normal.y * turned.y / len}, disc);
  add((1 / len) * turned, line);
  return error;
}

Mm pin_for(const BoardHole& hole, const Rules& rules) {
  constexpr double kSame = 1e-6;  // a sum of decimal steps is not quite their decimal
  const Mm most = hole.diameter - (hole.plating == formats::Plating::unplated ? rules.errors.pin_clearance
                                                                              : rules.errors.plated_pin_clearance);
  Mm pin;
  for (const Rules::StockPins& stock : rules.stock_pins)
    if (stock.from <= most + Mm{kSame})
      pin = std::max(
          pin, stock.from + std::floor((std::min(most, stock.to) - stock.from) / stock.step + kSame) * stock.step);
  return pin > Mm{} ? pin : most;
}

Mm play_of(const BoardHole& hole, const Rules& rules) {
  return hole.diameter - pin_for(hole, rules);
}

}  // namespace teasel
