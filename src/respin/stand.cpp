// A job onto a fixture: what it has to clear, and what it may use again.
#include <algorithm>
#include <map>
#include <set>

#include "teasel/respin.h"

namespace teasel {

namespace {
using formats::BuiltBoard;
using formats::FixtureFile;

void check_agreement(const Job& job, const FixtureFile& file, Diagnostics& diagnostics) {
  struct Key {
    const char* key;
    const std::string *job, *fixture;
    const char* none;
  };
  for (const Key& key : {Key{"fixture.kit", &job.fixture.kit, &file.kit, "no kit"},
                         {"fixture.style", &job.fixture.style, &file.style, ""},
                         {"fixture.catalogue", &job.fixture.catalogue, &file.catalogue, ""},
                         {"fixture.drill_face", &job.fixture.drill_face, &file.drill_face, ""}})
    if (*key.job != *key.fixture)
      diagnostics.error({.code = "respin-other-fixture",
                         .at = {job.file, 0, 0, key.key},
                         .message = "the job asks for a fixture other than the existing one",
                         .found = key.job->empty() ? key.none : *key.job,
                         .expected = key.fixture->empty() ? key.none : *key.fixture,
                         .remedy = "use the fixture's value in the job, or plan a new fixture with  teasel plan"});
  const Side main = file.fixture.main;
  const std::string lies = std::string(to_string(main)) + " side down";
  if (job.fixture.board_lies != "auto" && job.fixture.board_lies != lies)
    diagnostics.error({.code = "respin-other-fixture",
                       .at = {job.file, 0, 0, "fixture.board_lies"},
                       .message = "in the existing fixture the board lies the other way up",
                       .found = job.fixture.board_lies,
                       .expected = lies,
                       .remedy = "board_lies = \"auto\""});
  for (const Side side : {Side::top, Side::bottom}) {
    const bool bed = std::any_of(file.fixture.holes.begin(), file.fixture.holes.end(), [&](const StandingHole& hole) {
      return hole.side == side && hole.state == HoleState::in_use;
    });
    if (bed && job.fixture.sides == to_string(other(side)))
      diagnostics.error({.code = "respin-other-fixture",
                         .at = {job.file, 0, 0, "fixture.sides"},
                         .message = std::string("the fixture has a bed for the ") + to_string(side) +
                                    " side, but the job leaves that side out",
                         .found = job.fixture.sides,
                         .remedy = "sides = \"auto\""});
  }
}

/// What probes must clear in plates that stand. Receptacles' holes are compared one by one while planning.
void add_obstacles(StandingFixture& fixture, const Rules& rules, const Style& style) {
  const Mm wall = std::min(style.web, rules.web);
  for (const StandingPlate& plate : fixture.plates) {
    const Side side = plate.lower ? fixture.main : other(fixture.main);
    const auto to_board = inverse(plate.from_board);
    const bool probe = plate.kind == PlateKind::probe;
    if (!probe && plate.kind != PlateKind::moving) continue;
    for (const StandingPlateHole& hole : plate.holes)
      if (hole.kind != to_string(probe ? PlateHole::Kind::receptacle : PlateHole::Kind::plunger))
        fixture.to_clear.push_back({.at = to_board(hole.plate),
                                    .side = side,
                                    .radius = hole.diameter / 2 + (probe ? wall : style.web),
                                    .guide = !probe,
                                    .name = hole.label});
    if (!probe) continue;  // a guide hole may end in a pocket
    for (const StandingPocket& pocket : plate.pockets)
      for (const Polygon& piece : to_board(pocket.area))
        fixture.milled.push_back({{piece}, side, wall, bounds(piece.outer)});
  }
}
}  // namespace

StandingFixture stand_on(const Job& job, const FixtureFile& file, const OnFixture& board, const Rules& rules,
                         const Style& style, Diagnostics& diagnostics) {
  check_agreement(job, file, diagnostics);
  if (diagnostics.failed()) return {};
  const BuiltBoard& old = file.revisions.back().board;
  std::map<std::string, std::string> name;
  for (const NetMatch& match : board.nets)
    if (match.taken && match.net) name.emplace(old.nets[match.old_net], board.now.nets[match.net]);
  auto renamed = [&](std::string& net) {
    const auto it = name.find(net);
    net = it == name.end() ? std::string() : it->second;
  };
  StandingFixture fixture = file.fixture;
  const Affine back = inverse(board.laying.map);
  // Places stay on the nanometre that they were planned on.
  auto moved = [&](BoardPoint place) {
    const Point there = back(place);
    return BoardPoint{std::round(there.x * 1e6) / 1e6, std::round(there.y * 1e6) / 1e6};
  };
  const Map<BoardFrame, BoardFrame> to_old{board.laying.map};
  fixture.to_kit = combine(fixture.to_kit, to_old);
  for (StandingHole& hole : fixture.holes) {
    hole.at = moved(hole.at);
    renamed(hole.net);
  }
  for (StandingSupport& support : fixture.supports) support.at = moved(support.at);
  for (StandingPlate& plate : fixture.plates) plate.from_board = combine(plate.from_board, to_old);
  for (StandingWire& wire : fixture.wires) renamed(wire.net);
  add_obstacles(fixture, rules, style);
  return fixture;
}

}  // namespace teasel
