// Which copper lies bare: copper within mask opening, the hole cut out.
#include <algorithm>
#include <tuple>

#include "build.h"
#include "teasel/box_index.h"
#include "teasel/parallel.h"
#include "teasel/words.h"

namespace teasel {

namespace {
constexpr double kLargestHalf = 8.0;  // a land is looked at within this distance of its point
constexpr double kSameCircle = 0.05;  // the land centre serves as aim if no more than this is lost against the best

struct Found {
  Exposure exposure;
  bool present = false, covered = false, mask = true;
};

Polygons land_area(const Feature& f, const Land& l) {
  const double w = std::max(l.width, 0.01), h = std::max(l.height, 0.01);
  const double a = l.rotation * 3.14159265358979323846 / 180, c = std::cos(a), s = std::sin(a);
  const Polygons shape{{l.round ? circle({}, w / 2) : rectangle({}, w, h), {}}};
  return transformed(shape, {c, -s, s, c, f.at.x, f.at.y});
}

/// The finished hole, round or a slot.
Polygons hole_of(const Feature& f) {
  if (f.slot == Point{}) return {{circle(f.at, f.hole / 2), {}}};
  std::vector<Point> pts = circle(f.at - f.slot, f.hole / 2);
  const Ring end = circle(f.at + f.slot, f.hole / 2);
  pts.insert(pts.end(), end.begin(), end.end());
  return {{convex_hull(std::move(pts)), {}}};
}

/// The part of an area that belongs to the feature: that which holds its point, or, where the hole took the point
/// away, that which rings it or lies nearest.
Polygons part_at(const Polygons& area, const Feature& f) {
  const Polygon* best = nullptr;
  double bd = f.hole / 2 + 0.1;
  for (const Polygon& p : area) {
    if (winding_number(p.outer, f.at) != 0) return {p};
    const double dist = distance_to_boundary({{p.outer, {}}}, f.at);
    if (dist < bd) {
      bd = dist;
      best = &p;
    }
  }
  return best && f.hole > 0 ? Polygons{*best} : Polygons{};
}

Polygons without_own_hole(const Polygons& area, const Feature& f) {
  if (f.hole <= 0) return area;
  Polygons out = area;
  for (Polygon& p : out)
    p.holes.erase(
        std::remove_if(p.holes.begin(), p.holes.end(), [&](const Ring& h) { return winding_number(h, f.at) != 0; }),
        p.holes.end());
  return out;
}

void aim(Exposure& e, const Feature& f) {
  const double own = contains(e.contact, f.at) ? distance_to_boundary(e.contact, f.at) : 0;
  const Box box = bounds(e.contact);
  // No circle inside is larger than half the narrower side of the box: often the centre is as good as can be.
  const bool sure = own >= (1 - kSameCircle) * std::min(box.width(), box.height()) / 2;
  const Circle best = sure ? Circle{f.at, own} : largest_inscribed_circle(e.contact[0], 0.002);
  const bool use_centre = own >= best.radius * (1 - kSameCircle) || (f.hole > 0 && own > 0);
  const Point at = use_centre ? f.at : best.centre;
  // Aim points stand on a 1 um grid, the resolution of every list and drill file, so that all of them agree exactly.
  e.aim = {std::round(at.x * 1000) / 1000, std::round(at.y * 1000) / 1000};
  e.diameter = 2 * (use_centre ? own : best.radius);
}

class Exposer {
 public:
  Exposer(const Board& b, const Layers& layers, const std::string& mask_meaning)
      : b_(b), layers_(layers), meaning_(mask_meaning) {}

  Found look(int index, Side side) const {
    const Feature& f = b_.features[static_cast<std::size_t>(index)];
    const std::size_t s = static_cast<std::size_t>(side);
    Found found;
    if (!f.land[s].present || f.kind == FeatureKind::unplated_hole) return found;
    found.exposure.feature = index;
    found.exposure.side = side;
    found.exposure.place_sigma = f.place_sigma;
    const auto& mask = layers_.mask[s];
    if (!mask.empty()) {
      if (std::none_of(mask.begin(), mask.end(), [&](const LayerImage& m) { return m.dark(f.at); })) {
        found.covered = true;
        return found;
      }
    } else if (!open_by_netlist(f, side)) {
      found.covered = true;
      return found;
    }
    shape(found, f, s);
    return found;
  }

