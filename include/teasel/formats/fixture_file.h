// fixture.json: what a plan leaves standing once it is built, and the boards that it was built for. Written beside
// plan.json, read when the next revision is planned. Schema 1; lengths in mm, angles none, places as [x, y].
#pragma once
#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "teasel/diagnostics.h"
#include "teasel/frames.h"
#include "teasel/geometry.h"
#include "teasel/ids.h"
#include "teasel/job/standing.h"
#include "teasel/side.h"
#include "teasel/units.h"

namespace teasel::formats {

struct BuiltPad;
struct BuiltPart;
using BuiltPadId = Id<BuiltPad>;
using BuiltPartId = Id<BuiltPart>;
using BuiltNetId = Id<struct BuiltNetTag>;
/// A pad stack, via or hole as the plan saw it.
struct BuiltPad {
  std::string name, pin, kind;  ///< "U7-3", "3", "smd pad"
  BuiltNetId net;
  BuiltPartId component;
  BoardPoint at;
  Mm hole;
  PerSide<Box> bare;  ///< about the metal free of mask; invalid: none
};
struct BuiltPart {
  std::string name, value;
  Side side{};
  Mm height;
  bool height_confirmed = false;
  bool fitted = true;           ///< in at least one variant
  std::vector<char> fitted_in;  ///< by variant
  Polygons body;                ///< empty: nothing stands there
};
/// A board as it was planned for, in its own frame.
struct BuiltBoard {
  std::string name, revision;
  Mm thickness;
  Polygon outline;
  Table<BuiltNetId, std::string> nets;
  std::vector<std::string> variants;
  Table<BuiltPadId, BuiltPad> pads;
  Table<BuiltPartId, BuiltPart> parts;
  struct Pin {
    BoardPoint at;
    Mm diameter;
  };
  std::vector<Pin> tooling;  ///< the round pin's hole, then the relieved one's
};
struct BuiltProbe {
  std::string name, net, target, probe_class, tip;
  Side side{};
  BoardPoint at;
  Chance miss, wrong;
  std::string pin;  ///< of the interface to which it was wired
};
/// A check of the self-test.
struct BuiltStep {
  std::string stage, what, probe, net, pin, against, limit, unit;
};
struct Revision {
  std::string plan_id;
  BuiltBoard board;
  Map<BoardFrame, KitFrame> to_kit;
  std::vector<BuiltProbe> probes;
};
struct FixtureFile {
  std::string plan_id, kit, style, catalogue, drill_face;
  StandingFixture fixture;  ///< in the frame of the last revision's board
  std::vector<BuiltStep> steps;
  std::vector<Revision> revisions;  ///< oldest first; the last is the one that was planned
};

std::string write_fixture_file(const FixtureFile& file);
/// Errors name the place in the file: "fixture.holes[3].at".
std::optional<FixtureFile> read_fixture_file(std::string_view bytes, const std::string& name, Diagnostics& diagnostics);

}  // namespace teasel::formats
