// Verdicts as geometry: each case is worked by hand from the rule file's own figures.
#include <catch2/catch.hpp>
#include <random>
#include <set>

#include "small_board.h"

using namespace teasel;
using namespace teasel::testing;

namespace {
const Rules kRules = shipped_rules();
const Catalogue kCatalogue = shipped_catalogue();
const std::vector<ProbeClass>& kClasses = kCatalogue.classes.rows();
const Verdict& of(const Board& b, const Access& a, const std::string& name, std::size_t k = 0, bool main = true) {
  return a.best_verdict(target_named(b, a, name), ClassId{k}, main);
}
}  // namespace

TEST_CASE("a clear pad is open, and its nearest obstacles are named with both numbers (hand sum)") {
  Board b = empty_board();
  add_round(b, "A", {20, 20}, 1.0, Side::bottom);
  add_body(b, "U7", {21.62, 20}, 1.0, 4.0, 2.0, Side::bottom);  // edge at 21.12: 0.62 mm from the pad's edge at 20.5
  const Access a = judge(b, {}, kCatalogue, kRules);
  const Verdict& v = of(b, a, "A");
  CHECK(v.open);
  const Shortfall* s = found(v, Reason::body);
  REQUIRE(s);
  CHECK_FALSE(s->blocking);
  CHECK(s->measured == Approx(0.62).margin(0.001));
  CHECK(s->required == Approx(1.0));
  CHECK(sentence(*s, b, {}) == "component body: body of U7, 0.62 mm, preferred 1.00 mm");
}

TEST_CASE("the part of the probe that stands at a body's height decides (radii of the catalogue, by hand)") {
  // 100 mil: head 0.9 up to 2.5 mm, plunger 1.0 up to 7.0, receptacle 1.68 up to 9.5, then 1.70 / 2 + web 0.25 + pocket
  // 0.5.
  const ProbeClass& p = kClasses[0];
  struct Row {
    double height, standoff, radius;
    Obstacle::Part part;
  };
  for (const Row& r : {Row{2.0, 0, p.tip_diameter.v / 2, Obstacle::Part::head},
                       Row{5.0, 0, p.plunger_diameter.v / 2, Obstacle::Part::plunger},
                       Row{8.0, 0, p.receptacle_diameter.v / 2, Obstacle::Part::receptacle},
                       Row{12.0, 0, p.receptacle_drill.v / 2 + 0.75, Obstacle::Part::plate},
                       Row{2.4, 0.5, p.tip_diameter.v / 2, Obstacle::Part::head}}) {
    for (const double spare : {-0.02, 0.02}) {
      Board b = empty_board();
      add_round(b, "A", {20, 20}, 1.0, Side::bottom);
      const double sigma =
          error_budget(b, kRules, p, b.exposures.front(), {20, 20}, true).total().sigma_along({1, 0}).v;
      const double gap = r.radius + 3 * sigma + spare;
      add_body(b, "U1", {20 + gap + 2, 20}, 4, 10, r.height, Side::bottom, r.standoff);
      const Access a = judge(b, {}, kCatalogue, kRules);
      const Shortfall* s = found(of(b, a, "A"), Reason::body);
      REQUIRE(s);
      INFO("height " << r.height << ", spare " << spare);
      CHECK(s->blocking == (spare < 0));
      if (spare < 0) CHECK(s->obstacle.part == r.part);
      if (spare < 0) CHECK(s->required == Approx(r.radius + 3 * sigma));
    }
  }
}

TEST_CASE("what stands clear of the board meets only the parts above it (hand sum from the probe's heights)") {
  // A shelf from 3 mm up over the pad's surroundings: a wide head below it passes, the plunger does not.
  ProbeClass wide = kClasses[0];
  wide.tip_diameter = Mm{1.6};
  Catalogue c{"one", {wide}};
  Board b = empty_board();
  add_round(b, "A", {20, 20}, 1.8, Side::bottom);
  const double sigma = error_budget(b, kRules, wide, b.exposures.front(), {20, 20}, true).total().largest_sigma().v;
  add_body(b, "SHELF", {20 + 0.65 + 3 * sigma + 2, 20}, 4, 10, 5, Side::bottom, 3.0);
  CHECK(of(b, judge(b, {}, c, kRules), "A").open);
  b.components.front().standoff = Mm{0};
  const Access a = judge(b, {}, c, kRules);
  const Shortfall* s = found(of(b, a, "A"), Reason::body);
  REQUIRE(s);
  CHECK(s->blocking);
  CHECK(s->obstacle.part == Obstacle::Part::head);
}

