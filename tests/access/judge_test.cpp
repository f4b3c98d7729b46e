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
const Verdict& of(const Board& board, const Access& access, const std::string& name, std::size_t k = 0,
                  bool main = true) {
  return access.best_verdict(target_named(board, access, name), ClassId{k}, main);
}
}  // namespace

TEST_CASE("a clear pad is open, and its nearest obstacles are named with both numbers (hand sum)") {
  Board board = empty_board();
  add_round(board, "A", {20, 20}, 1.0, Side::bottom);
  add_body(board, "U7", {21.62, 20}, 1.0, 4.0, 2.0,
           Side::bottom);  // edge at 21.12: 0.62 mm from the pad's edge at 20.5
  const Access access = judge(board, {}, kCatalogue, kRules);
  const Verdict& verdict = of(board, access, "A");
  CHECK(verdict.open);
  const Shortfall* shortfall = found(verdict, Reason::body);
  REQUIRE(shortfall);
  CHECK_FALSE(shortfall->blocking);
  CHECK(shortfall->measured == Approx(0.62).margin(0.001));
  CHECK(shortfall->required == Approx(1.0));
  CHECK(sentence(*shortfall, board, {}) == "component body: body of U7, 0.62 mm, preferred 1.00 mm");
}

TEST_CASE("the part of the probe that stands at a body's height decides (radii of the catalogue, by hand)") {
  // 100 mil: head 0.9 up to 2.5 mm, plunger 1.0 up to 7.0, receptacle 1.68 up to 9.5, then 1.70 / 2 + web 0.25 + pocket
  // 0.5.
  const ProbeClass& probe = kClasses[0];
  struct Row {
    double height, standoff, radius;
    Obstacle::Part part;
  };
  for (const Row& row : {Row{2.0, 0, probe.tip_diameter.v / 2, Obstacle::Part::head},
                         Row{5.0, 0, probe.plunger_diameter.v / 2, Obstacle::Part::plunger},
                         Row{8.0, 0, probe.receptacle_diameter.v / 2, Obstacle::Part::receptacle},
                         Row{12.0, 0, probe.receptacle_drill.v / 2 + 0.75, Obstacle::Part::plate},
                         Row{2.4, 0.5, probe.tip_diameter.v / 2, Obstacle::Part::head}}) {
    for (const double spare : {-0.02, 0.02}) {
      Board board = empty_board();
      add_round(board, "A", {20, 20}, 1.0, Side::bottom);
      const double sigma =
          error_budget(board, kRules, probe, board.exposures.front(), {20, 20}, true).total().sigma_along({1, 0}).v;
      const double gap = row.radius + 3 * sigma + spare;
      add_body(board, "U1", {20 + gap + 2, 20}, 4, 10, row.height, Side::bottom, row.standoff);
      const Access access = judge(board, {}, kCatalogue, kRules);
      const Shortfall* shortfall = found(of(board, access, "A"), Reason::body);
      REQUIRE(shortfall);
      INFO("height " << row.height << ", spare " << spare);
      CHECK(shortfall->blocking == (spare < 0));
      if (spare < 0) CHECK(shortfall->obstacle.part == row.part);
      if (spare < 0) CHECK(shortfall->required == Approx(row.radius + 3 * sigma));
    }
  }
}

TEST_CASE("what stands clear of the board meets only the parts above it (hand sum from the probe's heights)") {
  // A shelf from 3 mm up over the pad's surroundings: a wide head below it passes, the plunger does not.
  ProbeClass wide = kClasses[0];
  wide.tip_diameter = Mm{1.6};
  Catalogue catalogue{"one", {wide}};
  Board board = empty_board();
  add_round(board, "A", {20, 20}, 1.8, Side::bottom);
  const double sigma =
      error_budget(board, kRules, wide, board.exposures.front(), {20, 20}, true).total().largest_sigma().v;
  add_body(board, "SHELF", {20 + 0.65 + 3 * sigma + 2, 20}, 4, 10, 5, Side::bottom, 3.0);
  CHECK(of(board, judge(board, {}, catalogue, kRules), "A").open);
  board.components.front().standoff = Mm{0};
  const Access access = judge(board, {}, catalogue, kRules);
  const Shortfall* shortfall = found(of(board, access, "A"), Reason::body);
  REQUIRE(shortfall);
  CHECK(shortfall->blocking);
  CHECK(shortfall->obstacle.part == Obstacle::Part::head);
}