 private:
  bool open_by_netlist(const Feature& f, Side side) const {
    const int bit = side == Side::top ? 1 : 2;
    if (f.mask_code < 0 || meaning_.empty() || meaning_ == "ignore") return f.kind != FeatureKind::via;
    const bool set = f.mask_code & bit;
    return meaning_ == "open" ? set : !set;
  }

  void shape(Found& found, const Feature& f, std::size_t s) const {
    Exposure& e = found.exposure;
    Box window = bounds(land_area(f, f.land[s]));
    const formats::GerberObject* flash = nullptr;
    for (const auto& image : layers_.copper[s])
      if (const auto* o = image.flash_at(f.at, 0.03)) {
        flash = o;
        window.add(formats::box_of(image.file(), *o));
      }
    window = window.grown(0.1);
    window = {std::max(window.x0, f.at.x - kLargestHalf), std::max(window.y0, f.at.y - kLargestHalf),
              std::min(window.x1, f.at.x + kLargestHalf), std::min(window.y1, f.at.y + kLargestHalf)};
    Polygons copper;
    e.from_layers = !layers_.copper[s].empty();
    if (!e.from_layers) copper = land_area(f, f.land[s]);
    for (const auto& image : layers_.copper[s]) {
      Polygons part = image.window(window);
      copper = copper.empty() ? part : unite(copper, part);
    }
    const Polygons drilled = f.hole > 0 ? subtract(copper, hole_of(f)) : copper;
    Polygons land = part_at(drilled, f);
    if (land.empty()) {
      found.covered = true;
      found.mask = false;
      return;
    }
    if (layers_.mask[s].empty()) {
      e.copper = land;
    } else {
      Polygons opening;
      for (const auto& image : layers_.mask[s]) {
        Polygons part = image.window(window);
        opening = opening.empty() ? part : unite(opening, part);
      }
      e.copper = part_at(intersect(land, opening), f);
      if (e.copper.empty()) {
        found.covered = true;
        return;
      }
      // The mask forms the edge where the pad proper (its flash) is not wholly open.
      const Polygons pad = flash ? formats::area_of(layers_.copper[s][0].file(), *flash) : land;
      const Polygons metal = f.hole > 0 ? subtract(pad, hole_of(f)) : pad;
      e.mask_defined = area(intersect(metal, opening)) < 0.98 * area(metal);
    }
    e.contact = without_own_hole(e.copper, f);
    for (const auto& image : layers_.paste[s]) {
      e.pasted |= image.dark(f.at);
      // Large lands get their paste in panes. Where parts are unknown, any paste tells that one is soldered on.
      if (b_.traced && !e.pasted) e.pasted = !intersect(image.window(bounds(e.copper)), e.copper).empty();
    }
    aim(e, f);
    found.present = true;
  }

