// Which copper lies bare: copper within mask opening, the hole cut out.
#include <algorithm>
#include <map>
#include <tuple>

#include "build.h"
#include "teasel/box_index.h"
#include "teasel/parallel.h"
#include "teasel/words.h"
#include "union_find.h"

namespace teasel {

namespace {
constexpr double kLargestHalf = 8.0;  // a land is looked at within this distance of its point
constexpr double kSameCircle = 0.05;  // the land centre serves as aim if no more than this is lost against the best

Polygon frame_of(const Box& box) {
  return {{{box.x0, box.y0}, {box.x1, box.y0}, {box.x1, box.y1}, {box.x0, box.y1}}, {}};
}

/// Between the edges of a pad and of the mask's opening about it.
Mm least_gap(const Polygons& pad, const Box& window, const Polygons& opening) {
  const Polygons mask = subtract({frame_of(window)}, opening);
  return mask.empty() ? Mm{kLargestHalf} : Mm{distance_between(pad, mask)};
}

/// The same of metal that no pad stands out from: what three tenths of its edge lie nearer than. Traces cross the
/// opening's edge, and take up less of it.
std::optional<Mm> usual_gap(const Polygons& metal, const Polygons& opening) {
  constexpr double kStep = 0.05, kTraces = 0.3;
  std::vector<double> gaps;
  for (const Polygon& piece : metal)
    for (std::size_t i = 0; i < piece.outer.size(); ++i) {
      const Point from = piece.outer[i], way = piece.outer[(i + 1) % piece.outer.size()] - from;
      const int steps = std::max(1, static_cast<int>(length(way) / kStep));
      for (int k = 0; k < steps; ++k) gaps.push_back(distance_to_boundary(opening, from + (k / (1.0 * steps)) * way));
    }
  if (gaps.empty()) return std::nullopt;
  const auto at = gaps.begin() + static_cast<std::ptrdiff_t>(kTraces * static_cast<double>(gaps.size()));
  std::nth_element(gaps.begin(), at, gaps.end());
  return Mm{*at};
}

struct Found {
  Exposure exposure;
  bool present = false, covered = false, mask = true;
};

Polygons land_area(const Feature& feature, const Land& land) {
  const double width = std::max(land.width.v, 0.01), height = std::max(land.height.v, 0.01);
  const double angle = land.rotation.v * 3.14159265358979323846 / 180, cosine = std::cos(angle), sine = std::sin(angle);
  const Polygons shape{{land.round ? circle({}, width / 2) : rectangle({}, width, height), {}}};
  return transformed(shape, {cosine, -sine, sine, cosine, feature.at.x, feature.at.y});
}

/// The finished hole, round or a slot.
Polygons hole_of(const Feature& feature) {
  if (feature.slot == Point{}) return {{circle(feature.at, feature.hole.v / 2), {}}};
  std::vector<Point> pts = circle(feature.at - feature.slot, feature.hole.v / 2);
  const Ring end = circle(feature.at + feature.slot, feature.hole.v / 2);
  pts.insert(pts.end(), end.begin(), end.end());
  return {{convex_hull(std::move(pts)), {}}};
}

/// The part of an area that belongs to the feature: that which holds its point, or, where the hole took the point
/// away, that which rings it or lies nearest.
Polygons part_at(const Polygons& area, const Feature& feature) {
  const Polygon* best = nullptr;
  double bd = feature.hole.v / 2 + 0.1;
  for (const Polygon& polygon : area) {
    if (winding_number(polygon.outer, feature.at) != 0) return {polygon};
    const double dist = distance_to_boundary({{polygon.outer, {}}}, feature.at);
    if (dist < bd) {
      bd = dist;
      best = &polygon;
    }
  }
  return best && feature.hole > Mm{} ? Polygons{*best} : Polygons{};
}

Polygons without_own_hole(const Polygons& area, const Feature& feature) {
  if (feature.hole <= Mm{}) return area;
  Polygons out = area;
  for (Polygon& polygon : out)
    polygon.holes.erase(std::remove_if(polygon.holes.begin(), polygon.holes.end(),
                                       [&](const Ring& ring) { return winding_number(ring, feature.at) != 0; }),
                        polygon.holes.end());
  return out;
}

void aim(Exposure& exposure, const Feature& feature) {
  const double own = contains(exposure.contact, feature.at) ? distance_to_boundary(exposure.contact, feature.at) : 0;
  const Box box = bounds(exposure.contact);
  // No circle inside is larger than half the narrower side of the box: often the centre is as good as can be.
  const bool sure = own >= (1 - kSameCircle) * std::min(box.width(), box.height()) / 2;
  const Circle best = sure ? Circle{feature.at, own} : largest_inscribed_circle(exposure.contact[0], 0.002);
  const bool use_centre = own >= best.radius * (1 - kSameCircle) || (feature.hole > Mm{} && own > 0);
  const Point at = use_centre ? feature.at : best.centre;
  // Aim points stand on a 1 um grid, the resolution of every list and drill file, so that all of them agree exactly.
  exposure.aim = {std::round(at.x * 1000) / 1000, std::round(at.y * 1000) / 1000};
  exposure.diameter = Mm{2 * (use_centre ? own : best.radius)};
}

class Exposer {
 public:
  Exposer(const Board& board, const Layers& layers, const std::string& mask_meaning)
      : board_(board), layers_(layers), meaning_(mask_meaning) {}