TEST_CASE("a cover over pads blocks them, a body on the other side does not (plane geometry)") {
  Board board = empty_board();
  add_round(board, "A", {20, 20}, 1.0, Side::bottom);
  add_round(board, "B", {40, 20}, 1.0, Side::bottom);
  add_body(board, "CAN", {20, 20}, 8, 8, 2, Side::bottom);
  add_body(board, "BIG", {40, 20}, 8, 8, 2, Side::top);
  const Access access = judge(board, {}, kCatalogue, kRules);
  CHECK_FALSE(of(board, access, "A").open);
  REQUIRE(found(of(board, access, "A"), Reason::body));
  CHECK(found(of(board, access, "A"), Reason::body)->obstacle.component() == ComponentId{0});
  CHECK(of(board, access, "B").open);
}

TEST_CASE("a drawn body cuts its own pad, and what is left is aimed at (hand sum)") {
  Board board = empty_board();
  add_body(board, "C1", {20, 20}, 2.0, 3.0, 1.5, Side::bottom);
  const FeatureId pad =
      add_land(board, "C1-1", {21.4, 20}, {{rectangle({21.4, 20}, 2.4, 3.0), {}}}, Side::bottom, FeatureKind::smd_pad);
  board.features[pad].component = ComponentId{0};
  board.components.front().features = {pad};
  const Access access = judge(board, {}, kCatalogue, kRules);
  const Spot& spot = access.spots[access.targets.front().first_spot];
  // The body ends at 21.0, the pad at 22.6: a circle of 1.6 mm about x = 21.8 is the largest left.
  CHECK(spot.at.x == Approx(21.8).margin(0.003));
  CHECK(spot.diameter.v == Approx(1.6).margin(0.006));
  CHECK(spot.kind == AimKind::largest_circle);
}

