// The one model of a board. Frame everywhere: the Gerber frame seen from the top, X right, Y up, millimetres.
#pragma once
#include <array>
#include <cstdint>
#include <map>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "teasel/board/bench.h"
#include "teasel/board/copper.h"
#include "teasel/board/fact.h"
#include "teasel/board/ids.h"
#include "teasel/diagnostics.h"
#include "teasel/formats/bodies.h"
#include "teasel/formats/bsdl.h"
#include "teasel/formats/drill.h"
#include "teasel/formats/fixture_file.h"
#include "teasel/formats/gerber.h"
#include "teasel/formats/ipc2581.h"
#include "teasel/formats/netlist.h"
#include "teasel/formats/tables.h"
#include "teasel/frames.h"
#include "teasel/geometry.h"
#include "teasel/ids.h"
#include "teasel/job.h"
#include "teasel/job/shop.h"
#include "teasel/names.h"
#include "teasel/side.h"
#include "teasel/units.h"

namespace teasel {

enum class FeatureKind : std::uint8_t { test_pad, lead, via, smd_pad, unplated_hole, fiducial };
const char* to_string(FeatureKind kind);
enum class Known : std::uint8_t { confirmed, assumed, unknown };
const char* to_string(Known known);

/// Who says that a place is a test point of the designer: nobody, an IPC-2581 file, the attribute of a Gerber layer, or
/// the designator of its part.
enum class TestMark : std::uint8_t { none, cad_file, attribute, designator };
const char* to_string(TestMark mark);

struct Land {  ///< as the netlist declares it; the exact shape comes from copper
  bool present = false;
  Mm width, height;
  Degrees rotation;
  bool round = false;
};

/// One place of the netlist: a pad stack, a via, a hole.
struct Feature {
  PadName name;  ///< "U7-3", "via@12.345/6.789"; unique on the board
  FeatureKind kind{};
  NetId net;
  ComponentId component;
  std::string pin;
  std::string function;  ///< of the pin, where a file states it: "SWDIO", "PA13/SWDIO"
  BoardPoint at;
  Mm hole;          ///< width, where it is a slot
  Mm netlist_hole;  ///< as the netlist says; 0 = it does not
  Point slot;       ///< from the centre to the slot's end; zero for round holes
  bool plated = true;
  PerSide<Land> land;
  TestMark mark{};                      ///< who says that it is a test point of the designer
  int mask_code = -1;                   ///< the netlist's S field
  int first_layer = 0, last_layer = 0;  ///< blind and buried vias: copper layers joined
  Mm place_sigma;                       ///< measured places: standard deviation, each axis, mm
  Place place;
  PlaceId panel_place;  ///< in a panel: which board of it
  FeatureId base;       ///< in a panel: the feature of the single board
};

struct Net {
  NetName name;
  bool unconnected = false;  ///< N/C: a single point, not a net
  std::vector<FeatureId> features;
  int pins = 0;  ///< component pins and pads of no part; vias not counted, several pads of one pin once
  PlaceId panel_place;
  NetId base;                   ///< in a panel: the net of the single board
  bool name_confirmed = false;  ///< its pads carry the same name in another file
};

struct Component {
  PartName name;
  Side side{};
  Known side_known{}, body_known{}, height_known{};
  Polygons body;                ///< empty: nothing stands there (test points, fiducials, parts that are not fitted)
  Mm height;                    ///< over the board face
  bool fitted = true;           ///< in at least one of the build variants that count
  bool always_fitted = true;    ///< in all of them
  std::vector<char> fitted_in;  ///< by build variant of the job; empty where it lists none
  std::string value;            ///< as a table states it: "4k7", "100n", a part number
  bool holes_only = false, area_array = false;
  bool cover = false;      ///< drawn in the job file
  Mm standoff;             ///< clear height under the body
  Mm protrusion;           ///< of its leads, on the solder side
  std::string outline_by;  ///< file that draws the body; empty: the hull of its lands
  Ring ring;               ///< hull of its lands' places
  std::vector<FeatureId> features;
  PlaceId panel_place;  ///< in a panel: which board of it
};

struct BoardHole {
  BoardPoint at, end;
  Mm diameter;
  formats::Plating plating{};
  bool slot = false, blind = false;
  int first_layer = 0, last_layer = 0;  ///< copper layers joined, counted from the top; 0 = outermost
  Place place;
  bool of_panel = false;  ///< drilled in the panel's frame, not in one of its boards
};

/// A wrong way of loading the board that still fits onto both pins.
struct WrongWay {
  std::string how;  ///< "half turn", "turned over about the line of the pins", ...
  Affine map;       ///< board frame to where it then lies
  bool turned_over = false;
  Mm sticks_out;                  ///< farthest that the outline then leaves the place meant for it
  BoardPoint at;                  ///< where: an edge guide here stops it
  std::vector<HoleId> third_pin;  ///< holes in which a third pin would stop it, best first
};
/// A board's place in a panel.
struct PlaceInPanel {
  std::string name;
  Affine map;  ///< board frame to panel frame
  bool flipped = false;
};

/// Exposed copper of one feature on one side.
struct Exposure {
  FeatureId feature;
  Side side{};
  Polygons copper;   ///< bare metal; the finished hole is cut out
  Polygons contact;  ///< the same with the feature's own hole filled: what a spear or crown may land on
  bool mask_defined = false, pasted = false, from_layers = false;
  /// Least gap from the pad's own edge to the edge of the mask's opening about it, as it is drawn; none: no mask layer
  /// says it, or the mask covers part of the pad.
  std::optional<Mm> mask_gap;
  /// The opening is drawn as large as the pad.
  [[nodiscard]] bool drawn_alike() const { return mask_gap && *mask_gap < Mm{0.02}; }
  bool proposed = false;  ///< does not exist: advice tries it, and nothing keeps away from it
  Mm place_sigma;         ///< of the feature
  BoardPoint aim;         ///< land centre, or the centre of the largest inscribed circle where that is off
  Mm diameter;            ///< of the largest circle inside `contact` about the aim point
};

/// Metal without mask that belongs to no listed pad. It shorts a probe head like any other metal.
struct BareMetal {
  Side side{};
  Polygons copper;
};

/// Why a feature has no exposure on a side where the netlist puts a land.
struct Covered {
  FeatureId feature;
  Side side{};
  bool mask = true;  ///< true: mask closed; false: no copper under the point
};

/// Where the copper and the netlist say different things.
struct NetDifference {
  bool open = false;                ///< true: one net on two pieces of copper; false: two nets on one piece
  std::string net, other;           ///< netlist names; opens: the same
  std::string at_name, other_name;  ///< features
  BoardPoint at, other_at;
  Side side{}, other_side{};
};
/// Nets traced through copper and holes, and their comparison with the netlist.
struct Connectivity {
  std::shared_ptr<const CopperNets> copper;  ///< null where no outer copper layer was given
  std::vector<int> missing_layers;           ///< copper layers of the board without a file: opens are not claimed
  bool no_holes = false;                     ///< several layers and nothing that joins them: likewise
  std::size_t agreeing = 0, compared = 0;    ///< netlist nets
  std::vector<NetDifference> differences;    ///< shorts, then opens, by net name
  Table<CopperNetId, std::vector<NetId>> netlist_nets;  ///< by traced net: the netlist nets found on it
};

/// A part of the board that bends.
struct FlexPart;
using FlexId = Id<FlexPart>;
struct FlexPart {
  std::string name;
  Polygons area;        ///< inside the pieces, less what stiffeners hold
  bool backed = false;  ///< something holds it from behind: what stands on it stands as on the board
};

struct Board {
  std::string name, revision;
  Polygon outline;  ///< holes = cutouts; of the panel, where there is one
  Polygons pieces;  ///< what probes may stand on: the outline, or the boards of a panel
  Polygons rails;   ///< of a panel: its frame, where stops may stand as well
  Table<FlexId, FlexPart> flex;
  [[nodiscard]] Polygons stiff() const;     ///< the pieces without their flexible parts
  [[nodiscard]] Polygons holdable() const;  ///< where stops, fingers and pins may stand: pieces and rails, less
                                            ///< flexible parts that nothing holds from behind
  Mm thickness{1.6};                        ///< finished
  Known thickness_known = Known::assumed;
  Surface finish{};  ///< of bare lands
  bool outline_assumed = false;
  Table<FeatureId, Feature> features;
  Table<NetId, Net> nets;
  Table<ComponentId, Component> components;
  Table<HoleId, BoardHole> holes;
  Table<ExposureId, Exposure> exposures;  ///< by feature, then side
  std::vector<Covered> covered;
  std::vector<BareMetal> bare_metal;
  std::vector<HoleId> tooling;  ///< the round pin, then the relieved pin; may be fewer than two
  bool tooling_plated = false;
  Table<KeepOutId, KeepOut> keep_outs;  ///< of the job, in this frame: in a panel one for each board
  std::vector<WrongWay> wrong_ways;
  Table<PlaceId, PlaceInPanel> places;  ///< of a panel; empty: one board
  bool plans_alike = false;             ///< of a panel: every board is probed at the same places
  /// The net of the single board that a net of the panel is a copy of; of a single board the net itself.
  [[nodiscard]] NetId base_net(NetId net) const { return nets[net].base ? nets[net].base : net; }
  /// The side of the board itself that lies on this side of a panel: plain names in a job speak of it.
  [[nodiscard]] Side own_side(const Feature& feature, Side side) const {
    return feature.panel_place && places[feature.panel_place].flipped ? other(side) : side;
  }
  Map<NetlistFrame, BoardFrame> from_netlist;  ///< a shift
  int copper_layers = 0;
  bool has_mask_layers = false, has_copper_layers = false;
  PerSide<bool> has_paste;            ///< by side: a paste layer is given
  bool traced = false;                ///< no netlist was given: nets and pads come from copper, components are unknown
  std::size_t names_perhaps_cut = 0;  ///< net names that fill the netlist's 14 columns
  std::vector<Fact> facts;            ///< of the single board, where this is a panel
  Connectivity connectivity;
  Bench bench;
};

/// Nets by their place in the panel (none where there is no panel) and their net of the single board.
std::map<std::pair<PlaceId, NetId>, NetId> nets_by_place(const Board& board);

/// What was read, in the order of the job's lists.
struct Sources {
  std::optional<formats::Netlist> netlist;
  std::vector<formats::GerberFile> gerbers;
  std::vector<GerberInput> layers;  ///< what each of `gerbers` is: as the job says, then as unfold() added
  std::vector<formats::DrillFile> drills;
  std::vector<formats::Placement> placements;
  formats::LoneTables lone_tables;
  std::vector<formats::PadRow> pads;
  std::vector<formats::ReferenceRow> references;
  std::vector<formats::ContinuityRow> continuity;
  std::optional<formats::CadBoard> cad;
  std::optional<formats::Mechanics> idf;
  std::optional<formats::BomTable> bom;
  std::vector<formats::BsdlDevice> bsdl;   ///< in the order of the job's list
  std::vector<formats::Hole> other_holes;  ///< in place of drill files: of an IPC-2581 or IDF file
  std::string other_holes_file;
  bool vias_missing = false;               ///< among them
  std::string netlist_file, netlist_mask;  ///< as the job says, or of the IPC-2581 file that took its place
  std::optional<Mm> thickness;             ///< likewise
  std::vector<BoardPoint> pins;  ///< two points near the holes for the tooling pins, as the job or a fixture that
                                 ///< stands asks; empty: chosen
};

/// Settles what the job and the files say together: roles of layers, meaning of the netlist, thickness, pins. Then lets
/// the layers, holes and nets of an IPC-2581 file take the places that the job leaves empty: as layer files, drill
/// hits and a netlist of the job. Where the job names a source of its own, that one counts and the two are compared.
void unfold(const Job& job, Sources& sources, Diagnostics& diagnostics);

/// A painted layer with an index over its objects.
class LayerImage {
 public:
  LayerImage(const formats::GerberFile& file, bool inverted);
  ~LayerImage();
  LayerImage(LayerImage&&) noexcept;
  LayerImage& operator=(LayerImage&&) noexcept;
  [[nodiscard]] bool dark(BoardPoint p) const;
  /// The image inside the window, painted in file order.
  [[nodiscard]] Polygons window(const Box& window) const;
  /// The last dark flash within `radius` of p; nullptr if none.
  [[nodiscard]] const formats::GerberObject* flash_at(BoardPoint p, Mm radius) const;
  /// The last dark flash that p lies in, or in a hole of it; nullptr if none.
  [[nodiscard]] const formats::GerberObject* flash_over(BoardPoint p) const;
  [[nodiscard]] const formats::GerberFile& file() const { return *file_; }
  [[nodiscard]] bool shows_mask() const { return inverted_; }  ///< what is drawn is mask, or clearance, not what counts

