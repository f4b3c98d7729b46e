// What can a probe touch, and if not, why not.
#pragma once
#include <memory>
#include <string>
#include <vector>

#include "teasel/access/lid_arc.h"
#include "teasel/access/odds.h"
#include "teasel/access/travel.h"
#include "teasel/board.h"
#include "teasel/geometry.h"
#include "teasel/job.h"
#include "teasel/job/shop.h"

namespace teasel {

enum class Reason : std::uint8_t {
  mask_closed,
  no_copper,
  land_too_small,
  hole_too_wide,
  body,
  under_body,
  other_conductor,
  wrong_landing,
  board_edge,
  slot,
  tooling_hole,
  kit_hole,
  outside_kit,
  flexible,
  fiducial,
  keep_out,
  banned,
  under_stroke,
  over_stroke,
  push_finger,
  lid_arc,
  odds_too_low
};
const char* to_string(Reason reason);
std::optional<Reason> reason_of(std::string_view text);

inline constexpr Mm kNoRoom{999};  // no place for a push finger on all of a side

/// What stands in the way, named when it is printed.
struct Obstacle {
  enum class Kind : std::uint8_t {
    none,
    component,
    conductor,
    outline,
    hole,
    keep_out,
    ban,
    paste,
    empty_hole,
    contact,
    bare_metal,
    kit_hole,
    flex
  };
  Kind kind{};
  int id = -1;  ///< of what the kind says: see the functions below
  [[nodiscard]] ComponentId component() const { return ComponentId::of_number(id); }
  [[nodiscard]] FeatureId feature() const { return FeatureId::of_number(id); }
  [[nodiscard]] HoleId hole() const { return HoleId::of_number(id); }
  [[nodiscard]] KeepOutId keep_out() const { return KeepOutId::of_number(id); }
  [[nodiscard]] BanId ban() const { return BanId::of_number(id); }
  [[nodiscard]] Contact contact() const { return static_cast<Contact>(id); }
  [[nodiscard]] std::size_t bare_metal() const { return static_cast<std::size_t>(id); }  ///< row of the board's list
  [[nodiscard]] FlexId flex() const { return FlexId::of_number(id); }                    ///< a hole of a kit: its row
  /// The part of the probe that comes too near.
  enum class Part : std::uint8_t { none, head, plunger, receptacle, plate };
  Part part{};
};

/// One rule a target fails, with both numbers.
struct Shortfall {
  Reason reason{};
  bool blocking = false;  ///< false: a preferred value is missed, or the finding is waived
  WaiverId waiver{};
  double measured{}, required{};  ///< in unit()
  Obstacle obstacle{};
  [[nodiscard]] const char* unit() const;
  [[nodiscard]] bool has_numbers() const {
    return !(reason == Reason::push_finger && measured >= kNoRoom.v) && reason != Reason::banned &&
           obstacle.kind != Obstacle::Kind::paste && (measured != 0 || required != 0);
  }
  /// By how much the requirement is missed, as a share of it; no more than all of it.
  [[nodiscard]] double lack() const;
  /// Chances: how many times the largest one allowed; else as lack().
  [[nodiscard]] double excess() const;
};
/// "body of U7 (height 2.5 mm assumed), plunger"
std::string obstacle_text(const Shortfall& shortfall, const Board& board, const Job& job);
/// "body of U7, 0.62 mm, needs 1.00 mm"
std::string sentence(const Shortfall& shortfall, const Board& board, const Job& job);

/// Which price of the catalogue of targets applies, best first.
enum class TargetKind : std::uint8_t { test_pad, lead, via, smd_pad };

struct Target;
struct Spot;
struct LandingShape;
using TargetId = Id<Target>;
using SpotId = Id<Spot>;
using ShapeId = Id<LandingShape>;
struct Target {
  ExposureId exposure;
  FeatureId feature;
  Side side{};
  TargetKind kind{};
  Surface surface{};
  bool own_body = false;          ///< the edge of its own part's body is known and counts
  std::vector<Contact> contacts;  ///< one, or two where build variants differ: a lead and its empty hole
  SpotId first_spot;
  int spots = 0;
  [[nodiscard]] bool has(Contact contact) const;
  /// One of its spots, counted from 0.
  [[nodiscard]] SpotId spot(int number) const { return SpotId{first_spot.index() + static_cast<std::size_t>(number)}; }
};

/// A declared point to aim at. Centre of the land (or of the largest circle inside, where that is off), point of best
/// odds where the shape is not symmetrical, both ends of a long land, and holes of a fixture that stands. All but the
/// last stand on a grid of 1 um.
enum class AimKind : std::uint8_t { centre, largest_circle, best_odds, end, standing_hole };
const char* to_string(AimKind kind);
struct Spot {
  TargetId target;
  ShapeId shape;
  AimKind kind{};
  BoardPoint at;
  Point in_shape;  ///< the same, from the shape's origin
  Mm diameter;     ///< of the largest circle about it inside the metal
};

/// Metal of equal form, worked out once. Origin: the first aim point of its targets.
struct LandingShape {
  Polygons area;                     ///< bare metal, the land's own hole filled, without what bodies cover
  Table<ClassId, Polygons> landing;  ///< by class: where the tip's middle may come down
  bool round = false;                ///< a disc about the origin
  Mm span;                           ///< farthest point from the origin
};

struct Verdict {
  std::vector<Shortfall> shortfalls;  ///< all of them, blocking ones first
  Chance miss{1};                     ///< that one touch misses; 1 where blocked before it was worked out
  Chance wrong;                       ///< that one touch meets a neighbour's metal
  bool open = false;
};

struct Access {
  Table<TargetId, Target> targets;  ///< by feature, then side
  Table<SpotId, Spot> spots;        ///< by target
  Table<ShapeId, LandingShape> shapes;
  std::size_t classes = 0;
  std::vector<Verdict> verdicts;     ///< [spot][class][0 = main side, 1 = other side]
  std::vector<SpotId> best_spot;     ///< [target][class][0, 1]: open first, then what it lacks, then the odds
  Table<WaiverId, int> waiver_uses;  ///< verdicts that it opened or helped to open
  [[nodiscard]] std::size_t slot(std::size_t row, ClassId probe_class, bool main_side) const {
    return (row * classes + probe_class.index()) * 2 + (main_side ? 0 : 1);
  }
  [[nodiscard]] const Verdict& verdict(SpotId spot, ClassId probe_class, bool main_side) const {
    return verdicts[slot(spot.index(), probe_class, main_side)];
  }
  [[nodiscard]] SpotId best(TargetId target, ClassId probe_class, bool main_side) const {
    return best_spot[slot(target.index(), probe_class, main_side)];
  }
  [[nodiscard]] const Verdict& best_verdict(TargetId target, ClassId probe_class, bool main_side) const {
    return verdict(best(target, probe_class, main_side), probe_class, main_side);
  }
  [[nodiscard]] bool open(TargetId target, bool main_side) const;  ///< for any class
};

/// Judges every exposed land for every class, as if its side were the main one and as if it were not. `shop`: holes of
/// its kit and plates are kept clear of, as far as it is known.
/// Clearances run from the pad edge for preferred values and from the aim point for least values; "geometry" is the
/// radius of the probe's part at that height and three standard deviations of the position error in that direction.
/// Any thread count gives the same result. The board must have passed assemble() without error.
Access judge(const Board& board, const Job& job, const Catalogue& catalogue, const Rules& rules,
             const StandingFixture& standing = {}, const Shop& shop = {});
/// The same for a job whose keep-outs, bans and waivers change: what they touch is judged anew, the rest stays.
class Judging {
 public:
  /// Board, catalogue and rules must outlive it; the job as well, until follow() is given another. `standing`: the
  /// fixture that stands, whose holes are aims.
  Judging(const Board& board, const Job& job, const Catalogue& catalogue, const Rules& rules,
          const StandingFixture& standing = {}, const Shop& shop = {});
  ~Judging();
  [[nodiscard]] const Access& access() const;
  [[nodiscard]] Access take() &&;
  /// Bans and waivers are those of this job now, and the board's keep-outs have changed. Returns the targets judged
  /// anew, ascending; their places and shapes stay.
  std::vector<TargetId> follow(const Job& job);