TEST_CASE("a cover over pads blocks them, a body on the other side does not (plane geometry)") {
  Board b = empty_board();
  add_round(b, "A", {20, 20}, 1.0, Side::bottom);
  add_round(b, "B", {40, 20}, 1.0, Side::bottom);
  add_body(b, "CAN", {20, 20}, 8, 8, 2, Side::bottom);
  add_body(b, "BIG", {40, 20}, 8, 8, 2, Side::top);
  const Access a = judge(b, {}, kCatalogue, kRules);
  CHECK_FALSE(of(b, a, "A").open);
  REQUIRE(found(of(b, a, "A"), Reason::body));
  CHECK(found(of(b, a, "A"), Reason::body)->obstacle.component() == ComponentId{0});
  CHECK(of(b, a, "B").open);
}

TEST_CASE("a drawn body cuts its own pad, and what is left is aimed at (hand sum)") {
  Board b = empty_board();
  add_body(b, "C1", {20, 20}, 2.0, 3.0, 1.5, Side::bottom);
  const FeatureId f =
      add_land(b, "C1-1", {21.4, 20}, {{rectangle({21.4, 20}, 2.4, 3.0), {}}}, Side::bottom, FeatureKind::smd_pad);
  b.features[f].component = ComponentId{0};
  b.components.front().features = {f};
  const Access a = judge(b, {}, kCatalogue, kRules);
  const Spot& s = a.spots[a.targets.front().first_spot];
  // The body ends at 21.0, the pad at 22.6: a circle of 1.6 mm about x = 21.8 is the largest left.
  CHECK(s.at.x == Approx(21.8).margin(0.003));
  CHECK(s.diameter.v == Approx(1.6).margin(0.006));
  CHECK(s.kind == AimKind::largest_circle);
}

TEST_CASE(
    "long lands are aimed at their ends as well, odd ones where the odds are better than at the centre (hand "
    "sum)") {
  Board b = empty_board();
  add_land(b, "LONG", {20, 20}, {{rectangle({20, 20}, 4.0, 1.0), {}}}, Side::bottom);
  // A trapezium: its largest circle leaves room to one side.
  add_land(b, "ODD", {40, 20}, {{{{39.7, 19.6}, {40.8, 19.85}, {40.8, 20.15}, {39.7, 20.4}}, {}}}, Side::bottom);
  const Access a = judge(b, {}, kCatalogue, kRules);
  std::multiset<AimKind> kinds;
  for (const Spot& s : a.spots)
    if (s.target == TargetId{0}) {
      kinds.insert(s.kind);
      if (s.kind == AimKind::end)
        CHECK(std::abs(std::abs(s.at.x - 20) - 1.525) < 0.03);  // 95 % of the circle fits 0.475 from the end
    }
  CHECK(kinds == std::multiset<AimKind>{AimKind::centre, AimKind::end, AimKind::end});
  const Target& odd = a.targets[TargetId{1}];
  double centre = 0, best = 1;
  for (int n = 0; n < odd.spots; ++n) {
    const Spot& spot = a.spots[odd.spot(n)];
    const double miss = miss_probability(a.shapes[spot.shape].landing.front(), spot.in_shape, {0.0025, 0, 0.0025}).v;
    if (spot.kind == AimKind::centre)
      centre = miss;
    else
      best = std::min(best, miss);
  }
  CHECK(best < centre);
}

