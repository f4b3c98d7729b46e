// How a bed closes: balances of forces by hand on a board that hardly bends, and the peak of strain against many
// moments.
#include "../../src/mechanics/bed.h"
#include "../../src/mechanics/trial.h"

#include <numeric>

#include "../fixture/workshop.h"

using namespace teasel;
using namespace teasel::mechanics;
using namespace teasel::testing;

namespace {
Support hold(Point at, Side side, bool finger) {
  return {at, side, finger, {}};
}
/// Two beds on a board that lies with its bottom side down, on four stops, under four fingers; no kit.
Workshop two_beds(const std::vector<Point>& top, const std::vector<Point>& bottom) {
  Workshop workshop;
  workshop.job.fixture.sides = "both";
  workshop.job.fixture.board_lies = "bottom side down";
  for (const Point at : top) workshop.pad(at, Side::top);
  for (const Point at : bottom) workshop.pad(at, Side::bottom);
  workshop.job.mechanics.lay_out_supports = false;
  for (const Point at : {Point{5, 5}, {55, 5}, {5, 35}, {55, 35}}) {
    workshop.job.mechanics.supports.push_back(hold(at, Side::bottom, false));
    workshop.job.mechanics.supports.push_back(hold(at, Side::top, true));
  }
  workshop.plan();
  return workshop;
}
/// N: of all probes over the board or under it, of its fingers, of its stops.
struct Sums {
  double over = 0, under = 0, fingers = 0, stops = 0;
};
Sums sums_of(const BedModel& model, const Solved& solved) {
  Sums out;
  for (std::size_t i = 0; i < solved.forces.force.size(); ++i) {
    const double force = solved.forces.force[i];
    if (i < model.probes())
      (model.is_over(i) ? out.over : out.under) += force;
    else
      (model.is_over(i) ? out.fingers : out.stops) += force;
  }
  return out;
}
BedModel fine_model(const Planned& bed) {
  Diagnostics diagnostics;
  return {bed, supports_by_reach(bed, diagnostics), bed.rules.mechanics.mesh, true};
}
}  // namespace

TEST_CASE("a moving plate sinks as far as its springs and the upper tips balance (springs in series, by hand)") {
  Workshop workshop = two_beds({{20, 15}, {40, 15}, {20, 25}, {40, 25}}, {{30, 20}});
  workshop.job.mechanics.modulus = MPa{2e7};  // hardly bends
  workshop.style.mechanism.used = false;      // springs as the style states them, and no spacers
  workshop.style.spring_force = Newton{8};
  const Planned bed = workshop.bed();
  REQUIRE(bed.option.probes.size() == 5);
  const BedModel model = fine_model(bed);
  REQUIRE(model.moving());
  const MovingPlate& moving = *model.moving();
  CHECK(moving.at_work().v == Approx(8));
  CHECK(moving.at_rest().v == Approx(4));  // half, where the springs are not known
  CHECK(moving.stroke.v == Approx(15.5 - 9.5));
  const PlacedProbe& one = bed.option.probes[ProbeId{0}];
  const ProbeClass& probe = bed.catalogue.classes[one.probe_class];
  const double force = force_on(bed.rules, bed.access.targets[one.target], probe).v, works = probe.working_travel.v,
               preload = 0.4 * force, rate = (force - preload) / works, soft = 4.0 / 6;
  const Closing closing(bed, model, model.all_supports());
  int floated = 0;
  const Solved shut = closing.press(1, FreeShape::flat);
  for (double share = 0.05; share < 1; share += 0.05) {
    const Solved solved = closing.press(share, FreeShape::flat);
    // Worked out from the closed bed, as when it opens, it is the same.
    const Solved opening = closing.press(share, FreeShape::flat, &shut);
    CHECK(opening.moment.lying == solved.moment.lying);
    CHECK(opening.moment.raised == Approx(solved.moment.raised).margin(1e-4));
    const Sums sums = sums_of(model, solved);
    INFO("share " << share << ", to go " << solved.moment.to_go << ", raised " << solved.moment.raised);
    // What pushes down and what pushes up are in balance.
    CHECK(sums.over + sums.fingers == Approx(sums.under + sums.stops).margin(2e-3));
    if (solved.moment.lying != Lying::floats) continue;
    CHECK(sums.stops == Approx(4 + soft * (6 - solved.moment.raised)).margin(1e-3));
    if (sums.under > 0 || sums.fingers > 0) continue;
    ++floated;
    // Four springs on one: 4 (preload + rate x) = 4 + soft s, and x + s is the way since the tips touched.
    const double way = 6 + works - solved.moment.to_go, x = (4 + soft * way - 4 * preload) / (4 * rate + soft);
    REQUIRE(x > 0);
    CHECK(solved.moment.raised == Approx(6 - (way - x)).margin(0.02));
  }
  CHECK(floated >= 3);
}

