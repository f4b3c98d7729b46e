#include <algorithm>
#include <boost/geometry.hpp>
#include <boost/geometry/index/rtree.hpp>
#include <utility>

#include "teasel/board.h"

namespace teasel {

namespace {
namespace bg = boost::geometry;
namespace bgi = boost::geometry::index;
using BPoint = bg::model::point<double, 2, bg::cs::cartesian>;
using BBox = bg::model::box<BPoint>;
using Entry = std::pair<BBox, std::uint32_t>;
BBox to_box(const Box& b) {
  return {{b.x0, b.y0}, {b.x1, b.y1}};
}
}  // namespace

struct LayerImage::Index {
  bgi::rtree<Entry, bgi::linear<16>> tree;
};

LayerImage::LayerImage(const formats::GerberFile& file, bool inverted)
    : file_(&file), inverted_(inverted != file.negative_image), index_(std::make_unique<Index>()) {
  std::vector<Entry> entries;
  entries.reserve(file.objects.size());
  for (std::uint32_t i = 0; i < file.objects.size(); ++i)
    if (const Box b = formats::box_of(file, file.objects[i]); b.valid()) entries.emplace_back(to_box(b), i);
  index_->tree = decltype(index_->tree)(entries.begin(), entries.end());
}
LayerImage::~LayerImage() = default;
LayerImage::LayerImage(LayerImage&&) noexcept = default;
LayerImage& LayerImage::operator=(LayerImage&&) noexcept = default;

bool LayerImage::dark(Point p) const {
  std::vector<std::uint32_t> hits;
  const BPoint q(p.x, p.y);
  for (auto it = index_->tree.qbegin(bgi::intersects(BBox(q, q))); it != index_->tree.qend(); ++it)
    hits.push_back(it->second);
  std::sort(hits.begin(), hits.end(), std::greater<>());
  for (std::uint32_t i : hits)
    if (formats::covers(*file_, file_->objects[i], p)) return file_->objects[i].dark != inverted_;
  return inverted_;
}

Polygons LayerImage::window(const Box& w) const {
  std::vector<std::uint32_t> hits;
  for (auto it = index_->tree.qbegin(bgi::intersects(to_box(w))); it != index_->tree.qend(); ++it)
    hits.push_back(it->second);
  std::sort(hits.begin(), hits.end());
  Polygons image, run;
  bool run_dark = true;
  auto flush = [&] {
    if (run.empty()) return;
    // One object's area is sound as it is.
    image = !run_dark ? subtract(image, run) : image.empty() && run.size() == 1 ? run : unite(image, run);
    run.clear();
  };
  for (std::uint32_t i : hits) {
    const auto& o = file_->objects[i];
    if (o.dark != run_dark) {
      flush();
      run_dark = o.dark;
    }
    Polygons part = formats::area_in(*file_, o, w);
    run.insert(run.end(), std::make_move_iterator(part.begin()), std::make_move_iterator(part.end()));
  }
  flush();
  if (const Box all = bounds(image);
      !inverted_ && (image.empty() || (w.contains({all.x0, all.y0}) && w.contains({all.x1, all.y1}))))
    return image;
  const Polygons frame{{{{w.x0, w.y0}, {w.x1, w.y0}, {w.x1, w.y1}, {w.x0, w.y1}}, {}}};
  return inverted_ ? subtract(frame, image) : intersect(frame, image);
}

const formats::GerberObject* LayerImage::flash_at(Point p, double radius) const {
  const formats::GerberObject* best = nullptr;
  const Box w = Box{p.x, p.y, p.x, p.y}.grown(radius);
  std::uint32_t best_index = 0;
  for (auto it = index_->tree.qbegin(bgi::intersects(to_box(w))); it != index_->tree.qend(); ++it) {
    const auto& o = file_->objects[it->second];
    if (o.kind != formats::GerberObject::Kind::flash || !o.dark || distance(o.start, p) > radius) continue;
    if (!best || it->second > best_index) {
      best = &o;
      best_index = it->second;
    }
  }
  return best;
}

}  // namespace teasel
