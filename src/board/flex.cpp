// The parts of a board that bend: as the job draws them, or as layers for flexible parts, rigid parts and stiffeners
// do.
#include "build.h"

namespace teasel {

namespace {
// mm. Strokes of hatching or of a torn contour this near to one another are one area; what is thinner than this is the
// stroke of a line and no area. Chosen, no source.
constexpr double kJoined = 0.3, kThin = 0.4;
constexpr double kLeastArea = 1.0;            // mm2
constexpr std::size_t kMostObjects = 20'000;  // of such a layer

/// All that a layer's contours enclose, and all that it fills.
Polygons drawn(const formats::GerberFile& file, const Polygon& outline) {
  const LayerImage image(file, false);
  Polygons filled;
  for (const Polygon& painted : offset(offset(image.window(bounds(outline.outer).grown(1)), kJoined), -kJoined))
    filled.push_back({painted.outer, {}});
  Polygons out;
  for (Polygon& piece : offset(offset(unite(filled), -kThin / 2), kThin / 2))
    if (area(piece) >= kLeastArea) out.push_back(std::move(piece));
  return out;
}

/// What the layers of one role draw together. `any`: there is such a layer.
Polygons drawn_by(LayerRole role, const Board& board, const Sources& sources, bool& any, Diagnostics& diagnostics) {
  Polygons out;
  for (std::size_t i = 0; i < sources.layers.size(); ++i) {
    if (sources.layers[i].role != role) continue;
    any = true;
    const formats::GerberFile& file = sources.gerbers[i];
    const Polygons areas = file.objects.size() > kMostObjects ? Polygons{} : drawn(file, board.outline);
    if (areas.empty())
      diagnostics.warn({.code = "flex-layer-empty",
                        .at = {sources.layers[i].file, 0, 0, {}},
                        .message = std::string("this layer is given as ") + to_string(role) +
                                   ", but no closed area of it could be read. It is left out",
                        .found = std::to_string(file.objects.size()) + " objects",
                        .remedy = "draw the parts that bend in  [[flex]]"});
    out = unite(out, areas);
  }
  return out;
}

/// Adds the areas inside the board, without what stiffeners hold. Each is a part of its own.
void add_parts(Board& board, const std::string& name, const Polygons& where, const Polygons& stiffened, bool backed) {
  const Polygons inside = subtract(intersect(where, {board.outline}), stiffened);
  std::vector<Polygon> kept;
  for (const Polygon& piece : inside)
    if (area(piece) >= kLeastArea) kept.push_back(piece);
  for (std::size_t i = 0; i < kept.size(); ++i)
    board.flex.push_back(
        {.name = name + (kept.size() > 1 ? " " + std::to_string(i + 1) : ""), .area = {kept[i]}, .backed = backed});
}

void tell(const Board& board, const Job& job, Diagnostics& diagnostics) {
  double bends = 0, free = 0;
  for (const FlexPart& part : board.flex) {
    bends += area(part.area);
    if (!part.backed) free += area(part.area);
  }
  const double whole = area(board.outline);
  diagnostics.note({.code = "flex-parts",
                    .at = {job.file, 0, 0, "flex"},
                    .message = "parts of the board bend. Probes, stops, push fingers and tooling pins stand only on "
                               "those that something holds from behind, and bending is worked out without any of them",
                    .found = std::to_string(board.flex.size()) + " parts, " + short_number(bends, 1) + " of " +
                             short_number(whole, 1) + " mm2, " + short_number(free, 1) + " mm2 with nothing behind",
                    .remedy = "state  backed = true  in  [[flex]]  where a stiffener or the fixture holds one"});
  if (free > 0.98 * whole)
    diagnostics.warn({.code = "flex-whole-board",
                      .at = {job.file, 0, 0, "flex"},
                      .message = "all of the board bends and nothing holds it from behind, so no probe can touch it",
                      .found = short_number(free, 1) + " of " + short_number(whole, 1) + " mm2",
                      .remedy = "state  backed = true  in  [[flex]]  if a carrier holds the whole circuit"});
}
}  // namespace

void add_flex(Board& board, const Job& job, const Sources& sources, Diagnostics& diagnostics) {
  bool any_flex = false, any_rigid = false, any_stiffener = false;
  const Polygons stiffened = drawn_by(LayerRole::stiffener, board, sources, any_stiffener, diagnostics);
  const Polygons bends = drawn_by(LayerRole::flex, board, sources, any_flex, diagnostics),
                 rigid = drawn_by(LayerRole::rigid, board, sources, any_rigid, diagnostics);
  Polygons by_hand;
  for (const Flex& flex : job.decisions.flex) {
    add_parts(board, flex.name, flex.area, by_hand, flex.backed);
    by_hand = unite(by_hand, flex.area);
  }
  const Polygons said = unite(by_hand, stiffened);
  if (!bends.empty()) add_parts(board, "flexible part", bends, said, false);
  if (!rigid.empty())
    add_parts(board, "part between rigid ones", subtract({board.outline}, unite(rigid, bends)), said, false);
  if (any_stiffener && board.flex.empty())
    diagnostics.warn({.code = "flex-not-told",
                      .at = {job.file, 0, 0, "flex"},
                      .message = "a stiffener is drawn, so parts of the board bend, but no file says which. All of the "
                                 "board is taken as stiff",
                      .found = short_number(area(stiffened), 1) + " mm2 of stiffeners",
                      .remedy = "draw the parts that bend in  [[flex]], or name the layer that does in  "
                                "[[inputs.gerber]]  with  role = \"flex\"  or  \"rigid\""});
  if (!board.flex.empty()) tell(board, job, diagnostics);
}

namespace {
Polygons area_of_flex(const Board& board, bool backed_too) {
  Polygons out;
  for (const FlexPart& part : board.flex)
    if (backed_too || !part.backed) out.insert(out.end(), part.area.begin(), part.area.end());
  return unite(out);
}
}  // namespace

Polygons Board::stiff() const {
  return flex.empty() ? pieces : subtract(pieces, area_of_flex(*this, true));
}

Polygons Board::holdable() const {
  Polygons all = pieces;
  all.insert(all.end(), rails.begin(), rails.end());
  if (flex.empty()) return all;
  Polygons out;
  // Piece by piece: a foot does not stand across a gap, nor across the seam of two boards.
  const Polygons bends = area_of_flex(*this, false);
  for (const Polygon& piece : all)
    for (Polygon& left : subtract({piece}, bends)) out.push_back(std::move(left));
  return out;
}

}  // namespace teasel
