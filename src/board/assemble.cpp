#include <algorithm>

#include "build.h"
#include "teasel/words.h"

namespace teasel {

void complain(const Job& job, Diagnostics& diagnostics, Saying saying) {
  const auto& accepted = job.inputs.accept;
  if (std::find(accepted.begin(), accepted.end(), saying.code) != accepted.end()) {
    saying.message += " (accepted by the job file)";
    saying.expected.clear();
    saying.remedy.clear();
    return diagnostics.warn(std::move(saying));
  }
  saying.remedy = (saying.remedy.empty() ? "accept it" : saying.remedy + ". Or accept it") +
                  ":  [checks] accept = [\"" + saying.code + "\"]";
  diagnostics.error(std::move(saying));
}

namespace {
std::vector<Point> inside_points(const Board& board) {
  std::vector<Point> pts;
  for (const auto& feature : board.features)
    if (feature.plated) pts.push_back(feature.at);  // those may lie in rails outside the board
  return pts;
}

const formats::GerberFile* file_of(const Job& job, const Sources& sources, const std::string& name) {
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
                    .remedy = "name a layer file in  [inputs.outline] file  to overrule"});
  return true;
}

/// The other sources' edges against the one that counts.
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
                        .remedy = "name a layer file in  [inputs.outline] file  to overrule"});
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
}  // namespace

