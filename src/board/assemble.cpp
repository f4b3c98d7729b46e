#include <algorithm>

#include "build.h"
#include "teasel/words.h"

namespace teasel {

namespace {
bool accepted(const Job& job, const char* code) {
  return std::find(job.accept.begin(), job.accept.end(), code) != job.accept.end();
}
}  // namespace

void complain(const Job& job, Diagnostics& d, const char* code, Place at, std::string message, std::string found,
              const std::string& remedy, std::string expected) {
  if (accepted(job, code))
    return d.warn(code, std::move(at), message + " (accepted by the job file)", std::move(found));
  d.error(code, std::move(at), std::move(message), std::move(found), std::move(expected),
          remedy + (remedy.empty() ? "" : "; ") + "or accept it:  [checks] accept = [\"" + code + "\"]");
}

namespace {
std::vector<Point> inside_points(const Board& b) {
  std::vector<Point> pts;
  for (const auto& f : b.features)
    if (f.plated) pts.push_back(f.at);  // those may lie in rails outside the board
  return pts;
}

const formats::GerberFile* file_of(const Job& job, const Sources& sources, const std::string& name) {
  for (std::size_t i = 0; i < job.gerbers.size(); ++i)
    if (job.gerbers[i].file == name) return &sources.gerbers[i];
  return nullptr;
}

/// Pads that an edge leaves outside: "3 of 200 pads, first P3 (...)"; empty if it leaves none.
std::string pads_outside(const Board& b, const Ring& edge) {
  std::size_t pads = 0, outside = 0;
  std::string first;
  for (const auto& f : b.features) {
    if (!f.plated) continue;
    ++pads;
    if (winding_number(edge, f.at) == 0 && outside++ == 0)
      first = f.name + " (" + to_string(f.place) + ") at (" + short_number(f.at.x, 3) + ", " + short_number(f.at.y, 3) +
              ")";
  }
  return outside ? std::to_string(outside) + " of " + std::to_string(pads) + " pads, first " + first : std::string();
}

/// The edge that mechanical data or an IPC-2581 file draw, where it encloses every pad.
bool outline_of_mechanics(Board& b, const formats::Mechanics& m, Point shift, Diagnostics& d) {
  if (!m.outline) return false;
  const Polygon moved = transformed(Polygons{*m.outline}, {1, 0, 0, 1, shift.x, shift.y})[0];
  if (const std::string outside = pads_outside(b, moved.outer); !outside.empty()) {
    d.warn("outline-off-pads", {m.name, 0, 0, {}}, "the board edge of this file leaves pads outside and is not used",
           outside, "correct the file's offset, or name an outline file in  [inputs.outline]");
    return false;
  }
  b.outline = moved;
  const Box box = bounds(moved.outer);
  d.note("outline-of-file", {m.name, 0, 0, {}},
         "outline " + short_number(box.width(), 3) + " x " + short_number(box.height(), 3) + " mm with " +
             std::to_string(moved.holes.size()) + " cutouts, as this file draws it",
         short_number(area(moved), 2) + " mm2", "name a layer file in  [inputs.outline] file  to overrule");
  return true;
}

/// The other sources' edges against the one that counts.
void compare_outline(const Board& b, const formats::Mechanics& m, Point shift, Diagnostics& d) {
  if (!m.outline || b.outline_assumed) return;
  const Polygons theirs = transformed(Polygons{*m.outline}, {1, 0, 0, 1, shift.x, shift.y}), mine{b.outline};
  const double differ = area(subtract(mine, theirs)) + area(subtract(theirs, mine)), share = differ / area(mine);
  const std::string text =
      short_number(differ, 2) + " mm2, " + short_number(100 * share, 3) + " % of the board, lie in one of the two only";
  if (share < 0.005)
    d.note("outline-agrees", {m.name, 0, 0, {}}, "the board edge of this file is the one in use", text);
  else
    d.warn("outline-differs", {m.name, 0, 0, {}}, "the board edge of this file is not the one in use", text,
           "files of two revisions, or an offset; the first of layer file, IPC-2581, IDF and netlist counts");
}

/// The netlist's own BOARD_EDGE contour (record 389), where it encloses every pad.
bool outline_of_netlist(Board& b, const Sources& sources, Diagnostics& d) {
  if (!sources.netlist) return false;
  for (const auto& o : sources.netlist->outlines) {
    if (o.name != "BOARD_EDGE") continue;
    for (const Ring& c : o.contours) {
      Ring ring;
      for (Point p : c) ring.push_back(p + b.netlist_offset);
      if (ring.size() > 1 && ring.front() == ring.back()) ring.pop_back();
      if (ring.size() < 3) continue;
      if (signed_area(ring) < 0) std::reverse(ring.begin(), ring.end());
      const auto points = inside_points(b);
      if (!std::all_of(points.begin(), points.end(), [&](Point p) { return winding_number(ring, p) != 0; })) continue;
      b.outline = {std::move(ring), {}};
      d.note("outline-of-netlist", {sources.netlist->name, o.line, 0, {}},
             "the outline is the netlist's BOARD_EDGE contour", short_number(area(b.outline), 2) + " mm2",
             "name a layer file in  [inputs.outline] file  to overrule");
      return true;
    }
  }
  return false;
}

void assume_outline(Board& b, Diagnostics& d, const Job& job, const std::string& why) {
  Box box;
  for (const auto& f : b.features) {
    box.add(f.at);
    for (const Land& l : f.land)
      if (l.present) box.add(Box{f.at.x, f.at.y, f.at.x, f.at.y}.grown(std::max(l.width, l.height) / 2));
  }
  box = box.grown(1.0);
  b.outline = {{{box.x0, box.y0}, {box.x1, box.y0}, {box.x1, box.y1}, {box.x0, box.y1}}, {}};
  b.outline_assumed = true;
  d.warn("outline-assumed", {job.file, 0, 0, "inputs.outline"},
         "no outline is known; the box around all pads grown by 1 mm stands for the board", why,
         "name the file in  [inputs.outline] file, or draw the corners in  [inputs.outline] polygon");
}
}  // namespace

void add_outline(Board& b, const Job& job, const Sources& sources, Diagnostics& d) {
  const Place at{job.file, 0, 0, "inputs.outline"};
  if (job.outline_polygon.size() >= 3) {
    const Polygons drawn = fill_contours({job.outline_polygon});
    if (drawn.size() != 1)
      return d.error("outline-polygon", {job.file, 0, 0, "inputs.outline.polygon"}, "the corners do not make one area",
                     std::to_string(drawn.size()) + " areas", "corners in order around the board", "correct the list");
    b.outline = drawn[0];
    if (const std::string outside = pads_outside(b, b.outline.outer); !outside.empty())
      complain(job, d, "outline-off-pads", {job.file, 0, 0, "inputs.outline.polygon"},
               "the drawn board edge leaves pads outside", outside, "correct the corners, or the pad");
    return;
  }
  if (job.outline_file.empty()) {
    if (sources.cad && outline_of_mechanics(b, sources.cad->mechanics, {}, d)) return;
    if (sources.idf && outline_of_mechanics(b, *sources.idf, job.idf_offset.value_or(Point{}), d)) return;
    if (!outline_of_netlist(b, sources, d)) assume_outline(b, d, job, "the job names no outline file");
    return;
  }
  const formats::GerberFile* f = file_of(job, sources, job.outline_file);
  if (!f)
    return d.error("outline-not-listed", at, "the outline file is not among [[inputs.gerber]]", job.outline_file, {},
                   "add it with role = \"outline\"");
  const auto candidates = outline_candidates(*f, inside_points(b));
  if (candidates.empty()) {
    complain(job, d, "outline-none", {job.outline_file, 0, 0, {}},
             "no closed face of this file encloses every pad and hole",
             "strokes do not close, or the file belongs to another board or frame", "check the file and the offsets");
    return assume_outline(b, d, job, "none found in " + job.outline_file);
  }
  const std::size_t n = static_cast<std::size_t>(job.outline_choice);
  if (n > candidates.size())
    return d.error("outline-choice", at, "there are fewer faces than the choice",
                   std::to_string(candidates.size()) + " found", {},
                   "choose 1 to " + std::to_string(candidates.size()));
  const auto& c = candidates[n - 1];
  if (job.outline_area > 0 && std::abs(c.area - job.outline_area) > 0.001 * job.outline_area)
    return d.error("outline-area", at, "the outline's area is not the one in the job file",
                   short_number(c.area, 2) + " mm2", short_number(job.outline_area, 2) + " mm2",
                   "the outline file changed: look at it, then correct area_mm2");
  b.outline = c.face;
  const Box box = bounds(c.face.outer);
  d.note("outline-found", {job.outline_file, 0, 0, {}},
         "outline " + short_number(box.width(), 3) + " x " + short_number(box.height(), 3) + " mm with " +
             std::to_string(c.face.holes.size()) + " cutouts, " + c.how,
         short_number(c.area, 2) + " mm2, face " + std::to_string(n) + " of " + std::to_string(candidates.size()),
         "overrule with  [inputs.outline]");
}

namespace {
/// Netlist points on copper, side by side, so that a mirrored bottom shows. Traced pads lie on copper by their making.
void check_points(const Board& b, const Layers& layers, Side side, const Job& job, Diagnostics& d) {
  if (b.traced) return;
  const auto& images = layers.copper[static_cast<std::size_t>(side)];
  if (images.empty()) return;
  std::vector<Point> points;
  std::size_t on = 0;
  std::string missed;
  std::size_t listed = 0;
  for (const Feature& f : b.features) {
    if (!f.land[static_cast<std::size_t>(side)].present || f.kind == FeatureKind::unplated_hole) continue;
    points.push_back(f.at);
    // Beside the hole: the copper of a drilled land may be drawn as a ring.
    bool copper = false;
    for (const auto& m : images) copper |= m.dark(f.at) || (f.hole > 0 && m.dark(f.at + Point{f.hole / 2 + 0.03, 0}));
    on += copper;
    if (!copper && listed++ < 3)
      missed += (missed.empty() ? "" : ", ") + f.name + " (line " + std::to_string(f.place.line) + ")";
  }
  if (points.empty()) return;
  const double share = static_cast<double>(on) / static_cast<double>(points.size());
  const std::string& file = images[0].file().name;
  if (share >= 0.98) {
    d.note("check-points-on-copper", {file, 0, 0, {}},
           percent(share) + " of the " + std::to_string(points.size()) + " netlist points of the " + to_string(side) +
               " side lie on copper",
           missed.empty() ? "" : "not: " + missed);
    return;
  }
  std::vector<Point> flashes;
  for (const auto& m : images) {
    auto part = flash_centres(m.file());
    flashes.insert(flashes.end(), part.begin(), part.end());
  }
  const std::string fault = name_the_fault(points, flashes);
  complain(job, d, "check-points-off-copper", {file, 0, 0, {}},
           "only " + percent(share) + " of the " + std::to_string(points.size()) + " netlist points of the " +
               to_string(side) + " side lie on copper; this file and the netlist do not belong together as they stand",
           (fault.empty()
                ? "no change of unit, offset or mirror makes them meet: probably a file of another board or revision"
                : fault) +
               (missed.empty() ? "" : "; off copper: " + missed),
           fault.empty() ? "give the files of one release" : "correct the offset or unit in the job file");
}

/// Mask openings over surface pads.
void check_mask(const Board& b, const Layers& layers, Side side, const Job& job, Diagnostics& d) {
  const auto& mask = layers.mask[static_cast<std::size_t>(side)];
  if (mask.empty()) return;
  // Surface pads of the side speak best; leads may rightly be covered on one side.
  std::size_t pads = 0, open = 0, surface = 0;
  for (const Feature& f : b.features)
    surface += f.kind == FeatureKind::smd_pad && f.land[static_cast<std::size_t>(side)].present;
  const FeatureKind kind = surface >= 5 ? FeatureKind::smd_pad : FeatureKind::lead;
  for (const Feature& f : b.features) {
    if (!f.land[static_cast<std::size_t>(side)].present || f.kind != kind) continue;
    ++pads;
    for (const auto& m : mask)
      if (m.dark(f.at)) {
        ++open;
        break;
      }
  }
  if (pads < 5) return;
  const double share = static_cast<double>(open) / static_cast<double>(pads);
  if (share < 0.7)
    complain(job, d, "check-mask-closed", {mask[0].file().name, 0, 0, {}},
             "only " + percent(share) + " of the " + std::to_string(pads) +
                 (kind == FeatureKind::lead ? " leads of the " : " surface pads of the ") + to_string(side) +
                 " side have a mask opening",
             share < 0.3 ? "the image may show mask instead of openings, or belong to the other side or another board"
                         : "openings are missing",
             "set  image  of this layer, or give the right file");
  else
    d.note("check-mask-open", {mask[0].file().name, 0, 0, {}},
           percent(share) + " of the " + std::to_string(pads) +
               (kind == FeatureKind::lead ? " leads of the " : " surface pads of the ") + to_string(side) +
               " side have a mask opening");
}

/// Paste is printed on lands: a layer of the other side, mirrored or of another board shows where it has none under it.
void check_paste(const Layers& layers, Side side, const Job& job, Diagnostics& d) {
  const auto& copper = layers.copper[static_cast<std::size_t>(side)];
  if (copper.empty()) return;
  for (const auto& paste : layers.paste[static_cast<std::size_t>(side)]) {
    const std::vector<Point> flashes = flash_centres(paste.file());
    constexpr std::size_t kEnough = 5;
    if (flashes.size() < kEnough) continue;
    const auto on = std::count_if(flashes.begin(), flashes.end(), [&](Point p) {
      return std::any_of(copper.begin(), copper.end(), [&](const auto& m) { return m.dark(p); });
    });
    const double share = static_cast<double>(on) / static_cast<double>(flashes.size());
    const std::string what = percent(share) + " of the " + std::to_string(flashes.size()) + " paste openings of the " +
                             to_string(side) + " side lie on copper";
    if (share >= 0.9)
      d.note("check-paste-on-copper", {paste.file().name, 0, 0, {}}, what);
    else
      complain(job, d, "check-paste-off-copper", {paste.file().name, 0, 0, {}}, "only " + what,
               "the file may be of the other side, mirrored, shifted, or of another board",
               "give the right file, or leave it out");
  }
}

/// Drilled holes on netlist holes, file by file.
void check_drills(const Board& b, const Job& job, const Sources& sources, Diagnostics& d) {
  std::vector<Point> netlist_holes;
  for (const Feature& f : b.features)
    if (f.hole > 0 || f.kind == FeatureKind::via || f.kind == FeatureKind::unplated_hole) netlist_holes.push_back(f.at);
  for (std::size_t k = 0; k < (b.traced ? 0 : sources.drills.size()); ++k) {
    const auto& file = sources.drills[k];
    std::vector<Point> hits;
    for (const auto& h : formats::holes_of(file, drill_format(file, job.drills[k])))
      if (!h.slot && h.plating != formats::Plating::unplated && job.drills[k].plating != "unplated")
        hits.push_back(h.at + job.drills[k].offset.value_or(Point{}));
    if (hits.size() < 3 || netlist_holes.empty()) continue;
    const double share = share_met(hits, netlist_holes, {}, 0.05);
    const std::string how = to_string(drill_format(file, job.drills[k]));
    if (share >= 0.9) {
      d.note("check-drill-on-pads", {file.name, 0, 0, {}},
             percent(share) + " of the " + std::to_string(hits.size()) + " plated holes lie on holes of the netlist",
             how);
      continue;
    }
    const DrillFit fit = fit_drill(file, netlist_holes);
    const std::string hint = fit.share > 0.9 ? "read as " + to_string(fit.format) +
                                                   (distance(fit.offset, {}) > 0.02
                                                        ? " with an offset of (" + short_number(fit.offset.x, 4) +
                                                              ", " + short_number(fit.offset.y, 4) + ") mm"
                                                        : "") +
                                                   ", " + percent(fit.share) + " would meet"
                                             : name_the_fault(hits, netlist_holes);
    complain(
        job, d, "check-drill-off-pads", {file.name, 0, 0, {}},
        "only " + percent(share) + " of the " + std::to_string(hits.size()) +
            " plated holes lie on holes of the netlist (" + how + ")",
        hint.empty() ? "no format, unit, offset or mirror makes them meet: probably a file of another board" : hint,
        "correct unit, digits, zeros or offset of this drill file");
  }
}
}  // namespace

void check_files_agree(const Board& b, const Layers& layers, const Job& job, const Sources& sources, Diagnostics& d) {
  for (const Side side : {Side::top, Side::bottom}) check_points(b, layers, side, job, d);
  for (const Side side : {Side::top, Side::bottom}) check_mask(b, layers, side, job, d);
  for (const Side side : {Side::top, Side::bottom}) check_paste(layers, side, job, d);
  check_drills(b, job, sources, d);
}

namespace {
void check_holes_inside(const Board& b, const Job& job, Diagnostics& d) {
  std::size_t outside = 0;
  std::string first;
  const Polygons board{{b.outline.outer, {}}};
  for (const BoardHole& h : b.holes)
    if (!contains(board, h.at) && distance_to_boundary(board, h.at) > h.diameter) {
      if (outside++ == 0) first = to_string(h.place);
    }
  if (outside) {
    const double share = static_cast<double>(outside) / static_cast<double>(b.holes.size());
    const std::string text =
        std::to_string(outside) + " of " + std::to_string(b.holes.size()) + " holes lie outside the outline";
    if (share > 0.2)
      complain(job, d, "check-holes-outside", {job.outline_file, 0, 0, {}}, text, "first: " + first,
               "check offsets and files");
    else
      d.warn("check-holes-outside", {job.outline_file, 0, 0, {}}, text,
             "first: " + first + "; holes of rails or coupons are left alone");
  }
}

/// Holes of the IDF file against drilled ones, and what its keep-outs are for.
void check_idf(const Board& b, const Job& job, const formats::Mechanics& m, Diagnostics& d) {
  const Point shift = job.idf_offset.value_or(Point{});
  std::vector<Point> theirs, drilled;
  for (const auto& h : m.holes) theirs.push_back(h.at);
  for (const auto& h : b.holes) {
    drilled.push_back(h.at);
    drilled.push_back(0.5 * (h.at + h.end));
  }
  if (theirs.size() >= 3 && drilled.size() >= 3) {
    const double share = share_met(theirs, drilled, shift, 0.05);
    const std::string text =
        percent(share) + " of the " + std::to_string(theirs.size()) + " holes of the IDF file are drilled on the board";
    // A board is placed by its large holes: each of them counts.
    constexpr double kLarge = 2, kSame = 0.05;  // mm
    std::string missing;
    for (const auto& h : m.holes)
      if (h.diameter >= kLarge &&
          std::none_of(drilled.begin(), drilled.end(), [&](Point p) { return distance(p, h.at + shift) <= kSame; }))
        missing += (missing.empty() ? "" : ", ") + short_number(h.diameter, 2) + " mm at (" +
                   short_number(h.at.x + shift.x, 3) + ", " + short_number(h.at.y + shift.y, 3) + ")";
    if (share >= 0.95 && missing.empty())
      d.note("check-idf-holes", {m.name, 0, 0, {}}, text);
    else if (share >= 0.95)
      d.warn("check-idf-hole-missing", {m.name, 0, 0, {}},
             "holes of the IDF file are not drilled where it has them; the drill files count", missing,
             "look at them before tooling pins are placed");
    else if (share >= 0.5)
      d.warn("check-idf-holes", {m.name, 0, 0, {}}, text + "; the drill files count", {}, "files of two revisions?");
    else
      complain(job, d, "check-idf-off", {m.name, 0, 0, {}}, text, "the IDF file belongs to another board or frame",
               "correct  [inputs.idf] offset, or leave the file out");
  }
  if (job.thickness && m.thickness && std::abs(job.thickness->v - *m.thickness) > 0.1 * job.thickness->v)
    d.warn("check-idf-thickness", {m.name, 0, 0, {}},
           "the job and the IDF file state different thicknesses; the job's counts",
           short_number(job.thickness->v, 3) + " mm and " + short_number(*m.thickness, 3) + " mm",
           "correct board.thickness");
  Few parts(5, "; ");
  std::size_t others = 0;
  for (const auto& a : m.areas) {
    if (a.kind != formats::AreaRule::Kind::no_parts) {
      ++others;
      continue;
    }
    const Point c = bounds(a.area).centre() + shift;
    parts.add(std::string(a.side == 0   ? "top"
                          : a.side == 1 ? "bottom"
                                        : "both sides") +
              " at (" + short_number(c.x, 2) + ", " + short_number(c.y, 2) + ") " +
              (a.height > 0 ? "up to " + short_number(a.height, 2) + " mm" : "no part at all"));
  }
  if (parts.count())
    d.note("idf-keep-outs", {m.name, 0, 0, {}},
           "areas kept free of parts say where an enclosure or a mating part comes near; they do not stop probes",
           plural(parts.count(), "area: ", "areas: ") + parts.text() +
               (others ? "; and " + std::to_string(others) + " for traces and vias" : ""),
           "where a probe must not stand either, draw a  [[keep_out]]");
}

std::string off_text(const std::vector<OffPart>& off, const Few& names) {
  const std::string common = what_is_common(off);
  return std::to_string(off.size()) + " are off" + (common.empty() ? "" : ", " + common) + ": " + names.text();
}

/// Placement centres must lie near their own pads: proves unit, offset and side, or refuses.
void check_placement(const Board& b, const Job& job, const Sources& sources, Diagnostics& d) {
  std::map<std::string, const Component*> by_name;
  for (const auto& c : b.components) by_name[c.name] = &c;
  for (const auto& p : sources.placements) {
    std::size_t known = 0, near = 0, side_wrong = 0;
    Few far;
    std::vector<OffPart> off;
    for (const auto& r : p.rows) {
      auto it = by_name.find(r.component);
      if (it == by_name.end() || it->second->features.empty()) continue;
      const Component& c = *it->second;
      Box box;
      int top = 0, bottom = 0;
      for (int f : c.features) {
        const Feature& g = b.features[static_cast<std::size_t>(f)];
        box.add(g.at);
        top += g.land[0].present && !g.land[1].present;
        bottom += g.land[1].present && !g.land[0].present;
      }
      const Point at = placed(job, p, r);
      ++known;
      if (box.grown(3.0).contains(at)) {
        ++near;
      } else {
        far.add(r.component + " (line " + std::to_string(r.line) + ")");
        off.push_back({r.component, bottom > top, at, box.centre()});
      }
      side_wrong += (r.side == 0 && bottom > top) || (r.side == 1 && top > bottom);
    }
    if (known == 0) {
      d.warn("placement-no-part", {p.name, 0, 0, {}}, "no component of this table is in the netlist", {},
             "is it a table of this board?");
      continue;
    }
    const double share = static_cast<double>(near) / static_cast<double>(known),
                 wrong = static_cast<double>(side_wrong) / static_cast<double>(known);
    if (share < 0.9)
      complain(job, d, "check-placement-off", {p.name, 0, 0, {}},
               "only " + percent(share) + " of the " + std::to_string(known) + " placed parts lie at their pads",
               off_text(off, far), "correct unit, offset or bottom_offset in  [inputs.placement]");
    else if (!off.empty())
      d.warn("check-placement", {p.name, 0, 0, {}},
             std::to_string(off.size()) + " of the " + std::to_string(known) + " placed parts do not lie at their pads",
             off_text(off, far), "look at these rows");
    else
      d.note("check-placement", {p.name, 0, 0, {}},
             percent(share) + " of the " + std::to_string(known) + " placed parts lie at their pads");
    if (wrong > 0.1)
      complain(job, d, "check-placement-side", {p.name, 0, 0, {}},
               percent(wrong) + " of the placed parts have their pads on the other side than the table says", {},
               "correct the sides, or leave the table out");
  }
}

/// Thickness, with who says so.
void settle_thickness(Board& b, const Job& job, const Sources& sources, Diagnostics& d) {
  b.thickness_known = Known::confirmed;
  if (job.thickness)
    b.thickness = job.thickness->v;
  else if (sources.cad && sources.cad->mechanics.thickness)
    b.thickness = *sources.cad->mechanics.thickness;
  else if (sources.idf && sources.idf->thickness)
    b.thickness = *sources.idf->thickness;
  else {
    b.thickness_known = Known::assumed;
    d.note("board-thickness", {job.file, 0, 0, "board.thickness"}, "no thickness is stated; 1.6 mm is assumed", {},
           "give  [board] thickness");
  }
  // Stroke, stiffness and pin heights follow it: a slip of the decimal point must not go by.
  constexpr double kThinnest = 0.1, kThickest = 8.0;  // mm; flex to backplanes, common practice, no source
  if (b.thickness < kThinnest || b.thickness > kThickest)
    d.warn("board-thickness-odd", {job.file, 0, 0, "board.thickness"},
           "boards are " + short_number(kThinnest, 1) + " to " + short_number(kThickest, 1) +
               " mm thick as a rule; strokes, bending and set heights follow this value",
           short_number(b.thickness, 3) + " mm", "measure a board and give  [board] thickness");
}
/// What copper layers say of pins (.P with a third field).
void add_pin_functions(Board& b, const Job& job, const Sources& sources) {
  std::map<std::pair<std::string, std::string>, std::string> by_pin;
  for (std::size_t i = 0; i < sources.gerbers.size(); ++i) {
    const LayerRole role = job.gerbers[i].role;
    if (role != LayerRole::copper_top && role != LayerRole::copper_bottom) continue;
    for (const formats::GerberAttributes& a : sources.gerbers[i].attributes)
      if (!a.component.empty() && !a.pin_function.empty())
        by_pin.emplace(std::pair(a.component, a.pin), a.pin_function);
  }
  if (by_pin.empty()) return;
  for (Feature& f : b.features) {
    if (f.component < 0) continue;
    if (const auto it = by_pin.find({b.components[static_cast<std::size_t>(f.component)].name, f.pin});
        it != by_pin.end())
      f.function = it->second;
  }
}
}  // namespace

Board assemble(const Job& job, const Rules& rules, const Sources& sources, Diagnostics& d) {
  Board b;
  b.name = job.name;
  b.revision = job.revision;
  b.finish = job.finish.value_or(Surface::unknown);
  settle_thickness(b, job, sources, d);
  b.netlist_offset = job.netlist_offset.value_or(Point{});
  if (sources.netlist)
    add_netlist(b, *sources.netlist, b.netlist_offset, d);
  else if (!job.pads_file.empty())
    add_bench(b, job, sources, d);
  else
    b.traced = true;
  if (d.failed()) return b;
  if (b.features.empty() && !b.traced) {
    d.error("board-empty", {job.netlist_file, 0, 0, {}}, "the netlist holds no pads");
    return b;
  }
  if (b.features.size() > 2'000'000) {
    d.error("board-too-large", {job.netlist_file, 0, 0, {}}, "more than two million pads");
    return b;
  }
  const Layers layers = images(job, sources);
  b.has_mask_layers = !layers.mask[0].empty() || !layers.mask[1].empty();
  b.has_copper_layers = !layers.copper[0].empty() || !layers.copper[1].empty();
  for (std::size_t s = 0; s < 2; ++s) b.has_paste[s] = !layers.paste[s].empty();
  if (b.has_copper_layers && !b.has_paste[0] && !b.has_paste[1])
    d.note("board-no-paste", {job.file, 0, 0, "inputs.gerber"},
           "no paste layer is given: surface pads of fitted parts count as soldered, all other metal as the board's "
           "finish",
           {}, "name the paste layers");
  add_holes(b, job, sources, d);
  if (!b.traced) {
    check_files_agree(b, layers, job, sources, d);
    if (d.failed()) return b;
  }
  trace_copper(b, layers, job, sources, d);
  if (d.failed()) return b;
  if (b.traced)
    add_traced_features(b, layers, job, d);
  else
    compare_with_netlist(b, job, d);
  if (d.failed()) return b;
  if (b.traced) {
    check_files_agree(b, layers, job, sources, d);
    match_parts(b, job, sources, d);
  }
  add_pin_functions(b, job, sources);
  name_kinds(b, layers);
  if (d.failed()) return b;
  add_outline(b, job, sources, d);
  if (d.failed()) return b;
  b.pieces = {b.outline};
  if (sources.cad) compare_outline(b, sources.cad->mechanics, {}, d);
  if (sources.idf) {
    compare_outline(b, *sources.idf, job.idf_offset.value_or(Point{}), d);
    check_idf(b, job, *sources.idf, d);
  }
  check_holes_inside(b, job, d);
  add_components(b, job, rules, sources, d);
  if (d.failed()) return b;
  check_placement(b, job, sources, d);
  if (!job.panel.used) choose_tooling(b, job, rules, d);  // a panel is located by its own holes
  if (d.failed()) return b;
  add_exposures(b, layers, job, sources, d);
  return b;
}

}  // namespace teasel