TEST_CASE(
    "leads, open holes and strokes are judged by how far the tip is pushed in (hand sum from rules and "
    "catalogue)") {
  Board b = empty_board();
  Component c;
  c.name = PartName("J1");
  c.side = Side::top;
  c.height = Mm{5};
  c.body = {{rectangle({21.27, 20}, 6, 3), {}}};
  c.outline_by = "drawn";
  c.protrusion = Mm{0.8};
  for (int i = 0; i < 2; ++i)
    c.features.push_back(
        add_round(b, "J1-" + std::to_string(i + 1), {20 + 2.54 * i, 20}, 1.8, Side::bottom, FeatureKind::lead, 0.9));
  b.components.push_back(c);
  for (const FeatureId f : c.features) b.features[f].component = ComponentId{0};
  add_round(b, "V", {40, 20}, 1.0, Side::bottom, FeatureKind::via, 0.4);
  Access a = judge(b, {}, kCatalogue, kRules);
  CHECK(a.targets.front().contacts == std::vector<Contact>{Contact::lead});
  CHECK(tip_for(b, a.targets.front(), a.spots.front()) == "crown");
  CHECK(of(b, a, "J1-1").open);
  CHECK(a.targets[TargetId{2}].contacts == std::vector<Contact>{Contact::open_hole});
  CHECK(head_diameter(b, kRules, a.targets[TargetId{2}], kClasses[3]).v == Approx(0.8));
  CHECK(found(of(b, a, "V", 3), Reason::hole_too_wide));  // the 39 mil class has no head wider than 0.6 mm
  // A lead of 2 mm drives the probe onto its stop: 4.24 + 2.0 > 5.7.
  b.components.front().protrusion = Mm{2.0};
  a = judge(b, {}, kCatalogue, kRules);
  REQUIRE(found(of(b, a, "J1-1"), Reason::over_stroke));
  CHECK(found(of(b, a, "J1-1"), Reason::over_stroke)->blocking);
  // Short of the stop but beyond the window, where the spring is overstressed: 4.24 + 1.5 of 5.7 to 6.35.
  b.components.front().protrusion = Mm{1.5};
  a = judge(b, {}, kCatalogue, kRules);
  REQUIRE(found(of(b, a, "J1-1"), Reason::over_stroke));
  CHECK(found(of(b, a, "J1-1"), Reason::over_stroke)->blocking);
  // Fitted in one build variant only: lead and empty hole must both do.
  b.components.front().protrusion = Mm{0.8};
  b.components.front().always_fitted = false;
  a = judge(b, {}, kCatalogue, kRules);
  CHECK(a.targets.front().contacts == std::vector<Contact>{Contact::lead, Contact::open_hole});
  CHECK(tip_for(b, a.targets.front(), a.spots.front()) == "crown above hole size");
}

TEST_CASE("board edge, slots, tooling holes, fiducials and bans are met at their distances (hand sum)") {
  Board b = empty_board();
  add_round(b, "EDGE", {0.5, 20}, 0.9, Side::bottom);
  add_round(b, "SLOT", {30, 10}, 1.0, Side::bottom);
  add_round(b, "TOOL", {6.5, 4}, 1.0, Side::bottom);
  add_round(b, "FID", {30, 30}, 1.0, Side::bottom, FeatureKind::fiducial);
  add_round(b, "NEARFID", {31.4, 30}, 1.0, Side::bottom);
  add_round(b, "BANNED", {45, 10}, 1.0, Side::bottom);
  BoardHole slot;
  slot.at = {30.7, 8};
  slot.end = {30.7, 12};
  slot.diameter = Mm{0.8};
  slot.slot = true;
  slot.plating = formats::Plating::unplated;
  b.holes.push_back(slot);
  Job job;
  job.decisions.bans.push_back(ban("", "BANN*", {}, "sticker"));
  const Access a = judge(b, job, kCatalogue, kRules);
  REQUIRE(found(of(b, a, "EDGE"), Reason::board_edge));
  CHECK(found(of(b, a, "EDGE"), Reason::board_edge)->blocking);
  CHECK(found(of(b, a, "EDGE"), Reason::board_edge)->measured == Approx(0.5));
  REQUIRE(found(of(b, a, "SLOT"), Reason::slot));
  CHECK(found(of(b, a, "SLOT"), Reason::slot)->measured == Approx(0.3).margin(0.001));
  REQUIRE(found(of(b, a, "TOOL"), Reason::tooling_hole));
  CHECK(found(of(b, a, "TOOL"), Reason::tooling_hole)->measured == Approx(0.9));
  REQUIRE(found(of(b, a, "NEARFID"), Reason::fiducial));
  CHECK_FALSE(found(of(b, a, "NEARFID"), Reason::fiducial)->blocking);
  CHECK(obstacle_text(*found(of(b, a, "BANNED"), Reason::banned), b, job) == "sticker");
}

