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
      : layer_(layer), file_(*layer.file), holes_(holes), frame_(frame) {}
  LayerPieces run();

 private:
  bool is_dark(const GerberObject& object) const { return object.dark != (layer_.clearances != file_.negative_image); }
  void gather_clears();
  void plane(const Box& tile, int depth);
  void add(std::vector<CopperPiece> made, std::uint32_t object, std::size_t clears_before);
  void join(LayerPieces& layer) const;
  void count_overlaps(const Polygons& shapes);

  const CopperLayer& layer_;
  const GerberFile& file_;
  const std::vector<CopperHole>& holes_;
  Box frame_;
  std::vector<std::uint32_t> clears_;  // objects that remove copper, in order; then holes, offset by kFirstHole
  std::optional<BoxIndex> clear_index_;
  LayerPieces out_;
  std::size_t edges_ = 0, overlaps_ = 0;
  static constexpr std::uint32_t kFirstHole = 1u << 31;
};

std::vector<CopperPiece> pieces_of(const GerberFile& file, const GerberObject& object) {
  std::vector<CopperPiece> made;
  if (object.kind == GerberObject::Kind::flash) {
    if (const auto stroke = formats::flash_as_stroke(file, object)) {
      if (stroke->width > Mm{}) made.emplace_back(stroke->from, stroke->to, stroke->width / 2);
      return made;
    }
  } else if (object.kind != GerberObject::Kind::region &&
             file.apertures[object.shape].kind == GerberAperture::Kind::circle) {
    const double radius =
        file.apertures[object.shape].width.v / 2 * std::sqrt(std::abs(file.transforms[object.transform].determinant()));
    if (radius <= 0) return made;
    Ring path{object.start, object.end};
    if (object.kind == GerberObject::Kind::arc)
      path = formats::arc_points(object.start, object.end, file.centres[object.centre], object.clockwise);
    for (std::size_t i = 0; i + 1 < path.size(); ++i) made.emplace_back(path[i], path[i + 1], Mm{radius});
    return made;
  }
  for (Polygon& polygon : formats::area_of(file, object)) made.emplace_back(std::move(polygon));
  return made;
}

void LayerBuilder::gather_clears() {
  std::vector<Box> boxes;
  for (std::uint32_t i = 0; i < file_.objects.size(); ++i)
    if (!is_dark(file_.objects[i]) && !std::binary_search(layer_.left_out.begin(), layer_.left_out.end(), i)) {
      clears_.push_back(i);
      boxes.push_back(formats::box_of(file_, file_.objects[i]));
    }
  for (std::uint32_t k = 0; k < holes_.size(); ++k) {
    if (holes_[k].plated) continue;
    Box box;
    box.add(holes_[k].at);
    box.add(holes_[k].end);
    clears_.push_back(kFirstHole + k);
    boxes.push_back(box.grown(holes_[k].diameter.v / 2));
  }
  clear_index_.emplace(boxes);
}

