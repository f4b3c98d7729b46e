// What a few statements missing from a layer file leave behind: pads under closed mask, paste over closed mask or over
// no copper, openings over nothing. One such place is a fault of the layout or of the file, and a probe would meet it.
#include "build.h"
#include "teasel/words.h"

namespace teasel {

namespace {
// Shares beyond which the file belongs elsewhere or is meant so, and other checks speak.
constexpr double kMany = 0.3, kManyLeads = 0.15;

bool is_dark(const std::vector<LayerImage>& images, Point at) {
  return std::any_of(images.begin(), images.end(), [&](const LayerImage& image) { return image.dark(at); });
}
std::string at_place(Point at) {
  return "(" + short_number(at.x, 2) + ", " + short_number(at.y, 2) + ")";
}

/// Pads of parts that the mask covers, where it opens nearly all of their kind. Leads are covered on one side now and
/// then, and on purpose, but then most of them are.
void check_pads(const Board& board, const Layers& layers, Side side, FeatureKind kind, Diagnostics& diagnostics) {
  const auto& mask = layers.mask[side];
  if (mask.empty() || board.traced) return;
  const bool surface = kind == FeatureKind::smd_pad;
  Few closed(4);
  std::size_t pads = 0;
  for (const Feature& feature : board.features) {
    if (!feature.land[side].present || feature.kind != kind || !feature.component) continue;
    ++pads;
    if (!is_dark(mask, feature.at)) closed.add(feature.name);
  }
  const double most = (surface ? kMany : kManyLeads) * static_cast<double>(pads);
  if (!closed.count() || static_cast<double>(closed.count()) > most) return;
  diagnostics.warn({.code = "check-mask-gaps",
                    .at = {mask[0].file().name, 0, 0, {}},
                    .message = "the mask covers " +
                               (surface ? plural(closed.count(), "surface pad", "surface pads")
                                        : plural(closed.count(), "lead", "leads")) +
                               " of parts on the " + to_string(side) + " side, and opens the other " +
                               std::to_string(pads - closed.count()),
                    .found = closed.text(),
                    .remedy = "look whether the file is complete. These pads are taken as covered"});
}

/// Paste is printed through openings onto copper: each contradiction is one of the three files.
void check_paste(const Layers& layers, Side side, Diagnostics& diagnostics) {
  const auto &mask = layers.mask[side], &copper = layers.copper[side];
  for (const LayerImage& paste : layers.paste[side]) {
    Few on_mask(4, "; "), on_nothing(4, "; ");
    const std::vector<Point> flashes = flash_centres(paste.file());
    for (const Point at : flashes) {
      if (!copper.empty() && !is_dark(copper, at))
        on_nothing.add(at_place(at));
      else if (!mask.empty() && !is_dark(mask, at))
        on_mask.add(at_place(at));
    }
    const auto few = [&](const Few& some) {
      return some.count() && static_cast<double>(some.count()) <= kMany * static_cast<double>(flashes.size());
    };
    for (const auto& [some, what, file] : {std::tuple{&on_mask, "a closed mask", mask.empty() ? &paste : &mask[0]},
                                           {&on_nothing, "no copper", copper.empty() ? &paste : &copper[0]}})
      if (few(*some))
        diagnostics.warn({.code = "check-paste-gaps",
                          .at = {file->file().name, 0, 0, {}},
                          .message = plural(some->count(), "paste opening lies", "paste openings lie") + " over " +
                                     what + " on the " + to_string(side) + " side, of " +
                                     std::to_string(flashes.size()),
                          .found = some->text(),
                          .remedy = "look whether this file or the paste is complete and of this revision"});
  }
}

/// Openings as large as lands under which nothing lies.
void check_openings(const Board& board, const Layers& layers, Side side, Diagnostics& diagnostics) {
  const auto& copper = layers.copper[side];
  if (copper.empty()) return;
  for (const LayerImage& mask : layers.mask[side]) {
    if (mask.shows_mask()) continue;
    Few bare(4, "; ");
    const std::vector<Point> flashes = flash_centres(mask.file());
    for (const Point at : flashes) {
      if (is_dark(copper, at) || !contains(Polygons{board.outline}, at)) continue;
      const bool drilled = std::any_of(board.holes.begin(), board.holes.end(), [&](const BoardHole& hole) {
        return distance_to_segment(at, hole.at, hole.end) < hole.diameter.v / 2 + 0.1;
      });
      if (!drilled) bare.add(at_place(at));
    }
    if (!bare.count() || static_cast<double>(bare.count()) > kMany * static_cast<double>(flashes.size())) continue;
    diagnostics.warn({.code = "check-openings-bare",
                      .at = {copper[0].file().name, 0, 0, {}},
                      .message = plural(bare.count(), "mask opening lies", "mask openings lie") +
                                 " over no copper on the " + to_string(side) + " side, of " +
                                 std::to_string(flashes.size()),
                      .found = bare.text(),
                      .remedy = "look whether the copper file is complete and of this revision"});
  }
}
}  // namespace

void check_gaps_in_files(const Board& board, const Layers& layers, Diagnostics& diagnostics) {
  for (const Side side : kBothSides) {
    for (const FeatureKind kind : {FeatureKind::smd_pad, FeatureKind::lead})
      check_pads(board, layers, side, kind, diagnostics);
    check_paste(layers, side, diagnostics);
    check_openings(board, layers, side, diagnostics);
  }
}

}  // namespace teasel
