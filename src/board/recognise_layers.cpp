// Which layer each Gerber file is, and where the board ends.
#include <algorithm>
#include <cctype>
#include <charconv>
#include <set>
#include <tuple>

#include "recogniser.h"
#include "teasel/words.h"

namespace teasel {

using formats::GerberFile;

/// .FileFunction, in the file or in comments.
bool role_by_attribute(Recognised& entry) {
  const std::string function = lower(entry.gerber.file_attribute(".FileFunction"));
  if (function.empty()) return false;
  entry.why = "its attribute says .FileFunction " + entry.gerber.file_attribute(".FileFunction");
  entry.role = role_of_function(function);
  if (!entry.role)
    entry.role = has(function, "drawing") || has(function, "drillmap") || function.rfind("other", 0) == 0
                     ? LayerRole::drawing
                     : LayerRole::ignore;
  return true;
}

double share_dark(const LayerImage& image, const std::vector<Point>& points) {
  if (points.empty()) return -1;
  std::size_t looked_at = 0, on = 0;
  for (std::size_t i = 0; i < points.size(); i += 1 + points.size() / 400) {
    ++looked_at;
    on += image.dark(points[i]);
  }
  return static_cast<double>(on) / static_cast<double>(looked_at);
}

std::vector<Point> grid_over(const std::vector<Point>& points) {
  constexpr int kSteps = 20;
  Box box;
  for (const Point p : points) box.add(p);
  std::vector<Point> grid;
  if (!box.valid()) return grid;
  for (int i = 0; i < kSteps; ++i)
    for (int j = 0; j < kSteps; ++j)
      grid.push_back({box.x0 + (i + 0.5) * box.width() / kSteps, box.y0 + (j + 0.5) * box.height() / kSteps});
  return grid;
}

namespace {
/// Shares of points that a layer covers; below zero: there are no such points.
struct Covers {
  double top = -1, bottom = -1, through = -1, vias = -1;
};

/// Only outer layers draw surface pads one by one: "L8" of eight is no inner layer.
bool draws_surface_pads(const Recognised& entry, const Witness& witness) {
  constexpr double kDrawn = 0.8;
  constexpr std::size_t kEnough = 10;
  const auto flashes = flash_centres(entry.gerber);
  const auto draws = [&](const std::vector<Point>& pads) {
    return pads.size() >= kEnough && share_met(pads, flashes, {}, 0.05) >= kDrawn;
  };
  return draws(witness.top_smd) || draws(witness.bottom_smd);
}

/// The role that the name gives a layer, where what it covers does not speak against it.
bool named_and_fitting(Recognised& entry, const Covers& covers, const Witness& witness) {
  using R = LayerRole;
  Recognised named;
  named.file = entry.file;
  named.shared = entry.shared;
  if (!role_by_name(named)) return false;
  const bool top = named.role == R::copper_top || named.role == R::mask_top || named.role == R::paste_top,
             bottom = named.role == R::copper_bottom || named.role == R::mask_bottom || named.role == R::paste_bottom;
  const double own = top ? covers.top : covers.bottom;
  const bool mask = named.role == R::mask_top || named.role == R::mask_bottom;
  bool fits = true;
  if (named.role == R::copper_top || named.role == R::copper_bottom) fits = own < 0 ? covers.through > 0.5 : own > 0.7;
  // A mask may be drawn as mask: then it covers none of the pads.
  if (mask) fits = own < 0 || own > 0.7 || own < 0.1;
  if (named.role == R::paste_top || named.role == R::paste_bottom) fits = own < 0 || own > 0.3;
  if (!top && !bottom && named.role != R::copper_inner) fits = covers.top < 0.85 && covers.bottom < 0.85;
  // An empty layer called "ground" is a note of the layout tool. As copper it would move all layers below it.
  // Copper meets some of the vias at least: those of its own nets.
  const double holes = covers.vias >= 0 ? covers.vias : covers.through;
  if (named.role == R::copper_inner)
    fits = !entry.gerber.objects.empty() && (holes < 0 || holes > 0.02) && !draws_surface_pads(entry, witness);
  if (!fits) return false;
  entry.role = named.role;
  entry.why += ". Its name says which layer it is";
  return true;
}
}  // namespace

/// Which points a layer covers, and how large its pads are, tell copper from mask from paste.
void role_by_content(Recognised& entry, const Witness& witness) {
  entry.by_content = true;
  const LayerImage image(entry.gerber, false);
  const double top = share_dark(image, witness.top_smd), bottom = share_dark(image, witness.bottom_smd),
               through = share_dark(image, witness.through), via = share_dark(image, witness.vias);
  const std::size_t strokes = entry.strokes();
  // A layer belongs to the side whose pads it covers; pours cover some of the other side's as well.
  const bool top_side = top > 0.85 && top > bottom + 0.15, bottom_side = bottom > 0.85 && bottom > top + 0.15;
  entry.why = "it covers " + (top < 0 ? std::string("no") : percent(top) + " of the") + " top pads, " +
              (bottom < 0 ? std::string("no") : percent(bottom) + " of the") + " bottom pads, " +
              (through < 0 ? std::string("no") : percent(through) + " of the") + " component holes, " +
              (via < 0 ? std::string("no") : percent(via) + " of the") + " vias";
  if (named_and_fitting(entry, {.top = top, .bottom = bottom, .through = through, .vias = via}, witness)) return;
  if (!top_side && !bottom_side) {
    // Pours may cover the pads of both sides.
    if (std::max(top, bottom) > 0.85) entry.why += ". Neither this nor its name tells which layer it is: CHECK";
    entry.role = strokes > 3 && (top < 0.05 && bottom < 0.05) ? LayerRole::drawing : LayerRole::ignore;
    return;
  }
  // Pad sizes against the netlist: mask openings are larger than lands, paste openings not.
  const auto& points = top_side ? witness.top_smd : witness.bottom_smd;
  const auto& sizes = top_side ? witness.top_size : witness.bottom_size;
  std::size_t larger = 0, compared = 0;
  for (std::size_t i = 0; i < points.size() && compared < 500; ++i)
    if (const auto* object = image.flash_at(points[i], Mm{0.02}); object && sizes[i] > 0) {
      ++compared;
      const Box box = formats::box_of(entry.gerber, *object);
      larger += std::min(box.width(), box.height()) > sizes[i] + 0.02;
    }
  const bool grown = compared > 0 && larger * 2 > compared;
  // Copper has traces: about one stroke a pad at least; the strokes of a mask are its frame and text.
  const bool copper =
      via > 0.85 && strokes * 3 > points.size() + witness.through.size() + witness.vias.size() && !grown;
  if (copper) {
    entry.role = top_side ? LayerRole::copper_top : LayerRole::copper_bottom;
    entry.why += ", and has traces";
  } else if (through > 0.7 || (grown && through < 0)) {
    entry.role = top_side ? LayerRole::mask_top : LayerRole::mask_bottom;
    entry.why += grown ? ", with openings larger than the lands" : "";
  } else {
    entry.role = top_side ? LayerRole::paste_top : LayerRole::paste_bottom;
    entry.why += ": surface pads only";
  }
}

void Recogniser::roles() {
  for (auto& entry : entries_) {
    if (entry.kind != FileKind::gerber || entry.role) continue;
    if (!role_by_attribute(entry) && !role_by_comments(entry) && !netlist_ && pad_points_.empty() &&
        role_by_name(entry) && entry.role == LayerRole::copper_inner && entry.gerber.objects.empty())
      entry.role = LayerRole::drawing;
    for (const auto& comment : entry.gerber.comments)
      if (comment.rfind("Mode:", 0) == 0 && has(comment, "Negative")) entry.clearances = true;
  }
  if (!netlist_) numbered_bottom();
}

/// "L4_Signal" of four layers is the bottom, where no other file claims to be.
void Recogniser::numbered_bottom() {
  Recognised* last = nullptr;
  int highest = 1;
  std::size_t inner = 0;
  for (auto& entry : entries_) {
    if (entry.kind != FileKind::gerber || entry.gerber.objects.empty()) continue;
    if (entry.role == LayerRole::copper_bottom) return;
    if (entry.role != LayerRole::copper_inner) continue;
    ++inner;
    if (const int number = layer_number(entry); number > highest) {
      highest = number;
      last = &entry;
    }
  }
  if (!last || highest != static_cast<int>(inner) + 1) return;
  last->role = LayerRole::copper_bottom;
  last->why = "the last of " + std::to_string(highest) + " layers by the numbers in their names: CHECK";
}

/// Inner layers get the numbers that their names state, where these are all there, all different and fit.
void Recogniser::number_layers() {
  std::vector<Recognised*> inner;
  std::set<int> seen;
  for (auto& entry : entries_)
    if (entry.kind == FileKind::gerber && entry.role == LayerRole::copper_inner) {
      entry.layer = layer_number(entry);
      inner.push_back(&entry);
      seen.insert(entry.layer);
    }
  if (inner.empty()) return;
  const int bottom = netlist_ ? bottom_code(*netlist_) : stated_layers_;
  const bool fit = seen.size() == inner.size() && *seen.begin() >= 2 && (bottom <= 2 || *seen.rbegin() < bottom);
  for (Recognised* entry : inner) {
    if (fit)
      evidence(entry->file->name)
          .push_back("layer " + std::to_string(entry->layer) +
                     (entry->gerber.file_attribute(".FileFunction").empty() ? " by its name" : " by its attribute"));
    else
      entry->layer = 0;
  }
  if (!fit)
    evidence("board").push_back(
        "CHECK: the inner layers are in the order of their file names. Set  layer  where holes are blind or buried");
}

/// Without a netlist the flashes of the outer copper stand for pads.
void Recogniser::witness_of_copper() {
  const GerberFile *top = layer(LayerRole::copper_top), *bottom = layer(LayerRole::copper_bottom);
  const auto top_flashes = top ? flash_centres(*top) : std::vector<Point>{},
             bottom_flashes = bottom ? flash_centres(*bottom) : std::vector<Point>{};
  auto size = [](const GerberFile* file, std::size_t i) {
    std::size_t k = 0;
    if (!file) return 0.0;
    for (const auto& object : file->objects)
      if (object.kind == formats::GerberObject::Kind::flash && object.dark && k++ == i) {
        const Box box = formats::box_of(*file, object);
        return std::min(box.width(), box.height());
      }
    return 0.0;
  };
  PointGrid on_bottom(0.05);
  for (std::size_t i = 0; i < bottom_flashes.size(); ++i) on_bottom.add(bottom_flashes[i], static_cast<int>(i));
  PointGrid on_top(0.05);
  for (std::size_t i = 0; i < top_flashes.size(); ++i) on_top.add(top_flashes[i], static_cast<int>(i));
  for (std::size_t i = 0; i < top_flashes.size(); ++i) {
    witness_.all.push_back(top_flashes[i]);
    if (on_bottom.nearest(top_flashes[i], 0.02) >= 0) {
      witness_.through.push_back(top_flashes[i]);
      witness_.holes.push_back(top_flashes[i]);
    } else {
      witness_.top_smd.push_back(top_flashes[i]);
      witness_.top_size.push_back(i < 3000 ? size(top, i) : 0);
    }
  }
  for (std::size_t i = 0; i < bottom_flashes.size(); ++i)
    if (on_top.nearest(bottom_flashes[i], 0.02) < 0) {
      witness_.all.push_back(bottom_flashes[i]);
      witness_.bottom_smd.push_back(bottom_flashes[i]);
      witness_.bottom_size.push_back(i < 3000 ? size(bottom, i) : 0);
    }
  witness_.vias = witness_.through;
}

void Recogniser::gerbers() {
  std::vector<const Recognised*> order;
  for (const auto& entry : entries_)
    if (entry.kind == FileKind::gerber && entry.role) order.push_back(&entry);
  std::stable_sort(order.begin(), order.end(), [](const auto* a, const auto* b) { return *a->role < *b->role; });
  for (const auto* entry : order) {
    GerberInput in;
    in.file = entry->file->name;
    in.role = *entry->role;
    in.unit = entry->unit;
    if (in.role == LayerRole::copper_inner || in.role == LayerRole::copper_top || in.role == LayerRole::copper_bottom) {
      in.clearances = entry->clearances;
      if (in.role == LayerRole::copper_inner) in.layer = entry->layer;
      if (in.role == LayerRole::copper_bottom && !netlist_)
        if (const int layers = std::max(layer_number(*entry), stated_layers_); layers > 2) {
          in.layer = layers;
          evidence(in.file).push_back("the board has " + std::to_string(layers) +
                                      " copper layers, by this file's name or attribute or by a job file");
        }
      if (in.clearances)
        evidence(in.file).push_back("its header says  Mode: Negative, so what is drawn is free of copper");
    }
    out_.job.inputs.gerbers.push_back(in);
    evidence(in.file).push_back(entry->why);
  }
}

void Recogniser::mask_images() {
  for (auto& in : out_.job.inputs.gerbers) {
    if (in.role != LayerRole::mask_top && in.role != LayerRole::mask_bottom) continue;
    const GerberFile* file = layer(in.role);
    const auto& smd = in.role == LayerRole::mask_top ? witness_.top_smd : witness_.bottom_smd;
    const auto& points = smd.empty() ? witness_.through : smd;
    if (!file || points.empty()) continue;
    const LayerImage image(*file, false);
    const double dark = share_dark(image, points), drawn = share_dark(image, grid_over(witness_.all));
    // Mask covers most of a board, and openings a small part of it, whatever lies on the pads.
    const std::string polarity = lower(file->file_attribute(".FilePolarity"));
    in.mask_image_inverted = polarity.empty() ? drawn > 0.5 && dark < 0.5 : polarity == "positive" && drawn > 0.5;
    auto& reasons = evidence(in.file + "#image");
    reasons.push_back(percent(drawn) + " of the board is drawn, and " + percent(dark) +
                      " of the pads of this side lie on drawn areas, so the image shows " +
                      (in.mask_image_inverted ? "mask" : "openings") +
                      (polarity.empty() ? "" : ". The file calls itself " + polarity));
    if (netlist_ && in.mask_image_inverted == (dark > 0.5))
      reasons.push_back(std::string("CHECK: most pads of this side would be ") +
                        "covered by mask. The other reading is image = \"" +
                        (in.mask_image_inverted ? "openings" : "mask") + "\"");
  }
}

/// What the board edge must enclose. Unplated holes may lie in rails outside the board.
std::vector<Point> Recogniser::points_inside() const {
  if (!netlist_) return pad_points_.empty() ? witness_.holes : pad_points_;
  std::vector<Point> points;
  for (const auto& record : netlist_->records)
    if (record.plated) points.push_back(from_netlist_(record.at));
  return points;
}

namespace {
/// A face is far larger than what it must hold: a drawing's frame, perhaps. Ratio of boxes, chosen, no source.
constexpr double kFarLarger = 4;
/// As much larger than its points a face must be before a smaller one that leaves a few out is preferred.
constexpr double kRails = 1.6;
/// mm; copper may be drawn up to the middle of the edge's own stroke.
constexpr double kEdgeStroke = 0.3;

double ratio(const OutlineCandidate& candidate, const Box& points) {
  const Box box = bounds(candidate.face.outer);
  return box.width() * box.height() / std::max(1.0, points.width() * points.height());
}
std::string face_text(const OutlineCandidate& candidate) {
  const Box box = bounds(candidate.face.outer);
  return short_number(candidate.area.v, 2) + " mm2, " + short_number(box.width(), 2) + " x " +
         short_number(box.height(), 2) + " mm, " + candidate.how +
         (candidate.outside ? ", " + std::to_string(candidate.outside) + " pads or holes lie outside" : "");
}
}  // namespace

void Recogniser::take_outline(const Recognised& entry, const std::vector<OutlineCandidate>& found, std::size_t choice,
                              const Box& points) {
  auto& reasons = evidence("inputs.outline");
  const OutlineCandidate& taken = found[choice];
  out_.job.inputs.outline_file = entry.file->name;
  out_.job.inputs.outline_choice = static_cast<int>(choice) + 1;
  out_.job.inputs.outline_area = Mm2{std::round(taken.area.v * 100) / 100};
  const Box box = bounds(taken.face.outer);
  reasons.push_back("smallest closed face that encloses all pads and plated holes but " +
                    std::to_string(taken.outside) + ": " + short_number(box.width(), 3) + " x " +
                    short_number(box.height(), 3) + " mm, " + taken.how + ", " +
                    std::to_string(taken.face.holes.size()) + " cutouts");
  for (std::size_t i = 0; i < found.size() && i < 8; ++i)
    reasons.push_back("face " + std::to_string(i + 1) + ": " + face_text(found[i]) +
                      (i == choice ? "   <- chosen" : ""));
  if (size_ && (std::abs(box.width() - size_->x) > 0.2 || std::abs(box.height() - size_->y) > 0.2)) {
    diagnostics_.warn(
        {.code = "outline-size",
         .at = {entry.file->name, 0, 0, {}},
         .message = "the size of the outline differs from the one that the Gerber job file states",
         .found = short_number(box.width(), 3) + " x " + short_number(box.height(), 3) + " mm here, " +
                  short_number(size_->x, 3) + " x " + short_number(size_->y, 3) + " mm in " + size_by_,
         .remedy = "look at the drawing. One of the two is of another revision, or the drawing has a frame"});
    reasons.push_back("CHECK: " + size_by_ + " states " + short_number(size_->x, 3) + " x " +
                      short_number(size_->y, 3) + " mm");
  }
  if (taken.outside)
    reasons.push_back("CHECK: " + std::to_string(taken.outside) +
                      " pads or plated holes lie outside the chosen face, in rails perhaps. The face around all of "
                      "them is the other reading");
  if (ratio(taken, points) > kFarLarger)
    reasons.push_back("CHECK: the face is " + short_number(ratio(taken, points), 1) +
                      " times as large as the box around all pads. It may be the frame of a drawing");
  if (choice == 0 && found.size() > 1 && !found[1].outside && found[1].area < 1.1 * found[0].area) {
    reasons.push_back(
        "CHECK: the areas of the first two faces differ by less than 10 %. Look at the drawing and set  choice");
    diagnostics_.warn({.code = "outline-close-call",
                       .at = {entry.file->name, 0, 0, {}},
                       .message = "the areas of two closed faces differ by less than 10 %. The smaller one is used",
                       .found = short_number(found[0].area.v, 2) + " and " + short_number(found[1].area.v, 2) + " mm2",
                       .remedy = "set  choice  in  [inputs.outline]"});
  }
  narrow_edge(taken.face);
  for (auto& in : out_.job.inputs.gerbers)
    if (in.file == out_.job.inputs.outline_file && in.role == LayerRole::ignore)
      in.role = LayerRole::drawing;
    else if (in.file != out_.job.inputs.outline_file && in.role == LayerRole::outline) {
      in.role = LayerRole::drawing;
      evidence(in.file).push_back("called an outline, but " + out_.job.inputs.outline_file + " holds the board edge");
    }
}

namespace {
/// Whether the header calls the layer an outline, whatever the file's name says.
bool calls_itself_outline(const Recognised& entry) {
  Recognised look;
  look.gerber.comments = entry.gerber.comments;
  look.gerber.image_name = entry.gerber.image_name;
  return role_by_comments(look) && look.role == LayerRole::outline;
}
/// The ending of a keep-out layer, which is often drawn as the outline, and as often beside it.
bool is_weak_edge(const Recognised& entry) {
  return lower(entry.file->name).ends_with(".gko") && entry.gerber.file_attribute(".FileFunction").empty() &&
         !calls_itself_outline(entry);
}
int edge_rank(const Recognised& entry) {
  if (entry.role == LayerRole::outline) return is_weak_edge(entry) ? 1 : 0;
  if (entry.role == LayerRole::drawing) {
    // Drill drawings show the edge as well, but a mechanical layer is the likelier original.
    const std::string file = lower(entry.file->name);
    return file.ends_with(".gd1") || file.ends_with(".gdd") || has(file, "drill") || has(file, "assem") ? 2 : 1;
  }
  const std::string name = lower(entry.file->name);
  if (entry.role == LayerRole::ignore)
    return has(name, "outline") || has(name, "edge") || has(name, "profile") || has(name, "rout") ? 1 : 2;
  return entry.role == LayerRole::copper_top || entry.role == LayerRole::copper_bottom ? 3 : 4;
}
}  // namespace

/// Files in the order in which they are likely to draw the board edge.
std::vector<const Recognised*> Recogniser::edge_files() const {
  std::vector<const Recognised*> order;
  for (const auto& entry : entries_)
    if (entry.kind == FileKind::gerber && !entry.gerber.objects.empty()) order.push_back(&entry);
  // Of one rank, what is called an outline comes first, whatever the order of the files.
  const auto key = [](const Recognised& entry) {
    return std::pair(edge_rank(entry), entry.role != LayerRole::outline);
  };
  std::stable_sort(order.begin(), order.end(), [&](const auto* a, const auto* b) { return key(*a) < key(*b); });
  return order;
}

void Recogniser::outline() {
  const std::vector<Point> points = points_inside();
  const std::vector<const Recognised*> order = edge_files();
  auto& reasons = evidence("inputs.outline");
  if (bench_ && order.empty())
    return reasons.push_back(
        "CHECK: no file draws the board edge. Give its corners:  polygon = [[\"0 mm\", \"0 mm\"], [\"40 mm\", \"0 "
        "mm\"], ...]");
  if (points.size() < 3) {
    reasons.push_back(
        "CHECK: too few pads are known to tell the board edge from other loops. The box around the pads will be used "
        "as the board edge");
    return;
  }
  Box box;
  for (const Point p : points) box.add(p);
  // Titles beside the board may lie on every copper layer: what is far from all pads says nothing of the edge.
  constexpr double kBeside = 5;  // mm
  Box copper;
  for (const LayerRole role : {LayerRole::copper_top, LayerRole::copper_bottom})
    if (const auto* file = layer(role))
      for (const formats::GerberObject& object : file->objects)
        if (const Box drawn = formats::box_of(*file, object); drawn.touches(box.grown(kBeside))) copper.add(drawn);
  // The first file with a face of plausible size; else the smallest face of all files.
  const Recognised* best = nullptr;
  std::vector<OutlineCandidate> best_found;
  std::size_t best_choice = 0;
  bool best_holds = false;
  for (const auto* entry : order) {
    if (best && edge_rank(*entry) > (ratio(best_found[best_choice], box) <= kFarLarger ? 1 : 2)) break;
    std::vector<OutlineCandidate> found = outline_candidates(entry->gerber, points);
    if (found.empty()) {
      if (edge_rank(*entry) < 2)
        reasons.push_back(entry->file->name + ": no closed face encloses all " + std::to_string(points.size()) +
                          " pads and plated holes");
      continue;
    }
    std::size_t choice = 0;
    for (std::size_t i = 1; i < found.size(); ++i)
      if (found[i].outside && found[i].area < found[choice].area && ratio(found[0], box) > kRails) choice = i;
    const Box face = bounds(found[choice].face.outer).grown(kEdgeStroke);
    const bool holds_copper =
        !copper.valid() || (face.contains({copper.x0, copper.y0}) && face.contains({copper.x1, copper.y1}));
    // Not a drawing's frame, then one that holds the copper, then the smallest: whatever the order of the files.
    const auto worth = [&](const OutlineCandidate& candidate, bool holds) {
      return std::tuple(ratio(candidate, box) > kFarLarger, !holds, candidate.area);
    };
    if (!best || worth(found[choice], holds_copper) < worth(best_found[best_choice], best_holds)) {
      best = entry;
      best_holds = holds_copper;
      best_choice = choice;
      best_found = std::move(found);
    }
    // Among files that only may draw the edge, the smallest face around all copper is the board's.
    if (ratio(best_found[best_choice], box) <= kFarLarger && edge_rank(*best) == 0) break;
  }
  if (best) return take_outline(*best, best_found, best_choice, box);
  if (cad_ && cad_->mechanics.outline) return reasons.push_back("the board edge is the profile of " + cad_->name);
  if (std::any_of(entries_.begin(), entries_.end(),
                  [](const Recognised& entry) { return entry.kind == FileKind::idf_board; }))
    return reasons.push_back(
        "no layer file holds a closed face around all pads. The board edge of the IDF file is used if it encloses "
        "them");
  reasons.push_back(
      "CHECK: no file holds a closed face around all pads. The box around the pads will be used as the board edge");
}

}  // namespace teasel
