// Renders what was found; computes nothing of the trade. Every output carries the plan id.
#pragma once
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "teasel/access.h"
#include "teasel/access/bed.h"
#include "teasel/board.h"
#include "teasel/coverage.h"
#include "teasel/coverage/advice.h"
#include "teasel/coverage/audit.h"
#include "teasel/fixture.h"
#include "teasel/fixture/cost.h"
#include "teasel/fixture/proving.h"
#include "teasel/formats/layer.h"
#include "teasel/interfaces.h"
#include "teasel/plan.h"
#include "teasel/respin.h"

namespace teasel {

struct InputHash {
  std::string file, sha256;
};
/// All results of one run, by reference.
struct Outcome {
  const Job& job;
  const Board& board;
  const Catalogue& catalogue;
  const Rules& rules;
  const InterfaceTable& table;
  const InterfaceSet& interfaces;
  const BoundaryScan& scan;
  int probes_saved{};  ///< nets that lost their probes to boundary scan
  const std::vector<Need>& needs;
  const Access& access;
  const PlanResult& plan;
  const Coverage& coverage;
  const Audit& audit;
  const std::vector<Advice>& advice;
  const Style& style;
  const Kit* kit;  ///< none: blanks are cut to the board
  const std::vector<Plate>& plates;
  const std::vector<SetHeight>& set_heights;
  const std::vector<Wire>& wiring;
  const std::vector<WiringFace>& wiring_faces;
  const Prices& prices;
  const CostComparison& cost;
  const Proving& proving;
  const Mechanics& mechanics;
  const Respin& respin;  ///< used: the plan is for a fixture that stands
  const BedOdds& bed;
  const std::vector<Sensitivity>& sensitivity;
  const Diagnostics& diagnostics;
  std::vector<InputHash> inputs;
  std::string plan_id;
};

/// The verdict in a sentence, then what it rests on.
std::vector<std::string> summary_lines(const Outcome& o);
std::string summary_json(const Outcome& o);
/// What one relaxed rule would open, most nets first.
std::vector<std::string> nearly_open_lines(const Outcome& o);
/// Every target of the nets that fit (a name or a glob): verdict for each class, odds, and each error's part in them.
std::vector<std::string> explain_lines(const Outcome& o, std::string_view nets);

/// The audit: score, interfaces, sides, supplies, boundary scan, clocks, variants, the gate.
std::vector<std::string> audit_lines(const Outcome& o);
/// The first changes to ask for, each net once.
std::vector<std::string> advice_lines(const Outcome& o, std::size_t most);
std::string interfaces_csv(const Outcome& o);
std::string components_csv(const Outcome& o);
std::string supplies_csv(const Outcome& o);
std::string scan_nets_csv(const Outcome& o);  ///< by net: what boundary scan does for it
std::string scan_pins_csv(const Outcome& o);  ///< pins that stay unobservable
/// net,kind,action,side,x_mm,y_mm,free_diameter_mm,distance_mm,class,gain: by net, the cheapest change first.
std::string advice_csv(const Outcome& o);
std::string advice_svg(const Outcome& o, Side side);

std::string probes_csv(const Outcome& o);
std::string coverage_csv(const Outcome& o);
std::string blocked_csv(const Outcome& o);
/// Targets of needs not served in full that one rule alone keeps closed, least lacking first.
std::string nearly_open_csv(const Outcome& o);
/// For every probe of the plan: what it costs, its cheaper rival if there is one, and why not that.
std::string choices_csv(const Outcome& o);
/// What would meet needs that the plan leaves unmet, cheapest first.
std::string remedies_csv(const Outcome& o);
std::string wiring_csv(const Outcome& o);
std::string wiring_svg(const Outcome& o, const WiringFace& face);
std::string wiring_file(const WiringFace& face);  ///< name of that drawing
std::string materials_csv(const Outcome& o);
/// Every way to build the bed, line by line, and the flying probe beside them.
std::string cost_csv(const Outcome& o);
std::string cost_svg(const Outcome& o);  ///< money over boards, both axes logarithmic
std::vector<std::string> cost_lines(const Outcome& o);
std::string upkeep_csv(const Outcome& o);
std::string flying_probe_csv(const Outcome& o);  ///< the stops in order
std::string mechanics_csv(const Outcome& o);     ///< by state of the press
std::string strain_csv(const Outcome& o);        ///< by part
std::string travel_csv(const Outcome& o);        ///< by probe
std::string supports_csv(const Outcome& o);
std::string lifting_csv(const Outcome& o);  ///< regions of a flat board that leave their plane at full stroke
std::string bending_svg(const Outcome& o);  ///< deflection and surface strain at full stroke, over the board
std::vector<std::string> mechanics_lines(const Outcome& o);
std::string verify_csv(const Outcome& o);
std::string aim_overlay_svg(const Outcome& o, Side side);
std::string first_article_html(const Outcome& o);
std::string safety_html(const Outcome& o);
/// Of a finished hole, mm (press fits and ISO H7; common practice, from memory).
struct HoleTolerance {
  double plus{}, minus{};
};
HoleTolerance tolerance_of(PlateHole::Kind kind, double diameter);
std::string plate_csv(const Outcome& o, const Plate& plate);
std::string plate_drill(const Outcome& o, const Plate& plate);
std::string pocket_file(const Plate& plate, const Pocket& pocket);  ///< a file a depth: the format knows none
std::string pocket_rout(const Outcome& o, const Plate& plate, const Pocket& pocket, double cutter);
std::string plate_dxf(const Outcome& o, const Plate& plate);
/// The drawing with title block and hole chart, or the plate alone at true size for print.
std::string plate_svg(const Outcome& o, const Plate& plate, bool true_size);
std::string set_heights_csv(const Outcome& o);
/// The whole result, with the SHA-256 of every other output.
std::string plan_json(const Outcome& o, const std::map<std::string, std::string>& output_hashes);
std::string board_svg(const Outcome& o, Side side);
/// The page shows the drawings and lists as they were `rendered` for files of their own (board-*.svg, *.csv).
std::string report_html(const Outcome& o, const std::map<std::string, std::string>& rendered);
/// The same in the parts that a live page puts in place by itself.
struct PageParts {
  std::string head, rest;  ///< HTML above and below the board and its lists
  std::string data;        ///< gzip in base64: see page_data.h of the report
};
PageParts page_parts(const Outcome& o, const std::map<std::string, std::string>& rendered);
/// What a page needs to follow an edit before all of it is worked out, as JSON: the probes, and these targets.
std::string page_patch(const Outcome& o, const std::vector<int>& targets);
/// A page whose parts come later: style, the workspace, and the scripts that fetch them. `title`: of the window.
std::string live_shell(const std::string& title);
std::string first_shell(const std::string& title);  ///< the same for release files that are not yet a job

/// A plan for a fixture that stands: what becomes of it.
std::vector<std::string> respin_lines(const Outcome& o);
std::string respin_csv(const Outcome& o);   ///< by probe of the fixture: its fate
std::string renames_csv(const Outcome& o);  ///< nets under another name, with evidence
std::string board_changes_csv(const Outcome& o);
std::string rework_csv(const Outcome& o);  ///< steps in working order
std::string rework_cost_csv(const Outcome& o);
std::string self_test_changes_csv(const Outcome& o);
std::string revisions_csv(const Outcome& o);  ///< which boards run on the fixture afterwards
/// The steps to print and tick off, with a drawing of each plate that is touched.
std::string rework_html(const Outcome& o);
std::string rework_svg(const Outcome& o, const PlateRework& plate);
std::string old_over_new_svg(const Outcome& o, Side side);

/// Nets traced through copper: a summary with every difference from the netlist, and both as lists.
std::vector<std::string> nets_lines(const Board& board);
std::string nets_csv(const Board& board);
std::string differences_csv(const Board& board);

/// A board known only from the bench. `odds`: what measured places cost.
struct BenchOdds {
  std::size_t pads = 0, lost = 0;  ///< open pads; pads that would be open were their places exact
  std::string worst_pad;
  double worst_sigma{}, worst_with{}, worst_without{};
};
std::vector<std::string> bench_lines(const Board& board, const BenchGuess& guess, const BenchOdds& odds);
std::string bench_pads_csv(const Board& board, const BenchGuess& guess);
/// A list to fill in and to append to the readings: pad_a, pad_b, ohms (empty), why.
std::string next_readings_csv(const Board& board, const BenchGuess& guess);

/// A layer file by itself. First bytes of every such drawing: the sign that a file is ours to replace.
inline constexpr std::string_view kLayerSvgHead = "<!-- layer drawing written by teasel -->\n";
/// Exact geometry, dark on white, 1 user unit = 1 mm. Inside the one group, which turns Y upward, all coordinates are
/// those of the file; the viewBox is (x0, -y1, width, height) of the extents.
std::string layer_svg(const formats::GerberFile& file);
std::string layer_lines(const formats::LayerFacts& facts);
std::string layers_json(const std::vector<formats::LayerFacts>& facts);

/// Usual cautions for this board: what can hurt someone, and where local codes and licensed practice decide.
std::vector<std::string> cautions(const Outcome& o);

inline constexpr int kPlanSchema = 1;

}  // namespace teasel