void add_outline(Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  const Place at{job.file, 0, 0, "inputs.outline"};
  if (job.inputs.outline_polygon.size() >= 3) {
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
    return;
  }
  if (job.inputs.outline_file.empty()) {
    if (sources.cad && outline_of_mechanics(board, sources.cad->mechanics, {}, diagnostics)) return;
    if (sources.idf && outline_of_mechanics(board, *sources.idf, job.inputs.idf_offset.value_or(Point{}), diagnostics))
      return;
    if (!outline_of_netlist(board, sources, diagnostics))
      assume_outline(board, diagnostics, job, "the job names no outline file");
    return;
  }
  const formats::GerberFile* file = file_of(job, sources, job.inputs.outline_file);
  if (!file)
    return diagnostics.error({.code = "outline-not-listed",
                              .at = at,
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
  const std::size_t choice = static_cast<std::size_t>(job.inputs.outline_choice);
  if (choice > candidates.size())
    return diagnostics.error({.code = "outline-choice",
                              .at = at,
                              .message = "the file has fewer closed faces than the number chosen",
                              .found = std::to_string(candidates.size()) + " found",
                              .remedy = "choose 1 to " + std::to_string(candidates.size())});
  const auto& chosen = candidates[choice - 1];
  if (const double stated = job.inputs.outline_area.v; stated > 0 && std::abs(chosen.area.v - stated) > 0.001 * stated)
    return diagnostics.error({.code = "outline-area",
                              .at = at,
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
                    .found = short_number(chosen.area.v, 2) + " mm2, face " + std::to_string(choice) + " of " +
                             std::to_string(candidates.size()),
                    .remedy = "overrule with  [inputs.outline]"});
}

namespace {
/// Netlist points on copper, side by side, so that a mirrored bottom shows. Traced pads lie on copper by their making.
void check_points(const Board& board, const Layers& layers, Side side, const Job& job, Diagnostics& diagnostics) {
  if (board.traced) return;
  const auto& images = layers.copper[side];
  if (images.empty()) return;
  std::vector<Point> points;
  std::size_t on = 0;
  std::string missed;
  std::size_t listed = 0;
  for (const Feature& feature : board.features) {
    if (!feature.land[side].present || feature.kind == FeatureKind::unplated_hole) continue;
    points.push_back(feature.at);
    // Beside the hole: the copper of a drilled land may be drawn as a ring.
    bool copper = false;
    for (const auto& image : images)
      copper |= image.dark(feature.at) ||
                (feature.hole > Mm{} && image.dark(feature.at + Point{feature.hole.v / 2 + 0.03, 0}));
    on += copper;
    if (!copper && listed++ < 3)
      missed += (missed.empty() ? "" : ", ") + feature.name + " (line " + std::to_string(feature.place.line) + ")";
  }
  if (points.empty()) return;
  const double share = static_cast<double>(on) / static_cast<double>(points.size());
  const std::string& file = images[0].file().name;
  if (share >= 0.98) {
    diagnostics.note({.code = "check-points-on-copper",
                      .at = {file, 0, 0, {}},
                      .message = percent(share) + " of the " + std::to_string(points.size()) +
                                 " netlist points of the " + to_string(side) + " side lie on copper",
                      .found = missed.empty() ? "" : "not: " + missed});
    return;
  }
  std::vector<Point> flashes;
  for (const auto& image : images) {
    auto part = flash_centres(image.file());
    flashes.insert(flashes.end(), part.begin(), part.end());
  }
  const std::string fault = name_the_fault(points, flashes);
  complain(
      job, diagnostics,
      {.code = "check-points-off-copper",
       .at = {file, 0, 0, {}},
       .message = "only " + percent(share) + " of the " + std::to_string(points.size()) + " netlist points of the " +
                  to_string(side) + " side lie on copper. This file and the netlist do not fit together as they are",
       .found = (fault.empty() ? "no other unit, offset or mirroring makes them match. The file probably belongs to "
                                 "another board or revision"
                               : fault) +
                (missed.empty() ? "" : "; off copper: " + missed),
       .remedy =
           fault.empty() ? "give files of one and the same release" : "correct the offset or unit in the job file"});
}

/// Mask openings over surface pads.
void check_mask(const Board& board, const Layers& layers, Side side, const Job& job, Diagnostics& diagnostics) {
  const auto& mask = layers.mask[side];
  if (mask.empty()) return;
  // Surface pads of the side speak best; leads may rightly be covered on one side.
  std::size_t pads = 0, open = 0, surface = 0;
  for (const Feature& feature : board.features)
    surface += feature.kind == FeatureKind::smd_pad && feature.land[side].present;
  const FeatureKind kind = surface >= 5 ? FeatureKind::smd_pad : FeatureKind::lead;
  for (const Feature& feature : board.features) {
    if (!feature.land[side].present || feature.kind != kind) continue;
    ++pads;
    for (const auto& image : mask)
      if (image.dark(feature.at)) {
        ++open;
        break;
      }
  }
  if (pads < 5) return;
  const double share = static_cast<double>(open) / static_cast<double>(pads);
  if (share < 0.7)
    complain(job, diagnostics,
             {.code = "check-mask-closed",
              .at = {mask[0].file().name, 0, 0, {}},
              .message = "only " + percent(share) + " of the " + std::to_string(pads) +
                         (kind == FeatureKind::lead ? " leads of the " : " surface pads of the ") + to_string(side) +
                         " side have a mask opening",
              .found = share < 0.3 ? "the image may show the mask instead of its openings, or the file may belong to "
                                     "the other side or to another board"
                                   : "openings are missing",
              .remedy = "set  image  of this layer, or give the right file"});
  else
    diagnostics.note({.code = "check-mask-open",
                      .at = {mask[0].file().name, 0, 0, {}},
                      .message = percent(share) + " of the " + std::to_string(pads) +
                                 (kind == FeatureKind::lead ? " leads of the " : " surface pads of the ") +
                                 to_string(side) + " side have a mask opening"});
}

/// Paste is printed on lands: a layer of the other side, mirrored or of another board shows where it has none under it.
void check_paste(const Layers& layers, Side side, const Job& job, Diagnostics& diagnostics) {
  const auto& copper = layers.copper[side];
  if (copper.empty()) return;
  for (const auto& paste : layers.paste[side]) {
    const std::vector<Point> flashes = flash_centres(paste.file());
    constexpr std::size_t kEnough = 5;
    if (flashes.size() < kEnough) continue;
    const auto on = std::count_if(flashes.begin(), flashes.end(), [&](Point p) {
      return std::any_of(copper.begin(), copper.end(), [&](const auto& image) { return image.dark(p); });
    });
    const double share = static_cast<double>(on) / static_cast<double>(flashes.size());
    const std::string what = percent(share) + " of the " + std::to_string(flashes.size()) + " paste openings of the " +
                             to_string(side) + " side lie on copper";
    if (share >= 0.9)
      diagnostics.note({.code = "check-paste-on-copper", .at = {paste.file().name, 0, 0, {}}, .message = what});
    else
      complain(job, diagnostics,
               {.code = "check-paste-off-copper",
                .at = {paste.file().name, 0, 0, {}},
                .message = "only " + what,
                .found = "the file may belong to the other side or to another board, or be mirrored or shifted",
                .remedy = "give the right file, or leave it out"});
  }
}

/// A number format under which the holes would meet; empty if there is none.
std::string better_reading(const DrillFit& fit) {
  if (fit.share <= 0.9) return {};
  std::string text = "read as " + to_string(fit.format);
  if (distance(fit.offset, {}) > 0.02)
    text += " with an offset of (" + short_number(fit.offset.x, 4) + ", " + short_number(fit.offset.y, 4) + ") mm";
  return text + ", " + percent(fit.share) + " would meet";
}

/// Drilled holes on netlist holes, file by file.
void check_drills(const Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  std::vector<Point> netlist_holes;
  for (const Feature& feature : board.features)
    if (feature.hole > Mm{} || feature.kind == FeatureKind::via || feature.kind == FeatureKind::unplated_hole)
      netlist_holes.push_back(feature.at);
  for (std::size_t k = 0; k < (board.traced ? 0 : sources.drills.size()); ++k) {
    const auto& file = sources.drills[k];
    std::vector<Point> hits;
    for (const auto& hole : formats::holes_of(file, drill_format(file, job.inputs.drills[k])))
      if (!hole.slot && hole.plating != formats::Plating::unplated && job.inputs.drills[k].plating != "unplated")
        hits.push_back(hole.at + job.inputs.drills[k].offset.value_or(Point{}));
    if (hits.size() < 3 || netlist_holes.empty()) continue;
    const double share = share_met(hits, netlist_holes, {}, 0.05);
    const std::string how = to_string(drill_format(file, job.inputs.drills[k]));
    if (share >= 0.9) {
      diagnostics.note({.code = "check-drill-on-pads",
                        .at = {file.name, 0, 0, {}},
                        .message = percent(share) + " of the " + std::to_string(hits.size()) +
                                   " plated holes lie on holes of the netlist",
                        .found = how});
      continue;
    }
    const DrillFit fit = fit_drill(file, netlist_holes);
    std::string hint = better_reading(fit);
    if (hint.empty()) hint = name_the_fault(hits, netlist_holes);
    if (hint.empty())
      hint =
          "no other number format, unit, offset or mirroring makes them match. The file probably belongs to another "
          "board";
    complain(job, diagnostics,
             {.code = "check-drill-off-pads",
              .at = {file.name, 0, 0, {}},
              .message = "only " + percent(share) + " of the " + std::to_string(hits.size()) +
                         " plated holes lie on holes of the netlist (" + how + ")",
              .found = hint,
              .remedy = "correct unit, digits, zeros or offset of this drill file"});
  }
}
}  // namespace

void check_files_agree(const Board& board, const Layers& layers, const Job& job, const Sources& sources,
                       Diagnostics& diagnostics) {
  for (const Side side : {Side::top, Side::bottom}) check_points(board, layers, side, job, diagnostics);
  for (const Side side : {Side::top, Side::bottom}) check_mask(board, layers, side, job, diagnostics);
  for (const Side side : {Side::top, Side::bottom}) check_paste(layers, side, job, diagnostics);
  check_drills(board, job, sources, diagnostics);
}

namespace {
void check_holes_inside(const Board& single, const Job& job, Diagnostics& diagnostics) {
  std::size_t outside = 0;
  std::string first;
  const Polygons board{{single.outline.outer, {}}};
  for (const BoardHole& hole : single.holes)
    if (!contains(board, hole.at) && distance_to_boundary(board, hole.at) > hole.diameter.v) {
      if (outside++ == 0) first = to_string(hole.place);
    }
  if (outside) {
    const double share = static_cast<double>(outside) / static_cast<double>(single.holes.size());
    const std::string text =
        std::to_string(outside) + " of " + std::to_string(single.holes.size()) + " holes lie outside the outline";
    if (share > 0.2)
      complain(job, diagnostics,
               {.code = "check-holes-outside",
                .at = {job.inputs.outline_file, 0, 0, {}},
                .message = text,
                .found = "first: " + first,
                .remedy = "check the offsets and the files"});
    else
      diagnostics.warn({.code = "check-holes-outside",
                        .at = {job.inputs.outline_file, 0, 0, {}},
                        .message = text,
                        .found = "first: " + first + ". Holes in rails and coupons are left as they are"});
  }
}

/// Holes of the IDF file against drilled ones, and what its keep-outs are for.
void check_idf(const Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  const formats::Mechanics& mechanics = *sources.idf;
  const Point shift = job.inputs.idf_offset.value_or(Point{});
  std::vector<Point> theirs, drilled;
  for (const auto& hole : mechanics.holes) theirs.push_back(hole.at);
  for (const auto& hole : board.holes) {
    drilled.push_back(hole.at);
    drilled.push_back(0.5 * (hole.at + hole.end));
  }
  if (theirs.size() >= 3 && drilled.size() >= 3) {
    const double share = share_met(theirs, drilled, shift, 0.05);
    const std::string text =
        percent(share) + " of the " + std::to_string(theirs.size()) + " holes of the IDF file are drilled on the board";
    // A board is placed by its large holes: each of them counts.
    constexpr double kLarge = 2, kSame = 0.05;  // mm
    std::string missing;
    for (const auto& hole : mechanics.holes)
      if (hole.diameter.v >= kLarge &&
          std::none_of(drilled.begin(), drilled.end(), [&](Point p) { return distance(p, hole.at + shift) <= kSame; }))
        missing += (missing.empty() ? "" : ", ") + short_number(hole.diameter.v, 2) + " mm at (" +
                   short_number(hole.at.x + shift.x, 3) + ", " + short_number(hole.at.y + shift.y, 3) + ")";
    if (share >= 0.95 && missing.empty())
      diagnostics.note({.code = "check-idf-holes", .at = {mechanics.name, 0, 0, {}}, .message = text});
    else if (share >= 0.95)
      diagnostics.warn({.code = "check-idf-hole-missing",
                        .at = {mechanics.name, 0, 0, {}},
                        .message = "the IDF file has holes that are not drilled. The drill files are used",
                        .found = missing,
                        .remedy = "check these holes before tooling pins are placed in them"});
    else if (share >= 0.5)
      diagnostics.warn({.code = "check-idf-holes",
                        .at = {mechanics.name, 0, 0, {}},
                        .message = text + ". The drill files are used",
                        .remedy = "check whether the files are of one revision"});
    else
      complain(job, diagnostics,
               {.code = "check-idf-off",
                .at = {mechanics.name, 0, 0, {}},
                .message = text,
                .found = "the IDF file belongs to another board or uses another origin",
                .remedy = "correct  [inputs.idf] offset, or leave the file out"});
  }
  if (sources.thickness && mechanics.thickness &&
      std::abs(sources.thickness->v - mechanics.thickness->v) > 0.1 * sources.thickness->v)
    diagnostics.warn(
        {.code = "check-idf-thickness",
         .at = {mechanics.name, 0, 0, {}},
         .message = "the job file and the IDF file state different thicknesses. The one of the job file is used",
         .found = short_number(sources.thickness->v, 3) + " mm and " + short_number(mechanics.thickness->v, 3) + " mm",
         .remedy = "correct board.thickness"});
  Few parts(5, "; ");
  std::size_t others = 0;
  for (const auto& area_rule : mechanics.areas) {
    if (area_rule.kind != formats::AreaRule::Kind::no_parts) {
      ++others;
      continue;
    }
    const Point centre = bounds(area_rule.area).centre() + shift;
    parts.add(std::string(area_rule.sides.is_both() ? "both sides" : to_string(area_rule.sides)) + " at (" +
              short_number(centre.x, 2) + ", " + short_number(centre.y, 2) + ") " +
              (area_rule.height > Mm{} ? "up to " + short_number(area_rule.height.v, 2) + " mm" : "no part at all"));
  }
  if (parts.count())
    diagnostics.note({.code = "idf-keep-outs",
                      .at = {mechanics.name, 0, 0, {}},
                      .message = "the IDF file keeps areas free of parts, usually because an enclosure or a mating "
                                 "part comes close there. These areas do not keep probes away",
                      .found = plural(parts.count(), "area: ", "areas: ") + parts.text() +
                               (others ? "; and " + std::to_string(others) + " for traces and vias" : ""),
                      .remedy = "where no probe may stand either, draw a  [[keep_out]]"});
}

std::string off_text(const std::vector<OffPart>& off, const Few& names) {
  const std::string common = what_is_common(off);
  return std::to_string(off.size()) + " are off" + (common.empty() ? "" : ", " + common) + ": " + names.text();
}

/// Placement centres must lie near their own pads: proves unit, offset and side, or refuses.
void check_placement(const Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  std::map<std::string, const Component*> by_name;
  for (const auto& part : board.components) by_name[part.name] = &part;
  for (const auto& table : sources.placements) {
    std::size_t known = 0, near = 0, side_wrong = 0;
    Few far;
    std::vector<OffPart> off;
    for (const auto& row : table.rows) {
      auto it = by_name.find(row.component);
      if (it == by_name.end() || it->second->features.empty()) continue;
      const Component& part = *it->second;
      Box box;
      int top = 0, bottom = 0;
      for (const FeatureId id : part.features) {
        const Feature& feature = board.features[id];
        box.add(feature.at);
        top += feature.land[Side::top].present && !feature.land[Side::bottom].present;
        bottom += feature.land[Side::bottom].present && !feature.land[Side::top].present;
      }
      const Point at = placed(job, table, row);
      ++known;
      if (box.grown(3.0).contains(at)) {
        ++near;
      } else {
        far.add(row.component + " (line " + std::to_string(row.line) + ")");
        off.push_back({row.component, bottom > top ? Side::bottom : Side::top, at, box.centre()});
      }
      side_wrong += (row.side == Side::top && bottom > top) || (row.side == Side::bottom && top > bottom);
    }
    if (known == 0) {
      diagnostics.warn({.code = "placement-no-part",
                        .at = {table.name, 0, 0, {}},
                        .message = "no component of this table is in the netlist",
                        .remedy = "check whether the table belongs to this board"});
      continue;
    }
    const double share = static_cast<double>(near) / static_cast<double>(known),
                 wrong = static_cast<double>(side_wrong) / static_cast<double>(known);
    if (share < 0.9)
      complain(
          job, diagnostics,
          {.code = "check-placement-off",
           .at = {table.name, 0, 0, {}},
           .message = "only " + percent(share) + " of the " + std::to_string(known) + " placed parts lie at their pads",
           .found = off_text(off, far),
           .remedy = "correct unit, offset or bottom_offset in  [inputs.placement]"});
    else if (!off.empty())
      diagnostics.warn({.code = "check-placement",
                        .at = {table.name, 0, 0, {}},
                        .message = std::to_string(off.size()) + " of the " + std::to_string(known) +
                                   " placed parts do not lie at their pads",
                        .found = off_text(off, far),
                        .remedy = "check these rows"});
    else
      diagnostics.note(
          {.code = "check-placement",
           .at = {table.name, 0, 0, {}},
           .message = percent(share) + " of the " + std::to_string(known) + " placed parts lie at their pads"});
    if (wrong > 0.1)
      complain(job, diagnostics,
               {.code = "check-placement-side",
                .at = {table.name, 0, 0, {}},
                .message = percent(wrong) +
                           " of the placed parts have their pads on the side opposite to the one in the table",
                .remedy = "correct the sides, or leave the table out"});
  }
}

/// Thickness, with who says so.
void settle_thickness(Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  board.thickness_known = Known::confirmed;
  if (sources.thickness)
    board.thickness = *sources.thickness;
  else if (sources.cad && sources.cad->mechanics.thickness)
    board.thickness = *sources.cad->mechanics.thickness;
  else if (sources.idf && sources.idf->thickness)
    board.thickness = *sources.idf->thickness;
  else {
    board.thickness_known = Known::assumed;
    diagnostics.note({.code = "board-thickness",
                      .at = {job.file, 0, 0, "board.thickness"},
                      .message = "no board thickness is stated. 1.6 mm is assumed",
                      .remedy = "state it in  [board] thickness"});
  }
  // Stroke, stiffness and pin heights follow it: a slip of the decimal point must not go by.
  constexpr Mm kThinnest{0.1}, kThickest{8.0};  // flex to backplanes, common practice, no source
  if (board.thickness < kThinnest || board.thickness > kThickest)
    diagnostics.warn(
        {.code = "board-thickness-odd",
         .at = {job.file, 0, 0, "board.thickness"},
         .message = "boards are " + short_number(kThinnest.v, 1) + " to " + short_number(kThickest.v, 1) +
                    " mm thick as a rule. Probe strokes, bending and set heights are worked out from this value",
         .found = short_number(board.thickness.v, 3) + " mm",
         .remedy = "measure a board and state its thickness in  [board] thickness"});
}
/// What copper layers say of pins (.P with a third field).
void add_pin_functions(Board& board, const Job& job, const Sources& sources) {
  std::map<std::pair<std::string, std::string>, std::string> by_pin;
  for (std::size_t i = 0; i < sources.gerbers.size(); ++i) {
    const LayerRole role = sources.layers[i].role;
    if (role != LayerRole::copper_top && role != LayerRole::copper_bottom) continue;
    for (const formats::GerberAttributes& attributes : sources.gerbers[i].attributes)
      if (!attributes.component.empty() && !attributes.pin_function.empty())
        by_pin.emplace(std::pair(attributes.component, attributes.pin), attributes.pin_function);
  }
  if (by_pin.empty()) return;
  for (Feature& feature : board.features) {
    if (!feature.component) continue;
    if (const auto it = by_pin.find({board.components[feature.component].name, feature.pin}); it != by_pin.end())
      feature.function = it->second;
  }
}
}  // namespace

Board assemble(const Job& job, const Rules& rules, const Sources& sources, Diagnostics& diagnostics) {
  Board board;
  board.name = job.name;
  board.revision = job.revision;
  board.finish = job.inputs.finish.value_or(Surface::unknown);
  board.keep_outs = job.decisions.keep_outs;
  settle_thickness(board, job, sources, diagnostics);
  board.from_netlist = netlist_shift(job.inputs.netlist_offset.value_or(Point{}));
  if (sources.netlist)
    add_netlist(board, *sources.netlist, diagnostics);
  else if (!job.inputs.pads_file.empty())
    add_bench(board, job, sources, diagnostics);
  else
    board.traced = true;
  if (diagnostics.failed()) return board;
  if (board.features.empty() && !board.traced) {
    diagnostics.error(
        {.code = "board-empty", .at = {sources.netlist_file, 0, 0, {}}, .message = "the netlist holds no pads"});
    return board;
  }
  if (board.features.size() > 2'000'000) {
    diagnostics.error({.code = "board-too-large",
                       .at = {sources.netlist_file, 0, 0, {}},
                       .message = "the netlist holds more than two million pads"});
    return board;
  }
  const Layers layers = images(job, sources);
  board.has_mask_layers = !layers.mask[Side::top].empty() || !layers.mask[Side::bottom].empty();
  board.has_copper_layers = !layers.copper[Side::top].empty() || !layers.copper[Side::bottom].empty();
  for (const Side side : kBothSides) board.has_paste[side] = !layers.paste[side].empty();
  if (board.has_copper_layers && !board.has_paste[Side::top] && !board.has_paste[Side::bottom])
    diagnostics.note({.code = "board-no-paste",
                      .at = {job.file, 0, 0, "inputs.gerber"},
                      .message = "no paste layer is given. Surface pads of fitted parts are taken as soldered, and all "
                                 "other bare metal as having the board's finish",
                      .remedy = "name the paste layers in  [[inputs.gerber]]"});
  add_holes(board, job, sources, diagnostics);
  if (!board.traced) {
    check_files_agree(board, layers, job, sources, diagnostics);
    if (diagnostics.failed()) return board;
  }
  trace_copper(board, layers, job, sources, diagnostics);
  if (diagnostics.failed()) return board;
  if (board.traced)
    add_traced_features(board, layers, job, diagnostics);
  else
    compare_with_netlist(board, sources, diagnostics);
  if (diagnostics.failed()) return board;
  if (board.traced) {
    check_files_agree(board, layers, job, sources, diagnostics);
    match_parts(board, job, sources, diagnostics);
  }
  add_pin_functions(board, job, sources);
  name_kinds(board, layers);
  if (diagnostics.failed()) return board;
  add_outline(board, job, sources, diagnostics);
  if (diagnostics.failed()) return board;
  board.pieces = {board.outline};
  if (sources.cad) compare_outline(board, sources.cad->mechanics, {}, diagnostics);
  if (sources.idf) {
    compare_outline(board, *sources.idf, job.inputs.idf_offset.value_or(Point{}), diagnostics);
    check_idf(board, job, sources, diagnostics);
  }
  check_holes_inside(board, job, diagnostics);
  add_components(board, job, rules, sources, diagnostics);
  if (diagnostics.failed()) return board;
  check_placement(board, job, sources, diagnostics);
  if (!job.panel.used)
    choose_tooling(board, job, rules, sources.pins, diagnostics);  // a panel is located by its own holes
  if (diagnostics.failed()) return board;
  add_exposures(board, layers, job, sources, diagnostics);
  return board;
}

}  // namespace teasel
