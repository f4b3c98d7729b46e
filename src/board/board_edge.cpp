// The board's edge: corners of the job, a layer file, or what mechanical data and the netlist draw.
#include <algorithm>

#include "build.h"

namespace teasel {

namespace {
Place of_outline(const Job& job) {
  return {job.file, 0, 0, "inputs.outline"};
}

std::vector<Point> inside_points(const Board& board) {
  std::vector<Point> pts;
  for (const auto& feature : board.features)
    if (feature.plated) pts.push_back(feature.at);  // those may lie in rails outside the board
  return pts;
}

const formats::GerberFile* file_of(const Sources& sources, const std::string& name) {
  for (std::size_t i = 0; i < sources.layers.size(); ++i)
    if (sources.layers[i].file == name) return &sources.gerbers[i];
  return nullptr;
}

/// Pads that an edge leaves outside: "3 of 200 pads, first P3 (...)"; empty if it leaves none.
std::string pads_outside(const Board& board, const Ring& edge) {
  std::size_t pads = 0, outside = 0;
  std::string first;
  for (const auto& feature : board.features) {
    if (!feature.plated) continue;
    ++pads;
    if (winding_number(edge, feature.at) == 0 && outside++ == 0)
      first = feature.name + " (" + to_string(feature.place) + ") at (" + short_number(feature.at.x, 3) + ", " +
              short_number(feature.at.y, 3) + ")";
  }
  return outside ? std::to_string(outside) + " of " + std::to_string(pads) + " pads, first " + first : std::string();
}

/// The edge that mechanical data or an IPC-2581 file draw, where it encloses every pad.
bool outline_of_mechanics(Board& board, const formats::Mechanics& mechanics, Point shift, Diagnostics& diagnostics) {
  if (!mechanics.outline) return false;
  const Polygon moved = transformed(Polygons{*mechanics.outline}, {1, 0, 0, 1, shift.x, shift.y})[0];
  if (const std::string outside = pads_outside(board, moved.outer); !outside.empty()) {
    diagnostics.warn({.code = "outline-off-pads",
                      .at = {mechanics.name, 0, 0, {}},
                      .message = "the board edge of this file leaves pads outside and is not used",
                      .found = outside,
                      .remedy = "correct the file's offset, or name an outline file in  [inputs.outline]"});
    return false;
  }
  board.outline = moved;
  const Box box = bounds(moved.outer);
  diagnostics.note({.code = "outline-of-file",
                    .at = {mechanics.name, 0, 0, {}},
                    .message = "outline " + short_number(box.width(), 3) + " x " + short_number(box.height(), 3) +
                               " mm with " + std::to_string(moved.holes.size()) + " cutouts, as this file draws it",
                    .found = short_number(area(moved), 2) + " mm2",
                    .remedy = "name a layer file in  [inputs.outline] file  to override it"});
  return true;
}

/// The netlist's own BOARD_EDGE contour (record 389), where it encloses every pad.
bool outline_of_netlist(Board& board, const Sources& sources, Diagnostics& diagnostics) {
  if (!sources.netlist) return false;
  for (const auto& outline : sources.netlist->outlines) {
    if (outline.name != "BOARD_EDGE") continue;
    for (const Ring& contour : outline.contours) {
      Ring ring = board.from_netlist(contour);
      if (ring.size() > 1 && ring.front() == ring.back()) ring.pop_back();
      if (ring.size() < 3) continue;
      if (signed_area(ring) < 0) std::reverse(ring.begin(), ring.end());
      const auto points = inside_points(board);
      if (!std::all_of(points.begin(), points.end(), [&](Point p) { return winding_number(ring, p) != 0; })) continue;
      board.outline = {std::move(ring), {}};
      diagnostics.note({.code = "outline-of-netlist",
                        .at = {sources.netlist->name, outline.line, 0, {}},
                        .message = "the outline is the netlist's BOARD_EDGE contour",
                        .found = short_number(area(board.outline), 2) + " mm2",
                        .remedy = "name a layer file in  [inputs.outline] file  to override it"});
      return true;
    }
  }
  return false;
}

void assume_outline(Board& board, Diagnostics& diagnostics, const Job& job, const std::string& why) {
  Box box;
  for (const auto& feature : board.features) {
    box.add(feature.at);
    for (const Land& land : feature.land)
      if (land.present)
        box.add(
            Box{feature.at.x, feature.at.y, feature.at.x, feature.at.y}.grown(std::max(land.width, land.height).v / 2));
  }
  box = box.grown(1.0);
  board.outline = {{{box.x0, box.y0}, {box.x1, box.y0}, {box.x1, box.y1}, {box.x0, box.y1}}, {}};
  board.outline_assumed = true;
  diagnostics.warn(
      {.code = "outline-assumed",
       .at = {job.file, 0, 0, "inputs.outline"},
       .message = "no board edge is known. The box around all pads, 1 mm larger on each side, is used instead",
       .found = why,
       .remedy = "name the file in  [inputs.outline] file, or draw the corners in  [inputs.outline] polygon"});
}

/// The edge of which the job gives the corners.
void outline_of_corners(Board& board, const Job& job, Diagnostics& diagnostics) {
  const Polygons drawn = fill_contours({Ring(job.inputs.outline_polygon.begin(), job.inputs.outline_polygon.end())});
  if (drawn.size() != 1)
    return diagnostics.error({.code = "outline-polygon",
                              .at = {job.file, 0, 0, "inputs.outline.polygon"},
                              .message = "the corners of the polygon do not enclose a single area",
                              .found = std::to_string(drawn.size()) + " areas",
                              .expected = "the corners in their order around the board",
                              .remedy = "correct the list of corners"});
  board.outline = drawn[0];
  if (const std::string outside = pads_outside(board, board.outline.outer); !outside.empty())
    complain(job, diagnostics,
             {.code = "outline-off-pads",
              .at = {job.file, 0, 0, "inputs.outline.polygon"},
              .message = "the drawn board edge leaves pads outside",
              .found = outside,
              .remedy = "correct the corners, or the pad"});
}

/// Where the job names no outline file: the first source that draws an edge, else the box around all pads.
void outline_of_other_sources(Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  if (sources.cad && outline_of_mechanics(board, sources.cad->mechanics, {}, diagnostics)) return;
  if (sources.idf && outline_of_mechanics(board, *sources.idf, job.inputs.idf_offset.value_or(Point{}), diagnostics))
    return;
  if (!outline_of_netlist(board, sources, diagnostics))
    assume_outline(board, diagnostics, job, "the job names no outline file");
}

/// The face that the job chooses among those of its outline file.
void take_face(Board& board, const Job& job, const std::vector<OutlineCandidate>& candidates,
               Diagnostics& diagnostics) {
  const std::size_t choice = static_cast<std::size_t>(job.inputs.outline_choice);
  if (choice > candidates.size())
    return diagnostics.error({.code = "outline-choice",
                              .at = of_outline(job),
                              .message = "the file has fewer closed faces than the number chosen",
                              .found = std::to_string(candidates.size()) + " found",
                              .remedy = "choose 1 to " + std::to_string(candidates.size())});
  // What encloses the pads comes first, and that hangs on what else is known: the area says which face was meant.
  const double stated = job.inputs.outline_area.v;
  auto meant = candidates.begin() + static_cast<std::ptrdiff_t>(choice - 1);
  const auto agrees = [&](const OutlineCandidate& face) { return std::abs(face.area.v - stated) <= 0.001 * stated; };
  if (stated > 0 && !agrees(*meant))
    if (const auto other = std::find_if(candidates.begin(), candidates.end(), agrees); other != candidates.end())
      meant = other;
  const OutlineCandidate& chosen = *meant;
  if (stated > 0 && !agrees(chosen))
    return diagnostics.error({.code = "outline-area",
                              .at = of_outline(job),
                              .message = "the area of the outline differs from the one in the job file",
                              .found = short_number(chosen.area.v, 2) + " mm2",
                              .expected = short_number(job.inputs.outline_area.v, 2) + " mm2",
                              .remedy = "the outline file has changed. Look at it, then correct area_mm2"});
  board.outline = chosen.face;
  const Box box = bounds(chosen.face.outer);
  diagnostics.note({.code = "outline-found",
                    .at = {job.inputs.outline_file, 0, 0, {}},
                    .message = "outline " + short_number(box.width(), 3) + " x " + short_number(box.height(), 3) +
                               " mm with " + std::to_string(chosen.face.holes.size()) + " cutouts, " + chosen.how,
                    .found = short_number(chosen.area.v, 2) + " mm2, face " +
                             std::to_string(meant - candidates.begin() + 1) + " of " +
                             std::to_string(candidates.size()),
                    .remedy = "override it with  [inputs.outline]"});
}

/// The edge that the job's outline file draws.
void outline_of_layer(Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  const formats::GerberFile* file = file_of(sources, job.inputs.outline_file);
  if (!file)
    return diagnostics.error({.code = "outline-not-listed",
                              .at = of_outline(job),
                              .message = "the outline file is not listed in [[inputs.gerber]]",
                              .found = job.inputs.outline_file,
                              .remedy = "add it with role = \"outline\""});
  const auto candidates = outline_candidates(*file, inside_points(board));
  if (candidates.empty()) {
    complain(job, diagnostics,
             {.code = "outline-none",
              .at = {job.inputs.outline_file, 0, 0, {}},
              .message = "no closed face of this file encloses every pad and hole",
              .found = "the strokes do not close, or the file belongs to another board or uses another origin",
              .remedy = "check the file and the offsets"});
    return assume_outline(board, diagnostics, job, "no closed face was found in " + job.inputs.outline_file);
  }
  take_face(board, job, candidates, diagnostics);
}
}  // namespace

namespace {
/// Larger than what presses and panels are made for, every stage that walks over the board's face has far too much to
/// walk over. It is a slip of units as a rule.
void check_size(const Board& board, const Job& job, Diagnostics& diagnostics) {
  constexpr double kLargest = 600'000, kLongest = 2000;  // mm2, mm: a panel of 610 x 915 mm fits; common practice
  const Box box = bounds(board.outline.outer);
  if (!box.valid() || (box.width() * box.height() <= kLargest && std::max(box.width(), box.height()) <= kLongest))
    return;
  diagnostics.error({.code = "board-edge-large",
                     .at = of_outline(job),
                     .message = "the board is larger than any that a bed is planned for",
                     .found = short_number(box.width(), 1) + " x " + short_number(box.height(), 1) + " mm",
                     .expected = "at most 0.6 square metres, and 2 m in length",
                     .remedy = "check the units and the origin of the outline, or name the right file or face"});
}
}  // namespace

void add_outline(Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  if (job.inputs.outline_polygon.size() >= 3)
    outline_of_corners(board, job, diagnostics);
  else if (job.inputs.outline_file.empty())
    outline_of_other_sources(board, job, sources, diagnostics);
  else
    outline_of_layer(board, job, sources, diagnostics);
  if (!diagnostics.failed()) check_size(board, job, diagnostics);
}

void compare_outline(const Board& board, const formats::Mechanics& mechanics, Point shift, Diagnostics& diagnostics) {
  if (!mechanics.outline || board.outline_assumed) return;
  const Polygons theirs = transformed(Polygons{*mechanics.outline}, {1, 0, 0, 1, shift.x, shift.y}),
                 mine{board.outline};
  const double differ = area(subtract(mine, theirs)) + area(subtract(theirs, mine)), share = differ / area(mine);
  const std::string text = short_number(differ, 2) + " mm2, " + short_number(100 * share, 3) +
                           " % of the board, lie inside only one of the two edges";
  if (share < 0.005)
    diagnostics.note({.code = "outline-agrees",
                      .at = {mechanics.name, 0, 0, {}},
                      .message = "this file draws the same board edge as the one in use",
                      .found = text});
  else
    diagnostics.warn(
        {.code = "outline-differs",
         .at = {mechanics.name, 0, 0, {}},
         .message = "this file draws another board edge than the one in use",
         .found = text,
         .remedy = "check whether the files are of two revisions or differ by an offset. The board edge is taken from "
                   "the first of these that draws it: layer file, IPC-2581 file, IDF file, netlist"});
}

}  // namespace teasel
