// The composited image of a layer. Cells are halved until little is left in each. Objects are looked at from the last
// painted one to the first, so that no work is done on what lies under a covered cell.
#include <algorithm>
#include <atomic>
#include <cmath>
#include <stdexcept>
#include <unordered_map>

#include "teasel/formats/layer.h"
#include "teasel/parallel.h"

namespace teasel::formats {

namespace {
constexpr std::size_t kFewItems = 24, kFewEdges = 1500;          // a cell with no more is painted
constexpr std::size_t kMostItems = 20'000, kMostEdges = 60'000;  // the most in a cell that cannot be halved further
constexpr double kSmallestCell = 0.05;                           // mm
// Limits on the edges handled in all cells. Real layers need 400 to 600 for each object, a tangle of long strokes some
// thousands. A file of a few bytes that repeats itself millions of times is limited by its size.
constexpr std::size_t kWorkAtLeast = 10'000'000, kWorkPerObject = 1000, kWorkPerByte = 60, kWorkAnySize = 20'000'000;
constexpr double kTile = 20;  // mm, work unit of one thread
constexpr std::size_t kMostTiles = 400;
constexpr std::size_t kMostTileEdges = 2'000'000;  // held at once: some hundred for each square millimetre

struct Item {
  bool dark = true;
  bool raw = false;  ///< a contour that may cross itself: filled by itself before it meets others
  Ring ring;
  std::vector<Ring> holes;
};
struct Cell {
  Polygons area;
  double sum = 0;
};

std::size_t edges_of(const Item& item) {
  std::size_t edges = item.ring.size();
  for (const Ring& hole : item.holes) edges += hole.size();
  return edges;
}

bool is_cell(const Ring& ring, const Box& cell) {
  return ring.size() == 4 &&
         std::all_of(
             ring.begin(), ring.end(),
             [&](Point p) { return (p.x == cell.x0 || p.x == cell.x1) && (p.y == cell.y0 || p.y == cell.y1); }) &&
         std::abs(signed_area(ring)) > 0.5 * cell.width() * cell.height();
}

/// Makes the part of an item that lies inside the cell. False if nothing is left.
bool cut(const Item& item, const Box& cell, Item& part) {
  const Box box = bounds(item.ring);
  if (!box.touches(cell)) return false;
  part = {item.dark, item.raw, {}, {}};
  if (cell.contains({box.x0, box.y0}) && cell.contains({box.x1, box.y1})) {
    part = item;
    return true;
  }
  part.ring = cut_to_box(item.ring, cell);
  part.ring.erase(std::unique(part.ring.begin(), part.ring.end()), part.ring.end());
  while (part.ring.size() > 1 && part.ring.front() == part.ring.back()) part.ring.pop_back();
  if (part.ring.size() < 3) return false;
  for (const Ring& hole : item.holes)
    if (Ring inside = cut_to_box(hole, cell); inside.size() >= 3) part.holes.push_back(std::move(inside));
  return true;
}

class Compositor {
 public:
  Compositor(const GerberFile& file, bool keep) : file_(file), keep_(keep) {
    std::size_t size = file.objects.size();
    for (const auto& region : file.regions)
      for (const Ring& ring : region) size += ring.size();
    most_work_ = kWorkAtLeast + std::min(kWorkPerObject * size, kWorkAnySize + kWorkPerByte * file.bytes);
  }
  Cell run();

 private:
  void add_items(std::uint32_t index, std::vector<Item>& items) const;
  void unite_arcs();
  Cell cell(const std::vector<Item>& items, const Box& cell) const;
  Cell paint(const std::vector<Item>& items) const;
  Cell tile_image(const std::vector<std::uint32_t>& objects, const Box& window) const;

  /// Counts the edges handled. Neither the count nor the refusal depends on the number of threads.
  void work(std::size_t edges) const {
    if ((work_ += edges) > most_work_) throw std::length_error("too many objects are drawn over one another");
  }