TEST_CASE(
    "what shares the space keeps its heights, be it a camera's ray, a label or a rail (hand sum from the rule "
    "file)") {
  Board b = empty_board();
  add_round(b, "A", {20, 20}, 1.0, Side::bottom);
  KeepOut k;
  k.name = "looking glass";
  k.kind = "camera";
  k.sides = Side::bottom;
  k.area = {{rectangle({21.7, 20}, 2, 2), {}}};  // from 20.7 on
  Job job;
  job.decisions.keep_outs.push_back(k);
  Access a = judge(b, job, kCatalogue, kRules);
  REQUIRE(found(of(b, a, "A"), Reason::keep_out));
  CHECK(found(of(b, a, "A"), Reason::keep_out)->blocking);  // the receptacle, 0.84 mm and its tolerance
  CHECK(found(of(b, a, "A"), Reason::keep_out)->obstacle.part == Obstacle::Part::plate);
  job.decisions.keep_outs.front().to_height = Mm{2.0};  // low: only the head is near, 0.45 mm
  a = judge(b, job, kCatalogue, kRules);
  REQUIRE(found(of(b, a, "A"), Reason::keep_out));
  CHECK_FALSE(found(of(b, a, "A"), Reason::keep_out)->blocking);
  CHECK(found(of(b, a, "A"), Reason::keep_out)->required == Approx(2.0));  // preferred distance of a camera
  job.decisions.keep_outs.front().sides = Side::top;
  CHECK_FALSE(found(of(b, judge(b, job, kCatalogue, kRules), "A"), Reason::keep_out));
}

TEST_CASE("a waiver opens what it names, and one that nothing needs is told (manual, access: waivers)") {
  Board b = empty_board();
  add_round(b, "A", {20, 20}, 0.3, Side::bottom);
  Job job;
  job.decisions.waivers.push_back(waiver("N_A", "A", "land too small", "placed by hand under a microscope"));
  job.decisions.waivers.push_back(waiver("N_A", "A", "odds too low", "same"));
  job.decisions.waivers.push_back(waiver("N_A", "B", "land too small", "no such target"));
  const Access a = judge(b, job, kCatalogue, kRules);
  const Verdict& v = of(b, a, "A", 3);
  CHECK(v.open);
  REQUIRE(found(v, Reason::land_too_small));
  CHECK(found(v, Reason::land_too_small)->waiver == WaiverId{0});
  Diagnostics d;
  check_waivers(a, job, d);
  REQUIRE(d.all().size() == 1);
  CHECK(d.all()[0].code == "waiver-unused");
  job.decisions.waivers = {waiver("N_A", "A", "mask closed", "no")};
  Diagnostics e;
  check_waivers(judge(b, job, kCatalogue, kRules), job, e);
  CHECK(e.failed());
}

TEST_CASE("no waiver sends a probe through a body, or onto nothing (manual, access: waivers)") {
  Board b = empty_board();
  add_round(b, "A", {20, 20}, 1.0, Side::bottom);
  add_round(b, "B", {40, 20}, 0.08, Side::bottom);
  const ComponentId can = add_body(b, "CAN", {20, 20}, 8, 8, 2, Side::bottom);
  Job job;
  for (const char* target : {"A", "B"})
    for (const char* rule : {"component body", "under its own component", "land too small", "odds too low"})
      job.decisions.waivers.push_back(waiver(std::string("N_") + target, target, rule, "I know better"));
  Access a = judge(b, job, kCatalogue, kRules);
  for (std::size_t k = 0; k < a.classes; ++k) {
    CHECK_FALSE(of(b, a, "A", k).open);
    CHECK_FALSE(of(b, a, "B", k).open);
  }
  // Under its own part likewise.
  b.features.front().component = can;
  b.components[can].features = {FeatureId{0}};
  b.components[can].area_array = true;
  a = judge(b, job, kCatalogue, kRules);
  CHECK_FALSE(of(b, a, "A").open);
  CHECK(found(of(b, a, "A"), Reason::under_body));
}