 private:
  struct State;
  std::unique_ptr<State> state_;
};
/// Odds of spots that something else blocks, which judge() does not work out.
class BlockedOdds {
 public:
  BlockedOdds(const Access& access, const Board& board, const Catalogue& catalogue, const Rules& rules,
              const LidArc& arc = {});
  ~BlockedOdds();
  /// The verdict with its chances of a miss and of a neighbour's metal filled in.
  [[nodiscard]] Verdict of(SpotId spot, ClassId probe_class, bool main_side) const;

 private:
  struct Metal;
  const Access& access_;
  const Board& board_;
  const Catalogue& catalogue_;
  const Rules& rules_;
  const LidArc arc_;
  std::unique_ptr<Metal> metal_;
};
/// Warns of bans that no target fits.
void check_bans(const Board& board, const Job& job, Diagnostics& diagnostics);
/// Warns of waivers that name nothing, or that nothing needs.
void check_waivers(const Access& access, const Job& job, Diagnostics& diagnostics);

/// Widest part of the head that a target needs: the class's own, wider than an open hole, or a crown over a lead.
Mm head_diameter(const Board& board, const Rules& rules, const Target& target, const ProbeClass& probe);
/// Force at working travel with the spring that the target's surface asks for.
Newton force_on(const Rules& rules, const Target& target, const ProbeClass& probe);
/// The chain of a probe's stroke on a target, for each thing that it may come to rest on: where build variants differ,
/// a lead and its empty hole.
std::vector<Stroke> strokes_on(const Board& board, const Rules& rules, const Target& target, const ProbeClass& probe,
                               bool main_side);
/// The longest of them: how far the bed still has to close when the tip first touches.
Mm longest_stroke(const Board& board, const Rules& rules, const Target& target, const ProbeClass& probe,
                  bool main_side);
/// Chance that a touch on the metal finds no contact.
Chance fault_on(const Rules& rules, const Target& target);
/// Tip style for a target (common practice): flat plated pads, open holes, leads, soldered pads, bare contacts.
std::string tip_for(const Board& board, const Target& target, const Spot& spot);

/// An assumption about a body.
struct Assumption {
  enum class Fact { height, side };
  ComponentId component;
  Fact fact{};
  std::string what;  ///< "height 2.5 mm assumed", "side top assumed"
};
/// The fact in words, whether it is assumed or not.
Assumption assumption(const Board& board, ComponentId component, Assumption::Fact fact);
/// Components whose assumed height or side decides whether a probe of this class may stand here: were they taller than
/// any, or on the other side, the target would be blocked. Ordered by component.
std::vector<Assumption> depends_on(const Board& board, const Rules& rules, const ProbeClass& probe,
                                   const Target& target, BoardPoint at, const Covariance& error);

}  // namespace teasel