TEST_CASE(
    "with springs stronger than the upper tips, spacers drive the moving plate, and stops bear no more than they "
    "push (balance)") {
  Workshop workshop = two_beds({{20, 15}, {40, 25}}, {{30, 20}});
  const Planned bed = workshop.bed();
  const BedModel model = fine_model(bed);
  REQUIRE(model.moving());
  const MovingPlate& moving = *model.moving();
  REQUIRE(moving.spring);
  // Two tips of 2 N on springs of more than 10 N.
  REQUIRE(moving.at_rest() > Newton{10});
  const Closing closing(bed, model, model.all_supports());
  int driven = 0;
  for (double share = 0.1; share < 1; share += 0.1) {
    const Solved solved = closing.press(share, FreeShape::flat);
    const Sums sums = sums_of(model, solved);
    INFO("share " << share << ", to go " << solved.moment.to_go << ", raised " << solved.moment.raised);
    CHECK(solved.moment.raised <= std::max(0.0, solved.moment.to_go) + 1e-9);
    CHECK(sums.stops <= moving.at_rest().v + moving.rate().v * (moving.stroke.v - solved.moment.raised) + 1e-6);
    if (solved.moment.lying != Lying::driven) continue;
    ++driven;
    CHECK(solved.moment.raised == Approx(solved.moment.to_go));
  }
  CHECK(driven >= 2);
  const Solved shut = closing.press(1, FreeShape::flat);
  CHECK(shut.moment.lying == Lying::at_work);
  CHECK(shut.moment.raised == 0);
}

TEST_CASE("air under a board presses the moving plate down against its springs (pressure times area, by hand)") {
  Workshop workshop;
  workshop.style = shipped_style("vacuum");
  workshop.style.mechanism.used = false;
  workshop.style.spring_force = Newton{40};
  workshop.pad({30, 20});
  workshop.job.mechanics.modulus = MPa{2e7};
  workshop.job.mechanics.lay_out_supports = false;
  for (const Point at : {Point{5, 5}, {55, 5}, {5, 35}, {55, 35}})
    workshop.job.mechanics.supports.push_back(hold(at, Side::bottom, false));
  workshop.plan();
  const Planned bed = workshop.bed();
  const BedModel model = fine_model(bed);
  const Closing closing(bed, model, model.all_supports());
  REQUIRE(closing.by_air());
  const double full = vacuum_of(bed).v * 60 * 40, rate = 20.0 / model.moving()->stroke.v;
  int floated = 0;
  for (double share = 0.02; share < 1; share += 0.02) {
    const Solved solved = closing.press(share, FreeShape::flat);
    const Sums sums = sums_of(model, solved);
    INFO("share " << share << ", raised " << solved.moment.raised);
    CHECK(sums.under + sums.stops == Approx(share * full).epsilon(2e-3));
    if (sums.under > 0) continue;
    const double sunk = std::clamp((share * full - 20) / rate, 0.0, 6.0);
    CHECK(solved.moment.raised == Approx(6 - sunk).margin(0.02));
    floated += solved.moment.lying == Lying::floats;
  }
  CHECK(floated >= 1);
}

TEST_CASE("the peak of strain is that of five hundred moments (convergence)") {
  // Uneven beds on a thin board, with and without springs that hold it up; and a bowed one.
  for (const double springs : {3.0, 12.0, 60.0}) {
    Workshop workshop = two_beds({{12, 12}, {20, 12}, {12, 20}, {20, 20}, {28, 12}, {46, 30}},
                                 {{48, 10}, {40, 10}, {48, 18}, {14, 30}, {22, 30}, {30, 30}, {30, 20}, {52, 26}});
    workshop.board.thickness = Mm{1.0};
    workshop.style.mechanism.used = springs > 50;
    workshop.style.spring_force = Newton{springs};
    add_body(workshop.board, "U1", {36, 22}, 6, 4, 1, Side::top);
    add_body(workshop.board, "U2", {18, 32}, 5, 5, 1, Side::top);
    workshop.plan();
    const Planned bed = workshop.bed();
    const BedModel model = fine_model(bed);
    REQUIRE(model.gauges().size() == 8);
    const Closing closing(bed, model, model.all_supports());
    for (const FreeShape shape : {FreeShape::flat, FreeShape::bowed_up, FreeShape::twisted}) {
      const std::vector<Solved> few = closing.follow(shape);
      std::vector<double> shares(500);
      for (std::size_t i = 0; i < shares.size(); ++i) shares[i] = static_cast<double>(i + 1) / 500;
      double most = 0;
      for (const Solved& solved : closing.press_all(shares, shape)) most = std::max(most, solved.worst);
      INFO(to_string(shape) << ", springs " << springs << ": " << few.size() << " moments, " << Closing::peak(few).worst
                            << " against " << most);
      CHECK(few.size() <= 24);
      CHECK(Closing::peak(few).worst == Approx(most).epsilon(0.015));
    }
  }
}