TEST_CASE(
    "no waiver makes a head that the class has not, lengthens a stroke past its end, or moves the tooling pin "
    "(manual, access: waivers)") {
  Board b = empty_board();
  // An open hole of 2.6 mm: the largest head of the 50 mil class is narrower (catalogue).
  add_round(b, "H", {20, 20}, 4.0, Side::bottom, FeatureKind::via, 2.6);
  add_round(b, "PIN", {4, 4}, 5.0, Side::bottom, FeatureKind::via, 3.2);
  Job job;
  for (const char* target : {"H", "PIN"})
    for (const char* rule : {"hole too wide", "stroke too short", "stroke too long", "tooling hole near"})
      job.decisions.waivers.push_back(waiver(std::string("N_") + target, target, rule, "I know better"));
  const Access a = judge(b, job, kCatalogue, kRules);
  for (std::size_t k = 0; k < a.classes; ++k) {
    if (kClasses[k].largest_head.v < 2.6) CHECK_FALSE(of(b, a, "H", k).open);
    CHECK_FALSE(of(b, a, "PIN", k).open);
  }
}

TEST_CASE(
    "a tall body stops the plunger at its own pad, though its outline is drawn about the lands (plane "
    "geometry)") {
  Board b = empty_board();
  add_round(b, "A", {18, 20}, 1.2, Side::bottom, FeatureKind::smd_pad);
  add_round(b, "B", {22, 20}, 1.2, Side::bottom, FeatureKind::smd_pad);
  const ComponentId can = add_body(b, "C1", {20, 20}, 6, 5, 1.0, Side::bottom);
  for (Feature& feature : b.features) feature.component = can;
  b.components[can].features = {FeatureId{0}, FeatureId{1}};
  CHECK(of(b, judge(b, {}, kCatalogue, kRules), "A").open);
  b.components[can].height = Mm{10};
  const Access a = judge(b, {}, kCatalogue, kRules);
  const Shortfall* s = found(of(b, a, "A"), Reason::body);
  REQUIRE(s);
  CHECK(s->blocking);
  CHECK(s->measured == 0);  // the aim lies 1 mm inside the outline, deeper than any margin about lands
}

TEST_CASE("a dented neighbour reaches as far as its metal does, not as its hull (plane geometry)") {
  Board b = empty_board();
  add_round(b, "A", {20, 20}, 0.9, Side::bottom);
  // A U about the pad, its inner edges 0.9 mm from the aim.
  const Polygons u = subtract({{rectangle({20, 19.6}, 3.0, 2.6), {}}}, {{rectangle({20, 20.4}, 1.8, 2.6), {}}});
  add_land(b, "U", {20, 18.7}, u, Side::bottom);
  const Access a = judge(b, {}, kCatalogue, kRules);
  const Verdict& v = of(b, a, "A", 3);  // 39 mil: head 0.36 mm
  CHECK(v.open);
  CHECK(v.wrong < Chance{1e-6});
}

TEST_CASE("bare metal that is no pad keeps probes away (hand sum)") {
  Board b = empty_board();
  add_round(b, "A", {20, 20}, 0.9, Side::bottom);
  CHECK(of(b, judge(b, {}, kCatalogue, kRules), "A").open);
  b.bare_metal.push_back({Side::bottom, {{rectangle({20.9, 20}, 0.8, 2.0), {}}}});
  const Access a = judge(b, {}, kCatalogue, kRules);
  const Shortfall* s = found(of(b, a, "A"), Reason::other_conductor);
  REQUIRE(s);
  CHECK(s->blocking);
  CHECK(s->measured == Approx(0.5).margin(0.001));
  CHECK(obstacle_text(*s, b, {}).rfind("bare metal that belongs to no pad", 0) == 0);
  b.bare_metal[0].side = Side::top;
  CHECK(of(b, judge(b, {}, kCatalogue, kRules), "A").open);
}