  const Board& b_;
  const Layers& layers_;
  std::string meaning_;
};
}  // namespace

Layers images(const Job& job, const Sources& sources) {
  Layers l;
  struct Wanted {
    std::vector<LayerImage>* into;
    std::size_t file;
    bool inverted;
  };
  std::vector<Wanted> wanted;
  for (std::size_t i = 0; i < job.gerbers.size(); ++i) {
    const GerberInput& in = job.gerbers[i];
    const bool inv = in.mask_image_inverted;
    switch (in.role) {
      case LayerRole::copper_top: wanted.push_back({&l.copper[0], i, in.clearances}); break;
      case LayerRole::copper_bottom: wanted.push_back({&l.copper[1], i, in.clearances}); break;
      case LayerRole::mask_top: wanted.push_back({&l.mask[0], i, inv}); break;
      case LayerRole::mask_bottom: wanted.push_back({&l.mask[1], i, inv}); break;
      case LayerRole::paste_top: wanted.push_back({&l.paste[0], i, false}); break;
      case LayerRole::paste_bottom: wanted.push_back({&l.paste[1], i, false}); break;
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
  return l;
}

/// Openings of the mask over copper where the board's list puts no land: shields, logos, lands that dropped out.
void add_bare_metal(Board& b, const Layers& layers) {
  constexpr double kSpeck = 0.002;       // mm^2
  constexpr std::size_t kMost = 20'000;  // openings looked at on one side
  for (const Side side : {Side::top, Side::bottom}) {
    const auto s = static_cast<std::size_t>(side);
    if (layers.mask[s].empty() || layers.copper[s].empty()) continue;
    std::vector<Box> known;
    for (const Exposure& e : b.exposures)
      if (e.side == side) known.push_back(bounds(e.copper));
    const BoxIndex pads(known);
    const Box board = bounds(b.outline.outer);
    std::vector<Box> openings;
    for (const LayerImage& image : layers.mask[s]) {
      if (image.shows_mask()) continue;  // openings are what is not drawn: no object stands for one
      for (const auto& o : image.file().objects) {
        const Box box = formats::box_of(image.file(), o);
        if (!o.dark || !box.valid() || !board.contains(box.centre()) || box.width() > 2 * kLargestHalf ||
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
    std::vector<Polygons> found(openings.size());
    parallel_for(
        openings.size(),
        [&](std::size_t i) {
          std::vector<std::uint32_t> near;
          pads.find(openings[i], near);
          if (!near.empty()) return;  // a pad's opening
          Polygons copper, opening;
          for (const LayerImage& image : layers.copper[s]) copper = unite(copper, image.window(openings[i]));
          if (copper.empty()) return;
          for (const LayerImage& image : layers.mask[s]) opening = unite(opening, image.window(openings[i]));
          Polygons bare = intersect(copper, opening);
          if (area(bare) > kSpeck) found[i] = std::move(bare);
        },
        16);
    for (Polygons& p : found)
      if (!p.empty()) b.bare_metal.push_back({side, std::move(p)});
  }
}

void add_exposures(Board& b, const Layers& layers, const Job& job, const Sources& sources, Diagnostics& d) {
  std::string meaning = job.netlist_mask, evidence;
  const bool both_masks = !layers.mask[0].empty() && !layers.mask[1].empty();
  if (sources.netlist && meaning.empty()) meaning = mask_field_meaning(*sources.netlist, &evidence);
  if (!both_masks && sources.netlist) {
    if (meaning.empty())
      d.warn("board-mask-unknown", {sources.netlist->name, 0, 0, {}},
             "no mask layer is given and the netlist's mask field has no clear meaning: pads are taken as open, vias "
             "as covered",
             evidence, "name the mask layers, or set  [inputs.netlist] mask_field");
    else if (!layers.mask[0].empty() || !layers.mask[1].empty())
      d.warn("board-mask-one-side", {sources.netlist->name, 0, 0, {}},
             std::string("no mask layer is given for the ") + (layers.mask[0].empty() ? "top" : "bottom") +
                 " side; its openings are taken from the netlist, which says what the library meant, not what is made",
             "a set S bit means " + meaning + "; " + evidence, "name the mask layer of that side");
    else
      d.note("board-mask-by-netlist", {sources.netlist->name, 0, 0, {}},
             "a side without a mask layer takes its openings from the netlist: a set S bit means " + meaning, evidence,
             "overrule with  [inputs.netlist] mask_field");
  }
  const Exposer exposer(b, layers, meaning);
  std::vector<Found> found(b.features.size() * 2);
  parallel_for(
      found.size(),
      [&](std::size_t i) { found[i] = exposer.look(static_cast<int>(i / 2), i % 2 ? Side::bottom : Side::top); }, 64);
  for (auto& f : found) {
    if (f.present) b.exposures.push_back(std::move(f.exposure));
    if (f.covered) b.covered.push_back({f.exposure.feature, f.exposure.side, f.mask});
  }
  add_bare_metal(b, layers);
  if (!b.bare_metal.empty()) {
    Few places;
    for (const BareMetal& m : b.bare_metal) {
      const Point c = bounds(m.copper).centre();
      places.add(std::string(to_string(m.side)) + " (" + short_number(c.x, 2) + ", " + short_number(c.y, 2) + ")");
    }
    d.note("board-bare-metal", {job.file, 0, 0, "inputs.gerber"},
           "copper lies bare where the list of pads has none: probes keep clear of it, and none lands on it",
           plural(places.count(), "place: ", "places: ") + places.text(), "");
  }
}

}  // namespace teasel
