// The job: what the user's files say, checked against one option table; catalogue, rules and interfaces likewise.
// Lengths in files carry their unit ("0.1 mm", "4 mil"); here they are Mm.
#pragma once
#include <cstdint>
#include <iterator>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "teasel/diagnostics.h"
#include "teasel/frames.h"
#include "teasel/geometry.h"
#include "teasel/ids.h"
#include "teasel/job/build_files.h"
#include "teasel/job/interface_table.h"
#include "teasel/job/prices.h"
#include "teasel/job/standing.h"
#include "teasel/names.h"
#include "teasel/side.h"
#include "teasel/units.h"

namespace teasel {

struct ProbeClass;
using ClassId = Id<ProbeClass>;
struct ProbeClass {
  std::string name;                  ///< "100 mil"
  Mm spacing;                        ///< least centre spacing to its own kind
  Newton force;                      ///< at working travel, with the standard spring
  Newton light_force, strong_force;  ///< the same with the lightest and the strongest spring on offer
  Mm receptacle_drill, receptacle_diameter, plunger_diameter, tip_diameter;
  Mm largest_head;    ///< widest head on offer, for open holes
  Mm contact_margin;  ///< part of the tip that must stay on copper
  Mm pointing;        ///< largest radius, uniform on the disc
  Mm full_travel, working_travel;
  Mm least_travel, most_travel;  ///< window in which the probe may work: enough force, and short of its end stop
  Mm tip_length;                 ///< height over the board at which the head ends and the plunger begins
  Mm projection;                 ///< tip to receptacle top at working travel: height at which the receptacle begins
  Degrees spear_angle{60};       ///< included angle of the pointed head for open holes
  Amperes amperes;               ///< steady current through one probe, by its data sheet
  Money price;                   ///< probe and receptacle
  Money probe_price;             ///< the part of it that wears out
  Touches life;                  ///< that one probe lasts; 0: not stated, wear costs nothing
  std::optional<Money> long_travel_price;  ///< on top, of the version that still touches when the plate is half
                                           ///< raised; absent: there is none
  int contacts = 1;           ///< tips in one receptacle, insulated from one another: each serves its net once
  Mm ring_inner, ring_outer;  ///< of a grounded ring about the tip; 0: none
  int robust{};               ///< higher is sturdier
};
struct Catalogue {
  std::string name;
  Table<ClassId, ProbeClass> classes;  ///< largest spacing first
};

/// A rule of two values. `least` absent: follows from the probe's geometry.
struct Rule {
  std::string key;
  Mm preferred;
  std::optional<Mm> least;
  std::string mark, source;
};
/// Clearance to bodies taller than `above`, up to the next row.
struct BodyRule {
  Mm above;
  Rule rule;
};
/// A position error. normal: `value` is three standard deviations per axis; uniform: on the disc of that radius.
struct ErrorSize {
  double value{};  ///< mm; ppm for the artwork scale
  bool uniform = false;
  std::string mark;
  [[nodiscard]] double variance() const { return uniform ? value * value / 4 : value * value / 9; }  ///< per axis
};
/// Bare metal as a probe meets it.
enum class Surface : std::uint8_t { unknown, gold, soldered, tin, silver, organic };
inline constexpr int kSurfaces = 6;
const char* to_string(Surface surface);
std::optional<Surface> surface_of(
    std::string_view finish);  ///< of a board finish: "gold", "solder", "tin", "silver", "organic"
struct SurfaceRule {
  Chance fault;        ///< that one touch finds no contact though the tip is on the metal
  Money price;         ///< added to the price of the target
  std::string spring;  ///< "light", "standard" or "strong"
  std::string mark;
};
/// Heights along the probe's axis, mm; tolerances are three standard deviations.
struct TravelRules {
  Mm solder_height, lead_protrusion, lead_tolerance, set_height_tolerance, probe_length_tolerance, support_tolerance;
  double thickness_tolerance{};  ///< share of the board thickness; counts for the plate that meets the board last
  bool worst_case = false;       ///< tolerances are added up instead of their squares
  std::string mark;
};
/// Least clearance between the conductors of two nets whose voltages differ by more than `above`.
struct VoltageRule {
  Volts above;
  Mm clearance;
};
/// How a board bends and how much it may.
struct MechanicsRules {
  MPa modulus, modulus_across;  ///< in bending along X and along Y; across 0: the same
  double poisson{};
  double bow_twist{};        ///< of the free board: bow, share of its longer side; twist, of its diagonal
  Microstrain strain_limit;  ///< of the surface at ball grids, where no closing time is stated
  /// At multilayer ceramics, by the length of the body, rising; the last has no end.
  struct Ceramic {
    Mm up_to;
    Microstrain limit;
  };
  std::vector<Ceramic> ceramics;
  Microstrain others;      ///< at all other parts
  MPa foot_pressure;       ///< that a stop or a finger may press on the board with
  Newton part_force;       ///< that a finger may press on a part with
  MPa finger_modulus;      ///< of what fingers are made of
  Mm gauge;                ///< strain is averaged over a circle of this diameter, as a strain gauge does
  Mm mesh;                 ///< edge of the largest triangles
  Mm support_gap;          ///< by which stops and fingers may miss their height
  double preload_share{};  ///< force of a probe that just begins to move, share of its working force
  double vacuum_share{};   ///< of the pressure difference that is left on the board after leaks
  Mm off_axis;             ///< farthest that the middle of all forces may lie off the press's axis
  std::string mark;
};
/// Rules of two values: [rule.KEY] of a rule set.
struct KeyedRules {
  Rule pad_diameter_main, pad_diameter_other, other_conductor, board_edge, tooling_hole, wide_hole, slot, fiducial;
};
/// Their keys: what reads and prints them goes by this table.
inline constexpr std::pair<const char*, Rule KeyedRules::*> kRuleKeys[] = {
    {"pad_diameter_main", &KeyedRules::pad_diameter_main},
    {"pad_diameter_other", &KeyedRules::pad_diameter_other},
    {"other_conductor", &KeyedRules::other_conductor},
    {"board_edge", &KeyedRules::board_edge},
    {"tooling_hole", &KeyedRules::tooling_hole},
    {"wide_hole", &KeyedRules::wide_hole},
    {"slot", &KeyedRules::slot},
    {"fiducial", &KeyedRules::fiducial}};
static_assert(sizeof(KeyedRules) == std::size(kRuleKeys) * sizeof(Rule), "every rule has its key");
struct Rules : KeyedRules {
  std::string name;
  MechanicsRules mechanics;
  std::vector<BodyRule> bodies;              ///< by height, the first above 0
  std::map<std::string, Rule> shared_space;  ///< by kind of keep-out: "camera", "rail", ...
  std::vector<VoltageRule> voltages;  ///< from low to high; none: any two nets may come as near as their probes do
  [[nodiscard]] Mm air(Volts volts) const;  ///< between receptacles of nets that differ so much; 0: no demand
  Mm area_side;                             ///< edge of the square areas in which probes and forces are counted; 0: not
  int area_probes = 0;                      ///< most probes in one of them; 0: any number
  Newton area_force;                        ///< most force in one of them; 0: any

