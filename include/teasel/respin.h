// The next revision on a fixture that stands: how the boards differ, what of the fixture serves on, and what the shop
// does. Places are in the frame of the new board unless said otherwise. Nothing here is a formula of the literature.
#pragma once
#include <array>
#include <optional>
#include <string>
#include <vector>

#include "teasel/board.h"
#include "teasel/fixture.h"
#include "teasel/fixture/built.h"
#include "teasel/fixture/cost.h"
#include "teasel/fixture/proving.h"
#include "teasel/formats/fixture_file.h"

namespace teasel {

/// Where the new board could lie on the old one's place.
struct Laying {
  Affine map;  ///< frame of the new board to that of the old one: a turn by right angles and a shift
  std::string how;
  int agree = 0, of = 0;  ///< pads known on both boards; those of them that lie where they did, within `kSamePad`
  int over_holes = 0, holes = 0;  ///< probes in use; those of them with bare metal of their net over the hole
  bool pins_stay = false;         ///< both tooling pins find a hole of the new board
  std::array<HoleId, 2> tooling;  ///< holes of the new board for them
};
inline constexpr Mm kSamePad{0.02};

/// The first keeps the pins, where that can be. The others are worth a plan of their own: they leave more metal over
/// holes than the first, pins that have to move counted. An error where the boards have too little in common.
std::vector<Laying> layings(const formats::FixtureFile& file, const Board& board, const formats::BuiltBoard& now,
                            Diagnostics& diagnostics);

/// By old pad: the new one, by component and pin, or by place and kind; none: gone.
std::vector<formats::BuiltPadId> match_pads(const formats::BuiltBoard& old, const formats::BuiltBoard& now,
                                            const Affine& map);

struct NetMatch {
  formats::BuiltNetId old_net, net;  ///< net none: gone
  bool renamed = false;
  bool taken = true;            ///< false: a rename that the evidence only hints at; old and new net count as strangers
  int pins_same = 0, pins = 0;  ///< component pins on both; on either
  int pads_same = 0, pads = 0;  ///< the same of all pads
};
/// By old net; hints after them. Names first. Nets left over are the same where at least half of all their pins are (of
/// their pads, where neither has pins), each being the other's best.
std::vector<NetMatch> match_nets(const formats::BuiltBoard& old, const formats::BuiltBoard& now,
                                 const std::vector<formats::BuiltPadId>& pads);

/// How the new board lies on the fixture, and what of the two goes together.
struct OnFixture {
  const Laying& laying;
  const std::vector<NetMatch>& nets;
  const formats::BuiltBoard& now;
};
/// The fixture in the frame of the new board, for its plan to keep. Errors where job and fixture do not go together:
/// kit, style, catalogue, face, sides.
StandingFixture stand_on(const Job& job, const formats::FixtureFile& file, const OnFixture& board, const Rules& rules,
                         const Style& style, Diagnostics& diagnostics);

enum class Fate : std::uint8_t {
  kept,   ///< same hole, same net
  worse,  ///< the same, but it misses more often
  moved,  ///< its net is probed through another hole
  lost,   ///< its net wants a probe and lacks it
  freed,  ///< its net is gone, or wants no such probe any more
};
const char* to_string(Fate fate);

struct ProbeFate {
  std::string name, old_net, net;  ///< net: the new name; empty: gone
  std::string probe_class, target_before, target;
  Side side{};
  BoardPoint at;  ///< the hole
  Fate fate{};
  Chance miss_before, miss;  ///< of a miss at one touch; miss: of the probe that serves now
  std::string by;            ///< the probe that serves now
  std::string hole_serves;   ///< another net that the hole serves now
  std::string why;
};

struct BoardChange {
  std::string of, name,
      what;  ///< of: "board", "outline", "tooling", "part", "net", "pad", "via"; what: "moved", "gone", ...
  std::string before, after;
  std::optional<BoardPoint> at;  ///< on the new board; of what is gone, where it was
};

struct ReworkStep {
  int number = 0;
  std::string stage{}, plate{}, what{}, label{}, net{};
  std::optional<PlatePoint> at{};
  Mm diameter{};
  std::string file{};  ///< that holds it for the machine
};
/// What is cut in a plate that stands, or a plate that is new.
struct PlateRework {
  Plate plate;                                          ///< only the holes to drill, and pockets that grow
  bool whole = false;                                   ///< the fixture has no such plate: all of it is made
  std::vector<StandingPlateHole> stays, plugged, left;  ///< left: idle, needs no plug
  std::vector<StandingPocket> pockets;                  ///< that it has
  [[nodiscard]] bool touched() const {
    return whole || !plate.holes.empty() || !plate.pockets.empty() || !plugged.empty();
  }
};
struct StepChange {
  std::string what, stage, check, probe, before, after;
};  ///< what: "new", "dropped", "changed"

/// An earlier revision, in one of its build variants, on the fixture as it will be.
struct RevisionRun {
  std::string plan_id, revision, variant;
  int probes = 0, there = 0;         ///< that it needs; that are still there for their nets
  std::vector<std::string> lacking;  ///< "B012 (3V3)"
  std::vector<std::string> meets;    ///< what it would collide with: "B207 stands under U7 (1.8 mm)"
  [[nodiscard]] bool runs() const { return lacking.empty() && meets.empty(); }
};

struct Respin {
  bool used = false;
  std::string from_plan, from_name;  ///< plan id and board of the fixture
  Laying laying;
  std::vector<Laying> others;             ///< that were planned as well
  std::vector<Money> objectives;          ///< of the plan of each, `laying` first
  std::vector<formats::BuiltPadId> pads;  ///< match_pads()
  std::vector<NetMatch> nets;
  formats::BuiltBoard old, now;
  std::vector<ProbeFate> fates;    ///< by name
  std::vector<std::string> fresh;  ///< probes in new holes
  std::vector<BoardChange> changes;
  std::vector<PlateRework> plates;
  std::vector<ReworkStep> steps;
  std::vector<CostLine> cost;
  std::vector<Material> materials;  ///< to be ordered for the rework
  Cents rework, anew;               ///< this fixture altered; a new one of the same plan
  std::vector<StepChange> self_test;
  std::vector<RevisionRun> runs;
  [[nodiscard]] int count(Fate fate) const;
};

std::vector<BoardChange> compare_boards(const formats::BuiltBoard& old, const formats::BuiltBoard& now,
                                        const Affine& map, const std::vector<formats::BuiltPadId>& pads,
                                        const std::vector<NetMatch>& nets);
std::vector<ProbeFate> judge_fates(const BuildInputs& in, const formats::FixtureFile& file,
                                   const formats::BuiltBoard& now, const std::vector<NetMatch>& nets);

/// What of the plan the rework is made from. `anew`: a new fixture of the same plan.
struct ReworkSource {
  const std::vector<Plate>& plates;
  const std::vector<Wire>& wires;
  const Proving& proving;
  Cents anew{};
};
/// Plates, steps, cost and changes of the self-test. Errors where a new hole has too little web to one that is there.
void plan_rework(const BuildInputs& in, const formats::FixtureFile& file, const ReworkSource& planned, Respin& out,
                 Diagnostics& diagnostics);
/// Every earlier revision and this one, variant by variant, on the fixture as it will be. Radii of the feet.
std::vector<RevisionRun> revisions_that_run(const formats::FixtureFile& after, Mm stop, Mm finger);

}  // namespace teasel