/// Shapes heaped on one spot would choke the boolean: their pairs are counted first.
void LayerBuilder::count_overlaps(const Polygons& shapes) {
  std::vector<Box> boxes;
  for (const Polygon& polygon : shapes) boxes.push_back(bounds(polygon.outer));
  overlaps_ += overlapping_pairs(std::move(boxes), kMostOverlaps);
  if (overlaps_ > kMostOverlaps) throw std::length_error(file_.name + ": too many clear shapes overlap");
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
        const CopperHole& hole = holes_[clears_[k] - kFirstHole];
        if (hole.diameter > Mm{}) parts.emplace_back(hole.at, hole.end, hole.diameter / 2);
      } else {
        const GerberObject& drawn = file_.objects[clears_[k]];
        if (drawn.kind == GerberObject::Kind::arc) {  // as one area: chord by chord it would be cut hundreds of times
          for (Polygon& polygon : formats::area_of(file_, drawn)) parts.emplace_back(std::move(polygon));
        } else {
          parts = pieces_of(file_, drawn);
        }
      }
      for (const CopperPiece& part : parts)
        if (part.touches(piece, Mm{})) {
          Polygons area = part.area();
          away.insert(away.end(), std::make_move_iterator(area.begin()), std::make_move_iterator(area.end()));
        }
    }
    auto keep = [&](CopperPiece shape) {
      edges_ += shape.edge_count();
      if (edges_ > kMostEdges || out_.pieces.size() > kMostEdges)
        throw std::length_error(file_.name + ": too much copper to trace");
      out_.pieces.push_back(std::move(shape));
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

void LayerBuilder::join(LayerPieces& layer) const {
  std::vector<Box> boxes;
  boxes.reserve(layer.pieces.size());
  for (const auto& piece : layer.pieces) boxes.push_back(piece.box());
  layer.index.emplace(boxes);
  UnionFind sets(layer.pieces.size());
  std::vector<std::uint32_t> ids;
  for (std::uint32_t i = 0; i < layer.pieces.size(); ++i) {
    layer.index->find(boxes[i].grown(kTouch.v), ids);
    for (std::uint32_t k : ids)
      if (k < i && sets.find(i) != sets.find(k) && layer.pieces[i].touches(layer.pieces[k], kTouch)) sets.join(i, k);
  }
  layer.root.resize(layer.pieces.size());
  for (std::uint32_t i = 0; i < layer.root.size(); ++i) layer.root[i] = sets.find(i);
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
  if (layer_.clearances != file_.negative_image) {
    plane(frame_, 0);
  }
  std::size_t before = 0;  // clears painted before the object at hand
  for (std::uint32_t i = 0; i < file_.objects.size(); ++i) {
    const bool left_out = std::binary_search(layer_.left_out.begin(), layer_.left_out.end(), i);
    if (left_out) continue;
    if (!is_dark(file_.objects[i]))
      ++before;
    else
      add(pieces_of(file_, file_.objects[i]), i, before);
  }
  join(out_);
  return std::move(out_);
}

/// A net on its way to its number: what hangs together with one piece, and how often each name is given to it.
struct FoundNet {
  std::uint32_t root;
  CopperNet net;
  std::map<std::string, std::size_t> names;
};

/// A net is placed by its first land or hole in order of coordinates; by its strokes only where there is nothing else.
void place(CopperNet& net, Point at, int layer, bool anchors, bool fresh) {
  const auto key = [](Point p, int level) {
    return std::tuple{std::llround(p.x * 1e4), std::llround(p.y * 1e4), level};
  };
  const bool anchored = net.lands + net.holes > 0;
  if (fresh || (anchors && !anchored) || (anchors == anchored && key(at, layer) < key(net.anchor, net.anchor_layer))) {
    net.anchor = at;
    net.anchor_layer = layer;
  }
}

/// By place; drawn copper without a land or a hole, mostly lettering, comes last.
std::vector<const FoundNet*> in_order(const std::unordered_map<std::uint32_t, FoundNet>& found) {
  std::vector<const FoundNet*> order;
  for (const auto& [root, one] : found) order.push_back(&one);
  std::sort(order.begin(), order.end(), [](const FoundNet* a, const FoundNet* b) {
    const auto key = [](const CopperNet& ordered) {
      return std::tuple{ordered.drawn_only(), std::llround(ordered.anchor.x * 1e4),
                        std::llround(ordered.anchor.y * 1e4), ordered.anchor_layer};
    };
    return std::pair(key(a->net), a->root) < std::pair(key(b->net), b->root);
  });
  return order;
}

/// With the name that most of its objects give it, or one made of its number.
CopperNet named(const FoundNet& found, int number) {
  CopperNet net = found.net;
  net.number = number;
  for (const auto& [text, count] : found.names)
    if (net.name.empty() || count > found.names.at(net.name)) net.name = text;
  for (const auto& [text, count] : found.names)
    if (text != net.name) net.other_names.push_back(text);
  net.named = !net.name.empty();
  if (!net.named) {
    const std::string digits = std::to_string(net.number);
    net.name = "N" + std::string(digits.size() < 4 ? 4 - digits.size() : 0, '0') + digits;
  }
  return net;
}
}  // namespace

struct CopperNets::State {
  std::vector<CopperLayer> layers;
  std::vector<LayerPieces> pieces;
  std::vector<std::uint32_t> first;      ///< by layer: id of its piece 0 among all nodes
  std::vector<CopperNetId> net_of_node;  ///< pieces, then holes
  std::vector<std::vector<ObjectNet>> net_of_object;
  Table<CopperNetId, CopperNet> nets;
  std::size_t holes = 0;

