// The composited image of a layer: cells halved until little is left in each, objects looked at from the last painted
// to the first, so that what lies under a covered cell is never worked on.
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
// Edges handled in all cells: real layers need 400 to 600 an object, a tangle of long strokes some thousands.
// A file of a few bytes that repeats itself millions of times is held to its size.
constexpr std::size_t kWorkAtLeast = 10'000'000, kWorkPerObject = 1000, kWorkPerByte = 60, kWorkAnySize = 20'000'000;
constexpr double kTile = 20;  // mm, work unit of one thread
constexpr std::size_t kMostTiles = 400;

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
  std::size_t n = item.ring.size();
  for (const Ring& h : item.holes) n += h.size();
  return n;
}

bool is_cell(const Ring& ring, const Box& c) {
  return ring.size() == 4 &&
         std::all_of(ring.begin(), ring.end(),
                     [&](Point p) { return (p.x == c.x0 || p.x == c.x1) && (p.y == c.y0 || p.y == c.y1); }) &&
         std::abs(signed_area(ring)) > 0.5 * c.width() * c.height();
}

/// The part inside the cell; false if nothing is left.
bool cut(const Item& item, const Box& cell, Item& part) {
  const Box b = bounds(item.ring);
  if (!b.touches(cell)) return false;
  part = {item.dark, item.raw, {}, {}};
  if (cell.contains({b.x0, b.y0}) && cell.contains({b.x1, b.y1})) {
    part = item;
    return true;
  }
  part.ring = cut_to_box(item.ring, cell);
  part.ring.erase(std::unique(part.ring.begin(), part.ring.end()), part.ring.end());
  while (part.ring.size() > 1 && part.ring.front() == part.ring.back()) part.ring.pop_back();
  if (part.ring.size() < 3) return false;
  for (const Ring& h : item.holes)
    if (Ring r = cut_to_box(h, cell); r.size() >= 3) part.holes.push_back(std::move(r));
  return true;
}

class Compositor {
 public:
  Compositor(const GerberFile& f, bool keep) : f_(f), keep_(keep) {
    std::size_t size = f.objects.size();
    for (const auto& region : f.regions)
      for (const Ring& ring : region) size += ring.size();
    most_work_ = kWorkAtLeast + std::min(kWorkPerObject * size, kWorkAnySize + kWorkPerByte * f.bytes);
  }
  Cell run();

 private:
  void add_items(std::uint32_t index, std::vector<Item>& items) const;
  void unite_arcs();
  Cell cell(const std::vector<Item>& items, const Box& c) const;
  Cell paint(const std::vector<Item>& items) const;

  /// Counts edges handled. The whole count does not depend on the threads, nor does the refusal.
  void work(std::size_t edges) const {
    if ((work_ += edges) > most_work_) throw std::length_error("too much is drawn over itself");
  }

  const GerberFile& f_;
  bool keep_;
  std::unordered_map<std::uint32_t, Polygons> arcs_;
  std::size_t most_work_ = 0;
  mutable std::atomic<std::size_t> work_{0};
};

