// The pressed bed: equilibrium, turning, meshes, layouts beside the exhaustive optimum, and figures worked out by hand.
#include "teasel/mechanics.h"

#include "../../src/mechanics/bed.h"
#include "../fixture/workshop.h"

using namespace teasel;
using namespace teasel::testing;

namespace {
const PressedState& full(const Mechanics& m) {
  REQUIRE(m.at_full_stroke());
  return *m.at_full_stroke();
}
Support hold(Point at, Side side, bool finger) {
  return {at, side, finger, {}};
}
/// Six probes from below, held by hand.
Workshop held_bed() {
  Workshop workshop;
  for (const Point p : {Point{12, 10}, {24, 12}, {36, 10}, {48, 12}, {20, 28}, {40, 28}}) workshop.pad(p);
  workshop.job.mechanics.lay_out_supports = false;
  for (const Point p : {Point{10, 20}, {30, 20}, {50, 20}, {30, 35}, {30, 5}})
    workshop.job.mechanics.supports.push_back(hold(p, Side::top, true));
  for (const Point p : {Point{8, 33}, {52, 33}, {30, 17}})
    workshop.job.mechanics.supports.push_back(hold(p, Side::bottom, false));
  return workshop;
}
}  // namespace

TEST_CASE(
    "the pressed bed: what probes push, fingers hold; the sum of probe forces is near that at working travel "
    "(equilibrium, hand sum)") {
  Workshop workshop = held_bed();
  workshop.plan();
  REQUIRE(workshop.bed().option.probes.size() == 6);
  const Mechanics mechanics = work_out_mechanics(workshop.bed(), workshop.diagnostics);
  REQUIRE(mechanics.used);
  CHECK(mechanics.why_not.empty());
  REQUIRE(mechanics.states.size() > 3);
  for (const PressedState& s : mechanics.states) {
    CHECK(s.settled);
    CHECK(s.pushed_down == Newton{});
  }
  const PressedState& state = full(mechanics);
  // Six probes of 2 N at 4.24 mm, with the gap of the fingers and what the board bends less: rate (2 - 0.8) / 4.24.
  CHECK(state.pushed_up < Newton{12});
  CHECK(state.pushed_up.v > 12 - 6 * 1.2 / 4.24 * (0.05 + state.up.v + 0.02));
  CHECK(state.held.v >= Approx(state.pushed_up.v).epsilon(0.002));
  CHECK(state.middle->x == Approx((12 + 24 + 36 + 48 + 20 + 40) / 6.0).margin(0.2));
  for (const ProbeId probe : state.least_travel.ids()) {
    CHECK(state.least_travel[probe] <= state.most_travel[probe]);
    CHECK(state.most_travel[probe] < Mm{4.24 + 0.3});
  }
  CHECK(mechanics.lost.empty());
  // In rising order; before the moving plate has sunk to the tips they push with nothing.
  for (std::size_t i = 1; i < mechanics.states.size(); ++i)
    CHECK(mechanics.states[i].to_go < mechanics.states[i - 1].to_go);
  REQUIRE(mechanics.states.front().raised > Mm{4.24});
  for (const Newton force : mechanics.states.front().probe_force) CHECK(force == Newton{});
}

TEST_CASE(
    "the pressed bed is the same when the board is turned, and nearly the same on a mesh of half the size "
    "(symmetry)") {
  Workshop workshop = held_bed();
  add_body(workshop.board, "U1", {30, 28}, 9, 9, 2, Side::top);
  workshop.plan();
  const Mechanics mechanics = work_out_mechanics(workshop.bed(), workshop.diagnostics);
  REQUIRE(mechanics.parts.size() == 1);
  for (const Affine turn : {Affine{0, -1, 1, 0, 70, 5}, Affine{-1, 0, 0, -1, 3, 90}}) {
    Workshop turned = held_bed();
    add_body(turned.board, "U1", {30, 28}, 9, 9, 2, Side::top);
    turned.board = moved(turned.board, turn);
    for (Support& s : turned.job.mechanics.supports) s.at = turn(s.at);
    turned.plan();
    const Mechanics n = work_out_mechanics(turned.bed(), turned.diagnostics);
    CHECK(full(n).up.v == Approx(full(mechanics).up.v).epsilon(0.02).margin(1e-4));
    CHECK(full(n).pushed_up.v == Approx(full(mechanics).pushed_up.v).epsilon(0.002));
    CHECK(n.parts[0].strain.v == Approx(mechanics.parts[0].strain.v).epsilon(0.12));  // the mesh differs
  }
  workshop.rules.mechanics.mesh = Mm{1.25};
  const Mechanics fine = work_out_mechanics(workshop.bed(), workshop.diagnostics);
  CHECK(fine.mesh.nodes.size() > 2 * mechanics.mesh.nodes.size());
  CHECK(full(fine).up.v == Approx(full(mechanics).up.v).epsilon(0.03).margin(1e-4));
  CHECK(fine.parts[0].strain.v == Approx(mechanics.parts[0].strain.v).epsilon(0.1));
}