  using FoundNets = std::unordered_map<std::uint32_t, FoundNet>;
  FoundNets found_nets(const std::vector<CopperHole>& drilled, UnionFind& sets) const;
  void number(const std::vector<CopperHole>& drilled, UnionFind& sets);
};

CopperNets::State::FoundNets CopperNets::State::found_nets(const std::vector<CopperHole>& drilled,
                                                           UnionFind& sets) const {
  FoundNets found;
  const std::uint32_t hole0 = first.back();
  auto take = [&](std::uint32_t node, Point at, int layer, bool anchors) -> FoundNet& {
    const std::uint32_t root = sets.find(node);
    auto [it, fresh] = found.try_emplace(root, FoundNet{root, {}, {}});
    place(it->second.net, at, layer, anchors, fresh);
    return it->second;
  };
  for (std::uint32_t hole = 0; hole < holes; ++hole) {
    // A barrel that touches no copper makes no net.
    if (!drilled[hole].plated || sets.find(hole0 + hole) == hole0 + hole) continue;
    ++take(hole0 + hole, drilled[hole].at, layers.empty() ? 0 : layers.front().number, true).net.holes;
  }
  for (std::size_t level = 0; level < layers.size(); ++level) {
    const GerberFile& file = *layers[level].file;
    std::uint32_t last = kPlane;
    for (std::uint32_t piece = 0; piece < pieces[level].pieces.size(); ++piece) {
      const std::uint32_t object = pieces[level].object[piece];
      if (object == kPlane) continue;
      const auto& drawn = file.objects[object];
      // Every piece belongs to a net; an object of several pieces is one land on each net that it reaches.
      const bool land = drawn.kind == GerberObject::Kind::flash || drawn.kind == GerberObject::Kind::region;
      const bool whole = drawn.kind == GerberObject::Kind::flash && object != last;
      FoundNet& net = take(first[level] + piece, whole ? drawn.start : pieces[level].pieces[piece].box().centre(),
                           layers[level].number, land);
      net.net.lands += land;
      last = object;
      const auto& attributes = file.attributes[drawn.attributes];
      if (attributes.has_net && !attributes.net.empty() && attributes.net != "N/C") ++net.names[attributes.net];
    }
  }
  return found;
}

void CopperNets::State::number(const std::vector<CopperHole>& drilled, UnionFind& sets) {
  const FoundNets found = found_nets(drilled, sets);
  std::map<std::uint32_t, CopperNetId> net_of_root;
  std::map<std::string, int> taken;
  for (const FoundNet* net_found : in_order(found)) {
    CopperNet numbered = named(*net_found, static_cast<int>(nets.size()) + 1);
    // One name on two pieces of copper is an open in the artwork; the second is told apart by its place in the count.
    if (const int k = ++taken[numbered.name]; k > 1) numbered.name += "#" + std::to_string(k);
    net_of_root[net_found->root] = nets.add(std::move(numbered));
  }
  net_of_node.assign(first.back() + holes, CopperNetId{});
  for (std::uint32_t i = 0; i < net_of_node.size(); ++i)
    if (auto it = net_of_root.find(sets.find(i)); it != net_of_root.end()) net_of_node[i] = it->second;
}

