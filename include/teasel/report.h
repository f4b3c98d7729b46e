// Renders what was found. Figures of the trade come from the modules; nothing is worked out here. Every output carries
// the plan id.
#pragma once
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include "teasel/access.h"
#include "teasel/access/bed.h"
#include "teasel/access/small_lands.h"
#include "teasel/board.h"
#include "teasel/coverage.h"
#include "teasel/coverage/advice.h"
#include "teasel/coverage/audit.h"
#include "teasel/coverage/test_points.h"
#include "teasel/fixture.h"
#include "teasel/fixture/cost.h"
#include "teasel/fixture/mechanism.h"
#include "teasel/fixture/proving.h"
#include "teasel/fixture/release.h"
#include "teasel/formats/layer.h"
#include "teasel/interfaces.h"
#include "teasel/plan.h"
#include "teasel/respin.h"

namespace teasel {

struct InputHash {
  std::string file, sha256;
};
/// What is worked out for a plan, in the order it is made.
struct Results {
  int probes_saved = 0;  ///< nets that lost their probes to boundary scan
  Coverage coverage;
  Mechanics mechanics;
  Audit audit;
  std::vector<Advice> advice;
  BedOdds bed;
  std::vector<Sensitivity> sensitivity;
  std::vector<Plate> plates;
  Mechanism mechanism;  ///< empty with a kit, and of a fixture that stands
  ReleaseStatus release;
  std::vector<SetHeight> set_heights;
  std::vector<Wire> wiring;
  std::vector<WiringFace> wiring_faces;
  Proving proving;
  CostComparison cost;
  Respin respin;  ///< used: the plan is for a fixture that stands
  SmallLands small_lands;
  std::vector<TestPoint> test_points;
};
/// All of one run, by reference: the run must outlive it.
struct Outcome : Planned {
  const Results& results;
  const Diagnostics& diagnostics;
  const std::vector<InputHash>& inputs;
  const std::string& plan_id;
};

/// The verdict in a sentence, then what it rests on.
std::vector<std::string> summary_lines(const Outcome& outcome);
/// Every figure in words, a line each: what the summary leaves out.
std::vector<std::string> details_lines(const Outcome& outcome);
std::string details_text(const Outcome& outcome);
std::string summary_json(const Outcome& outcome);
/// What one relaxed rule would open, most nets first.
std::vector<std::string> nearly_open_lines(const Outcome& outcome);
/// Every target of the nets that fit (a name or a glob): verdict for each class, odds, and each error's part in them.
std::vector<std::string> explain_lines(const Outcome& outcome, std::string_view nets);

/// The audit: score, interfaces, sides, supplies, boundary scan, clocks, variants, the gate.
std::vector<std::string> audit_lines(const Outcome& outcome);
/// The first changes to ask for, each net once.
std::vector<std::string> advice_lines(const Outcome& outcome, std::size_t most);
std::string interfaces_csv(const Outcome& outcome);
std::string components_csv(const Outcome& outcome);
std::string supplies_csv(const Outcome& outcome);
std::string scan_nets_csv(const Outcome& outcome);  ///< by net: what boundary scan does for it
std::string scan_pins_csv(const Outcome& outcome);  ///< pins that stay unobservable
/// net,kind,action,side,x_mm,y_mm,free_diameter_mm,distance_mm,class,gain: by net, the cheapest change first.
std::string advice_csv(const Outcome& outcome);
std::string advice_svg(const Outcome& outcome, Side side);

std::string probes_csv(const Outcome& outcome);
std::string coverage_csv(const Outcome& outcome);
std::string test_points_csv(const Outcome& outcome);  ///< marked by the designer: which are probed, why others are not
std::string blocked_csv(const Outcome& outcome);
/// Targets of needs not served in full that one rule alone keeps closed, least lacking first.
std::string nearly_open_csv(const Outcome& outcome);
/// For every probe of the plan: what it costs, its cheaper rival if there is one, and why not that.
std::string choices_csv(const Outcome& outcome);
/// What would meet needs that the plan leaves unmet, cheapest first.
std::string remedies_csv(const Outcome& outcome);
std::string wiring_csv(const Outcome& outcome);
std::string wiring_html(const Outcome& outcome);
std::string wiring_svg(const Outcome& outcome, const WiringFace& face);
std::string wiring_file(const WiringFace& face);  ///< name of that drawing
std::string materials_csv(const Outcome& outcome);
/// In working order, to print and tick off.
std::string assembly_html(const Outcome& outcome);
/// Every way to build the bed, line by line, and the flying probe beside them.
std::string cost_csv(const Outcome& outcome);
std::string cost_svg(const Outcome& outcome);  ///< money over boards, both axes logarithmic
std::vector<std::string> cost_lines(const Outcome& outcome);
std::string upkeep_csv(const Outcome& outcome);
std::string flying_probe_csv(const Outcome& outcome);  ///< the stops in order
std::string mechanics_csv(const Outcome& outcome);     ///< by state of the press
std::string strain_csv(const Outcome& outcome);        ///< by part
std::string travel_csv(const Outcome& outcome);        ///< by probe
std::string supports_csv(const Outcome& outcome);
std::string lifting_csv(const Outcome& outcome);  ///< regions of a flat board that leave their plane at full stroke
std::string bending_svg(const Outcome& outcome);  ///< deflection and surface strain at full stroke, over the board
std::vector<std::string> mechanics_lines(const Outcome& outcome);
std::string verify_csv(const Outcome& outcome);
std::string aim_overlay_svg(const Outcome& outcome, Side side);
std::string first_article_html(const Outcome& outcome);
std::string safety_html(const Outcome& outcome);
std::string plate_csv(const Outcome& outcome, const Plate& plate);
std::string plate_drill(const Outcome& outcome, const Plate& plate);
std::string pocket_file(const Plate& plate, const Pocket& pocket);  ///< a file a depth: the format knows none
std::string pocket_rout(const Outcome& outcome, const Plate& plate, const Pocket& pocket, Mm cutter);
std::string plate_dxf(const Outcome& outcome, const Plate& plate);
/// The drawing with title block and hole chart, or the plate alone at true size for print.
std::string plate_svg(const Outcome& outcome, const Plate& plate, bool true_size);
std::string set_heights_csv(const Outcome& outcome);
/// The whole result, with the SHA-256 of every other output.
std::string plan_json(const Outcome& outcome, const std::map<std::string, std::string>& output_hashes);
std::string board_svg(const Outcome& outcome, Side side);
/// The page shows the drawings and lists as they were `rendered` for files of their own (board-*.svg, *.csv).
std::string report_html(const Outcome& outcome, const std::map<std::string, std::string>& rendered);
/// The same in the parts that a live page puts in place by itself.
struct PageParts {
  std::string head, rest;  ///< HTML above and below the board and its lists
  std::string data;        ///< gzip in base64: see page_data.h of the report
};
PageParts page_parts(const Outcome& outcome, const std::map<std::string, std::string>& rendered);
/// What a page needs to follow an edit before all of it is worked out, as JSON: the probes, and these targets.
std::string page_patch(const Outcome& outcome, const std::vector<TargetId>& targets);
/// A page whose parts come later: style, the workspace, and the scripts that fetch them. `title`: of the window.
std::string live_shell(const std::string& title);
std::string first_shell(const std::string& title);  ///< the same for release files that are not yet a job
/// What these pages load as live.js and first.js, so that they can be served under a policy without inline scripts.
const char* live_script();
const char* first_script();

/// A plan for a fixture that stands: what becomes of it.
std::vector<std::string> respin_lines(const Outcome& outcome);
std::string respin_csv(const Outcome& outcome);   ///< by probe of the fixture: its fate
std::string renames_csv(const Outcome& outcome);  ///< nets under another name, with evidence
std::string board_changes_csv(const Outcome& outcome);
std::string rework_csv(const Outcome& outcome);  ///< steps in working order
std::string rework_cost_csv(const Outcome& outcome);
std::string self_test_changes_csv(const Outcome& outcome);
std::string revisions_csv(const Outcome& outcome);  ///< which boards run on the fixture afterwards
/// The steps to print and tick off, with a drawing of each plate that is touched.
std::string rework_html(const Outcome& outcome);
std::string rework_svg(const Outcome& outcome, const PlateRework& plate);
std::string old_over_new_svg(const Outcome& outcome, Side side);

/// Nets traced through copper: a summary with every difference from the netlist, and both as lists.
std::vector<std::string> nets_lines(const Board& board);
std::string nets_csv(const Board& board);
std::string differences_csv(const Board& board);

/// A board known only from the bench. `odds`: what measured places cost.
struct BenchOdds {
  std::size_t pads = 0, lost = 0;  ///< open pads; pads that would be open were their places exact
  std::string worst_pad;
  Mm worst_sigma;
  Chance worst_with, worst_without;
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

/// What a release was understood to be, both sides on one sheet: outline, copper, bare metal, holes, parts, and the
/// points that are still open. For the eye alone.
inline constexpr std::string_view kPreviewHead = "<!-- preview written by teasel -->\n";
std::string preview_svg(const Board& board, const Sources& sources, const std::vector<std::string>& open_points);

/// Usual cautions for this board: what can hurt someone, and where local codes and licensed practice decide.
std::vector<std::string> cautions(const Outcome& outcome);

inline constexpr int kPlanSchema = 1;

}  // namespace teasel