TEST_CASE(
    "supports are laid out so that limits hold, with no more than one above the least of all choices (brute "
    "force)") {
  int found = 0;
  for (const double limit : {650.0, 520.0}) {
    Workshop workshop;
    for (const Point p : {Point{12, 12}, {26, 10}, {40, 12}, {48, 30}, {20, 28}}) workshop.pad(p);
    add_body(workshop.board, "U1", {32, 24}, 6, 6, 2, Side::top);
    workshop.job.mechanics.strain_limit = Microstrain{limit};
    // Fingers have room at seven places only; three stops stand by hand.
    const std::vector<Point> rooms = {{10, 20}, {20, 10}, {33, 13}, {44, 24}, {28, 33}, {52, 16}, {14, 33}};
    Polygons blocked = {{{{-1, -1}, {61, -1}, {61, 41}, {-1, 41}}, {}}};
    for (const Point r : rooms) blocked = subtract(blocked, {{rectangle(r, 6.9, 6.9), {}}});
    KeepOut k;
    k.name = "no room";
    k.sides = Side::top;
    k.kind = "keep-out";
    k.area = blocked;
    k.from_height = Mm{50};
    k.to_height = Mm{60};
    workshop.board.keep_outs.push_back(k);
    for (const Point p : {Point{8, 33}, {52, 33}, {30, 17}})
      workshop.job.mechanics.supports.push_back(hold(p, Side::bottom, false));
    workshop.plan();
    REQUIRE(workshop.bed().option.probes.size() == 5);
    const Mechanics laid = work_out_mechanics(workshop.bed(), workshop.diagnostics);
    std::vector<Point> places;
    for (const Point p : free_places(workshop.bed(), Side::top, true)) places.push_back(p);
    REQUIRE(places.size() >= 5);
    REQUIRE(places.size() <= 14);
    std::size_t fingers = 0;
    for (const PlacedSupport& s : laid.supports) fingers += s.finger;
    // All choices of the same places and of no other stops.
    Workshop all = workshop;
    all.job.mechanics.lay_out_supports = false;
    // The layout works on a coarse mesh and keeps a tenth in hand for that.
    all.job.mechanics.strain_limit = Microstrain{0.88 * limit};
    const auto by_hand = all.job.mechanics.supports;
    std::size_t least = 99;
    for (unsigned set = 0; set < (1u << places.size()); ++set) {
      const auto count = static_cast<std::size_t>(__builtin_popcount(set));
      if (count >= least || count > fingers + 1) continue;
      all.job.mechanics.supports = by_hand;
      for (std::size_t i = 0; i < places.size(); ++i)
        if (set >> i & 1) all.job.mechanics.supports.push_back(hold(places[i], Side::top, true));
      const Mechanics mechanics = work_out_mechanics(all.bed(), all.diagnostics);
      if (mechanics.limits_hold) least = count;
      CHECK(mechanics.over.has_value() == (mechanics.flat_strain > *all.job.mechanics.strain_limit));
      if (!mechanics.over) continue;
      CHECK(mechanics.over->strain.v == Approx(mechanics.flat_strain.v));
      const std::optional<Mm> nearest = mechanics.over->nearest[Side::top];
      for (const Point p : places) CHECK((nearest && nearest->v <= distance(p, mechanics.over->at) + 1e-9));
    }
    INFO("limit " << limit << ": " << fingers << " fingers of " << places.size() << " places, least " << least);
    if (least > places.size()) continue;  // so few fingers do not keep the tenth in hand
    CHECK(laid.limits_hold);
    CHECK(fingers <= least + 1);
    ++found;
  }
  CHECK(found >= 2);
}