CopperNets::CopperNets(std::vector<CopperLayer> layers, const std::vector<CopperHole>& holes, const Box& frame)
    : state_(std::make_unique<State>()) {
  State& state = *state_;
  std::stable_sort(layers.begin(), layers.end(), [](const auto& a, const auto& b) { return a.number < b.number; });
  state.layers = std::move(layers);
  state.holes = holes.size();
  state.pieces.resize(state.layers.size());
  parallel_for(
      state.layers.size(),
      [&](std::size_t layer) { state.pieces[layer] = LayerBuilder(state.layers[layer], holes, frame).run(); }, 1);
  state.first.push_back(0);
  for (const auto& layer : state.pieces)
    state.first.push_back(state.first.back() + static_cast<std::uint32_t>(layer.pieces.size()));
  const std::uint32_t hole0 = state.first.back();
  UnionFind sets(hole0 + holes.size());
  for (std::size_t layer = 0; layer < state.pieces.size(); ++layer)
    for (std::uint32_t piece = 0; piece < state.pieces[layer].root.size(); ++piece)
      sets.join(state.first[layer] + piece, state.first[layer] + state.pieces[layer].root[piece]);
  // Barrels: what each touches is found layer by layer on its own, joined afterwards.
  std::vector<std::vector<std::uint32_t>> reached(holes.size());
  parallel_for(
      holes.size(),
      [&](std::size_t k) {
        const CopperHole& hole = holes[k];
        if (!hole.plated || hole.diameter <= Mm{}) return;
        const CopperPiece barrel(hole.at, hole.end, hole.diameter / 2);
        std::vector<std::uint32_t> ids;
        for (std::size_t layer = 0; layer < state.layers.size(); ++layer) {
          if ((hole.first_layer && state.layers[layer].number < hole.first_layer) ||
              (hole.last_layer && state.layers[layer].number > hole.last_layer))
            continue;
          state.pieces[layer].index->find(barrel.box().grown(kTouch.v), ids);
          for (std::uint32_t piece : ids)
            if (state.pieces[layer].pieces[piece].touches(barrel, kTouch))
              reached[k].push_back(state.first[layer] + piece);
        }
      },
      64);
  for (std::size_t k = 0; k < holes.size(); ++k)
    for (std::uint32_t node : reached[k]) sets.join(hole0 + static_cast<std::uint32_t>(k), node);
  state.number(holes, sets);
  state.net_of_object.resize(state.layers.size());
  for (std::size_t layer = 0; layer < state.layers.size(); ++layer) {
    auto& list = state.net_of_object[layer];
    list.assign(state.layers[layer].file->objects.size(), ObjectNet{});
    std::vector<bool> seen(list.size());
    for (std::uint32_t piece = 0; piece < state.pieces[layer].pieces.size(); ++piece) {
      const std::uint32_t object = state.pieces[layer].object[piece];
      if (object == kPlane) continue;
      const CopperNetId net = state.net_of_node[state.first[layer] + piece];
      if (!seen[object])
        list[object].net = net;
      else if (list[object].several || list[object].net != net)
        list[object] = {.net = {}, .several = true};
      seen[object] = true;
    }
  }
}
CopperNets::~CopperNets() = default;
CopperNets::CopperNets(CopperNets&&) noexcept = default;
CopperNets& CopperNets::operator=(CopperNets&&) noexcept = default;

const Table<CopperNetId, CopperNet>& CopperNets::nets() const {
  return state_->nets;
}
const std::vector<CopperLayer>& CopperNets::layers() const {
  return state_->layers;
}
CopperNetId CopperNets::net_of_hole(std::size_t hole) const {
  return state_->net_of_node[state_->first.back() + hole];
}
CopperNets::ObjectNet CopperNets::net_of_object(std::size_t layer, std::size_t object) const {
  return state_->net_of_object[layer][object];
}

std::vector<CopperShape> CopperNets::shapes(std::size_t layer) const {
  std::vector<CopperShape> out;
  const auto& pieces = state_->pieces[layer].pieces;
  out.reserve(pieces.size());
  for (std::size_t i = 0; i < pieces.size(); ++i) {
    const CopperPiece& piece = pieces[i];
    const bool stroke = piece.polygon().outer.empty();
    out.push_back({.net = state_->net_of_node[state_->first[layer] + i],
                   .a = piece.start(),
                   .b = piece.end(),
                   .radius = piece.radius(),
                   .area = stroke ? nullptr : &piece.polygon()});
  }
  return out;
}

CopperNetId CopperNets::net_at(std::size_t layer, BoardPoint p) const {
  const LayerPieces& pieces = state_->pieces[layer];
  std::vector<std::uint32_t> ids;
  pieces.index->find({p.x, p.y, p.x, p.y}, ids);
  CopperNetId best;
  for (std::uint32_t i : ids)
    if (pieces.pieces[i].contains(p))
      if (const CopperNetId net = state_->net_of_node[state_->first[layer] + i]; net && (!best || net < best))
        best = net;
  return best;
}

}  // namespace teasel
