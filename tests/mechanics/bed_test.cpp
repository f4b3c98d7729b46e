// The pressed bed: equilibrium, turning, meshes, layouts beside the exhaustive optimum, and figures worked out by hand.
#include "teasel/mechanics.h"

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
  Workshop w;
  for (const Point p : {Point{12, 10}, {24, 12}, {36, 10}, {48, 12}, {20, 28}, {40, 28}}) w.pad(p);
  w.job.mechanics.lay_out_supports = false;
  for (const Point p : {Point{10, 20}, {30, 20}, {50, 20}, {30, 35}, {30, 5}})
    w.job.mechanics.supports.push_back(hold(p, Side::top, true));
  for (const Point p : {Point{8, 33}, {52, 33}, {30, 17}})
    w.job.mechanics.supports.push_back(hold(p, Side::bottom, false));
  return w;
}
}  // namespace

TEST_CASE(
    "the pressed bed: what probes push, fingers hold; the sum of probe forces is near that at working travel "
    "(equilibrium, hand sum)") {
  Workshop w = held_bed();
  w.plan();
  REQUIRE(w.bed().option.probes.size() == 6);
  const Mechanics m = work_out_mechanics(w.bed(), w.d);
  REQUIRE(m.used);
  CHECK(m.why_not.empty());
  REQUIRE(m.states.size() == 3);
  for (const PressedState& s : m.states) {
    CHECK(s.settled);
    CHECK(s.pushed_down == Newton{});
  }
  const PressedState& s = full(m);
  // Six probes of 2 N at 4.24 mm, with the gap of the fingers and what the board bends less: rate (2 - 0.8) / 4.24.
  CHECK(s.pushed_up < Newton{12});
  CHECK(s.pushed_up.v > 12 - 6 * 1.2 / 4.24 * (0.05 + s.up.v + 0.02));
  CHECK(s.held.v >= Approx(s.pushed_up.v).epsilon(0.002));
  CHECK(s.middle->x == Approx((12 + 24 + 36 + 48 + 20 + 40) / 6.0).margin(0.2));
  for (const ProbeId probe : s.least_travel.ids()) {
    CHECK(s.least_travel[probe] <= s.most_travel[probe]);
    CHECK(s.most_travel[probe] < Mm{4.24 + 0.3});
  }
  CHECK(m.lost.empty());
  // At first touch tips push with their preload at most.
  for (const Newton force : m.states[0].probe_force) CHECK(force <= Newton{0.8 + 0.25});
}

TEST_CASE(
    "the pressed bed is the same when the board is turned, and nearly the same on a mesh of half the size "
    "(symmetry)") {
  Workshop w = held_bed();
  add_body(w.board, "U1", {30, 28}, 9, 9, 2, Side::top);
  w.plan();
  const Mechanics m = work_out_mechanics(w.bed(), w.d);
  REQUIRE(m.parts.size() == 1);
  for (const Affine turn : {Affine{0, -1, 1, 0, 70, 5}, Affine{-1, 0, 0, -1, 3, 90}}) {
    Workshop t = held_bed();
    add_body(t.board, "U1", {30, 28}, 9, 9, 2, Side::top);
    t.board = moved(t.board, turn);
    for (Support& s : t.job.mechanics.supports) s.at = turn(s.at);
    t.plan();
    const Mechanics n = work_out_mechanics(t.bed(), t.d);
    CHECK(full(n).up.v == Approx(full(m).up.v).epsilon(0.02).margin(1e-4));
    CHECK(full(n).pushed_up.v == Approx(full(m).pushed_up.v).epsilon(0.002));
    CHECK(n.parts[0].strain.v == Approx(m.parts[0].strain.v).epsilon(0.12));  // the mesh differs
  }
  w.rules.mechanics.mesh = Mm{2.5};
  const Mechanics fine = work_out_mechanics(w.bed(), w.d);
  CHECK(fine.mesh.nodes.size() > 2 * m.mesh.nodes.size());
  CHECK(full(fine).up.v == Approx(full(m).up.v).epsilon(0.03).margin(1e-4));
  CHECK(fine.parts[0].strain.v == Approx(m.parts[0].strain.v).epsilon(0.1));
}

