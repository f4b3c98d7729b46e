#include "teasel/board.h"

namespace teasel {

LocatingError locating_error(Point round, double round_play, Point relieved, double relieved_play, Point at) {
  const Point r = at - round, turned{-r.y, r.x}, to = relieved - round;
  const double len = length(to);
  const Point n = (1 / len) * Point{-to.y, to.x};
  // Variance per axis: uniform on a disc of radius a: a^2 / 4; uniform on a line of half length a: a^2 / 3.
  const double disc = round_play * round_play / 16, line = relieved_play * relieved_play / 12;
  LocatingError e;
  auto add = [&](Point v, double variance) {
    e.xx += variance * v.x * v.x;
    e.xy += variance * v.x * v.y;
    e.yy += variance * v.y * v.y;
  };
  // displacement = t + (d - n.t) / len * turned:  t on the round pin's disc, d across the relieved pin
  add({1 - n.x * turned.x / len, -n.x * turned.y / len}, disc);
  add({-n.y * turned.x / len, 1 - n.y * turned.y / len}, disc);
  add((1 / len) * turned, line);
  return e;
}

double play_of(const BoardHole& hole, const Rules& rules) {
  return hole.plating == formats::Plating::unplated ? rules.errors.pin_clearance.v
                                                    : rules.errors.plated_pin_clearance.v;
}

}  // namespace teasel
