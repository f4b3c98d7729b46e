// Steps of assemble(), each one room of the same house.
#pragma once
#include <array>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "teasel/board.h"
#include "teasel/point_grid.h"

namespace teasel {

/// An error, or a warning where the job file accepts it.
void complain(const Job& job, Diagnostics& diagnostics, Saying saying);

/// The netlist frame moved by `shift`.
inline Map<NetlistFrame, BoardFrame> netlist_shift(Point shift) {
  return Map<NetlistFrame, BoardFrame>{{1, 0, 0, 1, shift.x, shift.y}};
}

void add_netlist(Board& board, const formats::Netlist& netlist, Diagnostics& diagnostics);
void add_pad_list(Board& board, const std::vector<formats::PadRow>& pads, const std::string& file,
                  Diagnostics& diagnostics);
/// Pads from pictures and ruler, nets from resistances: the pad list of a board known only from the bench.
void add_bench(Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics);
/// The layer code that stands for the bottom side, with its evidence.
int bottom_code(const formats::Netlist& netlist, std::string* evidence = nullptr);

/// A netlist's code for the bottom is a label in some writers: the bottom copper's own number counts before it. Where
/// nothing else speaks of inner layers, layer 16 is the bottom of a board of two (common practice, no source).
void settle_copper_layers(Board& board, const Sources& sources);
/// How many copper layers the board has, as its bottom copper says of itself; 0: it does not.
int layers_by_attribute(const formats::GerberFile& bottom);

/// Layers of one role, by side.
struct Layers {
  PerSide<std::vector<LayerImage>> copper, mask, paste;
};
Layers images(const Sources& sources);

/// Traces nets through copper and holes; without a netlist the board's pads and nets come from there. Needs holes.
void trace_copper(Board& board, const Layers& layers, const Job& job, const Sources& sources, Diagnostics& diagnostics);
/// Opens and shorts against the netlist.
void compare_with_netlist(Board& board, const Sources& sources, Diagnostics& diagnostics);
/// Pads and nets of a board known from its copper alone.
void add_traced_features(Board& board, const Layers& layers, const Job& job, Diagnostics& diagnostics);

/// Gives the unnamed lands of a traced board to the parts that stand between them.
void match_parts(Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics);
void add_holes(Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics);
/// Wrong ways of loading that the two pins allow, with what would stop each.
void find_wrong_ways(Board& board, const Rules& rules, Diagnostics& diagnostics, const Place& at);
/// `shop`: pairs whose pins its plates leave no room for are passed over, as far as there are others.
void choose_tooling(Board& board, const Job& job, const Rules& rules, const std::vector<BoardPoint>& pins,
                    Diagnostics& diagnostics, const Shop& shop = {});
/// flex.cpp. The parts that bend, as the job and the layers say. Needs the outline.
void add_flex(Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics);
/// Lands that the netlist states no size of, as the copper draws them.
void lands_from_copper(Board& board, const Layers& layers, Diagnostics& diagnostics);
void name_kinds(Board& board, const Layers& layers);
/// Spells out net names that the netlist cuts or changes, as layers and an IPC-2581 file write them.
void name_nets(Board& board, const Layers& layers, const Job& job, const Sources& sources, Diagnostics& diagnostics);
/// What the sources say of one part, the strongest of them for each fact.
struct PartFacts {
  std::optional<Side> side;
  std::string side_by;
  std::optional<Mm> height;
  std::string height_by;
  bool height_doubtful = false;  ///< far taller than parts are: a default of the writer, perhaps
  Polygons outline;              ///< board frame
  std::string outline_by;
  Mm standoff;
  std::optional<bool> fitted;  ///< in the first build variant that counts
  std::string fitted_by;
  std::string value;
  std::map<std::string, bool> fitted_in;  ///< by build variant, where sources tell variants apart
  std::optional<BoardPoint> at;
  std::string at_by;
  Place place;
};
/// By component. Differences between sources become warnings that name the stronger one.
std::map<std::string, PartFacts> gather_parts(const Board& board, const Job& job, const Sources& sources,
                                              Diagnostics& diagnostics);
/// A part that a file puts elsewhere than its pads are.
struct OffPart {
  std::string name;
  Side side{};
  BoardPoint said, pads;
};
/// What they have in common: one side, one shift, a mirror; empty if nothing.
std::string what_is_common(const std::vector<OffPart>& off);
/// One unit of a placement table that states none.
Mm placement_unit(const Job& job);
/// A placement row in the board frame.
BoardPoint placed(const Job& job, const formats::Placement& table, const formats::PlacementRow& row);
void add_components(Board& board, const Job& job, const Rules& rules, const Sources& sources, Diagnostics& diagnostics);
void add_exposures(Board& board, const Layers& layers, const Job& job, const Sources& sources,
                   Diagnostics& diagnostics);

/// board_edge.cpp
void add_outline(Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics);
/// Another source's edge against the one that counts.
void compare_outline(const Board& board, const formats::Mechanics& mechanics, Point shift, Diagnostics& diagnostics);

/// file_checks.cpp
void check_files_agree(const Board& board, const Layers& layers, const Job& job, const Sources& sources,
                       Diagnostics& diagnostics);
/// gap_checks.cpp: a few places that a file leaves out.
void check_gaps_in_files(const Board& board, const Layers& layers, Diagnostics& diagnostics);
/// layer_fit.cpp: shifts and stretches of whole files that are too small for a pad to be missed.
void check_layers_lie_together(const Board& board, const Layers& layers, const Job& job, Diagnostics& diagnostics);
/// Inner layers on the plated holes.
void check_inner_layers(const Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics);
/// How the outline lies on poured copper.
struct EdgeFit {
  std::array<double, 4> kept{};  ///< mm from the left, right, lower and upper edge to the copper
  Mm clearance;                  ///< on all sides, with the outline moved by `shift`
  Point shift;                   ///< of the outline, that makes the four distances equal
};
/// edge_fit.cpp. Nothing where copper keeps no distance of its own, or where no shift makes the four one. Warns where
/// the outline lies off.
std::optional<EdgeFit> check_edge_fit(const Board& board, const Layers& layers, const Job& job,
                                      Diagnostics& diagnostics);
/// witnesses.cpp: what confirms each thing that the board is made of.
std::vector<Fact> facts_of(const Board& board, const Layers& layers, const std::optional<EdgeFit>& edge, const Job& job,
                           const Sources& sources);
/// stated_checks.cpp: roles, sides, large holes and sizes of lands, each against what another file says.
void check_statements(const Board& board, const Layers& layers, const Job& job, const Sources& sources,
                      Diagnostics& diagnostics);
/// The role that .FileFunction states; nothing for drawings and functions of no interest here.
std::optional<LayerRole> role_of_function(const std::string& function);
void check_holes_inside(const Board& single, const Job& job, Diagnostics& diagnostics);
/// Holes and thickness of the IDF file, and what its keep-outs are for.
void check_idf(const Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics);
/// Placement centres must lie near their own pads: proves unit, offset and side, or refuses.
void check_placement(const Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics);

// Evidence, shared by the first job file and by the checks.

/// Flash centres of a copper layer.
std::vector<Point> flash_centres(const formats::GerberFile& file);
std::vector<Point> flash_centres(const std::vector<LayerImage>& images);
struct OffsetFit {
  Point offset;
  double share = 0;  ///< of the points that meet a flash after the shift
  std::size_t points = 0;
};
/// The shift that brings most points onto flashes (vote over pairs, then the median).
OffsetFit fit_offset(const std::vector<Point>& points, const std::vector<Point>& flashes, double tolerance = 0.03);
double share_met(const std::vector<Point>& points, const std::vector<Point>& flashes, Point shift,
                 double tolerance = 0.03);
/// What would make the points meet the flashes: another unit, an offset, a mirror; empty if nothing would.
std::string name_the_fault(const std::vector<Point>& points, const std::vector<Point>& flashes);

struct DrillFit {
  formats::DrillFormat format;
  Point offset;
  double share = 0, runner_up = 0;  ///< share of plated hits on netlist holes
  bool fitted = false;
};
DrillFit fit_drill(const formats::DrillFile& file, const std::vector<Point>& targets);

/// "open" or "covered" or "" with the counts that say so.
std::string mask_field_meaning(const formats::Netlist& netlist, std::string* evidence = nullptr);
std::string percent(double share);

}  // namespace teasel
