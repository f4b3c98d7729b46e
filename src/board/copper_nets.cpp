#include <algorithm>
#include <map>
#include <optional>
#include <stdexcept>
#include <unordered_map>

#include "copper_piece.h"
#include "teasel/board/copper.h"
#include "teasel/parallel.h"
#include "union_find.h"

namespace teasel {

namespace {
using formats::GerberAperture;
using formats::GerberFile;
using formats::GerberObject;

constexpr std::size_t kClearsOfTile = 24;
constexpr int kDeepestTile = 8;
constexpr std::size_t kMostEdges = 20'000'000;  // of all pieces of a layer
constexpr std::size_t kMostOverlaps =
    1'000'000;  // pairs of clear shapes over one another, over one layer; real planes have some thousands

/// The pieces of one layer and which of them hang together.
struct LayerPieces {
  std::vector<CopperPiece> pieces;
  std::vector<std::uint32_t> object;  ///< by piece; the plane of a negative layer has kPlane
  std::vector<std::uint32_t> root;    ///< by piece: smallest piece of its group
  std::optional<BoxIndex> index;
};
constexpr std::uint32_t kPlane = UINT32_MAX;

class LayerBuilder {
 public:
  LayerBuilder(const CopperLayer& layer, const std::vector<CopperHole>& holes, const Box& frame)
      : layer_(layer), f_(*layer.file), holes_(holes), frame_(frame) {}
  LayerPieces run();

 private:
  bool is_dark(const GerberObject& o) const { return o.dark != (layer_.clearances != f_.negative_image); }
  void gather_clears();
  void plane(const Box& tile, int depth);
  void add(std::vector<CopperPiece> made, std::uint32_t object, std::size_t clears_before);
  void join(LayerPieces& l) const;
  void count_overlaps(const Polygons& shapes);