  double ring_share{};  ///< least share of a ring's circle that must lie on ground metal
  Mm mate_clearance;    ///< between a mating connector and probes
  Mm web, web_smallest_class, body_margin, tooling_hole_least, thick_lead;
  Mm head_over_hole;    ///< a head for an open hole, or a crown for the lead in it, is this much wider than the hole
  Mm plate_distance;    ///< board face to probe plate at working travel
  Mm pocket_clearance;  ///< between a body and the wall of the pocket milled for it
  Mm finger_diameter, finger_clearance, finger_reach;  ///< push fingers on the other side of the board
  Chance largest_miss, largest_wrong;                  ///< at one touch: of missing; of touching a neighbour's metal
  TravelRules travel;
  std::map<Surface, SurfaceRule> surfaces;  ///< every kind is present
  struct Errors {
    ErrorSize plate_drilling, receptacle, second_plate, artwork, mask_shift;
    ErrorSize artwork_scale;                 ///< ppm, times the distance from the round pin
    Mm pin_clearance, plated_pin_clearance;  ///< the least play of a tooling pin, diameters
    Mm no_tooling_clearance;                 ///< uniform, diameter
    Mm mask_swell;  ///< by which a maker of boards widens openings of the mask that are drawn as large as their pads
  } errors;
  struct StockPins {
    Mm from, to, step;  ///< diameters: from, from + step, ... to
  };
  std::vector<StockPins> stock_pins;  ///< tooling pins at hand; none: each is ground to size
  [[nodiscard]] const BodyRule& body(Mm height) const;
  [[nodiscard]] Mm tall() const { return bodies.back().above; }  ///< where the widest clearance begins
  struct Cost {
    Money false_reject, unmet_mandatory, unmet, missing_extra, shortfall, wrong_landing;
    double boards{};  ///< that are counted
    Money test_pad, lead, via, smd_pad;
    Money spread, clock_return, kelvin_end;  ///< a part of a net without a probe; a clock without a ground probe near;
                                             ///< an end measured from afar
    Money small_land;                        ///< a land below the usual size, missed by all of it; in proportion
    Money test_point;                        ///< taken off where the designer marked a test point
  } cost;
  struct Advice {
    Mm pad_diameter, via_diameter, pad_to_copper, farthest;                ///< of a new test pad; from its net's copper
    Money relax_rule, use_side, open_mask, add_pad, move_part, leave_out;  ///< prices of changes: they order the list
    Mm farthest_move;
  } advice;
  std::map<std::string, Mm> heights;     ///< by reference letters
  Mm usual_land_main, usual_land_other;  ///< a smaller land costs more, and the plan says what the shop must hold for
                                         ///< it; 0: no size is usual
  [[nodiscard]] Mm usual_land(bool main_side) const { return main_side ? usual_land_main : usual_land_other; }
};

enum class LayerRole : std::uint8_t {
  copper_top,
  copper_bottom,
  copper_inner,
  mask_top,
  mask_bottom,
  paste_top,
  paste_bottom,
  silk_top,
  silk_bottom,
  outline,
  flex,       ///< draws the parts of the board that bend
  rigid,      ///< draws the parts that do not, where all others bend
  stiffener,  ///< draws what holds a part that bends stiff again
  drawing,
  ignore
};
const char* to_string(LayerRole role);
std::optional<LayerRole> layer_role(std::string_view text);

struct GerberInput {
  std::string file;
  LayerRole role{};
  bool mask_image_inverted = false;  ///< the image shows mask instead of openings
  bool clearances = false;           ///< copper: a negative plane, what is drawn is free of copper
  int layer = 0;                     ///< copper: counted from the top, from 1; 0 = not stated
  std::string unit;                  ///< "inch" or "mm" where the file states none or a wrong one
  Place place;
};
struct DrillInput {
  std::string file;
  std::string unit, zeros, digits;  ///< "inch"/"mm", "leading kept"/"trailing kept", "2.5"; empty = as the file states
  std::string plating;              ///< "plated", "unplated", empty = as the file states
  std::map<int, Mm> tools;          ///< diameters that the file lacks
  std::optional<Point> offset;
  int first_layer = 0, last_layer = 0;  ///< 0 = as the file states
  Place place;
};
/// A boundary-scan description and the components that it describes.
struct BsdlInput {
  std::string file, component, package;
  Place place;
};
struct NeedRule {
  std::string nets;  ///< a name or a glob
  std::optional<Role> role;
  std::optional<int> wanted;
  std::optional<bool> mandatory;
  std::optional<Amperes> amperes;    ///< current that the net carries during the test
  std::optional<double> importance;  ///< times the price of a need that is not met
  std::optional<Mm> apart;           ///< least distance between its probes
  std::optional<bool> long_travel;   ///< touched in both stages of the press
  std::optional<Volts> volts;        ///< against ground, the most that it may carry during the test
  std::string reason;
  Place place;
};
/// What an audit must find, or it ends with status 2.
struct Gate {
  bool used = false, supplies = false;
  std::optional<double> score, nets, pins, components;  ///< percent
  std::vector<std::string> interfaces;                  ///< kinds or names (globs) that must be usable
};
struct Lock {
  std::string net, target;  ///< globs, as in every list of the job file
  std::optional<Side> side;
  std::string probe_class;
  Place place;
};
/// A hole that the fixture has already, as the job file says.
struct OldHole {
  BoardPoint at;
  Side side{};
  std::string probe_class, state;
  Place place;
};  ///< state: open, plugged, in use
/// A connector that plugs into one of the board's.
struct Mate {
  std::string component;
  std::optional<Side> side;
  Money price;
  Newton force;
  Place place;
};
/// Where the board is held, by hand: a push finger or a board stop touches this side there.
struct Support {
  BoardPoint at;
  Side side{};
  bool finger = false;
  Place place;
};
struct Ban {
  std::string net, target;   ///< globs
  std::optional<Side> side;  ///< absent: both
  std::string reason;
  Place place;
};
/// Something that shares the space with the probes: an area, a side and a range of heights over the board face.
struct KeepOut {
  std::string name;
  Sides sides;
  std::string kind;  ///< kind: a key of Rules::shared_space
  Polygons area;
  Mm from_height, to_height{1e9};
  bool panel = false;  ///< in the panel's frame, not in each board's
  Place place;
};
/// A part of the board that bends: the tail of a rigid-flex board.
struct Flex {
  std::string name;
  Polygons area;
  bool backed = false;  ///< the fixture, or a stiffener, holds it from behind: probes, stops and pins may stand there
  Place place;
};
/// A body that no file knows: a shield lid, a pack glued on.
struct Cover {
  std::string name;
  Side side{};
  Polygons area;
  Mm height, standoff;
  Place place;
};
/// A blocking finding that the user takes upon himself.
struct Waiver {
  std::string net, target;   ///< globs
  std::optional<Side> side;  ///< absent: both
  std::string rule, reason;
  Place place;
};
/// One way the board is fitted out. The plan holds for all that are listed.
struct BuildVariant {
  std::string name, bom, cad;
  std::vector<std::string> not_fitted, fitted;
  Place place;
};
/// Boards in one panel, in the panel's frame.
struct PanelPlace {
  std::string name;
  BoardPoint at;
  Degrees turn;
  bool flipped = false;
};
struct PanelHole {
  BoardPoint at;
  Mm diameter;
  bool plated = false;
};
using BanId = Id<Ban>;
using WaiverId = Id<Waiver>;
using KeepOutId = Id<KeepOut>;
using OldHoleId = Id<OldHole>;
using MateId = Id<Mate>;
struct Panel {
  bool used = false, alike = true;  ///< alike: every board is probed at the same places
  std::string step;                 ///< take the places of this IPC-2581 step
  std::vector<PanelPlace> places;
  std::vector<BoardPoint> outline;
  std::vector<PanelHole> holes;
  Place place;
};

/// Files of the release, and what the user says of them.
struct JobInputs {
  std::optional<Mm> thickness;
  std::optional<Surface> finish;                         ///< of bare lands
  std::string netlist_file, netlist_unit, netlist_mask;  ///< mask: "open", "covered", "ignore", empty = by evidence
  std::optional<Point> netlist_offset;                   ///< add to netlist coordinates to reach the board frame
  std::vector<GerberInput> gerbers;
  std::vector<DrillInput> drills;
  std::vector<std::string> placement_files;
  std::string placement_unit;
  std::optional<Point> placement_offset;
  std::string placement_bottom;  ///< "from the bottom": x of bottom parts runs the other way; empty: as of top parts
  std::optional<Point> placement_bottom_offset;   ///< added to bottom parts instead, after their x is turned round
  std::map<std::string, std::string> lone_files;  ///< by key, "inputs.heights.file": a job says no more of them
  [[nodiscard]] std::string lone_file(const std::string& key) const;  ///< empty: the job names none
  std::string pads_file;
  std::string cad_file, cad_step, cad_variant, cad_mask;  ///< IPC-2581; mask: "openings", "mask", empty = openings
  std::string idf_board, idf_library;
  std::optional<Point> idf_offset;  ///< add to IDF coordinates to reach the board frame
  std::string bom_file, bom_variant;
  std::string references_file, photo_model;  ///< model: "similarity", "affine", "projective"; empty = by the points
  Mm reference_error{0.05};                  ///< lower limit for the error of one reading in a picture, one sigma
  std::vector<BsdlInput> bsdl;
  std::string continuity_file;
  Ohms joined_below{5}, open_above{100};
  std::string outline_file;
  std::vector<BoardPoint> outline_polygon;  ///< drawn by hand
  int outline_choice = 1;                   ///< counts from 1, candidates by area
  Mm2 outline_area;                         ///< 0 = not stated: the area of the chosen candidate, as a check
  std::vector<std::string> accept;          ///< codes of cross-checks the user accepts
};

/// What the user says of parts.
struct JobParts {
  std::vector<std::string> not_fitted;
  std::map<std::string, Mm> heights;
  std::map<std::string, Mm> protrusions;  ///< of leads on the solder side, by component
  std::map<std::string, Side> sides;
  std::vector<BuildVariant> variants;
  std::vector<Cover> covers;
};

/// What the test asks of nets.
struct JobWants {
  std::vector<NeedRule> needs;
  std::vector<InterfaceRule> interface_rules;
  Gate gate;
  std::vector<std::string> kelvin;  ///< components measured with four wires (globs)
  Ohms kelvin_below{1};             ///< resistors up to this as well
  bool scan_saves_probes = false;   ///< nets that boundary scan tests by itself get no probe
};

/// What the user has decided: the plan keeps to it.
struct JobDecisions {
  std::vector<Lock> locks;
  Table<BanId, Ban> bans;
  Table<WaiverId, Waiver> waivers;
  Table<KeepOutId, KeepOut> keep_outs;
  std::vector<Flex> flex;
  Table<OldHoleId, OldHole> old_holes;
  Table<MateId, Mate> mates;
};

/// What the fixture is built from, and its limits.
struct JobFixture {
  std::string catalogue = "standard", rules = "standard", interfaces = "standard";
  std::string kit;  ///< empty: blanks are cut to the board
  std::string style = "moving-plate";
  std::string prices = "standard";
  std::vector<std::string> rule_changes;     ///< keys of the rule set that the job sets itself, with their values
  std::vector<std::string> classes;          ///< names in use; empty = all of the catalogue
  std::string board_lies = "auto";           ///< "bottom side down", "top side down", "auto"
  std::string sides = "auto";                ///< "bottom", "top", "both", "auto"
  std::string drill_face = "board";          ///< "board" or "outer": the face each plate is drilled from
  std::vector<BoardPoint> tooling;           ///< two points near the holes to use; empty = chosen
  std::map<std::string, int> most_of_class;  ///< by class
  int channels = 0;                          ///< of the tester; 0: any number
  Newton largest_force;                      ///< of all probes together; 0: any
};

/// How bending is worked out, and what the user says of it.
struct JobMechanics {
  bool used = true;  ///< work out how the board bends, and lay out supports by it
  Seconds closing;   ///< from first touch to full stroke; 0: not stated
  std::optional<MPa> modulus, modulus_across;
  std::optional<double> bow;                       ///< bow and twist that were measured; instead of the rule set's
  std::optional<Microstrain> strain_limit;         ///< instead of the rule set's
  std::map<std::string, Microstrain> part_limits;  ///< of single parts
  std::vector<Support> supports;                   ///< besides those that are laid out
  std::vector<std::string> press_on;               ///< globs of parts that may bear a push finger
  bool lay_out_supports = true;
};

/// How much is worked out, and how long that may take.
struct JobEffort {
  bool advice = true;  ///< work out what the layout could change
  bool proof = false;  ///< write the proof file
  Seconds time_limit{60};
  int seed = 1, simulated_fixtures = 400, simulated_boards = 200;
};

/// What a shop has counted on fixtures like this one, with boards as clean as these.
struct JobHistory {
  double touches = 0, faults = 0;  ///< of single probes; contact faults among them
};

/// A job file, as it was read. What later stages find out is not written back into it.
struct Job {
  std::string file;  ///< as the user gave it
  std::string name, revision;
  std::vector<std::uint32_t> open_checks;       ///< lines of comments marked CHECK: nobody has settled them yet
  [[nodiscard]] std::string unsettled() const;  ///< how many there are, as a sentence without its stop; empty: none
  JobInputs inputs;
  JobHistory history;
  JobParts parts;
  JobWants wants;
  JobDecisions decisions;
  JobFixture fixture;
  JobMechanics mechanics;
  JobEffort effort;
  Panel panel;
};

/// How far a change of a key on the live page reaches; keys that the page may not set have none.
enum class PageReach : std::uint8_t { none, quick, needs, everything };

class TomlTable;
/// One key of a job file: its reader, range check, the live page and the manual all go by this row.
struct Option {
  const char* path;      ///< "inputs.gerber[].file"
  const char* type;      ///< text, length, number, whole, yes/no, list, table
  const char* standard;  ///< default as text; empty = required or absent
  const char* help;
  const char* mark = "";  ///< of a default that is a figure of the trade: published, common, memory; "there": in the
                          ///< file it names; "chosen": neither
  double least = 0, most = 0;  ///< of numbers, in the unit that the key names; both 0: no range
  const char* words = "";      ///< of texts: what may be chosen, with | between; empty: any text
  PageReach page = PageReach::none;
  bool lone_file = false;  ///< names a file of which a job says no more: JobInputs::lone_files
  /// Reads the value of this key from the table that holds it; null: the reader of that table does.
  void (*read)(TomlTable& table, std::string_view key, Job& job) = nullptr;