TEST_CASE(
    "long lands are aimed at their ends as well, odd ones where the odds are better than at the centre (hand "
    "sum)") {
  Board board = empty_board();
  add_land(board, "LONG", {20, 20}, {{rectangle({20, 20}, 4.0, 1.0), {}}}, Side::bottom);
  // A trapezium: its largest circle leaves room to one side.
  add_land(board, "ODD", {40, 20}, {{{{39.7, 19.6}, {40.8, 19.85}, {40.8, 20.15}, {39.7, 20.4}}, {}}}, Side::bottom);
  const Access access = judge(board, {}, kCatalogue, kRules);
  std::multiset<AimKind> kinds;
  for (const Spot& spot : access.spots)
    if (spot.target == TargetId{0}) {
      kinds.insert(spot.kind);
      if (spot.kind == AimKind::end)
        CHECK(std::abs(std::abs(spot.at.x - 20) - 1.525) < 0.03);  // 95 % of the circle fits 0.475 from the end
    }
  CHECK(kinds == std::multiset<AimKind>{AimKind::centre, AimKind::end, AimKind::end});
  const Target& odd = access.targets[TargetId{1}];
  double centre = 0, best = 1;
  for (int n = 0; n < odd.spots; ++n) {
    const Spot& spot = access.spots[odd.spot(n)];
    const double miss =
        miss_probability(access.shapes[spot.shape].landing.front(), spot.in_shape, {0.0025, 0, 0.0025}).v;
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
  Board board = empty_board();
  Component component;
  component.name = PartName("J1");
  component.side = Side::top;
  component.height = Mm{5};
  component.body = {{rectangle({21.27, 20}, 6, 3), {}}};
  component.outline_by = "drawn";
  component.protrusion = Mm{0.8};
  for (int i = 0; i < 2; ++i)
    component.features.push_back(add_round(board, "J1-" + std::to_string(i + 1), {20 + 2.54 * i, 20}, 1.8, Side::bottom,
                                           FeatureKind::lead, 0.9));
  board.components.push_back(component);
  for (const FeatureId pad : component.features) board.features[pad].component = ComponentId{0};
  add_round(board, "V", {40, 20}, 1.0, Side::bottom, FeatureKind::via, 0.4);
  Access access = judge(board, {}, kCatalogue, kRules);
  CHECK(access.targets.front().contacts == std::vector<Contact>{Contact::lead});
  CHECK(tip_for(board, access.targets.front(), access.spots.front()) == "crown");
  CHECK(of(board, access, "J1-1").open);
  CHECK(access.targets[TargetId{2}].contacts == std::vector<Contact>{Contact::open_hole});
  CHECK(head_diameter(board, kRules, access.targets[TargetId{2}], kClasses[3]).v == Approx(0.8));
  CHECK(found(of(board, access, "V", 3), Reason::hole_too_wide));  // the 39 mil class has no head wider than 0.6 mm
  // A lead of 2 mm drives the probe onto its stop: 4.24 + 2.0 > 5.7.
  board.components.front().protrusion = Mm{2.0};
  access = judge(board, {}, kCatalogue, kRules);
  REQUIRE(found(of(board, access, "J1-1"), Reason::over_stroke));
  CHECK(found(of(board, access, "J1-1"), Reason::over_stroke)->blocking);
  // Short of the stop but beyond the window, where the spring is overstressed: 4.24 + 1.5 of 5.7 to 6.35.
  board.components.front().protrusion = Mm{1.5};
  access = judge(board, {}, kCatalogue, kRules);
  REQUIRE(found(of(board, access, "J1-1"), Reason::over_stroke));
  CHECK(found(of(board, access, "J1-1"), Reason::over_stroke)->blocking);
  // Fitted in one build variant only: lead and empty hole must both do.
  board.components.front().protrusion = Mm{0.8};
  board.components.front().always_fitted = false;
  access = judge(board, {}, kCatalogue, kRules);
  CHECK(access.targets.front().contacts == std::vector<Contact>{Contact::lead, Contact::open_hole});
  CHECK(tip_for(board, access.targets.front(), access.spots.front()) == "crown above hole size");
}

TEST_CASE("board edge, slots, tooling holes, fiducials and bans are met at their distances (hand sum)") {
  Board board = empty_board();
  add_round(board, "EDGE", {0.5, 20}, 0.9, Side::bottom);
  add_round(board, "SLOT", {30, 10}, 1.0, Side::bottom);
  add_round(board, "TOOL", {6.5, 4}, 1.0, Side::bottom);
  add_round(board, "FID", {30, 30}, 1.0, Side::bottom, FeatureKind::fiducial);
  add_round(board, "NEARFID", {31.4, 30}, 1.0, Side::bottom);
  add_round(board, "BANNED", {45, 10}, 1.0, Side::bottom);
  BoardHole slot;
  slot.at = {30.7, 8};
  slot.end = {30.7, 12};
  slot.diameter = Mm{0.8};
  slot.slot = true;
  slot.plating = formats::Plating::unplated;
  board.holes.push_back(slot);
  Job job;
  job.decisions.bans.push_back(ban("", "BANN*", {}, "sticker"));
  const Access access = judge(board, job, kCatalogue, kRules);
  REQUIRE(found(of(board, access, "EDGE"), Reason::board_edge));
  CHECK(found(of(board, access, "EDGE"), Reason::board_edge)->blocking);
  CHECK(found(of(board, access, "EDGE"), Reason::board_edge)->measured == Approx(0.5));
  REQUIRE(found(of(board, access, "SLOT"), Reason::slot));
  CHECK(found(of(board, access, "SLOT"), Reason::slot)->measured == Approx(0.3).margin(0.001));
  REQUIRE(found(of(board, access, "TOOL"), Reason::tooling_hole));
  CHECK(found(of(board, access, "TOOL"), Reason::tooling_hole)->measured == Approx(0.9));
  REQUIRE(found(of(board, access, "NEARFID"), Reason::fiducial));
  CHECK_FALSE(found(of(board, access, "NEARFID"), Reason::fiducial)->blocking);
  CHECK(obstacle_text(*found(of(board, access, "BANNED"), Reason::banned), board, job) == "sticker");
}

TEST_CASE(
    "what shares the space keeps its heights, be it a camera's ray, a label or a rail (hand sum from the rule "
    "file)") {
  Board board = empty_board();
  add_round(board, "A", {20, 20}, 1.0, Side::bottom);
  KeepOut keep_out;
  keep_out.name = "looking glass";
  keep_out.kind = "camera";
  keep_out.sides = Side::bottom;
  keep_out.area = {{rectangle({21.7, 20}, 2, 2), {}}};  // from 20.7 on
  const Job job;
  board.keep_outs.push_back(keep_out);
  Access access = judge(board, job, kCatalogue, kRules);
  REQUIRE(found(of(board, access, "A"), Reason::keep_out));
  CHECK(found(of(board, access, "A"), Reason::keep_out)->blocking);  // the receptacle, 0.84 mm and its tolerance
  CHECK(found(of(board, access, "A"), Reason::keep_out)->obstacle.part == Obstacle::Part::plate);
  board.keep_outs.front().to_height = Mm{2.0};  // low: only the head is near, 0.45 mm
  access = judge(board, job, kCatalogue, kRules);
  REQUIRE(found(of(board, access, "A"), Reason::keep_out));
  CHECK_FALSE(found(of(board, access, "A"), Reason::keep_out)->blocking);
  CHECK(found(of(board, access, "A"), Reason::keep_out)->required == Approx(2.0));  // preferred distance of a camera
  board.keep_outs.front().sides = Side::top;
  CHECK_FALSE(found(of(board, judge(board, job, kCatalogue, kRules), "A"), Reason::keep_out));
}

TEST_CASE("a waiver opens what it names, and one that nothing needs is told (manual, access: waivers)") {
  Board board = empty_board();
  add_round(board, "A", {20, 20}, 0.3, Side::bottom);
  Rules rules = kRules;
  rules.pad_diameter_main.least = Mm{0.65};  // a shop's own wall
  Job job;
  job.decisions.waivers.push_back(waiver("N_A", "A", "land too small", "placed by hand under a microscope"));
  job.decisions.waivers.push_back(waiver("N_A", "A", "odds too low", "same"));
  job.decisions.waivers.push_back(waiver("N_A", "B", "land too small", "no such target"));
  const Access access = judge(board, job, kCatalogue, rules);
  const Verdict& verdict = of(board, access, "A", 3);
  CHECK(verdict.open);
  REQUIRE(found(verdict, Reason::land_too_small));
  CHECK(found(verdict, Reason::land_too_small)->waiver == WaiverId{0});
  Diagnostics diagnostics;
  check_waivers(access, job, diagnostics);
  REQUIRE(diagnostics.all().size() == 1);
  CHECK(diagnostics.all()[0].code == "waiver-unused");
  job.decisions.waivers = {waiver("N_A", "A", "mask closed", "no")};
  Diagnostics refused;
  check_waivers(judge(board, job, kCatalogue, rules), job, refused);
  CHECK(refused.failed());
}

TEST_CASE("no waiver sends a probe through a body, or onto nothing (manual, access: waivers)") {
  Board board = empty_board();
  add_round(board, "A", {20, 20}, 1.0, Side::bottom);
  add_round(board, "B", {40, 20}, 0.08, Side::bottom);
  const ComponentId can = add_body(board, "CAN", {20, 20}, 8, 8, 2, Side::bottom);
  Job job;
  for (const char* target : {"A", "B"})
    for (const char* rule : {"component body", "under its own component", "land too small", "odds too low"})
      job.decisions.waivers.push_back(waiver(std::string("N_") + target, target, rule, "I know better"));
  Access access = judge(board, job, kCatalogue, kRules);
  for (std::size_t k = 0; k < access.classes; ++k) {
    CHECK_FALSE(of(board, access, "A", k).open);
    CHECK_FALSE(of(board, access, "B", k).open);
  }
  // Under its own part likewise.
  board.features.front().component = can;
  board.components[can].features = {FeatureId{0}};
  board.components[can].area_array = true;
  access = judge(board, job, kCatalogue, kRules);
  CHECK_FALSE(of(board, access, "A").open);
  CHECK(found(of(board, access, "A"), Reason::under_body));
}

TEST_CASE(
    "no waiver makes a head that the class has not, lengthens a stroke past its end, or moves the tooling pin "
    "(manual, access: waivers)") {
  Board board = empty_board();
  // An open hole of 2.6 mm: the largest head of the 50 mil class is narrower (catalogue).
  add_round(board, "H", {20, 20}, 4.0, Side::bottom, FeatureKind::via, 2.6);
  add_round(board, "PIN", {4, 4}, 5.0, Side::bottom, FeatureKind::via, 3.2);
  Job job;
  for (const char* target : {"H", "PIN"})
    for (const char* rule : {"hole too wide", "stroke too short", "stroke too long", "tooling hole near"})
      job.decisions.waivers.push_back(waiver(std::string("N_") + target, target, rule, "I know better"));
  const Access access = judge(board, job, kCatalogue, kRules);
  for (std::size_t k = 0; k < access.classes; ++k) {
    if (kClasses[k].largest_head.v < 2.6) CHECK_FALSE(of(board, access, "H", k).open);
    CHECK_FALSE(of(board, access, "PIN", k).open);
  }
}

TEST_CASE(
    "a tall body stops the plunger at its own pad, though its outline is drawn about the lands (plane "
    "geometry)") {
  Board board = empty_board();
  add_round(board, "A", {18, 20}, 1.2, Side::bottom, FeatureKind::smd_pad);
  add_round(board, "B", {22, 20}, 1.2, Side::bottom, FeatureKind::smd_pad);
  const ComponentId can = add_body(board, "C1", {20, 20}, 6, 5, 1.0, Side::bottom);
  for (Feature& feature : board.features) feature.component = can;
  board.components[can].features = {FeatureId{0}, FeatureId{1}};
  CHECK(of(board, judge(board, {}, kCatalogue, kRules), "A").open);
  board.components[can].height = Mm{10};
  const Access access = judge(board, {}, kCatalogue, kRules);
  const Shortfall* shortfall = found(of(board, access, "A"), Reason::body);
  REQUIRE(shortfall);
  CHECK(shortfall->blocking);
  CHECK(shortfall->measured == 0);  // the aim lies 1 mm inside the outline, deeper than any margin about lands
}

TEST_CASE("a dented neighbour reaches as far as its metal does, not as its hull (plane geometry)") {
  Board board = empty_board();
  add_round(board, "A", {20, 20}, 0.9, Side::bottom);
  // A U about the pad, its inner edges 0.9 mm from the aim.
  const Polygons cup = subtract({{rectangle({20, 19.6}, 3.0, 2.6), {}}}, {{rectangle({20, 20.4}, 1.8, 2.6), {}}});
  add_land(board, "U", {20, 18.7}, cup, Side::bottom);
  const Access access = judge(board, {}, kCatalogue, kRules);
  const Verdict& verdict = of(board, access, "A", 3);  // 39 mil: head 0.36 mm
  CHECK(verdict.open);
  CHECK(verdict.wrong < Chance{1e-6});
}

TEST_CASE("bare metal that is no pad keeps probes away (hand sum)") {
  Board board = empty_board();
  add_round(board, "A", {20, 20}, 0.9, Side::bottom);
  CHECK(of(board, judge(board, {}, kCatalogue, kRules), "A").open);
  board.bare_metal.push_back({Side::bottom, {{rectangle({20.9, 20}, 0.8, 2.0), {}}}});
  const Access access = judge(board, {}, kCatalogue, kRules);
  const Shortfall* shortfall = found(of(board, access, "A"), Reason::other_conductor);
  REQUIRE(shortfall);
  CHECK(shortfall->blocking);
  CHECK(shortfall->measured == Approx(0.5).margin(0.001));
  CHECK(obstacle_text(*shortfall, board, {}).rfind("bare metal that belongs to no pad", 0) == 0);
  board.bare_metal[0].side = Side::top;
  CHECK(of(board, judge(board, {}, kCatalogue, kRules), "A").open);
}

TEST_CASE(
    "odds of what one rule keeps closed are worked out when they are asked for (law: a pad's odds do not "
    "depend on who asks)") {
  Board board = empty_board();
  add_round(board, "A", {20, 20}, 0.6, Side::bottom);
  add_round(board, "B", {40, 20}, 0.2, Side::bottom);
  Rules rules = kRules;
  rules.pad_diameter_main.least = Mm{0.65};  // a shop's own wall
  const Access access = judge(board, {}, kCatalogue, rules);
  const BlockedOdds odds(access, board, kCatalogue, rules);
  CHECK(of(board, access, "A").miss == Chance{1});
  CHECK(odds.of(SpotId{0}, ClassId{0}, true).miss < kRules.largest_miss);
  CHECK(odds.of(SpotId{1}, ClassId{0}, true).miss > kRules.largest_miss);
}

TEST_CASE("surfaces decide spring, tip and contact fault (order: common practice)") {
  Board board = empty_board();
  add_round(board, "A", {20, 20}, 1.0, Side::bottom);
  board.finish = Surface::organic;
  Access access = judge(board, {}, kCatalogue, kRules);
  CHECK(force_on(kRules, access.targets.front(), kClasses[0]).v == Approx(2.5));
  CHECK(tip_for(board, access.targets.front(), access.spots.front()) == "sharp blade");
  const Chance organic = fault_on(kRules, access.targets.front());
  board.exposures.front().pasted = true;
  access = judge(board, {}, kCatalogue, kRules);
  CHECK(access.targets.front().surface == Surface::soldered);
  const Chance soldered = fault_on(kRules, access.targets.front());
  board.exposures.front().pasted = false;
  board.finish = Surface::gold;
  access = judge(board, {}, kCatalogue, kRules);
  CHECK(force_on(kRules, access.targets.front(), kClasses[0]).v == Approx(1.0));
  CHECK(fault_on(kRules, access.targets.front()) < soldered);
  CHECK(soldered < organic);
}

TEST_CASE("no push finger finds room under a board full of parts (hand sum)") {
  Board board = empty_board();
  add_round(board, "A", {30, 20}, 1.0, Side::bottom);
  CHECK_FALSE(found(of(board, judge(board, {}, kCatalogue, kRules), "A"), Reason::push_finger));
  add_body(board, "ALL", {30, 20}, 54, 32, 2, Side::top);
  const Access access = judge(board, {}, kCatalogue, kRules);
  const Shortfall* shortfall = found(of(board, access, "A"), Reason::push_finger);
  REQUIRE(shortfall);
  CHECK_FALSE(shortfall->blocking);
  // Body from 4 to 36 mm in Y; a finger of 2 mm with 0.5 mm of clearance stands from 37.5 on: 17.5 mm away.
  CHECK(shortfall->measured == Approx(17.5).margin(0.6));
}

TEST_CASE("verdicts do not change when the board is turned or moved, and change sides under a flip (laws)") {
  Board board = empty_board();
  std::mt19937 rng(3);
  auto coordinate = [&](double most) {
    return std::round(1000 * (3 + (most - 6) * static_cast<double>(rng() % 10000) / 10000)) / 1000;
  };
  for (int i = 0; i < 60; ++i) {
    const Point at{coordinate(60), coordinate(40)};
    const Side side = rng() % 2 ? Side::top : Side::bottom;
    if (i % 3)
      add_round(board, "R" + std::to_string(i), at, 0.6 + 0.1 * static_cast<double>(rng() % 6), side,
                i % 2 ? FeatureKind::test_pad : FeatureKind::via, i % 2 ? 0 : 0.3);
    else
      add_land(board, "L" + std::to_string(i), at,
               {{rectangle(at, 0.7 + 0.1 * static_cast<double>(rng() % 20), 0.9), {}}}, side);
  }
  for (int i = 0; i < 12; ++i)
    add_body(board, "U" + std::to_string(i), {coordinate(60), coordinate(40)}, 3, 2,
             1 + static_cast<double>(rng() % 10), rng() % 2 ? Side::top : Side::bottom);
  const Access plain = judge(board, {}, kCatalogue, kRules);
  // Quarter turns and whole micrometres keep the aim points on their grid.
  const std::pair<Affine, bool> maps[] = {{{0, -1, 1, 0, 0, 0}, false},
                                          {{-1, 0, 0, -1, 12.345, -7.001}, false},
                                          {{1, 0, 0, 1, 250, 130.5}, false},
                                          {{-1, 0, 0, 1, 60, 0}, true}};
  for (const auto& [map, flip] : maps) {
    const Board other_board = moved(board, map);
    const Access access = judge(other_board, {}, kCatalogue, kRules);
    REQUIRE(access.targets.size() == plain.targets.size());
    for (const TargetId target : access.targets.ids()) {
      REQUIRE(access.targets[target].feature == plain.targets[target].feature);
      CHECK((access.targets[target].side == plain.targets[target].side) == !flip);
      for (const ClassId probe_class : kCatalogue.classes.ids())
        for (const bool main : {true, false}) {
          const Verdict &verdict = plain.best_verdict(target, probe_class, main),
                        &w = access.best_verdict(target, probe_class, main);
          INFO(board.features[access.targets[target].feature].name << ", class " << probe_class.number());
          CHECK(verdict.open == w.open);
          CHECK(verdict.shortfalls.size() == w.shortfalls.size());
          if (verdict.open && w.open) CHECK(verdict.miss.v == Approx(w.miss.v).epsilon(2e-3).margin(1e-11));
          for (std::size_t i = 0; i < std::min(verdict.shortfalls.size(), w.shortfalls.size()); ++i)
            if (verdict.shortfalls[i].reason != Reason::push_finger)
              CHECK(verdict.shortfalls[i].measured == Approx(w.shortfalls[i].measured).epsilon(2e-3).margin(2e-3));
        }
    }
  }
}

TEST_CASE(

    "errors by source: a disc's variance along a line is a quarter of its radius squared, the second plate "
    "counts on the other side alone (elementary integral)") {
  Board board = empty_board();
  add_round(board, "A", {20, 20}, 2, Side::bottom);
  const ProbeClass& probe = kClasses[0];
  const ErrorBudget main = error_budget(board, kRules, probe, board.exposures.front(), {20, 20}, true),
                    other = error_budget(board, kRules, probe, board.exposures.front(), {20, 20}, false);
  // Second moment of the uniform disc (elementary: the mean of x^2 over radius r is r^2 / 4).
  CHECK(main[ErrorSource::pointing].xx == Approx(probe.pointing.v * probe.pointing.v / 4));
  CHECK(main[ErrorSource::second_plate] == Covariance{});
  CHECK(other[ErrorSource::second_plate].xx == Approx(kRules.errors.second_plate.variance()));
  CHECK(kRules.errors.second_plate.variance() > 0);
}

TEST_CASE("between a receptacle's hole and a tooling pin's hole stands a web (hand sum)") {
  Board board = empty_board();
  const ProbeClass& probe = kClasses[0];
  const double hole = board.holes.front().diameter.v / 2, needed = probe.receptacle_drill.v / 2 + kRules.web.v;
  for (const double off : {-0.02, 0.02}) {
    Board with_pads = board;
    add_round(with_pads, "A", Point{4 + hole + needed + off, 12}, 2, Side::bottom);
    add_round(with_pads, "B", Point{4 + hole + needed + off, 4}, 2, Side::bottom);
    const Access access = judge(with_pads, Job{}, kCatalogue, kRules);
    const auto& shortfalls = access.best_verdict(TargetId{1}, ClassId{0}, true).shortfalls;
    const bool blocked = std::any_of(shortfalls.begin(), shortfalls.end(), [](const Shortfall& shortfall) {
      return shortfall.reason == Reason::tooling_hole && shortfall.blocking;
    });
    CHECK(blocked == (off < 0));
  }
}

TEST_CASE(
    "an opening drawn as large as its pad is widened by the maker, one that stands off counts as drawn (the rules)") {
  const Board board = empty_board();
  Rules rules = kRules;
  rules.errors.mask_shift = {.value = 0.075, .uniform = false, .mark = {}};
  rules.errors.mask_swell = Mm{0.05};
  Exposure exposure;
  const auto gap = [&] {
    return error_budget(board, rules, kCatalogue.classes.front(), exposure, {20, 20}, true).mask_gap;
  };
  CHECK_FALSE(gap());  // nothing is known of the mask
  exposure.mask_gap = Mm{0};
  CHECK(gap() == Mm{0.05});
  rules.errors.mask_swell = Mm{0};
  CHECK(gap() == Mm{0});
  exposure.mask_gap = Mm{0.04};
  CHECK(gap() == Mm{0.04});
  // Four deviations of 0.025 mm.
  exposure.mask_gap = Mm{0.11};
  CHECK_FALSE(gap());
}