  const CopperLayer& layer_;
  const GerberFile& f_;
  const std::vector<CopperHole>& holes_;
  Box frame_;
  std::vector<std::uint32_t> clears_;  // objects that remove copper, in order; then holes, offset by kFirstHole
  std::optional<BoxIndex> clear_index_;
  LayerPieces out_;
  std::size_t edges_ = 0, overlaps_ = 0;
  static constexpr std::uint32_t kFirstHole = 1u << 31;
};

std::vector<CopperPiece> pieces_of(const GerberFile& f, const GerberObject& o) {
  std::vector<CopperPiece> made;
  if (o.kind == GerberObject::Kind::flash) {
    if (const auto stroke = formats::flash_as_stroke(f, o)) {
      if (stroke->width > 0) made.emplace_back(stroke->from, stroke->to, stroke->width / 2);
      return made;
    }
  } else if (o.kind != GerberObject::Kind::region && f.apertures[o.shape].kind == GerberAperture::Kind::circle) {
    const double r = f.apertures[o.shape].width / 2 * std::sqrt(std::abs(f.transforms[o.transform].determinant()));
    if (r <= 0) return made;
    Ring path{o.start, o.end};
    if (o.kind == GerberObject::Kind::arc) path = formats::arc_points(o.start, o.end, f.centres[o.centre], o.clockwise);
    for (std::size_t i = 0; i + 1 < path.size(); ++i) made.emplace_back(path[i], path[i + 1], r);
    return made;
  }
  for (Polygon& p : formats::area_of(f, o)) made.emplace_back(std::move(p));
  return made;
}

void LayerBuilder::gather_clears() {
  std::vector<Box> boxes;
  for (std::uint32_t i = 0; i < f_.objects.size(); ++i)
    if (!is_dark(f_.objects[i]) && !std::binary_search(layer_.left_out.begin(), layer_.left_out.end(), i)) {
      clears_.push_back(i);
      boxes.push_back(formats::box_of(f_, f_.objects[i]));
    }
  for (std::uint32_t h = 0; h < holes_.size(); ++h) {
    if (holes_[h].plated) continue;
    Box b;
    b.add(holes_[h].at);
    b.add(holes_[h].end);
    clears_.push_back(kFirstHole + h);
    boxes.push_back(b.grown(holes_[h].diameter / 2));
  }
  clear_index_.emplace(boxes);
}

/// Shapes heaped on one spot would choke the boolean: their pairs are counted first.
void LayerBuilder::count_overlaps(const Polygons& shapes) {
  std::vector<Box> boxes;
  for (const Polygon& p : shapes) boxes.push_back(bounds(p.outer));
  overlaps_ += overlapping_pairs(std::move(boxes), kMostOverlaps);
  if (overlaps_ > kMostOverlaps) throw std::length_error(f_.name + ": too much is cleared over itself");
}

/// Keeps what later clears leave of a dark object.
void LayerBuilder::add(std::vector<CopperPiece> made, std::uint32_t object, std::size_t clears_before) {
  std::vector<std::uint32_t> ids;
  for (CopperPiece& piece : made) {
    clear_index_->find(piece.box(), ids);
    Polygons away;
    for (std::uint32_t k : ids) {
      if (k < clears_before) continue;
      std::vector<CopperPiece> parts;
      if (clears_[k] >= kFirstHole) {
        const CopperHole& h = holes_[clears_[k] - kFirstHole];
        if (h.diameter > 0) parts.emplace_back(h.at, h.end, h.diameter / 2);
      } else {
        const GerberObject& o = f_.objects[clears_[k]];
        if (o.kind == GerberObject::Kind::arc) {  // as one area: chord by chord it would be cut hundreds of times
          for (Polygon& p : formats::area_of(f_, o)) parts.emplace_back(std::move(p));
        } else {
          parts = pieces_of(f_, o);
        }
      }
      for (const CopperPiece& part : parts)
        if (part.touches(piece, 0)) {
          Polygons area = part.area();
          away.insert(away.end(), std::make_move_iterator(area.begin()), std::make_move_iterator(area.end()));
        }
    }
    auto keep = [&](CopperPiece p) {
      edges_ += p.edge_count();
      if (edges_ > kMostEdges || out_.pieces.size() > kMostEdges)
        throw std::length_error(f_.name + ": too much copper to trace");
      out_.pieces.push_back(std::move(p));
      out_.object.push_back(object);
    };
    count_overlaps(away);
    if (away.empty()) {
      keep(std::move(piece));
      continue;
    }
    for (Polygon& rest : subtract(piece.area(), away))
      if (area(rest) > 1e-6) keep(CopperPiece(std::move(rest)));
  }
}

void LayerBuilder::join(LayerPieces& l) const {
  std::vector<Box> boxes;
  boxes.reserve(l.pieces.size());
  for (const auto& p : l.pieces) boxes.push_back(p.box());
  l.index.emplace(boxes);
  UnionFind sets(l.pieces.size());
  std::vector<std::uint32_t> ids;
  for (std::uint32_t i = 0; i < l.pieces.size(); ++i) {
    l.index->find(boxes[i].grown(kTouch), ids);
    for (std::uint32_t k : ids)
      if (k < i && sets.find(i) != sets.find(k) && l.pieces[i].touches(l.pieces[k], kTouch)) sets.join(i, k);
  }
  l.root.resize(l.pieces.size());
  for (std::uint32_t i = 0; i < l.root.size(); ++i) l.root[i] = sets.find(i);
}

/// A boolean's cost grows faster than its size: the plane goes tile by tile. Tiles abut, so that what is one piece
/// stays one.
void LayerBuilder::plane(const Box& tile, int depth) {
  std::vector<std::uint32_t> ids;
  clear_index_->find(tile, ids);
  if (ids.size() > kClearsOfTile && depth < kDeepestTile) {
    const double x = std::round(tile.centre().x * 1e6) / 1e6, y = std::round(tile.centre().y * 1e6) / 1e6;
    for (const Box& part : {Box{tile.x0, tile.y0, x, y}, Box{x, tile.y0, tile.x1, y}, Box{tile.x0, y, x, tile.y1},
                            Box{x, y, tile.x1, tile.y1}})
      plane(part, depth + 1);
    return;
  }
  std::vector<CopperPiece> piece;
  piece.emplace_back(Polygon{{{tile.x0, tile.y0}, {tile.x1, tile.y0}, {tile.x1, tile.y1}, {tile.x0, tile.y1}}, {}});
  add(std::move(piece), kPlane, 0);
}

LayerPieces LayerBuilder::run() {
  gather_clears();
  if (layer_.clearances != f_.negative_image) {
    plane(frame_, 0);
  }
  std::size_t before = 0;  // clears painted before the object at hand
  for (std::uint32_t i = 0; i < f_.objects.size(); ++i) {
    const bool left_out = std::binary_search(layer_.left_out.begin(), layer_.left_out.end(), i);
    if (left_out) continue;
    if (!is_dark(f_.objects[i]))
      ++before;
    else
      add(pieces_of(f_, f_.objects[i]), i, before);
  }
  join(out_);
  return std::move(out_);
}
}  // namespace

struct CopperNets::State {
  std::vector<CopperLayer> layers;
  std::vector<LayerPieces> pieces;
  std::vector<std::uint32_t> first;  ///< by layer: id of its piece 0 among all nodes
  std::vector<int> net_of_node;      ///< pieces, then holes
  std::vector<std::vector<int>> net_of_object;
  std::vector<CopperNet> nets;
  std::size_t holes = 0;