  const GerberFile& file_;
  bool keep_;
  std::unordered_map<std::uint32_t, Polygons> arcs_;
  std::size_t most_work_ = 0;
  mutable std::atomic<std::size_t> work_{0};
};

/// The area of some arcs costs a boolean of many chords: it is worked out once for all tiles.
void Compositor::unite_arcs() {
  std::vector<std::uint32_t> dear;
  for (std::uint32_t i = 0; i < file_.objects.size(); ++i) {
    const GerberObject& object = file_.objects[i];
    if (object.kind != GerberObject::Kind::arc) continue;
    const double from_start = distance(object.start, file_.centres[object.centre]),
                 from_end = distance(object.end, file_.centres[object.centre]);
    if (file_.apertures[object.shape].kind == GerberAperture::Kind::circle &&
        std::abs(from_start - from_end) <= 0.02 * std::max(from_start, from_end))
      continue;
    work(40'000);
    dear.push_back(i);
  }
  std::vector<Polygons> areas(dear.size());
  parallel_for(
      dear.size(), [&](std::size_t k) { areas[k] = area_of(file_, file_.objects[dear[k]]); }, 1);
  for (std::size_t k = 0; k < dear.size(); ++k) arcs_.emplace(dear[k], std::move(areas[k]));
}

void Compositor::add_items(std::uint32_t index, std::vector<Item>& items) const {
  const GerberObject& object = file_.objects[index];
  const bool dark = object.dark != file_.negative_image;
  if (object.kind == GerberObject::Kind::region) {
    for (const Ring& ring : file_.regions[object.shape])
      items.push_back({dark, true, transformed(ring, {1, 0, 0, 1, object.start.x, object.start.y}), {}});
    return;
  }
  const auto known = arcs_.find(index);
  for (Polygon& polygon : known != arcs_.end() ? Polygons(known->second) : area_of(file_, object))
    items.push_back({dark, false, std::move(polygon.outer), std::move(polygon.holes)});
}

Cell Compositor::paint(const std::vector<Item>& items) const {
  Polygons image, run;
  bool run_dark = true;
  auto flush = [&] {
    if (run.empty()) return;
    if (run_dark)
      image = unite(image, run);
    else if (!image.empty())
      image = subtract(image, run);
    run.clear();
  };
  for (const Item& item : items) {
    if (item.dark != run_dark) {
      flush();
      run_dark = item.dark;
    }
    if (!item.raw) {
      run.push_back({item.ring, item.holes});
      continue;
    }
    Polygons filled = fill_contours({item.ring});
    run.insert(run.end(), std::make_move_iterator(filled.begin()), std::make_move_iterator(filled.end()));
  }
  flush();
  Cell out;
  out.sum = area(image);
  if (keep_) out.area = std::move(image);
  return out;
}

/// `items` lie inside the cell, in painting order. None of them lies below one that covers the whole cell.
Cell Compositor::cell(const std::vector<Item>& items, const Box& window) const {
  if (items.empty()) return {};
  if (items.size() == 1 && items[0].holes.empty() && is_cell(items[0].ring, window)) {
    if (!items[0].dark) return {};
    return {keep_ ? Polygons{{items[0].ring, {}}} : Polygons{}, window.width() * window.height()};
  }
  if (std::none_of(items.begin(), items.end(), [](const Item& item) { return item.dark; })) return {};
  std::size_t edges = 0;
  for (const Item& item : items) edges += edges_of(item);
  work(edges);
  const bool smallest = std::max(window.width(), window.height()) <= kSmallestCell;
  if (smallest && (items.size() > kMostItems || edges > kMostEdges))
    throw std::length_error("too many objects are drawn in one spot");
  if (smallest || (items.size() <= kFewItems && edges <= kFewEdges)) return paint(items);
  Cell out;
  // Cells are halved on the nanometre grid of the booleans, so that neighbours meet without seams.
  auto middle = [](double a, double b) { return std::round((a + b) / 2 * 1e6) / 1e6; };
  const double mx = middle(window.x0, window.x1), my = middle(window.y0, window.y1);
  for (const Box& child : {Box{window.x0, window.y0, mx, my}, Box{mx, window.y0, window.x1, my},
                           Box{window.x0, my, mx, window.y1}, Box{mx, my, window.x1, window.y1}}) {
    std::vector<Item> inside;
    Item part;
    for (std::size_t i = items.size(); i-- > 0;) {
      if (!cut(items[i], child, part)) continue;
      const bool covers = part.holes.empty() && is_cell(part.ring, child);
      inside.push_back(std::move(part));
      if (covers) break;
    }
    std::reverse(inside.begin(), inside.end());
    Cell quarter = cell(inside, child);
    out.sum += quarter.sum;
    out.area.insert(out.area.end(), std::make_move_iterator(quarter.area.begin()),
                    std::make_move_iterator(quarter.area.end()));
  }
  if (keep_) out.area = unite(out.area);
  return out;
}

/// The image in one tile, of the objects that reach it.
Cell Compositor::tile_image(const std::vector<std::uint32_t>& objects, const Box& window) const {
  std::vector<Item> whole, items;
  if (file_.negative_image)
    items.push_back({true,
                     false,
                     {{window.x0, window.y0}, {window.x1, window.y0}, {window.x1, window.y1}, {window.x0, window.y1}},
                     {}});
  Item part;
  std::size_t held = 0;
  for (const std::uint32_t i : objects) {
    whole.clear();
    const GerberObject& object = file_.objects[i];
    add_items(i, whole);
    std::size_t made = 10;
    for (const Item& item : whole) made += edges_of(item);
    // An arc is walked chord by chord, however little of it lies in this tile.
    if (object.kind == GerberObject::Kind::arc)
      made += static_cast<std::size_t>(4 * chords_of(std::max(distance(object.start, file_.centres[object.centre]),
                                                              distance(object.end, file_.centres[object.centre]))));
    work(made);
    for (const Item& item : whole)
      if (cut(item, window, part)) {
        held += edges_of(part);
        items.push_back(std::move(part));
      }
    if (held > kMostTileEdges) throw std::length_error("too many objects are drawn within 20 mm");
  }
  return cell(items, window);
}

Cell Compositor::run() {
  Box all;
  for (const auto& object : file_.objects) all.add(box_of(file_, object));
  if (!all.valid() || all.width() <= 0 || all.height() <= 0) return {};
  auto down = [](double value) { return std::floor(value * 1e6) / 1e6; };
  auto up = [](double value) { return std::ceil(value * 1e6) / 1e6; };
  all = {down(all.x0), down(all.y0), up(all.x1), up(all.y1)};
  const double side = std::max(kTile, std::sqrt(all.width() * all.height() / static_cast<double>(kMostTiles)));
  const std::size_t nx =
      std::clamp<std::size_t>(static_cast<std::size_t>(std::ceil(all.width() / side)), 1, kMostTiles);
  const std::size_t ny = std::clamp<std::size_t>(static_cast<std::size_t>(std::ceil(all.height() / side)), 1,
                                                 std::max<std::size_t>(kMostTiles / nx, 1));
  auto edge = [](double a, double b, std::size_t i, std::size_t count) {
    return i == count ? b : std::round((a + (b - a) * static_cast<double>(i) / static_cast<double>(count)) * 1e6) / 1e6;
  };
  std::vector<std::vector<std::uint32_t>> in_tile(nx * ny);
  auto tile_at = [](double value, double a, double b, std::size_t count) {
    return static_cast<std::size_t>(
        std::clamp((value - a) / (b - a) * static_cast<double>(count), 0.0, static_cast<double>(count - 1)));
  };
  auto tile = [&](std::size_t x, std::size_t y) {
    return Box{edge(all.x0, all.x1, x, nx), edge(all.y0, all.y1, y, ny), edge(all.x0, all.x1, x + 1, nx),
               edge(all.y0, all.y1, y + 1, ny)};
  };
  for (std::uint32_t i = 0; i < file_.objects.size(); ++i) {
    const Box box = box_of(file_, file_.objects[i]).grown(1e-5);
    if (!box.valid()) continue;
    const std::size_t x0 = tile_at(box.x0, all.x0, all.x1, nx), x1 = tile_at(box.x1, all.x0, all.x1, nx),
                      y0 = tile_at(box.y0, all.y0, all.y1, ny), y1 = tile_at(box.y1, all.y0, all.y1, ny);
    const bool one = x0 == x1 && y0 == y1;
    for (std::size_t x = x0; x <= x1; ++x)
      for (std::size_t y = y0; y <= y1; ++y)
        if (one || reaches(file_, file_.objects[i], tile(x, y).grown(1e-5))) in_tile[x * ny + y].push_back(i);
  }
  unite_arcs();
  std::vector<Cell> cells(nx * ny);
  parallel_for(
      cells.size(), [&](std::size_t k) { cells[k] = tile_image(in_tile[k], tile(k / ny, k % ny)); }, 1);
  Cell out;
  for (Cell& part : cells) {
    out.sum += part.sum;
    out.area.insert(out.area.end(), std::make_move_iterator(part.area.begin()),
                    std::make_move_iterator(part.area.end()));
  }
  if (keep_) out.area = unite(out.area);
  return out;
}
}  // namespace

Polygons composited(const GerberFile& file) {
  return Compositor(file, true).run().area;
}
Mm2 composited_area(const GerberFile& file) {
  return Mm2{Compositor(file, false).run().sum};
}

}  // namespace teasel::formats