TEST_CASE("a probe far from every finger loses its travel, and its need counts as unmet (counted by hand)") {
  Workshop workshop;
  workshop.pad({30, 20});
  workshop.pad({56, 8});
  workshop.board.thickness = Mm{0.6};  // a thin board: the corner lifts off
  for (ProbeClass& c : workshop.catalogue.classes) c.least_travel = Mm{4.0};
  workshop.job.mechanics.lay_out_supports = false;
  for (const Point p : {Point{8, 8}, {8, 33}, {22, 20}})
    workshop.job.mechanics.supports.push_back(hold(p, Side::top, true));
  for (const Point p : {Point{8, 28}, {20, 33}, {20, 8}})
    workshop.job.mechanics.supports.push_back(hold(p, Side::bottom, false));
  workshop.plan();
  REQUIRE(workshop.bed().option.probes.size() == 2);
  const Mechanics mechanics = work_out_mechanics(workshop.bed(), workshop.diagnostics);
  CHECK_FALSE(mechanics.limits_hold);
  REQUIRE_FALSE(mechanics.lost.empty());
  const int before = workshop.coverage.met_nets;
  const auto reasons = reasons_of_lost(mechanics, workshop.bed());
  drop_probes(workshop.coverage, workshop.needs, workshop.bed().option, reasons);
  CHECK(workshop.coverage.met_nets == before - static_cast<int>(mechanics.lost.size()));
  CHECK(workshop.coverage.unmet_nets >= 1);
  CHECK(workshop.coverage.rows[workshop.bed().option.probes[mechanics.lost[0]].need].reason.find("travel") !=
        std::string::npos);
}

TEST_CASE(
    "regions that leave their plane are told apart by side, with the place and height that the state gives "
    "(law: the region holds its peak)") {
  Workshop workshop;
  workshop.pad({30, 20});
  workshop.pad({56, 8});
  workshop.pad({54, 34});
  workshop.job.mechanics.lay_out_supports = false;
  for (const Point p : {Point{10, 20}, {24, 20}}) workshop.job.mechanics.supports.push_back(hold(p, Side::top, true));
  for (const Point p : {Point{8, 33}, {8, 7}, {30, 28}})
    workshop.job.mechanics.supports.push_back(hold(p, Side::bottom, false));
  workshop.plan();
  const Mechanics mechanics = work_out_mechanics(workshop.bed(), workshop.diagnostics);
  REQUIRE(mechanics.used);
  REQUIRE_FALSE(mechanics.lifted.empty());
  const PressedState& state = full(mechanics);
  REQUIRE(state.up > Mm{0.2});
  const LiftedRegion& region = mechanics.lifted[0];
  CHECK(region.side == Side::top);
  CHECK(region.most.v == Approx(state.up.v));
  CHECK(distance(region.at, state.up_at) < 1e-9);
  // The far end stands up: its region reaches the edge there, and ends short of the fingers.
  CHECK(region.box.x1 == Approx(60).margin(0.3));
  CHECK(region.box.x0 > 10);
  CHECK(region.area.v <= region.box.width() * region.box.height());
  for (const LiftedRegion& x : mechanics.lifted) CHECK(x.most > kLifted);
}

TEST_CASE(
    "strain limit by rate: 790 microstrain at 2.35 mm and 5000 microstrain a second; thicker boards bear "
    "less, held to its range (check value of a strain-gauge guideline, from memory)") {
  const Mm checked{2.35};
  const Microstrain at_5000 = strain_limit_at_rate(checked, StrainRate{5000});
  CHECK(at_5000.v == Approx(790).margin(1));
  CHECK(strain_limit_at_rate(Mm{1.6}, StrainRate{5000}).v == Approx(std::sqrt(2.35 / 1.6) * at_5000.v));
  CHECK(strain_limit_at_rate(checked, StrainRate{1e6}) == strain_limit_at_rate(checked, StrainRate{20000}));
  CHECK(strain_limit_at_rate(checked, StrainRate{1e-3}) == strain_limit_at_rate(checked, StrainRate{100}));
}