TEST_CASE("a moment is the same whichever moment was worked out before it (law of the contact problem: one solution)") {
  Workshop workshop = two_beds({{12, 12}, {20, 12}, {12, 20}, {46, 30}}, {{48, 10}, {40, 10}, {14, 30}, {30, 20}});
  const Planned bed = workshop.bed();
  const BedModel model = fine_model(bed);
  const Closing closing(bed, model, model.all_supports());
  const std::vector<Solved> path = closing.press_all({0.2, 0.4, 0.6, 0.8, 1}, FreeShape::bowed_down);
  for (const Solved& solved : path) {
    const Solved alone = closing.press(solved.moment.share, FreeShape::bowed_down, &path.back());
    CHECK(alone.moment.raised == Approx(solved.moment.raised).margin(1e-4));
    for (std::size_t i = 0; i < alone.forces.force.size(); ++i)
      CHECK(alone.forces.force[i] == Approx(solved.forces.force[i]).margin(2e-3));
  }
}

TEST_CASE("a trial tells the curvature that the plate's own unknowns tell (two ways to the same sum)") {
  Workshop workshop = two_beds({{12, 12}, {20, 12}, {12, 20}, {46, 30}}, {{48, 10}, {40, 10}, {14, 30}, {30, 20}});
  add_body(workshop.board, "U1", {36, 22}, 6, 4, 1, Side::top);
  add_body(workshop.board, "U2", {18, 32}, 5, 5, 1, Side::bottom);
  workshop.plan();
  const Planned bed = workshop.bed();
  Diagnostics diagnostics;
  const std::vector<PlacedSupport> supports = supports_by_reach(bed, diagnostics);
  Trial trial(bed, supports);
  REQUIRE(trial.ok());
  // A moment in which some probes do not touch is told the long way.
  const BedModel model = fine_model(bed);
  const Closing closing(bed, model, model.all_supports());
  const SceneNumber half = trial.add(FreeShape::flat, closing.press(0.5, FreeShape::flat));
  int told = 0;
  for (const double bend : {1.0, 0.4}) {
    trial.bend_by(bend);
    std::vector<char> present(supports.size(), 1);
    for (std::size_t left_out = 0; left_out < supports.size(); left_out += 3) {
      present[left_out] = 0;
      const Tried tried = trial.press(present, {scene_of(FreeShape::flat), scene_of(FreeShape::twisted), half});
      for (const TriedShape& shape : tried.shapes) {
        // A trial takes probes for springs at any depth, which those off the board are not.
        const auto probes_end = shape.forces.travel.begin() + static_cast<std::ptrdiff_t>(bed.option.probes.size());
        const bool closed_on_all =
            std::all_of(shape.forces.travel.begin(), probes_end, [](double t) { return t >= 0; });
        if (!shape.forces.settled || (shape.scene != half && !closed_on_all)) continue;
        ++told;
        const std::vector<double> unknowns = trial.model().press().bending(shape.forces, MPa{});
        REQUIRE(!shape.curvature.empty());
        // Corners between the same triangles are one: each curvature told is that of some gauge.
        for (const Curvature& corner : shape.curvature) {
          double nearest = INFINITY;
          for (const Gauge& gauge : trial.model().gauges()) {
            const Curvature here = BedModel::curvature(gauge, unknowns);
            nearest = std::min(nearest, std::abs(here.xx - corner.xx) + std::abs(here.yy - corner.yy) +
                                            std::abs(here.xy2 - corner.xy2));
          }
          CHECK(nearest < 1e-9);
        }
      }
    }
  }
  CHECK(told >= 8);
}
