// Lands below the usual size: open as far as their odds allow, and what the shop must hold for them.
#include <catch2/catch.hpp>

#include "small_board.h"
#include "teasel/access/small_lands.h"

using namespace teasel;
using namespace teasel::testing;

namespace {
const Catalogue kCatalogue = shipped_catalogue();

const Verdict& of(const Board& board, const Access& access, const std::string& name, ClassId probe_class) {
  return access.best_verdict(target_named(board, access, name), probe_class, true);
}
}  // namespace

TEST_CASE(
    "below the usual size a land is open as long as its odds allow, and a wall closes it (manual, access: rules)") {
  const Rules rules = shipped_rules();
  Rules wall = rules;
  wall.pad_diameter_main.least = Mm{0.65};
  int open = 0, closed = 0;
  for (const double diameter : {0.30, 0.40, 0.45, 0.50, 0.55, 0.60}) {
    Board board = empty_board();
    add_round(board, "A", {20, 20}, diameter, Side::bottom);
    const Access by_odds = judge(board, {}, kCatalogue, rules), by_wall = judge(board, {}, kCatalogue, wall);
    for (const ClassId k : kCatalogue.classes.ids()) {
      const Verdict& verdict = of(board, by_odds, "A", k);
      CHECK(verdict.open == (verdict.miss <= rules.largest_miss));
      REQUIRE(found(verdict, Reason::land_too_small));
      CHECK_FALSE(found(verdict, Reason::land_too_small)->blocking);
      CHECK_FALSE(of(board, by_wall, "A", k).open);
      CHECK(found(of(board, by_wall, "A", k), Reason::land_too_small)->blocking);
      ++(verdict.open ? open : closed);
    }
  }
  CHECK(open > 0);
  CHECK(closed > 0);
}

TEST_CASE("the drilling that a small land bears is the one at which a round law misses it too often (Rayleigh law)") {
  // Nothing but the drilling errs: a touch misses a disc of radius r with exp(-r^2 / 2 sigma^2).
  Rules rules = shipped_rules();
  for (ErrorSize* size : {&rules.errors.receptacle, &rules.errors.second_plate, &rules.errors.artwork,
                          &rules.errors.mask_shift, &rules.errors.artwork_scale})
    size->value = 0;
  rules.errors.pin_clearance = rules.errors.plated_pin_clearance = Mm{1e-6};
  rules.stock_pins.clear();
  Catalogue catalogue = kCatalogue;
  catalogue.classes.resize(1);
  catalogue.classes.front().pointing = Mm{1e-6};
  catalogue.classes.front().contact_margin = Mm{};
  Board board = empty_board();
  add_round(board, "SMALL", {20, 20}, 0.5, Side::bottom);
  add_round(board, "LARGE", {40, 20}, 1.0, Side::bottom);
  const Access access = judge(board, {}, catalogue, rules);
  const std::vector<BedProbe> probes = {{SpotId{0}, ClassId{0}}, {SpotId{1}, ClassId{0}}};
  const SmallLands small = small_lands({.board = board,
                                        .access = access,
                                        .catalogue = catalogue,
                                        .rules = rules,
                                        .main = Side::bottom,
                                        .probes = probes});
  CHECK(small.probes == 1);
  CHECK(small.on_main_side == 1);
  CHECK(small.smallest == 0);
  CHECK(small.diameter.v == Approx(0.5).margin(0.002));
  CHECK(small.drilling.counted.v == Approx(0.025));
  const double sigma = 0.25 / std::sqrt(-2 * std::log(rules.largest_miss.v));
  CHECK(small.drilling.most.v == Approx(3 * sigma).margin(0.003));
  // Alone, a receptacle that is off as much misses as often; the drilling's own share is small beside it.
  CHECK(small.receptacle.most.v == Approx(3 * sigma).margin(0.005));
  // Seen from the other side the usual size is larger, but no land here is smaller than that.
  rules.usual_land_main = Mm{0.4};
  CHECK(small_lands({.board = board,
                     .access = access,
                     .catalogue = catalogue,
                     .rules = rules,
                     .main = Side::bottom,
                     .probes = probes})
            .probes == 0);
}
