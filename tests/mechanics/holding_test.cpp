// What holds a board that has hardly any room for it: parts that bear a finger, and what is said where it turns over.
#include "../fixture/workshop.h"
#include "teasel/fixture/cost.h"
#include "teasel/fixture/release.h"
#include "teasel/mechanics.h"

using namespace teasel;
using namespace teasel::testing;

namespace {
/// The top side has room in these squares of 6.9 mm alone.
void leave_room_at(Workshop& workshop, const std::vector<Point>& rooms) {
  KeepOut taken;
  taken.name = "no room";
  taken.sides = Side::top;
  taken.kind = "keep-out";
  taken.area = {{{{-1, -1}, {61, -1}, {61, 41}, {-1, 41}}, {}}};
  for (const Point room : rooms) taken.area = subtract(taken.area, {{rectangle(room, 6.9, 6.9), {}}});
  taken.from_height = Mm{50};
  taken.to_height = Mm{60};
  workshop.board.keep_outs.push_back(taken);
}
void stops_by_hand(Workshop& workshop) {
  for (const Point place : {Point{8, 33}, {52, 33}, {30, 17}})
    workshop.job.mechanics.supports.push_back({place, Side::bottom, false, {}});
}
std::size_t fingers_on(const Workshop& workshop, const Mechanics& mechanics, const char* name) {
  std::size_t count = 0;
  for (const PlacedSupport& support : mechanics.supports)
    if (const Component* part = part_under(workshop.bed(), support)) count += part->name == name;
  return count;
}
}  // namespace

TEST_CASE("a finger stands on a part that the job names for it, and is shorter by its height (by hand)") {
  for (const bool named : {false, true}) {
    INFO(named);
    Workshop workshop;
    for (const Point place : {Point{26, 18}, {34, 18}, {30, 24}}) workshop.pad(place);
    // Over the middle of the probes there is a package, and nothing else has room.
    add_body(workshop.board, "U9", {30, 20}, 6, 6, 2, Side::top);
    leave_room_at(workshop, {{30, 20}});
    stops_by_hand(workshop);
    if (named) workshop.job.mechanics.press_on = {"U#"};
    workshop.plan();
    REQUIRE(workshop.bed().option.probes.size() == 3);
    const Mechanics mechanics = work_out_mechanics(workshop.bed(), workshop.diagnostics);
    CHECK(mechanics.not_held == !named);
    CHECK((fingers_on(workshop, mechanics, "U9") > 0) == named);
    if (!named) {
      // What would help was tried, and is told with the part's name.
      CHECK(std::any_of(mechanics.tried.begin(), mechanics.tried.end(), [](const TriedChange& change) {
        return change.what.find("press_on, on U9") != std::string::npos;
      }));
      continue;
    }
    workshop.supports = mechanics.supports;
    const StylePlate* carries = carrier(workshop.bed(), Side::top);
    REQUIRE(carries);
    for (const PlacedSupport& support : mechanics.supports) {
      if (!support.finger) continue;
      CHECK(reach_of(workshop.bed(), support).v == Approx(carries->at_work.v - 2));
      CHECK(foot_limit(workshop.bed(), support).force <= workshop.rules.mechanics.part_force);
    }
    const auto plates = make_plates(workshop.inputs(), workshop.diagnostics, true, &workshop.mechanism);
    std::size_t ordered = 0;
    for (const Material& row : materials_of(workshop.inputs(), plates, {}, workshop.prices))
      if (row.item == "push finger") {
        CHECK(row.detail.find("length " + short_number(carries->at_work.v - 2, 2) + " mm") != std::string::npos);
        CHECK(row.detail.find("on U9") != std::string::npos);
        ordered += static_cast<std::size_t>(row.needed);
      }
    CHECK(ordered == fingers_on(workshop, mechanics, "U9"));
  }
}

TEST_CASE("a finger on a part whose height is assumed makes a draft (by construction)") {
  Workshop workshop;
  for (const Point place : {Point{26, 18}, {34, 18}, {30, 24}}) workshop.pad(place);
  const ComponentId part = add_body(workshop.board, "U9", {30, 20}, 6, 6, 2, Side::top);
  leave_room_at(workshop, {{30, 20}});
  stops_by_hand(workshop);
  workshop.job.mechanics.press_on = {"U9"};
  for (const Known known : {Known::confirmed, Known::assumed}) {
    workshop.board.components[part].height_known = known;
    workshop.plan();
    const Mechanics mechanics = work_out_mechanics(workshop.bed(), workshop.diagnostics);
    workshop.supports = mechanics.supports;
    const ReleaseStatus status = release_status(workshop.inputs(), mechanics, {});
    const bool told = std::any_of(status.reasons.begin(), status.reasons.end(), [](const ReleaseReason& reason) {
      return reason.text.find("on U9 (2 mm)") != std::string::npos;
    });
    CHECK(told == (known == Known::assumed));
  }
}

TEST_CASE("fingers at one end and probes at the other turn the board over, which is told as such (lever, by hand)") {
  Workshop workshop;
  for (const Point place : {Point{50, 10}, {50, 20}, {50, 30}}) workshop.pad(place);
  workshop.job.mechanics.lay_out_supports = false;
  for (const Point place : {Point{10, 12}, {14, 20}, {10, 28}})
    workshop.job.mechanics.supports.push_back({place, Side::top, true, {}});
  stops_by_hand(workshop);
  workshop.plan();
  REQUIRE(workshop.bed().option.probes.size() == 3);
  // The probes' middle lies 36 mm outside the fingers: they push the far end up until they leave their travel.
  const Mechanics mechanics = work_out_mechanics(workshop.bed(), workshop.diagnostics);
  REQUIRE(mechanics.used);
  CHECK(mechanics.tips);
  CHECK(mechanics.lost.size() == 3);
  CHECK_FALSE(mechanics.flat_holds);
  workshop.supports = mechanics.supports;
  const ReleaseStatus status = release_status(workshop.inputs(), mechanics, {});
  CHECK(status.headline().find("not held") != std::string::npos);
  CHECK(status.headline().find("bends beyond") == std::string::npos);
}

TEST_CASE("heights that are assumed and leave no room are named as what to measure (by construction)") {
  Workshop workshop;
  for (const Point place : {Point{26, 18}, {34, 18}, {30, 24}}) workshop.pad(place);
  leave_room_at(workshop, {{30, 20}});
  // Twelve millimetres ask for a pocket, whose walls take what room there is; two millimetres do not.
  for (const Point place : {Point{26.2, 20}, {33.8, 20}})
    workshop.board.components[add_body(workshop.board, place.x < 30 ? "J1" : "J2", place, 2, 6, 12, Side::top)]
        .height_known = Known::assumed;
  stops_by_hand(workshop);
  workshop.plan();
  const Mechanics mechanics = work_out_mechanics(workshop.bed(), workshop.diagnostics);
  CHECK(mechanics.not_held);
  REQUIRE_FALSE(mechanics.tried.empty());
  CHECK(mechanics.tried.front().what.find("heights of J1, J2 on the top side") != std::string::npos);
}