TEST_CASE(
    "odds of what one rule keeps closed are worked out when they are asked for (law: a pad's odds do not "
    "depend on who asks)") {
  Board b = empty_board();
  add_round(b, "A", {20, 20}, 0.6, Side::bottom);
  add_round(b, "B", {40, 20}, 0.2, Side::bottom);
  const Access a = judge(b, {}, kCatalogue, kRules);
  const BlockedOdds odds(a, b, kCatalogue, kRules);
  CHECK(of(b, a, "A").miss == Chance{1});
  CHECK(odds.of(SpotId{0}, ClassId{0}, true).miss < kRules.largest_miss);
  CHECK(odds.of(SpotId{1}, ClassId{0}, true).miss > kRules.largest_miss);
}

TEST_CASE("surfaces decide spring, tip and contact fault (order: common practice)") {
  Board b = empty_board();
  add_round(b, "A", {20, 20}, 1.0, Side::bottom);
  b.finish = Surface::organic;
  Access a = judge(b, {}, kCatalogue, kRules);
  CHECK(force_on(kRules, a.targets.front(), kClasses[0]).v == Approx(2.5));
  CHECK(tip_for(b, a.targets.front(), a.spots.front()) == "sharp blade");
  const Chance organic = fault_on(kRules, a.targets.front());
  b.exposures.front().pasted = true;
  a = judge(b, {}, kCatalogue, kRules);
  CHECK(a.targets.front().surface == Surface::soldered);
  const Chance soldered = fault_on(kRules, a.targets.front());
  b.exposures.front().pasted = false;
  b.finish = Surface::gold;
  a = judge(b, {}, kCatalogue, kRules);
  CHECK(force_on(kRules, a.targets.front(), kClasses[0]).v == Approx(1.0));
  CHECK(fault_on(kRules, a.targets.front()) < soldered);
  CHECK(soldered < organic);
}

TEST_CASE("no push finger finds room under a board full of parts (hand sum)") {
  Board b = empty_board();
  add_round(b, "A", {30, 20}, 1.0, Side::bottom);
  CHECK_FALSE(found(of(b, judge(b, {}, kCatalogue, kRules), "A"), Reason::push_finger));
  add_body(b, "ALL", {30, 20}, 54, 32, 2, Side::top);
  const Access a = judge(b, {}, kCatalogue, kRules);
  const Shortfall* s = found(of(b, a, "A"), Reason::push_finger);
  REQUIRE(s);
  CHECK_FALSE(s->blocking);
  // Body from 4 to 36 mm in Y; a finger of 2 mm with 0.5 mm of clearance stands from 37.5 on: 17.5 mm away.
  CHECK(s->measured == Approx(17.5).margin(0.6));
}

