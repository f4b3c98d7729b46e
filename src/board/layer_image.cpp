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
BBox to_box(const Box& box) {
  return {{box.x0, box.y0}, {box.x1, box.y1}};
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
    if (const Box box = formats::box_of(file, file.objects[i]); box.valid()) entries.emplace_back(to_box(box), i);
  index_->tree = decltype(index_->tree)(entries.begin(), entries.end());
}
LayerImage::~LayerImage() = default;
LayerImage::LayerImage(LayerImage&&) noexcept = default;
LayerImage& LayerImage::operator=(LayerImage&&) noexcept = default;

bool LayerImage::dark(BoardPoint p) const {
  std::vector<std::uint32_t> hits;
  const BPoint here(p.x, p.y);
  for (auto it = index_->tree.qbegin(bgi::intersects(BBox(here, here))); it != index_->tree.qend(); ++it)
    hits.push_back(it->second);
  std::sort(hits.begin(), hits.end(), std::greater<>());
  for (std::uint32_t i : hits)
    if (formats::covers(*file_, file_->objects[i], p)) return file_->objects[i].dark != inverted_;
  return inverted_;
}

Polygons LayerImage::window(const Box& box) const {
  std::vector<std::uint32_t> hits;
  for (auto it = index_->tree.qbegin(bgi::intersects(to_box(box))); it != index_->tree.qend(); ++it)
    hits.push_back(it->second);
  std::sort(hits.begin(), hits.end());
  Polygons image, run;
  bool run_dark = true;
  auto flush = [&] {
    if (run.empty()) return;
    if (!run_dark)
      image = subtract(image, run);
    else if (image.empty() && run.size() == 1)
      image = run;  // one object's area is sound as it is
    else
      image = unite(image, run);
    run.clear();
  };
  for (std::uint32_t i : hits) {
    const auto& object = file_->objects[i];
    if (object.dark != run_dark) {
      flush();
      run_dark = object.dark;
    }
    Polygons part = formats::area_in(*file_, object, box);
    run.insert(run.end(), std::make_move_iterator(part.begin()), std::make_move_iterator(part.end()));
  }
  flush();
  if (const Box all = bounds(image);
      !inverted_ && (image.empty() || (box.contains({all.x0, all.y0}) && box.contains({all.x1, all.y1}))))
    return image;
  const Polygons frame{{{{box.x0, box.y0}, {box.x1, box.y0}, {box.x1, box.y1}, {box.x0, box.y1}}, {}}};
  return inverted_ ? subtract(frame, image) : intersect(frame, image);
}

const formats::GerberObject* LayerImage::flash_at(BoardPoint p, Mm radius) const {
  const formats::GerberObject* best = nullptr;
  const Box box = Box{p.x, p.y, p.x, p.y}.grown(radius.v);
  std::uint32_t best_index = 0;
  for (auto it = index_->tree.qbegin(bgi::intersects(to_box(box))); it != index_->tree.qend(); ++it) {
    const auto& object = file_->objects[it->second];
    if (object.kind != formats::GerberObject::Kind::flash || !object.dark || distance(object.start, p) > radius.v)
      continue;
    if (!best || it->second > best_index) {
      best = &object;
      best_index = it->second;
    }
  }
  return best;
}

const formats::GerberObject* LayerImage::flash_over(BoardPoint p) const {
  const formats::GerberObject* best = nullptr;
  for (auto it = index_->tree.qbegin(bgi::intersects(to_box(Box{p.x, p.y, p.x, p.y}))); it != index_->tree.qend();
       ++it) {
    const auto& object = file_->objects[it->second];
    if (object.kind != formats::GerberObject::Kind::flash || !object.dark || (best && &object < best)) continue;
    const Polygons area = formats::area_of(*file_, object);
    if (std::any_of(area.begin(), area.end(), [&](const Polygon& part) { return winding_number(part.outer, p) != 0; }))
      best = &object;
  }
  return best;
}

}  // namespace teasel