/// Arcs whose area costs a boolean of many chords, once for all tiles.
void Compositor::unite_arcs() {
  std::vector<std::uint32_t> dear;
  for (std::uint32_t i = 0; i < f_.objects.size(); ++i) {
    const GerberObject& o = f_.objects[i];
    if (o.kind != GerberObject::Kind::arc) continue;
    const double r0 = distance(o.start, f_.centres[o.centre]), r1 = distance(o.end, f_.centres[o.centre]);
    if (f_.apertures[o.shape].kind == GerberAperture::Kind::circle && std::abs(r0 - r1) <= 0.02 * std::max(r0, r1))
      continue;
    work(40'000);
    dear.push_back(i);
  }
  std::vector<Polygons> areas(dear.size());
  parallel_for(
      dear.size(), [&](std::size_t k) { areas[k] = area_of(f_, f_.objects[dear[k]]); }, 1);
  for (std::size_t k = 0; k < dear.size(); ++k) arcs_.emplace(dear[k], std::move(areas[k]));
}

void Compositor::add_items(std::uint32_t index, std::vector<Item>& items) const {
  const GerberObject& o = f_.objects[index];
  const bool dark = o.dark != f_.negative_image;
  if (o.kind == GerberObject::Kind::region) {
    for (const Ring& ring : f_.regions[o.shape])
      items.push_back({dark, true, transformed(ring, {1, 0, 0, 1, o.start.x, o.start.y}), {}});
    return;
  }
  const auto known = arcs_.find(index);
  for (Polygon& p : known != arcs_.end() ? Polygons(known->second) : area_of(f_, o))
    items.push_back({dark, false, std::move(p.outer), std::move(p.holes)});
}

Cell Compositor::paint(const std::vector<Item>& items) const {
  Polygons image, run;
  bool run_dark = true;
  auto flush = [&] {
    if (run.empty()) return;
    image = run_dark ? unite(image, run) : image.empty() ? image : subtract(image, run);
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

/// `items` lie inside the cell, in painting order; none below one that covers the whole cell.
Cell Compositor::cell(const std::vector<Item>& items, const Box& c) const {
  if (items.empty()) return {};
  if (items.size() == 1 && items[0].holes.empty() && is_cell(items[0].ring, c)) {
    if (!items[0].dark) return {};
    return {keep_ ? Polygons{{items[0].ring, {}}} : Polygons{}, c.width() * c.height()};
  }
  if (std::none_of(items.begin(), items.end(), [](const Item& i) { return i.dark; })) return {};
  std::size_t edges = 0;
  for (const Item& i : items) edges += edges_of(i);
  work(edges);
  const bool smallest = std::max(c.width(), c.height()) <= kSmallestCell;
  if (smallest && (items.size() > kMostItems || edges > kMostEdges))
    throw std::length_error("too much is drawn on one spot");
  if (smallest || (items.size() <= kFewItems && edges <= kFewEdges)) return paint(items);
  Cell out;
  // Halved on the nanometre grid of the booleans, so that neighbours meet without seams.
  auto middle = [](double a, double b) { return std::round((a + b) / 2 * 1e6) / 1e6; };
  const double mx = middle(c.x0, c.x1), my = middle(c.y0, c.y1);
  for (const Box& child :
       {Box{c.x0, c.y0, mx, my}, Box{mx, c.y0, c.x1, my}, Box{c.x0, my, mx, c.y1}, Box{mx, my, c.x1, c.y1}}) {
    std::vector<Item> inside;
    Item part;
    for (std::size_t i = items.size(); i-- > 0;) {
      if (!cut(items[i], child, part)) continue;
      const bool covers = part.holes.empty() && is_cell(part.ring, child);
      inside.push_back(std::move(part));
      if (covers) break;
    }
    std::reverse(inside.begin(), inside.end());
    Cell r = cell(inside, child);
    out.sum += r.sum;
    out.area.insert(out.area.end(), std::make_move_iterator(r.area.begin()), std::make_move_iterator(r.area.end()));
  }
  if (keep_) out.area = unite(out.area);
  return out;
}

Cell Compositor::run() {
  Box all;
  for (const auto& o : f_.objects) all.add(box_of(f_, o));
  if (!all.valid() || all.width() <= 0 || all.height() <= 0) return {};
  auto down = [](double v) { return std::floor(v * 1e6) / 1e6; };
  auto up = [](double v) { return std::ceil(v * 1e6) / 1e6; };
  all = {down(all.x0), down(all.y0), up(all.x1), up(all.y1)};
  const double side = std::max(kTile, std::sqrt(all.width() * all.height() / static_cast<double>(kMostTiles)));
  const std::size_t nx =
      std::clamp<std::size_t>(static_cast<std::size_t>(std::ceil(all.width() / side)), 1, kMostTiles);
  const std::size_t ny = std::clamp<std::size_t>(static_cast<std::size_t>(std::ceil(all.height() / side)), 1,
                                                 std::max<std::size_t>(kMostTiles / nx, 1));
  auto edge = [](double a, double b, std::size_t i, std::size_t n) {
    return i == n ? b : std::round((a + (b - a) * static_cast<double>(i) / static_cast<double>(n)) * 1e6) / 1e6;
  };
  std::vector<std::vector<std::uint32_t>> in_tile(nx * ny);
  auto tile_at = [](double v, double a, double b, std::size_t n) {
    return static_cast<std::size_t>(
        std::clamp((v - a) / (b - a) * static_cast<double>(n), 0.0, static_cast<double>(n - 1)));
  };
  auto tile = [&](std::size_t x, std::size_t y) {
    return Box{edge(all.x0, all.x1, x, nx), edge(all.y0, all.y1, y, ny), edge(all.x0, all.x1, x + 1, nx),
               edge(all.y0, all.y1, y + 1, ny)};
  };
  for (std::uint32_t i = 0; i < f_.objects.size(); ++i) {
    const Box b = box_of(f_, f_.objects[i]).grown(1e-5);
    if (!b.valid()) continue;
    const std::size_t x0 = tile_at(b.x0, all.x0, all.x1, nx), x1 = tile_at(b.x1, all.x0, all.x1, nx),
                      y0 = tile_at(b.y0, all.y0, all.y1, ny), y1 = tile_at(b.y1, all.y0, all.y1, ny);
    const bool one = x0 == x1 && y0 == y1;
    for (std::size_t x = x0; x <= x1; ++x)
      for (std::size_t y = y0; y <= y1; ++y)
        if (one || reaches(f_, f_.objects[i], tile(x, y).grown(1e-5))) in_tile[x * ny + y].push_back(i);
  }
  unite_arcs();
  std::vector<Cell> cells(nx * ny);
  parallel_for(
      cells.size(),
      [&](std::size_t k) {
        const Box c = tile(k / ny, k % ny);
        std::vector<Item> whole, items;
        if (f_.negative_image)
          items.push_back({true, false, {{c.x0, c.y0}, {c.x1, c.y0}, {c.x1, c.y1}, {c.x0, c.y1}}, {}});
        Item part;
        for (std::uint32_t i : in_tile[k]) {
          whole.clear();
          const GerberObject& o = f_.objects[i];
          add_items(i, whole);
          std::size_t made = 10;
          for (const Item& item : whole) made += edges_of(item);
          // An arc is walked chord by chord however little of it lies here.
          if (o.kind == GerberObject::Kind::arc)
            made += static_cast<std::size_t>(4 * chords_of(std::max(distance(o.start, f_.centres[o.centre]),
                                                                    distance(o.end, f_.centres[o.centre]))));
          work(made);
          for (const Item& item : whole)
            if (cut(item, c, part)) items.push_back(std::move(part));
        }
        cells[k] = cell(items, c);
      },
      1);
  Cell out;
  for (Cell& c : cells) {
    out.sum += c.sum;
    out.area.insert(out.area.end(), std::make_move_iterator(c.area.begin()), std::make_move_iterator(c.area.end()));
  }
  if (keep_) out.area = unite(out.area);
  return out;
}
}  // namespace

Polygons composited(const GerberFile& file) {
  return Compositor(file, true).run().area;
}
double composited_area(const GerberFile& file) {
  return Compositor(file, false).run().sum;
}

}  // namespace teasel::formats