TEST_CASE(
    "vacuum holds by area, and locally: 80 probes of 2 N on 30 x 30 mm push with 160 N against 54 N (a trade rule's "
    "example)") {
  Workshop workshop;
  workshop.catalogue.classes.resize(1);
  for (int x = 0; x < 10; ++x)
    for (int y = 0; y < 8; ++y) workshop.pad({6.5 + 2.6 * x, 8.0 + 2.6 * y});
  workshop.kit = shipped_kit("vacuum-box");
  workshop.kit->vacuum = Bar{0.6};
  workshop.rules.mechanics.vacuum_share = 1;
  workshop.style = shipped_style("vacuum");
  workshop.style.spring_force = Newton{0};
  workshop.job.mechanics.lay_out_supports = false;
  for (const Point p : {Point{8, 34}, {52, 6}, {40, 20}})
    workshop.job.mechanics.supports.push_back(hold(p, Side::bottom, false));
  workshop.plan();
  REQUIRE(workshop.bed().option.probes.size() == 80);
  const Mechanics mechanics = work_out_mechanics(workshop.bed(), workshop.diagnostics);
  CHECK(mechanics.hold.v == Approx(0.06 * 60 * 40));
  REQUIRE_FALSE(mechanics.loose.empty());
  CHECK(mechanics.loose[0].held.v == Approx(0.06 * 30 * 30));
  CHECK(mechanics.loose[0].pushed.v == Approx(160));
  // 160 N against 144 N in all: the board rises off its stops near the probes, and probes are lost or weak there.
  for (const PressedState& s : mechanics.states) {
    INFO(s.name << " settled " << s.settled << " up " << s.up.v << " down " << s.down.v << " pushed " << s.pushed_up.v
                << " held " << s.held.v);
    CHECK(s.pushed_up < Newton{160});
  }
}

TEST_CASE("a lid on a hinge: tips move sideways by r (1 - cos) - h sin of the angle of first touch (plane geometry)") {
  Workshop workshop;
  workshop.job.fixture.sides = "both";
  workshop.job.fixture.board_lies = "bottom side down";
  workshop.pad({10, 8}, Side::bottom);
  workshop.pad({25, 30}, Side::top);
  workshop.kit = shipped_kit("clamshell");
  workshop.kit->hinge_height = Mm{8};
  workshop.plan();
  const Mechanics mechanics = work_out_mechanics(workshop.bed(), workshop.diagnostics);
  REQUIRE(mechanics.scrub.size() == 2);
  for (const ProbeId id : mechanics.scrub.ids()) {
    const PlacedProbe& p = workshop.bed().option.probes[id];
    if (p.name[0] == 'B') {
      CHECK(mechanics.scrub[id] == Mm{});
      continue;
    }
    const double r = 330 - (145 + 30 - 20), angle = std::asin(4.24 / r);
    CHECK(mechanics.scrub[id].v == Approx(std::abs(r * (1 - std::cos(angle)) - 8 * std::sin(angle))));
  }
}

TEST_CASE(
    "while a lid closes its probes are pressed in more on the hinge's side, by how far each is from it (hand sum)") {
  Workshop workshop;
  workshop.job.fixture.sides = "both";
  workshop.job.fixture.board_lies = "bottom side down";
  workshop.pad({30, 8}, Side::top);
  workshop.pad({30, 32}, Side::top);
  workshop.pad({10, 20}, Side::bottom);
  workshop.kit = shipped_kit("clamshell");
  workshop.job.mechanics.lay_out_supports = false;
  for (const Point p : {Point{30, 6}, {30, 34}, {50, 20}, {22, 20}, {38, 20}})
    workshop.job.mechanics.supports.push_back(hold(p, Side::bottom, false));
  workshop.plan();
  const Mechanics mechanics = work_out_mechanics(workshop.bed(), workshop.diagnostics);
  REQUIRE(mechanics.used);
  ProbeId near, far;
  for (const ProbeId id : workshop.bed().option.probes.ids()) {
    const double y = workshop.access.spots[workshop.bed().option.probes[id].spot].at.y;
    if (y == Approx(32).margin(0.5)) near = id;
    if (y == Approx(8).margin(0.5)) far = id;
  }
  int seen = 0;
  for (const PressedState& state : mechanics.states) {
    if (state.least_travel[far] <= Mm{0.05}) continue;
    ++seen;
    // The hinge is at 330, the board's middle at 145: what is to go there, by (330 - 157) / 185 and (330 - 133) / 185.
    CHECK((state.least_travel[near] - state.least_travel[far]).v == Approx(state.to_go.v * 24 / 185).margin(0.05));
  }
  CHECK(seen >= 3);
}