  Found look(FeatureId id, Side side) const {
    const Feature& feature = board_.features[id];
    Found found;
    if (!feature.land[side].present || feature.kind == FeatureKind::unplated_hole) return found;
    found.exposure.feature = id;
    found.exposure.side = side;
    found.exposure.place_sigma = feature.place_sigma;
    const auto& mask = layers_.mask[side];
    if (!mask.empty()) {
      if (std::none_of(mask.begin(), mask.end(), [&](const LayerImage& image) { return image.dark(feature.at); })) {
        found.covered = true;
        return found;
      }
    } else if (!open_by_netlist(feature, side)) {
      found.covered = true;
      return found;
    }
    shape(found, feature, side);
    return found;
  }

 private:
  bool open_by_netlist(const Feature& feature, Side side) const {
    const int bit = side == Side::top ? 1 : 2;
    if (feature.mask_code < 0 || meaning_.empty() || meaning_ == "ignore") return feature.kind != FeatureKind::via;
    const bool set = feature.mask_code & bit;
    return meaning_ == "open" ? set : !set;
  }

  void shape(Found& found, const Feature& feature, Side side) const {
    Exposure& exposure = found.exposure;
    Box window = bounds(land_area(feature, feature.land[side]));
    // A pad may stand off its hole.
    Polygons flash;
    for (const auto& image : layers_.copper[side]) {
      const auto* object = image.flash_at(feature.at, Mm{0.03});
      if (!object) object = image.flash_over(feature.at);
      if (!object) continue;
      flash = formats::area_of(image.file(), *object);
      window.add(formats::box_of(image.file(), *object));
    }
    window = window.grown(0.1);
    window = {std::max(window.x0, feature.at.x - kLargestHalf), std::max(window.y0, feature.at.y - kLargestHalf),
              std::min(window.x1, feature.at.x + kLargestHalf), std::min(window.y1, feature.at.y + kLargestHalf)};
    Polygons copper;
    exposure.from_layers = !layers_.copper[side].empty();
    if (!exposure.from_layers) copper = land_area(feature, feature.land[side]);
    for (const auto& image : layers_.copper[side]) {
      Polygons part = image.window(window);
      copper = copper.empty() ? part : unite(copper, part);
    }
    const Polygons drilled = feature.hole > Mm{} ? subtract(copper, hole_of(feature)) : copper;
    Polygons land = part_at(drilled, feature);
    if (land.empty()) {
      found.covered = true;
      found.mask = false;
      return;
    }
    if (layers_.mask[side].empty()) {
      exposure.copper = land;
    } else {
      Polygons opening;
      for (const auto& image : layers_.mask[side]) {
        Polygons part = image.window(window);
        opening = opening.empty() ? part : unite(opening, part);
      }
      exposure.copper = part_at(intersect(land, opening), feature);
      if (exposure.copper.empty()) {
        found.covered = true;
        return;
      }
      // The mask forms the edge where the pad proper (its flash) is not wholly open.
      const Polygons& pad = flash.empty() ? land : flash;
      const Polygons metal = feature.hole > Mm{} ? subtract(pad, hole_of(feature)) : pad;
      exposure.mask_defined = area(intersect(metal, opening)) < 0.98 * area(metal);
      if (!exposure.mask_defined)
        exposure.mask_gap = flash.empty() ? usual_gap(exposure.copper, opening) : least_gap(pad, window, opening);
    }
    exposure.contact = without_own_hole(exposure.copper, feature);
    for (const auto& image : layers_.paste[side]) {
      exposure.pasted |= image.dark(feature.at);
      // Large lands get their paste in panes. Where parts are unknown, any paste tells that one is soldered on.
      if (board_.traced && !exposure.pasted)
        exposure.pasted = !intersect(image.window(bounds(exposure.copper)), exposure.copper).empty();
    }
    aim(exposure, feature);
    found.present = true;
  }