 private:
  struct Index;
  const formats::GerberFile* file_;
  bool inverted_;
  std::unique_ptr<Index> index_;
};

/// A closed face that encloses every point, found among the strokes of one file.
struct OutlineCandidate {
  Polygon face;  ///< with cutouts
  Mm2 area;
  std::string how;          ///< which strokes formed it
  std::size_t outside = 0;  ///< points that it leaves out
};
/// Faces around all points, smallest first; then smaller ones that leave out a few of them (in rails, or stray),
/// smallest first. `points`: pads and holes that should lie inside.
std::vector<OutlineCandidate> outline_candidates(const formats::GerberFile& file, const std::vector<Point>& points);

/// What a connector of the fixture that plugs into this part covers: its body, or the hull of its lands.
Polygons room_of_mate(const Component& part);

/// How a board lies in a kit with this side down; without a kit its own frame, turned over with the top side down.
Map<BoardFrame, KitFrame> board_in_kit(const Board& board, const Kit* kit, Side down);

/// Second moments of the shift that the play at two pins allows at a point, mm^2: the round pin's disc moves the board,
/// the play across the relieved pin turns it. `play`: hole minus pin, in diameter, uniform.
struct LocatingError {
  Mm2 xx, xy, yy;
};
LocatingError locating_error(BoardPoint round, Mm round_play, BoardPoint relieved, Mm relieved_play, BoardPoint at);
/// The thickest tooling pin at hand that leaves the hole the least play; ground to that play where none is as thin.
Mm pin_for(const BoardHole& hole, const Rules& rules);
/// What it leaves, in diameter.
Mm play_of(const BoardHole& hole, const Rules& rules);

/// Builds the model and cross-checks the files against one another. Choices become notes, contradictions errors.
/// The model is usable only if no error was added.
/// `shop`: tooling holes are chosen so that its plates can be made.
Board assemble(const Job& job, const Rules& rules, const Sources& sources, Diagnostics& diagnostics,
               const Shop& shop = {});

/// Turns a board into the panel that the job asks for: one copy a place, nets and parts with the place before their
/// names; keep-outs are repeated with them. Does nothing where the job has no panel.
void panelize(Board& board, const Job& job, const Rules& rules, const Sources& sources, Diagnostics& diagnostics,
              const Shop& shop = {});

struct FolderFile {
  std::string name;  ///< relative to the folder
  std::string bytes;
};
struct FirstJob {
  Job job;
  std::map<std::string, std::vector<std::string>> evidence;
};
/// Recognises release files by content and infers what they leave open. Contradictory evidence is an error.
FirstJob recognise(const std::vector<FolderFile>& files, Diagnostics& diagnostics);

/// How many others lie within the assumed body of a part that covers much of the board; 0: it is no such body.
std::size_t parts_inside(const Board& board, const Component& part);
/// Warns of limits of single parts in the job, and of parts that may bear a finger, that name no part of the board, or
/// of the panel.
void check_part_limits(const Board& board, const Job& job, Diagnostics& diagnostics);

/// The board as the next revision is compared with it.
formats::BuiltBoard built_board(const Board& board, const Job& job);

/// Format of a drill file under the job's statements.
formats::DrillFormat drill_format(const formats::DrillFile& file, const DrillInput& input);

}  // namespace teasel