TEST_CASE(
    "supports are laid out so that limits hold, with no more than one above the least of all choices (brute "
    "force)") {
  int found = 0;
  for (const double limit : {650.0, 520.0}) {
    Workshop w;
    for (const Point p : {Point{12, 12}, {26, 10}, {40, 12}, {48, 30}, {20, 28}}) w.pad(p);
    add_body(w.board, "U1", {32, 24}, 6, 6, 2, Side::top);
    w.job.mechanics.strain_limit = Microstrain{limit};
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
    w.board.keep_outs.push_back(k);
    for (const Point p : {Point{8, 33}, {52, 33}, {30, 17}})
      w.job.mechanics.supports.push_back(hold(p, Side::bottom, false));
    w.plan();
    REQUIRE(w.bed().option.probes.size() == 5);
    const Mechanics laid = work_out_mechanics(w.bed(), w.d);
    std::vector<Point> places;
    for (const Point p : free_places(w.bed(), Side::top, true)) places.push_back(p);
    REQUIRE(places.size() >= 5);
    REQUIRE(places.size() <= 14);
    std::size_t fingers = 0;
    for (const PlacedSupport& s : laid.supports) fingers += s.finger;
    // All choices of the same places and of no other stops.
    Workshop all = w;
    all.job.mechanics.lay_out_supports = false;
    // The layout works on a coarse mesh and keeps a tenth in hand for that.
    all.job.mechanics.strain_limit = Microstrain{0.88 * limit};
    const auto by_hand = all.job.mechanics.supports;
    std::size_t least = 99;
    for (unsigned set = 0; set < (1u << places.size()); ++set) {
      const auto n = static_cast<std::size_t>(__builtin_popcount(set));
      if (n >= least || n > fingers + 1) continue;
      all.job.mechanics.supports = by_hand;
      for (std::size_t i = 0; i < places.size(); ++i)
        if (set >> i & 1) all.job.mechanics.supports.push_back(hold(places[i], Side::top, true));
      const Mechanics m = work_out_mechanics(all.bed(), all.d);
      if (m.limits_hold) least = n;
      CHECK(m.over.has_value() == (m.flat_strain > *all.job.mechanics.strain_limit));
      if (!m.over) continue;
      CHECK(m.over->strain.v == Approx(m.flat_strain.v));
      const std::optional<Mm> nearest = m.over->nearest[Side::top];
      for (const Point p : places) CHECK((nearest && nearest->v <= distance(p, m.over->at) + 1e-9));
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
  Workshop w;
  w.pad({30, 20});
  w.pad({56, 8});
  w.board.thickness = Mm{0.6};  // a thin board: the corner lifts off
  for (ProbeClass& c : w.catalogue.classes) c.least_travel = Mm{4.0};
  w.job.mechanics.lay_out_supports = false;
  for (const Point p : {Point{8, 8}, {8, 33}, {22, 20}}) w.job.mechanics.supports.push_back(hold(p, Side::top, true));
  for (const Point p : {Point{8, 28}, {20, 33}, {20, 8}})
    w.job.mechanics.supports.push_back(hold(p, Side::bottom, false));
  w.plan();
  REQUIRE(w.bed().option.probes.size() == 2);
  const Mechanics m = work_out_mechanics(w.bed(), w.d);
  CHECK_FALSE(m.limits_hold);
  REQUIRE_FALSE(m.lost.empty());
  const int before = w.coverage.met_nets;
  const auto reasons = reasons_of_lost(m, w.bed());
  drop_probes(w.coverage, w.needs, w.bed().option, reasons);
  CHECK(w.coverage.met_nets == before - static_cast<int>(m.lost.size()));
  CHECK(w.coverage.unmet_nets >= 1);
  CHECK(w.coverage.rows[w.bed().option.probes[m.lost[0]].need].reason.find("travel") != std::string::npos);
}

TEST_CASE(
    "regions that leave their plane are told apart by side, with the place and height that the state gives "
    "(law: the region holds its peak)") {
  Workshop w;
  w.pad({30, 20});
  w.pad({56, 8});
  w.pad({54, 34});
  w.job.mechanics.lay_out_supports = false;
  for (const Point p : {Point{10, 20}, {24, 20}}) w.job.mechanics.supports.push_back(hold(p, Side::top, true));
  for (const Point p : {Point{8, 33}, {8, 7}, {30, 28}})
    w.job.mechanics.supports.push_back(hold(p, Side::bottom, false));
  w.plan();
  const Mechanics m = work_out_mechanics(w.bed(), w.d);
  REQUIRE(m.used);
  REQUIRE_FALSE(m.lifted.empty());
  const PressedState& s = full(m);
  REQUIRE(s.up > Mm{0.2});
  const LiftedRegion& r = m.lifted[0];
  CHECK(r.side == Side::top);
  CHECK(r.most.v == Approx(s.up.v));
  CHECK(distance(r.at, s.up_at) < 1e-9);
  // The far end stands up: its region reaches the edge there, and ends short of the fingers.
  CHECK(r.box.x1 == Approx(60).margin(0.3));
  CHECK(r.box.x0 > 10);
  CHECK(r.area.v <= r.box.width() * r.box.height());
  for (const LiftedRegion& x : m.lifted) CHECK(x.most > kLifted);
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
  Workshop w;
  w.catalogue.classes.resize(1);
  for (int x = 0; x < 10; ++x)
    for (int y = 0; y < 8; ++y) w.pad({6.5 + 2.6 * x, 8.0 + 2.6 * y});
  w.kit = shipped_kit("vacuum-box");
  w.kit->vacuum = Bar{0.6};
  w.rules.mechanics.vacuum_share = 1;
  w.style = shipped_style("vacuum");
  w.style.spring_force = Newton{0};
  w.job.mechanics.lay_out_supports = false;
  for (const Point p : {Point{8, 34}, {52, 6}, {40, 20}})
    w.job.mechanics.supports.push_back(hold(p, Side::bottom, false));
  w.plan();
  REQUIRE(w.bed().option.probes.size() == 80);
  const Mechanics m = work_out_mechanics(w.bed(), w.d);
  CHECK(m.hold.v == Approx(0.06 * 60 * 40));
  REQUIRE_FALSE(m.loose.empty());
  CHECK(m.loose[0].held.v == Approx(0.06 * 30 * 30));
  CHECK(m.loose[0].pushed.v == Approx(160));
  // 160 N against 144 N in all: the board rises off its stops near the probes, and probes are lost or weak there.
  for (const PressedState& s : m.states) {
    INFO(s.name << " settled " << s.settled << " up " << s.up.v << " down " << s.down.v << " pushed " << s.pushed_up.v
                << " held " << s.held.v);
    CHECK(s.pushed_up < Newton{160});
  }
}

TEST_CASE("a lid on a hinge: tips move sideways by r (1 - cos) - h sin of the angle of first touch (plane geometry)") {
  Workshop w;
  w.job.fixture.sides = "both";
  w.job.fixture.board_lies = "bottom side down";
  w.pad({10, 8}, Side::bottom);
  w.pad({25, 30}, Side::top);
  w.kit = shipped_kit("clamshell");
  w.plan();
  const Mechanics m = work_out_mechanics(w.bed(), w.d);
  REQUIRE(m.scrub.size() == 2);
  for (const ProbeId id : m.scrub.ids()) {
    const PlacedProbe& p = w.bed().option.probes[id];
    if (p.name[0] == 'B') {
      CHECK(m.scrub[id] == Mm{});
      continue;
    }
    const double r = 330 - (145 + 30 - 20), angle = std::asin(4.24 / r);
    CHECK(m.scrub[id].v == Approx(std::abs(r * (1 - std::cos(angle)) - 25 * std::sin(angle))));
  }
}

TEST_CASE("half way a lid's probes are pressed in more on the hinge's side, by how far each is from it (hand sum)") {
  Workshop w;
  w.job.fixture.sides = "both";
  w.job.fixture.board_lies = "bottom side down";
  w.pad({30, 8}, Side::top);
  w.pad({30, 32}, Side::top);
  w.pad({10, 20}, Side::bottom);
  w.kit = shipped_kit("clamshell");
  w.job.mechanics.lay_out_supports = false;
  for (const Point p : {Point{30, 6}, {30, 34}, {50, 20}, {22, 20}, {38, 20}})
    w.job.mechanics.supports.push_back(hold(p, Side::bottom, false));
  w.plan();
  const Mechanics m = work_out_mechanics(w.bed(), w.d);
  REQUIRE(m.used);
  REQUIRE(m.states[1].name == "half way");
  double near = 0, far = 0, near_closed = 0, far_closed = 0;
  for (const ProbeId id : w.bed().option.probes.ids()) {
    const double y = w.access.spots[w.bed().option.probes[id].spot].at.y;
    if (y == Approx(32).margin(0.5)) {
      near = m.states[1].least_travel[id].v;
      near_closed = full(m).least_travel[id].v;
    }
    if (y == Approx(8).margin(0.5)) {
      far = m.states[1].least_travel[id].v;
      far_closed = full(m).least_travel[id].v;
    }
  }
  // The hinge is at 330, the board's middle at 145: half of 4.24 mm by (330 - 157) / 185 and (330 - 133) / 185.
  CHECK(near - far == Approx(2.12 * 24 / 185).margin(0.05));
  CHECK(near_closed == Approx(far_closed).margin(0.05));
}

TEST_CASE("left out on request, supports are laid out by reach (the job file's own statement)") {
  Workshop w;
  w.pad({20, 20});
  w.pad({40, 20});
  w.job.mechanics.used = false;
  w.plan();
  const Mechanics m = work_out_mechanics(w.bed(), w.d);
  CHECK_FALSE(m.used);
  CHECK_FALSE(m.why_not.empty());
  CHECK(m.states.empty());
  const auto reach = supports_by_reach(w.bed(), w.d);
  REQUIRE(m.supports.size() == reach.size());
  for (std::size_t i = 0; i < reach.size(); ++i) CHECK(m.supports[i].at == reach[i].at);
}