TEST_CASE(
    "limits differ by kind of part (rules of thumb from memory); by time of closing at ball grids (formula by hand)") {
  Workshop workshop;
  workshop.pad({12, 12});
  workshop.plan();
  using mechanics::strain_limit;
  const Planned bed = workshop.bed();
  Component part;
  part.name = PartName{"C1"};
  part.features = {FeatureId{0}, FeatureId{1}};
  const auto of_length = [&](double length) {
    part.body = {{rectangle({10, 10}, length, length / 2), {}}};
    return strain_limit(bed, part).v;
  };
  CHECK(of_length(1.6) == 1000);
  CHECK(of_length(2.0) == 800);
  CHECK(of_length(3.2) == 600);
  CHECK(of_length(5.7) == 500);
  part.holes_only = true;
  CHECK(of_length(5.7) == 1500);
  part.name = PartName{"R1"};
  CHECK(of_length(2.0) == 1500);
  part.area_array = true;
  CHECK(of_length(10) == 500);
  // In 0.2 s on 1.6 mm: the strain at which sqrt(2.35 / 1.6) (1900 - 300 log10(strain / 0.2)) is that strain.
  workshop.job.mechanics.closing = Seconds{0.2};
  workshop.board.thickness = Mm{1.6};
  const double strain = of_length(10);
  CHECK(strain == Approx(std::sqrt(2.35 / 1.6) * (1900 - 300 * std::log10(strain / 0.2))));
  CHECK(strain > 900);
  workshop.job.mechanics.closing = Seconds{20};
  CHECK(of_length(10) > strain);
  workshop.job.mechanics.strain_limit = Microstrain{450};
  CHECK(of_length(10) == 450);
}

TEST_CASE("left out on request, supports are laid out by reach (the job file's own statement)") {
  Workshop workshop;
  workshop.pad({20, 20});
  workshop.pad({40, 20});
  workshop.job.mechanics.used = false;
  workshop.plan();
  const Mechanics mechanics = work_out_mechanics(workshop.bed(), workshop.diagnostics);
  CHECK_FALSE(mechanics.used);
  CHECK_FALSE(mechanics.why_not.empty());
  CHECK(mechanics.states.empty());
  const auto reach = supports_by_reach(workshop.bed(), workshop.diagnostics);
  REQUIRE(mechanics.supports.size() == reach.size());
  for (std::size_t i = 0; i < reach.size(); ++i) CHECK(mechanics.supports[i].at == reach[i].at);
}

TEST_CASE("the bow that a bed tolerates holds, and one beyond it does not (law of the states; flattening by hand)") {
  Workshop workshop;
  for (const Point at : {Point{12, 12}, {30, 20}, {48, 12}, {12, 30}, {48, 30}}) workshop.pad(at);
  add_body(workshop.board, "U1", {24, 24}, 8, 6, 2, Side::top);
  workshop.board.thickness = Mm{1.6};
  workshop.job.mechanics.lay_out_supports = false;
  for (const Point at : {Point{6, 20}, {54, 20}, {30, 34}, {30, 6}})
    workshop.job.mechanics.supports.push_back(hold(at, Side::top, true));
  for (const Point at : {Point{6, 34}, {54, 34}, {6, 6}, {54, 6}})
    workshop.job.mechanics.supports.push_back(hold(at, Side::bottom, false));
  workshop.plan();
  const auto with = [&](double bow) {
    workshop.job.mechanics.bow = bow;
    return work_out_mechanics(workshop.bed(), workshop.diagnostics).bow;
  };
  // A parabola that rises by 1 % of 60 mm has the curvature 8 x 0.6 / 60^2; times 0.8 mm: 1067 microstrain.
  const BowMargin all = with(0.01);
  CHECK(all.flattening.v == Approx(4e6 * 0.6 * 1.6 / (60 * 60)));
  CHECK(all.allowed == 0.01);
  CHECK(all.measured);
  for (std::size_t i = 1; i < all.curve.size(); ++i) CHECK(all.curve[i].first > all.curve[i - 1].first);
  CHECK(all.curve.back().second > all.curve.front().second);
  // The limit is set between what a flat and what a bowed board bears.
  const double flat = all.curve.front().second.v, bent = all.curve.back().second.v;
  workshop.job.mechanics.strain_limit = Microstrain{(flat + bent) / 2};
  const BowMargin some = with(0.01);
  REQUIRE(some.tolerated > 0);
  REQUIRE(some.tolerated < 0.01);
  CHECK(with(0.97 * some.tolerated).tolerated == Approx(0.97 * some.tolerated));
  const double beyond = some.tolerated + 0.02 * 0.01;  // a sixty-fourth of the allowed bow is as fine as it is sought
  CHECK(with(beyond).tolerated < beyond);
  workshop.job.mechanics.strain_limit = Microstrain{0.9 * flat};
  CHECK(with(0.01).tolerated == 0);
}