  const Board& board_;
  const Layers& layers_;
  std::string meaning_;
};
}  // namespace

Layers images(const Sources& sources) {
  Layers layers;
  struct Wanted {
    std::vector<LayerImage>* into;
    std::size_t file;
    bool inverted;
  };
  std::vector<Wanted> wanted;
  for (std::size_t i = 0; i < sources.layers.size(); ++i) {
    const GerberInput& in = sources.layers[i];
    const bool inv = in.mask_image_inverted;
    switch (in.role) {
      case LayerRole::copper_top: wanted.push_back({&layers.copper[Side::top], i, in.clearances}); break;
      case LayerRole::copper_bottom: wanted.push_back({&layers.copper[Side::bottom], i, in.clearances}); break;
      case LayerRole::mask_top: wanted.push_back({&layers.mask[Side::top], i, inv}); break;
      case LayerRole::mask_bottom: wanted.push_back({&layers.mask[Side::bottom], i, inv}); break;
      case LayerRole::paste_top: wanted.push_back({&layers.paste[Side::top], i, false}); break;
      case LayerRole::paste_bottom: wanted.push_back({&layers.paste[Side::bottom], i, false}); break;
      default: break;
    }
  }
  std::vector<std::unique_ptr<LayerImage>> made(wanted.size());
  parallel_for(
      wanted.size(),
      [&](std::size_t i) {
        made[i] = std::make_unique<LayerImage>(sources.gerbers[wanted[i].file], wanted[i].inverted);
      },
      1);
  for (std::size_t i = 0; i < wanted.size(); ++i) wanted[i].into->push_back(std::move(*made[i]));
  return layers;
}

/// Boxes that touch one another, group by group: lettering in a mask is thousands of strokes over one another.
std::vector<std::vector<Box>> touching(const std::vector<Box>& boxes) {
  const BoxIndex index(boxes);
  UnionFind sets(boxes.size());
  std::vector<std::uint32_t> near;
  for (std::size_t i = 0; i < boxes.size(); ++i) {
    near.clear();
    index.find(boxes[i], near);
    for (const std::uint32_t k : near) sets.join(static_cast<std::uint32_t>(i), k);
  }
  std::map<std::uint32_t, std::size_t> row;
  std::vector<std::vector<Box>> groups;
  for (std::size_t i = 0; i < boxes.size(); ++i) {
    const auto [it, fresh] = row.emplace(sets.find(static_cast<std::uint32_t>(i)), groups.size());
    if (fresh) groups.emplace_back();
    groups[it->second].push_back(boxes[i]);
  }
  return groups;
}

/// Copper under these openings of the mask, which touch one another.
Polygons bare_in(const Layers& layers, Side side, const std::vector<Box>& openings) {
  constexpr double kSpeck = 0.002;  // mm^2
  Box whole;
  for (const Box& box : openings) whole.add(box);
  Polygons copper, opening;
  for (const LayerImage& image : layers.copper[side]) copper = unite(copper, image.window(whole));
  if (copper.empty()) return {};
  for (const LayerImage& image : layers.mask[side]) opening = unite(opening, image.window(whole));
  Polygons bare = intersect(copper, opening);
  if (openings.size() > 1) {
    // What the box about all of them holds besides belongs to others.
    Polygons own;
    for (const Box& box : openings) own.push_back(frame_of(box));
    bare = intersect(bare, unite(own));
  }
  return area(bare) > kSpeck ? bare : Polygons{};
}

/// Openings of the mask over copper where the board's list puts no land: shields, logos, lands that dropped out.
void add_bare_metal(Board& single, const Layers& layers) {
  constexpr std::size_t kMost = 20'000;  // openings looked at on one side
  for (const Side side : {Side::top, Side::bottom}) {
    if (layers.mask[side].empty() || layers.copper[side].empty()) continue;
    std::vector<Box> known;
    for (const Exposure& exposure : single.exposures)
      if (exposure.side == side) known.push_back(bounds(exposure.copper));
    const BoxIndex pads(known);
    const Box board = bounds(single.outline.outer);
    std::vector<Box> openings;
    for (const LayerImage& image : layers.mask[side]) {
      if (image.shows_mask()) continue;  // openings are what is not drawn: no object stands for one
      for (const auto& object : image.file().objects) {
        const Box box = formats::box_of(image.file(), object);
        if (!object.dark || !box.valid() || !board.contains(box.centre()) || box.width() > 2 * kLargestHalf ||
            box.height() > 2 * kLargestHalf)
          continue;
        openings.push_back(box);
      }
    }
    // The same opening flashed twice is one.
    auto key = [](const Box& x) { return std::tuple{x.x0, x.y0, x.x1, x.y1}; };
    std::sort(openings.begin(), openings.end(), [&](const Box& x, const Box& y) { return key(x) < key(y); });
    openings.erase(
        std::unique(openings.begin(), openings.end(), [&](const Box& x, const Box& y) { return key(x) == key(y); }),
        openings.end());
    if (openings.size() > kMost) openings.resize(kMost);
    openings.erase(std::remove_if(openings.begin(), openings.end(),
                                  [&](const Box& opening) {
                                    std::vector<std::uint32_t> near;
                                    pads.find(opening, near);
                                    return !near.empty();  // a pad's opening
                                  }),
                   openings.end());
    const std::vector<std::vector<Box>> groups = touching(openings);
    std::vector<Polygons> found(groups.size());
    parallel_for(
        groups.size(), [&](std::size_t i) { found[i] = bare_in(layers, side, groups[i]); }, 16);
    for (Polygons& polygons : found)
      if (!polygons.empty()) single.bare_metal.push_back({side, std::move(polygons)});
  }
}

void add_exposures(Board& board, const Layers& layers, const Job& job, const Sources& sources,
                   Diagnostics& diagnostics) {
  std::string meaning = sources.netlist_mask, evidence;
  const bool both_masks = !layers.mask[Side::top].empty() && !layers.mask[Side::bottom].empty();
  if (sources.netlist && meaning.empty()) meaning = mask_field_meaning(*sources.netlist, &evidence);
  if (!both_masks && sources.netlist) {
    if (meaning.empty())
      diagnostics.warn({.code = "board-mask-unknown",
                        .at = {sources.netlist->name, 0, 0, {}},
                        .message = "no mask layer is given, and the netlist's mask field has no clear meaning. Pads "
                                   "are taken as open and vias as covered",
                        .found = evidence,
                        .remedy = "name the mask layers, or set  [inputs.netlist] mask_field"});
    else if (!layers.mask[Side::top].empty() || !layers.mask[Side::bottom].empty())
      diagnostics.warn({.code = "board-mask-one-side",
                        .at = {sources.netlist->name, 0, 0, {}},
                        .message = std::string("no mask layer is given for the ") +
                                   (layers.mask[Side::top].empty() ? "top" : "bottom") +
                                   " side. Its openings are taken from the netlist, which tells what the part library "
                                   "intended and not what is manufactured",
                        .found = "a set S bit means " + meaning + "; " + evidence,
                        .remedy = "name the mask layer of that side"});
    else
      diagnostics.note(
          {.code = "board-mask-by-netlist",
           .at = {sources.netlist->name, 0, 0, {}},
           .message =
               "the mask openings of a side without a mask layer are taken from the netlist, where a set S bit means " +
               meaning,
           .found = evidence,
           .remedy = "override it with  [inputs.netlist] mask_field"});
  }
  const Exposer exposer(board, layers, meaning);
  std::vector<Found> found(board.features.size() * 2);
  parallel_for(
      found.size(), [&](std::size_t i) { found[i] = exposer.look(FeatureId{i / 2}, kBothSides[i % 2]); }, 64);
  for (auto& one : found) {
    if (one.present) board.exposures.push_back(std::move(one.exposure));
    if (one.covered) board.covered.push_back({one.exposure.feature, one.exposure.side, one.mask});
  }
  add_bare_metal(board, layers);
  if (!board.bare_metal.empty()) {
    Few places;
    for (const BareMetal& metal : board.bare_metal) {
      const Point centre = bounds(metal.copper).centre();
      places.add(std::string(to_string(metal.side)) + " (" + short_number(centre.x, 2) + ", " +
                 short_number(centre.y, 2) + ")");
    }
    diagnostics.note(
        {.code = "board-bare-metal",
         .at = {job.file, 0, 0, "inputs.gerber"},
         .message = "copper is exposed where the board has no pad. Probes keep away from it, and none lands on it",
         .found = plural(places.count(), "place: ", "places: ") + places.text()});
  }
  const auto alike = std::count_if(board.exposures.begin(), board.exposures.end(),
                                   [](const Exposure& exposure) { return exposure.drawn_alike(); });
  if (alike > 0)
    diagnostics.note(
        {.code = "board-mask-as-pads",
         .at = {job.file, 0, 0, "inputs.gerber"},
         .message = "openings of the mask are drawn as large as their pads. They are taken as widened by the maker of "
                    "the board",
         .found = std::to_string(alike) + " of " + plural(board.exposures.size(), "pad", "pads"),
         .remedy = "ask the maker by how much (rule_changes errors.mask_swell); 0 mm where they are made as drawn, and "
                   "a mask that shifts then covers an edge of each"});
}

}  // namespace teasel