  void number(const std::vector<CopperHole>& drilled, UnionFind& sets);
};

void CopperNets::State::number(const std::vector<CopperHole>& drilled, UnionFind& sets) {
  struct Found {
    std::uint32_t root;
    CopperNet net;
    std::map<std::string, std::size_t> names;
  };
  std::unordered_map<std::uint32_t, Found> found;
  const std::uint32_t hole0 = first.back();
  auto take = [&](std::uint32_t node, Point at, int layer, bool anchors) -> Found& {
    const std::uint32_t root = sets.find(node);
    auto [it, fresh] = found.try_emplace(root, Found{root, {}, {}});
    CopperNet& n = it->second.net;
    const auto key = [](Point p, int l) { return std::tuple{std::llround(p.x * 1e4), std::llround(p.y * 1e4), l}; };
    // Lands and holes place a net; strokes only where there is nothing else.
    const bool anchored = n.lands + n.holes > 0;
    if (fresh || (anchors && !anchored) || (anchors == anchored && key(at, layer) < key(n.anchor, n.anchor_layer))) {
      n.anchor = at;
      n.anchor_layer = layer;
    }
    return it->second;
  };
  for (std::uint32_t h = 0; h < holes; ++h) {
    // A barrel that touches no copper makes no net.
    if (!drilled[h].plated || sets.find(hole0 + h) == hole0 + h) continue;
    ++take(hole0 + h, drilled[h].at, layers.empty() ? 0 : layers.front().number, true).net.holes;
  }
  for (std::size_t l = 0; l < layers.size(); ++l) {
    const GerberFile& f = *layers[l].file;
    std::uint32_t last = kPlane;
    for (std::uint32_t p = 0; p < pieces[l].pieces.size(); ++p) {
      const std::uint32_t object = pieces[l].object[p];
      if (object == kPlane) continue;
      const auto& o = f.objects[object];
      // Every piece belongs to a net; an object of several pieces is one land on each net that it reaches.
      const bool land = o.kind == GerberObject::Kind::flash || o.kind == GerberObject::Kind::region;
      const bool whole = o.kind == GerberObject::Kind::flash && object != last;
      Found& net = take(first[l] + p, whole ? o.start : pieces[l].pieces[p].box().centre(), layers[l].number, land);
      net.net.lands += land;
      last = object;
      const auto& a = f.attributes[o.attributes];
      if (a.has_net && !a.net.empty() && a.net != "N/C") ++net.names[a.net];
    }
  }
  std::vector<Found*> order;
  for (auto& [root, f] : found) order.push_back(&f);
  std::sort(order.begin(), order.end(), [](const Found* a, const Found* b) {
    // Drawn copper without a land or a hole, mostly lettering, comes last.
    const auto key = [](const CopperNet& n) {
      return std::tuple{n.drawn_only(), std::llround(n.anchor.x * 1e4), std::llround(n.anchor.y * 1e4), n.anchor_layer};
    };
    return key(a->net) != key(b->net) ? key(a->net) < key(b->net) : a->root < b->root;
  });
  std::map<std::uint32_t, int> net_of_root;
  std::map<std::string, int> taken;
  for (Found* f : order) {
    CopperNet n = std::move(f->net);
    n.number = static_cast<int>(nets.size()) + 1;
    for (const auto& [text, count] : f->names)
      if (n.name.empty() || count > f->names[n.name]) n.name = text;
    for (const auto& [text, count] : f->names)
      if (text != n.name) n.other_names.push_back(text);
    n.named = !n.name.empty();
    if (!n.named) {
      const std::string digits = std::to_string(n.number);
      n.name = "N" + std::string(digits.size() < 4 ? 4 - digits.size() : 0, '0') + digits;
    }
    // One name on two pieces of copper is an open in the artwork; the second is told apart by its place in the count.
    if (const int k = ++taken[n.name]; k > 1) n.name += "#" + std::to_string(k);
    net_of_root[f->root] = static_cast<int>(nets.size());
    nets.push_back(std::move(n));
  }
  net_of_node.assign(hole0 + holes, -1);
  for (std::uint32_t i = 0; i < net_of_node.size(); ++i)
    if (auto it = net_of_root.find(sets.find(i)); it != net_of_root.end()) net_of_node[i] = it->second;
}

CopperNets::CopperNets(std::vector<CopperLayer> layers, const std::vector<CopperHole>& holes, const Box& frame)
    : state_(std::make_unique<State>()) {
  State& s = *state_;
  std::stable_sort(layers.begin(), layers.end(), [](const auto& a, const auto& b) { return a.number < b.number; });
  s.layers = std::move(layers);
  s.holes = holes.size();
  s.pieces.resize(s.layers.size());
  parallel_for(
      s.layers.size(), [&](std::size_t l) { s.pieces[l] = LayerBuilder(s.layers[l], holes, frame).run(); }, 1);
  s.first.push_back(0);
  for (const auto& l : s.pieces) s.first.push_back(s.first.back() + static_cast<std::uint32_t>(l.pieces.size()));
  const std::uint32_t hole0 = s.first.back();
  UnionFind sets(hole0 + holes.size());
  for (std::size_t l = 0; l < s.pieces.size(); ++l)
    for (std::uint32_t p = 0; p < s.pieces[l].root.size(); ++p)
      sets.join(s.first[l] + p, s.first[l] + s.pieces[l].root[p]);
  // Barrels: what each touches is found layer by layer on its own, joined afterwards.
  std::vector<std::vector<std::uint32_t>> reached(holes.size());
  parallel_for(
      holes.size(),
      [&](std::size_t h) {
        const CopperHole& hole = holes[h];
        if (!hole.plated || hole.diameter <= 0) return;
        const CopperPiece barrel(hole.at, hole.end, hole.diameter / 2);
        std::vector<std::uint32_t> ids;
        for (std::size_t l = 0; l < s.layers.size(); ++l) {
          if ((hole.first_layer && s.layers[l].number < hole.first_layer) ||
              (hole.last_layer && s.layers[l].number > hole.last_layer))
            continue;
          s.pieces[l].index->find(barrel.box().grown(kTouch), ids);
          for (std::uint32_t p : ids)
            if (s.pieces[l].pieces[p].touches(barrel, kTouch)) reached[h].push_back(s.first[l] + p);
        }
      },
      64);
  for (std::size_t h = 0; h < holes.size(); ++h)
    for (std::uint32_t node : reached[h]) sets.join(hole0 + static_cast<std::uint32_t>(h), node);
  s.number(holes, sets);
  s.net_of_object.resize(s.layers.size());
  for (std::size_t l = 0; l < s.layers.size(); ++l) {
    auto& list = s.net_of_object[l];
    list.assign(s.layers[l].file->objects.size(), -1);
    std::vector<bool> seen(list.size());
    for (std::uint32_t p = 0; p < s.pieces[l].pieces.size(); ++p) {
      const std::uint32_t o = s.pieces[l].object[p];
      if (o == kPlane) continue;
      const int net = s.net_of_node[s.first[l] + p];
      list[o] = !seen[o] || list[o] == net ? net : -2;
      seen[o] = true;
    }
  }
}
CopperNets::~CopperNets() = default;
CopperNets::CopperNets(CopperNets&&) noexcept = default;
CopperNets& CopperNets::operator=(CopperNets&&) noexcept = default;

const std::vector<CopperNet>& CopperNets::nets() const {
  return state_->nets;
}
const std::vector<CopperLayer>& CopperNets::layers() const {
  return state_->layers;
}
int CopperNets::net_of_hole(std::size_t hole) const {
  return state_->net_of_node[state_->first.back() + hole];
}
int CopperNets::net_of_object(std::size_t layer, std::size_t object) const {
  return state_->net_of_object[layer][object];
}

std::vector<CopperShape> CopperNets::shapes(std::size_t layer) const {
  std::vector<CopperShape> out;
  const auto& pieces = state_->pieces[layer].pieces;
  out.reserve(pieces.size());
  for (std::size_t i = 0; i < pieces.size(); ++i) {
    const CopperPiece& p = pieces[i];
    const bool stroke = p.polygon().outer.empty();
    out.push_back({state_->net_of_node[state_->first[layer] + i], p.start(), p.end(), p.radius(),
                   stroke ? nullptr : &p.polygon()});
  }
  return out;
}

int CopperNets::net_at(std::size_t layer, Point p) const {
  const LayerPieces& l = state_->pieces[layer];
  std::vector<std::uint32_t> ids;
  l.index->find({p.x, p.y, p.x, p.y}, ids);
  int best = -1;
  for (std::uint32_t i : ids)
    if (l.pieces[i].contains(p))
      if (const int net = state_->net_of_node[state_->first[layer] + i]; net >= 0 && (best < 0 || net < best))
        best = net;
  return best;
}

}  // namespace teasel
