// Does the board survive the bed: where it is held, how it bends, what of the probes' travel is left.
#pragma once
#include <array>
#include <optional>
#include <string>
#include <vector>

#include "teasel/access.h"
#include "teasel/board.h"
#include "teasel/interfaces.h"
#include "teasel/mechanics/plate.h"
#include "teasel/plan.h"

namespace teasel {

Map<BoardFrame, KitFrame> board_to_kit(const Planned& in);
/// The side of the board that the lower or the upper plates face.
Side faces(const Planned& in, bool lower);
/// True if this plate of the style is built for this plan.
bool is_built(const Planned& in, const StylePlate& plate);
/// The plate nearest to the board on that side of it, which carries stops or fingers; none: nothing stands there.
const StylePlate* carrier(const Planned& in, Side side);

/// A place where the board is held.
struct PlacedSupport {
  std::string label;  ///< "S1" stops, "F1" fingers
  BoardPoint at;
  Side side{};            ///< of the board that it touches
  bool finger = false;    ///< else a stop
  bool by_hand = false;   ///< the job says so: it stays
  bool standing = false;  ///< the fixture has it already
  [[nodiscard]] bool stays() const { return by_hand || standing; }
};
/// The part that a finger presses on; null: the board.
const Component* part_under(const Planned& in, const PlacedSupport& support);
/// mm that a finger or a stop reaches over its plate.
Mm reach_of(const Planned& in, const PlacedSupport& support);
/// Places where a foot may stand on this side: clear of parts, bare metal, holes, probes and keep-outs; a finger also
/// on parts that the job names for it.
std::vector<BoardPoint> free_places(const Planned& in, Side side, bool finger);
/// Parts on this side that could bear a finger as far as can be told: bodies of some size, no ball grids, ceramics,
/// crystals or light-emitting diodes.
std::vector<ComponentId> sturdy_parts(const Planned& in, Side side);
/// Without mechanics: as few fingers as a greedy choice needs, so that each opposite probe is within the rule's reach
/// of one; stops under them. Names them. Warns where there is no room.
std::vector<PlacedSupport> supports_by_reach(const Planned& in, Diagnostics& diagnostics);
/// Those of the standing fixture and of the job. Warns of standing ones that the board leaves no room for.
std::vector<PlacedSupport> supports_there(const Planned& in, Diagnostics& diagnostics);
void name_supports(std::vector<PlacedSupport>& supports);

/// How a free board may be bent before anything touches it.
enum class FreeShape : std::uint8_t { flat, bowed_up, bowed_down, twisted, twisted_back };
inline constexpr int kFreeShapes = 5;
const char* to_string(FreeShape shape);

/// What the plate on which the board lies does while the bed closes.
enum class Lying : std::uint8_t {
  rests,   ///< its screws hold it against its springs; before air is drawn or the upper plate comes
  floats,  ///< its springs and what its stops bear balance
  driven,  ///< spacers push it along with the upper plate
  at_work  ///< on its stroke stops; so does a plate that does not move
};
const char* to_string(Lying lying);

inline constexpr const char* kFullStroke = "full stroke";
inline constexpr const char* kHalfStage = "half stage";
/// One moment of the closing, over all free shapes; figures are the worst of them.
struct PressedState {
  std::string name;     ///< "full stroke", "half stage", "2.14 mm to go", "35 % of the vacuum"
  Mm to_go;             ///< that the upper plate stands over its place, at the board's middle
  Mm raised;            ///< of the moving plate over its place at work, with a flat board
  Lying lying{};        ///< likewise
  double share{1};      ///< of the closing, from where nothing touches
  bool settled = true;  ///< false: contact and force could not be made to agree
  Table<ProbeId, Mm> least_travel, most_travel;
  Table<ProbeId, Newton> probe_force;  ///< travel below zero: it does not touch
  std::vector<Newton> support_force;   ///< by support, the largest
  std::vector<char> support_idle;      ///< it carries nothing in any shape
  Mm up, down;  ///< farthest that the board leaves its plane, towards the top and the bottom side
  BoardPoint up_at, down_at;
  Microstrain strain;                 ///< largest at a part's corner
  FreeShape worst = FreeShape::flat;  ///< of the largest strain
  std::vector<Mm> deflection;
  std::vector<Microstrain> surface_strain;  ///< by node of the mesh, in that shape
  Newton pushed_up, pushed_down;            ///< by all probes towards the top and the bottom side
  Newton held;                              ///< by stops and fingers together, flat board
  std::optional<BoardPoint> middle;  ///< where the sum of the probes' forces acts; none where they nearly balance
  NewtonMm moment;                   ///< about the press's axis; 0 without a kit
};
struct PartStrain {
  ComponentId component;
  bool sensitive = false;  ///< pads under the body, or a multilayer ceramic
  Microstrain strain, limit;
  std::string state;
  BoardPoint at;  ///< the corner
};
/// A square of the board that is pushed harder than it is held.
struct LooseSquare {
  Box box;
  Newton pushed, held;
};
/// A part of a flat board that leaves its plane by more than `kLifted` at full stroke.
inline constexpr Mm kLifted{0.1};
struct LiftedRegion {
  Side side = Side::top;
  Box box;
  Mm2 area;
  Mm most;
  BoardPoint at;
};  ///< towards that side; where it does most
/// The corner of a part that a flat board strains most beyond its limit, and how far from it a foot could stand.
struct OverStrained {
  ComponentId component;
  BoardPoint at;
  Microstrain strain, limit;
  std::string moment;
  PerSide<std::optional<Mm>> nearest;  ///< to the nearest free place; none: there is no such place
};
/// What a board bears that is not flat before it is pressed.
struct BowMargin {
  double allowed{};       ///< bow and twist that are reckoned with, share of the length (twist: of the diagonal)
  bool measured = false;  ///< the job states it; else the rule set
  Microstrain
      flattening;      ///< of a board bowed by that, by being pressed flat alone: 4 d t / L^2, a parabola's curvature
  double tolerated{};  ///< up to `allowed`: with so much all limits hold while the bed closes, whichever way it is bent
  std::vector<std::pair<double, Microstrain>> curve;  ///< rising bow, and the largest strain at a part's corner
};
/// A change that was tried where a flat board is strained too much: what it is, and the part that then comes nearest to
/// its limit, or goes farthest beyond it.
struct TriedChange {
  std::string what;
  ComponentId component;
  Microstrain strain, limit;
  std::size_t lost = 0;  ///< probes that then leave their window of travel
  bool tips = false;     ///< the board turns over what holds it
  [[nodiscard]] bool holds() const { return strain <= limit && !lost && !tips; }
};
/// Share by which strain may be off: beside a finite-element program of its own, see the manual.
inline constexpr double kFiguresOff = 0.05;
struct Mechanics {
  bool used = false;
  std::string why_not;    ///< empty where it was worked out
  bool not_held = false;  ///< nothing holds the board against its probes
  bool tips = false;      ///< probes are lost because a flat board turns over what holds it, farther than it bends
  PlateStiffness stiffness;
  Microstrain limit;
  PlateMesh mesh;
  std::vector<PressedState> states;
  std::vector<PartStrain> parts;  ///< sensitive ones first, then by share of the limit
  std::vector<PlacedSupport> supports;
  Newton springs;             ///< of the moving plate, at work, all together; 0: none sinks, or they are not known
  Newton springs_before;      ///< as the style asks, where others strain the board less; else 0
  Microstrain before;         ///< the most that a flat board would see with those
  std::vector<ProbeId> lost;  ///< probes that do not touch at full stroke, or leave their window of travel
  bool limits_hold = false;
  bool flat_holds = false;  ///< they do, in every moment, for a board that is flat before it is pressed
  Microstrain flat_strain;  ///< the largest of such a board in any moment
  std::string flat_moment;  ///< in which it is
  Mm peak_within;           ///< of the closing: the peak of a flat board's strain is known so well; 0: it is exact
  BowMargin bow;
  std::optional<OverStrained> over;  ///< where and when a flat board strains a part too much
  std::vector<TriedChange> tried;    ///< the best first; where a flat board does not hold
  std::size_t candidates = 0;        ///< free places that were looked at
  std::vector<LiftedRegion> lifted;  ///< highest first
  std::vector<LooseSquare> loose;    ///< vacuum alone: worst first
  std::vector<HoleId> plug;          ///< holes of the board that leak inside the outline, vacuum alone
  std::vector<HoleId> leaks;         ///< such holes with a probe in them, which nothing can cover from below
  Newton hold;                       ///< of the vacuum after leaks
  Table<ProbeId, Mm> scrub;          ///< sideways way of a tip while a lid closes on its arc; empty without a hinge
  /// A flat board goes beyond its limits by more than the figures may be off.
  [[nodiscard]] bool clearly_over() const {
    return used && !flat_holds && (!over || over->strain > (1 + kFiguresOff) * over->limit);
  }
  /// Null where bending was not worked out.
  [[nodiscard]] const PressedState* at_full_stroke() const;
  /// In which the board is strained most.
  [[nodiscard]] const PressedState* at_peak() const;
};

/// What a stop or a finger bears: the pressure of its foot on the board, what a part bears that it presses on, or that
/// at which a finger buckles.
struct FootLimit {
  enum class By : std::uint8_t { board, part, buckling };
  Newton force;
  By by = By::board;
};
/// Pressure: the rule's, on the foot. Buckling: L. Euler's, of a column held at its foot and free at its tip, pi^2 E I
/// / (2 L)^2, E of the rule set, L from the plate to the board.
FootLimit foot_limit(const Planned& in, const PlacedSupport& support);
/// The most that each support bears in any moment, by support.
std::vector<Newton> most_on_supports(const Mechanics& mechanics);

/// Lays supports out (or takes those of the job) and works out every state. Not `wanted`, nor by the job: supports are
/// laid out by reach alone.
Mechanics work_out_mechanics(const Planned& in, Diagnostics& diagnostics, bool wanted = true);
/// Strain as it is printed: rounded up to ten microstrain, since triangles and models are worth no more digits.
std::string strain_text(Microstrain strain);
/// "a board bowed or twisted by 0.75 %, as is allowed, bends beyond its limits: ...", where it does.
std::string bow_sentence(const BowMargin& bow);
/// The chain of a probe's stroke on its target: of the longest where build variants differ.
Stroke stroke_of(const Planned& in, ProbeId probe);
/// The travel of a probe where the board bends: its chain, and what the bending adds.
struct BentStroke {
  Stroke stroke;
  Mm shortest, longest;  ///< over all free shapes, without the chain's tolerance
  /// With it, inside the window of the class.
  [[nodiscard]] bool in_window(const ProbeClass& probe) const {
    return shortest - stroke.tolerance >= probe.least_travel && longest + stroke.tolerance <= probe.most_travel;
  }
};
BentStroke bent_stroke(const Planned& in, const PressedState& state, ProbeId probe);
/// Lost probes, each with what its travel is and should be.
std::vector<std::pair<ProbeId, std::string>> reasons_of_lost(const Mechanics& mechanics, const Planned& in);
/// Largest strain that ball grids on a plate of this thickness bear at a rate: sqrt(2.35 / t) *
/// (1900 - 300 log10(rate in microstrain a second)), the rate held to 100 ... 20000. From memory of the industry's
/// strain-gauge guideline; check value 790 microstrain at 2.35 mm and 5000 microstrain a second.
Microstrain strain_limit_at_rate(Mm thickness, StrainRate rate);

}  // namespace teasel
