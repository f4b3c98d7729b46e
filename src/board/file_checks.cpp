// The files against one another: a release is of one piece, or the plates are scrap.
#include <algorithm>

#include "build.h"
#include "teasel/words.h"

namespace teasel {

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
  const std::vector<Point> flashes = flash_centres(images);
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

namespace {
/// Holes of the IDF file against drilled ones.
void check_idf_holes(const Board& board, const Job& job, const formats::Mechanics& mechanics, Point shift,
                     Diagnostics& diagnostics) {
  std::vector<Point> theirs, drilled;
  for (const auto& hole : mechanics.holes) theirs.push_back(hole.at);
  for (const auto& hole : board.holes) {
    drilled.push_back(hole.at);
    drilled.push_back(0.5 * (hole.at + hole.end));
  }
  if (theirs.size() < 3 || drilled.size() < 3) return;
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

/// Areas that the IDF file keeps free of parts are no keep-outs of probes: says what they are for.
void tell_of_idf_areas(const formats::Mechanics& mechanics, Point shift, Diagnostics& diagnostics) {
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
}  // namespace

void check_idf(const Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  const formats::Mechanics& mechanics = *sources.idf;
  const Point shift = job.inputs.idf_offset.value_or(Point{});
  check_idf_holes(board, job, mechanics, shift, diagnostics);
  if (sources.thickness && mechanics.thickness &&
      std::abs(sources.thickness->v - mechanics.thickness->v) > 0.1 * sources.thickness->v)
    diagnostics.warn(
        {.code = "check-idf-thickness",
         .at = {mechanics.name, 0, 0, {}},
         .message = "the job file and the IDF file state different thicknesses. The one of the job file is used",
         .found = short_number(sources.thickness->v, 3) + " mm and " + short_number(mechanics.thickness->v, 3) + " mm",
         .remedy = "correct board.thickness"});
  tell_of_idf_areas(mechanics, shift, diagnostics);
}

namespace {
std::string off_text(const std::vector<OffPart>& off, const Few& names) {
  const std::string common = what_is_common(off);
  return std::to_string(off.size()) + " are off" + (common.empty() ? "" : ", " + common) + ": " + names.text();
}

/// What the rows of a placement table say against the pads of their parts.
struct PlacedRows {
  std::size_t known = 0, near = 0, side_wrong = 0;
  Few far;
  std::vector<OffPart> off;
};
PlacedRows rows_at_pads(const Board& board, const Job& job, const formats::Placement& table,
                        const std::map<std::string, const Component*>& by_name) {
  PlacedRows placed_rows;
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
    ++placed_rows.known;
    if (box.grown(3.0).contains(at)) {
      ++placed_rows.near;
    } else {
      placed_rows.far.add(row.component + " (line " + std::to_string(row.line) + ")");
      placed_rows.off.push_back({row.component, bottom > top ? Side::bottom : Side::top, at, box.centre()});
    }
    placed_rows.side_wrong += (row.side == Side::top && bottom > top) || (row.side == Side::bottom && top > bottom);
  }
  return placed_rows;
}

void judge_placement(const Job& job, const formats::Placement& table, const PlacedRows& rows,
                     Diagnostics& diagnostics) {
  const auto& [known, near, side_wrong, far, off] = rows;
  if (known == 0) {
    diagnostics.warn({.code = "placement-no-part",
                      .at = {table.name, 0, 0, {}},
                      .message = "no component of this table is in the netlist",
                      .remedy = "check whether the table belongs to this board"});
    return;
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
              .message =
                  percent(wrong) + " of the placed parts have their pads on the side opposite to the one in the table",
              .remedy = "correct the sides, or leave the table out"});
}
}  // namespace

void check_placement(const Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  std::map<std::string, const Component*> by_name;
  for (const auto& part : board.components) by_name[part.name] = &part;
  for (const auto& table : sources.placements)
    judge_placement(job, table, rows_at_pads(board, job, table, by_name), diagnostics);
}

}  // namespace teasel