TEST_CASE("verdicts do not change when the board is turned or moved, and change sides under a flip (laws)") {
  Board b = empty_board();
  std::mt19937 rng(3);
  auto coordinate = [&](double most) {
    return std::round(1000 * (3 + (most - 6) * static_cast<double>(rng() % 10000) / 10000)) / 1000;
  };
  for (int i = 0; i < 60; ++i) {
    const Point at{coordinate(60), coordinate(40)};
    const Side side = rng() % 2 ? Side::top : Side::bottom;
    if (i % 3)
      add_round(b, "R" + std::to_string(i), at, 0.6 + 0.1 * static_cast<double>(rng() % 6), side,
                i % 2 ? FeatureKind::test_pad : FeatureKind::via, i % 2 ? 0 : 0.3);
    else
      add_land(b, "L" + std::to_string(i), at, {{rectangle(at, 0.7 + 0.1 * static_cast<double>(rng() % 20), 0.9), {}}},
               side);
  }
  for (int i = 0; i < 12; ++i)
    add_body(b, "U" + std::to_string(i), {coordinate(60), coordinate(40)}, 3, 2, 1 + static_cast<double>(rng() % 10),
             rng() % 2 ? Side::top : Side::bottom);
  const Access plain = judge(b, {}, kCatalogue, kRules);
  // Quarter turns and whole micrometres keep the aim points on their grid.
  const std::pair<Affine, bool> maps[] = {{{0, -1, 1, 0, 0, 0}, false},
                                          {{-1, 0, 0, -1, 12.345, -7.001}, false},
                                          {{1, 0, 0, 1, 250, 130.5}, false},
                                          {{-1, 0, 0, 1, 60, 0}, true}};
  for (const auto& [map, flip] : maps) {
    const Board other_board = moved(b, map);
    const Access a = judge(other_board, {}, kCatalogue, kRules);
    REQUIRE(a.targets.size() == plain.targets.size());
    for (const TargetId t : a.targets.ids()) {
      REQUIRE(a.targets[t].feature == plain.targets[t].feature);
      CHECK((a.targets[t].side == plain.targets[t].side) == !flip);
      for (const ClassId k : kCatalogue.classes.ids())
        for (const bool main : {true, false}) {
          const Verdict &v = plain.best_verdict(t, k, main), &w = a.best_verdict(t, k, main);
          INFO(b.features[a.targets[t].feature].name << ", class " << k.number());
          CHECK(v.open == w.open);
          CHECK(v.shortfalls.size() == w.shortfalls.size());
          if (v.open && w.open) CHECK(v.miss.v == Approx(w.miss.v).epsilon(2e-3).margin(1e-11));
          for (std::size_t i = 0; i < std::min(v.shortfalls.size(), w.shortfalls.size()); ++i)
            if (v.shortfalls[i].reason != Reason::push_finger)
              CHECK(v.shortfalls[i].measured == Approx(w.shortfalls[i].measured).epsilon(2e-3).margin(2e-3));
        }
    }
  }
}

TEST_CASE(

    "errors by source: a disc's variance along a line is a quarter of its radius squared, the second plate "
    "counts on the other side alone (elementary integral)") {
  Board b = empty_board();
  add_round(b, "A", {20, 20}, 2, Side::bottom);
  const ProbeClass& p = kClasses[0];
  const ErrorBudget main = error_budget(b, kRules, p, b.exposures.front(), {20, 20}, true),
                    other = error_budget(b, kRules, p, b.exposures.front(), {20, 20}, false);
  // Second moment of the uniform disc (elementary: the mean of x^2 over radius r is r^2 / 4).
  CHECK(main[ErrorSource::pointing].xx == Approx(p.pointing.v * p.pointing.v / 4));
  CHECK(main[ErrorSource::second_plate] == Covariance{});
  CHECK(other[ErrorSource::second_plate].xx == Approx(kRules.errors.second_plate.variance()));
  CHECK(kRules.errors.second_plate.variance() > 0);
}

TEST_CASE("between a receptacle's hole and a tooling pin's hole stands a web (hand sum)") {
  Board b = empty_board();
  const ProbeClass& p = kClasses[0];
  const double hole = b.holes.front().diameter.v / 2, needed = p.receptacle_drill.v / 2 + kRules.web.v;
  for (const double off : {-0.02, 0.02}) {
    Board c = b;
    add_round(c, "A", Point{4 + hole + needed + off, 12}, 2, Side::bottom);
    add_round(c, "B", Point{4 + hole + needed + off, 4}, 2, Side::bottom);
    const Access a = judge(c, Job{}, kCatalogue, kRules);
    const auto& shortfalls = a.best_verdict(TargetId{1}, ClassId{0}, true).shortfalls;
    const bool blocked = std::any_of(shortfalls.begin(), shortfalls.end(),
                                     [](const Shortfall& s) { return s.reason == Reason::tooling_hole && s.blocking; });
    CHECK(blocked == (off < 0));
  }
}
