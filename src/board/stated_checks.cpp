// What files say of themselves and of one another, place by place: roles, sides, holes, sizes of lands.
#include <algorithm>
#include <cmath>
#include <map>

#include "build.h"
#include "teasel/words.h"

namespace teasel {

std::optional<LayerRole> role_of_function(const std::string& function) {
  std::string text;
  for (const unsigned char letter : function) text += static_cast<char>(std::tolower(letter));
  auto says = [&](const char* part) { return text.find(part) != text.npos; };
  auto begins = [&](const char* part) { return text.rfind(part, 0) == 0; };
  const bool top = says(",top"), bottom = says(",bot");
  if (begins("copper")) {
    if (top) return LayerRole::copper_top;
    return bottom ? LayerRole::copper_bottom : LayerRole::copper_inner;
  }
  if (top || bottom) {
    if (begins("soldermask")) return top ? LayerRole::mask_top : LayerRole::mask_bottom;
    if (begins("paste")) return top ? LayerRole::paste_top : LayerRole::paste_bottom;
    if (begins("legend")) return top ? LayerRole::silk_top : LayerRole::silk_bottom;
  }
  if (begins("profile")) return LayerRole::outline;
  return std::nullopt;
}

namespace {
constexpr double kSamePlace = 0.05;  // mm
constexpr std::size_t kEnough = 10;

/// The role in the job against the file's own .FileFunction.
void check_stated_roles(const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  for (std::size_t i = 0; i < sources.gerbers.size() && i < job.inputs.gerbers.size(); ++i) {
    const GerberInput& layer = job.inputs.gerbers[i];
    const std::string function = sources.gerbers[i].file_attribute(".FileFunction");
    const auto stated = role_of_function(function);
    const bool counts = layer.role != LayerRole::ignore && layer.role != LayerRole::drawing;
    if (!stated || !counts || *stated == layer.role) continue;
    complain(job, diagnostics,
             {.code = "check-role-stated",
              .at = layer.place,
              .message = layer.file + " says of itself that it is another layer than the job file says",
              .found = ".FileFunction " + function + ", and role = \"" + to_string(layer.role) + "\"",
              .expected = "role = \"" + std::string(to_string(*stated)) + "\"",
              .remedy = "correct the role, or give the right file"});
  }
}

/// What is said where marks of one side fit the lands of the other.
struct SideQuestion {
  std::string file, what;
  Side side{};
};
void ask_side(const SideQuestion& question, const std::vector<Point>& points, const PerSide<std::vector<Point>>& lands,
              const Job& job, Diagnostics& diagnostics) {
  if (points.size() < kEnough || lands[question.side].empty() || lands[other(question.side)].empty()) return;
  const double here = share_met(points, lands[question.side], {}, kSamePlace),
               there = share_met(points, lands[other(question.side)], {}, kSamePlace);
  if (there < 0.8 || here > there - 0.4) return;
  complain(job, diagnostics,
           {.code = "check-sides-exchanged",
            .at = {question.file, 0, 0, {}},
            .message = percent(here) + " of the " + std::to_string(points.size()) + " " + question.what + " of the " +
                       to_string(question.side) + " side lie on lands of this side, and " + percent(there) +
                       " on lands of the other",
            .found = "two files may be exchanged",
            .remedy = "correct the roles of the copper, mask and paste layers"});
}

void check_sides(const Board& board, const Layers& layers, const Job& job, Diagnostics& diagnostics) {
  PerSide<std::vector<Point>> lands;
  for (const Side side : kBothSides) lands[side] = flash_centres(layers.copper[side]);
  for (const Side side : kBothSides) {
    std::vector<Point> pads;
    for (const Feature& feature : board.features)
      if (feature.kind == FeatureKind::smd_pad && feature.land[side].present && !feature.land[other(side)].present)
        pads.push_back(feature.at);
    if (!board.traced && !layers.copper[side].empty())
      ask_side({layers.copper[side].front().file().name, "surface pads of the netlist", side}, pads, lands, job,
               diagnostics);
    for (const LayerImage& mask : layers.mask[side])
      ask_side({mask.file().name, "mask openings", side}, flash_centres(mask.file()), lands, job, diagnostics);
    for (const LayerImage& paste : layers.paste[side])
      ask_side({paste.file().name, "paste openings", side}, flash_centres(paste.file()), lands, job, diagnostics);
  }
}

std::string hole_text(Mm diameter, Point at) {
  return short_number(diameter.v, 2) + " mm at (" + short_number(at.x, 3) + ", " + short_number(at.y, 3) + ")";
}

/// A board is placed by its large holes: each of them counts, whatever the many small ones say.
void check_large_holes(const Board& board, const PointGrid& drilled, const Job& job, const Sources& sources,
                       Diagnostics& diagnostics) {
  constexpr double kLarge = 1.5;  // mm; tooling holes begin there, common practice, no source
  std::size_t listed = 0, missed = 0;
  Few missing(5, ", "), sizes(5, ", ");
  for (const Feature& feature : board.features) {
    const double size = feature.netlist_hole.v;
    if (size < kLarge) continue;
    ++listed;
    const int near = drilled.nearest(feature.at, kSamePlace);
    if (near < 0) {
      ++missed;
      missing.add(hole_text(feature.netlist_hole, feature.at));
      continue;
    }
    const BoardHole& hole = board.holes[HoleId::of_number(near)];
    if (!hole.slot && std::abs(hole.diameter.v - size) > 0.1 + 0.05 * size)
      sizes.add(hole_text(feature.netlist_hole, feature.at) + " is drilled with " + short_number(hole.diameter.v, 2) +
                " mm");
  }
  const std::string message = "of " + plural(listed, "hole", "holes") + " of " + short_number(kLarge, 1) +
                              " mm and more in the netlist, " + std::to_string(missed) + " are not drilled there";
  if (missed && 2 * missed >= listed)
    complain(job, diagnostics,
             {.code = "check-large-holes",
              .at = {sources.netlist_file, 0, 0, {}},
              .message = message,
              .found = missing.text(),
              .remedy = "a drill file is shifted, mirrored, stretched or of another revision: give the right one"});
  else if (missed)
    diagnostics.warn({.code = "check-large-holes",
                      .at = {sources.netlist_file, 0, 0, {}},
                      .message = message,
                      .found = missing.text(),
                      .remedy = "check these holes before tooling pins are placed in them"});
  if (sizes.count())
    diagnostics.warn({.code = "check-large-holes",
                      .at = {sources.netlist_file, 0, 0, {}},
                      .message = plural(sizes.count(), "large hole differs", "large holes differ") +
                                 " in diameter between netlist and drill files. The drill files are used",
                      .found = sizes.text(),
                      .remedy = "check the tool table before pins are placed in them"});
}

/// A mask that leaves most of a face bare protects nothing, and no verdict about pads can rest on it.
void check_mask_bare(const Layers& layers, Side side, Diagnostics& diagnostics) {
  Box face;
  for (const LayerImage& copper : layers.copper[side]) face.add(formats::extents(copper.file()));
  if (!face.valid()) return;
  constexpr int kSteps = 50;
  constexpr double kMost = 0.6;  // openings cover a fifth of a face as a rule, common practice, no source
  for (const LayerImage& mask : layers.mask[side]) {
    int bare = 0;
    for (int i = 0; i < kSteps; ++i)
      for (int j = 0; j < kSteps; ++j)
        bare +=
            mask.dark(Point{face.x0 + (i + 0.5) * face.width() / kSteps, face.y0 + (j + 0.5) * face.height() / kSteps});
    const double share = static_cast<double>(bare) / (kSteps * kSteps);
    if (share > kMost)
      diagnostics.warn({.code = "check-mask-bare",
                        .at = {mask.file().name, 0, 0, {}},
                        .message = "the mask leaves " + percent(share) + " of the " + to_string(side) +
                                   " face bare, so all metal there counts as open to a probe",
                        .remedy = "look at the layer: an opening may be flooded, or the image may show mask"});
  }
}

/// Openings of a mask stand over their lands by the same small margin. Another margin, or none, shows a mask or a
/// copper layer whose apertures were changed.
void check_mask_margins(const Layers& layers, Side side, Diagnostics& diagnostics) {
  constexpr double kMost = 0.6, kLeast = -0.2;  // mm in diameter; 0.1 to 0.2 is usual (common practice, no source)
  for (const LayerImage& mask : layers.mask[side]) {
    std::vector<double> margins;
    for (const formats::GerberObject& opening : mask.file().objects) {
      if (opening.kind != formats::GerberObject::Kind::flash || !opening.dark) continue;
      for (const LayerImage& copper : layers.copper[side])
        if (const auto* land = copper.flash_at(opening.start, Mm{0.02})) {
          auto least = [](const formats::GerberFile& file, const formats::GerberObject& object) {
            const Box box = formats::box_of(file, object);
            return std::min(box.width(), box.height());
          };
          margins.push_back(least(mask.file(), opening) - least(copper.file(), *land));
          break;
        }
    }
    if (margins.size() < kEnough) continue;
    std::nth_element(margins.begin(), margins.begin() + static_cast<std::ptrdiff_t>(margins.size() / 2), margins.end());
    const double margin = margins[margins.size() / 2];
    if (margin >= kLeast && margin <= kMost) continue;
    diagnostics.warn({.code = "check-mask-margins",
                      .at = {mask.file().name, 0, 0, {}},
                      .message = margin > 0 ? "the openings of the mask are far larger than their lands"
                                            : "the openings of the mask are smaller than their lands",
                      .found = "half of " + std::to_string(margins.size()) + " openings differ from their lands by " +
                               short_number(margin, 2) + " mm or " + (margin > 0 ? "more" : "less"),
                      .remedy =
                          "one of the two layers is of another revision, or its apertures were changed: ask for the "
                          "right file"});
  }
}

/// Holes of the netlist that no file drills: a file that is cut off or missing shows so.
void check_all_drilled(const Board& board, const PointGrid& drilled, const Sources& sources, Diagnostics& diagnostics) {
  if (sources.vias_missing) return;
  std::size_t listed = 0;
  Few missing(3, ", ");
  for (const Feature& feature : board.features) {
    if (feature.netlist_hole <= Mm{}) continue;
    ++listed;
    if (drilled.nearest(feature.at, kSamePlace) < 0) missing.add(hole_text(feature.netlist_hole, feature.at));
  }
  constexpr double kFew = 0.01;  // single ones are slots and castellations that the writer places elsewhere
  if (static_cast<double>(missing.count()) <= kFew * static_cast<double>(listed)) return;
  diagnostics.warn({.code = "check-holes-undrilled",
                    .at = {sources.netlist_file, 0, 0, {}},
                    .message = "of " + plural(listed, "hole", "holes") + " of the netlist, " +
                               std::to_string(missing.count()) + " are drilled by no file",
                    .found = missing.text(),
                    .remedy = "look for a drill file that is missing or cut off"});
}

/// Holes of the netlist against those that are drilled, where there are files of both.
void check_netlist_holes(const Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  if (!sources.netlist || (sources.drills.empty() && sources.other_holes.empty())) return;
  PointGrid drilled(0.5);
  for (const HoleId id : board.holes.ids()) drilled.add(0.5 * (board.holes[id].at + board.holes[id].end), id.number());
  check_large_holes(board, drilled, job, sources, diagnostics);
  check_all_drilled(board, drilled, sources, diagnostics);
}

/// A land wider than the hole is the hole's own, off its middle.
bool is_smaller(const Feature& feature, const BoardHole& hole) {
  return std::all_of(feature.land.begin(), feature.land.end(), [&](const Land& land) {
    return !land.present || std::max(land.width, land.height) < hole.diameter;
  });
}

/// No hole swallows the lands of others.
void check_holes_over_lands(const Board& board, const Job& job, Diagnostics& diagnostics) {
  PointGrid lands(5.0);
  for (const FeatureId id : board.features.ids())
    if (board.features[id].land[Side::top].present || board.features[id].land[Side::bottom].present)
      lands.add(board.features[id].at, id.number());
  Few swallowed(3, "; ");
  bool of_parts = false;
  for (const BoardHole& hole : board.holes) {
    constexpr double kOwn = 0.3;  // mm; a land about the hole itself
    if (hole.slot || hole.blind) continue;
    for (const std::size_t near : lands.around(hole.at)) {
      const Feature& feature = board.features[FeatureId{near}];
      const double off = distance(feature.at, hole.at);
      if (off < kOwn || off > 0.45 * hole.diameter.v || feature.kind == FeatureKind::unplated_hole ||
          !is_smaller(feature, hole))
        continue;
      of_parts |= feature.kind != FeatureKind::via;
      swallowed.add(hole_text(hole.diameter, hole.at) + " (" + to_string(hole.place) + ") takes away " + feature.name);
      break;
    }
  }
  if (!swallowed.count()) return;
  const std::string message = plural(swallowed.count(), "hole takes", "holes take") + " away lands that are drawn";
  // Some boards do have a hole through a via. No board has one through a pad of a part.
  if (of_parts)
    complain(job, diagnostics,
             {.code = "check-hole-over-lands",
              .at = {job.file, 0, 0, "inputs.drill"},
              .message = message,
              .found = swallowed.text(),
              .remedy = "correct the unit or the tools of the drill file"});
  else
    diagnostics.warn({.code = "check-hole-over-lands",
                      .at = {job.file, 0, 0, "inputs.drill"},
                      .message = message,
                      .found = swallowed.text(),
                      .remedy = "look at these holes in the drill file"});
}

/// Sizes of lands, aperture by aperture, against the netlist.
void check_land_sizes(const Board& board, const Layers& layers, Side side, Diagnostics& diagnostics) {
  struct Group {
    std::size_t pads = 0, off = 0;
    std::string first;
  };
  for (const LayerImage& image : layers.copper[side]) {
    const formats::GerberFile& file = image.file();
    std::map<std::uint32_t, Group> groups;
    for (const Feature& feature : board.features) {
      const Land& land = feature.land[side];
      if (feature.kind != FeatureKind::smd_pad || !land.present || land.width <= Mm{}) continue;
      const formats::GerberObject* flash = image.flash_at(feature.at, Mm{0.02});
      if (!flash) continue;
      const formats::GerberAperture& aperture = file.apertures[flash->shape];
      using Kind = formats::GerberAperture::Kind;
      if (aperture.kind != Kind::circle && aperture.kind != Kind::rectangle && aperture.kind != Kind::obround) continue;
      const Mm height = land.height > Mm{} ? land.height : land.width;
      const double drawn =
                       std::min(aperture.width.v, aperture.kind == Kind::circle ? aperture.width.v : aperture.height.v),
                   listed = std::min(land.width, height).v;
      Group& group = groups[flash->shape];
      ++group.pads;
      if (std::abs(drawn - listed) <= 0.05 + 0.2 * listed) continue;
      if (group.off++ == 0)
        group.first = feature.name + ": " + short_number(listed, 3) + " mm in the netlist, " + short_number(drawn, 3) +
                      " mm drawn by D" + std::to_string(aperture.code);
    }
    Few apertures(3, "; ");
    for (const auto& [shape, group] : groups)
      if (group.pads >= 3 && group.off * 10 >= group.pads * 9) apertures.add(group.first);
    if (apertures.count())
      diagnostics.warn({.code = "check-land-sizes",
                        .at = {file.name, 0, 0, {}},
                        .message = plural(apertures.count(), "aperture draws", "apertures draw") +
                                   " lands of another size than the netlist states. The drawn size is used",
                        .found = apertures.text(),
                        .remedy = "one of the two is of another revision, or the aperture was changed: ask for the "
                                  "right file"});
  }
}
}  // namespace

void check_statements(const Board& board, const Layers& layers, const Job& job, const Sources& sources,
                      Diagnostics& diagnostics) {
  check_stated_roles(job, sources, diagnostics);
  check_sides(board, layers, job, diagnostics);
  for (const Side side : kBothSides) {
    check_mask_bare(layers, side, diagnostics);
    check_mask_margins(layers, side, diagnostics);
  }
  check_netlist_holes(board, job, sources, diagnostics);
  check_holes_over_lands(board, job, diagnostics);
  if (!board.traced)
    for (const Side side : kBothSides) check_land_sizes(board, layers, side, diagnostics);
}

}  // namespace teasel