  [[nodiscard]] constexpr Option read_by(void (*reader)(TomlTable&, std::string_view, Job&)) const {
    Option row = *this;
    row.read = reader;
    return row;
  }
  [[nodiscard]] constexpr Option within(double from, double to) const {
    Option row = *this;
    row.least = from;
    row.most = to;
    return row;
  }
  [[nodiscard]] constexpr Option one_of(const char* choices) const {
    Option row = *this;
    row.words = choices;
    return row;
  }
  [[nodiscard]] constexpr Option alone() const {
    Option row = *this;
    row.lone_file = true;
    return row;
  }
  [[nodiscard]] constexpr Option on_page(PageReach reach) const {
    Option row = *this;
    row.page = reach;
    return row;
  }
};
/// Every key a job file may hold, in the order of the documentation.
const std::vector<Option>& job_options();
/// The row of a path, lists as "need[]"; null: there is none.
const Option* job_option(std::string_view path);
/// How far an edit at this path reaches ("need[2].wanted", "lock", "components.height.U7"): the farthest of the rows
/// that it touches; none where the page may not change one of them.
PageReach page_reach(std::string_view path);

/// Reads a job file. Unknown keys are errors with the nearest known key.
Job read_job(std::string_view text, const std::string& file, Diagnostics& diagnostics);
Catalogue read_catalogue(std::string_view text, const std::string& file, Diagnostics& diagnostics);
/// With what the job file changes of them: its table rule_changes.
Rules read_rules(std::string_view text, const std::string& file, Diagnostics& diagnostics,
                 std::string_view job_text = {}, const std::string& job_file = {});
Kit read_kit(std::string_view text, const std::string& file, Diagnostics& diagnostics);
std::vector<BlockPin> read_interface_block(std::string_view text, const std::string& file, Diagnostics& diagnostics);
Prices read_prices(std::string_view text, const std::string& file, Diagnostics& diagnostics);
Style read_style(std::string_view text, const std::string& file, Diagnostics& diagnostics);
Hardware read_hardware(std::string_view text, const std::string& file, Diagnostics& diagnostics);
InterfaceTable read_interfaces(std::string_view text, const std::string& file, Diagnostics& diagnostics);
/// Checks what one file says against another: kinds of keep-outs, probes that fit under the plate.
void check_together(const Job& job, const Catalogue& catalogue, const Rules& rules, Diagnostics& diagnostics);
/// The shipped file of a kind ("catalogues", "rules", "interfaces", "kits", "styles", "prices", "hardware") by name;
/// nothing if there is none of that name.
std::optional<std::string_view> shipped(std::string_view kind, std::string_view name);

/// Letters to change, add or remove to turn one name into the other (Levenshtein). Used to suggest what was meant.
std::size_t edit_distance(std::string_view a, std::string_view b);

/// A first job file: each value that was inferred with its evidence as a comment above it.
/// `evidence` maps an option path, or an input file name, to lines of text.
std::string write_first_job(const Job& job, const std::map<std::string, std::vector<std::string>>& evidence);

}  // namespace teasel
